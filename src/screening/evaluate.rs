//! (Compiled rule set, facts) to what a screening says. Pure: no file, clock, environment, randomness, printing.

use crate::outcome::{OutcomeSpan, Standing};
use crate::rule_set::{Idx, Rule, RuleSet, Table};

pub(crate) use crate::outcome::State;

/// The state of every rule that decides a verdict.
pub type States = Table<State, Rule>;

/// The rules in a state, worst first; among equals by concern, then in file order.
pub(crate) fn of_state<'a>(rule_set: &'a RuleSet, states: &States, wanted: State) -> Vec<&'a Rule> {
    let mut found: Vec<&Rule> = rule_set
        .judging
        .iter()
        .zip(states)
        .filter(|(_, it)| **it == wanted)
        .map(|(rule, _)| rule)
        .collect();
    // The sort is stable.
    found.sort_by_key(|it| std::cmp::Reverse((it.outcome, it.urgency)));
    found
}

/// The ids of the rules that fire, in rule order.
pub(crate) fn firing<'a>(rule_set: &'a RuleSet, states: &States) -> Vec<&'a str> {
    rule_set
        .judging
        .iter()
        .zip(states)
        .filter(|(_, it)| **it == State::Fires)
        .map(|(rule, _)| rule.id.as_str())
        .collect()
}

/// The span that the states of all rules leave.
pub(crate) fn span(rule_set: &RuleSet, states: &States) -> OutcomeSpan {
    span_if(rule_set, states, |_, rule| rule.standing())
}

/// The verdict that the states of all rules come to.
pub fn standing(rule_set: &RuleSet, states: &States) -> Standing {
    span(rule_set, states).verdict()
}

/// The span if each rule, told with its position, asked for what is said of it.
pub(crate) fn span_if(
    rule_set: &RuleSet,
    states: &States,
    asks: impl Fn(Idx<Rule>, &Rule) -> Standing,
) -> OutcomeSpan {
    let asked = |wanted: State| {
        let rules = rule_set.judging.entries().zip(states);
        rules
            .filter(move |(_, state)| **state == wanted)
            .map(|((at, rule), _)| asks(at, rule))
    };
    OutcomeSpan::of(asked(State::Fires), asked(State::Undetermined))
}
