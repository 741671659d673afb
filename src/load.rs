//! Text to model. The only module that knows YAML, JSON, `serde_yaml` and `jsonschema`.
//!
//! Each step yields what it could read *and* every diagnostic. A rule set or questionnaire with a
//! diagnostic is not used; reading goes on only to find further ones.

pub mod allowances;
pub mod answers_schema;
pub mod approval;
pub mod cases;
pub mod condition;
pub mod drafts;
pub mod files;
pub mod guarantees;
mod head;
mod holds;
pub mod local;
pub mod names;
pub mod places;
pub mod policy;
pub mod questionnaire;
pub mod questions;
pub mod reading;
pub mod reductions;
pub mod registers;
mod renamed;
mod rule;
pub mod rule_set;
pub mod shape;
pub mod swallowed;
pub mod text;
pub mod whole;

pub use files::{Care, Parsed, RuleFiles, TextFile};
pub use policy::rule_set_with;
pub use reading::Reading;
pub use rule_set::rule_set;
pub use whole::{Whole, whole, whole_with};
