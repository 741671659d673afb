//! One screening as text for a terminal or a printed page.
//!
//! Everything is said in words; colour only adds. What stands against surgery comes first, then what to ask and
//! whom, what to take care of, the anaesthetic arithmetic and the notes. The rules still open come late: with few
//! answers there are many of them, and what to ask says the same more shortly.

use super::page::{Indent, Page, Paint, Style};
use super::{SAFETY, Standing, could_be, verdict};
use crate::model::{Kind, Status};
use crate::outcome::Outcome;
use crate::screening::{Because, Cited, Finding, Screening, SourceStamp, ToAsk, Undetermined};

pub mod anaesthetic;
mod summary;

pub use summary::summary;

/// The parts of a finding: labels, and the texts beside them.
const PART: Indent = Indent { label: 4, text: 16, hang: 0 };

/// A part with several entries: lines after the first of an entry start further right, so entries stay apart.
const LIST: Indent = Indent { label: 4, text: 16, hang: 2 };

/// Something that starts a block of its own.
const BLOCK: Indent = Indent { label: 0, text: 0, hang: 4 };

/// One entry of a list.
const BULLET: Indent = Indent { label: 4, text: 6, hang: 0 };

/// A label and what follows it, under the verdict.
const BESIDE: Indent = Indent { label: 4, text: 4, hang: 0 };

/// Digits of a digest that are shown: enough to compare by eye.
const DIGEST_DIGITS: usize = 12;

/// The whole report for one patient.
///
/// # Missing data
/// Undetermined rules, the answers they wait for and the names nobody recognised are always shown.
pub fn one(screening: &Screening, style: &Style) -> String {
    let mut page = Page::new(style);
    head(&mut page, screening);
    against(&mut page, screening);
    unrecognised(&mut page, screening);
    to_ask(&mut page, &screening.to_ask);
    precautions(&mut page, screening);
    if let Some(anaesthetic) = &screening.anaesthetic {
        anaesthetic::show(&mut page, anaesthetic);
    }
    notes(&mut page, screening);
    undetermined(&mut page, &screening.undetermined);
    made_with(&mut page, screening);
    page.finish()
}

/// The reports of several patients with a line between them, then their summary. `refused` files could not be screened
/// and are counted.
pub fn several(screenings: &[Screening], refused: usize, style: &Style) -> String {
    let mut page = Page::new(style);
    let between = "=".repeat(page.columns());
    for it in screenings {
        page.add(&one(it, style));
        page.blank();
        page.line(&between);
    }
    page.add(&summary(screenings, refused, style));
    page.finish()
}

/// The verdict, what it could still become, and how much of each follows.
fn head(page: &mut Page, screening: &Screening) {
    let verdict = verdict(screening);
    let surgery = match &screening.procedure_on {
        Some(day) => format!("surgery {day}"),
        None => "day of surgery not known".to_owned(),
    };
    let answers = screening.completed_on.map_or_else(|| "answers not dated".to_owned(), |day| format!("answers of {day}"));
    let who = format!("{}, {surgery}, {answers}, screened {}", screening.reference, screening.as_of);
    page.entry(&verdict.verdict_words(), Paint::Outcome(verdict.outcome), BLOCK, &who);
    if let Some(worse) = could_be(screening) {
        let open = screening.undetermined.iter().filter(|it| standing_of(it) > verdict).count();
        let text = format!("because of {} not decided yet", counted(open, "rule", "rules"));
        page.entry(&format!("could be {}", worse.words()), Paint::Outcome(worse.outcome), BESIDE, &text);
    }
    page.blank();
    page.paragraph(0, meaning(screening));
    let (care, against): (Vec<&Finding>, Vec<&Finding>) = screening.findings.iter().partition(|it| it.outcome == Outcome::Go);
    let (now, later) = first_and_later(&screening.to_ask);
    let counts = [
        (against.len(), "finding against surgery", "findings against surgery"),
        (care.len(), "precaution", "precautions"),
        (screening.undetermined.len(), "rule not decided", "rules not decided"),
        (now.len(), "answer to ask for", "answers to ask for"),
        (later.len(), "perhaps to ask for later", "perhaps to ask for later"),
        (screening.unrecognised.len(), "name not recognised", "names not recognised"),
        (screening.notes.len(), "note to read", "notes to read"),
    ];
    let counts: Vec<String> = counts.into_iter().filter(|(n, _, _)| *n > 0).map(|(n, one, many)| counted(n, one, many)).collect();
    if !counts.is_empty() {
        page.paragraph(0, &format!("Below: {}.", counts.join(", ")));
    }
    page.paragraph(0, &format!("Looked at: {}. Nothing else was.", screening.rule_set.concerns.join("; ")));
}

/// The verdict in one sentence.
fn meaning(screening: &Screening) -> &'static str {
    match (screening.verdict, screening.best_case) {
        (Outcome::Go, _) if screening.undetermined.is_empty() => {
            "Nothing that these rules look at stands against surgery as planned, and no answer that could is missing."
        }
        (Outcome::Go, _) => {
            "Nothing that these rules look at stands against surgery as planned; a missing answer could only add a precaution."
        }
        (Outcome::Defer, Outcome::Go) => {
            "Not yet: nothing that is known stands against surgery as planned, but answers that could are missing."
        }
        (Outcome::Defer, _) => "Not yet: something must be known or must change first.",
        (Outcome::Refer, _) => "Not here: another service decides or treats.",
    }
}

/// Findings that defer or refer, worst first.
fn against(page: &mut Page, screening: &Screening) {
    let found: Vec<&Finding> = screening.findings.iter().filter(|it| it.outcome != Outcome::Go).collect();
    if found.is_empty() {
        return;
    }
    page.heading(&format!("Against surgery as planned ({})", found.len()));
    for (at, it) in found.into_iter().enumerate() {
        if at > 0 {
            page.blank();
        }
        let standing = Standing { outcome: it.outcome, urgency: it.urgency };
        page.entry(&standing.verdict_words(), Paint::Outcome(it.outcome), BLOCK, &it.title);
        finding(page, it);
    }
}

/// Findings that let surgery go ahead with care.
fn precautions(page: &mut Page, screening: &Screening) {
    let found: Vec<&Finding> = screening.findings.iter().filter(|it| it.outcome == Outcome::Go).collect();
    if found.is_empty() {
        return;
    }
    page.heading(&format!("Precautions, if it goes ahead ({})", found.len()));
    for (at, it) in found.into_iter().enumerate() {
        if at > 0 {
            page.blank();
        }
        page.entry("PRECAUTION", Paint::Outcome(Outcome::Go), BLOCK, &it.title);
        finding(page, it);
    }
}

/// The parts that all findings share.
fn finding(page: &mut Page, finding: &Finding) {
    let kind = match (finding.kind, finding.outcome) {
        (Kind::Caution, Outcome::Go) => String::new(),
        (kind, _) => format!(" ({})", kind.word()),
    };
    page.entry("rule", Paint::Faint, PART, &format!("{}{kind}", finding.rule));
    page.entry("reason", Paint::Faint, PART, &finding.reason);
    list(page, "because", finding.because.iter().map(because));
    page.entry("do", Paint::Faint, PART, &finding.action);
    if let Some(cleared_by) = &finding.cleared_by {
        page.entry("cleared by", Paint::Faint, PART, cleared_by);
    }
    list(page, "source", finding.citations.iter().map(cited));
}

/// Several entries under one label.
fn list(page: &mut Page, label: &str, entries: impl Iterator<Item = String>) {
    for (at, entry) in entries.enumerate() {
        page.entry(if at == 0 { label } else { "" }, Paint::Faint, LIST, &entry);
    }
}

/// "bleeding.inr = 4.6 (SM-107.yaml:21)".
fn because(because: &Because) -> String {
    let place = match (&because.path, because.line) {
        (Some(path), Some(line)) => format!(" ({})", place(path, line)),
        (Some(path), None) => format!(" ({path})"),
        (None, _) if !because.from.is_empty() => format!(" (worked out from {})", because.from.join(", ")),
        (None, _) => String::new(),
    };
    format!("{} = {}{place}", because.fact, because.value)
}

/// A citation in words. What nobody has opened, and what no publication stands behind, says so first.
pub fn cited(cited: &Cited) -> String {
    match cited {
        Cited::Published { title, by, year, at, read, .. } => {
            let warning = if *read { "" } else { "Not yet opened, cited from memory: " };
            let year = year.map_or(String::new(), |it| format!(", {it}"));
            let at = at.as_ref().map_or(String::new(), |it| format!(", {it}"));
            format!("{warning}{by}: {title}{year}{at}")
        }
        Cited::CommonPractice(text) => format!("Common practice, no publication behind it: {text}"),
        Cited::LocalProposal(text) => format!("Local proposal, for governance to confirm: {text}"),
    }
}

/// Rules that cannot be decided, those that wait for the same answers together.
fn undetermined(page: &mut Page, rules: &[Undetermined]) {
    if rules.is_empty() {
        return;
    }
    page.heading(&format!("Not decided yet ({})", counted(rules.len(), "rule", "rules")));
    for (standing, rules) in grouped(rules.iter(), standing_of) {
        let what = match standing.outcome {
            Outcome::Go => "would add a precaution".to_owned(),
            _ => format!("would be {}", standing.words()),
        };
        page.entry(&what, Paint::Outcome(standing.outcome), BLOCK, "");
        for (waits_for, rules) in grouped(rules.into_iter(), |it| it.waits_for.as_slice()) {
            let ids: Vec<&str> = rules.iter().map(|it| it.rule.as_str()).collect();
            let wait = if ids.len() == 1 { "waits" } else { "wait" };
            page.entry("-", Paint::Plain, BULLET, &format!("{} {wait} for {}", ids.join(", "), waits_for.join(", ")));
        }
    }
}

fn standing_of(rule: &Undetermined) -> Standing {
    Standing { outcome: rule.outcome_if_fires, urgency: rule.urgency }
}

/// Puts equal keys together, in the order in which each key first appears.
fn grouped<'a, T, K: PartialEq>(items: impl Iterator<Item = &'a T>, key: impl Fn(&'a T) -> K) -> Vec<(K, Vec<&'a T>)> {
    let mut groups: Vec<(K, Vec<&'a T>)> = Vec::new();
    for item in items {
        let of = key(item);
        match groups.iter_mut().find(|(it, _)| *it == of) {
            Some((_, group)) => group.push(item),
            None => groups.push((of, vec![item])),
        }
    }
    groups
}

/// The missing answers by whom to ask, each with a box to tick; those that may prove needless are only named.
fn to_ask(page: &mut Page, asks: &[ToAsk]) {
    if asks.is_empty() {
        return;
    }
    let (now, later) = first_and_later(asks);
    page.heading(&format!("To ask ({})", now.len()));
    let mut groups = grouped(now.into_iter(), |it| it.from);
    groups.sort_by_key(|(from, _)| who(from).0);
    for (from, asks) in groups {
        page.entry(&who(from).1, Paint::Strong, BLOCK, "");
        for ask in asks {
            page.entry("[ ]", Paint::Plain, Indent { label: 4, text: 8, hang: 0 }, &ask.ask);
            if !ask.options.is_empty() {
                page.paragraph(8, &format!("({})", ask.options.join(" | ")));
            }
            let rules = counted(ask.rules.len(), "rule waits", "rules wait");
            let could = match ask.could_lead_to {
                Outcome::Go => "could add a precaution".to_owned(),
                outcome => format!("could lead to {}", Standing { outcome, urgency: ask.urgency }.words()),
            };
            page.paragraph(8, &format!("{}: {}; {could}; {rules}", ask.fact, ask.why));
        }
    }
    if !later.is_empty() {
        let facts: Vec<&str> = later.iter().map(|it| it.fact.as_str()).collect();
        page.paragraph(0, &format!("... and {} more, only if those answers call for it:", later.len()));
        page.paragraph(4, &facts.join(", "));
    }
}

/// What to ask first, and what may prove needless by then.
fn first_and_later(asks: &[ToAsk]) -> (Vec<&ToAsk>, Vec<&ToAsk>) {
    let (later, first): (Vec<&ToAsk>, Vec<&ToAsk>) = asks.iter().partition(|it| it.depends);
    // With nothing to ask before them, the later ones are what to ask.
    if first.is_empty() { (later, first) } else { (first, later) }
}

/// The place of a person in the list of whom to ask, and the heading.
fn who(from: &str) -> (u8, String) {
    match from {
        "patient" => (0, "Ask the patient".to_owned()),
        "referrer" => (1, "Ask the referrer".to_owned()),
        "nurse" => (2, "For the nurse to measure or settle".to_owned()),
        "record" => (3, "Look up in the record".to_owned()),
        other => (4, format!("From {other}")),
    }
}

/// Names that could be anything until somebody reads them.
fn unrecognised(page: &mut Page, screening: &Screening) {
    if screening.unrecognised.is_empty() {
        return;
    }
    page.heading(&format!("Names not recognised ({})", screening.unrecognised.len()));
    for it in &screening.unrecognised {
        let nearest = match &it.nearest {
            Some(nearest) => format!("did you mean \"{nearest}\"?"),
            None => "no known name is near".to_owned(),
        };
        page.entry("-", Paint::Plain, BULLET, &format!("\"{}\": {nearest} ({})", it.text, place(&it.path, it.line)));
    }
    page.paragraph(0, "Each could be any medicine or substance until it is cleared up: check with the patient or the packet, then write the generic name.");
}

/// Free text as it stands.
fn notes(page: &mut Page, screening: &Screening) {
    if screening.notes.is_empty() {
        return;
    }
    page.heading(&format!("For the clinician to read ({})", screening.notes.len()));
    for note in &screening.notes {
        let section = if note.section.is_empty() { "whole questionnaire" } else { &note.section };
        page.entry(section, Paint::Strong, BLOCK, &format!("({})", place(&note.path, note.line)));
        page.quote(4, &note.text);
    }
}

/// Rule set, files and program: what an audit needs to know.
fn made_with(page: &mut Page, screening: &Screening) {
    page.heading("Made with");
    page.paragraph(0, &rule_set(screening));
    page.paragraph(0, &format!("questionnaire {}", stamp(&screening.source)));
    if let Some(clinic) = &screening.clinic {
        page.paragraph(0, &format!("clinic {}", stamp(clinic)));
    }
    page.paragraph(0, concat!(env!("CARGO_PKG_NAME"), " ", env!("CARGO_PKG_VERSION")));
    page.paragraph(0, SAFETY);
}

/// The rule set with edition, digest and status.
fn rule_set(screening: &Screening) -> String {
    let it = &screening.rule_set;
    let status = match it.status {
        Status::Draft => "draft, not approved for use",
        Status::Approved => "approved",
        Status::Withdrawn => "WITHDRAWN, no longer for use",
    };
    format!("rule set {} {} (sha256 {}): {status}", it.id, it.edition, short(&it.digest))
}

fn stamp(stamp: &SourceStamp) -> String {
    format!("{} (sha256 {})", stamp.path, short(&stamp.digest))
}

/// The beginning of a digest.
fn short(digest: &str) -> String {
    digest.chars().take(DIGEST_DIGITS).collect()
}

/// "SM-107.yaml:21": the folder stands under "Made with".
fn place(path: &str, line: usize) -> String {
    format!("{}:{line}", path.rsplit(['/', '\\']).next().unwrap_or(path))
}

/// "1 rule", "2 rules".
fn counted(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}
