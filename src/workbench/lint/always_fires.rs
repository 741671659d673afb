//! Rules that every questionnaire makes fire. Decided over the whole space.

use crate::document::diagnostic::Code;
use crate::exact::Found;
use crate::outcome::State;
use crate::workbench::lint::{Remark, Subject};

/// A remark on each rule that always fires.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let mut found = Vec::new();
    for (at, rule) in subject.rule_set.rule_entries() {
        if subject
            .runs
            .iter()
            .any(|run| run.state(at).is_some_and(|it| it != State::Fires))
        {
            continue;
        }
        let Some(mut decider) = subject.decider() else {
            break;
        };
        let [judged] = &decider.judgements;
        let yes = judged.rules[at].yes;
        match decider.find(&[!yes], &|seen| {
            seen.iter().all(|it| it.states[at] != State::Fires)
        }) {
            Found::Example(_) => {}
            Found::Open(fact) => found.push(subject.undecided(rule, &fact, "it always fires")),
            Found::Never => {
                let title = format!("`{}` always fires, whatever is answered", rule.id);
                found.push(subject.on_rule(Code::AlwaysFires, rule, "when", title, "always met"));
            }
        }
    }
    found
}
