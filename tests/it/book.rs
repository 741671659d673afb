//! The book: everything of a rule set is in it, it loads nothing, and no text from a file becomes markup.
#![expect(
    clippy::expect_used,
    reason = "a program that cannot be started fails the test"
)]

use std::collections::BTreeSet;

use preblock::inner::report::book::{Book, html, markdown};
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::rule_set::{Checked, RuleSet};
use rstest::rstest;
use serde_json::{Value, json};

use crate::outside;
use crate::papers::Copy;
use crate::support::{embedded, files, run, said, text_of, tiny};

fn book(rules: &RuleSet, change_log: Option<&str>) -> String {
    markdown(&Book {
        rule_set: rules,
        states: &rules.judging.iter().map(|_| [1, 2, 3]).collect(),
        change_log,
        figures: &[],
    })
}

/// The anchors of a book that are its rules, questions, and so on.
fn anchors(markdown: &str) -> BTreeSet<&str> {
    markdown
        .split("<a id=\"")
        .skip(1)
        .filter_map(|it| it.split('"').next())
        .collect()
}

#[test]
fn everything_of_the_rule_set_is_in_the_book() {
    let output = run(&["rules", "book"]);
    assert!(
        output.status.success() && output.stderr.is_empty(),
        "{}",
        said(&output.stderr)
    );
    let book = said(&output.stdout);
    assert_eq!(
        output.stdout,
        run(&["rules", "book"]).stdout,
        "the same rule set gives the same book"
    );
    let anchors = anchors(&book);
    let rules = embedded();
    let catalogue = &rules.catalogue;
    let mut wanted: Vec<String> = rules.concerns.iter().map(|it| it.id.clone()).collect();
    wanted.extend(rules.rules().map(|it| it.id.clone()));
    wanted.extend(catalogue.questions.iter().map(|it| it.id.clone()));
    wanted.extend(catalogue.derived.iter().map(|it| it.id.clone()));
    wanted.extend(rules.limits.iter().map(|it| format!("limits/{}", it.id)));
    wanted.extend(
        rules
            .publications
            .iter()
            .map(|it| format!("sources/{}", it.id)),
    );
    wanted.extend(
        rules
            .agents
            .iter()
            .map(|it| format!("anaesthetics/{}", it.id)),
    );
    wanted.extend(
        rules
            .reductions
            .iter()
            .map(|it| format!("anaesthetics/{}", it.id)),
    );
    for it in wanted {
        assert!(anchors.contains(it.as_str()), "{it} is not in the book");
    }
    assert!(
        book.contains(preblock::inner::report::SAFETY)
            && book.contains(&rules.digest)
            && book.contains("draft, not approved for use")
    );
    let log = include_str!("../../rules/CHANGELOG.md")
        .split("\n## ")
        .nth(1)
        .expect("a section");
    let first = log
        .lines()
        .nth(2)
        .and_then(|it| it.split('.').next())
        .expect("its first sentence");
    assert!(
        first.len() > 20 && book.contains(first),
        "what changed is said: {first}"
    );
    let open = rules
        .publications
        .iter()
        .filter(|it| it.checked == Checked::FromMemory)
        .count();
    assert!(book.contains(&format!("{open} sources are cited from memory")));
    assert!(!rules.guarantees.is_empty());
    for it in &rules.guarantees {
        assert!(
            anchors.contains(format!("guarantees/{}", it.id).as_str()),
            "{}",
            it.id
        );
    }
    for it in &rules.retired {
        assert!(
            book.contains(&format!("- `{}`, on ", it.rule)),
            "{}",
            it.rule
        );
    }
    // Each rule has its worked cases counted as `rules test` counts them.
    let coverage = said(&run(&["rules", "test", "--coverage"]).stdout);
    let lines: Vec<&str> = coverage.lines().collect();
    for rule in rules.rules() {
        let at = lines
            .iter()
            .position(|it| *it == rule.id)
            .expect("the rule is covered");
        let counts: Vec<&str> = lines[at + 1]
            .split(|it: char| !it.is_ascii_digit())
            .filter(|it| !it.is_empty())
            .collect();
        let [fires, quiet, open] = counts[..] else {
            unreachable!("{}", lines[at + 1])
        };
        let entry = book
            .split(&format!("### <a id=\"{}\">", rule.id))
            .nth(1)
            .and_then(|it| it.split("\n### ").next())
            .unwrap_or_default();
        let told = format!(
            "Worked cases: fires in {fires}, stays quiet in {quiet}, undetermined in {open}."
        );
        assert!(
            entry.contains(&told),
            "{}: {told} is not in {entry}",
            rule.id
        );
    }
}

#[test]
fn the_page_is_whole_to_a_reader_not_ours() {
    let output = run(&["rules", "book", "--format", "html"]);
    let page = said(&output.stdout);
    for word in [
        "<script",
        "javascript:",
        "@import",
        "url(",
        "<link",
        "<img",
        "<iframe",
        "<object",
        "<form",
    ] {
        assert!(!page.to_lowercase().contains(word), "{word}");
    }
    let found = outside::read("html", &output.stdout);
    for what in ["errors", "ids_twice", "links_nowhere", "loads"] {
        assert_eq!(found[what], json!([]), "{what}");
    }
    let rules = embedded();
    let links: BTreeSet<&str> = rules
        .publications
        .iter()
        .filter_map(|it| it.link.as_deref())
        .collect();
    let outside: BTreeSet<&str> = found["links_outside"]
        .as_array()
        .expect("links")
        .iter()
        .filter_map(Value::as_str)
        .collect();
    assert_eq!(outside, links, "the sources' own pages, and nothing else");
    let elements: BTreeSet<&str> = found["elements"]
        .as_array()
        .expect("elements")
        .iter()
        .filter_map(Value::as_str)
        .collect();
    let known = "html head meta title style body main section article h1 h2 h3 p a strong em code ul li table thead tbody tr th td";
    assert_eq!(elements, known.split(' ').collect());
    let read = found["text"].as_str().expect("text");
    for rule in rules.rules() {
        assert!(read.contains(rule.title.as_str()), "{}", rule.id);
    }
    for question in &rules.catalogue.questions {
        assert!(read.contains(question.ask.as_str()), "{}", question.id);
    }
}

/// One concern as the committee reads it.
#[test]
fn a_concern_in_words() {
    let mut files = files(&[
        (
            "one",
            "defer",
            "{ all: [{ taking: [old-thinner, aspirin] }, { fact: a.inr, at_least: { limit: ceiling } }, { not: { any: [{ fact: a.signs, includes: ulcer }, { fact: a.inr, older_than: { limit: fresh } }] } }] }",
        ),
        (
            "two",
            "refer",
            "{ any: [{ allergic_to: amide, reaction: [anaphylaxis, rash] }, { fact: derived.age, below: 10 years }, { not: { fact: a.pulse, is: felt } }] }",
        ),
    ]);
    let concern = text_of(&files, "concerns/test.yaml").replacen(
        "reason: So it is.",
        "reason: The INR of {a.inr} is {a.inr.age} old ({a.inr.taken_on}) and not below {limit.ceiling}; taken are {medicines}, age {derived.age}.",
        1,
    );
    let concern = concern.replacen(
        "citations: [{ source: book }]",
        "citations: [{ source: book, at: \"page 3\" }, { common_practice: everybody does }, { local_proposal: our own }]",
        1,
    );
    files.set("concerns/test.yaml", concern);
    let rules = rule_set(&files).unwrap_or_else(|found| unreachable!("{found:?}"));
    let book = book(&rules, None);
    let start = book.find("## <a id=\"test\">").expect("the concern");
    let end = book
        .find("\n## <a id=\"part:local\">")
        .expect("the next part");
    insta::with_settings!({ snapshot_path => "../snapshots", prepend_module_to_snapshot => false, omit_expression => true }, {
        insta::assert_snapshot!("book-concern", &book[start..end]);
    });
}

/// Whatever a file holds, a reader sees it as it stands, and it is no markup.
#[test]
fn no_text_of_a_file_becomes_markup_to_a_reader_not_ours() {
    let bad = "<script>alert(1)</script> [x](https://bad.example) ![x](https://bad.example/y) <b>*bold*</b> & | ` # </main>";
    let rules = tiny(&[("one", "defer", "{ fact: a.smokes, is: yes }")]);
    let rules = {
        let mut rules = rules;
        let text = bad.to_owned();
        rules.title.clone_from(&text);
        rules.owner.clone_from(&text);
        rules
            .concerns
            .iter_mut()
            .for_each(|it| it.title.clone_from(&text));
        rules.judging.iter_mut().for_each(|it| {
            it.title.clone_from(&text);
            it.reason.pieces = vec![preblock::inner::rule_set::Piece::Words(text.clone())];
        });
        rules.limits.iter_mut().for_each(|it| {
            it.about.clone_from(&text);
            it.other_figures = Some(text.clone());
        });
        rules.publications.iter_mut().for_each(|it| {
            it.by.clone_from(&text);
            it.title.clone_from(&text);
            it.link = Some(format!("https://good.example/>{bad}"));
            it.note = Some(text.clone());
        });
        rules.catalogue.questions.iter_mut().for_each(|it| {
            it.ask.clone_from(&text);
            it.help = Some(text.clone());
        });
        rules
    };
    let log = format!(
        "# Log\n\n## 1 (draft)\n\n{bad}\n\n- one\n  - two {bad}\n\n| a | b |\n|---|---|\n| {} | 2 |\n\n<div onclick=x>\n\n## 0\n\nolder\n",
        "x `code`"
    );
    let markdown = book(&rules, Some(&log));
    let found = outside::read(
        "html",
        html::page(bad, &markdown, html::Printed::Book).as_bytes(),
    );
    for what in [
        "errors",
        "ids_twice",
        "links_nowhere",
        "loads",
        "links_outside",
    ] {
        assert_eq!(found[what], json!([]), "{what}");
    }
    let elements: Vec<&str> = found["elements"]
        .as_array()
        .expect("elements")
        .iter()
        .filter_map(Value::as_str)
        .collect();
    for it in ["script", "b", "img", "div"] {
        assert!(!elements.contains(&it), "{it}");
    }
    let read = found["text"].as_str().expect("text");
    assert!(
        read.matches(bad).count() > 40,
        "{}",
        read.matches(bad).count()
    );
    assert!(read.contains("<div onclick=x>") && !read.contains("older"));
}

#[rstest]
#[case::none(None, "keeps no log of its changes")]
#[case::other(
    Some("# Log\n\n## 7\n\nsomething\n"),
    "begins with another edition than 1."
)]
#[case::first(Some("## 1, draft\nAll of it.\n"), "All of it.")]
#[case::empty(Some("## 1\n## 0\nolder\n"), "What changed in this edition\n")]
fn what_changed_comes_from_the_log(#[case] log: Option<&str>, #[case] expected: &str) {
    let book = book(&tiny(&[("one", "go", "{ fact: a.smokes, is: yes }")]), log);
    assert!(book.contains(expected) && !book.contains("older"), "{book}");
}

#[test]
fn a_file_is_written_whole_and_never_over_another_without_being_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("book.html");
    let shown = path.display().to_string();
    let copy = Copy::with_cases_of("site");
    let rules = copy.path();
    let arguments = [
        "rules", "book", "--rules", &rules, "--format", "html", "--out", &shown,
    ];
    let output = run(&arguments);
    assert!(
        output.status.success() && output.stdout.is_empty() && output.stderr.is_empty(),
        "{}",
        said(&output.stderr)
    );
    assert_eq!(
        std::fs::read(&path).expect("the book"),
        run(&arguments[..6]).stdout
    );
    std::fs::write(&path, "mine").expect("a file");
    let output = run(&arguments);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        said(&output.stderr).contains("is there already"),
        "{}",
        said(&output.stderr)
    );
    assert_eq!(std::fs::read(&path).expect("my file"), b"mine");
    assert!(
        run(&[&arguments[..], &["--force"]].concat())
            .status
            .success()
    );
    assert!(std::fs::read(&path).expect("the book").len() > 100_000);
    let nowhere = folder.path().join("nowhere/book.md").display().to_string();
    let output = run(&["rules", "book", "--rules", &rules, "--out", &nowhere]);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        said(&output.stderr).contains("cannot be written"),
        "{}",
        said(&output.stderr)
    );
    assert_eq!(
        std::fs::read_dir(folder.path())
            .expect("the folder")
            .count(),
        1,
        "nothing is left beside it"
    );
}

#[test]
fn a_rule_set_with_a_broken_case_gets_no_book() {
    let copy = Copy::with_cases_of("site");
    copy.change(
        "cases/site-all.yaml",
        "like: ",
        "like: nobody-of-that-name-",
    );
    let output = run(&["rules", "book", "--rules", &copy.path()]);
    assert_eq!(output.status.code(), Some(1));
    assert!(
        output.stdout.is_empty() && said(&output.stderr).contains("rules/unknown-person"),
        "{}",
        said(&output.stderr)
    );
}
