//! What a screening would come to, in short, for plans, days and answers that are not so yet.

use crate::outcome::{Outcome, State};
use crate::questionnaire::facts::{Fact, Facts};
use crate::rule_set::RuleSet;
use crate::screening::evaluate::{States, of_state, span};
use crate::screening::explain;
use crate::screening::result::{Change, Prospect};
use crate::truth::FactSlot;

/// The prospect of facts whose rules came to these states.
pub(crate) fn prospect(rule_set: &RuleSet, facts: &Facts, states: &States) -> Prospect {
    let (firing, open) = (
        of_state(rule_set, states, State::Fires),
        of_state(rule_set, states, State::Undetermined),
    );
    let mut waits_for: Vec<String> = Vec::new();
    for rule in open.iter().filter(|it| it.outcome > Outcome::Go) {
        for slot in explain::waits_for(&rule.when, facts) {
            let id = rule_set.catalogue.id(slot);
            if !waits_for.iter().any(|it| it == id) {
                waits_for.push(id.to_owned());
            }
        }
    }
    Prospect {
        span: span(rule_set, states),
        fires: firing
            .iter()
            .map(|it| explain::firing(rule_set, facts, it))
            .collect(),
        waits_for,
    }
}

/// An answer as people read it; "not known" if it is missing. An option is written as in the middle of a sentence.
pub(crate) fn shown(rule_set: &RuleSet, facts: &Facts, slot: FactSlot) -> String {
    match facts.get(slot) {
        Fact::Known(known) if rule_set.catalogue.options(slot).is_empty() => known.shown.clone(),
        Fact::Known(known) => known
            .shown
            .split("; ")
            .map(lower_first)
            .collect::<Vec<String>>()
            .join("; "),
        Fact::Missing(_) => "not known".to_owned(),
    }
}

/// A text with a small first letter, unless its first word is written in capitals.
pub(crate) fn lower_first(text: &str) -> String {
    let mut letters = text.chars();
    match (letters.next(), letters.clone().next()) {
        (Some(first), second) if second.is_none_or(|it| !it.is_uppercase()) => {
            first.to_lowercase().chain(letters).collect()
        }
        _ => text.to_owned(),
    }
}

/// A change from one set of facts to another, of one answer.
pub(crate) fn change(rule_set: &RuleSet, before: &Facts, after: &Facts, slot: FactSlot) -> Change {
    Change {
        fact: rule_set.catalogue.id(slot).to_owned(),
        ask: rule_set.catalogue.about(slot).to_owned(),
        now: shown(rule_set, before, slot),
        then: shown(rule_set, after, slot),
    }
}
