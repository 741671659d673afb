//! The book as one page of HTML: its Markdown in a frame of our own. No script, nothing loaded from anywhere.

use pulldown_cmark::{CowStr, Event, HeadingLevel, Options, Parser, Tag};

use crate::report::html::css_text;
use crate::report::page::one_line;

/// How the page looks, on a screen and on paper.
const STYLE: &str = include_str!("book.css");

/// What is printed: in a book every part begins on a page of its own, in a paper it does not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Printed {
    /// A whole rule set.
    Book,
    /// A proposal.
    Paper,
}

/// The page of a book's or a paper's Markdown.
pub fn page(title: &str, markdown: &str, printed: Printed) -> String {
    let class = match printed {
        Printed::Book => "book",
        Printed::Paper => "paper",
    };
    let mut events = Vec::new();
    // What the next heading closes.
    let (mut in_part, mut in_entry) = (false, false);
    for event in Parser::new_ext(markdown, Options::ENABLE_TABLES) {
        if let Event::Start(Tag::Heading { level, .. }) = &event {
            let mut frame = |html: &'static str| events.push(Event::Html(CowStr::Borrowed(html)));
            if std::mem::take(&mut in_entry) {
                frame("</article>\n");
            }
            match level {
                HeadingLevel::H2 => {
                    frame(if in_part {
                        "</section>\n<section>\n"
                    } else {
                        "<section>\n"
                    });
                    in_part = true;
                }
                HeadingLevel::H3 => {
                    frame("<article>\n");
                    in_entry = true;
                }
                _ => {}
            }
        }
        events.push(event);
    }
    let mut body = String::new();
    pulldown_cmark::html::push_html(&mut body, events.into_iter());
    body.push_str(if in_entry { "</article>\n" } else { "" });
    body.push_str(if in_part { "</section>\n" } else { "" });
    let margins = match printed {
        Printed::Book => margins(markdown),
        Printed::Paper => String::new(),
    };
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{}</title>\n<style>\n{STYLE}{margins}</style>\n\
         </head>\n<body>\n<main class=\"{class}\">\n{body}</main>\n</body>\n</html>\n",
        text(title)
    )
}

/// Bytes of a part that surely fits on a page. Shorter ones follow one another without a new page.
const SHORT: usize = 2_500;

/// What bears the heading of each longer part on each of its pages, by which a reader of paper finds it.
fn margins(markdown: &str) -> String {
    let parts = (1..).zip(markdown.split("\n## ").skip(1));
    let longer = parts.filter(|(_, part)| part.len() > SHORT);
    let named = longer.map(|(n, part)| {
        let heading = part.lines().take(1).flat_map(Parser::new);
        let title: String = heading
            .filter_map(|event| match event {
                Event::Text(text) => Some(css_text(&one_line(&text))),
                _ => None,
            })
            .collect();
        format!(
            "section:nth-of-type({n}) {{ page: part-{n}; }}\n@page part-{n} {{ @top-right {{ content: \"{title}\"; }} }}\n"
        )
    });
    named.collect()
}

/// A text on one line as the content of an element.
fn text(text: &str) -> String {
    one_line(text)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}
