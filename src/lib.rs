//! Screening before the block: is this patient, with this plan, on this day, safe for nail surgery here?
//!
//! ```text
//!  rules/ ─────────┐                          ┌─> screening ───┐
//!                  ├─> load ─> model          ├─> cases ───────┴─> report (text | json)
//!  questionnaire ──┘    ^            facts ───┘
//!  schemas/*.json ──────┘          every stage yields a list of diagnostics, never only the first
//! ```
//!
//! In reading order: [`truth`], [`outcome`], [`formulas`], [`quantity`], [`model`], [`source`],
//! [`diagnostic`], [`load`], [`facts`], [`screening`], [`evaluate`], [`governance`], [`report`], [`cli`].

pub mod truth;
pub mod outcome;
pub mod formulas;
pub mod quantity;
pub mod model;
pub mod source;
pub mod diagnostic;
pub mod load;
pub mod facts;
pub mod screening;
pub mod evaluate;
pub mod governance;
pub mod report;
pub mod cli;
