//! What cannot be, decided exactly from the form of conditions: one member of a list failing or holding alone.
//!
//! Only sure things count. A detail is refused when the question that opens it says no (`ask_when`), so that a rule's gate
//! cannot fail while a test of the detail holds; and what one condition implies cannot fail while that one holds.

use super::mutants::steps::plain;
use crate::model::{Comparison, Condition, Formula, Input, RuleSet, Test};
use crate::truth::FactSlot;

/// Whether a member of an `all` certainly cannot fail while all others hold.
pub fn cannot_fail_alone(rule_set: &RuleSet, members: &[Condition], at: usize) -> bool {
    let Some(own) = members.get(at) else { return false };
    let others = members.iter().enumerate().filter(|(other, _)| *other != at).map(|(_, it)| it);
    others.into_iter().any(|it| implies(it, own) || needs(rule_set, it, own, true))
}

/// Whether a member of an `any` certainly cannot hold while no other does.
pub fn cannot_hold_alone(rule_set: &RuleSet, members: &[Condition], at: usize) -> bool {
    let Some(own) = members.get(at) else { return false };
    let mut others = members.iter().enumerate().filter(|(other, _)| *other != at).map(|(_, it)| it);
    let does_not = Condition::Not(Box::new(own.clone()));
    // The answer that would make the other fail is refused, or this one needs an answer that the other opens.
    others.any(|it| implies(own, it) || needs(rule_set, own, it, true) || needs(rule_set, it, &does_not, false))
}

/// Whether the first is certainly no wherever the second is.
fn implies(first: &Condition, second: &Condition) -> bool {
    let (first, second) = (plain(first.clone()), plain(second.clone()));
    if first == second {
        return true;
    }
    match (&first, &second) {
        (_, Condition::All(parts)) => parts.iter().all(|it| implies(&first, it)),
        (Condition::Any(parts), _) => parts.iter().all(|it| implies(it, &second)),
        (Condition::All(parts), _) if parts.iter().any(|it| implies(it, &second)) => true,
        (_, Condition::Any(parts)) => parts.iter().any(|it| implies(&first, it)),
        (Condition::Taking { medicines, at_least, .. }, Condition::Taking { medicines: wider, at_least: fewer, .. }) => {
            medicines.within(wider) && at_least >= fewer
        }
        (Condition::Fact { fact, test }, Condition::Fact { fact: other, test: wider }) => fact == other && narrower(test, wider),
        _ => false,
    }
}

fn narrower(test: &Test, wider: &Test) -> bool {
    let bits = |options: &[u16]| options.iter().fold(0_u64, |bits, at| bits | 1 << at);
    let inside = |a: u64, b: u64| a & !b == 0;
    match (test, wider) {
        (Test::OneOf(a), Test::OneOf(b)) | (Test::Includes(a), Test::Includes(b)) => inside(bits(a), bits(b)),
        (Test::OneOf(a), Test::NoneOf(b)) => bits(a) & bits(b) == 0,
        (Test::NoneOf(a), Test::NoneOf(b)) => inside(bits(b), bits(a)),
        (Test::Compare(a, low), Test::Compare(b, high)) => match (a, b) {
            (Comparison::Below | Comparison::AtMost, Comparison::AtMost) | (Comparison::Below, Comparison::Below) => {
                low.value <= high.value
            }
            (Comparison::AtMost, Comparison::Below) => low.value < high.value,
            (Comparison::Above | Comparison::AtLeast, Comparison::AtLeast) | (Comparison::Above, Comparison::Above) => {
                low.value >= high.value
            }
            (Comparison::AtLeast, Comparison::Above) => low.value > high.value,
            _ => false,
        },
        _ => false,
    }
}

/// Whether a condition can only hold (or only fail) where an answer is known that is refused while the gate is no.
fn needs(rule_set: &RuleSet, condition: &Condition, gate: &Condition, holds: bool) -> bool {
    match (condition, holds) {
        (Condition::All(parts), true) | (Condition::Any(parts), false) => parts.iter().any(|it| needs(rule_set, it, gate, holds)),
        (Condition::Any(parts), true) | (Condition::All(parts), false) => parts.iter().all(|it| needs(rule_set, it, gate, holds)),
        (Condition::Not(part), _) => needs(rule_set, part, gate, !holds),
        (Condition::Fact { fact, .. }, _) => refused(rule_set, *fact, gate),
        _ => false,
    }
}

/// Whether a fact cannot be known while the gate is no.
fn refused(rule_set: &RuleSet, slot: FactSlot, gate: &Condition) -> bool {
    if let Some(question) = rule_set.catalogue.question_of(slot) {
        return question.ask_when.as_ref().is_some_and(|it| implies(it, gate));
    }
    let Some(derived) = rule_set.catalogue.derived_of(slot) else { return false };
    let input = |role: usize| match derived.inputs.get(role) {
        Some(Input::Fact(of)) => refused(rule_set, *of, gate),
        _ => false,
    };
    match derived.formula {
        Formula::CompletedYears
        | Formula::BodyMassIndex
        | Formula::IdealWeight
        | Formula::LowerOf
        | Formula::CockcroftGault
        | Formula::CountOf
        | Formula::PressureIndex => (0..derived.inputs.len()).any(input),
        // One side is enough.
        Formula::LowestOfOperated | Formula::HighestOfOperated => input(0) || (input(1) && input(2)),
        // These may do without some input.
        _ => false,
    }
}
