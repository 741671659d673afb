//! Any bytes as lines of a batch: each has one answer, which is what the file of that one line comes to.
#![no_main]

mod common;

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use preblock::inner::batch::lines::Lines;
use preblock::inner::batch::{BatchScreener, Detail};
use serde_json::Value;

static BATCH: LazyLock<BatchScreener<'static>> = LazyLock::new(|| BatchScreener::new(common::screener(), Detail::Verdict));

fuzz_target!(|bytes: &[u8]| {
    let mut out = Vec::new();
    let counts = BATCH.block(Lines::new(1, bytes), &mut out);
    let answers: Vec<Value> = out.split_inclusive(|it| *it == b'\n').map(|it| serde_json::from_slice(it).expect("an answer is JSON")).collect();
    let lines: Vec<(u64, &[u8])> = Lines::new(1, bytes).collect();
    assert_eq!((answers.len(), counts.n_lines()), (lines.len(), lines.len() as u64));
    for ((number, line), answer) in lines.into_iter().zip(answers) {
        assert_eq!(answer["line"], number);
        match common::screener().screen("line.json", line) {
            // Some programs take it for a line end.
            _ if line.contains(&b'\r') => assert!(answer["refused"].is_array()),
            Err(_) => assert!(answer["refused"].is_array(), "{answer}"),
            Ok(screening) => {
                assert_eq!(answer["verdict"], screening.verdict().outcome.word(), "{answer}");
                assert_eq!(answer["reference"], screening.reference);
                let fires: Vec<&str> = screening.findings.iter().map(|it| it.rule.as_str()).collect();
                let waits: Vec<&str> = screening.undetermined.iter().map(|it| it.rule.as_str()).collect();
                assert_eq!((&answer["fires"], &answer["waits"]), (&fires.into(), &waits.into()));
            }
        }
    }
});
