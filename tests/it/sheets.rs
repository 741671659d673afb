//! Sheets of other programs and the mapping files that say what they mean: what is read, and what is refused at which cell.
#![expect(clippy::panic, reason = "a sheet of the test that is refused fails it")]

use preblock::Screener;
use preblock::inner::cli::draw::rendered;
use preblock::inner::document::diagnostic::Diagnostic;
use preblock::inner::document::source::steers;
use preblock::inner::questionnaire::edit::whole::written_out;
use preblock::inner::questionnaire::mapping;
use preblock::inner::questionnaire::mapping::Mapping;
use preblock::inner::questionnaire::sheet::WholeSheet;
use preblock::inner::rule_set::RuleSet;
use rstest::rstest;

use crate::support::{embedded, run, said, today};

/// A sender who writes decimals with a comma.
const MAPPING: &str = r#"mapping: 1
for: nail-surgery
sheet: { separator: semicolon, decimal: comma, dates: DD.MM.YYYY, reference: Referral, completed_on: Filled in }
response: { form: "https://records.example/forms/intake|3" }
answers:
  - { from: Weight, to: person.weight, unit: kg }
  - { from: Height, to: person.height }
  - { from: Sex, to: person.sex, codes: { f: female, m: male, "?": unknown } }
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
        b"Referral;Sex\nSM-1;f\nSM-2;f\nSM-1;m\n",
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
