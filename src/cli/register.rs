//! `preblock register`: makes, checks, copies and keeps a register where no desk is open.

use std::io::{BufRead as _, IsTerminal as _};
use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset, Local};
use clap::{Args, Subcommand, ValueEnum};
use dialoguer::console::Term;

use crate::cli::{Done, ExitStatus, NotDone, TextOrJson, draw};
use crate::document::diagnostic::{Diagnostic, Severity};
use crate::register::copy::copy;
use crate::register::figures::{figures, text, value};
use crate::register::happening::Happening;
use crate::register::people::{Person, PersonRole, hashed};
use crate::register::{New, Register, RegisterError, export};
use crate::report::words;
use crate::workbench::figures::RuleFigures;

pub(crate) mod check;

/// How this program is told to whoever else wants to write.
const WHO: &str = "`preblock register`";

/// The commands under `register`.
#[derive(Debug, Subcommand)]
pub(crate) enum RegisterCommand {
    /// Make an empty register
    New(RegisterPlace),
    /// Look whether a register is what was written into it
    Check(check::Arguments),
    /// Print the number and digest of the last entry, to be kept elsewhere
    Head(RegisterPlace),
    /// Copy a register while the desk is open, and check the copy
    Backup(FromTo),
    /// Copy a backup to where a register is to be, and check it; never over one that is there
    Restore(FromTo),
    /// Print every entry for other programs
    Export(Export),
    /// Print what the register teaches about the rules
    Figures(FiguresArguments),
    /// Remove what the entries of a referral say; the entries stay
    Remove(Remove),
    /// Add people, change them, or list them
    #[command(subcommand)]
    Person(PersonCommand),
}

/// Which register.
#[derive(Debug, Args)]
pub(crate) struct RegisterPlace {
    /// The register's file
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

/// From where to where.
#[derive(Debug, Args)]
pub(crate) struct FromTo {
    /// The register or backup to copy
    #[arg(value_name = "FILE")]
    from: PathBuf,
    /// Where nothing is yet
    #[arg(value_name = "TO")]
    to: PathBuf,
}

/// Arguments of `register export`.
#[derive(Debug, Args)]
pub(crate) struct Export {
    #[command(flatten)]
    place: RegisterPlace,
    /// As what
    #[arg(long, value_enum, default_value_t = ExportFormat::Ndjson)]
    format: ExportFormat,
}

/// For which programs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum ExportFormat {
    /// One JSON object a line, with all that was said
    Ndjson,
    /// A table, with what was said in short
    Csv,
}

/// Arguments of `register figures`.
#[derive(Debug, Args)]
pub(crate) struct FiguresArguments {
    #[command(flatten)]
    place: RegisterPlace,
    /// As what
    #[arg(long, value_enum, default_value_t = TextOrJson::Text)]
    format: TextOrJson,
}

/// Arguments of `register remove`.
#[derive(Debug, Args)]
pub(crate) struct Remove {
    #[command(flatten)]
    place: RegisterPlace,
    /// The referral's reference
    reference: String,
    /// Why: kept in the entry that says so
    #[arg(long, value_name = "WHY")]
    because: String,
    /// Who does it: initials; the passphrase is asked for
    #[arg(long, value_name = "INITIALS")]
    by: String,
}

/// The commands under `register person`.
#[derive(Debug, Subcommand)]
pub(crate) enum PersonCommand {
    /// Add somebody; the first one needs nobody else
    Add(PersonArguments),
    /// Change a role or a passphrase, or let somebody sign in no more
    Set(SetArguments),
    /// List the people
    List(RegisterPlace),
}

/// Arguments of `register person set`.
#[derive(Debug, Args)]
pub(crate) struct SetArguments {
    #[command(flatten)]
    person: PersonArguments,
    /// They may sign in no more; what they did stays
    #[arg(long)]
    off: bool,
}

/// Arguments of `register person add` and `set`.
#[derive(Debug, Args)]
pub(crate) struct PersonArguments {
    #[command(flatten)]
    place: RegisterPlace,
    /// One to twelve letters or figures, by which entries name them
    initials: String,
    /// What they may do
    #[arg(long, value_enum)]
    role: Option<RoleArgument>,
    /// Who does it: initials; their passphrase is asked for first
    #[arg(long, value_name = "INITIALS")]
    by: Option<String>,
}

/// A role.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum RoleArgument {
    /// Asks, sends, books; does not decide
    Nurse,
    /// Decides and signs
    Clinician,
    /// Reads the figures, keeps people and files
    Governance,
}

impl RoleArgument {
    fn role(self) -> PersonRole {
        match self {
            Self::Nurse => PersonRole::Nurse,
            Self::Clinician => PersonRole::Clinician,
            Self::Governance => PersonRole::Governance,
        }
    }
}

impl From<RegisterError> for NotDone {
    fn from(it: RegisterError) -> Self {
        vec![it.diagnostic()].into()
    }
}

/// Runs the command.
pub(crate) fn run(command: &RegisterCommand) -> Done {
    match command {
        RegisterCommand::New(it) => new(&it.file),
        RegisterCommand::Check(it) => check::run(it),
        RegisterCommand::Head(it) => head(&it.file),
        RegisterCommand::Backup(it) => copied(it, "backup written"),
        // One that is not what it should be is restored all the same, and that is said: it may be the best there is.
        RegisterCommand::Restore(it) => copied(it, "restored"),
        RegisterCommand::Export(it) => exported(it),
        RegisterCommand::Figures(it) => counted(it),
        RegisterCommand::Remove(it) => removed(it),
        RegisterCommand::Person(PersonCommand::Add(it)) => person(it, true, false),
        RegisterCommand::Person(PersonCommand::Set(it)) => person(&it.person, false, it.off),
        RegisterCommand::Person(PersonCommand::List(it)) => people(&it.file),
    }
}

fn now() -> DateTime<FixedOffset> {
    Local::now().fixed_offset()
}

fn new(path: &Path) -> Done {
    let register = Register::create(path, WHO)?;
    draw::plain(&format!(
        "`{}` is an empty register. Next: preblock register person add {} INITIALS --role governance",
        register.path().display(),
        register.path().display()
    ));
    Ok(ExitStatus::Clean)
}

/// Opens a register for reading, and tells if it is read as it lies.
pub(crate) fn reading(path: &Path) -> Result<Register, Box<Diagnostic>> {
    let register = Register::open_to_read(path)?;
    tell_as_it_lies(path, register.is_as_it_lies());
    Ok(register)
}

/// Tells if a register was read as it lies.
fn tell_as_it_lies(path: &Path, is_as_it_lies: bool) {
    if is_as_it_lies {
        draw::note(&format!(
            "`{}` or its folder cannot be written, and it has no log: it was read as it lies there",
            path.display()
        ));
    }
}

fn head(path: &Path) -> Done {
    let head = reading(path)?.head()?;
    draw::plain(&head.to_string());
    Ok(ExitStatus::Clean)
}

fn copied(places: &FromTo, what: &str) -> Done {
    let found = copy(&places.from, &places.to)?;
    tell_as_it_lies(&places.from, found.is_as_it_lies);
    draw::diagnostics(&found.found);
    let head = found
        .head
        .as_ref()
        .map_or_else(|| "no entry".into(), ToString::to_string);
    let n_entries = words::counted(found.n_entries, "entry", "entries");
    draw::plain(&format!(
        "{what} and checked: `{}`, {n_entries}, head {head}",
        places.to.display()
    ));
    Ok(status(&found.found))
}

fn status(found: &[Diagnostic]) -> ExitStatus {
    if found
        .iter()
        .any(|it| it.code.severity() == Severity::Problem)
    {
        ExitStatus::Problems
    } else {
        ExitStatus::Clean
    }
}

fn exported(arguments: &Export) -> Done {
    let entries = reading(&arguments.place.file)?.all_entries()?;
    match arguments.format {
        ExportFormat::Ndjson => draw::json(&export::ndjson(&entries)),
        ExportFormat::Csv => draw::plain(&export::csv(&entries)),
    }
    Ok(ExitStatus::Clean)
}

fn counted(arguments: &FiguresArguments) -> Done {
    let entries = reading(&arguments.place.file)?.all_entries()?;
    let figures = figures(&entries);
    match arguments.format {
        TextOrJson::Text => draw::plain(&text(&figures)),
        TextOrJson::Json => draw::json(&format!("{:#}", value(&figures))),
    }
    Ok(ExitStatus::Clean)
}

fn removed(arguments: &Remove) -> Done {
    let mut register = Register::open(&arguments.place.file, WHO)?;
    known(&mut register, &arguments.by)?;
    let entry = register.remove(
        now(),
        &arguments.by,
        &arguments.reference,
        &arguments.because,
    )?;
    draw::plain(&format!(
        "entry {}: what the entries of {} said was removed; they stay. Backups made before still hold it.",
        entry.seq, arguments.reference
    ));
    Ok(ExitStatus::Clean)
}

fn people(path: &Path) -> Done {
    let people = reading(path)?.people()?;
    let line = |it: &Person| {
        let off = if it.is_on { "" } else { ", may not sign in" };
        format!("{}  {}{off}", it.initials, it.role.word())
    };
    let lines: Vec<String> = people.iter().map(line).collect();
    draw::plain(&if lines.is_empty() {
        "nobody yet".to_owned()
    } else {
        lines.join("\n")
    });
    Ok(ExitStatus::Clean)
}

fn person(arguments: &PersonArguments, is_new: bool, is_off: bool) -> Done {
    let mut register = Register::open(&arguments.place.file, WHO)?;
    let people = register.people()?;
    let initials = &arguments.initials;
    let there = people.iter().find(|it| it.initials == *initials);
    let role = match (is_new, there, arguments.role) {
        (true, Some(_), _) => {
            return Err(NotDone::because(format!(
                "`{initials}` is there already; `person set` changes somebody"
            )));
        }
        (false, None, _) => {
            return Err(NotDone::because(format!(
                "there is no `{initials}`; `person add` adds somebody"
            )));
        }
        (true, None, None) => {
            return Err(NotDone::because("say with --role what they may do"));
        }
        (false, Some(person), None) => person.role,
        (_, _, Some(role)) => role.role(),
    };
    let by = match (&arguments.by, people.is_empty()) {
        (Some(by), false) => {
            known(&mut register, by)?;
            by
        }
        (None, false) => return Err(NotDone::because("say with --by who does it")),
        (_, true) => initials,
    };
    let hash = match there.filter(|_| is_off) {
        Some(person) => person.hash.clone(),
        None => {
            let passphrase = passphrase(&format!("New passphrase of {initials}"))?;
            hashed(&passphrase).map_err(NotDone::because)?
        }
    };
    let entry = register.append(New {
        at: now(),
        person: by.clone(),
        form: None,
        referral: None,
        happening: Happening::PersonSet {
            initials: initials.clone(),
            role,
            hash,
            is_on: !is_off,
        },
    })?;
    draw::plain(&format!("entry {}: {initials}, {}", entry.seq, role.word()));
    Ok(ExitStatus::Clean)
}

/// Asks for somebody's passphrase, and looks whether it is theirs. A refusal is written down.
fn known(register: &mut Register, initials: &str) -> Result<(), NotDone> {
    let passphrase = passphrase(&format!("Passphrase of {initials}"))?;
    if register.verify(initials, &passphrase)?.is_some() {
        return Ok(());
    }
    register.append(New {
        at: now(),
        person: initials.to_owned(),
        form: None,
        referral: None,
        happening: Happening::SignInRefused {
            why: "on the command line".into(),
        },
    })?;
    Err(NotDone::because(format!(
        "that is not the passphrase of `{initials}`, or they may not sign in"
    )))
}

/// Reads a passphrase: from the terminal without showing it, else one line of standard input.
fn passphrase(prompt: &str) -> Result<String, NotDone> {
    let unread =
        |it: std::io::Error| NotDone::because(format!("the passphrase cannot be read: {it}"));
    if std::io::stdin().is_terminal() {
        let terminal = Term::stderr();
        terminal.write_str(&format!("{prompt}: ")).map_err(unread)?;
        return terminal.read_secure_line().map_err(unread);
    }
    let mut line = String::new();
    std::io::stdin()
        .lock()
        .read_line(&mut line)
        .map_err(unread)?;
    Ok(line.trim_end_matches(['\r', '\n']).to_owned())
}

/// What the decisions of a register say of single rules, nothing without one.
///
/// # Errors
/// It cannot be read.
pub(crate) fn rule_figures(path: Option<&Path>) -> Result<Vec<RuleFigures>, Box<Diagnostic>> {
    let Some(path) = path else {
        return Ok(Vec::new());
    };
    let entries = reading(path)?.all_entries()?;
    Ok(figures(&entries).rules)
}
