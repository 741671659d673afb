//! One line, walked over once: its reference, and the meaning of each answer.

use std::ops::Range;

use crate::batch::fast::cursor::{Cursor, plain};
use crate::batch::fast::groundwork::{Column, Groundwork, Mark, SectionKeys};
use crate::batch::fast::meanings::{Meaning, Meanings, Part, is_note};
use crate::quantity::when::{When, read_when};
use crate::questionnaire::facts::answers::MOST_ENTRIES;
use crate::questionnaire::frame;
use crate::rule_set::{Answer, Idx, Question, Table};
use crate::truth::FactSlot;

/// Most bytes of a line that is taken.
const LONGEST_TAKEN: usize = 1 << 16;

/// What was read of a line. It is used for one after the other.
#[derive(Debug)]
pub(super) struct OneRecord {
    /// What its answers mean, the clinic's own among them.
    pub(super) meanings: Vec<Idx<Meaning>>,
    /// The marks of tests that look at more than one of them: days as of the procedure, and whole lists.
    pub(super) marks: Vec<Idx<Mark>>,
    /// The meanings that are the entries of one list, which formulas are given whole.
    pub(super) lists: Vec<(Idx<Column>, Range<usize>)>,
    /// The days that are known.
    days: Vec<(FactSlot, When)>,
    /// Whether the key of each question was met, and whether anything is written there.
    seen: Table<Seen, Question>,
    /// For each section the question that was met after each one the last time, the first of these after none: most records
    /// are written in the same order.
    followers: Table<Vec<usize>, SectionKeys>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Seen {
    Not,
    Blank,
    Answered,
}

impl OneRecord {
    /// Nothing yet.
    pub(super) fn new(groundwork: &Groundwork<'_>) -> Self {
        let sections = groundwork.sections.iter();
        Self {
            meanings: Vec::new(),
            marks: Vec::new(),
            lists: Vec::new(),
            days: Vec::new(),
            seen: groundwork.questions.iter().map(|_| Seen::Not).collect(),
            followers: sections
                .map(|section| (0..=section.questions.len()).collect())
                .collect(),
        }
    }

    /// Reads a line, and says what its reference is.
    ///
    /// # Returns
    /// `None` for a line that is not known for certain to be without fault, or that is written in an uncommon way: the
    /// reader of trees judges it.
    pub(super) fn read<'l>(
        &mut self,
        groundwork: &Groundwork<'_>,
        meanings: &mut Meanings,
        line: &'l [u8],
    ) -> Option<&'l str> {
        if line.len() > LONGEST_TAKEN {
            return None;
        }
        self.meanings.clear();
        self.marks.clear();
        self.lists.clear();
        self.days.clear();
        self.seen.iter_mut().for_each(|it| *it = Seen::Not);
        let mut walk = Walk {
            groundwork,
            meanings,
            record: self,
            cursor: Cursor::new(line),
        };
        let reference = walk.line()?;
        for (at, meaning) in &meanings.standing {
            if self.seen[*at] != Seen::Answered {
                self.meanings.push(*meaning);
            }
        }
        self.compare_days(groundwork)?;
        Some(reference)
    }

    /// Holds days against that of the procedure; `None` if any of them is at odds with it.
    fn compare_days(&mut self, groundwork: &Groundwork<'_>) -> Option<()> {
        let procedure = groundwork.rule_set.catalogue.procedure_on;
        let mut days = self.days.iter();
        let Some((_, on)) = days.find(|(slot, _)| Some(*slot) == procedure) else {
            return Some(());
        };
        if on.date < groundwork.as_of {
            return None;
        }
        for (slot, when) in &self.days {
            let own = &groundwork.slots[*slot];
            if own.is_of_the_past && when.is_after(on) {
                return None;
            }
            let tests = own.tests.iter().map(|it| &groundwork.tests[*it]);
            let holds = tests.filter(|test| test.is_age && test.holds_on(on, when));
            self.marks.extend(holds.map(|test| test.yes));
        }
        Some(())
    }
}

/// The way over one line.
struct Walk<'w, 'l, 'a> {
    groundwork: &'w Groundwork<'a>,
    meanings: &'w mut Meanings,
    record: &'w mut OneRecord,
    cursor: Cursor<'l>,
}

impl<'l> Walk<'_, 'l, '_> {
    /// A mapping of which each entry is walked over from its key on.
    fn mapping(&mut self, mut entry: impl FnMut(&mut Self) -> Option<()>) -> Option<()> {
        if !self.cursor.sign(b'{') {
            return None;
        }
        if self.cursor.sign(b'}') {
            return Some(());
        }
        loop {
            entry(self)?;
            if !self.cursor.goes_on(b'}')? {
                return Some(());
            }
        }
    }

    /// The reference of the line, if nothing of it gives cause for a diagnostic.
    fn line(&mut self) -> Option<&'l str> {
        if self.cursor.next() != Some(b'{') {
            return None;
        }
        let mut is_answered = false;
        let (mut version, mut rule_set, mut reference, mut completed_on, mut note) =
            (None, None, None, None, None);
        self.mapping(|walk| {
            let place = match walk.cursor.key()? {
                b"answers" if is_answered => return None,
                b"answers" => {
                    is_answered = true;
                    return walk.sections();
                }
                b"questionnaire" => &mut version,
                b"for" => &mut rule_set,
                b"reference" => &mut reference,
                b"completed_on" => &mut completed_on,
                b"note" => &mut note,
                _ => return None,
            };
            let is_first = place.replace(walk.cursor.value()?).is_none();
            is_first.then_some(())
        })?;
        let (rule_set_id, as_of) = (&self.groundwork.rule_set.id, self.groundwork.as_of);
        let is_day = |text: &str| read_when(text).is_ok_and(|when| when.date <= as_of);
        let written = |text: Option<&'l [u8]>| text.filter(|text| *text != b"null");
        let is_fine = self.cursor.is_at_end()
            && is_answered
            && version? == b"1"
            && written(rule_set).is_none_or(|text| plain(text) == Some(rule_set_id))
            && written(completed_on)
                .is_none_or(|text| plain(text).is_some_and(|day| day == "unknown" || is_day(day)))
            && note.is_none_or(is_note);
        plain(reference?).filter(|it| is_fine && frame::is_reference(it))
    }

    fn sections(&mut self) -> Option<()> {
        if self.cursor.passes(b"null") {
            return Some(());
        }
        let (mut next, mut met) = (0, 0_u64);
        self.mapping(|walk| {
            let sections = &walk.groundwork.sections;
            let guess = sections.entries().nth(next);
            let at = match guess {
                Some((at, section)) if walk.cursor.passes(&section.written) => {
                    walk.cursor.space();
                    at
                }
                _ => *walk.groundwork.section_at.get(walk.cursor.key()?)?,
            };
            // More sections than bits are nobody's.
            let bit = 1_u64.checked_shl(u32::try_from(at.index()).ok()?)?;
            if met & bit != 0 {
                return None;
            }
            (next, met) = (at.index() + 1, met | bit);
            walk.section(at)
        })
    }

    fn section(&mut self, section: Idx<SectionKeys>) -> Option<()> {
        if self.cursor.passes(b"null") {
            return Some(());
        }
        let (mut before, mut is_noted) = (0, false);
        self.mapping(|walk| {
            let keys = &walk.groundwork.sections[section];
            let guess = *walk.record.followers[section].get(before)?;
            let at = match keys.questions.get(guess) {
                Some((_, written)) if walk.cursor.passes(written) => {
                    walk.cursor.space();
                    guess
                }
                _ => match walk.cursor.key()? {
                    b"note" if is_noted => return None,
                    b"note" => {
                        is_noted = true;
                        return is_note(walk.cursor.value()?).then_some(());
                    }
                    key => *keys.question_at.get(key)?,
                },
            };
            *walk.record.followers[section].get_mut(before)? = at;
            before = at + 1;
            walk.answer(keys.questions.get(at)?.0)
        })
    }

    fn answer(&mut self, at: Idx<Question>) -> Option<()> {
        if self.record.seen[at] != Seen::Not {
            return None;
        }
        if self.cursor.passes(b"null") {
            self.record.seen[at] = Seen::Blank;
            return Some(());
        }
        self.record.seen[at] = Seen::Answered;
        let question = &self.groundwork.rule_set.catalogue.questions[at];
        if !question.dated {
            return match question.answer {
                Answer::Medicines | Answer::Allergies => self.list(at),
                _ => self.text(at, Part::Whole),
            };
        }
        if self.cursor.next() != Some(b'{') {
            return self.text(at, Part::Whole);
        }
        let mut met = [false; 2];
        self.mapping(|walk| {
            let [value, day] = &mut met;
            let (is_met, part) = match walk.cursor.key()? {
                b"value" => (value, Part::Value),
                b"taken_on" => (day, Part::Day),
                _ => return None,
            };
            if std::mem::replace(is_met, true) {
                return None;
            }
            walk.text(at, part)
        })?;
        (met == [true; 2]).then_some(())
    }

    fn text(&mut self, at: Idx<Question>, part: Part) -> Option<()> {
        let meaning = self
            .meanings
            .of_next(self.groundwork, at, part, &mut self.cursor)?;
        let meant = &self.meanings.all[meaning];
        self.record
            .days
            .extend(meant.when.map(|when| (meant.slot, when)));
        self.record.meanings.push(meaning);
        Some(())
    }

    /// A list of names is what its entries are: each is understood by itself. One without entries has a meaning of its own.
    fn list(&mut self, at: Idx<Question>) -> Option<()> {
        let mut ahead = self.cursor;
        if !ahead.sign(b'[') || ahead.next() == Some(b']') {
            return self.text(at, Part::Whole);
        }
        self.cursor = ahead;
        let from = self.record.meanings.len();
        loop {
            self.text(at, Part::Entry)?;
            if !self.cursor.goes_on(b']')? {
                break;
            }
        }
        let entries = self.record.meanings.get(from..)?;
        if entries.len() > MOST_ENTRIES {
            return None;
        }
        let entries = entries.iter().map(|at| self.meanings.all[*at].value());
        if !entries.clone().all(|value| value.is_some()) {
            return None;
        }
        let own = &self.groundwork.slots[self.groundwork.rule_set.catalogue.questions[at].slot];
        for test in own.several.iter().map(|it| &self.groundwork.tests[*it]) {
            let mark = test.mark_of_several(entries.clone().flatten());
            self.record.marks.extend(mark);
        }
        let whole = |column| (column, from..self.record.meanings.len());
        self.record.lists.extend(own.column.map(whole));
        Some(())
    }
}
