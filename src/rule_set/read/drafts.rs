//! Rules with texts that are still to be written, and concerns without a rule. Such a rule loads and its cases run, so that it
//! can be worked on; it is reported by `rules check`, and an approved rule set with one does not load.
//!
//! A draft of a rule loads, so that it can be worked on, and is never approved: its texts begin
//! with `To be written:`.

use std::sync::Arc;

use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::source::{Node, Source};

/// How such a text begins, in any case.
pub(crate) const TO_BE_WRITTEN: &str = "To be written:";

/// Whether a text is still to be written.
fn open(text: &str) -> bool {
    text.trim_start()
        .get(..TO_BE_WRITTEN.len())
        .is_some_and(|it| it.eq_ignore_ascii_case(TO_BE_WRITTEN))
}

/// That a concern has no rule yet, at its place.
pub(crate) fn without_rules(source: &Arc<Source>, concern: &Node) -> Option<Diagnostic> {
    let rules = concern.get("rules").filter(|it| it.items().is_empty())?;
    let id = concern.get("concern").map_or("", |it| it.shown(source));
    let title = format!("the first rule of concern `{id}` is still to be written");
    let help = format!(
        "`preblock rules new {id}/NAME` drafts one; until then no report says that `{id}` was looked at"
    );
    Some(Diagnostic::at(Code::ToBeWritten, source, rules, title, "no rule").help(help))
}

/// Every text of a rule that is still to be written, at its place.
pub fn unwritten(source: &Arc<Source>, rule: &Node) -> Vec<Diagnostic> {
    let id = rule.get("id").map_or("", |it| it.shown(source));
    let mut found = Vec::new();
    look(source, id, "rule", rule, &mut found);
    found
}

/// Looks through the texts below a key.
pub(crate) fn look(
    source: &Arc<Source>,
    rule: &str,
    key: &str,
    node: &Node,
    found: &mut Vec<Diagnostic>,
) {
    if node.text().is_some_and(open) {
        let title = format!("the `{key}` of rule `{rule}` is still to be written");
        let label = "to be written";
        found.push(Diagnostic::at(
            Code::ToBeWritten,
            source,
            node,
            title,
            label,
        ));
    }
    node.entries()
        .iter()
        .for_each(|it| look(source, rule, &it.key, &it.value, found));
    node.items()
        .iter()
        .for_each(|it| look(source, rule, key, it, found));
}
