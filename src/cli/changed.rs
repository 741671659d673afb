//! `preblock changed`: two screenings of one patient beside one another.
//!
//! It ends with 0 if nothing moved; else as `screen` would for the newer one: 0, 10 or 20.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::{Args, ValueEnum};

use crate::cli::register::reading;
use crate::cli::screen::{day, verdict_status};
use crate::cli::{ClinicFile, Done, ExitStatus, NotDone, RuleSource, draw, find, today};
use crate::document::diagnostic::{Code, Diagnostic};
use crate::register::entry::RegisterEntry;
use crate::register::happening::Happening;
use crate::report::Style;
use crate::report::changed::told::ToldScreening;
use crate::report::changed::{ChangedScreening, ScreeningSide, answers_of, draw as drawn};
use crate::rule_set::RuleSet;
use crate::rule_set::files::sha256;
use crate::screening::screener::Screener;

/// Arguments of `changed`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// The older one: a screening as JSON, or a questionnaire; with --register the number of an entry, or a reference alone
    #[arg(value_name = "OLD")]
    old: PathBuf,
    /// The newer one
    #[arg(value_name = "NEW", required_unless_present = "register")]
    new: Option<PathBuf>,
    /// Take both from this register: two entries by their numbers, or the last two screenings of a reference
    // Not from the environment: there it would turn the names of two files into numbers of entries.
    #[arg(long, value_name = "FILE")]
    register: Option<PathBuf>,
    /// Compare them, too, if they are two patients
    #[arg(long)]
    two_patients: bool,
    /// The day on which questionnaires are screened, as YYYY-MM-DD [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    #[command(flatten)]
    rules: RuleSource,
    #[command(flatten)]
    clinic: ClinicFile,
    /// How to print it
    #[arg(long, value_enum, default_value_t = ChangedFormat::Text)]
    format: ChangedFormat,
}

/// How what changed is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum ChangedFormat {
    /// For a terminal or a printed page
    Text,
    /// To keep or to paste
    Markdown,
    /// For programs
    Json,
}

/// Runs the command.
pub(crate) fn run(arguments: &Arguments) -> Done {
    let rule_set = draw::usable(&arguments.rules)?;
    let sides = match (&arguments.register, &arguments.new) {
        (Some(register), new) => of_register(arguments, &rule_set, register, new.as_deref()),
        (None, Some(new)) => of_files(arguments, &rule_set, new),
        // The reader of the arguments asks for it.
        (None, None) => return Ok(ExitStatus::Refused),
    };
    let [old, new] = sides.map_err(|found| {
        NotDone::found(
            found,
            "nothing was compared; `preblock explain CODE` says more",
        )
    })?;
    let (one, other) = (&old.screening.reference, &new.screening.reference);
    if one != other && !arguments.two_patients {
        return Err(NotDone::because(format!(
            "these are two patients, {one} and {other}, so nothing was compared; --two-patients compares them all the same"
        )));
    }
    let changed = ChangedScreening::of(&rule_set, &old, &new);
    match arguments.format {
        ChangedFormat::Text => {
            draw::out(&drawn::text(&changed, &Style::terminal(draw::colour_out())))
        }
        ChangedFormat::Markdown => draw::plain(&drawn::markdown(&changed)),
        ChangedFormat::Json => draw::json(&drawn::json(&changed)),
    }
    Ok(if changed.nothing_moved {
        ExitStatus::Clean
    } else {
        verdict_status(changed.after.verdict)
    })
}

/// Both sides from files.
///
/// # Errors
/// Every diagnostic of both, and of the clinic's file.
fn of_files(
    arguments: &Arguments,
    rule_set: &RuleSet,
    new: &Path,
) -> Result<[ScreeningSide; 2], Vec<Diagnostic>> {
    let as_of = arguments.as_of.unwrap_or_else(today);
    let screener = Screener::new(rule_set, as_of).without_search();
    let screener = arguments.clinic.laid_under(screener)?;
    both(of_file(&screener, &arguments.old), of_file(&screener, new))
}

/// Both, or what is wrong with either.
fn both<T>(
    old: Result<T, Vec<Diagnostic>>,
    new: Result<T, Vec<Diagnostic>>,
) -> Result<[T; 2], Vec<Diagnostic>> {
    match (old, new) {
        (Ok(old), Ok(new)) => Ok([old, new]),
        (old, new) => Err([old.err(), new.err()]
            .into_iter()
            .flatten()
            .flatten()
            .collect()),
    }
}

/// A screening that was kept, or a questionnaire that is screened now.
fn of_file(screener: &Screener<'_>, path: &Path) -> Result<ScreeningSide, Vec<Diagnostic>> {
    let name = find::name_of(path);
    let bytes = find::read(path).map_err(|it| vec![*it])?;
    if ToldScreening::is_meant_by(&bytes) {
        return Ok(ScreeningSide {
            screening: ToldScreening::read(&name, &bytes)?,
            answers: None,
        });
    }
    let referral = screener.read(&name, &bytes).map_err(|it| it.problems)?;
    Ok(ScreeningSide {
        screening: ToldScreening::of(&screener.screening(&referral))?,
        answers: Some(answers_of(screener.rule_set(), &referral)),
    })
}

/// Both sides from a register.
///
/// # Errors
/// It cannot be read, or does not hold two such screenings.
fn of_register(
    arguments: &Arguments,
    rule_set: &RuleSet,
    path: &Path,
    new: Option<&Path>,
) -> Result<[ScreeningSide; 2], Vec<Diagnostic>> {
    let entries = reading(path)
        .and_then(|it| it.all_entries())
        .map_err(|it| vec![*it])?;
    let old = arguments.old.display().to_string();
    let Some(new) = new else {
        let screened: Vec<&RegisterEntry> = entries
            .iter()
            .filter(|it| it.referral.as_deref() == Some(&old) && it.kind == "screened")
            .collect();
        let [.., older, newer] = screened[..] else {
            let title = format!("the register holds no two screenings of `{old}`");
            return Err(vec![Diagnostic::bare(Code::RegisterRefused, title)]);
        };
        return both(
            of_entry(rule_set, &entries, older),
            of_entry(rule_set, &entries, newer),
        );
    };
    let entry = |number: &str| {
        let found = number
            .parse::<i64>()
            .ok()
            .and_then(|seq| entries.iter().find(|it| it.seq == seq));
        found
            .ok_or_else(|| {
                let title = format!("the register has no entry `{number}`");
                vec![
                    Diagnostic::bare(Code::RegisterRefused, title)
                        .help("Entries are numbered from 1; the pages of a referral show them, and so does `preblock register export`."),
                ]
            })
            .and_then(|it| of_entry(rule_set, &entries, it))
    };
    both(entry(&old), entry(&new.display().to_string()))
}

/// The screening of an entry: of one with answers, the first that was made of them.
///
/// Answers that were screened by other rules are still read by those at hand; where that cannot be, the screenings alone are compared.
fn of_entry(
    rule_set: &RuleSet,
    entries: &[RegisterEntry],
    entry: &RegisterEntry,
) -> Result<ScreeningSide, Vec<Diagnostic>> {
    let refused = |why: &str| {
        let title = format!("entry {} {why}", entry.seq);
        vec![Diagnostic::bare(Code::RegisterRefused, title)]
    };
    let is_of_it = |it: &&RegisterEntry| it.referral == entry.referral;
    let (screened, at) = match &entry.happening {
        Some(Happening::Screened(it)) => (it, entry),
        Some(Happening::Answered { questionnaire, .. }) => {
            let digest = sha256(questionnaire.as_bytes());
            let later = entries
                .iter()
                .filter(|it| it.seq > entry.seq)
                .filter(is_of_it);
            let mut screened = later.filter_map(|it| match &it.happening {
                Some(Happening::Screened(screened)) if screened.questionnaire == digest => {
                    Some((screened, it))
                }
                _ => None,
            });
            screened
                .next()
                .ok_or_else(|| refused("holds answers that were never screened"))?
        }
        Some(other) => {
            return Err(refused(&format!(
                "is no screening and no answers, but `{}`",
                other.kind()
            )));
        }
        None => return Err(refused("says nothing any more: it was removed")),
    };
    let name = format!("entry {} of the register", at.seq);
    let screening = ToldScreening::read(&name, format!("{:#}", screened.screening).as_bytes())?;
    let before = entries.iter().filter(|it| it.seq < at.seq).filter(is_of_it);
    let text = before
        .filter_map(|it| match &it.happening {
            Some(Happening::Answered { questionnaire, .. }) => Some(questionnaire),
            _ => None,
        })
        .rfind(|text| sha256(text.as_bytes()) == screened.questionnaire);
    let referral = text.and_then(|text| {
        Screener::new(rule_set, screened.day)
            .read(&name, text.as_bytes())
            .ok()
    });
    if referral.is_none() {
        draw::note(&format!(
            "the answers of entry {} cannot be read by the rules at hand: what its screening shows of them is compared",
            at.seq
        ));
    }
    Ok(ScreeningSide {
        screening,
        answers: referral.map(|it| answers_of(rule_set, &it)),
    })
}
