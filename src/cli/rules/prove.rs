//! `preblock rules prove`: what the rule set guarantees, over every possible questionnaire.

use std::path::{Path, PathBuf};
use std::time::Instant;

use chrono::NaiveDate;
use clap::{Args, ValueEnum};

use crate::cli::progress::Progress;
use crate::cli::rules::{loaded, refused_cases};
use crate::cli::screen::day;
use crate::cli::{Done, ExitStatus, NotDone, RuleSource, atomic_write, draw, today};
use crate::report;
use crate::rule_set::Guarantee;
use crate::workbench::cases::read::cases;
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
pub(crate) fn run(arguments: &Prove) -> Done {
    let began = Instant::now();
    let (files, rule_set) = loaded(&arguments.rules)?;
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
        return Err(NotDone::unknown(
            "guarantee and no concern",
            only,
            known,
            "`rules prove` without --only lists all",
        ));
    }
    let as_of = arguments.as_of.unwrap_or_else(today);
    let cases = cases(&files, &rule_set).map_err(refused_cases)?;
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
    if let Some(folder) = &arguments.examples {
        write(folder, &proofs).map_err(NotDone::because)?;
    }
    Ok(
        if proofs.iter().all(|(_, it)| matches!(it, Proof::Proved)) {
            ExitStatus::Clean
        } else {
            ExitStatus::Problems
        },
    )
}

/// Writes the questionnaires that break something.
///
/// # Errors
/// Why not all were written, in words.
fn write(folder: &Path, proofs: &[(&Guarantee, Proof)]) -> Result<(), String> {
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
    atomic_write::write_folder(folder, &files)?;
    draw::note(&format!(
        "{} written to {}",
        draw::counted(files.len(), "file"),
        folder.display()
    ));
    Ok(())
}
