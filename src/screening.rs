//! A verdict with its reasons: every rule on the facts of one patient.

pub mod asks;
pub mod compile;
pub mod dose;
pub mod evaluate;
pub mod explain;
pub mod notices;
pub mod result;
pub mod screener;
pub mod what_if;
