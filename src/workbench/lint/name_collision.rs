//! Names of the registers that differ only in how they are written. Loading refuses one name with two meanings.

use std::collections::BTreeMap;

use crate::document::diagnostic::Code;
use crate::rule_set::recognise;
use crate::rule_set::{Bits, Medicine};
use crate::workbench::lint::{Remark, Subject};
use crate::workbench::places::Entry;

/// Names that differ only in spaces, hyphens and the like and mean different things, in each register and its classes.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let medicines = &subject.rule_set.medicines;
    let mut meant: BTreeMap<&str, Bits<Medicine>> = medicines
        .names
        .iter()
        .map(|(name, at)| (name.as_str(), Bits::from_iter([*at])))
        .collect();
    for class in &medicines.classes {
        // A medicine may bear the name of a class that it lies in: loading sees to that.
        meant
            .entry(&class.id)
            .or_insert_with(|| class.members.clone());
    }
    let allergens = &subject.rule_set.allergens;
    let mut found = written_alike(subject, "medicines.yaml", meant);
    // Every medicine is a substance, too; what is so of two medicines has been told.
    let meant = allergens
        .names
        .iter()
        .filter(|(name, _)| !medicines.names.contains_key(*name))
        .map(|(name, of)| (name.as_str(), of.clone()));
    found.extend(written_alike(subject, "allergens.yaml", meant.collect()));
    found
}

fn written_alike<Of: Clone>(
    subject: &Subject<'_>,
    file: &str,
    meant: BTreeMap<&str, Bits<Of>>,
) -> Vec<Remark> {
    let mut alike: BTreeMap<String, Vec<(&str, Bits<Of>)>> = BTreeMap::new();
    for (name, of) in meant {
        alike
            .entry(name.chars().filter(|it| it.is_alphanumeric()).collect())
            .or_default()
            .push((name, of));
    }
    let entry = subject.files.entry(file);
    let mut found = Vec::new();
    for group in alike.values() {
        for (at, (name, of)) in group.iter().enumerate() {
            // One lies in the other: a class, and a medicine of it that is called the same.
            let Some((first, _)) = group
                .iter()
                .take(at)
                .find(|(_, other)| !of.within(other) && !other.within(of))
            else {
                continue;
            };
            let title = format!(
                "`{first}` and `{name}` are written nearly alike and mean different things"
            );
            let place = entry.and_then(|it| place_of(it, name));
            let remark = Remark::new(Code::NameCollision, name, title);
            found.push(remark.at(entry, place, "nearly the same name"));
        }
    }
    found
}

/// Where a name of a register stands.
pub(super) fn place_of(file: Entry<'_>, name: &str) -> Option<std::ops::Range<usize>> {
    let mut place = None;
    file.walk(&mut |key, node| {
        if ["name", "also", "names", "id"].contains(&key)
            && node.text().is_some_and(|it| recognise::form(it) == name)
        {
            place = place.take().or_else(|| Some(node.span.clone()));
        }
    });
    place
}
