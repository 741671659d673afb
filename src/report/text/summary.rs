//! Several screenings on one page: a line for each patient, the most pressing first.

use std::cmp::Reverse;

use textwrap::core::display_width;

use crate::outcome::{Outcome, Urgency};
use crate::report::page::{Page, Paint, Style, one_line};
use crate::report::words::{
    counted, doubtful, each_once, first_and_later, local_policy, names_first, next, next_briefly,
    rule_set,
};
use crate::report::{SAFETY, Standing};
use crate::screening::result::{NextKind, Screening};

/// Columns between two columns of the table.
const GAP: usize = 2;

/// The headings of the columns of fixed width.
const HEADINGS: [&str; 4] = ["verdict", "reference", "surgery", "found"];

/// One line for each patient, then the counts. `refused` files could not be screened and are counted.
///
/// # Missing data
/// Each line says how many answers are missing and what the verdict could still become.
pub fn summary(screenings: &[Screening], refused: usize, style: &Style) -> String {
    let mut sorted: Vec<&Screening> = screenings.iter().collect();
    sorted.sort_by_key(|it| {
        (
            Reverse(it.verdict()),
            it.reference.as_str(),
            it.source.path.as_str(),
        )
    });
    let mut page = Page::new(style);
    crate::report::text::notices(&mut page, &each_once(&sorted, |it| it.notices.clone()));
    if !sorted.is_empty() {
        table(&mut page, &sorted);
        page.blank();
        page.paragraph(0, "found: findings against surgery + precautions.");
        names_first(&sorted)
            .iter()
            .for_each(|it| page.paragraph(0, it));
        let better: Vec<String> = sorted.iter().filter_map(|it| better(it)).collect();
        if !better.is_empty() {
            page.paragraph(0, &format!("could be better: {}.", better.join("; ")));
        }
    }
    page.paragraph(0, &counts(&sorted, refused));
    each_once(&sorted, |it| it.local_policy.iter().collect())
        .into_iter()
        .for_each(|it| crate::report::text::local(&mut page, it));
    if sorted.iter().any(|it| it.local_policy.is_some()) {
        page.blank();
    }
    for stamp in each_once(&sorted, |it| {
        std::iter::once(rule_set(it))
            .chain(local_policy(it))
            .collect()
    }) {
        page.paragraph(0, &stamp);
    }
    page.paragraph(0, SAFETY);
    page.finish()
}

/// The lines, with the last column in what room the others leave.
fn table(page: &mut Page, screenings: &[&Screening]) {
    let rows: Vec<[String; 4]> = screenings.iter().map(|it| cells(it)).collect();
    let mut widths = HEADINGS.map(display_width);
    for row in &rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = display_width(cell).max(*width);
        }
    }
    let room = page
        .columns()
        .saturating_sub(widths.iter().map(|it| it + GAP).sum());
    let heading: String = HEADINGS
        .iter()
        .zip(widths)
        .map(|(cell, width)| padded(cell, width))
        .collect();
    let heading = page.painted(&format!("{heading}next"), Paint::Faint);
    page.line(&heading);
    for (screening, row) in screenings.iter().zip(&rows) {
        let mut line = String::new();
        for (at, (cell, width)) in row.iter().zip(widths).enumerate() {
            let paint = if at == 0 {
                Paint::Outcome(screening.verdict().outcome)
            } else {
                Paint::Plain
            };
            line.push_str(&page.painted(&padded(cell, width), paint));
        }
        line.push_str(&what_next(screening, room));
        page.line(&line);
    }
}

fn cells(screening: &Screening) -> [String; 4] {
    let care = screening
        .findings
        .iter()
        .filter(|it| it.outcome == Outcome::Go)
        .count();
    [
        screening.verdict().verdict_words(),
        one_line(&screening.reference).into_owned(),
        screening
            .procedure_on
            .as_deref()
            .map_or("not known".to_owned(), |it| one_line(it).into_owned()),
        format!("{} + {care}", screening.findings.len() - care),
    ]
}

fn padded(cell: &str, width: usize) -> String {
    format!(
        "{cell}{}",
        " ".repeat((width + GAP).saturating_sub(display_width(cell)))
    )
}

/// What is to be done next, as fully as the room allows, and what the verdict could still become.
fn what_next(screening: &Screening, room: usize) -> String {
    let could = screening
        .span
        .could_be()
        .map_or(String::new(), |it| format!(" (could be {})", it.words()));
    let fits = |it: &String| display_width(it) <= room;
    match &screening.next {
        None => waits_for(screening, &could, room),
        Some(it) if it.kind == NextKind::Ask && it.clear_up == 0 && !it.read.is_empty() => {
            waits_for(screening, &could, room)
        }
        Some(it) if it.kind == NextKind::Ask && it.clear_up == 0 && !it.ask.is_empty() => {
            let asks = format!(
                "ask {}",
                waits_for(screening, &could, room.saturating_sub(4))
            );
            if fits(&asks) {
                asks
            } else {
                waits_for(screening, &could, room)
            }
        }
        Some(it) => {
            let forms = [next(it), next_briefly(it)].map(|it| format!("{}{could}", one_line(&it)));
            forms
                .into_iter()
                .find(fits)
                .unwrap_or_else(|| format!("{}{could}", it.kind.word()))
        }
    }
}

/// What is missing, as fully as the room allows: the answers, or the first of them, or how many.
fn waits_for(screening: &Screening, could: &str, room: usize) -> String {
    let names = screening.unrecognised.iter().map(doubtful);
    let asks: Vec<String> = names
        .chain(
            first_and_later(&screening.to_ask)
                .0
                .into_iter()
                .map(|it| it.fact.clone()),
        )
        .collect();
    let mut fullest = match (screening.unrecognised.len(), asks.len()) {
        (_, 0) => format!("nothing{could}"),
        (0, n) => format!("{}{could}", counted(n, "answer", "answers")),
        (n, _) => format!("{} first{could}", counted(n, "name", "names")),
    };
    let mut named = String::new();
    for (at, ask) in asks.iter().enumerate() {
        named.push_str(if at == 0 { "" } else { ", " });
        named.push_str(&one_line(ask));
        if display_width(&named) > room {
            break;
        }
        let rest = match asks.len() - at - 1 {
            0 => String::new(),
            n => format!(" and {n} more"),
        };
        let form = format!("{named}{rest}{could}");
        if display_width(&form) <= room {
            fullest = form;
        }
    }
    fullest
}

/// What could give one patient a better verdict: "SM-107 with a change (go) or another plan (go)".
fn better(screening: &Screening) -> Option<String> {
    let now = screening.verdict();
    let best =
        |standings: &mut dyn Iterator<Item = Standing>| standings.min().filter(|it| *it < now);
    let lift = best(&mut screening.lifts.iter().map(|it| it.prospect.verdict()))
        .map(|it| ("a change", it));
    let plan = best(
        &mut screening
            .alternatives
            .iter()
            .flatten()
            .map(|it| it.prospect.verdict()),
    )
    .map(|it| ("another plan", it));
    let day = best(
        &mut screening
            .dates
            .iter()
            .flatten()
            .map(|it| it.prospect.verdict()),
    )
    .map(|it| ("another day", it));
    let ways: Vec<String> = [lift, plan, day]
        .into_iter()
        .flatten()
        .map(|(what, it)| format!("{what} ({})", it.words()))
        .collect();
    (!ways.is_empty()).then(|| format!("{} with {}", screening.reference, ways.join(" or ")))
}

/// "5 screened: 2 refer (1 same-day, 1 routine), 1 defer, 2 go. 1 file refused, not screened."
pub fn counts(screenings: &[&Screening], refused: usize) -> String {
    let of = |wanted: Outcome| {
        screenings
            .iter()
            .filter(|it| it.verdict().outcome == wanted)
            .count()
    };
    let urgencies: Vec<String> = [Urgency::SameDay, Urgency::Urgent, Urgency::Routine]
        .into_iter()
        .map(|wanted| {
            (
                screenings
                    .iter()
                    .filter(|it| it.verdict().urgency == Some(wanted))
                    .count(),
                wanted,
            )
        })
        .filter(|(n, _)| *n > 0)
        .map(|(n, urgency)| format!("{n} {}", urgency.word()))
        .collect();
    let urgencies = if urgencies.is_empty() {
        String::new()
    } else {
        format!(" ({})", urgencies.join(", "))
    };
    let refused = match refused {
        0 => String::new(),
        n => format!(
            " {} and NOT screened; the problems are listed apart.",
            counted(n, "file was refused", "files were refused")
        ),
    };
    format!(
        "{} screened: {} refer{urgencies}, {} defer, {} go.{refused}",
        screenings.len(),
        of(Outcome::Refer),
        of(Outcome::Defer),
        of(Outcome::Go)
    )
}
