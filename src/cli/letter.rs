//! `preblock letter`: a letter about one patient, for those without a desk.

use std::path::PathBuf;

use chrono::NaiveDate;
use clap::{Args, ValueEnum};

use crate::cli::screen::day;
use crate::cli::{
    ClinicFile, Done, ExitStatus, NotDone, RuleSource, atomic_write, draw, find, today,
};
use crate::document::diagnostic::{Diagnostic, did_you_mean};
use crate::report::letter::{Letter, LetterDetails, letter};
use crate::rule_set::{LetterKind, RuleSet};
use crate::screening::screener::Screener;

/// Arguments of `letter`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// What the letter is for: questions-patient, questions-referrer, questions-record, onward, preparation, aftercare or result
    #[arg(value_parser = kind)]
    kind: LetterKind,
    /// The patient's questionnaire; `-` for standard input
    file: PathBuf,
    /// The day the screening is run and the letter made, as YYYY-MM-DD [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    #[command(flatten)]
    rules: RuleSource,
    #[command(flatten)]
    clinic: ClinicFile,
    /// How to write it
    #[arg(long, value_enum, default_value_t = LetterFormat::Text)]
    format: LetterFormat,
    /// Write it into this file
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Replace the file of `--out` if it is there
    #[arg(long, requires = "out")]
    force: bool,
}

/// How a letter is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum LetterFormat {
    /// Eighty columns, to paste into a message
    Text,
    /// A page to print on A4
    Html,
}

/// Reads a kind of letter.
fn kind(word: &str) -> Result<LetterKind, String> {
    LetterKind::from_word(word).ok_or_else(|| {
        let words = LetterKind::ALL.map(LetterKind::word);
        did_you_mean(word, words)
            .unwrap_or_else(|| format!("one of {} is needed", words.join(", ")))
    })
}

/// Runs the command.
pub(crate) fn run(arguments: &Arguments) -> Done {
    let rule_set = draw::usable(&arguments.rules)?;
    let letter = make(arguments, &rule_set)
        .map_err(|found| {
            NotDone::found(
                found,
                "no letter was made; `preblock explain CODE` says more",
            )
        })?
        .map_err(|why| NotDone::because(format!("no letter was made: {why}")))?;
    let text = match arguments.format {
        LetterFormat::Text => letter.text(),
        LetterFormat::Html => letter.page(),
    };
    match &arguments.out {
        Some(out) => {
            atomic_write::write(out, &text, arguments.force).map_err(NotDone::not_written)?
        }
        None => draw::plain(&text),
    }
    Ok(ExitStatus::Clean)
}

/// The letter, or why there is none.
///
/// # Errors
/// Every diagnostic of a file that was refused.
fn make(
    arguments: &Arguments,
    rule_set: &RuleSet,
) -> Result<Result<Letter, String>, Vec<Diagnostic>> {
    let as_of = arguments.as_of.unwrap_or_else(today);
    let read = |path: &PathBuf| find::read(path).map_err(|it| vec![*it]);
    // A letter says neither what would lift the verdict nor which other plan would do.
    let screener = Screener::new(rule_set, as_of).without_search();
    let screener = arguments.clinic.laid_under(screener)?;
    let name = find::name_of(&arguments.file);
    let referral = screener
        .read(&name, &read(&arguments.file)?)
        .map_err(|it| it.problems)?;
    let details = LetterDetails {
        clinic: screener.clinic_name().map(str::to_owned),
        made_on: as_of,
        head: None,
        decided: None,
    };
    let made = letter(
        rule_set,
        arguments.kind,
        &referral,
        &screener.screening(&referral),
        &details,
    );
    Ok(made.map_err(|why| why.words()))
}
