//! Papers made of a rule set: what is due, as text and as a calendar, and the cases as JUnit XML.
#![expect(
    clippy::expect_used,
    reason = "a program that cannot be started fails the test"
)]

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use preblock::inner::quantity::span::Span;
use preblock::inner::quantity::when::day_after;
use preblock::inner::report::calendar::calendar;
use preblock::inner::report::due::{Agenda, text};
use preblock::inner::report::page::Style;
use preblock::inner::rule_set::files::RuleFiles;
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::rule_set::{Basis, Checked, RuleSet};
use preblock::inner::workbench::due::{DueItem, due};
use rstest::rstest;
use serde_json::json;

use crate::outside;
use crate::support::{embedded, files, run, said, text_of};

fn date(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

/// A copy of the rule set's folder, to change.
pub struct Copy {
    folder: tempfile::TempDir,
}

impl Copy {
    /// The folder as it is.
    pub fn new() -> Self {
        let copy = Self {
            folder: tempfile::tempdir().expect("a folder"),
        };
        copy_folder(
            &Path::new(env!("CARGO_MANIFEST_DIR")).join("rules"),
            copy.folder.path(),
        );
        copy
    }

    /// The same with the cases of one concern only, which is read faster.
    pub fn with_cases_of(concern: &str) -> Self {
        let copy = Self::new();
        for entry in std::fs::read_dir(copy.file("cases"))
            .expect("the cases")
            .flatten()
        {
            let name = entry.file_name().to_string_lossy().into_owned();
            if name != "people.yaml" && !name.starts_with(concern) {
                std::fs::remove_file(entry.path()).expect("a file that can be removed");
            }
        }
        copy
    }

    /// Where it is.
    pub fn path(&self) -> String {
        self.folder.path().display().to_string()
    }

    /// One of its files.
    pub fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Changes the first place of a file that reads so.
    pub fn change(&self, name: &str, from: &str, to: &str) {
        let text = std::fs::read_to_string(self.file(name)).expect("a file");
        assert!(text.contains(from), "{name} does not hold {from}");
        std::fs::write(self.file(name), text.replacen(from, to, 1))
            .expect("a file that can be written");
    }
}

pub fn copy_folder(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).expect("a folder");
    for entry in std::fs::read_dir(from).expect("a folder").flatten() {
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy_folder(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).expect("a copy");
        }
    }
}

/// The tiny rule set with two concerns, of which one has its own owner, and four rules of two review dates.
fn two_owners() -> RuleSet {
    let rule = |id, outcome| (id, outcome, "{ fact: a.smokes, is: yes }");
    let mut files = files(&[
        rule("one", "go"),
        rule("two", "go"),
        rule("three", "go"),
        rule("four", "go"),
    ]);
    let text = |files: &RuleFiles, path: &str| text_of(files, path);
    let own = text(&files, "concerns/test.yaml");
    let (head, rules) = own.split_once("rules:\n").expect("rules");
    let mut parts: Vec<&str> = rules.split("  - id: ").skip(1).collect();
    let last = parts.pop().expect("a rule");
    let others = format!(
        "concern: other\nrules:\n  - id: {}",
        last.replace("2027-11-30", "2027-01-31")
    );
    let own = format!("{head}rules:\n  - id: {}", parts.join("  - id: ")).replacen(
        "2027-11-30",
        "2026-12-15",
        1,
    );
    let ruleset = text(&files, "ruleset.yaml").replace(
        "concerns: [{ id: test, title: Test }]",
        "concerns: [{ id: test, title: Test }, { id: other, title: Other, owner: \"lead; nurse, x\\\\y\" }]",
    );
    let more = "- { id: note, by: Nobody yet, title: A note, checked: from-memory }\n";
    let sources = text(&files, "sources.yaml")
        .replace("sources: [", "sources:\n- ")
        .replace(" }]\n", &format!(" }}\n{more}"));
    let own = own.replacen(
        "citations: [{ source: book }]",
        "citations: [{ source: note }, { local_proposal: our own }]",
        1,
    );
    for (path, text) in [
        ("concerns/test.yaml", own),
        ("concerns/other.yaml", others),
        ("ruleset.yaml", ruleset),
        ("sources.yaml", sources),
    ] {
        files.set(path, text);
    }
    rule_set(&files).unwrap_or_else(|found| unreachable!("{found:?}"))
}

#[test]
fn everything_with_a_date_and_everything_open_is_due() {
    let rules = embedded();
    let due = due(&rules, &[]);
    let told: BTreeSet<&str> = due
        .iter()
        .filter_map(|it| {
            if let DueItem::Rule(rule) = it.what {
                Some(rule.id.as_str())
            } else {
                None
            }
        })
        .collect();
    assert_eq!(told.len(), rules.rules().count());
    assert_eq!(
        due.iter()
            .filter(|it| matches!(it.what, DueItem::RuleSet))
            .count(),
        1
    );
    let open = rules
        .publications
        .iter()
        .filter(|it| it.checked == Checked::FromMemory)
        .count();
    assert!(open > 0);
    assert_eq!(
        due.iter()
            .filter(|it| matches!(it.what, DueItem::Source { .. }))
            .count(),
        open
    );
    let of_rules = rules.rules().flat_map(|it| &it.citations);
    let of_rest = rules
        .limits
        .iter()
        .flat_map(|it| &it.citations)
        .chain(rules.reductions.iter().flat_map(|it| &it.citations));
    let of_agents = rules
        .agents
        .iter()
        .flat_map(|it| &it.limits)
        .flat_map(|it| &it.citations);
    let proposals = of_rules
        .chain(of_rest)
        .chain(of_agents)
        .filter(|it| matches!(it.basis, Basis::LocalProposal(_)))
        .count();
    assert_eq!(
        due.iter()
            .filter(|it| matches!(it.what, DueItem::Proposal { .. }))
            .count(),
        proposals
    );
}

#[test]
fn the_overdue_come_first_and_each_owner_has_a_part() {
    let rules = two_owners();
    let agenda = Agenda {
        rule_set: &rules,
        as_of: date("2027-01-01"),
        until: None,
        due: due(&rules, &[]),
    };
    insta::with_settings!({ snapshot_path => "../snapshots", prepend_module_to_snapshot => false, omit_expression => true }, {
        insta::assert_snapshot!("due", text(&agenda, &Style::plain()));
    });
    assert_eq!(agenda.n_overdue(), 1);
    let soon = Agenda {
        until: Some(date("2027-01-31")),
        ..agenda
    };
    let soon = text(&soon, &Style::plain());
    // What has no date is only counted in a list that ends on a day.
    assert!(
        !soon.contains("note: Nobody yet") && soon.contains("without a date: 1 source"),
        "{soon}"
    );
    assert!(
        soon.contains("by 31 Jan 2027")
            && !soon.contains("30 Nov 2027")
            && soon.contains("1 review overdue, 1 to come, 3 later"),
        "{soon}"
    );
}

/// What the checks are allowed to remark, and what a clinic changes, have review dates and owners, too.
#[test]
fn allowances_and_local_changes_are_due() {
    let output = run(&[
        "rules",
        "due",
        "--as-of",
        "2026-11-26",
        "--local",
        "examples/local-policy.yaml",
    ]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    let text = said(&output.stdout);
    let rules = embedded();
    for it in preblock::inner::workbench::allowances::allowances(&RuleFiles::embedded(), &rules)
        .expect("allowances")
    {
        assert!(
            text.contains(it.lint.name()) && text.contains(&it.on),
            "{} on {}",
            it.lint.name(),
            it.on
        );
    }
    let words: Vec<&str> = text.split_whitespace().collect();
    let policy = std::fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/local-policy.yaml"),
    )
    .expect("the policy");
    let told = words
        .windows(2)
        .filter(|it| *it == ["local", "policy"])
        .count();
    assert!(policy.contains("review_by") && told > 0, "{text}");
}

/// A review is due on its day, and overdue on the day after.
#[test]
fn the_exit_status_says_whether_a_review_is_overdue() {
    for (day, status) in [("2027-11-30", 0), ("2027-12-01", 1)] {
        for format in ["text", "calendar"] {
            let output = run(&["rules", "due", "--as-of", day, "--format", format]);
            assert_eq!(output.status.code(), Some(status), "{day}");
            assert!(!output.stdout.is_empty() && output.stderr.is_empty());
        }
    }
}

#[rstest]
#[case("90 days", "2027-02-24")]
#[case("90d", "2027-02-24")]
#[case("90days", "2027-02-24")]
#[case("12w", "2027-02-18")]
#[case("6 months", "2027-05-26")]
#[case("6m", "2027-05-26")]
#[case("1y", "2027-11-26")]
#[case("0 days", "2026-11-26")]
fn a_time_may_be_written_short(#[case] written: &str, #[case] until: &str) {
    let output = run(&["rules", "due", "--as-of", "2026-11-26", "--within", written]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    let day = date(until).format("%-d %b %Y").to_string();
    assert!(
        said(&output.stdout).contains(&format!("until {day}.")),
        "{}",
        said(&output.stdout)
    );
}

#[rstest]
#[case("90")]
#[case("d")]
#[case("")]
#[case("soon")]
#[case("-90d")]
#[case("9.5 days")]
#[case("90x")]
#[case("99999 days")]
fn a_time_that_is_none_is_refused_with_the_way_to_write_it(#[case] written: &str) {
    let output = run(&["rules", "due", &format!("--within={written}")]);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        said(&output.stderr).contains("such as \"90 days\", 90d"),
        "{}",
        said(&output.stderr)
    );
}

#[test]
fn a_span_ends_by_the_calendar() {
    let end = |from, span| {
        day_after(date(from), &Span::read(span).expect("a span")).map(|it| it.to_string())
    };
    assert_eq!(end("2027-01-31", "1 month").as_deref(), Some("2027-02-28"));
    assert_eq!(end("2028-02-29", "1 year").as_deref(), Some("2029-02-28"));
    assert_eq!(end("2027-01-31", "47 hours").as_deref(), Some("2027-02-01"));
    assert_eq!(
        day_after(NaiveDate::MAX, &Span::read("1 day").expect("a span")),
        None
    );
}

/// What RFC 5545 asks for and readers let pass: line ends, line lengths, the properties every event needs, escaping.
#[test]
fn the_calendar_is_written_by_the_book() {
    let rules = two_owners();
    let written = |as_of| {
        calendar(&Agenda {
            rule_set: &rules,
            as_of: date(as_of),
            until: None,
            due: due(&rules, &[]),
        })
    };
    let calendar = written("2027-01-01");
    assert_eq!(calendar, written("2027-01-01"));
    assert_eq!(
        calendar.replace("20270101T", "20270102T"),
        written("2027-01-02"),
        "only the stamps follow the day"
    );
    assert!(
        calendar.ends_with("END:VCALENDAR\r\n")
            && calendar
                .replace("\r\n", "")
                .chars()
                .all(|it| !it.is_control())
    );
    let lines: Vec<&str> = calendar.split_terminator("\r\n").collect();
    assert!(
        lines.iter().all(|it| it.len() <= 75 && !it.is_empty()),
        "{calendar}"
    );
    assert!(
        lines.iter().any(|it| it.starts_with(' ')),
        "a long line is folded"
    );
    let unfolded = calendar.replace("\r\n ", "");
    let having = |start: &str| {
        unfolded
            .lines()
            .filter(|it| it.starts_with(start))
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    assert_eq!(
        unfolded.lines().take(2).collect::<Vec<_>>(),
        ["BEGIN:VCALENDAR", "VERSION:2.0"]
    );
    assert_eq!(having("PRODID:").len(), 1);
    assert_eq!(
        having("DTSTART"),
        [
            "DTSTART;VALUE=DATE:20261215",
            "DTSTART;VALUE=DATE:20270131",
            "DTSTART;VALUE=DATE:20271130"
        ]
    );
    assert_eq!(having("DTSTAMP"), ["DTSTAMP:20270101T000000Z"; 3]);
    let ids: BTreeSet<String> = having("UID:").into_iter().collect();
    assert_eq!(ids.len(), 3, "each event has an id of its own: {ids:?}");
    assert!(unfolded.contains("DESCRIPTION:For: lead\\; nurse\\, x\\\\y\\nRule set tiny 1\\, draft\\nother (1): four\r\n"), "{unfolded}");
    assert_eq!(having("TRIGGER"), ["TRIGGER:-P4W"; 3]);
}

#[test]
fn a_calendar_program_not_ours_finds_the_reviews() {
    let rules = two_owners();
    let agenda = Agenda {
        rule_set: &rules,
        as_of: date("2027-01-01"),
        until: None,
        due: due(&rules, &[]),
    };
    let found = outside::read("calendar", calendar(&agenda).as_bytes());
    assert_eq!(
        (&found["version"], &found["errors"]),
        (&json!("2.0"), &json!(0)),
        "{found:#}"
    );
    let events: Vec<_> = found["events"]
        .as_array()
        .expect("events")
        .iter()
        .map(|it| json!([it["start"], it["summary"], it["description"]]))
        .collect();
    assert_eq!(
        events,
        [
            json!([
                "2026-12-15",
                "Review tiny 1: 1 rule",
                "For: nobody\nRule set tiny 1, draft\ntest (1): one"
            ]),
            json!([
                "2027-01-31",
                "Review tiny 1: 1 rule",
                "For: lead; nurse, x\\y\nRule set tiny 1, draft\nother (1): four"
            ]),
            json!([
                "2027-11-30",
                "Review tiny 1: the rule set as a whole and 2 rules",
                "For: nobody\nRule set tiny 1, draft\nThe rule set as a whole is to be reviewed, too.\ntest (2): two, three"
            ]),
        ]
    );
    let first = &found["events"][0];
    assert_eq!(first["stamp"], "2027-01-01T00:00:00+00:00");
    assert_eq!(
        (&first["days_before"], &first["categories"]),
        (&json!([-28]), &json!(["RULE-REVIEW"]))
    );
    assert_eq!(
        first["alarm_keys"],
        json!(["ACTION", "DESCRIPTION", "TRIGGER"])
    );
    // The embedded rule set: one event for everything, and every rule is named in it.
    let whole = run(&[
        "rules",
        "due",
        "--format",
        "calendar",
        "--as-of",
        "2026-11-26",
    ]);
    let found = outside::read("calendar", &whole.stdout);
    let told = found["events"]
        .as_array()
        .expect("events")
        .iter()
        .filter_map(|it| it["description"].as_str())
        .collect::<String>();
    for rule in embedded().rules() {
        let (concern, name) = rule.id.split_once('/').expect("an id");
        let line = told
            .lines()
            .find(|it| it.starts_with(&format!("{concern} (")))
            .expect("a line of the concern");
        assert!(line.split([' ', ',']).any(|it| it == name), "{}", rule.id);
    }
}

/// What an outside reader says of the cases, and the exit status.
fn junit(arguments: &[&str]) -> (serde_json::Value, Option<i32>) {
    let output = run(&[&["rules", "test", "--format", "junit"], arguments].concat());
    (outside::read("junit", &output.stdout), output.status.code())
}

#[test]
fn all_cases_are_counted_by_a_reader_not_ours() {
    let (found, status) = junit(&[]);
    assert_eq!((status, &found["schema_says"]), (Some(0), &json!([])));
    let cases = preblock::inner::workbench::cases::read::cases(&RuleFiles::embedded(), &embedded())
        .expect("cases");
    assert_eq!(found["declared"], json!([cases.len(), 0, 0]));
    assert_eq!(
        found["counted"], found["declared"],
        "the counts that are written are those of the cases"
    );
    assert_eq!(found["suites"], found["suites_counted"]);
    let files: BTreeSet<&str> = cases.iter().map(|it| it.source.name()).collect();
    let suites: BTreeSet<&str> = found["suites"]
        .as_array()
        .expect("suites")
        .iter()
        .filter_map(|it| it[0].as_str())
        .collect();
    assert_eq!(suites, files);
}

#[test]
fn a_case_that_comes_out_otherwise_is_one_failure_to_a_reader_not_ours() {
    let copy = Copy::new();
    copy.change(
        "cases/bleeding-vka.yaml",
        "  - case: settled warfarin\n",
        "  - case: \"settled <warfarin> & \\\"more\\\"\"\n",
    );
    copy.change(
        "cases/bleeding-vka.yaml",
        "    expect: { verdict: go, fires: [bleeding/antithrombotic-taken] }",
        "    expect: { verdict: defer }",
    );
    let (found, status) = junit(&["--rules", &copy.path(), "--only", "bleeding-vka"]);
    assert_eq!((status, &found["schema_says"]), (Some(1), &json!([])));
    assert_eq!(
        (&found["declared"][1], &found["counted"]),
        (&json!(1), &found["declared"]),
        "{found:#}"
    );
    let place = format!("{}/cases/bleeding-vka.yaml:6", copy.path());
    let text = format!(
        "{place}\nverdict: expected defer, got go\nbleeding/antithrombotic-taken: expected stays quiet, got fires"
    );
    assert_eq!(
        found["failed"],
        json!([[
            "bleeding-vka",
            "settled <warfarin> & \"more\"",
            "verdict: expected defer, got go",
            text
        ]])
    );
}

/// With the other format, the same run says the same on standard error, and only the XML stands on standard output.
#[test]
fn only_xml_stands_on_standard_output() {
    let output = run(&["rules", "test", "--format", "junit", "--only", "site"]);
    let xml = said(&output.stdout);
    assert!(
        xml.starts_with("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuites ")
            && xml.ends_with("</testsuites>\n")
    );
    for word in ["time", "host", "skipped"] {
        assert!(
            !xml.lines()
                .any(|it| it.trim_start().starts_with("<testsuite") && it.contains(word)),
            "{word}"
        );
    }
    assert!(said(&output.stderr).contains("as expected, 0 not"));
    assert_eq!(
        output.stdout,
        run(&["rules", "test", "--format", "junit", "--only", "site"]).stdout
    );
}

/// A printer of paged media that is not ours puts the right page behind each line of the contents, and a browser prints over
/// each page of a longer part its number and heading: as many pages as lie between its own and the next part's anchor.
#[test]
fn a_printed_book_is_found_by_page_and_by_part_with_printers_not_ours() {
    let book = run(&["rules", "book", "--only", "site", "--format", "html"]);
    let found: serde_json::Value =
        serde_json::from_slice(&outside::run("printed.py", &[], &book.stdout)).expect("JSON");
    let contents = found["contents"].as_array().expect("the contents");
    assert!(contents.len() > 10, "{found:#}");
    for line in contents {
        assert!(line[1].as_u64() > Some(0) && line[1] == line[2], "{line}");
    }
    assert!(
        contents
            .last()
            .map(|it| it[1].as_u64() > Some(5))
            .unwrap_or_default(),
        "{found:#}"
    );
    let margins: Vec<&str> = found["margins"]
        .as_array()
        .expect("pages")
        .iter()
        .filter_map(|it| it.as_str())
        .collect();
    let page = |anchor: &str| {
        found["anchors"][anchor]
            .as_u64()
            .map_or(0, |it| it as usize)
    };
    assert!(
        page("site") > 1 && page("part:guarantees") > page("site"),
        "{found:#}"
    );
    for (at, margin) in (1..).zip(&margins) {
        let is_of_site = (page("site")..=page("site/marking-not-possible")).contains(&at);
        assert_eq!(
            *margin == "3. Right patient, right toe",
            is_of_site,
            "page {at}: {margin}"
        );
    }
}
