//! A medicine in classes that have nothing to do with one another: an anticoagulant among the statins.
//!
//! The classes that no other holds are the families. Some of them gather medicines of many kinds by one effect, such as what
//! moves the INR: most of their members lie in another family, too. Where two families of which neither is so share one
//! medicine alone, its class was perhaps mistyped. Mixtures belong to the families of their parts.

use crate::document::diagnostic::Code;
use crate::rule_set::files::TextFile;
use crate::rule_set::{Bits, Condition, Idx, Medicine, Term};
use crate::workbench::lint::{Remark, Subject};

/// A remark on each medicine that alone joins two families, and that some rule counts.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let register = &subject.rule_set.medicines;
    // A register of another rule set is looked at where it is kept, and mended there.
    let Some(file) = subject
        .files
        .own("medicines.yaml")
        .and_then(TextFile::entry)
    else {
        return Vec::new();
    };
    let is_whole = |class: &&Term<Medicine>| {
        file.listed("classes", "id", &class.id)
            .is_some_and(|it| it.node.get("in").is_none())
    };
    let classes: Vec<&Term<Medicine>> = register.classes.iter().filter(is_whole).collect();
    let single: Vec<Idx<Medicine>> = register
        .medicines
        .entries()
        .filter(|(_, it)| !is_mixture(it))
        .map(|(at, _)| at)
        .collect();
    let n_classes = |at: Idx<Medicine>| classes.iter().filter(|it| it.members.contains(at)).count();
    let is_family = |class: &Term<Medicine>| {
        let members: Vec<Idx<Medicine>> = single
            .iter()
            .copied()
            .filter(|it| class.members.contains(*it))
            .collect();
        2 * members.iter().filter(|it| n_classes(**it) == 1).count() > members.len()
    };
    let families: Vec<&Term<Medicine>> =
        classes.iter().copied().filter(|it| is_family(it)).collect();
    let counted = counted(subject);
    let mut found = Vec::new();
    for (at, first) in families.iter().enumerate() {
        for second in families.iter().skip(at + 1) {
            let mut both = single
                .iter()
                .filter(|it| first.members.contains(**it) && second.members.contains(**it));
            let (Some(only), None) = (both.next(), both.next()) else {
                continue;
            };
            if !counted.contains(*only) {
                continue;
            }
            let medicine = &register.medicines[*only];
            let title = format!(
                "`{}` alone lies in `{}` and in `{}`",
                medicine.name, first.id, second.id
            );
            let entry = file.listed("medicines", "name", &medicine.name);
            let remark = Remark::new(Code::UnrelatedClasses, &medicine.name, title);
            found.push(remark.on(entry, "in", "unrelated classes"));
        }
    }
    found
}

fn is_mixture(medicine: &Medicine) -> bool {
    let names = std::iter::once(&medicine.name).chain(&medicine.also);
    names
        .into_iter()
        .any(|it| it.contains('/') || it.contains(" and ") || it.contains(" with "))
}

/// The medicines that some rule counts.
fn counted(subject: &Subject<'_>) -> Bits<Medicine> {
    let mut found = Bits::new();
    for rule in subject.rule_set.rules() {
        rule.when.visit(&mut |condition| {
            if let Condition::Taking { medicines, .. } = condition {
                found.extend(medicines);
            }
        });
    }
    found
}
