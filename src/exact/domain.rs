//! The domain of one fact: what it may be, each possibility a literal.

use batsat::Lit;

use crate::exact::cells::Cell;
use crate::exact::tseitin::Tseitin;
use crate::quantity::span::Span;

/// Most cells of one fact, and most kinds of entries of one list. Beyond that nothing is decided exactly.
pub(crate) const MOST_CELLS: usize = 2_000;

/// Everything that one fact may be.
#[derive(Debug, Clone)]
pub struct Domain {
    /// Whether it is known.
    pub known: Lit,
    /// What it is, where it is known.
    pub shape: Shape,
}

/// What a known fact may be.
#[derive(Debug, Clone)]
pub enum Shape {
    /// One of these options.
    Choice(Vec<(String, Lit)>),
    /// Any of these options.
    Choices(Vec<(String, Lit)>),
    /// A number in one of these cells.
    Number {
        /// The cells, rising.
        cells: Vec<(Cell, Lit)>,
        /// Whether only whole numbers count.
        whole: bool,
    },
    /// A date, and what it is older than on the day of surgery. Meaningful where that day is known.
    Date {
        /// Each span that is tested, and whether the date is older.
        older: Vec<(Span, Lit)>,
        /// Days of the calendar, as numbers, that rise: whether the date is that day or a later one.
        days: Vec<(f64, Lit)>,
    },
    /// Medicines taken.
    Medicines {
        /// Kinds that rules can tell apart: names, and for each count from 1 on whether there are so many.
        kinds: Vec<(MedicineKind, Vec<Lit>)>,
        /// Whether there is one unrecognised entry, two, ...
        unrecognised: Vec<Lit>,
    },
    /// Allergies: kinds of entries that rules can tell apart.
    Allergies(Vec<(AllergyKind, Lit)>),
    /// A plan of local anaesthetics.
    Plan {
        /// Whether each agent is in it.
        agents: Vec<(String, Lit)>,
        /// Whether all strengths are known.
        strengths: Lit,
        /// Whether all volumes are known.
        volumes: Lit,
        /// For agents of which a local policy lists solutions: where the known strength lies.
        solutions: Vec<(String, Cell, Lit)>,
    },
    /// Free text, that no rule looks at.
    Text,
}

/// Medicines that no rule tells apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MedicineKind {
    /// Their names.
    pub names: Vec<String>,
    /// In which of the rule sets each is recognised.
    pub known_to: Vec<bool>,
    /// Whether it is a steroid that acts on the whole body, in any of them.
    pub steroid: bool,
    /// Whether it is one name that some rule set may take for the same medicine as another one.
    pub alone: bool,
}

/// Entries of the list of allergies that no rule tells apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AllergyKind {
    /// What is written as the substance.
    pub to: String,
    /// The reaction's word; `None` if none is written.
    pub reaction: Option<String>,
    /// Whether the first rule set recognises the substance.
    pub recognised: bool,
}

/// Why a rule set cannot be decided exactly.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TooLarge {
    /// The fact.
    pub fact: String,
    /// What there is too much of.
    pub of: String,
}

impl Shape {
    /// Everything that it is made of, in order; of a plan its agents alone.
    pub(crate) fn parts(&self) -> Vec<Lit> {
        match self {
            Self::Choice(options) | Self::Choices(options) => lits(options),
            Self::Plan { agents, .. } => lits(agents),
            Self::Number { cells, .. } => lits(cells),
            Self::Date { older, days } => [lits(older), lits(days)].concat(),
            Self::Medicines {
                kinds,
                unrecognised,
            } => {
                let counts = kinds.iter().flat_map(|(_, counts)| counts);
                counts.chain(unrecognised).copied().collect()
            }
            Self::Allergies(kinds) => lits(kinds),
            Self::Text => Vec::new(),
        }
    }
}

/// The literals of what they stand for.
pub(super) fn lits<Of>(parts: &[(Of, Lit)]) -> Vec<Lit> {
    parts.iter().map(|(_, lit)| *lit).collect()
}

/// The literals of those that are so.
pub(super) fn lits_if<Of>(parts: &[(Of, Lit)], is_so: impl Fn(&Of) -> bool) -> Vec<Lit> {
    let so = parts.iter().filter(|(of, _)| is_so(of));
    so.map(|(_, lit)| *lit).collect()
}

/// So many, just one of them where it is known, none where it is not.
pub(super) fn one_of(solver: &mut Tseitin, known: Lit, n: usize) -> Vec<Lit> {
    let lits = solver.several(n);
    solver.require(lits.iter().copied().chain([!known]));
    lits.iter().for_each(|it| solver.implies(*it, known));
    solver.at_most_one(&lits);
    lits
}

/// So many, any of them where it is known, none where it is not.
pub(super) fn any_of(solver: &mut Tseitin, known: Lit, n: usize) -> Vec<Lit> {
    let lits = solver.several(n);
    lits.iter().for_each(|it| solver.implies(*it, known));
    lits
}

/// So many, each only where the one before it holds, none where it is not known.
pub(super) fn rising(solver: &mut Tseitin, known: Lit, n: usize) -> Vec<Lit> {
    let lits = any_of(solver, known, n);
    for (before, after) in lits.iter().zip(lits.iter().skip(1)) {
        solver.implies(*after, *before);
    }
    lits
}
