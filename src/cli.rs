//! The command line: arguments, one file a command, exit status. Only this and `report` print.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use chrono::{Local, NaiveDate};
use clap::{Args, CommandFactory as _, Parser, Subcommand, ValueEnum};

use crate::document::diagnostic::{Diagnostic, did_you_mean};
use crate::questionnaire::frame;
use crate::rule_set::files::read_bounded;
use crate::screening::screener::Screener;

pub mod ask;
pub(crate) mod atomic_write;
pub(crate) mod batch;
pub(crate) mod blank;
mod changed;
mod desk;
pub(crate) mod dose;
pub mod draw;
pub(crate) mod explain;
pub(crate) mod find;
pub(crate) mod import;
pub(crate) mod letter;
mod names;
pub(crate) mod progress;
pub(crate) mod questionnaire;
pub(crate) mod register;
pub(crate) mod rules;
pub(crate) mod schema;
pub(crate) mod screen;
pub(crate) mod shell;

/// The statement that stands under everything the program says about a patient.
pub(crate) use crate::report::SAFETY;

/// What the program ends with. Each number has one meaning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ExitStatus {
    /// All patients go; or a clean rule set; or what was asked for was printed.
    Clean,
    /// Problems found in a rule set or its cases.
    Problems,
    /// A usage error, or a file or rule set that was refused.
    Refused,
    /// At least one patient is deferred.
    Defer,
    /// At least one patient is referred.
    Refer,
    /// A result could not be written, or not all of it: a full disk, a reader that went away. The number is that of
    /// sysexits.h for an input or output error.
    NotWritten,
    /// Somebody stopped it before the last file. The number is the usual one of an interrupted program.
    Stopped,
}

impl ExitStatus {
    /// The number the process ends with.
    pub(crate) fn number(self) -> u8 {
        match self {
            Self::Clean => 0,
            Self::Problems => 1,
            Self::Refused => 2,
            Self::Defer => 10,
            Self::Refer => 20,
            Self::NotWritten => 74,
            Self::Stopped => 130,
        }
    }
}

/// What a command came to.
pub(crate) type Done = Result<ExitStatus, NotDone>;

/// Why a command was not done. Whatever finds it out hands it up; it is told where the program ends.
#[derive(Debug)]
pub(crate) struct NotDone {
    /// What is wrong with files; told first.
    found: Vec<Diagnostic>,
    /// What that means for the command, or what is wrong with its arguments or with the run.
    note: Option<String>,
    /// What the program ends with.
    status: ExitStatus,
}

impl NotDone {
    /// Because of what was found in files; `note` says what that means for the command.
    pub fn found(found: Vec<Diagnostic>, note: impl Into<String>) -> Self {
        Self {
            found,
            note: Some(note.into()),
            status: ExitStatus::Refused,
        }
    }

    /// Because of something about the command line or the run, in words.
    pub fn because(why: impl Into<String>) -> Self {
        Self::found(Vec::new(), why)
    }

    /// Because there is nothing of this name; the nearest one that is `known` is told, else where to find them.
    pub fn unknown<'a>(
        what: &str,
        name: &str,
        known: impl IntoIterator<Item = &'a str>,
        else_told: &str,
    ) -> Self {
        let help = did_you_mean(name, known);
        let help = help.as_deref().unwrap_or(else_told);
        Self::because(format!("there is no {what} `{name}`; {help}"))
    }

    /// Because a result could not be written, in words.
    pub fn not_written(why: String) -> Self {
        Self::because(why).ending_with(ExitStatus::NotWritten)
    }

    /// The same, of a program that ends with this.
    pub fn ending_with(self, status: ExitStatus) -> Self {
        Self { status, ..self }
    }

    /// Tells it, and returns what the program ends with.
    fn told(self) -> ExitStatus {
        draw::diagnostics(&self.found);
        if let Some(note) = &self.note {
            draw::note(note);
        }
        self.status
    }
}

impl From<Vec<Diagnostic>> for NotDone {
    fn from(found: Vec<Diagnostic>) -> Self {
        Self {
            found,
            note: None,
            status: ExitStatus::Refused,
        }
    }
}

impl From<Box<Diagnostic>> for NotDone {
    fn from(found: Box<Diagnostic>) -> Self {
        vec![*found].into()
    }
}

/// What was said already, and ends the program with this.
impl From<ExitStatus> for NotDone {
    fn from(status: ExitStatus) -> Self {
        Self {
            found: Vec::new(),
            note: None,
            status,
        }
    }
}

#[derive(Debug, Parser)]
#[command(
    name = "preblock",
    version,
    about = "Screens referrals for minor surgery: go, defer or refer, each with its reason and citation.",
    after_help = "Exit status of `screen`: 0 all go, 10 at least one defer, 20 at least one refer, 2 something was refused.\n\
                  Exit status of `rules ...`: 0 clean, 1 problems found, 2 a usage error.\n\
                  Of every command: 74 a result could not be written, 130 stopped before the end.\n\
                  It supports a licensed clinician's decision and never makes it; local policy prevails."
)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Screen questionnaires: files, or folders of files
    Screen(screen::Arguments),
    /// Screen many questionnaires, one on each line, to one line of answer each
    Batch(batch::Arguments),
    /// Say what changed between two screenings of one patient, and why
    Changed(changed::Arguments),
    /// Ask about one patient, question by question, and write the questionnaire
    Ask(ask::Arguments),
    /// Print an empty questionnaire with the questions as comments
    Blank(blank::Arguments),
    /// Print the questions as a form of an open standard, or answers as a response to it
    #[command(subcommand)]
    Questionnaire(questionnaire::QuestionnaireCommand),
    /// Write what other programs know as questionnaires
    Import(import::Arguments),
    /// Local names of medicines, from a list
    #[command(subcommand)]
    Names(names::NamesCommand),
    /// Write a letter: questions, a referral onward, preparation, after-care, the result
    Letter(letter::Arguments),
    /// Print the anaesthetic arithmetic alone
    Dose(dose::Arguments),
    /// Open the desk: pages in a browser over one register
    Desk(desk::Arguments),
    /// Check, test and show a rule set
    #[command(subcommand)]
    Rules(rules::RulesCommand),
    /// Make, check, copy and keep a register of referrals
    #[command(subcommand)]
    Register(register::RegisterCommand),
    /// Explain a diagnostic: what it means, why it matters, how to mend it
    Explain(explain::Arguments),
    /// Print the JSON Schema of a file kind, for editors
    Schema(schema::Arguments),
    /// Print what a shell needs to complete commands and arguments
    Completions(shell::Completions),
    /// Print the manual page, or write one for each command
    Man(shell::Manual),
}

/// Which rule set.
#[derive(Debug, Args)]
pub(crate) struct RuleSource {
    /// Use the rule set of this folder instead of the embedded one
    #[arg(
        long,
        value_name = "DIR",
        env = "PREBLOCK_RULES",
        hide_env_values = true
    )]
    pub rules: Option<PathBuf>,
    /// Put the clinic's local policy of this file over the rule set
    #[arg(
        long,
        value_name = "FILE",
        env = "PREBLOCK_LOCAL",
        hide_env_values = true
    )]
    pub local: Option<PathBuf>,
}

/// The word that stands for the rule set within the program.
const EMBEDDED: &str = "embedded";

impl RuleSource {
    /// The rule set of a folder, or by its word the one within the program, with a local policy laid over it.
    pub(crate) fn named(folder: &Path, local: Option<&PathBuf>) -> Self {
        Self {
            rules: (folder != Path::new(EMBEDDED) || folder.is_dir()).then(|| folder.to_path_buf()),
            local: local.cloned(),
        }
    }
}

/// Which clinic.
#[derive(Debug, Args)]
pub(crate) struct ClinicFile {
    /// Answers of the clinic that hold for every patient, and what it offers and allows
    #[arg(
        id = "clinic",
        long = "clinic",
        value_name = "FILE",
        env = "PREBLOCK_CLINIC",
        hide_env_values = true
    )]
    pub path: Option<PathBuf>,
}

impl ClinicFile {
    /// The same screener for this clinic, if there is one.
    ///
    /// # Errors
    /// Every diagnostic of the file.
    pub fn laid_under<'a>(&self, screener: Screener<'a>) -> Result<Screener<'a>, Vec<Diagnostic>> {
        let Some(path) = &self.path else {
            return Ok(screener);
        };
        let bytes = read_bounded(path, frame::LARGEST).map_err(|it| vec![*it])?;
        screener.clinic(&path.display().to_string(), &bytes)
    }
}

/// What another program's columns mean.
#[derive(Debug, Args)]
pub(crate) struct MappingFile {
    /// The mapping file that says what another program means: its sheets (.csv, .tsv, .txt, and what comes through `-`) are
    /// read by it, a referral a row, and its responses
    #[arg(id = "mapping", long = "mapping", value_name = "FILE")]
    pub path: Option<PathBuf>,
}

impl MappingFile {
    /// The same screener, which reads by this mapping file if there is one.
    ///
    /// # Errors
    /// Every diagnostic of the file.
    pub fn laid_over<'a>(&self, screener: Screener<'a>) -> Result<Screener<'a>, Vec<Diagnostic>> {
        let Some(path) = &self.path else {
            return Ok(screener);
        };
        let bytes = read_bounded(path, frame::LARGEST).map_err(|it| vec![*it])?;
        screener.mapped(&path.display().to_string(), &bytes)
    }
}

/// What is laid around a screener: the clinic's answers under those of patients, another program's mapping over what it reads.
#[derive(Debug, Args)]
pub(crate) struct ScreenerFiles {
    #[command(flatten)]
    pub clinic: ClinicFile,
    #[command(flatten)]
    pub mapping: MappingFile,
}

impl ScreenerFiles {
    /// The same screener with both.
    ///
    /// # Errors
    /// Everything that is wrong with one of them.
    pub fn laid_around<'a>(&self, screener: Screener<'a>) -> Result<Screener<'a>, NotDone> {
        let screener = self.clinic.laid_under(screener);
        let screener = screener.and_then(|it| self.mapping.laid_over(it));
        screener.map_err(|found| {
            NotDone::found(
                found,
                "the file of the clinic or of the mapping was refused, so nobody was screened",
            )
        })
    }
}

/// For whom something is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum TextOrJson {
    /// For people
    Text,
    /// For programs
    Json,
}

/// How a screening is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ScreeningFormat {
    /// One screen a patient; of several a list first
    Text,
    /// A row for each patient, the most pressing first
    List,
    /// The same as text as a page of its own, to print and to sign
    Html,
    /// One object for one file, an array for several
    Json,
    /// One object a line
    Ndjson,
    /// The same as text, to keep or to paste
    Markdown,
    /// What is still to ask and whom, to paste into a message
    Chase,
    /// FHIR R4 for record systems: a Bundle a patient; of several one a line
    Fhir,
    /// CDS Hooks 2.0 for record systems: the cards of a patient; of several those of one a line
    Cards,
}

/// Runs the program on its arguments and returns its exit status.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> u8 {
    let arguments: Vec<OsString> = arguments.into_iter().collect();
    // Its name alone is the question what it can do.
    if arguments.len() < 2 {
        draw::out(&Arguments::command().render_help().to_string());
        return ended(ExitStatus::Clean).number();
    }
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) => {
            draw::usage(&error);
            return if error.use_stderr() {
                ExitStatus::Refused.number()
            } else {
                ended(ExitStatus::Clean).number()
            };
        }
    };
    let done = match arguments.command {
        Command::Screen(it) => screen::run(&it),
        Command::Batch(it) => batch::run(&it),
        Command::Changed(it) => changed::run(&it),
        Command::Ask(it) => ask::run(&it),
        Command::Blank(it) => blank::run(&it),
        Command::Questionnaire(it) => questionnaire::run(&it),
        Command::Import(it) => import::run(&it),
        Command::Names(it) => names::run(&it),
        Command::Letter(it) => letter::run(&it),
        Command::Dose(it) => dose::run(&it),
        Command::Desk(it) => desk::run(&it),
        Command::Rules(it) => rules::run(&it),
        Command::Register(it) => register::run(&it),
        Command::Explain(it) => explain::run(&it),
        Command::Schema(it) => schema::run(&it),
        Command::Completions(it) => shell::completions(&it),
        Command::Man(it) => shell::manual(&it),
    };
    ended(done.unwrap_or_else(NotDone::told)).number()
}

/// The day on which the program runs, where it runs.
pub(crate) fn today() -> NaiveDate {
    Local::now().date_naive()
}

/// A status is only as good as the result that was written.
fn ended(status: ExitStatus) -> ExitStatus {
    if draw::is_written() {
        status
    } else {
        ExitStatus::NotWritten
    }
}
