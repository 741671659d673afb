//! Doses of medicines by the day: steroids counted together, and the most paracetamol.

use crate::formulas::formula::{
    Amount, CutAt, FROM_ZERO, Follows, Formula, Gives, HiddenCut, KnownWhen, Moves, Needs, Role,
    RoleKind,
};
use crate::formulas::given::{GivenInputs, NoResult, Taken, result};
use crate::formulas::{not_negative, positive, settled};

/// Known where every steroid has its amount, and 0 where there is no steroid.
const STEROIDS: KnownWhen = KnownWhen::AtMost {
    perhaps: Needs::Recognised("medicines"),
    surely: Needs::NoSteroid("medicines"),
};

/// [`steroid_daily`] by how a steroid calms inflammation.
pub(crate) static STEROID_DAILY: Formula = DAILY;

const DAILY: Formula = Formula {
    name: "steroid-daily",
    about: "steroid for each day, every kind counted in the same strength",
    source: "Adding up follows from counting each in one strength (table of equal anti-inflammatory doses, British National Formulary; from memory); the factors stand in the rule set",
    roles: &[Role::new(
        "medicines",
        RoleKind::Medicines {
            amount: Amount::Daily,
            moves: Moves::Rises,
        },
    )],
    gives: Gives::In("mg"),
    whole: false,
    ends: FROM_ZERO,
    cuts: &[],
    known: STEROIDS,
    zero: Needs::NoSteroid("medicines"),
    follows: Follows::Arithmetic,
    even_with: None,
    compute: |given| daily(given, |taken| taken.as_prednisolone),
};

/// [`steroid_daily`] by how a steroid puts the adrenals to sleep.
pub(crate) static ADRENAL_STEROID_DAILY: Formula = Formula {
    name: "adrenal-steroid-daily",
    about: "steroid for each day, every kind counted by how it puts the adrenals to sleep",
    source: "Simpson and colleagues, Guidance for the prevention and emergency management of adult patients with adrenal insufficiency, Clinical Medicine, 2020, table 4 (read); the factors stand in the rule set",
    compute: |given| daily(given, |taken| taken.adrenal_as_prednisolone),
    ..DAILY
};

/// [`longest_course`] of a rule set.
pub(crate) static STEROID_DAYS: Formula = Formula {
    name: "steroid-days",
    about: "the longest course of a steroid",
    source: "Counting",
    roles: &[Role::new(
        "medicines",
        RoleKind::Medicines {
            amount: Amount::Days,
            moves: Moves::Rises,
        },
    )],
    gives: Gives::In("days"),
    compute: |given| {
        result(longest_course(&steroids(
            given,
            |taken| taken.as_prednisolone,
            |taken, _| taken.days,
        )?))
    },
    ..DAILY
};

/// [`paracetamol_ceiling`] of a rule set.
pub(crate) static PARACETAMOL_CEILING: Formula = Formula {
    name: "paracetamol-ceiling",
    about: "the most of the painkiller in a day, by weight and age",
    source: "Adults: NHS Telford and Wrekin, weight-adjusted doses by mouth in adults, 2018 (a copy; read); children: a clinic page quoting NPS MedicineWise (no year shown; read); the figures stand in the rule set",
    roles: &[
        Role::number("weight", "kg", Moves::Rises),
        Role::number("age", "years", Moves::Stays),
        Role::limit("adult_from", "years"),
        Role::limit("light", "kg"),
        Role::limit("middle", "kg"),
        Role::number("light_daily", "g", Moves::Rises),
        Role::number("middle_daily", "g", Moves::Rises),
        Role::number("full_daily", "g", Moves::Rises),
        Role::number("child_per_kg", "mg/kg", Moves::Rises),
        Role::number("child_dose_cap", "g", Moves::Rises),
        Role::any_number("doses", Moves::Rises),
    ],
    gives: Gives::In("g"),
    whole: false,
    ends: FROM_ZERO,
    cuts: &[
        HiddenCut {
            role: "weight",
            at: CutAt::Limit("light"),
            value_below: true,
        },
        HiddenCut {
            role: "weight",
            at: CutAt::Limit("middle"),
            value_below: false,
        },
        HiddenCut {
            role: "age",
            at: CutAt::Limit("adult_from"),
            value_below: false,
        },
    ],
    known: KnownWhen::Exactly(Needs::Every),
    zero: Needs::NEVER,
    follows: Follows::Arithmetic,
    even_with: None,
    compute: |given| {
        let [
            weight,
            age,
            adult_from,
            light,
            middle,
            light_daily,
            middle_daily,
            full_daily,
            child_per_kg,
            child_dose_cap,
            doses,
        ] = given.numbers([
            "weight",
            "age",
            "adult_from",
            "light",
            "middle",
            "light_daily",
            "middle_daily",
            "full_daily",
            "child_per_kg",
            "child_dose_cap",
            "doses",
        ])?;
        let bands = ParacetamolBands {
            light,
            middle,
            light_daily,
            middle_daily,
            full_daily,
            child_per_kg,
            child_dose_cap,
            doses,
        };
        result(paracetamol_ceiling(weight, age >= adult_from, &bands))
    },
};

fn daily(given: &GivenInputs<'_>, factor: fn(&Taken) -> Option<f64>) -> Result<f64, NoResult> {
    result(steroid_daily(&steroids(given, factor, |taken, factor| {
        Some((taken.daily_mg?, factor))
    })?))
}

/// One value for each steroid taken, with what a milligram of it counts as; each must have its value.
fn steroids<T>(
    given: &GivenInputs<'_>,
    factor: fn(&Taken) -> Option<f64>,
    value: fn(&Taken, f64) -> Option<T>,
) -> Result<Vec<T>, NoResult> {
    let taken = given.medicines("medicines")?;
    let values: Option<Vec<T>> = taken
        .iter()
        .filter_map(|taken| Some(value(taken, factor(taken)?)))
        .collect();
    values.ok_or_else(|| NoResult::Lacks(vec!["medicines"]))
}

/// Milligrams in a gram.
const MG_PER_G: f64 = 1000.0;

/// Steroid for each day in mg of prednisolone: each daily dose in mg times what one mg of it counts as, added up.
///
/// What one mg counts as depends on what is asked: how much it calms inflammation, or how it puts the adrenals to sleep.
///
/// # Missing data
/// Every dose is known. No steroid at all is 0.
///
/// # Returns
/// `None` if a dose is below zero or a factor is not above zero.
///
/// # Source
/// Table of equal anti-inflammatory doses, British National Formulary (from memory); for the adrenals, Simpson and
/// colleagues, Guidance for the prevention and emergency management of adult patients with adrenal insufficiency, Clinical
/// Medicine 2020, table 4 (read). The factors stand in the rule set.
/// Adding them up follows from counting each as prednisolone.
pub fn steroid_daily(doses_mg_and_factors: &[(f64, f64)]) -> Option<f64> {
    let mut sum = 0.0;
    for (daily_mg, factor) in doses_mg_and_factors {
        sum += not_negative(*daily_mg)? * positive(*factor)?;
    }
    settled(sum)
}

/// Days of the longest course of several. No course at all is 0.
///
/// Courses are not added up: whether they followed each other is not known from their lengths.
///
/// # Missing data
/// Every length is known.
///
/// # Returns
/// `None` if a length is below zero.
///
/// # Source
/// Counting. How long a month is: `Span::fewest_days`.
pub fn longest_course(days: &[f64]) -> Option<f64> {
    let mut longest = 0.0_f64;
    for course in days {
        longest = longest.max(not_negative(*course)?);
    }
    Some(longest)
}

/// What decides the most paracetamol in 24 hours. Weights in kg, amounts in g.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ParacetamolBands {
    /// At or below this weight, `light_daily`.
    pub light: f64,
    /// Below this weight (and above the light one), `middle_daily`; from it on, `full_daily`.
    pub middle: f64,
    /// For the light.
    pub light_daily: f64,
    /// For those between.
    pub middle_daily: f64,
    /// For all others.
    pub full_daily: f64,
    /// For a child, mg for each kg in one dose.
    pub child_per_kg: f64,
    /// For a child, the most in one dose.
    pub child_dose_cap: f64,
    /// For a child, doses in 24 hours.
    pub doses: f64,
}

/// The most paracetamol in 24 hours, in g.
///
/// For an adult, one of three bands by weight. The published bands are whole kilograms (40 or less, 41 to 49, 50 and
/// more); a weight between two of them falls into the lower one on top (49.5 kg) and into the middle one below
/// (40.5 kg), since 40.5 kg is not 40 kg or less. For a child, so much for each kilogram in each dose, up to the
/// most in one dose, times the doses; never more than an adult of that weight may have.
///
/// # Missing data
/// Weight and age are known. A missing weight never becomes a usual one.
///
/// # Returns
/// `None` unless the weight and all of the bands are above zero, and the light weight is not above the middle one.
///
/// # Source
/// Adult bands: NHS Telford and Wrekin, Weight-adjusted oral paracetamol in adults, 2018 (a copy; read). Child: 15 mg/kg,
/// at most 1 g, four doses, clinic page quoting NPS MedicineWise on paracetamol (no year shown; read). The figures stand
/// in the rule set; holding the child to the adult's band is its cautious choice.
pub fn paracetamol_ceiling(weight_kg: f64, adult: bool, bands: &ParacetamolBands) -> Option<f64> {
    let weight_kg = positive(weight_kg)?;
    let (light, middle) = (positive(bands.light)?, positive(bands.middle)?);
    let dailies = (
        positive(bands.light_daily)?,
        positive(bands.middle_daily)?,
        positive(bands.full_daily)?,
    );
    let per_dose_g = positive(bands.child_per_kg)? * weight_kg / MG_PER_G;
    let of_child = per_dose_g.min(positive(bands.child_dose_cap)?) * positive(bands.doses)?;
    if light > middle {
        return None;
    }
    let of_adult = if weight_kg <= light {
        dailies.0
    } else if weight_kg < middle {
        dailies.1
    } else {
        dailies.2
    };
    settled(if adult {
        of_adult
    } else {
        of_child.min(of_adult)
    })
}
