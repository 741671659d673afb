//! Names of medicines that would vanish behind another one.
//!
//! An entry is recognised when only words of doses and salts follow the name that it begins with. What keeps "omeprazole
//! 20 mg, warfarin 3 mg" from being omeprazole is that "warfarin" is no such word. So a name that consists of such words
//! alone is refused. A salt is excepted as long as nothing looks at it as a medicine: potassium, since losartan potassium
//! is losartan. Other words of a name may be words of doses: what is left of the name keeps the entry from being recognised.

use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::source::Node;
use crate::rule_set::files::Parsed;
use crate::rule_set::read::symbols::Names;
use crate::rule_set::recognise;
use crate::rule_set::recognise::is_dose;
use crate::rule_set::{Bits, Condition, Medicine};

/// The names that vanish, in order: of medicines, and of classes of which all is looked at, which somebody may write instead.
/// `conditions` are all that may look at medicines.
pub(crate) fn swallowed<'a>(
    names: &Names,
    conditions: impl Iterator<Item = &'a Condition>,
) -> Vec<String> {
    let looked_at = looked_at(names, conditions);
    let register = &names.medicines;
    let vanishes = |name: &str| name.split(' ').all(|word| is_dose(register, word));
    let is_salt = |name: &str| {
        name.split(' ')
            .any(|word| register.salt_words.iter().any(|it| it == word))
    };
    let medicines = register
        .names
        .iter()
        .filter(|(name, at)| vanishes(name) && (looked_at.contains(**at) || !is_salt(name)));
    let whole = register
        .classes
        .iter()
        .filter(|it| !it.members.is_empty() && it.members.within(&looked_at));
    let classes = whole.map(|it| it.id.replace('-', " "));
    let mut found: Vec<String> = medicines
        .map(|(name, _)| name.clone())
        .chain(classes.filter(|it| vanishes(it)))
        .collect();
    found.sort();
    found.dedup();
    found
}

/// A diagnostic for each such name, at the longest of its words in the lists: it is the least likely to be meant as a dose.
pub(crate) fn told(parsed: &Parsed, swallowed: &[String]) -> Vec<Diagnostic> {
    let lists = || {
        ["dose_words", "salt_words"]
            .into_iter()
            .filter_map(|key| parsed.root.get(key))
            .flat_map(Node::items)
    };
    let told = |name: &String| {
        let is_word = |node: &Node| {
            node.written(&parsed.source)
                .map(recognise::form)
                .is_some_and(|word| name.contains(&word))
        };
        let place = lists()
            .filter(|it| is_word(it))
            .max_by_key(|it| it.written(&parsed.source).map(str::len))?;
        let title = format!("the name `{name}` consists of words for doses and salts alone");
        let (source, label) = (&parsed.source, "the name would be passed over");
        Some(Diagnostic::at(
            Code::NameSwallowed,
            source,
            place,
            title,
            label,
        ))
    };
    swallowed.iter().filter_map(told).collect()
}

/// The medicines that some condition counts, and those whose dose is worked with.
fn looked_at<'a>(names: &Names, conditions: impl Iterator<Item = &'a Condition>) -> Bits<Medicine> {
    let steroids = names
        .medicines
        .medicines
        .entries()
        .filter(|(_, it)| it.as_prednisolone.is_some());
    let mut found: Bits<Medicine> = steroids.map(|(at, _)| at).collect();
    for condition in conditions {
        condition.visit(&mut |condition| {
            if let Condition::Taking { medicines, .. } = condition {
                found.extend(medicines);
            }
        });
    }
    found
}
