//! What derived facts come to over a space: where each is known, and which numbers it may have. Only bounds; `arithmetic`
//! finds the numbers.

use batsat::Lit;

use super::logic::Logic;
use super::space::{Domain, Shape, tallest_without_ideal_weight};
use super::truths::Reader;
use crate::formulas::body::Sex;
use crate::model::{Derived, Formula, Input};
use crate::truth::FactSlot;

impl Reader<'_> {
    /// What the formula of a derived fact needs to be known, and what follows from answers alone.
    pub(super) fn derive(&mut self, derived: &Derived) {
        if let Some(domain) = self.domain(derived.slot) {
            self.derive_one(derived, &domain);
        }
    }

    fn role(&self, derived: &Derived, role: usize) -> Option<FactSlot> {
        match derived.inputs.get(role)? {
            Input::Fact(slot) => Some(*slot),
            Input::Number(_) => None,
        }
    }

    /// Whether what a role is given is known; a number of a limit always is.
    fn role_known(&self, derived: &Derived, role: usize) -> Lit {
        self.role(derived, role).map_or(self.logic.always(), |it| self.known(it))
    }

    fn options_of(&self, derived: &Derived, role: usize) -> Vec<(String, Lit)> {
        let shape = self.role(derived, role).and_then(|it| self.domain(it)).map(|it| it.shape.clone());
        match shape {
            Some(Shape::Choice(options) | Shape::Choices(options)) => options,
            Some(Shape::Plan { agents, .. }) => agents,
            _ => Vec::new(),
        }
    }

    fn chosen(&self, derived: &Derived, role: usize, id: &str) -> Lit {
        self.options_of(derived, role).into_iter().find(|(it, _)| it == id).map_or(self.logic.never(), |(_, it)| it)
    }

    /// Whether the plan of a role tells every strength and volume, as far as wanted.
    fn amounts(&self, derived: &Derived, role: usize) -> (Lit, Lit) {
        let domain = self.role(derived, role).and_then(|it| self.domain(it));
        match domain.as_deref().map(|it| &it.shape) {
            Some(Shape::Plan { strengths, volumes, .. }) => (*strengths, *volumes),
            _ => (self.logic.never(), self.logic.never()),
        }
    }

    fn derive_one(&mut self, derived: &Derived, domain: &Domain) {
        let known = domain.known;
        let every: Vec<Lit> = (0..derived.inputs.len()).map(|it| self.role_known(derived, it)).collect();
        let every = self.logic.all(every);
        match derived.formula {
            Formula::CompletedYears => {
                self.same(known, every);
                self.age_beside_date(derived, domain);
            }
            Formula::LowerOf | Formula::CockcroftGault | Formula::PressureIndex | Formula::Difference => {
                self.same(known, every);
            }
            Formula::BodyMassIndex | Formula::ParacetamolCeiling => self.same(known, every),
            // A whole of nothing has no share; an example settles it.
            Formula::ShareOf => self.logic.implies(known, every),
            Formula::IdealWeight => {
                let mut left = Vec::new();
                for (sex, word) in [(Sex::Female, "female"), (Sex::Male, "male")] {
                    let tall = self.above(derived, 0, tallest_without_ideal_weight(sex));
                    let is = self.chosen(derived, 1, word);
                    left.push(self.logic.all([tall, is]));
                }
                let left = self.logic.any(left);
                self.same(known, left);
            }
            Formula::DosingWeight => {
                let (weight, ideal, age) = (self.role_known(derived, 0), self.role_known(derived, 1), self.role_known(derived, 2));
                let child = self.below(derived, 2, 3);
                let weighed = self.logic.any([ideal, child]);
                let needed = self.logic.all([weight, age, weighed]);
                self.same(known, needed);
            }
            Formula::CountOf => {
                let options = self.options_of(derived, 0).into_iter().map(|(_, it)| (it, 1)).collect::<Vec<_>>();
                self.same(known, every);
                self.sum_is(domain, &options);
            }
            Formula::PointsOf => {
                let counts = self.role(derived, 0).map(|it| self.rule_set.catalogue.options(it).to_vec()).unwrap_or_default();
                self.same(known, every);
                // Points in hundredths, so that sums stay exact.
                let weights = self.options_of(derived, 0).into_iter().filter_map(|(id, lit)| {
                    let counts = counts.iter().find(|it| it.id == id)?.counts?;
                    Some((lit, hundredths(counts)))
                });
                let weights: Vec<(Lit, i64)> = weights.collect();
                self.sum_in_hundredths_is(domain, &weights);
            }
            Formula::CountMissingFrom => {
                let other = self.options_of(derived, 1);
                let mut missing = Vec::new();
                for (id, lit) in self.options_of(derived, 0) {
                    let there = other.iter().find(|(it, _)| *it == id).map_or(self.logic.never(), |(_, it)| *it);
                    missing.push((self.logic.all([lit, !there]), 1));
                }
                self.same(known, every);
                self.sum_is(domain, &missing);
            }
            Formula::LowestOfOperated | Formula::HighestOfOperated => {
                let (left, right) = self.sides(derived, 0);
                let (toes, of_left, of_right) = (self.role_known(derived, 0), self.role_known(derived, 1), self.role_known(derived, 2));
                let some = self.logic.any([left, right]);
                let left_fine = self.logic.any([!left, of_left]);
                let right_fine = self.logic.any([!right, of_right]);
                let needed = self.logic.all([toes, some, left_fine, right_fine]);
                self.same(known, needed);
                let lowest = derived.formula == Formula::LowestOfOperated;
                self.one_of_operated(derived, domain, lowest, [(left, 1), (right, 2)]);
            }
            Formula::AnaestheticLoad => {
                let plan = self.told(derived, 0);
                let mut needed = vec![plan];
                needed.extend((1..4).map(|it| self.role_known(derived, it)));
                if derived.inputs.len() > 4 {
                    let (none_given, some_given) = (self.chosen(derived, 4, "no"), self.chosen(derived, 4, "yes"));
                    let told = self.told(derived, 5);
                    let agents: Vec<Lit> = self.options_of(derived, 5).into_iter().map(|(_, it)| it).collect();
                    let some = self.logic.any(agents);
                    let adrenaline = self.role_known(derived, 6);
                    let earlier = self.logic.all([some_given, told, some, adrenaline]);
                    needed.push(self.logic.any([none_given, earlier]));
                }
                // The register may allow no dose at all at some age.
                needed.extend(self.allowed(derived));
                let needed = self.logic.all(needed);
                self.same(known, needed);
                let nothing = self.nothing_injected(derived, needed);
                self.zero_where(domain, nothing);
            }
            Formula::VolumePerToe => {
                let (_, volumes) = self.amounts(derived, 0);
                let agents: Vec<Lit> = self.options_of(derived, 0).into_iter().map(|(_, it)| it).collect();
                let (plan, toes) = (self.role_known(derived, 0), self.role_known(derived, 1));
                let none = !self.logic.any(agents);
                let told = self.logic.any([volumes, none]);
                let (left, right) = self.sides(derived, 1);
                let some = self.logic.any([left, right]);
                let needed = self.logic.all([plan, told, toes, some]);
                self.same(known, needed);
                let nothing = self.logic.all([needed, none]);
                self.zero_where(domain, nothing);
            }
            Formula::DigitLoad => {
                let limited: Vec<&String> = self.rule_set.agents.iter().filter(|it| it.per_digit.is_some()).map(|it| &it.id).collect();
                let of_limited: Vec<Lit> =
                    self.options_of(derived, 0).into_iter().filter(|(id, _)| limited.contains(&id)).map(|(_, it)| it).collect();
                let (strengths, volumes) = self.amounts(derived, 0);
                let (plan, toes) = (self.role_known(derived, 0), self.role_known(derived, 1));
                let none = !self.logic.any(of_limited);
                let both = self.logic.all([strengths, volumes]);
                let told = self.logic.any([both, none]);
                let (left, right) = self.sides(derived, 1);
                let some = self.logic.any([left, right]);
                let needed = self.logic.all([plan, toes, some, told]);
                self.same(known, needed);
                let nothing = self.logic.all([needed, none]);
                self.zero_where(domain, nothing);
            }
            Formula::SteroidDaily | Formula::AdrenalSteroidDaily | Formula::SteroidDays => self.steroid(derived, domain),
            Formula::AdrenalineTotal => {
                let without = self.without_adrenaline(derived);
                let (_, volumes) = self.amounts(derived, 0);
                let (planned, strength) = (self.chosen(derived, 1, "yes"), self.role_known(derived, 2));
                let with = self.logic.all([planned, volumes, strength]);
                let needed = self.logic.any([without, with]);
                self.same(known, needed);
                self.zero_where(domain, without);
            }
            Formula::AdrenalinePerKg => {
                let weight = self.role_known(derived, 1);
                let total = self.role_known(derived, 0);
                let of_total = self.role(derived, 0).and_then(|it| self.rule_set.catalogue.derived_of(it)).cloned();
                let without = match of_total {
                    Some(it) if it.formula == Formula::AdrenalineTotal => self.without_adrenaline(&it),
                    _ => self.logic.never(),
                };
                let with = self.logic.all([total, weight]);
                let needed = self.logic.any([without, with]);
                self.same(known, needed);
                self.zero_where(domain, without);
            }
        }
    }

    /// For each agent that a load counts: it is not there, or the register has a limit for it at that age.
    fn allowed(&mut self, load: &Derived) -> Vec<Lit> {
        let ages = self.role(load, 3).and_then(|it| self.domain(it)).map(|it| it.shape.clone());
        let Some(Shape::Number { cells: ages, .. }) = ages else { return Vec::new() };
        let with = [(false, self.chosen(load, 1, "no")), (true, self.chosen(load, 1, "yes"))];
        let given = if load.inputs.len() > 4 { self.chosen(load, 4, "yes") } else { self.logic.never() };
        let mut found = Vec::new();
        for agent in &self.rule_set.agents {
            let (planned, before) = (self.chosen(load, 0, &agent.id), self.chosen(load, 5, &agent.id));
            let (mut ways, mut ways_before) = (vec![!planned], vec![!before, !given]);
            for (cell, age) in &ages {
                let years = super::arithmetic::some_number(cell);
                for (adrenaline, choice) in with {
                    if agent.limit(adrenaline, years).is_some() {
                        ways.push(self.logic.all([*age, choice]));
                        ways_before.push(*age);
                    }
                }
            }
            found.push(self.logic.any(ways));
            found.push(self.logic.any(ways_before));
        }
        found
    }

    /// A date that is also tested for its age in months or days leaves only some ages in years.
    fn age_beside_date(&mut self, age: &Derived, domain: &Domain) {
        let born = self.role(age, 0).and_then(|it| self.domain(it)).map(|it| it.shape.clone());
        let (Some(Shape::Date { older, .. }), Shape::Number { cells, .. }) = (born, &domain.shape) else { return };
        for (span, older) in &older {
            let (least, most) = match span.months() {
                Some(months) => (f64::from(months / 12), f64::from(months / 12)),
                None => ((span.fewest_days() / 366.0).floor(), (span.fewest_days() / 365.0).floor()),
            };
            for (cell, is) in cells {
                if cell.last_whole() < least {
                    self.logic.require([!*older, !*is]);
                }
                if cell.first_whole() > most {
                    self.logic.require([*older, !*is]);
                }
            }
        }
    }

    /// Where the load is known to be of nothing: no agent is planned, and none was given before.
    fn nothing_injected(&mut self, load: &Derived, known: Lit) -> Lit {
        let agents: Vec<Lit> = self.options_of(load, 0).into_iter().map(|(_, it)| it).collect();
        let planned = self.logic.any(agents);
        let before = if load.inputs.len() > 4 { !self.chosen(load, 4, "no") } else { self.logic.never() };
        self.logic.all([known, !planned, !before])
    }

    fn same(&mut self, one: Lit, other: Lit) {
        self.logic.implies(one, other);
        self.logic.implies(other, one);
    }

    /// Whether a plan is known with all its amounts.
    fn told(&mut self, derived: &Derived, role: usize) -> Lit {
        let (strengths, volumes) = self.amounts(derived, role);
        let agents: Vec<Lit> = self.options_of(derived, role).into_iter().map(|(_, it)| it).collect();
        let none = !self.logic.any(agents);
        let both = self.logic.all([strengths, volumes]);
        let told = self.logic.any([none, both]);
        let known = self.role_known(derived, role);
        self.logic.all([known, told])
    }

    /// Whether the number of one role lies below the number of another, which is a limit's.
    fn below(&mut self, derived: &Derived, role: usize, limit: usize) -> Lit {
        let Some(Input::Number(limit)) = derived.inputs.get(limit).copied() else { return self.logic.never() };
        let shape = self.role(derived, role).and_then(|it| self.domain(it)).map(|it| it.shape.clone());
        let Some(Shape::Number { cells, .. }) = shape else { return self.logic.never() };
        let below = cells.iter().filter(|(cell, _)| super::arithmetic::some_number(cell) < limit).map(|(_, it)| *it);
        self.logic.any(below.collect::<Vec<_>>())
    }

    /// Whether the number of a role lies above another, at which it is cut.
    fn above(&mut self, derived: &Derived, role: usize, than: f64) -> Lit {
        let shape = self.role(derived, role).and_then(|it| self.domain(it)).map(|it| it.shape.clone());
        let Some(Shape::Number { cells, .. }) = shape else { return self.logic.never() };
        let above = cells.iter().filter(|(cell, _)| super::arithmetic::some_number(cell) > than).map(|(_, it)| *it);
        self.logic.any(above.collect::<Vec<_>>())
    }

    fn sides(&mut self, derived: &Derived, role: usize) -> (Lit, Lit) {
        let options = self.options_of(derived, role);
        let side = |logic: &mut Logic, prefix: &str| {
            logic.any(options.iter().filter(|(id, _)| id.starts_with(prefix)).map(|(_, it)| *it).collect::<Vec<_>>())
        };
        (side(self.logic, "left-"), side(self.logic, "right-"))
    }

    /// The number is that of an operated side, and no operated side has one beyond it: what several computed numbers have
    /// to do with each other is hard to see for a search that looks at each by itself.
    fn one_of_operated(&mut self, derived: &Derived, domain: &Domain, lowest: bool, sides: [(Lit, usize); 2]) {
        let Shape::Number { cells, .. } = &domain.shape else { return };
        let of_side = |role: usize| match self.role(derived, role).and_then(|it| self.domain(it)).map(|it| it.shape.clone()) {
            Some(Shape::Number { cells, .. }) => cells,
            _ => Vec::new(),
        };
        let sides = sides.map(|(operated, role)| (operated, of_side(role)));
        for (cell, is) in cells {
            let mut same = Vec::new();
            for (operated, own) in &sides {
                for (other, lit) in own {
                    if !cell.both(other).is_empty() {
                        same.push(self.logic.all([*operated, *lit]));
                    }
                    let beyond = if lowest { other.lies_below(cell) } else { cell.lies_below(other) };
                    if beyond {
                        self.logic.require([!domain.known, !*is, !*operated, !*lit]);
                    }
                }
            }
            self.logic.require([!domain.known, !*is].into_iter().chain(same));
        }
    }

    /// Where no adrenaline is planned, or no anaesthetic at all.
    fn without_adrenaline(&mut self, total: &Derived) -> Lit {
        let agents: Vec<Lit> = self.options_of(total, 0).into_iter().map(|(_, it)| it).collect();
        let plan = self.role_known(total, 0);
        let none = self.logic.any(agents);
        let no_plan = self.logic.all([plan, !none]);
        let no = self.chosen(total, 1, "no");
        self.logic.any([no, no_plan])
    }

    fn steroid(&mut self, derived: &Derived, domain: &Domain) {
        let shape = self.role(derived, 0).and_then(|it| self.domain(it));
        let Some(Domain { known: list, shape: Shape::Medicines { kinds, unrecognised } }) = shape.as_deref() else { return };
        let steroids: Vec<Lit> = kinds.iter().filter(|(it, _)| it.steroid).flat_map(|(_, it)| it.first().copied()).collect();
        let strangers: Vec<Lit> = kinds
            .iter()
            .filter(|(it, _)| it.known_to.get(self.view) != Some(&true))
            .flat_map(|(_, it)| it.first().copied())
            .chain(unrecognised.first().copied())
            .collect();
        let clear = !self.logic.any(strangers);
        let readable = self.logic.all([*list, clear]);
        self.logic.implies(domain.known, readable);
        let some = self.logic.any(steroids);
        let none = self.logic.all([readable, !some]);
        self.logic.implies(none, domain.known);
        self.zero_where(domain, none);
    }

    /// The number is zero there.
    fn zero_where(&mut self, domain: &Domain, there: Lit) {
        if let Shape::Number { cells, .. } = &domain.shape {
            let zero = cells.iter().find(|(it, _)| it.contains(0.0)).map(|(_, it)| *it);
            self.logic.require([!there].into_iter().chain(zero));
        }
    }

    fn sum_is(&mut self, domain: &Domain, parts: &[(Lit, i64)]) {
        let parts: Vec<(Lit, i64)> = parts.iter().map(|(lit, n)| (*lit, n * 100)).collect();
        self.sum_in_hundredths_is(domain, &parts);
    }

    /// The number is the sum of the parts chosen.
    fn sum_in_hundredths_is(&mut self, domain: &Domain, parts: &[(Lit, i64)]) {
        let Shape::Number { cells, .. } = &domain.shape else { return };
        let sums = self.logic.sums(parts);
        for (cell, lit) in cells {
            #[expect(clippy::cast_precision_loss, reason = "points of a checklist are far below 2^52")]
            let inside: Vec<Lit> = sums.iter().filter(|(sum, _)| cell.contains(*sum as f64 / 100.0)).map(|(_, it)| *it).collect();
            let any = self.logic.any(inside);
            self.logic.implies(*lit, any);
        }
    }
}

#[expect(clippy::cast_possible_truncation, reason = "points of a checklist are small")]
fn hundredths(points: f64) -> i64 {
    (points * 100.0).round() as i64
}
