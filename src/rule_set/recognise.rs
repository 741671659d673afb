//! Recognising what people write as the name of a medicine or substance.
//!
//! A name is recognised whole, or at the beginning of an entry whose rest is strength, form or
//! frequency. Anything else is kept as written, with the nearest known name, and never guessed.
//!
//! A mixture is taken apart among allergies: whatever its names list as parts, and a name of it
//! that lists none. A group of allergens holds the medicines of the class of its name, too.

use crate::document::diagnostic::nearest;
use crate::rule_set::course;
use crate::rule_set::course::Course;
use crate::rule_set::{AllergenRegister, Bits, Idx, Medicine, MedicineRegister, Substance};

/// What an entry was recognised as.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Recognised<T> {
    /// A known name.
    As(T),
    /// No known name; perhaps one is near.
    Not {
        /// The nearest known name.
        nearest: Option<String>,
    },
}

/// The form in which names are compared: lower case, single spaces.
pub(crate) fn form(text: &str) -> String {
    text.to_lowercase()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

/// Recognises a medicine: "apixaban", "Apixaban 5 mg twice a day".
pub fn medicine(register: &MedicineRegister, text: &str) -> Recognised<Idx<Medicine>> {
    match medicine_and_course(register, text) {
        Recognised::As((at, _)) => Recognised::As(at),
        Recognised::Not { nearest } => Recognised::Not { nearest },
    }
}

/// Recognises a medicine, and how much of it is taken as far as the text says so without doubt.
pub(crate) fn medicine_and_course(
    register: &MedicineRegister,
    text: &str,
) -> Recognised<(Idx<Medicine>, Course)> {
    match known_medicine(register, text) {
        Ok(found) => Recognised::As(found),
        Err(names) => {
            let known = || register.names.keys().map(String::as_str);
            let nearest = names.iter().find_map(|name| closest(name, known()));
            Recognised::Not { nearest }
        }
    }
}

/// The same without looking for the nearest known name, which takes a hundred times as long.
///
/// # Errors
/// The names to which one may be near: all that is no dose, and the first word.
pub(crate) fn known_medicine(
    register: &MedicineRegister,
    text: &str,
) -> Result<(Idx<Medicine>, Course), Vec<String>> {
    let whole = form(text);
    if let Some(&at) = register.names.get(&whole) {
        return Ok((at, Course::UNTOLD));
    }
    let words: Vec<&str> = whole.split(' ').collect();
    let n_dose = words
        .iter()
        .rev()
        .take_while(|word| is_dose(register, word))
        .count();
    // No name has more words than the longest, however many are written. Few are tried sooner than the longest is found.
    let most_words = if words.len() <= 8 {
        words.len()
    } else {
        let names = register.names.keys();
        names.map(|it| it.split(' ').count()).max().unwrap_or(0)
    };
    for n_name in (words.len() - n_dose..words.len())
        .filter(|it| (1..=most_words).contains(it))
        .rev()
    {
        let (name, rest) = words.split_at(n_name);
        let name = name.join(" ");
        if let Some(&at) = register.names.get(name.trim_end_matches([',', ';', ':'])) {
            return Ok((at, course::read(register, rest)));
        }
    }
    let bare = words
        .iter()
        .take(words.len() - n_dose)
        .copied()
        .collect::<Vec<&str>>()
        .join(" ");
    let first = words.first().map(|first| (*first).to_owned());
    Err([bare].into_iter().chain(first).collect())
}

/// The nearest name; among equally near ones the first by letter, so that it never varies.
fn closest<'a>(text: &str, known: impl Iterator<Item = &'a str>) -> Option<String> {
    let mut sorted: Vec<&str> = known.collect();
    sorted.sort_unstable();
    nearest(text, sorted).map(str::to_owned)
}

/// Whether a word is strength, form, frequency or salt: numbers with known words stuck to them, too.
pub(crate) fn is_dose(register: &MedicineRegister, word: &str) -> bool {
    let word = word.trim_matches([',', ';', '.', '(', ')', ':']);
    let known = |word: &str| {
        register.dose_words.iter().any(|known| known == word)
            || register.salt_words.iter().any(|known| known == word)
    };
    // "1.25", "20,000", "2x", "10mg": digits, and known words between them.
    let amount = |word: &str| {
        word.starts_with(|it: char| it.is_ascii_digit())
            && word
                .split(|it: char| {
                    it.is_ascii_digit() || matches!(it, '.' | ',' | '-' | '+' | '%' | 'x' | '×')
                })
                .all(|piece| piece.is_empty() || known(piece))
    };
    // "10mg/5ml", "30/500"; and of "8 mg/500 mg" the word in the middle.
    word.split('/')
        .all(|it| it.is_empty() || known(it) || amount(it))
}

/// Recognises a substance or a group of substances: "latex", "local anaesthetic".
pub fn substance(register: &AllergenRegister, text: &str) -> Recognised<Bits<Substance>> {
    known_substance(register, text).map_or_else(
        || Recognised::Not {
            nearest: closest(&form(text), register.names.keys().map(String::as_str)),
        },
        Recognised::As,
    )
}

/// The same without looking for the nearest known name.
pub(crate) fn known_substance(register: &AllergenRegister, text: &str) -> Option<Bits<Substance>> {
    register.names.get(&form(text)).cloned()
}
