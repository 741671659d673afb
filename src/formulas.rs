//! Published clinical arithmetic, one file a family. Each formula names its source, its units and its edges.
//!
//! Plain functions on numbers and dates: no answers, no limits, no units to convert, nothing from the rest of the crate.
//! Whether a value is missing is settled before a formula is called; `None` says that the inputs are known but no
//! result can be worked out from them. Nothing that comes out is infinite or not a number.

pub mod age;
pub mod anaesthetic;
pub mod body;
pub mod counts;
pub mod glycaemia;
pub mod medicines;
pub mod pressure;
pub mod renal;

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
