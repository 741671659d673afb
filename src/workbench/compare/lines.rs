//! A year of referrals under two rule sets: whom they judge otherwise, counted, with the first few of each kind.

use std::collections::BTreeMap;
use std::ops::AddAssign;

use crate::outcome::{Standing, State};
use crate::rule_set::{Idx, Rule, RuleSet};
use crate::workbench::compare::is_less_cautious;

/// Most lines of one kind that are named.
const MOST_NAMED: usize = 5;

/// One line among many.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamedLine {
    /// Its number, from 1.
    pub number: u64,
    /// The patient's reference, if it could be read.
    pub reference: Option<String>,
}

/// How many lines are of a kind.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LinesOfKind {
    /// How many.
    pub n_lines: u64,
    /// The first few.
    pub first: Vec<NamedLine>,
}

impl LinesOfKind {
    fn add(&mut self, line: impl FnOnce() -> NamedLine) {
        self.n_lines += 1;
        if self.first.len() < MOST_NAMED {
            self.first.push(line());
        }
    }
}

/// Which of the two refuses a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum RefusedBy {
    /// The old one alone.
    Old,
    /// The new one alone.
    New,
    /// Both.
    Both,
}

impl RefusedBy {
    /// In the words of reports.
    pub fn words(self) -> &'static str {
        match self {
            Self::Old => "refused only as it is",
            Self::New => "refused only as proposed",
            Self::Both => "refused by both",
        }
    }

    /// The word of JSON.
    pub fn word(self) -> &'static str {
        match self {
            Self::Old => "old",
            Self::New => "new",
            Self::Both => "both",
        }
    }
}

/// What became of a rule for somebody.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum RuleMove {
    /// It no longer fires.
    NoLongerFires,
    /// It fires now.
    NowFires,
    /// It no longer waits for an answer, and does not fire either.
    NoLongerWaits,
    /// It waits for an answer now, and did not fire before.
    NowWaits,
}

impl RuleMove {
    /// In the words of reports.
    pub fn words(self) -> &'static str {
        match self {
            Self::NoLongerFires => "no longer fires",
            Self::NowFires => "now fires",
            Self::NoLongerWaits => "no longer waits",
            Self::NowWaits => "now waits",
        }
    }

    /// The key of JSON.
    pub fn key(self) -> &'static str {
        match self {
            Self::NoLongerFires => "no_longer_fires",
            Self::NowFires => "now_fires",
            Self::NoLongerWaits => "no_longer_waits",
            Self::NowWaits => "now_waits",
        }
    }

    fn of(old: State, new: State) -> Option<Self> {
        match (old, new) {
            (State::Fires, State::Fires)
            | (State::Undetermined, State::Undetermined)
            | (State::StaysQuiet, State::StaysQuiet) => None,
            (State::Fires, _) => Some(Self::NoLongerFires),
            (_, State::Fires) => Some(Self::NowFires),
            (State::Undetermined, State::StaysQuiet) => Some(Self::NoLongerWaits),
            (State::StaysQuiet, State::Undetermined) => Some(Self::NowWaits),
        }
    }
}

/// The rules of two rule sets, each of either once.
#[derive(Debug)]
pub struct RulePairs(Vec<(String, [Option<Idx<Rule>>; 2])>);

impl RulePairs {
    /// By their ids: those of the old one in its order, then those that only the new one has.
    pub fn new(old: &RuleSet, new: &RuleSet) -> Self {
        let place = |rule_set: &RuleSet, id: &str| rule_set.judging.position(|it| it.id == id);
        let mut pairs: Vec<_> = old
            .judging
            .entries()
            .map(|(at, rule)| (rule.id.clone(), [Some(at), place(new, &rule.id)]))
            .collect();
        let added = new
            .judging
            .entries()
            .filter(|(_, rule)| place(old, &rule.id).is_none());
        pairs.extend(added.map(|(at, rule)| (rule.id.clone(), [None, Some(at)])));
        Self(pairs)
    }
}

/// Many lines under both rule sets. Those of several blocks add up, in their order.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LineTally {
    /// How many both judged.
    pub n_judged: u64,
    /// Those that are not judged by both.
    pub refused: BTreeMap<RefusedBy, LinesOfKind>,
    /// Those that get another verdict, from which to which.
    pub verdicts: BTreeMap<(Standing, Standing), LinesOfKind>,
    /// Those for whom a rule comes to something else, by the rule's id.
    pub rules: BTreeMap<String, BTreeMap<RuleMove, LinesOfKind>>,
    /// Those for whom any does, although the verdict is the same.
    pub same_verdict: LinesOfKind,
}

impl LineTally {
    /// Counts a line that was refused.
    pub fn refused(&mut self, by: RefusedBy, line: NamedLine) {
        self.refused.entry(by).or_default().add(|| line);
    }

    /// Counts a line that both judged: what they come to, and the state of each of their rules.
    pub fn judged(
        &mut self,
        pairs: &RulePairs,
        line: impl Fn() -> NamedLine,
        [old, new]: [Standing; 2],
        state_before: impl Fn(Idx<Rule>) -> State,
        state: impl Fn(Idx<Rule>) -> State,
    ) {
        self.n_judged += 1;
        let mut is_otherwise = false;
        for (id, [before, after]) in &pairs.0 {
            // A rule that one of them does not have stays quiet there.
            let before = before.map_or(State::StaysQuiet, &state_before);
            let after = after.map_or(State::StaysQuiet, &state);
            if let Some(moved) = RuleMove::of(before, after) {
                is_otherwise = true;
                let moves = match self.rules.get_mut(id) {
                    Some(moves) => moves,
                    None => self.rules.entry(id.clone()).or_default(),
                };
                moves.entry(moved).or_default().add(&line);
            }
        }
        if old != new {
            self.verdicts.entry((old, new)).or_default().add(&line);
        } else if is_otherwise {
            self.same_verdict.add(&line);
        }
    }

    /// Whether nobody is judged otherwise, and one of the two refuses nobody whom the other takes.
    pub fn is_quiet(&self) -> bool {
        self.verdicts.is_empty()
            && self.rules.is_empty()
            && self.refused.keys().all(|by| *by == RefusedBy::Both)
    }

    /// Whether somebody gets a less cautious verdict.
    pub fn loosens(&self) -> bool {
        self.verdicts
            .keys()
            .any(|(old, new)| is_less_cautious(*old, *new))
    }

    /// How many lines were refused by either.
    pub fn n_refused(&self) -> u64 {
        self.refused.values().map(|it| it.n_lines).sum()
    }
}

impl AddAssign for LinesOfKind {
    fn add_assign(&mut self, later: Self) {
        self.n_lines += later.n_lines;
        let room = MOST_NAMED.saturating_sub(self.first.len());
        self.first.extend(later.first.into_iter().take(room));
    }
}

impl AddAssign for LineTally {
    fn add_assign(&mut self, later: Self) {
        self.n_judged += later.n_judged;
        for (by, lines) in later.refused {
            *self.refused.entry(by).or_default() += lines;
        }
        for (verdicts, lines) in later.verdicts {
            *self.verdicts.entry(verdicts).or_default() += lines;
        }
        for (id, moves) in later.rules {
            let own = self.rules.entry(id).or_default();
            for (moved, lines) in moves {
                *own.entry(moved).or_default() += lines;
            }
        }
        self.same_verdict += later.same_verdict;
    }
}
