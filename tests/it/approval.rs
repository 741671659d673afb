//! Approval: what the digest covers, and what every report says first of a rule set that is not approved or not in force.

use std::path::Path;

use chrono::NaiveDate;
use preblock::inner::rule_set::RuleSet;
use preblock::inner::rule_set::files::{Care, RuleFiles};
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::screening::notices::notices;
use rstest::rstest;
use serde_json::Value;

use crate::support::{codes, embedded, text_of, today};

const HEAD: &str = "ruleset.yaml";

fn head() -> String {
    text_of(&RuleFiles::embedded(), HEAD)
}

/// The embedded rule set with another ruleset.yaml.
fn with(head: &str) -> RuleFiles {
    let mut files = RuleFiles::embedded().with_care(Care::Full);
    files.set(HEAD, head);
    files
}

fn loaded(head: &str) -> RuleSet {
    // Only ruleset.yaml is another, so the rest need not be judged anew.
    let files = with(head).with_care(Care::Embedded);
    rule_set(&files).unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n")))
}

fn approval(digest: &str) -> String {
    format!(
        "approval:\n  digest: sha256:{digest}\n  by: [clinical governance lead, consultant podiatric surgeon]\n  on: 2026-11-24\n"
    )
}

const WITHDRAWAL: &str = "withdrawn:\n  on: 2026-11-24\n  by: [clinical governance lead]\n  because: A limit was copied wrongly.\n";

fn approved() -> String {
    head().replace(
        "status: draft\n",
        &format!(
            "status: approved\n{}",
            approval(&RuleFiles::embedded().digest())
        ),
    )
}

fn withdrawn() -> String {
    head().replace(
        "status: draft\n",
        &format!("status: withdrawn\n{WITHDRAWAL}"),
    )
}

fn day(text: &str) -> NaiveDate {
    text.parse()
        .unwrap_or_else(|_| unreachable!("a test writes its dates well"))
}

// --- The digest --------------------------------------------------------------------------------------------------

#[test]
fn approving_and_withdrawing_do_not_change_the_digest() {
    let digest = RuleFiles::embedded().digest();
    let block = approval(&digest);
    let head = head();
    let status = head.replace("status: draft\n", "status: approved\n");
    for (what, text) in [
        ("behind the status", approved()),
        ("at the end", format!("{status}{block}")),
        ("at the end, apart", format!("{status}\n\n{block}\n")),
        ("apart from what follows", status.replace("owner:", &format!("\n{block}\nowner:"))),
        (
            "in braces",
            status.replace("owner:", &format!("approval: {{ digest: \"sha256:{digest}\", by: [lead], on: 2026-11-24 }}\nowner:")),
        ),
        ("of another system", approved().replace('\n', "\r\n")),
        ("a note inside", approved().replace("  by:", "  # by the board of November\n\n  by:")),
        ("withdrawn", withdrawn()),
        ("approved and withdrawn", approved().replace("status: approved", "status: withdrawn") + WITHDRAWAL),
    ] {
        assert_ne!(text, head, "{what}");
        assert_eq!(with(&text).digest(), digest, "{what}");
    }
}

#[rstest]
#[case::title("title: Is this patient", "title: Is that patient")]
#[case::edition("edition: \"2026.1\"", "edition: \"2026.2\"")]
#[case::first_day("in_force_from: 2026-12-01", "in_force_from: 2026-12-02")]
#[case::review("review_by: 2027-11-30", "review_by: 2028-11-30")]
#[case::owner("owner: clinical", "owner: other clinical")]
#[case::order("  - { id: bleeding, title: Bleeding }\n", "")]
#[case::a_comment("status: draft\n", "status: draft\n# approved by word of mouth\n")]
#[case::a_quoted_status("status: draft", "\"status\": draft")]
#[case::an_indented_line(
    "owner: clinical governance lead",
    "owner: clinical governance\n  lead and others"
)]
#[case::a_like_key("owner:", "status_note: draft\nowner:")]
fn any_other_change_changes_the_digest(#[case] find: &str, #[case] replace: &str) {
    let head = head();
    let changed = head.replacen(find, replace, 1);
    assert_ne!(changed, head);
    assert_ne!(with(&changed).digest(), RuleFiles::embedded().digest());
}

#[test]
fn other_files_count_line_by_line() {
    let digest = RuleFiles::embedded().digest();
    for (path, more, counts) in [
        ("limits.yaml", "status: approved\n", true),
        ("concerns/home.yaml", "# a word\n", true),
        ("cases/people.yaml", "# a word\n", false),
        ("allowances.yaml", "# a word\n", false),
        ("guarantees.yaml", "# a word\n", true),
    ] {
        let mut files = RuleFiles::embedded();
        let text = text_of(&files, path);
        assert!(!text.is_empty(), "{path}");
        files.set(path, format!("{text}{more}"));
        assert_eq!(files.digest() != digest, counts, "{path}");
    }
}

// --- What is said ------------------------------------------------------------------------------------------------

#[test]
fn a_draft_says_so_and_an_approved_rule_set_in_force_says_nothing() {
    let surgery = Some(day("2026-12-03"));
    assert_eq!(
        notices(&embedded(), today(), surgery),
        ["This rule set is a draft: nobody has approved it for use."]
    );
    assert!(notices(&loaded(&approved()), today(), surgery).is_empty());
}

#[test]
fn a_content_that_was_changed_since_its_approval_says_so() {
    let changed = loaded(&approved().replace("owner: clinical governance lead", "owner: nobody"));
    let found = notices(&changed, today(), Some(day("2026-12-03")));
    assert_eq!(
        found,
        [
            "This rule set is not the one that was approved on 24 Nov 2026: its content has changed since."
        ]
    );
}

#[rstest]
#[case::in_force("2026-11-25", Some("2026-12-01"), &[])]
#[case::surgery_before("2026-11-25", Some("2026-11-30"), &["in force only from 1 Dec 2026, and the surgery is on 30 Nov 2026"])]
#[case::no_day_of_surgery("2026-11-25", None, &["in force only from 1 Dec 2026, and the screening is on 25 Nov 2026"])]
#[case::no_day_but_in_force("2026-12-01", None, &[])]
#[case::last_day("2027-11-30", Some("2027-12-20"), &[])]
#[case::review_passed("2027-12-01", Some("2027-12-20"), &["to be reviewed by 30 Nov 2027; that day has passed"])]
fn dates_are_said(#[case] as_of: &str, #[case] surgery: Option<&str>, #[case] expected: &[&str]) {
    let found = notices(&loaded(&approved()), day(as_of), surgery.map(day));
    assert_eq!(found.len(), expected.len(), "{found:?}");
    for (found, expected) in found.iter().zip(expected) {
        assert!(found.contains(expected), "{found}");
    }
}

// --- From outside ------------------------------------------------------------------------------------------------

/// The embedded rule set as a folder, with another ruleset.yaml.
fn folder(head: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    for (path, file) in with(head).iter() {
        let path = folder.path().join(path);
        assert!(
            path.parent()
                .is_some_and(|it| std::fs::create_dir_all(it).is_ok())
        );
        assert!(std::fs::write(path, file.bytes()).is_ok());
    }
    folder
}

fn run(arguments: &[&str], rules: Option<&Path>) -> (i32, String, String) {
    let mut command = crate::support::program();
    command
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"));
    if let Some(rules) = rules {
        command.arg("--rules").arg(rules);
    }
    let output = command
        .output()
        .unwrap_or_else(|error| unreachable!("the program starts: {error}"));
    let text = |bytes: &[u8]| {
        String::from_utf8_lossy(bytes)
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
    };
    (
        output.status.code().unwrap_or(-1),
        text(&output.stdout),
        text(&output.stderr),
    )
}

const SCREEN: [&str; 6] = [
    "screen",
    "examples/referrals/SM-101.yaml",
    "--clinic",
    "examples/clinic.yaml",
    "--as-of",
    "2026-11-25",
];
const DRAFT: &str = "This rule set is a draft: nobody has approved it for use.";

#[test]
fn every_report_says_it_first() {
    let (_, text, _) = run(&SCREEN, None);
    assert!(text.starts_with(&format!("! {DRAFT} GO SM-101")), "{text}");
    let (_, page, _) = run(&[&SCREEN[..], &["--format", "markdown"]].concat(), None);
    assert!(
        page.starts_with(&format!("# GO: SM-101 **{DRAFT}**")),
        "{page}"
    );
    let (_, object, _) = run(&[&SCREEN[..], &["--format", "json"]].concat(), None);
    let object: Value = serde_json::from_str(&object).unwrap_or_default();
    assert_eq!(object["notices"], serde_json::json!([DRAFT]));
    let several = [&SCREEN[..], &["examples/referrals/SM-102.yaml"]].concat();
    let (_, text, _) = run(&several, None);
    assert_eq!(text.matches(DRAFT).count(), 3, "each report and the list");
    assert!(
        text.starts_with(&format!("! {DRAFT} 2 screened: 0 refer, 0 defer, 2 go.")),
        "{text}"
    );
    let (_, page, _) = run(&[&several[..], &["--format", "markdown"]].concat(), None);
    assert!(
        page.starts_with(&format!("# Screenings **{DRAFT}**")) && page.matches(DRAFT).count() == 3,
        "{page}"
    );
    // The line on the rule set does not say it again.
    assert!(
        text.contains("): draft; 20 concerns looked at, nothing else")
            && !text.contains("not approved for use"),
        "{text}"
    );
}

#[test]
fn an_approved_rule_set_screens_without_a_word() {
    let folder = folder(&approved());
    let (status, text, wrong) = run(&SCREEN, Some(folder.path()));
    assert!(
        status == 0
            && wrong.is_empty()
            && text.starts_with("GO SM-101")
            && text.contains("): approved"),
        "{text}{wrong}"
    );
    let (status, text, _) = run(&["rules", "check"], Some(folder.path()));
    let said = format!(
        "sha256:{}: approved on 2026-11-24 by clinical governance lead, consultant podiatric surgeon",
        RuleFiles::embedded().digest()
    );
    assert!(status == 0 && text.contains(&said), "{text}");
}

/// An approval that is dated ahead is none yet: found on 29 November 2026, when a day of the year 2199 was taken for one.
#[test]
fn an_approval_dated_ahead_is_not_yet_one() {
    let ahead = approved().replace("on: 2026-11-24", "on: 2199-11-28");
    assert_ne!(ahead, approved());
    let rules = loaded(&ahead);
    let found = notices(&rules, today(), Some(day("2026-12-03")));
    assert_eq!(
        found,
        [
            "This rule set is to be approved only on 28 Nov 2199: on the day of this screening nobody has."
        ]
    );
    let on = |day_of_approval: &str| {
        notices(
            &loaded(&approved().replace("2026-11-24", day_of_approval)),
            today(),
            Some(day("2026-12-03")),
        )
    };
    assert!(on("2026-11-25").is_empty(), "on its own day it counts");
    assert_eq!(on("2026-11-26").len(), 1);
    let folder = folder(&ahead);
    let (status, text, wrong) = run(
        &["rules", "check", "--as-of", "2026-11-25"],
        Some(folder.path()),
    );
    assert!(
        status == 1 && text.contains(": NOT YET approved: that is dated 2199-11-28"),
        "{text}"
    );
    assert!(wrong.contains("lint/approval-ahead"), "{wrong}");
}

#[test]
fn check_prints_the_digest_to_write_and_tells_one_that_no_longer_fits() {
    let (status, text, _) = run(&["rules", "check"], None);
    assert!(
        status == 0
            && text.contains(&format!(
                "sha256:{}: to be written under `approval:`",
                RuleFiles::embedded().digest()
            )),
        "{text}"
    );
    let folder = folder(&approved().replace("owner: clinical governance lead", "owner: nobody"));
    let (status, text, _) = run(&["rules", "check"], Some(folder.path()));
    assert!(
        status == 0 && text.contains(": NOT the content that was approved on 2026-11-24"),
        "{text}"
    );
}

#[test]
fn a_withdrawn_rule_set_screens_nobody_and_can_still_be_read() {
    let folder = folder(&withdrawn());
    let dose = [
        "dose",
        "--weight",
        "70 kg",
        "--age",
        "40",
        "--height",
        "170 cm",
        "--sex",
        "female",
        "--agent",
        "lidocaine 2 % 3 mL",
    ];
    for arguments in [&SCREEN[..], &dose, &["blank"]] {
        let (status, said, wrong) = run(arguments, Some(folder.path()));
        assert!(
            status == 2 && said.is_empty(),
            "{arguments:?}: {status}: {said}"
        );
        for word in [
            "rules/withdrawn",
            "was withdrawn on 2026-11-24",
            "by clinical governance lead: A limit was copied wrongly.",
        ] {
            assert!(wrong.contains(word), "{arguments:?}: {wrong}");
        }
    }
    for arguments in [
        &["rules", "check"][..],
        &["rules", "show", "home/drives-home"],
        &["rules", "test", "--only", "home"],
    ] {
        let (status, said, wrong) = run(arguments, Some(folder.path()));
        assert!(
            status == 0 && !said.is_empty(),
            "{arguments:?}: {status}: {wrong}"
        );
    }
}
