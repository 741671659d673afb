//! A screening as its JSON tells it: what two of them are compared by, whoever kept them and wherever they were made.

use chrono::NaiveDate;
use serde::{Deserialize, Deserializer, Serialize};
use serde_json::Value;

use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::shape;
use crate::document::source::NodeKind;
use crate::document::text::{Format, read_as};
use crate::outcome::{Outcome, Standing, Urgency};
use crate::questionnaire::frame::LARGEST;
use crate::report::json;
use crate::screening::result::Screening;

/// The version of the shape that is read.
const VERSION: f64 = 1.0;

/// What a comparison takes from a screening's JSON; the rest is passed over.
#[derive(Debug, Clone, Deserialize)]
pub struct ToldScreening {
    /// The program that made it.
    pub(super) tool: ToldTool,
    /// The rule set that it was made with.
    pub(super) rule_set: ToldRuleSet,
    /// The local policy over it.
    pub(super) local_policy: Option<ToldFile>,
    /// The clinic's file.
    pub(super) clinic: Option<ToldFile>,
    /// The patient's reference.
    pub reference: String,
    /// The day it was run.
    #[serde(deserialize_with = "day")]
    pub(super) as_of: NaiveDate,
    /// The planned day of surgery.
    pub(super) procedure_on: Option<String>,
    /// What it came to.
    pub(super) verdict: Outcome,
    /// How fast, for a referral.
    pub(super) urgency: Option<Urgency>,
    /// The worst among the findings.
    pub(super) best_case: Outcome,
    /// The same with the rules that are open.
    pub(super) worst_case: Outcome,
    /// The rules that fire.
    pub(super) findings: Vec<ToldFinding>,
    /// The rules that are open.
    pub(super) undetermined: Vec<ToldOpen>,
    /// The missing answers.
    pub(super) to_ask: Vec<ToldAsk>,
    /// Free text.
    pub(super) notes: Vec<ToldNote>,
    /// Names that nobody recognised.
    pub(super) unrecognised: Vec<ToldName>,
    /// Answers that count for nothing.
    pub(super) set_aside: Vec<ToldAside>,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct ToldTool {
    pub(super) version: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub(super) struct ToldRuleSet {
    pub(super) id: String,
    pub(super) edition: String,
    pub(super) digest: String,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct ToldFile {
    pub(super) digest: String,
}

/// A rule that fires. As JSON it is what the rule says: which rule that is stands around it, what decided it beside it.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize, Serialize)]
pub struct ToldFinding {
    #[serde(skip_serializing)]
    pub(super) rule: String,
    #[serde(skip_serializing)]
    pub(super) title: String,
    pub(super) outcome: Outcome,
    pub(super) urgency: Option<Urgency>,
    pub(super) reason: String,
    pub(super) action: String,
    pub(super) refer_to: Option<String>,
    pub(super) cleared_by: Option<String>,
    #[serde(skip_serializing)]
    pub(super) because: Vec<ToldBecause>,
}

/// A deciding fact. Where its answer stands does not count: the same answer may have moved in its file.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub(super) struct ToldBecause {
    pub(super) fact: String,
    pub(super) value: String,
    pub(super) from: Vec<String>,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct ToldOpen {
    pub(super) rule: String,
    pub(super) title: String,
    pub(super) outcome_if_fires: Outcome,
    pub(super) urgency: Option<Urgency>,
    pub(super) waits_for: Vec<String>,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct ToldAsk {
    pub(super) fact: String,
    pub(super) ask: String,
    pub(super) why: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub(super) struct ToldNote {
    pub(super) section: String,
    pub(super) text: String,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct ToldName {
    pub(super) fact: String,
    pub(super) text: String,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct ToldAside {
    pub(super) fact: String,
    pub(super) ask: String,
    pub(super) value: String,
}

impl ToldFinding {
    pub(super) fn standing(&self) -> Standing {
        Standing::new(self.outcome, self.urgency)
    }
}

impl ToldOpen {
    pub(super) fn standing(&self) -> Standing {
        Standing::new(self.outcome_if_fires, self.urgency)
    }
}

impl ToldScreening {
    /// Whether bytes are JSON that a screening came as, or several did, or the refusal in place of one: no questionnaire.
    pub fn is_meant_by(bytes: &[u8]) -> bool {
        match serde_json::from_slice(bytes) {
            Ok(Value::Object(keys)) => {
                keys.contains_key("screening") || keys.contains_key("refused")
            }
            Ok(Value::Array(_)) => true,
            _ => false,
        }
    }

    /// Reads the JSON of one screening, as `screen --format json` prints it.
    ///
    /// # Errors
    /// Every diagnostic of the text, in its order: it is no JSON, of another shape, of several patients, or a refusal.
    pub fn read(name: &str, bytes: &[u8]) -> Result<Self, Vec<Diagnostic>> {
        let read = read_as(Format::Json, name, bytes, LARGEST);
        let (Some(source), Some(root), []) = (read.source, read.root, &read.diagnostics[..]) else {
            return Err(read.diagnostics);
        };
        let told = |code, span, title: &str, label: &str, help: &str| {
            Err(vec![
                Diagnostic::at(code, &source, span, title, label).help(help),
            ])
        };
        if matches!(root.kind, NodeKind::List(_)) {
            return told(
                Code::WrongType,
                &root.span,
                "the screening of one patient must stand here",
                "a list of several",
                "Take one of them out of the list, or screen one file by itself.",
            );
        }
        if root.get("refused").is_some() {
            return told(
                Code::WrongForm,
                &root.span,
                "this questionnaire was refused, so there is no screening to compare",
                "a refusal",
                "Mend what its `diagnostics` say, and screen it again.",
            );
        }
        if let Some(version) = root.get("screening")
            && version.kind != NodeKind::Number(VERSION)
        {
            return told(
                Code::NotAnOption,
                &version.span,
                "a screening of another version, which this program does not read",
                "not 1",
                "Screen the questionnaire again with this program, or compare with the one that made it.",
            );
        }
        let found = shape::check("screening", &source, &root);
        if !found.is_empty() {
            return Err(found);
        }
        serde_json::from_value(shape::to_json(&root)).map_err(|why| {
            let title = format!("`{name}` is no screening: {why}");
            vec![Diagnostic::bare(Code::WrongForm, title)]
        })
    }

    /// The same of a screening that was just made.
    ///
    /// # Errors
    /// A diagnostic if its JSON cannot be read, which tests rule out.
    pub fn of(screening: &Screening) -> Result<Self, Vec<Diagnostic>> {
        serde_json::from_value(json::value(screening)).map_err(|why| {
            let title = format!(
                "the screening of `{}` is none: {why}",
                screening.source.path
            );
            vec![Diagnostic::bare(Code::WrongForm, title)]
        })
    }

    /// What it came to.
    pub fn standing(&self) -> Standing {
        Standing::new(self.verdict, self.urgency)
    }
}

fn day<'de, D: Deserializer<'de>>(deserializer: D) -> Result<NaiveDate, D::Error> {
    String::deserialize(deserializer)?
        .parse()
        .map_err(serde::de::Error::custom)
}
