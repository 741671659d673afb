//! The folder of a rule set as commands meet it: what is no part of it, what cannot be read, and cases on either side of a
//! comparison.

use std::fmt::Write as _;
use std::path::Path;

use preblock::inner::rule_set::files::RuleFiles;
use rstest::rstest;

use crate::support::{files, run, said, text_of};

const RULES: &[(&str, &str, &str)] = &[
    ("smokes", "defer", "{ fact: a.smokes, is: yes }"),
    ("drinks", "go", "{ fact: a.drinks, is: yes }"),
];
const PEOPLE: &str = "as_of: 2026-11-25\npeople:\n  - { id: somebody, about: Anybody, answers: { a: { smokes: no, drinks: no, taken: [], allergies: [] } } }\n";
const SMOKER: (&str, &str) = (
    "a smoker",
    "change: { a.smokes: yes }, expect: { verdict: defer, fires: [test/smokes] }",
);
const DRINKER: (&str, &str) = (
    "a drinker",
    "change: { a.drinks: yes }, expect: { verdict: go, fires: [test/drinks] }",
);
const GUARANTEE: &str = "guarantees: [{ id: smoker, title: No smoker goes, where: [{ holds: { fact: a.smokes, is: yes } }], never: go, because: So it is }]\n";

/// The tiny rule set with some rules and cases, as a folder.
pub fn folder(rules: &[(&str, &str, &str)], cases: &[(&str, &str)]) -> tempfile::TempDir {
    let mut files = files(rules);
    let mut listed = String::from("cases:\n");
    for (title, rest) in cases {
        let _ = writeln!(listed, "  - {{ case: {title}, like: somebody, {rest} }}");
    }
    files.set("cases/people.yaml", PEOPLE);
    files.set("cases/test.yaml", listed);
    files.set("guarantees.yaml", GUARANTEE);
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    write(folder.path(), &files);
    folder
}

fn write(folder: &Path, files: &RuleFiles) {
    for (path, file) in files.iter() {
        let path = folder.join(path);
        assert!(
            path.parent()
                .is_some_and(|it| std::fs::create_dir_all(it).is_ok())
        );
        assert!(std::fs::write(path, file.bytes()).is_ok());
    }
}

/// What a command says on standard error and standard output, white space as single spaces, and its status.
fn tried(arguments: &[&str]) -> (i32, String) {
    let output = run(arguments);
    let all = said(&output.stderr) + &said(&output.stdout);
    (
        output.status.code().unwrap_or(-1),
        all.split_whitespace().collect::<Vec<_>>().join(" "),
    )
}

fn check(folder: &Path) -> (i32, String) {
    tried(&[
        "rules",
        "show",
        "test/smokes",
        "--rules",
        &folder.display().to_string(),
    ])
}

/// A second limits.yaml by another ending was passed over without a word.
#[rstest]
#[case::capitals("limits.YAML", "names the file")]
#[case::short("limits.yml", "names the file")]
#[case::of_a_concern("concerns/test.Yaml", "names the file")]
#[case::a_folder_in_its_place("medicines.yml/x", "is not an ordinary file")]
fn a_file_by_another_ending_is_refused(#[case] name: &str, #[case] words: &str) {
    let folder = folder(RULES, &[SMOKER, DRINKER]);
    let path = folder.path().join(name);
    assert!(
        path.parent()
            .is_some_and(|it| std::fs::create_dir_all(it).is_ok())
            && std::fs::write(&path, "limits: []\n").is_ok()
    );
    let (status, text) = check(folder.path());
    assert!(
        status == 1
            && text.contains(words)
            && text.contains(name.split('/').next().unwrap_or_default()),
        "{text}"
    );
}

#[test]
fn what_is_no_part_of_a_rule_set_is_told() {
    let folder = folder(RULES, &[SMOKER, DRINKER]);
    for name in [
        "limits.yaml.txt",
        "concerns/test.yaml~",
        "drafts/new.yaml",
        "CHANGES.md",
        ".hidden",
    ] {
        let path = folder.path().join(name);
        assert!(
            path.parent()
                .is_some_and(|it| std::fs::create_dir_all(it).is_ok())
                && std::fs::write(&path, "a\n").is_ok()
        );
    }
    let (status, text) = check(folder.path());
    assert!(
        status == 0
            && text.contains(
                "and passed over: concerns/test.yaml~, drafts, limits.yaml.txt test/smokes"
            ),
        "{text}"
    );
}

#[cfg(unix)]
#[test]
fn a_link_that_leads_nowhere_is_told() {
    let folder = folder(RULES, &[SMOKER, DRINKER]);
    let link = folder.path().join("cases/more.yaml");
    assert!(std::os::unix::fs::symlink(folder.path().join("nothing.yaml"), &link).is_ok());
    let (status, text) = check(folder.path());
    assert!(
        status == 1 && text.contains("there is no file") && text.contains("cases/more.yaml"),
        "{text}"
    );
}

/// Cases that could not be read were passed over by all commands but `rules test`.
#[test]
fn cases_that_cannot_be_read_are_refused_by_every_command() {
    let folder = folder(RULES, &[SMOKER, DRINKER]);
    assert!(
        std::fs::write(
            folder.path().join("cases/more.yaml"),
            "cases: [{ case: broken\n"
        )
        .is_ok()
    );
    let rules = folder.path().display().to_string();
    for arguments in [
        &["show", "test/smokes"][..],
        &["prove"],
        &["test"],
        &["check"],
    ] {
        let (status, text) = tried(&[&["rules"][..], arguments, &["--rules", &rules]].concat());
        assert!(
            status == 1 && text.contains("cases/more.yaml") && text.contains("refused: "),
            "{arguments:?}: {text}"
        );
    }
}

/// Whoever deletes a rule is told where its id goes.
#[test]
fn a_rule_that_is_gone_is_to_be_listed_as_retired() {
    let gone = folder(&RULES[1..], &[SMOKER, DRINKER]);
    let rules = gone.path().display().to_string();
    let (status, text) = tried(&["rules", "test", "--rules", &rules]);
    assert!(
        status == 1
            && text.contains("there is no rule `test/smokes`")
            && text.contains("list it under `retired:`"),
        "{text}"
    );
    let retired = (
        "an old one",
        "expect: { verdict: go, fires: [test/long-gone] }",
    );
    let folder = folder(RULES, &[SMOKER, DRINKER, retired]);
    let (_, text) = tried(&[
        "rules",
        "test",
        "--rules",
        &folder.path().display().to_string(),
    ]);
    assert!(
        text.contains("the rule was retired on 2026-01-01"),
        "{text}"
    );
}

/// A rule taken out with its case: the old rule set's case still names a patient, for a precaution, too.
#[test]
fn a_comparison_names_a_patient_of_a_rule_that_went_with_its_cases() {
    let (old, new) = (
        folder(RULES, &[SMOKER, DRINKER]),
        folder(&RULES[..1], &[SMOKER]),
    );
    let (old, new) = (
        old.path().display().to_string(),
        new.path().display().to_string(),
    );
    let (status, text) = tried(&["rules", "compare", &old, &new, "--as-of", "2026-11-26"]);
    assert!(status == 0, "{text}");
    assert!(
        text.contains(
            "other findings: a drinker (a case of the old rule set) go; no longer fires test/drinks"
        ),
        "{text}"
    );
    let example = "test/drinks no longer fires for some for example, as of 2026-11-25, and no answer of it can be left out: \
                   | questionnaire: 1 | for: tiny | reference: EXAMPLE-1 | answers: | a: | drinks: yes";
    assert!(text.contains(example), "{text}");
    assert!(text.contains("Both are called edition 1:"), "{text}");
    assert!(
        !text.contains("smoker"),
        "what is in both comes once, and is the same: {text}"
    );
}

#[test]
fn a_comparison_tells_two_rule_sets_from_two_editions() {
    let (old, new) = (
        folder(RULES, &[SMOKER, DRINKER]),
        folder(RULES, &[SMOKER, DRINKER]),
    );
    let head = new.path().join("ruleset.yaml");
    let text = std::fs::read_to_string(&head).unwrap_or_default();
    assert!(std::fs::write(&head, text.replace("id: tiny", "id: other")).is_ok());
    let (_, text) = tried(&[
        "rules",
        "compare",
        &old.path().display().to_string(),
        &new.path().display().to_string(),
    ]);
    assert!(
        text.contains("These are two rule sets, not two editions of one: tiny and other."),
        "{text}"
    );
}

/// The arithmetic of another rule set takes what that one computes its load from, and no more sites than it knows.
#[rstest]
#[case::no_site("weight: derived.dosing,", "", &[], 0, "of this mixture rests on Dosing weight: 47.8 kg")]
#[case::sites_left_out("weight: derived.dosing,", "", &["--sites", "2"], 2, "leave `--sites` out")]
#[case::the_plain_weight("weight: a.weight,", "", &[], 0, "of this mixture rests on Weight: 50 kg")]
#[case::all_sites("weight: derived.dosing,", SHARED, &["--sites", "2"], 0, "all sites together; a site holds far less planned for each site: 3.00 mL")]
#[case::one_too_many("weight: derived.dosing,", SHARED, &["--sites", "3"], 2, "this rule set knows 2 sites")]
#[case::by_its_old_name("weight: derived.dosing,", SHARED, &["--toes", "2"], 2, "its name is `--sites` now")]
fn dose_follows_the_load_of_the_rule_set(
    #[case] weight: &str,
    #[case] further: &str,
    #[case] arguments: &[&str],
    #[case] status: i32,
    #[case] words: &str,
) {
    let mut files = files(RULES);
    let questions = text_of(&files, "questions.yaml");
    assert!(questions.contains("weight: derived.dosing,"));
    files.set(
        "questions.yaml",
        questions.replace("weight: derived.dosing,", weight) + further,
    );
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    write(folder.path(), &files);
    let person = [
        "--weight",
        "50 kg",
        "--height",
        "150 cm",
        "--sex",
        "male",
        "--age",
        "40",
        "--agent",
        "lidocaine 1 % 6 mL",
    ];
    let rules = folder.path().display().to_string();
    let (ended, all) = tried(&[&["dose", "--rules", &rules], &person[..], arguments].concat());
    assert!(ended == status && all.contains(words), "{ended}: {all}");
}

/// A formula that shares the plan among sites.
const SHARED: &str = "  - { id: each, about: Volume for each, formula: volume-per-site, unit: mL, decimals: 1, with: { plan: plan.anaesthetic, sites: plan.toes } }\n";
