//! Rules that never fire but beside another one of the same or a worse outcome. Decided over the whole space.
//!
//! A precaution beside a precaution is not "subsumed", unless both are for just the same patients:
//! each says what to do.

use crate::document::diagnostic::Code;
use crate::exact::{Found, Witness};
use crate::outcome::Outcome;
use crate::outcome::State;
use crate::workbench::lint::{Remark, Subject};

/// A remark on each such rule, with the rule that is always there.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let rule_set = subject.rule_set;
    let mut found = Vec::new();
    for (at, rule) in rule_set.rule_entries() {
        // Who could be there always: whoever fires in every case in which this one does.
        let firing: Vec<_> = subject
            .runs
            .iter()
            .filter(|it| it.state(at) == Some(State::Fires))
            .collect();
        if firing.is_empty() {
            continue;
        }
        let beside = rule_set.rule_entries().filter(|(other, worse)| {
            *other != at
                && firing
                    .iter()
                    .all(|it| it.state(*other) == Some(State::Fires))
                && (worse.outcome, worse.urgency) >= (rule.outcome, rule.urgency)
        });
        for (other, worse) in beside {
            let Some(mut decider) = subject.decider() else {
                return found;
            };
            let [judged] = &decider.judgements;
            let (own, there) = (judged.rules[at], judged.rules[other]);
            let ruled_out = judged.ruled_out.yes;
            // Two precautions each say what to do; one is too many only if they are for just the same patients.
            if worse.outcome == Outcome::Go
                && decider.solver.possible(&[there.yes, !own.yes, !ruled_out])
            {
                continue;
            }
            let alone = |seen: &[Witness]| {
                seen.iter()
                    .all(|it| it.states[at] == State::Fires && it.states[other] != State::Fires)
            };
            match decider.find(&[own.yes, !there.yes, !ruled_out], &alone) {
                Found::Example(_) => continue,
                Found::Open(fact) => {
                    let whether = format!("it can fire without `{}`", worse.id);
                    found.push(subject.undecided(rule, &fact, &whether));
                    continue;
                }
                Found::Never => {}
            }
            let title = format!(
                "`{}` never fires but beside `{}`, which asks for {}",
                rule.id,
                worse.id,
                worse.outcome.word()
            );
            let remark = subject.on_rule(Code::Subsumed, rule, "when", title, "never alone");
            found.push(remark.also(subject.files.rule(&worse.id), "when", "always there, too"));
            break;
        }
    }
    found
}
