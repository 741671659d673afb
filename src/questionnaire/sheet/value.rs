//! What a cell says, as it would stand in a questionnaire's file.

use crate::quantity::read_number;
use crate::questionnaire::mapping::{Decimal, SheetForm};

/// A number as it is written here.
///
/// # Errors
/// What is wrong with it, in words: it has the other sign before its decimals.
pub(super) fn number(form: &SheetForm, text: &str) -> Result<String, String> {
    match form.decimal {
        // The reader of answers refuses a comma.
        Decimal::Point => Ok(text.to_owned()),
        Decimal::Comma if text.contains('.') => Err(
            "the mapping file says that a comma stands before decimals: write it so, and nothing between thousands"
                .to_owned(),
        ),
        Decimal::Comma => Ok(text.replacen(',', ".", 1)),
    }
}

/// A number with its unit, which is this one if the number stands alone; `None` if it does, and no unit is told.
///
/// # Errors
/// As [`number`].
pub(super) fn quantity(
    form: &SheetForm,
    unit: Option<&str>,
    text: &str,
) -> Result<Option<String>, String> {
    let number = number(form, text)?;
    Ok(match (read_number(&number), unit) {
        (Ok(_), Some(unit)) => Some(format!("{number} {unit}")),
        (Ok(_), None) => None,
        (Err(_), _) => Some(number),
    })
}

/// A day, perhaps with a time, as it is written here: `2026-12-03 09:30`. What does not begin with a digit comes back as it is.
///
/// # Errors
/// What is wrong with it, in words: it is not written in the form that is told.
pub(super) fn day(form: &SheetForm, text: &str) -> Result<String, String> {
    if !text.starts_with(|it: char| it.is_ascii_digit()) {
        return Ok(text.to_owned());
    }
    let wrong = || {
        let form = &form.dates;
        format!(
            "the mapping file says that days are written {form}: write it so, or correct the mapping file"
        )
    };
    let (day, time) = text
        .split_once(' ')
        .map_or((text, None), |(day, time)| (day, Some(time)));
    let mark = form
        .dates
        .trim_start_matches(|it: char| it.is_ascii_alphabetic());
    let mark = mark.chars().next().ok_or_else(wrong)?;
    let mut parts = [String::new(), String::new(), String::new()];
    let mut written = day.split(mark);
    for letters in form.dates.split(mark) {
        let digits = written.next().ok_or_else(wrong)?;
        let (place, fits) = match letters {
            "YYYY" => (0, digits.len() == 4),
            "MM" => (1, (1..=2).contains(&digits.len())),
            _ => (2, (1..=2).contains(&digits.len())),
        };
        if !fits || !digits.bytes().all(|it| it.is_ascii_digit()) {
            return Err(wrong());
        }
        if let Some(part) = parts.get_mut(place) {
            *part = format!("{digits:0>2}");
        }
    }
    if written.next().is_some() {
        return Err(wrong());
    }
    let day = parts.join("-");
    Ok(time.map_or_else(|| day.clone(), |time| format!("{day} {time}")))
}
