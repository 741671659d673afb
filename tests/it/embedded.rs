//! The rule set that is embedded: what the build script took down is what the files say.

use preblock::load::text::{read, read_tape};
use preblock::load::{Care, RuleFiles, files, rule_set};
use preblock::source::{Kind, Node, Source};

/// A tree without its places; numbers as written, since limits are shown so.
fn bare(node: &Node, source: &Source) -> String {
    match &node.kind {
        Kind::Null => "null".into(),
        Kind::Bool(it) => format!("bool {it}"),
        Kind::Number(number) => format!("number {number} written {}", node.written(source).unwrap_or_default()),
        Kind::Text(text) => format!("text {text:?}"),
        Kind::List(items) => format!("[{}]", items.iter().map(|it| bare(it, source)).collect::<Vec<_>>().join(", ")),
        Kind::Map(entries) => {
            let entries: Vec<String> = entries.iter().map(|it| format!("{:?}: {}", it.key, bare(&it.value, source))).collect();
            format!("{{{}}}", entries.join(", "))
        }
    }
}

#[test]
fn each_tape_gives_the_tree_that_two_readers_agree_on() {
    let mut n_files = 0;
    for (path, bytes) in RuleFiles::embedded().files.iter().filter(|(path, _)| !path.starts_with("cases/")) {
        let read = read(path, bytes, files::LARGEST_RULE_FILE);
        assert!(read.diagnostics.is_empty(), "{path}: {:?}", read.diagnostics);
        let tape = files::tape(path, bytes).unwrap_or_else(|| unreachable!("{path} has a tape"));
        let taped = read_tape(path, tape);
        let trees = [(read.root, read.source), (taped.root, taped.source)];
        let bare = trees.map(|(root, source)| root.zip(source).map(|(root, source)| bare(&root, &source)));
        assert!(bare[0].is_some() && bare[0] == bare[1], "{path} reads differently from its tape");
        n_files += 1;
    }
    let further = rule_set::FURTHER_FILES.iter().filter(|it| RuleFiles::embedded().files.contains_key(**it)).count();
    assert_eq!(n_files, 7 + further + crate::support::embedded().concerns.len(), "seven files, further ones, and one for each concern");
}

#[test]
fn a_changed_file_is_never_read_from_the_tape() {
    let mut files = RuleFiles::embedded();
    assert_eq!(files.care, Care::Embedded);
    let limits =
        files.files.get("limits.yaml").map(|it| String::from_utf8_lossy(it).replace("value: 4.0", "value: 3.0")).unwrap_or_default();
    files.files.insert("limits.yaml".into(), limits.into_bytes());
    let rules = rule_set(&files).unwrap_or_else(|found| unreachable!("{found:?}"));
    assert_eq!(rules.limit("inr-ceiling").map(|it| it.written.as_str()), Some("3.0"));
    files.files.insert("limits.yaml".into(), b"limits: [{ id: Inr-Ceiling }]".to_vec());
    assert!(rule_set(&files).is_err(), "a changed file is judged by its schema");
}

#[test]
fn the_embedded_rule_set_stands_up_to_full_care() {
    let mut files = RuleFiles::embedded();
    let quick = rule_set(&files).unwrap_or_else(|found| unreachable!("{found:?}"));
    files.care = Care::Full;
    let full = rule_set(&files).unwrap_or_else(|found| unreachable!("{found:?}"));
    assert_eq!(format!("{:?}", quick.rules), format!("{:?}", full.rules));
    assert_eq!(quick.digest, full.digest);
}
