//! Several patients as a list for a terminal or paper: a row each, and below it what is next.

use textwrap::core::display_width;

use crate::outcome::Outcome;
use crate::report::SAFETY;
use crate::report::list::{List, Row};
use crate::report::page::{Indent, Page, Paint, Style, one_line};

/// Columns between two columns of the table.
const GAP: usize = 2;

/// The headings of the columns of fixed width.
const HEADINGS: [&str; 3] = ["reference", "surgery", "verdict"];

/// The list by itself.
///
/// # Missing data
/// A row says that answers are missing and what the verdict could still become.
pub fn list(list: &List<'_>, style: &Style) -> String {
    let mut page = Page::new(style);
    super::notices(&mut page, list.notices.iter().copied());
    page.paragraph(0, &list.counts);
    if !list.rows.is_empty() {
        page.blank();
        table(&mut page, &list.rows);
        page.blank();
    }
    for it in &list.local {
        super::local(&mut page, it);
    }
    if !list.local.is_empty() {
        page.blank();
    }
    for it in &list.made_with {
        page.paragraph(0, it);
    }
    page.paragraph(0, SAFETY);
    page.finish()
}

/// The rows, with the last column in what room the others leave.
fn table(page: &mut Page, rows: &[Row]) {
    let cells: Vec<[String; 3]> = rows.iter().map(cells).collect();
    let mut widths = HEADINGS.map(display_width);
    for row in &cells {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = display_width(cell).max(*width);
        }
    }
    let before: usize = widths.iter().map(|width| width + GAP).sum();
    let padded = |cell: &str, width: usize| {
        let pad = (width + GAP).saturating_sub(display_width(cell));
        format!("{cell}{}", " ".repeat(pad))
    };
    let heading: String = HEADINGS
        .iter()
        .zip(widths)
        .map(|(cell, width)| padded(cell, width))
        .collect();
    let heading = page.painted(&format!("{heading}first reason"), Paint::Faint);
    page.line(&heading);
    let [to_reference, to_day, to_verdict] = widths;
    for (row, [reference, day, verdict]) in rows.iter().zip(&cells) {
        let outcome = row.verdict.map_or(Outcome::Refer, |it| it.outcome);
        let mut cells = format!(
            "{}{}{}",
            padded(reference, to_reference),
            padded(day, to_day),
            page.painted(&padded(verdict, to_verdict), Paint::Outcome(outcome))
        );
        for line in page.wrapped(before, &row.reason) {
            page.line(&format!("{cells}{line}"));
            cells = " ".repeat(before);
        }
        if let Some(next) = &row.next {
            let below = Indent::at(to_reference + GAP, to_reference + GAP + 6);
            page.entry("next", Paint::Faint, below, next);
        }
    }
}

fn cells(row: &Row) -> [String; 3] {
    [
        one_line(&row.reference).into_owned(),
        one_line(row.day_words()).into_owned(),
        row.verdict_words(),
    ]
}
