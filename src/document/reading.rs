//! What is wrong with one text, collected while its tree is read.

use std::sync::Arc;

use crate::document::diagnostic::{Code, Diagnostic, did_you_mean};
use crate::document::source::{Node, Placed, Source};

/// Something wrong that is being told; it is among the diagnostics once everything is said of it.
pub(crate) struct Told<'a> {
    diagnostics: &'a mut Vec<Diagnostic>,
    told: Option<Diagnostic>,
}

impl<'a> Told<'a> {
    /// Begins to tell it.
    pub(crate) fn new(diagnostics: &'a mut Vec<Diagnostic>, told: Diagnostic) -> Self {
        let told = Some(told);
        Self { diagnostics, told }
    }

    /// Adds what to do next.
    pub(crate) fn help(self, help: impl Into<String>) -> Self {
        self.help_if(Some(help.into()))
    }

    /// Adds what to do next, if there is something to say.
    pub(crate) fn help_if(mut self, help: Option<String>) -> Self {
        self.told = self.told.take().map(|told| told.help_if(help));
        self
    }

    /// Nothing, for a reader that gives up here.
    pub(crate) fn none<T>(self) -> Option<T> {
        None
    }

    /// Adds a second place.
    pub(crate) fn also(mut self, at: &impl Placed, label: &str) -> Self {
        self.told = self.told.take().map(|told| told.also(at, label));
        self
    }
}

impl Drop for Told<'_> {
    fn drop(&mut self) {
        self.diagnostics.extend(self.told.take());
    }
}

/// Whoever reads a text, and tells what is wrong with it.
pub(crate) trait Tells {
    /// The text, and what is wrong with it so far.
    fn telling(&mut self) -> (&Arc<Source>, &mut Vec<Diagnostic>);

    /// Reports something wrong at a place; what comes back takes what else is to be said of it.
    fn wrong(
        &mut self,
        code: Code,
        at: &impl Placed,
        title: impl Into<String>,
        label: impl Into<String>,
    ) -> Told<'_> {
        let (source, diagnostics) = self.telling();
        let told = Diagnostic::at(code, source, at, title, label);
        Told::new(diagnostics, told)
    }
}

/// Collects diagnostics for one text, and remembers what was passed over.
///
/// The schema reports malformed entries; the readers below pass over them. Should a reader ever
/// pass over something the schema accepted, [`Reading::finish`] turns that into a diagnostic, so
/// nothing is dropped without a word.
pub(crate) struct Reading<'a> {
    /// The text.
    pub source: &'a Arc<Source>,
    /// What is wrong so far.
    pub diagnostics: Vec<Diagnostic>,
    passed_over: Vec<Diagnostic>,
    shape_is_wrong: bool,
}

impl Tells for Reading<'_> {
    fn telling(&mut self) -> (&Arc<Source>, &mut Vec<Diagnostic>) {
        (self.source, &mut self.diagnostics)
    }
}

impl<'a> Reading<'a> {
    /// Begins with what the schema found.
    pub(crate) fn new(source: &'a Arc<Source>, shape: Vec<Diagnostic>) -> Self {
        let shape_is_wrong = !shape.is_empty();
        Self {
            source,
            diagnostics: shape,
            passed_over: Vec::new(),
            shape_is_wrong,
        }
    }

    /// Notes that a value could not be read; the schema should have said why.
    pub(crate) fn pass_over(&mut self, node: &Node, needed: &str) {
        self.passed_over.push(Diagnostic::at(
            Code::WrongType,
            self.source,
            &node.span,
            format!("this cannot be read: {needed} is needed"),
            node.kind_in_words(),
        ));
    }

    /// What is passed over from here on follows from something that is reported in another file.
    pub(crate) fn excuse(&mut self) {
        self.shape_is_wrong = true;
    }

    /// A text under a key, as a value of its own.
    pub(crate) fn owned(&mut self, map: &Node, key: &str) -> Option<String> {
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
    pub(crate) fn needed(&mut self, map: &Node, key: &str) -> Option<String> {
        if map.get(key).is_none() {
            self.pass_over(map, &format!("`{key}`"));
        }
        self.owned(map, key)
    }

    /// The texts of a list of texts.
    pub(crate) fn list(&mut self, map: &Node, key: &str) -> Vec<String> {
        let Some(value) = map.get(key) else {
            return Vec::new();
        };
        let mut texts = Vec::new();
        for item in value.items() {
            match item.written(self.source) {
                Some(text) => texts.push(text.to_owned()),
                None => self.pass_over(item, "a text"),
            }
        }
        texts
    }

    /// Reports a name that nothing has, at its place, with the nearest of those that there are.
    pub(crate) fn unknown<'k>(
        &mut self,
        code: Code,
        at: &impl Placed,
        (what, name, label): (&str, &str, &str),
        known: impl IntoIterator<Item = &'k str>,
    ) -> Told<'_> {
        self.wrong(code, at, format!("there is no {what} `{name}`"), label)
            .help_if(did_you_mean(name, known))
    }

    /// Reports something wrong.
    pub(crate) fn report(&mut self, diagnostic: Diagnostic) {
        self.diagnostics.push(diagnostic);
    }

    /// All diagnostics, what was passed over included if nothing else explains it.
    pub(crate) fn finish(mut self) -> Vec<Diagnostic> {
        if self.diagnostics.is_empty() && !self.shape_is_wrong {
            self.diagnostics.append(&mut self.passed_over);
        }
        // Where a name is also unknown or a unit wrong, the form has nothing to add.
        let explained: Vec<usize> = self
            .diagnostics
            .iter()
            .filter(|it| it.code.name().starts_with("rules/"))
            .map(Diagnostic::offset)
            .collect();
        self.diagnostics
            .retain(|it| it.code != Code::WrongForm || !explained.contains(&it.offset()));
        self.diagnostics.sort_by_key(Diagnostic::offset);
        self.diagnostics.dedup();
        self.diagnostics
    }
}
