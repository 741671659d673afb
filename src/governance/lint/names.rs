//! Names of the registers that can be taken for one another.
//!
//! Loading refuses one name with two meanings. What is left are names that differ only in how they are written, and names
//! of medicines one letter apart where a rule counts one of them and not the other: a slip of the pen is then understood,
//! and wrongly.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::{Remark, Subject};
use crate::diagnostic::Code;
use crate::load::registers::name_form;
use crate::load::written::Entry;
use crate::model::{Bits, Condition, Idx, Medicine, RuleSet};

/// Shorter names differ by one letter all the time, and nobody mistakes them for it.
const SHORTEST: usize = 6;

/// Names that differ only in spaces, hyphens and the like and mean different things, in each register and its classes.
pub fn collisions(subject: &Subject<'_>) -> Vec<Remark> {
    let medicines = &subject.rule_set.medicines;
    let mut meant: BTreeMap<&str, Bits<Medicine>> =
        medicines.names.iter().map(|(name, at)| (name.as_str(), Bits::from_iter([*at]))).collect();
    for class in &medicines.classes {
        // A medicine may bear the name of a class that it lies in: loading sees to that.
        meant.entry(&class.id).or_insert_with(|| class.members.clone());
    }
    let allergens = &subject.rule_set.allergens;
    let mut found = written_alike(subject, "medicines.yaml", meant);
    // Every medicine is a substance, too; what is so of two medicines has been told.
    let meant =
        allergens.names.iter().filter(|(name, _)| !medicines.names.contains_key(*name)).map(|(name, of)| (name.as_str(), of.clone()));
    found.extend(written_alike(subject, "allergens.yaml", meant.collect()));
    found
}

fn written_alike<Of: Clone>(subject: &Subject<'_>, file: &str, meant: BTreeMap<&str, Bits<Of>>) -> Vec<Remark> {
    let mut alike: BTreeMap<String, Vec<(&str, Bits<Of>)>> = BTreeMap::new();
    for (name, of) in meant {
        alike.entry(name.chars().filter(|it| it.is_alphanumeric()).collect()).or_default().push((name, of));
    }
    let entry = subject.written.file(file);
    let mut found = Vec::new();
    for group in alike.values() {
        for (at, (name, of)) in group.iter().enumerate() {
            // One lies in the other: a class, and a medicine of it that is called the same.
            let Some((first, _)) = group.iter().take(at).find(|(_, other)| !of.within(other) && !other.within(of)) else { continue };
            let title = format!("`{first}` and `{name}` are written nearly alike and mean different things");
            let place = entry.and_then(|it| place_of(it, name));
            found.push(Remark::at(Code::NameCollision, name, entry, place, title, "nearly the same name"));
        }
    }
    found
}

/// Where a name of a register stands.
fn place_of(file: Entry<'_>, name: &str) -> Option<std::ops::Range<usize>> {
    let mut place = None;
    file.walk(&mut |key, node| {
        if ["name", "also", "names", "id"].contains(&key) && node.text().is_some_and(|it| name_form(it) == name) {
            place = place.take().or_else(|| Some(node.span.clone()));
        }
    });
    place
}

/// Pairs of medicines with names one letter apart, of which some rule counts only one. One remark for each pair.
pub fn confusable(subject: &Subject<'_>) -> Vec<Remark> {
    let rule_set = subject.rule_set;
    let register = &rule_set.medicines;
    let names: BTreeMap<&str, Idx<Medicine>> =
        register.names.iter().map(|(name, at)| (name.as_str(), *at)).filter(|(name, _)| name.chars().count() >= SHORTEST).collect();
    let entry = subject.written.file("medicines.yaml");
    let mut told: BTreeSet<(Idx<Medicine>, Idx<Medicine>)> = BTreeSet::new();
    let mut found = Vec::new();
    for (first, second) in one_letter_apart(&names) {
        let (Some(&a), Some(&b)) = (names.get(first), names.get(second)) else { continue };
        if a == b || !told.insert((a.min(b), a.max(b))) {
            continue;
        }
        let Some(rule) = tells_apart(rule_set, a, b) else { continue };
        let about = &register.medicines[a].name;
        let title = format!("`{first}` and `{second}` are one letter apart, and `{rule}` counts only one of them");
        let place = entry.and_then(|it| place_of(it, first));
        let mut remark = Remark::at(Code::NamesConfusable, about, entry, place, title, "one letter apart");
        if let Some(place) = entry.and_then(|it| place_of(it, second)) {
            remark.diagnostic = remark.diagnostic.also(&place, "from this one");
        }
        found.push(remark);
    }
    found
}

/// The pairs of names of which one slip makes the other: a letter changed, left out or added, or two swapped.
fn one_letter_apart<'a>(names: &BTreeMap<&'a str, Idx<Medicine>>) -> BTreeSet<(&'a str, &'a str)> {
    // Two such names have a form in common with one letter less, or one is that form of the other.
    let mut shorter: HashMap<String, Vec<&'a str>> = HashMap::new();
    for name in names.keys() {
        shorter.entry((*name).to_owned()).or_default().push(name);
        for (left_out, _) in name.char_indices() {
            let form = name.char_indices().filter(|(at, _)| *at != left_out).map(|(_, letter)| letter).collect();
            shorter.entry(form).or_default().push(name);
        }
    }
    let mut pairs = BTreeSet::new();
    for alike in shorter.values().filter(|it| it.len() > 1) {
        for (at, first) in alike.iter().enumerate() {
            let others = alike.iter().skip(at + 1).filter(|it| *it != first);
            let near = others.filter(|it| strsim::damerau_levenshtein(first, it) == 1 && !told_apart_by_a_letter(first, it));
            pairs.extend(near.map(|it| (*first.min(it), *first.max(it))));
        }
    }
    pairs
}

/// Whether the letter is a word of the name ("vitamin d", "vitamin k2"): then everybody looks at it.
fn told_apart_by_a_letter(first: &str, second: &str) -> bool {
    let mut words = first.split(' ').zip(second.split(' ')).filter(|(a, b)| a != b);
    words.all(|(a, b)| a.chars().count().max(b.chars().count()) < SHORTEST / 2)
}

/// The first rule with a condition that counts one of two medicines and not the other.
fn tells_apart(rule_set: &RuleSet, a: Idx<Medicine>, b: Idx<Medicine>) -> Option<&str> {
    let rule = rule_set.rules.iter().find(|rule| {
        let mut apart = false;
        rule.when.visit(&mut |condition| {
            if let Condition::Taking { medicines, .. } = condition {
                apart |= medicines.contains(a) != medicines.contains(b);
            }
        });
        apart
    });
    rule.map(|it| it.id.as_str())
}
