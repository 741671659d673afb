//! What ruleset.yaml records of the rule set: its edition and its approval.

use super::{Remark, Subject};
use crate::diagnostic::Code;
use crate::load::written::Entry;
use crate::load::{RuleFiles, rule_set};

const HEAD: &str = "ruleset.yaml";

/// An edition that is known with another content. Known is the one within the program: no other is at hand.
pub fn edition(subject: &Subject<'_>) -> Option<Remark> {
    let rule_set = subject.rule_set;
    let known = self::rule_set(&RuleFiles::embedded()).ok()?;
    if known.id != rule_set.id || known.edition != rule_set.edition || known.digest == rule_set.digest {
        return None;
    }
    let title = format!("the edition {} is known with another content", rule_set.edition);
    Some(Remark::on(Code::SameEdition, &rule_set.id, subject.written.file(HEAD), "edition", title, "of a changed content"))
}

/// An approval that is dated after the day of the check.
pub fn approval(subject: &Subject<'_>) -> Option<Remark> {
    let approval = subject.rule_set.approval.as_ref().filter(|it| it.on > subject.as_of)?;
    let file = subject.written.file(HEAD);
    let entry = file.and_then(|it| Some(Entry { source: it.source, node: it.node.get("approval")? })).or(file);
    let title = format!("the approval is dated {}, and that day has not come", approval.on);
    Some(Remark::on(Code::ApprovalAhead, &subject.rule_set.id, entry, "on", title, "not yet"))
}

/// A rule set that promises nothing.
pub fn promises(subject: &Subject<'_>) -> Option<Remark> {
    let rule_set = subject.rule_set;
    let title = "the rule set states no guarantee".to_owned();
    let remark = || Remark::on(Code::NoGuarantees, &rule_set.id, subject.written.file(HEAD), "id", title, "nothing is guaranteed");
    rule_set.guarantees.is_empty().then(remark)
}
