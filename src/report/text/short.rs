//! One patient on one screen: what a nurse or a clinician acts on.

use crate::report::SAFETY;
use crate::report::brief::{Advice, AskedOf, Brief, DaysAhead, Foreseen, Reason};
use crate::report::page::{Indent, Page, Paint, Style};
use crate::report::text::BLOCK;
use crate::report::words;

/// A label on the left, and what follows it.
const BESIDE: Indent = Indent::at(0, 6);

/// Under a finding: labels, and the texts beside them.
const PART: Indent = Indent::at(3, 8);

/// Under a finding: the first of several entries, each further line of one more to the right.
const LIST: Indent = PART.hanging(2);

/// A finding beside its number.
const NUMBERED: Indent = Indent::at(0, 3);

/// An entry of a list.
const ITEM: Indent = Indent::at(0, 2);

/// A question to ask.
const ASK: Indent = Indent::at(2, 6);

/// The report of one patient that fits on a screen.
///
/// # Missing data
/// Missing answers and names nobody recognised are always shown; what is left out is counted.
pub fn short(brief: &Brief<'_>, style: &Style) -> String {
    let mut page = Page::new(style);
    head(&mut page, brief);
    if !brief.against.is_empty() {
        page.heading(&format!("Against it ({})", brief.against.len()));
        brief.against.iter().for_each(|it| reason(&mut page, it));
    }
    lifts(&mut page, &brief.lifts);
    names(&mut page, brief);
    notes(&mut page, brief);
    to_ask(&mut page, brief);
    care(&mut page, brief);
    plans(&mut page, brief);
    ahead(&mut page, brief.ahead.as_deref());
    if brief.cut_short {
        page.paragraph(0, words::CUT_SHORT);
    }
    local(&mut page, &brief.local);
    page.line(&"-".repeat(page.columns()));
    if let Some(dose) = &brief.dose {
        page.entry("dose", Paint::Strong, BESIDE, &dose.in_words());
    }
    if brief.n_left_out > 0 {
        page.paragraph(0, &words::left_out(brief.n_left_out));
    }
    page.paragraph(
        0,
        &format!("{}. --full says more. {SAFETY}", brief.made_with),
    );
    page.finish()
}

/// What must be known before the rest, the verdict, and what is next.
fn head(page: &mut Page, brief: &Brief<'_>) {
    for it in brief.notices {
        page.entry("!", Paint::Strong, ITEM, it);
    }
    page.entry(
        &brief.verdict.verdict_words(),
        Paint::Outcome(brief.verdict.outcome),
        BLOCK,
        &format!("{}, {}", brief.reference, brief.days),
    );
    if let Some(next) = &brief.next {
        page.entry("next", Paint::Strong, BESIDE, next);
    }
    if let Some(it) = &brief.could_be {
        page.paragraph(6, it);
    }
    if let Some(it) = brief.meaning {
        page.paragraph(6, it);
    }
}

/// A finding against it, part by part.
fn reason(page: &mut Page, reason: &Reason<'_>) {
    let by = if reason.local_policy {
        ", by local policy"
    } else {
        ""
    };
    page.entry(
        &format!("{}.", reason.number),
        Paint::Strong,
        NUMBERED,
        &format!(
            "{} ({}{by}): {}",
            reason.title,
            reason.standing.words(),
            reason.reason
        ),
    );
    let answers = reason
        .because
        .iter()
        .map(|it| it.in_words())
        .chain(reason.left_out.clone());
    page.entries("why", Paint::Faint, LIST, answers);
    page.entry("do", Paint::Faint, PART, &words_of(&reason.advice));
    if let Some(it) = reason.cleared_by {
        page.entry("lift", Paint::Faint, PART, it);
    }
}

/// A precaution in one paragraph.
fn precaution(page: &mut Page, reason: &Reason<'_>) {
    let by = if reason.local_policy {
        " (by local policy)"
    } else {
        ""
    };
    page.entry(
        &format!("{}.", reason.number),
        Paint::Strong,
        NUMBERED,
        &format!(
            "{}{by}: {} DO: {}",
            reason.title,
            reason.reason,
            words_of(&reason.advice)
        ),
    );
}

fn words_of(advice: &[Advice]) -> String {
    let said: Vec<String> = advice.iter().map(Advice::in_words).collect();
    if said.is_empty() {
        words::SAID_ABOVE.to_owned()
    } else {
        said.join(" ")
    }
}

fn lifts(page: &mut Page, lifts: &[String]) {
    for it in lifts {
        page.entry("if", Paint::Strong, BESIDE, it);
    }
}

fn names(page: &mut Page, brief: &Brief<'_>) {
    if brief.names.is_empty() {
        return;
    }
    let n = brief.names.len();
    page.heading(&format!("To ask first: names not recognised ({n})"));
    page.bullets(ITEM, &brief.names);
    page.paragraph(0, words::UNRECOGNISED);
    if let Some(it) = &brief.for_names {
        page.paragraph(0, it);
    }
}

fn notes(page: &mut Page, brief: &Brief<'_>) {
    if brief.notes.is_empty() {
        return;
    }
    page.heading(&format!("Notes, as written ({})", brief.notes.len()));
    for it in &brief.notes {
        if let Some(section) = it.section {
            page.paragraph(0, section);
        }
        page.quote(2, it.text);
    }
}

fn to_ask(page: &mut Page, brief: &Brief<'_>) {
    if brief.to_ask.is_empty() {
        return;
    }
    let n: usize = brief.to_ask.iter().map(|it| it.asks.len()).sum();
    page.heading(&format!("To ask ({n})"));
    for AskedOf { heading, asks, .. } in &brief.to_ask {
        page.entry(heading, Paint::Strong, BLOCK, "");
        for ask in asks {
            let remarks = if ask.remarks.is_empty() {
                String::new()
            } else {
                format!(" ({})", ask.remarks.join("; "))
            };
            page.entry("[ ]", Paint::Plain, ASK, &format!("{}{remarks}", ask.ask));
        }
    }
    if brief.n_later > 0 {
        page.paragraph(0, &words::asked_later(brief.n_later));
    }
}

fn care(page: &mut Page, brief: &Brief<'_>) {
    if !brief.precautions.is_empty() {
        let n = brief.precautions.len();
        page.heading(&format!("Precautions, if it goes ahead ({n})"));
        brief.precautions.iter().for_each(|it| precaution(page, it));
    }
}

fn plans(page: &mut Page, brief: &Brief<'_>) {
    let Some(plans) = &brief.plans else { return };
    page.heading(&format!("Other plans ({})", plans.len()));
    if plans.is_empty() {
        page.paragraph(0, words::no_plan(brief.verdict.outcome));
    }
    plans.iter().for_each(|it| foreseen(page, it));
}

fn ahead(page: &mut Page, ahead: Option<&[DaysAhead]>) {
    let Some(ahead) = ahead else { return };
    page.heading("Other days");
    if ahead.is_empty() {
        page.paragraph(0, words::NO_DAY);
    }
    ahead.iter().for_each(|it| foreseen(page, &it.foreseen));
}

fn foreseen(page: &mut Page, it: &Foreseen) {
    let colon = if it.with.is_empty() { "" } else { ": " };
    page.entry(
        &it.standing.verdict_words(),
        Paint::Outcome(it.standing.outcome),
        BLOCK,
        &format!("{}{colon}{}", it.what, it.with),
    );
}

fn local(page: &mut Page, told: &[String]) {
    let Some((counts, changes)) = told.split_first() else {
        return;
    };
    page.heading(counts);
    page.bullets(ITEM, changes);
}
