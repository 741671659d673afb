//! Derived facts that count, from answers as they are written: what comes out, and what leaves them missing.

use preblock::inner::questionnaire::facts::{Fact, Facts};
use preblock::inner::rule_set::RuleSet;
use preblock::inner::rule_set::files::RuleFiles;
use preblock::inner::rule_set::read::rule_set;
use rstest::rstest;

use crate::support::{codes, facts, files, text_of};

const QUESTIONS: &str = "      - { id: systolic, ask: Upper?, answer: quantity, measure: pressure, unit: mmHg, from: record }
      - { id: diastolic, ask: Lower?, answer: quantity, measure: pressure, unit: mmHg, from: record }
      - { id: hba1c, ask: HbA1c?, answer: quantity, measure: hba1c, unit: '%', from: record }
      - { id: solution, ask: Solution?, answer: quantity, measure: strength, unit: '%', from: record }
      - id: referral
        ask: Which toes in the referral?
        answer: several-of
        options: [{ id: right-great, text: Right }, { id: left-great, text: Left }]
        from: record
      - id: signs_counted
        ask: Which points?
        answer: several-of
        options: [{ id: old, text: Old, counts: 2 }, { id: tall, text: Tall, counts: 0.5 }, { id: well, text: Well, counts: -1 }]
        from: patient
      - id: strength
        ask: How strong?
        answer: one-of
        options: [{ id: weak, text: Weak, counts: 5 }, { id: strong, text: Strong, counts: 10 }]
        from: nurse
derived:
  - { id: pulse, about: Pulse pressure, formula: difference, unit: mmHg, decimals: 0, with: { one: a.systolic, other: a.diastolic } }
  - { id: part, about: Part, formula: share-of, decimals: 2, with: { part: a.diastolic, whole: a.systolic } }
  - { id: points, about: Points, formula: points-of, decimals: 1, with: { list: a.signs_counted } }
  - { id: point, about: Points, formula: points-of, decimals: 1, with: { list: a.strength } }
  - { id: gone, about: Gone, formula: count-missing-from, decimals: 0, with: { list: plan.toes, other: a.referral } }
  - { id: daily, about: Steroid, formula: steroid-daily, unit: mg, decimals: 1, with: { medicines: a.taken } }
  - { id: adrenal, about: Steroid, formula: adrenal-steroid-daily, unit: mg, decimals: 1, with: { medicines: a.taken } }
  - { id: days, about: Course, formula: steroid-days, unit: days, decimals: 0, with: { medicines: a.taken } }
  - id: adrenaline_total
    about: Adrenaline
    formula: adrenaline-total
    unit: microgram
    decimals: 1
    with: { plan: plan.anaesthetic, adrenaline: plan.adrenaline, strength: a.strength }
  - id: adrenaline_per_kg
    about: Adrenaline for each kilogram
    formula: adrenaline-per-kg
    unit: microgram/kg
    decimals: 1
    with: { total: derived.adrenaline_total, weight: a.weight }
";

const PARACETAMOL: &str = "  - id: paracetamol
    about: Most paracetamol in a day
    formula: paracetamol-ceiling
    unit: g
    decimals: 1
    with:
      weight: a.weight
      age: derived.age
      adult_from: { limit: adult }
      light: { limit: light }
      middle: { limit: middle }
      light_daily: { limit: two }
      middle_daily: { limit: three }
      full_daily: { limit: four }
      child_per_kg: { limit: for-each }
      child_dose_cap: { limit: one }
      doses: { limit: ceiling }
";

const LIMITS: &str = "  - { id: light, about: Light, value: 40 kg, citations: [{ source: book }] }
  - { id: middle, about: Middle, value: 50 kg, citations: [{ source: book }] }
  - { id: one, about: One, value: 1 g, citations: [{ source: book }] }
  - { id: two, about: Two, value: 2000 mg, citations: [{ source: book }] }
  - { id: three, about: Three, value: 3 g, citations: [{ source: book }] }
  - { id: four, about: Four, value: 4 g, citations: [{ source: book }] }
  - { id: for-each, about: For each kilogram, value: 15 mg/kg, citations: [{ source: book }] }
";

const STEROIDS: &str = "  - { name: prednisolone, in: [other], as_prednisolone: 1 }
  - { name: hydrocortisone, in: [other], as_prednisolone: 0.25, adrenal_as_prednisolone: 0.5 }
";

/// The tiny rule set with the questions above, and a reason that this test may give it.
fn changed(reason: &str, questions: &str) -> RuleFiles {
    let mut all = files(&[("one", "defer", "{ fact: a.smokes, is: yes }")]);
    let mut change = |path: &str, change: &dyn Fn(&str) -> String| {
        all.set(path, change(&text_of(&all, path)));
    };
    change("questions.yaml", &|old| {
        format!("{}{PARACETAMOL}", old.replacen("derived:\n", questions, 1))
    });
    change("limits.yaml", &|old| format!("{old}{LIMITS}"));
    change("medicines.yaml", &|old| format!("{old}{STEROIDS}"));
    change("concerns/test.yaml", &|old| {
        old.replacen("So it is.", reason, 1)
    });
    all
}

#[expect(
    clippy::panic,
    reason = "a fixture that does not load fails the test that uses it"
)]
fn rules() -> RuleSet {
    rule_set(&changed("So it is.", QUESTIONS))
        .unwrap_or_else(|found| panic!("refused: {}", codes(&found).join(", ")))
}

/// The value as shown, or the answers that are waited for.
fn shown(rules: &RuleSet, facts: &Facts, name: &str) -> String {
    let slot = rules.catalogue.slot(&format!("derived.{name}"));
    match slot.map(|it| facts.get(it)) {
        Some(Fact::Known(known)) => known.shown.clone(),
        Some(Fact::Missing(missing)) => {
            let needs: Vec<&str> = missing
                .needs
                .iter()
                .map(|it| rules.catalogue.id(*it))
                .collect();
            format!("{}: {}", missing.why.in_words(), needs.join(", "))
        }
        None => "no such fact".to_owned(),
    }
}

const WAITS: &str = "cannot be worked out yet";
const CANNOT: &str = "cannot be worked out from these answers";

#[rstest]
#[case("pulse", "a: { systolic: 120 mmHg, diastolic: 80 mmHg }", "40 mmHg")]
#[case("pulse", "a: { systolic: 90 mmHg, diastolic: 95 mmHg }", "-5 mmHg")]
#[case("pulse", "a: { systolic: 90 mmHg }", &format!("{WAITS}: a.diastolic"))]
#[case("pulse", "a: { diastolic: unknown }", &format!("{WAITS}: a.systolic, a.diastolic"))]
#[case("part", "a: { systolic: 120 mmHg, diastolic: 90 mmHg }", "0.75")]
#[case("part", "a: { systolic: 0 mmHg, diastolic: 90 mmHg }", &format!("{CANNOT}: a.systolic"))]
#[case("part", "a: { systolic: 120 mmHg }", &format!("{WAITS}: a.diastolic"))]
#[case("points", "a: { signs_counted: [old, tall] }", "2.5")]
#[case("points", "a: { signs_counted: [well, old] }", "1.0")]
#[case("points", "a: { signs_counted: [] }", "0.0")]
#[case("points", "", &format!("{WAITS}: a.signs_counted"))]
#[case("point", "a: { strength: strong }", "10.0")]
#[case("point", "a: { strength: unknown }", &format!("{WAITS}: a.strength"))]
#[case(
    "gone",
    "plan: { toes: [left-great] }\na: { referral: [left-great] }",
    "0"
)]
#[case(
    "gone",
    "plan: { toes: [left-great] }\na: { referral: [left-great, right-great] }",
    "0"
)]
#[case(
    "gone",
    "plan: { toes: [left-great] }\na: { referral: [right-great] }",
    "1"
)]
#[case(
    "gone",
    "plan: { toes: [left-great, right-great] }\na: { referral: [] }",
    "2"
)]
#[case("gone", "plan: { toes: [left-great] }", &format!("{WAITS}: a.referral"))]
#[case("gone", "a: { referral: [right-great] }", &format!("{WAITS}: plan.toes"))]
fn counted(#[case] name: &str, #[case] answers: &str, #[case] expected: &str) {
    let rules = rules();
    assert_eq!(
        shown(&rules, &facts(&rules, answers), name),
        expected,
        "{answers}"
    );
}

#[rstest]
#[case("[]", "0.0 mg", "0 days")]
#[case("[paracetamol, aspirin]", "0.0 mg", "0 days")]
#[case(
    "[{ name: prednisolone, daily: 5 mg, for: 28 days }]",
    "5.0 mg",
    "28 days"
)]
#[case(
    "[{ name: prednisolone, daily: 5 mg, for: 4 weeks }]",
    "5.0 mg",
    "28 days"
)]
#[case(
    "[{ name: prednisolone, daily: 5 mg, for: 1 month }]",
    "5.0 mg",
    "28 days"
)]
#[case(
    "[{ name: prednisolone, daily: 0.005 g, for: 3 months }]",
    "5.0 mg",
    "84 days"
)]
#[case(
    "[{ name: prednisolone, daily: 7500 micrograms, for: 1 year }]",
    "7.5 mg",
    "365 days"
)]
#[case(
    "[{ name: hydrocortisone, daily: 20 mg, for: 2 weeks }]",
    "5.0 mg",
    "14 days"
)]
#[case(
    "[{ name: prednisolone, daily: 2.5 mg, for: 2 months }, { name: hydrocortisone, daily: 10 mg, for: 6 days }]",
    "5.0 mg",
    "56 days"
)]
#[case(
    "[{ name: paracetamol, daily: unknown }, { name: prednisolone, daily: 5 mg, for: 28 days }]",
    "5.0 mg",
    "28 days"
)]
#[case("[{ name: prednisolone, daily: 5 mg, for: unknown }]", "5.0 mg", "?")]
#[case("[{ name: prednisolone, daily: 5 mg }]", "5.0 mg", "?")]
#[case("[{ name: prednisolone, for: 28 days }]", "?", "28 days")]
#[case(
    "[{ name: prednisolone, daily: unknown, for: 28 days }]",
    "?",
    "28 days"
)]
#[case("[{ name: prednisolone, daily: 5 mL, for: 28 days }]", "?", "28 days")]
#[case("[prednisolone]", "?", "?")]
#[case(
    "[{ name: prednisolone, daily: 5 mg, for: 28 days }, prednisolone]",
    "?",
    "?"
)]
#[case("[nonsensium]", "?", "?")]
#[case(
    "[{ name: prednisolone, daily: 5 mg, for: 28 days }, nonsensium]",
    "?",
    "?"
)]
#[case("unknown", "?", "?")]
fn steroids_counted(#[case] taken: &str, #[case] daily: &str, #[case] days: &str) {
    let rules = rules();
    let facts = facts(&rules, &format!("a: {{ taken: {taken} }}"));
    let expected = |text: &str| {
        if text == "?" {
            format!("{WAITS}: a.taken")
        } else {
            text.to_owned()
        }
    };
    assert_eq!(shown(&rules, &facts, "daily"), expected(daily), "{taken}");
    assert_eq!(shown(&rules, &facts, "days"), expected(days), "{taken}");
}

/// Where the register gives no weight of its own for the adrenals, the other one counts.
#[rstest]
#[case("[]", "0.0 mg", "0.0 mg")]
#[case("[{ name: prednisolone, daily: 5 mg }]", "5.0 mg", "5.0 mg")]
#[case("[{ name: hydrocortisone, daily: 10 mg }]", "2.5 mg", "5.0 mg")]
#[case(
    "[{ name: prednisolone, daily: 2 mg }, { name: hydrocortisone, daily: 10 mg }]",
    "4.5 mg",
    "7.0 mg"
)]
#[case("[{ name: hydrocortisone, for: 28 days }]", "?", "?")]
fn steroids_counted_as_the_adrenals_do(
    #[case] taken: &str,
    #[case] daily: &str,
    #[case] adrenal: &str,
) {
    let rules = rules();
    let facts = facts(&rules, &format!("a: {{ taken: {taken} }}"));
    let expected = |text: &str| {
        if text == "?" {
            format!("{WAITS}: a.taken")
        } else {
            text.to_owned()
        }
    };
    assert_eq!(shown(&rules, &facts, "daily"), expected(daily), "{taken}");
    assert_eq!(
        shown(&rules, &facts, "adrenal"),
        expected(adrenal),
        "{taken}"
    );
}

const BORN: &str = "plan: { procedure_on: 2026-12-03 }";

#[rstest]
#[case("1980-01-01", "38 kg", "2.0 g")]
#[case("1980-01-01", "45 kg", "3.0 g")]
#[case("1980-01-01", "50 kg", "4.0 g")]
#[case("2008-12-03", "50 kg", "4.0 g")]
#[case("2008-12-04", "50 kg", "3.0 g")]
#[case("2016-01-01", "20 kg", "1.2 g")]
#[case("unknown", "50 kg", &format!("{WAITS}: a.born"))]
#[case("1980-01-01", "unknown", &format!("{WAITS}: a.weight"))]
fn most_paracetamol(#[case] born: &str, #[case] weight: &str, #[case] expected: &str) {
    let rules = rules();
    let answers = format!("{BORN}\na: {{ born: {born}, weight: {weight} }}");
    assert_eq!(
        shown(&rules, &facts(&rules, &answers), "paracetamol"),
        expected,
        "{answers}"
    );
}

const THREE: &str = "[{ agent: lidocaine, strength: 1 %, volume: 2 mL }, { agent: mepivacaine, strength: unknown, volume: 1 mL }]";
const OPEN: &str = "[{ agent: lidocaine, strength: 1 %, volume: unknown }]";

#[rstest]
#[case(THREE, "yes", "weak", "15.0 microgram")]
#[case(THREE, "yes", "strong", "30.0 microgram")]
#[case(THREE, "no", "unknown", "0.0 microgram")]
#[case("unknown", "no", "unknown", "0.0 microgram")]
#[case("[]", "yes", "unknown", "0.0 microgram")]
#[case(THREE, "unknown", "weak", &format!("{WAITS}: plan.adrenaline"))]
#[case(THREE, "yes", "unknown", &format!("{WAITS}: a.strength"))]
#[case(OPEN, "yes", "weak", &format!("{WAITS}: plan.anaesthetic"))]
#[case("unknown", "yes", "unknown", &format!("{WAITS}: plan.anaesthetic, a.strength"))]
fn adrenaline_planned(
    #[case] plan: &str,
    #[case] adrenaline: &str,
    #[case] strength: &str,
    #[case] expected: &str,
) {
    let rules = rules();
    let answers = format!(
        "plan: {{ anaesthetic: {plan}, adrenaline: {adrenaline} }}\na: {{ strength: {strength} }}"
    );
    assert_eq!(
        shown(&rules, &facts(&rules, &answers), "adrenaline_total"),
        expected,
        "{answers}"
    );
}

#[rstest]
#[case("yes", "weak", "20 kg", "0.8 microgram/kg")]
#[case("yes", "weak", "unknown", &format!("{WAITS}: a.weight"))]
#[case("no", "unknown", "unknown", "0.0 microgram/kg")]
#[case("unknown", "weak", "20 kg", &format!("{WAITS}: plan.adrenaline"))]
fn adrenaline_by_weight(
    #[case] adrenaline: &str,
    #[case] strength: &str,
    #[case] weight: &str,
    #[case] expected: &str,
) {
    let rules = rules();
    let plan = "[{ agent: lidocaine, strength: 1 %, volume: 3.2 mL }]";
    let answers = format!(
        "plan: {{ anaesthetic: {plan}, adrenaline: {adrenaline} }}\na: {{ strength: {strength}, weight: {weight} }}"
    );
    assert_eq!(
        shown(&rules, &facts(&rules, &answers), "adrenaline_per_kg"),
        expected,
        "{answers}"
    );
}

/// The same unit of two measures is not one unit.
#[test]
fn two_numbers_are_of_one_measure() {
    let questions = QUESTIONS.replacen(
        "part: a.diastolic, whole: a.systolic",
        "part: a.hba1c, whole: a.solution",
        1,
    );
    let found = rule_set(&changed("So it is.", &questions))
        .err()
        .unwrap_or_default();
    assert_eq!(
        codes(&found),
        ["rules/unknown-formula the formula needs a number in % here, as in its other input"]
    );
}

/// A fact whose own name ends in `age` was taken for the age of another.
#[rstest]
#[case("At {derived.age}.", &[])]
#[case("Taken {a.inr.age} ago.", &[])]
#[case("At {a.weight.age}.", &["rules/unknown-placeholder `{a.weight.age}` is neither a fact nor a limit"])]
fn a_name_that_ends_in_age(#[case] reason: &str, #[case] expected: &[&str]) {
    let found = rule_set(&changed(reason, QUESTIONS))
        .err()
        .unwrap_or_default();
    assert_eq!(codes(&found), expected);
}
