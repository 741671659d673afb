//! `preblock screen`: questionnaires to screenings.

use std::path::{Path, PathBuf};

use chrono::{NaiveDate, Weekday};
use clap::Args;

use super::{Format, RuleSource, Status, draw};
use crate::diagnostic::{Code, Diagnostic, in_file_order};
use crate::evaluate::alternatives::alternatives;
use crate::evaluate::dates::{MOST_DAYS, dates};
use crate::evaluate::lifts::lifts;
use crate::evaluate::search::Links;
use crate::evaluate::{self, Compiled, Subject};
use crate::facts::{self, Gathered};
use crate::load::{files, questionnaire};
use crate::model::RuleSet;
use crate::outcome::Outcome;
use crate::quantity::when::read_when;
use crate::report::page::Style;
use crate::report::{chase, json, markdown, text};
use crate::screening::{Screening, SourceStamp};

/// Arguments of `screen`.
#[derive(Debug, Args)]
pub struct Arguments {
    /// Questionnaires, or folders that hold them (.yaml, .yml, .json)
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// The day the screening is run, such as 2026-11-25 [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    #[command(flatten)]
    rules: RuleSource,
    /// Answers of the clinic that hold for every patient
    #[arg(long, value_name = "FILE")]
    clinic: Option<PathBuf>,
    /// Also show other plans with a better verdict, among what the clinic offers
    #[arg(long)]
    alternatives: bool,
    /// Also show the verdict on each of the next N procedure days
    #[arg(long, value_name = "N", value_parser = n_days, allow_negative_numbers = true)]
    dates: Option<usize>,
    /// How to print the screenings
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

/// Reads a day of the command line.
pub fn day(text: &str) -> Result<NaiveDate, String> {
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

/// What screening one file after another takes.
struct Bench<'a> {
    rule_set: &'a RuleSet,
    compiled: Compiled,
    links: Links,
    clinic: Option<Clinic>,
    as_of: NaiveDate,
    alternatives: bool,
    dates: Option<usize>,
}

struct Clinic {
    answers: Gathered,
    weekdays: Option<Vec<Weekday>>,
    stamp: SourceStamp,
}

/// Runs the command.
pub fn run(arguments: &Arguments) -> Status {
    let Some(rule_set) = draw::usable(&arguments.rules) else { return Status::Refused };
    let as_of = arguments.as_of.unwrap_or_else(|| chrono::Local::now().date_naive());
    let clinic = match arguments.clinic.as_deref().map(|path| read_clinic(&rule_set, path, as_of)) {
        None => None,
        Some(Ok(clinic)) => Some(clinic),
        Some(Err(found)) => {
            draw::diagnostics(&found);
            draw::note("the clinic's file was refused, so nobody was screened");
            return Status::Refused;
        }
    };
    let bench = Bench {
        rule_set: &rule_set,
        compiled: Compiled::new(&rule_set),
        links: Links::new(&rule_set),
        clinic,
        as_of,
        alternatives: arguments.alternatives,
        dates: arguments.dates,
    };
    let (paths, mut refusals) = expand(&arguments.files);
    let mut screenings = Vec::new();
    let mut n_refused = refusals.len();
    for path in &paths {
        match bench.one(path) {
            Ok(screening) => screenings.push(screening),
            Err(found) => {
                n_refused += 1;
                refusals.extend(found);
            }
        }
    }
    print(arguments, &screenings, n_refused, paths.len() > 1 || arguments.files.iter().any(|it| it.is_dir()));
    if n_refused > 0 {
        draw::diagnostics(&refusals);
        draw::note(&format!("{} refused and not screened; `preblock explain CODE` says more", draw::counted(n_refused, "file")));
        return Status::Refused;
    }
    match screenings.iter().map(|it| it.verdict).max() {
        Some(Outcome::Refer) => Status::Refer,
        Some(Outcome::Defer) => Status::Defer,
        Some(Outcome::Go) => Status::Clean,
        None => Status::Refused,
    }
}

fn print(arguments: &Arguments, screenings: &[Screening], n_refused: usize, several: bool) {
    match arguments.format {
        Format::Json if several => draw::out(&json::several(screenings)),
        Format::Json => {
            if let [one] = screenings {
                draw::out(&json::one(one));
            }
        }
        Format::Ndjson => {
            for it in screenings {
                draw::out(&json::line(it));
            }
        }
        Format::Markdown if several => draw::out(&markdown::several(screenings, n_refused)),
        Format::Markdown => {
            if let [one] = screenings {
                draw::out(&markdown::one(one));
            }
        }
        // A patient who was refused has no list, and an empty page might look like nothing to ask.
        Format::Chase => {
            if !screenings.is_empty() {
                draw::out(&chase::several(screenings));
            }
        }
        Format::Text => {
            let style = Style::terminal(draw::colour_out());
            match screenings {
                _ if several => draw::out(&text::several(screenings, n_refused, &style)),
                [one] => draw::out(&text::one(one, &style)),
                _ => {}
            }
        }
    }
}

impl Bench<'_> {
    /// Screens one file.
    fn one(&self, path: &Path) -> Result<Screening, Vec<Diagnostic>> {
        let bytes = files::read_bounded(path, questionnaire::LARGEST).map_err(|it| vec![*it])?;
        let name = path.display().to_string();
        let (read, mut found) = questionnaire::questionnaire(self.rule_set, &name, &bytes);
        let Some(read) = read else { return Err(found) };
        let standing = self.clinic.as_ref().map(|it| it.answers.clone()).unwrap_or_default();
        let answers = questionnaire::over(&standing, &read.answers);
        let (facts, wrong) = facts::read(self.rule_set, &answers, self.as_of);
        found.extend(wrong);
        if !found.is_empty() {
            return Err(in_file_order(found));
        }
        let subject = Subject {
            reference: read.reference,
            source: SourceStamp { path: name, digest: files::sha256(&bytes) },
            clinic: self.clinic.as_ref().map(|it| it.stamp.clone()),
        };
        let mut screening = evaluate::screen(self.rule_set, &self.compiled, &facts, &subject);
        if screening.verdict != Outcome::Go {
            let (found, complete) = lifts(self.rule_set, &self.compiled, &self.links, &facts);
            screening.lifts = found;
            screening.cut_short |= !complete;
        }
        if self.alternatives {
            let (found, complete) = alternatives(self.rule_set, &self.compiled, &self.links, &facts);
            screening.alternatives = Some(found);
            screening.cut_short |= !complete;
        }
        let weekdays = self.clinic.as_ref().and_then(|it| it.weekdays.as_deref());
        screening.dates = self.dates.map(|n| dates(self.rule_set, &self.compiled, &facts, weekdays, n));
        Ok(screening)
    }
}

fn read_clinic(rule_set: &RuleSet, path: &Path, as_of: NaiveDate) -> Result<Clinic, Vec<Diagnostic>> {
    let bytes = files::read_bounded(path, questionnaire::LARGEST).map_err(|it| vec![*it])?;
    let name = path.display().to_string();
    let (read, mut found) = questionnaire::clinic(rule_set, &name, &bytes);
    let Some(read) = read else { return Err(found) };
    // Understood once by itself, so that a slip in it is told once and not for every patient.
    let (_, wrong) = facts::read(rule_set, &read.answers, as_of);
    found.extend(wrong);
    if found.is_empty() {
        Ok(Clinic { answers: read.answers, weekdays: read.weekdays, stamp: SourceStamp { path: name, digest: files::sha256(&bytes) } })
    } else {
        Err(found)
    }
}

/// Files as given, and those inside folders, by name. A folder without any is a refusal.
pub fn expand(given: &[PathBuf]) -> (Vec<PathBuf>, Vec<Diagnostic>) {
    let mut paths = Vec::new();
    let mut found = Vec::new();
    for path in given {
        if !path.is_dir() {
            paths.push(path.clone());
            continue;
        }
        let mut inside = Vec::new();
        walk(path, &mut inside, &mut found);
        if inside.is_empty() {
            found.push(
                Diagnostic::bare(Code::EmptyFolder, format!("the folder `{}` holds no questionnaire", path.display()))
                    .help("questionnaires end in .yaml, .yml or .json"),
            );
        }
        inside.sort();
        paths.extend(inside);
    }
    (paths, found)
}

fn walk(folder: &Path, inside: &mut Vec<PathBuf>, found: &mut Vec<Diagnostic>) {
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) => {
            found.push(Diagnostic::bare(Code::Unreadable, format!("the folder `{}` cannot be read: {error}", folder.display())));
            return;
        }
    };
    for entry in entries.flatten() {
        let path = entry.path();
        let is_link = entry.file_type().is_ok_and(|it| it.is_symlink());
        if path.is_dir() {
            // A link to a folder could lead round in a circle.
            if !is_link {
                walk(&path, inside, found);
            }
        } else if path
            .extension()
            .and_then(|it| it.to_str())
            .is_some_and(|it| ["yaml", "yml", "json"].contains(&it.to_lowercase().as_str()))
        {
            inside.push(path);
        }
    }
}
