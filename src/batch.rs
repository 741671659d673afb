//! Many referrals at once: a questionnaire on each line, and exactly one line of answer for each, in the same order.
//!
//! `lines` cuts what is read into blocks of whole lines, `stream` has threads answer them and hands the answers on in order,
//! `fast` screens what it knows for certain without a tree, `write` puts one answer into one line, `counts` adds up what came
//! out, `compare` has two rule sets answer at once, `generate` invents lines to try it with. Nothing here knows a file, a clock
//! or a terminal: what is read, and what becomes of the answers, comes from the caller.
//!
//! A refused line is answered, too, by a line that says why. Lines with the same reference are not looked for: whatever is
//! kept of a line is gone once it is written, so that memory does not grow with their number.

use std::sync::Mutex;

use crate::batch::counts::Counts;
use crate::batch::fast::{Fast, Memory, Room};
use crate::batch::lines::{Block, Lines};
use crate::batch::write::{LineWriter, RulesAt};
use crate::document::diagnostic::{Code, Diagnostic};
use crate::questionnaire::facts;
use crate::questionnaire::facts::{Facts, Gathered};
use crate::questionnaire::sheet::Heading;
use crate::screening::result::Refusal;
use crate::screening::screener::{Referral, Screener};

pub mod compare;
pub mod counts;
pub mod fast;
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
    /// Somebody of whom nothing is known.
    nobody: Facts,
    fast: Option<Fast<'a>>,
    room: Room,
    /// What threads remember that are not at work.
    memories: Mutex<Vec<Memory>>,
}

impl<'a> BatchScreener<'a> {
    /// Screens as `screener` does, and says so much of each referral.
    pub fn new(screener: &'a Screener<'a>, detail: Detail) -> Self {
        Self {
            screener,
            detail,
            writer: LineWriter::new(screener.rule_set()),
            nobody: facts::read(screener.rule_set(), &Gathered::default(), screener.as_of()).0,
            fast: Fast::new(screener).filter(|_| detail != Detail::Full),
            room: Room::USUAL,
            memories: Mutex::default(),
        }
    }

    /// Reads every line as a tree, as the fast way must come to.
    pub fn by_trees(self) -> Self {
        Self { fast: None, ..self }
    }

    /// Has each thread remember no more than there is room for.
    pub fn remembering(self, room: Room) -> Self {
        Self { room, ..self }
    }

    /// Appends one line for each line of a block, in their order.
    ///
    /// # Returns
    /// What was answered, counted.
    pub fn block(&self, lines: Lines<'_>, out: &mut Vec<u8>) -> Counts {
        let mut counts = Counts::new(self.screener.rule_set());
        let kept = self.memories.lock().ok().and_then(|mut it| it.pop());
        let memory = || self.fast.as_ref()?.memory(self.room);
        let (Some(fast), Some(mut memory)) = (&self.fast, kept.or_else(memory)) else {
            lines.for_each(|(number, line)| self.line(number, line, out, &mut counts));
            return counts;
        };
        let lines: Vec<(u64, &[u8])> = lines.collect();
        for some in lines.chunks(Fast::MOST) {
            let texts = some.iter().map(|(_, line)| *line);
            let references = fast.screen(&mut memory, texts, self.writer.order());
            for (lane, ((number, line), reference)) in some.iter().zip(references).enumerate() {
                let is_answered = reference.is_some_and(|reference| {
                    self.fast_line(fast, &memory, lane, (*number, reference), out, &mut counts)
                });
                if !is_answered {
                    self.line(*number, line, out, &mut counts);
                }
            }
        }
        if let Ok(mut memories) = self.memories.lock() {
            memories.push(memory);
        }
        counts
    }

    /// Appends one line for each row of a block of a sheet, in their order.
    ///
    /// # Returns
    /// What was answered, counted.
    pub fn rows(&self, heading: &Heading<'_>, block: &Block, out: &mut Vec<u8>) -> Counts {
        let mut counts = Counts::new(self.screener.rule_set());
        for row in block.rows() {
            let number = row.at.number as u64;
            match self.screener.read_row(heading, &row) {
                Err(refusal) => {
                    counts.refused(&refusal);
                    write::refused_row(number, &refusal, out);
                }
                Ok(referral) => self.referral(number, &referral, out, &mut counts),
            }
        }
        counts
    }

    /// Answers one line that was screened without a tree; false if that cannot say all that is to be said.
    fn fast_line(
        &self,
        fast: &Fast<'_>,
        memory: &Memory,
        lane: usize,
        (number, reference): (u64, &str),
        out: &mut Vec<u8>,
        counts: &mut Counts,
    ) -> bool {
        let Some(rules) = memory.rules(lane) else {
            return false;
        };
        if self.detail == Detail::Findings {
            let named = self.writer.named(rules);
            let facts =
                named.map(|slots| fast.facts(memory, lane, &self.nobody, slots.into_iter()));
            let facts = facts.as_deref().unwrap_or(&self.nobody);
            self.writer.findings(number, reference, rules, facts, out);
        } else {
            self.writer.verdict(number, reference, rules, out);
        }
        self.count(rules, counts);
        true
    }

    /// Answers one line, by reading its tree. INVARIANT: this is what every faster way must come to, byte for byte.
    fn line(&self, number: u64, line: &[u8], out: &mut Vec<u8>, counts: &mut Counts) {
        match read(self.screener, number, line, self.detail == Detail::Full) {
            Err(refusal) => {
                counts.refused(&refusal);
                write::refused(number, &refusal, out);
            }
            Ok(referral) => self.referral(number, &referral, out, counts),
        }
    }

    fn referral(&self, number: u64, referral: &Referral, out: &mut Vec<u8>, counts: &mut Counts) {
        let (reference, facts) = (&referral.reference, &referral.facts);
        let rules = self.writer.rules_at(&self.screener.states(facts));
        self.count(&rules, counts);
        match self.detail {
            Detail::Verdict => self.writer.verdict(number, reference, &rules, out),
            Detail::Findings => self.writer.findings(number, reference, &rules, facts, out),
            Detail::Full => write::full(&self.screener.screening(referral), out),
        }
    }

    fn count(&self, rules: &RulesAt, counts: &mut Counts) {
        let (fires, waits) = (
            self.writer.rules(&rules.fires),
            self.writer.rules(&rules.waits),
        );
        counts.answered(self.writer.span(rules).verdict(), fires, waits);
    }
}

/// Reads one line as a questionnaire. Only whole screenings tell which known name is near one that is not recognised.
///
/// A carriage return is white space in JSON, and the end of a line to some programs that cut files into parts: with one
/// inside, or before the line end, the lines of such a part are no longer ours.
fn read(
    screener: &Screener<'_>,
    number: u64,
    line: &[u8],
    suggests: bool,
) -> Result<Referral, Refusal> {
    let name = format!("line {number}");
    if !line.contains(&b'\r') {
        return screener.read_record(&name, line, suggests);
    }
    let title = "a carriage return stands in the line";
    let help = "end each line with a line feed alone, and write no carriage return within it";
    let problem = Diagnostic::bare(Code::OddCharacter, title).help(help);
    Err(Refusal::of_file(name, vec![problem]))
}
