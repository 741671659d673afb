//! What the cases of a rule set reach: three states of every rule, both sides of every number.

use std::cmp::Ordering;
use std::collections::BTreeSet;

use super::cases::CaseRun;
use crate::evaluate::State;
use crate::facts::{Facts, Value};
use crate::model::{Condition, Odds, Rule, RuleSet, Test};
use crate::quantity::span::Span;
use crate::quantity::when::When;
use crate::truth::FactSlot;

/// What no case reaches.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gap {
    /// Full id of the rule.
    pub rule: String,
    /// "no case in which it fires", "no case just below inr-ceiling".
    pub what: String,
}

/// Everything no case reaches, by rule order.
pub fn gaps(rule_set: &RuleSet, runs: &[CaseRun], wanted: impl Fn(&Rule) -> bool) -> Vec<Gap> {
    let mut found = Vec::new();
    for (at, rule) in rule_set.rules.iter().enumerate().filter(|(_, rule)| wanted(rule)) {
        let mut missing = |what: String| found.push(Gap { rule: rule.id.clone(), what });
        for (state, words) in [(State::Fires, "fires"), (State::StaysQuiet, "stays quiet"), (State::Undetermined, "is undetermined")] {
            if state == State::Undetermined && !can_be_open(&rule.when) {
                continue;
            }
            if !runs.iter().any(|run| run.states.get(at) == Some(&state)) {
                missing(format!("no case in which it {words}"));
            }
        }
        let mut seen: Vec<String> = Vec::new();
        rule.when.visit(&mut |condition| {
            let Condition::Fact { fact, test } = condition else { return };
            for (name, sides) in numbers(rule_set, runs, *fact, test) {
                if seen.contains(&name) {
                    continue;
                }
                for (side, words) in [(Ordering::Less, "below"), (Ordering::Equal, "at"), (Ordering::Greater, "above")] {
                    if !sides.contains(&side) {
                        missing(format!("no case {words} {name} for {}", rule_set.catalogue.id(*fact)));
                    }
                }
                seen.push(name);
            }
        });
    }
    found
}

/// Whether a condition can be unknown at all: whether answers are ruled out is always known.
fn can_be_open(condition: &Condition) -> bool {
    let mut open = false;
    condition.visit(&mut |it| {
        let is_group = matches!(it, Condition::All(_) | Condition::Any(_) | Condition::Not(_));
        open |= !is_group && *it != Condition::Answers(Odds::RuledOut);
    });
    open
}

/// Each number of a test, with the sides of it on which cases lie.
fn numbers(rule_set: &RuleSet, runs: &[CaseRun], fact: FactSlot, test: &Test) -> Vec<(String, BTreeSet<Ordering>)> {
    let name = |limit: Option<usize>, written: String| limit.and_then(|at| rule_set.limits.get(at)).map_or(written, |it| it.id.clone());
    let sides = |side: &dyn Fn(&Facts) -> Option<Ordering>| {
        runs.iter().filter(|it| !it.states.is_empty()).filter_map(|it| side(&it.facts)).collect()
    };
    let thresholds = match test {
        Test::Compare(_, threshold) => vec![threshold],
        Test::Between(low, high) => vec![low, high],
        Test::OlderThan(limit) | Test::Within(limit) => {
            let side = |facts: &Facts| age_beside(facts, fact, &limit.span);
            return vec![(name(limit.limit, limit.span.to_string()), sides(&side))];
        }
        _ => Vec::new(),
    };
    thresholds
        .into_iter()
        .map(|threshold| {
            let side = |facts: &Facts| facts.number(fact)?.partial_cmp(&threshold.value);
            (name(threshold.limit, threshold.written.clone()), sides(&side))
        })
        .collect()
}

/// Whether a date is younger than, exactly as old as, or older than a span on the day of surgery.
fn age_beside(facts: &Facts, fact: FactSlot, span: &Span) -> Option<Ordering> {
    let on = facts.procedure_on?;
    let Value::Date(taken) = facts.known(fact)?.value else { return None };
    if When::age_exceeds(&taken, &on, span) {
        return Some(Ordering::Greater);
    }
    // Exactly as old: a moment later it would be older.
    let moment_later = match (on.time, taken.time, span.minutes()) {
        (Some(_), Some(_), Some(_)) => later(&on, chrono::TimeDelta::minutes(1)),
        _ => later(&on, chrono::TimeDelta::days(1)),
    }?;
    Some(if When::age_exceeds(&taken, &moment_later, span) { Ordering::Equal } else { Ordering::Less })
}

fn later(when: &When, by: chrono::TimeDelta) -> Option<When> {
    let moment = when.date.and_time(when.time.unwrap_or_default()).checked_add_signed(by)?;
    Some(When { date: moment.date(), time: when.time.map(|_| moment.time()) })
}
