//! What is shown of a file: each line cut to what can be read, for a file may be one line of a megabyte.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use crate::document::diagnostic::{Diagnostic, Label};
use crate::document::source::Source;

/// Most characters of a line that are shown.
const LONGEST_LINE: usize = 200;
/// How many of them stand before the place, where the line is cut there.
const BEFORE: usize = 60;
/// Stands for what was cut off.
const CUT: &str = "...";

impl Diagnostic {
    /// The same diagnostic on a text whose long lines are cut, each around the first place in it.
    pub(crate) fn with_short_lines(&self) -> Cow<'_, Self> {
        match self
            .source
            .as_deref()
            .filter(|it| !self.labels.is_empty() && has_long_line(it))
        {
            Some(source) => Cow::Owned(self.cut(source)),
            None => Cow::Borrowed(self),
        }
    }

    fn cut(&self, source: &Source) -> Self {
        let mut text = String::new();
        let mut left_out = BTreeMap::new();
        let mut labels = self.labels.clone();
        for (at, line) in
            (0..source.line_count()).filter_map(|at| Some((at, source.line_range(at)?)))
        {
            let here = |it: &Label| (line.start..=line.end).contains(&it.span.start);
            let place = self
                .labels
                .iter()
                .find(|it| here(it))
                .map_or(line.start, |it| it.span.start);
            let kept = window(source, &line, place);
            if kept.start > line.start {
                text.push_str(CUT);
                let before = source.slice(&(line.start..kept.start)).chars().count();
                left_out.insert(at, before - CUT.len());
            }
            let moved =
                |offset: usize| text.len() + offset.clamp(kept.start, kept.end) - kept.start;
            for (label, whole) in labels
                .iter_mut()
                .zip(&self.labels)
                .filter(|(_, it)| here(it))
            {
                label.span = moved(whole.span.start)..moved(whole.span.end);
            }
            text.extend(source.shown().get(kept.clone()));
            if kept.end < line.end {
                text.push_str(CUT);
            }
            text.push('\n');
        }
        Self {
            source: Some(Arc::new(source.cut(text, left_out))),
            labels,
            ..self.clone()
        }
    }
}

fn has_long_line(source: &Source) -> bool {
    (0..source.line_count())
        .filter_map(|it| source.line_range(it))
        .any(|it| is_long(source.slice(&it)))
}

fn is_long(line: &str) -> bool {
    line.len() > LONGEST_LINE && line.chars().count() > LONGEST_LINE
}

/// The bytes of a line to keep: all of them, or so many characters from a little before a place.
fn window(source: &Source, line: &Range<usize>, place: usize) -> Range<usize> {
    let text = source.slice(line);
    if !is_long(text) {
        return line.clone();
    }
    let room = LONGEST_LINE - 2 * CUT.len();
    let before = source.slice(&(line.start..place)).chars().count();
    // No more is cut off than the sign of it needs.
    let first = if before <= BEFORE + CUT.len() {
        0
    } else {
        (before - BEFORE).min(text.chars().count() - room)
    };
    let byte = |n: usize| text.char_indices().nth(n).map_or(text.len(), |(at, _)| at) + line.start;
    byte(first)..byte(first + room)
}
