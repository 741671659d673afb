//! What is declared and then used by nothing: limits, questions, derived facts, sources.
//!
//! What uses them is looked for in the texts: a limit under a key `limit`, a source under a key `source`, a fact as the
//! whole value of any key, and either in braces. So nothing in use is ever called unused. A class of medicines that no
//! rule names is not told: many classes exist only so that their medicines are recognised.

use std::collections::BTreeSet;

use super::{Remark, Subject};
use crate::diagnostic::Code;
use crate::load::Written;
use crate::model::Answer;

/// Every name that the texts use.
#[derive(Default)]
struct Used<'a> {
    limits: BTreeSet<&'a str>,
    facts: BTreeSet<&'a str>,
    sources: BTreeSet<&'a str>,
}

fn used(written: &Written) -> Used<'_> {
    let mut used = Used::default();
    for file in written.deciding() {
        file.walk(&mut |key, node| {
            let Some(text) = node.text() else { return };
            match key {
                "limit" => used.limits.insert(text),
                "source" | "superseded_by" => used.sources.insert(text),
                _ => used.facts.insert(without_day(text)),
            };
            for name in text.split('{').skip(1).filter_map(|it| it.split_once('}')).map(|it| it.0) {
                match name.strip_prefix("limit.") {
                    Some(limit) => used.limits.insert(limit),
                    None => used.facts.insert(without_day(name)),
                };
            }
        });
    }
    used
}

/// The question behind the day or the age of a dated answer.
fn without_day(fact: &str) -> &str {
    fact.strip_suffix(".taken_on").or_else(|| fact.strip_suffix(".age")).filter(|it| it.contains('.')).unwrap_or(fact)
}

/// Limits that no condition, formula or sentence names.
pub fn limits(subject: &Subject<'_>) -> Vec<Remark> {
    let used = used(subject.written);
    let unused = subject.rule_set.limits.iter().filter(|it| !used.limits.contains(it.id.as_str()));
    unused
        .map(|it| {
            let title = format!("nothing uses the limit `{}`", it.id);
            Remark::on(Code::LimitUnused, &it.id, subject.written.limit(&it.id), "id", title, "used nowhere")
        })
        .collect()
}

/// Questions whose answer nothing looks at. Free text is for people, and the lists have their own conditions.
pub fn questions(subject: &Subject<'_>) -> Vec<Remark> {
    let used = used(subject.written);
    let catalogue = &subject.rule_set.catalogue;
    let special = |it: &Answer| matches!(it, Answer::Text | Answer::Medicines | Answer::Allergies | Answer::Anaesthetic);
    let questions = catalogue.questions.iter().filter(|it| !special(&it.answer) && catalogue.procedure_on != Some(it.slot));
    questions
        .filter(|it| !used.facts.contains(it.id.as_str()))
        .map(|it| {
            let title = format!("nothing looks at the answer to `{}`", it.id);
            Remark::on(Code::QuestionUnused, &it.id, subject.written.question(&it.id), "id", title, "used nowhere")
        })
        .collect()
}

/// Derived facts that nothing looks at.
pub fn derived(subject: &Subject<'_>) -> Vec<Remark> {
    let used = used(subject.written);
    let derived = subject.rule_set.catalogue.derived.iter().filter(|it| !used.facts.contains(it.id.as_str()));
    derived
        .map(|it| {
            let title = format!("nothing looks at `{}`", it.id);
            Remark::on(Code::DerivedUnused, &it.id, subject.written.derived(&it.id), "id", title, "used nowhere")
        })
        .collect()
}

/// Sources that nothing cites, nor names as what replaced another.
pub fn sources(subject: &Subject<'_>) -> Vec<Remark> {
    let used = used(subject.written);
    let unused = subject.rule_set.publications.iter().filter(|it| !used.sources.contains(it.id.as_str()));
    unused
        .map(|it| {
            let title = format!("nothing cites `{}`", it.id);
            Remark::on(Code::SourceUncited, &it.id, subject.written.publication(&it.id), "id", title, "cited nowhere")
        })
        .collect()
}
