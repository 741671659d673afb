//! Who has less than the usual limits of anaesthetics.

use crate::rule_set::bibliography::Citation;
use crate::rule_set::condition::Condition;

/// A smaller share of every anaesthetic limit, for some patients.
#[derive(Debug, Clone, PartialEq)]
pub struct Reduction {
    /// Its name.
    pub id: String,
    /// For whom, in a few words.
    pub about: String,
    /// Whom it is for.
    pub when: Condition,
    /// The share that is left, above 0 and at most 1.
    pub share: f64,
    /// What it rests on.
    pub citations: Vec<Citation>,
}
