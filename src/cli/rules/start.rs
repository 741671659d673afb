//! `preblock rules start`: a small rule set of one's own, with all that it needs.

use std::path::PathBuf;

use chrono::NaiveDate;
use clap::Args;

use crate::cli::rules::is_name;
use crate::cli::screen::day;
use crate::cli::{Done, ExitStatus, NotDone, atomic_write, draw, today};
use crate::workbench::start::started;

/// Arguments of `rules start`.
#[derive(Debug, Args)]
#[command(
    after_help = "Writes a rule set that loads and is clean under check, test and prove, a clinic's file and two referrals to try it on,\n\
                  and the schemas that editors need. README.md in it says how to go on."
)]
pub(crate) struct Arguments {
    /// The folder to make; one that holds anything is left as it is
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// The permanent name of the rule set: small letters and digits, words joined by hyphens, such as skin-excision
    #[arg(long, value_parser = id)]
    id: String,
    /// The question that it answers, in plain words
    #[arg(long, value_name = "TEXT")]
    title: Option<String>,
    /// The day from which it is in force, as YYYY-MM-DD [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
}

fn id(text: &str) -> Result<String, String> {
    if is_name(text) {
        Ok(text.to_owned())
    } else {
        Err("small letters and digits, words joined by hyphens, such as skin-excision".into())
    }
}

/// Runs the command.
pub(crate) fn run(arguments: &Arguments) -> Done {
    let on = arguments.as_of.unwrap_or_else(today);
    let files = started(&arguments.id, arguments.title.as_deref(), on).map_err(|found| {
        NotDone::found(found, "nothing was written: the rule set would be refused")
    })?;
    atomic_write::write_folder(&arguments.folder, &files).map_err(NotDone::because)?;
    let shown = arguments.folder.display();
    draw::plain(&format!(
        "{shown} holds a rule set to begin from; {shown}/README.md says how to go on. It is clean now:\n  \
         preblock rules check --rules {shown}/rules\n  \
         preblock rules test --mutants --rules {shown}/rules\n  \
         preblock rules prove --rules {shown}/rules\n  \
         preblock screen {shown}/referrals --clinic {shown}/clinic.yaml --rules {shown}/rules"
    ));
    Ok(ExitStatus::Clean)
}
