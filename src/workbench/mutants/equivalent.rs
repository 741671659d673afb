//! Which changes come to the same, proved over every possible questionnaire.

use crate::exact::Lit;
use chrono::NaiveDate;

use crate::exact::{Decider, verdict};
use crate::rule_set::{Condition, Rule, RuleSet, Table};
use crate::workbench::mutants::Changed;

/// For each change, whether no possible patient sees it: every rule in the state that it was in, the verdict and its
/// urgency the same.
///
/// The space is cut for the changed conditions, too, so that it tells apart whatever they do. It may hold patients whose
/// numbers cannot be, but leaves nobody out: what is impossible in it is impossible, and an equivalence that only numbers
/// show is not found.
pub fn proved(rule_set: &RuleSet, changes: &[&[Changed]], as_of: NaiveDate) -> Vec<bool> {
    let further: Vec<&Condition> = changes
        .iter()
        .flat_map(|change| change.iter())
        .map(|changed| &changed.when)
        .collect();
    let Ok(mut decider) = Decider::new(&[rule_set], &further, as_of) else {
        return vec![false; changes.len()];
    };
    let mut unseen = |change: &[Changed]| {
        let seen = seen_by(&mut decider, rule_set, change);
        !change.is_empty() && !decider.solver.possible(&[seen])
    };
    changes.iter().map(|change| unseen(change)).collect()
}

/// Where a patient sees a change.
fn seen_by(decider: &mut Decider<'_>, rule_set: &RuleSet, change: &[Changed]) -> Lit {
    let [before] = &decider.judgements;
    let (refers, goes) = (before.refers, before.goes);
    let mut rules: Table<_, Rule> = rule_set
        .judging
        .iter()
        .zip(&before.rules)
        .map(|(rule, state)| (rule.outcome, rule.urgency, *state))
        .collect();
    let mut differences = Vec::new();
    for changed in change {
        let state = decider.pair(&changed.when);
        let rule = &mut rules[changed.at];
        differences.extend([(rule.2.yes, state.yes), (rule.2.no, state.no)]);
        *rule = (changed.outcome, changed.urgency, state);
    }
    let (refers_now, goes_now) = verdict(&mut decider.solver, rules.rows());
    differences.extend(refers.into_iter().zip(refers_now));
    differences.push((goes, goes_now));
    let differences: Vec<Lit> = differences
        .into_iter()
        .map(|(one, other)| decider.solver.differ(one, other))
        .collect();
    decider.solver.any(differences)
}
