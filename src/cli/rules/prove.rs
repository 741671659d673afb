//! `preblock rules prove`: what the rule set guarantees, over every possible questionnaire.

use std::path::PathBuf;
use std::time::Instant;

use chrono::NaiveDate;
use clap::{Args, ValueEnum};

use crate::cli::progress::Progress;
use crate::cli::screen::day;
use crate::cli::{ExitStatus, RuleSource, atomic_write, draw};
use crate::report;
use crate::rule_set::Guarantee;
use crate::workbench::prove::{Proof, prove, stated};

/// Arguments of `rules prove`.
#[derive(Debug, Args)]
pub(crate) struct Prove {
    #[command(flatten)]
    rules: RuleSource,
    /// Only the guarantees of this concern, or the one of this id
    #[arg(long, value_name = "ID")]
    only: Option<String>,
    /// The day of screening and of surgery in examples, as YYYY-MM-DD [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    /// Write each questionnaire that breaks a guarantee into this folder, which must be empty or new
    #[arg(long, value_name = "DIR")]
    examples: Option<PathBuf>,
    /// How to print the proofs
    #[arg(long, value_enum, default_value_t = ProofFormat::Text)]
    format: ProofFormat,
}

/// How proofs are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ProofFormat {
    /// For people
    Text,
    /// One object
    Json,
}

/// Runs the command.
pub(crate) fn run(arguments: &Prove) -> ExitStatus {
    let began = Instant::now();
    let Some((files, rule_set)) = draw::loaded(&arguments.rules) else {
        return ExitStatus::Problems;
    };
    let stated = stated(&rule_set);
    let concern = |it: &Guarantee| it.concern.map(|at| rule_set.concerns[at].id.as_str());
    let wanted = |it: &Guarantee| {
        arguments
            .only
            .as_deref()
            .is_none_or(|only| it.id == only || concern(it) == Some(only))
    };
    if let Some(only) = arguments
        .only
        .as_deref()
        .filter(|_| !stated.iter().any(wanted))
    {
        let known = stated
            .iter()
            .map(|it| it.id.as_str())
            .chain(rule_set.concerns.iter().map(|it| it.id.as_str()));
        let help = crate::document::diagnostic::did_you_mean(only, known)
            .unwrap_or_else(|| "`rules prove` without --only lists all".into());
        draw::note(&format!(
            "there is no guarantee and no concern `{only}`; {help}"
        ));
        return ExitStatus::Refused;
    }
    let as_of = arguments
        .as_of
        .unwrap_or_else(|| chrono::Local::now().date_naive());
    let Some(cases) = crate::cli::rules::cases(&files, &rule_set) else {
        return ExitStatus::Problems;
    };
    let progress = Progress::of("Proving", None);
    let proofs = prove(&rule_set, &cases, as_of, wanted);
    drop(progress);
    let proofs: Vec<(&Guarantee, Proof)> = proofs
        .into_iter()
        .filter_map(|(at, proof)| Some((stated.get(at)?, proof)))
        .collect();
    match arguments.format {
        ProofFormat::Json => draw::json(&report::proofs::json(&rule_set, &proofs, as_of)),
        ProofFormat::Text => draw::plain(&report::proofs::text(
            &rule_set,
            &proofs,
            as_of,
            draw::width(),
        )),
    }
    draw::note(&format!("tried in {:.1} s", began.elapsed().as_secs_f64()));
    if let Some(folder) = &arguments.examples
        && !write(folder, &proofs)
    {
        return ExitStatus::Refused;
    }
    if proofs.iter().all(|(_, it)| matches!(it, Proof::Proved)) {
        ExitStatus::Clean
    } else {
        ExitStatus::Problems
    }
}

/// Writes the questionnaires that break something; whether that went well.
fn write(folder: &std::path::Path, proofs: &[(&Guarantee, Proof)]) -> bool {
    let mut files: Vec<(String, String)> = Vec::new();
    for (guarantee, proof) in proofs {
        let Proof::Broken(seen) = proof else { continue };
        let several = seen.len() > 1;
        for (at, it) in seen.iter().enumerate() {
            let step = match (several, at) {
                (false, _) => "",
                (true, 0) => "-before",
                (true, _) => "-after",
            };
            files.push((
                format!("{}{step}.yaml", guarantee.id),
                report::proofs::headed(guarantee, it),
            ));
            if let Some(clinic) = &it.clinic {
                files.push((
                    format!("{}{step}.clinic.yaml", guarantee.id),
                    clinic.clone(),
                ));
            }
        }
    }
    match atomic_write::write_folder(folder, &files) {
        Ok(()) => {
            draw::note(&format!(
                "{} written to {}",
                draw::counted(files.len(), "file"),
                folder.display()
            ));
            true
        }
        Err(why) => {
            draw::note(&why);
            false
        }
    }
}
