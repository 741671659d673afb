//! Bad input: each file has one slip, is told it at its place, and is not screened.
//!
//! The first line of a YAML file names the codes that must come, and no others; for JSON the table below does.
//! Snapshots hold the whole drawn message. `INSTA_UPDATE=always cargo test rejects` writes them anew: read them.

use std::path::{Path, PathBuf};

use preblock::Screener;
use preblock::inner::cli::draw::rendered;
use preblock::inner::document::diagnostic::{Code, Diagnostic};
use preblock::inner::document::source::{Node, steers};
use preblock::inner::questionnaire::frame;
use preblock::inner::questionnaire::policy::rule_set_with;
use preblock::inner::rule_set::RuleSet;
use preblock::inner::rule_set::files::{Care, RuleFiles, TextFile};
use preblock::inner::rule_set::read::rule_set;
use rstest::rstest;

use crate::support::{embedded, text_of, today};

/// Codes that JSON files must come to; JSON has no comments.
const JSON: &[(&str, &str)] = &[
    ("json-duplicate-key", "text/duplicate-key"),
    ("json-trailing-comma", "text/not-json"),
    ("json-text-after", "text/not-json"),
    ("json-nan", "text/not-json"),
    ("json-lone-surrogate", "text/not-json"),
    ("json-unquoted", "text/not-json"),
    ("json-comment", "text/not-json"),
    ("json-single-quotes", "text/not-json"),
    ("json-that-is-yaml", "text/not-json"),
    ("json-open-brace", "text/not-json"),
    ("json-leading-zero", "text/ambiguous"),
    ("json-huge-number", "text/ambiguous"),
    ("json-misspelt-question", "answers/unknown-question"),
    ("response-entered-in-error", "answers/not-to-be-used"),
    ("response-unit-for-people", "answers/wrong-unit"),
];

/// Everything that is wrong with a questionnaire, as `screen` finds it.
fn found(rules: &RuleSet, name: &str, bytes: &[u8]) -> Vec<Diagnostic> {
    Screener::new(rules, today())
        .read(name, bytes)
        .err()
        .map(|refusal| refusal.problems)
        .unwrap_or_default()
}

fn codes(found: &[Diagnostic]) -> Vec<&'static str> {
    found.iter().map(|it| it.code.name()).collect()
}

/// The drawn messages, one after the other.
fn drawn(found: &[Diagnostic]) -> String {
    found
        .iter()
        .map(|it| rendered(it, 80, false))
        .collect::<Vec<_>>()
        .join("\n")
}

fn snapshot(name: &str, found: &[Diagnostic]) {
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("../snapshots/rejects");
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!(name, drawn(found)));
}

/// What every message promises: a short title without a full stop, and what to do next.
fn well_spoken(found: &[Diagnostic]) {
    for it in found {
        assert!(
            !it.title.ends_with('.') && !it.title.contains('\n'),
            "{}",
            it.title
        );
        assert!(
            it.title.chars().count() <= 110,
            "the title is long: {}",
            it.title
        );
        assert!(!it.help.trim().is_empty(), "no help: {}", it.title);
        let drawn = rendered(it, 80, false);
        assert!(
            !drawn.chars().any(|letter| letter != '\n' && steers(letter)),
            "steers the terminal: {drawn:?}"
        );
        let said = format!("{} {}", it.title, it.help);
        for word in [
            "Option", "None", "Some(", "serde", "enum", "struct", "unwrap", "f64",
        ] {
            assert!(!said.contains(word), "`{word}` in: {said}");
        }
    }
}

#[rstest]
fn a_questionnaire_with_a_slip(#[files("tests/rejects/answers/*")] path: PathBuf) {
    let rules = embedded();
    let bytes = std::fs::read(&path).unwrap_or_default();
    let name = path
        .file_name()
        .map(|it| it.to_string_lossy().into_owned())
        .unwrap_or_default();
    let stem = path
        .file_stem()
        .map(|it| it.to_string_lossy().into_owned())
        .unwrap_or_default();
    let text = String::from_utf8_lossy(&bytes).into_owned();
    let expected = match JSON.iter().find(|(file, _)| *file == stem) {
        Some((_, codes)) => (*codes).to_owned(),
        None => text
            .lines()
            .next()
            .and_then(|it| it.strip_prefix("# code: "))
            .unwrap_or_default()
            .to_owned(),
    };
    let found = found(&rules, &name, &bytes);
    assert_eq!(
        codes(&found),
        expected.split_whitespace().collect::<Vec<_>>(),
        "{}",
        drawn(&found)
    );
    well_spoken(&found);
    if found.len() <= 5 {
        snapshot(&stem, &found);
    }
}

#[rstest]
fn a_local_policy_with_a_slip(#[files("tests/rejects/local/*")] path: PathBuf) {
    let bytes = std::fs::read(&path).unwrap_or_default();
    let stem = path
        .file_stem()
        .map(|it| it.to_string_lossy().into_owned())
        .unwrap_or_default();
    let text = String::from_utf8_lossy(&bytes).into_owned();
    let expected = text
        .lines()
        .next()
        .and_then(|it| it.strip_prefix("# code: "))
        .unwrap_or_default()
        .to_owned();
    let local = TextFile::new(format!("{stem}.yaml"), bytes);
    let found = rule_set_with(&RuleFiles::embedded(), Some(&local))
        .err()
        .unwrap_or_default();
    assert_eq!(
        codes(&found),
        expected.split_whitespace().collect::<Vec<_>>(),
        "{}",
        drawn(&found)
    );
    let elsewhere: Vec<&str> = found
        .iter()
        .filter_map(|it| it.source.as_ref())
        .map(|it| it.name())
        .filter(|it| *it != local.name())
        .collect();
    assert!(
        elsewhere.is_empty(),
        "the rule set is not at fault: {elsewhere:?}"
    );
    well_spoken(&found);
    snapshot(&format!("local-{stem}"), &found);
}

/// Slips of the rule set and of the local policy come in one run.
#[test]
fn a_local_policy_is_told_beside_the_rule_set() {
    let Some(slip) = SLIPS.iter().find(|it| it.name == "option") else {
        unreachable!("the slip is gone")
    };
    let text = "local_policy: 1\nclinic: C\nof: nail-surgery\nedition: \"2026.1\"\nchanges:\n  - { limit: inr-celling, value: 3.5, reason: So, \
                agreed_by: lead, agreed_on: 2026-11-20, review_by: 2027-05-31 }\n";
    let local = TextFile::new("local.yaml", text);
    let found = rule_set_with(&spoilt(slip), Some(&local))
        .err()
        .unwrap_or_default();
    assert_eq!(
        codes(&found),
        ["rules/unknown-option", "rules/unknown-limit"],
        "{}",
        drawn(&found)
    );
}

/// Several slips of one file come in one run, in the order of the file.
#[test]
fn all_slips_come_at_once() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/refused/SM-201.yaml");
    let found = found(
        &embedded(),
        "SM-201.yaml",
        &std::fs::read(path).unwrap_or_default(),
    );
    let expected = [
        "answers/not-a-date",
        "answers/needs-unit",
        "text/duplicate-key",
        "answers/not-a-number",
        "answers/needs-unit",
        "answers/unknown-question",
    ];
    assert_eq!(codes(&found), expected);
}

/// What a file says is drawn, and must not steer the terminal it is drawn on: raw, escaped in quotes, in a key or a name.
#[rstest]
#[case("  person: { weight: \"78 k\\e[31mg\" }")]
#[case("  person: { date_of_birth: \"14/05/1986\\e[31m\" }")]
#[case("  person: { sex: \"male\\e[31m\\u202e\" }")]
#[case("  bleeding: { alcohol_units: \"1,5\\e[31m\" }")]
#[case("  \"bleeding\\e[31m\": {}")]
#[case("  bleeding: { \"history\\e[31m\": [] }")]
#[case("  bleeding: { history: [\"bruising\\e[31m\"] }")]
#[case(
    "  plan: { anaesthetic: [{ agent: \"lido\\e[31m\", \"\\e[31m\": 1, strength: \"2 \\e[31m\", volume: \"3,0 mL\\e[31m\" }] }"
)]
#[case("  allergies: { known: [{ to: latex, reaction: \"rash\\e[31m\" }] }")]
#[case("  bleeding: { note: a\u{1b}[31m\u{202e}b }")]
fn no_message_steers_the_terminal(#[case] answers: &str) {
    let text = format!("questionnaire: 1\nreference: X-1\nanswers:\n{answers}\n");
    let found = found(&embedded(), "a\u{1b}[31m.yaml", text.as_bytes());
    assert!(!found.is_empty());
    well_spoken(&found);
}

/// Eight levels of nine aliases each: 43 million values, if anybody wrote them out.
#[test]
fn a_bomb_of_aliases_is_refused_at_once() {
    let mut text = String::from("a: &a [x, x, x, x, x, x, x, x, x]\n");
    for (inner, outer) in "abcdefg".chars().zip("bcdefgh".chars()) {
        let nine = vec![format!("*{inner}"); 9].join(", ");
        text.push_str(&format!("{outer}: &{outer} [{nine}]\n"));
    }
    let rules = embedded();
    let started = std::time::Instant::now();
    let found = found(&rules, "bomb.yaml", text.as_bytes());
    assert_eq!(
        codes(&found)
            .iter()
            .filter(|it| **it == "text/alias")
            .count(),
        8 + 7 * 9
    );
    assert!(started.elapsed().as_secs() < 2);
}

#[test]
fn bytes_that_are_not_text() {
    let found = found(
        &embedded(),
        "t.yaml",
        b"questionnaire: 1\nreference: caf\xe9\nanswers:\n",
    );
    assert_eq!(codes(&found), ["text/not-utf8"]);
    assert!(found.iter().all(|it| it.title.contains("line 2")));
}

#[test]
fn a_list_that_is_too_long() {
    let entries = vec!["paracetamol"; 201].join(", ");
    let text = format!(
        "questionnaire: 1\nreference: T-1\nanswers:\n  medicines: {{ current: [{entries}] }}\n"
    );
    assert_eq!(
        codes(&found(&embedded(), "t.yaml", text.as_bytes())),
        ["answers/too-many"]
    );
}

// Found by attack: a questionnaire without a plan went ahead on the clinic's toes and day.
#[rstest]
#[case("bleeding: { history: [] }", "bleeding")]
#[case("person: { weight: 70 kg }", "person")]
#[case("medicines: { current: [] }", "medicines")]
#[case("plan: { toes: [left-great] }", "plan.toes")]
#[case("plan: { procedure_on: 2026-12-03 }", "plan.procedure_on")]
#[case(
    "plan: { anaesthetic: [{ agent: lidocaine, strength: 2 %, volume: 3 mL }] }",
    "plan.anaesthetic"
)]
fn a_clinic_cannot_answer_for_a_patient(#[case] answers: &str, #[case] what: &str) {
    let text = format!("clinic: 1\nname: Saltmarsh Foot Clinic\nanswers:\n  {answers}\n");
    let (_, found) = frame::clinic(&embedded(), "clinic.yaml", text.as_bytes());
    assert_eq!(codes(&found), ["answers/not-standing"]);
    assert!(
        found
            .iter()
            .all(|it| it.title == format!("a clinic's file cannot answer `{what}`")),
        "{}",
        drawn(&found)
    );
    well_spoken(&found);
}

/// A clinic's file has a frame of its own, and is told what is wrong with it as a questionnaire is.
#[rstest]
#[case("clinic: 1\nname:\nanswers: {}\n", "shape/wrong-form")]
#[case("clinic: 1\nname: \"  \"\nanswers: {}\n", "shape/wrong-form")]
#[case(
    "clinic: 1\nname: C\nfor: skin-lesion\nanswers: {}\n",
    "answers/another-rule-set"
)]
#[case(
    "clinic: 1\nname: C\nnote: room #2 is closed\nanswers: { clinic: { note: see list }}\n",
    "answers/hidden-text"
)]
#[case(
    "questionnaire: 1\nreference: X-1\nanswers: {}\n",
    "answers/another-kind"
)]
#[case(
    "local_policy: 1\nclinic: C\nof: nail-surgery\nchanges: []\n",
    "answers/another-kind"
)]
fn a_clinics_file_with_a_slip(#[case] text: &str, #[case] code: &str) {
    let (_, found) = frame::clinic(&embedded(), "clinic.yaml", text.as_bytes());
    assert_eq!(codes(&found), [code], "{}", drawn(&found));
    well_spoken(&found);
}

/// A drawing fits the options that are chosen on it, or is refused.
#[rstest]
#[case::fits("", "", &[])]
#[case::none_of_them("drawing: sketch", "drawing: scetch", &["shape/wrong-form"])]
#[case::no_place("left-great: [2", "left-grate: [2", &["shape/wrong-form"])]
#[case::outside("[2, 2, 1, 1]", "[0.5, 2, 1, 1]", &["rules/bad-range"])]
#[case::twice("sections:", "  - { id: sketch, size: [9, 9], outline: [M 1 1], places: { a: [1, 1, 1, 1] } }\nsections:", &["rules/duplicate-id"])]
#[case::of_a_date("When?, answer: date", "When?, drawing: sketch, answer: date", &["shape/not-together"])]
#[case::no_path("[M 1 1 L 8 8]", "['M 1 1\"><script>']", &["shape/wrong-form"])]
fn a_drawing_fits_its_options(#[case] from: &str, #[case] to: &str, #[case] expected: &[&str]) {
    let mut files = crate::support::files(&[("one", "defer", "{ fact: a.drinks, is: yes }")]);
    let text = text_of(&files, "questions.yaml")
        .replacen("sections:", "drawings:\n  - id: sketch\n    size: [9, 9]\n    outline: [M 1 1 L 8 8]\n    places: { left-great: [2, 2, 1, 1], right-great: [6, 2, 1, 1] }\nsections:", 1)
        .replacen("ask: Which toes?", "ask: Which toes?\n        drawing: sketch", 1);
    assert!(text.contains(from));
    files.set("questions.yaml", text.replacen(from, to, 1));
    let found = rule_set(&files).err().unwrap_or_default();
    assert_eq!(codes(&found), expected, "{found:?}");
}

/// What only one patient can answer is never answered by a clinic's file, whatever the rule set says.
#[rstest]
#[case("born, ask: Born?, answer: date, past: true", "a.born")]
#[case("- id: toes\n        ask: Which toes?", "plan.toes")]
#[case(
    "anaesthetic, ask: Which anaesthetic?, answer: anaesthetic",
    "plan.anaesthetic"
)]
#[case("procedure_on, ask: When?, answer: date", "plan.procedure_on")]
#[case("inr, ask: The INR?, answer: number, dated: true", "a.inr")]
#[case("taken, ask: Which medicines?, answer: medicines", "a.taken")]
#[case("allergies, ask: Which allergies?, answer: allergies", "a.allergies")]
#[case("weight, ask: Weight?, answer: quantity", "a.weight")]
#[case("smokes, ask: Smokes?, answer: yes-no", "a.smokes")]
fn a_question_that_can_never_stand(#[case] question: &str, #[case] fact: &str) {
    let mut files = crate::support::files(&[("one", "defer", "{ fact: a.drinks, is: yes }")]);
    let text = text_of(&files, "questions.yaml");
    let between = if question.contains('\n') {
        "\n        standing: true"
    } else {
        ", standing: true"
    };
    let changed = text.replacen(question, &format!("{question}{between}"), 1);
    assert_ne!(text, changed);
    files.set("questions.yaml", changed);
    let found = rule_set(&files).err().unwrap_or_default();
    assert_eq!(codes(&found), ["rules/never-standing"], "{}", drawn(&found));
    assert!(
        found.iter().all(|it| it.title.contains(fact)),
        "{}",
        drawn(&found)
    );
    well_spoken(&found);
}

/// One stray file of another kind in a folder is one refusal, and the others are screened.
#[test]
fn a_clinics_file_among_the_questionnaires_is_told_once() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    for from in ["examples/clinic.yaml", "examples/referrals/SM-101.yaml"] {
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join(from);
        let to = folder.path().join(from.file_name().unwrap_or_default());
        assert!(std::fs::copy(from, to).is_ok());
    }
    let (status, said) = screen(&[folder.path()]);
    assert_eq!(status, Some(2));
    assert_eq!(
        said.matches("answers/").count() + said.matches("shape/").count(),
        1,
        "{said}"
    );
    assert!(
        said.contains("this is a clinic's file, not a questionnaire")
            && said.contains("--clinic FILE"),
        "{said}"
    );
}

/// Runs the program on paths of a fresh folder; gives the exit status and what it said.
#[expect(
    clippy::expect_used,
    reason = "a program that cannot be started fails the test"
)]
fn screen(paths: &[&Path]) -> (Option<i32>, String) {
    let output = crate::support::program()
        .arg("screen")
        .args(paths)
        .args(["--as-of", "2026-11-25"])
        .output()
        .expect("the program starts");
    (
        output.status.code(),
        String::from_utf8_lossy(&output.stderr).into_owned(),
    )
}

#[test]
fn files_that_are_no_files() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    let huge = folder.path().join("huge.yaml");
    let started = std::time::Instant::now();
    assert!(
        std::fs::File::create(&huge)
            .and_then(|it| it.set_len(50 << 20))
            .is_ok()
    );
    let (status, said) = screen(&[&huge]);
    assert!(
        status == Some(2) && said.contains("text/too-large"),
        "{said}"
    );
    let empty = folder.path().join("empty.yaml");
    assert!(std::fs::write(&empty, "").is_ok());
    let (status, said) = screen(&[&empty]);
    assert!(status == Some(2) && said.contains("text/empty"), "{said}");
    let (status, said) = screen(&[&folder.path().join("missing.yaml")]);
    assert!(
        status == Some(2) && said.contains("text/not-found"),
        "{said}"
    );
    let inside = folder.path().join("inside");
    assert!(std::fs::create_dir(&inside).is_ok());
    let (status, said) = screen(&[&inside]);
    assert!(
        status == Some(2) && said.contains("text/empty-folder"),
        "{said}"
    );
    #[cfg(unix)]
    {
        let (status, said) = screen(&[Path::new("/dev/zero")]);
        assert!(
            status == Some(2) && said.contains("text/not-found"),
            "{said}"
        );
        assert!(std::os::unix::fs::symlink(&inside, inside.join("round")).is_ok());
        let (status, said) = screen(&[&inside]);
        assert!(
            status == Some(2) && said.contains("text/empty-folder"),
            "{said}"
        );
    }
    assert!(
        started.elapsed().as_secs() < 30,
        "refusing took {:?}",
        started.elapsed()
    );
}

/// One text of the embedded rule set replaced by another, and the codes that must come.
struct Slip {
    name: &'static str,
    codes: &'static [&'static str],
    file: &'static str,
    find: &'static str,
    replace: &'static str,
}

/// A rule without anything wrong, to be spoilt.
const RULE: &str = "  - id: inr-above-ceiling\n    title: INR at or above the ceiling\n    kind: contraindication\n    outcome: defer\n";

const fn slip(
    name: &'static str,
    codes: &'static [&'static str],
    file: &'static str,
    find: &'static str,
    replace: &'static str,
) -> Slip {
    Slip {
        name,
        codes,
        file,
        find,
        replace,
    }
}

const MEDICINES: &str = "medicines.yaml";
const BLEEDING: &str = "concerns/bleeding.yaml";
const GUARANTEES: &str = "guarantees.yaml";
const CEILING: &str = "{ fact: bleeding.inr, at_least: { limit: inr-ceiling } }";

const PREPARATION: &str = "letters/preparation.yaml";

const SLIPS: &[Slip] = &[
    slip(
        "letter-placeholder",
        &["rules/unknown-placeholder"],
        PREPARATION,
        "Your reference is {letter.reference}.",
        "Your reference is {letter.refrence}.",
    ),
    slip(
        "letter-placeholder-of-another",
        &["rules/unknown-placeholder"],
        PREPARATION,
        "Your reference is {letter.reference}.",
        "We came to {letter.verdict}.",
    ),
    slip(
        "letter-medicines-of-no-condition",
        &["rules/unknown-placeholder"],
        PREPARATION,
        "so you will be awake.",
        "whatever {medicines} does.",
    ),
    slip(
        "letter-fact",
        &["rules/unknown-fact"],
        PREPARATION,
        "{ fact: plan.tourniquet, is: yes }",
        "{ fact: plan.tourniqet, is: yes }",
    ),
    slip(
        "letter-of-another-name",
        &["shape/wrong-form"],
        PREPARATION,
        "letter: preparation",
        "letter: aftercare",
    ),
    slip(
        "letter-insert-of-another",
        &["shape/wrong-form"],
        PREPARATION,
        "insert: before",
        "insert: answers",
    ),
    slip(
        "letter-insert-misspelt",
        &["shape/not-an-option"],
        PREPARATION,
        "insert: before",
        "insert: befor",
    ),
    slip(
        "fact",
        &["rules/unknown-fact"],
        BLEEDING,
        CEILING,
        "{ fact: bleeding.innr, at_least: { limit: inr-ceiling } }",
    ),
    slip(
        "fact-without-section",
        &["rules/unknown-fact"],
        BLEEDING,
        CEILING,
        "{ fact: inr, at_least: { limit: inr-ceiling } }",
    ),
    slip(
        "option",
        &["rules/unknown-option"],
        "concerns/circulation.yaml",
        "{ fact: circulation.symptoms, includes: rest-pain }",
        "{ fact: circulation.symptoms, includes: rest-pian }",
    ),
    slip(
        "class",
        &["rules/unknown-medicine"],
        BLEEDING,
        "        - taking: vitamin-k-antagonist\n        - { fact: bleeding.inr, at_least",
        "        - taking: vitamin-k-antagonists\n        - { fact: bleeding.inr, at_least",
    ),
    slip(
        "limit",
        &["rules/unknown-limit"],
        BLEEDING,
        CEILING,
        "{ fact: bleeding.inr, at_least: { limit: inr-celling } }",
    ),
    slip(
        "limit-in-reason",
        &["rules/unknown-placeholder"],
        BLEEDING,
        "is not below {limit.inr-ceiling}.",
        "is not below {limit.inr-celling}.",
    ),
    slip(
        "placeholder",
        &["rules/unknown-placeholder"],
        BLEEDING,
        "The INR of {bleeding.inr} ({",
        "The INR of {bleeding.inrr} ({",
    ),
    slip(
        "open-brace",
        &["rules/unknown-placeholder"],
        BLEEDING,
        "The INR of {bleeding.inr} ({bleeding.inr.taken_on}) is not below {limit.inr-ceiling}.",
        "The INR of {bleeding.inr is not below.",
    ),
    slip(
        "source",
        &["rules/unknown-source"],
        BLEEDING,
        "{ source: perry-oral-anticoagulants-2007 }\n    in_force_from: 2026-12-01\n    last_reviewed: 2026-11-25\n    review_by: 2027-11-30\n\n  - id: inr-too-old\n",
        "{ source: perry-2007 }\n    in_force_from: 2026-12-01\n    last_reviewed: 2026-11-25\n    review_by: 2027-11-30\n\n  - id: inr-too-old\n",
    ),
    slip(
        "test-for-the-type",
        &["rules/wrong-test"],
        BLEEDING,
        CEILING,
        "{ fact: bleeding.inr, is: yes }",
    ),
    slip(
        "test-of-a-date",
        &["rules/wrong-test"],
        BLEEDING,
        CEILING,
        "{ fact: plan.procedure_on, at_least: 4 }",
    ),
    slip(
        "test-of-medicines",
        &["rules/wrong-test"],
        BLEEDING,
        CEILING,
        "{ fact: medicines.current, includes: warfarin }",
    ),
    slip(
        "age-of-an-undated-answer",
        &["rules/wrong-test"],
        BLEEDING,
        CEILING,
        "{ fact: bleeding.alcohol_units, older_than: 3 days }",
    ),
    slip(
        "number-for-an-age",
        &["rules/wrong-test"],
        BLEEDING,
        CEILING,
        "{ fact: bleeding.inr, older_than: { limit: inr-ceiling } }",
    ),
    slip(
        "age-for-a-number",
        &["rules/wrong-test"],
        BLEEDING,
        CEILING,
        "{ fact: bleeding.inr, at_least: { limit: inr-age-stable } }",
    ),
    slip(
        "literal-without-unit",
        &["rules/wrong-unit"],
        BLEEDING,
        CEILING,
        "{ fact: person.weight, at_least: 50 }",
    ),
    slip(
        "literal-with-another-unit",
        &["rules/wrong-unit"],
        BLEEDING,
        CEILING,
        "{ fact: person.weight, at_least: 50 cm }",
    ),
    slip(
        "literal-with-needless-unit",
        &["rules/wrong-unit"],
        BLEEDING,
        CEILING,
        "{ fact: bleeding.inr, at_least: 4 kg }",
    ),
    slip(
        "not-a-length-of-time",
        &["rules/wrong-unit"],
        BLEEDING,
        CEILING,
        "{ fact: bleeding.inr, older_than: 3 dayz }",
    ),
    slip(
        "range-upside-down",
        &["rules/bad-range"],
        BLEEDING,
        CEILING,
        "{ fact: bleeding.inr, between: [5, 4] }",
    ),
    slip(
        "two-keys-of-a-condition",
        &["shape/unknown-key"],
        BLEEDING,
        CEILING,
        "{ all: [{ taking: warfarin }], any: [{ taking: apixaban }] }",
    ),
    slip(
        "misspelt-key-of-a-condition",
        &["shape/unknown-key"],
        BLEEDING,
        CEILING,
        "{ fat: bleeding.inr, at_least: 4 }",
    ),
    slip(
        "two-tests",
        &["shape/not-together"],
        BLEEDING,
        CEILING,
        "{ fact: bleeding.inr, at_least: 4, below: 9 }",
    ),
    slip(
        "no-test",
        &["shape/not-together"],
        BLEEDING,
        CEILING,
        "{ fact: bleeding.inr }",
    ),
    slip(
        "no-citation",
        &["shape/wrong-form"],
        BLEEDING,
        "    citations:\n      - { source: sdcep-anticoagulants-2022, at: warfarin section }\n      - { source: perry-oral-anticoagulants-2007 }\n    in_force_from: 2026-12-01\n    last_reviewed: 2026-11-25\n    review_by: 2027-11-30\n\n  - id: inr-too-old\n",
        "    citations: []\n    in_force_from: 2026-12-01\n    last_reviewed: 2026-11-25\n    review_by: 2027-11-30\n\n  - id: inr-too-old\n",
    ),
    slip(
        "no-reason",
        &["shape/missing-key"],
        BLEEDING,
        "    reason: The INR of {bleeding.inr} ({bleeding.inr.taken_on}) is not below {limit.inr-ceiling}.\n",
        "",
    ),
    slip(
        "outcome",
        &["shape/not-an-option"],
        BLEEDING,
        RULE,
        "  - id: inr-above-ceiling\n    title: INR at or above the ceiling\n    kind: contraindication\n    outcome: deffer\n",
    ),
    slip(
        "defer-without-cleared-by",
        &["shape/missing-key"],
        BLEEDING,
        "    cleared_by: an INR below {limit.inr-ceiling}, no older than {limit.inr-age-unstable}, and the service aware of the high one\n",
        "",
    ),
    slip(
        "refer-without-urgency",
        &["shape/missing-key"],
        BLEEDING,
        RULE,
        "  - id: inr-above-ceiling\n    title: INR at or above the ceiling\n    kind: contraindication\n    outcome: refer\n    refer_to: a service\n",
    ),
    slip(
        "refer-to-nobody",
        &["shape/missing-key"],
        BLEEDING,
        RULE,
        "  - id: inr-above-ceiling\n    title: INR at or above the ceiling\n    kind: contraindication\n    outcome: refer\n    urgency: routine\n",
    ),
    slip(
        "id-with-capitals",
        &["shape/wrong-form"],
        BLEEDING,
        "  - id: inr-above-ceiling\n",
        "  - id: INR-above-ceiling\n",
    ),
    slip(
        "rule-twice",
        &["rules/duplicate-id"],
        BLEEDING,
        "  - id: inr-too-old\n",
        "  - id: inr-above-ceiling\n",
    ),
    slip(
        "impossible-date",
        &["shape/wrong-form"],
        BLEEDING,
        "    review_by: 2027-11-30\n\n  - id: inr-too-old\n",
        "    review_by: 2027-11-31\n\n  - id: inr-too-old\n",
    ),
    slip(
        "review-in-the-past",
        &["rules/bad-range"],
        BLEEDING,
        "    review_by: 2027-11-30\n\n  - id: inr-too-old\n",
        "    review_by: 2026-11-25\n\n  - id: inr-too-old\n",
    ),
    slip(
        "retired",
        &["rules/retired-id"],
        "ruleset.yaml",
        "  - rule: anaesthetic/adrenaline-with-thyroid-or-phaeochromocytoma\n",
        "  - rule: bleeding/inr-above-ceiling\n",
    ),
    slip(
        "another-concern",
        &["rules/unknown-concern"],
        "concerns/pregnancy.yaml",
        "concern: pregnancy\n",
        "concern: bleeding\n",
    ),
    slip(
        "concern-not-listed",
        &["rules/unexpected-file"],
        "ruleset.yaml",
        "  - { id: pregnancy, title: Pregnancy and breastfeeding }\n",
        "",
    ),
    slip(
        "concern-without-file",
        &["rules/missing-file"],
        "ruleset.yaml",
        "  - { id: pregnancy, title: Pregnancy and breastfeeding }\n",
        "  - { id: pregnancy, title: Pregnancy and breastfeeding }\n  - { id: teeth, title: Teeth }\n",
    ),
    slip(
        "limit-twice",
        &["rules/duplicate-id"],
        "limits.yaml",
        "  - id: dosing-weight-ceiling\n",
        "  - { id: adult-age, about: Again, value: 18, citations: [{ common_practice: so }] }\n  - id: dosing-weight-ceiling\n",
    ),
    slip(
        "limit-not-a-number",
        &["rules/wrong-unit"],
        "limits.yaml",
        "    value: 70 kg\n",
        "    value: seventy kg\n",
    ),
    slip(
        "circle-of-classes",
        &["rules/cyclic-classes"],
        "medicines.yaml",
        "{ id: antithrombotic, about:",
        "{ id: antithrombotic, in: [vitamin-k-antagonist], about:",
    ),
    slip(
        "class-not-declared",
        &["rules/unknown-medicine"],
        "medicines.yaml",
        "{ name: warfarin, in: [vitamin-k-antagonist] }",
        "{ name: warfarin, in: [vitamin-k-antagonists] }",
    ),
    slip(
        "dose-word-that-is-a-medicine",
        &["rules/name-swallowed"],
        MEDICINES,
        "  [tablet, tablets, tab,",
        "  [warfarin, tablet, tablets, tab,",
    ),
    slip(
        "dose-words-that-are-a-medicine",
        &["rules/name-swallowed"],
        MEDICINES,
        "  [tablet, tablets, tab,",
        "  [acetylsalicylic, acid, tablet, tablets, tab,",
    ),
    // No rule looks at it, but nobody writes ramipril for a form of another medicine.
    slip(
        "dose-word-that-is-any-medicine",
        &["rules/name-swallowed"],
        MEDICINES,
        "  [tablet, tablets, tab,",
        "  [ramipril, tablet, tablets, tab,",
    ),
    slip(
        "salt-word-that-is-a-medicine",
        &["rules/name-swallowed"],
        MEDICINES,
        "  [acetate, acetonide, alafenamide,",
        "  [acetate, apixaban, acetonide, alafenamide,",
    ),
    slip(
        "salt-word-that-is-a-class",
        &["rules/name-swallowed"],
        MEDICINES,
        "  [acetate, acetonide, alafenamide,",
        "  [acetate, nitrate, acetonide, alafenamide,",
    ),
    slip(
        "name-twice",
        &["rules/name-twice"],
        "medicines.yaml",
        "{ name: warfarin, in: [vitamin-k-antagonist] }",
        "{ name: warfarin, also: [apixaban], in: [vitamin-k-antagonist] }",
    ),
    slip(
        "cross-reaction",
        &["rules/unknown-substance"],
        "allergens.yaml",
        "substances:\n",
        "substances:\n  - { name: something new, crosses_with: [nothing known] }\n",
    ),
    slip(
        "strengths-upside-down",
        &["rules/bad-range"],
        "anaesthetics.yaml",
        "    strengths: [0.5 %, 2 %]",
        "    strengths: [2 %, 0.5 %]",
    ),
    slip(
        "reduction-to-more",
        &["rules/bad-range"],
        "anaesthetics.yaml",
        "to: { limit: pregnancy-reduced-load }",
        "to: { limit: toe-volume-caution }",
    ),
    slip(
        "reduction-for-nobody",
        &["rules/unknown-option"],
        "anaesthetics.yaml",
        "when: { fact: pregnancy.status, is: pregnant }",
        "when: { fact: pregnancy.status, is: pregnat }",
    ),
    slip(
        "dose-for-each-kilogram",
        &["rules/wrong-unit"],
        "anaesthetics.yaml",
        "per_kg: 3 mg/kg",
        "per_kg: 3 mg",
    ),
    slip(
        "formula",
        &["rules/unknown-formula"],
        "questions.yaml",
        "    formula: cockcroft-gault\n",
        "    formula: cockroft-gault\n",
    ),
    slip(
        "formula-input-missing",
        &["rules/unknown-formula"],
        "questions.yaml",
        "      floor: { limit: creatinine-floor }\n",
        "",
    ),
    slip(
        "formula-input-of-another-kind",
        &["rules/unknown-formula"],
        "questions.yaml",
        "      weight: derived.clearance_weight\n",
        "      weight: person.height\n",
    ),
    slip(
        "formula-input-too-many",
        &["rules/unknown-formula"],
        "questions.yaml",
        "      floor: { limit: creatinine-floor }\n",
        "      floor: { limit: creatinine-floor }\n      height: person.height\n",
    ),
    slip(
        "plausible-upside-down",
        &["rules/bad-range"],
        "questions.yaml",
        "        plausible: [2, 350]\n",
        "        plausible: [350, 2]\n",
    ),
    slip(
        "unit-of-another-measure",
        &["rules/wrong-unit"],
        "questions.yaml",
        "        units: [g, lb, st]\n",
        "        units: [g, lb, cm]\n",
    ),
    slip(
        "standing-toes",
        &["rules/never-standing"],
        "questions.yaml",
        "        ask: Which toes are to be operated on?\n",
        "        ask: Which toes are to be operated on?\n        standing: true\n",
    ),
    slip(
        "section-twice",
        &["rules/duplicate-id"],
        "questions.yaml",
        "  - id: medicines\n    title: Medicines\n",
        "  - id: plan\n    title: Plan again\n    questions:\n      - { id: spare, ask: A spare one?, answer: yes-no, from: nurse }\n  - id: medicines\n    title: Medicines\n",
    ),
    slip(
        "medicine",
        &["rules/unknown-medicine"],
        BLEEDING,
        "        - taking: vitamin-k-antagonist\n        - { fact: bleeding.inr, at_least",
        "        - taking: [vitamin-k-antagonist, wafarin]\n        - { fact: bleeding.inr, at_least",
    ),
    slip(
        "too-few-medicines",
        &["shape/wrong-form"],
        BLEEDING,
        CEILING,
        "{ taking: antithrombotic, at_least: 0 }",
    ),
    slip(
        "substance",
        &["rules/unknown-substance"],
        "concerns/allergy.yaml",
        "allergic_to: amide-anaesthetic",
        "allergic_to: amid-anaesthetic",
    ),
    slip(
        "reaction",
        &["rules/unknown-substance"],
        "concerns/allergy.yaml",
        "- allergic_to: amide-anaesthetic",
        "- { allergic_to: amide-anaesthetic, reaction: [anaphylaxia] }",
    ),
    slip(
        "options-of-one-question",
        &["rules/unknown-option"],
        "concerns/allergy.yaml",
        "one_of: [allergic, unexplained]",
        "one_of: [allergic, unexplaned]",
    ),
    slip(
        "option-of-yes-no",
        &["rules/unknown-option"],
        BLEEDING,
        CEILING,
        "{ fact: plan.adrenaline, is: maybe }",
    ),
    slip(
        "agent",
        &["rules/unknown-option"],
        BLEEDING,
        CEILING,
        "{ fact: plan.anaesthetic, includes: lidocane }",
    ),
    slip(
        "test-of-a-list",
        &["rules/wrong-test"],
        BLEEDING,
        CEILING,
        "{ fact: bleeding.history, is: bruising }",
    ),
    slip(
        "test-of-one-option",
        &["rules/wrong-test"],
        BLEEDING,
        CEILING,
        "{ fact: pregnancy.status, includes: pregnant }",
    ),
    slip(
        "test-of-yes-no",
        &["rules/wrong-test"],
        BLEEDING,
        CEILING,
        "{ fact: plan.adrenaline, above: 1 }",
    ),
    slip(
        "age-of-a-derived-number",
        &["rules/wrong-test"],
        BLEEDING,
        CEILING,
        "{ fact: derived.age, older_than: 18 years }",
    ),
    slip(
        "one-end-without-unit",
        &["rules/wrong-unit"],
        BLEEDING,
        CEILING,
        "{ fact: person.weight, between: [50 kg, 60] }",
    ),
    slip(
        "limit-with-another-unit",
        &["rules/wrong-unit"],
        BLEEDING,
        CEILING,
        "{ fact: person.weight, at_least: { limit: creatinine-floor } }",
    ),
    slip(
        "test-of-nobody-s-age",
        &["rules/unknown-fact"],
        BLEEDING,
        CEILING,
        "{ fact: derived.agee, at_least: { limit: adult-age } }",
    ),
    slip(
        "age-of-a-fact-without-date",
        &["rules/unknown-placeholder"],
        BLEEDING,
        "The INR of {bleeding.inr} ({",
        "The INR of {bleeding.inr} ({plan.toes.age}, {",
    ),
    slip(
        "empty-placeholder",
        &["rules/unknown-placeholder"],
        BLEEDING,
        "The INR of {bleeding.inr} ({",
        "The INR of {} ({",
    ),
    slip(
        "no-citations",
        &["shape/missing-key"],
        BLEEDING,
        "    citations:\n      - { source: sdcep-anticoagulants-2022, at: warfarin section }\n      - { source: perry-oral-anticoagulants-2007 }\n    in_force_from: 2026-12-01\n    last_reviewed: 2026-11-25\n    review_by: 2027-11-30\n\n  - id: inr-too-old\n",
        "    in_force_from: 2026-12-01\n    last_reviewed: 2026-11-25\n    review_by: 2027-11-30\n\n  - id: inr-too-old\n",
    ),
    slip(
        "key-of-a-rule-misspelt",
        &["shape/unknown-key"],
        BLEEDING,
        "    reason: The INR of {bleeding.inr} ({",
        "    reeson: The INR of {bleeding.inr} ({",
    ),
    slip(
        "parent-of-a-class",
        &["rules/unknown-medicine"],
        "medicines.yaml",
        "about: Slows the clotting of blood, in: [antithrombotic]",
        "about: Slows the clotting of blood, in: [antithrombotics]",
    ),
    slip(
        "parent-of-a-group",
        &["rules/unknown-substance"],
        "allergens.yaml",
        "in: [local-anaesthetic], names: [amide",
        "in: [local-anaesthetics], names: [amide",
    ),
    slip(
        "class-twice",
        &["rules/duplicate-id"],
        "medicines.yaml",
        "  - { id: anticoagulant, about:",
        "  - { id: antithrombotic, about: Again }\n  - { id: anticoagulant, about:",
    ),
    slip(
        "group-twice",
        &["rules/duplicate-id"],
        "allergens.yaml",
        "  - { id: preservative, about:",
        "  - { id: anaesthetic, about: Again }\n  - { id: preservative, about:",
    ),
    slip(
        "reaction-twice",
        &["rules/duplicate-id"],
        "allergens.yaml",
        "  - { id: unclear, text:",
        "  - { id: rash, text: Again }\n  - { id: unclear, text:",
    ),
    slip(
        "agent-twice",
        &["rules/duplicate-id"],
        "anaesthetics.yaml",
        "  - id: bupivacaine\n",
        "  - { id: lidocaine, family: amide, strengths: [1 %, 2 %], limits: [{ adrenaline: no, from_age: 12, per_kg: 3 mg/kg, at_most: 200 mg, citations: [{ common_practice: so }] }] }\n  - id: bupivacaine\n",
    ),
    slip(
        "question-twice",
        &["rules/duplicate-id"],
        "questions.yaml",
        "      - id: stroke_or_tia\n",
        "      - { id: alcohol_units, ask: Again?, answer: number, from: record }\n      - id: stroke_or_tia\n",
    ),
    slip(
        "option-twice",
        &["rules/duplicate-id"],
        "questions.yaml",
        "          - { id: prolonged, text:",
        "          - { id: bruising, text: Again }\n          - { id: prolonged, text:",
    ),
    slip(
        "option-reserved",
        &["rules/duplicate-id"],
        "questions.yaml",
        "          - { id: prolonged, text:",
        "          - { id: unknown, text: Not known }\n          - { id: prolonged, text:",
    ),
    slip(
        "derived-twice",
        &["rules/duplicate-id"],
        "questions.yaml",
        "  - id: toe_pressure\n",
        "  - { id: ankle_pressure, about: Again, formula: count-of, decimals: 0, with: { list: bleeding.history } }\n  - id: toe_pressure\n",
    ),
    slip(
        "source-twice",
        &["rules/duplicate-id"],
        "sources.yaml",
        "  - id: metodebok-la-2023\n",
        "  - { id: wellington-icu-la, by: Somebody, title: Again, checked: read, checked_on: 2026-11-25 }\n  - id: metodebok-la-2023\n",
    ),
    slip(
        "concern-twice",
        &["rules/duplicate-id"],
        "ruleset.yaml",
        "  - { id: allergy, title: Allergy }\n",
        "  - { id: allergy, title: Allergy }\n  - { id: allergy, title: Again }\n",
    ),
    slip(
        "review-of-the-rule-set",
        &["shape/wrong-form"],
        "ruleset.yaml",
        "review_by: 2027-11-30",
        "review_by: 2027-13-30",
    ),
    slip(
        "asked-when-unknown",
        &["rules/unknown-fact"],
        "questions.yaml",
        "ask_when: { fact: bleeding.blood_count_taken, is: yes }",
        "ask_when: { fact: bleeding.blood_count, is: yes }",
    ),
    slip(
        "asked-in-a-circle",
        &["rules/circle"],
        "questions.yaml",
        "ask_when: { fact: bleeding.blood_count_taken, is: yes }",
        "ask_when: { fact: bleeding.platelets, above: 100 10^9/L }",
    ),
    slip(
        "asked-in-a-circle-by-an-age",
        &["rules/circle"],
        "questions.yaml",
        "        from: referrer\n      - id: sex",
        "        from: referrer\n        ask_when: { fact: derived.age, above: 3 }\n      - id: sex",
    ),
    slip(
        "harmless-but-always-asked",
        &["shape/wrong-form"],
        "questions.yaml",
        "        from: referrer\n      - id: sex",
        "        from: referrer\n        harmless_alone: true\n      - id: sex",
    ),
    slip(
        "otherwise-something",
        &["shape/wrong-form"],
        "questions.yaml",
        "otherwise: not-pregnant",
        "otherwise: possible",
    ),
    slip(
        "otherwise-always-asked",
        &["shape/wrong-form"],
        "questions.yaml",
        "      - id: smoker\n        ask: Do you smoke?\n",
        "      - id: smoker\n        ask: Do you smoke?\n        otherwise: no\n",
    ),
    slip(
        "concern-of-the-program",
        &["rules/duplicate-id", "rules/missing-file"],
        "ruleset.yaml",
        "  - { id: allergy, title: Allergy }\n",
        "  - { id: allergy, title: Allergy }\n  - { id: built-in, title: Mine }\n",
    ),
    slip(
        "derived-before-its-input",
        &["rules/unknown-fact"],
        "questions.yaml",
        "with: { weight: person.weight, height: person.height }",
        "with: { weight: derived.dosing_weight, height: person.height }",
    ),
    slip(
        "formula-renamed",
        &["rules/unknown-formula"],
        "questions.yaml",
        "formula: volume-per-site",
        "formula: volume-per-toe",
    ),
    slip(
        "formula-input-renamed",
        &["rules/unknown-formula", "rules/unknown-formula"],
        "questions.yaml",
        "with: { plan: plan.anaesthetic, sites: plan.toes }",
        "with: { plan: plan.anaesthetic, toes: plan.toes }",
    ),
    slip(
        "formula-of-sites-without-sides",
        &["rules/unknown-formula"],
        "questions.yaml",
        "with: { sites: plan.toes, left: circulation.ankle_left, right: circulation.ankle_right }",
        "with: { sites: site.referral_toes, left: circulation.ankle_left, right: circulation.ankle_right }",
    ),
    slip(
        "formula-course-of-an-answer",
        &["rules/unknown-formula"],
        "questions.yaml",
        "      adult_from: { limit: adult-age }\n      ceiling",
        "      adult_from: derived.age\n      ceiling",
    ),
    slip(
        "most-in-a-site-renamed",
        &["shape/unknown-key"],
        "anaesthetics.yaml",
        "per_site: 132 mg",
        "per_digit: 132 mg",
    ),
    slip(
        "volumes-upside-down",
        &["rules/bad-range"],
        "anaesthetics.yaml",
        "volumes: [0.01 mL, 100 mL]",
        "volumes: [100 mL, 0.01 mL]",
    ),
    slip(
        "formula-without-counts",
        &["rules/unknown-formula"],
        "questions.yaml",
        "  - id: toe_pressure\n",
        "  - { id: score, about: Points, formula: points-of, decimals: 0, with: { list: bleeding.history } }\n  - id: toe_pressure\n",
    ),
    slip(
        "formula-of-other-options",
        &["rules/unknown-formula"],
        "questions.yaml",
        "  - id: toe_pressure\n",
        "  - { id: gone, about: Gone, formula: count-missing-from, decimals: 0, with: { list: plan.toes, other: bleeding.history } }\n  - id: toe_pressure\n",
    ),
    slip(
        "option-counts-in-words",
        &["shape/wrong-type"],
        "questions.yaml",
        "          - { id: 1-in-200000, text: \"1 in 200,000\"",
        "          - { id: 1-in-200001, text: \"A little less\", counts: five }\n          - { id: 1-in-200000, text: \"1 in 200,000\"",
    ),
    slip(
        "steroid-that-counts-for-nothing",
        &["shape/wrong-form"],
        "medicines.yaml",
        "{ name: alclometasone, in: [topical-corticosteroid] }",
        "{ name: alclometasone, in: [topical-corticosteroid], as_prednisolone: 0 }",
    ),
    slip(
        "daily-doses-upside-down",
        &["rules/bad-range"],
        "medicines.yaml",
        "plausible_daily: [0.3 mg, 6 mg]",
        "plausible_daily: [6 mg, 0.3 mg]",
    ),
    slip(
        "steroid-that-counts-for-the-adrenals-alone",
        &["shape/missing-key"],
        "medicines.yaml",
        "{ name: alclometasone, in: [topical-corticosteroid] }",
        "{ name: alclometasone, in: [topical-corticosteroid], adrenal_as_prednisolone: 1 }",
    ),
    slip(
        "formula-half-of-what-may-be-left-out",
        &["rules/unknown-formula"],
        "questions.yaml",
        "      earlier_given: anaesthesia.block_within_day\n",
        "",
    ),
    slip(
        "plan-twice",
        &["rules/duplicate-id"],
        "questions.yaml",
        "        answer: anaesthetic\n        from: nurse\n        ask_when:",
        "        answer: anaesthetic\n        from: nurse\n        decision: true\n        ask_when:",
    ),
    slip(
        "formula-in-another-unit",
        &["rules/wrong-unit"],
        "questions.yaml",
        "    unit: mL/min\n",
        "    unit: mL/s\n",
    ),
    slip(
        "formula-without-its-unit",
        &["rules/wrong-unit"],
        "questions.yaml",
        "    unit: mL/min\n",
        "",
    ),
    slip(
        "formula-of-two-units",
        &["rules/unknown-formula"],
        "questions.yaml",
        "with: { one: person.weight, other: derived.ideal_weight }",
        "with: { one: person.weight, other: person.height }",
    ),
    slip(
        "formula-of-another-age",
        &["rules/unknown-formula"],
        "questions.yaml",
        "      age: derived.age\n      weight: derived.clearance_weight\n",
        "      age: person.weight\n      weight: derived.clearance_weight\n",
    ),
    slip(
        "formula-of-a-span",
        &["rules/unknown-formula"],
        "questions.yaml",
        "      floor: { limit: creatinine-floor }\n",
        "      floor: { limit: inr-age-stable }\n",
    ),
    slip(
        "number-no-answer-can-be",
        &["rules/bad-range"],
        BLEEDING,
        CEILING,
        "{ fact: bleeding.inr, at_least: 40 }",
    ),
    slip(
        "end-no-answer-can-be",
        &["rules/bad-range"],
        BLEEDING,
        CEILING,
        "{ fact: bleeding.inr, between: [4.0, 45] }",
    ),
    slip(
        "number-changeable-by-words",
        &["shape/wrong-form"],
        "questions.yaml",
        "        from: record\n        changeable: true\n",
        "        from: record\n        changeable: fewer\n",
    ),
    slip(
        "more-medicines-than-there-are",
        &["rules/bad-range"],
        BLEEDING,
        CEILING,
        "{ taking: warfarin, at_least: 2 }",
    ),
    slip(
        "in-force-after-its-review",
        &["rules/bad-range"],
        BLEEDING,
        "    in_force_from: 2026-12-01\n    last_reviewed: 2026-11-25\n    review_by: 2027-11-30\n\n  - id: inr-too-old\n",
        "    in_force_from: 2027-12-01\n    last_reviewed: 2026-11-25\n    review_by: 2027-11-30\n\n  - id: inr-too-old\n",
    ),
    slip(
        "rule-set-in-force-after-its-review",
        &["rules/bad-range"],
        "ruleset.yaml",
        "in_force_from: 2026-12-01",
        "in_force_from: 2028-12-01",
    ),
    slip(
        "medicine-named-like-a-class",
        &["rules/name-twice"],
        "medicines.yaml",
        "  - { name: warfarin, in:",
        "  - { name: antiplatelet, in: [heparin] }\n  - { name: warfarin, in:",
    ),
    slip(
        "ages-upside-down",
        &["rules/bad-range"],
        "anaesthetics.yaml",
        "        from_age: 12\n",
        "        from_age: 12\n        below_age: 4\n",
    ),
    slip(
        "highest-dose-of-nothing",
        &["rules/wrong-unit"],
        "anaesthetics.yaml",
        "at_most: 200 mg",
        "at_most: 0 mg",
    ),
    slip(
        "fact-in-a-title",
        &["rules/unknown-placeholder"],
        BLEEDING,
        "title: INR at or above the ceiling",
        "title: INR at or above {limit.inr-ceiling}",
    ),
    slip(
        "closing-brace-alone",
        &["rules/unknown-placeholder"],
        BLEEDING,
        "The INR of {bleeding.inr} ({",
        "The INR of bleeding.inr} ({",
    ),
    // What names an entry that cannot be read is not told as well.
    slip(
        "question-broken",
        &["shape/not-an-option"],
        "questions.yaml",
        "        answer: medicines\n",
        "        answer: medicine\n",
    ),
    slip(
        "dated-question-broken",
        &["shape/unknown-key"],
        "questions.yaml",
        "      - id: inr\n        ask:",
        "      - id: inr\n        aks:",
    ),
    slip(
        "derived-broken",
        &["shape/missing-key"],
        "questions.yaml",
        "    formula: cockcroft-gault\n",
        "",
    ),
    slip(
        "source-broken",
        &["shape/not-an-option"],
        "sources.yaml",
        "    checked: read\n",
        "    checked: raed\n",
    ),
    slip(
        "agent-broken",
        &["shape/wrong-form"],
        "anaesthetics.yaml",
        "    strengths: [0.5 %, 2 %]",
        "    strengths: [0.5 %]",
    ),
    slip(
        "approved-by-nobody",
        &["shape/missing-key"],
        "ruleset.yaml",
        "status: draft",
        "status: approved",
    ),
    slip(
        "withdrawn-without-a-word",
        &["shape/missing-key"],
        "ruleset.yaml",
        "status: draft",
        "status: withdrawn",
    ),
    slip(
        "approved-without-a-digest",
        &["shape/missing-key"],
        "ruleset.yaml",
        "status: draft",
        "status: approved\napproval: { by: [clinical lead], on: 2026-11-30 }",
    ),
    slip(
        "approved-with-half-a-digest",
        &["shape/wrong-form"],
        "ruleset.yaml",
        "status: draft",
        "status: approved\napproval: { digest: \"sha256:9ed7a8cf2483\", by: [clinical lead], on: 2026-11-30 }",
    ),
    slip(
        "draft-that-was-withdrawn",
        &["shape/not-together"],
        "ruleset.yaml",
        "status: draft",
        "status: draft\nwithdrawn: { on: 2026-12-24, by: [clinical lead], because: It was wrong. }",
    ),
    slip(
        "plausible-infinite",
        &["text/not-finite"],
        "questions.yaml",
        "        plausible: [2, 350]\n",
        "        plausible: [2, .inf]\n",
    ),
    slip(
        "guarantee-of-no-fact",
        &["rules/unknown-fact"],
        GUARANTEES,
        "{ fact: bleeding.inr, at_least: 4.0 }",
        "{ fact: bleeding.imr, at_least: 4.0 }",
    ),
    slip(
        "guarantee-of-no-limit",
        &["rules/unknown-limit"],
        GUARANTEES,
        "{ fact: bleeding.inr, at_least: 4.0 }",
        "{ fact: bleeding.inr, at_least: { limit: inr-celling } }",
    ),
    slip(
        "guarantee-of-no-option",
        &["rules/unknown-option"],
        GUARANTEES,
        "one_of: [possible, pregnant]",
        "one_of: [possible, pregnent]",
    ),
    slip(
        "guarantee-of-no-medicine",
        &["rules/unknown-medicine"],
        GUARANTEES,
        "{ taking: insulin }",
        "{ taking: insulins }",
    ),
    slip(
        "guarantee-of-no-rule",
        &["rules/unknown-rule"],
        GUARANTEES,
        "fires: bleeding/antithrombotic-taken",
        "fires: bleeding/antithrombotics-taken",
    ),
    slip(
        "guarantee-of-no-concern",
        &["rules/unknown-concern"],
        GUARANTEES,
        "    concern: contradictions\n",
        "    concern: contradiction\n",
    ),
    slip(
        "guarantee-twice",
        &["rules/duplicate-id"],
        GUARANTEES,
        "  - id: inr-stale\n",
        "  - id: inr-too-high-or-missing\n",
    ),
    slip(
        "guarantee-of-nothing",
        &["shape/missing-key"],
        GUARANTEES,
        "    never: go\n",
        "",
    ),
    slip(
        "guarantee-never-maybe",
        &["shape/wrong-form"],
        GUARANTEES,
        "    never: go\n",
        "    never: perhaps\n",
    ),
    slip(
        "guarantee-of-no-such-promise",
        &["shape/not-an-option"],
        GUARANTEES,
        "    promise: span-narrows\n",
        "    promise: span-narrow\n",
    ),
    slip(
        "guarantee-where-perhaps",
        &["shape/unknown-key"],
        GUARANTEES,
        "      - may_hold: { answers: ruled-out }\n",
        "      - hold: { answers: ruled-out }\n",
    ),
    // A rule that cannot be read is not told a second time where a guarantee names it.
    slip(
        "rule-of-a-guarantee-broken",
        &["shape/unknown-key"],
        BLEEDING,
        "  - id: antithrombotic-taken\n    title:",
        "  - id: antithrombotic-taken\n    titel:",
    ),
];

/// The embedded rule set with one slip, judged with full care.
fn spoilt(slip: &Slip) -> RuleFiles {
    let mut files = RuleFiles::embedded().with_care(Care::Full);
    let text = text_of(&files, slip.file);
    assert!(
        text.contains(slip.find),
        "{}: the text to replace is no longer in {}",
        slip.name,
        slip.file
    );
    files.set(slip.file, text.replacen(slip.find, slip.replace, 1));
    files
}

#[test]
fn a_rule_set_with_a_slip_is_told_where() {
    let mut wrong = Vec::new();
    for slip in SLIPS {
        let found = rule_set(&spoilt(slip)).err().unwrap_or_default();
        // One slip may make what depends on it unreadable too; the first must be the slip itself.
        if codes(&found) != slip.codes {
            wrong.push(format!(
                "{}: expected {:?}, got {:?}\n{}",
                slip.name,
                slip.codes,
                codes(&found),
                crate::support::codes(&found).join("\n")
            ));
            continue;
        }
        well_spoken(&found);
        snapshot(&format!("rules-{}", slip.name), &found);
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A slip in a case, told when cases are read.
#[rstest]
#[case("like: healthy-adult", "like: healty-adult", "rules/unknown-person")]
#[case(
    "bleeding/inr-above-ceiling",
    "bleeding/inr-above-celling",
    "rules/unknown-rule"
)]
#[case(
    "bleeding.inr: { value: 4.0",
    "bleeding.innr: { value: 4.0",
    "rules/unknown-fact"
)]
#[case(
    "    remove: [",
    "    remove: [bleeding.carrier_level, ",
    "rules/unknown-fact"
)]
#[case(
    "    remove: [",
    "    remove: [bleeding.nothing, ",
    "rules/unknown-fact"
)]
fn a_case_with_a_slip_is_told_where(#[case] find: &str, #[case] replace: &str, #[case] code: &str) {
    let rules = embedded();
    let mut files = RuleFiles::embedded();
    let path = files
        .paths()
        .find(|path| path.starts_with("cases/bleeding") && text_of(&files, path).contains(find))
        .map(str::to_owned);
    let path = path.unwrap_or_else(|| unreachable!("no file of cases has {find}"));
    let text = text_of(&files, &path).replacen(find, replace, 1);
    files.set(path, text);
    let found = preblock::inner::workbench::cases::read::cases(&files, &rules)
        .err()
        .unwrap_or_default();
    assert_eq!(codes(&found), [code], "{}", drawn(&found));
    well_spoken(&found);
}

/// An allowance without a slip, to be spoilt.
const ALLOWANCE: &str = "allowances:\n  - lint: lint/duplicate-condition\n    on: bleeding/inr-too-old\n    \
    reason: it is only an example\n    allowed_by: clinical governance lead\n    review_by: 2027-11-30\n";

#[rstest]
#[case("duplicate-condition", "duplicate-conditions", &["rules/unknown-lint"])]
#[case("lint/duplicate-condition", "rules/unknown-fact", &["rules/unknown-lint"])]
#[case("inr-too-old", "inr-to-old", &["rules/unknown-name"])]
#[case("2027-11-30", "2027-11-31", &["shape/wrong-form"])]
#[case("    allowed_by: clinical governance lead\n", "", &["shape/missing-key"])]
#[case("it is only an example", "so", &["shape/wrong-form"])]
#[case("allowances:\n", "allowances:\n  - { lint: lint/duplicate-condition, on: bleeding/inr-too-old, reason: the same again, allowed_by: lead, review_by: 2027-11-30 }\n", &["rules/duplicate-id"])]
fn an_allowance_with_a_slip_is_told_where(
    #[case] find: &str,
    #[case] replace: &str,
    #[case] expected: &[&str],
) {
    let rules = embedded();
    let mut files = RuleFiles::embedded();
    let mut with = |text: String| {
        files.set("allowances.yaml", text);
        preblock::inner::workbench::allowances::allowances(&files, &rules)
    };
    assert!(with(ALLOWANCE.to_owned()).is_ok_and(|it| it.len() == 1));
    assert!(ALLOWANCE.contains(find));
    let found = with(ALLOWANCE.replacen(find, replace, 1))
        .err()
        .unwrap_or_default();
    assert_eq!(codes(&found), expected, "{}", drawn(&found));
    well_spoken(&found);
}

/// One file too few and one too many, whichever it is.
#[test]
fn a_rule_set_is_whole() {
    let whole = RuleFiles::embedded().with_care(Care::Full);
    for path in ["ruleset.yaml", "concerns/allergy.yaml"] {
        let mut files = whole.clone();
        assert!(files.remove(path));
        let found = rule_set(&files).err().unwrap_or_default();
        assert_eq!(
            codes(&found),
            ["rules/missing-file"],
            "{path}: {}",
            drawn(&found)
        );
        well_spoken(&found);
    }
    for path in ["concerns/teeth.yaml", "concerns/bleeding.yml", "notes.yaml"] {
        let mut files = whole.clone();
        files.set(path, b"concern: teeth\nrules: []\n");
        let found = rule_set(&files).err().unwrap_or_default();
        assert_eq!(
            codes(&found),
            ["rules/unexpected-file"],
            "{path}: {}",
            drawn(&found)
        );
        well_spoken(&found);
    }
}

/// Every code of a file's slips is shown by some fixture, so that none is a page about nothing.
#[test]
fn every_code_has_a_fixture() {
    let folders = ["tests/rejects/answers", "tests/rejects/local"]
        .map(|it| Path::new(env!("CARGO_MANIFEST_DIR")).join(it));
    let mut shown: Vec<String> = JSON.iter().map(|(_, code)| (*code).to_owned()).collect();
    for entry in folders
        .into_iter()
        .flat_map(std::fs::read_dir)
        .flatten()
        .flatten()
    {
        let text =
            String::from_utf8_lossy(&std::fs::read(entry.path()).unwrap_or_default()).into_owned();
        shown.extend(
            text.lines()
                .next()
                .and_then(|it| it.strip_prefix("# code: "))
                .into_iter()
                .flat_map(|it| it.split_whitespace().map(str::to_owned)),
        );
    }
    shown.extend(
        SLIPS
            .iter()
            .flat_map(|it| it.codes)
            .map(|it| (*it).to_owned()),
    );
    let sheets = crate::sheets::SLIPS.iter().map(|it| it.2);
    let mappings = crate::sheets::MAPPING_SLIPS.iter().map(|it| it.3);
    let listed = sheets.chain(mappings).flat_map(str::split_whitespace);
    shown.extend(listed.map(str::to_owned));
    // These need a file system, a long list, a case or a draft, and have tests of their own above, in drafts.rs, hostile.rs, sheets.rs, uses.rs or approval.rs.
    let elsewhere = [
        Code::NotFound,
        Code::Unreadable,
        Code::EmptyFolder,
        Code::TooLarge,
        Code::NotUtf8,
        Code::TooMany,
        Code::TooManyKeys,
        Code::NotStanding,
        Code::UnknownPerson,
        Code::UnknownRule,
        Code::ToBeWritten,
        Code::UnknownLint,
        Code::UnknownName,
        Code::Withdrawn,
        Code::NeedsMapping,
        Code::UsedChanged,
    ];
    // What is wrong with a register is shown where it is tried.
    let of_registers = ["register.rs", "register/crashes.rs"].map(|it| {
        let path = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("tests/it")
            .join(it);
        std::fs::read_to_string(path).unwrap_or_default()
    });
    let of_a_register = |code: &Code| {
        let named = format!("Code::{code:?}");
        code.name().starts_with("register/") && of_registers.iter().any(|it| it.contains(&named))
    };
    // The checks of a whole rule set have theirs in `lints`.
    let elsewhere = |code: &Code| elsewhere.contains(code) || code.is_lint() || of_a_register(code);
    let missing: Vec<&str> = Code::ALL
        .iter()
        .filter(|it| !elsewhere(it))
        .map(|it| it.name())
        .filter(|it| !shown.contains(&(*it).to_owned()))
        .collect();
    assert!(missing.is_empty(), "no fixture shows {missing:?}");
}

/// What a keyword of a schema comes to.
fn code_of(keyword: &str) -> &'static str {
    match keyword {
        "additionalProperties" => "shape/unknown-key",
        "required" => "shape/missing-key",
        "type" => "shape/wrong-type",
        "enum" | "const" => "shape/not-an-option",
        "uniqueItems" => "rules/duplicate-id",
        "false" | "minProperties" | "maxProperties" | "not" => "shape/not-together",
        _ => "shape/wrong-form",
    }
}

/// The bytes of what a JSON pointer leads to, its key included.
fn place_of(root: &Node, pointer: &str) -> std::ops::Range<usize> {
    let (mut node, mut start) = (root, root.span.start);
    for step in pointer.split('/').skip(1) {
        if let Some(entry) = node.entry(step) {
            (node, start) = (&entry.value, entry.key_span.start);
        } else if let Some(item) = step.parse().ok().and_then(|at: usize| node.items().get(at)) {
            (node, start) = (item, item.span.start);
        }
    }
    start..node.span.end.max(start + 1)
}

/// A document with one defect of shape for each demand of each schema: one message, of the right kind.
/// `expected.tsv` names the file, where an editor's validator points, and the keyword that refuses it.
#[test]
fn each_demand_of_the_schemas_is_told_once() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/rejects/schemas");
    let expected = std::fs::read_to_string(folder.join("expected.tsv")).unwrap_or_default();
    let mut wrong = Vec::new();
    let mut n_files = 0;
    for row in expected.lines().skip(1) {
        let mut cells = row.split('\t');
        let (Some(file), Some(pointer), Some(keyword)) = (cells.next(), cells.next(), cells.next())
        else {
            continue;
        };
        let schema = file.split('-').next().unwrap_or_default();
        let read = preblock::inner::document::text::read(
            file,
            &std::fs::read(folder.join(file)).unwrap_or_default(),
            1 << 20,
        );
        let (Some(source), Some(root)) = (read.source, read.root) else {
            wrong.push(format!(
                "{file} cannot be read: {:?}",
                codes(&read.diagnostics)
            ));
            continue;
        };
        let found = preblock::inner::document::shape::check(schema, &source, &root);
        if codes(&found) != [code_of(keyword)] {
            wrong.push(format!(
                "{file}: expected {}, got {:?}",
                code_of(keyword),
                crate::support::codes(&found)
            ));
        }
        let place = place_of(&root, pointer);
        if let Some(stray) = found.iter().find(|it| !place.contains(&it.offset())) {
            wrong.push(format!(
                "{file}: expected at {pointer}, got {}",
                drawn(std::slice::from_ref(stray))
            ));
        }
        n_files += 1;
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(n_files >= 140, "only {n_files} documents");
}
