//! Rows of a sheet as questionnaires.
//!
//! Each cell becomes what would stand in a questionnaire's file, at its place in the sheet, and is then understood by the same
//! reader. INVARIANT: an empty cell is not asked, and never no. So of several columns of one list all must be filled, or none:
//! a list of which a part was not asked would say that there is nothing else.

use std::collections::{BTreeMap, HashMap};
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use crate::document::diagnostic::{Code, Diagnostic, did_you_mean, listed};
use crate::document::reading::Tells;
use crate::document::rows::{RowPlace, Rows, SheetCell, SheetRow, taken_apart};
use crate::document::source::{Node, NodeKind, Source};
use crate::quantity::when::read_when;
use crate::questionnaire::facts::{Gathered, Given, Note, Place, dated};
use crate::questionnaire::frame::Questionnaire;
use crate::questionnaire::mapping::{CodeMeaning, ColumnPart, MappedColumn, Mapping, SheetForm};
use crate::questionnaire::reference::not_a_reference;
use crate::rule_set::{Answer, Idx, Question, RuleSet};

mod value;

/// How a sheet's name ends.
const ENDINGS: [&str; 3] = ["csv", "tsv", "txt"];

/// Whether a file is a sheet, by its name.
pub(crate) fn is_sheet_name(name: &Path) -> bool {
    let ending = name.extension().and_then(|it| it.to_str());
    ending.is_some_and(|it| ENDINGS.contains(&it.to_lowercase().as_str()))
}

/// That a file is a sheet, and nobody said what its columns mean.
pub(crate) fn needs_mapping(name: &str) -> Diagnostic {
    let title = format!("`{name}` is a sheet, and no mapping file says what its columns mean");
    Diagnostic::bare(Code::NeedsMapping, title)
}

/// A sheet that is held whole.
#[derive(Debug)]
pub struct WholeSheet<'a> {
    heading: Heading<'a>,
    bytes: Vec<u8>,
    rows: Vec<(RowPlace, Range<usize>)>,
}

/// The first row of a sheet, by which its columns are told apart.
#[derive(Debug)]
pub struct Heading<'a> {
    rule_set: &'a RuleSet,
    mapping: &'a Mapping,
    form: &'a SheetForm,
    /// What the user knows the sheet by.
    name: String,
    /// The heading of each column.
    columns: Vec<String>,
    /// The rows of each reference that stands more than once, whatever the case of its letters.
    repeated: HashMap<String, Vec<usize>>,
}

impl<'a> WholeSheet<'a> {
    /// Takes a sheet apart. What its rows say is not yet understood.
    ///
    /// # Errors
    /// Everything for which no row of it can be read.
    pub fn read(
        rule_set: &'a RuleSet,
        mapping: &'a Mapping,
        name: &str,
        bytes: &[u8],
    ) -> Result<Self, Vec<Diagnostic>> {
        let unreadable = |error: std::io::Error| {
            vec![Diagnostic::bare(
                Code::Unreadable,
                format!("`{name}` cannot be read: {error}"),
            )]
        };
        let separator = mapping.sheet_form()?.separator;
        let mut from = Rows::new(bytes, separator);
        let mut heading = Heading::next(rule_set, mapping, name, &mut from)?;
        let (mut bytes, mut rows) = (Vec::new(), Vec::new());
        let mut references: HashMap<String, Vec<usize>> = HashMap::new();
        loop {
            let begin = bytes.len();
            let Some(at) = from.next_row(&mut bytes).map_err(unreadable)? else {
                break;
            };
            let row = SheetRow {
                at,
                bytes: bytes.get(begin..).unwrap_or(&[]),
            };
            if let Some(reference) = heading.reference_of(&row) {
                references
                    .entry(reference.to_lowercase())
                    .or_default()
                    .push(at.number);
            }
            rows.push((at, begin..bytes.len()));
        }
        if rows.is_empty() {
            let title = format!("`{name}` has no row below its heading");
            let help = "one row is one referral; a sheet without any may be cut off";
            return Err(vec![Diagnostic::bare(Code::Empty, title).help(help)]);
        }
        references.retain(|_, rows| rows.len() > 1);
        heading.repeated = references;
        Ok(Self {
            heading,
            bytes,
            rows,
        })
    }

    /// What stands above its rows.
    pub fn heading(&self) -> &Heading<'a> {
        &self.heading
    }

    /// Its rows, one a referral.
    pub fn rows(&self) -> impl Iterator<Item = SheetRow<'_>> + Clone {
        self.rows.iter().map(|(at, span)| SheetRow {
            at: *at,
            bytes: self.bytes.get(span.clone()).unwrap_or(&[]),
        })
    }
}

impl Mapping {
    /// How its sheets are written.
    ///
    /// # Errors
    /// The mapping file does not say so.
    pub fn sheet_form(&self) -> Result<&SheetForm, Vec<Diagnostic>> {
        self.sheet.as_ref().ok_or_else(|| {
            let title = "the mapping file does not say how a sheet is written";
            let help = "add `sheet: { separator: comma, decimal: point, dates: YYYY-MM-DD }`, as the sender writes them";
            vec![Diagnostic::bare(Code::MissingKey, title).help(help)]
        })
    }
}

impl<'a> Heading<'a> {
    /// Reads the first row, and finds out what each column holds.
    ///
    /// # Errors
    /// Every column that is not mapped, or stands twice; and that there is no reference.
    pub fn next<R: std::io::BufRead>(
        rule_set: &'a RuleSet,
        mapping: &'a Mapping,
        name: &str,
        rows: &mut Rows<R>,
    ) -> Result<Self, Vec<Diagnostic>> {
        let form = mapping.sheet_form()?;
        let mut bytes = Vec::new();
        let at = rows.next_row(&mut bytes).map_err(|error| {
            let title = format!("`{name}` cannot be read: {error}");
            vec![Diagnostic::bare(Code::Unreadable, title)]
        })?;
        let Some(at) = at else {
            let help = "the first row of a sheet holds the headings of its columns";
            return Err(vec![
                Diagnostic::bare(Code::Empty, format!("`{name}` is empty")).help(help),
            ]);
        };
        let row = SheetRow { at, bytes: &bytes };
        let (source, cells) = row.cells(name, form.separator)?;
        let mut found = Vec::new();
        let known: Vec<&str> = mapping.names().collect();
        for (position, cell) in cells.iter().enumerate() {
            let column = cell.text.as_str();
            let first = cells.iter().take(position).find(|it| it.text == cell.text);
            let told = |code, title: String, label: &str| {
                Diagnostic::at(code, &source, cell, title, label)
            };
            if column.is_empty() {
                let title = format!("column {} has no heading", position + 1);
                found.push(told(Code::ColumnTwice, title, "no heading"));
            } else if let Some(first) = first {
                let title = format!("two columns have the heading `{column}`");
                let twice = told(Code::ColumnTwice, title, "a second time");
                found.push(twice.also(first, "the first time"));
            } else if !known.contains(&column) {
                let title =
                    format!("the mapping file does not say what the column `{column}` holds");
                let help = did_you_mean(column, known.iter().copied());
                found.push(told(Code::NotMapped, title, "not mapped").help_if(help));
            }
        }
        if !cells.iter().any(|it| it.text == form.reference) {
            let title = format!(
                "the sheet has no column `{}`, which holds the reference",
                form.reference
            );
            let all = &(0..source.text().len());
            let missing = Diagnostic::at(Code::MissingKey, &source, all, title, "no reference");
            found.push(missing);
        }
        if !found.is_empty() {
            return Err(found);
        }
        Ok(Self {
            rule_set,
            mapping,
            form,
            name: name.to_owned(),
            columns: cells.into_iter().map(|it| it.text).collect(),
            repeated: HashMap::new(),
        })
    }

    /// What a row is called where it is told of.
    pub fn name_of(&self, row: &SheetRow<'_>) -> String {
        format!("{}, row {}", self.name, row.at.number)
    }

    /// The reference of a row, if it can be read.
    pub(crate) fn reference_of(&self, row: &SheetRow<'_>) -> Option<String> {
        let (_, cells) = row.cells(&self.name, self.form.separator).ok()?;
        let cell = self.cell(&cells, &self.form.reference)?;
        (cells.len() == self.columns.len() && !cell.text.is_empty()).then(|| cell.text.clone())
    }

    /// The cell of a column; `None` if the sheet has no such column.
    fn cell<'c>(&self, cells: &'c [SheetCell], column: &str) -> Option<&'c SheetCell> {
        cells.get(self.columns.iter().position(|it| it == column)?)
    }

    /// Reads a row as a questionnaire. Its answers are not yet understood.
    ///
    /// # Errors
    /// Every diagnostic of the row, each at its cell.
    pub fn questionnaire(&self, row: &SheetRow<'_>) -> (Option<Questionnaire>, Vec<Diagnostic>) {
        let (source, cells) = match row.cells(&self.name, self.form.separator) {
            Ok(read) => read,
            Err(found) => return (None, found),
        };
        if cells.len() != self.columns.len() {
            let title = format!(
                "row {} has {} cells, and the sheet {} columns",
                row.at.number,
                cells.len(),
                self.columns.len()
            );
            let all = 0..source.text().len();
            let span = cells.get(self.columns.len()).map_or(&all, |it| &it.span);
            let label = "not as many as columns";
            let ragged = Diagnostic::at(Code::RaggedRow, &source, span, title, label);
            return (None, vec![ragged]);
        }
        let mut reader = RowReader {
            heading: self,
            source: &source,
            cells: &cells,
            diagnostics: Vec::new(),
        };
        let questionnaire = reader.questionnaire();
        (Some(questionnaire), reader.diagnostics)
    }

    /// Says in which column each place of a row stands.
    pub fn tell_columns(&self, found: &mut [Diagnostic]) {
        for it in found {
            let cells = it
                .source
                .as_ref()
                .map(|source| taken_apart(source.text(), self.form.separator));
            for label in &mut it.labels {
                let here = |cell: &SheetCell| {
                    cell.span.start <= label.span.start && label.span.end <= cell.span.end
                };
                let at = cells.iter().flatten().position(here);
                if let Some(column) = at.and_then(|at| self.columns.get(at)) {
                    label.text = format!("{} (column `{column}`)", label.text);
                }
            }
        }
    }
}

impl Mapping {
    /// Every column that it names.
    fn names(&self) -> impl Iterator<Item = &str> {
        let columns = self.columns.iter().map(|it| it.from.as_str());
        let ignored = self.ignored.iter().map(String::as_str);
        let of_sheet = self.sheet.iter();
        let of_sheet = of_sheet.flat_map(|it| it.completed_on.iter().chain([&it.reference]));
        columns.chain(ignored).chain(of_sheet.map(String::as_str))
    }
}

struct RowReader<'a> {
    heading: &'a Heading<'a>,
    source: &'a Arc<Source>,
    cells: &'a [SheetCell],
    diagnostics: Vec<Diagnostic>,
}

impl Tells for RowReader<'_> {
    fn telling(&mut self) -> (&Arc<Source>, &mut Vec<Diagnostic>) {
        (self.source, &mut self.diagnostics)
    }
}

impl<'a> RowReader<'a> {
    /// The cell of a column, unless it is empty or the sheet has none.
    fn filled(&self, column: &str) -> Option<&'a SheetCell> {
        let cell = self.heading.cell(self.cells, column);
        cell.filter(|it| !it.text.is_empty())
    }

    fn place(&self, cell: &SheetCell) -> Place {
        Place {
            source: Arc::clone(self.source),
            span: cell.span.clone(),
        }
    }

    fn questionnaire(&mut self) -> Questionnaire {
        let heading = self.heading;
        let mut answers = Gathered {
            completed_on: self.completed_on(),
            ..Gathered::default()
        };
        let mut columns: BTreeMap<Idx<Question>, Vec<&MappedColumn>> = BTreeMap::new();
        let mut days: BTreeMap<Idx<Question>, &MappedColumn> = BTreeMap::new();
        for column in &heading.mapping.columns {
            match &column.part {
                ColumnPart::Answer(at) => columns.entry(*at).or_default().push(column),
                ColumnPart::TakenOn(at) => {
                    days.insert(*at, column);
                }
                ColumnPart::Note(section) => {
                    if let Some(cell) = self.filled(&column.from) {
                        answers.notes.push(Note {
                            section: section.clone(),
                            text: cell.text.clone(),
                            place: self.place(cell),
                        });
                    }
                }
            }
        }
        for (at, question) in heading.rule_set.catalogue.questions.entries() {
            let columns = columns.get(&at).map_or(&[][..], Vec::as_slice);
            let value = if question.is_list() {
                self.list(question, columns)
            } else {
                let only = columns.first();
                only.and_then(|column| self.single(question, column))
            };
            let day = days.get(&at).and_then(|column| self.day(column));
            let node = match value.as_ref().or(day.as_ref()) {
                Some(first) if question.dated => dated(&first.span.clone(), value, day),
                _ => value,
            };
            if let Some(node) = node {
                let given = Given {
                    source: Arc::clone(self.source),
                    key_span: node.span.clone(),
                    node,
                    standing: false,
                };
                answers.given.insert(at, given);
            }
        }
        Questionnaire {
            reference: self.reference(),
            answers,
            weekdays: None,
            nurse_may_book: false,
        }
    }

    fn reference(&mut self) -> String {
        let heading = self.heading;
        let Some(cell) = heading.cell(self.cells, &heading.form.reference) else {
            return String::new();
        };
        if let Some((title, help)) = not_a_reference(&cell.text) {
            self.wrong(Code::WrongForm, cell, title, "not a reference")
                .help(help);
            return String::new();
        }
        if let Some(rows) = heading.repeated.get(&cell.text.to_lowercase()) {
            let rows: Vec<String> = rows.iter().map(ToString::to_string).collect();
            let title = format!("rows {} have the same reference", rows.join(", "));
            self.wrong(Code::ReferenceTwice, cell, title, "not the only one")
                .help(Code::ReferenceTwice.mend());
        }
        cell.text.clone()
    }

    fn completed_on(&mut self) -> Option<(chrono::NaiveDate, Place)> {
        let column = self.heading.form.completed_on.as_deref()?;
        let cell = self.filled(column)?;
        let read = value::day(self.heading.form, &cell.text)
            .and_then(|it| read_when(&it).map_err(|error| error.to_string()));
        match read {
            Ok(when) => Some((when.date, self.place(cell))),
            Err(help) => {
                let title = format!("`{column}` is not a day");
                self.wrong(Code::NotADate, cell, title, "not a date of the calendar")
                    .help(help)
                    .none()
            }
        }
    }

    /// The day of a result.
    fn day(&mut self, column: &MappedColumn) -> Option<Node> {
        let cell = self.filled(&column.from)?;
        if let Some(CodeMeaning::Absent(word)) = column.codes.get(&cell.text) {
            return Some(Node::of_text(cell, word));
        }
        self.translated(
            Code::NotADate,
            cell,
            value::day(self.heading.form, &cell.text),
        )
    }

    /// What was made of a cell, or a diagnostic at it.
    fn translated(
        &mut self,
        code: Code,
        cell: &SheetCell,
        made: Result<String, String>,
    ) -> Option<Node> {
        match made {
            Ok(made) => Some(Node::of_text(cell, &made)),
            Err(help) => {
                let (title, label) = match code {
                    Code::NotADate => ("the day is written in another form", "another form"),
                    _ => ("the number is written in another form", "another form"),
                };
                self.wrong(code, cell, title, label).help(help).none()
            }
        }
    }

    /// The answer of a column that takes one.
    fn single(&mut self, question: &Question, column: &MappedColumn) -> Option<Node> {
        let cell = self.filled(&column.from)?;
        let form = self.heading.form;
        match column.codes.get(&cell.text) {
            Some(CodeMeaning::Named(name)) => return Some(Node::of_text(cell, name)),
            Some(CodeMeaning::Absent(word)) => return Some(Node::of_text(cell, word)),
            Some(CodeMeaning::Nothing) | None => {}
        }
        match &question.answer {
            Answer::Number { .. } => {
                self.translated(Code::NotANumber, cell, value::number(form, &cell.text))
            }
            Answer::Quantity { .. } => match value::quantity(form, column.unit, &cell.text) {
                Ok(Some(made)) => Some(Node::of_text(cell, &made)),
                Ok(None) => {
                    let help = format!(
                        "say in the mapping file in which unit the sender writes the column (`unit:` {}), or write it into the cell",
                        listed(&question.answer.units())
                    );
                    let title = format!("`{}` needs a unit", question.id);
                    self.wrong(Code::NeedsUnit, cell, title, "a number without a unit")
                        .help(help)
                        .none()
                }
                Err(help) => self.translated(Code::NotANumber, cell, Err(help)),
            },
            Answer::Date => self.translated(Code::NotADate, cell, value::day(form, &cell.text)),
            Answer::YesNo | Answer::OneOf(_) if !column.codes.is_empty() => {
                self.no_code(column, cell, &cell.text);
                None
            }
            Answer::YesNo if ["true", "false"].contains(&cell.text.as_str()) => {
                Some(Node::new(cell, NodeKind::Bool(cell.text == "true")))
            }
            _ => Some(Node::of_text(cell, &cell.text)),
        }
    }

    /// Tells a word of a cell that has no meaning.
    fn no_code(&mut self, column: &MappedColumn, cell: &SheetCell, word: &str) {
        let known: Vec<&str> = column.codes.keys().map(String::as_str).collect();
        let help = did_you_mean(word, known.iter().copied()).unwrap_or_else(|| {
            "add it to the `codes` of the column in the mapping file".to_owned()
        });
        let title = format!("the mapping file does not say what `{word}` means here");
        self.wrong(Code::AnswerOption, cell, title, "not an option")
            .help(help);
    }

    /// The list that columns hold together.
    fn list(&mut self, question: &Question, columns: &[&MappedColumn]) -> Option<Node> {
        let cells: Vec<(&MappedColumn, Option<&SheetCell>)> = columns
            .iter()
            .map(|column| (*column, self.filled(&column.from)))
            .collect();
        let filled = cells
            .iter()
            .filter_map(|(column, cell)| Some((*column, (*cell)?)));
        let (_, first) = filled.clone().next()?;
        if let Some((empty, _)) = cells
            .iter()
            .find(|(column, cell)| !column.further && cell.is_none())
        {
            let title = format!(
                "`{}` is not answered, and other columns of `{}` are",
                empty.from, question.id
            );
            let help = "an empty cell is not asked, and never no: fill all columns of a list, or none of them";
            return self
                .wrong(Code::NotTogether, first, title, "a part of a list")
                .help(help)
                .none();
        }
        let mut items: Vec<Node> = Vec::new();
        let mut absent: Option<&'static str> = None;
        let mut nothing_begins = false;
        for (column, cell) in filled {
            let (before, mut is_nothing) = (items.len(), false);
            let words = words(self.source, column, cell);
            // An empty list would be read as asked, and none.
            if words.is_empty() {
                let help = "write what there is, or the code for none; an empty cell was not asked";
                let title = "the cell holds separators alone";
                return self
                    .wrong(Code::WrongForm, cell, title, "neither an entry nor none")
                    .help(help)
                    .none();
            }
            for (span, word) in words {
                let named = |name: &str| Node::of_text(&span, name);
                match column.codes.get(word) {
                    Some(CodeMeaning::Named(name)) => items.push(named(name)),
                    Some(CodeMeaning::Nothing) => is_nothing = true,
                    Some(CodeMeaning::Absent(word)) => absent = Some(word),
                    None if word.eq_ignore_ascii_case("unknown") => absent = Some("unknown"),
                    None if word.eq_ignore_ascii_case("declined") => absent = Some("declined"),
                    None if !column.codes.is_empty()
                        && matches!(question.answer, Answer::SeveralOf(_)) =>
                    {
                        self.no_code(column, cell, word);
                        return None;
                    }
                    None => items.push(named(word)),
                }
            }
            nothing_begins |= is_nothing && !column.further;
            let goes_on = column.further && nothing_begins && items.len() > before;
            if (is_nothing && items.len() > before)
                || goes_on
                || (absent.is_some() && !items.is_empty())
            {
                let title = format!("`{}` has this beside another answer", question.id);
                let help = "keep it, or the answers beside it";
                return self
                    .wrong(Code::NotTogether, cell, title, "cannot both be so")
                    .help(help)
                    .none();
            }
        }
        let kind = match absent {
            Some(word) => NodeKind::Text(word.to_owned()),
            None => NodeKind::List(items),
        };
        Some(Node::new(first, kind))
    }
}

/// The entries within a cell, each at its place.
fn words<'c>(
    source: &Source,
    column: &MappedColumn,
    cell: &'c SheetCell,
) -> Vec<(Range<usize>, &'c str)> {
    let Some(split) = &column.split else {
        return vec![(cell.span.clone(), cell.text.as_str())];
    };
    // Within quotes the places are not those of the text.
    let begin = source.slice(&cell.span).find(&cell.text);
    let mut at = 0;
    let mut found = Vec::new();
    for part in cell.text.split(split.as_str()) {
        let word = part.trim();
        let inside = at + part.len() - part.trim_start().len();
        at += part.len() + split.len();
        if !word.is_empty() {
            let begin = begin.map(|it| cell.span.start + it + inside);
            let span = begin.map_or(cell.span.clone(), |it| it..it + word.len());
            found.push((span, word));
        }
    }
    found
}
