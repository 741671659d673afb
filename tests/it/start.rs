//! A rule set from nothing: what `rules start` writes is clean, and grows by the commands alone.
#![expect(
    clippy::unwrap_used,
    reason = "a fault of the test's own folder fails it, as it should"
)]

use std::path::{Path, PathBuf};

use crate::support::{run, said};

struct Started {
    folder: tempfile::TempDir,
}

impl Started {
    fn new(more: &[&str]) -> Self {
        let started = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        let path = started.path("");
        let first = ["rules", "start", &path, "--as-of", "2026-11-30"];
        let output = run(&[&first, more].concat());
        assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
        started
    }

    fn path(&self, path: &str) -> String {
        self.folder
            .path()
            .join("set")
            .join(path)
            .display()
            .to_string()
    }

    fn edit(&self, path: &str, from: &str, to: &str) {
        let path = self.path(path);
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(text.contains(from), "{path} has no `{from}`");
        std::fs::write(path, text.replace(from, to)).unwrap();
    }

    /// Status and output of a command with the rule set.
    fn run(&self, command: &[&str]) -> (Option<i32>, String) {
        let rules = self.path("rules");
        let output = run(&[command, &["--rules", &rules]].concat());
        let all = said(&output.stdout) + &said(&output.stderr);
        (output.status.code(), all)
    }

    fn clean(&self) {
        for command in [
            &["rules", "check", "--as-of", "2026-11-30"][..],
            &["rules", "test", "--mutants"],
            &["rules", "prove"],
        ] {
            let (status, all) = self.run(command);
            assert_eq!(status, Some(0), "{command:?}: {all}");
        }
    }

    fn screened(&self, referral: &str) -> (Option<i32>, String) {
        let (referral, clinic) = (self.path(referral), self.path("clinic.yaml"));
        self.run(&[
            "screen",
            &referral,
            "--clinic",
            &clinic,
            "--as-of",
            "2026-11-30",
        ])
    }
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(files(&path));
        } else {
            found.push(path);
        }
    }
    found
}

#[test]
fn what_is_started_is_clean_and_screens() {
    let started = Started::new(&["--id", "implant-removal"]);
    started.clean();
    let (status, all) = started.screened("referrals/P-1.yaml");
    assert_eq!(status, Some(0), "{all}");
    assert!(
        all.contains("GO  P-1") && all.contains("rule set implant-removal"),
        "{all}"
    );
    let (status, all) = started.screened("referrals/P-2.yaml");
    assert_eq!(status, Some(10), "{all}");
    assert!(all.contains("DEFER  P-2, surgery 9 Dec 2026"), "{all}");
    let (_, all) = started.run(&["rules", "check", "--as-of", "2026-11-30"]);
    assert!(!all.contains("passed over"), "{all}");
}

/// Editors find the schema that each file names, outside the repository, and it takes the file.
#[test]
fn every_file_names_a_schema_that_is_there() {
    let started = Started::new(&["--id", "implant-removal"]);
    let mut n = 0;
    for file in files(Path::new(&started.path(""))) {
        if file.extension().is_none_or(|it| it != "yaml") {
            continue;
        }
        let text = std::fs::read_to_string(&file).unwrap();
        let named = text.lines().next().and_then(|it| it.split_once("$schema="));
        let schema = file.parent().unwrap().join(named.unwrap().1);
        let schema = std::fs::read_to_string(&schema).unwrap();
        let schema: serde_json::Value = serde_json::from_str(&schema).unwrap();
        let value: serde_json::Value = serde_yaml::from_str(&text).unwrap();
        let wrong: Vec<String> = jsonschema::validator_for(&schema)
            .unwrap()
            .iter_errors(&value)
            .map(|it| it.to_string())
            .collect();
        assert_eq!(wrong, Vec::<String>::new(), "{}", file.display());
        n += 1;
    }
    assert!(n >= 13, "only {n} files");
}

#[test]
fn a_title_is_any_text_and_an_id_is_not() {
    let started = Started::new(&[
        "--id",
        "implant-removal",
        "--title",
        "May \"it\": be #done\there?",
    ]);
    let (status, all) = started.run(&["rules", "check", "--as-of", "2026-11-30"]);
    assert_eq!(status, Some(0), "{all}");
    for id in [
        "Implant",
        "implant removal",
        "x: y",
        "-x",
        "x-",
        "",
        "a\nb: c",
        "é",
    ] {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("set");
        let output = run(&["rules", "start", &place.display().to_string(), "--id", id]);
        assert_eq!(output.status.code(), Some(2), "{id}");
        assert!(!place.exists(), "{id}");
    }
}

#[test]
fn a_folder_that_holds_anything_is_left_as_it_is() {
    let started = Started::new(&["--id", "implant-removal"]);
    started.edit("rules/limits.yaml", "value: 1", "value: 0.9");
    let output = run(&["rules", "start", &started.path(""), "--id", "other"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output.stderr).contains("is not empty and was left as it is"));
    started.edit("rules/limits.yaml", "value: 0.9", "value: 1");
    started.clean();
}

/// A morning with a procedure of which no file here knows: a danger, from the question to a referral that it stops, without a
/// line of Rust.
#[test]
fn a_danger_is_added_by_the_commands() {
    let started = Started::new(&["--id", "implant-removal"]);
    let concern = "concern: site\nrules: []\n";
    std::fs::write(started.path("rules/concerns/site.yaml"), concern).unwrap();
    for (file, from, to) in [
        (
            "rules/ruleset.yaml",
            "concerns:\n",
            "concerns:\n  - { id: site, title: The implant }\n",
        ),
        (
            "rules/questions.yaml",
            "      - id: anaesthetic\n",
            "      - { id: implant_felt, ask: Can the implant be felt under the skin?, answer: yes-no, from: referrer }\n      - id: anaesthetic\n",
        ),
        (
            "rules/cases/people.yaml",
            "adrenaline: no",
            "adrenaline: no\n        implant_felt: yes",
        ),
        (
            "referrals/P-1.yaml",
            "  plan:\n",
            "  plan:\n    implant_felt: no\n",
        ),
    ] {
        started.edit(file, from, to);
    }
    let drafted = [
        "rules",
        "new",
        "site/implant-not-felt",
        "--fact",
        "plan.implant_felt",
        "--value",
        "no",
    ];
    let more = ["--outcome", "refer", "--as-of", "2026-11-30", "--write"];
    let (status, all) = started.run(&[&drafted[..], &more].concat());
    assert_eq!(status, Some(0), "{all}");
    let cases =
        std::fs::read_to_string(started.path("rules/cases/site-implant-not-felt.yaml")).unwrap();
    assert!(
        cases.starts_with("# yaml-language-server: $schema=../../.schemas/cases.schema.json\n"),
        "{cases}"
    );
    let (status, all) = started.run(&["rules", "check", "--as-of", "2026-11-30"]);
    assert_eq!(status, Some(1), "a draft is told: {all}");
    for (text, written) in [
        ("the hazard in a few words", "The implant cannot be felt"),
        (
            "what is so",
            "The implant cannot be felt, so nobody knows how deep it lies.",
        ),
        (
            "what to do",
            "Send the patient where it can be seen by ultrasound.",
        ),
        ("to whom", "a centre that removes deep implants"),
        (
            "what it rests on; better, a source of sources.yaml",
            "the clinic has no ultrasound",
        ),
    ] {
        started.edit(
            "rules/concerns/site.yaml",
            &format!("To be written: {text}"),
            written,
        );
    }
    started.edit(
        "rules/guarantees.yaml",
        "guarantees:\n",
        "guarantees:\n  - id: nobody-digs\n    title: Nobody goes ahead with an implant that is not, or may not be, felt\n    where:\n      - may_hold: { fact: plan.implant_felt, is: no }\n    never: go\n    because: Whoever searches for it cuts nerves.\n\n",
    );
    started.clean();
    let (status, all) = started.screened("referrals/P-1.yaml");
    assert_eq!(status, Some(20), "{all}");
    assert!(
        all.contains("REFER, routine  P-1") && all.contains("a centre that removes deep implants"),
        "{all}"
    );
}
