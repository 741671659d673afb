//! What is asked, of whom and how: names nobody recognised, doses, reactions, and the way an answer is entered.

#![expect(
    clippy::unwrap_used,
    reason = "a file or an answer that is not there fails the test"
)]

use std::path::{Path, PathBuf};

use preblock::inner::document::diagnostic::did_you_mean;
use preblock::inner::rule_set::Answer;
use preblock::inner::rule_set::course;
use preblock::inner::screening::asks;
use rstest::rstest;
use serde_json::Value;

use crate::support::{embedded, run, said};

/// The healthy adult of the examples with one line otherwise, in a file of its own.
fn healthy(name: &str, from: &str, to: &str) -> PathBuf {
    let healthy = include_str!("../../examples/referrals/SM-101.yaml");
    assert_eq!(healthy.matches(from).count(), 1, "{from}");
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("asks");
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join(format!("{name}.yaml"));
    std::fs::write(&path, healthy.replace(from, to)).unwrap();
    path
}

fn taking(name: &str, medicines: &str) -> PathBuf {
    healthy(name, "current: []", &format!("current: [{medicines}]"))
}

fn screened(path: &Path, more: &[&str]) -> (Option<i32>, String, String) {
    let path = path.to_string_lossy();
    let usual = [
        "screen",
        &path,
        "--clinic",
        "examples/clinic.yaml",
        "--as-of",
        "2026-11-25",
    ];
    let output = run(&usual
        .into_iter()
        .chain(more.iter().copied())
        .collect::<Vec<_>>());
    (
        output.status.code(),
        said(&output.stdout),
        said(&output.stderr),
    )
}

fn in_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// One misspelt medicine in a healthy adult once gave 168 lines, and a chase list of 23 questions to four people.
#[test]
fn one_misspelt_medicine_is_one_question() {
    let path = taking("misspelt", "warfrin");
    let (status, report, _) = screened(&path, &[]);
    assert_eq!(status, Some(10), "{report}");
    assert!(
        report.lines().count() <= 45,
        "{} lines\n{report}",
        report.lines().count()
    );
    let at = |wanted: &str| {
        report
            .find(wanted)
            .unwrap_or_else(|| unreachable!("{wanted} is not in\n{report}"))
    };
    assert!(at("\"warfrin\": did you mean \"warfarin\"?") < at("wait for nothing but that name."));
    assert!(!report.contains("bleeding/inr-above-ceiling"), "{report}");

    let (_, chase, _) = screened(&path, &["--format", "chase"]);
    assert!(chase.contains("For the patient (1 question)"), "{chase}");
    assert_eq!(chase.matches("surgery planned for").count(), 1, "{chase}");
    assert!(
        chase.contains("\"warfrin\"") && chase.contains("Is it warfarin?"),
        "{chase}"
    );

    let (_, markdown, _) = screened(&path, &["--format", "markdown"]);
    assert!(
        !markdown.contains("bleeding/inr-above-ceiling"),
        "{markdown}"
    );

    let (_, json, _) = screened(&path, &["--format", "json"]);
    let json: Value = serde_json::from_str(&json).unwrap();
    let all = |list: &str| json[list].as_array().unwrap().len();
    assert!(
        all("undetermined") > 50 && all("to_ask") > 20,
        "{} {}",
        all("undetermined"),
        all("to_ask")
    );
    for list in ["undetermined", "to_ask"] {
        assert!(
            json[list]
                .as_array()
                .unwrap()
                .iter()
                .all(|it| it["for_a_name"] == true),
            "{list}"
        );
    }
}

/// What waits for something else, too, is asked as ever, and the list of several names the doubtful one.
#[test]
fn beside_a_name_what_else_is_missing_is_asked() {
    let path = taking("beside", "warfrin, warfrin, Warfrin, apixaban");
    let (_, report, _) = screened(&path, &["--full"]);
    assert!(
        report.contains("names not recognised (1)"),
        "the same text is one name\n{report}"
    );
    assert!(
        report.contains("bleeding.creatinine: not asked"),
        "{report}"
    );
    let other = taking("beside-other", "apixaban");
    let (_, list, _) = screened(&path, &[&other.to_string_lossy()]);
    assert!(
        list.contains("name not recognised: \"warfrin\" (warfarin?)"),
        "{list}"
    );
}

/// A steroid as text, its dose or duration in doubt: what is missing is said, and how it is written.
#[test]
fn a_steroid_without_dose_or_duration_is_asked_for_just_that() {
    for (name, entry, lacks) in [
        (
            "bare",
            "prednisolone",
            "the dose of a whole day and for how long it has been taken are missing",
        ),
        (
            "no-frequency",
            "prednisolone 10 mg for 3 months",
            "the dose of a whole day is missing",
        ),
        (
            "no-duration",
            "prednisolone 10 mg daily",
            "for how long it has been taken is missing",
        ),
    ] {
        let path = taking(name, entry);
        for format in ["text", "chase", "markdown"] {
            let (status, report, _) = screened(&path, &["--format", format]);
            let report = in_one_line(&report);
            assert_eq!(status, Some(10), "{report}");
            assert!(report.contains(lacks), "{entry}\n{report}");
            // Markdown is disarmed character by character.
            let write = "{ name: prednisolone, daily: ... mg, for: ... months }";
            assert!(
                format == "markdown" || report.contains(write),
                "{entry}\n{report}"
            );
            assert!(!report.contains("does not settle it"), "{entry}\n{report}");
        }
    }
    let (_, report, _) = screened(
        &taking("told", "prednisolone 10 mg daily for 3 months"),
        &["--full"],
    );
    assert!(
        report.contains("general.steroid_plan: not asked") && !report.contains("is missing"),
        "{report}"
    );
    let said = said(&run(&["blank"]).stdout);
    assert!(
        in_one_line(&said.replace('#', "")).contains("prednisolone 10 mg daily for 3 months"),
        "{said}"
    );
}

/// A dose that nobody takes is a slip, and one that stands twice must be the same.
#[rstest]
#[case(
    "{ name: prednisolone, daily: 40 mcg, for: 2 months }",
    Some("answers/implausible")
)]
#[case("prednisolone 40 mcg daily for 2 months", Some("answers/implausible"))]
#[case(
    "{ name: prednisolone, daily: 0 mg, for: 2 months }",
    Some("answers/implausible")
)]
#[case("{ name: methotrexate, daily: 15 mg }", Some("answers/implausible"))]
#[case(
    "{ name: prednisolone 40 mg daily, daily: 1 mg, for: 1 day }",
    Some("answers/doses-disagree")
)]
#[case(
    "{ name: prednisolone 20 mg twice a day, daily: 20 mg, for: 1 day }",
    Some("answers/doses-disagree")
)]
#[case(
    "{ name: prednisolone 5 mg daily for 3 months, for: 3 weeks }",
    Some("answers/doses-disagree")
)]
#[case(
    "{ name: prednisolone 40 mg/day, daily: 1 mg, for: 3 months }",
    Some("answers/doses-disagree")
)]
#[case(
    "{ name: prednisolone 40 mg / day, daily: 1 mg, for: 3 months }",
    Some("answers/doses-disagree")
)]
#[case(
    "{ name: prednisolone 40 mg nocte, daily: 30 mg, for: 3 months }",
    Some("answers/doses-disagree")
)]
#[case(
    "{ name: prednisolone 40 mg tablets daily, daily: 1 mg, for: 3 months }",
    Some("answers/doses-disagree")
)]
#[case(
    "{ name: prednisolone 8 x 5 mg daily, daily: 1 mg, for: 3 months }",
    Some("answers/doses-disagree")
)]
#[case(
    "{ name: prednisolone 40 mg, daily: 1 mg, for: 3 months }",
    Some("answers/doses-disagree")
)]
#[case("{ name: prednisolone 40 mg/day, daily: 40 mg, for: 1 day }", None)]
#[case("{ name: prednisolone 5 mg tablets, daily: 2.5 mg, for: 1 day }", None)]
#[case("{ name: prednisolone 40 mg daily, daily: 0.04 g, for: 1 day }", None)]
#[case("{ name: prednisolone 5 mg, daily: 40 mg, for: 1 day }", None)]
#[case("methotrexate 15 mg weekly", None)]
fn doses_are_held_against_one_another_and_a_range(#[case] entry: &str, #[case] code: Option<&str>) {
    let name: String = entry
        .chars()
        .filter(|it| it.is_ascii_alphanumeric())
        .collect();
    let (status, report, wrong) = screened(&taking(&name, entry), &[]);
    assert_eq!(status == Some(2), code.is_some(), "{report}{wrong}");
    assert!(code.is_none_or(|it| wrong.contains(it)), "{wrong}");
}

/// Every medicine whose dose a formula reads has a range, so that a slip in it is told.
#[test]
fn every_dose_that_counts_has_a_range() {
    let rules = embedded();
    let counted: Vec<_> = rules
        .medicines
        .medicines
        .iter()
        .filter(|it| it.as_prednisolone.is_some())
        .collect();
    assert!(counted.len() >= 8, "{}", counted.len());
    for it in counted {
        assert!(
            it.plausible_daily
                .is_some_and(|(low, high)| 0.0 < low && low < high),
            "{}",
            it.name
        );
    }
}

/// The words after a name are understood as a whole, or not at all.
#[rstest]
#[case("10 mg daily for 3 months", Some(10.0), Some(84.0))]
#[case("10mg twice a day", Some(20.0), None)]
#[case("0.5 g once daily, for 2 weeks", Some(500.0), Some(14.0))]
#[case("acetate 20 mg in the morning", Some(20.0), None)]
#[case("500 micrograms tds", Some(1.5), None)]
#[case("for 3 months 5 mg od", Some(5.0), Some(84.0))]
#[case("10 mg for 3 months", None, Some(84.0))]
#[case("10 mg", None, None)]
#[case("daily", None, None)]
#[case("5 mg tablets daily", None, None)]
#[case("2 tablets of 5 mg daily", None, None)]
#[case("5 mg or 10 mg daily", None, None)]
#[case("10 mg every other day", None, None)]
#[case("10 mg daily when needed", None, None)]
#[case("5 mg 10 mg daily", None, None)]
#[case("10 mg daily nightly", None, None)]
#[case("10 mg daily for 3 months for 2 weeks", None, None)]
#[case("10 mg daily for months", None, None)]
#[case("10 ml daily", None, None)]
fn what_the_words_after_a_name_say(
    #[case] words: &str,
    #[case] daily_mg: Option<f64>,
    #[case] days: Option<f64>,
) {
    let words: Vec<&str> = words.split(' ').collect();
    let told = course::read(&embedded().medicines, &words);
    assert_eq!((told.daily_mg, told.days), (daily_mg, days));
}

/// An allergy that may be one to what is planned says so, and to what.
#[test]
fn a_mixture_in_the_list_of_allergies_is_asked_about() {
    let path = healthy(
        "mixture",
        "allergies:\n    known: []",
        "allergies:\n    known: [{ to: co-codamol, reaction: anaphylaxis }]",
    );
    let (status, report, _) = screened(&path, &[]);
    assert_eq!(status, Some(10), "{report}");
    assert!(
        in_one_line(&report)
            .contains("\"co-codamol\" may be an allergy to paracetamol: name what it is to"),
        "{report}"
    );
    let path = healthy(
        "reaction",
        "allergies:\n    known: []",
        "allergies:\n    known: [latex]",
    );
    let (_, report, _) = screened(&path, &[]);
    assert!(
        in_one_line(&report).contains("the reaction to \"latex\" is not known"),
        "{report}"
    );
}

/// What a chase list says of how to answer: the key, the form, and "none" only where none is an answer.
#[test]
fn each_question_tells_how_its_answer_is_entered() {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("asks");
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join("empty.yaml");
    std::fs::write(
        &path,
        "questionnaire: 1\nreference: SM-999\nanswers:\n  medicines: { current: [warfarin] }\n",
    )
    .unwrap();
    let (_, chase, _) = screened(&path, &["--format", "chase"]);
    let chase = in_one_line(&chase);
    assert!(
        chase.contains("Entered as bleeding.inr: { value: ..., taken_on: YYYY-MM-DD }"),
        "{chase}"
    );
    assert!(
        chase.contains("Entered as person.sex: female | male"),
        "{chase}"
    );
    assert!(
        chase.contains("Entered as person.weight: ... kg"),
        "{chase}"
    );
    assert!(!chase.contains("not-pregnant / none of these"), "{chase}");
    let (_, json, _) = screened(&path, &["--format", "json"]);
    let json: Value = serde_json::from_str(&json).unwrap();
    let rules = embedded();
    let mut n_one = 0;
    for ask in json["to_ask"].as_array().unwrap() {
        let question = rules
            .catalogue
            .slot(ask["fact"].as_str().unwrap())
            .and_then(|it| rules.catalogue.question_of(it))
            .unwrap();
        let several = matches!(question.answer, Answer::SeveralOf(_))
            && !ask["fact"].as_str().unwrap().ends_with(".taken_on");
        assert_eq!(ask["several"], several, "{ask}");
        assert_eq!(ask["entry"], asks::entry(question), "{ask}");
        assert!(
            ask["entry"]
                .as_str()
                .unwrap()
                .starts_with(&format!("{}: ", question.id)),
            "{ask}"
        );
        n_one += usize::from(matches!(question.answer, Answer::OneOf(_)));
    }
    assert!(n_one > 3, "{n_one}");
}

/// A question that goes to the patient speaks to the patient.
#[test]
fn the_patient_is_not_asked_about_the_patient() {
    let rules = embedded();
    let asked: Vec<_> = rules
        .catalogue
        .questions
        .iter()
        .filter(|it| it.from.word() == "patient")
        .collect();
    assert!(asked.len() > 25, "{}", asked.len());
    let about: Vec<&str> = asked
        .iter()
        .flat_map(|it| {
            std::iter::once(it.ask.as_str()).chain(
                rules
                    .catalogue
                    .options(it.slot)
                    .iter()
                    .map(|it| it.text.as_str()),
            )
        })
        .filter(|it| it.to_lowercase().contains("patient"))
        .collect();
    assert!(about.is_empty(), "{about:?}");
}

/// A suggestion looks inside a name, too, and offers several that fit as well; but nothing that only looks alike.
#[rstest]
#[case("hba1c_vlaue", &["hba1c", "glucose", "foot_findings"], "did you mean `hba1c`?")]
#[case("retire_rule", &["retire", "change", "add"], "did you mean `retire`?")]
#[case("sglt2", &["sglt2-inhibitor", "dpp4-inhibitor"], "did you mean `sglt2-inhibitor`?")]
#[case("bleeding/inr-celing", &["bleeding/inr-near-ceiling", "bleeding/inr-above-ceiling", "bleeding/inr-too-old"], "did you mean `bleeding/inr-near-ceiling` or `bleeding/inr-above-ceiling`?")]
#[case("address", &["reference", "answers"], "one of `reference` or `answers`")]
fn a_suggestion_looks_inside_the_name(
    #[case] wrong: &str,
    #[case] known: &[&str],
    #[case] expected: &str,
) {
    assert_eq!(
        did_you_mean(wrong, known.iter().copied()).as_deref(),
        Some(expected)
    );
}

/// What `rules show` and `rules new` do not find, they suggest.
#[test]
fn commands_on_rules_suggest_what_was_meant() {
    let shown = said(&run(&["rules", "show", "inr-above-ceiling"]).stderr);
    assert!(
        shown.contains("did you mean `bleeding/inr-above-ceiling`?"),
        "{shown}"
    );
    let new = [
        "rules",
        "new",
        "bleeding/raised",
        "--rules",
        "rules",
        "--fact",
        "medicines.current",
        "--value",
        "sglt2",
    ];
    let new = said(&run(&new).stderr);
    assert!(new.contains("did you mean `sglt2-inhibitor`?"), "{new}");
}

/// A result without date and unit is asked for both at once, and no day is made up.
#[test]
fn date_and_unit_are_asked_for_in_one_round() {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("asks");
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join("hba1c.yaml");
    std::fs::write(
        &path,
        "questionnaire: 1\nreference: SM-998\nanswers:\n  diabetes: { hba1c: 53 }\n",
    )
    .unwrap();
    let (status, _, wrong) = screened(&path, &[]);
    assert_eq!(status, Some(2), "{wrong}");
    let wrong = in_one_line(&wrong);
    assert!(
        wrong.contains("answers/needs-date") && wrong.contains("answers/needs-unit"),
        "{wrong}"
    );
    assert!(
        wrong.contains("{ value: 53, taken_on: YYYY-MM-DD }"),
        "{wrong}"
    );
    assert!(!wrong.contains("2026-12-02"), "{wrong}");
}
