//! Derived facts that nothing looks at.

use crate::document::diagnostic::Code;
use crate::rule_set::Derived;
use crate::workbench::lint::limit_unused::used;
use crate::workbench::lint::{Remark, Subject};

/// Derived facts that nothing looks at.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let used = used(subject.files);
    let derived = subject.rule_set.catalogue.derived.iter();
    let unused = derived.filter(|it| !used.facts.contains(it.id.as_str()));
    let remark = |derived: &Derived| {
        let title = format!("nothing looks at `{}`", derived.id);
        let entry = subject.files.derived(&derived.id);
        Remark::new(Code::DerivedUnused, &derived.id, title).on(entry, "id", "used nowhere")
    };
    unused.map(remark).collect()
}
