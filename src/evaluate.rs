//! (Compiled rule set, facts) to screening. Pure: no file, clock, environment, randomness, printing.

use std::collections::{BTreeMap, BTreeSet};

use crate::facts::answers::unrecognised;
use crate::facts::{Fact, Facts, Missing, Place, holds};
use crate::model::{FactKind, Rule, RuleSet};
use crate::outcome::{Outcome, Span, Standing, Urgency};
use crate::screening::{RuleSetStamp, Screening, SourceStamp, ToAsk, Undetermined, Unrecognised};
use crate::truth::{FactSlot, Truth};

pub mod alternatives;
pub mod compile;
pub mod dates;
pub mod dose;
pub mod explain;
pub mod lifts;
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
    let waits: Vec<(usize, BTreeSet<FactSlot>)> =
        open.iter().enumerate().map(|(at, rule)| (at, explain::waits_for(&rule.when, facts))).collect();
    let undetermined: Vec<Undetermined> = open
        .iter()
        .zip(&waits)
        .map(|(rule, (_, waits_for))| Undetermined {
            rule: rule.id.clone(),
            concern: rule.concern_id().to_owned(),
            title: rule.title.clone(),
            outcome_if_fires: rule.outcome,
            urgency: rule.urgency,
            waits_for: waits_for.iter().map(|slot| rule_set.catalogue.id(*slot).to_owned()).collect(),
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
        to_ask: to_ask(rule_set, facts, &undetermined, &waits),
        undetermined,
        anaesthetic: dose::arithmetic(rule_set, facts),
        notes: facts.notes.iter().map(explain::note).collect(),
        unrecognised: unrecognised(facts).into_iter().map(|(text, nearest, place)| unknown_name(text, nearest, &place)).collect(),
        set_aside: explain::set_aside(rule_set, facts),
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

fn unknown_name(text: String, nearest: Option<String>, place: &Place) -> Unrecognised {
    Unrecognised { text, nearest, path: place.source.name().to_owned(), line: place.position().line }
}

/// The missing answers, each once; those that could lead to the worst outcome first, then in the
/// order they are asked.
fn to_ask(rule_set: &RuleSet, facts: &Facts, undetermined: &[Undetermined], waits: &[(usize, BTreeSet<FactSlot>)]) -> Vec<ToAsk> {
    let mut rules_of: BTreeMap<FactSlot, Vec<usize>> = BTreeMap::new();
    for (at, slots) in waits {
        for slot in slots {
            rules_of.entry(*slot).or_default().push(*at);
        }
    }
    let mut found: Vec<ToAsk> = Vec::new();
    for (slot, rules) in rules_of {
        let Some(question) = rule_set.catalogue.question_of(slot) else { continue };
        let waiting: Vec<&Undetermined> = rules.iter().filter_map(|at| undetermined.get(*at)).collect();
        let is_date = matches!(rule_set.catalogue.fact(slot).map(|it| it.kind), Some(FactKind::TakenOn(_)));
        let why = match facts.get(slot) {
            Some(Fact::Missing(Missing { why, .. })) => why.in_words().to_owned(),
            _ => "answered, but that does not settle it".to_owned(),
        };
        let worst = waiting.iter().map(|it| (it.outcome_if_fires, it.urgency)).max();
        // Asked only in certain situations, and it is not yet known whether this is one.
        let depends = matches!(holds::applies(question, &rule_set.catalogue, facts), Truth::Unknown(_));
        found.push(ToAsk {
            fact: rule_set.catalogue.id(slot).to_owned(),
            ask: if is_date { format!("On which day was this taken: {}", question.ask) } else { question.ask.clone() },
            from: question.from.word(),
            why,
            options: rule_set.catalogue.options(slot).iter().map(|it| it.text.clone()).collect(),
            could_lead_to: worst.map_or(Outcome::Go, |it| it.0),
            urgency: worst.and_then(|it| it.1),
            rules: waiting.iter().map(|it| it.rule.clone()).collect(),
            depends,
        });
    }
    found.sort_by_key(|it| (it.depends, std::cmp::Reverse((it.could_lead_to, it.urgency))));
    found
}
