//! The small steps by which a condition is changed, each in words.

use chrono::NaiveDate;

use crate::quantity::span::Span;
use crate::rule_set::words;
use crate::rule_set::{
    Bits, Comparison, Condition, Conflict, Idx, Limit, LimitValue, Medicine, Reaction, RuleSet,
    SpanLimit, Substance, Term, Test, Threshold,
};
use crate::truth::FactSlot;
use crate::workbench::mutants::StepKind;

/// A condition that is one small step from a rule's own.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Step {
    /// What kind of step.
    pub kind: StepKind,
    /// What was changed, in words.
    pub what: String,
    /// The way to the changed part: which member at each level.
    pub path: Vec<usize>,
    /// The whole condition, changed.
    pub when: Condition,
}

/// Makes a list of conditions of its parts.
type MakeList = fn(Vec<Condition>) -> Condition;

/// What a part of a condition may be changed to.
struct PartChange {
    kind: StepKind,
    what: String,
    to: Condition,
}

impl PartChange {
    fn new(kind: StepKind, what: impl Into<String>, to: Condition) -> Self {
        let what = what.into();
        Self { kind, what, to }
    }
}

/// Every small step from a condition; those that come to the same by their form alone are left out.
pub(crate) fn of(rule_set: &RuleSet, when: &Condition) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    let mut forms = vec![plain(when.clone())];
    for part in words::parts(rule_set, when) {
        for change in changes(rule_set, part.condition) {
            let changed = replaced(when, &part.path, &change.to);
            let form = plain(changed.clone());
            if !forms.contains(&form) {
                forms.push(form);
                let what = format!("{}: {}", part.name, change.what);
                steps.push(Step {
                    kind: change.kind,
                    what,
                    path: part.path.clone(),
                    when: changed,
                });
            }
        }
    }
    steps
}

/// Every number of a rule that comes from a limit, moved with it: the condition with the limit a step lower or higher.
pub(crate) fn with_limit(when: &Condition, limit: Idx<Limit>, up: bool) -> Option<Condition> {
    let mut found = false;
    let changed = mapped(when, &mut |condition| {
        let Condition::Fact { fact, test } = condition else {
            return None;
        };
        let moved = |it: &Threshold| neighbour(it, up).filter(|_| it.limit == Some(limit));
        let test = match test {
            Test::Compare(how, it) => Test::Compare(*how, moved(it)?),
            Test::Between(low, high) => match (moved(low), moved(high)) {
                (None, None) => return None,
                (new_low, new_high) => Test::Between(
                    new_low.unwrap_or_else(|| low.clone()),
                    new_high.unwrap_or_else(|| high.clone()),
                ),
            },
            Test::OlderThan(it) if it.limit == Some(limit) => Test::OlderThan(longer(it, up)?),
            Test::Within(it) if it.limit == Some(limit) => Test::Within(longer(it, up)?),
            _ => return None,
        };
        found = true;
        Some(Condition::Fact { fact: *fact, test })
    });
    found.then_some(changed)
}

/// The number of a limit a step lower or higher, as it would be written.
pub(crate) fn limit_written(rule_set: &RuleSet, limit: Idx<Limit>, up: bool) -> Option<String> {
    let limit = &rule_set.limits[limit];
    match &limit.value {
        LimitValue::Span(span) => stepped_span(*span, up).map(|it| it.to_string()),
        LimitValue::Number { .. } => stepped(&limit.written, up).map(|it| it.0),
    }
}

fn changes(rule_set: &RuleSet, condition: &Condition) -> Vec<PartChange> {
    let mut found = Vec::new();
    match condition {
        Condition::All(parts) => {
            let kinds: (MakeList, MakeList, _) = (Condition::All, Condition::Any, "any");
            members(rule_set, parts, kinds, &mut found);
        }
        Condition::Any(parts) => {
            let kinds: (MakeList, MakeList, _) = (Condition::Any, Condition::All, "all");
            members(rule_set, parts, kinds, &mut found);
        }
        Condition::Not(part) => {
            let inner = (**part).clone();
            found.push(PartChange::new(StepKind::Negation, "removed", inner));
        }
        Condition::Taking { .. } => taking(rule_set, condition, &mut found),
        Condition::AllergicTo { .. } => allergic(rule_set, condition, &mut found),
        Condition::Fact { fact, test } => tested(rule_set, *fact, test, &mut found),
        Condition::Answers(one) => {
            for other in Conflict::WRITTEN.into_iter().filter(|it| it != one) {
                let what = format!("{} instead of {}", other.word(), one.word());
                let other = Condition::Answers(other);
                found.push(PartChange::new(StepKind::Choice, what, other));
            }
        }
    }
    if !matches!(
        condition,
        Condition::All(_) | Condition::Any(_) | Condition::Not(_)
    ) {
        let negated = not(condition.clone());
        found.push(PartChange::new(StepKind::Negation, "negated", negated));
    }
    found
}

fn members(
    rule_set: &RuleSet,
    parts: &[Condition],
    (same, other, word): (MakeList, MakeList, &str),
    found: &mut Vec<PartChange>,
) {
    if parts.len() < 2 {
        return;
    }
    let (kind, what) = (StepKind::AllAny, format!("read as {word}"));
    found.push(PartChange::new(kind, what, other(parts.to_vec())));
    for (at, part) in parts.iter().enumerate() {
        let what = format!("without {}", words::brief(rule_set, part));
        let fewer = same(without(parts, at));
        found.push(PartChange::new(StepKind::Member, what, fewer));
    }
}

fn without<T: Clone>(items: &[T], at: usize) -> Vec<T> {
    items
        .iter()
        .enumerate()
        .filter(|(other, _)| *other != at)
        .map(|(_, it)| it.clone())
        .collect()
}

fn tested(rule_set: &RuleSet, fact: FactSlot, test: &Test, found: &mut Vec<PartChange>) {
    let mut push = |kind: StepKind, what: String, test: Test| {
        found.push(PartChange::new(kind, what, Condition::Fact { fact, test }))
    };
    match test {
        Test::OneOf(options) | Test::NoneOf(options) | Test::Includes(options) => {
            let names = words::option_ids(rule_set, fact, options);
            for (at, name) in names.iter().enumerate().filter(|_| options.len() > 1) {
                let fewer = without(options, at);
                let fewer = match test {
                    Test::OneOf(_) => Test::OneOf(fewer),
                    Test::NoneOf(_) => Test::NoneOf(fewer),
                    _ => Test::Includes(fewer),
                };
                push(StepKind::Choice, format!("without {name}"), fewer);
            }
        }
        Test::Compare(how, threshold) => {
            for other in Comparison::ALL.into_iter().filter(|it| it != how) {
                let test = Test::Compare(other, threshold.clone());
                push(StepKind::Comparison, other.word().into(), test);
            }
            for other in [false, true]
                .into_iter()
                .filter_map(|up| neighbour(threshold, up))
            {
                let what = format!("{} instead of {}", other.written, threshold.written);
                push(StepKind::Number, what, Test::Compare(*how, other));
            }
        }
        Test::Between(low, high) => {
            for up in [false, true] {
                if let Some(other) = neighbour(low, up) {
                    let what = format!("from {} instead of {}", other.written, low.written);
                    push(StepKind::Number, what, Test::Between(other, high.clone()));
                }
                if let Some(other) = neighbour(high, up) {
                    let what = format!("to {} instead of {}", other.written, high.written);
                    push(StepKind::Number, what, Test::Between(low.clone(), other));
                }
            }
            for (what, low_how, high_how) in [
                ("lower end left out", Comparison::Above, Comparison::AtMost),
                ("upper end left out", Comparison::AtLeast, Comparison::Below),
            ] {
                let ends = [(low_how, low), (high_how, high)].map(|(how, end)| {
                    let test = Test::Compare(how, end.clone());
                    Condition::Fact { fact, test }
                });
                let to = Condition::All(ends.into());
                found.push(PartChange::new(StepKind::Comparison, what, to));
            }
        }
        Test::OlderThan(limit) | Test::Within(limit) => {
            let within = |limit: SpanLimit, is_within: bool| match is_within {
                true => Test::Within(limit),
                false => Test::OlderThan(limit),
            };
            let is_within = matches!(test, Test::Within(_));
            let word = if is_within { "older_than" } else { "within" };
            let turned = within(limit.clone(), !is_within);
            push(StepKind::Comparison, word.into(), turned);
            for other in [false, true].into_iter().filter_map(|up| longer(limit, up)) {
                let what = format!("{} instead of {}", other.span, limit.span);
                push(StepKind::Number, what, within(other, is_within));
            }
        }
    }
}

fn taking(rule_set: &RuleSet, condition: &Condition, found: &mut Vec<PartChange>) {
    let Condition::Taking {
        fact,
        named,
        medicines,
        at_least,
    } = condition
    else {
        return;
    };
    let register = &rule_set.medicines;
    let mut push = |what: String, named: Vec<String>, medicines: Bits<Medicine>, at_least: u16| {
        let to = Condition::Taking {
            fact: *fact,
            named,
            medicines,
            at_least,
        };
        found.push(PartChange::new(StepKind::Class, what, to));
    };
    let find = |name: &str| register.find(name);
    for (what, named, set) in other_names(named, medicines, &register.classes, &find) {
        push(what, named, set, *at_least);
    }
    for n in [at_least.saturating_sub(1), at_least.saturating_add(1)]
        .into_iter()
        .filter(|it| *it >= 1)
    {
        let what = format!("at least {n} instead of {at_least}");
        push(what, named.clone(), medicines.clone(), n);
    }
}

fn allergic(rule_set: &RuleSet, condition: &Condition, found: &mut Vec<PartChange>) {
    let Condition::AllergicTo {
        fact,
        named,
        substances,
        reactions,
    } = condition
    else {
        return;
    };
    let register = &rule_set.allergens;
    let mut push = |what: String,
                    named: Vec<String>,
                    substances: Bits<Substance>,
                    reactions: Option<Bits<Reaction>>| {
        let to = Condition::AllergicTo {
            fact: *fact,
            named,
            substances,
            reactions,
        };
        found.push(PartChange::new(StepKind::Class, what, to));
    };
    let find = |name: &str| register.find(name);
    for (what, named, set) in other_names(named, substances, &register.groups, &find) {
        push(what, named, set, reactions.clone());
    }
    let counted: Vec<Idx<Reaction>> = reactions.iter().flat_map(Bits::iter).collect();
    for (at, reaction) in counted.iter().enumerate().filter(|_| counted.len() > 1) {
        let what = format!("without the reaction {}", register.reactions[*reaction].id);
        let fewer = without(&counted, at).into_iter().collect();
        push(what, named.clone(), substances.clone(), Some(fewer));
    }
}

/// The list with each name left out, or replaced by each class directly above or below it, where that names another set.
fn other_names<Of: Clone>(
    named: &[String],
    all: &Bits<Of>,
    terms: &[Term<Of>],
    find: &dyn Fn(&str) -> Option<Bits<Of>>,
) -> Vec<(String, Vec<String>, Bits<Of>)> {
    let mut found = Vec::new();
    for (at, name) in named.iter().enumerate() {
        let mut rest = Bits::new();
        let others = without(named, at);
        others
            .iter()
            .filter_map(|it| find(it))
            .for_each(|it| rest.extend(&it));
        if !others.is_empty() && !same(&rest, all) {
            found.push((format!("without {name}"), others, rest.clone()));
        }
        let Some(own) = terms
            .iter()
            .find(|it| it.id == *name)
            .map(|it| it.members.clone())
            .or_else(|| find(name))
        else {
            continue;
        };
        for term in neighbours(terms, &own) {
            let mut set = rest.clone();
            find(&term.id).iter().for_each(|it| set.extend(it));
            if !same(&set, all) {
                let mut names = named.to_vec();
                if let Some(place) = names.get_mut(at) {
                    place.clone_from(&term.id);
                }
                found.push((format!("{} instead of {name}", term.id), names, set));
            }
        }
    }
    found
}

fn same<Of>(a: &Bits<Of>, b: &Bits<Of>) -> bool {
    a.within(b) && b.within(a)
}

/// The classes directly above and below a set: nothing lies between.
fn neighbours<'a, Of>(terms: &'a [Term<Of>], own: &Bits<Of>) -> Vec<&'a Term<Of>> {
    let inside = |a: &Bits<Of>, b: &Bits<Of>| a.within(b) && !b.within(a);
    let above: Vec<&Term<Of>> = terms.iter().filter(|it| inside(own, &it.members)).collect();
    let below: Vec<&Term<Of>> = terms
        .iter()
        .filter(|it| !it.members.is_empty() && inside(&it.members, own))
        .collect();
    let nearest_above = above.iter().filter(|term| {
        !above
            .iter()
            .any(|other| inside(&other.members, &term.members))
    });
    let nearest_below = below.iter().filter(|term| {
        !below
            .iter()
            .any(|other| inside(&term.members, &other.members))
    });
    nearest_above.chain(nearest_below).copied().collect()
}

/// A number one step lower or higher: the step is one in its last written decimal, for a date one day.
fn neighbour(threshold: &Threshold, up: bool) -> Option<Threshold> {
    if let Ok(date) = NaiveDate::parse_from_str(&threshold.written, "%Y-%m-%d") {
        let (other, step) = if up {
            (date.succ_opt()?, 1.0)
        } else {
            (date.pred_opt()?, -1.0)
        };
        return Some(Threshold {
            value: threshold.value + step,
            written: other.to_string(),
            limit: threshold.limit,
        });
    }
    let (written, number, other) = stepped(&threshold.written, up)?;
    // Written in another unit than the fact's: the same share of it.
    let in_own_unit =
        (threshold.value - number).abs() < f64::EPSILON * number.abs().max(1.0) || number == 0.0;
    let value = if in_own_unit {
        other
    } else {
        threshold.value * (other / number)
    };
    Some(Threshold {
        value,
        written,
        limit: threshold.limit,
    })
}

/// A written number one step lower or higher: as written, the old number and the new one.
pub(crate) fn stepped(written: &str, up: bool) -> Option<(String, f64, f64)> {
    let (digits, unit) = written
        .split_once(char::is_whitespace)
        .unwrap_or((written, ""));
    let number: f64 = digits.parse().ok()?;
    let decimals = digits.split_once('.').map_or(0, |(_, it)| it.len());
    let step = 10_f64.powi(-i32::try_from(decimals).ok()?);
    let other = format!(
        "{:.decimals$}",
        if up { number + step } else { number - step }
    );
    let value = other.parse().ok()?;
    let shown = if unit.is_empty() {
        other
    } else {
        format!("{other} {unit}")
    };
    Some((shown, number, value))
}

fn longer(limit: &SpanLimit, up: bool) -> Option<SpanLimit> {
    Some(SpanLimit {
        span: stepped_span(limit.span, up)?,
        limit: limit.limit,
    })
}

fn stepped_span(span: Span, up: bool) -> Option<Span> {
    let count = if up {
        span.count.checked_add(1)?
    } else {
        span.count.checked_sub(1)?
    };
    Some(Span { count, ..span })
}

/// A condition with the part at the end of a way replaced.
fn replaced(condition: &Condition, path: &[usize], with: &Condition) -> Condition {
    let Some((first, rest)) = path.split_first() else {
        return with.clone();
    };
    let inside = |parts: &[Condition]| {
        let mut parts = parts.to_vec();
        if let Some(part) = parts.get_mut(*first) {
            *part = replaced(part, rest, with);
        }
        parts
    };
    match condition {
        Condition::All(parts) => Condition::All(inside(parts)),
        Condition::Any(parts) => Condition::Any(inside(parts)),
        Condition::Not(part) => Condition::Not(Box::new(replaced(part, rest, with))),
        leaf => leaf.clone(),
    }
}

/// A condition with each test replaced by what is made of it, or kept.
fn mapped(
    condition: &Condition,
    make: &mut impl FnMut(&Condition) -> Option<Condition>,
) -> Condition {
    match condition {
        Condition::All(parts) => Condition::All(parts.iter().map(|it| mapped(it, make)).collect()),
        Condition::Any(parts) => Condition::Any(parts.iter().map(|it| mapped(it, make)).collect()),
        Condition::Not(part) => Condition::Not(Box::new(mapped(part, make))),
        leaf => make(leaf).unwrap_or_else(|| leaf.clone()),
    }
}

/// A condition in the form in which two that are the same by Kleene's tables look the same: one member is no list, a list
/// in a list of its kind is one list, and what does not hold is said by the test.
pub(crate) fn plain(condition: Condition) -> Condition {
    match condition {
        Condition::All(parts) => joined(parts, Condition::All, |part| match part {
            Condition::All(inner) => Ok(inner),
            other => Err(other),
        }),
        Condition::Any(parts) => joined(parts, Condition::Any, |part| match part {
            Condition::Any(inner) => Ok(inner),
            other => Err(other),
        }),
        Condition::Not(part) => match plain(*part) {
            Condition::Not(inner) => *inner,
            Condition::All(parts) => plain(Condition::Any(parts.into_iter().map(not).collect())),
            Condition::Any(parts) => plain(Condition::All(parts.into_iter().map(not).collect())),
            Condition::Fact { fact, test } => {
                let test = match test {
                    Test::OneOf(options) => Test::NoneOf(options),
                    Test::NoneOf(options) => Test::OneOf(options),
                    Test::Compare(how, with) => Test::Compare(how.opposite(), with),
                    Test::OlderThan(limit) => Test::Within(limit),
                    Test::Within(limit) => Test::OlderThan(limit),
                    test @ (Test::Includes(_) | Test::Between(..)) => {
                        return not(Condition::Fact { fact, test });
                    }
                };
                Condition::Fact { fact, test }
            }
            leaf => not(leaf),
        },
        leaf => leaf,
    }
}

fn not(condition: Condition) -> Condition {
    Condition::Not(Box::new(condition))
}

fn joined(
    parts: Vec<Condition>,
    make: fn(Vec<Condition>) -> Condition,
    open: fn(Condition) -> Result<Vec<Condition>, Condition>,
) -> Condition {
    let mut flat = Vec::new();
    for part in parts {
        match open(plain(part)) {
            Ok(inner) => flat.extend(inner),
            Err(other) => flat.push(other),
        }
    }
    match flat.pop() {
        Some(only) if flat.is_empty() => only,
        Some(last) => {
            flat.push(last);
            make(flat)
        }
        None => make(flat),
    }
}
