//! A screening as HTML: the same page as text, for a browser and for A4. Text first, black on white, one accent; the verdict is
//! a word in the same place always, and no colour carries meaning alone.
//!
//! INVARIANT: everything goes through `maud`, which escapes it; nothing here is escaped otherwise. A page loads nothing from
//! anywhere and has no script.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::outcome::Outcome;
use crate::report::SAFETY;
use crate::report::brief::{Advice, AskedOf, Brief, DaysAhead, DoseBrief, Foreseen, Reason};
use crate::report::words;

pub mod picture;

/// How a report looks, on a screen and on paper. The page of a desk puts it into its own style.
pub const STYLE: &str = include_str!("html/report.css");

/// Whole pages of their own: each patient on a sheet of paper, with a box for the decision.
pub fn page(briefs: &[Brief<'_>]) -> String {
    let title = match briefs {
        [one] => format!("{} {}", one.reference, one.verdict.verdict_words()),
        _ => "Screenings".to_owned(),
    };
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    @for brief in briefs {
                        article.report {
                            (one(brief))
                            (decision_box(brief))
                        }
                    }
                }
            }
        }
    };
    page.into_string()
}

/// The report of one patient, to stand in a page: its heading is an `h1`, its parts are sections under `h2`.
pub fn one(brief: &Brief<'_>) -> Markup {
    html! {
        header.verdict {
            h1 { strong { (brief.verdict.verdict_words()) } " " (brief.reference) }
            p { (brief.days) }
        }
        @for it in brief.notices { p.notice { strong { (it) } } }
        p { (brief.meaning) @if let Some(it) = &brief.could_be { " It " strong { (it) } "." } }
        @if let Some(next) = &brief.next { p.next { "Next: " strong { (next) } "." } }
        @if !brief.against.is_empty() {
            section { h2 { "Against surgery as planned" } @for it in &brief.against { (reason(it)) } }
        }
        @if !brief.lifts.is_empty() {
            section { h2 { "What would lift it" } ul { @for it in &brief.lifts { li { (it) } } } }
        }
        @if !brief.names.is_empty() {
            section {
                h2 { "To ask first: names not recognised" }
                ul { @for it in &brief.names { li { (it) } } }
                p { (words::UNRECOGNISED) @if let Some(it) = &brief.for_names { " " (it) } }
            }
        }
        (to_ask(brief))
        @if !brief.notes.is_empty() {
            section {
                h2 { "Notes, as written" }
                @for it in &brief.notes {
                    blockquote { @if let Some(section) = it.section { b { (section) } ": " } (it.text) }
                }
            }
        }
        @if let Some(dose) = &brief.dose { (self::dose(dose)) }
        (care(brief))
        @if let Some(plans) = &brief.plans { (self::plans(plans, brief)) }
        @if let Some(ahead) = &brief.ahead { (days(ahead)) }
        @if brief.cut_short { p { (words::CUT_SHORT) } }
        (local(&brief.local))
        footer { p { (brief.made_with) ". " (SAFETY) } }
    }
}

/// A box to sign on paper: who, when, which decision and why. It bears the reference, since paper gets apart.
pub fn decision_box(brief: &Brief<'_>) -> Markup {
    html! {
        section.decision {
            h2 { "Decision on " (brief.reference) ", screened as " (brief.verdict.words()) }
            p { @for outcome in [Outcome::Go, Outcome::Defer, Outcome::Refer] { span.tick { (outcome.word()) } " " } }
            dl {
                @for line in ["Reason", "Who", "When"] { div { dt { (line) } dd {} } }
            }
        }
    }
}

fn reason(reason: &Reason<'_>) -> Markup {
    let is_against = reason.standing.outcome != Outcome::Go;
    html! {
        div.finding {
            h3 {
                (reason.number) ". " (reason.title)
                @if is_against { " (" (reason.standing.words()) ")" }
                @if reason.local_policy { " (by local policy)" }
            }
            p { (reason.reason) }
            dl {
                @if !reason.because.is_empty() {
                    div {
                        dt { "Because" }
                        dd {
                            ul {
                                @for it in &reason.because { li { (it.ask) " " b { (it.value) } } }
                                @if reason.n_more > 0 { li { (words::more_answers(reason.n_more)) } }
                            }
                        }
                    }
                }
                div { dt { "Do" } dd { (advice(&reason.advice)) } }
                @if let Some(it) = reason.cleared_by { div { dt { "Lifted by" } dd { (it) } } }
            }
        }
    }
}

fn advice(said: &[Advice]) -> Markup {
    html! {
        @if said.is_empty() { (words::SAID_ABOVE) }
        @for it in said {
            (it.text) " " @if let Some(also) = words::also_for(&it.also_for) { (also) " " }
        }
    }
}

fn to_ask(brief: &Brief<'_>) -> Markup {
    let group = |it: &AskedOf<'_>| {
        html! {
            h3 { (it.heading) }
            ul.ask {
                @for ask in &it.asks {
                    li { (ask.ask) @if !ask.remarks.is_empty() { " (" (ask.remarks.join("; ")) ")" } }
                }
            }
        }
    };
    html! {
        @if !brief.to_ask.is_empty() {
            section {
                h2 { "To ask" }
                @for it in &brief.to_ask { (group(it)) }
                @if brief.n_later > 0 { p { (words::asked_later(brief.n_later)) } }
            }
        }
    }
}

fn care(brief: &Brief<'_>) -> Markup {
    html! {
        @if !brief.precautions.is_empty() {
            section { h2 { "Precautions, if it goes ahead" } @for it in &brief.precautions { (reason(it)) } }
        }
        @if brief.n_left_out > 0 { p { (words::left_out(brief.n_left_out)) } }
    }
}

/// The dose as a bar and in words.
pub fn dose(dose: &DoseBrief) -> Markup {
    html! {
        section.dose {
            h2 { "Dose, against its strictest limit" }
            (picture::dose_bar(dose))
            p { (dose.in_words()) }
        }
    }
}

fn plans(plans: &[Foreseen], brief: &Brief<'_>) -> Markup {
    html! {
        section {
            h2 { "Other plans" }
            @if plans.is_empty() { p { (words::no_plan(brief.verdict.outcome)) } }
            ul {
                @for it in plans {
                    li { b { (it.standing.verdict_words()) } " " (it.what) @if !it.with.is_empty() { ": " (it.with) } }
                }
            }
        }
    }
}

/// Other days as a strip and in words.
pub fn days(ahead: &[DaysAhead]) -> Markup {
    html! {
        section.days {
            h2 { "Other days" }
            @if ahead.is_empty() { p { (words::NO_DAY) } } @else { (picture::days_strip(ahead)) }
            ul {
                @for it in ahead {
                    li { b { (it.standing.verdict_words()) } " " (it.what) @if !it.with.is_empty() { ": " (it.with) } }
                }
            }
        }
    }
}

fn local(told: &[String]) -> Markup {
    html! {
        @if let Some((counts, changes)) = told.split_first() {
            section {
                h2 { (counts) }
                ul { @for it in changes { li { (it) } } }
            }
        }
    }
}
