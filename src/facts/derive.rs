//! Derived facts: each formula given its facts. A missing input leaves the fact missing, and says which.

use std::collections::BTreeSet;

use super::{Fact, Facts, Known, MedicineEntry, Missing, PlannedAgent, Value, Why};
use crate::formulas::body::Sex;
use crate::formulas::medicines::ParacetamolBands;
use crate::formulas::{age, anaesthetic, body, counts, medicines, pressure, renal};
use crate::model::{Agent, Choice, Derived, FactKind, Formula, Idx, Input, Medicine, RuleSet, Table};
use crate::quantity::when::When;
use crate::quantity::{tidy, tidy_beside};
use crate::truth::FactSlot;

/// Computes every derived fact, in the order declared.
pub fn all(rule_set: &RuleSet, facts: &mut Facts) {
    for derived in &rule_set.catalogue.derived {
        let fact = one(rule_set, facts, derived);
        facts.put(derived.slot, fact);
    }
}

/// Computes these derived facts only, in the order declared; for trying many numbers.
pub fn these(rule_set: &RuleSet, facts: &mut Facts, wanted: &[Idx<Derived>]) {
    for derived in wanted.iter().map(|at| &rule_set.catalogue.derived[*at]) {
        let fact = one(rule_set, facts, derived);
        facts.put(derived.slot, fact);
    }
}

/// What an attempt to compute came to.
enum Outcome {
    Number(f64),
    /// The inputs of these roles, by position, are missing, or not all of them is known.
    Lacks(Vec<usize>),
    /// All inputs are there, and no value follows until one of these is answered otherwise.
    Unusable(Vec<usize>),
    /// All inputs are there, and no value follows.
    None,
}

fn one(rule_set: &RuleSet, facts: &Facts, derived: &Derived) -> Fact {
    let inputs = Inputs { rule_set, facts, derived };
    match inputs.compute() {
        Outcome::Number(number) if number.is_finite() => {
            let shown = shown(derived, number);
            Fact::Known(Known { value: Value::Number(number), shown, place: None })
        }
        Outcome::Lacks(roles) => Fact::Missing(Missing { why: Why::InputMissing, needs: inputs.needs(&roles) }),
        Outcome::Unusable(roles) => Fact::Missing(Missing { why: Why::NotComputable, needs: inputs.needs(&roles) }),
        _ => Fact::Missing(Missing { why: Why::NotComputable, needs: roots(rule_set, derived) }),
    }
}

/// A number for people: rounded, but never across a number that some rule compares it with.
fn shown(derived: &Derived, number: f64) -> String {
    let beside = derived.compared_with.iter().map(|limit| tidy_beside(number, derived.decimals, *limit));
    let text = beside.max_by_key(String::len).unwrap_or_else(|| tidy(number, Some(derived.decimals)));
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

/// The facts a derived fact is given directly.
pub fn slots(derived: &Derived) -> Vec<FactSlot> {
    derived.inputs.iter().filter_map(|it| if let Input::Fact(slot) = it { Some(*slot) } else { None }).collect()
}

struct Inputs<'a> {
    rule_set: &'a RuleSet,
    facts: &'a Facts,
    derived: &'a Derived,
}

impl Inputs<'_> {
    fn slot(&self, role: usize) -> Option<FactSlot> {
        match self.derived.inputs.get(role)? {
            Input::Fact(slot) => Some(*slot),
            Input::Number(_) => None,
        }
    }

    /// The answers that would settle these roles; a known one, by being answered otherwise.
    fn needs(&self, roles: &[usize]) -> BTreeSet<FactSlot> {
        roles.iter().filter_map(|it| self.slot(*it)).flat_map(|slot| self.facts.needs(slot)).collect()
    }

    fn number(&self, role: usize) -> Option<f64> {
        match self.derived.inputs.get(role)? {
            Input::Number(number) => Some(*number),
            Input::Fact(slot) => self.facts.number(*slot),
        }
    }

    fn value(&self, role: usize) -> Option<&Value> {
        self.facts.known(self.slot(role)?).map(|it| &it.value)
    }

    fn date(&self, role: usize) -> Option<When> {
        if let Value::Date(when) = self.value(role)? { Some(*when) } else { None }
    }

    fn sex(&self, role: usize) -> Option<Sex> {
        let Value::Choice(at) = self.value(role)? else { return None };
        let option = self.rule_set.catalogue.options(self.slot(role)?).get(usize::from(*at))?;
        match option.id.as_str() {
            "female" => Some(Sex::Female),
            "male" => Some(Sex::Male),
            _ => None,
        }
    }

    fn choices(&self, role: usize) -> Option<u64> {
        if let Value::Choices(bits) = self.value(role)? { Some(*bits) } else { None }
    }

    /// The options chosen, of one choice or several.
    fn chosen(&self, role: usize) -> Option<Vec<&Choice>> {
        let options = self.rule_set.catalogue.options(self.slot(role)?);
        match self.value(role)? {
            Value::Choice(at) => Some(vec![options.get(usize::from(*at))?]),
            Value::Choices(bits) => Some(options.iter().enumerate().filter(|(at, _)| bits >> at & 1 == 1).map(|(_, it)| it).collect()),
            _ => None,
        }
    }

    fn plan(&self, role: usize) -> Option<&[PlannedAgent]> {
        if let Value::Plan(plan) = self.value(role)? { Some(plan) } else { None }
    }

    fn yes(&self, role: usize) -> Option<bool> {
        if let Value::Choice(at) = self.value(role)? { Some(*at == 1) } else { None }
    }

    /// Whether the left and the right foot are operated on.
    fn sides(&self, role: usize) -> Option<(bool, bool)> {
        let chosen = self.choices(role)?;
        let options = self.rule_set.catalogue.options(self.slot(role)?);
        let side = |prefix: &str| options.iter().enumerate().any(|(at, it)| it.id.starts_with(prefix) && chosen >> at & 1 == 1);
        Some((side("left-"), side("right-")))
    }

    /// Runs on numbers of all roles, when each is a number.
    fn numbers<const N: usize>(&self) -> Result<[f64; N], Outcome> {
        let found: Vec<Option<f64>> = (0..N).map(|role| self.number(role)).collect();
        let lacking: Vec<usize> = found.iter().enumerate().filter(|(_, it)| it.is_none()).map(|(role, _)| role).collect();
        if !lacking.is_empty() {
            return Err(Outcome::Lacks(lacking));
        }
        let found: Vec<f64> = found.into_iter().flatten().collect();
        found.try_into().map_err(|_| Outcome::None)
    }

    fn compute(&self) -> Outcome {
        self.try_compute().unwrap_or_else(|lacks| lacks)
    }

    fn try_compute(&self) -> Result<Outcome, Outcome> {
        let result = match self.derived.formula {
            Formula::CompletedYears => {
                let (born, on) = match (self.date(0), self.date(1)) {
                    (Some(born), Some(on)) => (born, on),
                    (born, on) => return Err(lacks(&[(0, born.is_some()), (1, on.is_some())])),
                };
                age::completed_years(born.date, on.date).map(f64::from)
            }
            Formula::BodyMassIndex => {
                let [weight, height] = self.numbers()?;
                body::body_mass_index(weight, height)
            }
            Formula::IdealWeight => match (self.number(0), self.sex(1)) {
                (Some(height), Some(sex)) => body::ideal_weight(height, sex),
                (height, sex) => return Err(lacks(&[(0, height.is_some()), (1, sex.is_some())])),
            },
            Formula::DosingWeight => self.dosing_weight()?,
            Formula::LowerOf => {
                let [one, other] = self.numbers()?;
                Some(one.min(other))
            }
            Formula::CockcroftGault => match (self.number(0), self.number(1), self.sex(2), self.number(3), self.number(4)) {
                (Some(age), Some(weight), Some(sex), Some(creatinine), Some(floor)) => renal::cautious(age, weight, sex, creatinine, floor),
                (age, weight, sex, creatinine, floor) => {
                    return Err(lacks(&[
                        (0, age.is_some()),
                        (1, weight.is_some()),
                        (2, sex.is_some()),
                        (3, creatinine.is_some()),
                        (4, floor.is_some()),
                    ]));
                }
            },
            Formula::CountOf => match self.choices(0) {
                Some(bits) => Some(f64::from(bits.count_ones())),
                None => return Err(Outcome::Lacks(vec![0])),
            },
            Formula::PressureIndex => {
                let [distal, left, right] = self.numbers()?;
                pressure::pressure_index(distal, left, right)
            }
            Formula::LowestOfOperated => pressure::lowest(&self.operated()?),
            Formula::HighestOfOperated => pressure::highest(&self.operated()?),
            Formula::AnaestheticLoad => {
                let plan = self.plan(0);
                let amounts = plan.is_some_and(|it| it.iter().all(|it| dose(it).is_some()));
                let earlier = self.earlier();
                let (Some(plan), true, Some(adrenaline), Some(weight), Some(age), Ok(earlier)) =
                    (plan, amounts, self.yes(1), self.number(2), self.number(3), &earlier)
                else {
                    let missing = earlier.err();
                    return Err(lacks(&[
                        (0, amounts),
                        (1, self.yes(1).is_some()),
                        (2, self.number(2).is_some()),
                        (3, self.number(3).is_some()),
                        (4, missing != Some(4)),
                        (5, missing != Some(5)),
                        (6, missing != Some(6)),
                    ]));
                };
                let agents = &self.rule_set.agents;
                let parts: Option<Vec<(f64, f64)>> =
                    plan.iter().map(|it| Some((dose(it)?, limit(agents, it, adrenaline, weight, age)?))).collect();
                // The register allows no dose at this age: another agent, or the other choice of adrenaline.
                let mut parts = parts.ok_or_else(|| Outcome::Unusable(vec![0, 1]))?;
                let before: Option<Vec<(f64, f64)>> =
                    earlier.iter().map(|it| Some((dose(it)?, self.earlier_limit(it, weight, age)?))).collect();
                parts.extend(before.ok_or_else(|| Outcome::Unusable(vec![5]))?);
                anaesthetic::load(&parts)
            }
            Formula::VolumePerToe => {
                let (plan, n_toes) = self.plan_and_toes(|it| it.volume_ml.is_some())?;
                let volumes: Option<f64> = plan.iter().map(|it| it.volume_ml).sum();
                volumes.and_then(|it| anaesthetic::volume_per_toe(it, n_toes))
            }
            Formula::DigitLoad => {
                let has_limit = |it: &PlannedAgent| self.rule_set.agents[it.agent].per_digit.is_some();
                let (plan, n_toes) = self.plan_and_toes(|it| !has_limit(it) || dose(it).is_some())?;
                let mut highest = Some(0.0_f64);
                for (at, agent) in self.rule_set.agents.entries() {
                    let Some(per_digit) = agent.per_digit else { continue };
                    // Two strengths of one agent in one toe count together.
                    let doses: Option<f64> = plan.iter().filter(|it| it.agent == at).map(dose).sum();
                    let share = doses.and_then(|mg| anaesthetic::fraction(mg / f64::from(n_toes), per_digit));
                    highest = highest.zip(share).map(|(a, b)| a.max(b));
                }
                highest
            }
            Formula::PointsOf => {
                let options = self.chosen(0).ok_or_else(|| Outcome::Lacks(vec![0]))?;
                let points: Option<Vec<f64>> = options.iter().map(|it| it.counts).collect();
                points.and_then(|it| counts::points(&it))
            }
            Formula::Difference => {
                let [one, other] = self.numbers()?;
                counts::difference(one, other)
            }
            Formula::ShareOf => {
                let [part, whole] = self.numbers()?;
                // A whole of zero cannot be right; the part may well be.
                Some(counts::share(part, whole).ok_or_else(|| Outcome::Unusable(vec![1]))?)
            }
            Formula::CountMissingFrom => {
                let (Some(list), Some(other)) = (self.chosen(0), self.chosen(1)) else {
                    return Err(lacks(&[(0, self.chosen(0).is_some()), (1, self.chosen(1).is_some())]));
                };
                let ids = |options: &[&Choice]| options.iter().map(|it| it.id.clone()).collect::<Vec<_>>();
                u32::try_from(counts::missing_from(&ids(&list), &ids(&other))).ok().map(f64::from)
            }
            Formula::SteroidDaily => self.steroid_daily(|it| it.as_prednisolone)?,
            Formula::AdrenalSteroidDaily => self.steroid_daily(|it| it.adrenal_as_prednisolone)?,
            Formula::SteroidDays => medicines::longest_course(&self.steroids(|it| it.as_prednisolone, |entry, _| entry.days)?),
            Formula::ParacetamolCeiling => {
                let [weight, age, adult_from, light, middle, light_daily, middle_daily, full_daily, child_per_kg, child_dose_cap, doses] =
                    self.numbers()?;
                let bands = ParacetamolBands { light, middle, light_daily, middle_daily, full_daily, child_per_kg, child_dose_cap, doses };
                medicines::paracetamol_ceiling(weight, age >= adult_from, &bands)
            }
            Formula::AdrenalineTotal => self.adrenaline_total()?,
            // No adrenaline is none for any weight. The total is 0, and 0 exactly, where none is planned.
            Formula::AdrenalinePerKg if self.number(0).is_some_and(|it| it <= 0.0) => Some(0.0),
            Formula::AdrenalinePerKg => {
                let [total, weight] = self.numbers()?;
                anaesthetic::adrenaline_per_kg(total, weight)
            }
        };
        Ok(result.map_or(Outcome::None, Outcome::Number))
    }

    /// For a child the ideal weight is not used, so it is not needed either.
    fn dosing_weight(&self) -> Result<Option<f64>, Outcome> {
        let (Some(weight), Some(age), Some(adult_from), Some(ceiling)) = (self.number(0), self.number(2), self.number(3), self.number(4))
        else {
            return Err(lacks(&[
                (0, self.number(0).is_some()),
                (2, self.number(2).is_some()),
                (3, self.number(3).is_some()),
                (4, self.number(4).is_some()),
            ]));
        };
        let ideal = if age < adult_from {
            None
        } else {
            match self.number(1) {
                Some(ideal) => Some(ideal),
                None => return Err(Outcome::Lacks(vec![1])),
            }
        };
        Ok(body::dosing_weight(weight, ideal, ceiling))
    }

    /// What was injected before and still counts; the role that is not known, if that cannot be said.
    fn earlier(&self) -> Result<&[PlannedAgent], usize> {
        const GIVEN: usize = 4;
        const WHAT: usize = 5;
        const ADRENALINE: usize = 6;
        if self.derived.inputs.len() <= GIVEN {
            return Ok(&[]);
        }
        match self.yes(GIVEN) {
            None => Err(GIVEN),
            Some(false) => Ok(&[]),
            // Something was given, so a list that names nothing, or not how much, leaves it open.
            Some(true) => {
                let known = self.plan(WHAT).filter(|it| !it.is_empty() && it.iter().all(|it| dose(it).is_some()));
                let known = known.ok_or(WHAT)?;
                self.yes(ADRENALINE).map(|_| known).ok_or(ADRENALINE)
            }
        }
    }

    /// The limit in mg of what was injected before: that with adrenaline only if all of it held some, else the lower one.
    fn earlier_limit(&self, given: &PlannedAgent, weight: f64, age: f64) -> Option<f64> {
        let of = |adrenaline: bool| limit(&self.rule_set.agents, given, adrenaline, weight, age);
        let with = if self.yes(6) == Some(true) { of(true) } else { None };
        with.or_else(|| [of(false), of(true)].into_iter().flatten().reduce(f64::min))
    }

    /// Steroid for each day, each counted by this factor.
    fn steroid_daily(&self, factor: impl Fn(&Medicine) -> Option<f64>) -> Result<Option<f64>, Outcome> {
        let doses = self.steroids(factor, |entry, factor| Some((entry.daily_mg?, factor)))?;
        Ok(medicines::steroid_daily(&doses))
    }

    /// One value for each steroid taken, with what a milligram of it counts as; every entry must be recognised, and
    /// each steroid have its value.
    fn steroids<T>(
        &self,
        factor: impl Fn(&Medicine) -> Option<f64>,
        value: impl Fn(&MedicineEntry, f64) -> Option<T>,
    ) -> Result<Vec<T>, Outcome> {
        let Some(Value::Medicines(entries)) = self.value(0) else { return Err(Outcome::Lacks(vec![0])) };
        let mut found = Vec::new();
        for entry in entries {
            let medicine = entry.medicine.map(|at| &self.rule_set.medicines.medicines[at]);
            let Some(medicine) = medicine else { return Err(Outcome::Lacks(vec![0])) };
            if let Some(factor) = factor(medicine) {
                found.push(value(entry, factor).ok_or_else(|| Outcome::Lacks(vec![0]))?);
            }
        }
        Ok(found)
    }

    /// Without adrenaline, or without any anaesthetic, neither volume nor strength is needed.
    fn adrenaline_total(&self) -> Result<Option<f64>, Outcome> {
        let plan = self.plan(0);
        if self.yes(1) == Some(false) || plan.is_some_and(<[_]>::is_empty) {
            return Ok(Some(0.0));
        }
        if self.yes(1).is_none() {
            return Err(Outcome::Lacks(vec![1]));
        }
        let volume: Option<f64> = plan.and_then(|it| it.iter().map(|agent| agent.volume_ml).sum());
        let strength = self.chosen(2);
        let (Some(volume), Some(strength)) = (volume, &strength) else {
            return Err(lacks(&[(0, volume.is_some()), (2, strength.is_some())]));
        };
        Ok(strength.first().and_then(|it| it.counts).and_then(|it| anaesthetic::adrenaline_total(volume, it)))
    }

    /// The numbers of the sides operated on; the other side is not needed.
    fn operated(&self) -> Result<Vec<f64>, Outcome> {
        let Some((left, right)) = self.sides(0) else { return Err(Outcome::Lacks(vec![0])) };
        if !left && !right {
            return Err(Outcome::Unusable(vec![0]));
        }
        let wanted: Vec<usize> = [(1, left), (2, right)].into_iter().filter(|(_, it)| *it).map(|(role, _)| role).collect();
        let lacking: Vec<usize> = wanted.iter().copied().filter(|role| self.number(*role).is_none()).collect();
        if !lacking.is_empty() {
            return Err(Outcome::Lacks(lacking));
        }
        Ok(wanted.into_iter().filter_map(|role| self.number(role)).collect())
    }

    /// The plan, once this holds for each agent, and how many toes; both must say something.
    fn plan_and_toes(&self, complete: impl Fn(&PlannedAgent) -> bool) -> Result<(&[PlannedAgent], u32), Outcome> {
        match (self.plan(0), self.choices(1)) {
            (Some(plan), Some(toes)) if plan.iter().all(&complete) => match toes.count_ones() {
                0 => Err(Outcome::Unusable(vec![1])),
                n_toes => Ok((plan, n_toes)),
            },
            (plan, toes) => Err(lacks(&[(0, plan.is_some_and(|it| it.iter().all(&complete))), (1, toes.is_some())])),
        }
    }
}

/// The roles that are not there.
fn lacks(roles: &[(usize, bool)]) -> Outcome {
    Outcome::Lacks(roles.iter().filter(|(_, there)| !there).map(|(role, _)| *role).collect())
}

/// Milligrams of one planned agent; `None` if strength or volume is not known.
pub fn dose(planned: &PlannedAgent) -> Option<f64> {
    anaesthetic::dose_mg(planned.volume_ml?, planned.percent?)
}

/// Most milligrams of one planned agent; `None` where the register has no limit.
pub fn limit(agents: &Table<Agent>, planned: &PlannedAgent, adrenaline: bool, weight: f64, age: f64) -> Option<f64> {
    let row = agents[planned.agent].limit(adrenaline, age)?;
    anaesthetic::limit_mg(row.per_kg, weight, row.at_most)
}

/// The share of its limit that was given before and is part of the load; 0 where none was. `None` while that is not known.
pub fn earlier_share(rule_set: &RuleSet, facts: &Facts, load: &Derived) -> Option<f64> {
    let inputs = Inputs { rule_set, facts, derived: load };
    let earlier = inputs.earlier().ok()?;
    if earlier.is_empty() {
        return Some(0.0);
    }
    let (weight, age) = (inputs.number(2)?, inputs.number(3)?);
    let parts: Option<Vec<(f64, f64)>> = earlier.iter().map(|it| Some((dose(it)?, inputs.earlier_limit(it, weight, age)?))).collect();
    anaesthetic::load(&parts?)
}
