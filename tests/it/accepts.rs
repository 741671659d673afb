//! Other ways of writing the same thing come to the same screening.

use preblock::facts;
use preblock::load::questionnaire;
use preblock::model::RuleSet;
use preblock::report::json;
use preblock::screening::{Screening, SourceStamp};
use rstest::rstest;

use crate::support::{codes, embedded, screening, today};

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

/// The screening of a text, without what names its places.
fn screened(rules: &RuleSet, name: &str, bytes: &[u8]) -> Screening {
    let (read, found) = questionnaire::questionnaire(rules, name, bytes);
    assert!(found.is_empty(), "{name}: {:?}", codes(&found));
    let answers = read.map(|it| it.answers).unwrap_or_default();
    let (facts, found) = facts::read(rules, &answers, today());
    assert!(found.is_empty(), "{name}: {:?}", codes(&found));
    let mut screening = screening(rules, &facts);
    screening.source = SourceStamp { path: String::new(), digest: String::new() };
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
    assert!(plain.findings.iter().any(|it| it.rule == "bleeding/inr-above-ceiling"), "the plain text is not what it is taken for");
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
    same("comments.yaml", &PLAIN.replace("answers:\n", "answers:   # what was said\n\n  # first the person\n"));
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
    let other = screened(&rules, "other.yaml", PLAIN.replacen(plain, other, 1).as_bytes());
    let plain = screened(&rules, "plain.yaml", PLAIN.as_bytes());
    // The words shown may differ in spelling; what is found must not.
    let rules_of = |it: &Screening| (it.verdict, it.findings.iter().map(|it| it.rule.clone()).collect::<Vec<_>>(), it.undetermined.clone());
    assert_eq!(rules_of(&other), rules_of(&plain));
    assert_eq!(other.anaesthetic.map(|it| it.load), plain.anaesthetic.map(|it| it.load));
}

/// Units of another country, compound ones too: equal to the unit of the question to the last digit that counts.
#[rstest]
#[case("weight: 68 kg", "weight: 149.914 lb", "person.weight", 68.0)]
#[case("weight: 68 kg", "weight: 10 st 9.914 lb", "person.weight", 68.0)]
#[case("height: 170 cm", "height: 1.7 m", "person.height", 170.0)]
#[case("height: 170 cm", "height: 5 ft 7 in", "person.height", 170.18)]
#[case("value: 69 mmol/mol", "value: 8.5 %", "diabetes.hba1c", 69.0)]
fn units_of_another_country(#[case] plain: &str, #[case] other: &str, #[case] fact: &str, #[case] expected: f64) {
    let rules = embedded();
    let (read, _) = questionnaire::questionnaire(&rules, "t.yaml", PLAIN.replacen(plain, other, 1).as_bytes());
    let (facts, found) = facts::read(&rules, &read.map(|it| it.answers).unwrap_or_default(), today());
    assert!(found.is_empty(), "{:?}", codes(&found));
    let number = rules.catalogue.slot(fact).and_then(|slot| facts.number(slot)).unwrap_or(f64::NAN);
    assert!((number - expected).abs() < 0.001, "{other} was read as {number}");
}

/// The same in JSON, once with spaces and once indented by tabs.
#[rstest]
#[case(" ")]
#[case("\t")]
fn the_same_in_json(#[case] indent: &str) {
    let read = preblock::load::text::read("plain.yaml", PLAIN.as_bytes(), 1 << 20);
    let value = read.root.map(|it| preblock::load::shape::to_json(&it)).unwrap_or_default();
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
    let (clinic, _) = questionnaire::clinic(&rules, "clinic.yaml", clinic.as_bytes());
    let (own, _) = questionnaire::questionnaire(&rules, "own.yaml", own.as_bytes());
    let both = questionnaire::over(&clinic.map(|it| it.answers).unwrap_or_default(), &own.map(|it| it.answers).unwrap_or_default());
    let (facts, _) = facts::read(&rules, &both, today());
    let shown = |fact: &str| rules.catalogue.slot(fact).and_then(|slot| facts.known(slot)).map(|it| it.shown.clone());
    assert_eq!(shown("plan.ablation").as_deref(), Some("Electrosurgery or radio-frequency current"));
    assert_eq!(shown("plan.adrenaline"), None);
    assert!(!json::one(&screening(&rules, &facts)).is_empty());
}
