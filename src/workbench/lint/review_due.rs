//! Reviews that soon will be overdue.

use chrono::TimeDelta;

use crate::document::diagnostic::Code;
use crate::workbench::lint::review_overdue::told;
use crate::workbench::lint::{Remark, Subject};

/// How long before its day a review is told.
const NEAR: TimeDelta = TimeDelta::days(60);

/// What must be reviewed soon.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let as_of = subject.as_of;
    told(subject, Code::ReviewDue, "due by", &|by| {
        as_of <= by && by <= as_of + NEAR
    })
}
