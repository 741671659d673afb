//! What a local policy loosens of the rule set.

use crate::document::diagnostic::{Code, Diagnostic};
use crate::rule_set::Loosens;
use crate::workbench::lint::{Remark, Subject};
use crate::workbench::sources::HeldAgainst;

/// A remark on each change that loosens the rule set, or may.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let Some(HeldAgainst {
        policy,
        source,
        places,
    }) = subject.local
    else {
        return Vec::new();
    };
    let mut found = Vec::new();
    for (change, place) in policy
        .changes
        .iter()
        .zip(places)
        .filter(|(it, _)| it.loosens != Loosens::No)
    {
        let may = if change.loosens == Loosens::Perhaps {
            "may loosen"
        } else {
            "loosens"
        };
        let how = change
            .how
            .as_ref()
            .map_or(String::new(), |it| format!(": {it}"));
        let title = format!("{} {may} the rule set{how}", change.what);
        let help = format!(
            "agreed by {} on {}, to be reviewed by {}: {}",
            change.agreed_by, change.agreed_on, change.review_by, change.reason
        );
        let diagnostic = Diagnostic::at(Code::Loosens, source, place, title, "less cautious");
        found.push(Remark {
            diagnostic: diagnostic.help(help),
            about: change.about.clone(),
        });
    }
    found
}
