//! Small changes to a rule set: each kind is noticed by the case that shows it, and not without it.

use std::path::Path;

use preblock::inner::exact::Decider;
use preblock::inner::rule_set::files::RuleFiles;
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::rule_set::{Conflict, RuleSet};
use preblock::inner::screening::compile::Compiled;
use preblock::inner::workbench::cases::read::{Case, cases, waivers};
use preblock::inner::workbench::cases::{CaseRun, run};
use preblock::inner::workbench::coverage;
use preblock::inner::workbench::coverage::{Gap, Member, Reach};
use preblock::inner::workbench::mutants::equivalent::proved;
use preblock::inner::workbench::mutants::{Fate, Mutant, StepKind, survivors, try_all};
use rstest::rstest;

use crate::support::{alone, codes, embedded, files};

/// A case: the answers that differ from nobody's, the verdict, the state of the one rule.
type Row<'a> = (&'a str, &'a str, &'a str);

fn with_cases(rules: &[(&str, &str, &str)], rows: &[Row<'_>]) -> RuleFiles {
    let mut written = files(rules);
    let people = "as_of: 2026-11-25\npeople:\n  - id: somebody\n    about: Nobody knows anything of somebody\n    answers: { a: {} }\n";
    let mut text = String::from("cases:\n  - case: rows\n    like: somebody\n    rows:\n");
    for (answers, verdict, state) in rows {
        let list = match *state {
            "fires" => ", fires: [test/one]",
            "open" => ", undetermined: [test/one]",
            _ => "",
        };
        text.push_str(&format!(
            "      - {{ with: {{ {answers} }}, verdict: {verdict}{list} }}\n"
        ));
    }
    written.set("cases/people.yaml", people);
    written.set("cases/one.yaml", text);
    written
}

fn loaded(files: &RuleFiles) -> (RuleSet, Vec<Case>, Vec<CaseRun>) {
    // Nobody of these is asked about medicines, for which the program's own rules would wait.
    let rules =
        alone(rule_set(files).unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n"))));
    let cases =
        cases(files, &rules).unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n")));
    let compiled = Compiled::new(&rules);
    let runs: Vec<CaseRun> = cases
        .iter()
        .map(|case| run(&rules, &compiled, case))
        .collect();
    for (case, run) in cases.iter().zip(&runs) {
        assert!(
            run.differences.is_empty(),
            "{}: {:?}",
            case.title,
            run.differences
        );
    }
    (rules, cases, runs)
}

fn decider(rules: &RuleSet) -> Option<Decider<'_>> {
    Decider::new(
        &[rules],
        &[],
        chrono::NaiveDate::from_ymd_opt(2026, 11, 25)?,
    )
    .ok()
}

fn tried(outcome: &str, when: &str, rows: &[Row<'_>]) -> Vec<Mutant> {
    let (mut rules, cases, runs) = loaded(&with_cases(&[("one", outcome, when)], rows));
    try_all(&mut rules, &cases, &runs, |_| true)
}

fn noticed(mutants: &[Mutant], kind: StepKind, rule: &str, what: &str) -> bool {
    let found = mutants
        .iter()
        .find(|it| it.kind == kind && it.rule == rule && it.what == what);
    let all = || {
        mutants
            .iter()
            .map(|it| format!("{} {}", it.rule, it.what))
            .collect::<Vec<_>>()
            .join("\n")
    };
    found
        .unwrap_or_else(|| unreachable!("{what} was not tried, but\n{}", all()))
        .fate
        == Fate::Noticed
}

const COUNT: &[Row<'_>] = &[
    ("a.count: 5", "defer", "fires"),
    ("a.count: 4", "go", "quiet"),
    ("a.count: 8", "defer", "fires"),
];
const FROM_TO: &[Row<'_>] = &[
    ("a.count: 5", "defer", "fires"),
    ("a.count: 7", "defer", "fires"),
    ("a.count: 4", "go", "quiet"),
    ("a.count: 8", "go", "quiet"),
    ("a.count: 6", "defer", "fires"),
];
const TWO: &[Row<'_>] = &[
    ("a.smokes: yes, a.drinks: yes", "defer", "fires"),
    ("a.smokes: yes, a.drinks: no", "go", "quiet"),
    ("a.smokes: no, a.drinks: yes", "go", "quiet"),
];
const EITHER: &[Row<'_>] = &[
    ("a.smokes: no, a.drinks: no", "go", "quiet"),
    ("a.smokes: yes, a.drinks: no", "defer", "fires"),
    ("a.smokes: yes, a.drinks: yes", "defer", "fires"),
];
const NOT: &[Row<'_>] = &[
    ("a.smokes: no", "defer", "fires"),
    ("a.smokes: unknown", "defer", "open"),
];
const PULSE: &[Row<'_>] = &[
    ("a.pulse: absent", "defer", "fires"),
    ("a.pulse: doubtful", "defer", "fires"),
    ("a.pulse: felt", "go", "quiet"),
];
const NO_PULSE: &[Row<'_>] = &[
    ("a.pulse: absent", "go", "quiet"),
    ("a.pulse: doubtful", "go", "quiet"),
    ("a.pulse: felt", "defer", "fires"),
];
const SIGNS: &[Row<'_>] = &[
    ("a.signs: [pain]", "defer", "fires"),
    ("a.signs: [ulcer]", "defer", "fires"),
    ("a.signs: []", "go", "quiet"),
];
const OLD: &[Row<'_>] = &[
    (
        "plan.procedure_on: 2026-11-25, a.inr: { value: 2, taken_on: 2026-11-22 }",
        "go",
        "quiet",
    ),
    (
        "plan.procedure_on: 2026-11-25, a.inr: { value: 2, taken_on: 2026-11-21 }",
        "defer",
        "fires",
    ),
];
/// To the hour: 72 hours and a minute, 72 hours, and long after.
const HOURS: &[Row<'_>] = &[
    (
        "plan.procedure_on: 2026-11-25 10:00, a.inr: { value: 2, taken_on: 2026-11-22 09:59 }",
        "defer",
        "fires",
    ),
    (
        "plan.procedure_on: 2026-11-25 10:00, a.inr: { value: 2, taken_on: 2026-11-22 10:00 }",
        "go",
        "quiet",
    ),
    (
        "plan.procedure_on: 2026-11-25 10:00, a.inr: { value: 2, taken_on: 2026-11-01 10:00 }",
        "defer",
        "fires",
    ),
];
const CLASS: &[Row<'_>] = &[
    ("a.taken: [apixaban]", "go", "quiet"),
    ("a.taken: [warfarin]", "defer", "fires"),
    ("a.taken: [paracetamol]", "go", "quiet"),
];
const THINNER: &[Row<'_>] = &[
    ("a.taken: [aspirin]", "defer", "fires"),
    ("a.taken: [warfarin]", "defer", "fires"),
];
const SEVERAL: &[Row<'_>] = &[
    ("a.taken: [warfarin, apixaban]", "defer", "fires"),
    ("a.taken: [warfarin]", "go", "quiet"),
    ("a.taken: [warfarin, apixaban, aspirin]", "defer", "fires"),
];
const ALLERGY: &[Row<'_>] = &[
    (
        "a.allergies: [{ to: lidocaine, reaction: rash }]",
        "defer",
        "fires",
    ),
    (
        "a.allergies: [{ to: procaine, reaction: rash }]",
        "go",
        "quiet",
    ),
    (
        "a.allergies: [{ to: lidocaine, reaction: anaphylaxis }]",
        "defer",
        "fires",
    ),
];

/// The change, the rule's condition, and the one case of several that notices it.
#[rstest]
#[case::strictness(StepKind::Comparison, "a.count at_least 5: above", "{ fact: a.count, at_least: 5 }", COUNT, &[0])]
#[case::direction(StepKind::Comparison, "a.count at_least 5: below", "{ fact: a.count, at_least: 5 }", COUNT, &[0, 1, 2])]
#[case::number_down(StepKind::Number, "a.count at_least 5: 4 instead of 5", "{ fact: a.count, at_least: 5 }", COUNT, &[1])]
#[case::number_up(StepKind::Number, "a.count at_least 5: 6 instead of 5", "{ fact: a.count, at_least: 5 }", COUNT, &[0])]
#[case::lower_end(StepKind::Comparison, "a.count between 5, 7: lower end left out", "{ fact: a.count, between: [5, 7] }", FROM_TO, &[0])]
#[case::upper_end(StepKind::Comparison, "a.count between 5, 7: upper end left out", "{ fact: a.count, between: [5, 7] }", FROM_TO, &[1])]
#[case::from_lower(StepKind::Number, "a.count between 5, 7: from 4 instead of 5", "{ fact: a.count, between: [5, 7] }", FROM_TO, &[2])]
#[case::from_higher(StepKind::Number, "a.count between 5, 7: from 6 instead of 5", "{ fact: a.count, between: [5, 7] }", FROM_TO, &[0])]
#[case::to_higher(StepKind::Number, "a.count between 5, 7: to 8 instead of 7", "{ fact: a.count, between: [5, 7] }", FROM_TO, &[3])]
#[case::all(StepKind::AllAny, "all(a.smokes is yes, 1 more): read as any", "{ all: [{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }] }", TWO, &[1, 2])]
#[case::any(StepKind::AllAny, "any(a.smokes is yes, 1 more): read as all", "{ any: [{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }] }", EITHER, &[1])]
#[case::member(StepKind::Member, "all(a.smokes is yes, 1 more): without a.drinks is yes", "{ all: [{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }] }", TWO, &[1])]
#[case::branch(StepKind::Member, "any(a.smokes is yes, 1 more): without a.smokes is yes", "{ any: [{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }] }", EITHER, &[1])]
#[case::not(StepKind::Negation, "not(a.smokes is yes): removed", "{ not: { fact: a.smokes, is: yes } }", NOT, &[0])]
#[case::negated(StepKind::Negation, "a.signs includes pain, ulcer: negated", "{ fact: a.signs, includes_any: [pain, ulcer] }", SIGNS, &[0, 1, 2])]
#[case::one_of(StepKind::Choice, "a.pulse is doubtful, absent: without absent", "{ fact: a.pulse, one_of: [doubtful, absent] }", PULSE, &[0])]
#[case::none_of(StepKind::Choice, "a.pulse is_not doubtful, absent: without absent", "{ fact: a.pulse, none_of: [doubtful, absent] }", NO_PULSE, &[0])]
#[case::includes(StepKind::Choice, "a.signs includes pain, ulcer: without ulcer", "{ fact: a.signs, includes_any: [pain, ulcer] }", SIGNS, &[1])]
#[case::age(StepKind::Comparison, "a.inr.taken_on older_than fresh: within", "{ fact: a.inr, older_than: { limit: fresh } }", OLD, &[0, 1])]
#[case::older(StepKind::Number, "a.inr.taken_on older_than fresh: 73 hours instead of 72 hours", "{ fact: a.inr, older_than: { limit: fresh } }", HOURS, &[0])]
#[case::younger(StepKind::Number, "a.inr.taken_on older_than fresh: 71 hours instead of 72 hours", "{ fact: a.inr, older_than: { limit: fresh } }", HOURS, &[1])]
#[case::wider(StepKind::Class, "taking old-thinner: thinner instead of old-thinner", "{ taking: old-thinner }", CLASS, &[0])]
#[case::narrower(StepKind::Class, "taking thinner: old-thinner instead of thinner", "{ taking: thinner }", THINNER, &[0])]
#[case::name(StepKind::Class, "taking warfarin, aspirin: without aspirin", "{ taking: [warfarin, aspirin] }", THINNER, &[0])]
#[case::fewer(StepKind::Class, "taking at least 2 of thinner: at least 1 instead of 2", "{ taking: thinner, at_least: 2 }", SEVERAL, &[1])]
#[case::more(StepKind::Class, "taking at least 2 of thinner: at least 3 instead of 2", "{ taking: thinner, at_least: 2 }", SEVERAL, &[0])]
#[case::reaction(StepKind::Class, "allergic_to amide with anaphylaxis, rash: without the reaction rash", "{ allergic_to: amide, reaction: [anaphylaxis, rash] }", ALLERGY, &[0])]
#[case::group(StepKind::Class, "allergic_to amide with anaphylaxis, rash: anaesthetic instead of amide", "{ allergic_to: amide, reaction: [anaphylaxis, rash] }", ALLERGY, &[1])]
#[case::milder(StepKind::Outcome, "outcome go instead of defer", "{ fact: a.smokes, is: yes }", EITHER, &[1, 2])]
fn each_step_is_noticed_by_its_cases_alone(
    #[case] kind: StepKind,
    #[case] what: &str,
    #[case] when: &str,
    #[case] rows: &[Row<'_>],
    #[case] by: &[usize],
) {
    let (mut rules, cases, runs) = loaded(&with_cases(&[("one", "defer", when)], rows));
    let mutants = try_all(&mut rules, &cases, &runs, |_| true);
    assert!(
        noticed(&mutants, kind, "test/one", what),
        "{what} is not noticed"
    );
    none_is_noticed_and_proved(&rules, &mutants.iter().collect::<Vec<_>>());
    let others: Vec<Row<'_>> = rows
        .iter()
        .enumerate()
        .filter(|(at, _)| !by.contains(at))
        .map(|(_, it)| *it)
        .collect();
    let others = if others.is_empty() {
        vec![("a.sex: female", "defer", "open")]
    } else {
        others
    };
    assert!(
        !noticed(&tried("defer", when, &others), kind, "test/one", what),
        "{what} is noticed without its case"
    );
}

/// What a case sees can be, so that a proof that nobody sees it would be none.
fn none_is_noticed_and_proved(rules: &RuleSet, mutants: &[&Mutant]) {
    let as_of = chrono::NaiveDate::from_ymd_opt(2026, 11, 25).unwrap_or_default();
    let proved = proved(
        rules,
        &mutants
            .iter()
            .map(|mutant| mutant.rules.as_slice())
            .collect::<Vec<_>>(),
        as_of,
    );
    assert_eq!(proved.len(), mutants.len());
    for (mutant, proved) in mutants.iter().zip(proved) {
        assert!(
            !proved || mutant.fate == Fate::Equivalent,
            "{} {} is {:?}",
            mutant.rule,
            mutant.what,
            mutant.fate
        );
    }
}

/// A change that comes to the same is proved to; its neighbour, that only one patient sees, is not.
#[rstest]
#[case(
    "{ any: [{ fact: a.count, above: 3 }, { fact: a.count, above: 5 }] }",
    "without a.count above 5",
    "without a.count above 3"
)]
#[case(
    "{ all: [{ fact: a.pulse, is: absent }, { fact: a.pulse, is_not: felt }] }",
    "without a.pulse is_not felt",
    "without a.pulse is absent"
)]
#[case(
    "{ any: [{ taking: old-thinner }, { taking: thinner }] }",
    "without taking old-thinner",
    "without taking thinner"
)]
#[case(
    "{ all: [{ fact: a.smokes, is: yes }, { fact: a.count, above: 5 }] }",
    "outcome go instead of defer",
    "outcome refer instead of defer"
)]
fn what_comes_to_the_same_is_proved(#[case] when: &str, #[case] same: &str, #[case] other: &str) {
    // Whoever fulfils the condition defers by the second rule, too.
    let mut two = with_cases(&[("one", "defer", when), ("two", "defer", when)], &[]);
    let open = "cases: [{ case: open, like: somebody, expect: { verdict: defer, undetermined: [test/one, test/two] } }]";
    two.set("cases/one.yaml", open);
    let (mut rules, cases, runs) = loaded(&two);
    let mutants = try_all(&mut rules, &cases, &runs, |_| true);
    let fate = |what: &str| {
        mutants
            .iter()
            .find(|mutant| mutant.rule == "test/one" && mutant.what.ends_with(what))
            .map(|it| it.fate)
    };
    assert_eq!(fate(same), Some(Fate::Equivalent), "{same}");
    assert_eq!(fate(other), Some(Fate::Unnoticed), "{other}");
}

/// The solver shuts out no member of a list that a case shows alone.
#[test]
fn what_a_case_shows_is_not_impossible() {
    let rules = embedded();
    let (_, _, runs) = loaded(&RuleFiles::embedded());
    let runs = runs
        .iter()
        .filter(|it| it.facts.conflicts(Conflict::RuledOut).is_empty());
    let shown = coverage::reached(&rules, runs, None, |_| true);
    let possible = coverage::reached(&rules, [], decider(&rules).as_mut(), |_| true);
    let members = |reached: &[Reach]| {
        reached
            .iter()
            .flat_map(|it| it.members.clone())
            .collect::<Vec<Member>>()
    };
    let (shown, possible) = (members(&shown), members(&possible));
    assert!(shown.len() == possible.len() && shown.len() > 1000);
    assert!(possible.iter().any(|member| !member.can_be));
    for (shown, possible) in shown.iter().zip(&possible) {
        assert!(shown.cases == 0 || possible.can_be, "{}", shown.what);
    }
}

#[test]
fn an_urgency_is_noticed_by_a_case_that_tells_it() {
    let rules = [("one", "refer", "{ fact: a.smokes, is: yes }")];
    let told = with_cases(
        &rules,
        &[("a.smokes: yes", "refer, urgency: routine", "fires")],
    );
    let untold = with_cases(&rules, &[("a.smokes: yes", "refer", "fires")]);
    for (files, expected) in [(told, true), (untold, false)] {
        let (mut rules, cases, runs) = loaded(&files);
        let mutants = try_all(&mut rules, &cases, &runs, |_| true);
        for what in [
            "urgency urgent instead of routine",
            "urgency same-day instead of routine",
        ] {
            assert_eq!(
                noticed(&mutants, StepKind::Urgency, "test/one", what),
                expected,
                "{what}"
            );
        }
    }
}

/// Four times the cap of lidocaine, and just above; afterwards the rule set is as it was.
#[test]
fn numbers_outside_the_rules_are_tried_in_the_whole_set() {
    let when = "{ any: [{ fact: derived.load, above: { limit: ceiling } }, { fact: a.inr, above: { limit: ceiling } }] }";
    let visit = "plan.procedure_on: 2026-11-25, plan.adrenaline: no, a.inr: { value: 1, taken_on: 2026-11-24 }, a.sex: male";
    let agent = |volume: &str| {
        format!("plan.anaesthetic: [{{ agent: lidocaine, strength: 2 %, volume: {volume} }}]")
    };
    // Four times the limit of 200 mg is 800 mg, 40 mL of 2 %.
    let at = format!(
        "{visit}, a.born: 1986-01-01, a.weight: 80 kg, a.height: 190 cm, {}",
        agent("40 mL")
    );
    let above = format!(
        "{visit}, a.born: 1986-01-01, a.weight: 80 kg, a.height: 190 cm, {}",
        agent("40.1 mL")
    );
    let rows = [
        (at.as_str(), "go", "quiet"),
        (above.as_str(), "defer", "fires"),
    ];
    let mutants = tried("defer", when, &rows);
    let told = |kind, rule: &str, what: &str| noticed(&mutants, kind, rule, what);
    assert!(told(
        StepKind::Anaesthetic,
        "anaesthetics/lidocaine",
        "row 1, at_most 199 instead of 200"
    ));
    assert!(told(
        StepKind::Anaesthetic,
        "anaesthetics/lidocaine",
        "row 1, at_most 201 instead of 200"
    ));
    // 3 mg/kg are 210 mg at 70 kg: 4 mg/kg change nothing, 2 mg/kg are 140 mg.
    assert!(told(
        StepKind::Anaesthetic,
        "anaesthetics/lidocaine",
        "row 1, per_kg 2 instead of 3"
    ));
    assert!(!told(
        StepKind::Anaesthetic,
        "anaesthetics/lidocaine",
        "row 1, per_kg 4 instead of 3"
    ));
    assert!(
        !told(
            StepKind::Anaesthetic,
            "anaesthetics/mepivacaine",
            "row 1, per_kg 5 instead of 6"
        ),
        "nobody is given any"
    );
    // 69 kg allow 207 mg, still above the cap.
    assert!(!told(
        StepKind::Derived,
        "derived.dosing",
        "ceiling 69 instead of 70"
    ));
    // The load of the first is 4.00, of the second 4.01.
    assert!(told(
        StepKind::Limit,
        "limits/ceiling",
        "3.9 instead of 4.0"
    ));
    assert!(told(
        StepKind::Limit,
        "limits/ceiling",
        "4.1 instead of 4.0"
    ));
    let (mut rules, cases, runs) = loaded(&with_cases(&[("one", "defer", when)], &rows));
    let before = format!("{:?} {:?}", rules.agents, rules.catalogue.derived);
    try_all(&mut rules, &cases, &runs, |_| true);
    assert_eq!(
        format!("{:?} {:?}", rules.agents, rules.catalogue.derived),
        before
    );
}

/// By hand: with these two cases nothing shows that the count matters, only that its side does.
const BY_HAND: &str = "{ all: [{ fact: a.smokes, is: yes }, { fact: a.count, at_least: 5 }] }";
const TWO_OF_IT: &[Row<'_>] = &[
    ("a.smokes: yes, a.count: 5", "defer", "fires"),
    ("a.smokes: no, a.count: 5", "go", "quiet"),
];
const LEFT: [&str; 3] = [
    "all(a.smokes is yes, 1 more): without a.count at_least 5",
    "a.count at_least 5: at_most",
    "a.count at_least 5: 4 instead of 5",
];

#[test]
fn the_survivors_are_those_worked_out_by_hand() {
    let mutants = tried("defer", BY_HAND, TWO_OF_IT);
    let of_rule: Vec<&Mutant> = mutants.iter().filter(|it| it.rule == "test/one").collect();
    // One list read otherwise, two members, three comparisons, two numbers, one negation (that of the number is `below`),
    // two outcomes.
    assert_eq!(of_rule.len(), 11, "{of_rule:?}");
    let left: Vec<&str> = of_rule
        .iter()
        .filter(|it| it.fate != Fate::Noticed)
        .map(|it| it.what.as_str())
        .collect();
    assert_eq!(left, LEFT);
    // What is asked of nobody goes unnoticed: 2 numbers of a formula, 6 of the two agents, each down and up.
    assert_eq!(
        mutants
            .iter()
            .filter(|it| it.rule != "test/one" && it.fate != Fate::Noticed)
            .count(),
        16
    );
}

#[test]
fn gaps_are_those_worked_out_by_hand() {
    let (rules, _, runs) = loaded(&with_cases(&[("one", "defer", BY_HAND)], TWO_OF_IT));
    let gaps: Vec<String> = coverage::reached(&rules, &runs, decider(&rules).as_mut(), |_| true)
        .iter()
        .flat_map(|it| it.gaps())
        .map(|it| it.what)
        .collect();
    let expected = [
        "no case in which it is undetermined",
        "no case below 5 for a.count",
        "no case above 5 for a.count",
        "no case in which only a.count at_least 5 fails, of all(a.smokes is yes, 1 more)",
    ];
    assert_eq!(gaps, expected);
}

/// What cannot be is no gap; what only seems so is one.
#[rstest]
// The detail is refused where nobody smokes.
#[case("{ all: [{ fact: a.smokes, is: yes }, { fact: a.detail, is: yes }] }", &["a.detail is yes"])]
#[case("{ all: [{ fact: a.smokes, is: yes }, { not: { fact: a.detail, is: yes } }] }", &["not(a.detail is yes)"])]
#[case("{ any: [{ fact: a.smokes, is: no }, { fact: a.detail, is: no }] }", &["a.detail is no"])]
// Another question's gate.
#[case("{ all: [{ fact: a.drinks, is: yes }, { fact: a.detail, is: yes }] }", &["a.drinks is yes", "a.detail is yes"])]
// What one implies.
#[case("{ all: [{ fact: a.count, above: 3 }, { fact: a.count, above: 5 }] }", &["a.count above 5"])]
#[case("{ any: [{ fact: a.count, above: 3 }, { fact: a.count, above: 5 }] }", &["a.count above 3"])]
#[case("{ any: [{ fact: a.count, above: 3 }, { fact: a.count, below: 5 }] }", &["a.count above 3", "a.count below 5"])]
#[case("{ any: [{ taking: old-thinner }, { taking: thinner }] }", &["taking thinner"])]
#[case("{ any: [{ taking: thinner, at_least: 2 }, { taking: thinner }] }", &["taking thinner"])]
#[case("{ any: [{ fact: a.pulse, is: absent }, { fact: a.pulse, is_not: felt }] }", &["a.pulse is_not felt"])]
#[case("{ any: [{ fact: a.signs, includes: pain }, { fact: a.signs, includes: cold }] }", &["a.signs includes pain", "a.signs includes cold"])]
fn what_certainly_cannot_be_is_no_gap(#[case] when: &str, #[case] expected: &[&str]) {
    let (rules, _, runs) = loaded(&with_cases(
        &[("one", "defer", when)],
        &[("a.sex: female", "defer", "open")],
    ));
    let reached = coverage::reached(&rules, &runs, decider(&rules).as_mut(), |_| true);
    let members: Vec<&str> = reached
        .iter()
        .flat_map(|it| &it.members)
        .filter(|it| it.can_be)
        .map(|it| it.what.as_str())
        .collect();
    assert_eq!(members.len(), expected.len(), "{members:?}");
    for (member, name) in members.iter().zip(expected) {
        assert!(member.starts_with(&format!("only {name} ")), "{member}");
    }
}

fn with_waivers(text: &str) -> RuleFiles {
    let mut files = with_cases(&[("one", "defer", BY_HAND)], TWO_OF_IT);
    files.set("cases/equivalent.yaml", text);
    files
}

#[test]
fn a_waiver_counts_once_it_fits_and_is_told_when_it_does_not() {
    let noticed = "a.count at_least 5: above";
    let files = with_waivers(&format!(
        "changes:\n  - {{ rule: test/one, what: \"{}\", reason: a reason for a test }}\n  - {{ rule: test/one, what: \"{noticed}\", reason: a \
         reason for a test }}\ngaps:\n  - {{ rule: test/one, what: no case above 5 for a.count, reason: a reason for a test }}\n",
        LEFT[0]
    ));
    let (mut rules, cases, runs) = loaded(&files);
    let waivers = waivers(&files, &rules)
        .unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n")));
    let mutants = try_all(&mut rules, &cases, &runs, |_| true);
    let (left, unused) = survivors(&mutants, &waivers.changes, |rule| rule == "test/one");
    let left: Vec<&str> = left
        .iter()
        .filter(|it| it.rule == "test/one")
        .map(|it| it.what.as_str())
        .collect();
    assert_eq!(left, LEFT[1..]);
    assert_eq!(
        unused.iter().map(|it| it.what.as_str()).collect::<Vec<_>>(),
        [noticed]
    );
    let (gaps, unused) = coverage::gaps(
        &coverage::reached(&rules, &runs, decider(&rules).as_mut(), |_| true),
        &waivers.gaps,
        |_| true,
    );
    assert!(unused.is_empty() && gaps.len() == 3, "{gaps:?}");
    assert!(!gaps.contains(&Gap {
        rule: "test/one".into(),
        what: "no case above 5 for a.count".into()
    }));
}

#[rstest]
#[case("changes: [{ rule: test/onne, what: x, reason: a reason for a test }]", &["rules/unknown-rule"])]
#[case("changes: [{ rule: limits/ceilling, what: x, reason: a reason for a test }]", &["rules/unknown-rule"])]
#[case("gaps: [{ rule: test/one, what: x, reason: why }]", &["shape/wrong-form"])]
#[case("gaps: [{ rule: test/one, reason: a reason for a test }]", &["shape/missing-key"])]
#[case(
    "gaps: [{ rule: test/one, what: x, reason: a reason for a test }, { rule: test/one, what: x, reason: another reason }]",
    &["rules/duplicate-id"]
)]
#[case("changes: [{ rule: limits/ceiling, what: x, reason: a reason for a test }, { rule: derived.dosing, what: x, reason: a reason for a test }]", &[])]
fn the_list_of_waivers_is_read_with_care(#[case] text: &str, #[case] expected: &[&str]) {
    let files = with_waivers(text);
    let rules =
        rule_set(&files).unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n")));
    let found = waivers(&files, &rules).err().unwrap_or_default();
    let names: Vec<&str> = found.iter().map(|it| it.code.name()).collect();
    assert_eq!(names, expected, "{}", codes(&found).join("\n"));
}

/// The embedded rule set: no small change goes unnoticed but those that come to the same.
#[test]
fn no_small_change_of_the_rule_set_goes_unnoticed() {
    let mut rules = embedded();
    let files = RuleFiles::embedded();
    let (_, cases, runs) = loaded(&files);
    let waivers = waivers(&files, &rules)
        .unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n")));
    let mutants = try_all(&mut rules, &cases, &runs, |_| true);
    let (left, unused) = survivors(&mutants, &waivers.changes, |_| true);
    let left: Vec<String> = left
        .iter()
        .map(|it| format!("{}  {}", it.rule, it.what))
        .collect();
    assert!(left.is_empty(), "{}", left.join("\n"));
    assert!(unused.is_empty(), "{unused:?}");
    let proved = mutants
        .iter()
        .filter(|mutant| mutant.fate == Fate::Equivalent);
    none_is_noticed_and_proved(
        &rules,
        &mutants.iter().step_by(40).chain(proved).collect::<Vec<_>>(),
    );
    for kind in StepKind::ALL {
        assert!(
            mutants.iter().any(|it| it.kind == kind),
            "no change of {}",
            kind.in_words()
        );
    }
    assert!(mutants.len() >= 2900, "{}", mutants.len());
}

/// From outside: survivors with their lines, counts, and the exit status.
#[test]
fn the_command_lists_survivors_with_their_lines() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    let mut written = with_cases(&[("one", "defer", BY_HAND)], TWO_OF_IT);
    // The program's own rules wait for the lists that nobody was asked for.
    let people = "as_of: 2026-11-25\npeople:\n  - { id: somebody, about: Nobody, answers: { a: { taken: [], allergies: [] } } }\n";
    written.set("cases/people.yaml", people);
    for (path, file) in written.iter() {
        let path = folder.path().join(path);
        assert!(
            path.parent()
                .is_some_and(|it| std::fs::create_dir_all(it).is_ok())
                && std::fs::write(&path, file.bytes()).is_ok()
        );
    }
    let run = |more: &[&str]| {
        let mut command = crate::support::program();
        command
            .args(["rules", "test", "--rules"])
            .arg(folder.path())
            .args(more);
        let output = command
            .current_dir(Path::new(env!("CARGO_MANIFEST_DIR")))
            .output()
            .unwrap_or_else(|error| unreachable!("{error}"));
        (
            output.status.code(),
            String::from_utf8_lossy(&output.stdout).into_owned(),
        )
    };
    let (status, told) = run(&["--mutants"]);
    assert_eq!(status, Some(1), "{told}");
    for what in LEFT {
        let line = told
            .lines()
            .position(|it| it == format!("test/one  {what}"));
        let place = line
            .and_then(|at| told.lines().nth(at + 1))
            .unwrap_or_default();
        assert!(
            place.trim_end().ends_with("concerns/test.yaml:8"),
            "{what}: {place}\n{told}"
        );
    }
    assert!(
        told.contains("27 small changes tried, 19 that no case notices, 0 that come to the same"),
        "{told}"
    );
    let (status, table) = run(&["--coverage"]);
    assert_eq!(status, Some(1));
    for line in [
        "      1 fires, 1 stays quiet, 0 undetermined",
        "        5 for a.count: not below, at, not above",
    ] {
        assert!(
            table
                .lines()
                .any(|it| it == line || it == line.trim_start_matches(' ')),
            "{line}\n{table}"
        );
    }
    assert!(
        table.contains("      1 only a.smokes is yes fails, of all(a.smokes is yes, 1 more)"),
        "{table}"
    );
}
