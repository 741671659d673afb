//! `preblock import`: answers of other programs as questionnaires.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::Args;

use crate::cli::screen::day;
use crate::cli::{ExitStatus, RuleSource, atomic_write, draw, find};
use crate::document::diagnostic::Diagnostic;
use crate::questionnaire::edit::whole::written_out;
use crate::screening::screener::Screener;

/// Arguments of `import`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// Files of other programs: responses to the form that `preblock questionnaire export` prints; `-` for standard input
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// The folder to write questionnaires into, each named by its reference; nothing that is there is replaced
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// The day on which the answers must hold, such as 2026-11-25 [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    #[command(flatten)]
    rules: RuleSource,
}

/// Runs the command. Files that are refused are told, the others written.
pub(crate) fn run(arguments: &Arguments) -> ExitStatus {
    let Some(rule_set) = draw::usable(&arguments.rules) else {
        return ExitStatus::Refused;
    };
    let as_of = arguments
        .as_of
        .unwrap_or_else(|| chrono::Local::now().date_naive());
    let screener = Screener::new(&rule_set, as_of);
    let mut status = ExitStatus::Clean;
    for path in &arguments.files {
        match import(&screener, path, &arguments.out) {
            Ok(Ok(written)) => draw::out(&written),
            Ok(Err(why)) => {
                draw::note(&why);
                status = ExitStatus::NotWritten;
            }
            Err(found) => {
                draw::diagnostics(&found);
                draw::note(&format!("`{}` was not imported", find::name_of(path)));
                if status == ExitStatus::Clean {
                    status = ExitStatus::Refused;
                }
            }
        }
    }
    status
}

/// What was written of a file, or why it could not be.
///
/// # Errors
/// Every diagnostic of a file that was refused.
fn import(
    screener: &Screener<'_>,
    path: &Path,
    out: &Path,
) -> Result<Result<String, String>, Vec<Diagnostic>> {
    let bytes = find::read(path).map_err(|it| vec![*it])?;
    let referral = screener
        .read(&find::name_of(path), &bytes)
        .map_err(|it| it.problems)?;
    let text = written_out(screener.rule_set(), &referral.reference, &referral.answers);
    // A reference may hold a slash, and a folder of that name is nobody's wish.
    let file = out.join(format!("{}.yaml", referral.reference.replace('/', "_")));
    let written = || {
        std::fs::create_dir_all(out)
            .map_err(|why| format!("`{}` could not be made: {why}", out.display()))?;
        atomic_write::write(&file, &text, false)
    };
    Ok(written().map(|()| {
        let reference = &referral.reference;
        format!(
            "{reference} from {} into {}",
            find::name_of(path),
            file.display()
        )
    }))
}
