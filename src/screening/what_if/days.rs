//! The verdict on each of the next procedure days, as spans of days with the same verdict.
//!
//! They start at the day of the screening and are the clinic's `procedure_days`, every day if it
//! names none.

use chrono::{Datelike, NaiveDate, Weekday};

use crate::outcome::Outcome;
use crate::quantity::when::When;
use crate::questionnaire::facts::Facts;
use crate::rule_set::RuleSet;
use crate::screening::compile::Compiled;
use crate::screening::evaluate::{States, standing};
use crate::screening::result::{DateSpan, Turn};
use crate::screening::what_if::prospect::prospect;
use crate::screening::what_if::search::dated;

/// Most procedure days that are looked at: a year of them, and a patient screened today is another one by then.
pub(crate) const MOST_DAYS: usize = 366;

/// The same answers on each of the next procedure days, the day of the screening included.
///
/// `weekdays` are those on which the clinic operates; every day, if it does not say. A planned time of day is kept.
///
/// # Returns
/// Spans in order; empty if the rule set asks for no day of surgery or no weekday is a procedure day.
///
/// # Missing data
/// An answer that is missing is missing on every day.
pub fn dates(
    rule_set: &RuleSet,
    compiled: &Compiled,
    facts: &Facts,
    weekdays: Option<&[Weekday]>,
    n_days: usize,
) -> Vec<DateSpan> {
    let Some(slot) = rule_set.catalogue.procedure_on else {
        return Vec::new();
    };
    let mut spans: Vec<DateSpan> = Vec::new();
    let mut before: Option<States> = None;
    for day in procedure_days(facts.as_of(), weekdays, n_days) {
        let when = When {
            date: day,
            time: facts.procedure_on().and_then(|it| it.time),
        };
        let then = facts.with(rule_set, &[(slot, dated(&when))]);
        let states = compiled.run(&then);
        let standing = standing(rule_set, &states);
        match spans.last_mut() {
            Some(span) if span.prospect.verdict() == standing => {
                span.to = day;
                span.n_days += 1;
            }
            last => {
                if let (Some(span), Some(before)) = (last, &before) {
                    span.ended_by = turns(rule_set, before, &states);
                }
                let prospect = prospect(rule_set, &then, &states);
                spans.push(DateSpan {
                    from: day,
                    to: day,
                    n_days: 1,
                    prospect,
                    ended_by: Vec::new(),
                });
            }
        }
        before = Some(states);
    }
    spans
}

/// The next days on which a clinic operates, this one included: so many of them.
pub fn procedure_days(
    from: NaiveDate,
    weekdays: Option<&[Weekday]>,
    n_days: usize,
) -> impl Iterator<Item = NaiveDate> {
    from.iter_days()
        .take(7 * n_days)
        .filter(move |day| weekdays.is_none_or(|it| it.contains(&day.weekday())))
        .take(n_days)
}

/// The rules against surgery whose state is otherwise: those that can move a verdict.
fn turns(rule_set: &RuleSet, before: &States, after: &States) -> Vec<Turn> {
    let rules = rule_set.judging.iter().zip(before.iter().zip(after));
    rules
        .filter(|(rule, (before, after))| rule.outcome > Outcome::Go && before != after)
        .map(|(rule, (before, after))| Turn {
            rule: rule.id.clone(),
            title: rule.title.clone(),
            outcome: rule.outcome,
            before: *before,
            after: *after,
        })
        .collect()
}
