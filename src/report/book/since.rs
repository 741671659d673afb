//! What is written otherwise since an earlier edition: the first section of a book that is made beside one.

use crate::report::book::extent::Extent;
use crate::report::book::{Book, BookText, link, paper};
use crate::report::compare;
use crate::report::markdown::escape::{code, inline};
use crate::report::words::{counted, edition};
use crate::rule_set::RuleSet;
use crate::workbench::compare::{ChangeKind, RuleSetChange, ThingKind};

/// Where the section is found.
pub(super) const ANCHOR: &str = "part:since";

/// An earlier edition, and what is written otherwise since.
#[derive(Debug)]
pub struct Since<'a> {
    /// The rule set as it was.
    pub old: &'a RuleSet,
    /// What differs from it.
    pub changes: Vec<RuleSetChange>,
}

impl Since<'_> {
    /// The heading of the section.
    pub(super) fn title(&self) -> String {
        format!("What changed since edition {}", self.old.edition)
    }
}

/// Every change; in a part of a rule set, those of what belongs to it, or did.
pub(super) fn section(sheet: &mut BookText, book: &Book<'_>, since: &Since<'_>) {
    let (old, new) = (since.old, book.rule_set);
    let before = book.extent.as_ref().map(|it| Extent::of(old, &it.concerns));
    let belongs = |it: &&RuleSetChange| {
        anchor(it).is_none_or(|anchor| {
            book.has(&anchor) || before.as_ref().is_some_and(|it| it.has(&anchor))
        })
    };
    let (shown, others): (Vec<&RuleSetChange>, Vec<_>) = since.changes.iter().partition(belongs);
    sheet.paragraph(&format!(
        "Beside {}. {}",
        inline(&edition(old)),
        paper::in_short(&shown)
    ));
    if let Some(odd) = compare::odd(old, new) {
        sheet.paragraph(&inline(&odd));
    }
    for change in shown {
        let name = match (change.kind, new.rule(&change.name)) {
            (ThingKind::Rule, Some(rule)) => {
                format!("{} ({})", link(&rule.title, &rule.id), code(&rule.id))
            }
            _ => anchor(change).map_or_else(|| code(&change.name), |it| link(&change.name, &it)),
        };
        paper::change(sheet, &name, change);
        if (change.kind, &change.what) == (ThingKind::Rule, &ChangeKind::Out) {
            paper::why_out(sheet, new, &change.name);
        }
    }
    if !others.is_empty() {
        sheet.paragraph(&format!(
            "{} elsewhere, which no rule of this part needs.",
            counted(others.len(), "further change", "further changes")
        ));
    }
}

/// Where a book has a thing, or would have it; `None` for what belongs to the whole.
fn anchor(change: &RuleSetChange) -> Option<String> {
    let kind = match change.kind {
        ThingKind::RuleSet | ThingKind::LocalChange | ThingKind::Reaction => return None,
        ThingKind::Rule | ThingKind::Question | ThingKind::Derived => {
            return Some(change.name.clone());
        }
        ThingKind::Limit => "limits",
        ThingKind::Guarantee => "guarantees",
        ThingKind::Letter => "letters",
        ThingKind::Anaesthetic | ThingKind::Reduction => "anaesthetics",
        ThingKind::Medicine => "medicines",
        ThingKind::MedicineClass => "classes",
        ThingKind::Substance => "substances",
        ThingKind::SubstanceGroup => "groups",
        ThingKind::Source => "sources",
    };
    Some(format!("{kind}/{}", change.name))
}
