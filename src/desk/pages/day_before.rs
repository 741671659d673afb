//! The day before: who comes on the next day of the clinic, and what of it will not hold by then.

use chrono::NaiveDate;
use maud::{Markup, html};

use crate::desk::page::{of_referral, table};
use crate::desk::pages::pile::lapses;
use crate::desk::screened::lapses_by;
use crate::desk::visit::{NoReply, Reply, Visit};
use crate::register::state::ReferralState;

/// Most referrals on the page: a clinic's day.
const MOST: usize = 60;

/// The page: of the next day of the clinic, or of the one that was asked for.
pub(crate) fn show(visit: &mut Visit<'_>) -> Reply {
    let typed = visit.query.trimmed("day");
    let asked: Option<NaiveDate> = if typed.is_empty() {
        visit.screener().next_procedure_day()
    } else {
        typed.parse().ok()
    };
    let day = asked.ok_or_else(|| NoReply::Form(format!("`{typed}` is no day as YYYY-MM-DD.")))?;
    let rows = visit.register().pile_of_day(day)?;
    let mut states = Vec::new();
    for row in rows.iter().take(MOST) {
        states.extend(visit.register().referral(&row.reference)?);
    }
    let (booked, planned): (Vec<_>, Vec<_>) =
        states.iter().partition(|it| it.booked.last() == Some(&day));
    let shown = day.format("%A, %-d %b %Y").to_string();
    let body = html! {
        h1 { "Day before " (shown) }
        form.line method="get" action="/day-before" {
            div.field {
                label for="day" { "Another day" }
                input id="day" name="day" value=(day) autocomplete="off";
            }
            button { "Show" }
        }
        @if rows.is_empty() { p { "Nobody is booked or planned for this day." } }
        @if rows.len() > MOST { p { "The first " (MOST) " of " (rows.len()) " stand here." } }
        (referrals("Booked", "What will have lapsed by then", &booked, |state| {
            lapses(&lapses_by(&visit.screener(), state, day))
        }))
        (referrals("Planned and not booked", "Where it stands", &planned, |state| {
            html! { (state.row.group.word()) ", turn of " (state.row.turn.word()) }
        }))
    };
    Ok(visit.page("Day before", body))
}

fn referrals(
    title: &str,
    heading: &str,
    states: &[&ReferralState],
    told: impl Fn(&ReferralState) -> Markup,
) -> Markup {
    let rows = html! {
        @for state in states {
            tr {
                th scope="row" { a href=(of_referral(&state.reference, "")) { (state.reference) } }
                td data-label="Verdict" { @match state.row.verdict { Some(it) => strong { (it.verdict_words()) }, None => "not screened" } }
                td data-label=(heading) { (told(state)) }
            }
        }
    };
    html! {
        @if !states.is_empty() {
            section {
                h2 { (title) " (" (states.len()) ")" }
                (table(title, &["Reference", "Verdict", heading], &rows))
            }
        }
    }
}
