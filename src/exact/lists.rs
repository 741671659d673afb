//! Lists of a space: medicines, allergies and planned anaesthetics, by the kinds of entries that rules can tell apart.

use std::collections::{BTreeMap, BTreeSet};

use batsat::Lit;

use crate::exact::cells::{Cut, cells};
use crate::exact::domain::{
    AllergyKind, MOST_CELLS, MedicineKind, Shape, TooLarge, any_of, one_of, rising,
};
use crate::exact::tseitin::Tseitin;
use crate::questionnaire::facts::AllergyEntry;
use crate::questionnaire::facts::truth_of::entry_allergic;
use crate::rule_set::recognise;
use crate::rule_set::recognise::Recognised;
use crate::rule_set::{
    Agent, AllergenRegister, Bits, Condition, Idx, Medicine, MedicineRegister, Offered, Reaction,
    RuleSet, Substance,
};

/// Medicines: of each kind that rules can tell apart, how many.
///
/// # Errors
/// There are too many kinds.
pub(crate) fn medicines(
    solver: &mut Tseitin,
    known: Lit,
    rule_sets: &[&RuleSet],
    further: &[&Condition],
    most: usize,
    id: &str,
) -> Result<Shape, TooLarge> {
    let kinds = medicine_kinds(rule_sets, further);
    if kinds.len() > MOST_CELLS {
        return Err(TooLarge {
            fact: id.to_owned(),
            of: format!("{} kinds of medicines", kinds.len()),
        });
    }
    let kinds = kinds.into_iter().map(|kind| {
        let lits = rising(solver, known, most.min(kind.names.len()));
        (kind, lits)
    });
    let kinds = kinds.collect();
    Ok(Shape::Medicines {
        kinds,
        unrecognised: rising(solver, known, most),
    })
}

/// Medicines by what rules see of them: their classes as far as tested, and whether they are steroids.
fn medicine_kinds(rule_sets: &[&RuleSet], further: &[&Condition]) -> Vec<MedicineKind> {
    let mut wanted: Vec<(usize, Bits<Medicine>)> = Vec::new();
    for at in 0..rule_sets.len() {
        each_condition(rule_sets, further, at, &mut |condition| {
            if let Condition::Taking { medicines, .. } = condition
                && !wanted
                    .iter()
                    .any(|(of, bits)| *of == at && bits == medicines)
            {
                wanted.push((at, medicines.clone()));
            }
        });
    }
    let registers: Vec<&MedicineRegister> = rule_sets.iter().map(|it| &it.medicines).collect();
    let places = |name: &str| -> Vec<Option<Idx<Medicine>>> {
        registers.iter().map(|it| recognised(it, name)).collect()
    };
    let medicine = |of: usize, at: Option<Idx<Medicine>>| -> Option<&Medicine> {
        Some(&registers.get(of)?.medicines[at?])
    };
    let mains: BTreeSet<String> = registers
        .iter()
        .flat_map(|register| register.medicines.iter().map(|it| it.name.clone()))
        .collect();
    // What the registers take for different medicines, or what only one of them recognises.
    let differs = |name: &String| {
        let places = places(name);
        let mut means = places
            .iter()
            .enumerate()
            .map(|(of, at)| medicine(of, *at).map(|it| &it.name));
        let first = means.next().flatten();
        first.is_none() || means.any(|it| it != first)
    };
    let synonyms = registers.iter().flat_map(|it| it.names.keys().cloned());
    let with_words = mains
        .iter()
        .flat_map(|name| own_words(&registers).map(move |word| format!("{name} {word}")));
    let foreign: BTreeSet<String> = if registers.len() > 1 {
        mains
            .iter()
            .cloned()
            .chain(synonyms)
            .chain(with_words.collect::<Vec<_>>())
            .filter(differs)
            .collect()
    } else {
        BTreeSet::new()
    };
    let meant: BTreeSet<(usize, Idx<Medicine>)> = foreign
        .iter()
        .flat_map(|it| places(it).into_iter().enumerate())
        .filter_map(|(of, at)| Some((of, at?)))
        .collect();
    let mut kinds: BTreeMap<_, MedicineKind> = BTreeMap::new();
    for name in mains.into_iter().chain(foreign).collect::<BTreeSet<_>>() {
        let places = places(&name);
        let member: Vec<bool> = wanted
            .iter()
            .map(|(of, bits)| {
                places
                    .get(*of)
                    .copied()
                    .flatten()
                    .is_some_and(|at| bits.contains(at))
            })
            .collect();
        let factor = |medicine: &Medicine| {
            Some(format!(
                "{} {}",
                medicine.as_prednisolone?, medicine.adrenal_as_prednisolone?
            ))
        };
        let factors: Vec<Option<String>> = places
            .iter()
            .enumerate()
            .map(|(of, at)| medicine(of, *at).and_then(factor))
            .collect();
        let known_to: Vec<bool> = places.iter().map(Option::is_some).collect();
        let steroid = factors.iter().any(Option::is_some);
        let alone = places
            .iter()
            .enumerate()
            .any(|(of, at)| at.is_some_and(|at| meant.contains(&(of, at))));
        let kind = kinds
            .entry((
                member,
                known_to.clone(),
                factors,
                alone.then(|| name.clone()),
            ))
            .or_insert_with(|| MedicineKind {
                names: Vec::new(),
                known_to,
                steroid,
                alone,
            });
        kind.names.push(name);
    }
    kinds.into_values().collect()
}

/// The medicine that a register takes a text for.
pub(crate) fn recognised(register: &MedicineRegister, name: &str) -> Option<Idx<Medicine>> {
    match recognise::medicine(register, name) {
        Recognised::As(at) => Some(at),
        Recognised::Not { .. } => None,
    }
}

/// Words after a name that only some registers pass over, one for each set of those that do.
fn own_words<'a>(registers: &[&'a MedicineRegister]) -> impl Iterator<Item = &'a String> + use<'a> {
    let words = |it: &&'a MedicineRegister| it.dose_words.iter().chain(&it.salt_words);
    let knows = |it: &&MedicineRegister, word: &String| {
        it.dose_words.contains(word) || it.salt_words.contains(word)
    };
    let by: BTreeMap<Vec<bool>, &String> = registers
        .iter()
        .flat_map(words)
        .map(|word| (registers.iter().map(|it| knows(it, word)).collect(), word))
        .collect();
    by.into_iter()
        .filter(|(known, _)| known.contains(&false))
        .map(|(_, word)| word)
        .collect::<Vec<_>>()
        .into_iter()
}

/// Every condition of one rule set, by position; the first one's are those beside its rules, too.
fn each_condition<'a>(
    rule_sets: &[&'a RuleSet],
    further: &[&'a Condition],
    at: usize,
    see: &mut impl FnMut(&'a Condition),
) {
    if let Some(rule_set) = rule_sets.get(at) {
        rule_set.conditions().for_each(|it| it.visit(see));
    }
    if at == 0 {
        further.iter().for_each(|it| it.visit(see));
    }
}

/// A test of allergies: of which rule set, of which substances, and of which reactions only.
type AllergyTest<'a> = (usize, &'a Bits<Substance>, Option<&'a Bits<Reaction>>);

/// Allergies: each kind of entry that rules can tell apart.
///
/// # Errors
/// There are too many kinds.
pub(crate) fn allergies(
    solver: &mut Tseitin,
    known: Lit,
    rule_sets: &[&RuleSet],
    further: &[&Condition],
    id: &str,
) -> Result<Shape, TooLarge> {
    let mut wanted: Vec<AllergyTest<'_>> = Vec::new();
    for at in 0..rule_sets.len() {
        each_condition(rule_sets, further, at, &mut |condition| {
            if let Condition::AllergicTo {
                substances,
                reactions,
                ..
            } = condition
                && !wanted.iter().any(|(of, bits, only)| {
                    *of == at && *bits == substances && *only == reactions.as_ref()
                })
            {
                wanted.push((at, substances, reactions.as_ref()));
            }
        });
    }
    let registers: Vec<&AllergenRegister> = rule_sets.iter().map(|it| &it.allergens).collect();
    let mut names: Vec<Option<&String>> = vec![None];
    names.extend(
        registers
            .iter()
            .flat_map(|it| it.names.keys())
            .collect::<BTreeSet<_>>()
            .into_iter()
            .map(Some),
    );
    let mut reactions: Vec<Option<&String>> = vec![None];
    // A reaction that one of them refuses is not compared.
    let in_all = |id: &String| {
        registers
            .iter()
            .all(|register| register.reactions.iter().any(|it| it.id == *id))
    };
    let words: BTreeSet<&String> = registers
        .iter()
        .flat_map(|register| register.reactions.iter().map(|it| &it.id))
        .collect();
    reactions.extend(words.into_iter().filter(|it| in_all(it)).map(Some));
    let mut kinds: BTreeMap<Vec<Option<bool>>, AllergyKind> = BTreeMap::new();
    for name in names {
        for reaction in &reactions {
            let entry = |of: usize| -> Option<AllergyEntry> {
                let register = registers.get(of)?;
                let at =
                    reaction.and_then(|it| register.reactions.position(|known| known.id == *it));
                Some(entry_of(
                    name.and_then(|it| register.names.get(it)).cloned(),
                    at,
                ))
            };
            let entries: Vec<Option<AllergyEntry>> = (0..registers.len()).map(entry).collect();
            let seen = |(of, bits, only): &AllergyTest<'_>| {
                entries
                    .get(*of)
                    .and_then(Option::as_ref)
                    .and_then(|it| entry_allergic(it, bits, *only))
            };
            let kind = AllergyKind {
                to: name.map_or_else(String::new, Clone::clone),
                reaction: (*reaction).cloned(),
                recognised: name.is_some_and(|name| {
                    registers
                        .first()
                        .is_some_and(|of| of.names.contains_key(name))
                }),
            };
            let shorter = |kind: &AllergyKind| {
                (
                    kind.recognised,
                    kind.reaction.is_some(),
                    kind.to.len(),
                    kind.to.clone(),
                )
            };
            // A name that a rule set does not know holds its verdict, whatever its rules.
            let knows =
                |of: &&AllergenRegister| Some(name.is_some_and(|it| of.names.contains_key(it)));
            let signature: Vec<Option<bool>> = wanted
                .iter()
                .map(seen)
                .chain(registers.iter().map(knows))
                .collect();
            match kinds.get_mut(&signature) {
                Some(old) if shorter(&kind) < shorter(old) => *old = kind,
                Some(_) => {}
                None => {
                    kinds.insert(signature, kind);
                }
            }
        }
    }
    if kinds.len() > MOST_CELLS {
        return Err(TooLarge {
            fact: id.to_owned(),
            of: format!("{} kinds of allergies", kinds.len()),
        });
    }
    let lits = any_of(solver, known, kinds.len());
    Ok(Shape::Allergies(kinds.into_values().zip(lits).collect()))
}

/// An entry as rules see it. Its place is nobody's: it is never shown.
pub fn entry_of(
    substances: Option<Bits<Substance>>,
    reaction: Option<Idx<Reaction>>,
) -> AllergyEntry {
    let source = std::sync::Arc::new(crate::document::source::Source::new("", ""));
    let place = crate::questionnaire::facts::Place { source, span: 0..0 };
    AllergyEntry {
        text: String::new(),
        details: String::new(),
        substances,
        nearest: None,
        reaction,
        place,
    }
}

/// A plan of the agents that every rule set has that asks for one, of strengths that all of them accept.
pub(crate) fn plan(solver: &mut Tseitin, known: Lit, rule_sets: &[&RuleSet]) -> Shape {
    let asking: Vec<&RuleSet> = rule_sets
        .iter()
        .copied()
        .filter(|it| it.catalogue.anaesthetic.is_some())
        .collect();
    let in_all = |id: &String| {
        asking
            .iter()
            .all(|rule_set| rule_set.agents.iter().any(|it| it.id == *id))
    };
    let ids: BTreeSet<&String> = asking
        .iter()
        .flat_map(|rule_set| rule_set.agents.iter().map(|it| &it.id))
        .filter(|it| in_all(it))
        .collect();
    let lits = any_of(solver, known, ids.len());
    let (strengths, volumes) = (solver.free(), solver.free());
    solver.implies(strengths, known);
    solver.implies(volumes, known);
    let agents: Vec<(String, Lit)> = ids.into_iter().cloned().zip(lits).collect();
    let mut solutions = Vec::new();
    for (id, lit) in &agents {
        let listed: Vec<f64> = asking.iter().flat_map(|it| listed(it, id)).collect();
        if listed.is_empty() {
            continue;
        }
        let ranges = asking
            .iter()
            .flat_map(|it| &it.agents)
            .filter(|it| it.id == *id)
            .map(|it| it.strengths);
        let ends = ranges.fold((f64::NEG_INFINITY, f64::INFINITY), |(low, high), it| {
            (low.max(it.0), high.min(it.1))
        });
        let cuts = listed
            .into_iter()
            .flat_map(|at| [false, true].map(|value_below| Cut { at, value_below }));
        let cells = cells(cuts.collect(), ends, false);
        let told = solver.all([*lit, strengths]);
        let lits = one_of(solver, told, cells.len());
        solutions.extend(
            cells
                .into_iter()
                .zip(lits)
                .map(|(cell, lit)| (id.clone(), cell, lit)),
        );
    }
    Shape::Plan {
        agents,
        strengths,
        volumes,
        solutions,
    }
}

/// The strengths of an agent to which a rule set's local policy keeps.
pub(crate) fn listed(rule_set: &RuleSet, agent: &str) -> Vec<f64> {
    let plan = rule_set.catalogue.anaesthetic;
    let offered = rule_set
        .local
        .as_ref()
        .zip(plan)
        .and_then(|(it, slot)| it.offers.get(&slot));
    let Some(Offered::Solutions(solutions)) = offered else {
        return Vec::new();
    };
    let of = |at: Idx<Agent>| rule_set.agents[at].id == agent;
    solutions
        .iter()
        .filter(|(at, _)| of(*at))
        .map(|(_, percent)| *percent)
        .collect()
}
