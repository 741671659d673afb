//! A verdict with its reasons: every rule on the facts of one patient.

pub mod asks;
pub mod compile;
pub(crate) mod dose;
pub mod evaluate;
pub(crate) mod explain;
pub mod interview;
pub(crate) mod letter;
pub mod notices;
pub mod result;
pub mod screener;
pub mod what_if;
