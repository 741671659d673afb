//! `preblock screen`: questionnaires to screenings.

use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;

use chrono::{NaiveDate, Weekday};
use clap::Args;

use super::find::{Found, find};
use super::{Format, RuleSource, Status, draw};
use crate::diagnostic::{Diagnostic, in_file_order};
use crate::evaluate::alternatives::alternatives;
use crate::evaluate::dates::{MOST_DAYS, dates};
use crate::evaluate::lifts::lifts;
use crate::evaluate::next::next;
use crate::evaluate::search::{Links, Trials};
use crate::evaluate::{self, Compiled, Subject};
use crate::facts::{self, Gathered};
use crate::load::{files, questionnaire};
use crate::model::RuleSet;
use crate::outcome::Outcome;
use crate::quantity::when::read_when;
use crate::screening::{Refusal, Screening, SourceStamp};

mod printer;
mod stop;
mod twins;

use printer::{Printer, not_reached};
use twins::Twins;

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

/// Runs the command. Each screening is printed as soon as it is made, so that a run that is stopped leaves whole ones.
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
    let Found { paths, problems, passed_over } = find(&arguments.files);
    passed_over.iter().for_each(|it| draw::note(it));
    let twins = Twins::among(&paths);
    let several = paths.len() > 1 || arguments.files.iter().any(|it| it.is_dir());
    let mut printer = Printer::new(arguments.format, several);
    let mut n_refused = problems.len();
    problems.iter().for_each(|it| printer.refusal(it));
    let mut refusals: Vec<Diagnostic> = problems.into_iter().flat_map(|it| it.problems).collect();
    let mut worst = None;
    let mut n_done = 0;
    let stop = stop::asked_for();
    for path in &paths {
        if stop.load(Ordering::Relaxed) || !draw::is_written() {
            break;
        }
        n_done += 1;
        match bench.one(path, twins.notice(path)) {
            Ok(screening) => {
                worst = worst.max(Some(screening.verdict));
                printer.screening(screening);
            }
            Err(refusal) => {
                n_refused += 1;
                printer.refusal(&refusal);
                refusals.extend(refusal.problems);
            }
        }
    }
    let n_left = paths.len() - n_done;
    printer.end(n_refused, n_left);
    twins.told().iter().for_each(|it| draw::note(it));
    draw::diagnostics(&refusals);
    if n_refused > 0 {
        draw::note(&format!("{} refused and not screened; `preblock explain CODE` says more", draw::counted(n_refused, "file")));
    }
    if n_left > 0 {
        if draw::is_written() {
            draw::note(&not_reached(n_left));
        }
        return Status::Stopped;
    }
    match worst {
        _ if n_refused > 0 => Status::Refused,
        Some(Outcome::Refer) => Status::Refer,
        Some(Outcome::Defer) => Status::Defer,
        Some(Outcome::Go) => Status::Clean,
        None => Status::Refused,
    }
}

impl Bench<'_> {
    /// Screens one file. `notice` is what must be known of it beside the rule set.
    fn one(&self, path: &Path, notice: Option<String>) -> Result<Screening, Refusal> {
        let name = path.display().to_string();
        let refused = |reference: Option<String>, problems: Vec<Diagnostic>| Refusal {
            reference: reference.filter(|it| !it.is_empty()),
            path: name.clone(),
            notices: notice.iter().cloned().collect(),
            problems,
        };
        let bytes = files::read_bounded(path, questionnaire::LARGEST).map_err(|it| refused(None, vec![*it]))?;
        let (read, mut found) = questionnaire::questionnaire(self.rule_set, &name, &bytes);
        let Some(read) = read else { return Err(refused(None, found)) };
        let standing = self.clinic.as_ref().map(|it| it.answers.clone()).unwrap_or_default();
        let answers = questionnaire::over(&standing, &read.answers);
        let (facts, wrong) = facts::read(self.rule_set, &answers, self.as_of);
        found.extend(wrong);
        if !found.is_empty() {
            return Err(refused(Some(read.reference), in_file_order(found)));
        }
        let subject = Subject {
            reference: read.reference,
            source: SourceStamp { path: name, digest: files::sha256(&bytes) },
            clinic: self.clinic.as_ref().map(|it| it.stamp.clone()),
        };
        let mut screening = evaluate::screen(self.rule_set, &self.compiled, &facts, &subject);
        screening.notices.extend(notice);
        let mut plans = Vec::new();
        if screening.verdict != Outcome::Go {
            let trials = Trials::new(self.rule_set, &self.compiled, &self.links, &facts);
            let (found, complete) = lifts(&trials);
            screening.lifts = found;
            let (found, complete_plans) = alternatives(&trials);
            plans = found;
            screening.cut_short = !(complete && complete_plans);
        }
        screening.next = Some(next(self.rule_set, &facts, &screening, &plans));
        screening.alternatives = self.alternatives.then_some(plans);
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
