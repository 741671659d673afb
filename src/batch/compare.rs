//! Lines under two rule sets at once, a block after another: without their trees where both take a line so.

use std::sync::Mutex;

use crate::batch::fast::{Fast, Memory, Room};
use crate::batch::lines::Lines;
use crate::batch::read;
use crate::batch::write::RulesAt;
use crate::outcome::State;
use crate::rule_set::{Idx, Rule, RuleSet};
use crate::screening::evaluate::{States, standing};
use crate::screening::screener::Screener;
use crate::workbench::compare::lines::{LineTally, NamedLine, RefusedBy, RulePairs};
use crate::workbench::compare::{Both, as_asked};

/// Compares blocks of lines. Threads share it.
#[derive(Debug)]
pub struct BatchComparer<'a> {
    both: &'a Both<'a>,
    pairs: RulePairs,
    /// The old one's, then the new one's.
    fast: Option<[FastSide<'a>; 2]>,
    /// What threads remember that are not at work.
    memories: Mutex<Vec<[Memory; 2]>>,
}

/// One of the two, as it screens without trees.
#[derive(Debug)]
struct FastSide<'a> {
    fast: Fast<'a>,
    rules: Vec<Idx<Rule>>,
}

impl<'a> FastSide<'a> {
    fn new(screener: &Screener<'a>) -> Option<Self> {
        Some(Self {
            fast: Fast::new(screener)?,
            rules: screener.rule_set().judging.indices().collect(),
        })
    }

    /// The reference of each line that can be screened without its tree.
    fn screen<'l>(&self, memory: &mut Memory, lines: &[(u64, &'l [u8])]) -> Vec<Option<&'l str>> {
        let texts = lines.iter().map(|(_, line)| *line);
        self.fast.screen(memory, texts, self.rules.iter().copied())
    }

    fn states(&self, rule_set: &RuleSet, found: &RulesAt) -> States {
        let mut states: States = rule_set.judging.iter().map(|_| State::StaysQuiet).collect();
        for (positions, state) in [
            (&found.fires, State::Fires),
            (&found.waits, State::Undetermined),
        ] {
            for at in positions.iter().filter_map(|at| self.rules.get(*at)) {
                states[*at] = state;
            }
        }
        states
    }
}

impl<'a> BatchComparer<'a> {
    /// Lines to a block that are worth handing to a thread.
    pub const LINES_A_BLOCK: usize = 256;

    /// Compares by these two. A clinic's answers stand in the new one alone, from which the old one is given them.
    pub fn new(both: &'a Both<'a>) -> Self {
        Self {
            both,
            pairs: RulePairs::new(both.old.rule_set(), both.new.rule_set()),
            fast: None,
            memories: Mutex::default(),
        }
    }

    /// Reads no tree of a line that both take without. `old` is the old one in the same clinic.
    ///
    /// What both take says nothing that one of them does not ask, so that it is the same answers for both.
    pub fn without_trees(self, old: &Screener<'a>) -> Self {
        let fast = FastSide::new(old).zip(FastSide::new(&self.both.new));
        Self {
            fast: fast.map(|(old, new)| [old, new]),
            ..self
        }
    }

    /// What the lines of a block come to under both.
    pub fn block(&self, lines: Lines<'_>) -> LineTally {
        let mut tally = LineTally::default();
        let kept = self.memories.lock().ok().and_then(|mut it| it.pop());
        let memories = || {
            let [old, new] = self.fast.as_ref()?;
            Some([old.fast.memory(Room::USUAL)?, new.fast.memory(Room::USUAL)?])
        };
        let (Some(sides), Some(mut memories)) = (&self.fast, kept.or_else(memories)) else {
            lines.for_each(|(number, line)| self.line(number, line, &mut tally));
            return tally;
        };
        let lines: Vec<(u64, &[u8])> = lines.collect();
        for some in lines.chunks(Fast::MOST) {
            let [old, new] = sides;
            let [of_old, of_new] = &mut memories;
            let taken = old
                .screen(of_old, some)
                .into_iter()
                .zip(new.screen(of_new, some));
            for (lane, ((number, line), taken)) in some.iter().zip(taken).enumerate() {
                match (taken, of_old.rules(lane), of_new.rules(lane)) {
                    ((Some(_), Some(reference)), Some(before), Some(after)) => {
                        let states = [
                            old.states(self.both.old.rule_set(), before),
                            new.states(self.both.new.rule_set(), after),
                        ];
                        self.judged(*number, reference, &states, &mut tally);
                    }
                    _ => self.line(*number, line, &mut tally),
                }
            }
        }
        if let Ok(mut kept) = self.memories.lock() {
            kept.push(memories);
        }
        tally
    }

    /// Judges one line by its tree. Its answers are as the new rule set has them; what the old one does not ask is left out for it,
    /// as everywhere where rule sets are compared.
    fn line(&self, number: u64, line: &[u8], tally: &mut LineTally) {
        let (old, new) = (&self.both.old, &self.both.new);
        let referral = match read(new, number, line, false) {
            Ok(referral) => referral,
            Err(refusal) => {
                let before = read(old, number, line, false);
                let by = match &before {
                    Ok(_) => RefusedBy::New,
                    Err(_) => RefusedBy::Both,
                };
                let reference = before.map_or(refusal.reference, |it| Some(it.reference));
                return tally.refused(by, NamedLine { number, reference });
            }
        };
        let answers = as_asked(old.rule_set(), new.rule_set(), &referral.answers);
        match old.facts(&answers) {
            Ok(before) => {
                let states = [old.states(&before), new.states(&referral.facts)];
                self.judged(number, &referral.reference, &states, tally);
            }
            Err(_) => {
                let reference = Some(referral.reference);
                tally.refused(RefusedBy::Old, NamedLine { number, reference });
            }
        }
    }

    fn judged(&self, number: u64, reference: &str, states: &[States; 2], tally: &mut LineTally) {
        let [before, after] = states;
        let named = || NamedLine {
            number,
            reference: Some(reference.to_owned()),
        };
        let standings = [
            standing(self.both.old.rule_set(), before),
            standing(self.both.new.rule_set(), after),
        ];
        tally.judged(
            &self.pairs,
            named,
            standings,
            |at| before[at],
            |at| after[at],
        );
    }
}
