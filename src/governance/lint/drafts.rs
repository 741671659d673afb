//! Texts of rules that are still to be written.

use super::{Remark, Subject};

/// A remark on each of them.
pub fn find(subject: &Subject<'_>) -> Vec<Remark> {
    subject.unwritten.iter().map(|it| Remark { diagnostic: it.clone(), about: String::new() }).collect()
}
