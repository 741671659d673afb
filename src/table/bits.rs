//! A set of positions, such as the medicines of a class.

use std::marker::PhantomData;

use crate::table::Idx;

/// A set of positions in a table, as bits.
#[derive(Debug, Clone, PartialEq)]
pub struct Bits<Of> {
    words: Vec<u64>,
    of: PhantomData<fn() -> Of>,
}

impl<Of> Bits<Of> {
    /// The empty set.
    pub(crate) fn new() -> Self {
        Self {
            words: Vec::new(),
            of: PhantomData,
        }
    }

    /// Adds a position.
    pub(crate) fn insert(&mut self, at: Idx<Of>) {
        let word = at.index() / 64;
        if self.words.len() <= word {
            self.words.resize(word + 1, 0);
        }
        if let Some(it) = self.words.get_mut(word) {
            *it |= 1 << (at.index() % 64);
        }
    }

    /// Whether a position is in the set.
    pub fn contains(&self, at: Idx<Of>) -> bool {
        self.words
            .get(at.index() / 64)
            .is_some_and(|word| word >> (at.index() % 64) & 1 == 1)
    }

    /// Adds all positions of another set.
    pub(crate) fn extend(&mut self, other: &Self) {
        if self.words.len() < other.words.len() {
            self.words.resize(other.words.len(), 0);
        }
        for (mine, theirs) in self.words.iter_mut().zip(&other.words) {
            *mine |= theirs;
        }
    }

    /// Whether every position of this set is in the other.
    pub fn within(&self, other: &Self) -> bool {
        self.words
            .iter()
            .enumerate()
            .all(|(at, word)| word & !other.words.get(at).copied().unwrap_or(0) == 0)
    }

    /// Whether the two sets share a position.
    pub fn meets(&self, other: &Self) -> bool {
        self.words.iter().zip(&other.words).any(|(a, b)| a & b != 0)
    }

    /// Whether nothing is in the set.
    pub(crate) fn is_empty(&self) -> bool {
        self.words.iter().all(|word| *word == 0)
    }

    /// The positions, rising.
    pub fn iter(&self) -> impl Iterator<Item = Idx<Of>> + '_ {
        let bits = |word: &u64| {
            let word = *word;
            (0..64).filter(move |bit| word >> bit & 1 == 1)
        };
        self.words
            .iter()
            .enumerate()
            .flat_map(move |(at, word)| bits(word).map(move |bit| Idx::new(at * 64 + bit)))
    }
}

impl<Of> Default for Bits<Of> {
    fn default() -> Self {
        Self::new()
    }
}

impl<Of> FromIterator<Idx<Of>> for Bits<Of> {
    fn from_iter<I: IntoIterator<Item = Idx<Of>>>(positions: I) -> Self {
        let mut bits = Self::new();
        for at in positions {
            bits.insert(at);
        }
        bits
    }
}
