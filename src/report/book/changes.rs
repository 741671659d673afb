//! What the rule set's own log says about this edition, with its form kept and nothing else.
//!
//! The log is Markdown, and could hold anything. It is read and written anew: paragraphs, lists and tables stay, headings
//! become paragraphs, links lose their targets, and HTML is shown as the text it is.

use pulldown_cmark::{Event, Options, Parser, Tag, TagEnd};

use crate::report::book::{Book, BookText};
use crate::report::markdown::escape::inline;

pub fn section(sheet: &mut BookText, book: &Book<'_>) {
    of_log(sheet, book.change_log, &book.rule_set.edition);
}

/// What a log says about an edition.
pub fn of_log(sheet: &mut BookText, change_log: Option<&str>, edition: &str) {
    match change_log {
        None => sheet.paragraph("This rule set keeps no log of its changes (CHANGELOG.md)."),
        Some(log) => match of_edition(log, edition) {
            Some(section) => sheet.text.push_str(&anew(section)),
            None => sheet.paragraph(&format!(
                "The log of changes begins with another edition than {}.",
                inline(edition)
            )),
        },
    }
}

/// The first section of a log, without its heading, if the heading begins with this edition.
fn of_edition<'a>(log: &'a str, edition: &str) -> Option<&'a str> {
    let start = if log.starts_with("## ") {
        0
    } else {
        log.find("\n## ")? + 1
    };
    let (heading, rest) = log.get(start + 3..)?.split_once('\n')?;
    let body = if rest.starts_with("## ") {
        ""
    } else {
        rest.split_once("\n## ").map_or(rest, |(body, _)| body)
    };
    let named = heading
        .split_whitespace()
        .next()
        .map(|it| it.trim_end_matches([',', ':', ';']));
    (named == Some(edition)).then_some(body)
}

/// The Markdown written anew.
fn anew(markdown: &str) -> String {
    let mut out = String::from("\n");
    let mut depth = 0_usize;
    for event in Parser::new_ext(markdown, Options::ENABLE_TABLES) {
        match event {
            Event::Start(Tag::List(_)) => {
                out.push_str(if depth > 0 && !out.ends_with('\n') {
                    "\n"
                } else {
                    ""
                });
                depth += 1;
            }
            Event::End(TagEnd::List(_)) => {
                depth = depth.saturating_sub(1);
                out.push_str(if depth == 0 { "\n" } else { "" });
            }
            Event::Start(Tag::Item) => {
                out.push_str(&format!("{}- ", "  ".repeat(depth.saturating_sub(1))))
            }
            Event::End(TagEnd::Item | TagEnd::TableRow) => {
                out.push_str(if out.ends_with('\n') { "" } else { "\n" })
            }
            Event::End(
                TagEnd::Paragraph
                | TagEnd::Heading(_)
                | TagEnd::CodeBlock
                | TagEnd::HtmlBlock
                | TagEnd::BlockQuote(_),
            ) => {
                out.push_str(if depth > 0 { "\n" } else { "\n\n" });
            }
            Event::Start(Tag::TableHead | Tag::TableRow) => out.push('|'),
            Event::Start(Tag::TableCell) => out.push(' '),
            Event::End(TagEnd::TableCell) => out.push_str(" |"),
            Event::End(TagEnd::TableHead) => {
                let line = out.rsplit_once('\n').map_or(out.as_str(), |(_, line)| line);
                let rule = " :-- |".repeat(line.matches(" |").count());
                out.push_str(&format!("\n|{rule}\n"));
            }
            Event::End(TagEnd::Table) => out.push('\n'),
            Event::Text(text) | Event::Code(text) | Event::Html(text) | Event::InlineHtml(text) => {
                out.push_str(&piece(&text))
            }
            Event::SoftBreak | Event::HardBreak => out.push(' '),
            _ => {}
        }
    }
    out
}

/// A piece of a line, with a space at an end where it had one.
fn piece(text: &str) -> String {
    let space = |yes: bool| if yes { " " } else { "" };
    if text.trim().is_empty() {
        return space(!text.is_empty()).to_owned();
    }
    format!(
        "{}{}{}",
        space(text.starts_with(char::is_whitespace)),
        inline(text),
        space(text.ends_with(char::is_whitespace))
    )
}
