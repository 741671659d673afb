//! Ratios of a pressure in the leg or toe to the pressure in the arm.

use super::{not_negative, positive, settled};

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

/// Ankle-brachial or toe-brachial pressure index: the pressure in the ankle or toe over that of the higher arm.
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
    values.iter().all(|value| value.is_finite()).then(|| values.iter().copied().reduce(f64::min))?
}

/// The highest of several values.
///
/// # Missing data
/// As [`lowest`].
///
/// # Returns
/// As [`lowest`].
pub fn highest(values: &[f64]) -> Option<f64> {
    values.iter().all(|value| value.is_finite()).then(|| values.iter().copied().reduce(f64::max))?
}
