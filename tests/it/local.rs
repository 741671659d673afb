//! Local policy: what a clinic changes, what of it loosens the rule set, and that every report says so.

use std::path::Path;
use std::sync::OnceLock;

use preblock::inner::outcome::{Outcome, Standing};
use preblock::inner::questionnaire::facts;
use preblock::inner::questionnaire::policy::rule_set_with;
use preblock::inner::rule_set::files::{RuleFiles, TextFile};
use preblock::inner::rule_set::local::{holds_for_fewer, loosened_by_limit};
use preblock::inner::rule_set::{
    Agent, Answer, Concern, Idx, LimitValue, LocalChange, LocalKind, Loosens, Rule, RuleSet,
};
use preblock::inner::screening::compile::Compiled;
use preblock::inner::screening::evaluate::standing;
use preblock::inner::screening::notices;
use preblock::inner::workbench::cases::read::{Case, cases};
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use rstest::rstest;
use serde_json::Value;

use crate::support::{SEED, codes, embedded, embedded_once, facts_or, screening, tiny, today};

const TERMS: &str = "reason: It is so here., agreed_by: clinical lead, agreed_on: 2026-11-20, review_by: 2027-05-31";

/// The embedded rule set under a local policy of these changes, each in braces without its terms.
fn under(changes: &[String]) -> RuleSet {
    let list: String = changes
        .iter()
        .map(|it| format!("  - {{ {it}, {TERMS} }}\n"))
        .collect();
    let text = format!(
        "local_policy: 1\nclinic: Saltmarsh Foot Clinic\nof: nail-surgery\nedition: \"2026.1\"\nchanges:\n{list}"
    );
    let local = TextFile::new("local.yaml", text.as_str());
    rule_set_with(&RuleFiles::embedded(), Some(&local))
        .unwrap_or_else(|found| unreachable!("{}\n{text}", codes(&found).join("\n")))
}

fn one(change: &str) -> RuleSet {
    under(&[change.to_owned()])
}

fn changes(rules: &RuleSet) -> &[LocalChange] {
    rules
        .local
        .as_ref()
        .map(|it| it.changes.as_slice())
        .unwrap_or_default()
}

/// What a rule set comes to for the patient of a case.
fn comes_to(rules: &RuleSet, compiled: &Compiled, case: &Case) -> Standing {
    let (facts, wrong) = facts::read(rules, &case.answers, case.as_of);
    assert!(
        wrong.is_empty(),
        "{}: {}",
        case.title,
        codes(&wrong).join("\n")
    );
    standing(rules, &compiled.run(&facts))
}

/// The patients of all cases, and what the rule set itself comes to for each.
fn patients() -> &'static [(Case, Standing)] {
    static PATIENTS: OnceLock<Vec<(Case, Standing)>> = OnceLock::new();
    PATIENTS.get_or_init(|| {
        let (rules, compiled) = embedded_once();
        let cases = cases(&RuleFiles::embedded(), rules)
            .unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n")));
        cases
            .into_iter()
            .map(|case| (comes_to(rules, compiled, &case), case))
            .map(|(standing, case)| (case, standing))
            .collect()
    })
}

/// The cases in which a local policy is less cautious.
fn less_cautious(rules: &RuleSet) -> Vec<&'static str> {
    let compiled = Compiled::new(rules);
    patients()
        .iter()
        .filter(|(case, before)| comes_to(rules, &compiled, case) < *before)
        .map(|(case, _)| case.title.as_str())
        .collect()
}

// --- What loosens ------------------------------------------------------------------------------------------------

/// Every use of a limit, the limit rising and falling.
#[rstest]
#[case::above("{ fact: a.count, above: { limit: ceiling } }", true, false)]
#[case::at_least("{ fact: a.count, at_least: { limit: ceiling } }", true, false)]
#[case::below("{ fact: a.count, below: { limit: ceiling } }", false, true)]
#[case::at_most("{ fact: a.count, at_most: { limit: ceiling } }", false, true)]
#[case::low_end("{ fact: a.count, between: [{ limit: ceiling }, 9] }", true, false)]
#[case::high_end("{ fact: a.count, between: [1, { limit: ceiling }] }", false, true)]
#[case::both_ends(
    "{ fact: a.count, between: [{ limit: ceiling }, { limit: ceiling }] }",
    true,
    true
)]
#[case::another_limit("{ fact: a.count, above: { limit: adult } }", false, false)]
#[case::literal("{ fact: a.count, above: 4.0 }", false, false)]
#[case::no_number("{ fact: a.smokes, is: yes }", false, false)]
#[case::not("{ not: { fact: a.count, above: { limit: ceiling } } }", false, true)]
#[case::not_not(
    "{ not: { not: { fact: a.count, above: { limit: ceiling } } } }",
    true,
    false
)]
#[case::not_between(
    "{ not: { fact: a.count, between: [{ limit: ceiling }, 9] } }",
    false,
    true
)]
#[case::inside_all(
    "{ all: [{ fact: a.smokes, is: yes }, { fact: a.count, above: { limit: ceiling } }] }",
    true,
    false
)]
#[case::inside_any(
    "{ any: [{ fact: a.smokes, is: yes }, { fact: a.count, below: { limit: ceiling } }] }",
    false,
    true
)]
#[case::both_ways(
    "{ any: [{ fact: a.count, above: { limit: ceiling } }, { not: { fact: a.units, above: { limit: ceiling } } }] }",
    true,
    true
)]
fn a_condition_holds_for_fewer(
    #[case] when: &str,
    #[case] if_it_rises: bool,
    #[case] if_it_falls: bool,
) {
    let rules = tiny(&[("one", "defer", when)]);
    let ceiling = rules
        .limits
        .position(|it| it.id == "ceiling")
        .unwrap_or_else(|| unreachable!("the limit"));
    let when = &rules.judging.rows()[0].when;
    assert_eq!(
        (
            holds_for_fewer(when, ceiling, true),
            holds_for_fewer(when, ceiling, false)
        ),
        (if_it_rises, if_it_falls)
    );
}

/// The same for ages of results.
#[rstest]
#[case::older_than("{ fact: a.seen_on, older_than: { limit: fresh } }", true, false)]
#[case::within("{ fact: a.seen_on, within: { limit: fresh } }", false, true)]
#[case::not_within("{ not: { fact: a.seen_on, within: { limit: fresh } } }", true, false)]
fn a_condition_on_an_age_holds_for_fewer(
    #[case] when: &str,
    #[case] if_longer: bool,
    #[case] if_shorter: bool,
) {
    let rules = tiny(&[("one", "defer", when)]);
    let fresh = rules
        .limits
        .position(|it| it.id == "fresh")
        .unwrap_or_else(|| unreachable!("the limit"));
    let when = &rules.judging.rows()[0].when;
    assert_eq!(
        (
            holds_for_fewer(when, fresh, true),
            holds_for_fewer(when, fresh, false)
        ),
        (if_longer, if_shorter)
    );
}

#[rstest]
#[case::stricter_ceiling("limit: inr-ceiling, value: 3.5", Loosens::No)]
#[case::milder_ceiling("limit: inr-ceiling, value: 4.5", Loosens::Yes)]
#[case::precaution_alone("limit: inr-caution-from, value: 3.5", Loosens::Yes)]
#[case::precaution_alone_downwards("limit: inr-caution-from, value: 2.5", Loosens::No)]
#[case::precaution_for_the_old("limit: older-caution-age, value: 100", Loosens::Yes)]
#[case::older_results("limit: inr-age-stable, value: 96 hours", Loosens::Yes)]
// By its form: one rule begins where another ends, and the form does not tell that the other takes over.
#[case::fresher_results("limit: inr-age-stable, value: 48 hours", Loosens::Yes)]
#[case::fresher_results_of_one_rule("limit: inr-age-unstable, value: 12 hours", Loosens::No)]
#[case::part_of_a_computation("limit: dosing-weight-ceiling, value: 75 kg", Loosens::Perhaps)]
#[case::part_of_a_computation_downwards(
    "limit: dosing-weight-ceiling, value: 65 kg",
    Loosens::Perhaps
)]
#[case::part_of_a_reduction("limit: pregnancy-reduced-load, value: 0.5", Loosens::Perhaps)]
#[case::raised(
    "raise: home/drives-home, outcome: refer, urgency: routine, refer_to: a service",
    Loosens::No
)]
#[case::retired("retire: home/drives-home", Loosens::Yes)]
#[case::retired_precaution("retire: home/hard-way-home", Loosens::Yes)]
#[case::offers("offers: { plan: { ablation: [phenol] } }", Loosens::No)]
#[case::medicine_name("medicine_name: house balm, means: emollient", Loosens::Yes)]
#[case::allergen_name("allergen_name: house gloves, means: latex", Loosens::Yes)]
fn a_change_loosens(#[case] change: &str, #[case] expected: Loosens) {
    let rules = one(change);
    let [only] = changes(&rules) else {
        unreachable!("one change")
    };
    assert_eq!(only.loosens, expected, "{only:?}");
    assert_eq!(
        only.how.is_some(),
        expected != Loosens::No,
        "what loosens says how: {only:?}"
    );
}

#[test]
fn a_looser_limit_names_the_rules() {
    let rules = one("limit: inr-ceiling, value: 4.5");
    let how = changes(&rules)[0].how.clone().unwrap_or_default();
    assert!(
        how.contains("bleeding/inr-above-ceiling") && !how.contains("inr-near-ceiling"),
        "{how}"
    );
}

/// A limit moved by one step in its last written place; `None` if it has no such neighbour.
fn moved(value: &LimitValue, written: &str, up: bool) -> Option<String> {
    let step = |number: f64, size: f64| if up { number + size } else { number - size };
    match value {
        LimitValue::Span(span) => {
            let count = if up {
                span.count + 1
            } else {
                span.count.checked_sub(1)?
            };
            let unit = written.split_whitespace().nth(1)?;
            Some(format!("{count} {unit}"))
        }
        LimitValue::Number { value, unit } => {
            let digits = written
                .split_whitespace()
                .next()?
                .split_once('.')
                .map_or(0, |(_, it)| it.len());
            let number = step(*value, 0.1_f64.powi(i32::try_from(digits).ok()?));
            let number = format!("{number:.digits$}");
            (!number.starts_with('-')).then(|| {
                unit.as_ref()
                    .map_or(number.clone(), |unit| format!("{number} {unit}"))
            })
        }
    }
}

/// Every limit at once, each moved the way that is said not to loosen: nobody may come to a better verdict.
#[test]
fn what_is_said_not_to_loosen_does_not() {
    let (rules, _) = embedded_once();
    let mut steps = Vec::new();
    for up in [true, false] {
        let all: Vec<(String, String)> = rules
            .limits
            .iter()
            .filter_map(|it| Some((it.id.clone(), moved(&it.value, &it.written, up)?)))
            .collect();
        for (id, value) in all {
            let rises = up;
            let position = rules
                .limits
                .position(|it| it.id == id)
                .unwrap_or_else(|| unreachable!("the limit"));
            let looser = loosened_by_limit(rules.judging.rows(), position, rises);
            if looser.is_empty() && !steps.iter().any(|(known, _)| *known == id) {
                steps.push((id, value));
            }
        }
    }
    let changed = |steps: &[(String, String)]| {
        under(
            &steps
                .iter()
                .map(|(id, value)| format!("limit: {id}, value: {value}"))
                .collect::<Vec<_>>(),
        )
    };
    // What feeds a computation is said to loosen perhaps; it stays as it is.
    let first = changed(&steps);
    let perhaps: Vec<&str> = changes(&first)
        .iter()
        .filter(|it| it.loosens != Loosens::No)
        .map(|it| it.about.as_str())
        .collect();
    steps.retain(|(id, _)| !perhaps.contains(&id.as_str()));
    assert!(steps.len() > 60, "{} limits", steps.len());
    let stricter = changed(&steps);
    assert!(
        changes(&stricter)
            .iter()
            .all(|it| it.loosens == Loosens::No)
    );
    let worse = less_cautious(&stricter);
    assert!(worse.is_empty(), "{worse:?}");
}

/// And what is said to loosen can: some case of each kind comes out better.
#[rstest]
#[case("limit: inr-ceiling, value: 4.5")]
#[case("retire: home/drives-home")]
fn what_is_said_to_loosen_does(#[case] change: &str) {
    assert!(!less_cautious(&one(change)).is_empty());
}

/// Raised rules, added rules and restricted offers, drawn at random: never less cautious, over the cases.
#[test]
fn a_stricter_policy_is_never_less_cautious() {
    let (rules, _) = embedded_once();
    let own: Vec<&Rule> = rules.rules().collect();
    let n_rules = own.len();
    let strategy = (
        proptest::collection::btree_set(0..n_rules, 1..40),
        proptest::collection::btree_set(0..n_rules, 0..10),
        any::<u64>(),
        any::<bool>(),
    );
    let mut runner = TestRunner::new(Config {
        cases: 4,
        failure_persistence: None,
        rng_seed: SEED,
        ..Config::default()
    });
    let outcome = runner.run(&strategy, |(raised, copied, offered, refer)| {
        let mut list: Vec<String> = Vec::new();
        for rule in raised.iter().map(|at| own[*at]) {
            match rule.outcome {
                Outcome::Go if !refer => list.push(format!("raise: {}, outcome: defer, cleared_by: a word of the lead", rule.id)),
                Outcome::Refer => {}
                _ => list.push(format!("raise: {}, outcome: refer, urgency: urgent, refer_to: a service", rule.id)),
            }
        }
        for (at, rule) in copied.iter().map(|at| own[*at]).enumerate() {
            let concern = &rules.concerns[rule.concern.unwrap_or_else(|| unreachable!("no concern"))].id;
            let when =
                ["{ taking: anticoagulant }", "{ fact: home.travel, is: drives }", "{ not: { fact: home.arranged, includes: escort } }"];
            list.push(format!(
                "add_rule: {concern}, rule: {{ id: of-our-own-{at}, title: Our own, kind: contraindication, outcome: defer, when: {}, \
                 reason: So it is., action: Rebook., cleared_by: another day, citations: [{{ local_proposal: ours }}], \
                 in_force_from: 2026-12-01, last_reviewed: 2026-11-20, review_by: 2027-11-30 }}",
                when[at % when.len()]
            ));
        }
        for (at, question) in rules.catalogue.questions.iter().filter(|it| it.can_be_offered()).enumerate() {
            let Answer::OneOf(options) = &question.answer else { continue };
            let Some((section, name)) = question.id.split_once('.') else { continue };
            let kept = &options[usize::try_from(offered >> (at % 60)).unwrap_or(0) % options.len()].id;
            list.push(format!("offers: {{ {section}: {{ {name}: [{kept}] }} }}"));
        }
        let stricter = under(&list);
        prop_assert!(changes(&stricter).iter().all(|it| it.loosens == Loosens::No));
        let worse = less_cautious(&stricter);
        prop_assert!(worse.is_empty(), "{list:?}: {worse:?}");
        Ok(())
    });
    assert!(outcome.is_ok(), "{outcome:?}");
}

// --- What it does ------------------------------------------------------------------------------------------------

#[test]
fn the_rule_set_keeps_its_digest_and_the_policy_has_its_own() {
    let (plain, _) = embedded_once();
    let (one, other) = (
        one("limit: inr-ceiling, value: 3.5"),
        one("limit: inr-ceiling, value: 3.6"),
    );
    assert_eq!(one.digest, plain.digest);
    let digest = |it: &RuleSet| {
        it.local
            .as_ref()
            .map(|it| it.digest.clone())
            .unwrap_or_default()
    };
    assert!(digest(&one).len() == 64 && digest(&one) != digest(&other));
    assert_eq!(
        one.limit("inr-ceiling").map(|it| it.written.as_str()),
        Some("3.5")
    );
}

#[test]
fn rules_are_raised_added_and_retired() {
    let (plain, _) = embedded_once();
    let added = "add_rule: home, rule: { id: far-away, title: Far away, kind: contraindication, outcome: defer, \
                 when: { fact: home.travel, is: on-foot }, reason: So it is., action: Rebook., cleared_by: a car, \
                 citations: [{ local_proposal: ours }], in_force_from: 2026-12-01, last_reviewed: 2026-11-20, review_by: 2027-11-30 }";
    let raised = "raise: bleeding/anticoagulant-with-nsaid, outcome: defer, cleared_by: a word of the prescriber";
    let rules = under(&[
        raised.to_owned(),
        "retire: home/unsuitable-footwear".to_owned(),
        added.to_owned(),
    ]);
    assert_eq!(rules.rules().count(), plain.rules().count());
    let raised = rules
        .rule("bleeding/anticoagulant-with-nsaid")
        .unwrap_or_else(|| unreachable!("it is there"));
    assert!(raised.outcome == Outcome::Defer && raised.cleared_by.is_some() && raised.local);
    assert!(
        rules.rule("home/unsuitable-footwear").is_none()
            && rules.knows_rule("home/unsuitable-footwear")
    );
    // Among the rules of its concern, so that reports keep their order.
    let concerns: Vec<Option<Idx<Concern>>> = rules.rules().map(|it| it.concern).collect();
    assert!(concerns.is_sorted());
    // The cases still load, although some name the rule that was taken out.
    assert!(cases(&RuleFiles::embedded(), &rules).is_ok());
    let facts = facts_or(
        &rules,
        "questionnaire: 1\nreference: T-1\nanswers:\n  home: { travel: on-foot }\n",
    );
    let screening = screening(
        &rules,
        &facts.unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n"))),
    );
    let local: Vec<&str> = screening
        .findings
        .iter()
        .filter(|it| it.local_policy)
        .map(|it| it.rule.as_str())
        .collect();
    assert_eq!(local, ["home/far-away"]);
    assert!(
        screening.findings.iter().any(|it| !it.local_policy),
        "the rule set's own findings are not the clinic's"
    );
}

#[test]
fn a_finding_with_a_changed_limit_or_a_restricted_offer_rests_on_the_policy() {
    let rules = under(&[
        "limit: inr-ceiling, value: 3.5".to_owned(),
        "offers: { plan: { ablation: [phenol] } }".to_owned(),
    ]);
    let text = "questionnaire: 1\nreference: T-1\nanswers:\n  plan: { procedure_on: 2026-12-03, ablation: electrosurgery }\n  \
                medicines: { current: [warfarin] }\n  bleeding: { inr: { value: 3.7, taken_on: 2026-12-02 } }\n";
    let facts = |rules: &RuleSet| {
        let facts = facts_or(rules, &text.replace("2026-12-02", "2026-11-25"));
        facts.unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n")))
    };
    let local: Vec<String> = screening(&rules, &facts(&rules))
        .findings
        .into_iter()
        .filter(|it| it.local_policy)
        .map(|it| it.rule)
        .collect();
    assert!(
        local.contains(&"contradictions/plan-not-offered".to_owned()),
        "{local:?}"
    );
    assert!(
        local.contains(&"bleeding/inr-above-ceiling".to_owned()),
        "{local:?}"
    );
    let plain = screening(&embedded(), &facts(&embedded()));
    assert!(
        plain
            .findings
            .iter()
            .all(|it| !it.local_policy && it.rule != "bleeding/inr-above-ceiling")
    );
}

#[test]
fn a_local_name_is_recognised_as_what_it_means() {
    let rules = under(&[
        "medicine_name: house thinner, means: warfarin".to_owned(),
        "allergen_name: blue exam gloves, means: latex".to_owned(),
    ]);
    let text = "questionnaire: 1\nreference: T-1\nanswers:\n  medicines: { current: [House Thinner 5 mg daily] }\n  \
                allergies: { known: [{ to: blue exam gloves, reaction: rash }] }\n";
    let facts = |rules: &RuleSet| {
        facts_or(rules, text).unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n")))
    };
    assert_eq!(
        screening(&embedded(), &facts(&embedded()))
            .unrecognised
            .len(),
        2
    );
    let found = screening(&rules, &facts(&rules));
    assert!(found.unrecognised.is_empty());
    // An allergy to the medicine of that name is known, too.
    let find = |name: &str| {
        rules
            .allergens
            .find(name)
            .map(|it| it.iter().collect::<Vec<_>>())
    };
    assert_eq!(find("house thinner"), find("warfarin"));
    assert!(find("blue exam gloves").is_some() && find("blue exam gloves") == find("latex"));
}

#[test]
fn the_clinics_file_cannot_offer_more_than_the_policy() {
    use preblock::inner::rule_set::Offered;
    let mut offered = Offered::Options(0b110);
    offered.keep_to(&Offered::Options(0b011));
    assert_eq!(offered, Offered::Options(0b010));
    let agents: Vec<Idx<Agent>> = embedded_once().0.agents.indices().collect();
    let mut solutions = Offered::Solutions(vec![(agents[0], 1.0), (agents[1], 2.0)]);
    solutions.keep_to(&Offered::Solutions(vec![
        (agents[1], 2.0),
        (agents[2], 3.0),
    ]));
    assert_eq!(solutions, Offered::Solutions(vec![(agents[1], 2.0)]));
    solutions.keep_to(&Offered::Options(1));
    assert_eq!(
        solutions,
        Offered::Solutions(Vec::new()),
        "nothing, rather than anything"
    );
}

#[test]
fn a_change_is_overdue_after_its_review_and_early_before_its_agreement() {
    let rules = one("limit: inr-ceiling, value: 3.5");
    let day = |text: &str| text.parse().unwrap_or_else(|_| today());
    let overdue = |on: &str| notices::local(&rules, day(on)).map(|it| it.changes[0].overdue);
    assert_eq!(
        (overdue("2027-05-31"), overdue("2027-06-01")),
        (Some(false), Some(true))
    );
    let early = |on: &str| {
        notices::notices(&rules, day(on), Some(day("2026-12-03")))
            .iter()
            .any(|it| it.contains("agreed only on 20 Nov 2026"))
    };
    assert!(early("2026-11-19") && !early("2026-11-20"));
}

// --- What reports say --------------------------------------------------------------------------------------------

fn run(arguments: &[&str]) -> (i32, String, String) {
    let output = crate::support::program()
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output();
    let output = output.unwrap_or_else(|error| unreachable!("the program starts: {error}"));
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (
        output.status.code().unwrap_or(-1),
        text(&output.stdout),
        text(&output.stderr),
    )
}

fn screened(files: &[&str], more: &[&str]) -> String {
    let mut arguments = vec!["screen"];
    arguments.extend(files);
    arguments.extend([
        "--clinic",
        "examples/clinic.yaml",
        "--local",
        "examples/local-policy.yaml",
        "--as-of",
        "2026-11-25",
    ]);
    arguments.extend(more);
    let (status, said, wrong) = run(&arguments);
    assert!(
        [0, 10, 20].contains(&status) && wrong.is_empty(),
        "{status}: {wrong}"
    );
    said
}

/// A text without its line breaks and indents.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[rstest]
#[case::text(&["examples/referrals/SM-101.yaml"], "text")]
#[case::text_of_several(&["examples/referrals/SM-101.yaml", "examples/referrals/SM-103.yaml"], "text")]
#[case::markdown(&["examples/referrals/SM-101.yaml"], "markdown")]
#[case::markdown_of_several(&["examples/referrals/SM-101.yaml", "examples/referrals/SM-103.yaml"], "markdown")]
fn every_report_counts_the_changes_and_tells_those_that_loosen(
    #[case] files: &[&str],
    #[case] format: &str,
) {
    let said = flat(&screened(files, &["--format", format]));
    let n_reports = if files.len() == 1 { 1 } else { files.len() + 1 };
    assert_eq!(
        said.matches("Local policy of Saltmarsh Foot Clinic")
            .count(),
        n_reports,
        "{said}"
    );
    assert_eq!(
        said.matches("8 changes: 4 loosen the rule set.").count(),
        n_reports
    );
    for told in [
        "limit foot-check-age: 15 months instead of 12 months. It loosens the rule set: fewer patients may come under diabetes/foot-check-stale. Reason: ",
        "rule home/unsuitable-footwear retired: No shoe that takes a dressing",
        "Agreed by lead pharmacist on 20 Nov 2026, review by 30 Nov 2027.",
        "saltmarsh heel balm",
        "blue exam gloves",
    ] {
        let bare = said.replace(['\\', '`'], "");
        assert_eq!(bare.matches(told).count(), n_reports, "{told}\n{said}");
    }
    // What does not loosen is only counted.
    assert!(!said.contains("inr-ceiling: 3.5 instead"), "{said}");
}

/// What a clinic may loosen, it may not promise away: under the example's policy every guarantee still holds.
#[test]
fn the_example_breaks_no_guarantee() {
    let (status, said, _) = run(&[
        "rules",
        "prove",
        "--local",
        "examples/local-policy.yaml",
        "--as-of",
        "2026-11-25",
    ]);
    let (plain, _) = embedded_once();
    let n = plain.guarantees.len();
    assert!(n > 100 && status == 0, "{n} guarantees: {said}");
    assert!(
        said.ends_with(&format!(
            "{n} guarantees, over every possible questionnaire: {n} proved\n"
        )),
        "{said}"
    );
}

/// The examples under the example's own policy, without what loosens: nobody comes to a better verdict.
#[test]
fn no_example_comes_out_better_under_a_stricter_policy() {
    let example = std::fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/local-policy.yaml"),
    )
    .unwrap_or_default();
    let (head, list) = example
        .split_once("changes:\n")
        .unwrap_or_else(|| unreachable!("the example has changes"));
    let looser = [
        "- retire:",
        "foot-check-age",
        "- medicine_name:",
        "- allergen_name:",
    ];
    let entries = list
        .split("\n  - ")
        .map(|it| format!("  - {}\n", it.trim_start_matches("  - ").trim_end()));
    let strict: Vec<String> = entries
        .filter(|it| !looser.iter().any(|looser| it.contains(looser)))
        .collect();
    assert_eq!(strict.len(), 4, "{strict:?}");
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    let path = folder.path().join("local.yaml");
    assert!(std::fs::write(&path, format!("{head}changes:\n{}", strict.concat())).is_ok());
    let path = path.to_string_lossy();
    let plain = [
        "screen",
        "examples/referrals",
        "--clinic",
        "examples/clinic.yaml",
        "--as-of",
        "2026-11-25",
        "--format",
        "json",
    ];
    let verdicts = |arguments: &[&str]| -> Vec<(String, Option<Outcome>)> {
        let all: Value = serde_json::from_str(&run(arguments).1).unwrap_or_default();
        let one = |it: &Value| {
            (
                it["reference"].to_string(),
                it["verdict"].as_str().and_then(Outcome::from_word),
            )
        };
        all.as_array().into_iter().flatten().map(one).collect()
    };
    let (before, after) = (
        verdicts(&plain),
        verdicts(&[&plain[..], &["--local", &path]].concat()),
    );
    assert_eq!((before.len(), after.len()), (25, 25));
    for (before, after) in before.iter().zip(&after) {
        assert!(
            before.0 == after.0 && before.1.is_some() && before.1 <= after.1,
            "{before:?} {after:?}"
        );
    }
    assert!(before != after, "the policy makes a difference");
}

#[test]
fn the_json_lists_every_change_and_fits_its_schema() {
    let schema = std::fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("schemas/screening.schema.json"),
    )
    .unwrap_or_default();
    let schema: Value = serde_json::from_str(&schema).unwrap_or_default();
    let schema = jsonschema::draft7::new(&schema).unwrap_or_else(|error| unreachable!("{error}"));
    let said = screened(&["examples/referrals"], &["--format", "json"]);
    let all: Value = serde_json::from_str(&said).unwrap_or_default();
    assert_eq!(all.as_array().map(Vec::len), Some(25));
    for one in all.as_array().into_iter().flatten() {
        let wrong: Vec<String> = schema
            .iter_errors(one)
            .map(|it| format!("{it} at {}", it.instance_path()))
            .collect();
        assert!(wrong.is_empty(), "{wrong:?}");
        let kinds: Vec<&str> = one["local_policy"]["changes"]
            .as_array()
            .into_iter()
            .flatten()
            .filter_map(|it| it["kind"].as_str())
            .collect();
        assert_eq!(
            kinds,
            [
                "limit",
                "limit",
                "add_rule",
                "raise",
                "retire",
                "offers",
                "medicine_name",
                "allergen_name"
            ]
        );
        assert_eq!(one["local_policy"]["clinic"], "Saltmarsh Foot Clinic");
        assert_eq!(one["local_policy"]["changes"][1]["loosens"], "yes");
        assert_eq!(one["local_policy"]["changes"][1]["overdue"], false);
    }
    let kinds: Vec<&str> = LocalKind::ALL.into_iter().map(LocalKind::word).collect();
    assert!(
        kinds
            .iter()
            .all(|it| said.contains(&format!("\"kind\": \"{it}\""))),
        "the example shows every kind"
    );
    // One that plans what the clinic no longer offers.
    let not_offered = all
        .as_array()
        .into_iter()
        .flatten()
        .find(|it| it["reference"] == "SM-123");
    assert!(not_offered.is_some_and(|it| it["findings"][0]["rule"]
        == "contradictions/plan-not-offered"
        && it["findings"][0]["local_policy"] == true));
}

#[test]
fn an_overdue_change_is_told_although_it_does_not_loosen() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    let path = folder.path().join("local.yaml");
    let terms = TERMS.replace("2027-05-31", "2026-11-24");
    let text = format!(
        "local_policy: 1\nclinic: C\nof: nail-surgery\nedition: \"2026.1\"\nchanges:\n  - {{ limit: inr-ceiling, value: 3.5, {terms} }}\n"
    );
    assert!(std::fs::write(&path, text).is_ok());
    let path = path.to_string_lossy();
    for format in ["text", "markdown"] {
        let arguments = [
            "screen",
            "examples/referrals/SM-101.yaml",
            "--local",
            &path,
            "--as-of",
            "2026-11-25",
            "--format",
            format,
        ];
        let (_, said, wrong) = run(&arguments);
        assert!(wrong.is_empty(), "{wrong}");
        let flat = flat(&said);
        assert!(
            flat.contains("1 change: none loosens the rule set; 1 is past the day of review."),
            "{flat}"
        );
        assert!(flat.contains("inr-ceiling: 3.5 instead of 4.0. Reason: It is so here. Agreed by clinical lead on 20 Nov 2026, review by 24 Nov 2026, REVIEW OVERDUE."), "{flat}");
    }
}

#[test]
fn every_command_that_takes_rules_takes_a_local_policy() {
    let local = ["--local", "examples/local-policy.yaml"];
    let run = |arguments: &[&str]| run(&[arguments, &local].concat());
    let (status, said, _) = run(&["rules", "check"]);
    assert!(
        status == 0
            && said.contains("local policy of Saltmarsh Foot Clinic")
            && said.contains("home/unsuitable-footwear retired"),
        "{said}"
    );
    let (status, said, _) = run(&["rules", "show", "bleeding/inr-above-ceiling"]);
    assert!(
        status == 0
            && said.contains("by local policy")
            && flat(&said).contains(
                "inr-ceiling = 3.5. INR at or above which nail surgery waits. Other figures: 4.0 in the rule set itself; below 3.5"
            ),
        "{said}"
    );
    let (status, said, _) = run(&["rules", "show", "home/anticoagulated-on-public-transport"]);
    assert!(status == 0 && said.contains("by local policy"), "{said}");
    assert_eq!(run(&["rules", "show", "home/unsuitable-footwear"]).0, 2);
    let (status, said, _) = run(&["rules", "test", "--only", "home"]);
    assert!(
        status == 1 && said.contains("home/unsuitable-footwear: expected fires, got stays quiet"),
        "{said}"
    );
    let dose = [
        "dose",
        "--weight",
        "70 kg",
        "--age",
        "40",
        "--height",
        "170 cm",
        "--sex",
        "female",
        "--agent",
        "lidocaine 2 % 3 mL",
    ];
    let (status, said, _) = run(&dose);
    assert!(
        status == 0 && said.contains("Local policy of Saltmarsh Foot Clinic"),
        "{said}"
    );
    assert_eq!(run(&["blank"]).0, 0);
    assert_eq!(
        run(&[
            "screen",
            "examples/referrals/SM-107.yaml",
            "--as-of",
            "2026-11-25",
            "--format",
            "chase"
        ])
        .0,
        10
    );
}

#[test]
fn a_policy_that_is_not_there_or_is_wrong_screens_nobody() {
    let (status, said, wrong) = run(&[
        "screen",
        "examples/referrals/SM-101.yaml",
        "--local",
        "examples/no-such.yaml",
    ]);
    assert!(
        status == 2 && said.is_empty() && wrong.contains("text/not-found"),
        "{wrong}"
    );
    let (status, said, wrong) = run(&[
        "screen",
        "examples/referrals/SM-101.yaml",
        "--local",
        "tests/rejects/local/limit-twice.yaml",
    ]);
    assert!(
        status == 2
            && said.is_empty()
            && wrong.contains("local/changed-twice")
            && wrong.contains("limit-twice.yaml"),
        "{wrong}"
    );
}
