//! (Compiled rule set, facts) to screening. Pure: no file, clock, environment, randomness, printing.

use std::collections::BTreeSet;

use crate::facts::Facts;
use crate::facts::answers::{Stranger, strangers};
use crate::model::{Rule, RuleSet};
use crate::outcome::{Outcome, Span, Standing, Urgency};
use crate::screening::{RuleSetStamp, Screening, SourceStamp, Undetermined, Unrecognised};
use crate::truth::FactSlot;

pub mod alternatives;
pub mod asks;
pub mod compile;
pub mod dates;
pub mod dose;
pub mod explain;
pub mod lifts;
pub mod next;
pub mod notices;
pub mod prospect;
pub mod search;

pub use compile::{Compiled, Prepared, State};

/// Who and what a screening is about, beside the facts.
#[derive(Debug, Clone)]
pub struct Subject {
    /// The patient's reference.
    pub reference: String,
    /// The questionnaire's file.
    pub source: SourceStamp,
    /// The clinic's file, if one was given.
    pub clinic: Option<SourceStamp>,
}

/// Screens one patient. Explanations are built only for rules that fire or are undetermined.
pub fn screen(rule_set: &RuleSet, compiled: &Compiled, facts: &Facts, subject: &Subject) -> Screening {
    let states = compiled.run(facts);
    let firing = of_state(rule_set, &states, State::Fires);
    let open = of_state(rule_set, &states, State::Undetermined);
    let span = Span::of(firing.iter().map(|it| it.outcome), open.iter().map(|it| it.outcome));
    let open: Vec<(&Rule, BTreeSet<FactSlot>)> = open.into_iter().map(|rule| (rule, explain::waits_for(&rule.when, facts))).collect();
    let beside_names = asks::BesideNames::of(rule_set, compiled, facts);
    let undetermined: Vec<Undetermined> = open
        .iter()
        .map(|(rule, waits_for)| Undetermined {
            rule: rule.id.clone(),
            concern: rule.concern_id().to_owned(),
            title: rule.title.clone(),
            outcome_if_fires: rule.outcome,
            urgency: rule.urgency,
            waits_for: waits_for.iter().map(|slot| rule_set.catalogue.id(*slot).to_owned()).collect(),
            for_a_name: beside_names.as_ref().is_some_and(|it| it.settles(rule)),
        })
        .collect();
    Screening {
        notices: notices::notices(rule_set, facts.as_of, facts.procedure_on.map(|it| it.date)),
        local_policy: notices::local(rule_set, facts.as_of),
        rule_set: RuleSetStamp {
            id: rule_set.id.clone(),
            edition: rule_set.edition.clone(),
            status: rule_set.status,
            digest: rule_set.digest.clone(),
            concerns: rule_set.concerns.iter().map(|it| it.title.clone()).collect(),
        },
        reference: subject.reference.clone(),
        source: subject.source.clone(),
        clinic: subject.clinic.clone(),
        completed_on: facts.completed_on,
        as_of: facts.as_of,
        procedure_on: facts.procedure_on.map(|it| it.to_string()),
        verdict: span.verdict(),
        best_case: span.best_case,
        worst_case: span.worst_case,
        findings: firing.iter().map(|rule| explain::finding(rule_set, facts, rule)).collect(),
        to_ask: asks::to_ask(rule_set, facts, &open, &undetermined, beside_names.as_ref()),
        undetermined,
        anaesthetic: dose::arithmetic(rule_set, facts),
        notes: facts.notes.iter().map(explain::note).collect(),
        unrecognised: strangers(facts).iter().map(|it| unknown_name(rule_set, it)).collect(),
        set_aside: explain::set_aside(rule_set, facts),
        next: None,
        lifts: Vec::new(),
        alternatives: None,
        dates: None,
        cut_short: false,
    }
}

/// The rules in a state, worst first; among equals by concern, then in file order.
fn of_state<'a>(rule_set: &'a RuleSet, states: &[State], wanted: State) -> Vec<&'a Rule> {
    let mut found: Vec<&Rule> = rule_set.judging().zip(states).filter(|(_, it)| **it == wanted).map(|(rule, _)| rule).collect();
    // The sort is stable.
    found.sort_by_key(|it| std::cmp::Reverse((it.outcome, it.urgency)));
    found
}

/// The ids of the rules that fire, in rule order.
pub fn firing<'a>(rule_set: &'a RuleSet, states: &[State]) -> Vec<&'a str> {
    rule_set.judging().zip(states).filter(|(_, it)| **it == State::Fires).map(|(rule, _)| rule.id.as_str()).collect()
}

/// What the states of all rules come to: the verdict, and the most pressing of the referrals.
pub fn standing(rule_set: &RuleSet, states: &[State]) -> Standing {
    standing_if(rule_set, states, |_, rule| (rule.outcome, rule.urgency))
}

/// The same, if each rule, told with its position, asked for what is said of it.
pub fn standing_if(rule_set: &RuleSet, states: &[State], asks: impl Fn(usize, &Rule) -> (Outcome, Option<Urgency>)) -> Standing {
    let asked = |wanted: State| {
        let rules = rule_set.judging().zip(states).enumerate();
        rules.filter(move |(_, (_, state))| **state == wanted).map(|(at, (rule, _))| asks(at, rule))
    };
    let outcome = Span::of(asked(State::Fires).map(|it| it.0), asked(State::Undetermined).map(|it| it.0)).verdict();
    Standing { outcome, urgency: asked(State::Fires).filter(|it| it.0 == Outcome::Refer).filter_map(|it| it.1).max() }
}

fn unknown_name(rule_set: &RuleSet, name: &Stranger<'_>) -> Unrecognised {
    let question = rule_set.catalogue.question_of(name.slot);
    Unrecognised {
        fact: rule_set.catalogue.id(name.slot).to_owned(),
        ask: question.map(|it| it.ask.clone()).unwrap_or_default(),
        from: question.map_or("", |it| it.from.word()),
        text: name.text.to_owned(),
        nearest: name.nearest.map(str::to_owned),
        path: name.place.source.name().to_owned(),
        line: name.place.position().line,
    }
}
