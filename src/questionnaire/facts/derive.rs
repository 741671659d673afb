//! Derived facts: each formula given its facts. A missing input leaves the fact missing, and says which.

use std::collections::BTreeSet;

use crate::formulas::RoleKind;
use crate::formulas::given::{Chosen, GivenInputs, GivenValue, Injected, NoResult, Sex, Taken};
use crate::quantity::{tidy, tidy_beside};
use crate::questionnaire::facts::{Fact, Facts, MedicineEntry, Missing, PlannedAgent, Value, Why};
use crate::rule_set::{Agent, Choice, Derived, FactKind, Idx, Input, Medicine, RuleSet, Table};
use crate::truth::FactSlot;

/// Computes every derived fact, in the order declared.
pub(super) fn all(rule_set: &RuleSet, facts: &mut Facts) {
    for derived in &rule_set.catalogue.derived {
        let fact = one(rule_set, facts, derived);
        facts.put(derived.slot, fact);
    }
}

/// Computes these derived facts only, in the order declared; for trying many numbers.
pub(super) fn these(rule_set: &RuleSet, facts: &mut Facts, wanted: &[Idx<Derived>]) {
    for derived in wanted.iter().map(|at| &rule_set.catalogue.derived[*at]) {
        let fact = one(rule_set, facts, derived);
        facts.put(derived.slot, fact);
    }
}

fn one(rule_set: &RuleSet, facts: &Facts, derived: &Derived) -> Fact {
    let missing = |why: Why, roles: &[&str]| {
        let slots = roles.iter().filter_map(|role| derived.fact(role));
        Fact::Missing(Missing {
            why,
            needs: slots.flat_map(|slot| facts.needs(slot)).collect(),
        })
    };
    match (derived.formula.compute)(&inputs(rule_set, facts, derived)) {
        Ok(number) if number.is_finite() => {
            Fact::made(Value::Number(number), shown(derived, number))
        }
        Err(NoResult::Lacks(roles)) => missing(Why::InputMissing, &roles),
        // What is known would have to be answered otherwise.
        Err(NoResult::Unusable(roles)) => missing(Why::NotComputable, &roles),
        Ok(_) | Err(NoResult::Nothing) => Fact::Missing(Missing {
            why: Why::NotComputable,
            needs: roots(rule_set, derived),
        }),
    }
}

/// A number for people: rounded, but never across a number that some rule compares it with.
pub(crate) fn shown(derived: &Derived, number: f64) -> String {
    let beside = derived
        .compared_with
        .iter()
        .map(|limit| tidy_beside(number, derived.decimals, *limit));
    let text = beside
        .max_by_key(String::len)
        .unwrap_or_else(|| tidy(number, Some(derived.decimals)));
    match &derived.unit {
        Some(unit) => format!("{text} {unit}"),
        None => text,
    }
}

/// The questions a derived fact goes back to.
pub fn roots(rule_set: &RuleSet, derived: &Derived) -> BTreeSet<FactSlot> {
    let mut found = BTreeSet::new();
    let mut open: Vec<FactSlot> = slots(derived);
    while let Some(slot) = open.pop() {
        match rule_set.catalogue.fact(slot).kind {
            FactKind::Derived(at) => {
                open.extend(slots(&rule_set.catalogue.derived[at]));
            }
            FactKind::Question(_) | FactKind::TakenOn(_) => {
                found.insert(slot);
            }
        }
    }
    found
}

/// The questions that a fact goes back to: its own, unless it is derived.
pub(crate) fn behind(rule_set: &RuleSet, slot: FactSlot) -> BTreeSet<FactSlot> {
    match rule_set.catalogue.derived_of(slot) {
        Some(derived) => roots(rule_set, derived),
        None => BTreeSet::from([slot]),
    }
}

/// The facts a derived fact is given directly.
pub(crate) fn slots(derived: &Derived) -> Vec<FactSlot> {
    derived
        .inputs
        .iter()
        .filter_map(|input| input.fact())
        .collect()
}

/// What the formula of a derived fact is given.
pub(crate) fn inputs<'a>(
    rule_set: &'a RuleSet,
    facts: &'a Facts,
    derived: &'a Derived,
) -> GivenInputs<'a> {
    GivenInputs(
        derived
            .given()
            .map(|(role, input)| (role.name, value(rule_set, facts, role.kind, input)))
            .collect(),
    )
}

/// An answer as a role takes it; `None` if it is not known.
fn value<'a>(
    rule_set: &'a RuleSet,
    facts: &'a Facts,
    kind: RoleKind,
    input: Input,
) -> Option<GivenValue<'a>> {
    match input {
        Input::Limit(_, number) => Some(GivenValue::Number(number)),
        Input::Fact(slot) => as_given(rule_set, kind, slot, &facts.known(slot)?.value),
    }
}

/// The value of a fact as a role takes it; `None` if it is none that the role can take.
pub(crate) fn as_given<'a>(
    rule_set: &'a RuleSet,
    kind: RoleKind,
    slot: FactSlot,
    value: &Value,
) -> Option<GivenValue<'a>> {
    let options = rule_set.catalogue.options(slot);
    match (kind, value) {
        (RoleKind::Number(..), Value::Number(number)) => Some(GivenValue::Number(*number)),
        (RoleKind::Date(_), Value::Date(when)) => Some(GivenValue::Date(when.date)),
        (RoleKind::YesNo, Value::Choice(at)) => Some(GivenValue::YesNo(*at == 1)),
        (RoleKind::Sex, Value::Choice(at)) => match options.get(usize::from(*at))?.id.as_str() {
            "female" => Some(GivenValue::Sex(Sex::Female)),
            "male" => Some(GivenValue::Sex(Sex::Male)),
            _ => None,
        },
        (_, Value::Choice(at)) => Some(GivenValue::Chosen(vec![chosen(
            options.get(usize::from(*at))?,
        )])),
        (_, Value::Choices(bits)) => {
            let set = options
                .iter()
                .enumerate()
                .filter(|(at, _)| bits >> at & 1 == 1);
            Some(GivenValue::Chosen(
                set.map(|(_, option)| chosen(option)).collect(),
            ))
        }
        (_, Value::Plan(plan)) => Some(GivenValue::Plan(
            plan.iter()
                .map(|line| injected(&rule_set.agents, line))
                .collect(),
        )),
        (_, Value::Medicines(entries)) => Some(GivenValue::Medicines(
            entries
                .iter()
                .map(|entry| taken(&rule_set.medicines.medicines, entry))
                .collect(),
        )),
        _ => None,
    }
}

fn chosen(option: &Choice) -> Chosen<'_> {
    Chosen {
        id: &option.id,
        counts: option.counts,
        side: option.side,
    }
}

/// One line of a plan with what the register says of its agent.
fn injected<'a>(agents: &'a Table<Agent>, line: &PlannedAgent) -> Injected<'a> {
    Injected {
        agent: &agents[line.agent],
        position: line.agent.index(),
        percent: line.percent,
        volume_ml: line.volume_ml,
    }
}

fn taken(register: &Table<Medicine>, entry: &MedicineEntry) -> Option<Taken> {
    let medicine = &register[entry.medicine?];
    Some(Taken {
        daily_mg: entry.daily_mg,
        days: entry.days,
        as_prednisolone: medicine.as_prednisolone,
        adrenal_as_prednisolone: medicine.adrenal_as_prednisolone,
    })
}
