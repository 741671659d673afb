//! What became of the guarantees, for people and as JSON, and the questionnaires that break one.

use chrono::NaiveDate;
use serde_json::{Value, json};

use crate::exact::Witness;
use crate::report::json::escaped;
use crate::report::page::{filled, harmless, one_line};
use crate::report::words::counted;
use crate::rule_set::{Guarantee, RuleSet};
use crate::screening::evaluate::{firing, standing};
use crate::workbench::prove::Proof;

/// All proofs for people.
pub fn text(
    rule_set: &RuleSet,
    proofs: &[(&Guarantee, Proof)],
    as_of: NaiveDate,
    width: usize,
) -> String {
    let mut lines = Vec::new();
    let fill = |text: &str, indent: &str| filled(text, width, indent);
    for (guarantee, proof) in proofs {
        lines.push(format!(
            "{:<7} {}: {}",
            proof.word(),
            guarantee.id,
            one_line(&guarantee.title)
        ));
        match proof {
            Proof::Proved => {}
            Proof::Idle => lines.push(fill("nobody can be as `where` says, so that this guarantees nothing", "        ")),
            Proof::Open { fact, n_cases } => lines.push(fill(
                &format!("neither proved nor broken, because of {fact}; none of {n_cases} worked cases breaks it, which proves nothing"),
                "        ",
            )),
            Proof::BrokenByCase { fact, case } => lines.push(fill(
                &format!(
                    "{} The worked case \"{case}\" breaks it. All questionnaires could not be tried, because of {fact}",
                    guarantee.because
                ),
                "        ",
            )),
            Proof::Broken(seen) => {
                lines.push(fill(&guarantee.because, "        "));
                for (at, it) in seen.iter().enumerate() {
                    let when = match (seen.len(), at) {
                        (1, _) => format!("This questionnaire breaks it, screened as of {as_of}"),
                        (_, 0) => format!("Before, as of {as_of}"),
                        _ => "With further answers".to_owned(),
                    };
                    lines.push(fill(&format!("{when}: {}", comes_to(rule_set, it)), "        "));
                    lines.push(textwrap::indent(&file(it), "          | "));
                }
            }
        }
    }
    let count = |word: &str| proofs.iter().filter(|(_, it)| it.word() == word).count();
    let mut parts = vec![format!("{} proved", count("proved"))];
    for (word, words) in [
        ("broken", "broken"),
        ("idle", "that guarantee nothing"),
        ("open", "left open"),
    ] {
        if count(word) > 0 {
            parts.push(format!("{} {words}", count(word)));
        }
    }
    let n = counted(proofs.len(), "guarantee", "guarantees");
    lines.push(format!(
        "{n}, over every possible questionnaire: {}",
        parts.join(", ")
    ));
    lines.join("\n")
}

/// The verdict, and the rules that fire.
fn comes_to(rule_set: &RuleSet, seen: &Witness) -> String {
    let firing = firing(rule_set, &seen.states);
    let firing = if firing.is_empty() {
        "no rule fires".to_owned()
    } else {
        format!("fires {}", firing.join(", "))
    };
    format!(
        "{}; {firing}",
        standing(rule_set, &seen.states).verdict_words()
    )
}

/// A questionnaire as it is shown, with the clinic's file that belongs to it. No character of a file steers the terminal.
pub fn file(seen: &Witness) -> String {
    let clinic = seen.clinic.as_ref().map_or(String::new(), |it| {
        format!("with this as the clinic's file:\n{it}")
    });
    format!("{}{clinic}", seen.questionnaire)
        .chars()
        .map(|it| if it == '\n' { it } else { harmless(it) })
        .collect()
}

/// A questionnaire that breaks a guarantee, as a file that says so.
pub fn headed(guarantee: &Guarantee, seen: &Witness) -> String {
    format!(
        "# Breaks the guarantee `{}`: {}.\n{}",
        guarantee.id,
        one_line(&guarantee.title),
        seen.questionnaire
    )
}

/// All proofs as one object.
pub fn json(rule_set: &RuleSet, proofs: &[(&Guarantee, Proof)], as_of: NaiveDate) -> String {
    let one = |(guarantee, proof): &(&Guarantee, Proof)| -> Value {
        let examples = match proof {
            Proof::Broken(seen) => seen.iter().map(|it| example(rule_set, it)).collect(),
            _ => Vec::new(),
        };
        let (because_of, case) = match proof {
            Proof::Open { fact, .. } => (Some(fact), None),
            Proof::BrokenByCase { fact, case } => (Some(fact), Some(case)),
            _ => (None, None),
        };
        json!({
            "guarantee": guarantee.id, "title": guarantee.title, "because": guarantee.because,
            "proof": proof.word(), "open_because_of": because_of, "broken_by_case": case, "examples": examples,
        })
    };
    let whole = json!({
        "proofs": 1,
        "rule_set": { "id": rule_set.id, "edition": rule_set.edition, "digest": format!("sha256:{}", rule_set.digest) },
        "as_of": as_of.to_string(),
        "guarantees": proofs.iter().map(one).collect::<Vec<_>>(),
    });
    escaped(&format!("{whole:#}"))
}

/// One example with its verdict and the rules that fire.
pub fn example(rule_set: &RuleSet, seen: &Witness) -> Value {
    let standing = standing(rule_set, &seen.states);
    json!({
        "questionnaire": seen.questionnaire, "clinic": seen.clinic, "answers": seen.n_answers,
        "verdict": standing.outcome.word(), "urgency": standing.urgency.map(|it| it.word()), "fires": firing(rule_set, &seen.states),
    })
}
