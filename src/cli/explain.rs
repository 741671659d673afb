//! `preblock explain`: the page of a code.

use clap::Args;

use crate::cli::{Done, ExitStatus, NotDone, draw};
use crate::document::diagnostic::{Code, Severity};

/// Arguments of `explain`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// The code, such as answers/needs-unit; all codes are listed without one
    code: Option<String>,
}

/// Runs the command.
pub(crate) fn run(arguments: &Arguments) -> Done {
    let Some(wanted) = &arguments.code else {
        let list: Vec<String> = Code::ALL
            .iter()
            .map(|code| format!("{:<26}{}", code.name(), code.what()))
            .collect();
        draw::out(&list.join("\n"));
        return Ok(ExitStatus::Clean);
    };
    let code = Code::from_name(wanted).ok_or_else(|| {
        let names = Code::ALL.iter().map(|it| it.name());
        NotDone::unknown("code", wanted, names, "`preblock explain` lists all codes")
    })?;
    draw::out(&page(code, draw::width()));
    Ok(ExitStatus::Clean)
}

/// The page of a code.
pub(crate) fn page(code: Code, width: usize) -> String {
    let part = |heading: &str, text: &str| {
        format!(
            "{heading}\n{}\n",
            textwrap::indent(&textwrap::fill(text, width.saturating_sub(2)), "  ")
        )
    };
    let told = if code.severity() == Severity::Notice {
        " (a notice)"
    } else {
        ""
    };
    format!(
        "{}{told}\n\n{}\n{}\n{}",
        code.name(),
        part("What it means", code.what()),
        part("Why it matters", code.why()),
        part("How to mend it", code.mend())
    )
}
