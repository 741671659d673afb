//! The plans that the clinic could choose instead, and what each would come to.

use super::compile::Compiled;
use super::dose;
use super::prospect::{change, prospect};
use super::search::{Bounds, Edit, Found, Lever, Links, Searched, smallest};
use crate::facts::sift::changed;
use crate::facts::{Fact, Facts, Known, Offered, PlannedAgent, Value};
use crate::formulas::anaesthetic::whole_tenths;
use crate::model::{Answer, Formula, Question, RuleSet};
use crate::outcome::Outcome;
use crate::quantity::tidy;
use crate::screening::Alternative;
use crate::truth::FactSlot;

/// How far plans are looked for: as many changes as a plan has choices that matter at once.
const BOUNDS: Bounds = Bounds { most_changes: 4, most_tries: 2000 };

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
pub fn alternatives(rule_set: &RuleSet, compiled: &Compiled, links: &Links, facts: &Facts) -> (Vec<Alternative>, bool) {
    let decisions: Vec<&Question> = rule_set.catalogue.questions.iter().filter(|it| it.decision).collect();
    let levers: Vec<Lever> = decisions.iter().flat_map(|it| levers(rule_set, facts, it)).collect();
    let Searched { found, complete } = smallest(rule_set, compiled, links, facts, &levers, BOUNDS);
    let mut plans: Vec<(&Found, Alternative)> = found.iter().map(|it| (it, alternative(rule_set, facts, &levers, it))).collect();
    plans.sort_by_key(|(found, plan)| {
        let precautions = plan.prospect.fires.iter().filter(|it| it.outcome == Outcome::Go).count();
        (found.steps.len(), found.standing, precautions, found.steps.clone())
    });
    let mut kept: Vec<Alternative> = Vec::new();
    for (_, plan) in plans {
        if !kept.iter().any(|it| is_a_larger_dose_of(it, &plan)) {
            kept.push(plan);
        }
    }
    (kept, complete)
}

/// Whether two plans differ in nothing but how much of the same solution is drawn up; the larger volume came first.
fn is_a_larger_dose_of(one: &Alternative, other: &Alternative) -> bool {
    let without_volume = |plan: &Alternative| {
        let changes = plan.changes.iter().map(|it| (it.fact.clone(), solution_of(&it.then).to_owned()));
        (
            changes.collect::<Vec<_>>(),
            plan.prospect.fires.iter().map(|it| it.rule.clone()).collect::<Vec<_>>(),
            plan.prospect.waits_for.clone(),
        )
    };
    one.anaesthetic.is_some() && without_volume(one) == without_volume(other)
}

/// "lidocaine 2 %" of "lidocaine 2 % 3 mL".
fn solution_of(shown: &str) -> &str {
    shown.split_once(" % ").filter(|(_, volume)| volume.ends_with(" mL")).map_or(shown, |(solution, _)| solution)
}

fn alternative(rule_set: &RuleSet, facts: &Facts, levers: &[Lever], found: &Found) -> Alternative {
    let mut slots: Vec<FactSlot> = found.steps.iter().filter_map(|(lever, _)| levers.get(*lever)).map(|it| it.slot).collect();
    slots.dedup();
    Alternative {
        changes: slots.into_iter().map(|slot| change(rule_set, facts, &found.facts, slot)).collect(),
        prospect: prospect(rule_set, &found.facts, &found.states),
        anaesthetic: dose::arithmetic(rule_set, &found.facts),
    }
}

/// The ways in which one choice of the plan could be otherwise.
fn levers(rule_set: &RuleSet, facts: &Facts, question: &Question) -> Vec<Lever> {
    let slot = question.slot;
    let offered = match facts.offers.get(&slot) {
        None if !facts.offers.is_empty() => return Vec::new(),
        offered => offered,
    };
    let is_offered = |at: u16| !matches!(offered, Some(Offered::Options(bits)) if bits >> at & 1 == 0);
    let now = facts.known(slot).map(|it| &it.value);
    match (&question.answer, now) {
        (Answer::YesNo, _) => one_of(slot, ["no", "yes"].into_iter(), now, is_offered),
        (Answer::OneOf(options), _) => one_of(slot, options.iter().map(|it| it.text.as_str()), now, is_offered),
        (Answer::SeveralOf(options), Some(Value::Choices(bits))) => (0..options.len())
            .filter_map(|at| u16::try_from(at).ok())
            .filter(|at| bits >> at & 1 == 1 || is_offered(*at))
            .map(|option| Lever { slot, edits: vec![Edit::Choose { slot, option, chosen: bits >> option & 1 == 0 }] })
            .collect(),
        (Answer::Anaesthetic, Some(Value::Plan(plan))) => {
            let solutions = match offered {
                Some(Offered::Solutions(solutions)) => solutions.as_slice(),
                _ => &[],
            };
            vec![Lever { slot, edits: mixtures(rule_set, facts, slot, plan, solutions) }]
        }
        _ => Vec::new(),
    }
}

fn one_of<'a>(slot: FactSlot, texts: impl Iterator<Item = &'a str>, now: Option<&Value>, is_offered: impl Fn(u16) -> bool) -> Vec<Lever> {
    let option = |(at, text): (usize, &str)| {
        let value = Value::Choice(u16::try_from(at).ok()?);
        let Value::Choice(option) = value else { return None };
        let other = now != Some(&value) && is_offered(option);
        other.then(|| Edit::Put(vec![(slot, Fact::Known(Known { value, shown: text.to_owned(), place: None }))]))
    };
    vec![Lever { slot, edits: texts.enumerate().filter_map(option).collect() }]
}

/// The planned mixture in smaller volumes, then each offered solution alone.
fn mixtures(rule_set: &RuleSet, facts: &Facts, slot: FactSlot, plan: &[PlannedAgent], solutions: &[(usize, f64)]) -> Vec<Edit> {
    let Some(total) = plan.iter().map(|it| it.volume_ml).sum::<Option<f64>>().filter(|it| *it > 0.0) else { return Vec::new() };
    let scaled = |to: f64| {
        plan.iter().map(|it| PlannedAgent { volume_ml: it.volume_ml.and_then(|ml| whole_tenths(ml * to / total)), ..it.clone() }).collect()
    };
    let mut found: Vec<Vec<PlannedAgent>> = Vec::new();
    found.extend(volumes(rule_set, facts, slot, total, &scaled).into_iter().filter(|it| *it < total).map(scaled));
    for (agent, percent) in solutions {
        let alone = |to: f64| vec![PlannedAgent { agent: *agent, percent: Some(*percent), volume_ml: Some(to) }];
        found.extend(volumes(rule_set, facts, slot, total, &alone).into_iter().map(alone).filter(|it| it.as_slice() != plan));
    }
    found.into_iter().map(|it| Edit::Put(vec![(slot, planned(rule_set, it))])).collect()
}

/// The planned volume, and each largest tenth of a millilitre below it at which some number of the rules is not reached.
///
/// Load, volume and dose of a toe grow evenly with the volume, so two points fix the line; an earlier dose shifts it.
fn volumes(rule_set: &RuleSet, facts: &Facts, slot: FactSlot, total: f64, mixture: &dyn Fn(f64) -> Vec<PlannedAgent>) -> Vec<f64> {
    let at = |volume: f64| changed(rule_set, facts, &[(slot, planned(rule_set, mixture(volume)))]);
    let (whole, half) = (at(total), at(total / 2.0));
    let mut found = vec![total];
    let grows = [Formula::AnaestheticLoad, Formula::VolumePerToe, Formula::DigitLoad, Formula::AdrenalineTotal, Formula::AdrenalinePerKg];
    for derived in rule_set.catalogue.derived.iter().filter(|it| grows.contains(&it.formula)) {
        let (Some(high), Some(low)) = (whole.number(derived.slot), half.number(derived.slot)) else { continue };
        let per_ml = (high - low) / (total / 2.0);
        for limit in derived.compared_with.iter().filter(|limit| per_ml > 0.0 && high >= **limit) {
            let Some(volume) = whole_tenths(total - (high - limit) / per_ml) else { continue };
            // At the number itself a rule may still fire: the next smaller tenth is tried, too.
            found.extend([volume, volume - 0.1].into_iter().filter_map(|it| whole_tenths(it + 0.000_001)));
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
    let one = |it: &PlannedAgent| {
        let agent = rule_set.agents.get(it.agent).map_or("", |it| &it.id);
        let show = |value: Option<f64>, unit: &str| value.map_or_else(|| format!("? {unit}"), |it| format!("{} {unit}", tidy(it, None)));
        format!("{agent} {} {}", show(it.percent, "%"), show(it.volume_ml, "mL"))
    };
    let shown = plan.iter().map(one).collect::<Vec<String>>().join(" + ");
    Fact::Known(Known { value: Value::Plan(plan), shown, place: None })
}
