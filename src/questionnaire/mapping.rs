//! A mapping file: what the columns, items and codes of another program mean here.
//!
//! Nothing of what a sender writes is guessed: neither a unit, nor the order of day and month, nor what an empty cell means.
//! INVARIANT: of a mapping that was read every column leads to a question that there is, in a way that it can be answered.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::ops::Range;
use std::sync::Arc;

use crate::document::diagnostic::{Code, Diagnostic, did_you_mean, listed};
use crate::document::reading::{Reading, Tells};
use crate::document::source::{MapEntry, Node, NodeKind, Source};
use crate::rule_set::files::TextFile;
use crate::rule_set::recognise;
use crate::rule_set::{Answer, Idx, Question, RuleSet};

/// What the columns, items and codes of another program mean.
#[derive(Debug, Clone)]
pub struct Mapping {
    /// How its sheets are written, if it sends any.
    pub sheet: Option<SheetForm>,
    /// The form to which its responses are, with its version, if it sends any.
    pub form: Option<String>,
    /// The columns or items that are read.
    pub columns: Vec<MappedColumn>,
    /// Those that are not.
    pub ignored: BTreeSet<String>,
}

/// How a sheet is written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetForm {
    /// What stands between two cells.
    pub separator: u8,
    /// What stands before decimals.
    pub decimal: Decimal,
    /// How a day is written: `DD.MM.YYYY`.
    pub dates: String,
    /// The column of the reference.
    pub reference: String,
    /// The column of the day on which the answers were given.
    pub completed_on: Option<String>,
}

/// What stands before decimals.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decimal {
    /// A point.
    Point,
    /// A comma.
    Comma,
}

/// One column or item.
#[derive(Debug, Clone)]
pub struct MappedColumn {
    /// Its heading or link id.
    pub from: String,
    /// What it answers.
    pub part: ColumnPart,
    /// The unit of a number that stands alone.
    pub unit: Option<&'static str>,
    /// What its words mean.
    pub codes: BTreeMap<String, CodeMeaning>,
    /// Of which system its codes are in responses; of none, if `None`.
    pub system: Option<String>,
    /// What stands between the entries of a list.
    pub split: Option<String>,
    /// Whether it goes on with a list that an earlier column begins.
    pub further: bool,
}

/// What a column answers.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum ColumnPart {
    /// A question.
    Answer(Idx<Question>),
    /// The day of its result.
    TakenOn(Idx<Question>),
    /// A note of this section; of the whole questionnaire, if it is empty.
    Note(String),
}

/// What a sender's word means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CodeMeaning {
    /// One of our options or names.
    Named(String),
    /// Asked, and none.
    Nothing,
    /// Asked, and no answer: the word of a questionnaire.
    Absent(&'static str),
}

/// Reads a mapping file.
///
/// # Errors
/// Every diagnostic of it.
pub fn read(rule_set: &RuleSet, name: &str, bytes: &[u8]) -> Result<Mapping, Vec<Diagnostic>> {
    let file = TextFile::new(name, bytes);
    let mut unreadable = Vec::new();
    let parsed = file.parsed(&mut unreadable);
    let Some(parsed) = parsed.filter(|_| unreadable.is_empty()) else {
        return Err(unreadable);
    };
    let (source, root) = (&parsed.source, &parsed.root);
    if let Some(written) = root.get("for")
        && written.text().is_some_and(|it| it != rule_set.id)
    {
        let title = format!("the file is for another rule set than `{}`", rule_set.id);
        let (code, label) = (Code::AnotherRuleSet, "another rule set");
        let other = Diagnostic::at(code, source, written, title, label);
        return Err(vec![other]);
    }
    let mut reader = MappingReader {
        rule_set,
        reading: parsed.reading("mapping"),
        seen: HashMap::new(),
    };
    let mapping = reader.mapping(source, root);
    let found = reader.reading.finish();
    match mapping {
        Some(mapping) if found.is_empty() => Ok(mapping),
        _ => Err(found),
    }
}

struct MappingReader<'a> {
    rule_set: &'a RuleSet,
    reading: Reading<'a>,
    /// Where each column was named first.
    seen: HashMap<String, Range<usize>>,
}

impl MappingReader<'_> {
    fn mapping(&mut self, source: &Arc<Source>, root: &Node) -> Option<Mapping> {
        let sheet = root.get("sheet").and_then(|it| self.sheet(source, it));
        let form = root
            .get("response")
            .and_then(|it| self.reading.owned(it, "form"));
        let mut columns: Vec<MappedColumn> = Vec::new();
        let mut answered: BTreeMap<ColumnPart, Range<usize>> = BTreeMap::new();
        for node in root.list("answers") {
            let from = self.named(source, node.get("from"));
            let Some(column) = self.column(node, from) else {
                continue;
            };
            let to = node.get("to").map_or(&node.span, |it| &it.span);
            let first = answered.get(&column.part);
            if let Some(first) = first.filter(|_| !self.may_be_several(&column.part)) {
                let title = "two columns lead to one question";
                self.reading
                    .wrong(Code::MappedTwice, to, title, "a second column")
                    .also(first, "the first one");
            } else if column.further && first.is_none() {
                let title = "no earlier column begins this list";
                let help =
                    "take `further` out here, or move the entry below the one that begins the list";
                self.reading
                    .wrong(Code::MappedTwice, to, title, "nothing to go on with")
                    .help(help);
            }
            answered
                .entry(column.part.clone())
                .or_insert_with(|| to.clone());
            columns.push(column);
        }
        let ignored: BTreeSet<String> = root
            .list("ignore")
            .iter()
            .map(|it| self.named(source, Some(it)))
            .collect();
        Some(Mapping {
            sheet,
            form,
            columns,
            ignored,
        })
    }

    /// The name of a column, which may stand once.
    fn named(&mut self, source: &Arc<Source>, node: Option<&Node>) -> String {
        // Where there is none the schema says so.
        let Some((node, name)) = node.and_then(|it| Some((it, it.written(source)?))) else {
            return String::new();
        };
        let name = name.trim().to_owned();
        match self.seen.get(&name) {
            Some(first) => {
                let title = format!("the column `{name}` stands here a second time");
                self.reading
                    .wrong(Code::MappedTwice, node, title, "a second time")
                    .also(first, "the first time");
            }
            None => {
                self.seen.insert(name.clone(), node.span.clone());
            }
        }
        name
    }

    fn sheet(&mut self, source: &Arc<Source>, node: &Node) -> Option<SheetForm> {
        let separator = match node.get("separator")?.text()? {
            "comma" => b',',
            "semicolon" => b';',
            "tab" => b'\t',
            "bar" => b'|',
            _ => return None,
        };
        let decimal = match node.get("decimal")?.text()? {
            "comma" => Decimal::Comma,
            _ => Decimal::Point,
        };
        let dates = self.reading.needed(node, "dates")?;
        let reference = self.named(source, node.get("reference"));
        let completed_on = node.get("completed_on");
        Some(SheetForm {
            separator,
            decimal,
            dates,
            reference,
            completed_on: completed_on.map(|it| self.named(source, Some(it))),
        })
    }

    fn may_be_several(&self, part: &ColumnPart) -> bool {
        match part {
            ColumnPart::Answer(at) => self.rule_set.catalogue.questions[*at].is_list(),
            ColumnPart::TakenOn(_) => false,
            ColumnPart::Note(_) => true,
        }
    }

    /// What a column answers; `None` after a diagnostic.
    fn part(&mut self, to: &Node) -> Option<ColumnPart> {
        let questions = &self.rule_set.catalogue.questions;
        let written = to.text()?;
        let sections = &self.rule_set.catalogue.sections;
        match written.rsplit_once('.') {
            None if written == "note" => return Some(ColumnPart::Note(String::new())),
            Some((section, "note")) if sections.position(|it| it.id == section).is_some() => {
                return Some(ColumnPart::Note(section.to_owned()));
            }
            _ => {}
        }
        if let Some(at) = questions.position(|it| it.id == written) {
            if questions[at].answer == Answer::Anaesthetic {
                let title = format!("`{written}` is no answer of one column");
                let label = "agents, strengths and volumes";
                return self
                    .reading
                    .wrong(Code::NotTogether, to, title, label)
                    .help("take the entry out, and plan the anaesthetic here")
                    .none();
            }
            return Some(ColumnPart::Answer(at));
        }
        let dated = written.strip_suffix(".taken_on");
        if let Some(at) = dated.and_then(|id| questions.position(|it| it.dated && it.id == id)) {
            return Some(ColumnPart::TakenOn(at));
        }
        let known = questions.iter().map(|it| it.id.as_str());
        self.reading
            .unknown(
                Code::UnknownQuestion,
                &to.span,
                ("question", written, "not a question"),
                known,
            )
            .none()
    }

    fn column(&mut self, node: &Node, from: String) -> Option<MappedColumn> {
        let part = self.part(node.get("to")?)?;
        let rule_set = self.rule_set;
        let question = match &part {
            ColumnPart::Answer(at) => Some(&rule_set.catalogue.questions[*at]),
            ColumnPart::TakenOn(_) | ColumnPart::Note(_) => None,
        };
        let unit = node.entry("unit").and_then(|it| self.unit(question, it));
        let mut codes = BTreeMap::new();
        for entry in node.mapping("codes") {
            if let Some(meaning) = self.meaning(&part, question, entry) {
                codes.insert(entry.key.trim().to_owned(), meaning);
            }
        }
        let takes_entries = question.is_some_and(Question::is_list);
        for key in ["split", "further"] {
            if let Some(entry) = node.entry(key).filter(|_| !takes_entries) {
                let title = format!("`{key}` is for a list of entries");
                self.reading
                    .wrong(Code::NotTogether, entry, title, "not a list")
                    .help("take it out here: the question takes one answer");
            }
        }
        Some(MappedColumn {
            from,
            part,
            unit,
            codes,
            system: self.reading.owned(node, "system"),
            split: self.reading.owned(node, "split"),
            further: node
                .get("further")
                .is_some_and(|it| it.kind == NodeKind::Bool(true)),
        })
    }

    /// The unit of a column as it is spelt here.
    fn unit(&mut self, question: Option<&Question>, entry: &MapEntry) -> Option<&'static str> {
        let answer = question.map(|it| &it.answer);
        let Some(answer @ Answer::Quantity { measure, .. }) = answer else {
            let title = "`unit` is for a number with a unit";
            return self
                .reading
                .wrong(Code::NotTogether, entry, title, "has no unit")
                .help("take it out here")
                .none();
        };
        let accepted = answer.units();
        let written = entry.value.text()?;
        let known = measure.unit(written).filter(|it| accepted.contains(it));
        if known.is_none() {
            let title = format!("`{written}` is not a unit of the question");
            self.reading
                .wrong(Code::AnswerUnit, &entry.value, title, "wrong unit")
                .help(format!("use {}", listed(&accepted)));
        }
        known
    }

    /// What one of the sender's words means; `None` after a diagnostic.
    fn meaning(
        &mut self,
        part: &ColumnPart,
        question: Option<&Question>,
        entry: &MapEntry,
    ) -> Option<CodeMeaning> {
        let written = entry.value.written(self.reading.source)?.to_owned();
        match written.as_str() {
            "unknown" if !matches!(part, ColumnPart::Note(_)) => {
                return Some(CodeMeaning::Absent("unknown"));
            }
            "declined" if !matches!(part, ColumnPart::Note(_)) => {
                return Some(CodeMeaning::Absent("declined"));
            }
            _ => {}
        }
        let options: Vec<&str> = match question.map(|it| &it.answer) {
            Some(Answer::YesNo) => vec!["yes", "no"],
            Some(Answer::OneOf(options) | Answer::SeveralOf(options)) => {
                options.iter().map(|it| it.id.as_str()).collect()
            }
            _ => Vec::new(),
        };
        let is_known = match question.map(|it| &it.answer) {
            Some(Answer::Medicines) => {
                recognise::known_medicine(&self.rule_set.medicines, &written).is_ok()
            }
            Some(Answer::Allergies) => {
                recognise::known_substance(&self.rule_set.allergens, &written).is_some()
            }
            _ => options.contains(&written.as_str()),
        };
        if is_known {
            return Some(CodeMeaning::Named(written));
        }
        let may_be_empty = question.is_some_and(Question::is_list);
        if written == "none" && may_be_empty {
            return Some(CodeMeaning::Nothing);
        }
        let words = ["unknown", "declined", "none"];
        let words = words.iter().filter(|it| may_be_empty || **it != "none");
        let known: Vec<&str> = options.into_iter().chain(words.copied()).collect();
        let help = did_you_mean(&written, known.iter().copied());
        let title = format!("`{written}` is no answer to this question");
        self.reading
            .wrong(Code::AnswerOption, &entry.value, title, "not an option")
            .help_if(Some(
                help.unwrap_or_else(|| format!("one of {}", listed(&known))),
            ))
            .none()
    }
}
