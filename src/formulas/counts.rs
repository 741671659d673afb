//! Points added up, lists compared, and one number set against another.

use super::{positive, settled};

/// The counts of what was chosen, added up. Freed of binary noise, so that 0.1 and 0.2 are 0.3.
///
/// # Missing data
/// The choice is known, and each option carries a count. Nothing chosen from a known list is 0.
///
/// # Returns
/// `None` if a count is not finite. A count may be below zero.
///
/// # Source
/// Arithmetic; the counts stand in the rule set, each with the source of its score.
pub fn points(counts: &[f64]) -> Option<f64> {
    // An empty sum of floating-point numbers is -0.
    settled(counts.iter().fold(0.0, |sum, it| sum + it))
}

/// One number less another, both in one unit. Below zero if the other is the greater.
///
/// # Missing data
/// Both are known. A missing one never counts as 0.
///
/// # Returns
/// `None` if either is not finite.
///
/// # Source
/// Arithmetic. Pulse pressure as upper less lower blood pressure: by definition.
pub fn difference(one: f64, other: f64) -> Option<f64> {
    settled(one - other)
}

/// A part as a share of the whole, both in one unit; 1 is the whole. Unrounded.
///
/// # Missing data
/// Both are known.
///
/// # Returns
/// `None` unless the whole is above zero and the part is finite. The part may be below zero or more than the whole, as
/// a change of weight may be.
///
/// # Source
/// Arithmetic.
pub fn share(part: f64, whole: f64) -> Option<f64> {
    settled(part / positive(whole)?)
}

/// How many of one list are not in the other. What only the other has does not count.
///
/// # Missing data
/// Both lists are known. A list that is known to be empty is a list.
///
/// # Source
/// Counting.
pub fn missing_from<T: PartialEq>(list: &[T], other: &[T]) -> usize {
    list.iter().filter(|it| !other.contains(it)).count()
}
