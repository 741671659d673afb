//! Limits that nothing uses, and what names a rule set uses at all.
//!
//! What uses them is looked for in the texts: a limit under a key `limit`, a source under a key `source`, a fact as the
//! whole value of any key, and either in braces. So nothing in use is ever called unused. A class of medicines that no
//! rule names is not told: many classes exist only so that their medicines are recognised.

use std::collections::BTreeSet;

use crate::document::diagnostic::Code;
use crate::rule_set::Limit;
use crate::rule_set::files::RuleFiles;
use crate::workbench::lint::{Remark, Subject};

/// Every name that the texts use.
#[derive(Default)]
pub(super) struct Used<'a> {
    pub limits: BTreeSet<&'a str>,
    pub facts: BTreeSet<&'a str>,
    pub sources: BTreeSet<&'a str>,
}

/// Reads the names that the texts of a rule set use.
pub(super) fn used(files: &RuleFiles) -> Used<'_> {
    let mut used = Used::default();
    for file in files.deciding() {
        file.walk(&mut |key, node| {
            let Some(text) = node.text() else { return };
            match key {
                "limit" => used.limits.insert(text),
                "source" | "superseded_by" => used.sources.insert(text),
                _ => used.facts.insert(without_day(text)),
            };
            for name in text
                .split('{')
                .skip(1)
                .filter_map(|it| it.split_once('}'))
                .map(|it| it.0)
            {
                match name.strip_prefix("limit.") {
                    Some(limit) => used.limits.insert(limit),
                    None => used.facts.insert(without_day(name)),
                };
            }
        });
    }
    used
}

/// The question behind the day or the age of a dated answer.
fn without_day(fact: &str) -> &str {
    fact.strip_suffix(".taken_on")
        .or_else(|| fact.strip_suffix(".age"))
        .filter(|it| it.contains('.'))
        .unwrap_or(fact)
}

/// Limits that no condition, formula or sentence names.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let used = used(subject.files);
    let unused = subject
        .rule_set
        .limits
        .iter()
        .filter(|it| !used.limits.contains(it.id.as_str()));
    let remark = |limit: &Limit| {
        let title = format!("nothing uses the limit `{}`", limit.id);
        let entry = subject.files.limit(&limit.id);
        Remark::new(Code::LimitUnused, &limit.id, title).on(entry, "id", "used nowhere")
    };
    unused.map(remark).collect()
}
