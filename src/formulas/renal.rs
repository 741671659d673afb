//! Creatinine clearance by Cockcroft and Gault. Not a filtration rate indexed to body surface, and no stand-in for one.

use crate::formulas::formula::{
    FROM_ZERO, Follows, Formula, Gives, KnownWhen, Moves, Needs, Role, RoleKind,
};
use crate::formulas::given::{Sex, both, result};
use crate::formulas::{not_negative, positive, settled};

/// [`cautious`] of a rule set.
pub(crate) static COCKCROFT_GAULT: Formula = Formula {
    name: "cockcroft-gault",
    about: "creatinine clearance by Cockcroft and Gault, the lower of its two published forms",
    source: "Cockcroft DW, Gault MH, Nephron, 1976 (from memory), in the forms of NHS Highland, Prescribing medicines in renal impairment, and of Taber's Medical Dictionary (read); the floor: NHS Greater Glasgow and Clyde, Adult Therapeutics Handbook, 2024 (read)",
    roles: &[
        Role::number("age", "years", Moves::Falls),
        Role::number("weight", "kg", Moves::Rises),
        Role::new("sex", RoleKind::Sex),
        Role::number("creatinine", "umol/L", Moves::Falls),
        Role::number("floor", "umol/L", Moves::Falls),
    ],
    gives: Gives::In("mL/min"),
    whole: false,
    ends: FROM_ZERO,
    cuts: &[],
    known: KnownWhen::Exactly(Needs::Every),
    zero: Needs::NEVER,
    follows: Follows::Arithmetic,
    even_with: None,
    compute: |given| {
        let numbers = given.numbers(["age", "weight", "creatinine", "floor"]);
        let ([age, weight, creatinine, floor], sex) = both(numbers, given.sex("sex"))?;
        result(cautious(age, weight, sex, creatinine, floor))
    },
};

/// The age at which the formula reaches zero.
const AGE_OF_ZERO: f64 = 140.0;

/// Micromoles per litre in one milligram per decilitre of creatinine.
const UMOL_PER_MG_DL: f64 = 88.4;

/// Creatinine clearance in mL/min by the constants for micromol/L: (140 - age) x kg x 1.23 (men) or 1.04 (women) /
/// creatinine.
///
/// The constants are roundings of those in [`cockcroft_gault_us`]: about 0.2 % high for men, 0.35 % low for women.
/// Made for adults with steady creatinine. Which weight goes in is the caller's to state.
///
/// # Missing data
/// All inputs are known.
///
/// # Returns
/// `None` for an age below 0 or from 140, and for a weight or creatinine not above zero.
///
/// # Source
/// Cockcroft DW, Gault MH, Nephron, 1976 (from memory), in the form given by NHS Highland, Prescribing medicines in
/// renal impairment (read).
pub fn cockcroft_gault_si(
    age_years: f64,
    weight_kg: f64,
    sex: Sex,
    creatinine_umol_l: f64,
) -> Option<f64> {
    let constant = match sex {
        Sex::Male => 1.23,
        Sex::Female => 1.04,
    };
    let years_left = years_left(age_years)?;
    settled(years_left * positive(weight_kg)? * constant / positive(creatinine_umol_l)?)
        .and_then(positive)
}

/// Creatinine clearance in mL/min by the constants for mg/dL: (140 - age) x kg / (72 x creatinine), x 0.85 for women.
///
/// Creatinine is given in micromol/L and divided by 88.4.
///
/// # Missing data
/// All inputs are known.
///
/// # Returns
/// As [`cockcroft_gault_si`].
///
/// # Source
/// Cockcroft DW, Gault MH, Nephron, 1976 (from memory), in the form given by Taber's Medical Dictionary,
/// Cockcroft-Gault formula (read).
pub fn cockcroft_gault_us(
    age_years: f64,
    weight_kg: f64,
    sex: Sex,
    creatinine_umol_l: f64,
) -> Option<f64> {
    let factor = match sex {
        Sex::Male => 1.0,
        Sex::Female => 0.85,
    };
    let years_left = years_left(age_years)?;
    let creatinine_mg_dl = positive(creatinine_umol_l)? / UMOL_PER_MG_DL;
    settled(years_left * positive(weight_kg)? * factor / (72.0 * creatinine_mg_dl))
        .and_then(positive)
}

/// Creatinine clearance in mL/min, on the careful side: the lower of the two forms, with a low creatinine raised to a
/// floor first.
///
/// Near a limit the two forms can fall on opposite sides of it. A low creatinine mostly means little muscle, and would
/// make the kidney look better than it is; a floor of 0 leaves it as it is.
///
/// # Missing data
/// All inputs are known.
///
/// # Returns
/// `None` as [`cockcroft_gault_si`], and for a floor below zero. A creatinine that is not above zero is refused and not
/// raised to the floor.
///
/// # Source
/// The two forms as above; the floor as in NHS Greater Glasgow and Clyde, Adult Therapeutics Handbook, creatinine
/// clearance page, 2024 (read). Taking the lower is the rule set's cautious choice.
pub fn cautious(
    age_years: f64,
    weight_kg: f64,
    sex: Sex,
    creatinine_umol_l: f64,
    floor_umol_l: f64,
) -> Option<f64> {
    let creatinine = positive(creatinine_umol_l)?.max(not_negative(floor_umol_l)?);
    let si = cockcroft_gault_si(age_years, weight_kg, sex, creatinine)?;
    let us = cockcroft_gault_us(age_years, weight_kg, sex, creatinine)?;
    Some(si.min(us))
}

/// What is left of 140 years.
fn years_left(age_years: f64) -> Option<f64> {
    positive(AGE_OF_ZERO - not_negative(age_years)?)
}
