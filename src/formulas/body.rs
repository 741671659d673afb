//! Body-mass index, ideal weight, and the weight that doses are taken from.

use super::{positive, settled};

/// Centimetres in an inch.
const CM_PER_INCH: f64 = 2.54;

/// Sex as the formulas use it. They were published for two groups only.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Sex {
    /// The constants published for women.
    Female,
    /// The constants published for men.
    Male,
}

/// Body-mass index in kg/m2, from kilograms and centimetres. Unrounded: a limit of 40 is tested on what comes out.
///
/// # Missing data
/// Both inputs are known. A missing height never becomes an average one.
///
/// # Returns
/// `None` unless weight and height are above zero.
///
/// # Source
/// Quetelet's index, the common definition; from memory.
pub fn body_mass_index(weight_kg: f64, height_cm: f64) -> Option<f64> {
    let weight_kg = positive(weight_kg)?;
    let height_cm = positive(height_cm)?;
    settled(weight_kg * 10_000.0 / (height_cm * height_cm))
}

/// Ideal weight in kg by Broca: height in centimetres less 100 for men, less 105 for women. For adults.
///
/// # Returns
/// `None` if the height is so small that nothing is left.
///
/// # Source
/// Broca index, in the form given by the teaching page Ideal body weight (Master Anesthesia; no year shown). Read.
pub fn broca(height_cm: f64, sex: Sex) -> Option<f64> {
    let less = match sex {
        Sex::Male => 100.0,
        Sex::Female => 105.0,
    };
    settled(positive(height_cm)? - less).and_then(positive)
}

/// Ideal weight in kg by Devine: 50 kg for men or 45.5 kg for women, and 2.3 kg for each inch over 60. For adults.
///
/// Below 60 inches (152.4 cm) the line is simply continued downwards, as calculators do. The formula was not made for
/// that; it errs towards a lower weight, which is the careful side for a dose. One wiki prints 45 for women; 45.5 is
/// believed to be the original.
///
/// # Returns
/// `None` if the height is so small that nothing is left.
///
/// # Source
/// Devine BJ, Gentamicin therapy, Drug Intelligence and Clinical Pharmacy, 1974. From memory; constants as in the
/// package medcalc-bench 1.7.0, which was run.
pub fn devine(height_cm: f64, sex: Sex) -> Option<f64> {
    let base = match sex {
        Sex::Male => 50.0,
        Sex::Female => 45.5,
    };
    let inches = positive(height_cm)? / CM_PER_INCH;
    settled(base + 2.3 * (inches - 60.0)).and_then(positive)
}

/// Ideal weight in kg of an adult: the lower of Broca's and Devine's figures.
///
/// # Returns
/// `None` if either figure cannot be worked out.
///
/// # Source
/// As [`broca`] and [`devine`]; taking the lower is the rule set's cautious choice.
pub fn ideal_weight(height_cm: f64, sex: Sex) -> Option<f64> {
    Some(broca(height_cm, sex)?.min(devine(height_cm, sex)?))
}

/// The weight in kg that anaesthetic limits are taken from: the lowest of actual weight, ideal weight and a ceiling.
///
/// `ideal_kg` is `None` for a child, to whom the adult formulas do not apply.
///
/// # Missing data
/// An adult whose ideal weight is unknown has an unknown dosing weight: the caller stops there and does not pass `None`.
///
/// # Returns
/// `None` unless every weight given is above zero.
///
/// # Source
/// Ideal weight in obesity: British National Formulary, lidocaine hydrochloride (no year shown). A ceiling of 75 kg:
/// Metodebok (Norway), Local anaesthesia for orthopaedic patients, 2023; of 70 kg: Wellington ICU, Local anaesthetic
/// safety calculations. Read; taking the lowest of all is the rule set's cautious choice.
pub fn dosing_weight(weight_kg: f64, ideal_kg: Option<f64>, ceiling_kg: f64) -> Option<f64> {
    let lowest = positive(weight_kg)?.min(positive(ceiling_kg)?);
    match ideal_kg {
        Some(ideal_kg) => Some(lowest.min(positive(ideal_kg)?)),
        None => Some(lowest),
    }
}
