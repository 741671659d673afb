//! Sources that nobody has opened, on which a rule or a limit rests alone.

use std::collections::{BTreeMap, BTreeSet};

use crate::document::diagnostic::Code;
use crate::outcome::Outcome;
use crate::rule_set::{Checked, Citation, Idx, Limit, Publication, RuleSet};
use crate::workbench::lint::{Remark, Subject};

/// Sources that nobody has opened and that alone stand behind a rule that defers or refers, or behind a limit by which such
/// a rule decides. One remark for each source. A citation of common practice or of a local proposal says openly what it is.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let rule_set = subject.rule_set;
    let strict: Vec<_> = rule_set
        .rules()
        .filter(|it| it.outcome > Outcome::Go)
        .collect();
    let decided_by: BTreeSet<Idx<Limit>> = strict.iter().flat_map(|it| it.when.limits()).collect();
    let rules = strict.iter().map(|it| (it.id.as_str(), &it.citations));
    let limits = rule_set
        .limits
        .entries()
        .filter(|(at, _)| decided_by.contains(at))
        .map(|(_, it)| (it.id.as_str(), &it.citations));
    let mut resting: BTreeMap<Idx<Publication>, Vec<&str>> = BTreeMap::new();
    for (id, citations) in rules.chain(limits) {
        for source in unopened(rule_set, citations) {
            resting.entry(source).or_default().push(id);
        }
    }
    let remark = |(source, on_it): (Idx<Publication>, Vec<&str>)| {
        let source = &rule_set.publications[source];
        let n = on_it.len();
        let title = format!(
            "nobody has opened `{}`, on which {n} {} alone",
            source.id,
            if n == 1 {
                "entry rests"
            } else {
                "entries rest"
            }
        );
        let help = format!(
            "open it and write `checked: read`, or cite an opened source beside it in {}",
            all_of(&on_it)
        );
        let entry = subject.files.publication(&source.id);
        Remark::new(Code::SourceNeverOpened, &source.id, title)
            .on(entry, "checked", "from memory")
            .help(help)
    };
    resting.into_iter().map(remark).collect()
}

fn all_of(ids: &[&str]) -> String {
    ids.iter()
        .map(|it| format!("`{it}`"))
        .collect::<Vec<_>>()
        .join(", ")
}

/// The sources that nobody opened, where no opened one stands beside them.
fn unopened(rule_set: &RuleSet, citations: &[Citation]) -> Vec<Idx<Publication>> {
    let published = citations.iter().filter_map(Citation::publication);
    let published: Vec<Idx<Publication>> = published.collect();
    let opened = |at: &Idx<Publication>| rule_set.publications[*at].checked == Checked::Read;
    if published.iter().any(opened) {
        Vec::new()
    } else {
        published
    }
}
