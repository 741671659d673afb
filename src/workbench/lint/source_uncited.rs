//! Sources that nothing cites.

use crate::document::diagnostic::Code;
use crate::rule_set::Publication;
use crate::workbench::lint::limit_unused::used;
use crate::workbench::lint::{Remark, Subject};

/// Sources that nothing cites, nor names as what replaced another.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let used = used(subject.files);
    let unused = subject
        .rule_set
        .publications
        .iter()
        .filter(|it| !it.is_used && !used.sources.contains(it.id.as_str()));
    let remark = |source: &Publication| {
        let title = format!("nothing cites `{}`", source.id);
        let entry = subject.files.publication(&source.id);
        Remark::new(Code::SourceUncited, &source.id, title).on(entry, "id", "cited nowhere")
    };
    unused.map(remark).collect()
}
