//! A screening as text, Markdown and HTML for people and as JSON for programs.
//!
//! Says what the screening holds and decides nothing: no outcome is worked out here that the screening does not
//! already fix. Prints nothing either; the caller writes the text it gets.

pub use crate::document::source::steers;
pub use crate::outcome::Standing;

pub mod book;
pub mod brief;
pub mod calendar;
pub mod cards;
pub mod changed;
pub mod chase;
pub mod compare;
pub mod due;
pub mod fhir;
pub mod formulas;
pub mod html;
pub mod json;
pub mod junit;
pub mod letter;
pub mod list;
pub mod markdown;
pub mod outward;
pub mod page;
pub mod proofs;
pub mod sarif;
pub mod text;
pub(crate) mod words;

pub use crate::report::page::Style;

/// What every report says in one line.
pub const SAFETY: &str =
    "This supports a licensed clinician's decision and never makes it; local policy prevails.";
