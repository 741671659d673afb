//! Where things come from: citations, and the publications that they name.
//!
//! The year of a publication may be left out when the page shows none; it is never invented.

use chrono::NaiveDate;

use crate::table::Idx;

/// Where a rule or limit comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Citation {
    /// Publication, practice or proposal.
    pub basis: Basis,
    /// Section, table or page.
    pub at: Option<String>,
}

impl Citation {
    /// The publication that it names, if it names one.
    pub(crate) fn publication(&self) -> Option<Idx<Publication>> {
        match self.basis {
            Basis::Published(at) => Some(at),
            Basis::CommonPractice(_) | Basis::LocalProposal(_) => None,
        }
    }
}

/// What stands behind a citation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Basis {
    /// A publication of the bibliography.
    Published(Idx<Publication>),
    /// Accepted trade practice without a published source.
    CommonPractice(String),
    /// A figure that governance must own.
    LocalProposal(String),
}

/// A publication.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Publication {
    /// Permanent name.
    pub id: String,
    /// The body or authors.
    pub by: String,
    /// Its title.
    pub title: String,
    /// Its year, if it shows one.
    pub year: Option<i32>,
    /// The publisher's own page.
    pub link: Option<String>,
    /// Whether somebody opened it.
    pub checked: Checked,
    /// When; needed for one that was read.
    pub checked_on: Option<NaiveDate>,
    /// What should be known about the check.
    pub note: Option<String>,
    /// The publication that replaced it; `None` if nobody says so.
    pub superseded_by: Option<Idx<Publication>>,
    /// Whether it came with the registers of another rule set: then nobody here need cite it.
    pub is_used: bool,
}

/// Whether somebody opened a publication.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Checked {
    /// Yes.
    Read,
    /// No: cited from memory, to be opened and checked.
    FromMemory,
}

impl Checked {
    /// The word used in files and reports.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::FromMemory => "from-memory",
        }
    }
}
