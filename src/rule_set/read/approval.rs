//! Approval and withdrawal, as ruleset.yaml records them.

use crate::document::diagnostic::Code;
use crate::document::reading::{Reading, Tells};
use crate::document::source::Node;
use crate::rule_set::read::registers::date;
use crate::rule_set::{Approval, Status, Withdrawal};

/// What stands before a digest.
const KIND: &str = "sha256:";

/// The approval, if one is recorded.
pub(crate) fn approval(reading: &mut Reading<'_>, root: &Node) -> Option<Approval> {
    let node = root.get("approval")?;
    let digest = reading
        .needed(node, "digest")
        .and_then(|it| it.strip_prefix(KIND).map(str::to_owned));
    let (by, on) = (reading.list(node, "by"), date(reading, node, "on"));
    let approval = digest
        .zip(on)
        .filter(|_| !by.is_empty())
        .map(|(digest, on)| Approval { digest, by, on });
    if approval.is_none() {
        reading.pass_over(node, "a digest, roles and a day");
    }
    approval
}

/// The withdrawal, if one is recorded.
pub(crate) fn withdrawal(reading: &mut Reading<'_>, root: &Node) -> Option<Withdrawal> {
    let node = root.get("withdrawn")?;
    let (by, on) = (reading.list(node, "by"), date(reading, node, "on"));
    let because = reading.needed(node, "because");
    let withdrawal = because
        .zip(on)
        .filter(|_| !by.is_empty())
        .map(|(because, on)| Withdrawal { on, by, because });
    if withdrawal.is_none() {
        reading.pass_over(node, "a day, roles and a reason");
    }
    withdrawal
}

/// Whether what is recorded is what the status needs; reports what is missing. That nothing stands there which the status
/// excludes is the schema's matter.
pub(crate) fn fits(reading: &mut Reading<'_>, root: &Node, status: Status) -> bool {
    let (needed, help) = match status {
        Status::Draft => return true,
        Status::Approved => (
            "approval",
            "add `approval:` with `digest`, `by` and `on`; `preblock rules check` of the draft prints the digest",
        ),
        Status::Withdrawn => (
            "withdrawn",
            "add `withdrawn:` with `on`, `by` and `because`",
        ),
    };
    if root.get(needed).is_some() {
        return true;
    }
    if let Some(place) = root.get("status") {
        let title = format!("the rule set is {} and has no `{needed}`", status.word());
        let label = format!("`{needed}` is missing");
        reading
            .wrong(Code::MissingKey, place, title, label)
            .help(help);
    }
    false
}
