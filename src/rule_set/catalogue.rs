//! Questions, derived facts, and the catalogue that gives each fact a slot.

use std::collections::HashMap;

use chrono::NaiveDate;

use crate::formulas::given::Side;
use crate::formulas::{Formula, Role, RoleKind};
use crate::quantity::{Measure, Span};
use crate::rule_set::Limit;
use crate::rule_set::condition::Condition;
use crate::table::{Bits, Idx, Table};
use crate::truth::{FactSlot, Slot};

/// All questions and derived facts. Slots: per question its answer and, if dated, its date; then the
/// derived facts, each after everything it is computed from.
#[derive(Debug, Default)]
pub struct Catalogue {
    /// Sections in the order they are asked.
    pub sections: Table<Section>,
    /// Questions in the order they are asked.
    pub questions: Table<Question>,
    /// Drawings on which options are chosen.
    pub drawings: Table<Drawing>,
    /// Derived facts in the order they are computed.
    pub derived: Table<Derived>,
    /// What each slot holds.
    pub facts: Table<FactDefinition, Slot>,
    /// Slot of each fact id.
    pub slots: HashMap<String, FactSlot>,
    /// The one question of medicines, if there is one.
    pub medicines: Option<FactSlot>,
    /// The one question of allergies, if there is one.
    pub allergies: Option<FactSlot>,
    /// The one question of the anaesthetic plan, if there is one.
    pub anaesthetic: Option<FactSlot>,
    /// The day of the procedure, if the rule set asks for it: `plan.procedure_on`.
    pub procedure_on: Option<FactSlot>,
    /// What is settled in turn, each after everything it hangs on, with the slots of its own facts and of all those, however
    /// far up. INVARIANT: every derived fact and every question with an `ask_when` once; there is no circle among them.
    pub turns: Vec<(Dependent, Bits<Slot>)>,
}

/// One thing that hangs on other facts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dependent {
    /// Whether this question applies.
    Question(Idx<Question>),
    /// This derived fact.
    Derived(Idx<Derived>),
}

/// A group of questions.
#[derive(Debug, Clone)]
pub struct Section {
    /// First part of its facts' ids.
    pub id: String,
    /// Heading.
    pub title: String,
}

/// A plain line drawing with a place for each option. Lengths are in units of its own.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    /// Its id.
    pub id: String,
    /// Width and height.
    pub size: (f64, f64),
    /// Lines, as the data of SVG paths: letters of commands and numbers alone.
    pub outline: Vec<String>,
    /// Words, each with its middle.
    pub words: Vec<(String, f64, f64)>,
    /// The ellipse of each option, by its id.
    pub places: Vec<(String, Ellipse)>,
}

/// Where a place is on a drawing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ellipse {
    /// Middle, from the left.
    pub x: f64,
    /// Middle, from the top.
    pub y: f64,
    /// Half its width.
    pub rx: f64,
    /// Half its height.
    pub ry: f64,
}

impl Drawing {
    /// The place of an option.
    pub(crate) fn place(&self, option: &str) -> Option<Ellipse> {
        let mut places = self.places.iter();
        places.find(|(id, _)| id == option).map(|(_, place)| *place)
    }
}

/// One thing that is asked.
#[derive(Debug, Clone)]
pub struct Question {
    /// Fact id, `section.question`.
    pub id: String,
    /// Its section.
    pub section: Idx<Section>,
    /// The wording.
    pub ask: String,
    /// The wording in a letter to the patient, if that needs another one.
    pub ask_patient: Option<String>,
    /// Where to find the answer, or how to write it.
    pub help: Option<String>,
    /// What kind of answer.
    pub answer: Answer,
    /// Lowest and highest value that is not a typing slip, in the question's own unit.
    pub plausible: Option<(f64, f64)>,
    /// Whether the answer carries its date.
    pub dated: bool,
    /// Whether a date must not lie after the day the screening is run.
    pub past: bool,
    /// A date longer ago than this on the day of the screening is a slip.
    pub oldest: Option<Span>,
    /// Dates that record systems write when they do not know one.
    pub stand_ins: Vec<NaiveDate>,
    /// Who can supply it.
    pub from: Who,
    /// When it is asked; always, if `None`.
    pub ask_when: Option<Condition>,
    /// Whether every answer to it is harmless where it does not apply.
    pub harmless_alone: bool,
    /// The option that is so wherever it certainly does not apply (for yes/no: 0 is no). INVARIANT: a harmless one.
    pub otherwise: Option<u16>,
    /// Whether it is a choice of the clinic's plan.
    pub decision: bool,
    /// Whether a clinic's file may answer it once for all patients.
    pub standing: bool,
    /// How the answer may become another one before surgery.
    pub changeable: Changeable,
    /// The drawing on which its options are chosen. INVARIANT: each of them has a place there.
    pub drawing: Option<Idx<Drawing>>,
    /// Slot of the answer.
    pub slot: FactSlot,
    /// Slot of the answer's date, if dated.
    pub date_slot: Option<FactSlot>,
}

impl Question {
    /// Which questions can be offered, in words.
    pub(crate) const OFFERED: &str = "only questions marked `decision: true` with options, yes or no, or solutions can be offered";

    /// Whether a clinic can say what it offers: a choice of the plan among options or solutions. Amounts are not listed.
    pub fn can_be_offered(&self) -> bool {
        let among = matches!(
            self.answer,
            Answer::YesNo | Answer::OneOf(_) | Answer::SeveralOf(_) | Answer::Anaesthetic
        );
        self.decision && among
    }

    /// Whether it is answered by a list, which may be empty.
    pub(crate) fn is_list(&self) -> bool {
        matches!(
            self.answer,
            Answer::SeveralOf(_) | Answer::Medicines | Answer::Allergies | Answer::Anaesthetic
        )
    }

    /// The second part of its id.
    pub(crate) fn name(&self) -> &str {
        self.id.split_once('.').map_or(&self.id, |(_, name)| name)
    }

    /// Its options; none for a question without a list of them, such as one of yes or no.
    pub fn options(&self) -> &[Choice] {
        match &self.answer {
            Answer::OneOf(options) | Answer::SeveralOf(options) => options,
            _ => &[],
        }
    }

    /// One of its options; `None` for a question of yes or no, where 0 is no.
    fn option(&self, at: u16) -> Option<&Choice> {
        self.options().get(usize::from(at))
    }

    /// The word by which an option is written.
    pub fn option_id(&self, at: u16) -> &str {
        self.option(at)
            .map_or(if at == 0 { "no" } else { "yes" }, |it| &it.id)
    }

    /// The position of an option, by its id.
    pub(crate) fn option_at(&self, id: &str) -> Option<u16> {
        let at = match self.options() {
            [] => usize::from(id == "yes"),
            options => options.iter().position(|option| option.id == id)?,
        };
        u16::try_from(at).ok()
    }

    /// An option in words.
    pub(crate) fn option_in_words(&self, at: u16) -> &str {
        self.option(at)
            .map_or(if at == 0 { "no" } else { "yes" }, |it| &it.text)
    }

    /// Whether an answer of the value is harmless where the question does not apply: it denies, names nothing, or says
    /// nothing by itself. Any other one shows that the question applies after all, or is a hazard.
    pub(crate) fn is_harmless_option(&self, at: u16) -> bool {
        self.harmless_alone
            || match &self.answer {
                Answer::YesNo => at == 0,
                _ => self.option(at).is_some_and(|it| it.nothing),
            }
    }
}

/// How an answer may become another one before surgery.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Changeable {
    /// It does not.
    No,
    /// A fresh result may have any value; of several options, some may go and others be added.
    Any,
    /// It may become one of these options (for yes/no: 0 is no, 1 is yes).
    To(Vec<u16>),
    /// Of several options, some may go.
    Fewer,
    /// Of several options, some may be added.
    More,
}

/// Who can supply an answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Who {
    /// The patient, or who speaks for the patient.
    Patient,
    /// Whoever sent the referral.
    Referrer,
    /// The clinic's own nurse, by looking or measuring.
    Nurse,
    /// The operating clinician, by examining or deciding.
    Clinician,
    /// A record: laboratory, anticoagulant book, letters.
    Record,
}

impl Who {
    /// The word used in files and reports.
    pub fn word(self) -> &'static str {
        match self {
            Self::Patient => "patient",
            Self::Referrer => "referrer",
            Self::Nurse => "nurse",
            Self::Clinician => "clinician",
            Self::Record => "record",
        }
    }

    /// Reads the word; `None` for anything else.
    pub(crate) fn from_word(word: &str) -> Option<Self> {
        [
            Self::Patient,
            Self::Referrer,
            Self::Nurse,
            Self::Clinician,
            Self::Record,
        ]
        .into_iter()
        .find(|it| it.word() == word)
    }
}

/// What kind of answer a question takes.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// Yes or no.
    YesNo,
    /// Exactly one option.
    OneOf(Vec<Choice>),
    /// Any number of options; none is an answer.
    SeveralOf(Vec<Choice>),
    /// A number without a unit.
    Number {
        /// Whole numbers only.
        whole: bool,
    },
    /// A number with a unit.
    Quantity {
        /// What is measured.
        measure: Measure,
        /// The unit rules compare in.
        unit: &'static str,
        /// Units also accepted.
        units: Vec<&'static str>,
    },
    /// A day, perhaps with a time.
    Date,
    /// Free text: shown, never evaluated.
    Text,
    /// Medicines taken.
    Medicines,
    /// Allergies and reactions.
    Allergies,
    /// Planned local anaesthetic.
    Anaesthetic,
}

impl Answer {
    /// The units that a quantity is written in, its own first; none for anything else.
    pub(crate) fn units(&self) -> Vec<&'static str> {
        match self {
            Self::Quantity { unit, units, .. } => [&[*unit], units.as_slice()].concat(),
            _ => Vec::new(),
        }
    }
}

/// One option of a question.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// The word that is written.
    pub id: String,
    /// What it means.
    pub text: String,
    /// The same in a letter to the patient, if that needs other words.
    pub text_patient: Option<String>,
    /// What it counts for in a formula that adds up; `None` if nobody says.
    pub counts: Option<f64>,
    /// The side of the body on which it lies, if the rule set says so.
    pub side: Option<Side>,
    /// Whether it says no more than that there is nothing: harmless where the question does not apply.
    pub nothing: bool,
}

/// A fact computed from other facts.
#[derive(Debug, Clone)]
pub struct Derived {
    /// Fact id, `derived.x`.
    pub id: String,
    /// What it is.
    pub about: String,
    /// How it is computed.
    pub formula: &'static Formula,
    /// What the formula is given, in the order of its roles.
    pub inputs: Vec<Input>,
    /// Unit, for display.
    pub unit: Option<String>,
    /// Decimals, for display only; comparison is unrounded.
    pub decimals: usize,
    /// The numbers that rules compare it with: display must not round across one.
    pub compared_with: Vec<f64>,
    /// Slot of the fact.
    pub slot: FactSlot,
}

impl Derived {
    /// What a role is given; `None` if it was left out.
    pub(crate) fn input(&self, role: &str) -> Option<Input> {
        self.given()
            .find(|(of, _)| of.name == role)
            .map(|(_, input)| input)
    }

    /// The fact that a role is given; `None` if that is a number.
    pub(crate) fn fact(&self, role: &str) -> Option<FactSlot> {
        self.input(role)?.fact()
    }

    /// The roles that were not left out, with what each is given.
    pub(crate) fn given(&self) -> impl Iterator<Item = (&'static Role, Input)> + '_ {
        self.formula.roles.iter().zip(self.inputs.iter().copied())
    }
}

impl Input {
    /// The fact; `None` for a number.
    pub(crate) fn fact(self) -> Option<FactSlot> {
        match self {
            Self::Fact(slot) => Some(slot),
            Self::Limit(..) => None,
        }
    }
}

/// What one role of a formula is given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Input {
    /// A fact.
    Fact(FactSlot),
    /// A limit, and its value in the unit the role needs.
    Limit(Idx<Limit>, f64),
}

/// What stands in a slot.
#[derive(Debug, Clone)]
pub struct FactDefinition {
    /// The id by which rules name it.
    pub id: String,
    /// Where it comes from.
    pub kind: FactKind,
    /// What its values are.
    pub fact_type: FactType,
}

/// Where a fact comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FactKind {
    /// The answer to this question.
    Question(Idx<Question>),
    /// The date of that answer.
    TakenOn(Idx<Question>),
    /// This derived fact.
    Derived(Idx<Derived>),
}

/// What the values of a fact are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FactType {
    /// 0 is no, 1 is yes.
    YesNo,
    /// One of the options, by position.
    OneOf,
    /// A set of options, by position.
    SeveralOf,
    /// A number, with the unit rules compare in.
    Number {
        /// The unit; `None` for a plain number.
        unit: Option<String>,
        /// What is measured, if another unit could be converted.
        measure: Option<Measure>,
    },
    /// A date.
    Date,
    /// Free text.
    Text,
    /// Medicines.
    Medicines,
    /// Allergies.
    Allergies,
    /// Planned anaesthetic: a set of agents.
    Anaesthetic,
}

impl FactType {
    /// The type in words for messages.
    pub(crate) fn in_words(&self) -> String {
        match self {
            Self::YesNo => "a yes/no question".into(),
            Self::OneOf => "a question with one choice".into(),
            Self::SeveralOf => "a question with several choices".into(),
            Self::Number {
                unit: Some(unit), ..
            } => format!("a number in {unit}"),
            Self::Number { unit: None, .. } => "a number".into(),
            Self::Date => "a date".into(),
            Self::Text => "free text".into(),
            Self::Medicines => "the list of medicines".into(),
            Self::Allergies => "the list of allergies".into(),
            Self::Anaesthetic => "the anaesthetic plan".into(),
        }
    }
}

impl Catalogue {
    /// Whether a clinic's file may answer anything of a section.
    pub(crate) fn has_standing(&self, section: Idx<Section>) -> bool {
        self.questions
            .iter()
            .any(|it| it.section == section && it.standing)
    }

    /// The slot of a fact id.
    pub fn slot(&self, id: &str) -> Option<FactSlot> {
        self.slots.get(id).copied()
    }

    /// What stands in a slot.
    pub(crate) fn fact(&self, slot: FactSlot) -> &FactDefinition {
        &self.facts[slot]
    }

    /// The id of a slot.
    pub fn id(&self, slot: FactSlot) -> &str {
        &self.facts[slot].id
    }

    /// What a fact is: the question that is asked, or what is worked out.
    pub(crate) fn about(&self, slot: FactSlot) -> &str {
        match self.facts[slot].kind {
            FactKind::Question(at) | FactKind::TakenOn(at) => &self.questions[at].ask,
            FactKind::Derived(at) => &self.derived[at].about,
        }
    }

    /// What is asked for a fact, word by word; for one that is worked out, what it is.
    pub fn wording(&self, slot: FactSlot) -> String {
        match self.facts[slot].kind {
            FactKind::TakenOn(_) => format!("On which day was this taken: {}", self.about(slot)),
            FactKind::Question(_) | FactKind::Derived(_) => self.about(slot).to_owned(),
        }
    }

    /// The question behind a slot, for an answer or its date.
    pub fn question_of(&self, slot: FactSlot) -> Option<&Question> {
        match self.facts[slot].kind {
            FactKind::Question(at) | FactKind::TakenOn(at) => Some(&self.questions[at]),
            FactKind::Derived(_) => None,
        }
    }

    /// The first derived fact that a formula computes.
    pub(crate) fn computed_by(&self, formula: &Formula) -> Option<&Derived> {
        self.derived
            .iter()
            .find(|derived| derived.formula == formula)
    }

    /// The derived fact behind a slot.
    pub(crate) fn derived_of(&self, slot: FactSlot) -> Option<&Derived> {
        match self.facts[slot].kind {
            FactKind::Derived(at) => Some(&self.derived[at]),
            FactKind::Question(_) | FactKind::TakenOn(_) => None,
        }
    }

    /// The question of an id.
    pub fn question(&self, id: &str) -> Option<&Question> {
        self.question_of(self.slot(id)?)
    }

    /// The options of a fact: of its question, or the agents' names are not here (see the register).
    pub fn options(&self, slot: FactSlot) -> &[Choice] {
        self.question_of(slot).map_or(&[], Question::options)
    }

    /// Whether a fact is what a role of a formula must be given.
    pub(crate) fn fits(&self, slot: FactSlot, kind: RoleKind) -> bool {
        let options = self.options(slot);
        match (kind, &self.fact(slot).fact_type) {
            (RoleKind::Number(None, _), FactType::Number { .. })
            | (RoleKind::Date(_), FactType::Date)
            | (
                RoleKind::Sites { sided: false } | RoleKind::List | RoleKind::ListLike(_),
                FactType::SeveralOf,
            )
            | (RoleKind::YesNo, FactType::YesNo)
            | (RoleKind::Plan { .. }, FactType::Anaesthetic)
            | (RoleKind::Medicines { .. }, FactType::Medicines) => true,
            (RoleKind::Number(Some(needed), _), FactType::Number { unit, .. }) => {
                unit.as_deref() == Some(needed)
            }
            (RoleKind::Sex, FactType::OneOf) => ["female", "male"]
                .iter()
                .all(|sex| options.iter().any(|option| option.id == *sex)),
            (RoleKind::Sites { sided: true }, FactType::SeveralOf) => {
                options.iter().all(|it| it.side.is_some())
            }
            (RoleKind::Counted, FactType::OneOf | FactType::SeveralOf)
            | (RoleKind::CountedChoice, FactType::OneOf) => {
                options.iter().all(|it| it.counts.is_some())
            }
            _ => false,
        }
    }
}
