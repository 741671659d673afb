//! `preblock ask`: the interview in a terminal, or line by line where there is none. The file is written after every answer.
//!
//! INVARIANT: whatever ends the program, the file holds every answer that was confirmed, and is whole: it is replaced by one
//! that was written beside it. A file that somebody else changed meanwhile is left as they wrote it.

use std::io::{BufRead as _, BufReader, ErrorKind, IsTerminal as _, Read as _};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Duration;

use chrono::NaiveDate;
use clap::Args;
use dialoguer::{Input, MultiSelect, Select};

use crate::cli::ask::dialogue::{Dialogue, End, Prompt};
use crate::cli::screen::{day, stop, verdict_status};
use crate::cli::{ClinicFile, Done, ExitStatus, NotDone, RuleSource, atomic_write, draw, today};
use crate::document::text::Format;
use crate::questionnaire::{edit, frame};
use crate::report::page::Style;
use crate::report::text;
use crate::rule_set::RuleSet;
use crate::rule_set::files;
use crate::screening::screener::Screener;

pub mod dialogue;
mod typed;

/// How often somebody who wants to stop is looked for while nothing is typed.
const LOOK_UP: Duration = Duration::from_millis(50);

/// Arguments of `ask`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// The questionnaire: taken up if it is there, else begun
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// By which the clinic knows the patient, for a new questionnaire [default: the file's name]
    #[arg(long, value_name = "REFERENCE")]
    reference: Option<String>,
    /// The day of the answers and of the screening, as YYYY-MM-DD [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    #[command(flatten)]
    rules: RuleSource,
    #[command(flatten)]
    clinic: ClinicFile,
    /// Ask on once the verdict is settled, without an offer to stop
    #[arg(long)]
    all: bool,
    /// One answer a line, also in a terminal: for screen readers and slow lines
    #[arg(long)]
    lines: bool,
}

/// Runs the command.
pub(crate) fn run(arguments: &Arguments) -> Done {
    let rule_set = draw::usable(&arguments.rules)?;
    let as_of = arguments.as_of.unwrap_or_else(today);
    let screener = Screener::new(&rule_set, as_of);
    let screener = arguments.clinic.laid_under(screener).map_err(|found| {
        NotDone::found(found, "the clinic's file was refused, so nothing was asked")
    })?;
    let text = taken_up(arguments, &rule_set, as_of)?;
    let name = arguments.file.display().to_string();
    let dialogue = Dialogue::new(&screener, &name, text, arguments.all);
    let mut dialogue = dialogue.map_err(|refusal| {
        NotDone::found(
            refusal.problems,
            "nothing is asked before these are mended: what is there might be lost",
        )
    })?;
    let in_terminal = std::io::stdin().is_terminal() && std::io::stderr().is_terminal();
    let (reader, stop) = if in_terminal && !arguments.lines {
        (LineSource::Terminal, stop::pressed())
    } else {
        (LineSource::lines(), stop::asked_for())
    };
    interview(&mut dialogue, &arguments.file, &reader, &stop)?;
    let screening = screener.screening(dialogue.referral());
    if dialogue.n_later() > 0 {
        let n = draw::counted(dialogue.n_later(), "question");
        draw::out(&format!("\n{n} left for later."));
    }
    if dialogue.end() == Some(End::Stopped) {
        draw::note(&format!(
            "`{name}` holds all answers; `preblock ask` takes it up again"
        ));
    }
    draw::out(&text::one(
        &screening,
        false,
        &Style::terminal(draw::colour_out()),
    ));
    Ok(verdict_status(screening.verdict().outcome))
}

/// The text of a questionnaire that is there, or of a new one, which is written at once: a place that cannot be written to
/// is told before anything is asked.
fn taken_up(
    arguments: &Arguments,
    rule_set: &RuleSet,
    as_of: NaiveDate,
) -> Result<String, NotDone> {
    let path = &arguments.file;
    if path.symlink_metadata().is_ok() {
        let text = String::from_utf8(files::read_bounded(path, frame::LARGEST)?);
        return text
            .map_err(|_| NotDone::because(format!("`{}` is not UTF-8 text", path.display())));
    }
    let stem = path.file_stem().map(|it| it.to_string_lossy().into_owned());
    let reference = arguments.reference.clone().or(stem);
    let reference = reference.ok_or(ExitStatus::Refused)?;
    let started = match Format::of_name(&path.to_string_lossy()) {
        Format::Yaml => edit::started(rule_set, &reference, as_of),
        Format::Json => edit::started_in_json(rule_set, &reference, as_of),
    };
    let text = started.map_err(|found| {
        NotDone::found(found, "give the patient's reference with `--reference`")
    })?;
    atomic_write::write(path, &text, false).map_err(NotDone::because)?;
    draw::out(&format!("A new questionnaire for {reference}."));
    Ok(text)
}

/// Asks until nothing is left or somebody stops.
///
/// # Errors
/// Why it ended before, and what the file holds then.
fn interview(
    dialogue: &mut Dialogue<'_>,
    path: &Path,
    reader: &LineSource,
    stop: &AtomicBool,
) -> Result<(), NotDone> {
    let mut refused = String::new();
    let mut kept = dialogue.text().to_owned();
    if dialogue.end().is_none() {
        let words = typed::WORDS.map(|(word, does)| format!("  {word:<9} {does}"));
        draw::out(&format!(
            "At every question these are understood, too:\n{}",
            words.join("\n")
        ));
    }
    while dialogue.end().is_none() {
        let prompt = dialogue.prompt();
        reader.say(&prompt);
        let line = match reader.line(&prompt, &refused, stop) {
            Ok(line) => line,
            Err(why) => {
                let n = draw::counted(dialogue.n_answered(), "answer");
                let but = if dialogue.is_halfway() {
                    "\nbut for the last one, which had not ended"
                } else {
                    ""
                };
                let note = format!(
                    "{why}: `{}` holds all answers, {n} of this run among them; `preblock ask` takes it up again{but}",
                    path.display()
                );
                return Err(NotDone::because(note).ending_with(ExitStatus::Stopped));
            }
        };
        let taken = dialogue.take(&line);
        if taken.changed {
            write(path, &kept, dialogue.text()).map_err(|why| {
                NotDone::not_written(format!(
                    "{why}\nthe last answer, {line:?}, is not saved; all before it are"
                ))
            })?;
            kept = dialogue.text().to_owned();
        }
        taken.lines.iter().for_each(|it| draw::out(it));
        if !draw::is_written() {
            return Err(ExitStatus::NotWritten.into());
        }
        refused = if taken.is_refused {
            line
        } else {
            String::new()
        };
    }
    Ok(())
}

/// Replaces the file, if it still holds what was written there last.
fn write(path: &Path, before: &str, now: &str) -> Result<(), String> {
    let there = std::fs::read(path)
        .map_err(|error| format!("`{}` cannot be read any more: {error}", path.display()))?;
    if there != before.as_bytes() {
        return Err(format!(
            "`{}` was changed by somebody else meanwhile and is left as it is",
            path.display()
        ));
    }
    atomic_write::write(path, now, true)
}

/// Where lines come from.
enum LineSource {
    /// A terminal, with lists to choose from.
    Terminal,
    /// Lines, read beside so that somebody who wants to stop need not press a key first.
    Lines(Receiver<std::io::Result<Vec<u8>>>),
}

impl LineSource {
    fn lines() -> Self {
        let (send, receive) = channel();
        std::thread::spawn(move || {
            let mut input = BufReader::new(std::io::stdin());
            loop {
                let mut line = Vec::new();
                let read = (&mut input)
                    .take(frame::LARGEST)
                    .read_until(b'\n', &mut line);
                let ended = !matches!(read, Ok(1..));
                if let Ok(1..) = read {
                    if send.send(Ok(line)).is_err() {
                        return;
                    }
                } else if let Err(error) = read {
                    let _ = send.send(Err(error));
                }
                if ended {
                    return;
                }
            }
        });
        Self::Lines(receive)
    }

    /// Says what is asked.
    fn say(&self, prompt: &Prompt) {
        let mut lines = prompt.lines.clone();
        if let Self::Lines(_) = self {
            let speak_for_themselves = prompt.choices.iter().all(|(word, text)| word == text);
            if prompt.is_question && speak_for_themselves && !prompt.choices.is_empty() {
                let words: Vec<&str> = prompt.choices.iter().map(|(it, _)| it.as_str()).collect();
                lines.push(format!("({})", words.join(" or ")));
            } else if prompt.is_question {
                let numbered = (1..).zip(&prompt.choices);
                let numbered = numbered.map(|(n, (word, text))| format!("  {n}  {text} ({word})"));
                lines.extend(numbered);
            }
        }
        lines.iter().for_each(|it| draw::out(it));
    }

    /// The next line.
    ///
    /// # Errors
    /// Why there is none.
    fn line(&self, prompt: &Prompt, refused: &str, stop: &AtomicBool) -> Result<String, String> {
        match self {
            Self::Terminal if stop.load(Ordering::Relaxed) => Err("stopped".to_owned()),
            Self::Terminal => in_terminal(prompt, refused),
            Self::Lines(receive) => loop {
                if stop.load(Ordering::Relaxed) {
                    return Err("stopped".to_owned());
                }
                return match receive.recv_timeout(LOOK_UP) {
                    Err(RecvTimeoutError::Timeout) => continue,
                    Err(RecvTimeoutError::Disconnected) => Err("the input has ended".to_owned()),
                    Ok(Err(error)) => Err(format!("the input cannot be read: {error}")),
                    // What is no text is no answer either, and is refused as one.
                    Ok(Ok(line)) => Ok(String::from_utf8_lossy(&line).into_owned()),
                };
            },
        }
    }
}

/// One line by what a terminal offers: lists to choose from, and what was refused to be corrected.
fn in_terminal(prompt: &Prompt, refused: &str) -> Result<String, String> {
    let words: Vec<(&str, &str)> = if prompt.is_question {
        let fits = |word: &str| prompt.several || word != "none";
        typed::WORDS
            .into_iter()
            .filter(|(it, _)| fits(it))
            .collect()
    } else {
        vec![("stop", "stop here; everything is saved")]
    };
    let choices = prompt.choices.iter().map(|(_, text)| text.clone());
    let items: Vec<String> = choices
        .chain(words.iter().map(|(word, does)| format!("{word}: {does}")))
        .map(|it| it.replace(crate::document::source::steers, "\u{fffd}"))
        .collect();
    let n_choices = prompt.choices.len();
    // Choices go by their numbers: a word of one may be a word of ours.
    let word = |at: usize| match at.checked_sub(n_choices) {
        None => (at + 1).to_string(),
        Some(at) => words.get(at).map_or(String::new(), |it| it.0.to_owned()),
    };
    let line = if n_choices == 0 {
        Input::<String>::new()
            .with_prompt(">")
            .with_initial_text(refused.trim())
            .allow_empty(true)
            .interact_text()
    } else if prompt.several {
        let chosen = MultiSelect::new()
            .with_prompt("space marks, enter ends")
            .items(&items)
            .report(false)
            .interact_opt();
        chosen.map(|marked| match marked {
            None => "back".to_owned(),
            Some(marked) => marked.into_iter().map(word).collect::<Vec<_>>().join(", "),
        })
    } else {
        let chosen = Select::new()
            .items(&items)
            .default(0)
            .report(false)
            .interact_opt();
        chosen.map(|it| it.map_or("back".to_owned(), word))
    };
    line.map_err(|dialoguer::Error::IO(error)| {
        let _ = dialoguer::console::Term::stderr().show_cursor();
        match error.kind() {
            ErrorKind::Interrupted => "stopped".to_owned(),
            _ => format!("the input cannot be read: {error}"),
        }
    })
}
