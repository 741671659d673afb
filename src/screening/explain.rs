//! Why: findings with their reason filled in, the facts that decided them, and what the others wait for.

use std::collections::BTreeSet;
use std::iter;

use crate::questionnaire::facts;
use crate::questionnaire::facts::answers::{Stranger, strangers};
use crate::questionnaire::facts::derive::slots;
use crate::questionnaire::facts::truth_of;
use crate::questionnaire::facts::truth_of::Ground;
use crate::questionnaire::facts::{Fact, Facts, Note, Place, Value};
use crate::rule_set::{
    Basis, Checked, Citation, Condition, Conflict, FactKind, Idx, Piece, Question, Rule, RuleSet,
    Text,
};
use crate::screening::result::{
    Because, Cited, Finding, Firing, NoteShown, SetAside, Unrecognised,
};
use crate::truth::{FactSlot, Truth};

/// The answers that keep a condition open; empty if it is decided.
///
/// A missing answer is named once: where a dated answer is missing altogether, its date is not
/// named beside it.
pub(crate) fn waits_for(condition: &Condition, facts: &Facts) -> BTreeSet<FactSlot> {
    match truth_of::truth(condition, facts) {
        Truth::Unknown(open) => open,
        Truth::Yes | Truth::No => BTreeSet::new(),
    }
}

/// A rule that fires, told to a person.
pub(crate) fn finding(rule_set: &RuleSet, facts: &Facts, rule: &Rule) -> Finding {
    let deciders = truth_of::deciding(&rule.when, facts);
    let told = |text: &Text| sentence(rule_set, facts, rule, text);
    Finding {
        rule: rule.id.clone(),
        concern: rule.concern_id().to_owned(),
        title: rule.title.clone(),
        kind: rule.kind,
        outcome: rule.outcome,
        urgency: rule.urgency,
        reason: told(&rule.reason),
        action: told(&rule.action),
        refer_to: rule.refer_to.as_ref().map(told),
        cleared_by: rule.cleared_by.as_ref().map(told),
        because: because(rule_set, facts, &deciders),
        citations: rule
            .citations
            .iter()
            .map(|it| cited(rule_set, it))
            .collect(),
        local_policy: rule_set.rests_on_local(rule) || keeps_to_less(rule_set, facts, rule),
    }
}

/// Whether a rule fires for a choice of the plan that local policy has a say in.
fn keeps_to_less(rule_set: &RuleSet, facts: &Facts, rule: &Rule) -> bool {
    let Some(local) = &rule_set.local else {
        return false;
    };
    let mut conflicts = facts.conflicts(Conflict::NotOffered).iter();
    let not_offered = |it: &Condition| *it == Condition::Answers(Conflict::NotOffered);
    rule.when.has(not_offered) && conflicts.any(|it| local.offers.contains_key(&it.answer.slot))
}

/// A rule that would fire, in short.
pub(crate) fn firing(rule_set: &RuleSet, facts: &Facts, rule: &Rule) -> Firing {
    Firing {
        rule: rule.id.clone(),
        title: rule.title.clone(),
        outcome: rule.outcome,
        urgency: rule.urgency,
        action: sentence(rule_set, facts, rule, &rule.action),
    }
}

/// A citation in full.
pub(crate) fn cited(rule_set: &RuleSet, citation: &Citation) -> Cited {
    match &citation.basis {
        Basis::Published(at) => {
            let source = &rule_set.publications[*at];
            Cited::Published {
                source: source.id.clone(),
                title: source.title.clone(),
                by: source.by.clone(),
                year: source.year,
                at: citation.at.clone(),
                read: source.checked == Checked::Read,
            }
        }
        Basis::CommonPractice(text) => Cited::CommonPractice(text.clone()),
        Basis::LocalProposal(text) => Cited::LocalProposal(text.clone()),
    }
}

/// A note with its place.
pub(crate) fn note(note: &Note) -> NoteShown {
    NoteShown {
        section: note.section.clone(),
        text: note.text.clone(),
        path: note.place.source.name().to_owned(),
        line: note.place.position().line,
    }
}

/// The names that nobody recognised, each with its question and place. A list of names is always somebody's answer.
pub(crate) fn unrecognised(rule_set: &RuleSet, facts: &Facts) -> Vec<Unrecognised> {
    let told = |name: &Stranger<'_>| {
        let question = rule_set.catalogue.question_of(name.slot)?;
        Some(Unrecognised {
            fact: question.id.clone(),
            ask: question.ask.clone(),
            from: question.from,
            text: name.text.to_owned(),
            nearest: name.nearest.map(str::to_owned),
            path: name.place.source.name().to_owned(),
            line: name.place.position().line,
        })
    };
    strangers(facts).iter().filter_map(told).collect()
}

/// The patient's own answers that count for nothing, each with what says that its question does not apply.
pub(crate) fn set_aside(rule_set: &RuleSet, facts: &Facts) -> Vec<SetAside> {
    let mut aside: Vec<&facts::Displaced> = facts
        .set_aside()
        .iter()
        .filter(|it| it.is_settled)
        .collect();
    aside.sort_by_key(|it| it.question);
    let told = aside.into_iter().filter_map(|aside| {
        let question = &rule_set.catalogue.questions[aside.question];
        let known = iter::once(&aside.fact)
            .chain(&aside.date)
            .find_map(|fact| match fact {
                Fact::Known(known) => Some(known),
                Fact::Missing(_) => None,
            });
        let known = known.filter(|_| !facts.is_standing(question.slot))?;
        let since = truth_of::ruling_out(question, &rule_set.catalogue, facts);
        let ask = question.ask.clone();
        Some(SetAside {
            answer: shown_at(
                &question.id,
                ask.clone(),
                &known.shown,
                known.place.as_ref(),
            ),
            ask,
            because: because(rule_set, facts, &since),
        })
    });
    told.collect()
}

/// The deciding facts; a derived one is followed by what it was computed from, and what is so because its question does
/// not apply by what says that.
fn because(rule_set: &RuleSet, facts: &Facts, deciders: &[Ground]) -> Vec<Because> {
    let mut found: Vec<Because> = Vec::new();
    let mut add = |because: Because| {
        if !found.contains(&because) {
            found.push(because);
        }
    };
    for decider in deciders {
        let mut open = vec![(decider.slot, decider.shown.clone(), decider.place.clone())];
        while let Some((slot, value, place)) = open.pop() {
            let from = match rule_set.catalogue.fact(slot).kind {
                FactKind::Derived(at) => slots(&rule_set.catalogue.derived[at]),
                FactKind::Question(at) if place.is_none() => follows_from(rule_set, facts, at),
                _ => Vec::new(),
            };
            let (id, ask) = (
                rule_set.catalogue.id(slot),
                rule_set.catalogue.wording(slot),
            );
            let ids = from.iter().map(|it| rule_set.catalogue.id(*it).to_owned());
            add(Because {
                from: ids.collect(),
                ..shown_at(id, ask, &value, place.as_ref())
            });
            for slot in from.into_iter().rev() {
                if let Some(known) = facts.known(slot) {
                    open.push((slot, known.shown.clone(), known.place.clone()));
                }
            }
        }
    }
    found
}

/// A fact with its value, where it stands.
fn shown_at(fact: &str, ask: String, value: &str, place: Option<&Place>) -> Because {
    let position = place.map(Place::position);
    Because {
        fact: fact.to_owned(),
        ask,
        value: value.to_owned(),
        path: place.map(|it| it.source.name().to_owned()),
        line: position.map(|it| it.line),
        column: position.map(|it| it.column),
        from: Vec::new(),
    }
}

/// What says that a question does not apply, each fact once.
fn follows_from(rule_set: &RuleSet, facts: &Facts, question: Idx<Question>) -> Vec<FactSlot> {
    let deciders = truth_of::ruling_out(
        &rule_set.catalogue.questions[question],
        &rule_set.catalogue,
        facts,
    );
    let mut found: Vec<FactSlot> = deciders.iter().map(|it| it.slot).collect();
    found.dedup();
    found
}

/// A sentence of a rule with its placeholders filled in. A fact that is not known reads "not known".
pub fn sentence(rule_set: &RuleSet, facts: &Facts, rule: &Rule, text: &Text) -> String {
    let pieces = text.pieces.iter();
    pieces
        .map(|piece| filled(rule_set, facts, Some(&rule.when), piece))
        .collect()
}

/// A piece of a sentence filled in; of medicines and allergies, what the condition it stands beside matched.
pub fn filled(
    rule_set: &RuleSet,
    facts: &Facts,
    beside: Option<&Condition>,
    piece: &Piece,
) -> String {
    match piece {
        Piece::Words(words) => words.clone(),
        Piece::Fact(slot) => facts
            .known(*slot)
            .map_or_else(|| "not known".to_owned(), |it| it.shown.clone()),
        Piece::Age(slot) => age(facts, *slot),
        Piece::Limit(at) => rule_set.limits[*at].written.clone(),
        Piece::Medicines => matched(beside, |condition| match condition {
            Condition::Taking {
                fact, medicines, ..
            } => truth_of::matching_medicines(facts, *fact, medicines)
                .iter()
                .map(|it| it.text.clone())
                .collect(),
            _ => Vec::new(),
        }),
        Piece::Conflict(conflict) => conflicts(rule_set, facts, *conflict),
        Piece::Allergies => matched(beside, |condition| match condition {
            Condition::AllergicTo {
                fact,
                substances,
                reactions,
                ..
            } => truth_of::matching_allergies(facts, *fact, substances, reactions.as_ref())
                .iter()
                .map(|it| it.shown())
                .collect(),
            _ => Vec::new(),
        }),
    }
}

/// "What was the latest INR? (4.6); ...": the answers at odds with others, each after its question.
fn conflicts(rule_set: &RuleSet, facts: &Facts, conflict: Conflict) -> String {
    let told = facts.conflicts(conflict).iter().map(|found| {
        let ask = rule_set
            .catalogue
            .question_of(found.answer.slot)
            .map_or("", |it| &it.ask);
        format!("{ask} ({})", found.answer.shown)
    });
    told.collect::<Vec<String>>().join("; ")
}

/// What a condition and its parts matched, each once, in their order. What stands under a
/// `not` is left out: it explains nothing that is there.
fn matched(
    condition: Option<&Condition>,
    mut found_by: impl FnMut(&Condition) -> Vec<String>,
) -> String {
    let mut names: Vec<String> = Vec::new();
    if let Some(condition) = condition {
        collect(condition, &mut found_by, &mut names);
    }
    match names.split_last() {
        None => "none".to_owned(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
    }
}

fn collect(
    condition: &Condition,
    found_by: &mut impl FnMut(&Condition) -> Vec<String>,
    names: &mut Vec<String>,
) {
    match condition {
        Condition::All(parts) | Condition::Any(parts) => {
            for part in parts {
                collect(part, found_by, names);
            }
        }
        Condition::Not(_) => {}
        leaf => {
            for name in found_by(leaf) {
                if !names.contains(&name) {
                    names.push(name);
                }
            }
        }
    }
}

/// The age of a date on the day of surgery: "8 days".
fn age(facts: &Facts, slot: FactSlot) -> String {
    let Some(Value::Date(taken)) = facts.known(slot).map(|it| &it.value) else {
        return "not known".into();
    };
    let Some(on) = facts.procedure_on() else {
        return "not known".into();
    };
    match taken.days_between(&on) {
        1 => "1 day".into(),
        days => format!("{days} days"),
    }
}
