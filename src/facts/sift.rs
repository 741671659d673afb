//! Which answers count: details that another answer says do not apply, the clinic's standing answers, and what it offers.

use std::collections::BTreeSet;

use super::holds::{self, Decider};
use super::{AtOdds, Fact, Facts, Missing, Offered, SetAside, Value, Why, derive};
use crate::model::{Condition, Question, RuleSet};
use crate::truth::{FactSlot, Truth};

/// How often answers may call one another back or aside. More than any chain of details is long.
const MOST_ROUNDS: usize = 16;

/// Derives every derived fact, sets standing answers aside that this plan does not ask for, and notes which answers are
/// at odds with others.
pub fn all(rule_set: &RuleSet, facts: &mut Facts) {
    settle(rule_set, facts);
    facts.ruled_out = ruled_out(rule_set, facts);
    compare_with_offers(rule_set, facts);
}

/// The same patient with some answers otherwise, and everything that follows from it anew.
///
/// # Missing data
/// A detail that only these changes rule out counts as not asked: nobody would answer it then. A standing answer of
/// the clinic comes back where the changes ask for it.
pub fn changed(rule_set: &RuleSet, facts: &Facts, changes: &[(FactSlot, Fact)]) -> Facts {
    let mut changed = facts.clone();
    for (slot, fact) in changes {
        changed.put(*slot, fact.clone());
    }
    changed.settle_procedure();
    let before: BTreeSet<FactSlot> = facts.ruled_out.iter().map(|it| it.answer.slot).collect();
    for _ in 0..MOST_ROUNDS {
        all(rule_set, &mut changed);
        let newly: Vec<FactSlot> = changed.ruled_out.iter().map(|it| it.answer.slot).filter(|it| !before.contains(it)).collect();
        if newly.is_empty() {
            break;
        }
        for question in newly.iter().filter_map(|it| rule_set.catalogue.question_of(*it)) {
            take(&mut changed, question);
        }
    }
    changed
}

/// Rounds of deriving, bringing back and setting aside, until nothing moves.
fn settle(rule_set: &RuleSet, facts: &mut Facts) {
    for _ in 0..MOST_ROUNDS {
        derive::all(rule_set, facts);
        if !bring_back(rule_set, facts) && !set_aside(rule_set, facts) {
            break;
        }
    }
}

/// Why an answered question does not apply, as another answer says; `None` if it is not answered, or may apply.
fn does_not_apply(rule_set: &RuleSet, question: &Question, facts: &Facts) -> Option<Condition> {
    facts.known(question.slot)?;
    holds::not_asked(question, &rule_set.catalogue, facts)
}

fn bring_back(rule_set: &RuleSet, facts: &mut Facts) -> bool {
    let asks = |it: &SetAside| {
        let question = rule_set.catalogue.questions.get(it.question);
        question.is_some_and(|it| holds::not_asked(it, &rule_set.catalogue, facts).is_none())
    };
    let (back, aside): (Vec<SetAside>, Vec<SetAside>) = facts.set_aside.iter().cloned().partition(asks);
    for it in &back {
        let Some(question) = rule_set.catalogue.questions.get(it.question) else { continue };
        // An answer of the patient's own, or of a changed plan, stands before the clinic's.
        if facts.known(question.slot).is_some() {
            continue;
        }
        facts.put(question.slot, it.fact.clone());
        if let (Some(slot), Some(date)) = (question.date_slot, &it.date) {
            facts.put(slot, date.clone());
        }
    }
    facts.set_aside = aside;
    !back.is_empty()
}

fn set_aside(rule_set: &RuleSet, facts: &mut Facts) -> bool {
    let questions = rule_set.catalogue.questions.iter().enumerate();
    let unasked: Vec<(usize, &Question)> =
        questions.filter(|(_, it)| facts.standing.contains(&it.slot) && does_not_apply(rule_set, it, facts).is_some()).collect();
    for (at, question) in &unasked {
        if let Some((fact, date)) = take(facts, question) {
            facts.set_aside.push(SetAside { question: *at, fact, date });
        }
    }
    !unasked.is_empty()
}

/// Takes an answer and its date away; they count as not asked.
fn take(facts: &mut Facts, question: &Question) -> Option<(Fact, Option<Fact>)> {
    let not_asked = || Fact::Missing(Missing { why: Why::NotAsked, needs: BTreeSet::from([question.slot]) });
    let fact = std::mem::replace(facts.facts.get_mut(question.slot.index())?, not_asked());
    let date = question.date_slot.and_then(|it| facts.facts.get_mut(it.index())).map(|it| std::mem::replace(it, not_asked()));
    Some((fact, date))
}

fn ruled_out(rule_set: &RuleSet, facts: &Facts) -> Vec<AtOdds> {
    let mut found = Vec::new();
    for question in &rule_set.catalogue.questions {
        if let (Some(answer), Some(when)) = (decider(question.slot, facts), does_not_apply(rule_set, question, facts)) {
            found.push(AtOdds { answer, by: holds::deciding(&when, facts) });
        }
    }
    found
}

fn decider(slot: FactSlot, facts: &Facts) -> Option<Decider> {
    facts.known(slot).map(|it| Decider { slot, shown: it.shown.clone(), place: it.place.clone() })
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
        let Some(question) = rule_set.catalogue.question_of(*slot) else { continue };
        let Some(known) = facts.known(*slot) else {
            if holds::not_asked(question, &rule_set.catalogue, facts).is_none() {
                open.extend(facts.needs(*slot));
            }
            continue;
        };
        let when = question.ask_when.as_ref().filter(|_| facts.standing.contains(slot));
        match (is_offered(&known.value, offered), when.map_or(Truth::Yes, |it| holds::truth(it, facts))) {
            (Some(true), _) => {}
            (Some(false), Truth::Unknown(needs)) => open.extend(needs),
            (Some(false), _) => not_offered.extend(decider(*slot, facts).map(|answer| AtOdds { answer, by: Vec::new() })),
            (None, _) => {
                open.insert(*slot);
            }
        }
    }
    facts.not_offered = not_offered;
    facts.offer_open = open;
}

fn is_offered(value: &Value, offered: &Offered) -> Option<bool> {
    match (value, offered) {
        (Value::Choice(at), Offered::Options(bits)) => Some(bits >> at & 1 == 1),
        (Value::Choices(chosen), Offered::Options(bits)) => Some(chosen & !bits == 0),
        (Value::Plan(plan), Offered::Solutions(solutions)) => {
            let one = |agent: usize, percent: Option<f64>| {
                let strengths: Vec<f64> = solutions.iter().filter(|(at, _)| *at == agent).map(|(_, it)| *it).collect();
                match percent {
                    _ if strengths.is_empty() => Some(false),
                    None => None,
                    Some(percent) => Some(strengths.contains(&percent)),
                }
            };
            let all: Vec<Option<bool>> = plan.iter().map(|it| one(it.agent, it.percent)).collect();
            if all.contains(&Some(false)) { Some(false) } else { all.into_iter().collect::<Option<Vec<bool>>>().map(|_| true) }
        }
        _ => None,
    }
}
