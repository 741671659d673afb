//! A rule set that promises nothing.

use super::{Remark, Subject};
use crate::diagnostic::Code;

/// A remark on the rule set.
pub fn find(subject: &Subject<'_>) -> Option<Remark> {
    let rule_set = subject.rule_set;
    let title = "the rule set states no guarantee".to_owned();
    let file = subject.files.entry("ruleset.yaml");
    let remark = || Remark::on(Code::NoGuarantees, &rule_set.id, file, "id", title, "nothing is guaranteed");
    rule_set.guarantees.is_empty().then(remark)
}
