//! A condition in words, from its structure.

use crate::rule_set::{
    Bits, Choice, Comparison, Condition, Conflict, FactType, Idx, Limit, Piece, RuleSet, SpanLimit,
    Term, Test, Threshold,
};
use crate::truth::FactSlot;

/// A condition in words: a line, and what belongs under it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct ConditionText {
    /// The line. It ends with a colon if something belongs under it.
    pub line: String,
    /// What belongs under it.
    pub parts: Vec<ConditionText>,
}

/// A condition in words.
pub(crate) fn said(rule_set: &RuleSet, condition: &Condition) -> ConditionText {
    let list = |line: &str, parts: &[Condition]| ConditionText {
        line: line.into(),
        parts: parts.iter().map(|it| said(rule_set, it)).collect(),
    };
    match condition {
        Condition::All(parts) => list("all of these hold:", parts),
        Condition::Any(parts) => list("at least one of these holds:", parts),
        Condition::Not(part) => match &**part {
            Condition::Any(parts) => list("none of these holds:", parts),
            Condition::All(parts) => list("not all of these hold:", parts),
            _ => list("this does not hold:", std::slice::from_ref(part)),
        },
        leaf => ConditionText {
            line: one(rule_set, leaf),
            parts: Vec::new(),
        },
    }
}

/// A condition as lines of text, nested parts indented by two spaces.
pub(crate) fn lines(rule_set: &RuleSet, condition: &Condition) -> Vec<String> {
    fn write(said: &ConditionText, depth: usize, found: &mut Vec<String>) {
        let mark = if said.parts.is_empty() || depth > 0 {
            "- "
        } else {
            ""
        };
        found.push(format!("{}{mark}{}", "  ".repeat(depth), said.line));
        said.parts.iter().for_each(|it| write(it, depth + 1, found));
    }
    let mut found = Vec::new();
    write(&said(rule_set, condition), 0, &mut found);
    found
}

fn one(rule_set: &RuleSet, condition: &Condition) -> String {
    match condition {
        Condition::Taking {
            named, at_least, ..
        } => {
            let classes = &rule_set.medicines.classes;
            let what = or(
                &named.iter().map(|it| term(classes, it)).collect::<Vec<_>>(),
                "; or ",
            );
            if *at_least > 1 {
                format!("at least {at_least} different medicines are taken of: {what}")
            } else {
                format!("a medicine is taken: {what}")
            }
        }
        Condition::AllergicTo {
            named, reactions, ..
        } => {
            let groups = &rule_set.allergens.groups;
            let what = or(
                &named.iter().map(|it| term(groups, it)).collect::<Vec<_>>(),
                "; or ",
            );
            let with = reactions.as_ref().map_or_else(String::new, |bits| {
                let words: Vec<String> = bits
                    .iter()
                    .map(|at| format!("\"{}\"", rule_set.allergens.reactions[at].text))
                    .collect();
                format!("; and what happened was {}", or(&words, " or "))
            });
            format!("there is an allergy: {what}{with}")
        }
        Condition::Answers(Conflict::RuledOut) => {
            "a question is answered, and not harmlessly, that another answer says does not apply"
                .to_owned()
        }
        Condition::Answers(Conflict::Unread) => {
            "a name of a medicine or an allergy was not recognised".to_owned()
        }
        Condition::Answers(Conflict::NotOffered) => {
            "a choice of the plan is not among what the clinic offers".to_owned()
        }
        Condition::Fact { fact, test } => format!(
            "{} {}",
            subject(rule_set, *fact),
            crate::rule_set::words::test(rule_set, *fact, test)
        ),
        _ => String::new(),
    }
}

/// A placeholder of a text in words, for readers who see no patient: "the INR", "the age of the INR". `None` for words and
/// limits, which are the same for every patient.
pub(crate) fn placeholder(rule_set: &RuleSet, piece: &Piece) -> Option<String> {
    match piece {
        Piece::Words(_) | Piece::Limit(_) => None,
        Piece::Fact(slot) => Some(name(rule_set, *slot)),
        Piece::Age(slot) => Some(format!(
            "the age of {}",
            name(rule_set, *slot).trim_start_matches("the date of ")
        )),
        Piece::Medicines => Some("the medicines that match".to_owned()),
        Piece::Allergies => Some("the allergies that match".to_owned()),
        Piece::Conflict(Conflict::RuledOut) => {
            Some("the questions answered though they do not apply".to_owned())
        }
        Piece::Conflict(Conflict::Unread) => Some("the names that were not recognised".to_owned()),
        Piece::Conflict(Conflict::NotOffered) => {
            Some("the choices that are not offered".to_owned())
        }
    }
}

/// A fact in a few words: a derived one by what it is, an answer by its id, with the capitals that the question uses.
fn name(rule_set: &RuleSet, slot: FactSlot) -> String {
    if let Some(derived) = rule_set.catalogue.derived_of(slot) {
        return lower_first(&derived.about);
    }
    let Some(question) = rule_set.catalogue.question_of(slot) else {
        return rule_set.catalogue.id(slot).to_owned();
    };
    let asked: Vec<&str> = question
        .ask
        .split(|it: char| !it.is_alphanumeric())
        .collect();
    let as_asked = |word: &str| {
        asked
            .iter()
            .skip(1)
            .find(|it| it.eq_ignore_ascii_case(word))
            .map_or_else(|| word.to_owned(), |it| (*it).to_owned())
    };
    let words: Vec<String> = question.name().split('_').map(as_asked).collect();
    let of = if question.date_slot == Some(slot) {
        "the date of the "
    } else {
        "the "
    };
    format!("{of}{}", words.join(" "))
}

/// A class or group by what it is, with its id; the name itself for anything else.
fn term<Of>(terms: &[Term<Of>], name: &str) -> String {
    terms.iter().find(|it| it.id == name).map_or_else(
        || name.to_owned(),
        |it| format!("{} ({name})", lower_first(&it.about)),
    )
}

/// What a fact is, in words, with its id.
pub(crate) fn subject(rule_set: &RuleSet, slot: FactSlot) -> String {
    let id = rule_set.catalogue.id(slot);
    match rule_set.catalogue.derived_of(slot) {
        Some(derived) => format!("{} ({id})", lower_first(&derived.about)),
        None => match rule_set.catalogue.question_of(slot) {
            Some(question) if question.date_slot == Some(slot) => {
                format!("the date of the answer to \"{}\" ({id})", question.ask)
            }
            Some(question) => format!("the answer to \"{}\" ({id})", question.ask),
            None => id.to_owned(),
        },
    }
}

/// A text as it stands inside a sentence. A first word of more capitals is a name or an abbreviation and stays.
pub(crate) fn lower_first(text: &str) -> String {
    let mut letters = text.chars();
    let rest = letters
        .clone()
        .skip(1)
        .take_while(|it| it.is_alphanumeric());
    match letters.next() {
        Some(first)
            if !rest
                .into_iter()
                .any(|it| it.is_uppercase() || it.is_ascii_digit()) =>
        {
            first.to_lowercase().collect::<String>() + letters.as_str()
        }
        _ => text.to_owned(),
    }
}

fn test(rule_set: &RuleSet, slot: FactSlot, test: &Test) -> String {
    match test {
        Test::OneOf(options) => format!("is {}", or(&names(rule_set, slot, options), " or ")),
        Test::NoneOf(options) => format!("is not {}", or(&names(rule_set, slot, options), " or ")),
        Test::Includes(options) => {
            format!("includes {}", or(&names(rule_set, slot, options), " or "))
        }
        Test::Compare(how, threshold) => {
            let how = match how {
                Comparison::Above => "is above",
                Comparison::AtLeast => "is at least",
                Comparison::Below => "is below",
                Comparison::AtMost => "is at most",
            };
            format!("{how} {}", number(rule_set, threshold))
        }
        Test::Between(low, high) => format!(
            "lies from {} to {}, both included",
            number(rule_set, low),
            number(rule_set, high)
        ),
        Test::OlderThan(limit) => format!(
            "is more than {} old on the day of surgery",
            span(rule_set, limit)
        ),
        Test::Within(limit) => format!(
            "is at most {} old on the day of surgery",
            span(rule_set, limit)
        ),
    }
}

fn number(rule_set: &RuleSet, threshold: &Threshold) -> String {
    match threshold.limit {
        Some(at) => format!("{} (limit {})", threshold.written, rule_set.limits[at].id),
        None => threshold.written.clone(),
    }
}

fn span(rule_set: &RuleSet, limit: &SpanLimit) -> String {
    match limit.limit {
        Some(at) => format!("{} (limit {})", limit.span, rule_set.limits[at].id),
        None => limit.span.to_string(),
    }
}

fn names(rule_set: &RuleSet, slot: FactSlot, options: &[u16]) -> Vec<String> {
    named(rule_set, slot, options, |it| format!("\"{}\"", it.text))
}

/// Options of a fact, those of a list by a name of their own.
fn named(
    rule_set: &RuleSet,
    slot: FactSlot,
    options: &[u16],
    name: impl Fn(&Choice) -> String,
) -> Vec<String> {
    let all: Vec<String> = match rule_set.catalogue.fact(slot).fact_type {
        FactType::YesNo => vec!["no".to_owned(), "yes".to_owned()],
        FactType::Anaesthetic => rule_set.agents.iter().map(|it| it.id.clone()).collect(),
        _ => rule_set.catalogue.options(slot).iter().map(name).collect(),
    };
    options
        .iter()
        .filter_map(|at| all.get(usize::from(*at)).cloned())
        .collect()
}

/// One part of a condition, named.
pub(crate) struct ConditionPart<'a> {
    /// The way to it: which member at each level.
    pub path: Vec<usize>,
    /// Its name, as a rule writes it; a second one of the same name says so.
    pub name: String,
    /// The part.
    pub condition: &'a Condition,
}

/// A condition and all its parts, each with a name of its own.
pub(crate) fn parts<'a>(rule_set: &RuleSet, condition: &'a Condition) -> Vec<ConditionPart<'a>> {
    let mut found = Vec::new();
    collect(rule_set, condition, Vec::new(), &mut found);
    found
}

fn collect<'a>(
    rule_set: &RuleSet,
    condition: &'a Condition,
    path: Vec<usize>,
    found: &mut Vec<ConditionPart<'a>>,
) {
    let brief = brief(rule_set, condition);
    let nth = |n: usize| {
        if n == 1 {
            brief.clone()
        } else {
            format!("{brief} ({n})")
        }
    };
    let mut n = 1;
    while found.iter().any(|it| it.name == nth(n)) {
        n += 1;
    }
    found.push(ConditionPart {
        path: path.clone(),
        name: nth(n),
        condition,
    });
    let below: Vec<&Condition> = match condition {
        Condition::All(parts) | Condition::Any(parts) => parts.iter().collect(),
        Condition::Not(part) => vec![part],
        _ => Vec::new(),
    };
    for (at, part) in below.into_iter().enumerate() {
        let mut path = path.clone();
        path.push(at);
        collect(rule_set, part, path, found);
    }
}

/// A condition much as a rule writes it, on one line; of a list only the first member.
pub(crate) fn brief(rule_set: &RuleSet, condition: &Condition) -> String {
    let list = |word: &str, parts: &[Condition]| {
        let first = parts.first().map_or_else(String::new, |it| {
            crate::rule_set::words::brief(rule_set, it)
        });
        if parts.len() == 1 {
            format!("{word}({first})")
        } else {
            format!("{word}({first}, {} more)", parts.len().saturating_sub(1))
        }
    };
    match condition {
        Condition::All(parts) => list("all", parts),
        Condition::Any(parts) => list("any", parts),
        Condition::Not(part) => format!("not({})", crate::rule_set::words::brief(rule_set, part)),
        Condition::Taking {
            named, at_least: 1, ..
        } => format!("taking {}", named.join(", ")),
        Condition::Taking {
            named, at_least, ..
        } => format!("taking at least {at_least} of {}", named.join(", ")),
        Condition::AllergicTo {
            named, reactions, ..
        } => {
            let with: Vec<&str> = reactions
                .iter()
                .flat_map(Bits::iter)
                .map(|at| rule_set.allergens.reactions[at].id.as_str())
                .collect();
            let with = if with.is_empty() {
                String::new()
            } else {
                format!(" with {}", with.join(", "))
            };
            format!("allergic_to {}{with}", named.join(", "))
        }
        Condition::Fact { fact, test } => format!(
            "{} {}",
            rule_set.catalogue.id(*fact),
            brief_test(rule_set, *fact, test)
        ),
        Condition::Answers(conflict) => format!("answers {}", conflict.word()),
    }
}

fn brief_test(rule_set: &RuleSet, slot: FactSlot, test: &Test) -> String {
    let of = |limit: Option<Idx<Limit>>, written: String| {
        limit.map_or(written, |at| rule_set.limits[at].id.clone())
    };
    let number = |it: &Threshold| of(it.limit, it.written.clone());
    match test {
        Test::OneOf(options) => format!("is {}", option_ids(rule_set, slot, options).join(", ")),
        Test::NoneOf(options) => {
            format!("is_not {}", option_ids(rule_set, slot, options).join(", "))
        }
        Test::Includes(options) => format!(
            "includes {}",
            option_ids(rule_set, slot, options).join(", ")
        ),
        Test::Compare(how, threshold) => format!("{} {}", how.word(), number(threshold)),
        Test::Between(low, high) => format!("between {}, {}", number(low), number(high)),
        Test::OlderThan(limit) => format!("older_than {}", of(limit.limit, limit.span.to_string())),
        Test::Within(limit) => format!("within {}", of(limit.limit, limit.span.to_string())),
    }
}

/// The ids of options, as rules write them.
pub(crate) fn option_ids(rule_set: &RuleSet, slot: FactSlot, options: &[u16]) -> Vec<String> {
    named(rule_set, slot, options, |it| it.id.clone())
}

/// Alternatives: the last one after this word, the others before it with commas, or with semicolons if the word has one.
fn or(words: &[String], word: &str) -> String {
    match words.split_last() {
        None => "nothing".to_owned(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!(
            "{}{word}{last}",
            rest.join(if word.starts_with(';') { "; " } else { ", " })
        ),
    }
}
