//! Derived facts that nothing looks at.

use crate::document::diagnostic::Code;
use crate::workbench::lint::limit_unused::used;
use crate::workbench::lint::{Remark, Subject};

/// Derived facts that nothing looks at.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let used = used(subject.files);
    let derived = subject
        .rule_set
        .catalogue
        .derived
        .iter()
        .filter(|it| !used.facts.contains(it.id.as_str()));
    derived
        .map(|it| {
            let title = format!("nothing looks at `{}`", it.id);
            Remark::on(
                Code::DerivedUnused,
                &it.id,
                subject.files.derived(&it.id),
                "id",
                title,
                "used nowhere",
            )
        })
        .collect()
}
