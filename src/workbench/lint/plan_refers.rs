//! Rules that refer although another plan alone would quiet them. Decided over the whole space.

use crate::document::diagnostic::Code;
use crate::exact::{Decider, DualRail};
use crate::outcome::Outcome;
use crate::questionnaire::facts::Value;
use crate::questionnaire::facts::derive::behind;
use crate::questionnaire::facts::truth_of::compares;
use crate::rule_set::{Answer, Condition, Question, Rule, RuleSet, Test};
use crate::truth::FactSlot;
use crate::workbench::lint::{Remark, Subject};

/// A remark on each rule that refers although some answer to a question about the plan quiets it for everybody in whom it
/// fires, all else as it is.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let rule_set = subject.rule_set;
    let mut found = Vec::new();
    for (at, rule) in rule_set
        .rule_entries()
        .filter(|(_, it)| it.outcome == Outcome::Refer)
    {
        let decisions = rule_set
            .catalogue
            .questions
            .iter()
            .filter(|it| it.decision && rule.when.facts().contains(&it.slot));
        let ways = decisions.flat_map(|question| {
            answers(rule, question)
                .into_iter()
                .map(move |it| (question, it))
        });
        for (question, (value, words)) in ways {
            let Some(mut decider) = subject.decider() else {
                return found;
            };
            let [judged] = &decider.judgements;
            let (fires, in_order) = (judged.rules[at].yes, judged.ruled_out.no);
            if !decider.solver.possible(&[fires, in_order]) {
                continue;
            }
            let then = with(&mut decider, rule_set, &rule.when, question.slot, &value);
            // The space holds too much rather than too little, so that "never" is certain.
            if decider.solver.possible(&[fires, in_order, !then.no]) {
                continue;
            }
            let title = format!(
                "`{}` refers, although `{}: {words}` alone would quiet it",
                rule.id, question.id
            );
            let label = "another plan lifts it";
            let remark = subject.on_rule(Code::PlanRefers, rule, "outcome", title, label);
            found.push(remark.help("let it defer until the plan is changed, or allow it with the reason why the danger is in the patient"));
            break;
        }
    }
    found
}

/// Answers to a question, one for each way in which a rule may look at it, in the words of a questionnaire.
fn answers(rule: &Rule, question: &Question) -> Vec<(Value, String)> {
    let at = |at: usize| u16::try_from(at).unwrap_or(u16::MAX);
    match &question.answer {
        Answer::YesNo => vec![
            (Value::Choice(0), "no".into()),
            (Value::Choice(1), "yes".into()),
        ],
        Answer::OneOf(options) => options
            .iter()
            .enumerate()
            .map(|(i, it)| (Value::Choice(at(i)), it.id.clone()))
            .collect(),
        Answer::SeveralOf(options) => {
            let alone = options
                .iter()
                .take(63)
                .enumerate()
                .map(|(i, it)| (Value::Choices(1 << i), format!("[{}]", it.id)));
            std::iter::once((Value::Choices(0), "[]".into()))
                .chain(alone)
                .collect()
        }
        // A plan without any of the agents that the rule names.
        Answer::Anaesthetic => vec![(Value::Choices(0), "another agent".into())],
        Answer::Number { .. } | Answer::Quantity { .. } => {
            let mut found = Vec::new();
            let mut add = |value: f64, words: String| found.push((Value::Number(value), words));
            rule.when.visit(&mut |condition| match condition {
                Condition::Fact {
                    fact,
                    test: Test::Compare(_, condition),
                } if *fact == question.slot => {
                    add(
                        condition.value - 1.0,
                        format!("below {}", condition.written),
                    );
                    add(condition.value, condition.written.clone());
                    add(
                        condition.value + 1.0,
                        format!("above {}", condition.written),
                    );
                }
                Condition::Fact {
                    fact,
                    test: Test::Between(low, high),
                } if *fact == question.slot => {
                    add(low.value - 1.0, format!("below {}", low.written));
                    add(high.value + 1.0, format!("above {}", high.written));
                }
                _ => {}
            });
            found
        }
        _ => Vec::new(),
    }
}

/// Where a condition is yes and no once this question has this answer. What else hangs on the answer is left open.
fn with(
    decider: &mut Decider<'_>,
    rule_set: &RuleSet,
    condition: &Condition,
    slot: FactSlot,
    value: &Value,
) -> DualRail {
    let mut reader = decider.reader();
    reader.pair_of(condition, &|reader, part| match part {
        Condition::Fact { fact, test } if *fact == slot => {
            reader.solver.constant(holds(test, value))
        }
        Condition::Fact { fact, .. }
        | Condition::Taking { fact, .. }
        | Condition::AllergicTo { fact, .. }
            if !hangs_on(rule_set, *fact, slot) =>
        {
            reader.pair(part)
        }
        _ => reader.solver.constant(None),
    })
}

fn holds(test: &Test, value: &Value) -> Option<bool> {
    match (test, value) {
        (Test::OneOf(options), Value::Choice(at)) => Some(options.contains(at)),
        (Test::NoneOf(options), Value::Choice(at)) => Some(!options.contains(at)),
        (Test::Includes(options), Value::Choices(bits)) => {
            Some(options.iter().any(|at| bits >> at & 1 == 1))
        }
        (Test::Compare(how, limit), Value::Number(number)) => {
            Some(compares(*how, *number, limit.value))
        }
        (Test::Between(low, high), Value::Number(number)) => {
            Some((low.value..=high.value).contains(number))
        }
        _ => None,
    }
}

/// Whether a fact may be otherwise once another one is: it is worked out from it, or asked only with some answers to it.
fn hangs_on(rule_set: &RuleSet, fact: FactSlot, slot: FactSlot) -> bool {
    let mut open: Vec<FactSlot> = behind(rule_set, fact).into_iter().collect();
    let mut seen: Vec<FactSlot> = Vec::new();
    while let Some(it) = open.pop() {
        if it == slot {
            return true;
        }
        if !seen.contains(&it) {
            seen.push(it);
            let question = rule_set.catalogue.question_of(it);
            let gate = question.and_then(|it| it.ask_when.as_ref());
            let gates = gate.into_iter().flat_map(Condition::facts);
            open.extend(gates.flat_map(|it| behind(rule_set, it)));
        }
    }
    false
}
