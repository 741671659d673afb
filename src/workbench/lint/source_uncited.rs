//! Sources that nothing cites.

use crate::document::diagnostic::Code;
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
    unused
        .map(|publication| {
            let title = format!("nothing cites `{}`", publication.id);
            Remark::on(
                Code::SourceUncited,
                &publication.id,
                subject.files.publication(&publication.id),
                "id",
                title,
                "cited nowhere",
            )
        })
        .collect()
}
