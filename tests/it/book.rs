//! The book: everything of a rule set is in it, it loads nothing, and no text from a file becomes markup.
#![expect(
    clippy::expect_used,
    reason = "a program that cannot be started fails the test"
)]

use std::collections::{BTreeMap, BTreeSet};

use preblock::inner::report::book::{Book, html, markdown};
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::rule_set::{Checked, RuleSet};
use rstest::rstest;
use serde_json::{Value, json};

use crate::outside;
use crate::paper::proposed;
use crate::papers::Copy;
use crate::support::{embedded, files, run, said, text_of, tiny};

fn book(rules: &RuleSet, change_log: Option<&str>) -> String {
    markdown(&Book {
        rule_set: rules,
        states: &rules.judging.iter().map(|_| [1, 2, 3]).collect(),
        change_log,
        figures: &[],
        extent: None,
        since: None,
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

/// Runs `rules book` with these arguments; what it printed.
fn printed(arguments: &[&str]) -> String {
    let output = run(&[&["rules", "book"], arguments].concat());
    assert!(output.status.success(), "{}", said(&output.stderr));
    said(&output.stdout)
}

/// The entries of a book, by their anchors, and its parts without their numbers.
fn entries(book: &str) -> BTreeMap<&str, &str> {
    let entries = book.split("\n### <a id=\"").skip(1);
    entries
        .filter_map(|it| it.split("\n## ").next()?.split_once('"'))
        .collect()
}

/// A part has its rules as the whole has them, word for word, with every link: so each question, limit, class and source that
/// they name is there, too, since a link that led nowhere would be gone.
#[test]
fn a_part_holds_its_rules_and_what_they_need() {
    let whole = printed(&[]);
    let rules = embedded();
    for only in [&["diabetes"][..], &["anaesthetic", "site"]] {
        let arguments: Vec<&str> = only.iter().flat_map(|it| ["--only", it]).collect();
        let part = printed(&arguments);
        let (of_whole, of_part) = (entries(&whole), entries(&part));
        let mut n_rules = 0;
        for rule in rules.rules() {
            let concern = rule.id.split('/').next().expect("a concern");
            let here = of_part.get(rule.id.as_str());
            assert_eq!(here.is_some(), only.contains(&concern), "{}", rule.id);
            if here.is_some() {
                assert_eq!(here, of_whole.get(rule.id.as_str()));
                n_rules += 1;
            }
        }
        let told = format!("It has {n_rules} of {} rules", rules.rules().count());
        assert!(
            part.contains(&told) && part.contains(&rules.digest),
            "{told}"
        );
        // A question is asked because of others, which are there, and so are its options.
        for question in &rules.catalogue.questions {
            if let Some(here) = of_part.get(question.id.as_str()) {
                let asked = |it: &str| it.split("\nLooked at by").next().map(str::to_owned);
                assert_eq!(asked(here), asked(of_whole[question.id.as_str()]));
            }
        }
        assert!(
            of_part.len() < of_whole.len() / 4,
            "{} entries",
            of_part.len()
        );
    }
}

/// What is about one concern of several: guarantees, letters, classes, anaesthetics, retired rules.
#[test]
fn a_part_leaves_out_what_is_about_others() {
    let diabetes = printed(&["--only", "diabetes"]);
    let anaesthetic = printed(&["--only", "anaesthetic"]);
    let rules = embedded();
    for it in &rules.guarantees {
        let concern = it.concern.map(|at| rules.concerns[at].id.as_str());
        let anchor = format!("guarantees/{}", it.id);
        if concern == Some("diabetes") {
            assert!(anchors(&diabetes).contains(anchor.as_str()), "{anchor}");
        } else if concern.is_some() && !it.id.contains("diabet") {
            assert!(!anchors(&diabetes).contains(anchor.as_str()), "{anchor}");
        }
    }
    let agents = rules
        .agents
        .iter()
        .map(|it| format!("anaesthetics/{}", it.id));
    for it in agents {
        assert!(anchors(&anaesthetic).contains(it.as_str()), "{it}");
        assert!(!anchors(&diabetes).contains(it.as_str()), "{it}");
    }
    assert!(
        !diabetes.contains("Local anaesthetics"),
        "a part with nothing in it is left out"
    );
    // A rule on diabetes looks at how the nail's root is destroyed, and so do the letters before and after; the list of medicines
    // is looked at, too, but that alone puts no letter into it.
    let letters = |book: &str| {
        anchors(book)
            .iter()
            .filter(|it| it.starts_with("letters/"))
            .count()
    };
    assert_eq!(
        (letters(&diabetes), letters(&printed(&["--only", "site"]))),
        (2, 0)
    );
}

/// The contents name every part in order, by the number and the title that its heading has.
#[rstest]
#[case(&[])]
#[case(&["--only", "site"])]
fn the_contents_are_the_headings(#[case] arguments: &[&str]) {
    let book = printed(arguments);
    let headings: Vec<String> = book
        .split("\n## <a id=\"")
        .skip(2)
        .filter_map(|it| it.lines().next()?.split_once("\"></a>"))
        .map(|(anchor, title)| format!("- [{}](#{anchor})", title.replacen(". ", "\\. ", 1)))
        .collect();
    let contents: Vec<&str> = book
        .split("Contents\n\n")
        .nth(1)
        .and_then(|it| it.split("\n\n").next())
        .expect("the contents")
        .lines()
        .collect();
    assert_eq!(contents, headings);
    assert!(
        headings.len() > 10 && headings[0].starts_with("- [1\\. "),
        "{headings:?}"
    );
}

#[rstest]
#[case("diabetis", "did you mean `diabetes`?")]
#[case("diabetes/", "did you mean `diabetes`?")]
#[case("bicycles", "there are contradictions, bleeding,")]
#[case("", "there are contradictions, bleeding,")]
fn a_concern_that_is_none_is_refused(#[case] wrong: &str, #[case] help: &str) {
    let output = run(&["rules", "book", "--only", "site", "--only", wrong]);
    let told = said(&output.stderr);
    assert_eq!(
        (output.status.code(), output.stdout.is_empty()),
        (Some(2), true)
    );
    assert!(
        told.contains(&format!("no concern `{wrong}`")) && told.contains(help),
        "{told}"
    );
}

/// Beside an earlier edition the first part is what changed, with the words of `rules compare`, and each rule is marked.
#[test]
fn a_book_says_first_what_changed() {
    let folders = proposed();
    let [old, new] = folders.each_ref().map(|it| it.path().display().to_string());
    let book = printed(&["--rules", &new, "--since", &old]);
    let start = book
        .find("## <a id=\"part:since\"></a>1. ")
        .expect("the first part");
    let end = book
        .find("\n## <a id=\"part:reading\"></a>2. ")
        .expect("the second");
    insta::with_settings!({ snapshot_path => "../snapshots", prepend_module_to_snapshot => false, omit_expression => true }, {
        insta::assert_snapshot!("book-since", &book[start..end]);
    });
    let rules = entries(&book);
    for (id, marked) in [
        ("smokes", Some("changed")),
        ("inr", None),
        ("cold", Some("new")),
    ] {
        let entry = rules[format!("test/{id}").as_str()];
        let mark = "since edition 1**: [what changed](#part:since)";
        assert_eq!(entry.contains(mark), marked.is_some(), "{entry}");
        let marked = marked.unwrap_or("no mark");
        assert_eq!(
            entry.contains(&format!("**{marked} {mark}")),
            marked != "no mark",
            "{entry}"
        );
    }
    assert!(!printed(&["--rules", &new]).contains("part:since"));
    // Beside itself it says that nothing changed.
    let same = printed(&["--rules", &new, "--since", &new]);
    assert!(
        same.contains("Rules: 0 new, 0 changed, 0 gone. Other things: 0."),
        "{same}"
    );
    let nowhere = run(&["rules", "book", "--since", "no-such-folder"]);
    assert_eq!(nowhere.status.code(), Some(2), "{}", said(&nowhere.stderr));
}

/// A part says what changed of it, and counts the rest. What somebody is allergic to is another matter than what is taken.
#[test]
fn a_part_says_what_changed_of_it() {
    let copy = Copy::with_cases_of("site");
    copy.change(
        "concerns/diabetes.yaml",
        "title: Charcot foot suspected",
        "title: Charcot foot",
    );
    copy.change("limits.yaml", "value: 69 mmol/mol", "value: 68 mmol/mol");
    copy.change("concerns/bleeding.yaml", "    title: ", "    title: Now ");
    copy.change(
        "medicines.yaml",
        "  - { name: gliclazide,",
        "  - { name: gliclazide-two,",
    );
    let rules = copy.path();
    let changes = |only: &str| {
        let book = printed(&["--rules", &rules, "--since", "embedded", "--only", only]);
        book.split("\n## ").nth(2).expect("what changed").to_owned()
    };
    let (diabetes, bleeding) = (changes("diabetes"), changes("bleeding"));
    for wanted in [
        "rule [Charcot foot](#diabetes/charcot-suspected) (`diabetes/charcot-suspected`): changed",
        "limit [hba1c-ceiling](#limits/hba1c-ceiling): changed",
        "medicine gliclazide: taken out",
        "medicine gliclazide-two: new",
        "3 further changes elsewhere",
    ] {
        assert!(diabetes.contains(wanted), "{wanted} is not in {diabetes}");
        assert!(!bleeding.contains(wanted), "{wanted} is in {bleeding}");
    }
    assert!(
        bleeding.contains("6 further changes elsewhere"),
        "{bleeding}"
    );
}
