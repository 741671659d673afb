//! Any bytes as lines of a batch: each has one answer, which is what the file of that one line comes to, and the fast reader and
//! the one by trees write the same bytes.
#![no_main]

mod common;

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use preblock::inner::batch::lines::Lines;
use preblock::inner::batch::{BatchScreener, Detail};
use serde_json::Value;

static BATCH: LazyLock<BatchScreener<'static>> = LazyLock::new(|| BatchScreener::new(common::screener(), Detail::Verdict));
static FINDINGS: LazyLock<BatchScreener<'static>> = LazyLock::new(|| BatchScreener::new(common::screener(), Detail::Findings));
static BY_TREES: LazyLock<[BatchScreener<'static>; 2]> =
    LazyLock::new(|| [Detail::Verdict, Detail::Findings].map(|it| BatchScreener::new(common::screener(), it).by_trees()));

fuzz_target!(|bytes: &[u8]| {
    let answers_of = |batch: &BatchScreener<'_>| {
        let mut out = Vec::new();
        let counts = batch.block(Lines::new(1, bytes), &mut out);
        (String::from_utf8(out).expect("answers are UTF-8"), counts)
    };
    let (out, counts) = answers_of(&BATCH);
    let [verdicts, findings] = &*BY_TREES;
    assert_eq!((&out, &counts), (&answers_of(verdicts).0, &answers_of(verdicts).1));
    assert_eq!(answers_of(&FINDINGS), answers_of(findings));
    let answers: Vec<Value> = out.split_inclusive('\n').map(|it| serde_json::from_str(it).expect("an answer is JSON")).collect();
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
