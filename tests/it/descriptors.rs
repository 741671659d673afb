//! Every formula held to what it says of itself, on random inputs: when it is known, how each number moves it between its
//! cuts, between which ends it lies. A new formula is covered by standing in `formulas::ALL`.

use std::collections::BTreeSet;
use std::path::Path;

use chrono::{Days, NaiveDate};
use preblock::inner::formulas::formula::{
    Agents, Amount, Amounts, CutAt, Follows, Formula, HiddenCut, KnownWhen, Moves, Needs, RoleKind,
};
use preblock::inner::formulas::given::{
    AgentFigures, Chosen, GivenInputs, GivenValue, Injected, NoResult, Sex, Side, Taken,
};
use preblock::inner::formulas::{ALL, find};
use preblock::inner::report::formulas::FormulaRow;
use preblock::inner::report::{Style, formulas};
use preblock::inner::rule_set::Derived;
use preblock::inner::rule_set::files::RuleFiles;
use preblock::inner::rule_set::read::rule_set;
use rstest::rstest;

use crate::properties::Dice;
use crate::shipped::{Shipped, nails, skin};
use crate::support::{codes, embedded_once, text_of};

/// Inputs tried of each formula.
const ROUNDS: usize = 4_000;

/// The age from which the second agent may be given.
const REGISTER_AGE: f64 = 12.0;

/// An agent of the register.
#[derive(Debug)]
struct Solution {
    from_age: f64,
    per_site: Option<f64>,
}

impl AgentFigures for Solution {
    fn most(&self, adrenaline: bool, age: f64) -> Option<(f64, Option<f64>)> {
        let per_kg = if adrenaline { 7.0 } else { 3.0 };
        (age >= self.from_age).then_some((per_kg, Some(200.0)))
    }

    fn most_per_site(&self) -> Option<f64> {
        self.per_site
    }
}

static AGENTS: [Solution; 2] = [
    Solution {
        from_age: 0.0,
        per_site: None,
    },
    Solution {
        from_age: REGISTER_AGE,
        per_site: Some(100.0),
    },
];

const SITES: [(&str, Side); 3] = [
    ("left-one", Side::Left),
    ("left-two", Side::Left),
    ("right-one", Side::Right),
];

/// Something between two numbers; often one of their ends or of these.
fn between(dice: &mut Dice, (low, high): (f64, f64), often: &[f64]) -> f64 {
    let often: Vec<f64> = often
        .iter()
        .copied()
        .filter(|at| (low..=high).contains(at))
        .collect();
    match dice.roll(4) {
        0 if !often.is_empty() => often[dice.roll(often.len())],
        // Two decimals, as somebody would write.
        _ => low + ((high - low) * dice.roll(10_000) as f64 / 100.0).round() / 100.0,
    }
}

/// Numbers in a unit that somebody may have; what a formula says may fall below zero is given such numbers, too.
fn range(formula: &Formula, unit: Option<&str>) -> (f64, f64) {
    match unit {
        Some("kg") => (2.0, 200.0),
        Some("cm") => (90.0, 220.0),
        Some("years") => (0.0, 120.0),
        Some("microgram") => (0.0, 500.0),
        Some(_) => (0.5, 400.0),
        None if formula.ends.0 < 0.0 => (-100.0, 100.0),
        None => (0.5, 100.0),
    }
}

/// Whatever a role may be given. Limits of one formula rise in the order of its roles, as bands do, and so do its dates.
fn value(dice: &mut Dice, formula: &Formula, at: usize) -> GivenValue<'static> {
    let rising = (at as f64, formula.roles.len() as f64);
    match formula.roles[at].kind {
        RoleKind::Number(unit, _) => {
            let cuts = formula.cuts.iter().filter_map(|cut| {
                if let CutAt::Number(number) = cut.at {
                    Some(number)
                } else {
                    None
                }
            });
            let often: Vec<f64> = cuts.chain([REGISTER_AGE]).collect();
            GivenValue::Number(between(dice, range(formula, unit), &often))
        }
        RoleKind::Limit(unit) => {
            let (low, high) = range(formula, Some(unit));
            let step = (high - low) / rising.1;
            GivenValue::Number(between(
                dice,
                (low + step * rising.0, low + step * (rising.0 + 1.0)),
                &[],
            ))
        }
        RoleKind::Date(_) => {
            let days = 30 * 365 * at + dice.roll(30 * 365);
            let first = NaiveDate::from_ymd_opt(1950, 1, 1).unwrap_or_default();
            GivenValue::Date(
                first
                    .checked_add_days(Days::new(days as u64))
                    .unwrap_or_default(),
            )
        }
        RoleKind::Sex => GivenValue::Sex([Sex::Female, Sex::Male][dice.roll(2)]),
        RoleKind::YesNo => GivenValue::YesNo(dice.roll(2) == 0),
        RoleKind::Sites { .. } => GivenValue::Chosen(some_of(
            dice,
            &SITES.map(|(id, side)| Chosen {
                id,
                counts: None,
                side: Some(side),
            }),
        )),
        RoleKind::List | RoleKind::ListLike(_) => {
            GivenValue::Chosen(some_of(dice, &options([1.0; 4])))
        }
        RoleKind::Counted => GivenValue::Chosen(some_of(dice, &options([-1.0, 0.5, 2.0, 3.0]))),
        RoleKind::CountedChoice => {
            GivenValue::Chosen(vec![options([0.0, 5.0, 10.0, 12.5])[dice.roll(4)]])
        }
        RoleKind::Plan { .. } => GivenValue::Plan(
            (0..dice.roll(3))
                .map(|_| {
                    let position = dice.roll(2);
                    let mut amount =
                        |most: f64| (dice.roll(6) > 0).then(|| between(dice, (0.1, most), &[]));
                    Injected {
                        agent: &AGENTS[position],
                        position,
                        percent: amount(4.0),
                        volume_ml: amount(20.0),
                    }
                })
                .collect(),
        ),
        RoleKind::Medicines { .. } => GivenValue::Medicines(
            (0..dice.roll(3))
                .map(|_| {
                    let mut amount =
                        |most: f64| (dice.roll(6) > 0).then(|| between(dice, (0.0, most), &[]));
                    let (daily_mg, days, stranger) =
                        (amount(60.0), amount(400.0), amount(1.0).is_none());
                    let factors = [
                        (None, None),
                        (Some(1.0), Some(1.0)),
                        (Some(0.25), Some(0.334)),
                    ][dice.roll(3)];
                    (!stranger).then_some(Taken {
                        daily_mg,
                        days,
                        as_prednisolone: factors.0,
                        adrenal_as_prednisolone: factors.1,
                    })
                })
                .collect(),
        ),
    }
}

fn options(counts: [f64; 4]) -> [Chosen<'static>; 4] {
    let ids = ["a", "b", "c", "d"];
    std::array::from_fn(|at| Chosen {
        id: ids[at],
        counts: Some(counts[at]),
        side: None,
    })
}

fn some_of(dice: &mut Dice, options: &[Chosen<'static>]) -> Vec<Chosen<'static>> {
    options
        .iter()
        .copied()
        .filter(|_| dice.roll(2) == 0)
        .collect()
}

/// Inputs of a formula; in every second round some are missing, but no limit ever is.
fn inputs(dice: &mut Dice, formula: &'static Formula) -> GivenInputs<'static> {
    let (with_optional, all_known) = (dice.roll(2) == 0, dice.roll(2) == 0);
    let roles = formula
        .roles
        .iter()
        .enumerate()
        .filter(|(_, role)| with_optional || !role.optional);
    let mut some_value = |at: usize| {
        let is_known =
            all_known || matches!(formula.roles[at].kind, RoleKind::Limit(_)) || dice.roll(5) > 0;
        is_known.then(|| value(dice, formula, at))
    };
    GivenInputs(
        roles
            .map(|(at, role)| (role.name, some_value(at)))
            .collect(),
    )
}

/// What `decide::computed` makes of the vocabulary for a solver, on values.
fn holds(given: &GivenInputs<'_>, needs: &Needs) -> bool {
    let known = |role: &str| {
        given
            .0
            .iter()
            .any(|(name, value)| *name == role && value.is_some())
    };
    let wanted = |line: &Injected<'_>, agents: Agents| {
        agents == Agents::Every || line.agent.most_per_site().is_some()
    };
    match needs {
        Needs::Every => given.0.iter().all(|(_, value)| value.is_some()),
        Needs::Role(role) => known(role),
        Needs::LeftOut(role) => !given.holds(role),
        Needs::All(parts) => parts.iter().all(|part| holds(given, part)),
        Needs::Any(parts) => parts.iter().any(|part| holds(given, part)),
        Needs::Not(part) => !holds(given, part),
        Needs::Is(role, "yes") => given.yes(role) == Ok(true),
        Needs::Is(role, "no") => given.yes(role) == Ok(false),
        Needs::Is(role, "female") => given.sex(role) == Ok(Sex::Female),
        Needs::Is(role, "male") => given.sex(role) == Ok(Sex::Male),
        Needs::Is(role, option) => given
            .chosen(role)
            .is_ok_and(|chosen| chosen.iter().any(|it| it.id == *option)),
        Needs::Some(role) => {
            given.chosen(role).is_ok_and(|it| !it.is_empty())
                || given.plan(role).is_ok_and(|it| !it.is_empty())
        }
        Needs::Side(role, side) => given
            .chosen(role)
            .is_ok_and(|chosen| chosen.iter().any(|it| it.side == Some(*side))),
        Needs::Below(role, limit) => given
            .numbers([role, limit])
            .is_ok_and(|[number, limit]| number < limit),
        Needs::Above(role, than) => given.number(role).is_ok_and(|number| number > *than),
        Needs::AtMost(role, most) => given.number(role).is_ok_and(|number| number <= *most),
        Needs::Told(role, amounts, agents) => given.plan(role).is_ok_and(|plan| {
            plan.iter()
                .filter(|line| wanted(line, *agents))
                .all(|line| match amounts {
                    Amounts::Volumes => line.volume_ml.is_some(),
                    Amounts::Doses => line.volume_ml.is_some() && line.percent.is_some(),
                })
        }),
        Needs::Without(role, agents) => given
            .plan(role)
            .is_ok_and(|plan| !plan.iter().any(|line| wanted(line, *agents))),
        Needs::Allowed {
            plan,
            adrenaline,
            age,
        } => {
            let (Ok(plan), Ok(age)) = (given.plan(plan), given.number(age)) else {
                return false;
            };
            let choices: Vec<bool> = match adrenaline {
                Some(role) => given.yes(role).into_iter().collect(),
                None => vec![false, true],
            };
            plan.iter().all(|line| {
                choices
                    .iter()
                    .any(|with| line.agent.most(*with, age).is_some())
            })
        }
        Needs::Recognised(role) => given.medicines(role).is_ok(),
        Needs::NoSteroid(role) => given
            .medicines(role)
            .is_ok_and(|taken| taken.iter().all(|it| it.as_prednisolone.is_none())),
    }
}

/// The roles that a condition names.
fn named(needs: &Needs) -> Vec<&'static str> {
    match *needs {
        Needs::Every => Vec::new(),
        Needs::All(parts) | Needs::Any(parts) => parts.iter().flat_map(named).collect(),
        Needs::Not(part) => named(part),
        Needs::Below(role, other) => vec![role, other],
        Needs::Allowed {
            plan,
            adrenaline,
            age,
        } => [Some(plan), adrenaline, Some(age)]
            .into_iter()
            .flatten()
            .collect(),
        Needs::Role(role)
        | Needs::LeftOut(role)
        | Needs::Is(role, _)
        | Needs::Some(role)
        | Needs::Side(role, _)
        | Needs::Above(role, _)
        | Needs::AtMost(role, _)
        | Needs::Told(role, ..)
        | Needs::Without(role, _)
        | Needs::Recognised(role)
        | Needs::NoSteroid(role) => vec![role],
    }
}

#[test]
fn every_formula_has_a_name_and_speaks_of_its_own_roles() {
    let names: BTreeSet<&str> = ALL.iter().map(|formula| formula.name).collect();
    assert_eq!(names.len(), ALL.len());
    for formula in ALL {
        assert_eq!(find(formula.name), Some(*formula));
        let roles: Vec<&str> = formula.roles.iter().map(|role| role.name).collect();
        assert_eq!(
            roles.iter().collect::<BTreeSet<_>>().len(),
            roles.len(),
            "{}",
            formula.name
        );
        assert!(
            formula.roles.is_sorted_by_key(|role| role.optional),
            "{}: roles that may be left out come last",
            formula.name
        );
        let mut spoken_of = named(&formula.zero);
        match formula.known {
            KnownWhen::Exactly(needs) => spoken_of.extend(named(&needs)),
            KnownWhen::AtMost { perhaps, surely } => {
                spoken_of.extend(named(&perhaps).into_iter().chain(named(&surely)))
            }
        }
        match formula.follows {
            Follows::Arithmetic => {}
            Follows::Born(role) | Follows::Count(role) | Follows::Points(role) => {
                spoken_of.push(role)
            }
            Follows::CountMissing(list, other) => spoken_of.extend([list, other]),
            Follows::OfSides { sites, sides, .. } => {
                spoken_of.extend([sites, sides[0].1, sides[1].1])
            }
        }
        spoken_of.extend(formula.even_with);
        spoken_of.extend(formula.cuts.iter().map(|cut| cut.role));
        spoken_of.extend(formula.cuts.iter().filter_map(|cut| {
            if let CutAt::Limit(role) = cut.at {
                Some(role)
            } else {
                None
            }
        }));
        for role in spoken_of {
            assert!(roles.contains(&role), "{} speaks of `{role}`", formula.name);
        }
    }
}

/// It is known where it says so, lies between its ends, and is what it is said to follow from.
#[test]
fn every_formula_is_known_where_it_says_and_lies_between_its_ends() {
    for formula in ALL {
        let mut dice = Dice(20_261_130);
        let (mut n_known, mut n_unknown) = (0, 0);
        for _ in 0..ROUNDS {
            let given = inputs(&mut dice, formula);
            let result = (formula.compute)(&given);
            let told = || format!("{}: {result:?} of {given:?}", formula.name);
            match formula.known {
                KnownWhen::Exactly(needs) => {
                    assert_eq!(result.is_ok(), holds(&given, &needs), "{}", told())
                }
                KnownWhen::AtMost { perhaps, surely } => {
                    assert!(result.is_err() || holds(&given, &perhaps), "{}", told());
                    assert!(result.is_ok() || !holds(&given, &surely), "{}", told());
                }
            }
            match &result {
                Ok(number) => {
                    n_known += 1;
                    assert!(
                        (formula.ends.0..=formula.ends.1).contains(number),
                        "{}",
                        told()
                    );
                    assert!(!formula.whole || number.fract() == 0.0, "{}", told());
                    assert!(
                        !holds(&given, &formula.zero) || *number == 0.0,
                        "{}",
                        told()
                    );
                    assert!(follows(formula, &given, *number), "{}", told());
                }
                Err(NoResult::Lacks(roles) | NoResult::Unusable(roles)) => {
                    n_unknown += 1;
                    assert!(
                        !roles.is_empty() && roles.iter().all(|role| given.holds(role)),
                        "{}",
                        told()
                    );
                }
                Err(NoResult::Nothing) => n_unknown += 1,
            }
        }
        assert!(
            n_known > ROUNDS / 10 && n_unknown > ROUNDS / 100,
            "{}: known {n_known} times",
            formula.name
        );
    }
}

/// Whether a number is what its formula says that it follows from.
fn follows(formula: &Formula, given: &GivenInputs<'_>, number: f64) -> bool {
    let exactly = |n: usize, number: f64| (n as f64).total_cmp(&number).is_eq();
    let chosen = |role: &'static str| given.chosen(role).unwrap_or_default();
    match formula.follows {
        Follows::Arithmetic => true,
        // On the day that comes last.
        Follows::Born(role) => {
            let days = given.0.iter().filter_map(|(name, _)| given.date(name).ok());
            let on = days.max().unwrap_or_default();
            given.date(role).is_ok_and(|born| {
                ((on - born).num_days() as f64 / 365.25 - number - 0.5).abs() < 0.51
            })
        }
        Follows::Count(list) => exactly(chosen(list).len(), number),
        Follows::Points(list) => {
            (chosen(list).iter().filter_map(|it| it.counts).sum::<f64>() - number).abs() < 1e-9
        }
        Follows::CountMissing(list, other) => exactly(
            chosen(list)
                .iter()
                .filter(|it| !chosen(other).iter().any(|of| of.id == it.id))
                .count(),
            number,
        ),
        Follows::OfSides {
            sites,
            sides,
            lowest,
        } => {
            let sides = sides
                .into_iter()
                .filter(|(side, _)| chosen(sites).iter().any(|it| it.side == Some(*side)));
            let numbers: Vec<f64> = sides
                .filter_map(|(_, role)| given.number(role).ok())
                .collect();
            numbers.contains(&number)
                && numbers
                    .iter()
                    .all(|it| if lowest { number <= *it } else { number >= *it })
        }
    }
}

/// A number somewhere in the inputs, and how the result moves as it grows.
struct Lever {
    role: &'static str,
    moves: Moves,
    read: fn(&GivenValue<'_>) -> Option<f64>,
    put: fn(&mut GivenValue<'_>, f64),
}

/// Everything in a role that is a number.
fn levers(formula: &Formula) -> Vec<Lever> {
    let number = |value: &GivenValue<'_>| {
        if let GivenValue::Number(number) = value {
            Some(*number)
        } else {
            None
        }
    };
    let mut found = Vec::new();
    for role in formula.roles {
        let mut lever = |moves, read, put| {
            found.push(Lever {
                role: role.name,
                moves,
                read,
                put,
            })
        };
        match role.kind {
            RoleKind::Number(_, moves) => {
                lever(moves, number, |value, to| *value = GivenValue::Number(to))
            }
            RoleKind::Date(moves) => lever(
                moves,
                |value| {
                    if let GivenValue::Date(day) = value {
                        Some(day_number(*day))
                    } else {
                        None
                    }
                },
                |value, to| *value = GivenValue::Date(day_of(to)),
            ),
            RoleKind::Plan {
                strength, volume, ..
            } => {
                lever(
                    strength,
                    |value| line(value)?.percent,
                    |value, to| {
                        if let GivenValue::Plan(plan) = value {
                            plan[0].percent = Some(to);
                        }
                    },
                );
                lever(
                    volume,
                    |value| line(value)?.volume_ml,
                    |value, to| {
                        if let GivenValue::Plan(plan) = value {
                            plan[0].volume_ml = Some(to);
                        }
                    },
                );
            }
            RoleKind::Medicines {
                amount: Amount::Daily,
                moves,
            } => lever(
                moves,
                |value| taken(value)?.daily_mg,
                |value, to| {
                    if let GivenValue::Medicines(taken) = value {
                        taken[0] = taken[0].map(|it| Taken {
                            daily_mg: Some(to),
                            ..it
                        });
                    }
                },
            ),
            RoleKind::Medicines {
                amount: Amount::Days,
                moves,
            } => lever(
                moves,
                |value| taken(value)?.days,
                |value, to| {
                    if let GivenValue::Medicines(taken) = value {
                        taken[0] = taken[0].map(|it| Taken {
                            days: Some(to),
                            ..it
                        });
                    }
                },
            ),
            // No number, or one that is known beforehand.
            RoleKind::Limit(_)
            | RoleKind::Sex
            | RoleKind::Sites { .. }
            | RoleKind::List
            | RoleKind::ListLike(_)
            | RoleKind::YesNo
            | RoleKind::Counted
            | RoleKind::CountedChoice => {}
        }
    }
    found
}

fn line<'a>(value: &GivenValue<'a>) -> Option<Injected<'a>> {
    if let GivenValue::Plan(plan) = value {
        plan.first().copied()
    } else {
        None
    }
}

fn taken(value: &GivenValue<'_>) -> Option<Taken> {
    if let GivenValue::Medicines(taken) = value {
        taken.first().copied().flatten()
    } else {
        None
    }
}

fn day_number(day: NaiveDate) -> f64 {
    (day - NaiveDate::default()).num_days() as f64
}

fn day_of(number: f64) -> NaiveDate {
    NaiveDate::default() + chrono::TimeDelta::days(number as i64)
}

/// Where a role is cut, given all else.
fn cuts_of(formula: &Formula, given: &GivenInputs<'_>, role: &str) -> Vec<(f64, bool)> {
    let at = |cut: &HiddenCut| match cut.at {
        CutAt::Number(number) => Some(number),
        CutAt::Limit(limit) => given.number(limit).ok(),
        CutAt::RegisterAges => Some(REGISTER_AGE),
    };
    formula
        .cuts
        .iter()
        .filter(|cut| cut.role == role)
        .filter_map(|cut| Some((at(cut)?, cut.value_below)))
        .collect()
}

/// Between its cuts each number moves the result as the formula says, and each that is said to move it does.
#[test]
fn every_number_moves_its_formula_as_it_says() {
    for formula in ALL {
        let mut dice = Dice(20_261_201);
        for lever in levers(formula) {
            let (mut n_compared, mut n_moved) = (0, 0);
            for _ in 0..ROUNDS {
                let mut given = inputs(&mut dice, formula);
                let Some(at) = given.0.iter().position(|(name, _)| *name == lever.role) else {
                    continue;
                };
                let Some(one) = given.0[at].1.as_ref().and_then(lever.read) else {
                    continue;
                };
                let cuts = cuts_of(formula, &given, lever.role);
                let others: Vec<f64> = cuts
                    .iter()
                    .map(|(at, _)| *at)
                    .chain([one + dice.roll(30) as f64, one * 1.5])
                    .collect();
                let other = others[dice.roll(others.len())];
                let same_cell = cuts.iter().all(|(at, value_below)| {
                    let above = |number: f64| {
                        if *value_below {
                            number > *at
                        } else {
                            number >= *at
                        }
                    };
                    above(one) == above(other)
                });
                if !same_cell {
                    continue;
                }
                let (low, high) = (one.min(other), one.max(other));
                let mut run = |to: f64| {
                    if let Some(value) = &mut given.0[at].1 {
                        (lever.put)(value, to);
                    }
                    (formula.compute)(&given)
                };
                let (Ok(of_low), Ok(of_high)) = (run(low), run(high)) else {
                    continue;
                };
                let told = format!(
                    "{}: {} from {low} to {high} gives {of_low} and {of_high}",
                    formula.name, lever.role
                );
                let noise = 1e-12 * of_low.abs().max(of_high.abs());
                let (may_rise, may_fall) = match lever.moves {
                    Moves::Rises => (true, false),
                    Moves::Falls => (false, true),
                    Moves::FallsUnlessNegative(role) => {
                        (given.number(role).is_ok_and(|number| number < 0.0), true)
                    }
                    Moves::Stays => (false, false),
                };
                assert!(may_rise || of_high <= of_low + noise, "{told}");
                assert!(may_fall || of_high >= of_low - noise, "{told}");
                n_compared += 1;
                n_moved += usize::from((of_high - of_low).abs() > noise);
            }
            let told = format!(
                "{}: {} compared {n_compared} times, moved {n_moved}",
                formula.name, lever.role
            );
            assert!(
                n_compared > ROUNDS / 40 && (n_moved > 0 || lever.moves == Moves::Stays),
                "{told}"
            );
        }
    }
}

/// What grows evenly with a number or with the volumes of a plan lies on a line.
#[test]
fn what_grows_evenly_lies_on_a_line() {
    let mut n_even = 0;
    for formula in ALL {
        let Some(role) = formula.even_with else {
            continue;
        };
        let mut dice = Dice(20_261_202);
        let mut n_lines = 0;
        for _ in 0..ROUNDS {
            let given = inputs(&mut dice, formula);
            let scaled = |by: f64| {
                let mut given = given.clone();
                for (_, value) in given.0.iter_mut().filter(|(name, _)| *name == role) {
                    match value {
                        Some(GivenValue::Number(number)) => *number *= by,
                        Some(GivenValue::Plan(plan)) => plan
                            .iter_mut()
                            .for_each(|line| line.volume_ml = line.volume_ml.map(|ml| ml * by)),
                        _ => {}
                    }
                }
                (formula.compute)(&given)
            };
            let (Ok(whole), Ok(half), Ok(quarter)) = (scaled(1.0), scaled(0.5), scaled(0.25))
            else {
                continue;
            };
            let (first, second) = (whole - half, half - quarter);
            assert!(
                (first - 2.0 * second).abs() <= 1e-9 * (1.0 + whole.abs()),
                "{}: {whole} {half} {quarter} of {given:?}",
                formula.name
            );
            n_lines += usize::from(first > 0.0);
        }
        assert!(n_lines > ROUNDS / 40, "{}: {n_lines}", formula.name);
        n_even += 1;
    }
    assert!(n_even > 0);
}

// --- What `rules formulas` tells -------------------------------------------------------------------------------

/// The row of each formula, put at the end of the derived facts: one that the rule set uses already is given the very same there, its
/// limits by name; another loads, or is refused for what somebody must choose, and never takes a fact that only measures the like.
#[rstest]
#[case::nails(nails())]
#[case::skin(skin())]
fn the_row_of_each_formula_is_as_the_rule_set_has_it(#[case] shipped: &Shipped) {
    let text = text_of(&shipped.files, "questions.yaml");
    for row in FormulaRow::all(&shipped.rules) {
        let used = |it: &&Derived| it.formula.name == row.name;
        let mut files = shipped.files.clone();
        let entry = row.row.replacen("id: ", "id: copied_", 1);
        files.set(
            "questions.yaml",
            format!("{}\n  {entry}\n", text.trim_end()),
        );
        let loaded = rule_set(&files);
        match (shipped.rules.catalogue.derived.iter().find(used), loaded) {
            (Some(there), Ok(rules)) => {
                let copied = rules
                    .catalogue
                    .derived
                    .iter()
                    .find(|it| it.id.contains("copied_"));
                assert_eq!(
                    copied.map(|it| &it.inputs),
                    Some(&there.inputs),
                    "{}",
                    row.row
                );
            }
            (None, Ok(_)) => assert!(!row.row.contains("some-"), "{}", row.row),
            (None, Err(found)) => assert!(
                ["section.question", "some-limit", "some-unit"]
                    .iter()
                    .any(|it| row.row.contains(it)),
                "{}: {:?}",
                row.row,
                codes(&found)
            ),
            (Some(_), Err(found)) => unreachable!("{}: {:?}", row.row, codes(&found)),
        }
    }
}

/// A weight is a weight, an ideal weight is not: in a rule set without one nobody copies the one for the other.
#[test]
fn a_role_is_given_no_fact_of_another_name() {
    let files = RuleFiles::folder(Path::new("examples/rule-sets/start/rules"));
    let rules = files.and_then(|it| rule_set(&it));
    let rules = rules.unwrap_or_else(|found| unreachable!("{:?}", codes(&found)));
    let rows = FormulaRow::all(&rules);
    let row = |name: &str| {
        rows.iter()
            .find(|it| it.name == name)
            .map_or("", |it| &it.row)
    };
    let of_dosing = "with: { weight: person.weight, ideal: section.question, age: derived.age, adult_from: { limit: some-limit }, ceiling: section.question }";
    assert!(
        row("dosing-weight").contains(of_dosing),
        "{}",
        row("dosing-weight")
    );
    let of_lower =
        "unit: some-unit, decimals: 1, with: { one: section.question, other: section.question }";
    assert!(row("lower-of").contains(of_lower), "{}", row("lower-of"));
    let of_volume = "with: { plan: plan.anaesthetic, sites: section.question }";
    assert!(
        row("volume-per-site").contains(of_volume),
        "{}",
        row("volume-per-site")
    );
}

/// Every role stands in the text, the JSON and the book, and every role that is needed in what it is known with.
#[test]
fn every_formula_is_told_whole() {
    let (rules, _) = embedded_once();
    let rows = FormulaRow::all(rules);
    assert_eq!(rows.len(), ALL.len());
    let text = formulas::text(
        &rows,
        &Style {
            width: 100,
            colour: false,
        },
    );
    let json: serde_json::Value = serde_json::from_str(&formulas::json(&rows)).unwrap_or_default();
    for (at, formula) in ALL.iter().enumerate() {
        assert!(
            text.contains(&format!("{}: {}\n", formula.name, formula.about)),
            "{}",
            formula.name
        );
        assert_eq!(json["formulas"][at]["name"], formula.name);
        assert!(
            formula.source.len() >= 8 && !formula.source.ends_with('.'),
            "{}",
            formula.source
        );
        for (role, told) in formula.roles.iter().zip(&rows[at].roles) {
            assert!(text.contains(&told.in_words()), "{}", told.in_words());
            let is_told =
                rows[at].known_with == "every role" || rows[at].known_with.contains(role.name);
            let only_counts =
                matches!(role.kind, RoleKind::Number(..) | RoleKind::Limit(_)) || role.optional;
            assert!(
                is_told || only_counts,
                "{} {}: {}",
                formula.name,
                role.name,
                rows[at].known_with
            );
        }
    }
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("../snapshots");
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!("formulas", text));
}
