//! One screening as text for a terminal or a printed page.
//!
//! Everything is said in words; colour only adds. What stands against surgery comes first, then what to ask and
//! whom, what to take care of, the anaesthetic arithmetic and the notes. The rules still open come late: with few
//! answers there are many of them, and what to ask says the same more shortly.

use crate::report::brief::Brief;
use crate::report::list::{Batch, List};
use crate::report::page::{Indent, Page, Paint, Style, one_line};
use crate::report::words::{
    because, could_lead_to, counted, first_and_later, for_names, grouped, local_counts,
    local_heading, local_told, may_go_ahead, meaning, next, of_rule, place, stranger, who,
    would_be,
};
use crate::report::{SAFETY, words};
use crate::screening::result::{Finding, LocalStamp, Screening, ToAsk, Undetermined};

pub mod anaesthetic;
mod list;
mod prospects;
mod short;

pub use crate::report::text::list::list;
pub use crate::report::text::short::short;
pub use crate::report::words::cited;

/// The parts of a finding: labels, and the texts beside them.
const PART: Indent = Indent::at(4, 16);

/// A part with several entries: lines after the first of an entry start further right, so entries stay apart.
const LIST: Indent = PART.hanging(2);

/// Something that starts a block of its own.
const BLOCK: Indent = Indent::at(0, 0).hanging(4);

/// One entry of a list.
const BULLET: Indent = Indent::at(4, 6);

/// A label and what follows it, under the verdict.
const BESIDE: Indent = Indent::at(4, 4);

/// What is to be done next, under the verdict.
const NEXT: Indent = Indent::at(4, 10);

/// All there is to say of one patient.
///
/// # Missing data
/// Undetermined rules, the answers they wait for and the names nobody recognised are always shown.
pub fn full(screening: &Screening, style: &Style) -> String {
    let mut page = Page::new(style);
    notices(&mut page, screening.notices.iter().map(String::as_str));
    head(&mut page, screening);
    if let Some(it) = &screening.local_policy {
        local(&mut page, it);
    }
    against(&mut page, screening);
    prospects::lifts(&mut page, &screening.lifts);
    unrecognised(&mut page, screening);
    to_ask(&mut page, &screening.to_ask);
    precautions(&mut page, screening);
    if let Some(anaesthetic) = &screening.anaesthetic {
        anaesthetic::show(&mut page, anaesthetic);
    }
    prospects::alternatives(&mut page, screening);
    prospects::dates(&mut page, screening.dates.as_deref());
    if screening.cut_short {
        page.blank();
        page.paragraph(0, words::CUT_SHORT);
    }
    notes(&mut page, screening);
    set_aside(&mut page, screening);
    undetermined(&mut page, &screening.undetermined);
    made_with(&mut page, screening);
    page.finish()
}

/// The report of one patient: on one screen, or all there is to say.
pub fn one(screening: &Screening, is_full: bool, style: &Style) -> String {
    if is_full {
        full(screening, style)
    } else {
        short(&Brief::of(screening), style)
    }
}

/// A list of several patients, the most pressing first, then each in the same order under a line.
pub fn several(batch: &Batch<'_>, is_full: bool, style: &Style) -> String {
    let mut page = Page::new(style);
    page.add(&list(&List::of(batch), style));
    for it in &batch.screenings {
        page.blank();
        page.line(&"=".repeat(page.columns()));
        page.add(&one(it, is_full, style));
    }
    page.finish()
}

/// What must be known before anything else.
fn notices<'a>(page: &mut Page, notices: impl IntoIterator<Item = &'a str>) {
    let mut any = false;
    for it in notices {
        any = true;
        page.entry("!", Paint::Strong, Indent::at(0, 2), it);
    }
    if any {
        page.blank();
    }
}

/// What the clinic changed of the rule set: all of it counted, what loosens it told.
pub fn local(page: &mut Page, local: &LocalStamp) {
    page.heading(&one_line(&local_heading(local)));
    page.paragraph(0, &local_counts(local));
    page.bullets(BULLET, local_told(local));
}

/// The verdict, what it could still become, and how much of each follows.
fn head(page: &mut Page, screening: &Screening) {
    let verdict = screening.verdict();
    let surgery = match &screening.procedure_on {
        Some(day) => format!("surgery {day}"),
        None => "day of surgery not known".to_owned(),
    };
    let answers = screening.completed_on.map_or_else(
        || "answers not dated".to_owned(),
        |day| format!("answers of {day}"),
    );
    let who = format!(
        "{}, {surgery}, {answers}, screened {}",
        screening.reference, screening.as_of
    );
    page.entry(
        &verdict.verdict_words(),
        Paint::Outcome(verdict.outcome),
        BLOCK,
        &who,
    );
    if let Some((worse, why)) = words::could_be(screening) {
        page.entry(
            &format!("could be {}", worse.words()),
            Paint::Outcome(worse.outcome),
            BESIDE,
            &why,
        );
    }
    if let Some(it) = &screening.next {
        page.entry("next", Paint::Strong, NEXT, &next(it));
    }
    page.blank();
    page.paragraph(0, meaning(screening));
    let n_care = if may_go_ahead(screening) {
        screening.precautions().count()
    } else {
        0
    };
    let undecided = screening.undetermined.iter().filter(|it| !it.for_a_name);
    let (now, later) = first_and_later(&screening.to_ask);
    let counts = words::counted_if_any([
        (
            screening.against().count(),
            "finding against surgery",
            "findings against surgery",
        ),
        (screening.lifts.len(), "way to lift it", "ways to lift it"),
        (n_care, "precaution", "precautions"),
        (
            screening.unrecognised.len(),
            "name not recognised",
            "names not recognised",
        ),
        (undecided.count(), "rule not decided", "rules not decided"),
        (now.len(), "answer to ask for", "answers to ask for"),
        (
            later.len(),
            "perhaps to ask for later",
            "perhaps to ask for later",
        ),
        (
            screening.alternatives.as_ref().map_or(0, Vec::len),
            "other plan",
            "other plans",
        ),
        (screening.notes.len(), "note to read", "notes to read"),
    ]);
    if !counts.is_empty() {
        page.paragraph(0, &format!("Below: {}.", counts.join(", ")));
    }
    let concerns = screening.rule_set.concerns.join("; ");
    page.paragraph(0, &format!("Looked at: {concerns}. Nothing else was."));
}

/// Findings that defer or refer, worst first.
fn against(page: &mut Page, screening: &Screening) {
    let n = screening.against().count();
    if n > 0 {
        page.heading(&format!("Against surgery as planned ({n})"));
        findings(page, screening.against(), |it| {
            it.standing().verdict_words()
        });
    }
}

/// Findings that let surgery go ahead with care; none for a patient whom another service takes over.
fn precautions(page: &mut Page, screening: &Screening) {
    let n = screening.precautions().count();
    if n > 0 && may_go_ahead(screening) {
        page.heading(&format!("Precautions, if it goes ahead ({n})"));
        findings(page, screening.precautions(), |_| "PRECAUTION".to_owned());
    }
}

/// Findings, each under what stands before its heading.
fn findings<'a>(
    page: &mut Page,
    found: impl Iterator<Item = &'a Finding>,
    label: impl Fn(&Finding) -> String,
) {
    for (at, it) in found.enumerate() {
        if at > 0 {
            page.blank();
        }
        page.entry(&label(it), Paint::Outcome(it.outcome), BLOCK, &it.title);
        finding(page, it);
    }
}

/// The parts that all findings share.
fn finding(page: &mut Page, finding: &Finding) {
    page.entry(
        "rule",
        Paint::Faint,
        PART,
        &format!("{}{}", finding.rule, of_rule(finding)),
    );
    page.entry("reason", Paint::Faint, PART, &finding.reason);
    let because = finding.because.iter().map(because);
    page.entries("because", Paint::Faint, LIST, because);
    page.entry("do", Paint::Faint, PART, &finding.action);
    if let Some(cleared_by) = &finding.cleared_by {
        page.entry("cleared by", Paint::Faint, PART, cleared_by);
    }
    let sources = finding.citations.iter().map(cited);
    page.entries("source", Paint::Faint, LIST, sources);
}

/// Rules that cannot be decided, those that wait for the same answers together.
fn undetermined(page: &mut Page, rules: &[Undetermined]) {
    let rules: Vec<&Undetermined> = rules.iter().filter(|it| !it.for_a_name).collect();
    if rules.is_empty() {
        return;
    }
    let n_rules = counted(rules.len(), "rule", "rules");
    page.heading(&format!("Not decided yet ({n_rules})"));
    for (standing, rules) in grouped(rules.into_iter(), Undetermined::standing) {
        let paint = Paint::Outcome(standing.outcome);
        page.entry(&would_be(standing), paint, BLOCK, "");
        let groups = grouped(rules.into_iter(), |it| it.waits_for.as_slice());
        let groups = groups.into_iter().map(|(waits_for, rules)| {
            let ids: Vec<&str> = rules.iter().map(|it| it.rule.as_str()).collect();
            let wait = if ids.len() == 1 { "waits" } else { "wait" };
            format!("{} {wait} for {}", ids.join(", "), waits_for.join(", "))
        });
        page.bullets(BULLET, groups);
    }
}

/// The missing answers by whom to ask, each with a box to tick; those that may prove needless are only named.
fn to_ask(page: &mut Page, asks: &[ToAsk]) {
    let (now, later) = first_and_later(asks);
    if now.is_empty() {
        return;
    }
    page.heading(&format!("To ask ({})", now.len()));
    let mut groups = grouped(now.into_iter(), |it| it.from);
    groups.sort_by_key(|(from, _)| *from);
    for (from, asks) in groups {
        page.entry(who(from), Paint::Strong, BLOCK, "");
        for ask in asks {
            page.entry("[ ]", Paint::Plain, Indent::at(4, 8), &ask.ask);
            if !ask.options.is_empty() {
                page.paragraph(8, &format!("({})", ask.options.join(" | ")));
            }
            let rules = counted(ask.rules.len(), "rule waits", "rules wait");
            let (why, could) = (ask.why.word(), could_lead_to(ask));
            page.paragraph(8, &format!("{}: {why}; {could}; {rules}", ask.fact));
        }
    }
    if !later.is_empty() {
        let facts: Vec<&str> = later.iter().map(|it| it.fact.as_str()).collect();
        let n = later.len();
        page.paragraph(
            0,
            &format!("... and {n} more, only if those answers call for it:"),
        );
        page.paragraph(4, &facts.join(", "));
    }
}

/// Names that could be anything until somebody reads them.
fn unrecognised(page: &mut Page, screening: &Screening) {
    if screening.unrecognised.is_empty() {
        return;
    }
    let n = screening.unrecognised.len();
    page.heading(&format!("To ask first: names not recognised ({n})"));
    let names = screening.unrecognised.iter();
    let names = names.map(|it| format!("{} ({})", stranger(it), place(&it.path, it.line)));
    page.bullets(BULLET, names);
    page.paragraph(0, words::UNRECOGNISED);
    for_names(screening)
        .iter()
        .for_each(|it| page.paragraph(0, it));
}

/// Free text as it stands.
fn notes(page: &mut Page, screening: &Screening) {
    if screening.notes.is_empty() {
        return;
    }
    let n = screening.notes.len();
    page.heading(&format!("For the clinician to read ({n})"));
    for note in &screening.notes {
        let place = place(&note.path, note.line);
        page.entry(
            words::section(note),
            Paint::Strong,
            BLOCK,
            &format!("({place})"),
        );
        page.quote(4, &note.text);
    }
}

/// Answers that count for nothing.
fn set_aside(page: &mut Page, screening: &Screening) {
    if screening.set_aside.is_empty() {
        return;
    }
    let n = screening.set_aside.len();
    page.heading(&format!("Set aside, does not apply ({n})"));
    page.bullets(BULLET, screening.set_aside.iter().map(words::set_aside));
}

/// Rule set, files and program: what an audit needs to know.
fn made_with(page: &mut Page, screening: &Screening) {
    page.heading("Made with");
    for it in words::made_with(screening) {
        page.paragraph(0, &it);
    }
    page.paragraph(0, SAFETY);
}
