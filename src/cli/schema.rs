//! `preblock schema`: the JSON Schema of a file kind.

use clap::Args;

use crate::cli::{Done, ExitStatus, NotDone, RuleSource, draw};
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
pub(crate) fn run(arguments: &Arguments) -> Done {
    let names = shape::schema_names();
    let Some(name) = &arguments.name else {
        draw::out(&names.join("\n"));
        return Ok(ExitStatus::Clean);
    };
    if ["questionnaire", "clinic"].contains(&name.as_str()) {
        let (_, rule_set) = draw::loaded(&arguments.rules)?;
        let schema = if name == "clinic" {
            schema::clinic(&rule_set)
        } else {
            schema::questionnaire(&rule_set)
        };
        draw::json(&format!("{schema:#}"));
        return Ok(ExitStatus::Clean);
    }
    let text = shape::schema(name).ok_or_else(|| {
        let names = names.iter().map(String::as_str);
        NotDone::unknown("schema", name, names, "`preblock schema` lists them")
    })?;
    draw::out(text);
    Ok(ExitStatus::Clean)
}
