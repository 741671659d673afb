//! Whether a condition holds for these facts, what keeps it open, and what decided it.
//!
//! This walks the tree as people read it. `screening::compile` has a fast form of the same tables and
//! asks here only for explanations; a test holds the two equal.
//!
//! A gate that was not asked, and need not be, counts as no: where the question of a missing answer
//! certainly does not apply, each test of it in another question's `ask_when` is no, so that a
//! detail two gates down is ruled out by the outer one alone. In the conditions of rules such an
//! answer stays missing. A missing gate that may apply leaves its details open, and the rules wait
//! for it.

use std::collections::BTreeSet;

use crate::quantity::when::When;
use crate::questionnaire::facts::{AllergyEntry, Facts, Known, MedicineEntry, Place, Value};
use crate::rule_set::recognise;
use crate::rule_set::{
    Bits, Catalogue, Comparison, Condition, Conflict, Idx, Medicine, Question, Reaction, Substance,
    Test,
};
use crate::truth::{FactSlot, Truth};

/// One thing that decided a condition.
#[derive(Debug, Clone, PartialEq)]
pub struct Ground {
    /// Which fact.
    pub slot: FactSlot,
    /// Its value as understood; for a list, the entry that counted.
    pub shown: String,
    /// Where it stands; `None` for a derived fact.
    pub place: Option<Place>,
}

impl Ground {
    /// A fact as a whole.
    pub(crate) fn of(slot: FactSlot, known: &Known) -> Self {
        Self {
            slot,
            shown: known.shown.clone(),
            place: known.place.clone(),
        }
    }
}

/// Whether a test of one fact holds, by the value of that fact and nothing else.
///
/// # Returns
/// `None` for an age, which counts to the day of the procedure, and for what is no test of one fact.
pub(crate) fn of_value(condition: &Condition, value: &Value) -> Option<Truth> {
    match (condition, value) {
        (
            Condition::Taking {
                fact,
                medicines,
                at_least,
                ..
            },
            Value::Medicines(entries),
        ) => Some(taking(entries.iter(), medicines, *at_least, *fact)),
        (
            Condition::AllergicTo {
                fact,
                substances,
                reactions,
                ..
            },
            Value::Allergies(entries),
        ) => Some(allergic(entries, substances, reactions.as_ref(), *fact)),
        (Condition::Fact { test, .. }, value) => passes(test, value).map(Truth::from_known),
        _ => None,
    }
}

/// Whether a condition holds.
pub fn truth(condition: &Condition, facts: &Facts) -> Truth {
    match condition {
        Condition::All(parts) => parts
            .iter()
            .fold(Truth::Yes, |so_far, part| so_far.and(truth(part, facts))),
        Condition::Any(parts) => parts
            .iter()
            .fold(Truth::No, |so_far, part| so_far.or(truth(part, facts))),
        Condition::Not(part) => truth(part, facts).not(),
        Condition::Taking { fact, .. } | Condition::AllergicTo { fact, .. } => facts
            .known(*fact)
            .and_then(|known| of_value(condition, &known.value))
            .unwrap_or_else(|| Truth::Unknown(facts.needs(*fact))),
        Condition::Fact { fact, test } => tested(*fact, test, facts),
        Condition::Answers(conflict) => conflicts(*conflict, facts),
    }
}

fn conflicts(conflict: Conflict, facts: &Facts) -> Truth {
    let open = facts.conflicts_open(conflict);
    if !facts.conflicts(conflict).is_empty() {
        Truth::Yes
    } else if open.is_empty() {
        Truth::No
    } else {
        Truth::Unknown(open.clone())
    }
}

/// Whether so many medicines of a list are among those wanted.
pub(crate) fn taking<'e>(
    entries: impl Iterator<Item = &'e MedicineEntry>,
    wanted: &Bits<Medicine>,
    at_least: u16,
    fact: FactSlot,
) -> Truth {
    let at_least = usize::from(at_least);
    let may_be_wanted =
        |entry: &&MedicineEntry| entry.medicine.is_none_or(|at| wanted.contains(at));
    let entries: Vec<&MedicineEntry> = entries.filter(may_be_wanted).collect();
    if entries.len() < at_least {
        return Truth::No;
    }
    let found: BTreeSet<Idx<Medicine>> = entries.iter().filter_map(|it| it.medicine).collect();
    // The same text twice is one medicine, whichever that is.
    let unrecognised: BTreeSet<String> = entries
        .iter()
        .filter(|it| it.medicine.is_none())
        .map(|it| recognise::form(&it.text))
        .collect();
    if found.len() >= at_least {
        Truth::Yes
    } else if found.len() + unrecognised.len() >= at_least {
        Truth::unknown(fact)
    } else {
        Truth::No
    }
}

/// Whether one allergy is among the substances: an entry may be a whole group.
pub fn entry_allergic(
    entry: &AllergyEntry,
    wanted: &Bits<Substance>,
    reactions: Option<&Bits<Reaction>>,
) -> Option<bool> {
    let substance = match &entry.substances {
        // A word for a group of which the register holds nothing may mean anything.
        None => None,
        Some(bits) if bits.is_empty() => None,
        Some(bits) if bits.within(wanted) => Some(true),
        Some(bits) if bits.meets(wanted) => None,
        Some(_) => Some(false),
    };
    let reaction = match (reactions, entry.reaction) {
        (None, _) => Some(true),
        (Some(_), None) => None,
        (Some(wanted), Some(at)) => Some(wanted.contains(at)),
    };
    match (substance, reaction) {
        (Some(false), _) | (_, Some(false)) => Some(false),
        (Some(true), Some(true)) => Some(true),
        _ => None,
    }
}

fn allergic(
    entries: &[AllergyEntry],
    wanted: &Bits<Substance>,
    reactions: Option<&Bits<Reaction>>,
    fact: FactSlot,
) -> Truth {
    entries.iter().fold(Truth::No, |so_far, entry| {
        let one = entry_allergic(entry, wanted, reactions)
            .map_or_else(|| Truth::unknown(fact), Truth::from_known);
        so_far.or(one)
    })
}

fn tested(fact: FactSlot, test: &Test, facts: &Facts) -> Truth {
    let Some(known) = facts.known(fact) else {
        let mut open = facts.needs(fact);
        if matches!(test, Test::OlderThan(_) | Test::Within(_)) && facts.procedure_on.is_none() {
            open.extend(facts.procedure_needs.iter().copied());
        }
        return Truth::Unknown(open);
    };
    match (test, &known.value) {
        (Test::OlderThan(limit), Value::Date(taken)) => {
            aged(facts, |on| When::age_exceeds(taken, on, &limit.span))
        }
        (Test::Within(limit), Value::Date(taken)) => {
            aged(facts, |on| !When::age_exceeds(taken, on, &limit.span))
        }
        // The loader lets no other pair through; were there one, it would stay open.
        (_, value) => passes(test, value).map_or_else(|| Truth::unknown(fact), Truth::from_known),
    }
}

/// Whether a value passes a test; `None` for a test of its age, and for a value of another kind.
fn passes(test: &Test, value: &Value) -> Option<bool> {
    Some(match (test, value) {
        (Test::OneOf(options), Value::Choice(at)) => options.contains(at),
        (Test::NoneOf(options), Value::Choice(at)) => !options.contains(at),
        (Test::Includes(options), Value::Choices(bits)) => {
            options.iter().any(|at| bits >> at & 1 == 1)
        }
        (Test::Includes(options), Value::Plan(plan)) => plan.iter().any(|planned| {
            options
                .iter()
                .any(|at| usize::from(*at) == planned.agent.index())
        }),
        (Test::Compare(how, threshold), Value::Number(number)) => {
            compares(*how, *number, threshold.value)
        }
        (Test::Compare(how, threshold), Value::Date(when)) => {
            compares(*how, day_number(when), threshold.value)
        }
        (Test::Between(low, high), Value::Number(number)) => {
            (low.value..=high.value).contains(number)
        }
        (Test::Between(low, high), Value::Date(when)) => {
            (low.value..=high.value).contains(&day_number(when))
        }
        _ => return None,
    })
}

fn aged(facts: &Facts, test: impl Fn(&When) -> bool) -> Truth {
    match &facts.procedure_on {
        Some(on) => Truth::from_known(test(on)),
        None => Truth::Unknown(facts.procedure_needs.clone()),
    }
}

fn day_number(when: &When) -> f64 {
    f64::from(chrono::Datelike::num_days_from_ce(&when.date))
}

/// Whether a number compares so with another.
pub(crate) fn compares(how: Comparison, number: f64, with: f64) -> bool {
    match how {
        Comparison::Above => number > with,
        Comparison::AtLeast => number >= with,
        Comparison::Below => number < with,
        Comparison::AtMost => number <= with,
    }
}

/// Whether a question applies: its `ask_when`.
///
/// Details stand behind gates, and gates behind gates. A test of a missing answer whose own question certainly does not
/// apply counts as no: nobody will ever answer it.
///
/// # Missing data
/// A missing answer whose question may apply keeps open whether the detail does, and so does whatever keeps that open.
pub fn applies(question: &Question, catalogue: &Catalogue, facts: &Facts) -> Truth {
    question
        .ask_when
        .as_ref()
        .map_or(Truth::Yes, |when| asked(when, catalogue, facts))
}

fn asked(when: &Condition, catalogue: &Catalogue, facts: &Facts) -> Truth {
    match when {
        Condition::All(parts) => parts.iter().fold(Truth::Yes, |so_far, part| {
            so_far.and(asked(part, catalogue, facts))
        }),
        Condition::Any(parts) => parts.iter().fold(Truth::No, |so_far, part| {
            so_far.or(asked(part, catalogue, facts))
        }),
        Condition::Not(part) => asked(part, catalogue, facts).not(),
        Condition::Taking { fact, .. }
        | Condition::AllergicTo { fact, .. }
        | Condition::Fact { fact, .. } => {
            match (
                truth(when, facts),
                gate_of(*fact, catalogue, facts).map(|it| applies(it, catalogue, facts)),
            ) {
                (Truth::Unknown(_), Some(Truth::No)) => Truth::No,
                (Truth::Unknown(open), Some(Truth::Unknown(more))) => {
                    Truth::Unknown(open.into_iter().chain(more).collect())
                }
                (own, _) => own,
            }
        }
        Condition::Answers(_) => truth(when, facts),
    }
}

/// The question of a fact that is missing.
fn gate_of<'a>(fact: FactSlot, catalogue: &'a Catalogue, facts: &Facts) -> Option<&'a Question> {
    catalogue
        .question_of(fact)
        .filter(|_| facts.known(fact).is_none())
}

/// What says that a question does not apply, as [`applies`] found: a test of a missing answer gives way to what says that
/// nobody asks for it. Empty if the question applies, or may.
pub(crate) fn ruling_out(question: &Question, catalogue: &Catalogue, facts: &Facts) -> Vec<Ground> {
    let Some(when) = question
        .ask_when
        .as_ref()
        .filter(|_| applies(question, catalogue, facts) == Truth::No)
    else {
        return Vec::new();
    };
    deciding(&through_gates(when, catalogue, facts), facts)
}

fn through_gates(condition: &Condition, catalogue: &Catalogue, facts: &Facts) -> Condition {
    let each = |parts: &[Condition]| {
        parts
            .iter()
            .map(|it| through_gates(it, catalogue, facts))
            .collect()
    };
    match condition {
        Condition::All(parts) => Condition::All(each(parts)),
        Condition::Any(parts) => Condition::Any(each(parts)),
        Condition::Not(part) => Condition::Not(Box::new(through_gates(part, catalogue, facts))),
        Condition::Taking { fact, .. }
        | Condition::AllergicTo { fact, .. }
        | Condition::Fact { fact, .. } => {
            let gate = gate_of(*fact, catalogue, facts)
                .filter(|it| applies(it, catalogue, facts) == Truth::No);
            let behind = gate.and_then(|it| it.ask_when.as_ref());
            behind.map_or_else(
                || condition.clone(),
                |it| through_gates(it, catalogue, facts),
            )
        }
        Condition::Answers(_) => condition.clone(),
    }
}

/// What decided a condition that holds or does not hold; empty if it is open.
pub(crate) fn deciding(condition: &Condition, facts: &Facts) -> Vec<Ground> {
    let mut found = Vec::new();
    decide(condition, facts, &mut found);
    let mut unique: Vec<Ground> = Vec::new();
    for it in found {
        if !unique.contains(&it) {
            unique.push(it);
        }
    }
    unique
}

fn decide(condition: &Condition, facts: &Facts, found: &mut Vec<Ground>) {
    let all = truth(condition, facts);
    if matches!(all, Truth::Unknown(_)) {
        return;
    }
    match condition {
        Condition::All(parts) | Condition::Any(parts) => {
            for part in parts.iter().filter(|part| truth(part, facts) == all) {
                decide(part, facts, found);
            }
        }
        Condition::Not(part) => decide(part, facts, found),
        Condition::Taking {
            fact, medicines, ..
        } if all == Truth::Yes => {
            let entries = matching_medicines(facts, *fact, medicines);
            found.extend(entries.iter().map(|entry| Ground {
                slot: *fact,
                shown: entry.shown(),
                place: Some(entry.place.clone()),
            }));
        }
        Condition::AllergicTo {
            fact,
            substances,
            reactions,
            ..
        } if all == Truth::Yes => {
            let entries = matching_allergies(facts, *fact, substances, reactions.as_ref());
            found.extend(entries.iter().map(|entry| Ground {
                slot: *fact,
                shown: entry.shown(),
                place: Some(entry.place.clone()),
            }));
        }
        Condition::Taking { fact, .. } | Condition::AllergicTo { fact, .. } => {
            found.extend(whole(*fact, facts));
        }
        Condition::Answers(conflict) if all == Truth::Yes => found.extend(
            facts
                .conflicts(*conflict)
                .iter()
                .flat_map(|it| std::iter::once(&it.answer).chain(&it.by).cloned()),
        ),
        Condition::Answers(_) => {}
        Condition::Fact { fact, test } => {
            found.extend(whole(*fact, facts));
            if matches!(test, Test::OlderThan(_) | Test::Within(_)) {
                let days = facts.procedure_needs.iter();
                found.extend(days.filter_map(|slot| whole(*slot, facts)));
            }
        }
    }
}

/// A fact as a whole, if it is known.
pub(crate) fn whole(slot: FactSlot, facts: &Facts) -> Option<Ground> {
    facts.known(slot).map(|known| Ground::of(slot, known))
}

/// The entries of the list of medicines that are among those wanted.
pub(crate) fn matching_medicines<'a>(
    facts: &'a Facts,
    fact: FactSlot,
    wanted: &Bits<Medicine>,
) -> Vec<&'a MedicineEntry> {
    match facts.known(fact).map(|it| &it.value) {
        Some(Value::Medicines(entries)) => entries
            .iter()
            .filter(|it| it.medicine.is_some_and(|at| wanted.contains(at)))
            .collect(),
        _ => Vec::new(),
    }
}

/// The entries of the list of allergies that are among those wanted.
pub(crate) fn matching_allergies<'a>(
    facts: &'a Facts,
    fact: FactSlot,
    wanted: &Bits<Substance>,
    reactions: Option<&Bits<Reaction>>,
) -> Vec<&'a AllergyEntry> {
    match facts.known(fact).map(|it| &it.value) {
        Some(Value::Allergies(entries)) => entries
            .iter()
            .filter(|it| entry_allergic(it, wanted, reactions) == Some(true))
            .collect(),
        _ => Vec::new(),
    }
}
