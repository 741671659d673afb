//! The anaesthetic arithmetic laid open: each agent's dose, limit and share, and what it rests on.

use crate::formulas::anaesthetic;
use crate::questionnaire::facts::{Facts, PlannedAgent, Value};
use crate::questionnaire::facts::{derive, truth_of};
use crate::rule_set;
use crate::rule_set::RuleSet;
use crate::screening::result::{AgentDose, Anaesthetic, Applies, ReducedLimit};
use crate::truth::{FactSlot, Truth};

/// The arithmetic of the plan; `None` while no plan is known, or none is asked for.
pub(crate) fn arithmetic(rule_set: &RuleSet, facts: &Facts) -> Option<Anaesthetic> {
    let plan_slot = rule_set.catalogue.anaesthetic?;
    let Value::Plan(plan) = &facts.known(plan_slot)?.value else {
        return None;
    };
    let load = rule_set
        .catalogue
        .computed_by(&anaesthetic::ANAESTHETIC_LOAD)?;
    let (adrenaline, weight, age) = (
        load.fact("adrenaline")?,
        load.fact("weight")?,
        load.fact("age")?,
    );
    let yes = facts.known(adrenaline).and_then(|known| {
        if let Value::Choice(at) = known.value {
            Some(at == 1)
        } else {
            None
        }
    });
    let (weight_kg, years) = (facts.number(weight), facts.number(age));
    let per_agent = plan
        .iter()
        .map(|it| line(rule_set, it, yes, weight_kg, years))
        .collect();
    let total: Option<f64> = plan.iter().map(|it| it.volume_ml).sum();
    let load_value = facts.number(load.slot);
    let per_site = rule_set
        .catalogue
        .computed_by(&anaesthetic::VOLUME_PER_SITE);
    let earlier = anaesthetic::earlier_share(&derive::inputs(rule_set, facts, load));
    // Volume and load of the plan alone, and what was given before.
    let planned = total
        .zip(load_value)
        .zip(earlier)
        .map(|((volume, load), earlier)| Planned {
            volume,
            load: load - earlier,
            earlier,
        });
    Some(Anaesthetic {
        load: load_value,
        per_agent,
        earlier_share: earlier.filter(|it| *it > 0.0),
        largest_volume_same_mix: planned.as_ref().and_then(|it| it.largest_volume(1.0)),
        reductions: reductions(rule_set, facts, planned.as_ref()),
        site: per_site.map(|_| rule_set.site.clone()),
        volume_per_site: per_site.and_then(|derived| facts.number(derived.slot)),
        basis: [weight, age, adrenaline]
            .into_iter()
            .map(|slot| basis(rule_set, facts, slot))
            .collect(),
    })
}

/// The plan alone, in figures.
struct Planned {
    volume: f64,
    load: f64,
    earlier: f64,
}

impl Planned {
    /// The volume of this mixture that fills what is left of a share of the limit; `None` if nothing is left.
    fn largest_volume(&self, share: f64) -> Option<f64> {
        anaesthetic::largest_volume_of_share(self.volume, self.load, share - self.earlier)
    }
}

/// The smaller limits that are for this patient, or may be.
fn reductions(rule_set: &RuleSet, facts: &Facts, planned: Option<&Planned>) -> Vec<ReducedLimit> {
    let shown = |reduction: &rule_set::Reduction| {
        let applies = match truth_of::truth(&reduction.when, facts) {
            Truth::Yes => Applies::Yes,
            Truth::Unknown(_) => Applies::NotKnownYet,
            Truth::No => return None,
        };
        let volume = planned.and_then(|planned| planned.largest_volume(reduction.share));
        Some(ReducedLimit {
            about: reduction.about.clone(),
            share: reduction.share,
            largest_volume_same_mix: volume,
            applies,
        })
    };
    rule_set.reductions.iter().filter_map(shown).collect()
}

fn line(
    rule_set: &RuleSet,
    planned: &PlannedAgent,
    adrenaline: Option<bool>,
    weight: Option<f64>,
    age: Option<f64>,
) -> AgentDose {
    let agent = &rule_set.agents[planned.agent];
    let row = adrenaline
        .zip(age)
        .and_then(|(adrenaline, age)| agent.limit(adrenaline, age));
    let limit_mg = row
        .zip(weight)
        .and_then(|(row, weight)| anaesthetic::limit_mg(row.per_kg, weight, row.at_most));
    let dose_mg = planned
        .volume_ml
        .zip(planned.percent)
        .and_then(|(volume, percent)| anaesthetic::dose_mg(volume, percent));
    let limit_from = row.map(|row| {
        let cap = row.at_most.map_or(String::new(), |it| {
            format!(", at most {} mg", crate::quantity::tidy(it, None))
        });
        format!("{} mg/kg{cap}", crate::quantity::tidy(row.per_kg, None))
    });
    AgentDose {
        agent: agent.id.clone(),
        percent: planned.percent,
        volume_ml: planned.volume_ml,
        dose_mg,
        limit_mg,
        limit_from,
        share: dose_mg
            .zip(limit_mg)
            .and_then(|(dose, limit)| anaesthetic::fraction(dose, limit)),
    }
}

/// "dosing weight: 70.0 kg", "age: not known".
fn basis(rule_set: &RuleSet, facts: &Facts, slot: FactSlot) -> String {
    let value = facts.known(slot).map_or("not known", |it| &it.shown);
    format!(
        "{}: {value}",
        rule_set.catalogue.about(slot).trim_end_matches('?')
    )
}
