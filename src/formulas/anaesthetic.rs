//! Doses of local anaesthetic, their limits, and several agents counted together.

use super::{not_negative, positive, settled};

/// Milligrams in each millilitre of a solution of one per cent.
const MG_PER_ML_PER_PERCENT: f64 = 10.0;

/// Dose in mg in a volume of a solution: mL x per cent x 10.
///
/// # Missing data
/// Volume and strength are known. A strength is never assumed.
///
/// # Returns
/// `None` if the volume is below zero or the strength is not above zero.
///
/// # Source
/// Mass in volume by definition (1 % is 1 g in 100 mL), as worked in a podiatry dictionary, percentage mass (no year
/// shown; read).
pub fn dose_mg(volume_ml: f64, percent: f64) -> Option<f64> {
    settled(not_negative(volume_ml)? * positive(percent)? * MG_PER_ML_PER_PERCENT)
}

/// The most of one agent, in mg: so much for each kilogram, but never more than the absolute limit if there is one.
///
/// # Missing data
/// The weight is known. Which limit applies (agent, adrenaline, age) is settled before.
///
/// # Returns
/// `None` unless every number is above zero.
///
/// # Source
/// The form is that of the British National Formulary and of product texts; the figures stand in the rule set.
pub fn limit_mg(mg_per_kg: f64, weight_kg: f64, at_most_mg: Option<f64>) -> Option<f64> {
    let by_weight = settled(positive(mg_per_kg)? * positive(weight_kg)?)?;
    match at_most_mg {
        Some(at_most_mg) => Some(by_weight.min(positive(at_most_mg)?)),
        None => Some(by_weight),
    }
}

/// A dose as a fraction of its limit; 1 is the limit. Both in mg.
///
/// # Returns
/// `None` if the dose is below zero or the limit is not above zero.
pub fn fraction(dose_mg: f64, limit_mg: f64) -> Option<f64> {
    load(&[(dose_mg, limit_mg)])
}

/// The anaesthetic load: each agent's dose over its own limit, added up; 1 is the limit. Pairs of dose and limit in mg.
///
/// Toxic effects of local anaesthetics are at least additive. The sum is freed of binary noise (less than one part in
/// 10^12), so that three thirds are exactly 1.
///
/// # Missing data
/// Every dose and limit is known. An agent without a limit makes the whole load unknown; it is not left out.
///
/// # Returns
/// `None` if any dose is below zero or any limit is not above zero. No agents at all are a load of 0.
///
/// # Source
/// Additive toxicity: Weinberg G, LipidRescue, answer on maximum dose of a mixture, 2016 (read). Fractions adding up to
/// one: from memory, anaesthesia textbooks; equal by arithmetic to the worked examples of podiatry teaching slides,
/// Local anaesthetic drugs (no year shown; read).
pub fn load(doses_and_limits_mg: &[(f64, f64)]) -> Option<f64> {
    let mut sum = 0.0;
    for (dose_mg, limit_mg) in doses_and_limits_mg {
        sum += not_negative(*dose_mg)? / positive(*limit_mg)?;
    }
    settled(sum)
}

/// The largest volume in mL of the same mixture that keeps the load at 1: planned volume over planned load.
///
/// Round it down to show it.
///
/// # Returns
/// `None` unless volume and load are above zero.
///
/// # Source
/// Arithmetic from [`load`]; worked by hand.
pub fn largest_volume_same_mix(total_volume_ml: f64, load: f64) -> Option<f64> {
    settled(positive(total_volume_ml)? / positive(load)?)
}

/// A volume in mL rounded down to whole tenths, as a syringe is read.
///
/// # Returns
/// `None` if the volume is not above zero, or less than a tenth.
///
/// # Source
/// Arithmetic; worked by hand.
pub fn whole_tenths(volume_ml: f64) -> Option<f64> {
    let tenths = settled(positive(volume_ml)? * 10.0)?.floor();
    positive(tenths / 10.0)
}

/// Adrenaline in micrograms for each kilogram.
///
/// # Missing data
/// Both are known. Where there is no adrenaline at all, the caller needs no weight.
///
/// # Returns
/// `None` if the total is below zero or the weight not above zero.
///
/// # Source
/// The form is that of the children's formulary: micrograms/kg (BNF for Children, 2018-19; read in a copy).
pub fn adrenaline_per_kg(total_micrograms: f64, weight_kg: f64) -> Option<f64> {
    settled(not_negative(total_micrograms)? / positive(weight_kg)?)
}

/// The largest volume in mL of the same mixture where only a share of the usual limit is allowed.
///
/// Round it down to show it.
///
/// # Returns
/// `None` unless volume, load and share are above zero.
///
/// # Source
/// As [`largest_volume_same_mix`].
pub fn largest_volume_of_share(total_volume_ml: f64, load: f64, share: f64) -> Option<f64> {
    settled(positive(total_volume_ml)? * positive(share)? / positive(load)?)
}

/// The most of one agent in mg where only a share of the usual limit is allowed.
///
/// # Returns
/// `None` unless both are above zero.
///
/// # Source
/// A third less in pregnancy: UK product text, lidocaine 1 %; a fifth less over 70: Metodebok (Norway), 2023. Read. The
/// shares stand in the rule set.
pub fn reduced_mg(limit_mg: f64, share: f64) -> Option<f64> {
    settled(positive(limit_mg)? * positive(share)?)
}

/// Volume in mL for each toe, if the planned total is shared equally.
///
/// # Returns
/// `None` if the volume is below zero or there is no toe.
///
/// # Source
/// Arithmetic; worked by hand.
pub fn volume_per_toe(total_volume_ml: f64, toes: u32) -> Option<f64> {
    settled(not_negative(total_volume_ml)? / positive(f64::from(toes))?)
}

/// Adrenaline in micrograms in the whole volume of the plan, in mL, at so many micrograms in each millilitre.
///
/// All of the volume is taken to hold it, which counts too much and never too little if one of several solutions is
/// plain. A solution of 1 in 200,000 holds 5 micrograms in each mL.
///
/// # Missing data
/// Volume and strength are known. That no adrenaline is planned is settled before, and is 0.
///
/// # Returns
/// `None` if either is below zero.
///
/// # Source
/// Mass in volume by definition (1 in 200,000 is 1 g in 200,000 mL); clinical pharmacology textbook extract, local
/// anaesthetics (no year shown; read): 500 micrograms in 100 mL.
pub fn adrenaline_total(total_volume_ml: f64, micrograms_per_ml: f64) -> Option<f64> {
    settled(not_negative(total_volume_ml)? * not_negative(micrograms_per_ml)?)
}
