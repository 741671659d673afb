//! One answer as one line, as `schemas/batch-line.schema.json` describes it; a whole screening as
//! `schemas/screening.schema.json` does.
//!
//! INVARIANT: a line has no line feed but its last byte, and no character that could steer a terminal or that some programs
//! take for a line end: a text passes [`text`], anything else `report::json`.

use std::cmp::Reverse;
use std::io::Write as _;

use serde_json::Value;

use crate::document::diagnostic::Diagnostic;
use crate::outcome::{OutcomeSpan, State, Urgency};
use crate::questionnaire::facts;
use crate::questionnaire::facts::{Facts, Gathered};
use crate::report::json;
use crate::rule_set::{Basis, Citation, Condition, Idx, Piece, Rule, RuleSet};
use crate::screening::evaluate::States;
use crate::screening::explain;
use crate::screening::result::{Refusal, Screening};
use crate::truth::FactSlot;

/// Most diagnostics of one line that are written. How many more there were is said.
const MOST_PROBLEMS: usize = 20;

/// Writes what rules come to.
#[derive(Debug)]
pub struct LineWriter<'a> {
    rule_set: &'a RuleSet,
    /// The rules, worst first; among equals by concern, then in file order.
    rules: Vec<WrittenRule<'a>>,
}

/// A rule as it is written.
#[derive(Debug)]
struct WrittenRule<'a> {
    at: Idx<Rule>,
    rule: &'a Rule,
    /// Its id as JSON.
    id: Vec<u8>,
    told: Told,
}

/// What a finding says of a patient.
#[derive(Debug)]
enum Told {
    /// The same of everybody: this, as JSON.
    Same(Vec<u8>),
    /// What is known of these facts, or which answers are at odds.
    Facts(Vec<FactSlot>),
}

/// The rules that fire and those that wait, by their positions in the order in which they are written.
#[derive(Debug, Clone, Default)]
pub struct RulesAt {
    /// Those that fire.
    pub fires: Vec<usize>,
    /// Those that wait for an answer.
    pub waits: Vec<usize>,
}

impl<'a> LineWriter<'a> {
    /// For rules of this rule set.
    pub fn new(rule_set: &'a RuleSet) -> Self {
        let mut rules: Vec<(Idx<Rule>, &Rule)> = rule_set.judging.entries().collect();
        // The sort is stable.
        rules.sort_by_key(|(_, rule)| Reverse(rule.standing()));
        let written = |(at, rule): (Idx<Rule>, &'a Rule)| {
            let mut id = Vec::new();
            text(&rule.id, &mut id);
            let told = Told::Facts(Vec::new());
            WrittenRule { at, rule, id, told }
        };
        let mut writer = Self {
            rule_set,
            rules: rules.into_iter().map(written).collect(),
        };
        let (nobody, _) = facts::read(rule_set, &Gathered::default(), rule_set.in_force_from);
        let told = |written: &WrittenRule<'_>| match named(written.rule) {
            Some(slots) => Told::Facts(slots),
            None => {
                let mut same = Vec::new();
                writer.finding(written, &nobody, &mut same);
                Told::Same(same)
            }
        };
        let told: Vec<Told> = writer.rules.iter().map(told).collect();
        for (written, told) in writer.rules.iter_mut().zip(told) {
            written.told = told;
        }
        writer
    }

    /// The rules in the order in which they are written.
    pub fn order(&self) -> impl Iterator<Item = Idx<Rule>> {
        self.rules.iter().map(|it| it.at)
    }

    /// What rules come to, as it is written.
    pub fn rules_at(&self, states: &States) -> RulesAt {
        let in_state = |wanted: State| {
            let rules = self.order().enumerate();
            let found = rules.filter(|(_, rule)| states[*rule] == wanted);
            found.map(|(position, _)| position).collect()
        };
        RulesAt {
            fires: in_state(State::Fires),
            waits: in_state(State::Undetermined),
        }
    }

    /// The rules at some positions of that order.
    pub fn rules<'s>(&'s self, positions: &'s [usize]) -> impl Iterator<Item = Idx<Rule>> + 's {
        self.at(positions).map(|it| it.at)
    }

    fn at<'s>(&'s self, positions: &'s [usize]) -> impl Iterator<Item = &'s WrittenRule<'a>> {
        positions.iter().filter_map(|at| self.rules.get(*at))
    }

    /// The span that the rules leave.
    pub fn span(&self, rules: &RulesAt) -> OutcomeSpan {
        let fires = self.at(&rules.fires).map(|it| it.rule.standing());
        let waits = self.at(&rules.waits).map(|it| it.rule.standing());
        OutcomeSpan::of(fires, waits)
    }

    /// The facts that findings are told with, besides which answers are at odds with others.
    ///
    /// # Returns
    /// `None` if they tell everybody the same.
    pub fn named(&self, rules: &RulesAt) -> Option<Vec<FactSlot>> {
        let mut slots = None;
        for written in self.at(&rules.fires) {
            if let Told::Facts(of_rule) = &written.told {
                slots
                    .get_or_insert_with(Vec::new)
                    .extend_from_slice(of_rule);
            }
        }
        slots
    }

    /// Appends the answer of `Detail::Verdict`.
    pub fn verdict(&self, number: u64, reference: &str, rules: &RulesAt, out: &mut Vec<u8>) {
        self.begin(number, reference, rules, out);
        out.extend_from_slice(b"}\n");
    }

    /// Appends the answer of `Detail::Findings`.
    pub fn findings(
        &self,
        number: u64,
        reference: &str,
        rules: &RulesAt,
        facts: &Facts,
        out: &mut Vec<u8>,
    ) {
        self.begin(number, reference, rules, out);
        out.extend_from_slice(b",\"findings\":[");
        let mut is_first = true;
        for written in self.at(&rules.fires) {
            comma(&mut is_first, out);
            match &written.told {
                Told::Same(same) => out.extend_from_slice(same),
                Told::Facts(_) => self.finding(written, facts, out),
            }
        }
        out.extend_from_slice(b"]}\n");
    }

    fn finding(&self, written: &WrittenRule<'_>, facts: &Facts, out: &mut Vec<u8>) {
        let rule = written.rule;
        out.extend_from_slice(b"{\"rule\":");
        out.extend_from_slice(&written.id);
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

    fn begin(&self, number: u64, reference: &str, rules: &RulesAt, out: &mut Vec<u8>) {
        let span = self.span(rules);
        let verdict = span.verdict();
        let _ = write!(out, "{{\"line\":{number},\"reference\":");
        text(reference, out);
        for (key, word) in [
            (",\"verdict\":", Some(verdict.outcome.word())),
            (",\"urgency\":", verdict.urgency.map(Urgency::word)),
            (",\"best_case\":", Some(span.best_case.outcome.word())),
            (",\"worst_case\":", Some(span.worst_case.outcome.word())),
        ] {
            out.extend_from_slice(key.as_bytes());
            match word {
                Some(word) => text(word, out),
                None => out.extend_from_slice(b"null"),
            }
        }
        for (before, positions) in [
            (",\"fires\":[", &rules.fires),
            ("],\"waits\":[", &rules.waits),
        ] {
            out.extend_from_slice(before.as_bytes());
            let mut is_first = true;
            for written in self.at(positions) {
                comma(&mut is_first, out);
                out.extend_from_slice(&written.id);
            }
        }
        out.push(b']');
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
    let in_line = |found: &Diagnostic| {
        let mut problem = json::problem(found);
        if let Some(line) = problem.get_mut("line") {
            *line = number.into();
        }
        problem
    };
    refused_with(number, refusal, in_line, out);
}

/// The same for a row of a sheet, whose diagnostics have the places of the sheet already.
pub fn refused_row(number: u64, refusal: &Refusal, out: &mut Vec<u8>) {
    refused_with(number, refusal, json::problem, out);
}

fn refused_with(
    number: u64,
    refusal: &Refusal,
    problem: impl Fn(&Diagnostic) -> Value,
    out: &mut Vec<u8>,
) {
    let _ = write!(out, "{{\"line\":{number},\"reference\":");
    match &refusal.reference {
        Some(reference) => text(reference, out),
        None => out.extend_from_slice(b"null"),
    }
    out.extend_from_slice(b",\"refused\":[");
    let mut is_first = true;
    for found in refusal.problems.iter().take(MOST_PROBLEMS) {
        comma(&mut is_first, out);
        out.extend_from_slice(json::escaped(&problem(found).to_string()).as_bytes());
    }
    let n_more = refusal.problems.len().saturating_sub(MOST_PROBLEMS);
    let _ = writeln!(out, "],\"more\":{n_more}}}");
}

/// The facts that the reason and the action of a rule name, and the day of the procedure if they tell an age.
///
/// # Returns
/// `None` if they tell everybody the same: no fact, and no answer at odds with others.
fn named(rule: &Rule) -> Option<Vec<FactSlot>> {
    let (mut slots, mut is_same) = (Vec::new(), true);
    for piece in rule.reason.pieces.iter().chain(&rule.action.pieces) {
        is_same &= matches!(piece, Piece::Words(_) | Piece::Limit(_));
        match piece {
            Piece::Words(_) | Piece::Limit(_) | Piece::Conflict(_) => {}
            Piece::Fact(slot) | Piece::Age(slot) => slots.push(*slot),
            Piece::Medicines | Piece::Allergies => rule.when.visit(&mut |part| {
                if let Condition::Taking { fact, .. } | Condition::AllergicTo { fact, .. } = part {
                    slots.push(*fact);
                }
            }),
        }
    }
    (!is_same).then_some(slots)
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
