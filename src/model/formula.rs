//! The formulas a derived fact may use, and what each must be given.
//!
//! The arithmetic itself is in `formulas`; `facts` joins the two.

/// A published formula.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Formula {
    /// Completed years between two dates.
    CompletedYears,
    /// Weight over height squared.
    BodyMassIndex,
    /// Ideal weight of an adult.
    IdealWeight,
    /// Weight that anaesthetic limits are taken from.
    DosingWeight,
    /// The lower of two numbers.
    LowerOf,
    /// Creatinine clearance.
    CockcroftGault,
    /// Chosen options of a list.
    CountOf,
    /// A distal pressure over the higher arm pressure.
    PressureIndex,
    /// The lowest of the sides operated on.
    LowestOfOperated,
    /// The highest of the sides operated on.
    HighestOfOperated,
    /// Dose over limit, summed.
    AnaestheticLoad,
    /// Planned volume for each toe.
    VolumePerToe,
    /// Dose in a digit over the agent's limit for a digit.
    DigitLoad,
    /// The counts of the chosen options, added up.
    PointsOf,
    /// One number less another.
    Difference,
    /// One number over another.
    ShareOf,
    /// Chosen options of one list that are not chosen in another.
    CountMissingFrom,
    /// Steroid for each day, as prednisolone.
    SteroidDaily,
    /// The same as the adrenals count it.
    AdrenalSteroidDaily,
    /// The longest course of a steroid.
    SteroidDays,
    /// The most paracetamol in a day.
    ParacetamolCeiling,
    /// Adrenaline in the planned volume.
    AdrenalineTotal,
    /// The same for each kilogram.
    AdrenalinePerKg,
}

/// One thing a formula must be given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Role {
    /// Name under `with:`.
    pub name: &'static str,
    /// What it must be.
    pub kind: RoleKind,
    /// Whether it may be left out.
    pub optional: bool,
}

/// What a role must be given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RoleKind {
    /// A number in this unit (`None`: any).
    Number(Option<&'static str>),
    /// A date.
    Date,
    /// A choice that has the options `female` and `male`.
    Sex,
    /// Several choices whose options begin with `left-` or `right-`.
    Toes,
    /// Several choices.
    List,
    /// Yes or no.
    YesNo,
    /// The anaesthetic plan.
    Plan,
    /// One or several choices whose options all carry `counts`.
    Counted,
    /// One choice whose options all carry `counts`.
    CountedChoice,
    /// The list of medicines.
    Medicines,
}

impl RoleKind {
    /// "a number in kg", or "a number" without a unit.
    pub fn in_unit(unit: Option<&str>) -> String {
        unit.map_or_else(|| "a number".into(), |it| format!("a number in {it}"))
    }

    /// In words for messages.
    pub fn in_words(self) -> String {
        match self {
            Self::Number(unit) => Self::in_unit(unit),
            Self::Date => "a date".into(),
            Self::Sex => "a choice between `female` and `male`".into(),
            Self::Toes => "a list of toes (`left-...`, `right-...`)".into(),
            Self::List => "a question with several choices".into(),
            Self::YesNo => "a yes/no question".into(),
            Self::Plan => "the anaesthetic plan".into(),
            Self::Counted => "a question whose options carry `counts`".into(),
            Self::CountedChoice => "a question with one choice whose options carry `counts`".into(),
            Self::Medicines => "the list of medicines".into(),
        }
    }
}

/// The unit of the number that a formula gives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Gives {
    /// None: a count, an index, a share.
    Plain,
    /// Always this one.
    In(&'static str),
    /// That of its numbers, which must agree.
    AsGiven,
    /// None, and yet its numbers must agree in theirs.
    PlainOfAgreeing,
}

/// A role that may be left out, together with the others that may. INVARIANT: such roles come last.
const fn optional(name: &'static str, kind: RoleKind) -> Role {
    Role { name, kind, optional: true }
}

const fn role(name: &'static str, kind: RoleKind) -> Role {
    Role { name, kind, optional: false }
}

impl Formula {
    /// Every formula.
    pub const ALL: &'static [Self] = &[
        Self::CompletedYears,
        Self::BodyMassIndex,
        Self::IdealWeight,
        Self::DosingWeight,
        Self::LowerOf,
        Self::CockcroftGault,
        Self::CountOf,
        Self::PressureIndex,
        Self::LowestOfOperated,
        Self::HighestOfOperated,
        Self::AnaestheticLoad,
        Self::VolumePerToe,
        Self::DigitLoad,
        Self::PointsOf,
        Self::Difference,
        Self::ShareOf,
        Self::CountMissingFrom,
        Self::SteroidDaily,
        Self::AdrenalSteroidDaily,
        Self::SteroidDays,
        Self::ParacetamolCeiling,
        Self::AdrenalineTotal,
        Self::AdrenalinePerKg,
    ];

    /// The name used in questions.yaml.
    pub fn name(self) -> &'static str {
        match self {
            Self::CompletedYears => "completed-years",
            Self::BodyMassIndex => "body-mass-index",
            Self::IdealWeight => "ideal-weight",
            Self::DosingWeight => "dosing-weight",
            Self::LowerOf => "lower-of",
            Self::CockcroftGault => "cockcroft-gault",
            Self::CountOf => "count-of",
            Self::PressureIndex => "pressure-index",
            Self::LowestOfOperated => "lowest-of-operated",
            Self::HighestOfOperated => "highest-of-operated",
            Self::AnaestheticLoad => "anaesthetic-load",
            Self::VolumePerToe => "volume-per-toe",
            Self::DigitLoad => "digit-load",
            Self::PointsOf => "points-of",
            Self::Difference => "difference",
            Self::ShareOf => "share-of",
            Self::CountMissingFrom => "count-missing-from",
            Self::SteroidDaily => "steroid-daily",
            Self::AdrenalSteroidDaily => "adrenal-steroid-daily",
            Self::SteroidDays => "steroid-days",
            Self::ParacetamolCeiling => "paracetamol-ceiling",
            Self::AdrenalineTotal => "adrenaline-total",
            Self::AdrenalinePerKg => "adrenaline-per-kg",
        }
    }

    /// What it computes, in a few words.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::CompletedYears => "completed years between two dates",
            Self::BodyMassIndex => "weight over height squared",
            Self::IdealWeight => "ideal weight of an adult, by height and sex",
            Self::DosingWeight => "the lower of actual weight, ideal weight of an adult, and a ceiling",
            Self::LowerOf => "the lower of two numbers",
            Self::CockcroftGault => "creatinine clearance by Cockcroft and Gault, the lower of its two published forms",
            Self::CountOf => "how many options of a list are chosen",
            Self::PressureIndex => "a distal pressure over the higher arm pressure",
            Self::LowestOfOperated => "the lowest of the sides operated on",
            Self::HighestOfOperated => "the highest of the sides operated on",
            Self::AnaestheticLoad => "dose over limit for each anaesthetic, added up; 1 is the limit",
            Self::VolumePerToe => "planned volume for each toe",
            Self::DigitLoad => "dose in a digit over the agent's limit for a digit",
            Self::PointsOf => "the counts of the chosen options, added up",
            Self::Difference => "one number less another",
            Self::ShareOf => "one number over another",
            Self::CountMissingFrom => "how many options of one list are chosen and not in another",
            Self::SteroidDaily => "steroid for each day, every kind counted in the same strength",
            Self::AdrenalSteroidDaily => "steroid for each day, every kind counted by how it puts the adrenals to sleep",
            Self::SteroidDays => "the longest course of a steroid",
            Self::ParacetamolCeiling => "the most of the painkiller in a day, by weight and age",
            Self::AdrenalineTotal => "adrenaline in the planned volume",
            Self::AdrenalinePerKg => "adrenaline in the planned volume for each kilogram",
        }
    }

    /// The formula of a name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|it| it.name() == name)
    }

    /// The unit of what it gives.
    pub fn gives(self) -> Gives {
        match self {
            Self::CompletedYears => Gives::In("years"),
            Self::BodyMassIndex => Gives::In("kg/m2"),
            Self::IdealWeight | Self::DosingWeight => Gives::In("kg"),
            Self::CockcroftGault => Gives::In("mL/min"),
            Self::VolumePerToe => Gives::In("mL"),
            Self::SteroidDaily | Self::AdrenalSteroidDaily => Gives::In("mg"),
            Self::SteroidDays => Gives::In("days"),
            Self::ParacetamolCeiling => Gives::In("g"),
            Self::AdrenalineTotal => Gives::In("microgram"),
            Self::AdrenalinePerKg => Gives::In("microgram/kg"),
            Self::LowerOf | Self::LowestOfOperated | Self::HighestOfOperated | Self::Difference => Gives::AsGiven,
            Self::ShareOf => Gives::PlainOfAgreeing,
            Self::CountOf | Self::PressureIndex | Self::AnaestheticLoad | Self::DigitLoad | Self::PointsOf | Self::CountMissingFrom => {
                Gives::Plain
            }
        }
    }

    /// What it must be given, in this order.
    pub fn roles(self) -> &'static [Role] {
        const NUMBER: RoleKind = RoleKind::Number(None);
        const KG: RoleKind = RoleKind::Number(Some("kg"));
        const MMHG: RoleKind = RoleKind::Number(Some("mmHg"));
        const YEARS: RoleKind = RoleKind::Number(Some("years"));
        const GRAMS: RoleKind = RoleKind::Number(Some("g"));
        match self {
            Self::CompletedYears => &const { [role("born", RoleKind::Date), role("on", RoleKind::Date)] },
            Self::BodyMassIndex => &const { [role("weight", KG), role("height", RoleKind::Number(Some("cm")))] },
            Self::IdealWeight => &const { [role("height", RoleKind::Number(Some("cm"))), role("sex", RoleKind::Sex)] },
            Self::DosingWeight => {
                &const { [role("weight", KG), role("ideal", KG), role("age", YEARS), role("adult_from", YEARS), role("ceiling", KG)] }
            }
            Self::LowerOf | Self::Difference => &const { [role("one", NUMBER), role("other", NUMBER)] },
            Self::ShareOf => &const { [role("part", NUMBER), role("whole", NUMBER)] },
            Self::PointsOf => &const { [role("list", RoleKind::Counted)] },
            Self::CountMissingFrom => &const { [role("list", RoleKind::List), role("other", RoleKind::List)] },
            Self::SteroidDaily | Self::AdrenalSteroidDaily | Self::SteroidDays => &const { [role("medicines", RoleKind::Medicines)] },
            Self::ParacetamolCeiling => {
                &const {
                    [
                        role("weight", KG),
                        role("age", YEARS),
                        role("adult_from", YEARS),
                        role("light", KG),
                        role("middle", KG),
                        role("light_daily", GRAMS),
                        role("middle_daily", GRAMS),
                        role("full_daily", GRAMS),
                        role("child_per_kg", RoleKind::Number(Some("mg/kg"))),
                        role("child_dose_cap", GRAMS),
                        role("doses", NUMBER),
                    ]
                }
            }
            Self::AdrenalineTotal => {
                &const { [role("plan", RoleKind::Plan), role("adrenaline", RoleKind::YesNo), role("strength", RoleKind::CountedChoice)] }
            }
            Self::AdrenalinePerKg => &const { [role("total", RoleKind::Number(Some("microgram"))), role("weight", KG)] },
            Self::CockcroftGault => {
                &const {
                    [
                        role("age", YEARS),
                        role("weight", KG),
                        role("sex", RoleKind::Sex),
                        role("creatinine", RoleKind::Number(Some("umol/L"))),
                        role("floor", RoleKind::Number(Some("umol/L"))),
                    ]
                }
            }
            Self::CountOf => &const { [role("list", RoleKind::List)] },
            Self::PressureIndex => &const { [role("distal", MMHG), role("arm_left", MMHG), role("arm_right", MMHG)] },
            Self::LowestOfOperated | Self::HighestOfOperated => {
                &const { [role("toes", RoleKind::Toes), role("left", NUMBER), role("right", NUMBER)] }
            }
            Self::AnaestheticLoad => {
                &const {
                    [
                        role("plan", RoleKind::Plan),
                        role("adrenaline", RoleKind::YesNo),
                        role("weight", KG),
                        role("age", YEARS),
                        optional("earlier_given", RoleKind::YesNo),
                        optional("earlier", RoleKind::Plan),
                        optional("earlier_adrenaline", RoleKind::YesNo),
                    ]
                }
            }
            Self::VolumePerToe | Self::DigitLoad => &const { [role("plan", RoleKind::Plan), role("toes", RoleKind::Toes)] },
        }
    }
}
