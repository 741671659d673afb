//! A text with its places, and what is wrong with it. Knows no rule.

pub(crate) mod append;
pub mod diagnostic;
pub(crate) mod flow;
pub(crate) mod reading;
pub(crate) mod renamed;
pub mod rows;
pub mod shape;
pub mod source;
pub mod text;
