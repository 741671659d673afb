//! `preblock register check`: whether a register is what was written into it, and what no check can know.

use clap::Args;

use crate::cli::register::{RegisterPlace, WHO, status, tell_as_it_lies};
use crate::cli::{ClinicFile, Done, RuleSource, draw, today};
use crate::register::Register;
use crate::register::check::check;
use crate::register::happening::Screened;
use crate::report::json;
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
    #[command(flatten)]
    clinic: ClinicFile,
    /// Work out anew, from the entries, what pages show; then check
    #[arg(long)]
    rebuild: bool,
}

/// Runs the command.
pub(super) fn run(arguments: &Arguments) -> Done {
    let path = &arguments.place.file;
    if arguments.rebuild {
        Register::open(path, WHO)?.rebuild()?;
    }
    let (_, rule_set) = draw::loaded(&arguments.rules)?;
    let screener = Screener::new(&rule_set, today());
    let screener = arguments.clinic.laid_under(screener)?;
    let mut again = |was: &Screened, text: &str| again(&screener, was, text);
    let found = check(path, arguments.head.as_deref(), &mut again)?;
    tell_as_it_lies(path, found.is_as_it_lies);
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
fn again(screener: &Screener<'_>, was: &Screened, text: &str) -> Option<Screened> {
    let screener = screener.clone().on(was.day);
    let screening = screener.screen("questionnaire", text.as_bytes()).ok()?;
    let again = Screened::of(
        &screening,
        json::value(&screening),
        screener.nurse_may_book(),
    );
    again.is_by_the_files_of(was).then_some(again)
}
