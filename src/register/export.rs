//! A register for other programs: one JSON object a line, or a table. Passphrases stay, even as hashes.

use serde_json::{Map, Value, json};

use crate::register::entry::{RegisterEntry, written};
use crate::register::happening::Happening;

/// Every entry as one line of JSON.
pub fn ndjson(entries: &[RegisterEntry]) -> String {
    let line = |it: &RegisterEntry| {
        let said = it.happening.as_ref().map(said);
        let value = json!({
            "seq": it.seq,
            "at": written(&it.at),
            "person": it.person,
            "kind": it.kind,
            "referral": it.referral,
            "form": it.form,
            "said": said,
            "body": it.body,
            "previous": it.previous,
            "digest": it.digest,
        });
        format!("{value}\n")
    };
    entries.iter().map(line).collect()
}

fn said(happening: &Happening) -> Value {
    match serde_json::to_value(happening) {
        Ok(Value::Object(keys)) => keys
            .into_iter()
            .filter(|(key, _)| key != "hash" && key != "kind")
            .collect::<Map<String, Value>>()
            .into(),
        _ => Value::Null,
    }
}

/// Every entry as a row of a table, with what it says in short.
pub fn csv(entries: &[RegisterEntry]) -> String {
    let mut table = String::from("seq,at,person,kind,referral,said,digest\r\n");
    for it in entries {
        let said = match &it.happening {
            Some(happening) => in_short(happening),
            None => "removed".into(),
        };
        let referral = it.referral.as_deref();
        let cells = [
            it.seq.to_string(),
            written(&it.at),
            cell(&it.person),
            cell(&it.kind),
            referral.map_or_else(String::new, cell),
            cell(&said),
            it.digest.clone(),
        ];
        table.push_str(&cells.join(","));
        table.push_str("\r\n");
    }
    table
}

/// A cell that no program takes for a formula, whatever somebody typed.
fn cell(text: &str) -> String {
    let starts_a_formula = text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']);
    let guard = if starts_a_formula { "'" } else { "" };
    format!("\"{guard}{}\"", text.replace('"', "\"\""))
}

/// What happened, in a few words for people; they say nothing that a passphrase would let somebody do.
pub fn in_short(happening: &Happening) -> String {
    match happening {
        Happening::Opened { from } => from.clone(),
        Happening::Answered { changed, .. } => changed.join(", "),
        Happening::Screened(it) => {
            let first = it.fires.first().or(it.waits.first());
            let why = first.map_or_else(String::new, |rule| format!(": {}", rule.title));
            format!("{}{why}", it.verdict().words())
        }
        Happening::QuestionSent { questions, to, how } => {
            format!("to the {} by {how}: {}", to.word(), questions.join(", "))
        }
        Happening::LetterMade { letter, .. } => letter.clone(),
        Happening::LetterSent { made } => format!("the letter of entry {made}"),
        Happening::Decided(it) => {
            let aside: Vec<&str> = it.set_aside.iter().map(|it| it.rule.as_str()).collect();
            let against = if aside.is_empty() {
                String::new()
            } else {
                format!(", against {}", aside.join(", "))
            };
            format!("{} on entry {}{against}", it.outcome.word(), it.screening)
        }
        Happening::Booked { day } => day.to_string(),
        Happening::PassedOn { to } => format!("to {to}"),
        Happening::Closed { why } | Happening::SignInRefused { why } => why.clone(),
        Happening::BodyRemoved { entries, why } => {
            format!("what {} entries said: {why}", entries.len())
        }
        Happening::Feedback(it) => {
            let reason = it.reason.as_ref();
            let reason = reason.map(|it| it.display.as_ref().unwrap_or(&it.code));
            let beside: String = reason
                .into_iter()
                .chain(&it.comment)
                .map(|words| format!("; {words}"))
                .collect();
            let outcome = it.outcome.word();
            format!(
                "of a card, {outcome}{beside}; the card said: {}",
                it.summary
            )
        }
        Happening::PersonSet {
            initials,
            role,
            is_on,
            ..
        } => format!(
            "{initials}, {}, {}",
            role.word(),
            if *is_on {
                "may sign in"
            } else {
                "may not sign in"
            }
        ),
    }
}
