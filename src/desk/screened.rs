//! What a referral comes to today, and what the register is told of it.

use chrono::NaiveDate;
use serde_json::Value;

use crate::desk::visit::words;
use crate::register::happening::{Happening, Screened};
use crate::register::lapse::lapsed;
use crate::register::state::ReferralState;
use crate::report::json;
use crate::rule_set::files::sha256;
use crate::screening::notices::notices;
use crate::screening::result::{Refusal, Screening};
use crate::screening::screener::Screener;

/// What a questionnaire comes to.
pub(crate) enum Seen {
    /// No answer was given yet, or all were removed.
    Nothing,
    /// It cannot be screened as it stands.
    Refused(Box<Refusal>),
    /// Its screening.
    Screening(Box<Screening>),
}

/// What a referral's questionnaire comes to.
pub(crate) fn seen(screener: &Screener<'_>, state: &ReferralState) -> Seen {
    let Some(text) = &state.questionnaire else {
        return Seen::Nothing;
    };
    match screener.read(&file_name(&state.reference), text.as_bytes()) {
        Ok(referral) => Seen::Screening(Box::new(screener.screening(&referral))),
        Err(refusal) => Seen::Refused(Box::new(refusal)),
    }
}

/// What will have lapsed of a booked referral by its day, in whole sentences: against what was decided, or else screened, when it
/// was booked. Empty while all of it holds.
pub(crate) fn lapses_by(
    screener: &Screener<'_>,
    state: &ReferralState,
    day: NaiveDate,
) -> Vec<String> {
    let today = screener.as_of();
    let (Some(text), Some(was)) = (&state.questionnaire, state.booked_on()) else {
        return vec!["The answers have no screening.".into()];
    };
    if day < today {
        return vec!["The day has passed.".into()];
    }
    let then = screener.clone().without_search().on(day);
    let then = match then.screen(&file_name(&state.reference), text.as_bytes()) {
        Ok(then) => then,
        Err(found) => return vec![format!("It cannot be screened any more. {}", words(&found))],
    };
    let mut said = lapsed(was, &Screened::of(&then, Value::Null, false), "on the day");
    let is_planned = then
        .procedure_on
        .as_ref()
        .is_some_and(|it| it.starts_with(&day.to_string()));
    if !is_planned {
        said.insert(0, "The answers plan another day of surgery.".into());
    }
    let now = notices(screener.rule_set(), today, Some(day));
    said.extend(then.notices.into_iter().filter(|it| !now.contains(it)));
    said
}

/// What a questionnaire of the register is called in diagnostics and screenings.
pub(crate) fn file_name(reference: &str) -> String {
    format!("{reference}.yaml")
}

/// What fixes everything that a page showed of a screening: its JSON's digest.
pub(crate) fn digest(screening: &Screening) -> String {
    sha256(json::value(screening).to_string().as_bytes())
}

/// Whether a screening is written down with all it says, or with what the pile needs of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Extent {
    /// With all that a page shows: somebody acts on it.
    Whole,
    /// With the verdict, the rules and what to ask: one step of an interview.
    InShort,
}

/// A questionnaire, and what it comes to if it can be screened: to be written down at once, so that no stop of the program leaves
/// answers without their screening.
pub(crate) fn answered(
    screener: &Screener<'_>,
    reference: &str,
    text: String,
    changed: Vec<String>,
) -> Vec<Happening> {
    let screener = screener.clone().without_search();
    let read = screener.read(&file_name(reference), text.as_bytes());
    let screening = read.ok().map(|it| screener.screening(&it));
    let answered = Happening::Answered {
        questionnaire: text,
        changed,
    };
    let screened = screening.map(|it| screened(&screener, &it, Extent::InShort));
    [answered].into_iter().chain(screened).collect()
}

/// A screening, to be written down.
pub(crate) fn screened(screener: &Screener<'_>, screening: &Screening, kept: Extent) -> Happening {
    let body = match kept {
        Extent::Whole => json::value(screening),
        Extent::InShort => Value::Null,
    };
    let screened = Screened::of(screening, body, screener.nurse_may_book());
    Happening::Screened(Box::new(screened))
}
