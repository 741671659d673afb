//! `preblock rules compare`: what a proposed rule set changes, and for whom.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::{Args, ValueEnum};

use crate::cli::find::{Found, find};
use crate::cli::screen::day;
use crate::cli::{RuleSource, Status, draw};
use crate::facts::Gathered;
use crate::governance::compare::{Tally, changes, exact, read_by_both, tally};
use crate::load::{self, RuleFiles, files, questionnaire};
use crate::model::RuleSet;
use crate::report::compare::{self, Compared};

/// The word that stands for the rule set within the program.
const EMBEDDED: &str = "embedded";

/// Arguments of `rules compare`.
#[derive(Debug, Args)]
pub struct Compare {
    /// The rule set as it is: a folder, or `embedded`
    old: PathBuf,
    /// The rule set as it is proposed: a folder, or `embedded`
    new: PathBuf,
    /// Questionnaires, or folders of them, to be judged by both
    #[arg(value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Put the clinic's local policy of this file over the proposed one
    #[arg(long, value_name = "FILE")]
    local: Option<PathBuf>,
    /// Answers of the clinic that hold for every questionnaire
    #[arg(long, value_name = "FILE")]
    clinic: Option<PathBuf>,
    /// The day of screening, and of surgery in examples, such as 2026-11-25 [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    /// How to print the comparison
    #[arg(long, value_enum, default_value_t = Form::Text)]
    format: Form,
}

/// How a comparison is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    /// For people
    Text,
    /// For a proposal that people discuss
    Markdown,
    /// One object
    Json,
}

/// Runs the command.
pub fn run(arguments: &Compare) -> Status {
    let source = |folder: &Path, local: Option<&PathBuf>| RuleSource {
        rules: (folder != Path::new(EMBEDDED) || folder.is_dir()).then(|| folder.to_path_buf()),
        local: local.cloned(),
    };
    let (old, new) = (source(&arguments.old, None), source(&arguments.new, arguments.local.as_ref()));
    let (Some((_, old)), Some((files, new))) = (draw::loaded(&old), draw::loaded(&new)) else { return Status::Refused };
    let as_of = arguments.as_of.unwrap_or_else(|| chrono::Local::now().date_naive());
    let Some(cases) = cases(&files, &old, &new) else { return Status::Refused };
    let given = if arguments.files.is_empty() { None } else { Some(given(arguments, &old, &new, as_of)) };
    let Some(files) = given.map_or(Some(None), |it| it.map(Some)) else { return Status::Refused };
    let changes = changes(&old, &new);
    let exact = exact(&old, &new, as_of).map_err(|it| format!("{} ({})", it.fact, it.of));
    let compared = Compared { old: &old, new: &new, changes, cases, files, exact, as_of };
    match arguments.format {
        Form::Text => draw::plain(&compare::text(&compared, draw::width())),
        Form::Markdown => draw::plain(&compare::markdown(&compared)),
        Form::Json => draw::json(&compare::json(&compared)),
    }
    let refused = compared.files.as_ref().is_some_and(|it| !it.refused.is_empty());
    match compared.loosens() {
        true => Status::Problems,
        false if refused => Status::Refused,
        false => Status::Clean,
    }
}

/// The worked cases of the proposed rule set under both; `None` after diagnostics.
fn cases(files: &RuleFiles, old: &RuleSet, new: &RuleSet) -> Option<Tally> {
    match load::cases::cases(files, new) {
        Ok(cases) => Some(tally(old, new, cases.iter().map(|it| (it.title.clone(), &it.answers, it.as_of)))),
        Err(found) => {
            draw::diagnostics(&found);
            draw::note(&format!("the cases were refused: {}", draw::counted(found.len(), "problem")));
            None
        }
    }
}

/// The questionnaires that were given under both; `None` after diagnostics.
fn given(arguments: &Compare, old: &RuleSet, new: &RuleSet, as_of: NaiveDate) -> Option<Tally> {
    let read = |path: &Path, clinic: bool| {
        let bytes = files::read_bounded(path, questionnaire::LARGEST).map_err(|it| vec![*it])?;
        let name = path.display().to_string();
        let (read, found) =
            if clinic { questionnaire::clinic(new, &name, &bytes) } else { questionnaire::questionnaire(new, &name, &bytes) };
        read.filter(|_| found.is_empty()).map(|it| it.answers).ok_or(found)
    };
    let standing = match arguments.clinic.as_ref().map(|it| read(it, true)) {
        None => Gathered::default(),
        Some(Ok(answers)) => answers,
        Some(Err(found)) => {
            draw::diagnostics(&found);
            return None;
        }
    };
    let Found { paths, problems, passed_over } = find(&arguments.files);
    passed_over.iter().for_each(|it| draw::note(it));
    if !problems.is_empty() {
        draw::diagnostics(&problems.into_iter().flat_map(|it| it.problems).collect::<Vec<_>>());
        return None;
    }
    let mut patients: Vec<(String, Gathered)> = Vec::new();
    let mut refused = Vec::new();
    for path in paths {
        let name = path.display().to_string();
        let answers = read(&path, false).map(|own| questionnaire::over(&standing, &own));
        match answers.and_then(|it| read_by_both(old, new, &it, as_of).map(|_| it)) {
            Ok(answers) => patients.push((name, answers)),
            Err(found) => {
                draw::diagnostics(&found);
                refused.push(name);
            }
        }
    }
    let mut tally = tally(old, new, patients.iter().map(|(name, it)| (name.clone(), it, as_of)));
    tally.refused.extend(refused);
    tally.refused.sort();
    Some(tally)
}
