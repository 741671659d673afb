//! Something wrong with a *file*: code, severity, title, labels, help. Never about a patient.
//!
//! `codes` holds the one list of all codes and their pages. Drawing is done by `miette`; the
//! [`miette::SourceCode`] here finds lines by binary search, so many diagnostics stay cheap.

use std::collections::BTreeSet;
use std::fmt;
use std::ops::Range;
use std::sync::Arc;

use miette::{LabeledSpan, MietteError, MietteSpanContents, SourceCode, SourceSpan, SpanContents};

use crate::document::source::{Placed, Source, steers};

pub(crate) mod codes;
mod excerpt;

pub use crate::document::diagnostic::codes::{Code, Severity};

/// Most letters of a title.
const LONGEST_TITLE: usize = 200;
/// Most letters of what to do next, which may list the options of a question.
const LONGEST_HELP: usize = 2_000;

/// One thing wrong with one file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Diagnostic {
    /// Which kind of thing is wrong.
    pub code: Code,
    /// What is wrong, lower-case start, no full stop.
    pub title: String,
    /// The file; `None` when it could not be read at all (the title names it then).
    pub source: Option<Arc<Source>>,
    /// Places in the file, the first being the place of the diagnostic.
    pub labels: Vec<Label>,
    /// What to do next.
    pub help: String,
}

/// A place in the file with a few words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// The bytes to underline.
    pub span: Range<usize>,
    /// Two to six words.
    pub text: String,
}

impl Diagnostic {
    /// A diagnostic without a file to point into. Its help is the code's own, until a better one is given.
    pub(crate) fn bare(code: Code, title: impl Into<String>) -> Self {
        Self {
            code,
            title: one_line(title.into()),
            source: None,
            labels: Vec::new(),
            help: code.mend().into(),
        }
    }

    /// A diagnostic at a place. Its help is the code's own, until a better one is given.
    pub(crate) fn at(
        code: Code,
        source: &Arc<Source>,
        at: &impl Placed,
        title: impl Into<String>,
        label: impl Into<String>,
    ) -> Self {
        Self {
            code,
            title: one_line(title.into()),
            source: Some(Arc::clone(source)),
            labels: vec![Label {
                span: first_line_of(source, at.place()),
                text: label.into(),
            }],
            help: code.mend().into(),
        }
    }

    /// Adds what to do next.
    #[must_use]
    pub(crate) fn help(mut self, help: impl Into<String>) -> Self {
        self.help = shortened(help.into().replace(steers, "\u{fffd}"), LONGEST_HELP);
        self
    }

    /// Adds what to do next, if there is something to say.
    #[must_use]
    pub(crate) fn help_if(self, help: Option<String>) -> Self {
        match help {
            Some(help) => self.help(help),
            None => self,
        }
    }

    /// Adds a second place.
    #[must_use]
    pub(crate) fn also(mut self, at: &impl Placed, label: impl Into<String>) -> Self {
        if let Some(source) = &self.source {
            let span = first_line_of(source, at.place());
            self.labels.push(Label {
                span,
                text: label.into(),
            });
        }
        self
    }

    /// Where the first label starts; 0 without labels.
    pub fn offset(&self) -> usize {
        self.labels.first().map_or(0, |label| label.span.start)
    }

    /// `file:line:column` of the first label, or the file's name alone, or nothing.
    pub fn place(&self) -> Option<String> {
        let source = self.source.as_ref()?;
        let Some(label) = self.labels.first() else {
            return Some(source.name().to_owned());
        };
        let at = source.position(label.span.start);
        Some(format!("{}:{}:{}", source.name(), at.line, at.column))
    }
}

/// The diagnostics of one file in the order of their places, without echoes.
pub(crate) fn in_file_order(mut found: Vec<Diagnostic>) -> Vec<Diagnostic> {
    found.sort_by_key(Diagnostic::offset);
    without_echoes(found)
}

/// The diagnostics without those that only follow from another one at the same place: what the reader of the text
/// refuses is often refused again for its shape, or as an answer.
pub(crate) fn without_echoes(mut found: Vec<Diagnostic>) -> Vec<Diagnostic> {
    let is_of_text = |it: &Diagnostic| it.code.name().starts_with("text/");
    let place = |diagnostic: &Diagnostic| {
        Some((
            diagnostic.source.as_ref()?.name().to_owned(),
            diagnostic.labels.first()?.span.start,
        ))
    };
    let of_text: BTreeSet<(String, usize)> = found
        .iter()
        .filter(|it| is_of_text(it))
        .filter_map(place)
        .collect();
    found.retain(|it| is_of_text(it) || place(it).is_none_or(|place| !of_text.contains(&place)));
    found
}

/// A title is one line of bounded length, whatever piece of a file it quotes.
fn one_line(title: String) -> String {
    if title.len() <= LONGEST_TITLE && !title.contains(steers) {
        return title;
    }
    let line = title
        .split(|it: char| steers(it) || it == ' ')
        .filter(|it| !it.is_empty())
        .collect::<Vec<_>>()
        .join(" ");
    shortened(line, LONGEST_TITLE)
}

/// A text of so many letters at most, with a sign where it was cut.
fn shortened(mut text: String, longest: usize) -> String {
    if let Some((cut, _)) = text.char_indices().nth(longest) {
        text.truncate(cut);
        text.push_str("...");
    }
    text
}

/// A label over a whole block is unreadable: keep its first line, and never leave the text.
fn first_line_of(source: &Source, span: &Range<usize>) -> Range<usize> {
    let end = span.end.min(source.text().len());
    let start = span.start.min(end);
    let line_end = source
        .line_range(source.line_index(start))
        .map_or(end, |line| line.end.max(start));
    start..end.min(line_end)
}

impl fmt::Display for Diagnostic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.title)
    }
}

impl std::error::Error for Diagnostic {}

impl miette::Diagnostic for Diagnostic {
    fn code<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        Some(Box::new(self.code.name()))
    }

    fn severity(&self) -> Option<miette::Severity> {
        Some(match self.code.severity() {
            Severity::Problem => miette::Severity::Error,
            Severity::Notice => miette::Severity::Warning,
        })
    }

    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        Some(Box::new(&self.help))
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.source
            .as_deref()
            .filter(|_| !self.labels.is_empty())
            .map(|it| it as &dyn SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        if self.source.is_none() || self.labels.is_empty() {
            return None;
        }
        Some(Box::new(self.labels.iter().enumerate().map(
            |(at, label)| {
                let span = (label.span.start, label.span.len());
                if at == 0 {
                    LabeledSpan::new_primary_with_span(Some(label.text.clone()), span)
                } else {
                    LabeledSpan::new_with_span(Some(label.text.clone()), span)
                }
            },
        )))
    }
}

impl SourceCode for Source {
    fn read_span<'a>(
        &'a self,
        span: &SourceSpan,
        context_lines_before: usize,
        context_lines_after: usize,
    ) -> Result<Box<dyn SpanContents<'a> + 'a>, MietteError> {
        let start = span.offset().min(self.text().len());
        let end = (span.offset() + span.len()).min(self.text().len());
        let first = self.line_index(start).saturating_sub(context_lines_before);
        let last =
            (self.line_index(end) + context_lines_after).min(self.line_count().saturating_sub(1));
        let from = self.line_range(first).map_or(0, |line| line.start);
        let to = self
            .line_range(last)
            .map_or(self.text().len(), |line| line.end);
        let data = self.shown().get(from..to).unwrap_or("").as_bytes();
        // Miette prints the column of the span start, counted from this column in characters.
        let column = if context_lines_before == 0 {
            self.position(start).column - 1
        } else {
            0
        };
        Ok(Box::new(MietteSpanContents::new_named(
            self.name().replace(steers, "\u{fffd}"),
            data,
            (from, to - from).into(),
            self.n_before() + first,
            column,
            last - first + 1,
        )))
    }
}

/// Fewest letters of the words that two names share before one is offered for the other.
const FEWEST_SHARED: usize = 3;

/// Most names offered for a wrong one.
const MOST_OFFERED: usize = 3;

/// The best guess for a misspelt name, when one is close enough to be worth offering.
///
/// Close means an edit distance of at most one, plus one for every five letters.
pub(crate) fn nearest<'a>(
    wrong: &str,
    known: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    let wrong = wrong.to_lowercase();
    let n_letters = wrong.chars().count();
    let most = 1 + n_letters / 5;
    known
        .into_iter()
        .filter(|it| it.chars().count().abs_diff(n_letters) <= most)
        .map(|it| (strsim::damerau_levenshtein(&wrong, &it.to_lowercase()), it))
        .filter(|(distance, it)| *distance <= most && *distance < it.chars().count().max(2))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, it)| it)
}

/// The known names that share their words with a wrong one: `retire` for `retire_rule`, `hba1c` for `hba1c_vlaue`. Empty if
/// none does, or too many do as well.
fn sharing_words<'a>(wrong: &str, known: &[&'a str]) -> Vec<&'a str> {
    let words = |text: &str| -> Vec<String> {
        text.to_lowercase()
            .split(|it: char| !it.is_alphanumeric())
            .filter(|it| !it.is_empty())
            .map(str::to_owned)
            .collect()
    };
    let wrong = words(wrong);
    let shared = |known: &str| {
        let known = words(known);
        let (few, many) = if wrong.len() < known.len() {
            (&wrong, &known)
        } else {
            (&known, &wrong)
        };
        let alike = |name: &String| {
            let near = nearest(name, many.iter().map(String::as_str))?;
            name.chars()
                .count()
                .checked_sub(strsim::damerau_levenshtein(name, near))
        };
        few.iter().map(alike).sum::<Option<usize>>().unwrap_or(0)
    };
    let scored: Vec<(usize, &str)> = known.iter().map(|it| (shared(it), *it)).collect();
    let best = scored
        .iter()
        .map(|(score, _)| *score)
        .max()
        .filter(|it| *it >= FEWEST_SHARED);
    let found: Vec<&str> = scored
        .iter()
        .filter(|(score, _)| Some(*score) == best)
        .map(|(_, it)| *it)
        .collect();
    if found.len() > MOST_OFFERED {
        Vec::new()
    } else {
        found
    }
}

/// "did you mean `x`?" if a name is close as a whole, or shares its words.
pub(crate) fn perhaps<'a>(wrong: &str, known: impl IntoIterator<Item = &'a str>) -> Option<String> {
    let known: Vec<&str> = known.into_iter().collect();
    let near = nearest(wrong, known.iter().copied())
        .map_or_else(|| sharing_words(wrong, &known), |it| vec![it]);
    (!near.is_empty()).then(|| format!("did you mean {}?", listed(&near)))
}

/// Whether one of these keys seems to be a misspelt form of a known one. Then it is told, and the known one is not told
/// to be missing as well.
pub(crate) fn misspelt<'a>(
    key: &str,
    written: impl IntoIterator<Item = &'a str>,
    known: &[&str],
) -> bool {
    written
        .into_iter()
        .any(|it| !known.contains(&it) && nearest(it, known.iter().copied()) == Some(key))
}

/// "did you mean `x`?" if a name is close, else the list of known names, or nothing if that is long.
pub fn did_you_mean<'a>(wrong: &str, known: impl IntoIterator<Item = &'a str>) -> Option<String> {
    let known: Vec<&str> = known.into_iter().collect();
    let all =
        || (known.len() <= 16 && !known.is_empty()).then(|| format!("one of {}", listed(&known)));
    perhaps(wrong, known.iter().copied()).or_else(all)
}

/// "`a`, `b` or `c`"; "`a`" alone for one.
pub(crate) fn listed(names: &[&str]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("`{name}`")).collect();
    match quoted.split_last() {
        None => String::new(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
    }
}
