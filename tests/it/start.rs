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

/// Where somebody stood in the way of a morning: what to write next is said, and not only what is wrong.
#[test]
fn the_next_step_is_told() {
    let started = Started::new(&["--id", "joint-injection"]);
    let new = |id: &str, fact: &str, value: &str| {
        started.run(&["rules", "new", id, "--fact", fact, "--value", value])
    };
    let (status, all) = new("joint/hot", "medicines.help_after", "no");
    assert_eq!(status, Some(2));
    assert!(
        all.contains("`concern: joint` and `rules: []`")
            && all.contains("one of `anaesthetic` or `bleeding`"),
        "{all}"
    );
    let (letter, clinic) = (
        started.path("referrals/P-2.yaml"),
        started.path("clinic.yaml"),
    );
    let of = |kind: &str| started.run(&["letter", kind, &letter, "--clinic", &clinic]);
    let (status, all) = of("questions-patient");
    assert_eq!(status, Some(0), "{all}");
    assert!(all.contains("Which medicines are taken"), "{all}");
    let (_, all) = of("onward");
    assert!(
        all.contains("letters/onward.yaml") && all.contains("preblock schema letters"),
        "{all}"
    );
    let weight = "answer: quantity, measure: mass, unit: kg,";
    let choice = format!("{weight} decision: true,");
    started.edit("rules/questions.yaml", weight, &choice);
    started.edit(
        "clinic.yaml",
        "offers:\n",
        "offers:\n  person: { weight: [70 kg] }\n",
    );
    let (status, all) = started.screened("referrals/P-1.yaml");
    assert_eq!(status, Some(2), "{all}");
    assert!(
        all.contains("only questions marked `decision: true`"),
        "{all}"
    );
    started.edit(
        "rules/ruleset.yaml",
        "concerns:\n",
        "concerns:\n  - { id: joint, title: Joint }\n",
    );
    let (_, all) = started.run(&["rules", "check"]);
    assert!(all.contains("at first with the lines"), "{all}");
    std::fs::write(started.path("rules/concerns/joint.yaml"), "").unwrap();
    let (_, all) = started.run(&["rules", "check"]);
    assert!(all.contains("`preblock schema` says what other"), "{all}");
}

/// A procedure without an anaesthetic, a medicine or a number: its registers are empty, and nothing asks for what it does not use.
#[test]
fn a_small_set_keeps_nothing_that_it_does_not_use() {
    let started = Started::new(&["--id", "abscess-drainage"]);
    let head = std::fs::read_to_string(started.path("rules/ruleset.yaml")).unwrap();
    let (before, rest) = head.split_once("concerns:\n").unwrap();
    let (_, after) = rest.split_once("# For these").unwrap();
    let head = format!("{before}concerns:\n  - {{ id: skin, title: Skin }}\n# For these{after}");
    for gone in [
        "concerns/anaesthetic",
        "concerns/bleeding",
        "cases/anaesthetic",
        "cases/bleeding",
    ] {
        std::fs::remove_file(started.path(&format!("rules/{gone}.yaml"))).unwrap();
    }
    let questions = "sections:
  - id: plan
    title: Plan
    questions:
      - { id: procedure_on, ask: On which day is the procedure planned?, answer: date, from: nurse }
      - { id: in_face, ask: Does the abscess lie in the face?, answer: yes-no, from: referrer }
";
    let people = "as_of: 2026-12-01
people:
  - { id: anybody, about: An abscess of the back, answers: { plan: { procedure_on: 2026-12-02, in_face: no } } }
";
    let rules = "concern: skin
rules:
  - id: in-the-face
    title: An abscess of the face
    kind: contraindication
    outcome: refer
    urgency: same-day
    when: { fact: plan.in_face, is: yes }
    reason: The abscess lies in the face.
    action: Send the patient on today.
    refer_to: the emergency department
    citations: [{ local_proposal: no abscess of the face is drained here }]
    in_force_from: 2026-11-30
    last_reviewed: 2026-11-30
    review_by: 2027-11-29
";
    let cases = "cases:
  - case: the face
    like: anybody
    rows:
      - { with: { plan.in_face: no }, verdict: go }
      - { with: { plan.in_face: yes }, verdict: refer, urgency: same-day, fires: [skin/in-the-face] }
      - { with: { plan.in_face: unknown }, verdict: defer, undetermined: [skin/in-the-face] }
";
    let guarantees = "guarantees:
  - id: nobody-drains-a-face
    title: An abscess of the face is referred on the same day
    where: [{ holds: { fact: plan.in_face, is: yes } }]
    urgency_at_least: same-day
    because: It may spread into the skull.
";
    for (file, text) in [
        ("ruleset.yaml", head.as_str()),
        ("questions.yaml", questions),
        ("cases/people.yaml", people),
        ("concerns/skin.yaml", "concern: skin\nrules: []\n"),
        ("guarantees.yaml", guarantees),
        ("limits.yaml", "limits: []\n"),
        ("sources.yaml", "sources: []\n"),
        (
            "anaesthetics.yaml",
            "volumes: [0.1 mL, 100 mL]\nagents: []\n",
        ),
    ] {
        std::fs::write(started.path(&format!("rules/{file}")), text).unwrap();
    }
    // `rules new` cannot begin where nothing is, and is not named as if it could.
    let (status, all) = started.run(&["rules", "check"]);
    assert_eq!(status, Some(1), "{all}");
    assert!(all.contains("no rule set is read without a rule"), "{all}");
    std::fs::write(started.path("rules/concerns/skin.yaml"), rules).unwrap();
    std::fs::write(started.path("rules/cases/skin.yaml"), cases).unwrap();
    started.clean();
    for command in [
        &["blank"][..],
        &["schema", "questionnaire"],
        &["rules", "book"],
        &["rules", "formulas"],
    ] {
        let (status, all) = started.run(command);
        assert_eq!(status, Some(0), "{command:?}: {all}");
    }
}
