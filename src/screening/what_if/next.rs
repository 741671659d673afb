//! What is to be done next, worked out from the findings, the answers that are missing and the other plans.
//!
//! What could still turn out worse is asked before anything else is waited for or changed, so that nobody waits on a
//! question that would refer them. A referral is a plan to change only where another plan alone takes it away.

use crate::outcome::{Outcome, OutcomeSpan, Standing, Urgency};
use crate::questionnaire::facts::Facts;
use crate::rule_set::catalogue::Who;
use crate::rule_set::{Condition, Conflict, RuleSet};
use crate::screening::result::{Alternative, Asked, Finding, Next, NextKind, ToAsk, Unrecognised};

/// Whom to ask, in the order in which people are asked.
const WHOM: [Who; 5] = [
    Who::Patient,
    Who::Referrer,
    Who::Nurse,
    Who::Clinician,
    Who::Record,
];

/// What a screening says already when it is asked what is to be done next.
#[derive(Debug)]
pub(crate) struct Said<'a> {
    /// The verdict, and the best and the worst case around it.
    pub span: OutcomeSpan,
    /// The rules that fire.
    pub findings: &'a [Finding],
    /// The missing answers.
    pub to_ask: &'a [ToAsk],
    /// The names that nobody recognised.
    pub unrecognised: &'a [Unrecognised],
}

/// What is to be done next for a screening, knowing every other plan that gives a better verdict.
///
/// # Missing data
/// A missing answer that could make the verdict worse comes first; one that could only keep it as it is is told beside what
/// is waited for. Where the clinic does not say what it offers, the plan says so.
pub(crate) fn next(
    rule_set: &RuleSet,
    facts: &Facts,
    found: &Said<'_>,
    plans: &[Alternative],
) -> Next {
    let now = found.span.verdict();
    let mut next = Next {
        kind: NextKind::Book,
        plan: Vec::new(),
        is_offered: !facts.offers().is_empty(),
        read: Vec::new(),
        clear_up: 0,
        ask: Vec::new(),
        wait_for: Vec::new(),
        refer_to: Vec::new(),
        urgency: now.urgency,
    };
    if now.outcome == Outcome::Go {
        return next;
    }
    let plan = usable(now, plans);
    if now.outcome == Outcome::Refer && plan.is_none() {
        next.kind = NextKind::Refer;
        next.refer_to = recipients(now, found.findings);
        next.ask = by_whom(found.to_ask.iter().filter(|it| it.worst() > now));
        return next;
    }
    next.read = each_once(found.unrecognised.iter().map(|it| it.text.clone()));
    next.clear_up = facts.conflicts(Conflict::RuledOut).len();
    let matter = |it: &&ToAsk| it.could_lead_to > Outcome::Go && !it.for_a_name;
    next.ask = by_whom(found.to_ask.iter().filter(matter));
    next.plan = plan.map_or_else(Vec::new, |it| it.changes.clone());
    let clears_up = |finding: &&Finding| {
        rule_set.judging.iter().any(|rule| {
            rule.id == finding.rule && rule.when == Condition::Answers(Conflict::RuledOut)
        })
    };
    if plan.is_none() {
        let against = found
            .findings
            .iter()
            .filter(|it| it.outcome != Outcome::Go && !clears_up(it));
        next.wait_for = each_once(against.filter_map(|it| it.cleared_by.clone()));
    }
    let could_be_worse =
        found.span.worst_case.outcome > now.outcome || !next.read.is_empty() || next.clear_up > 0;
    next.kind = match plan {
        _ if could_be_worse || found.span.best_case.outcome == Outcome::Go => NextKind::Ask,
        Some(plan) => {
            // The other plan may ask for more, or for less.
            let catalogue = &rule_set.catalogue;
            let from = |fact: &String| Some(catalogue.question_of(catalogue.slot(fact)?)?.from);
            next.ask = counted(plan.prospect.waits_for.iter().filter_map(from));
            NextKind::ChangePlan
        }
        None if next.wait_for.is_empty() => NextKind::Ask,
        None => NextKind::Wait,
    };
    next
}

/// The first plan, as plans are sorted, that goes; else the first after which only answers are missing. Of a referral that
/// presses nobody talks in terms of plans.
fn usable(now: Standing, plans: &[Alternative]) -> Option<&Alternative> {
    let presses = now.urgency.is_some_and(|it| it > Urgency::Routine);
    let of = |wanted: fn(&Alternative) -> bool| plans.iter().find(|it| wanted(it));
    of(|it| it.prospect.verdict() == Standing::GO)
        .or_else(|| of(|it| it.prospect.span.best_case.outcome == Outcome::Go))
        .filter(|_| !presses)
}

/// To whom the most pressing of the referrals go.
fn recipients(now: Standing, findings: &[Finding]) -> Vec<String> {
    let pressing = findings.iter().filter(|it| it.standing() == now);
    each_once(pressing.filter_map(|it| it.refer_to.clone()))
}

/// How many answers each can give; those that may prove needless only where there are no others.
fn by_whom<'a>(asks: impl Iterator<Item = &'a ToAsk>) -> Vec<Asked> {
    let (later, first): (Vec<&ToAsk>, Vec<&ToAsk>) = asks.partition(|it| it.depends);
    let asks = if first.is_empty() { later } else { first };
    counted(asks.into_iter().map(|it| it.from))
}

fn counted(from: impl Iterator<Item = Who>) -> Vec<Asked> {
    let from: Vec<Who> = from.collect();
    let each = WHOM.into_iter().map(|whom| Asked {
        from: whom,
        n: from.iter().filter(|it| **it == whom).count(),
    });
    each.filter(|it| it.n > 0).collect()
}

fn each_once(texts: impl Iterator<Item = String>) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for it in texts {
        if !found.contains(&it) {
            found.push(it);
        }
    }
    found
}
