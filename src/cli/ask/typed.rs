//! A line as somebody types it, as an answer.

use crate::questionnaire::edit::Entered;
use crate::rule_set::{Answer, Choice, Question, RuleSet};

/// What a line asks for that is no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Word {
    /// To see what is asked, why, and how to answer.
    Help,
    /// To go back to the question before.
    Back,
    /// To leave the question for later.
    Later,
    /// To end.
    Stop,
}

/// The words that are understood everywhere, beside those of an answer: what is typed, and what it does.
pub const WORDS: [(&str, &str); 7] = [
    ("help", "why this is asked, and how to answer"),
    ("back", "the question before"),
    ("unknown", "asked, and not known"),
    ("declined", "asked, and not answered"),
    ("none", "asked, and none of these"),
    ("later", "leave it for now"),
    ("stop", "stop here; everything is saved"),
];

impl Word {
    /// Reads a line that is nothing but such a word.
    pub fn read(line: &str) -> Option<Self> {
        match line.trim().to_lowercase().as_str() {
            "help" | "?" => Some(Self::Help),
            "back" | "<" => Some(Self::Back),
            "later" => Some(Self::Later),
            "stop" => Some(Self::Stop),
            _ => None,
        }
    }
}

/// What may be chosen for a question, by its words: what is written, and what it means.
pub fn choices(question: &Question) -> Vec<(&str, &str)> {
    match &question.answer {
        Answer::YesNo => vec![("yes", "yes"), ("no", "no")],
        Answer::OneOf(options) | Answer::SeveralOf(options) => options
            .iter()
            .map(|it: &Choice| (it.id.as_str(), it.text.as_str()))
            .collect(),
        _ => Vec::new(),
    }
}

/// Whether a question is answered entry by entry.
pub fn is_list(question: &Question) -> bool {
    matches!(
        question.answer,
        Answer::Medicines | Answer::Allergies | Answer::Anaesthetic
    )
}

/// How an answer is typed.
pub fn hint(question: &Question) -> String {
    match &question.answer {
        Answer::YesNo | Answer::OneOf(_) => "a number or a word of these".to_owned(),
        Answer::SeveralOf(_) => {
            "all that are so, by number or word, such as 1, 3; none if there are none".to_owned()
        }
        Answer::Number { .. } => "a number".to_owned(),
        Answer::Quantity { unit, units, .. } => {
            let units: Vec<&str> = std::iter::once(unit).chain(units).copied().collect();
            format!("a number with its unit: {}", units.join(", "))
        }
        Answer::Date => "a day as year-month-day".to_owned(),
        Answer::Text => "any text".to_owned(),
        Answer::Medicines => {
            "one medicine a line, with its dose if it is known; an empty line ends the list; none if there are none"
                .to_owned()
        }
        Answer::Allergies => {
            "one a line, and what happened behind a comma; an empty line ends the list; none if there are none"
                .to_owned()
        }
        Answer::Anaesthetic => {
            "one agent a line, with strength and volume in % and mL; an empty line ends the list"
                .to_owned()
        }
    }
}

/// A whole line as the answer to a question: its choices by number, word or text, several between commas. What is none of
/// them stays as it was typed, and the reader of answers says what is wrong with it.
pub fn entered(question: &Question, line: &str) -> Entered {
    let line = line.trim();
    let choices = choices(question);
    let lower = line.to_lowercase();
    if !choices.iter().any(|(word, _)| *word == lower) {
        match lower.as_str() {
            "unknown" | "not known" => return Entered::NotKnown,
            "declined" => return Entered::Declined,
            "none" | "none of these" | "[]" => return Entered::NoneOfThese,
            _ => {}
        }
    }
    match &question.answer {
        Answer::YesNo | Answer::OneOf(_) => Entered::Options(vec![chosen(&choices, line)]),
        Answer::SeveralOf(_) => Entered::Options(several(&choices, line)),
        _ => Entered::Typed(line.to_owned()),
    }
}

fn several(choices: &[(&str, &str)], line: &str) -> Vec<String> {
    let mut found = Vec::new();
    for part in line.split(',').map(str::trim).filter(|it| !it.is_empty()) {
        match choice(choices, part) {
            Some(word) => found.push(word.to_owned()),
            None => found.extend(part.split_whitespace().map(|it| chosen(choices, it))),
        }
    }
    found
}

/// The word of the choice that is meant, or else what was typed.
fn chosen(choices: &[(&str, &str)], typed: &str) -> String {
    choice(choices, typed).unwrap_or(typed).to_owned()
}

/// The choice that is meant: by its word, its text, its number from 1, or the beginning of one word alone.
fn choice<'a>(choices: &[(&'a str, &str)], typed: &str) -> Option<&'a str> {
    let typed = typed.trim().to_lowercase();
    let exact = choices
        .iter()
        .find(|(word, text)| *word == typed || text.to_lowercase() == typed);
    let numbered = || choices.get(typed.parse::<usize>().ok()?.checked_sub(1)?);
    let begun = || {
        let mut begun = choices.iter().filter(|(word, _)| word.starts_with(&typed));
        begun.next().filter(|_| begun.next().is_none())
    };
    exact
        .or_else(numbered)
        .or_else(|| begun().filter(|_| !typed.is_empty()))
        .map(|(word, _)| *word)
}

/// One line of a list as an entry: its keys and what stands under each.
pub fn entry(rule_set: &RuleSet, question: &Question, line: &str) -> Vec<(String, String)> {
    let line = line.trim();
    let field = |key: &str, text: &str| (key.to_owned(), text.trim().to_owned());
    match &question.answer {
        Answer::Allergies => {
            let reactions = &rule_set.allergens.reactions;
            let told = line.rsplit_once(',').and_then(|(to, reaction)| {
                let wanted = reaction.trim().to_lowercase();
                let known = reactions
                    .iter()
                    .find(|it| it.id == wanted || it.text.to_lowercase() == wanted)?;
                Some(vec![field("to", to), field("reaction", &known.id)])
            });
            told.unwrap_or_else(|| vec![field("to", line)])
        }
        Answer::Anaesthetic => {
            let at = line
                .find(|it: char| it.is_ascii_digit())
                .unwrap_or(line.len());
            let (agent, amounts) = line.split_at(at);
            let agent = agent.trim().trim_end_matches(',');
            let (strength, volume) = match amounts.split_once('%') {
                Some((percent, rest)) => (format!("{} %", percent.trim()), rest),
                None => ("unknown".to_owned(), amounts),
            };
            let volume = volume.trim_matches([' ', ',']);
            let volume = if volume.is_empty() { "unknown" } else { volume };
            vec![
                field("agent", agent),
                field("strength", &strength),
                field("volume", volume),
            ]
        }
        _ => vec![field("name", line)],
    }
}
