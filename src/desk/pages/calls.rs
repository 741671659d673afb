//! Calls: the open questions of the pile by whom to ring, and what was asked and not answered yet.

use maud::{Markup, html};

use crate::desk::page::{hidden, of_referral, see};
use crate::desk::visit::{NoReply, Reply, Visit};
use crate::register::happening::Happening;
use crate::register::pile::PileFilter;
use crate::register::state::ReferralState;
use crate::rule_set::RuleSet;
use crate::rule_set::catalogue::Who;

/// Most referrals of one who is asked: a day's calls.
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
    let mut groups = Vec::new();
    for who in WHO {
        let with_questions = PileFilter {
            ask: Some(who),
            ..PileFilter::default()
        };
        let counts = visit.register().pile_counts(&with_questions)?;
        let n: usize = counts.iter().map(|(_, n)| n).sum();
        let mut states = Vec::new();
        for row in visit.register().pile_rows(&with_questions, 0, MOST)? {
            states.extend(visit.register().referral(&row.reference)?);
        }
        groups.push((who, n, states));
    }
    groups.retain(|(_, n, _)| *n > 0);
    let body = html! {
        h1 { "Calls" }
        @if groups.is_empty() { p { "There is nothing to ask anybody." } }
        @for (who, n, states) in &groups {
            section {
                h2 { "To ask the " (who.word()) " (" (n) ")" }
                @if *n > MOST { p { "The first " (MOST) " of the pile stand here." } }
                @for state in states { (call(visit, state, *who)) }
            }
        }
    };
    Ok(visit.page("Calls", body))
}

fn call(visit: &Visit<'_>, state: &ReferralState, who: Who) -> Markup {
    let rule_set = visit.rule_set();
    let questions = state.to_ask(who);
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
    if state.current().is_none() {
        return Err(NoReply::Form("The answers are not screened yet.".into()));
    }
    let questions = state.to_ask(to);
    if questions.is_empty() {
        return Err(NoReply::Form("There is nothing to ask them.".into()));
    }
    let reference = state.reference.clone();
    visit.write(
        Some(&reference),
        Happening::QuestionSent { questions, to, how },
    )?;
    Ok(see("/calls"))
}
