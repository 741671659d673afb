//! A screening as JSON, as `schemas/screening.schema.json` describes it.
//!
//! The shape is a promise to programs: keys keep their names and their order, and a key without a value is null or
//! empty, never left out. Nothing is cleaned or shortened here; a note arrives as it was written.

use serde::Serialize;
use serde_json::Value;

use super::{SAFETY, chase, steers};
use crate::formulas::without_noise;
use crate::outcome::Urgency;
use crate::screening::{self, Cited, Refusal, Screening};

mod anaesthetic;
mod local;
mod next;
mod refusal;

use anaesthetic::Anaesthetic;
use local::LocalPolicy;
use next::Next;

/// The version of the shape.
const VERSION: u8 = 1;

/// The screening as a JSON value.
pub fn value(screening: &Screening) -> Value {
    // Nothing in these types can fail to become JSON: no foreign type, no key but text, no number that is not finite.
    serde_json::to_value(Document::of(screening)).unwrap_or_default()
}

/// What a program is told of one file.
#[derive(Debug, Clone, Copy)]
pub enum Record<'a> {
    /// What came of screening it.
    Screened(&'a Screening),
    /// Why it was not screened.
    Refused(&'a Refusal),
}

impl<'a> From<&'a Screening> for Record<'a> {
    fn from(screening: &'a Screening) -> Self {
        Self::Screened(screening)
    }
}

impl<'a> From<&'a Refusal> for Record<'a> {
    fn from(refusal: &'a Refusal) -> Self {
        Self::Refused(refusal)
    }
}

impl Record<'_> {
    fn written(self, written: fn(&Entry<'_>) -> serde_json::Result<String>) -> String {
        let entry = match self {
            Self::Screened(it) => Entry::Screening(Box::new(Document::of(it))),
            Self::Refused(it) => Entry::Refusal(refusal::Document::of(it)),
        };
        escaped(&written(&entry).unwrap_or_default())
    }
}

#[derive(Serialize)]
#[serde(untagged)]
enum Entry<'a> {
    Screening(Box<Document<'a>>),
    Refusal(refusal::Document<'a>),
}

/// One record as an object over several lines, ending with a line end.
pub fn one<'a>(record: impl Into<Record<'a>>) -> String {
    record.into().written(|it| serde_json::to_string_pretty(it)) + "\n"
}

/// One record as an element of an array over several lines, without the bracket that ends the array: `[` before the
/// first, a comma before every other one.
pub fn element<'a>(record: impl Into<Record<'a>>, first: bool) -> String {
    let object = record.into().written(|it| serde_json::to_string_pretty(it));
    let lines: Vec<String> = object.lines().map(|line| format!("  {line}")).collect();
    format!("{}{}\n", if first { "[\n" } else { ",\n" }, lines.join("\n"))
}

/// One record as an object on a single line, ending with a line end.
pub fn line<'a>(record: impl Into<Record<'a>>) -> String {
    record.into().written(|it| serde_json::to_string(it)) + "\n"
}

/// Writes characters that could steer a terminal or split a line as escapes; they only ever stand inside strings,
/// so the document stays the same. The line ends of the layout stay.
pub fn escaped(json: &str) -> String {
    let mut text = String::with_capacity(json.len());
    for character in json.chars() {
        if character != '\n' && steers(character) {
            text.push_str(&format!("\\u{:04x}", u32::from(character)));
        } else {
            text.push(character);
        }
    }
    text
}

#[derive(Serialize)]
struct Document<'a> {
    screening: u8,
    tool: Tool,
    notices: &'a [String],
    rule_set: RuleSet<'a>,
    local_policy: Option<LocalPolicy<'a>>,
    reference: &'a str,
    source: Source<'a>,
    clinic: Option<Source<'a>>,
    completed_on: Option<String>,
    as_of: String,
    procedure_on: Option<&'a str>,
    verdict: &'static str,
    urgency: Option<&'static str>,
    best_case: &'static str,
    worst_case: &'static str,
    next: Option<Next<'a>>,
    findings: Vec<Finding<'a>>,
    undetermined: Vec<Undetermined<'a>>,
    to_ask: Vec<ToAsk<'a>>,
    chase: Vec<Chase<'a>>,
    anaesthetic: Option<Anaesthetic<'a>>,
    notes: Vec<Note<'a>>,
    unrecognised: Vec<Unrecognised<'a>>,
    set_aside: Vec<SetAside<'a>>,
    lifts: Vec<Lift<'a>>,
    // Empty, too, when they were not asked for, so that no reader has to test for them.
    alternatives: Vec<Alternative<'a>>,
    dates: Vec<DateSpan<'a>>,
    cut_short: bool,
    safety: &'static str,
}

#[derive(Serialize)]
struct Tool {
    name: &'static str,
    version: &'static str,
}

impl Tool {
    fn this() -> Self {
        Self { name: env!("CARGO_PKG_NAME"), version: env!("CARGO_PKG_VERSION") }
    }
}

#[derive(Serialize)]
struct RuleSet<'a> {
    id: &'a str,
    edition: &'a str,
    status: &'static str,
    digest: String,
    concerns: &'a [String],
}

#[derive(Serialize)]
struct Source<'a> {
    path: &'a str,
    digest: String,
}

#[derive(Serialize)]
struct Finding<'a> {
    rule: &'a str,
    concern: &'a str,
    title: &'a str,
    kind: &'static str,
    outcome: &'static str,
    urgency: Option<&'static str>,
    reason: &'a str,
    action: &'a str,
    refer_to: Option<&'a str>,
    cleared_by: Option<&'a str>,
    because: Vec<Because<'a>>,
    citations: Vec<Citation<'a>>,
    local_policy: bool,
}

#[derive(Serialize)]
struct Because<'a> {
    fact: &'a str,
    value: &'a str,
    path: Option<&'a str>,
    line: Option<usize>,
    column: Option<usize>,
    from: &'a [String],
}

// The key `basis` tells the two shapes apart.
#[derive(Serialize)]
#[serde(untagged)]
enum Citation<'a> {
    Published {
        source: &'a str,
        title: &'a str,
        by: &'a str,
        year: Option<i32>,
        at: Option<&'a str>,
        basis: &'static str,
        checked: &'static str,
    },
    Unpublished {
        text: &'a str,
        basis: &'static str,
    },
}

#[derive(Serialize)]
struct Undetermined<'a> {
    rule: &'a str,
    concern: &'a str,
    title: &'a str,
    outcome_if_fires: &'static str,
    urgency: Option<&'static str>,
    waits_for: &'a [String],
    for_a_name: bool,
}

#[derive(Serialize)]
struct ToAsk<'a> {
    fact: &'a str,
    ask: &'a str,
    from: &'static str,
    why: &'a str,
    options: &'a [String],
    several: bool,
    entry: &'a str,
    could_lead_to: &'static str,
    urgency: Option<&'static str>,
    rules: &'a [String],
    depends: bool,
    for_a_name: bool,
}

#[derive(Serialize)]
struct Chase<'a> {
    from: &'static str,
    names: Vec<Unrecognised<'a>>,
    items: Vec<ChaseItem<'a>>,
}

#[derive(Serialize)]
struct ChaseItem<'a> {
    fact: &'a str,
    ask: &'a str,
    options: &'a [String],
    several: bool,
    entry: &'a str,
    could_lead_to: &'static str,
    urgency: Option<&'static str>,
    depends: bool,
}

#[derive(Serialize)]
pub(super) struct Change<'a> {
    fact: &'a str,
    ask: &'a str,
    now: &'a str,
    then: &'a str,
}

#[derive(Serialize)]
struct Prospect<'a> {
    verdict: &'static str,
    urgency: Option<&'static str>,
    best_case: &'static str,
    worst_case: &'static str,
    fires: Vec<Firing<'a>>,
    waits_for: &'a [String],
}

#[derive(Serialize)]
struct Firing<'a> {
    rule: &'a str,
    title: &'a str,
    outcome: &'static str,
    urgency: Option<&'static str>,
    action: &'a str,
}

#[derive(Serialize)]
struct Lift<'a> {
    changes: Vec<Change<'a>>,
    prospect: Prospect<'a>,
}

#[derive(Serialize)]
struct Alternative<'a> {
    changes: Vec<Change<'a>>,
    prospect: Prospect<'a>,
    anaesthetic: Option<Anaesthetic<'a>>,
}

#[derive(Serialize)]
struct DateSpan<'a> {
    from: String,
    to: String,
    n_days: usize,
    prospect: Prospect<'a>,
    ended_by: Vec<Turn<'a>>,
}

#[derive(Serialize)]
struct Turn<'a> {
    rule: &'a str,
    title: &'a str,
    outcome: &'static str,
    before: &'static str,
    after: &'static str,
}

#[derive(Serialize)]
struct Note<'a> {
    section: &'a str,
    text: &'a str,
    path: &'a str,
    line: usize,
}

#[derive(Serialize)]
struct SetAside<'a> {
    fact: &'a str,
    ask: &'a str,
    value: &'a str,
    path: Option<&'a str>,
    line: Option<usize>,
    because: Vec<Because<'a>>,
}

#[derive(Serialize)]
struct Unrecognised<'a> {
    fact: &'a str,
    from: &'static str,
    text: &'a str,
    nearest: Option<&'a str>,
    path: &'a str,
    line: usize,
}

impl<'a> Document<'a> {
    fn of(it: &'a Screening) -> Self {
        Self {
            screening: VERSION,
            tool: Tool::this(),
            notices: &it.notices,
            local_policy: it.local_policy.as_ref().map(LocalPolicy::of),
            rule_set: RuleSet {
                id: &it.rule_set.id,
                edition: &it.rule_set.edition,
                status: it.rule_set.status.word(),
                digest: digest(&it.rule_set.digest),
                concerns: &it.rule_set.concerns,
            },
            reference: &it.reference,
            source: Source::of(&it.source),
            clinic: it.clinic.as_ref().map(Source::of),
            completed_on: it.completed_on.map(|day| day.to_string()),
            as_of: it.as_of.to_string(),
            procedure_on: it.procedure_on.as_deref(),
            verdict: it.verdict().outcome.word(),
            urgency: it.verdict().urgency.map(Urgency::word),
            best_case: it.span.best_case.outcome.word(),
            worst_case: it.span.worst_case.outcome.word(),
            next: it.next.as_ref().map(Next::of),
            findings: it.findings.iter().map(Finding::of).collect(),
            undetermined: it.undetermined.iter().map(Undetermined::of).collect(),
            to_ask: it.to_ask.iter().map(ToAsk::of).collect(),
            chase: chase::groups(it).into_iter().map(Chase::of).collect(),
            anaesthetic: it.anaesthetic.as_ref().map(Anaesthetic::of),
            notes: it.notes.iter().map(|it| Note { section: &it.section, text: &it.text, path: &it.path, line: it.line }).collect(),
            unrecognised: it.unrecognised.iter().map(Unrecognised::of).collect(),
            set_aside: it.set_aside.iter().map(SetAside::of).collect(),
            lifts: it.lifts.iter().map(|it| Lift { changes: changes(&it.changes), prospect: Prospect::of(&it.prospect) }).collect(),
            alternatives: it.alternatives.iter().flatten().map(Alternative::of).collect(),
            dates: it.dates.iter().flatten().map(DateSpan::of).collect(),
            cut_short: it.cut_short,
            safety: SAFETY,
        }
    }
}

impl<'a> SetAside<'a> {
    fn of(it: &'a screening::SetAside) -> Self {
        Self {
            fact: &it.answer.fact,
            ask: &it.ask,
            value: &it.answer.value,
            path: it.answer.path.as_deref(),
            line: it.answer.line,
            because: it.because.iter().map(Because::of).collect(),
        }
    }
}

impl<'a> Source<'a> {
    fn of(it: &'a screening::SourceStamp) -> Self {
        Self { path: &it.path, digest: digest(&it.digest) }
    }
}

impl<'a> Finding<'a> {
    fn of(it: &'a screening::Finding) -> Self {
        Self {
            rule: &it.rule,
            concern: &it.concern,
            title: &it.title,
            kind: it.kind.word(),
            outcome: it.outcome.word(),
            urgency: it.urgency.map(|it| it.word()),
            reason: &it.reason,
            action: &it.action,
            refer_to: it.refer_to.as_deref(),
            cleared_by: it.cleared_by.as_deref(),
            because: it.because.iter().map(Because::of).collect(),
            citations: it.citations.iter().map(Citation::of).collect(),
            local_policy: it.local_policy,
        }
    }
}

impl<'a> Because<'a> {
    fn of(it: &'a screening::Because) -> Self {
        Self { fact: &it.fact, value: &it.value, path: it.path.as_deref(), line: it.line, column: it.column, from: &it.from }
    }
}

impl<'a> Citation<'a> {
    fn of(it: &'a Cited) -> Self {
        match it {
            Cited::Published { source, title, by, year, at, read } => Self::Published {
                source,
                title,
                by,
                year: *year,
                at: at.as_deref(),
                basis: "published",
                checked: if *read { "read" } else { "from-memory" },
            },
            Cited::CommonPractice(text) => Self::Unpublished { text, basis: "common-practice" },
            Cited::LocalProposal(text) => Self::Unpublished { text, basis: "local-proposal" },
        }
    }
}

impl<'a> Undetermined<'a> {
    fn of(it: &'a screening::Undetermined) -> Self {
        Self {
            rule: &it.rule,
            concern: &it.concern,
            title: &it.title,
            outcome_if_fires: it.outcome_if_fires.word(),
            urgency: it.urgency.map(|it| it.word()),
            waits_for: &it.waits_for,
            for_a_name: it.for_a_name,
        }
    }
}

impl<'a> ToAsk<'a> {
    fn of(it: &'a screening::ToAsk) -> Self {
        Self {
            fact: &it.fact,
            ask: &it.ask,
            from: it.from,
            why: &it.why,
            options: &it.options,
            several: it.several,
            entry: &it.entry,
            could_lead_to: it.could_lead_to.word(),
            urgency: it.urgency.map(Urgency::word),
            rules: &it.rules,
            depends: it.depends,
            for_a_name: it.for_a_name,
        }
    }
}

impl<'a> Unrecognised<'a> {
    fn of(it: &'a screening::Unrecognised) -> Self {
        Self { fact: &it.fact, from: it.from, text: &it.text, nearest: it.nearest.as_deref(), path: &it.path, line: it.line }
    }
}

impl<'a> Chase<'a> {
    fn of(it: chase::AskedGroup<'a>) -> Self {
        let item = |it: &'a screening::ToAsk| ChaseItem {
            fact: &it.fact,
            ask: &it.ask,
            options: &it.options,
            several: it.several,
            entry: &it.entry,
            could_lead_to: it.could_lead_to.word(),
            urgency: it.urgency.map(Urgency::word),
            depends: it.depends,
        };
        Self { from: it.from, names: it.names.into_iter().map(Unrecognised::of).collect(), items: it.asks.into_iter().map(item).collect() }
    }
}

fn changes(changes: &[screening::Change]) -> Vec<Change<'_>> {
    changes.iter().map(|it| Change { fact: &it.fact, ask: &it.ask, now: &it.now, then: &it.then }).collect()
}

impl<'a> Prospect<'a> {
    fn of(it: &'a screening::Prospect) -> Self {
        let firing = |it: &'a screening::Firing| Firing {
            rule: &it.rule,
            title: &it.title,
            outcome: it.outcome.word(),
            urgency: it.urgency.map(Urgency::word),
            action: &it.action,
        };
        Self {
            verdict: it.verdict().outcome.word(),
            urgency: it.verdict().urgency.map(Urgency::word),
            best_case: it.span.best_case.outcome.word(),
            worst_case: it.span.worst_case.outcome.word(),
            fires: it.fires.iter().map(firing).collect(),
            waits_for: &it.waits_for,
        }
    }
}

impl<'a> Alternative<'a> {
    fn of(it: &'a screening::Alternative) -> Self {
        Self {
            changes: changes(&it.changes),
            prospect: Prospect::of(&it.prospect),
            anaesthetic: it.anaesthetic.as_ref().map(Anaesthetic::of),
        }
    }
}

impl<'a> DateSpan<'a> {
    fn of(it: &'a screening::DateSpan) -> Self {
        let turn = |it: &'a screening::Turn| Turn {
            rule: &it.rule,
            title: &it.title,
            outcome: it.outcome.word(),
            before: it.before,
            after: it.after,
        };
        Self {
            from: it.from.to_string(),
            to: it.to.to_string(),
            n_days: it.n_days,
            prospect: Prospect::of(&it.prospect),
            ended_by: it.ended_by.iter().map(turn).collect(),
        }
    }
}

/// A number without the noise of binary arithmetic; null for one that is not finite.
fn number(value: Option<f64>) -> Option<f64> {
    value.filter(|it| it.is_finite()).map(without_noise)
}

/// A digest with the name of its kind.
fn digest(hexadecimal: &str) -> String {
    format!("sha256:{hexadecimal}")
}
