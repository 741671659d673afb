//! `preblock rules compare`: what a proposed rule set changes, and for whom.
//!
//! It ends with 1 if anybody gets a less cautious verdict or a rule may be set aside more easily, else with 2 if a given
//! questionnaire was refused, else with 0.

use std::collections::HashSet;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::{Args, ValueEnum};

use crate::batch::compare::BatchComparer;
use crate::batch::stream::Share;
use crate::cli::batch::input::{LinesFile, n_threads};
use crate::cli::find;
use crate::cli::find::{FoundFiles, find, name_of};
use crate::cli::progress::Progress;
use crate::cli::register::rule_figures;
use crate::cli::rules::book::change_log;
use crate::cli::rules::refused_cases;
use crate::cli::screen::day;
use crate::cli::{ClinicFile, Done, ExitStatus, NotDone, RuleSource, draw, today};
use crate::document::diagnostic::Diagnostic;
use crate::document::flow::flow;
use crate::questionnaire::facts::Gathered;
use crate::report::book::html;
use crate::report::book::html::Printed;
use crate::report::book::paper;
use crate::report::book::paper::Paper;
use crate::report::compare;
use crate::report::compare::Compared;
use crate::rule_set::{Guarantee, Idx, Question, RuleSet};
use crate::workbench::cases::read;
use crate::workbench::cases::read::Case;
use crate::workbench::compare::lines::LineTally;
use crate::workbench::compare::{Both, as_asked, changes, exact, tally};
use crate::workbench::prove::{Proof, prove, stated};

/// Arguments of `rules compare`.
#[derive(Debug, Args)]
pub(crate) struct Compare {
    /// The rule set as it is: a folder, or `embedded`
    old: PathBuf,
    /// The rule set as it is proposed: a folder, or `embedded`
    new: PathBuf,
    /// Questionnaires, or folders of them, to be judged by both; of a file that ends in .ndjson, one on each line, it is
    /// counted who is judged otherwise
    #[arg(value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Put the clinic's local policy of this file over the proposed one
    #[arg(long, value_name = "FILE")]
    local: Option<PathBuf>,
    #[command(flatten)]
    clinic: ClinicFile,
    /// The day of screening, and of surgery in examples, as YYYY-MM-DD [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    /// Say in the paper what the decisions of this register say of the rules
    #[arg(
        long,
        value_name = "FILE",
        env = "PREBLOCK_REGISTER",
        hide_env_values = true
    )]
    register: Option<PathBuf>,
    /// How to print the comparison
    #[arg(long, value_enum, default_value_t = CompareFormat::Text)]
    format: CompareFormat,
}

/// How a comparison is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum CompareFormat {
    /// For people
    Text,
    /// For a proposal that people discuss
    Markdown,
    /// The paper for a committee, as one page of HTML to print: each changed rule before and after, for whom, what is proved, who signs
    Paper,
    /// The same as Markdown
    PaperMarkdown,
    /// One object
    Json,
}

/// Runs the command.
pub(crate) fn run(arguments: &Compare) -> Done {
    let loaded = (
        draw::loaded(&RuleSource::named(&arguments.old, None)),
        draw::loaded(&RuleSource::named(&arguments.new, arguments.local.as_ref())),
    );
    let ((old_files, old), (new_files, new)) = match loaded {
        (Ok(old), Ok(new)) => (old, new),
        (Err(of_old), Err(of_new)) => {
            of_old.told();
            return Err(of_new);
        }
        (Err(it), Ok(_)) | (Ok(_), Err(it)) => return Err(it),
    };
    let as_of = arguments.as_of.unwrap_or_else(today);
    let refused = |found| refused_cases(found).ending_with(ExitStatus::Refused);
    let old_cases = read::cases(&old_files, &old).map_err(refused)?;
    let new_cases = read::cases(&new_files, &new).map_err(refused)?;
    let cases = cases([&old, &new], [&old_cases, &new_cases]);
    let both = Both::new(&old, &new, as_of);
    let (of_lines, one_each): (Vec<PathBuf>, Vec<PathBuf>) =
        arguments.files.iter().cloned().partition(|path| {
            path.extension()
                .is_some_and(|it| it.eq_ignore_ascii_case("ndjson"))
        });
    // What is laid under the answers for the new one is handed on to the old one with them.
    let both_here = Both {
        old: both.old.clone(),
        new: arguments.clinic.laid_under(both.new.clone())?,
    };
    let given = given(&one_each, &both_here)?;
    let (lines, read) = match of_lines.as_slice() {
        [] => (None, ExitStatus::Clean),
        [path] => {
            let (tally, read) = compare_lines(path, arguments, &both_here)?;
            (Some(tally), read)
        }
        _ => {
            return Err(NotDone::because(
                "only one file of lines can be compared at once: put them into one",
            ));
        }
    };
    if read == ExitStatus::Stopped {
        return Ok(read);
    }
    let mut files = (!one_each.is_empty())
        .then(|| tally(&both, given.patients.iter().map(GivenPatient::borrowed)));
    if let Some(it) = &mut files {
        it.refused.extend(given.refused);
        it.refused.sort();
    }
    // Questionnaires that were given are somebody's: they come before what was invented.
    let patients: Vec<(&Gathered, NaiveDate)> = given
        .patients
        .iter()
        .chain(&cases)
        .map(|it| (&it.answers, it.as_of))
        .collect();
    let changes = changes(&old, &new);
    let progress = Progress::of("Comparing", None);
    let exact = exact(&both, &patients).map_err(|it| format!("{} ({})", it.fact, it.of));
    let cases = tally(&both, cases.iter().map(GivenPatient::borrowed));
    drop(progress);
    let compared = Compared {
        old: &old,
        new: &new,
        changes,
        cases,
        files,
        lines,
        exact,
        as_of,
    };
    match arguments.format {
        CompareFormat::Text => draw::plain(&compare::text(&compared, draw::width())),
        CompareFormat::Markdown => draw::plain(&compare::markdown(&compared)),
        CompareFormat::Paper | CompareFormat::PaperMarkdown => {
            let folder = (!new_files.is_embedded()).then_some(arguments.new.as_path());
            draw::plain(&paper(arguments, &compared, &new_cases, folder)?);
        }
        CompareFormat::Json => draw::json(&compare::json(&compared)),
    }
    let refused = compared
        .files
        .as_ref()
        .is_some_and(|it| !it.refused.is_empty())
        || compared.lines.as_ref().is_some_and(|it| it.n_refused() > 0);
    Ok(match compared.loosens() {
        true => ExitStatus::Problems,
        false if refused => ExitStatus::Refused,
        false => read,
    })
}

/// The paper on the proposal of a folder, or on what is embedded, with what becomes of the proposed guarantees.
///
/// # Errors
/// The register or the log of changes cannot be read.
fn paper(
    arguments: &Compare,
    compared: &Compared<'_>,
    cases: &[Case],
    folder: Option<&Path>,
) -> Result<String, Box<Diagnostic>> {
    let rule_set = compared.new;
    let figures = rule_figures(arguments.register.as_deref())?;
    let change_log = change_log(folder)?;
    let progress = Progress::of("Proving", None);
    let stated = stated(rule_set);
    let proofs: Vec<(&Guarantee, Proof)> = prove(rule_set, cases, compared.as_of, |_| true)
        .into_iter()
        .filter_map(|(at, proof)| Some((stated.get(at)?, proof)))
        .collect();
    drop(progress);
    let paper = Paper {
        compared,
        proofs: &proofs,
        change_log: change_log.as_deref(),
        figures: &figures,
    };
    let text = paper::markdown(&paper);
    Ok(match arguments.format {
        CompareFormat::Paper => html::page(&paper::title(&paper), &text, Printed::Paper),
        _ => text,
    })
}

/// Somebody for both rule sets, with answers as the new one has them.
struct GivenPatient {
    name: String,
    answers: Gathered,
    as_of: NaiveDate,
}

impl GivenPatient {
    fn borrowed(&self) -> (String, &Gathered, NaiveDate) {
        (self.name.clone(), &self.answers, self.as_of)
    }
}

/// The worked cases of the proposed rule set, and those of the old one that are not among them: where a rule is taken out
/// its cases often are, too.
fn cases([old, new]: [&RuleSet; 2], [of_old, of_new]: [&[Case]; 2]) -> Vec<GivenPatient> {
    let patient = |it: &Case, answers: Gathered| GivenPatient {
        name: it.title.clone(),
        answers,
        as_of: it.as_of,
    };
    let mut patients: Vec<GivenPatient> = of_new
        .iter()
        .map(|it| patient(it, it.answers.clone()))
        .collect();
    let written = |it: &Gathered| -> Vec<(Idx<Question>, String)> {
        it.given
            .iter()
            .chain(&it.offers)
            .map(|(at, it)| (*at, flow(&it.source, &it.node)))
            .collect()
    };
    let there: HashSet<_> = patients
        .iter()
        .map(|it| (it.name.clone(), written(&it.answers)))
        .collect();
    let before = of_old
        .iter()
        .map(|it| patient(it, as_asked(new, old, &it.answers)));
    let gone = before.filter(|it| !there.contains(&(it.name.clone(), written(&it.answers))));
    patients.extend(gone.map(|it| GivenPatient {
        name: format!("{} (a case of the old rule set)", it.name),
        ..it
    }));
    patients
}

/// Questionnaires that were given.
struct GivenFiles {
    patients: Vec<GivenPatient>,
    /// The names of those that one of the rule sets refuses.
    refused: Vec<String>,
}

/// Counts whom both judge otherwise among the lines of a file, and says how reading it ended.
///
/// # Errors
/// It cannot be opened.
fn compare_lines(
    path: &Path,
    arguments: &Compare,
    both: &Both<'_>,
) -> Result<(LineTally, ExitStatus), NotDone> {
    let comparer = BatchComparer::new(both);
    // A clinic's file that the old one does not take is no slip: it is understood as the new one has it.
    let comparer = match arguments.clinic.laid_under(both.old.clone()) {
        Ok(old) => comparer.without_trees(&old),
        Err(_) => comparer,
    };
    let share = Share {
        n_threads: n_threads(),
        n_lines: BatchComparer::LINES_A_BLOCK,
    };
    let mut tally = LineTally::default();
    let status = LinesFile::open(path)?.each_block(
        "Comparing",
        share,
        |block| comparer.block(block.lines()),
        |_, counted| {
            tally += counted;
            ControlFlow::Continue(())
        },
    );
    Ok((tally, status))
}

/// Reads the questionnaires that were given. Those that are refused are told and left out.
///
/// # Errors
/// What cannot be looked into.
fn given(files: &[PathBuf], both: &Both<'_>) -> Result<GivenFiles, Vec<Diagnostic>> {
    let bytes = |path: &Path| find::read(path).map_err(|it| vec![*it]);
    let new = &both.new;
    let FoundFiles {
        paths,
        problems,
        passed_over,
    } = find(files);
    passed_over.iter().for_each(|it| draw::note(it));
    if !problems.is_empty() {
        return Err(problems.into_iter().flat_map(|it| it.problems).collect());
    }
    let mut patients = Vec::new();
    let mut refused = Vec::new();
    for path in paths {
        let name = name_of(&path);
        let read =
            bytes(&path).and_then(|it| new.read(&name, &it).map_err(|refusal| refusal.problems));
        let answers = read.and_then(|referral| {
            both.old.facts(&as_asked(
                both.old.rule_set(),
                new.rule_set(),
                &referral.answers,
            ))?;
            Ok(referral.answers)
        });
        match answers {
            Ok(answers) => patients.push(GivenPatient {
                name,
                answers,
                as_of: new.as_of(),
            }),
            Err(found) => {
                draw::diagnostics(&found);
                refused.push(name);
            }
        }
    }
    Ok(GivenFiles { patients, refused })
}
