//! Proves what a rule set guarantees, over every possible questionnaire, or finds one that breaks it.

use crate::exact::Lit;
use chrono::NaiveDate;

use crate::exact::domain::Shape;
use crate::exact::{
    Decider, DualRail, Encoding, Found, Judgement, TooLarge, Viewpoint, Witness, irreducible,
    of_answers,
};
use crate::outcome::State;
use crate::outcome::{Outcome, Standing, Urgency};
use crate::questionnaire::facts;
use crate::questionnaire::facts::{Facts, truth_of};
use crate::rule_set::{Condition, Guarantee, Promise, RuleSet, Sense, Then};
use crate::screening::compile::Compiled;
use crate::screening::evaluate::{States, span, standing};
use crate::screening::screener::Screener;
use crate::truth::Truth;
use crate::workbench::cases::read::Case;

/// What became of one guarantee.
#[derive(Debug)]
pub enum Proof {
    /// It holds for every possible questionnaire.
    Proved,
    /// These questionnaires break it: one, or one before and after further answers.
    Broken(Vec<Witness>),
    /// It could not be decided over every questionnaire, because of this fact, but a worked case breaks it.
    BrokenByCase {
        /// The fact.
        fact: String,
        /// The title of the case.
        case: String,
    },
    /// No questionnaire is as it says, so that it guarantees nothing.
    Idle,
    /// It was neither proved nor broken, because of this fact. None of so many worked cases breaks it.
    Open {
        /// The fact.
        fact: String,
        /// How many cases were tried.
        n_cases: usize,
    },
}

impl Proof {
    /// The word of reports.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Proved => "proved",
            Self::Broken(_) | Self::BrokenByCase { .. } => "broken",
            Self::Idle => "idle",
            Self::Open { .. } => "open",
        }
    }
}

/// What is to be proved of a rule set: its own guarantees, then the promises that it does not list.
pub(crate) fn stated(rule_set: &RuleSet) -> Vec<Guarantee> {
    let catalogue = &rule_set.catalogue;
    let is_listed = |promise: Promise| {
        rule_set
            .guarantees
            .iter()
            .any(|it| it.then == Then::Promise(promise))
    };
    let is_about_something = |promise: Promise| match promise {
        Promise::UnknownMedicineWaits => catalogue.medicines.is_some(),
        Promise::UnknownAllergyWaits => catalogue.allergies.is_some(),
        _ => true,
    };
    let unlisted = Promise::ALL
        .into_iter()
        .filter(|it| !is_listed(*it) && is_about_something(*it));
    let built_in = unlisted.map(|promise| Guarantee {
        id: format!("built-in-{}", promise.word()),
        title: upper_first(promise.in_words()),
        concern: None,
        wheres: Vec::new(),
        then: Then::Promise(promise),
        because: "It is promised of every rule set.".to_owned(),
    });
    rule_set
        .guarantees
        .iter()
        .cloned()
        .chain(built_in)
        .collect()
}

fn upper_first(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// Proves each wanted one of what is `stated`, in that order, each with its position.
///
/// Where the rule set is too large to decide, or an example cannot be settled, the worked cases are searched instead, and
/// the guarantee is left open unless one of them breaks it.
pub fn prove(
    rule_set: &RuleSet,
    cases: &[Case],
    as_of: NaiveDate,
    wanted: impl Fn(&Guarantee) -> bool,
) -> Vec<(usize, Proof)> {
    let stated = stated(rule_set);
    let further: Vec<&Condition> = stated
        .iter()
        .flat_map(|it| &it.wheres)
        .map(|(_, it)| it)
        .collect();
    let guarantees = stated.iter().enumerate().filter(|(_, it)| wanted(it));
    let people = people(rule_set, cases);
    match Decider::new(&[rule_set], &further, as_of) {
        Ok(decider) => {
            let mut prover = Prover {
                rule_set,
                decider,
                further,
                added: None,
                people: &people,
            };
            guarantees.map(|(at, it)| (at, prover.one(it))).collect()
        }
        Err(TooLarge { fact, of }) => {
            let why = format!("{fact} ({of})");
            guarantees
                .map(|(at, it)| (at, among_cases(rule_set, &people, it, &why)))
                .collect()
        }
    }
}

struct Prover<'a> {
    rule_set: &'a RuleSet,
    decider: Decider<'a>,
    /// The conditions of the guarantees: both patients of a promise are cut for them.
    further: Vec<&'a Condition>,
    /// The same patient with answers added, once some promise needs one.
    added: Option<(Encoding, Judgement)>,
    /// The worked cases that can be read.
    people: &'a [(&'a Case, Facts)],
}

impl Prover<'_> {
    fn one(&mut self, guarantee: &Guarantee) -> Proof {
        if let Then::Promise(promise) = guarantee.then {
            return self.promise(guarantee, promise);
        }
        let mut together: Vec<Lit> = Vec::new();
        for (sense, condition) in &guarantee.wheres {
            together.extend(in_sense(*sense, self.decider.pair(condition)));
        }
        if !self.decider.solver.possible(&together) {
            return Proof::Idle;
        }
        let rule_set = self.rule_set;
        let broken = [together.as_slice(), &[self.broken(&guarantee.then)]].concat();
        let found = self.decider.find(&broken, &|seen| {
            seen.iter()
                .all(|it| breaks(rule_set, guarantee, &it.facts, &it.states))
        });
        // Nobody breaks it; perhaps nobody is as it says either, since no numbers come out so. A worked case shows it soonest.
        if matches!(found, Found::Never)
            && !self.people.iter().any(|(_, it)| concerns(guarantee, it))
            && matches!(
                self.decider.find(&together, &|seen| seen
                    .iter()
                    .all(|it| concerns(guarantee, &it.facts))),
                Found::Never
            )
        {
            return Proof::Idle;
        }
        self.settled(guarantee, found)
    }

    fn settled(&self, guarantee: &Guarantee, found: Found) -> Proof {
        match found {
            Found::Never => Proof::Proved,
            Found::Example(seen) => Proof::Broken(seen),
            Found::Open(fact) => match known(self.rule_set, self.people, guarantee) {
                Some(seen) => Proof::Broken(vec![seen]),
                None => among_cases(self.rule_set, self.people, guarantee, &fact),
            },
        }
    }

    /// Where what must come out does not.
    fn broken(&mut self, then: &Then) -> Lit {
        let [judgement] = &self.decider.judgements;
        let [refers, ..] = judgement.refers;
        let goes = judgement.goes;
        match then {
            Then::Never(outcomes) => {
                let solver = &mut self.decider.solver;
                let ways: Vec<Lit> = outcomes
                    .iter()
                    .map(|outcome| match outcome {
                        Outcome::Go => goes,
                        Outcome::Refer => refers,
                        Outcome::Defer => solver.all([!goes, !refers]),
                    })
                    .collect();
                solver.any(ways)
            }
            Then::Fires(rules) => {
                let firing: Vec<Lit> = rules.iter().map(|at| !judgement.rules[*at].yes).collect();
                self.decider.solver.all(firing)
            }
            Then::UrgencyAtLeast(urgency) => !pressing(judgement, *urgency),
            Then::Promise(_) => self.decider.solver.never(),
        }
    }

    fn promise(&mut self, guarantee: &Guarantee, promise: Promise) -> Proof {
        let rule_set = self.rule_set;
        let mut together = match promise {
            Promise::UnknownMedicineWaits | Promise::UnknownAllergyWaits => {
                let slot = if promise == Promise::UnknownMedicineWaits {
                    rule_set.catalogue.medicines
                } else {
                    rule_set.catalogue.allergies
                };
                let shape = slot
                    .and_then(|it| self.decider.encoding.domain(0, it))
                    .map(|it| it.shape.clone());
                let unread: Vec<Lit> = match shape {
                    Some(Shape::Medicines { unrecognised, .. }) => unrecognised,
                    Some(Shape::Allergies(kinds)) => kinds
                        .into_iter()
                        .filter(|(it, _)| !it.recognised)
                        .map(|(_, it)| it)
                        .collect(),
                    _ => Vec::new(),
                };
                let unread = self.decider.solver.any(unread);
                if !self.decider.solver.possible(&[unread]) {
                    return Proof::Idle;
                }
                vec![unread]
            }
            Promise::NothingAnsweredWaits => {
                let space = &self.decider.encoding;
                let offers = space.offers.values().map(|(listed, _)| !*listed);
                let answers = space.domains.values().map(|it| !it.known);
                answers.chain(offers).collect()
            }
            Promise::EstablishedFindingsStay
            | Promise::SpanNarrows
            | Promise::RemovingNeverGoes => return self.before_and_after(guarantee, promise),
        };
        let [judged] = &self.decider.judgements;
        together.push(judged.goes);
        let found = self.decider.find(&together, &|seen| {
            seen.iter()
                .all(|it| verdict(rule_set, &it.states) == Outcome::Go)
        });
        self.settled(guarantee, found)
    }

    /// One patient before and after further answers.
    fn before_and_after(&mut self, guarantee: &Guarantee, promise: Promise) -> Proof {
        let (after, judged) = match self.added.take() {
            Some(it) => it,
            None => match self.decider.answered_further(&self.further) {
                Ok(Some(it)) => it,
                Ok(None) => {
                    let fact = "the two patients of the promise".to_owned();
                    return Proof::Open { fact, n_cases: 0 };
                }
                Err(TooLarge { fact, .. }) => return Proof::Open { fact, n_cases: 0 },
            },
        };
        let rule_set = self.rule_set;
        let [before] = &self.decider.judgements;
        let solver = &mut self.decider.solver;
        let mut together = Vec::new();
        match promise {
            Promise::EstablishedFindingsStay => {
                let lifted: Vec<Lit> = before
                    .rules
                    .iter()
                    .zip(&judged.rules)
                    .map(|(a, b)| solver.all([a.yes, !b.yes]))
                    .collect();
                together.push(solver.any(lifted));
            }
            Promise::SpanNarrows => {
                let mut ways = Vec::new();
                for least in [Outcome::Defer, Outcome::Refer] {
                    let of = |judgement: &Judgement, yes: bool| -> Vec<Lit> {
                        let rules = rule_set
                            .judging
                            .iter()
                            .zip(&judgement.rules)
                            .filter(|(rule, _)| rule.outcome >= least);
                        rules
                            .map(|(_, it)| if yes { it.yes } else { !it.no })
                            .collect()
                    };
                    for yes in [true, false] {
                        let (one, other) =
                            (solver.any(of(before, yes)), solver.any(of(&judged, yes)));
                        // The best case fell, or the worst case rose.
                        ways.push(if yes {
                            solver.all([one, !other])
                        } else {
                            solver.all([!one, other])
                        });
                    }
                }
                together.push(solver.any(ways));
                together.push(judged.ruled_out.no);
            }
            _ => together.extend([before.goes, !judged.goes, judged.ruled_out.no]),
        }
        let everybody = [
            Viewpoint {
                encoding: None,
                view: 0,
            },
            Viewpoint {
                encoding: Some(&after),
                view: 0,
            },
        ];
        let found = self
            .decider
            .find_among(&everybody, &together, &|seen| match seen {
                [before, after] => promise_breaks(rule_set, promise, before, after),
                _ => false,
            });
        let proof = self.settled(guarantee, found);
        self.added = Some((after, judged));
        proof
    }
}

fn pressing(judgement: &Judgement, urgency: Urgency) -> Lit {
    let [routine, urgent, same_day] = judgement.refers;
    match urgency {
        Urgency::Routine => routine,
        Urgency::Urgent => urgent,
        Urgency::SameDay => same_day,
    }
}

fn in_sense(sense: Sense, pair: DualRail) -> Vec<Lit> {
    match sense {
        Sense::Holds => vec![pair.yes],
        Sense::MayHold => vec![!pair.no],
        Sense::Fails => vec![pair.no],
        Sense::Open => vec![!pair.yes, !pair.no],
    }
}

fn verdict(rule_set: &RuleSet, states: &States) -> Outcome {
    standing(rule_set, states).outcome
}

/// Whether a patient, judged so, really breaks a guarantee.
pub fn breaks(rule_set: &RuleSet, guarantee: &Guarantee, facts: &Facts, states: &States) -> bool {
    concerns(guarantee, facts) && !comes_out(rule_set, &guarantee.then, states)
}

/// Whether a patient is one of those that a guarantee speaks of.
fn concerns(guarantee: &Guarantee, facts: &Facts) -> bool {
    guarantee.wheres.iter().all(|(sense, condition)| {
        let truth = truth_of::truth(condition, facts);
        match sense {
            Sense::Holds => truth == Truth::Yes,
            Sense::MayHold => truth != Truth::No,
            Sense::Fails => truth == Truth::No,
            Sense::Open => matches!(truth, Truth::Unknown(_)),
        }
    })
}

fn comes_out(rule_set: &RuleSet, then: &Then, states: &States) -> bool {
    let Standing { outcome, urgency } = standing(rule_set, states);
    match then {
        Then::Never(outcomes) => !outcomes.contains(&outcome),
        Then::Fires(rules) => rules.iter().any(|at| states[*at] == State::Fires),
        Then::UrgencyAtLeast(least) => {
            outcome == Outcome::Refer && urgency.is_some_and(|it| it >= *least)
        }
        Then::Promise(_) => true,
    }
}

fn promise_breaks(rule_set: &RuleSet, promise: Promise, before: &Witness, after: &Witness) -> bool {
    let lifted = before
        .states
        .iter()
        .zip(&after.states)
        .any(|(a, b)| *a == State::Fires && *b != State::Fires);
    let (a, b) = (
        span(rule_set, &before.states),
        span(rule_set, &after.states),
    );
    match promise {
        Promise::EstablishedFindingsStay => lifted,
        Promise::SpanNarrows => {
            b.best_case.outcome < a.best_case.outcome || b.worst_case.outcome > a.worst_case.outcome
        }
        Promise::RemovingNeverGoes => a.verdict() == Standing::GO && b.verdict() != Standing::GO,
        _ => verdict(rule_set, &before.states) == Outcome::Go,
    }
}

/// A guarantee that cannot be decided: no proof, but perhaps a worked case that breaks it.
fn among_cases(
    rule_set: &RuleSet,
    people: &[(&Case, Facts)],
    guarantee: &Guarantee,
    fact: &str,
) -> Proof {
    let compiled = Compiled::new(rule_set);
    match people
        .iter()
        .find(|(_, facts)| breaks(rule_set, guarantee, facts, &compiled.run(facts)))
    {
        Some((case, _)) => Proof::BrokenByCase {
            fact: fact.to_owned(),
            case: case.title.clone(),
        },
        None => Proof::Open {
            fact: fact.to_owned(),
            n_cases: people.len(),
        },
    }
}

/// The first worked case that breaks it, as a questionnaire with every answer left out that can be. Whoever is known is
/// shown, where the solver finds nobody.
fn known(rule_set: &RuleSet, people: &[(&Case, Facts)], guarantee: &Guarantee) -> Option<Witness> {
    let compiled = Compiled::new(rule_set);
    let is_broken = |facts: &Facts| breaks(rule_set, guarantee, facts, &compiled.run(facts));
    let (case, _) = people.iter().find(|(_, facts)| is_broken(facts))?;
    let screener = Screener::new(rule_set, case.as_of);
    let answers = irreducible(&case.answers, &|without| {
        screener.facts(without).is_ok_and(|it| is_broken(&it))
    });
    of_answers(&screener, &answers, case.as_of).filter(|it| is_broken(&it.facts))
}

/// The worked cases that can be read, with their facts.
fn people<'a>(rule_set: &RuleSet, cases: &'a [Case]) -> Vec<(&'a Case, Facts)> {
    let read = cases
        .iter()
        .map(|it| (it, facts::read(rule_set, &it.answers, it.as_of)));
    read.filter(|(_, (_, wrong))| wrong.is_empty())
        .map(|(case, (facts, _))| (case, facts))
        .collect()
}
