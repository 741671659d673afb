//! Many records at once, without their trees.
//!
//! Nothing is meant a second time here. `meanings` remembers what each text of an answer means, as the reader of answers
//! understood it the first time it was met; `record` walks over a line and looks the texts up; `block` settles up to 256
//! records at once by the conditions and formulas of the rule set, a bit a record. Whatever is not known for certain to be
//! without fault goes to the reader of trees, whole: it is the judge, and a test holds the two equal, byte for byte.

use crate::batch::fast::block::Settled;
use crate::batch::fast::groundwork::Groundwork;
use crate::batch::fast::meanings::{Meaning, Meanings};
use crate::batch::fast::record::OneRecord;
use crate::batch::write::RulesAt;
use crate::questionnaire::facts::{Facts, Trial};
use crate::rule_set::{Conflict, Idx, Rule};
use crate::screening::screener::Screener;
use crate::truth::FactSlot;

mod block;
mod cursor;
mod groundwork;
mod lanes;
mod meanings;
mod record;

pub use crate::batch::fast::meanings::Room;

/// What is the same for all threads.
#[derive(Debug)]
pub struct Fast<'a>(Groundwork<'a>);

impl<'a> Fast<'a> {
    /// Most records of one block.
    pub const MOST: usize = lanes::N_LANES;

    /// For what a screener screens.
    ///
    /// # Returns
    /// `None` if the rule set or the clinic's answers are of a kind that only the reader of trees takes.
    pub fn new(screener: &Screener<'a>) -> Option<Self> {
        Some(Self(Groundwork::new(screener)?))
    }

    /// What one thread keeps from block to block. Texts are remembered as far as there is room.
    ///
    /// # Returns
    /// `None` if the clinic's answers are of a kind that only the reader of trees takes.
    pub fn memory(&self, room: Room) -> Option<Memory> {
        Some(Memory {
            meanings: Meanings::new(&self.0, room)?,
            record: OneRecord::new(&self.0),
            settled: Settled::new(&self.0),
            records: Vec::new(),
        })
    }

    /// Screens some lines, at most [`Fast::MOST`], by rules in this order.
    ///
    /// # Returns
    /// The reference of each line; `None` for a line that must be read as a tree.
    pub fn screen<'l>(
        &self,
        memory: &mut Memory,
        lines: impl Iterator<Item = &'l [u8]>,
        order: impl Iterator<Item = Idx<Rule>>,
    ) -> Vec<Option<&'l str>> {
        let Memory {
            meanings,
            record,
            settled,
            records,
        } = memory;
        settled.clear(meanings.make_room(&self.0));
        records.resize_with(Self::MOST, InLane::default);
        let lanes = lines.zip(records.iter_mut()).enumerate();
        let references = lanes
            .map(|(lane, (line, kept))| {
                kept.rules.fires.clear();
                kept.rules.waits.clear();
                let reference = record.read(&self.0, meanings, line)?;
                settled.take(&self.0, meanings, lane, record);
                kept.meanings.clone_from(&record.meanings);
                Some(reference)
            })
            .collect();
        settled.settle(&self.0, meanings);
        for (position, rule) in order.enumerate() {
            let result = settled.rules[rule];
            (result.yes & settled.taken).each(|lane| {
                if let Some(kept) = records.get_mut(lane) {
                    kept.rules.fires.push(position);
                }
            });
            (result.open() & settled.taken).each(|lane| {
                if let Some(kept) = records.get_mut(lane) {
                    kept.rules.waits.push(position);
                }
            });
        }
        references
    }

    /// Some facts of a record of the last block, and which of its answers are at odds with others, as findings tell them; nothing is
    /// known of any other.
    pub fn facts(
        &self,
        memory: &Memory,
        lane: usize,
        nobody: &Facts,
        slots: impl Iterator<Item = FactSlot>,
    ) -> Trial {
        let mut facts = Trial::of(nobody);
        let meanings = memory.records.get(lane).map_or(&[][..], |it| &it.meanings);
        let settled = &memory.settled;
        let fact = |slot| settled.fact(&self.0, &memory.meanings, lane, meanings, slot);
        for slot in slots.chain(self.0.rule_set.catalogue.procedure_on) {
            if let Some(fact) = fact(slot) {
                facts.put_shared(slot, fact);
            }
        }
        for conflict in [Conflict::RuledOut, Conflict::NotOffered] {
            let slots = settled.at_odds(&self.0, lane, conflict).into_iter();
            let told = slots.filter_map(|slot| Some((slot, fact(slot)?)));
            facts.put_at_odds(conflict, told);
        }
        facts
    }
}

/// What one thread keeps from block to block: what it remembers, and room for the records of one block.
#[derive(Debug)]
pub struct Memory {
    meanings: Meanings,
    record: OneRecord,
    settled: Settled,
    records: Vec<InLane>,
}

/// One record of a block.
#[derive(Debug, Default)]
struct InLane {
    meanings: Vec<Idx<Meaning>>,
    rules: RulesAt,
}

impl Memory {
    /// What the rules come to for a record of the last block.
    pub fn rules(&self, lane: usize) -> Option<&RulesAt> {
        Some(&self.records.get(lane)?.rules)
    }
}
