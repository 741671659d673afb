//! The phrases that every report for people shares, so that text and Markdown say the same in the same words.

use std::fmt;

use chrono::NaiveDate;

use crate::outcome::{Outcome, State};
use crate::quantity::{tidy, tidy_beside};
use crate::questionnaire::facts::Why;
use crate::report::Standing;
use crate::rule_set::catalogue::Who;
use crate::rule_set::{Kind, LocalKind, Loosens, RuleSet, Status};
use crate::screening::result::{
    Because, Change, Cited, DateSpan, Finding, Firing, LocalShown, LocalStamp, NoteShown, Prospect,
    Screening, SetAside, SourceStamp, ToAsk, Turn, Unrecognised, WhyAsked,
};

mod next;

pub use crate::report::words::next::{may_go_ahead, next, next_above, next_in_a_row};

/// Digits of a digest that are shown: enough to compare by eye.
const DIGEST_DIGITS: usize = 12;

/// Most answers that a line names before it only counts them.
const MOST_NAMED: usize = 4;

/// Decimals of a share of a limit: enough that what is shown adds up as a reader would add it.
pub const DECIMALS: usize = 3;

/// Above the ways to lift a verdict.
pub const LIFTS_LEAD: &str = "Each way by itself gives a better verdict, all else as it is. It says what would have to be so, never what to write down.";

/// The same as a heading.
pub const LIFTS_BRIEFLY: &str = "What would lift it, each by itself";

/// In place of other plans, where there are none.
pub fn no_plan(verdict: Outcome) -> &'static str {
    match verdict {
        Outcome::Go => "The plan goes as it stands, so no other was looked for.",
        _ => "No other plan that this clinic offers gives a better verdict.",
    }
}

/// After other plans and days, where a search ended early.
pub const CUT_SHORT: &str =
    "Not every way and every plan was tried or told: there may be more than stand here.";

/// In place of other days, where there are none.
pub const NO_DAY: &str = "There was no procedure day to try.";

/// Under names that nobody recognised.
pub const UNRECOGNISED: &str = "Each could be any medicine or substance until it is cleared up: check with the patient or the packet, then write the generic name.";

/// In place of advice that stands under earlier findings.
pub const SAID_ABOVE: &str = "as said above";

/// Under the questions to ask, where others depend on them.
pub fn asked_later(n: usize) -> String {
    format!("And {n} more, only if those answers call for it.")
}

/// In place of the precautions of an operation that is not to happen.
pub fn left_out(n: usize) -> String {
    format!(
        "Left out: {} of an operation that is not to happen here.",
        counted(n, "precaution", "precautions")
    )
}

/// What waits for nothing but names that nobody recognised: "54 rules and 22 questions wait for nothing but that name."
pub fn for_names(screening: &Screening) -> Option<String> {
    let lists: Vec<&str> = screening
        .unrecognised
        .iter()
        .map(|it| it.fact.as_str())
        .collect();
    let rules = screening
        .undetermined
        .iter()
        .filter(|it| it.for_a_name)
        .count();
    let asks = screening
        .to_ask
        .iter()
        .filter(|it| it.for_a_name && !lists.contains(&it.fact.as_str()))
        .count();
    let parts = counted_if_any([(rules, "rule", "rules"), (asks, "question", "questions")]);
    let wait = if rules + asks == 1 { "waits" } else { "wait" };
    let name = if screening.unrecognised.len() == 1 {
        "that name"
    } else {
        "those names"
    };
    (!parts.is_empty()).then(|| format!("{} {wait} for nothing but {name}.", parts.join(" and ")))
}

/// A name in doubt, with the nearest known one: "warfrin" (warfarin?).
pub fn doubtful(name: &Unrecognised) -> String {
    match &name.nearest {
        Some(nearest) => format!("\"{}\" ({nearest}?)", name.text),
        None => format!("\"{}\"", name.text),
    }
}

/// A name that nobody recognised: "warfrin": did you mean "warfarin"?
pub fn stranger(name: &Unrecognised) -> String {
    let nearest = match &name.nearest {
        Some(nearest) => format!("did you mean \"{nearest}\"?"),
        None => "no known name is near".to_owned(),
    };
    format!("\"{}\": {nearest}", name.text)
}

/// The verdict in one sentence.
pub fn meaning(screening: &Screening) -> &'static str {
    match (
        screening.verdict().outcome,
        screening.span.best_case.outcome,
    ) {
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

/// What a finding or a missing answer could lead to: "could lead to refer, urgent".
pub fn could_lead_to(ask: &ToAsk) -> String {
    match ask.could_lead_to {
        Outcome::Go => "could add a precaution".to_owned(),
        Outcome::Defer | Outcome::Refer => format!("could lead to {}", ask.worst().words()),
    }
}

/// Why an answer is missing; nothing where nobody asked yet.
pub fn why_missing(ask: &ToAsk) -> Option<&str> {
    (ask.why != WhyAsked::Missing(Why::NotAsked)).then(|| ask.why.word())
}

/// What the verdict could still become, and why: "because of 3 rules not decided yet"; nothing where it is settled.
pub fn could_be(screening: &Screening) -> Option<(Standing, String)> {
    let worse = screening.span.could_be()?;
    let open = screening.undetermined.iter();
    let n_open = open
        .filter(|it| it.standing() > screening.verdict())
        .count();
    let rules = counted(n_open, "rule", "rules");
    Some((worse, format!("because of {rules} not decided yet")))
}

/// What an undetermined rule would ask for.
pub fn would_be(standing: Standing) -> String {
    match standing.outcome {
        Outcome::Go => "would add a precaution".to_owned(),
        _ => format!("would be {}", standing.words()),
    }
}

/// How many precautions a go would come with: ", 2 precautions", ", no precaution"; nothing for any other verdict.
pub fn precautions_then(prospect: &Prospect) -> String {
    match prospect
        .fires
        .iter()
        .filter(|it| it.outcome == Outcome::Go)
        .count()
    {
        _ if prospect.verdict() != Standing::GO => String::new(),
        0 => ", no precaution".to_owned(),
        n => format!(", {}", counted(n, "precaution", "precautions")),
    }
}

/// What a screening would come to: "go, 2 precautions", "defer; against it then: INR too old (defer)".
///
/// # Missing data
/// The answers it would still wait for, and a worse verdict that they could still bring, are always said.
pub fn prospect(prospect: &Prospect) -> String {
    prospect_with(prospect, still_open(prospect))
}

/// The same with the answers that it would still wait for counted, not named by their keys.
pub fn prospect_briefly(prospect: &Prospect) -> String {
    prospect_with(prospect, still_open_briefly(prospect))
}

fn prospect_with(prospect: &Prospect, still_open: Option<String>) -> String {
    let mut parts = vec![format!(
        "{}{}",
        prospect.verdict().words(),
        precautions_then(prospect)
    )];
    parts.extend(against_then(prospect).map(|it| format!("against it then: {it}")));
    parts.extend(still_open);
    parts.join("; ")
}

/// The rules that would speak against surgery: "INR too old (defer)"; nothing if none does.
pub fn against_then(prospect: &Prospect) -> Option<String> {
    let fires = prospect.fires.iter();
    let against: Vec<String> = fires
        .filter(|it| it.outcome != Outcome::Go)
        .map(against)
        .collect();
    (!against.is_empty()).then(|| against.join(", "))
}

/// A firing rule that would speak against surgery: "INR too old (defer)".
pub fn against(firing: &Firing) -> String {
    format!("{} ({})", firing.title, firing.standing().words())
}

/// What a prospect would still wait for, and what that could make of it; nothing if all is decided.
pub fn still_open(prospect: &Prospect) -> Option<String> {
    open_with(prospect, || named(&prospect.waits_for))
}

fn still_open_briefly(prospect: &Prospect) -> Option<String> {
    open_with(prospect, || {
        counted(prospect.waits_for.len(), "answer", "answers")
    })
}

fn open_with(prospect: &Prospect, answers: impl Fn() -> String) -> Option<String> {
    let worst = prospect.span.worst_case.outcome;
    let could =
        (worst > prospect.verdict().outcome).then(|| format!("could still be {}", worst.word()));
    let waits = (!prospect.waits_for.is_empty()).then(|| format!("still waits for {}", answers()));
    let parts: Vec<String> = waits.into_iter().chain(could).collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// The first few, and how many more.
fn named(facts: &[String]) -> String {
    let shown: Vec<&str> = facts.iter().take(MOST_NAMED).map(String::as_str).collect();
    match facts.len() - shown.len() {
        0 => shown.join(", "),
        more => format!("{} and {more} more", shown.join(", ")),
    }
}

/// A change as question and answer: "What was the latest INR? below 4.0 (now 4.6)".
pub fn change(change: &Change) -> String {
    format!("{} {} (now {})", change.ask, change.then, change.now)
}

/// The changes of a plan in short: "with one method instead of another".
///
/// An answer that says nothing by itself is put behind what it answers: "with adrenaline: no instead of yes".
pub fn plan(changes: &[Change]) -> String {
    let parts: Vec<String> = changes
        .iter()
        .map(|it| {
            let bare = |answer: &str| {
                ["yes", "no", "none", "not known"].contains(&answer.to_lowercase().as_str())
            };
            let of = match it.fact.rsplit('.').next() {
                Some(name) if bare(&it.then) || bare(&it.now) => {
                    format!("{}: ", name.replace('_', " "))
                }
                _ => String::new(),
            };
            format!("{of}{} instead of {}", it.then, it.now)
        })
        .collect();
    format!("with {}", parts.join(", and "))
}

/// Days in a row: "3 Dec 2026 to 9 Dec 2026 (3 procedure days)".
pub fn span(span: &DateSpan) -> String {
    let days = counted(span.n_days, "procedure day", "procedure days");
    if span.from == span.to {
        format!("{} ({days})", day(span.from))
    } else {
        format!("{} to {} ({days})", day(span.from), day(span.to))
    }
}

/// Why a span ends, and what follows: "then defer: INR too old (bleeding/inr-too-old) starts to fire".
pub fn end_of(span: &DateSpan, next: Option<&DateSpan>) -> Option<String> {
    let turns: Vec<String> = span.ended_by.iter().map(turn).collect();
    let then = next.map(|it| format!("then {}", it.prospect.verdict().words()));
    match (then, turns.is_empty()) {
        (Some(then), false) => Some(format!("{then}: {}", turns.join("; "))),
        (then, true) => then,
        (None, false) => Some(format!("then {}", turns.join("; "))),
    }
}

fn turn(turn: &Turn) -> String {
    let now = match (turn.before, turn.after) {
        (_, State::Fires) => "starts to fire",
        (State::Fires, State::StaysQuiet) => "no longer fires",
        (_, State::StaysQuiet) => "is settled and stays quiet",
        (_, State::Undetermined) => "can no longer be decided",
    };
    format!("{} ({}) {now}", turn.title, turn.rule)
}

/// A day as it is said: "3 Dec 2026".
pub fn day(day: NaiveDate) -> String {
    day.format("%-d %b %Y").to_string()
}

/// The day of surgery as it is said, with its time if it has one; text that is no day stays as it is.
pub fn surgery(screening: &Screening) -> Option<String> {
    let written = screening.procedure_on.as_deref()?;
    let (date, time) = written
        .split_once(' ')
        .map_or((written, None), |(date, time)| (date, Some(time)));
    let said = date.parse().map_or_else(|_| date.to_owned(), day);
    Some(time.map_or(said.clone(), |time| format!("{said}, {time}")))
}

/// The same where a report begins: "surgery 3 Dec 2026".
pub fn day_of_surgery(screening: &Screening) -> String {
    surgery(screening).map_or_else(
        || "day of surgery not known".to_owned(),
        |day| format!("surgery {day}"),
    )
}

/// Where a note belongs.
pub fn section(note: &NoteShown) -> &str {
    match note.section.as_str() {
        "" => "whole questionnaire",
        section => section,
    }
}

/// "bleeding.inr = 4.6 (SM-107.yaml:21)".
pub fn because(because: &Because) -> String {
    let place = match (&because.path, because.line) {
        (Some(path), Some(line)) => format!(" ({})", place(path, line)),
        (Some(path), None) => format!(" ({path})"),
        (None, _) if !because.from.is_empty() => {
            format!(" (worked out from {})", because.from.join(", "))
        }
        (None, _) => String::new(),
    };
    format!("{} = {}{place}", because.fact, because.value)
}

/// "bleeding.cardiology_agrees = no (SM-101.yaml:28), since bleeding.stent_or_heart_event = no (SM-101.yaml:27)".
pub fn set_aside(it: &SetAside) -> String {
    let why: Vec<String> = it.because.iter().map(because).collect();
    format!("{}, since {}", because(&it.answer), why.join("; "))
}

/// A citation in words. What nobody has opened, and what no publication stands behind, says so first.
pub fn cited(cited: &Cited) -> String {
    match cited {
        Cited::Published {
            title,
            by,
            year,
            at,
            read,
            ..
        } => {
            let warning = if *read {
                ""
            } else {
                "Not yet opened, cited from memory: "
            };
            let year = year.map_or(String::new(), |it| format!(", {it}"));
            let at = at.as_ref().map_or(String::new(), |it| format!(", {it}"));
            format!("{warning}{by}: {title}{year}{at}")
        }
        Cited::CommonPractice(text) => format!("Common practice, no publication behind it: {text}"),
        Cited::LocalProposal(text) => format!("Local proposal, for governance to confirm: {text}"),
    }
}

/// Puts equal keys together, in the order in which each key first appears.
pub fn grouped<'a, T, K: PartialEq>(
    items: impl Iterator<Item = &'a T>,
    key: impl Fn(&'a T) -> K,
) -> Vec<(K, Vec<&'a T>)> {
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

/// What to ask first, and what may prove needless by then. What only a name that nobody recognised calls for is neither.
pub fn first_and_later(asks: &[ToAsk]) -> (Vec<&ToAsk>, Vec<&ToAsk>) {
    let (later, first): (Vec<&ToAsk>, Vec<&ToAsk>) = asks
        .iter()
        .filter(|it| !it.for_a_name)
        .partition(|it| it.depends);
    // With nothing to ask before them, the later ones are what to ask.
    if first.is_empty() {
        (later, first)
    } else {
        (first, later)
    }
}

/// The heading over what somebody is asked.
pub fn who(from: Who) -> &'static str {
    match from {
        Who::Patient => "Ask the patient",
        Who::Referrer => "Ask the referrer",
        Who::Nurse => "For the nurse to measure or settle",
        Who::Clinician => "For the operating clinician to examine or decide",
        Who::Record => "Look up in the record",
    }
}

/// A dose in mg, never rounded across its limit.
pub fn dose_beside(dose: f64, limit: Option<f64>) -> String {
    match limit {
        Some(limit) => tidy_beside(dose, 1, limit),
        None => tidy(dose, Some(1)),
    }
}

/// The rule set of a screening with edition, digest and status.
pub fn rule_set(screening: &Screening) -> String {
    let it = &screening.rule_set;
    format!(
        "rule set {} {} (sha256 {}): {}",
        it.id,
        it.edition,
        short(&it.digest),
        it.status.word()
    )
}

/// "looked at: Bleeding; Circulation; nothing else was".
pub fn looked_at(screening: &Screening) -> String {
    let concerns = screening.rule_set.concerns.join("; ");
    format!("looked at: {concerns}; nothing else was")
}

/// A rule set with edition, digest and status.
pub fn edition(it: &RuleSet) -> String {
    format!(
        "rule set {} {} (sha256 {}): {}",
        it.id,
        it.edition,
        short(&it.digest),
        status(it.status)
    )
}

/// What a status means for use.
pub fn status(status: Status) -> &'static str {
    match status {
        Status::Draft => "draft, not approved for use",
        Status::Approved => "approved",
        Status::Withdrawn => "WITHDRAWN, no longer for use",
    }
}

/// The local policy with its digest, if there is one.
pub fn local_policy(screening: &Screening) -> Option<String> {
    let it = screening.local_policy.as_ref()?;
    Some(format!(
        "local policy of {}, {}",
        it.clinic,
        stamp(&it.source)
    ))
}

/// Rule set, files and program: what an audit needs to know.
pub fn made_with(screening: &Screening) -> Vec<String> {
    let clinic = screening.clinic.as_ref();
    std::iter::once(rule_set(screening))
        .chain(local_policy(screening))
        .chain([format!("questionnaire {}", stamp(&screening.source))])
        .chain(clinic.map(|it| format!("clinic {}", stamp(it))))
        .chain([concat!(env!("CARGO_PKG_NAME"), " ", env!("CARGO_PKG_VERSION")).to_owned()])
        .collect()
}

/// What each of several screenings says, each once, in the order in which it is first said.
pub fn each_once<'a, T: PartialEq>(
    screenings: &[&'a Screening],
    said: impl Fn(&'a Screening) -> Vec<T>,
) -> Vec<T> {
    let mut found = Vec::new();
    for it in screenings.iter().flat_map(|it| said(it)) {
        if !found.contains(&it) {
            found.push(it);
        }
    }
    found
}

/// What a clinic changed: all of it counted, then what loosens the rule set told.
pub fn local_lines(local: &LocalStamp) -> Vec<String> {
    let counts = format!("{}, {}", local_heading(local), local_counts(local));
    std::iter::once(counts).chain(local_told(local)).collect()
}

/// The heading over what a clinic changed.
pub fn local_heading(local: &LocalStamp) -> String {
    format!("Local policy of {}", local.clinic)
}

/// All changes in one line: "5 changes: 2 loosen the rule set, 1 may loosen it; 1 is past its review."
pub fn local_counts(local: &LocalStamp) -> String {
    let of = |wanted: Loosens| {
        local
            .changes
            .iter()
            .filter(|it| it.change.loosens == wanted)
            .count()
    };
    let mut parts = Vec::new();
    match of(Loosens::Yes) {
        0 => {}
        1 => parts.push("1 loosens the rule set".to_owned()),
        n => parts.push(format!("{n} loosen the rule set")),
    }
    match of(Loosens::Perhaps) {
        0 => {}
        n => parts.push(format!("{n} may loosen it")),
    }
    if parts.is_empty() {
        parts.push("none loosens the rule set".to_owned());
    }
    let overdue = match local.changes.iter().filter(|it| it.overdue).count() {
        0 => String::new(),
        n => format!("; {} past the day of review", counted(n, "is", "are")),
    };
    format!(
        "{}: {}{overdue}.",
        counted(local.changes.len(), "change", "changes"),
        parts.join(", ")
    )
}

/// The changes that are told: those that loosen the rule set, or may, or are past their review. Many names that were agreed together,
/// such as a pharmacy's, are counted in one line.
pub fn local_told(local: &LocalStamp) -> Vec<String> {
    let told = |it: &&LocalShown| it.overdue || it.change.loosens != Loosens::No;
    let together = |it: &'_ LocalShown| {
        let change = &it.change;
        let is_name = matches!(
            change.kind,
            LocalKind::MedicineName | LocalKind::AllergenName
        );
        let about = if is_name {
            String::new()
        } else {
            change.about.clone()
        };
        let terms = (change.reason.clone(), change.agreed_by.clone());
        (
            change.kind,
            about,
            terms,
            change.agreed_on,
            change.review_by,
            it.overdue,
        )
    };
    let groups = grouped(local.changes.iter().filter(told), together);
    groups
        .iter()
        .flat_map(|(_, group)| match group[..] {
            [first, ..] if group.len() > MOST_NAMED => {
                vec![local_change(first, &names_added(group))]
            }
            _ => group
                .iter()
                .map(|it| local_change(it, &it.change.what))
                .collect(),
        })
        .collect()
}

/// "312 names added, each of which means a known one: "one", "another" and 310 more".
fn names_added(group: &[&LocalShown]) -> String {
    let shown: Vec<String> = group
        .iter()
        .take(MOST_NAMED)
        .map(|it| format!("\"{}\"", it.change.about))
        .collect();
    format!(
        "{} names added, each of which means a known one: {} and {} more",
        group.len(),
        shown.join(", "),
        group.len() - shown.len()
    )
}

fn local_change(shown: &LocalShown, what: &str) -> String {
    let it = &shown.change;
    let how = match (it.loosens, &it.how) {
        (Loosens::Yes, Some(how)) => format!(". It loosens the rule set: {how}"),
        (Loosens::Perhaps, Some(how)) => format!(". It may loosen the rule set: {how}"),
        _ => String::new(),
    };
    let overdue = if shown.overdue {
        ", REVIEW OVERDUE"
    } else {
        ""
    };
    format!(
        "{what}{how}. Reason: {}. Agreed by {} on {}, review by {}{overdue}.",
        it.reason.trim_end().trim_end_matches('.'),
        it.agreed_by,
        day(it.agreed_on),
        day(it.review_by)
    )
}

/// What stands behind the id of a finding's rule: its kind, but for a precaution, and whether it rests on local policy.
pub fn of_rule(finding: &Finding) -> String {
    let kind = (finding.kind, finding.outcome) != (Kind::Caution, Outcome::Go);
    let parts: Vec<&str> = kind
        .then(|| finding.kind.word())
        .into_iter()
        .chain(finding.local_policy.then_some("by local policy"))
        .collect();
    if parts.is_empty() {
        String::new()
    } else {
        format!(" ({})", parts.join(", "))
    }
}

pub fn stamp(stamp: &SourceStamp) -> String {
    format!("{} (sha256 {})", stamp.path, short(&stamp.digest))
}

/// The beginning of a digest.
pub fn short(digest: &str) -> String {
    digest.chars().take(DIGEST_DIGITS).collect()
}

/// "SM-107.yaml:21": the folder stands under "Made with".
pub fn place(path: &str, line: usize) -> String {
    format!("{}:{line}", file_name(path))
}

/// A file without its folders.
pub fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

/// What there is any of, each counted.
pub fn counted_if_any<const N: usize>(counts: [(usize, &str, &str); N]) -> Vec<String> {
    let any = counts.into_iter().filter(|(n, _, _)| *n > 0);
    any.map(|(n, one, many)| counted(n, one, many)).collect()
}

/// "1 rule", "2 rules".
pub fn counted<N: fmt::Display + PartialEq + From<u8>>(n: N, one: &str, many: &str) -> String {
    let word = if n == N::from(1) { one } else { many };
    format!("{n} {word}")
}
