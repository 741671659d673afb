//! What is still to ask, and when asking may stop.

#![expect(
    clippy::panic,
    reason = "what cannot be read or started fails the test that needs it"
)]

use std::collections::BTreeMap;

use preblock::inner::outcome::{Standing, Urgency};
use preblock::inner::questionnaire::edit::{Entered, with_answer};
use preblock::inner::questionnaire::facts::{Facts, truth_of};
use preblock::inner::rule_set::{Idx, Question, RuleSet};
use preblock::inner::screening::evaluate::States;
use preblock::inner::screening::interview::Interview;
use preblock::inner::truth::Truth;
use preblock::{Screener, Screening};
use proptest::prelude::*;
use rstest::rstest;

use crate::properties::{ANSWERS, Dice, choices, rules_of, some_answer, text, text_with, tree};
use crate::shipped::{Shipped, nails, skin};
use crate::support::{
    SEED, codes, embedded_once, embedded_screener, facts, facts_or, gathered, held, referral,
    screening, today, written,
};

/// What is to be asked of somebody, and what each rule comes to.
fn asked(screener: &Screener<'_>, facts: &Facts) -> (Interview, States) {
    (screener.interview(&referral(facts)), screener.states(facts))
}

/// The questions that apply for certain, that nobody answered, and that the interview leaves out.
fn left_out(rules: &RuleSet, facts: &Facts, interview: &Interview) -> Vec<Idx<Question>> {
    let questions = rules.catalogue.questions.entries();
    questions
        .filter(|(at, question)| {
            let dated = question
                .date_slot
                .is_some_and(|it| facts.known(it).is_some());
            facts.known(question.slot).is_none()
                && !dated
                && truth_of::applies(question, &rules.catalogue, facts) == Truth::Yes
                && !interview.asks.iter().any(|it| it.question == *at)
        })
        .map(|(at, _)| at)
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, rng_seed: SEED, ..ProptestConfig::default() })]

    /// Whatever is answered to a question that is left out, no rule comes to anything else.
    #[test]
    fn a_question_that_is_left_out_changes_nothing(trees in prop::collection::vec(tree(), 12), all in prop::collection::vec(choices(), 4)) {
        let rules = rules_of(&trees, false);
        let screener = Screener::new(&rules, today());
        let mut n_left_out = 0;
        for choices in &all {
            let before = facts_or(&rules, &text(choices)).map_err(|_| TestCaseError::fail("refused"))?;
            let (interview, states) = asked(&screener, &before);
            for at in left_out(&rules, &before, &interview) {
                let id = rules.catalogue.questions[at].id.as_str();
                let place = ANSWERS.iter().position(|(it, _)| *it == id);
                let Some((_, answers)) = place.and_then(|it| ANSWERS.get(it)) else { continue };
                for answer in *answers {
                    n_left_out += 1;
                    let text = text_with(choices, place, answer);
                    let after = facts_or(&rules, &text).map_err(|it| TestCaseError::fail(format!("{:?}", codes(&it))))?;
                    prop_assert_eq!(&screener.states(&after), &states, "{} {}\n{}", id, answer, text);
                }
            }
        }
        prop_assert!(n_left_out > 0, "nothing was left out");
    }

    /// An interview ends, after no more answers than it said, and each answer brings the end nearer; then nothing that
    /// anybody could be asked is open, and the verdict is settled unless somebody did not know.
    #[test]
    fn an_interview_ends_as_soon_as_it_says(trees in prop::collection::vec(tree(), 12), choices in choices(), seed in any::<u64>()) {
        let rules = rules_of(&trees, false);
        let screener = Screener::new(&rules, today());
        let mut dice = Dice(seed);
        let mut choices = choices;
        let mut most = usize::MAX;
        loop {
            let facts = facts_or(&rules, &text(&choices)).map_err(|it| TestCaseError::fail(format!("{:?}", codes(&it))))?;
            let (interview, _) = asked(&screener, &facts);
            prop_assert!(interview.at_most < most, "{} is not fewer than {most}", interview.at_most);
            prop_assert_eq!(interview.fewest == 0, interview.is_settled());
            most = interview.at_most;
            let Some(next) = interview.open().next() else {
                prop_assert!(interview.is_settled() || !interview.asks.is_empty());
                break;
            };
            let id = rules.catalogue.questions[next.question].id.as_str();
            let place = ANSWERS.iter().position(|(it, _)| *it == id);
            let Some((place, (_, answers))) = place.and_then(|it| Some((it, ANSWERS.get(it)?))) else {
                return Err(TestCaseError::fail(format!("{id} has no answer to try")));
            };
            choices[place] = dice.roll(answers.len());
        }
    }
}

/// Answers by the id of their question, as a text.
fn questionnaire(rules: &RuleSet, answers: &BTreeMap<String, String>) -> String {
    let mut lines = String::new();
    for section in &rules.catalogue.sections {
        lines.push_str(&format!("{}:\n", section.id));
        for (id, answer) in answers {
            if let Some(name) = id.strip_prefix(&format!("{}.", section.id)) {
                lines.push_str(&format!("  {name}: {answer}\n"));
            }
        }
    }
    written(&lines)
}

/// The same of a rule set that is used, on random people who are asked one question after another.
#[rstest]
#[case::nails(nails(), 5)]
#[case::skin(skin(), 2)]
fn random_people_are_asked_what_matters_and_nothing_else(
    #[case] shipped: &Shipped,
    #[case] few: usize,
) {
    let rules = &shipped.rules;
    let screener = shipped.screener();
    let mut dice = Dice(20_261_130);
    let (mut n_settled_early, mut n_left_out) = (0, 0);
    for _ in 0..12 {
        let mut answers = BTreeMap::new();
        let mut most = usize::MAX;
        let mut was_early = false;
        while let Ok(before) = facts_or(rules, &questionnaire(rules, &answers)) {
            let (interview, states) = asked(&screener, &before);
            assert!(interview.at_most < most, "{answers:?}");
            most = interview.at_most;
            was_early |= interview.is_settled() && interview.open().next().is_some();
            let left_out = left_out(rules, &before, &interview);
            if let Some(at) = left_out.get(dice.roll(left_out.len() * 3)) {
                let question = &rules.catalogue.questions[*at];
                if let Some(answer) = some_answer(rules, question, &mut dice) {
                    n_left_out += 1;
                    let mut more = answers.clone();
                    more.insert(question.id.clone(), answer.clone());
                    let after = facts_or(rules, &questionnaire(rules, &more));
                    if let Ok(after) = after {
                        assert_eq!(screener.states(&after), states, "{} {answer}", question.id);
                        let (was, is) = (screening(rules, &before), screening(rules, &after));
                        // A rule that fires may find a further ground; what it says and asks for stays.
                        let of = |it: Screening| {
                            let said = it.findings.into_iter();
                            let said = said.map(|it| {
                                (it.rule, it.reason, it.action, it.refer_to, it.cleared_by)
                            });
                            (
                                said.collect::<Vec<_>>(),
                                it.undetermined,
                                it.span,
                                it.anaesthetic,
                            )
                        };
                        assert_eq!(of(was), of(is), "{} {answer}", question.id);
                    }
                }
            }
            let Some(next) = interview.open().next() else {
                break;
            };
            let question = &rules.catalogue.questions[next.question];
            let answer = some_answer(rules, question, &mut dice);
            answers.insert(question.id.clone(), answer.unwrap_or("declined".into()));
        }
        n_settled_early += usize::from(was_early);
    }
    assert!(n_settled_early > few, "{n_settled_early}");
    assert!(n_left_out > 30, "{n_left_out}");
}

/// A healthy adult, asked all that matters: how many answers that takes, and how many of them the clinic gave for all.
#[test]
fn a_healthy_adult_is_settled_by_fifty_five_answers() {
    let rules = &embedded_once().0;
    let screener = embedded_screener();
    let known = nails().healthy();
    let mut answers = BTreeMap::new();
    let mut n_standing = 0;
    let verdict = loop {
        let text = questionnaire(rules, &answers);
        let before = facts_or(rules, &text).unwrap_or_else(|it| panic!("{:?}", codes(&it)));
        let (interview, _) = asked(&screener, &before);
        let Some(next) = interview.open().next() else {
            break interview.span.verdict();
        };
        let id = &rules.catalogue.questions[next.question].id;
        let given = known.given.get(&next.question);
        let given = given.unwrap_or_else(|| panic!("SM-101 does not say {id}"));
        n_standing += usize::from(given.standing);
        let answer = given.source.slice(&given.node.span);
        answers.insert(id.clone(), answer.to_owned());
    };
    assert_eq!(verdict, Standing::GO);
    let n = answers.len();
    println!("a healthy adult: {n} answers, {n_standing} of them in the clinic's file");
    assert!(n - n_standing <= 55, "{n} answers, {n_standing} standing");
    assert!(n_standing * 5 >= n, "{n_standing} of {n}");
}

#[test]
fn an_established_referral_is_settled_early() {
    let rules = &embedded_once().0;
    let before = facts(rules, "circulation: { symptoms: [rest-pain] }");
    let (interview, _) = asked(&embedded_screener(), &before);
    assert!(interview.is_settled());
    assert_eq!(interview.fewest, 0);
    assert_eq!(interview.span.verdict().urgency, Some(Urgency::SameDay));
    assert!(interview.at_most > 30, "{}", interview.at_most);
}

#[test]
fn answers_behind_a_gate_that_shuts_are_set_aside_and_not_lost() {
    let rules = held(&[(
        "one",
        "defer",
        "{ all: [{ fact: a.smokes, is: yes }, { fact: a.detail, is: yes }] }",
    )]);
    let screener = Screener::new(&rules, today());
    let at = |id: &str| {
        let found = rules.catalogue.questions.position(|it| it.id == id);
        found.unwrap_or_else(|| panic!("no {id}"))
    };
    let ids = |text: &str| -> Vec<String> {
        let facts = facts_or(&rules, text).unwrap_or_else(|it| panic!("{:?}", codes(&it)));
        let (interview, _) = asked(&screener, &facts);
        interview
            .asks
            .iter()
            .map(|it| rules.catalogue.questions[it.question].id.clone())
            .filter(|it| ["a.smokes", "a.detail"].contains(&it.as_str()))
            .collect()
    };
    let say = |text: &str, id: &str, word: &str| {
        let answer = Entered::Options(vec![word.to_owned()]);
        with_answer(&rules, text, at(id), &answer).unwrap_or_else(|it| panic!("{:?}", codes(&it)))
    };
    let nothing = written("");
    assert_eq!(ids(&nothing), ["a.smokes"]);
    let open = say(&nothing, "a.smokes", "yes");
    assert_eq!(ids(&open), ["a.detail"]);
    let answered = say(&open, "a.detail", "no");
    assert!(ids(&answered).is_empty());
    let shut = say(&answered, "a.smokes", "no");
    assert!(ids(&shut).is_empty());
    assert!(shut.contains("detail: no"), "{shut}");
    assert!(gathered(&rules, &shut).is_ok_and(|it| it.given.len() == 2));
    assert_eq!(say(&shut, "a.smokes", "yes"), answered);
}

/// With how few answers it could be over, counted by hand.
#[test]
fn the_fewest_answers_that_could_settle_it() {
    let fewest = |rules: &[(&str, &str, &str)], answers: &str| {
        let rules = crate::support::tiny(rules);
        let (interview, _) = asked(&Screener::new(&rules, today()), &facts(&rules, answers));
        (interview.fewest, interview.at_most)
    };
    let one = "{ all: [{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }] }";
    let other = "{ any: [{ fact: a.pulse, is: absent }, { all: [{ fact: a.count, above: 4 }, { fact: a.units, above: 4 }] }] }";
    // One `no` quiets the first rule; both must be yes for it to fire.
    assert_eq!(fewest(&[("one", "refer", one)], ""), (1, 2));
    // It fires by the pulse alone, and stays quiet by the pulse and a count.
    assert_eq!(fewest(&[("other", "refer", other)], ""), (1, 3));
    assert_eq!(
        fewest(&[("other", "refer", other)], "a: { pulse: felt }"),
        (1, 2)
    );
    // Both must be quieted, or the worse one fire.
    assert_eq!(
        fewest(&[("one", "refer", one), ("other", "defer", other)], ""),
        (2, 5)
    );
    assert_eq!(
        fewest(&[("one", "defer", one), ("other", "refer", other)], ""),
        (1, 5)
    );
    // A detail behind a gate that is not known takes the gate, too.
    let detail = "{ all: [{ fact: a.smokes, is: yes }, { fact: a.detail, is: yes }] }";
    assert_eq!(fewest(&[("detail", "refer", detail)], ""), (1, 2));
    assert_eq!(
        fewest(&[("detail", "refer", detail)], "a: { smokes: no }"),
        (0, 0)
    );
}
