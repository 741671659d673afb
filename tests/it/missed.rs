//! No rule can be lost without a word: each is taken out, with its cases, and somebody is missed. The worked cases of the whole
//! rule set are the patients, so that it takes seconds; what a real patient shows, the provers find without them.

use std::collections::BTreeSet;

use preblock::inner::outcome::Outcome;
use preblock::inner::outcome::State;
use preblock::inner::questionnaire::facts;
use preblock::inner::questionnaire::facts::Facts;
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::rule_set::{Condition, Idx, Rule, RuleSet, Then};
use preblock::inner::screening::compile::Compiled;
use preblock::inner::screening::evaluate::States;
use preblock::inner::workbench::cases::read::Case;
use preblock::inner::workbench::compare::{Both, tally};
use preblock::inner::workbench::prove::breaks;
use rstest::rstest;

use crate::shipped::{Shipped, nails, skin};
use crate::support::today;

/// Those of the worked cases in which some rule fires, each with what every rule makes of it.
fn judged<'a>(
    rules: &RuleSet,
    compiled: &Compiled,
    cases: &'a [Case],
) -> Vec<(&'a Case, Facts, States)> {
    let read = cases
        .iter()
        .map(|case| (case, facts::read(rules, &case.answers, case.as_of).0));
    read.map(|(case, facts)| (case, compiled.run(&facts), facts))
        .map(|(case, states, facts)| (case, facts, states))
        .collect()
}

/// Without a rule that refers, somebody breaks a guarantee that speaks of a danger. Guarantees that name the rule are not
/// asked: they go with it.
#[rstest]
#[case::nails(nails())]
#[case::skin(skin())]
fn a_rule_that_refers_is_missed_by_a_guarantee(#[case] shipped: &Shipped) {
    let (rules, compiled) = (&shipped.rules, &shipped.compiled);
    let cases = shipped.cases();
    let patients = judged(rules, compiled, &cases);
    let guarantees: Vec<_> = rules
        .guarantees
        .iter()
        .filter(|it| !matches!(it.then, Then::Fires(_)))
        .collect();
    let refers = |rule: &&(Idx<Rule>, &Rule)| rule.1.outcome == Outcome::Refer;
    let missed = |at: Idx<Rule>| {
        patients
            .iter()
            .filter(|(_, _, states)| states[at] == State::Fires)
            .any(|(_, facts, states)| {
                let mut without = states.clone();
                without[at] = State::StaysQuiet;
                guarantees
                    .iter()
                    .any(|it| breaks(rules, it, facts, &without))
            })
    };
    let refer: Vec<(Idx<Rule>, &Rule)> = rules.rule_entries().collect();
    let unguarded: Vec<&str> = refer
        .iter()
        .filter(refers)
        .filter(|(at, _)| !missed(*at))
        .map(|(_, rule)| rule.id.as_str())
        .collect();
    assert!(
        unguarded.is_empty(),
        "{} rules that refer and whom no guarantee misses: {unguarded:#?}",
        unguarded.len()
    );
}

/// Without any other rule, the comparison names a patient for whom it no longer fires.
#[rstest]
#[case::nails(nails())]
#[case::skin(skin())]
fn any_other_rule_is_missed_by_the_comparison(#[case] shipped: &Shipped) {
    let (rules, compiled) = (&shipped.rules, &shipped.compiled);
    let cases = shipped.cases();
    let patients = judged(rules, compiled, &cases);
    let mut without = rule_set(&shipped.files).unwrap_or_else(|it| unreachable!("{it:?}"));
    let mut unnamed = BTreeSet::new();
    for (at, rule) in rules
        .rule_entries()
        .filter(|(_, it)| it.outcome != Outcome::Refer)
    {
        let whole = std::mem::replace(&mut without.judging[at].when, Condition::Any(Vec::new()));
        let some = patients
            .iter()
            .filter(|(_, _, states)| states[at] == State::Fires)
            .take(1);
        let found = tally(
            &Both::new(rules, &without, today()),
            some.map(|(case, _, _)| (case.title.clone(), &case.answers, case.as_of)),
        );
        if !found.moves.iter().any(|it| it.lost == [rule.id.as_str()]) {
            unnamed.insert(rule.id.as_str());
        }
        without.judging[at].when = whole;
    }
    assert!(unnamed.is_empty(), "{unnamed:#?}");
}
