//! Writing to the terminal: results on standard output, diagnostics on standard error.
//!
//! INVARIANT: whatever is printed passes here, where no character steers the terminal: a mark in
//! texts, an escape in JSON. Our own colours pass where colours are wanted; what files say has lost
//! its own in `report::page` before. A result that cannot be written is noted here and asked for
//! once, at the end, so that no command can forget it. Where standard output is closed from the
//! start, the system gives a program the null device in its place, which cannot be told apart.

use std::io::{self, ErrorKind, Write as _};
use std::sync::OnceLock;

use miette::{GraphicalReportHandler, GraphicalTheme};

use crate::cli::{NotDone, RuleSource};
use crate::document::diagnostic::{Code, Diagnostic};
use crate::questionnaire::policy::rule_set_with;
use crate::report::json::escaped;
use crate::report::page::harmless;
use crate::report::words;
use crate::rule_set;
use crate::rule_set::files;
use crate::rule_set::files::{RuleFiles, TextFile};
use crate::rule_set::{RuleSet, Withdrawal};

/// Most diagnostics drawn for one file.
const MOST_PER_FILE: usize = 20;
/// Text is never wider than this.
const WIDEST: usize = 100;

/// Width to wrap at: the terminal's, within reason; 80 where there is none.
pub(crate) fn width() -> usize {
    terminal_size::terminal_size()
        .map_or(80, |(width, _)| usize::from(width.0))
        .clamp(40, WIDEST)
}

/// Why the first result that could not be written was not.
///
/// It is kept here and not handed up, so that no command can forget it: whatever one returns, the program ends with
/// [`ExitStatus::NotWritten`](crate::cli::ExitStatus::NotWritten).
static NOT_WRITTEN: OnceLock<ErrorKind> = OnceLock::new();

/// Prints a result whole. Once one could not be written, no further one is.
///
/// INVARIANT: here and in [`note`], whatever a text holds, nothing but our own colours and line ends reaches the terminal
/// as anything else than a letter.
pub(crate) fn out(text: &str) {
    if !is_written() {
        return;
    }
    let mut text = disarmed(text, colour_out());
    if !text.ends_with('\n') {
        text.push('\n');
    }
    let mut stream = anstream::stdout().lock();
    if let Err(error) = stream
        .write_all(text.as_bytes())
        .and_then(|()| stream.flush())
    {
        not_written(&error);
    }
}

/// Prints whole lines that `batch` wrote. INVARIANT: what could steer a terminal is an escape in them already; looking at each
/// letter again would take longer than screening it.
pub(crate) fn records(lines: &[u8]) {
    if !is_written() {
        return;
    }
    let mut stream = io::stdout().lock();
    if let Err(error) = stream.write_all(lines).and_then(|()| stream.flush()) {
        not_written(&error);
    }
}

/// Notes that a result could not be written. A reader that went away knows it already and is told nothing.
fn not_written(error: &io::Error) {
    if NOT_WRITTEN.set(error.kind()).is_ok() && error.kind() != ErrorKind::BrokenPipe {
        note(&format!("the result could not be written: {error}"));
    }
}

/// Whether every result so far was written.
pub(crate) fn is_written() -> bool {
    NOT_WRITTEN.get().is_none()
}

/// Prints a result that has no colours of its own.
pub(crate) fn plain(text: &str) {
    out(&disarmed(text, false));
}

/// Prints JSON: a character that could steer the terminal is written as JSON writes it in ASCII, so that no text changes.
pub(crate) fn json(text: &str) {
    out(&escaped(text));
}

/// Prints something about the run.
pub(crate) fn note(text: &str) {
    err(text, false);
}

fn err(text: &str, coloured: bool) {
    let mut stream = anstream::stderr().lock();
    let _ = writeln!(stream, "{}", disarmed(text, coloured));
}

/// What the reader of the command line says: a page of help, or what is wrong with the arguments.
pub(crate) fn usage(said: &clap::Error) {
    let page = said.render();
    match said.use_stderr() {
        // It quotes the arguments, so that none of its colours can be told from theirs.
        true => note(page.to_string().trim_end()),
        false if colour_out() => out(&page.ansi().to_string()),
        false => out(&page.to_string()),
    }
}

/// A text without characters that steer: each becomes a mark, but line ends, and colours if they are wanted.
fn disarmed(text: &str, coloured: bool) -> String {
    let mut safe = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(letter) = rest.chars().next() {
        let kept = match letter {
            '\r' if rest.starts_with("\r\n") => 2,
            '\n' => 1,
            '\u{1b}' if coloured => colour(rest),
            _ => 0,
        };
        let (taken, after) = rest.split_at(kept.max(letter.len_utf8()));
        if kept > 0 {
            safe.push_str(taken)
        } else {
            safe.push(harmless(letter))
        }
        rest = after;
    }
    safe
}

/// How many bytes at the beginning of a text choose a colour or weight of letters: `ESC [`, numbers, `m`. Zero if none do.
fn colour(text: &str) -> usize {
    let Some(numbers) = text.strip_prefix("\u{1b}[") else {
        return 0;
    };
    let after = numbers.trim_start_matches(|it: char| it.is_ascii_digit() || it == ';');
    if after.starts_with('m') {
        text.len() - after.len() + 1
    } else {
        0
    }
}

/// Whether results may be coloured: only on a terminal, and if nothing forbids it.
pub(crate) fn colour_out() -> bool {
    anstream::AutoStream::choice(&std::io::stdout()) != anstream::ColorChoice::Never
}

fn colour_err() -> bool {
    anstream::AutoStream::choice(&std::io::stderr()) != anstream::ColorChoice::Never
}

/// Draws diagnostics, with their places, on standard error.
pub(crate) fn diagnostics(found: &[Diagnostic]) {
    let mut file: Option<&str> = None;
    let mut in_file = 0;
    let mut left_out = 0;
    let colour = colour_err();
    for diagnostic in found {
        let name = diagnostic.source.as_ref().map(|it| it.name());
        if name != file || name.is_none() {
            if left_out > 0 {
                note(&format!(
                    "... and {left_out} more in {}\n",
                    file.unwrap_or("other files")
                ));
            }
            (file, in_file, left_out) = (name, 0, 0);
        }
        in_file += 1;
        if in_file > MOST_PER_FILE {
            left_out += 1;
            continue;
        }
        err(&drawn(diagnostic, width(), boxes(colour)), colour);
    }
    if left_out > 0 {
        note(&format!(
            "... and {left_out} more in {}\n",
            file.unwrap_or("other files")
        ));
    }
}

/// One diagnostic, drawn.
pub fn rendered(diagnostic: &Diagnostic, width: usize, colour: bool) -> String {
    drawn(
        diagnostic,
        width,
        if colour {
            GraphicalTheme::unicode()
        } else {
            GraphicalTheme::unicode_nocolor()
        },
    )
}

/// The lines that a diagnostic is drawn with: those of Unicode, if the locale says that the terminal knows them.
fn boxes(colour: bool) -> GraphicalTheme {
    let locale = ["LC_ALL", "LC_CTYPE", "LANG"]
        .iter()
        .filter_map(std::env::var_os)
        .find(|it| !it.is_empty());
    let locale = locale.map(|it| it.to_string_lossy().to_lowercase());
    let unicode =
        cfg!(windows) || locale.is_some_and(|it| it.contains("utf-8") || it.contains("utf8"));
    match (unicode, colour) {
        (true, true) => GraphicalTheme::unicode(),
        (true, false) => GraphicalTheme::unicode_nocolor(),
        (false, true) => GraphicalTheme::ascii(),
        (false, false) => GraphicalTheme::none(),
    }
}

fn drawn(diagnostic: &Diagnostic, width: usize, theme: GraphicalTheme) -> String {
    let handler = GraphicalReportHandler::new_themed(theme)
        .with_width(width)
        .with_links(false)
        // A digest or a path is there to be copied, so it goes beyond the line's end rather than over it.
        .with_break_words(false)
        .with_word_separator(textwrap::WordSeparator::AsciiSpace)
        .with_word_splitter(textwrap::WordSplitter::NoHyphenation);
    let mut text = String::new();
    if handler
        .render_report(&mut text, diagnostic.with_short_lines().as_ref())
        .is_err()
    {
        // Drawing never fails on our own sources; should it, the words must not be lost.
        text = format!("{}: {diagnostic}", diagnostic.code.name());
    }
    text
}

/// The files of the rule set that was asked for.
///
/// # Errors
/// A diagnostic for every file that cannot be read.
pub(crate) fn files_of(source: &RuleSource) -> Result<RuleFiles, Vec<Diagnostic>> {
    match &source.rules {
        None => Ok(RuleFiles::embedded()),
        Some(folder) => {
            let others = files::passed_over(folder);
            if !others.is_empty() {
                note(&format!(
                    "no part of the rule set `{}`, and passed over: {}",
                    folder.display(),
                    others.join(", ")
                ));
            }
            RuleFiles::folder(folder)
        }
    }
}

/// The local policy that was asked for, if there is one.
///
/// # Errors
/// A diagnostic if the file cannot be read.
pub(crate) fn local_of(source: &RuleSource) -> Result<Option<TextFile>, Vec<Diagnostic>> {
    let Some(path) = &source.local else {
        return Ok(None);
    };
    let bytes = files::read_bounded(path, files::LARGEST_RULE_FILE).map_err(|it| vec![*it])?;
    Ok(Some(TextFile::new(path.display().to_string(), bytes)))
}

/// The rule set that was asked for.
///
/// # Errors
/// Everything for which it cannot be read or is refused.
pub(crate) fn loaded(source: &RuleSource) -> Result<(RuleFiles, RuleSet), NotDone> {
    let files = files_of(source)?;
    let local = local_of(source)?;
    match rule_set_with(&files, local.as_ref()) {
        Ok(rule_set) => Ok((files, rule_set)),
        Err(found) => {
            let under = local.map_or_else(String::new, |it| {
                format!(" under the local policy `{}`", it.name())
            });
            let problems = counted(found.len(), "problem");
            let note = format!(
                "the rule set `{}`{under} was refused: {problems}",
                files.name()
            );
            Err(NotDone::found(found, note))
        }
    }
}

/// The rule set that was asked for, to be used for patients.
///
/// # Errors
/// As [`loaded`], and that it was withdrawn.
pub(crate) fn usable(source: &RuleSource) -> Result<RuleSet, NotDone> {
    let (_, rule_set) = loaded(source)?;
    if rule_set.status == rule_set::Status::Withdrawn {
        return Err(vec![withdrawn(&rule_set)].into());
    }
    Ok(rule_set)
}

/// That a rule set was withdrawn: when, by whom and why.
pub(crate) fn withdrawn(rule_set: &RuleSet) -> Diagnostic {
    let found = |it: &Withdrawal| {
        (
            format!(" on {}", it.on),
            format!(
                "by {}: {}. ",
                it.by.join(", "),
                it.because.trim_end_matches('.')
            ),
        )
    };
    let (on, why) = rule_set
        .withdrawn
        .as_ref()
        .map_or_else(|| (String::new(), String::new()), found);
    Diagnostic::bare(
        Code::Withdrawn,
        format!(
            "the rule set {} {} was withdrawn{on}",
            rule_set.id, rule_set.edition
        ),
    )
    .help(format!("{why}{}", Code::Withdrawn.mend()))
}

/// "1 problem", "3 problems".
pub(crate) fn counted(n: usize, what: &str) -> String {
    words::counted(n, what, &format!("{what}s"))
}
