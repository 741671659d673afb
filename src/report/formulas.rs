//! Every formula that a derived fact may use, as plain data: what it is given, when it is known, where it comes from, and a row
//! for questions.yaml. Text and JSON here, and the book, draw it.

use serde::Serialize;
use serde_json::json;

use crate::formulas::formula::Gives;
use crate::formulas::{ALL, Formula, Role, RoleKind};
use crate::report::json::escaped;
use crate::report::page::{Indent, Page, Paint, Style};
use crate::rule_set::catalogue::Catalogue;
use crate::rule_set::{Input, RuleSet};

const LINE: Indent = Indent::at(2, 15).hanging(2);

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
    /// An entry of `derived`: as the rule set has it, where it uses the formula, else with its facts as far as their names say that they are
    /// meant, and `section.question`, `some-limit` and `some-unit` for what somebody must choose. What may be left out is left out.
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
    let (with, unit, decimals): (Vec<(&str, String)>, _, _) = match catalogue.computed_by(formula) {
        Some(derived) => (
            derived
                .given()
                .map(|(role, input)| (role.name, given(rule_set, input)))
                .collect(),
            derived.unit.clone(),
            derived.decimals,
        ),
        None => (
            formula
                .roles
                .iter()
                .filter(|it| !it.optional)
                .map(|it| (it.name, first_given(catalogue, it)))
                .collect(),
            match formula.gives {
                Gives::In(unit) => Some(unit.to_owned()),
                Gives::AsGiven => Some("some-unit".to_owned()),
                Gives::Plain | Gives::PlainOfAgreeing => None,
            },
            if formula.whole { 0 } else { 1 },
        ),
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

/// What a derived fact is given, as it is written.
fn given(rule_set: &RuleSet, input: Input) -> String {
    match input {
        Input::Fact(slot) => rule_set.catalogue.id(slot).to_owned(),
        Input::Limit(at, _) => format!("{{ limit: {} }}", rule_set.limits[at].id),
    }
}

/// What a role could be given in a formula that the rule set does not use yet: the fact of its kind that bears its name, or the only
/// plan or list of medicines. Any other fact would fit by its kind alone, load, and compute something else, so somebody must choose.
fn first_given(catalogue: &Catalogue, role: &Role) -> String {
    let is_one_alone = matches!(
        role.kind,
        RoleKind::Plan { .. } | RoleKind::Medicines { .. }
    );
    let is_meant = |id: &str| is_one_alone || id.rsplit('.').next() == Some(role.name);
    let mut fits = catalogue
        .facts
        .indices()
        .filter(|it| catalogue.fits(*it, role.kind) && is_meant(catalogue.id(*it)));
    match (fits.next(), fits.next(), role.kind) {
        (Some(slot), None, _) => catalogue.id(slot).to_owned(),
        (_, _, RoleKind::Limit(_)) => "{ limit: some-limit }".to_owned(),
        _ => "section.question".to_owned(),
    }
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
        let roles = it.roles.iter().map(RoleRow::in_words);
        page.entries("from", Paint::Faint, LINE, roles);
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
