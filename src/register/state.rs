//! What a referral has come to, worked out from its entries, and its row in the pile.

use chrono::{DateTime, FixedOffset, NaiveDate};

use crate::outcome::{Outcome, Standing, Urgency};
use crate::register::entry::RegisterEntry;
use crate::register::happening::{Decided, Happening, Screened};
use crate::rule_set::catalogue::Who;
use crate::rule_set::files::sha256;

/// A referral as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct ReferralState {
    /// Its reference.
    pub reference: String,
    /// The number of its last entry: a form made from an earlier one is stale.
    pub version: i64,
    /// Its questionnaire, if answers were given and are kept.
    pub questionnaire: Option<String>,
    /// The last screening. `is_current` says whether it is of these answers.
    pub screening: Option<ScreeningKept>,
    /// The last decision, and on what.
    pub decision: Option<DecisionKept>,
    /// The days that were booked, the last one last.
    pub booked: Vec<NaiveDate>,
    /// Questions that were sent and are not answered yet.
    pub sent: Vec<SentQuestion>,
    /// Letters that were made.
    pub letters: Vec<LetterKept>,
    /// To whom it was passed on since the last screening that said something else.
    pub passed_on: Option<String>,
    /// Why it was closed.
    pub closed: Option<String>,
    /// Whether its bodies were removed.
    pub is_removed: bool,
    /// By what has to happen next, and since when.
    pub row: PileRow,
}

/// A screening in the register.
#[derive(Debug, Clone, PartialEq)]
pub struct ScreeningKept {
    /// The entry's number.
    pub seq: i64,
    /// When it was made.
    pub at: DateTime<FixedOffset>,
    /// What it was.
    pub screened: Screened,
}

/// A decision in the register.
#[derive(Debug, Clone, PartialEq)]
pub struct DecisionKept {
    /// The entry's number.
    pub seq: i64,
    /// When it was signed.
    pub at: DateTime<FixedOffset>,
    /// Who signed.
    pub person: String,
    /// What was decided.
    pub decided: Decided,
    /// The screening that was read.
    pub on: Screened,
}

/// A question that waits for somebody outside the clinic.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SentQuestion {
    /// Its id.
    pub question: String,
    /// Who is to answer.
    pub to: Who,
    /// How it was sent last.
    pub how: String,
    /// When it was sent first.
    pub since: DateTime<FixedOffset>,
    /// When it was sent last.
    pub reminded: DateTime<FixedOffset>,
}

/// A letter in the register.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LetterKept {
    /// The entry's number.
    pub seq: i64,
    /// Its kind.
    pub letter: String,
    /// When it was made.
    pub made: DateTime<FixedOffset>,
    /// When it was sent, if it was.
    pub sent: Option<DateTime<FixedOffset>>,
}

/// What has to happen next to a referral, in the order of the pile.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum PileGroup {
    /// Must reach another service today, and nobody has passed it on.
    SameDay,
    /// A clinician decides.
    ToDecide,
    /// Decided refer, and nobody has passed it on.
    ToPassOn,
    /// Something is still to be learned: an answer, a screening, whether what was waited for has come.
    ToAsk,
    /// A day is to be found.
    ToBook,
    /// A day is found.
    Booked,
    /// Passed on, or closed.
    Closed,
}

impl PileGroup {
    /// Every group, in the order of the pile.
    pub const ALL: [Self; 7] = [
        Self::SameDay,
        Self::ToDecide,
        Self::ToPassOn,
        Self::ToAsk,
        Self::ToBook,
        Self::Booked,
        Self::Closed,
    ];

    /// In the words of pages.
    pub fn word(self) -> &'static str {
        match self {
            Self::SameDay => "refer the same day",
            Self::ToDecide => "to decide",
            Self::ToPassOn => "to pass on",
            Self::ToAsk => "to ask",
            Self::ToBook => "to book",
            Self::Booked => "booked",
            Self::Closed => "closed",
        }
    }
}

/// Whose turn it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum WhoseTurn {
    /// The clinic's nurse.
    Nurse,
    /// The clinician.
    Clinician,
    /// Somebody who was asked and has not answered.
    Asked,
    /// Nobody's.
    Nobody,
}

impl WhoseTurn {
    /// Every one.
    pub const ALL: [Self; 4] = [Self::Nurse, Self::Clinician, Self::Asked, Self::Nobody];

    /// In the words of pages.
    pub fn word(self) -> &'static str {
        match self {
            Self::Nurse => "nurse",
            Self::Clinician => "clinician",
            Self::Asked => "who was asked",
            Self::Nobody => "nobody",
        }
    }
}

/// A referral in the pile.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PileRow {
    /// Its reference.
    pub reference: String,
    /// What has to happen next.
    pub group: PileGroup,
    /// The day that is booked; else the day that is planned, if it is known.
    pub day: Option<String>,
    /// The verdict of the last screening, if that is of these answers.
    pub verdict: Option<Standing>,
    /// The heading of the first rule that fires, or else of the first that waits; empty if none does.
    pub first_reason: String,
    /// Whose turn it is.
    pub turn: WhoseTurn,
    /// Since when it is in this group and their turn.
    pub since: DateTime<FixedOffset>,
    /// Whom there is still something to ask, each once; nobody where it is closed.
    pub ask: Vec<Who>,
    /// When somebody was last asked, if an answer is waited for.
    pub asked: Option<DateTime<FixedOffset>>,
}

impl ReferralState {
    /// What a referral's entries come to, in their order; `None` without one.
    pub fn of(entries: &[RegisterEntry]) -> Option<Self> {
        let (first, rest) = entries.split_first()?;
        let reference = first.referral.clone()?;
        let mut state = Self {
            row: PileRow {
                reference: reference.clone(),
                group: PileGroup::ToAsk,
                day: None,
                verdict: None,
                first_reason: String::new(),
                turn: WhoseTurn::Nurse,
                since: first.at,
                ask: Vec::new(),
                asked: None,
            },
            reference,
            version: first.seq,
            questionnaire: None,
            screening: None,
            decision: None,
            booked: Vec::new(),
            sent: Vec::new(),
            letters: Vec::new(),
            passed_on: None,
            closed: None,
            is_removed: false,
        };
        state.take(first);
        for entry in rest {
            state.take(entry);
        }
        Some(state)
    }

    /// Whether the last screening is of the answers as they are now.
    pub fn is_current(&self) -> bool {
        match (&self.screening, &self.questionnaire) {
            (Some(screening), Some(text)) => {
                screening.screened.questionnaire == sha256(text.as_bytes())
            }
            _ => false,
        }
    }

    /// The last screening, if it is of the answers as they are now.
    pub fn current(&self) -> Option<&ScreeningKept> {
        self.screening.as_ref().filter(|_| self.is_current())
    }

    /// The ids of what the answers as they are now leave to ask somebody.
    pub fn to_ask(&self, whom: Who) -> Vec<String> {
        let asks = self.current().into_iter();
        let asks = asks.flat_map(|it| &it.screened.to_ask);
        asks.filter(|it| it.from == whom)
            .map(|it| it.question.clone())
            .collect()
    }

    /// Whether anything further may happen to it.
    pub fn is_open(&self) -> bool {
        self.closed.is_none() && !self.is_removed
    }

    /// The decision, if it still covers the current screening: the same files, the same verdict for the same rules.
    pub fn standing_decision(&self) -> Option<&DecisionKept> {
        let current = self.current()?;
        self.decision
            .as_ref()
            .filter(|it| it.on.is_same_as(&current.screened))
    }

    /// The screening that a booking rests on: the one that was decided on, or else the last one.
    pub fn booked_on(&self) -> Option<&Screened> {
        let decided = self.decision.as_ref().map(|it| &it.on);
        decided.or(self.screening.as_ref().map(|it| &it.screened))
    }

    /// Whether a day may be booked: what is decided go, or what a nurse may book without a decision. A clinician who once held
    /// somebody back is asked again, whatever was answered since.
    pub fn may_be_booked(&self) -> bool {
        let was_held_back = self
            .decision
            .as_ref()
            .is_some_and(|it| it.decided.outcome > Outcome::Go);
        match (self.standing_decision(), self.current()) {
            (Some(decision), _) => decision.decided.outcome == Outcome::Go,
            (None, Some(current)) => current.screened.nurse_may_book && !was_held_back,
            (None, None) => false,
        }
    }

    fn take(&mut self, entry: &RegisterEntry) {
        // INVARIANT: what another program tells changes nothing here, nor makes a form stale that somebody fills in.
        if matches!(entry.happening, Some(Happening::Feedback(_))) {
            return;
        }
        self.version = entry.seq;
        match &entry.happening {
            None => {}
            Some(happening) => self.happens(entry, happening),
        }
        let row = self.placed();
        let moved = (row.group, row.turn) != (self.row.group, self.row.turn);
        let since = if moved { entry.at } else { self.row.since };
        self.row = PileRow { since, ..row };
    }

    fn happens(&mut self, entry: &RegisterEntry, happening: &Happening) {
        match happening {
            Happening::Opened { .. } => {}
            Happening::Answered { questionnaire, .. } => {
                self.questionnaire = Some(questionnaire.clone());
            }
            Happening::Screened(screened) => {
                let differs = self
                    .screening
                    .as_ref()
                    .is_none_or(|it| !it.screened.comes_to_the_same_as(screened));
                if differs {
                    self.passed_on = None;
                }
                self.sent.retain(|sent| {
                    screened
                        .to_ask
                        .iter()
                        .any(|it| it.question == sent.question)
                });
                self.screening = Some(ScreeningKept {
                    seq: entry.seq,
                    at: entry.at,
                    screened: (**screened).clone(),
                });
            }
            Happening::QuestionSent { questions, to, how } => {
                for question in questions {
                    match self.sent.iter_mut().find(|it| it.question == *question) {
                        Some(sent) => {
                            sent.to = *to;
                            sent.how.clone_from(how);
                            sent.reminded = entry.at;
                        }
                        None => self.sent.push(SentQuestion {
                            question: question.clone(),
                            to: *to,
                            how: how.clone(),
                            since: entry.at,
                            reminded: entry.at,
                        }),
                    }
                }
            }
            Happening::LetterMade { letter, .. } => self.letters.push(LetterKept {
                seq: entry.seq,
                letter: letter.clone(),
                made: entry.at,
                sent: None,
            }),
            Happening::LetterSent { made } => {
                if let Some(letter) = self.letters.iter_mut().find(|it| it.seq == *made) {
                    letter.sent = Some(entry.at);
                }
            }
            Happening::Decided(decided) => {
                if let Some(on) = self
                    .screening
                    .as_ref()
                    .filter(|it| it.seq == decided.screening)
                {
                    self.decision = Some(DecisionKept {
                        seq: entry.seq,
                        at: entry.at,
                        person: entry.person.clone(),
                        decided: decided.clone(),
                        on: on.screened.clone(),
                    });
                }
            }
            Happening::Booked { day } => self.booked.push(*day),
            Happening::PassedOn { to } => self.passed_on = Some(to.clone()),
            Happening::Closed { why } => self.closed = Some(why.clone()),
            Happening::BodyRemoved { .. } => self.is_removed = true,
            Happening::Feedback(_)
            | Happening::PersonSet { .. }
            | Happening::SignInRefused { .. } => {}
        }
    }

    /// Where it belongs, but for since when.
    fn placed(&self) -> PileRow {
        let current = self.current().map(|it| &it.screened);
        let (group, turn) = self.next(current);
        let mut ask: Vec<Who> = current
            .iter()
            .flat_map(|it| it.to_ask.iter().map(|ask| ask.from))
            .collect();
        ask.sort_unstable();
        ask.dedup();
        if group == PileGroup::Closed {
            ask.clear();
        }
        let planned = current.and_then(|it| it.procedure_on.clone());
        PileRow {
            reference: self.reference.clone(),
            group,
            day: self.booked.last().map(ToString::to_string).or(planned),
            verdict: current.map(Screened::verdict),
            first_reason: current.map_or_else(String::new, |it| it.first_reason.clone()),
            turn,
            since: self.row.since,
            ask,
            asked: self.sent.iter().map(|it| it.reminded).max(),
        }
    }

    fn next(&self, current: Option<&Screened>) -> (PileGroup, WhoseTurn) {
        if !self.is_open() {
            return (PileGroup::Closed, WhoseTurn::Nobody);
        }
        let Some(screened) = current else {
            return (PileGroup::ToAsk, WhoseTurn::Nurse);
        };
        let is_passed_on = self.passed_on.is_some();
        if screened.urgency == Some(Urgency::SameDay) && !is_passed_on {
            return (PileGroup::SameDay, WhoseTurn::Nurse);
        }
        let asking = if screened
            .to_ask
            .iter()
            .all(|ask| self.is_sent(&ask.question))
            && !screened.to_ask.is_empty()
        {
            WhoseTurn::Asked
        } else {
            WhoseTurn::Nurse
        };
        match self.standing_decision().map(|it| it.decided.outcome) {
            Some(Outcome::Refer) if is_passed_on => (PileGroup::Closed, WhoseTurn::Nobody),
            Some(Outcome::Refer) => (PileGroup::ToPassOn, WhoseTurn::Nurse),
            Some(Outcome::Defer) => (PileGroup::ToAsk, asking),
            _ if self.may_be_booked() && self.booked.is_empty() => {
                (PileGroup::ToBook, WhoseTurn::Nurse)
            }
            _ if self.may_be_booked() => (PileGroup::Booked, WhoseTurn::Nobody),
            _ if screened.outcome == Outcome::Defer && !screened.to_ask.is_empty() => {
                (PileGroup::ToAsk, asking)
            }
            _ => (PileGroup::ToDecide, WhoseTurn::Clinician),
        }
    }

    fn is_sent(&self, question: &str) -> bool {
        self.sent.iter().any(|it| it.question == question)
    }
}
