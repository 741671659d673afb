//! A file of lines, a sheet, or standard input, gone through block by block: how far it is, and how it ended.

use std::fs::{File, Metadata};
use std::io::{BufReader, ErrorKind, Read};
use std::ops::ControlFlow;
use std::path::Path;
use std::time::{Duration, Instant};

use crate::batch::lines::{Block, Blocks, InputEnd, RowBlocks};
use crate::batch::stream::{Share, run};
use crate::cli::find::{is_standard_input, name_of};
use crate::cli::progress::Progress;
use crate::cli::screen::stop;
use crate::cli::{ExitStatus, NotDone, draw};
use crate::document::diagnostic::Diagnostic;
use crate::document::rows::Rows;
use crate::questionnaire::mapping::Mapping;
use crate::questionnaire::sheet::Heading;
use crate::rule_set::RuleSet;

/// As many threads as the machine has for this program; one where that cannot be told.
pub(crate) fn n_threads() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

/// What lines are read from.
pub(crate) struct LinesFile<'a> {
    input: ReadInput<'a>,
    reader: Box<dyn Read + Send>,
}

impl<'a> LinesFile<'a> {
    /// Opens a file, or standard input.
    ///
    /// # Errors
    /// Why it cannot be read.
    pub(crate) fn open(path: &'a Path) -> Result<Self, NotDone> {
        if is_standard_input(path) {
            return Ok(Self {
                input: ReadInput { path, opened: None },
                reader: Box::new(std::io::stdin()),
            });
        }
        let opened = File::open(path).and_then(|file| {
            let metadata = file.metadata()?;
            if metadata.is_dir() {
                return Err(ErrorKind::IsADirectory.into());
            }
            Ok((metadata, file))
        });
        let (metadata, file) =
            opened.map_err(|error| NotDone::because(unreadable(path, &error)))?;
        let opened = Some(metadata).filter(Metadata::is_file);
        Ok(Self {
            input: ReadInput { path, opened },
            reader: Box::new(file),
        })
    }

    /// Takes it for a sheet, and reads its heading.
    ///
    /// # Errors
    /// Everything for which no row of it can be read.
    pub(crate) fn sheet<'m>(
        self,
        rule_set: &'m RuleSet,
        mapping: &'m Mapping,
    ) -> Result<(SheetFile<'a>, Heading<'m>), Vec<Diagnostic>> {
        /// Bytes asked for at once.
        const AT_ONCE: usize = 1 << 16;
        let separator = mapping.sheet_form()?.separator;
        let reader = BufReader::with_capacity(AT_ONCE, self.reader);
        let mut rows = Rows::new(reader, separator);
        let heading = Heading::next(rule_set, mapping, &name_of(self.input.path), &mut rows)?;
        let input = self.input;
        Ok((SheetFile { input, rows }, heading))
    }

    /// Has threads work on every block of lines, and takes what they made in the order of the blocks, until `take` breaks off
    /// or somebody stops the program. `what` begins with a capital: "Screening".
    ///
    /// # Returns
    /// Whether everything that there was to read was worked on and taken; otherwise it was said why not.
    pub(crate) fn each_block<T: Send + 'static>(
        self,
        what: &'static str,
        share: Share,
        work: impl Fn(&Block) -> T + Sync,
        take: impl FnMut(&Progress, T) -> ControlFlow<()>,
    ) -> ExitStatus {
        let mut blocks = Blocks::new(self.reader, share.n_lines);
        let next = move |buffer| blocks.next(buffer);
        self.input
            .each_block(what, next, share.n_threads, work, take)
    }
}

/// What rows are read from, below its heading.
pub(crate) struct SheetFile<'a> {
    input: ReadInput<'a>,
    rows: Rows<BufReader<Box<dyn Read + Send>>>,
}

impl SheetFile<'_> {
    /// As [`LinesFile::each_block`], with blocks of rows.
    pub(crate) fn each_block<T: Send + 'static>(
        self,
        what: &'static str,
        share: Share,
        work: impl Fn(&Block) -> T + Sync,
        take: impl FnMut(&Progress, T) -> ControlFlow<()>,
    ) -> ExitStatus {
        let mut blocks = RowBlocks::new(self.rows, share.n_lines);
        let next = move |buffer| blocks.next(buffer);
        self.input
            .each_block(what, next, share.n_threads, work, take)
    }
}

/// What is said of an input while it is read, and at its end.
struct ReadInput<'a> {
    path: &'a Path,
    /// What was known of an ordinary file when it was opened.
    opened: Option<Metadata>,
}

impl ReadInput<'_> {
    fn each_block<T: Send + 'static>(
        self,
        what: &'static str,
        next: impl FnMut(Vec<u8>) -> Result<Block, InputEnd> + Send + 'static,
        n_threads: usize,
        work: impl Fn(&Block) -> T + Sync,
        mut take: impl FnMut(&Progress, T) -> ControlFlow<()>,
    ) -> ExitStatus {
        let mut pace = Pace::new(what, self.opened.as_ref().map(Metadata::len));
        let end = run(next, n_threads, &stop::asked_for(), work, |block, made| {
            take(&pace.progress, made)?;
            pace.step(block);
            ControlFlow::Continue(())
        });
        drop(pace);
        match end {
            Some(InputEnd::Whole) if self.opened.is_some_and(|it| has_changed(&it, self.path)) => {
                draw::note(&format!(
                    "`{}` changed while it was read: what was read may be neither the old nor the new file",
                    self.path.display()
                ));
                ExitStatus::Refused
            }
            Some(InputEnd::Whole) => ExitStatus::Clean,
            Some(InputEnd::WithinLine) => {
                draw::note(&format!(
                    "{} ended without a line feed: its last line was read, but more may have been cut off",
                    name_of(self.path)
                ));
                ExitStatus::Refused
            }
            Some(InputEnd::Unreadable(error)) => {
                draw::note(&unreadable(self.path, &error));
                ExitStatus::Refused
            }
            Some(InputEnd::Stopped) => {
                draw::note("stopped before the end: the lines up to here are done and whole");
                ExitStatus::Stopped
            }
            None => ExitStatus::NotWritten,
        }
    }
}

fn unreadable(path: &Path, error: &std::io::Error) -> String {
    format!("{} cannot be read: {error}", name_of(path))
}

/// Whether a file was written to since it was opened, or is gone. Time stamps are as fine as the file system makes them.
fn has_changed(opened: &Metadata, path: &Path) -> bool {
    let of = |it: &Metadata| (it.len(), it.modified().ok());
    path.metadata().map_or(true, |now| of(&now) != of(opened))
}

/// How far it is, how fast, and how much time is left.
struct Pace {
    progress: Progress,
    what: &'static str,
    began: Instant,
    told: Instant,
    n_bytes: Option<u64>,
    n_done: u64,
}

impl Pace {
    /// How often it is told.
    const EVERY: Duration = Duration::from_millis(500);

    fn new(what: &'static str, n_bytes: Option<u64>) -> Self {
        let now = Instant::now();
        Self {
            progress: Progress::of(what, None),
            what,
            began: now,
            told: now,
            n_bytes,
            n_done: 0,
        }
    }

    /// One block is done.
    #[expect(
        clippy::cast_precision_loss,
        reason = "told to people, in round numbers"
    )]
    fn step(&mut self, block: &Block) {
        self.n_done += u64::try_from(block.bytes.len()).unwrap_or(0);
        if self.told.elapsed() < Self::EVERY {
            return;
        }
        self.told = Instant::now();
        let seconds = self.began.elapsed().as_secs_f64();
        let mut text = format!(
            "{}: line {}, {:.0} a second",
            self.what,
            block.first,
            block.first as f64 / seconds
        );
        if let Some(n_bytes) = self.n_bytes {
            let left = n_bytes.saturating_sub(self.n_done) as f64;
            let seconds_left = seconds * left / self.n_done as f64;
            text.push_str(&format!(", about {seconds_left:.0} s left"));
        }
        self.progress.say(text);
    }
}
