//! The two lists of names, medicines and allergies, by what rules can tell apart of their entries.

use std::collections::{BTreeMap, BTreeSet};

use batsat::Lit;

use super::logic::Logic;
use super::space::{AllergyKind, MOST_CELLS, MedicineKind, Shape, TooLarge};
use crate::facts::AllergyEntry;
use crate::facts::holds::entry_allergic;
use crate::model::{AllergenRegister, Bits, Condition, Medicine, MedicineRegister, RuleSet};

/// The list of medicines: how many of each kind are on it.
///
/// # Errors
/// That there are too many kinds.
pub fn medicines(
    logic: &mut Logic,
    known: Lit,
    (rule_sets, further): (&[&RuleSet], &[&Condition]),
    most: usize,
    id: &str,
) -> Result<Shape, TooLarge> {
    let kinds = medicine_kinds(rule_sets, further);
    if kinds.len() > MOST_CELLS {
        return Err(TooLarge { fact: id.to_owned(), of: format!("{} kinds of medicines", kinds.len()) });
    }
    let counted = |logic: &mut Logic, n: usize| {
        let lits = logic.several(n);
        lits.iter().for_each(|it| logic.implies(*it, known));
        for pair in lits.windows(2) {
            if let [fewer, more] = pair {
                logic.implies(*more, *fewer);
            }
        }
        lits
    };
    let kinds = kinds.into_iter().map(|it| {
        let lits = counted(logic, most.min(it.names.len()));
        (it, lits)
    });
    let kinds = kinds.collect();
    Ok(Shape::Medicines { kinds, unrecognised: counted(logic, most) })
}

/// Medicines by what rules see of them: their classes as far as tested, and whether they are steroids.
fn medicine_kinds(rule_sets: &[&RuleSet], further: &[&Condition]) -> Vec<MedicineKind> {
    let mut wanted: Vec<(usize, Bits)> = Vec::new();
    for (at, rule_set) in rule_sets.iter().enumerate() {
        each_condition(rule_set, if at == 0 { further } else { &[] }, &mut |it| {
            if let Condition::Taking { medicines, .. } = it
                && !wanted.iter().any(|(of, bits)| *of == at && bits == medicines)
            {
                wanted.push((at, medicines.clone()));
            }
        });
    }
    let registers: Vec<&MedicineRegister> = rule_sets.iter().map(|it| &it.medicines).collect();
    let names: BTreeSet<String> = registers.iter().flat_map(|it| it.medicines.iter().map(|it| it.name.clone())).collect();
    // One register's synonym may be news to another.
    let further = registers.iter().flat_map(|it| it.names.keys()).filter(|it| !registers.iter().all(|of| of.names.contains_key(*it)));
    let names: BTreeSet<String> = names.iter().chain(further).cloned().collect();
    let mut kinds: BTreeMap<_, MedicineKind> = BTreeMap::new();
    for name in names {
        let places: Vec<Option<usize>> = registers.iter().map(|it| it.names.get(&name).copied()).collect();
        let member: Vec<bool> =
            wanted.iter().map(|(of, bits)| places.get(*of).copied().flatten().is_some_and(|at| bits.contains(at))).collect();
        let of = |at: usize| -> Option<&Medicine> { registers.get(at)?.medicines.get(places.get(at).copied().flatten()?) };
        let factors: Vec<Option<String>> = (0..registers.len()).map(|at| of(at)?.as_prednisolone.map(|it| it.to_string())).collect();
        let known_to: Vec<bool> = places.iter().map(Option::is_some).collect();
        let steroid = factors.iter().any(Option::is_some);
        let kind =
            kinds.entry((member, known_to.clone(), factors)).or_insert_with(|| MedicineKind { names: Vec::new(), known_to, steroid });
        kind.names.push(name);
    }
    kinds.into_values().collect()
}

fn each_condition<'a>(rule_set: &'a RuleSet, further: &[&'a Condition], see: &mut impl FnMut(&'a Condition)) {
    let of_rules = rule_set.rules.iter().map(|it| &it.when);
    let of_questions = rule_set.catalogue.questions.iter().filter_map(|it| it.ask_when.as_ref());
    of_rules.chain(of_questions).chain(further.iter().copied()).for_each(|it| it.visit(see));
}

/// The list of allergies: which kinds of entries are on it.
///
/// # Errors
/// That there are too many kinds.
pub fn allergies<'a>(
    logic: &mut Logic,
    known: Lit,
    (rule_sets, further): (&[&'a RuleSet], &[&'a Condition]),
    id: &str,
) -> Result<Shape, TooLarge> {
    let mut wanted: Vec<(usize, &Bits, Option<&Bits>)> = Vec::new();
    for (at, rule_set) in rule_sets.iter().enumerate() {
        each_condition(rule_set, if at == 0 { further } else { &[] }, &mut |it| {
            if let Condition::AllergicTo { substances, reactions, .. } = it
                && !wanted.iter().any(|(of, bits, only)| *of == at && *bits == substances && *only == reactions.as_ref())
            {
                wanted.push((at, substances, reactions.as_ref()));
            }
        });
    }
    let registers: Vec<&AllergenRegister> = rule_sets.iter().map(|it| &it.allergens).collect();
    let mut names: Vec<Option<&String>> = vec![None];
    names.extend(registers.iter().flat_map(|it| it.names.keys()).collect::<BTreeSet<_>>().into_iter().map(Some));
    let mut reactions: Vec<Option<&String>> = vec![None];
    reactions.extend(registers.iter().flat_map(|it| it.reactions.iter().map(|(id, _)| id)).collect::<BTreeSet<_>>().into_iter().map(Some));
    let mut kinds: BTreeMap<Vec<Option<bool>>, AllergyKind> = BTreeMap::new();
    for name in names {
        for reaction in &reactions {
            let entry = |of: usize| -> Option<AllergyEntry> {
                let register = registers.get(of)?;
                let at = reaction.and_then(|it| register.reactions.iter().position(|(id, _)| id == it));
                Some(entry_of(name.and_then(|it| register.names.get(it)).cloned(), at))
            };
            let entries: Vec<Option<AllergyEntry>> = (0..registers.len()).map(entry).collect();
            let seen = |(of, bits, only): &(usize, &Bits, Option<&Bits>)| {
                entries.get(*of).and_then(Option::as_ref).and_then(|it| entry_allergic(it, bits, *only))
            };
            let kind = AllergyKind {
                to: name.cloned().unwrap_or_default(),
                reaction: (*reaction).cloned(),
                recognised: name.is_some_and(|it| registers.first().is_some_and(|of| of.names.contains_key(it))),
            };
            let shorter = |it: &AllergyKind| (it.recognised, it.reaction.is_some(), it.to.len(), it.to.clone());
            let signature: Vec<Option<bool>> = wanted.iter().map(seen).collect();
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
        return Err(TooLarge { fact: id.to_owned(), of: format!("{} kinds of allergies", kinds.len()) });
    }
    let lits = logic.several(kinds.len());
    lits.iter().for_each(|it| logic.implies(*it, known));
    Ok(Shape::Allergies(kinds.into_values().zip(lits).collect()))
}

/// An entry as rules see it. Its place is nobody's: it is never shown.
pub fn entry_of(substances: Option<Bits>, reaction: Option<usize>) -> AllergyEntry {
    let source = std::sync::Arc::new(crate::source::Source::new("", ""));
    let place = crate::facts::Place { source, span: 0..0 };
    AllergyEntry { text: String::new(), substances, nearest: None, reaction, place }
}
