//! A FHIR R4 QuestionnaireResponse as a questionnaire.
//!
//! Each answer becomes what would stand in a questionnaire's file, at its place in the response, and is then understood by the
//! same reader: a slip in it is told there, in the same words. INVARIANT: every item and every element is either read or told.
//! What a program may pass over is passed over here by name and level alone ([`Elements`]: ids, texts of the form, who wrote
//! it); what can only be shown to a person, such as a number that is a bound, becomes a note. Texts for people are never read
//! as answers, but one that belongs to another option or unit than the code's refuses: one of the two is a slip.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use crate::document::diagnostic::{Code, Diagnostic, did_you_mean, listed};
use crate::document::reading::Tells;
use crate::document::source::{MapEntry, Node, NodeKind, Source};
use crate::quantity::when::read_when;
use crate::questionnaire::facts::{Gathered, Note, Place};
use crate::questionnaire::fhir::form::{address, canonical};
use crate::questionnaire::fhir::links::{ItemKind, Link, links};
use crate::questionnaire::fhir::{
    ABSENT, DECLINED, DECLINED_IN_WORDS, NONE, NONE_IN_WORDS, NOT_KNOWN, NOT_KNOWN_IN_WORDS, system,
};
use crate::questionnaire::mapping::Mapping;
use crate::questionnaire::reference::not_a_reference;
use crate::rule_set::RuleSet;

mod translated;
mod values;

use crate::questionnaire::fhir::response::translated::translated;

/// The elements that one level of a response may have by the standard, but for those that refuse.
struct Elements {
    /// What is read.
    read: &'static [&'static str],
    /// What says nothing of an answer.
    passed_over: &'static [&'static str],
}

const RESPONSE: Elements = Elements {
    read: &[
        "resourceType",
        "questionnaire",
        "status",
        "subject",
        "authored",
        "item",
    ],
    passed_over: &[
        "id",
        "meta",
        "language",
        "text",
        "identifier",
        "basedOn",
        "partOf",
        "encounter",
        "author",
        "source",
    ],
};
const SUBJECT: Elements = Elements {
    read: &["identifier", "type"],
    passed_over: &["id", "reference", "display"],
};
const IDENTIFIER: Elements = Elements {
    read: &["value", "use"],
    passed_over: &["id", "type", "system", "period", "assigner"],
};
const ITEM: Elements = Elements {
    read: &["linkId", "answer", "item"],
    passed_over: &["id", "definition", "text"],
};
const ANSWER: Elements = Elements {
    read: &["item"],
    passed_over: &["id"],
};
const CODING: Elements = Elements {
    read: &["system", "code", "display"],
    passed_over: &["id", "version", "userSelected"],
};
const QUANTITY: Elements = Elements {
    read: &["value", "comparator", "unit", "system", "code"],
    passed_over: &["id"],
};
/// Elements that change what all others mean, so that a reader who does not know them must not go on.
const CHANGES_MEANING: [&str; 3] = ["implicitRules", "modifierExtension", "contained"];
/// For so many slips of a response it is looked for what was meant; more are never shown at once.
const MOST_SUGGESTED: usize = 50;
/// The length of a day: `2026-11-24`.
const DAY: usize = 10;

/// Whether a tree is a resource of FHIR: it says so itself.
pub(crate) fn is_resource(root: &Node) -> bool {
    root.entry("resourceType").is_some()
}

/// Reads a response as a questionnaire: the patient's reference, empty after a diagnostic about it, and the answers. One to the
/// form that a mapping file is for is read as if it were to ours.
///
/// # Errors
/// Every diagnostic of its frame, each at its place; what a single answer says is not yet understood.
pub(crate) fn read(
    rule_set: &RuleSet,
    mapping: Option<&Mapping>,
    source: &Arc<Source>,
    root: &Node,
) -> (Option<(String, Gathered)>, Vec<Diagnostic>) {
    let canonical = match canonical(rule_set) {
        Ok(canonical) => canonical,
        Err(lacking) => return (None, vec![lacking]),
    };
    let form = root.get("questionnaire").and_then(Node::text);
    let mapping = mapping.filter(|it| form.is_some() && it.form.as_deref() == form);
    let Some(mapping) = mapping else {
        return read_own(rule_set, canonical, source, root);
    };
    let (translated, left_out, untold) = translated(rule_set, canonical, mapping, source, root);
    let (mut read, mut found) = read_own(rule_set, canonical, source, &translated);
    if let Some((_, answers)) = &mut read {
        answers.notes.extend(left_out);
    }
    found.extend(untold);
    (read, found)
}

/// Reads a response to the rule set's own form.
fn read_own(
    rule_set: &RuleSet,
    canonical: &str,
    source: &Arc<Source>,
    root: &Node,
) -> (Option<(String, Gathered)>, Vec<Diagnostic>) {
    let mut reader = Reader {
        rule_set,
        canonical,
        source,
        links: links(rule_set),
        items: BTreeMap::new(),
        notes: Vec::new(),
        diagnostics: Vec::new(),
    };
    if !reader.is_meant_for_this(root) {
        return (None, reader.diagnostics);
    }
    reader.elements(root, &RESPONSE);
    let reference = reader.reference(root);
    let completed_on = reader.authored(root);
    reader.collect(root.list("item"), None);
    let mut given = BTreeMap::new();
    for (at, question) in rule_set.catalogue.questions.entries() {
        if let Some(answer) = reader.question(question) {
            given.insert(at, answer);
        }
    }
    reader.noted();
    let answers = Gathered {
        given,
        offers: BTreeMap::new(),
        notes: reader.notes,
        completed_on,
    };
    (Some((reference, answers)), reader.diagnostics)
}

struct Reader<'a> {
    rule_set: &'a RuleSet,
    canonical: &'a str,
    source: &'a Arc<Source>,
    links: BTreeMap<String, Link>,
    /// The items by their link id.
    items: BTreeMap<String, &'a Node>,
    notes: Vec<Note>,
    diagnostics: Vec<Diagnostic>,
}

/// One answer of an item.
struct ItemAnswer<'a> {
    /// `valueDate` and what stands under it.
    value: &'a MapEntry,
    /// The items within it.
    within: &'a [Node],
    /// The whole answer.
    span: Range<usize>,
}

/// A code of an answer.
enum Coded<'a> {
    /// One of the question's own, at its place.
    Own(&'a Node),
    /// Asked, and none.
    None,
    /// Asked, and no answer: the word of a questionnaire.
    Absent(&'static str),
}

impl Tells for Reader<'_> {
    fn telling(&mut self) -> (&Arc<Source>, &mut Vec<Diagnostic>) {
        (self.source, &mut self.diagnostics)
    }
}

impl<'a> Reader<'a> {
    /// What was perhaps meant. After some it is no longer looked for: that takes as long as a file has slips, times as many as
    /// there are names.
    fn near<'k>(&self, wrong: &str, known: impl Iterator<Item = &'k str>) -> Option<String> {
        (self.diagnostics.len() < MOST_SUGGESTED).then(|| did_you_mean(wrong, known))?
    }

    fn place(&self, span: &Range<usize>) -> Place {
        Place {
            source: Arc::clone(self.source),
            span: span.clone(),
        }
    }

    /// Tells a person what was not read as an answer.
    fn tell(&mut self, section: &str, text: String, span: &Range<usize>) {
        let place = self.place(span);
        self.notes.push(Note {
            section: section.to_owned(),
            text,
            place,
        });
    }

    /// Whether it is a response to this form that may be used at all; nothing else is worth telling of another one.
    fn is_meant_for_this(&mut self, root: &'a Node) -> bool {
        let kind = root.get("resourceType");
        if kind.and_then(Node::text) != Some("QuestionnaireResponse") {
            let span = kind.map_or_else(|| root.span.clone(), |it| it.span.clone());
            let written = kind.map_or("", |it| it.shown(self.source)).to_owned();
            let title = format!("the resource is a `{written}`, not a QuestionnaireResponse");
            self.wrong(Code::AnotherKind, &span, title, "another resource")
                .help("give each QuestionnaireResponse as a file of its own");
            return false;
        }
        let own = format!("{}|{}", address(self.canonical), self.rule_set.edition);
        let form = root.get("questionnaire");
        if form.and_then(Node::text) != Some(own.as_str()) {
            let span = form.map_or_else(|| start(root), |it| it.span.clone());
            let title = "the response is to another form than this rule set's";
            let help = format!(
                "the form in use is `{own}`; `preblock questionnaire export` prints it, and a mapping file reads answers to others"
            );
            let label = "another form, edition, or none";
            self.wrong(Code::AnotherRuleSet, &span, title, label)
                .help(help);
            return false;
        }
        let status = root.get("status");
        match status.and_then(Node::text) {
            Some("completed" | "amended") => true,
            Some("in-progress") => {
                let span = status.map_or_else(|| start(root), |it| it.span.clone());
                let words = "The response was still in progress when it was sent: answers may be missing or change.";
                self.tell("", words.to_owned(), &span);
                true
            }
            _ => {
                let span = status.map_or_else(|| start(root), |it| it.span.clone());
                let title = "the response is not one to be used";
                let help = "send the response that counts; its `status` says completed, amended or in-progress";
                let label = "not completed, amended or in progress";
                self.wrong(Code::NotToBeUsed, &span, title, label)
                    .help(help);
                false
            }
        }
    }

    /// Tells every element of a map that is neither read nor one that says nothing of an answer.
    fn elements(&mut self, map: &'a Node, level: &Elements) {
        self.elements_and(map, level, &[]);
    }

    /// The same, with more elements that are read.
    fn elements_and(&mut self, map: &'a Node, level: &Elements, more: &[&str]) {
        let is_known = |key: &str| {
            let mut all = level.read.iter().chain(more).chain(level.passed_over);
            all.any(|it| *it == key)
        };
        for entry in map.entries() {
            let key = entry.key.as_str();
            if ["answer", "item"].contains(&key) {
                self.filled_list(key, &entry.value);
            }
            if is_known(key) {
                continue;
            }
            // What is said of a number or a text stands beside it, under its name with a stroke.
            let of_value = key.strip_prefix('_').filter(|it| is_known(it));
            if CHANGES_MEANING.contains(&key) {
                let title =
                    format!("`{key}` may change what the answers mean, and is not known here");
                self.wrong(Code::NotToBeUsed, entry, title, "not known here")
                    .help("send the response without it, or enter the answers by hand");
            } else if key == "extension" || of_value.is_some() {
                let extensions = match of_value {
                    Some(_) => entry.value.list("extension"),
                    None => entry.value.items(),
                };
                let urls = extensions.iter().filter_map(|it| it.get("url"));
                let urls: Vec<&str> = urls.filter_map(Node::text).collect();
                let of = of_value.map_or(String::new(), |it| format!(" of `{it}`"));
                let words = format!("An extension{of} was not read: {}.", urls.join(", "));
                self.tell("", words, &entry.key_span);
            } else {
                let help = self
                    .near(key, level.read.iter().copied())
                    .unwrap_or_else(|| format!("here may stand {}", listed(level.read)));
                let title = format!("the element `{key}` is not known here");
                self.wrong(Code::UnknownKey, entry, title, "not known here")
                    .help(help);
            }
        }
    }

    /// Tells what is no list, or an empty one: the standard has none, and it might be meant for an answer that there is none.
    fn filled_list(&mut self, key: &str, value: &Node) {
        let (title, label, help) = match &value.kind {
            NodeKind::List(items) if !items.is_empty() => return,
            NodeKind::List(_) => (
                format!("`{key}` is an empty list"),
                "nothing is said here",
                "leave it out for not asked; not known, and none where a list is asked for, are options of the form",
            ),
            _ => (
                format!("`{key}` is {}, and must be a list", value.kind_in_words()),
                "not a list",
                "write it in square brackets, even if it holds one thing",
            ),
        };
        self.wrong(Code::WrongType, value, title, label).help(help);
    }

    fn reference(&mut self, root: &'a Node) -> String {
        let subject = root.get("subject");
        let identifier = subject.and_then(|it| it.get("identifier"));
        if let Some(subject) = subject {
            self.elements(subject, &SUBJECT);
        }
        if let Some(identifier) = identifier {
            self.elements(identifier, &IDENTIFIER);
        }
        let kind = subject.and_then(|it| it.get("type"));
        let is_kept = identifier.and_then(|it| it.get("use"));
        let another = kind.filter(|it| it.text() != Some("Patient"));
        let old = is_kept.filter(|it| it.text() == Some("old"));
        if let Some(node) = another.or(old) {
            let title = match another {
                Some(_) => "the response is not about a patient",
                None => "the reference is one that no longer counts",
            };
            let help =
                "send the response with the patient as its subject, by the reference that counts";
            self.wrong(Code::NotToBeUsed, node, title, "so it says itself")
                .help(help);
        }
        let value = identifier.and_then(|it| it.get("value"));
        let Some((value, text)) = value.and_then(|it| Some((it, it.text()?))) else {
            let span = root
                .entry("subject")
                .map_or_else(|| start(root), |it| it.key_span.clone());
            let title = "the response does not say whose it is";
            let help = "add the reference by which the clinic knows the patient: `\"subject\": { \"identifier\": { \"value\": \"SM-103\" } }`; never a name";
            let label = "`subject.identifier.value` is missing, or no text";
            self.wrong(Code::MissingKey, &span, title, label).help(help);
            return String::new();
        };
        if let Some((title, help)) = not_a_reference(text) {
            self.wrong(Code::WrongForm, value, title, "not a reference")
                .help(help);
            return String::new();
        }
        text.to_owned()
    }

    /// The day on which the answers were given; part of a date is not known, and told.
    fn authored(&mut self, root: &'a Node) -> Option<(chrono::NaiveDate, Place)> {
        let node = root.get("authored")?;
        let text = node.text().unwrap_or("");
        if is_part_of_a_date(text) {
            let words =
                format!("The response was written {text}: on which day is not known by that.");
            self.tell("", words, &node.span);
            return None;
        }
        // A moment is told with its zone; the day is the one of that zone.
        let day = text.split_once('T').map_or(text, |(day, _)| day);
        let is_moment = day == text || chrono::DateTime::parse_from_rfc3339(text).is_ok();
        match read_when(day) {
            Ok(when) if is_moment && day.len() == DAY => Some((when.date, self.place(&node.span))),
            read => {
                let help = match read {
                    Ok(_) => "write a day as `2026-11-24`, or a moment with seconds and zone as `2026-11-24T10:30:00Z`".to_owned(),
                    Err(error) => error.to_string(),
                };
                let title = "`authored` is not a day";
                self.wrong(Code::NotADate, node, title, "not a date of the calendar")
                    .help(help)
                    .none()
            }
        }
    }

    /// Finds the items of a response by their link ids, those within a group of this link id.
    fn collect(&mut self, items: &'a [Node], group: Option<&str>) {
        for item in items {
            self.elements(item, &ITEM);
            let link = item.get("linkId");
            let Some((link, id)) = link.and_then(|it| Some((it, it.text()?))) else {
                let title = "an item has no `linkId`";
                self.wrong(Code::MissingKey, &start(item), title, "which question?")
                    .help("add the `linkId` that the form gives the question");
                continue;
            };
            let known = self.links.get(id).cloned();
            let Some(Link { kind, .. }) = known.filter(|it| it.within.as_deref() == group) else {
                let title = format!("the form has no item `{id}` here");
                let help = self.where_it_stands(id);
                let label = "not an item of the form";
                self.wrong(Code::UnknownQuestion, link, title, label)
                    .help(help);
                continue;
            };
            if self.items.contains_key(id) {
                let title = format!("`{id}` is answered twice");
                let help = "keep one of the two; several answers to one question stand in one item";
                self.wrong(Code::DuplicateKey, link, title, "a second time")
                    .help(help);
                continue;
            }
            self.items.insert(id.to_owned(), item);
            match (kind, item.entry("answer"), item.entry("item")) {
                (ItemKind::Group, None, _) => self.collect(item.list("item"), Some(id)),
                (ItemKind::Answer | ItemKind::Note, _, None) => {}
                (ItemKind::Group, Some(it), _) => {
                    let title = format!("`{id}` is no question");
                    self.wrong(Code::WrongType, it, title, "an answer to no question")
                        .help("move the answer to the item of its question");
                }
                (_, _, Some(it)) => {
                    let title = format!("items do not stand here in `{id}`");
                    let help = "what belongs to an answer stands in that answer: `answer: [{ ..., item: [...] }]`";
                    self.wrong(Code::WrongType, it, title, "in the wrong place")
                        .help(help);
                }
            }
        }
    }

    /// What to do with an item that the form does not have where it stands.
    fn where_it_stands(&self, id: &str) -> String {
        match self.links.get(id) {
            Some(Link { within, .. }) => match within {
                Some(group) => format!("in the form it stands within `{group}`"),
                None => "in the form it stands within no other item".to_owned(),
            },
            None => {
                let known = self.links.keys().map(String::as_str);
                self.near(id, known).unwrap_or_else(|| {
                    "`preblock questionnaire export` prints the form with the link ids of all questions".to_owned()
                })
            }
        }
    }

    /// The answers of an item, each with one value.
    fn answers(&mut self, item: &'a Node) -> Vec<ItemAnswer<'a>> {
        let mut found = Vec::new();
        for answer in item.list("answer") {
            let values: Vec<&MapEntry> = answer
                .entries()
                .iter()
                .filter(|it| it.key.starts_with("value"))
                .collect();
            let keys: Vec<&str> = values.iter().map(|it| it.key.as_str()).collect();
            self.elements_and(answer, &ANSWER, &keys);
            match values.as_slice() {
                [value] => found.push(ItemAnswer {
                    value,
                    within: answer.list("item"),
                    span: answer.span.clone(),
                }),
                [] => {
                    let title = "an answer has no value";
                    let help = "leave the answer out; why there is none is said by the item beside it that ends in `.absent`";
                    self.wrong(Code::MissingKey, answer, title, "nothing is said here")
                        .help(help);
                }
                [_, second, ..] => {
                    let title = "an answer has two values";
                    let help =
                        "keep the one that counts; several answers are several entries of `answer`";
                    self.wrong(Code::NotTogether, *second, title, "a second value")
                        .help(help);
                }
            }
        }
        found
    }

    /// Tells that a value is of another type than the form's.
    fn wrong_type(&mut self, answer: &ItemAnswer<'_>, needed: &str) {
        let title = format!(
            "the answer is a `{}`, and the form asks for a `{needed}`",
            answer.value.key
        );
        let label = "another type";
        self.wrong(Code::AnswerType, &answer.value.key_span, title, label)
            .help(format!("answer by `{needed}`"));
    }

    /// The value of an answer of this type; `None` after a diagnostic.
    fn typed(&mut self, answer: &ItemAnswer<'a>, needed: &str) -> Option<&'a Node> {
        if answer.value.key != needed {
            self.wrong_type(answer, needed);
            return None;
        }
        let node = &answer.value.value;
        let fits = match needed {
            "valueDecimal" | "valueInteger" => matches!(node.kind, NodeKind::Number(_)),
            "valueCoding" | "valueQuantity" => matches!(node.kind, NodeKind::Map(_)),
            _ => node.text().is_some(),
        };
        let (title, help) = match needed {
            _ if !fits => (
                format!("a `{needed}` is not {}", node.kind_in_words()),
                "write it as the standard does: a number without quotes, a text or a date in quotes",
            ),
            "valueInteger" if node.shown(self.source).contains(['.', 'e', 'E']) => (
                "a `valueInteger` has no decimal point and no exponent".to_owned(),
                "write the digits alone",
            ),
            "valueString" if node.text().is_none_or(|it| it.trim().is_empty()) => (
                "the answer is a text of nothing".to_owned(),
                "leave the answer out; not known, and none where a list is asked for, are options of the form",
            ),
            _ => return Some(node),
        };
        self.wrong(Code::WrongType, node, title, "of the wrong kind")
            .help(help)
            .none()
    }

    /// A code as the form gives it: one of these, each with what it means, or why there is none.
    fn coding(&mut self, coding: &'a Node, own: &str, codes: &[(&str, &str)]) -> Option<Coded<'a>> {
        self.elements(coding, &CODING);
        let (code, of) = (
            coding.get("code"),
            coding.get("system").and_then(Node::text),
        );
        let Some((code, word)) = code.and_then(|it| Some((it, it.text()?))) else {
            let title = "the answer has no code";
            return self
                .wrong(Code::MissingKey, coding, title, "`code` is missing")
                .help("answer by one of the form's options, with its `system` and `code`")
                .none();
        };
        let (coded, means) = match (of, word) {
            (Some(ABSENT), NOT_KNOWN) => (Coded::Absent("unknown"), NOT_KNOWN_IN_WORDS),
            (Some(ABSENT), DECLINED) => (Coded::Absent("declined"), DECLINED_IN_WORDS),
            (Some(of), NONE) if of == system(self.canonical, "answers") => {
                (Coded::None, NONE_IN_WORDS)
            }
            (Some(of), _) if of == own => {
                let option = codes.iter().find(|(it, _)| *it == word);
                let Some((_, means)) = option else {
                    let known = codes.iter().map(|(it, _)| *it);
                    let near = self.near(word, known);
                    let help = near.unwrap_or_else(|| "take one of the form's options".to_owned());
                    let title = format!("`{word}` is not an option here");
                    return self
                        .wrong(Code::AnswerOption, code, title, "not an option")
                        .help(help)
                        .none();
                };
                (Coded::Own(code), *means)
            }
            _ => {
                let title = format!("the form has no option `{word}` of that system here");
                let help = format!(
                    "its own options have the system `{own}`; codes of other systems need a mapping file"
                );
                return self
                    .wrong(Code::AnswerOption, code, title, "not an option")
                    .help(help)
                    .none();
            }
        };
        let others = [NOT_KNOWN_IN_WORDS, DECLINED_IN_WORDS, NONE_IN_WORDS];
        let mut others = others.into_iter().chain(codes.iter().map(|(_, it)| *it));
        let display = coding
            .get("display")
            .filter(|it| it.text() != Some(means) && others.any(|other| it.text() == Some(other)));
        if let Some(display) = display {
            let title = format!("the code `{word}` is shown by the text of another option");
            return self
                .wrong(Code::NotTogether, display, title, "means something else")
                .help(format!(
                    "`{word}` is \"{means}\": find out which of the two is so"
                ))
                .none();
        }
        Some(coded)
    }
}

/// The place by which an item is told.
fn key_of(item: &Node) -> Range<usize> {
    item.get("linkId")
        .map_or_else(|| start(item), |it| it.span.clone())
}

/// The first line of a mapping.
fn start(map: &Node) -> Range<usize> {
    map.entries()
        .first()
        .map_or_else(|| map.span.clone(), |it| it.key_span.clone())
}

/// Whether this is a year or a month of the calendar, which the standard allows where a day is asked for.
fn is_part_of_a_date(text: &str) -> bool {
    let rest = match text.len() {
        4 => "-01-01",
        7 => "-01",
        _ => return false,
    };
    read_when(&format!("{text}{rest}")).is_ok()
}
