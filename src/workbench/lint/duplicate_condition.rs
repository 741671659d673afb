//! Two rules with the same condition, whatever the order and form in which it is written.

use crate::document::diagnostic::Code;
use crate::rule_set::{Condition, SpanLimit, Test, Threshold};
use crate::workbench::lint::{Remark, Subject};
use crate::workbench::mutants::steps::plain;

/// A remark on the second of two rules.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let (rule_set, written) = (subject.rule_set, subject.files);
    let forms: Vec<Condition> = rule_set.rules().map(|it| plain(it.when.clone())).collect();
    let mut found = Vec::new();
    for (at, (rule, form)) in rule_set.rules().zip(&forms).enumerate() {
        let Some((first, _)) = rule_set
            .rules()
            .zip(&forms)
            .take(at)
            .find(|(_, other)| same(form, other))
        else {
            continue;
        };
        let title = format!("`{}` has the same condition as `{}`", rule.id, first.id);
        let (code, label) = (Code::DuplicateCondition, "the same condition");
        let remark = subject.on_rule(code, rule, "when", title, label);
        found.push(remark.also(written.rule(&first.id), "when", "first written here"));
    }
    found
}

/// Whether two conditions in plain form are the same but for the order of lists and the names written.
pub(crate) fn same(a: &Condition, b: &Condition) -> bool {
    match (a, b) {
        (Condition::All(a), Condition::All(b)) | (Condition::Any(a), Condition::Any(b)) => {
            a.len() == b.len()
                && a.iter().all(|it| b.iter().any(|other| same(it, other)))
                && b.iter().all(|it| a.iter().any(|other| same(it, other)))
        }
        (Condition::Not(a), Condition::Not(b)) => same(a, b),
        (
            Condition::Taking {
                fact,
                medicines,
                at_least,
                ..
            },
            Condition::Taking {
                fact: other,
                medicines: others,
                at_least: number,
                ..
            },
        ) => {
            fact == other
                && at_least == number
                && medicines.within(others)
                && others.within(medicines)
        }
        (
            Condition::AllergicTo {
                fact,
                substances,
                reactions,
                ..
            },
            Condition::AllergicTo {
                fact: other,
                substances: others,
                reactions: counted,
                ..
            },
        ) => {
            fact == other
                && substances.within(others)
                && others.within(substances)
                && reactions == counted
        }
        (
            Condition::Fact { fact, test },
            Condition::Fact {
                fact: other,
                test: others,
            },
        ) => fact == other && same_test(test, others),
        (Condition::Answers(a), Condition::Answers(b)) => a == b,
        _ => false,
    }
}

/// Two limits of the same value are two limits: one of them may be changed.
fn same_test(a: &Test, b: &Test) -> bool {
    let number =
        |a: &Threshold, b: &Threshold| a.limit == b.limit && a.value.total_cmp(&b.value).is_eq();
    let span = |a: &SpanLimit, b: &SpanLimit| a == b;
    let options = |a: &[u16], b: &[u16]| a.len() == b.len() && a.iter().all(|it| b.contains(it));
    match (a, b) {
        (Test::OneOf(a), Test::OneOf(b))
        | (Test::NoneOf(a), Test::NoneOf(b))
        | (Test::Includes(a), Test::Includes(b)) => options(a, b),
        (Test::Compare(how, a), Test::Compare(other, b)) => how == other && number(a, b),
        (Test::Between(low, high), Test::Between(from, to)) => {
            number(low, from) && number(high, to)
        }
        (Test::OlderThan(a), Test::OlderThan(b)) | (Test::Within(a), Test::Within(b)) => span(a, b),
        _ => false,
    }
}
