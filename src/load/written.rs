//! The texts of a rule set as trees with places: for what the checks underline.

use std::ops::Range;
use std::sync::Arc;

use super::files::{LARGEST_RULE_FILE, RuleFiles};
use super::rule_set::FURTHER_FILES;
use super::text;
use crate::source::{Kind, Node, Source};

/// Every file of a rule set but its cases, as written.
#[derive(Debug, Default)]
pub struct Written {
    files: Vec<(String, Arc<Source>, Node)>,
}

/// One entry of a file: a rule, a limit, a question.
#[derive(Debug, Clone, Copy)]
pub struct Entry<'a> {
    /// The file.
    pub source: &'a Arc<Source>,
    /// The entry.
    pub node: &'a Node,
}

impl Written {
    /// Reads the files themselves, never a tape, so that places are real. A file that cannot be read is left out: loading
    /// the rule set has told it.
    pub fn read(files: &RuleFiles) -> Self {
        let texts = files.files.iter().filter(|(path, _)| !path.starts_with("cases/"));
        let read = texts.filter_map(|(path, bytes)| {
            let read = text::read(&files.name_of(path), bytes, LARGEST_RULE_FILE);
            Some((path.clone(), read.source?, read.root?))
        });
        Self { files: read.collect() }
    }

    /// A whole file, by its path in the rule set.
    pub fn file(&self, path: &str) -> Option<Entry<'_>> {
        self.files.iter().find(|(name, ..)| name == path).map(|(_, source, node)| Entry { source, node })
    }

    /// Every file that says what is asked and decided: not what is only said about the rule set.
    pub fn deciding(&self) -> impl Iterator<Item = Entry<'_>> {
        let files = self.files.iter().filter(|(path, ..)| !FURTHER_FILES.contains(&path.as_str()));
        files.map(|(_, source, node)| Entry { source, node })
    }

    /// A rule, by its full id.
    pub fn rule(&self, id: &str) -> Option<Entry<'_>> {
        let (concern, id) = id.split_once('/')?;
        self.file(&format!("concerns/{concern}.yaml"))?.listed("rules", "id", id)
    }

    /// Every rule, each with its concern.
    pub fn rules(&self) -> impl Iterator<Item = (&str, Entry<'_>)> {
        let concerns = self
            .files
            .iter()
            .filter_map(|(path, source, node)| Some((path.strip_prefix("concerns/")?.strip_suffix(".yaml")?, source, node)));
        concerns.flat_map(|(concern, source, node)| {
            node.get("rules").map(Node::items).unwrap_or_default().iter().map(move |node| (concern, Entry { source, node }))
        })
    }

    /// A limit.
    pub fn limit(&self, id: &str) -> Option<Entry<'_>> {
        self.file("limits.yaml")?.listed("limits", "id", id)
    }

    /// A source of the bibliography.
    pub fn publication(&self, id: &str) -> Option<Entry<'_>> {
        self.file("sources.yaml")?.listed("sources", "id", id)
    }

    /// A question, by its fact.
    pub fn question(&self, fact: &str) -> Option<Entry<'_>> {
        let (section, id) = fact.split_once('.')?;
        self.file("questions.yaml")?.listed("sections", "id", section)?.listed("questions", "id", id)
    }

    /// A derived fact.
    pub fn derived(&self, fact: &str) -> Option<Entry<'_>> {
        self.file("questions.yaml")?.listed("derived", "id", fact.strip_prefix("derived.")?)
    }
}

impl<'a> Entry<'a> {
    /// The item of a list that has this value under a key.
    pub fn listed(&self, list: &str, key: &str, name: &str) -> Option<Entry<'a>> {
        let is_it = |node: &&Node| node.get(key).and_then(|it| it.written(self.source)) == Some(name);
        let node = self.node.get(list)?.items().iter().find(is_it)?;
        Some(Entry { source: self.source, node })
    }

    /// Where the value of a key stands; the place of the entry itself, if it has none.
    pub fn place(&self, key: &str) -> Range<usize> {
        self.node.get(key).map_or_else(|| self.node.span.clone(), |it| it.span.clone())
    }

    /// Where words stand in the value of a key, apart from other letters and digits; the whole value, if a line of the
    /// file ends within them.
    pub fn words(&self, key: &str, words: &str) -> Range<usize> {
        let value = self.place(key);
        let text = self.source.slice(&value);
        let apart = |at: &usize| {
            let before = text.get(..*at).and_then(|it| it.chars().next_back());
            let after = text.get(at + words.len()..).and_then(|it| it.chars().next());
            ![before, after].into_iter().flatten().any(char::is_alphanumeric)
        };
        let found = text.match_indices(words).map(|(at, _)| at).find(apart);
        found.map_or(value.clone(), |at| value.start + at..value.start + at + words.len())
    }

    /// The texts of the citations that name a source, each with the name of the source.
    pub fn cited(&self) -> impl Iterator<Item = (&'a str, Range<usize>)> {
        let source = self.source;
        let citations = self.node.get("citations").map(Node::items).unwrap_or_default();
        citations.iter().filter_map(|it| it.get("source")).filter_map(|it| Some((it.written(source)?, it.span.clone())))
    }

    /// Sees every value below the entry with the key it stands under; the items of a list stand under the key of the list.
    pub fn walk(&self, see: &mut impl FnMut(&'a str, &'a Node)) {
        walk("", self.node, see);
    }
}

fn walk<'a>(key: &'a str, node: &'a Node, see: &mut impl FnMut(&'a str, &'a Node)) {
    see(key, node);
    match &node.kind {
        Kind::List(items) => items.iter().for_each(|it| walk(key, it, see)),
        Kind::Map(entries) => entries.iter().for_each(|it| walk(&it.key, &it.value, see)),
        _ => {}
    }
}
