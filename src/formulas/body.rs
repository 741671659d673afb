//! Body-mass index, ideal weight, and the weight that doses are taken from.

use crate::formulas::formula::{
    CutAt, FROM_ZERO, Follows, Formula, Gives, HiddenCut, KnownWhen, Moves, Needs, Role, RoleKind,
};
use crate::formulas::given::{Sex, both, result};
use crate::formulas::{positive, settled};

/// Centimetres in an inch.
const CM_PER_INCH: f64 = 2.54;

/// [`body_mass_index`] of a rule set.
pub(crate) static BODY_MASS_INDEX: Formula = Formula {
    name: "body-mass-index",
    about: "weight over height squared",
    source: "Quetelet's index, the common definition (from memory)",
    roles: &[
        Role::number("weight", "kg", Moves::Rises),
        Role::number("height", "cm", Moves::Falls),
    ],
    gives: Gives::In("kg/m2"),
    whole: false,
    ends: FROM_ZERO,
    cuts: &[],
    known: KnownWhen::Exactly(Needs::Every),
    zero: Needs::NEVER,
    follows: Follows::Arithmetic,
    even_with: None,
    compute: |given| {
        let [weight, height] = given.numbers(["weight", "height"])?;
        result(body_mass_index(weight, height))
    },
};

/// The greatest heights in cm of which Broca leaves no weight, for women and for men. Devine leaves some there.
const NOTHING_LEFT: (f64, f64) = (105.0, 100.0);

/// [`ideal_weight`] of a rule set.
pub(crate) static IDEAL_WEIGHT: Formula = Formula {
    name: "ideal-weight",
    about: "ideal weight of an adult, by height and sex",
    source: "Broca index, as Ideal body weight, Master Anesthesia, has it (no year shown; read), and Devine BJ, Gentamicin therapy, Drug Intelligence and Clinical Pharmacy, 1974 (from memory); taking the lower is a cautious choice",
    roles: &[
        Role::number("height", "cm", Moves::Rises),
        Role::new("sex", RoleKind::Sex),
    ],
    gives: Gives::In("kg"),
    whole: false,
    ends: FROM_ZERO,
    cuts: &[
        HiddenCut {
            role: "height",
            at: CutAt::Number(NOTHING_LEFT.0),
            value_below: true,
        },
        HiddenCut {
            role: "height",
            at: CutAt::Number(NOTHING_LEFT.1),
            value_below: true,
        },
    ],
    known: KnownWhen::Exactly(Needs::Any(&[
        Needs::All(&[
            Needs::Above("height", NOTHING_LEFT.0),
            Needs::Is("sex", "female"),
        ]),
        Needs::All(&[
            Needs::Above("height", NOTHING_LEFT.1),
            Needs::Is("sex", "male"),
        ]),
    ])),
    zero: Needs::NEVER,
    follows: Follows::Arithmetic,
    even_with: None,
    compute: |given| {
        let (height, sex) = both(given.number("height"), given.sex("sex"))?;
        result(ideal_weight(height, sex))
    },
};

/// [`dosing_weight`] of a rule set. Of a child the ideal weight is not used, so it is not needed either.
pub(crate) static DOSING_WEIGHT: Formula = Formula {
    name: "dosing-weight",
    about: "the lower of actual weight, ideal weight of an adult, and a ceiling",
    source: "Ideal weight in obesity: British National Formulary, its entry of a local anaesthetic (no year shown); a ceiling: Metodebok (Norway), 2023, and Wellington ICU, Local anaesthetic safety calculations (read); taking the lowest of all is a cautious choice",
    roles: &[
        Role::number("weight", "kg", Moves::Rises),
        Role::number("ideal", "kg", Moves::Rises),
        Role::number("age", "years", Moves::Stays),
        Role::limit("adult_from", "years"),
        Role::number("ceiling", "kg", Moves::Rises),
    ],
    gives: Gives::In("kg"),
    whole: false,
    ends: FROM_ZERO,
    cuts: &[HiddenCut {
        role: "age",
        at: CutAt::Limit("adult_from"),
        value_below: false,
    }],
    known: KnownWhen::Exactly(Needs::All(&[
        Needs::Role("weight"),
        Needs::Role("age"),
        Needs::Role("ceiling"),
        Needs::Any(&[Needs::Role("ideal"), Needs::Below("age", "adult_from")]),
    ])),
    zero: Needs::NEVER,
    follows: Follows::Arithmetic,
    even_with: None,
    compute: |given| {
        let [weight, age, adult_from, ceiling] =
            given.numbers(["weight", "age", "adult_from", "ceiling"])?;
        let ideal = if age < adult_from {
            None
        } else {
            Some(given.number("ideal")?)
        };
        result(dosing_weight(weight, ideal, ceiling))
    },
};

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
