//! Tables and the positions in them, so that what a loaded rule set names is there and no code asks again whether it is.

use std::cmp::Ordering;
use std::fmt;
use std::hash::{Hash, Hasher};
use std::marker::PhantomData;
use std::ops::{Index, IndexMut};

mod bits;

pub use crate::table::bits::Bits;

/// A position in a table of `Of`.
///
/// INVARIANT: a table alone makes positions, of rows that it has, and no table can lose a row. So a position is never out of
/// range in its own table, nor in one that is made row by row from it. What holds positions (a rule, a patient's facts) must
/// be read with the very rule set for which it was made; mutants and local policy change rows in place.
pub struct Idx<Of> {
    at: usize,
    of: PhantomData<fn() -> Of>,
}

impl<Of> Idx<Of> {
    fn new(at: usize) -> Self {
        Self {
            at,
            of: PhantomData,
        }
    }

    /// The position as a number.
    pub fn index(self) -> usize {
        self.at
    }
}

impl<Of> Clone for Idx<Of> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<Of> Copy for Idx<Of> {}

impl<Of> PartialEq for Idx<Of> {
    fn eq(&self, other: &Self) -> bool {
        self.at == other.at
    }
}

impl<Of> Eq for Idx<Of> {}

impl<Of> PartialOrd for Idx<Of> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl<Of> Ord for Idx<Of> {
    fn cmp(&self, other: &Self) -> Ordering {
        self.at.cmp(&other.at)
    }
}

impl<Of> Hash for Idx<Of> {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.at.hash(state);
    }
}

impl<Of> fmt::Debug for Idx<Of> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.at.fmt(f)
    }
}

/// Rows that are reached by their positions; `Of` is another thing than a row where a table says something
/// of each row of a first table.
#[derive(Debug, Clone)]
pub struct Table<Row, Of = Row> {
    rows: Vec<Row>,
    of: PhantomData<fn() -> Of>,
}

impl<Row, Of> Table<Row, Of> {
    /// Adds a row, and says where it stands.
    pub(crate) fn push(&mut self, row: Row) -> Idx<Of> {
        self.rows.push(row);
        Idx::new(self.rows.len() - 1)
    }

    /// Adds a row that is made with knowledge of where it stands.
    pub(crate) fn push_with(&mut self, row: impl FnOnce(Idx<Of>) -> Row) -> Idx<Of> {
        self.push(row(Idx::new(self.rows.len())))
    }

    /// The rows, in order.
    pub fn rows(&self) -> &[Row] {
        &self.rows
    }

    /// Every row, in order.
    pub fn iter(&self) -> std::slice::Iter<'_, Row> {
        self.rows.iter()
    }

    /// Every row, in order, to change it in its place.
    pub fn iter_mut(&mut self) -> std::slice::IterMut<'_, Row> {
        self.rows.iter_mut()
    }

    /// How many rows there are.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether there is no row.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Every position, in order.
    pub fn indices(
        &self,
    ) -> impl DoubleEndedIterator<Item = Idx<Of>> + ExactSizeIterator + use<Row, Of> {
        (0..self.rows.len()).map(Idx::new)
    }

    /// Every row with its position, in order.
    pub fn entries(&self) -> impl DoubleEndedIterator<Item = (Idx<Of>, &Row)> + ExactSizeIterator {
        self.rows
            .iter()
            .enumerate()
            .map(|(at, row)| (Idx::new(at), row))
    }

    /// The position of the first row that is so.
    pub fn position(&self, is_so: impl FnMut(&Row) -> bool) -> Option<Idx<Of>> {
        self.rows.iter().position(is_so).map(Idx::new)
    }
}

impl<Row, Of> Index<Idx<Of>> for Table<Row, Of> {
    type Output = Row;

    #[expect(
        clippy::indexing_slicing,
        reason = "a position is in range: the invariant of `Idx`"
    )]
    fn index(&self, at: Idx<Of>) -> &Row {
        &self.rows[at.at]
    }
}

impl<Row, Of> IndexMut<Idx<Of>> for Table<Row, Of> {
    #[expect(
        clippy::indexing_slicing,
        reason = "a position is in range: the invariant of `Idx`"
    )]
    fn index_mut(&mut self, at: Idx<Of>) -> &mut Row {
        &mut self.rows[at.at]
    }
}

impl<Row: PartialEq, Of> PartialEq for Table<Row, Of> {
    fn eq(&self, other: &Self) -> bool {
        self.rows == other.rows
    }
}

impl<Row, Of> FromIterator<Row> for Table<Row, Of> {
    fn from_iter<I: IntoIterator<Item = Row>>(rows: I) -> Self {
        Self {
            rows: rows.into_iter().collect(),
            of: PhantomData,
        }
    }
}

impl<Row, Of> Default for Table<Row, Of> {
    fn default() -> Self {
        Self {
            rows: Vec::new(),
            of: PhantomData,
        }
    }
}

impl<'a, Row, Of> IntoIterator for &'a Table<Row, Of> {
    type Item = &'a Row;
    type IntoIter = std::slice::Iter<'a, Row>;

    fn into_iter(self) -> Self::IntoIter {
        self.rows.iter()
    }
}
