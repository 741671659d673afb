//! Rules that no questionnaire can make fire. Decided over the whole space.

use crate::document::diagnostic::Code;
use crate::exact::Found;
use crate::outcome::State;
use crate::rule_set::Conflict;
use crate::workbench::lint::{Remark, Subject};

/// A remark on each rule that cannot fire.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let mut found = Vec::new();
    for (at, rule) in subject.rule_set.rule_entries() {
        // A worked case in which it fires, and no answer is ruled out, settles it.
        let shown = |it: &crate::workbench::cases::CaseRun| it.state(at) == Some(State::Fires);
        if subject
            .runs
            .iter()
            .any(|it| shown(it) && it.facts.conflicts(Conflict::RuledOut).is_empty())
        {
            continue;
        }
        let entry = subject.files.rule(&rule.id);
        let Some(mut decider) = subject.decider() else {
            break;
        };
        let Some((yes, ruled_out)) = decider
            .judgements
            .first()
            .map(|it| (it.rules[at].yes, it.ruled_out.yes))
        else {
            continue;
        };
        let fires =
            |seen: &[crate::exact::Witness]| seen.iter().all(|it| it.states[at] == State::Fires);
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
                _ if crate::workbench::lint::looks_for_contradictions(&rule.when) => continue,
                _ => format!(
                    "`{}` fires only beside answers that rule one another out",
                    rule.id
                ),
            },
        };
        found.push(Remark::on(
            Code::NeverFires,
            &rule.id,
            entry,
            "when",
            title,
            "never met",
        ));
    }
    found
}
