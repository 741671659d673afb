//! What people type in short, written out: a number without the unit that stands beside it, a day without its dashes.
//!
//! Nothing is guessed: what could mean two things stays as it was typed, and is refused as such. The page says what was
//! understood.

use chrono::{Datelike, NaiveDate};

use crate::quantity::read_number;
use crate::quantity::when::YEARS;
use crate::rule_set::{Answer, Question};

/// How far off a day without its year may lie: the nearest such day is then the only one.
const HALF_A_YEAR: u64 = 182;

/// A number alone with the unit that the page shows beside it, if no other accepted unit would be plausible as well.
pub(crate) fn with_unit(question: &Question, text: &str) -> String {
    let is_meant = || {
        let Answer::Quantity {
            measure,
            unit,
            units,
        } = &question.answer
        else {
            return None;
        };
        let number = read_number(text).ok()?;
        let (low, high) = question.plausible?;
        let is_plausible = |from: &&&str| {
            let value = measure.convert(number, from, unit);
            value.is_some_and(|it| (low..=high).contains(&it))
        };
        let is_alone = !units.iter().any(|it| is_plausible(&it));
        Some(*unit).filter(|it| is_plausible(&it) && is_alone)
    };
    is_meant().map_or_else(|| text.to_owned(), |unit| format!("{text} {unit}"))
}

/// A day as `2026-12-03` that was typed as `20261203`, `3 Dec 2026`, `3dec`, `today`, `yesterday` or `tomorrow`. Without its year
/// it is the nearest such day.
pub(crate) fn day(text: &str, today: NaiveDate, is_past: bool) -> String {
    let found = match text.to_lowercase().as_str() {
        "today" => Some(today),
        "yesterday" => today.pred_opt(),
        "tomorrow" => today.succ_opt(),
        digits if digits.len() == 8 && digits.bytes().all(|it| it.is_ascii_digit()) => {
            NaiveDate::parse_from_str(digits, "%Y%m%d").ok()
        }
        words => with_year(words).or_else(|| nearest(words, today)),
    };
    let found = found.filter(|it| YEARS.contains(&it.year()) && !(is_past && *it > today));
    found.map_or_else(|| text.to_owned(), |it| it.to_string())
}

fn with_year(text: &str) -> Option<NaiveDate> {
    NaiveDate::parse_from_str(text, "%d %b %Y").ok()
}

fn nearest(text: &str, today: NaiveDate) -> Option<NaiveDate> {
    let years = [today.year() - 1, today.year(), today.year() + 1];
    let mut days = years
        .iter()
        .filter_map(|year| with_year(&format!("{text} {year}")));
    days.find(|it| it.signed_duration_since(today).num_days().unsigned_abs() <= HALF_A_YEAR)
}
