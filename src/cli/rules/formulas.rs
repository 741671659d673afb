//! `preblock rules formulas`: what a derived fact may be worked out by.

use clap::Args;

use crate::cli::rules::loaded;
use crate::cli::{Done, ExitStatus, NotDone, RuleSource, TextOrJson, draw};
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
    #[arg(long, value_enum, default_value_t = TextOrJson::Text)]
    format: TextOrJson,
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
        TextOrJson::Text => draw::out(&text(&rows, &Style::terminal(draw::colour_out()))),
        TextOrJson::Json => draw::json(&json(&rows)),
    }
    Ok(ExitStatus::Clean)
}
