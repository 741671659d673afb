//! Screenings one after another, in the format that was asked for, each written whole.
//!
//! A page that begins with its list (Markdown of several) is printed at the end, also when the run
//! is stopped.

use crate::cli::ScreeningFormat;
use crate::cli::draw;
use crate::cli::draw::{colour_out, counted, out, plain};
use crate::report::page::Style;
use crate::report::{chase, json, markdown, text};
use crate::screening::result::{Refusal, Screening};

/// Prints screenings as they are made.
///
/// Kept until the end is what a list at the end needs, or, for a page that begins with its list, all of it.
pub(crate) struct Printer {
    format: ScreeningFormat,
    several: bool,
    n_printed: usize,
    kept: Vec<Screening>,
}

impl Printer {
    /// Prints in this format; `several` if more than one file was asked for.
    pub(crate) fn new(format: ScreeningFormat, several: bool) -> Self {
        Self {
            format,
            several,
            n_printed: 0,
            kept: Vec::new(),
        }
    }

    /// The next screening.
    pub(crate) fn screening(&mut self, screening: Screening) {
        let style = Style::terminal(colour_out());
        let first = self.n_printed == 0;
        self.n_printed += 1;
        match self.format {
            ScreeningFormat::Json if self.several => draw::json(&json::element(&screening, first)),
            ScreeningFormat::Json => draw::json(&json::one(&screening)),
            ScreeningFormat::Ndjson => draw::json(&json::line(&screening)),
            ScreeningFormat::Chase => plain(&chase::in_a_row(&screening, first)),
            ScreeningFormat::Text if self.several => {
                out(&text::in_a_row(&screening, &style));
                self.kept.push(screening);
            }
            ScreeningFormat::Text => out(&text::one(&screening, &style)),
            ScreeningFormat::Markdown => self.kept.push(screening),
        }
    }

    /// The next file, which was refused: an entry where a program reads, and counted at the end where people do.
    pub(crate) fn refusal(&mut self, refusal: &Refusal) {
        let first = self.n_printed == 0;
        match self.format {
            ScreeningFormat::Json if self.several => draw::json(&json::element(refusal, first)),
            ScreeningFormat::Json => draw::json(&json::one(refusal)),
            ScreeningFormat::Ndjson => draw::json(&json::line(refusal)),
            ScreeningFormat::Chase | ScreeningFormat::Text | ScreeningFormat::Markdown => return,
        }
        self.n_printed += 1;
    }

    /// What stands after all of them. `n_refused` files could not be screened, `n_left` were not reached.
    pub(crate) fn end(self, n_refused: usize, n_left: usize) {
        let left = (n_left > 0).then(|| not_reached(n_left));
        match self.format {
            ScreeningFormat::Json if self.several && self.n_printed == 0 => out("[]"),
            ScreeningFormat::Json if self.several => out("]"),
            ScreeningFormat::Markdown if self.several => {
                plain(&markdown::several(&self.kept, n_refused))
            }
            ScreeningFormat::Markdown => self.kept.iter().for_each(|it| plain(&markdown::one(it))),
            ScreeningFormat::Text if self.several => out(&text::summary(
                &self.kept,
                n_refused,
                &Style::terminal(colour_out()),
            )),
            ScreeningFormat::Json
            | ScreeningFormat::Ndjson
            | ScreeningFormat::Chase
            | ScreeningFormat::Text => {}
        }
        if let Some(left) = left.filter(|_| {
            matches!(
                self.format,
                ScreeningFormat::Markdown | ScreeningFormat::Text
            )
        }) {
            out(&format!("\n{left}"));
        }
    }
}

/// That a run ended before its last file.
pub(crate) fn not_reached(n_left: usize) -> String {
    format!(
        "Stopped before the end: {} NOT screened.",
        counted(n_left, "file")
    )
}
