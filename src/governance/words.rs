//! A condition in words, from its structure.

use crate::model::{Comparison, Condition, FactType, Odds, RuleSet, SpanLimit, Test, Threshold};
use crate::truth::FactSlot;

/// A condition as lines of text, nested parts indented by two spaces.
pub fn lines(rule_set: &RuleSet, condition: &Condition) -> Vec<String> {
    let mut found = Vec::new();
    write(rule_set, condition, 0, &mut found);
    found
}

fn write(rule_set: &RuleSet, condition: &Condition, depth: usize, found: &mut Vec<String>) {
    let indent = "  ".repeat(depth);
    match condition {
        Condition::All(parts) => {
            found.push(format!("{indent}all of these hold:"));
            parts.iter().for_each(|part| write(rule_set, part, depth + 1, found));
        }
        Condition::Any(parts) => {
            found.push(format!("{indent}at least one of these holds:"));
            parts.iter().for_each(|part| write(rule_set, part, depth + 1, found));
        }
        Condition::Not(part) => {
            found.push(format!("{indent}this does not hold:"));
            write(rule_set, part, depth + 1, found);
        }
        leaf => found.push(format!("{indent}- {}", one(rule_set, leaf))),
    }
}

fn one(rule_set: &RuleSet, condition: &Condition) -> String {
    match condition {
        Condition::Taking { named, at_least, .. } => {
            let what = or(named);
            if *at_least > 1 {
                format!("at least {at_least} different medicines taken are {what}")
            } else {
                format!("a medicine taken is {what}")
            }
        }
        Condition::AllergicTo { named, reactions, .. } => {
            let with = reactions.as_ref().map(|bits| {
                let words: Vec<String> =
                    bits.iter().filter_map(|at| rule_set.allergens.reactions.get(at)).map(|(id, _)| id.clone()).collect();
                format!(", and the reaction was {}", or(&words))
            });
            format!("there is an allergy to {}{}", or(named), with.unwrap_or_default())
        }
        Condition::Answers(Odds::RuledOut) => "a question is answered that another answer says does not apply".to_owned(),
        Condition::Answers(Odds::NotOffered) => "a choice of the plan is not among what the clinic offers".to_owned(),
        Condition::Fact { fact, test } => format!("{} {}", subject(rule_set, *fact), self::test(rule_set, *fact, test)),
        _ => String::new(),
    }
}

/// What a fact is, in words, with its id.
pub fn subject(rule_set: &RuleSet, slot: FactSlot) -> String {
    let id = rule_set.catalogue.id(slot);
    match rule_set.catalogue.derived_of(slot) {
        Some(derived) => format!("{} ({id})", lower_first(&derived.about)),
        None => match rule_set.catalogue.question_of(slot) {
            Some(question) if question.date_slot == Some(slot) => format!("the date of the answer to \"{}\" ({id})", question.ask),
            Some(question) => format!("the answer to \"{}\" ({id})", question.ask),
            None => id.to_owned(),
        },
    }
}

fn lower_first(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().collect::<String>() + letters.as_str())
}

fn test(rule_set: &RuleSet, slot: FactSlot, test: &Test) -> String {
    match test {
        Test::OneOf(options) => format!("is {}", or(&names(rule_set, slot, options))),
        Test::NoneOf(options) => format!("is not {}", or(&names(rule_set, slot, options))),
        Test::Includes(options) => format!("includes {}", or(&names(rule_set, slot, options))),
        Test::Compare(how, threshold) => {
            let how = match how {
                Comparison::Above => "is above",
                Comparison::AtLeast => "is at least",
                Comparison::Below => "is below",
                Comparison::AtMost => "is at most",
            };
            format!("{how} {}", number(rule_set, threshold))
        }
        Test::Between(low, high) => format!("lies from {} to {}, both included", number(rule_set, low), number(rule_set, high)),
        Test::OlderThan(limit) => format!("is more than {} old on the day of surgery", span(rule_set, limit)),
        Test::Within(limit) => format!("is at most {} old on the day of surgery", span(rule_set, limit)),
    }
}

fn number(rule_set: &RuleSet, threshold: &Threshold) -> String {
    match threshold.limit.and_then(|at| rule_set.limits.get(at)) {
        Some(limit) => format!("{} (limit {})", threshold.written, limit.id),
        None => threshold.written.clone(),
    }
}

fn span(rule_set: &RuleSet, limit: &SpanLimit) -> String {
    match limit.limit.and_then(|at| rule_set.limits.get(at)) {
        Some(named) => format!("{} (limit {})", limit.span, named.id),
        None => limit.span.to_string(),
    }
}

fn names(rule_set: &RuleSet, slot: FactSlot, options: &[u16]) -> Vec<String> {
    let fact_type = rule_set.catalogue.fact(slot).map(|it| &it.fact_type);
    options
        .iter()
        .map(|at| {
            let at = usize::from(*at);
            match fact_type {
                Some(FactType::YesNo) => if at == 1 { "yes" } else { "no" }.to_owned(),
                Some(FactType::Anaesthetic) => rule_set.agents.get(at).map(|it| it.id.clone()).unwrap_or_default(),
                _ => rule_set.catalogue.options(slot).get(at).map(|it| format!("\"{}\"", it.text)).unwrap_or_default(),
            }
        })
        .collect()
}

fn or(words: &[String]) -> String {
    match words.split_last() {
        None => "nothing".to_owned(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
    }
}
