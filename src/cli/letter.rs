//! `preblock letter`: a letter about one patient, for those without a desk.

use std::path::PathBuf;

use chrono::NaiveDate;
use clap::{Args, ValueEnum};

use crate::cli::screen::day;
use crate::cli::{ClinicFile, ExitStatus, RuleSource, atomic_write, draw, find};
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

/// Runs the command. A letter that cannot be made ends like a file that was refused.
pub(crate) fn run(arguments: &Arguments) -> ExitStatus {
    let Some(rule_set) = draw::usable(&arguments.rules) else {
        return ExitStatus::Refused;
    };
    let letter = match make(arguments, &rule_set) {
        Ok(Ok(letter)) => letter,
        Ok(Err(why)) => {
            draw::note(&format!("no letter was made: {why}"));
            return ExitStatus::Refused;
        }
        Err(found) => {
            draw::diagnostics(&found);
            draw::note("no letter was made; `preblock explain CODE` says more");
            return ExitStatus::Refused;
        }
    };
    let text = match arguments.format {
        LetterFormat::Text => letter.text(),
        LetterFormat::Html => letter.page(),
    };
    let Some(out) = &arguments.out else {
        draw::plain(&text);
        return ExitStatus::Clean;
    };
    match atomic_write::write(out, &text, arguments.force) {
        Ok(()) => ExitStatus::Clean,
        Err(why) => {
            draw::note(&why);
            ExitStatus::NotWritten
        }
    }
}

/// The letter, or why there is none.
///
/// # Errors
/// Every diagnostic of a file that was refused.
fn make(
    arguments: &Arguments,
    rule_set: &RuleSet,
) -> Result<Result<Letter, String>, Vec<Diagnostic>> {
    let as_of = arguments
        .as_of
        .unwrap_or_else(|| chrono::Local::now().date_naive());
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
