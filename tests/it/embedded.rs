//! The rule set that is embedded: what the build script took down is what the files say.

use preblock::inner::document::source::{Node, NodeKind, Source};
use preblock::inner::document::text::read_tape;
use preblock::inner::rule_set::files;
use preblock::inner::rule_set::files::{Care, RuleFiles};
use preblock::inner::rule_set::read::rule_set;

use crate::support::text_of;

/// A tree without its places; numbers as written, since limits are shown so.
fn bare(node: &Node, source: &Source) -> String {
    match &node.kind {
        NodeKind::Null => "null".into(),
        NodeKind::Bool(it) => format!("bool {it}"),
        NodeKind::Number(number) => format!(
            "number {number} written {}",
            node.written(source).unwrap_or_default()
        ),
        NodeKind::Text(text) => format!("text {text:?}"),
        NodeKind::List(items) => format!(
            "[{}]",
            items
                .iter()
                .map(|it| bare(it, source))
                .collect::<Vec<_>>()
                .join(", ")
        ),
        NodeKind::Map(entries) => {
            let entries: Vec<String> = entries
                .iter()
                .map(|it| format!("{:?}: {}", it.key, bare(&it.value, source)))
                .collect();
            format!("{{{}}}", entries.join(", "))
        }
    }
}

#[test]
fn each_tape_gives_the_tree_that_two_readers_agree_on() {
    let mut n_files = 0;
    for (path, file) in RuleFiles::embedded()
        .iter()
        .filter(|(path, _)| !path.starts_with("cases/"))
    {
        let read = file.read();
        assert!(
            read.diagnostics.is_empty(),
            "{path}: {:?}",
            read.diagnostics
        );
        let tape =
            files::tape(path, file.bytes()).unwrap_or_else(|| unreachable!("{path} has a tape"));
        let taped = read_tape(path, tape);
        let trees = [read, &taped].map(|it| (it.root.as_ref(), it.source.as_ref()));
        let bare =
            trees.map(|(root, source)| root.zip(source).map(|(root, source)| bare(root, source)));
        assert!(
            bare[0].is_some() && bare[0] == bare[1],
            "{path} reads differently from its tape"
        );
        n_files += 1;
    }
    let further = preblock::inner::rule_set::read::FURTHER_FILES
        .iter()
        .filter(|it| RuleFiles::embedded().file(it).is_some())
        .count();
    let rules = crate::support::embedded();
    assert_eq!(
        n_files,
        7 + further + rules.concerns.len() + rules.letters.len(),
        "seven files, further ones, and one for each concern and letter"
    );
}

#[test]
fn a_changed_file_is_never_read_from_the_tape() {
    let mut files = RuleFiles::embedded();
    assert_eq!(files.care(), Care::Embedded);
    let limits = text_of(&files, "limits.yaml").replace("value: 4.0", "value: 3.0");
    files.set("limits.yaml", limits);
    let rules = rule_set(&files).unwrap_or_else(|found| unreachable!("{found:?}"));
    assert_eq!(
        rules.limit("inr-ceiling").map(|it| it.written.as_str()),
        Some("3.0")
    );
    files.set("limits.yaml", b"limits: [{ id: Inr-Ceiling }]");
    assert!(
        rule_set(&files).is_err(),
        "a changed file is judged by its schema"
    );
}

#[test]
fn the_embedded_rule_set_stands_up_to_full_care() {
    let files = RuleFiles::embedded();
    let quick = rule_set(&files).unwrap_or_else(|found| unreachable!("{found:?}"));
    let full =
        rule_set(&files.with_care(Care::Full)).unwrap_or_else(|found| unreachable!("{found:?}"));
    assert_eq!(
        format!("{:?}", quick.judging),
        format!("{:?}", full.judging)
    );
    assert_eq!(quick.digest, full.digest);
}

/// The build script computed the digest of these files, and a program that starts takes it as it is.
#[test]
fn the_digest_that_was_built_in_is_that_of_the_files() {
    let embedded = RuleFiles::embedded();
    let mut copied = RuleFiles::new("copy");
    for (path, file) in embedded.iter() {
        copied.set(path, file.bytes());
    }
    assert_eq!(embedded.digest(), copied.digest());
    let mut changed = RuleFiles::embedded();
    changed.set("limits.yaml", "limits: []\n");
    assert_ne!(changed.digest(), embedded.digest());
    let mut fewer = RuleFiles::embedded();
    assert!(fewer.remove("limits.yaml"));
    assert_ne!(fewer.digest(), embedded.digest());
}
