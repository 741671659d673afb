//! First conditions for a draft: tests that fit the kind of a question, with an answer for which each holds and one for
//! which it does not.

use chrono::{Days, Months, NaiveDate};

use crate::document::diagnostic::did_you_mean;
use crate::quantity::span::Span;
use crate::rule_set::{Answer, Question, RuleSet};

/// A condition that tests one answer.
#[derive(Debug)]
pub(crate) struct ConditionForm {
    /// The condition, as a rule writes it.
    pub when: String,
    /// An answer for which it holds, as a questionnaire writes it.
    pub fires: String,
    /// An answer for which it does not.
    pub quiet: String,
}

/// How old a date is asked to be, where nobody says.
const SOME_SPAN: &str = "6 months";

/// The forms for a question; with a value, the one that compares with it. Results are dated on this day.
///
/// # Errors
/// In words, if nothing can be tested or the value does not fit.
pub(crate) fn forms(
    rule_set: &RuleSet,
    question: &Question,
    value: Option<&str>,
    on: NaiveDate,
) -> Result<Vec<ConditionForm>, String> {
    let fact = &question.id;
    let form = |test: String, fires: String, quiet: String| ConditionForm {
        when: format!("{{ fact: {fact}, {test} }}"),
        fires: answer(question, &fires, on),
        quiet: answer(question, &quiet, on),
    };
    let wrong = |value: &str, known: Vec<&str>| {
        let help = did_you_mean(value, known);
        let help =
            help.unwrap_or_else(|| "what it compares with must stand in the rule set first".into());
        Err(format!("`{value}` does not fit `{fact}`; {help}"))
    };
    // A length of time is how old a result is, whatever it says.
    if let Some(value) = value.filter(|it| question.dated && span(rule_set, it).is_some()) {
        let (test, older) = older_than(rule_set, value, on)?;
        let of = |day: NaiveDate| forms(rule_set, question, None, day);
        let pairs = of(older)?.into_iter().zip(of(on)?).take(1);
        let made = pairs.map(|(old, new)| ConditionForm {
            when: format!("{{ fact: {fact}, {test} }}"),
            fires: old.fires,
            quiet: new.fires,
        });
        return Ok(made.collect());
    }
    match &question.answer {
        Answer::YesNo => match value.unwrap_or("yes") {
            "yes" => Ok(vec![form("is: yes".into(), "yes".into(), "no".into())]),
            "no" => Ok(vec![form("is: no".into(), "no".into(), "yes".into())]),
            other => wrong(other, vec!["yes", "no"]),
        },
        Answer::OneOf(options) | Answer::SeveralOf(options) => {
            let ids: Vec<&str> = options.iter().map(|it| it.id.as_str()).collect();
            let chosen: Vec<&str> = ids
                .iter()
                .copied()
                .filter(|it| value.is_none_or(|value| value == *it))
                .collect();
            if let (Some(value), []) = (value, &chosen[..]) {
                return wrong(value, ids);
            }
            let several = matches!(question.answer, Answer::SeveralOf(_));
            let made = chosen.iter().map(|id| {
                let other = ids.iter().find(|it| *it != id).unwrap_or(id);
                match several {
                    true => form(format!("includes: {id}"), format!("[{id}]"), "[]".into()),
                    false => form(format!("is: {id}"), (*id).to_owned(), (*other).to_owned()),
                }
            });
            Ok(made.collect())
        }
        Answer::Number { whole } => number(rule_set, question, value, *whole, "")
            .map(|(test, at, below)| vec![form(format!("at_least: {test}"), at, below)]),
        Answer::Quantity { unit, .. } => number(rule_set, question, value, false, unit)
            .map(|(test, at, below)| vec![form(format!("at_least: {test}"), at, below)]),
        Answer::Date => {
            let (test, older) = older_than(rule_set, value.unwrap_or(SOME_SPAN), on)?;
            Ok(vec![form(test, older.to_string(), on.to_string())])
        }
        Answer::Medicines => {
            let register = &rule_set.medicines;
            let value =
                value.ok_or("say with --value which medicine or class the condition looks for")?;
            let first = register
                .find(value)
                .and_then(|it| it.iter().next())
                .map(|at| &register.medicines[at]);
            match first {
                Some(it) => Ok(vec![ConditionForm {
                    when: format!("{{ taking: {} }}", quoted(value)),
                    fires: format!("[{}]", quoted(&it.name)),
                    quiet: "[]".into(),
                }]),
                None => wrong(
                    value,
                    names(
                        register.names.keys(),
                        register.classes.iter().map(|it| &it.id),
                    ),
                ),
            }
        }
        Answer::Allergies => {
            let register = &rule_set.allergens;
            let value =
                value.ok_or("say with --value which substance or group the condition looks for")?;
            let first = register
                .find(value)
                .and_then(|it| it.iter().next())
                .map(|at| &register.substances[at]);
            match (first, register.reactions.iter().next()) {
                (Some(to), Some(reaction)) => Ok(vec![ConditionForm {
                    when: format!("{{ allergic_to: {} }}", quoted(value)),
                    fires: format!(
                        "[{{ to: {}, reaction: {} }}]",
                        quoted(&to.name),
                        reaction.id
                    ),
                    quiet: "[]".into(),
                }]),
                _ => wrong(
                    value,
                    names(
                        register.names.keys(),
                        register.groups.iter().map(|it| &it.id),
                    ),
                ),
            }
        }
        Answer::Text => Err(format!(
            "`{fact}` is free text, which is shown and never evaluated; choose another question"
        )),
        Answer::Anaesthetic => Err(format!(
            "`{fact}` has no simple test; choose another question, and change the condition then"
        )),
    }
}

/// An answer as a questionnaire writes it, with its date if it carries one.
fn answer(question: &Question, value: &str, on: NaiveDate) -> String {
    if question.dated {
        format!("{{ value: {value}, taken_on: {on} }}")
    } else {
        value.to_owned()
    }
}

/// The number to compare with, as a rule writes it, then an answer of just that number and one a last decimal below it.
fn number(
    rule_set: &RuleSet,
    question: &Question,
    value: Option<&str>,
    whole: bool,
    unit: &str,
) -> Result<(String, String, String), String> {
    let limit = value.and_then(|it| rule_set.limit(it));
    let middle = question
        .plausible
        .map_or(1.0, |(low, high)| f64::midpoint(low, high));
    let written = match (limit, value) {
        (Some(limit), _) => limit.written.clone(),
        (None, Some(value)) => value.to_owned(),
        (None, None) if whole || middle >= 10.0 => format!("{middle:.0} {unit}"),
        (None, None) => format!("{middle:.1} {unit}"),
    };
    let written = written.trim();
    let (digits, unit) = written.split_once(' ').unwrap_or((written, ""));
    let number: f64 = digits
        .parse()
        .ok()
        .filter(|it: &f64| it.is_finite())
        .ok_or_else(|| {
            let known = rule_set.limits.iter().map(|it| it.id.as_str());
            let help = did_you_mean(written, known).map_or(String::new(), |it| format!("; {it}"));
            format!("`{written}` is neither a number with its unit nor a limit{help}")
        })?;
    let decimals = digits.split_once('.').map_or(0, |(_, it)| it.len());
    let step = 0.1_f64.powi(i32::try_from(decimals).unwrap_or(0));
    let below = format!("{:.decimals$} {unit}", number - step);
    let test = limit.map_or_else(
        || written.to_owned(),
        |it| format!("{{ limit: {} }}", it.id),
    );
    Ok((test, written.to_owned(), below.trim().to_owned()))
}

/// The length of time that a value says, or the limit of that name.
fn span(rule_set: &RuleSet, value: &str) -> Option<Span> {
    Span::read(rule_set.limit(value).map_or(value, |it| &it.written))
}

/// The test that something is older than that, and a day that is.
fn older_than(
    rule_set: &RuleSet,
    value: &str,
    on: NaiveDate,
) -> Result<(String, NaiveDate), String> {
    let span = span(rule_set, value)
        .ok_or_else(|| format!("`{value}` is no length of time, such as \"6 months\""))?;
    let limit = rule_set.limit(value);
    let test = limit.map_or_else(|| value.to_owned(), |it| format!("{{ limit: {} }}", it.id));
    let older = before(on, &span).ok_or("so old a date leaves the calendar")?;
    Ok((format!("older_than: {test}"), older))
}

/// A day that lies further back than a span.
fn before(on: NaiveDate, span: &Span) -> Option<NaiveDate> {
    let start = match (span.minutes(), span.months()) {
        (Some(minutes), _) => {
            on.checked_sub_days(Days::new(u64::try_from(minutes).ok()?.div_ceil(24 * 60)))
        }
        (None, months) => on.checked_sub_months(Months::new(months?)),
    };
    start?.pred_opt()
}

/// All names, in order.
fn names<'a>(
    names: impl Iterator<Item = &'a String>,
    ids: impl Iterator<Item = &'a String>,
) -> Vec<&'a str> {
    let mut all: Vec<&str> = names.chain(ids).map(String::as_str).collect();
    all.sort_unstable();
    all.dedup();
    all
}

/// A name as a text of YAML: plain if it is nothing but small letters, digits and hyphens.
pub(crate) fn quoted(name: &str) -> String {
    let plain = name.starts_with(|it: char| it.is_ascii_lowercase())
        && name
            .chars()
            .all(|it| it.is_ascii_lowercase() || it.is_ascii_digit() || it == '-');
    if plain {
        name.to_owned()
    } else {
        format!("\"{}\"", name.replace('\\', "\\\\").replace('"', "\\\""))
    }
}
