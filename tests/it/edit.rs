//! A questionnaire's text with one answer otherwise.

#![expect(
    clippy::panic,
    reason = "what cannot be read or started fails the test that needs it"
)]

use std::sync::LazyLock;

use preblock::inner::document::shape::to_json;
use preblock::inner::document::source::Node;
use preblock::inner::questionnaire::edit::{
    Entered, started, started_in_json, understood, with_answer,
};
use preblock::inner::questionnaire::frame;
use preblock::inner::rule_set::{Answer, Idx, Question, RuleSet};
use proptest::prelude::*;

use crate::properties::Dice;
use crate::support::{SEED, codes, embedded_once, tiny, today, written};

fn question(rules: &RuleSet, id: &str) -> Idx<Question> {
    rules
        .catalogue
        .questions
        .position(|it| it.id == id)
        .unwrap_or_else(|| panic!("there is no question {id}"))
}

fn typed(text: &str) -> Entered {
    Entered::Typed(text.to_owned())
}

/// The text after one answer after another.
fn after(text: &str, answers: &[(&str, Entered)]) -> String {
    let rules = &embedded_once().0;
    answers.iter().fold(text.to_owned(), |text, (id, answer)| {
        with_answer(rules, &text, question(rules, id), answer)
            .unwrap_or_else(|found| panic!("{id}: {}", codes(&found).join(", ")))
    })
}

#[test]
fn a_new_questionnaire_is_filled_line_by_line() {
    let rules = &embedded_once().0;
    let text = started(rules, "SM-103", today()).unwrap_or_default();
    let text = after(
        &text,
        &[
            ("person.weight", typed("81 kg")),
            ("person.sex", Entered::Options(vec!["female".into()])),
            ("plan.adrenaline", Entered::Options(vec!["no".into()])),
            ("person.date_of_birth", Entered::NotKnown),
            (
                "bleeding.inr",
                Entered::Dated {
                    value: Box::new(typed("2.6")),
                    taken_on: "2026-11-20".into(),
                },
            ),
        ],
    );
    let expected = "\
questionnaire: 1
for: nail-surgery
reference: SM-103
completed_on: 2026-11-25
answers:
  person:
    date_of_birth: unknown
    sex: female
    weight: 81 kg
  plan:
    adrenaline: no
  bleeding:
    inr: { value: 2.6, taken_on: 2026-11-20 }
";
    assert_eq!(text, expected);
}

#[test]
fn comments_order_and_other_answers_stay() {
    let text = "\
# first
questionnaire: 1   # the form
reference: SM-1
answers:
  # about the person
  person:   # whoever
    sex:    female    # told
    weight:           # kg
    # of the surgery
    height: 170 cm
  medicines: {}
  plan: { adrenaline: no, tourniquet: yes }  # agreed
note: >
  long and
  wide
";
    let changed = after(
        text,
        &[
            ("person.sex", Entered::Options(vec!["male".into()])),
            ("person.weight", typed("81 kg")),
            ("person.height", Entered::Nothing),
            ("plan.tourniquet", Entered::NotKnown),
            (
                "plan.antiseptic",
                Entered::Options(vec!["chlorhexidine".into()]),
            ),
        ],
    );
    let expected = "\
# first
questionnaire: 1   # the form
reference: SM-1
answers:
  # about the person
  person:   # whoever
    sex:    male    # told
    weight: 81 kg           # kg
    # of the surgery
    height:
  medicines: {}
  plan: { adrenaline: no, tourniquet: unknown, antiseptic: chlorhexidine }  # agreed
note: >
  long and
  wide
";
    assert_eq!(changed, expected);
}

#[test]
fn one_answer_is_understood_by_itself() {
    let rules = &embedded_once().0;
    let words = |id: &str, answer: &Entered| match understood(
        rules,
        question(rules, id),
        answer,
        today(),
    ) {
        Ok(it) => it.words,
        Err(found) => codes(&found).join("; "),
    };
    assert_eq!(words("person.weight", &typed("81 kg")), "81 kg");
    assert_eq!(
        words("person.weight", &typed("81")),
        "answers/needs-unit `person.weight` needs a unit"
    );
    assert_eq!(
        words("person.weight", &Entered::NotKnown),
        "asked, not known"
    );
}

static RULES: LazyLock<RuleSet> =
    LazyLock::new(|| tiny(&[("one", "go", "{ fact: a.smokes, is: yes }")]));

/// Texts with what YAML reads otherwise in them.
fn hostile() -> impl Strategy<Value = String> {
    let piece = prop_oneof![
        "[a-zA-Z0-9 ]{0,4}",
        "\\PC{0,3}",
        prop::sample::select(vec![
            "no",
            "yes",
            "~",
            "null",
            "1e3",
            "010",
            "0x1F",
            "1_000",
            ".5",
            "5.",
            "12:30",
            "#",
            " #",
            ": ",
            ":",
            "- ",
            "'",
            "\"",
            "\\",
            "[",
            "]",
            "{",
            "}",
            ",",
            "&a",
            "*a",
            "!t",
            "%",
            "@",
            "`",
            "|",
            ">",
            "\n",
            "\r\n",
            "\t",
            "=",
            "<<",
            "?",
            "---",
            "...",
            "é",
            "unknown",
            "2026-12-03",
            "81 kg",
            "true",
            "off",
            "Nan",
            "infinity",
        ])
        .prop_map(str::to_owned),
    ];
    prop::collection::vec(piece, 0..5).prop_map(|pieces| pieces.concat())
}

/// The text that stands under a section's key.
fn read_back(text: &str, section: &str, key: &str) -> Option<Node> {
    let read = frame::tree("t.yaml", text.as_bytes());
    assert!(
        read.diagnostics.is_empty(),
        "{:?}\n{text}",
        codes(&read.diagnostics)
    );
    read.root?.get("answers")?.get(section)?.get(key).cloned()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, rng_seed: SEED, ..ProptestConfig::default() })]

    /// What was typed is what is read back, by our reader and by another one; or it is refused, and no text is made.
    #[test]
    fn what_is_typed_is_what_is_read(typed in hostile(), beside in hostile()) {
        let rules = &*RULES;
        let before = written("a:\n  smokes: yes # really\n");
        let words = Entered::Typed(typed.clone());
        match with_answer(rules, &before, question(rules, "a.words"), &words) {
            Ok(after) => {
                let node = read_back(&after, "a", "words");
                prop_assert_eq!(node.as_ref().and_then(Node::text), Some(typed.as_str()), "{}", after);
                let outside: serde_yaml::Value = serde_yaml::from_str(&after).map_err(|it| TestCaseError::fail(it.to_string()))?;
                prop_assert_eq!(outside["answers"]["a"]["words"].as_str(), Some(typed.as_str()));
                prop_assert!(after.contains("smokes: yes # really\n"));
            }
            Err(found) => prop_assert!(codes(&found).iter().all(|it| it.starts_with("text/")), "{:?} {:?}", typed, codes(&found)),
        }
        let in_json = as_json(&before);
        if let Ok(after) = with_answer(rules, &in_json, question(rules, "a.words"), &words) {
            let outside: serde_json::Value = serde_json::from_str(&after).map_err(|it| TestCaseError::fail(it.to_string()))?;
            prop_assert_eq!(outside["answers"]["a"]["words"].as_str(), Some(typed.as_str()));
            prop_assert_eq!(outside["answers"]["a"]["smokes"].as_str(), Some("yes"));
        }
        let list = Entered::Entries(vec![
            vec![("name".to_owned(), typed.clone())],
            vec![("name".to_owned(), beside.clone()), ("daily".to_owned(), typed.clone())],
        ]);
        if let Ok(after) = with_answer(rules, &before, question(rules, "a.taken"), &list) {
            let node = read_back(&after, "a", "taken");
            let items = node.as_ref().map_or(&[][..], Node::items);
            prop_assert_eq!(items.first().and_then(Node::text), Some(typed.as_str()));
            let second = items.get(1);
            prop_assert_eq!(second.and_then(|it| it.get("name")?.text()), Some(beside.as_str()));
            prop_assert_eq!(second.and_then(|it| it.get("daily")?.text()), Some(typed.as_str()));
            let after = with_answer(rules, &in_json, question(rules, "a.taken"), &list).unwrap_or_default();
            let outside: serde_json::Value = serde_json::from_str(&after).map_err(|it| TestCaseError::fail(it.to_string()))?;
            prop_assert_eq!(&outside["answers"]["a"]["taken"], &serde_json::json!([typed, { "name": beside, "daily": typed }]));
        }
    }
}

/// A questionnaire in JSON.
fn as_json(yaml: &str) -> String {
    let root = frame::tree("t.yaml", yaml.as_bytes()).root;
    let value = root.map(|it| to_json(&it)).unwrap_or_default();
    format!("{value:#}\n")
}

/// What a text says, wherever it stands in it.
fn says(name: &str, text: &str) -> serde_json::Value {
    let read = frame::tree(name, text.as_bytes());
    assert!(
        read.diagnostics.is_empty(),
        "{:?}\n{text}",
        codes(&read.diagnostics)
    );
    read.root.map(|it| to_json(&it)).unwrap_or_default()
}

/// Every answer of every example changed, blanked and put back: the rest is kept, to the byte where it is put back. The same in
/// JSON says the same.
#[test]
fn every_example_takes_any_answer() {
    let rules = &embedded_once().0;
    let mut dice = Dice(7);
    let mut n_changed = 0;
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/referrals");
    for entry in std::fs::read_dir(folder)
        .unwrap_or_else(|it| panic!("{it}"))
        .flatten()
    {
        let path = entry.path();
        if path.extension().is_none_or(|it| it != "yaml") {
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap_or_else(|it| panic!("{it}"));
        for (at, question) in rules
            .catalogue
            .questions
            .entries()
            .filter(|_| dice.roll(8) == 0)
        {
            let answer = match &question.answer {
                Answer::YesNo => Entered::Options(vec!["yes".into()]),
                Answer::OneOf(options) | Answer::SeveralOf(options) => {
                    Entered::Options(vec![options[0].id.clone()])
                }
                _ => typed("no: #1"),
            };
            let changed = with_answer(rules, &text, at, &answer);
            let changed = changed.unwrap_or_else(|it| {
                panic!("{} {}: {:?}", path.display(), question.id, codes(&it))
            });
            n_changed += usize::from(changed != text);
            let in_json = with_answer(rules, &as_json(&text), at, &answer).unwrap_or_default();
            assert_eq!(says("t.json", &in_json), says("t.yaml", &changed));
            let again = with_answer(rules, &in_json, at, &answer);
            assert_eq!(again.as_deref(), Ok(in_json.as_str()));
            let again = with_answer(rules, &changed, at, &answer);
            assert_eq!(again.as_deref(), Ok(changed.as_str()));
            let blank = with_answer(rules, &changed, at, &Entered::Nothing);
            assert!(blank.is_ok(), "{} {}", path.display(), question.id);
        }
    }
    assert!(n_changed > 300, "{n_changed}");
}

/// Layouts that people and programs write.
#[test]
fn other_layouts_are_kept() {
    let answer = [("person.sex", Entered::Options(vec!["male".into()]))];
    for (before, expected) in [
        (
            "{ questionnaire: 1, reference: S-1, answers: { person: { weight: 80 kg } } }\n",
            "{ questionnaire: 1, reference: S-1, answers: { person: { sex: male, weight: 80 kg } } }\n",
        ),
        (
            "{ questionnaire: 1, reference: S-1, answers: {} }",
            "{ questionnaire: 1, reference: S-1, answers: { person: { sex: male } } }",
        ),
        (
            "questionnaire: 1\r\nreference: S-1\r\nanswers:\r\n  person:\r\n    weight: 80 kg\r\n",
            "questionnaire: 1\r\nreference: S-1\r\nanswers:\r\n  person:\r\n    sex: male\r\n    weight: 80 kg\r\n",
        ),
        (
            "questionnaire: 1\nreference: S-1\nanswers: ~ # none\n",
            "questionnaire: 1\nreference: S-1\nanswers: # none\n  person:\n    sex: male\n",
        ),
        (
            "questionnaire: 1\nreference: S-1",
            "questionnaire: 1\nreference: S-1\nanswers:\n  person:\n    sex: male\n",
        ),
        (
            "questionnaire: 1\nreference: S-1\nanswers:\n    plan:\n        toes: [] # a\n\n    # b\n",
            "questionnaire: 1\nreference: S-1\nanswers:\n    person:\n      sex: male\n    plan:\n        toes: [] # a\n\n    # b\n",
        ),
        (
            "\u{feff}questionnaire: 1\nreference: S-1\nanswers:\n  person:\n    \"sex\": 'female' # t\n",
            "\u{feff}questionnaire: 1\nreference: S-1\nanswers:\n  person:\n    \"sex\": male # t\n",
        ),
        (
            "questionnaire: 1\nreference: S-1\nnote: |\n  a # b\n\n\nanswers:\n",
            "questionnaire: 1\nreference: S-1\nnote: |\n  a # b\n\n\nanswers:\n  person:\n    sex: male\n",
        ),
    ] {
        assert_eq!(after(before, &answer), expected);
    }
}

/// JSON stays JSON, on as many lines as it was and in the order of a questionnaire.
#[test]
fn json_stays_json() {
    let answers = [
        ("person.sex", Entered::Options(vec!["male".into()])),
        (
            "bleeding.inr",
            Entered::Dated {
                value: Box::new(typed("2.60")),
                taken_on: "2026-11-20".into(),
            },
        ),
        ("person.weight", Entered::Nothing),
    ];
    let before = r#"{"questionnaire":1,"reference":"S-1","answers":{"person":{"weight":"80 kg"}},"note":"a \u00e9"}"#;
    assert_eq!(
        after(before, &answers),
        r#"{"questionnaire":1,"reference":"S-1","answers":{"person":{"sex":"male","weight":null},"bleeding":{"inr":{"value":2.6,"taken_on":"2026-11-20"}}},"note":"a é"}"#
    );
    let rules = &embedded_once().0;
    let started = started_in_json(rules, "SM-103", today()).unwrap_or_default();
    let expected = r#"{
  "questionnaire": 1,
  "for": "nail-surgery",
  "reference": "SM-103",
  "completed_on": "2026-11-25",
  "answers": {
    "person": {
      "sex": "male"
    }
  }
}
"#;
    assert_eq!(after(&started, &answers[..1]), expected);
    assert!(started_in_json(rules, "Smith", today()).is_err());
    for text in [
        r#"{"answers":[]}"#,
        r#"{"answers":{"person":"words"}}"#,
        r#"{"answers":{},"answers":{}}"#,
    ] {
        let refused = with_answer(rules, text, question(rules, "person.sex"), &typed("male"));
        assert!(refused.is_err_and(|it| !it.is_empty()), "{text}");
    }
}

/// Comments inside of an answer that is replaced are put above it.
#[test]
fn comments_inside_an_answer_are_kept() {
    let before = "questionnaire: 1\nreference: S-1\nanswers:\n  person:\n    sex: # told\n      female # by him\n  medicines:\n    taking: # of the letter\n      - warfarin # brand unknown\n      - aspirin # new\n    note: x\n";
    let rules = &embedded_once().0;
    let medicines = rules
        .catalogue
        .questions
        .iter()
        .find(|it| it.answer == Answer::Medicines);
    let medicines = medicines.map_or("", |it| it.id.as_str());
    let before = before.replace("medicines:\n    taking", &medicines.replace('.', ":\n    "));
    let list = Entered::Entries(vec![vec![("name".into(), "warfarin".into())]]);
    let changed = after(
        &before,
        &[(medicines, list), ("person.sex", Entered::NotKnown)],
    );
    let name = medicines.split_once('.').map_or("", |it| it.1);
    let expected = format!(
        "    # of the letter\n    # brand unknown\n    {name}: [warfarin] # new\n    note: x\n"
    );
    assert!(changed.ends_with(&expected), "{changed}");
    assert!(
        changed.contains("    # told\n    sex: unknown # by him\n"),
        "{changed}"
    );
}

/// A text that cannot be read, or has something else where answers stand, is refused as it is.
#[test]
fn what_cannot_be_read_is_not_changed() {
    let rules = &embedded_once().0;
    for text in [
        "answers: [",
        "answers: words\n",
        "- a\n",
        "answers:\n  person: [a]\n",
        "a: 1\na: 2\n",
    ] {
        let refused = with_answer(rules, text, question(rules, "person.sex"), &typed("male"));
        assert!(refused.is_err_and(|it| !it.is_empty()), "{text}");
    }
}
