//! `preblock schema`: the JSON Schema of a file kind.

use clap::Args;

use crate::cli::{ExitStatus, RuleSource, draw};
use crate::document::diagnostic::did_you_mean;
use crate::document::shape;
use crate::questionnaire::schema;

/// Arguments of `schema`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// The file kind; all are listed without one
    name: Option<String>,
    #[command(flatten)]
    rules: RuleSource,
}

/// Runs the command. The schemas of questionnaires follow the rule set that is used.
pub(crate) fn run(arguments: &Arguments) -> ExitStatus {
    let names = shape::schema_names();
    let Some(name) = &arguments.name else {
        draw::out(&names.join("\n"));
        return ExitStatus::Clean;
    };
    if ["questionnaire", "clinic"].contains(&name.as_str()) {
        let Some((_, rule_set)) = draw::loaded(&arguments.rules) else {
            return ExitStatus::Refused;
        };
        let schema = if name == "clinic" {
            schema::clinic(&rule_set)
        } else {
            schema::questionnaire(&rule_set)
        };
        draw::json(&format!("{schema:#}"));
        return ExitStatus::Clean;
    }
    match shape::schema(name) {
        Some(text) => {
            draw::out(text);
            ExitStatus::Clean
        }
        None => {
            let help = did_you_mean(name, names.iter().map(String::as_str))
                .unwrap_or_else(|| "`preblock schema` lists them".into());
            draw::note(&format!("there is no schema `{name}`; {help}"));
            ExitStatus::Refused
        }
    }
}
