//! A set of small positions, such as the medicines of a class.

/// A set of positions, as bits.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Bits {
    words: Vec<u64>,
}

impl Bits {
    /// The empty set.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a position.
    pub fn insert(&mut self, at: usize) {
        let word = at / 64;
        if self.words.len() <= word {
            self.words.resize(word + 1, 0);
        }
        if let Some(it) = self.words.get_mut(word) {
            *it |= 1 << (at % 64);
        }
    }

    /// Whether a position is in the set.
    pub fn contains(&self, at: usize) -> bool {
        self.words.get(at / 64).is_some_and(|word| word >> (at % 64) & 1 == 1)
    }

    /// Adds all positions of another set.
    pub fn extend(&mut self, other: &Self) {
        if self.words.len() < other.words.len() {
            self.words.resize(other.words.len(), 0);
        }
        for (mine, theirs) in self.words.iter_mut().zip(&other.words) {
            *mine |= theirs;
        }
    }

    /// Whether every position of this set is in the other.
    pub fn within(&self, other: &Self) -> bool {
        self.words.iter().enumerate().all(|(at, word)| word & !other.words.get(at).copied().unwrap_or(0) == 0)
    }

    /// Whether the two sets share a position.
    pub fn meets(&self, other: &Self) -> bool {
        self.words.iter().zip(&other.words).any(|(a, b)| a & b != 0)
    }

    /// Whether nothing is in the set.
    pub fn is_empty(&self) -> bool {
        self.words.iter().all(|word| *word == 0)
    }

    /// The positions, rising.
    pub fn iter(&self) -> impl Iterator<Item = usize> + '_ {
        self.words.iter().enumerate().flat_map(|(at, word)| (0..64).filter(move |bit| word >> bit & 1 == 1).map(move |bit| at * 64 + bit))
    }
}

impl FromIterator<usize> for Bits {
    fn from_iter<I: IntoIterator<Item = usize>>(positions: I) -> Self {
        let mut bits = Self::new();
        for at in positions {
            bits.insert(at);
        }
        bits
    }
}
