//! Tries the cases: changes the rule set one small step at a time and finds the changes that no case notices.
//!
//! A change is noticed when some case comes out otherwise: the state of a rule, the verdict, or the urgency that the case
//! tells. Facts are computed once for each case; only what was changed is evaluated again. A change of rules that no case
//! notices is held against every possible patient (`equivalent`), since it may come to the same.
//!
//! Coverage says that a case comes by; a mutant says whether the case would notice a slip. Changed
//! are: every comparison by direction and bound; every number by one in its last written decimal,
//! spans by one unit; `all` read as `any`; each member, branch, option, name and reaction left out;
//! each test negated; each class replaced by those directly above and below it; each outcome and
//! urgency; each limit in all rules at once; each number that a formula is given or that the
//! register of anaesthetics holds, but the strengths, which only say what may be answered. Only the
//! changed rule is evaluated again, until the first case that notices. With `--only` the cases of
//! other files do not count, so that more may be listed than in a full run.

use crate::outcome::State;
use crate::outcome::{Outcome, Standing, Urgency};
use crate::questionnaire::facts::Facts;
use crate::rule_set::{Agent, Condition, Derived, Idx, Input, Rule, RuleSet};
use crate::screening::compile::{Compiled, Prepared};
use crate::screening::evaluate::{States, span_if};
use crate::workbench::cases::read::{Case, Waiver};

use crate::workbench::cases::{CaseRun, last_day};

pub mod equivalent;
pub(crate) mod steps;

/// What kind of step a change is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum StepKind {
    /// Another direction, or a bound in or out.
    Comparison,
    /// A number by its smallest step.
    Number,
    /// All read as any, or any as all.
    AllAny,
    /// A member of a list of conditions left out.
    Member,
    /// A `not` removed, or a test negated.
    Negation,
    /// An option left out.
    Choice,
    /// A class, a name of a list, a count of medicines, a reaction.
    Class,
    /// Another outcome.
    Outcome,
    /// Another urgency.
    Urgency,
    /// A limit in every rule that uses it.
    Limit,
    /// A number that a formula is given.
    Derived,
    /// A number of an anaesthetic.
    Anaesthetic,
}

impl StepKind {
    /// Every kind, in the order of reports.
    pub const ALL: [Self; 12] = [
        Self::Comparison,
        Self::Number,
        Self::AllAny,
        Self::Member,
        Self::Negation,
        Self::Choice,
        Self::Class,
        Self::Outcome,
        Self::Urgency,
        Self::Limit,
        Self::Derived,
        Self::Anaesthetic,
    ];

    /// In words for reports.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Comparison => "comparisons",
            Self::Number => "numbers in rules",
            Self::AllAny => "all read as any",
            Self::Member => "members left out",
            Self::Negation => "negations",
            Self::Choice => "options left out",
            Self::Class => "classes and names",
            Self::Outcome => "outcomes",
            Self::Urgency => "urgencies",
            Self::Limit => "limits in all rules",
            Self::Derived => "numbers in formulas",
            Self::Anaesthetic => "anaesthetics",
        }
    }
}

/// What became of a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// Some case comes out otherwise.
    Noticed,
    /// No case does, nor any possible patient: it is proved to come to the same.
    Equivalent,
    /// No case does; some patient may.
    Unnoticed,
}

/// A rule with something else in place of its own.
#[derive(Debug, Clone)]
pub struct Changed {
    /// Which one.
    pub at: Idx<Rule>,
    /// Its condition.
    pub when: Condition,
    /// Its outcome.
    pub outcome: Outcome,
    /// Its urgency.
    pub urgency: Option<Urgency>,
}

impl Changed {
    /// A rule as it is.
    fn none(at: Idx<Rule>, rule: &Rule) -> Self {
        Self {
            at,
            when: rule.when.clone(),
            outcome: rule.outcome,
            urgency: rule.urgency,
        }
    }
}

/// One small change, and what became of it.
#[derive(Debug, Clone)]
pub struct Mutant {
    /// Full id of the rule, or what else was changed: `limits/x`, `derived.x`, `anaesthetics/x`.
    pub rule: String,
    /// What kind of step.
    pub kind: StepKind,
    /// What was changed, in words.
    pub what: String,
    /// The way to the changed part of the condition; `None` if something else was changed.
    pub path: Option<Vec<usize>>,
    /// The rules that are changed; none where a number outside the rules is.
    pub rules: Vec<Changed>,
    /// What became of it.
    pub fate: Fate,
}

impl Mutant {
    /// A change of something else than a condition: of these rules, or of none.
    fn new(of: String, kind: StepKind, what: String, rules: Vec<Changed>, noticed: bool) -> Self {
        Self {
            rule: of,
            kind,
            what,
            path: None,
            rules,
            fate: if noticed {
                Fate::Noticed
            } else {
                Fate::Unnoticed
            },
        }
    }
}

/// A case laid out for many evaluations.
struct PreparedCase<'a> {
    case: &'a Case,
    facts: &'a Facts,
    states: &'a States,
    slots: Prepared,
}

/// What the cases are held to.
struct CaseTrial<'a> {
    patients: Vec<PreparedCase<'a>>,
    found: Vec<Mutant>,
}

/// Every change of the wanted rules, and, if all rules are wanted, of the numbers that stand outside them. The cases must
/// come out as expected.
pub fn try_all<'a>(
    rule_set: &mut RuleSet,
    cases: &'a [Case],
    runs: &'a [CaseRun],
    wanted: impl Fn(&Rule) -> bool,
) -> Vec<Mutant> {
    let n_facts = rule_set.catalogue.facts.len();
    let prepared = |(case, run): (&'a Case, &'a CaseRun)| {
        Some(PreparedCase {
            case,
            facts: &run.facts,
            states: run.states.as_ref()?,
            slots: Prepared::new(n_facts, &run.facts),
        })
    };
    let patients = cases.iter().zip(runs).filter_map(prepared).collect();
    let mut trial = CaseTrial {
        patients,
        found: Vec::new(),
    };
    for (at, rule) in rule_set.rule_entries().filter(|(_, rule)| wanted(rule)) {
        trial.conditions(rule_set, at, rule);
        trial.outcomes(rule_set, at, rule);
    }
    if rule_set.rules().all(&wanted) {
        trial.limits(rule_set);
        trial.formulas(rule_set);
        trial.anaesthetics(rule_set);
    }
    let mut found = trial.found;
    if let Some(as_of) = last_day(cases) {
        let mut unnoticed: Vec<&mut Mutant> = found
            .iter_mut()
            .filter(|mutant| mutant.fate == Fate::Unnoticed)
            .collect();
        let changes: Vec<&[Changed]> = unnoticed
            .iter()
            .map(|mutant| mutant.rules.as_slice())
            .collect();
        let proved = equivalent::proved(rule_set, &changes, as_of);
        for (mutant, _) in unnoticed
            .iter_mut()
            .zip(proved)
            .filter(|(_, proved)| *proved)
        {
            mutant.fate = Fate::Equivalent;
        }
    }
    found
}

/// The changes that no case noticed, that are not proved to come to the same and that nothing waives, and the waivers that
/// waive nothing.
pub fn survivors<'a>(
    mutants: &'a [Mutant],
    waivers: &'a [Waiver],
    of: impl Fn(&str) -> bool,
) -> (Vec<&'a Mutant>, Vec<&'a Waiver>) {
    let fits =
        |waiver: &Waiver, mutant: &Mutant| waiver.rule == mutant.rule && waiver.what == mutant.what;
    let unnoticed: Vec<&Mutant> = mutants
        .iter()
        .filter(|mutant| mutant.fate == Fate::Unnoticed)
        .collect();
    let unused = waivers
        .iter()
        .filter(|waiver| of(&waiver.rule) && !unnoticed.iter().any(|mutant| fits(waiver, mutant)))
        .collect();
    let left = unnoticed
        .into_iter()
        .filter(|mutant| !waivers.iter().any(|waiver| fits(waiver, mutant)))
        .collect();
    (left, unused)
}

impl CaseTrial<'_> {
    fn conditions(&mut self, rule_set: &RuleSet, at: Idx<Rule>, rule: &Rule) {
        let steps = steps::of(rule_set, &rule.when);
        let changed: Vec<&Condition> = steps.iter().map(|it| &it.when).collect();
        let noticed = self.notice(rule_set, at, &changed);
        for (step, noticed) in steps.into_iter().zip(noticed) {
            let changed = Changed {
                when: step.when,
                ..Changed::none(at, rule)
            };
            let (id, rules) = (rule.id.clone(), vec![changed]);
            self.found.push(Mutant {
                path: Some(step.path),
                ..Mutant::new(id, step.kind, step.what, rules, noticed)
            });
        }
    }

    /// For each condition, whether some case sees a rule that has it in another state.
    fn notice(&self, rule_set: &RuleSet, at: Idx<Rule>, changed: &[&Condition]) -> Vec<bool> {
        let mut noticed = vec![false; changed.len()];
        // Most changes are noticed by the first few cases that name the rule; those that are left go on.
        let names = |it: &&PreparedCase<'_>| it.states[at] != State::StaysQuiet;
        let ordered: Vec<&PreparedCase<'_>> = self
            .patients
            .iter()
            .filter(names)
            .chain(self.patients.iter().filter(|it| !names(it)))
            .collect();
        let mut rest = ordered.as_slice();
        let mut size = 8;
        while !rest.is_empty() {
            let pairs = changed.iter().zip(&mut noticed);
            let mut open: Vec<(&Condition, &mut bool)> = pairs
                .filter(|(_, noticed)| !**noticed)
                .map(|(when, noticed)| (*when, noticed))
                .collect();
            if open.is_empty() {
                break;
            }
            let conditions = open.iter().map(|(when, _)| *when);
            let compiled: Compiled<Condition> = Compiled::conditions(rule_set, conditions);
            let (now, later) = rest.split_at(size.min(rest.len()));
            for patient in now {
                let states = compiled.run_prepared(&patient.slots, patient.facts);
                for ((_, noticed), state) in open.iter_mut().zip(&states) {
                    **noticed |= *state != patient.states[at];
                }
            }
            (rest, size) = (later, size * 4);
        }
        noticed
    }

    /// Each other outcome of a rule, and each other urgency of one that refers.
    fn outcomes(&mut self, rule_set: &RuleSet, at: Idx<Rule>, rule: &Rule) {
        let own = rule.standing();
        let outcomes = [Outcome::Go, Outcome::Defer, Outcome::Refer];
        let outcomes = outcomes.into_iter().filter(|it| *it != own.outcome);
        let outcomes = outcomes.map(|outcome| {
            let (word, was) = (outcome.word(), own.outcome.word());
            let what = format!("outcome {word} instead of {was}");
            (StepKind::Outcome, what, Standing { outcome, ..own })
        });
        let urgencies = own.urgency.into_iter().flat_map(|was| {
            let others = [Urgency::Routine, Urgency::Urgent, Urgency::SameDay];
            let others = others.into_iter().filter(move |it| *it != was);
            others.map(move |it| {
                let what = format!("urgency {} instead of {}", it.word(), was.word());
                let urgency = Some(it);
                (StepKind::Urgency, what, Standing { urgency, ..own })
            })
        });
        for (kind, what, instead) in outcomes.chain(urgencies) {
            let asks = |of: Idx<Rule>, it: &Rule| if of == at { instead } else { it.standing() };
            let noticed = self.patients.iter().any(|patient| {
                let verdict = span_if(rule_set, patient.states, asks).verdict();
                verdict.outcome != patient.case.verdict
                    || (patient.case.urgency.is_some() && verdict.urgency != patient.case.urgency)
            });
            let rules = vec![Changed {
                outcome: instead.outcome,
                urgency: instead.urgency,
                ..Changed::none(at, rule)
            }];
            let id = rule.id.clone();
            self.found.push(Mutant::new(id, kind, what, rules, noticed));
        }
    }

    /// Each limit, in all rules at once.
    fn limits(&mut self, rule_set: &RuleSet) {
        for (limit, named) in rule_set.limits.entries() {
            for up in [false, true] {
                let changed = |(at, rule): (Idx<Rule>, &Rule)| {
                    Some(Changed {
                        when: steps::with_limit(&rule.when, limit, up)?,
                        ..Changed::none(at, rule)
                    })
                };
                let rules: Vec<Changed> = rule_set.rule_entries().filter_map(changed).collect();
                let Some(written) =
                    steps::limit_written(rule_set, limit, up).filter(|_| !rules.is_empty())
                else {
                    continue;
                };
                let noticed = rules.iter().any(|changed| {
                    self.notice(rule_set, changed.at, &[&changed.when])
                        .contains(&true)
                });
                let what = format!("{written} instead of {}", named.written);
                let (of, kind) = (format!("limits/{}", named.id), StepKind::Limit);
                self.found.push(Mutant::new(of, kind, what, rules, noticed));
            }
        }
    }

    /// Each number that a formula is given.
    fn formulas(&mut self, rule_set: &mut RuleSet) {
        let compiled = Compiled::new(rule_set);
        for at in rule_set.catalogue.derived.indices() {
            let derived = &rule_set.catalogue.derived[at];
            let (id, inputs, roles) = (
                derived.id.clone(),
                derived.inputs.clone(),
                derived.formula.roles,
            );
            for (place, (input, role)) in inputs.iter().zip(roles).enumerate() {
                let Input::Limit(limit, number) = input else {
                    continue;
                };
                for (written, _, other) in [false, true]
                    .into_iter()
                    .filter_map(|up| steps::stepped(&number.to_string(), up))
                {
                    put_input(rule_set, at, place, Input::Limit(*limit, other));
                    let noticed = self.derives_otherwise(rule_set, &compiled);
                    put_input(rule_set, at, place, *input);
                    let what = format!("{} {written} instead of {number}", role.name);
                    let (of, kind) = (id.clone(), StepKind::Derived);
                    self.found
                        .push(Mutant::new(of, kind, what, Vec::new(), noticed));
                }
            }
        }
    }

    /// Each number of each anaesthetic, but the strengths: they say what an answer may be, and decide nothing.
    fn anaesthetics(&mut self, rule_set: &mut RuleSet) {
        let compiled = Compiled::new(rule_set);
        for at in rule_set.agents.indices() {
            let agent = rule_set.agents[at].clone();
            for (what, changed) in other_agents(&agent) {
                rule_set.agents[at] = changed;
                let noticed = self.derives_otherwise(rule_set, &compiled);
                let (of, kind) = (format!("anaesthetics/{}", agent.id), StepKind::Anaesthetic);
                self.found
                    .push(Mutant::new(of, kind, what, Vec::new(), noticed));
            }
            rule_set.agents[at] = agent;
        }
    }

    /// Whether some case comes out otherwise once the derived facts are computed anew.
    fn derives_otherwise(&self, rule_set: &RuleSet, compiled: &Compiled) -> bool {
        self.patients.iter().any(|patient| {
            let facts = patient.facts.derived_by(rule_set);
            facts.rows() != patient.facts.rows() && compiled.run(&facts) != *patient.states
        })
    }
}

fn put_input(rule_set: &mut RuleSet, derived: Idx<Derived>, place: usize, input: Input) {
    if let Some(it) = rule_set.catalogue.derived[derived].inputs.get_mut(place) {
        *it = input;
    }
}

/// An anaesthetic with each of its numbers a step lower and higher.
fn other_agents(agent: &Agent) -> Vec<(String, Agent)> {
    type LimitField = fn(&mut crate::rule_set::AgentLimit) -> Option<&mut f64>;
    let places: [(&str, LimitField); 4] = [
        ("per_kg", |it| Some(&mut it.per_kg)),
        ("at_most", |it| it.at_most.as_mut()),
        ("from_age", |it| it.from_age.as_mut()),
        ("below_age", |it| it.below_age.as_mut()),
    ];
    let mut found = Vec::new();
    for up in [false, true] {
        for row in 0..agent.limits.len() {
            for (name, place) in places {
                let mut changed = agent.clone();
                let Some(number) = changed.limits.get_mut(row).and_then(place) else {
                    continue;
                };
                let old = *number;
                let Some((written, _, other)) = steps::stepped(&old.to_string(), up) else {
                    continue;
                };
                *number = other;
                found.push((
                    format!("row {}, {name} {written} instead of {old}", row + 1),
                    changed,
                ));
            }
        }
        if let Some((old, (written, _, other))) = agent
            .per_site
            .and_then(|old| Some((old, steps::stepped(&old.to_string(), up)?)))
        {
            let changed = Agent {
                per_site: Some(other),
                ..agent.clone()
            };
            found.push((format!("per_site {written} instead of {old}"), changed));
        }
    }
    found
}
