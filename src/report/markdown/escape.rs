//! Text from files made harmless for Markdown: no letter of it becomes markup, a link, an image or HTML.
//!
//! Held to CommonMark and to what common readers add: tables, bare links, striking out, footnotes, formulas, marks.
//! A character that a backslash cannot disarm everywhere is written as an entity, and `@` as code, since some readers
//! look for addresses after they have taken backslashes away. What a reader shows is the text itself.

use crate::report::page::{harmless, one_line};

/// A text on one line.
pub fn inline(text: &str) -> String {
    escaped(&one_line(text))
}

/// An id as code if it is made of nothing but what ids are made of; escaped text otherwise.
pub fn code(id: &str) -> String {
    let plain = |it: char| it.is_ascii_alphanumeric() || matches!(it, '.' | '_' | '/' | '-');
    if !id.is_empty() && id.chars().all(plain) {
        format!("`{id}`")
    } else {
        inline(id)
    }
}

/// Words from a file as a quotation, line by line, spaces and all. Ends with a line end.
pub fn quote(text: &str) -> String {
    let lines: Vec<String> = text.trim_end().lines().map(line).collect();
    let mut quoted = String::new();
    for (at, line) in lines.iter().enumerate() {
        // A backslash at the end of a line keeps the break, of an empty line, too.
        let end = if at + 1 < lines.len() { "\\" } else { "" };
        quoted.push_str(&format!("> {line}{end}\n"));
    }
    quoted
}

/// One line with the spaces at its ends kept, as readers would drop or count them otherwise.
fn line(text: &str) -> String {
    let text: String = text
        .chars()
        .map(|it| if it == '\t' { it } else { harmless(it) })
        .collect();
    let kept = |spaces: &str| {
        spaces
            .chars()
            .map(|it| format!("&#{};", u32::from(it)))
            .collect::<String>()
    };
    let words = text.trim();
    let (before, after) = text
        .split_once(words)
        .filter(|_| !words.is_empty())
        .unwrap_or((&text, ""));
    format!("{}{}{}", kept(before), escaped(words), kept(after))
}

/// The text with every character disarmed that could mean something where it stands.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len() + text.len() / 4);
    let mut before: Option<char> = None;
    let mut letters = text.char_indices().peekable();
    while let Some((at, letter)) = letters.next() {
        let next = letters.peek().map(|(_, it)| *it);
        match letter {
            '`' | '|' => safe.push_str(&format!("&#{};", u32::from(letter))),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '&' => safe.push_str("&amp;"),
            '\t' => safe.push_str("&#9;"),
            '@' => {
                safe.push_str(if before == Some('@') { "@" } else { "`@" });
                safe.push_str(if next == Some('@') { "" } else { "`" });
            }
            _ => {
                if letter.is_ascii_punctuation() && speaks(text, at, letter, before, next) {
                    safe.push('\\');
                }
                safe.push(letter);
            }
        }
        before = Some(letter);
    }
    safe
}

/// Whether a sign of punctuation could mean something where it stands.
fn speaks(text: &str, at: usize, letter: char, before: Option<char>, next: Option<char>) -> bool {
    let so_far = text.split_at(at).0;
    match letter {
        '\\' | '*' | '_' | '[' | ']' | '#' | '~' | '$' | '^' | '{' | '}' => true,
        // At the start of a line: list, heading, line, table; after a number: a numbered list.
        _ if so_far.is_empty() => !matches!(letter, '"' | '\'' | '?' | ',' | '/'),
        '.' | ')' if so_far.bytes().all(|it| it.is_ascii_digit()) => {
            next.is_none_or(char::is_whitespace)
        }
        // Doubled: marks of readers' own.
        '=' | '+' | '-' | '.' | ':' if before == Some(letter) || next == Some(letter) => true,
        // Addresses: some readers make a link of whatever looks like one.
        ':' => next.is_some_and(|it| !it.is_whitespace() && !it.is_ascii_digit()),
        '.' => next.is_some_and(char::is_alphabetic) && before.is_some_and(char::is_alphanumeric),
        '/' => before == Some('/'),
        _ => false,
    }
}
