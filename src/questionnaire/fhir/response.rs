//! A FHIR R4 QuestionnaireResponse as a questionnaire.
//!
//! Each answer becomes what would stand in a questionnaire's file, at its place in the response, and is then understood by the
//! same reader: a slip in it is told there, in the same words. INVARIANT: every item and every element is either read or told.
//! What a program may pass over is passed over here by name alone (ids, display texts, who wrote it); what can only be shown
//! to a person, such as a number that is a bound, becomes a note.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use crate::document::diagnostic::{Code, Diagnostic, did_you_mean, listed};
use crate::document::source::{MapEntry, Node, NodeKind, Source};
use crate::quantity::Measure;
use crate::quantity::when::read_when;
use crate::questionnaire::facts::{Gathered, Given, Note, Place};
use crate::questionnaire::fhir::form::{address, canonical};
use crate::questionnaire::fhir::links::{Link, links};
use crate::questionnaire::fhir::{
    ABSENT, DECLINED, NONE, NOT_KNOWN, UCUM, is_list, system, system_of, taken_on_id, value_id,
};
use crate::questionnaire::reference::not_a_reference;
use crate::rule_set::{Answer, Question, RuleSet};

/// Elements of a response that say nothing of an answer.
const PASSED_OVER: [&str; 11] = [
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
    "definition",
];
/// Elements that change what all others mean, so that a reader who does not know them must not go on.
const CHANGES_MEANING: [&str; 3] = ["implicitRules", "modifierExtension", "contained"];
/// Signs before a number that make it a bound.
const COMPARATORS: [&str; 4] = ["<", "<=", ">=", ">"];

/// Whether a tree is a resource of FHIR: it says so itself.
pub(crate) fn is_resource(root: &Node) -> bool {
    root.entry("resourceType").is_some()
}

/// Reads a response as a questionnaire: the patient's reference, empty after a diagnostic about it, and the answers.
///
/// # Errors
/// Every diagnostic of its frame, each at its place; what a single answer says is not yet understood.
pub(crate) fn read(
    rule_set: &RuleSet,
    source: &Arc<Source>,
    root: &Node,
) -> (Option<(String, Gathered)>, Vec<Diagnostic>) {
    let canonical = match canonical(rule_set) {
        Ok(canonical) => canonical,
        Err(lacking) => return (None, vec![lacking]),
    };
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
    reader.elements(
        root,
        &[
            "resourceType",
            "questionnaire",
            "status",
            "subject",
            "authored",
            "item",
        ],
    );
    let reference = reader.reference(root);
    let completed_on = reader.authored(root);
    reader.collect(root.list("item"), true);
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

impl<'a> Reader<'a> {
    fn report(
        &mut self,
        code: Code,
        span: &Range<usize>,
        title: impl Into<String>,
        label: &str,
        help: impl Into<String>,
    ) {
        let found = Diagnostic::at(code, self.source, span, title.into(), label);
        self.diagnostics.push(found.help(help.into()));
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
            self.report(
                Code::AnotherKind,
                &span,
                format!("the resource is a `{written}`, not a QuestionnaireResponse"),
                "another resource",
                "give each QuestionnaireResponse as a file of its own",
            );
            return false;
        }
        let own = format!("{}|{}", address(self.canonical), self.rule_set.edition);
        let form = root.get("questionnaire");
        if form.and_then(Node::text) != Some(own.as_str()) {
            let span = form.map_or_else(|| start(root), |it| it.span.clone());
            self.report(
                Code::AnotherRuleSet,
                &span,
                "the response is to another form than this rule set's",
                "another form, edition, or none",
                format!("the form in use is `{own}`; `preblock questionnaire export` prints it, and a mapping file reads answers to others"),
            );
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
                self.report(
                    Code::NotToBeUsed,
                    &span,
                    "the response is not one to be used",
                    "not completed, amended or in progress",
                    "send the response that counts; its `status` says completed, amended or in-progress",
                );
                false
            }
        }
    }

    /// Tells every element of a map that is neither among these nor one that says nothing of an answer.
    fn elements(&mut self, map: &'a Node, known: &[&str]) {
        for entry in map.entries() {
            let key = entry.key.as_str();
            if ["answer", "item"].contains(&key) && !matches!(entry.value.kind, NodeKind::List(_)) {
                self.report(
                    Code::WrongType,
                    &entry.value.span,
                    format!(
                        "`{key}` is {}, and must be a list",
                        entry.value.kind_in_words()
                    ),
                    "not a list",
                    "write it in square brackets, even if it holds one thing",
                );
            }
            if known.contains(&key) || PASSED_OVER.contains(&key) {
                continue;
            }
            if CHANGES_MEANING.contains(&key) {
                self.report(
                    Code::NotToBeUsed,
                    &entry.key_span,
                    format!("`{key}` may change what the answers mean, and is not known here"),
                    "not known here",
                    "send the response without it, or enter the answers by hand",
                );
            } else if key == "extension" {
                let urls = entry.value.items().iter().filter_map(|it| it.get("url"));
                let urls: Vec<&str> = urls.filter_map(Node::text).collect();
                let words = format!("An extension was not read: {}.", urls.join(", "));
                self.tell("", words, &entry.key_span);
            } else {
                let help = did_you_mean(key, known.iter().copied())
                    .unwrap_or_else(|| format!("here may stand {}", listed(known)));
                self.report(
                    Code::UnknownKey,
                    &entry.key_span,
                    format!("the element `{key}` is not known here"),
                    "not known here",
                    help,
                );
            }
        }
    }

    fn reference(&mut self, root: &'a Node) -> String {
        let value = root
            .get("subject")
            .and_then(|it| it.get("identifier"))
            .and_then(|it| it.get("value"));
        let Some(value) = value else {
            let span = root
                .entry("subject")
                .map_or_else(|| start(root), |it| it.key_span.clone());
            self.report(
                Code::MissingKey,
                &span,
                "the response does not say whose it is",
                "`subject.identifier.value` is missing",
                "add the reference by which the clinic knows the patient: `\"subject\": { \"identifier\": { \"value\": \"SM-103\" } }`; never a name",
            );
            return String::new();
        };
        let text = value.shown(self.source);
        if let Some((title, help)) = not_a_reference(text) {
            self.report(Code::WrongForm, &value.span, title, "not a reference", help);
            return String::new();
        }
        text.to_owned()
    }

    /// The day on which the answers were given.
    fn authored(&mut self, root: &'a Node) -> Option<(chrono::NaiveDate, Place)> {
        let node = root.get("authored")?;
        let text = node.shown(self.source);
        // A moment is told with its zone; the day is the one of that zone.
        let day = text.split_once('T').map_or(text, |(day, _)| day);
        match read_when(day) {
            Ok(when) => Some((when.date, self.place(&node.span))),
            Err(error) => {
                self.report(
                    Code::NotADate,
                    &node.span,
                    "`authored` is not a day",
                    "not a date of the calendar",
                    error.to_string(),
                );
                None
            }
        }
    }

    /// Finds the items of a response by their link ids.
    fn collect(&mut self, items: &'a [Node], may_be_group: bool) {
        for item in items {
            self.elements(item, &["linkId", "answer", "item"]);
            let Some(link) = item.get("linkId").filter(|it| it.text().is_some()) else {
                self.report(
                    Code::MissingKey,
                    &start(item),
                    "an item has no `linkId`",
                    "which question?",
                    "add the `linkId` that the form gives the question",
                );
                continue;
            };
            let id = link.shown(self.source);
            let Some(kind) = self.links.get(id).copied() else {
                let known = self.links.keys().map(String::as_str);
                let help = did_you_mean(id, known).unwrap_or_else(|| {
                    "`preblock questionnaire export` prints the form with the link ids of all questions".to_owned()
                });
                self.report(
                    Code::UnknownQuestion,
                    &link.span,
                    format!("the form has no item `{id}` here"),
                    "not an item of the form",
                    help,
                );
                continue;
            };
            if self.items.contains_key(id) {
                self.report(
                    Code::DuplicateKey,
                    &link.span,
                    format!("`{id}` is answered twice"),
                    "a second time",
                    "keep one of the two; several answers to one question stand in one item",
                );
                continue;
            }
            self.items.insert(id.to_owned(), item);
            let (answers, inner) = (item.entry("answer"), item.entry("item"));
            match (kind, answers, inner) {
                (Link::Group, None, _) if may_be_group => {
                    self.collect(item.list("item"), id.split('.').nth(1).is_none());
                }
                (Link::Answer | Link::Note, _, None) | (Link::Display, None, None) => {}
                (Link::Group, Some(it), _) | (Link::Display, Some(it), _) => self.report(
                    Code::WrongType,
                    &it.key_span,
                    format!("`{id}` is no question"),
                    "an answer to no question",
                    "move the answer to the item of its question",
                ),
                (_, _, it) => {
                    let span = it.map_or_else(|| link.span.clone(), |it| it.key_span.clone());
                    self.report(
                        Code::WrongType,
                        &span,
                        format!("items do not stand here in `{id}`"),
                        "in the wrong place",
                        "what belongs to an answer stands in that answer: `answer: [{ ..., item: [...] }]`",
                    );
                }
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
            let mut known = keys;
            known.push("item");
            self.elements(answer, &known);
            match values.as_slice() {
                [value] => found.push(ItemAnswer {
                    value,
                    within: answer.list("item"),
                    span: answer.span.clone(),
                }),
                [] => self.report(
                    Code::MissingKey,
                    &answer.span,
                    "an answer has no value",
                    "nothing is said here",
                    "leave the answer out; why there is none is said by the item beside it that ends in `.absent`",
                ),
                [_, second, ..] => self.report(
                    Code::NotTogether,
                    &second.key_span,
                    "an answer has two values",
                    "a second value",
                    "keep the one that counts; several answers are several entries of `answer`",
                ),
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
        self.report(
            Code::AnswerType,
            &answer.value.key_span,
            title,
            "another type",
            format!("answer by `{needed}`"),
        );
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
        if fits {
            return Some(node);
        }
        let title = format!("a `{needed}` is not {}", node.kind_in_words());
        self.report(
            Code::WrongType,
            &node.span,
            title,
            "of the wrong kind",
            "write it as the standard does: a number without quotes, a text or a date in quotes",
        );
        None
    }

    /// A code as the form gives it.
    fn coding(&mut self, coding: &'a Node, own: &str) -> Option<Coded<'a>> {
        let allowed = ["system", "code", "display", "version", "userSelected"];
        self.elements(coding, &allowed);
        let (code, of) = (
            coding.get("code"),
            coding.get("system").and_then(Node::text),
        );
        let Some((code, word)) = code.and_then(|it| Some((it, it.text()?))) else {
            self.report(
                Code::MissingKey,
                &coding.span,
                "the answer has no code",
                "`code` is missing",
                "answer by one of the form's options, with its `system` and `code`",
            );
            return None;
        };
        match (of, word) {
            (Some(ABSENT), NOT_KNOWN) => Some(Coded::Absent("unknown")),
            (Some(ABSENT), DECLINED) => Some(Coded::Absent("declined")),
            (Some(of), NONE) if of == system(self.canonical, "answers") => Some(Coded::None),
            (Some(of), _) if of == own => Some(Coded::Own(code)),
            _ => {
                self.report(
                    Code::AnswerOption,
                    &code.span,
                    format!("the form has no option `{word}` of that system here"),
                    "not an option",
                    format!("its own options have the system `{own}`; codes of other systems need a mapping file"),
                );
                None
            }
        }
    }

    /// The answer to a question, as it would stand in a questionnaire's file.
    fn question(&mut self, question: &Question) -> Option<Given> {
        let value_link = value_id(question);
        let value = self.part(question, &value_link, false);
        let node = if question.dated {
            let link = taken_on_id(question);
            let taken_on = self.part(question, &link, true);
            match (value, taken_on) {
                (None, None) => None,
                // A result that is not known has no day.
                (Some((key, word)), None) if is_word(&word) => Some((key, word)),
                (value, taken_on) => {
                    let key = value.as_ref().or(taken_on.as_ref())?.0.clone();
                    let node = |part: Option<(Range<usize>, Node)>| {
                        part.map_or_else(|| blank(&key), |(_, it)| it)
                    };
                    let (value, taken_on) = (node(value), node(taken_on));
                    let span = value.span.clone();
                    let entries = vec![
                        entry("value", &key, value),
                        entry("taken_on", &key, taken_on),
                    ];
                    let kind = NodeKind::Map(entries);
                    Some((key.clone(), Node { span, kind }))
                }
            }
        } else {
            value
        };
        let (key_span, node) = node?;
        Some(Given {
            source: Arc::clone(self.source),
            key_span,
            node,
            standing: false,
        })
    }

    /// The item of an answer, or the one beside it that says why there is none.
    fn part(
        &mut self,
        question: &Question,
        link: &str,
        is_day: bool,
    ) -> Option<(Range<usize>, Node)> {
        let answer = self.items.get(link).copied();
        let absent = self.items.get(&format!("{link}.absent")).copied();
        let read = answer.and_then(|item| {
            let key = key_of(item);
            let answers = self.answers(item);
            let node = self.value(question, link, is_day, &answers)?;
            Some((key, node))
        });
        let said = absent.and_then(|item| {
            let answers = self.answers(item);
            let word = self.absent_word(&answers)?;
            Some((key_of(item), word))
        });
        match (read, said) {
            (Some(_), Some((key, _))) => {
                self.report(
                    Code::NotTogether,
                    &key,
                    format!("`{link}` is answered, and said to have no answer"),
                    "beside an answer",
                    "keep the one that is so",
                );
                None
            }
            (read, said) => read.or(said),
        }
    }

    /// The word for why there is no answer, at its place.
    fn absent_word(&mut self, answers: &[ItemAnswer<'a>]) -> Option<Node> {
        let only = self.only(answers)?;
        let coding = self.typed(only, "valueCoding")?;
        match self.coding(coding, ABSENT)? {
            Coded::Absent(word) => Some(text(word, &coding.span)),
            Coded::Own(_) | Coded::None => {
                self.report(
                    Code::AnswerOption,
                    &coding.span,
                    "the form does not have that reason",
                    "not an option",
                    format!("`{NOT_KNOWN}` or `{DECLINED}`"),
                );
                None
            }
        }
    }

    /// The one answer of an item that takes one.
    fn only<'r>(&mut self, answers: &'r [ItemAnswer<'a>]) -> Option<&'r ItemAnswer<'a>> {
        if let Some(second) = answers.get(1) {
            self.report(
                Code::NotTogether,
                &second.span,
                "the question takes one answer",
                "a second answer",
                "keep the one that counts",
            );
            return None;
        }
        answers.first()
    }

    fn value(
        &mut self,
        question: &Question,
        link: &str,
        is_day: bool,
        answers: &[ItemAnswer<'a>],
    ) -> Option<Node> {
        if is_list(question) && !is_day {
            return self.list(question, link, answers);
        }
        let only = self.only(answers)?;
        let children: &[&str] = if is_day || matches!(question.answer, Answer::Date) {
            &["time"]
        } else {
            &[]
        };
        let within = self.within(only, link, children);
        if is_day {
            return self.day(question, only, &within);
        }
        match &question.answer {
            Answer::Date => self.day(question, only, &within),
            Answer::Number { whole } => {
                let needed = if *whole {
                    "valueInteger"
                } else {
                    "valueDecimal"
                };
                self.typed(only, needed).cloned()
            }
            Answer::Quantity { measure, .. } => self.quantity(question, *measure, only),
            Answer::Text => self.typed(only, "valueString").cloned(),
            _ => {
                let coding = self.typed(only, "valueCoding")?;
                match self.coding(coding, &system_of(self.canonical, question))? {
                    Coded::Own(code) => Some(code.clone()),
                    Coded::Absent(word) => Some(text(word, &coding.span)),
                    Coded::None => {
                        self.report(
                            Code::AnswerOption,
                            &coding.span,
                            format!("`{}` has no option for none", question.id),
                            "not an option",
                            "take one of the form's options",
                        );
                        None
                    }
                }
            }
        }
    }

    /// A list of options or names. None of them, not known and declined stand alone.
    fn list(
        &mut self,
        question: &Question,
        link: &str,
        answers: &[ItemAnswer<'a>],
    ) -> Option<Node> {
        let own = system_of(self.canonical, question);
        let span = answers.first()?.span.start..answers.last()?.span.end;
        let mut items = Vec::new();
        let mut alone: Option<(Range<usize>, Option<&'static str>)> = None;
        let mut complete = true;
        for answer in answers {
            let value = &answer.value.value;
            let open = matches!(question.answer, Answer::Medicines | Answer::Allergies);
            let name = match answer.value.key.as_str() {
                "valueString" if open => Some(value.clone()),
                "valueCoding" => match self.coding(value, &own) {
                    Some(Coded::Own(code)) => Some(code.clone()),
                    Some(Coded::None) => {
                        alone = Some((answer.span.clone(), None));
                        continue;
                    }
                    Some(Coded::Absent(word)) => {
                        alone = Some((answer.span.clone(), Some(word)));
                        continue;
                    }
                    None => None,
                },
                _ => {
                    self.wrong_type(answer, "valueCoding");
                    None
                }
            };
            match name.and_then(|name| self.list_entry(question, link, answer, name)) {
                Some(item) => items.push(item),
                None => complete = false,
            }
        }
        if let Some((span, word)) = alone {
            if answers.len() > 1 {
                self.report(
                    Code::NotTogether,
                    &span,
                    format!("`{}` has this beside another answer", question.id),
                    "cannot both be so",
                    "keep it, or the answers beside it",
                );
                return None;
            }
            return Some(match word {
                Some(word) => text(word, &span),
                None => Node {
                    span,
                    kind: NodeKind::List(Vec::new()),
                },
            });
        }
        complete.then_some(Node {
            span,
            kind: NodeKind::List(items),
        })
    }

    /// One entry of a list with its details.
    fn list_entry(
        &mut self,
        question: &Question,
        link: &str,
        answer: &ItemAnswer<'a>,
        name: Node,
    ) -> Option<Node> {
        let details: &[&str] = match question.answer {
            Answer::Medicines => &["daily", "for"],
            Answer::Allergies => &["reaction"],
            Answer::Anaesthetic => &["strength", "volume"],
            _ => &[],
        };
        let within = self.within(answer, link, details);
        let is_plan = matches!(question.answer, Answer::Anaesthetic);
        if within.is_empty() && !is_plan {
            return Some(name);
        }
        let name_key = match question.answer {
            Answer::Allergies => "to",
            Answer::Anaesthetic => "agent",
            _ => "name",
        };
        let key = name.span.clone();
        let mut entries = vec![entry(name_key, &key, name)];
        for detail in details {
            let Some(item) = within.get(detail).copied() else {
                if is_plan {
                    entries.push(entry(detail, &key, blank(&key)));
                }
                continue;
            };
            let answers = self.answers(item);
            let only = self.only(&answers)?;
            let node = match *detail {
                "strength" => self.quantity(question, Measure::Strength, only),
                "volume" => self.quantity(question, Measure::Volume, only),
                "reaction" => {
                    let coding = self.typed(only, "valueCoding")?;
                    match self.coding(coding, &system(self.canonical, "reactions"))? {
                        Coded::Own(code) => Some(code.clone()),
                        Coded::Absent(word) => Some(text(word, &coding.span)),
                        Coded::None => None,
                    }
                }
                _ => self.typed(only, "valueString").cloned(),
            };
            entries.push(entry(detail, &key_of(item), node?));
        }
        Some(Node {
            span: answer.span.clone(),
            kind: NodeKind::Map(entries),
        })
    }

    /// The items within an answer, by the last part of their link id.
    fn within<'k>(
        &mut self,
        answer: &ItemAnswer<'a>,
        link: &str,
        known: &[&'k str],
    ) -> BTreeMap<&'k str, &'a Node> {
        let mut found = BTreeMap::new();
        for item in answer.within {
            self.elements(item, &["linkId", "answer"]);
            let written = item.get("linkId").map_or("", |it| it.shown(self.source));
            let span = item
                .get("linkId")
                .map_or_else(|| start(item), |it| it.span.clone());
            let part = known.iter().find(|it| written == format!("{link}.{it}"));
            match part {
                Some(part) if !found.contains_key(part) => {
                    if !item.list("answer").is_empty() {
                        found.insert(*part, item);
                    }
                }
                Some(_) => self.report(
                    Code::DuplicateKey,
                    &span,
                    format!("`{written}` is answered twice"),
                    "a second time",
                    "keep one of the two",
                ),
                None if written == format!("{link}.help") => {}
                None => self.report(
                    Code::UnknownQuestion,
                    &span,
                    format!("the form has no item `{written}` within this answer"),
                    "not an item of the form",
                    "move it to where the form has it",
                ),
            }
        }
        found
    }

    /// A number with its unit. What is only a bound is not known, and told.
    fn quantity(
        &mut self,
        question: &Question,
        measure: Measure,
        answer: &ItemAnswer<'a>,
    ) -> Option<Node> {
        let quantity = self.typed(answer, "valueQuantity")?;
        self.elements(quantity, &["value", "comparator", "unit", "system", "code"]);
        let number = quantity
            .get("value")
            .filter(|it| matches!(it.kind, NodeKind::Number(_)));
        let Some(number) = number else {
            let span = quantity.get("value").map_or(&quantity.span, |it| &it.span);
            self.report(
                Code::NotANumber,
                span,
                "the quantity has no number",
                "not a number",
                "write `\"value\": 81`, without quotes",
            );
            return None;
        };
        let number = number.shown(self.source);
        let of = quantity.get("system").and_then(Node::text);
        let code = quantity.get("code");
        let unit = code.and_then(Node::text).and_then(|it| measure.of_ucum(it));
        let (Some(UCUM), Some(unit)) = (of, unit) else {
            let span = code.map_or_else(|| quantity.span.clone(), |it| it.span.clone());
            let codes: Vec<&str> = measure.units().iter().map(|it| measure.ucum(it)).collect();
            self.report(
                Code::AnswerUnit,
                &span,
                "the quantity has no unit that is known here",
                "not a known code of UCUM",
                format!("`\"system\": \"{UCUM}\"` with a `code` of {}; the `unit` is for people and never read", listed(&codes)),
            );
            return None;
        };
        let Some(comparator) = quantity.get("comparator") else {
            return Some(text(&format!("{number} {unit}"), &quantity.span));
        };
        let sign = comparator.shown(self.source);
        if !COMPARATORS.contains(&sign) {
            self.report(
                Code::NotAnOption,
                &comparator.span,
                "the comparator is none of the standard's",
                "not a comparator",
                format!("one of {}", listed(&COMPARATORS)),
            );
            return None;
        }
        let words = format!(
            "{} {sign} {number} {unit}: a bound and no measured value, so it counts as not known.",
            question.ask
        );
        self.tell(&section_of(question), words, &quantity.span);
        Some(text("unknown", &quantity.span))
    }

    /// A day, with its time if one is told. Part of a date is not known, and told.
    fn day(
        &mut self,
        question: &Question,
        answer: &ItemAnswer<'a>,
        within: &BTreeMap<&str, &'a Node>,
    ) -> Option<Node> {
        let node = self.typed(answer, "valueDate")?;
        let day = node.shown(self.source);
        let digits = |it: &str| it.bytes().all(|byte| byte.is_ascii_digit() || byte == b'-');
        if digits(day) && [4, 7].contains(&day.len()) {
            let words = format!(
                "{} {day}: a part of a date, so it counts as not known.",
                question.ask
            );
            self.tell(&section_of(question), words, &node.span);
            return Some(text("unknown", &node.span));
        }
        let Some(item) = within.get("time").copied() else {
            return Some(node.clone());
        };
        let answers = self.answers(item);
        let only = self.only(&answers)?;
        let time = self.typed(only, "valueTime")?;
        // To the minute, as everywhere here; the standard demands seconds.
        let written = time.shown(self.source);
        let (minutes, seconds) = written.split_at_checked(5).unwrap_or((written, ""));
        let is_rest = |it: char| it.is_ascii_digit() || ":.".contains(it);
        let minutes = if seconds.chars().all(is_rest) {
            minutes
        } else {
            written
        };
        Some(text(&format!("{day} {minutes}"), &node.span))
    }

    /// The notes of the form.
    fn noted(&mut self) {
        let notes: Vec<(String, &'a Node)> = self
            .items
            .iter()
            .filter(|(id, _)| self.links.get(*id) == Some(&Link::Note))
            .map(|(id, item)| (id.clone(), *item))
            .collect();
        for (id, item) in notes {
            let section = id.strip_suffix(".note").unwrap_or("").to_owned();
            for answer in self.answers(item) {
                if let Some(node) = self.typed(&answer, "valueString") {
                    let words = node.shown(self.source).trim_end().to_owned();
                    self.tell(&section, words, &node.span);
                }
            }
        }
    }
}

/// The section of a question, by its id.
fn section_of(question: &Question) -> String {
    let section = question.id.split_once('.');
    section.map_or_else(String::new, |(section, _)| section.to_owned())
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

fn text(words: &str, span: &Range<usize>) -> Node {
    Node {
        span: span.clone(),
        kind: NodeKind::Text(words.to_owned()),
    }
}

/// Nothing, at a place.
fn blank(span: &Range<usize>) -> Node {
    Node {
        span: span.clone(),
        kind: NodeKind::Null,
    }
}

fn entry(key: &str, key_span: &Range<usize>, value: Node) -> MapEntry {
    MapEntry {
        key: key.to_owned(),
        key_span: key_span.clone(),
        value,
    }
}

/// Whether an answer is only why there is none.
fn is_word(node: &Node) -> bool {
    matches!(node.text(), Some("unknown" | "declined"))
}
