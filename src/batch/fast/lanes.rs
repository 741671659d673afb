//! Some records at once: a bit for each, and Kleene's logic over all of them.

use std::ops::{BitAnd, BitOr, BitOrAssign, Not};

/// Most records of a block.
pub(super) const N_LANES: usize = 256;

/// A set of records of one block, each by its lane.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Lanes([u64; 4]);

impl Lanes {
    /// No record.
    pub(super) const NONE: Self = Self([0; 4]);
    /// Every record.
    pub(super) const ALL: Self = Self([u64::MAX; 4]);

    /// Adds a record.
    pub(super) fn insert(&mut self, lane: usize) {
        if let Some(word) = self.0.get_mut(lane / 64) {
            *word |= 1 << (lane % 64);
        }
    }

    /// Whether a record is in the set.
    pub(super) fn contains(self, lane: usize) -> bool {
        self.0
            .get(lane / 64)
            .is_some_and(|word| word >> (lane % 64) & 1 == 1)
    }

    /// Each record, in their order.
    pub(super) fn each(self, mut see: impl FnMut(usize)) {
        for (word, first) in self.0.into_iter().zip((0..).step_by(64)) {
            let mut left = word;
            while left != 0 {
                see(first + left.trailing_zeros() as usize);
                left &= left - 1;
            }
        }
    }
}

impl BitAnd for Lanes {
    type Output = Self;

    fn bitand(self, other: Self) -> Self {
        let (Self([a, b, c, d]), Self([e, f, g, h])) = (self, other);
        Self([a & e, b & f, c & g, d & h])
    }
}

impl BitOr for Lanes {
    type Output = Self;

    fn bitor(self, other: Self) -> Self {
        let (Self([a, b, c, d]), Self([e, f, g, h])) = (self, other);
        Self([a | e, b | f, c | g, d | h])
    }
}

impl BitOrAssign for Lanes {
    fn bitor_assign(&mut self, other: Self) {
        *self = *self | other;
    }
}

impl Not for Lanes {
    type Output = Self;

    fn not(self) -> Self {
        let Self([a, b, c, d]) = self;
        Self([!a, !b, !c, !d])
    }
}

/// What a condition comes to for each record: those that are in neither set are open. INVARIANT: no record is in both.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Kleene {
    /// Where it holds.
    pub(super) yes: Lanes,
    /// Where it does not hold.
    pub(super) no: Lanes,
}

impl Kleene {
    /// It holds for everybody.
    pub(super) const YES: Self = Self {
        yes: Lanes::ALL,
        no: Lanes::NONE,
    };
    /// It holds for nobody.
    pub(super) const NO: Self = Self {
        yes: Lanes::NONE,
        no: Lanes::ALL,
    };

    /// It is open for everybody.
    pub(super) const OPEN: Self = Self {
        yes: Lanes::NONE,
        no: Lanes::NONE,
    };

    /// Where it is open.
    pub(super) fn open(self) -> Lanes {
        !(self.yes | self.no)
    }

    pub(super) fn and(self, other: Self) -> Self {
        Self {
            yes: self.yes & other.yes,
            no: self.no | other.no,
        }
    }

    pub(super) fn or(self, other: Self) -> Self {
        Self {
            yes: self.yes | other.yes,
            no: self.no & other.no,
        }
    }

    pub(super) fn not(self) -> Self {
        Self {
            yes: self.no,
            no: self.yes,
        }
    }
}
