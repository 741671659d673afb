//! The result of a screening as plain data, ready to be reported. Holds no logic.

use chrono::NaiveDate;

use crate::model::{Kind, Status};
use crate::outcome::{Outcome, Urgency};

/// The whole result for one questionnaire.
#[derive(Debug, Clone, PartialEq)]
pub struct Screening {
    /// The rule set it was made with.
    pub rule_set: RuleSetStamp,
    /// The patient's reference.
    pub reference: String,
    /// The questionnaire's file and digest.
    pub source: SourceStamp,
    /// The clinic's file, if one was given.
    pub clinic: Option<SourceStamp>,
    /// The day the answers were given, if the questionnaire says so.
    pub completed_on: Option<NaiveDate>,
    /// The day the screening was run.
    pub as_of: NaiveDate,
    /// The planned day of surgery, with a time if one was given; `None` if not known.
    pub procedure_on: Option<String>,
    /// The verdict.
    pub verdict: Outcome,
    /// The worst outcome among the rules that fire.
    pub best_case: Outcome,
    /// The same, counting undetermined rules as if they fired.
    pub worst_case: Outcome,
    /// Rules that fire: worst first, then by concern, then by rule.
    pub findings: Vec<Finding>,
    /// Rules that cannot be decided yet, in the same order.
    pub undetermined: Vec<Undetermined>,
    /// The answers they wait for, each once: those that could lead to the worst outcome first.
    pub to_ask: Vec<ToAsk>,
    /// The anaesthetic arithmetic, if a plan is known.
    pub anaesthetic: Option<Anaesthetic>,
    /// Notes and free text, to be read by the clinician.
    pub notes: Vec<NoteShown>,
    /// Names of medicines and substances that were not recognised.
    pub unrecognised: Vec<Unrecognised>,
}

/// Which rule set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RuleSetStamp {
    /// Its name.
    pub id: String,
    /// Its edition.
    pub edition: String,
    /// Draft, approved or withdrawn.
    pub status: Status,
    /// SHA-256, in hexadecimal.
    pub digest: String,
    /// Headings of its concerns: what was looked at, and nothing else was.
    pub concerns: Vec<String>,
}

/// Which file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SourceStamp {
    /// As the user named it.
    pub path: String,
    /// SHA-256 of its bytes, in hexadecimal.
    pub digest: String,
}

/// A rule that fires, told to a person.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Full id of the rule.
    pub rule: String,
    /// Its concern's id.
    pub concern: String,
    /// Its heading.
    pub title: String,
    /// Contraindication or caution.
    pub kind: Kind,
    /// What it asks for.
    pub outcome: Outcome,
    /// How fast, for a referral.
    pub urgency: Option<Urgency>,
    /// What is so.
    pub reason: String,
    /// What to do.
    pub action: String,
    /// What would lift it.
    pub cleared_by: Option<String>,
    /// The facts that decided it.
    pub because: Vec<Because>,
    /// Where the rule comes from.
    pub citations: Vec<Cited>,
}

/// A fact that decided a finding.
#[derive(Debug, Clone, PartialEq)]
pub struct Because {
    /// The fact's id.
    pub fact: String,
    /// Its value as understood, unit included.
    pub value: String,
    /// The file it stands in; `None` for a derived fact.
    pub path: Option<String>,
    /// Line, from 1.
    pub line: Option<usize>,
    /// Column in characters, from 1.
    pub column: Option<usize>,
    /// For a derived fact: the facts it was computed from.
    pub from: Vec<String>,
}

/// A citation in full.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cited {
    /// A publication.
    Published {
        /// Its name in the bibliography.
        source: String,
        /// Its title.
        title: String,
        /// Its body or authors.
        by: String,
        /// Its year, if it shows one.
        year: Option<i32>,
        /// Section, table or page.
        at: Option<String>,
        /// Whether somebody opened it.
        read: bool,
    },
    /// Accepted trade practice.
    CommonPractice(String),
    /// A figure that governance must own.
    LocalProposal(String),
}

/// A rule that cannot be decided yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undetermined {
    /// Full id of the rule.
    pub rule: String,
    /// Its concern's id.
    pub concern: String,
    /// Its heading.
    pub title: String,
    /// What it would ask for if it fired.
    pub outcome_if_fires: Outcome,
    /// How fast, for a referral.
    pub urgency: Option<Urgency>,
    /// The answers that could still settle it.
    pub waits_for: Vec<String>,
}

/// An answer to ask for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToAsk {
    /// The fact's id.
    pub fact: String,
    /// The wording of the question.
    pub ask: String,
    /// Who can supply it.
    pub from: &'static str,
    /// Why it is missing: not asked, asked and not known, not recognised, ...
    pub why: String,
    /// What may be answered, in words; empty for a question without options.
    pub options: Vec<String>,
    /// The worst outcome it could still lead to.
    pub could_lead_to: Outcome,
    /// How fast, if that is a referral.
    pub urgency: Option<Urgency>,
    /// The rules that wait for it.
    pub rules: Vec<String>,
    /// Whether it is only needed if other answers turn out so; ask those first.
    pub depends: bool,
}

/// The anaesthetic arithmetic.
#[derive(Debug, Clone, PartialEq)]
pub struct Anaesthetic {
    /// Dose over limit, summed; `None` if it cannot be computed yet.
    pub load: Option<f64>,
    /// Each planned agent.
    pub per_agent: Vec<AgentDose>,
    /// Largest volume of the same mixture, in mL, rounded down to tenths.
    pub largest_volume_same_mix: Option<f64>,
    /// Planned volume for each toe, in mL.
    pub volume_per_toe: Option<f64>,
    /// What the arithmetic rests on: weight used, age, adrenaline.
    pub basis: Vec<String>,
}

/// One planned agent.
#[derive(Debug, Clone, PartialEq)]
pub struct AgentDose {
    /// Its id.
    pub agent: String,
    /// Strength in per cent.
    pub percent: Option<f64>,
    /// Volume in mL.
    pub volume_ml: Option<f64>,
    /// Dose in mg.
    pub dose_mg: Option<f64>,
    /// Limit in mg.
    pub limit_mg: Option<f64>,
    /// Where the limit comes from.
    pub limit_from: Option<String>,
    /// Dose over limit.
    pub share: Option<f64>,
}

/// A note with its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoteShown {
    /// The section; empty for the whole questionnaire.
    pub section: String,
    /// The words.
    pub text: String,
    /// The file.
    pub path: String,
    /// Line, from 1.
    pub line: usize,
}

/// A name that was not recognised.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unrecognised {
    /// As written.
    pub text: String,
    /// The nearest known name.
    pub nearest: Option<String>,
    /// The file.
    pub path: String,
    /// Line, from 1.
    pub line: usize,
}
