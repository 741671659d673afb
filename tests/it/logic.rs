//! What conditions mean: truth tables written out, and every test against a missing answer.

use std::collections::BTreeSet;

use preblock::inner::outcome::Outcome;
use preblock::inner::outcome::Outcome::{Defer, Go, Refer};
use preblock::inner::outcome::State;
use preblock::inner::outcome::State::{Fires, StaysQuiet, Undetermined};
use preblock::inner::outcome::{OutcomeSpan, Standing, Urgency};
use preblock::inner::questionnaire::facts::{Fact, Facts, Why};
use preblock::inner::screening::compile::Compiled;
use preblock::inner::table::Table;
use preblock::inner::truth::{FactSlot, Slot, Truth};
use rstest::rstest;

use crate::support::{
    codes, embedded_once, facts, facts_over, gathered, screening, state, tiny, today, written,
};

fn open(slots: &[usize]) -> Truth {
    let all: Vec<FactSlot> = Table::<(), Slot>::from_iter([(); 8]).indices().collect();
    Truth::Unknown(slots.iter().map(|it| all[*it]).collect::<BTreeSet<_>>())
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
#[case(Some(Go), Some(Go), Go, Go, Go)]
#[case(Some(Go), Some(Defer), Go, Defer, Defer)]
#[case(Some(Go), Some(Refer), Go, Refer, Defer)]
#[case(Some(Defer), None, Defer, Defer, Defer)]
#[case(Some(Defer), Some(Go), Defer, Defer, Defer)]
#[case(Some(Defer), Some(Defer), Defer, Defer, Defer)]
#[case(Some(Defer), Some(Refer), Defer, Refer, Defer)]
#[case(Some(Refer), None, Refer, Refer, Refer)]
#[case(Some(Refer), Some(Go), Refer, Refer, Refer)]
#[case(Some(Refer), Some(Defer), Refer, Refer, Refer)]
#[case(Some(Refer), Some(Refer), Refer, Refer, Refer)]
fn the_verdict_lies_between_best_and_worst_case(
    #[case] fires: Option<Outcome>,
    #[case] open: Option<Outcome>,
    #[case] best: Outcome,
    #[case] worst: Outcome,
    #[case] verdict: Outcome,
) {
    let routine = |outcome: Outcome| Standing {
        outcome,
        urgency: (outcome == Refer).then_some(Urgency::Routine),
    };
    let span = OutcomeSpan::of(
        fires.into_iter().map(routine),
        open.into_iter().map(routine),
    );
    assert_eq!(
        (span.best_case, span.worst_case, span.verdict()),
        (routine(best), routine(worst), routine(verdict))
    );
}

/// The most pressing of the referrals that fire is the verdict's; one that is open could only make it more pressing.
#[rstest]
#[case(&[Urgency::Routine], &[Urgency::SameDay], Urgency::Routine, Some(Urgency::SameDay))]
#[case(&[Urgency::Routine, Urgency::Urgent], &[Urgency::Routine], Urgency::Urgent, None)]
#[case(&[Urgency::SameDay, Urgency::Routine], &[], Urgency::SameDay, None)]
fn the_verdict_holds_the_most_pressing_urgency(
    #[case] fires: &[Urgency],
    #[case] open: &[Urgency],
    #[case] verdict: Urgency,
    #[case] could_be: Option<Urgency>,
) {
    let refer = |urgency: Urgency| Standing {
        outcome: Refer,
        urgency: Some(urgency),
    };
    let span = OutcomeSpan::of(
        fires.iter().copied().map(refer),
        open.iter().copied().map(refer),
    );
    assert_eq!(
        (span.verdict(), span.could_be()),
        (refer(verdict), could_be.map(refer))
    );
}

/// The same cells from a rule and a questionnaire to the verdict: a rule that would refer, on two answers.
#[rstest]
#[case("yes", "yes", Fires, Fires)]
#[case("yes", "no", StaysQuiet, Fires)]
#[case("yes", "unknown", Undetermined, Fires)]
#[case("no", "yes", StaysQuiet, Fires)]
#[case("no", "no", StaysQuiet, StaysQuiet)]
#[case("no", "unknown", StaysQuiet, Undetermined)]
#[case("unknown", "yes", Undetermined, Fires)]
#[case("unknown", "no", StaysQuiet, Undetermined)]
#[case("unknown", "unknown", Undetermined, Undetermined)]
fn all_and_any_of_two_answers(
    #[case] a: &str,
    #[case] b: &str,
    #[case] all: State,
    #[case] any: State,
) {
    const PARTS: &str = "[{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }]";
    let verdict = |state: State| match state {
        Fires => Refer,
        StaysQuiet => Go,
        Undetermined => Defer,
    };
    for (when, expected) in [
        (format!("{{ all: {PARTS} }}"), all),
        (format!("{{ any: {PARTS} }}"), any),
    ] {
        let rules = tiny(&[("one", "refer", &when)]);
        let facts = facts(&rules, &format!("a: {{ smokes: {a}, drinks: {b} }}"));
        assert_eq!(
            Compiled::new(&rules).run(&facts).rows(),
            [expected],
            "{when}"
        );
        assert_eq!(
            screening(&rules, &facts).verdict().outcome,
            verdict(expected),
            "{when}"
        );
        let negated = tiny(&[("one", "refer", &format!("{{ not: {when} }}"))]);
        let expected = match expected {
            Fires => StaysQuiet,
            StaysQuiet => Fires,
            Undetermined => Undetermined,
        };
        assert_eq!(
            Compiled::new(&negated).run(&facts).rows(),
            [expected],
            "not {when}"
        );
    }
}

/// Of three, one settles it; and one alone is as good as itself.
#[rstest]
#[case(
    "{ all: [{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }, { fact: a.pulse, is: felt }] }",
    "pulse: absent",
    StaysQuiet
)]
#[case(
    "{ all: [{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }, { fact: a.pulse, is: felt }] }",
    "smokes: yes, pulse: felt",
    Undetermined
)]
#[case(
    "{ any: [{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }, { fact: a.pulse, is: felt }] }",
    "pulse: felt",
    Fires
)]
#[case(
    "{ any: [{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }, { fact: a.pulse, is: felt }] }",
    "smokes: no, pulse: absent",
    Undetermined
)]
#[case("{ all: [{ fact: a.smokes, is: yes }] }", "drinks: no", Undetermined)]
#[case("{ any: [{ fact: a.smokes, is: yes }] }", "drinks: yes", Undetermined)]
#[case("{ not: { not: { fact: a.smokes, is: yes } } }", "smokes: yes", Fires)]
#[case(
    "{ not: { not: { fact: a.smokes, is: yes } } }",
    "drinks: yes",
    Undetermined
)]
#[case(
    "{ any: [{ all: [{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }] }, { not: { fact: a.drinks, is: yes } }] }",
    "drinks: no",
    Fires
)]
fn several_parts(#[case] when: &str, #[case] answers: &str, #[case] expected: State) {
    assert_eq!(state(when, &format!("a: {{ {answers} }}")), expected);
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
    let waits: Vec<&str> = found
        .undetermined
        .iter()
        .flat_map(|it| it.waits_for.iter().map(String::as_str))
        .collect();
    assert_eq!(
        waits,
        [format!("a.{question}")],
        "{when} waits for exactly that answer"
    );
    assert_eq!(found.verdict().outcome, Defer);
    let why = found.to_ask.first().map(|it| it.why.word());
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
#[case(
    "{ fact: a.pulse, one_of: [doubtful, absent] }",
    "pulse: doubtful",
    Fires
)]
#[case("{ fact: a.pulse, none_of: [doubtful, absent] }", "pulse: felt", Fires)]
#[case("{ fact: a.smokes, is: no }", "smokes: no", Fires)]
#[case("{ fact: a.smokes, is: no }", "smokes: false", Fires)]
#[case("{ fact: a.smokes, is_not: no }", "smokes: true", Fires)]
#[case("{ fact: a.signs, includes: pain }", "signs: []", StaysQuiet)]
#[case("{ fact: a.signs, includes: pain }", "signs: [cold, pain]", Fires)]
#[case(
    "{ fact: a.signs, includes_any: [pain, ulcer] }",
    "signs: [cold]",
    StaysQuiet
)]
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
#[case(
    "{ taking: thinner, at_least: 2 }",
    "[aspirin, acetylsalicylic acid]",
    StaysQuiet
)]
#[case(
    "{ taking: thinner, at_least: 2 }",
    "[warfarin, something]",
    Undetermined
)]
#[case("{ taking: thinner, at_least: 2 }", "[something]", StaysQuiet)]
#[case(
    "{ taking: thinner, at_least: 2 }",
    "[something, another]",
    Undetermined
)]
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
#[case(
    "{ allergic_to: latex, reaction: [anaphylaxis] }",
    "[{ to: latex, reaction: anaphylaxis }]",
    Fires
)]
#[case(
    "{ allergic_to: latex, reaction: [anaphylaxis] }",
    "[{ to: latex, reaction: rash }]",
    StaysQuiet
)]
#[case(
    "{ allergic_to: latex, reaction: [anaphylaxis] }",
    "[latex]",
    Undetermined
)]
#[case(
    "{ allergic_to: latex, reaction: [anaphylaxis] }",
    "[{ to: latex, reaction: unknown }]",
    Undetermined
)]
#[case(
    "{ allergic_to: latex, reaction: [anaphylaxis] }",
    "[procaine]",
    StaysQuiet
)]
#[case("{ not: { allergic_to: latex } }", "[latx]", Undetermined)]
fn allergies(#[case] when: &str, #[case] list: &str, #[case] expected: State) {
    assert_eq!(
        state(when, &format!("a: {{ allergies: {list} }}")),
        expected
    );
}

/// Ages are taken at the procedure. With two times to the minute, 24 h inclusive; with dates alone in whole days.
#[rstest]
#[case(
    "older_than: 24 hours",
    "2026-11-24 09:00",
    "2026-11-25 09:00",
    StaysQuiet
)]
#[case("older_than: 24 hours", "2026-11-24 08:59", "2026-11-25 09:00", Fires)]
#[case(
    "older_than: 72 hours",
    "2026-11-22 09:00",
    "2026-11-25 09:00",
    StaysQuiet
)]
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
    let answers = format!(
        "plan: {{ procedure_on: {on} }}\na: {{ inr: {{ value: 2.5, taken_on: {taken} }} }}"
    );
    assert_eq!(state(&when, &answers), expected);
}

fn waits(when: &str, answers: &str) -> Vec<String> {
    let rules = tiny(&[("one", "refer", when)]);
    let found = screening(&rules, &facts(&rules, answers));
    found
        .undetermined
        .into_iter()
        .flat_map(|it| it.waits_for)
        .collect()
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

/// A dated answer by all that may be missing of it: its value, its day, and the day of surgery.
#[rstest]
#[case("2.5", "2026-11-24", "2026-11-25", &[], &[])]
#[case("2.5", "2026-11-24", "unknown", &[], &["plan.procedure_on"])]
#[case("2.5", "unknown", "2026-11-25", &[], &["a.inr.taken_on"])]
#[case("2.5", "declined", "2026-11-25", &[], &["a.inr.taken_on"])]
#[case("2.5", "", "2026-11-25", &[], &["a.inr.taken_on"])]
#[case("2.5", "unknown", "unknown", &[], &["plan.procedure_on", "a.inr.taken_on"])]
#[case("unknown", "2026-11-24", "2026-11-25", &["a.inr"], &[])]
#[case("unknown", "2026-11-24", "unknown", &["a.inr"], &["plan.procedure_on"])]
#[case("unknown", "unknown", "2026-11-25", &["a.inr"], &["a.inr.taken_on"])]
#[case("declined", "unknown", "declined", &["a.inr"], &["plan.procedure_on", "a.inr.taken_on"])]
fn parts_of_a_dated_answer(
    #[case] value: &str,
    #[case] taken: &str,
    #[case] on: &str,
    #[case] of_value: &[&str],
    #[case] of_age: &[&str],
) {
    let answers = format!(
        "plan: {{ procedure_on: {on} }}\na: {{ inr: {{ value: {value}, taken_on: {taken} }} }}"
    );
    for test in ["above: 4", "at_least: 0.5", "between: [0.5, 20]"] {
        assert_eq!(
            waits(&format!("{{ fact: a.inr, {test} }}"), &answers),
            of_value,
            "{test}"
        );
        assert_eq!(
            waits(&format!("{{ not: {{ fact: a.inr, {test} }} }}"), &answers),
            of_value,
            "not {test}"
        );
    }
    for test in [
        "older_than: 3 days",
        "within: 3 days",
        "older_than: 3 months",
        "within: { limit: fresh }",
    ] {
        assert_eq!(
            waits(&format!("{{ fact: a.inr, {test} }}"), &answers),
            of_age,
            "{test}"
        );
        assert_eq!(
            waits(&format!("{{ not: {{ fact: a.inr, {test} }} }}"), &answers),
            of_age,
            "not {test}"
        );
    }
    for test in ["above: 2020-01-01", "between: [2020-01-01, 2030-01-01]"] {
        let of_day: Vec<&str> = of_age
            .iter()
            .copied()
            .filter(|it| *it != "plan.procedure_on")
            .collect();
        assert_eq!(
            waits(&format!("{{ fact: a.inr.taken_on, {test} }}"), &answers),
            of_day,
            "{test}"
        );
    }
    let all = waits(
        "{ all: [{ fact: a.inr, above: 0.5 }, { fact: a.inr, within: 3 days }] }",
        &answers,
    );
    assert_eq!(
        all.iter().collect::<BTreeSet<_>>(),
        of_value
            .iter()
            .chain(of_age)
            .map(|it| (*it).to_owned())
            .collect::<Vec<_>>()
            .iter()
            .collect()
    );
}

/// Where the whole dated answer is missing, it is asked for once, and not its date beside it.
#[rstest]
#[case("")]
#[case("a: { inr: unknown }")]
#[case("a: { inr: }")]
fn a_dated_answer_that_is_missing_is_asked_for_once(#[case] answer: &str) {
    let when = "{ all: [{ fact: a.inr, above: 4 }, { fact: a.inr, within: 3 days }, { fact: a.inr.taken_on, above: 2020-01-01 }] }";
    assert_eq!(waits(when, &format!("{WHEN}{answer}")), ["a.inr"]);
}

/// Dates are compared by their days, whatever the hour.
#[rstest]
#[case("above: 2026-11-01", StaysQuiet, StaysQuiet, Fires)]
#[case("at_least: 2026-11-01", StaysQuiet, Fires, Fires)]
#[case("below: 2026-11-01", Fires, StaysQuiet, StaysQuiet)]
#[case("at_most: 2026-11-01", Fires, Fires, StaysQuiet)]
#[case("between: [2026-11-01, 2026-11-02]", StaysQuiet, Fires, Fires)]
fn dates_compared_with_dates(
    #[case] test: &str,
    #[case] before: State,
    #[case] on: State,
    #[case] after: State,
) {
    let of = |value: &str| {
        state(
            &format!("{{ fact: a.seen_on, {test} }}"),
            &format!("a: {{ seen_on: {value} }}"),
        )
    };
    assert_eq!(
        [of("2026-10-31"), of("2026-11-01"), of("2026-11-02")],
        [before, on, after]
    );
    assert_eq!(
        [
            of("2026-10-31 23:59"),
            of("2026-11-01 23:59"),
            of("2026-11-02 00:00")
        ],
        [before, on, after]
    );
}

/// The plan as a set of agents, by name and by family. A plan of nothing is an answer.
#[rstest]
#[case("includes: lidocaine", "[]", StaysQuiet)]
#[case(
    "includes: lidocaine",
    "[{ agent: lidocaine, strength: unknown, volume: unknown }]",
    Fires
)]
#[case(
    "includes: lidocaine",
    "[{ agent: mepivacaine, strength: 3 %, volume: 1 mL }]",
    StaysQuiet
)]
#[case(
    "includes: amide",
    "[{ agent: mepivacaine, strength: 3 %, volume: 1 mL }]",
    Fires
)]
#[case(
    "includes_any: [lidocaine, mepivacaine]",
    "[{ agent: mepivacaine, strength: 3 %, volume: 1 mL }]",
    Fires
)]
#[case("includes: lidocaine", "unknown", Undetermined)]
#[case("includes: lidocaine", "", Undetermined)]
fn the_anaesthetic_plan(#[case] test: &str, #[case] plan: &str, #[case] expected: State) {
    let of = |when: &str| state(when, &format!("plan: {{ anaesthetic: {plan} }}"));
    assert_eq!(
        of(&format!("{{ fact: plan.anaesthetic, {test} }}")),
        expected
    );
}

/// Every input of every derived fact of the default rule set, taken away by itself. What is expected: the answers
/// that the fact then waits for; none, if it does without.
#[rstest]
#[case("age", &["person.date_of_birth", "plan.procedure_on"], &[])]
#[case("body_mass_index", &["person.weight", "person.height"], &[])]
#[case("ideal_weight", &["person.height", "person.sex"], &[])]
#[case("dosing_weight", &["person.weight", "person.height", "person.sex", "person.date_of_birth", "plan.procedure_on"], &[])]
#[case("clearance_weight", &["person.weight", "person.height", "person.sex"], &[])]
#[case(
    "creatinine_clearance",
    &["person.date_of_birth", "plan.procedure_on", "person.weight", "person.height", "person.sex", "bleeding.creatinine"],
    &[]
)]
#[case("bleeding_history_count", &["bleeding.history"], &[])]
#[case("ankle_index_left", &["circulation.ankle_left", "circulation.arm_left", "circulation.arm_right"], &["circulation.ankle_right"])]
#[case(
    "ankle_index",
    &["plan.toes", "circulation.ankle_left", "circulation.arm_left", "circulation.arm_right"],
    &["circulation.ankle_right"]
)]
#[case(
    "ankle_index_highest",
    &["plan.toes", "circulation.ankle_left", "circulation.arm_left", "circulation.arm_right"],
    &["circulation.ankle_right"]
)]
#[case("ankle_pressure", &["plan.toes", "circulation.ankle_left"], &["circulation.ankle_right", "circulation.arm_left"])]
#[case("toe_pressure", &["plan.toes", "circulation.toe_left"], &["circulation.toe_right"])]
#[case("toe_index", &["plan.toes", "circulation.toe_left", "circulation.arm_left", "circulation.arm_right"], &["circulation.toe_right"])]
#[case(
    "anaesthetic_load",
    &[
        "plan.anaesthetic", "plan.adrenaline", "person.weight", "person.height", "person.sex", "person.date_of_birth",
        "plan.procedure_on", "anaesthesia.block_within_day", "anaesthesia.earlier", "anaesthesia.earlier_adrenaline"
    ],
    &["plan.toes"]
)]
#[case("adrenaline_total", &["plan.adrenaline"], &["plan.anaesthetic", "person.weight"])]
#[case("adrenaline_per_kg", &["plan.adrenaline"], &["plan.anaesthetic", "person.weight"])]
#[case("volume_per_toe", &["plan.anaesthetic", "plan.toes"], &["person.weight"])]
#[case("digit_load", &["plan.anaesthetic", "plan.toes"], &["person.weight"])]
fn a_derived_fact_waits_for_the_one_input_that_is_missing(
    #[case] name: &str,
    #[case] needed: &[&str],
    #[case] spare: &[&str],
) {
    let (rules, _) = embedded_once();
    let whole = "person: { date_of_birth: 1960-01-01, sex: female, weight: 61 kg, height: 165 cm }\n\
                 plan:\n  procedure_on: 2026-12-03\n  toes: [left-great]\n  adrenaline: no\n  \
                 anaesthetic: [{ agent: lidocaine, strength: 2 %, volume: 3 mL }]\n\
                 bleeding: { history: [], creatinine: { value: 90 umol/L, taken_on: 2026-11-20 } }\n\
                 circulation: { ankle_left: 110 mmHg, ankle_right: 120 mmHg, arm_left: 125 mmHg, arm_right: 130 mmHg, \
                 toe_left: 80 mmHg, toe_right: 85 mmHg }\n\
                 anaesthesia: { block_within_day: yes, earlier: [{ agent: lidocaine, strength: 2 %, volume: 1 mL }], earlier_adrenaline: no }";
    let whole = match gathered(rules, &written(whole)) {
        Ok(whole) => whole,
        Err(found) => unreachable!("{:?}", codes(&found)),
    };
    let without = |id: &str| {
        let mut fewer = whole.clone();
        let at = rules.catalogue.questions.position(|it| it.id == id);
        assert!(
            at.and_then(|at| fewer.given.remove(&at)).is_some(),
            "{id} is not answered"
        );
        preblock::inner::questionnaire::facts::read(rules, &fewer, today()).0
    };
    let slot = rules.catalogue.slot(&format!("derived.{name}"));
    let fact = |facts: &Facts| slot.map(|it| facts.get(it).clone());
    assert!(
        matches!(
            fact(&preblock::inner::questionnaire::facts::read(rules, &whole, today()).0),
            Some(Fact::Known(_))
        ),
        "{name} is known when all is"
    );
    for id in needed {
        match fact(&without(id)) {
            Some(Fact::Missing(missing)) => {
                let needs: Vec<&str> = missing
                    .needs
                    .iter()
                    .map(|it| rules.catalogue.id(*it))
                    .collect();
                assert_eq!((needs, missing.why), (vec![*id], Why::InputMissing));
            }
            other => unreachable!("{name} without {id}: {other:?}"),
        }
    }
    for id in spare {
        assert!(
            matches!(fact(&without(id)), Some(Fact::Known(_))),
            "{name} does without {id}"
        );
    }
}

/// A clinic's standing answer holds until the patient's own stands beside it; saying `unknown` is an answer of one's
/// own, leaving a line empty is none.
#[rstest]
#[case(None, Fires)]
#[case(Some(""), Fires)]
#[case(Some("no"), StaysQuiet)]
#[case(Some("unknown"), Undetermined)]
#[case(Some("declined"), Undetermined)]
fn standing_answers(#[case] own: Option<&str>, #[case] expected: State) {
    let rules = tiny(&[("one", "defer", "{ fact: plan.adrenaline, is: yes }")]);
    let clinic = "clinic: 1\nname: Saltmarsh Foot Clinic\nanswers:\n  plan: { adrenaline: yes }\n";
    let line = own.map_or_else(String::new, |own| format!("plan: {{ adrenaline: {own} }}"));
    let facts = facts_over(&rules, Some(clinic), &written(&line));
    assert_eq!(Compiled::new(&rules).run(&facts).rows(), [expected]);
}

/// A child's dose does not rest on the adult formula, so a missing height does not hold it up.
#[test]
fn a_child_needs_no_height() {
    let answers = "plan: { procedure_on: 2026-12-03, anaesthetic: [{ agent: lidocaine, strength: 1 %, volume: 3 mL }], adrenaline: no }\n\
                   a: { born: 2016-08-19, weight: 31 kg }";
    assert_eq!(state("{ fact: derived.load, above: 0.32 }", answers), Fires);
    assert_eq!(
        state("{ fact: derived.load, above: 0.33 }", answers),
        StaysQuiet
    );
}

/// A dose for which the register has no limit is not computed, and the plan is named as what to change.
#[test]
fn a_dose_without_a_limit_stays_open() {
    let answers = "plan: { procedure_on: 2026-12-03, anaesthetic: [{ agent: mepivacaine, strength: 3 %, volume: 1 mL }], adrenaline: no }\n\
                   a: { born: 2024-01-01, weight: 12 kg }";
    assert_eq!(
        state("{ fact: derived.load, above: 1 }", answers),
        Undetermined
    );
    assert!(
        waits("{ fact: derived.load, above: 1 }", answers).contains(&"plan.anaesthetic".to_owned())
    );
}

#[test]
fn a_finding_names_the_facts_that_decided_it_and_where_they_stand() {
    let when = "{ all: [{ taking: thinner }, { any: [{ fact: a.count, above: 4 }, { fact: a.smokes, is: yes }] }] }";
    let rules = tiny(&[("one", "refer", when)]);
    let answers = "a:\n  smokes: no\n  count: 7\n  taken: [paracetamol, warfarin 3 mg daily]";
    let found = screening(&rules, &facts(&rules, answers));
    let because: Vec<(String, String, Option<usize>, Option<usize>)> = found
        .findings
        .into_iter()
        .flat_map(|it| it.because)
        .map(|it| (it.fact, it.value, it.line, it.column))
        .collect();
    assert_eq!(
        because,
        [
            (
                "a.taken".to_owned(),
                "warfarin 3 mg daily".to_owned(),
                Some(7),
                Some(26)
            ),
            ("a.count".to_owned(), "7".to_owned(), Some(6), Some(12)),
        ]
    );
}

#[test]
fn a_derived_fact_is_followed_by_what_it_was_computed_from() {
    let rules = tiny(&[("one", "defer", "{ fact: derived.age, above: 70 }")]);
    let found = screening(
        &rules,
        &facts(
            &rules,
            "plan:\n  procedure_on: 2026-12-03\na:\n  born: 1950-01-01",
        ),
    );
    let because: Vec<(String, String, Option<usize>)> = found
        .findings
        .into_iter()
        .flat_map(|it| it.because)
        .map(|it| (it.fact, it.value, it.line))
        .collect();
    assert_eq!(
        because,
        [
            ("derived.age".to_owned(), "76 years".to_owned(), None),
            ("a.born".to_owned(), "1 Jan 1950".to_owned(), Some(7)),
            (
                "plan.procedure_on".to_owned(),
                "3 Dec 2026".to_owned(),
                Some(5)
            ),
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
    assert_eq!(
        order,
        ["test/third", "test/second", "test/fourth", "test/first"]
    );
}

#[test]
fn notes_and_free_text_are_always_kept() {
    let rules = tiny(&[("one", "go", "{ fact: a.smokes, is: yes }")]);
    let found = screening(
        &rules,
        &facts(
            &rules,
            "a:\n  smokes: no\n  words: hurts at night\n  note: will bring the letter",
        ),
    );
    let notes: Vec<(&str, &str)> = found
        .notes
        .iter()
        .map(|it| (it.section.as_str(), it.text.as_str()))
        .collect();
    assert_eq!(
        notes,
        [("a", "will bring the letter"), ("a", "hurts at night")]
    );
    assert_eq!(found.verdict().outcome, Go);
}
