//! Where a value stands in a text, or belongs, and the text with another one there: how in YAML, and that it is as meant.

use std::ops::Range;

use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::source::{MapEntry, Node, NodeKind, Source};
use crate::document::text::{self, Format};
use crate::questionnaire::edit::{PathKey, object};
use crate::questionnaire::frame;

/// The text with this value at the end of the path, or with nothing there.
///
/// # Errors
/// Every diagnostic of the text, if it cannot be read; or that the value finds no place in it.
pub fn put(
    text: &str,
    path: &[PathKey<'_>],
    value: Option<&str>,
) -> Result<String, Vec<Diagnostic>> {
    let (bom, text) = match text.strip_prefix('\u{feff}') {
        Some(rest) => ("\u{feff}", rest),
        None => ("", text),
    };
    let format = Format::of_text(text);
    let read = frame::tree(name(format), text.as_bytes());
    let (Some(source), Some(root), true) = (read.source, read.root, read.diagnostics.is_empty())
    else {
        return Err(read.diagnostics);
    };
    let layout = Layout {
        source: &source,
        newline: if text.contains("\r\n") { "\r\n" } else { "\n" },
    };
    let changed = match format {
        Format::Yaml => layout.changed(&root, path, value),
        Format::Json => object::changed(text, path, value),
    };
    match changed.filter(|it| is_as_meant(format, (text, &root), it, path, value)) {
        Some(changed) => Ok(format!("{bom}{changed}")),
        None => {
            let keys: Vec<&str> = path.iter().map(|it| it.key).collect();
            let title = format!("`{}` finds no place in the file", keys.join("."));
            let help = "the file is laid out in a way that the program does not change; write the answer into it by hand";
            Err(vec![Diagnostic::bare(Code::WrongForm, title).help(help)])
        }
    }
}

/// What the text is called: by its name it is read as what it is.
fn name(format: Format) -> &'static str {
    match format {
        Format::Yaml => "the questionnaire",
        Format::Json => "the questionnaire.json",
    }
}

/// Whether a changed text says what it said before, comments included, and this value at the end of the path.
fn is_as_meant(
    format: Format,
    (before, root): (&str, &Node),
    changed: &str,
    path: &[PathKey<'_>],
    value: Option<&str>,
) -> bool {
    let read = frame::tree(name(format), changed.as_bytes());
    let wanted = format!("value: {}\n", value.unwrap_or("null"));
    let wanted = frame::tree(name(Format::Yaml), wanted.as_bytes());
    let (Some(now), Some(wanted)) = (read.root, wanted.root) else {
        return false;
    };
    let Some(wanted) = wanted.get("value") else {
        return false;
    };
    let keys: Vec<&str> = path.iter().map(|it| it.key).collect();
    read.diagnostics.is_empty()
        && comments(before) == comments(changed)
        && says(&now, root, &keys, wanted)
}

fn comments(text: &str) -> Vec<String> {
    let mut found = text::comments(text);
    found.sort();
    found
}

/// Whether a tree is another one with something else at the end of a path.
fn says(now: &Node, before: &Node, path: &[&str], wanted: &Node) -> bool {
    let Some((key, rest)) = path.split_first() else {
        return same(now, wanted);
    };
    let nothing = Node {
        span: 0..0,
        kind: NodeKind::Null,
    };
    let others = |node: &Node| -> Vec<MapEntry> {
        let entries = node.entries().iter();
        entries.filter(|it| it.key != *key).cloned().collect()
    };
    let is_map = |node: &Node| matches!(node.kind, NodeKind::Map(_) | NodeKind::Null);
    let (others_now, others_before) = (others(now), others(before));
    is_map(now)
        && is_map(before)
        && others_now.len() == others_before.len()
        && others_now
            .iter()
            .zip(&others_before)
            .all(|(a, b)| a.key == b.key && same(&a.value, &b.value))
        && says(
            now.get(key).unwrap_or(&nothing),
            before.get(key).unwrap_or(&nothing),
            rest,
            wanted,
        )
}

/// Whether two values say the same, wherever they stand.
fn same(a: &Node, b: &Node) -> bool {
    match (&a.kind, &b.kind) {
        (NodeKind::List(a), NodeKind::List(b)) => {
            a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b))
        }
        (NodeKind::Map(a), NodeKind::Map(b)) => {
            a.len() == b.len()
                && a.iter()
                    .zip(b)
                    .all(|(a, b)| a.key == b.key && same(&a.value, &b.value))
        }
        (a, b) => a == b,
    }
}

/// The lines of a text, and what stands where.
struct Layout<'a> {
    source: &'a Source,
    newline: &'a str,
}

impl Layout<'_> {
    fn text(&self) -> &str {
        self.source.text()
    }

    /// The text with the value at the end of the path; `None` where nobody can say how.
    fn changed(&self, map: &Node, path: &[PathKey<'_>], value: Option<&str>) -> Option<String> {
        let (step, rest) = path.split_first()?;
        match (map.entry(step.key), value) {
            (None, None) => Some(self.text().to_owned()),
            (None, Some(value)) => self.added(map, None, step, rest, value),
            (Some(entry), _) => self.at(entry, rest, value),
        }
    }

    /// The text with the value below an entry that is there.
    fn at(&self, entry: &MapEntry, path: &[PathKey<'_>], value: Option<&str>) -> Option<String> {
        let Some((step, rest)) = path.split_first() else {
            return self.replaced(entry, value);
        };
        match (&entry.value.kind, value) {
            (NodeKind::Map(_), _) if entry.value.get(step.key).is_some() => {
                self.changed(&entry.value, path, value)
            }
            (_, None) => Some(self.text().to_owned()),
            (NodeKind::Map(_) | NodeKind::Null, Some(value)) => {
                self.added(&entry.value, Some(entry), step, rest, value)
            }
            _ => None,
        }
    }

    /// The text with another value behind a key, or none. Comments between the two are put above it.
    fn replaced(&self, entry: &MapEntry, value: Option<&str>) -> Option<String> {
        let colon = self.colon(entry)?;
        let node = &entry.value;
        let written = self.source.slice(&node.span);
        let end = node.span.start + written.trim_end().len();
        let is_flow = self.is_in_flow(entry);
        let value = match value {
            Some(value) => value,
            None if is_flow => "null",
            None => "",
        };
        if node.span.is_empty() || end <= colon {
            let space = if value.is_empty() { "" } else { " " };
            return Some(self.with(colon..colon, &format!("{space}{value}")));
        }
        let between = self.text().get(colon..node.span.start)?;
        if !between.contains('\n') && !written.trim_end().contains('\n') {
            let space = if between.trim().is_empty() && !value.is_empty() {
                between
            } else {
                ""
            };
            return Some(self.with(colon..end, &format!("{space}{value}")));
        }
        let space = if value.is_empty() { "" } else { " " };
        let line = self.line_start(entry.key_span.start);
        let indent = self.indent(entry.key_span.start);
        let above: String = text::comments_in(self.text(), colon..end)
            .into_iter()
            .map(|it| format!("{indent}{it}{}", self.newline))
            .collect();
        let kept = self.text().get(line..colon)?;
        Some(self.with(line..end, &format!("{above}{kept}{space}{value}")))
    }

    /// The text with keys and a value more in a mapping, which stands behind a key unless it is the whole.
    fn added(
        &self,
        map: &Node,
        owner: Option<&MapEntry>,
        step: &PathKey<'_>,
        rest: &[PathKey<'_>],
        value: &str,
    ) -> Option<String> {
        let entries = map.entries();
        let earlier = entries
            .iter()
            .rfind(|it| step.before.contains(&it.key.as_str()));
        let opens_flow =
            self.text().get(map.span.start..)?.starts_with('{') && !map.span.is_empty();
        if opens_flow {
            let inner = flow(step, rest, value);
            return Some(match earlier.filter(|it| !it.value.span.is_empty()) {
                Some(it) => self.with(it.value.span.end..it.value.span.end, &format!(", {inner}")),
                None => {
                    let after = map.span.start + 1;
                    let comma = if entries.is_empty() { " " } else { "," };
                    self.with(after..after, &format!(" {inner}{comma}"))
                }
            });
        }
        if let Some(owner) = owner
            && self.is_in_flow(owner)
        {
            let colon = self.colon(owner)?;
            let end = colon.max(map.span.end);
            return Some(self.with(colon..end, &format!(" {{ {} }}", flow(step, rest, value))));
        }
        let indent = match (entries.first(), owner) {
            (Some(first), _) => self.indent(first.key_span.start),
            (None, Some(owner)) => format!("{}  ", self.indent(owner.key_span.start)),
            (None, None) => String::new(),
        };
        let lines = self.block(&indent, step, rest, value);
        if let Some(earlier) = earlier {
            return Some(self.with_lines_after(self.end_of(earlier), &lines));
        }
        let owner = owner?;
        if !map.span.is_empty() && entries.is_empty() {
            // A word for nothing gives way.
            let colon = self.colon(owner)?;
            let cleared = self.with(colon..map.span.end, "");
            let at = colon;
            return Some(insert_lines(&cleared, at, &lines, self.newline));
        }
        Some(self.with_lines_after(self.colon(owner)?, &lines))
    }

    /// The lines of keys below one another, and the value behind the last.
    fn block(&self, indent: &str, step: &PathKey<'_>, rest: &[PathKey<'_>], value: &str) -> String {
        match rest.split_first() {
            None => format!("{indent}{}: {value}", step.key),
            Some((next, rest)) => format!(
                "{indent}{}:{}{}",
                step.key,
                self.newline,
                self.block(&format!("{indent}  "), next, rest, value)
            ),
        }
    }

    /// The text with something else in a range.
    fn with(&self, range: Range<usize>, instead: &str) -> String {
        let before = self.source.slice(&(0..range.start));
        let after = self.source.slice(&(range.end..self.text().len()));
        format!("{before}{instead}{after}")
    }

    /// The text with lines below the one in which a place is.
    fn with_lines_after(&self, place: usize, lines: &str) -> String {
        insert_lines(self.text(), place, lines, self.newline)
    }

    /// Behind the last byte of an entry that says something.
    fn end_of(&self, entry: &MapEntry) -> usize {
        let node = &entry.value;
        let last = match &node.kind {
            NodeKind::Map(entries) if !self.is_flow(node) => {
                return entries.last().map_or(node.span.end, |it| self.end_of(it));
            }
            _ => node.span.start + self.source.slice(&node.span).trim_end().len(),
        };
        last.max(entry.key_span.end)
    }

    fn is_flow(&self, node: &Node) -> bool {
        self.source.slice(&node.span).starts_with(['{', '['])
    }

    /// Whether an entry stands inside of brackets: its line holds more than it before its key.
    fn is_in_flow(&self, entry: &MapEntry) -> bool {
        let line = self.line_start(entry.key_span.start);
        let before = self.text().get(line..entry.key_span.start);
        before.is_some_and(|it| !it.trim().is_empty())
    }

    /// Behind the colon of an entry.
    fn colon(&self, entry: &MapEntry) -> Option<usize> {
        let rest = self.text().get(entry.key_span.end..)?;
        let at = rest.find(':')?;
        rest.get(..at)?
            .trim()
            .is_empty()
            .then_some(entry.key_span.end + at + 1)
    }

    fn line_start(&self, at: usize) -> usize {
        let before = self.source.slice(&(0..at));
        before.rfind('\n').map_or(0, |it| it + 1)
    }

    /// The spaces before what begins at a place.
    fn indent(&self, at: usize) -> String {
        let line = self.source.slice(&(self.line_start(at)..at));
        line.chars().take_while(|it| *it == ' ').collect()
    }
}

/// Keys and a value between brackets.
fn flow(step: &PathKey<'_>, rest: &[PathKey<'_>], value: &str) -> String {
    match rest.split_first() {
        None => format!("{}: {value}", step.key),
        Some((next, rest)) => format!("{}: {{ {} }}", step.key, flow(next, rest, value)),
    }
}

/// A text with lines below the one in which a place is.
fn insert_lines(text: &str, place: usize, lines: &str, newline: &str) -> String {
    let end = text.get(place..).and_then(|it| it.find('\n'));
    match end.and_then(|it| text.split_at_checked(place + it + 1)) {
        Some((before, after)) => format!("{before}{lines}{newline}{after}"),
        None => format!("{text}{newline}{lines}{newline}"),
    }
}
