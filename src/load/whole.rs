//! Everything a rule set's folder holds, for the checks: the rule set, its texts, its cases and its allowances.

use std::ops::Range;
use std::sync::Arc;

use super::allowances::{Allowance, allowances};
use super::cases::{Case, Excuses, cases, excuses};
use super::files::RuleFiles;
use super::rule_set;
use super::written::Written;
use crate::diagnostic::Diagnostic;
use crate::model::{LocalPolicy, RuleSet};
use crate::source::Source;

/// A rule set with everything around it, and nothing unchecked.
#[derive(Debug)]
pub struct Whole {
    /// The rule set.
    pub rule_set: RuleSet,
    /// Its texts, with places.
    pub written: Written,
    /// The worked cases.
    pub cases: Vec<Case>,
    /// What no case can show.
    pub excuses: Excuses,
    /// Which remarks of the checks it lives with.
    pub allowances: Vec<Allowance>,
    /// The local policy that is held against it, if there is one.
    pub local: Option<HeldAgainst>,
    /// Texts of rules that are still to be written, each with the id of its rule.
    pub unwritten: Vec<(String, Diagnostic)>,
}

/// A local policy with its text.
#[derive(Debug)]
pub struct HeldAgainst {
    /// The policy.
    pub policy: LocalPolicy,
    /// Its text.
    pub source: Arc<Source>,
    /// Where each change stands in it.
    pub places: Vec<Range<usize>>,
}

/// Reads every file of a rule set.
///
/// # Errors
/// Every diagnostic of the rule set; if it has none, those of its cases and allowances.
pub fn whole(files: &RuleFiles) -> Result<Whole, Vec<Diagnostic>> {
    let rule_set = rule_set(files)?;
    let (cases, excuses, allowances) = (cases(files, &rule_set), excuses(files, &rule_set), allowances(files, &rule_set));
    match (cases, excuses, allowances) {
        (Ok(cases), Ok(excuses), Ok(allowances)) => {
            let written = Written::read(files);
            let unwritten = super::drafts::unwritten(&written);
            Ok(Whole { rule_set, written, cases, excuses, allowances, local: None, unwritten })
        }
        (cases, excuses, allowances) => Err([cases.err(), excuses.err(), allowances.err()].into_iter().flatten().flatten().collect()),
    }
}
