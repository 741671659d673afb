//! What the rules' editors use: worked cases with coverage, checks of the rules, and a rule shown in words.

pub mod allowances;
pub mod cases;
pub mod compare;
pub mod coverage;
pub(crate) mod draft;
pub mod due;
pub mod figures;
pub mod lint;
pub mod mutants;
pub mod names;
pub(crate) mod places;
pub mod prove;
pub mod sources;
pub mod start;
