//! Lines under two rule sets at once, a block after another.

use crate::batch::lines::Lines;
use crate::batch::read;
use crate::screening::evaluate::standing;
use crate::workbench::compare::lines::{LineTally, NamedLine, RefusedBy, RulePairs};
use crate::workbench::compare::{Both, as_asked};

/// Compares blocks of lines. Threads share it.
#[derive(Debug)]
pub struct BatchComparer<'a> {
    both: &'a Both<'a>,
    pairs: RulePairs,
}

impl<'a> BatchComparer<'a> {
    /// Lines to a block that are worth handing to a thread.
    pub const LINES_A_BLOCK: usize = 256;

    /// Compares by these two.
    pub fn new(both: &'a Both<'a>) -> Self {
        Self {
            both,
            pairs: RulePairs::new(both.old.rule_set(), both.new.rule_set()),
        }
    }

    /// What the lines of a block come to under both.
    pub fn block(&self, lines: Lines<'_>) -> LineTally {
        let mut tally = LineTally::default();
        for (number, line) in lines {
            self.line(number, line, &mut tally);
        }
        tally
    }

    /// Judges one line by its tree. Its answers are as the new rule set has them; what the old one does not ask is left out for it,
    /// as everywhere where rule sets are compared.
    fn line(&self, number: u64, line: &[u8], tally: &mut LineTally) {
        let (old, new) = (&self.both.old, &self.both.new);
        let referral = match read(new, number, line) {
            Ok(referral) => referral,
            Err(refusal) => {
                let before = read(old, number, line);
                let by = match &before {
                    Ok(_) => RefusedBy::New,
                    Err(_) => RefusedBy::Both,
                };
                let reference = before.map_or(refusal.reference, |it| Some(it.reference));
                return tally.refused(by, NamedLine { number, reference });
            }
        };
        let named = || NamedLine {
            number,
            reference: Some(referral.reference.clone()),
        };
        let answers = as_asked(old.rule_set(), new.rule_set(), &referral.answers);
        let Ok(before) = old.facts(&answers) else {
            return tally.refused(RefusedBy::Old, named());
        };
        let (states_before, states) = (old.states(&before), new.states(&referral.facts));
        let standings = [
            standing(old.rule_set(), &states_before),
            standing(new.rule_set(), &states),
        ];
        let (state_before, state) = (|at| states_before[at], |at| states[at]);
        tally.judged(&self.pairs, named, standings, state_before, state);
    }
}
