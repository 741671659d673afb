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
//!  rules/*.yaml ──> rule_set ──────┐
//!                                  ├──> screening ──> report ──> cli
//!  questionnaire ─> questionnaire ─┘        ▲            ▲
//!                                           │            │
//!                              exact <── workbench ──────┘
//! ```
//!
//! From the foundation upwards: `table`, `truth`, `outcome`, `formulas`, `quantity`, `document`, `rule_set`,
//! `questionnaire`, `screening`, `exact`, `workbench`, [`report`], `batch`, `register`, `desk`, `cli`.

mod batch;
mod cli;
mod desk;
mod document;
mod exact;
mod formulas;
mod outcome;
mod quantity;
mod questionnaire;
mod register;
pub mod report;
mod rule_set;
mod screening;
mod table;
mod truth;
mod workbench;

pub use crate::document::diagnostic::Diagnostic;
pub use crate::outcome::{Outcome, Standing, Urgency};
pub use crate::rule_set::RuleSet;
pub use crate::rule_set::files::{RuleFiles, TextFile};
pub use crate::screening::result::Screening;
pub use crate::screening::screener::Screener;

/// The rooms as they are, for this program itself and for its own tests, benchmarks and fuzzing, which look at single steps
/// from outside the crate. Nothing here is promised to anybody else: that is what stands above.
#[doc(hidden)]
pub mod inner {
    pub mod batch {
        pub use crate::batch::*;
    }
    pub mod cli {
        pub use crate::cli::*;
    }
    pub mod desk {
        pub use crate::desk::*;
    }
    pub mod document {
        pub use crate::document::*;
    }
    pub mod exact {
        pub use crate::exact::*;
    }
    pub mod formulas {
        pub use crate::formulas::*;
    }
    pub mod outcome {
        pub use crate::outcome::*;
    }
    pub mod quantity {
        pub use crate::quantity::*;
    }
    pub mod questionnaire {
        pub use crate::questionnaire::*;
    }
    pub mod register {
        pub use crate::register::*;
    }
    pub mod report {
        pub use crate::report::*;
    }
    pub mod rule_set {
        pub use crate::rule_set::*;
    }
    pub mod screening {
        pub use crate::screening::*;
    }
    pub mod table {
        pub use crate::table::*;
    }
    pub mod truth {
        pub use crate::truth::*;
    }
    pub mod workbench {
        pub use crate::workbench::*;
    }
}
