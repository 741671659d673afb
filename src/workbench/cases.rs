//! Runs the worked cases. A right verdict for a wrong reason is a failure.

pub mod read;

use std::collections::BTreeSet;

use chrono::NaiveDate;

use crate::document::diagnostic::Diagnostic;
use crate::outcome::State;
use crate::outcome::{Outcome, Standing, Urgency};
use crate::questionnaire::facts;
use crate::questionnaire::facts::Facts;
use crate::rule_set::{Idx, LocalPolicy, Rule, RuleSet};
use crate::screening::compile::Compiled;
use crate::screening::evaluate::{States, standing};
use crate::screening::explain;
use crate::workbench::cases::read::Case;

/// What one case came to.
#[derive(Debug)]
pub struct CaseRun {
    /// The facts of the case, also if it was refused.
    pub facts: Facts,
    /// The state of every rule; `None` if the case was refused.
    pub states: Option<States>,
    /// How it differs from what is expected; empty if it does not.
    pub differences: Vec<Difference>,
}

impl CaseRun {
    /// The state of a rule; `None` if the case was refused.
    pub fn state(&self, rule: Idx<Rule>) -> Option<State> {
        self.states.as_ref().map(|states| states[rule])
    }
}

/// One way in which a case differs from what is expected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Difference {
    /// The answers were refused.
    Refused(Vec<Diagnostic>),
    /// Another verdict.
    Verdict {
        /// The verdict that must come out.
        expected: Outcome,
        /// The verdict that came out.
        got: Outcome,
    },
    /// Another urgency of the referral.
    Urgency {
        /// The urgency that must come out.
        expected: Urgency,
        /// The one that came out; `None` where nothing is referred.
        got: Option<Urgency>,
    },
    /// A rule is in another state than expected.
    Rule {
        /// Its id.
        rule: String,
        /// The state that must come out.
        expected: State,
        /// The state that came out.
        got: State,
        /// What it waits for, if it is undetermined.
        waits_for: Vec<String>,
    },
}

/// The last day on which one of these is screened; `None` without cases.
pub fn last_day(cases: &[Case]) -> Option<NaiveDate> {
    cases.iter().map(|case| case.as_of).max()
}

/// Runs all cases, on every core there is. The runs come in the order of the cases.
pub(crate) fn run_all(rule_set: &RuleSet, compiled: &Compiled, cases: &[Case]) -> Vec<CaseRun> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let share = cases.len().div_ceil(cores).max(1);
    let mut runs: Vec<Option<CaseRun>> = cases.iter().map(|_| None).collect();
    std::thread::scope(|scope| {
        for (cases, runs) in cases.chunks(share).zip(runs.chunks_mut(share)) {
            scope.spawn(move || {
                for (case, place) in cases.iter().zip(runs) {
                    *place = Some(run(rule_set, compiled, case));
                }
            });
        }
    });
    runs.into_iter().flatten().collect()
}

/// Runs one case.
pub fn run(rule_set: &RuleSet, compiled: &Compiled, case: &Case) -> CaseRun {
    let (facts, wrong) = facts::read(rule_set, &case.answers, case.as_of);
    if !wrong.is_empty() {
        return CaseRun {
            facts,
            states: None,
            differences: vec![Difference::Refused(wrong)],
        };
    }
    let states = compiled.run(&facts);
    let Standing { outcome, urgency } = standing(rule_set, &states);
    let mut differences = Vec::new();
    if outcome != case.verdict {
        differences.push(Difference::Verdict {
            expected: case.verdict,
            got: outcome,
        });
    }
    if let Some(expected) = case.urgency.filter(|it| urgency != Some(*it)) {
        differences.push(Difference::Urgency {
            expected,
            got: urgency,
        });
    }
    for (at, rule) in rule_set.rule_entries() {
        let state = states[at];
        let expected = expected_state(case, &rule.id);
        if expected != state {
            let waits_for = explain::waits_for(&rule.when, &facts).into_iter();
            let ids = waits_for.map(|slot| rule_set.catalogue.id(slot).to_owned());
            differences.push(Difference::Rule {
                rule: rule.id.clone(),
                expected,
                got: state,
                waits_for: ids.collect(),
            });
        }
    }
    // A rule that local policy took out stays quiet for everybody.
    for gone in rule_set.local.iter().flat_map(LocalPolicy::retired) {
        let (expected, got) = (expected_state(case, gone), State::StaysQuiet);
        if expected != got {
            differences.push(Difference::Rule {
                rule: gone.to_owned(),
                expected,
                got,
                waits_for: Vec::new(),
            });
        }
    }
    CaseRun {
        facts,
        states: Some(states),
        differences,
    }
}

fn expected_state(case: &Case, rule: &str) -> State {
    let holds = |ids: &BTreeSet<String>| ids.contains(rule);
    if holds(&case.fires) {
        State::Fires
    } else if holds(&case.undetermined) {
        State::Undetermined
    } else {
        State::StaysQuiet
    }
}

impl Difference {
    /// One difference in words, a line each: "verdict: expected defer, got go".
    pub(crate) fn in_words(&self) -> Vec<String> {
        match self {
            Self::Refused(found) => {
                let told = found.iter().map(|diagnostic| {
                    let place = diagnostic.place();
                    let place = place.map_or(String::new(), |place| format!(" ({place})"));
                    format!("refused: {}: {diagnostic}{place}", diagnostic.code.name())
                });
                told.collect()
            }
            Self::Verdict { expected, got } => {
                let (expected, got) = (expected.word(), got.word());
                vec![format!("verdict: expected {expected}, got {got}")]
            }
            Self::Urgency { expected, got } => {
                let (expected, got) = (expected.word(), got.map_or("none", |it| it.word()));
                vec![format!("urgency: expected {expected}, got {got}")]
            }
            Self::Rule {
                rule,
                expected,
                got,
                waits_for,
            } => {
                let waits = if waits_for.is_empty() {
                    String::new()
                } else {
                    format!(", waits for {}", waits_for.join(", "))
                };
                let (expected, got) = (expected.word(), got.word());
                vec![format!("{rule}: expected {expected}, got {got}{waits}")]
            }
        }
    }
}
