//! A referral: what it comes to today, what was decided, what lapsed since, and everything that happened.

use maud::{Markup, html};
use serde_json::Value;

use crate::desk::page::{moment, of_referral, see};
use crate::desk::screened::{Extent, Seen, lapses_by, screened, seen};
use crate::desk::visit::{NoReply, Reply, Visit, capital};
use crate::document::diagnostic::Diagnostic;
use crate::outcome::Urgency;
use crate::register::entry::RegisterEntry;
use crate::register::export::in_short;
use crate::register::happening::{Happening, Screened};
use crate::register::lapse::lapsed;
use crate::register::people::PersonRole;
use crate::register::state::{PileGroup, ReferralState};
use crate::report::brief::Brief;
use crate::report::html as report;

/// How many procedure days ahead are looked at.
const DAYS: usize = 12;

/// The page of a referral.
pub(crate) fn show(visit: &mut Visit<'_>) -> Reply {
    let state = visit.referral()?;
    let seen = seen(&visit.screener().days(Some(DAYS)), &state);
    let entries = visit.register().entries(&state.reference)?;
    let (before, after) = visit.register().pile_neighbours(&state.reference)?;
    let body = html! {
        nav.around aria-label="This referral, and its neighbours in the pile" {
            (links(visit, &state)?)
            @if let Some(it) = before { a href=(of_referral(&it, "")) rel="prev" accesskey="," { "Before: " (it) } " " }
            @if let Some(it) = after { a href=(of_referral(&it, "")) rel="next" accesskey="." { "Next: " (it) } }
        }
        @match &seen {
            Seen::Nothing => {
                h1 { (state.reference) }
                p { @if state.is_removed { "What this referral said was removed." } @else { "No answer was given yet." } }
            }
            Seen::Refused(refusal) => {
                h1 { (state.reference) }
                p role="alert" { strong { "It cannot be screened as it stands." } " Nothing may be decided or booked on it." }
                (problems(&refusal.problems))
            }
            Seen::Screening(screening) => article.report {
                (report::one(&Brief::of(screening)))
                @if state.standing_decision().is_none() { div.paper { (report::decision_box(&Brief::of(screening))) } }
                details { summary { "More: sources, answers, what was looked at" } (report::more(screening)) }
            },
        }
        (next(visit, &state))
        (decided(&state, &seen))
        (happened(&entries))
    };
    Ok(visit.page(&state.reference, body))
}

/// What is wrong with a questionnaire, in the words of diagnostics.
pub(crate) fn problems(found: &[Diagnostic]) -> Markup {
    html! {
        ul.problems {
            @for it in found {
                li { strong { (capital(&it.title)) "." } " " (capital(&it.help)) " (" @if let Some(place) = it.place() { (place) ", " } code { (it.code.name()) } ")" }
            }
        }
    }
}

/// Where it is worked on.
fn links(visit: &Visit<'_>, state: &ReferralState) -> Result<Markup, NoReply> {
    let is_clinician = visit.person()?.role == PersonRole::Clinician;
    let to = |page: &str| of_referral(&state.reference, page);
    let has_answers = state.questionnaire.is_some();
    Ok(html! {
        @if state.is_open() { a href=(to("/interview")) accesskey="i" { "Interview" } }
        @if state.is_open() && has_answers {
            @if is_clinician { a href=(to("/decide")) accesskey="d" { "Decide" } }
            a href=(to("/letters")) accesskey="l" { "Letters" }
            a href=(to("/book")) accesskey="b" { "Book" }
        }
        @if has_answers { a href=(to("/questionnaire")) { "Save as a file" } }
    })
}

/// What has to happen next.
fn next(visit: &Visit<'_>, state: &ReferralState) -> Markup {
    html! {
        section.actions {
            h2 { "Next" }
            p {
                "In the pile: " strong { (state.row.group.word()) } ", turn of " (state.row.turn.word())
                ", since " (moment(state.row.since)) "."
            }
            @if let Some(day) = state.booked.last() {
                p { "Booked for " strong { (day.format("%-d %b %Y")) } "." }
                @let lapses = lapses_by(&visit.screener(), state, *day);
                @if !lapses.is_empty() {
                    p role="alert" { strong { "By that day it does not hold as it was booked:" } }
                    ul { @for it in &lapses { li { (it) } } }
                }
            }
            @if let Some(to) = &state.passed_on { p { "Passed on to " (to) "." } }
            @if let Some(why) = &state.closed { p { "Closed: " (why) } }
            @if state.is_open() { (forms(visit, state)) }
        }
    }
}

fn forms(visit: &Visit<'_>, state: &ReferralState) -> Markup {
    let to = |page: &str| of_referral(&state.reference, page);
    let is_to_pass_on = matches!(state.row.group, PileGroup::SameDay | PileGroup::ToPassOn);
    html! {
        @if state.questionnaire.is_some() && state.current().is_none() {
            form.line method="post" action=(to("/screen")) {
                (visit.token_field())
                p { "These answers have no screening in the register yet." }
                button { "Screen them" }
            }
        }
        @if is_to_pass_on {
            form.line method="post" action=(to("/passed-on")) {
                (visit.token_field())
                div.field {
                    label for="to" { "Passed on to (service, and how)" }
                    input id="to" name="to" maxlength="200" required;
                }
                button { "Passed on" }
            }
        }
        details {
            summary { "Close this referral" }
            form.line method="post" action=(to("/close")) {
                (visit.token_field())
                div.field {
                    label for="why" { "Why nothing further will happen" }
                    input id="why" name="why" maxlength="500" required;
                }
                button { "Close" }
            }
        }
    }
}

/// What was decided, and what of it holds no longer.
fn decided(state: &ReferralState, seen: &Seen) -> Markup {
    let Some(decision) = &state.decision else {
        return html! {};
    };
    let lapsed = match seen {
        Seen::Screening(screening) => lapsed(
            &decision.on,
            &Screened::of(screening, Value::Null, false),
            "today",
        ),
        _ => vec!["The questionnaire cannot be screened any more.".to_owned()],
    };
    html! {
        section {
            h2 { "Decision" }
            p {
                strong { (decision.decided.outcome.word().to_uppercase()) }
                ", decided by " (decision.person) @if let Some(it) = &decision.decided.second { " and " (it) }
                " on " (moment(decision.at)) ", entry " (decision.seq)
                "; the rules said " strong { (decision.on.verdict().verdict_words()) } "."
            }
            p.quoted { (decision.decided.sentence) }
            @if !decision.decided.set_aside.is_empty() {
                h3 { "Set aside" }
                ul { @for it in &decision.decided.set_aside { li { (it.rule) " (" (it.reason) "): " (it.sentence) } } }
            }
            @if !lapsed.is_empty() {
                p role="alert" { strong { "This decision no longer covers what stands above; a new one is needed." } }
                ul { @for it in &lapsed { li { (it) } } }
            }
        }
    }
}

fn happened(entries: &[RegisterEntry]) -> Markup {
    html! {
        details.entries {
            summary { "What happened (" (entries.len()) " entries)" }
            ol {
                @for it in entries {
                    li value=(it.seq) {
                        (moment(it.at)) " " (it.person) ": "
                        @match &it.happening { Some(happening) => { (it.kind.replace('-', " ")) " " (in_short(happening)) } None => { (it.kind) ", what it said was removed" } }
                        @if it.is_clock_back { " (the clock stood earlier than at the entry before)" }
                        " " code { (it.head()) }
                    }
                }
            }
        }
    }
}

/// Writes down what the answers come to today.
pub(crate) fn screen(visit: &mut Visit<'_>) -> Reply {
    let state = visit.referral()?;
    let screener = visit.screener();
    if let Seen::Screening(screening) = seen(&screener, &state) {
        let happening = screened(&screener, &screening, Extent::InShort);
        visit.write(Some(&state.reference), happening)?;
    }
    Ok(see(&of_referral(&state.reference, "")))
}

/// Notes that a referral was handed on.
pub(crate) fn pass_on(visit: &mut Visit<'_>) -> Reply {
    let state = visit.referral()?;
    let to = visit.text("to")?;
    visit.write(Some(&state.reference), Happening::PassedOn { to })?;
    Ok(see(&of_referral(&state.reference, "")))
}

/// Closes a referral. One that must reach another service today is passed on first.
pub(crate) fn close(visit: &mut Visit<'_>) -> Reply {
    let state = visit.referral()?;
    let why = visit.text("why")?;
    let is_urgent = state
        .current()
        .is_some_and(|it| it.screened.urgency == Some(Urgency::SameDay));
    if is_urgent && state.passed_on.is_none() {
        return Err(NoReply::Form(
            "This referral must reach another service the same day: pass it on first.".into(),
        ));
    }
    visit.write(Some(&state.reference), Happening::Closed { why })?;
    Ok(see("/"))
}
