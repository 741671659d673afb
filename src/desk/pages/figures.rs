//! What the register teaches the rules: how often they fire, how often a clinician decides against them, how long answers take.

use maud::{Markup, html};

use crate::desk::page::table;
use crate::desk::pages::calls::ask;
use crate::desk::visit::{Reply, Visit};
use crate::register::figures::{CountedScreenings, QuestionFigures, figures};
use crate::rule_set::RuleSet;
use crate::workbench::figures::RuleFigures;

/// Length of the longest bar.
const BAR: usize = 200;

/// The page. Nothing on it is about one patient.
pub(crate) fn show(visit: &mut Visit<'_>) -> Reply {
    let counted = figures(&visit.register().all_entries()?);
    let body = html! {
        h1 { "Figures" }
        p { "Counts for whoever keeps the rules. Nothing here is about one patient: the pile and its referrals are for those who treat them." }
        @if counted.months.is_empty() { p { "Nothing was screened yet." } }
        (screenings("By month", &counted.months))
        (screenings("By edition of the rules", &counted.editions))
        (rules(visit.rule_set(), &counted.rules))
        (questions(visit.rule_set(), &counted.questions))
    };
    Ok(visit.page("Figures", body))
}

/// A number as a bar; the number itself stands beside it.
fn bar(n: usize, most: usize) -> Markup {
    let length = (BAR * n).checked_div(most).unwrap_or(0);
    html! {
        svg.bar viewBox=(format!("0 0 {BAR} 12")) width=(BAR) height="12" aria-hidden="true" {
            rect x="0" y="0" width=(length) height="12" fill="currentColor" {}
        }
    }
}

/// A table under its heading, if there is anything to count.
fn counts<T>(title: &str, headings: &[&str], counted: &[T], row: impl Fn(&T) -> Markup) -> Markup {
    let rows = html! { @for it in counted { tr { (row(it)) } } };
    html! { @if !counted.is_empty() { section { h2 { (title) } (table(title, headings, &rows)) } } }
}

fn screenings(title: &str, counted: &[CountedScreenings]) -> Markup {
    let most = counted.iter().map(CountedScreenings::n).max().unwrap_or(0);
    let row = |it: &CountedScreenings| {
        html! {
            th scope="row" { (it.of) }
            td data-label="Referrals" { (it.n()) (bar(it.n(), most)) }
            td data-label="Go" { (it.n_go) (bar(it.n_go, most)) }
            td data-label="Defer" { (it.n_defer) }
            td data-label="Refer" { (it.n_refer) }
            td data-label="Decided" { (it.n_decided) }
            td data-label="Less cautious than the verdict" { (it.n_against) }
        }
    };
    let headings = [
        "Of",
        "Referrals",
        "Go",
        "Defer",
        "Refer",
        "Decided",
        "Less cautious than the verdict",
    ];
    counts(title, &headings, counted, row)
}

fn rules(rule_set: &RuleSet, counted: &[RuleFigures]) -> Markup {
    let most = counted.iter().map(|it| it.n_fired).max().unwrap_or(0);
    let reason = |id: &str| {
        let known = rule_set.reasons.iter().find(|it| it.id == id);
        known.map_or_else(|| id.to_owned(), |it| it.text.clone())
    };
    let row = |it: &RuleFigures| {
        html! {
            th scope="row" { (it.title) br; code { (it.rule) } }
            td data-label="Fired" { (it.n_fired) (bar(it.n_fired, most)) }
            td data-label="Set aside" {
                @if it.n_decided > 0 { (it.n_set_aside) " of " (it.n_decided) " decisions" (bar(it.n_set_aside, it.n_decided)) }
                @if it.is_mostly_set_aside() { strong { ": to be looked at" } }
                @for (id, n) in &it.reasons { br; (reason(id)) ": " (n) }
            }
        }
    };
    counts("By rule", &["Rule", "Fired", "Set aside"], counted, row)
}

fn questions(rule_set: &RuleSet, counted: &[QuestionFigures]) -> Markup {
    let days = |it: Option<i64>| it.map_or_else(|| "-".to_owned(), |days| days.to_string());
    let row = |it: &QuestionFigures| {
        html! {
            th scope="row" { (ask(rule_set, &it.question)) }
            td data-label="Sent" { (it.n_sent) }
            td data-label="Answered" { (it.n_answered) }
            td data-label="Days, half of them" { (days(it.median_days)) }
            td data-label="Days, longest" { (days(it.longest_days)) }
        }
    };
    let headings = [
        "Question",
        "Sent",
        "Answered",
        "Days, half of them",
        "Days, longest",
    ];
    counts("Waited for", &headings, counted, row)
}
