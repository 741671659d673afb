//! In which order facts are settled, and whether some hang on themselves.

use crate::document::diagnostic::Code;
use crate::document::reading::{Reading, Tells};
use crate::document::source::Node;
use crate::rule_set::{
    Bits, Catalogue, Condition, Dependent, FactKind, Idx, Question, Table, Test,
};
use crate::truth::{FactSlot, Slot};

/// What hangs on other facts, each after everything it hangs on, with all of that. A circle is reported where it closes.
pub(crate) fn turns(
    reading: &mut Reading<'_>,
    catalogue: &Catalogue,
    asked: &Table<&Node, Question>,
) -> Vec<(Dependent, Bits<Slot>)> {
    let behind = catalogue
        .facts
        .indices()
        .map(|at| Bits::from_iter([at]))
        .collect();
    let mut order = Order {
        catalogue,
        way: Vec::new(),
        done: Vec::new(),
        behind,
        circle: None,
    };
    for slot in catalogue.facts.indices() {
        order.settle(slot);
        if let Some((question, way)) = order.circle.take()
            && let Some(place) = asked[question].get("ask_when")
        {
            let title = format!(
                "whether `{}` is asked hangs on itself",
                catalogue.questions[question].id
            );
            let help = format!(
                "the circle is {}: ask one of them without the others",
                way.join(", which hangs on ")
            );
            reading
                .wrong(Code::Circle, place, title, "leads back here")
                .help(help);
        }
    }
    order.done
}

/// A walk over everything that facts hang on.
struct Order<'a> {
    catalogue: &'a Catalogue,
    /// The turns between the start and here.
    way: Vec<Dependent>,
    done: Vec<(Dependent, Bits<Slot>)>,
    /// For each slot, itself and everything that it hangs on; complete once its turn is done.
    behind: Table<Bits<Slot>, Slot>,
    /// A question that hangs on itself, and the ids on the way round.
    circle: Option<(Idx<Question>, Vec<String>)>,
}

impl Order<'_> {
    fn settle(&mut self, slot: FactSlot) {
        let (turn, own, hangs_on) = match self.catalogue.fact(slot).kind {
            FactKind::Derived(at) => {
                let inputs = self.catalogue.derived[at].inputs.iter();
                let slots = inputs.filter_map(|input| input.fact());
                (Dependent::Derived(at), vec![slot], slots.collect())
            }
            FactKind::Question(at) | FactKind::TakenOn(at) => {
                let question = &self.catalogue.questions[at];
                let Some(when) = &question.ask_when else {
                    return;
                };
                (
                    Dependent::Question(at),
                    question
                        .date_slot
                        .into_iter()
                        .chain([question.slot])
                        .collect(),
                    self.looked_at(when),
                )
            }
        };
        if self.done.iter().any(|(it, _)| *it == turn) {
            return;
        }
        if let Some(from) = self.way.iter().position(|it| *it == turn) {
            let round = || self.way.iter().skip(from);
            let question = round().find_map(|dependent| {
                if let Dependent::Question(at) = dependent {
                    Some(*at)
                } else {
                    None
                }
            });
            let ids = round()
                .chain([&turn])
                .map(|it| format!("`{}`", self.id(*it)))
                .collect();
            self.circle = question.map(|it| (it, ids));
            return;
        }
        self.way.push(turn);
        let mut behind: Bits<Slot> = own.iter().copied().collect();
        for it in hangs_on {
            self.settle(it);
            behind.extend(&self.behind[it]);
        }
        self.way.pop();
        for it in own {
            self.behind[it].clone_from(&behind);
        }
        self.done.push((turn, behind));
    }

    /// Everything that a condition looks at; ages count to the day of surgery.
    fn looked_at(&self, when: &Condition) -> Vec<FactSlot> {
        let mut found = when.facts();
        when.visit(&mut |condition| {
            if let Condition::Fact {
                test: Test::OlderThan(_) | Test::Within(_),
                ..
            } = condition
            {
                found.extend(self.catalogue.procedure_on);
            }
        });
        found
    }

    fn id(&self, turn: Dependent) -> &str {
        match turn {
            Dependent::Question(at) => &self.catalogue.questions[at].id,
            Dependent::Derived(at) => &self.catalogue.derived[at].id,
        }
    }
}
