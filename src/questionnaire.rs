//! One patient's answers: frame, reading, recognition, and the facts that follow.

pub mod edit;
pub mod facts;
pub mod fhir;
pub mod frame;
pub mod mapping;
pub mod policy;
mod reference;
pub mod schema;
pub mod sheet;
