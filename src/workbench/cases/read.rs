//! The worked cases of a rule set: people.yaml and every other file of its folder `cases`.
//!
//! A case may be a table (`rows`), since the values below, at and above a number differ in one
//! answer.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::ops::Range;
use std::slice;
use std::sync::Arc;

use chrono::NaiveDate;

use crate::document::diagnostic::{Code, Diagnostic, did_you_mean};
use crate::document::reading::{Reading, Tells};
use crate::document::source::{MapEntry, Node, Source};
use crate::outcome::{Outcome, Urgency};
use crate::questionnaire::facts::{Gathered, Given};
use crate::rule_set::files::Parsed;
use crate::rule_set::files::{RuleFiles, TextFile};
use crate::rule_set::read::registers::{date, unique};
use crate::rule_set::{Idx, Question, RuleSet};

/// The file of the changes and gaps that no case can show.
const EQUIVALENT: &str = "cases/equivalent.yaml";

/// The file of the people whom cases start from.
pub(crate) const PEOPLE: &str = "cases/people.yaml";

/// An invented patient with the findings that must come out.
#[derive(Debug, Clone)]
pub struct Case {
    /// What the case shows; for a row of a table, with its number.
    pub title: String,
    /// The file it stands in.
    pub source: Arc<Source>,
    /// Where its title stands.
    pub title_span: Range<usize>,
    /// Where its expectation stands.
    pub expect_span: Range<usize>,
    /// The person it starts from.
    pub person: String,
    /// The day it is screened.
    pub as_of: NaiveDate,
    /// The answers of the person, changed.
    pub answers: Gathered,
    /// The verdict that must come out.
    pub verdict: Outcome,
    /// The most urgent of the referrals that must come out; not judged, if `None`.
    pub urgency: Option<Urgency>,
    /// Exactly these rules must fire.
    pub fires: BTreeSet<String>,
    /// Exactly these must be undetermined.
    pub undetermined: BTreeSet<String>,
    /// The outside source it comes from, if any.
    pub from: Option<String>,
}

impl Case {
    /// "cases/bleeding-vka.yaml:12".
    pub fn place(&self) -> String {
        let at = self.source.position(self.expect_span.start);
        format!("{}:{}", self.source.name(), at.line)
    }
}

/// All cases of a rule set, in file order.
///
/// # Errors
/// Every diagnostic of every file of cases.
pub fn cases(files: &RuleFiles, rule_set: &RuleSet) -> Result<Vec<Case>, Vec<Diagnostic>> {
    let mut diagnostics = Vec::new();
    let mut people: BTreeMap<String, Gathered> = BTreeMap::new();
    let mut as_of = None;
    let mut found = Vec::new();
    let mut of_cases: Vec<(&str, &TextFile)> = files
        .iter()
        .filter(|(path, _)| path.starts_with("cases/") && *path != EQUIVALENT)
        .collect();
    // People first: the cases name them.
    of_cases.sort_by_key(|(path, _)| (*path != PEOPLE, *path));
    for (path, file) in of_cases {
        let Some(parsed) = file.parsed(&mut diagnostics) else {
            continue;
        };
        let is_people = path == PEOPLE;
        let mut reader = CaseReader {
            reading: parsed.reading(if is_people { "people" } else { "cases" }),
            rule_set,
        };
        if is_people {
            as_of = date(&mut reader.reading, &parsed.root, "as_of");
            reader.people(&parsed.root, &mut people);
        } else {
            for node in parsed.root.list("cases") {
                reader.case(node, &people, as_of, &mut found);
            }
        }
        diagnostics.extend(reader.reading.finish());
    }
    if diagnostics.is_empty() {
        Ok(found)
    } else {
        Err(diagnostics)
    }
}

/// The ids of the people whom cases start from, and the day of their screenings.
///
/// # Missing data
/// Nobody and no day, where people.yaml is missing or cannot be read; [`cases`] says why.
pub(crate) fn people(files: &RuleFiles) -> (Vec<String>, Option<NaiveDate>) {
    let Some(Parsed { source, root, .. }) =
        files.file(PEOPLE).and_then(|it| it.parsed(&mut Vec::new()))
    else {
        return (Vec::new(), None);
    };
    let mut reading = Reading::new(&source, Vec::new());
    let people = root.list("people");
    (
        people
            .iter()
            .filter_map(|it| reading.owned(it, "id"))
            .collect(),
        date(&mut reading, &root, "as_of"),
    )
}

/// Reads one file of cases or people.
struct CaseReader<'r> {
    reading: Reading<'r>,
    rule_set: &'r RuleSet,
}

impl CaseReader<'_> {
    fn people(&mut self, root: &Node, people: &mut BTreeMap<String, Gathered>) {
        let mut seen = HashMap::new();
        for node in root.list("people") {
            unique(&mut self.reading, &mut seen, node, "people");
            let Some(id) = self.reading.needed(node, "id") else {
                continue;
            };
            let mut answers = Gathered::default();
            for section in node.mapping("answers") {
                for entry in section.value.entries() {
                    let id = format!("{}.{}", section.key, entry.key);
                    self.put(&mut answers, &id, entry);
                }
            }
            // A person's plan and clinic stand for the clinic's file: details of a method that a case does not use are set aside.
            for (at, given) in &mut answers.given {
                given.standing = self.rule_set.catalogue.questions[*at].standing;
            }
            people.insert(id, answers);
        }
    }

    fn question(&mut self, id: &str, span: &Range<usize>) -> Option<Idx<Question>> {
        let questions = &self.rule_set.catalogue.questions;
        let found = questions.position(|it| it.id == id);
        if found.is_none() {
            let known = questions.iter().map(|it| it.id.as_str());
            let what = ("question", id, "no such question");
            self.reading.unknown(Code::UnknownFact, span, what, known);
        }
        found
    }

    fn given(&self, entry: &MapEntry, standing: bool) -> Given {
        Given {
            source: Arc::clone(self.reading.source),
            key_span: entry.key_span.clone(),
            node: entry.value.clone(),
            standing,
        }
    }

    fn put(&mut self, answers: &mut Gathered, id: &str, entry: &MapEntry) {
        if let Some(at) = self.question(id, &entry.key_span) {
            answers.given.insert(at, self.given(entry, false));
        }
    }

    /// What the clinic of a case offers.
    fn offers(&mut self, answers: &mut Gathered, choices: Option<&Node>) {
        for entry in choices.into_iter().flat_map(Node::entries) {
            let Some(at) = self.question(&entry.key, &entry.key_span) else {
                continue;
            };
            if self.rule_set.catalogue.questions[at].can_be_offered() {
                answers.offers.insert(at, self.given(entry, true));
            } else {
                let title = format!("`{}` is not a choice that a clinic offers", entry.key);
                self.reading
                    .wrong(Code::UnknownFact, &entry.key_span, title, "not a choice")
                    .help(Question::OFFERED);
            }
        }
    }

    fn change(&mut self, answers: &mut Gathered, changes: Option<&Node>) {
        for entry in changes.into_iter().flat_map(Node::entries) {
            self.put(answers, &entry.key, entry);
        }
    }

    fn remove(&mut self, answers: &mut Gathered, list: Option<&Node>) {
        for item in list.into_iter().flat_map(Node::items) {
            let Some(id) = item.written(self.reading.source).map(str::to_owned) else {
                self.reading.pass_over(item, "the id of a question");
                continue;
            };
            let Some(at) = self.question(&id, &item.span) else {
                continue;
            };
            if answers.given.remove(&at).is_none() {
                let title = format!("`{id}` is not answered, so it cannot be removed");
                self.reading
                    .wrong(Code::UnknownFact, &item.span, title, "nothing to remove")
                    .help("delete the entry, or name an answer that the person has");
            }
        }
    }

    /// A case, or each row of a table of cases.
    fn case(
        &mut self,
        node: &Node,
        people: &BTreeMap<String, Gathered>,
        as_of: Option<NaiveDate>,
        found: &mut Vec<Case>,
    ) {
        let reading = &mut self.reading;
        let (Some(title), Some(title_node)) = (reading.needed(node, "case"), node.get("case"))
        else {
            return;
        };
        let (Some(person), Some(person_node)) = (reading.needed(node, "like"), node.get("like"))
        else {
            return;
        };
        let Some(base) = people.get(&person) else {
            let known = people.keys().map(String::as_str);
            let what = ("person", person.as_str(), "not in people.yaml");
            reading.unknown(Code::UnknownPerson, &person_node.span, what, known);
            return;
        };
        let as_of = if node.get("as_of").is_some() {
            date(reading, node, "as_of")
        } else {
            as_of
        };
        let Some(as_of) = as_of else {
            reading.pass_over(node, "a date `as_of`, here or in people.yaml");
            return;
        };
        let mut shared = base.clone();
        self.change(&mut shared, node.get("change"));
        self.remove(&mut shared, node.get("remove"));
        self.offers(&mut shared, node.get("offers"));
        let from = self.reading.owned(node, "source");
        // What is expected of a single case is a row that changes nothing.
        let rows = node
            .get("expect")
            .map_or(node.list("rows"), slice::from_ref);
        let is_table = node.get("expect").is_none();
        for (at, row) in rows.iter().enumerate() {
            let mut answers = shared.clone();
            self.change(&mut answers, row.get("with"));
            self.remove(&mut answers, row.get("remove"));
            let verdict = self.reading.needed(row, "verdict");
            let Some(verdict) = verdict.and_then(|it| Outcome::from_word(&it)) else {
                continue;
            };
            let urgency = self.reading.owned(row, "urgency");
            let title = if is_table {
                format!("{title}, row {}", at + 1)
            } else {
                title.clone()
            };
            found.push(Case {
                title,
                source: Arc::clone(self.reading.source),
                title_span: title_node.span.clone(),
                expect_span: row.span.clone(),
                person: person.clone(),
                as_of,
                answers,
                verdict,
                urgency: urgency.and_then(|it| Urgency::from_word(&it)),
                fires: self.rules(row, "fires"),
                undetermined: self.rules(row, "undetermined"),
                from: from.clone(),
            });
        }
    }

    fn rules(&mut self, expect: &Node, key: &str) -> BTreeSet<String> {
        let mut ids = BTreeSet::new();
        for item in expect.list(key) {
            let Some(id) = item.written(self.reading.source).map(str::to_owned) else {
                self.reading.pass_over(item, "the id of a rule");
                continue;
            };
            if !self.rule_set.knows_rule(&id) {
                let unknown = unknown_rule(self.rule_set, &id, self.reading.source, &item.span);
                self.reading.report(unknown);
            }
            ids.insert(id);
        }
        ids
    }
}

/// A rule that is not there: misspelt, or taken out.
fn unknown_rule(
    rule_set: &RuleSet,
    id: &str,
    source: &Arc<Source>,
    span: &Range<usize>,
) -> Diagnostic {
    let near = did_you_mean(id, rule_set.rules().map(|it| it.id.as_str()))
        .map_or_else(String::new, |it| format!("{it} "));
    let help = match rule_set.retired.iter().find(|it| it.rule == id) {
        Some(it) => format!(
            "the rule was retired on {}: no case expects it any more",
            it.on
        ),
        None => format!(
            "{near}If the rule was taken out on purpose, list it under `retired:` of ruleset.yaml, and take it out of what cases expect"
        ),
    };
    Diagnostic::at(
        Code::UnknownRule,
        source,
        span,
        format!("there is no rule `{id}`"),
        "no such rule",
    )
    .help(help)
}

/// Something that no case can notice or reach, with the reason why.
#[derive(Debug, Clone)]
pub struct Waiver {
    /// Full id of the rule, or what else was changed: `limits/x`, `derived.x`, `anaesthetics/x`.
    pub rule: String,
    /// The change or the gap, in the words in which it is reported.
    pub what: String,
    /// Why no case can show it.
    pub reason: String,
    /// The file it stands in.
    pub source: Arc<Source>,
    /// Where it stands.
    pub span: Range<usize>,
}

/// What a rule set says that no case can show.
#[derive(Debug, Clone, Default)]
pub struct Waivers {
    /// Changes of a rule that come to the same.
    pub changes: Vec<Waiver>,
    /// Gaps that cannot be filled.
    pub gaps: Vec<Waiver>,
}

/// Reads `cases/equivalent.yaml`, if the rule set has it.
///
/// # Errors
/// Every diagnostic of the file.
pub fn waivers(files: &RuleFiles, rule_set: &RuleSet) -> Result<Waivers, Vec<Diagnostic>> {
    files.said_in(EQUIVALENT, "equivalent", |reading, root| {
        let mut each = |key: &str| {
            let mut seen = HashMap::new();
            let nodes = root.list(key).iter();
            nodes
                .filter_map(|node| waiver(reading, rule_set, node, &mut seen))
                .collect()
        };
        Waivers {
            changes: each("changes"),
            gaps: each("gaps"),
        }
    })
}

fn waiver(
    reading: &mut Reading<'_>,
    rule_set: &RuleSet,
    node: &Node,
    seen: &mut HashMap<(String, String), Range<usize>>,
) -> Option<Waiver> {
    let (rule, what, reason) = (
        reading.needed(node, "rule"),
        reading.needed(node, "what"),
        reading.needed(node, "reason"),
    );
    let (rule, what, reason, place) = (rule?, what?, reason?, node.get("rule")?);
    let known = match (rule.split_once('/'), rule.split_once('.')) {
        (Some(("limits", id)), _) => rule_set.limit(id).is_some(),
        (Some(("anaesthetics", id)), _) => rule_set.agents.iter().any(|it| it.id == id),
        (None, Some(("derived", _))) => rule_set.catalogue.slot(&rule).is_some(),
        _ => rule_set.knows_rule(&rule),
    };
    if !known {
        reading.report(unknown_rule(rule_set, &rule, reading.source, &place.span));
    }
    if let Some(first) = seen.insert((rule.clone(), what.clone()), node.span.clone()) {
        let told = reading.wrong(
            Code::DuplicateId,
            &node.span,
            format!("`{rule}` has two entries for this"),
            "second",
        );
        told.also(&first, "first").help("delete one of them");
    }
    Some(Waiver {
        rule,
        what,
        reason,
        source: Arc::clone(reading.source),
        span: node.span.clone(),
    })
}
