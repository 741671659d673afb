//! Rules that no questionnaire can make fire. Decided over the whole space.

use crate::document::diagnostic::Code;
use crate::exact::{Found, Witness};
use crate::outcome::State;
use crate::rule_set::{Condition, Conflict};
use crate::workbench::cases::CaseRun;
use crate::workbench::lint::{Remark, Subject};

/// A remark on each rule that cannot fire.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let mut found = Vec::new();
    for (at, rule) in subject.rule_set.rule_entries() {
        // A worked case in which it fires, and no answer is ruled out, settles it.
        let shows = |it: &CaseRun| {
            it.state(at) == Some(State::Fires) && it.facts.conflicts(Conflict::RuledOut).is_empty()
        };
        if subject.runs.iter().any(shows) {
            continue;
        }
        let Some(mut decider) = subject.decider() else {
            break;
        };
        let [judged] = &decider.judgements;
        let (yes, ruled_out) = (judged.rules[at].yes, judged.ruled_out.yes);
        let fires = |seen: &[Witness]| seen.iter().all(|it| it.states[at] == State::Fires);
        let title = match decider.find(&[yes, !ruled_out], &fires) {
            Found::Example(_) => continue,
            Found::Open(fact) => {
                found.push(subject.undecided(rule, &fact, "it can fire"));
                continue;
            }
            Found::Never => match decider.find(&[yes], &fires) {
                Found::Never => format!(
                    "`{}` can never fire: no questionnaire meets its condition",
                    rule.id
                ),
                // Rules on contradictions are meant so.
                _ if rule.when.has(|it| matches!(it, Condition::Answers(_))) => continue,
                _ => format!(
                    "`{}` fires only beside answers that rule one another out",
                    rule.id
                ),
            },
        };
        found.push(subject.on_rule(Code::NeverFires, rule, "when", title, "never met"));
    }
    found
}
