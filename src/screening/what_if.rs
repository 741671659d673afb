//! What would change a verdict: another answer, another plan, another day.
//!
//! Alternatives vary questions marked `decision`, within the clinic's offers; remedies vary
//! questions marked `changeable`, never medicines or allergies. A smaller volume is tried down to
//! half of the planned one. What is tried shares all facts with the patient but those that hang on
//! a changed answer, and only those are settled and judged anew.

pub mod alternatives;
pub mod days;
pub(crate) mod next;
pub(crate) mod prospect;
pub mod remedies;
pub mod search;
