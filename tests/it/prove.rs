//! What a rule set guarantees: proved, or broken by a questionnaire that the program screens, or not there to be broken.
#![expect(
    clippy::expect_used,
    reason = "a folder that cannot be written fails the test"
)]

use preblock::inner::outcome::Outcome;
use preblock::inner::rule_set::files::RuleFiles;
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::rule_set::{Promise, RuleSet, Then};
use preblock::inner::workbench::prove::{Proof, prove};
use rstest::rstest;

use crate::shipped::{Shipped, nails, skin};
use crate::support::{codes, files, run, said, text_of, today};

type Rules<'a> = &'a [(&'a str, &'a str, &'a str)];

/// The files of the tiny rule set with one guarantee, given by its lines from `where` or `promise` on.
fn with(rules: Rules<'_>, guarantee: &str) -> RuleFiles {
    let mut files = files(rules);
    let lines: String = guarantee.lines().map(|it| format!("    {it}\n")).collect();
    let text = format!(
        "guarantees:\n  - id: it-is-so\n    title: It is so\n    because: It must be.\n{lines}"
    );
    files.set("guarantees.yaml", text);
    files
}

fn loaded(files: &RuleFiles) -> RuleSet {
    rule_set(files).unwrap_or_else(|found| unreachable!("refused: {}", codes(&found).join(", ")))
}

/// What becomes of the only guarantee.
fn proof(rules: Rules<'_>, guarantee: &str) -> Proof {
    let rules = loaded(&with(rules, guarantee));
    let mut proofs = prove(&rules, &[], today(), |it| it.id == "it-is-so");
    assert_eq!(proofs.len(), 1);
    proofs.remove(0).1
}

const INR: (&str, &str, &str) = (
    "one",
    "defer",
    "{ fact: a.inr, at_least: { limit: ceiling } }",
);
const THINNER: (&str, &str, &str) = ("one", "refer", "{ taking: thinner }");
const LOAD: (&str, &str, &str) = ("one", "defer", "{ fact: derived.load, above: 1 }");
const SMOKES: (&str, &str, &str) = ("one", "defer", "{ fact: a.smokes, is: yes }");

/// Worked out by hand: the one guarantee of a rule set of one rule or two.
#[rstest]
#[case::just_the_rule(&[INR], "where: [{ holds: { fact: a.inr, at_least: 4 } }]\nnever: go", "proved")]
#[case::a_little_less(&[INR], "where: [{ holds: { fact: a.inr, at_least: 3.99 } }]\nnever: go", "broken")]
#[case::or_missing(&[INR], "where: [{ may_hold: { fact: a.inr, at_least: 4 } }]\nnever: go", "proved")]
#[case::a_missing_one_only_waits(&[("one", "refer", "{ fact: a.inr, at_least: 4 }")], "where: [{ may_hold: { fact: a.inr, at_least: 4 } }]\nnever: [go, defer]", "broken")]
#[case::nothing_speaks_against_a_low_one(&[INR], "where: [{ holds: { fact: a.inr, below: 4 } }, { fails: { taking: [warfarin, apixaban, aspirin, paracetamol] } }, { fails: { allergic_to: latex } }, { fails: { answers: ruled-out } }, { fails: { answers: not-offered } }]\nnever: defer", "proved")]
#[case::unless_a_list_is_missing(&[INR], "where: [{ holds: { fact: a.inr, below: 4 } }]\nnever: defer", "broken")]
#[case::open(&[INR], "where: [{ open: { fact: a.inr, at_least: 4 } }]\nnever: [go, refer]", "proved")]
#[case::fails(&[INR], "where: [{ fails: { fact: a.inr, at_least: 4 } }, { fails: { taking: [warfarin, apixaban, aspirin, paracetamol] } }, { fails: { allergic_to: latex } }, { fails: { answers: ruled-out } }, { fails: { answers: not-offered } }]\nnever: [defer, refer]", "proved")]
#[case::fires(&[THINNER], "where: [{ holds: { taking: old-thinner } }]\nfires: test/one", "proved")]
#[case::fires_for_its_class_only(&[("one", "refer", "{ taking: old-thinner }")], "where: [{ holds: { taking: thinner } }]\nfires: test/one", "broken")]
#[case::one_of_two_fires(&[("one", "go", "{ fact: a.count, above: 4 }"), ("two", "defer", "{ fact: a.count, at_most: 4 }")], "where: [{ holds: { fact: a.count, at_least: 0 } }]\nfires: [test/one, test/two]", "proved")]
#[case::pressing_enough(&[THINNER], "where: [{ holds: { taking: warfarin } }]\nurgency_at_least: routine", "proved")]
#[case::not_pressing_enough(&[THINNER], "where: [{ holds: { taking: warfarin } }]\nurgency_at_least: urgent", "broken")]
#[case::two_of_a_class_of_one(&[("one", "defer", "{ taking: thinner, at_least: 2 }")], "where: [{ holds: { taking: old-thinner } }, { holds: { taking: [apixaban, aspirin] } }]\nnever: go", "proved")]
#[case::for_everybody(&[SMOKES], "never: refer", "proved")]
#[case::by_arithmetic(&[LOAD], "where: [{ holds: { fact: derived.load, above: 1.5 } }]\nnever: go", "proved")]
#[case::by_arithmetic_of_two(&[LOAD], "where: [{ holds: { fact: derived.dosing, above: { limit: heavy } } }]\nnever: go", "idle")]
#[case::without_arithmetic(&[LOAD], "where: [{ holds: { fact: derived.load, above: 0.9 } }]\nnever: go", "broken")]
#[case::yes_and_no(&[SMOKES], "where: [{ holds: { fact: a.smokes, is: yes } }, { fails: { fact: a.smokes, is: yes } }]\nnever: go", "idle")]
#[case::open_contradiction(&[SMOKES], "where: [{ open: { answers: ruled-out } }]\nnever: go", "proved")]
#[case::allergy_of_a_group(&[("one", "refer", "{ allergic_to: anaesthetic }")], "where: [{ holds: { allergic_to: lidocaine } }]\nnever: [go, defer]", "proved")]
#[case::allergy_that_may_be(&[("one", "refer", "{ allergic_to: amide }")], "where: [{ may_hold: { allergic_to: anaesthetic } }]\nnever: go", "broken")]
#[case::older(&[("one", "defer", "{ fact: a.inr, older_than: { limit: fresh } }")], "where: [{ holds: { fact: a.inr, older_than: 8 days } }]\nnever: go", "proved")]
#[case::younger(&[("one", "defer", "{ fact: a.inr, older_than: 8 days }")], "where: [{ holds: { fact: a.inr, older_than: { limit: fresh } } }]\nnever: go", "broken")]
fn a_guarantee_comes_out(#[case] rules: Rules<'_>, #[case] guarantee: &str, #[case] word: &str) {
    let proof = proof(rules, guarantee);
    assert_eq!(proof.word(), word, "{proof:?}");
}

/// Each promise is kept where it should be, and broken by a rule set made for it.
///
/// No rule set breaks any but the first. An added answer moves facts from missing to known only, and every condition but
/// `answers: ruled-out` follows: what was settled stays settled. Two promises look only where certainly nothing is ruled out
/// at the end, so that nothing was before; and the program's own rules hold what nobody has read. They hold the program to
/// its own language.
#[rstest]
#[case(Promise::EstablishedFindingsStay, &[SMOKES, ("two", "go", "{ not: { fact: a.count, above: 4 } }")], "proved")]
#[case(Promise::EstablishedFindingsStay, &[("one", "defer", "{ not: { answers: ruled-out } }")], "broken")]
#[case(Promise::SpanNarrows, &[SMOKES, ("two", "refer", "{ answers: ruled-out }"), ("three", "refer", "{ not: { answers: ruled-out } }")], "proved")]
#[case(Promise::RemovingNeverGoes, &[SMOKES, ("two", "defer", "{ not: { answers: ruled-out } }"), ("three", "defer", "{ answers: ruled-out }")], "proved")]
#[case(Promise::UnknownMedicineWaits, &[THINNER], "proved")]
#[case(Promise::UnknownMedicineWaits, &[("one", "go", "{ taking: thinner }"), SMOKES_TOO], "proved")]
#[case(Promise::UnknownAllergyWaits, &[("one", "defer", "{ allergic_to: latex }")], "proved")]
#[case(Promise::UnknownAllergyWaits, &[THINNER], "proved")]
#[case(Promise::NothingAnsweredWaits, &[SMOKES], "proved")]
#[case(Promise::NothingAnsweredWaits, &[("one", "defer", "{ answers: ruled-out }")], "proved")]
fn a_promise_is_kept_or_broken(
    #[case] promise: Promise,
    #[case] rules: Rules<'_>,
    #[case] word: &str,
) {
    let proof = proof(rules, &format!("promise: {}", promise.word()));
    assert_eq!(proof.word(), word, "{proof:?}");
    if let Proof::Broken(seen) = proof {
        assert_eq!(
            seen.len(),
            if promise == Promise::EstablishedFindingsStay {
                2
            } else {
                1
            }
        );
    }
}

const SMOKES_TOO: (&str, &str, &str) = ("two", "defer", "{ fact: a.smokes, is: yes }");

/// A rule set that asks for no allergies has no unknown one to promise anything about.
#[test]
fn a_promise_about_what_is_not_asked_is_idle() {
    let mut files = with(&[SMOKES], "promise: unknown-allergy-waits");
    let questions = text_of(&files, "questions.yaml");
    let without: Vec<&str> = questions
        .lines()
        .filter(|it| !it.contains("answer: allergies"))
        .collect();
    assert_eq!(without.len() + 1, questions.lines().count());
    files.set("questions.yaml", without.join("\n"));
    let proofs = prove(&loaded(&files), &[], today(), |it| it.id == "it-is-so");
    assert_eq!(proofs[0].1.word(), "idle");
}

// --- The program ------------------------------------------------------------------------------------------------

/// A rule set written out, beside which examples may be written.
fn written(files: &RuleFiles) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for (path, file) in files.iter() {
        let path = folder.path().join("rules").join(path);
        std::fs::create_dir_all(path.parent().expect("a parent")).expect("a folder");
        std::fs::write(path, file.bytes()).expect("a file");
    }
    folder
}

/// What breaks a guarantee is written out, and the program itself screens it to what must not come out.
#[rstest]
#[case::by_a_number(&[INR], "where: [{ holds: { fact: a.inr, at_least: 3.99 } }]\nnever: go", &[("it-is-so", "", Outcome::Go)])]
#[case::by_a_missing_answer(&[INR], "where: [{ may_hold: { fact: a.inr, above: 5 } }]\nnever: defer", &[("it-is-so", "", Outcome::Defer)])]
#[case::by_a_class(&[THINNER], "where: [{ holds: { taking: other } }]\nnever: [go, refer]", &[("it-is-so", "", Outcome::Refer)])]
#[case::by_a_referral(&[THINNER], "where: [{ holds: { taking: warfarin } }]\nurgency_at_least: same-day", &[("it-is-so", "", Outcome::Refer)])]
#[case::by_arithmetic(&[LOAD], "where: [{ holds: { fact: derived.load, above: 0.9 } }]\nnever: go", &[("it-is-so", "", Outcome::Go)])]
#[case::by_an_offer(&[("one", "refer", "{ answers: not-offered }")], "where: [{ holds: { answers: not-offered } }]\nnever: refer", &[("it-is-so", "", Outcome::Refer)])]
#[case::before_and_after(
    &[("one", "defer", "{ not: { answers: ruled-out } }")],
    "promise: established-findings-stay",
    &[("it-is-so", "-before", Outcome::Defer), ("it-is-so", "-after", Outcome::Defer)]
)]
fn what_breaks_a_guarantee_is_screened_so(
    #[case] rules: Rules<'_>,
    #[case] guarantee: &str,
    #[case] expected: &[(&str, &str, Outcome)],
) {
    let mut files = with(rules, guarantee);
    // Whether adrenaline is planned becomes a choice, which a clinic may offer or not.
    let questions = text_of(&files, "questions.yaml").replace(
        "ask: Adrenaline?, answer: yes-no,",
        "ask: Adrenaline?, answer: yes-no, decision: true,",
    );
    assert!(questions.contains("decision: true"));
    files.set("questions.yaml", questions);
    let folder = written(&files);
    let at = |name: &str| folder.path().join(name).display().to_string();
    let (rules, examples) = (at("rules"), at("examples"));
    let output = run(&[
        "rules",
        "prove",
        "--rules",
        &rules,
        "--as-of",
        "2026-11-25",
        "--examples",
        &examples,
    ]);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output.stderr));
    let told = said(&output.stdout);
    assert!(
        told.starts_with("broken  it-is-so: It is so\n        It must be.\n"),
        "{told}"
    );
    for (id, step, outcome) in expected {
        let file = at(&format!("examples/{id}{step}.yaml"));
        let text = std::fs::read_to_string(&file).expect("the example");
        let (head, body) = text.split_once('\n').expect("two lines");
        assert_eq!(head, format!("# Breaks the guarantee `{id}`: It is so."));
        assert!(
            body.lines()
                .all(|it| told.contains(&format!("          | {it}\n"))),
            "{told}"
        );
        let mut arguments = vec![
            "screen",
            &file,
            "--rules",
            &rules,
            "--as-of",
            "2026-11-25",
            "--format",
            "json",
        ];
        let clinic = at(&format!("examples/{id}{step}.clinic.yaml"));
        if std::path::Path::new(&clinic).exists() {
            arguments.extend(["--clinic", &clinic]);
        }
        let screened = run(&arguments);
        let status = match outcome {
            Outcome::Go => 0,
            Outcome::Defer => 10,
            Outcome::Refer => 20,
        };
        assert_eq!(
            screened.status.code(),
            Some(status),
            "{}{text}",
            said(&screened.stderr)
        );
        assert!(said(&screened.stdout).contains(&format!("\"verdict\": \"{}\"", outcome.word())));
        assert_eq!(screened.status.code(), Some(status));
    }
    assert_eq!(
        clinic_files(&examples),
        usize::from(guarantee.contains("not-offered")),
        "a clinic's file only where offers matter"
    );
    let json = run(&[
        "rules",
        "prove",
        "--rules",
        &rules,
        "--as-of",
        "2026-11-25",
        "--format",
        "json",
    ]);
    let whole: serde_json::Value = serde_json::from_slice(&json.stdout).expect("JSON");
    let one = &whole["guarantees"][0];
    assert_eq!(
        (
            one["proof"].as_str(),
            one["examples"].as_array().map(Vec::len)
        ),
        (Some("broken"), Some(expected.len())),
        "{whole}"
    );
}

fn clinic_files(folder: &str) -> usize {
    let names = std::fs::read_dir(folder)
        .expect("the examples")
        .flatten()
        .map(|it| it.file_name().to_string_lossy().into_owned());
    names.filter(|it| it.ends_with(".clinic.yaml")).count()
}

#[test]
fn the_status_is_clean_only_when_all_is_proved() {
    for (guarantee, status, line) in [
        (
            "where: [{ holds: { fact: a.smokes, is: yes } }]\nnever: go",
            0,
            "7 guarantees, over every possible questionnaire: 7 proved",
        ),
        (
            "where: [{ holds: { fact: a.smokes, is: yes } }, { holds: { fact: a.smokes, is: no } }]\nnever: go",
            1,
            "7 guarantees, over every possible questionnaire: 6 proved, 1 that guarantee nothing",
        ),
    ] {
        let folder = written(&with(&[SMOKES], guarantee));
        let output = run(&[
            "rules",
            "prove",
            "--rules",
            &folder.path().join("rules").display().to_string(),
            "--as-of",
            "2026-11-25",
        ]);
        assert_eq!(output.status.code(), Some(status));
        assert_eq!(said(&output.stdout).lines().last(), Some(line));
    }
    let folder = written(&files(&[SMOKES]));
    let rules = folder.path().join("rules").display().to_string();
    let none = run(&["rules", "prove", "--rules", &rules]);
    assert_eq!(none.status.code(), Some(0), "{}", said(&none.stdout));
    let line = "6 guarantees, over every possible questionnaire: 6 proved";
    assert_eq!(
        said(&none.stdout).lines().last(),
        Some(line),
        "the promises are proved, listed or not"
    );
    let folder = written(&with(&[SMOKES], "never: refer"));
    let rules = folder.path().join("rules").display().to_string();
    let other = run(&["rules", "prove", "--rules", &rules, "--only", "it-is-soo"]);
    assert_eq!(other.status.code(), Some(2));
    assert!(
        said(&other.stderr).contains("did you mean `it-is-so`?"),
        "{}",
        said(&other.stderr)
    );
}

/// With more numbers than can be laid out, nothing is called proved: it is open, or broken by a worked case.
#[test]
fn what_is_too_large_is_left_open() {
    let many: Vec<String> = (0..2_001)
        .map(|it| format!("{{ fact: a.count, above: {}.{:03} }}", it / 1000, it % 1000))
        .collect();
    let many = format!("{{ any: [{}] }}", many.join(", "));
    let rules: Rules<'_> = &[("one", "defer", &many)];
    let mut files = with(
        rules,
        "where: [{ holds: { fact: a.smokes, is: yes } }]\nnever: go",
    );
    let folder = written(&files);
    let at = folder.path().join("rules").display().to_string();
    let output = run(&["rules", "prove", "--rules", &at, "--as-of", "2026-11-25"]);
    assert_eq!(output.status.code(), Some(1));
    let told = said(&output.stdout);
    let told: String = told.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        told.starts_with("open it-is-so: It is so neither proved nor broken, because of a.count (2002 numbers); none of 0 worked"),
        "{told}"
    );
    assert!(told.ends_with("0 proved, 7 left open"), "{told}");
    // The check says so, too, and calls nothing clean that it could not look at.
    let check = run(&["rules", "check", "--rules", &at, "--as-of", "2026-11-25"]);
    assert!(
        said(&check.stderr).contains("lint/undecided")
            && said(&check.stderr).contains("`a.count` has 2002 numbers")
    );
    // A worked case may still break it.
    let people = "as_of: 2026-11-25\npeople:\n  - { id: somebody, about: Anybody, answers: { a: { smokes: yes, count: 0, taken: [], allergies: [] } } }\n";
    let cases = "cases:\n  - { case: Smokes, like: somebody, expect: { verdict: go, fires: [], undetermined: [] } }\n";
    files.set("cases/people.yaml", people);
    files.set("cases/test.yaml", cases);
    let folder = written(&files);
    let at = |name: &str| folder.path().join(name).display().to_string();
    let output = run(&[
        "rules",
        "prove",
        "--rules",
        &at("rules"),
        "--as-of",
        "2026-11-25",
        "--examples",
        &at("examples"),
    ]);
    assert_eq!(output.status.code(), Some(1));
    let told: String = said(&output.stdout)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    assert!(
        told.contains("The worked case \"Smokes\" breaks it."),
        "{told}"
    );
    assert_eq!(
        std::fs::read_dir(at("examples")).map_or(0, Iterator::count),
        0,
        "a case is no example"
    );
}

// --- The rule sets of this project -------------------------------------------------------------------------------

/// All guarantees are proved, and no concern is without one. A promise is kept for all six.
#[rstest]
#[case::nails(nails())]
#[case::skin(skin())]
fn a_rule_set_keeps_its_guarantees(#[case] shipped: &Shipped) {
    let rules = &shipped.rules;
    let proofs = prove(rules, &shipped.cases(), today(), |_| true);
    let open: Vec<String> = proofs
        .iter()
        .filter(|(_, it)| !matches!(it, Proof::Proved))
        .map(|(at, it)| format!("{} {it:?}", rules.guarantees[*at].id))
        .collect();
    assert!(open.is_empty(), "{}", open.join("\n"));
    assert!(
        proofs.len() >= 25 && proofs.len() == rules.guarantees.len(),
        "{}",
        proofs.len()
    );
    for (at, concern) in rules.concerns.entries() {
        assert!(
            rules.guarantees.iter().any(|it| it.concern == Some(at)),
            "no guarantee is about {}",
            concern.id
        );
    }
    for promise in Promise::ALL {
        assert!(
            rules
                .guarantees
                .iter()
                .any(|it| it.then == Then::Promise(promise)),
            "{} is not promised",
            promise.word()
        );
    }
}
