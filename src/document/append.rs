//! Entries put at the end of a list with which a YAML file ends: all that was there stays as it stands, comments among it.

use crate::document::source::{Node, Source};

/// The text with these entries at the end of the list of a key, each a line that begins with two spaces and a dash, and its
/// further lines. Line ends are those of the file.
///
/// # Errors
/// In words, if the file does not end with such a list.
pub(crate) fn at_end_of_list(
    source: &Source,
    root: &Node,
    key: &str,
    entries: &str,
) -> Result<String, String> {
    let text = source.text();
    let end = if text.contains("\r\n") { "\r\n" } else { "\n" };
    let last = root.entries().last().filter(|it| it.key == key);
    let Some(last) = last else {
        return Err(format!("`{key}` is not its last key"));
    };
    let items = last.value.items();
    if items.is_empty() {
        // In place of `[]`; what stands behind it and below it stays.
        let span = &last.value.span;
        let (Some(before), Some(after)) = (text.get(..span.start), text.get(span.end..)) else {
            return Err(format!("`{key}` is not a list"));
        };
        let (line, below) = after.split_once('\n').unwrap_or((after, ""));
        let entries = entries.trim_start_matches('\n').replace('\n', end);
        let (before, line) = (before.trim_end(), line.trim_end());
        return Ok(format!("{before}{line}{end}{entries}{below}"));
    }
    let is_dashed = |item: &Node| {
        let before = text.get(..item.span.start);
        before.is_some_and(|it| it.ends_with("\n  - "))
    };
    if !items.iter().all(is_dashed) {
        return Err(format!(
            "its {key} are not a list of lines that begin with two spaces and a dash"
        ));
    }
    let entries = entries.replace('\n', end);
    Ok(format!("{}{end}{entries}", text.trim_end()))
}
