//! An approval that is dated after the day of the check.

use crate::document::diagnostic::Code;
use crate::workbench::lint::{Remark, Subject};
use crate::workbench::places::Entry;

/// A remark on the approval.
pub(crate) fn find(subject: &Subject<'_>) -> Option<Remark> {
    let approval = subject
        .rule_set
        .approval
        .as_ref()
        .filter(|it| it.on > subject.as_of)?;
    let file = subject.files.entry("ruleset.yaml");
    let entry = file
        .and_then(|head| {
            Some(Entry {
                source: head.source,
                node: head.node.get("approval")?,
            })
        })
        .or(file);
    let title = format!(
        "the approval is dated {}, and that day has not come",
        approval.on
    );
    Some(Remark::new(Code::ApprovalAhead, &subject.rule_set.id, title).on(entry, "on", "not yet"))
}
