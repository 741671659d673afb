//! What is still to be asked about a patient now, what can come of it, and when asking may stop.
//!
//! A question is asked while an undetermined rule waits for it, or for a detail that stands behind it, and it applies. What
//! is left out can change no rule, so neither the verdict nor what is found, at most add a further ground to a finding that
//! stands already: Kleene's tables say of an open condition exactly which facts keep it open. The one answer outside of this
//! is one that nobody is asked for: to a question that does not apply, where it would contradict the answer that says so.
//!
//! INVARIANT: a detail is asked once its gate is open, and never before: given sooner, a harmless answer would wait, and any
//! other would count as contradicting a gate that shuts. Where a gate is not known, its details wait with it.

use std::collections::{BTreeMap, BTreeSet};

use crate::outcome::{OutcomeSpan, Standing, State};
use crate::questionnaire::facts::{Fact, Facts, Why, derive, truth_of};
use crate::rule_set::{Condition, FactKind, Idx, Question, Rule, RuleSet, Section};
use crate::screening::asks::Open;
use crate::screening::compile::Compiled;
use crate::screening::evaluate;
use crate::screening::evaluate::{States, of_state};
use crate::screening::result::{ToAsk, WhyAsked};
use crate::truth::{FactSlot, Truth};

/// What is still to be asked about one patient.
#[derive(Debug, Clone, PartialEq)]
pub struct Interview {
    /// The questions to ask now, in the order of sections; those asked already whose answer settles nothing among them.
    pub asks: Vec<Ask>,
    /// The verdict, and the best and the worst case around it.
    pub span: OutcomeSpan,
    /// How many answers at most are still to give, those behind gates that may open among them. What was asked already and
    /// is not known does not count.
    pub at_most: usize,
    /// With how few further answers, of the luckiest kind, the verdict would be settled; what was asked already and is not
    /// known counts like any other. Zero once it is settled.
    pub fewest: usize,
}

/// One question to ask now.
#[derive(Debug, Clone, PartialEq)]
pub struct Ask {
    /// The section it stands in.
    pub section: Idx<Section>,
    /// The question.
    pub question: Idx<Question>,
    /// Why its answer is missing, or what of the one that was given settles nothing.
    pub why: WhyAsked,
    /// Whether it was asked already: its answer is not known, was declined, or settles nothing.
    pub is_answered: bool,
    /// The full ids of the rules that wait for it, or for details behind it, worst first.
    pub rules: Vec<String>,
    /// The worst that it could still lead to.
    pub could_lead_to: Standing,
    /// Whether it is asked only because of names that nobody recognised: were they harmless, nothing would wait for it.
    pub for_a_name: bool,
}

impl Interview {
    /// What is to be asked while the rules are in these states.
    pub fn of(rule_set: &RuleSet, compiled: &Compiled, facts: &Facts, states: &States) -> Self {
        let span = evaluate::span(rule_set, states);
        let to_ask = Open::of(rule_set, compiled, facts, states).to_ask;
        let rules = of_state(rule_set, states, State::Undetermined);
        let mut waited = Waited {
            rule_set,
            facts,
            found: BTreeMap::new(),
            may_come: BTreeSet::new(),
        };
        for ask in &to_ask {
            if let Some(slot) = rule_set.catalogue.slot(&ask.fact) {
                waited.add(slot, ask);
            }
        }
        rules.iter().for_each(|rule| waited.inputs(&rule.when));
        let asks: Vec<(Ask, bool)> = waited.found.into_values().collect();
        let open = asks.iter().filter(|(ask, _)| !ask.is_answered);
        let open = open.map(|(ask, _)| ask.question);
        let at_most: BTreeSet<Idx<Question>> = open.chain(waited.may_come).collect();
        Self {
            asks: asks
                .into_iter()
                .filter_map(|(ask, now)| now.then_some(ask))
                .collect(),
            span,
            at_most: at_most.len(),
            fewest: fewest(rule_set, facts, &rules, span),
        }
    }

    /// Whether no answer can change the verdict any more.
    pub fn is_settled(&self) -> bool {
        self.span.best_case == self.span.worst_case
    }

    /// The questions that nobody was asked yet, in order.
    pub fn open(&self) -> impl Iterator<Item = &Ask> {
        self.asks.iter().filter(|it| !it.is_answered)
    }
}

/// Questions that rules wait for, and the gates before them.
struct Waited<'a> {
    rule_set: &'a RuleSet,
    facts: &'a Facts,
    /// Each with whether it is asked now; else it waits for its gate.
    found: BTreeMap<Idx<Question>, (Ask, bool)>,
    /// Questions that nobody was asked yet and that no rule waits for as long as others are not answered.
    may_come: BTreeSet<Idx<Question>>,
}

impl Waited<'_> {
    /// Notes that rules wait for a fact, and therefore for the gates before it.
    fn add(&mut self, slot: FactSlot, ask: &ToAsk) {
        let catalogue = &self.rule_set.catalogue;
        let Some(at) = question_at(self.rule_set, slot) else {
            return;
        };
        let question = &catalogue.questions[at];
        let applies = truth_of::applies(question, catalogue, self.facts);
        let is_open = matches!(applies, Truth::Unknown(_));
        let is_its_own = catalogue.id(slot) == ask.fact;
        let why = if is_its_own {
            ask.why.clone()
        } else {
            WhyAsked::Missing(why_missing(self.facts, question.slot))
        };
        let entry = self.found.entry(at);
        let (known, _) = entry.or_insert_with(|| {
            let ask = Ask {
                section: question.section,
                question: at,
                is_answered: why != WhyAsked::Missing(Why::NotAsked)
                    || is_set_aside(self.facts, at),
                why,
                rules: Vec::new(),
                could_lead_to: ask.worst(),
                for_a_name: ask.for_a_name,
            };
            (ask, !is_open)
        });
        let before = known.rules.len();
        for rule in &ask.rules {
            if !known.rules.contains(rule) {
                known.rules.push(rule.clone());
            }
        }
        known.could_lead_to = known.could_lead_to.max(ask.worst());
        known.for_a_name &= ask.for_a_name;
        // Whoever stands before it knows these rules already, if it told nothing new.
        if known.rules.len() == before {
            return;
        }
        if let Truth::Unknown(gates) = applies {
            for gate in gates.into_iter().filter(|it| *it != slot) {
                self.add(gate, ask);
            }
        }
    }

    /// Notes everything that an open condition may come to wait for: a formula says what it lacks first, and may lack more
    /// once it is told.
    fn inputs(&mut self, condition: &Condition) {
        if !matches!(truth_of::truth(condition, self.facts), Truth::Unknown(_)) {
            return;
        }
        match condition {
            Condition::All(parts) | Condition::Any(parts) => {
                parts.iter().for_each(|part| self.inputs(part));
            }
            Condition::Not(part) => self.inputs(part),
            Condition::Fact { fact, .. } => {
                let derived = self.rule_set.catalogue.derived_of(*fact);
                let roots = derived.map(|it| derive::roots(self.rule_set, it));
                roots.into_iter().flatten().for_each(|it| self.may_come(it));
            }
            _ => {}
        }
    }

    /// Notes the question of a fact and the gates before it, as far as nobody was asked.
    fn may_come(&mut self, slot: FactSlot) {
        let catalogue = &self.rule_set.catalogue;
        let Some(at) = question_at(self.rule_set, slot) else {
            return;
        };
        let question = &catalogue.questions[at];
        let applies = truth_of::applies(question, catalogue, self.facts);
        let is_asked = self.facts.known(question.slot).is_some()
            || why_missing(self.facts, question.slot) != Why::NotAsked
            || is_set_aside(self.facts, at);
        if is_asked || applies == Truth::No || !self.may_come.insert(at) {
            return;
        }
        if let Truth::Unknown(gates) = applies {
            gates.into_iter().for_each(|gate| self.may_come(gate));
        }
    }
}

fn is_set_aside(facts: &Facts, question: Idx<Question>) -> bool {
    facts.set_aside().iter().any(|it| {
        it.question == question && !matches!(&it.fact, Fact::Missing(it) if it.why == Why::NotAsked)
    })
}

fn question_at(rule_set: &RuleSet, slot: FactSlot) -> Option<Idx<Question>> {
    match rule_set.catalogue.fact(slot).kind {
        FactKind::Question(at) | FactKind::TakenOn(at) => Some(at),
        FactKind::Derived(_) => None,
    }
}

fn why_missing(facts: &Facts, slot: FactSlot) -> Why {
    match facts.get(slot) {
        Fact::Missing(missing) => missing.why,
        Fact::Known(_) => Why::NotComputable,
    }
}

/// With how few answers the verdict could be settled: by a rule that fires while nothing worse is left open.
fn fewest(rule_set: &RuleSet, facts: &Facts, open: &[&Rule], span: OutcomeSpan) -> usize {
    let ways = Ways { rule_set, facts };
    let mut ends: Vec<Standing> = open
        .iter()
        .map(|it| it.standing())
        .filter(|it| *it > span.best_case)
        .chain([span.best_case])
        .collect();
    ends.dedup();
    let settled_at = |end: &Standing| {
        let mut needed = BTreeSet::new();
        if *end > span.best_case {
            let firing = open
                .iter()
                .filter(|it| it.standing() == *end)
                .filter_map(|it| ways.smallest(&it.when, true));
            needed = firing.min_by_key(BTreeSet::len)?;
        }
        for rule in open.iter().filter(|it| it.standing() > *end) {
            needed.extend(ways.smallest(&rule.when, false)?);
        }
        Some(needed.len())
    };
    // At the best case there is always a way: whatever is open can turn out not to be so.
    ends.iter().filter_map(settled_at).min().unwrap_or(0)
}

/// Which answers would decide a condition.
struct Ways<'a> {
    rule_set: &'a RuleSet,
    facts: &'a Facts,
}

impl Ways<'_> {
    /// A smallest set of questions whose answers could make a condition hold, or not hold; `None` if it is decided otherwise.
    fn smallest(&self, condition: &Condition, holds: bool) -> Option<BTreeSet<Idx<Question>>> {
        let open = match (truth_of::truth(condition, self.facts), holds) {
            (Truth::Yes, true) | (Truth::No, false) => return Some(BTreeSet::new()),
            (Truth::Yes | Truth::No, _) => return None,
            (Truth::Unknown(open), _) => open,
        };
        match (condition, holds) {
            (Condition::All(parts), true) | (Condition::Any(parts), false) => {
                let each = parts.iter().map(|part| self.smallest(part, holds));
                let each: Option<Vec<BTreeSet<Idx<Question>>>> = each.collect();
                Some(each?.into_iter().flatten().collect())
            }
            (Condition::All(parts), false) | (Condition::Any(parts), true) => {
                let each = parts.iter().filter_map(|part| self.smallest(part, holds));
                each.min_by_key(BTreeSet::len)
            }
            (Condition::Not(part), _) => self.smallest(part, !holds),
            _ => {
                let mut needed = BTreeSet::new();
                for slot in open {
                    self.with_gates(slot, &mut needed);
                }
                Some(needed)
            }
        }
    }

    /// Adds the question of a fact, and the gates that are not known to be open.
    fn with_gates(&self, slot: FactSlot, needed: &mut BTreeSet<Idx<Question>>) {
        let catalogue = &self.rule_set.catalogue;
        let Some(at) = question_at(self.rule_set, slot).filter(|at| needed.insert(*at)) else {
            return;
        };
        if let Truth::Unknown(gates) =
            truth_of::applies(&catalogue.questions[at], catalogue, self.facts)
        {
            for gate in gates {
                self.with_gates(gate, needed);
            }
        }
    }
}
