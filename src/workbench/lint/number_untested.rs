//! Numbers in the sentences of a rule that the rule does not test.
//!
//! A sentence shows a limit by its placeholder, so that it follows the limit. A number written out is either one that the
//! condition tests, one in the wording of a question that it looks at, or one that nothing holds to the rule: a reader takes
//! it for what the rule decides by, and it goes stale when a limit is changed.
//!
//! What to do may have figures of its own ("rinse for ten minutes"). In an action only a number in the unit of a tested one
//! counts: beside "72 hours" nobody can tell what "24 hours" is.

use crate::document::diagnostic::Code;
use crate::rule_set::{Condition, Input, Piece, Rule, RuleSet, Test, Text};
use crate::truth::FactSlot;
use crate::workbench::lint::{Remark, Subject};

/// Words after which a number is part of a name.
const NAMING: &[&str] = &[
    "type", "grade", "stage", "class", "factor", "category", "group", "appendix", "section",
    "table", "page", "part",
];

/// Units of time, by which a number in letters, or one joined by a hyphen, is an amount and not a name.
const TIMES: &[&str] = &[
    "second",
    "minute",
    "hour",
    "day",
    "night",
    "week",
    "fortnight",
    "month",
    "year",
];

/// Numbers in letters. One is left out: "one day" names no figure.
const LETTERS: &[(&str, f64)] = &[
    ("two", 2.0),
    ("three", 3.0),
    ("four", 4.0),
    ("five", 5.0),
    ("six", 6.0),
    ("seven", 7.0),
    ("eight", 8.0),
    ("nine", 9.0),
    ("ten", 10.0),
    ("eleven", 11.0),
    ("twelve", 12.0),
];

/// A remark for each number, but one for each number of a sentence.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let mut found = Vec::new();
    for rule in subject.rule_set.rules() {
        let numbers: Vec<(&str, Vec<Stated>)> = rule
            .sentences()
            .map(|it| (it.key, of_words(it.text)))
            .collect();
        if numbers.iter().all(|(_, numbers)| numbers.is_empty()) {
            continue;
        }
        let tested = tested(subject.rule_set, rule);
        let entry = subject.files.rule(&rule.id);
        for (key, numbers) in numbers {
            let mut told: Vec<String> = Vec::new();
            for number in numbers {
                let known = tested
                    .iter()
                    .any(|it| (it.value - number.value).abs() < 1e-9);
                let in_a_tested_unit = || {
                    number.unit.is_some()
                        && tested
                            .iter()
                            .any(|it| it.is_limit && it.unit == number.unit)
                };
                if known
                    || (["action", "tell_patient_before", "tell_patient_after"].contains(&key)
                        && !in_a_tested_unit())
                    || told.contains(&number.written)
                {
                    continue;
                }
                let title = format!(
                    "the {} of `{}` says {}, which the rule does not test",
                    key.replace('_', " "),
                    rule.id,
                    number.written
                );
                let place = entry.map(|it| it.words(key, &number.written));
                let remark = Remark::new(Code::NumberUntested, &rule.id, title);
                found.push(remark.at(entry, place, "not tested"));
                told.push(number.written);
            }
        }
    }
    found
}

/// The numbers of a sentence that stand in its words, not in its placeholders.
fn of_words(text: &Text) -> Vec<Stated> {
    text.pieces
        .iter()
        .flat_map(|piece| {
            if let Piece::Words(words) = piece {
                stated(words)
            } else {
                Vec::new()
            }
        })
        .collect()
}

/// A number in a sentence.
#[derive(Debug, PartialEq)]
struct Stated {
    value: f64,
    written: String,
    /// The word after it, in the singular.
    unit: Option<String>,
}

/// The numbers of a sentence, but for those that are part of a name.
fn stated(text: &str) -> Vec<Stated> {
    let mut found = Vec::new();
    let lower = text.to_lowercase();
    if !lower.contains(|it: char| it.is_ascii_digit())
        && !LETTERS.iter().any(|(it, _)| lower.contains(it))
    {
        return found;
    }
    let words: Vec<(usize, &str)> = words_of(text);
    for (at, (_, word)) in words.iter().enumerate() {
        let beside = |at: Option<usize>| {
            at.and_then(|it| words.get(it))
                .map_or_else(String::new, |(_, word)| word.to_lowercase())
        };
        let (before, after) = (beside(at.checked_sub(1)), beside(Some(at + 1)));
        let (head, tail) = word.split_once('-').unwrap_or((word, ""));
        let unit = singular(if tail.is_empty() { &after } else { tail });
        let is_time = unit.as_deref().is_some_and(|it| TIMES.contains(&it));
        let value = match LETTERS
            .iter()
            .find(|(letters, _)| head.eq_ignore_ascii_case(letters))
        {
            Some((_, value)) => Some(*value).filter(|_| is_time),
            None => head
                .trim_end_matches('%')
                .replace(',', "")
                .parse::<f64>()
                .ok()
                .filter(|_| {
                    head.starts_with(|it: char| it.is_ascii_digit())
                        && !NAMING.contains(&before.as_str())
                })
                .filter(|_| {
                    tail.is_empty() || is_time || tail.starts_with(|it: char| it.is_ascii_digit())
                }),
        };
        found.extend(value.map(|value| Stated {
            value,
            written: (*word).to_owned(),
            unit,
        }));
    }
    found
}

/// A unit as it is compared: lower case, without the s of several.
fn singular(word: &str) -> Option<String> {
    let word = word.to_lowercase();
    let short = word
        .strip_suffix('s')
        .filter(|it| it.len() > 2)
        .unwrap_or(&word);
    (!short.is_empty() && short.chars().all(char::is_alphabetic)).then(|| short.to_owned())
}

/// Runs of letters, digits and what may stand within them.
fn words_of(text: &str) -> Vec<(usize, &str)> {
    let mut found = Vec::new();
    let mut start = None;
    for (at, letter) in text.char_indices().chain([(text.len(), ' ')]) {
        let digit_at = |at: Option<usize>| {
            at.and_then(|it| text.as_bytes().get(it))
                .is_some_and(u8::is_ascii_digit)
        };
        let thousands = letter == ',' && digit_at(at.checked_sub(1)) && digit_at(Some(at + 1));
        let inside =
            letter.is_alphanumeric() || thousands || matches!(letter, '.' | '-' | '%' | '/' | '\'');
        match (start, inside) {
            (None, true) => start = Some(at),
            (Some(from), false) => {
                let word = text
                    .get(from..at)
                    .map(|it| it.trim_end_matches(['.', '-', '/', '\'']));
                found.extend(word.map(|it| (from, it)));
                start = None;
            }
            _ => {}
        }
    }
    found
}

/// A number that a rule tests.
struct Tested {
    value: f64,
    unit: Option<String>,
    /// Whether a limit or literal holds it; a question's wording otherwise.
    is_limit: bool,
}

/// The numbers that the condition of a rule tests, and those in the wording of the questions it looks at.
fn tested(rule_set: &RuleSet, rule: &Rule) -> Vec<Tested> {
    let mut written: Vec<String> = Vec::new();
    let mut slots: Vec<FactSlot> = Vec::new();
    rule.when.visit(&mut |condition| match condition {
        Condition::Taking { at_least, .. } => written.push(at_least.to_string()),
        Condition::Fact { fact, test } => {
            slots.push(*fact);
            match test {
                Test::OlderThan(it) | Test::Within(it) => written.push(it.span.to_string()),
                _ => written.extend(test.thresholds().iter().map(|it| it.written.clone())),
            }
        }
        _ => {}
    });
    let mut found: Vec<Tested> = written.iter().filter_map(|it| as_tested(it)).collect();
    let mut at = 0;
    while let Some(slot) = slots.get(at).copied() {
        at += 1;
        if let Some(question) = rule_set.catalogue.question_of(slot) {
            let options = rule_set
                .catalogue
                .options(slot)
                .iter()
                .map(|it| it.text.as_str());
            let texts = [Some(question.ask.as_str()), question.help.as_deref()]
                .into_iter()
                .flatten()
                .chain(options);
            found.extend(texts.flat_map(stated).map(|stated| Tested {
                value: stated.value,
                unit: stated.unit,
                is_limit: false,
            }));
        }
        for input in rule_set
            .catalogue
            .derived_of(slot)
            .into_iter()
            .flat_map(|it| &it.inputs)
        {
            match input {
                Input::Fact(fact) if !slots.contains(fact) => slots.push(*fact),
                Input::Limit(_, value) => found.push(Tested {
                    value: *value,
                    unit: None,
                    is_limit: true,
                }),
                Input::Fact(_) => {}
            }
        }
    }
    found
}

/// A tested value as written: a number, and its unit if it has one.
fn as_tested(written: &str) -> Option<Tested> {
    let (number, unit) = written
        .split_once(char::is_whitespace)
        .unwrap_or((written, ""));
    Some(Tested {
        value: number.trim_end_matches('%').parse().ok()?,
        unit: singular(unit.trim()),
        is_limit: true,
    })
}
