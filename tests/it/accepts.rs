//! Other ways of writing the same thing come to the same screening.

use preblock::Screener;
use preblock::inner::report::json;
use preblock::inner::rule_set::RuleSet;
use preblock::inner::screening::result::{Screening, SourceStamp};
use rstest::rstest;

use crate::support::{codes, embedded, facts_over, screening, today};

const PLAIN: &str = "\
questionnaire: 1
reference: T-1
completed_on: 2026-11-20
answers:
  person: { date_of_birth: 1950-03-01, sex: female, weight: 68 kg, height: 170 cm }
  plan:
    procedure_on: 2026-12-03
    toes: [left-great]
    adrenaline: no
    anaesthetic: [{ agent: lidocaine, strength: 2 %, volume: 3 mL }]
  medicines:
    current: [warfarin]
    note: said café at three
  bleeding:
    inr: { value: 4.5, taken_on: 2026-11-24 }
    alcohol_units: 12
  diabetes: { kind: type-2, hba1c: { value: 69 mmol/mol, taken_on: 2026-11-01 } }
";

/// The schema that editors use does not underline what the reader takes.
fn an_editor_accepts(name: &str, bytes: &[u8]) {
    let schema: serde_json::Value = serde_json::from_str(
        preblock::inner::document::shape::schema("questionnaire").unwrap_or_default(),
    )
    .unwrap_or_default();
    let read = preblock::inner::document::text::read(name, bytes, 1 << 20);
    let (Some(source), Some(root)) = (read.source, read.root) else {
        return;
    };
    let found = preblock::inner::document::shape::check_against(&schema, &source, &root);
    assert!(
        found.is_empty(),
        "{name}: {:?}\n{}",
        codes(&found),
        String::from_utf8_lossy(bytes)
    );
}

/// The screening of a text, without what names its places.
fn screened(rules: &RuleSet, name: &str, bytes: &[u8]) -> Screening {
    an_editor_accepts(name, bytes);
    let screener = Screener::new(rules, today()).without_search();
    let mut screening = screener
        .screen(name, bytes)
        .unwrap_or_else(|found| unreachable!("{name}: {:?}", codes(&found)));
    screening.source = SourceStamp {
        path: String::new(),
        digest: String::new(),
    };
    for because in screening.findings.iter_mut().flat_map(|it| &mut it.because) {
        (because.path, because.line, because.column) = (None, None, None);
    }
    for note in &mut screening.notes {
        (note.path, note.line) = (String::new(), 0);
    }
    screening
}

fn same(name: &str, text: &str) {
    let rules = embedded();
    let plain = screened(&rules, "plain.yaml", PLAIN.as_bytes());
    assert!(
        plain
            .findings
            .iter()
            .any(|it| it.rule == "bleeding/inr-above-ceiling"),
        "the plain text is not what it is taken for"
    );
    assert_eq!(screened(&rules, name, text.as_bytes()), plain);
}

#[test]
fn a_byte_order_mark() {
    same("bom.yaml", &format!("\u{feff}{PLAIN}"));
}

#[test]
fn line_ends_of_another_system() {
    same("crlf.yaml", &PLAIN.replace('\n', "\r\n"));
}

#[test]
fn no_line_end_at_the_end() {
    same("end.yaml", PLAIN.trim_end());
}

#[test]
fn comments_and_empty_lines() {
    same(
        "comments.yaml",
        &PLAIN.replace(
            "answers:\n",
            "answers:   # what was said\n\n  # first the person\n",
        ),
    );
}

/// Quotes change nothing; yes and no may be true and false.
#[rstest]
#[case("sex: female", "sex: \"female\"")]
#[case("weight: 68 kg", "weight: '68 kg'")]
#[case("procedure_on: 2026-12-03", "procedure_on: \"2026-12-03\"")]
#[case("adrenaline: no", "adrenaline: false")]
#[case("adrenaline: no", "adrenaline: \"no\"")]
#[case("toes: [left-great]", "toes:\n      - left-great")]
#[case("current: [warfarin]", "current: [ Warfarin ]")]
#[case("agent: lidocaine", "agent: Lignocaine")]
#[case("strength: 2 %", "strength: 20 mg/mL")]
#[case("volume: 3 mL", "volume: 3ml")]
#[case("value: 69 mmol/mol", "value: 69mmol/mol")]
fn another_spelling(#[case] plain: &str, #[case] other: &str) {
    let rules = embedded();
    assert!(PLAIN.contains(plain));
    let other = screened(
        &rules,
        "other.yaml",
        PLAIN.replacen(plain, other, 1).as_bytes(),
    );
    let plain = screened(&rules, "plain.yaml", PLAIN.as_bytes());
    // The words shown may differ in spelling; what is found must not.
    let rules_of = |it: &Screening| {
        (
            it.verdict(),
            it.findings
                .iter()
                .map(|it| it.rule.clone())
                .collect::<Vec<_>>(),
            it.undetermined.clone(),
        )
    };
    assert_eq!(rules_of(&other), rules_of(&plain));
    assert_eq!(
        other.anaesthetic.map(|it| it.load),
        plain.anaesthetic.map(|it| it.load)
    );
}

/// Units of another country, compound ones too: equal to the unit of the question to the last digit that counts.
#[rstest]
#[case("weight: 68 kg", "weight: 149.914 lb", "person.weight", 68.0)]
#[case("weight: 68 kg", "weight: 10 st 9.914 lb", "person.weight", 68.0)]
#[case("height: 170 cm", "height: 1.7 m", "person.height", 170.0)]
#[case("height: 170 cm", "height: 5 ft 7 in", "person.height", 170.18)]
#[case("value: 69 mmol/mol", "value: 8.5 %", "diabetes.hba1c", 69.0)]
fn units_of_another_country(
    #[case] plain: &str,
    #[case] other: &str,
    #[case] fact: &str,
    #[case] expected: f64,
) {
    let rules = embedded();
    let text = PLAIN.replacen(plain, other, 1);
    an_editor_accepts("t.yaml", text.as_bytes());
    let facts = facts_over(&rules, None, &text);
    let number = rules
        .catalogue
        .slot(fact)
        .and_then(|slot| facts.number(slot))
        .unwrap_or(f64::NAN);
    assert!(
        (number - expected).abs() < 0.001,
        "{other} was read as {number}"
    );
}

/// What may stand for "nobody knows", and other things that are right though rare.
#[rstest]
#[case("reference: T-1", "reference: 4711")]
#[case("completed_on: 2026-11-20", "completed_on: unknown")]
#[case("completed_on: 2026-11-20", "completed_on: 2026-11-20 09:30")]
#[case("completed_on: 2026-11-20", "completed_on:")]
#[case(
    "completed_on: 2026-11-20\n",
    "completed_on: 2026-11-20\nnote: |\n  two\n  lines\n"
)]
#[case("sex: female", "sex: unknown")]
#[case("sex: female", "sex: declined")]
#[case("weight: 68 kg", "weight: ~")]
#[case("date_of_birth: 1950-03-01", "date_of_birth: unknown")]
#[case("procedure_on: 2026-12-03", "procedure_on: 2026-12-03 10:30")]
#[case("toes: [left-great]", "toes: []")]
#[case("toes: [left-great]", "toes: unknown")]
#[case(
    "anaesthetic: [{ agent: lidocaine, strength: 2 %, volume: 3 mL }]",
    "anaesthetic: unknown"
)]
#[case(
    "anaesthetic: [{ agent: lidocaine, strength: 2 %, volume: 3 mL }]",
    "anaesthetic: []"
)]
#[case("strength: 2 %", "strength: unknown")]
#[case("volume: 3 mL", "volume: declined")]
#[case(
    "current: [warfarin]",
    "current: [{ name: warfarin, daily: 5 mg, for: 3 months }]"
)]
#[case(
    "current: [warfarin]",
    "current: [{ name: warfarin, daily: unknown, for: unknown }]"
)]
#[case(
    "current: [warfarin]",
    "current: [{ name: warfarin }, something nobody knows]"
)]
#[case("inr: { value: 4.5, taken_on: 2026-11-24 }", "inr: unknown")]
#[case(
    "inr: { value: 4.5, taken_on: 2026-11-24 }",
    "inr: { value: unknown, taken_on: unknown }"
)]
#[case(
    "inr: { value: 4.5, taken_on: 2026-11-24 }",
    "inr: { value: \"4.5\", taken_on: 2026-11-24 08:00 }"
)]
#[case("alcohol_units: 12", "alcohol_units: \"12\"")]
#[case("alcohol_units: 12", "alcohol_units: 1.2e1")]
#[case(
    "  person: {",
    "  clinic:\n  allergies: { known: [latex, { to: penicillin }, { to: phenol, reaction: unknown }] }\n  person: {"
)]
fn rare_but_right(#[case] plain: &str, #[case] other: &str) {
    assert!(PLAIN.contains(plain));
    screened(
        &embedded(),
        "rare.yaml",
        PLAIN.replacen(plain, other, 1).as_bytes(),
    );
}

/// What is certainly a comment, or certainly none, hides nothing.
#[rstest]
#[case("alcohol_units: 12", "alcohol_units: 12   # a week")]
#[case(
    "current: [warfarin]",
    "current: [warfarin]   # [] means asked and none"
)]
#[case(
    "current: [warfarin]",
    "current:   # the list is his own\n      # both sides of it\n      - warfarin\n      # nothing else"
)]
#[case("current: [warfarin]", "current:\n      - \"warfarin\"   # in quotes")]
#[case(
    "current: [warfarin]",
    "current:\n      - { name: warfarin }   # behind the bracket"
)]
#[case(
    "current: [warfarin]",
    "current: [\"warfarin\",   # the first\n      ]"
)]
#[case(
    "note: said café at three",
    "note: \"said café at three\"   # a quotation"
)]
#[case(
    "note: said café at three",
    "note: |-\n      said café at three\n    # a remark"
)]
fn comments_that_hide_nothing(#[case] plain: &str, #[case] other: &str) {
    assert!(PLAIN.contains(plain));
    same("twin.yaml", &PLAIN.replacen(plain, other, 1));
}

/// Which letters `#` stands among is for its writer to say.
#[rstest]
#[case(
    "note: said café at three",
    "note: tablet#2 at three",
    "tablet#2 at three"
)]
#[case(
    "note: said café at three",
    "note: \"tablet #2 at three\"",
    "tablet #2 at three"
)]
#[case(
    "note: said café at three",
    "note: |\n      tablet #2\n      at three",
    "tablet #2\nat three"
)]
fn a_note_may_hold_a_hash(#[case] plain: &str, #[case] other: &str, #[case] shown: &str) {
    let screening = screened(
        &embedded(),
        "hash.yaml",
        PLAIN.replacen(plain, other, 1).as_bytes(),
    );
    assert_eq!(
        screening.notes.first().map(|it| it.text.as_str()),
        Some(shown)
    );
}

#[rstest]
#[case("SM-103")]
#[case("2026/11-0003_b.2")]
#[case("104977")]
#[case("\"20261399\"")]
#[case("a123456789b123456789c123456789d123456789")]
fn references(#[case] reference: &str) {
    screened(
        &embedded(),
        "reference.yaml",
        PLAIN.replacen("T-1", reference, 1).as_bytes(),
    );
}

#[rstest]
#[case("date_of_birth: 1950-03-01", "date_of_birth: 1916-11-25")]
#[case("questionnaire: 1", "questionnaire: 1\nfor: nail-surgery")]
#[case("questionnaire: 1", "questionnaire: 1\nfor:")]
#[case("weight: 68 kg", "weight: 10 st 10 lb")]
#[case("height: 170 cm", "height: 1 m 70 cm")]
fn just_right(#[case] plain: &str, #[case] other: &str) {
    assert!(PLAIN.contains(plain));
    screened(
        &embedded(),
        "right.yaml",
        PLAIN.replacen(plain, other, 1).as_bytes(),
    );
}

/// The same in JSON, once with spaces and once indented by tabs.
#[rstest]
#[case(" ")]
#[case("\t")]
fn the_same_in_json(#[case] indent: &str) {
    let read = preblock::inner::document::text::read("plain.yaml", PLAIN.as_bytes(), 1 << 20);
    let value = read
        .root
        .map(|it| preblock::inner::document::shape::to_json(&it))
        .unwrap_or_default();
    let mut bytes = Vec::new();
    let formatter = serde_json::ser::PrettyFormatter::with_indent(indent.as_bytes());
    let mut writer = serde_json::Serializer::with_formatter(&mut bytes, formatter);
    assert!(serde::Serialize::serialize(&value, &mut writer).is_ok());
    same("twin.json", &String::from_utf8_lossy(&bytes));
}

/// A patient's own answer replaces the clinic's standing one, also when it says that nothing is known.
#[test]
fn a_patients_own_answer_replaces_a_standing_one() {
    let rules = embedded();
    let clinic = "clinic: 1\nname: Saltmarsh Foot Clinic\nanswers:\n  plan: { ablation: phenol, adrenaline: no }\n";
    let own = "questionnaire: 1\nreference: T-1\nanswers:\n  plan: { ablation: electrosurgery, adrenaline: unknown }\n";
    let facts = facts_over(&rules, Some(clinic), own);
    let shown = |fact: &str| {
        rules
            .catalogue
            .slot(fact)
            .and_then(|slot| facts.known(slot))
            .map(|it| it.shown.clone())
    };
    assert_eq!(
        shown("plan.ablation").as_deref(),
        Some("Electrosurgery or radio-frequency current")
    );
    assert_eq!(shown("plan.adrenaline"), None);
    assert!(!json::one(&screening(&rules, &facts)).is_empty());
}
