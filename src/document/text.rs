//! Bytes to a tree of values with places. Two readers must agree on every value.
//!
//! An event parser gives places and the first reading; `serde_yaml` (or `serde_json`) reads the
//! same text again, and any difference refuses the file: YAML programs disagree about `010`, about
//! keys that are not texts, about line ends, and a questionnaire must mean one thing only.
//!
//! A `#` behind a plain note, medicine or allergy is refused, although YAML has it begin a comment:
//! whoever writes `tablet #2, and warfarin` means a text. Behind a number, a bracket or a quote it
//! can only be a comment. A mapping has 500 keys at most, so that reading takes time by the size of
//! a file.
//!
//! A risk to know: `serde_yaml` is no longer maintained, and the event parser is pinned to one
//! version.

use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use granit_parser::{Event, Parser, ScalarStyle, StructureStyle};

use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::reading::Tells;
use crate::document::source::{MapEntry, Node, NodeKind, Source};

/// What a text is written in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Format {
    /// YAML 1.2.
    Yaml,
    /// JSON.
    Json,
}

/// Nesting deeper than this is refused.
const DEEPEST: usize = 64;
/// Most keys of one mapping. INVARIANT: looking for a key takes no longer than this, so reading takes time by the size of a
/// file alone.
const MOST_KEYS: usize = 500;
/// From here on two whole numbers may be read as one.
const LARGEST_EXACT: f64 = 9_007_199_254_740_992.0;

impl Format {
    /// JSON for a name that ends in `.json`, else YAML.
    pub(crate) fn of_name(name: &str) -> Self {
        let json = Path::new(name)
            .extension()
            .is_some_and(|it| it.eq_ignore_ascii_case("json"));
        if json { Self::Json } else { Self::Yaml }
    }

    /// JSON for a text that is one object of it, else YAML, of which nearly all JSON is a part.
    pub(crate) fn of_text(text: &str) -> Self {
        match serde_json::from_str(text) {
            Ok(serde_json::Value::Object(_)) => Self::Json,
            _ => Self::Yaml,
        }
    }
}

/// What came of reading a text.
#[derive(Debug)]
pub struct Read {
    /// The text; `None` if the bytes are not text at all.
    pub source: Option<Arc<Source>>,
    /// The tree; `None` if the text has no readable structure.
    pub root: Option<Arc<Node>>,
    /// What is wrong. With diagnostics, the tree serves only to find further ones.
    pub diagnostics: Vec<Diagnostic>,
}

/// Reads bytes under a name. `largest` is the most bytes a file of this kind may have.
pub fn read(name: &str, bytes: &[u8], largest: u64) -> Read {
    read_as(Format::of_name(name), name, bytes, largest)
}

/// Reads bytes in a format, whatever their name.
pub(crate) fn read_as(format: Format, name: &str, bytes: &[u8], largest: u64) -> Read {
    let nothing = |diagnostic| Read {
        source: None,
        root: None,
        diagnostics: vec![diagnostic],
    };
    if u64::try_from(bytes.len()).unwrap_or(u64::MAX) > largest {
        return nothing(too_large(name, largest));
    }
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text,
        Err(error) => {
            let line = bytes
                .iter()
                .take(error.valid_up_to())
                .filter(|&&byte| byte == b'\n')
                .count()
                + 1;
            return nothing(
                Diagnostic::bare(
                    Code::NotUtf8,
                    format!("`{name}` is not UTF-8 text (line {line})"),
                )
                .help("save the file again with the encoding UTF-8"),
            );
        }
    };
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let source = Arc::new(Source::new(name, text));
    let mut diagnostics = odd_characters(&source);
    if !diagnostics.is_empty() {
        return Read {
            source: Some(source),
            root: None,
            diagnostics,
        };
    }
    let root = Builder::run(&source, format, &mut diagnostics);
    if diagnostics.is_empty()
        && let Some(root) = &root
    {
        second_reading(&source, format, root, &mut diagnostics);
    }
    Read {
        source: Some(source),
        root: root.map(Arc::new),
        diagnostics,
    }
}

/// The text of a key of the outermost mapping, found without reading what stands after it. Nothing is checked.
///
/// # Returns
/// `None` if there is no such key with a text, or the file cannot be read as far as there.
pub(crate) fn peek(bytes: &[u8], key: &str) -> Option<String> {
    let text = std::str::from_utf8(bytes).ok()?;
    // Tabs may indent JSON, as in `Builder::run`.
    let text = text
        .strip_prefix('\u{feff}')
        .unwrap_or(text)
        .replace('\t', " ");
    let mut parser =
        Parser::new_from_str_with_options(&text, granit_parser::options! { emit_comments: false });
    let mut depth = 0;
    let mut key_is_next = true;
    let mut is_wanted = false;
    while let Some(Ok((event, _))) = parser.next_event() {
        match event {
            Event::SequenceStart(..) if depth == 0 => return None,
            Event::MappingStart(..) | Event::SequenceStart(..) => depth += 1,
            Event::MappingEnd | Event::SequenceEnd => {
                depth -= 1;
                key_is_next = true;
            }
            Event::Scalar(text, ..) if depth == 1 && key_is_next => {
                is_wanted = text == key;
                key_is_next = false;
            }
            Event::Scalar(text, ..) if depth == 1 && is_wanted => return Some(text.into_owned()),
            Event::Scalar(..) if depth == 1 => key_is_next = true,
            _ => {}
        }
    }
    None
}

/// The comments of a text of YAML, in order, each with its `#`; those before the first place that cannot be read.
pub fn comments(text: &str) -> Vec<String> {
    comments_in(text, 0..text.len())
}

/// The comments that begin in a range of a text of YAML, in order, each with its `#`.
pub fn comments_in(text: &str, range: Range<usize>) -> Vec<String> {
    let options = granit_parser::options! { emit_comments: true };
    let mut parser = Parser::new_from_str_with_options(text, options);
    let mut found = Vec::new();
    while let Some(Ok((event, span))) = parser.next_event() {
        if let (Event::Comment(..), Some(span)) = (event, span.byte_range())
            && range.contains(&span.start)
        {
            found.extend(text.get(span).map(|it| it.trim_end().to_owned()));
        }
    }
    found
}

/// Reads a tape of events that the build script wrote. Places are places on the tape.
pub fn read_tape(name: &str, tape: &str) -> Read {
    let source = Arc::new(Source::new(name, tape));
    let mut diagnostics = Vec::new();
    let mut builder = Builder {
        source: &source,
        diagnostics: &mut diagnostics,
        open: Vec::new(),
        root: None,
        documents: 1,
    };
    let mut at = 0;
    while let Some(kind) = tape.as_bytes().get(at) {
        let (event, span) = match kind {
            b'[' => (
                Event::SequenceStart(StructureStyle::Flow, 0, None),
                at..at + 1,
            ),
            b'{' => (
                Event::MappingStart(StructureStyle::Flow, 0, None),
                at..at + 1,
            ),
            b']' => (Event::SequenceEnd, at..at + 1),
            b'}' => (Event::MappingEnd, at..at + 1),
            kind => {
                let length = tape
                    .get(at + 1..)
                    .and_then(|rest| rest.split_once(':'))
                    .map_or("", |(length, _)| length);
                let start = at + 1 + length.len() + 1;
                let span = start..start + length.parse::<usize>().unwrap_or(0);
                let style = if *kind == b'p' {
                    ScalarStyle::Plain
                } else {
                    ScalarStyle::DoubleQuoted
                };
                (
                    Event::Scalar(tape.get(span.clone()).unwrap_or("").into(), style, 0, None),
                    span,
                )
            }
        };
        at = span.end.max(at + 1);
        if !builder.take(event, span) {
            break;
        }
    }
    let root = builder.root.map(Arc::new);
    Read {
        source: Some(source),
        root,
        diagnostics,
    }
}

/// The refusal of a file that is too large.
pub(crate) fn too_large(name: &str, largest: u64) -> Diagnostic {
    let size = if largest >= 1 << 20 {
        format!("{} MiB", largest >> 20)
    } else {
        format!("{} KiB", largest >> 10)
    };
    Diagnostic::bare(Code::TooLarge, format!("`{name}` is larger than {size}"))
        .help("check that it is the right file; one questionnaire is one file")
}

/// What of a text cannot be seen, or is read in different ways.
pub(crate) fn odd_characters(source: &Arc<Source>) -> Vec<Diagnostic> {
    let text = source.text();
    let mut found = Vec::new();
    // Nearly every text is printable ASCII, and then there is nothing to look at twice.
    if text
        .bytes()
        .all(|byte| matches!(byte, b' '..=b'~' | b'\n' | b'\t'))
    {
        return found;
    }
    for (at, letter) in text.char_indices() {
        let what = match letter {
            '\t' | '\n' => continue,
            '\r' if text
                .get(at + 1..)
                .is_some_and(|rest| rest.starts_with('\n')) =>
            {
                continue;
            }
            '\r' => "a lone carriage return",
            '\0'..='\u{1f}' | '\u{7f}' => "a control character",
            '\u{85}' | '\u{2028}' | '\u{2029}' => "a line end that YAML programs disagree about",
            '\u{80}'..='\u{9f}' => "a control character",
            '\u{feff}' | '\u{200b}'..='\u{200d}' | '\u{2060}' | '\u{ad}' => {
                "an invisible character"
            }
            '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => {
                "a character that changes the direction of writing"
            }
            _ => continue,
        };
        let code = u32::from(letter);
        found.push(
            Diagnostic::at(
                Code::OddCharacter,
                source,
                &(at..at + letter.len_utf8()),
                format!("{what} (U+{code:04X}) in the text"),
                "here",
            )
            .help("delete the character and type the line again"),
        );
        if found.len() == 20 {
            break;
        }
    }
    found
}

/// One list or mapping that is still open.
struct OpenNode {
    start: usize,
    flow: bool,
    content: Content,
}

enum Content {
    List(Vec<Node>),
    Map {
        entries: Vec<MapEntry>,
        key: Option<(String, Range<usize>)>,
    },
}

struct Builder<'a> {
    source: &'a Arc<Source>,
    diagnostics: &'a mut Vec<Diagnostic>,
    open: Vec<OpenNode>,
    root: Option<Node>,
    documents: usize,
}

impl Tells for Builder<'_> {
    fn telling(&mut self) -> (&Arc<Source>, &mut Vec<Diagnostic>) {
        (self.source, self.diagnostics)
    }
}

impl<'a> Builder<'a> {
    fn run(
        source: &'a Arc<Source>,
        format: Format,
        diagnostics: &'a mut Vec<Diagnostic>,
    ) -> Option<Node> {
        // JSON may be indented by tabs, which this YAML reader refuses. A raw tab cannot stand
        // inside a JSON string, so a space of the same width changes no value and no place.
        let spaced = match format {
            Format::Json => source.text().replace('\t', " "),
            Format::Yaml => String::new(),
        };
        let text = if format == Format::Json {
            spaced.as_str()
        } else {
            source.text()
        };
        let options = granit_parser::options! { emit_comments: false };
        let mut parser = Parser::new_from_str_with_options(text, options);
        let mut builder = Self {
            source,
            diagnostics,
            open: Vec::new(),
            root: None,
            documents: 0,
        };
        while let Some(event) = parser.next_event() {
            match event {
                Ok((event, span)) => {
                    let span = span.byte_range().unwrap_or(0..0);
                    if !builder.take(event, span) {
                        return None;
                    }
                }
                Err(error) => {
                    let at = error.marker().byte_offset().unwrap_or(0).min(text.len());
                    builder.refuse(at, format, &error.to_string());
                    return None;
                }
            }
        }
        if builder.root.is_none() && builder.diagnostics.is_empty() {
            let empty = Diagnostic::bare(Code::Empty, format!("`{}` is empty", source.name()))
                .help("fill it, or take it away; `preblock blank` prints an empty questionnaire, `preblock schema` says what other files hold");
            builder.diagnostics.push(empty);
        }
        builder.root
    }

    fn refuse(&mut self, at: usize, format: Format, why: &str) {
        // A reader of JSON speaks of JSON; ours speaks of YAML, and its word counts only if the other one is content.
        let of_json = match format {
            Format::Json => serde_json::from_str::<serde_json::Value>(self.source.text())
                .err()
                .map(|it| not_json(self.source, &it)),
            Format::Yaml => None,
        };
        self.diagnostics
            .push(of_json.unwrap_or_else(|| syntax(self.source, format, at, why)));
    }

    /// Takes one event; false stops the reading.
    fn take(&mut self, event: Event<'_>, span: Range<usize>) -> bool {
        match event {
            Event::DocumentStart(..) => {
                self.documents += 1;
                if self.documents == 1 {
                    self.directives(span.start);
                }
                if self.documents > 1 {
                    let title = "a second document begins here";
                    let label = "one file is one document";
                    self.wrong(Code::SeveralDocuments, &span, title, label)
                        .help("split the file at this line");
                    return false;
                }
            }
            Event::Scalar(text, style, anchor, tag) => {
                self.properties(anchor, tag.is_some(), &span);
                let node = self.scalar(&text, style, span);
                return self.add(node);
            }
            Event::SequenceStart(style, anchor, tag) => {
                self.properties(anchor, tag.is_some(), &span);
                return self.begin(span.start, style, Content::List(Vec::new()));
            }
            Event::MappingStart(style, anchor, tag) => {
                self.properties(anchor, tag.is_some(), &span);
                return self.begin(
                    span.start,
                    style,
                    Content::Map {
                        entries: Vec::new(),
                        key: None,
                    },
                );
            }
            Event::SequenceEnd | Event::MappingEnd => return self.end(span.end),
            Event::Alias(_) => {
                self.wrong(Code::Alias, &span, "an alias (`*`)", "not used here")
                    .help("write the value out");
                return self.add(Node {
                    span,
                    kind: NodeKind::Null,
                });
            }
            _ => {}
        }
        true
    }

    /// Lines such as `%YAML 1.2` or `%TAG ...`, which can only stand before the document.
    fn directives(&mut self, document: usize) {
        for index in 0..self.source.line_index(document) {
            let Some(line) = self
                .source
                .line_range(index)
                .filter(|it| self.source.slice(it).starts_with('%'))
            else {
                continue;
            };
            let name = self
                .source
                .slice(&line)
                .split_whitespace()
                .next()
                .unwrap_or("%")
                .to_owned();
            let title = format!("a `{name}` directive");
            self.wrong(Code::Tag, &line, title, "not used here")
                .help("delete the line, and the `---` below it");
        }
    }

    /// Where an anchor or tag stands: before its value, with only white space and the other one between.
    fn property(&self, sigil: char, value: &Range<usize>) -> Range<usize> {
        let mut before = self
            .source
            .text()
            .get(..value.start)
            .unwrap_or("")
            .trim_end();
        while let Some(word) = before
            .rsplit(|letter: char| letter.is_whitespace() || "[{,".contains(letter))
            .next()
            && word.starts_with(['&', '!'])
        {
            let start = before.len() - word.len();
            if word.starts_with(sigil) {
                return start..before.len();
            }
            before = before.get(..start).unwrap_or("").trim_end();
        }
        value.clone()
    }

    fn properties(&mut self, anchor: usize, tag: bool, span: &Range<usize>) {
        if anchor != 0 {
            let span = &self.property('&', span);
            self.wrong(Code::Alias, span, "an anchor (`&`)", "not used here")
                .help("write the value out where it is needed");
        }
        if tag {
            let span = &self.property('!', span);
            self.wrong(Code::Tag, span, "a tag (`!`)", "not used here")
                .help("delete the tag");
        }
    }

    fn begin(&mut self, start: usize, style: StructureStyle, content: Content) -> bool {
        if self.open.len() >= DEEPEST {
            self.diagnostics.push(too_deep(self.source, start));
            return false;
        }
        self.open.push(OpenNode {
            start,
            flow: style == StructureStyle::Flow,
            content,
        });
        true
    }

    fn end(&mut self, end: usize) -> bool {
        let Some(open) = self.open.pop() else {
            return true;
        };
        let (kind, last) = match open.content {
            Content::List(items) => {
                let last = items.last().map(|it| it.span.end);
                (NodeKind::List(items), last)
            }
            Content::Map { entries, .. } => {
                let last = entries
                    .last()
                    .map(|it| it.value.span.end.max(it.key_span.end));
                (NodeKind::Map(entries), last)
            }
        };
        let end = if open.flow {
            end
        } else {
            last.unwrap_or(open.start)
        };
        self.add(Node {
            span: open.start..end.max(open.start),
            kind,
        })
    }

    /// Puts a value where it belongs; false stops the reading.
    fn add(&mut self, node: Node) -> bool {
        let Some(open) = self.open.last_mut() else {
            self.root = Some(node);
            return true;
        };
        match &mut open.content {
            Content::List(items) => items.push(node),
            Content::Map { entries, key } => match key.take() {
                None if entries.len() >= MOST_KEYS => {
                    let title = format!("a mapping of more than {MOST_KEYS} keys");
                    self.wrong(Code::TooManyKeys, &node, title, "one too many")
                        .help("check that it is the right file");
                    return false;
                }
                None => {
                    let name = match &node.kind {
                        NodeKind::Text(text) => text.clone(),
                        _ => self.source.slice(&node.span).to_owned(),
                    };
                    let span = node.span.clone();
                    *key = Some((name.clone(), span.clone()));
                    if name == "<<" {
                        self.wrong(Code::Alias, &span, "a merge key (`<<`)", "not used here")
                            .help("write the entries out");
                    } else if !matches!(node.kind, NodeKind::Text(_)) {
                        let title = match node.kind {
                            NodeKind::List(_) | NodeKind::Map(_) => {
                                format!("{} stands where a key belongs", node.kind_in_words())
                            }
                            _ => format!("the key `{name}` is not a plain text"),
                        };
                        self.wrong(Code::KeyNotText, &span, title, "a key must be a text")
                            .help("quote it, or correct it");
                    }
                }
                Some((name, key_span)) => {
                    let first = entries
                        .iter()
                        .find(|it| it.key == name)
                        .map(|it| it.key_span.clone());
                    if let Some(first) = first {
                        let title = format!("the key `{name}` is written twice");
                        self.wrong(Code::DuplicateKey, &key_span, title, "second time")
                            .also(&first, "first time")
                            .help("delete one of the two: only one of the values can be meant");
                    } else {
                        entries.push(MapEntry {
                            key: name,
                            key_span,
                            value: node,
                        });
                    }
                }
            },
        }
        true
    }

    fn scalar(&mut self, text: &str, style: ScalarStyle, span: Range<usize>) -> Node {
        let kind = if style == ScalarStyle::Plain {
            match plain(if span.is_empty() { "" } else { text }) {
                Ok(kind) => kind,
                Err(Odd::NotFinite) => {
                    let title = format!("`{text}` is not a finite number");
                    let label = "not a number to compare with";
                    self.wrong(Code::NotFinite, &span, title, label)
                        .help("write the number, or `unknown`");
                    NodeKind::Null
                }
                Err(Odd::Ambiguous) => {
                    let title = format!("`{text}` is read differently by different programs");
                    let help = "write the number plainly, or put the text in quotes";
                    self.wrong(Code::Ambiguous, &span, title, "ambiguous")
                        .help(help);
                    NodeKind::Null
                }
            }
        } else {
            NodeKind::Text(text.to_owned())
        };
        Node { span, kind }
    }
}

fn too_deep(source: &Arc<Source>, at: usize) -> Diagnostic {
    let title = "values are nested too deeply";
    Diagnostic::at(
        Code::TooDeep,
        source,
        &(at..at + 1),
        title,
        "more than 64 levels",
    )
    .help("flatten this part of the file")
}

/// The diagnostic of a text that a reader refuses at a place.
fn syntax(source: &Arc<Source>, format: Format, at: usize, why: &str) -> Diagnostic {
    // An empty range at the end of the text draws nothing: step back onto the last visible letter.
    let text = source.text();
    let at = at.min(text.len());
    let start = match text.get(at..).and_then(|rest| rest.chars().next()) {
        Some(letter) if !letter.is_whitespace() => at,
        _ => text.get(..at).map_or(0, |before| {
            before
                .trim_end()
                .char_indices()
                .next_back()
                .map_or(0, |(last, _)| last)
        }),
    };
    let width = text
        .get(start..)
        .and_then(|rest| rest.chars().next())
        .map_or(0, char::len_utf8);
    let why = why
        .split(" at ")
        .next()
        .unwrap_or(why)
        .trim_end_matches('.');
    let (code, title, look) = match format {
        Format::Yaml => (
            Code::NotYaml,
            "the text is not YAML",
            "the indentation, a colon, a quote, a bracket",
        ),
        Format::Json => (
            Code::NotJson,
            "the text is not JSON",
            "a comma, a colon, a double quote, a bracket",
        ),
    };
    // Both readers give up before our own limit where they look ahead; neither calls itself without end.
    if why.contains("recursion limit") {
        return too_deep(source, start);
    }
    let help = match plainly(why) {
        Some(words) => words.to_owned(),
        None => format!("look here and on the line above: {look} (the reader says: {why})"),
    };
    Diagnostic::at(
        code,
        source,
        &(start..start + width),
        title,
        "the reader stopped here",
    )
    .help(help)
}

/// What the readers say of the commonest slips, in words for people who do not write YAML every day.
const SAYINGS: &[(&str, &str)] = &[
    (
        "mapping values are not allowed",
        "a colon does not fit here. Either a colon, or the space after it, is missing on the line above, or a text that holds `: ` needs quotes",
    ),
    (
        "did not find expected key",
        "the line does not begin below its neighbours: give it as many spaces as the line it belongs with",
    ),
    (
        "illegal placement of ':'",
        "a bracket that was opened above is not closed",
    ),
    ("tabs disallowed", "indent by spaces, not by tabs"),
    ("unclosed quote", "the quote that begins here is not closed"),
    (
        "unclosed bracket",
        "the bracket that opens here is not closed",
    ),
    (
        "EOF while parsing",
        "the text ends too early: a quote or bracket is not closed",
    ),
    (
        "trailing comma",
        "delete the comma before the closing bracket",
    ),
    (
        "trailing characters",
        "nothing may follow the last closing bracket: one file is one questionnaire",
    ),
    (
        "key must be a string",
        "a key must be a text in double quotes",
    ),
    (
        "hex escape",
        "`\\u` and four digits do not make a letter here: type the letter itself",
    ),
    (
        "expected value",
        "here must stand a text in double quotes, a number, `true`, `false`, `null`, a list in `[]` or a mapping in `{}`; comments cannot",
    ),
    (
        "expected ident",
        "this is none of the words of JSON, which are `true`, `false` and `null`: put a text in double quotes",
    ),
    (
        "expected `,` or",
        "a comma between two entries is missing, or a bracket is not closed",
    ),
    ("expected `:`", "a colon between key and value is missing"),
];

fn plainly(why: &str) -> Option<&'static str> {
    SAYINGS
        .iter()
        .find(|(said, _)| why.contains(said))
        .map(|(_, words)| *words)
}

fn not_json(source: &Arc<Source>, error: &serde_json::Error) -> Diagnostic {
    // Its columns count bytes from 1, and it tells the byte after the last one it took.
    let line = source
        .line_range(error.line().saturating_sub(1))
        .map_or(0, |it| it.start);
    syntax(
        source,
        Format::Json,
        line + error.column().saturating_sub(1),
        &error.to_string(),
    )
}

enum Odd {
    NotFinite,
    Ambiguous,
}

/// Resolves a plain scalar by the YAML 1.2 core rules, refusing what other readers resolve otherwise.
fn plain(text: &str) -> Result<NodeKind, Odd> {
    match text {
        "" | "~" | "null" | "Null" | "NULL" => return Ok(NodeKind::Null),
        "true" | "True" | "TRUE" => return Ok(NodeKind::Bool(true)),
        "false" | "False" | "FALSE" => return Ok(NodeKind::Bool(false)),
        _ => {}
    }
    let unsigned = text.strip_prefix(['-', '+']).unwrap_or(text);
    if [".inf", ".Inf", ".INF", ".nan", ".NaN", ".NAN"].contains(&unsigned) {
        return Err(Odd::NotFinite);
    }
    if !unsigned.starts_with(|it: char| it.is_ascii_digit() || it == '.') {
        return Ok(NodeKind::Text(text.to_owned()));
    }
    let radix = ["0x", "0o", "0b", "0X", "0O", "0B"].iter().any(|prefix| {
        unsigned.strip_prefix(prefix).is_some_and(|rest| {
            !rest.is_empty() && rest.chars().all(|it| it.is_ascii_hexdigit() || it == '_')
        })
    });
    if radix {
        return Err(Odd::Ambiguous);
    }
    if !is_core_number(unsigned) {
        return Ok(NodeKind::Text(text.to_owned()));
    }
    let digits = unsigned.split(['.', 'e', 'E']).next().unwrap_or("");
    if digits.len() > 1 && digits.starts_with('0') {
        return Err(Odd::Ambiguous);
    }
    match text.parse::<f64>() {
        Ok(number) if number.is_finite() && number.abs() < LARGEST_EXACT => {
            Ok(NodeKind::Number(number))
        }
        _ => Err(Odd::Ambiguous),
    }
}

/// Digits, perhaps a point and digits, perhaps an exponent.
fn is_core_number(unsigned: &str) -> bool {
    let (mantissa, exponent) = match unsigned.find(['e', 'E']) {
        Some(at) => (unsigned.get(..at).unwrap_or(""), unsigned.get(at + 1..)),
        None => (unsigned, None),
    };
    let (whole, fraction) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    let digits = |part: &str| part.chars().all(|it| it.is_ascii_digit());
    let exponent_fits = exponent.is_none_or(|written| {
        let unsigned = written.strip_prefix(['-', '+']).unwrap_or(written);
        !unsigned.is_empty() && digits(unsigned)
    });
    digits(whole) && digits(fraction) && !(whole.is_empty() && fraction.is_empty()) && exponent_fits
}

fn second_reading(
    source: &Arc<Source>,
    format: Format,
    root: &Node,
    diagnostics: &mut Vec<Diagnostic>,
) {
    match format {
        Format::Yaml => match serde_yaml::from_str::<serde_yaml::Value>(source.text()) {
            Ok(value) => compare(source, root, &value, diagnostics),
            Err(error) => {
                let at = error.location().map_or(0, |place| place.index());
                diagnostics.push(syntax(source, Format::Yaml, at, &error.to_string()));
            }
        },
        Format::Json => match serde_json::from_str::<serde_json::Value>(source.text()) {
            Ok(value) => match serde_yaml::to_value(value) {
                Ok(value) => compare(source, root, &value, diagnostics),
                Err(error) => diagnostics.push(syntax(source, Format::Json, 0, &error.to_string())),
            },
            Err(error) => diagnostics.push(not_json(source, &error)),
        },
    }
}

/// Walks both readings together and reports each first difference.
fn compare(
    source: &Arc<Source>,
    node: &Node,
    value: &serde_yaml::Value,
    diagnostics: &mut Vec<Diagnostic>,
) {
    use serde_yaml::Value;
    let agree = match (&node.kind, value) {
        (NodeKind::Null, Value::Null) => true,
        (NodeKind::Bool(a), Value::Bool(b)) => a == b,
        (NodeKind::Number(a), Value::Number(b)) => b
            .as_f64()
            .is_some_and(|b| a.to_bits() == b.to_bits() || (a - b).abs() == 0.0),
        (NodeKind::Text(a), Value::String(b)) => a == b,
        (NodeKind::List(items), Value::Sequence(values)) if items.len() == values.len() => {
            for (item, value) in items.iter().zip(values) {
                compare(source, item, value, diagnostics);
            }
            true
        }
        (NodeKind::Map(entries), Value::Mapping(values)) if entries.len() == values.len() => {
            for entry in entries {
                match values.get(entry.key.as_str()) {
                    Some(value) => compare(source, &entry.value, value, diagnostics),
                    None => diagnostics.push(ambiguous(source, &entry.key_span)),
                }
            }
            true
        }
        _ => false,
    };
    if !agree {
        diagnostics.push(ambiguous(source, &node.span));
    }
}

fn ambiguous(source: &Arc<Source>, span: &Range<usize>) -> Diagnostic {
    Diagnostic::at(
        Code::Ambiguous,
        source,
        span,
        "this is read differently by different programs",
        "ambiguous",
    )
    .help("write it plainly, or put it in quotes")
}
