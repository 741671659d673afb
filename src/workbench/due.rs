//! What is to be reviewed and when, and what else waits for an owner: the work that a rule set asks for.

use chrono::NaiveDate;

use crate::rule_set::{Basis, Checked, Citation, LocalChange, Publication, Rule, RuleSet};
use crate::workbench::allowances::Allowance;
use crate::workbench::figures::RuleFigures;

/// One piece of work.
#[derive(Debug, Clone)]
pub struct Due<'a> {
    /// What is to be looked at.
    pub what: DueItem<'a>,
    /// The role that answers for it.
    pub owner: &'a str,
    /// The last day for it; `None` if nobody set one.
    pub by: Option<NaiveDate>,
}

/// What can be due.
#[derive(Debug, Clone)]
pub enum DueItem<'a> {
    /// The rule set as a whole.
    RuleSet,
    /// A rule.
    Rule(&'a Rule),
    /// A remark of the checks that the rule set lives with.
    Allowance(&'a Allowance),
    /// A change that the clinic's local policy makes.
    Local(&'a LocalChange),
    /// A publication that nobody has opened yet.
    Source {
        /// The publication.
        publication: &'a Publication,
        /// How many rules, limits and other entries cite it.
        cited: usize,
    },
    /// A local proposal, which governance must make its own or replace.
    Proposal {
        /// What rests on it: a rule's full id, `limits/x`, `anaesthetics/x`.
        of: String,
        /// The proposal.
        text: &'a str,
    },
    /// A rule that decisions mostly go against.
    SetAside(&'a RuleFigures),
}

impl<'a> Due<'a> {
    fn new(what: DueItem<'a>, owner: &'a str, by: Option<NaiveDate>) -> Self {
        Self { what, owner, by }
    }

    /// Whether its day has passed. Its last day itself has not.
    pub(crate) fn overdue(&self, on: NaiveDate) -> bool {
        self.by.is_some_and(|by| by < on)
    }
}

/// All that a rule set asks for: what has a day by its day and then as the files have it, what has none after it.
pub fn due<'a>(rule_set: &'a RuleSet, allowances: &'a [Allowance]) -> Vec<Due<'a>> {
    let whole = Due::new(DueItem::RuleSet, &rule_set.owner, Some(rule_set.review_by));
    let mut found = vec![whole];
    found.extend(rule_set.rules().map(|it| {
        let owner = rule_set.owner_of(it);
        Due::new(DueItem::Rule(it), owner, Some(it.review_by))
    }));
    let allowances = allowances.iter();
    found.extend(
        allowances.map(|it| Due::new(DueItem::Allowance(it), &it.allowed_by, Some(it.review_by))),
    );
    let local = rule_set.local.iter().flat_map(|it| &it.changes);
    found.extend(local.map(|it| Due::new(DueItem::Local(it), &it.agreed_by, Some(it.review_by))));
    let cited = citations(rule_set);
    for (at, publication) in rule_set
        .publications
        .entries()
        .filter(|(_, it)| it.checked == Checked::FromMemory)
    {
        let by: Vec<&CitedEntry<'_>> = cited
            .iter()
            .filter(|it| it.citation.publication() == Some(at))
            .collect();
        if by.is_empty() && publication.is_used {
            continue;
        }
        // One role answers for the opening if it answers for all that rests on the source.
        let owner = by
            .first()
            .map(|it| it.owner)
            .filter(|owner| by.iter().all(|it| it.owner == *owner));
        let what = DueItem::Source {
            publication,
            cited: by.len(),
        };
        found.push(Due::new(what, owner.unwrap_or(&rule_set.owner), None));
    }
    for it in &cited {
        if let Basis::LocalProposal(text) = &it.citation.basis {
            let of = it.of.clone();
            found.push(Due::new(DueItem::Proposal { of, text }, it.owner, None));
        }
    }
    found.sort_by_key(|it| (it.by.is_none(), it.by));
    found
}

/// The rules that a desk's decisions mostly go against, as far as the rule set still has them: each waits for its owner.
pub(crate) fn set_aside<'a>(rule_set: &'a RuleSet, figures: &'a [RuleFigures]) -> Vec<Due<'a>> {
    let owned = |it: &'a RuleFigures| {
        let owner = rule_set.owner_of(rule_set.rule(&it.rule)?);
        Some(Due::new(DueItem::SetAside(it), owner, None))
    };
    let figures = figures.iter().filter(|it| it.is_mostly_set_aside());
    figures.filter_map(owned).collect()
}

/// A citation and what rests on it.
#[derive(Debug, Clone)]
pub(crate) struct CitedEntry<'a> {
    /// A rule's full id, `limits/x`, `anaesthetics/x`.
    pub of: String,
    /// The role that answers for it.
    pub owner: &'a str,
    /// The citation.
    pub citation: &'a Citation,
}

/// Every citation of a rule set: of its rules, limits, anaesthetics, and smaller anaesthetic limits.
pub(crate) fn citations(rule_set: &RuleSet) -> Vec<CitedEntry<'_>> {
    let owner = rule_set.owner.as_str();
    let rules = rule_set
        .rules()
        .map(|it| (it.id.clone(), rule_set.owner_of(it), &it.citations));
    let limits = rule_set
        .limits
        .iter()
        .map(|it| (format!("limits/{}", it.id), owner, &it.citations));
    let agents = rule_set.agents.iter().flat_map(|agent| {
        let limits = agent.limits.iter();
        limits.map(move |it| (format!("anaesthetics/{}", agent.id), owner, &it.citations))
    });
    let reductions = rule_set
        .reductions
        .iter()
        .map(|it| (format!("anaesthetics/{}", it.id), owner, &it.citations));
    rules
        .chain(limits)
        .chain(agents)
        .chain(reductions)
        .flat_map(|(of, owner, list)| {
            list.iter().map(move |citation| CitedEntry {
                of: of.clone(),
                owner,
                citation,
            })
        })
        .collect()
}
