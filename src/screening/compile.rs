//! The rule set compiled for speed: each distinct test once, then rules as flat programs over them.
//!
//! Facts become numbers in slots (NaN is "not known") and sets of options as bits (0 is "not known").
//! A test yields 0 no, 1 unknown, 2 yes, so that all is the minimum, any the maximum and not `2 - x`:
//! Kleene's tables. The readable tree in `questionnaire::facts::truth_of` means the same; a test holds the two equal.

use std::cmp::Ordering;

use crate::outcome::State;
use crate::quantity::when::When;
use crate::questionnaire::facts::truth_of;
use crate::questionnaire::facts::{Fact, Facts, Value};
use crate::rule_set::{Comparison, Condition, FactType, Rule, RuleSet, Table, Test};
use crate::truth::{FactSlot, Truth};

const BELOW: u8 = 1;
const EQUAL: u8 = 2;
const ABOVE: u8 = 4;

const NO: u8 = 0;
const UNKNOWN: u8 = 1;
const YES: u8 = 2;

/// Compiled conditions, each `Of` a rule, unless it is said otherwise.
#[derive(Debug)]
pub struct Compiled<Of = Rule> {
    numbers: Vec<NumberTest>,
    sets: Vec<SetTest>,
    /// Tests that need more than a slot: ages, medicines, allergies. Kept as conditions.
    others: Vec<Condition>,
    steps: Vec<Operation>,
    /// One past the last step of each condition.
    ends: Table<usize, Of>,
    deepest: usize,
    n_facts: usize,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct NumberTest {
    slot: FactSlot,
    /// Which of `BELOW`, `EQUAL`, `ABOVE` count as yes.
    accepts: u8,
    with: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct SetTest {
    slot: FactSlot,
    mask: u64,
}

/// Where a test's result stands.
#[derive(Debug, Clone, Copy)]
enum Operation {
    Number(u32),
    Set(u32),
    Other(u32),
    All(u32),
    Any(u32),
    Not,
}

/// The bit that says that a set is known, even if it is empty.
const SET_IS_KNOWN: u64 = 1 << 63;

impl Compiled {
    /// Compiles everything that decides a verdict. Equal tests of different rules become one.
    pub fn new(rule_set: &RuleSet) -> Self {
        Self::conditions(rule_set, rule_set.judging.iter().map(|it| &it.when))
    }
}

impl<Of> Compiled<Of> {
    /// Compiles conditions: one of each row of a table, in its order.
    pub(crate) fn conditions<'a>(
        rule_set: &RuleSet,
        conditions: impl IntoIterator<Item = &'a Condition>,
    ) -> Self {
        let mut compiled = Self {
            numbers: Vec::new(),
            sets: Vec::new(),
            others: Vec::new(),
            steps: Vec::new(),
            ends: Table::default(),
            deepest: 1,
            n_facts: rule_set.catalogue.facts.len(),
        };
        for condition in conditions {
            compiled.condition(rule_set, condition);
            compiled.ends.push(compiled.steps.len());
        }
        compiled.deepest = compiled.depth();
        compiled
    }

    fn condition(&mut self, rule_set: &RuleSet, condition: &Condition) {
        match condition {
            Condition::All(parts) => {
                parts.iter().for_each(|part| self.condition(rule_set, part));
                self.steps.push(Operation::All(count(parts.len())));
            }
            Condition::Any(parts) => {
                parts.iter().for_each(|part| self.condition(rule_set, part));
                self.steps.push(Operation::Any(count(parts.len())));
            }
            Condition::Not(part) => {
                self.condition(rule_set, part);
                self.steps.push(Operation::Not);
            }
            Condition::Fact { fact, test } => self.test(rule_set, condition, *fact, test),
            Condition::Taking { .. } | Condition::AllergicTo { .. } | Condition::Answers(_) => {
                self.other(condition)
            }
        }
    }

    fn test(&mut self, rule_set: &RuleSet, condition: &Condition, slot: FactSlot, test: &Test) {
        let is_date = rule_set.catalogue.fact(slot).fact_type == FactType::Date;
        match test {
            Test::OneOf(options) | Test::Includes(options) => self.set(slot, options),
            Test::NoneOf(options) => {
                self.set(slot, options);
                self.steps.push(Operation::Not);
            }
            Test::Compare(how, threshold) if !is_date => {
                let accepts = match how {
                    Comparison::Below => BELOW,
                    Comparison::AtMost => BELOW | EQUAL,
                    Comparison::Above => ABOVE,
                    Comparison::AtLeast => EQUAL | ABOVE,
                };
                self.number(NumberTest {
                    slot,
                    accepts,
                    with: threshold.value,
                });
            }
            Test::Between(low, high) if !is_date => {
                self.number(NumberTest {
                    slot,
                    accepts: EQUAL | ABOVE,
                    with: low.value,
                });
                self.number(NumberTest {
                    slot,
                    accepts: BELOW | EQUAL,
                    with: high.value,
                });
                self.steps.push(Operation::All(2));
            }
            _ => self.other(condition),
        }
    }

    fn set(&mut self, slot: FactSlot, options: &[u16]) {
        let test = SetTest {
            slot,
            mask: options.iter().fold(0, |mask, at| mask | 1 << at),
        };
        let at = position(&mut self.sets, test);
        self.steps.push(Operation::Set(at));
    }

    fn number(&mut self, test: NumberTest) {
        let at = position(&mut self.numbers, test);
        self.steps.push(Operation::Number(at));
    }

    fn other(&mut self, condition: &Condition) {
        let at = position(&mut self.others, condition.clone());
        self.steps.push(Operation::Other(at));
    }

    /// The most results that are ever open at once.
    fn depth(&self) -> usize {
        let (mut now, mut most) = (0_usize, 1);
        for step in &self.steps {
            match step {
                Operation::Number(_) | Operation::Set(_) | Operation::Other(_) => now += 1,
                Operation::All(n) | Operation::Any(n) => {
                    now = (now + 1).saturating_sub(*n as usize)
                }
                Operation::Not => {}
            }
            most = most.max(now);
        }
        most
    }

    /// The state of every rule.
    pub fn run(&self, facts: &Facts) -> Table<State, Of> {
        self.run_prepared(&Prepared::new(self.n_facts, facts), facts)
    }

    /// The same for facts already laid out in slots.
    pub fn run_prepared(&self, slots: &Prepared, facts: &Facts) -> Table<State, Of> {
        self.states(slots, &self.others(facts))
    }

    /// What the tests come to that need more than a slot.
    fn others(&self, facts: &Facts) -> Vec<u8> {
        self.others.iter().map(|it| other(it, facts)).collect()
    }

    /// What is worth keeping of a patient for [`Compiled::run_beside`].
    pub fn kept(&self, facts: &Facts) -> Kept {
        Kept {
            facts: facts.clone(),
            others: self.others(facts),
        }
    }

    /// The state of every rule for facts that share most with those of a patient before.
    pub fn run_beside(&self, before: &Kept, facts: &Facts) -> Table<State, Of> {
        let others = self.others.iter().zip(&before.others);
        let others: Vec<u8> = others
            .map(|(it, was)| {
                if is_as_before(it, &before.facts, facts) {
                    *was
                } else {
                    other(it, facts)
                }
            })
            .collect();
        self.states(&Prepared::new(self.n_facts, facts), &others)
    }

    fn states(&self, slots: &Prepared, others: &[u8]) -> Table<State, Of> {
        let numbers: Vec<u8> = self.numbers.iter().map(|it| it.run(slots)).collect();
        let sets: Vec<u8> = self.sets.iter().map(|it| it.run(slots)).collect();
        let result = |results: &[u8], at: u32| results.get(at as usize).copied().unwrap_or(UNKNOWN);
        let mut open: Vec<u8> = Vec::with_capacity(self.deepest);
        let mut from = 0;
        let state_of = |&end: &usize| {
            open.clear();
            for step in self.steps.get(from..end).unwrap_or_default() {
                match *step {
                    Operation::Number(at) => open.push(result(&numbers, at)),
                    Operation::Set(at) => open.push(result(&sets, at)),
                    Operation::Other(at) => open.push(result(others, at)),
                    Operation::All(n) => fold(&mut open, n, YES, u8::min),
                    Operation::Any(n) => fold(&mut open, n, NO, u8::max),
                    Operation::Not => {
                        if let Some(top) = open.last_mut() {
                            *top = YES - *top;
                        }
                    }
                }
            }
            from = end;
            match open.last() {
                Some(&YES) => State::Fires,
                Some(&NO) => State::StaysQuiet,
                _ => State::Undetermined,
            }
        };
        self.ends.iter().map(state_of).collect()
    }
}

fn fold(open: &mut Vec<u8>, n: u32, start: u8, join: fn(u8, u8) -> u8) {
    let keep = open.len().saturating_sub(n as usize);
    let joined = open.drain(keep..).fold(start, join);
    open.push(joined);
}

fn count(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

/// The position of an equal item, added if there is none.
fn position<T: PartialEq>(items: &mut Vec<T>, item: T) -> u32 {
    match items.iter().position(|it| *it == item) {
        Some(at) => count(at),
        None => {
            items.push(item);
            count(items.len() - 1)
        }
    }
}

impl NumberTest {
    fn run(&self, slots: &Prepared) -> u8 {
        let number = slots.numbers.get(self.slot.index()).copied();
        let relation = match number.unwrap_or(f64::NAN).partial_cmp(&self.with) {
            None => return UNKNOWN,
            Some(Ordering::Less) => BELOW,
            Some(Ordering::Equal) => EQUAL,
            Some(Ordering::Greater) => ABOVE,
        };
        if relation & self.accepts != 0 {
            YES
        } else {
            NO
        }
    }
}

impl SetTest {
    fn run(&self, slots: &Prepared) -> u8 {
        match slots.sets.get(self.slot.index()).copied().unwrap_or(0) {
            0 => UNKNOWN,
            set if set & self.mask != 0 => YES,
            _ => NO,
        }
    }
}

fn other(condition: &Condition, facts: &Facts) -> u8 {
    if let Condition::Fact {
        fact,
        test: test @ (Test::OlderThan(limit) | Test::Within(limit)),
    } = condition
    {
        // The common case without building a set of open facts.
        let (Some(known), Some(on)) = (facts.known(*fact), facts.procedure_on()) else {
            return UNKNOWN;
        };
        let Value::Date(taken) = known.value else {
            return UNKNOWN;
        };
        let older = When::age_exceeds(&taken, &on, &limit.span);
        return if older == matches!(test, Test::OlderThan(_)) {
            YES
        } else {
            NO
        };
    }
    match truth_of::truth(condition, facts) {
        Truth::Yes => YES,
        Truth::No => NO,
        Truth::Unknown(_) => UNKNOWN,
    }
}

/// Whether a test looks at nothing but what two patients share.
fn is_as_before(condition: &Condition, before: &Facts, facts: &Facts) -> bool {
    match condition {
        Condition::Taking { fact, .. } | Condition::AllergicTo { fact, .. } => {
            facts.shares(*fact, before)
        }
        Condition::Fact { fact, .. } => {
            facts.shares(*fact, before) && facts.procedure_on() == before.procedure_on()
        }
        _ => false,
    }
}

/// One patient's facts, and what the tests of them came to that take longest.
#[derive(Debug)]
pub struct Kept {
    facts: Facts,
    others: Vec<u8>,
}

/// Facts laid out for the tests.
#[derive(Debug)]
pub struct Prepared {
    numbers: Vec<f64>,
    sets: Vec<u64>,
}

impl Prepared {
    /// Lays out the facts of one patient.
    pub fn new(n_facts: usize, facts: &Facts) -> Self {
        let mut prepared = Self {
            numbers: vec![f64::NAN; n_facts],
            sets: vec![0; n_facts],
        };
        for (at, fact) in facts.rows().iter().enumerate() {
            let Fact::Known(known) = fact.as_ref() else {
                continue;
            };
            match &known.value {
                Value::Number(number) => put(&mut prepared.numbers, at, *number),
                Value::Choice(option) => put(&mut prepared.sets, at, 1 << option),
                Value::Choices(bits) => put(&mut prepared.sets, at, bits | SET_IS_KNOWN),
                Value::Plan(plan) => put(
                    &mut prepared.sets,
                    at,
                    plan.iter()
                        .fold(SET_IS_KNOWN, |bits, it| bits | 1 << it.agent.index()),
                ),
                _ => {}
            }
        }
        prepared
    }
}

fn put<T>(items: &mut [T], at: usize, value: T) {
    if let Some(place) = items.get_mut(at) {
        *place = value;
    }
}
