//! Which answers count: harmless ones to questions that do not apply are set aside, others contradict, and a contradiction,
//! a plan beyond the offers and an unread name hold the verdict in every rule set.

use std::collections::BTreeMap;

use preblock::inner::outcome::Outcome;
use preblock::inner::questionnaire::facts;
use preblock::inner::questionnaire::facts::{Facts, Gathered};
use preblock::inner::questionnaire::frame;
use preblock::inner::report::page::Style;
use preblock::inner::report::{json, markdown, text};
use preblock::inner::rule_set::{Answer, Question, RuleSet};
use preblock::inner::screening::compile::Compiled;
use preblock::inner::truth::Truth;
use rstest::rstest;

use crate::properties::{gated, span_of};
use crate::shipped::nails;
use crate::support::{
    codes, embedded_once, facts, gathered, held, screening, text_of, today, written,
};

/// These answers over others.
fn over(rules: &RuleSet, answers: &Gathered, lines: &str) -> Facts {
    let own = gathered(rules, &written(lines))
        .unwrap_or_else(|found| unreachable!("{lines}: {:?}", codes(&found)));
    let completed_on = answers.completed_on.clone();
    let mut all = frame::over(answers, &own);
    all.completed_on = completed_on;
    let (facts, refused) = facts::read(rules, &all, today());
    assert!(refused.is_empty(), "{lines}: {:?}", codes(&refused));
    facts
}

/// Every answer to a question that says no more than that there is nothing.
fn harmless(question: &Question) -> Vec<String> {
    let nothing = |options: &[preblock::inner::rule_set::Choice]| -> Vec<String> {
        options
            .iter()
            .filter(|it| it.nothing || question.harmless_alone)
            .map(|it| it.id.clone())
            .collect()
    };
    let answers = match &question.answer {
        Answer::YesNo if question.harmless_alone => vec!["no".to_owned(), "yes".to_owned()],
        Answer::YesNo => vec!["no".to_owned()],
        Answer::OneOf(options) => nothing(options),
        Answer::SeveralOf(options) => {
            let ids = nothing(options);
            let all = (ids.len() > 1).then(|| ids.join(", "));
            std::iter::once(String::new())
                .chain(ids)
                .chain(all)
                .map(|it| format!("[{it}]"))
                .collect()
        }
        Answer::Medicines | Answer::Allergies | Answer::Anaesthetic => vec!["[]".to_owned()],
        Answer::Text => vec!["some words".to_owned()],
        Answer::Number { .. } | Answer::Quantity { .. } | Answer::Date => Vec::new(),
    };
    let unknown = question
        .dated
        .then(|| "{ value: unknown, taken_on: 2026-11-20 }".to_owned());
    let dated = answers.into_iter().map(|it| {
        if question.dated {
            format!("{{ value: {it}, taken_on: 2026-11-20 }}")
        } else {
            it
        }
    });
    dated.chain(unknown).collect()
}

/// The healthy adult goes, whatever detail that does not apply is answered with no, with nothing, or harmlessly; each such
/// answer is told to be set aside, and nothing else changes.
#[test]
fn every_harmless_answer_to_a_question_that_does_not_apply_leaves_go() {
    let (rules, compiled) = embedded_once();
    let healthy = nails().healthy();
    let (before, _) = facts::read(rules, &healthy, today());
    let states = compiled.run(&before);
    assert_eq!(span_of(rules, &states).verdict().outcome, Outcome::Go);
    let (mut n_questions, mut n_tried) = (0, 0);
    for question in &rules.catalogue.questions {
        let shut = preblock::inner::questionnaire::facts::truth_of::applies(
            question,
            &rules.catalogue,
            &before,
        ) == Truth::No;
        if !shut || before.is_standing(question.slot) {
            continue;
        }
        let answers = harmless(question);
        n_questions += usize::from(!answers.is_empty());
        for answer in answers {
            let (section, name) = question.id.split_once('.').unwrap_or_default();
            let after = over(
                rules,
                &healthy,
                &format!("{section}:\n  {name}: {answer}\n"),
            );
            assert_eq!(compiled.run(&after), states, "{}: {answer}", question.id);
            let told = screening(rules, &after).set_aside;
            if question
                .otherwise
                .is_some_and(|it| question.option_id(it) == answer)
            {
                assert!(told.is_empty(), "{}: it is so anyhow", question.id);
                continue;
            }
            assert!(
                told.iter()
                    .any(|it| it.answer.fact == question.id && !it.because.is_empty()),
                "{}: {answer}: {told:?}",
                question.id
            );
            n_tried += 1;
        }
    }
    assert!(
        n_questions > 60 && n_tried > 80,
        "{n_questions} questions, {n_tried} answers"
    );
}

/// Any other answer to such a question defers, and is not set aside.
#[rstest]
#[case("bleeding: { inr: { value: 2.6, taken_on: 2026-11-24 } }")]
#[case("diabetes: { foot_active: [ulcer] }")]
#[case("pregnancy: { weeks: 20 }")]
#[case("pregnancy: { status: possible }")]
#[case("bleeding: { cardiology_agrees: yes }")]
#[case("lesion: { xray: exostosis }")]
#[case("general: { numb_foot_risks: [deformity] }")]
fn a_positive_answer_to_a_question_that_does_not_apply_defers(#[case] lines: &str) {
    let (rules, compiled) = embedded_once();
    let healthy = nails().healthy();
    let after = over(rules, &healthy, lines);
    assert_ne!(
        span_of(rules, &compiled.run(&after)).verdict().outcome,
        Outcome::Go
    );
    let found = screening(rules, &after);
    assert!(
        found
            .findings
            .iter()
            .any(|it| it.rule == "contradictions/detail-ruled-out"),
        "{lines}"
    );
    assert!(found.set_aside.is_empty());
}

/// Sex and age settle that nobody has to ask about pregnancy; where one of them is missing, somebody asks.
#[rstest]
#[case("person: { sex: male }", Outcome::Go)]
#[case("person: { sex: female, date_of_birth: 1959-05-14 }", Outcome::Go)]
#[case("person: { sex: female, date_of_birth: 1989-05-14 }", Outcome::Defer)]
#[case("person: { sex: unknown }", Outcome::Defer)]
fn pregnancy_is_asked_about_where_it_can_be(#[case] person: &str, #[case] expected: Outcome) {
    let (rules, compiled) = embedded_once();
    let mut healthy = nails().healthy();
    let asked = |id: &str| rules.catalogue.questions.position(|it| it.id == id);
    healthy
        .given
        .retain(|at, _| Some(*at) != asked("pregnancy.status"));
    let after = over(rules, &healthy, person);
    assert_eq!(
        span_of(rules, &compiled.run(&after)).verdict().outcome,
        expected,
        "{person}"
    );
    let asks = screening(rules, &after)
        .to_ask
        .iter()
        .any(|it| it.fact == "pregnancy.status");
    assert_eq!(asks, expected == Outcome::Defer);
}

/// A finding that rests on what follows from another answer says from which.
#[test]
fn what_follows_where_a_question_does_not_apply_is_explained() {
    let rules = gated(&[("one", "go", "{ fact: b.carrying, is: no-one }")]);
    let found = screening(
        &rules,
        &facts(&rules, "a: { sex: male, taken: [], allergies: [] }"),
    );
    let because: BTreeMap<&str, &[String]> = found
        .findings
        .iter()
        .flat_map(|it| &it.because)
        .map(|it| (it.fact.as_str(), it.from.as_slice()))
        .collect();
    assert_eq!(
        because.get("b.carrying"),
        Some(&["a.sex".to_owned()].as_slice())
    );
    assert!(because.contains_key("a.sex"));
}

// --- What holds in every rule set ----------------------------------------------------------------------------------

const READ: &str = "taken: [], allergies: []";

/// A rule set without any rule on contradictions, offers or medicines.
fn small() -> RuleSet {
    held(&[("count", "defer", "{ fact: a.count, above: 4 }")])
}

#[rstest]
#[case("count: 2", READ, Outcome::Go, &[])]
#[case("count: 2, smokes: no, detail: no", READ, Outcome::Go, &[])]
#[case("count: 2, smokes: no, detail: yes", READ, Outcome::Defer, &["built-in/detail-ruled-out"])]
#[case("count: 2, detail: yes", READ, Outcome::Defer, &[])]
#[case("count: 2, smokes: yes, detail: yes", READ, Outcome::Go, &[])]
#[case("count: 2", "taken: [warfrin], allergies: []", Outcome::Defer, &[])]
#[case("count: 2", "taken: [], allergies: [{ to: mystery, reaction: rash }]", Outcome::Defer, &[])]
// Leaving a list out gets nobody further than an unread name does.
#[case("count: 2", "allergies: []", Outcome::Defer, &[])]
#[case("count: 9", READ, Outcome::Defer, &["test/count"])]
fn a_small_rule_set_is_held_all_the_same(
    #[case] answers: &str,
    #[case] lists: &str,
    #[case] verdict: Outcome,
    #[case] fires: &[&str],
) {
    let rules = small();
    let found = screening(
        &rules,
        &facts(&rules, &format!("a: {{ {answers}, {lists} }}")),
    );
    assert_eq!(found.verdict().outcome, verdict);
    let firing: Vec<&str> = found.findings.iter().map(|it| it.rule.as_str()).collect();
    assert_eq!(firing, fires);
}

#[test]
fn a_plan_beyond_the_offers_is_held_without_a_rule() {
    let (rules, text) = {
        let mut files = crate::support::files(&[("count", "defer", "{ fact: a.count, above: 4 }")]);
        let questions = text_of(&files, "questions.yaml").replace(
            "{ id: adrenaline, ask: Adrenaline?, answer: yes-no, from: nurse }",
            "{ id: adrenaline, ask: Adrenaline?, answer: yes-no, from: nurse, decision: true }",
        );
        files.set("questions.yaml", questions);
        let rules = preblock::inner::rule_set::read::rule_set(&files)
            .unwrap_or_else(|found| unreachable!("{:?}", codes(&found)));
        (
            rules,
            "clinic: 1\nname: Test\noffers: { plan: { adrenaline: [no] } }\nanswers: {}\n",
        )
    };
    let (clinic, wrong) = frame::clinic(&rules, "clinic.yaml", text.as_bytes());
    assert!(wrong.is_empty(), "{:?}", codes(&wrong));
    let clinic = clinic.map(|it| it.answers).unwrap_or_default();
    for (adrenaline, verdict) in [
        ("yes", Outcome::Defer),
        ("no", Outcome::Go),
        ("unknown", Outcome::Defer),
    ] {
        let found = screening(
            &rules,
            &over(
                &rules,
                &clinic,
                &format!("plan: {{ adrenaline: {adrenaline} }}\na: {{ count: 2, {READ} }}"),
            ),
        );
        assert_eq!(found.verdict().outcome, verdict, "{adrenaline}");
        let named = found
            .findings
            .iter()
            .map(|it| &it.rule)
            .chain(found.undetermined.iter().map(|it| &it.rule));
        assert_eq!(
            named
                .filter(|it| *it == "built-in/plan-not-offered")
                .count(),
            usize::from(verdict == Outcome::Defer)
        );
    }
}

/// A rule of the rule set takes the place of the program's, if it bars and has no further condition.
#[test]
fn a_rule_of_the_rule_set_stands_for_the_programs() {
    let ids = |rules: &[(&str, &str, &str)]| -> Vec<String> {
        let judging = held(rules).judging;
        let own = judging.iter().filter(|it| it.is_built_in());
        own.map(|it| it.id.clone()).collect()
    };
    let all = [
        "built-in/detail-ruled-out",
        "built-in/plan-not-offered",
        "built-in/name-not-recognised",
    ];
    assert_eq!(ids(&[("one", "defer", "{ fact: a.count, above: 4 }")]), all);
    assert_eq!(ids(&[("one", "defer", "{ answers: ruled-out }")]), all[1..]);
    assert_eq!(ids(&[("one", "go", "{ answers: ruled-out }")]), all);
    assert_eq!(
        ids(&[(
            "one",
            "defer",
            "{ all: [{ answers: ruled-out }, { fact: a.smokes, is: yes }] }"
        )]),
        all
    );
    assert_eq!(
        embedded_once()
            .0
            .judging
            .iter()
            .filter(|it| it.is_built_in())
            .map(|it| it.id.as_str())
            .collect::<Vec<_>>(),
        all[2..]
    );
}

/// What is set aside stands in every form of the report, with what says so.
#[test]
fn what_is_set_aside_is_listed() {
    let rules = small();
    let found = screening(
        &rules,
        &facts(
            &rules,
            &format!("a: {{ count: 2, smokes: no, detail: no, {READ} }}"),
        ),
    );
    for page in [
        text::full(&found, &Style::plain()),
        markdown::one(&found, true),
    ] {
        assert!(page.contains("Set aside, does not apply (1)"), "{page}");
        assert!(
            page.contains("a.detail") && page.contains("a.smokes"),
            "{page}"
        );
    }
    let document: serde_json::Value = serde_json::from_str(&json::one(&found)).unwrap_or_default();
    let aside = &document["set_aside"][0];
    assert_eq!(
        (aside["fact"].as_str(), aside["value"].as_str()),
        (Some("a.detail"), Some("no"))
    );
    assert_eq!(aside["because"][0]["fact"].as_str(), Some("a.smokes"));
}

/// The compiled form holds the built-in rules, too.
#[test]
fn every_state_stands_for_a_rule_or_a_hold() {
    let rules = small();
    let states = Compiled::new(&rules).run(&facts(&rules, "a: { count: 2 }"));
    let n_holds = rules.judging.iter().filter(|it| it.is_built_in()).count();
    assert_eq!(n_holds, 3);
    assert_eq!(states.len(), rules.rules().count() + n_holds);
}
