//! Allowances that allow nothing.

use crate::document::diagnostic::{Code, Diagnostic};
use crate::workbench::lint::{Remark, Subject};

/// An allowance that fits none of the remarks made so far.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let fits =
        |remark: &Remark, lint, on: &str| remark.diagnostic.code == lint && remark.about == on;
    let unused = subject.allowances.iter().filter(|it| {
        !subject
            .earlier
            .borrow()
            .iter()
            .any(|remark| fits(remark, it.lint, &it.on))
    });
    unused
        .map(|it| {
            let title = format!("`{}` says nothing about `{}`", it.lint.name(), it.on);
            let diagnostic = Diagnostic::at(
                Code::AllowanceUnused,
                &it.source,
                &it.span,
                title,
                "allows nothing",
            );
            Remark {
                diagnostic,
                about: format!("the allowance on {}", it.on),
            }
        })
        .collect()
}
