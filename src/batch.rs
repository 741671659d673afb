//! Many referrals at once: a questionnaire on each line, and exactly one line of answer for each, in the same order.
//!
//! `lines` cuts what is read into blocks of whole lines, `stream` has threads answer them and hands the answers on in order,
//! `write` puts one answer into one line, `counts` adds up what came out, `compare` has two rule sets
//! answer at once, `generate` invents lines to try it with. Nothing here knows a file, a clock or a terminal: what
//! is read, and what becomes of the answers, comes from the caller.
//!
//! A refused line is answered, too, by a line that says why. Lines with the same reference are not looked for: whatever is
//! kept of a line is gone once it is written, so that memory does not grow with their number.

use crate::batch::counts::Counts;
use crate::batch::lines::Lines;
use crate::batch::write::LineWriter;
use crate::document::diagnostic::{Code, Diagnostic};
use crate::screening::evaluate;
use crate::screening::result::Refusal;
use crate::screening::screener::{Referral, Screener};

pub mod compare;
pub mod counts;
pub mod generate;
pub mod lines;
pub mod stream;
pub mod write;

/// How much is said of each referral.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Detail {
    /// The verdict, what it could be, and the rules that fire and wait.
    Verdict,
    /// Also reasons, actions and citations.
    Findings,
    /// The whole screening.
    Full,
}

impl Detail {
    /// Lines to a block that are worth handing to a thread. Whole screenings are long, and take long.
    pub fn lines_a_block(self) -> usize {
        match self {
            Self::Verdict | Self::Findings => 256,
            Self::Full => 16,
        }
    }
}

/// Answers blocks of lines. Threads share it.
#[derive(Debug)]
pub struct BatchScreener<'a> {
    screener: &'a Screener<'a>,
    detail: Detail,
    writer: LineWriter<'a>,
}

impl<'a> BatchScreener<'a> {
    /// Screens as `screener` does, and says so much of each referral.
    pub fn new(screener: &'a Screener<'a>, detail: Detail) -> Self {
        Self {
            screener,
            detail,
            writer: LineWriter::new(screener.rule_set()),
        }
    }

    /// Appends one line for each line of a block, in their order.
    ///
    /// # Returns
    /// What was answered, counted.
    pub fn block(&self, lines: Lines<'_>, out: &mut Vec<u8>) -> Counts {
        let mut counts = Counts::new(self.screener.rule_set());
        for (number, line) in lines {
            self.line(number, line, out, &mut counts);
        }
        counts
    }

    /// Answers one line, by reading its tree. INVARIANT: this is what every faster way must come to, byte for byte.
    fn line(&self, number: u64, line: &[u8], out: &mut Vec<u8>, counts: &mut Counts) {
        match read(self.screener, number, line) {
            Err(refusal) => {
                counts.refused(&refusal);
                write::refused(number, &refusal, out);
            }
            Ok(referral) => {
                let states = self.screener.states(&referral.facts);
                let span = evaluate::span(self.screener.rule_set(), &states);
                let state = |rule| states[rule];
                counts.answered(span.verdict(), &state);
                match self.detail {
                    Detail::Verdict => {
                        self.writer
                            .verdict(number, &referral.reference, span, state, out);
                    }
                    Detail::Findings => self.writer.findings(
                        number,
                        &referral.reference,
                        span,
                        state,
                        &referral.facts,
                        out,
                    ),
                    Detail::Full => write::full(&self.screener.screening(&referral), out),
                }
            }
        }
    }
}

/// Reads one line as a questionnaire.
///
/// A carriage return is white space in JSON, and the end of a line to some programs that cut files into parts: with one
/// inside, or before the line end, the lines of such a part are no longer ours.
fn read(screener: &Screener<'_>, number: u64, line: &[u8]) -> Result<Referral, Refusal> {
    let name = format!("line {number}");
    if !line.contains(&b'\r') {
        return screener.read_record(&name, line);
    }
    let title = "a carriage return stands in the line";
    let help = "end each line with a line feed alone, and write no carriage return within it";
    Err(Refusal {
        reference: None,
        path: name,
        notices: Vec::new(),
        problems: vec![Diagnostic::bare(Code::OddCharacter, title).help(help)],
    })
}
