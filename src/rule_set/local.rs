//! Local policy: what one clinic changes of a rule set for itself, and whether a change loosens it.
//!
//! Loosening is judged by form, once, while loading: a rule counts although another may still catch
//! the same patients, and a limit that feeds a computation loosens "perhaps". `rules prove --local`
//! and `rules compare --local` judge it exactly.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::outcome::Outcome;
use crate::rule_set::condition::{Comparison, Condition, Test};
use crate::rule_set::rule::Rule;
use crate::rule_set::{Agent, Limit};
use crate::table::Idx;
use crate::truth::FactSlot;

/// What a clinic changes. The rule set that holds it is changed already.
#[derive(Debug, Clone, PartialEq)]
pub struct LocalPolicy {
    /// The clinic's name.
    pub clinic: String,
    /// The file as the user named it.
    pub path: String,
    /// SHA-256 of the file's bytes, in hexadecimal. The rule set's own digest stays what it is.
    pub digest: String,
    /// The changes, in the order of the file; at least one.
    pub changes: Vec<LocalChange>,
    /// The choices of the plan to which the clinic keeps.
    pub offers: BTreeMap<FactSlot, Offered>,
}

/// One change, told to people.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LocalChange {
    /// What is changed.
    pub kind: LocalKind,
    /// The limit, rule, name or choices that it is about.
    pub about: String,
    /// The change in a few words, without a full stop.
    pub what: String,
    /// Why the clinic does it so.
    pub reason: String,
    /// The role that agreed to it.
    pub agreed_by: String,
    /// The day on which it was agreed.
    pub agreed_on: NaiveDate,
    /// The day by which it must be looked at again.
    pub review_by: NaiveDate,
    /// Whether it loosens the rule set.
    pub loosens: Loosens,
    /// How it loosens it; `None` if it does not.
    pub how: Option<String>,
}

/// What a change is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LocalKind {
    /// Another value for a limit.
    Limit,
    /// A rule of the clinic's own.
    AddRule,
    /// A more cautious outcome for a rule.
    Raise,
    /// A rule that no longer counts.
    Retire,
    /// Fewer choices of the plan.
    Offers,
    /// A local name of a medicine.
    MedicineName,
    /// A local name of a substance or group.
    AllergenName,
}

impl LocalKind {
    /// Every kind.
    pub const ALL: [Self; 7] = [
        Self::Limit,
        Self::AddRule,
        Self::Raise,
        Self::Retire,
        Self::Offers,
        Self::MedicineName,
        Self::AllergenName,
    ];

    /// The key by which a file names it, and the word of reports for programs.
    pub fn word(self) -> &'static str {
        match self {
            Self::Limit => "limit",
            Self::AddRule => "add_rule",
            Self::Raise => "raise",
            Self::Retire => "retire",
            Self::Offers => "offers",
            Self::MedicineName => "medicine_name",
            Self::AllergenName => "allergen_name",
        }
    }
}

/// Whether a change loosens a rule set: whether some patient could come to a better verdict by it, or lose a precaution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Loosens {
    /// It cannot.
    No,
    /// The form does not tell: it may.
    Perhaps,
    /// It can.
    Yes,
}

impl Loosens {
    /// The word of reports.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::No => "no",
            Self::Perhaps => "perhaps",
            Self::Yes => "yes",
        }
    }
}

/// What the clinic offers of one choice of the plan.
#[derive(Debug, Clone, PartialEq)]
pub enum Offered {
    /// These options, as bits.
    Options(u64),
    /// These solutions of local anaesthetic: agent, and strength in per cent.
    Solutions(Vec<(Idx<Agent>, f64)>),
}

impl Offered {
    /// Leaves only what the other offers, too.
    pub fn keep_to(&mut self, other: &Self) {
        match (self, other) {
            (Self::Options(bits), Self::Options(kept)) => *bits &= kept,
            (Self::Solutions(solutions), Self::Solutions(kept)) => {
                solutions.retain(|it| kept.contains(it))
            }
            // One choice is never of both kinds; should it be, nothing is offered.
            (Self::Options(bits), Self::Solutions(_)) => *bits = 0,
            (Self::Solutions(solutions), Self::Options(_)) => solutions.clear(),
        }
    }
}

impl LocalPolicy {
    /// The ids of the rules that it takes out.
    pub(crate) fn retired(&self) -> impl Iterator<Item = &str> {
        self.changes
            .iter()
            .filter(|it| it.kind == LocalKind::Retire)
            .map(|it| it.about.as_str())
    }

    /// Whether it changes the limit of this id.
    pub(crate) fn changes_limit(&self, id: &str) -> bool {
        self.changes
            .iter()
            .any(|it| it.kind == LocalKind::Limit && it.about == id)
    }
}

/// The rules whose conditions hold for fewer patients when a limit rises, or falls. Judged by the form alone: a rule counts
/// although another one may still catch the same patients. Precautions count where no rule above go uses the limit: else
/// whom they lose, that rule gains.
pub fn loosened_by_limit(rules: &[Rule], limit: Idx<Limit>, rises: bool) -> Vec<&str> {
    let is_strict = |it: &Rule| it.outcome > Outcome::Go;
    let by_strict = rules
        .iter()
        .any(|it| is_strict(it) && it.when.limits().contains(&limit));
    let counted = rules.iter().filter(|it| is_strict(it) == by_strict);
    counted
        .filter(|it| holds_for_fewer(&it.when, limit, rises))
        .map(|it| it.id.as_str())
        .collect()
}

/// Whether the limit stands anywhere in a condition so that moving it can make the condition hold for fewer patients.
pub fn holds_for_fewer(condition: &Condition, limit: Idx<Limit>, rises: bool) -> bool {
    match condition {
        Condition::All(parts) | Condition::Any(parts) => {
            parts.iter().any(|it| holds_for_fewer(it, limit, rises))
        }
        // What holds for fewer when the limit rises holds for more when it falls, and `not` turns that round.
        Condition::Not(part) => holds_for_fewer(part, limit, !rises),
        Condition::Fact { test, .. } => test_holds_for_fewer(test, limit, rises),
        Condition::Taking { .. } | Condition::AllergicTo { .. } | Condition::Answers(_) => false,
    }
}

fn test_holds_for_fewer(test: &Test, limit: Idx<Limit>, rises: bool) -> bool {
    let is = |it: Option<Idx<Limit>>| it == Some(limit);
    match test {
        Test::Compare(Comparison::Above | Comparison::AtLeast, it) => is(it.limit) && rises,
        Test::Compare(Comparison::Below | Comparison::AtMost, it) => is(it.limit) && !rises,
        Test::Between(low, high) => (is(low.limit) && rises) || (is(high.limit) && !rises),
        Test::OlderThan(it) => is(it.limit) && rises,
        Test::Within(it) => is(it.limit) && !rises,
        Test::OneOf(_) | Test::NoneOf(_) | Test::Includes(_) => false,
    }
}
