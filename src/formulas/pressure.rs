//! Ratios of a pressure in a limb to the pressure in the arm.

use crate::formulas::formula::{
    ANY_NUMBER, FROM_ZERO, Follows, Formula, Gives, KnownWhen, Moves, Needs, Role, RoleKind,
};
use crate::formulas::given::{GivenInputs, NoResult, Side, result};
use crate::formulas::{not_negative, positive, settled};

/// [`pressure_index`] of a rule set.
pub(crate) static PRESSURE_INDEX: Formula = Formula {
    name: "pressure-index",
    about: "a distal pressure over the higher arm pressure",
    source: "NICE CG147, Peripheral arterial disease: diagnosis and management, 2012 (from memory)",
    roles: &[
        Role::number("distal", "mmHg", Moves::Rises),
        Role::number("arm_left", "mmHg", Moves::Falls),
        Role::number("arm_right", "mmHg", Moves::Falls),
    ],
    gives: Gives::Plain,
    whole: false,
    ends: FROM_ZERO,
    cuts: &[],
    known: KnownWhen::Exactly(Needs::Every),
    zero: Needs::NEVER,
    follows: Follows::Arithmetic,
    even_with: None,
    compute: |given| {
        let [distal, left, right] = given.numbers(["distal", "arm_left", "arm_right"])?;
        result(pressure_index(distal, left, right))
    },
};

const OF_SIDES: &[Role] = &[
    Role::new("sites", RoleKind::Sites { sided: true }),
    Role::any_number("left", Moves::Rises),
    Role::any_number("right", Moves::Rises),
];

const SIDES: [(Side, &str); 2] = [(Side::Left, "left"), (Side::Right, "right")];

/// The list says something, and each side that it names has its number.
const EACH_SIDE: Needs = Needs::All(&[
    Needs::Role("sites"),
    Needs::Any(&[
        Needs::All(&[Needs::Side("sites", Side::Left), Needs::Role("left")]),
        Needs::All(&[Needs::Side("sites", Side::Right), Needs::Role("right")]),
    ]),
    Needs::Any(&[
        Needs::Not(&Needs::Side("sites", Side::Left)),
        Needs::Role("left"),
    ]),
    Needs::Any(&[
        Needs::Not(&Needs::Side("sites", Side::Right)),
        Needs::Role("right"),
    ]),
]);

/// [`lowest`] of the sides operated on; the other side is not needed.
pub(crate) static LOWEST_OF_OPERATED: Formula = LOWEST;

const LOWEST: Formula = Formula {
    name: "lowest-of-operated",
    about: "the lowest of the sides operated on",
    source: "Arithmetic",
    roles: OF_SIDES,
    gives: Gives::AsGiven,
    whole: false,
    ends: ANY_NUMBER,
    cuts: &[],
    known: KnownWhen::Exactly(EACH_SIDE),
    zero: Needs::NEVER,
    follows: Follows::OfSides {
        sites: "sites",
        sides: SIDES,
        lowest: true,
    },
    even_with: None,
    compute: |given| result(lowest(&operated(given)?)),
};

/// [`highest`] of the sides operated on.
pub(crate) static HIGHEST_OF_OPERATED: Formula = Formula {
    name: "highest-of-operated",
    about: "the highest of the sides operated on",
    follows: Follows::OfSides {
        sites: "sites",
        sides: SIDES,
        lowest: false,
    },
    compute: |given| result(highest(&operated(given)?)),
    ..LOWEST
};

/// The numbers of the sides operated on.
fn operated(given: &GivenInputs<'_>) -> Result<Vec<f64>, NoResult> {
    let chosen = given.chosen("sites")?;
    let sides = SIDES
        .into_iter()
        .filter(|(side, _)| chosen.iter().any(|site| site.side == Some(*side)));
    let numbers: Vec<(&'static str, Result<f64, NoResult>)> =
        sides.map(|(_, role)| (role, given.number(role))).collect();
    let lacking: Vec<&'static str> = numbers
        .iter()
        .filter(|(_, number)| number.is_err())
        .map(|(role, _)| *role)
        .collect();
    match (numbers.is_empty(), lacking.is_empty()) {
        (true, _) => Err(NoResult::Unusable(vec!["sites"])),
        (false, false) => Err(NoResult::Lacks(lacking)),
        (false, true) => numbers.into_iter().map(|(_, number)| number).collect(),
    }
}

/// The higher of the two systolic arm pressures, in the unit given.
///
/// # Missing data
/// Both arms are known. If one was not measured the higher is not known either.
///
/// # Returns
/// `None` unless both are above zero: a pressure of 0 in an arm is a gap in the record.
///
/// # Source
/// NICE CG147, Peripheral arterial disease: diagnosis and management, 2012. From memory.
pub fn higher_arm(arm_left: f64, arm_right: f64) -> Option<f64> {
    Some(positive(arm_left)?.max(positive(arm_right)?))
}

/// Pressure index, such as ankle-brachial: the pressure far down a limb over that of the higher arm.
///
/// All three in one unit. The higher arm gives the lower index. Unrounded: 128 over 143 prints as 0.90 but is 0.8951,
/// which is below 0.90.
///
/// # Missing data
/// All three are known.
///
/// # Returns
/// `None` if an arm pressure is not above zero or the other is below zero. No pressure found at the ankle is 0, and
/// gives an index of 0.
///
/// # Source
/// Ankle: NICE CG147, Peripheral arterial disease: diagnosis and management, 2012 (from memory). Toe: Tehan and others,
/// Sensitivity and Specificity of the Toe-Brachial Index, Journal of Ultrasound in Medicine (no year shown; read).
pub fn pressure_index(distal: f64, arm_left: f64, arm_right: f64) -> Option<f64> {
    settled(not_negative(distal)? / higher_arm(arm_left, arm_right)?)
}

/// The lowest of several values, such as the indices of both legs.
///
/// # Missing data
/// All values are known: leaving a missing one out could hide the lowest.
///
/// # Returns
/// `None` if there are none, or one of them is not finite.
pub fn lowest(values: &[f64]) -> Option<f64> {
    values
        .iter()
        .all(|value| value.is_finite())
        .then(|| values.iter().copied().reduce(f64::min))?
}

/// The highest of several values.
///
/// # Missing data
/// As [`lowest`].
///
/// # Returns
/// As [`lowest`].
pub fn highest(values: &[f64]) -> Option<f64> {
    values
        .iter()
        .all(|value| value.is_finite())
        .then(|| values.iter().copied().reduce(f64::max))?
}
