//! Conditions over an encoding, dual-rail: where each is certainly yes and where certainly no, by the tables of
//! `questionnaire::facts::truth_of`. What counts of each answer is settled first (`applicability`, and `derived` in turn).

use std::collections::BTreeMap;
use std::rc::Rc;

use batsat::Lit;

use crate::exact::branch_and_bound::some_number;
use crate::exact::cells::Cell;
use crate::exact::domain::{AllergyKind, Domain, MedicineKind, Shape, lits, lits_if};
use crate::exact::encoding::Encoding;
use crate::exact::lists::{entry_of, listed, recognised};
use crate::exact::tseitin::{DualRail, Tseitin};
use crate::outcome::{Outcome, Urgency};
use crate::questionnaire::facts::truth_of::{compares, entry_allergic};
use crate::rule_set::words::option_ids;
use crate::rule_set::{
    Bits, Comparison, Condition, Conflict, Idx, Medicine, Offered, Question, Reaction, Rule,
    RuleSet, Substance, Table, Test,
};
use crate::truth::FactSlot;

/// What one rule set makes of every patient of a space.
#[derive(Debug)]
pub struct Judgement {
    /// Each rule, in rule order: where it fires and where it stays quiet.
    pub rules: Table<DualRail, Rule>,
    /// Where some answer contradicts another one, which rules it out, and where certainly none does.
    pub ruled_out: DualRail,
    /// Where a referral of each urgency or a more pressing one is established: routine, urgent, same-day.
    pub refers: [Lit; 3],
    /// Where nothing, known or missing, speaks against it.
    pub goes: Lit,
    /// What counts of what was given.
    pub(super) counted: CountingAnswers,
}

/// What counts of what was given.
#[derive(Debug, Clone)]
pub(super) struct CountingAnswers {
    /// Of each fact, by slot; what was given, until it is settled.
    pub domains: Vec<Option<Rc<Domain>>>,
    /// Where each question applies, and where it certainly does not.
    pub applies: Table<DualRail, Question>,
    /// Where some answer contradicts another one, and where certainly none does.
    pub ruled_out: DualRail,
}

/// What rules come to, each told by its outcome, its urgency and its state: where a referral of each urgency or a more
/// pressing one is established, and where everybody goes.
pub(crate) fn verdict(
    solver: &mut Tseitin,
    rules: &[(Outcome, Option<Urgency>, DualRail)],
) -> ([Lit; 3], Lit) {
    let refers = [Urgency::Routine, Urgency::Urgent, Urgency::SameDay].map(|least| {
        let presses = |outcome: Outcome, urgency: Option<Urgency>| {
            outcome == Outcome::Refer && urgency.unwrap_or(Urgency::Routine) >= least
        };
        solver.any(
            rules
                .iter()
                .filter(|(outcome, urgency, _)| presses(*outcome, *urgency))
                .map(|(.., state)| state.yes),
        )
    });
    let goes = solver.all(
        rules
            .iter()
            .filter(|(outcome, ..)| *outcome > Outcome::Go)
            .map(|(.., state)| state.no),
    );
    (refers, goes)
}

/// Reads conditions in the view of one rule set.
pub(crate) struct Reader<'a> {
    /// The formulas.
    pub solver: &'a mut Tseitin,
    /// The space.
    pub encoding: &'a Encoding,
    /// The rule set.
    pub rule_set: &'a RuleSet,
    /// Which view it has.
    pub view: usize,
    /// What counts of what was given.
    pub(super) counted: CountingAnswers,
}

impl<'a> Reader<'a> {
    /// A reader of what was given, before it is settled what of it counts.
    pub(crate) fn new(
        solver: &'a mut Tseitin,
        encoding: &'a Encoding,
        rule_set: &'a RuleSet,
        view: usize,
    ) -> Self {
        let facts = rule_set.catalogue.facts.indices();
        let given = facts.map(|it| encoding.domain(view, it).cloned().map(Rc::new));
        let counted = CountingAnswers {
            domains: given.collect(),
            applies: Table::default(),
            ruled_out: solver.constant(Some(false)),
        };
        Self {
            solver,
            encoding,
            rule_set,
            view,
            counted,
        }
    }

    /// What counts of a fact.
    pub(super) fn domain(&self, fact: FactSlot) -> Option<Rc<Domain>> {
        self.counted.domains.get(fact.index()).cloned().flatten()
    }

    /// Where the question of a fact applies, and where it certainly does not.
    pub(super) fn applies(&self, fact: FactSlot) -> DualRail {
        let questions = self.rule_set.catalogue.questions.iter();
        let own = questions.zip(&self.counted.applies);
        let mut own = own
            .filter(|(it, _)| it.slot == fact || it.date_slot == Some(fact))
            .map(|(_, it)| *it);
        own.next_back().unwrap_or(self.solver.constant(Some(true)))
    }

    /// Everything that the rules come to.
    pub(crate) fn judge(&mut self) -> Judgement {
        let rule_set = self.rule_set;
        let judging = rule_set.judging.iter();
        let rules: Table<DualRail, Rule> = judging.map(|it| self.pair(&it.when)).collect();
        let asking = rule_set.judging.iter().zip(&rules);
        let asking: Vec<_> = asking
            .map(|(rule, state)| (rule.outcome, rule.urgency, *state))
            .collect();
        let (refers, goes) = verdict(self.solver, &asking);
        Judgement {
            rules,
            ruled_out: self.counted.ruled_out,
            refers,
            goes,
            counted: self.counted.clone(),
        }
    }

    /// Where a condition is yes and where it is no.
    pub(crate) fn pair(&mut self, condition: &Condition) -> DualRail {
        self.pair_of(condition, &Self::tested)
    }

    /// Where a condition is yes and where it is no, if each test in it is so.
    pub(crate) fn pair_of(
        &mut self,
        condition: &Condition,
        tested: &dyn Fn(&mut Self, &Condition) -> DualRail,
    ) -> DualRail {
        match condition {
            Condition::All(parts) => {
                let parts = parts.iter().map(|it| self.pair_of(it, tested));
                let parts: Vec<DualRail> = parts.collect();
                self.solver.all_of(&parts)
            }
            Condition::Any(parts) => {
                let parts = parts.iter().map(|it| self.pair_of(it, tested));
                let parts: Vec<DualRail> = parts.collect();
                self.solver.any_of(&parts)
            }
            Condition::Not(part) => self.pair_of(part, tested).turned(),
            test => tested(self, test),
        }
    }

    /// Where a test is yes and where it is no.
    fn tested(&mut self, test: &Condition) -> DualRail {
        match test {
            Condition::All(_) | Condition::Any(_) | Condition::Not(_) => self.pair(test),
            Condition::Taking {
                fact,
                medicines,
                at_least,
                ..
            } => self.taking(*fact, medicines, usize::from(*at_least)),
            Condition::AllergicTo {
                fact,
                substances,
                reactions,
                ..
            } => self.allergic(*fact, substances, reactions.as_ref()),
            Condition::Fact { fact, test } => self.test(*fact, test),
            Condition::Answers(Conflict::RuledOut) => self.counted.ruled_out,
            Condition::Answers(Conflict::NotOffered) => self.not_offered(),
            Condition::Answers(Conflict::Unread) => self.unread(),
        }
    }

    fn unknown(&self) -> DualRail {
        self.solver.constant(None)
    }

    fn taking(&mut self, fact: FactSlot, wanted: &Bits<Medicine>, n: usize) -> DualRail {
        let Some(domain) = self.domain(fact) else {
            return self.unknown();
        };
        let Shape::Medicines {
            kinds,
            unrecognised,
        } = &domain.shape
        else {
            return self.unknown();
        };
        let register = &self.rule_set.medicines;
        let mut among = Vec::new();
        let mut open = unrecognised.clone();
        // Several names of one medicine count once.
        let mut same: BTreeMap<Idx<Medicine>, Vec<Lit>> = BTreeMap::new();
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
        among.extend(same.into_values().map(|it| self.solver.any(it)));
        let enough = self.solver.at_least(n, &among);
        let yes = self.solver.all([domain.known, enough]);
        among.extend(open);
        let maybe = self.solver.at_least(n, &among);
        DualRail {
            yes,
            no: self.solver.all([domain.known, !maybe]),
        }
    }

    fn allergic(
        &mut self,
        fact: FactSlot,
        wanted: &Bits<Substance>,
        only: Option<&Bits<Reaction>>,
    ) -> DualRail {
        let Some(domain) = self.domain(fact) else {
            return self.unknown();
        };
        let Shape::Allergies(kinds) = &domain.shape else {
            return self.unknown();
        };
        let register = &self.rule_set.allergens;
        let (mut among, mut not_clear) = (Vec::new(), Vec::new());
        for (kind, lit) in kinds {
            let reaction = kind
                .reaction
                .as_ref()
                .and_then(|it| register.reactions.position(|known| known.id == *it));
            let entry = entry_of(register.names.get(&kind.to).cloned(), reaction);
            match entry_allergic(&entry, wanted, only) {
                Some(true) => among.push(*lit),
                Some(false) => not_clear.push(*lit),
                None => {}
            }
        }
        let any = self.solver.any(among);
        let yes = self.solver.all([domain.known, any]);
        // No only where every entry is clear of it.
        let others = lits(kinds).into_iter();
        let possible = self.solver.any(others.filter(|it| !not_clear.contains(it)));
        DualRail {
            yes,
            no: self.solver.all([domain.known, !possible]),
        }
    }

    fn test(&mut self, fact: FactSlot, test: &Test) -> DualRail {
        let Some(domain) = self.domain(fact) else {
            return self.unknown();
        };
        match (&domain.shape, test) {
            (Shape::Choice(options), Test::OneOf(wanted) | Test::NoneOf(wanted)) => {
                let wanted = option_ids(self.rule_set, fact, wanted);
                let pair = DualRail {
                    yes: self.solver.any(lits_if(options, |id| wanted.contains(id))),
                    no: self.solver.any(lits_if(options, |id| !wanted.contains(id))),
                };
                if matches!(test, Test::NoneOf(_)) {
                    pair.turned()
                } else {
                    pair
                }
            }
            (Shape::Choices(options), Test::Includes(wanted)) => {
                let wanted = option_ids(self.rule_set, fact, wanted);
                let any = self.solver.any(lits_if(options, |id| wanted.contains(id)));
                self.solver.where_known(domain.known, any)
            }
            (Shape::Plan { agents, .. }, Test::Includes(wanted)) => {
                let wanted = option_ids(self.rule_set, fact, wanted);
                let any = self.solver.any(lits_if(agents, |id| wanted.contains(id)));
                self.solver.where_known(domain.known, any)
            }
            (Shape::Number { cells, .. }, Test::Compare(..) | Test::Between(..)) => {
                let holds = |number: f64| match test {
                    Test::Compare(how, with) => compares(*how, number, with.value),
                    Test::Between(low, high) => (low.value..=high.value).contains(&number),
                    _ => false,
                };
                let inside = |cell: &Cell| holds(some_number(cell));
                DualRail {
                    yes: self.solver.any(lits_if(cells, inside)),
                    no: self.solver.any(lits_if(cells, |it| !inside(it))),
                }
            }
            (Shape::Date { older, .. }, Test::OlderThan(limit) | Test::Within(limit)) => {
                let Some((_, older)) = older.iter().find(|(span, _)| *span == limit.span) else {
                    return self.unknown();
                };
                let on = self.encoding.procedure_known(self.solver);
                let dated = self.solver.all([on, domain.known]);
                let pair = self.solver.where_known(dated, *older);
                if matches!(test, Test::Within(_)) {
                    pair.turned()
                } else {
                    pair
                }
            }
            // A day of the calendar. An example settles whether there is such a day.
            (Shape::Date { days, .. }, Test::Compare(how, with)) => {
                let is = match how {
                    Comparison::AtLeast => self.not_before(days, with.value),
                    Comparison::Above => self.not_before(days, with.value + 1.0),
                    Comparison::Below => !self.not_before(days, with.value),
                    Comparison::AtMost => !self.not_before(days, with.value + 1.0),
                };
                self.solver.where_known(domain.known, is)
            }
            (Shape::Date { days, .. }, Test::Between(low, high)) => {
                let (from, after) = (
                    self.not_before(days, low.value),
                    self.not_before(days, high.value + 1.0),
                );
                let is = self.solver.all([from, !after]);
                self.solver.where_known(domain.known, is)
            }
            _ => self.unknown(),
        }
    }

    /// Where a date is this day of the calendar, or a later one.
    fn not_before(&self, days: &[(f64, Lit)], day: f64) -> Lit {
        days.iter()
            .find(|(it, _)| *it >= day)
            .map_or(self.solver.never(), |(_, it)| *it)
    }

    /// Where the clinic answers a question for every patient.
    pub(super) fn by_clinic(&self, question: &Question) -> Lit {
        let standing = self.encoding.standing.get(&question.id);
        standing.copied().unwrap_or(self.solver.never())
    }

    pub(super) fn known(&self, fact: FactSlot) -> Lit {
        self.domain(fact).map_or(self.solver.never(), |it| it.known)
    }

    /// Where every list of names is read; nowhere is it certain that some name is not.
    fn unread(&mut self) -> DualRail {
        let catalogue = &self.rule_set.catalogue;
        let mut read = Vec::new();
        for slot in [catalogue.medicines, catalogue.allergies]
            .into_iter()
            .flatten()
        {
            let Some(domain) = self.domain(slot) else {
                continue;
            };
            let unread: Vec<Lit> = match &domain.shape {
                Shape::Medicines {
                    kinds,
                    unrecognised,
                } => {
                    let is_known = |kind: &MedicineKind| {
                        kind.names
                            .first()
                            .and_then(|it| recognised(&self.rule_set.medicines, it))
                            .is_some()
                    };
                    let strange = kinds
                        .iter()
                        .filter(|(it, _)| !is_known(it))
                        .flat_map(|(_, it)| it);
                    strange.chain(unrecognised).copied().collect()
                }
                Shape::Allergies(kinds) => {
                    let is_known =
                        |it: &AllergyKind| self.rule_set.allergens.names.contains_key(&it.to);
                    lits_if(kinds, |it| !is_known(it))
                }
                _ => Vec::new(),
            };
            let some = self.solver.any(unread);
            let whole = self.solver.all([domain.known, !some]);
            let shut = [!domain.known, self.applies(slot).no];
            let shut = self.solver.all(shut);
            read.push(self.solver.any([whole, shut]));
        }
        DualRail {
            yes: self.solver.never(),
            no: self.solver.all(read),
        }
    }

    /// Where a choice of the plan is not among what the clinic offers, by its own file or by its local policy.
    fn not_offered(&mut self) -> DualRail {
        let rule_set = self.rule_set;
        let (mut outside, mut open) = (Vec::new(), Vec::new());
        for question in rule_set
            .catalogue
            .questions
            .iter()
            .filter(|it| it.can_be_offered())
        {
            let Some(domain) = self.domain(question.slot) else {
                continue;
            };
            let chosen = self.something(&domain);
            let mut listed = self.solver.never();
            // A standing choice is open while its method is: another one would set it aside.
            let standing = self.by_clinic(question);
            let settled = self
                .solver
                .any([!standing, self.applies(question.slot).yes]);
            if let Some((in_file, is_outside)) = self.encoding.offers.get(&question.id).copied() {
                listed = in_file;
                let beyond = self.solver.all([in_file, is_outside, chosen]);
                outside.push(self.solver.all([beyond, settled]));
                open.push(self.solver.all([beyond, !settled]));
            }
            if let Some(kept) = rule_set
                .local
                .as_ref()
                .and_then(|it| it.offers.get(&question.slot))
            {
                listed = self.solver.always();
                let beyond = self.beyond(question, kept, &domain);
                outside.push(self.solver.all([beyond, settled]));
                open.push(self.solver.all([beyond, !settled]));
            }
            let asked = !self.applies(question.slot).no;
            open.push(self.solver.all([listed, asked, !domain.known]));
            if let Shape::Plan { strengths, .. } = domain.shape {
                open.push(self.solver.all([listed, chosen, !strengths]));
            }
        }
        let yes = self.solver.any(outside);
        let open = self.solver.any(open);
        DualRail {
            yes,
            no: self.solver.all([!yes, !open]),
        }
    }

    /// Where something is chosen: an empty list is within any offer.
    fn something(&mut self, domain: &Domain) -> Lit {
        match &domain.shape {
            shape @ (Shape::Choices(_) | Shape::Plan { .. }) => self.solver.any(shape.parts()),
            _ => domain.known,
        }
    }

    /// Where a choice is none of those to which the local policy keeps.
    fn beyond(&mut self, question: &Question, kept: &Offered, domain: &Domain) -> Lit {
        let rule_set = self.rule_set;
        let ways: Vec<Lit> = match (&domain.shape, kept) {
            (Shape::Choice(options) | Shape::Choices(options), Offered::Options(bits)) => {
                let is_kept =
                    |id: &str| question.option_at(id).is_some_and(|at| bits >> at & 1 == 1);
                lits_if(options, |id| !is_kept(id))
            }
            (
                Shape::Plan {
                    agents, solutions, ..
                },
                Offered::Solutions(_),
            ) => {
                let other = |id: &str, cell: &Cell| {
                    !listed(rule_set, id)
                        .into_iter()
                        .any(|it| cell.is_point() && cell.contains(it))
                };
                let mut ways = lits_if(agents, |id| listed(rule_set, id).is_empty());
                let others = solutions.iter().filter(|(id, cell, _)| other(id, cell));
                ways.extend(others.map(|(.., it)| *it));
                ways
            }
            _ => Vec::new(),
        };
        self.solver.any(ways)
    }
}
