//! Citations of a source that another one has replaced.

use crate::document::diagnostic::Code;
use crate::rule_set::Citation;
use crate::workbench::lint::{Remark, Subject};

/// Rules and limits that cite a source which another one has replaced.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let (rule_set, written) = (subject.rule_set, subject.files);
    let rules = rule_set
        .rules()
        .map(|it| (it.id.as_str(), &it.citations, written.rule(&it.id)));
    let limits = rule_set
        .limits
        .iter()
        .map(|it| (it.id.as_str(), &it.citations, written.limit(&it.id)));
    let mut found = Vec::new();
    for (id, citations, entry) in rules.chain(limits) {
        for at in citations.iter().filter_map(Citation::publication) {
            let old = &rule_set.publications[at];
            let Some(new) = old.superseded_by.map(|at| &rule_set.publications[at]) else {
                continue;
            };
            let place = entry.and_then(|it| it.citation(&old.id));
            let title = format!("`{id}` cites `{}`, which `{}` has replaced", old.id, new.id);
            let remark =
                Remark::new(Code::SourceSuperseded, id, title).at(entry, place, "replaced");
            found.push(remark.help(format!(
                "see what `{}` says, and cite it; an older source may stand beside it, not for it",
                new.id
            )));
        }
    }
    found
}
