//! Texts of rules that are still to be written.

use super::{Remark, Subject};

/// A remark on each of them.
pub fn find(subject: &Subject<'_>) -> Vec<Remark> {
    subject.unwritten.iter().map(|(rule, it)| Remark { diagnostic: it.clone(), about: rule.clone() }).collect()
}
