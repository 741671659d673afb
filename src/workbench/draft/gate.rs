//! What comes before a question: rules name it first, so that a patient for whom the question is not asked is settled.

use crate::rule_set::files::RuleFiles;
use crate::rule_set::{Condition, FactType, Question, RuleSet, Test};

use crate::document::flow::flow;
use crate::rule_set::words::option_ids;
use crate::workbench::draft::forms::quoted;

/// The condition under which a question is asked, as a rule writes it; `None` if it always is.
pub(crate) fn condition(files: &RuleFiles, question: &Question) -> Option<String> {
    question.ask_when.as_ref()?;
    let entry = files.question(&question.id)?;
    Some(flow(entry.source, entry.node.get("ask_when")?))
}

/// Answers with which a question is asked, and those that its gates need in turn; question and answer as a case writes
/// them. `None` if nothing simple opens the gate.
pub(crate) fn answers(rule_set: &RuleSet, question: &Question) -> Option<Vec<(String, String)>> {
    match &question.ask_when {
        None => Some(Vec::new()),
        Some(when) => fulfilled(rule_set, when),
    }
}

fn fulfilled(rule_set: &RuleSet, condition: &Condition) -> Option<Vec<(String, String)>> {
    let catalogue = &rule_set.catalogue;
    let (slot, answer) = match condition {
        Condition::All(parts) => {
            return parts.iter().try_fold(Vec::new(), |all, it| {
                Some([all, fulfilled(rule_set, it)?].concat())
            });
        }
        Condition::Any(parts) => return parts.iter().find_map(|it| fulfilled(rule_set, it)),
        Condition::Taking {
            fact,
            medicines,
            at_least: 1,
            ..
        } => {
            let first = &rule_set.medicines.medicines[medicines.iter().next()?];
            (*fact, format!("[{}]", quoted(&first.name)))
        }
        Condition::Fact {
            fact,
            test: Test::OneOf(options),
        } => (*fact, option_ids(rule_set, *fact, options).first()?.clone()),
        Condition::Fact {
            fact,
            test: Test::Includes(options),
        } if catalogue.fact(*fact).fact_type == FactType::SeveralOf => (
            *fact,
            format!("[{}]", option_ids(rule_set, *fact, options).first()?),
        ),
        _ => return None,
    };
    let question = catalogue
        .question_of(slot)
        .filter(|it| it.slot == slot && !it.dated)?;
    let mut all = answers(rule_set, question)?;
    all.retain(|(id, _)| *id != question.id);
    all.push((question.id.clone(), answer));
    Some(all)
}
