//! What the rules' editors use: worked cases with coverage, checks of the rules, and a rule shown in words.

pub mod cases;
pub mod compare;
pub mod coverage;
pub mod decide;
pub mod draft;
pub mod due;
pub mod flow;
pub mod lint;
pub mod mutants;
pub mod prove;
pub mod words;
