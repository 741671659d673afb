//! The parts of the book about what stands behind the rules, and what is still open.

use crate::report::book::parts::links;
use crate::report::book::{Book, BookText, checked, link};
use crate::report::markdown::escape::{code, inline};
use crate::report::words::{counted, day};
use crate::rule_set::{Basis, Checked, Publication, Retired, RuleSet};
use crate::table::Idx;
use crate::workbench::due;
use crate::workbench::due::{CitedEntry, DueItem, due};

pub fn sources(sheet: &mut BookText, book: &Book<'_>) {
    let rules = book.rule_set;
    let cited = due::citations(rules);
    for (at, it) in rules.publications.entries() {
        if is_idle(it, at, &cited) {
            continue;
        }
        sheet.heading(3, &format!("sources/{}", it.id), &inline(&it.title));
        let year = it.year.map_or(String::new(), |it| format!(", {it}"));
        sheet.paragraph(&format!(
            "{}{year}. {}",
            inline(&it.by),
            checked(it.checked, it.checked_on)
        ));
        if let Some(page) = &it.link {
            sheet.paragraph(&format!("Page: {}", address(page)));
        }
        if let Some(note) = &it.note {
            sheet.paragraph(&format!("Note: {}.", inline(note)));
        }
        let mut by: Vec<&str> = cited
            .iter()
            .filter(|it| it.citation.basis == Basis::Published(at))
            .map(|it| it.of.as_str())
            .collect();
        by.dedup();
        sheet.paragraph(&format!(
            "{}. Cited by {}.",
            code(&it.id),
            links(by.into_iter())
        ));
    }
}

/// Whether it came with the registers of another rule set, and nothing cites it here.
fn is_idle(it: &Publication, at: Idx<Publication>, cited: &[CitedEntry<'_>]) -> bool {
    let is_cited = |entry: &CitedEntry<'_>| entry.citation.basis == Basis::Published(at);
    it.is_used && !cited.iter().any(is_cited)
}

/// An address as a link if it plainly is one; as text otherwise.
fn address(page: &str) -> String {
    let plain = |it: char| {
        it.is_ascii_alphanumeric()
            || matches!(
                it,
                ':' | '/' | '.' | '-' | '_' | '~' | '%' | '?' | '=' | '&' | '#' | '+' | ','
            )
    };
    let good =
        (page.starts_with("https://") || page.starts_with("http://")) && page.chars().all(plain);
    if good {
        format!("<{page}>")
    } else {
        inline(page)
    }
}

pub fn proposals(sheet: &mut BookText, book: &Book<'_>) {
    let due = due(book.rule_set, &[]);
    let found: Vec<String> = due
        .iter()
        .filter_map(|it| match &it.what {
            DueItem::Proposal { of, text } if book.has(of) => Some(format!(
                "{}: {} ({})",
                link(of, of),
                inline(text),
                inline(it.owner)
            )),
            _ => None,
        })
        .collect();
    if found.is_empty() {
        sheet.paragraph("None.");
        return;
    }
    sheet.paragraph(&format!(
        "{} that no publication gives. Each waits for the one named in brackets to make it the clinic's own or to replace it.",
        counted(found.len(), "figure or judgement", "figures and judgements")
    ));
    sheet.gap();
    found.iter().for_each(|it| sheet.item(0, it));
}

pub fn unopened(sheet: &mut BookText, book: &Book<'_>) {
    let cited = due::citations(book.rule_set);
    let found: Vec<&Publication> = book
        .rule_set
        .publications
        .entries()
        .filter(|(at, it)| it.checked == Checked::FromMemory && !is_idle(it, *at, &cited))
        .filter(|(_, it)| book.has(&format!("sources/{}", it.id)))
        .map(|(_, it)| it)
        .collect();
    if found.is_empty() {
        sheet.paragraph("None.");
        return;
    }
    sheet.paragraph(&format!(
        "{} cited from memory, to be opened and checked.",
        counted(found.len(), "source is", "sources are")
    ));
    sheet.gap();
    for it in found {
        let year = it.year.map_or(String::new(), |it| format!(", {it}"));
        sheet.item(
            0,
            &format!(
                "{}: {}{year}",
                link(&it.title, &format!("sources/{}", it.id)),
                inline(&it.by)
            ),
        );
    }
}

pub fn retired(sheet: &mut BookText, book: &Book<'_>) {
    let RuleSet { retired, .. } = book.rule_set;
    let concern = |it: &Retired| {
        it.rule
            .split_once('/')
            .map(|(concern, _)| book.has(concern))
    };
    let retired: Vec<&Retired> = retired
        .iter()
        .filter(|it| concern(it) != Some(false))
        .collect();
    if retired.is_empty() {
        sheet.paragraph("None.");
        return;
    }
    sheet.paragraph("Taken out. Their ids are never used again.");
    sheet.gap();
    retired.iter().for_each(|it| {
        sheet.item(
            0,
            &format!(
                "{}, on {}: {}",
                code(&it.rule),
                day(it.on),
                inline(&it.because)
            ),
        )
    });
}
