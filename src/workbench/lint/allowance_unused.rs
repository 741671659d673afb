//! Allowances that allow nothing.

use crate::document::diagnostic::{Code, Diagnostic};
use crate::workbench::lint::{Remark, Subject};

/// An allowance that fits none of the remarks made so far.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let fits =
        |remark: &Remark, lint, on: &str| remark.diagnostic.code == lint && remark.about == on;
    let unused = subject.allowances.iter().filter(|allowance| {
        !subject
            .earlier
            .borrow()
            .iter()
            .any(|remark| fits(remark, allowance.lint, &allowance.on))
    });
    unused
        .map(|allowance| {
            let title = format!(
                "`{}` says nothing about `{}`",
                allowance.lint.name(),
                allowance.on
            );
            let diagnostic = Diagnostic::at(
                Code::AllowanceUnused,
                &allowance.source,
                &allowance.span,
                title,
                "allows nothing",
            );
            Remark {
                diagnostic,
                about: format!("the allowance on {}", allowance.on),
            }
        })
        .collect()
}
