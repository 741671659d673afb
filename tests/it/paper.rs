//! The paper on a proposal: what is in it, where the answer is known by hand.
#![expect(
    clippy::unwrap_used,
    reason = "a fault of the test's own folders fails it, as it should"
)]

use std::path::Path;

use preblock::inner::rule_set::files::RuleFiles;

use crate::folders::folder;
use crate::support::{run, said};

const OLD: &[(&str, &str, &str)] = &[
    ("smokes", "defer", "{ fact: a.smokes, is: yes }"),
    (
        "inr",
        "defer",
        "{ fact: a.inr, at_least: { limit: ceiling } }",
    ),
    ("pulse", "refer", "{ fact: a.pulse, is: absent }"),
];
const NEW: &[(&str, &str, &str)] = &[
    ("smokes", "go", "{ fact: a.smokes, is: yes }"),
    (
        "inr",
        "defer",
        "{ fact: a.inr, at_least: { limit: ceiling } }",
    ),
    ("cold", "defer", "{ fact: a.signs, includes: cold }"),
];

fn edit(folder: &Path, file: &str, from: &str, to: &str) {
    let path = folder.join(file);
    let text = std::fs::read_to_string(&path).unwrap();
    assert!(text.contains(from), "{file} has no {from}");
    std::fs::write(path, text.replacen(from, to, 1)).unwrap();
}

/// A proposal that does a bit of everything; the two folders.
pub fn proposed() -> [tempfile::TempDir; 2] {
    let (old, new) = (folder(OLD, &[]), folder(NEW, &[]));
    for folder in [&old, &new] {
        std::fs::write(
            folder.path().join("cases/test.yaml"),
            "cases:\n  - { case: nobody, like: somebody, expect: { verdict: defer } }\n",
        )
        .unwrap();
    }
    let new_folder = new.path();
    edit(
        new_folder,
        "ruleset.yaml",
        "edition: \"1\"",
        "edition: \"2\"",
    );
    edit(
        new_folder,
        "ruleset.yaml",
        "retired: [",
        "retired: [{ rule: test/pulse, on: 2026-11-30, because: \"feeling it told | nothing <b>new</b>\" }, ",
    );
    edit(new_folder, "limits.yaml", "value: 4.0", "value: 3.5");
    edit(
        new_folder,
        "concerns/test.yaml",
        "citations: [{ source: book }]",
        "citations: [{ local_proposal: nobody measured it }]",
    );
    std::fs::write(
        new_folder.join("CHANGELOG.md"),
        "# Log\n\n## 2 (draft)\n\nThe committee asked for it.\n\n## 1\n\nThe first.\n",
    )
    .unwrap();
    [old, new]
}

fn paper(folders: &[tempfile::TempDir; 2], format: &str) -> (Option<i32>, String) {
    let [old, new] = folders.each_ref().map(|it| it.path().display().to_string());
    let output = run(&[
        "rules",
        "compare",
        &old,
        &new,
        "--as-of",
        "2026-12-01",
        "--format",
        format,
    ]);
    (output.status.code(), said(&output.stdout))
}

#[test]
fn a_proposal_as_a_paper() {
    let folders = proposed();
    let (status, text) = paper(&folders, "paper-markdown");
    assert_eq!(status, Some(1), "a rule goes that deferred: {text}");
    let digest = RuleFiles::folder(folders[1].path()).map(|it| it.digest());
    assert!(
        text.contains(&digest.unwrap()),
        "what is signed is the proposed one: {text}"
    );
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("../snapshots");
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!("paper", text));
}

/// The page has every line of the Markdown, runs nothing, and loads nothing.
#[test]
fn a_proposal_as_a_page() {
    let folders = proposed();
    let (_, page) = paper(&folders, "paper");
    assert!(page.starts_with("<!DOCTYPE html>") && page.ends_with("</html>\n"));
    for wanted in [
        "Proposal: tiny 2 in place of 1",
        "The committee asked for it.",
        "feeling it told | nothing &lt;b&gt;new&lt;/b&gt;",
        "Who signs",
    ] {
        assert!(page.contains(wanted), "{wanted}: {page}");
    }
    for never in ["<script", "<link", "src=", "url(", "@import", "http:"] {
        assert!(!page.contains(never), "{never}");
    }
}

/// Two that are the same have nothing to sign for but what stands there.
#[test]
fn nothing_changed_is_said() {
    let [old, _] = proposed();
    let path = old.path().display().to_string();
    let output = run(&[
        "rules",
        "compare",
        &path,
        &path,
        "--as-of",
        "2026-12-01",
        "--format",
        "paper-markdown",
    ]);
    let text = said(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{text}");
    for wanted in [
        "Nobody gets a less cautious verdict",
        "No rule is written otherwise.",
        "Nothing that is changed cites anything.",
    ] {
        assert!(text.contains(wanted), "{wanted}: {text}");
    }
}
