//! Which answers count: those whose question applies. Others are set aside where they are harmless, and else contradict
//! the answer that says so. And what the clinic offers.
//!
//! A patient's answer that is harmless alone (`no`, `[]`, options marked `nothing: true`, a text,
//! any answer of a question marked `harmless_alone: true`, the day of a result that is not known)
//! is missing while it is not known whether its question applies, and set aside where it certainly
//! does not: as if it had been left out. INVARIANT: counting it sooner would let an added answer
//! lift a finding that rested on it. One pass over `Catalogue::turns` does it, in which everything
//! comes after what it hangs on.
//!
//! `otherwise` is no default answer: it follows from known answers. Where sex and age settle that
//! nobody can be pregnant, `not-pregnant` is known, with what it follows from; while they are not
//! known, the answer or they are waited for.
//!
//! The clinic's standing details of another method are set aside, not refused: the method in the
//! plan decides which count, and they come back in an alternative that asks for them. A choice of
//! the plan is held to the offers even where it does not apply, so that no added answer lifts the
//! finding; a standing one beyond the offers stays open until its method is settled. Local policy
//! and the clinic's file are intersected.

use std::collections::BTreeSet;

use crate::questionnaire::facts::truth_of;
use crate::questionnaire::facts::truth_of::Ground;
use crate::questionnaire::facts::{
    ConflictingAnswer, Displaced, Fact, Facts, Missing, Value, Why, derive,
};
use crate::rule_set::Offered;
use crate::rule_set::{Agent, Bits, Dependent, FactKind, Idx, Question, RuleSet};
use crate::truth::{FactSlot, Slot, Truth};

/// Derives every derived fact, sets answers aside that do not count, and notes which are at odds with others.
///
/// A patient's answer that is harmless alone counts once its question applies. Until then it is missing, so that an answer
/// which is added only ever settles what was open. Any other one counts in any case: it may show that the answer which rules
/// it out is wrong. A standing one of the clinic counts until its question certainly does not apply.
pub(super) fn all(rule_set: &RuleSet, facts: &mut Facts) {
    let anew = vec![true; rule_set.catalogue.turns.len()];
    bring_back(rule_set, facts, &anew);
    settle(rule_set, facts, &anew, |_| true);
}

/// What [`Facts::with`] says.
pub(super) fn changed(rule_set: &RuleSet, facts: &Facts, changes: &[(FactSlot, Fact)]) -> Facts {
    // Which of what is open comes from which question is not kept, so each that may hang on it is gone over, too.
    let otherwise: Bits<Slot> = changes
        .iter()
        .map(|(slot, _)| slot)
        .chain(&facts.ruled_out_open)
        .copied()
        .collect();
    let anew: Vec<bool> = rule_set
        .catalogue
        .turns
        .iter()
        .map(|(_, behind)| behind.meets(&otherwise))
        .collect();
    let mut changed = facts.clone();
    bring_back(rule_set, &mut changed, &anew);
    for (slot, fact) in changes {
        changed.put(*slot, fact.clone());
    }
    settle(rule_set, &mut changed, &anew, |slot| {
        facts.ruled_out.iter().any(|it| it.answer.slot == slot)
    });
    changed
}

/// Every answer to these questions, by their turns, as it was given, as if none of them had been placed.
fn bring_back(rule_set: &RuleSet, facts: &mut Facts, anew: &[bool]) {
    let catalogue = &rule_set.catalogue;
    let turns = catalogue.turns.iter().zip(anew).filter(|(_, anew)| **anew);
    let questions: Bits<Question> = turns
        .filter_map(|((turn, _), _)| {
            if let Dependent::Question(at) = turn {
                Some(*at)
            } else {
                None
            }
        })
        .collect();
    let set_aside = std::mem::take(&mut facts.set_aside).into_iter();
    let (back, kept): (Vec<Displaced>, Vec<Displaced>) =
        set_aside.partition(|it| questions.contains(it.question));
    facts.set_aside = kept;
    for Displaced {
        question,
        fact,
        date,
        ..
    } in back
    {
        let question = &catalogue.questions[question];
        facts.put(question.slot, fact);
        if let (Some(slot), Some(date)) = (question.date_slot, date) {
            facts.put(slot, date);
        }
    }
    let is_anew = |slot| matches!(catalogue.fact(slot).kind, FactKind::Question(at) if questions.contains(at));
    facts.ruled_out.retain(|it| !is_anew(it.answer.slot));
}

/// Goes once over what hangs on other facts, in turn, where it is to be settled anew. Only these answers contradict what
/// rules them out; others are set aside.
fn settle(
    rule_set: &RuleSet,
    facts: &mut Facts,
    anew: &[bool],
    contradicts: impl Fn(FactSlot) -> bool,
) {
    facts.ruled_out_open.clear();
    facts.settle_procedure();
    for ((turn, _), _) in rule_set
        .catalogue
        .turns
        .iter()
        .zip(anew)
        .filter(|(_, anew)| **anew)
    {
        match *turn {
            Dependent::Derived(at) => derive::these(rule_set, facts, &[at]),
            Dependent::Question(at) => place(
                rule_set,
                facts,
                (at, &rule_set.catalogue.questions[at]),
                &contradicts,
            ),
        }
    }
    facts.ruled_out.sort_by_key(|it| it.answer.slot);
    facts.unread = unread(rule_set, facts);
    compare_with_offers(rule_set, facts);
}

/// Lets the answer to a question count, or not.
fn place(
    rule_set: &RuleSet,
    facts: &mut Facts,
    (at, question): (Idx<Question>, &Question),
    contradicts: impl Fn(FactSlot) -> bool,
) {
    let date_known = question
        .date_slot
        .is_some_and(|it| facts.known(it).is_some());
    let spare = match facts.known(question.slot) {
        Some(known) => {
            facts.standing.contains(&question.slot) || is_harmless(question, &known.value)
        }
        // The day of a result that is not known says nothing.
        None => true,
    };
    let given = date_known || facts.known(question.slot).is_some();
    // What is answered as it is in any case counts in any case.
    let is_so_anyhow = question
        .otherwise
        .is_some_and(|it| chosen(facts, question.slot) == Some(it));
    if is_so_anyhow || (!given && question.otherwise.is_none()) {
        return;
    }
    match truth_of::applies(question, &rule_set.catalogue, facts) {
        Truth::Yes => {}
        Truth::No if spare || !contradicts(question.slot) => {
            let instead = question.otherwise.map_or_else(
                || missing(Why::NotAsked, BTreeSet::from([question.slot])),
                |option| Fact::made(Value::Choice(option), question.option_in_words(option)),
            );
            set_aside(facts, (at, question), instead, true);
        }
        Truth::No => {
            let by = truth_of::ruling_out(question, &rule_set.catalogue, facts);
            let answer = truth_of::whole(question.slot, facts);
            facts
                .ruled_out
                .extend(answer.map(|answer| ConflictingAnswer { answer, by }));
        }
        Truth::Unknown(open) if !spare => facts.ruled_out_open.extend(open),
        // A standing detail counts until another method is chosen.
        Truth::Unknown(_) if facts.standing.contains(&question.slot) => {}
        Truth::Unknown(open) if given => {
            set_aside(facts, (at, question), missing(Why::Waits, open), false)
        }
        // Either the answer settles it, or what says that the question does not apply.
        Truth::Unknown(mut open) => {
            open.insert(question.slot);
            let why = if let Fact::Missing(it) = facts.get(question.slot) {
                it.why
            } else {
                Why::NotAsked
            };
            set_aside(facts, (at, question), missing(why, open), false);
        }
    }
}

/// Whether an answer is harmless where its question does not apply.
pub(crate) fn is_harmless(question: &Question, value: &Value) -> bool {
    match value {
        _ if question.harmless_alone => true,
        Value::Choice(at) => question.is_harmless_option(*at),
        Value::Choices(bits) => (0..64)
            .filter(|at| bits >> at & 1 == 1)
            .all(|at| question.is_harmless_option(at)),
        // A text is shown to the clinician in any case, and no rule reads it.
        Value::Text => true,
        Value::Medicines(entries) => entries.is_empty(),
        Value::Allergies(entries) => entries.is_empty(),
        Value::Plan(plan) => plan.is_empty(),
        Value::Number(_) | Value::Date(_) => false,
    }
}

/// Puts something in the place of an answer, and keeps what was given.
fn set_aside(
    facts: &mut Facts,
    (at, question): (Idx<Question>, &Question),
    instead: Fact,
    is_settled: bool,
) {
    let date = question.date_slot.map(|it| facts.get(it).clone());
    let needs = if let Fact::Missing(it) = &instead {
        it.needs.clone()
    } else {
        BTreeSet::from([question.slot])
    };
    let fact = facts.get(question.slot).clone();
    facts.put(question.slot, instead);
    if let Some(slot) = question.date_slot {
        facts.put(slot, missing(Why::NotAsked, needs));
    }
    facts.set_aside.push(Displaced {
        question: at,
        fact,
        date,
        is_settled,
    });
    if facts.procedure_needs.contains(&question.slot) {
        facts.settle_procedure();
    }
}

fn missing(why: Why, needs: BTreeSet<FactSlot>) -> Fact {
    Fact::Missing(Missing { why, needs })
}

fn chosen(facts: &Facts, slot: FactSlot) -> Option<u16> {
    if let Value::Choice(at) = facts.known(slot)?.value {
        Some(at)
    } else {
        None
    }
}

/// Lists of names of which nobody knows what they hold: one with a name that was not recognised, and one that is missing
/// and may be asked for.
fn unread(rule_set: &RuleSet, facts: &Facts) -> BTreeSet<FactSlot> {
    let catalogue = &rule_set.catalogue;
    let mut found = BTreeSet::new();
    for slot in [catalogue.medicines, catalogue.allergies]
        .into_iter()
        .flatten()
    {
        match facts.known(slot).map(|it| &it.value) {
            Some(Value::Medicines(entries)) if entries.iter().all(|it| it.medicine.is_some()) => {}
            Some(Value::Allergies(entries)) if entries.iter().all(|it| it.substances.is_some()) => {
            }
            Some(_) => {
                found.insert(slot);
            }
            None => match catalogue
                .question_of(slot)
                .map_or(Truth::Yes, |it| truth_of::applies(it, catalogue, facts))
            {
                Truth::No => {}
                Truth::Yes => found.extend(facts.needs(slot)),
                Truth::Unknown(open) => found.extend(facts.needs(slot).into_iter().chain(open)),
            },
        }
    }
    found
}

/// Whether each choice of the plan is among what the clinic offers, where it says so.
///
/// # Missing data
/// A choice that is not made, or a solution whose strength is not known, is open. A choice that is not made and belongs to
/// a method which is not planned is none; one that is made counts whatever the method. A standing choice beyond the offers is
/// open while its method is: another method would set it aside.
fn compare_with_offers(rule_set: &RuleSet, facts: &mut Facts) {
    let mut not_offered = Vec::new();
    let mut open = BTreeSet::new();
    for (slot, offered) in &facts.offers {
        let Some(question) = rule_set.catalogue.question_of(*slot) else {
            continue;
        };
        let Some(known) = facts.known(*slot) else {
            if truth_of::applies(question, &rule_set.catalogue, facts) != Truth::No {
                open.extend(facts.needs(*slot));
            }
            continue;
        };
        match is_offered(&known.value, offered) {
            Some(true) => {}
            Some(false) => match truth_of::applies(question, &rule_set.catalogue, facts) {
                Truth::Unknown(needs) if facts.standing.contains(slot) => open.extend(needs),
                _ => not_offered.push(ConflictingAnswer {
                    answer: Ground::of(*slot, known),
                    by: Vec::new(),
                }),
            },
            None => {
                open.insert(*slot);
            }
        }
    }
    facts.not_offered = not_offered;
    facts.offer_open = open;
}

/// Whether a choice of the plan is among what is offered; `None` while its strength is not known.
pub(crate) fn is_offered(value: &Value, offered: &Offered) -> Option<bool> {
    match (value, offered) {
        (Value::Choice(at), Offered::Options(bits)) => Some(bits >> at & 1 == 1),
        (Value::Choices(chosen), Offered::Options(bits)) => Some(chosen & !bits == 0),
        (Value::Plan(plan), Offered::Solutions(solutions)) => {
            let one = |agent: Idx<Agent>, percent: Option<f64>| {
                let strengths: Vec<f64> = solutions
                    .iter()
                    .filter(|(at, _)| *at == agent)
                    .map(|(_, it)| *it)
                    .collect();
                match percent {
                    _ if strengths.is_empty() => Some(false),
                    None => None,
                    Some(percent) => Some(strengths.contains(&percent)),
                }
            };
            let all: Vec<Option<bool>> = plan.iter().map(|it| one(it.agent, it.percent)).collect();
            if all.contains(&Some(false)) {
                Some(false)
            } else {
                all.into_iter().collect::<Option<Vec<bool>>>().map(|_| true)
            }
        }
        _ => None,
    }
}
