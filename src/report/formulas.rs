//! Every formula that a derived fact may use, as plain data: what it is given, when it is known, where it comes from, and a row
//! for questions.yaml. Text and JSON here, and the book, draw it.

use serde::Serialize;
use serde_json::json;

use crate::formulas::formula::Gives;
use crate::formulas::{ALL, Formula, Role, RoleKind};
use crate::report::json::escaped;
use crate::report::page::{Indent, Page, Paint, Style};
use crate::rule_set::catalogue::{Catalogue, FactType};
use crate::rule_set::{Input, LimitValue, RuleSet};
use crate::truth::FactSlot;

const LINE: Indent = Indent {
    label: 2,
    text: 15,
    hang: 2,
};

/// A formula.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FormulaRow {
    /// The name used in questions.yaml.
    pub name: &'static str,
    /// What it computes, in a few words.
    pub about: &'static str,
    /// The unit of what it gives, in words.
    pub gives: String,
    /// What it is given.
    pub roles: Vec<RoleRow>,
    /// When it is known, in words.
    pub known_with: String,
    /// Where it comes from.
    pub source: &'static str,
    /// An entry of `derived`, with facts and limits of the rule set as far as it has some that fit, else with `section.question` and
    /// `some-limit`. What may be left out is left out.
    pub row: String,
}

/// One thing that a formula is given.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RoleRow {
    /// Name under `with:`.
    pub name: &'static str,
    /// What it must be, in words.
    pub is: String,
    /// Whether it may be left out, together with the others that may.
    pub optional: bool,
}

impl RoleRow {
    /// "age: a number in years".
    pub fn in_words(&self) -> String {
        let optional = if self.optional {
            " (may be left out)"
        } else {
            ""
        };
        format!("{}: {}{optional}", self.name, self.is)
    }
}

impl FormulaRow {
    /// Every formula, in the order of the program.
    pub fn all(rule_set: &RuleSet) -> Vec<Self> {
        ALL.iter().map(|it| Self::of(rule_set, it)).collect()
    }

    /// One formula.
    pub fn of(rule_set: &RuleSet, formula: &Formula) -> Self {
        let gives = match formula.gives {
            Gives::Plain => "a plain number".to_owned(),
            Gives::In(unit) => unit.to_owned(),
            Gives::AsGiven => "the unit of its numbers, which must agree".to_owned(),
            Gives::PlainOfAgreeing => "a plain number, of numbers in one unit".to_owned(),
        };
        let role = |role: &Role| RoleRow {
            name: role.name,
            is: role.kind.in_words(),
            optional: role.optional,
        };
        Self {
            name: formula.name,
            about: formula.about,
            gives,
            roles: formula.roles.iter().map(role).collect(),
            known_with: formula.known.in_words(),
            source: formula.source,
            row: row(rule_set, formula),
        }
    }
}

/// An entry of `derived` to copy: given what the rule set gives the formula already, if it uses it.
fn row(rule_set: &RuleSet, formula: &Formula) -> String {
    let catalogue = &rule_set.catalogue;
    let (with, unit, decimals) = match catalogue.computed_by(formula) {
        Some(derived) => (
            derived
                .given()
                .map(|(role, input)| (role.name, given(rule_set, role, input)))
                .collect(),
            derived.unit.clone(),
            derived.decimals,
        ),
        None => first_row(rule_set, formula),
    };
    let with: Vec<String> = with
        .iter()
        .map(|(role, given)| format!("{role}: {given}"))
        .collect();
    format!(
        "- {{ id: {}, about: {}, formula: {}, {}decimals: {decimals}, with: {{ {} }} }}",
        formula.name.replace('-', "_"),
        // Whatever stands in it, in quotes it is one text.
        json!(formula.about),
        formula.name,
        unit.map_or_else(String::new, |it| format!("unit: {it}, ")),
        with.join(", ")
    )
}

/// What a derived fact is given, as it is written. Of a limit its number is known, not its name: the first of that number and unit is
/// taken, or else of that number, since a limit may stand in another unit than the formula's.
fn given(rule_set: &RuleSet, role: &Role, input: Input) -> String {
    let number = match input {
        Input::Fact(slot) => return rule_set.catalogue.id(slot).to_owned(),
        Input::Number(number) => number,
    };
    let wanted = match role.kind {
        RoleKind::Number(unit, _) => unit,
        RoleKind::Limit(unit) => Some(unit),
        _ => None,
    };
    let is_it = |value: f64| value.total_cmp(&number).is_eq();
    limit(rule_set, |value, unit| is_it(value) && unit == wanted)
        .or_else(|| limit(rule_set, |value, _| is_it(value)))
        .unwrap_or_else(some_limit)
}

fn some_limit() -> String {
    "{ limit: some-limit }".to_owned()
}

/// What a formula could be given that the rule set does not use yet: role, what it is given; unit; decimals.
fn first_row(
    rule_set: &RuleSet,
    formula: &Formula,
) -> (Vec<(&'static str, String)>, Option<String>, usize) {
    let catalogue = &rule_set.catalogue;
    let mut chosen: Vec<FactSlot> = Vec::new();
    let mut with = Vec::new();
    for role in formula.roles.iter().filter(|it| !it.optional) {
        let given = match role.kind {
            RoleKind::Limit(wanted) => {
                limit(rule_set, |_, unit| unit == Some(wanted)).unwrap_or_else(some_limit)
            }
            kind => {
                let slot = fitting(catalogue, kind, &chosen);
                chosen.extend(slot);
                slot.map_or("section.question", |it| catalogue.id(it))
                    .to_owned()
            }
        };
        with.push((role.name, given));
    }
    let unit = match formula.gives {
        Gives::In(unit) => Some(unit.to_owned()),
        Gives::AsGiven => chosen.iter().find_map(|it| unit_of(catalogue, *it)),
        Gives::Plain | Gives::PlainOfAgreeing => None,
    };
    (with, unit, if formula.whole { 0 } else { 1 })
}

/// The first fact that a role may be given. A further number is one that is measured like those before, and another where there is
/// one; a further list is the one before, whose options are its own.
fn fitting(catalogue: &Catalogue, kind: RoleKind, chosen: &[FactSlot]) -> Option<FactSlot> {
    let before = chosen.iter().copied().find(|it| {
        catalogue.fits(*it, kind) && !matches!(kind, RoleKind::YesNo | RoleKind::Date(_))
    });
    if matches!(kind, RoleKind::ListLike(_)) {
        return before;
    }
    let alike = |slot: FactSlot| match (kind, before) {
        (RoleKind::Number(None, _), Some(before)) => {
            catalogue.fact(slot).fact_type == catalogue.fact(before).fact_type
        }
        _ => true,
    };
    let mut fits = catalogue
        .facts
        .indices()
        .filter(|it| catalogue.fits(*it, kind) && alike(*it));
    fits.find(|it| !chosen.contains(it)).or(before)
}

fn unit_of(catalogue: &Catalogue, slot: FactSlot) -> Option<String> {
    match &catalogue.fact(slot).fact_type {
        FactType::Number { unit, .. } => unit.clone(),
        _ => None,
    }
}

/// The first limit whose number and unit are wanted, as it is written.
fn limit(rule_set: &RuleSet, is_wanted: impl Fn(f64, Option<&str>) -> bool) -> Option<String> {
    let mut limits = rule_set.limits.iter();
    let found = limits.find(|it| match &it.value {
        LimitValue::Number { value, unit } => is_wanted(*value, unit.as_deref()),
        LimitValue::Span(_) => false,
    })?;
    Some(format!("{{ limit: {} }}", found.id))
}

/// As text, a paragraph each.
pub fn text(rows: &[FormulaRow], style: &Style) -> String {
    let mut page = Page::new(style);
    for (at, it) in rows.iter().enumerate() {
        if at > 0 {
            page.blank();
        }
        let name = page.painted(it.name, Paint::Strong);
        page.line(&format!("{name}: {}", it.about));
        page.entry("gives", Paint::Faint, LINE, &it.gives);
        for (at, role) in it.roles.iter().enumerate() {
            let label = if at == 0 { "from" } else { "" };
            page.entry(label, Paint::Faint, LINE, &role.in_words());
        }
        page.entry("known with", Paint::Faint, LINE, &it.known_with);
        page.entry("source", Paint::Faint, LINE, it.source);
        // Not wrapped, so that it can be copied.
        page.line(&format!("  row          {}", it.row));
    }
    page.finish()
}

/// As JSON.
pub fn json(rows: &[FormulaRow]) -> String {
    escaped(&format!("{:#}", json!({ "formulas": rows })))
}
