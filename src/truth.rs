//! The value of a condition when some answers may be missing. Knows nothing of rules or files.
//!
//! The tables are Kleene's strong logic, the same that SQL uses for NULL and CQL for null.

use std::collections::BTreeSet;

use crate::table::Idx;

/// A row of the rule set's catalogue of facts, and of each patient's facts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Slot {}

/// Which fact.
pub type FactSlot = Idx<Slot>;

/// Three-valued truth that remembers what kept it open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Truth {
    /// Holds, whatever the missing answers turn out to be.
    Yes,
    /// Does not hold, whatever the missing answers turn out to be.
    No,
    /// Could go either way. INVARIANT: at least one fact, each missing or not fully understood.
    Unknown(BTreeSet<FactSlot>),
}

impl Truth {
    /// Open because of one fact.
    pub(crate) fn unknown(fact: FactSlot) -> Self {
        Self::Unknown(BTreeSet::from([fact]))
    }

    /// Both must hold. `No` settles it from either side, so operand order never matters.
    pub fn and(self, other: Self) -> Self {
        match (self, other) {
            (Self::No, _) | (_, Self::No) => Self::No,
            (Self::Yes, it) | (it, Self::Yes) => it,
            (Self::Unknown(a), Self::Unknown(b)) => Self::Unknown(a.into_iter().chain(b).collect()),
        }
    }

    /// At least one must hold. `Yes` settles it from either side.
    pub fn or(self, other: Self) -> Self {
        match (self, other) {
            (Self::Yes, _) | (_, Self::Yes) => Self::Yes,
            (Self::No, it) | (it, Self::No) => it,
            (Self::Unknown(a), Self::Unknown(b)) => Self::Unknown(a.into_iter().chain(b).collect()),
        }
    }

    /// Turns yes and no round; unknown stays unknown, for the same reasons.
    #[expect(clippy::should_implement_trait, reason = "reads as `and`, `or`, `not`")]
    pub fn not(self) -> Self {
        match self {
            Self::Yes => Self::No,
            Self::No => Self::Yes,
            unknown @ Self::Unknown(_) => unknown,
        }
    }

    /// Yes for true, no for false.
    pub(crate) fn from_known(holds: bool) -> Self {
        if holds { Self::Yes } else { Self::No }
    }
}
