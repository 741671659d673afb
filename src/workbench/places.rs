//! Where things stand in the texts of a rule set: what the checks underline.

use std::ops::Range;
use std::sync::Arc;

use crate::document::diagnostic::Diagnostic;
use crate::document::reading::Reading;
use crate::document::source::{Node, NodeKind, Source};
use crate::rule_set::files::{RuleFiles, TextFile};
use crate::rule_set::read::FURTHER_FILES;

/// One entry of a file: a rule, a limit, a question.
#[derive(Debug, Clone, Copy)]
pub struct Entry<'a> {
    /// The file.
    pub source: &'a Arc<Source>,
    /// The entry.
    pub node: &'a Node,
}

impl TextFile {
    /// All of the file; `None` if it has no readable structure.
    pub(crate) fn entry(&self) -> Option<Entry<'_>> {
        let read = self.read();
        Some(Entry {
            source: read.source.as_ref()?,
            node: read.root.as_ref()?,
        })
    }
}

impl RuleFiles {
    /// All of a file, by its path in the rule set.
    pub(crate) fn entry(&self, path: &str) -> Option<Entry<'_>> {
        self.file(path)?.entry()
    }

    /// Every file that says what is asked and decided, those of another rule set that are used among them: not what is only said
    /// about the rule set.
    pub(crate) fn deciding(&self) -> impl Iterator<Item = Entry<'_>> {
        let deciding = |path: &str| !path.starts_with("cases/") && !FURTHER_FILES.contains(&path);
        self.iter()
            .filter(move |(path, _)| deciding(path))
            .chain(self.used())
            .filter_map(|(_, file)| file.entry())
    }

    /// What a file says about the rule set, read with its schema; nothing, if there is no such file.
    ///
    /// # Errors
    /// Every diagnostic of the file.
    pub(crate) fn said_in<Said: Default>(
        &self,
        path: &str,
        schema: &str,
        read: impl FnOnce(&mut Reading<'_>, &Node) -> Said,
    ) -> Result<Said, Vec<Diagnostic>> {
        let Some(file) = self.file(path) else {
            return Ok(Said::default());
        };
        let mut of_text = Vec::new();
        let Some(parsed) = file.parsed(&mut of_text) else {
            return Err(of_text);
        };
        let mut reading = parsed.reading(schema);
        reading.diagnostics.extend(of_text);
        let said = read(&mut reading, &parsed.root);
        let diagnostics = reading.finish();
        if diagnostics.is_empty() {
            Ok(said)
        } else {
            Err(diagnostics)
        }
    }

    /// A rule, by its full id.
    pub fn rule(&self, id: &str) -> Option<Entry<'_>> {
        let (concern, id) = id.split_once('/')?;
        self.entry(&format!("concerns/{concern}.yaml"))?
            .listed("rules", "id", id)
    }

    /// Every rule, each with its concern.
    pub fn rules(&self) -> impl Iterator<Item = (&str, Entry<'_>)> {
        let concerns = self.iter().filter_map(|(path, file)| {
            Some((
                path.strip_prefix("concerns/")?.strip_suffix(".yaml")?,
                file.entry()?,
            ))
        });
        concerns.flat_map(|(concern, Entry { source, node })| {
            node.list("rules")
                .iter()
                .map(move |node| (concern, Entry { source, node }))
        })
    }

    /// A limit.
    pub(crate) fn limit(&self, id: &str) -> Option<Entry<'_>> {
        self.entry("limits.yaml")?.listed("limits", "id", id)
    }

    /// A source of the bibliography.
    pub(crate) fn publication(&self, id: &str) -> Option<Entry<'_>> {
        let own = self.entry("sources.yaml");
        let used = self.used().filter(|(path, _)| *path == "sources.yaml");
        own.into_iter()
            .chain(used.filter_map(|(_, file)| file.entry()))
            .find_map(|it| it.listed("sources", "id", id))
    }

    /// A question, by its fact.
    pub(crate) fn question(&self, fact: &str) -> Option<Entry<'_>> {
        let (section, id) = fact.split_once('.')?;
        self.entry("questions.yaml")?
            .listed("sections", "id", section)?
            .listed("questions", "id", id)
    }

    /// A derived fact.
    pub(crate) fn derived(&self, fact: &str) -> Option<Entry<'_>> {
        self.entry("questions.yaml")?
            .listed("derived", "id", fact.strip_prefix("derived.")?)
    }
}

impl<'a> Entry<'a> {
    /// The item of a list that has this value under a key.
    pub(crate) fn listed(&self, list: &str, key: &str, name: &str) -> Option<Entry<'a>> {
        let is_it =
            |node: &&Node| node.get(key).and_then(|it| it.written(self.source)) == Some(name);
        let node = self.node.list(list).iter().find(is_it)?;
        Some(Entry {
            source: self.source,
            node,
        })
    }

    /// Where the value of a key stands; the place of the entry itself, if it has none.
    pub(crate) fn place(&self, key: &str) -> Range<usize> {
        self.node
            .get(key)
            .map_or_else(|| self.node.span.clone(), |it| it.span.clone())
    }

    /// Where words stand in the value of a key, apart from other letters and digits; the whole value, if a line of the
    /// file ends within them.
    pub(crate) fn words(&self, key: &str, words: &str) -> Range<usize> {
        let value = self.place(key);
        let text = self.source.slice(&value);
        let apart = |at: &usize| {
            let before = text.get(..*at).and_then(|it| it.chars().next_back());
            let after = text
                .get(at + words.len()..)
                .and_then(|it| it.chars().next());
            ![before, after]
                .into_iter()
                .flatten()
                .any(char::is_alphanumeric)
        };
        let found = text.match_indices(words).map(|(at, _)| at).find(apart);
        found.map_or(value.clone(), |at| {
            value.start + at..value.start + at + words.len()
        })
    }

    /// Where a source is cited first.
    pub(crate) fn citation(&self, of: &str) -> Option<Range<usize>> {
        let citations = self.node.list("citations").iter();
        let mut sources = citations.filter_map(|it| it.get("source"));
        let cited = sources.find(|it| it.written(self.source) == Some(of))?;
        Some(cited.span.clone())
    }

    /// Sees every value below the entry with the key it stands under; the items of a list stand under the key of the list.
    pub(crate) fn walk(&self, see: &mut impl FnMut(&'a str, &'a Node)) {
        walk("", self.node, see);
    }
}

fn walk<'a>(key: &'a str, node: &'a Node, see: &mut impl FnMut(&'a str, &'a Node)) {
    see(key, node);
    match &node.kind {
        NodeKind::List(items) => items.iter().for_each(|it| walk(key, it, see)),
        NodeKind::Map(entries) => entries.iter().for_each(|it| walk(&it.key, &it.value, see)),
        _ => {}
    }
}
