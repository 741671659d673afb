//! `preblock rules formulas`: what a derived fact may be worked out by.

use clap::{Args, ValueEnum};

use crate::cli::rules::loaded;
use crate::cli::{Done, ExitStatus, NotDone, RuleSource, draw};
use crate::formulas;
use crate::report::formulas::{FormulaRow, json, text};
use crate::report::page::Style;

/// Arguments of `rules formulas`.
#[derive(Debug, Args)]
pub(crate) struct Formulas {
    /// The formula, such as cockcroft-gault; all are told without one
    name: Option<String>,
    #[command(flatten)]
    rules: RuleSource,
    /// How to print them
    #[arg(long, value_enum, default_value_t = FormulasFormat::Text)]
    format: FormulasFormat,
}

/// How formulas are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum FormulasFormat {
    /// For people
    Text,
    /// For programs
    Json,
}

/// Runs the command. The rows to copy name facts of the rule set that is used.
pub(crate) fn run(arguments: &Formulas) -> Done {
    let (_, rule_set) = loaded(&arguments.rules)?;
    let rows = match &arguments.name {
        None => FormulaRow::all(&rule_set),
        Some(name) => {
            let formula = formulas::find(name).ok_or_else(|| {
                let names = formulas::ALL.iter().map(|it| it.name);
                NotDone::unknown(
                    "formula",
                    name,
                    names,
                    "`preblock rules formulas` lists them",
                )
            })?;
            vec![FormulaRow::of(&rule_set, formula)]
        }
    };
    match arguments.format {
        FormulasFormat::Text => {
            draw::out(&text(&rows, &Style::terminal(draw::colour_out())));
        }
        FormulasFormat::Json => draw::json(&json(&rows)),
    }
    Ok(ExitStatus::Clean)
}
