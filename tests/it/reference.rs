//! A slow, obvious second evaluator. Shares no code with `facts::holds` or `evaluate`: it is the specification.

use std::collections::BTreeSet;

use chrono::{Days, Months, NaiveDateTime};
use preblock::facts::{Fact, Facts, Value};
use preblock::model::{Comparison, Condition, Odds, RuleSet, Test};
use preblock::quantity::span::{Span, SpanUnit};
use preblock::quantity::when::When;
use preblock::truth::FactSlot;

/// Yes, no, or the facts that keep it open.
pub type Came = Result<bool, BTreeSet<FactSlot>>;

pub fn came(condition: &Condition, facts: &Facts) -> Came {
    match condition {
        Condition::All(parts) => {
            let all: Vec<Came> = parts.iter().map(|it| came(it, facts)).collect();
            if all.contains(&Ok(false)) { Ok(false) } else { open_or(all, true) }
        }
        Condition::Any(parts) => {
            let all: Vec<Came> = parts.iter().map(|it| came(it, facts)).collect();
            if all.contains(&Ok(true)) { Ok(true) } else { open_or(all, false) }
        }
        Condition::Not(part) => came(part, facts).map(|it| !it),
        Condition::Taking { fact, medicines, at_least, .. } => {
            let Value::Medicines(entries) = value(facts, *fact)? else { return Err(BTreeSet::from([*fact])) };
            let mut distinct: Vec<usize> = Vec::new();
            let mut strange: Vec<String> = Vec::new();
            for entry in entries {
                match entry.medicine {
                    Some(at) if medicines.iter().any(|it| it == at) && !distinct.contains(&at) => distinct.push(at),
                    Some(_) => {}
                    None => {
                        let text = entry.text.to_lowercase().split_whitespace().collect::<Vec<_>>().join(" ");
                        if !strange.contains(&text) {
                            strange.push(text);
                        }
                    }
                }
            }
            let (sure, possible) = (distinct.len(), distinct.len() + strange.len());
            if sure >= usize::from(*at_least) {
                Ok(true)
            } else if possible < usize::from(*at_least) {
                Ok(false)
            } else {
                Err(BTreeSet::from([*fact]))
            }
        }
        Condition::AllergicTo { fact, substances, reactions, .. } => {
            let Value::Allergies(entries) = value(facts, *fact)? else { return Err(BTreeSet::from([*fact])) };
            let one = |entry: &preblock::facts::AllergyEntry| -> Came {
                let meant: Option<Vec<usize>> = entry.substances.as_ref().map(|it| it.iter().collect());
                let substance = match meant {
                    None => Err(BTreeSet::from([*fact])),
                    // A group without members: the word says something, and nobody knows what.
                    Some(meant) if meant.is_empty() => Err(BTreeSet::from([*fact])),
                    Some(meant) => {
                        let inside = meant.iter().filter(|at| substances.iter().any(|it| it == **at)).count();
                        if inside == 0 {
                            Ok(false)
                        } else if inside == meant.len() {
                            Ok(true)
                        } else {
                            Err(BTreeSet::from([*fact]))
                        }
                    }
                };
                let reaction = match (reactions, entry.reaction) {
                    (None, _) => Ok(true),
                    (Some(_), None) => Err(BTreeSet::from([*fact])),
                    (Some(wanted), Some(at)) => Ok(wanted.iter().any(|it| it == at)),
                };
                let both = vec![substance, reaction];
                if both.contains(&Ok(false)) { Ok(false) } else { open_or(both, true) }
            };
            let all: Vec<Came> = entries.iter().map(one).collect();
            if all.contains(&Ok(true)) { Ok(true) } else { open_or(all, false) }
        }
        Condition::Fact { fact, test } => tested(*fact, test, facts),
        Condition::Answers(Odds::RuledOut) => Ok(!facts.ruled_out.is_empty()),
        Condition::Answers(Odds::NotOffered) => match (facts.not_offered.len(), facts.offer_open.len()) {
            (0, 0) => Ok(false),
            (0, _) => Err(facts.offer_open.clone()),
            _ => Ok(true),
        },
    }
}

/// The answered questions that certainly do not apply, found by going over all questions until nothing moves: a question
/// does not apply once its `ask_when` is no, counting as no each test of a missing answer whose question does not apply.
pub fn ruled_out(rules: &RuleSet, facts: &Facts) -> BTreeSet<FactSlot> {
    let missing = |slot: FactSlot| value(facts, slot).is_err();
    let mut not_asked: BTreeSet<FactSlot> = BTreeSet::new();
    loop {
        let questions = rules.catalogue.questions.iter();
        let now: BTreeSet<FactSlot> = questions
            .filter(|it| it.ask_when.as_ref().is_some_and(|when| applies(when, facts, &not_asked) == Some(false)))
            .flat_map(|it| [Some(it.slot), it.date_slot])
            .flatten()
            .collect();
        if now == not_asked {
            return rules.catalogue.questions.iter().map(|it| it.slot).filter(|it| now.contains(it) && !missing(*it)).collect();
        }
        not_asked = now;
    }
}

/// Yes, no or neither, with the tests of these missing answers counted as no.
fn applies(when: &Condition, facts: &Facts, not_asked: &BTreeSet<FactSlot>) -> Option<bool> {
    let each = |parts: &[Condition]| parts.iter().map(|it| applies(it, facts, not_asked)).collect::<Vec<_>>();
    match when {
        Condition::All(parts) => {
            let all = each(parts);
            if all.contains(&Some(false)) { Some(false) } else { (!all.contains(&None)).then_some(true) }
        }
        Condition::Any(parts) => {
            let all = each(parts);
            if all.contains(&Some(true)) { Some(true) } else { (!all.contains(&None)).then_some(false) }
        }
        Condition::Not(part) => applies(part, facts, not_asked).map(|it| !it),
        Condition::Taking { fact, .. } | Condition::AllergicTo { fact, .. } | Condition::Fact { fact, .. } => match came(when, facts) {
            Ok(came) => Some(came),
            Err(_) => (not_asked.contains(fact) && value(facts, *fact).is_err()).then_some(false),
        },
        Condition::Answers(_) => came(when, facts).ok(),
    }
}

/// Everything that is open, taken together; this if nothing is.
fn open_or(all: Vec<Came>, otherwise: bool) -> Came {
    let open: BTreeSet<FactSlot> = all.into_iter().filter_map(Result::err).flatten().collect();
    if open.is_empty() { Ok(otherwise) } else { Err(open) }
}

fn value(facts: &Facts, slot: FactSlot) -> Result<&Value, BTreeSet<FactSlot>> {
    match facts.facts.get(usize::from(slot.0)) {
        Some(Fact::Known(known)) => Ok(&known.value),
        Some(Fact::Missing(missing)) => Err(missing.needs.clone()),
        None => Err(BTreeSet::from([slot])),
    }
}

fn tested(slot: FactSlot, test: &Test, facts: &Facts) -> Came {
    if let Test::OlderThan(limit) | Test::Within(limit) = test {
        let taken = value(facts, slot);
        let mut open: BTreeSet<FactSlot> = taken.as_ref().err().cloned().unwrap_or_default();
        if facts.procedure_on.is_none() {
            open.extend(facts.procedure_needs.iter().copied());
        }
        let (Ok(Value::Date(taken)), Some(on)) = (taken, facts.procedure_on) else { return Err(open) };
        let older = older(taken, &on, &limit.span);
        return Ok(if matches!(test, Test::OlderThan(_)) { older } else { !older });
    }
    let answer = match (test, value(facts, slot)?) {
        (Test::OneOf(options), Value::Choice(at)) => options.iter().any(|it| it == at),
        (Test::NoneOf(options), Value::Choice(at)) => options.iter().all(|it| it != at),
        (Test::Includes(options), Value::Choices(bits)) => (0..64_u16).any(|at| bits & (1 << at) != 0 && options.contains(&at)),
        (Test::Includes(options), Value::Plan(plan)) => plan.iter().any(|it| options.iter().any(|at| usize::from(*at) == it.agent)),
        (Test::Compare(how, with), Value::Number(number)) => compares(*how, *number, with.value),
        (Test::Compare(how, with), Value::Date(when)) => compares(*how, day(when), with.value),
        (Test::Between(low, high), Value::Number(number)) => low.value <= *number && *number <= high.value,
        (Test::Between(low, high), Value::Date(when)) => low.value <= day(when) && day(when) <= high.value,
        _ => return Err(BTreeSet::from([slot])),
    };
    Ok(answer)
}

fn compares(how: Comparison, number: f64, with: f64) -> bool {
    match how {
        Comparison::Above => number > with,
        Comparison::AtLeast => number >= with,
        Comparison::Below => number < with,
        Comparison::AtMost => number <= with,
    }
}

fn day(when: &When) -> f64 {
    f64::from(chrono::Datelike::num_days_from_ce(&when.date))
}

/// Whether the last moment at which it still counted lies before the procedure.
fn older(taken: &When, on: &When, span: &Span) -> bool {
    let count = span.count;
    match span.unit {
        SpanUnit::Months => taken.date.checked_add_months(Months::new(count)).is_some_and(|last| last < on.date),
        SpanUnit::Years => taken.date.checked_add_months(Months::new(count * 12)).is_some_and(|last| last < on.date),
        _ => {
            let hours = u64::from(count)
                * if span.unit == SpanUnit::Hours {
                    1
                } else if span.unit == SpanUnit::Days {
                    24
                } else {
                    168
                };
            let both = taken.time.zip(on.time);
            let moment = |when: &When| -> NaiveDateTime { when.date.and_time(both.and(when.time).unwrap_or_default()) };
            let whole = moment(taken).checked_add_days(Days::new(hours / 24));
            let rest = chrono::TimeDelta::hours(i64::try_from(hours % 24).unwrap_or(0));
            whole.and_then(|it| it.checked_add_signed(rest)).is_some_and(|last| last < moment(on))
        }
    }
}
