//! What must hold for every possible questionnaire, whatever the rules say in detail.

use crate::outcome::{Outcome, Urgency};
use crate::rule_set::condition::Condition;
use crate::rule_set::rule::{Concern, Rule};
use crate::table::Idx;

/// One thing that must hold.
#[derive(Debug, Clone)]
pub struct Guarantee {
    /// Permanent name.
    pub id: String,
    /// What is guaranteed.
    pub title: String,
    /// The concern it belongs to, if it belongs to one.
    pub concern: Option<Idx<Concern>>,
    /// For whom: all of these are so. Everybody, if there are none.
    pub wheres: Vec<(Sense, Condition)>,
    /// What must come out.
    pub then: Then,
    /// Why this must never break.
    pub because: String,
}

/// In which sense a condition is meant, of the three truths.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sense {
    /// It is yes.
    Holds,
    /// It is yes, or not known.
    MayHold,
    /// It is no.
    Fails,
    /// It is not known.
    Open,
}

impl Sense {
    /// Every sense.
    pub(crate) const ALL: [Self; 4] = [Self::Holds, Self::MayHold, Self::Fails, Self::Open];

    /// The key in guarantees.yaml.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Holds => "holds",
            Self::MayHold => "may_hold",
            Self::Fails => "fails",
            Self::Open => "open",
        }
    }
}

/// What a guarantee says must come out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Then {
    /// None of these verdicts.
    Never(Vec<Outcome>),
    /// At least one of these rules fires. None is left where local policy took them out.
    Fires(Vec<Idx<Rule>>),
    /// A referral, at least this pressing.
    UrgencyAtLeast(Urgency),
    /// A promise about all questionnaires.
    Promise(Promise),
}

/// What is promised about all questionnaires, or about one before and after further answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Promise {
    /// A rule that fires still fires when an answer is added.
    EstablishedFindingsStay,
    /// An added answer never lowers the best case nor raises the worst case, unless answers rule one another out, or may.
    SpanNarrows,
    /// A verdict that is not go does not become go when an answer is taken away, unless answers rule one another out, or
    /// may.
    RemovingNeverGoes,
    /// With an unrecognised medicine the verdict is not go.
    UnknownMedicineWaits,
    /// With an unrecognised allergy the verdict is not go.
    UnknownAllergyWaits,
    /// Without any answer the verdict is not go.
    NothingAnsweredWaits,
}

impl Promise {
    /// Every promise.
    pub const ALL: [Self; 6] = [
        Self::EstablishedFindingsStay,
        Self::SpanNarrows,
        Self::RemovingNeverGoes,
        Self::UnknownMedicineWaits,
        Self::UnknownAllergyWaits,
        Self::NothingAnsweredWaits,
    ];

    /// In words.
    pub(crate) fn in_words(self) -> &'static str {
        match self {
            Self::EstablishedFindingsStay => {
                "a rule that fires still fires when an answer is added"
            }
            Self::SpanNarrows => {
                "an added answer never makes the best case better nor the worst case worse, unless answers rule one another out, or may"
            }
            Self::RemovingNeverGoes => {
                "a verdict that is not go does not become go when an answer is taken away, unless answers rule one another out, or may"
            }
            Self::UnknownMedicineWaits => {
                "with a medicine that nobody recognised the verdict is not go"
            }
            Self::UnknownAllergyWaits => {
                "with an allergy that nobody recognised the verdict is not go"
            }
            Self::NothingAnsweredWaits => "without any answer the verdict is not go",
        }
    }

    /// The word in guarantees.yaml.
    pub fn word(self) -> &'static str {
        match self {
            Self::EstablishedFindingsStay => "established-findings-stay",
            Self::SpanNarrows => "span-narrows",
            Self::RemovingNeverGoes => "removing-never-goes",
            Self::UnknownMedicineWaits => "unknown-medicine-waits",
            Self::UnknownAllergyWaits => "unknown-allergy-waits",
            Self::NothingAnsweredWaits => "nothing-answered-waits",
        }
    }
}
