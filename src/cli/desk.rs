//! `preblock desk`: the desk in a browser, on this computer alone.

use std::path::{Path, PathBuf};

use chrono::Local;
use clap::Args;

use crate::cli::screen::stop;
use crate::cli::{ClinicFile, Done, ExitStatus, MappingFile, NotDone, RuleSource, draw, today};
use crate::desk::{Desk, OfferedCards, serve};
use crate::document::diagnostic::{Code, Diagnostic};
use crate::questionnaire::frame;
use crate::register::Register;
use crate::report::outward::Outward;
use crate::rule_set::RuleSet;
use crate::rule_set::files;
use crate::rule_set::files::{RuleFiles, sha256};
use crate::screening::screener::Screener;

mod example;

/// Arguments of `desk`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// The register: the one file that keeps referrals and all that happened to them. Made if it is not there
    #[arg(
        long,
        value_name = "FILE",
        env = "PREBLOCK_REGISTER",
        hide_env_values = true,
        required_unless_present = "example"
    )]
    register: Option<PathBuf>,
    #[command(flatten)]
    rules: RuleSource,
    #[command(flatten)]
    clinic: ClinicFile,
    #[command(flatten)]
    mapping: MappingFile,
    /// The port of this computer; any free one if it is 0
    #[arg(long, value_name = "N", default_value_t = 0)]
    port: u16,
    /// The address of a proxy that the clinic runs in front, such as https://desk.example: the only one that is answered then
    #[arg(long, value_name = "ADDRESS")]
    behind: Option<String>,
    /// Also answer the clinic's record system with cards (CDS Hooks 2.0), at the same address and by a token of its own
    #[arg(long)]
    cards: bool,
    /// Try it on a throw-away register with invented referrals and people
    #[arg(long)]
    example: bool,
}

/// Runs the command until somebody stops it.
pub(crate) fn run(arguments: &Arguments) -> Done {
    // INVARIANT: one rule set for as long as the desk is open. What is exchanged on the disk meanwhile is told, not loaded.
    let embedded = RuleSource {
        rules: None,
        local: None,
    };
    let source = if arguments.example {
        &embedded
    } else {
        &arguments.rules
    };
    let rule_set: &'static RuleSet = Box::leak(Box::new(draw::usable(source)?));
    let desk = offered(arguments, rule_set).and_then(|cards| {
        let (desk, kept) = opened(arguments, rule_set)?;
        Ok((Desk { cards, ..desk }, kept))
    });
    let (desk, _kept) = desk.map_err(|found| NotDone::found(found, "the desk was not opened"))?;
    let told = |port: u16, address: &str| {
        draw::note(&format!(
            "the desk is open on port {port} of this computer alone, at {address}"
        ))
    };
    let (behind, stop) = (arguments.behind.as_deref(), stop::asked_for());
    serve(desk, arguments.port, behind, told, &stop)
        .map_err(|error| NotDone::because(format!("the desk cannot be opened: {error}")))?;
    Ok(ExitStatus::Clean)
}

/// The service of cards, if it is wanted.
fn offered(
    arguments: &Arguments,
    rule_set: &'static RuleSet,
) -> Result<Option<OfferedCards>, Vec<Diagnostic>> {
    if !arguments.cards {
        return Ok(None);
    }
    let outward = Outward::of(rule_set).map_err(|lacking| vec![lacking])?;
    let told = |address: &str, token: &str| {
        draw::note(&format!(
            "record systems are answered at {address} if they show `Authorization: Bearer {token}`"
        ))
    };
    Ok(Some(OfferedCards {
        outward,
        told: Box::new(told),
    }))
}

/// The desk, and what must be kept as long as it is open.
fn opened(
    arguments: &Arguments,
    rule_set: &'static RuleSet,
) -> Result<(Desk, Option<example::ThrowAway>), Vec<Diagnostic>> {
    let screener = Screener::new(rule_set, today());
    let now = || Local::now().fixed_offset();
    let Some(path) = arguments.register.as_ref().filter(|_| !arguments.example) else {
        told_unused(arguments);
        return example(screener);
    };
    let screener = arguments.clinic.laid_under(screener)?;
    let screener = arguments.mapping.laid_over(screener)?;
    let desk = Desk {
        register: register(path).map_err(|it| vec![*it])?,
        exchanged: exchanged(arguments, &screener)?,
        screener,
        clock: Box::new(now),
        notice: String::new(),
        cards: None,
    };
    Ok((desk, None))
}

/// Says which files were named, perhaps by the environment, and are not the example's.
fn told_unused(arguments: &Arguments) {
    let RuleSource { rules, local } = &arguments.rules;
    let unused: Vec<&str> = [
        ("--register", &arguments.register),
        ("--rules", rules),
        ("--local", local),
        ("--clinic", &arguments.clinic.path),
        ("--mapping", &arguments.mapping.path),
    ]
    .into_iter()
    .filter_map(|(option, path)| path.as_ref().map(|_| option))
    .collect();
    if !unused.is_empty() {
        draw::note(&format!(
            "the example has files of its own, and does not use: {}",
            unused.join(", ")
        ));
    }
}

/// A desk to be tried, on the day of the examples.
fn example(
    screener: Screener<'static>,
) -> Result<(Desk, Option<example::ThrowAway>), Vec<Diagnostic>> {
    let (register, screener, kept) = example::register(screener)?;
    let (begun, first) = (Local::now(), example::today()?);
    for (initials, role) in example::PEOPLE {
        draw::note(&format!(
            "{initials}, {}, signs in with {}",
            role.word(),
            kept.passphrase
        ));
    }
    let desk = Desk {
        register,
        screener,
        exchanged: Box::new(|| None),
        clock: Box::new(move || first + (Local::now() - begun)),
        notice: "An example: it plays on 25 November 2026, everybody in it is invented, and nothing is kept when it ends.".into(),
        cards: None,
    };
    Ok((desk, Some(kept)))
}

/// The register, made if it is not there.
fn register(path: &Path) -> Result<Register, Box<Diagnostic>> {
    let register = if path.exists() {
        Register::open(path, "the desk")?
    } else {
        Register::create(path, "the desk")?
    };
    if register.people()?.is_empty() {
        let shown = path.display();
        let title = format!("nobody may sign in: the register `{shown}` has no people yet");
        let help = format!(
            "`preblock register person add {shown} AB --role governance` makes the first one, who makes the others on the page of people."
        );
        return Err(Box::new(
            Diagnostic::bare(Code::RegisterRefused, title).help(help),
        ));
    }
    Ok(register)
}

/// What looks whether the files still hold what was loaded.
fn exchanged(
    arguments: &Arguments,
    screener: &Screener<'_>,
) -> Result<Box<dyn Fn() -> Option<String> + Send>, Vec<Diagnostic>> {
    let local_digest = draw::local_of(&arguments.rules)?.map(|it| sha256(it.bytes()));
    let folder = arguments.rules.rules.clone();
    let local = arguments.rules.local.clone();
    let clinic = arguments.clinic.path.clone();
    let clinic_digest = screener.clinic_file().map(|it| it.digest.clone());
    let digest = screener.rule_set().digest.clone();
    let digest_of = |path: &Path, largest: u64| {
        files::read_bounded(path, largest)
            .ok()
            .map(|it| sha256(&it))
    };
    Ok(Box::new(move || {
        let files: Option<String> = match &folder {
            None => Some(digest.clone()),
            Some(folder) => RuleFiles::folder(folder).ok().map(|files| files.digest()),
        };
        let local = local
            .as_deref()
            .map(|it| digest_of(it, files::LARGEST_RULE_FILE));
        let clinic = clinic.as_deref().map(|it| digest_of(it, frame::LARGEST));
        let what = if files.as_ref() != Some(&digest) {
            "The rule set"
        } else if local != local_digest.clone().map(Some) {
            "The local policy"
        } else if clinic != clinic_digest.clone().map(Some) {
            "The clinic's file"
        } else {
            return None;
        };
        Some(format!(
            "{what} on the disk was changed since this desk was opened. What stands here is by the old one: nothing can be decided or booked until somebody ends the desk and opens it again."
        ))
    }))
}
