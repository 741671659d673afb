//! Rules, concerns, and the texts with placeholders that people read.

use chrono::NaiveDate;

use crate::outcome::{Outcome, Standing, Urgency};
use crate::rule_set::Limit;
use crate::rule_set::bibliography::Citation;
use crate::rule_set::condition::{Condition, Conflict};
use crate::table::Idx;
use crate::truth::FactSlot;

/// The group a rule belongs to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Concern {
    /// First part of its rules' ids.
    pub id: String,
    /// Heading.
    pub title: String,
    /// The role that answers for its rules; the rule set's owner, if `None`.
    pub owner: Option<String>,
}

/// A rule that was taken out. Its id is never used again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Retired {
    /// Full id, `concern/rule`.
    pub rule: String,
    /// The day it was taken out.
    pub on: NaiveDate,
    /// Why.
    pub because: String,
}

/// For what a clinician may decide against a finding: governance's own list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReasonToSetAside {
    /// Permanent name.
    pub id: String,
    /// In words.
    pub text: String,
}

/// Whether a decision may go against a rule, the stricter the greater.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum MaySetAside {
    /// A clinician's, with a reason.
    One,
    /// Only one that two clinicians sign.
    Two,
    /// None: what the rule says must change first.
    Never,
}

impl MaySetAside {
    /// In words that follow "may be set aside".
    pub(crate) fn words(self) -> &'static str {
        match self {
            Self::One => "by a clinician, with a reason",
            Self::Two => "by two clinicians only, with a reason",
            Self::Never => "by nobody",
        }
    }
}

/// One contraindication or caution.
#[derive(Debug, Clone)]
pub struct Rule {
    /// Full id, `concern/rule`.
    pub id: String,
    /// Its concern; the program's own rules have none.
    pub concern: Option<Idx<Concern>>,
    /// Heading.
    pub title: String,
    /// Contraindication or caution.
    pub kind: Kind,
    /// What it asks for when it fires.
    pub outcome: Outcome,
    /// How fast, for a referral.
    pub urgency: Option<Urgency>,
    /// When it applies.
    pub when: Condition,
    /// What is so.
    pub reason: Text,
    /// What to do.
    pub action: Text,
    /// To whom a referral goes, short: "the vascular service".
    pub refer_to: Option<Text>,
    /// What would lift it.
    pub cleared_by: Option<Text>,
    /// What a precaution asks of the patient before the procedure or on the day, said to the patient.
    pub tell_patient_before: Option<Text>,
    /// The same for afterwards.
    pub tell_patient_after: Option<Text>,
    /// Whether a decision may go against it.
    pub set_aside: MaySetAside,
    /// Where it comes from; at least one.
    pub citations: Vec<Citation>,
    /// First day of use.
    pub in_force_from: NaiveDate,
    /// Day of the last review.
    pub last_reviewed: NaiveDate,
    /// Day by which it must be reviewed again.
    pub review_by: NaiveDate,
    /// Whether a local policy added or raised it.
    pub local: bool,
}

impl Rule {
    /// The id of its concern.
    pub(crate) fn concern_id(&self) -> &str {
        self.id.split_once('/').map_or("", |(concern, _)| concern)
    }

    /// Whether it is the program's own, which no file states.
    pub fn is_built_in(&self) -> bool {
        self.concern.is_none()
    }

    /// Its sentences, in the order in which people read them.
    pub fn sentences(&self) -> impl Iterator<Item = RuleSentence<'_>> {
        let all = [
            ("reason", "Reason", Some(&self.reason)),
            ("action", "Do", Some(&self.action)),
            ("refer_to", "Refer to", self.refer_to.as_ref()),
            ("cleared_by", "Cleared by", self.cleared_by.as_ref()),
            (
                "tell_patient_before",
                "To the patient, before",
                self.tell_patient_before.as_ref(),
            ),
            (
                "tell_patient_after",
                "To the patient, afterwards",
                self.tell_patient_after.as_ref(),
            ),
        ];
        all.into_iter().filter_map(|(key, label, text)| {
            Some(RuleSentence {
                key,
                label,
                text: text?,
            })
        })
    }

    /// What it asks for when it fires, and how fast.
    pub fn standing(&self) -> Standing {
        Standing::new(self.outcome, self.urgency)
    }
}

/// One sentence of a rule.
#[derive(Debug, Clone, Copy)]
pub struct RuleSentence<'a> {
    /// Its key in files.
    pub key: &'static str,
    /// What stands before it, for people.
    pub label: &'static str,
    /// The sentence.
    pub text: &'a Text,
}

/// Contraindication or caution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A reason not to operate, or not so.
    Contraindication,
    /// A reason for care. With outcome go: a precaution.
    Caution,
}

impl Kind {
    /// The word used in files and reports.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Contraindication => "contraindication",
            Self::Caution => "caution",
        }
    }
}

/// A sentence with placeholders.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Text {
    /// Its pieces in order.
    pub pieces: Vec<Piece>,
}

/// A piece of a sentence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Piece {
    /// Words as they stand.
    Words(String),
    /// The value of a fact.
    Fact(FactSlot),
    /// The age of a dated answer at the procedure, by the slot of its date.
    Age(FactSlot),
    /// The value of a limit.
    Limit(Idx<Limit>),
    /// The patient's medicines that the rule's conditions matched.
    Medicines,
    /// The patient's allergies that the rule's conditions matched.
    Allergies,
    /// The answers at odds with others, each with its question.
    Conflict(Conflict),
}
