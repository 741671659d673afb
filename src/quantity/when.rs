//! Days, with or without a time of day, and how old something is.
//!
//! One way of writing a date is read: year, month, day. No clock is asked; every "now" is an argument.
//!
//! Dates alone count in whole days, so that an INR dated the day before surgery is 24 hours old
//! even if it was taken the morning before. With a time of day, hours count to the minute.

use std::fmt;

use chrono::{Datelike, Months, NaiveDate, NaiveTime, TimeDelta};

use crate::quantity::span::Span;

/// First and last year that are read; anything else is a slip of the keys.
pub(crate) const YEARS: std::ops::RangeInclusive<i32> = 1900..=2200;

/// A day of the calendar, with the time of day if that is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct When {
    /// The day.
    pub date: NaiveDate,
    /// The time of day to the minute, local to the clinic.
    pub time: Option<NaiveTime>,
}

/// Why a text is not a date.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WhenError {
    /// Nothing was written.
    Empty,
    /// A date in another order or with other separators.
    WrongOrder {
        /// The date as it should be written, if the text can only mean one.
        suggest: Option<String>,
    },
    /// Well written, but the calendar has no such day.
    NoSuchDay {
        /// How many days that month has, if there is such a month.
        days: Option<u32>,
    },
    /// Well written, but the clock has no such time.
    NoSuchTime,
    /// A year before 1900 or after 2200.
    YearOutOfRange,
    /// Not recognised as a date.
    NotADate,
}

impl fmt::Display for WhenError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => f.write_str("no date is written here"),
            Self::WrongOrder {
                suggest: Some(suggest),
            } => {
                write!(f, "dates are written year, month, day: write `{suggest}`")
            }
            Self::WrongOrder { suggest: None } => {
                f.write_str("dates are written year, month, day: `YYYY-MM-DD`")
            }
            Self::NoSuchDay { days: Some(days) } => {
                write!(f, "there is no such day: that month has {days} days")
            }
            Self::NoSuchDay { days: None } => {
                f.write_str("there is no such day: months run from 01 to 12")
            }
            Self::NoSuchTime => f.write_str("there is no such time: times run from 00:00 to 23:59"),
            Self::YearOutOfRange => write!(
                f,
                "the year must lie between {} and {}",
                YEARS.start(),
                YEARS.end()
            ),
            Self::NotADate => {
                f.write_str("this is not a date as `YYYY-MM-DD` or `YYYY-MM-DD hh:mm`")
            }
        }
    }
}

impl std::error::Error for WhenError {}

/// Reads a date such as `2026-12-03`, or a date with a time such as `2026-12-03 09:30` (or with a `T` between).
///
/// Exactly four, two and two digits; times by the 24-hour clock, without seconds or zone; years 1900 to 2200.
///
/// # Errors
/// A [`WhenError`] whose text tells the writer how to put it right. Where day and month could be exchanged nothing is
/// suggested.
pub fn read_when(text: &str) -> Result<When, WhenError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(WhenError::Empty);
    }
    let (date, time) = match text.split_once([' ', 'T']) {
        Some((date, time)) => (date, Some(time)),
        None => (text, None),
    };
    let pieces = digit_pieces(date, '-')
        .filter(|[year, month, day]| (year.len(), month.len(), day.len()) == (4, 2, 2));
    let Some([year, month, day]) = pieces else {
        return Err(other_order(date));
    };
    let date = real_day(year, month, day)?;
    let time = time.map(read_time).transpose()?;
    Ok(When { date, time })
}

impl When {
    /// The day alone, with no time of day.
    pub(crate) fn on(date: NaiveDate) -> Self {
        Self { date, time: None }
    }

    /// Whole days of the calendar from this day to another; below zero if the other comes first.
    pub fn days_between(&self, other: &Self) -> i64 {
        other.date.signed_duration_since(self.date).num_days()
    }

    /// Whether this certainly lies after the other. Two times on the same day count; a missing one settles nothing.
    pub fn is_after(&self, other: &Self) -> bool {
        match (self.time, other.time) {
            (Some(mine), Some(theirs)) => (self.date, mine) > (other.date, theirs),
            _ => self.date > other.date,
        }
    }

    /// Whether something taken then is older than a span by the second day.
    ///
    /// Hours, days and weeks are compared to the minute if both times are known; otherwise the days between the dates
    /// count as 24 hours each. Months and years go by the calendar: one month after 31 January is the last day of
    /// February, and that day itself is not yet over the month. An age of exactly the span does not exceed it.
    ///
    /// # Missing data
    /// Takes dates that are known. An age below zero exceeds nothing; a date in the future is the caller's to report.
    pub fn age_exceeds(taken: &Self, on: &Self, span: &Span) -> bool {
        if let Some(longest) = span.minutes() {
            return minutes_between(taken, on) > longest;
        }
        // A span that leaves the calendar cannot be exceeded inside it.
        span.months()
            .and_then(|months| taken.date.checked_add_months(Months::new(months)))
            .is_some_and(|last| last < on.date)
    }
}

impl fmt::Display for When {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.date.format("%Y-%m-%d"))?;
        match self.time {
            Some(time) => write!(f, " {}", time.format("%H:%M")),
            None => Ok(()),
        }
    }
}

/// The day on which a span that begins on a day is over. Hours count as the whole days they fill.
///
/// # Returns
/// `None` if that day leaves the calendar.
pub fn day_after(from: NaiveDate, span: &Span) -> Option<NaiveDate> {
    match (span.minutes(), span.months()) {
        (Some(minutes), _) => from.checked_add_signed(TimeDelta::days(minutes / (24 * 60))),
        (None, Some(months)) => from.checked_add_months(Months::new(months)),
        (None, None) => None,
    }
}

/// Minutes from one to the other: exact if both times are known, else whole days.
fn minutes_between(taken: &When, on: &When) -> i64 {
    match (taken.time, on.time) {
        (Some(from), Some(to)) => on
            .date
            .and_time(to)
            .signed_duration_since(taken.date.and_time(from))
            .num_minutes(),
        _ => taken.days_between(on) * 24 * 60,
    }
}

/// The day of the calendar that three groups of digits name.
fn real_day(year: &str, month: &str, day: &str) -> Result<NaiveDate, WhenError> {
    let year: i32 = year.parse().map_err(|_| WhenError::NotADate)?;
    let month: u32 = month.parse().map_err(|_| WhenError::NotADate)?;
    let day: u32 = day.parse().map_err(|_| WhenError::NotADate)?;
    if !YEARS.contains(&year) {
        return Err(WhenError::YearOutOfRange);
    }
    NaiveDate::from_ymd_opt(year, month, day).ok_or_else(|| WhenError::NoSuchDay {
        days: days_in_month(year, month),
    })
}

/// The length of a month.
fn days_in_month(year: i32, month: u32) -> Option<u32> {
    let first = NaiveDate::from_ymd_opt(year, month, 1)?;
    let next = first.checked_add_months(Months::new(1))?;
    Some(next.pred_opt()?.day())
}

/// Reads `09:30`.
fn read_time(text: &str) -> Result<NaiveTime, WhenError> {
    let (hour, minute) = text.split_once(':').ok_or(WhenError::NotADate)?;
    if ![hour, minute]
        .iter()
        .all(|piece| piece.len() == 2 && is_digits(piece))
    {
        return Err(WhenError::NotADate);
    }
    let hour: u32 = hour.parse().map_err(|_| WhenError::NotADate)?;
    let minute: u32 = minute.parse().map_err(|_| WhenError::NotADate)?;
    NaiveTime::from_hms_opt(hour, minute, 0).ok_or(WhenError::NoSuchTime)
}

/// Recognises a date in another order, and suggests the right one if there is only one reading.
fn other_order(date: &str) -> WhenError {
    let Some([first, second, third]) = ['-', '/', '.']
        .into_iter()
        .find_map(|mark| digit_pieces(date, mark))
    else {
        return WhenError::NotADate;
    };
    let short = |piece: &str| (1..=2).contains(&piece.len());
    let suggest = match (first.len(), third.len()) {
        (4, _) if short(second) && short(third) => written(first, second, third),
        (1 | 2, 4) if short(second) => {
            match (written(third, second, first), written(third, first, second)) {
                (Some(one), Some(other)) if one != other => None,
                (one, other) => one.or(other),
            }
        }
        (1 | 2, 2) if short(second) => None,
        _ => return WhenError::NotADate,
    };
    WhenError::WrongOrder { suggest }
}

/// A date in the right order, if there is such a day.
fn written(year: &str, month: &str, day: &str) -> Option<String> {
    real_day(year, month, day)
        .ok()
        .map(|date| When::on(date).to_string())
}

/// Splits a text into three groups of digits.
fn digit_pieces(text: &str, mark: char) -> Option<[&str; 3]> {
    let mut pieces = text.split(mark);
    let found = [pieces.next()?, pieces.next()?, pieces.next()?];
    (pieces.next().is_none() && found.iter().all(|piece| is_digits(piece))).then_some(found)
}

/// Whether a text is nothing but ASCII digits, and at least one.
fn is_digits(text: &str) -> bool {
    !text.is_empty() && text.chars().all(|c| c.is_ascii_digit())
}
