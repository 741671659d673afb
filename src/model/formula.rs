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
}

/// One thing a formula must be given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Role {
    /// Name under `with:`.
    pub name: &'static str,
    /// What it must be.
    pub kind: RoleKind,
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
}

const fn role(name: &'static str, kind: RoleKind) -> Role {
    Role { name, kind }
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
            Self::LowerOf | Self::LowestOfOperated | Self::HighestOfOperated => Gives::AsGiven,
            Self::CountOf | Self::PressureIndex | Self::AnaestheticLoad | Self::DigitLoad => Gives::Plain,
        }
    }

    /// What it must be given, in this order.
    pub fn roles(self) -> &'static [Role] {
        const NUMBER: RoleKind = RoleKind::Number(None);
        const KG: RoleKind = RoleKind::Number(Some("kg"));
        const MMHG: RoleKind = RoleKind::Number(Some("mmHg"));
        const YEARS: RoleKind = RoleKind::Number(Some("years"));
        match self {
            Self::CompletedYears => &const { [role("born", RoleKind::Date), role("on", RoleKind::Date)] },
            Self::BodyMassIndex => &const { [role("weight", KG), role("height", RoleKind::Number(Some("cm")))] },
            Self::IdealWeight => &const { [role("height", RoleKind::Number(Some("cm"))), role("sex", RoleKind::Sex)] },
            Self::DosingWeight => {
                &const { [role("weight", KG), role("ideal", KG), role("age", YEARS), role("adult_from", YEARS), role("ceiling", KG)] }
            }
            Self::LowerOf => &const { [role("one", NUMBER), role("other", NUMBER)] },
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
                &const { [role("plan", RoleKind::Plan), role("adrenaline", RoleKind::YesNo), role("weight", KG), role("age", YEARS)] }
            }
            Self::VolumePerToe | Self::DigitLoad => &const { [role("plan", RoleKind::Plan), role("toes", RoleKind::Toes)] },
        }
    }
}
