//! Published clinical arithmetic, one file a family. Each formula names its source, its units and its edges.
//!
//! Plain functions on numbers and dates: no answers, no limits, no units to convert, nothing from the rest of the crate.
//! Whether a value is missing is settled before such a function is called; `None` says that the inputs are known but no
//! result can be worked out from them. Nothing that comes out is infinite or not a number.
//!
//! Beside its arithmetic stands what a rule set may use: a [`Formula`], with its roles, and all that the rest of the program
//! must know of it. A new one is such a value and its line in [`ALL`].

pub mod age;
pub mod anaesthetic;
pub mod body;
pub mod counts;
pub mod formula;
pub mod given;
pub mod glycaemia;
pub mod medicines;
pub mod pressure;
pub mod renal;

pub use crate::formulas::formula::{Formula, Role, RoleKind};

/// Every formula that a derived fact may use.
pub static ALL: &[&Formula] = &[
    &age::COMPLETED_YEARS,
    &body::BODY_MASS_INDEX,
    &body::IDEAL_WEIGHT,
    &body::DOSING_WEIGHT,
    &counts::LOWER_OF,
    &renal::COCKCROFT_GAULT,
    &counts::COUNT_OF,
    &pressure::PRESSURE_INDEX,
    &pressure::LOWEST_OF_OPERATED,
    &pressure::HIGHEST_OF_OPERATED,
    &anaesthetic::ANAESTHETIC_LOAD,
    &anaesthetic::VOLUME_PER_SITE,
    &anaesthetic::SITE_LOAD,
    &counts::POINTS_OF,
    &counts::DIFFERENCE,
    &counts::SHARE_OF,
    &counts::COUNT_MISSING_FROM,
    &medicines::STEROID_DAILY,
    &medicines::ADRENAL_STEROID_DAILY,
    &medicines::STEROID_DAYS,
    &medicines::PARACETAMOL_CEILING,
    &anaesthetic::ADRENALINE_TOTAL,
    &anaesthetic::ADRENALINE_PER_KG,
];

/// The formula of a name.
pub fn find(name: &str) -> Option<&'static Formula> {
    ALL.iter().copied().find(|formula| formula.name == name)
}

/// Removes what binary arithmetic adds to a decimal result, so that a value on a limit compares as on the limit.
///
/// Keeps thirteen significant digits, which moves a value by less than one part in 10^12: 0.1 + 0.2 becomes 0.3, and
/// 0.8951 stays what it is. This is far finer than any measurement, and is not the rounding of a result for display.
///
/// # Returns
/// A value that is not finite comes back as it is.
pub fn without_noise(value: f64) -> f64 {
    if !value.is_finite() {
        return value;
    }
    format!("{value:.12e}").parse().unwrap_or(value)
}

/// A result worth giving out: finite and without noise.
fn settled(value: f64) -> Option<f64> {
    value.is_finite().then(|| without_noise(value))
}

/// Lets a number pass if it is finite and above zero.
fn positive(value: f64) -> Option<f64> {
    (value.is_finite() && value > 0.0).then_some(value)
}

/// Lets a number pass if it is finite and not below zero.
fn not_negative(value: f64) -> Option<f64> {
    (value.is_finite() && value >= 0.0).then_some(value)
}
