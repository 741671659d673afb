//! The pages, one file each.

pub(crate) mod booking;
pub(crate) mod calls;
pub(crate) mod day_before;
pub(crate) mod decide;
pub(crate) mod figures;
pub(crate) mod files;
pub(crate) mod interview;
pub(crate) mod letters;
pub(crate) mod people;
pub(crate) mod pile;
pub(crate) mod referral;
pub(crate) mod sign_in;
