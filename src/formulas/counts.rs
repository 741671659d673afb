//! Points added up, lists compared, and one number set against another.

use crate::formulas::formula::{
    ANY_NUMBER, FROM_ZERO, Follows, Formula, Gives, KnownWhen, Moves, Needs, Role, RoleKind,
};
use crate::formulas::given::{NoResult, both, result};
use crate::formulas::{positive, settled};

/// How many options are chosen.
pub(crate) static COUNT_OF: Formula = Formula {
    name: "count-of",
    about: "how many options of a list are chosen",
    source: "Counting",
    roles: &[Role::new("list", RoleKind::List)],
    gives: Gives::Plain,
    whole: true,
    ends: FROM_ZERO,
    cuts: &[],
    known: KnownWhen::Exactly(Needs::Every),
    zero: Needs::NEVER,
    follows: Follows::Count("list"),
    even_with: None,
    compute: |given| count(given.chosen("list")?.len()),
};

/// [`points`] of a rule set.
pub(crate) static POINTS_OF: Formula = Formula {
    name: "points-of",
    about: "the counts of the chosen options, added up",
    source: "Arithmetic; the counts stand in the rule set, each with the source of its score",
    roles: &[Role::new("list", RoleKind::Counted)],
    gives: Gives::Plain,
    whole: false,
    ends: ANY_NUMBER,
    cuts: &[],
    known: KnownWhen::Exactly(Needs::Every),
    zero: Needs::NEVER,
    follows: Follows::Points("list"),
    even_with: None,
    compute: |given| {
        let counts: Option<Vec<f64>> = given
            .chosen("list")?
            .iter()
            .map(|option| option.counts)
            .collect();
        result(counts.and_then(|counts| points(&counts)))
    },
};

/// [`missing_from`] of a rule set.
pub(crate) static COUNT_MISSING_FROM: Formula = Formula {
    name: "count-missing-from",
    about: "how many options of one list are chosen and not in another",
    source: "Counting",
    roles: &[
        Role::new("list", RoleKind::List),
        Role::new("other", RoleKind::ListLike("list")),
    ],
    gives: Gives::Plain,
    whole: true,
    ends: FROM_ZERO,
    cuts: &[],
    known: KnownWhen::Exactly(Needs::Every),
    zero: Needs::NEVER,
    follows: Follows::CountMissing("list", "other"),
    even_with: None,
    compute: |given| {
        let (list, other) = both(given.chosen("list"), given.chosen("other"))?;
        let [list, other] = [list, other].map(|options| {
            options
                .iter()
                .map(|option| option.id)
                .collect::<Vec<&str>>()
        });
        count(missing_from(&list, &other))
    },
};

/// The lower of two numbers.
pub(crate) static LOWER_OF: Formula = Formula {
    name: "lower-of",
    about: "the lower of two numbers",
    source: "Arithmetic",
    roles: &[
        Role::any_number("one", Moves::Rises),
        Role::any_number("other", Moves::Rises),
    ],
    gives: Gives::AsGiven,
    whole: false,
    ends: ANY_NUMBER,
    cuts: &[],
    known: KnownWhen::Exactly(Needs::Every),
    zero: Needs::NEVER,
    follows: Follows::Arithmetic,
    even_with: None,
    compute: |given| {
        let [one, other] = given.numbers(["one", "other"])?;
        Ok(one.min(other))
    },
};

/// [`difference`] of a rule set.
pub(crate) static DIFFERENCE: Formula = Formula {
    name: "difference",
    about: "one number less another",
    source: "Arithmetic",
    roles: &[
        Role::any_number("one", Moves::Rises),
        Role::any_number("other", Moves::Falls),
    ],
    gives: Gives::AsGiven,
    whole: false,
    ends: ANY_NUMBER,
    cuts: &[],
    known: KnownWhen::Exactly(Needs::Every),
    zero: Needs::NEVER,
    follows: Follows::Arithmetic,
    even_with: None,
    compute: |given| {
        let [one, other] = given.numbers(["one", "other"])?;
        result(difference(one, other))
    },
};

/// [`share`] of a rule set. A whole of zero cannot be right; the part may well be.
pub(crate) static SHARE_OF: Formula = Formula {
    name: "share-of",
    about: "one number over another",
    source: "Arithmetic",
    roles: &[
        Role::any_number("part", Moves::Rises),
        Role::any_number("whole", Moves::FallsUnlessNegative("part")),
    ],
    gives: Gives::PlainOfAgreeing,
    whole: false,
    ends: ANY_NUMBER,
    cuts: &[],
    known: KnownWhen::AtMost {
        perhaps: Needs::Every,
        surely: Needs::NEVER,
    },
    zero: Needs::NEVER,
    follows: Follows::Arithmetic,
    even_with: None,
    compute: |given| {
        let [part, whole] = given.numbers(["part", "whole"])?;
        share(part, whole).ok_or_else(|| NoResult::Unusable(vec!["whole"]))
    },
};

fn count(n: usize) -> Result<f64, NoResult> {
    result(u32::try_from(n).ok().map(f64::from))
}

/// The counts of what was chosen, added up. Freed of binary noise, so that 0.1 and 0.2 are 0.3.
///
/// # Missing data
/// The choice is known, and each option carries a count. Nothing chosen from a known list is 0.
///
/// # Returns
/// `None` if a count is not finite. A count may be below zero.
///
/// # Source
/// Arithmetic; the counts stand in the rule set, each with the source of its score.
pub fn points(counts: &[f64]) -> Option<f64> {
    // An empty sum of floating-point numbers is -0.
    settled(counts.iter().fold(0.0, |sum, it| sum + it))
}

/// One number less another, both in one unit. Below zero if the other is the greater.
///
/// # Missing data
/// Both are known. A missing one never counts as 0.
///
/// # Returns
/// `None` if either is not finite.
///
/// # Source
/// Arithmetic. Pulse pressure as upper less lower blood pressure: by definition.
pub fn difference(one: f64, other: f64) -> Option<f64> {
    settled(one - other)
}

/// A part as a share of the whole, both in one unit; 1 is the whole. Unrounded.
///
/// # Missing data
/// Both are known.
///
/// # Returns
/// `None` unless the whole is above zero and the part is finite. The part may be below zero or more than the whole, as
/// a change of weight may be.
///
/// # Source
/// Arithmetic.
pub fn share(part: f64, whole: f64) -> Option<f64> {
    settled(part / positive(whole)?)
}

/// How many of one list are not in the other. What only the other has does not count.
///
/// # Missing data
/// Both lists are known. A list that is known to be empty is a list.
///
/// # Source
/// Counting.
pub fn missing_from<T: PartialEq>(list: &[T], other: &[T]) -> usize {
    list.iter().filter(|it| !other.contains(it)).count()
}
