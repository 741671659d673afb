//! Names of medicines one letter apart where a rule counts one of them and not the other: a slip of the pen is then
//! understood, and wrongly.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use crate::document::diagnostic::Code;
use crate::rule_set::{Condition, Idx, Medicine, RuleSet};
use crate::workbench::lint::name_collision::place_of;
use crate::workbench::lint::{Remark, Subject};

/// Shorter names differ by one letter all the time, and nobody mistakes them for it.
const SHORTEST: usize = 6;

/// Pairs of medicines with names one letter apart, of which some rule counts only one. One remark for each pair.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let rule_set = subject.rule_set;
    let register = &rule_set.medicines;
    let names: BTreeMap<&str, Idx<Medicine>> = register
        .names
        .iter()
        .map(|(name, at)| (name.as_str(), *at))
        .filter(|(name, _)| name.chars().count() >= SHORTEST)
        .collect();
    let entry = subject.files.entry("medicines.yaml");
    let mut told: BTreeSet<(Idx<Medicine>, Idx<Medicine>)> = BTreeSet::new();
    let mut found = Vec::new();
    for (first, second) in one_letter_apart(&names) {
        let (Some(&a), Some(&b)) = (names.get(first), names.get(second)) else {
            continue;
        };
        if a == b || !told.insert((a.min(b), a.max(b))) {
            continue;
        }
        let Some(rule) = tells_apart(rule_set, a, b) else {
            continue;
        };
        let about = &register.medicines[a].name;
        let title = format!(
            "`{first}` and `{second}` are one letter apart, and `{rule}` counts only one of them"
        );
        let place = entry.and_then(|it| place_of(it, first));
        let mut remark =
            Remark::new(Code::NamesConfusable, about, title).at(entry, place, "one letter apart");
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
            let form = name
                .char_indices()
                .filter(|(at, _)| *at != left_out)
                .map(|(_, letter)| letter)
                .collect();
            shorter.entry(form).or_default().push(name);
        }
    }
    let mut pairs = BTreeSet::new();
    for alike in shorter.values().filter(|it| it.len() > 1) {
        for (at, first) in alike.iter().enumerate() {
            let others = alike.iter().skip(at + 1).filter(|it| *it != first);
            let near = others.filter(|it| {
                strsim::damerau_levenshtein(first, it) == 1 && !told_apart_by_a_letter(first, it)
            });
            pairs.extend(near.map(|it| (*first.min(it), *first.max(it))));
        }
    }
    pairs
}

/// Whether the letter is a word of the name ("vitamin d", "vitamin k2"): then everybody looks at it.
fn told_apart_by_a_letter(first: &str, second: &str) -> bool {
    let mut words = first
        .split(' ')
        .zip(second.split(' '))
        .filter(|(a, b)| a != b);
    words.all(|(a, b)| a.chars().count().max(b.chars().count()) < SHORTEST / 2)
}

/// The first rule with a condition that counts one of two medicines and not the other.
fn tells_apart(rule_set: &RuleSet, a: Idx<Medicine>, b: Idx<Medicine>) -> Option<&str> {
    let apart = |it: &Condition| match it {
        Condition::Taking { medicines, .. } => medicines.contains(a) != medicines.contains(b),
        _ => false,
    };
    let rule = rule_set.rules().find(|rule| rule.when.has(apart));
    rule.map(|it| it.id.as_str())
}
