//! A committee's morning: what examples/governance/README.md tells, run line by line in a folder of its own.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use preblock::inner::document::{shape, text};
use preblock::inner::rule_set::files::RuleFiles;
use serde_json::Value;
use tempfile::TempDir;

use crate::quoted::{Asked, anew, hold};
use crate::support::embedded_once;

const FOLDER: &str = "examples/governance";

/// The commands of the morning, in order: what each must end with, and must say.
const COMMANDS: [(&str, i32, &[&str]); 19] = [
    (
        "preblock rules check --rules proposal",
        0,
        &["no problems in", "to be written under `approval:`"],
    ),
    (
        "preblock rules test --rules proposal --only bleeding",
        1,
        &[" as expected, 8 not", "verdict: expected go, got defer"],
    ),
    (
        "preblock rules test --rules proposal",
        0,
        &[" as expected, 0 not", "the cases try every part of them"],
    ),
    (
        "preblock rules prove --rules proposal",
        0,
        &[" guarantees, over every possible questionnaire: "],
    ),
    (
        "preblock rules compare rules proposal",
        0,
        &[
            "Nobody gets a less cautious verdict.",
            "defer instead of go",
        ],
    ),
    (
        "preblock rules check --rules trial",
        1,
        &[
            "rules/unknown-limit",
            "did you mean `inr-ceiling`?",
            "refused: 1 problem",
        ],
    ),
    (
        "preblock rules check --rules trial",
        1,
        &["lint/band-gap", "1 problem, "],
    ),
    (
        "preblock rules test --rules trial",
        1,
        &["circulation/ankle-index-low: expected fires, got stays quiet"],
    ),
    (
        "preblock rules prove --rules trial",
        1,
        &["broken  ankle-index-low", "1 file written to broken"],
    ),
    (
        "preblock screen broken/ankle-index-low.yaml --rules proposal",
        10,
        &["DEFER  EXAMPLE-1", "could be refer"],
    ),
    (
        "preblock screen broken/ankle-index-low.yaml --rules trial",
        0,
        &["GO  EXAMPLE-1"],
    ),
    (
        "preblock rules compare proposal trial",
        1,
        &[
            "Somebody gets a less cautious verdict.",
            "LESS CAUTIOUS: go instead of refer",
        ],
    ),
    ("preblock rules compare proposal trial", 0, &["No effect"]),
    (
        "preblock rules prove --local trial.yaml",
        1,
        &["broken  inr-stale"],
    ),
    ("preblock rules due --local", 0, &["1 to come"]),
    ("preblock rules book --rules proposal", 0, &[]),
    (
        "preblock screen examples/governance/SM-131.yaml",
        10,
        &["DEFER  SM-131", "): approved"],
    ),
    (
        "preblock screen examples/governance/SM-131.yaml",
        10,
        &["DEFER  SM-131", "its content has\n  changed since"],
    ),
    (
        "preblock screen examples/governance/SM-131.yaml",
        2,
        &["rules/withdrawn", "A limit was changed after the approval."],
    ),
];

/// A command of the document that ran, and all that it printed.
struct Ran {
    command: String,
    status: i32,
    said: String,
}

fn top() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn read(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|error| unreachable!("{}: {error}", path.display()))
}

/// The committee's folder: the rules and the examples, and whatever the morning puts beside them.
struct Room {
    folder: TempDir,
    edits: Vec<Value>,
}

impl Room {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
        let written = read(&top().join(FOLDER).join("proposal.yaml"));
        let tree = text::read("proposal.yaml", written.as_bytes(), 1 << 20);
        assert!(tree.diagnostics.is_empty(), "{:?}", tree.diagnostics);
        let edits = tree
            .root
            .map(|it| shape::to_json(&it)["edits"].clone())
            .and_then(|it| it.as_array().cloned())
            .unwrap_or_default();
        let room = Self { folder, edits };
        let copied = room.run(&format!("cp -r {0}/rules {0}/examples .", top().display()));
        assert_eq!(copied.status, 0, "{}", copied.said);
        room
    }

    /// Runs a line as a shell does, standard output and standard error together.
    fn run(&self, line: &str) -> Ran {
        let program = Path::new(env!("CARGO_BIN_EXE_preblock"));
        let before = std::env::var("PATH").unwrap_or_default();
        let path = format!("{}:{before}", program.parent().unwrap_or(program).display());
        let mut command = Command::new("sh");
        command
            .args(["-c", &format!("{line} 2>&1")])
            .current_dir(self.folder.path())
            .env("PATH", path)
            .env("LC_ALL", "C.UTF-8")
            .env_remove("COLUMNS");
        for name in crate::support::OWN_ENVIRONMENT {
            command.env_remove(name);
        }
        let output = command
            .output()
            .unwrap_or_else(|error| unreachable!("{line}: {error}"));
        // How long something took differs from run to run.
        let said = String::from_utf8_lossy(&output.stdout);
        let said = said
            .lines()
            .filter(|it| !it.starts_with("tried in "))
            .map(|it| format!("{it}\n"))
            .collect();
        Ran {
            command: line.to_owned(),
            status: output.status.code().unwrap_or(-1),
            said,
        }
    }

    /// Makes the edits of a step, and shows them as a person would read them.
    fn edit(&self, step: &str) -> String {
        let of = |edit: &Value, key: &str| edit[key].as_str().unwrap_or_default().to_owned();
        let mut shown = String::new();
        let mut last = String::new();
        let mut n_edits = 0;
        for edit in self.edits.iter().filter(|it| it["step"] == step) {
            let (file, find, replace) = (of(edit, "file"), of(edit, "find"), of(edit, "replace"));
            let replace = replace.replace("{digest}", &format!("sha256:{}", self.digest()));
            assert!(!of(edit, "why").is_empty() && !find.is_empty(), "{edit}");
            let path = self.folder.path().join(&file);
            let before = read(&path);
            assert_eq!(
                before.matches(&find).count(),
                1,
                "{step}: `{find}` in {file}"
            );
            let at = before.find(&find).unwrap_or_default();
            let from = before[..at].rfind('\n').map_or(0, |it| it + 1);
            let to = before[at + find.len()..]
                .find('\n')
                .map_or(before.len(), |it| at + find.len() + it);
            let (old, new) = (&before[from..to], before[from..to].replace(&find, &replace));
            if file != last {
                shown.push_str(&format!("@@ {file} @@\n"));
            }
            shown.push_str(&difference(old, &new));
            assert!(fs::write(&path, before.replace(&find, &replace)).is_ok());
            last = file;
            n_edits += 1;
        }
        assert!(n_edits > 0, "proposal.yaml has no step {step}");
        shown
    }

    /// What `rules check` prints of the proposal.
    fn digest(&self) -> String {
        RuleFiles::folder(&self.folder.path().join("proposal"))
            .map(|it| it.digest())
            .unwrap_or_default()
    }
}

/// Old lines and new lines; those at both ends that are the same stand once.
fn difference(old: &str, new: &str) -> String {
    let (old, new): (Vec<&str>, Vec<&str>) = (old.lines().collect(), new.lines().collect());
    let same = |old: &mut dyn Iterator<Item = &&str>, new: &mut dyn Iterator<Item = &&str>| {
        old.zip(new).take_while(|(a, b)| a == b).count()
    };
    let head = same(&mut old.iter(), &mut new.iter());
    let tail = same(
        &mut old.iter().skip(head).rev(),
        &mut new.iter().skip(head).rev(),
    );
    let (old_end, new_end) = (old.len() - tail, new.len() - tail);
    let parts = [
        (' ', &old[..head]),
        ('-', &old[head..old_end]),
        ('+', &new[head..new_end]),
        (' ', &old[old_end..]),
    ];
    parts
        .iter()
        .flat_map(|(sign, lines)| lines.iter().map(move |it| format!("{sign}{it}\n")))
        .collect()
}

/// The parts of a document, each from its heading on.
fn sections(document: &str) -> Vec<String> {
    let mut found: Vec<String> = vec![String::new()];
    for line in document.lines() {
        if line.starts_with("## ") {
            found.push(String::new());
        }
        if let Some(last) = found.last_mut() {
            last.push_str(&format!("{line}\n"));
        }
    }
    found
}

/// One section made anew, and what ran in it. Of the sections before it, only what changes files is done.
fn section(before: &[String], own: &str) -> (String, Vec<Ran>, Room) {
    let room = Room::new();
    for earlier in before {
        anew(earlier, |asked| match asked {
            Asked::Edit(step) => room.edit(step),
            Asked::Command(it) if it.starts_with("preblock ") => String::new(),
            Asked::Command(it) => room.run(it).said,
        });
    }
    let mut ran = Vec::new();
    let fresh = anew(own, |asked| match asked {
        Asked::Edit(step) => room.edit(step),
        Asked::Command(it) => {
            let one = room.run(it);
            let said = one.said.clone();
            ran.push(one);
            said
        }
    });
    (fresh, ran, room)
}

/// The questionnaire that a text quotes first behind these words.
fn quoted_questionnaire(said: &str, behind: &str) -> String {
    let rest = said
        .split_once(behind)
        .map(|(_, rest)| rest)
        .unwrap_or_default();
    let lines = rest
        .lines()
        .skip_while(|it| !it.trim_start().starts_with("| "))
        .map_while(|it| it.trim_start().strip_prefix("| "));
    lines.map(|it| format!("{it}\n")).collect()
}

#[test]
fn the_readme_of_the_morning_is_what_happens() {
    let path = top().join(FOLDER).join("README.md");
    let document = read(&path);
    let parts = sections(&document);
    let done: Vec<(String, Vec<Ran>, Room)> = std::thread::scope(|scope| {
        let parts = &parts;
        let threads: Vec<_> = (0..parts.len())
            .map(|at| scope.spawn(move || section(&parts[..at], &parts[at])))
            .collect();
        threads
            .into_iter()
            .map(|it| {
                it.join()
                    .unwrap_or_else(|_| unreachable!("a section failed"))
            })
            .collect()
    });
    let fresh: String = done.iter().map(|(fresh, _, _)| fresh.as_str()).collect();
    hold(&path, &document, &fresh);
    assert!(
        document.lines().count() <= 340,
        "{} lines are no short morning",
        document.lines().count()
    );

    // Each command ends and says what it must, quoted or left out.
    let ran: Vec<(&Ran, &Room)> = done
        .iter()
        .flat_map(|(_, ran, room)| ran.iter().map(move |it| (it, room)))
        .collect();
    let ran: Vec<(&Ran, &Room)> = ran
        .into_iter()
        .filter(|(it, _)| it.command.starts_with("preblock "))
        .collect();
    assert_eq!(ran.len(), COMMANDS.len());
    for ((ran, _), (command, status, words)) in ran.iter().zip(COMMANDS) {
        assert!(
            ran.command.starts_with(command) && ran.status == status,
            "{}: {}\n{}",
            ran.command,
            ran.status,
            ran.said
        );
        for word in words {
            assert!(
                ran.said.contains(word),
                "{}: {word}\n{}",
                ran.command,
                ran.said
            );
        }
    }
    let of = |command: &str| {
        ran.iter()
            .filter(|(it, _)| it.command.starts_with(command))
            .copied()
            .collect::<Vec<_>>()
    };

    // What is left out of the quotations holds, too: nobody is less cautious, everything is proved.
    let (proved, _) = of("preblock rules prove --rules proposal")[0];
    let n_guarantees = embedded_once().0.guarantees.len();
    assert_eq!(
        proved
            .said
            .lines()
            .filter(|it| it.starts_with("proved  "))
            .count(),
        n_guarantees
    );
    let (milder, _) = of("preblock rules compare rules proposal")[0];
    assert!(
        !milder.said.contains("LESS CAUTIOUS")
            && milder
                .said
                .matches(" judged by both: 0 less cautious, ")
                .count()
                == 2
    );
    assert!(
        milder
            .said
            .contains("more cautious: examples/governance/SM-131.yaml"),
        "{}",
        milder.said
    );

    // What has a problem is not offered for approval, and problems come behind the notices.
    let (gap, _) = of("preblock rules check --rules trial")[1];
    assert!(
        !gap.said.contains("approval:")
            && gap.said.rfind("lint/source-never-opened") < gap.said.find("lint/band-gap"),
        "{}",
        gap.said
    );

    // The first example of the unsafe idea is judged as the comparison says.
    let (worse, room) = of("preblock rules compare proposal trial")[0];
    let possible = worse
        .said
        .split_once("Over every possible questionnaire")
        .map(|(_, it)| it)
        .unwrap_or_default();
    assert!(
        possible
            .trim_start()
            .starts_with("LESS CAUTIOUS: go instead of refer"),
        "{possible}"
    );
    let example = quoted_questionnaire(possible, "LESS CAUTIOUS");
    let (own, clinic) = example
        .split_once("with this as the clinic's file:\n")
        .unwrap_or_default();
    assert!(fs::write(room.folder.path().join("worse.yaml"), own).is_ok());
    assert!(fs::write(room.folder.path().join("worse.clinic.yaml"), clinic).is_ok());
    for (rules, status) in [("proposal", 20), ("trial", 0)] {
        let judged = room.run(&format!("preblock screen worse.yaml --clinic worse.clinic.yaml --rules {rules} --as-of 2026-12-01"));
        assert_eq!(judged.status, status, "{}", judged.said);
    }

    // The book is whole, is of the proposal, and asks for nothing from elsewhere.
    let (_, room) = of("preblock rules book")[0];
    let book = read(&room.folder.path().join("book.html"));
    assert!(
        book.starts_with("<!DOCTYPE html>")
            && book.trim_end().ends_with("</html>")
            && book.contains("edition 2026.2")
    );
    assert!(
        embedded_once()
            .0
            .rules()
            .all(|it| book.contains(&format!("id=\"{}\"", it.id))),
        "a rule is not in the book"
    );
    for foreign in [
        "<script", "<link", "<img", "<iframe", " src=", "@import", "url(",
    ] {
        assert!(!book.contains(foreign), "{foreign}");
    }
}
