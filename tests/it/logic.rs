//! What conditions mean: truth tables written out, and every test against a missing answer.

use std::collections::BTreeSet;

use preblock::evaluate::State::{self, Fires, StaysQuiet, Undetermined};
use preblock::outcome::Outcome::{self, Defer, Go, Refer};
use preblock::outcome::Span;
use preblock::truth::{FactSlot, Truth};
use rstest::rstest;

use crate::support::{facts, screening, state, tiny};

fn open(slots: &[u16]) -> Truth {
    Truth::Unknown(slots.iter().map(|it| FactSlot(*it)).collect::<BTreeSet<_>>())
}

/// Kleene's strong logic. Source: the tables of SQL:1999 for NULL, as SQLite and DuckDB print them; the same in HL7 CQL.
#[rstest]
#[case(Truth::Yes, Truth::Yes, Truth::Yes, Truth::Yes)]
#[case(Truth::Yes, Truth::No, Truth::No, Truth::Yes)]
#[case(Truth::Yes, open(&[1]), open(&[1]), Truth::Yes)]
#[case(Truth::No, Truth::Yes, Truth::No, Truth::Yes)]
#[case(Truth::No, Truth::No, Truth::No, Truth::No)]
#[case(Truth::No, open(&[1]), Truth::No, open(&[1]))]
#[case(open(&[1]), Truth::Yes, open(&[1]), Truth::Yes)]
#[case(open(&[1]), Truth::No, Truth::No, open(&[1]))]
#[case(open(&[1]), open(&[2]), open(&[1, 2]), open(&[1, 2]))]
fn and_and_or(#[case] a: Truth, #[case] b: Truth, #[case] and: Truth, #[case] or: Truth) {
    assert_eq!(a.clone().and(b.clone()), and);
    assert_eq!(a.or(b), or);
}

#[rstest]
#[case(Truth::Yes, Truth::No)]
#[case(Truth::No, Truth::Yes)]
#[case(open(&[1, 3]), open(&[1, 3]))]
fn not(#[case] a: Truth, #[case] expected: Truth) {
    assert_eq!(a.not(), expected);
}

/// Best case (what fires), worst case (what could still fire), and the verdict between them.
#[rstest]
#[case(None, None, Go, Go, Go)]
#[case(None, Some(Go), Go, Go, Go)]
#[case(None, Some(Defer), Go, Defer, Defer)]
#[case(None, Some(Refer), Go, Refer, Defer)]
#[case(Some(Go), None, Go, Go, Go)]
#[case(Some(Go), Some(Refer), Go, Refer, Defer)]
#[case(Some(Defer), None, Defer, Defer, Defer)]
#[case(Some(Defer), Some(Go), Defer, Defer, Defer)]
#[case(Some(Defer), Some(Refer), Defer, Refer, Defer)]
#[case(Some(Refer), None, Refer, Refer, Refer)]
#[case(Some(Refer), Some(Defer), Refer, Refer, Refer)]
#[case(Some(Refer), Some(Refer), Refer, Refer, Refer)]
fn the_verdict_lies_between_best_and_worst_case(
    #[case] fires: Option<Outcome>,
    #[case] open: Option<Outcome>,
    #[case] best: Outcome,
    #[case] worst: Outcome,
    #[case] verdict: Outcome,
) {
    let span = Span::of(fires.into_iter(), open.into_iter());
    assert_eq!((span.best_case, span.worst_case, span.verdict()), (best, worst, verdict));
}

const WHEN: &str = "plan: { procedure_on: 2026-12-03 }\n";

/// Every test against an answer that is missing in each of its four forms. Negative tests come first: there other
/// systems turn a missing answer into a yes.
#[rstest]
fn a_missing_answer_decides_nothing(
    #[values(
        ("smokes", "{ fact: a.smokes, is_not: yes }"),
        ("smokes", "{ fact: a.smokes, none_of: [yes] }"),
        ("pulse", "{ fact: a.pulse, is_not: felt }"),
        ("pulse", "{ fact: a.pulse, none_of: [doubtful, absent] }"),
        ("smokes", "{ not: { fact: a.smokes, is: yes } }"),
        ("signs", "{ not: { fact: a.signs, includes: pain } }"),
        ("taken", "{ not: { taking: thinner } }"),
        ("allergies", "{ not: { allergic_to: latex } }"),
        ("count", "{ not: { fact: a.count, above: 4 } }"),
        ("seen_on", "{ not: { fact: a.seen_on, within: 3 days } }"),
        ("smokes", "{ fact: a.smokes, is: yes }"),
        ("smokes", "{ fact: a.smokes, one_of: [yes, no] }"),
        ("pulse", "{ fact: a.pulse, one_of: [felt, doubtful, absent] }"),
        ("signs", "{ fact: a.signs, includes: pain }"),
        ("signs", "{ fact: a.signs, includes_any: [pain, ulcer, cold] }"),
        ("count", "{ fact: a.count, above: 4 }"),
        ("count", "{ fact: a.count, at_least: 0 }"),
        ("count", "{ fact: a.count, below: { limit: ceiling } }"),
        ("count", "{ fact: a.count, at_most: 100 }"),
        ("count", "{ fact: a.count, between: [0, 100] }"),
        ("weight", "{ fact: a.weight, above: 50 kg }"),
        ("inr", "{ fact: a.inr, at_least: 0.5 }"),
        ("inr", "{ fact: a.inr, older_than: 3 days }"),
        ("inr", "{ fact: a.inr, within: 3 days }"),
        ("seen_on", "{ fact: a.seen_on, older_than: 3 days }"),
        ("seen_on", "{ fact: a.seen_on, above: 2020-01-01 }"),
        ("taken", "{ taking: thinner }"),
        ("taken", "{ taking: [warfarin, paracetamol] }"),
        ("taken", "{ taking: thinner, at_least: 2 }"),
        ("allergies", "{ allergic_to: anaesthetic }"),
        ("allergies", "{ allergic_to: latex, reaction: [rash] }"),
        ("signs", "{ fact: derived.n_signs, at_least: 0 }"),
    )]
    test: (&str, &str),
    #[values(None, Some(""), Some("unknown"), Some("declined"))] answer: Option<&str>,
) {
    let (question, when) = test;
    let answers = match answer {
        None => WHEN.to_owned(),
        Some(answer) => format!("{WHEN}a: {{ {question}: {answer} }}"),
    };
    let rules = tiny(&[("one", "defer", when)]);
    let found = screening(&rules, &facts(&rules, &answers));
    assert_eq!(found.findings.len(), 0, "{when}");
    let waits: Vec<&str> = found.undetermined.iter().flat_map(|it| it.waits_for.iter().map(String::as_str)).collect();
    assert_eq!(waits, [format!("a.{question}")], "{when} waits for exactly that answer");
    assert_eq!(found.verdict, Defer);
    let why = found.to_ask.first().map(|it| it.why.as_str());
    let expected = match answer {
        Some("unknown") => "asked, not known",
        Some("declined") => "asked, not answered",
        _ => "not asked",
    };
    assert_eq!(why, Some(expected));
}

/// Below, at and above, for each comparison.
#[rstest]
#[case("above: 4", StaysQuiet, StaysQuiet, Fires)]
#[case("at_least: 4", StaysQuiet, Fires, Fires)]
#[case("below: 4", Fires, StaysQuiet, StaysQuiet)]
#[case("at_most: 4", Fires, Fires, StaysQuiet)]
#[case("at_least: { limit: ceiling }", StaysQuiet, Fires, Fires)]
#[case("between: [4, 5]", StaysQuiet, Fires, Fires)]
#[case("between: [3, 4]", Fires, Fires, StaysQuiet)]
fn comparisons(#[case] test: &str, #[case] below: State, #[case] at: State, #[case] above: State) {
    let when = format!("{{ fact: a.count, {test} }}");
    let of = |value: &str| state(&when, &format!("a: {{ count: {value} }}"));
    assert_eq!([of("3.99"), of("4"), of("4.01")], [below, at, above]);
}

#[rstest]
#[case("{ fact: a.pulse, is: felt }", "pulse: felt", Fires)]
#[case("{ fact: a.pulse, is: felt }", "pulse: absent", StaysQuiet)]
#[case("{ fact: a.pulse, is_not: felt }", "pulse: absent", Fires)]
#[case("{ fact: a.pulse, one_of: [doubtful, absent] }", "pulse: doubtful", Fires)]
#[case("{ fact: a.pulse, none_of: [doubtful, absent] }", "pulse: felt", Fires)]
#[case("{ fact: a.smokes, is: no }", "smokes: no", Fires)]
#[case("{ fact: a.smokes, is: no }", "smokes: false", Fires)]
#[case("{ fact: a.smokes, is_not: no }", "smokes: true", Fires)]
#[case("{ fact: a.signs, includes: pain }", "signs: []", StaysQuiet)]
#[case("{ fact: a.signs, includes: pain }", "signs: [cold, pain]", Fires)]
#[case("{ fact: a.signs, includes_any: [pain, ulcer] }", "signs: [cold]", StaysQuiet)]
#[case("{ fact: a.weight, above: 50 kg }", "weight: 110 lb", StaysQuiet)]
#[case("{ fact: a.weight, above: 50 kg }", "weight: 111 lb", Fires)]
#[case("{ fact: a.weight, at_most: 110 lb }", "weight: 49.8 kg", Fires)]
#[case("{ fact: derived.n_signs, at_least: 2 }", "signs: [pain, cold]", Fires)]
fn known_answers(#[case] when: &str, #[case] answer: &str, #[case] expected: State) {
    assert_eq!(state(when, &format!("a: {{ {answer} }}")), expected);
}

/// An unrecognised medicine might be any: it holds `taking` open unless another entry settles it.
#[rstest]
#[case("{ taking: thinner }", "[]", StaysQuiet)]
#[case("{ taking: thinner }", "[paracetamol]", StaysQuiet)]
#[case("{ taking: thinner }", "[warfarin]", Fires)]
#[case("{ taking: thinner }", "[Warfarin 3 mg daily]", Fires)]
#[case("{ taking: thinner }", "[warfrin]", Undetermined)]
#[case("{ taking: thinner }", "[paracetamol, warfrin]", Undetermined)]
#[case("{ taking: thinner }", "[apixaban, warfrin]", Fires)]
#[case("{ taking: thinner }", "[stopped warfarin]", Undetermined)]
#[case("{ taking: thinner }", "[unknown]", Undetermined)]
#[case("{ taking: old-thinner }", "[apixaban]", StaysQuiet)]
#[case("{ taking: [warfarin, apixaban] }", "[apixaban]", Fires)]
#[case("{ taking: aspirin }", "[Acetylsalicylic Acid 75 mg]", Fires)]
#[case("{ taking: thinner, at_least: 2 }", "[warfarin]", StaysQuiet)]
#[case("{ taking: thinner, at_least: 2 }", "[warfarin, apixaban]", Fires)]
#[case("{ taking: thinner, at_least: 2 }", "[aspirin, acetylsalicylic acid]", StaysQuiet)]
#[case("{ taking: thinner, at_least: 2 }", "[warfarin, something]", Undetermined)]
#[case("{ taking: thinner, at_least: 2 }", "[something]", StaysQuiet)]
#[case("{ taking: thinner, at_least: 2 }", "[something, another]", Undetermined)]
#[case("{ not: { taking: thinner } }", "[warfrin]", Undetermined)]
fn medicines(#[case] when: &str, #[case] list: &str, #[case] expected: State) {
    assert_eq!(state(when, &format!("a: {{ taken: {list} }}")), expected);
}

/// An allergy entry may be a wider group than the rule asks for, or cross-react, or lack its reaction.
#[rstest]
#[case("{ allergic_to: lidocaine }", "[lignocaine]", Fires)]
#[case("{ allergic_to: amide }", "[lidocaine]", Fires)]
#[case("{ allergic_to: amide }", "[procaine]", StaysQuiet)]
#[case("{ allergic_to: amide }", "[local anaesthetic]", Undetermined)]
#[case("{ allergic_to: anaesthetic }", "[local anaesthetic]", Fires)]
#[case("{ allergic_to: anaesthetic }", "[amide]", Fires)]
#[case("{ allergic_to: latex }", "[banana]", Fires)]
#[case("{ allergic_to: latex }", "[paracetamol]", StaysQuiet)]
#[case("{ allergic_to: latex }", "[latx]", Undetermined)]
#[case("{ allergic_to: latex }", "[]", StaysQuiet)]
#[case("{ allergic_to: latex, reaction: [anaphylaxis] }", "[{ to: latex, reaction: anaphylaxis }]", Fires)]
#[case("{ allergic_to: latex, reaction: [anaphylaxis] }", "[{ to: latex, reaction: rash }]", StaysQuiet)]
#[case("{ allergic_to: latex, reaction: [anaphylaxis] }", "[latex]", Undetermined)]
#[case("{ allergic_to: latex, reaction: [anaphylaxis] }", "[{ to: latex, reaction: unknown }]", Undetermined)]
#[case("{ allergic_to: latex, reaction: [anaphylaxis] }", "[procaine]", StaysQuiet)]
#[case("{ not: { allergic_to: latex } }", "[latx]", Undetermined)]
fn allergies(#[case] when: &str, #[case] list: &str, #[case] expected: State) {
    assert_eq!(state(when, &format!("a: {{ allergies: {list} }}")), expected);
}

/// Ages are taken at the procedure. With two times to the minute, 24 h inclusive; with dates alone in whole days.
#[rstest]
#[case("older_than: 24 hours", "2026-11-24 09:00", "2026-11-25 09:00", StaysQuiet)]
#[case("older_than: 24 hours", "2026-11-24 08:59", "2026-11-25 09:00", Fires)]
#[case("older_than: 72 hours", "2026-11-22 09:00", "2026-11-25 09:00", StaysQuiet)]
#[case("older_than: 72 hours", "2026-11-22 08:00", "2026-11-25 09:00", Fires)]
#[case("within: 72 hours", "2026-11-22 08:00", "2026-11-25 09:00", StaysQuiet)]
#[case("older_than: 24 hours", "2026-11-24", "2026-11-25 09:00", StaysQuiet)]
#[case("older_than: 1 day", "2026-11-24", "2026-11-25", StaysQuiet)]
#[case("older_than: 1 day", "2026-11-23", "2026-11-25", Fires)]
#[case("older_than: 3 months", "2026-08-25", "2026-11-25", StaysQuiet)]
#[case("older_than: 3 months", "2026-08-24", "2026-11-25", Fires)]
#[case("older_than: { limit: fresh }", "2026-11-22", "2026-11-25", StaysQuiet)]
#[case("older_than: { limit: fresh }", "2026-11-21", "2026-11-25", Fires)]
fn ages(#[case] test: &str, #[case] taken: &str, #[case] on: &str, #[case] expected: State) {
    let when = format!("{{ fact: a.inr, {test} }}");
    let answers = format!("plan: {{ procedure_on: {on} }}\na: {{ inr: {{ value: 2.5, taken_on: {taken} }} }}");
    assert_eq!(state(&when, &answers), expected);
}

fn waits(when: &str, answers: &str) -> Vec<String> {
    let rules = tiny(&[("one", "refer", when)]);
    let found = screening(&rules, &facts(&rules, answers));
    found.undetermined.into_iter().flat_map(|it| it.waits_for).collect()
}

/// Exactly the answers that could still settle it.
#[rstest]
#[case("{ fact: a.inr, older_than: 3 days }", "a: { inr: { value: 2, taken_on: unknown } }", &["plan.procedure_on", "a.inr.taken_on"])]
#[case("{ fact: a.inr, above: 4 }", "a: { inr: { value: unknown, taken_on: 2026-11-24 } }", &["a.inr"])]
#[case("{ fact: a.inr, older_than: 3 days }", "a: { inr: { value: 2, taken_on: 2026-11-24 } }", &["plan.procedure_on"])]
#[case("{ fact: derived.age, above: 70 }", "a: { born: 1950-01-01 }", &["plan.procedure_on"])]
#[case("{ fact: derived.age, above: 70 }", "", &["plan.procedure_on", "a.born"])]
#[case("{ fact: derived.dosing, below: 50 kg }", "plan: { procedure_on: 2026-12-03 }\na: { born: 1980-01-01, weight: 60 kg, sex: male }", &["a.height"])]
#[case("{ fact: derived.load, above: 1 }", "plan: { procedure_on: 2026-12-03, anaesthetic: [], adrenaline: no }\na: { born: 2016-01-01 }", &["a.weight"])]
#[case("{ all: [{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }] }", "a: { smokes: yes }", &["a.drinks"])]
#[case("{ all: [{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }] }", "a: { smokes: no }", &[])]
#[case("{ any: [{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }] }", "a: { smokes: no }", &["a.drinks"])]
#[case("{ any: [{ fact: a.smokes, is: yes }, { not: { fact: a.smokes, is: yes } }] }", "", &["a.smokes"])]
#[case("{ taking: thinner }", "a: { taken: [warfrin] }", &["a.taken"])]
fn what_keeps_a_rule_open(#[case] when: &str, #[case] answers: &str, #[case] expected: &[&str]) {
    assert_eq!(waits(when, answers), expected);
}

/// A child's dose does not rest on the adult formula, so a missing height does not hold it up.
#[test]
fn a_child_needs_no_height() {
    let answers = "plan: { procedure_on: 2026-12-03, anaesthetic: [{ agent: lidocaine, strength: 1 %, volume: 3 mL }], adrenaline: no }\n\
                   a: { born: 2016-08-19, weight: 31 kg }";
    assert_eq!(state("{ fact: derived.load, above: 0.32 }", answers), Fires);
    assert_eq!(state("{ fact: derived.load, above: 0.33 }", answers), StaysQuiet);
}

/// A dose for which the register has no limit is not computed, and the plan is named as what to change.
#[test]
fn a_dose_without_a_limit_stays_open() {
    let answers = "plan: { procedure_on: 2026-12-03, anaesthetic: [{ agent: mepivacaine, strength: 3 %, volume: 1 mL }], adrenaline: no }\n\
                   a: { born: 2024-01-01, weight: 12 kg }";
    assert_eq!(state("{ fact: derived.load, above: 1 }", answers), Undetermined);
    assert!(waits("{ fact: derived.load, above: 1 }", answers).contains(&"plan.anaesthetic".to_owned()));
}

#[test]
fn a_finding_names_the_facts_that_decided_it_and_where_they_stand() {
    let when = "{ all: [{ taking: thinner }, { any: [{ fact: a.count, above: 4 }, { fact: a.smokes, is: yes }] }] }";
    let rules = tiny(&[("one", "refer", when)]);
    let answers = "a:\n  smokes: no\n  count: 7\n  taken: [paracetamol, warfarin 3 mg daily]";
    let found = screening(&rules, &facts(&rules, answers));
    let because: Vec<(String, String, Option<usize>, Option<usize>)> =
        found.findings.into_iter().flat_map(|it| it.because).map(|it| (it.fact, it.value, it.line, it.column)).collect();
    assert_eq!(
        because,
        [
            ("a.taken".to_owned(), "warfarin 3 mg daily".to_owned(), Some(7), Some(26)),
            ("a.count".to_owned(), "7".to_owned(), Some(6), Some(12)),
        ]
    );
}

#[test]
fn a_derived_fact_is_followed_by_what_it_was_computed_from() {
    let rules = tiny(&[("one", "defer", "{ fact: derived.age, above: 70 }")]);
    let found = screening(&rules, &facts(&rules, "plan:\n  procedure_on: 2026-12-03\na:\n  born: 1950-01-01"));
    let because: Vec<(String, String, Option<usize>)> =
        found.findings.into_iter().flat_map(|it| it.because).map(|it| (it.fact, it.value, it.line)).collect();
    assert_eq!(
        because,
        [
            ("derived.age".to_owned(), "76 years".to_owned(), None),
            ("a.born".to_owned(), "1 Jan 1950".to_owned(), Some(7)),
            ("plan.procedure_on".to_owned(), "3 Dec 2026".to_owned(), Some(5)),
        ]
    );
}

#[test]
fn findings_come_worst_first_then_in_rule_order() {
    let rules = tiny(&[
        ("first", "go", "{ fact: a.smokes, is: yes }"),
        ("second", "defer", "{ fact: a.smokes, is: yes }"),
        ("third", "refer", "{ fact: a.smokes, is: yes }"),
        ("fourth", "defer", "{ fact: a.smokes, is: yes }"),
    ]);
    let found = screening(&rules, &facts(&rules, "a: { smokes: yes }"));
    let order: Vec<&str> = found.findings.iter().map(|it| it.rule.as_str()).collect();
    assert_eq!(order, ["test/third", "test/second", "test/fourth", "test/first"]);
}

#[test]
fn notes_and_free_text_are_always_kept() {
    let rules = tiny(&[("one", "go", "{ fact: a.smokes, is: yes }")]);
    let found = screening(&rules, &facts(&rules, "a:\n  smokes: no\n  words: hurts at night\n  note: will bring the letter"));
    let notes: Vec<(&str, &str)> = found.notes.iter().map(|it| (it.section.as_str(), it.text.as_str())).collect();
    assert_eq!(notes, [("a", "will bring the letter"), ("a", "hurts at night")]);
    assert_eq!(found.verdict, Go);
}
