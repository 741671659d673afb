//! Screens a referral for minor surgery against a governed rule set: go, defer or refer.
//!
//! ```
//! use preblock::{Diagnostic, RuleFiles, RuleSet, Screener, Urgency};
//!
//! fn main() -> Result<(), Vec<Diagnostic>> {
//!     let rule_set = RuleSet::read(&RuleFiles::embedded(), None)?;
//!     let screener = Screener::new(&rule_set, "2026-11-25".parse().expect("a day"));
//!     let text = "questionnaire: 1\nreference: SM-101\nanswers: { circulation: { symptoms: [rest-pain] } }\n";
//!     let screening = screener.screen("SM-101.yaml", text.as_bytes())?;
//!     println!("{}", screening.verdict().words());
//!     assert_eq!(screening.verdict().urgency, Some(Urgency::SameDay));
//!     Ok(())
//! }
//! ```
//!
//! A [`RuleSet`] is read from [`RuleFiles`], embedded in the program or of a folder, with a clinic's [`TextFile`] over it
//! if it has one. A [`Screener`] takes the day, the clinic's own answers and what is wished for; it turns one questionnaire
//! after another into a [`Screening`], or into every [`Diagnostic`] of what is wrong with the file. A missing answer never
//! becomes go: [`Screening::verdict`] is a [`Standing`], an [`Outcome`] with the [`Urgency`] of a referral, and
//! [`Screening::to_ask`] says what could still change it. [`report`] makes pages and JSON of it.
//!
//! ```text
//!  rules/ ─────────┐                          ┌─> screening ───┐
//!                  ├─> load ─> model          ├─> cases ───────┴─> report (text | markdown | chase | json)
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
pub use load::{RuleFiles, TextFile};
pub use model::RuleSet;
pub use outcome::{Outcome, Standing, Urgency};
pub use screener::Screener;
pub use screening::Screening;
