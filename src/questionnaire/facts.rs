//! A questionnaire to facts: recognising names, converting units, deriving. There is no default answer.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::{Deref, Range};
use std::sync::Arc;

use chrono::NaiveDate;

use crate::document::diagnostic::Diagnostic;
use crate::document::source::{MapEntry, Node, NodeKind, Position, Source};
use crate::quantity::tidy;
use crate::quantity::when::When;
use crate::questionnaire::facts::truth_of::Ground;
pub(crate) use crate::rule_set::Offered;
use crate::rule_set::{
    Agent, Bits, Choice, Conflict, Derived, Idx, Medicine, Question, Reaction, RuleSet, Substance,
    Table,
};
use crate::truth::{FactSlot, Slot};

pub mod answers;
pub(crate) mod applicability;
pub mod derive;
pub mod truth_of;

/// Answers as written, from one or more files, before any is understood.
#[derive(Debug, Clone, Default)]
pub struct Gathered {
    /// The answer to each question.
    pub given: BTreeMap<Idx<Question>, Given>,
    /// What the clinic offers of each choice of the plan.
    pub offers: BTreeMap<Idx<Question>, Given>,
    /// Notes, in the order read.
    pub notes: Vec<Note>,
    /// The day the answers were given, and where it stands.
    pub completed_on: Option<(NaiveDate, Place)>,
}

/// One answer as written.
#[derive(Debug, Clone)]
pub struct Given {
    /// The file it stands in.
    pub source: Arc<Source>,
    /// The bytes of its key.
    pub key_span: Range<usize>,
    /// Its value.
    pub node: Node,
    /// Whether the clinic's file gives it, for every patient alike.
    pub standing: bool,
}

/// A result with its day, as it would stand in a questionnaire's file behind a key at this place; `None` if neither is there. One
/// that is not known has no day.
pub(crate) fn dated(key: &Range<usize>, value: Option<Node>, day: Option<Node>) -> Option<Node> {
    let is_word = |it: &Node| matches!(it.text(), Some("unknown" | "declined"));
    match (value, day) {
        (None, None) => None,
        (Some(word), None) if is_word(&word) => Some(word),
        (value, day) => {
            let blank = || Node::new(key, NodeKind::Null);
            let (value, day) = (value.unwrap_or_else(blank), day.unwrap_or_else(blank));
            let span = value.span.clone();
            let entries = vec![
                MapEntry::new("value", key, value),
                MapEntry::new("taken_on", key, day),
            ];
            Some(Node::new(&span, NodeKind::Map(entries)))
        }
    }
}

/// Free text that nobody but a person can evaluate.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// The section it stands in; empty for the whole questionnaire.
    pub section: String,
    /// The words.
    pub text: String,
    /// Where it stands.
    pub place: Place,
}

/// Where something stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// The file.
    pub source: Arc<Source>,
    /// The bytes.
    pub span: Range<usize>,
}

impl Place {
    /// Line and column.
    pub(crate) fn position(&self) -> Position {
        self.source.position(self.span.start)
    }
}

/// Everything known and not known about one patient on one day.
///
/// INVARIANT: what follows from the answers (the day of the procedure, derived facts, which answers count, which are at odds)
/// is what follows from these: patients are only made by [`read`], and by [`Facts::with`] from others.
#[derive(Debug, Clone)]
pub struct Facts {
    /// The day the answers were given, if the questionnaire says so.
    completed_on: Option<NaiveDate>,
    /// The day the screening is run.
    as_of: NaiveDate,
    /// The planned day of the procedure, if known.
    procedure_on: Option<When>,
    /// The slot of that day, as a set; ages wait for it.
    procedure_needs: BTreeSet<FactSlot>,
    /// One fact for each slot of the catalogue.
    facts: Table<Arc<Fact>, Slot>,
    /// Notes and free-text answers.
    notes: Vec<Note>,
    /// Facts that the clinic's file gives, for every patient alike.
    standing: BTreeSet<FactSlot>,
    /// Answers that count otherwise than they were given, because of whether their question applies.
    set_aside: Vec<Displaced>,
    /// Answers that contradict another one, which says that their question does not apply.
    ruled_out: Vec<ConflictingAnswer>,
    /// What must be known to say whether further answers contradict it.
    ruled_out_open: BTreeSet<FactSlot>,
    /// Lists of names that are missing, or hold a name that was not recognised.
    unread: BTreeSet<FactSlot>,
    /// What the clinic offers of each choice of the plan; nothing is known of a choice that is not listed.
    offers: BTreeMap<FactSlot, Offered>,
    /// Choices of the plan that are not among those.
    not_offered: Vec<ConflictingAnswer>,
    /// Choices of the plan that are not known yet, where the clinic says what it offers.
    offer_open: BTreeSet<FactSlot>,
}

/// What was given to a question, where something else counts.
#[derive(Debug, Clone, PartialEq)]
pub struct Displaced {
    /// The question.
    pub question: Idx<Question>,
    /// The answer, or that there is none.
    pub fact: Fact,
    /// Its date, if the question is dated.
    pub date: Option<Fact>,
    /// Whether the question certainly does not apply; else that is not known yet.
    pub is_settled: bool,
}

/// An answer at odds with others.
#[derive(Debug, Clone, PartialEq)]
pub struct ConflictingAnswer {
    /// The answer.
    pub answer: Ground,
    /// What it does not fit; empty if that is what the clinic offers.
    pub by: Vec<Ground>,
}

/// One fact.
#[derive(Debug, Clone, PartialEq)]
pub enum Fact {
    /// Known.
    Known(Known),
    /// Not known.
    Missing(Missing),
}

impl Fact {
    /// A known fact that stands nowhere: worked out, or only tried.
    pub(crate) fn made(value: Value, shown: impl Into<String>) -> Self {
        Self::Known(Known {
            value,
            shown: shown.into(),
            place: None,
        })
    }
}

/// A known fact.
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    /// The value rules test.
    pub value: Value,
    /// The value as understood, for people, unit included.
    pub shown: String,
    /// Where the answer stands; `None` for a derived fact.
    pub place: Option<Place>,
}

/// A fact that is not known.
#[derive(Debug, Clone, PartialEq)]
pub struct Missing {
    /// Why.
    pub why: Why,
    /// The answers that would settle it. INVARIANT: at least one.
    pub needs: BTreeSet<FactSlot>,
}

/// Why a fact is not known. All count the same for the rules; people are told which.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// No answer is there.
    NotAsked,
    /// Asked, and not known.
    Unknown,
    /// Asked, and not answered.
    Declined,
    /// Answered, and not known yet whether the question applies.
    Waits,
    /// Something it is computed from is missing.
    InputMissing,
    /// Everything is there, and yet no value follows from it.
    NotComputable,
}

impl Why {
    /// In words for reports.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::NotAsked => "not asked",
            Self::Unknown => "asked, not known",
            Self::Declined => "asked, not answered",
            Self::Waits => "answered, not known yet whether it applies",
            Self::InputMissing => "cannot be worked out yet",
            Self::NotComputable => "cannot be worked out from these answers",
        }
    }
}

/// The value of a known fact.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A choice by position; for yes/no, 0 is no and 1 is yes.
    Choice(u16),
    /// A set of options by position.
    Choices(u64),
    /// A finite number in the fact's own unit.
    Number(f64),
    /// A day, perhaps with a time.
    Date(When),
    /// Free text.
    Text,
    /// Medicines taken.
    Medicines(Vec<MedicineEntry>),
    /// Allergies.
    Allergies(Vec<AllergyEntry>),
    /// Planned anaesthetic.
    Plan(Vec<PlannedAgent>),
}

/// One entry of the list of medicines.
#[derive(Debug, Clone, PartialEq)]
pub struct MedicineEntry {
    /// The name as written.
    pub text: String,
    /// Dose and duration as written, in brackets; empty if not given.
    pub details: String,
    /// Milligrams taken in a day; `None` if not given, or not given as a mass.
    pub daily_mg: Option<f64>,
    /// Days for which it has been taken, at the fewest; `None` if not given.
    pub days: Option<f64>,
    /// Which one; `None` if unrecognised.
    pub medicine: Option<Idx<Medicine>>,
    /// Nearest known name, for an unrecognised one.
    pub nearest: Option<String>,
    /// Where it stands.
    pub place: Place,
}

impl MedicineEntry {
    /// Name and details as written.
    pub(crate) fn shown(&self) -> String {
        format!("{}{}", self.text, self.details)
    }
}

/// One entry of the list of allergies.
#[derive(Debug, Clone, PartialEq)]
pub struct AllergyEntry {
    /// The substance as written.
    pub text: String,
    /// The reaction, if one is known, as it is shown after the substance.
    pub details: String,
    /// What it may mean; `None` if unrecognised.
    pub substances: Option<Bits<Substance>>,
    /// Nearest known name, for an unrecognised one.
    pub nearest: Option<String>,
    /// The reaction, if known.
    pub reaction: Option<Idx<Reaction>>,
    /// Where it stands.
    pub place: Place,
}

impl AllergyEntry {
    /// Substance and reaction as written.
    pub(crate) fn shown(&self) -> String {
        format!("{}{}", self.text, self.details)
    }
}

/// One line of the anaesthetic plan.
#[derive(Debug, Clone, PartialEq)]
pub struct PlannedAgent {
    /// Which one.
    pub agent: Idx<Agent>,
    /// Strength in per cent, if known.
    pub percent: Option<f64>,
    /// Volume in millilitres for the whole visit, if known.
    pub volume_ml: Option<f64>,
}

impl Facts {
    /// The fact of a slot.
    pub fn get(&self, slot: FactSlot) -> &Fact {
        &self.facts[slot]
    }

    /// All slots.
    pub(crate) fn slots(&self) -> impl Iterator<Item = FactSlot> {
        self.facts.indices()
    }

    /// The known fact of a slot.
    pub fn known(&self, slot: FactSlot) -> Option<&Known> {
        match self.get(slot) {
            Fact::Known(known) => Some(known),
            Fact::Missing(_) => None,
        }
    }

    /// The answers that would settle a missing fact; empty if it is known.
    pub(crate) fn needs(&self, slot: FactSlot) -> BTreeSet<FactSlot> {
        match self.get(slot) {
            Fact::Missing(missing) => missing.needs.clone(),
            Fact::Known(_) => BTreeSet::from([slot]),
        }
    }

    /// Every fact, by its slot.
    pub fn rows(&self) -> &Table<Arc<Fact>, Slot> {
        &self.facts
    }

    /// The day the answers were given, if the questionnaire says so.
    pub(crate) fn completed_on(&self) -> Option<NaiveDate> {
        self.completed_on
    }

    /// The day the screening is run.
    pub(crate) fn as_of(&self) -> NaiveDate {
        self.as_of
    }

    /// The planned day of the procedure, if known.
    pub fn procedure_on(&self) -> Option<When> {
        self.procedure_on
    }

    /// The slot of that day, as a set; ages wait for it.
    pub fn procedure_needs(&self) -> &BTreeSet<FactSlot> {
        &self.procedure_needs
    }

    /// Notes and free-text answers.
    pub(crate) fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// Whether the clinic's file gives a fact, for every patient alike.
    pub fn is_standing(&self, slot: FactSlot) -> bool {
        self.standing.contains(&slot)
    }

    /// Answers that count otherwise than they were given, because of whether their question applies.
    pub fn set_aside(&self) -> &[Displaced] {
        &self.set_aside
    }

    /// What the clinic offers of each choice of the plan; nothing is known of a choice that is not listed.
    pub fn offers(&self) -> &BTreeMap<FactSlot, Offered> {
        &self.offers
    }

    /// The same patient with some answers otherwise, and everything that follows from it anew. Facts that hang on none of
    /// these answers stay as they are, and shared.
    ///
    /// # Missing data
    /// A detail that only these changes rule out is set aside: nobody would answer it then. An answer that was set aside
    /// comes back where the changes ask for it.
    pub fn with(&self, rule_set: &RuleSet, changes: &[(FactSlot, Fact)]) -> Self {
        crate::questionnaire::facts::applicability::changed(rule_set, self, changes)
    }

    /// The same answers with every derived fact as a rule set with other numbers computes it.
    pub(crate) fn derived_by(&self, rule_set: &RuleSet) -> Self {
        let mut facts = self.clone();
        derive::all(rule_set, &mut facts);
        facts
    }

    /// Puts a fact into its slot. What follows from it must be derived anew.
    fn put(&mut self, slot: FactSlot, fact: Fact) {
        self.facts[slot] = Arc::new(fact);
    }

    /// Whether a fact is the very one of another patient, not only an equal one.
    pub(crate) fn shares(&self, slot: FactSlot, with: &Self) -> bool {
        Arc::ptr_eq(&self.facts[slot], &with.facts[slot])
    }

    /// Takes the day of the procedure from its fact.
    fn settle_procedure(&mut self) {
        self.procedure_on =
            self.procedure_needs
                .iter()
                .find_map(|slot| match self.known(*slot)?.value {
                    Value::Date(when) => Some(when),
                    _ => None,
                });
    }

    /// The answers at odds with others.
    pub fn conflicts(&self, conflict: Conflict) -> &[ConflictingAnswer] {
        match conflict {
            Conflict::RuledOut => &self.ruled_out,
            Conflict::NotOffered => &self.not_offered,
            Conflict::Unread => &[],
        }
    }

    /// What must be known to say whether further answers are at odds with others.
    pub fn conflicts_open(&self, conflict: Conflict) -> &BTreeSet<FactSlot> {
        match conflict {
            Conflict::RuledOut => &self.ruled_out_open,
            Conflict::NotOffered => &self.offer_open,
            Conflict::Unread => &self.unread,
        }
    }

    /// The number of a slot, if it is a known number.
    pub fn number(&self, slot: FactSlot) -> Option<f64> {
        match self.known(slot)?.value {
            Value::Number(number) => Some(number),
            _ => None,
        }
    }
}

/// A patient whose numbers are tried: answers are put in one after the other, and of what follows from them only the derived
/// facts that are asked for. Searching through thousands of numbers has no time for more.
#[derive(Debug, Clone)]
pub struct Trial(Facts);

impl Trial {
    /// The patient as is.
    pub fn of(facts: &Facts) -> Self {
        Self(facts.clone())
    }

    /// Puts a fact into its slot.
    pub fn put(&mut self, slot: FactSlot, fact: Fact) {
        self.0.put(slot, fact);
    }

    /// Puts a known fact of somebody else into its slot.
    pub(crate) fn put_shared(&mut self, slot: FactSlot, fact: Arc<Fact>) {
        self.0.facts[slot] = fact;
        self.0.settle_procedure();
    }

    /// Notes known facts of somebody else as answers at odds with others, by whatever says so.
    pub(crate) fn put_at_odds(
        &mut self,
        conflict: Conflict,
        facts: impl Iterator<Item = (FactSlot, Arc<Fact>)>,
    ) {
        let answer = |(slot, fact): (FactSlot, Arc<Fact>)| match &*fact {
            Fact::Known(known) => Some(ConflictingAnswer {
                answer: Ground::of(slot, known),
                by: Vec::new(),
            }),
            Fact::Missing(_) => None,
        };
        let answers = facts.filter_map(answer).collect();
        match conflict {
            Conflict::RuledOut => self.0.ruled_out = answers,
            Conflict::NotOffered => self.0.not_offered = answers,
            Conflict::Unread => {}
        }
    }

    /// The value of a known fact, to change it.
    pub(crate) fn value_mut(&mut self, slot: FactSlot) -> Option<&mut Value> {
        match Arc::make_mut(&mut self.0.facts[slot]) {
            Fact::Known(known) => Some(&mut known.value),
            Fact::Missing(_) => None,
        }
    }

    /// Computes these derived facts, in the order declared.
    pub(crate) fn derive(&mut self, rule_set: &RuleSet, wanted: &[Idx<Derived>]) {
        derive::these(rule_set, &mut self.0, wanted);
    }
}

impl Deref for Trial {
    type Target = Facts;

    fn deref(&self) -> &Facts {
        &self.0
    }
}

/// Understands all answers and derives what follows from them.
///
/// With diagnostics the facts must not be screened; they are still complete in shape.
pub fn read(rule_set: &RuleSet, gathered: &Gathered, as_of: NaiveDate) -> (Facts, Vec<Diagnostic>) {
    read_for(rule_set, gathered, as_of, true)
}

/// The same, where perhaps nobody is told which known name is near one that is not recognised: to look for that takes longest.
pub(crate) fn read_for(
    rule_set: &RuleSet,
    gathered: &Gathered,
    as_of: NaiveDate,
    suggests: bool,
) -> (Facts, Vec<Diagnostic>) {
    let mut diagnostics = Vec::new();
    let mut facts = answers::read(rule_set, gathered, as_of, suggests, &mut diagnostics);
    crate::questionnaire::facts::applicability::all(rule_set, &mut facts);
    answers::check::cross_check(rule_set, gathered, &facts, &mut diagnostics);
    diagnostics.sort_by(|a, b| place_of(a).cmp(&place_of(b)));
    (facts, diagnostics)
}

/// The chosen options for people: "Pain; Ulcer", or "none".
pub(crate) fn chosen_in_words(options: &[Choice], bits: u64) -> String {
    let chosen = options
        .iter()
        .enumerate()
        .filter(|(at, _)| bits >> at & 1 == 1);
    joined_or_none(chosen.map(|(_, it)| it.text.clone()), "; ")
}

/// The entries of a list for people, or "none".
pub(crate) fn joined_or_none(entries: impl Iterator<Item = String>, between: &str) -> String {
    let entries: Vec<String> = entries.collect();
    if entries.is_empty() {
        "none".to_owned()
    } else {
        entries.join(between)
    }
}

/// An anaesthetic plan for people: "lidocaine 2 % 3 mL + bupivacaine ? % 2 mL", or "none".
pub(crate) fn plan_in_words(agents: &Table<Agent>, plan: &[PlannedAgent]) -> String {
    let show = |value: Option<f64>, unit: &str| {
        value.map_or_else(
            || format!("? {unit}"),
            |it| format!("{} {unit}", tidy(it, None)),
        )
    };
    let one = |planned: &PlannedAgent| {
        let agent = &agents[planned.agent].id;
        format!(
            "{agent} {} {}",
            show(planned.percent, "%"),
            show(planned.volume_ml, "mL")
        )
    };
    joined_or_none(plan.iter().map(one), " + ")
}

fn place_of(diagnostic: &Diagnostic) -> (Option<&str>, usize) {
    (
        diagnostic.source.as_ref().map(|it| it.name()),
        diagnostic.offset(),
    )
}
