//! The fast way of `batch` against the reader of trees: the same answer to every line, byte for byte.
#![expect(
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a clinic's file that is refused fails the test, and dice fall within the tables that they are rolled for"
)]

use std::collections::BTreeMap;
use std::path::PathBuf;

use preblock::inner::batch::fast::{Fast, Room};
use preblock::inner::batch::lines::Lines;
use preblock::inner::batch::{BatchScreener, Detail};
use preblock::inner::document::shape::to_json;
use preblock::inner::questionnaire::frame;
use preblock::inner::rule_set::{Idx, Question, RuleSet};
use preblock::inner::screening::screener::Screener;
use rstest::rstest;
use serde_json::{Map, Value, json};

use crate::properties::{Dice, some_answer};
use crate::shipped::{Shipped, nails, skin};
use crate::support::said;

/// Room that is full after a few records.
const TINY: Room = Room {
    n_texts: 300,
    n_bytes: 4000,
};

fn top() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// A record with these answers, by section and name.
fn record(reference: usize, answers: &BTreeMap<Idx<Question>, Value>, rules: &RuleSet) -> Value {
    let mut sections = Map::new();
    for (at, value) in answers {
        let question = &rules.catalogue.questions[*at];
        let section = &rules.catalogue.sections[question.section].id;
        let place = sections.entry(section).or_insert_with(|| json!({}));
        if let (Some(place), Some((_, name))) = (place.as_object_mut(), question.id.split_once('.'))
        {
            place.insert(name.to_owned(), value.clone());
        }
    }
    json!({ "questionnaire": 1, "reference": format!("T-{reference}"), "answers": sections })
}

/// Every example of a rule set, the refused ones, and every worked case.
fn known_records(shipped: &Shipped) -> Vec<Value> {
    let rules = &shipped.rules;
    let refused = std::fs::read_dir(top().join("examples/refused"));
    let mut paths: Vec<PathBuf> = refused
        .into_iter()
        .flatten()
        .filter_map(|it| Some(it.ok()?.path()))
        .collect();
    paths.sort();
    let mut found = Vec::new();
    for path in shipped.paths().into_iter().chain(paths) {
        let bytes = std::fs::read(&path).unwrap_or_default();
        let root = frame::tree(&path.display().to_string(), &bytes).root;
        found.extend(root.map(|it| to_json(&it)));
    }
    let cases = shipped.cases();
    assert!(cases.len() > 300, "{} cases", cases.len());
    found.extend(cases.iter().enumerate().map(|(n, case)| {
        let given = case.answers.given.iter();
        let answers = given.map(|(at, given)| (*at, to_json(&given.node)));
        record(n, &answers.collect(), rules)
    }));
    found
}

/// Texts of JSON that may stand anywhere, whether anything makes sense of them or not.
const ODD: [&str; 24] = [
    "null",
    "true",
    "false",
    "0",
    "1",
    "-3.5",
    "1e2",
    "12.50",
    "\"\"",
    "\" \"",
    "\"unknown\"",
    "\"Declined \"",
    "\"yes\"",
    "\"no\"",
    "[]",
    "[ ]",
    "{}",
    "[\"unknown\"]",
    "\"caf\\u00e9\"",
    "\"na\u{ef}ve\"",
    "\"a\\\"b\\\\\"",
    "\"2026-11-30\"",
    "{\"value\":\"unknown\",\"taken_on\":null}",
    "[[[[[[[[[[[[1]]]]]]]]]]]]",
];

/// Changes a line of JSON at one place, as a text.
fn scratched(line: &str, dice: &mut Dice) -> Vec<u8> {
    let mut bytes = line.as_bytes().to_vec();
    let at = dice.roll(bytes.len());
    match dice.roll(5) {
        0 => {
            bytes.remove(at);
        }
        1 => bytes.insert(at, b" \t,:\"{}[]\\#\r0a\x07\xff\xc3"[dice.roll(17)]),
        2 => bytes[at] = b" ,:\"{}[]\\-.1eu\x00\xa0"[dice.roll(16)],
        3 => bytes.truncate(at),
        _ => {
            let to = (at + dice.roll(40)).min(bytes.len());
            let again = bytes[at..to].to_vec();
            bytes.splice(at..at, again);
        }
    }
    bytes.retain(|byte| *byte != b'\n');
    bytes
}

/// Lines that go on for ever.
pub struct Records<'a> {
    rules: &'a RuleSet,
    known: Vec<Value>,
    dice: Dice,
    n: usize,
}

impl Records<'_> {
    /// What may be answered to a question: as somebody else did, at random, or oddly.
    fn answer(&mut self, question: &Question) -> Option<Value> {
        if self.dice.roll(30) == 0 {
            return serde_json::from_str(ODD[self.dice.roll(ODD.len())]).ok();
        }
        let written = some_answer(self.rules, question, &mut self.dice)?;
        frame::tree("t.yaml", written.as_bytes())
            .root
            .map(|it| to_json(&it))
    }

    /// A record, perhaps changed as a text.
    pub fn next(&mut self) -> Vec<u8> {
        self.n += 1;
        let questions = &self.rules.catalogue.questions;
        let mut record = if self.dice.roll(4) == 0 {
            let mut answers = BTreeMap::new();
            for (at, question) in questions.entries() {
                if let Some(answer) = self.answer(question) {
                    answers.insert(at, answer);
                }
            }
            record(self.n, &answers, self.rules)
        } else {
            let at = self.dice.roll(self.known.len());
            self.known[at].clone()
        };
        for _ in 0..self.dice.roll(8) {
            let question = &questions.rows()[self.dice.roll(questions.len())];
            let answer = self.answer(question);
            let (section, name) = question.id.split_once('.').unwrap_or_default();
            let Some(answers) = record.get_mut("answers").and_then(Value::as_object_mut) else {
                break;
            };
            let place = answers.entry(section).or_insert_with(|| json!({}));
            let Some(place) = place.as_object_mut() else {
                break;
            };
            match answer {
                Some(answer) => place.insert(name.to_owned(), answer),
                None => place.remove(name),
            };
        }
        match self.dice.roll(20) {
            0 => record["note"] = json!("Somebody must look at this; \u{e9}t\u{e9}."),
            1 => {
                record["note"] =
                    serde_json::from_str(ODD[self.dice.roll(ODD.len())]).unwrap_or_default()
            }
            2 => {
                record["completed_on"] =
                    json!(["2026-11-20", "2026-12-20", "unknown", "20.11.2026"][self.dice.roll(4)])
            }
            3 => {
                record["for"] =
                    json!([self.rules.id.as_str(), "another", "Nail-surgery"][self.dice.roll(3)])
            }
            4 => {
                record["reference"] = json!(
                    ["", "Jane Doe", "2001-02-03", "20010203", "é1", "A-1/2_3.4"]
                        [self.dice.roll(6)]
                )
            }
            5 => record["plan"] = json!({}),
            6 => record["note"] = json!("long ".repeat([210, 900, 14_000][self.dice.roll(3)])),
            _ => {}
        }
        let text = record.to_string();
        match self.dice.roll(8) {
            0 => scratched(&text, &mut self.dice),
            // Uncommon, and yet right.
            1 => text
                .replace("\":", "\" :\t")
                .replace(",\"", " , \"")
                .into_bytes(),
            2 => text
                .replace("\":", "\": ")
                .replace(",\"", ", \"")
                .into_bytes(),
            _ => text.into_bytes(),
        }
    }
}

pub fn records(shipped: &Shipped, seed: u64) -> Records<'_> {
    Records {
        known: known_records(shipped),
        rules: &shipped.rules,
        dice: Dice(seed),
        n: 0,
    }
}

/// Holds the answers of the fast way to those of the reader of trees.
fn assert_equal(screener: &Screener<'_>, fast: &BatchScreener<'_>, detail: Detail, block: &[u8]) {
    let by_trees = BatchScreener::new(screener, detail).by_trees();
    let (mut expected, mut got) = (Vec::new(), Vec::new());
    let counted = by_trees.block(Lines::new(1, block), &mut expected);
    let counts = fast.block(Lines::new(1, block), &mut got);
    if expected != got {
        let lines = block.split(|byte| *byte == b'\n');
        let answers = expected
            .split(|byte| *byte == b'\n')
            .zip(got.split(|byte| *byte == b'\n'));
        for (line, (expected, got)) in lines.zip(answers) {
            assert_eq!(said(expected), said(got), "{}", said(line));
        }
    }
    assert_eq!(expected, got);
    assert_eq!(counted, counts);
}

#[rstest]
#[case::nails(nails())]
#[case::skin(skin())]
fn every_example_and_case_is_answered_as_by_its_tree(#[case] shipped: &Shipped) {
    let rules = &shipped.rules;
    let screeners = [shipped.screener(), shipped.screener_of_the_clinic()];
    let known = known_records(shipped);
    let lines: Vec<u8> = known
        .iter()
        .flat_map(|it| format!("{it}\n").into_bytes())
        .collect();
    for screener in screeners {
        for detail in [Detail::Verdict, Detail::Findings] {
            let fast = BatchScreener::new(&screener, detail);
            assert_equal(&screener, &fast, detail, &lines);
        }
        let fast = Fast::new(&screener).expect("the rule set is taken");
        let mut memory = fast
            .memory(Room::USUAL)
            .expect("the clinic's answers are taken");
        let texts: Vec<String> = known.iter().map(Value::to_string).collect();
        let taken: usize = texts
            .chunks(Fast::MOST)
            .map(|some| {
                fast.screen(
                    &mut memory,
                    some.iter().map(|it| it.as_bytes()),
                    rules.judging.indices(),
                )
                .iter()
                .flatten()
                .count()
            })
            .sum();
        println!("{taken} of {}", texts.len());
        assert!(taken * 10 > texts.len() * 9, "{taken} of {}", texts.len());
    }
}

#[rstest]
#[case::nails(nails())]
#[case::skin(skin())]
fn any_record_is_answered_as_by_its_tree_in_blocks_of_any_size(#[case] shipped: &Shipped) {
    let n_records: usize = std::env::var("PREBLOCK_RECORDS")
        .ok()
        .and_then(|it| it.parse().ok())
        .unwrap_or(3000);
    let screeners = [shipped.screener(), shipped.screener_of_the_clinic()];
    std::thread::scope(|scope| {
        for (screener, seed) in screeners.iter().zip(1..) {
            scope.spawn(move || {
                let mut records = records(shipped, seed);
                let details = [Detail::Verdict, Detail::Findings];
                let fasts = details.map(|detail| {
                    [
                        BatchScreener::new(screener, detail),
                        BatchScreener::new(screener, detail).remembering(TINY),
                    ]
                });
                let (mut left, mut size) = (n_records / 2, 0);
                while left > 0 {
                    size = size % 257 + 1;
                    let mut block = Vec::new();
                    for _ in 0..size {
                        block.extend(records.next());
                        block.push(b'\n');
                    }
                    let which = size % 2;
                    assert_equal(
                        screener,
                        &fasts[which][size / 2 % 2],
                        details[which],
                        &block,
                    );
                    left = left.saturating_sub(size);
                }
            });
        }
    });
}
