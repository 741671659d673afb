//! A page of text: headings, labelled paragraphs, quoted lines, wrapped to a width. Knows nothing of screenings.
//!
//! INVARIANT: every text that comes onto a page passes [`one_line`], so nothing that a file holds can steer the
//! terminal or pretend to be a line of the report.

use std::borrow::Cow;

use anstyle::{AnsiColor, Style as Ansi};
use textwrap::core::display_width;
use textwrap::{Options, WordSeparator, WordSplitter, WrapAlgorithm};

use crate::outcome::Outcome;
use crate::report::steers;

/// Width for a reader who is not at a terminal.
const USUAL_WIDTH: usize = 80;

/// What the table of doses needs; on anything narrower the terminal breaks the lines.
const LEAST_WIDTH: usize = 64;

/// What is left for a text beside something wide; the terminal breaks what does not fit.
const LEAST_BESIDE: usize = 24;

/// Above this, lines are tiresome to read, however wide the terminal.
const MOST_READABLE: usize = 100;

/// Stands where a character was left out, so that leaving it out is seen.
const LEFT_OUT: char = '\u{fffd}';

/// How a page looks. Colour only adds: the same words are there without it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Style {
    /// Columns to fill; fewer than sixty-four count as sixty-four.
    pub width: usize,
    /// Whether to colour.
    pub colour: bool,
}

impl Style {
    /// Eighty columns, no colour: for a file, a pipe or a printer.
    pub fn plain() -> Self {
        Self {
            width: USUAL_WIDTH,
            colour: false,
        }
    }

    /// As wide as the terminal on standard output, within what reads well; eighty columns if there is none.
    pub fn terminal(colour: bool) -> Self {
        let width =
            terminal_size::terminal_size().map_or(USUAL_WIDTH, |(width, _)| usize::from(width.0));
        Self {
            width: width.min(MOST_READABLE),
            colour,
        }
    }

    /// Columns to fill.
    fn columns(self) -> usize {
        self.width.max(LEAST_WIDTH)
    }
}

/// How a label is drawn, where colour is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paint {
    /// As ordinary text.
    Plain,
    /// Standing out.
    Strong,
    /// Standing back.
    Faint,
    /// In the colour of an outcome.
    Outcome(Outcome),
}

/// A page as it grows.
#[derive(Debug)]
pub struct Page {
    style: Style,
    text: String,
}

impl Page {
    /// An empty page.
    pub fn new(style: &Style) -> Self {
        Self {
            style: *style,
            text: String::new(),
        }
    }

    /// Columns to fill.
    pub fn columns(&self) -> usize {
        self.style.columns()
    }

    /// An empty line.
    pub fn blank(&mut self) {
        self.text.push('\n');
    }

    /// An empty line, and a heading drawn across the page.
    pub fn heading(&mut self, title: &str) {
        let title = &one_line(title);
        let rest = self.columns().saturating_sub(display_width(title) + 4);
        self.blank();
        let title = self.painted(&format!("-- {title} "), Paint::Strong);
        self.line(&format!("{title}{}", "-".repeat(rest)));
    }

    /// A paragraph whose lines all start at `column`.
    pub fn paragraph(&mut self, column: usize, text: &str) {
        self.entry("", Paint::Plain, Indent::at(0, column), text);
    }

    /// A label and a paragraph beside it. A label that is too long pushes the first line to the right.
    pub fn entry(&mut self, label: &str, paint: Paint, indent: Indent, text: &str) {
        let label = one_line(label);
        let text = one_line(text);
        let lead = indent.label + display_width(&label);
        let start = if label.is_empty() || lead < indent.text {
            indent.text
        } else {
            lead + 2
        };
        let (first, rest) = (" ".repeat(start), " ".repeat(indent.text + indent.hang));
        let options = Options::new(self.columns())
            .initial_indent(&first)
            .subsequent_indent(&rest)
            .break_words(false)
            .word_splitter(WordSplitter::NoHyphenation)
            .word_separator(WordSeparator::AsciiSpace)
            .wrap_algorithm(WrapAlgorithm::FirstFit);
        let label = format!(
            "{}{}{}",
            " ".repeat(indent.label),
            self.painted(&label, paint),
            " ".repeat(start.saturating_sub(lead))
        );
        for (at, line) in textwrap::wrap(&text, options).into_iter().enumerate() {
            match line.strip_prefix(&first) {
                Some(words) if at == 0 => self.line(&format!("{label}{words}")),
                _ if at == 0 => self.line(&label),
                _ => self.line(&line),
            }
        }
    }

    /// Several entries under one label, which stands beside the first.
    pub fn entries(
        &mut self,
        label: &str,
        paint: Paint,
        indent: Indent,
        texts: impl IntoIterator<Item = impl AsRef<str>>,
    ) {
        let labels = std::iter::once(label).chain(std::iter::repeat(""));
        for (label, text) in labels.zip(texts) {
            self.entry(label, paint, indent, text.as_ref());
        }
    }

    /// A list, each entry under a mark of its own.
    pub fn bullets(&mut self, indent: Indent, texts: impl IntoIterator<Item = impl AsRef<str>>) {
        for text in texts {
            self.entry("-", Paint::Plain, indent, text.as_ref());
        }
    }

    /// A text in lines that fit beside so many columns of something else.
    pub fn wrapped(&self, beside: usize, text: &str) -> Vec<String> {
        let options = Options::new(self.columns().saturating_sub(beside).max(LEAST_BESIDE))
            .break_words(false)
            .word_splitter(WordSplitter::NoHyphenation)
            .word_separator(WordSeparator::AsciiSpace)
            .wrap_algorithm(WrapAlgorithm::FirstFit);
        textwrap::wrap(&one_line(text), options)
            .into_iter()
            .map(Cow::into_owned)
            .collect()
    }

    /// Words from a file as they stand, line by line, each line marked as a quotation.
    pub fn quote(&mut self, column: usize, text: &str) {
        let mark = format!("{}| ", " ".repeat(column));
        let options = Options::new(self.columns())
            .initial_indent(&mark)
            .subsequent_indent(&mark)
            .word_splitter(WordSplitter::NoHyphenation)
            .wrap_algorithm(WrapAlgorithm::FirstFit);
        for line in text.trim_end().lines() {
            let line: String = line.replace('\t', "    ").chars().map(harmless).collect();
            for line in textwrap::wrap(&line, &options) {
                self.line(&line);
            }
        }
    }

    /// One line as it is, neither wrapped nor checked; callers make it of parts that passed [`one_line`].
    pub fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    /// A finished page after this one.
    pub fn add(&mut self, finished: &str) {
        self.text.push_str(finished);
    }

    /// A text in colour, if colour is wanted.
    pub fn painted(&self, text: &str, paint: Paint) -> String {
        if !self.style.colour || text.is_empty() {
            return text.to_owned();
        }
        let ansi = match paint {
            Paint::Plain => return text.to_owned(),
            Paint::Strong => Ansi::new().bold(),
            Paint::Faint => Ansi::new().dimmed(),
            Paint::Outcome(Outcome::Go) => AnsiColor::Green.on_default().bold(),
            Paint::Outcome(Outcome::Defer) => AnsiColor::Yellow.on_default().bold(),
            Paint::Outcome(Outcome::Refer) => AnsiColor::Red.on_default().bold(),
        };
        format!("{ansi}{text}{ansi:#}")
    }

    /// The finished text; it ends with a line end.
    pub fn finish(self) -> String {
        self.text
    }
}

/// Where the parts of an entry start, in columns from the left edge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Indent {
    /// The label.
    pub label: usize,
    /// The first line of the text.
    pub text: usize,
    /// How much further its other lines start.
    pub hang: usize,
}

impl Indent {
    /// Label and text at these columns, all lines of the text below one another.
    pub const fn at(label: usize, text: usize) -> Self {
        Self {
            label,
            text,
            hang: 0,
        }
    }

    /// The same with the lines behind the first so much further to the right.
    pub const fn hanging(self, hang: usize) -> Self {
        Self { hang, ..self }
    }
}

/// A text on one line that cannot steer the terminal: runs of white space become one space, and each character that
/// [`steers`] becomes a mark, so that leaving it out is seen.
pub fn one_line(text: &str) -> Cow<'_, str> {
    let tidy = !text.contains("  ") && !text.starts_with(' ') && !text.ends_with(' ');
    if tidy
        && !text
            .chars()
            .any(|it| steers(it) || (it.is_whitespace() && it != ' '))
    {
        return Cow::Borrowed(text);
    }
    let words: Vec<String> = text
        .split_whitespace()
        .map(|word| word.chars().map(harmless).collect())
        .collect();
    Cow::Owned(words.join(" "))
}

/// A text in lines of at most this width, each behind an indent.
pub fn filled(text: &str, width: usize, indent: &str) -> String {
    let width = width.saturating_sub(indent.len());
    textwrap::indent(&textwrap::fill(&one_line(text), width), indent)
}

/// The character itself, or a mark in place of one that [`steers`].
pub fn harmless(character: char) -> char {
    if steers(character) {
        LEFT_OUT
    } else {
        character
    }
}
