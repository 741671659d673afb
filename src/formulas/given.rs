//! What a formula is given: values looked up by the names of its roles, and what it says where they give no result.

use chrono::NaiveDate;

/// Why nothing comes out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoResult {
    /// These roles are missing, or not all of them is known.
    Lacks(Vec<&'static str>),
    /// All is there, and no value follows until one of these is answered otherwise.
    Unusable(Vec<&'static str>),
    /// All is there, and no value follows.
    Nothing,
}

/// A result, or that there is none.
pub(crate) fn result(number: Option<f64>) -> Result<f64, NoResult> {
    number.ok_or(NoResult::Nothing)
}

/// Two things that are needed; what is lacking for either is told together.
pub(crate) fn both<A, B>(
    one: Result<A, NoResult>,
    other: Result<B, NoResult>,
) -> Result<(A, B), NoResult> {
    match (one, other) {
        (Ok(one), Ok(other)) => Ok((one, other)),
        (Err(NoResult::Lacks(one)), Err(NoResult::Lacks(other))) => {
            Err(NoResult::Lacks([one, other].concat()))
        }
        (Err(why), _) | (_, Err(why)) => Err(why),
    }
}

/// What is known of one role.
#[derive(Debug, Clone)]
pub enum GivenValue<'a> {
    /// A number in the unit of the role.
    Number(f64),
    /// A day.
    Date(NaiveDate),
    /// A sex.
    Sex(Sex),
    /// Yes or no.
    YesNo(bool),
    /// The options chosen, of one choice or several.
    Chosen(Vec<Chosen<'a>>),
    /// A plan of anaesthetics.
    Plan(Vec<Injected<'a>>),
    /// Medicines taken; `None` for an entry that nobody recognised.
    Medicines(Vec<Option<Taken>>),
}

/// An option that is chosen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chosen<'a> {
    /// Its id.
    pub id: &'a str,
    /// What it counts.
    pub counts: Option<f64>,
    /// The side on which it lies.
    pub side: Option<Side>,
}

/// What a formula is given: its roles but those left out, each with its value where that is known.
#[derive(Debug, Clone)]
pub struct GivenInputs<'a>(pub Vec<(&'static str, Option<GivenValue<'a>>)>);

impl<'a> GivenInputs<'a> {
    /// Whether a role was not left out.
    pub fn holds(&self, role: &str) -> bool {
        self.0.iter().any(|(name, _)| *name == role)
    }

    fn read<'s, T>(
        &'s self,
        role: &'static str,
        read: impl Fn(&'s GivenValue<'a>) -> Option<T>,
    ) -> Result<T, NoResult> {
        let value = self
            .0
            .iter()
            .find(|(name, _)| *name == role)
            .and_then(|(_, value)| value.as_ref());
        value
            .and_then(read)
            .ok_or_else(|| NoResult::Lacks(vec![role]))
    }

    /// The number of a role.
    pub fn number(&self, role: &'static str) -> Result<f64, NoResult> {
        self.read(role, |value| match value {
            GivenValue::Number(number) => Some(*number),
            _ => None,
        })
    }

    /// The numbers of several roles; what is lacking is told together.
    pub fn numbers<const N: usize>(&self, roles: [&'static str; N]) -> Result<[f64; N], NoResult> {
        let mut numbers = [0.0; N];
        let mut lacking = Vec::new();
        for (place, role) in numbers.iter_mut().zip(roles) {
            match self.number(role) {
                Ok(number) => *place = number,
                Err(_) => lacking.push(role),
            }
        }
        if lacking.is_empty() {
            Ok(numbers)
        } else {
            Err(NoResult::Lacks(lacking))
        }
    }

    /// The day of a role.
    pub fn date(&self, role: &'static str) -> Result<NaiveDate, NoResult> {
        self.read(role, |value| match value {
            GivenValue::Date(date) => Some(*date),
            _ => None,
        })
    }

    /// The sex of a role.
    pub fn sex(&self, role: &'static str) -> Result<Sex, NoResult> {
        self.read(role, |value| match value {
            GivenValue::Sex(sex) => Some(*sex),
            _ => None,
        })
    }

    /// Whether a role says yes.
    pub fn yes(&self, role: &'static str) -> Result<bool, NoResult> {
        self.read(role, |value| match value {
            GivenValue::YesNo(yes) => Some(*yes),
            _ => None,
        })
    }

    /// The options chosen.
    pub fn chosen(&self, role: &'static str) -> Result<&[Chosen<'a>], NoResult> {
        self.read(role, |value| match value {
            GivenValue::Chosen(chosen) => Some(chosen.as_slice()),
            _ => None,
        })
    }

    /// The anaesthetics of a plan.
    pub fn plan(&self, role: &'static str) -> Result<&[Injected<'a>], NoResult> {
        self.read(role, |value| match value {
            GivenValue::Plan(plan) => Some(plan.as_slice()),
            _ => None,
        })
    }

    /// The medicines taken, if each of them is recognised.
    pub fn medicines(&self, role: &'static str) -> Result<Vec<Taken>, NoResult> {
        self.read(role, |value| match value {
            GivenValue::Medicines(taken) => taken.iter().copied().collect(),
            _ => None,
        })
    }
}

/// Sex as the formulas use it. They were published for two groups only.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Sex {
    /// The constants published for women.
    Female,
    /// The constants published for men.
    Male,
}

/// A side of the body.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Left.
    Left,
    /// Right.
    Right,
}

impl Side {
    /// The word by which rule sets write it.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }

    /// " (left)", behind what lies there.
    pub(crate) fn in_brackets(self) -> &'static str {
        match self {
            Self::Left => " (left)",
            Self::Right => " (right)",
        }
    }
}

/// What the register says of an agent, as far as formulas go.
pub trait AgentFigures: std::fmt::Debug {
    /// The most milligrams for each kilogram and, perhaps, at all; `None` where there is no limit.
    fn most(&self, adrenaline: bool, age: f64) -> Option<(f64, Option<f64>)>;
    /// The most milligrams in one site.
    fn most_per_site(&self) -> Option<f64>;
}

/// One solution of a plan.
#[derive(Debug, Clone, Copy)]
pub struct Injected<'a> {
    /// What it holds.
    pub agent: &'a dyn AgentFigures,
    /// Which agent that is.
    pub position: usize,
    /// Strength in per cent, if known.
    pub percent: Option<f64>,
    /// Volume in mL, if known.
    pub volume_ml: Option<f64>,
}

/// A medicine that is taken, as far as formulas go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Taken {
    /// Milligrams taken in a day.
    pub daily_mg: Option<f64>,
    /// Days for which it has been taken.
    pub days: Option<f64>,
    /// Milligrams of prednisolone that one milligram counts as, for a steroid that acts on the whole body.
    pub as_prednisolone: Option<f64>,
    /// The same as the adrenals count it.
    pub adrenal_as_prednisolone: Option<f64>,
}
