//! Age in years.

use chrono::NaiveDate;

use crate::formulas::formula::{
    FROM_ZERO, Follows, Formula, Gives, KnownWhen, Moves, Needs, Role, RoleKind,
};
use crate::formulas::given::{both, result};

/// [`completed_years`] of a rule set.
pub(crate) static COMPLETED_YEARS: Formula = Formula {
    name: "completed-years",
    about: "completed years between two dates",
    source: "The calendar",
    roles: &[
        Role::new("born", RoleKind::Date(Moves::Falls)),
        Role::new("on", RoleKind::Date(Moves::Rises)),
    ],
    gives: Gives::In("years"),
    whole: true,
    ends: FROM_ZERO,
    cuts: &[],
    known: KnownWhen::Exactly(Needs::Every),
    zero: Needs::NEVER,
    follows: Follows::Born("born"),
    even_with: None,
    compute: |given| {
        let (born, on) = both(given.date("born"), given.date("on"))?;
        result(completed_years(born, on).map(f64::from))
    },
};

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
