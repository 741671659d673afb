//! What would give a better verdict: the smallest sets of answers that would have to be otherwise.
//!
//! Found by search over the compiled rules, for answers whose question is marked `changeable`. Nothing here knows what
//! an answer means; the target values come from the numbers that rules compare with.

use std::collections::{BTreeMap, BTreeSet};

use chrono::Days;

use crate::outcome::Standing;
use crate::quantity::tidy;
use crate::quantity::when::When;
use crate::questionnaire::facts::answers::date_in_words;
use crate::questionnaire::facts::derive::roots;
use crate::questionnaire::facts::{Fact, Facts, Known, Value};
use crate::rule_set::{
    Answer, Changeable, Condition, Derived, Idx, Question, RuleSet, Table, Test, Threshold,
};
use crate::screening::result::{Change, Lift};
use crate::screening::what_if::prospect::{change, lower_first, prospect, shown};
use crate::screening::what_if::search::{
    Bounds, ChangeSet, Edit, Lever, LeverStep, Searched, Trials, YES_NO, dated, smallest,
};
use crate::truth::FactSlot;

/// How far changes are looked for.
const BOUNDS: Bounds = Bounds {
    most_changes: 3,
    most_tries: 1500,
};

/// Most ways that are told; the first ones need the fewest changes.
const MOST_LIFTS: usize = 8;

/// Smallest sets of changes to changeable answers that give a better verdict, fewest changes first.
///
/// A fresh result is dated as late as can be, on the day of surgery; how old it may be is told beside its value.
///
/// # Missing data
/// A missing answer that is changeable may be given; another one keeps the verdict as it is, and then nothing helps.
///
/// # Returns
/// The ways, and whether all were looked for and told; if not, there may be more.
pub fn lifts(trials: &Trials<'_>) -> (Vec<Lift>, bool) {
    let (rule_set, facts) = (trials.rule_set, trials.facts);
    let levers: Table<Lever> = rule_set
        .catalogue
        .questions
        .iter()
        .flat_map(|it| levers(rule_set, facts, it))
        .collect();
    let Searched {
        mut found,
        mut complete,
        tried,
    } = smallest(trials, &levers, BOUNDS);
    found.sort_by_key(|it| (it.steps.len(), it.standing, it.steps.clone()));
    let mut told: Vec<Lift> = Vec::new();
    let mut seen: BTreeSet<(Vec<FactSlot>, Standing)> = BTreeSet::new();
    for it in &found {
        // Other values of the same answers that lead as far are told as one range, not one by one.
        let slots: Vec<FactSlot> = it
            .steps
            .iter()
            .map(|(lever, _)| levers[*lever].slot)
            .collect();
        let numbers = slots.iter().all(|slot| is_number(rule_set, *slot));
        if numbers && !seen.insert((slots, it.standing)) {
            continue;
        }
        let lift = Lift {
            changes: told_changes(trials, &levers, &tried, it),
            prospect: prospect(rule_set, &it.facts, &it.states),
        };
        if told.iter().any(|earlier| earlier.changes == lift.changes) {
            continue;
        }
        if told.len() == MOST_LIFTS {
            complete = false;
            break;
        }
        told.push(lift);
    }
    (told, complete)
}

fn is_number(rule_set: &RuleSet, slot: FactSlot) -> bool {
    let answer = rule_set.catalogue.question_of(slot).map(|it| &it.answer);
    matches!(
        answer,
        Some(Answer::Number { .. } | Answer::Quantity { .. })
    )
}

/// Whether some derived fact is computed from an answer.
fn is_worked_with(rule_set: &RuleSet, slot: FactSlot) -> bool {
    rule_set
        .catalogue
        .derived
        .iter()
        .any(|it| roots(rule_set, it).contains(&slot))
}

/// The ways in which one answer could become otherwise.
fn levers(rule_set: &RuleSet, facts: &Facts, question: &Question) -> Vec<Lever> {
    let slot = question.slot;
    let now = facts.known(slot).map(|it| &it.value);
    let put = |value: Value, shown: String| (slot, Fact::made(value, shown));
    match (&question.changeable, &question.answer, now) {
        (Changeable::To(reachable), Answer::OneOf(options), _) => {
            let texts = options.iter().map(|it| it.text.as_str());
            vec![Lever::choice(slot, texts, facts, |it| {
                reachable.contains(&it)
            })]
        }
        (Changeable::To(reachable), _, _) => {
            vec![Lever::choice(slot, YES_NO.into_iter(), facts, |it| {
                reachable.contains(&it)
            })]
        }
        (
            Changeable::Fewer | Changeable::More | Changeable::Any,
            Answer::SeveralOf(options),
            Some(Value::Choices(bits)),
        ) => {
            let forbidden = |chosen: bool| {
                if chosen {
                    Changeable::Fewer
                } else {
                    Changeable::More
                }
            };
            Lever::flips(slot, options.len(), *bits, |_, chosen| {
                question.changeable != forbidden(chosen)
            })
        }
        (Changeable::Fewer | Changeable::Any, Answer::SeveralOf(_), _) => {
            let none = Edit::Put(vec![put(Value::Choices(0), "none".to_owned())]);
            vec![Lever {
                slot,
                edits: Table::from_iter([none]),
            }]
        }
        // Between two numbers that it is compared with, a number that others are worked out from may still turn a rule.
        (Changeable::Any, _, _) if is_worked_with(rule_set, slot) => Vec::new(),
        (Changeable::Any, _, _) => {
            let edits = values(rule_set, question).into_iter().map(|number| {
                let mut facts_put = vec![put(Value::Number(number), with_unit(question, number))];
                facts_put.extend(
                    question
                        .date_slot
                        .zip(facts.procedure_on())
                        .map(|(slot, on)| (slot, dated(&on))),
                );
                Edit::Put(facts_put)
            });
            vec![Lever {
                slot,
                edits: edits.collect(),
            }]
        }
        _ => Vec::new(),
    }
}

fn with_unit(question: &Question, number: f64) -> String {
    match &question.answer {
        Answer::Quantity { unit, .. } => format!("{} {unit}", tidy(number, None)),
        _ => tidy(number, None),
    }
}

/// The numbers that rules compare an answer with, rising, each once.
fn cuts(rule_set: &RuleSet, slot: FactSlot) -> Vec<&Threshold> {
    let mut found: Vec<&Threshold> = Vec::new();
    for rule in rule_set.rules() {
        rule.when.visit(&mut |condition| match condition {
            Condition::Fact { fact, test } if *fact == slot => found.extend(test.thresholds()),
            _ => {}
        });
    }
    found.sort_by(|a, b| a.value.total_cmp(&b.value));
    found.dedup_by(|a, b| a.value.total_cmp(&b.value).is_eq());
    found
}

/// One value of every stretch on which no rule can tell two values apart: the cuts, and one between each two.
fn values(rule_set: &RuleSet, question: &Question) -> Vec<f64> {
    let cuts: Vec<f64> = cuts(rule_set, question.slot)
        .iter()
        .map(|it| it.value)
        .collect();
    let (low, high) = question
        .plausible
        .unwrap_or((f64::NEG_INFINITY, f64::INFINITY));
    let mut found = Vec::new();
    for (at, cut) in cuts.iter().enumerate() {
        let below = at
            .checked_sub(1)
            .and_then(|it| cuts.get(it))
            .copied()
            .unwrap_or_else(|| low.max(cut - 1.0));
        found.extend([f64::midpoint(below, *cut), *cut]);
    }
    found.extend(
        cuts.last()
            .map(|cut| f64::midpoint(*cut, high.min(cut + 1.0))),
    );
    found.retain(|it| (low..=high).contains(it));
    found.dedup();
    found
}

/// The changes of one way, with the whole range of values that lead as far, and from which day a result may be.
fn told_changes(
    trials: &Trials<'_>,
    levers: &Table<Lever>,
    tried: &BTreeMap<Vec<LeverStep>, Standing>,
    found: &ChangeSet,
) -> Vec<Change> {
    let (rule_set, facts) = (trials.rule_set, trials.facts);
    let mut told: Vec<Change> = Vec::new();
    for (at, (lever, _)) in found.steps.iter().enumerate() {
        let lever_made = &levers[*lever];
        let mut one = change(rule_set, facts, &found.facts, lever_made.slot);
        let question = rule_set.catalogue.question_of(lever_made.slot);
        match question.map(|it| &it.answer) {
            Some(Answer::Number { .. } | Answer::Quantity { .. }) => {
                if let Some(question) = question {
                    one.then = target(trials, levers, tried, found, at, question);
                }
            }
            Some(Answer::SeveralOf(_)) => {
                if let (Some(question), Some(Edit::Choose { option, chosen, .. })) =
                    (question, lever_made.edits.iter().next())
                {
                    let text = lower_first(question.option_in_words(*option));
                    one.then = if *chosen {
                        format!("also: {text}")
                    } else {
                        format!("no longer: {text}")
                    };
                    one.now = shown(rule_set, facts, lever_made.slot);
                }
            }
            _ => {}
        }
        told.push(one);
    }
    told
}

/// "below 4.0, taken on or after 2 Dec 2026": how far the value may go, and how old it may be, for the same result.
fn target(
    trials: &Trials<'_>,
    levers: &Table<Lever>,
    tried: &BTreeMap<Vec<LeverStep>, Standing>,
    found: &ChangeSet,
    step: usize,
    question: &Question,
) -> String {
    let (rule_set, facts) = (trials.rule_set, trials.facts);
    let Some((lever, edit)) = found.steps.get(step).copied() else {
        return String::new();
    };
    let edits = &levers[lever].edits;
    let leads_as_far = |instead: &Edit| {
        let as_found = |(lever, edit): &LeverStep| &levers[*lever].edits[*edit];
        let made = found
            .steps
            .iter()
            .enumerate()
            .map(|(at, it)| if at == step { instead } else { as_found(it) });
        trials.judged(&trials.with(made)).1 <= found.standing
    };
    let another_leads_as_far = |at: &Idx<Edit>| {
        let steps: Vec<LeverStep> = found
            .steps
            .iter()
            .map(|it| if it.0 == lever { (lever, *at) } else { *it })
            .collect();
        match tried.get(&steps) {
            Some(standing) => *standing <= found.standing,
            None => leads_as_far(&edits[*at]),
        }
    };
    let first = edits
        .indices()
        .rev()
        .skip_while(|at| *at >= edit)
        .take_while(another_leads_as_far)
        .last()
        .unwrap_or(edit);
    let last = edits
        .indices()
        .skip_while(|at| *at <= edit)
        .take_while(another_leads_as_far)
        .last()
        .unwrap_or(edit);
    let range = range(rule_set, question, edits, first, last);
    match (question.date_slot, facts.procedure_on()) {
        (Some(date_slot), Some(on)) => {
            let would_do = |at: Idx<Edit>, when: &When| {
                let Edit::Put(made) = &edits[at] else {
                    return false;
                };
                let redated = made.iter().map(|(slot, fact)| {
                    (
                        *slot,
                        if *slot == date_slot {
                            dated(when)
                        } else {
                            fact.clone()
                        },
                    )
                });
                leads_as_far(&Edit::Put(redated.collect()))
            };
            // Looking back from the day of surgery, as far as one value does; an older result may be enough for some of the
            // range only, so the others have their say from the oldest day on.
            let back = turning_days(rule_set, date_slot, &on);
            let days: Vec<When> = back
                .into_iter()
                .map_while(|it| day_before(&on, it))
                .take_while(|it| would_do(edit, it))
                .collect();
            match days.iter().rev().find(|day| {
                edits
                    .indices()
                    .filter(|at| (first..=last).contains(at))
                    .all(|at| at == edit || would_do(at, day))
            }) {
                Some(oldest) => format!("{range}, taken on or after {}", date_in_words(oldest)),
                None => format!("{range}, taken on {}", date_in_words(&on)),
            }
        }
        _ => range,
    }
}

/// Furthest back that a result is looked for, in days.
const FURTHEST_BACK: u64 = 366;

/// The days back from surgery, rising, after which the date of a result counts otherwise in some condition; the furthest
/// is the last. Between two of them no day differs from another.
///
/// Whether a date is older than a span can only turn once as the date goes back, so that day is found by halving.
fn turning_days(rule_set: &RuleSet, date_slot: FactSlot, on: &When) -> Vec<u64> {
    let is_read = |it: &&Derived| roots(rule_set, it).contains(&date_slot);
    if rule_set.catalogue.derived.iter().any(|it| is_read(&it)) {
        return (0..=FURTHEST_BACK).collect();
    }
    let mut found = BTreeSet::from([FURTHEST_BACK]);
    for condition in rule_set.conditions() {
        condition.visit(&mut |condition| match condition {
            Condition::Fact {
                fact,
                test: Test::OlderThan(limit) | Test::Within(limit),
            } if *fact == date_slot => {
                let days: Vec<u64> = (0..=FURTHEST_BACK).collect();
                let young = days.partition_point(|back| {
                    !day_before(on, *back).is_none_or(|it| When::age_exceeds(&it, on, &limit.span))
                });
                found.extend(u64::try_from(young).ok().and_then(|it| it.checked_sub(1)));
            }
            Condition::Fact { fact, .. } if *fact == date_slot => found.extend(0..=FURTHEST_BACK),
            _ => {}
        });
    }
    found.into_iter().collect()
}

fn day_before(on: &When, back: u64) -> Option<When> {
    on.date.checked_sub_days(Days::new(back)).map(When::on)
}

/// The stretch of values from one edit to another in words: "below 4", "at least 100 mmHg", "from 4 to 6 mmol/L".
fn range(
    rule_set: &RuleSet,
    question: &Question,
    edits: &Table<Edit>,
    first: Idx<Edit>,
    last: Idx<Edit>,
) -> String {
    let number = |at: Idx<Edit>| {
        let Edit::Put(made) = &edits[at] else {
            return None;
        };
        let put = made.iter().find(|(slot, _)| *slot == question.slot)?;
        match &put.1 {
            Fact::Known(Known {
                value: Value::Number(number),
                ..
            }) => Some(*number),
            _ => None,
        }
    };
    let (lowest, highest) = (edits.indices().next(), edits.indices().next_back());
    let cuts = cuts(rule_set, question.slot);
    let cut = |number: f64| cuts.iter().find(|it| it.value.total_cmp(&number).is_eq());
    let written = |it: Option<&&Threshold>| it.map_or(String::new(), |it| it.written.clone());
    // The end of a stretch between two cuts is the cut next to it, which does not belong to it.
    let low = number(first).filter(|_| Some(first) != lowest);
    let low = low.map(|number| match cut(number) {
        Some(cut) => format!("at least {}", cut.written),
        None => {
            let beside = cuts.iter().rev().find(|cut| cut.value < number);
            format!("above {}", written(beside))
        }
    });
    let high = number(last).filter(|_| Some(last) != highest);
    let high = high.map(|number| match cut(number) {
        Some(cut) => format!("at most {}", cut.written),
        None => {
            let beside = cuts.iter().find(|cut| cut.value > number);
            format!("below {}", written(beside))
        }
    });
    match (low, high) {
        (Some(low), Some(high)) => format!("{low} and {high}"),
        (Some(one), None) | (None, Some(one)) => one,
        (None, None) => "measured".to_owned(),
    }
}
