//! The space of answers: it holds every patient there is, and every example it gives is one.

use batsat::Lit;
use preblock::evaluate::State;
use preblock::governance::cases;
use preblock::governance::decide::{Decider, Found, Pair, Seen};
use preblock::load::{RuleFiles, questionnaire};
use preblock::model::RuleSet;

use crate::support::{embedded_once, today};

/// What says that each rule is in just this state.
fn just_so(rules: &[Pair], states: &[State]) -> Vec<Lit> {
    let one = |(pair, state): (&Pair, &State)| match state {
        State::Fires => vec![pair.yes],
        State::StaysQuiet => vec![pair.no],
        State::Undetermined => vec![!pair.yes, !pair.no],
    };
    rules.iter().zip(states).flat_map(one).collect()
}

/// The fewest of these states that are not possible together, for a message.
fn clash(decider: &mut Decider<'_>, rule_set: &RuleSet, states: &[State]) -> Vec<String> {
    let rules = decider.judgements[0].rules.clone();
    let mut kept: Vec<usize> = (0..states.len()).collect();
    let mut at = 0;
    while at < kept.len() {
        let mut less = kept.clone();
        less.remove(at);
        let together: Vec<Lit> = less.iter().flat_map(|it| just_so(&rules[*it..=*it], &states[*it..=*it])).collect();
        if decider.logic.possible(&together) { at += 1 } else { kept = less }
    }
    kept.iter().map(|it| format!("{} {:?}", rule_set.rules[*it].id, states[*it])).collect()
}

/// What every rule makes of every worked case can be, all at once: the space leaves nobody out that somebody thought of.
#[test]
fn the_space_holds_every_worked_case() {
    let (rule_set, compiled) = embedded_once();
    let mut decider = Decider::new(&[rule_set], &[], today()).unwrap_or_else(|it| unreachable!("{it:?}"));
    let mut n_tried = 0;
    for case in &preblock::load::cases::cases(&RuleFiles::embedded(), rule_set).unwrap_or_default() {
        let run = cases::run(rule_set, compiled, case);
        let together = just_so(&decider.judgements[0].rules, &run.states);
        if !decider.logic.possible(&together) {
            unreachable!("{} is not in the space: {:?}", case.title, clash(&mut decider, rule_set, &run.states));
        }
        n_tried += 1;
    }
    assert!(n_tried > 2000, "{n_tried}");
}

/// A questionnaire is one that the reader takes as it is, and its rule comes out as said.
fn assert_real(rule_set: &RuleSet, seen: &Seen, rule: usize, state: State) {
    let (own, mut wrong) = questionnaire::questionnaire(rule_set, "example.yaml", seen.questionnaire.as_bytes());
    let clinic = seen.clinic.as_ref().map(|it| questionnaire::clinic(rule_set, "clinic.yaml", it.as_bytes()));
    let standing = clinic.and_then(|(read, found)| {
        wrong.extend(found);
        read
    });
    let answers = questionnaire::over(&standing.map(|it| it.answers).unwrap_or_default(), &own.map(|it| it.answers).unwrap_or_default());
    let (facts, found) = preblock::facts::read(rule_set, &answers, today());
    wrong.extend(found);
    assert!(wrong.is_empty(), "{:?}\n{}", crate::support::codes(&wrong), seen.questionnaire);
    let states = preblock::evaluate::Compiled::new(rule_set).run(&facts);
    assert_eq!(states[rule], state, "{}\n{}", rule_set.rules[rule].id, seen.questionnaire);
    assert_eq!(states, seen.states);
}

/// Rules of the default set that are looked at: all would take minutes. Every ninth, and all that hang on arithmetic, on
/// dates, on allergies, on steroids or on contradictions.
fn is_looked_at(at: usize, id: &str, written: &str) -> bool {
    let words = ["seen_on", "older_than", "within", "allergic_to", "steroid", "not-offered", "ruled-out"];
    at.is_multiple_of(9)
        || ["anaesthetic/", "circulation/"].iter().any(|it| id.starts_with(it))
        || words.iter().any(|it| written.contains(it))
}

#[test]
fn rules_of_every_shape_can_fire() {
    let (rule_set, _) = embedded_once();
    let mut decider = Decider::new(&[rule_set], &[], today()).unwrap_or_else(|it| unreachable!("{it:?}"));
    let written = preblock::load::Written::read(&RuleFiles::embedded());
    let mut n_tried = 0;
    for (at, rule) in rule_set.rules.iter().enumerate() {
        let text =
            written.rule(&rule.id).map(|it| it.source.slice(&it.node.get("when").map(|it| it.span.clone()).unwrap_or_default()).to_owned());
        if !is_looked_at(at, &rule.id, &text.unwrap_or_default()) {
            continue;
        }
        n_tried += 1;
        let fires = decider.judgements[0].rules[at].yes;
        let Found::Example(seen) = decider.find(&[fires], &|seen| seen.iter().all(|it| it.states[at] == State::Fires)) else {
            unreachable!("{} was not made to fire", rule.id)
        };
        assert_real(rule_set, &seen[0], at, State::Fires);
        assert!(seen[0].n_answers <= 8, "{} answers more than it need:\n{}", rule.id, seen[0].questionnaire);
    }
    assert!(n_tried > 100, "{n_tried}");
}
