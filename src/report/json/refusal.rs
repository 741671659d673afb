//! A refused questionnaire as JSON: the entry that stands in its place, so that no file of a run is missing.
//!
//! It holds the words of each diagnostic and its place, never the line of the file.

use serde::Serialize;

use super::{Tool, VERSION};
use crate::diagnostic::Diagnostic;
use crate::screening::Refusal;

#[derive(Serialize)]
pub struct Document<'a> {
    refused: u8,
    tool: Tool,
    notices: &'a [String],
    reference: Option<&'a str>,
    path: &'a str,
    diagnostics: Vec<Problem<'a>>,
}

#[derive(Serialize)]
struct Problem<'a> {
    code: &'static str,
    title: &'a str,
    line: Option<usize>,
    column: Option<usize>,
    help: &'a str,
}

impl<'a> Document<'a> {
    pub fn of(refusal: &'a Refusal) -> Self {
        Self {
            refused: VERSION,
            tool: Tool::this(),
            notices: &refusal.notices,
            reference: refusal.reference.as_deref(),
            path: &refusal.path,
            diagnostics: refusal.problems.iter().map(Problem::of).collect(),
        }
    }
}

impl<'a> Problem<'a> {
    fn of(diagnostic: &'a Diagnostic) -> Self {
        let source = diagnostic.source.as_ref().filter(|_| !diagnostic.labels.is_empty());
        let at = source.map(|it| it.position(diagnostic.offset()));
        Self {
            code: diagnostic.code.name(),
            title: &diagnostic.title,
            line: at.map(|it| it.line),
            column: at.map(|it| it.column),
            help: &diagnostic.help,
        }
    }
}
