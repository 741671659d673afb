//! Reading numbers, units, spans and dates; converting; printing; ages of results.

use preblock::inner::quantity::{
    CompoundError, Measure, Parts, QuantityError, Span, SpanUnit, When, WhenError, read_number,
    read_quantity, read_when, tidy, tidy_beside, tidy_down, which_measures,
};
use rstest::rstest;

const HAND: &str = "worked by hand";

/// Whether a result is there and is, to the last bit, the number written.
fn exactly(actual: Option<f64>, expected: f64) -> bool {
    actual.is_some_and(|actual| actual.total_cmp(&expected).is_eq())
}

#[expect(clippy::expect_used, reason = "a slip in a test ought to stop it")]
fn when(text: &str) -> When {
    read_when(text).expect("a test writes its dates well")
}

#[expect(clippy::expect_used, reason = "a slip in a test ought to stop it")]
fn span(text: &str) -> Span {
    Span::read(text).expect("a test writes its spans well")
}

const ALL: [(Measure, &str); 10] = [
    (Measure::Mass, "mass"),
    (Measure::Length, "length"),
    (Measure::Volume, "volume"),
    (Measure::Pressure, "pressure"),
    (Measure::Hba1c, "hba1c"),
    (Measure::Glucose, "glucose"),
    (Measure::Creatinine, "creatinine"),
    (Measure::Clearance, "clearance"),
    (Measure::Count, "count"),
    (Measure::Strength, "strength"),
];

// --- Measures and spellings ------------------------------------------------------------------------------------

#[test]
fn every_measure_is_found_by_its_name() {
    for (measure, name) in ALL {
        assert_eq!(Measure::from_name(name), Some(measure));
        assert_eq!(measure.name(), name);
    }
    assert_eq!(Measure::from_name("Mass"), None);
    assert_eq!(Measure::from_name("dose-rate"), None);
}

#[test]
fn every_listed_unit_reads_as_itself_and_converts_to_every_other() {
    for (measure, _) in ALL {
        for from in measure.units() {
            assert_eq!(measure.unit(from), Some(*from));
            assert!(exactly(measure.convert(8.3, from, from), 8.3), "{from}");
            for to in measure.units() {
                assert!(measure.convert(8.3, from, to).is_some(), "{from} to {to}");
            }
        }
    }
}

#[rstest]
#[case(Measure::Mass, &["kg", "KG", "Kg", " kg ", "kgs", "kilograms", "Kilogram"], "kg")]
#[case(Measure::Mass, &["g", "G", "gram", "grams"], "g")]
#[case(Measure::Mass, &["mg", "MG", "milligrams", "Milligrams"], "mg")]
#[case(
    Measure::Mass,
    &["microgram", "micrograms", "Micrograms", "mcg", "MCG", "ug", "\u{b5}g", "\u{3bc}g"],
    "microgram"
)]
#[case(Measure::Mass, &["lb", "lbs", "lbs.", "LB", "pounds"], "lb")]
#[case(Measure::Mass, &["st", "st.", "stone", "Stones"], "st")]
#[case(Measure::Mass, &["oz", "ounces"], "oz")]
#[case(Measure::Length, &["cm", "CM", "cms", "centimetres"], "cm")]
#[case(Measure::Length, &["m", "M", "metres", "Metres", "Meters"], "m")]
#[case(Measure::Length, &["mm", "MM", "millimetres"], "mm")]
#[case(Measure::Length, &["in", "in.", "inch", "Inches", "\"", "″", "”", "''", "′′", "’’"], "in")]
#[case(Measure::Length, &["ft", "foot", "Feet", "'", "′", "’"], "ft")]
#[case(Measure::Volume, &["mL", "ml", "ML", "mls", "millilitres", "Millilitre"], "mL")]
#[case(Measure::Volume, &["L", "l", "litre", "Litres", "liters"], "L")]
#[case(Measure::Pressure, &["mmHg", "mmhg", "MMHG", "mm Hg", "mm hg", "mm[Hg]"], "mmHg")]
#[case(Measure::Pressure, &["kPa", "kpa", "KPA", "Kpa"], "kPa")]
#[case(Measure::Hba1c, &["mmol/mol", "mmol / mol", "MMOL/MOL"], "mmol/mol")]
#[case(Measure::Hba1c, &["%", "percent", "per cent", "Per cent"], "%")]
#[case(Measure::Glucose, &["mmol/L", "mmol/l", "mmol / L"], "mmol/L")]
#[case(Measure::Glucose, &["mg/dL", "mg/dl", "MG/DL"], "mg/dL")]
#[case(
    Measure::Creatinine,
    &["umol/L", "umol/l", "\u{b5}mol/L", "\u{3bc}mol/l", "micromol/L", "mcmol/L", "UMOL/L"],
    "umol/L"
)]
#[case(Measure::Clearance, &["mL/min", "ml/min", "ML/MIN", "mL / min"], "mL/min")]
#[case(
    Measure::Count,
    &["10^9/L", "x10^9/L", "×10⁹/L", "10⁹/L", "10*9/L", "x 10^9/L", "× 10^9 / l", "X10*9/L"],
    "10^9/L"
)]
#[case(Measure::Count, &["10^3/uL", "x10^3/\u{b5}L", "×10³/\u{3bc}L", "10*3/uL", "10^3/mcL"], "10^3/uL")]
#[case(Measure::Strength, &["%", "percent", "% w/v", "%w/v"], "%")]
#[case(Measure::Strength, &["mg/mL", "mg/ml", "mg / mL"], "mg/mL")]
fn spellings_of_a_unit(#[case] measure: Measure, #[case] spellings: &[&str], #[case] unit: &str) {
    for spelling in spellings {
        assert_eq!(measure.unit(spelling), Some(unit), "{spelling}");
    }
}

#[rstest]
#[case(Measure::Mass, &["Mg", "cm", "kilo grammme", "", "k", "mmg", "x", "%"])]
#[case(Measure::Length, &["Mm", "kg", "yd", "inchess"])]
#[case(Measure::Volume, &["Ml", "uL", "mg", "m L L"])]
#[case(Measure::Pressure, &["Pa", "bar", "cmH2O"])]
#[case(Measure::Hba1c, &["mmol/L", "mmol", "Mmol/mol", "mg/mL"])]
#[case(Measure::Glucose, &["mmol/mol", "Mmol/L", "mg/mL", "%"])]
#[case(Measure::Creatinine, &["mmol/L", "mg/mL", "Mg/dL"])]
#[case(
    Measure::Clearance,
    &["mL/min/1.73 m2", "mL/min/1.73m2", "mL/min/1.73 m²", "mL/min/{1.73_m2}", "ml/min/1.73", "mL/h"]
)]
#[case(Measure::Count, &["10^6/L", "/L", "10^9", "109/L", "x", "10^9/mL"])]
#[case(Measure::Strength, &["mg", "mL", "mmol/mol", "g/mL"])]
fn not_a_unit_of_this_measure(#[case] measure: Measure, #[case] spellings: &[&str]) {
    for spelling in spellings {
        assert_eq!(measure.unit(spelling), None, "{spelling}");
    }
}

#[rstest]
#[case("kg", &[Measure::Mass])]
#[case("%", &[Measure::Hba1c, Measure::Strength])]
#[case("mg/dL", &[Measure::Glucose, Measure::Creatinine])]
#[case("mL/min/1.73 m2", &[])]
#[case("furlong", &[])]
fn a_unit_tells_its_measures(#[case] spelling: &str, #[case] measures: &[Measure]) {
    assert_eq!(which_measures(spelling), measures);
}

// --- Converting ------------------------------------------------------------------------------------------------

#[rstest]
#[case(
    Measure::Creatinine,
    1.0,
    "mg/dL",
    "umol/L",
    88.4,
    "package labunits 0.2.1, factor 88.4"
)]
#[case(Measure::Creatinine, 1.2, "mg/dL", "umol/L", 106.08, HAND)]
#[case(
    Measure::Creatinine,
    88.4,
    "umol/L",
    "mg/dL",
    1.0,
    "Taber's Medical Dictionary, Cockcroft-Gault formula"
)]
#[case(Measure::Glucose, 18.016, "mg/dL", "mmol/L", 1.0, HAND)]
#[case(Measure::Glucose, 12.0, "mmol/L", "mg/dL", 216.192, HAND)]
#[case(
    Measure::Pressure,
    120.0,
    "mmHg",
    "kPa",
    15.998_64,
    "UCUM, by the package ucum-lhc 7.1.10"
)]
#[case(
    Measure::Pressure,
    15.998_64,
    "kPa",
    "mmHg",
    120.0,
    "UCUM, by the package ucum-lhc 7.1.10"
)]
#[case(
    Measure::Mass,
    10.0,
    "lb",
    "kg",
    4.535_923_7,
    "UCUM, by the package octofhir-ucum 0.9.2"
)]
#[case(
    Measure::Mass,
    1.0,
    "st",
    "kg",
    6.350_293_18,
    "UCUM, by the package ucum-lhc 7.1.10"
)]
#[case(Measure::Mass, 1.0, "st", "lb", 14.0, HAND)]
#[case(Measure::Mass, 1.0, "lb", "oz", 16.0, HAND)]
#[case(Measure::Mass, 6.350_293_18, "kg", "st", 1.0, HAND)]
#[case(Measure::Mass, 68_500.0, "g", "kg", 68.5, HAND)]
#[case(Measure::Mass, 1.1, "kg", "g", 1100.0, HAND)]
#[case(Measure::Mass, 0.1, "mg", "microgram", 100.0, HAND)]
#[case(Measure::Mass, 5.0, "microgram", "mg", 0.005, HAND)]
#[case(
    Measure::Length,
    10.0,
    "in",
    "cm",
    25.4,
    "UCUM, by the package ucum-lhc 7.1.10"
)]
#[case(
    Measure::Length,
    1.0,
    "ft",
    "cm",
    30.48,
    "UCUM, by the package ucum-lhc 7.1.10"
)]
#[case(
    Measure::Length,
    2.3,
    "m",
    "cm",
    230.0,
    "worked by hand: binary arithmetic gives 229.99999999999997"
)]
#[case(
    Measure::Length,
    1.1,
    "m",
    "cm",
    110.0,
    "worked by hand: binary arithmetic gives 110.00000000000001"
)]
#[case(Measure::Length, 1.73, "m", "cm", 173.0, HAND)]
#[case(Measure::Length, 8.5, "mm", "cm", 0.85, HAND)]
#[case(Measure::Length, 60.0, "in", "ft", 5.0, HAND)]
#[case(Measure::Volume, 0.0035, "L", "mL", 3.5, HAND)]
#[case(
    Measure::Count,
    150.0,
    "10^9/L",
    "10^3/uL",
    150.0,
    "UCUM, by the package octofhir-ucum 0.9.2"
)]
#[case(Measure::Count, 49.9, "10^3/uL", "10^9/L", 49.9, HAND)]
#[case(
    Measure::Strength,
    0.25,
    "%",
    "mg/mL",
    2.5,
    "podiatry dictionary, percentage mass"
)]
#[case(
    Measure::Strength,
    0.5,
    "%",
    "mg/mL",
    5.0,
    "podiatry dictionary, percentage mass"
)]
#[case(
    Measure::Strength,
    1.0,
    "%",
    "mg/mL",
    10.0,
    "podiatry dictionary, percentage mass"
)]
#[case(
    Measure::Strength,
    2.0,
    "%",
    "mg/mL",
    20.0,
    "podiatry dictionary, percentage mass"
)]
#[case(Measure::Strength, 7.5, "mg/mL", "%", 0.75, HAND)]
#[case(Measure::Clearance, 60.0, "mL/min", "mL/min", 60.0, HAND)]
#[case(
    Measure::Hba1c,
    7.0,
    "%",
    "mmol/mol",
    53.0,
    "Diabetes UK, Changes to HbA1c values; unit arithmetic would give 70"
)]
#[case(
    Measure::Hba1c,
    69.0,
    "mmol/mol",
    "%",
    8.5,
    "worked by hand; unit arithmetic would give 6.9"
)]
#[case(
    Measure::Hba1c,
    8.5,
    "%",
    "mmol/mol",
    69.0,
    "JBDS-IP undergoing surgery, guideline summary"
)]
#[case(Measure::Hba1c, 8.5, "%", "%", 8.5, HAND)]
#[case(Measure::Mass, 0.0, "lb", "kg", 0.0, HAND)]
#[case(Measure::Length, -2.3, "m", "cm", -230.0, HAND)]
fn converts_exactly(
    #[case] measure: Measure,
    #[case] value: f64,
    #[case] from: &str,
    #[case] to: &str,
    #[case] expected: f64,
    #[case] source: &str,
) {
    let actual = measure.convert(value, from, to);
    assert!(exactly(actual, expected), "{source}: {actual:?}");
}

/// Values that other converters print with another constant or with noise.
#[rstest]
#[case(
    Measure::Creatinine,
    1.0,
    "mg/dL",
    "umol/L",
    88.401_697_312_588_41,
    0.002,
    "UCUM, molar mass 113.12"
)]
#[case(
    Measure::Creatinine,
    100.0,
    "umol/L",
    "mg/dL",
    1.131_22,
    0.000_005,
    HAND
)]
#[case(
    Measure::Creatinine,
    100.0,
    "umol/L",
    "mg/dL",
    1.1312,
    0.000_05,
    "UCUM, molar mass 113.12"
)]
#[case(
    Measure::Creatinine,
    88.42,
    "umol/L",
    "mg/dL",
    1.000_207_04,
    0.000_05,
    "UCUM, molar mass 113.12"
)]
#[case(
    Measure::Glucose,
    100.0,
    "mg/dL",
    "mmol/L",
    5.550_621_669_626_999,
    1e-12,
    "UCUM, molar mass 180.16"
)]
#[case(
    Measure::Glucose,
    100.0,
    "mg/dL",
    "mmol/L",
    5.551,
    0.0005,
    "package labunits 0.2.1"
)]
#[case(
    Measure::Glucose,
    1.0,
    "mmol/L",
    "mg/dL",
    18.0156,
    0.0005,
    "UCUM, molar mass 180.156"
)]
#[case(
    Measure::Pressure,
    1.0,
    "kPa",
    "mmHg",
    7.500_637_554_192_107,
    1e-12,
    "UCUM, by the package ucum-lhc 7.1.10"
)]
#[case(
    Measure::Pressure,
    1.0,
    "kPa",
    "mmHg",
    7.500_615_758,
    0.0001,
    "package ucumvert 0.3.2, a finer constant"
)]
#[case(
    Measure::Mass,
    70.0,
    "kg",
    "lb",
    154.323_583_529_414_3,
    1e-10,
    "UCUM, by the package ucum-lhc 7.1.10"
)]
fn converts_close_to_other_converters(
    #[case] measure: Measure,
    #[case] value: f64,
    #[case] from: &str,
    #[case] to: &str,
    #[case] expected: f64,
    #[case] tolerance: f64,
    #[case] source: &str,
) {
    let actual = measure.convert(value, from, to);
    assert!(
        actual.is_some_and(|actual| (actual - expected).abs() <= tolerance),
        "{source}: {actual:?}"
    );
}

/// Multiplying a decimal by a power of ten only moves the point.
#[test]
fn tenths_never_make_noise() {
    for hundredths in 0..=30_000_u32 {
        let metres: f64 = format!("{}.{:02}", hundredths / 100, hundredths % 100)
            .parse()
            .unwrap_or(f64::NAN);
        assert!(
            exactly(
                Measure::Length.convert(metres, "m", "cm"),
                f64::from(hundredths)
            ),
            "{metres}"
        );
        let tenths: f64 = format!("{}.{}", hundredths / 10, hundredths % 10)
            .parse()
            .unwrap_or(f64::NAN);
        assert!(
            exactly(
                Measure::Length.convert(f64::from(hundredths), "mm", "cm"),
                tenths
            ),
            "{hundredths}"
        );
    }
}

#[rstest]
#[case(Measure::Clearance, "mL/min/1.73 m2", "mL/min")]
#[case(Measure::Mass, "kg", "cm")]
#[case(Measure::Mass, "KG", "g")]
#[case(Measure::Hba1c, "mmol/L", "%")]
#[case(Measure::Strength, "%", "mmol/mol")]
fn refuses_to_convert(#[case] measure: Measure, #[case] from: &str, #[case] to: &str) {
    assert_eq!(measure.convert(60.0, from, to), None);
}

#[test]
fn converts_no_value_that_is_not_a_number() {
    for (measure, _) in ALL {
        for from in measure.units() {
            for to in measure.units() {
                for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
                    assert_eq!(measure.convert(bad, from, to), None, "{from} to {to}");
                }
            }
        }
    }
    assert_eq!(Measure::Mass.convert(f64::MAX, "kg", "mg"), None);
    assert!(
        Measure::Mass
            .convert(f64::MIN_POSITIVE, "mg", "kg")
            .is_some()
    );
}

#[rstest]
#[case(Measure::Length, &[(5.0, "ft"), (7.0, "in")], "cm", Some(170.18))]
#[case(Measure::Length, &[(6.0, "ft"), (0.5, "in")], "cm", Some(184.15))]
#[case(Measure::Length, &[(1.0, "m"), (68.0, "cm")], "cm", Some(168.0))]
#[case(Measure::Mass, &[(11.0, "st"), (4.0, "lb")], "lb", Some(158.0))]
#[case(Measure::Mass, &[(11.0, "st"), (4.0, "lb")], "kg", Some(71.667_594_46))]
#[case(Measure::Mass, &[(68.0, "kg")], "kg", Some(68.0))]
#[case(Measure::Hba1c, &[(7.0, "%")], "mmol/mol", Some(53.0))]
#[case(Measure::Mass, &[(11.0, "st"), (13.0, "lb"), (15.5, "oz")], "oz", Some(2_687.5))]
#[case(Measure::Mass, &[(11.0, "st"), (6.0, "oz")], "oz", Some(2_470.0))]
#[case(Measure::Mass, &[(68.0, "kg"), (999.0, "g")], "kg", Some(68.999))]
#[case(Measure::Length, &[(5.0, "ft"), (0.0, "in")], "in", Some(60.0))]
#[case(Measure::Length, &[(5.0, "ft"), (11.9, "in")], "in", Some(71.9))]
fn adds_up_compounds(
    #[case] measure: Measure,
    #[case] parts: &[(f64, &str)],
    #[case] to: &str,
    #[case] expected: Option<f64>,
) {
    assert_eq!(measure.total(parts, to).ok(), expected);
}

// Found by attack: `35 kg 77 lb`, one weight in both units, was added up.
#[rstest]
#[case(Measure::Mass, &[(35.0, "kg"), (77.0, "lb")], CompoundError::NotTogether)]
#[case(Measure::Mass, &[(5.0, "st"), (35.0, "kg")], CompoundError::NotTogether)]
#[case(Measure::Mass, &[(11.0, "st"), (70.0, "kg")], CompoundError::NotTogether)]
#[case(Measure::Mass, &[(70.0, "kg"), (4.0, "lb")], CompoundError::NotTogether)]
#[case(Measure::Length, &[(1.2, "m"), (2.0, "ft")], CompoundError::NotTogether)]
#[case(Measure::Length, &[(1.0, "m"), (20.0, "mm")], CompoundError::NotTogether)]
#[case(Measure::Volume, &[(1.0, "L"), (5.0, "mL")], CompoundError::NotTogether)]
#[case(Measure::Hba1c, &[(7.0, "%"), (1.0, "mmol/mol")], CompoundError::NotTogether)]
#[case(Measure::Length, &[(5.0, "ft"), (7.0, "furlong")], CompoundError::NotTogether)]
#[case(Measure::Mass, &[(4.0, "lb"), (11.0, "st")], CompoundError::NotLargestFirst)]
#[case(Measure::Mass, &[(5.0, "kg"), (5.0, "kg")], CompoundError::NotLargestFirst)]
#[case(Measure::Mass, &[(11.0, "st"), (4.0, "lb"), (1.0, "st")], CompoundError::NotLargestFirst)]
#[case(Measure::Length, &[(5.5, "ft"), (7.0, "in")], CompoundError::NotWhole)]
#[case(Measure::Length, &[], CompoundError::UnknownUnit)]
fn adds_up_nothing_else(
    #[case] measure: Measure,
    #[case] parts: &[(f64, &str)],
    #[case] expected: CompoundError,
) {
    let to = parts.first().map_or("", |(_, unit)| unit);
    assert_eq!(measure.total(parts, to), Err(expected));
}

#[rstest]
#[case(Measure::Mass, &[(70.0, "kg"), (70_000.0, "g")], 1000.0)]
#[case(Measure::Mass, &[(70.0, "kg"), (1_000.0, "g")], 1000.0)]
#[case(Measure::Length, &[(5.0, "ft"), (30.0, "in")], 12.0)]
#[case(Measure::Length, &[(5.0, "ft"), (14.0, "in")], 12.0)]
#[case(Measure::Length, &[(5.0, "ft"), (12.0, "in")], 12.0)]
#[case(Measure::Length, &[(1.0, "m"), (150.0, "cm")], 100.0)]
#[case(Measure::Mass, &[(11.0, "st"), (20.0, "lb")], 14.0)]
#[case(Measure::Mass, &[(11.0, "st"), (4.0, "lb"), (16.0, "oz")], 16.0)]
fn each_part_is_less_than_one_of_the_part_before(
    #[case] measure: Measure,
    #[case] parts: &[(f64, &str)],
    #[case] limit: f64,
) {
    let to = parts.first().map_or("", |(_, unit)| unit);
    let refused = measure.total(parts, to);
    assert!(
        matches!(refused, Err(CompoundError::TooMuch { most, .. }) if exactly(Some(most), limit)),
        "{refused:?}"
    );
}

// --- Reading quantities ----------------------------------------------------------------------------------------

#[rstest]
#[case("68 kg", &[("68", Some("kg"))])]
#[case("68kg", &[("68", Some("kg"))])]
#[case("  68   kg  ", &[("68", Some("kg"))])]
#[case("1.5 mL", &[("1.5", Some("mL"))])]
#[case("8.5 %", &[("8.5", Some("%"))])]
#[case("8.5%", &[("8.5", Some("%"))])]
#[case("68", &[("68", None)])]
#[case("-3 kg", &[("-3", Some("kg"))])]
#[case("+3 kg", &[("+3", Some("kg"))])]
#[case("007 kg", &[("007", Some("kg"))])]
#[case("69 mmol/mol", &[("69", Some("mmol/mol"))])]
#[case("5 ft 7 in", &[("5", Some("ft")), ("7", Some("in"))])]
#[case("5ft7in", &[("5", Some("ft")), ("7", Some("in"))])]
#[case("5'7\"", &[("5", Some("'")), ("7", Some("\""))])]
#[case("5 ft 7", &[("5", Some("ft")), ("7", None)])]
#[case("11 st 4 lb", &[("11", Some("st")), ("4", Some("lb"))])]
#[case("11 st 4.5 lb", &[("11", Some("st")), ("4.5", Some("lb"))])]
#[case("180 x10^9/L", &[("180", Some("x10^9/L"))])]
#[case("180 10^9/L", &[("180", Some("10^9/L"))])]
#[case("180 × 10⁹/L", &[("180", Some("× 10⁹/L"))])]
#[case("180 10*9/L", &[("180", Some("10*9/L"))])]
#[case("62 mL/min/1.73 m2", &[("62", Some("mL/min/1.73 m2"))])]
#[case("120 mm Hg", &[("120", Some("mm Hg"))])]
#[case("2 %w/v", &[("2", Some("%w/v"))])]
#[case("70 mcg", &[("70", Some("mcg"))])]
#[case("70 \u{3bc}g", &[("70", Some("\u{3bc}g"))])]
#[case("70\u{a0}kg", &[("70", Some("kg"))])]
fn reads_quantities(#[case] text: &str, #[case] expected: &[(&str, Option<&str>)]) {
    let expected: Vec<Parts> = expected
        .iter()
        .map(|(number, unit)| Parts {
            number: number.parse().unwrap_or(f64::NAN),
            number_text: (*number).to_owned(),
            unit: unit.map(str::to_owned),
        })
        .collect();
    assert_eq!(read_quantity(text), Ok(expected));
}

#[rstest]
#[case("", QuantityError::Empty)]
#[case("   ", QuantityError::Empty)]
#[case("8,5 %", QuantityError::DecimalComma { suggest: "8.5 %".to_owned() })]
#[case("0,125 mg", QuantityError::DecimalComma { suggest: "0.125 mg".to_owned() })]
#[case("68,25 kg", QuantityError::DecimalComma { suggest: "68.25 kg".to_owned() })]
#[case("-1,5 kg", QuantityError::DecimalComma { suggest: "-1.5 kg".to_owned() })]
#[case("1,000 mL", QuantityError::AmbiguousComma)]
#[case("1,000,000 mL", QuantityError::AmbiguousComma)]
#[case("1,234.5 mL", QuantityError::AmbiguousComma)]
#[case("1.234,5 mL", QuantityError::AmbiguousComma)]
#[case("68, kg", QuantityError::AmbiguousComma)]
#[case(".5 mL", QuantityError::BarePoint { suggest: "0.5 mL".to_owned() })]
#[case("-.5 mL", QuantityError::BarePoint { suggest: "-0.5 mL".to_owned() })]
#[case("<5 mmol/L", QuantityError::Comparator)]
#[case(">90 mL/min", QuantityError::Comparator)]
#[case("≥ 90 mL/min", QuantityError::Comparator)]
#[case("~70 kg", QuantityError::Comparator)]
#[case("1 000 mL", QuantityError::TwoNumbers)]
#[case("2-3 mL", QuantityError::TwoNumbers)]
#[case("7 1/2 in", QuantityError::TwoNumbers)]
#[case("120/80 mmHg", QuantityError::NotANumber)]
#[case("1/2 in", QuantityError::NotANumber)]
#[case("1e5 mL", QuantityError::NotANumber)]
#[case("1E+5 mL", QuantityError::NotANumber)]
#[case("1_000 mL", QuantityError::NotANumber)]
#[case("5. mL", QuantityError::NotANumber)]
#[case("1.2.3 mL", QuantityError::NotANumber)]
#[case("kg", QuantityError::NotANumber)]
#[case("about 70 kg", QuantityError::NotANumber)]
#[case("nan", QuantityError::NotANumber)]
#[case("inf kg", QuantityError::NotANumber)]
#[case("--5 kg", QuantityError::NotANumber)]
#[case("- 5 kg", QuantityError::NotANumber)]
#[case("٣ kg", QuantityError::NotANumber)]
#[case("-5 ft 7 in", QuantityError::NotANumber)]
#[case("5 ft -7 in", QuantityError::NotANumber)]
#[case("1 a 2 b 3 c 4 d", QuantityError::NotANumber)]
#[case("1234567890123456 kg", QuantityError::TooLarge)]
#[case("0.1234567890123456 kg", QuantityError::TooLarge)]
#[case("9999999999999 kg", QuantityError::TooLarge)]
fn refuses_quantities(#[case] text: &str, #[case] expected: QuantityError) {
    assert_eq!(read_quantity(text), Err(expected));
}

#[test]
fn refuses_long_text() {
    assert_eq!(
        read_quantity(&format!("5 {}", "m".repeat(100))),
        Err(QuantityError::TooLarge)
    );
    assert_eq!(
        read_number(&"9".repeat(10_000)),
        Err(QuantityError::TooLarge)
    );
}

#[rstest]
#[case("4.0", Ok(4.0))]
#[case(" 2.6 ", Ok(2.6))]
#[case("-1", Ok(-1.0))]
#[case("4,0", Err(QuantityError::DecimalComma { suggest: "4.0".to_owned() }))]
#[case("2.6 x", Err(QuantityError::TextAfterNumber))]
#[case("68 kg", Err(QuantityError::TextAfterNumber))]
#[case("1e5", Err(QuantityError::NotANumber))]
#[case(">8", Err(QuantityError::Comparator))]
#[case("", Err(QuantityError::Empty))]
fn reads_numbers(#[case] text: &str, #[case] expected: Result<f64, QuantityError>) {
    assert_eq!(read_number(text), expected);
}

#[rstest]
#[case("8,5", "decimals follow a point, not a comma: write `8.5`")]
#[case(".5", "a zero belongs before the decimal point: write `0.5`")]
#[case("<5", "a number after `<` or `>` is a bound, not a measured value")]
fn refusals_say_how_to_write_it(#[case] text: &str, #[case] expected: &str) {
    assert_eq!(
        read_number(text).map_err(|error| error.to_string()),
        Err(expected.to_owned())
    );
}

/// Text of any kind is no number, day or length of time. What looks like numbers with units is taken apart, whatever the
/// units are; which measure has them is asked afterwards.
#[test]
fn odd_text_is_refused_quietly() {
    let split = |text: &str| {
        read_quantity(text).ok().map(|parts| {
            parts
                .into_iter()
                .map(|it| it.unit.unwrap_or_default())
                .collect::<Vec<_>>()
        })
    };
    let units = |units: &[&str]| Some(units.iter().map(|it| (*it).to_owned()).collect::<Vec<_>>());
    let refused = ["µ", "é5", "\u{0}", "´", "١٢", "½", "🦶 5"];
    let taken_apart: [(&str, &[&str]); 6] = [
        ("5 µ", &["µ"]),
        ("5é7", &["é", ""]),
        ("5\u{301}", &["\u{301}"]),
        ("5 ’ 7 ”", &["’", "”"]),
        ("5½ ft", &["½ ft"]),
        ("5 🦶 6 🦶", &["🦶", "🦶"]),
    ];
    for (text, expected) in refused
        .map(|it| (it, None))
        .into_iter()
        .chain(taken_apart.map(|(it, of)| (it, units(of))))
    {
        assert_eq!(split(text), expected, "{text}");
        assert!(
            read_number(text).is_err() && read_when(text).is_err() && Span::read(text).is_none(),
            "{text}"
        );
        assert!(which_measures(text).is_empty(), "{text}");
    }
}

// --- Printing --------------------------------------------------------------------------------------------------

#[rstest]
#[case(68.0, None, "68")]
#[case(1.5, None, "1.5")]
#[case(0.1 + 0.2, None, "0.3")]
#[case(150.000_000_000_000_03, None, "150")]
#[case(1.0 / 3.0, None, "0.333333")]
#[case(23.333_333_333, None, "23.333333")]
#[case(1.999_999_99, None, "2")]
#[case(4.0, Some(1), "4.0")]
#[case(0.171_43, Some(2), "0.17")]
#[case(58.705, Some(1), "58.7")]
#[case(40.0, Some(0), "40")]
#[case(-0.0, None, "0")]
#[case(-0.01, Some(1), "0.0")]
#[case(-2.3, None, "-2.3")]
#[case(f64::NAN, None, "not a number")]
#[case(f64::INFINITY, Some(1), "not a number")]
fn prints_tidily(#[case] value: f64, #[case] decimals: Option<usize>, #[case] expected: &str) {
    assert_eq!(tidy(value, decimals), expected);
}

#[rstest]
#[case(0.8951, 2, 0.9, "0.895")]
#[case(0.9, 2, 0.9, "0.90")]
#[case(0.82, 2, 0.9, "0.82")]
#[case(49.93, 1, 50.0, "49.9")]
#[case(49.96, 1, 50.0, "49.96")]
#[case(49.999_9, 0, 50.0, "49.9999")]
#[case(29.952, 0, 30.0, "29.95")]
#[case(1.000_000_001, 2, 1.0, "1.000000001")]
fn rounding_never_crosses_a_limit(
    #[case] value: f64,
    #[case] decimals: usize,
    #[case] limit: f64,
    #[case] expected: &str,
) {
    assert_eq!(tidy_beside(value, decimals, limit), expected);
}

#[rstest]
#[case(23.39, 1, "23.3")]
#[case(23.3, 1, "23.3")]
#[case(23.0, 1, "23.0")]
#[case(0.29, 1, "0.2")]
#[case(17.99, 0, "17")]
#[case(0.3 - 0.1, 1, "0.2")]
#[case(-0.05, 1, "0.0")]
fn the_most_is_rounded_down(#[case] value: f64, #[case] decimals: usize, #[case] expected: &str) {
    assert_eq!(tidy_down(value, decimals), expected);
}

// --- Spans -----------------------------------------------------------------------------------------------------

#[rstest]
#[case("72 hours", 72, SpanUnit::Hours, "72 hours")]
#[case("1 hour", 1, SpanUnit::Hours, "1 hour")]
#[case("1 day", 1, SpanUnit::Days, "1 day")]
#[case("0 days", 0, SpanUnit::Days, "0 days")]
#[case("2 weeks", 2, SpanUnit::Weeks, "2 weeks")]
#[case("3 months", 3, SpanUnit::Months, "3 months")]
#[case("1 months", 1, SpanUnit::Months, "1 month")]
#[case("12 Years", 12, SpanUnit::Years, "12 years")]
#[case("  6   months ", 6, SpanUnit::Months, "6 months")]
fn reads_spans(
    #[case] text: &str,
    #[case] count: u32,
    #[case] unit: SpanUnit,
    #[case] shown: &str,
) {
    assert_eq!(Span::read(text), Some(Span { count, unit }));
    assert_eq!(span(text).to_string(), shown);
    assert_eq!(Span::read(shown), Some(Span { count, unit }));
}

#[rstest]
#[case("")]
#[case("72")]
#[case("hours")]
#[case("72hours")]
#[case("72 h")]
#[case("-1 day")]
#[case("+1 day")]
#[case("1.5 years")]
#[case("99999 days")]
#[case("3 months ago")]
#[case("three months")]
fn refuses_spans(#[case] text: &str) {
    assert_eq!(Span::read(text), None);
}

// --- Dates -----------------------------------------------------------------------------------------------------

#[rstest]
#[case("2026-12-03", "2026-12-03")]
#[case(" 2026-12-03 ", "2026-12-03")]
#[case("2026-12-03 09:30", "2026-12-03 09:30")]
#[case("2026-12-03T09:30", "2026-12-03 09:30")]
#[case("2026-12-03 00:00", "2026-12-03 00:00")]
#[case("2026-12-03 23:59", "2026-12-03 23:59")]
#[case("2028-02-29", "2028-02-29")]
#[case("1900-01-01", "1900-01-01")]
#[case("2200-12-31", "2200-12-31")]
fn reads_dates(#[case] text: &str, #[case] shown: &str) {
    assert_eq!(
        read_when(text).map(|when| when.to_string()),
        Ok(shown.to_owned())
    );
}

fn wrong_order(suggest: &str) -> WhenError {
    WhenError::WrongOrder {
        suggest: (!suggest.is_empty()).then(|| suggest.to_owned()),
    }
}

#[rstest]
#[case("", WhenError::Empty)]
#[case("2026-02-31", WhenError::NoSuchDay { days: Some(28) })]
#[case("2028-02-30", WhenError::NoSuchDay { days: Some(29) })]
#[case("2027-02-29", WhenError::NoSuchDay { days: Some(28) })]
#[case("2026-04-31", WhenError::NoSuchDay { days: Some(30) })]
#[case("2026-12-00", WhenError::NoSuchDay { days: Some(31) })]
#[case("2026-13-01", WhenError::NoSuchDay { days: None })]
#[case("2026-00-10", WhenError::NoSuchDay { days: None })]
#[case("1899-12-31", WhenError::YearOutOfRange)]
#[case("2201-01-01", WhenError::YearOutOfRange)]
#[case("0026-12-03", WhenError::YearOutOfRange)]
#[case("31/12/2026", wrong_order("2026-12-31"))]
#[case("12-31-2026", wrong_order("2026-12-31"))]
#[case("12/31/2026", wrong_order("2026-12-31"))]
#[case("31.12.2026", wrong_order("2026-12-31"))]
#[case("2026/12/31", wrong_order("2026-12-31"))]
#[case("2026.12.31", wrong_order("2026-12-31"))]
#[case("2026-3-1", wrong_order("2026-03-01"))]
#[case("5/5/2026", wrong_order("2026-05-05"))]
#[case("03/04/2026", wrong_order(""))]
#[case("3-4-2026", wrong_order(""))]
#[case("31/12/26", wrong_order(""))]
#[case("26-12-03", wrong_order(""))]
#[case("2026/02/31", wrong_order(""))]
#[case("31/12/2026 09:30", wrong_order("2026-12-31"))]
#[case("2026-12-03 24:00", WhenError::NoSuchTime)]
#[case("2026-12-03 09:60", WhenError::NoSuchTime)]
#[case("2026-12-03 9:30", WhenError::NotADate)]
#[case("2026-12-03 09:30:00", WhenError::NotADate)]
#[case("2026-12-03T09:30Z", WhenError::NotADate)]
#[case("2026-12-03 9am", WhenError::NotADate)]
#[case("2026-12", WhenError::NotADate)]
#[case("2026", WhenError::NotADate)]
#[case("20261203", WhenError::NotADate)]
#[case("last Tuesday", WhenError::NotADate)]
#[case("+026-12-03", WhenError::NotADate)]
#[case("2026-12-03-01", WhenError::NotADate)]
#[case("٢٠٢٦-١٢-٠٣", WhenError::NotADate)]
fn refuses_dates(#[case] text: &str, #[case] expected: WhenError) {
    assert_eq!(read_when(text), Err(expected));
}

#[rstest]
#[case("2026-02-31", "there is no such day: that month has 28 days")]
#[case("2026-13-01", "there is no such day: months run from 01 to 12")]
#[case("31/12/2026", "dates are written year, month, day: write `2026-12-31`")]
#[case("03/04/2026", "dates are written year, month, day: `YYYY-MM-DD`")]
fn date_refusals_say_how_to_write_it(#[case] text: &str, #[case] expected: &str) {
    assert_eq!(
        read_when(text).map_err(|error| error.to_string()),
        Err(expected.to_owned())
    );
}

#[rstest]
#[case("2026-12-02", "2026-12-03", 1)]
#[case("2026-12-03", "2026-12-02", -1)]
#[case("2026-12-02 23:59", "2026-12-03 00:00", 1)]
#[case("2028-02-28", "2028-03-01", 2)]
#[case("2027-02-28", "2027-03-01", 1)]
fn days_between_dates(#[case] from: &str, #[case] to: &str, #[case] expected: i64) {
    assert_eq!(when(from).days_between(&when(to)), expected);
}

#[rstest]
#[case("2026-12-04", "2026-12-03", true)]
#[case("2026-12-03", "2026-12-03", false)]
#[case("2026-12-02", "2026-12-03", false)]
#[case("2026-12-03 09:31", "2026-12-03 09:30", true)]
#[case("2026-12-03 09:30", "2026-12-03 09:30", false)]
#[case("2026-12-03 23:59", "2026-12-03", false)]
#[case("2026-12-03", "2026-12-02 23:59", true)]
fn lies_after(#[case] one: &str, #[case] other: &str, #[case] expected: bool) {
    assert_eq!(when(one).is_after(&when(other)), expected);
}

/// An age of exactly the span does not exceed it.
#[rstest]
// Hours, with both times known: to the minute.
#[case("2026-12-02 09:00", "2026-12-03 09:00", "24 hours", false)]
#[case("2026-12-02 09:00", "2026-12-03 09:01", "24 hours", true)]
#[case("2026-12-02 09:00", "2026-12-03 08:59", "24 hours", false)]
#[case("2026-11-30 09:00", "2026-12-03 09:00", "72 hours", false)]
#[case("2026-11-30 08:00", "2026-12-03 09:00", "72 hours", true)]
#[case("2026-12-02 09:00", "2026-12-03 09:00", "1 day", false)]
#[case("2026-12-02 09:00", "2026-12-03 09:01", "1 day", true)]
#[case("2026-11-26 09:00", "2026-12-03 09:00", "1 week", false)]
#[case("2026-11-26 09:00", "2026-12-03 09:01", "1 week", true)]
// Hours, days and weeks, with dates alone: whole days of 24 hours.
#[case("2026-12-02", "2026-12-03", "24 hours", false)]
#[case("2026-12-01", "2026-12-03", "24 hours", true)]
#[case("2026-11-30", "2026-12-03", "72 hours", false)]
#[case("2026-11-29", "2026-12-03", "72 hours", true)]
#[case("2026-12-02", "2026-12-03", "23 hours", true)]
#[case("2026-12-03", "2026-12-03", "0 days", false)]
#[case("2026-12-02", "2026-12-03", "0 days", true)]
#[case("2026-11-23", "2026-12-03", "10 days", false)]
#[case("2026-11-22", "2026-12-03", "10 days", true)]
#[case("2026-11-19", "2026-12-03", "2 weeks", false)]
#[case("2026-11-18", "2026-12-03", "2 weeks", true)]
// A time on one side only counts for nothing.
#[case("2026-12-02 00:00", "2026-12-03", "24 hours", false)]
#[case("2026-12-02", "2026-12-03 23:59", "24 hours", false)]
// Months and years, by the calendar.
#[case("2026-09-03", "2026-12-03", "3 months", false)]
#[case("2026-09-02", "2026-12-03", "3 months", true)]
#[case("2026-09-04", "2026-12-03", "3 months", false)]
#[case("2026-01-31", "2026-02-28", "1 month", false)]
#[case("2026-01-31", "2026-03-01", "1 month", true)]
#[case("2028-01-31", "2028-02-29", "1 month", false)]
#[case("2028-01-31", "2028-03-01", "1 month", true)]
#[case("2026-08-31", "2027-02-28", "6 months", false)]
#[case("2026-08-31", "2027-03-01", "6 months", true)]
#[case("2025-12-03", "2026-12-03", "12 months", false)]
#[case("2025-12-02", "2026-12-03", "1 year", true)]
#[case("2024-02-29", "2025-02-28", "1 year", false)]
#[case("2024-02-29", "2025-03-01", "1 year", true)]
#[case("2024-02-29", "2028-02-29", "4 years", false)]
#[case("2024-02-29", "2028-03-01", "4 years", true)]
// Times do not matter to months.
#[case("2026-09-03 09:00", "2026-12-03 17:00", "3 months", false)]
// Published thresholds that rules use, at and beside them.
#[case("2026-12-02 09:30", "2026-12-03 09:30", "24 hours", false)]
#[case("2026-11-30 21:30", "2026-12-03 09:30", "72 hours", false)]
#[case("2026-11-30 08:30", "2026-12-03 09:30", "72 hours", true)]
#[case("2026-10-05", "2026-12-03", "59 days", false)]
#[case("2026-10-04", "2026-12-03", "59 days", true)]
#[case("2026-09-04", "2026-12-03", "90 days", false)]
#[case("2026-09-03", "2026-12-03", "90 days", true)]
#[case("2026-08-03", "2026-12-03", "3 months", true)]
// Beyond the calendar, and before the beginning.
#[case("2026-09-03", "2200-12-03", "9999 years", false)]
#[case("2026-12-04", "2026-12-03", "1 day", false)]
#[case("2026-12-04", "2026-12-03", "1 month", false)]
fn age_beside_a_span(
    #[case] taken: &str,
    #[case] on: &str,
    #[case] longest: &str,
    #[case] expected: bool,
) {
    assert_eq!(
        When::age_exceeds(&when(taken), &when(on), &span(longest)),
        expected,
        "{HAND}"
    );
}
