//! A number fact cut where rules can tell its values apart.

use crate::rule_set::{Comparison, Test};

/// Where a number is cut: below a value (it belongs above) or just above it (it belongs below).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Cut {
    /// The value.
    pub at: f64,
    /// Whether the value itself lies below the cut.
    pub value_below: bool,
}

/// A stretch of numbers that no rule tells apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Its lower end.
    pub low: f64,
    /// Whether the lower end belongs to it.
    pub low_in: bool,
    /// Its upper end.
    pub high: f64,
    /// Whether the upper end belongs to it.
    pub high_in: bool,
}

impl Cell {
    /// The numbers from one to another, both included.
    pub(crate) const fn closed(low: f64, high: f64) -> Self {
        Self {
            low,
            low_in: true,
            high,
            high_in: true,
        }
    }

    /// Whether a number lies in it.
    pub fn contains(&self, number: f64) -> bool {
        (number > self.low || (self.low_in && number >= self.low))
            && (number < self.high || (self.high_in && number <= self.high))
    }

    /// Whether it is a single number.
    pub(crate) fn is_point(&self) -> bool {
        self.low >= self.high
    }

    /// Whether no number lies in it.
    pub(crate) fn is_empty(&self) -> bool {
        self.low > self.high || (self.is_point() && !(self.low_in && self.high_in))
    }

    /// Whether each of its numbers is smaller than each of another cell.
    pub(crate) fn lies_below(&self, other: &Self) -> bool {
        self.high < other.low || (self.high <= other.low && !(self.high_in && other.low_in))
    }

    /// Whether a whole number lies in it.
    pub(crate) fn holds_whole(&self) -> bool {
        self.first_whole().is_finite() && self.contains(self.first_whole())
    }

    /// The lowest whole number that may lie in it.
    pub(crate) fn first_whole(&self) -> f64 {
        let low = self.low.ceil();
        if self.contains(low) { low } else { low + 1.0 }
    }

    /// The highest whole number that may lie in it.
    pub(crate) fn last_whole(&self) -> f64 {
        let high = self.high.floor();
        if self.contains(high) {
            high
        } else {
            high - 1.0
        }
    }

    /// What two have in common.
    pub(crate) fn both(&self, other: &Self) -> Self {
        let (low, low_in) = match self.low.total_cmp(&other.low) {
            std::cmp::Ordering::Less => (other.low, other.low_in),
            std::cmp::Ordering::Equal => (self.low, self.low_in && other.low_in),
            std::cmp::Ordering::Greater => (self.low, self.low_in),
        };
        let (high, high_in) = match self.high.total_cmp(&other.high) {
            std::cmp::Ordering::Less => (self.high, self.high_in),
            std::cmp::Ordering::Equal => (self.high, self.high_in && other.high_in),
            std::cmp::Ordering::Greater => (other.high, other.high_in),
        };
        Self {
            low,
            low_in,
            high,
            high_in,
        }
    }

    /// Whether it shares a number with those from one to another, both included.
    pub(crate) fn meets(&self, low: f64, high: f64) -> bool {
        (low < self.high || (self.high_in && low <= self.high))
            && (high > self.low || (self.low_in && high >= self.low))
    }
}

/// The cuts that a test makes, in the order written.
pub(crate) fn cuts_of(test: &Test) -> Vec<Cut> {
    let below = |at: f64| Cut {
        at,
        value_below: false,
    };
    let above = |at: f64| Cut {
        at,
        value_below: true,
    };
    match test {
        Test::Compare(Comparison::AtLeast | Comparison::Below, it) => vec![below(it.value)],
        Test::Compare(Comparison::Above | Comparison::AtMost, it) => vec![above(it.value)],
        Test::Between(low, high) => vec![below(low.value), above(high.value)],
        _ => Vec::new(),
    }
}

/// The cells between the ends of what is plausible, rising. Ends that are not finite belong to no number.
pub(crate) fn cells(mut cuts: Vec<Cut>, ends: (f64, f64), whole: bool) -> Vec<Cell> {
    cuts.sort_by(|a, b| {
        a.at.total_cmp(&b.at)
            .then(a.value_below.cmp(&b.value_below))
    });
    cuts.dedup();
    let is_some = |cell: &Cell| {
        if whole {
            cell.holds_whole()
        } else {
            !cell.is_empty()
        }
    };
    let mut found = Vec::new();
    let mut low = (ends.0, ends.0.is_finite());
    for cut in cuts {
        let cell = Cell {
            low: low.0,
            low_in: low.1,
            high: cut.at,
            high_in: cut.value_below,
        };
        let inside = cut.at >= ends.0 && cut.at <= ends.1;
        if !inside {
            continue;
        }
        if is_some(&cell) {
            found.push(cell);
        }
        low = (cut.at, !cut.value_below);
    }
    let last = Cell {
        low: low.0,
        low_in: low.1,
        high: ends.1,
        high_in: ends.1.is_finite(),
    };
    if is_some(&last) {
        found.push(last);
    }
    found
}
