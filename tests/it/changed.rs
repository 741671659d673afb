//! Two screenings beside one another: what moved, by which answer, and nothing said that the screenings do not show.
#![expect(clippy::expect_used, reason = "a slip in a test ought to stop it")]

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Output;

use chrono::DateTime;
use preblock::Screener;
use preblock::inner::questionnaire::facts;
use preblock::inner::register::happening::{Happening, Screened};
use preblock::inner::register::people::PersonRole;
use preblock::inner::register::{New, Register};
use preblock::inner::report::changed::told::ToldScreening;
use preblock::inner::report::changed::{
    AnswerMove, ChangedScreening, FindingMove, ScreeningSide, answers_of, draw,
};
use preblock::inner::report::{Style, json};
use preblock::inner::screening::screener::Referral;
use rstest::rstest;
use serde_json::Value;

use crate::support::{embedded_once, run, said, today};

const CLINIC: &str = "examples/clinic.yaml";

/// A folder with files, and the commands that are run on them.
struct Desk(tempfile::TempDir);

impl Desk {
    fn new() -> Self {
        Self(tempfile::tempdir().expect("a folder"))
    }

    fn path(&self, name: &str) -> String {
        self.0.path().join(name).display().to_string()
    }

    fn write(&self, name: &str, text: &str) -> String {
        std::fs::write(self.0.path().join(name), text).expect("written");
        self.path(name)
    }

    /// The JSON of a questionnaire's screening.
    fn kept(&self, name: &str, questionnaire: &str, as_of: &str) -> String {
        let screened = run(&[
            "screen",
            questionnaire,
            "--clinic",
            CLINIC,
            "--as-of",
            as_of,
            "--format",
            "json",
        ]);
        self.write(name, &said(&screened.stdout))
    }
}

fn snapshot(name: &str, text: &str) {
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("../snapshots");
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!(name, text));
}

fn changed(old: &str, new: &str, more: &[&str]) -> Output {
    let always = [
        "changed",
        old,
        new,
        "--clinic",
        CLINIC,
        "--as-of",
        "2026-12-01",
    ];
    run(&[&always[..], more].concat())
}

/// An example with some of its text otherwise.
fn edited(name: &str, edits: &[(&str, &str)]) -> String {
    let text =
        std::fs::read_to_string(format!("examples/referrals/{name}.yaml")).expect("an example");
    edits.iter().fold(text, |text, (old, new)| {
        assert!(text.contains(old), "{name} has no {old}");
        text.replace(old, new)
    })
}

/// SM-103 a week later: a new INR, another medicine, one answer fewer and a note.
fn a_week_later() -> String {
    edited(
        "SM-103",
        &[
            (
                "{ value: 4.0, taken_on: 2026-11-24 }",
                "{ value: 2.4, taken_on: 2026-12-01 }",
            ),
            ("bisoprolol 2.5 mg]", "ramipril 5 mg]"),
            ("    alcohol_units: 6\n", ""),
            ("answers:\n", "note: INR done today\nanswers:\n"),
        ],
    )
}

const OLD: &str = "examples/referrals/SM-103.yaml";

#[test]
fn two_questionnaires_are_told_in_words() {
    let desk = Desk::new();
    let new = desk.write("new.yaml", &a_week_later());
    for (format, name) in [("text", "changed"), ("markdown", "changed-markdown")] {
        let output = changed(OLD, &new, &["--format", format]);
        assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
        let text = said(&output.stdout);
        snapshot(name, &text);
        for id in ["bleeding.inr", "medicines.current", "inr-too-old"] {
            assert!(!text.contains(id), "{id}");
        }
    }
}

#[test]
fn json_fits_its_schema() {
    let desk = Desk::new();
    let new = desk.write("new.yaml", &a_week_later());
    let schema = std::fs::read_to_string("schemas/changed.schema.json").expect("the schema");
    let schema: Value = serde_json::from_str(&schema).expect("JSON");
    let validator = jsonschema::draft7::new(&schema).expect("a schema");
    for pair in [[OLD, &new], [&new, OLD], [OLD, OLD]] {
        let output = changed(pair[0], pair[1], &["--format", "json"]);
        let value: Value = serde_json::from_slice(&output.stdout).expect("JSON");
        let wrong: Vec<String> = validator
            .iter_errors(&value)
            .map(|it| it.to_string())
            .collect();
        assert!(wrong.is_empty(), "{wrong:?}");
        assert_eq!(value["nothing_moved"], pair[0] == pair[1]);
    }
}

/// 0 where nothing moved, whatever the verdict; else as of the newer one.
#[test]
fn the_status_is_that_of_the_newer_one() {
    let desk = Desk::new();
    let goes = desk.write("new.yaml", &a_week_later());
    let refers = desk.write(
        "refers.yaml",
        &edited("SM-103", &[("symptoms: []", "symptoms: [rest-pain]")]),
    );
    for (old, new, status) in [
        (OLD, OLD, 0),
        (refers.as_str(), refers.as_str(), 0),
        (OLD, goes.as_str(), 0),
        (goes.as_str(), OLD, 10),
        (OLD, refers.as_str(), 20),
    ] {
        let output = changed(old, new, &[]);
        assert_eq!(output.status.code(), Some(status), "{old} {new}");
        let nothing = said(&output.stdout).contains("Nothing moved.");
        assert_eq!(nothing, old == new, "{old} {new}");
    }
}

#[test]
fn two_patients_are_compared_only_if_told() {
    let refused = changed(OLD, "examples/referrals/SM-122.yaml", &[]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(refused.stdout.is_empty());
    assert!(said(&refused.stderr).contains("two patients, SM-103 and SM-122"));
    let told = changed(OLD, "examples/referrals/SM-122.yaml", &["--two-patients"]);
    assert_eq!(told.status.code(), Some(10));
    let first = said(&told.stdout).lines().nth(1).map(str::to_owned);
    assert_eq!(
        first.as_deref(),
        Some("These are two patients: SM-103 before, SM-122 now.")
    );
}

/// Of two screenings alone nothing is said that they do not show: that a list lost an entry, or an answer stayed.
#[test]
fn screenings_that_were_kept_show_what_they_show() {
    let desk = Desk::new();
    let new = desk.write("new.yaml", &a_week_later());
    let old = desk.kept("old.json", OLD, "2026-11-25");
    let now = desk.kept("now.json", &new, "2026-12-01");
    let output = changed(&old, &now, &[]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    snapshot("changed-kept", &said(&output.stdout));
    // A questionnaire beside a screening that was kept is no more than its own screening.
    let mixed = changed(&old, &new, &[]);
    assert_eq!(said(&mixed.stdout), said(&output.stdout));
}

/// What is not the same around the answers is said before anything else.
#[test]
fn other_rules_days_and_files_are_said_first() {
    let desk = Desk::new();
    let old = desk.kept("old.json", OLD, "2026-11-25");
    let mut other: Value =
        serde_json::from_str(&std::fs::read_to_string(&old).expect("read")).expect("JSON");
    other["rule_set"]["edition"] = "2031".into();
    other["rule_set"]["digest"] = format!("sha256:{}", "ab".repeat(32)).into();
    other["as_of"] = "2026-11-26".into();
    other["procedure_on"] = "2026-12-04 08:30".into();
    other["clinic"] = Value::Null;
    other["tool"]["version"] = "9.9".into();
    other["findings"]
        .as_array_mut()
        .expect("findings")
        .remove(0);
    let new = desk.write("new.json", &other.to_string());
    let output = changed(&old, &new, &["--format", "json"]);
    let value: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let first: Vec<&str> = value["first"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(Value::as_str)
        .collect();
    assert_eq!(first.len(), 5, "{first:?}");
    assert!(
        first[0].starts_with("The rule sets are not the same: nail-surgery ")
            && first[0].contains("2031 (sha256 abababababab) now")
    );
    assert_eq!(
        first[1..],
        [
            "There was a clinic's file before, and there is none now.",
            "Screened on 25 Nov 2026 before, on 26 Nov 2026 now.",
            "Surgery on 2026-12-03 before, on 2026-12-04 08:30 now.",
            "The program was version 0.1.0 before, and is 9.9 now.",
        ]
    );
    let went = &value["findings"][0];
    assert_eq!(
        (went["how"].as_str(), went["why"].as_str()),
        (
            Some("went"),
            Some("the screenings do not show which answer moved it; the rules are not the same"),
        )
    );
}

/// What is no screening is refused at its place, whichever side it stands on.
#[rstest]
#[case::cut_off("{\"screening\": 1,", "text/not-json", "1:16")]
#[case::another_version("{\"screening\": 2}", "shape/not-an-option", "1:15")]
#[case::a_version_in_words("{\"screening\": \"1\"}", "shape/not-an-option", "1:15")]
#[case::several("[{\"screening\": 1}]", "shape/wrong-type", "1:1")]
#[case::a_refusal("{\"refused\": 1}", "shape/wrong-form", "1:1")]
#[case::keys_missing("{\"screening\": 1}", "shape/missing-key", "1:1")]
#[case::twice("{\"screening\": 1, \"screening\": 1}", "text/duplicate-key", "1:18")]
fn what_is_no_screening_is_refused(#[case] text: &str, #[case] code: &str, #[case] place: &str) {
    let desk = Desk::new();
    let good = desk.kept("good.json", OLD, "2026-11-25");
    let bad = desk.write("bad.json", text);
    for (old, new) in [(&good, &bad), (&bad, &good)] {
        let output = changed(old, new, &[]);
        let told = said(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{told}");
        assert!(output.stdout.is_empty());
        assert!(
            told.starts_with(code) && told.contains(&format!("bad.json:{place}]")),
            "{told}"
        );
    }
}

/// One thing of a screening's JSON damaged after another: each is refused, or what is passed over does not count.
#[test]
fn a_damaged_screening_is_refused() {
    let desk = Desk::new();
    let good = desk.kept("good.json", OLD, "2026-11-25");
    let text = std::fs::read_to_string(&good).expect("read");
    let value: Value = serde_json::from_str(&text).expect("JSON");
    let mut n_refused = 0;
    for key in value.as_object().expect("an object").keys() {
        for with in [
            None,
            Some(Value::from(true)),
            Some(Value::from("")),
            Some(Value::from(-1)),
        ] {
            let mut damaged = value.clone();
            let keys = damaged.as_object_mut().expect("an object");
            match with {
                Some(with) => keys.insert(key.clone(), with),
                None => keys.remove(key),
            };
            let read = ToldScreening::read("damaged.json", damaged.to_string().as_bytes());
            // There one word of two is as good as the other.
            let is_kept = damaged[key] == value[key] || key == "cut_short";
            assert!(read.is_err() || is_kept, "{key}: {}", damaged[key]);
            n_refused += usize::from(read.is_err());
        }
    }
    assert!(n_refused > 100, "{n_refused}");
    // Cut off anywhere it is no JSON.
    for at in (0..text.len() - 2)
        .step_by(97)
        .filter(|at| text.is_char_boundary(*at))
    {
        assert!(
            ToldScreening::read("cut.json", &text.as_bytes()[..at]).is_err(),
            "{at}"
        );
    }
}

/// Nothing that a file says steers a terminal or becomes Markdown.
#[test]
fn words_of_a_file_stay_words() {
    let new = edited(
        "SM-103",
        &[(
            "answers:\n",
            "note: \"a | b\\n# heading <b>\\u202e\"\nanswers:\n",
        )],
    );
    let (rule_set, _) = embedded_once();
    let screener = Screener::new(rule_set, today()).without_search();
    let side = |name: &str, text: &[u8]| {
        let referral = screener.read(name, text).expect("read");
        side(&screener, &referral)
    };
    let old = std::fs::read(OLD).expect("an example");
    let told = ChangedScreening::of(
        rule_set,
        &side("old.yaml", &old),
        &side("new.yaml", new.as_bytes()),
    );
    let text = draw::text(&told, &Style::plain());
    assert!(text.contains("a | b # heading <b>\u{fffd}"), "{text}");
    assert!(
        draw::markdown(&told).contains("a &#124; b \\# heading &lt;b&gt;\u{fffd}"),
        "{}",
        draw::markdown(&told)
    );
}

// --- One answer taken out --------------------------------------------------------------------------------------

fn side(screener: &Screener<'_>, referral: &Referral) -> ScreeningSide {
    ScreeningSide {
        screening: ToldScreening::of(&screener.screening(referral)).expect("a screening"),
        answers: Some(answers_of(screener.rule_set(), referral)),
    }
}

fn rules_of(screening: &preblock::Screening) -> BTreeSet<String> {
    screening
        .findings
        .iter()
        .map(|it| it.rule.clone())
        .collect()
}

/// Every answer of every example taken out by itself: that answer alone is told, as taken back, and it alone moved every finding
/// that came or went, which are those that stand in one of the two screenings alone.
#[test]
fn one_answer_taken_out_is_what_moved_everything() {
    let (rule_set, _) = embedded_once();
    let clinic = std::fs::read(CLINIC).expect("the clinic's file");
    let screener = Screener::new(rule_set, today())
        .without_search()
        .clinic("clinic.yaml", &clinic)
        .expect("a clinic");
    let mut paths: Vec<PathBuf> = std::fs::read_dir("examples/referrals")
        .expect("the examples")
        .map(|it| it.expect("an entry").path())
        .filter(|it| it.extension().is_some_and(|it| it == "yaml"))
        .collect();
    paths.sort();
    let (mut n_pairs, mut n_moved) = (0, 0);
    for path in &paths {
        let bytes = std::fs::read(path).expect("an example");
        let Ok(whole) = screener.read("old.yaml", &bytes) else {
            continue;
        };
        let old = side(&screener, &whole);
        let was = rules_of(&screener.screening(&whole));
        for question in whole.answers.given.keys() {
            let mut referral = whole.clone();
            referral.answers.given.remove(question);
            let (facts, found) = facts::read(rule_set, &referral.answers, today());
            if !found.is_empty() {
                continue;
            }
            referral.facts = facts;
            let id = &rule_set.catalogue.questions[*question].id;
            let told = ChangedScreening::of(rule_set, &old, &side(&screener, &referral));
            let what = format!("{} without {id}: {told:#?}", path.display());
            for answer in &told.answers {
                assert!(
                    answer.fact == *id || answer.fact.starts_with(&format!("{id}.")),
                    "{what}"
                );
                // One that was asked for and not known is not asked for now.
                let was_missing = answer.before.is_empty() && answer.how == AnswerMove::Changed;
                assert!(answer.how == AnswerMove::TakenBack || was_missing, "{what}");
            }
            let is = rules_of(&screener.screening(&referral));
            let of = |how: FindingMove| -> BTreeSet<String> {
                let found = told.findings.iter().filter(|it| it.how == how);
                found.map(|it| it.rule.clone()).collect()
            };
            assert_eq!(of(FindingMove::Came), &is - &was, "{what}");
            assert_eq!(of(FindingMove::Went), &was - &is, "{what}");
            for finding in &told.findings {
                assert!(!finding.moved_by.is_empty(), "{what}");
                n_moved += 1;
            }
            n_pairs += 1;
        }
    }
    assert!(
        n_pairs > 800 && n_moved > 40,
        "{n_pairs} pairs, {n_moved} findings moved"
    );
}

// --- A register ------------------------------------------------------------------------------------------------

/// A register with one referral that was answered and screened twice: entries 2 to 6.
fn register(folder: &Path) -> String {
    let path = folder.join("desk.sqlite3");
    let mut register = Register::create(&path, "a test").expect("a register");
    let mut write = |referral: Option<&str>, happening: Happening| {
        let at = DateTime::parse_from_rfc3339("2026-11-30T08:00:00+00:00").expect("a time");
        let new = New {
            at,
            person: "NU".into(),
            form: None,
            referral: referral.map(str::to_owned),
            happening,
        };
        register.append(new).expect("written");
    };
    write(
        None,
        Happening::PersonSet {
            initials: "NU".into(),
            role: PersonRole::Nurse,
            hash: "none".into(),
            is_on: true,
        },
    );
    write(
        Some("SM-103"),
        Happening::Opened {
            from: String::new(),
        },
    );
    let (rule_set, _) = embedded_once();
    for (text, day) in [
        (edited("SM-103", &[]), "2026-11-25"),
        (a_week_later(), "2026-12-01"),
    ] {
        let clinic = std::fs::read(CLINIC).expect("the clinic's file");
        let screener = Screener::new(rule_set, day.parse().expect("a day"))
            .clinic("clinic.yaml", &clinic)
            .expect("a clinic");
        let screening = screener
            .screen("SM-103.yaml", text.as_bytes())
            .expect("screened");
        write(
            Some("SM-103"),
            Happening::Answered {
                questionnaire: text,
                changed: vec!["bleeding.inr".into()],
            },
        );
        let screened = Screened::of(&screening, json::value(&screening), false);
        write(Some("SM-103"), Happening::Screened(Box::new(screened)));
    }
    path.display().to_string()
}

#[test]
fn two_entries_of_a_register_are_compared() {
    let folder = tempfile::tempdir().expect("a folder");
    let register = register(folder.path());
    let by = |what: &[&str]| run(&[&["changed", "--register", &register], what].concat());
    let last = by(&["SM-103"]);
    assert_eq!(last.status.code(), Some(0), "{}", said(&last.stderr));
    snapshot("changed-register", &said(&last.stdout));
    for pair in [["4", "6"], ["3", "5"], ["3", "6"]] {
        assert_eq!(said(&by(&pair).stdout), said(&last.stdout), "{pair:?}");
    }
    for (what, why) in [
        (&["4", "7"][..], "the register has no entry `7`"),
        (&["four", "6"], "the register has no entry `four`"),
        (
            &["2", "6"],
            "entry 2 is no screening and no answers, but `opened`",
        ),
        (
            &["SM-104"],
            "the register holds no two screenings of `SM-104`",
        ),
    ] {
        let refused = by(what);
        assert_eq!(refused.status.code(), Some(2));
        assert!(
            said(&refused.stderr).contains(why),
            "{}",
            said(&refused.stderr)
        );
    }
    let mut open = Register::open(Path::new(&register), "a test").expect("open");
    let at = DateTime::parse_from_rfc3339("2026-12-02T08:00:00+00:00").expect("a time");
    open.remove(at, "NU", "SM-103", "asked for")
        .expect("removed");
    drop(open);
    let removed = by(&["4", "6"]);
    assert_eq!(removed.status.code(), Some(2));
    assert!(said(&removed.stderr).contains("entry 4 says nothing any more: it was removed"));
}
