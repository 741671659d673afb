//! Text to model. The only module that knows YAML, JSON, `serde_yaml` and `jsonschema`.
//!
//! Each step yields what it could read *and* every diagnostic. A rule set or questionnaire with a
//! diagnostic is not used; reading goes on only to find further ones.

use std::sync::Arc;

use crate::diagnostic::Diagnostic;
use crate::source::{Node, Source};

pub mod allowances;
pub mod answers_schema;
pub mod approval;
pub mod cases;
pub mod condition;
pub mod drafts;
pub mod files;
pub mod guarantees;
mod head;
mod holds;
pub mod local;
pub mod names;
pub mod places;
pub mod questionnaire;
pub mod questions;
pub mod reductions;
pub mod registers;
mod rule;
pub mod rule_set;
pub mod shape;
pub mod swallowed;
pub mod text;
pub mod whole;

pub use files::{Care, RuleFiles, TextFile};
pub use rule_set::{rule_set, rule_set_with};
pub use whole::{Whole, whole, whole_with};

/// One text of a rule set that could be parsed.
#[derive(Debug, Clone)]
pub struct Parsed {
    /// The text.
    pub source: Arc<Source>,
    /// Its tree.
    pub root: Arc<Node>,
    /// Whether the schema has still to judge it.
    pub care: Care,
}

impl Parsed {
    /// Begins to read it, with what the schema of this name finds.
    fn reading(&self, schema: &str) -> Reading<'_> {
        let shape = match self.care {
            Care::Full => shape::check(schema, &self.source, &self.root),
            Care::Embedded => Vec::new(),
        };
        Reading::new(&self.source, shape)
    }
}

/// Collects diagnostics for one text, and remembers what was passed over.
///
/// The schema reports malformed entries; the readers below pass over them. Should a reader ever
/// pass over something the schema accepted, [`Reading::finish`] turns that into a diagnostic, so
/// nothing is dropped without a word.
pub struct Reading<'a> {
    /// The text.
    pub source: &'a Arc<Source>,
    /// What is wrong so far.
    pub diagnostics: Vec<Diagnostic>,
    passed_over: Vec<Diagnostic>,
    shape_is_wrong: bool,
}

impl<'a> Reading<'a> {
    /// Begins with what the schema found.
    pub fn new(source: &'a Arc<Source>, shape: Vec<Diagnostic>) -> Self {
        let shape_is_wrong = !shape.is_empty();
        Self { source, diagnostics: shape, passed_over: Vec::new(), shape_is_wrong }
    }

    /// Notes that a value could not be read; the schema should have said why.
    pub fn pass_over(&mut self, node: &Node, needed: &str) {
        self.passed_over.push(Diagnostic::at(
            crate::diagnostic::Code::WrongType,
            self.source,
            &node.span,
            format!("this cannot be read: {needed} is needed"),
            node.kind_in_words(),
        ));
    }

    /// What is passed over from here on follows from something that is reported in another file.
    pub fn excuse(&mut self) {
        self.shape_is_wrong = true;
    }

    /// A text under a key, as a value of its own.
    pub fn owned(&mut self, map: &Node, key: &str) -> Option<String> {
        let value = map.get(key)?;
        match value.written(self.source) {
            Some(text) => Some(text.to_owned()),
            None => {
                self.pass_over(value, "a text");
                None
            }
        }
    }

    /// A text that must be there.
    pub fn needed(&mut self, map: &Node, key: &str) -> Option<String> {
        if map.get(key).is_none() {
            self.pass_over(map, &format!("`{key}`"));
        }
        self.owned(map, key)
    }

    /// The texts of a list of texts.
    pub fn list(&mut self, map: &Node, key: &str) -> Vec<String> {
        let Some(value) = map.get(key) else { return Vec::new() };
        let mut texts = Vec::new();
        for item in value.items() {
            match item.written(self.source) {
                Some(text) => texts.push(text.to_owned()),
                None => self.pass_over(item, "a text"),
            }
        }
        texts
    }

    /// Reports something wrong.
    pub fn report(&mut self, diagnostic: Diagnostic) {
        self.diagnostics.push(diagnostic);
    }

    /// All diagnostics, what was passed over included if nothing else explains it.
    pub fn finish(mut self) -> Vec<Diagnostic> {
        if self.diagnostics.is_empty() && !self.shape_is_wrong {
            self.diagnostics.append(&mut self.passed_over);
        }
        // Where a name is also unknown or a unit wrong, the form has nothing to add.
        let explained: Vec<usize> =
            self.diagnostics.iter().filter(|it| it.code.name().starts_with("rules/")).map(Diagnostic::offset).collect();
        self.diagnostics.retain(|it| it.code != crate::diagnostic::Code::WrongForm || !explained.contains(&it.offset()));
        self.diagnostics.sort_by_key(Diagnostic::offset);
        self.diagnostics.dedup();
        self.diagnostics
    }
}
