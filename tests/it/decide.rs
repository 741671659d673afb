//! The space of answers: it holds every patient there is, and every example it gives is one.

use batsat::Lit;
use preblock::inner::exact::{Decider, DualRail, Found, Witness};
use preblock::inner::outcome::State;
use preblock::inner::rule_set::files::RuleFiles;
use preblock::inner::rule_set::{Idx, Rule, RuleSet};
use preblock::inner::screening::compile::Compiled;
use preblock::inner::screening::evaluate::States;
use preblock::inner::workbench::cases;

use proptest::prelude::*;
use rstest::rstest;

use crate::properties::{choices, gated, text, tree, yaml};
use crate::shipped::{Shipped, nails, skin};
use crate::support::{SEED, embedded_once, facts_or, facts_over, nth_rule, tiny, today};

/// What says that each rule is in just this state.
fn just_so(rules: &[DualRail], states: &[State]) -> Vec<Lit> {
    let one = |(pair, state): (&DualRail, &State)| match state {
        State::Fires => vec![pair.yes],
        State::StaysQuiet => vec![pair.no],
        State::Undetermined => vec![!pair.yes, !pair.no],
    };
    rules.iter().zip(states).flat_map(one).collect()
}

/// The fewest of these states that are not possible together, for a message.
fn clash(decider: &mut Decider<'_>, rule_set: &RuleSet, states: &[State]) -> Vec<String> {
    let rules = decider.judgements[0].rules.rows().to_vec();
    let mut kept: Vec<usize> = (0..states.len()).collect();
    let mut at = 0;
    while at < kept.len() {
        let mut less = kept.clone();
        less.remove(at);
        let together: Vec<Lit> = less
            .iter()
            .flat_map(|it| just_so(&rules[*it..=*it], &states[*it..=*it]))
            .collect();
        if decider.solver.possible(&together) {
            at += 1
        } else {
            kept = less
        }
    }
    kept.iter()
        .map(|it| format!("{} {:?}", rule_set.judging.rows()[*it].id, states[*it]))
        .collect()
}

/// What every rule makes of every worked case can be, all at once: the space leaves nobody out that somebody thought of.
#[rstest]
#[case::nails(nails(), 2000)]
#[case::skin(skin(), 350)]
fn the_space_holds_every_worked_case(#[case] shipped: &Shipped, #[case] fewest: usize) {
    let (rule_set, compiled) = (&shipped.rules, &shipped.compiled);
    let mut decider =
        Decider::new(&[rule_set], &[], today()).unwrap_or_else(|it| unreachable!("{it:?}"));
    let mut n_tried = 0;
    for case in &shipped.cases() {
        let run = cases::run(rule_set, compiled, case);
        let states = run.states.as_ref().map_or(&[][..], |it| it.rows());
        let together = just_so(decider.judgements[0].rules.rows(), states);
        if !decider.solver.possible(&together) {
            unreachable!(
                "{} is not in the space: {:?}",
                case.title,
                clash(&mut decider, rule_set, states)
            );
        }
        n_tried += 1;
    }
    assert!(n_tried > fewest, "{n_tried}");
}

/// A questionnaire is one that the reader takes as it is, and its rule comes out as said.
fn assert_real(rule_set: &RuleSet, seen: &Witness, rule: Idx<Rule>, state: State) {
    let states = Compiled::new(rule_set).run(&facts_over(
        rule_set,
        seen.clinic.as_deref(),
        &seen.questionnaire,
    ));
    assert_eq!(
        states[rule], state,
        "{}\n{}",
        rule_set.judging[rule].id, seen.questionnaire
    );
    assert_eq!(states, seen.states);
}

/// Rules of the default set that are looked at: all would take minutes. Every ninth, and all that hang on arithmetic, on
/// dates, on allergies, on steroids or on contradictions.
fn is_looked_at(at: usize, id: &str, written: &str) -> bool {
    let words = [
        "seen_on",
        "older_than",
        "within",
        "allergic_to",
        "steroid",
        "not-offered",
        "ruled-out",
    ];
    at.is_multiple_of(9)
        || ["anaesthetic/", "circulation/"]
            .iter()
            .any(|it| id.starts_with(it))
        || words.iter().any(|it| written.contains(it))
}

#[test]
fn rules_of_every_shape_can_fire() {
    let (rule_set, _) = embedded_once();
    let mut decider =
        Decider::new(&[rule_set], &[], today()).unwrap_or_else(|it| unreachable!("{it:?}"));
    let written = RuleFiles::embedded();
    let mut n_tried = 0;
    for (at, rule) in rule_set.rule_entries() {
        let text = written.rule(&rule.id).map(|it| {
            it.source
                .slice(
                    &it.node
                        .get("when")
                        .map(|it| it.span.clone())
                        .unwrap_or_default(),
                )
                .to_owned()
        });
        if !is_looked_at(at.index(), &rule.id, &text.unwrap_or_default()) {
            continue;
        }
        n_tried += 1;
        let fires = decider.judgements[0].rules[at].yes;
        let Found::Example(seen) = decider.find(&[fires], &|seen| {
            seen.iter().all(|it| it.states[at] == State::Fires)
        }) else {
            unreachable!("{} was not made to fire", rule.id)
        };
        assert_real(rule_set, &seen[0], at, State::Fires);
        assert!(
            seen[0].n_answers <= 8,
            "{} answers more than it need:\n{}",
            rule.id,
            seen[0].questionnaire
        );
    }
    assert!(n_tried > 100, "{n_tried}");
}

// --- Small rule sets, worked out by hand ---------------------------------------------------------------------------

/// Whether the one rule of this condition can fire: never, by an example, or not decided.
fn can_fire(when: &str) -> &'static str {
    let rules = tiny(&[("one", "defer", when)]);
    let mut decider =
        Decider::new(&[&rules], &[], today()).unwrap_or_else(|it| unreachable!("{it:?}"));
    let one = nth_rule(&rules, 0);
    let fires = decider.judgements[0].rules[one].yes;
    match decider.find(&[fires], &|seen| {
        seen.iter().all(|it| it.states[one] == State::Fires)
    }) {
        Found::Never => "never",
        Found::Open(_) => "open",
        Found::Example(seen) => {
            assert_real(&rules, &seen[0], one, State::Fires);
            "example"
        }
    }
}

#[rstest]
#[case::two_answers_to_one_question(
    "{ all: [{ fact: a.pulse, is: felt }, { fact: a.pulse, is: absent }] }",
    "never"
)]
#[case::neither_yes_nor_no(
    "{ all: [{ fact: a.smokes, is_not: yes }, { fact: a.smokes, is_not: no }] }",
    "never"
)]
#[case::beyond_what_is_plausible("{ fact: a.count, above: 100 }", "never")]
#[case::the_last_plausible("{ fact: a.count, at_least: 100 }", "example")]
#[case::a_number_and_one_below(
    "{ all: [{ fact: a.count, above: 3 }, { fact: a.count, below: 3.001 }] }",
    "example"
)]
#[case::just_one_number("{ fact: a.count, between: [3.25, 3.25] }", "example")]
// 9 mL of 2 % at 60 kg are just the limit of 3 mg/kg. Such a point is not found among so many numbers, and not denied either.
#[case::just_one_computed_number("{ fact: derived.load, between: [1, 1] }", "open")]
#[case::a_weight_at_its_ceiling("{ fact: derived.dosing, at_least: 70 kg }", "example")]
#[case::a_weight_above_its_ceiling("{ fact: derived.dosing, above: 70 kg }", "never")]
#[case::three_of_three_signs("{ fact: derived.n_signs, at_least: 3 }", "example")]
#[case::four_of_three_signs("{ fact: derived.n_signs, at_least: 4 }", "never")]
#[case::two_signs_and_no_pain_or_ulcer(
    "{ all: [{ fact: derived.n_signs, at_least: 2 }, { not: { fact: a.signs, includes_any: [pain, ulcer] } }] }",
    "never"
)]
#[case::an_age_between_two_years(
    "{ all: [{ fact: derived.age, above: 17 }, { fact: derived.age, below: 18 }] }",
    "never"
)]
#[case::older_and_younger(
    "{ all: [{ fact: a.seen_on, older_than: 3 months }, { fact: a.seen_on, within: 2 months }] }",
    "never"
)]
#[case::between_two_spans(
    "{ all: [{ fact: a.seen_on, older_than: 2 months }, { fact: a.seen_on, within: 3 months }] }",
    "example"
)]
#[case::a_date_without_its_value(
    "{ all: [{ fact: a.inr, older_than: 8 days }, { not: { fact: a.inr, older_than: 72 hours } }] }",
    "never"
)]
#[case::two_thinners("{ taking: thinner, at_least: 2 }", "example")]
#[case::two_thinners_of_one_class_of_one(
    "{ all: [{ taking: thinner, at_least: 2 }, { not: { taking: [apixaban, aspirin] } }] }",
    "never"
)]
#[case::an_older_thinner_alone(
    "{ all: [{ taking: old-thinner }, { not: { taking: apixaban } }, { not: { taking: thinner, at_least: 2 } }] }",
    "example"
)]
#[case::a_group_without_its_part(
    "{ all: [{ allergic_to: anaesthetic }, { not: { allergic_to: amide } }] }",
    "example"
)]
#[case::a_part_without_its_group(
    "{ all: [{ allergic_to: amide }, { not: { allergic_to: anaesthetic } }] }",
    "never"
)]
#[case::one_reaction_without_the_other(
    "{ all: [{ allergic_to: latex, reaction: [rash] }, { not: { allergic_to: latex, reaction: [anaphylaxis] } }] }",
    "example"
)]
#[case::ruled_out("{ answers: ruled-out }", "example")]
fn whether_it_can_fire(#[case] when: &str, #[case] expected: &str) {
    assert_eq!(can_fire(when), expected);
}

/// A missing answer keeps a rule open, an added one settles it; and a number that was not found once is not shut out.
#[test]
fn a_rule_can_be_open_and_asking_again_changes_nothing() {
    let rules = tiny(&[
        (
            "one",
            "defer",
            "{ all: [{ fact: a.smokes, is: yes }, { fact: a.count, above: 4 }] }",
        ),
        (
            "two",
            "go",
            "{ fact: derived.load, between: [0.333333333333, 0.333333333333] }",
        ),
    ]);
    let mut decider =
        Decider::new(&[&rules], &[], today()).unwrap_or_else(|it| unreachable!("{it:?}"));
    let [first, second] = [0, 1].map(|it| nth_rule(&rules, it));
    let [one, two] = decider.judgements[0].rules.rows()[..] else {
        unreachable!("two rules")
    };
    let Found::Example(seen) = decider.find(&[!one.yes, !one.no], &|seen| {
        seen[0].states[first] == State::Undetermined
    }) else {
        unreachable!("it can be open")
    };
    assert_real(&rules, &seen[0], first, State::Undetermined);
    assert_eq!(seen[0].n_answers, 0, "nothing has to be answered for it");
    for _ in 0..2 {
        let found = decider.find(&[two.yes], &|seen| seen[0].states[second] == State::Fires);
        assert!(
            !matches!(found, Found::Never),
            "what was not found is not impossible"
        );
    }
    assert!(matches!(
        decider.find(&[one.yes], &|seen| seen[0].states[first] == State::Fires),
        Found::Example(_)
    ));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, rng_seed: SEED, ..ProptestConfig::default() })]

    /// On random rule sets: every random patient is in the space, nobody makes a rule fire that never can, and every
    /// example fires.
    #[test]
    fn any_patient_is_in_the_space_of_any_rule_set(trees in prop::collection::vec(tree(), 3), all in prop::collection::vec(choices(), 8)) {
        let written: Vec<(String, String)> = trees.iter().enumerate().map(|(at, it)| (format!("rule-{at}"), yaml(it, false))).collect();
        let of: Vec<(&str, &str, &str)> = written.iter().map(|(id, when)| (id.as_str(), "defer", when.as_str())).collect();
        let rules = gated(&of);
        let compiled = Compiled::new(&rules);
        let people: Vec<States> =
            all.iter().filter_map(|it| Some(compiled.run(&facts_or(&rules, &text(it)).ok()?))).collect();
        let mut decider = Decider::new(&[&rules], &[], today()).unwrap_or_else(|it| unreachable!("{it:?}"));
        for states in &people {
            let together = just_so(decider.judgements[0].rules.rows(), states.rows());
            prop_assert!(decider.solver.possible(&together), "{:?}", clash(&mut decider, &rules, states.rows()));
        }
        for at in rules.judging.indices() {
            let fires = decider.judgements[0].rules[at].yes;
            match decider.find(&[fires], &|seen| seen.iter().all(|it| it.states[at] == State::Fires)) {
                Found::Never => prop_assert!(people.iter().all(|it| it[at] != State::Fires), "{} fires", written[at.index()].1),
                Found::Example(seen) => assert_real(&rules, &seen[0], at, State::Fires),
                Found::Open(_) => {}
            }
        }
    }
}
