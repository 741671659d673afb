//! Sheets of other programs and the mapping files that say what they mean: what is read, and what is refused at which cell.
#![expect(clippy::panic, reason = "a sheet of the test that is refused fails it")]

use preblock::Screener;
use preblock::inner::batch::lines::{InputEnd, RowBlocks};
use preblock::inner::cli::draw::rendered;
use preblock::inner::document::diagnostic::Diagnostic;
use preblock::inner::document::rows::{Rows, SheetRow};
use preblock::inner::document::source::{Node, NodeKind, steers};
use proptest::prelude::*;
use std::io::{BufReader, Read};
use std::path::PathBuf;

use preblock::inner::questionnaire::edit::whole::written_out;
use preblock::inner::questionnaire::facts::Gathered;
use preblock::inner::questionnaire::mapping;
use preblock::inner::questionnaire::mapping::Mapping;
use preblock::inner::questionnaire::sheet::WholeSheet;
use preblock::inner::rule_set::{Answer, RuleSet};
use preblock::inner::screening::screener::Referral;
use rstest::rstest;
use serde_json::{Value, json};

use crate::support::{SEED, embedded, embedded_once, run, said, today};

/// A sender who writes decimals with a comma.
const MAPPING: &str = r#"mapping: 1
for: nail-surgery
sheet: { separator: semicolon, decimal: comma, dates: DD.MM.YYYY, reference: Referral, completed_on: Filled in }
response: { form: "https://records.example/forms/intake|3" }
answers:
  - { from: Weight, to: person.weight, unit: kg }
  - { from: Height, to: person.height }
  - { from: Sex, to: person.sex, codes: { f: female, m: male, "?": unknown }, system: "https://records.example/sex" }
  - { from: Medicine 1, to: medicines.current, split: "+", codes: { nil: none, "?": unknown } }
  - { from: Medicine 2, to: medicines.current, further: true }
  - { from: Angina, to: circulation.conditions, codes: { y: ALPHA, n: none, "?": unknown } }
  - { from: Stroke, to: circulation.conditions, codes: { y: BETA, n: none, "?": unknown } }
  - { from: INR, to: bleeding.inr }
  - { from: INR on, to: bleeding.inr.taken_on }
  - { from: Smoker, to: circulation.smoker }
  - { from: Remarks, to: note }
  - { from: Heart, to: bleeding.note }
ignore: [Clerk]
"#;

/// The mapping with two options of a list that the rule set has.
fn mapping_text(rules: &RuleSet) -> String {
    let questions = &rules.catalogue.questions;
    let conditions = questions
        .iter()
        .find(|it| it.id == "circulation.conditions");
    let ids: Vec<&str> = conditions
        .into_iter()
        .flat_map(|it| it.options())
        .map(|it| it.id.as_str())
        .collect();
    let [alpha, beta, ..] = ids.as_slice() else {
        panic!("the question has too few options")
    };
    MAPPING.replace("ALPHA", alpha).replace("BETA", beta)
}

fn codes(found: &[Diagnostic]) -> Vec<&'static str> {
    found.iter().map(|it| it.code.name()).collect()
}

fn drawn(found: &[Diagnostic]) -> String {
    let drawn: Vec<String> = found.iter().map(|it| rendered(it, 80, false)).collect();
    drawn.join("\n")
}

/// Each row as a questionnaire, or what is wrong with it; or what is wrong with the whole sheet.
fn rows(
    rules: &RuleSet,
    mapping: &Mapping,
    sheet: &[u8],
) -> Result<Vec<Result<String, Vec<Diagnostic>>>, Vec<Diagnostic>> {
    let sheet = WholeSheet::read(rules, mapping, "sheet.csv", sheet)?;
    let screener = Screener::new(rules, today());
    let read = sheet.rows().map(|row| {
        let read = screener.read_row(sheet.heading(), &row);
        read.map(|it| written_out(rules, &it.reference, &it.answers))
            .map_err(|refusal| refusal.problems)
    });
    Ok(read.collect())
}

fn mapping(rules: &RuleSet) -> Mapping {
    match mapping::read(rules, "mapping.yaml", mapping_text(rules).as_bytes()) {
        Ok(mapping) => mapping,
        Err(found) => panic!("the mapping is refused:\n{}", drawn(&found)),
    }
}

/// What is wrong with a sheet of one row below its heading.
fn slip(sheet: &[u8]) -> Vec<Diagnostic> {
    let rules = embedded();
    match rows(&rules, &mapping(&rules), sheet) {
        Err(found) => found,
        Ok(rows) => rows.into_iter().filter_map(Result::err).flatten().collect(),
    }
}

/// The answers of a sheet of one row, a line each.
fn answers(heading: &str, row: &str) -> String {
    let rules = embedded();
    let sheet = format!("Referral;{heading}\nSM-211;{row}\n");
    match rows(&rules, &mapping(&rules), sheet.as_bytes()).as_deref() {
        Ok([Ok(text)]) => text
            .split_once("answers:\n")
            .map_or("", |it| it.1)
            .to_owned(),
        Ok([Err(found)]) => panic!("{sheet} is refused:\n{}", drawn(found)),
        other => panic!("{sheet} is refused: {other:?}"),
    }
}

#[rstest]
#[case::unit_of_the_column("Weight", "81,5", "  person:\n    weight: 81.5 kg\n")]
#[case::unit_of_the_cell("Weight", "12 st 3 lb", "  person:\n    weight: 12 st 3 lb\n")]
#[case::a_code("Sex", "f", "  person:\n    sex: female\n")]
#[case::not_known("Sex", "?", "  person:\n    sex: unknown\n")]
#[case::declined("Smoker", "declined", "  circulation:\n    smoker: declined\n")]
#[case::truth("Smoker", "true", "  circulation:\n    smoker: yes\n")]
#[case::not_asked("Sex;Weight", ";", "")]
#[case::not_asked_in_quotes("Sex;Weight", "\"\";  ", "")]
#[case::none("Medicine 1;Medicine 2", "nil;", "  medicines:\n    current: []\n")]
#[case::list_not_asked("Medicine 1;Medicine 2", ";", "")]
#[case::list_not_known("Medicine 1", "?", "  medicines:\n    current: unknown\n")]
#[case::several(
    "Medicine 1;Medicine 2",
    "warfarin 3 mg + aspirin;paracetamol",
    "  medicines:\n    current: [warfarin 3 mg, aspirin, paracetamol]\n"
)]
#[case::ignored("Clerk;Sex", "anybody;m", "  person:\n    sex: male\n")]
#[case::result(
    "INR;INR on",
    "2,4;01.11.2026",
    "  bleeding:\n    inr: { value: 2.4, taken_on: 2026-11-01 }\n"
)]
#[case::result_of_no_day(
    "INR;INR on",
    "2,4;",
    "  bleeding:\n    inr: { value: 2.4, taken_on: null }\n"
)]
#[case::result_not_known("INR;INR on", "unknown;", "  bleeding:\n    inr: unknown\n")]
#[case::short_day(
    "INR;INR on",
    "2;1.9.2026",
    "  bleeding:\n    inr: { value: 2, taken_on: 2026-09-01 }\n"
)]
#[case::quotes(
    "Remarks",
    "\"says \"\"no\"\"; walks\"",
    "note: \"says \\\"no\\\"; walks\"\n"
)]
#[case::lines("Remarks", "\"one\ntwo\"", "note: \"one\\ntwo\"\n")]
#[case::formula("Remarks", "=1+1", "note: \"=1+1\"\n")]
#[case::formula_in_a_list(
    "Medicine 1",
    "@SUM(A1)",
    "  medicines:\n    current: [\"@SUM(A1)\"]\n"
)]
#[case::note_of_a_section("Heart", "bruises", "  bleeding:\n    note: bruises\n")]
fn a_cell_is_read(#[case] heading: &str, #[case] row: &str, #[case] expected: &str) {
    assert_eq!(answers(heading, row), expected);
}

/// What a sheet comes to, and where that is told: its place begins with this line and column.
pub const SLIPS: &[(&str, &[u8], &str, &str)] = &[
    ("empty", b"", "text/empty", ""),
    ("blank rows", b"\n\r\n;;\n\"\";\n", "text/empty", ""),
    ("heading only", b"Referral;Sex\n", "text/empty", ""),
    (
        "separators alone, which are not none",
        b"Referral;Medicine 1\nSM-1; + \n",
        "shape/wrong-form",
        "2:6",
    ),
    (
        "column not mapped",
        b"Referral;Sxe\nSM-1;f\n",
        "mapping/not-mapped",
        "1:10",
    ),
    (
        "heading twice",
        b"Referral;Sex;Sex\nSM-1;f;m\n",
        "sheet/column-twice",
        "1:14",
    ),
    (
        "column without a heading",
        b"Referral;;Sex\nSM-1;f;m\n",
        "sheet/column-twice",
        "1:10",
    ),
    (
        "no reference",
        b"Sex;Weight\nm;81\n",
        "shape/missing-key",
        "1:1",
    ),
    (
        "another separator",
        b"Referral,Sex\nSM-1,f\n",
        "mapping/not-mapped shape/missing-key",
        "1:1",
    ),
    (
        "too few cells",
        b"Referral;Sex;Weight\nSM-1;f\n",
        "sheet/ragged-row",
        "2:1",
    ),
    (
        "too many cells",
        b"Referral;Sex\nSM-1;f;81\n",
        "sheet/ragged-row",
        "2:8",
    ),
    (
        "quote that never closes",
        b"Referral;Remarks\nSM-1;\"a\nSM-2;b\n",
        "sheet/quotes",
        "2:6",
    ),
    (
        "quote within a cell",
        b"Referral;Remarks\nSM-1;5\" wide\n",
        "sheet/quotes",
        "2:6",
    ),
    (
        "text behind a quote",
        b"Referral;Remarks\nSM-1;\"a\"b\n",
        "sheet/quotes",
        "2:6",
    ),
    (
        "another encoding",
        b"Referral;Remarks\nSM-1;caf\xe9\n",
        "text/not-utf8",
        "",
    ),
    (
        "two bytes a letter",
        b"\xff\xfeR\0e\0f\0",
        "text/not-utf8",
        "",
    ),
    (
        "zero byte",
        b"Referral;Remarks\nSM-1;a\0b\n",
        "text/odd-character",
        "2:7",
    ),
    (
        "direction of writing",
        "Referral;Remarks\nSM-1;a\u{202e}b\n".as_bytes(),
        "text/odd-character",
        "2:7",
    ),
    (
        "lone carriage return",
        b"Referral;Remarks\nSM-1;a\rb\n",
        "text/odd-character",
        "2:7",
    ),
    (
        "reference that is a name",
        b"Referral;Sex\nMary;f\n",
        "shape/wrong-form",
        "2:1",
    ),
    (
        "reference left out",
        b"Referral;Sex\n;f\n",
        "shape/wrong-form",
        "2:1",
    ),
    (
        "reference twice",
        b"Referral;Sex\nSM-1;f\nSM-2;f\nsm-1;m\n",
        "sheet/reference-twice sheet/reference-twice",
        "2:1",
    ),
    (
        "word without a meaning",
        b"Referral;Sex\nSM-1;female\n",
        "answers/not-an-option",
        "2:6",
    ),
    (
        "option that is none",
        b"Referral;Smoker\nSM-1;sometimes\n",
        "answers/wrong-kind",
        "2:6",
    ),
    (
        "point for a comma",
        b"Referral;Weight\nSM-1;81.5\n",
        "answers/not-a-number",
        "2:6",
    ),
    (
        "two commas",
        b"Referral;Weight\nSM-1;1,081,5\n",
        "answers/not-a-number",
        "2:6",
    ),
    (
        "number without a unit",
        b"Referral;Height\nSM-1;178\n",
        "answers/needs-unit",
        "2:6",
    ),
    (
        "unit of something else",
        b"Referral;Weight\nSM-1;81 cm\n",
        "answers/wrong-unit",
        "2:6",
    ),
    (
        "formula for a number",
        b"Referral;INR;INR on\nSM-1;=2+2;01.11.2026\n",
        "answers/not-a-number",
        "2:6",
    ),
    (
        "date in another form",
        b"Referral;INR;INR on\nSM-1;2;03/04/2026\n",
        "answers/not-a-date",
        "2:8",
    ),
    (
        "date in the standard form",
        b"Referral;INR;INR on\nSM-1;2;2026-11-01\n",
        "answers/not-a-date",
        "2:8",
    ),
    (
        "day that there is not",
        b"Referral;INR;INR on\nSM-1;2;31.02.2026\n",
        "answers/not-a-date",
        "2:8",
    ),
    (
        "day in the future",
        b"Referral;INR;INR on\nSM-1;2;01.12.2026\n",
        "answers/future-date",
        "2:8",
    ),
    (
        "filled in on no day",
        b"Referral;Filled in\nSM-1;13.13.2026\n",
        "answers/not-a-date",
        "2:6",
    ),
    (
        "none beside a name",
        b"Referral;Medicine 1\nSM-1;nil+aspirin\n",
        "shape/not-together",
        "2:6",
    ),
    (
        "none and a further name",
        b"Referral;Medicine 1;Medicine 2\nSM-1;nil;aspirin\n",
        "shape/not-together",
        "2:10",
    ),
    (
        "further name alone",
        b"Referral;Medicine 1;Medicine 2\nSM-1;;aspirin\n",
        "shape/not-together",
        "2:7",
    ),
    (
        "part of a list not asked",
        b"Referral;Angina;Stroke\nSM-1;n;\n",
        "shape/not-together",
        "2:6",
    ),
    (
        "part of a list not in the sheet",
        b"Referral;Angina\nSM-1;n\n",
        "shape/not-together",
        "2:6",
    ),
    (
        "not known beside an option",
        b"Referral;Angina;Stroke\nSM-1;y;?\n",
        "shape/not-together",
        "2:8",
    ),
];

#[test]
fn a_slip_in_a_sheet_is_told_at_its_cell() {
    for (name, sheet, expected, place) in SLIPS {
        let found = slip(sheet);
        assert_eq!(
            codes(&found).join(" "),
            *expected,
            "{name}:\n{}",
            drawn(&found)
        );
        let told = found
            .first()
            .and_then(Diagnostic::place)
            .unwrap_or_default();
        let told = told.strip_prefix("sheet.csv:").unwrap_or_default();
        assert_eq!(told, *place, "{name}:\n{}", drawn(&found));
        for it in &found {
            assert!(
                !it.help.is_empty() && !it.title.ends_with('.'),
                "{name}: {it:?}"
            );
            assert!(it.title.chars().count() <= 110, "{name}: {}", it.title);
            let drawn = rendered(it, 80, false);
            assert!(
                !drawn.chars().any(|letter| letter != '\n' && steers(letter)),
                "{name}: {drawn}"
            );
        }
    }
}

/// A comma where a point is told is no number, and never one that is ten times as large.
#[test]
fn a_comma_is_refused_where_a_point_is_told() {
    let rules = embedded();
    let text = mapping_text(&rules).replace("decimal: comma", "decimal: point");
    let Ok(mapping) = mapping::read(&rules, "mapping.yaml", text.as_bytes()) else {
        panic!("the mapping is refused")
    };
    for (cell, expected) in [("81,5", Err(())), ("1,081", Err(())), ("81.5", Ok(()))] {
        let sheet = format!("Referral;Weight\nSM-1;{cell}\n");
        let rows = rows(&rules, &mapping, sheet.as_bytes()).unwrap_or_default();
        let [row] = rows.as_slice() else {
            panic!("{cell}: {rows:?}")
        };
        assert_eq!(row.as_ref().map(|_| ()).map_err(|_| ()), expected, "{cell}");
        if let Err(found) = row {
            assert_eq!(codes(found), ["answers/not-a-number"], "{cell}");
        }
    }
}

/// What a change of the mapping file comes to.
pub const MAPPING_SLIPS: &[(&str, &str, &str, &str)] = &[
    (
        "another rule set",
        "for: nail-surgery",
        "for: skin-lesion",
        "answers/another-rule-set",
    ),
    (
        "key that is not known",
        "ignore:",
        "ignored:",
        "shape/unknown-key",
    ),
    (
        "no reference",
        ", reference: Referral",
        "",
        "shape/missing-key",
    ),
    (
        "another form",
        "mapping: 1",
        "mapping: 2",
        "shape/not-an-option",
    ),
    ("separator", "semicolon", "\";\"", "shape/not-an-option"),
    (
        "no form of dates",
        ", dates: DD.MM.YYYY",
        "",
        "shape/missing-key",
    ),
    (
        "no such question",
        "to: person.weight",
        "to: person.wieght",
        "answers/unknown-question",
    ),
    (
        "derived fact",
        "to: person.height",
        "to: derived.age",
        "answers/unknown-question",
    ),
    (
        "day of what has none",
        "to: person.height",
        "to: person.height.taken_on",
        "answers/unknown-question",
    ),
    (
        "no such option",
        "f: female",
        "f: femal",
        "answers/not-an-option",
    ),
    (
        "option of another question",
        "f: female",
        "f: yes",
        "answers/not-an-option",
    ),
    (
        "none where it is no answer",
        "f: female",
        "f: none",
        "answers/not-an-option",
    ),
    (
        "no such medicine",
        "nil: none",
        "nil: nothing",
        "answers/not-an-option",
    ),
    (
        "option mapped to nothing",
        "f: female",
        "f: ~",
        "shape/wrong-type",
    ),
    (
        "unit of something else",
        "unit: kg",
        "unit: cm",
        "answers/wrong-unit",
    ),
    (
        "unit of what has none",
        "to: bleeding.inr }",
        "to: bleeding.inr, unit: kg }",
        "shape/not-together",
    ),
    (
        "split of what is no list",
        "to: person.height",
        "split: \"+\", to: person.height",
        "shape/not-together",
    ),
    (
        "column twice",
        "from: Height",
        "from: Weight",
        "mapping/mapped-twice",
    ),
    (
        "read and ignored",
        "ignore: [Clerk]",
        "ignore: [Sex]",
        "mapping/mapped-twice",
    ),
    (
        "reference as an answer",
        "from: Sex",
        "from: Referral",
        "mapping/mapped-twice",
    ),
    (
        "two columns to one question",
        "to: person.height",
        "to: person.weight",
        "mapping/mapped-twice",
    ),
    (
        "goes on with nothing",
        "split: \"+\"",
        "further: true",
        "mapping/mapped-twice",
    ),
];

#[test]
fn a_slip_in_a_mapping_file_is_told() {
    let rules = embedded();
    let text = mapping_text(&rules);
    for (name, from, to, expected) in MAPPING_SLIPS {
        assert!(text.contains(from), "{name}");
        let changed = text.replacen(from, to, 1);
        let found = mapping::read(&rules, "mapping.yaml", changed.as_bytes())
            .err()
            .unwrap_or_default();
        assert_eq!(
            codes(&found).join(" "),
            *expected,
            "{name}:\n{}",
            drawn(&found)
        );
        let place = found
            .first()
            .and_then(Diagnostic::place)
            .unwrap_or_default();
        assert!(place.starts_with("mapping.yaml:"), "{name}: {place}");
    }
}

/// Three rows, each with more than one would think: a mark of the byte order, ends of lines of another system, a cell of two
/// lines, a blank row, no end of the last line. Rows are counted as a spreadsheet counts, lines as an editor does.
#[test]
fn rows_keep_their_numbers() {
    let rules = embedded();
    let mapping = mapping(&rules);
    let text = "\u{feff}Referral;Remarks;Sex\r\nSM-1;\"a\r\nb\";f\r\n\r\n;;\r\nSM-2;;x\r\nSM-3;;m";
    let Ok(sheet) = WholeSheet::read(&rules, &mapping, "sheet.csv", text.as_bytes()) else {
        panic!("the sheet is refused")
    };
    let screener = Screener::new(&rules, today());
    let read: Vec<String> = sheet
        .rows()
        .map(|row| match screener.read_row(sheet.heading(), &row) {
            Ok(referral) => referral.reference,
            Err(refusal) => {
                let place = refusal.problems.first().and_then(Diagnostic::place);
                format!("{} {}", refusal.path, place.unwrap_or_default())
            }
        })
        .collect();
    assert_eq!(read, ["SM-1", "sheet.csv, row 5 sheet.csv:6:7", "SM-3"]);
}

#[test]
fn a_row_of_ten_megabytes_is_refused_alone() {
    let rules = embedded();
    let text = format!(
        "Referral;Remarks\nSM-1;a\nSM-2;{}\nSM-3;b\nSM-4;\"{}\nSM-5;c\n",
        "x".repeat(10 << 20),
        "x\n".repeat(1 << 20)
    );
    let rows = rows(&rules, &mapping(&rules), text.as_bytes()).unwrap_or_default();
    let read: Vec<String> = rows
        .iter()
        .map(|row| match row {
            Ok(_) => "read".to_owned(),
            Err(found) => codes(found).join(" "),
        })
        .collect();
    assert_eq!(read, ["read", "text/too-large", "read", "text/too-large"]);
}

/// The sheet of the examples becomes questionnaires; one that is there is left as it is.
#[test]
fn the_example_is_imported() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| panic!("{error}"));
    let out = folder.path().display().to_string();
    let import = [
        "import",
        "examples/interchange/referrals.csv",
        "--mapping",
        "examples/interchange/mapping.yaml",
        "--as-of",
        "2026-11-25",
        "--out",
        &out,
    ];
    let output = run(&import);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    let written =
        |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap_or_default();
    let text = written("SM-212.yaml");
    assert!(
        text.contains("    inr: { value: 4.0, taken_on: 2026-11-24 }\n"),
        "{text}"
    );
    assert!(
        text.contains("    current: [warfarin 3 mg daily, bisoprolol 2.5 mg]\n"),
        "{text}"
    );
    assert!(written("SM-213.yaml").contains("    known: unknown\n"));
    assert!(written("SM-211.yaml").contains("    current: []\n"));
    let again = run(&import);
    assert_eq!(again.status.code(), Some(74), "{}", said(&again.stderr));
    assert_eq!(written("SM-212.yaml"), text);
}

/// One mapping file serves both: a response of the same practice to its own form.
#[test]
fn the_response_of_the_example_is_imported() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| panic!("{error}"));
    let out = folder.path().display().to_string();
    let file = "examples/interchange/SM-214.intake.json";
    let without = run(&["import", file, "--out", &out, "--as-of", "2026-11-25"]);
    assert_eq!(without.status.code(), Some(2));
    assert!(said(&without.stderr).contains("answers/another-rule-set"));
    let output = run(&[&["import", file, "--out", &out], &EXAMPLE[..]].concat());
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    let text = std::fs::read_to_string(folder.path().join("SM-214.yaml")).unwrap_or_default();
    let expected = "questionnaire: 1\nfor: nail-surgery\nreference: SM-214\ncompleted_on: 2026-11-23\nanswers:\n  person:\n    \
                    date_of_birth: 1972-08-30\n    sex: female\n    weight: 68.5 kg\n  medicines:\n    current: [apixaban 5 mg \
                    twice a day, ramipril 5 mg]\n  allergies:\n    known: []\n  circulation:\n    smoker: no\nnote: Sent by the \
                    evening surgery.\n";
    assert_eq!(text, expected);
}

/// A reference that a sheet and a file both have is told with each; one that a sheet has twice refuses both rows.
#[test]
fn a_reference_that_comes_twice_is_told() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| panic!("{error}"));
    let path = folder.path().join("sheet.csv");
    let sheet = "Referral,Weight\nSM-101,81\nSM-212,71\nSM-212,72\n";
    assert!(std::fs::write(&path, sheet).is_ok());
    let path = path.display().to_string();
    let files = [
        "screen",
        "examples/referrals/SM-101.yaml",
        &path,
        "--format",
        "ndjson",
    ];
    let output = run(&[&files, &EXAMPLE[..]].concat());
    assert_eq!(output.status.code(), Some(2));
    let lines = said(&output.stdout);
    let lines: Vec<&str> = lines.lines().collect();
    let notices = |line: &&&str| line.contains("the same reference");
    assert_eq!(lines.len(), 4, "{lines:#?}");
    assert_eq!(lines.iter().filter(notices).count(), 4, "{lines:#?}");
    assert_eq!(
        said(&output.stderr)
            .matches("rows 3, 4 have the same reference")
            .count(),
        2
    );
}

/// A sheet that nobody holds: so many rows, made as they are read.
struct Endless {
    row: usize,
    left: Vec<u8>,
}

impl Read for Endless {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        const ROWS: usize = 1_000_000;
        if self.left.is_empty() && self.row < ROWS {
            self.row += 1;
            let row = self.row;
            self.left = format!("SM-{row};81,5;\"two\nlines; {row}\"\n").into_bytes();
        }
        let n_bytes = self.left.len().min(buffer.len());
        buffer[..n_bytes].copy_from_slice(&self.left[..n_bytes]);
        self.left.drain(..n_bytes);
        Ok(n_bytes)
    }
}

/// What is held of a million rows is one block, whatever their number.
#[test]
fn a_million_rows_are_read_in_small_blocks() {
    let input = Endless {
        row: 0,
        left: Vec::new(),
    };
    let mut blocks = RowBlocks::new(Rows::new(BufReader::new(input), b';'), 256);
    let (mut buffer, mut n_rows, mut largest, mut last) = (Vec::new(), 0, 0, 0);
    let end = loop {
        match blocks.next(buffer) {
            Ok(block) => {
                n_rows += block.rows.len();
                largest = largest.max(block.bytes.capacity());
                last = block.rows.last().map_or(0, |(at, _)| at.line);
                buffer = block.bytes;
            }
            Err(end) => break end,
        }
    };
    assert!(matches!(end, InputEnd::Whole));
    assert_eq!((n_rows, last), (1_000_000, 1_999_999));
    assert!(largest < 1 << 16, "{largest}");
}

proptest! {
    #![proptest_config(ProptestConfig { rng_seed: SEED, ..ProptestConfig::with_cases(300) })]

    /// Cells that are written as RFC 4180 has it come back, wherever they have quotes, separators and ends of lines.
    #[test]
    fn cells_come_back_as_they_were_written(cells in prop::collection::vec("[a-z;\",\n ]{0,8}", 1..6)) {
        let written: Vec<String> = cells.iter().map(|it| quoted(it)).collect();
        let text = format!("x;y\n{}\n", written.join(";"));
        let mut rows = Rows::new(text.as_bytes(), b';');
        let mut read: Vec<Vec<String>> = Vec::new();
        loop {
            let mut bytes = Vec::new();
            let Ok(Some(at)) = rows.next_row(&mut bytes) else { break };
            let cells = SheetRow { at, bytes: &bytes }.cells("sheet.csv", b';');
            let cells = cells.map_or_else(|found| vec![drawn(&found)], |it| it.1.into_iter().map(|cell| cell.text).collect());
            read.push(cells);
        }
        let trimmed: Vec<String> = cells.iter().map(|it| it.trim().to_owned()).collect();
        let says_something = cells.iter().any(|it| it.contains(|letter: char| !"\" ;\n".contains(letter)));
        let expected = [vec!["x".to_owned(), "y".to_owned()], trimmed];
        prop_assert_eq!(&read[..], &expected[..if says_something { 2 } else { 1 }]);
    }

    /// Whatever bytes stand in a sheet, each row of it is read, or refused with a word; and no row is lost.
    #[test]
    fn no_bytes_of_a_sheet_are_passed_over(
        bytes in prop::collection::vec(prop_oneof![Just(b'"'), Just(b';'), Just(b'\n'), Just(b'a'), Just(b'1'), any::<u8>()], 0..60),
    ) {
        let rules = embedded_once();
        let sheet = [b"Referral;Sex;Remarks\nSM-1;f;a\n", &bytes[..]].concat();
        let mapping = mapping(&rules.0);
        let rows = rows(&rules.0, &mapping, &sheet).unwrap_or_default();
        prop_assert!(rows.first().is_some_and(Result::is_ok) || rows.len() > 1);
        for row in &rows {
            prop_assert!(row.as_ref().err().is_none_or(|found| !found.is_empty()));
        }
        let letters = bytes.contains(&b'a');
        prop_assert!(!letters || rows.len() > 1);
    }
}

/// A sheet is never read without a mapping file.
#[test]
fn a_sheet_needs_a_mapping() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| panic!("{error}"));
    let out = folder.path().join("out").display().to_string();
    let output = run(&[
        "import",
        "examples/interchange/referrals.csv",
        "--out",
        &out,
    ]);
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output.stderr).contains("sheet/no-mapping"));
    assert!(!folder.path().join("out").exists());
}

/// What a sheet can hold of an example: a column for each answer, in our own words.
struct Written {
    mapping: String,
    headings: Vec<String>,
    cells: Vec<String>,
}

fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('"', "\"\""))
}

impl Written {
    fn put(&mut self, column: &str, entry: &str, cell: &str) {
        self.mapping
            .push_str(&format!("  - {{ from: \"{column}\", {entry} }}\n"));
        self.headings.push(quoted(column));
        self.cells.push(quoted(cell));
    }

    /// The answers of an example, and those of them that a sheet holds, as a file of its own.
    fn of(rules: &RuleSet, referral: &Referral) -> (Self, Gathered) {
        let mut written = Self {
            mapping: "mapping: 1\nfor: nail-surgery\nsheet: { separator: comma, decimal: point, dates: YYYY-MM-DD, \
                      reference: Ref, completed_on: Day }\nanswers:\n"
                .to_owned(),
            headings: vec!["Ref".to_owned(), "Day".to_owned()],
            cells: vec![
                referral.reference.clone(),
                referral.answers.completed_on.as_ref().map_or(String::new(), |it| it.0.to_string()),
            ],
        };
        let mut kept = referral.answers.clone();
        for (at, question) in rules.catalogue.questions.entries() {
            let Some(given) = referral.answers.given.get(&at) else {
                continue;
            };
            let shown = |node: &Node| node.written(&given.source).map(str::to_owned);
            let (id, none) = (&question.id, "split: \"|\", codes: { nil: none }");
            let (node, to) = (&given.node, format!("to: {id}"));
            let is_flat = node.items().iter().all(|it| shown(it).is_some());
            match &node.kind {
                NodeKind::List(items)
                    if items.is_empty() && question.answer != Answer::Anaesthetic =>
                {
                    let codes = match &question.answer {
                        Answer::SeveralOf(options) => {
                            let same = options.iter().map(|it| format!(", {0}: {0}", it.id));
                            none.replace(" }", &format!("{} }}", same.collect::<String>()))
                        }
                        _ => none.to_owned(),
                    };
                    written.put(id, &format!("{to}, {codes}"), "nil");
                }
                NodeKind::List(items) if is_flat => {
                    let items: Vec<String> = items.iter().filter_map(shown).collect();
                    written.put(id, &format!("{to}, split: \"|\""), &items.join(" | "));
                }
                NodeKind::Map(_) => {
                    let part = |key: &str| node.get(key).and_then(shown).unwrap_or_default();
                    written.put(id, &to, &part("value"));
                    let day = format!("{id}.taken_on");
                    written.put(&day, &format!("to: {day}"), &part("taken_on"));
                }
                // A plan, a dose of its own, a reaction.
                NodeKind::List(_) => {
                    kept.given.remove(&at);
                }
                _ => written.put(id, &to, &shown(node).unwrap_or_default()),
            }
        }
        for note in &referral.answers.notes {
            let column = format!("note {}", written.headings.len());
            let to = if note.section.is_empty() {
                "note".to_owned()
            } else {
                format!("{}.note", note.section)
            };
            written.put(&column, &format!("to: {to}"), &note.text);
        }
        (written, kept)
    }
}

/// Every example as a sheet of one row, and back.
#[rstest]
fn an_example_comes_back_the_same(#[files("examples/referrals/*")] path: PathBuf) {
    let rules = embedded();
    let bytes = std::fs::read(&path).unwrap_or_default();
    let screener = Screener::new(&rules, today());
    let name = path.display().to_string();
    let Ok(referral) = screener.read(&name, &bytes) else {
        panic!("{name} is refused")
    };
    let (written, kept) = Written::of(&rules, &referral);
    let mapping = match mapping::read(&rules, "mapping.yaml", written.mapping.as_bytes()) {
        Ok(mapping) => mapping,
        Err(found) => panic!("{}\n{}", written.mapping, drawn(&found)),
    };
    let sheet = format!(
        "{}\n{}\n",
        written.headings.join(","),
        written.cells.join(",")
    );
    let expected = written_out(&rules, &referral.reference, &kept);
    let n_kept = kept.given.len();
    assert!(
        n_kept + 2 >= referral.answers.given.len(),
        "a sheet holds {n_kept} answers"
    );
    match rows(&rules, &mapping, sheet.as_bytes()).as_deref() {
        Ok([Ok(text)]) => assert_eq!(*text, expected),
        Ok([Err(found)]) => panic!("{sheet}\n{}", drawn(found)),
        other => panic!("{sheet}\n{other:?}"),
    }
}

const EXAMPLE: [&str; 4] = [
    "--mapping",
    "examples/interchange/mapping.yaml",
    "--as-of",
    "2026-11-25",
];

/// The three referrals of the example are screened as what they become when they are imported.
#[test]
fn the_example_is_screened_as_imported() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| panic!("{error}"));
    let out = folder.path().display().to_string();
    let sheet = "examples/interchange/referrals.csv";
    let imported = run(&[&["import", sheet, "--out", &out], &EXAMPLE[..]].concat());
    assert_eq!(
        imported.status.code(),
        Some(0),
        "{}",
        said(&imported.stderr)
    );
    let screened = |arguments: &[&str]| -> Vec<[Value; 4]> {
        let common = ["screen", "--format", "ndjson", "--as-of", "2026-11-25"];
        let output = run(&[&common, arguments].concat());
        let lines = said(&output.stdout);
        let lines = lines.lines().map(|line| {
            let line: Value = serde_json::from_str(line).unwrap_or_default();
            let ids = |of: &str| {
                let rules = line[of].as_array().into_iter().flatten();
                rules.map(|it| it["rule"].clone()).collect()
            };
            let (fires, waits) = (ids("findings"), ids("undetermined"));
            [
                line["reference"].clone(),
                line["verdict"].clone(),
                fires,
                waits,
            ]
        });
        let mut lines: Vec<[Value; 4]> = lines.collect();
        lines.sort_by_key(|it| it[0].to_string());
        lines
    };
    let straight = screened(&[sheet, "--mapping", "examples/interchange/mapping.yaml"]);
    assert_eq!(straight.len(), 3);
    assert!(straight.iter().all(|it| it[3] != json!([])), "{straight:?}");
    assert_eq!(straight, screened(&[&out]));
    let batch = run(&[&["batch", sheet], &EXAMPLE[..]].concat());
    assert_eq!(batch.status.code(), Some(0), "{}", said(&batch.stderr));
    let lines = said(&batch.stdout);
    let lines: Vec<Value> = lines
        .lines()
        .map(|it| serde_json::from_str(it).unwrap_or_default())
        .collect();
    let answers: Vec<[&Value; 3]> = lines
        .iter()
        .map(|it| [&it["line"], &it["reference"], &it["verdict"]])
        .collect();
    let expected: Vec<[Value; 3]> = straight
        .iter()
        .zip(2..)
        .map(|([reference, verdict, ..], row)| [json!(row), reference.clone(), verdict.clone()])
        .collect();
    assert_eq!(json!(answers), json!(expected));
}

/// A row that is refused is one line that says at which cell; the others are answered.
#[test]
fn a_batch_answers_each_row() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| panic!("{error}"));
    let path = folder.path().join("sheet.csv");
    let sheet = "Referral,Weight,Remarks,Clerk\r\nSM-211,81,\"two\nlines\",\r\nSM-212,heavy,,\r\n\r\nSM-213,71,,\r\nSM-214,1\r\n";
    assert!(std::fs::write(&path, sheet).is_ok());
    let path = path.display().to_string();
    let output = run(&[&["batch", &path], &EXAMPLE[..]].concat());
    let lines: Vec<Value> = said(&output.stdout)
        .lines()
        .map(|it| serde_json::from_str(it).unwrap_or_default())
        .collect();
    let told: Vec<String> = lines
        .iter()
        .map(|it| {
            let found = &it["refused"][0];
            format!(
                "{} {} {} {} {}",
                it["line"], it["reference"], found["code"], found["line"], found["column"]
            )
        })
        .collect();
    assert_eq!(
        told,
        [
            "2 \"SM-211\" null null null",
            "3 \"SM-212\" \"answers/not-a-number\" 4 8",
            "5 \"SM-213\" null null null",
            "6 null \"sheet/ragged-row\" 7 1",
        ]
    );
    let output = run(&["batch", &path, "--as-of", "2026-11-25"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output.stderr).contains("sheet/no-mapping"));
}

/// A response to the form of the sender whose columns [`MAPPING`] describes.
fn response(item: &Value) -> Value {
    json!({
        "resourceType": "QuestionnaireResponse",
        "questionnaire": "https://records.example/forms/intake|3",
        "status": "completed",
        "subject": { "identifier": { "value": "SM-221" } },
        "authored": "2026-11-20",
        "item": item
    })
}

fn of_response(response: &Value) -> Result<String, Vec<Diagnostic>> {
    let rules = embedded();
    let screener = Screener::new(&rules, today());
    let Ok(screener) = screener.mapped("mapping.yaml", mapping_text(&rules).as_bytes()) else {
        panic!("the mapping is refused")
    };
    let read = screener.read("response.json", format!("{response:#}").as_bytes());
    let read = read.map_err(|refusal| refusal.problems)?;
    let text = written_out(&rules, &read.reference, &read.answers);
    Ok(text
        .split_once("answers:\n")
        .map_or("", |it| it.1)
        .to_owned())
}

fn answered(link: &str, answers: &Value) -> Value {
    json!({ "linkId": link, "answer": answers })
}

#[rstest]
#[case::code("Sex", json!([{ "valueCoding": { "system": "https://records.example/sex", "code": "f", "display": "Frau" } }]), "  person:\n    sex: female\n")]
#[case::code_not_known("Sex", json!([{ "valueCoding": { "system": "https://records.example/sex", "code": "?" } }]), "  person:\n    sex: unknown\n")]
#[case::word("Sex", json!([{ "valueString": "m" }]), "  person:\n    sex: male\n")]
#[case::number_of_the_unit("Weight", json!([{ "valueDecimal": 81.5 }]), "  person:\n    weight: 81.5 kg\n")]
#[case::quantity("Height", json!([{ "valueQuantity": { "value": 178, "system": "http://unitsofmeasure.org", "code": "cm" } }]), "  person:\n    height: 178 cm\n")]
#[case::number_not_known("Weight", json!([{ "valueCoding": { "system": "http://terminology.hl7.org/CodeSystem/data-absent-reason", "code": "asked-unknown" } }]), "  person:\n    weight: unknown\n")]
#[case::boolean("Smoker", json!([{ "valueBoolean": true }]), "  circulation:\n    smoker: yes\n")]
#[case::list("Medicine 1", json!([{ "valueString": "warfarin 3 mg" }, { "valueString": "aspirin" }]), "  medicines:\n    current: [warfarin 3 mg, aspirin]\n")]
#[case::none("Medicine 1", json!([{ "valueCoding": { "code": "nil" } }]), "  medicines:\n    current: []\n")]
#[case::ignored("Clerk", json!([{ "valueString": "anybody" }]), "")]
#[case::note("Remarks", json!([{ "valueString": "walks" }]), "note: walks\n")]
fn an_item_of_another_form_is_read(
    #[case] link: &str,
    #[case] answers: Value,
    #[case] expected: &str,
) {
    // However it is grouped.
    let item = answered(link, &answers);
    let grouped = json!([{ "linkId": "page-1", "item": [{ "linkId": "box", "item": [item] }] }]);
    for items in [json!([item]), grouped] {
        match of_response(&response(&items)) {
            Ok(text) => assert_eq!(text, expected),
            Err(found) => panic!("{items:#} is refused:\n{}", drawn(&found)),
        }
    }
}

#[test]
fn items_of_one_list_are_joined_and_a_result_keeps_its_day() {
    let coded =
        |link: &str, code: &str| answered(link, &json!([{ "valueCoding": { "code": code } }]));
    let both = of_response(&response(&json!([
        coded("Angina", "y"),
        coded("Stroke", "n")
    ])));
    let neither = of_response(&response(&json!([
        coded("Angina", "n"),
        coded("Stroke", "n")
    ])));
    let rules = embedded();
    let alpha = mapping_text(&rules);
    let alpha = alpha.split_once("codes: { y: ").map_or("", |it| it.1);
    let alpha = alpha.split_once(',').map_or("", |it| it.0);
    assert_eq!(
        both.ok(),
        Some(format!("  circulation:\n    conditions: [{alpha}]\n"))
    );
    assert_eq!(
        neither.ok().as_deref(),
        Some("  circulation:\n    conditions: []\n")
    );
    let result = json!([
        answered("INR", &json!([{ "valueDecimal": 2.4 }])),
        answered(
            "INR on",
            &json!([{ "valueDateTime": "2026-11-01T08:30:00Z" }])
        ),
    ]);
    // The hour is the sender's, of another zone perhaps: it is left out, and told.
    let read = of_response(&response(&result));
    assert_eq!(
        read.ok().as_deref(),
        Some(
            "  bleeding:\n    inr: { value: 2.4, taken_on: 2026-11-01 }\n    note: \"What was the latest INR? 2026-11-01T08:30:00Z: the day alone is read.\"\n"
        )
    );
}

#[rstest]
#[case::not_mapped(json!([{ "linkId": "Pacemaker", "answer": [{ "valueBoolean": true }] }]), "mapping/not-mapped")]
#[case::not_mapped_within(json!([{ "linkId": "Sex", "answer": [{ "valueString": "f", "item": [{ "linkId": "why", "answer": [{ "valueString": "a" }] }] }] }]), "mapping/not-mapped")]
#[case::code_without_a_meaning(json!([{ "linkId": "Sex", "answer": [{ "valueCoding": { "system": "https://records.example/sex", "code": "x" } }] }]), "answers/not-an-option")]
#[case::code_of_another_system(json!([{ "linkId": "Sex", "answer": [{ "valueCoding": { "system": "https://records.example/gender", "code": "f" } }] }]), "answers/not-an-option")]
#[case::code_of_no_system(json!([{ "linkId": "Sex", "answer": [{ "valueCoding": { "code": "f" } }] }]), "answers/not-an-option")]
#[case::code_of_a_system_that_is_no_text(json!([{ "linkId": "Medicine 1", "answer": [{ "valueCoding": { "system": 5, "code": "nil" } }] }]), "answers/not-an-option")]
#[case::code_of_a_system_that_nobody_told(json!([{ "linkId": "Medicine 1", "answer": [{ "valueCoding": { "system": "https://records.example/none", "code": "nil" } }] }]), "answers/not-an-option")]
#[case::number_without_a_unit(json!([{ "linkId": "Height", "answer": [{ "valueDecimal": 178 }] }]), "answers/needs-unit")]
#[case::part_of_a_list(json!([{ "linkId": "Angina", "answer": [{ "valueCoding": { "code": "n" } }] }]), "shape/not-together")]
#[case::none_beside_a_name(json!([{ "linkId": "Medicine 1", "answer": [{ "valueCoding": { "code": "nil" } }, { "valueString": "aspirin" }] }]), "shape/not-together")]
#[case::none_and_a_further_name(json!([
    { "linkId": "Medicine 1", "answer": [{ "valueCoding": { "code": "nil" } }] },
    { "linkId": "Medicine 2", "answer": [{ "valueString": "aspirin" }] }
]), "shape/not-together")]
#[case::twice(json!([
    { "linkId": "Sex", "answer": [{ "valueString": "f" }] },
    { "linkId": "Sex", "answer": [{ "valueString": "m" }] }
]), "text/duplicate-key")]
#[case::list_twice(json!([
    { "linkId": "Medicine 1", "answer": [{ "valueString": "aspirin" }] },
    { "linkId": "Medicine 1", "answer": [{ "valueString": "warfarin" }] }
]), "text/duplicate-key")]
#[case::of_another_type(json!([{ "linkId": "INR", "answer": [{ "valueBoolean": true }] }]), "answers/wrong-kind")]
#[case::two_values(json!([{ "linkId": "Sex", "answer": [{ "valueString": "f", "valueBoolean": true }] }]), "shape/not-together")]
#[case::modifier_of_a_group(json!([{ "linkId": "page", "modifierExtension": [], "item": [{ "linkId": "Sex", "answer": [{ "valueString": "f" }] }] }]), "answers/not-to-be-used")]
#[case::modifier_of_an_item(json!([{ "linkId": "Sex", "modifierExtension": [], "answer": [{ "valueString": "f" }] }]), "answers/not-to-be-used")]
#[case::modifier_of_an_answer(json!([{ "linkId": "Sex", "answer": [{ "valueString": "f", "modifierExtension": [] }] }]), "answers/not-to-be-used")]
#[case::boolean_in_quotes(json!([{ "linkId": "Smoker", "answer": [{ "valueBoolean": "true" }] }]), "answers/not-an-option")]
#[case::boolean_of_nothing(json!([{ "linkId": "Smoker", "answer": [{ "valueBoolean": null }] }]), "answers/not-an-option")]
#[case::moment_that_is_none(json!([{ "linkId": "INR on", "answer": [{ "valueDateTime": "2026-11-24Tomorrow" }] }]), "answers/wrong-kind")]
#[case::moment_that_is_a_number(json!([{ "linkId": "INR on", "answer": [{ "valueDateTime": 2026 }] }]), "answers/wrong-kind")]
#[case::no_link(json!([{ "answer": [{ "valueString": "f" }] }]), "shape/missing-key")]
#[case::no_list(json!({ "linkId": "Sex" }), "shape/wrong-type")]
fn an_item_of_another_form_is_refused(#[case] items: Value, #[case] code: &str) {
    let found = of_response(&response(&items)).err().unwrap_or_default();
    assert_eq!(codes(&found), [code], "{items:#}\n{}", drawn(&found));
}

/// Another form, or another version of it, is refused as without a mapping; and our own form is read as ever.
#[test]
fn only_the_form_that_is_told_is_translated() {
    let mut other = response(&json!([]));
    other["questionnaire"] = json!("https://records.example/forms/intake|4");
    let found = of_response(&other).err().unwrap_or_default();
    assert_eq!(codes(&found), ["answers/another-rule-set"]);
}
