//! A questionnaire's text, one answer otherwise: comments, order and all other answers stay as they stand. YAML stays YAML, and
//! JSON stays JSON.
//!
//! The text of YAML is changed where the answer stands or belongs, and nowhere else. INVARIANT: a changed text is read again before it
//! is handed out, and is refused unless it says what it said before but for this answer, comments included: a file may be
//! laid out in more ways than anybody thinks of, and nothing in it may be lost.

use std::sync::Arc;

use chrono::NaiveDate;

use crate::document::diagnostic::{Code, Diagnostic, in_file_order};
use crate::quantity::tidy;
use crate::questionnaire::facts::{
    Fact, Facts, Gathered, Given, MedicineEntry, Value, Why, answers,
};
use crate::questionnaire::frame;
use crate::rule_set::{Answer, Idx, Question, RuleSet, Section};

mod object;
mod place;
mod scalar;
pub mod whole;

use crate::questionnaire::edit::scalar::scalar;

/// One answer as somebody gives it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Entered {
    /// As typed: a number, a quantity, a date, a text, or the word of an option.
    Typed(String),
    /// The words of the options chosen; `yes` or `no` for a question of yes or no.
    Options(Vec<String>),
    /// The entries of a list, each with its keys in order. One that has only the key by which an entry is named (a medicine's
    /// `name`, an allergy's `to`) is written as that text alone.
    Entries(Vec<Vec<(String, String)>>),
    /// A result with its day, both as given.
    Dated {
        /// The result.
        value: Box<Entered>,
        /// Its day as typed, or `unknown`.
        taken_on: String,
    },
    /// Asked, and not known.
    NotKnown,
    /// Asked, and not answered.
    Declined,
    /// Asked, and none of these.
    NoneOfThese,
    /// Not asked: takes an answer out. Its line stays, blank.
    Nothing,
}

/// What one answer by itself was understood as.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Understood {
    /// In words: "81 kg", "warfarin (3 mg daily)", "asked, not known".
    pub words: String,
    /// The names of it that nobody recognised, each with the nearest known one.
    pub unrecognised: Vec<(String, Option<String>)>,
}

/// A new questionnaire for a patient, without answers.
///
/// # Errors
/// What is wrong with the reference.
pub fn started(
    rule_set: &RuleSet,
    reference: &str,
    completed_on: NaiveDate,
) -> Result<String, Vec<Diagnostic>> {
    let text = format!(
        "questionnaire: 1\nfor: {}\nreference: {}\ncompleted_on: {completed_on}\nanswers:\n",
        rule_set.id,
        scalar(reference),
    );
    let (_, problems) = frame::questionnaire(rule_set, "the new questionnaire", text.as_bytes());
    if problems.is_empty() {
        Ok(text)
    } else {
        Err(problems)
    }
}

/// As [`started`], in JSON.
///
/// # Errors
/// As of [`started`].
pub fn started_in_json(
    rule_set: &RuleSet,
    reference: &str,
    completed_on: NaiveDate,
) -> Result<String, Vec<Diagnostic>> {
    let text = started(rule_set, reference, completed_on)?;
    let written = object::written(&text).map(|it| it + "\n");
    written.ok_or_else(|| {
        vec![Diagnostic::bare(
            Code::WrongForm,
            "it cannot be written as JSON",
        )]
    })
}

/// The text of a questionnaire with one answer otherwise. Whether the answer can be understood is not looked at.
///
/// # Errors
/// Every diagnostic of the text, if it cannot be read; or that the answer finds no place in it.
pub fn with_answer(
    rule_set: &RuleSet,
    text: &str,
    question: Idx<Question>,
    answer: &Entered,
) -> Result<String, Vec<Diagnostic>> {
    let catalogue = &rule_set.catalogue;
    let question = &catalogue.questions[question];
    let section = &catalogue.sections[question.section];
    let written = written(question, answer);
    let questions = catalogue.questions.iter();
    let beside = questions.filter(|it| it.section == question.section);
    let path = [
        PathKey::among("answers", frame::KEYS.into_iter()),
        PathKey::among(&section.id, sections(rule_set)),
        PathKey::among(question.name(), beside.map(Question::name)),
    ];
    place::put(text, &path, written.as_deref())
}

/// The text of a questionnaire with the note of a section, or of the whole, otherwise; an empty one takes it out.
///
/// # Errors
/// As [`with_answer`].
pub fn with_note(
    rule_set: &RuleSet,
    text: &str,
    section: Option<Idx<Section>>,
    note: &str,
) -> Result<String, Vec<Diagnostic>> {
    let catalogue = &rule_set.catalogue;
    let written = (!note.is_empty()).then(|| scalar(note));
    let Some(at) = section else {
        let path = [PathKey::among("note", frame::KEYS.into_iter())];
        return place::put(text, &path, written.as_deref());
    };
    let beside = catalogue.questions.iter().filter(|it| it.section == at);
    let path = [
        PathKey::among("answers", frame::KEYS.into_iter()),
        PathKey::among(&catalogue.sections[at].id, sections(rule_set)),
        PathKey::among("note", beside.map(Question::name)),
    ];
    place::put(text, &path, written.as_deref())
}

fn sections(rule_set: &RuleSet) -> impl Iterator<Item = &str> {
    rule_set.catalogue.sections.iter().map(|it| it.id.as_str())
}

/// Reads one answer by itself, as of a day: what it was understood as.
///
/// # Errors
/// Every diagnostic of the answer. Places are places in the answer as it would be written into a file.
pub fn understood(
    rule_set: &RuleSet,
    question: Idx<Question>,
    answer: &Entered,
    as_of: NaiveDate,
) -> Result<Understood, Vec<Diagnostic>> {
    let asked = &rule_set.catalogue.questions[question];
    let Some(value) = written(asked, answer) else {
        return Ok(Understood {
            words: Why::NotAsked.in_words().to_owned(),
            unrecognised: Vec::new(),
        });
    };
    let text = format!("{}: {value}\n", asked.name());
    let read = frame::tree("this answer", text.as_bytes());
    let (Some(source), Some(root)) = (read.source, read.root) else {
        return Err(read.diagnostics);
    };
    let mut problems = read.diagnostics;
    let given = root.entry(asked.name()).map(|entry| Given {
        source: Arc::clone(&source),
        key_span: entry.key_span.clone(),
        node: entry.value.clone(),
        standing: false,
    });
    let gathered = Gathered {
        given: given.map(|it| (question, it)).into_iter().collect(),
        ..Gathered::default()
    };
    let facts = answers::read(rule_set, &gathered, as_of, true, &mut problems);
    if !problems.is_empty() {
        return Err(in_file_order(problems));
    }
    let unrecognised = answers::strangers(&facts);
    Ok(Understood {
        words: in_words(rule_set, asked, &facts),
        unrecognised: unrecognised
            .into_iter()
            .map(|it| (it.text.to_owned(), it.nearest.map(str::to_owned)))
            .collect(),
    })
}

/// What the answer to a question was understood as.
fn in_words(rule_set: &RuleSet, question: &Question, facts: &Facts) -> String {
    let value = match facts.get(question.slot) {
        Fact::Missing(missing) => return missing.why.in_words().to_owned(),
        Fact::Known(known) => match &known.value {
            Value::Medicines(entries) if !entries.is_empty() => {
                let each = entries.iter().map(|it| medicine(rule_set, it));
                each.collect::<Vec<String>>().join("; ")
            }
            _ => known.shown.clone(),
        },
    };
    match question.date_slot.map(|slot| facts.get(slot)) {
        None => value,
        Some(Fact::Known(day)) => format!("{value}, taken on {}", day.shown),
        Some(Fact::Missing(_)) => format!("{value}, taken on a day that is not known"),
    }
}

/// "warfarin, 3 mg a day, for 90 days".
fn medicine(rule_set: &RuleSet, entry: &MedicineEntry) -> String {
    let Some(at) = entry.medicine else {
        let near = entry.nearest.as_ref();
        let near = near.map_or_else(String::new, |it| format!("; the nearest is {it}"));
        return format!("\"{}\", not recognised{near}", entry.shown());
    };
    let mut words = rule_set.medicines.medicines[at].name.clone();
    match entry.daily_mg {
        Some(daily) => words.push_str(&format!(", {} mg a day", tidy(daily, None))),
        None => words.push_str(&entry.details),
    }
    if let Some(days) = entry.days {
        words.push_str(&format!(", for {} days at least", tidy(days, None)));
    }
    words
}

/// The answer as it is written behind its key; `None` for no answer.
fn written(question: &Question, answer: &Entered) -> Option<String> {
    let numbers = matches!(question.answer, Answer::Number { .. });
    Some(match answer {
        Entered::Nothing => return None,
        Entered::NotKnown => "unknown".to_owned(),
        Entered::Declined => "declined".to_owned(),
        Entered::NoneOfThese => "[]".to_owned(),
        Entered::Typed(text) if numbers && scalar::is_plain_number(text) => text.clone(),
        Entered::Typed(text) => scalar(text),
        Entered::Options(options) => {
            let words: Vec<String> = options.iter().map(|it| word(it)).collect();
            match (&question.answer, words.as_slice()) {
                (Answer::YesNo | Answer::OneOf(_), [one]) => one.clone(),
                _ => format!("[{}]", words.join(", ")),
            }
        }
        Entered::Entries(entries) => {
            let entries: Vec<String> = entries.iter().map(|it| entry(it)).collect();
            format!("[{}]", entries.join(", "))
        }
        Entered::Dated { value, taken_on } => {
            let value = written(question, value)?;
            format!("{{ value: {value}, taken_on: {} }}", scalar(taken_on))
        }
    })
}

/// The word of an option. `yes` and `no` are words of this language, which everybody writes without quotes.
fn word(option: &str) -> String {
    if ["yes", "no"].contains(&option) {
        option.to_owned()
    } else {
        scalar(option)
    }
}

fn entry(fields: &[(String, String)]) -> String {
    match fields {
        [(key, text)] if ["name", "to"].contains(&key.as_str()) => scalar(text),
        _ => {
            let fields = fields
                .iter()
                .map(|(key, text)| format!("{key}: {}", scalar(text)));
            format!("{{ {} }}", fields.collect::<Vec<String>>().join(", "))
        }
    }
}

/// One key on the way to an answer.
struct PathKey<'a> {
    key: &'a str,
    /// The keys that stand before it where all of them stand.
    before: Vec<&'a str>,
}

impl<'a> PathKey<'a> {
    /// A key among all that may stand there, in order.
    fn among(key: &'a str, all: impl Iterator<Item = &'a str>) -> Self {
        Self {
            key,
            before: all.take_while(|it| *it != key).collect(),
        }
    }
}
