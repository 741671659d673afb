//! The pile: every referral by what has to happen next, and whose turn it is.

use maud::{Markup, html};

use crate::desk::page::{encoded, of_referral, see};
use crate::desk::visit::{NoReply, Reply, Visit, capital};
use crate::register::people::PersonRole;
use crate::register::state::{PileGroup, PileRow, WhoseTurn};

/// Most rows of a group before somebody asks for all of it.
const MOST: usize = 40;

/// The pile, or the part of it that was asked for.
pub(crate) fn show(visit: &mut Visit<'_>) -> Reply {
    if visit.person()?.role == PersonRole::Governance {
        return Ok(see("/figures"));
    }
    let find = visit.query.trimmed("find").to_owned();
    let turn = visit.query.trimmed("turn").to_owned();
    let whole = visit.query.trimmed("whole").to_owned();
    let rows = visit.register().pile()?;
    if let Some(found) = rows.iter().find(|it| it.reference == find) {
        return Ok(see(&of_referral(&found.reference, "")));
    }
    let is_shown = |row: &PileRow| {
        (find.is_empty() || row.reference.to_lowercase().contains(&find.to_lowercase()))
            && (turn.is_empty() || row.turn.word() == turn)
    };
    let shown: Vec<&PileRow> = rows.iter().filter(|row| is_shown(row)).collect();
    let body = html! {
        h1 { "Pile" }
        (search(&find, &turn))
        (new_referral(visit))
        @if shown.is_empty() {
            p { @if rows.is_empty() { "No referral yet: open one above, or take a questionnaire in." } @else { "No referral fits." } }
        }
        @for group in PileGroup::ALL {
            (self::group(group, shown.iter().copied().filter(|it| it.group == group), whole == group.word()))
        }
    };
    Ok(visit.page("Pile", body))
}

fn search(find: &str, turn: &str) -> Markup {
    html! {
        form.line method="get" action="/" role="search" {
            div.field {
                label for="find" { "Find by reference" }
                input id="find" name="find" value=(find) autocomplete="off" accesskey="f";
            }
            div.field {
                label for="turn" { "Whose turn" }
                select id="turn" name="turn" {
                    option value="" selected[turn.is_empty()] { "anybody's" }
                    @for it in WhoseTurn::ALL { option value=(it.word()) selected[it.word() == turn] { (it.word()) } }
                }
            }
            button { "Show" }
        }
    }
}

fn new_referral(visit: &Visit<'_>) -> Markup {
    html! {
        form.line method="post" action="/referrals" {
            (visit.token_field())
            div.field {
                label for="reference" { "New referral: its reference" }
                input id="reference" name="reference" autocomplete="off" maxlength="40" accesskey="n" required;
            }
            button { "Open" }
            a href="/files" { "or take a questionnaire in" }
        }
    }
}

fn group<'a>(group: PileGroup, rows: impl Iterator<Item = &'a PileRow>, is_whole: bool) -> Markup {
    let rows: Vec<&PileRow> = rows.collect();
    let n_shown = if is_whole { rows.len() } else { MOST };
    html! {
        @if !rows.is_empty() {
            section {
                h2 { (capital(group.word())) " (" (rows.len()) ")" }
                div.wide tabindex="0" role="region" aria-label=(group.word()) {
                    table.pile {
                        thead {
                            tr {
                                @for it in ["Reference", "Day", "Verdict", "First reason", "Next", "Whose turn", "Since"] { th scope="col" { (it) } }
                            }
                        }
                        tbody { @for row in rows.iter().take(n_shown) { (self::row(row)) } }
                    }
                }
                @if rows.len() > n_shown {
                    p { a href={ "/?whole=" (encoded(group.word())) } { "Show all " (rows.len()) } }
                }
            }
        }
    }
}

fn row(row: &PileRow) -> Markup {
    html! {
        tr {
            th scope="row" { a href=(of_referral(&row.reference, "")) { (row.reference) } }
            td data-label="Day" { (row.day.as_deref().and_then(|day| day.split(' ').next()).unwrap_or("-")) }
            td data-label="Verdict" { @match row.verdict { Some(it) => strong { (it.verdict_words()) }, None => "not screened" } }
            td data-label="First reason" { (row.first_reason) }
            td data-label="Next" { (next(row)) }
            td data-label="Whose turn" { (row.turn.word()) }
            td data-label="Since" { (row.since.format("%-d %b")) }
        }
    }
}

/// What has to happen next, with a link to where it is done.
fn next(row: &PileRow) -> Markup {
    let (words, page) = match row.group {
        PileGroup::SameDay | PileGroup::ToPassOn => ("pass on".to_owned(), ""),
        PileGroup::ToDecide => ("decide".to_owned(), "/decide"),
        PileGroup::ToAsk if row.ask.is_empty() => ("interview".to_owned(), "/interview"),
        PileGroup::ToAsk => {
            let whom: Vec<&str> = row.ask.iter().map(|it| it.word()).collect();
            (format!("ask {}", whom.join(", ")), "/interview")
        }
        PileGroup::ToBook => ("book".to_owned(), "/book"),
        PileGroup::Booked | PileGroup::Closed => ("look".to_owned(), ""),
    };
    html! {
        a href=(of_referral(&row.reference, page)) aria-label={ (words) " " (row.reference) } { (words) }
        @if let Some(asked) = row.asked { ", asked " (asked.format("%-d %b")) }
    }
}

/// The referral before and after one in the pile, in its order.
///
/// # Errors
/// The register cannot be read.
pub(crate) fn neighbours(
    visit: &Visit<'_>,
    reference: &str,
) -> Result<(Option<String>, Option<String>), NoReply> {
    let rows = visit.register().pile()?;
    let at = rows.iter().position(|it| it.reference == reference);
    let named = |at: Option<usize>| {
        at.and_then(|at| rows.get(at))
            .map(|it| it.reference.clone())
    };
    Ok((
        named(at.and_then(|it| it.checked_sub(1))),
        named(at.and_then(|it| it.checked_add(1))),
    ))
}
