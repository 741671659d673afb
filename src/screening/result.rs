//! The result of a screening as plain data, ready to be reported.
//!
//! As JSON its shape is a promise to programs (`schemas/screening.schema.json`): keys keep their names and their order, and a
//! key without a value is null or empty, never left out. Nothing is cleaned or shortened; a note arrives as it was written.

use chrono::NaiveDate;
use serde::Serialize;

use crate::document::diagnostic::Diagnostic;
use crate::outcome::{Outcome, OutcomeSpan, Standing, State, Urgency};
use crate::questionnaire::facts::Why;
use crate::rule_set::catalogue::Who;
use crate::rule_set::{Kind, LocalChange, RuleSet, SiteWords, Status};

mod serialize;

/// The whole result for one questionnaire.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Screening {
    /// What must be known before anything else: that the rule set is a draft, was changed since it was approved, is past its
    /// review or not yet in force; that another file of the run has the same reference. Whole sentences.
    pub notices: Vec<String>,
    /// The rule set it was made with.
    pub rule_set: RuleSetStamp,
    /// What the clinic changed of it; `None` without a local policy.
    pub local_policy: Option<LocalStamp>,
    /// The patient's reference.
    pub reference: String,
    /// The questionnaire's file and digest.
    pub source: SourceStamp,
    /// The clinic's file, if one was given.
    pub clinic: Option<SourceStamp>,
    /// The day the answers were given, if the questionnaire says so.
    #[serde(serialize_with = "serialize::day_if_any")]
    pub completed_on: Option<NaiveDate>,
    /// The day the screening was run.
    #[serde(serialize_with = "serialize::day")]
    pub as_of: NaiveDate,
    /// The planned day of surgery, with a time if one was given; `None` if not known.
    pub procedure_on: Option<String>,
    /// The verdict, and the best and the worst case around it.
    #[serde(flatten)]
    pub span: OutcomeSpan,
    /// What is to be done next; `None` if nobody looked for other plans.
    pub next: Option<Next>,
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
    /// The patient's answers that count for nothing, since their questions do not apply; in the order they are asked.
    pub set_aside: Vec<SetAside>,
    /// What would give a better verdict; empty if nothing known would, or if the verdict is go.
    pub lifts: Vec<Lift>,
    /// Other plans with a better verdict, fewest changes first; `None` if they were not asked for.
    #[serde(serialize_with = "serialize::each")]
    pub alternatives: Option<Vec<Alternative>>,
    /// The verdict day by day, as spans; `None` if it was not asked for.
    #[serde(serialize_with = "serialize::each")]
    pub dates: Option<Vec<DateSpan>>,
    /// Whether a search for lifts or other plans ended before everything was tried: there may be more.
    pub cut_short: bool,
}

impl Screening {
    /// What it comes to, and how fast if that is a referral.
    pub fn verdict(&self) -> Standing {
        self.span.verdict()
    }

    /// The findings that speak against surgery as planned.
    pub fn against(&self) -> impl Iterator<Item = &Finding> {
        let findings = self.findings.iter();
        findings.filter(|it| it.outcome != Outcome::Go)
    }

    /// The findings that let it go ahead with care.
    pub fn precautions(&self) -> impl Iterator<Item = &Finding> {
        let findings = self.findings.iter();
        findings.filter(|it| it.outcome == Outcome::Go)
    }
}

/// A questionnaire that was not screened, and why.
#[derive(Debug, Clone, PartialEq)]
pub struct Refusal {
    /// The patient's reference, if it could be read.
    pub reference: Option<String>,
    /// The questionnaire's file.
    pub path: String,
    /// What must be known of the file beside what is wrong with it. Whole sentences.
    pub notices: Vec<String>,
    /// What is wrong, at least one thing, in file order.
    pub problems: Vec<Diagnostic>,
}

impl Refusal {
    /// Of a file of which nothing else is known.
    pub(crate) fn of_file(path: impl Into<String>, problems: Vec<Diagnostic>) -> Self {
        Self {
            reference: None,
            path: path.into(),
            notices: Vec::new(),
            problems,
        }
    }
}

/// What is to be done next, in one line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Next {
    /// What comes first; the parts say what else does.
    pub kind: NextKind,
    /// The plan to change to: what would be otherwise. Empty where no plan helps.
    pub plan: Vec<Change>,
    /// Whether that plan is among what the clinic says it offers.
    pub is_offered: bool,
    /// Names that nobody recognised: to be read before anything else.
    pub read: Vec<String>,
    /// How many answers contradict others, and must be cleared up.
    pub clear_up: usize,
    /// How many missing answers that matter each can give.
    pub ask: Vec<Asked>,
    /// What would clear the findings against surgery.
    pub wait_for: Vec<String>,
    /// To whom the most pressing of the referrals go.
    pub refer_to: Vec<String>,
    /// How fast, for a referral.
    pub urgency: Option<Urgency>,
}

/// What comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NextKind {
    /// Another service decides or treats.
    Refer,
    /// Answers are missing, unreadable or at odds.
    Ask,
    /// Another plan alone lets it go ahead, or leaves nothing but answers to ask for.
    ChangePlan,
    /// Something must be so that is not so yet.
    Wait,
    /// Nothing stands against it.
    Book,
}

impl NextKind {
    /// The word of JSON.
    pub fn word(self) -> &'static str {
        match self {
            Self::Refer => "refer",
            Self::Ask => "ask",
            Self::ChangePlan => "change-plan",
            Self::Wait => "wait",
            Self::Book => "book",
        }
    }
}

/// How many answers one kind of person can give.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Asked {
    /// Who.
    pub from: Who,
    /// How many.
    pub n: usize,
}

/// What a screening would come to if something were otherwise.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Prospect {
    /// The verdict, and the best and the worst case around it.
    #[serde(flatten)]
    pub span: OutcomeSpan,
    /// The rules that would fire: worst first, then in the order of the rule set.
    pub fires: Vec<Firing>,
    /// The answers it would still wait for before the verdict could be go.
    pub waits_for: Vec<String>,
}

impl Prospect {
    /// What it would come to, and how fast if that is a referral.
    pub fn verdict(&self) -> Standing {
        self.span.verdict()
    }
}

/// A rule that would fire, in short.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Firing {
    /// Full id of the rule.
    pub rule: String,
    /// Its heading.
    pub title: String,
    /// What it asks for.
    pub outcome: Outcome,
    /// How fast, for a referral.
    pub urgency: Option<Urgency>,
    /// What to do.
    pub action: String,
}

impl Firing {
    /// What it asks for, and how fast.
    pub fn standing(&self) -> Standing {
        Standing::new(self.outcome, self.urgency)
    }
}

/// One answer that would be otherwise.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Change {
    /// The fact's id.
    pub fact: String,
    /// The wording of its question.
    pub ask: String,
    /// The answer now, for people; "not known" if it is missing.
    pub now: String,
    /// What it would be, for people: "electrosurgery", "below 4.0, taken on or after 2 Dec 2026".
    pub then: String,
}

/// A smallest set of changes that would give a better verdict.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Lift {
    /// All of them are needed.
    pub changes: Vec<Change>,
    /// What the screening would come to.
    pub prospect: Prospect,
}

/// Another plan that gives a better verdict.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Alternative {
    /// All of them are needed.
    pub changes: Vec<Change>,
    /// What the screening would come to.
    pub prospect: Prospect,
    /// The anaesthetic arithmetic of the changed plan, if it is known.
    pub anaesthetic: Option<Anaesthetic>,
}

/// Days in a row with the same verdict.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DateSpan {
    /// First day.
    #[serde(serialize_with = "serialize::day")]
    pub from: NaiveDate,
    /// Last day.
    #[serde(serialize_with = "serialize::day")]
    pub to: NaiveDate,
    /// How many procedure days lie in it.
    pub n_days: usize,
    /// What a screening for its first day comes to. INVARIANT: the verdict and its urgency are those of every day.
    pub prospect: Prospect,
    /// The rules whose state is otherwise on the next procedure day, so that the span ends; empty for the last span.
    pub ended_by: Vec<Turn>,
}

/// A rule whose state is otherwise from one day to the next.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Turn {
    /// Full id of the rule.
    pub rule: String,
    /// Its heading.
    pub title: String,
    /// What it asks for.
    pub outcome: Outcome,
    /// Its state on the last day of the span.
    pub before: State,
    /// Its state on the next procedure day.
    pub after: State,
}

/// Which rule set.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RuleSetStamp {
    /// Its name.
    pub id: String,
    /// Its edition.
    pub edition: String,
    /// Draft, approved or withdrawn.
    pub status: Status,
    /// SHA-256, in hexadecimal.
    #[serde(serialize_with = "serialize::digest")]
    pub digest: String,
    /// Headings of its concerns: what was looked at, and nothing else was.
    pub concerns: Vec<String>,
}

impl RuleSetStamp {
    /// Of a rule set.
    pub(crate) fn of(rule_set: &RuleSet) -> Self {
        // Whatever a concern without a rule is named after, nothing looks at it.
        let mut looked_at: Vec<_> = rule_set.rules().map(|it| it.concern).collect();
        looked_at.dedup();
        let concerns = rule_set.concerns.entries();
        let concerns = concerns.filter(|(at, _)| looked_at.contains(&Some(*at)));
        Self {
            id: rule_set.id.clone(),
            edition: rule_set.edition.clone(),
            status: rule_set.status,
            digest: rule_set.digest.clone(),
            concerns: concerns.map(|(_, it)| it.title.clone()).collect(),
        }
    }
}

/// Which local policy, and what it changes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LocalStamp {
    /// The clinic's name.
    pub clinic: String,
    /// The file.
    #[serde(flatten)]
    pub source: SourceStamp,
    /// Each change, in the order of the file.
    pub changes: Vec<LocalShown>,
}

/// A change of a local policy on the day of the screening.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LocalShown {
    /// The change.
    pub change: LocalChange,
    /// Whether the day by which it must be looked at again has passed.
    pub overdue: bool,
}

/// Which file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SourceStamp {
    /// As the user named it.
    pub path: String,
    /// SHA-256 of its bytes, in hexadecimal.
    #[serde(serialize_with = "serialize::digest")]
    pub digest: String,
}

/// A rule that fires, told to a person.
#[derive(Debug, Clone, PartialEq, Serialize)]
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
    /// To whom a referral goes.
    pub refer_to: Option<String>,
    /// What would lift it.
    pub cleared_by: Option<String>,
    /// The facts that decided it.
    pub because: Vec<Because>,
    /// Where the rule comes from.
    pub citations: Vec<Cited>,
    /// Whether local policy added or raised the rule, or changed a limit that it tests.
    pub local_policy: bool,
}

impl Finding {
    /// What it asks for, and how fast if that is a referral.
    pub(crate) fn standing(&self) -> Standing {
        Standing::new(self.outcome, self.urgency)
    }
}

/// A fact that decided a finding.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Because {
    /// The fact's id.
    pub fact: String,
    /// The wording of its question, or what a derived fact is; for people, since programs know the fact by its id.
    #[serde(skip)]
    pub ask: String,
    /// Its value as understood, unit included.
    pub value: String,
    /// The file it stands in; `None` for a derived fact.
    pub path: Option<String>,
    /// Line, from 1.
    pub line: Option<usize>,
    /// Column in characters, from 1.
    pub column: Option<usize>,
    /// For a derived fact, and for what is so because a question does not apply: the facts it follows from.
    pub from: Vec<String>,
}

/// A harmless answer to a question that does not apply.
#[derive(Debug, Clone, PartialEq)]
pub struct SetAside {
    /// The answer.
    pub answer: Because,
    /// The wording of its question.
    pub ask: String,
    /// The answers that say so.
    pub because: Vec<Because>,
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
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
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
    /// Whether it waits for nothing but names that nobody recognised: were they harmless, it would be decided.
    pub for_a_name: bool,
}

impl Undetermined {
    /// What it would ask for if it fired, and how fast.
    pub fn standing(&self) -> Standing {
        Standing::new(self.outcome_if_fires, self.urgency)
    }
}

/// An answer to ask for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ToAsk {
    /// The fact's id.
    pub fact: String,
    /// The wording of the question.
    pub ask: String,
    /// The wording for the patient, of a question to the patient.
    #[serde(skip)]
    pub to_patient: Option<PatientWording>,
    /// Who can supply it.
    pub from: Who,
    /// Why it is asked for.
    pub why: WhyAsked,
    /// What may be answered, in words; empty for a question without options.
    pub options: Vec<String>,
    /// Whether several of the options may be so, or none.
    pub several: bool,
    /// The key under which the answer is entered, and how: "bleeding.inr: { value: ..., taken_on: YYYY-MM-DD }".
    pub entry: String,
    /// The worst outcome it could still lead to.
    pub could_lead_to: Outcome,
    /// How fast, if that is a referral.
    pub urgency: Option<Urgency>,
    /// The rules that wait for it.
    pub rules: Vec<String>,
    /// Whether it is only needed if other answers turn out so; ask those first.
    pub depends: bool,
    /// Whether it is needed only because of names that nobody recognised: were they harmless, nothing would wait for it.
    pub for_a_name: bool,
}

/// A question as the patient is asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PatientWording {
    /// The question.
    pub ask: String,
    /// What may be answered; empty for a question without options.
    pub options: Vec<String>,
}

impl ToAsk {
    /// The worst that it could still lead to, and how fast if that is a referral.
    pub(crate) fn worst(&self) -> Standing {
        Standing::new(self.could_lead_to, self.urgency)
    }

    /// The question and its options in the words for whoever is asked.
    pub(crate) fn said(&self) -> (&str, &[String]) {
        self.to_patient
            .as_ref()
            .map_or((&self.ask, &self.options), |it| (&it.ask, &it.options))
    }
}

/// Why an answer is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WhyAsked {
    /// It is missing, for this reason.
    Missing(Why),
    /// It was given, and this of it settles nothing.
    Unsettled(String),
}

impl WhyAsked {
    /// In the words of reports.
    pub fn word(&self) -> &str {
        match self {
            Self::Missing(why) => why.in_words(),
            Self::Unsettled(what) => what,
        }
    }
}

/// The anaesthetic arithmetic.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Anaesthetic {
    /// Dose over limit, summed; `None` if it cannot be computed yet.
    #[serde(serialize_with = "serialize::figure")]
    pub load: Option<f64>,
    /// Each planned agent.
    pub per_agent: Vec<AgentDose>,
    /// Share of the limit that was given before and is part of the load; `None` if nothing was, or it is not known.
    #[serde(serialize_with = "serialize::figure")]
    pub earlier_share: Option<f64>,
    /// Largest volume of the same mixture, in mL, rounded down to tenths.
    #[serde(serialize_with = "serialize::largest_volume")]
    pub largest_volume_same_mix: Option<f64>,
    /// Smaller limits that are for this patient, or may be.
    pub reductions: Vec<ReducedLimit>,
    /// What a site is called, for people; `None` if the plan is shared among none.
    #[serde(skip)]
    pub site: Option<SiteWords>,
    /// Planned volume for each site, in mL.
    #[serde(serialize_with = "serialize::volume")]
    pub volume_per_site: Option<f64>,
    /// What the arithmetic rests on: weight used, age, adrenaline.
    pub basis: Vec<String>,
}

impl Anaesthetic {
    /// The least of the smaller limits that are for this patient, or may be; `None` where the usual one holds.
    pub fn strictest(&self) -> Option<&ReducedLimit> {
        self.reductions
            .iter()
            .min_by(|one, other| one.share.total_cmp(&other.share))
    }
}

/// A share of the usual limits that is the limit for some patients.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReducedLimit {
    /// For whom.
    pub about: String,
    /// The share that is left.
    #[serde(serialize_with = "serialize::figure")]
    pub share: f64,
    /// Volume of the same mixture that reaches the reduced limit, in mL; `None` while the load is not known.
    #[serde(serialize_with = "serialize::largest_volume")]
    pub largest_volume_same_mix: Option<f64>,
    /// Whether it is for this patient.
    pub applies: Applies,
}

/// Whether a reduction is for this patient. One that is not does not come into a report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Applies {
    /// It is.
    Yes,
    /// Some answer is missing.
    NotKnownYet,
}

impl Applies {
    /// The word of reports.
    pub fn word(self) -> &'static str {
        match self {
            Self::Yes => "yes",
            Self::NotKnownYet => "not known yet",
        }
    }
}

/// One planned agent.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AgentDose {
    /// Its id.
    pub agent: String,
    /// Strength in per cent.
    #[serde(serialize_with = "serialize::figure")]
    pub percent: Option<f64>,
    /// Volume in mL.
    #[serde(serialize_with = "serialize::figure")]
    pub volume_ml: Option<f64>,
    /// Dose in mg.
    #[serde(serialize_with = "serialize::figure")]
    pub dose_mg: Option<f64>,
    /// Limit in mg.
    #[serde(serialize_with = "serialize::figure")]
    pub limit_mg: Option<f64>,
    /// Where the limit comes from.
    pub limit_from: Option<String>,
    /// Dose over limit.
    #[serde(serialize_with = "serialize::figure")]
    pub share: Option<f64>,
}

/// A note with its place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
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

/// A name that was not recognised; one that stands in a list twice is told once.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Unrecognised {
    /// The list in which it stands.
    pub fact: String,
    /// The wording of the question for that list.
    #[serde(skip)]
    pub ask: String,
    /// Who can supply the name.
    pub from: Who,
    /// As written.
    pub text: String,
    /// The nearest known name.
    pub nearest: Option<String>,
    /// The file.
    pub path: String,
    /// Line, from 1.
    pub line: usize,
}
