//! Numbers for the answers of an assignment, so that every derived fact comes out in its cell; or that there are none.
//!
//! Interval branch and bound over boxes of answers. Within its cell each answer moves a derived fact one way or not at all
//! (the monotonicity of the formulas' descriptors, multiplied along the chain), so that the least and the greatest value in a
//! box are taken on at two corners, and the formulas themselves, rounding included, are run there. A box whose interval
//! misses the cell holds no solution and is dropped; every other is tried at its middle and halved, the nearest first.
//! Where an answer moves a fact both ways, the box is never dropped for that fact. So "impossible" is said only once boxes
//! that cover everything were dropped, each for one fact; when the boxes allowed are used up, the search gives up.

use std::collections::{BTreeMap, BinaryHeap};

use crate::exact::cells::Cell;
use crate::formulas::formula::{Amount, Moves, Role, RoleKind};
use crate::quantity::tidy;
use crate::quantity::when::When;
use crate::questionnaire::facts::{Fact, Facts, Trial, Value, derive};
use crate::rule_set::{Derived, Idx, Input, Medicine, RuleSet};
use crate::truth::FactSlot;

/// Most boxes that are looked into.
const MOST_BOXES: usize = 3_000;

/// Where no end is plausible, the numbers looked at end here; nothing is shown to be impossible then.
const FAR: f64 = 1e6;

/// Most digits after the point of a number that is made up.
const MOST_DECIMALS: usize = 6;

/// One number that may be chosen.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Variable {
    /// What it is the number of.
    pub what: NumberOf,
    /// Where it must lie.
    pub cell: Cell,
    /// Whether it must be whole.
    pub whole: bool,
}

/// What a number stands for.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum NumberOf {
    /// The answer to a question, by fact id.
    Answer(String),
    /// The completed years of age of who was born on this date, by fact id.
    Age(String),
    /// The strength of an agent in a plan, by fact id.
    Strength(String, String),
    /// Its volume.
    Volume(String, String),
    /// The daily dose of the first steroid in mg.
    SteroidDaily,
    /// The days for which it has been taken.
    SteroidDays,
}

/// What a derived fact must come to; `None`: it must not be known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Constraint {
    /// Whose formula, by position.
    pub view: usize,
    /// The derived fact.
    pub slot: FactSlot,
    /// Where its number must lie.
    pub cell: Option<Cell>,
}

/// What has to be derived for a wanted fact: in the order declared, itself last.
fn needed(rule_set: &RuleSet, slot: FactSlot) -> Vec<Idx<Derived>> {
    let catalogue = &rule_set.catalogue;
    let Some(at) = catalogue.derived.position(|it| it.slot == slot) else {
        return Vec::new();
    };
    let inputs = derive::slots(&catalogue.derived[at]);
    let mut found: Vec<Idx<Derived>> = inputs
        .into_iter()
        .flat_map(|it| needed(rule_set, it))
        .chain([at])
        .collect();
    found.sort_unstable();
    found.dedup();
    found
}

/// One rule set with a patient's facts, whose numbers are still to be chosen.
#[derive(Debug)]
pub(crate) struct Instance<'a> {
    /// The rule set.
    pub rule_set: &'a RuleSet,
    /// The facts.
    pub facts: Facts,
}

/// What looking for numbers came to.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Solution {
    /// These do, in the order of the variables.
    Found(Vec<f64>),
    /// There are none.
    Impossible,
    /// None was found, and that there are none was not shown either: for these of the facts wanted, by position.
    GaveUp(Vec<usize>),
}

/// A plain number inside a cell.
pub(crate) fn some_number(cell: &Cell) -> f64 {
    let (low, high) = bounded(cell);
    plain_between(low, high, &|it| cell.contains(it)).unwrap_or(f64::midpoint(low, high))
}

/// A plain number for a variable.
pub(crate) fn some_value(variable: &Variable) -> f64 {
    if variable.whole {
        variable.cell.first_whole()
    } else {
        some_number(&variable.cell)
    }
}

/// The first and the last number of a cell; an end that does not belong to it is stepped over.
fn bounded(cell: &Cell) -> (f64, f64) {
    let low = if cell.low_in {
        cell.low
    } else {
        cell.low.next_up()
    };
    let high = if cell.high_in {
        cell.high
    } else {
        cell.high.next_down()
    };
    match (cell.low.is_finite(), cell.high.is_finite()) {
        (true, true) => (low, high),
        (true, false) => (
            low,
            (cell.low.abs() * 2.0 + 10.0).min(FAR.max(cell.low + 1.0)),
        ),
        (false, true) => (cell.high - cell.high.abs() - 10.0, high),
        (false, false) => (-FAR, FAR),
    }
}

/// The number with the fewest digits near the middle that fits.
fn plain_between(low: f64, high: f64, fits: &dyn Fn(f64) -> bool) -> Option<f64> {
    if low >= high {
        return fits(low).then_some(low);
    }
    let middle = f64::midpoint(low, high);
    (0..=MOST_DECIMALS).find_map(|decimals| {
        let number: f64 = tidy(middle, Some(decimals)).parse().ok()?;
        (number >= low && number <= high && fits(number)).then_some(number)
    })
}

/// From one number to another.
type Range = (f64, f64);

/// Looks for numbers. What hangs on no common number is looked for apart.
pub(crate) fn search(
    cases: &[Instance<'_>],
    variables: &[Variable],
    wanted: &[Constraint],
) -> Solution {
    let moves = directions(cases, variables, wanted);
    let mut values: Vec<f64> = variables.iter().map(some_value).collect();
    let mut gave_up = Vec::new();
    for (own, facts) in components(&moves, wanted.len(), variables.len()) {
        let variables_of: Vec<Variable> = own
            .iter()
            .filter_map(|at| variables.get(*at))
            .cloned()
            .collect();
        let wanted_of: Vec<Constraint> = facts
            .iter()
            .filter_map(|at| wanted.get(*at))
            .copied()
            .collect();
        match search_group(cases, &variables_of, &wanted_of) {
            Solution::Found(found) => {
                for (at, value) in own.iter().zip(found) {
                    if let Some(place) = values.get_mut(*at) {
                        *place = value;
                    }
                }
            }
            Solution::Impossible => return Solution::Impossible,
            Solution::GaveUp(_) => gave_up.extend(facts),
        }
    }
    if gave_up.is_empty() {
        Solution::Found(values)
    } else {
        Solution::GaveUp(gave_up)
    }
}

/// Numbers and wanted facts, by position, that hang together: a component of the graph of what moves what.
type Component = (Vec<usize>, Vec<usize>);

fn components(moves: &[Vec<Option<i8>>], n_wanted: usize, n_variables: usize) -> Vec<Component> {
    let mut left: Vec<usize> = (0..n_wanted).collect();
    let mut found = Vec::new();
    while let Some(first) = left.pop() {
        let (mut variables, mut facts, mut open) = (Vec::new(), Vec::new(), vec![first]);
        while let Some(fact) = open.pop() {
            facts.push(fact);
            for variable in (0..n_variables).filter(|it| direction(moves, fact, *it) != Some(0)) {
                if !variables.contains(&variable) {
                    variables.push(variable);
                    let (joined, apart): (Vec<usize>, Vec<usize>) = left
                        .iter()
                        .partition(|of| direction(moves, **of, variable) != Some(0));
                    open.extend(joined);
                    left = apart;
                }
            }
        }
        found.push((variables, facts));
    }
    found
}

/// A box with how far its middle is from what is wanted; the nearest comes first.
struct OpenBox {
    distance: f64,
    here: Vec<Range>,
}

impl PartialEq for OpenBox {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for OpenBox {}

impl PartialOrd for OpenBox {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for OpenBox {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        other.distance.total_cmp(&self.distance)
    }
}

fn search_group(cases: &[Instance<'_>], variables: &[Variable], wanted: &[Constraint]) -> Solution {
    let mut work: Vec<Trial> = cases.iter().map(|it| Trial::of(&it.facts)).collect();
    let moves = directions(cases, variables, wanted);
    let chains: Vec<Vec<Idx<Derived>>> = wanted
        .iter()
        .map(|constraint| {
            cases
                .get(constraint.view)
                .into_iter()
                .flat_map(|case| needed(case.rule_set, constraint.slot))
                .collect()
        })
        .collect();
    let endless = variables
        .iter()
        .any(|it| !it.cell.low.is_finite() || !it.cell.high.is_finite());
    let first: Vec<Range> = variables
        .iter()
        .map(|variable| {
            if variable.whole {
                (variable.cell.first_whole(), variable.cell.last_whole())
            } else {
                bounded(&variable.cell)
            }
        })
        .collect();
    let mut boxes = BinaryHeap::from([OpenBox {
        distance: 0.0,
        here: first.clone(),
    }]);
    let mut looked = 0;
    let mut unsure = endless;
    while let Some(OpenBox { here, .. }) = boxes.pop() {
        looked += 1;
        if looked > MOST_BOXES {
            return Solution::GaveUp((0..wanted.len()).collect());
        }
        let mut open: Vec<usize> = Vec::new();
        let mut hopeless = false;
        for (at, ((it, moves), chain)) in wanted.iter().zip(&moves).zip(&chains).enumerate() {
            match bounds(cases, &mut work, variables, &here, it, (moves, chain)) {
                Some((low, high)) => match it.cell {
                    Some(cell) if !cell.meets(low, high) => hopeless = true,
                    Some(cell) if cell.contains(low) && cell.contains(high) => {}
                    _ => open.push(at),
                },
                None => open.push(at),
            }
        }
        if hopeless {
            continue;
        }
        let values = middle(&here, variables);
        if distance(cases, &mut work, variables, &values, wanted, &chains) <= 0.0 {
            return Solution::Found(values);
        }
        match widest(&here, &first, variables, &open, &moves) {
            Some(at) => {
                for half in halves(&here, at, variables) {
                    let middle = middle(&half, variables);
                    let distance = distance(cases, &mut work, variables, &middle, wanted, &chains);
                    if distance <= 0.0 {
                        return Solution::Found(middle);
                    }
                    boxes.push(OpenBox {
                        distance,
                        here: half,
                    });
                }
            }
            // Nothing left to choose from, and yet it does not come out: only a point may be shown impossible.
            None => unsure |= !is_point(&here, &open, &moves),
        }
    }
    if unsure {
        Solution::GaveUp((0..wanted.len()).collect())
    } else {
        Solution::Impossible
    }
}

fn middle(here: &[Range], variables: &[Variable]) -> Vec<f64> {
    here.iter()
        .zip(variables)
        .map(|((low, high), it)| inside(*low, *high, it))
        .collect()
}

/// Whether nothing that matters could still be chosen.
fn is_point(here: &[Range], open: &[usize], moves: &[Vec<Option<i8>>]) -> bool {
    open.iter().all(|of| {
        here.iter()
            .enumerate()
            .all(|(at, (low, high))| low >= high || direction(moves, *of, at) == Some(0))
    })
}

fn direction(moves: &[Vec<Option<i8>>], wanted: usize, variable: usize) -> Option<i8> {
    moves
        .get(wanted)
        .and_then(|it| it.get(variable))
        .copied()
        .flatten()
}

fn inside(low: f64, high: f64, variable: &Variable) -> f64 {
    if variable.whole {
        return f64::midpoint(low, high).floor();
    }
    plain_between(low, high, &|it| variable.cell.contains(it)).unwrap_or(f64::midpoint(low, high))
}

/// The number that is freest, of those that something undecided hangs on.
fn widest(
    here: &[Range],
    first: &[Range],
    variables: &[Variable],
    open: &[usize],
    moves: &[Vec<Option<i8>>],
) -> Option<usize> {
    let matters = |at: usize| open.iter().any(|of| direction(moves, *of, at) != Some(0));
    let width = |at: usize| {
        let (Some((low, high)), Some((from, to))) = (here.get(at), first.get(at)) else {
            return 0.0;
        };
        let too_narrow = if variables.get(at).is_some_and(|it| it.whole) {
            0.5
        } else {
            1e-9 * (1.0 + to.abs())
        };
        if high - low <= too_narrow {
            0.0
        } else {
            (high - low) / (to - from)
        }
    };
    let best = (0..here.len())
        .filter(|at| matters(*at))
        .max_by(|a, b| width(*a).total_cmp(&width(*b)))?;
    (width(best) > 0.0).then_some(best)
}

fn halves(here: &[Range], at: usize, variables: &[Variable]) -> Vec<Vec<Range>> {
    let Some((low, high)) = here.get(at).copied() else {
        return Vec::new();
    };
    let whole = variables.get(at).is_some_and(|it| it.whole);
    let middle = if whole {
        f64::midpoint(low, high).floor()
    } else {
        f64::midpoint(low, high)
    };
    let parts = [
        (low, middle),
        (if whole { middle + 1.0 } else { middle }, high),
    ];
    let with = |part: Range| {
        here.iter()
            .enumerate()
            .map(|(it, old)| if it == at { part } else { *old })
            .collect()
    };
    parts.into_iter().map(with).collect()
}

/// The least and the most that a derived fact comes to in a box; `None` where that is not known.
fn bounds(
    cases: &[Instance<'_>],
    work: &mut [Trial],
    variables: &[Variable],
    here: &[Range],
    wanted: &Constraint,
    (moves, chain): (&[Option<i8>], &[Idx<Derived>]),
) -> Option<(f64, f64)> {
    let moves: Vec<i8> = moves.iter().copied().collect::<Option<_>>()?;
    let mut ends = [0.0; 2];
    for (rising, end) in [false, true].into_iter().zip(&mut ends) {
        let corner: Vec<f64> = here
            .iter()
            .zip(&moves)
            .map(|((low, high), monotonicity)| {
                if (*monotonicity >= 0) == rising {
                    *high
                } else {
                    *low
                }
            })
            .collect();
        let (case, facts) = (cases.get(wanted.view)?, work.get_mut(wanted.view)?);
        put(case.rule_set, facts, variables, &corner);
        facts.derive(case.rule_set, chain);
        *end = facts.number(wanted.slot)?;
    }
    let [low, high] = ends;
    Some((low, high))
}

/// How far these numbers are from giving what is wanted; nothing, where they do.
fn distance(
    cases: &[Instance<'_>],
    work: &mut [Trial],
    variables: &[Variable],
    values: &[f64],
    wanted: &[Constraint],
    chains: &[Vec<Idx<Derived>>],
) -> f64 {
    for (case, facts) in cases.iter().zip(work.iter_mut()) {
        put(case.rule_set, facts, variables, values);
    }
    let mut far = 0.0;
    for (it, chain) in wanted.iter().zip(chains) {
        let (Some(case), Some(facts)) = (cases.get(it.view), work.get_mut(it.view)) else {
            return f64::INFINITY;
        };
        facts.derive(case.rule_set, chain);
        far += match (it.cell, facts.number(it.slot)) {
            (Some(cell), Some(number)) if cell.contains(number) => 0.0,
            (Some(cell), Some(number)) => {
                let end = if number <= cell.low {
                    cell.low
                } else {
                    cell.high
                };
                // A little more than nothing even on an end that does not belong to it.
                (number - end).abs() / (1.0 + end.abs()) + 1e-9
            }
            (None, None) => 0.0,
            _ => 10.0,
        };
    }
    far
}

/// Puts numbers into facts.
fn put(rule_set: &RuleSet, facts: &mut Trial, variables: &[Variable], values: &[f64]) {
    let catalogue = &rule_set.catalogue;
    for (variable, value) in variables.iter().zip(values) {
        match &variable.what {
            NumberOf::Answer(id) => {
                if let Some(slot) = catalogue.slot(id) {
                    facts.put(slot, Fact::made(Value::Number(*value), ""));
                }
            }
            NumberOf::Age(id) => {
                let born = facts.procedure_on().and_then(|on| born(&on, *value));
                if let (Some(slot), Some(born)) = (catalogue.slot(id), born) {
                    facts.put(slot, Fact::made(Value::Date(born), ""));
                }
            }
            NumberOf::Strength(id, agent) | NumberOf::Volume(id, agent) => {
                let position = rule_set.agents.position(|it| it.id == *agent);
                let Some(Value::Plan(plan)) = catalogue.slot(id).and_then(|it| facts.value_mut(it))
                else {
                    continue;
                };
                for line in plan.iter_mut().filter(|it| Some(it.agent) == position) {
                    match variable.what {
                        NumberOf::Strength(..) => line.percent = Some(*value),
                        _ => line.volume_ml = Some(*value),
                    }
                }
            }
            NumberOf::SteroidDaily | NumberOf::SteroidDays => {
                let steroids = &rule_set.medicines.medicines;
                let Some(Value::Medicines(entries)) =
                    catalogue.medicines.and_then(|it| facts.value_mut(it))
                else {
                    continue;
                };
                let is_steroid = |at: Option<Idx<Medicine>>| {
                    at.is_some_and(|at| steroids[at].as_prednisolone.is_some())
                };
                if let Some(entry) = entries.iter_mut().find(|it| is_steroid(it.medicine)) {
                    match variable.what {
                        NumberOf::SteroidDaily => entry.daily_mg = Some(*value),
                        _ => entry.days = Some(*value),
                    }
                }
            }
        }
    }
}

/// Who is so many completed years old on a day, on the birthday itself.
pub(crate) fn born(on: &When, years: f64) -> Option<When> {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "whole, and some hundreds at most"
    )]
    let months = chrono::Months::new(years as u32 * 12);
    on.date.checked_sub_months(months).map(When::on)
}

/// For each wanted fact and each number: whether it rises with it (1), falls (-1), or neither (0). `None`: no telling.
fn directions(
    cases: &[Instance<'_>],
    variables: &[Variable],
    wanted: &[Constraint],
) -> Vec<Vec<Option<i8>>> {
    wanted
        .iter()
        .map(|constraint| {
            let Some(case) = cases.get(constraint.view) else {
                return vec![None; variables.len()];
            };
            let of =
                |what: &NumberOf| moves(case.rule_set, constraint.slot, what, &mut BTreeMap::new());
            variables.iter().map(|it| of(&it.what)).collect()
        })
        .collect()
}

fn moves(
    rule_set: &RuleSet,
    slot: FactSlot,
    what: &NumberOf,
    seen: &mut BTreeMap<FactSlot, Option<i8>>,
) -> Option<i8> {
    if let Some(known) = seen.get(&slot) {
        return *known;
    }
    let catalogue = &rule_set.catalogue;
    let found = match catalogue.derived_of(slot) {
        None => Some(i8::from(
            matches!(what, NumberOf::Answer(id) if id == catalogue.id(slot)),
        )),
        Some(derived) => {
            let of_steroid = match what {
                NumberOf::SteroidDaily => Some(Amount::Daily),
                NumberOf::SteroidDays => Some(Amount::Days),
                _ => None,
            };
            let mut total = Some(0_i8);
            for (role, input) in derived.given() {
                let Input::Fact(of) = input else { continue };
                let id = catalogue.id(of);
                let inner = match (what, role.kind) {
                    // Who is older was born earlier.
                    (NumberOf::Age(born), RoleKind::Date(_)) => Some(-i8::from(born == id)),
                    (
                        NumberOf::Strength(plan, _) | NumberOf::Volume(plan, _),
                        RoleKind::Plan { .. },
                    ) => Some(i8::from(plan == id)),
                    (_, RoleKind::Medicines { amount, .. }) if Some(amount) == of_steroid => {
                        Some(1)
                    }
                    _ => moves(rule_set, of, what, seen),
                };
                let outer = || monotonicity(rule_set, derived, role, what);
                total = match (total, inner.and_then(|it| Some(it * outer()?))) {
                    (Some(0), it) | (it, Some(0)) => it,
                    (Some(a), Some(b)) if a == b => Some(a),
                    _ => None,
                };
            }
            total
        }
    };
    seen.insert(slot, found);
    found
}

/// The monotonicity of a formula in one of its roles, within a cell of every number, as its descriptor says.
fn monotonicity(rule_set: &RuleSet, derived: &Derived, role: &Role, what: &NumberOf) -> Option<i8> {
    let moves = match (role.kind, what) {
        (RoleKind::Plan { strength, .. }, NumberOf::Strength(..)) => strength,
        (RoleKind::Plan { volume, .. }, _) => volume,
        (
            RoleKind::Number(_, moves) | RoleKind::Date(moves) | RoleKind::Medicines { moves, .. },
            _,
        ) => moves,
        (
            RoleKind::Limit(_)
            | RoleKind::Sex
            | RoleKind::Sites { .. }
            | RoleKind::List
            | RoleKind::ListLike(_)
            | RoleKind::YesNo
            | RoleKind::Counted
            | RoleKind::CountedChoice,
            _,
        ) => Moves::Stays,
    };
    match moves {
        Moves::Rises => Some(1),
        Moves::Falls => Some(-1),
        Moves::FallsUnlessNegative(other) => least(rule_set, derived.input(other)?)
            .is_some_and(|least| least >= 0.0)
            .then_some(-1),
        Moves::Stays => Some(0),
    }
}

/// The least that a number may be.
fn least(rule_set: &RuleSet, input: Input) -> Option<f64> {
    let slot = match input {
        Input::Limit(_, number) => return Some(number),
        Input::Fact(slot) => slot,
    };
    let ends = match rule_set.catalogue.derived_of(slot) {
        Some(derived) => Some(derived.formula.ends),
        None => rule_set.catalogue.question_of(slot)?.plausible,
    };
    ends.map(|(low, _)| low)
}
