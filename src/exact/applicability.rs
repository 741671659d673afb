//! Which answers count over an encoding, as `questionnaire::facts::applicability` has it: one that is harmless alone counts once its question applies.

use std::rc::Rc;

use batsat::Lit;

use crate::exact::conditions::Reader;
use crate::exact::domain::{Domain, Shape, lits, lits_if};
use crate::exact::tseitin::DualRail;
use crate::rule_set::{Condition, Dependent, Question};
use crate::truth::FactSlot;

/// Settles everything that hangs on other facts, in turn: which answers count, and what derived facts come to.
pub(crate) fn settle(reader: &mut Reader<'_>) {
    let rule_set = reader.rule_set;
    let (mut conflicts, mut fit) = (Vec::new(), Vec::new());
    let always = reader.solver.constant(Some(true));
    let questions = rule_set.catalogue.questions.iter();
    reader.counted.applies = questions.map(|_| always).collect();
    for (turn, _) in &rule_set.catalogue.turns {
        match *turn {
            Dependent::Derived(at) => reader.derive(&rule_set.catalogue.derived[at]),
            Dependent::Question(at) => {
                let question = &rule_set.catalogue.questions[at];
                let Some(when) = &question.ask_when else {
                    continue;
                };
                let applies = reader.asked(when);
                reader.counted.applies[at] = applies;
                let hazard = reader.place(question, applies);
                conflicts.push(reader.solver.all([hazard, applies.no]));
                fit.push(reader.solver.any([!hazard, applies.yes]));
            }
        }
    }
    reader.counted.ruled_out = DualRail {
        yes: reader.solver.any(conflicts),
        no: reader.solver.all(fit),
    };
}

impl Reader<'_> {
    fn asked(&mut self, when: &Condition) -> DualRail {
        self.pair_of(when, &|reader, test| {
            let mut pair = reader.pair(test);
            for fact in test.facts() {
                // Nobody will ever answer it.
                let shut = [!reader.known(fact), reader.applies(fact).no];
                let shut = reader.solver.all(shut);
                pair.no = reader.solver.any([pair.no, shut]);
            }
            pair
        })
    }

    /// Lets the answer to a question count, or not.
    ///
    /// # Returns
    /// Where it is answered, and not harmlessly.
    fn place(&mut self, question: &Question, applies: DualRail) -> Lit {
        let Some(given) = self.encoding.domain(self.view, question.slot).cloned() else {
            return self.solver.never();
        };
        let harmless = self.harmless(question, &given.shape);
        // A standing answer of the clinic contradicts nothing, and counts until the question certainly does not apply.
        let standing = self.by_clinic(question);
        let hazard = self.solver.all([given.known, !harmless, !standing]);
        let stands = self.solver.all([standing, !applies.no]);
        let counts = self.solver.any([hazard, applies.yes, stands]);
        let known = self.solver.all([given.known, counts]);
        let otherwise = question
            .otherwise
            .map(|it| question.option_id(it).to_owned());
        // Nothing else can be so where the question does not apply, and what is answered so is so in any case.
        let instead = self.solver.all([applies.no, !hazard]);
        let mut shape = given.shape;
        match &mut shape {
            Shape::Choice(options) => {
                for (id, lit) in options {
                    *lit = if otherwise.as_ref() == Some(id) {
                        self.solver.any([*lit, instead])
                    } else {
                        self.solver.all([*lit, counts])
                    };
                }
            }
            Shape::Choices(options) => {
                for (_, lit) in options {
                    *lit = self.solver.all([*lit, counts]);
                }
            }
            Shape::Number { cells, .. } => {
                for (_, lit) in cells {
                    *lit = self.solver.all([*lit, counts]);
                }
            }
            _ => {}
        }
        let known = match &shape {
            Shape::Choice(options) if otherwise.is_some() => self.solver.any(lits(options)),
            _ => known,
        };
        self.count(question.slot, Domain { known, shape });
        let date = question
            .date_slot
            .and_then(|slot| Some((slot, self.encoding.domain(self.view, slot).cloned()?)));
        if let Some((slot, date)) = date {
            let known = self.solver.all([date.known, counts]);
            self.count(
                slot,
                Domain {
                    known,
                    shape: date.shape,
                },
            );
        }
        hazard
    }

    fn count(&mut self, slot: FactSlot, domain: Domain) {
        if let Some(place) = self.counted.domains.get_mut(slot.index()) {
            *place = Some(Rc::new(domain));
        }
    }

    /// Where an answer, if there is one, is harmless alone.
    fn harmless(&mut self, question: &Question, shape: &Shape) -> Lit {
        if question.harmless_alone {
            return self.solver.always();
        }
        let is_hazard = |id: &str| {
            !question
                .option_at(id)
                .is_some_and(|it| question.is_harmless_option(it))
        };
        let hazards: Vec<Lit> = match shape {
            Shape::Choice(options) | Shape::Choices(options) => {
                lits_if(options, |id| is_hazard(id))
            }
            Shape::Number { .. } | Shape::Date { .. } => vec![self.solver.always()],
            list => list.parts(),
        };
        !self.solver.any(hazards)
    }
}
