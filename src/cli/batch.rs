//! `preblock batch`: a questionnaire on each line to an answer on each line.
//!
//! It ends with 0 once every line was answered, whatever the answers: a line that was refused is answered by saying why.

use std::fs::{File, Metadata};
use std::io::Read;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use chrono::NaiveDate;
use clap::{Args, ValueEnum};

use crate::batch::counts::Counts;
use crate::batch::generate::Generator;
use crate::batch::lines::InputEnd;
use crate::batch::stream::{Share, run as run_stream};
use crate::batch::{BatchScreener, Detail};
use crate::cli::find::{is_standard_input, name_of};
use crate::cli::progress::Progress;
use crate::cli::screen::{day, stop};
use crate::cli::{ClinicFile, ExitStatus, RuleSource, atomic_write, draw};
use crate::rule_set::RuleSet;
use crate::screening::notices;
use crate::screening::screener::Screener;

/// Fewest digits of a digest that name one rule set among all that anybody has.
const FEWEST_DIGITS: usize = 12;

/// Arguments of `batch`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// Questionnaires as JSON, one on each line; `-` is standard input
    #[arg(value_name = "FILE", default_value = "-")]
    file: PathBuf,
    /// How much to say of each
    #[arg(long, value_enum, default_value_t = AnswerKind::Verdict)]
    answer: AnswerKind,
    /// The day the screening is run, such as 2026-11-25 [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    #[command(flatten)]
    rules: RuleSource,
    #[command(flatten)]
    clinic: ClinicFile,
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
pub(crate) fn run(arguments: &Arguments) -> ExitStatus {
    if let Some(n_lines) = arguments.generate {
        return generate(arguments, n_lines);
    }
    let Some(rule_set) = draw::usable(&arguments.rules) else {
        return ExitStatus::Refused;
    };
    if let Some(wanted) = &arguments.rules_digest
        && !rule_set.digest.starts_with(wanted.as_str())
    {
        draw::note(&format!(
            "the rule set {} {} has the digest sha256:{}, not {wanted}; nobody was screened",
            rule_set.id, rule_set.edition, rule_set.digest
        ));
        return ExitStatus::Refused;
    }
    let as_of = arguments
        .as_of
        .unwrap_or_else(|| chrono::Local::now().date_naive());
    let screener = Screener::new(&rule_set, as_of);
    let screener = match arguments.clinic.laid_under(screener) {
        Ok(screener) => screener,
        Err(found) => {
            draw::diagnostics(&found);
            draw::note("the clinic's file was refused, so nobody was screened");
            return ExitStatus::Refused;
        }
    };
    let input = match BatchInput::open(&arguments.file) {
        Ok(input) => input,
        Err(error) => return unreadable(&arguments.file, &error),
    };
    for notice in notices::notices(&rule_set, as_of, None) {
        draw::note(&notice);
    }
    answer_all(arguments, &screener, &rule_set, input)
}

fn answer_all(
    arguments: &Arguments,
    screener: &Screener<'_>,
    rule_set: &RuleSet,
    input: BatchInput,
) -> ExitStatus {
    let detail = arguments.answer.detail();
    let batch = BatchScreener::new(screener, detail);
    let share = Share {
        n_threads: arguments.threads.map_or_else(n_threads, usize::from),
        n_lines: detail.lines_a_block(),
    };
    let stop = stop::asked_for();
    let mut counts = Counts::new(rule_set);
    let mut pace = Pace::new(input.n_bytes());
    let end = run_stream(
        input.reader,
        share,
        &stop,
        |block| {
            let mut out = Vec::with_capacity(block.bytes.len());
            let counts = batch.block(block.lines(), &mut out);
            (out, counts)
        },
        |block, (out, counted)| {
            pace.progress.beside(|| draw::records(&out));
            if !draw::is_written() {
                return ControlFlow::Break(());
            }
            counts += counted;
            pace.step(block.bytes.len(), counts.n_lines());
            ControlFlow::Continue(())
        },
    );
    drop(pace);
    let mut status = told(&arguments.file, end);
    if let Some(opened) = input.opened
        && matches!(status, ExitStatus::Clean)
        && opened.has_changed(&arguments.file)
    {
        draw::note(&format!(
            "`{}` changed while it was read: what was answered may be neither the old nor the new file",
            arguments.file.display()
        ));
        status = ExitStatus::Refused;
    }
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
        let is_complete = status == ExitStatus::Clean && draw::is_written();
        let summary = counts.summary(screener, is_complete);
        if let Err(why) = atomic_write::write(path, &format!("{summary:#}\n"), true) {
            draw::note(&why);
            return ExitStatus::NotWritten;
        }
    }
    status
}

/// Prints invented lines.
fn generate(arguments: &Arguments, n_lines: u64) -> ExitStatus {
    /// Bytes written at once.
    const AT_ONCE: usize = 1 << 18;
    let Some((files, rule_set)) = draw::loaded(&arguments.rules) else {
        return ExitStatus::Refused;
    };
    let generator = match Generator::new(&files, &rule_set) {
        Ok(Some(generator)) => generator,
        Ok(None) => {
            draw::note("the rule set has no worked cases, from which lines are made");
            return ExitStatus::Refused;
        }
        Err(found) => {
            draw::diagnostics(&found);
            return ExitStatus::Refused;
        }
    };
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
                return ExitStatus::Stopped;
            }
        }
    }
    ExitStatus::Clean
}

/// As many threads as the machine has for this program; one where that cannot be told.
pub(crate) fn n_threads() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

/// Says how reading ended, where it did not at the end of the last line.
fn told(path: &Path, end: Option<InputEnd>) -> ExitStatus {
    match end {
        Some(InputEnd::Whole) => ExitStatus::Clean,
        Some(InputEnd::WithinLine) => {
            draw::note(&format!(
                "{} ended without a line feed: its last line was answered, but more may have been cut off",
                name_of(path)
            ));
            ExitStatus::Refused
        }
        Some(InputEnd::Unreadable(error)) => unreadable(path, &error),
        Some(InputEnd::Stopped) => {
            draw::note("stopped before the end: every line that was written is whole");
            ExitStatus::Stopped
        }
        None => ExitStatus::NotWritten,
    }
}

fn unreadable(path: &Path, error: &std::io::Error) -> ExitStatus {
    draw::note(&format!("{} cannot be read: {error}", name_of(path)));
    ExitStatus::Refused
}

/// What the lines are read from.
struct BatchInput {
    reader: Box<dyn Read + Send>,
    opened: Option<FileAsOpened>,
}

impl BatchInput {
    fn open(path: &Path) -> std::io::Result<Self> {
        if is_standard_input(path) {
            return Ok(Self {
                reader: Box::new(std::io::stdin()),
                opened: None,
            });
        }
        let file = File::open(path)?;
        let metadata = file.metadata()?;
        if metadata.is_dir() {
            return Err(std::io::ErrorKind::IsADirectory.into());
        }
        Ok(Self {
            reader: Box::new(file),
            opened: metadata.is_file().then_some(FileAsOpened(metadata)),
        })
    }

    fn n_bytes(&self) -> Option<u64> {
        self.opened.as_ref().map(|it| it.0.len())
    }
}

/// A file as it was when it was opened.
struct FileAsOpened(Metadata);

impl FileAsOpened {
    /// Whether it was written to since, or is gone. Time stamps are as fine as the file system makes them.
    fn has_changed(&self, path: &Path) -> bool {
        let was = (self.0.len(), self.0.modified().ok());
        path.metadata()
            .map_or(true, |now| was != (now.len(), now.modified().ok()))
    }
}

/// How far it is, how fast, and how much time is left.
struct Pace {
    progress: Progress,
    began: Instant,
    told: Instant,
    n_bytes: Option<u64>,
    n_done: u64,
}

impl Pace {
    const EVERY: Duration = Duration::from_millis(500);

    fn new(n_bytes: Option<u64>) -> Self {
        let now = Instant::now();
        Self {
            progress: Progress::of("Screening", None),
            began: now,
            told: now,
            n_bytes,
            n_done: 0,
        }
    }

    /// So many bytes more are answered, which makes so many lines in all.
    #[expect(
        clippy::cast_precision_loss,
        reason = "told to people, in round numbers"
    )]
    fn step(&mut self, n_bytes: usize, n_lines: u64) {
        self.n_done += u64::try_from(n_bytes).unwrap_or(0);
        if self.told.elapsed() < Self::EVERY {
            return;
        }
        self.told = Instant::now();
        let seconds = self.began.elapsed().as_secs_f64();
        let mut text = format!(
            "Screening: {n_lines} lines, {:.0} a second",
            n_lines as f64 / seconds
        );
        if let Some(n_bytes) = self.n_bytes {
            let left = n_bytes.saturating_sub(self.n_done) as f64;
            let seconds_left = (seconds * left / self.n_done as f64).ceil();
            text.push_str(&format!(", about {seconds_left:.0} s left"));
        }
        self.progress.say(text);
    }
}
