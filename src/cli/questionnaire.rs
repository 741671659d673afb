//! `preblock questionnaire`: the questions, and one patient's answers, for other programs.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use crate::cli::{Done, ExitStatus, RuleSource, draw, find, today};
use crate::document::diagnostic::Diagnostic;
use crate::questionnaire::fhir::filled::filled;
use crate::questionnaire::fhir::form::form;
use crate::rule_set::RuleSet;
use crate::screening::screener::Screener;

/// What to do with questions and answers.
#[derive(Debug, Subcommand)]
pub(crate) enum QuestionnaireCommand {
    /// Print the questions as a form of an open standard; with a file, its answers as a response to that form
    Export(Export),
}

/// Arguments of `questionnaire export`.
#[derive(Debug, Args)]
pub(crate) struct Export {
    /// One patient's questionnaire, whose answers are printed instead of the questions; `-` for standard input
    file: Option<PathBuf>,
    /// The standard
    #[arg(long, value_enum, default_value_t = Standard::Fhir)]
    format: Standard,
    #[command(flatten)]
    rules: RuleSource,
}

/// An open standard of questions and answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Standard {
    /// FHIR R4: a Questionnaire, and QuestionnaireResponses to it
    Fhir,
}

/// Runs the command.
pub(crate) fn run(command: &QuestionnaireCommand) -> Done {
    let QuestionnaireCommand::Export(arguments) = command;
    let Standard::Fhir = arguments.format;
    let rule_set = draw::usable(&arguments.rules)?;
    let resource = export(arguments, &rule_set)?;
    draw::json(&format!("{resource:#}"));
    Ok(ExitStatus::Clean)
}

fn export(arguments: &Export, rule_set: &RuleSet) -> Result<serde_json::Value, Vec<Diagnostic>> {
    let Some(path) = &arguments.file else {
        return form(rule_set).map_err(|lacking| vec![lacking]);
    };
    let bytes = find::read(path).map_err(|it| vec![*it])?;
    let referral = Screener::new(rule_set, today())
        .read(&find::name_of(path), &bytes)
        .map_err(|it| it.problems)?;
    filled(rule_set, &referral.reference, &referral.answers).map_err(|lacking| vec![lacking])
}
