//! `preblock screen`: questionnaires to screenings.

use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;

use chrono::NaiveDate;
use clap::Args;

use crate::cli::find;
use crate::cli::find::{FoundFiles, find, name_of};
use crate::cli::progress::Progress;
use crate::cli::{Done, ExitStatus, RuleSource, ScreenerFiles, ScreeningFormat, draw, today};
use crate::document::diagnostic::Diagnostic;
use crate::document::rows::SheetRow;
use crate::outcome::Outcome;
use crate::quantity::when::read_when;
use crate::questionnaire::sheet::{Heading, WholeSheet};
use crate::report::list::not_reached;
use crate::screening::result::{Refusal, Screening};
use crate::screening::screener::{Referral, Screener};
use crate::screening::what_if::days::MOST_DAYS;

mod printer;
pub(crate) mod stop;
mod twins;

use crate::cli::screen::printer::Printer;
use crate::cli::screen::twins::Twins;

/// Arguments of `screen`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// Questionnaires, or folders that hold them (.yaml, .yml, .json); `-` is standard input
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// The day the screening is run, as YYYY-MM-DD [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    #[command(flatten)]
    rules: RuleSource,
    #[command(flatten)]
    around: ScreenerFiles,
    /// Also show other plans with a better verdict, among what the clinic offers
    #[arg(long)]
    alternatives: bool,
    /// Also show the verdict on each of the next N procedure days
    #[arg(long, value_name = "N", value_parser = n_days, allow_negative_numbers = true)]
    dates: Option<usize>,
    /// How to print the screenings
    #[arg(long, value_enum, default_value_t = ScreeningFormat::Text)]
    format: ScreeningFormat,
    /// Also sources, answers with their places, rules not decided and what was looked at (text, html, markdown)
    #[arg(long)]
    full: bool,
}

/// Reads a day of the command line.
pub(crate) fn day(text: &str) -> Result<NaiveDate, String> {
    match read_when(text) {
        Ok(when) if when.time.is_none() => Ok(when.date),
        Ok(_) => Err("a day without a time is needed".into()),
        Err(error) => Err(error.to_string()),
    }
}

/// Reads a number of procedure days.
fn n_days(text: &str) -> Result<usize, String> {
    match text.parse() {
        Ok(n) if (1..=MOST_DAYS).contains(&n) => Ok(n),
        _ => Err(format!("a whole number from 1 to {MOST_DAYS} is needed")),
    }
}

/// Runs the command. Each screening is printed as soon as it is made, so that a run that is stopped leaves whole ones.
pub(crate) fn run(arguments: &Arguments) -> Done {
    let rule_set = draw::usable(&arguments.rules)?;
    let as_of = arguments.as_of.unwrap_or_else(today);
    let screener = Screener::new(&rule_set, as_of)
        .alternatives(arguments.alternatives)
        .days(arguments.dates);
    let screener = arguments.around.laid_around(screener)?;
    let FoundFiles {
        paths,
        problems,
        passed_over,
    } = find(&arguments.files);
    passed_over.iter().for_each(|it| draw::note(it));
    let (of_sheets, paths): (Vec<PathBuf>, Vec<PathBuf>) = paths
        .into_iter()
        .partition(|it| find::is_sheet(&screener, it));
    let (sheets, refused) = sheets(&screener, &of_sheets);
    let rows = sheets.iter().flat_map(|sheet| {
        let rows = sheet.rows();
        rows.map(|row| (sheet.heading(), row))
    });
    let named = rows.clone().filter_map(|(heading, row)| {
        let reference = heading.reference_of(&row)?;
        Some((reference, heading.name_of(&row)))
    });
    let twins = Twins::among(&paths, &named.collect::<Vec<_>>());
    let rows = rows.map(|(heading, row)| Unread::Row(heading, row));
    let files = paths.iter().map(|path| Unread::File(path));
    let unread: Vec<Unread<'_>> = files.chain(rows).collect();
    let is_folder = arguments.files.iter().any(|it| it.is_dir());
    let several = unread.len() > 1 || !of_sheets.is_empty() || is_folder;
    let printer = Printer::new(arguments.format, several, arguments.full, &rule_set);
    let mut printer = printer.map_err(|lacking| vec![lacking])?;
    let progress = Progress::of("Screening", Some(unread.len()));
    let mut refusals: Vec<Diagnostic> = Vec::new();
    for problem in problems.into_iter().chain(refused) {
        refusals.extend(problem.problems.iter().cloned());
        printer.refusal(problem);
    }
    let mut worst = None;
    let mut n_done = 0;
    let stop = stop::asked_for();
    for one in &unread {
        if stop.load(Ordering::Relaxed) || !draw::is_written() {
            break;
        }
        n_done += 1;
        match screen(&screener, one, &twins) {
            Ok(screening) => {
                worst = worst.max(Some(screening.verdict().outcome));
                progress.beside(|| printer.screening(screening));
            }
            Err(refusal) => {
                refusals.extend(refusal.problems.iter().cloned());
                progress.beside(|| printer.refusal(refusal));
            }
        }
        progress.step();
    }
    drop(progress);
    let n_left = unread.len() - n_done;
    let n_refused = printer.end(n_left);
    twins.told().iter().for_each(|it| draw::note(it));
    draw::diagnostics(&refusals);
    if n_refused > 0 {
        draw::note(&format!(
            "{} refused and not screened; `preblock explain CODE` says more",
            draw::counted(
                n_refused,
                if of_sheets.is_empty() {
                    "file"
                } else {
                    "file or row"
                }
            )
        ));
    }
    if n_left > 0 {
        if draw::is_written() {
            draw::note(&not_reached(n_left));
        }
        return Ok(ExitStatus::Stopped);
    }
    Ok(match worst {
        _ if n_refused > 0 => ExitStatus::Refused,
        Some(outcome) => verdict_status(outcome),
        None => ExitStatus::Refused,
    })
}

/// What a screening that came to this ends with.
pub(crate) fn verdict_status(outcome: Outcome) -> ExitStatus {
    match outcome {
        Outcome::Refer => ExitStatus::Refer,
        Outcome::Defer => ExitStatus::Defer,
        Outcome::Go => ExitStatus::Clean,
    }
}

/// One referral that is to be screened.
enum Unread<'a> {
    File(&'a Path),
    Row(&'a Heading<'a>, SheetRow<'a>),
}

/// The sheets among what was given, and those that are refused as a whole.
fn sheets<'a>(
    screener: &'a Screener<'_>,
    paths: &[PathBuf],
) -> (Vec<WholeSheet<'a>>, Vec<Refusal>) {
    let (mut sheets, mut refused) = (Vec::new(), Vec::new());
    for path in paths {
        match find::sheet(screener, path) {
            Ok(sheet) => sheets.push(sheet),
            Err(problems) => refused.push(Refusal::of_file(name_of(path), problems)),
        }
    }
    (sheets, refused)
}

/// Screens one file, with what must be known of it beside the rule set, or one row.
fn screen(
    screener: &Screener<'_>,
    unread: &Unread<'_>,
    twins: &Twins,
) -> Result<Screening, Refusal> {
    let (read, notice) = match unread {
        Unread::File(path) => (read_file(screener, path), twins.notice(path)),
        Unread::Row(heading, row) => {
            let notice = twins.notice(Path::new(&heading.name_of(row)));
            (screener.read_row(heading, row), notice)
        }
    };
    match read {
        Ok(referral) => {
            let mut screening = screener.screening(&referral);
            screening.notices.extend(notice);
            Ok(screening)
        }
        Err(mut refusal) => {
            refusal.notices.extend(notice);
            Err(refusal)
        }
    }
}

fn read_file(screener: &Screener<'_>, path: &Path) -> Result<Referral, Refusal> {
    let name = name_of(path);
    match find::read(path) {
        Ok(bytes) => screener.read(&name, &bytes),
        Err(problem) => Err(Refusal::of_file(name, vec![*problem])),
    }
}
