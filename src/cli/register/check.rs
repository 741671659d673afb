//! `preblock register check`: whether a register is what was written into it, and what no check can know.

use std::path::PathBuf;

use clap::Args;

use crate::cli::register::{RegisterPlace, Stopped, WHO, status};
use crate::cli::{ExitStatus, RuleSource, draw};
use crate::register::Register;
use crate::register::check::check;
use crate::register::happening::Screened;
use crate::report::json;
use crate::rule_set::RuleSet;
use crate::rule_set::files::{LARGEST_RULE_FILE, read_bounded, sha256};
use crate::screening::screener::Screener;

/// Arguments of `register check`.
#[derive(Debug, Args)]
#[command(after_help = "Exit status: 0 nothing wrong, 1 problems found, 2 it cannot be opened.")]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: RegisterPlace,
    /// A head that was noted elsewhere, as letters and decisions carry it
    #[arg(long, value_name = "HEAD")]
    head: Option<String>,
    #[command(flatten)]
    rules: RuleSource,
    /// The clinic's file, by which decided screenings are screened again
    #[arg(
        long,
        value_name = "FILE",
        env = "PREBLOCK_CLINIC",
        hide_env_values = true
    )]
    clinic: Option<PathBuf>,
    /// Work out anew, from the entries, what pages show; then check
    #[arg(long)]
    rebuild: bool,
}

/// Runs the command.
pub(super) fn run(arguments: &Arguments) -> Result<ExitStatus, Stopped> {
    let path = &arguments.place.file;
    if arguments.rebuild {
        Register::open(path, WHO)?.rebuild()?;
    }
    let Some((_, rule_set)) = draw::loaded(&arguments.rules) else {
        return Ok(ExitStatus::Refused);
    };
    let clinic = match &arguments.clinic {
        None => None,
        Some(clinic) => Some((
            clinic.display().to_string(),
            read_bounded(clinic, LARGEST_RULE_FILE)?,
        )),
    };
    let mut again = |was: &Screened, text: &str| again(&rule_set, clinic.as_ref(), was, text);
    let found = check(path, arguments.head.as_deref(), &mut again)?;
    draw::diagnostics(&found.found);
    let head = found
        .head
        .as_ref()
        .map_or_else(|| "none".into(), ToString::to_string);
    let mut lines = vec![
        format!(
            "{} entries, head {head}; what {} of them said was removed",
            found.n_entries, found.n_removed
        ),
        format!(
            "{} decided screenings came to the same again; {} could not be screened again here",
            found.n_screened_again, found.n_not_at_hand
        ),
    ];
    if found.n_not_at_hand > 0 {
        lines.push("  (their rule set, local policy or clinic's file is not the one at hand: --rules, --local, --clinic)".into());
    }
    lines.push(match arguments.head {
        Some(_) => "What came after the head that was given could still have been cut off.".into(),
        None => "Whether the end was cut off, or all of it was written anew, no check can know: compare the head with one kept elsewhere (--head).".into(),
    });
    draw::plain(&lines.join("\n"));
    Ok(status(&found.found))
}

/// Screens again, if this is the same rule set, local policy and clinic's file.
fn again(
    rule_set: &RuleSet,
    clinic: Option<&(String, Vec<u8>)>,
    was: &Screened,
    text: &str,
) -> Option<Screened> {
    let local = rule_set.local.as_ref().map(|it| &it.digest);
    let is_same_clinic = clinic.map(|(_, bytes)| sha256(bytes)) == was.clinic;
    if rule_set.digest != was.rule_set || local != was.local_policy.as_ref() || !is_same_clinic {
        return None;
    }
    let screener = Screener::new(rule_set, was.day);
    let screener = match clinic {
        None => screener,
        Some((name, bytes)) => screener.clinic(name, bytes).ok()?,
    };
    let screening = screener.screen("questionnaire", text.as_bytes()).ok()?;
    Some(Screened::of(
        &screening,
        json::value(&screening),
        was.nurse_may_book,
    ))
}
