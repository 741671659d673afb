//! One patient's answers: frame, reading, recognition, and the facts that follow.

pub mod edit;
pub mod facts;
pub mod frame;
pub mod policy;
pub mod schema;
