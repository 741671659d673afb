//! What is measured, in which units, how people spell them, and how one unit becomes another.
//!
//! Units belong to a measure, not to one great table: `%` of HbA1c is not `%` of a solution, and a clearance indexed
//! to body surface is not a clearance. A pair of units that is not listed under one measure never converts.

use std::fmt;

use crate::formulas::glycaemia::{ifcc_to_ngsp, ngsp_to_ifcc};
use crate::formulas::without_noise;
use crate::quantity::tidy;

/// A kind of quantity that a question can ask for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Measure {
    /// Mass of a body or of a medicine.
    Mass,
    /// Length, such as body height.
    Length,
    /// Volume of a liquid.
    Volume,
    /// Pressure of blood or of a cuff.
    Pressure,
    /// Glycated haemoglobin.
    Hba1c,
    /// Concentration of glucose in blood.
    Glucose,
    /// Concentration of creatinine in serum.
    Creatinine,
    /// Clearance by the kidney, never indexed to body surface.
    Clearance,
    /// Number of cells in a volume of blood.
    Count,
    /// Strength of a solution, mass in volume.
    Strength,
}

/// One unit: its size in the measure's first-named base, as a fraction of whole numbers, and its other spellings.
struct Unit {
    name: &'static str,
    times: u128,
    over: u128,
    also: &'static [&'static str],
}

/// Base: gram. The pound is 0.45359237 kg exactly (international yard and pound agreement, 1959; from memory), the
/// stone 14 pounds, the ounce a sixteenth of a pound.
const MASS: &[Unit] = &[
    Unit {
        name: "kg",
        times: 1000,
        over: 1,
        also: &[
            "kgs",
            "kilo",
            "kilos",
            "kilogram",
            "kilograms",
            "kilogramme",
            "kilogrammes",
        ],
    },
    Unit {
        name: "g",
        times: 1,
        over: 1,
        also: &["gm", "gram", "grams", "gramme", "grammes"],
    },
    Unit {
        name: "mg",
        times: 1,
        over: 1000,
        also: &["milligram", "milligrams", "milligramme", "milligrammes"],
    },
    Unit {
        name: "microgram",
        times: 1,
        over: 1_000_000,
        also: &["micrograms", "microgramme", "microgrammes", "mcg", "ug"],
    },
    Unit {
        name: "lb",
        times: 45_359_237,
        over: 100_000,
        also: &["lbs", "pound", "pounds"],
    },
    Unit {
        name: "st",
        times: 635_029_318,
        over: 100_000,
        also: &["stone", "stones"],
    },
    Unit {
        name: "oz",
        times: 45_359_237,
        over: 1_600_000,
        also: &["ounce", "ounces"],
    },
];

/// Base: centimetre. The inch is 2.54 cm exactly (the same agreement of 1959; from memory).
const LENGTH: &[Unit] = &[
    Unit {
        name: "cm",
        times: 1,
        over: 1,
        also: &[
            "cms",
            "centimetre",
            "centimetres",
            "centimeter",
            "centimeters",
        ],
    },
    Unit {
        name: "m",
        times: 100,
        over: 1,
        also: &["metre", "metres", "meter", "meters"],
    },
    Unit {
        name: "mm",
        times: 1,
        over: 10,
        also: &["millimetre", "millimetres", "millimeter", "millimeters"],
    },
    Unit {
        name: "in",
        times: 254,
        over: 100,
        also: &["inch", "inches", "\"", "''"],
    },
    Unit {
        name: "ft",
        times: 3048,
        over: 100,
        also: &["foot", "feet", "'"],
    },
];

/// Base: millilitre.
const VOLUME: &[Unit] = &[
    Unit {
        name: "mL",
        times: 1,
        over: 1,
        also: &[
            "mls",
            "cc",
            "millilitre",
            "millilitres",
            "milliliter",
            "milliliters",
        ],
    },
    Unit {
        name: "L",
        times: 1000,
        over: 1,
        also: &["litre", "litres", "liter", "liters"],
    },
];

/// Base: millimetre of mercury, 133.322 Pa (Unified Code for Units of Measure, Regenstrief Institute).
const PRESSURE: &[Unit] = &[
    Unit {
        name: "mmHg",
        times: 1,
        over: 1,
        also: &["mm[Hg]"],
    },
    Unit {
        name: "kPa",
        times: 1_000_000,
        over: 133_322,
        also: &["kilopascal", "kilopascals"],
    },
];

/// No base: the two scales meet in the master equation, not in a factor. The factors here are never used.
const HBA1C: &[Unit] = &[
    Unit {
        name: "mmol/mol",
        times: 0,
        over: 1,
        also: &[],
    },
    Unit {
        name: "%",
        times: 0,
        over: 1,
        also: &["percent"],
    },
];

/// Base: millimole per litre. 18.016 mg/dL to 1 mmol/L: molar mass of glucose 180.16 g/mol.
const GLUCOSE: &[Unit] = &[
    Unit {
        name: "mmol/L",
        times: 1,
        over: 1,
        also: &[],
    },
    Unit {
        name: "mg/dL",
        times: 1000,
        over: 18_016,
        also: &[],
    },
];

/// Base: micromole per litre. 1 mg/dL is 88.4 micromol/L (Taber's Medical Dictionary, Cockcroft-Gault formula); 88.42
/// is also in use and differs by 0.02 %.
const CREATININE: &[Unit] = &[
    Unit {
        name: "umol/L",
        times: 1,
        over: 1,
        also: &["micromol/L", "mcmol/L"],
    },
    Unit {
        name: "mg/dL",
        times: 884,
        over: 10,
        also: &[],
    },
];

/// One unit only. `mL/min/1.73 m2` belongs to an estimated filtration rate, which is another quantity.
const CLEARANCE: &[Unit] = &[Unit {
    name: "mL/min",
    times: 1,
    over: 1,
    also: &[],
}];

/// Both units are the same number: a thousand millionth litres in a litre hold a thousandth of the count.
const COUNT: &[Unit] = &[
    Unit {
        name: "10^9/L",
        times: 1,
        over: 1,
        also: &[],
    },
    Unit {
        name: "10^3/uL",
        times: 1,
        over: 1,
        also: &["10^3/mcL"],
    },
];

/// Base: milligram per millilitre. 1 % is 1 g in 100 mL, so 10 mg/mL.
const STRENGTH: &[Unit] = &[
    Unit {
        name: "%",
        times: 10,
        over: 1,
        also: &["percent", "%w/v"],
    },
    Unit {
        name: "mg/mL",
        times: 1,
        over: 1,
        also: &[],
    },
];

/// Canonical units whose UCUM code is another one: the avoirdupois pound, the international inch.
const UCUM_CODES: [(&str, &str); 9] = [
    ("microgram", "ug"),
    ("lb", "[lb_av]"),
    ("st", "[stone_av]"),
    ("oz", "[oz_av]"),
    ("in", "[in_i]"),
    ("ft", "[ft_i]"),
    ("mmHg", "mm[Hg]"),
    ("10^9/L", "10*9/L"),
    ("10^3/uL", "10*3/uL"),
];

/// Units that one quantity is written in together, the largest first.
const TOGETHER: [&[&str]; 4] = [
    &["st", "lb", "oz"],
    &["ft", "in"],
    &["m", "cm"],
    &["kg", "g"],
];

/// Why several numbers with units are not one quantity.
#[derive(Debug, Clone, PartialEq)]
pub enum CompoundError {
    /// Two units that nobody writes together: each number may be the whole quantity.
    NotTogether,
    /// A unit that is not smaller than the one before.
    NotLargestFirst,
    /// A part with decimals, and another one after it.
    NotWhole,
    /// A part that comes to one unit or more of the part before.
    TooMuch {
        /// The part's number.
        value: f64,
        /// The part's unit.
        unit: String,
        /// How many of its unit make one of the part before.
        most: f64,
        /// The unit of the part before.
        bigger: String,
    },
    /// No part, or a unit that is not one of the measure.
    UnknownUnit,
}

impl fmt::Display for CompoundError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotTogether => {
                f.write_str("each number could be the whole: write one number with one unit")
            }
            Self::NotLargestFirst => f.write_str("write each unit once, the largest first"),
            Self::NotWhole => f.write_str("only the last number may have decimals"),
            Self::TooMuch {
                value,
                unit,
                most,
                bigger,
            } => {
                let (value, most) = (tidy(*value, None), tidy(*most, None));
                write!(
                    f,
                    "{value} {unit} is as much as 1 {bigger} ({most} {unit}) or more: correct it, or write one number with one unit"
                )
            }
            Self::UnknownUnit => f.write_str("write one number with one unit"),
        }
    }
}

impl std::error::Error for CompoundError {}

impl Measure {
    /// Every measure, in the order of the declaration.
    pub(crate) const ALL: [Self; 10] = [
        Self::Mass,
        Self::Length,
        Self::Volume,
        Self::Pressure,
        Self::Hba1c,
        Self::Glucose,
        Self::Creatinine,
        Self::Clearance,
        Self::Count,
        Self::Strength,
    ];

    /// Finds the measure that the rule set names, such as `mass`.
    ///
    /// # Returns
    /// `None` if there is no such measure; the caller reports that as an error in the rule set.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|measure| measure.name() == name)
    }

    /// The name a rule set uses for this measure.
    pub fn name(self) -> &'static str {
        match self {
            Self::Mass => "mass",
            Self::Length => "length",
            Self::Volume => "volume",
            Self::Pressure => "pressure",
            Self::Hba1c => "hba1c",
            Self::Glucose => "glucose",
            Self::Creatinine => "creatinine",
            Self::Clearance => "clearance",
            Self::Count => "count",
            Self::Strength => "strength",
        }
    }

    /// The units of this measure in their canonical spelling.
    pub fn units(self) -> &'static [&'static str] {
        match self {
            Self::Mass => &["kg", "g", "mg", "microgram", "lb", "st", "oz"],
            Self::Length => &["cm", "m", "mm", "in", "ft"],
            Self::Volume => &["mL", "L"],
            Self::Pressure => &["mmHg", "kPa"],
            Self::Hba1c => &["mmol/mol", "%"],
            Self::Glucose => &["mmol/L", "mg/dL"],
            Self::Creatinine => &["umol/L", "mg/dL"],
            Self::Clearance => &["mL/min"],
            Self::Count => &["10^9/L", "10^3/uL"],
            Self::Strength => &["%", "mg/mL"],
        }
    }

    /// The canonical spelling of a unit that somebody wrote, such as `mcg`, `mm Hg` or `×10⁹/L`.
    ///
    /// Spaces and a closing full stop do not matter. Letter case is forgiven, except a capital `M` before small letters
    /// (`Mg`), which would mean a million and not a thousandth.
    ///
    /// # Returns
    /// `None` if the spelling is no unit of this measure; [`which_measures`] tells whether it is one of another.
    pub fn unit(self, spelling: &str) -> Option<&'static str> {
        let spelling = plain_spelling(spelling);
        self.table()
            .iter()
            .find(|unit| {
                std::iter::once(&unit.name)
                    .chain(unit.also)
                    .any(|known| reads_as(&spelling, known))
            })
            .map(|unit| unit.name)
    }

    /// The code of one of its canonical units in the Unified Code for Units of Measure (Regenstrief Institute, 2.1, 2017).
    ///
    /// # Returns
    /// The unit itself where the two agree, and for what is no unit.
    pub fn ucum(self, unit: &str) -> &str {
        let code = UCUM_CODES.iter().find(|(name, _)| *name == unit);
        code.map_or(unit, |(_, code)| code)
    }

    /// The canonical spelling of a unit that stands under its UCUM code.
    ///
    /// # Returns
    /// `None` if the code is of no unit of this measure. Codes are compared letter by letter, as the standard demands.
    pub fn of_ucum(self, code: &str) -> Option<&'static str> {
        let mut units = self.units().iter().copied();
        units.find(|unit| self.ucum(unit) == code)
    }

    /// Turns a value from one canonical unit into another.
    ///
    /// Factors are ratios of whole numbers and the value is taken as the decimal it prints as, so the result is the
    /// nearest number to the exact decimal answer: 2.3 m is 230 cm, not 229.99999999999997 cm. HbA1c goes by the
    /// NGSP/IFCC master equation, to whole mmol/mol and to tenths of a per cent, as the published tables do.
    ///
    /// # Returns
    /// `None` if either unit is not a canonical unit of this measure, or the value is not finite. A value below zero
    /// converts too: whether it is plausible is for the question to say.
    pub fn convert(self, value: f64, from: &str, to: &str) -> Option<f64> {
        let from = self.find(from)?;
        let to = self.find(to)?;
        if !value.is_finite() {
            return None;
        }
        match (self, from.name, to.name) {
            (_, a, b) if a == b => Some(value),
            (Self::Hba1c, "%", _) => ngsp_to_ifcc(value),
            (Self::Hba1c, _, _) => ifcc_to_ngsp(value),
            _ => scaled(value, from.times * to.over, from.over * to.times),
        }
    }

    /// Adds up a quantity written in several parts, such as 5 ft and 7 in, in one canonical unit.
    ///
    /// # Errors
    /// A [`CompoundError`] unless the units belong to one of the families that are written together, the largest first,
    /// each part a whole number but the last, and each less than one unit of the part before: two whole weights in a row
    /// are never added up.
    pub fn total(self, parts: &[(f64, &str)], to: &str) -> Result<f64, CompoundError> {
        let mut sum = 0.0;
        let mut before: Option<(f64, &str)> = None;
        for &(value, unit) in parts {
            if let Some((bigger_value, bigger)) = before {
                let family = TOGETHER
                    .iter()
                    .find(|it| it.contains(&bigger) && it.contains(&unit))
                    .ok_or(CompoundError::NotTogether)?;
                if family.iter().position(|it| *it == unit)
                    <= family.iter().position(|it| *it == bigger)
                {
                    return Err(CompoundError::NotLargestFirst);
                }
                if bigger_value.fract() != 0.0 {
                    return Err(CompoundError::NotWhole);
                }
                let most = self
                    .convert(1.0, bigger, unit)
                    .ok_or(CompoundError::UnknownUnit)?;
                if value >= most {
                    return Err(CompoundError::TooMuch {
                        value,
                        unit: unit.to_owned(),
                        most,
                        bigger: bigger.to_owned(),
                    });
                }
            }
            sum += self
                .convert(value, unit, to)
                .ok_or(CompoundError::UnknownUnit)?;
            before = Some((value, unit));
        }
        if before.is_none() {
            return Err(CompoundError::UnknownUnit);
        }
        Ok(without_noise(sum))
    }

    /// The table of this measure's units.
    fn table(self) -> &'static [Unit] {
        match self {
            Self::Mass => MASS,
            Self::Length => LENGTH,
            Self::Volume => VOLUME,
            Self::Pressure => PRESSURE,
            Self::Hba1c => HBA1C,
            Self::Glucose => GLUCOSE,
            Self::Creatinine => CREATININE,
            Self::Clearance => CLEARANCE,
            Self::Count => COUNT,
            Self::Strength => STRENGTH,
        }
    }

    /// Finds a unit by its canonical spelling.
    fn find(self, name: &str) -> Option<&'static Unit> {
        self.table().iter().find(|unit| unit.name == name)
    }
}

/// Every measure that has a unit of this spelling, so that a message can say "that is a unit of mass".
pub fn which_measures(spelling: &str) -> Vec<Measure> {
    Measure::ALL
        .into_iter()
        .filter(|measure| measure.unit(spelling).is_some())
        .collect()
}

/// Brings look-alike characters to one form and drops spaces.
///
/// There are two micro signs (U+00B5 and the Greek letter U+03BC), several quotation marks, and powers of ten are
/// written with `^`, with `*` or raised.
fn plain_spelling(spelling: &str) -> String {
    let mut plain = String::with_capacity(spelling.len());
    for character in spelling.chars().filter(|c| !c.is_whitespace()) {
        match character {
            '\u{b5}' | '\u{3bc}' => plain.push('u'),
            '×' => plain.push('x'),
            '⁹' => plain.push_str("^9"),
            '³' => plain.push_str("^3"),
            '″' | '”' | '“' => plain.push('"'),
            '′' | '’' | '‘' => plain.push('\''),
            other => plain.push(other),
        }
    }
    let unpadded = plain.trim_end_matches('.');
    let power = unpadded
        .strip_prefix(['x', 'X'])
        .filter(|rest| rest.starts_with("10"))
        .unwrap_or(unpadded);
    power
        .strip_prefix("10*")
        .map_or_else(|| power.to_owned(), |rest| format!("10^{rest}"))
}

/// Whether a plain spelling means a known one, forgiving case where that cannot change the size.
fn reads_as(spelling: &str, known: &str) -> bool {
    if spelling == known {
        return true;
    }
    // A capital M before small letters is the prefix for a million, unless the word is written out.
    let is_word = known.len() > 4 && known.chars().all(|c| c.is_ascii_lowercase());
    let is_mega = spelling.starts_with('M') && spelling.chars().any(|c| c.is_ascii_lowercase());
    spelling.eq_ignore_ascii_case(known) && (is_word || !is_mega)
}

/// The nearest number to `value * times / over`, with `value` taken as the decimal it prints as.
fn scaled(value: f64, times: u128, over: u128) -> Option<f64> {
    let rough = || value * times as f64 / over as f64;
    let exact = scaled_decimal(value.abs(), times, over).map(|size| size.copysign(value));
    Some(exact.unwrap_or_else(rough)).filter(|result| result.is_finite())
}

/// Long division in whole numbers; `None` if the numbers outgrow it.
fn scaled_decimal(value: f64, times: u128, over: u128) -> Option<f64> {
    // Far more digits than a number holds, so that the last step rounds once and correctly.
    const DIGITS: usize = 40;

    let printed = format!("{value}");
    let (whole, decimals) = printed.split_once('.').unwrap_or((&printed, ""));
    let top = format!("{whole}{decimals}")
        .parse::<u128>()
        .ok()?
        .checked_mul(times)?;
    let power = u32::try_from(decimals.len()).ok()?;
    let bottom = 10_u128.checked_pow(power)?.checked_mul(over)?;
    let mut text = format!("{}.", top.checked_div(bottom)?);
    let mut left = top.checked_rem(bottom)?;
    for _ in 0..DIGITS {
        left = left.checked_mul(10)?;
        text.push_str(&left.checked_div(bottom)?.to_string());
        left = left.checked_rem(bottom)?;
    }
    text.push(if left == 0 { '0' } else { '1' });
    text.parse().ok()
}
