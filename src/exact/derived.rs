//! What derived facts come to over an encoding: where each is known, and which numbers it may have.
//!
//! Only clauses that every patient satisfies: when a formula has what it needs, which cells a sum of options or one of two
//! sides can lie in. They spare the search models that are plainly impossible; `branch_and_bound` finds the numbers.

use batsat::Lit;

use crate::exact::branch_and_bound::some_number;
use crate::exact::cells::Cell;
use crate::exact::conditions::Reader;
use crate::exact::domain::{Domain, Shape, lits, lits_if};
use crate::formulas::formula::{Agents, Amounts, Follows, KnownWhen, Needs};
use crate::formulas::given::Side;
use crate::rule_set::{Choice, Derived, Input};

impl<'a> Reader<'a> {
    /// What the formula of a derived fact needs to be known, and what follows from answers alone.
    pub(super) fn derive(&mut self, derived: &Derived) {
        let Some(domain) = &self.domain(derived.slot) else {
            return;
        };
        let formula = derived.formula;
        match formula.known {
            KnownWhen::Exactly(needs) => {
                let needed = self.needs(derived, &needs);
                self.solver.same(domain.known, needed);
            }
            KnownWhen::AtMost { perhaps, surely } => {
                let (perhaps, surely) =
                    (self.needs(derived, &perhaps), self.needs(derived, &surely));
                self.solver.implies(domain.known, perhaps);
                self.solver.implies(surely, domain.known);
            }
        }
        let zero = self.needs(derived, &formula.zero);
        let zero = self.solver.all([domain.known, zero]);
        self.zero_where(domain, zero);
        match formula.follows {
            Follows::Arithmetic => {}
            Follows::Born(role) => self.age_beside_date(derived, role, domain),
            Follows::Count(list) => {
                let chosen = lits(&self.options_of(derived, list)).into_iter();
                self.sum_is(domain, &chosen.map(|it| (it, ONE)).collect::<Vec<_>>());
            }
            Follows::Points(list) => {
                let choices = self.choices(derived, list);
                let options = self.options_of(derived, list).into_iter();
                let weights = options.filter_map(|(id, lit)| {
                    let counts = choices.iter().find(|option| option.id == id)?.counts?;
                    Some((lit, hundredths(counts)))
                });
                self.sum_is(domain, &weights.collect::<Vec<_>>());
            }
            Follows::CountMissing(list, other) => {
                let other = self.options_of(derived, other);
                let mut missing = Vec::new();
                for (id, lit) in self.options_of(derived, list) {
                    let there = other.iter().find(|(of, _)| *of == id);
                    let there = there.map_or(self.solver.never(), |(_, lit)| *lit);
                    missing.push((self.solver.all([lit, !there]), ONE));
                }
                self.sum_is(domain, &missing);
            }
            Follows::OfSides {
                sites,
                sides,
                lowest,
            } => self.one_of_sides(derived, domain, sites, sides, lowest),
        }
    }

    /// Where what a formula is given is so.
    fn needs(&mut self, derived: &Derived, needs: &Needs) -> Lit {
        match *needs {
            Needs::Every => {
                let known: Vec<Lit> = derived
                    .given()
                    .map(|(role, _)| self.role_known(derived, role.name))
                    .collect();
                self.solver.all(known)
            }
            Needs::Role(role) => self.role_known(derived, role),
            Needs::LeftOut(role) => self.truth(derived.input(role).is_none()),
            Needs::All(parts) => {
                let parts: Vec<Lit> = parts.iter().map(|part| self.needs(derived, part)).collect();
                self.solver.all(parts)
            }
            Needs::Any(parts) => {
                let parts: Vec<Lit> = parts.iter().map(|part| self.needs(derived, part)).collect();
                self.solver.any(parts)
            }
            Needs::Not(part) => !self.needs(derived, part),
            Needs::Is(role, option) => self.chosen(derived, role, option),
            Needs::Some(role) => {
                let options = self.options_of(derived, role);
                self.solver.any(lits(&options))
            }
            Needs::Side(role, side) => self.side(derived, role, side),
            Needs::Below(role, limit) => {
                let Some(Input::Limit(_, limit)) = derived.input(limit) else {
                    return self.solver.never();
                };
                self.number_is(derived, role, |number| number < limit)
            }
            Needs::Above(role, than) => self.number_is(derived, role, |number| number > than),
            Needs::AtMost(role, most) => self.number_is(derived, role, |number| number <= most),
            Needs::Told(plan, amounts, agents) => self.told(derived, plan, amounts, agents),
            Needs::Without(plan, agents) => {
                let some = self.agents(derived, plan, agents);
                let known = self.role_known(derived, plan);
                self.solver.all([known, !some])
            }
            Needs::Allowed {
                plan,
                adrenaline,
                age,
            } => self.allowed(derived, plan, adrenaline, age),
            Needs::Recognised(list) => self.steroids(derived, list).0,
            Needs::NoSteroid(list) => {
                let (readable, some) = self.steroids(derived, list);
                self.solver.all([readable, !some])
            }
        }
    }

    fn truth(&self, holds: bool) -> Lit {
        if holds {
            self.solver.always()
        } else {
            self.solver.never()
        }
    }

    /// Whether what a role is given is known; a number of a limit always is.
    fn role_known(&self, derived: &Derived, role: &str) -> Lit {
        derived
            .fact(role)
            .map_or(self.solver.always(), |slot| self.known(slot))
    }

    fn shape_of(&self, derived: &Derived, role: &str) -> Option<Shape> {
        derived
            .fact(role)
            .and_then(|slot| self.domain(slot))
            .map(|domain| domain.shape.clone())
    }

    fn options_of(&self, derived: &Derived, role: &str) -> Vec<(String, Lit)> {
        match self.shape_of(derived, role) {
            Some(Shape::Choice(options) | Shape::Choices(options)) => options,
            Some(Shape::Plan { agents, .. }) => agents,
            _ => Vec::new(),
        }
    }

    /// The options of a role as the rule set has them.
    fn choices(&self, derived: &Derived, role: &str) -> &'a [Choice] {
        let slot = derived.fact(role);
        slot.map_or(&[], |it| self.rule_set.catalogue.options(it))
    }

    fn chosen(&self, derived: &Derived, role: &str, id: &str) -> Lit {
        let mut options = self.options_of(derived, role).into_iter();
        let option = options.find(|(of, _)| of == id);
        option.map_or(self.solver.never(), |(_, lit)| lit)
    }

    /// The cells of a role's number; a limit is a number known beforehand.
    fn cells_of(&self, derived: &Derived, role: &str) -> Vec<(Cell, Lit)> {
        match (derived.input(role), self.shape_of(derived, role)) {
            (Some(Input::Limit(_, number)), _) => {
                vec![(Cell::closed(number, number), self.solver.always())]
            }
            (_, Some(Shape::Number { cells, .. })) => cells,
            _ => Vec::new(),
        }
    }

    /// Where the number of a role is so. INVARIANT: it is cut where that changes.
    fn number_is(&mut self, derived: &Derived, role: &str, holds: impl Fn(f64) -> bool) -> Lit {
        let cells = self.cells_of(derived, role);
        self.solver
            .any(lits_if(&cells, |cell| holds(some_number(cell))))
    }

    fn side(&mut self, derived: &Derived, role: &str, side: Side) -> Lit {
        let choices = self.choices(derived, role);
        let lies_there = |id: &String| {
            let mut choices = choices.iter();
            choices.any(|it| it.id == *id && it.side == Some(side))
        };
        let options = self.options_of(derived, role);
        self.solver.any(lits_if(&options, lies_there))
    }

    /// Whether any of these agents is in a plan.
    fn agents(&mut self, derived: &Derived, plan: &str, agents: Agents) -> Lit {
        let counts = |id: &String| match agents {
            Agents::Every => true,
            Agents::LimitedPerSite => self
                .rule_set
                .agents
                .iter()
                .any(|agent| agent.id == *id && agent.per_site.is_some()),
        };
        let there = lits_if(&self.options_of(derived, plan), counts);
        self.solver.any(there)
    }

    /// Whether a plan is known, with these amounts if any of these agents is in it.
    fn told(&mut self, derived: &Derived, plan: &str, amounts: Amounts, agents: Agents) -> Lit {
        let (strengths, volumes) = match self.shape_of(derived, plan) {
            Some(Shape::Plan {
                strengths, volumes, ..
            }) => (strengths, volumes),
            _ => (self.solver.never(), self.solver.never()),
        };
        let some = self.agents(derived, plan, agents);
        let amounts = match amounts {
            Amounts::Volumes => volumes,
            Amounts::Doses => self.solver.all([strengths, volumes]),
        };
        let told = self.solver.any([!some, amounts]);
        let known = self.role_known(derived, plan);
        self.solver.all([known, told])
    }

    /// For each agent of a plan: it is not there, or the register has a limit for it at that age, for this choice of
    /// adrenaline or for any.
    fn allowed(
        &mut self,
        derived: &Derived,
        plan: &str,
        adrenaline: Option<&str>,
        age: &str,
    ) -> Lit {
        let ages = self.cells_of(derived, age);
        let with = [(false, "no"), (true, "yes")].map(|(with, option)| {
            (
                with,
                adrenaline.map_or(self.solver.always(), |role| {
                    self.chosen(derived, role, option)
                }),
            )
        });
        let mut allowed = Vec::new();
        for agent in &self.rule_set.agents {
            let mut ways = vec![!self.chosen(derived, plan, &agent.id)];
            for (cell, age) in &ages {
                let years = some_number(cell);
                for (_, choice) in with
                    .into_iter()
                    .filter(|(with, _)| agent.limit(*with, years).is_some())
                {
                    ways.push(self.solver.all([*age, choice]));
                }
            }
            allowed.push(self.solver.any(ways));
        }
        self.solver.all(allowed)
    }

    /// A date that is also tested for its age in months or days leaves only some ages in years.
    fn age_beside_date(&mut self, age: &Derived, born: &str, domain: &Domain) {
        let born = self.shape_of(age, born);
        let (Some(Shape::Date { older, .. }), Shape::Number { cells, .. }) = (born, &domain.shape)
        else {
            return;
        };
        for (span, older) in &older {
            let (least, most) = match span.months() {
                Some(months) => (f64::from(months / 12), f64::from(months / 12)),
                None => (
                    (span.fewest_days() / 366.0).floor(),
                    (span.fewest_days() / 365.0).floor(),
                ),
            };
            for (cell, is) in cells {
                if cell.last_whole() < least {
                    self.solver.require([!*older, !*is]);
                }
                if cell.first_whole() > most {
                    self.solver.require([*older, !*is]);
                }
            }
        }
    }

    /// The number is that of an operated side, and no operated side has one beyond it: what several computed numbers have
    /// to do with each other is hard to see for a search that looks at each by itself.
    fn one_of_sides(
        &mut self,
        derived: &Derived,
        domain: &Domain,
        sites: &str,
        sides: [(Side, &str); 2],
        lowest: bool,
    ) {
        let Shape::Number { cells, .. } = &domain.shape else {
            return;
        };
        let sides = sides.map(|(side, role)| {
            (
                self.side(derived, sites, side),
                self.cells_of(derived, role),
            )
        });
        for (cell, is) in cells {
            let mut same = Vec::new();
            for (operated, own) in &sides {
                for (other, lit) in own {
                    if !cell.both(other).is_empty() {
                        same.push(self.solver.all([*operated, *lit]));
                    }
                    let beyond = if lowest {
                        other.lies_below(cell)
                    } else {
                        cell.lies_below(other)
                    };
                    if beyond {
                        self.solver
                            .require([!domain.known, !*is, !*operated, !*lit]);
                    }
                }
            }
            self.solver
                .require([!domain.known, !*is].into_iter().chain(same));
        }
    }

    /// Where every medicine is recognised, and where one of them is a steroid that acts on the whole body.
    fn steroids(&mut self, derived: &Derived, list: &str) -> (Lit, Lit) {
        let Some(Shape::Medicines {
            kinds,
            unrecognised,
        }) = self.shape_of(derived, list)
        else {
            return (self.solver.never(), self.solver.never());
        };
        let first = |counts: &Vec<Lit>| counts.first().copied();
        let steroids = kinds
            .iter()
            .filter(|(kind, _)| kind.steroid)
            .filter_map(|(_, counts)| first(counts));
        let strangers = kinds
            .iter()
            .filter(|(kind, _)| kind.known_to.get(self.view) != Some(&true))
            .filter_map(|(_, counts)| first(counts));
        let (steroids, strangers): (Vec<Lit>, Vec<Lit>) = (
            steroids.collect(),
            strangers.chain(first(&unrecognised)).collect(),
        );
        let clear = !self.solver.any(strangers);
        let known = self.role_known(derived, list);
        (self.solver.all([known, clear]), self.solver.any(steroids))
    }

    /// The number is zero there.
    fn zero_where(&mut self, domain: &Domain, there: Lit) {
        if let Shape::Number { cells, .. } = &domain.shape {
            let zero = cells
                .iter()
                .find(|(it, _)| it.contains(0.0))
                .map(|(_, it)| *it);
            self.solver.require([!there].into_iter().chain(zero));
        }
    }

    /// The number is the sum of the parts chosen, in hundredths.
    fn sum_is(&mut self, domain: &Domain, parts: &[(Lit, i64)]) {
        let Shape::Number { cells, .. } = &domain.shape else {
            return;
        };
        let sums = self.solver.sums(parts);
        for (cell, lit) in cells {
            #[expect(
                clippy::cast_precision_loss,
                reason = "points of a checklist are far below 2^52"
            )]
            let inside = lits_if(&sums, |sum| cell.contains(*sum as f64 / 100.0));
            let any = self.solver.any(inside);
            self.solver.implies(*lit, any);
        }
    }
}

/// Counts in hundredths, so that sums of points stay exact.
const ONE: i64 = 100;

#[expect(
    clippy::cast_possible_truncation,
    reason = "points of a checklist are small"
)]
fn hundredths(points: f64) -> i64 {
    (points * 100.0).round() as i64
}
