//! `preblock rules formulas`: what a derived fact may be worked out by.

use clap::{Args, ValueEnum};

use crate::cli::{ExitStatus, RuleSource, draw};
use crate::document::diagnostic::did_you_mean;
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
pub(crate) fn run(arguments: &Formulas) -> ExitStatus {
    let Some((_, rule_set)) = draw::loaded(&arguments.rules) else {
        return ExitStatus::Problems;
    };
    let rows = match &arguments.name {
        None => FormulaRow::all(&rule_set),
        Some(name) => {
            let Some(formula) = formulas::find(name) else {
                let help = did_you_mean(name, formulas::ALL.iter().map(|it| it.name))
                    .unwrap_or_else(|| "`preblock rules formulas` lists them".into());
                draw::note(&format!("there is no formula `{name}`; {help}"));
                return ExitStatus::Refused;
            };
            vec![FormulaRow::of(&rule_set, formula)]
        }
    };
    match arguments.format {
        FormulasFormat::Text => {
            draw::out(&text(&rows, &Style::terminal(draw::colour_out())));
        }
        FormulasFormat::Json => draw::json(&json(&rows)),
    }
    ExitStatus::Clean
}
