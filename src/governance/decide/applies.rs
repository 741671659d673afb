//! Which answers count over a space, as `facts::sift` has it: one that is harmless alone counts once its question applies.

use std::rc::Rc;

use batsat::Lit;

use super::logic::Pair;
use super::space::{Domain, Shape};
use super::truths::Reader;
use crate::model::{Answer, Condition, Question, Turn};
use crate::truth::FactSlot;

impl Reader<'_> {
    /// Settles everything that hangs on other facts, in turn: which answers count, and what derived facts come to.
    pub fn settle(&mut self) {
        let rule_set = self.rule_set;
        let (mut at_odds, mut fit) = (Vec::new(), Vec::new());
        let always = Pair { yes: self.logic.always(), no: self.logic.never() };
        self.applies = rule_set.catalogue.questions.iter().map(|_| always).collect();
        for (turn, _) in &rule_set.catalogue.turns {
            match *turn {
                Turn::Derived(at) => self.derive(&rule_set.catalogue.derived[at]),
                Turn::Question(at) => {
                    let question = &rule_set.catalogue.questions[at];
                    let Some(when) = &question.ask_when else { continue };
                    let applies = self.asked(when);
                    self.applies[at] = applies;
                    let hazard = self.place(question, applies);
                    at_odds.push(self.logic.all([hazard, applies.no]));
                    fit.push(self.logic.any([!hazard, applies.yes]));
                }
            }
        }
        self.ruled_out = Pair { yes: self.logic.any(at_odds), no: self.logic.all(fit) };
    }

    /// Where the question of a fact applies, and where it certainly does not.
    pub(super) fn applies(&self, fact: FactSlot) -> Pair {
        let own = self.rule_set.catalogue.questions.iter().zip(&self.applies);
        let mut own = own.filter(|(it, _)| it.slot == fact || it.date_slot == Some(fact)).map(|(_, it)| *it);
        own.next_back().unwrap_or(Pair { yes: self.logic.always(), no: self.logic.never() })
    }

    fn asked(&mut self, when: &Condition) -> Pair {
        match when {
            Condition::All(parts) => {
                let parts: Vec<Pair> = parts.iter().map(|it| self.asked(it)).collect();
                self.logic.all_of(&parts)
            }
            Condition::Any(parts) => {
                let parts: Vec<Pair> = parts.iter().map(|it| self.asked(it)).collect();
                self.logic.any_of(&parts)
            }
            Condition::Not(part) => self.asked(part).turned(),
            Condition::Taking { fact, .. } | Condition::AllergicTo { fact, .. } | Condition::Fact { fact, .. } => {
                let pair = self.pair(when);
                // Nobody will ever answer it.
                let shut = [!self.known(*fact), self.applies(*fact).no];
                let shut = self.logic.all(shut);
                Pair { yes: pair.yes, no: self.logic.any([pair.no, shut]) }
            }
            Condition::Answers(_) => self.pair(when),
        }
    }

    /// Lets the answer to a question count, or not.
    ///
    /// # Returns
    /// Where it is answered, and not harmlessly.
    fn place(&mut self, question: &Question, applies: Pair) -> Lit {
        let Some(given) = self.space.domain(self.view, question.slot).cloned() else { return self.logic.never() };
        let harmless = self.harmless(question, &given.shape);
        // A standing answer of the clinic contradicts nothing, and counts until the question certainly does not apply.
        let standing = self.space.standing.get(&question.id).copied().unwrap_or(self.logic.never());
        let hazard = self.logic.all([given.known, !harmless, !standing]);
        let stands = self.logic.all([standing, !applies.no]);
        let counts = self.logic.any([hazard, applies.yes, stands]);
        let known = self.logic.all([given.known, counts]);
        let otherwise = question.otherwise.map(|it| question.option_id(it).to_owned());
        // Nothing else can be so where the question does not apply, and what is answered so is so in any case.
        let instead = self.logic.all([applies.no, !hazard]);
        let shape = match given.shape {
            Shape::Choice(options) => Shape::Choice(
                options
                    .into_iter()
                    .map(|(id, lit)| {
                        let lit =
                            if otherwise.as_ref() == Some(&id) { self.logic.any([lit, instead]) } else { self.logic.all([lit, counts]) };
                        (id, lit)
                    })
                    .collect(),
            ),
            Shape::Choices(options) => Shape::Choices(options.into_iter().map(|(id, lit)| (id, self.logic.all([lit, counts]))).collect()),
            Shape::Number { cells, whole } => {
                Shape::Number { cells: cells.into_iter().map(|(cell, lit)| (cell, self.logic.all([lit, counts]))).collect(), whole }
            }
            shape => shape,
        };
        let known = match &shape {
            Shape::Choice(options) if otherwise.is_some() => self.logic.any(options.iter().map(|(_, it)| *it).collect::<Vec<_>>()),
            _ => known,
        };
        self.count(question.slot, Domain { known, shape });
        let date = question.date_slot.and_then(|slot| Some((slot, self.space.domain(self.view, slot).cloned()?)));
        if let Some((slot, date)) = date {
            let known = self.logic.all([date.known, counts]);
            self.count(slot, Domain { known, shape: date.shape });
        }
        hazard
    }

    fn count(&mut self, slot: FactSlot, domain: Domain) {
        if let Some(place) = self.counting.get_mut(slot.index()) {
            *place = Some(Rc::new(domain));
        }
    }

    /// Where an answer, if there is one, is harmless alone.
    fn harmless(&mut self, question: &Question, shape: &Shape) -> Lit {
        if question.harmless_alone {
            return self.logic.always();
        }
        let is_hazard = |id: &str| {
            let at = match &question.answer {
                Answer::OneOf(options) | Answer::SeveralOf(options) => options.iter().position(|it| it.id == id),
                _ => Some(usize::from(id == "yes")),
            };
            !at.and_then(|it| u16::try_from(it).ok()).is_some_and(|it| question.is_harmless_option(it))
        };
        let hazards: Vec<Lit> = match shape {
            Shape::Choice(options) | Shape::Choices(options) => options.iter().filter(|(id, _)| is_hazard(id)).map(|(_, it)| *it).collect(),
            Shape::Plan { agents, .. } => agents.iter().map(|(_, it)| *it).collect(),
            Shape::Allergies(kinds) => kinds.iter().map(|(_, it)| *it).collect(),
            Shape::Medicines { kinds, unrecognised } => kinds.iter().flat_map(|(_, it)| it).chain(unrecognised).copied().collect(),
            Shape::Text => Vec::new(),
            Shape::Number { .. } | Shape::Date { .. } => vec![self.logic.always()],
        };
        !self.logic.any(hazards)
    }
}
