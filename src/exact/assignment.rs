//! A model of the solver read as an assignment: a patient, fact by fact, before numbers are chosen.

use std::collections::{BTreeMap, BTreeSet};

use batsat::Lit;

use crate::exact::cells::Cell;
use crate::exact::domain::{AllergyKind, Shape};
use crate::exact::encoding::Encoding;
use crate::exact::tseitin::Tseitin;
use crate::quantity::span::Span;

/// What the model says of one patient, by the facts' names; what is missing is not there.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Assignment {
    /// Answers and derived facts.
    pub known: BTreeMap<String, Assigned>,
    /// Choices of the plan of which the clinic lists what it offers, and whether the choice is outside that.
    pub offers: BTreeMap<String, bool>,
    /// Questions that the clinic answers for every patient.
    pub standing: BTreeSet<String>,
}

/// The value assigned to a known fact: an option, a cell.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Assigned {
    /// This option.
    Choice(String),
    /// These options.
    Choices(Vec<String>),
    /// A number in this cell.
    Number(Cell, bool),
    /// A date.
    Date(Dated),
    /// Medicines by name, those that are steroids, and so many unrecognised ones.
    Medicines {
        /// Names.
        names: Vec<String>,
        /// The steroids among them.
        steroids: Vec<String>,
        /// Entries that no register knows.
        unrecognised: usize,
    },
    /// Allergies.
    Allergies(Vec<AllergyKind>),
    /// Agents, whether their strengths are told, whether their volumes are.
    Plan {
        /// Agents.
        agents: Vec<String>,
        /// Strengths.
        strengths: bool,
        /// Volumes.
        volumes: bool,
        /// Where the strengths lie, of agents of which a local policy lists solutions.
        solutions: Vec<(String, Cell)>,
    },
    /// A text.
    Text,
}

/// What is known of a date.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Dated {
    /// On the day of surgery it is older than these spans.
    pub older: Vec<Span>,
    /// It is not older than these.
    pub not_older: Vec<Span>,
    /// It is this day of the calendar or a later one.
    pub from: Option<f64>,
    /// It lies before this day.
    pub before: Option<f64>,
}

/// Reads the patient that was found possible last.
pub(crate) fn read(solver: &Tseitin, encoding: &Encoding) -> Assignment {
    let mut known = BTreeMap::new();
    for (name, domain) in &encoding.domains {
        if solver.holds(domain.known) {
            known.insert(name.clone(), told(solver, &domain.shape));
        }
    }
    let listed = encoding
        .offers
        .iter()
        .filter(|(_, (listed, _))| solver.holds(*listed));
    let standing = encoding
        .standing
        .iter()
        .filter(|(id, it)| solver.holds(**it) && known.contains_key(*id))
        .map(|(id, _)| id.clone())
        .collect();
    Assignment {
        known,
        standing,
        offers: listed
            .map(|(id, (_, outside))| (id.clone(), solver.holds(*outside)))
            .collect(),
    }
}

fn told(solver: &Tseitin, shape: &Shape) -> Assigned {
    let chosen = |options: &[(String, Lit)]| -> Vec<String> {
        options
            .iter()
            .filter(|(_, it)| solver.holds(*it))
            .map(|(id, _)| id.clone())
            .collect()
    };
    match shape {
        Shape::Choice(options) => {
            Assigned::Choice(chosen(options).into_iter().next().unwrap_or_default())
        }
        Shape::Choices(options) => Assigned::Choices(chosen(options)),
        Shape::Number { cells, whole } => match cells.iter().find(|(_, it)| solver.holds(*it)) {
            Some((cell, _)) => Assigned::Number(*cell, *whole),
            None => Assigned::Text,
        },
        Shape::Date { older, days } => {
            let of = |wanted: bool| {
                older
                    .iter()
                    .filter(|(_, it)| solver.holds(*it) == wanted)
                    .map(|(span, _)| *span)
                    .collect()
            };
            Assigned::Date(Dated {
                older: of(true),
                not_older: of(false),
                from: days
                    .iter()
                    .rev()
                    .find(|(_, it)| solver.holds(*it))
                    .map(|(day, _)| *day),
                before: days
                    .iter()
                    .find(|(_, it)| !solver.holds(*it))
                    .map(|(day, _)| *day),
            })
        }
        Shape::Medicines {
            kinds,
            unrecognised,
        } => {
            let count = |lits: &[Lit]| lits.iter().filter(|it| solver.holds(**it)).count();
            let mut names = Vec::new();
            let mut steroids = Vec::new();
            for (kind, counts) in kinds {
                let taken = kind.names.iter().take(count(counts)).cloned();
                if kind.steroid {
                    steroids.extend(taken)
                } else {
                    names.extend(taken)
                }
            }
            names.extend(steroids.iter().cloned());
            Assigned::Medicines {
                names,
                steroids,
                unrecognised: count(unrecognised),
            }
        }
        Shape::Allergies(kinds) => Assigned::Allergies(
            kinds
                .iter()
                .filter(|(_, it)| solver.holds(*it))
                .map(|(it, _)| it.clone())
                .collect(),
        ),
        Shape::Plan {
            agents,
            strengths,
            volumes,
            solutions,
        } => Assigned::Plan {
            agents: chosen(agents),
            strengths: solver.holds(*strengths),
            volumes: solver.holds(*volumes),
            solutions: solutions
                .iter()
                .filter(|(_, _, it)| solver.holds(*it))
                .map(|(id, cell, _)| (id.clone(), *cell))
                .collect(),
        },
        Shape::Text => Assigned::Text,
    }
}

/// A minimal model: leaves out whatever can be left out while all of these still hold together, and finds the rest possible.
///
/// By deletion: each part is tried without in turn, and stays out if the solver still finds a model with everything that was
/// left out before. A part that had to stay would have to stay beside fewer others, too, so that one pass is enough: nothing
/// of what is left can be left out alone. It is minimal by inclusion, not by count, and takes one call of the solver a part,
/// less where the last model does without it already.
///
/// # Returns
/// What was asked for and what was left out: together they are possible, and found so last. Empty if nothing is possible.
pub(crate) fn minimal_model(
    solver: &mut Tseitin,
    encodings: &[&Encoding],
    together: &[Lit],
) -> Vec<Lit> {
    if !solver.possible(together) {
        return Vec::new();
    }
    let mut kept: Vec<Lit> = together.to_vec();
    kept.push(solver.always());
    let leave = |solver: &mut Tseitin, kept: &mut Vec<Lit>, without: Lit| {
        kept.push(without);
        if !solver.holds(without) && !solver.possible(kept) {
            kept.pop();
            solver.possible(kept);
        }
    };
    for encoding in encodings {
        for it in without(encoding) {
            leave(solver, &mut kept, it);
        }
    }
    kept
}

/// What makes a model smaller: answers left out, then parts of answers.
fn without(encoding: &Encoding) -> Vec<Lit> {
    let mut found: Vec<Lit> = encoding
        .offers
        .values()
        .map(|(listed, _)| !*listed)
        .chain(encoding.standing.values().map(|it| !*it))
        .collect();
    // Details stand behind what opens them; derived facts go with their answers.
    found.extend(
        encoding
            .domains
            .iter()
            .rev()
            .filter(|(name, _)| !name.starts_with("derived."))
            .map(|(_, it)| !it.known),
    );
    for domain in encoding.domains.values() {
        match &domain.shape {
            shape @ (Shape::Choices(_) | Shape::Allergies(_) | Shape::Plan { .. }) => {
                found.extend(shape.parts().into_iter().map(|it| !it))
            }
            Shape::Medicines {
                kinds,
                unrecognised,
            } => {
                found.extend(unrecognised.iter().rev().map(|it| !*it));
                let counts = kinds.iter().flat_map(|(_, it)| it.iter().rev());
                found.extend(counts.map(|it| !*it));
            }
            _ => {}
        }
    }
    found
}

/// The blocking clause of the last model on these facts: at least one of them must be otherwise.
///
/// It names all that the arithmetic went by, known or not, the cell of each number and each option, and nothing else. So it
/// shuts out every model that shares what was shown to clash, however it differs beside, and no other.
pub(crate) fn blocking_clause(solver: &Tseitin, encoding: &Encoding, names: &[&str]) -> Vec<Lit> {
    let mut found = Vec::new();
    for domain in names.iter().filter_map(|it| encoding.domains.get(*it)) {
        let mut lits = vec![domain.known];
        if solver.holds(domain.known) {
            match &domain.shape {
                shape @ (Shape::Choice(_) | Shape::Choices(_) | Shape::Date { .. }) => {
                    lits.extend(shape.parts())
                }
                shape @ Shape::Number { .. } => {
                    lits.extend(shape.parts().into_iter().filter(|it| solver.holds(*it)))
                }
                Shape::Medicines {
                    kinds,
                    unrecognised,
                } => {
                    let steroids = kinds.iter().filter(|(it, _)| it.steroid);
                    lits.extend(steroids.flat_map(|(_, it)| it));
                    lits.extend(unrecognised);
                }
                Shape::Allergies(_) | Shape::Text => {}
                shape @ Shape::Plan {
                    strengths,
                    volumes,
                    solutions,
                    ..
                } => {
                    lits.extend(shape.parts());
                    lits.extend([*strengths, *volumes]);
                    let solutions = solutions.iter().map(|(.., it)| *it);
                    lits.extend(solutions.filter(|it| solver.holds(*it)));
                }
            }
        }
        let otherwise = |it: Lit| if solver.holds(it) { !it } else { it };
        found.extend(lits.into_iter().map(otherwise));
    }
    found
}
