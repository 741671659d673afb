//! What a rule comes to, its outcome, the urgency of a referral, and how outcomes combine into a verdict.

/// What a rule asks for when it fires, and what a whole screening comes to. Ordered: go < defer < refer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Outcome {
    /// Proceed; the finding's action is a precaution.
    Go,
    /// Not yet: something must be known or must change first.
    Defer,
    /// Not here: another service decides or treats.
    Refer,
}

impl Outcome {
    /// The word used in rules, reports and JSON.
    pub fn word(self) -> &'static str {
        match self {
            Self::Go => "go",
            Self::Defer => "defer",
            Self::Refer => "refer",
        }
    }

    /// Reads the word; `None` for anything else.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Go, Self::Defer, Self::Refer]
            .into_iter()
            .find(|it| it.word() == word)
    }
}

/// How fast a referral must be made. Ordered: routine < urgent < same-day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Urgency {
    /// In the ordinary way.
    Routine,
    /// Ahead of routine work.
    Urgent,
    /// Today.
    SameDay,
}

impl Urgency {
    /// The word used in rules, reports and JSON.
    pub fn word(self) -> &'static str {
        match self {
            Self::Routine => "routine",
            Self::Urgent => "urgent",
            Self::SameDay => "same-day",
        }
    }

    /// Reads the word; `None` for anything else.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Routine, Self::Urgent, Self::SameDay]
            .into_iter()
            .find(|it| it.word() == word)
    }
}

/// What a rule came to for one patient.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Its condition holds.
    Fires,
    /// Its condition does not hold.
    StaysQuiet,
    /// Its condition cannot be decided yet.
    Undetermined,
}

impl State {
    /// In the words of reports.
    pub fn word(self) -> &'static str {
        match self {
            Self::Fires => "fires",
            Self::StaysQuiet => "stays quiet",
            Self::Undetermined => "undetermined",
        }
    }
}

/// An outcome and, for a referral, how fast. Ordered: go < defer < refer, then by urgency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Standing {
    /// The outcome.
    pub outcome: Outcome,
    /// How fast, for a referral.
    pub urgency: Option<Urgency>,
}

impl Standing {
    /// Nothing against it.
    pub const GO: Self = Self {
        outcome: Outcome::Go,
        urgency: None,
    };

    /// An outcome, and how fast if it is a referral.
    pub(crate) const fn new(outcome: Outcome, urgency: Option<Urgency>) -> Self {
        Self { outcome, urgency }
    }

    /// "refer, same-day"; the outcome alone without an urgency.
    pub fn words(self) -> String {
        match self.urgency {
            Some(urgency) => format!("{}, {}", self.outcome.word(), urgency.word()),
            None => self.outcome.word().to_owned(),
        }
    }

    /// The same with the outcome in capitals, as a verdict is shown.
    pub(crate) fn verdict_words(self) -> String {
        let outcome = self.outcome.word().to_uppercase();
        match self.urgency {
            Some(urgency) => format!("{outcome}, {}", urgency.word()),
            None => outcome,
        }
    }
}

/// The span from the best to the worst case, and the verdict between them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OutcomeSpan {
    /// The worst among the rules that fire; go if none does.
    pub best_case: Standing,
    /// The worst among these and the undetermined rules, as if those fired.
    pub worst_case: Standing,
}

impl OutcomeSpan {
    /// Combines what the rules that fire ask for, and what those that are undetermined would.
    pub fn of(
        firing: impl Iterator<Item = Standing>,
        undetermined: impl Iterator<Item = Standing>,
    ) -> Self {
        let best_case = firing.max().unwrap_or(Standing::GO);
        let worst_case = undetermined.max().unwrap_or(Standing::GO).max(best_case);
        Self {
            best_case,
            worst_case,
        }
    }

    /// Go only when nothing, known or missing, speaks against it; refer when that is established;
    /// everything between is defer.
    pub fn verdict(self) -> Standing {
        match (self.best_case.outcome, self.worst_case.outcome) {
            (Outcome::Go, Outcome::Go) => Standing::GO,
            (Outcome::Refer, _) => self.best_case,
            _ => Standing::new(Outcome::Defer, None),
        }
    }

    /// What the verdict could still become, if that is worse than what it is. A more pressing referral counts as worse.
    pub fn could_be(self) -> Option<Standing> {
        (self.worst_case > self.verdict()).then_some(self.worst_case)
    }
}
