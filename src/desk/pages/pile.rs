//! The pile: every referral by what has to happen next, and whose turn it is.

use maud::{Markup, html};

use crate::desk::page::{encoded, of_referral, see};
use crate::desk::screened::lapses_by;
use crate::desk::visit::{Fields, NoReply, Reply, Visit, capital};
use crate::register::people::PersonRole;
use crate::register::pile::PileFilter;
use crate::register::state::{PileGroup, PileRow, WhoseTurn};

/// Most rows of a group on one page.
const MOST: usize = 40;

/// Most sentences of what lapses in one row.
const MOST_SENTENCES: usize = 3;

/// The pile, or the part of it that was asked for.
pub(crate) fn show(visit: &mut Visit<'_>) -> Reply {
    if visit.person()?.role == PersonRole::Governance {
        return Ok(see("/figures"));
    }
    let asked = PileAsked::of(&visit.query);
    if !asked.find.is_empty() && visit.register().referral(&asked.find)?.is_some() {
        return Ok(see(&of_referral(&asked.find, "")));
    }
    let counts = visit.register().pile_counts(&asked.filter())?;
    let mut groups = Vec::new();
    for (group, n) in &counts {
        groups.push(self::group(visit, &asked, *group, *n)?);
    }
    let body = html! {
        h1 { "Pile" }
        (search(&asked))
        (new_referral(visit))
        @if counts.is_empty() {
            p { @if asked == PileAsked::default() { "No referral yet: open one above, or take a questionnaire in." } @else { "No referral fits." } }
        }
        @for it in &groups { (it) }
    };
    Ok(visit.page("Pile", body))
}

/// What part of the pile somebody asked for.
#[derive(Debug, Default, PartialEq)]
struct PileAsked {
    find: String,
    turn: Option<WhoseTurn>,
    /// The one group that is shown, and the rows of it that come before those shown.
    group: Option<PileGroup>,
    after: usize,
}

impl PileAsked {
    fn of(query: &Fields) -> Self {
        let group = PileGroup::ALL
            .into_iter()
            .find(|it| it.word() == query.trimmed("group"));
        let after = query.trimmed("after").parse::<usize>().ok();
        Self {
            find: query.trimmed("find").to_owned(),
            turn: WhoseTurn::ALL
                .into_iter()
                .find(|it| it.word() == query.trimmed("turn")),
            after: group.and(after).map_or(0, |it| it - it % MOST),
            group,
        }
    }

    fn filter(&self) -> PileFilter {
        PileFilter {
            group: self.group,
            turn: self.turn,
            ask: None,
            reference: self.find.clone(),
        }
    }

    /// The address of rows of a group, found in the same way.
    fn to(&self, group: PileGroup, after: usize) -> String {
        format!(
            "/?find={}&turn={}&group={}&after={after}",
            encoded(&self.find),
            encoded(self.turn.map_or("", WhoseTurn::word)),
            encoded(group.word())
        )
    }
}

fn search(asked: &PileAsked) -> Markup {
    html! {
        form.line method="get" action="/" role="search" {
            div.field {
                label for="find" { "Find by reference" }
                input id="find" name="find" value=(asked.find) autocomplete="off" accesskey="f";
            }
            div.field {
                label for="turn" { "Whose turn" }
                select id="turn" name="turn" {
                    option value="" selected[asked.turn.is_none()] { "anybody's" }
                    @for it in WhoseTurn::ALL { option value=(it.word()) selected[asked.turn == Some(it)] { (it.word()) } }
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

fn group(
    visit: &Visit<'_>,
    asked: &PileAsked,
    group: PileGroup,
    n: usize,
) -> Result<Markup, NoReply> {
    let of_group = PileFilter {
        group: Some(group),
        ..asked.filter()
    };
    let after = asked.after.min(n.saturating_sub(1) / MOST * MOST);
    let rows = visit.register().pile_rows(&of_group, after, MOST)?;
    let is_booked = group == PileGroup::Booked;
    let heading = if is_booked {
        "What lapses before the day"
    } else {
        "First reason"
    };
    let mut shown = Vec::new();
    for row in &rows {
        let mut reason = html! { (row.first_reason) };
        if is_booked
            && let Some(state) = visit.register().referral(&row.reference)?
            && let Some(day) = state.booked.last()
        {
            reason = lapses(&lapses_by(&visit.screener(), &state, *day));
        }
        shown.push(self::row(row, heading, &reason));
    }
    let end = after + rows.len();
    Ok(html! {
        section {
            h2 { (capital(group.word())) " (" (n) ")" }
            div.wide tabindex="0" role="region" aria-label=(group.word()) {
                table.pile {
                    thead {
                        tr {
                            @for it in ["Reference", "Day", "Verdict", heading, "Next", "Whose turn", "Since"] { th scope="col" { (it) } }
                        }
                    }
                    tbody { @for it in &shown { (it) } }
                }
            }
            @if n > rows.len() {
                p.around {
                    "Rows " (after + 1) " to " (end) " of " (n) ". "
                    @if after > 0 { a href=(asked.to(group, after - MOST)) { "Before these" } " " }
                    @if end < n { a href=(asked.to(group, end)) aria-label={ "More of " (group.word()) } { (n - end) " more" } }
                }
            }
        }
    })
}

/// What lapses, in a cell of a table.
pub(crate) fn lapses(said: &[String]) -> Markup {
    html! {
        @if said.is_empty() { "nothing" } @else {
            strong { (said.iter().take(MOST_SENTENCES).map(String::as_str).collect::<Vec<&str>>().join(" ")) }
            @if said.len() > MOST_SENTENCES { " And " (said.len() - MOST_SENTENCES) " more." }
        }
    }
}

fn row(row: &PileRow, heading: &str, reason: &Markup) -> Markup {
    html! {
        tr {
            th scope="row" { a href=(of_referral(&row.reference, "")) { (row.reference) } }
            td data-label="Day" { (row.day.as_deref().and_then(|day| day.split(' ').next()).unwrap_or("-")) }
            td data-label="Verdict" { @match row.verdict { Some(it) => strong { (it.verdict_words()) }, None => "not screened" } }
            td data-label=(heading) { (reason) }
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
