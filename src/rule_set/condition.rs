//! Conditions: when a rule applies. A tree that people can read; `screening::compile` compiles it.

use crate::quantity::span::Span;
use crate::rule_set::Limit;
use crate::rule_set::register::{Medicine, Reaction, Substance};
use crate::table::{Bits, Idx};
use crate::truth::FactSlot;

/// When a rule applies.
#[derive(Debug, Clone, PartialEq)]
pub enum Condition {
    /// Every one holds.
    All(Vec<Condition>),
    /// At least one holds.
    Any(Vec<Condition>),
    /// It does not hold.
    Not(Box<Condition>),
    /// At least so many distinct current medicines are among those named.
    Taking {
        /// The list of medicines.
        fact: FactSlot,
        /// Names as written in the rule.
        named: Vec<String>,
        /// The medicines they stand for.
        medicines: Bits<Medicine>,
        /// How many distinct ones; usually 1.
        at_least: u16,
    },
    /// An allergy is to one of the substances named, or crosses with one.
    AllergicTo {
        /// The list of allergies.
        fact: FactSlot,
        /// Names as written in the rule.
        named: Vec<String>,
        /// The substances they stand for, cross-reactions included.
        substances: Bits<Substance>,
        /// Only these reactions count; all, if `None`.
        reactions: Option<Bits<Reaction>>,
    },
    /// A test of one fact.
    Fact {
        /// Which fact.
        fact: FactSlot,
        /// Which test.
        test: Test,
    },
    /// Some answer is at odds with the rest of what was answered.
    Answers(Conflict),
}

/// How an answer may be at odds with others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Conflict {
    /// It answers a question that another answer says does not apply, and is not harmless there. The one test that looks
    /// at whether a question is answered: an answer that is added can turn it from no to yes. It is unknown while it is
    /// not known whether the question of such an answer applies.
    RuledOut,
    /// It is a choice of the plan that the clinic does not offer.
    NotOffered,
    /// It may hold a name that nobody recognised: never yes, and unknown until every list of names is read. Only the
    /// program's own rules test it.
    Unread,
}

impl Conflict {
    /// Those that rules may test.
    pub(crate) const WRITTEN: [Self; 2] = [Self::RuledOut, Self::NotOffered];

    /// The word used in rules.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::RuledOut => "ruled-out",
            Self::NotOffered => "not-offered",
            Self::Unread => "unread",
        }
    }
}

/// A test of one fact.
#[derive(Debug, Clone, PartialEq)]
pub enum Test {
    /// The choice is one of these options (for yes/no: 0 is no, 1 is yes).
    OneOf(Vec<u16>),
    /// The choice is none of these options.
    NoneOf(Vec<u16>),
    /// The set holds at least one of these options.
    Includes(Vec<u16>),
    /// The number or date compares so.
    Compare(Comparison, Threshold),
    /// The number or date lies between, bounds included.
    Between(Threshold, Threshold),
    /// The date lies further back than this from the procedure date.
    OlderThan(SpanLimit),
    /// The date lies no further back than this.
    Within(SpanLimit),
}

/// How a number is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Comparison {
    /// Greater than.
    Above,
    /// Greater than or equal.
    AtLeast,
    /// Less than.
    Below,
    /// Less than or equal.
    AtMost,
}

/// A number to compare with, in the fact's own unit. A date counts as days of the common era.
#[derive(Debug, Clone, PartialEq)]
pub struct Threshold {
    /// The number.
    pub value: f64,
    /// As written, unit included.
    pub written: String,
    /// The limit it comes from; `None` for a literal.
    pub limit: Option<Idx<Limit>>,
}

/// An age to compare with.
#[derive(Debug, Clone, PartialEq)]
pub struct SpanLimit {
    /// The age.
    pub span: Span,
    /// The limit it comes from; `None` for a literal.
    pub limit: Option<Idx<Limit>>,
}

impl Comparison {
    /// Every comparison.
    pub(crate) const ALL: [Self; 4] = [Self::Above, Self::AtLeast, Self::Below, Self::AtMost];

    /// The word used in rules.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Above => "above",
            Self::AtLeast => "at_least",
            Self::Below => "below",
            Self::AtMost => "at_most",
        }
    }

    /// The comparison that holds exactly when this one does not.
    pub(crate) fn opposite(self) -> Self {
        match self {
            Self::Above => Self::AtMost,
            Self::AtLeast => Self::Below,
            Self::Below => Self::AtLeast,
            Self::AtMost => Self::Above,
        }
    }
}

impl Test {
    /// The numbers that it compares with, the lower one first.
    pub(crate) fn thresholds(&self) -> Vec<&Threshold> {
        match self {
            Self::Compare(_, it) => vec![it],
            Self::Between(low, high) => vec![low, high],
            _ => Vec::new(),
        }
    }

    /// The limits that it names.
    pub(crate) fn limits(&self) -> Vec<Idx<Limit>> {
        let named = match self {
            Self::Compare(_, it) => [it.limit, None],
            Self::Between(low, high) => [low.limit, high.limit],
            Self::OlderThan(it) | Self::Within(it) => [it.limit, None],
            Self::OneOf(_) | Self::NoneOf(_) | Self::Includes(_) => [None, None],
        };
        named.into_iter().flatten().collect()
    }
}

impl Condition {
    /// The limits that it tests, in the order in which they first come.
    pub(crate) fn limits(&self) -> Vec<Idx<Limit>> {
        let mut found: Vec<Idx<Limit>> = Vec::new();
        self.visit(&mut |condition| {
            let Condition::Fact { test, .. } = condition else {
                return;
            };
            for limit in test.limits() {
                if !found.contains(&limit) {
                    found.push(limit);
                }
            }
        });
        found
    }

    /// Visits this condition and all below it.
    pub fn visit<'a>(&'a self, see: &mut impl FnMut(&'a Condition)) {
        see(self);
        match self {
            Self::All(parts) | Self::Any(parts) => {
                for part in parts {
                    part.visit(see);
                }
            }
            Self::Not(part) => part.visit(see),
            _ => {}
        }
    }

    /// Whether it is such a condition, or one below it is.
    pub(crate) fn has(&self, mut is_such: impl FnMut(&Condition) -> bool) -> bool {
        let mut found = false;
        self.visit(&mut |it| found |= is_such(it));
        found
    }

    /// The facts that it looks at, in the order in which they first come.
    pub(crate) fn facts(&self) -> Vec<FactSlot> {
        let mut found: Vec<FactSlot> = Vec::new();
        self.visit(&mut |condition| match condition {
            Self::Fact { fact, .. } | Self::Taking { fact, .. } | Self::AllergicTo { fact, .. }
                if !found.contains(fact) =>
            {
                found.push(*fact)
            }
            _ => {}
        });
        found
    }
}
