//! What is to be done next: each kind, what comes before what, and that it never promises more than a screening keeps.

use preblock::inner::outcome::{Outcome, Urgency};
use preblock::inner::questionnaire::facts::Facts;
use preblock::inner::report::{Style, text};
use preblock::inner::screening::result::{NextKind, Screening};
use rstest::rstest;

use crate::prospects::{Desk, OFFERS, clinic_of_the_examples, example_names, plan_answers};
use crate::support::{referral, today};

/// A screening with what is to be done next.
fn screened(desk: &Desk, facts: &Facts) -> Screening {
    desk.screener.screening(&referral(facts))
}

fn line(screening: &Screening) -> String {
    let wide = Style {
        width: 400,
        colour: false,
    };
    let report = text::full(screening, &wide);
    report
        .lines()
        .find_map(|it| it.strip_prefix("    next  "))
        .unwrap_or_default()
        .to_owned()
}

/// The healthy adult of the examples, over their clinic.
#[rstest]
#[case::nothing_against(&[], NextKind::Book, "book")]
#[case::another_plan(&[("plan.phenol_seconds", "600")], NextKind::ChangePlan, "change the plan: not at all (nail removed, matrix left) instead of phenol")]
#[case::something_to_wait_for(&[("home.travel", "drives")], NextKind::Wait, "wait for ")]
#[case::to_another_service(&[("circulation.symptoms", "[rest-pain]")], NextKind::Refer, "refer to the vascular team on call, the same day")]
#[case::without_hurry(&[("bleeding.conditions", "[haemophilia]")], NextKind::Refer, "refer to the haemophilia centre")]
#[case::an_answer(&[("circulation.symptoms", "unknown")], NextKind::Ask, "ask 1 answer (patient 1)")]
#[case::asked_before_anything_else(&[("circulation.symptoms", "unknown"), ("home.travel", "drives")], NextKind::Ask, "ask 1 answer (patient 1); then wait for ")]
#[case::asked_before_the_plan(
    &[("circulation.symptoms", "unknown"), ("plan.phenol_seconds", "600")],
    NextKind::Ask, "ask 1 answer (patient 1); then wait for a planned time of 180 seconds or less"
)]
#[case::asked_before_it_is_referred_slowly(
    &[("circulation.symptoms", "unknown"), ("bleeding.conditions", "[haemophilia]")],
    NextKind::Refer, "refer to the haemophilia centre; first ask 1 answer (patient 1), which could make it more pressing"
)]
#[case::a_name(&[("medicines.current", "[warfrin]")], NextKind::Ask, "find out what \"warfrin\" is")]
#[case::a_contradiction(&[("plan.current", "monopolar")], NextKind::Ask, "clear up 1 contradiction")]
fn what_comes_next(#[case] changes: &[(&str, &str)], #[case] kind: NextKind, #[case] starts: &str) {
    let desk = Desk::embedded();
    let changes: Vec<(String, String)> = changes
        .iter()
        .map(|(fact, answer)| ((*fact).to_owned(), (*answer).to_owned()))
        .collect();
    let facts = desk.facts(
        &desk.with(
            &desk.example("SM-101.yaml", &clinic_of_the_examples()),
            &changes,
        ),
        today(),
    );
    let screening = screened(desk, &facts);
    assert_eq!(
        screening.next.as_ref().map(|it| it.kind),
        Some(kind),
        "{:?}",
        screening.next
    );
    assert!(line(&screening).starts_with(starts), "{}", line(&screening));
}

/// For every example: a go is booked, a referral is referred, and a plan that it says to change to goes ahead, or leaves
/// nothing but answers to ask for, when it is screened by itself.
#[test]
fn the_next_step_of_the_examples_is_true() {
    let desk = Desk::embedded();
    let mut kinds = Vec::new();
    for clinic in [OFFERS.to_owned(), clinic_of_the_examples()] {
        for name in example_names() {
            let answers = desk.example(&name, &clinic);
            let screening = screened(desk, &desk.facts(&answers, today()));
            let next = screening
                .next
                .clone()
                .unwrap_or_else(|| unreachable!("{name}"));
            assert_eq!(
                next.kind == NextKind::Book,
                screening.verdict().outcome == Outcome::Go,
                "{name}"
            );
            if screening.verdict().outcome == Outcome::Refer {
                let urgency = screening.findings.iter().filter_map(|it| it.urgency).max();
                assert_eq!(next.urgency, urgency, "{name}");
                assert!(
                    next.kind == NextKind::Refer
                        || (next.kind == NextKind::ChangePlan && urgency == Some(Urgency::Routine)),
                    "{name}"
                );
                assert!(
                    next.kind != NextKind::Refer || !next.refer_to.is_empty(),
                    "{name}"
                );
            }
            if !next.plan.is_empty() {
                let then =
                    desk.screen(&desk.changed(&answers, &plan_answers(desk, &next.plan), today()));
                assert_eq!(
                    then.span.best_case.outcome,
                    Outcome::Go,
                    "{name}: {:?}",
                    next.plan
                );
            }
            assert!(
                next.kind != NextKind::Wait || !next.wait_for.is_empty(),
                "{name}"
            );
            let n_asked: usize = next.ask.iter().map(|it| it.n).sum();
            assert!(
                n_asked <= screening.to_ask.len() || next.kind == NextKind::ChangePlan,
                "{name}"
            );
            kinds.push(next.kind);
        }
    }
    for kind in [
        NextKind::Refer,
        NextKind::Ask,
        NextKind::ChangePlan,
        NextKind::Wait,
        NextKind::Book,
    ] {
        assert!(kinds.contains(&kind), "{kind:?} never comes up: {kinds:?}");
    }
}

/// A referral prints no instructions for a plan that was refused; a plan to change does.
#[test]
fn precautions_are_not_told_of_a_referral() {
    let desk = Desk::embedded();
    let older = [("person.date_of_birth".to_owned(), "1946-05-14".to_owned())];
    let go = desk.with(
        &desk.example("SM-101.yaml", &clinic_of_the_examples()),
        &older,
    );
    let refer = desk.with(
        &go,
        &[("circulation.symptoms".to_owned(), "[rest-pain]".to_owned())],
    );
    for (answers, told) in [(go, true), (refer, false)] {
        let screening = screened(desk, &desk.facts(&answers, today()));
        assert!(
            screening
                .findings
                .iter()
                .any(|it| it.outcome == Outcome::Go)
        );
        let reports = [
            text::full(&screening, &Style::plain()),
            preblock::inner::report::markdown::one(&screening, true),
        ];
        assert_eq!(
            reports.map(|it| it.contains("Precautions, if it goes ahead")),
            [told; 2]
        );
    }
}
