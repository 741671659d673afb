//! What would lift a verdict, other plans, and other days.

use crate::outcome::Outcome;
use crate::report::page::{Indent, Page, Paint};
use crate::report::text::{BLOCK, LIST, PART, anaesthetic};
use crate::report::words;
use crate::screening::result::{DateSpan, Firing, Lift, Prospect, Screening};

/// A change of a lift, beside the number of the way it belongs to.
const NUMBERED: Indent = Indent::at(1, 16).hanging(2);

/// Each way that would lift the verdict, and what it would come to.
pub fn lifts(page: &mut Page, lifts: &[Lift]) {
    if lifts.is_empty() {
        return;
    }
    let ways = words::counted(lifts.len(), "way", "ways");
    page.heading(&format!("What would lift it ({ways})"));
    page.paragraph(0, words::LIFTS_LEAD);
    for (at, lift) in lifts.iter().enumerate() {
        for (nth, change) in lift.changes.iter().enumerate() {
            let (label, indent) = if nth == 0 {
                (format!("{}. if", at + 1), NUMBERED)
            } else {
                ("and if".to_owned(), LIST)
            };
            page.entry(&label, Paint::Faint, indent, &words::change(change));
        }
        page.entry(
            "then",
            Paint::Outcome(lift.prospect.verdict().outcome),
            LIST,
            &words::prospect(&lift.prospect),
        );
    }
}

/// Each plan with a better verdict. `None` if they were not asked for.
pub fn alternatives(page: &mut Page, screening: &Screening) {
    let Some(plans) = &screening.alternatives else {
        return;
    };
    page.heading(&format!("Other plans ({})", plans.len()));
    if plans.is_empty() {
        page.paragraph(0, words::no_plan(screening.verdict().outcome));
    }
    for (at, it) in plans.iter().enumerate() {
        if at > 0 {
            page.blank();
        }
        head(page, &it.prospect, &words::plan(&it.changes));
        let (care, against): (Vec<&Firing>, Vec<&Firing>) = it
            .prospect
            .fires
            .iter()
            .partition(|it| it.outcome == Outcome::Go);
        let against = against.iter();
        let against = against.map(|it| format!("{}: {}", words::against(it), it.action));
        page.entries("against", Paint::Faint, LIST, against);
        let care = care.iter().map(|it| format!("{}: {}", it.title, it.action));
        page.entries("take care", Paint::Faint, LIST, care);
        if let Some(open) = words::still_open(&it.prospect) {
            page.entry("open", Paint::Faint, PART, &open);
        }
        if let Some(arithmetic) = &it.anaesthetic {
            page.entry("dose", Paint::Faint, LIST, &anaesthetic::brief(arithmetic));
        }
    }
}

/// The verdict day by day, as spans. `None` if it was not asked for.
pub fn dates(page: &mut Page, dates: Option<&[DateSpan]>) {
    let Some(spans) = dates else { return };
    page.heading("Other days");
    if spans.is_empty() {
        page.paragraph(0, words::NO_DAY);
    }
    for (at, it) in spans.iter().enumerate() {
        head(page, &it.prospect, &words::span(it));
        if let Some(against) = words::against_then(&it.prospect) {
            page.paragraph(4, &format!("against it: {against}"));
        }
        if let Some(open) = words::still_open(&it.prospect) {
            page.paragraph(4, &open);
        }
        if let Some(end) = words::end_of(it, spans.get(at + 1)) {
            page.paragraph(4, &end);
        }
    }
}

/// The verdict, what it is for, and how many precautions it comes with.
fn head(page: &mut Page, prospect: &Prospect, what: &str) {
    let standing = prospect.verdict();
    let label = format!(
        "{}{}",
        standing.verdict_words(),
        words::precautions_then(prospect)
    );
    page.entry(&label, Paint::Outcome(standing.outcome), BLOCK, what);
}
