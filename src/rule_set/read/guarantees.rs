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

/// Reads the guarantees, with every diagnostic of the file. If something was wrong before, a rule or concern that is
/// missing may be what has been told.
pub(crate) fn read(
    parsed: &Parsed,
    names: &Names,
    concerns: &Table<Concern>,
    rules: &[Rule],
    all_read: bool,
) -> (Vec<Guarantee>, Vec<Diagnostic>) {
    let mut reading = parsed.reading("guarantees");
    let mut seen = HashMap::new();
    let mut found = Vec::new();
    for node in parsed.root.list("guarantees") {
        unique(&mut reading, &mut seen, node, "guarantees");
        match one(&mut reading, names, node, concerns, (rules, all_read)) {
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
    concerns: &Table<Concern>,
    (rules, all_read): (&[Rule], bool),
) -> Option<Guarantee> {
    // Everything is read before anything is given up, so that all diagnostics come in one run.
    let (id, title, because) = (
        reading.needed(node, "id"),
        reading.needed(node, "title"),
        reading.needed(node, "because"),
    );
    let concern = reading.owned(node, "concern").map(|written| {
        let at = concerns.position(|it| it.id == written);
        if at.is_none() && !all_read {
            reading.excuse();
        } else if let (None, Some(place)) = (at, node.get("concern")) {
            let known = concerns.iter().map(|it| it.id.as_str());
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
    let then = then(reading, node, (rules, all_read));
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

fn then(
    reading: &mut Reading<'_>,
    node: &Node,
    (rules, all_read): (&[Rule], bool),
) -> Option<Then> {
    if let Some(never) = node.get("never") {
        let words = words(reading, never);
        let outcomes: Option<Vec<Outcome>> =
            words.iter().map(|(_, it)| Outcome::from_word(it)).collect();
        return outcomes.filter(|it| !it.is_empty()).map(Then::Never);
    }
    if let Some(fires) = node.get("fires") {
        let mut found = Some(Vec::new());
        for (place, id) in words(reading, fires) {
            let at = rules.iter().position(|it| it.id == id);
            if at.is_none() && !all_read {
                reading.excuse();
            } else if at.is_none() {
                let known = rules.iter().map(|it| it.id.as_str());
                reading.unknown(
                    Code::UnknownRule,
                    &place,
                    ("rule", &id, "no such rule"),
                    known,
                );
            }
            found = found.zip(at).map(|(mut all, at)| {
                all.push(at);
                all
            });
        }
        return found.filter(|it| !it.is_empty()).map(Then::Fires);
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
