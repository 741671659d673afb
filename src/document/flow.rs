//! A value of a file on one line, so that it is read again as it was.

use crate::document::source::{Node, NodeKind, Source};

/// The value as a file may write it.
pub(crate) fn flow(source: &Source, node: &Node) -> String {
    match &node.kind {
        NodeKind::List(items) => format!(
            "[{}]",
            items
                .iter()
                .map(|it| flow(source, it))
                .collect::<Vec<_>>()
                .join(", ")
        ),
        NodeKind::Map(entries) if entries.is_empty() => "{}".to_owned(),
        NodeKind::Map(entries) => {
            let entries: Vec<String> = entries
                .iter()
                .map(|it| format!("{}: {}", it.key, flow(source, &it.value)))
                .collect();
            format!("{{ {} }}", entries.join(", "))
        }
        // A fact's id and a span need no quotes either; whatever else is not a plain name gets them.
        NodeKind::Text(text) if is_plain(source, node, text) => text.clone(),
        NodeKind::Text(text) => quoted(text),
        NodeKind::Null | NodeKind::Bool(_) | NodeKind::Number(_) => {
            source.slice(&node.span).to_owned()
        }
    }
}

/// Whether a text may stand without quotes: as it was written without any, and of letters that mean nothing in a list.
fn is_plain(source: &Source, node: &Node, text: &str) -> bool {
    source.slice(&node.span) == text
        && text
            .chars()
            .all(|it| it.is_ascii_alphanumeric() || matches!(it, '.' | '_' | ' ' | '-' | '/' | '%'))
}

/// A text in quotes.
pub(crate) fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for letter in text.chars() {
        match letter {
            '\\' | '"' => quoted.extend(['\\', letter]),
            _ if letter.is_control() => {
                quoted.push_str(&format!("\\u{:04x}", u32::from(letter)));
            }
            _ => quoted.push(letter),
        }
    }
    quoted.push('"');
    quoted
}
