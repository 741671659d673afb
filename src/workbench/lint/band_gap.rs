//! Gaps between neighbouring bands of one number. Which rules are neighbours is told by their form, whether a patient falls
//! between them over the whole space.

use crate::document::diagnostic::Code;
use crate::exact::cells::{Cell, Cut, cuts_of};
use crate::exact::domain::Shape;
use crate::exact::{Found, Witness};
use crate::outcome::State;
use crate::quantity::tidy;
use crate::questionnaire::facts::truth_of::truth;
use crate::rule_set::{Comparison, Condition, Idx, Rule, RuleSet, Test};
use crate::truth::{FactSlot, Truth};
use crate::workbench::lint::duplicate_condition::same;
use crate::workbench::lint::{Remark, Subject};

/// The part of a rule that is a band of one number, and the rest of its condition.
pub(super) struct Band<'a> {
    pub at: Idx<Rule>,
    pub rule: &'a Rule,
    pub fact: FactSlot,
    pub low: Option<Cut>,
    pub high: Option<Cut>,
    pub rest: Vec<&'a Condition>,
}

/// A remark on each gap between two bands.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let bands = bands(subject.rule_set);
    let mut found = Vec::new();
    for band in bands
        .iter()
        .filter(|it| it.low.is_some() && it.high.is_some())
    {
        let neighbours = || bands.iter().filter(|it| it.at != band.at && akin(it, band));
        // A band that joins another one on either side is where it belongs; what lies on its other side is normal.
        let joined = neighbours().any(|it| meets(it.low, band.high) || meets(it.high, band.low));
        if joined || neighbours().any(|it| overlap(it, band)) {
            continue;
        }
        let severe = |it: &&Band<'_>| it.rule.outcome >= band.rule.outcome;
        let above = neighbours()
            .filter(severe)
            .filter(|it| before(band.high, it.low))
            .min_by(|a, b| value(a.low).total_cmp(&value(b.low)));
        let below = neighbours()
            .filter(severe)
            .filter(|it| before(it.high, band.low))
            .max_by(|a, b| value(a.high).total_cmp(&value(b.high)));
        let gap = match (above, below) {
            (Some(above), _) => Some((band.high, above.low, above)),
            (None, Some(below)) => Some((below.high, band.low, below)),
            _ => None,
        };
        let Some((Some(from), Some(to), other)) = gap else {
            continue;
        };
        found.extend(settle(subject, &bands, band, other, (from, to)));
    }
    found
}

/// Looks for a patient between two bands for whom no rule on this number fires.
fn settle(
    subject: &Subject<'_>,
    bands: &[Band<'_>],
    band: &Band<'_>,
    other: &Band<'_>,
    (from, to): (Cut, Cut),
) -> Option<Remark> {
    let id = subject.rule_set.catalogue.id(band.fact);
    let mut decider = subject.decider()?;
    let cells = match decider.encoding.domain(0, band.fact).map(|it| &it.shape) {
        Some(Shape::Number { cells, .. }) => cells.clone(),
        _ => return None,
    };
    let between = |it: &Cell| lies_between(it, from, to);
    let inside: Vec<_> = cells
        .iter()
        .filter(|(it, _)| between(it))
        .map(|(_, it)| *it)
        .collect();
    let mut together = vec![decider.solver.any(inside)];
    for condition in band.rest.iter().chain(&other.rest) {
        together.push(decider.pair(condition).yes);
    }
    let [judged] = &decider.judgements;
    let of_number: Vec<Idx<Rule>> = bands
        .iter()
        .filter(|it| it.fact == band.fact)
        .map(|it| it.at)
        .collect();
    together.extend(of_number.iter().map(|it| judged.rules[*it].no));
    together.push(!judged.ruled_out.yes);
    let confirm = |seen: &[Witness]| {
        seen.iter().all(|witness| {
            let number = witness.facts.number(band.fact);
            let rest = band
                .rest
                .iter()
                .chain(&other.rest)
                .all(|condition| truth(condition, &witness.facts) == Truth::Yes);
            rest && number.is_some_and(|it| it >= from.at && it <= to.at)
                && of_number
                    .iter()
                    .all(|at| witness.states[*at] == State::StaysQuiet)
        })
    };
    match decider.find(&together, &confirm) {
        Found::Example(seen) => {
            let number = number_of(&seen, band);
            let (first, second) = if value(band.low) < value(other.low) || other.low.is_none() {
                (band, other)
            } else {
                (other, band)
            };
            let title = format!(
                "between `{}` and `{}` lies a gap: {id} {number} meets neither",
                first.rule.id, second.rule.id
            );
            let label = "one side of the gap";
            let remark = subject.on_rule(Code::BandGap, band.rule, "when", title, label);
            Some(remark.also(subject.files.rule(&other.rule.id), "when", "the other side"))
        }
        Found::Never => None,
        Found::Open(fact) => Some(subject.undecided(band.rule, &fact, "its band has a gap")),
    }
}

/// The bands of all rules: each number that a rule tests in the list of what must hold together.
pub(super) fn bands(rule_set: &RuleSet) -> Vec<Band<'_>> {
    let mut found = Vec::new();
    for (at, rule) in rule_set.rule_entries() {
        let parts: Vec<&Condition> = match &rule.when {
            Condition::All(parts) => parts.iter().collect(),
            single => vec![single],
        };
        let mut facts: Vec<FactSlot> = parts
            .iter()
            .filter_map(|it| tested(it))
            .map(|(fact, _)| fact)
            .collect();
        facts.sort_unstable();
        facts.dedup();
        for fact in facts {
            let mut band = Band {
                at,
                rule,
                fact,
                low: None,
                high: None,
                rest: Vec::new(),
            };
            for part in &parts {
                match tested(part) {
                    Some((of, test)) if of == fact => narrow(&mut band, test),
                    _ => band.rest.push(*part),
                }
            }
            found.push(band);
        }
    }
    found
}

/// The number that an example shows.
pub(super) fn number_of(seen: &[Witness], band: &Band<'_>) -> String {
    seen.first()
        .and_then(|it| it.facts.number(band.fact))
        .map_or_else(String::new, |it| tidy(it, None))
}

/// The number that a condition tests, if that is what it does.
fn tested(condition: &Condition) -> Option<(FactSlot, &Test)> {
    match condition {
        Condition::Fact {
            fact,
            test: test @ (Test::Compare(..) | Test::Between(..)),
        } => Some((*fact, test)),
        _ => None,
    }
}

fn narrow(band: &mut Band<'_>, test: &Test) {
    let cuts = cuts_of(test);
    match (test, cuts.as_slice()) {
        (Test::Compare(Comparison::Above | Comparison::AtLeast, _), [low]) => band.low = Some(*low),
        (Test::Compare(..), [high]) => band.high = Some(*high),
        (_, [low, high]) => (band.low, band.high) = (Some(*low), Some(*high)),
        _ => {}
    }
}

/// Whether two bands are of one number, of one concern, and for the same patients or some of the same.
pub(super) fn akin(one: &Band<'_>, other: &Band<'_>) -> bool {
    let within = |a: &[&Condition], b: &[&Condition]| {
        a.iter().all(|it| b.iter().any(|other| same(it, other)))
    };
    one.fact == other.fact
        && one.rule.concern == other.rule.concern
        && (within(&one.rest, &other.rest) || within(&other.rest, &one.rest))
}

fn value(cut: Option<Cut>) -> f64 {
    cut.map_or(f64::NAN, |it| it.at)
}

/// Whether a band ends just where another one begins.
fn meets(one: Option<Cut>, other: Option<Cut>) -> bool {
    one.zip(other).is_some_and(|(a, b)| a == b)
}

fn before(end: Option<Cut>, start: Option<Cut>) -> bool {
    end.zip(start).is_some_and(|(a, b)| order(a) < order(b))
}

/// Cuts in their order on the line of numbers.
fn order(cut: Cut) -> (f64, bool) {
    (cut.at, cut.value_below)
}

/// Whether two bands share numbers, and each has some of its own.
pub(super) fn overlap(one: &Band<'_>, other: &Band<'_>) -> bool {
    let low = |it: &Band<'_>| it.low.map_or((f64::NEG_INFINITY, false), order);
    let high = |it: &Band<'_>| it.high.map_or((f64::INFINITY, true), order);
    let (first, second) = if low(one) < low(other) {
        (one, other)
    } else {
        (other, one)
    };
    low(first) < low(second) && low(second) < high(first) && high(first) < high(second)
}

/// Whether a cell lies between two cuts. A single number on a cut lies on one side of it.
fn lies_between(cell: &Cell, from: Cut, to: Cut) -> bool {
    let on = |cut: Cut| cell.is_point() && cell.contains(cut.at);
    let covered = (on(from) && from.value_below) || (on(to) && !to.value_below);
    cell.low >= from.at && cell.high <= to.at && !covered
}
