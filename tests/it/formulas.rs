//! Published tables and worked examples, and edges worked by hand, for every formula.
//!
//! Each row names where its expected value comes from. "Worked by hand" is arithmetic from the published formula.

use chrono::NaiveDate;
use preblock::inner::formulas::age::completed_years;
use preblock::inner::formulas::anaesthetic::{
    adrenaline_per_kg, adrenaline_total, dose_mg, fraction, largest_volume_of_share,
    largest_volume_same_mix, limit_mg, load, reduced_mg, volume_per_site,
};
use preblock::inner::formulas::body::{
    body_mass_index, broca, devine, dosing_weight, ideal_weight,
};
use preblock::inner::formulas::counts::{difference, missing_from, points, share};
use preblock::inner::formulas::given::Sex;
use preblock::inner::formulas::glycaemia::{
    ifcc_to_ngsp, ifcc_to_ngsp_unrounded, ngsp_to_ifcc, ngsp_to_ifcc_unrounded,
};
use preblock::inner::formulas::medicines::{
    ParacetamolBands, longest_course, paracetamol_ceiling, steroid_daily,
};
use preblock::inner::formulas::pressure::{higher_arm, highest, lowest, pressure_index};
use preblock::inner::formulas::renal::{cautious, cockcroft_gault_si, cockcroft_gault_us};
use preblock::inner::formulas::without_noise;
use rstest::rstest;

const HAND: &str = "worked by hand";
const SLIDES: &str = "podiatry teaching slides, Local anaesthetic drugs";
const ABC: &str = "ABC of Practical Procedures, local anaesthesia, Box 4.1";
const OXFORD: &str = "Oxford Medical Education, Common local anaesthetics and their properties";
const DICTIONARY: &str = "podiatry dictionary, percentage mass";
const FOOT_MEPIVACAINE: &str = "Medscape UK, mepivacaine hydrochloride monograph";
const DIABETES_UK: &str = "Diabetes UK, Changes to HbA1c values";
const HBA1C_TEACHING: &str = "diploma teaching page, Change of HbA1c units to mmol/mol";

/// Whether a result is there and lies within a tolerance of what is expected.
fn near(actual: Option<f64>, expected: f64, tolerance: f64) -> bool {
    actual.is_some_and(|actual| (actual - expected).abs() <= tolerance)
}

/// Whether a result is there and is, to the last bit, the number written.
fn exactly(actual: Option<f64>, expected: f64) -> bool {
    actual.is_some_and(|actual| actual.total_cmp(&expected).is_eq())
}

/// Rounded as a publication prints it.
fn printed(actual: Option<f64>, decimals: usize) -> Option<String> {
    actual.map(|actual| format!("{actual:.decimals$}"))
}

#[expect(clippy::expect_used, reason = "a slip in a test ought to stop it")]
fn day(text: &str) -> NaiveDate {
    text.parse().expect("a test writes its dates well")
}

/// Numbers that no formula may take.
const BAD: [f64; 3] = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY];

// --- Noise -----------------------------------------------------------------------------------------------------

#[rstest]
#[case(0.1 + 0.2, 0.3)]
#[case(1.0 / 3.0 + 1.0 / 3.0 + 1.0 / 3.0, 1.0)]
#[case(150.000_000_000_000_03, 150.0)]
#[case(0.8951, 0.8951)]
#[case(1.000_000_001, 1.000_000_001)]
#[case(0.0, 0.0)]
#[case(-2.3, -2.3)]
fn noise_goes_and_measurements_stay(#[case] value: f64, #[case] expected: f64) {
    assert!(exactly(Some(without_noise(value)), expected));
}

// --- Age -------------------------------------------------------------------------------------------------------

#[rstest]
#[case("1986-05-14", "2026-12-03", Some(40), HAND)]
#[case("1986-12-03", "2026-12-03", Some(40), HAND)]
#[case("1986-12-04", "2026-12-03", Some(39), HAND)]
#[case("2026-12-03", "2026-12-03", Some(0), HAND)]
#[case("2026-12-04", "2026-12-03", None, HAND)]
#[case(
    "2008-02-29",
    "2026-02-28",
    Some(17),
    "worked by hand: a leap-day birthday in a common year is 1 March"
)]
#[case(
    "2008-02-29",
    "2026-03-01",
    Some(18),
    "worked by hand: a leap-day birthday in a common year is 1 March"
)]
#[case("2008-02-29", "2028-02-28", Some(19), HAND)]
#[case("2008-02-29", "2028-02-29", Some(20), HAND)]
#[case("2009-02-28", "2028-02-28", Some(19), HAND)]
#[case("2009-03-01", "2028-02-29", Some(18), HAND)]
#[case("1900-01-01", "2026-12-03", Some(126), HAND)]
fn age_in_completed_years(
    #[case] born: &str,
    #[case] on: &str,
    #[case] expected: Option<u32>,
    #[case] source: &str,
) {
    assert_eq!(completed_years(day(born), day(on)), expected, "{source}");
}

// --- Body ------------------------------------------------------------------------------------------------------

#[rstest]
#[case(68.0, 165.0, 24.977, "obesity clinic page, BMI worked example")]
#[case(70.0, 170.0, 24.221, "calculator page, BMI worked example")]
#[case(70.0, 175.0, 22.857, "package medcalc-bench 1.7.0")]
#[case(110.0, 165.0, 40.404, "package medcalc-bench 1.7.0")]
#[case(
    45.0,
    160.0,
    17.578,
    "package medimetry 0.1.0 (prints 17.6); worked by hand"
)]
#[case(
    95.0,
    180.0,
    29.321,
    "package medimetry 0.1.0 (prints 29.3); worked by hand"
)]
#[case(115.2, 170.0, 39.862, HAND)]
#[case(110.0, 160.0, 42.969, HAND)]
#[case(120.0, 178.0, 37.874, HAND)]
fn body_mass_index_as_published(
    #[case] kg: f64,
    #[case] cm: f64,
    #[case] expected: f64,
    #[case] source: &str,
) {
    let actual = body_mass_index(kg, cm);
    assert!(near(actual, expected, 0.0005), "{source}: {actual:?}");
}

#[rstest]
#[case(102.4, 160.0, 40.0)]
#[case(46.24, 170.0, 16.0)]
#[case(90.0, 150.0, 40.0)]
fn body_mass_index_on_a_limit_is_exact(#[case] kg: f64, #[case] cm: f64, #[case] expected: f64) {
    assert!(exactly(body_mass_index(kg, cm), expected));
}

#[rstest]
#[case(
    165.0,
    Sex::Male,
    65.0,
    "teaching page, Ideal body weight (Master Anesthesia)"
)]
#[case(
    165.0,
    Sex::Female,
    60.0,
    "teaching page, Ideal body weight (Master Anesthesia)"
)]
#[case(160.0, Sex::Female, 55.0, HAND)]
#[case(178.0, Sex::Male, 78.0, HAND)]
fn broca_ideal_weight(
    #[case] cm: f64,
    #[case] sex: Sex,
    #[case] expected: f64,
    #[case] source: &str,
) {
    assert!(exactly(broca(cm, sex), expected), "{source}");
}

#[rstest]
#[case(165.0, Sex::Male, 61.4, 0.05, HAND)]
#[case(
    165.0,
    Sex::Male,
    61.0,
    0.5,
    "teaching page, Ideal body weight (pounds method, whole kg)"
)]
#[case(
    165.0,
    Sex::Female,
    57.0,
    0.5,
    "teaching page, Ideal body weight (pounds method, whole kg)"
)]
#[case(
    165.0,
    Sex::Female,
    56.9094,
    0.0001,
    "worked by hand; package medcalc-bench 1.7.0 prints 56.91"
)]
#[case(
    175.0,
    Sex::Male,
    70.4646,
    0.0001,
    "worked by hand; package medcalc-bench 1.7.0 prints 70.465"
)]
#[case(177.8, Sex::Male, 73.0, 1e-9, "package medcalc-bench 1.7.0, 70 in")]
#[case(165.1, Sex::Female, 57.0, 1e-9, "package medcalc-bench 1.7.0, 65 in")]
#[case(152.4, Sex::Male, 50.0, 1e-9, "package medcalc-bench 1.7.0, 60 in")]
#[case(
    147.32,
    Sex::Female,
    40.9,
    1e-9,
    "package medcalc-bench 1.7.0, 58 in: runs on below 60 in"
)]
#[case(160.0, Sex::Female, 52.4, 0.05, HAND)]
#[case(178.0, Sex::Male, 73.2, 0.05, HAND)]
fn devine_ideal_weight(
    #[case] cm: f64,
    #[case] sex: Sex,
    #[case] expected: f64,
    #[case] tolerance: f64,
    #[case] source: &str,
) {
    let actual = devine(cm, sex);
    assert!(near(actual, expected, tolerance), "{source}: {actual:?}");
}

#[rstest]
#[case(165.0, Sex::Male, 61.4094, "worked by hand: Devine is the lower")]
#[case(165.0, Sex::Female, 56.9094, "worked by hand: Devine is the lower")]
#[case(140.0, Sex::Female, 34.2717, "worked by hand: Devine is the lower")]
#[case(120.0, Sex::Male, 20.0, "worked by hand: Broca is the lower")]
fn ideal_weight_is_the_lower_figure(
    #[case] cm: f64,
    #[case] sex: Sex,
    #[case] expected: f64,
    #[case] source: &str,
) {
    let actual = ideal_weight(cm, sex);
    assert!(near(actual, expected, 0.0001), "{source}: {actual:?}");
}

#[test]
fn no_ideal_weight_where_nothing_is_left() {
    assert_eq!(broca(100.0, Sex::Male), None);
    assert_eq!(broca(105.0, Sex::Female), None);
    assert_eq!(devine(100.0, Sex::Female), None);
    assert_eq!(ideal_weight(103.0, Sex::Female), None);
}

#[rstest]
#[case(97.0, None, 70.0, 70.0, SLIDES)]
#[case(68.0, None, 70.0, 68.0, SLIDES)]
#[case(
    120.0,
    Some(73.2),
    70.0,
    70.0,
    "worked by hand: man of 178 cm and 120 kg"
)]
#[case(
    110.0,
    Some(52.4),
    70.0,
    52.4,
    "worked by hand: woman of 160 cm and 110 kg"
)]
#[case(50.0, Some(57.0), 70.0, 50.0, HAND)]
#[case(
    20.0,
    None,
    70.0,
    20.0,
    "worked by hand: a child has no ideal weight by these formulas"
)]
#[case(80.0, Some(78.0), 75.0, 75.0, "Metodebok (Norway), ceiling of 75 kg")]
fn dosing_weight_is_the_lowest(
    #[case] weight: f64,
    #[case] ideal: Option<f64>,
    #[case] ceiling: f64,
    #[case] expected: f64,
    #[case] source: &str,
) {
    assert!(
        exactly(dosing_weight(weight, ideal, ceiling), expected),
        "{source}"
    );
}

// --- Kidney ----------------------------------------------------------------------------------------------------

/// Micromol/L from mg/dL, as the referral would be converted.
fn umol(mg_dl: f64) -> f64 {
    mg_dl * 88.4
}

#[rstest]
#[case(
    70.0,
    75.0,
    Sex::Male,
    110.0,
    58.705,
    0.001,
    "pharmacy training page, Creatinine clearance (prints 58.7)"
)]
#[case(81.0, 93.9, Sex::Male, 86.465_59, 78.810, 0.001, HAND)]
#[case(58.0, 91.4, Sex::Female, 72.780_62, 107.097, 0.001, HAND)]
#[case(80.0, 60.0, Sex::Female, 125.0, 29.952, 0.001, HAND)]
#[case(79.0, 60.0, Sex::Male, 150.0, 30.012, 0.001, HAND)]
#[case(80.0, 80.0, Sex::Female, 100.0, 49.920, 0.001, HAND)]
#[case(79.0, 70.0, Sex::Male, 105.0, 50.020, 0.001, HAND)]
#[case(40.0, 70.0, Sex::Female, 45.0, 161.778, 0.001, HAND)]
#[case(60.0, 72.0, Sex::Male, 88.4, 80.145, 0.001, HAND)]
#[case(80.0, 55.0, Sex::Female, 132.6, 25.882, 0.001, HAND)]
#[case(75.0, 70.0, Sex::Male, 176.8, 31.654, 0.001, HAND)]
fn cockcroft_gault_by_the_si_constants(
    #[case] age: f64,
    #[case] kg: f64,
    #[case] sex: Sex,
    #[case] creatinine: f64,
    #[case] expected: f64,
    #[case] tolerance: f64,
    #[case] source: &str,
) {
    let actual = cockcroft_gault_si(age, kg, sex, creatinine);
    assert!(near(actual, expected, tolerance), "{source}: {actual:?}");
}

#[rstest]
#[case(
    60.0,
    80.0,
    Sex::Male,
    umol(1.2),
    74.1,
    0.05,
    "worked formula page (health), Creatinine clearance"
)]
#[case(60.0, 80.0, Sex::Male, umol(1.2), 74.074, 0.001, HAND)]
#[case(
    45.0,
    65.0,
    Sex::Female,
    umol(0.9),
    80.9,
    0.1,
    "worked formula page (health), cut to one decimal there"
)]
#[case(45.0, 65.0, Sex::Female, umol(0.9), 80.999, 0.001, HAND)]
#[case(
    65.0,
    70.0,
    Sex::Male,
    umol(1.4),
    52.1,
    0.05,
    "worked formula page (pharmacology), Creatinine clearance"
)]
#[case(65.0, 70.0, Sex::Male, umol(1.4), 52.083, 0.001, HAND)]
#[case(
    45.0,
    60.0,
    Sex::Female,
    umol(0.9),
    74.8,
    0.05,
    "worked formula page (pharmacology), Creatinine clearance"
)]
#[case(45.0, 60.0, Sex::Female, umol(0.9), 74.769, 0.001, HAND)]
#[case(
    50.0,
    80.0,
    Sex::Male,
    umol(1.0),
    100.0,
    1e-9,
    "worked formula page, Creatinine clearance"
)]
#[case(
    81.0,
    93.9,
    Sex::Male,
    86.465_59,
    78.667_27,
    0.000_05,
    "documentation of the package nif, synthetic data"
)]
#[case(
    58.0,
    91.4,
    Sex::Female,
    72.780_62,
    107.4689,
    0.000_05,
    "documentation of the package nif, synthetic data"
)]
#[case(80.0, 60.0, Sex::Female, 125.0, 30.056, 0.001, HAND)]
#[case(79.0, 60.0, Sex::Male, 150.0, 29.958, 0.001, HAND)]
#[case(80.0, 80.0, Sex::Female, 100.0, 50.093, 0.001, HAND)]
#[case(79.0, 70.0, Sex::Male, 105.0, 49.930, 0.001, HAND)]
#[case(
    70.0,
    75.0,
    Sex::Male,
    umol(110.0),
    0.663,
    0.001,
    "worked by hand: 110 umol/L given as mg/dL"
)]
#[case(
    60.0,
    72.0,
    Sex::Male,
    umol(1.0),
    80.0,
    0.0001,
    "package medimetry 0.1.0 (prints 80.0); worked by hand"
)]
#[case(
    60.0,
    72.0,
    Sex::Female,
    umol(1.0),
    68.0,
    0.0001,
    "package medimetry 0.1.0 (prints 68.0); worked by hand"
)]
#[case(
    80.0,
    55.0,
    Sex::Female,
    umol(1.5),
    25.9722,
    0.0001,
    "package medimetry 0.1.0 (prints 26.0); worked by hand"
)]
#[case(
    75.0,
    70.0,
    Sex::Male,
    umol(2.0),
    31.5972,
    0.0001,
    "package medimetry 0.1.0 (prints 31.6); worked by hand"
)]
#[case(
    40.0,
    100.0,
    Sex::Male,
    umol(0.8),
    173.6111,
    0.0001,
    "package medimetry 0.1.0 (prints 173.6); worked by hand"
)]
fn cockcroft_gault_by_the_us_constants(
    #[case] age: f64,
    #[case] kg: f64,
    #[case] sex: Sex,
    #[case] creatinine: f64,
    #[case] expected: f64,
    #[case] tolerance: f64,
    #[case] source: &str,
) {
    let actual = cockcroft_gault_us(age, kg, sex, creatinine);
    assert!(near(actual, expected, tolerance), "{source}: {actual:?}");
}

#[rstest]
#[case(
    80.0,
    60.0,
    Sex::Female,
    125.0,
    0.0,
    29.952,
    "worked by hand: straddles 30, SI form is lower"
)]
#[case(
    79.0,
    60.0,
    Sex::Male,
    150.0,
    0.0,
    29.958,
    "worked by hand: straddles 30, US form is lower"
)]
#[case(
    80.0,
    80.0,
    Sex::Female,
    100.0,
    60.0,
    49.920,
    "worked by hand: straddles 50, SI form is lower"
)]
#[case(
    79.0,
    70.0,
    Sex::Male,
    105.0,
    60.0,
    49.930,
    "worked by hand: straddles 50, US form is lower"
)]
#[case(
    40.0,
    70.0,
    Sex::Female,
    45.0,
    0.0,
    161.778,
    "worked by hand: no floor"
)]
#[case(
    40.0,
    70.0,
    Sex::Female,
    45.0,
    60.0,
    121.333,
    "NHS Greater Glasgow and Clyde handbook, floor of 60; worked by hand"
)]
#[case(
    40.0,
    70.0,
    Sex::Female,
    60.0,
    60.0,
    121.333,
    "worked by hand: at the floor"
)]
#[case(
    40.0,
    70.0,
    Sex::Female,
    61.0,
    60.0,
    119.344,
    "worked by hand: above the floor"
)]
fn cautious_clearance(
    #[case] age: f64,
    #[case] kg: f64,
    #[case] sex: Sex,
    #[case] creatinine: f64,
    #[case] floor: f64,
    #[case] expected: f64,
    #[case] source: &str,
) {
    let actual = cautious(age, kg, sex, creatinine, floor);
    assert!(near(actual, expected, 0.001), "{source}: {actual:?}");
}

#[rstest]
#[case(140.0, 70.0, 100.0)]
#[case(150.0, 70.0, 100.0)]
#[case(-1.0, 70.0, 100.0)]
#[case(70.0, 0.0, 100.0)]
#[case(70.0, -70.0, 100.0)]
#[case(70.0, 70.0, 0.0)]
#[case(70.0, 70.0, -1.0)]
fn no_clearance_from_impossible_inputs(#[case] age: f64, #[case] kg: f64, #[case] creatinine: f64) {
    assert_eq!(cockcroft_gault_si(age, kg, Sex::Male, creatinine), None);
    assert_eq!(cockcroft_gault_us(age, kg, Sex::Male, creatinine), None);
    assert_eq!(
        cautious(age, kg, Sex::Male, creatinine, 60.0),
        None,
        "a floor must not mend them"
    );
}

// --- Pressure --------------------------------------------------------------------------------------------------

#[rstest]
#[case(
    125.0,
    130.0,
    128.0,
    0.9615,
    "worked example, How to calculate ABPI (prints 0.96)"
)]
#[case(
    120.0,
    130.0,
    128.0,
    0.9231,
    "worked example, How to calculate ABPI (prints 0.92)"
)]
#[case(126.0, 140.0, 140.0, 0.9, HAND)]
#[case(
    128.0,
    143.0,
    143.0,
    0.8951,
    "worked by hand: prints 0.90 but lies below it"
)]
#[case(
    118.0,
    128.0,
    132.0,
    0.8939,
    "worked by hand: the higher arm, not the mean of 130, which gives 0.9077"
)]
#[case(104.0, 130.0, 130.0, 0.8, HAND)]
#[case(65.0, 130.0, 130.0, 0.5, HAND)]
#[case(60.0, 130.0, 130.0, 0.4615, HAND)]
#[case(45.0, 120.0, 120.0, 0.375, HAND)]
#[case(182.0, 140.0, 140.0, 1.3, HAND)]
#[case(183.0, 140.0, 140.0, 1.3071, HAND)]
#[case(54.0, 120.0, 120.0, 0.45, HAND)]
#[case(60.0, 120.0, 120.0, 0.5, HAND)]
#[case(108.0, 120.0, 120.0, 0.9, HAND)]
#[case(109.0, 120.0, 120.0, 0.9083, HAND)]
#[case(168.0, 120.0, 120.0, 1.4, HAND)]
#[case(169.0, 120.0, 120.0, 1.4083, HAND)]
#[case(94.0, 125.0, 120.0, 0.752, "worked by hand: toe")]
#[case(90.0, 125.0, 120.0, 0.72, "worked by hand: toe")]
#[case(75.0, 120.0, 125.0, 0.6, "worked by hand: toe")]
#[case(29.0, 120.0, 120.0, 0.2417, "worked by hand: toe")]
#[case(0.0, 120.0, 120.0, 0.0, "worked by hand: no pressure found")]
fn index_on_the_higher_arm(
    #[case] distal: f64,
    #[case] left: f64,
    #[case] right: f64,
    #[case] expected: f64,
    #[case] source: &str,
) {
    let actual = pressure_index(distal, left, right);
    assert!(near(actual, expected, 0.00005), "{source}: {actual:?}");
}

/// Ratios that lie on a limit compare as on it: the same answer as whole numbers give by cross-multiplication.
#[rstest]
#[case(9, 10, 0.9)]
#[case(13, 10, 1.3)]
#[case(1, 2, 0.5)]
#[case(3, 4, 0.75)]
#[case(7, 10, 0.7)]
#[case(14, 10, 1.4)]
fn an_index_on_a_limit_is_exact(#[case] top: u32, #[case] bottom: u32, #[case] limit: f64) {
    for arm in 60..=260_u32 {
        for ankle in 20..=300_u32 {
            let Some(index) = pressure_index(f64::from(ankle), f64::from(arm), 40.0) else {
                unreachable!("pressures above zero have an index");
            };
            let by_whole_numbers = (ankle * bottom).cmp(&(arm * top));
            assert_eq!(
                index.total_cmp(&limit),
                by_whole_numbers,
                "{ankle}/{arm} beside {limit}"
            );
        }
    }
}

#[test]
fn an_arm_without_pressure_gives_no_index() {
    assert_eq!(pressure_index(120.0, 0.0, 0.0), None);
    assert_eq!(
        pressure_index(120.0, 0.0, 130.0),
        None,
        "a zero in one arm is a gap in the record"
    );
    assert_eq!(pressure_index(120.0, 130.0, -1.0), None);
    assert_eq!(pressure_index(-1.0, 130.0, 130.0), None);
    assert!(exactly(higher_arm(130.0, 128.0), 130.0));
    assert!(exactly(higher_arm(128.0, 130.0), 130.0));
}

#[test]
fn lowest_and_highest_of_both_sides() {
    assert!(exactly(lowest(&[0.95, 0.82]), 0.82));
    assert!(exactly(highest(&[0.95, 1.32]), 1.32));
    assert!(exactly(lowest(&[0.95]), 0.95));
    assert_eq!(lowest(&[]), None);
    assert_eq!(highest(&[]), None);
    assert_eq!(lowest(&[0.95, f64::NAN]), None);
    assert_eq!(highest(&[f64::INFINITY, 0.95]), None);
}

// --- HbA1c -----------------------------------------------------------------------------------------------------

#[rstest]
#[case(4.0, 20.0, 20.22, HBA1C_TEACHING)]
#[case(5.0, 31.0, 31.15, HBA1C_TEACHING)]
#[case(6.0, 42.0, 42.08, DIABETES_UK)]
#[case(6.5, 48.0, 47.54, DIABETES_UK)]
#[case(7.0, 53.0, 53.01, DIABETES_UK)]
#[case(7.5, 58.0, 58.47, DIABETES_UK)]
#[case(8.0, 64.0, 63.93, DIABETES_UK)]
#[case(
    8.5,
    69.0,
    69.40,
    "JBDS-IP undergoing surgery and elective procedures, guideline summary"
)]
#[case(9.0, 75.0, 74.86, DIABETES_UK)]
#[case(10.0, 86.0, 85.79, HBA1C_TEACHING)]
#[case(11.0, 97.0, 96.72, HBA1C_TEACHING)]
#[case(12.0, 108.0, 107.65, HBA1C_TEACHING)]
#[case(13.0, 119.0, 118.58, HBA1C_TEACHING)]
#[case(14.0, 130.0, 129.51, HBA1C_TEACHING)]
#[case(15.0, 140.0, 140.44, HBA1C_TEACHING)]
#[case(8.4, 68.0, 68.31, HAND)]
fn hba1c_from_per_cent(
    #[case] percent: f64,
    #[case] whole: f64,
    #[case] unrounded: f64,
    #[case] source: &str,
) {
    assert!(exactly(ngsp_to_ifcc(percent), whole), "{source}");
    let actual = ngsp_to_ifcc_unrounded(percent);
    assert!(near(actual, unrounded, 0.01), "{source}: {actual:?}");
}

/// The IFCC network's own rounding of the equation, 10.93 x per cent - 23.5, agrees to whole mmol/mol.
#[rstest]
#[case(6.5, 47.545)]
#[case(7.0, 53.010)]
#[case(7.5, 58.475)]
#[case(8.0, 63.940)]
#[case(8.5, 69.405)]
#[case(9.0, 74.870)]
#[case(10.0, 85.800)]
fn hba1c_agrees_with_the_network_page(#[case] percent: f64, #[case] network: f64) {
    assert!(exactly(ngsp_to_ifcc(percent), network.round()));
    assert!(near(ngsp_to_ifcc_unrounded(percent), network, 0.02));
}

/// The NGSP site's rounding in the other direction, % = 0.09148 x mmol/mol + 2.152, solved for mmol/mol.
#[rstest]
#[case(6.5, 47.530)]
#[case(7.0, 52.995)]
#[case(7.5, 58.461)]
#[case(8.0, 63.927)]
#[case(8.5, 69.392)]
#[case(9.0, 74.858)]
#[case(10.0, 85.789)]
fn hba1c_agrees_with_the_ngsp_site(#[case] percent: f64, #[case] ngsp: f64) {
    assert!(exactly(ngsp_to_ifcc(percent), ngsp.round()));
    assert!(near(ngsp_to_ifcc_unrounded(percent), ngsp, 0.02));
}

#[rstest]
#[case(68.0, 8.372, 8.4, HAND)]
#[case(69.0, 8.4635, 8.5, HAND)]
#[case(70.0, 8.555, 8.6, HAND)]
#[case(63.0, 7.9145, 7.9, HAND)]
#[case(64.0, 8.006, 8.0, HAND)]
#[case(
    47.0,
    6.4505,
    6.5,
    "worked by hand: shows as 6.5 although 47 is below 48"
)]
fn hba1c_to_per_cent(
    #[case] mmol_mol: f64,
    #[case] unrounded: f64,
    #[case] tenths: f64,
    #[case] source: &str,
) {
    assert!(exactly(ifcc_to_ngsp(mmol_mol), tenths), "{source}");
    let actual = ifcc_to_ngsp_unrounded(mmol_mol);
    assert!(near(actual, unrounded, 1e-9), "{source}: {actual:?}");
}

/// The NGSP site prints 0.09148 x mmol/mol + 2.152; the values are worked by hand from that. The two roundings of the
/// equation differ by about a thousandth of a per cent, and agree to tenths.
#[rstest]
#[case(42.0, 5.9942, 6.0)]
#[case(48.0, 6.5430, 6.5)]
#[case(53.0, 7.0004, 7.0)]
#[case(58.0, 7.4578, 7.5)]
#[case(64.0, 8.0067, 8.0)]
#[case(69.0, 8.4641, 8.5)]
#[case(75.0, 9.0130, 9.0)]
#[case(86.0, 10.0193, 10.0)]
fn hba1c_to_per_cent_agrees_with_the_ngsp_site(
    #[case] mmol_mol: f64,
    #[case] ngsp: f64,
    #[case] tenths: f64,
) {
    assert!(exactly(ifcc_to_ngsp(mmol_mol), tenths));
    let actual = ifcc_to_ngsp_unrounded(mmol_mol);
    assert!(near(actual, ngsp, 0.002), "{actual:?}");
}

// --- Anaesthetic -----------------------------------------------------------------------------------------------

#[rstest]
#[case(10.0, 0.25, 25.0, DICTIONARY)]
#[case(15.0, 0.5, 75.0, DICTIONARY)]
#[case(5.0, 1.0, 50.0, DICTIONARY)]
#[case(4.0, 2.0, 80.0, DICTIONARY)]
#[case(4.4, 3.0, 132.0, FOOT_MEPIVACAINE)]
#[case(2.2, 3.0, 66.0, FOOT_MEPIVACAINE)]
#[case(21.0, 1.0, 210.0, OXFORD)]
#[case(49.0, 1.0, 490.0, OXFORD)]
#[case(30.0, 0.5, 150.0, ABC)]
#[case(30.0, 1.0, 300.0, ABC)]
#[case(
    10.0,
    3.0,
    300.0,
    "podiatry teaching slides, Local anaesthetic drugs; volume worked by hand"
)]
#[case(
    6.0,
    1.0,
    60.0,
    "BNF for Children 2018-19, 3 mg/kg at 20 kg; worked by hand"
)]
#[case(
    8.0,
    1.0,
    80.0,
    "UK product characteristics, lidocaine 1%, 4 mg/kg at 20 kg; worked by hand"
)]
#[case(
    9.0,
    1.0,
    90.0,
    "US label, lidocaine, 4.5 mg/kg at 20 kg; worked by hand"
)]
#[case(
    6.0,
    1.0,
    60.0,
    "emed.ie, Digital nerve block, 1 mL a year of age at 6 years; worked by hand"
)]
#[case(
    1.75,
    4.0,
    70.0,
    "US prescribing information, articaine, 0.175 mL/kg at 10 kg; worked by hand"
)]
#[case(16.5, 1.0, 165.0, HAND)]
#[case(12.0, 1.0, 120.0, HAND)]
#[case(
    21.0,
    1.0,
    210.0,
    "NSW Agency for Clinical Innovation, digital nerve block (prints about 20 mL)"
)]
#[case(
    56.0,
    0.25,
    140.0,
    "NSW Agency for Clinical Innovation, digital nerve block (prints about 50 mL)"
)]
#[case(8.0, 2.0, 160.0, "worked by hand: two toes, 4 mL each")]
#[case(8.0, 1.0, 80.0, "worked by hand: two toes, 4 mL each")]
#[case(0.0, 2.0, 0.0, HAND)]
fn dose_from_volume_and_strength(
    #[case] ml: f64,
    #[case] percent: f64,
    #[case] expected: f64,
    #[case] source: &str,
) {
    let actual = dose_mg(ml, percent);
    assert!(exactly(actual, expected), "{source}: {actual:?}");
}

#[rstest]
#[case(3.0, 70.0, None, 210.0, OXFORD)]
#[case(
    3.0,
    70.0,
    Some(200.0),
    200.0,
    "British National Formulary, lidocaine, cap of 200 mg; worked by hand"
)]
#[case(7.0, 70.0, Some(500.0), 490.0, OXFORD)]
#[case(2.0, 75.0, Some(150.0), 150.0, ABC)]
#[case(4.0, 75.0, None, 300.0, ABC)]
#[case(
    4.0,
    75.0,
    Some(200.0),
    200.0,
    "worked by hand: a 4 mg/kg rule runs past the cap of 200 mg"
)]
#[case(6.0, 50.0, Some(400.0), 300.0, SLIDES)]
#[case(2.0, 70.0, None, 140.0, "podiatry teaching slides: 97 kg held at 70")]
#[case(3.0, 68.0, None, 204.0, SLIDES)]
#[case(3.0, 44.0, None, 132.0, SLIDES)]
#[case(2.0, 37.0, None, 74.0, SLIDES)]
#[case(2.0, 70.0, None, 140.0, "podiatry teaching slides: 90 kg held at 70")]
#[case(6.0, 63.0, None, 378.0, SLIDES)]
#[case(6.0, 70.0, None, 420.0, "podiatry teaching slides: 74 kg held at 70")]
#[case(
    6.0,
    70.0,
    Some(400.0),
    400.0,
    "podiatry dictionary, mepivacaine cap of 400 mg; worked by hand"
)]
#[case(3.0, 50.0, Some(200.0), 150.0, HAND)]
#[case(2.0, 50.0, Some(150.0), 100.0, HAND)]
#[case(
    3.0,
    55.0,
    Some(200.0),
    165.0,
    "worked by hand: woman of 160 cm, Broca"
)]
#[case(
    3.0,
    110.0,
    None,
    330.0,
    "worked by hand: woman of 160 cm, on actual weight"
)]
#[case(
    3.0,
    110.0,
    Some(200.0),
    200.0,
    "worked by hand: the same with the cap"
)]
#[case(
    3.0,
    60.0,
    None,
    180.0,
    "worked by hand: before the third less in pregnancy"
)]
#[case(2.0, 60.0, None, 120.0, "worked by hand: a third less, as 2 mg/kg")]
#[case(
    7.0,
    10.0,
    None,
    70.0,
    "US prescribing information, articaine; worked by hand"
)]
fn limit_of_one_agent(
    #[case] per_kg: f64,
    #[case] kg: f64,
    #[case] at_most: Option<f64>,
    #[case] expected: f64,
    #[case] source: &str,
) {
    let actual = limit_mg(per_kg, kg, at_most);
    assert!(exactly(actual, expected), "{source}: {actual:?}");
}

/// The chain from height to dose, for the two heavy patients.
#[test]
fn a_heavy_patient_is_dosed_on_the_lower_ideal_weight() {
    let ideal = ideal_weight(160.0, Sex::Female);
    let weight = dosing_weight(110.0, ideal, 70.0);
    let limit = weight.and_then(|kg| limit_mg(3.0, kg, Some(200.0)));
    assert_eq!(
        printed(limit, 0).as_deref(),
        Some("157"),
        "woman of 160 cm and 110 kg, by Devine"
    );

    let ideal = ideal_weight(178.0, Sex::Male);
    assert!(
        exactly(dosing_weight(120.0, ideal, 70.0), 70.0),
        "man of 178 cm and 120 kg, at the ceiling"
    );
}

#[rstest]
#[case(&[(192.0, 420.0), (114.0, 210.0)], 1.0, 1e-12, SLIDES)]
#[case(&[(100.0, 180.0), (52.0, 120.0)], 0.989, 0.0005, SLIDES)]
#[case(&[(20.0, 200.0), (10.0, 140.0)], 0.171, 0.0005, HAND)]
#[case(&[(25.0, 150.0), (12.5, 100.0)], 0.292, 0.0005, HAND)]
#[case(&[(160.0, 150.0)], 1.067, 0.0005, "worked by hand: two toes, 2 %, above the limit")]
#[case(&[(80.0, 150.0)], 0.533, 0.0005, "worked by hand: two toes, 1 %, below the limit")]
#[case(&[(224.0, 210.0)], 1.067, 0.0005, "podiatry teaching slides, 204 mg and 20 mg (sum corrected)")]
#[case(&[], 0.0, 0.0, "worked by hand: no anaesthetic")]
fn load_of_several_agents(
    #[case] parts: &[(f64, f64)],
    #[case] expected: f64,
    #[case] tolerance: f64,
    #[case] source: &str,
) {
    let actual = load(parts);
    assert!(near(actual, expected, tolerance), "{source}: {actual:?}");
}

/// A plan that uses up its limit is at the limit and not above it, however the shares fall.
#[test]
fn a_load_at_the_limit_is_exactly_one() {
    for limit in 1..=400_u32 {
        for dose in 0..=limit {
            let (dose, rest) = (f64::from(dose), f64::from(limit - dose));
            let limit = f64::from(limit);
            assert!(
                exactly(load(&[(dose, limit), (rest, limit)]), 1.0),
                "{dose} and {rest} of {limit}"
            );
        }
    }
    assert!(exactly(load(&[(0.1, 1.0), (0.2, 1.0), (0.7, 1.0)]), 1.0));
    assert!(exactly(fraction(20.0, 200.0), 0.1));
}

#[test]
fn a_load_just_above_the_limit_is_above_one() {
    assert!(load(&[(200.000_001, 200.0)]).is_some_and(|load| load > 1.0));
    assert!(load(&[(199.999_999, 200.0)]).is_some_and(|load| load < 1.0));
}

/// What is left of one agent's limit.
fn left(limit: f64, given: f64) -> f64 {
    limit - given
}

/// How much of a second agent brings the load to 1.
fn left_for_second(first: (f64, f64), second_limit: f64) -> Option<f64> {
    fraction(first.0, first.1).map(|used| (1.0 - used) * second_limit)
}

#[rstest]
#[case(132.0, 288.0, SLIDES)]
#[case(192.0, 228.0, SLIDES)]
fn what_is_left_of_one_agent(#[case] given: f64, #[case] expected: f64, #[case] source: &str) {
    let limit = limit_mg(6.0, 70.0, None);
    assert!(
        exactly(limit.map(|limit| left(limit, given)), expected),
        "{source}: 81 kg held at 70"
    );
}

#[rstest]
#[case((192.0, 420.0), 210.0, 114.0, SLIDES)]
#[case((100.0, 180.0), 120.0, 53.3, "worked by hand; the podiatry teaching slides round up a step and give 52")]
fn what_is_left_for_a_second_agent(
    #[case] first: (f64, f64),
    #[case] second_limit: f64,
    #[case] expected: f64,
    #[case] source: &str,
) {
    let actual = left_for_second(first, second_limit);
    assert!(near(actual, expected, 0.05), "{source}: {actual:?}");
}

/// Equal volumes of lidocaine 1 % and bupivacaine 0.5 %.
#[rstest]
#[case(4.0, 200.0, 140.0, 23.3, "worked by hand: 70 kg")]
#[case(5.0, 150.0, 100.0, 17.1, "worked by hand: 50 kg")]
#[case(4.0, 300.0, 175.0, 32.3, "worked by hand: 70 kg, US limits")]
fn largest_volume_of_a_mixture(
    #[case] total: f64,
    #[case] lidocaine_limit: f64,
    #[case] bupivacaine_limit: f64,
    #[case] expected: f64,
    #[case] source: &str,
) {
    let half = total / 2.0;
    let doses = dose_mg(half, 1.0).zip(dose_mg(half, 0.5));
    let actual = doses
        .and_then(|(one, other)| load(&[(one, lidocaine_limit), (other, bupivacaine_limit)]))
        .and_then(|load| largest_volume_same_mix(total, load));
    assert!(near(actual, expected, 0.05), "{source}: {actual:?}");
}

/// The other published way to count two agents, by their potency, agrees about both patients of its example.
#[rstest]
#[case(40.0, 3.75, true)]
#[case(70.0, 2.14, false)]
fn mixture_by_potency_ratio(#[case] kg: f64, #[case] expected: f64, #[case] exceeds: bool) {
    let ropivacaine = dose_mg(10.0, 1.0).map(|mg| mg / kg);
    let lidocaine = dose_mg(10.0, 2.0).map(|mg| mg / kg);
    let total = ropivacaine
        .zip(lidocaine)
        .map(|(strong, weak)| strong + weak / 4.0);
    assert!(
        near(total, expected, 0.005),
        "LipidRescue, answer on maximum dose of a mixture, 2016: {total:?}"
    );
    assert_eq!(total.is_some_and(|total| total > 3.0), exceeds);
}

#[rstest]
#[case(180.0, 2.0 / 3.0, 120.0, "UK product characteristics, lidocaine 1%, a third less in pregnancy; worked by hand")]
#[case(
    200.0,
    0.8,
    160.0,
    "Metodebok (Norway), a fifth less over 70; worked by hand"
)]
fn a_smaller_limit_in_mg(
    #[case] limit: f64,
    #[case] share: f64,
    #[case] expected: f64,
    #[case] source: &str,
) {
    assert!(exactly(reduced_mg(limit, share), expected), "{source}");
}

#[rstest]
#[case(10.0, 0.5, 0.8, Some(16.0))]
#[case(12.0, 1.0, 0.5, Some(6.0))]
#[case(10.0, 0.0, 0.8, None)]
#[case(10.0, 0.5, 0.0, None)]
#[case(0.0, 0.5, 0.8, None)]
fn largest_volume_of_a_smaller_limit(
    #[case] ml: f64,
    #[case] load: f64,
    #[case] share: f64,
    #[case] expected: Option<f64>,
) {
    assert_eq!(largest_volume_of_share(ml, load, share), expected, "{HAND}");
}

#[rstest]
#[case(180.0, 2.0 / 3.0, 120.0, "UK product characteristics, lidocaine 1%, a third less in pregnancy; worked by hand")]
#[case(
    200.0,
    0.8,
    160.0,
    "Metodebok (Norway), a fifth less over 70; worked by hand"
)]
fn a_smaller_limit_is_a_larger_load(
    #[case] limit: f64,
    #[case] share: f64,
    #[case] expected: f64,
    #[case] source: &str,
) {
    assert!(
        exactly(fraction(expected, without_noise(limit * share)), 1.0),
        "{source}"
    );
}

/// Adrenaline of 1 in 200,000 is 0.0005 %, so the same arithmetic gives its dose.
#[rstest]
#[case(
    100.0,
    500.0,
    "clinical pharmacology textbook extract, local anaesthetics"
)]
#[case(
    20.0,
    100.0,
    "BNF for Children 2018-19, 5 micrograms/kg at 20 kg; worked by hand"
)]
fn adrenaline_in_a_volume(#[case] ml: f64, #[case] micrograms: f64, #[case] source: &str) {
    let actual = dose_mg(ml, 0.0005).map(|mg| without_noise(mg * 1000.0));
    assert!(exactly(actual, micrograms), "{source}: {actual:?}");
}

#[rstest]
#[case(
    100.0,
    5.0,
    500.0,
    "clinical pharmacology textbook extract, local anaesthetics: 100 mL of 1 in 200,000"
)]
#[case(
    20.0,
    5.0,
    100.0,
    "BNF for Children 2018-19: 5 micrograms/kg at 20 kg, 20 mL of 1 in 200,000; worked by hand"
)]
#[case(3.5, 10.0, 35.0, "worked by hand: 1 in 100,000")]
#[case(1.1, 12.5, 13.75, "worked by hand: 1 in 80,000")]
#[case(
    0.3,
    10.0,
    3.0,
    "worked by hand: exactly, though 0.3 has no exact binary form"
)]
#[case(0.0, 5.0, 0.0, HAND)]
fn adrenaline_in_the_planned_volume(
    #[case] ml: f64,
    #[case] per_ml: f64,
    #[case] micrograms: f64,
    #[case] source: &str,
) {
    assert!(
        exactly(adrenaline_total(ml, per_ml), micrograms),
        "{source}"
    );
}

#[rstest]
#[case(100.0, 20.0, Some(5.0))]
#[case(160.0, 32.0, Some(5.0))]
#[case(161.0, 32.0, Some(5.031_25))]
#[case(0.0, 20.0, Some(0.0))]
#[case(100.0, 0.0, None)]
#[case(-1.0, 20.0, None)]
fn adrenaline_for_each_kilogram(
    #[case] micrograms: f64,
    #[case] kg: f64,
    #[case] expected: Option<f64>,
) {
    assert_eq!(
        adrenaline_per_kg(micrograms, kg),
        expected,
        "BNF for Children 2018-19, 5 micrograms/kg; worked by hand"
    );
}

#[test]
fn clarks_rule_for_a_child() {
    let limit = limit_mg(300.0 / 150.0, 50.0, None);
    assert!(
        exactly(limit, 100.0),
        "US label, lidocaine: 50 lb of 150 lb, 300 mg"
    );
}

#[rstest]
#[case(3.5, 1, Some(3.5))]
#[case(8.0, 2, Some(4.0))]
#[case(8.8, 2, Some(4.4))]
#[case(0.0, 1, Some(0.0))]
#[case(3.5, 0, None)]
#[case(-1.0, 1, None)]
fn volume_shared_by_the_sites(
    #[case] ml: f64,
    #[case] n_sites: u32,
    #[case] expected: Option<f64>,
) {
    assert_eq!(volume_per_site(ml, n_sites), expected);
}

// --- Points, differences, shares, lists -------------------------------------------------------------------------

#[rstest]
#[case(&[1.0, 2.0, 1.0], 4.0)]
#[case(&[0.1, 0.2], 0.3)]
#[case(&[2.0, -1.0], 1.0)]
#[case(&[0.0], 0.0)]
#[case(&[], 0.0)]
fn points_added_up(#[case] counts: &[f64], #[case] expected: f64) {
    assert!(exactly(points(counts), expected), "{HAND}");
}

#[rstest]
#[case(120.0, 80.0, 40.0)]
#[case(96.0, 96.0, 0.0)]
#[case(90.0, 95.0, -5.0)]
#[case(0.3, 0.1, 0.2)]
fn one_less_another(#[case] one: f64, #[case] other: f64, #[case] expected: f64) {
    assert!(exactly(difference(one, other), expected), "{HAND}");
}

#[rstest]
#[case(3.0, 4.0, Some(0.75))]
#[case(0.3, 0.1, Some(3.0))]
#[case(0.0, 70.0, Some(0.0))]
#[case(-7.0, 70.0, Some(-0.1))]
#[case(70.0, 70.0, Some(1.0))]
#[case(1.0, 0.0, None)]
#[case(0.0, 0.0, None)]
#[case(1.0, -2.0, None)]
fn a_part_of_the_whole(#[case] part: f64, #[case] whole: f64, #[case] expected: Option<f64>) {
    assert_eq!(share(part, whole), expected, "{HAND}");
}

#[rstest]
#[case(&["left-great"], &["left-great"], 0)]
#[case(&["left-great"], &["left-great", "right-great"], 0)]
#[case(&["left-great"], &["right-great"], 1)]
#[case(&["left-great", "left-second"], &["left-great"], 1)]
#[case(&["left-great", "left-second"], &["right-great"], 2)]
#[case(&["left-great"], &[], 1)]
#[case(&[], &["left-great"], 0)]
fn not_in_the_other_list(#[case] list: &[&str], #[case] other: &[&str], #[case] expected: usize) {
    assert_eq!(missing_from(list, other), expected, "{HAND}");
}

// --- Medicines by the day ----------------------------------------------------------------------------------------

const EQUAL_DOSES: &str = "British National Formulary, table of equal doses (from memory)";
const ADRENAL_DOSES: &str = "Simpson and colleagues, Clinical Medicine 2020, table 4: hydrocortisone 15 mg or dexamethasone 0.5 mg as prednisolone 5 mg";

#[rstest]
#[case(&[(5.0, 1.0)], 5.0, 0.0, "Woodcock and others, 2020, and the steroid card alert, 2021: 5 mg of prednisolone")]
#[case(&[(20.0, 0.25)], 5.0, 0.0, EQUAL_DOSES)]
#[case(&[(25.0, 0.2)], 5.0, 0.0, EQUAL_DOSES)]
#[case(&[(4.0, 1.25)], 5.0, 0.0, EQUAL_DOSES)]
#[case(&[(0.75, 6.667)], 5.0, 0.001, EQUAL_DOSES)]
#[case(&[(6.0, 0.834)], 5.0, 0.005, EQUAL_DOSES)]
#[case(&[(2.5, 1.0), (10.0, 0.25)], 5.0, 0.0, "worked by hand: two steroids together")]
#[case(&[(15.0, 0.334)], 5.0, 0.011, ADRENAL_DOSES)]
#[case(&[(0.5, 10.0)], 5.0, 0.0, ADRENAL_DOSES)]
#[case(&[(0.1, 1.0), (0.2, 1.0)], 0.3, 0.0, HAND)]
#[case(&[(0.0, 1.0)], 0.0, 0.0, HAND)]
#[case(&[], 0.0, 0.0, "worked by hand: no steroid")]
fn steroid_as_prednisolone(
    #[case] parts: &[(f64, f64)],
    #[case] expected: f64,
    #[case] tolerance: f64,
    #[case] source: &str,
) {
    let actual = steroid_daily(parts);
    assert!(near(actual, expected, tolerance), "{source}: {actual:?}");
}

#[rstest]
#[case(&[28.0], 28.0)]
#[case(&[7.0, 84.0, 28.0], 84.0)]
#[case(&[], 0.0)]
fn the_longest_course(#[case] days: &[f64], #[case] expected: f64) {
    assert!(exactly(longest_course(days), expected), "{HAND}");
}

/// Bands of the Telford guide; for a child those that are quoted from NPS MedicineWise.
const BANDS: ParacetamolBands = ParacetamolBands {
    light: 40.0,
    middle: 50.0,
    light_daily: 2.0,
    middle_daily: 3.0,
    full_daily: 4.0,
    child_per_kg: 15.0,
    child_dose_cap: 1.0,
    doses: 4.0,
};

const TELFORD: &str = "NHS Telford and Wrekin, weight-adjusted oral paracetamol in adults, 2018";
const NPS: &str = "clinic page quoting NPS MedicineWise on paracetamol; worked by hand";

#[rstest]
#[case(38.0, true, 2.0, TELFORD)]
#[case(40.0, true, 2.0, TELFORD)]
#[case(40.5, true, 3.0, "worked by hand: between the printed bands")]
#[case(41.0, true, 3.0, TELFORD)]
#[case(45.0, true, 3.0, TELFORD)]
#[case(49.0, true, 3.0, TELFORD)]
#[case(49.5, true, 3.0, "worked by hand: between the printed bands")]
#[case(50.0, true, 4.0, TELFORD)]
#[case(90.0, true, 4.0, TELFORD)]
#[case(20.0, false, 1.2, NPS)]
#[case(33.3, false, 1.998, NPS)]
#[case(
    38.0,
    false,
    2.0,
    "worked by hand: 2.28 g by weight, held to the adult's band"
)]
#[case(45.0, false, 2.7, NPS)]
#[case(55.0, false, 3.3, NPS)]
#[case(80.0, false, 4.0, "worked by hand: 1 g a dose at most")]
fn most_paracetamol_in_a_day(
    #[case] kg: f64,
    #[case] adult: bool,
    #[case] grams: f64,
    #[case] source: &str,
) {
    let actual = paracetamol_ceiling(kg, adult, &BANDS);
    assert!(exactly(actual, grams), "{source}: {actual:?}");
}

#[test]
fn no_paracetamol_from_bands_upside_down() {
    assert_eq!(
        paracetamol_ceiling(
            45.0,
            true,
            &ParacetamolBands {
                light: 51.0,
                ..BANDS
            }
        ),
        None
    );
    assert_eq!(
        paracetamol_ceiling(
            45.0,
            true,
            &ParacetamolBands {
                full_daily: 0.0,
                ..BANDS
            }
        ),
        None
    );
    assert_eq!(
        paracetamol_ceiling(
            45.0,
            false,
            &ParacetamolBands {
                doses: 0.0,
                ..BANDS
            }
        ),
        None
    );
    assert_eq!(paracetamol_ceiling(0.0, true, &BANDS), None);
}

// --- Nothing but numbers ---------------------------------------------------------------------------------------

#[test]
fn no_formula_takes_what_is_not_a_number() {
    for bad in BAD {
        assert_eq!(body_mass_index(bad, 170.0), None);
        assert_eq!(body_mass_index(70.0, bad), None);
        assert_eq!(broca(bad, Sex::Male), None);
        assert_eq!(devine(bad, Sex::Female), None);
        assert_eq!(ideal_weight(bad, Sex::Female), None);
        assert_eq!(dosing_weight(bad, None, 70.0), None);
        assert_eq!(dosing_weight(70.0, Some(bad), 70.0), None);
        assert_eq!(dosing_weight(70.0, None, bad), None);
        assert_eq!(cautious(bad, 70.0, Sex::Male, 100.0, 60.0), None);
        assert_eq!(cautious(70.0, bad, Sex::Male, 100.0, 60.0), None);
        assert_eq!(cautious(70.0, 70.0, Sex::Male, bad, 60.0), None);
        assert_eq!(cautious(70.0, 70.0, Sex::Male, 100.0, bad), None);
        assert_eq!(pressure_index(bad, 120.0, 120.0), None);
        assert_eq!(pressure_index(120.0, bad, 120.0), None);
        assert_eq!(pressure_index(120.0, 120.0, bad), None);
        assert_eq!(ngsp_to_ifcc(bad), None);
        assert_eq!(ifcc_to_ngsp(bad), None);
        assert_eq!(dose_mg(bad, 1.0), None);
        assert_eq!(dose_mg(1.0, bad), None);
        assert_eq!(limit_mg(bad, 70.0, None), None);
        assert_eq!(limit_mg(3.0, bad, None), None);
        assert_eq!(limit_mg(3.0, 70.0, Some(bad)), None);
        assert_eq!(load(&[(1.0, 200.0), (bad, 200.0)]), None);
        assert_eq!(load(&[(1.0, bad)]), None);
        assert_eq!(largest_volume_same_mix(bad, 0.5), None);
        assert_eq!(largest_volume_same_mix(4.0, bad), None);
        assert_eq!(volume_per_site(bad, 1), None);
        assert_eq!(adrenaline_total(bad, 5.0), None);
        assert_eq!(adrenaline_per_kg(bad, 20.0), None);
        assert_eq!(adrenaline_per_kg(100.0, bad), None);
        assert_eq!(adrenaline_total(1.0, bad), None);
        assert_eq!(points(&[1.0, bad]), None);
        assert_eq!(difference(bad, 1.0), None);
        assert_eq!(difference(1.0, bad), None);
        assert_eq!(share(bad, 1.0), None);
        assert_eq!(share(1.0, bad), None);
        assert_eq!(steroid_daily(&[(5.0, 1.0), (bad, 1.0)]), None);
        assert_eq!(steroid_daily(&[(5.0, bad)]), None);
        assert_eq!(longest_course(&[28.0, bad]), None);
        assert_eq!(paracetamol_ceiling(bad, true, &BANDS), None);
        assert_eq!(
            paracetamol_ceiling(
                45.0,
                true,
                &ParacetamolBands {
                    middle: bad,
                    ..BANDS
                }
            ),
            None
        );
    }
}

#[test]
fn no_formula_runs_over() {
    assert_eq!(body_mass_index(f64::MAX, f64::MIN_POSITIVE), None);
    assert_eq!(dose_mg(f64::MAX, f64::MAX), None);
    assert_eq!(limit_mg(f64::MAX, f64::MAX, Some(200.0)), None);
    assert_eq!(load(&[(f64::MAX, f64::MIN_POSITIVE)]), None);
    assert_eq!(
        pressure_index(f64::MAX, f64::MIN_POSITIVE, f64::MIN_POSITIVE),
        None
    );
    assert_eq!(ngsp_to_ifcc(f64::MAX), None);
    assert_eq!(largest_volume_same_mix(4.0, 0.0), None);
    assert_eq!(limit_mg(0.0, 70.0, None), None);
    assert_eq!(load(&[(1.0, 0.0)]), None);
    assert_eq!(load(&[(-1.0, 200.0)]), None);
}
