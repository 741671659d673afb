//! allowances.yaml: which remarks of the checks a rule set lives with, who allowed it, and until when.

use std::collections::{BTreeSet, HashMap};
use std::ops::Range;
use std::sync::Arc;

use chrono::NaiveDate;

use crate::document::diagnostic::{Code, Diagnostic, did_you_mean};
use crate::document::reading::{Reading, Tells};
use crate::document::source::{Node, Source};
use crate::rule_set::RuleSet;
use crate::rule_set::digest::ALLOWANCES;
use crate::rule_set::files::RuleFiles;
use crate::rule_set::read::registers::date;

/// One remark that is meant to stand.
#[derive(Debug, Clone)]
pub struct Allowance {
    /// The check that makes the remark.
    pub lint: Code,
    /// What the remark is about: the id of a rule, limit, fact or source, or a name of a register.
    pub on: String,
    /// Why it may stand.
    pub reason: String,
    /// The role that allowed it.
    pub allowed_by: String,
    /// Day by which it must be looked at again.
    pub review_by: NaiveDate,
    /// The file it stands in.
    pub source: Arc<Source>,
    /// Where it names what it is about.
    pub span: Range<usize>,
    /// Where its review date stands.
    pub review_span: Range<usize>,
}

/// Reads the allowances, if the rule set has some.
///
/// # Errors
/// Every diagnostic of the file.
pub fn allowances(
    files: &RuleFiles,
    rule_set: &RuleSet,
) -> Result<Vec<Allowance>, Vec<Diagnostic>> {
    files.said_in(ALLOWANCES, "allowances", |reading, root| {
        let known = names(rule_set);
        let mut seen = HashMap::new();
        let mut found = Vec::new();
        for node in root.list("allowances") {
            match allowance(reading, &known, &mut seen, node) {
                Some(it) => found.push(it),
                None => reading.pass_over(node, "a whole allowance"),
            }
        }
        found
    })
}

fn allowance(
    reading: &mut Reading<'_>,
    known: &BTreeSet<&str>,
    seen: &mut HashMap<(Code, String), Range<usize>>,
    node: &Node,
) -> Option<Allowance> {
    let name = reading.needed(node, "lint");
    let on = reading.needed(node, "on");
    let (reason, allowed_by) = (
        reading.needed(node, "reason"),
        reading.needed(node, "allowed_by"),
    );
    let review_by = date(reading, node, "review_by");
    let (lint_node, on_node, review_node) =
        (node.get("lint")?, node.get("on")?, node.get("review_by")?);
    let (name, on) = (name?, on?);
    let lints = || Code::ALL.iter().copied().filter(|it| it.is_lint());
    let lint = lints().find(|it| it.name() == name);
    if lint.is_none() {
        let title = format!("there is no check `{name}`");
        let help = did_you_mean(&name, lints().map(Code::name))
            .unwrap_or_else(|| "`preblock explain` lists them under lint/".into());
        reading
            .wrong(Code::UnknownLint, &lint_node.span, title, "no such check")
            .help(help);
    }
    if !known.contains(on.as_str()) {
        let title = format!("nothing in the rule set is called `{on}`");
        let near = did_you_mean(&on, known.iter().copied());
        let label = "nothing has this name";
        reading
            .wrong(Code::UnknownName, &on_node.span, title, label)
            .help_if(near);
    }
    let lint = lint?;
    if let Some(first) = seen.insert((lint, on.clone()), on_node.span.clone()) {
        let title = format!("`{on}` has two allowances for `{name}`");
        reading
            .wrong(Code::DuplicateId, &on_node.span, title, "second")
            .also(&first, "first")
            .help("delete one of them");
    }
    Some(Allowance {
        lint,
        on,
        reason: reason?,
        allowed_by: allowed_by?,
        review_by: review_by?,
        source: Arc::clone(reading.source),
        span: on_node.span.clone(),
        review_span: review_node.span.clone(),
    })
}

/// Everything that a remark may be about.
fn names(rule_set: &RuleSet) -> BTreeSet<&str> {
    let medicines = rule_set
        .medicines
        .names
        .keys()
        .chain(rule_set.medicines.classes.iter().map(|it| &it.id));
    let allergens = rule_set
        .allergens
        .names
        .keys()
        .chain(rule_set.allergens.groups.iter().map(|it| &it.id));
    std::iter::once(rule_set.id.as_str())
        .chain(rule_set.rules().map(|it| it.id.as_str()))
        .chain(rule_set.concerns.iter().map(|it| it.id.as_str()))
        .chain(rule_set.limits.iter().map(|it| it.id.as_str()))
        .chain(rule_set.catalogue.facts.iter().map(|it| it.id.as_str()))
        .chain(rule_set.publications.iter().map(|it| it.id.as_str()))
        .chain(medicines.chain(allergens).map(String::as_str))
        .chain(rule_set.agents.iter().map(|it| it.id.as_str()))
        .chain(rule_set.reductions.iter().map(|it| it.id.as_str()))
        .collect()
}
