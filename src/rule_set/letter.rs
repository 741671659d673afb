//! Letters: their kinds, and their texts as the rule set has them.
//!
//! A rule set may be without any of them. What a letter says of a patient is filled in by `screening::letter`, drawn by
//! `report::letter`.

use crate::outcome::Outcome;
use crate::rule_set::bibliography::Citation;
use crate::rule_set::catalogue::Who;
use crate::rule_set::condition::Condition;
use crate::rule_set::rule::Piece;

/// What a letter is for. A rule set has at most one of each.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum LetterKind {
    /// The patient is asked for missing answers.
    QuestionsPatient,
    /// The referrer is.
    QuestionsReferrer,
    /// Whoever holds a record is.
    QuestionsRecord,
    /// Another service is asked to decide or treat.
    Onward,
    /// The patient is told how to get ready.
    Preparation,
    /// The patient is told what to do afterwards.
    Aftercare,
    /// The referrer is told what came of the referral.
    Result,
}

impl LetterKind {
    /// All of them, in the order in which a referral needs them.
    pub const ALL: [Self; 7] = [
        Self::QuestionsPatient,
        Self::QuestionsReferrer,
        Self::QuestionsRecord,
        Self::Onward,
        Self::Preparation,
        Self::Aftercare,
        Self::Result,
    ];

    /// The word of files and of the command line.
    pub fn word(self) -> &'static str {
        match self {
            Self::QuestionsPatient => "questions-patient",
            Self::QuestionsReferrer => "questions-referrer",
            Self::QuestionsRecord => "questions-record",
            Self::Onward => "onward",
            Self::Preparation => "preparation",
            Self::Aftercare => "aftercare",
            Self::Result => "result",
        }
    }

    /// Reads the word; `None` for anything else.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|it| it.word() == word)
    }

    /// What it is, for people who choose among them.
    pub fn title(self) -> &'static str {
        match self {
            Self::QuestionsPatient => "Questions to the patient",
            Self::QuestionsReferrer => "Questions to the referrer",
            Self::QuestionsRecord => "Questions to whoever holds the record",
            Self::Onward => "Referral onward",
            Self::Preparation => "Preparation, to the patient",
            Self::Aftercare => "After-care, to the patient",
            Self::Result => "Result, to the referrer",
        }
    }

    /// Whose answers it asks for; `None` for a letter that asks nothing.
    pub fn asks(self) -> Option<Who> {
        match self {
            Self::QuestionsPatient => Some(Who::Patient),
            Self::QuestionsReferrer => Some(Who::Referrer),
            Self::QuestionsRecord => Some(Who::Record),
            Self::Onward | Self::Preparation | Self::Aftercare | Self::Result => None,
        }
    }

    /// Whether the patient reads it.
    pub fn is_for_patient(self) -> bool {
        matches!(
            self,
            Self::QuestionsPatient | Self::Preparation | Self::Aftercare
        )
    }
}

/// The text of a letter.
#[derive(Debug, Clone, PartialEq)]
pub struct LetterText {
    /// What it is for.
    pub kind: LetterKind,
    /// Its heading.
    pub title: String,
    /// What it says, in order; at least one part.
    pub parts: Vec<LetterPart>,
}

/// One part of a letter.
#[derive(Debug, Clone, PartialEq)]
pub struct LetterPart {
    /// What it is.
    pub what: LetterContent,
    /// When it is there.
    pub shown: Shown,
    /// The verdict for which alone it is there; for any, if `None`.
    pub verdict: Option<Outcome>,
    /// Where a fact that it tells comes from; may be empty.
    pub citations: Vec<Citation>,
}

/// What a part of a letter is.
#[derive(Debug, Clone, PartialEq)]
pub enum LetterContent {
    /// A heading.
    Heading(LetterSentence),
    /// A paragraph.
    Text(LetterSentence),
    /// An entry of a list.
    Item(LetterSentence),
    /// Something that comes from the screening.
    Insert {
        /// What.
        insert: Insert,
        /// Its heading; not there if nothing is inserted.
        heading: Option<LetterSentence>,
        /// A paragraph before it; nor is this.
        lead: Option<LetterSentence>,
    },
}

/// When a part of a letter is there.
#[derive(Debug, Clone, PartialEq)]
pub enum Shown {
    /// Always.
    Always,
    /// When this certainly holds.
    When(Condition),
    /// Unless this certainly does not hold.
    MayHold(Condition),
}

impl Shown {
    /// Its condition; `None` for what is always there.
    pub fn condition(&self) -> Option<&Condition> {
        match self {
            Self::Always => None,
            Self::When(it) | Self::MayHold(it) => Some(it),
        }
    }
}

/// What a letter takes from the screening.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Insert {
    /// The questions, each with room for the answer, in these words.
    Questions(Box<SlipWords>),
    /// The findings that the letter is about: what is so, and where the rule comes from.
    Reasons,
    /// The answers that decided these findings, and no others.
    Answers,
    /// What the rules ask to be done, and what would lift each finding.
    Actions,
    /// Who is asked for what.
    Missing,
    /// What each precaution asks of the patient before the procedure.
    Before,
    /// The same for afterwards.
    After,
}

impl Insert {
    /// The word of files.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Questions(_) => "questions",
            Self::Reasons => "reasons",
            Self::Answers => "answers",
            Self::Actions => "actions",
            Self::Missing => "missing",
            Self::Before => "before",
            Self::After => "after",
        }
    }

    /// In words, for readers who see no patient.
    pub fn in_words(&self) -> &'static str {
        match self {
            Self::Questions(_) => "the questions, each with room for the answer",
            Self::Reasons => "what is so, each with its sources",
            Self::Answers => "the answers that decided this",
            Self::Actions => "what is to be done, and what would lift each finding",
            Self::Missing => "which answers are missing",
            Self::Before => "what each precaution asks of the patient before",
            Self::After => "what each precaution asks of the patient afterwards",
        }
    }

    /// Reads the word of one that needs no words of its own; `None` for anything else.
    pub fn from_word(word: &str) -> Option<Self> {
        [
            Self::Reasons,
            Self::Answers,
            Self::Actions,
            Self::Missing,
            Self::Before,
            Self::After,
        ]
        .into_iter()
        .find(|it| it.word() == word)
    }

    /// Whether a letter of this kind may have it. What one person reads is nothing for another.
    pub fn fits(&self, kind: LetterKind) -> bool {
        match self {
            Self::Questions(_) => kind.asks().is_some(),
            Self::Reasons | Self::Answers => {
                matches!(kind, LetterKind::Onward | LetterKind::Result)
            }
            Self::Actions | Self::Missing => kind == LetterKind::Result,
            Self::Before => kind == LetterKind::Preparation,
            Self::After => kind == LetterKind::Aftercare,
        }
    }
}

/// The words around questions: what may be answered to every one of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SlipWords {
    /// Yes.
    pub yes: String,
    /// No.
    pub no: String,
    /// None of the options, where several may be so.
    pub none: String,
    /// Asked, and not known.
    pub not_known: String,
    /// Asked, and not answered.
    pub declined: String,
    /// Before room for an answer in words or figures.
    pub answer: String,
    /// Before room for a day.
    pub day: String,
    /// How many of the options may be ticked: one.
    pub one_of: String,
    /// Any number.
    pub all_of: String,
    /// Under an answer that was given and settles nothing.
    pub again: String,
    /// After a name that nobody recognised.
    pub name: String,
    /// Above questions that other answers may make needless.
    pub later: String,
}

impl SlipWords {
    /// Each with its key in files, in their order.
    pub fn entries(&self) -> [(&'static str, &str); 12] {
        [
            ("yes", &self.yes),
            ("no", &self.no),
            ("none", &self.none),
            ("not_known", &self.not_known),
            ("declined", &self.declined),
            ("answer", &self.answer),
            ("day", &self.day),
            ("one_of", &self.one_of),
            ("all_of", &self.all_of),
            ("again", &self.again),
            ("name", &self.name),
            ("later", &self.later),
        ]
    }
}

/// A sentence of a letter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LetterSentence {
    /// Its pieces in order.
    pub pieces: Vec<LetterPiece>,
}

/// A piece of a sentence of a letter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LetterPiece {
    /// What texts of rules may show, too.
    Shared(Piece),
    /// What is of the letter alone.
    Own(OwnPlaceholder),
}

impl From<Piece> for LetterPiece {
    fn from(piece: Piece) -> Self {
        Self::Shared(piece)
    }
}

/// What only a letter may show, as `{letter.clinic}`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OwnPlaceholder {
    /// The clinic that writes.
    Clinic,
    /// The day the letter was made.
    MadeOn,
    /// The patient's reference.
    Reference,
    /// The day of surgery, with a time if one was given.
    Surgery,
    /// To whom the referral goes.
    ReferTo,
    /// How fast, for a referral.
    Urgency,
    /// The verdict in a word.
    Verdict,
}

impl OwnPlaceholder {
    /// All of them.
    pub const ALL: [Self; 7] = [
        Self::Clinic,
        Self::MadeOn,
        Self::Reference,
        Self::Surgery,
        Self::ReferTo,
        Self::Urgency,
        Self::Verdict,
    ];

    /// The name between the braces.
    pub fn word(self) -> &'static str {
        match self {
            Self::Clinic => "letter.clinic",
            Self::MadeOn => "letter.made_on",
            Self::Reference => "letter.reference",
            Self::Surgery => "letter.surgery",
            Self::ReferTo => "letter.refer_to",
            Self::Urgency => "letter.urgency",
            Self::Verdict => "letter.verdict",
        }
    }

    /// Reads the name; `None` for anything else.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|it| it.word() == word)
    }

    /// In words, for readers who see no patient.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Clinic => "the clinic",
            Self::MadeOn => "the day of the letter",
            Self::Reference => "the patient's reference",
            Self::Surgery => "the day of surgery",
            Self::ReferTo => "to whom the referral goes",
            Self::Urgency => "how fast",
            Self::Verdict => "the verdict",
        }
    }

    /// Whether a letter of this kind may show it: only a referral goes to somebody, and is more or less urgent.
    pub fn fits(self, kind: LetterKind) -> bool {
        match self {
            Self::ReferTo | Self::Urgency => kind == LetterKind::Onward,
            Self::Verdict => !kind.is_for_patient(),
            Self::Clinic | Self::MadeOn | Self::Reference | Self::Surgery => true,
        }
    }
}
