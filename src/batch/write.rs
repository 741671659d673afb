//! One answer as one line, as `schemas/batch-line.schema.json` describes it; a whole screening as
//! `schemas/screening.schema.json` does.
//!
//! INVARIANT: a line has no line feed but its last byte, and no character that could steer a terminal or that some programs
//! take for a line end: a text passes [`text`], anything else `report::json`.

use std::cmp::Reverse;
use std::io::Write as _;

use serde_json::Value;

use crate::outcome::{OutcomeSpan, State};
use crate::questionnaire::facts::Facts;
use crate::report::json;
use crate::rule_set::{Basis, Citation, Idx, Rule, RuleSet};
use crate::screening::explain;
use crate::screening::result::{Refusal, Screening};

/// Most diagnostics of one line that are written. How many more there were is said.
const MOST_PROBLEMS: usize = 20;

/// Writes what rules come to.
#[derive(Debug)]
pub struct LineWriter<'a> {
    rule_set: &'a RuleSet,
    /// The rules, worst first; among equals by concern, then in file order. Each with its id as JSON.
    rules: Vec<(Idx<Rule>, Vec<u8>)>,
}

impl<'a> LineWriter<'a> {
    /// For rules of this rule set.
    pub fn new(rule_set: &'a RuleSet) -> Self {
        let mut rules: Vec<(Idx<Rule>, &Rule)> = rule_set.judging.entries().collect();
        // The sort is stable.
        rules.sort_by_key(|(_, rule)| Reverse(rule.standing()));
        let with_id = |(at, rule): (Idx<Rule>, &Rule)| {
            let mut id = Vec::new();
            text(&rule.id, &mut id);
            (at, id)
        };
        Self {
            rule_set,
            rules: rules.into_iter().map(with_id).collect(),
        }
    }

    /// Appends the answer of `Detail::Verdict`.
    pub fn verdict(
        &self,
        number: u64,
        reference: &str,
        span: OutcomeSpan,
        state: impl Fn(Idx<Rule>) -> State,
        out: &mut Vec<u8>,
    ) {
        self.begin(number, reference, span, state, out);
        out.extend_from_slice(b"}\n");
    }

    /// Appends the answer of `Detail::Findings`.
    pub fn findings(
        &self,
        number: u64,
        reference: &str,
        span: OutcomeSpan,
        state: impl Fn(Idx<Rule>) -> State,
        facts: &Facts,
        out: &mut Vec<u8>,
    ) {
        self.begin(number, reference, span, &state, out);
        out.extend_from_slice(b",\"findings\":[");
        let mut is_first = true;
        for (at, id) in self
            .rules
            .iter()
            .filter(|(at, _)| state(*at) == State::Fires)
        {
            let rule = &self.rule_set.judging[*at];
            comma(&mut is_first, out);
            out.extend_from_slice(b"{\"rule\":");
            out.extend_from_slice(id);
            for (key, sentence) in [("reason", &rule.reason), ("action", &rule.action)] {
                let _ = write!(out, ",\"{key}\":");
                text(
                    &explain::sentence(self.rule_set, facts, rule, sentence),
                    out,
                );
            }
            out.extend_from_slice(b",\"citations\":[");
            let mut is_first = true;
            for citation in &rule.citations {
                comma(&mut is_first, out);
                text(self.name_of(citation), out);
            }
            out.extend_from_slice(b"]}");
        }
        out.extend_from_slice(b"]}\n");
    }

    fn begin(
        &self,
        number: u64,
        reference: &str,
        span: OutcomeSpan,
        state: impl Fn(Idx<Rule>) -> State,
        out: &mut Vec<u8>,
    ) {
        let _ = write!(out, "{{\"line\":{number},\"reference\":");
        text(reference, out);
        let verdict = span.verdict();
        let _ = write!(
            out,
            ",\"verdict\":\"{}\",\"urgency\":",
            verdict.outcome.word()
        );
        let _ = match verdict.urgency {
            Some(urgency) => write!(out, "\"{}\"", urgency.word()),
            None => write!(out, "null"),
        };
        let _ = write!(
            out,
            ",\"best_case\":\"{}\",\"worst_case\":\"{}\"",
            span.best_case.outcome.word(),
            span.worst_case.outcome.word()
        );
        for (key, wanted) in [("fires", State::Fires), ("waits", State::Undetermined)] {
            let _ = write!(out, ",\"{key}\":[");
            let mut is_first = true;
            for (_, id) in self.rules.iter().filter(|(at, _)| state(*at) == wanted) {
                comma(&mut is_first, out);
                out.extend_from_slice(id);
            }
            out.push(b']');
        }
    }

    /// The id of what is cited, or the word for what has none.
    fn name_of(&self, citation: &Citation) -> &str {
        match &citation.basis {
            Basis::Published(at) => &self.rule_set.publications[*at].id,
            Basis::CommonPractice(_) => "common-practice",
            Basis::LocalProposal(_) => "local-proposal",
        }
    }
}

/// Appends the answer of `Detail::Full`: what `screen --format ndjson` prints of the same questionnaire.
pub fn full(screening: &Screening, out: &mut Vec<u8>) {
    out.extend_from_slice(json::line(screening).as_bytes());
}

/// Appends the answer to a line that was refused, whatever was asked for. The places of its diagnostics are those in the
/// whole input.
pub fn refused(number: u64, refusal: &Refusal, out: &mut Vec<u8>) {
    let _ = write!(out, "{{\"line\":{number},\"reference\":");
    match &refusal.reference {
        Some(reference) => text(reference, out),
        None => out.extend_from_slice(b"null"),
    }
    out.extend_from_slice(b",\"refused\":[");
    let mut is_first = true;
    for found in refusal.problems.iter().take(MOST_PROBLEMS) {
        comma(&mut is_first, out);
        let mut problem = json::problem(found);
        if let Some(line) = problem.get_mut("line") {
            *line = number.into();
        }
        out.extend_from_slice(json::escaped(&problem.to_string()).as_bytes());
    }
    let n_more = refusal.problems.len().saturating_sub(MOST_PROBLEMS);
    let _ = writeln!(out, "],\"more\":{n_more}}}");
}

fn comma(is_first: &mut bool, out: &mut Vec<u8>) {
    if !std::mem::replace(is_first, false) {
        out.push(b',');
    }
}

/// Appends a text as JSON.
fn text(text: &str, out: &mut Vec<u8>) {
    let is_plain = text
        .bytes()
        .all(|byte| matches!(byte, b' '..=b'~') && byte != b'"' && byte != b'\\');
    if is_plain {
        out.push(b'"');
        out.extend_from_slice(text.as_bytes());
        out.push(b'"');
    } else {
        out.extend_from_slice(json::escaped(&Value::from(text).to_string()).as_bytes());
    }
}
