//! How a screening is written for programs, and read again, where deriving does not say it: enums by their words, digests
//! with the name of their kind, figures without the noise of binary arithmetic.

use std::fmt::Display;

use serde::ser::SerializeStruct;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::formulas::without_noise;
use crate::outcome::{Outcome, OutcomeSpan, State, Urgency};
use crate::quantity::{tidy, tidy_down};
use crate::rule_set::catalogue::Who;
use crate::rule_set::{Kind, LocalKind, Loosens, Status};
use crate::screening::result::{Applies, Cited, LocalShown, NextKind, SetAside, WhyAsked};

macro_rules! by_word {
    ($($name:ty),*) => {$(
        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(self.word())
            }
        }
    )*};
}

by_word!(
    Outcome, Urgency, State, Kind, Status, LocalKind, Loosens, Who, NextKind, Applies, WhyAsked
);

/// What reads a screening, or keeps one, reads the words again.
macro_rules! read_by_word {
    ($($name:ty),*) => {$(
        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let word = String::deserialize(deserializer)?;
                Self::from_word(&word)
                    .ok_or_else(|| serde::de::Error::custom(format!("`{word}` is none of its words")))
            }
        }
    )*};
}

read_by_word!(Outcome, Urgency, Who);

impl Serialize for OutcomeSpan {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut span = serializer.serialize_struct("OutcomeSpan", 4)?;
        span.serialize_field("verdict", &self.verdict().outcome)?;
        span.serialize_field("urgency", &self.verdict().urgency)?;
        span.serialize_field("best_case", &self.best_case.outcome)?;
        span.serialize_field("worst_case", &self.worst_case.outcome)?;
        span.end()
    }
}

impl Serialize for LocalShown {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut shown = serializer.serialize_struct("LocalShown", 10)?;
        shown.serialize_field("kind", &self.change.kind)?;
        shown.serialize_field("about", &self.change.about)?;
        shown.serialize_field("what", &self.change.what)?;
        shown.serialize_field("reason", &self.change.reason)?;
        shown.serialize_field("agreed_by", &self.change.agreed_by)?;
        shown.serialize_field("agreed_on", &self.change.agreed_on.to_string())?;
        shown.serialize_field("review_by", &self.change.review_by.to_string())?;
        shown.serialize_field("loosens", &self.change.loosens)?;
        shown.serialize_field("how", &self.change.how)?;
        shown.serialize_field("overdue", &self.overdue)?;
        shown.end()
    }
}

impl Serialize for SetAside {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut aside = serializer.serialize_struct("SetAside", 6)?;
        aside.serialize_field("fact", &self.answer.fact)?;
        aside.serialize_field("ask", &self.ask)?;
        aside.serialize_field("value", &self.answer.value)?;
        aside.serialize_field("path", &self.answer.path)?;
        aside.serialize_field("line", &self.answer.line)?;
        aside.serialize_field("because", &self.because)?;
        aside.end()
    }
}

/// The key `basis` tells the two shapes apart.
impl Serialize for Cited {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let (text, basis) = match self {
            Self::Published {
                source,
                title,
                by,
                year,
                at,
                read,
            } => {
                let mut cited = serializer.serialize_struct("Cited", 7)?;
                cited.serialize_field("source", source)?;
                cited.serialize_field("title", title)?;
                cited.serialize_field("by", by)?;
                cited.serialize_field("year", year)?;
                cited.serialize_field("at", at)?;
                cited.serialize_field("basis", "published")?;
                cited.serialize_field("checked", if *read { "read" } else { "from-memory" })?;
                return cited.end();
            }
            Self::CommonPractice(text) => (text, "common-practice"),
            Self::LocalProposal(text) => (text, "local-proposal"),
        };
        let mut cited = serializer.serialize_struct("Cited", 2)?;
        cited.serialize_field("text", text)?;
        cited.serialize_field("basis", basis)?;
        cited.end()
    }
}

/// A day as it is shown.
pub(super) fn day<S: Serializer>(day: &impl Display, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(day)
}

/// A day as it is shown; null for none.
pub(super) fn day_if_any<S: Serializer>(
    day: &Option<impl Display>,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    day.as_ref().map(ToString::to_string).serialize(serializer)
}

/// A digest with the name of its kind.
pub(super) fn digest<S: Serializer>(hexadecimal: &str, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(&format_args!("sha256:{hexadecimal}"))
}

/// Each of them; none, too, where nobody asked for any, so that no reader has to test for that.
pub(super) fn each<T: Serialize, S: Serializer>(
    items: &Option<Vec<T>>,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(items.iter().flatten())
}

/// A number without noise; null for none, and for one that is not finite.
pub(super) fn figure<T: Copy + Into<Option<f64>>, S: Serializer>(
    number: &T,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    (*number)
        .into()
        .filter(|number| number.is_finite())
        .map(without_noise)
        .serialize(serializer)
}

/// A volume with its unit.
pub(super) fn volume<S: Serializer>(ml: &Option<f64>, serializer: S) -> Result<S::Ok, S::Error> {
    ml.map(|ml| format!("{} mL", tidy(ml, None)))
        .serialize(serializer)
}

/// The most that may be given, with its unit: rounded down.
pub(super) fn largest_volume<S: Serializer>(
    ml: &Option<f64>,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    ml.map(|ml| format!("{} mL", tidy_down(ml, 1)))
        .serialize(serializer)
}
