//! `guarantees.yaml`: what must hold for every possible questionnaire.

use std::collections::HashMap;

use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::reading::Reading;
use crate::document::source::Node;
use crate::outcome::{Outcome, Urgency};
use crate::rule_set::files::Parsed;
use crate::rule_set::guarantee::{Guarantee, Promise, Sense, Then};
use crate::rule_set::read::condition;
use crate::rule_set::read::registers::unique;
use crate::rule_set::read::symbols::Names;
use crate::rule_set::{Concern, Condition, Rule, Table};

/// What guarantees may name.
pub(crate) struct Nameable<'a> {
    /// The concerns.
    pub concerns: &'a Table<Concern>,
    /// The rules, as a local policy leaves them.
    pub rules: &'a Table<Rule>,
    /// The ids of the rule set's own rules. One that local policy took out is gone from a guarantee, too: what only that
    /// rule held no longer holds.
    pub own: &'a [String],
    /// Whether all of them could be read; else a rule or concern that is missing may be what has been told.
    pub complete: bool,
}

/// Reads the guarantees, with every diagnostic of the file.
pub(crate) fn read(
    parsed: &Parsed,
    names: &Names,
    nameable: &Nameable<'_>,
) -> (Vec<Guarantee>, Vec<Diagnostic>) {
    let mut reading = parsed.reading("guarantees");
    let mut seen = HashMap::new();
    let mut found = Vec::new();
    for node in parsed.root.list("guarantees") {
        unique(&mut reading, &mut seen, node, "guarantees");
        match one(&mut reading, names, node, nameable) {
            Some(guarantee) => found.push(guarantee),
            None => reading.pass_over(node, "a whole guarantee"),
        }
    }
    (found, reading.finish())
}

fn one(
    reading: &mut Reading<'_>,
    names: &Names,
    node: &Node,
    nameable: &Nameable<'_>,
) -> Option<Guarantee> {
    // Everything is read before anything is given up, so that all diagnostics come in one run.
    let (id, title, because) = (
        reading.needed(node, "id"),
        reading.needed(node, "title"),
        reading.needed(node, "because"),
    );
    let concern = reading.owned(node, "concern").map(|written| {
        let at = nameable.concerns.position(|it| it.id == written);
        if at.is_none() && !nameable.complete {
            reading.excuse();
        } else if let (None, Some(place)) = (at, node.get("concern")) {
            let known = nameable.concerns.iter().map(|it| it.id.as_str());
            reading.unknown(
                Code::UnknownConcern,
                &place.span,
                ("concern", &written, "no such concern"),
                known,
            );
        }
        at
    });
    let lines = node.list("where");
    let wheres: Vec<Option<(Sense, Condition)>> =
        lines.iter().map(|it| line(reading, names, it)).collect();
    let then = then(reading, node, nameable);
    if concern == Some(None) {
        return None;
    }
    Some(Guarantee {
        id: id?,
        title: title?,
        concern: concern.flatten(),
        wheres: wheres.into_iter().collect::<Option<_>>()?,
        then: then?,
        because: because?,
    })
}

fn line(reading: &mut Reading<'_>, names: &Names, node: &Node) -> Option<(Sense, Condition)> {
    let found = Sense::ALL
        .into_iter()
        .find_map(|sense| Some((sense, node.get(sense.word())?)));
    let Some((sense, inner)) = found else {
        reading.pass_over(node, "`holds`, `may_hold`, `fails` or `open`");
        return None;
    };
    Some((sense, condition::read(names, reading, inner)?))
}

fn then(reading: &mut Reading<'_>, node: &Node, nameable: &Nameable<'_>) -> Option<Then> {
    if let Some(never) = node.get("never") {
        let words = words(reading, never);
        let outcomes: Option<Vec<Outcome>> =
            words.iter().map(|(_, it)| Outcome::from_word(it)).collect();
        return outcomes.filter(|it| !it.is_empty()).map(Then::Never);
    }
    if let Some(fires) = node.get("fires") {
        let named = words(reading, fires);
        let mut complete = !named.is_empty();
        let mut found = Vec::new();
        for (place, id) in named {
            if nameable.own.contains(&id) {
                found.extend(nameable.rules.position(|it| it.id == id));
                continue;
            }
            complete = false;
            if nameable.complete {
                let known = nameable.own.iter().map(String::as_str);
                let slip = ("rule", id.as_str(), "no such rule");
                reading.unknown(Code::UnknownRule, &place, slip, known);
            } else {
                reading.excuse();
            }
        }
        return complete.then_some(Then::Fires(found));
    }
    if node.get("urgency_at_least").is_some() {
        return reading
            .owned(node, "urgency_at_least")
            .and_then(|it| Urgency::from_word(&it))
            .map(Then::UrgencyAtLeast);
    }
    let word = reading.owned(node, "promise")?;
    Promise::ALL
        .into_iter()
        .find(|it| it.word() == word)
        .map(Then::Promise)
}

/// One word or a list of words, with their places.
fn words(reading: &mut Reading<'_>, node: &Node) -> Vec<(std::ops::Range<usize>, String)> {
    let nodes = if node.items().is_empty() {
        std::slice::from_ref(node)
    } else {
        node.items()
    };
    let mut found = Vec::new();
    for it in nodes {
        match it.written(reading.source) {
            Some(word) => found.push((it.span.clone(), word.to_owned())),
            None => reading.pass_over(it, "a word"),
        }
    }
    found
}
