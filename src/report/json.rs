//! A screening as JSON, as `schemas/screening.schema.json` describes it: what it says of itself, which tool says it, and
//! what to ask by whom. And a refused questionnaire: the entry in its place, so that no file of a run is missing.
//!
//! Notes and unrecognised names are objects with their places, undetermined rules carry title and
//! urgency, questions to ask carry their options and why they are missing; volumes are texts
//! rounded down.

use serde_json::{Map, Value, json};

use crate::document::diagnostic::Diagnostic;
use crate::report::{SAFETY, chase, steers};
use crate::screening::result::{Refusal, Screening, ToAsk};

/// The version of the shape.
const VERSION: u8 = 1;

/// The screening as a JSON value.
pub fn value(screening: &Screening) -> Value {
    let mut keys = keys_of(screening);
    keys.shift_insert(0, "screening".into(), VERSION.into());
    keys.shift_insert(1, "tool".into(), tool());
    let behind_asks = keys
        .keys()
        .position(|key| key == "to_ask")
        .map_or(keys.len(), |at| at + 1);
    keys.shift_insert(
        behind_asks,
        "chase".into(),
        chase::groups(screening).iter().map(chase_group).collect(),
    );
    keys.insert("safety".into(), SAFETY.into());
    keys.into()
}

/// Nothing in a screening can fail to become an object: no key but text, no number that is not finite.
fn keys_of(screening: &Screening) -> Map<String, Value> {
    match serde_json::to_value(screening) {
        Ok(Value::Object(keys)) => keys,
        _ => Map::new(),
    }
}

pub(crate) fn tool() -> Value {
    json!({ "name": env!("CARGO_PKG_NAME"), "version": env!("CARGO_PKG_VERSION") })
}

fn chase_group(group: &chase::AskedGroup<'_>) -> Value {
    let item = |ask: &&ToAsk| {
        json!({
            "fact": ask.fact, "ask": ask.ask, "options": ask.options, "several": ask.several, "entry": ask.entry,
            "could_lead_to": ask.could_lead_to, "urgency": ask.urgency, "depends": ask.depends,
        })
    };
    json!({ "from": group.from, "names": group.names, "items": group.asks.iter().map(item).collect::<Vec<Value>>() })
}

/// The words of a diagnostic and its place, never the line of the file.
pub(crate) fn problem(found: &Diagnostic) -> Value {
    let source = found.source.as_ref().filter(|_| !found.labels.is_empty());
    let at = source.map(|source| source.position(found.offset()));
    json!({
        "code": found.code.name(), "title": found.title, "line": at.map(|at| at.line), "column": at.map(|at| at.column), "help": found.help,
    })
}

fn refused(refusal: &Refusal) -> Value {
    json!({
        "refused": VERSION, "tool": tool(), "notices": refusal.notices, "reference": refusal.reference, "path": refusal.path,
        "diagnostics": refusal.problems.iter().map(problem).collect::<Vec<Value>>(),
    })
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
    fn value(self) -> Value {
        match self {
            Self::Screened(screening) => value(screening),
            Self::Refused(refusal) => refused(refusal),
        }
    }
}

/// One record as an object over several lines, ending with a line end.
pub fn one<'a>(record: impl Into<Record<'a>>) -> String {
    escaped(&format!("{:#}\n", record.into().value()))
}

/// One record as an element of an array over several lines, without the bracket that ends the array: `[` before the
/// first, a comma before every other one.
pub fn element<'a>(record: impl Into<Record<'a>>, first: bool) -> String {
    let object = one(record);
    let lines: Vec<String> = object.lines().map(|line| format!("  {line}")).collect();
    format!(
        "{}{}\n",
        if first { "[\n" } else { ",\n" },
        lines.join("\n")
    )
}

/// One record as an object on a single line, ending with a line end.
pub fn line<'a>(record: impl Into<Record<'a>>) -> String {
    escaped(&format!("{}\n", record.into().value()))
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
