//! Calls: the open questions of the pile by whom to ring, and what was asked and not answered yet.

use maud::{Markup, html};

use crate::desk::page::{hidden, of_referral, see};
use crate::desk::visit::{NoReply, Reply, Visit};
use crate::register::happening::Happening;
use crate::register::state::{PileGroup, ReferralState};
use crate::rule_set::RuleSet;
use crate::rule_set::catalogue::Who;

/// Most referrals on the page: a day's calls.
const MOST: usize = 40;

/// Everybody who can be asked, in the order of the page.
const WHO: [Who; 5] = [
    Who::Patient,
    Who::Referrer,
    Who::Record,
    Who::Nurse,
    Who::Clinician,
];

/// The page.
pub(crate) fn show(visit: &mut Visit<'_>) -> Reply {
    let rows = visit.register().pile()?;
    let open = rows
        .iter()
        .filter(|it| it.group != PileGroup::Closed && !it.ask.is_empty());
    let n_open = open.clone().count();
    let states: Vec<ReferralState> = open
        .take(MOST)
        .map(|it| visit.register().referral(&it.reference))
        .collect::<Result<Vec<_>, _>>()?
        .into_iter()
        .flatten()
        .collect();
    let body = html! {
        h1 { "Calls" }
        @if states.is_empty() { p { "There is nothing to ask anybody." } }
        @if n_open > MOST { p { "The " (MOST) " longest waiting of " (n_open) " referrals stand here." } }
        @for who in WHO {
            @let of: Vec<&ReferralState> = states.iter().filter(|it| it.row.ask.contains(&who)).collect();
            @if !of.is_empty() {
                section {
                    h2 { "To ask the " (who.word()) }
                    @for state in of { (call(visit, state, who)) }
                }
            }
        }
    };
    Ok(visit.page("Calls", body))
}

fn call(visit: &Visit<'_>, state: &ReferralState, who: Who) -> Markup {
    let rule_set = visit.rule_set();
    let questions: Vec<&str> = state
        .current()
        .iter()
        .flat_map(|it| &it.screened.to_ask)
        .filter(|it| it.from == who)
        .map(|it| it.question.as_str())
        .collect();
    let asked = |id: &str| state.sent.iter().find(|it| it.question == id);
    html! {
        details {
            summary {
                (state.reference) ": " (questions.len()) " to ask"
                @if let Some(last) = state.row.asked { ", asked " (last.format("%-d %b")) }
            }
            p { a href=(of_referral(&state.reference, "/interview")) { "Interview of " (state.reference) } }
            ul {
                @for id in &questions {
                    li {
                        (ask(rule_set, id))
                        @if let Some(it) = asked(id) {
                            " (asked by " (it.how) " on " (it.since.format("%-d %b"))
                            @if it.reminded != it.since { ", again on " (it.reminded.format("%-d %b")) } ")"
                        }
                    }
                }
            }
            form.line method="post" action=(of_referral(&state.reference, "/asked")) {
                (visit.token_field())
                (hidden("who", who.word()))
                button name="how" value="telephone" aria-label={ "Asked by telephone, " (state.reference) } { "Asked by telephone" }
                " " button.plain name="how" value="letter" aria-label={ "Asked by letter, " (state.reference) } { "Asked by letter" }
            }
        }
    }
}

/// The wording of a question; its id where the rule set has it no more.
pub(crate) fn ask(rule_set: &RuleSet, id: &str) -> String {
    rule_set.catalogue.slot(id).map_or_else(
        || id.to_owned(),
        |slot| rule_set.catalogue.about(slot).to_owned(),
    )
}

/// Notes that somebody was asked all that they can answer.
pub(crate) fn asked(visit: &mut Visit<'_>) -> Reply {
    let state = visit.referral()?;
    let to = Who::from_word(visit.field("who")?)
        .ok_or_else(|| NoReply::Form("That is nobody to ask.".into()))?;
    let how = visit.text("how")?;
    let current = state
        .current()
        .ok_or_else(|| NoReply::Form("The answers are not screened yet.".into()))?;
    let questions: Vec<String> = current
        .screened
        .to_ask
        .iter()
        .filter(|it| it.from == to)
        .map(|it| it.question.clone())
        .collect();
    if questions.is_empty() {
        return Err(NoReply::Form("There is nothing to ask them.".into()));
    }
    let reference = state.reference.clone();
    visit.write(
        Some(&reference),
        None,
        Happening::QuestionSent { questions, to, how },
    )?;
    Ok(see("/calls"))
}
