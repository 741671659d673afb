//! `preblock rules book`: the whole rule set as one document.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};

use crate::cli::register::rule_figures;
use crate::cli::rules::loaded;
use crate::cli::{Done, ExitStatus, NotDone, RuleSource, atomic_write, draw};
use crate::document::diagnostic::Diagnostic;
use crate::screening::compile::Compiled;
use crate::workbench::compare::changes;
use crate::workbench::{cases, coverage};

use crate::report::book::extent::Extent;
use crate::report::book::html::Printed;
use crate::report::book::since::Since;
use crate::report::book::{Book, html, markdown};
use crate::rule_set::files::{LARGEST_RULE_FILE, embedded_change_log, read_bounded};

/// Arguments of `rules book`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    rules: RuleSource,
    /// Hold only the rules of this concern, and what they need; may be given several times
    #[arg(long, value_name = "CONCERN")]
    only: Vec<String>,
    /// Say first what is written otherwise than in this rule set, and mark the rules: a folder, or `embedded`
    #[arg(long, value_name = "OLD")]
    since: Option<PathBuf>,
    /// Print beside each rule what the decisions of this register say of it
    #[arg(
        long,
        value_name = "FILE",
        env = "PREBLOCK_REGISTER",
        hide_env_values = true
    )]
    register: Option<PathBuf>,
    /// As which kind of document
    #[arg(long, value_enum, default_value_t = BookFormat::Markdown)]
    format: BookFormat,
    /// Write it to this file instead of standard output
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Replace the file if it is there already
    #[arg(long, requires = "out")]
    force: bool,
}

/// The kinds of document.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum BookFormat {
    /// Markdown, to put into a record or to work on
    Markdown,
    /// One page of HTML that needs nothing else, to read and to print
    Html,
}

/// Runs the command.
pub(crate) fn run(arguments: &Arguments) -> Done {
    let (files, rule_set) = loaded(&arguments.rules)?;
    let concerns = || rule_set.concerns.iter().map(|it| it.id.as_str());
    for only in &arguments.only {
        if !concerns().any(|it| it == only) {
            let all = format!("there are {}", concerns().collect::<Vec<_>>().join(", "));
            return Err(NotDone::unknown("concern", only, concerns(), &all));
        }
    }
    let old = arguments.since.as_deref();
    let old = old.map(|it| draw::loaded(&RuleSource::named(it, None)));
    let old = old.transpose()?.map(|(_, old)| old);
    let (cases, log) = match (
        crate::workbench::cases::read::cases(&files, &rule_set),
        change_log(arguments.rules.rules.as_deref()),
    ) {
        (Ok(cases), Ok(log)) => (cases, log),
        (cases, log) => {
            let log = log.err().map(|it| *it);
            let found = cases.err().into_iter().flatten().chain(log).collect();
            return Err(
                NotDone::found(found, "the book was not written").ending_with(ExitStatus::Problems)
            );
        }
    };
    let figures = rule_figures(arguments.register.as_deref())?;
    let compiled = Compiled::new(&rule_set);
    let runs = cases::run_all(&rule_set, &compiled, &cases);
    let states = coverage::states(&rule_set, &runs);
    let extent = (!arguments.only.is_empty()).then(|| Extent::of(&rule_set, &arguments.only));
    let since = old.as_ref().map(|old| Since {
        old,
        changes: changes(old, &rule_set),
    });
    let text = markdown(&Book {
        rule_set: &rule_set,
        states: &states,
        change_log: log.as_deref(),
        figures: &figures,
        extent,
        since,
    });
    let text = match arguments.format {
        BookFormat::Markdown => text,
        BookFormat::Html => html::page(
            &format!("{} {}", rule_set.title, rule_set.edition),
            &text,
            Printed::Book,
        ),
    };
    match &arguments.out {
        Some(path) => {
            atomic_write::write(path, &text, arguments.force).map_err(NotDone::because)?
        }
        None => draw::plain(&text),
    }
    Ok(ExitStatus::Clean)
}

/// CHANGELOG.md beside the rule set's files, if it is there; without a folder, that of the embedded rule set.
pub(crate) fn change_log(folder: Option<&Path>) -> Result<Option<String>, Box<Diagnostic>> {
    let Some(folder) = folder else {
        return Ok(Some(embedded_change_log().to_owned()));
    };
    let path = folder.join("CHANGELOG.md");
    if !path.exists() {
        return Ok(None);
    }
    read_bounded(&path, LARGEST_RULE_FILE)
        .map(|bytes| Some(String::from_utf8_lossy(&bytes).into_owned()))
}
