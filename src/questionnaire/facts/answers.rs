//! Answers as written to known facts: kinds, options, units, plausible ranges, dates.
//!
//! A result that ages needs its mapping `{ value, taken_on }`; a bare value is refused and told how
//! to write it, while `taken_on: unknown` is accepted and waits. A day of surgery in the past of
//! the screening is refused, not screened.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::sync::Arc;

use chrono::NaiveDate;

use crate::document::diagnostic::{Code, Diagnostic, listed, misspelt};
use crate::document::reading::Told;
use crate::document::source::{Node, NodeKind, Placed, Source};
use crate::quantity::units::which_measures;
use crate::quantity::when::{When, read_when};
use crate::quantity::{Measure, QuantityError, read_number, read_quantity, tidy};
use crate::questionnaire::facts::{
    Fact, Facts, Gathered, Given, Known, Missing, Note, Place, Value, Why, chosen_in_words,
};
use crate::rule_set::{Agent, Answer, Idx, Question, RuleSet};
use crate::rule_set::{Offered, recognise};
use crate::truth::FactSlot;

pub(crate) mod check;
mod lists;

/// Most entries of any list.
pub(crate) const MOST_ENTRIES: usize = 200;

/// Understands every answer. Slots of derived facts stay missing until they are derived.
pub(crate) fn read(
    rule_set: &RuleSet,
    gathered: &Gathered,
    as_of: NaiveDate,
    suggests: bool,
    diagnostics: &mut Vec<Diagnostic>,
) -> Facts {
    let mut facts = Facts {
        completed_on: gathered.completed_on.as_ref().map(|(day, _)| *day),
        as_of,
        procedure_on: None,
        procedure_needs: rule_set.catalogue.procedure_on.into_iter().collect(),
        facts: rule_set
            .catalogue
            .facts
            .indices()
            .map(|slot| Arc::new(missing(Why::NotAsked, slot)))
            .collect(),
        notes: gathered.notes.clone(),
        standing: BTreeSet::new(),
        set_aside: Vec::new(),
        ruled_out: Vec::new(),
        ruled_out_open: BTreeSet::new(),
        unread: BTreeSet::new(),
        offers: BTreeMap::new(),
        not_offered: Vec::new(),
        offer_open: BTreeSet::new(),
    };
    for (at, question) in rule_set.catalogue.questions.entries() {
        let Some(given) = gathered.given.get(&at) else {
            if let Some(date_slot) = question.date_slot {
                facts.put(date_slot, missing(Why::NotAsked, question.slot));
            }
            continue;
        };
        let mut reader = AnswerReader::of(rule_set, question, given, as_of, suggests, diagnostics);
        let (fact, date) = reader.answer(&given.node);
        if let (Answer::Text, Fact::Known(known)) = (&question.answer, &fact) {
            let section = rule_set.catalogue.sections[question.section].id.clone();
            facts.notes.push(Note {
                section,
                text: known.shown.clone(),
                place: reader.place(&given.node.span),
            });
        }
        facts.put(question.slot, fact);
        if given.standing {
            facts.standing.insert(question.slot);
        }
        if let (Some(slot), Some(date)) = (question.date_slot, date) {
            facts.put(slot, date);
        }
    }
    for (at, given) in &gathered.offers {
        let question = &rule_set.catalogue.questions[*at];
        let mut reader = AnswerReader::of(rule_set, question, given, as_of, suggests, diagnostics);
        if let Some(offered) = reader.offered(&given.node) {
            facts.offers.insert(question.slot, offered);
        }
    }
    // Local policy keeps to fewer choices, whatever the clinic's file says of them.
    for (slot, kept) in rule_set.local.iter().flat_map(|it| &it.offers) {
        facts
            .offers
            .entry(*slot)
            .and_modify(|it| it.keep_to(kept))
            .or_insert_with(|| kept.clone());
    }
    facts.settle_procedure();
    facts
}

/// Understands one answer by itself: the answer, and its date if the question is dated and has one. Of a name that is not
/// recognised nobody says which one is near.
pub(crate) fn one(
    rule_set: &RuleSet,
    question: &Question,
    given: &Given,
    as_of: NaiveDate,
    diagnostics: &mut Vec<Diagnostic>,
) -> (Fact, Option<Fact>) {
    let mut reader = AnswerReader::of(rule_set, question, given, as_of, false, diagnostics);
    reader.answer(&given.node)
}

/// Whether a key is missing because another one seems to be its misspelt form, which is told already.
fn is_misspelt(node: &Node, known: &[&str], key: &str) -> bool {
    misspelt(key, node.entries().iter().map(|it| it.key.as_str()), known)
}

fn missing(why: Why, slot: FactSlot) -> Fact {
    Fact::Missing(Missing {
        why,
        needs: BTreeSet::from([slot]),
    })
}

/// Why an answer counts as missing: nothing written, or one of the two words every question accepts.
fn missing_word(node: &Node) -> Option<Why> {
    match &node.kind {
        NodeKind::Null => Some(Why::NotAsked),
        NodeKind::Text(text) if text.trim().eq_ignore_ascii_case("unknown") => Some(Why::Unknown),
        NodeKind::Text(text) if text.trim().eq_ignore_ascii_case("declined") => Some(Why::Declined),
        _ => None,
    }
}

/// A date in words for people: "3 Dec 2026".
pub(crate) fn date_in_words(when: &When) -> String {
    let day = when.date.format("%-d %b %Y");
    when.time.map_or_else(
        || day.to_string(),
        |time| format!("{day} {}", time.format("%H:%M")),
    )
}

struct AnswerReader<'a> {
    rule_set: &'a RuleSet,
    question: &'a Question,
    source: &'a Arc<Source>,
    key: &'a Range<usize>,
    as_of: NaiveDate,
    /// Whether the nearest known name is looked for, where a name is not recognised.
    suggests: bool,
    diagnostics: &'a mut Vec<Diagnostic>,
}

impl<'a> AnswerReader<'a> {
    fn of(
        rule_set: &'a RuleSet,
        question: &'a Question,
        given: &'a Given,
        as_of: NaiveDate,
        suggests: bool,
        diagnostics: &'a mut Vec<Diagnostic>,
    ) -> Self {
        Self {
            rule_set,
            question,
            source: &given.source,
            key: &given.key_span,
            as_of,
            suggests,
            diagnostics,
        }
    }

    fn place(&self, span: &Range<usize>) -> Place {
        Place {
            source: Arc::clone(self.source),
            span: span.clone(),
        }
    }

    /// Reports something wrong at a value, or at its key where nothing is written.
    fn wrong(
        &mut self,
        code: Code,
        at: &impl Placed,
        title: impl Into<String>,
        label: impl Into<String>,
    ) -> Told<'_> {
        let place = Some(at.place()).filter(|it| !it.is_empty());
        let told = Diagnostic::at(code, self.source, place.unwrap_or(self.key), title, label);
        Told::new(self.diagnostics, told)
    }

    fn known(&self, value: Value, shown: String, node: &Node) -> Fact {
        Fact::Known(Known {
            value,
            shown,
            place: Some(self.place(&node.span)),
        })
    }

    /// The answer, and its date if the question is dated. What cannot be read is reported, and missing.
    fn answer(&mut self, node: &Node) -> (Fact, Option<Fact>) {
        let slot = self.question.slot;
        let not_there = |why| {
            (
                missing(why, slot),
                self.question.date_slot.map(|_| missing(why, slot)),
            )
        };
        if let Some(why) = missing_word(node) {
            return not_there(why);
        }
        if !self.question.dated {
            return (
                self.value(node)
                    .unwrap_or_else(|| missing(Why::Unknown, slot)),
                None,
            );
        }
        let NodeKind::Map(_) = &node.kind else {
            let id = &self.question.id;
            let written = node.written(self.source).unwrap_or("...").to_owned();
            let title = format!("`{id}` needs its date");
            let help = format!(
                "write `{{ value: {written}, taken_on: YYYY-MM-DD }}` with the day of the result; taken_on may be `unknown`"
            );
            self.wrong(Code::NeedsDate, node, title, "without a date")
                .help(help);
            // What else is wrong with the value, such as a missing unit, is told in the same round.
            self.value(node);
            return not_there(Why::Unknown);
        };
        let known = ["value", "taken_on"];
        self.check_keys(node, &known, &mut true);
        let value = match node.get("value") {
            None if is_misspelt(node, &known, "value") => missing(Why::Unknown, slot),
            None => {
                let title = format!("`{}` has no `value`", self.question.id);
                self.wrong(Code::MissingKey, node, title, "`value` is missing")
                    .help("write `value: unknown` if it is not known");
                missing(Why::Unknown, slot)
            }
            Some(value) => match missing_word(value) {
                Some(why) => missing(why, slot),
                None => self
                    .value(value)
                    .unwrap_or_else(|| missing(Why::Unknown, slot)),
            },
        };
        let date_slot = self.question.date_slot.unwrap_or(slot);
        let date = match node.get("taken_on") {
            None if is_misspelt(node, &known, "taken_on") => missing(Why::Unknown, date_slot),
            None => {
                let title = format!("`{}` needs its date", self.question.id);
                let help =
                    "add `taken_on: YYYY-MM-DD` with the day of the result, or `taken_on: unknown`";
                self.wrong(Code::NeedsDate, node, title, "`taken_on` is missing")
                    .help(help);
                missing(Why::Unknown, date_slot)
            }
            Some(taken_on) => match missing_word(taken_on) {
                Some(why) => missing(why, date_slot),
                None => self
                    .date(taken_on, true)
                    .unwrap_or_else(|| missing(Why::Unknown, date_slot)),
            },
        };
        (value, Some(date))
    }

    /// The value of an answer that is there; `None` after a diagnostic.
    fn value(&mut self, node: &Node) -> Option<Fact> {
        match &self.question.answer {
            Answer::YesNo => self.yes_no(node),
            Answer::OneOf(options) => {
                let Some(written) = node.written(self.source) else {
                    self.wrong_kind(node, "one option");
                    return None;
                };
                let Some((at, option)) = (0..).zip(options).find(|(_, it)| it.id == written) else {
                    self.no_option(node, written);
                    return None;
                };
                Some(self.known(Value::Choice(at), option.text.clone(), node))
            }
            Answer::SeveralOf(options) => self.several(node, options),
            Answer::Number { whole } => self.number(node, *whole),
            Answer::Quantity { measure, unit, .. } => self.quantity(node, *measure, unit),
            Answer::Date => self.date(node, self.question.past),
            Answer::Text => {
                let Some(text) = node.written(self.source) else {
                    self.wrong_kind(node, "a text");
                    return None;
                };
                Some(self.known(Value::Text, text.to_owned(), node))
            }
            Answer::Medicines => self.medicines(node),
            Answer::Allergies => self.allergies(node),
            Answer::Anaesthetic => self.plan(node),
        }
    }

    fn wrong_kind(&mut self, node: &Node, needed: &str) {
        let title = format!("`{}` needs {needed}", self.question.id);
        let label = format!("this is {}", node.kind_in_words());
        let help = self.how_to_answer();
        self.wrong(Code::AnswerType, node, title, &label).help(help);
    }

    fn how_to_answer(&self) -> String {
        let how = match &self.question.answer {
            Answer::YesNo => "write `yes` or `no`".to_owned(),
            Answer::OneOf(options) => format!("write one of {}", in_words(options)),
            Answer::SeveralOf(options) => format!(
                "write a list such as `[{}]`, or `[]` for none",
                options.first().map_or("", |it| &it.id)
            ),
            Answer::Number { .. } => "write digits with a decimal point".to_owned(),
            answer @ Answer::Quantity { .. } => {
                format!("write a number and its unit: {}", listed(&answer.units()))
            }
            Answer::Date => "write a date as `YYYY-MM-DD`".to_owned(),
            Answer::Text => "write a text".to_owned(),
            Answer::Medicines => {
                "write a list of names, such as `[apixaban 5 mg, paracetamol]`, or `[]` for none"
                    .to_owned()
            }
            Answer::Allergies => {
                "write a list such as `[{ to: latex, reaction: rash }]`, or `[]` for none"
                    .to_owned()
            }
            Answer::Anaesthetic => {
                "write a list such as `[{ agent: lidocaine, strength: 2 %, volume: 3 mL }]`"
                    .to_owned()
            }
        };
        format!("{how}; `unknown` if it is not known")
    }

    fn no_option(&mut self, node: &Node, written: &str) {
        let (Answer::OneOf(options) | Answer::SeveralOf(options)) = &self.question.answer else {
            return;
        };
        let known = options.iter().map(|it| it.id.as_str()).chain(["unknown"]);
        let near = crate::document::diagnostic::nearest(written, known)
            .map_or(String::new(), |it| format!("did you mean `{it}`? "));
        let help = format!(
            "{near}The options are {}; `unknown` if it is not known",
            in_words(options)
        );
        let title = format!("`{written}` is not an option of `{}`", self.question.id);
        self.wrong(Code::AnswerOption, node, title, "not an option")
            .help(help);
    }

    fn yes_no(&mut self, node: &Node) -> Option<Fact> {
        let Some(yes) = node.yes_or_no() else {
            let title = format!("`{}` is answered by yes or no", self.question.id);
            let help = "exactly `yes`, `no`, `true` or `false` (`y`, `n`, `on`, `off` mean different things to different programs), or `unknown`";
            return self
                .wrong(Code::AnswerType, node, title, "neither yes nor no")
                .help(help)
                .none();
        };
        Some(self.known(
            Value::Choice(u16::from(yes)),
            if yes { "yes" } else { "no" }.to_owned(),
            node,
        ))
    }

    fn several(&mut self, node: &Node, options: &[crate::rule_set::Choice]) -> Option<Fact> {
        let NodeKind::List(items) = &node.kind else {
            self.wrong_kind(node, "a list of options");
            return None;
        };
        let mut bits = 0_u64;
        let mut complete = true;
        for item in items.iter().take(MOST_ENTRIES) {
            let Some(written) = item.written(self.source).map(str::to_owned) else {
                complete = false;
                self.wrong_kind(item, "names of options in its list");
                continue;
            };
            match options.iter().position(|it| it.id == written) {
                Some(at) => bits |= 1 << at,
                None => {
                    complete = false;
                    if missing_word(item).is_some() {
                        let title = format!(
                            "`{written}` stands inside the list of `{}`",
                            self.question.id
                        );
                        let help = format!(
                            "write `{}: unknown` for the whole answer; what is known for sure belongs in the note then",
                            self.last_name()
                        );
                        self.wrong(Code::AnswerOption, item, title, "not an option")
                            .help(help);
                    } else {
                        self.no_option(item, &written);
                    }
                }
            }
        }
        if items.len() > MOST_ENTRIES {
            self.too_many(node);
            return None;
        }
        let shown = chosen_in_words(options, bits);
        complete.then(|| self.known(Value::Choices(bits), shown, node))
    }

    /// What the clinic offers of a choice of the plan; `None` after a diagnostic.
    fn offered(&mut self, node: &Node) -> Option<Offered> {
        let items = node.items();
        if items.is_empty() || items.len() > MOST_ENTRIES {
            self.not_a_list_of_offers(node);
            return None;
        }
        if self.question.answer == Answer::Anaesthetic {
            // Each is read before anything is given up, so that all diagnostics come in one run.
            let read: Vec<_> = items.iter().map(|it| self.solution(it)).collect();
            let solutions: Option<Vec<(Idx<Agent>, f64)>> = read.into_iter().collect();
            return solutions.map(Offered::Solutions);
        }
        let question = self.question;
        let mut bits = 0_u64;
        let mut complete = true;
        for item in items {
            let fact = match &question.answer {
                Answer::SeveralOf(options) => {
                    let one = Node {
                        kind: NodeKind::List(vec![item.clone()]),
                        ..item.clone()
                    };
                    self.several(&one, options)
                }
                _ => self.value(item),
            };
            match fact {
                Some(Fact::Known(Known {
                    value: Value::Choice(at),
                    ..
                })) => bits |= 1 << at,
                Some(Fact::Known(Known {
                    value: Value::Choices(chosen),
                    ..
                })) => bits |= chosen,
                _ => complete = false,
            }
        }
        complete.then_some(Offered::Options(bits))
    }

    fn not_a_list_of_offers(&mut self, node: &Node) {
        let title = format!("what is offered of `{}` is a list", self.question.id);
        let help = match &self.question.answer {
            Answer::Anaesthetic => {
                "write a list such as `[{ agent: lidocaine, strength: 2 % }]`".to_owned()
            }
            Answer::OneOf(options) | Answer::SeveralOf(options) => {
                format!("write those of {} that the clinic offers", ids(options))
            }
            _ => "write `[no]`, `[yes]` or `[yes, no]`".to_owned(),
        };
        self.wrong(Code::AnswerType, node, title, "not a list with entries")
            .help(help);
    }

    fn last_name(&self) -> &str {
        self.question.name()
    }

    fn too_many(&mut self, node: &Node) {
        let title = format!(
            "`{}` has more than {MOST_ENTRIES} entries",
            self.question.id
        );
        self.wrong(Code::TooMany, node, title, "too many")
            .help("check that it is the right file");
    }

    fn number(&mut self, node: &Node, whole: bool) -> Option<Fact> {
        let (number, shown) = match &node.kind {
            NodeKind::Number(number) => (*number, self.source.slice(&node.span)),
            NodeKind::Text(text) => match read_number(text) {
                Ok(number) => (number, text.trim()),
                Err(error) => {
                    self.unreadable(node, &error);
                    return None;
                }
            },
            _ => {
                self.wrong_kind(node, "a number");
                return None;
            }
        };
        if whole && number.fract() != 0.0 {
            self.wrong_kind(node, "a whole number");
            return None;
        }
        let shown = shown.to_owned();
        self.plausible(node, number, &tidy(number, None), None)?;
        Some(self.known(Value::Number(number), shown, node))
    }

    fn unreadable(&mut self, node: &Node, error: &QuantityError) {
        let title = format!("`{}` cannot be read as a number", self.question.id);
        self.wrong(Code::NotANumber, node, title, "not a plain number")
            .help(format!("{error}; `unknown` if it is not known"));
    }

    fn plausible(
        &mut self,
        node: &Node,
        number: f64,
        shown: &str,
        unit: Option<&str>,
    ) -> Option<()> {
        let (low, high) = self
            .question
            .plausible
            .unwrap_or((f64::NEG_INFINITY, f64::INFINITY));
        if (low..=high).contains(&number) {
            return Some(());
        }
        let unit = unit.map_or(String::new(), |it| format!(" {it}"));
        let title = format!("{shown} is not plausible for `{}`", self.question.id);
        let check = if unit.is_empty() {
            "the number"
        } else {
            "the number and its unit"
        };
        let help = format!(
            "anything from {} to {}{unit} is taken; check {check}",
            tidy(low, None),
            tidy(high, None)
        );
        let label = "outside the plausible range";
        self.wrong(Code::Implausible, node, title, label)
            .help(help)
            .none()
    }

    fn quantity(&mut self, node: &Node, measure: Measure, unit: &'static str) -> Option<Fact> {
        let accepted = self.question.answer.units();
        let parts = match &node.kind {
            NodeKind::Number(_) => {
                self.needs_unit(node, &self.question.id, &accepted);
                return None;
            }
            NodeKind::Text(text) => match read_quantity(text) {
                Ok(parts) => parts,
                Err(error) => {
                    self.unreadable(node, &error);
                    return None;
                }
            },
            _ => {
                self.wrong_kind(node, "a number with its unit");
                return None;
            }
        };
        let mut canonical = Vec::new();
        for part in &parts {
            let Some(written) = &part.unit else {
                self.needs_unit(node, &self.question.id, &accepted);
                return None;
            };
            match measure.unit(written).filter(|it| accepted.contains(it)) {
                Some(known) => canonical.push((part.number, known)),
                None => {
                    let title = format!("`{written}` is not a unit of `{}`", self.question.id);
                    let kinds: Vec<&str> =
                        which_measures(written).iter().map(|it| it.name()).collect();
                    let other = if kinds.is_empty() {
                        String::new()
                    } else {
                        format!("; `{written}` is a unit of {}", kinds.join(" or "))
                    };
                    return self
                        .wrong(Code::AnswerUnit, node, title, "wrong unit")
                        .help(format!("use {}{other}", listed(&accepted)))
                        .none();
                }
            }
        }
        let number = match measure.total(&canonical, unit) {
            Ok(number) => number,
            Err(error) => {
                let title = format!(
                    "this is not one {} for `{}`",
                    measure.name(),
                    self.question.id
                );
                let help = format!(
                    "{error}; `5 ft 7 in`, `11 st 4 lb`, `1 m 68 cm` and `68 kg 500 g` are taken"
                );
                return self
                    .wrong(Code::SeveralQuantities, node, title, "cannot be added up")
                    .help(help)
                    .none();
            }
        };
        let written = canonical
            .iter()
            .zip(&parts)
            .map(|((_, unit), part)| format!("{} {unit}", part.number_text))
            .collect::<Vec<_>>()
            .join(" ");
        let shown = match canonical.as_slice() {
            [(_, one)] if *one == unit => written,
            _ => format!(
                "{written} ({} {unit})",
                tidy(number, Some(2))
                    .trim_end_matches('0')
                    .trim_end_matches('.')
            ),
        };
        self.plausible(node, number, &shown, Some(unit))?;
        Some(self.known(Value::Number(number), shown, node))
    }

    fn needs_unit(&mut self, node: &Node, what: &str, accepted: &[&str]) {
        let written = self
            .source
            .slice(&node.span)
            .trim_matches(['"', '\''])
            .to_owned();
        let title = format!("`{what}` needs a unit");
        let examples: Vec<String> = accepted
            .iter()
            .map(|it| format!("{written} {it}"))
            .collect();
        let examples: Vec<&str> = examples.iter().map(String::as_str).collect();
        self.wrong(Code::NeedsUnit, node, title, "a number without a unit")
            .help(format!(
                "write {}, whichever the source says",
                listed(&examples)
            ));
    }

    fn date(&mut self, node: &Node, past: bool) -> Option<Fact> {
        let Some(text) = node.written(self.source) else {
            self.wrong_kind(node, "a date");
            return None;
        };
        let when = match read_when(text) {
            Ok(when) => when,
            Err(error) => {
                let title = format!(
                    "`{}` is not a date",
                    text.chars().take(40).collect::<String>()
                );
                return self
                    .wrong(Code::NotADate, node, title, "not a date of the calendar")
                    .help(format!("{error}; `unknown` if it is not known"))
                    .none();
            }
        };
        if self.question.stand_ins.contains(&when.date) {
            let title = format!(
                "{} is what record systems write for a day that nobody knows",
                date_in_words(&when)
            );
            return self
                .wrong(Code::Implausible, node, title, "stands for `unknown`")
                .help("write the true day, or `unknown`")
                .none();
        }
        if let Some(oldest) = &self.question.oldest
            && When::age_exceeds(&when, &When::on(self.as_of), oldest)
        {
            let title = format!(
                "{} is not plausible for `{}`",
                date_in_words(&when),
                self.question.id
            );
            let help =
                format!("a day up to {oldest} ago is taken; correct the year, or write `unknown`");
            return self
                .wrong(Code::Implausible, node, title, "too long ago")
                .help(help)
                .none();
        }
        if past && when.date > self.as_of {
            let title = format!(
                "{} lies after the day of the screening",
                date_in_words(&when)
            );
            let help = format!(
                "the screening is run as of {}; correct the date, or use --as-of",
                date_in_words(&When::on(self.as_of))
            );
            return self
                .wrong(Code::FutureDate, node, title, "in the future")
                .help(help)
                .none();
        }
        Some(self.known(Value::Date(when), date_in_words(&when), node))
    }
}

/// Options with what each means: "`none` (no infection), `spread` (beyond the wound)".
fn in_words(options: &[crate::rule_set::Choice]) -> String {
    options
        .iter()
        .map(|it| format!("`{}` ({})", it.id, it.text))
        .collect::<Vec<_>>()
        .join(", ")
}

fn ids(options: &[crate::rule_set::Choice]) -> String {
    let ids: Vec<&str> = options.iter().map(|it| it.id.as_str()).collect();
    listed(&ids)
}

/// A name that no register knows.
#[derive(Debug, Clone)]
pub struct Stranger<'a> {
    /// The list in which it stands.
    pub slot: FactSlot,
    /// As written.
    pub text: &'a str,
    /// The nearest known name.
    pub nearest: Option<&'a str>,
    /// Where it stands first.
    pub place: &'a Place,
}

/// Medicines and allergies that were not recognised, each once in its list, in the order written.
pub fn strangers(facts: &Facts) -> Vec<Stranger<'_>> {
    let mut found: Vec<Stranger<'_>> = Vec::new();
    for slot in facts.slots() {
        let entries: Vec<(&str, Option<&str>, &Place)> = match facts.known(slot).map(|it| &it.value)
        {
            Some(Value::Medicines(entries)) => entries
                .iter()
                .filter(|it| it.medicine.is_none())
                .map(|it| (it.text.as_str(), it.nearest.as_deref(), &it.place))
                .collect(),
            Some(Value::Allergies(entries)) => entries
                .iter()
                .filter(|it| it.substances.is_none())
                .map(|it| (it.text.as_str(), it.nearest.as_deref(), &it.place))
                .collect(),
            _ => continue,
        };
        for (text, nearest, place) in entries {
            if !found
                .iter()
                .any(|it| it.slot == slot && recognise::form(it.text) == recognise::form(text))
            {
                found.push(Stranger {
                    slot,
                    text,
                    nearest,
                    place,
                });
            }
        }
    }
    found
}
