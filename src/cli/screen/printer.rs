//! Screenings in the format that was asked for, each written whole: for programs and as a chase list one after another, for
//! people all together, since their list stands first. What was screened is printed when the run is stopped, too.

use serde_json::Value;

use crate::cli::ScreeningFormat;
use crate::cli::draw;
use crate::cli::draw::{colour_out, out, plain};
use crate::document::diagnostic::Diagnostic;
use crate::report::json::Record;
use crate::report::list::{Batch, List, worst_first};
use crate::report::outward::Outward;
use crate::report::page::Style;
use crate::report::{cards, chase, fhir, html, json, markdown, text};
use crate::rule_set::RuleSet;
use crate::screening::result::{Refusal, Screening};

/// An open standard, and the rule set as other programs know it.
enum Outgoing<'a> {
    Fhir(Outward<'a>),
    Cards(Outward<'a>),
}

/// Prints screenings as they are made, or keeps them until the end.
pub(crate) struct Printer<'a> {
    format: ScreeningFormat,
    /// The open standard, if it is one.
    standard: Option<Outgoing<'a>>,
    several: bool,
    full: bool,
    n_printed: usize,
    kept: Vec<Screening>,
    refused: Vec<Refusal>,
}

impl Outgoing<'_> {
    /// What it makes of a file.
    fn of(&self, record: Record<'_>) -> Value {
        match (self, record) {
            (Self::Fhir(outward), Record::Screened(it)) => fhir::bundle(outward, it),
            (Self::Fhir(outward), Record::Refused(it)) => fhir::refused(outward, it),
            (Self::Cards(outward), Record::Screened(it)) => {
                cards::object(&cards::cards(outward, it))
            }
            (Self::Cards(outward), Record::Refused(it)) => {
                cards::object(&[cards::refused(outward, it)])
            }
        }
    }
}

impl<'a> Printer<'a> {
    /// Prints in this format, with everything there is to say if `full`; `several` if more than one file was asked for.
    ///
    /// # Errors
    /// That an open standard is asked for and the rule set has no canonical address.
    pub(crate) fn new(
        format: ScreeningFormat,
        several: bool,
        full: bool,
        rule_set: &'a RuleSet,
    ) -> Result<Self, Diagnostic> {
        let standard = match format {
            ScreeningFormat::Fhir => Some(Outgoing::Fhir(Outward::of(rule_set)?)),
            ScreeningFormat::Cards => Some(Outgoing::Cards(Outward::of(rule_set)?)),
            _ => None,
        };
        Ok(Self {
            format,
            standard,
            several,
            full,
            n_printed: 0,
            kept: Vec::new(),
            refused: Vec::new(),
        })
    }

    /// The next screening.
    pub(crate) fn screening(&mut self, screening: Screening) {
        let first = self.n_printed == 0;
        match self.format {
            ScreeningFormat::Json
            | ScreeningFormat::Ndjson
            | ScreeningFormat::Fhir
            | ScreeningFormat::Cards => self.record(Record::Screened(&screening)),
            ScreeningFormat::Chase => plain(&chase::in_a_row(&screening, first)),
            ScreeningFormat::Text
            | ScreeningFormat::List
            | ScreeningFormat::Html
            | ScreeningFormat::Markdown => self.kept.push(screening),
        }
        self.n_printed += 1;
    }

    /// The next file, which was refused: an entry where a program reads, a row in the list of people.
    pub(crate) fn refusal(&mut self, refusal: Refusal) {
        let is_for_programs =
            matches!(self.format, ScreeningFormat::Json | ScreeningFormat::Ndjson)
                || self.standard.is_some();
        if is_for_programs {
            self.record(Record::Refused(&refusal));
            self.n_printed += 1;
        }
        self.refused.push(refusal);
    }

    /// One record for a program.
    fn record(&self, record: Record<'_>) {
        let first = self.n_printed == 0;
        let resource = self.standard.as_ref().map(|it| it.of(record));
        draw::json(&match (resource, self.format) {
            (Some(it), _) if self.several => format!("{it}\n"),
            (Some(it), _) => format!("{it:#}\n"),
            (None, ScreeningFormat::Json) if self.several => json::element(record, first),
            (None, ScreeningFormat::Json) => json::one(record),
            (None, _) => json::line(record),
        });
    }

    /// What stands after all of them, or all of it. `n_left` files were not reached. How many were refused.
    pub(crate) fn end(self, n_left: usize) -> usize {
        match self.format {
            ScreeningFormat::Json if self.several => {
                out(if self.n_printed == 0 { "[]" } else { "]" });
            }
            ScreeningFormat::Json
            | ScreeningFormat::Ndjson
            | ScreeningFormat::Chase
            | ScreeningFormat::Fhir
            | ScreeningFormat::Cards => {}
            ScreeningFormat::Text
            | ScreeningFormat::List
            | ScreeningFormat::Html
            | ScreeningFormat::Markdown => self.pages(n_left),
        }
        self.refused.len()
    }

    /// What people read: the page of one patient, or a list and what belongs to it. Nothing for one file that was refused,
    /// whose problems stand on standard error.
    fn pages(&self, n_left: usize) {
        let style = Style::terminal(colour_out());
        let all = Batch {
            screenings: worst_first(&self.kept),
            refused: &self.refused,
            n_left,
        };
        let with_list = self.several || n_left > 0;
        match (self.format, self.kept.as_slice()) {
            (ScreeningFormat::List, _) => out(&text::list(&List::of(&all), &style)),
            (ScreeningFormat::Text, [one]) if !with_list => out(&text::one(one, self.full, &style)),
            (ScreeningFormat::Html, [one]) if !with_list => plain(&html::one_page(one, self.full)),
            (ScreeningFormat::Markdown, [one]) if !with_list => {
                plain(&markdown::one(one, self.full))
            }
            (_, []) if !with_list => {}
            (ScreeningFormat::Text, _) => out(&text::several(&all, self.full, &style)),
            (ScreeningFormat::Html, _) => plain(&html::several(&all, self.full)),
            (_, _) => plain(&markdown::several(&all, self.full)),
        }
    }
}
