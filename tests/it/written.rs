//! Results that are written as they are made, or said not to have been; nothing of a run is passed over in silence.
#![cfg(unix)]
#![expect(
    clippy::expect_used,
    reason = "a program or folder that cannot be had fails the test"
)]

use std::fs::File;
use std::io::{BufRead as _, BufReader, Read as _};
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use rstest::rstest;
use serde_json::Value;
use tempfile::TempDir;

use crate::support::{run, said};

const CLINIC: &str = "examples/clinic.yaml";
const DAY: &str = "2026-11-25";

fn program(arguments: &[&str]) -> Command {
    let mut program = crate::support::program();
    program
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"));
    program
}

fn screen(paths: &[&Path], format: &str) -> Output {
    let paths: Vec<&str> = paths.iter().filter_map(|it| it.to_str()).collect();
    run(&[
        &[
            "screen", "--clinic", CLINIC, "--as-of", DAY, "--format", format,
        ],
        paths.as_slice(),
    ]
    .concat())
}

/// An example referral as a file of a folder, under another reference if one is given.
fn put(folder: &Path, name: &str, example: &str, reference: Option<&str>) {
    let source =
        Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("examples/referrals/{example}.yaml"));
    let text = std::fs::read_to_string(source).expect("the example is there");
    let text = text.replace(
        &format!("reference: {example}"),
        &format!("reference: {}", reference.unwrap_or(example)),
    );
    std::fs::write(folder.join(name), text).expect("the file can be written");
}

fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder")
}

// --- Results that cannot be written ----------------------------------------------------------------------------

#[cfg(target_os = "linux")]
#[rstest]
#[case::text(&["screen", "examples/referrals/SM-101.yaml", "--clinic", CLINIC, "--as-of", DAY])]
#[case::json(&["screen", "examples/referrals/SM-101.yaml", "--clinic", CLINIC, "--as-of", DAY, "--format", "json"])]
#[case::ndjson(&["screen", "examples/referrals", "--clinic", CLINIC, "--as-of", DAY, "--format", "ndjson"])]
#[case::markdown(&["screen", "examples/referrals/SM-103.yaml", "--clinic", CLINIC, "--as-of", DAY, "--format", "markdown"])]
#[case::chase(&["screen", "examples/referrals/SM-107.yaml", "--clinic", CLINIC, "--as-of", DAY, "--format", "chase"])]
#[case::fhir(&["screen", "examples/referrals/SM-107.yaml", "--clinic", CLINIC, "--as-of", DAY, "--format", "fhir"])]
#[case::cards(&["screen", "examples/referrals/SM-107.yaml", "--clinic", CLINIC, "--as-of", DAY, "--format", "cards"])]
#[case::blank(&["blank"])]
#[case::dose(&["dose", "--weight", "70 kg", "--age", "30", "--height", "170 cm", "--sex", "male", "--agent", "lidocaine 2 % 3 mL"])]
#[case::check(&["rules", "check"])]
#[case::test(&["rules", "test", "--only", "fainting"])]
#[case::junit(&["rules", "test", "--only", "fainting", "--format", "junit"])]
#[case::show(&["rules", "show"])]
#[case::due(&["rules", "due"])]
#[case::book(&["rules", "book"])]
#[case::prove(&["rules", "prove", "--only", "fainting"])]
#[case::explain(&["explain"])]
#[case::schema(&["schema", "screening"])]
#[case::help(&["--help"])]
#[case::version(&["--version"])]
fn a_full_disk_is_never_a_success(#[case] arguments: &[&str]) {
    let full = File::options()
        .write(true)
        .open("/dev/full")
        .expect("the full device");
    let output = program(arguments)
        .stdout(full)
        .output()
        .expect("the program starts");
    assert_eq!(output.status.code(), Some(74), "{}", said(&output.stderr));
    assert_eq!(
        said(&output.stderr)
            .matches("the result could not be written")
            .count(),
        1,
        "{}",
        said(&output.stderr)
    );
}

// --- Printed as they are made ----------------------------------------------------------------------------------

/// The second file is a pipe that nobody writes to before the first screening was read. What people read begins with a list
/// of all, and so is printed at the end.
#[rstest]
#[case::ndjson("ndjson", "{")]
#[case::json("json", "[")]
#[case::chase("chase", "SM-107")]
fn a_screening_is_printed_before_the_next_file_is_read(#[case] format: &str, #[case] begins: &str) {
    let folder = folder();
    put(folder.path(), "a.yaml", "SM-107", None);
    let fifo = folder.path().join("b.yaml");
    let made = Command::new("mkfifo")
        .arg(&fifo)
        .status()
        .expect("mkfifo starts");
    assert!(made.success());
    let path = folder.path().to_str().expect("a path of text");
    let mut child = program(&[
        "screen", path, "--clinic", CLINIC, "--as-of", DAY, "--format", format,
    ])
    .stdout(Stdio::piped())
    .stderr(Stdio::piped())
    .spawn()
    .expect("the program starts");
    let mut line = String::new();
    BufReader::new(child.stdout.take().expect("its output"))
        .read_line(&mut line)
        .expect("a first line");
    assert!(line.starts_with(begins), "{line}");
    child.kill().expect("it is stopped");
    child.wait().expect("it ends");
}

/// Stopped in the middle, what is there is whole.
#[rstest]
#[case::interrupted("-INT")]
#[case::terminated("-TERM")]
fn a_run_that_is_stopped_leaves_whole_records(#[case] signal: &str) {
    let folder = folder();
    for at in 0..2000 {
        put(
            folder.path(),
            &format!("{at:04}.yaml"),
            "SM-107",
            Some(&format!("SM-{at:04}")),
        );
    }
    let path = folder.path().to_str().expect("a path of text");
    let mut child = program(&[
        "screen", path, "--clinic", CLINIC, "--as-of", DAY, "--format", "json",
    ])
    .stdout(Stdio::piped())
    .stderr(Stdio::piped())
    .spawn()
    .expect("the program starts");
    let mut reader = BufReader::new(child.stdout.take().expect("its output"));
    let mut text = String::new();
    reader.read_line(&mut text).expect("a first line");
    let sent = Command::new("kill")
        .args([signal, &child.id().to_string()])
        .status()
        .expect("kill starts");
    assert!(sent.success());
    reader.read_to_string(&mut text).expect("the rest");
    let output = child.wait_with_output().expect("the program ends");
    assert_eq!(output.status.code(), Some(130), "{}", said(&output.stderr));
    let records: Vec<Value> = serde_json::from_str(&text).expect("an array, whole");
    assert!(
        !records.is_empty() && records.len() < 2000,
        "{}",
        records.len()
    );
    let left = format!(
        "Stopped before the end: {} files NOT screened.",
        2000 - records.len()
    );
    assert!(
        said(&output.stderr).contains(&left),
        "{}",
        said(&output.stderr)
    );
}

// --- Nothing is passed over in silence -------------------------------------------------------------------------

#[test]
fn a_linked_folder_is_screened_once() {
    let folder = folder();
    let (inbox, real) = (folder.path().join("inbox"), folder.path().join("real"));
    std::fs::create_dir(&inbox).expect("a folder");
    std::fs::create_dir(&real).expect("a folder");
    put(&inbox, "SM-101.yaml", "SM-101", None);
    put(&real, "SM-103.yaml", "SM-103", None);
    symlink("../real", inbox.join("ward-b")).expect("a link");
    symlink("../real", inbox.join("ward-c")).expect("a link");
    symlink("..", inbox.join("round")).expect("a link");
    let output = screen(&[&inbox], "ndjson");
    assert_eq!(
        output.status.code(),
        Some(10),
        "the patient behind the link defers: {}",
        said(&output.stderr)
    );
    assert_eq!(
        said(&output.stdout).lines().count(),
        2,
        "{}",
        said(&output.stderr)
    );
    let told = said(&output.stderr);
    assert!(
        told.matches("leads to a folder that was looked through already")
            .count()
            >= 2,
        "{told}"
    );
}

#[test]
fn what_is_no_questionnaire_by_its_name_is_told() {
    let folder = folder();
    put(folder.path(), "a.yaml", "SM-101", None);
    for name in ["b.yaml.txt", "d.yml~", "e.txt", "g.yaml "] {
        put(folder.path(), name, "SM-103", None);
    }
    let output = screen(&[folder.path()], "text");
    assert_eq!(output.status.code(), Some(0));
    let told = said(&output.stderr);
    assert!(
        told.contains("4 files passed over")
            && told.contains("`b.yaml.txt`, `d.yml~`, `e.txt`, `g.yaml `"),
        "{told}"
    );
}

#[test]
fn a_link_that_leads_nowhere_is_refused() {
    let folder = folder();
    put(folder.path(), "a.yaml", "SM-101", None);
    symlink("nowhere.yaml", folder.path().join("b.yaml")).expect("a link");
    let output = screen(&[folder.path()], "ndjson");
    assert_eq!(output.status.code(), Some(2));
    assert!(
        said(&output.stderr).contains("text/not-found"),
        "{}",
        said(&output.stderr)
    );
}

// --- Two files of one reference --------------------------------------------------------------------------------

#[rstest]
#[case::text("text", 3)]
#[case::markdown("markdown", 3)]
#[case::json("json", 2)]
#[case::ndjson("ndjson", 2)]
#[case::list("list", 1)]
#[case::html("html", 3)]
#[case::chase("chase", 0)]
fn two_files_of_one_reference_are_told_at_both(#[case] format: &str, #[case] n_notices: usize) {
    let folder = folder();
    put(folder.path(), "a.yaml", "SM-101", None);
    put(folder.path(), "b.yaml", "SM-103", Some("sm-101"));
    put(folder.path(), "c.yaml", "SM-104", None);
    let output = screen(&[folder.path()], format);
    let printed = said(&output.stdout)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    let n_told = printed
        .matches("Another file has the same reference")
        .count();
    assert!(
        n_told >= n_notices && (n_notices > 0 || n_told == 0),
        "{n_told} in {printed}"
    );
    let told = said(&output.stderr);
    assert!(
        told.contains("2 files have the reference SM-101")
            && told.contains("a.yaml")
            && told.contains("b.yaml"),
        "{told}"
    );
    assert!(!told.contains("c.yaml"), "{told}");
}

#[test]
fn a_file_that_is_refused_is_a_twin_all_the_same() {
    let folder = folder();
    put(folder.path(), "a.yaml", "SM-101", None);
    std::fs::write(
        folder.path().join("b.json"),
        "{\t\"questionnaire\": 1,\n\t\"answers\": {\"x\": [1, {}]},\n\t\"reference\": \"SM-101\"}",
    )
    .expect("a file");
    let output = screen(&[folder.path()], "ndjson");
    let records: Vec<Value> = said(&output.stdout)
        .lines()
        .filter_map(|it| serde_json::from_str(it).ok())
        .collect();
    let notices = records
        .iter()
        .filter(|it| {
            it["notices"]
                .to_string()
                .contains("Another file has the same reference")
        })
        .count();
    assert_eq!((records.len(), notices), (2, 2), "{records:?}");
}

// --- Refused files in what programs read -----------------------------------------------------------------------

#[test]
fn a_refused_file_stands_in_its_place() {
    let folder = folder();
    put(folder.path(), "a.yaml", "SM-101", None);
    std::fs::write(
        folder.path().join("b.yaml"),
        "questionnaire: 1\nreference: SM-990\nanswers:\n  person:\n    weight: 70\n",
    )
    .expect("a file");
    std::fs::write(folder.path().join("c.yaml"), "questionnaire: [\n").expect("a file");
    put(folder.path(), "d.yaml", "SM-103", None);
    let schema = std::fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("schemas/screening.schema.json"),
    )
    .expect("the schema");
    let schema: Value = serde_json::from_str(&schema).expect("the schema is JSON");
    let schema = jsonschema::draft7::new(&schema).expect("the schema is draft-07");
    let array = screen(&[folder.path()], "json");
    let lines = screen(&[folder.path()], "ndjson");
    assert_eq!(
        (array.status.code(), lines.status.code()),
        (Some(2), Some(2))
    );
    let records: Vec<Value> = serde_json::from_slice(&array.stdout).expect("an array");
    let of_lines: Vec<Value> = said(&lines.stdout)
        .lines()
        .filter_map(|it| serde_json::from_str(it).ok())
        .collect();
    assert_eq!(records, of_lines);
    for it in &records {
        let wrong: Vec<String> = schema
            .iter_errors(it)
            .map(|it| format!("{}: {it}", it.instance_path()))
            .collect();
        assert!(wrong.is_empty(), "{wrong:?}");
    }
    let references: Vec<&Value> = records.iter().map(|it| &it["reference"]).collect();
    assert_eq!(
        references,
        ["SM-101", "SM-990", "null", "SM-103"]
            .map(|it| if it == "null" { Value::Null } else { it.into() })
            .iter()
            .collect::<Vec<_>>()
    );
    let [_, unit, broken, _] = records.as_slice() else {
        unreachable!("four records")
    };
    assert_eq!(unit["diagnostics"][0]["code"], "answers/needs-unit");
    assert_eq!(
        (
            &unit["diagnostics"][0]["line"],
            &unit["diagnostics"][0]["column"]
        ),
        (&5.into(), &13.into())
    );
    assert!(unit.get("verdict").is_none() && broken.get("verdict").is_none());
    assert!(
        broken["path"]
            .as_str()
            .is_some_and(|it| it.ends_with("c.yaml"))
    );
    let one = screen(&[&folder.path().join("b.yaml")], "json");
    assert_eq!(
        serde_json::from_slice::<Value>(&one.stdout).ok().as_ref(),
        Some(unit),
        "one file is an object, refused or not"
    );
}

#[rstest]
#[case("SM-101", "go", None)]
#[case("SM-103", "defer", None)]
#[case("SM-118", "refer", Some("same-day"))]
fn the_verdict_stands_with_its_urgency(
    #[case] reference: &str,
    #[case] verdict: &str,
    #[case] urgency: Option<&str>,
) {
    let output = run(&[
        "screen",
        &format!("examples/referrals/{reference}.yaml"),
        "--clinic",
        CLINIC,
        "--as-of",
        DAY,
        "--format",
        "json",
    ]);
    let found: Value = serde_json::from_slice(&output.stdout).expect("an object");
    assert_eq!(
        (found["verdict"].as_str(), found["urgency"].as_str()),
        (Some(verdict), urgency)
    );
}
