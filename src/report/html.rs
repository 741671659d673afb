//! A screening as HTML: the same page as text, for a browser and for A4. Text first, black on white, one accent; the verdict is
//! a word in the same place always, and no colour carries meaning alone.
//!
//! INVARIANT: everything goes through `maud`, which escapes it; nothing here is escaped otherwise. A page loads nothing from
//! anywhere and has no script.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::outcome::Outcome;
use crate::report::brief::{Advice, AskedOf, Brief, DaysAhead, DoseBrief, Foreseen, Reason};
use crate::report::list::{Batch, List};
use crate::report::page::{harmless, one_line};
use crate::report::text::anaesthetic;
use crate::report::{SAFETY, words};
use crate::screening::result::Screening;

pub mod picture;

/// How a report looks, on a screen and on paper. The page of a desk puts it into its own style.
pub const STYLE: &str = include_str!("html/report.css");

/// The page of one patient, with a box for the decision; `full` has sources, places and what was looked at besides.
pub fn one_page(screening: &Screening, full: bool) -> String {
    let title = format!(
        "{} {}",
        screening.reference,
        screening.verdict().verdict_words()
    );
    whole(&title, &[screening], &patient(1, screening, full))
}

/// A list of several patients, the most pressing first, then each on a sheet of paper in the same order.
pub fn several(batch: &Batch<'_>, full: bool) -> String {
    let body = html! {
        article.report { (self::list(&List::of(batch))) }
        @for (n, it) in (1..).zip(&batch.screenings) { (patient(n, it, full)) }
    };
    whole("Screenings", &batch.screenings, &body)
}

/// A page that needs nothing else.
fn whole(title: &str, screenings: &[&Screening], body: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (one_line(title)) }
                style { (PreEscaped(STYLE)) (PreEscaped(sheets(screenings))) }
            }
            body { main { (body) } }
        }
    };
    page.into_string()
}

/// What bears each patient's reference on every sheet, since paper gets apart.
fn sheets(screenings: &[&Screening]) -> String {
    (1..)
        .zip(screenings)
        .map(|(n, it)| {
            let reference = css_text(&it.reference);
            format!(
                ".sheet-{n} {{ page: sheet-{n}; }}\n@page sheet-{n} {{ @bottom-left {{ content: \"{reference}\"; }} }}\n"
            )
        })
        .collect()
}

/// A text within a string of a style sheet: whatever is neither letter nor digit by its number, so that nothing ends the
/// string or the sheet.
pub(super) fn css_text(text: &str) -> String {
    let letter = |it: char| {
        if it.is_ascii_alphanumeric() {
            it.to_string()
        } else {
            format!("\\{:x} ", u32::from(harmless(it)))
        }
    };
    text.chars().map(letter).collect()
}

/// One patient on a sheet.
fn patient(n: usize, screening: &Screening, full: bool) -> Markup {
    let brief = Brief::of(screening);
    html! {
        article class=(format!("report sheet-{n}")) {
            (one(&brief))
            (decision_box(&brief))
            @if full { (more(screening)) }
        }
    }
}

/// Markup in which no character steers: each is replaced by a mark, as in every other report. Line ends and tabs stay.
pub fn inert(markup: Markup) -> Markup {
    let letter = |it: char| {
        if it == '\n' || it == '\t' {
            it
        } else {
            harmless(it)
        }
    };
    PreEscaped(markup.into_string().chars().map(letter).collect())
}

/// A list: a row for each patient and each refused file.
pub fn list(list: &List<'_>) -> Markup {
    inert(html! {
        h1 { "Screenings" }
        @for it in &list.notices { p.notice { strong { (it) } } }
        p { (list.counts) }
        table.list {
            thead { tr { @for it in ["Reference", "Surgery", "Verdict", "First reason", "Next"] { th scope="col" { (it) } } } }
            tbody {
                @for row in &list.rows {
                    tr {
                        th scope="row" { (row.reference) }
                        td { (row.day_words()) }
                        td { strong { (row.verdict_words()) } }
                        td { (row.reason) }
                        td { (row.next.as_deref().unwrap_or("not known")) }
                    }
                }
            }
        }
        @for it in &list.local { (local(&words::local_lines(it))) }
        footer { @for it in &list.made_with { p { (it) } } p { (SAFETY) } }
    })
}

/// The report of one patient, to stand in a page: its heading is an `h1`, its parts are sections under `h2`.
pub fn one(brief: &Brief<'_>) -> Markup {
    inert(html! {
        header.verdict {
            h1 { strong { (brief.verdict.verdict_words()) } " " (brief.reference) }
            p { (brief.days) }
        }
        @for it in brief.notices { p.notice { strong { (it) } } }
        @if let Some(next) = &brief.next { p.next { "Next: " strong { (next) } "." } }
        @if let Some(it) = &brief.could_be { p { strong { (it) } } }
        @if let Some(it) = brief.meaning { p { (it) } }
        @if !brief.against.is_empty() {
            section { h2 { "Against it" } @for it in &brief.against { (reason(it)) } }
        }
        @if !brief.lifts.is_empty() {
            section { h2 { (words::LIFTS_BRIEFLY) } ul { @for it in &brief.lifts { li { (it) } } } }
        }
        @if !brief.names.is_empty() {
            section {
                h2 { "To ask first: names not recognised" }
                ul { @for it in &brief.names { li { (it) } } }
                p { (words::UNRECOGNISED) @if let Some(it) = &brief.for_names { " " (it) } }
            }
        }
        @if !brief.notes.is_empty() {
            section {
                h2 { "Notes, as written" }
                @for it in &brief.notes {
                    blockquote { @if let Some(section) = it.section { b { (section) } ": " } (it.text) }
                }
            }
        }
        (to_ask(brief))
        (care(brief))
        @if let Some(dose) = &brief.dose { (self::dose(dose)) }
        @if let Some(plans) = &brief.plans { (self::plans(plans, brief)) }
        @if let Some(ahead) = &brief.ahead { (days(ahead)) }
        @if brief.cut_short { p { (words::CUT_SHORT) } }
        (local(&brief.local))
        footer { p { (brief.made_with) ". " (SAFETY) } }
    })
}

/// A box to sign on paper: who, when, which decision and why. It bears the reference, since paper gets apart.
pub fn decision_box(brief: &Brief<'_>) -> Markup {
    inert(html! {
        section.decision {
            h2 { "Decision on " (brief.reference) ", screened as " (brief.verdict.words()) }
            p { @for outcome in [Outcome::Go, Outcome::Defer, Outcome::Refer] { span.tick { (outcome.word()) } " " } }
            dl {
                @for line in ["Reason", "Who", "When"] { div { dt { (line) } dd {} } }
            }
        }
    })
}

/// What the short report leaves out: of each finding its rule, the answers with their places, the sources; what is not decided
/// yet, what was set aside, what was looked at, and which files it was made with.
pub fn more(screening: &Screening) -> Markup {
    inert(html! {
        section.more {
            h2 { "Findings with answers and sources" }
            @for it in &screening.findings {
                h3 { (it.title) }
                p { (it.rule) (words::of_rule(it)) }
                ul { @for because in &it.because { li { (words::because(because)) } } }
                ul { @for cited in &it.citations { li { (words::cited(cited)) } } }
            }
            @if !screening.undetermined.is_empty() {
                h2 { "Not decided yet" }
                ul {
                    @for it in &screening.undetermined {
                        li { (it.title) " (" (it.rule) "), " (words::would_be(it.standing())) ", waits for " (it.waits_for.join(", ")) }
                    }
                }
            }
            @if !screening.set_aside.is_empty() {
                h2 { "Set aside, does not apply" }
                ul { @for it in &screening.set_aside { li { (words::set_aside(it)) } } }
            }
            @if let Some(it) = &screening.anaesthetic {
                h2 { "Anaesthetic arithmetic" }
                ul { @for line in anaesthetic::sentences(it) { li { (line) } } @for line in &it.basis { li { (line) } } }
            }
            h2 { "Looked at" }
            p { (screening.rule_set.concerns.join("; ")) ". Nothing else was." }
            h2 { "Made with" }
            ul { @for it in words::made_with(screening) { li { (it) } } }
        }
    })
}

fn reason(reason: &Reason<'_>) -> Markup {
    html! {
        div.finding {
            h3 {
                (reason.number) ". " (reason.title) " (" (reason.standing.words())
                @if reason.local_policy { ", by local policy" }
                ")"
            }
            p { (reason.reason) }
            dl {
                @if !reason.because.is_empty() || reason.left_out.is_some() {
                    div {
                        dt { "Because" }
                        dd {
                            ul {
                                @for it in &reason.because { li { (it.in_words()) } }
                                @if let Some(it) = &reason.left_out { li { (it) } }
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

/// A precaution in one paragraph.
fn precaution(reason: &Reason<'_>) -> Markup {
    html! {
        p.finding {
            b { (reason.number) ". " (reason.title) @if reason.local_policy { " (by local policy)" } ":" } " "
            (reason.reason) " " b { "Do:" } " " (advice(&reason.advice))
        }
    }
}

fn advice(said: &[Advice]) -> Markup {
    html! {
        @if said.is_empty() { (words::SAID_ABOVE) }
        @for it in said {
            (it.in_words()) " "
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
            section { h2 { "Precautions, if it goes ahead" } @for it in &brief.precautions { (precaution(it)) } }
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
            ul { @for it in plans { (foreseen(it)) } }
        }
    }
}

fn foreseen(it: &Foreseen) -> Markup {
    html! { li { b { (it.standing.verdict_words()) } " " (it.what) @if !it.with.is_empty() { ": " (it.with) } } }
}

/// Other days as a strip and in words.
pub fn days(ahead: &[DaysAhead]) -> Markup {
    html! {
        section.days {
            h2 { "Other days" }
            @if ahead.is_empty() { p { (words::NO_DAY) } } @else { (picture::days_strip(ahead)) }
            ul { @for it in ahead { (foreseen(&it.foreseen)) } }
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
