//! An edition that is known with another content.
//!
//! It is a notice, so that work on a draft goes on.

use crate::document::diagnostic::Code;
use crate::rule_set::files::RuleFiles;
use crate::rule_set::read::rule_set;
use crate::workbench::lint::{Remark, Subject};

/// A remark on the edition. Known is the one within the program: no other is at hand.
pub(crate) fn find(subject: &Subject<'_>) -> Option<Remark> {
    let rule_set = subject.rule_set;
    let known = crate::workbench::lint::same_edition::rule_set(&RuleFiles::embedded()).ok()?;
    if known.id != rule_set.id
        || known.edition != rule_set.edition
        || known.digest == rule_set.digest
    {
        return None;
    }
    let title = format!(
        "the edition {} is known with another content",
        rule_set.edition
    );
    let head = subject.files.entry("ruleset.yaml");
    let remark = Remark::new(Code::SameEdition, &rule_set.id, title);
    Some(remark.on(head, "edition", "of a changed content"))
}
