//! Rules with texts that are still to be written. Such a rule loads and its cases run, so that it can be worked on; it
//! is reported by `rules check`, and an approved rule set with one does not load.

use std::sync::Arc;

use super::written::Written;
use crate::diagnostic::{Code, Diagnostic};
use crate::model::{Basis, Piece, Rule};
use crate::source::{Node, Source};

/// How such a text begins, in any case.
pub const TO_BE_WRITTEN: &str = "To be written:";

/// Whether a text is still to be written.
fn open(text: &str) -> bool {
    text.trim_start().get(..TO_BE_WRITTEN.len()).is_some_and(|it| it.eq_ignore_ascii_case(TO_BE_WRITTEN))
}

/// Whether some text of a rule is still to be written.
pub fn is_draft(rule: &Rule) -> bool {
    let texts = [Some(&rule.reason), Some(&rule.action), rule.refer_to.as_ref(), rule.cleared_by.as_ref()];
    let of_texts = texts.into_iter().flatten().filter_map(|it| it.pieces.first());
    let of_citations = rule.citations.iter().any(|it| match &it.basis {
        Basis::CommonPractice(text) | Basis::LocalProposal(text) => open(text),
        Basis::Published(_) => it.at.as_deref().is_some_and(open),
    });
    open(&rule.title) || of_citations || of_texts.into_iter().any(|it| matches!(it, Piece::Words(words) if open(words)))
}

/// Every text of a rule set's rules that is still to be written, at its place, with the full id of its rule.
pub fn unwritten(written: &Written) -> Vec<(String, Diagnostic)> {
    let mut found = Vec::new();
    for (concern, rule) in written.rules() {
        let id = rule.node.get("id").and_then(|it| it.written(rule.source)).unwrap_or_default();
        let mut texts = Vec::new();
        look(rule.source, id, "rule", rule.node, &mut texts);
        found.extend(texts.into_iter().map(|it| (format!("{concern}/{id}"), it)));
    }
    found
}

/// Looks through the texts below a key.
pub fn look(source: &Arc<Source>, rule: &str, key: &str, node: &Node, found: &mut Vec<Diagnostic>) {
    if node.text().is_some_and(open) {
        let title = format!("the `{key}` of rule `{rule}` is still to be written");
        found.push(Diagnostic::at(Code::ToBeWritten, source, &node.span, title, "to be written"));
    }
    node.entries().iter().for_each(|it| look(source, rule, &it.key, &it.value, found));
    node.items().iter().for_each(|it| look(source, rule, key, it, found));
}
