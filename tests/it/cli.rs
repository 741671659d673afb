//! The program from outside: exit statuses, what goes where, and the README's own commands.

use std::path::{Path, PathBuf};
use std::process::{Output, Stdio};

use rstest::rstest;
use serde_json::Value;

use crate::quoted::{Asked, anew, hold};
use crate::support::{run, said as text};

const TODAY: [&str; 2] = ["--as-of", "2026-11-25"];
const CLINIC: [&str; 2] = ["--clinic", "examples/clinic.yaml"];

fn top() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn status(output: &Output) -> i32 {
    output.status.code().unwrap_or(-1)
}

/// `screen` on files of the examples.
fn screen(files: &[&str], more: &[&str]) -> Output {
    let mut arguments = vec!["screen"];
    arguments.extend(files);
    arguments.extend(CLINIC.iter().chain(&TODAY));
    arguments.extend(more);
    run(&arguments)
}

#[expect(clippy::expect_used, reason = "not JSON fails the test")]
fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).expect("standard output is JSON")
}

#[expect(clippy::expect_used, reason = "a broken schema fails the test")]
fn screening_schema() -> jsonschema::Validator {
    let schema = std::fs::read_to_string(top().join("schemas/screening.schema.json"))
        .expect("the schema is there");
    let schema = serde_json::from_str(&schema).expect("the schema is JSON");
    jsonschema::draft7::new(&schema).expect("the schema is draft-07")
}

#[rstest]
#[case::go("SM-101", 0, "go")]
#[case::defer("SM-103", 10, "defer")]
#[case::refer("SM-104", 20, "refer")]
fn the_exit_status_is_the_verdict(
    #[case] reference: &str,
    #[case] expected: i32,
    #[case] verdict: &str,
) {
    let file = format!("examples/referrals/{reference}.yaml");
    let output = screen(&[&file], &["--format", "json"]);
    assert_eq!(status(&output), expected, "{}", text(&output.stderr));
    assert_eq!(json(&output)["verdict"], verdict);
    assert!(
        output.stderr.is_empty(),
        "a clean run says nothing beside its result"
    );
}

#[test]
fn the_worst_verdict_of_several_counts() {
    let output = screen(
        &[
            "examples/referrals/SM-101.yaml",
            "examples/referrals/SM-103.yaml",
        ],
        &["--format", "json"],
    );
    assert_eq!(status(&output), 10);
    let output = screen(
        &[
            "examples/referrals/SM-104.yaml",
            "examples/referrals/SM-101.yaml",
        ],
        &["--format", "json"],
    );
    assert_eq!(status(&output), 20);
}

#[test]
fn one_file_is_an_object_several_are_an_array_and_ndjson_is_a_line_each() {
    let one = screen(&["examples/referrals/SM-101.yaml"], &["--format", "json"]);
    assert!(json(&one).is_object());
    let several = screen(
        &[
            "examples/referrals/SM-101.yaml",
            "examples/referrals/SM-102.yaml",
        ],
        &["--format", "json"],
    );
    assert_eq!(json(&several).as_array().map(Vec::len), Some(2));
    let lines = screen(&["examples/referrals"], &["--format", "ndjson"]);
    let references: Vec<Value> = text(&lines.stdout)
        .lines()
        .filter_map(|line| serde_json::from_str::<Value>(line).ok())
        .map(|it| it["reference"].clone())
        .collect();
    let expected: Vec<Value> = (101..=125)
        .map(|it| Value::from(format!("SM-{it}")))
        .collect();
    assert_eq!(references, expected, "by file name, each once");
}

#[test]
fn every_screening_of_the_examples_fits_the_schema() {
    let output = screen(&["examples/referrals"], &["--format", "json"]);
    let found = json(&output);
    let schema = screening_schema();
    let screenings = found.as_array().cloned().unwrap_or_default();
    assert_eq!(screenings.len(), 25);
    for screening in screenings {
        let wrong: Vec<String> = schema
            .iter_errors(&screening)
            .map(|it| format!("{}: {it}", it.instance_path()))
            .collect();
        assert!(wrong.is_empty(), "{}: {wrong:?}", screening["reference"]);
    }
}

#[rstest]
#[case("SM-101", "go", &[])]
#[case("SM-102", "go", &["bleeding/antithrombotic-taken"])]
#[case("SM-103", "defer", &["bleeding/inr-above-ceiling", "bleeding/inr-too-old"])]
#[case("SM-104", "refer", &["bleeding/anticoagulant-with-antiplatelet"])]
#[case("SM-105", "refer", &["bleeding/clearance-low-on-anticoagulant", "bleeding/clearance-below-anticoagulant-floor"])]
#[case("SM-110", "defer", &["diabetes/hba1c-high"])]
#[case("SM-111", "refer", &["circulation/ankle-index-severe"])]
#[case("SM-112", "defer", &["circulation/index-needed"])]
#[case("SM-113", "defer", &["pregnancy/phenol-in-pregnancy"])]
#[case("SM-114", "refer", &["allergy/anaesthetic-allergy"])]
#[case("SM-116", "defer", &["anaesthetic/load-above-limit"])]
#[case("SM-118", "refer", &["anaesthetic/infection-spreading"])]
#[case("SM-119", "refer", &["bleeding/platelets-below-floor"])]
#[case("SM-121", "defer", &["allergy/chlorhexidine-planned"])]
#[case("SM-122", "defer", &["bleeding/inr-too-old"])]
#[case("SM-123", "go", &["allergy/latex-with-set"])]
#[case("SM-124", "refer", &["diabetes/charcot-suspected"])]
#[case("SM-125", "refer", &["pregnancy/pregnancy-with-severe-infection", "anaesthetic/infection-at-toe-base"])]
fn the_examples_show_what_they_say(
    #[case] reference: &str,
    #[case] verdict: &str,
    #[case] among: &[&str],
) {
    let kind = if reference == "SM-121" {
        "json"
    } else {
        "yaml"
    };
    let file = format!("examples/referrals/{reference}.{kind}");
    let found = json(&screen(&[&file], &["--format", "json"]));
    assert_eq!(found["verdict"], verdict);
    let rules: Vec<&str> = found["findings"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|it| it["rule"].as_str())
        .collect();
    for rule in among {
        assert!(rules.contains(rule), "{rule} is not among {rules:?}");
    }
}

#[test]
fn a_misspelt_medicine_is_told_its_likely_name_and_the_verdict_waits() {
    let output = screen(&["examples/referrals/SM-106.yaml"], &["--format", "json"]);
    let found = json(&output);
    assert_eq!(found["unrecognised"][0]["text"], "warfrin");
    assert_eq!(found["unrecognised"][0]["nearest"], "warfarin");
    assert_eq!(
        (&found["verdict"], &found["worst_case"]),
        (&Value::from("defer"), &Value::from("refer"))
    );
    assert_eq!(
        found["notes"][0]["text"],
        "takes something herbal for sleep, will bring the packet"
    );
    assert_eq!(status(&output), 10);
}

/// An allergy was shown without its reaction, in the finding, in what decided it, and beside the plan that avoids it.
#[test]
fn the_reaction_is_shown_with_the_allergy() {
    let found = json(&screen(
        &["examples/referrals/SM-121.json"],
        &["--format", "json", "--alternatives"],
    ));
    let finding = found["findings"]
        .as_array()
        .into_iter()
        .flatten()
        .find(|it| it["rule"] == "allergy/chlorhexidine-planned");
    let finding = finding.unwrap_or(&Value::Null);
    let told = |it: &Value, key: &str| {
        it[key]
            .as_str()
            .is_some_and(|it| it.contains("chlorhexidine (rash)"))
    };
    assert!(told(finding, "reason"), "{finding}");
    assert!(
        finding["because"]
            .as_array()
            .into_iter()
            .flatten()
            .any(|it| told(it, "value")),
        "{finding}"
    );
    let firing = found["alternatives"]
        .as_array()
        .into_iter()
        .flatten()
        .flat_map(|it| it["prospect"]["fires"].as_array().into_iter().flatten());
    let elsewhere: Vec<&Value> = firing
        .filter(|it| it["rule"] == "allergy/chlorhexidine-elsewhere")
        .collect();
    assert!(
        !elsewhere.is_empty() && elsewhere.iter().all(|it| told(it, "action")),
        "{elsewhere:?}"
    );
}

#[test]
fn units_of_another_country_are_converted_and_shown() {
    let found = json(&screen(
        &["examples/referrals/SM-109.yaml"],
        &["--format", "json"],
    ));
    let values: Vec<String> = found["findings"]
        .as_array()
        .into_iter()
        .flatten()
        .flat_map(|it| it["because"].as_array().into_iter().flatten())
        .filter_map(|it| {
            Some(format!(
                "{} {}",
                it["fact"].as_str()?,
                it["value"].as_str()?
            ))
        })
        .collect();
    assert!(
        values
            .iter()
            .any(|it| it == "diabetes.hba1c 8.2 % (66 mmol/mol)"),
        "{values:?}"
    );
}

#[test]
fn a_missing_file_does_not_keep_the_others_from_being_screened() {
    let output = screen(
        &[
            "examples/referrals/SM-101.yaml",
            "no-such-file.yaml",
            "examples/referrals/SM-104.yaml",
        ],
        &["--format", "ndjson"],
    );
    assert_eq!(status(&output), 2, "a refusal wins over every verdict");
    let verdicts: Vec<Value> = text(&output.stdout)
        .lines()
        .filter_map(|it| serde_json::from_str::<Value>(it).ok())
        .map(|it| it["verdict"].clone())
        .collect();
    assert_eq!(
        verdicts,
        ["go".into(), Value::Null, "refer".into()],
        "the missing file keeps its place"
    );
    assert!(text(&output.stderr).contains("no-such-file.yaml"));
}

#[test]
fn all_slips_of_a_file_come_in_one_run_and_nothing_of_it_is_screened() {
    let output = screen(&["examples/refused/SM-201.yaml"], &[]);
    assert_eq!(status(&output), 2);
    let said = text(&output.stderr);
    for code in [
        "answers/not-a-date",
        "answers/needs-unit",
        "text/duplicate-key",
        "answers/not-a-number",
        "answers/unknown-question",
    ] {
        assert!(said.contains(code), "{code} is not in {said}");
    }
    assert!(!text(&output.stdout).contains("SM-201"));
}

/// Both files are refused for every slip in them, and the list says of either that it was not screened.
#[test]
fn a_json_file_is_refused_as_plainly_as_a_yaml_one() {
    let output = screen(&["examples/refused"], &[]);
    assert_eq!(status(&output), 2);
    let said = text(&output.stderr);
    for place in [
        "SM-201.yaml:9:20",
        "SM-202.json:7:67",
        "SM-202.json:8:31",
        "SM-202.json:8:54",
        "SM-202.json:9:26",
    ] {
        assert!(said.contains(place), "{place} is not in {said}");
    }
    assert!(said.contains("names and addresses are never"), "{said}");
    assert!(said.contains("2 files refused and not screened"), "{said}");
    let results = text(&output.stdout);
    assert!(results.starts_with("0 screened"), "{results}");
    for reference in ["SM-201", "SM-202"] {
        let row = results.lines().find(|it| it.starts_with(reference));
        assert!(
            row.is_some_and(|row| row.contains("NOT SCREENED")),
            "{results}"
        );
    }
}

#[test]
fn a_folder_without_questionnaires_does_not_look_like_one_without_findings() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    let path = folder.path().display().to_string();
    for format in [
        "text", "list", "html", "json", "ndjson", "markdown", "chase",
    ] {
        let output = run(&["screen", &path, "--format", format]);
        assert_eq!(status(&output), 2);
        assert!(
            text(&output.stderr).contains("text/empty-folder"),
            "{}",
            text(&output.stderr)
        );
    }
}

/// `preblock screen ... | head` ends without a complaint, and not as if all had been read.
#[test]
fn a_closed_pipe_is_quiet_and_no_success() {
    let mut command = crate::support::program();
    command
        .args(["screen", "examples/referrals"])
        .args(CLINIC)
        .args(TODAY)
        .current_dir(top());
    let child = command
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn();
    let mut child =
        child.unwrap_or_else(|error| unreachable!("the program does not start: {error}"));
    // Dropping the only reader closes the pipe, long before the rule set is read.
    drop(child.stdout.take());
    let output = child
        .wait_with_output()
        .unwrap_or_else(|error| unreachable!("{error}"));
    assert_eq!(status(&output), 74);
    assert_eq!(text(&output.stderr), "");
}

/// Colour adds to the words and takes nothing from them; `NO_COLOR` wins over everything.
#[test]
fn without_its_colour_a_report_says_the_same() {
    let with = |variables: &[(&str, &str)]| {
        let mut command = crate::support::program();
        command
            .args(["screen", "examples/referrals", "examples/refused"])
            .args(CLINIC)
            .args(TODAY)
            .current_dir(top());
        command
            .env_remove("NO_COLOR")
            .env_remove("CLICOLOR_FORCE")
            .envs(variables.iter().copied());
        command
            .output()
            .unwrap_or_else(|error| unreachable!("{error}"))
    };
    let plain = with(&[]);
    let coloured = with(&[("CLICOLOR_FORCE", "1")]);
    let forbidden = with(&[("CLICOLOR_FORCE", "1"), ("NO_COLOR", "1")]);
    assert!(
        text(&coloured.stdout).contains('\u{1b}'),
        "forcing colour has no effect"
    );
    assert_eq!(
        anstream::adapter::strip_str(&text(&coloured.stdout)).to_string(),
        text(&plain.stdout)
    );
    assert_eq!(
        anstream::adapter::strip_str(&text(&coloured.stderr)).to_string(),
        text(&plain.stderr)
    );
    assert_eq!(forbidden.stdout, plain.stdout);
    assert_eq!(forbidden.stderr, plain.stderr);
}

/// Every `--help`, as it is printed where there is no terminal.
#[test]
fn the_help_of_every_command() {
    let commands: [&[&str]; 25] = [
        &[],
        &["screen"],
        &["batch"],
        &["ask"],
        &["blank"],
        &["dose"],
        &["rules"],
        &["rules", "check"],
        &["rules", "test"],
        &["rules", "show"],
        &["rules", "book"],
        &["rules", "new"],
        &["rules", "due"],
        &["register"],
        &["register", "new"],
        &["register", "check"],
        &["register", "backup"],
        &["register", "export"],
        &["register", "figures"],
        &["register", "remove"],
        &["register", "person", "add"],
        &["explain"],
        &["schema"],
        &["completions"],
        &["man"],
    ];
    let mut all = String::new();
    for command in commands {
        let output = run(&[command, &["--help"][..]].concat());
        assert_eq!(status(&output), 0);
        assert!(
            output.stderr.is_empty(),
            "help that was asked for is a result"
        );
        all.push_str(&format!(
            "$ preblock {}\n{}\n",
            [command, &["--help"][..]].concat().join(" "),
            text(&output.stdout)
        ));
    }
    insta::with_settings!({ snapshot_path => "../snapshots", prepend_module_to_snapshot => false, omit_expression => true }, {
        insta::assert_snapshot!("help", all);
    });
}

#[test]
fn results_in_a_pipe_carry_no_colour() {
    let output = screen(&["examples/referrals"], &[]);
    let text = text(&output.stdout);
    // A mark is what is left of a colour that a report put in and the printer took out again.
    assert!(!text.contains(['\u{1b}', '\u{fffd}']));
    assert!(text.contains("25 screened"));
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    for format in [
        "text", "list", "html", "json", "ndjson", "markdown", "chase",
    ] {
        let first = screen(&["examples/referrals"], &["--format", format]);
        let second = screen(&["examples/referrals"], &["--format", format]);
        assert_eq!(first.stdout, second.stdout);
    }
}

#[rstest]
#[case::no_command(&[], 0)]
#[case::unknown_option(&["screen", "--colour"], 2)]
#[case::no_file(&["screen"], 2)]
#[case::impossible_day(&["screen", "examples/referrals", "--as-of", "2026-02-31"], 2)]
#[case::no_rule_set(&["screen", "examples/referrals", "--rules", "nowhere"], 2)]
#[case::clinic_file_missing(&["screen", "examples/referrals", "--clinic", "nowhere.yaml"], 2)]
#[case::a_patient_as_clinic(&["screen", "examples/referrals", "--clinic", "examples/referrals/SM-101.yaml"], 2)]
#[case::no_days(&["screen", "examples/referrals/SM-101.yaml", "--as-of", "2026-11-25", "--dates", "0"], 2)]
#[case::days_below_none(&["screen", "examples/referrals/SM-101.yaml", "--as-of", "2026-11-25", "--dates", "-1"], 2)]
#[case::too_many_days(&["screen", "examples/referrals/SM-101.yaml", "--as-of", "2026-11-25", "--dates", "10000"], 2)]
#[case::one_day_too_many(&["screen", "examples/referrals/SM-101.yaml", "--as-of", "2026-11-25", "--dates", "367"], 2)]
#[case::days_in_words(&["screen", "examples/referrals/SM-101.yaml", "--as-of", "2026-11-25", "--dates", "x"], 2)]
#[case::help(&["--help"], 0)]
#[case::version(&["--version"], 0)]
#[case::check(&["rules", "check", "--as-of", "2026-11-25"], 0)]
#[case::check_strictly(&["rules", "check", "--local", "examples/local-policy.yaml", "--as-of", "2026-11-25", "--strict"], 1)]
#[case::check_too_late(&["rules", "check", "--as-of", "2027-12-01"], 1)]
#[case::check_on_no_day(&["rules", "check", "--as-of", "soon"], 2)]
#[case::check_of_nothing(&["rules", "check", "--rules", "nowhere"], 1)]
#[case::test_of_nothing(&["rules", "test", "--only", "nonsense"], 1)]
#[case::show(&["rules", "show", "bleeding/inr-above-ceiling"], 0)]
#[case::show_unknown(&["rules", "show", "bleeding/inr-above-celling"], 2)]
#[case::explain_unknown(&["explain", "answers/need-unit"], 2)]
#[case::schema_unknown(&["schema", "questionaire"], 2)]
fn each_situation_has_its_exit_status(#[case] arguments: &[&str], #[case] expected: i32) {
    let output = run(arguments);
    assert_eq!(
        status(&output),
        expected,
        "{}{}",
        text(&output.stdout),
        text(&output.stderr)
    );
    if expected != 0 {
        assert!(!output.stderr.is_empty(), "a problem is told");
    }
}

/// A number of days that is none says which would do; those at the ends do.
#[test]
fn days_are_counted_from_1_to_366() {
    for n in ["0", "-1", "10000", "367", "x", "1.5", ""] {
        let output = screen(&["examples/referrals/SM-101.yaml"], &["--dates", n]);
        assert_eq!(status(&output), 2, "{n}");
        assert!(
            output.stdout.is_empty()
                && text(&output.stderr).contains("a whole number from 1 to 366 is needed"),
            "{n}"
        );
    }
    // The clinic operates on Tuesdays and Thursdays, and the 25th is a Wednesday.
    for (n, last) in [
        (1_u64, "2026-11-26"),
        (28, "2027-03-02"),
        (366, "2030-05-28"),
    ] {
        let output = screen(
            &["examples/referrals/SM-101.yaml"],
            &["--dates", &n.to_string(), "--format", "json"],
        );
        let screening = json(&output);
        let spans = screening["dates"]
            .as_array()
            .map(Vec::as_slice)
            .unwrap_or_default();
        assert_eq!(
            spans
                .iter()
                .filter_map(|it| it["n_days"].as_u64())
                .sum::<u64>(),
            n,
            "{screening:#}"
        );
        assert_eq!(
            (&spans[0]["from"], &spans[spans.len() - 1]["to"]),
            (&Value::from("2026-11-26"), &Value::from(last))
        );
    }
}

/// The clinic's weekdays hold for the program, and a slip in them, or in what it offers, keeps everybody from being
/// screened.
#[test]
fn the_days_and_offers_of_a_clinic_file() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    let with = |lines: &str| {
        let path = folder.path().join("clinic.yaml");
        assert!(
            std::fs::write(
                &path,
                format!("clinic: 1\nname: Test\n{lines}\nanswers: {{}}\n")
            )
            .is_ok()
        );
        let path = path.display().to_string();
        run(&[
            "screen",
            "examples/referrals/SM-101.yaml",
            "--clinic",
            &path,
            "--as-of",
            "2026-11-25",
            "--dates",
            "4",
            "--format",
            "json",
        ])
    };
    let screening = json(&with("procedure_days: [tuesday, thursday]"));
    let spans = screening["dates"]
        .as_array()
        .map(Vec::as_slice)
        .unwrap_or_default();
    assert_eq!(
        (&spans[0]["from"], &spans[spans.len() - 1]["to"]),
        (&Value::from("2026-11-26"), &Value::from("2026-12-08"))
    );
    for lines in [
        "procedure_days: [thursdy]",
        "procedure_days: []",
        "offers: { plan: { ablation: [] } }",
        "offers: { plan: { toes: [left-great] } }",
    ] {
        let output = with(lines);
        assert_eq!(status(&output), 2, "{lines}");
        assert!(
            output.stdout.is_empty() && text(&output.stderr).contains("clinic.yaml:3:"),
            "{lines}: {}",
            text(&output.stderr)
        );
    }
    assert!(text(&with("procedure_days: [thursdy]").stderr).contains("did you mean `thursday`?"));
}

#[test]
fn a_misspelt_name_is_told_the_likely_one() {
    assert!(
        text(&run(&["rules", "show", "bleeding/inr-above-celling"]).stderr)
            .contains("did you mean `bleeding/inr-above-ceiling`?")
    );
    assert!(
        text(&run(&["explain", "answers/need-unit"]).stderr)
            .contains("did you mean `answers/needs-unit`?")
    );
    assert!(
        text(&run(&["schema", "questionaire"]).stderr).contains("did you mean `questionnaire`?")
    );
}

#[test]
fn every_code_is_explained() {
    for code in preblock::inner::document::diagnostic::Code::ALL {
        let output = run(&["explain", code.name()]);
        let page = text(&output.stdout);
        assert_eq!(status(&output), 0);
        for heading in ["What it means", "Why it matters", "How to mend it"] {
            assert!(page.contains(heading), "{} lacks {heading}", code.name());
        }
    }
}

#[test]
fn every_schema_is_printed() {
    let names = text(&run(&["schema"]).stdout);
    assert!(names.lines().count() >= 13, "{names}");
    for name in names.lines() {
        let output = run(&["schema", name]);
        let schema: Value = json(&output);
        assert_eq!(
            schema["$schema"], "http://json-schema.org/draft-07/schema#",
            "{name}"
        );
    }
}

#[test]
fn a_blank_questionnaire_asks_everything_and_answers_nothing() {
    let blank = text(&run(&["blank"]).stdout);
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    let file = folder.path().join("blank.yaml");
    let filled = blank.replace("reference:   ", "reference: SM-1 ");
    assert!(std::fs::write(&file, filled).is_ok());
    let path = file.display().to_string();
    let output = run(&["screen", &path, "--format", "json", TODAY[0], TODAY[1]]);
    assert_eq!(status(&output), 10, "{}", text(&output.stderr));
    let found = json(&output);
    assert_eq!(found["verdict"], "defer", "nothing known is never go");
    assert_eq!(found["findings"].as_array().map(Vec::len), Some(0));
    for rule in preblock_questions() {
        assert!(
            blank.contains(&format!("    {rule}:")),
            "{rule} is not asked"
        );
    }
}

/// The last part of every question's id, from the rule set itself.
fn preblock_questions() -> Vec<String> {
    let rules = preblock::inner::rule_set::read::rule_set(
        &preblock::inner::rule_set::files::RuleFiles::embedded(),
    );
    let rules = rules.unwrap_or_else(|found| unreachable!("{found:?}"));
    rules
        .catalogue
        .questions
        .iter()
        .filter_map(|it| it.id.split('.').nth(1).map(str::to_owned))
        .collect()
}

/// Equal volumes of lidocaine 1 % and bupivacaine 0.5 %, 70 kg, 4 mL in all: 20/200 + 10/140 = 0.171. Worked by hand
/// from the additive method (Weinberg, LipidRescue, 2016) on the British National Formulary's 200 mg and 2 mg/kg.
#[test]
fn the_dose_command_adds_shares_up() {
    let mixture = [
        "dose", "--weight", "70 kg", "--height", "178 cm", "--sex", "male", "--age", "40",
    ];
    let agents = [
        "--agent",
        "lidocaine 1 % 2 mL",
        "--agent",
        "bupivacaine 0.5 % 2 mL",
    ];
    let output = run(&[&mixture[..], &agents[..]].concat());
    assert_eq!(status(&output), 0, "{}", text(&output.stderr));
    let said = text(&output.stdout);
    assert!(said.contains("load (shares added up): 0.171"), "{said}");
    assert!(
        said.contains("the limit is reached at 23.3 mL of this mixture"),
        "{said}"
    );
    let too_much = run(&[&mixture[..], &["--agent", "lidocaine 2 % 12 mL"][..]].concat());
    assert_eq!(
        status(&too_much),
        10,
        "a load above 1 does not end like a clean run"
    );
    let no_height = run(&[
        "dose",
        "--weight",
        "70 kg",
        "--age",
        "40",
        "--agent",
        "lidocaine 1 % 2 mL",
    ]);
    assert_eq!(status(&no_height), 2, "an adult's limit needs the height");
    let slip = run(&[
        "dose",
        "--weight",
        "70",
        "--age",
        "40",
        "--agent",
        "lidocaine 20 % 2 mL",
    ]);
    assert_eq!(status(&slip), 2);
    let said = text(&slip.stderr);
    assert!(
        said.contains("answers/needs-unit") && said.contains("answers/implausible"),
        "{said}"
    );
}

/// The first command of the README does what the README says of it, on the files it names.
#[test]
fn the_readme_sets_up_with_a_command_that_works() {
    let readme = std::fs::read_to_string(top().join("README.md")).unwrap_or_default();
    let first = readme
        .lines()
        .find_map(|line| line.strip_prefix("cargo run --release --locked -- "))
        .unwrap_or_default();
    let words = shell_words(first);
    let output = run(&words.iter().map(String::as_str).collect::<Vec<_>>());
    assert_eq!(status(&output), 20, "{first}: {}", text(&output.stderr));
    assert!(text(&output.stdout).contains("25 screened"));
    assert!(output.stderr.is_empty());
    assert!(
        readme.contains("status 20"),
        "a newcomer must be told that this status is a result"
    );
}

/// Every `$ preblock ...` of the README prints what stands under it.
#[test]
fn the_readme_quotes_real_output() {
    let path = top().join("README.md");
    let readme = std::fs::read_to_string(&path).unwrap_or_default();
    let mut n_commands = 0;
    let fresh = anew(&readme, |asked| {
        let Asked::Command(command) = asked else {
            unreachable!("the README names no edit")
        };
        n_commands += 1;
        let words = shell_words(command.trim_start_matches("preblock "));
        text(&run(&words.iter().map(String::as_str).collect::<Vec<_>>()).stdout)
    });
    assert!(n_commands >= 2, "the README shows no command");
    hold(&path, &readme, &fresh);
}

/// Words at spaces; double quotes keep spaces together.
pub fn shell_words(line: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut quoted = false;
    for letter in line.chars() {
        match letter {
            '"' => quoted = !quoted,
            ' ' if !quoted => words.push(String::new()),
            _ => {
                if let Some(word) = words.last_mut() {
                    word.push(letter);
                }
            }
        }
    }
    words.retain(|word| !word.is_empty());
    words
}

#[test]
fn the_readme_opens_with_the_job_and_says_the_caution() {
    let readme = std::fs::read_to_string(Path::new(&top()).join("README.md")).unwrap_or_default();
    assert!(readme.starts_with("# preblock\n\nA small clinic"));
    assert!(readme.contains("never makes it; local policy prevails"));
    let ci = std::fs::read_to_string(top().join(".ci/run")).unwrap_or_default();
    assert!(
        ci.lines().any(|line| line == "cargo test --locked")
            && readme.contains("\ncargo test --locked\n")
    );
}

/// Nobody is told "nothing to ask" about a patient who was not screened.
#[test]
fn a_refused_file_has_no_page_and_in_a_list_it_is_said_not_to_be_screened() {
    for (format, is_listed) in [
        ("text", true),
        ("markdown", true),
        ("html", true),
        ("chase", false),
    ] {
        let output = screen(&["examples/refused/SM-201.yaml"], &["--format", format]);
        assert_eq!(status(&output), 2);
        assert_eq!(text(&output.stdout), "", "{format}");
        let output = screen(
            &[
                "examples/referrals/SM-107.yaml",
                "examples/refused/SM-201.yaml",
            ],
            &["--format", format],
        );
        assert_eq!(status(&output), 2);
        assert!(
            text(&output.stdout).contains("SM-107")
                && text(&output.stdout).contains("SM-201") == is_listed
                && text(&output.stdout).contains("NOT SCREENED") == is_listed,
            "{format}"
        );
    }
}
