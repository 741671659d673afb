//! The plans that the clinic could choose instead, and what each would come to.

use crate::formulas::anaesthetic::whole_tenths;
use crate::outcome::Outcome;
use crate::questionnaire::facts::{Fact, Facts, PlannedAgent, Value, plan_in_words};
use crate::rule_set::Offered;
use crate::rule_set::{Agent, Answer, Idx, Question, RuleSet, Table};
use crate::screening::dose;
use crate::screening::result::{Alternative, Change};
use crate::screening::what_if::prospect::{change, prospect};
use crate::screening::what_if::search::{
    Bounds, ChangeSet, Edit, Lever, Searched, Trials, YES_NO, smallest,
};
use crate::truth::FactSlot;

/// How far plans are looked for: as many changes as a plan has choices that matter at once.
const BOUNDS: Bounds = Bounds {
    most_changes: 4,
    most_tries: 2000,
};

/// Other plans with a better verdict, fewest changes first, then the better verdict, then the fewer precautions.
///
/// A plan differs in answers to questions marked `decision`. Where the clinic says what it offers, only those choices
/// are tried and only among its offers; otherwise every option is. Of a local anaesthetic each offered solution is
/// tried alone, in the planned volume and in the largest volumes below it that reach no number of the rules.
///
/// # Missing data
/// A detail that the other plan asks for and nobody has given is missing, so its verdict waits.
///
/// # Returns
/// The plans, and whether the search was complete; if it was cut short there may be more.
pub fn alternatives(trials: &Trials<'_>) -> (Vec<Alternative>, bool) {
    let (rule_set, facts) = (trials.rule_set, trials.facts);
    let decisions: Vec<&Question> = rule_set
        .catalogue
        .questions
        .iter()
        .filter(|it| it.can_be_offered())
        .collect();
    let levers: Table<Lever> = decisions.iter().flat_map(|it| levers(trials, it)).collect();
    let Searched {
        found, complete, ..
    } = smallest(trials, &levers, BOUNDS);
    let mut plans: Vec<(&ChangeSet, Alternative)> = found
        .iter()
        .map(|it| (it, alternative(rule_set, facts, &levers, it)))
        .collect();
    plans.sort_by_key(|(found, plan)| {
        let precautions = plan
            .prospect
            .fires
            .iter()
            .filter(|it| it.outcome == Outcome::Go)
            .count();
        (
            found.steps.len(),
            found.standing,
            precautions,
            found.steps.clone(),
        )
    });
    let mut kept: Vec<(&ChangeSet, Alternative)> = Vec::new();
    for plan in plans {
        let is_told = |it: &(&ChangeSet, Alternative)| differ_in_volume_only(rule_set, it, &plan);
        if !kept.iter().any(is_told) {
            kept.push(plan);
        }
    }
    (kept.into_iter().map(|(_, plan)| plan).collect(), complete)
}

/// Whether two plans differ in nothing but how much of the same solutions is drawn up, and come to the same. Of two such
/// the larger volume comes first.
fn differ_in_volume_only(
    rule_set: &RuleSet,
    one: &(&ChangeSet, Alternative),
    other: &(&ChangeSet, Alternative),
) -> bool {
    let Some(slot) = rule_set.catalogue.anaesthetic else {
        return false;
    };
    let others = |(_, plan): &(&ChangeSet, Alternative)| {
        let id = rule_set.catalogue.id(slot);
        plan.changes
            .iter()
            .filter(|it| it.fact != id)
            .cloned()
            .collect::<Vec<Change>>()
    };
    let solutions = |(found, _): &(&ChangeSet, Alternative)| match found
        .facts
        .known(slot)
        .map(|it| &it.value)
    {
        Some(Value::Plan(plan)) => plan.iter().map(|it| (it.agent, it.percent)).collect(),
        _ => Vec::new(),
    };
    let comes_to = |(found, plan): &(&ChangeSet, Alternative)| {
        (found.states.clone(), plan.prospect.waits_for.clone())
    };
    one.1.changes.len() == other.1.changes.len()
        && others(one) == others(other)
        && solutions(one) == solutions(other)
        && comes_to(one) == comes_to(other)
}

fn alternative(
    rule_set: &RuleSet,
    facts: &Facts,
    levers: &Table<Lever>,
    found: &ChangeSet,
) -> Alternative {
    let mut slots: Vec<FactSlot> = found
        .steps
        .iter()
        .map(|(lever, _)| levers[*lever].slot)
        .collect();
    slots.dedup();
    Alternative {
        changes: slots
            .into_iter()
            .map(|slot| change(rule_set, facts, &found.facts, slot))
            .collect(),
        prospect: prospect(rule_set, &found.facts, &found.states),
        anaesthetic: dose::arithmetic(rule_set, &found.facts),
    }
}

/// The ways in which one choice of the plan could be otherwise.
fn levers(trials: &Trials<'_>, question: &Question) -> Vec<Lever> {
    let facts = trials.facts;
    let slot = question.slot;
    let offered = match facts.offers().get(&slot) {
        None if !facts.offers().is_empty() => return Vec::new(),
        offered => offered,
    };
    let is_offered =
        |at: u16| !matches!(offered, Some(Offered::Options(bits)) if bits >> at & 1 == 0);
    let now = facts.known(slot).map(|it| &it.value);
    match (&question.answer, now) {
        (Answer::YesNo, _) => vec![Lever::choice(slot, YES_NO.into_iter(), facts, is_offered)],
        (Answer::OneOf(options), _) => {
            let texts = options.iter().map(|it| it.text.as_str());
            vec![Lever::choice(slot, texts, facts, is_offered)]
        }
        (Answer::SeveralOf(options), Some(Value::Choices(bits))) => {
            Lever::flips(slot, options.len(), *bits, |option, chosen| {
                !chosen || is_offered(option)
            })
        }
        (Answer::Anaesthetic, Some(Value::Plan(plan))) => {
            let solutions = match offered {
                Some(Offered::Solutions(solutions)) => solutions.as_slice(),
                _ => &[],
            };
            vec![Lever {
                slot,
                edits: mixtures(trials, slot, plan, solutions),
            }]
        }
        _ => Vec::new(),
    }
}

/// The planned mixture in smaller volumes, then each offered solution alone.
fn mixtures(
    trials: &Trials<'_>,
    slot: FactSlot,
    plan: &[PlannedAgent],
    solutions: &[(Idx<Agent>, f64)],
) -> Table<Edit> {
    let total: Option<f64> = plan.iter().map(|it| it.volume_ml).sum();
    let Some(total) = total.filter(|it| *it > 0.0) else {
        return Table::default();
    };
    let scaled = |to: f64| {
        plan.iter()
            .map(|planned| PlannedAgent {
                volume_ml: planned
                    .volume_ml
                    .and_then(|ml| whole_tenths(ml * to / total)),
                ..planned.clone()
            })
            .collect()
    };
    let smaller = volumes(trials, slot, total, &scaled).into_iter();
    let smaller = smaller.filter(|it| *it < total);
    let mut found: Vec<Vec<PlannedAgent>> = smaller.map(scaled).collect();
    for (agent, percent) in solutions {
        let alone = |to: f64| {
            vec![PlannedAgent {
                agent: *agent,
                percent: Some(*percent),
                volume_ml: Some(to),
            }]
        };
        found.extend(
            volumes(trials, slot, total, &alone)
                .into_iter()
                .map(alone)
                .filter(|it| it.as_slice() != plan),
        );
    }
    found
        .into_iter()
        .map(|it| Edit::Put(vec![(slot, planned(trials.rule_set, it))]))
        .collect()
}

/// The planned volume, and each largest tenth of a millilitre below it at which some number of the rules is not reached.
///
/// Load, volume and dose of a site grow evenly with the volume, so two points fix the line; an earlier dose shifts it.
fn volumes(
    trials: &Trials<'_>,
    slot: FactSlot,
    total: f64,
    mixture: &dyn Fn(f64) -> Vec<PlannedAgent>,
) -> Vec<f64> {
    let rule_set = trials.rule_set;
    let at = |volume: f64| trials.put(&[(slot, planned(rule_set, mixture(volume)))]);
    let (whole, half) = (at(total), at(total / 2.0));
    let mut found = vec![total];
    let even = rule_set.catalogue.derived.iter();
    for derived in even.filter(|derived| derived.formula.even_with.is_some()) {
        let (Some(high), Some(low)) = (whole.number(derived.slot), half.number(derived.slot))
        else {
            continue;
        };
        let per_ml = (high - low) / (total / 2.0);
        let limits = derived.compared_with.iter();
        for limit in limits.filter(|it| per_ml > 0.0 && high >= **it) {
            let Some(volume) = whole_tenths(total - (high - limit) / per_ml) else {
                continue;
            };
            // At the number itself a rule may still fire: the next smaller tenth is tried, too.
            found.extend(
                [volume, volume - 0.1]
                    .into_iter()
                    .filter_map(|it| whole_tenths(it + 0.000_001)),
            );
        }
    }
    // Less than half of what was planned would be another block, for a clinician to plan.
    found.retain(|it| (total / 2.0..=total).contains(it));
    found.sort_by(|a, b| b.total_cmp(a));
    found.dedup();
    found
}

/// A mixture as a fact.
fn planned(rule_set: &RuleSet, plan: Vec<PlannedAgent>) -> Fact {
    let shown = plan_in_words(&rule_set.agents, &plan);
    Fact::made(Value::Plan(plan), shown)
}
