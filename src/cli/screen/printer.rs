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

/// Prints screenings as they are made, or keeps them until the end.
pub(crate) struct Printer<'a> {
    format: ScreeningFormat,
    /// The rule set as other programs know it, for an open standard.
    outward: Option<Outward<'a>>,
    several: bool,
    full: bool,
    n_printed: usize,
    kept: Vec<Screening>,
    refused: Vec<Refusal>,
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
        let is_standard = matches!(format, ScreeningFormat::Fhir | ScreeningFormat::Cards);
        let outward = is_standard.then(|| Outward::of(rule_set)).transpose()?;
        Ok(Self {
            format,
            outward,
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
                || self.outward.is_some();
        if is_for_programs {
            self.record(Record::Refused(&refusal));
            self.n_printed += 1;
        }
        self.refused.push(refusal);
    }

    /// One record for a program.
    fn record(&self, record: Record<'_>) {
        let first = self.n_printed == 0;
        let resource = self.outward.as_ref().map(|it| self.resource(it, record));
        draw::json(&match (resource, self.format) {
            (Some(it), _) if self.several => format!("{it}\n"),
            (Some(it), _) => format!("{it:#}\n"),
            (None, ScreeningFormat::Json) if self.several => json::element(record, first),
            (None, ScreeningFormat::Json) => json::one(record),
            (None, _) => json::line(record),
        });
    }

    /// What the open standard makes of a file.
    fn resource(&self, outward: &Outward<'_>, record: Record<'_>) -> Value {
        match (self.format, record) {
            (ScreeningFormat::Fhir, Record::Screened(it)) => fhir::bundle(outward, it),
            (ScreeningFormat::Fhir, Record::Refused(it)) => fhir::refused(outward, it),
            (_, Record::Screened(it)) => cards::object(&cards::cards(outward, it)),
            (_, Record::Refused(it)) => cards::object(&[cards::refused(outward, it)]),
        }
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
