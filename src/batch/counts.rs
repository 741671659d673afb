//! What came out of many lines, counted.

use std::collections::BTreeMap;
use std::ops::AddAssign;

use serde_json::{Value, json};

use crate::outcome::Standing;
use crate::report::{SAFETY, json};
use crate::rule_set::{Idx, Rule, RuleSet, Table};
use crate::screening::notices;
use crate::screening::result::{Refusal, RuleSetStamp};
use crate::screening::screener::Screener;

/// How many lines came to what. Those of several blocks add up.
#[derive(Debug, Clone, PartialEq)]
pub struct Counts {
    /// Lines that were screened, by what they came to.
    pub verdicts: BTreeMap<Standing, u64>,
    /// Lines that were refused.
    pub n_refused: u64,
    /// Those of them that have a diagnostic, by its code.
    pub codes: BTreeMap<&'static str, u64>,
    /// For each rule in how many lines it fires, and in how many it waits for an answer.
    pub rules: Table<[u64; 2], Rule>,
}

impl Counts {
    /// Nothing yet.
    pub fn new(rule_set: &RuleSet) -> Self {
        Self {
            verdicts: BTreeMap::new(),
            n_refused: 0,
            codes: BTreeMap::new(),
            rules: rule_set.judging.iter().map(|_| [0, 0]).collect(),
        }
    }

    /// How many lines were answered.
    pub fn n_lines(&self) -> u64 {
        self.n_refused + self.verdicts.values().sum::<u64>()
    }

    /// Counts a line that was screened, with the rules that fire, and those that wait.
    pub fn answered(
        &mut self,
        verdict: Standing,
        fires: impl Iterator<Item = Idx<Rule>>,
        waits: impl Iterator<Item = Idx<Rule>>,
    ) {
        *self.verdicts.entry(verdict).or_insert(0) += 1;
        for at in fires {
            self.rules[at][0] += 1;
        }
        for at in waits {
            self.rules[at][1] += 1;
        }
    }

    /// Counts a line that was refused.
    pub fn refused(&mut self, refusal: &Refusal) {
        self.n_refused += 1;
        let mut codes: Vec<&'static str> =
            refusal.problems.iter().map(|it| it.code.name()).collect();
        codes.sort_unstable();
        codes.dedup();
        for code in codes {
            *self.codes.entry(code).or_insert(0) += 1;
        }
    }

    /// All of it as `schemas/batch-summary.schema.json` describes it. `is_complete` if every line that there was is in it.
    pub fn summary(&self, screener: &Screener<'_>, is_complete: bool) -> Value {
        let (rule_set, as_of) = (screener.rule_set(), screener.as_of());
        let verdicts = self.verdicts.iter().rev().map(|(verdict, n)| {
            json!({ "verdict": verdict.outcome, "urgency": verdict.urgency, "lines": n })
        });
        let rules = rule_set.judging.iter().zip(&self.rules).map(
            |(rule, [fires, waits])| json!({ "rule": rule.id, "fires": fires, "waits": waits }),
        );
        let codes = self.codes.iter();
        json!({
            "summary": 1,
            "tool": json::tool(),
            "notices": notices::notices(rule_set, as_of, None),
            "rule_set": RuleSetStamp::of(rule_set),
            "local_policy": notices::local(rule_set, as_of).map(|it| it.source),
            "clinic": screener.clinic_file(),
            "as_of": as_of.to_string(),
            "complete": is_complete,
            "lines": self.n_lines(),
            "verdicts": verdicts.collect::<Vec<Value>>(),
            "refused": self.n_refused,
            "refusals": codes.map(|(code, n)| json!({ "code": code, "lines": n })).collect::<Vec<Value>>(),
            "rules": rules.collect::<Vec<Value>>(),
            "safety": SAFETY,
        })
    }
}

impl AddAssign for Counts {
    fn add_assign(&mut self, other: Self) {
        self.n_refused += other.n_refused;
        for (verdict, n) in other.verdicts {
            *self.verdicts.entry(verdict).or_insert(0) += n;
        }
        for (code, n) in other.codes {
            *self.codes.entry(code).or_insert(0) += n;
        }
        for (sum, [fires, waits]) in self.rules.iter_mut().zip(&other.rules) {
            sum[0] += fires;
            sum[1] += waits;
        }
    }
}
