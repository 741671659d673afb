//! Citations of a source that another one has replaced.

use std::ops::Range;

use crate::document::diagnostic::Code;
use crate::rule_set::{Basis, Citation, Publication, RuleSet};
use crate::workbench::lint::{Remark, Subject};
use crate::workbench::places::Entry;

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
        for old in published(rule_set, citations) {
            let Some(new) = old.superseded_by.map(|at| &rule_set.publications[at]) else {
                continue;
            };
            let title = format!("`{id}` cites `{}`, which `{}` has replaced", old.id, new.id);
            let remark = at_citation(
                Code::SourceSuperseded,
                id,
                entry,
                &old.id,
                title,
                "replaced",
            );
            found.push(remark.help(format!(
                "see what `{}` says, and cite it; an older source may stand beside it, not for it",
                new.id
            )));
        }
    }
    found
}

fn published<'a>(
    rule_set: &'a RuleSet,
    citations: &[Citation],
) -> impl Iterator<Item = &'a Publication> {
    citations.iter().filter_map(|citation| {
        if let Basis::Published(at) = citation.basis {
            Some(&rule_set.publications[at])
        } else {
            None
        }
    })
}

fn at_citation(
    code: Code,
    about: &str,
    entry: Option<Entry<'_>>,
    source: &str,
    title: String,
    label: &str,
) -> Remark {
    let cited = |entry: Entry<'_>| {
        entry
            .cited()
            .find(|(name, _)| *name == source)
            .map(|(_, span)| span)
    };
    let place: Option<Range<usize>> = entry.and_then(cited);
    Remark::at(code, about, entry, place, title, label)
}
