//! One loaded text: its name, its bytes, and where each value sits in it. Knows no file format.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::OnceLock;

/// A text under the name the user knows it by.
///
/// Its lines are found once somebody asks for a place: most texts are read without that, among them the embedded rule set.
#[derive(Debug)]
pub struct Source {
    name: String,
    text: String,
    /// The text as it may be shown, if that is not the text itself.
    shown: OnceLock<Option<String>>,
    line_starts: OnceLock<Vec<usize>>,
    /// How many characters were cut off at the beginning of lines, by line.
    left_out: BTreeMap<usize, usize>,
    /// How many lines stand before it in the file of which it is a part.
    n_before: usize,
}

impl PartialEq for Source {
    fn eq(&self, other: &Self) -> bool {
        (&self.name, &self.text, &self.left_out, self.n_before)
            == (&other.name, &other.text, &other.left_out, other.n_before)
    }
}

impl Eq for Source {}

/// Whether a character could steer a terminal, reorder the text around it, or split a line where none ends.
///
/// Control characters, and the characters of Unicode that set the direction of text or separate lines. The joiners
/// that some scripts need are not among them.
pub fn steers(character: char) -> bool {
    character.is_control()
        || matches!(character, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
}

/// A text without characters that steer, each replaced by a mark of as many bytes. Line ends and tabs stay.
fn harmless(text: &str) -> String {
    let mut after = text.chars().skip(1);
    text.chars()
        .map(|letter| {
            let next = after.next();
            match letter {
                '\n' | '\t' => letter,
                '\r' if next == Some('\n') => letter,
                _ if !steers(letter) => letter,
                _ => match letter.len_utf8() {
                    1 => '?',
                    2 => '\u{bf}',
                    _ => '\u{fffd}',
                },
            }
        })
        .collect()
}

/// Where a value stands: line and column count from 1, the column in characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Position {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
}

impl Source {
    /// Keeps a text.
    pub(crate) fn new(name: impl Into<String>, text: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            text: text.into(),
            shown: OnceLock::new(),
            line_starts: OnceLock::new(),
            left_out: BTreeMap::new(),
            n_before: 0,
        }
    }

    /// A row of a larger text: the line on which it begins there is this one, from 1.
    pub(crate) fn row(name: impl Into<String>, text: impl Into<String>, line: usize) -> Self {
        Self {
            n_before: line.saturating_sub(1),
            ..Self::new(name, text)
        }
    }

    fn line_starts(&self) -> &[usize] {
        self.line_starts.get_or_init(|| {
            let ends = self.text.match_indices('\n');
            std::iter::once(0)
                .chain(ends.map(|(at, _)| at + 1))
                .collect()
        })
    }

    /// The same source with another text, of which some lines, from 0, lack so many characters at their beginning: lines and
    /// columns are those of the whole.
    pub(crate) fn cut(&self, text: impl Into<String>, left_out: BTreeMap<usize, usize>) -> Self {
        Self {
            left_out,
            n_before: self.n_before,
            ..Self::new(self.name.clone(), text)
        }
    }

    /// How many lines of its file stand before it.
    pub(crate) fn n_before(&self) -> usize {
        self.n_before
    }

    /// The name the user knows the file by.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The last part of that name.
    pub(crate) fn file_name(&self) -> &str {
        self.name
            .rsplit_once('/')
            .map_or(&self.name, |(_, file)| file)
    }

    /// The whole text.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The text as it may be shown on a terminal: of the same length, byte for byte.
    pub(crate) fn shown(&self) -> &str {
        let shown = self.shown.get_or_init(|| {
            // Nearly every text is printable ASCII, and then there is nothing to look at twice.
            let is_plain = |byte: u8| matches!(byte, b' '..=b'~' | b'\n' | b'\t');
            (!self.text.bytes().all(is_plain)).then(|| harmless(&self.text))
        });
        shown.as_deref().unwrap_or(&self.text)
    }

    /// The text of a range; empty if the range does not fit the text.
    pub fn slice(&self, span: &Range<usize>) -> &str {
        self.text.get(span.clone()).unwrap_or("")
    }

    /// Index, from 0, of the line that holds a byte offset.
    pub(crate) fn line_index(&self, offset: usize) -> usize {
        self.line_starts()
            .partition_point(|&start| start <= offset)
            .saturating_sub(1)
    }

    /// Byte range of a line without its line end; `None` past the last line.
    pub(crate) fn line_range(&self, index: usize) -> Option<Range<usize>> {
        let start = *self.line_starts().get(index)?;
        let end = self
            .line_starts()
            .get(index + 1)
            .map_or(self.text.len(), |&next| next - 1);
        let end = if self
            .text
            .get(start..end)
            .is_some_and(|line| line.ends_with('\r'))
        {
            end - 1
        } else {
            end
        };
        Some(start..end)
    }

    /// How many lines there are.
    pub(crate) fn line_count(&self) -> usize {
        self.line_starts().len()
    }

    /// Line and column of a byte offset.
    pub fn position(&self, offset: usize) -> Position {
        let line = self.line_index(offset);
        let start = self.line_starts().get(line).copied().unwrap_or(0);
        let before = self
            .text
            .get(start..offset)
            .map_or(0, |before| before.chars().count());
        let left_out = self.left_out.get(&line).copied().unwrap_or(0);
        Position {
            line: self.n_before + line + 1,
            column: left_out + before + 1,
        }
    }
}

/// One value of a text and the bytes it covers.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    /// The bytes of the value.
    pub span: Range<usize>,
    /// What the value is.
    pub kind: NodeKind,
}

/// What a value is.
#[derive(Debug, Clone, PartialEq)]
pub enum NodeKind {
    /// Nothing written, `null` or `~`.
    Null,
    /// `true` or `false`. (`yes` and `no` are texts.)
    Bool(bool),
    /// A finite number.
    Number(f64),
    /// A text, quoted or not.
    Text(String),
    /// A list.
    List(Vec<Node>),
    /// A mapping, in the order written, without repeated keys.
    Map(Vec<MapEntry>),
}

/// One key of a mapping with its value.
#[derive(Debug, Clone, PartialEq)]
pub struct MapEntry {
    /// The key.
    pub key: String,
    /// The bytes of the key.
    pub key_span: Range<usize>,
    /// The value.
    pub value: Node,
}

/// What stands somewhere in a text.
pub(crate) trait Placed {
    /// The bytes by which it is told; of an entry, those of its key.
    fn place(&self) -> &Range<usize>;
}

impl Placed for Range<usize> {
    fn place(&self) -> &Range<usize> {
        self
    }
}

impl Placed for Node {
    fn place(&self) -> &Range<usize> {
        &self.span
    }
}

impl Placed for MapEntry {
    fn place(&self) -> &Range<usize> {
        &self.key_span
    }
}

impl MapEntry {
    /// A key with its value.
    pub(crate) fn new(key: &str, key_span: &Range<usize>, value: Node) -> Self {
        let (key, key_span) = (key.to_owned(), key_span.clone());
        Self {
            key,
            key_span,
            value,
        }
    }
}

impl Node {
    /// A value at a place.
    pub(crate) fn new(at: &impl Placed, kind: NodeKind) -> Self {
        let span = at.place().clone();
        Self { span, kind }
    }

    /// A text at a place.
    pub(crate) fn of_text(at: &impl Placed, text: &str) -> Self {
        Self::new(at, NodeKind::Text(text.to_owned()))
    }

    /// The entries of a mapping; empty for anything else.
    pub fn entries(&self) -> &[MapEntry] {
        match &self.kind {
            NodeKind::Map(entries) => entries,
            _ => &[],
        }
    }

    /// The items of a list; empty for anything else.
    pub fn items(&self) -> &[Node] {
        match &self.kind {
            NodeKind::List(items) => items,
            _ => &[],
        }
    }

    /// The entry under a key of a mapping.
    pub fn entry(&self, key: &str) -> Option<&MapEntry> {
        self.entries().iter().find(|it| it.key == key)
    }

    /// The value under a key of a mapping.
    pub fn get(&self, key: &str) -> Option<&Node> {
        self.entry(key).map(|it| &it.value)
    }

    /// The items of the list under a key of a mapping; empty if no list stands there.
    pub(crate) fn list(&self, key: &str) -> &[Node] {
        self.get(key).map_or(&[], Self::items)
    }

    /// The entries of the mapping under a key; empty if no mapping stands there.
    pub(crate) fn mapping(&self, key: &str) -> &[MapEntry] {
        self.get(key).map_or(&[], Self::entries)
    }

    /// The text of a text value.
    pub fn text(&self) -> Option<&str> {
        match &self.kind {
            NodeKind::Text(text) => Some(text),
            _ => None,
        }
    }

    /// What is written for yes or no: exactly `yes`, `no`, `true` or `false`. `None` for anything else.
    pub(crate) fn yes_or_no(&self) -> Option<bool> {
        match &self.kind {
            NodeKind::Bool(it) => Some(*it),
            NodeKind::Text(it) if it == "yes" => Some(true),
            NodeKind::Text(it) if it == "no" => Some(false),
            _ => None,
        }
    }

    /// The text of a scalar as it should be read by people: a text as it is, a number, boolean as
    /// written. `None` for lists, mappings and nothing.
    pub fn written<'a>(&'a self, source: &'a Source) -> Option<&'a str> {
        match &self.kind {
            NodeKind::Text(text) => Some(text),
            NodeKind::Number(_) | NodeKind::Bool(_) => Some(source.slice(&self.span)),
            _ => None,
        }
    }

    /// The same for messages and limits, which show nothing where there is no scalar: the reader refuses it elsewhere.
    pub(crate) fn shown<'a>(&'a self, source: &'a Source) -> &'a str {
        self.written(source).unwrap_or("")
    }

    /// What the value is, in words for messages.
    pub(crate) fn kind_in_words(&self) -> &'static str {
        match &self.kind {
            NodeKind::Null => "nothing",
            NodeKind::Bool(_) => "true/false",
            NodeKind::Number(_) => "a number",
            NodeKind::Text(_) => "a text",
            NodeKind::List(_) => "a list",
            NodeKind::Map(_) => "a mapping",
        }
    }
}
