//! What a decision still needs before it may be signed.

use std::fmt;

use crate::outcome::Outcome;
use crate::register::happening::{Decided, RuleTold, Screened};
use crate::register::people::{Person, PersonRole};
use crate::rule_set::{MaySetAside, RuleSet};

/// Something that a decision lacks. Its `Display` is a sentence for people, without its full stop.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Lacking {
    /// The screening is by another rule set than the one at hand.
    RuleSet,
    /// Nobody signs who may decide.
    Clinician,
    /// The sentence that is signed.
    Sentence,
    /// A note or a name that is not marked read.
    Read(String),
    /// A rule stands against the decision and is not set aside.
    SetAside(RuleTold),
    /// A rule that is set aside does not stand against the decision.
    Needless(String),
    /// A rule is set aside twice.
    Twice(String),
    /// A rule is set aside for a reason that is not on the rule set's list.
    Reason(String),
    /// A rule is set aside without a sentence.
    Why(String),
    /// A rule that nobody may set aside.
    Never(String),
    /// A rule that only two clinicians may set aside.
    Two(String),
}

impl fmt::Display for Lacking {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::RuleSet => {
                f.write_str("the screening is by another edition of the rules; screen again")
            }
            Self::Clinician => f.write_str("only a clinician decides"),
            Self::Sentence => f.write_str("the sentence that is signed is missing"),
            Self::Read(text) => write!(f, "not marked read: {text}"),
            Self::SetAside(rule) => write!(f, "`{}` stands against it: {}", rule.rule, rule.title),
            Self::Needless(rule) => write!(
                f,
                "`{rule}` does not stand against it and need not be set aside"
            ),
            Self::Twice(rule) => write!(f, "`{rule}` is set aside twice"),
            Self::Reason(rule) => write!(
                f,
                "`{rule}` is set aside without a reason of the rule set's list"
            ),
            Self::Why(rule) => write!(f, "`{rule}` is set aside without a sentence"),
            Self::Never(rule) => write!(f, "`{rule}` may be set aside by nobody"),
            Self::Two(rule) => write!(f, "`{rule}` may be set aside by two clinicians only"),
        }
    }
}

/// The rules that stand against a decision for this outcome: each that fires or waits and asks for a worse one.
///
/// There are none for a decision as cautious as the verdict: nothing is set aside then.
pub fn against(screened: &Screened, outcome: Outcome) -> Vec<&RuleTold> {
    if outcome >= screened.outcome {
        return Vec::new();
    }
    screened
        .fires
        .iter()
        .chain(&screened.waits)
        .filter(|it| it.outcome > outcome)
        .collect()
}

/// Whether this may be decided on a screening by those who sign: the first, and the second if there is one.
///
/// # Errors
/// All that it lacks.
pub fn may_decide(
    rule_set: &RuleSet,
    screened: &Screened,
    decided: &Decided,
    signs: &[Person],
) -> Result<(), Vec<Lacking>> {
    let mut lacking = Vec::new();
    if screened.rule_set != rule_set.digest {
        lacking.push(Lacking::RuleSet);
    }
    let is_clinician = |it: &Person| it.is_on && it.role == PersonRole::Clinician;
    if signs.is_empty() || !signs.iter().all(is_clinician) {
        lacking.push(Lacking::Clinician);
    }
    let are_two = matches!(signs, [first, second] if first.initials != second.initials);
    if decided.sentence.trim().is_empty() {
        lacking.push(Lacking::Sentence);
    }
    let unread = screened
        .to_read
        .iter()
        .filter(|it| !decided.read.contains(it));
    lacking.extend(unread.cloned().map(Lacking::Read));
    let against = against(screened, decided.outcome);
    for (at, aside) in decided.set_aside.iter().enumerate() {
        let id = &aside.rule;
        if !against.iter().any(|it| it.rule == *id) {
            lacking.push(Lacking::Needless(id.clone()));
        }
        if decided.set_aside.iter().take(at).any(|it| it.rule == *id) {
            lacking.push(Lacking::Twice(id.clone()));
        }
        if !rule_set.reasons.iter().any(|it| it.id == aside.reason) {
            lacking.push(Lacking::Reason(id.clone()));
        }
        if aside.sentence.trim().is_empty() {
            lacking.push(Lacking::Why(id.clone()));
        }
        match rule_set
            .judging
            .iter()
            .find(|it| it.id == *id)
            .map(|it| it.set_aside)
        {
            Some(MaySetAside::One) => {}
            Some(MaySetAside::Two) if are_two => {}
            Some(MaySetAside::Two) => lacking.push(Lacking::Two(id.clone())),
            // A rule that is not known is not one that somebody may set aside.
            Some(MaySetAside::Never) | None => lacking.push(Lacking::Never(id.clone())),
        }
    }
    for rule in against {
        if !decided.set_aside.iter().any(|it| it.rule == rule.rule) {
            lacking.push(Lacking::SetAside(rule.clone()));
        }
    }
    if lacking.is_empty() {
        Ok(())
    } else {
        Err(lacking)
    }
}
