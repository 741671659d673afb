//! What the cases of a rule set reach: three states of every rule, both sides of every number, and every member of a list
//! of conditions on its own.

use std::cmp::Ordering;
use std::collections::BTreeSet;

use crate::exact::Lit;

use crate::exact::Decider;
use crate::outcome::State;
use crate::quantity::span::Span;
use crate::quantity::when::When;
use crate::questionnaire::facts::{Facts, Value};
use crate::rule_set::words;
use crate::rule_set::words::ConditionPart;
use crate::rule_set::{Condition, Idx, Limit, Rule, RuleSet, Table, Test};
use crate::screening::compile::{Compiled, Prepared};
use crate::truth::FactSlot;
use crate::workbench::cases::CaseRun;
use crate::workbench::cases::read::{Case, Waiver};

/// What the cases reach of one rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reach {
    /// Full id of the rule.
    pub rule: String,
    /// In how many cases it fires, stays quiet, is undetermined.
    pub states: [usize; 3],
    /// Its numbers.
    pub numbers: Vec<Sides>,
    /// The members of its lists of conditions.
    pub members: Vec<Member>,
}

/// The sides of a number on which cases lie.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sides {
    /// The limit, or the number as written, and the fact.
    pub name: String,
    /// Cases below, at and above it.
    pub sides: [bool; 3],
}

/// A member of a list of conditions.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Member {
    /// "only a.x is yes holds, of any(...)" or "only ... fails, of all(...)".
    pub what: String,
    /// In how many cases.
    pub cases: usize,
    /// Whether it can be at all: a case shows it, or some possible patient may be so.
    pub can_be: bool,
}

/// What no case reaches.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gap {
    /// Full id of the rule.
    pub rule: String,
    /// "no case in which it fires", "no case just below inr-ceiling".
    pub what: String,
}

impl Reach {
    /// What no case reaches.
    pub fn gaps(&self) -> Vec<Gap> {
        let states = self
            .states
            .iter()
            .zip(["fires", "stays quiet", "is undetermined"])
            .filter(|(n, _)| **n == 0);
        let mut found: Vec<String> = states
            .map(|(_, words)| format!("no case in which it {words}"))
            .collect();
        for number in &self.numbers {
            let missing = number
                .sides
                .iter()
                .zip(["below", "at", "above"])
                .filter(|(reached, _)| !**reached);
            found.extend(missing.map(|(_, words)| format!("no case {words} {}", number.name)));
        }
        found.extend(
            self.members
                .iter()
                .filter(|it| it.cases == 0 && it.can_be)
                .map(|it| format!("no case in which {}", it.what)),
        );
        found
            .into_iter()
            .map(|what| Gap {
                rule: self.rule.clone(),
                what,
            })
            .collect()
    }
}

/// What the cases reach of each wanted rule, in rule order. What no case reaches the decider may show to be impossible; it
/// is of this rule set alone.
pub fn reached<'a>(
    rule_set: &RuleSet,
    runs: impl IntoIterator<Item = &'a CaseRun>,
    mut decider: Option<&mut Decider<'_>>,
    wanted: impl Fn(&Rule) -> bool,
) -> Vec<Reach> {
    let n_facts = rule_set.catalogue.facts.len();
    let patients = runs.into_iter().filter(|it| it.states.is_some());
    let patients: Vec<(Prepared, &CaseRun)> = patients
        .map(|it| (Prepared::new(n_facts, &it.facts), it))
        .collect();
    let rules = rule_set.rule_entries().filter(|(_, rule)| wanted(rule));
    rules
        .map(|(at, rule)| {
            let mut numbers: Vec<Sides> = Vec::new();
            rule.when.visit(&mut |condition| {
                let Condition::Fact { fact, test } = condition else {
                    return;
                };
                for (name, sides) in sides(rule_set, &patients, *fact, test) {
                    let name = format!("{name} for {}", rule_set.catalogue.id(*fact));
                    if !numbers.iter().any(|it| it.name == name) {
                        let sides = [Ordering::Less, Ordering::Equal, Ordering::Greater]
                            .map(|it| sides.contains(&it));
                        numbers.push(Sides { name, sides });
                    }
                }
            });
            Reach {
                rule: rule.id.clone(),
                states: in_states(patients.iter().map(|(_, run)| *run), at),
                numbers,
                members: members(rule_set, &patients, decider.as_deref_mut(), &rule.when),
            }
        })
        .collect()
}

/// In how many cases each rule fires, stays quiet, and is undetermined.
pub(crate) fn states(rule_set: &RuleSet, runs: &[CaseRun]) -> Table<[usize; 3], Rule> {
    let rules = rule_set.judging.indices();
    rules.map(|at| in_states(runs.iter(), at)).collect()
}

fn in_states<'a>(runs: impl Iterator<Item = &'a CaseRun> + Clone, rule: Idx<Rule>) -> [usize; 3] {
    [State::Fires, State::StaysQuiet, State::Undetermined].map(|state| {
        let so = runs.clone().filter(|run| run.state(rule) == Some(state));
        so.count()
    })
}

/// What no case reaches and nothing waives, in rule order. The same as of all cases and all rules, but found faster: most
/// rules are reached by the cases in the files of their own concern, and only for the others all cases are looked at.
pub(crate) fn open_gaps(
    rule_set: &RuleSet,
    cases: &[Case],
    runs: &[CaseRun],
    mut decider: Option<&mut Decider<'_>>,
    waivers: &[Waiver],
) -> Vec<Gap> {
    let mut doubtful: BTreeSet<String> = BTreeSet::new();
    for (at, concern) in rule_set.concerns.entries() {
        let of_file = |case: &Case| case.source.file_name().starts_with(&concern.id);
        let own = cases
            .iter()
            .zip(runs)
            .filter(|(case, _)| of_file(case))
            .map(|(_, run)| run);
        let reached = reached(rule_set, own, decider.as_deref_mut(), |rule| {
            rule.concern == Some(at)
        });
        let (open, _) = gaps(&reached, waivers, |_| true);
        doubtful.extend(open.into_iter().map(|it| it.rule));
    }
    let reached = reached(rule_set, runs, decider, |rule| doubtful.contains(&rule.id));
    let (open, _) = gaps(&reached, waivers, |_| true);
    open
}

/// Each member of each list: in how many cases it alone holds, or alone fails.
fn members(
    rule_set: &RuleSet,
    patients: &[(Prepared, &CaseRun)],
    mut decider: Option<&mut Decider<'_>>,
    when: &Condition,
) -> Vec<Member> {
    let parts: Table<_> = words::parts(rule_set, when).into_iter().collect();
    let position = |path: &[usize]| parts.position(|it| it.path == path);
    let compiled: Compiled<ConditionPart<'_>> =
        Compiled::conditions(rule_set, parts.iter().map(|it| it.condition));
    let states: Vec<Table<State, ConditionPart<'_>>> = patients
        .iter()
        .map(|(slots, run)| compiled.run_prepared(slots, &run.facts))
        .collect();
    let mut found = Vec::new();
    for list in &parts {
        let (members, own, others, verb) = match list.condition {
            Condition::All(members) if members.len() > 1 => {
                (members, State::StaysQuiet, State::Fires, "fails")
            }
            Condition::Any(members) if members.len() > 1 => {
                (members, State::Fires, State::StaysQuiet, "holds")
            }
            _ => continue,
        };
        let below = |member: usize| {
            list.path
                .iter()
                .copied()
                .chain([member])
                .collect::<Vec<_>>()
        };
        let places: Vec<Idx<ConditionPart<'_>>> = (0..members.len())
            .filter_map(|it| position(&below(it)))
            .collect();
        for (at, member) in places.iter().enumerate() {
            let alone = |of: &&Table<State, ConditionPart<'_>>| {
                places
                    .iter()
                    .all(|it| of[*it] == if it == member { own } else { others })
            };
            let name = &parts[*member].name;
            let cases = states.iter().filter(alone).count();
            let can_be = cases > 0
                || decider
                    .as_deref_mut()
                    .is_none_or(|decider| may_be_alone(decider, members, at, own));
            found.push(Member {
                what: format!("only {name} {verb}, of {}", list.name),
                cases,
                can_be,
            });
        }
    }
    found
}

/// Whether some possible patient may have one member of a list in a state, and all others in the opposite one, without answers
/// that rule one another out: nobody need write a case of those.
fn may_be_alone(
    decider: &mut Decider<'_>,
    members: &[Condition],
    alone: usize,
    state: State,
) -> bool {
    let [judged] = &decider.judgements;
    let mut together: Vec<Lit> = vec![!judged.ruled_out.yes];
    for (at, member) in members.iter().enumerate() {
        let pair = decider.pair(member);
        together.push(if (at == alone) == (state == State::Fires) {
            pair.yes
        } else {
            pair.no
        });
    }
    decider.solver.possible(&together)
}

/// The gaps that nothing waives, and the waivers that waive nothing.
pub fn gaps<'a>(
    reached: &[Reach],
    waivers: &'a [Waiver],
    of: impl Fn(&str) -> bool,
) -> (Vec<Gap>, Vec<&'a Waiver>) {
    let all: Vec<Gap> = reached.iter().flat_map(Reach::gaps).collect();
    let fits = |waiver: &Waiver, gap: &Gap| waiver.rule == gap.rule && waiver.what == gap.what;
    let unused = waivers
        .iter()
        .filter(|it| of(&it.rule) && !all.iter().any(|gap| fits(it, gap)))
        .collect();
    (
        all.iter()
            .filter(|gap| !waivers.iter().any(|it| fits(it, gap)))
            .cloned()
            .collect(),
        unused,
    )
}

/// Each number of a test, with the sides of it on which cases lie.
fn sides(
    rule_set: &RuleSet,
    patients: &[(Prepared, &CaseRun)],
    fact: FactSlot,
    test: &Test,
) -> Vec<(String, BTreeSet<Ordering>)> {
    let name = |limit: Option<Idx<Limit>>, written: String| {
        limit.map_or(written, |at| rule_set.limits[at].id.clone())
    };
    let sides = |side: &dyn Fn(&Facts) -> Option<Ordering>| {
        patients
            .iter()
            .filter_map(|(_, run)| side(&run.facts))
            .collect()
    };
    if let Test::OlderThan(limit) | Test::Within(limit) = test {
        let side = |facts: &Facts| age_beside(facts, fact, &limit.span);
        return vec![(name(limit.limit, limit.span.to_string()), sides(&side))];
    }
    let thresholds = test.thresholds().into_iter();
    thresholds
        .map(|threshold| {
            let side = |facts: &Facts| facts.number(fact)?.partial_cmp(&threshold.value);
            (
                name(threshold.limit, threshold.written.clone()),
                sides(&side),
            )
        })
        .collect()
}

/// Whether a date is younger than, exactly as old as, or older than a span on the day of surgery.
fn age_beside(facts: &Facts, fact: FactSlot, span: &Span) -> Option<Ordering> {
    let on = facts.procedure_on()?;
    let Value::Date(taken) = facts.known(fact)?.value else {
        return None;
    };
    if When::age_exceeds(&taken, &on, span) {
        return Some(Ordering::Greater);
    }
    // Exactly as old: a moment later it would be older.
    let moment_later = match (on.time, taken.time, span.minutes()) {
        (Some(_), Some(_), Some(_)) => later(&on, chrono::TimeDelta::minutes(1)),
        _ => later(&on, chrono::TimeDelta::days(1)),
    }?;
    Some(if When::age_exceeds(&taken, &moment_later, span) {
        Ordering::Equal
    } else {
        Ordering::Less
    })
}

fn later(when: &When, by: chrono::TimeDelta) -> Option<When> {
    let moment = when
        .date
        .and_time(when.time.unwrap_or(chrono::NaiveTime::MIN))
        .checked_add_signed(by)?;
    Some(When {
        date: moment.date(),
        time: when.time.map(|_| moment.time()),
    })
}
