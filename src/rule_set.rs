//! The vocabulary as checked plain data: questions, conditions, rules, registers, limits, citations.
//!
//! Everything here was checked when it was loaded: names resolve, tests fit their facts, units fit.
//! No type is `Serialize` or `Deserialize`; files are read in `read`, JSON is written by `screening` and `report`.

use chrono::NaiveDate;

pub(crate) mod bibliography;
pub mod catalogue;
pub(crate) mod condition;
pub mod course;
pub(crate) mod digest;
pub mod files;
pub(crate) mod guarantee;
pub mod letter;
pub mod local;
pub mod read;
pub mod recognise;
pub(crate) mod reduction;
pub(crate) mod register;
pub(crate) mod rule;
pub(crate) mod words;

pub use crate::rule_set::bibliography::{Basis, Checked, Citation, Publication};
pub use crate::rule_set::catalogue::{
    Answer, Catalogue, Changeable, Choice, Dependent, Derived, Drawing, Ellipse, FactKind,
    FactType, Input, Question, Section,
};
pub use crate::rule_set::condition::{Comparison, Condition, Conflict, SpanLimit, Test, Threshold};
pub use crate::rule_set::guarantee::{Guarantee, Promise, Sense, Then};
pub use crate::rule_set::letter::{LetterKind, LetterText};
pub use crate::rule_set::local::{LocalChange, LocalKind, LocalPolicy, Loosens, Offered};
pub use crate::rule_set::reduction::Reduction;
pub use crate::rule_set::register::{
    Agent, AgentLimit, AllergenRegister, Medicine, MedicineRegister, Reaction, Substance, Term,
};
pub use crate::rule_set::rule::{
    Concern, Kind, MaySetAside, Piece, ReasonToSetAside, Retired, Rule, Text,
};

use crate::quantity::span::Span;
pub use crate::table::{Bits, Idx, Table};

/// What a site of the procedure is called: a tooth, an eye.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SiteWords {
    /// One of them.
    pub one: String,
    /// Several.
    pub several: String,
}

/// A whole rule set: everything a screening needs, and nothing unchecked.
#[derive(Debug)]
pub struct RuleSet {
    /// Its permanent name.
    pub id: String,
    /// The question it answers.
    pub title: String,
    /// Which edition.
    pub edition: String,
    /// Draft, approved or withdrawn.
    pub status: Status,
    /// First day of use.
    pub in_force_from: NaiveDate,
    /// Day by which it must be reviewed.
    pub review_by: NaiveDate,
    /// The role that answers for it.
    pub owner: String,
    /// The address under which its forms and codes are known to other programs, without a closing slash.
    pub canonical: Option<String>,
    /// SHA-256 over the normalised content of its files, in hexadecimal. Cases, status and approval are not part of it.
    pub digest: String,
    /// What was approved, and by whom; `None` for a draft.
    pub approval: Option<Approval>,
    /// Who withdrew it and why; `None` if nobody did.
    pub withdrawn: Option<Withdrawal>,
    /// What a clinic changed for itself; `None` without a local policy.
    pub local: Option<LocalPolicy>,
    /// What a site of the procedure is called.
    pub site: SiteWords,
    /// Least and most millilitres of one line of an anaesthetic plan.
    pub volumes_ml: (f64, f64),
    /// Groups of rules, in the order of reports.
    pub concerns: Table<Concern>,
    /// Questions, derived facts, and the slots of all facts.
    pub catalogue: Catalogue,
    /// Named numbers.
    pub limits: Table<Limit>,
    /// The bibliography.
    pub publications: Table<Publication>,
    /// Names of medicines and their classes.
    pub medicines: MedicineRegister,
    /// Names of substances and their groups.
    pub allergens: AllergenRegister,
    /// Local anaesthetics and their limits.
    pub agents: Table<Agent>,
    /// Who has less than the usual anaesthetic limits.
    pub reductions: Vec<Reduction>,
    /// Everything that decides a verdict: the rules, by concern order, then file order; then the program's own, which hold
    /// the verdict where no rule of the rule set does.
    pub judging: Table<Rule>,
    /// What must hold for every possible questionnaire.
    pub guarantees: Vec<Guarantee>,
    /// The letters it has texts for, in the order of their kinds.
    pub letters: Vec<LetterText>,
    /// Rules that were taken out.
    pub retired: Vec<Retired>,
    /// For what a clinician may decide against a finding.
    pub reasons: Vec<ReasonToSetAside>,
}

/// How far a rule set has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// Not yet approved.
    Draft,
    /// Approved for use.
    Approved,
    /// No longer for use.
    Withdrawn,
}

impl Status {
    /// The word used in files and reports.
    pub fn word(self) -> &'static str {
        match self {
            Self::Draft => "draft",
            Self::Approved => "approved",
            Self::Withdrawn => "withdrawn",
        }
    }
}

/// An approval.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Approval {
    /// Digest of the content that was approved, in hexadecimal.
    pub digest: String,
    /// The roles that approved it; at least one.
    pub by: Vec<String>,
    /// The day.
    pub on: NaiveDate,
}

/// A withdrawal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Withdrawal {
    /// The day.
    pub on: NaiveDate,
    /// The roles that withdrew it; at least one.
    pub by: Vec<String>,
    /// Why nobody may use it any more.
    pub because: String,
}

/// A named number that governance may change in one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Limit {
    /// Permanent name.
    pub id: String,
    /// What it limits.
    pub about: String,
    /// The value as written, unit included.
    pub written: String,
    /// The value.
    pub value: LimitValue,
    /// What other sources say.
    pub other_figures: Option<String>,
    /// Where the value comes from.
    pub citations: Vec<Citation>,
}

/// The value of a limit.
#[derive(Debug, Clone, PartialEq)]
pub enum LimitValue {
    /// A number without a unit, or with one.
    Number {
        /// The number.
        value: f64,
        /// The unit as written.
        unit: Option<String>,
    },
    /// A length of time.
    Span(Span),
}

impl RuleSet {
    /// The rules that its files and its local policy state, without the program's own.
    pub fn rules(&self) -> impl DoubleEndedIterator<Item = &Rule> {
        self.judging.iter().filter(|rule| !rule.is_built_in())
    }

    /// Those rules with their positions.
    pub fn rule_entries(&self) -> impl DoubleEndedIterator<Item = (Idx<Rule>, &Rule)> {
        self.judging
            .entries()
            .filter(|(_, rule)| !rule.is_built_in())
    }

    /// The rule of a full id, `concern/rule`.
    pub fn rule(&self, id: &str) -> Option<&Rule> {
        self.rules().find(|rule| rule.id == id)
    }

    /// Every condition that is asked of a patient: those of the rules, then of the questions that do not always apply.
    pub(crate) fn conditions(&self) -> impl Iterator<Item = &Condition> {
        let of_rules = self.rules().map(|rule| &rule.when);
        let of_questions = self.catalogue.questions.iter();
        of_rules.chain(of_questions.filter_map(|question| question.ask_when.as_ref()))
    }

    /// The role that answers for a rule: its concern's owner, or else the rule set's.
    pub(crate) fn owner_of(&self, rule: &Rule) -> &str {
        rule.concern
            .and_then(|at| self.concerns[at].owner.as_deref())
            .unwrap_or(&self.owner)
    }

    /// Whether cases may name a rule of this id: one that is there, or that local policy took out.
    pub fn knows_rule(&self, id: &str) -> bool {
        self.rule(id).is_some()
            || self
                .local
                .iter()
                .flat_map(LocalPolicy::retired)
                .any(|it| it == id)
    }

    /// Whether a rule is what it is by local policy: added or raised by it, or with a limit that it changes.
    pub(crate) fn rests_on_local(&self, rule: &Rule) -> bool {
        let Some(local) = &self.local else {
            return false;
        };
        let mut found = rule.local;
        rule.when.visit(&mut |condition| {
            if let Condition::Fact { test, .. } = condition {
                found |= test
                    .limits()
                    .into_iter()
                    .any(|at| local.changes_limit(&self.limits[at].id));
            }
        });
        found
    }

    /// The text of a letter; `None` if the rule set has none of this kind.
    pub fn letter(&self, kind: LetterKind) -> Option<&LetterText> {
        self.letters.iter().find(|it| it.kind == kind)
    }

    /// The limit of a name.
    pub fn limit(&self, id: &str) -> Option<&Limit> {
        self.limits.iter().find(|limit| limit.id == id)
    }
}
