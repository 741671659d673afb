//! A rule set that promises nothing.

use crate::document::diagnostic::Code;
use crate::workbench::lint::{Remark, Subject};

/// A remark on the rule set.
pub(crate) fn find(subject: &Subject<'_>) -> Option<Remark> {
    let rule_set = subject.rule_set;
    let title = "the rule set states no guarantee".to_owned();
    let file = subject.files.entry("ruleset.yaml");
    let remark = || {
        Remark::new(Code::NoGuarantees, &rule_set.id, title).on(file, "id", "nothing is guaranteed")
    };
    rule_set.guarantees.is_empty().then(remark)
}
