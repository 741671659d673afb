//! Formulas as clauses for a SAT solver, by Tseitin's encoding: gates, counting, and the three truths as two such formulas.
//!
//! A gate is a fresh literal with the clauses that make it hold just where its formula does, in both directions, so that a
//! gate may be asked for or against and be part of any other. Gates are cached by their sorted inputs and never taken back:
//! they define, and shut nothing out. Only [`Tseitin::require`] and what is built on it does.

use std::collections::{BTreeMap, HashMap};

use batsat::{BasicSolver, Lit, SolverInterface, lbool};

/// A three-valued formula in dual-rail encoding: one literal for "certainly yes", one for "certainly no"; where neither
/// holds, it is unknown.
///
/// Kleene's tables become gates on the rails: "and" is yes where all are yes and no where some is no, "not" swaps the rails.
/// INVARIANT: no patient has both. A test of one fact gives disjoint rails, and the tables keep them so.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct DualRail {
    /// Holds where the condition is yes.
    pub yes: Lit,
    /// Holds where the condition is no.
    pub no: Lit,
}

impl DualRail {
    /// Turned round: Kleene's not.
    pub(crate) fn turned(self) -> Self {
        Self {
            yes: self.no,
            no: self.yes,
        }
    }
}

/// The gates, and the solver that holds their clauses.
pub struct Tseitin {
    solver: BasicSolver,
    always: Lit,
    gates: HashMap<Vec<Lit>, Lit>,
}

impl std::fmt::Debug for Tseitin {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Tseitin")
            .field("gates", &self.gates.len())
            .finish_non_exhaustive()
    }
}

impl Default for Tseitin {
    fn default() -> Self {
        let mut solver = BasicSolver::default();
        let always = Lit::new(solver.new_var_default(), true);
        solver.add_clause_reuse(&mut vec![always]);
        Self {
            solver,
            always,
            gates: HashMap::new(),
        }
    }
}

impl Tseitin {
    /// What always holds.
    pub(crate) fn always(&self) -> Lit {
        self.always
    }

    /// What never holds.
    pub(crate) fn never(&self) -> Lit {
        !self.always
    }

    /// A condition that comes to the same for every patient; unknown, if `None`.
    pub(crate) fn constant(&self, truth: Option<bool>) -> DualRail {
        let rail = |holds: bool| if holds { self.always } else { !self.always };
        DualRail {
            yes: rail(truth == Some(true)),
            no: rail(truth == Some(false)),
        }
    }

    /// A condition that is yes or no where something is known, as another thing holds there or not.
    pub(crate) fn where_known(&mut self, known: Lit, is: Lit) -> DualRail {
        DualRail {
            yes: self.all([known, is]),
            no: self.all([known, !is]),
        }
    }

    /// Something that may hold or not.
    pub(crate) fn free(&mut self) -> Lit {
        Lit::new(self.solver.new_var_default(), true)
    }

    /// So many of them.
    pub(crate) fn several(&mut self, n: usize) -> Vec<Lit> {
        (0..n).map(|_| self.free()).collect()
    }

    /// At least one of these must hold.
    pub(crate) fn require(&mut self, one_of: impl IntoIterator<Item = Lit>) {
        let mut clause: Vec<Lit> = one_of.into_iter().collect();
        self.solver.add_clause_reuse(&mut clause);
    }

    /// The second must hold where the first does.
    pub(crate) fn implies(&mut self, first: Lit, second: Lit) {
        self.require([!first, second]);
    }

    /// Both must hold or neither.
    pub(crate) fn same(&mut self, one: Lit, other: Lit) {
        self.implies(one, other);
        self.implies(other, one);
    }

    /// Holds where all of these do.
    pub(crate) fn all(&mut self, parts: impl IntoIterator<Item = Lit>) -> Lit {
        let mut parts: Vec<Lit> = parts.into_iter().filter(|it| *it != self.always).collect();
        parts.sort_unstable();
        parts.dedup();
        let contrary = parts
            .iter()
            .any(|it| *it == !self.always || parts.binary_search(&!*it).is_ok());
        match parts.as_slice() {
            _ if contrary => self.never(),
            [] => self.always,
            [one] => *one,
            _ => {
                if let Some(gate) = self.gates.get(&parts) {
                    return *gate;
                }
                let gate = self.free();
                for part in &parts {
                    self.implies(gate, *part);
                }
                self.require(parts.iter().map(|it| !*it).chain([gate]));
                self.gates.insert(parts, gate);
                gate
            }
        }
    }

    /// Holds where at least one of these does.
    pub(crate) fn any(&mut self, parts: impl IntoIterator<Item = Lit>) -> Lit {
        !self.all(parts.into_iter().map(|it| !it).collect::<Vec<_>>())
    }

    /// Holds where just one of the two does.
    pub(crate) fn differ(&mut self, one: Lit, other: Lit) -> Lit {
        let (only_one, only_other) = (self.all([one, !other]), self.all([!one, other]));
        self.any([only_one, only_other])
    }

    /// At most one of these may hold.
    pub(crate) fn at_most_one(&mut self, parts: &[Lit]) {
        // A chain of "one of those before holds", so that a hundred need some hundreds of clauses.
        let mut before = self.never();
        for part in parts {
            self.require([!before, !*part]);
            before = self.any([before, *part]);
        }
    }

    /// Holds where so many of these do, or more.
    pub(crate) fn at_least(&mut self, n: usize, parts: &[Lit]) -> Lit {
        // reached[k]: among the parts so far at least k hold.
        let mut reached: Vec<Lit> = (0..=n)
            .map(|k| if k == 0 { self.always } else { !self.always })
            .collect();
        for part in parts {
            let mut next = vec![self.always];
            for pair in reached.windows(2) {
                if let [fewer, enough] = pair {
                    let one_more = self.all([*fewer, *part]);
                    next.push(self.any([*enough, one_more]));
                }
            }
            reached = next;
        }
        reached.last().copied().unwrap_or(self.always)
    }

    /// For each sum that some of the parts can come to, what holds where they come to just that. Parts with their weights;
    /// only whole weights, so that equal sums are equal.
    pub(crate) fn sums(&mut self, parts: &[(Lit, i64)]) -> Vec<(i64, Lit)> {
        let mut sums = BTreeMap::from([(0, self.always)]);
        for (part, weight) in parts {
            let mut next: BTreeMap<i64, Vec<Lit>> = BTreeMap::new();
            for (sum, holds) in sums {
                let without = self.all([holds, !*part]);
                let with = self.all([holds, *part]);
                next.entry(sum).or_default().push(without);
                next.entry(sum + weight).or_default().push(with);
            }
            sums = next
                .into_iter()
                .map(|(sum, ways)| (sum, self.any(ways)))
                .collect();
        }
        sums.into_iter().collect()
    }

    /// Kleene's and of several.
    pub(crate) fn all_of(&mut self, parts: &[DualRail]) -> DualRail {
        DualRail {
            yes: self.all(parts.iter().map(|it| it.yes)),
            no: self.any(parts.iter().map(|it| it.no)),
        }
    }

    /// Kleene's or of several.
    pub(crate) fn any_of(&mut self, parts: &[DualRail]) -> DualRail {
        DualRail {
            yes: self.any(parts.iter().map(|it| it.yes)),
            no: self.all(parts.iter().map(|it| it.no)),
        }
    }

    /// Whether all of these can hold together. If so, [`Tseitin::holds`] tells what else does.
    pub fn possible(&mut self, together: &[Lit]) -> bool {
        self.solver.solve_limited(together) == lbool::TRUE
    }

    /// Whether something holds in what was found possible last; what nobody asked about does not.
    pub(crate) fn holds(&self, it: Lit) -> bool {
        self.solver.value_lit(it) == lbool::TRUE
    }
}
