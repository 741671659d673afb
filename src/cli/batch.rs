//! `preblock batch`: a questionnaire on each line to an answer on each line.
//!
//! It ends with 0 once every line was answered, whatever the answers: a line that was refused is answered by saying why.

use std::ops::ControlFlow;
use std::path::PathBuf;
use std::sync::atomic::Ordering;

use chrono::NaiveDate;
use clap::{Args, ValueEnum};

use crate::batch::counts::Counts;
use crate::batch::generate::Generator;
use crate::batch::lines::Block;
use crate::batch::stream::Share;
use crate::batch::{BatchScreener, Detail};
use crate::cli::progress::Progress;
use crate::cli::screen::{day, stop};
use crate::cli::{
    Done, ExitStatus, NotDone, RuleSource, ScreenerFiles, atomic_write, draw, find, today,
};
use crate::screening::notices;
use crate::screening::screener::Screener;

pub(crate) mod input;

use crate::cli::batch::input::{LinesFile, n_threads};

/// Fewest digits of a digest that name one rule set among all that anybody has.
const FEWEST_DIGITS: usize = 12;

/// Arguments of `batch`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// Questionnaires as JSON, one on each line, or with `--mapping` a sheet; `-` is standard input
    #[arg(value_name = "FILE", default_value = "-")]
    file: PathBuf,
    /// How much to say of each
    #[arg(long, value_enum, default_value_t = AnswerKind::Verdict)]
    answer: AnswerKind,
    /// The day the screening is run, as YYYY-MM-DD [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    #[command(flatten)]
    rules: RuleSource,
    #[command(flatten)]
    around: ScreenerFiles,
    /// Refuse to screen by a rule set with another digest; its first 12 digits will do
    #[arg(long, value_name = "DIGEST", value_parser = digest)]
    rules_digest: Option<String>,
    /// Also count verdicts, rules and refusals, and write that as JSON into this file
    #[arg(long, value_name = "FILE")]
    summary: Option<PathBuf>,
    /// How many threads work [default: as many as the machine has for it]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    threads: Option<u16>,
    /// Screen nobody: print N invented lines to try batches with, made from the rule set's worked cases
    #[arg(long, value_name = "N", conflicts_with_all = ["file", "answer", "as_of", "rules_digest", "summary", "threads"])]
    generate: Option<u64>,
    /// With `--generate`: the same number makes the same lines
    #[arg(long, value_name = "S", default_value_t = 1, requires = "generate")]
    seed: u64,
}

/// How much is said of each line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum AnswerKind {
    /// The verdict, what it could be, and the rules that fire and wait
    Verdict,
    /// Also reasons, actions and citations
    Findings,
    /// The screening as `screen --format ndjson` prints it
    Full,
}

impl AnswerKind {
    fn detail(self) -> Detail {
        match self {
            Self::Verdict => Detail::Verdict,
            Self::Findings => Detail::Findings,
            Self::Full => Detail::Full,
        }
    }
}

/// Reads a digest, or its beginning, in hexadecimal.
fn digest(text: &str) -> Result<String, String> {
    let digits = text.strip_prefix("sha256:").unwrap_or(text).to_lowercase();
    let fits = (FEWEST_DIGITS..=64).contains(&digits.len())
        && digits.bytes().all(|it| it.is_ascii_hexdigit());
    if fits {
        Ok(digits)
    } else {
        Err(format!(
            "{FEWEST_DIGITS} to 64 hexadecimal digits are needed, as `rules check` prints them"
        ))
    }
}

/// Runs the command.
pub(crate) fn run(arguments: &Arguments) -> Done {
    if let Some(n_lines) = arguments.generate {
        return generate(arguments, n_lines);
    }
    let rule_set = draw::usable(&arguments.rules)?;
    if let Some(wanted) = &arguments.rules_digest
        && !rule_set.digest.starts_with(wanted.as_str())
    {
        return Err(NotDone::because(format!(
            "the rule set {} {} has the digest sha256:{}, not {wanted}; nobody was screened",
            rule_set.id, rule_set.edition, rule_set.digest
        )));
    }
    let as_of = arguments.as_of.unwrap_or_else(today);
    let screener = Screener::new(&rule_set, as_of);
    let screener = arguments.around.laid_around(screener)?;
    let input = LinesFile::open(&arguments.file)?;
    for notice in notices::notices(&rule_set, as_of, None) {
        draw::note(&notice);
    }
    answer_all(arguments, &screener, input)
}

fn answer_all(arguments: &Arguments, screener: &Screener<'_>, input: LinesFile<'_>) -> Done {
    let detail = arguments.answer.detail();
    let batch = BatchScreener::new(screener, detail);
    let share = Share {
        n_threads: arguments.threads.map_or_else(n_threads, usize::from),
        n_lines: detail.lines_a_block(),
    };
    let mut counts = Counts::new(screener.rule_set());
    let take = |progress: &Progress, (out, counted): (Vec<u8>, Counts)| {
        progress.beside(|| draw::records(&out));
        if !draw::is_written() {
            return ControlFlow::Break(());
        }
        counts += counted;
        ControlFlow::Continue(())
    };
    let status = if find::is_sheet(screener, &arguments.file) {
        let sheet = find::mapping(screener, &arguments.file)
            .and_then(|mapping| input.sheet(screener.rule_set(), mapping));
        let (sheet, heading) = sheet.map_err(|found| {
            NotDone::found(found, "the sheet was refused, so nobody was screened")
        })?;
        let work = |block: &Block| {
            let mut out = Vec::with_capacity(block.bytes.len());
            let counts = batch.rows(&heading, block, &mut out);
            (out, counts)
        };
        sheet.each_block("Screening", share, work, take)
    } else {
        let work = |block: &Block| {
            let mut out = Vec::with_capacity(block.bytes.len());
            let counts = batch.block(block.lines(), &mut out);
            (out, counts)
        };
        input.each_block("Screening", share, work, take)
    };
    if counts.n_refused > 0 {
        draw::note(&format!(
            "{} of {} refused; `preblock explain CODE` says more",
            counts.n_refused,
            draw::counted(
                usize::try_from(counts.n_lines()).unwrap_or(usize::MAX),
                "line"
            )
        ));
    }
    if let Some(path) = &arguments.summary {
        let summary = counts.summary(screener, status == ExitStatus::Clean);
        atomic_write::write(path, &format!("{summary:#}\n"), true).map_err(NotDone::not_written)?;
    }
    Ok(status)
}

/// Prints invented lines.
fn generate(arguments: &Arguments, n_lines: u64) -> Done {
    /// Bytes written at once.
    const AT_ONCE: usize = 1 << 18;
    let (files, rule_set) = draw::loaded(&arguments.rules)?;
    let generator = Generator::new(&files, &rule_set)?.ok_or_else(|| {
        NotDone::because("the rule set has no worked cases, from which lines are made")
    })?;
    draw::note(&format!(
        "invented lines, made for `--as-of {}`",
        generator.as_of
    ));
    let stop = stop::asked_for();
    let mut out = Vec::new();
    for number in 1..=n_lines {
        generator.line(arguments.seed, number, &mut out);
        if out.len() >= AT_ONCE || number == n_lines {
            draw::records(&out);
            out.clear();
            if !draw::is_written() || stop.load(Ordering::Relaxed) {
                return Ok(ExitStatus::Stopped);
            }
        }
    }
    Ok(ExitStatus::Clean)
}
