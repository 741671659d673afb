//! A questionnaire on each line to an answer on each line: the same as one by one, in order, whatever happens.
#![expect(
    clippy::expect_used,
    reason = "a program that cannot be started, or an answer that is no JSON, fails the test"
)]

use std::io::Cursor;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use preblock::inner::batch::compare::BatchComparer;
use preblock::inner::batch::counts::Counts;
use preblock::inner::batch::generate::Generator;
use preblock::inner::batch::lines::{Blocks, InputEnd, Lines};
use preblock::inner::batch::stream::{Share, run};
use preblock::inner::batch::{BatchScreener, Detail};
use preblock::inner::document::shape::to_json;
use preblock::inner::questionnaire::frame;
use preblock::inner::rule_set::RuleSet;
use preblock::inner::rule_set::files::RuleFiles;
use preblock::inner::screening::screener::Screener;
use preblock::inner::workbench::compare::Both;
use preblock::inner::workbench::compare::lines::RefusedBy;
use rstest::rstest;
use serde_json::{Value, json};

use crate::shipped::{Shipped, nails, skin};
use crate::support::{embedded_once, embedded_screener, today};

// When something breaks.
#[cfg(unix)]
mod faults;

fn top() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn validator(name: &str) -> jsonschema::Validator {
    let text = std::fs::read_to_string(top().join(format!("schemas/{name}.schema.json")))
        .expect("the schema is there");
    jsonschema::draft7::options()
        .build(&serde_json::from_str(&text).expect("JSON"))
        .expect("draft-07")
}

/// Every example referral of the default rule set, and every refused one that is a tree at all, as lines.
fn examples() -> Vec<String> {
    let lines = examples_of(nails());
    assert!(lines.len() >= 25, "{}", lines.len());
    lines
}

fn examples_of(shipped: &Shipped) -> Vec<String> {
    let refused = std::fs::read_dir(top().join("examples/refused"));
    let mut paths: Vec<PathBuf> = refused
        .expect("the folder is there")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    paths.extend(shipped.paths());
    paths.sort();
    paths.iter().filter_map(|path| as_line(path)).collect()
}

fn as_line(path: &Path) -> Option<String> {
    let bytes = std::fs::read(path).expect("the file can be read");
    let read = frame::tree(&path.display().to_string(), &bytes);
    Some(to_json(read.root?.as_ref()).to_string())
}

/// Lines answered in one block.
fn answered(screener: &Screener<'_>, detail: Detail, lines: &[u8]) -> (Vec<Value>, Counts) {
    let mut out = Vec::new();
    let counts = BatchScreener::new(screener, detail).block(Lines::new(1, lines), &mut out);
    let answers = out.split_inclusive(|byte| *byte == b'\n').map(|line| {
        assert!(line.ends_with(b"\n"));
        serde_json::from_slice(line).expect("an answer is JSON")
    });
    (answers.collect(), counts)
}

fn joined(lines: &[String]) -> Vec<u8> {
    lines
        .iter()
        .flat_map(|line| [line.as_bytes(), b"\n"].concat())
        .collect()
}

#[rstest]
#[case::nails(nails(), 25)]
#[case::skin(skin(), 5)]
fn a_line_is_answered_as_its_questionnaire_is_screened(
    #[case] shipped: &Shipped,
    #[case] fewest: usize,
) {
    let screener = shipped.screener();
    let lines = examples_of(shipped);
    let text = joined(&lines);
    let (verdicts, counts) = answered(&screener, Detail::Verdict, &text);
    let (findings, _) = answered(&screener, Detail::Findings, &text);
    let (full, _) = answered(&screener, Detail::Full, &text);
    assert_eq!(
        [verdicts.len(), findings.len(), full.len()],
        [lines.len(); 3]
    );
    assert_eq!(counts.n_lines(), lines.len() as u64);
    let (is_line, is_screening) = (validator("batch-line"), validator("screening"));
    let mut n_screened = 0;
    for (at, line) in lines.iter().enumerate() {
        assert!(is_line.is_valid(&verdicts[at]), "{}", verdicts[at]);
        assert!(is_line.is_valid(&findings[at]), "{}", findings[at]);
        assert_eq!(verdicts[at]["line"], json!(at + 1));
        let name = format!("line {}", at + 1);
        match screener.screen(&format!("{name}.json"), line.as_bytes()) {
            Err(problems) => {
                assert_eq!(verdicts[at], findings[at]);
                assert_eq!(verdicts[at], full[at]);
                let codes: Vec<Value> = problems
                    .iter()
                    .map(|it| json!([it.code.name(), it.title]))
                    .collect();
                let told: Vec<Value> = verdicts[at]["refused"]
                    .as_array()
                    .expect("why")
                    .iter()
                    .map(|it| json!([it["code"], it["title"]]))
                    .collect();
                assert_eq!(told, codes);
            }
            Ok(screening) => {
                n_screened += 1;
                let screening = preblock::report::json::value(&screening);
                for key in ["reference", "verdict", "urgency", "best_case", "worst_case"] {
                    assert_eq!(verdicts[at][key], screening[key], "{key}");
                }
                let ids = |list: &str| -> Vec<Value> {
                    let rules = screening[list].as_array().expect("rules");
                    rules.iter().map(|it| it["rule"].clone()).collect()
                };
                assert_eq!(verdicts[at]["fires"], json!(ids("findings")));
                assert_eq!(verdicts[at]["waits"], json!(ids("undetermined")));
                let told = findings[at]["findings"].as_array().expect("findings");
                let shown = screening["findings"].as_array().expect("findings");
                assert_eq!(told.len(), shown.len());
                for (told, shown) in told.iter().zip(shown) {
                    for key in ["rule", "reason", "action"] {
                        assert_eq!(told[key], shown[key]);
                    }
                    let cited = shown["citations"].as_array().expect("citations");
                    let sources: Vec<&Value> = cited
                        .iter()
                        .map(|it| it.get("source").unwrap_or(&it["basis"]))
                        .collect();
                    assert_eq!(told["citations"], json!(sources));
                }
                assert!(is_screening.is_valid(&full[at]));
                // The name, and with it the name in every place, is another one.
                let renamed: Value = serde_json::from_str(
                    &screening
                        .to_string()
                        .replace(&format!("{name}.json"), &name),
                )
                .expect("JSON");
                assert_eq!(full[at], renamed);
            }
        }
    }
    assert!(
        n_screened >= fewest && n_screened < lines.len(),
        "{n_screened}"
    );
}

/// What all lines of an input come to through threads, and how it ended.
fn streamed(input: &[u8], detail: Detail, share: Share) -> (Vec<u8>, Counts, Option<InputEnd>) {
    let screener = embedded_screener();
    let batch = BatchScreener::new(&screener, detail);
    let (mut all, mut counts) = (Vec::new(), Counts::new(&embedded_once().0));
    let mut blocks = Blocks::new(Cursor::new(input.to_vec()), share.n_lines);
    let end = run(
        move |buffer| blocks.next(buffer),
        share.n_threads,
        &AtomicBool::new(false),
        |block| {
            let mut out = Vec::new();
            let counts = batch.block(block.lines(), &mut out);
            (out, counts)
        },
        |_, (out, counted)| {
            all.extend_from_slice(&out);
            counts += counted;
            ControlFlow::Continue(())
        },
    );
    (all, counts, end)
}

#[test]
fn threads_and_blocks_change_no_byte_and_no_count() {
    let mut lines = examples();
    lines.extend(["".into(), "{}".into(), "null".into(), "\u{feff}{}".into()]);
    let input = joined(&lines).repeat(10);
    let one = Share {
        n_threads: 1,
        n_lines: 1,
    };
    let (expected, expected_counts, _) = streamed(&input, Detail::Verdict, one);
    assert_eq!(expected_counts.n_lines(), 10 * lines.len() as u64);
    for n_threads in [1, 2, 7] {
        for n_lines in [1, 2, 63, 64, 65, 255, 256, 257] {
            let share = Share { n_threads, n_lines };
            let (all, counts, end) = streamed(&input, Detail::Verdict, share);
            assert!(all == expected, "{share:?}");
            assert_eq!(counts, expected_counts, "{share:?}");
            assert!(matches!(end, Some(InputEnd::Whole)), "{end:?}");
        }
    }
}

#[test]
fn a_summary_is_of_its_schema() {
    let screener = embedded_screener();
    let (_, counts) = answered(&screener, Detail::Verdict, &joined(&examples()));
    let summary = counts.summary(&screener, true);
    assert!(validator("batch-summary").is_valid(&summary), "{summary}");
    assert_eq!(summary["as_of"], json!(today().to_string()));
    let total = |list: &str| -> u64 {
        let items = summary[list].as_array().expect("a list");
        items.iter().filter_map(|it| it["lines"].as_u64()).sum()
    };
    assert_eq!(total("verdicts") + counts.n_refused, counts.n_lines());
    assert!(total("refusals") >= counts.n_refused && counts.n_refused > 0);
}

#[test]
fn invented_lines_follow_from_their_seed_and_fit_the_rule_set() {
    let files = RuleFiles::embedded();
    let rules = &embedded_once().0;
    let generator = Generator::new(&files, rules)
        .expect("the cases are read")
        .expect("there are cases");
    let made = |seed: u64| {
        let mut out = Vec::new();
        (1..=2_000).for_each(|number| generator.line(seed, number, &mut out));
        out
    };
    let lines = made(7);
    assert_eq!(lines, made(7));
    assert_ne!(lines, made(8));
    let a_line = lines.len() / 2_000;
    assert!((1_500..2_500).contains(&a_line), "{a_line} bytes a line");
    let clinic = std::fs::read(top().join("examples/clinic.yaml")).expect("the clinic's file");
    let screener = embedded_screener().on(generator.as_of);
    let screener = screener.clinic("clinic.yaml", &clinic).expect("it is read");
    let (answers, counts) = answered(&screener, Detail::Verdict, &lines);
    assert_eq!(answers.len(), 2_000);
    // Each of what comes of a referral is there, and refused are about as many as are meant to be.
    assert_eq!(counts.verdicts.len(), 5, "{:?}", counts.verdicts);
    assert!((5..60).contains(&counts.n_refused), "{}", counts.n_refused);
    assert!(counts.codes.len() >= 5, "{:?}", counts.codes);
}

/// Two editions one of which takes fewer answers, in a clinic: whether trees are read is not to be seen.
#[test]
fn two_editions_are_compared_alike_with_trees_and_without() {
    let mut files = RuleFiles::embedded();
    for (path, from, to) in [
        ("limits.yaml", "value: 4.0", "value: 3.0"),
        ("limits.yaml", "value: 18\n", "value: 50\n"),
        (
            "questions.yaml",
            "plausible: [45, 230]",
            "plausible: [45, 175]",
        ),
    ] {
        let text = crate::support::text_of(&files, path);
        assert!(text.contains(from), "{path} has {from}");
        files.set(path, text.replacen(from, to, 1));
    }
    let changed = RuleSet::read(&files, None).expect("it is a rule set");
    let embedded = &embedded_once().0;
    let generator = Generator::new(&RuleFiles::embedded(), embedded)
        .expect("the cases are read")
        .expect("there are cases");
    let mut lines = Vec::new();
    (1..=400).for_each(|number| generator.line(5, number, &mut lines));
    let clinic = std::fs::read(top().join("examples/clinic.yaml")).expect("the clinic's file");
    for (old, new, by) in [
        (embedded, &changed, RefusedBy::New),
        (&changed, embedded, RefusedBy::Old),
    ] {
        let both = Both::new(old, new, generator.as_of);
        let [old, new] = [&both.old, &both.new].map(|it| {
            let screener = it.clone();
            screener.clinic("clinic.yaml", &clinic).expect("it is read")
        });
        let both = Both { old: both.old, new };
        let slow = BatchComparer::new(&both).block(Lines::new(1, &lines));
        let fast = BatchComparer::new(&both).without_trees(&old);
        assert_eq!(fast.block(Lines::new(1, &lines)), slow);
        // What a thread remembers changes nothing.
        assert_eq!(fast.block(Lines::new(1, &lines)), slow);
        assert!(slow.refused.contains_key(&by) && slow.refused.contains_key(&RefusedBy::Both));
        assert!(
            !slow.verdicts.is_empty() && slow.rules.len() > 3,
            "{slow:?}"
        );
    }
}
