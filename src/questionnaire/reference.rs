//! By which a patient is known: a reference of the clinic's own, and never a name.

use crate::quantity::when::YEARS;

/// Longest reference of a patient.
const LONGEST_REFERENCE: usize = 40;

/// What is wrong with a text as a patient's reference, and what to do: `None` if nothing is. Neither quotes the text.
pub(super) fn not_a_reference(text: &str) -> Option<(String, String)> {
    // A batch asks this of every line, and most have nothing wrong.
    let form = || {
        format!(
            "letters a to z, digits, `-`, `/`, `.` and `_`, at most {LONGEST_REFERENCE}, such as `SM-103`"
        )
    };
    let refused = |title: &str, help: String| Some((title.to_owned(), help));
    if text.is_empty() {
        return refused(
            "the patient has no reference",
            format!("write by which the clinic knows the patient: {}", form()),
        );
    }
    if looks_like_a_date(text) {
        return refused(
            "a reference must not be a date",
            "it may be a date of birth, which stands under `person`; write a number that the clinic gave the referral".into(),
        );
    }
    if !text
        .chars()
        .all(|it| it.is_ascii_alphanumeric() || "-/._".contains(it))
    {
        let help = format!(
            "a reference is made of {}; names are never asked for, stored or printed",
            form()
        );
        return refused("a reference has no spaces, accents or other signs", help);
    }
    if !text.contains(|it: char| it.is_ascii_digit()) {
        let help = format!(
            "a reference without a digit may be a name, which is never asked for; write {}",
            form()
        );
        return refused("a reference needs a digit", help);
    }
    (text.len() > LONGEST_REFERENCE).then(|| {
        (
            "the reference is too long".into(),
            format!("write {}", form()),
        )
    })
}

/// Whether day, month and a year of four digits stand in a text, in whichever order of writing.
fn looks_like_a_date(text: &str) -> bool {
    let numbers: Vec<&str> = text
        .split(|it: char| !it.is_ascii_digit())
        .filter(|it| !it.is_empty())
        .collect();
    let is_date = |year: &str, month: &str, day: &str| {
        let number =
            |it: &str, longest: usize| it.parse::<u32>().ok().filter(|_| it.len() <= longest);
        let year =
            number(year, 4).filter(|year| i32::try_from(*year).is_ok_and(|it| YEARS.contains(&it)));
        let (month, day) = (number(month, 2), number(day, 2));
        year.is_some()
            && month.is_some_and(|it| (1..=12).contains(&it))
            && day.is_some_and(|it| (1..=31).contains(&it))
    };
    let in_some_order =
        |a: &str, b: &str, c: &str| is_date(a, b, c) || is_date(c, b, a) || is_date(c, a, b);
    let together = |text: &str| {
        let parts = |first: usize, second: usize| {
            let (a, rest) = text.split_at_checked(first)?;
            let (b, c) = rest.split_at_checked(second)?;
            Some((a, b, c))
        };
        let year_first = parts(4, 2).is_some_and(|(year, month, day)| is_date(year, month, day));
        text.len() == 8
            && (year_first
                || parts(2, 2).is_some_and(|(day, month, year)| is_date(year, month, day)))
    };
    numbers
        .windows(3)
        .any(|it| matches!(it, [a, b, c] if in_some_order(a, b, c)))
        || (numbers.as_slice() == [text] && together(text))
}
