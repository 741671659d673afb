//! A screening as text and Markdown for people and as JSON for programs.
//!
//! Says what the screening holds and decides nothing: no outcome is worked out here that the screening does not
//! already fix. Prints nothing either; the caller writes the text it gets.

use crate::outcome::Outcome;
pub use crate::outcome::Standing;
use crate::screening::Screening;
pub use crate::source::steers;

pub mod book;
pub mod calendar;
pub mod chase;
pub mod compare;
pub mod due;
pub mod json;
pub mod junit;
pub mod markdown;
pub mod page;
pub mod proofs;
pub mod sarif;
pub mod text;
mod words;

pub use page::Style;

/// What every report says in one line.
pub const SAFETY: &str = "This supports a licensed clinician's decision and never makes it; local policy prevails.";

/// The verdict, with the most pressing urgency among the findings if it is refer.
pub fn verdict(screening: &Screening) -> Standing {
    let urgency = screening.findings.iter().filter(|it| it.outcome == Outcome::Refer).filter_map(|it| it.urgency).max();
    Standing { outcome: screening.verdict, urgency: urgency.filter(|_| screening.verdict == Outcome::Refer) }
}

/// What the verdict could still become, if that is worse than what it is.
///
/// # Missing data
/// Undetermined rules count as if they fired. A referral that could turn out to be more pressing counts as worse.
pub fn could_be(screening: &Screening) -> Option<Standing> {
    let now = verdict(screening);
    let open = screening.undetermined.iter().filter(|it| it.outcome_if_fires == Outcome::Refer).filter_map(|it| it.urgency).max();
    let urgency = open.max(now.urgency).filter(|_| screening.worst_case == Outcome::Refer);
    let worst = Standing { outcome: screening.worst_case, urgency };
    (worst > now).then_some(worst)
}
