//! A slow, obvious second evaluator. Shares no code with `facts::holds` or `evaluate`: it is the specification.

use std::collections::BTreeSet;

use chrono::{Days, Months, NaiveDateTime};
use preblock::inner::quantity::span::{Span, SpanUnit};
use preblock::inner::quantity::when::When;
use preblock::inner::questionnaire::facts::{Fact, Facts, Known, Missing, Trial, Value, Why};
use preblock::inner::rule_set::{
    Answer, Comparison, Condition, Idx, Medicine, Question, RuleSet, Substance, Test,
};
use preblock::inner::truth::FactSlot;

/// Yes, no, or the facts that keep it open.
pub type Came = Result<bool, BTreeSet<FactSlot>>;

pub fn came(condition: &Condition, facts: &Facts) -> Came {
    match condition {
        Condition::All(parts) => {
            let all: Vec<Came> = parts.iter().map(|it| came(it, facts)).collect();
            if all.contains(&Ok(false)) {
                Ok(false)
            } else {
                open_or(all, true)
            }
        }
        Condition::Any(parts) => {
            let all: Vec<Came> = parts.iter().map(|it| came(it, facts)).collect();
            if all.contains(&Ok(true)) {
                Ok(true)
            } else {
                open_or(all, false)
            }
        }
        Condition::Not(part) => came(part, facts).map(|it| !it),
        Condition::Taking {
            fact,
            medicines,
            at_least,
            ..
        } => {
            let Value::Medicines(entries) = value(facts, *fact)? else {
                return Err(BTreeSet::from([*fact]));
            };
            let mut distinct: Vec<Idx<Medicine>> = Vec::new();
            let mut strange: Vec<String> = Vec::new();
            for entry in entries {
                match entry.medicine {
                    Some(at) if medicines.iter().any(|it| it == at) && !distinct.contains(&at) => {
                        distinct.push(at)
                    }
                    Some(_) => {}
                    None => {
                        let text = entry
                            .text
                            .to_lowercase()
                            .split_whitespace()
                            .collect::<Vec<_>>()
                            .join(" ");
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
        Condition::AllergicTo {
            fact,
            substances,
            reactions,
            ..
        } => {
            let Value::Allergies(entries) = value(facts, *fact)? else {
                return Err(BTreeSet::from([*fact]));
            };
            let one = |entry: &preblock::inner::questionnaire::facts::AllergyEntry| -> Came {
                let meant: Option<Vec<Idx<Substance>>> =
                    entry.substances.as_ref().map(|it| it.iter().collect());
                let substance = match meant {
                    None => Err(BTreeSet::from([*fact])),
                    // A group without members: the word says something, and nobody knows what.
                    Some(meant) if meant.is_empty() => Err(BTreeSet::from([*fact])),
                    Some(meant) => {
                        let inside = meant
                            .iter()
                            .filter(|at| substances.iter().any(|it| it == **at))
                            .count();
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
                if both.contains(&Ok(false)) {
                    Ok(false)
                } else {
                    open_or(both, true)
                }
            };
            let all: Vec<Came> = entries.iter().map(one).collect();
            if all.contains(&Ok(true)) {
                Ok(true)
            } else {
                open_or(all, false)
            }
        }
        Condition::Fact { fact, test } => tested(*fact, test, facts),
        Condition::Answers(conflict) => {
            let (there, open) = (
                facts.conflicts(*conflict).len(),
                facts.conflicts_open(*conflict),
            );
            match (there, open.len()) {
                (0, 0) => Ok(false),
                (0, _) => Err(open.clone()),
                _ => Ok(true),
            }
        }
    }
}

/// Which answers count, as specified.
pub struct Counted {
    /// The facts that count; derived ones as they were given.
    pub facts: Trial,
    /// Answers that contradict another one.
    pub ruled_out: BTreeSet<FactSlot>,
    /// What must be known to say whether others do.
    pub open: BTreeSet<FactSlot>,
}

/// Found by going over all questions until nothing moves: whether a question applies follows from what counts, and what
/// counts from whether its question applies.
pub fn counted(rules: &RuleSet, facts: &Facts) -> Counted {
    let questions = &rules.catalogue.questions;
    let mut given = Trial::of(facts);
    for it in facts.set_aside() {
        given.put(questions[it.question].slot, it.fact.clone());
        if let (Some(slot), Some(date)) = (questions[it.question].date_slot, &it.date) {
            given.put(slot, date.clone());
        }
    }
    let mut counts = given.clone();
    let mut apply: Vec<Came> = vec![Ok(true); questions.len()];
    for _ in 0..=questions.len() {
        let now: Vec<Came> = questions
            .iter()
            .map(|it| {
                it.ask_when
                    .as_ref()
                    .map_or(Ok(true), |when| applies(when, rules, &counts, &apply))
            })
            .collect();
        let mut next = given.clone();
        for (question, applies) in questions.iter().zip(&now) {
            let instead = instead(question, applies, &given);
            if let Some(date) = question.date_slot.filter(|_| instead.is_some()) {
                let needs = if let Some(Fact::Missing(it)) = &instead {
                    it.needs.clone()
                } else {
                    BTreeSet::from([question.slot])
                };
                next.put(date, missing(needs));
            }
            if let Some(fact) = instead {
                next.put(question.slot, fact);
            }
        }
        (counts, apply) = (next, now);
    }
    let hazards = questions.iter().zip(&apply).filter(
        |(it, _)| matches!(given.get(it.slot), Fact::Known(known) if !given.is_standing(it.slot) && !is_harmless(it, &known.value)),
    );
    let (mut ruled_out, mut open) = (BTreeSet::new(), BTreeSet::new());
    for (question, applies) in hazards {
        match applies {
            Ok(true) => {}
            Ok(false) => {
                ruled_out.insert(question.slot);
            }
            Err(needs) => open.extend(needs),
        }
    }
    Counted {
        facts: counts,
        ruled_out,
        open,
    }
}

/// What counts instead of what was given; nothing if that counts.
fn instead(question: &Question, applies: &Came, given: &Facts) -> Option<Fact> {
    let known = match given.get(question.slot) {
        Fact::Known(known) => Some(known),
        Fact::Missing(_) => None,
    };
    let dated = question
        .date_slot
        .is_some_and(|it| matches!(given.get(it), Fact::Known(_)));
    if known
        .is_some_and(|it| !given.is_standing(question.slot) && !is_harmless(question, &it.value))
    {
        return None;
    }
    let other = question.otherwise.map(Value::Choice);
    let standing = given.is_standing(question.slot);
    match (applies, other) {
        (Ok(true), _) => None,
        (_, Some(value)) if known.is_some_and(|it| it.value == value) => None,
        (Ok(false), Some(value)) => Some(Fact::Known(Known {
            value,
            shown: String::new(),
            place: None,
        })),
        (Ok(false), None) => {
            (known.is_some() || dated).then(|| missing(BTreeSet::from([question.slot])))
        }
        (Err(_), _) if standing => None,
        (Err(needs), _) if known.is_some() || dated => Some(missing(needs.clone())),
        (Err(needs), Some(_)) => Some(missing(
            needs.iter().copied().chain([question.slot]).collect(),
        )),
        (Err(_), None) => None,
    }
}

/// Whether an answer says no more than that there is nothing, or says nothing by itself.
fn is_harmless(question: &Question, value: &Value) -> bool {
    let says_nothing = |at: usize| match &question.answer {
        Answer::YesNo => at == 0,
        Answer::OneOf(options) | Answer::SeveralOf(options) => options[at].nothing,
        _ => false,
    };
    question.harmless_alone
        || match value {
            Value::Choice(at) => says_nothing(usize::from(*at)),
            Value::Choices(bits) => (0..60).filter(|at| bits & (1 << at) != 0).all(says_nothing),
            Value::Medicines(entries) => entries.is_empty(),
            Value::Allergies(entries) => entries.is_empty(),
            Value::Plan(plan) => plan.is_empty(),
            Value::Text => true,
            Value::Number(_) | Value::Date(_) => false,
        }
}

fn missing(needs: BTreeSet<FactSlot>) -> Fact {
    Fact::Missing(Missing {
        why: Why::NotAsked,
        needs,
    })
}

/// Whether a condition for asking holds, with the tests of missing answers counted as no whose questions do not apply.
fn applies(when: &Condition, rules: &RuleSet, facts: &Facts, apply: &[Came]) -> Came {
    let each = |parts: &[Condition]| {
        parts
            .iter()
            .map(|it| applies(it, rules, facts, apply))
            .collect::<Vec<Came>>()
    };
    match when {
        Condition::All(parts) => {
            let all = each(parts);
            if all.contains(&Ok(false)) {
                Ok(false)
            } else {
                open_or(all, true)
            }
        }
        Condition::Any(parts) => {
            let all = each(parts);
            if all.contains(&Ok(true)) {
                Ok(true)
            } else {
                open_or(all, false)
            }
        }
        Condition::Not(part) => applies(part, rules, facts, apply).map(|it| !it),
        Condition::Taking { fact, .. }
        | Condition::AllergicTo { fact, .. }
        | Condition::Fact { fact, .. } => {
            let Err(open) = came(when, facts) else {
                return came(when, facts);
            };
            let asks = rules
                .catalogue
                .questions
                .iter()
                .position(|it| it.slot == *fact || it.date_slot == Some(*fact));
            match asks
                .filter(|_| value(facts, *fact).is_err())
                .map(|it| &apply[it])
            {
                Some(Ok(false)) => Ok(false),
                Some(Err(more)) => Err(open.iter().chain(more).copied().collect()),
                _ => Err(open),
            }
        }
        Condition::Answers(_) => came(when, facts),
    }
}

/// Everything that is open, taken together; this if nothing is.
fn open_or(all: Vec<Came>, otherwise: bool) -> Came {
    let open: BTreeSet<FactSlot> = all.into_iter().filter_map(Result::err).flatten().collect();
    if open.is_empty() {
        Ok(otherwise)
    } else {
        Err(open)
    }
}

/// A value, or what would settle it.
pub fn value(facts: &Facts, slot: FactSlot) -> Result<&Value, BTreeSet<FactSlot>> {
    match facts.get(slot) {
        Fact::Known(known) => Ok(&known.value),
        Fact::Missing(missing) => Err(missing.needs.clone()),
    }
}

fn tested(slot: FactSlot, test: &Test, facts: &Facts) -> Came {
    if let Test::OlderThan(limit) | Test::Within(limit) = test {
        let taken = value(facts, slot);
        let mut open: BTreeSet<FactSlot> = taken.as_ref().err().cloned().unwrap_or_default();
        if facts.procedure_on().is_none() {
            open.extend(facts.procedure_needs().iter().copied());
        }
        let (Ok(Value::Date(taken)), Some(on)) = (taken, facts.procedure_on()) else {
            return Err(open);
        };
        let older = older(taken, &on, &limit.span);
        return Ok(if matches!(test, Test::OlderThan(_)) {
            older
        } else {
            !older
        });
    }
    let answer = match (test, value(facts, slot)?) {
        (Test::OneOf(options), Value::Choice(at)) => options.iter().any(|it| it == at),
        (Test::NoneOf(options), Value::Choice(at)) => options.iter().all(|it| it != at),
        (Test::Includes(options), Value::Choices(bits)) => {
            (0..64_u16).any(|at| bits & (1 << at) != 0 && options.contains(&at))
        }
        (Test::Includes(options), Value::Plan(plan)) => plan.iter().any(|it| {
            options
                .iter()
                .any(|at| usize::from(*at) == it.agent.index())
        }),
        (Test::Compare(how, with), Value::Number(number)) => compares(*how, *number, with.value),
        (Test::Compare(how, with), Value::Date(when)) => compares(*how, day(when), with.value),
        (Test::Between(low, high), Value::Number(number)) => {
            low.value <= *number && *number <= high.value
        }
        (Test::Between(low, high), Value::Date(when)) => {
            low.value <= day(when) && day(when) <= high.value
        }
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
        SpanUnit::Months => taken
            .date
            .checked_add_months(Months::new(count))
            .is_some_and(|last| last < on.date),
        SpanUnit::Years => taken
            .date
            .checked_add_months(Months::new(count * 12))
            .is_some_and(|last| last < on.date),
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
            let moment = |when: &When| -> NaiveDateTime {
                when.date.and_time(both.and(when.time).unwrap_or_default())
            };
            let whole = moment(taken).checked_add_days(Days::new(hours / 24));
            let rest = chrono::TimeDelta::hours(i64::try_from(hours % 24).unwrap_or(0));
            whole
                .and_then(|it| it.checked_add_signed(rest))
                .is_some_and(|last| last < moment(on))
        }
    }
}
