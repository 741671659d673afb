//! What must hold for every rule set and every questionnaire, tried on generated ones.

use std::collections::{BTreeMap, BTreeSet};

use preblock::inner::outcome::State;
use preblock::inner::outcome::{Outcome, OutcomeSpan, Standing};
use preblock::inner::questionnaire::facts;
use preblock::inner::questionnaire::facts::{
    Fact, Facts, Gathered, Value, Why, answers, derive, truth_of,
};
use preblock::inner::questionnaire::frame;
use preblock::inner::report::json;
use preblock::inner::rule_set::{Answer, Conflict, Derived, Idx, Question, RuleSet};
use preblock::inner::screening::compile::Compiled;
use preblock::inner::screening::evaluate::States;
use preblock::inner::truth::{FactSlot, Truth};
use proptest::prelude::*;
use rstest::rstest;

use crate::reference::{came, counted, value};
use crate::shipped::{Shipped, nails, skin};
use crate::support::{SEED, embedded_once, facts_or, screening, text_of, today, written};

/// A condition as a tree, so that it can be written with its operands in either order.
#[derive(Debug, Clone)]
pub enum Tree {
    All(Vec<Tree>),
    Any(Vec<Tree>),
    Not(Box<Tree>),
    Leaf(&'static str),
}

const LEAVES: &[&str] = &[
    "{ fact: a.smokes, is: yes }",
    "{ fact: a.smokes, is_not: yes }",
    "{ fact: a.drinks, none_of: [no] }",
    "{ fact: a.pulse, is_not: felt }",
    "{ fact: a.pulse, one_of: [doubtful, absent] }",
    "{ fact: a.signs, includes: pain }",
    "{ fact: a.signs, includes_any: [ulcer, cold] }",
    "{ fact: a.count, above: 4 }",
    "{ fact: a.count, at_most: { limit: ceiling } }",
    "{ fact: a.units, between: [3, 5] }",
    "{ fact: a.weight, below: 50 kg }",
    "{ fact: a.inr, at_least: 4 }",
    "{ fact: a.inr, older_than: { limit: fresh } }",
    "{ fact: a.inr, within: 8 days }",
    "{ fact: a.seen_on, older_than: 3 months }",
    "{ fact: a.seen_on, above: 2026-06-01 }",
    "{ fact: plan.anaesthetic, includes: lidocaine }",
    "{ fact: plan.adrenaline, is: yes }",
    "{ taking: thinner }",
    "{ taking: [warfarin, paracetamol] }",
    "{ taking: thinner, at_least: 2 }",
    "{ allergic_to: amide }",
    "{ allergic_to: [latex, procaine], reaction: [anaphylaxis] }",
    "{ fact: derived.age, at_least: 70 }",
    "{ fact: derived.dosing, below: 60 kg }",
    "{ fact: derived.load, above: 0.5 }",
    "{ fact: derived.n_signs, at_least: 2 }",
    "{ fact: a.detail, is: no }",
    "{ fact: b.kind, one_of: [none, bad] }",
    "{ fact: b.marks, includes: red }",
    "{ fact: b.level, at_least: 3 }",
    "{ fact: b.level, older_than: 8 days }",
    "{ fact: b.moot, is: yes }",
    "{ fact: b.carrying, is: no-one }",
    "{ fact: b.carrying, is_not: no-one }",
    "{ fact: b.after, is: yes }",
    "{ fact: derived.n_marks, at_least: 1 }",
];

/// Questions that do not always apply, on the tiny rule set: behind answers, behind one another, behind lists and an age;
/// with answers that say nothing, with one that follows where the question does not apply.
pub const GATED: &str = r"  - id: b
    title: Details
    questions:
      - id: kind
        ask: Which kind?
        answer: one-of
        options: [{ id: none, text: None, nothing: true }, { id: some, text: Some }, { id: bad, text: Bad }]
        from: patient
        ask_when: { fact: a.detail, is: yes }
      - id: marks
        ask: Which marks?
        answer: several-of
        options: [{ id: calm, text: Calm, nothing: true }, { id: red, text: Red }]
        from: patient
        ask_when: { any: [{ fact: a.pulse, is: absent }, { fact: derived.age, below: 18 }] }
      - { id: level, ask: Which level?, answer: number, dated: true, plausible: [0, 9], from: record, ask_when: { taking: thinner } }
      - { id: moot, ask: Moot?, answer: yes-no, from: patient, harmless_alone: true, ask_when: { fact: a.drinks, is: yes } }
      - id: carrying
        ask: Carrying?
        answer: one-of
        options: [{ id: no-one, text: Nobody, nothing: true }, { id: maybe, text: Perhaps }, { id: someone, text: Somebody }]
        from: patient
        ask_when: { all: [{ fact: a.sex, is: female }, { fact: derived.age, below: 60 }] }
        otherwise: no-one
      - { id: after, ask: And after?, answer: yes-no, from: patient, ask_when: { fact: b.carrying, is_not: no-one } }
      - { id: told, ask: In your words?, answer: text, from: patient, ask_when: { fact: derived.n_marks, at_least: 1 } }
derived:
  - { id: n_marks, about: Number of marks, formula: count-of, decimals: 0, with: { list: b.marks } }
";

/// The tiny rule set with those questions.
pub fn gated(rules: &[(&str, &str, &str)]) -> RuleSet {
    let mut files = crate::support::files(rules);
    let questions = text_of(&files, "questions.yaml").replacen("derived:\n", GATED, 1);
    files.set("questions.yaml", questions);
    preblock::inner::rule_set::read::rule_set(&files)
        .unwrap_or_else(|found| unreachable!("{:?}", crate::support::codes(&found)))
}

/// Answers to try for each question of the tiny rule set; leaving it out is tried, too.
pub const ANSWERS: &[(&str, &[&str])] = &[
    (
        "plan.procedure_on",
        &["2026-12-03", "2026-11-25", "2026-12-03 09:00", "unknown"],
    ),
    (
        "plan.toes",
        &["[left-great]", "[left-great, right-great]", "[]", "unknown"],
    ),
    (
        "plan.anaesthetic",
        &[
            "[{ agent: lidocaine, strength: 2 %, volume: 4 mL }]",
            "[{ agent: mepivacaine, strength: 3 %, volume: unknown }]",
            "[]",
            "unknown",
        ],
    ),
    ("plan.adrenaline", &["yes", "no", "declined"]),
    (
        "a.born",
        &["1950-01-01", "1956-12-03", "2016-08-19", "unknown"],
    ),
    ("a.sex", &["female", "male", "unknown"]),
    ("a.weight", &["49.9 kg", "50 kg", "180 lb", "unknown"]),
    ("a.height", &["150 cm", "1.8 m", "unknown"]),
    ("a.smokes", &["yes", "no", "unknown", "declined"]),
    ("a.drinks", &["yes", "no", "unknown"]),
    ("a.pulse", &["felt", "doubtful", "absent", "unknown"]),
    (
        "a.signs",
        &[
            "[]",
            "[pain]",
            "[ulcer, cold]",
            "[pain, ulcer, cold]",
            "unknown",
        ],
    ),
    ("a.count", &["3", "4", "4.5", "unknown"]),
    ("a.units", &["2.9", "3", "5", "unknown"]),
    (
        "a.inr",
        &[
            "{ value: 4.0, taken_on: 2026-11-22 }",
            "{ value: 2.5, taken_on: 2026-11-24 09:00 }",
            "{ value: 4.2, taken_on: unknown }",
            "{ value: unknown, taken_on: 2026-11-01 }",
            "unknown",
        ],
    ),
    ("a.seen_on", &["2026-11-01", "2026-01-01", "unknown"]),
    (
        "a.taken",
        &[
            "[]",
            "[warfarin]",
            "[aspirin, apixaban 5 mg]",
            "[warfrin]",
            "[warfarin, mystery]",
            "[paracetamol]",
            "unknown",
        ],
    ),
    (
        "a.allergies",
        &[
            "[]",
            "[lidocaine]",
            "[local anaesthetic]",
            "[{ to: banana, reaction: anaphylaxis }]",
            "[{ to: latex, reaction: unknown }]",
            "[mystery]",
            "unknown",
        ],
    ),
    ("a.detail", &["yes", "no", "unknown"]),
    ("b.kind", &["none", "some", "bad"]),
    ("b.marks", &["[]", "[calm]", "[calm, red]", "unknown"]),
    (
        "b.level",
        &[
            "{ value: 3, taken_on: 2026-11-01 }",
            "{ value: unknown, taken_on: 2026-11-01 }",
            "unknown",
        ],
    ),
    ("b.moot", &["yes", "no"]),
    ("b.carrying", &["no-one", "maybe", "someone", "unknown"]),
    ("b.after", &["yes", "no"]),
    ("b.told", &["some words"]),
];

/// A question, an answer to it that is not wholly known or understood, and one that it may turn out to be.
const CLEARER: &[(&str, &str, &str)] = &[
    (
        "plan.anaesthetic",
        "[{ agent: lidocaine, strength: 2 %, volume: unknown }]",
        "[{ agent: lidocaine, strength: 2 %, volume: 9 mL }]",
    ),
    (
        "plan.anaesthetic",
        "[{ agent: lidocaine, strength: unknown, volume: 3 mL }]",
        "[{ agent: lidocaine, strength: 2 %, volume: 3 mL }]",
    ),
    (
        "plan.anaesthetic",
        "[{ agent: lidocaine, strength: unknown, volume: unknown }]",
        "[{ agent: lidocaine, strength: 1 %, volume: unknown }]",
    ),
    (
        "a.inr",
        "{ value: unknown, taken_on: 2026-11-22 }",
        "{ value: 4.2, taken_on: 2026-11-22 }",
    ),
    (
        "a.inr",
        "{ value: 4.2, taken_on: unknown }",
        "{ value: 4.2, taken_on: 2026-11-01 }",
    ),
    (
        "a.inr",
        "{ value: 2.2, taken_on: declined }",
        "{ value: 2.2, taken_on: 2026-11-25 }",
    ),
    ("a.inr", "unknown", "{ value: 4.0, taken_on: unknown }"),
    ("a.taken", "[warfrin]", "[warfarin]"),
    ("a.taken", "[mystery]", "[]"),
    ("a.taken", "[mystery]", "[paracetamol]"),
    ("a.taken", "[warfarin, mystery]", "[warfarin, apixaban]"),
    (
        "a.taken",
        "[warfarin, mystery]",
        "[warfarin, warfarin 3 mg]",
    ),
    ("a.taken", "[mystery, riddle]", "[aspirin, riddle]"),
    (
        "a.taken",
        "[aspirin, mystery, riddle]",
        "[aspirin, mystery]",
    ),
    ("a.allergies", "[mystery]", "[]"),
    ("a.allergies", "[mystery]", "[lidocaine]"),
    (
        "a.allergies",
        "[{ to: mystery, reaction: anaphylaxis }]",
        "[{ to: latex, reaction: anaphylaxis }]",
    ),
    ("a.allergies", "[local anaesthetic]", "[lidocaine]"),
    ("a.allergies", "[local anaesthetic]", "[procaine]"),
    (
        "a.allergies",
        "[{ to: latex, reaction: unknown }]",
        "[{ to: latex, reaction: anaphylaxis }]",
    ),
    (
        "a.allergies",
        "[{ to: latex, reaction: unknown }]",
        "[{ to: latex, reaction: rash }]",
    ),
    ("a.allergies", "[latex, mystery]", "[latex]"),
];

/// A condition over the facts of the tiny rule set.
pub fn tree() -> impl Strategy<Value = Tree> {
    tree_of(LEAVES.to_vec())
}

/// The same about questions that always apply, and one detail: the tiny rule set without the gated ones.
pub fn plain_tree() -> impl Strategy<Value = Tree> {
    tree_of(
        LEAVES
            .iter()
            .copied()
            .filter(|it| !it.contains(" b.") && !it.contains("n_marks"))
            .collect(),
    )
}

fn tree_of(leaves: Vec<&'static str>) -> impl Strategy<Value = Tree> {
    let leaf = prop::sample::select(leaves).prop_map(Tree::Leaf);
    leaf.prop_recursive(4, 20, 4, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 1..4).prop_map(Tree::All),
            prop::collection::vec(inner.clone(), 1..4).prop_map(Tree::Any),
            inner.prop_map(|it| Tree::Not(Box::new(it))),
        ]
    })
}

/// The condition as it is written, with its operands in one order or the other.
pub fn yaml(tree: &Tree, turned: bool) -> String {
    let list = |parts: &[Tree]| {
        let mut parts: Vec<String> = parts.iter().map(|it| yaml(it, turned)).collect();
        if turned {
            parts.reverse();
        }
        parts.join(", ")
    };
    match tree {
        Tree::All(parts) => format!("{{ all: [{}] }}", list(parts)),
        Tree::Any(parts) => format!("{{ any: [{}] }}", list(parts)),
        Tree::Not(part) => format!("{{ not: {} }}", yaml(part, turned)),
        Tree::Leaf(leaf) => (*leaf).to_owned(),
    }
}

/// Which answer to each question; past the end of its list, none.
pub type Choices = Vec<usize>;

/// Some answer, or none, to each question of the tiny rule set.
pub fn choices() -> impl Strategy<Value = Choices> {
    let each: Vec<_> = ANSWERS
        .iter()
        .map(|(_, answers)| 0..=answers.len())
        .collect();
    each
}

/// The questionnaire with these answers.
pub fn text(choices: &Choices) -> String {
    text_with(choices, None, "")
}

/// The same without the answers to gated questions.
pub fn plain_text(choices: &Choices) -> String {
    let plain = ANSWERS.iter().zip(choices).map(|((id, _), at)| {
        if id.starts_with("b.") {
            usize::MAX
        } else {
            *at
        }
    });
    text(&plain.collect())
}

/// The same with this answer to the question of this position.
pub fn text_with(choices: &Choices, replaced: Option<usize>, instead: &str) -> String {
    let mut sections: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for (position, ((id, answers), at)) in ANSWERS.iter().zip(choices).enumerate() {
        let answer = if replaced == Some(position) {
            Some(&instead)
        } else {
            answers.get(*at)
        };
        if let (Some(answer), Some((section, question))) = (answer, id.split_once('.')) {
            sections
                .entry(section)
                .or_default()
                .push(format!("  {question}: {answer}"));
        }
    }
    let lines: Vec<String> = sections
        .into_iter()
        .flat_map(|(section, lines)| std::iter::once(format!("{section}:")).chain(lines))
        .collect();
    written(&lines.join("\n"))
}

/// In turn, those of generated rules.
pub const OUTCOMES: [&str; 3] = ["go", "defer", "refer"];

pub fn rules_of(trees: &[Tree], turned: bool) -> RuleSet {
    let written: Vec<(String, String)> = trees
        .iter()
        .enumerate()
        .map(|(at, it)| (format!("rule-{at}"), yaml(it, turned)))
        .collect();
    let rules: Vec<(&str, &str, &str)> = written
        .iter()
        .zip(OUTCOMES.iter().cycle())
        .map(|((id, when), outcome)| (id.as_str(), *outcome, when.as_str()))
        .collect();
    gated(&rules)
}

/// What the states of all rules come to.
pub fn span_of(rules: &RuleSet, states: &States) -> OutcomeSpan {
    let with = |wanted: State| {
        rules
            .judging
            .iter()
            .zip(states)
            .filter(move |(_, state)| **state == wanted)
            .map(|(rule, _)| rule.standing())
    };
    OutcomeSpan::of(with(State::Fires), with(State::Undetermined))
}

/// What counts, and what contradicts, is what the reference says.
fn assert_counts(rules: &RuleSet, facts: &Facts) {
    let wanted = counted(rules, facts);
    let found: BTreeSet<FactSlot> = facts
        .conflicts(Conflict::RuledOut)
        .iter()
        .map(|it| it.answer.slot)
        .collect();
    assert_eq!(
        (found, facts.conflicts_open(Conflict::RuledOut)),
        (wanted.ruled_out, &wanted.open)
    );
    for (slot, fact) in rules.catalogue.facts.entries() {
        assert_eq!(
            value(facts, slot),
            value(&wanted.facts, slot),
            "{}",
            fact.id
        );
    }
    assert!(
        facts
            .conflicts(Conflict::RuledOut)
            .iter()
            .all(|it| !it.by.is_empty()),
        "ruled out by nothing"
    );
}

/// The state of every rule by the compiled form, after holding the readable tree and the reference equal to it.
fn states(rules: &RuleSet, compiled: &Compiled, facts: &Facts) -> States {
    assert_counts(rules, facts);
    let states = compiled.run(facts);
    for (rule, state) in rules.judging.iter().zip(&states) {
        let readable = truth_of::truth(&rule.when, facts);
        match came(&rule.when, facts) {
            Ok(true) => assert_eq!(
                (&readable, state),
                (&Truth::Yes, &State::Fires),
                "{}",
                rule.id
            ),
            Ok(false) => assert_eq!(
                (&readable, state),
                (&Truth::No, &State::StaysQuiet),
                "{}",
                rule.id
            ),
            Err(open) => {
                assert!(!open.is_empty(), "{} is open for no reason", rule.id);
                assert_eq!(
                    (&readable, state),
                    (&Truth::Unknown(open), &State::Undetermined),
                    "{}",
                    rule.id
                );
            }
        }
    }
    states
}

/// Whether an answer may be asked for: it is missing, not wholly understood, or part of what cannot be worked out.
fn may_be_open(rules: &RuleSet, facts: &Facts, slot: FactSlot) -> bool {
    let open = match facts.get(slot) {
        Fact::Missing(_) => true,
        Fact::Known(known) => match &known.value {
            // Not recognised, or a steroid whose dose or duration nobody gave.
            Value::Medicines(entries) => entries.iter().any(|it| {
                let counts = it
                    .medicine
                    .is_none_or(|at| rules.medicines.medicines[at].as_prednisolone.is_some());
                it.medicine.is_none() || (counts && (it.daily_mg.is_none() || it.days.is_none()))
            }),
            Value::Allergies(entries) => entries.iter().any(|it| {
                it.reaction.is_none()
                    || it
                        .substances
                        .as_ref()
                        .is_none_or(|it| it.iter().count() != 1)
            }),
            Value::Plan(plan) => plan
                .iter()
                .any(|it| it.percent.is_none() || it.volume_ml.is_none()),
            _ => false,
        },
    };
    let stuck = |derived: &Derived| match facts.get(derived.slot) {
        Fact::Missing(missing) => {
            missing.why == Why::NotComputable && derive::roots(rules, derived).contains(&slot)
        }
        _ => false,
    };
    open || rules.catalogue.derived.iter().any(stuck)
}

/// A screening says what the states of its rules say, and why: each finding by facts that are known, each rule that is
/// open by answers that are not, and every one of those is asked for.
fn assert_tells(rules: &RuleSet, facts: &Facts, states: &States) {
    let found = screening(rules, facts);
    let of = |wanted: State| {
        rules
            .judging
            .iter()
            .zip(states)
            .filter(move |(_, it)| **it == wanted)
            .map(|(rule, _)| rule.id.as_str())
            .collect::<BTreeSet<_>>()
    };
    assert_eq!(
        found
            .findings
            .iter()
            .map(|it| it.rule.as_str())
            .collect::<BTreeSet<_>>(),
        of(State::Fires)
    );
    assert_eq!(
        found
            .undetermined
            .iter()
            .map(|it| it.rule.as_str())
            .collect::<BTreeSet<_>>(),
        of(State::Undetermined)
    );
    let span = span_of(rules, states);
    assert_eq!(found.span, span);
    if found.verdict().outcome == Outcome::Go {
        assert!(
            found.findings.iter().all(|it| it.outcome == Outcome::Go),
            "go with a finding against it"
        );
        assert!(
            found
                .undetermined
                .iter()
                .all(|it| it.outcome_if_fires == Outcome::Go),
            "go with a rule that could say otherwise"
        );
    }
    assert!(
        found
            .findings
            .is_sorted_by_key(|it| std::cmp::Reverse((it.outcome, it.urgency))),
        "worst first"
    );
    for finding in &found.findings {
        assert!(
            !finding.because.is_empty(),
            "{} fires for no reason",
            finding.rule
        );
        for because in &finding.because {
            let slot = rules.catalogue.slot(&because.fact);
            let known = slot.and_then(|it| facts.known(it));
            assert!(
                known.is_some(),
                "{} rests on {}, which is missing",
                finding.rule,
                because.fact
            );
            assert!(
                because.line.is_some() || !because.from.is_empty(),
                "{} stands nowhere",
                because.fact
            );
        }
    }
    let mut waited_for: BTreeSet<&str> = BTreeSet::new();
    for rule in &found.undetermined {
        assert!(
            !rule.waits_for.is_empty(),
            "{} waits for nothing",
            rule.rule
        );
        for id in &rule.waits_for {
            assert!(
                rules
                    .catalogue
                    .slot(id)
                    .is_some_and(|it| may_be_open(rules, facts, it)),
                "{} waits for {id}, which is known",
                rule.rule
            );
            waited_for.insert(id);
        }
    }
    assert_eq!(
        found
            .to_ask
            .iter()
            .map(|it| it.fact.as_str())
            .collect::<BTreeSet<_>>(),
        waited_for
    );
}

/// What was established stays so once more is known, unless the answers then contradict one another, or may: then the
/// verdict waits, whatever it was.
fn assert_only_settles(rules: &RuleSet, before: &States, after: &States, known: &Facts) {
    if !known.conflicts(Conflict::RuledOut).is_empty()
        || !known.conflicts_open(Conflict::RuledOut).is_empty()
    {
        assert_ne!(
            span_of(rules, after).verdict(),
            Standing::GO,
            "answers that contradict one another go"
        );
        return;
    }
    for ((rule, before), after) in rules.judging.iter().zip(before).zip(after) {
        assert!(
            *before == State::Undetermined || before == after,
            "{}: {before:?} became {after:?} when an answer was added",
            rule.id
        );
    }
    let (wide, narrow) = (span_of(rules, before), span_of(rules, after));
    assert!(
        wide.best_case <= narrow.best_case && narrow.worst_case <= wide.worst_case,
        "{wide:?} does not hold {narrow:?}"
    );
    if narrow.verdict() != Standing::GO {
        assert_ne!(
            wide.verdict(),
            Standing::GO,
            "taking an answer away made it go"
        );
    }
}

/// Answers that contradict, a plan beyond the offers and a name that nobody read hold the verdict, whatever the rules are.
fn assert_held(rules: &RuleSet, facts: &Facts, found: &States) {
    let unread = !facts.conflicts_open(Conflict::Unread).is_empty();
    if unread
        || !facts.conflicts(Conflict::RuledOut).is_empty()
        || !facts.conflicts(Conflict::NotOffered).is_empty()
    {
        assert_ne!(span_of(rules, found).verdict(), Standing::GO);
    }
    assert!(
        unread || answers::strangers(facts).is_empty(),
        "a name that nobody read, and nothing waits for it"
    );
}

/// Leaving out an answer that was set aside changes nothing.
fn assert_counts_for_nothing(
    rules: &RuleSet,
    compiled: &Compiled,
    text: &str,
    facts: &Facts,
    found: &States,
) {
    let gathered =
        crate::support::gathered(rules, text).unwrap_or_else(|found| unreachable!("{found:?}"));
    for aside in facts.set_aside() {
        let mut without = gathered.clone();
        without.given.remove(&aside.question);
        let (without, refused) = facts::read(rules, &without, today());
        assert!(refused.is_empty());
        assert_eq!(
            &states(rules, compiled, &without),
            found,
            "{}",
            rules.catalogue.questions[aside.question].id
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, rng_seed: SEED, ..ProptestConfig::default() })]

    /// The compiled form, the readable tree and the reference agree, whatever the order of operands and rules; the
    /// screening says so and why; answers that are added or taken away do what they may.
    #[test]
    fn any_rule_set_on_any_answers(trees in prop::collection::vec(tree(), 12), all in prop::collection::vec(choices(), 6), missing in 0..ANSWERS.len()) {
        let rules = rules_of(&trees, false);
        let turned = rules_of(&trees, true);
        let backwards = rules_of(&trees.iter().rev().cloned().collect::<Vec<_>>(), false);
        let (compiled, compiled_turned, compiled_backwards) = (Compiled::new(&rules), Compiled::new(&turned), Compiled::new(&backwards));
        let mut n_open = 0;
        for choices in &all {
            let facts = match facts_or(&rules, &text(choices)) {
                Ok(facts) => facts,
                Err(found) => return Err(TestCaseError::fail(format!("{:?}", crate::support::codes(&found)))),
            };
            let found = states(&rules, &compiled, &facts);
            n_open += found.iter().filter(|it| **it == State::Undetermined).count();
            prop_assert_eq!(&found, &compiled_turned.run(&facts));
            let mut backwards = compiled_backwards.run(&facts).rows().to_vec();
            backwards[..trees.len()].reverse();
            prop_assert_eq!(found.rows(), backwards);
            assert_tells(&rules, &facts, &found);
            let mut fewer = choices.clone();
            if let (Some(place), Some((_, answers))) = (fewer.get_mut(missing), ANSWERS.get(missing)) {
                *place = answers.len();
            }
            let fewer = facts_or(&rules, &text(&fewer)).map_err(|_| TestCaseError::fail("taking an answer away was refused"))?;
            assert_only_settles(&rules, &states(&rules, &compiled, &fewer), &found, &facts);
            assert_held(&rules, &facts, &found);
            assert_counts_for_nothing(&rules, &compiled, &text(choices), &facts, &found);
        }
        prop_assert!(n_open > 0, "no missing answer was met");
    }

    /// An answer that is understood better, or known in part and then whole, only settles.
    #[test]
    fn a_clearer_answer_only_settles(trees in prop::collection::vec(tree(), 12), all in prop::collection::vec(choices(), 4), clearer in prop::sample::select(CLEARER)) {
        let (question, vague, clear) = clearer;
        let at = ANSWERS.iter().position(|(id, _)| *id == question);
        let rules = rules_of(&trees, false);
        let compiled = Compiled::new(&rules);
        for choices in &all {
            let of = |answer: &str| {
                let text = text_with(choices, at, answer);
                facts_or(&rules, &text).map_err(|found| TestCaseError::fail(format!("{:?}\n{text}", crate::support::codes(&found))))
            };
            let (before, after) = (of(vague)?, of(clear)?);
            assert_only_settles(&rules, &states(&rules, &compiled, &before), &states(&rules, &compiled, &after), &after);
        }
    }

    /// Identical input gives identical output.
    #[test]
    fn the_same_in_gives_the_same_out(trees in prop::collection::vec(tree(), 6), choices in choices()) {
        let rules = rules_of(&trees, false);
        let facts = facts_or(&rules, &text(&choices)).map_err(|_| TestCaseError::fail("refused"))?;
        let first = json::one(&screening(&rules, &facts));
        let again = facts_or(&rules_of(&trees, false), &text(&choices)).map_err(|_| TestCaseError::fail("refused"))?;
        prop_assert_eq!(first, json::one(&screening(&rules, &again)));
    }
}

/// Numbers from a seed, for choices that need not shrink.
pub struct Dice(pub u64);

impl Dice {
    /// One side, from 0.
    pub fn roll(&mut self, sides: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap_or(0) % sides.max(1)
    }
}

/// Some answer to a question of a rule set; nothing in about a sixth of the cases.
pub fn some_answer(
    rules: &RuleSet,
    question: &preblock::inner::rule_set::Question,
    dice: &mut Dice,
) -> Option<String> {
    match dice.roll(12) {
        0 | 1 => return None,
        2 => return Some("unknown".into()),
        _ => {}
    }
    let pick = |dice: &mut Dice, from: &[&str]| {
        from.get(dice.roll(from.len()))
            .map_or(String::new(), |it| (*it).to_owned())
    };
    let within = |dice: &mut Dice| {
        let (low, high) = question.plausible.unwrap_or((0.0, 10.0));
        let step = f64::from(u32::try_from(dice.roll(101)).unwrap_or(0)) / 100.0;
        // Mostly in the lower part, where the limits are.
        ((low + (high - low) * step * step) * 100.0).round() / 100.0
    };
    let value = match &question.answer {
        Answer::YesNo => pick(dice, &["yes", "no", "no"]),
        Answer::OneOf(options) => options
            .get(dice.roll(options.len()))
            .map(|it| it.id.clone())?,
        Answer::SeveralOf(options) => {
            let chosen: Vec<&str> = options
                .iter()
                .filter(|_| dice.roll(4) == 0)
                .map(|it| it.id.as_str())
                .collect();
            format!("[{}]", chosen.join(", "))
        }
        Answer::Number { whole: true } => within(dice).round().to_string(),
        Answer::Number { whole: false } => within(dice).to_string(),
        Answer::Quantity { unit, .. } => format!(
            "{} {unit}",
            within(dice).max(question.plausible.map_or(0.0, |it| it.0))
        ),
        Answer::Date if question.past => pick(
            dice,
            &[
                "1950-03-01",
                "1990-05-05",
                "2026-11-01",
                "2026-07-01",
                "2025-01-01",
            ],
        ),
        Answer::Date => pick(dice, &["2026-11-26", "2026-12-03"]),
        Answer::Text => "some words".into(),
        Answer::Medicines => {
            let names = &rules.medicines.medicines;
            let mut chosen: Vec<&str> = (0..dice.roll(3))
                .filter_map(|_| names.rows().get(dice.roll(names.len())))
                .map(|it| it.name.as_str())
                .collect();
            let more = [
                "warfarin",
                "apixaban",
                "dabigatran",
                "aspirin",
                "clopidogrel",
                "enoxaparin",
                "ibuprofen",
                "metformin",
                "propranolol",
                "mystery",
            ];
            chosen.extend(
                (0..dice.roll(4))
                    .filter_map(|_| more.get(dice.roll(more.len())))
                    .copied(),
            );
            let quoted: Vec<String> = chosen.iter().map(|it| format!("\"{it}\"")).collect();
            format!("[{}]", quoted.join(", "))
        }
        Answer::Allergies => {
            let reaction = rules
                .allergens
                .reactions
                .rows()
                .get(dice.roll(rules.allergens.reactions.len()))
                .map(|it| it.id.clone())?;
            let to = pick(
                dice,
                &[
                    "latex",
                    "lidocaine",
                    "local anaesthetic",
                    "chlorhexidine",
                    "mystery",
                    "phenol",
                ],
            );
            if dice.roll(3) == 0 {
                "[]".into()
            } else {
                format!("[{{ to: {to}, reaction: {reaction} }}]")
            }
        }
        Answer::Anaesthetic => {
            let agent = rules.agents.rows().get(dice.roll(rules.agents.len()))?;
            let volume = pick(dice, &["2", "3", "5", "8"]);
            format!(
                "[{{ agent: {}, strength: {} %, volume: {volume} mL }}]",
                agent.id, agent.strengths.1
            )
        }
    };
    Some(if question.dated {
        format!(
            "{{ value: {value}, taken_on: {} }}",
            pick(dice, &["2026-11-24", "2026-11-01", "2026-06-01", "unknown"])
        )
    } else {
        value
    })
}

/// Random answers to a rule set, without those that contradict others; `None` if it stays refused.
pub fn some_patient(rules: &RuleSet, dice: &mut Dice) -> Option<(Gathered, Facts)> {
    let mut lines = String::new();
    for section in &rules.catalogue.sections {
        lines.push_str(&format!("{}:\n", section.id));
        for question in rules
            .catalogue
            .questions
            .iter()
            .filter(|it| it.id.starts_with(&format!("{}.", section.id)))
        {
            if let (Some(answer), Some((_, name))) = (
                some_answer(rules, question, dice),
                question.id.split_once('.'),
            ) {
                lines.push_str(&format!("  {name}: {answer}\n"));
            }
        }
    }
    let (read, found) = frame::questionnaire(rules, "random.yaml", written(&lines).as_bytes());
    assert!(
        found.is_empty(),
        "{:?}\n{lines}",
        crate::support::codes(&found)
    );
    without_contradictions(rules, read?.answers)
}

/// The answers less those that another one says do not apply; `None` if they are refused, or stay so.
///
/// An answer that another one rules out is the one thing whose removal lifts a finding, so the promises are about
/// answers that apply.
pub fn without_contradictions(
    rules: &RuleSet,
    mut gathered: Gathered,
) -> Option<(Gathered, Facts)> {
    for _ in 0..8 {
        let (facts, found) = facts::read(rules, &gathered, today());
        assert!(found.is_empty(), "{:?}", crate::support::codes(&found));
        assert_counts(rules, &facts);
        if facts.conflicts(Conflict::RuledOut).is_empty() {
            return Some((gathered, facts));
        }
        let ruled_out = |at: Idx<Question>| {
            facts
                .conflicts(Conflict::RuledOut)
                .iter()
                .any(|it| it.answer.slot == rules.catalogue.questions[at].slot)
        };
        gathered.given.retain(|at, _| !ruled_out(*at));
    }
    None
}

/// Somebody healthy, with up to five answers of a random patient.
pub fn nearly_healthy(
    rules: &RuleSet,
    healthy: Gathered,
    random: &Gathered,
    dice: &mut Dice,
) -> Option<(Gathered, Facts)> {
    let mut gathered = healthy;
    let keys: Vec<Idx<Question>> = random.given.keys().copied().collect();
    for _ in 0..dice.roll(6) {
        if let Some((key, given)) = keys
            .get(dice.roll(keys.len()))
            .and_then(|key| Some((*key, random.given.get(key)?.clone())))
        {
            gathered.given.insert(key, given);
        }
    }
    without_contradictions(rules, gathered)
}

/// The promises on a rule set that is used: no answer that is taken away turns a verdict into go or overturns
/// another, and the three evaluators agree, on some hundreds of random patients.
#[rstest]
#[case::nails(nails())]
#[case::skin(skin())]
fn a_rule_set_keeps_its_promises_on_random_patients(#[case] shipped: &Shipped) {
    let (rules, compiled) = (&shipped.rules, &shipped.compiled);
    let healthy = shipped.healthy();
    let mut dice = Dice(20_261_125);
    let (mut n_patients, mut n_open, mut n_fire, mut verdicts) = (0, 0, 0, [0, 0, 0]);
    while n_patients < 300 {
        let Some((random, _)) = some_patient(rules, &mut dice) else {
            continue;
        };
        // Random answers alone make nearly everybody a referral; every other patient is nearly healthy.
        let patient = if n_patients % 2 == 0 {
            nearly_healthy(rules, healthy.clone(), &random, &mut dice)
        } else {
            without_contradictions(rules, random)
        };
        let Some((gathered, facts)) = patient else {
            continue;
        };
        n_patients += 1;
        let found = states(rules, compiled, &facts);
        assert_tells(rules, &facts, &found);
        n_open += found
            .iter()
            .filter(|it| **it == State::Undetermined)
            .count();
        n_fire += found.iter().filter(|it| **it == State::Fires).count();
        if let Some(count) = verdicts.get_mut(span_of(rules, &found).verdict().outcome as usize) {
            *count += 1;
        }
        let keys: Vec<Idx<Question>> = gathered.given.keys().copied().collect();
        for _ in 0..6 {
            let Some(key) = keys.get(dice.roll(keys.len())) else {
                continue;
            };
            let mut fewer = gathered.clone();
            fewer.given.remove(key);
            let (fewer, refused) = facts::read(rules, &fewer, today());
            assert!(refused.is_empty(), "taking an answer away was refused");
            assert_only_settles(rules, &states(rules, compiled, &fewer), &found, &facts);
        }
    }
    assert!(
        n_open > 1000 && n_fire > 1000,
        "{n_open} open, {n_fire} fire"
    );
    assert!(
        verdicts.iter().all(|it| *it > 10),
        "go, defer, refer: {verdicts:?}"
    );
}

/// From a patient for whom all is known, taking any one answer away never leaves another verdict than before or defer,
/// and never go where it was not go.
#[rstest]
#[case::nails(nails(), 800)]
#[case::skin(skin(), 150)]
fn each_example_only_widens_when_any_answer_is_taken_away(
    #[case] shipped: &Shipped,
    #[case] fewest: usize,
) {
    let (rules, compiled) = (&shipped.rules, &shipped.compiled);
    let mut n_tried = 0;
    for path in shipped.paths() {
        let (whole, name) = (shipped.referral(&path), path.display());
        let (facts, refused) = facts::read(rules, &whole, today());
        assert!(refused.is_empty(), "{name}");
        let found = states(rules, compiled, &facts);
        for key in whole.given.keys() {
            let mut fewer = whole.clone();
            fewer.given.remove(key);
            let (fewer, refused) = facts::read(rules, &fewer, today());
            assert!(refused.is_empty(), "{name}");
            assert_only_settles(rules, &states(rules, compiled, &fewer), &found, &facts);
            n_tried += 1;
        }
    }
    assert!(n_tried > fewest, "{n_tried}");
}

/// Answers with which nobody may go ahead, whatever else is answered; each went ahead over the healthy adult once.
const NEVER_GO: &[(&str, &str)] = &[
    (
        "adrenaline in a toe with a low index, which a specialist expects to heal",
        "plan: { adrenaline: yes, toes: [left-great], tourniquet: no }\ncirculation: { ankle_measured: yes, other_ankle_measured: yes, arm_left: 140 mmHg, \
         arm_right: 140 mmHg, ankle_left: 80 mmHg, ankle_right: 140 mmHg, foot_signals: two-phase, specialist_advice: yes }\n",
    ),
    (
        "the same with a low toe pressure",
        "plan: { adrenaline: yes, toes: [left-great], tourniquet: no }\ncirculation: { toe_measured: yes, arm_left: 70 mmHg, \
         arm_right: 70 mmHg, toe_left: 40 mmHg, toe_right: 90 mmHg, specialist_advice: yes }\n",
    ),
    (
        "the same with absent pulses and a normal index",
        "plan: { adrenaline: yes, toes: [left-great], tourniquet: no }\ncirculation: { pulses_left: absent, ankle_measured: yes, other_ankle_measured: yes, \
         arm_left: 140 mmHg, arm_right: 140 mmHg, ankle_left: 150 mmHg, ankle_right: 150 mmHg, foot_signals: three-phase, \
         specialist_advice: yes, toe_measured: no }\n",
    ),
    (
        "the same with pain on walking",
        "plan: { adrenaline: yes, toes: [left-great], tourniquet: no }\ncirculation: { symptoms: [walking-pain], ankle_measured: yes, other_ankle_measured: yes, \
         arm_left: 140 mmHg, arm_right: 140 mmHg, ankle_left: 150 mmHg, ankle_right: 150 mmHg, foot_signals: three-phase, \
         specialist_advice: yes, toe_measured: no }\n",
    ),
    (
        "a high INR after a medicine was stopped",
        "bleeding: { antithrombotic_stopped: yes, prescriber_plan: yes, inr: { value: 5.2, taken_on: 2026-11-24 } }\n",
    ),
    (
        "the same, told to count",
        "bleeding: { antithrombotic_stopped: yes, prescriber_plan: yes, clotting_test_taken: yes, \
         inr: { value: 5.2, taken_on: 2026-11-24 } }\n",
    ),
    (
        "a high INR on a direct anticoagulant",
        "medicines: { current: [apixaban] }\nbleeding: { help_after: yes, prescriber_plan: yes, clotting_test_taken: yes, \
         inr: { value: 5.2, taken_on: 2026-11-24 }, creatinine: { value: 80 umol/L, taken_on: 2026-11-20 }, ill_since_blood_test: no, \
         bridging_planned: no, anticoagulant_course: standing, dose_peak: no }\n",
    ),
    (
        "few neutrophils that nobody asked about",
        "infection: { neutrophils: { value: 0.3 10^9/L, taken_on: 2026-11-24 } }\n",
    ),
    (
        "a low glucose that nobody asked about",
        "diabetes: { kind: none, glucose: 2.4 mmol/L }\n",
    ),
    (
        "a child with a very high pressure",
        "person: { date_of_birth: 2010-05-14 }\nanaesthesia: { weight_measured: yes }\n\
         general: { systolic: { value: 210 mmHg, taken_on: 2026-11-18 } }\n",
    ),
    (
        "the same, told to count",
        "person: { date_of_birth: 2010-05-14 }\nanaesthesia: { weight_measured: yes }\n\
         general: { pressure_taken: yes, systolic: { value: 210 mmHg, taken_on: 2026-11-18 } }\n",
    ),
    (
        "the same, told not to count",
        "person: { date_of_birth: 2010-05-14 }\nanaesthesia: { weight_measured: yes }\n\
         general: { pressure_taken: no, systolic: { value: 210 mmHg, taken_on: 2026-11-18 } }\n",
    ),
];

/// What a clinic with a protocol for adrenaline answers.
const PROTOCOL: &str = "clinic: { adrenaline_protocol: yes, adrenaline_with_tourniquet: yes, phentolamine: yes }\n\
                        anaesthesia: { adrenaline_decision: yes, adrenaline_hazards: [], adrenaline_strength: 1-in-200000 }\n";

/// Over the healthy adult, and over that adult with random answers beside them, these answers never go.
#[test]
fn nobody_goes_ahead_with_what_once_slipped_by() {
    let (rules, compiled) = embedded_once();
    let mut dice = Dice(20_261_125);
    let read = |lines: &str| {
        crate::support::gathered(rules, &written(lines))
            .unwrap_or_else(|found| unreachable!("{found:?}"))
    };
    let healthy = nails().healthy();
    for (what, answers) in NEVER_GO {
        let (mut n_tried, mut n_left) = (0, 40);
        while n_left > 0 {
            n_left -= 1;
            // The first is the healthy adult alone.
            let mut patient = healthy.clone();
            if n_tried > 0 {
                let Some((random, _)) = some_patient(rules, &mut dice) else {
                    continue;
                };
                let nearly = nearly_healthy(rules, healthy.clone(), &random, &mut dice);
                let Some((nearly, _)) = nearly else {
                    continue;
                };
                patient = nearly;
            }
            if answers.contains("adrenaline: yes") {
                patient.offers.clear();
                patient = frame::over(&patient, &read(PROTOCOL));
            }
            let completed_on = patient.completed_on.clone();
            patient = frame::over(&patient, &read(answers));
            patient.completed_on = completed_on;
            let (facts, refused) = facts::read(rules, &patient, today());
            if !refused.is_empty() {
                assert!(n_tried > 0, "{what}: {:?}", crate::support::codes(&refused));
                continue;
            }
            n_tried += 1;
            assert_ne!(
                span_of(rules, &states(rules, compiled, &facts)).verdict(),
                Standing::GO,
                "{what}"
            );
        }
        assert!(n_tried > 20, "{what}: {n_tried}");
    }
}
