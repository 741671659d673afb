//! A questionnaire, or a clinic's file, from its text: the frame around the answers.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use chrono::{NaiveDate, Weekday};

use crate::document::diagnostic::{
    Code, Diagnostic, did_you_mean, listed, misspelt, nearest, perhaps,
};
use crate::document::reading::Tells;
use crate::document::source::{MapEntry, Node, NodeKind, Source};
use crate::document::text;
use crate::document::text::Format;
use crate::quantity::when::read_when;
use crate::questionnaire::facts::{Gathered, Given, Note, Place};
use crate::questionnaire::fhir::response;
use crate::questionnaire::mapping::Mapping;
use crate::questionnaire::reference::not_a_reference;
use crate::rule_set::{Answer, Idx, Question, RuleSet, Section};

/// Most bytes of a questionnaire or clinic file.
pub(crate) const LARGEST: u64 = 1 << 20;
/// The keys of a questionnaire, in order.
pub(crate) const KEYS: [&str; 6] = [
    "questionnaire",
    "for",
    "reference",
    "completed_on",
    "answers",
    "note",
];
/// Longest name of a clinic.
const LONGEST_NAME: usize = 64;
/// The kinds of file by the key that begins each: what it is, and where it is given to the program.
const KINDS: [(&str, &str, &str); 4] = [
    ("mapping", "a mapping file", "`--mapping FILE`"),
    ("local_policy", "a clinic's local policy", "`--local FILE`"),
    (
        "questionnaire",
        "a patient's questionnaire",
        "`preblock screen FILE`",
    ),
    (
        "clinic",
        "a clinic's file",
        "`--clinic FILE`, once for all patients",
    ),
];

/// The frame of a file and its answers as written.
#[derive(Debug, Clone)]
pub struct Questionnaire {
    /// The patient's reference, or the clinic's name for a clinic file; empty after a diagnostic about it.
    pub reference: String,
    /// Its answers and notes.
    pub answers: Gathered,
    /// The weekdays on which the clinic operates; `None` if its file does not say, and for a patient's.
    pub weekdays: Option<Vec<Weekday>>,
    /// Whether a nurse of the clinic may book a go with nothing to heed, to read or to look up, without a clinician; not where
    /// its file does not say, nor for a patient's.
    pub nurse_may_book: bool,
}

/// Reads a questionnaire. The answers are not yet understood.
///
/// # Errors
/// Every diagnostic of the frame; with the tree in hand as much as possible is still read, so that
/// `questionnaire::facts::read` can report the answers, too.
pub fn questionnaire(
    rule_set: &RuleSet,
    name: &str,
    bytes: &[u8],
) -> (Option<Questionnaire>, Vec<Diagnostic>) {
    by_mapping(rule_set, None, name, bytes)
}

/// Reads a questionnaire, or by a mapping file what another program says in its place.
///
/// # Errors
/// As [`questionnaire`].
pub(crate) fn by_mapping(
    rule_set: &RuleSet,
    mapping: Option<&Mapping>,
    name: &str,
    bytes: &[u8],
) -> (Option<Questionnaire>, Vec<Diagnostic>) {
    read(rule_set, mapping, name, tree(name, bytes), false)
}

/// Reads a questionnaire that is one line among many: JSON, whatever it is called.
///
/// # Errors
/// As [`questionnaire`].
pub(crate) fn record(
    rule_set: &RuleSet,
    mapping: Option<&Mapping>,
    name: &str,
    bytes: &[u8],
) -> (Option<Questionnaire>, Vec<Diagnostic>) {
    let read_as_json = text::read_as(Format::Json, name, bytes, LARGEST);
    read(rule_set, mapping, name, read_as_json, false)
}

/// The reference of a questionnaire, read alone; `None` if it has none that can be read, or that may be printed.
pub(crate) fn reference_of(bytes: &[u8]) -> Option<String> {
    text::peek(bytes, "reference").filter(|it| not_a_reference(it).is_none())
}

/// Whether a text is a resource of FHIR, as it says itself.
pub(crate) fn is_response(bytes: &[u8]) -> bool {
    text::peek(bytes, "resourceType").is_some()
}

/// Reads a clinic's file: what may be answered once for all patients.
///
/// # Errors
/// As [`questionnaire`].
pub fn clinic(
    rule_set: &RuleSet,
    name: &str,
    bytes: &[u8],
) -> (Option<Questionnaire>, Vec<Diagnostic>) {
    read(rule_set, None, name, tree(name, bytes), true)
}

/// Reads what a clinic offers, laid out as in its file. What it holds is not yet understood.
///
/// # Errors
/// A diagnostic for each choice that is none.
pub(crate) fn offers(
    rule_set: &RuleSet,
    source: &Arc<Source>,
    map: &Node,
) -> (Gathered, Vec<Diagnostic>) {
    let mut frame = Frame {
        rule_set,
        source: Arc::clone(source),
        root: Arc::new(map.clone()),
        is_clinic: true,
        diagnostics: Vec::new(),
    };
    let mut answers = Gathered::default();
    frame.offers(map, &mut answers);
    (answers, frame.diagnostics)
}

/// The tree of a file in which a frame stands.
pub fn tree(name: &str, bytes: &[u8]) -> text::Read {
    text::read(name, bytes, LARGEST)
}

fn read(
    rule_set: &RuleSet,
    mapping: Option<&Mapping>,
    name: &str,
    read: text::Read,
    is_clinic: bool,
) -> (Option<Questionnaire>, Vec<Diagnostic>) {
    let mut frame = match (read.source, read.root) {
        (Some(source), Some(root)) => Frame {
            rule_set,
            source,
            root,
            is_clinic,
            diagnostics: read.diagnostics,
        },
        _ => return (None, read.diagnostics),
    };
    if !matches!(frame.root.kind, NodeKind::Map(_)) {
        if frame.diagnostics.is_empty() {
            let what = if matches!(frame.root.kind, NodeKind::Null) {
                Diagnostic::bare(Code::Empty, format!("`{name}` is empty"))
            } else {
                let (title, label) = ("a questionnaire is a mapping", frame.root.kind_in_words());
                Diagnostic::at(Code::WrongType, &frame.source, &*frame.root, title, label)
            };
            frame
                .diagnostics
                .push(what.help("`preblock blank` prints an empty questionnaire to start from"));
        }
        return (None, frame.diagnostics);
    }
    if !is_clinic && response::is_resource(&frame.root) {
        let (read, found) = response::read(rule_set, mapping, &frame.source, &frame.root);
        frame.diagnostics.extend(found);
        let read = read.map(|(reference, answers)| Questionnaire {
            reference,
            answers,
            weekdays: None,
            nurse_may_book: false,
        });
        return (read, frame.diagnostics);
    }
    // Of a file that is not meant for this place nothing else is worth telling.
    if let Some(other) = frame.meant_for_another_place() {
        return (None, vec![other]);
    }
    let questionnaire = frame.read();
    (Some(questionnaire), frame.diagnostics)
}

struct Frame<'a> {
    rule_set: &'a RuleSet,
    source: Arc<Source>,
    root: Arc<Node>,
    is_clinic: bool,
    diagnostics: Vec<Diagnostic>,
}

impl Tells for Frame<'_> {
    fn telling(&mut self) -> (&Arc<Source>, &mut Vec<Diagnostic>) {
        (&self.source, &mut self.diagnostics)
    }
}

impl Frame<'_> {
    /// That the file is of another kind, or for another rule set, if that is what it says.
    fn meant_for_another_place(&self) -> Option<Diagnostic> {
        let version_key = self.version_key();
        if let Some((entry, (key, what, place))) = KINDS
            .iter()
            .find_map(|it| Some((self.root.entry(it.0)?, it)))
            && *key != version_key
        {
            let needed = if self.is_clinic {
                "a clinic's file"
            } else {
                "a questionnaire"
            };
            let title = format!("this is {what}, not {needed}");
            let help = format!(
                "give it to {place}; here stands {needed}, which begins with `{version_key}: 1`"
            );
            let (source, label) = (&self.source, "another kind of file");
            let other = Diagnostic::at(Code::AnotherKind, source, entry, title, label);
            return Some(other.help(help));
        }
        let entry = self
            .root
            .entry("for")
            .filter(|it| it.value.kind != NodeKind::Null)?;
        let written = entry.value.shown(&self.source);
        let own = self.rule_set.id.as_str();
        (written != own).then(|| {
            let title = format!("the file is for another rule set than `{own}`");
            let help = match nearest(written, [own]) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("the rule set in use is `{own}`; use `--rules` with the folder of the one that the file is for"),
            };
            Diagnostic::at(Code::AnotherRuleSet, &self.source, &entry.value.span, title, "another rule set").help(help)
        })
    }

    fn version_key(&self) -> &'static str {
        if self.is_clinic {
            "clinic"
        } else {
            "questionnaire"
        }
    }

    fn read(&mut self) -> Questionnaire {
        let root = Arc::clone(&self.root);
        let version_key = self.version_key();
        let name_key = if self.is_clinic { "name" } else { "reference" };
        let known: &[&str] = if self.is_clinic {
            &[
                "clinic",
                "for",
                "name",
                "procedure_days",
                "nurse_may_book",
                "offers",
                "answers",
                "note",
            ]
        } else {
            &KEYS
        };
        for entry in root.entries() {
            if !known.contains(&entry.key.as_str()) {
                let help = if self
                    .rule_set
                    .catalogue
                    .sections
                    .iter()
                    .any(|it| it.id == entry.key)
                {
                    format!("sections such as `{}` stand under `answers:`", entry.key)
                } else {
                    let near = perhaps(&entry.key, known.iter().copied());
                    near.unwrap_or_else(|| {
                        format!(
                            "one of {}; names, addresses and record numbers are never asked for",
                            listed(known)
                        )
                    })
                };
                let title = format!("the key `{}` is not known here", entry.key);
                self.wrong(Code::UnknownKey, entry, title, "not known here")
                    .help(help);
            }
        }
        let is_misspelt =
            |key: &str| misspelt(key, root.entries().iter().map(|it| it.key.as_str()), known);
        match root.entry(version_key) {
            None if is_misspelt(version_key) => {}
            None => {
                let help = format!("add the line `{version_key}: 1` at the top");
                let title = format!("the file has no `{version_key}`");
                let label = "the version of the form is missing";
                self.wrong(Code::MissingKey, &start(&root), title, label)
                    .help(help);
            }
            Some(entry) if entry.value.kind != NodeKind::Number(1.0) => {
                let span = value_or_key(entry);
                let title = format!("this program reads `{version_key}: 1`");
                self.wrong(Code::WrongForm, span, title, "another version")
                    .help(format!("write `{version_key}: 1`"));
            }
            Some(_) => {}
        }
        let reference = if root.entry(name_key).is_none() && is_misspelt(name_key) {
            String::new()
        } else {
            self.reference(&root, name_key)
        };
        let completed_on = self.completed_on(&root);
        let mut answers = Gathered {
            completed_on,
            ..Gathered::default()
        };
        if let Some(entry) = root.entry("note") {
            self.note("", &entry.value, &mut answers);
        }
        let weekdays = root
            .entry("procedure_days")
            .filter(|it| self.is_clinic && it.value.kind != NodeKind::Null);
        let weekdays = weekdays
            .map(|it| it.value.clone())
            .and_then(|it| self.weekdays(&it));
        let nurse_may_book = root
            .entry("nurse_may_book")
            .filter(|_| self.is_clinic)
            .is_some_and(|it| self.nurse_may_book(&it.value));
        if let Some(entry) = root
            .entry("offers")
            .filter(|it| self.is_clinic && it.value.kind != NodeKind::Null)
        {
            self.offers(&entry.value.clone(), &mut answers);
        }
        match root.entry("answers") {
            None if is_misspelt("answers") => {}
            None => {
                let title = "the file has no `answers`";
                let label = "`answers` is missing";
                self.wrong(Code::MissingKey, &start(&root), title, label)
                    .help("add `answers:` and the sections under it");
            }
            Some(entry) => match &entry.value.kind {
                NodeKind::Map(_) | NodeKind::Null => {
                    let value = entry.value.clone();
                    self.sections(&value, &mut answers);
                }
                _ => {
                    let title = "`answers` is a mapping of sections";
                    let label = entry.value.kind_in_words();
                    self.wrong(Code::WrongType, &entry.value, title, label)
                        .help("write the sections under `answers:`, indented");
                }
            },
        }
        Questionnaire {
            reference,
            answers,
            weekdays,
            nurse_may_book,
        }
    }

    /// Whether a nurse may book without a clinician: only where that is said in so many words.
    fn nurse_may_book(&mut self, node: &Node) -> bool {
        if node.yes_or_no().is_none() && node.kind != NodeKind::Null {
            let title = "`nurse_may_book` is yes or no";
            let help = "write exactly `yes` or `no`; left out, a clinician decides on everybody";
            self.wrong(Code::WrongType, node, title, "neither yes nor no")
                .help(help);
        }
        node.yes_or_no() == Some(true)
    }

    /// The weekdays on which the clinic operates, in English words.
    fn weekdays(&mut self, list: &Node) -> Option<Vec<Weekday>> {
        const NAMES: [&str; 7] = [
            "monday",
            "tuesday",
            "wednesday",
            "thursday",
            "friday",
            "saturday",
            "sunday",
        ];
        let mut found = Vec::new();
        for item in list.items() {
            let written = item.shown(&self.source).to_owned();
            match NAMES
                .iter()
                .position(|it| *it == written)
                .and_then(|at| Weekday::try_from(u8::try_from(at).ok()?).ok())
            {
                Some(day) => found.push(day),
                None => {
                    let help = did_you_mean(&written, NAMES)
                        .unwrap_or_else(|| format!("the days are {}", listed(&NAMES)));
                    let title = format!("`{written}` is not a weekday");
                    self.wrong(Code::WrongForm, item, title, "not a weekday")
                        .help(help);
                }
            }
        }
        if list.items().is_empty() {
            let help = "write a list such as `[tuesday, thursday]`, or leave the line out if any day will do";
            let title = "`procedure_days` is a list of weekdays";
            self.wrong(Code::WrongType, list, title, list.kind_in_words())
                .help(help);
        }
        (!found.is_empty()).then_some(found)
    }

    /// The day the answers were given; `None` if it is left out, `unknown`, or after a diagnostic.
    fn completed_on(&mut self, root: &Node) -> Option<(NaiveDate, Place)> {
        let entry = root.entry("completed_on")?;
        let text = entry.value.shown(&self.source).to_owned();
        if entry.value.kind == NodeKind::Null || text == "unknown" {
            return None;
        }
        match read_when(&text) {
            Ok(when) => Some((
                when.date,
                Place {
                    source: Arc::clone(&self.source),
                    span: entry.value.span.clone(),
                },
            )),
            Err(error) => {
                let title = "`completed_on` is not a date";
                let label = "not a date of the calendar";
                self.wrong(Code::NotADate, &entry.value, title, label)
                    .help(error.to_string())
                    .none()
            }
        }
    }

    fn reference(&mut self, root: &Node, key: &str) -> String {
        let Some(entry) = root.entry(key) else {
            let help = if self.is_clinic {
                "add `name: ...`, the clinic's name".to_owned()
            } else {
                "add `reference: ...`, by which the clinic knows the patient; never a name"
                    .to_owned()
            };
            let title = format!("the file has no `{key}`");
            let label = format!("`{key}` is missing");
            self.wrong(Code::MissingKey, &start(root), title, label)
                .help(help);
            return String::new();
        };
        let text = entry.value.shown(&self.source);
        let wrong = if self.is_clinic {
            not_a_name(text)
        } else {
            not_a_reference(text)
        };
        let Some((title, help)) = wrong else {
            return text.to_owned();
        };
        let span = value_or_key(entry);
        self.wrong(Code::WrongForm, span, title, "cannot stand here")
            .help(help);
        String::new()
    }

    /// Refuses a `#` that hides what stands behind a plain text: whoever writes a note or a list of medicines may mean it
    /// as a letter of the text.
    fn nothing_hidden(&mut self, node: &Node) {
        for inner in node
            .items()
            .iter()
            .chain(node.entries().iter().map(|it| &it.value))
        {
            self.nothing_hidden(inner);
        }
        let written = self.source.slice(&node.span);
        if written.starts_with(['"', '\''])
            || matches!(node.kind, NodeKind::List(_) | NodeKind::Map(_))
        {
            return;
        }
        // A block of text ends with a line end, and what could be hidden stands behind its header, on the last line before.
        let is_block = written.trim_end_matches(' ').ends_with('\n');
        let end = if is_block {
            self.source
                .text()
                .get(..node.span.start)
                .map_or(0, |it| it.trim_end().len())
        } else {
            node.span.end
        };
        let Some(line) = self.source.line_range(self.source.line_index(end)) else {
            return;
        };
        let behind = if is_block {
            let header = self.source.slice(&line);
            header.find(" #").map_or("", |at| header.split_at(at + 1).1)
        } else {
            // Where nothing is written, the place is that of the key.
            let colon = node.kind == NodeKind::Null;
            let rest = self.source.slice(&(end..line.end));
            rest.trim_start_matches(|it: char| {
                it.is_whitespace() || it == ',' || (colon && it == ':')
            })
        };
        if behind.starts_with('#') {
            let span = line.end - behind.len()..line.end;
            let title = "`#` begins a comment here, so the rest of the line is not read";
            let help = "if it belongs to the answer, put the whole text in quotes; if it is a remark, put it on a line of its own";
            self.wrong(Code::HiddenText, &span, title, "not read")
                .help(help);
        }
    }

    fn note(&mut self, section: &str, value: &Node, answers: &mut Gathered) {
        self.nothing_hidden(value);
        match value.written(&self.source) {
            Some(text) => answers.notes.push(Note {
                section: section.to_owned(),
                text: text.trim_end().to_owned(),
                place: Place {
                    source: Arc::clone(&self.source),
                    span: value.span.clone(),
                },
            }),
            None if value.kind == NodeKind::Null => {}
            None => {
                let title = "a note is a text";
                self.wrong(Code::AnswerType, value, title, value.kind_in_words())
                    .help("write the note as one text; `|` keeps its lines");
            }
        }
    }

    fn sections(&mut self, map: &Node, answers: &mut Gathered) {
        for entry in map.entries() {
            let catalogue = &self.rule_set.catalogue;
            let Some(section) = catalogue.sections.position(|it| it.id == entry.key) else {
                let known: Vec<&str> = catalogue.sections.iter().map(|it| it.id.as_str()).collect();
                let help = did_you_mean(&entry.key, known.iter().copied())
                    .unwrap_or_else(|| format!("the sections are {}", listed(&known)));
                let title = format!("there is no section `{}`", entry.key);
                self.wrong(Code::UnknownQuestion, entry, title, "not a section")
                    .help(help);
                continue;
            };
            if self.is_clinic && !catalogue.has_standing(section) {
                let title = format!("a clinic's file cannot answer `{}`", entry.key);
                self.wrong(Code::NotStanding, entry, title, "about one patient")
                    .help("move it to the patient's own questionnaire");
                continue;
            }
            match &entry.value.kind {
                NodeKind::Null => {}
                NodeKind::Map(_) => self.section(section, &entry.key, &entry.value, answers),
                _ => {
                    let title = format!("section `{}` is a mapping of answers", entry.key);
                    let label = entry.value.kind_in_words();
                    self.wrong(Code::WrongType, &entry.value, title, label)
                        .help("write `question: answer` lines under it, indented");
                }
            }
        }
    }

    /// What the clinic offers of each choice of the plan, laid out like answers. What it holds is understood later.
    /// A blank says nothing.
    fn offers(&mut self, map: &Node, answers: &mut Gathered) {
        if !matches!(map.kind, NodeKind::Map(_)) {
            let help = "write it like answers, with a list for each choice: `plan: { method: [first, second] }`";
            let title = "`offers` is a mapping of sections";
            self.wrong(Code::WrongType, map, title, map.kind_in_words())
                .help(help);
            return;
        }
        let choices = self
            .rule_set
            .catalogue
            .questions
            .iter()
            .filter(|it| it.can_be_offered());
        let known: Vec<&str> = choices.map(|it| it.id.as_str()).collect();
        for section in map.entries() {
            if section.value.entries().is_empty() && section.value.kind != NodeKind::Null {
                let help = format!("the choices of the plan are {}", listed(&known));
                let title = format!("`{}` holds no choice", section.key);
                self.wrong(Code::WrongType, &section.value, title, "no list of choices")
                    .help(help);
            }
            for entry in section.value.entries() {
                let id = format!("{}.{}", section.key, entry.key);
                let Some(at) = self
                    .rule_set
                    .catalogue
                    .questions
                    .position(|it| it.id == id && it.can_be_offered())
                else {
                    let help = match self.rule_set.catalogue.slot(&id) {
                        Some(_) => Question::OFFERED.to_owned(),
                        None => did_you_mean(&id, known.iter().copied())
                            .unwrap_or_else(|| format!("the choices are {}", listed(&known))),
                    };
                    let title = format!("`{id}` is not a choice that a clinic offers");
                    self.wrong(Code::UnknownQuestion, entry, title, "not a choice")
                        .help(help);
                    continue;
                };
                if entry.value.kind == NodeKind::Null {
                    continue;
                }
                let source = Arc::clone(&self.source);
                let given = Given {
                    source,
                    key_span: entry.key_span.clone(),
                    node: entry.value.clone(),
                    standing: true,
                };
                answers.offers.insert(at, given);
            }
        }
    }

    fn section(
        &mut self,
        section: Idx<Section>,
        section_id: &str,
        map: &Node,
        answers: &mut Gathered,
    ) {
        for entry in map.entries() {
            if entry.key == "note" {
                self.note(section_id, &entry.value, answers);
                continue;
            }
            let questions = &self.rule_set.catalogue.questions;
            let id = format!("{section_id}.{}", entry.key);
            match questions.position(|it| it.id == id) {
                Some(at) if self.is_clinic && !questions[at].standing => {
                    let help = if questions[at].can_be_offered() {
                        format!(
                            "what the clinic has stands under `offers`; `{id}` itself belongs to each patient's questionnaire"
                        )
                    } else {
                        "move it to the patient's own questionnaire".to_owned()
                    };
                    let title = format!("a clinic's file cannot answer `{id}`");
                    self.wrong(Code::NotStanding, entry, title, "about one patient")
                        .help(help);
                }
                Some(at) => {
                    if matches!(
                        questions[at].answer,
                        Answer::Medicines | Answer::Allergies | Answer::Text
                    ) {
                        self.nothing_hidden(&entry.value);
                    }
                    let given = Given {
                        source: Arc::clone(&self.source),
                        key_span: entry.key_span.clone(),
                        node: entry.value.clone(),
                        standing: self.is_clinic,
                    };
                    answers.given.insert(at, given);
                }
                None => {
                    let here = questions
                        .iter()
                        .filter(|it| it.section == section)
                        .map(|it| it.name());
                    let elsewhere = questions.iter().find(|it| it.name() == entry.key);
                    let derived = format!("derived.{}", entry.key);
                    let help = match elsewhere {
                        _ if self.rule_set.catalogue.slot(&derived).is_some() => {
                            format!("delete the line: `{derived}` is worked out from other answers")
                        }
                        Some(other) => format!("it is asked as `{}`: move it to that section", other.id),
                        None => perhaps(&entry.key, here)
                            .unwrap_or_else(|| "`preblock blank` prints all questions; names and addresses are never asked for".to_owned()),
                    };
                    let title = format!("there is no question `{id}`");
                    self.wrong(Code::UnknownQuestion, entry, title, "not a question")
                        .help(help);
                }
            }
        }
    }
}

/// What is wrong with a text as the name of a clinic, and what to do: `None` if nothing is.
fn not_a_name(text: &str) -> Option<(String, String)> {
    if text.trim().is_empty() {
        let help = "write the clinic's name behind `name:`, such as `name: Saltmarsh Clinic`: every form needs it";
        return Some(("the clinic has no name".into(), help.into()));
    }
    let fits = text.chars().count() <= LONGEST_NAME && !text.contains(char::is_control);
    (!fits).then(|| {
        (
            "the clinic's name is too long".into(),
            format!("one line of at most {LONGEST_NAME} letters"),
        )
    })
}

/// Whether a text may be a patient's reference.
pub(crate) fn is_reference(text: &str) -> bool {
    not_a_reference(text).is_none()
}

/// Where the value of an entry stands; its key, where nothing is written.
fn value_or_key(entry: &MapEntry) -> &Range<usize> {
    let value = Some(&entry.value.span);
    value.filter(|it| !it.is_empty()).unwrap_or(&entry.key_span)
}

/// The first line of the file.
fn start(root: &Node) -> Range<usize> {
    root.entries()
        .first()
        .map_or(0..1, |it| it.key_span.clone())
}

/// Lays a patient's answers over standing ones: the patient's own answer replaces a standing one,
/// even if it only says `unknown`. Notes of both are kept.
pub fn over(standing: &Gathered, own: &Gathered) -> Gathered {
    let mut given: BTreeMap<Idx<Question>, Given> = standing.given.clone();
    given.extend(
        own.given
            .iter()
            .filter(|(_, it)| it.node.kind != NodeKind::Null)
            .map(|(at, it)| (*at, it.clone())),
    );
    let offers = standing.offers.clone();
    Gathered {
        given,
        offers,
        notes: standing.notes.iter().chain(&own.notes).cloned().collect(),
        completed_on: own.completed_on.clone(),
    }
}
