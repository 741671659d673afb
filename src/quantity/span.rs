//! Spans of time as a rule set writes them: `72 hours`, `3 months`.
//!
//! A span keeps its unit. Three months are three months of the calendar, never ninety-one days.

use std::fmt;

/// Most digits in the count of a span.
const MOST_DIGITS: usize = 4;

/// A span of time with the unit it was written in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Span {
    /// How many of the unit, 0 to 9999.
    pub count: u32,
    /// The unit.
    pub unit: SpanUnit,
}

/// The units a span may have.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SpanUnit {
    /// Sixty minutes.
    Hours,
    /// Twenty-four hours, or a day of the calendar where only dates are known.
    Days,
    /// Seven days.
    Weeks,
    /// Months of the calendar.
    Months,
    /// Twelve months of the calendar.
    Years,
}

impl Span {
    /// Reads a span such as `72 hours`, `1 day` or `3 months`: a whole number, a space, and the unit written out.
    ///
    /// # Returns
    /// `None` if the text is anything else; there are no fractions, signs or abbreviations.
    pub fn read(text: &str) -> Option<Self> {
        let (count, unit) = text.trim().split_once(char::is_whitespace)?;
        let plain = count.len() <= MOST_DIGITS && count.chars().all(|c| c.is_ascii_digit());
        if !plain {
            return None;
        }
        let count = count.parse().ok()?;
        let unit = SpanUnit::from_word(unit.trim_start())?;
        Some(Self { count, unit })
    }

    /// The span in minutes, if its unit has a fixed length.
    ///
    /// # Returns
    /// `None` for months and years: how long they are depends on where they start.
    pub(crate) fn minutes(self) -> Option<i64> {
        let hours = match self.unit {
            SpanUnit::Hours => 1,
            SpanUnit::Days => 24,
            SpanUnit::Weeks => 7 * 24,
            SpanUnit::Months | SpanUnit::Years => return None,
        };
        Some(i64::from(self.count) * hours * 60)
    }

    /// The fewest days that the span can be: a month counts as 28 and a year as 365.
    ///
    /// For how long something has gone on, where the day it began is not known. The shortest month has 28 days, and
    /// figures given in months are read as four weeks each (a steroid for `1 month` is one for four weeks); 30 days
    /// would make a month longer than four weeks, and a calendar needs a first day. Twelve months count as 336 days, a
    /// year as 365: no figure lies between them.
    pub(crate) fn fewest_days(self) -> f64 {
        let days = match self.unit {
            SpanUnit::Hours => return f64::from(self.count) / 24.0,
            SpanUnit::Days => 1,
            SpanUnit::Weeks => 7,
            SpanUnit::Months => 28,
            SpanUnit::Years => 365,
        };
        f64::from(self.count) * f64::from(days)
    }

    /// The span in months of the calendar, if that is what it is.
    ///
    /// # Returns
    /// `None` for hours, days and weeks, and for more years than the type holds.
    pub(crate) fn months(self) -> Option<u32> {
        match self.unit {
            SpanUnit::Months => Some(self.count),
            SpanUnit::Years => self.count.checked_mul(12),
            SpanUnit::Hours | SpanUnit::Days | SpanUnit::Weeks => None,
        }
    }
}

impl SpanUnit {
    /// Reads the unit, in the singular or the plural, in any case.
    fn from_word(word: &str) -> Option<Self> {
        match word.to_ascii_lowercase().as_str() {
            "hour" | "hours" => Some(Self::Hours),
            "day" | "days" => Some(Self::Days),
            "week" | "weeks" => Some(Self::Weeks),
            "month" | "months" => Some(Self::Months),
            "year" | "years" => Some(Self::Years),
            _ => None,
        }
    }

    /// The unit for one.
    fn word(self) -> &'static str {
        match self {
            Self::Hours => "hour",
            Self::Days => "day",
            Self::Weeks => "week",
            Self::Months => "month",
            Self::Years => "year",
        }
    }
}

impl fmt::Display for Span {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let plural = if self.count == 1 { "" } else { "s" };
        write!(f, "{} {}{plural}", self.count, self.unit.word())
    }
}
