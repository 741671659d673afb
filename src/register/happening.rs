//! What can happen to a referral, to a person or to the register itself, and how it is written down.
//!
//! A body is canonical JSON: keys in alphabetical order, no spaces, numbers as short as they can be. In each is a salt, so that
//! from the digest that stays behind when a body is removed nobody can find out by trying what it said.
//! The shape is a promise to registers that exist: a key is never renamed, and one that is new is one that may be missing.

use chrono::NaiveDate;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use serde_json::Value;

use crate::outcome::{Outcome, Standing, Urgency};
use crate::register::people::PersonRole;
use crate::report::list::Row;
use crate::rule_set::catalogue::Who;
use crate::screening::result::Screening;

/// One thing that happened, as its kind wants it told.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Happening {
    /// A referral came in.
    Opened {
        /// Where it came from, in a few words; may be empty.
        from: String,
    },
    /// Answers were given, changed or taken back.
    Answered {
        /// The whole questionnaire as it is now: YAML, as `screen` reads it.
        questionnaire: String,
        /// The ids of the questions whose answers changed.
        changed: Vec<String>,
    },
    /// The questionnaire was screened.
    Screened(Box<Screened>),
    /// Questions were sent to somebody, or sent again.
    QuestionSent {
        /// The ids of the questions.
        questions: Vec<String>,
        /// Who is to answer them.
        to: Who,
        /// How they were sent: "letter", "telephone".
        how: String,
    },
    /// A letter was made.
    LetterMade {
        /// Its kind, as the rule set names it.
        letter: String,
        /// Its text, as it stands on the paper.
        text: String,
    },
    /// A letter was sent.
    LetterSent {
        /// The entry in which it was made.
        made: i64,
    },
    /// A clinician decided.
    Decided(Decided),
    /// A day was booked.
    Booked {
        /// The day.
        #[serde(with = "day")]
        day: NaiveDate,
    },
    /// A referral was handed to the service that the findings name.
    PassedOn {
        /// To whom.
        to: String,
    },
    /// Nothing further will happen.
    Closed {
        /// Why.
        why: String,
    },
    /// The bodies of a referral's entries were removed. The entries stay.
    BodyRemoved {
        /// Which entries lost theirs.
        entries: Vec<i64>,
        /// Why.
        why: String,
    },
    /// Somebody did something with a card that a record system was given: told about, never a decision. The entry's person is
    /// [`RECORDS`].
    Feedback(Box<CardFeedback>),
    /// A person was added, or changed.
    PersonSet {
        /// The initials by which entries name them.
        initials: String,
        /// What they may do.
        role: PersonRole,
        /// Their passphrase, hashed by Argon2id, in the form of the PHC.
        hash: String,
        /// Whether they may sign in.
        is_on: bool,
    },
    /// Somebody was refused at sign-in. The entry's person is who they said they were.
    SignInRefused {
        /// Why, in a few words.
        why: String,
    },
}

impl Happening {
    /// The word of the kind, as it stands in the entry.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Opened { .. } => "opened",
            Self::Answered { .. } => "answered",
            Self::Screened(_) => "screened",
            Self::QuestionSent { .. } => "question-sent",
            Self::LetterMade { .. } => "letter-made",
            Self::LetterSent { .. } => "letter-sent",
            Self::Decided(_) => "decided",
            Self::Booked { .. } => "booked",
            Self::PassedOn { .. } => "passed-on",
            Self::Closed { .. } => "closed",
            Self::BodyRemoved { .. } => "body-removed",
            Self::Feedback(_) => "feedback",
            Self::PersonSet { .. } => "person-set",
            Self::SignInRefused { .. } => "sign-in-refused",
        }
    }

    /// Whether it happens to a referral; else to the register.
    pub fn is_of_a_referral(&self) -> bool {
        !matches!(self, Self::PersonSet { .. } | Self::SignInRefused { .. })
    }
}

/// By whom feedback is written down: a record system says nothing of who sat there.
pub const RECORDS: &str = "records";

/// What a record system tells of a card.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CardFeedback {
    /// The card's id.
    pub card: String,
    /// Full id of the rule it was about; `None` for the verdict.
    pub rule: Option<String>,
    /// What it said, in a sentence.
    pub summary: String,
    /// What was done with it.
    pub outcome: CardOutcome,
    /// The reason that was chosen, if one was.
    pub reason: Option<CardReason>,
    /// What was written beside it, if anything was.
    pub comment: Option<String>,
    /// When, as the record system wrote it.
    pub done_at: String,
}

/// What was done with a card.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CardOutcome {
    /// It was taken note of. Older registers hold it; it is no longer written, since no card suggests anything.
    Accepted,
    /// It was put aside.
    Overridden,
}

impl CardOutcome {
    /// The word of the standard.
    pub fn word(self) -> &'static str {
        match self {
            Self::Accepted => "accepted",
            Self::Overridden => "overridden",
        }
    }
}

/// A reason for which a card was put aside: one of the rule set's list, or one of the record system's own.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CardReason {
    /// The system of codes, if it is told.
    pub system: Option<String>,
    /// The code.
    pub code: String,
    /// In words, if they are told.
    pub display: Option<String>,
}

/// A screening, with what fixes it: the same digests and the same day come to the same screening.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Screened {
    /// SHA-256 of the questionnaire's text, in hexadecimal; so are the other digests.
    pub questionnaire: String,
    /// Of the clinic's file, if there is one.
    pub clinic: Option<String>,
    /// Of the rule set.
    pub rule_set: String,
    /// Its edition, for people.
    pub edition: String,
    /// Of the local policy, if there is one.
    pub local_policy: Option<String>,
    /// The version of the program.
    pub program: String,
    /// The day of the screening.
    #[serde(with = "day")]
    pub day: NaiveDate,
    /// The planned day of surgery, if it is known.
    pub procedure_on: Option<String>,
    /// The outcome of the verdict.
    pub outcome: Outcome,
    /// How fast, if the verdict is a referral.
    pub urgency: Option<Urgency>,
    /// The first reason in a dozen words, as a list gives it: never a rule that only waits, as if it were found.
    pub first_reason: String,
    /// The rules that fire, worst first.
    pub fires: Vec<RuleTold>,
    /// The rules that cannot be decided yet, worst first, with what they would ask for.
    pub waits: Vec<RuleTold>,
    /// What is still to ask, and whom.
    pub to_ask: Vec<QuestionTold>,
    /// What somebody must mark as read before signing: each note, and each name that was not recognised.
    pub to_read: Vec<String>,
    /// Whether a nurse may book it without a decision, as the clinic's file says of a go with nothing to read.
    pub nurse_may_book: bool,
    /// The whole screening, as its JSON says it.
    pub screening: Value,
}

impl Screened {
    /// What the register keeps of a screening. `body` is its JSON (`report::json`), which nothing here looks into.
    /// `nurse_may_book` says whether the clinic lets a nurse book what goes with nothing to read or to heed.
    pub fn of(screening: &Screening, body: Value, nurse_may_book: bool) -> Self {
        let verdict = screening.verdict();
        let is_plain_go = verdict == Standing::GO
            && screening.findings.is_empty()
            && screening.notes.is_empty()
            && screening.unrecognised.is_empty();
        let names = screening.unrecognised.iter().map(|it| it.text.clone());
        Self {
            questionnaire: screening.source.digest.clone(),
            clinic: screening.clinic.as_ref().map(|it| it.digest.clone()),
            rule_set: screening.rule_set.digest.clone(),
            edition: screening.rule_set.edition.clone(),
            local_policy: screening
                .local_policy
                .as_ref()
                .map(|it| it.source.digest.clone()),
            program: env!("CARGO_PKG_VERSION").to_owned(),
            day: screening.as_of,
            procedure_on: screening.procedure_on.clone(),
            outcome: verdict.outcome,
            urgency: verdict.urgency,
            first_reason: Row::of(screening).reason,
            fires: screening
                .findings
                .iter()
                .map(|it| RuleTold::new(&it.rule, &it.title, it.outcome, it.urgency))
                .collect(),
            waits: screening
                .undetermined
                .iter()
                .map(|it| RuleTold::new(&it.rule, &it.title, it.outcome_if_fires, it.urgency))
                .collect(),
            to_ask: screening
                .to_ask
                .iter()
                .map(|it| QuestionTold {
                    question: it.fact.clone(),
                    from: it.from,
                })
                .collect(),
            to_read: screening
                .notes
                .iter()
                .map(|it| it.text.clone())
                .chain(names)
                .collect(),
            nurse_may_book: nurse_may_book && is_plain_go,
            screening: body,
        }
    }

    /// What it comes to.
    pub fn verdict(&self) -> Standing {
        Standing::new(self.outcome, self.urgency)
    }

    /// Whether it says the same, on whatever day and by whatever version of the program: the same files, the same verdict
    /// for the same rules.
    pub fn is_same_as(&self, other: &Self) -> bool {
        self.is_by_the_files_of(other) && self.comes_to_the_same_as(other)
    }

    /// Whether the questionnaire, the clinic's file, the rule set and the local policy are the same.
    pub fn is_by_the_files_of(&self, other: &Self) -> bool {
        self.questionnaire == other.questionnaire
            && self.clinic == other.clinic
            && self.rule_set == other.rule_set
            && self.local_policy == other.local_policy
    }

    /// Whether the verdict and the rules that fire and wait are the same.
    pub fn comes_to_the_same_as(&self, other: &Self) -> bool {
        self.verdict() == other.verdict() && self.fires == other.fires && self.waits == other.waits
    }
}

/// A rule in short.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RuleTold {
    /// Full id.
    pub rule: String,
    /// Its heading.
    pub title: String,
    /// What it asks for, or would.
    pub outcome: Outcome,
    /// How fast, for a referral.
    pub urgency: Option<Urgency>,
}

impl RuleTold {
    fn new(rule: &str, title: &str, outcome: Outcome, urgency: Option<Urgency>) -> Self {
        Self {
            rule: rule.to_owned(),
            title: title.to_owned(),
            outcome,
            urgency,
        }
    }
}

/// A question that is open.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct QuestionTold {
    /// Its id.
    pub question: String,
    /// Who can answer it.
    pub from: Who,
}

/// A clinician's decision on one screening.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Decided {
    /// The entry of the screening that was read.
    pub screening: i64,
    /// What was decided.
    pub outcome: Outcome,
    /// Findings and undecided rules that the decision goes against, each with its reason.
    pub set_aside: Vec<RuleSetAside>,
    /// The notes and unrecognised names that were marked read.
    pub read: Vec<String>,
    /// The second clinician who signed, where a rule asks for two.
    pub second: Option<String>,
    /// The sentence that was signed.
    pub sentence: String,
}

/// A rule that a clinician decided against.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RuleSetAside {
    /// Full id of the rule.
    pub rule: String,
    /// The id of the reason, from the rule set's list.
    pub reason: String,
    /// The clinician's own sentence.
    pub sentence: String,
}

impl<'de> Deserialize<'de> for PersonRole {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let word = String::deserialize(deserializer)?;
        Self::from_word(&word)
            .ok_or_else(|| serde::de::Error::custom(format!("`{word}` is none of its words")))
    }
}

impl Serialize for PersonRole {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.word())
    }
}

/// A day as `2026-11-30`.
mod day {
    use super::{Deserialize, Deserializer, NaiveDate, Serializer};

    pub fn serialize<S: Serializer>(day: &NaiveDate, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(day)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<NaiveDate, D::Error> {
        String::deserialize(deserializer)?
            .parse()
            .map_err(serde::de::Error::custom)
    }
}

/// The canonical text of a body.
///
/// # Errors
/// What could not be written as JSON; nothing of ours.
pub fn body(happening: &Happening, salt: &str) -> Result<String, serde_json::Error> {
    let mut value = serde_json::to_value(happening)?;
    if let Value::Object(keys) = &mut value {
        keys.insert("salt".into(), salt.into());
    }
    value.sort_all_objects();
    serde_json::to_string(&value)
}

/// Reads a body.
///
/// # Errors
/// Why it is none.
pub fn read_body(text: &str) -> Result<Happening, serde_json::Error> {
    let mut value: Value = serde_json::from_str(text)?;
    if let Value::Object(keys) = &mut value {
        keys.shift_remove("salt");
    }
    serde_json::from_value(value)
}
