//! The smallest sets of changes that give a better verdict. Knows nothing of what may be changed, or why.
//!
//! Exact by construction: while a rule stands in the way of a better verdict, some fact that it reads must become
//! otherwise. So each step takes one such rule and tries every change that can reach it; a rule that none can reach
//! ends the search at once. Nothing is sampled.

use std::cell::Cell;
use std::collections::{BTreeMap, BTreeSet};

use crate::outcome::{Outcome, Standing, State};
use crate::quantity::when::When;
use crate::questionnaire::facts::answers::date_in_words;
use crate::questionnaire::facts::derive::behind;
use crate::questionnaire::facts::{Fact, Facts, Known, Value, chosen_in_words};
use crate::rule_set::{Bits, Condition, Conflict, Dependent, Idx, Question, RuleSet, Table, Test};
use crate::screening::compile::{Compiled, Kept};
use crate::screening::evaluate::{States, standing};
use crate::truth::{FactSlot, Slot};

/// The options of a yes/no question, by position.
pub(crate) const YES_NO: [&str; 2] = ["no", "yes"];

/// One thing that may be otherwise, in one of several ways.
#[derive(Debug, Clone)]
pub(crate) struct Lever {
    /// The answer that would change.
    pub slot: FactSlot,
    /// The ways.
    pub edits: Table<Edit>,
}

/// One way in which an answer may be otherwise.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Edit {
    /// These facts instead.
    Put(Vec<(FactSlot, Fact)>),
    /// Of several options, this one chosen or not chosen, the others as they are.
    Choose {
        /// The question.
        slot: FactSlot,
        /// The option, by position.
        option: u16,
        /// Whether it is chosen.
        chosen: bool,
    },
}

impl Lever {
    /// One choice, with the texts of its options: made otherwise, where that option may be.
    pub(crate) fn choice<'a>(
        slot: FactSlot,
        texts: impl Iterator<Item = &'a str>,
        facts: &Facts,
        may_be: impl Fn(u16) -> bool,
    ) -> Self {
        let now = facts.known(slot).map(|it| &it.value);
        let options = texts
            .enumerate()
            .filter_map(|(at, text)| Some((u16::try_from(at).ok()?, text)));
        let others = options.filter(|(at, _)| may_be(*at) && now != Some(&Value::Choice(*at)));
        let edits =
            others.map(|(at, text)| Edit::Put(vec![(slot, Fact::made(Value::Choice(at), text))]));
        Self {
            slot,
            edits: edits.collect(),
        }
    }

    /// Several options, of which these bits are chosen: each alone chosen or not chosen, where that may be.
    pub(crate) fn flips(
        slot: FactSlot,
        n_options: usize,
        bits: u64,
        may_be: impl Fn(u16, bool) -> bool,
    ) -> Vec<Self> {
        let options = (0..n_options)
            .filter_map(|at| u16::try_from(at).ok())
            .map(|at| (at, bits >> at & 1 == 0));
        let flips = options.filter(|(option, chosen)| may_be(*option, *chosen));
        flips
            .map(|(option, chosen)| Self {
                slot,
                edits: Table::from_iter([Edit::Choose {
                    slot,
                    option,
                    chosen,
                }]),
            })
            .collect()
    }
}

/// One lever, and one of its edits.
pub(crate) type LeverStep = (Idx<Lever>, Idx<Edit>);

/// One set of changes and what it leads to.
#[derive(Debug, Clone)]
pub(crate) struct ChangeSet {
    /// The changes, by lever.
    pub steps: Vec<LeverStep>,
    /// The facts they make.
    pub facts: Facts,
    /// The state of every rule.
    pub states: States,
    /// What it comes to.
    pub standing: Standing,
}

/// How far to look.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Bounds {
    /// Most changes in one set.
    pub most_changes: usize,
    /// Most screenings.
    pub most_tries: usize,
}

/// The sets found, and whether everything within the bounds was looked at.
#[derive(Debug, Clone)]
pub(crate) struct Searched {
    /// Each gives a better verdict than every smaller part of it, and than no change at all.
    pub found: Vec<ChangeSet>,
    /// Whether everything within the bounds was tried; and, where nothing was found, whether more changes could not help
    /// either.
    pub complete: bool,
    /// What each set that was tried comes to.
    pub tried: BTreeMap<Vec<LeverStep>, Standing>,
}

/// What may be tried with one patient's facts, and how often something was: the searches share it.
#[derive(Debug)]
pub struct Trials<'a> {
    /// The rule set.
    pub rule_set: &'a RuleSet,
    /// The same, compiled.
    pub compiled: &'a Compiled,
    /// What hangs on what in it.
    pub links: &'a Links,
    /// The patient as is.
    pub facts: &'a Facts,
    kept: Kept,
    n_tried: Cell<usize>,
}

impl<'a> Trials<'a> {
    /// Nothing tried yet.
    pub fn new(
        rule_set: &'a RuleSet,
        compiled: &'a Compiled,
        links: &'a Links,
        facts: &'a Facts,
    ) -> Self {
        Self {
            rule_set,
            compiled,
            links,
            facts,
            kept: compiled.kept(facts),
            n_tried: Cell::new(0),
        }
    }

    /// How often the patient was worked out anew.
    pub fn n_tried(&self) -> usize {
        self.n_tried.get()
    }

    /// The patient with some answers otherwise.
    pub(crate) fn put(&self, changes: &[(FactSlot, Fact)]) -> Facts {
        self.n_tried.set(self.n_tried.get() + 1);
        self.facts.with(self.rule_set, changes)
    }

    /// The patient with changes made.
    pub(crate) fn with<'b>(&self, edits: impl Iterator<Item = &'b Edit>) -> Facts {
        let mut changes: Vec<(FactSlot, Fact)> = Vec::new();
        for edit in edits {
            match edit {
                Edit::Put(facts) => changes.extend(facts.iter().cloned()),
                Edit::Choose {
                    slot,
                    option,
                    chosen,
                } => {
                    let so_far = changes
                        .iter()
                        .rev()
                        .find(|(it, _)| it == slot)
                        .map_or_else(|| self.facts.get(*slot), |(_, fact)| fact);
                    let Fact::Known(Known {
                        value: Value::Choices(bits),
                        ..
                    }) = so_far
                    else {
                        continue;
                    };
                    let bits = if *chosen {
                        bits | 1 << option
                    } else {
                        bits & !(1 << option)
                    };
                    changes.push((*slot, choices(self.rule_set, *slot, bits)));
                }
            }
        }
        self.put(&changes)
    }

    /// What facts made from the patient's come to.
    pub(crate) fn judged(&self, facts: &Facts) -> (States, Standing) {
        let states = self.compiled.run_beside(&self.kept, facts);
        let standing = standing(self.rule_set, &states);
        (states, standing)
    }
}

/// A set of options as a fact.
fn choices(rule_set: &RuleSet, slot: FactSlot, bits: u64) -> Fact {
    let shown = chosen_in_words(rule_set.catalogue.options(slot), bits);
    Fact::made(Value::Choices(bits), shown)
}

/// A day as a fact.
pub(crate) fn dated(when: &When) -> Fact {
    Fact::made(Value::Date(*when), date_in_words(when))
}

/// Searches, fewest changes first.
///
/// # Returns
/// No set that holds a smaller one which does as well. Empty where nothing within the bounds helps.
pub(crate) fn smallest(trials: &Trials<'_>, levers: &Table<Lever>, bounds: Bounds) -> Searched {
    let reach = LeverReach::of(trials.rule_set, trials.links, levers);
    let (states, start) = trials.judged(trials.facts);
    let mut found: Vec<ChangeSet> = Vec::new();
    let mut seen: BTreeSet<Vec<LeverStep>> = BTreeSet::new();
    let mut layer = vec![ChangeSet {
        steps: Vec::new(),
        facts: trials.facts.clone(),
        states,
        standing: start,
    }];
    let mut tried: BTreeMap<Vec<LeverStep>, Standing> = BTreeMap::new();
    for _ in 0..bounds.most_changes {
        let mut next = Vec::new();
        for node in &layer {
            for lever in reach.at_the_narrowest(node) {
                for edit in levers[lever].edits.indices() {
                    let mut steps = node.steps.clone();
                    steps.push((lever, edit));
                    steps.sort_unstable();
                    if !seen.insert(steps.clone())
                        || found.iter().any(|it| {
                            it.standing.outcome == Outcome::Go && within(&it.steps, &steps)
                        })
                    {
                        continue;
                    }
                    if tried.len() == bounds.most_tries {
                        keep_better(&next, start, &mut found);
                        return Searched {
                            found,
                            complete: false,
                            tried,
                        };
                    }
                    let made = steps
                        .iter()
                        .map(|(lever, edit)| &levers[*lever].edits[*edit]);
                    let facts = trials.with(made);
                    let (states, standing) = trials.judged(&facts);
                    tried.insert(steps.clone(), standing);
                    next.push(ChangeSet {
                        steps,
                        facts,
                        states,
                        standing,
                    });
                }
            }
        }
        keep_better(&next, start, &mut found);
        layer = next
            .into_iter()
            .filter(|it| it.standing.outcome != Outcome::Go)
            .collect();
        if layer.is_empty() {
            break;
        }
    }
    // Nothing found means that nothing helps only if the last layer leads nowhere.
    let complete = !found.is_empty()
        || layer
            .iter()
            .all(|node| reach.at_the_narrowest(node).is_empty());
    Searched {
        found,
        complete,
        tried,
    }
}

/// Adds the sets of a layer that do better than nothing, and than any smaller set within them. A set may hold one of an
/// earlier layer, never one of its own.
fn keep_better(layer: &[ChangeSet], start: Standing, found: &mut Vec<ChangeSet>) {
    for it in layer {
        if it.standing < start
            && !found
                .iter()
                .any(|smaller| smaller.standing <= it.standing && within(&smaller.steps, &it.steps))
        {
            found.push(it.clone());
        }
    }
}

fn within(smaller: &[LeverStep], larger: &[LeverStep]) -> bool {
    smaller.iter().all(|it| larger.contains(it))
}

/// What each rule, and whether each question applies, depends on. The same for every patient, so it is made once.
#[derive(Debug)]
pub struct Links {
    rules: Vec<Bits<Slot>>,
    /// For each question, its answer and everything that whether it applies can hang on, however far up.
    behind: Vec<Bits<Slot>>,
}

impl Links {
    /// Follows every condition to the answers it goes back to.
    pub fn new(rule_set: &RuleSet) -> Self {
        let questions = &rule_set.catalogue.questions;
        let gates: Vec<Option<Bits<Slot>>> = questions
            .iter()
            .map(|it| it.ask_when.as_ref().map(|when| reads(rule_set, when)))
            .collect();
        let behind = questions.iter().map(|question| {
            let mut found = Bits::new();
            found.insert(question.slot);
            let gated = || questions.iter().zip(&gates);
            while grows(
                &mut found,
                gated().filter_map(|(it, gate)| Some((it, gate.as_ref()?))),
            ) {}
            found
        });
        Self {
            rules: rule_set
                .judging
                .iter()
                .map(|it| reads(rule_set, &it.when))
                .collect(),
            behind: behind.collect(),
        }
    }

    /// For each answer that is at odds with others, what it hangs on: unless some of that is otherwise, it stays at odds.
    /// Where it is only open whether some are, what all that may be hang on.
    fn conflicts(&self, rule_set: &RuleSet, facts: &Facts, conflict: Conflict) -> Vec<Bits<Slot>> {
        let questions = || rule_set.catalogue.questions.iter().zip(&self.behind);
        let behind = |slot: FactSlot| {
            questions()
                .find(|(it, _)| it.slot == slot)
                .map_or_else(Bits::new, |(_, behind)| behind.clone())
        };
        let mut found: Vec<Bits<Slot>> = facts
            .conflicts(conflict)
            .iter()
            .map(|it| behind(it.answer.slot))
            .collect();
        if found.is_empty() {
            let mut open = Bits::new();
            match conflict {
                Conflict::NotOffered => facts
                    .offers()
                    .keys()
                    .for_each(|it| open.extend(&behind(*it))),
                Conflict::RuledOut => {
                    let hangs = |slots: &Bits<Slot>| {
                        facts
                            .conflicts_open(Conflict::RuledOut)
                            .iter()
                            .any(|slot| slots.contains(*slot))
                    };
                    questions()
                        .filter(|(_, it)| hangs(it))
                        .for_each(|(_, it)| open.extend(it));
                }
                Conflict::Unread => {
                    for it in facts.conflicts_open(Conflict::Unread) {
                        open.insert(*it);
                        open.extend(&behind(*it));
                    }
                }
            }
            found.push(open);
        }
        found
    }

    /// The answers that a lever can change: its own, and the details that hang on it, however far down.
    fn touched(rule_set: &RuleSet, lever: &Lever) -> Bits<Slot> {
        let mut found = Bits::new();
        found.insert(lever.slot);
        for edit in &lever.edits {
            if let Edit::Put(facts) = edit {
                facts.iter().for_each(|(slot, _)| found.insert(*slot));
            }
        }
        let own = found.clone();
        for (turn, _) in rule_set
            .catalogue
            .turns
            .iter()
            .filter(|(_, behind)| behind.meets(&own))
        {
            if let Dependent::Question(at) = turn {
                let question = &rule_set.catalogue.questions[*at];
                found.insert(question.slot);
                question.date_slot.iter().for_each(|it| found.insert(*it));
            }
        }
        found
    }
}

/// Adds what the gates of the questions among these read; whether anything was added.
fn grows<'a>(
    found: &mut Bits<Slot>,
    gates: impl Iterator<Item = (&'a Question, &'a Bits<Slot>)>,
) -> bool {
    let before = found.clone();
    for (question, gate) in gates {
        if found.contains(question.slot) {
            found.extend(gate);
        }
    }
    *found != before
}

/// Which levers can move which rule.
struct LeverReach<'a> {
    rule_set: &'a RuleSet,
    links: &'a Links,
    /// For each lever, the answers that it can change.
    touched: Table<Bits<Slot>, Lever>,
    /// For each rule, the levers that change something it reads.
    levers: Vec<Vec<Idx<Lever>>>,
    /// For each lever, those of the same answer: at most one of a kind is used, except options of one list.
    same: Table<Vec<Idx<Lever>>, Lever>,
}

impl<'a> LeverReach<'a> {
    fn of(rule_set: &'a RuleSet, links: &'a Links, levers: &Table<Lever>) -> Self {
        let touched: Table<Bits<Slot>, Lever> = levers
            .iter()
            .map(|it| Links::touched(rule_set, it))
            .collect();
        let puts = |it: &Lever| it.edits.iter().any(|edit| matches!(edit, Edit::Put(_)));
        let same = levers.iter().map(|one| {
            let others = levers
                .entries()
                .filter(|(_, other)| other.slot == one.slot && (puts(one) || puts(other)));
            others.map(|(at, _)| at).collect()
        });
        let same = same.collect();
        Self {
            rule_set,
            links,
            levers: links
                .rules
                .iter()
                .map(|it| reaching(&touched, it))
                .collect(),
            touched,
            same,
        }
    }

    /// The levers that reach the rule in the way which the fewest reach, less those already used.
    fn at_the_narrowest(&self, node: &ChangeSet) -> Vec<Idx<Lever>> {
        let used = |lever: Idx<Lever>| {
            node.steps
                .iter()
                .any(|(at, _)| *at == lever || self.same[lever].contains(at))
        };
        let rules = self
            .rule_set
            .judging
            .iter()
            .zip(&node.states)
            .zip(&self.levers);
        let in_the_way = rules.filter(|((rule, state), _)| match state {
            State::Fires => {
                rule.outcome == node.standing.outcome && rule.urgency == node.standing.urgency
            }
            State::Undetermined => {
                node.standing.outcome == Outcome::Defer && rule.outcome >= Outcome::Defer
            }
            State::StaysQuiet => false,
        });
        let reaching = in_the_way.flat_map(|((rule, _), levers)| match &rule.when {
            // Each answer at odds stands in the way by itself.
            Condition::Answers(conflict) => self
                .links
                .conflicts(self.rule_set, &node.facts, *conflict)
                .iter()
                .map(|it| reaching(&self.touched, it))
                .collect(),
            _ => vec![levers.clone()],
        });
        let unused = reaching.map(|levers| {
            levers
                .into_iter()
                .filter(|it| !used(*it))
                .collect::<Vec<Idx<Lever>>>()
        });
        // Where nothing stands in the way, no lever is wanted.
        unused.min_by_key(Vec::len).unwrap_or_default()
    }
}

/// The levers that can change some of these answers.
fn reaching(touched: &Table<Bits<Slot>, Lever>, reads: &Bits<Slot>) -> Vec<Idx<Lever>> {
    touched
        .entries()
        .filter(|(_, slots)| reads.meets(slots))
        .map(|(at, _)| at)
        .collect()
}

/// Every answer that a condition can depend on, back to the questions.
fn reads(rule_set: &RuleSet, condition: &Condition) -> Bits<Slot> {
    let mut found = Bits::new();
    condition.visit(&mut |condition| match condition {
        Condition::Taking { fact, .. } | Condition::AllergicTo { fact, .. } => found.insert(*fact),
        Condition::Fact { fact, test } => {
            let on = rule_set.catalogue.procedure_on;
            let on = on.filter(|_| matches!(test, Test::OlderThan(_) | Test::Within(_)));
            let answers = behind(rule_set, *fact).into_iter().chain(on);
            answers.for_each(|it| found.insert(it));
        }
        // Any answer may be at odds with others. A rule that asks for nothing else is narrowed down for each patient.
        Condition::Answers(_) => rule_set
            .catalogue
            .facts
            .indices()
            .for_each(|it| found.insert(it)),
        Condition::All(_) | Condition::Any(_) | Condition::Not(_) => {}
    });
    found
}
