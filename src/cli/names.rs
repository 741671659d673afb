//! `preblock names`: local names of medicines, from the list that a clinic or its pharmacy has.

use std::path::PathBuf;

use chrono::NaiveDate;
use clap::{Args, Subcommand};

use crate::cli::screen::day;
use crate::cli::{Done, ExitStatus, NotDone, RuleSource, atomic_write, draw, find, today};
use crate::document::append::at_end_of_list;
use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::text::too_large;
use crate::questionnaire::policy::rule_set_with;
use crate::rule_set::files::TextFile;
use crate::workbench::names::{NameColumns, NameList, NameTerms, changes, names, policy};

/// Most bytes of a list.
const LARGEST_LIST: u64 = 64 << 20;

/// The commands under `names`.
#[derive(Debug, Subcommand)]
pub(crate) enum NamesCommand {
    /// Make a local policy of a list of names, each beside the generic name that it stands for, or add them to one
    Import(Import),
}

/// Arguments of `names import`.
#[derive(Debug, Args)]
#[command(
    after_help = "Exit status: 0 if every row was taken or says what is so already, 1 if some were left out, 2 if the list or the policy was \
                        refused; nothing is printed or written then."
)]
pub(crate) struct Import {
    /// The list: rows of cells in UTF-8, headings first; `-` is standard input
    file: PathBuf,
    /// The local policy to add the names to, comments and all [default: a new one is printed]
    #[arg(long, value_name = "FILE", required_unless_present = "clinic")]
    into: Option<PathBuf>,
    /// The clinic of a new local policy
    #[arg(long, conflicts_with = "into")]
    clinic: Option<String>,
    /// The role that agreed to the names, such as "lead pharmacist"
    #[arg(long, value_name = "ROLE")]
    agreed_by: String,
    /// The day by which they must be looked at again, as YYYY-MM-DD
    #[arg(long, value_name = "DATE", value_parser = day)]
    review_by: NaiveDate,
    /// The day on which they were agreed, as YYYY-MM-DD [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    agreed_on: Option<NaiveDate>,
    /// Why: it stands behind each name
    #[arg(
        long,
        default_value = "It stands in the list of names that the clinic uses."
    )]
    reason: String,
    /// The heading over the names
    #[arg(long, value_name = "HEADING", default_value = "name")]
    name_column: String,
    /// The heading over the generic names
    #[arg(long, value_name = "HEADING", default_value = "generic")]
    generic_column: String,
    /// What stands between cells: one character, or `tab`
    #[arg(long, default_value = ",", value_parser = separator)]
    separator: u8,
    /// What stands between the medicines of one product
    #[arg(long, value_name = "TEXT", default_value = "+")]
    together: String,
    /// Use the rule set of this folder instead of the embedded one
    #[arg(
        long,
        value_name = "DIR",
        env = "PREBLOCK_RULES",
        hide_env_values = true
    )]
    rules: Option<PathBuf>,
}

/// Reads what stands between cells.
fn separator(text: &str) -> Result<u8, String> {
    match text.as_bytes() {
        b"tab" => Ok(b'\t'),
        [one] if one.is_ascii_punctuation() && *one != b'"' => Ok(*one),
        _ => Err("one character is needed, such as `;`, or `tab`".into()),
    }
}

/// Runs the command.
pub(crate) fn run(command: &NamesCommand) -> Done {
    let NamesCommand::Import(arguments) = command;
    import(arguments).map_err(|found| {
        NotDone::found(
            found,
            "no names were imported; `preblock explain CODE` says more",
        )
    })
}

/// Imports a list: what is left out is told, the rest printed or written.
///
/// # Errors
/// Every diagnostic of the list, of the local policy, or of what would come of it.
fn import(arguments: &Import) -> Result<ExitStatus, Vec<Diagnostic>> {
    let source = RuleSource {
        rules: arguments.rules.clone(),
        local: arguments.into.clone(),
    };
    let files = draw::files_of(&source)?;
    let local = draw::local_of(&source)?;
    // With the names that the policy has already: none of them may come to mean something else.
    let rule_set = rule_set_with(&files, local.as_ref())?;
    let shown = find::name_of(&arguments.file);
    let bytes = find::read_at_most(&arguments.file, LARGEST_LIST).map_err(|it| vec![*it])?;
    // Of standard input no more was read.
    if u64::try_from(bytes.len()).is_ok_and(|it| it > LARGEST_LIST) {
        return Err(vec![too_large(&shown, LARGEST_LIST)]);
    }
    let columns = NameColumns {
        name: arguments.name_column.clone(),
        generic: arguments.generic_column.clone(),
        separator: arguments.separator,
        together: arguments.together.clone(),
    };
    let list = names(&rule_set, &shown, &bytes, &columns)?;
    let terms = NameTerms {
        reason: arguments.reason.clone(),
        agreed_by: arguments.agreed_by.clone(),
        agreed_on: arguments.agreed_on.unwrap_or_else(today),
        review_by: arguments.review_by,
    };
    let entries = changes(&list, &terms);
    let text = match &local {
        _ if list.taken.is_empty() => None,
        Some(local) => Some(added(local, &entries)?),
        None => {
            let clinic = arguments.clinic.as_deref().unwrap_or("the clinic");
            Some(policy(&rule_set, clinic, &entries))
        }
    };
    if let Some(text) = &text {
        let name = local.as_ref().map_or("the local policy", TextFile::name);
        let policy = TextFile::new(name, text.as_str());
        rule_set_with(&files, Some(&policy)).map_err(|mut found| {
            for it in found.iter_mut().filter(|it| it.code == Code::TooLarge) {
                it.help = "A local policy holds some forty thousand names: leave out those that nobody writes.".into();
            }
            found
        })?;
    }
    for it in &list.left_out {
        draw::note(&format!("row {}: `{}`: {}", it.row, it.name, it.why));
    }
    tell(&list);
    match (&text, &arguments.into) {
        (None, _) => {}
        (Some(text), None) => draw::plain(text),
        (Some(text), Some(path)) => {
            if let Err(why) = atomic_write::write(path, text, true) {
                draw::note(&why);
                return Ok(ExitStatus::NotWritten);
            }
        }
    }
    Ok(if list.left_out.is_empty() {
        ExitStatus::Clean
    } else {
        ExitStatus::Problems
    })
}

/// The text of a local policy with further changes.
fn added(local: &TextFile, entries: &str) -> Result<String, Vec<Diagnostic>> {
    let mut found = Vec::new();
    let Some(parsed) = local.parsed(&mut found) else {
        return Err(found);
    };
    at_end_of_list(&parsed.source, &parsed.root, "changes", entries).map_err(|why| {
        let title = format!(
            "names cannot be put at the end of `{}`: {why}",
            local.name()
        );
        vec![Diagnostic::bare(Code::WrongForm, title)]
    })
}

fn tell(list: &NameList) {
    draw::note(&format!(
        "{} taken, {} known already, {} left out",
        draw::counted(list.taken.len(), "name"),
        draw::counted(list.n_known, "row"),
        draw::counted(list.left_out.len(), "row")
    ));
}
