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
        .map(|derived| {
            let title = format!("nothing looks at `{}`", derived.id);
            Remark::on(
                Code::DerivedUnused,
                &derived.id,
                subject.files.derived(&derived.id),
                "id",
                title,
                "used nowhere",
            )
        })
        .collect()
}
