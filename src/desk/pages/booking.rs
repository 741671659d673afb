//! Booking: the days ahead with what each would come to, and the day that is chosen.

use chrono::NaiveDate;
use maud::html;
use serde_json::Value;

use crate::desk::page::{of_referral, see};
use crate::desk::screened::{Seen, answered, file_name, seen};
use crate::desk::visit::{NoReply, Reply, Visit, words};
use crate::questionnaire::edit;
use crate::questionnaire::edit::Entered;
use crate::register::happening::{Happening, Screened};
use crate::report::brief::Brief;
use crate::report::html as report;
use crate::rule_set::FactKind;

/// How many procedure days ahead are offered.
const DAYS: usize = 15;

const CANNOT: &str = "The answers cannot be screened as they stand, so no day can be booked.";

/// The page.
pub(crate) fn show(visit: &mut Visit<'_>) -> Reply {
    let state = visit.referral()?;
    let reference = &state.reference;
    let may_be_booked = state.may_be_booked();
    let seen = seen(&visit.screener().days(Some(DAYS)), &state);
    let Seen::Screening(screening) = &seen else {
        return Err(NoReply::Form(CANNOT.into()));
    };
    let brief = Brief::of(screening);
    let planned = screening
        .procedure_on
        .clone()
        .unwrap_or_else(|| "not known".into());
    let body = html! {
        h1 { "Book, " a href=(of_referral(reference, "")) { (reference) } }
        p { "Planned in the questionnaire: " strong { (planned) } "." }
        @if let Some(day) = state.booked.last() { p { "Booked: " strong { (day.format("%-d %b %Y")) } "." } }
        @if !may_be_booked {
            p role="status" { strong { "Not to be booked yet:" } " a clinician decides go on these answers first." }
        }
        article.report { (report::days(brief.ahead.as_deref().unwrap_or(&[]))) }
        @if may_be_booked {
            form.line method="post" action=(of_referral(reference, "/book")) {
                (visit.token_field())
                (crate::desk::page::hidden("version", &state.version.to_string()))
                div.field {
                    label for="day" { "Day of surgery" }
                    input id="day" name="day" autocomplete="off" required aria-describedby="day-hint" value=(state.booked.last().map_or(planned, ToString::to_string));
                    p.hint id="day-hint" { "As YYYY-MM-DD. Another day than the planned one changes the answer to that question, is screened anew, and may need a new decision." }
                }
                button { "Book" }
            }
        }
    };
    Ok(visit.page(&format!("Book, {reference}"), body))
}

/// Books a day. A day that is not the planned one is an answer that changes: it is screened, and booked if that may still be.
pub(crate) fn book(visit: &mut Visit<'_>) -> Reply {
    let state = visit.referral()?;
    visit.must_be_current()?;
    visit.must_be_of(&state)?;
    let reference = state.reference.clone();
    let typed = visit.field("day")?.trim().to_owned();
    let day: NaiveDate = typed
        .parse()
        .map_err(|_| NoReply::Form(format!("`{typed}` is no day as YYYY-MM-DD.")))?;
    let Some(text) = &state.questionnaire else {
        return Err(NoReply::Form("No answer was given yet.".into()));
    };
    let rule_set = visit.rule_set();
    let catalogue = &rule_set.catalogue;
    let asked = catalogue
        .procedure_on
        .and_then(|slot| match catalogue.fact(slot).kind {
            FactKind::Question(at) => Some(at),
            FactKind::TakenOn(_) | FactKind::Derived(_) => None,
        });
    let current = state.current().map(|it| it.screened.clone());
    let planned = current
        .as_ref()
        .and_then(|it| it.procedure_on.clone())
        .filter(|it| it.starts_with(&day.to_string()));
    let screener = visit.screener();
    if let (Some(at), None) = (asked, planned) {
        let entered = Entered::Typed(day.to_string());
        let changed = edit::with_answer(rule_set, text, at, &entered)
            .map_err(|found| NoReply::Form(words(&found)))?;
        if let Err(refusal) = screener.read(&file_name(&reference), changed.as_bytes()) {
            return Err(NoReply::Form(words(&refusal.problems)));
        }
        let questions = vec![catalogue.questions[at].id.clone()];
        let all = answered(&screener, &reference, changed, questions);
        visit.write_all(&reference, None, all)?;
    } else {
        // The rules or the clinic's file may be others than those by which it was screened: what they say today counts.
        let Seen::Screening(now) = seen(&screener.clone().without_search(), &state) else {
            return Err(NoReply::Form(CANNOT.into()));
        };
        let now = Screened::of(&now, Value::Null, screener.nurse_may_book());
        if current.is_none_or(|it| !it.is_same_as(&now)) {
            let happening = Happening::Screened(Box::new(now));
            visit.write(Some(&reference), happening)?;
        }
    }
    if !visit.referral()?.may_be_booked() {
        let body = html! {
            h1 { "Not booked yet, " a href=(of_referral(&reference, "")) { (reference) } }
            p role="alert" { "The day of surgery is " strong { (day.format("%-d %b %Y")) } " now, and what was decided does not cover that: the answers, the rules or the clinic's file are others. A clinician decides on them; then the day can be booked." }
        };
        return Ok(visit.page(&format!("Not booked yet, {reference}"), body));
    }
    visit.write(Some(&reference), Happening::Booked { day })?;
    Ok(see(&of_referral(&reference, "")))
}
