//! Lists of local names as changes of a local policy: what is taken, what is told and left out, what is refused whole. Every name in
//! them is invented.
#![expect(clippy::expect_used, reason = "a slip in a test ought to stop it")]

use std::fmt::Write as _;
use std::io::Write as _;
use std::process::{Output, Stdio};

use preblock::inner::questionnaire::policy::rule_set_with;
use preblock::inner::rule_set::files::{RuleFiles, TextFile};
use preblock::inner::workbench::names::{NameColumns, names};
use rstest::rstest;
use serde_json::Value;

use crate::support::{embedded_once, program, run, said};

const TERMS: [&str; 6] = [
    "--agreed-by",
    "lead pharmacist",
    "--agreed-on",
    "2026-11-20",
    "--review-by",
    "2027-11-30",
];

/// A folder for lists and policies.
struct Lists(tempfile::TempDir);

impl Lists {
    fn new() -> Self {
        Self(tempfile::tempdir().expect("a folder"))
    }

    fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> String {
        let path = self.0.path().join(name);
        std::fs::write(&path, bytes).expect("written");
        path.display().to_string()
    }

    fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.0.path().join(name)).expect("read")
    }
}

fn import(list: &str, more: &[&str]) -> Output {
    run(&[&["names", "import", list], more, &TERMS[..]].concat())
}

const CLINIC: [&str; 2] = ["--clinic", "Saltmarsh"];

const LIST: &str = "\
name,strength,Generic
Marshol,500 mg,Paracetamol
MARSHOL   Forte,,paracetamol 500 mg
Brackmoor,3 mg,WARFARIN
marshol,,paracetamol
Paracetamol,,paracetamol
Quillane,,warfarin
Quillane,,apixaban
Tidewell,,warfarin + paracetamol
Reedex,,metoprool
Aspirin,,paracetamol
NSAID,,paracetamol
500 mg,,paracetamol
Fenbrook,,nsaid
Latex,,paracetamol
\"=HYPERLINK(\"\"x\"\")\",,paracetamol
,,paracetamol
Saltol,,
";

#[test]
fn what_is_certain_is_taken_and_the_rest_told_with_its_row() {
    let lists = Lists::new();
    let output = import(&lists.write("list.csv", LIST), &CLINIC);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output.stderr));
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("../snapshots");
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| {
        insta::assert_snapshot!(
            "names",
            format!("{}{}", said(&output.stdout), said(&output.stderr))
        );
    });
    let policy = TextFile::new("local.yaml", output.stdout);
    let rules = rule_set_with(&RuleFiles::embedded(), Some(&policy));
    let local = rules.expect("the policy loads").local.expect("a policy");
    let about: Vec<&str> = local.changes.iter().map(|it| it.about.as_str()).collect();
    assert_eq!(about, ["marshol", "marshol forte", "brackmoor"]);
}

/// A questionnaire with a local name is screened as with the generic one; without the policy the name holds the verdict.
#[test]
fn a_local_name_is_screened_as_its_generic() {
    let lists = Lists::new();
    let output = import(
        &lists.write("list.csv", "name,generic\nBrackmoor,warfarin\n"),
        &CLINIC,
    );
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    let local = lists.write("local.yaml", &output.stdout);
    let text = std::fs::read_to_string("examples/referrals/SM-103.yaml").expect("an example");
    let generic = lists.write("generic.yaml", &text);
    let named = lists.write(
        "named.yaml",
        text.replace("warfarin 3 mg", "BrackMoor  3 mg"),
    );
    let screened = |file: &str, local: &[&str]| -> Value {
        let always = ["screen", file, "--format", "json", "--as-of", "2026-11-25"];
        let output = run(&[&always[..], local].concat());
        serde_json::from_slice(&output.stdout).expect("JSON")
    };
    let comes_to = |it: &Value| -> (Value, Vec<Value>) {
        let findings = it["findings"].as_array().expect("a list").iter();
        (
            it["verdict"].clone(),
            findings.map(|it| it["rule"].clone()).collect(),
        )
    };
    let with = ["--local", &local];
    let (plain, renamed) = (screened(&generic, &with), screened(&named, &with));
    assert_eq!(comes_to(&plain), comes_to(&renamed));
    assert_eq!(renamed["unrecognised"], Value::Array(vec![]));
    let unread = screened(&named, &[]);
    assert_eq!(unread["unrecognised"][0]["text"], "BrackMoor  3 mg daily");
}

/// Of many names that were agreed together each report has one line, which counts them.
#[test]
fn many_names_are_one_line_of_a_report() {
    let lists = Lists::new();
    let rows: String = (1..=6)
        .map(|at| format!("marshol{at},paracetamol\n"))
        .collect();
    let output = import(
        &lists.write("list.csv", format!("name,generic\n{rows}")),
        &CLINIC,
    );
    let local = lists.write("local.yaml", &output.stdout);
    let screened = run(&[
        "screen",
        "examples/referrals/SM-103.yaml",
        "--as-of",
        "2026-11-25",
        "--local",
        &local,
        "--format",
        "markdown",
    ]);
    let text = said(&screened.stdout);
    let line = "6 names added, each of which means a known one: \"marshol1\", \"marshol2\", \"marshol3\", \"marshol4\" and 2 more. It \
                loosens the rule set";
    assert!(
        text.contains(line) && text.contains("6 changes: 6 loosen the rule set"),
        "{text}"
    );
}

/// A local policy keeps all that it says, comments among it; what it says already is not added again.
#[test]
fn a_local_policy_keeps_what_it_says() {
    let lists = Lists::new();
    let before = std::fs::read_to_string("examples/local-policy.yaml").expect("the example");
    let before = format!("{before}# Looked at every spring.\n");
    let policy = lists.write("local.yaml", &before);
    let list = lists.write("list.csv", "name,generic\nMarshol,paracetamol\n");
    let output = import(&list, &["--into", &policy]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    assert!(output.stdout.is_empty());
    let after = lists.read("local.yaml");
    let added = after
        .strip_prefix(&before)
        .expect("what was there stands as it stood");
    assert!(
        added.starts_with("  - { medicine_name: \"marshol\", means: \"paracetamol\""),
        "{added}"
    );
    let again = import(&list, &["--into", &policy]);
    assert_eq!(again.status.code(), Some(0));
    assert!(
        said(&again.stderr).contains("0 names taken, 1 row known already"),
        "{}",
        said(&again.stderr)
    );
    assert_eq!(lists.read("local.yaml"), after);
    // A name of the policy is never made to mean something else.
    let other = lists.write(
        "other.csv",
        "name,generic\nMarshol,warfarin\nsaltmarsh heel balm,warfarin\n",
    );
    let refused = import(&other, &["--into", &policy]);
    assert_eq!(refused.status.code(), Some(1));
    assert!(
        said(&refused.stderr).contains(
            "row 2: `marshol`: it means paracetamol, and may not be made to mean warfarin"
        )
    );
    assert_eq!(lists.read("local.yaml"), after);
}

/// A list with a slip in its form is refused whole, each slip at its place.
#[rstest]
#[case::ragged(b"name,generic\nMarshol\nBrackmoor,warfarin,x\n".as_slice(), "sheet/ragged-row", "list.csv:2:1]")]
#[case::open_quote(
    b"name,generic\nMarshol,\"paracetamol\nBrackmoor,warfarin\n",
    "sheet/quotes",
    "list.csv:2:9]"
)]
#[case::not_utf8(b"name,generic\nMarsh\xf6l,paracetamol\n", "text/not-utf8", "row 2 of")]
#[case::headings(
    b"local,generic\nMarshol,paracetamol\n",
    "shape/missing-key",
    "list.csv:1:1]"
)]
#[case::heading_twice(
    b"name,generic,Name\nMarshol,paracetamol,x\n",
    "sheet/column-twice",
    "list.csv:1:14]"
)]
#[case::another_separator(
    b"name;generic\nMarshol;paracetamol\n",
    "shape/missing-key",
    "--separator"
)]
#[case::nothing(b"", "text/empty", "says nothing")]
fn a_list_with_a_slip_is_refused_whole(
    #[case] bytes: &[u8],
    #[case] code: &str,
    #[case] place: &str,
) {
    let lists = Lists::new();
    let output = import(&lists.write("list.csv", bytes), &CLINIC);
    let told = said(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{told}");
    assert!(output.stdout.is_empty());
    assert!(told.contains(code) && told.contains(place), "{told}");
}

/// Standard input is read to its end, however long, or refused.
#[test]
fn standard_input_is_read_to_its_end() {
    let rows = "paracetamol,paracetamol\n".repeat(60_000);
    let mut program = program();
    program
        .args(["names", "import", "-"])
        .args(CLINIC)
        .args(TERMS);
    let mut child = program
        .stdin(Stdio::piped())
        .stderr(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut into = child.stdin.take().expect("its standard input");
    into.write_all(format!("name,generic\n{rows}").as_bytes())
        .expect("written");
    drop(into);
    let output = child.wait_with_output().expect("it ends");
    let told = said(&output.stderr);
    assert_eq!(
        told,
        "0 names taken, 60000 rows known already, 0 rows left out\n"
    );
    assert!(output.status.success() && output.stdout.is_empty());
}

#[test]
fn columns_and_separator_are_told() {
    let lists = Lists::new();
    let list = lists.write(
        "list.csv",
        "\u{feff}Handle;x;Wirkstoff\r\nMarshol;1;Paracetamol\r\n",
    );
    let how = [
        "--separator",
        ";",
        "--name-column",
        "handle",
        "--generic-column",
        "WIRKSTOFF",
    ];
    let output = import(&list, &[&how[..], &CLINIC].concat());
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    assert!(said(&output.stdout).contains("medicine_name: \"marshol\", means: \"paracetamol\""));
}

/// 10^5 rows of which none is taken, and each is told.
#[test]
fn a_very_long_list_is_told_whole() {
    let mut text = String::from("name,generic\n");
    for at in 0..100_000 {
        writeln!(text, "marshol {at} m,unknown{at}").expect("written");
    }
    let columns = NameColumns {
        name: "name".into(),
        generic: "generic".into(),
        separator: b',',
        together: "+".into(),
    };
    let list = names(&embedded_once().0, "list.csv", text.as_bytes(), &columns).expect("a list");
    assert_eq!((list.taken.len(), list.left_out.len()), (0, 100_000));
    assert_eq!(list.left_out.last().map(|it| it.row), Some(100_001));
}
