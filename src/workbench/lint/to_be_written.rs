//! Texts of rules that are still to be written.

use crate::rule_set::read::drafts::unwritten;
use crate::workbench::lint::{Remark, Subject};

/// A remark on each of them.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let mut found = Vec::new();
    for (concern, rule) in subject.files.rules() {
        let id = rule.node.get("id").map_or("", |it| it.shown(rule.source));
        let remark = |diagnostic| Remark {
            diagnostic,
            about: format!("{concern}/{id}"),
        };
        found.extend(unwritten(rule.source, rule.node).into_iter().map(remark));
    }
    found
}
