//! Screening before the block: is this patient, with this plan, on this day, safe for nail surgery here?
//!
//! ```text
//!  rules/ ─────────┐                          ┌─> screening ───┐
//!                  ├─> load ─> model          ├─> cases ───────┴─> report (text | json)
//!  questionnaire ──┘    ^            facts ───┘
//!  schemas/*.json ──────┘          every stage yields a list of diagnostics, never only the first
//! ```
//!
//! In reading order: [`table`], [`truth`], [`outcome`], [`formulas`], [`quantity`], [`model`], [`source`],
//! [`diagnostic`], [`load`], [`facts`], [`screening`], [`evaluate`], [`screener`], [`governance`], [`report`], [`cli`].

pub mod cli;
pub mod diagnostic;
pub mod evaluate;
pub mod facts;
pub mod formulas;
pub mod governance;
pub mod load;
pub mod model;
pub mod outcome;
pub mod quantity;
pub mod report;
pub mod screener;
pub mod screening;
pub mod source;
pub mod table;
pub mod truth;

pub use diagnostic::Diagnostic;
pub use load::{LocalFile, RuleFiles};
pub use model::RuleSet;
pub use outcome::{Outcome, Standing, Urgency};
pub use screener::Screener;
pub use screening::Screening;
