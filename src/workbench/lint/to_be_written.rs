//! Texts of rules that are still to be written, and concerns that have no rule yet.

use crate::rule_set::read::drafts::{unwritten, without_rules};
use crate::workbench::lint::{Remark, Subject};

/// A remark on each of them.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let mut found = Vec::new();
    for concern in &subject.rule_set.concerns {
        let file = subject.files.file(&format!("concerns/{}.yaml", concern.id));
        let parsed = file.and_then(|it| it.parsed(&mut Vec::new()));
        let remark = |diagnostic| Remark {
            diagnostic,
            about: concern.id.clone(),
        };
        found.extend(
            parsed
                .and_then(|it| without_rules(&it.source, &it.root))
                .map(remark),
        );
    }
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
