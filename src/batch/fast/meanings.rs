//! What the texts of answers mean, each understood once by the reader of answers and remembered.
//!
//! What an answer means depends on its question, its text, the day and the clinic, and on nothing else of the record. So nothing
//! is understood here: a text that was not met before is given to `facts::answers` as a questionnaire's would be. One about
//! which that has anything to say is remembered as such, and whoever meets it leaves the record to the reader of trees.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};
use std::sync::Arc;

use crate::batch::fast::cursor;
use crate::batch::fast::cursor::Cursor;
use crate::batch::fast::groundwork::{Groundwork, Mark};
use crate::document::source::{MapEntry, Node, NodeKind, Source};
use crate::quantity::when::When;
use crate::questionnaire::facts::answers;
use crate::questionnaire::facts::{
    AllergyEntry, Fact, Given, Known, MedicineEntry, Value, joined_or_none,
};
use crate::questionnaire::frame;
use crate::rule_set::{Idx, Question, Table};
use crate::truth::FactSlot;

/// Longest text that is remembered. A record with a longer one is left to the reader of trees.
const LONGEST: usize = 4096;
/// Name of the files that texts are read as; nobody sees it.
const NAME: &str = "answer.json";

/// What may be remembered: texts, and bytes of texts. With either full, all is forgotten.
#[derive(Debug, Clone, Copy)]
pub struct Room {
    /// Most texts.
    pub n_texts: usize,
    /// Most bytes of them.
    pub n_bytes: usize,
}

impl Room {
    /// None at all.
    const NONE: Self = Self {
        n_texts: 0,
        n_bytes: 0,
    };

    /// A text with what it means takes about a kilobyte, so that a thread remembers some ten megabytes.
    pub const USUAL: Self = Self {
        n_texts: 1 << 13,
        n_bytes: 1 << 20,
    };
}

/// Which part of an answer a text is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Part {
    /// The whole of it.
    Whole,
    /// The value of a dated one.
    Value,
    /// The day of a dated one.
    Day,
    /// One entry of a list of names.
    Entry,
}

/// What a text means.
#[derive(Debug)]
pub(super) struct Meaning {
    /// The fact that it is about.
    pub(super) slot: FactSlot,
    /// The fact, if it is known by it.
    pub(super) fact: Option<Arc<Fact>>,
    /// The day, if it is one.
    pub(super) when: Option<When>,
    /// What a record is marked with that has a text of this meaning.
    pub(super) marks: Vec<Idx<Mark>>,
}

impl Meaning {
    /// The value, if it is known.
    pub(super) fn value(&self) -> Option<&Value> {
        match self.fact.as_deref()? {
            Fact::Known(known) => Some(&known.value),
            Fact::Missing(_) => None,
        }
    }
}

/// The texts of one part of the answers to a question.
#[derive(Debug, Default)]
struct Texts {
    /// The meaning of each text; `None` where somebody else must look at it.
    all: HashMap<Box<[u8]>, Option<Idx<Meaning>>, BuildHasherDefault<TextHasher>>,
    /// The two that were met last, the very last one first: most answers to a question are one of two.
    recent: [Recent; 2],
}

/// A text that was met, or none.
#[derive(Debug, Default)]
struct Recent {
    text: Vec<u8>,
    meaning: Option<Idx<Meaning>>,
}

/// All that is remembered.
#[derive(Debug)]
pub(super) struct Meanings {
    /// The texts of each part of the answers to a question.
    texts: Table<[Texts; 4], Question>,
    /// INVARIANT: nobody keeps a position in it when all is forgotten.
    pub(super) all: Table<Meaning>,
    /// What the clinic answers for everybody.
    pub(super) standing: Vec<(Idx<Question>, Idx<Meaning>)>,
    room: Room,
    /// What of it is taken.
    taken: Room,
}

impl Meanings {
    /// Nothing but what the clinic answers for everybody.
    ///
    /// # Returns
    /// `None` if that holds a day, which could lie after the procedure.
    pub(super) fn new(groundwork: &Groundwork<'_>, room: Room) -> Option<Self> {
        let questions = groundwork.questions.iter();
        let mut meanings = Self {
            texts: questions.map(|_| Default::default()).collect(),
            all: Table::default(),
            standing: Vec::new(),
            room,
            taken: Room::NONE,
        };
        meanings.learn_standing(groundwork);
        let is_day = |(_, meaning): &(Idx<Question>, Idx<Meaning>)| {
            let question = meanings.all[*meaning].slot;
            meanings.all[*meaning].when.is_some()
                || groundwork
                    .rule_set
                    .catalogue
                    .question_of(question)
                    .is_some_and(|it| it.dated)
        };
        (!meanings.standing.iter().any(is_day)).then_some(meanings)
    }

    fn learn_standing(&mut self, groundwork: &Groundwork<'_>) {
        for (at, given) in &groundwork.standing.given {
            let question = &groundwork.rule_set.catalogue.questions[*at];
            // The clinic's file was read already, and nothing was wrong with it.
            let (fact, _) = answers::one(
                groundwork.rule_set,
                question,
                given,
                groundwork.as_of,
                &mut Vec::new(),
            );
            let standing = groundwork.questions[*at].standing;
            let meaning = self.add(groundwork, question.slot, fact, Some(standing));
            self.standing.push((*at, meaning));
        }
    }

    /// Forgets everything, if there is no room for more, and says so: all positions from before are then worth nothing.
    pub(super) fn make_room(&mut self, groundwork: &Groundwork<'_>) -> bool {
        let is_full =
            self.taken.n_texts >= self.room.n_texts || self.taken.n_bytes >= self.room.n_bytes;
        if is_full {
            for texts in self.texts.iter_mut().flatten() {
                texts.all.clear();
                texts.recent = Default::default();
            }
            self.all = Table::default();
            self.standing.clear();
            self.taken = Room::NONE;
            self.learn_standing(groundwork);
        }
        is_full
    }

    /// The meaning of the text that comes next, which is passed over; `None` if somebody else must look at it.
    pub(super) fn of_next(
        &mut self,
        groundwork: &Groundwork<'_>,
        at: Idx<Question>,
        part: Part,
        cursor: &mut Cursor<'_>,
    ) -> Option<Idx<Meaning>> {
        let texts = self.texts(at, part);
        let [last, before] = &mut texts.recent;
        if cursor.passes_value(&last.text) {
            return last.meaning;
        }
        std::mem::swap(last, before);
        if cursor.passes_value(&last.text) {
            return last.meaning;
        }
        let text = cursor.value()?;
        let meaning = match texts.all.get(text) {
            Some(meaning) => (*meaning)?,
            None if text.len() > LONGEST => return None,
            None => {
                let meaning = self.learn(groundwork, at, part, text);
                self.taken.n_texts += 1;
                self.taken.n_bytes += text.len();
                self.texts(at, part).all.insert(text.into(), meaning);
                meaning?
            }
        };
        let [last, _] = &mut self.texts(at, part).recent;
        last.text.clear();
        last.text.extend_from_slice(text);
        last.meaning = Some(meaning);
        Some(meaning)
    }

    /// What is known by some meanings of one fact: the entries of a list are one list.
    ///
    /// # Returns
    /// `None` if nothing is.
    pub(super) fn fact<'m>(
        &self,
        mut meanings: impl Iterator<Item = &'m Meaning> + Clone,
    ) -> Option<Arc<Fact>> {
        let first = meanings.clone().next()?.fact.clone()?;
        if meanings.clone().nth(1).is_none() {
            return Some(first);
        }
        let (mut medicines, mut allergies) = (Vec::new(), Vec::new());
        let is_joined = meanings.all(|meaning| match meaning.value() {
            Some(Value::Medicines(entries)) => {
                medicines.extend_from_slice(entries);
                true
            }
            Some(Value::Allergies(entries)) => {
                allergies.extend_from_slice(entries);
                true
            }
            _ => false,
        });
        let (shown, value) = if allergies.is_empty() {
            let shown = joined_or_none(medicines.iter().map(MedicineEntry::shown), ", ");
            (shown, Value::Medicines(medicines))
        } else {
            let shown = joined_or_none(allergies.iter().map(AllergyEntry::shown), ", ");
            (shown, Value::Allergies(allergies))
        };
        let place = None;
        let known = Known {
            value,
            shown,
            place,
        };
        is_joined.then(|| Arc::new(Fact::Known(known)))
    }

    fn texts(&mut self, at: Idx<Question>, part: Part) -> &mut Texts {
        let [whole, value, day, entry] = &mut self.texts[at];
        match part {
            Part::Whole => whole,
            Part::Value => value,
            Part::Day => day,
            Part::Entry => entry,
        }
    }

    fn learn(
        &mut self,
        groundwork: &Groundwork<'_>,
        at: Idx<Question>,
        part: Part,
        text: &[u8],
    ) -> Option<Idx<Meaning>> {
        let question = &groundwork.rule_set.catalogue.questions[at];
        let (slot, fact) = understood(groundwork, question, part, text)?;
        Some(self.add(groundwork, slot, fact, None))
    }

    fn add(
        &mut self,
        groundwork: &Groundwork<'_>,
        slot: FactSlot,
        fact: Fact,
        also: Option<Idx<Mark>>,
    ) -> Idx<Meaning> {
        let mut marks = Vec::from_iter(also);
        let (mut when, mut kept) = (None, None);
        if let Fact::Known(known) = fact {
            marks.extend(groundwork.marks_of(slot, &known.value));
            if let Value::Date(it) = known.value {
                when = Some(it);
            }
            // Where it stood when it was met first says nothing of anybody who wrote the same.
            let place = None;
            kept = Some(Arc::new(Fact::Known(Known { place, ..known })));
        }
        self.all.push(Meaning {
            slot,
            fact: kept,
            when,
            marks,
        })
    }
}

/// A text as the reader of answers takes it; `None` if there is anything to say about it.
fn understood(
    groundwork: &Groundwork<'_>,
    question: &Question,
    part: Part,
    text: &[u8],
) -> Option<(FactSlot, Fact)> {
    let (source, node) = tree(text)?;
    let missing = Node {
        span: node.span.clone(),
        kind: NodeKind::Text("unknown".to_owned()),
    };
    let dated = |value: Node, taken_on: Node| {
        NodeKind::Map(vec![entry("value", value), entry("taken_on", taken_on)])
    };
    let span = node.span.clone();
    let kind = match part {
        Part::Whole => node.kind,
        Part::Value => dated(node, missing),
        Part::Day => dated(missing, node),
        Part::Entry => NodeKind::List(vec![node]),
    };
    let given = Given {
        source,
        key_span: 0..0,
        node: Node { span, kind },
        standing: false,
    };
    let mut found = Vec::new();
    let (fact, day) = answers::one(
        groundwork.rule_set,
        question,
        &given,
        groundwork.as_of,
        &mut found,
    );
    if !found.is_empty() {
        return None;
    }
    match (part, day) {
        (Part::Day, day) => Some((question.date_slot?, day?)),
        // No text that is the whole of a dated answer says more than that it is missing.
        (Part::Whole, Some(Fact::Known(_))) => None,
        _ => Some((question.slot, fact)),
    }
}

fn entry(key: &str, value: Node) -> MapEntry {
    MapEntry {
        key: key.to_owned(),
        key_span: 0..0,
        value,
    }
}

/// The tree of a text by itself, as it would stand in a questionnaire's; `None` if there is anything to say about it.
fn tree(bytes: &[u8]) -> Option<(Arc<Source>, Node)> {
    if let Some(plain) = cursor::plain(bytes) {
        let source = Source::new(NAME, std::str::from_utf8(bytes).ok()?);
        let node = Node {
            span: 0..bytes.len(),
            kind: NodeKind::Text(plain.to_owned()),
        };
        return Some((Arc::new(source), node));
    }
    let read = frame::tree(NAME, bytes);
    let (Some(source), Some(root), []) = (read.source, read.root, read.diagnostics.as_slice())
    else {
        return None;
    };
    Some((source, Arc::unwrap_or_clone(root)))
}

/// Whether a text is one that every reader takes for a text, so that a note may be made of it.
pub(super) fn is_note(text: &[u8]) -> bool {
    cursor::plain(text).is_some()
        || tree(text)
            .is_some_and(|(_, node)| !matches!(node.kind, NodeKind::List(_) | NodeKind::Map(_)))
}

/// Hashes short texts fast. What is remembered is bounded, and so is what texts that are chosen to collide can cost.
#[derive(Debug, Default)]
pub(super) struct TextHasher(u64);

impl TextHasher {
    fn word(&mut self, word: u64) {
        let product = u128::from(self.0 ^ word) * u128::from(0x9e37_79b9_7f4a_7c15_u64);
        self.0 = (product >> 64) as u64 ^ product as u64;
    }
}

impl Hasher for TextHasher {
    fn write(&mut self, bytes: &[u8]) {
        let (words, rest) = bytes.as_chunks::<8>();
        words
            .iter()
            .for_each(|word| self.word(u64::from_le_bytes(*word)));
        let mut last = [0; 8];
        last.iter_mut().zip(rest).for_each(|(to, from)| *to = *from);
        self.word(u64::from_le_bytes(last));
    }

    fn write_usize(&mut self, number: usize) {
        self.0 ^= number as u64;
    }

    fn finish(&self) -> u64 {
        self.0
    }
}
