//! Numbers with units: reading what a person wrote, turning one unit into another, and printing a number again.
//!
//! Knows units, spans of time and dates; knows no question, no limit and no patient. Nothing here guesses: a number
//! without a unit stays without one, and an odd spelling is an error that says how to write it.
//!
//! Several numbers are added up only within a family (stones and pounds, metres and centimetres,
//! and their like), the largest first, each less than one of the part before: `35 kg 77 lb` is one
//! weight written twice, and refused. A number that is shown is never rounded across a limit that
//! it is compared with: 0.8951 beside 0.90 reads 0.895.

pub mod span;
pub(crate) mod units;
pub mod when;

pub use crate::quantity::span::{Span, SpanUnit};
pub use crate::quantity::units::{CompoundError, Measure, which_measures};
pub use crate::quantity::when::{When, WhenError, read_when};

use std::fmt;

use crate::formulas::without_noise;

/// Most characters a quantity may have; longer text is not a measurement.
const LONGEST_TEXT: usize = 64;

/// Most digits a number may have. Up to here every decimal number survives the way to binary and back.
const MOST_DIGITS: usize = 15;

/// Largest magnitude that is read, in whatever unit.
const LARGEST: f64 = 1e12;

/// Most decimals printed when the caller names no number of decimals.
const MOST_DECIMALS: usize = 6;

/// Most parts in a compound quantity: `11 st 4 lb 6 oz` has three.
const MOST_PARTS: usize = 3;

/// One number and the unit that follows it, as written.
///
/// `5 ft 7 in` is two parts. The unit is kept as written; [`Measure::unit`] knows what it means.
#[derive(Debug, Clone, PartialEq)]
pub struct Parts {
    /// The number.
    pub number: f64,
    /// The number as it was written, for showing beside a converted value.
    pub number_text: String,
    /// The unit as it was written, or `None` if the number stands alone.
    pub unit: Option<String>,
}

/// Why a text is not a number or a quantity.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum QuantityError {
    /// Nothing was written.
    Empty,
    /// A comma stands where the decimal point belongs.
    DecimalComma {
        /// The number and what follows it, with a decimal point instead.
        suggest: String,
    },
    /// The comma may separate thousands or decimals (`1,000`), so nothing can be suggested.
    AmbiguousComma,
    /// The number starts with its decimal point.
    BarePoint {
        /// The number and what follows it, with the zero put in front.
        suggest: String,
    },
    /// A sign such as `<` or `>` stands before the number: a bound, not a measurement.
    Comparator,
    /// Two numbers follow each other with no unit between them, as in `2-3 mL` or `1 000 mL`.
    TwoNumbers,
    /// Something follows a number that should stand alone.
    TextAfterNumber,
    /// Not a plain decimal number.
    NotANumber,
    /// More digits, or a larger number, than a measurement has.
    TooLarge,
}

impl fmt::Display for QuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => f.write_str("no number is written here"),
            Self::DecimalComma { suggest } => {
                write!(f, "decimals follow a point, not a comma: write `{suggest}`")
            }
            Self::AmbiguousComma => f.write_str(
                "the comma could separate thousands or decimals: write the number without it",
            ),
            Self::BarePoint { suggest } => write!(
                f,
                "a zero belongs before the decimal point: write `{suggest}`"
            ),
            Self::Comparator => {
                f.write_str("a number after `<` or `>` is a bound, not a measured value")
            }
            Self::TwoNumbers => {
                f.write_str("two numbers follow each other with no unit between them")
            }
            Self::TextAfterNumber => {
                f.write_str("a number alone is wanted here, with nothing after it")
            }
            Self::NotANumber => f.write_str("this is not a plain number such as `68` or `1.5`"),
            Self::TooLarge => f.write_str("the number has more digits than a measurement has"),
        }
    }
}

impl std::error::Error for QuantityError {}

/// Reads a number with its unit, or several of them in a row.
///
/// Takes `68 kg`, `68kg`, `8.5 %`, `180 x10^9/L`, and compounds such as `5 ft 7 in`. Numbers are plain decimals: an
/// optional sign (never in a compound), digits, and optionally a point with more digits. There are no exponents and
/// no separators between thousands.
///
/// # Missing data
/// A number without a unit comes back with `unit: None`; it is for the caller to refuse it and name the unit it needs.
///
/// # Returns
/// At least one part, in the order written. The units are not checked here.
///
/// # Errors
/// A [`QuantityError`] whose text tells the writer how to put it right.
pub fn read_quantity(text: &str) -> Result<Vec<Parts>, QuantityError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(QuantityError::Empty);
    }
    if text.chars().count() > LONGEST_TEXT {
        return Err(QuantityError::TooLarge);
    }
    let mut parts: Vec<Parts> = Vec::new();
    let mut rest = text;
    while !rest.is_empty() {
        if parts.len() == MOST_PARTS {
            return Err(QuantityError::NotANumber);
        }
        let (number, number_text, after) = take_number(rest)?;
        let (unit, next) = take_unit(after.trim_start());
        if unit.is_empty() && !next.is_empty() {
            return Err(QuantityError::TwoNumbers);
        }
        parts.push(Parts {
            number,
            number_text: number_text.to_owned(),
            unit: (!unit.is_empty()).then(|| unit.to_owned()),
        });
        rest = next;
    }
    let signed = parts
        .iter()
        .any(|part| part.number_text.starts_with(['+', '-']));
    if parts.len() > 1 && signed {
        return Err(QuantityError::NotANumber);
    }
    Ok(parts)
}

/// Reads a number that stands alone, such as an INR.
///
/// # Errors
/// As [`read_quantity`], and [`QuantityError::TextAfterNumber`] if anything follows the number.
pub fn read_number(text: &str) -> Result<f64, QuantityError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(QuantityError::Empty);
    }
    if text.chars().count() > LONGEST_TEXT {
        return Err(QuantityError::TooLarge);
    }
    match take_number(text)? {
        (number, _, "") => Ok(number),
        _ => Err(QuantityError::TextAfterNumber),
    }
}

/// Prints a number for people, without the noise of binary arithmetic. For display only; never compare what it returns.
///
/// `decimals` fixes the number of decimals, rounding to the nearest (`4.0`, `0.17`). Without it the shortest form is
/// printed, with at most six decimals and no closing zeros (`68`, `1.5`). Beside a limit use [`tidy_beside`], for the
/// most that may be given use [`tidy_down`].
///
/// # Returns
/// `not a number` for a value that is not finite; such values do not get past the formulas.
pub fn tidy(value: f64, decimals: Option<usize>) -> String {
    if !value.is_finite() {
        return "not a number".to_owned();
    }
    let value = without_noise(value);
    let text = match decimals {
        Some(decimals) => format!("{value:.decimals$}"),
        None => {
            let shortest = format!("{value}");
            if decimals_of(&shortest) <= MOST_DECIMALS {
                shortest
            } else {
                let cut = format!("{value:.MOST_DECIMALS$}");
                cut.trim_end_matches('0').trim_end_matches('.').to_owned()
            }
        }
    };
    without_minus_zero(text)
}

/// Prints a number that stands beside a limit, so that rounding cannot carry it across.
///
/// An index of 0.8951 rounds to `0.90`, and "0.90 is below 0.90" helps nobody. Decimals are added, starting from
/// `decimals`, until the printed number lies on the same side of `limit` as the number itself (`0.895`).
pub fn tidy_beside(value: f64, decimals: usize, limit: f64) -> String {
    if !value.is_finite() || !limit.is_finite() {
        return tidy(value, Some(decimals));
    }
    let value = without_noise(value);
    let side = value.total_cmp(&limit);
    (decimals..decimals.saturating_add(MOST_DECIMALS))
        .map(|decimals| tidy(value, Some(decimals)))
        .find(|text| {
            text.parse::<f64>()
                .is_ok_and(|shown| shown.total_cmp(&limit) == side)
        })
        .unwrap_or_else(|| without_minus_zero(format!("{value}")))
}

/// Prints a number rounded towards zero: the largest volume or dose that may be given is never rounded up.
pub fn tidy_down(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return tidy(value, Some(decimals));
    }
    let value = without_noise(value);
    let exact = format!("{value}");
    let given = decimals_of(&exact);
    if given <= decimals {
        return tidy(value, Some(decimals));
    }
    let keep = exact.len().saturating_sub(given - decimals);
    let cut: String = exact.chars().take(keep).collect();
    without_minus_zero(cut.trim_end_matches('.').to_owned())
}

/// Counts the digits after the point of a printed number.
fn decimals_of(text: &str) -> usize {
    text.split_once('.')
        .map_or(0, |(_, decimals)| decimals.len())
}

/// Drops the sign of a printed zero.
fn without_minus_zero(text: String) -> String {
    match text.strip_prefix('-') {
        Some(bare) if bare.chars().all(|c| matches!(c, '0' | '.')) => bare.to_owned(),
        _ => text,
    }
}

/// Takes a plain number off the front: the number, its text, and what follows.
fn take_number(text: &str) -> Result<(f64, &str, &str), QuantityError> {
    let (sign, unsigned) = text.split_at(usize::from(text.starts_with(['+', '-'])));
    let (whole, mut after) = take_digits(unsigned);
    if whole.is_empty() {
        return Err(not_a_number(sign, unsigned));
    }
    let mut decimals = "";
    if let Some(behind) = after.strip_prefix('.') {
        (decimals, after) = take_digits(behind);
        if decimals.is_empty() {
            return Err(QuantityError::NotANumber);
        }
    }
    if let Some(behind) = after.strip_prefix(',') {
        let (digits, next) = take_digits(behind);
        let plain = decimals.is_empty() && !digits.is_empty() && !next.starts_with([',', '.']);
        return Err(match digits.len() {
            _ if !plain => QuantityError::AmbiguousComma,
            3 if !whole.trim_start_matches('0').is_empty() => QuantityError::AmbiguousComma,
            _ => QuantityError::DecimalComma {
                suggest: format!("{sign}{whole}.{digits}{next}"),
            },
        });
    }
    if after.starts_with(['/', '_', '.']) || is_exponent(after) {
        return Err(QuantityError::NotANumber);
    }
    if whole.len() + decimals.len() > MOST_DIGITS {
        return Err(QuantityError::TooLarge);
    }
    let number_text = text.strip_suffix(after).unwrap_or(text);
    let number: f64 = number_text.parse().map_err(|_| QuantityError::NotANumber)?;
    if !number.is_finite() || number.abs() > LARGEST {
        return Err(QuantityError::TooLarge);
    }
    Ok((number, number_text, after))
}

/// Says why a text that does not begin with a digit is not a number.
fn not_a_number(sign: &str, unsigned: &str) -> QuantityError {
    if unsigned.starts_with(['<', '>', '≤', '≥', '~']) {
        return QuantityError::Comparator;
    }
    match unsigned.strip_prefix('.') {
        Some(behind) if behind.starts_with(|c: char| c.is_ascii_digit()) => {
            QuantityError::BarePoint {
                suggest: format!("{sign}0.{behind}"),
            }
        }
        _ => QuantityError::NotANumber,
    }
}

/// Takes the unit off the front: the unit, and what follows it.
///
/// A unit ends where the next number begins, except that powers of ten (`10^9/L`) and everything after a stroke
/// (`mL/min/1.73 m2`) belong to the unit.
fn take_unit(text: &str) -> (&str, &str) {
    let power = text.trim_start_matches(['x', 'X', '×']).trim_start();
    let is_power = ["10^", "10*", "10⁹", "10³"]
        .iter()
        .any(|start| power.starts_with(start));
    if is_power {
        return (text, "");
    }
    let mut characters = text.char_indices().peekable();
    while let Some((at, character)) = characters.next() {
        if character == '/' {
            return (text, "");
        }
        let digit_follows = characters
            .peek()
            .is_some_and(|(_, next)| next.is_ascii_digit());
        let begins_number =
            character.is_ascii_digit() || (matches!(character, '+' | '-' | '.') && digit_follows);
        if begins_number && let Some((unit, next)) = text.split_at_checked(at) {
            return (unit.trim_end(), next);
        }
    }
    (text, "")
}

/// Splits off the leading ASCII digits.
fn take_digits(text: &str) -> (&str, &str) {
    let rest = text.trim_start_matches(|c: char| c.is_ascii_digit());
    (text.strip_suffix(rest).unwrap_or(text), rest)
}

/// Whether what follows a number is an exponent, as in `1e5`.
fn is_exponent(after: &str) -> bool {
    after
        .strip_prefix(['e', 'E'])
        .map(|behind| behind.strip_prefix(['+', '-']).unwrap_or(behind))
        .is_some_and(|behind| behind.starts_with(|c: char| c.is_ascii_digit()))
}
