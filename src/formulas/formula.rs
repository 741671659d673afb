//! What a formula says of itself: one value that the reader, the screening and the provers all go by.
//!
//! A formula knows nothing of rules and files: it is given values by the names of its roles, and tells in a small
//! vocabulary when it is known. Every field must be filled, so that a formula that is silent about one does not compile,
//! but for one that says what it has of another (`..DAILY`); the tests hold each to its own arithmetic.

use crate::formulas::given::{GivenInputs, NoResult, Side};

/// A published formula.
#[derive(Debug)]
pub struct Formula {
    /// The name used in questions.yaml. INVARIANT: no other formula has it.
    pub name: &'static str,
    /// What it computes, in a few words.
    pub about: &'static str,
    /// Where it comes from, and whether somebody opened that: the rule set cites for itself what it takes from there.
    pub source: &'static str,
    /// What it is given. INVARIANT: roles that may be left out come last.
    pub roles: &'static [Role],
    /// The unit of what it gives.
    pub gives: Gives,
    /// Whether only whole numbers come out.
    pub whole: bool,
    /// The least and the most that may come out.
    pub ends: (f64, f64),
    /// Where it takes another course. Between these numbers each role moves the result as it says.
    pub cuts: &'static [HiddenCut],
    /// When it is known.
    pub known: KnownWhen,
    /// Where the answers alone make it 0, once it is known.
    pub zero: Needs,
    /// What its number follows from.
    pub follows: Follows,
    /// The role with whose number, or volumes, it grows evenly, so that two points fix the line.
    pub even_with: Option<&'static str>,
    /// The arithmetic.
    pub compute: fn(&GivenInputs<'_>) -> Result<f64, NoResult>,
}

impl PartialEq for Formula {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

impl Eq for Formula {}

/// Ends of what cannot be below zero.
pub(crate) const FROM_ZERO: (f64, f64) = (0.0, f64::INFINITY);

/// Ends of what can be anything.
pub(crate) const ANY_NUMBER: (f64, f64) = (f64::NEG_INFINITY, f64::INFINITY);

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

/// One thing a formula must be given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Role {
    /// Name under `with:`.
    pub name: &'static str,
    /// What it must be.
    pub kind: RoleKind,
    /// Whether it may be left out, together with the others that may.
    pub optional: bool,
}

impl Role {
    /// A role that must be given.
    pub(crate) const fn new(name: &'static str, kind: RoleKind) -> Self {
        Self {
            name,
            kind,
            optional: false,
        }
    }

    /// A role that may be left out.
    pub(crate) const fn optional(name: &'static str, kind: RoleKind) -> Self {
        Self {
            name,
            kind,
            optional: true,
        }
    }

    /// A number in a unit, from an answer, another formula or a limit.
    pub(crate) const fn number(name: &'static str, unit: &'static str, moves: Moves) -> Self {
        Self::new(name, RoleKind::Number(Some(unit), moves))
    }

    /// A number in any unit.
    pub(crate) const fn any_number(name: &'static str, moves: Moves) -> Self {
        Self::new(name, RoleKind::Number(None, moves))
    }

    /// A number of a limit, at which the formula takes another course.
    pub(crate) const fn limit(name: &'static str, unit: &'static str) -> Self {
        Self::new(name, RoleKind::Limit(unit))
    }
}

/// What a role must be given. Whatever is a number says how it moves the result.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RoleKind {
    /// A number in this unit (`None`: any).
    Number(Option<&'static str>, Moves),
    /// The number of a limit in this unit: known beforehand, so that others can be cut at it.
    Limit(&'static str),
    /// A date.
    Date(Moves),
    /// A choice that has the options `female` and `male`.
    Sex,
    /// The places of the procedure: several choices, each perhaps with its side.
    Sites {
        /// Whether each must have one.
        sided: bool,
    },
    /// Several choices.
    List,
    /// Several choices with the same options as the list of this role.
    ListLike(&'static str),
    /// Yes or no.
    YesNo,
    /// A list of anaesthetics with their amounts.
    Plan {
        /// How their strengths move the result.
        strength: Moves,
        /// How their volumes do.
        volume: Moves,
        /// Whether the register's limits count.
        limits: bool,
    },
    /// One or several choices whose options all carry `counts`.
    Counted,
    /// One choice whose options all carry `counts`.
    CountedChoice,
    /// The list of medicines.
    Medicines {
        /// What of a medicine counts.
        amount: Amount,
        /// How it moves the result.
        moves: Moves,
    },
}

impl RoleKind {
    /// "a number in kg", or "a number" without a unit.
    pub(crate) fn in_unit(unit: Option<&str>) -> String {
        unit.map_or_else(|| "a number".into(), |unit| format!("a number in {unit}"))
    }

    /// In words for messages.
    pub(crate) fn in_words(self) -> String {
        match self {
            Self::Number(unit, _) => Self::in_unit(unit),
            Self::Limit(unit) => format!("a limit in {unit}"),
            Self::Date(_) => "a date".into(),
            Self::Sex => "a choice between `female` and `male`".into(),
            Self::Sites { sided: false } => "a list of sites".into(),
            Self::Sites { sided: true } => "a list of sites, each with its `side:`".into(),
            Self::List | Self::ListLike(_) => "a question with several choices".into(),
            Self::YesNo => "a yes/no question".into(),
            Self::Plan { .. } => "the anaesthetic plan".into(),
            Self::Counted => "a question whose options carry `counts`".into(),
            Self::CountedChoice => "a question with one choice whose options carry `counts`".into(),
            Self::Medicines { .. } => "the list of medicines".into(),
        }
    }
}

/// How the result moves as a number grows while all else stays, between the cuts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moves {
    /// It never falls.
    Rises,
    /// It never rises.
    Falls,
    /// It never rises, as long as the number of this role is not below zero.
    FallsUnlessNegative(&'static str),
    /// It does not move.
    Stays,
}

/// What of a medicine a formula reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Amount {
    /// How much is taken in a day.
    Daily,
    /// For how many days it has been taken.
    Days,
}

/// A number of one role at which the formula takes another course.
#[derive(Debug, Clone, Copy)]
pub struct HiddenCut {
    /// The role.
    pub role: &'static str,
    /// Where.
    pub at: CutAt,
    /// Whether the number itself belongs to what lies below.
    pub value_below: bool,
}

/// Where a role is cut.
#[derive(Debug, Clone, Copy)]
pub enum CutAt {
    /// At this number.
    Number(f64),
    /// At the limit that this role is given.
    Limit(&'static str),
    /// At the ages where the register of anaesthetics has other limits.
    RegisterAges,
}

/// When a formula is known.
#[derive(Debug, Clone, Copy)]
pub enum KnownWhen {
    /// Just there.
    Exactly(Needs),
    /// Nowhere else than there; some numbers may give no result even so.
    AtMost {
        /// Where it may be known.
        perhaps: Needs,
        /// Where it certainly is.
        surely: Needs,
    },
}

/// A condition on what a formula is given.
#[derive(Debug, Clone, Copy)]
pub enum Needs {
    /// Every role is known.
    Every,
    /// The role is known.
    Role(&'static str),
    /// The role may be left out, and was.
    LeftOut(&'static str),
    /// All of these.
    All(&'static [Self]),
    /// Any of these.
    Any(&'static [Self]),
    /// Not this, of what is known.
    Not(&'static Self),
    /// This option is chosen.
    Is(&'static str, &'static str),
    /// Something of the list is chosen, or an agent planned.
    Some(&'static str),
    /// Something on this side is chosen.
    Side(&'static str, Side),
    /// The number of the first role is below the limit of the second.
    Below(&'static str, &'static str),
    /// The number of the role is above this one, at which it is cut.
    Above(&'static str, f64),
    /// The number of the role is at most this one, at which it is cut.
    AtMost(&'static str, f64),
    /// The plan of the role tells these amounts of these agents, if it holds any.
    Told(&'static str, Amounts, Agents),
    /// The plan of the role is known and holds none of these agents.
    Without(&'static str, Agents),
    /// The register has a limit for each agent of the plan at that age: for this choice of adrenaline, or any.
    Allowed {
        /// The role of the plan.
        plan: &'static str,
        /// The role that says whether there is adrenaline; `None` if either will do.
        adrenaline: Option<&'static str>,
        /// The role of the age.
        age: &'static str,
    },
    /// Every entry of the list of medicines is recognised.
    Recognised(&'static str),
    /// Every entry is recognised, and none is a steroid that acts on the whole body.
    NoSteroid(&'static str),
}

impl KnownWhen {
    /// In words, roles by their names.
    pub(crate) fn in_words(self) -> String {
        match self {
            Self::Exactly(needs) => needs.in_words(),
            Self::AtMost { perhaps, surely } => {
                let surely = match surely {
                    Needs::Any([]) => String::new(),
                    surely => format!("; always with {}", surely.in_words()),
                };
                format!(
                    "{}, but for values from which none follows{surely}",
                    perhaps.in_words()
                )
            }
        }
    }
}

impl Needs {
    /// Nowhere.
    pub(crate) const NEVER: Self = Self::Any(&[]);

    /// In words, roles by their names.
    fn in_words(self) -> String {
        let several = |parts: &[Self], between: &str| {
            let words = |part: &Self| match part {
                Self::All(inner) | Self::Any(inner) if inner.len() > 1 => {
                    format!("({})", part.in_words())
                }
                _ => part.in_words(),
            };
            parts.iter().map(words).collect::<Vec<_>>().join(between)
        };
        match self {
            Self::Every => "every role".to_owned(),
            Self::Role(role) => role.to_owned(),
            Self::LeftOut(role) => format!("{role} left out"),
            Self::All(parts) => several(parts, " and "),
            Self::Any([]) => "nothing".to_owned(),
            Self::Any(parts) => several(parts, ", or "),
            Self::Not(part) => format!("not ({})", part.in_words()),
            Self::Is(role, option) => format!("{role} is {option}"),
            Self::Some(role) => format!("{role} with something in it"),
            Self::Side(role, side) => format!("{role} with something on the {}", side.word()),
            Self::Below(role, limit) => format!("{role} below {limit}"),
            Self::Above(role, number) => format!("{role} above {number}"),
            Self::AtMost(role, number) => format!("{role} at most {number}"),
            Self::Told(role, amounts, agents) => {
                let amounts = match amounts {
                    Amounts::Volumes => "the volume",
                    Amounts::Doses => "strength and volume",
                };
                format!("{role} with {amounts} of {}", agents.in_words())
            }
            Self::Without(role, Agents::Every) => format!("{role} with no agent"),
            Self::Without(role, Agents::LimitedPerSite) => {
                format!("{role} without any agent that has a limit for one site")
            }
            Self::Allowed {
                plan,
                adrenaline,
                age,
            } => {
                let with =
                    adrenaline.map_or_else(String::new, |role| format!(" and as {role} says"));
                format!("a limit of the register for each agent of {plan} at that {age}{with}")
            }
            Self::Recognised(role) => format!("{role} with every entry recognised"),
            Self::NoSteroid(role) => {
                format!(
                    "{role} with every entry recognised and no steroid that acts on the whole body"
                )
            }
        }
    }
}

impl Agents {
    fn in_words(self) -> &'static str {
        match self {
            Self::Every => "each agent",
            Self::LimitedPerSite => "each agent that has a limit for one site",
        }
    }
}

/// Amounts in a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Amounts {
    /// Volumes.
    Volumes,
    /// Strengths and volumes.
    Doses,
}

/// Agents in a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Agents {
    /// Each.
    Every,
    /// Those that have a limit for one site.
    LimitedPerSite,
}

/// What the number of a formula follows from.
#[derive(Debug, Clone, Copy)]
pub enum Follows {
    /// Only from running it.
    Arithmetic,
    /// It is the age of whoever was born on the date of this role.
    Born(&'static str),
    /// It is how many options of this role are chosen.
    Count(&'static str),
    /// It is the sum of what the chosen options of this role count.
    Points(&'static str),
    /// It is how many options of the first role are chosen and not in the second.
    CountMissing(&'static str, &'static str),
    /// It is the lowest, or else the highest, of the numbers of the sides that are chosen.
    OfSides {
        /// The role of the list.
        sites: &'static str,
        /// The roles of the numbers of each side.
        sides: [(Side, &'static str); 2],
        /// The lowest.
        lowest: bool,
    },
}

impl Follows {
    /// Whether the choices alone fix the number, so that no arithmetic is left.
    pub(crate) fn is_from_choices(self) -> bool {
        match self {
            Self::Born(_) | Self::Count(_) | Self::Points(_) | Self::CountMissing(..) => true,
            Self::Arithmetic | Self::OfSides { .. } => false,
        }
    }
}
