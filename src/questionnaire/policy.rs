//! A rule set under a clinic's local policy. What a policy offers of the plan is written like the answers of a clinic's file,
//! and understood like them.

use std::sync::Arc;

use crate::document::diagnostic::Diagnostic;
use crate::document::source::{Node, Source};
use crate::questionnaire::facts;
use crate::questionnaire::frame;
use crate::rule_set::RuleSet;
use crate::rule_set::files::{RuleFiles, TextFile};
use crate::rule_set::read::local::{KeptOffer, Policy};

impl RuleSet {
    /// A rule set, with a clinic's local policy over it if there is one.
    ///
    /// # Errors
    /// Every diagnostic of every file, in the order files are read and places come; those of the local policy come last.
    pub fn read(files: &RuleFiles, local: Option<&TextFile>) -> Result<Self, Vec<Diagnostic>> {
        rule_set_with(files, local)
    }
}

/// A rule set changed by a clinic's local policy, if there is one.
///
/// # Errors
/// Every diagnostic of every file; those of the local policy come last.
pub fn rule_set_with(
    files: &RuleFiles,
    local: Option<&TextFile>,
) -> Result<RuleSet, Vec<Diagnostic>> {
    crate::rule_set::read::read(files, local.map(|file| Policy { file, offers }))
}

/// What is offered of each choice of the plan. These are nobody's answers: only the offers are understood.
fn offers(
    rule_set: &RuleSet,
    source: &Arc<Source>,
    map: &Node,
) -> (Vec<KeptOffer>, Vec<Diagnostic>) {
    let (gathered, mut wrong) = frame::offers(rule_set, source, map);
    let (facts, of_facts) = facts::read(rule_set, &gathered, rule_set.in_force_from);
    wrong.extend(of_facts);
    let kept = gathered.offers.iter().filter_map(|(at, given)| {
        let offered = facts
            .offers()
            .get(&rule_set.catalogue.questions[*at].slot)?;
        Some(KeptOffer {
            question: *at,
            key_span: given.key_span.clone(),
            offered: offered.clone(),
        })
    });
    (kept.collect(), wrong)
}
