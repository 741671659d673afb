//! How much of a medicine is taken in a day, and for how long, as the words after its name say it.
//!
//! These words are understood whole or not at all: one dose, how often, for how long. A dose
//! without a frequency may be the strength of a tablet, so it is asked about.

use crate::quantity::span::Span;
use crate::quantity::{Measure, Parts, read_quantity};
use crate::rule_set::MedicineRegister;

/// How much of a medicine is taken, and for how long.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Course {
    /// Milligrams taken in a day; `None` if not told, or not told as a mass.
    pub daily_mg: Option<f64>,
    /// Days for which it has been taken, at the fewest; `None` if not told.
    pub days: Option<f64>,
    /// The largest mass among the words in mg, understood or not: perhaps of one tablet; `None` if there is none.
    pub mass_mg: Option<f64>,
}

impl Course {
    /// Nothing is told.
    pub(crate) const UNTOLD: Self = Self {
        daily_mg: None,
        days: None,
        mass_mg: None,
    };
}

/// How many times in a day each phrase means. What leaves a doubt (every other day, as needed) stands nowhere here.
const TIMES_A_DAY: [(f64, &[&str]); 4] = [
    (
        1.0,
        &[
            "once daily",
            "once a day",
            "daily",
            "a day",
            "per day",
            "every day",
            "each day",
            "od",
            "every morning",
            "each morning",
            "in the morning",
            "every night",
            "each night",
            "at night",
            "mane",
            "nocte",
            "qd",
            "/ day",
        ],
    ),
    (
        2.0,
        &[
            "twice daily",
            "twice a day",
            "two times a day",
            "two times daily",
            "bd",
            "bid",
        ],
    ),
    (
        3.0,
        &[
            "thrice daily",
            "three times a day",
            "three times daily",
            "tds",
            "tid",
        ],
    ),
    (4.0, &["four times a day", "four times daily", "qds", "qid"]),
];

/// Reads what stands after a name: "10 mg once a day for 3 months".
///
/// # Returns
/// Nothing unless every word is part of one dose, of how often it is taken, or of for how long: tablets, ranges and
/// conditions leave a doubt. A dose alone may be the strength of a tablet, so it says nothing of the day.
pub fn read(register: &MedicineRegister, words: &[&str]) -> Course {
    let mut plain: Vec<&str> = words
        .iter()
        .map(|it| it.trim_matches([',', ';', '.', '(', ')', ':']))
        .filter(|it| !it.is_empty())
        .collect();
    plain.retain(|it| !register.salt_words.iter().any(|salt| salt == it));
    // "40 mg/day" is "40 mg / day".
    let plain: Vec<&str> = plain
        .into_iter()
        .flat_map(|word| {
            word.strip_suffix("/day")
                .map_or(vec![word], |mg| vec![mg, "/", "day"])
        })
        .collect();
    let mass_mg = (0..plain.len())
        .filter_map(|at| mass(plain.get(at..)?))
        .map(|(mg, _)| mg)
        .max_by(f64::total_cmp);
    Course {
        mass_mg,
        ..understood(&plain).unwrap_or(Course::UNTOLD)
    }
}

fn understood(words: &[&str]) -> Option<Course> {
    let (mut dose, mut times, mut days) = (None, None, None);
    let mut rest = words;
    while let Some(first) = rest.first() {
        let taken = if let Some((often, n_words)) = how_often(rest) {
            if times.replace(often).is_some() {
                return None;
            }
            n_words
        } else if let (&"for", Some(length)) = (first, rest.get(1..3)) {
            if days
                .replace(Span::read(&length.join(" "))?.fewest_days())
                .is_some()
            {
                return None;
            }
            3
        } else {
            let (mg, n_words) = mass(rest)?;
            if dose.replace(mg).is_some() {
                return None;
            }
            n_words
        };
        rest = rest.get(taken..)?;
    }
    if times.is_some() && dose.is_none() {
        return None;
    }
    Some(Course {
        daily_mg: dose.zip(times).map(|(dose, times)| dose * times),
        days,
        mass_mg: None,
    })
}

/// How often in a day the first words say, and how many words that are.
fn how_often(words: &[&str]) -> Option<(f64, usize)> {
    let phrases = TIMES_A_DAY.iter().flat_map(|(times, phrases)| {
        phrases
            .iter()
            .map(move |it| (*times, it.split(' ').collect::<Vec<_>>()))
    });
    let fits = phrases.filter(|(_, phrase)| words.starts_with(phrase));
    fits.max_by_key(|(_, phrase)| phrase.len())
        .map(|(times, phrase)| (times, phrase.len()))
}

/// Milligrams that the first word or two say: "10mg", "10 mg".
fn mass(words: &[&str]) -> Option<(f64, usize)> {
    (1..=2).find_map(|n_words| Some((milligrams(&words.get(..n_words)?.join(" "))?, n_words)))
}

/// A mass in mg; `None` if the text is anything else.
pub(crate) fn milligrams(text: &str) -> Option<f64> {
    let parts = read_quantity(text).ok()?;
    let [
        Parts {
            number,
            unit: Some(unit),
            ..
        },
    ] = parts.as_slice()
    else {
        return None;
    };
    Measure::Mass
        .convert(*number, Measure::Mass.unit(unit)?, "mg")
        .filter(|it| *it >= 0.0)
}
