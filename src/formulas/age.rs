//! Age in years.

use chrono::NaiveDate;

/// Completed years of age on a given day.
///
/// Someone born on 29 February turns a year older on 1 March of a common year. Countries differ here; this is the
/// later day, so nobody counts as older than they are under either reading.
///
/// # Missing data
/// Takes dates that are known. A missing birth date is unknown before this is called, never age 0.
///
/// # Returns
/// `None` if `on` lies before `born`; the caller reports that as an error in the questionnaire.
///
/// # Source
/// The calendar; worked by hand.
pub fn completed_years(born: NaiveDate, on: NaiveDate) -> Option<u32> {
    on.years_since(born)
}
