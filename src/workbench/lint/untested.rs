//! States of rules, sides of numbers and members of lists that no worked case reaches: what `rules test` lists.

use crate::document::diagnostic::Code;
use crate::workbench::lint::{Remark, Subject};

/// One remark for each rule, with all that is not reached.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let mut found = Vec::new();
    for gaps in subject.gaps.chunk_by(|a, b| a.rule == b.rule) {
        let Some(first) = gaps.first() else { continue };
        let more = if gaps.len() > 1 {
            format!(", and {} more", gaps.len() - 1)
        } else {
            String::new()
        };
        let title = format!("`{}`: {}{more}", first.rule, first.what);
        let all: Vec<&str> = gaps.iter().map(|it| it.what.as_str()).collect();
        let entry = subject.files.rule(&first.rule);
        let remark =
            Remark::new(Code::Untested, &first.rule, title).on(entry, "id", "not tested whole");
        found.push(remark.help(format!("write a case for each: {}", all.join("; "))));
    }
    found
}
