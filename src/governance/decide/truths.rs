//! Conditions over a space: where each is certainly yes and where certainly no, by the tables of `facts::holds`.

use std::collections::BTreeMap;

use batsat::Lit;

use super::cells::Cell;
use super::lists::{listed, recognised};
use super::logic::{Logic, Pair};
use super::space::{Domain, Shape, Space, tallest_without_ideal_weight};
use crate::facts::holds::entry_allergic;
use crate::formulas::body::Sex;
use crate::model::{Answer, Bits, Comparison, Condition, Formula, Input, Odds, Offered, Question, RuleSet, Test};
use crate::outcome::{Outcome, Urgency};
use crate::truth::FactSlot;

/// What one rule set makes of every patient of a space.
#[derive(Debug)]
pub struct Judgement {
    /// Each rule, in rule order: where it fires and where it stays quiet.
    pub rules: Vec<Pair>,
    /// Where some answer is ruled out by another one.
    pub ruled_out: Lit,
    /// Where a referral of each urgency or a more pressing one is established: routine, urgent, same-day.
    pub refers: [Lit; 3],
    /// Where nothing, known or missing, speaks against it.
    pub goes: Lit,
}

/// Reads conditions in the view of one rule set.
pub struct Reader<'a> {
    /// The formulas.
    pub logic: &'a mut Logic,
    /// The space.
    pub space: &'a Space,
    /// The rule set.
    pub rule_set: &'a RuleSet,
    /// Which view it has.
    pub view: usize,
}

impl Reader<'_> {
    /// Everything that the rules come to.
    pub fn judge(&mut self) -> Judgement {
        let ruled_out = self.ruled_out();
        let rule_set = self.rule_set;
        let rules: Vec<Pair> = rule_set.rules.iter().map(|it| self.pair(&it.when)).collect();
        let refers = [Urgency::Routine, Urgency::Urgent, Urgency::SameDay].map(|urgency| {
            let presses = |it: &crate::model::Rule| it.outcome == Outcome::Refer && it.urgency.unwrap_or(Urgency::Routine) >= urgency;
            let firing = rule_set.rules.iter().zip(&rules).filter(|(rule, _)| presses(rule)).map(|(_, it)| it.yes);
            self.logic.any(firing.collect::<Vec<_>>())
        });
        let barring = rule_set.rules.iter().zip(&rules).filter(|(rule, _)| rule.outcome > Outcome::Go).map(|(_, it)| it.no);
        let goes = self.logic.all(barring.collect::<Vec<_>>());
        Judgement { rules, ruled_out, refers, goes }
    }

    /// Where a condition is yes and where it is no.
    pub fn pair(&mut self, condition: &Condition) -> Pair {
        match condition {
            Condition::All(parts) => {
                let parts: Vec<Pair> = parts.iter().map(|it| self.pair(it)).collect();
                self.logic.all_of(&parts)
            }
            Condition::Any(parts) => {
                let parts: Vec<Pair> = parts.iter().map(|it| self.pair(it)).collect();
                self.logic.any_of(&parts)
            }
            Condition::Not(part) => self.pair(part).turned(),
            Condition::Taking { fact, medicines, at_least, .. } => self.taking(*fact, medicines, usize::from(*at_least)),
            Condition::AllergicTo { fact, substances, reactions, .. } => self.allergic(*fact, substances, reactions.as_ref()),
            Condition::Fact { fact, test } => self.test(*fact, test),
            Condition::Answers(Odds::RuledOut) => {
                let yes = self.ruled_out();
                Pair { yes, no: !yes }
            }
            Condition::Answers(Odds::NotOffered) => self.not_offered(),
        }
    }

    fn unknown(&self) -> Pair {
        Pair { yes: self.logic.never(), no: self.logic.never() }
    }

    fn taking(&mut self, fact: FactSlot, wanted: &Bits, n: usize) -> Pair {
        let Some(domain) = self.space.domain(self.view, fact) else { return self.unknown() };
        let Shape::Medicines { kinds, unrecognised } = &domain.shape else { return self.unknown() };
        let register = &self.rule_set.medicines;
        let mut among = Vec::new();
        let mut open = unrecognised.clone();
        // Several names of one medicine count once.
        let mut same: BTreeMap<usize, Vec<Lit>> = BTreeMap::new();
        for (kind, counts) in kinds {
            let Some(at) = kind.names.first().and_then(|it| recognised(register, it)) else {
                open.extend(counts);
                continue;
            };
            match (wanted.contains(at), kind.alone) {
                (false, _) => {}
                (true, false) => among.extend(counts),
                (true, true) => same.entry(at).or_default().extend(counts),
            }
        }
        among.extend(same.into_values().map(|it| self.logic.any(it)));
        let enough = self.logic.at_least(n, &among);
        let yes = self.logic.all([domain.known, enough]);
        among.extend(open);
        let maybe = self.logic.at_least(n, &among);
        Pair { yes, no: self.logic.all([domain.known, !maybe]) }
    }

    fn allergic(&mut self, fact: FactSlot, wanted: &Bits, only: Option<&Bits>) -> Pair {
        let Some(domain) = self.space.domain(self.view, fact) else { return self.unknown() };
        let Shape::Allergies(kinds) = &domain.shape else { return self.unknown() };
        let register = &self.rule_set.allergens;
        let (mut among, mut not_clear) = (Vec::new(), Vec::new());
        for (kind, lit) in kinds {
            let reaction = kind.reaction.as_ref().and_then(|it| register.reactions.iter().position(|(id, _)| id == it));
            let entry = super::lists::entry_of(register.names.get(&kind.to).cloned(), reaction);
            match entry_allergic(&entry, wanted, only) {
                Some(true) => among.push(*lit),
                Some(false) => not_clear.push(*lit),
                None => {}
            }
        }
        let any = self.logic.any(among);
        let yes = self.logic.all([domain.known, any]);
        // No only where every entry is clear of it.
        let others: Vec<Lit> = kinds.iter().map(|(_, it)| *it).filter(|it| !not_clear.contains(it)).collect();
        let possible = self.logic.any(others);
        Pair { yes, no: self.logic.all([domain.known, !possible]) }
    }

    fn test(&mut self, fact: FactSlot, test: &Test) -> Pair {
        let Some(domain) = self.space.domain(self.view, fact).cloned() else { return self.unknown() };
        let id_of = |at: &u16| self.rule_set.catalogue.options(fact).get(usize::from(*at)).map(|it| it.id.clone());
        match (&domain.shape, test) {
            (Shape::Choice(options), Test::OneOf(wanted) | Test::NoneOf(wanted)) => {
                let words: Vec<String> = if self.is_yes_no(fact) {
                    wanted.iter().map(|it| if *it == 1 { "yes".to_owned() } else { "no".to_owned() }).collect()
                } else {
                    wanted.iter().filter_map(id_of).collect()
                };
                let (inside, outside): (Vec<_>, Vec<_>) = options.iter().partition(|(id, _)| words.contains(id));
                let yes = self.logic.any(inside.iter().map(|(_, it)| *it));
                let no = self.logic.any(outside.iter().map(|(_, it)| *it));
                let pair = Pair { yes, no };
                if matches!(test, Test::NoneOf(_)) { pair.turned() } else { pair }
            }
            (Shape::Choices(options), Test::Includes(wanted)) => {
                let wanted: Vec<String> = wanted.iter().filter_map(id_of).collect();
                let inside: Vec<Lit> = options.iter().filter(|(id, _)| wanted.contains(id)).map(|(_, it)| *it).collect();
                let any = self.logic.any(inside);
                Pair { yes: self.logic.all([domain.known, any]), no: self.logic.all([domain.known, !any]) }
            }
            (Shape::Plan { agents, .. }, Test::Includes(wanted)) => {
                let ids: Vec<&String> =
                    wanted.iter().filter_map(|at| self.rule_set.agents.get(usize::from(*at))).map(|it| &it.id).collect();
                let inside: Vec<Lit> = agents.iter().filter(|(id, _)| ids.contains(&id)).map(|(_, it)| *it).collect();
                let any = self.logic.any(inside);
                Pair { yes: self.logic.all([domain.known, any]), no: self.logic.all([domain.known, !any]) }
            }
            (Shape::Number { cells, .. }, Test::Compare(..) | Test::Between(..)) => {
                let holds = |number: f64| match test {
                    Test::Compare(how, with) => crate::facts::holds::compares(*how, number, with.value),
                    Test::Between(low, high) => (low.value..=high.value).contains(&number),
                    _ => false,
                };
                let (inside, outside): (Vec<_>, Vec<_>) = cells.iter().partition(|(cell, _)| holds(super::arithmetic::some_number(cell)));
                Pair { yes: self.logic.any(inside.iter().map(|(_, it)| *it)), no: self.logic.any(outside.iter().map(|(_, it)| *it)) }
            }
            (Shape::Date { older, .. }, Test::OlderThan(limit) | Test::Within(limit)) => {
                let Some((_, older)) = older.iter().find(|(span, _)| *span == limit.span) else { return self.unknown() };
                let on = self.space.procedure_known(self.logic);
                let dated = self.logic.all([on, domain.known]);
                let pair = Pair { yes: self.logic.all([dated, *older]), no: self.logic.all([dated, !*older]) };
                if matches!(test, Test::Within(_)) { pair.turned() } else { pair }
            }
            // A day of the calendar. An example settles whether there is such a day.
            (Shape::Date { days, .. }, Test::Compare(how, with)) => {
                let is = match how {
                    Comparison::AtLeast => self.not_before(days, with.value),
                    Comparison::Above => self.not_before(days, with.value + 1.0),
                    Comparison::Below => !self.not_before(days, with.value),
                    Comparison::AtMost => !self.not_before(days, with.value + 1.0),
                };
                Pair { yes: self.logic.all([domain.known, is]), no: self.logic.all([domain.known, !is]) }
            }
            (Shape::Date { days, .. }, Test::Between(low, high)) => {
                let (from, after) = (self.not_before(days, low.value), self.not_before(days, high.value + 1.0));
                let is = self.logic.all([from, !after]);
                Pair { yes: self.logic.all([domain.known, is]), no: self.logic.all([domain.known, !is]) }
            }
            _ => self.unknown(),
        }
    }

    /// Where a date is this day of the calendar, or a later one.
    fn not_before(&self, days: &[(f64, Lit)], day: f64) -> Lit {
        days.iter().find(|(it, _)| *it >= day).map_or(self.logic.never(), |(_, it)| *it)
    }

    fn is_yes_no(&self, fact: FactSlot) -> bool {
        self.rule_set.catalogue.options(fact).is_empty()
    }

    fn known(&self, fact: FactSlot) -> Lit {
        self.space.domain(self.view, fact).map_or(self.logic.never(), |it| it.known)
    }

    /// Where a question is answered that certainly does not apply.
    fn ruled_out(&mut self) -> Lit {
        let rule_set = self.rule_set;
        let mut ways = Vec::new();
        for question in &rule_set.catalogue.questions {
            let not_asked = self.not_asked(question, &mut Vec::new());
            let known = self.known(question.slot);
            ways.push(self.logic.all([known, not_asked]));
        }
        self.logic.any(ways)
    }

    /// Where a question certainly does not apply, as `facts::holds` has it: gates behind gates count.
    fn not_asked(&mut self, question: &Question, way: &mut Vec<FactSlot>) -> Lit {
        match &question.ask_when {
            Some(when) if !way.contains(&question.slot) => {
                way.push(question.slot);
                let no = self.through_gates(when, way).no;
                way.pop();
                no
            }
            _ => self.logic.never(),
        }
    }

    fn through_gates(&mut self, condition: &Condition, way: &mut Vec<FactSlot>) -> Pair {
        match condition {
            Condition::All(parts) => {
                let parts: Vec<Pair> = parts.iter().map(|it| self.through_gates(it, way)).collect();
                self.logic.all_of(&parts)
            }
            Condition::Any(parts) => {
                let parts: Vec<Pair> = parts.iter().map(|it| self.through_gates(it, way)).collect();
                self.logic.any_of(&parts)
            }
            Condition::Not(part) => self.through_gates(part, way).turned(),
            Condition::Taking { fact, .. } | Condition::AllergicTo { fact, .. } | Condition::Fact { fact, .. } => {
                let pair = self.pair(condition);
                let rule_set = self.rule_set;
                let Some(gate) = rule_set.catalogue.question_of(*fact) else { return pair };
                let shut = self.not_asked(gate, way);
                let missing = !self.known(*fact);
                let shut = self.logic.all([missing, shut]);
                Pair { yes: pair.yes, no: self.logic.any([pair.no, shut]) }
            }
            Condition::Answers(_) => self.pair(condition),
        }
    }

    /// Where a choice of the plan is not among what the clinic offers, by its own file or by its local policy.
    fn not_offered(&mut self) -> Pair {
        let rule_set = self.rule_set;
        let (mut outside, mut open) = (Vec::new(), Vec::new());
        for question in rule_set.catalogue.questions.iter().filter(|it| it.can_be_offered()) {
            let Some(domain) = self.space.domain(self.view, question.slot).cloned() else { continue };
            let chosen = self.something(&domain);
            let mut listed = self.logic.never();
            if let Some((in_file, is_outside)) = self.space.offers.get(&question.id).copied() {
                listed = in_file;
                outside.push(self.logic.all([in_file, is_outside, chosen]));
            }
            if let Some(kept) = rule_set.local.as_ref().and_then(|it| it.offers.get(&question.slot)) {
                listed = self.logic.always();
                outside.push(self.beyond(question, kept, &domain));
            }
            let asked = !self.not_asked(question, &mut Vec::new());
            open.push(self.logic.all([listed, asked, !domain.known]));
            if let Shape::Plan { strengths, .. } = domain.shape {
                open.push(self.logic.all([listed, chosen, !strengths]));
            }
        }
        let yes = self.logic.any(outside);
        let open = self.logic.any(open);
        Pair { yes, no: self.logic.all([!yes, !open]) }
    }

    /// Where something is chosen: an empty list is within any offer.
    fn something(&mut self, domain: &Domain) -> Lit {
        match &domain.shape {
            Shape::Choices(options) | Shape::Plan { agents: options, .. } => self.logic.any(options.iter().map(|(_, it)| *it)),
            _ => domain.known,
        }
    }

    /// Where a choice is none of those to which the local policy keeps.
    fn beyond(&mut self, question: &Question, kept: &Offered, domain: &Domain) -> Lit {
        let rule_set = self.rule_set;
        let ways: Vec<Lit> = match (&domain.shape, kept) {
            (Shape::Choice(options) | Shape::Choices(options), Offered::Options(bits)) => {
                let place = |id: &str| match &question.answer {
                    Answer::OneOf(of) | Answer::SeveralOf(of) => of.iter().position(|it| it.id == id),
                    _ => Some(usize::from(id == "yes")),
                };
                let is_kept = |id: &str| place(id).is_some_and(|at| bits >> at & 1 == 1);
                options.iter().filter(|(id, _)| !is_kept(id)).map(|(_, it)| *it).collect()
            }
            (Shape::Plan { agents, solutions, .. }, Offered::Solutions(_)) => {
                let other = |id: &str, cell: &Cell| !listed(rule_set, id).into_iter().any(|it| cell.is_point() && cell.contains(it));
                let none = agents.iter().filter(|(id, _)| listed(rule_set, id).is_empty()).map(|(_, it)| *it);
                none.chain(solutions.iter().filter(|(id, cell, _)| other(id, cell)).map(|(_, _, it)| *it)).collect()
            }
            _ => Vec::new(),
        };
        self.logic.any(ways)
    }

    /// What the formula of each derived fact needs to be known, and what follows from answers alone.
    pub fn derive(&mut self) {
        for derived in &self.rule_set.catalogue.derived {
            let domain = self.space.domain(self.view, derived.slot).cloned();
            if let Some(domain) = domain {
                self.derive_one(derived, &domain);
            }
        }
    }

    fn role(&self, derived: &crate::model::Derived, role: usize) -> Option<FactSlot> {
        match derived.inputs.get(role)? {
            Input::Fact(slot) => Some(*slot),
            Input::Number(_) => None,
        }
    }

    /// Whether what a role is given is known; a number of a limit always is.
    fn role_known(&self, derived: &crate::model::Derived, role: usize) -> Lit {
        self.role(derived, role).map_or(self.logic.always(), |it| self.known(it))
    }

    fn options_of(&self, derived: &crate::model::Derived, role: usize) -> Vec<(String, Lit)> {
        let shape = self.role(derived, role).and_then(|it| self.space.domain(self.view, it)).map(|it| it.shape.clone());
        match shape {
            Some(Shape::Choice(options) | Shape::Choices(options)) => options,
            Some(Shape::Plan { agents, .. }) => agents,
            _ => Vec::new(),
        }
    }

    fn chosen(&self, derived: &crate::model::Derived, role: usize, id: &str) -> Lit {
        self.options_of(derived, role).into_iter().find(|(it, _)| it == id).map_or(self.logic.never(), |(_, it)| it)
    }

    /// Whether the plan of a role tells every strength and volume, as far as wanted.
    fn amounts(&self, derived: &crate::model::Derived, role: usize) -> (Lit, Lit) {
        let domain = self.role(derived, role).and_then(|it| self.space.domain(self.view, it));
        match domain.map(|it| &it.shape) {
            Some(Shape::Plan { strengths, volumes, .. }) => (*strengths, *volumes),
            _ => (self.logic.never(), self.logic.never()),
        }
    }

    fn derive_one(&mut self, derived: &crate::model::Derived, domain: &super::space::Domain) {
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
                    let earlier = self.logic.all([some_given, told, some]);
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
            Formula::SteroidDaily | Formula::SteroidDays => self.steroid(derived, domain),
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
    fn allowed(&mut self, load: &crate::model::Derived) -> Vec<Lit> {
        let ages = self.role(load, 3).and_then(|it| self.space.domain(self.view, it)).map(|it| it.shape.clone());
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
    fn age_beside_date(&mut self, age: &crate::model::Derived, domain: &super::space::Domain) {
        let born = self.role(age, 0).and_then(|it| self.space.domain(self.view, it)).map(|it| it.shape.clone());
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
    fn nothing_injected(&mut self, load: &crate::model::Derived, known: Lit) -> Lit {
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
    fn told(&mut self, derived: &crate::model::Derived, role: usize) -> Lit {
        let (strengths, volumes) = self.amounts(derived, role);
        let agents: Vec<Lit> = self.options_of(derived, role).into_iter().map(|(_, it)| it).collect();
        let none = !self.logic.any(agents);
        let both = self.logic.all([strengths, volumes]);
        let told = self.logic.any([none, both]);
        let known = self.role_known(derived, role);
        self.logic.all([known, told])
    }

    /// Whether the number of one role lies below the number of another, which is a limit's.
    fn below(&mut self, derived: &crate::model::Derived, role: usize, limit: usize) -> Lit {
        let Some(Input::Number(limit)) = derived.inputs.get(limit).copied() else { return self.logic.never() };
        let shape = self.role(derived, role).and_then(|it| self.space.domain(self.view, it)).map(|it| it.shape.clone());
        let Some(Shape::Number { cells, .. }) = shape else { return self.logic.never() };
        let below = cells.iter().filter(|(cell, _)| super::arithmetic::some_number(cell) < limit).map(|(_, it)| *it);
        self.logic.any(below.collect::<Vec<_>>())
    }

    /// Whether the number of a role lies above another, at which it is cut.
    fn above(&mut self, derived: &crate::model::Derived, role: usize, than: f64) -> Lit {
        let shape = self.role(derived, role).and_then(|it| self.space.domain(self.view, it)).map(|it| it.shape.clone());
        let Some(Shape::Number { cells, .. }) = shape else { return self.logic.never() };
        let above = cells.iter().filter(|(cell, _)| super::arithmetic::some_number(cell) > than).map(|(_, it)| *it);
        self.logic.any(above.collect::<Vec<_>>())
    }

    fn sides(&mut self, derived: &crate::model::Derived, role: usize) -> (Lit, Lit) {
        let options = self.options_of(derived, role);
        let side = |logic: &mut Logic, prefix: &str| {
            logic.any(options.iter().filter(|(id, _)| id.starts_with(prefix)).map(|(_, it)| *it).collect::<Vec<_>>())
        };
        (side(self.logic, "left-"), side(self.logic, "right-"))
    }

    /// Where no adrenaline is planned, or no anaesthetic at all.
    fn without_adrenaline(&mut self, total: &crate::model::Derived) -> Lit {
        let agents: Vec<Lit> = self.options_of(total, 0).into_iter().map(|(_, it)| it).collect();
        let plan = self.role_known(total, 0);
        let none = self.logic.any(agents);
        let no_plan = self.logic.all([plan, !none]);
        let no = self.chosen(total, 1, "no");
        self.logic.any([no, no_plan])
    }

    fn steroid(&mut self, derived: &crate::model::Derived, domain: &super::space::Domain) {
        let shape = self.role(derived, 0).and_then(|it| self.space.domain(self.view, it)).cloned();
        let Some(super::space::Domain { known: list, shape: Shape::Medicines { kinds, unrecognised } }) = shape else { return };
        let steroids: Vec<Lit> = kinds.iter().filter(|(it, _)| it.steroid).flat_map(|(_, it)| it.first().copied()).collect();
        let strangers: Vec<Lit> = kinds
            .iter()
            .filter(|(it, _)| it.known_to.get(self.view) != Some(&true))
            .flat_map(|(_, it)| it.first().copied())
            .chain(unrecognised.first().copied())
            .collect();
        let clear = !self.logic.any(strangers);
        let readable = self.logic.all([list, clear]);
        self.logic.implies(domain.known, readable);
        let some = self.logic.any(steroids);
        let none = self.logic.all([readable, !some]);
        self.logic.implies(none, domain.known);
        self.zero_where(domain, none);
    }

    /// The number is zero there.
    fn zero_where(&mut self, domain: &super::space::Domain, there: Lit) {
        if let Shape::Number { cells, .. } = &domain.shape {
            let zero = cells.iter().find(|(it, _)| it.contains(0.0)).map(|(_, it)| *it);
            self.logic.require([!there].into_iter().chain(zero));
        }
    }

    fn sum_is(&mut self, domain: &super::space::Domain, parts: &[(Lit, i64)]) {
        let parts: Vec<(Lit, i64)> = parts.iter().map(|(lit, n)| (*lit, n * 100)).collect();
        self.sum_in_hundredths_is(domain, &parts);
    }

    /// The number is the sum of the parts chosen.
    fn sum_in_hundredths_is(&mut self, domain: &super::space::Domain, parts: &[(Lit, i64)]) {
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
