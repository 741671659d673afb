//! A sheet: text of cells, a row after the other, taken apart in memory that does not grow with what is read.
//!
//! Cells and rows end where `csv_core` says. It is told where each one began, so that every cell keeps its place; and since it
//! takes a quote wherever it stands, which other programs read in other ways, a cell is refused unless it is written in the one
//! way that all agree on: without any quote, or in quotes with each one inside doubled (RFC 4180, 2005, section 2).

use std::io::{self, BufRead, ErrorKind};
use std::ops::Range;
use std::sync::Arc;

use csv_core::{ReadFieldResult, Reader, ReaderBuilder, Terminator};

use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::source::{Placed, Source};
use crate::document::text::odd_characters;

/// Most bytes of a row that are kept. INVARIANT: of a row with more there is one more than that, so that whoever reads it
/// refuses it for its size.
const LONGEST: usize = 1 << 20;

/// May stand before everything, and says no more than that it is UTF-8.
const MARK: &[u8] = "\u{feff}".as_bytes();

/// One row as it stands in a sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SheetRow<'a> {
    /// Where it stands.
    pub at: RowPlace,
    /// Its bytes, without the end of its last line.
    pub bytes: &'a [u8],
}

/// Where a row stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RowPlace {
    /// Its number as a spreadsheet counts, from 1, blank ones among them.
    pub number: usize,
    /// The line on which it begins, from 1. A cell may have several lines.
    pub line: usize,
}

/// One cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetCell {
    /// Its bytes in the row, quotes among them.
    pub span: Range<usize>,
    /// What it says, without white space around it.
    pub text: String,
}

impl Placed for SheetCell {
    fn place(&self) -> &Range<usize> {
        &self.span
    }
}

/// Reads rows.
#[derive(Debug)]
pub struct Rows<R> {
    input: R,
    reader: Reader,
    /// Where the reader unfolds cells that nobody looks at here.
    scratch: Vec<u8>,
    next: RowPlace,
    separator: u8,
}

fn reader(separator: u8) -> Reader {
    // A carriage return is no end by itself: it stays in the last cell, and is taken off or told there.
    ReaderBuilder::new()
        .delimiter(separator)
        .terminator(Terminator::Any(b'\n'))
        .build()
}

impl<R: BufRead> Rows<R> {
    /// Reads rows of cells with this character between them.
    pub fn new(input: R, separator: u8) -> Self {
        Self {
            input,
            reader: reader(separator),
            scratch: vec![0; 1 << 12],
            next: RowPlace { number: 1, line: 1 },
            separator,
        }
    }

    /// Appends the next row that has something in a cell; `None` after the last one.
    ///
    /// # Errors
    /// The input cannot be read.
    pub fn next_row(&mut self, bytes: &mut Vec<u8>) -> io::Result<Option<RowPlace>> {
        let before = bytes.len();
        while let Some(n_lines) = self.take_row(bytes)? {
            if self.next.line == 1 && bytes.get(before..).is_some_and(|it| it.starts_with(MARK)) {
                bytes.drain(before..before + MARK.len());
            }
            let row = bytes.get(before..).unwrap_or(&[]);
            // Rows without a single byte were passed over by the reader.
            let n_blank = row.iter().take_while(|it| **it == b'\n').count();
            let at = RowPlace {
                number: self.next.number + n_blank,
                line: self.next.line + n_blank,
            };
            self.next = RowPlace {
                number: at.number + 1,
                line: self.next.line + n_lines,
            };
            let says_something =
                |byte: &u8| !b" \t\r\n\"".contains(byte) && *byte != self.separator;
            if !row.iter().any(says_something) {
                bytes.truncate(before);
                continue;
            }
            bytes.drain(before..before + n_blank);
            for end in [b'\n', b'\r'] {
                if bytes.ends_with(&[end]) {
                    bytes.pop();
                }
            }
            return Ok(Some(at));
        }
        Ok(None)
    }

    /// Appends the bytes of the next row.
    ///
    /// # Returns
    /// How many lines end in it; `None` if there is none.
    fn take_row(&mut self, bytes: &mut Vec<u8>) -> io::Result<Option<usize>> {
        let most = bytes.len() + LONGEST + 1;
        let mut n_lines = 0;
        loop {
            let input = match self.input.fill_buf() {
                Ok(input) => input,
                Err(error) if error.kind() == ErrorKind::Interrupted => continue,
                Err(error) => return Err(error),
            };
            let (result, n_bytes, _) = self.reader.read_field(input, &mut self.scratch);
            let taken = input.get(..n_bytes).unwrap_or(input);
            n_lines += taken.iter().filter(|it| **it == b'\n').count();
            let kept = taken.len().min(most.saturating_sub(bytes.len()));
            bytes.extend_from_slice(taken.get(..kept).unwrap_or(taken));
            self.input.consume(n_bytes);
            match result {
                ReadFieldResult::Field { record_end: true } => return Ok(Some(n_lines)),
                ReadFieldResult::End => return Ok(None),
                ReadFieldResult::Field { record_end: false }
                | ReadFieldResult::InputEmpty
                | ReadFieldResult::OutputFull => {}
            }
        }
    }
}

impl SheetRow<'_> {
    /// Its text, as one to be shown, and its cells.
    ///
    /// # Errors
    /// Everything that keeps it from being read.
    pub fn cells(
        &self,
        name: &str,
        separator: u8,
    ) -> Result<(Arc<Source>, Vec<SheetCell>), Vec<Diagnostic>> {
        let RowPlace { number, line } = self.at;
        if self.bytes.len() > LONGEST {
            let title = format!(
                "row {number} of `{name}` is larger than {} MiB",
                LONGEST >> 20
            );
            let help = format!(
                "it begins on line {line}; look there for a quote that opens a cell and never closes it"
            );
            return Err(vec![Diagnostic::bare(Code::TooLarge, title).help(help)]);
        }
        let text = match std::str::from_utf8(self.bytes) {
            Ok(text) => text,
            Err(error) => {
                let at = error.valid_up_to() + 1;
                let title = format!(
                    "row {number} of `{name}` is not UTF-8 text (line {line}, byte {at} of the row)"
                );
                let help = "save the sheet again with the encoding UTF-8";
                return Err(vec![Diagnostic::bare(Code::NotUtf8, title).help(help)]);
            }
        };
        let source = Arc::new(Source::row(name, text, line));
        let odd = odd_characters(&source);
        if !odd.is_empty() {
            return Err(odd);
        }
        let cells = taken_apart(text, separator);
        let slips = cells
            .iter()
            .filter(|it| !is_well_quoted(source.slice(&it.span)));
        let found: Vec<Diagnostic> = slips
            .map(|cell| {
                let title = format!("a quote stands where it cannot, in row {number}");
                let help = "a cell with a quote in it stands in quotes, with each quote inside doubled: `\"5\"\" wide\"`";
                Diagnostic::at(Code::Quotes, &source, &cell.span, title, "not read").help(help)
            })
            .collect();
        if found.is_empty() {
            Ok((source, cells))
        } else {
            Err(found)
        }
    }
}

/// The cells of the text of a row.
pub(crate) fn taken_apart(text: &str, separator: u8) -> Vec<SheetCell> {
    let mut reader = reader(separator);
    let mut unfolded = vec![0; text.len() + 1];
    let (mut read, mut begun, mut n_unfolded) = (0, 0, 0);
    let mut cells = Vec::new();
    loop {
        let input = text.as_bytes().get(read..).unwrap_or(&[]);
        let room = unfolded.get_mut(n_unfolded..).unwrap_or(&mut []);
        let (result, n_read, n_written) = reader.read_field(input, room);
        read += n_read;
        n_unfolded += n_written;
        let (end, is_last) = match result {
            ReadFieldResult::Field { record_end: true } => (read, true),
            ReadFieldResult::Field { record_end: false } => (read - 1, false),
            // There is room for everything.
            ReadFieldResult::InputEmpty => continue,
            ReadFieldResult::OutputFull | ReadFieldResult::End => return cells,
        };
        let said = unfolded.get(..n_unfolded).unwrap_or(&[]);
        cells.push(SheetCell {
            span: begun..end,
            text: String::from_utf8_lossy(said).trim().to_owned(),
        });
        (begun, n_unfolded) = (read, 0);
        if is_last {
            return cells;
        }
    }
}

/// Whether every program that reads sheets takes a cell for the same.
fn is_well_quoted(written: &str) -> bool {
    match written.strip_prefix('"') {
        None => !written.contains('"'),
        Some(rest) => rest
            .strip_suffix('"')
            .is_some_and(|inner| !inner.replace("\"\"", "").contains('"')),
    }
}
