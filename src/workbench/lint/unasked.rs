//! Rules that can wait for an answer in a situation in which nobody asks for it. Decided over the whole space.

use std::collections::{BTreeMap, BTreeSet};

use crate::exact::Lit;

use crate::document::diagnostic::Code;
use crate::exact::domain::Shape;
use crate::exact::{Decider, Encoding, Found, Judgement, Witness};
use crate::outcome::State;
use crate::questionnaire::facts::derive::behind;
use crate::questionnaire::facts::truth_of::truth;
use crate::rule_set::{FactKind, Idx, Question, Rule};
use crate::screening::explain;
use crate::truth::{FactSlot, Truth};
use crate::workbench::lint::{Remark, Subject};

/// A remark on each rule and question.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let catalogue = &subject.rule_set.catalogue;
    let Some(after) = subject.decider().and_then(|mut it| After::new(&mut it)) else {
        return Vec::new();
    };
    let mut found = Vec::new();
    for (at, rule) in subject.rule_set.rule_entries() {
        let facts = rule.when.facts().into_iter();
        let needed: BTreeSet<FactSlot> =
            facts.flat_map(|it| behind(subject.rule_set, it)).collect();
        for slot in needed {
            if let (FactKind::Question(_), Some(question)) =
                (catalogue.fact(slot).kind, catalogue.question_of(slot))
            {
                found.extend(one(subject, &after, at, question));
            }
        }
    }
    found
}

/// The same patient with some answers more.
struct After {
    space: Encoding,
    judged: Judgement,
    /// For each answer, that it is not one of those that came.
    as_before: BTreeMap<String, Vec<Lit>>,
}

impl After {
    /// Ties a second patient to the one of a decider.
    fn new(decider: &mut Decider<'_>) -> Option<Self> {
        let (space, judged) = decider.answered_further(&[]).ok()??;
        let mut as_before = BTreeMap::new();
        for (name, before) in decider
            .encoding
            .domains
            .iter()
            .filter(|(name, _)| !name.starts_with("derived."))
        {
            let Some(after) = space.domains.get(name) else {
                continue;
            };
            let mut lits = vec![decider.solver.any([before.known, !after.known])];
            if let (
                Shape::Plan {
                    strengths: a,
                    volumes: b,
                    ..
                },
                Shape::Plan {
                    strengths: c,
                    volumes: d,
                    ..
                },
            ) = (&before.shape, &after.shape)
            {
                lits.push(decider.solver.any([*a, !*c]));
                lits.push(decider.solver.any([*b, !*d]));
            }
            as_before.insert(name.clone(), lits);
        }
        Some(Self {
            space,
            judged,
            as_before,
        })
    }
}

/// Whether a rule can be open so that one answer alone settles it, where that answer is not asked for.
fn one(subject: &Subject<'_>, after: &After, at: Idx<Rule>, question: &Question) -> Option<Remark> {
    // Where it is not asked, what is so otherwise is known.
    let when = question
        .ask_when
        .as_ref()
        .filter(|_| question.otherwise.is_none())?;
    let rule = &subject.rule_set.judging[at];
    let mut decider = subject.decider()?;
    let [judged] = &decider.judgements;
    let pair = judged.rules[at];
    let settled = after.judged.rules[at];
    let known = decider.encoding.domain(0, question.slot)?.known;
    let not_asked = decider.pair(when).no;
    let mut together = vec![!pair.yes, !pair.no, not_asked, !known];
    // Where every answer would be set aside, none settles it; an example shows whether it waits for one.
    if !question.harmless_alone {
        together.extend([
            after.space.domain(0, question.slot)?.known,
            decider.solver.any([settled.yes, settled.no]),
        ]);
        together.extend(
            after
                .as_before
                .iter()
                .filter(|(name, _)| **name != question.id)
                .flat_map(|(_, it)| it),
        );
    }
    if !decider.solver.possible(&together) {
        return None;
    }
    let waits = |seen: &[Witness]| {
        seen.iter().all(|witness| {
            witness.states[at] == State::Undetermined
                && explain::waits_for(&rule.when, &witness.facts).contains(&question.slot)
                && truth(when, &witness.facts) == Truth::No
        })
    };
    match decider.find(&together, &waits) {
        Found::Example(_) => {
            let title = format!(
                "`{}` can wait for `{}` where that is not asked",
                rule.id, question.id
            );
            let remark = subject.on_rule(Code::Unasked, rule, "when", title, "waits for it");
            Some(remark.help(format!(
                "name first in the condition what `ask_when` of `{}` names, give it `otherwise` (yes-no and one-of), or let it be asked",
                question.id
            )))
        }
        Found::Never => None,
        Found::Open(fact) => Some(subject.undecided(
            rule,
            &fact,
            &format!("it can wait for `{}` unasked", question.id),
        )),
    }
}
