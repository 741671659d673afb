//! A patient of a space: what the solver found, fact by fact, before numbers are chosen.

use std::collections::{BTreeMap, BTreeSet};

use batsat::Lit;

use super::cells::Cell;
use super::logic::Logic;
use super::space::{AllergyKind, Shape, Space};
use crate::quantity::span::Span;

/// What is known of one patient, by the facts' names; what is missing is not there.
#[derive(Debug, Clone, PartialEq)]
pub struct Patient {
    /// Answers and derived facts.
    pub known: BTreeMap<String, Told>,
    /// Choices of the plan of which the clinic lists what it offers, and whether the choice is outside that.
    pub offers: BTreeMap<String, bool>,
    /// Questions that the clinic answers for every patient.
    pub standing: BTreeSet<String>,
}

/// What a known fact is.
#[derive(Debug, Clone, PartialEq)]
pub enum Told {
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
pub struct Dated {
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
pub fn read(logic: &Logic, space: &Space) -> Patient {
    let mut known = BTreeMap::new();
    for (name, domain) in &space.domains {
        if logic.holds(domain.known) {
            known.insert(name.clone(), told(logic, &domain.shape));
        }
    }
    let listed = space.offers.iter().filter(|(_, (listed, _))| logic.holds(*listed));
    let standing =
        space.standing.iter().filter(|(id, it)| logic.holds(**it) && known.contains_key(*id)).map(|(id, _)| id.clone()).collect();
    Patient { known, standing, offers: listed.map(|(id, (_, outside))| (id.clone(), logic.holds(*outside))).collect() }
}

fn told(logic: &Logic, shape: &Shape) -> Told {
    let chosen = |options: &[(String, Lit)]| -> Vec<String> {
        options.iter().filter(|(_, it)| logic.holds(*it)).map(|(id, _)| id.clone()).collect()
    };
    match shape {
        Shape::Choice(options) => Told::Choice(chosen(options).into_iter().next().unwrap_or_default()),
        Shape::Choices(options) => Told::Choices(chosen(options)),
        Shape::Number { cells, whole } => match cells.iter().find(|(_, it)| logic.holds(*it)) {
            Some((cell, _)) => Told::Number(*cell, *whole),
            None => Told::Text,
        },
        Shape::Date { older, days } => {
            let of = |wanted: bool| older.iter().filter(|(_, it)| logic.holds(*it) == wanted).map(|(span, _)| *span).collect();
            Told::Date(Dated {
                older: of(true),
                not_older: of(false),
                from: days.iter().rev().find(|(_, it)| logic.holds(*it)).map(|(day, _)| *day),
                before: days.iter().find(|(_, it)| !logic.holds(*it)).map(|(day, _)| *day),
            })
        }
        Shape::Medicines { kinds, unrecognised } => {
            let count = |lits: &[Lit]| lits.iter().filter(|it| logic.holds(**it)).count();
            let mut names = Vec::new();
            let mut steroids = Vec::new();
            for (kind, counts) in kinds {
                let taken = kind.names.iter().take(count(counts)).cloned();
                if kind.steroid { steroids.extend(taken) } else { names.extend(taken) }
            }
            names.extend(steroids.iter().cloned());
            Told::Medicines { names, steroids, unrecognised: count(unrecognised) }
        }
        Shape::Allergies(kinds) => Told::Allergies(kinds.iter().filter(|(_, it)| logic.holds(*it)).map(|(it, _)| it.clone()).collect()),
        Shape::Plan { agents, strengths, volumes, solutions } => Told::Plan {
            agents: chosen(agents),
            strengths: logic.holds(*strengths),
            volumes: logic.holds(*volumes),
            solutions: solutions.iter().filter(|(_, _, it)| logic.holds(*it)).map(|(id, cell, _)| (id.clone(), *cell)).collect(),
        },
        Shape::Text => Told::Text,
    }
}

/// Leaves out whatever can be left out while all of these still hold together, and finds what is left possible.
///
/// # Returns
/// What was asked for and what was left out: together they are possible, and found so last. Empty if nothing is possible.
pub fn smallest(logic: &mut Logic, spaces: &[&Space], together: &[Lit]) -> Vec<Lit> {
    if !logic.possible(together) {
        return Vec::new();
    }
    let mut kept: Vec<Lit> = together.to_vec();
    kept.push(logic.always());
    let leave = |logic: &mut Logic, kept: &mut Vec<Lit>, without: Lit| {
        kept.push(without);
        if !logic.holds(without) && !logic.possible(kept) {
            kept.pop();
            logic.possible(kept);
        }
    };
    for space in spaces {
        for it in without(space) {
            leave(logic, &mut kept, it);
        }
    }
    kept
}

/// What makes a patient smaller: answers, then parts of answers.
fn without(space: &Space) -> Vec<Lit> {
    let mut found: Vec<Lit> = space.offers.values().map(|(listed, _)| !*listed).chain(space.standing.values().map(|it| !*it)).collect();
    // Details stand behind what opens them; derived facts go with their answers.
    found.extend(space.domains.iter().rev().filter(|(name, _)| !name.starts_with("derived.")).map(|(_, it)| !it.known));
    for domain in space.domains.values() {
        match &domain.shape {
            Shape::Choices(options) => found.extend(options.iter().map(|(_, it)| !*it)),
            Shape::Medicines { kinds, unrecognised } => {
                found.extend(unrecognised.iter().rev().map(|it| !*it));
                found.extend(kinds.iter().flat_map(|(_, it)| it.iter().rev()).map(|it| !*it));
            }
            Shape::Allergies(kinds) => found.extend(kinds.iter().map(|(_, it)| !*it)),
            Shape::Plan { agents, .. } => found.extend(agents.iter().map(|(_, it)| !*it)),
            _ => {}
        }
    }
    found
}

/// Everything that the solver has said about these facts, so that just this can be shut out.
pub fn said(logic: &Logic, space: &Space, names: &[&str]) -> Vec<Lit> {
    let mut found = Vec::new();
    for domain in names.iter().filter_map(|it| space.domains.get(*it)) {
        let mut lits = vec![domain.known];
        if logic.holds(domain.known) {
            match &domain.shape {
                Shape::Choice(options) | Shape::Choices(options) => lits.extend(options.iter().map(|(_, it)| *it)),
                Shape::Number { cells, .. } => lits.extend(cells.iter().map(|(_, it)| *it).filter(|it| logic.holds(*it))),
                Shape::Date { older, days } => {
                    lits.extend(older.iter().map(|(_, it)| *it));
                    lits.extend(days.iter().map(|(_, it)| *it));
                }
                Shape::Medicines { kinds, unrecognised } => {
                    lits.extend(kinds.iter().filter(|(it, _)| it.steroid).flat_map(|(_, it)| it.clone()));
                    lits.extend(unrecognised);
                }
                Shape::Allergies(_) | Shape::Text => {}
                Shape::Plan { agents, strengths, volumes, solutions } => {
                    lits.extend(agents.iter().map(|(_, it)| *it));
                    lits.extend([*strengths, *volumes]);
                    lits.extend(solutions.iter().map(|(_, _, it)| *it).filter(|it| logic.holds(*it)));
                }
            }
        }
        found.extend(lits.into_iter().map(|it| if logic.holds(it) { it } else { !it }));
    }
    found
}
