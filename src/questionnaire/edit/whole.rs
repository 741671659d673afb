//! A questionnaire that was read from anywhere, as the text of a file.

use crate::document::source::{Node, NodeKind, Source};
use crate::questionnaire::edit::scalar::{is_plain_number, scalar};
use crate::questionnaire::facts::Gathered;
use crate::rule_set::{Answer, RuleSet};

/// The text of a questionnaire's file that says what this one says, in the order of the questions. Answers that nobody wrote
/// down are left out.
pub fn written_out(rule_set: &RuleSet, reference: &str, answers: &Gathered) -> String {
    let mut lines = vec![
        "questionnaire: 1".to_owned(),
        format!("for: {}", rule_set.id),
        format!("reference: {}", scalar(reference)),
    ];
    if let Some((day, _)) = &answers.completed_on {
        lines.push(format!("completed_on: {day}"));
    }
    lines.push("answers:".to_owned());
    let catalogue = &rule_set.catalogue;
    let note = |section: &str, indent: &str| {
        let notes = answers.notes.iter();
        let texts: Vec<&str> = notes
            .filter(|it| it.section == section)
            .map(|it| it.text.as_str())
            .collect();
        (!texts.is_empty()).then(|| format!("{indent}note: {}", scalar(&texts.join("\n"))))
    };
    for (at, section) in catalogue.sections.entries() {
        let questions = catalogue.questions.entries();
        let here = questions.filter(|(_, it)| it.section == at);
        let mut inner: Vec<String> = here
            .filter_map(|(question, it)| Some((it, answers.given.get(&question)?)))
            .filter(|(_, given)| given.node.kind != NodeKind::Null)
            .map(|(it, given)| {
                let is_number = matches!(it.answer, Answer::Number { .. });
                let written = value(&given.node, &given.source, is_number);
                format!("    {}: {written}", it.name())
            })
            .collect();
        inner.extend(note(&section.id, "    "));
        if !inner.is_empty() {
            lines.push(format!("  {}:", section.id));
            lines.append(&mut inner);
        }
    }
    lines.extend(note("", ""));
    lines.join("\n") + "\n"
}

/// A value as it stands behind its key, on one line; a number in a text is one where numbers are asked for.
fn value(node: &Node, source: &Source, is_number: bool) -> String {
    match &node.kind {
        NodeKind::Null => String::new(),
        NodeKind::Bool(true) => "yes".to_owned(),
        NodeKind::Bool(false) => "no".to_owned(),
        NodeKind::Number(_) => node.shown(source).to_owned(),
        NodeKind::Text(word) if ["yes", "no"].contains(&word.as_str()) => word.clone(),
        NodeKind::Text(text) if is_number && is_plain_number(text) => text.clone(),
        NodeKind::Text(text) => scalar(text),
        NodeKind::List(items) => {
            let items: Vec<String> = items
                .iter()
                .map(|it| value(it, source, is_number))
                .collect();
            format!("[{}]", items.join(", "))
        }
        NodeKind::Map(entries) => {
            let entries: Vec<String> = entries
                .iter()
                .map(|it| match value(&it.value, source, is_number) {
                    nothing if nothing.is_empty() => format!("{}: null", it.key),
                    written => format!("{}: {written}", it.key),
                })
                .collect();
            format!("{{ {} }}", entries.join(", "))
        }
    }
}
