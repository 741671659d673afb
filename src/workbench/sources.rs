//! Everything a rule set's folder holds, for the checks: the rule set, its texts, its cases and its allowances.

use std::ops::Range;
use std::sync::Arc;

use crate::document::diagnostic::Diagnostic;
use crate::document::source::{Node, Source};
use crate::questionnaire::policy::rule_set_with;
use crate::rule_set::files::{Care, RuleFiles, TextFile};
use crate::rule_set::read::rule_set;
use crate::rule_set::{LocalPolicy, RuleSet};
use crate::workbench::allowances::{Allowance, allowances};
use crate::workbench::cases::read::{Case, Waivers, cases, waivers};
use crate::workbench::places::Entry;

/// A rule set with everything around it, and nothing unchecked.
#[derive(Debug)]
pub struct Whole {
    /// The rule set.
    pub rule_set: RuleSet,
    /// Its texts, with places.
    pub files: RuleFiles,
    /// The worked cases.
    pub cases: Vec<Case>,
    /// What no case can show.
    pub waivers: Waivers,
    /// Which remarks of the checks it lives with.
    pub allowances: Vec<Allowance>,
    /// The local policy that is held against it, if there is one.
    pub local: Option<HeldAgainst>,
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

impl HeldAgainst {
    /// Reads a local policy over its rule set.
    ///
    /// # Errors
    /// Every diagnostic of both.
    pub fn read(files: &RuleFiles, file: &TextFile) -> Result<Option<Self>, Vec<Diagnostic>> {
        let policy = rule_set_with(files, Some(file))?.local;
        let first = |node: &Node| {
            node.entries()
                .first()
                .map_or(node.span.clone(), |it| it.key_span.start..it.value.span.end)
        };
        Ok(policy
            .zip(file.entry())
            .map(|(policy, Entry { source, node })| {
                let places = node.list("changes").iter().map(first).collect();
                Self {
                    policy,
                    source: Arc::clone(source),
                    places,
                }
            }))
    }
}

/// Reads every file of a rule set, with all care.
///
/// # Errors
/// Every diagnostic of the rule set; if it has none, those of its cases and allowances.
pub fn whole(files: &RuleFiles) -> Result<Whole, Vec<Diagnostic>> {
    whole_with(files, None)
}

/// Reads every file of a rule set, with all care, and holds a local policy against it, so that all that is wrong is told at
/// once. The rule set is the one without the policy.
///
/// # Errors
/// As [`whole`], after those of the policy.
pub fn whole_with(files: &RuleFiles, local: Option<&TextFile>) -> Result<Whole, Vec<Diagnostic>> {
    let files = files.clone().with_care(Care::Full);
    let local = local
        .map(|it| HeldAgainst::read(&files, it))
        .transpose()?
        .flatten();
    let rule_set = rule_set(&files)?;
    let (cases, waivers, allowances) = (
        cases(&files, &rule_set),
        waivers(&files, &rule_set),
        allowances(&files, &rule_set),
    );
    match (cases, waivers, allowances) {
        (Ok(cases), Ok(waivers), Ok(allowances)) => Ok(Whole {
            rule_set,
            files,
            cases,
            waivers,
            allowances,
            local,
        }),
        (cases, waivers, allowances) => Err([cases.err(), waivers.err(), allowances.err()]
            .into_iter()
            .flatten()
            .flatten()
            .collect()),
    }
}
