//! A local policy as JSON: every change, whether it loosens the rule set, and whether its review is overdue.

use serde::Serialize;

use super::digest;
use crate::screening::{LocalShown, LocalStamp};

#[derive(Serialize)]
pub struct LocalPolicy<'a> {
    clinic: &'a str,
    path: &'a str,
    digest: String,
    changes: Vec<Change<'a>>,
}

#[derive(Serialize)]
struct Change<'a> {
    kind: &'static str,
    about: &'a str,
    what: &'a str,
    reason: &'a str,
    agreed_by: &'a str,
    agreed_on: String,
    review_by: String,
    loosens: &'static str,
    how: Option<&'a str>,
    overdue: bool,
}

impl<'a> LocalPolicy<'a> {
    pub fn of(it: &'a LocalStamp) -> Self {
        Self {
            clinic: &it.clinic,
            path: &it.source.path,
            digest: digest(&it.source.digest),
            changes: it.changes.iter().map(Change::of).collect(),
        }
    }
}

impl<'a> Change<'a> {
    fn of(shown: &'a LocalShown) -> Self {
        let it = &shown.change;
        Self {
            kind: it.kind.word(),
            about: &it.about,
            what: &it.what,
            reason: &it.reason,
            agreed_by: &it.agreed_by,
            agreed_on: it.agreed_on.to_string(),
            review_by: it.review_by.to_string(),
            loosens: it.loosens.word(),
            how: it.how.as_deref(),
            overdue: shown.overdue,
        }
    }
}
