//! New rules as drafts: they load, their cases come out as they say, and they cannot go live unwritten.
#![expect(
    clippy::expect_used,
    reason = "a program that cannot be started fails the test"
)]

use std::path::Path;
use std::process::Output;

use preblock::inner::document::diagnostic::Diagnostic;
use preblock::inner::rule_set::Status;
use preblock::inner::rule_set::files::{Care, RuleFiles};
use preblock::inner::rule_set::read::{drafts, rule_set};
use rstest::rstest;

use crate::outside;
use crate::papers::Copy;
use crate::support::{codes, run, said, text_of};

/// What an approved rule set says instead of `status: draft`. Nobody approved this content, which is told elsewhere.
const APPROVED: &str = "status: approved\napproval: { digest: \"sha256:0000000000000000000000000000000000000000000000000000000000000000\", \
                        by: [clinical governance lead], on: 2026-11-24 }";

/// `rules new` of this id on a copy of the rule set.
fn new(copy: &Copy, id: &str, more: &[&str]) -> Output {
    run(&[
        &[
            "rules",
            "new",
            id,
            "--rules",
            &copy.path(),
            "--as-of",
            "2026-11-26",
        ][..],
        more,
    ]
    .concat())
}

/// The rule set of a folder.
fn loaded(copy: &Copy) -> RuleFiles {
    RuleFiles::folder(Path::new(&copy.path())).expect("the folder")
}

/// Every text of a rule set that is still to be written, with the concern of its rule.
fn unwritten(files: &RuleFiles) -> Vec<(String, Diagnostic)> {
    let of_rules = files
        .rules()
        .map(|(concern, it)| (concern, drafts::unwritten(it.source, it.node)));
    of_rules
        .flat_map(|(concern, texts)| texts.into_iter().map(move |it| (concern.to_owned(), it)))
        .collect()
}

/// Every file of a copy with its bytes.
fn contents(copy: &Copy) -> Vec<(String, Vec<u8>)> {
    loaded(copy)
        .iter()
        .map(|(path, file)| (path.to_owned(), file.bytes().to_vec()))
        .collect()
}

/// How many cases of a copy come out otherwise, by the count of another program.
fn n_failed(copy: &Copy) -> u64 {
    let output = run(&[
        "rules",
        "test",
        "--rules",
        &copy.path(),
        "--format",
        "junit",
    ]);
    outside::read("junit", &output.stdout)["counted"][1]
        .as_u64()
        .expect("a number")
}

/// Each kind of question, and each kind of value.
#[rstest]
#[case::yes_no("bleeding/draft", "circulation.smoker", &[], "{ fact: circulation.smoker, is: yes }")]
#[case::no("bleeding/draft", "circulation.smoker", &["--value", "no"], "{ fact: circulation.smoker, is: no }")]
#[case::one_of("circulation/draft", "circulation.pulses_left", &["--value", "absent"], "{ fact: circulation.pulses_left, is: absent }")]
#[case::several_of("lesion/draft", "circulation.symptoms", &[], "{ fact: circulation.symptoms, includes: ")]
#[case::number("bleeding/draft", "bleeding.alcohol_units", &[], "{ fact: bleeding.alcohol_units, at_least: ")]
#[case::quantity("general/draft", "general.systolic", &["--value", "170 mmHg"], "{ fact: general.systolic, at_least: 170 mmHg }")]
#[case::limit_and_gate("bleeding/draft", "bleeding.inr", &["--value", "inr-ceiling"], "        - { fact: bleeding.inr, at_least: { limit: inr-ceiling } }")]
#[case::date_and_gate("bleeding/draft", "bleeding.stent_or_heart_event_on", &[], "        - { fact: bleeding.stent_or_heart_event, is: yes }")]
#[case::age_of_a_result("bleeding/draft", "bleeding.inr", &["--value", "72 hours"], "        - { fact: bleeding.inr, older_than: 72 hours }")]
#[case::age_of_a_result_by_a_limit("bleeding/draft", "bleeding.inr", &["--value", "inr-age-stable"], "older_than: { limit: inr-age-stable }")]
#[case::medicine("bleeding/draft", "medicines.current", &["--value", "nsaid"], "{ taking: nsaid }")]
#[case::allergy("allergy/draft", "allergies.known", &["--value", "latex", "--outcome", "refer", "--urgency", "same-day"], "{ allergic_to: latex }")]
#[case::precaution("home/draft", "circulation.smoker", &["--outcome", "go"], "    kind: caution\n    outcome: go\n")]
fn a_draft_loads_and_its_cases_come_out_to_a_reader_not_ours(
    #[case] id: &str,
    #[case] fact: &str,
    #[case] more: &[&str],
    #[case] expected: &str,
) {
    let copy = Copy::with_cases_of("site");
    let (concern, _) = id.split_once('/').expect("an id");
    let path = copy.file(&format!("concerns/{concern}.yaml"));
    let before = std::fs::read_to_string(&path).expect("the concern");
    let output = new(
        &copy,
        id,
        &[&["--fact", fact, "--write"][..], more].concat(),
    );
    assert!(output.status.success(), "{}", said(&output.stderr));
    let after = std::fs::read_to_string(&path).expect("the concern");
    let rule = after
        .strip_prefix(before.trim_end())
        .expect("what was there stays as it was, comments and all");
    assert!(
        rule.starts_with("\n\n  - id: draft\n") && rule.contains(expected),
        "{rule}"
    );
    assert!(
        said(&output.stdout).contains(rule.trim_start_matches('\n')),
        "what is written is shown"
    );
    let files = loaded(&copy);
    let rules = rule_set(&files).unwrap_or_else(|found| unreachable!("{:?}", codes(&found)));
    let drafted = rules.rule(id).expect("the rule");
    assert_eq!(
        (
            drafted.last_reviewed.to_string().as_str(),
            drafted.review_by.to_string().as_str()
        ),
        ("2026-11-26", "2026-12-24")
    );
    let cases = preblock::inner::workbench::cases::read::cases(&files, &rules)
        .unwrap_or_else(|found| unreachable!("{:?}", codes(&found)));
    let mine: Vec<_> = cases
        .iter()
        .filter(|it| {
            it.source
                .name()
                .ends_with(&format!("cases/{concern}-draft.yaml"))
        })
        .collect();
    let [fires, quiet, open] = mine[..] else {
        unreachable!("{} cases", mine.len())
    };
    assert!(
        fires.fires.contains(id)
            && !quiet.fires.contains(id)
            && !quiet.undetermined.contains(id)
            && open.undetermined.contains(id)
    );
    let told = said(&output.stderr);
    let changed = told
        .split_whitespace()
        .next()
        .and_then(|it| it.parse().ok())
        .unwrap_or(0);
    assert_eq!(n_failed(&copy), changed, "{told}");
}

/// The rule set with a draft loads, and `rules check` names every text that is still to be written, and nothing else.
#[test]
fn a_draft_is_told_by_the_check_and_keeps_a_rule_set_from_being_approved() {
    let copy = Copy::new();
    assert!(unwritten(&loaded(&copy)).is_empty());
    assert!(
        new(
            &copy,
            "bleeding/draft",
            &["--fact", "circulation.smoker", "--write"]
        )
        .status
        .success()
    );
    let output = run(&["rules", "check", "--rules", &copy.path()]);
    assert_eq!(output.status.code(), Some(1));
    let found = unwritten(&loaded(&copy));
    let titles: Vec<&str> = found.iter().map(|(_, it)| it.title.as_str()).collect();
    let expected = ["title", "reason", "action", "cleared_by", "local_proposal"]
        .map(|it| format!("the `{it}` of rule `draft` is still to be written"));
    assert_eq!(titles, expected);
    assert!(
        found.iter().all(|(concern, _)| concern == "bleeding"),
        "{found:?}"
    );
    let told = said(&output.stderr);
    assert_eq!(told.matches("rules/to-be-written").count(), 5, "{told}");
    // The place is the line of the text.
    let text = std::fs::read_to_string(copy.file("concerns/bleeding.yaml")).expect("the concern");
    let line = text
        .lines()
        .position(|it| it.contains("reason: \"To be written"))
        .expect("the reason")
        + 1;
    assert!(
        found[1]
            .1
            .place()
            .is_some_and(|it| it.contains(&format!("bleeding.yaml:{line}:"))),
        "{:?}",
        found[1].1.place()
    );
    copy.change("ruleset.yaml", "status: draft", APPROVED);
    let refused = rule_set(&loaded(&copy)).err().unwrap_or_default();
    assert_eq!(
        refused
            .iter()
            .map(|it| it.title.as_str())
            .collect::<Vec<_>>(),
        expected
    );
    // With its texts written, it is a rule like any other.
    let written = text.replace("To be written: ", "Written: ");
    std::fs::write(copy.file("concerns/bleeding.yaml"), written).expect("a file");
    let rules =
        rule_set(&loaded(&copy)).unwrap_or_else(|found| unreachable!("{:?}", codes(&found)));
    assert_eq!(rules.status, Status::Approved);
    assert!(
        !said(&run(&["rules", "check", "--rules", &copy.path()]).stderr).contains("to-be-written")
    );
}

/// Each text counts by itself, whatever its case and the spaces before it.
#[rstest]
#[case("title: INR at or above the ceiling", "title: \"to be written: INR\"")]
#[case(
    "reason: The INR of {bleeding.inr} (",
    "reason: \"  TO BE WRITTEN: The INR of {bleeding.inr} (\" #"
)]
#[case(
    "{ source: sdcep-anticoagulants-2022, at: warfarin section }",
    "{ source: sdcep-anticoagulants-2022, at: \"To be written: where\" }"
)]
fn no_text_of_an_approved_rule_is_to_be_written(#[case] from: &str, #[case] to: &str) {
    let mut files = RuleFiles::embedded();
    let mut change = |path: &str, from: &str, to: &str| {
        let text = text_of(&files, path);
        assert!(text.contains(from), "{from}");
        files.set(path, text.replacen(from, to, 1));
    };
    change("concerns/bleeding.yaml", from, to);
    change("ruleset.yaml", "status: draft", APPROVED);
    for care in [Care::Embedded, Care::Full] {
        let found = rule_set(&files.clone().with_care(care))
            .err()
            .unwrap_or_default();
        assert_eq!(
            found.iter().map(|it| it.code.name()).collect::<Vec<_>>(),
            ["rules/to-be-written"]
        );
    }
    assert_eq!(unwritten(&files).len(), 1);
}

#[test]
fn nothing_is_written_without_being_told() {
    let copy = Copy::with_cases_of("site");
    let files = contents(&copy);
    let output = new(&copy, "bleeding/draft", &["--fact", "circulation.smoker"]);
    assert!(
        output.status.success() && said(&output.stderr).contains("Nothing was written"),
        "{}",
        said(&output.stderr)
    );
    assert!(
        said(&output.stdout).contains("  - id: draft\n")
            && said(&output.stdout).contains("case: draft, undetermined")
    );
    assert_eq!(contents(&copy), files);
    assert_eq!(
        output.stdout,
        new(&copy, "bleeding/draft", &["--fact", "circulation.smoker"]).stdout
    );
}

#[rstest]
#[case::no_slash("draft", &[], "is no rule's id")]
#[case::capitals("bleeding/Draft", &[], "small letters and digits")]
#[case::underscore("bleeding/a_draft", &[], "small letters and digits")]
#[case::two_slashes("bleeding/a/b", &[], "small letters and digits")]
#[case::hyphen_at_the_end("bleeding/draft-", &[], "small letters and digits")]
#[case::digit_first("bleeding/2-drafts", &[], "small letters and digits")]
#[case::no_name("bleeding/", &[], "small letters and digits")]
#[case::way_out("bleeding/../../x", &[], "small letters and digits")]
#[case::concern("bleding/draft", &[], "did you mean `bleeding`?")]
#[case::there("bleeding/inr-above-ceiling", &[], "there is a rule `bleeding/inr-above-ceiling` already")]
#[case::retired("anaesthetic/adrenaline-with-thyroid-or-phaeochromocytoma", &[], "was retired on 2026-11-25")]
#[case::fact("bleeding/draft", &["--fact", "circulation.smokr"], "did you mean `circulation.smoker`?")]
#[case::derived("bleeding/draft", &["--fact", "derived.age"], "is not asked")]
#[case::free_text("bleeding/draft", &["--fact", "plan.anaesthetic"], "has no simple test")]
#[case::option("bleeding/draft", &["--fact", "circulation.pulses_left", "--value", "flt"], "did you mean `felt`?")]
#[case::no_medicine("bleeding/draft", &["--fact", "medicines.current"], "--value which medicine or class")]
#[case::medicine("bleeding/draft", &["--fact", "medicines.current", "--value", "warfrin"], "did you mean `warfarin`?")]
#[case::no_substance("bleeding/draft", &["--fact", "allergies.known", "--value", "zzzzzz"], "what it compares with must stand in the rule set first")]
#[case::number("bleeding/draft", &["--fact", "general.systolic", "--value", "much"], "neither a number with its unit nor a limit")]
#[case::unit("bleeding/draft", &["--fact", "general.systolic", "--value", "170 kg"], "rules/wrong-unit")]
#[case::urgency("bleeding/draft", &["--urgency", "urgent"], "only a referral has an urgency")]
#[case::kind("bleeding/draft", &["--outcome", "go", "--kind", "contraindication"], "use --kind caution")]
fn what_cannot_be_drafted_is_told_why(
    #[case] id: &str,
    #[case] more: &[&str],
    #[case] expected: &str,
) {
    let copy = Copy::with_cases_of("site");
    let files = contents(&copy);
    let fact: &[&str] = if more.contains(&"--fact") {
        &[]
    } else {
        &["--fact", "circulation.smoker"]
    };
    let output = new(&copy, id, &[more, fact, &["--write"]].concat());
    assert_eq!(output.status.code(), Some(2), "{}", said(&output.stderr));
    assert!(
        said(&output.stderr).contains(expected),
        "{}",
        said(&output.stderr)
    );
    assert!(output.stdout.is_empty());
    assert_eq!(contents(&copy), files, "nothing is written");
}

/// The embedded rule set is never changed, and neither is a file whose form the text would not fit.
#[test]
fn only_a_folder_whose_files_can_take_a_rule_is_changed() {
    let output = run(&[
        "rules",
        "new",
        "bleeding/draft",
        "--fact",
        "circulation.smoker",
    ]);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        said(&output.stderr).contains("--rules <DIR>"),
        "{}",
        said(&output.stderr)
    );
    let copy = Copy::with_cases_of("site");
    std::fs::write(
        copy.file("cases/bleeding-draft.yaml"),
        std::fs::read(copy.file("cases/site-all.yaml")).expect("cases"),
    )
    .expect("a file");
    let output = new(
        &copy,
        "bleeding/draft",
        &["--fact", "circulation.smoker", "--write"],
    );
    assert!(
        output.status.code() == Some(2)
            && said(&output.stderr).contains("bleeding-draft.yaml` is there already"),
        "{}",
        said(&output.stderr)
    );
    let text = std::fs::read_to_string(copy.file("concerns/site.yaml")).expect("the concern");
    let deeper: String = text
        .lines()
        .map(|it| {
            if it.starts_with("  ") {
                format!("  {it}\n")
            } else {
                format!("{it}\n")
            }
        })
        .collect();
    std::fs::write(copy.file("concerns/site.yaml"), &deeper).expect("a file");
    let output = new(
        &copy,
        "site/draft",
        &["--fact", "circulation.smoker", "--write"],
    );
    assert!(
        output.status.code() == Some(2)
            && said(&output.stderr).contains("begin with two spaces and a dash"),
        "{}",
        said(&output.stderr)
    );
    assert_eq!(
        std::fs::read_to_string(copy.file("concerns/site.yaml")).expect("the concern"),
        deeper
    );
    // An approved edition takes no draft.
    copy.change("ruleset.yaml", "status: draft", APPROVED);
    let output = new(
        &copy,
        "home/draft",
        &["--fact", "circulation.smoker", "--write"],
    );
    assert!(
        output.status.code() == Some(2)
            && said(&output.stderr).contains("belongs to its next edition"),
        "{}",
        said(&output.stderr)
    );
    copy.change("ruleset.yaml", APPROVED, "status: draft");
    // Line ends stay what they are.
    std::fs::write(copy.file("concerns/site.yaml"), text.replace('\n', "\r\n")).expect("a file");
    assert!(
        new(
            &copy,
            "site/draft",
            &["--fact", "circulation.smoker", "--write"]
        )
        .status
        .success()
    );
    let written = std::fs::read_to_string(copy.file("concerns/site.yaml")).expect("the concern");
    assert!(written.contains("- id: draft\r\n") && !written.replace("\r\n", "").contains('\n'));
}

/// A precaution about a medicine stands on somebody for whom it is one: found on 29 November 2026 on the adult on warfarin,
/// whose INR the other medicine contradicted, so that the case of a mere precaution expected a deferral.
#[test]
fn a_draft_stands_on_somebody_against_whom_nothing_else_speaks() {
    let copy = Copy::with_cases_of("site");
    let more = [
        "--fact",
        "medicines.current",
        "--value",
        "statin",
        "--outcome",
        "go",
        "--write",
    ];
    let output = new(&copy, "aftercare/draft", &more);
    assert!(output.status.success(), "{}", said(&output.stderr));
    let cases =
        std::fs::read_to_string(copy.file("cases/aftercare-draft.yaml")).expect("the cases");
    let fires = cases.split("- case:").nth(1).unwrap_or_default();
    assert!(
        fires.contains("fires") && fires.contains("verdict: go"),
        "{cases}"
    );
    assert!(!fires.contains("warfarin"), "{cases}");
}

/// A new concern begins with `rules: []`: it loads, is told as a draft, is not among what was looked at, and takes its first rule
/// where the brackets stood.
#[test]
fn an_empty_concern_takes_its_first_rule() {
    let copy = Copy::with_cases_of("site");
    copy.change(
        "ruleset.yaml",
        "  - { id: home, title: Way home and after-care }\n",
        "  - { id: home, title: Way home and after-care }\n  - { id: weather, title: The weather }\n",
    );
    let path = copy.file("concerns/weather.yaml");
    let begun =
        "# Ice on the way.\nconcern: weather\nrules: [] # none yet\n# To be gone on with.\n";
    std::fs::write(&path, begun).expect("a file");
    let checked = run(&["rules", "check", "--rules", &copy.path()]);
    let told = said(&checked.stderr);
    assert_eq!(checked.status.code(), Some(1), "{told}");
    assert_eq!(told.matches("rules/to-be-written").count(), 1, "{told}");
    assert!(told.contains("the first rule of concern `weather` is still to be written"));
    assert!(told.contains("weather.yaml:3:8]"), "{told}");
    let looked_at = || {
        let rules =
            rule_set(&loaded(&copy)).unwrap_or_else(|found| unreachable!("{:?}", codes(&found)));
        let facts = crate::support::facts(&rules, "circulation: { smoker: yes }");
        crate::support::screening(&rules, &facts).rule_set.concerns
    };
    let of_weather = |concerns: Vec<String>| concerns.iter().any(|it| it == "The weather");
    assert!(!of_weather(looked_at()));
    copy.change("ruleset.yaml", "status: draft", APPROVED);
    let refused = rule_set(&loaded(&copy)).err().unwrap_or_default();
    assert_eq!(
        codes(&refused),
        ["rules/to-be-written the first rule of concern `weather` is still to be written"]
    );
    copy.change("ruleset.yaml", APPROVED, "status: draft");
    let more = ["--fact", "circulation.smoker", "--write"];
    let output = new(&copy, "weather/draft", &more);
    assert!(output.status.success(), "{}", said(&output.stderr));
    let written = std::fs::read_to_string(&path).expect("the concern");
    let head = "# Ice on the way.\nconcern: weather\nrules: # none yet\n  - id: draft\n";
    assert!(written.starts_with(head), "{written}");
    assert!(written.ends_with("\n# To be gone on with.\n"), "{written}");
    assert!(of_weather(looked_at()));
    // A second one comes behind the first.
    assert!(new(&copy, "weather/second", &more).status.success());
    let written = std::fs::read_to_string(&path).expect("the concern");
    assert!(
        written.starts_with(head) && written.contains("\n  - id: second\n"),
        "{written}"
    );
}

/// Where no concern has a rule, everybody would go.
#[test]
fn a_rule_set_without_any_rule_is_refused() {
    let mut files = crate::support::files(&[]);
    files.set("concerns/test.yaml", "concern: test\nrules: []\n");
    let found = rule_set(&files).err().unwrap_or_default();
    assert_eq!(
        codes(&found),
        ["rules/to-be-written the first rule of concern `test` is still to be written"]
    );
}

/// A precaution is drafted on somebody who goes with it, although of somebody else, whom a missing answer defers, less is told.
#[test]
fn the_first_case_of_a_precaution_goes() {
    let folder = tempfile::tempdir().expect("a folder");
    let rule = |id, outcome, when| (id, outcome, when);
    let files = crate::support::files(&[
        rule("open", "defer", "{ fact: a.drinks, is: yes }"),
        rule("one", "go", "{ fact: a.smokes, is: yes }"),
        rule("two", "go", "{ fact: a.smokes, is: yes }"),
        rule("three", "go", "{ fact: a.smokes, is: yes }"),
    ]);
    for (path, file) in files.iter() {
        let path = folder.path().join(path);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
        std::fs::write(path, file.bytes()).expect("a file");
    }
    std::fs::create_dir_all(folder.path().join("cases")).expect("a folder");
    let people = "as_of: 2026-12-03\npeople:\n\
                  \x20 - { id: open, about: Somebody, answers: { plan: { procedure_on: 2026-12-04 }, a: { smokes: no, taken: [], allergies: [] } } }\n\
                  \x20 - { id: smoker, about: Somebody else, answers: { plan: { procedure_on: 2026-12-04 }, a: { smokes: yes, drinks: no, taken: [], allergies: [] } } }\n";
    std::fs::write(folder.path().join("cases/people.yaml"), people).expect("a file");
    let path = folder.path().display().to_string();
    let output = run(&[
        "rules",
        "new",
        "test/draft",
        "--rules",
        &path,
        "--as-of",
        "2026-12-03",
        "--fact",
        "a.pulse",
        "--value",
        "absent",
        "--outcome",
        "go",
    ]);
    let shown = said(&output.stdout);
    assert!(output.status.success(), "{}", said(&output.stderr));
    let fires = shown.split("- case:").nth(1).unwrap_or_default();
    assert!(
        fires.contains("like: smoker") && fires.contains("verdict: go"),
        "{shown}"
    );
}
