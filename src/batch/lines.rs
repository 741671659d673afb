//! What is read, cut into blocks of whole lines, in memory that does not grow with what is read.

use std::io::{BufRead, ErrorKind, Read};
use std::ops::Range;

use crate::document::rows::{RowPlace, Rows, SheetRow};
use crate::questionnaire::frame;

/// Bytes asked for at once: what a pipe holds. One that gives less was emptied, and nobody knows when there is more.
const ASKED: usize = 1 << 16;
/// Most bytes of a line that is read.
const LONGEST: usize = frame::LARGEST as usize;
/// A block with so many bytes takes no further line.
const MOST_BYTES: usize = 1 << 19;

/// Some whole lines.
#[derive(Debug, Default)]
pub struct Block {
    /// Number of the first line, from 1.
    pub first: u64,
    /// The lines, each with its line feed, which the last of all may lack. INVARIANT: of a line with more bytes than a
    /// questionnaire may have there is one more than that, so that whoever reads it refuses it for its size.
    pub bytes: Vec<u8>,
    /// Where its rows stand, and where in `bytes`, if it is of a sheet.
    pub rows: Vec<(RowPlace, Range<usize>)>,
}

impl Block {
    /// Its lines.
    pub fn lines(&self) -> Lines<'_> {
        Lines {
            next: self.first,
            rest: &self.bytes,
        }
    }

    /// Its rows.
    pub fn rows(&self) -> impl Iterator<Item = SheetRow<'_>> {
        self.rows.iter().map(|(at, span)| SheetRow {
            at: *at,
            bytes: self.bytes.get(span.clone()).unwrap_or(&[]),
        })
    }
}

/// Lines with their numbers, without their line feeds.
#[derive(Debug, Clone)]
pub struct Lines<'a> {
    next: u64,
    rest: &'a [u8],
}

impl<'a> Lines<'a> {
    /// The lines of a text, the first of which has this number.
    pub fn new(first: u64, bytes: &'a [u8]) -> Self {
        Self {
            next: first,
            rest: bytes,
        }
    }
}

impl<'a> Iterator for Lines<'a> {
    type Item = (u64, &'a [u8]);

    fn next(&mut self) -> Option<Self::Item> {
        if self.rest.is_empty() {
            return None;
        }
        let (line, rest) = self
            .rest
            .split_at_checked(line_end(self.rest).unwrap_or(self.rest.len()))?;
        let number = self.next;
        (self.next, self.rest) = (number + 1, rest);
        Some((number, line.strip_suffix(b"\n").unwrap_or(line)))
    }
}

/// How many bytes the first line has, its line feed among them; `None` if none stands there.
fn line_end(mut bytes: &[u8]) -> Option<usize> {
    let whole = bytes;
    // The fastest search for a byte that the standard library lets one have. Reading from memory cannot fail.
    let n_bytes = bytes.skip_until(b'\n').ok()?;
    whole.get(..n_bytes)?.ends_with(b"\n").then_some(n_bytes)
}

/// How reading ended.
#[derive(Debug)]
pub enum InputEnd {
    /// At the end of the last line.
    Whole,
    /// Within a line: something was cut off, or the last line feed was forgotten.
    WithinLine,
    /// It could not be read further.
    Unreadable(std::io::Error),
    /// Somebody stopped it before the end.
    Stopped,
}

/// Reads blocks of rows.
#[derive(Debug)]
pub struct RowBlocks<R> {
    rows: Rows<R>,
    most_rows: usize,
    end: Option<InputEnd>,
}

impl<R: BufRead> RowBlocks<R> {
    /// Reads blocks of at most so many rows, from below the heading.
    pub fn new(rows: Rows<R>, most_rows: usize) -> Self {
        Self {
            rows,
            most_rows: most_rows.max(1),
            end: None,
        }
    }

    /// The next block, made of `bytes`, whose content is lost; after the last one, how reading ended. A sheet may end without
    /// a line feed.
    ///
    /// # Errors
    /// How reading ended, once every row that could be read was handed out.
    pub fn next(&mut self, mut bytes: Vec<u8>) -> Result<Block, InputEnd> {
        bytes.clear();
        let mut rows = Vec::new();
        while self.end.is_none() && rows.len() < self.most_rows && bytes.len() < MOST_BYTES {
            let begin = bytes.len();
            match self.rows.next_row(&mut bytes) {
                Ok(Some(at)) => rows.push((at, begin..bytes.len())),
                Ok(None) => self.end = Some(InputEnd::Whole),
                Err(error) => self.end = Some(InputEnd::Unreadable(error)),
            }
        }
        match (rows.first(), self.end.take()) {
            (None, end) => Err(end.unwrap_or(InputEnd::Whole)),
            (Some((at, _)), end) => {
                self.end = end;
                let first = at.number as u64;
                Ok(Block { first, bytes, rows })
            }
        }
    }
}

/// Reads blocks.
#[derive(Debug)]
pub struct Blocks<R> {
    input: R,
    /// What was read; from `from` on it was not handed out yet.
    held: Vec<u8>,
    from: usize,
    /// Number of the next line.
    next: u64,
    most_lines: usize,
    /// Whether the rest of a line is passed over, since it is too long.
    passes_over: bool,
    /// Whether there may be nothing to read at this moment.
    pauses: bool,
    end: Option<InputEnd>,
}

impl<R: Read> Blocks<R> {
    /// Reads blocks of at most so many lines.
    pub fn new(input: R, most_lines: usize) -> Self {
        Self {
            input,
            held: Vec::new(),
            from: 0,
            next: 1,
            most_lines: most_lines.max(1),
            passes_over: false,
            pauses: false,
            end: None,
        }
    }

    /// The next block, made of `bytes`, whose content is lost; after the last one, how reading ended.
    ///
    /// A block has fewer lines than it might where what is read pauses, so that an answer does not wait for later lines.
    ///
    /// # Errors
    /// How reading ended, once every line that could be read was handed out.
    pub fn next(&mut self, mut bytes: Vec<u8>) -> Result<Block, InputEnd> {
        bytes.clear();
        let first = self.next;
        loop {
            while self.next < first + self.most_lines as u64
                && bytes.len() < MOST_BYTES
                && self.take_line(&mut bytes)
            {
                self.next += 1;
            }
            let is_full = self.next == first + self.most_lines as u64 || bytes.len() >= MOST_BYTES;
            if !bytes.is_empty() && (is_full || self.pauses || self.end.is_some()) {
                return Ok(Block {
                    first,
                    bytes,
                    rows: Vec::new(),
                });
            }
            if let Some(end) = self.end.take() {
                return Err(end);
            }
            self.read();
        }
    }

    /// Appends the next line, if one is there.
    fn take_line(&mut self, bytes: &mut Vec<u8>) -> bool {
        let held = self.held.get(self.from..).unwrap_or(&[]);
        let n_bytes = match (line_end(held), &self.end) {
            (Some(n_bytes), _) => n_bytes,
            (None, Some(InputEnd::WithinLine)) => held.len(),
            (None, _) => 0,
        };
        self.from += n_bytes;
        let line = held.get(..n_bytes).unwrap_or(&[]);
        match line.get(..=LONGEST) {
            Some(start) if line.len() > LONGEST + 1 => {
                bytes.extend_from_slice(start);
                bytes.push(b'\n');
            }
            _ => bytes.extend_from_slice(line),
        }
        n_bytes > 0
    }

    /// Reads some more, behind what is held.
    fn read(&mut self) {
        self.held.drain(..self.from);
        self.from = 0;
        let before = self.held.len();
        self.held.resize(before + ASKED, 0);
        let Some(free) = self.held.get_mut(before..) else {
            return;
        };
        let n_bytes = match self.input.read(free) {
            Ok(0) => {
                let is_whole = before == 0;
                self.end = Some(if is_whole {
                    InputEnd::Whole
                } else {
                    InputEnd::WithinLine
                });
                0
            }
            Ok(n_bytes) => n_bytes,
            Err(error) if error.kind() == ErrorKind::Interrupted => 0,
            Err(error) => {
                self.end = Some(InputEnd::Unreadable(error));
                0
            }
        };
        self.pauses = n_bytes < ASKED;
        self.held.truncate(before + n_bytes);
        if self.passes_over {
            let read = self.held.get(before..).unwrap_or(&[]);
            let passed_over = line_end(read).map_or(n_bytes, |end| end - 1);
            self.passes_over = passed_over == n_bytes;
            self.held.drain(before..before + passed_over);
        } else if line_end(&self.held).is_none() && self.held.len() > LONGEST + 1 {
            self.held.truncate(LONGEST + 1);
            self.passes_over = true;
        }
    }
}
