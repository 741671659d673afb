//! What a register teaches about the rules: counts for a committee, never about one patient.

use std::collections::BTreeMap;

use chrono::TimeDelta;
use serde_json::{Value, json};

use crate::outcome::Outcome;
use crate::register::entry::RegisterEntry;
use crate::register::happening::{Happening, Screened};
use crate::workbench::figures::RuleFigures;

/// The figures of a register.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Figures {
    /// By edition of the rules, in the order of their first use.
    pub editions: Vec<CountedScreenings>,
    /// By month of the last screening, earliest first: `2026-11`.
    pub months: Vec<CountedScreenings>,
    /// Rules that fired or stood against a decision: most often set aside first, then most often firing.
    pub rules: Vec<RuleFigures>,
    /// Questions that were sent: longest waited for first.
    pub questions: Vec<QuestionFigures>,
}

/// Referrals by the verdict of their last screening, of one edition or one month.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CountedScreenings {
    /// The edition or the month.
    pub of: String,
    /// How many came to go.
    pub n_go: usize,
    /// To defer.
    pub n_defer: usize,
    /// To refer.
    pub n_refer: usize,
    /// How many decisions were made.
    pub n_decided: usize,
    /// How many of these were less cautious than the verdict.
    pub n_against: usize,
}

impl CountedScreenings {
    /// How many referrals.
    pub fn n(&self) -> usize {
        self.n_go + self.n_defer + self.n_refer
    }
}

/// How long answers to a question are waited for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuestionFigures {
    /// Its id.
    pub question: String,
    /// How often it was sent to somebody.
    pub n_sent: usize,
    /// How often it was answered since.
    pub n_answered: usize,
    /// Days until the answer, of those that came: the middle one, rounded down.
    pub median_days: Option<i64>,
    /// The longest.
    pub longest_days: Option<i64>,
}

/// Counts what happened.
///
/// # Missing data
/// What was removed counts for nothing.
pub fn figures(entries: &[RegisterEntry]) -> Figures {
    let mut of: BTreeMap<&str, Vec<&RegisterEntry>> = BTreeMap::new();
    for entry in entries {
        if let Some(reference) = &entry.referral {
            of.entry(reference).or_default().push(entry);
        }
    }
    let mut counting = Counting::default();
    for entries in of.values() {
        counting.referral(entries);
    }
    counting.finish(entries)
}

#[derive(Default)]
struct Counting {
    editions: BTreeMap<String, CountedScreenings>,
    months: BTreeMap<String, CountedScreenings>,
    rules: BTreeMap<String, (RuleFigures, BTreeMap<String, usize>)>,
    questions: BTreeMap<String, (usize, Vec<TimeDelta>)>,
}

impl Counting {
    fn referral(&mut self, entries: &[&RegisterEntry]) {
        let mut last: BTreeMap<&str, (&Screened, String)> = BTreeMap::new();
        let mut screened: BTreeMap<i64, (&Screened, String)> = BTreeMap::new();
        let mut newest = None;
        let mut waits: BTreeMap<&str, &RegisterEntry> = BTreeMap::new();
        for entry in entries {
            let month = entry.at.format("%Y-%m").to_string();
            match &entry.happening {
                Some(Happening::Screened(it)) => {
                    last.insert(&it.edition, (it, month.clone()));
                    screened.insert(entry.seq, (it, month.clone()));
                    newest = Some((it, month));
                    let answered: Vec<&str> = waits
                        .keys()
                        .copied()
                        .filter(|question| !it.to_ask.iter().any(|ask| ask.question == *question))
                        .collect();
                    for question in answered {
                        if let Some(sent) = waits.remove(question) {
                            let (_, days) = self.question(question);
                            days.push(entry.at - sent.at);
                        }
                    }
                }
                Some(Happening::QuestionSent { questions, .. }) => {
                    for question in questions {
                        if !waits.contains_key(question.as_str()) {
                            waits.insert(question, entry);
                            self.question(question).0 += 1;
                        }
                    }
                }
                Some(Happening::Decided(decided)) => {
                    let Some((on, month)) = screened.get(&decided.screening) else {
                        continue;
                    };
                    let is_against = decided.outcome < on.outcome;
                    for counted in [
                        counted(&mut self.editions, &on.edition),
                        counted(&mut self.months, month),
                    ] {
                        counted.n_decided += 1;
                        counted.n_against += usize::from(is_against);
                    }
                    for rule in on
                        .fires
                        .iter()
                        .chain(&on.waits)
                        .filter(|it| it.outcome > Outcome::Go)
                    {
                        let aside = decided.set_aside.iter().find(|it| it.rule == rule.rule);
                        let (figures, reasons) = self.rule(&rule.rule, &rule.title);
                        figures.n_decided += 1;
                        if let Some(aside) = aside {
                            figures.n_set_aside += 1;
                            *reasons.entry(aside.reason.clone()).or_default() += 1;
                        }
                    }
                }
                _ => {}
            }
        }
        for (it, _) in last.values() {
            by_verdict(counted(&mut self.editions, &it.edition), it.outcome);
        }
        if let Some((it, month)) = newest {
            by_verdict(counted(&mut self.months, &month), it.outcome);
            for rule in &it.fires {
                self.rule(&rule.rule, &rule.title).0.n_fired += 1;
            }
        }
    }

    fn rule(&mut self, id: &str, title: &str) -> &mut (RuleFigures, BTreeMap<String, usize>) {
        let found = self.rules.entry(id.to_owned()).or_insert_with(|| {
            let figures = RuleFigures {
                rule: id.to_owned(),
                title: title.to_owned(),
                n_fired: 0,
                n_decided: 0,
                n_set_aside: 0,
                reasons: Vec::new(),
            };
            (figures, BTreeMap::new())
        });
        found.0.title = title.to_owned();
        found
    }

    fn question(&mut self, id: &str) -> &mut (usize, Vec<TimeDelta>) {
        self.questions.entry(id.to_owned()).or_default()
    }

    fn finish(self, entries: &[RegisterEntry]) -> Figures {
        let mut order: Vec<&str> = Vec::new();
        for entry in entries {
            if let Some(Happening::Screened(it)) = &entry.happening
                && !order.contains(&it.edition.as_str())
            {
                order.push(&it.edition);
            }
        }
        let mut editions: Vec<CountedScreenings> = self.editions.into_values().collect();
        editions.sort_by_key(|counted| order.iter().position(|it| *it == counted.of));
        let mut rules: Vec<RuleFigures> = self
            .rules
            .into_values()
            .map(|(figures, reasons)| {
                let mut reasons: Vec<(String, usize)> = reasons.into_iter().collect();
                reasons.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
                RuleFigures { reasons, ..figures }
            })
            .collect();
        rules.sort_by_key(|it| std::cmp::Reverse((it.n_set_aside, it.n_fired)));
        let mut questions: Vec<QuestionFigures> = self
            .questions
            .into_iter()
            .map(|(question, (n_sent, mut days))| {
                days.sort_unstable();
                QuestionFigures {
                    question,
                    n_sent,
                    n_answered: days.len(),
                    median_days: days.get(days.len() / 2).map(TimeDelta::num_days),
                    longest_days: days.last().map(TimeDelta::num_days),
                }
            })
            .collect();
        questions.sort_by_key(|it| std::cmp::Reverse(it.median_days));
        Figures {
            editions,
            months: self.months.into_values().collect(),
            rules,
            questions,
        }
    }
}

fn counted<'a>(
    of: &'a mut BTreeMap<String, CountedScreenings>,
    name: &str,
) -> &'a mut CountedScreenings {
    of.entry(name.to_owned())
        .or_insert_with(|| CountedScreenings {
            of: name.to_owned(),
            ..CountedScreenings::default()
        })
}

fn by_verdict(counted: &mut CountedScreenings, outcome: Outcome) {
    match outcome {
        Outcome::Go => counted.n_go += 1,
        Outcome::Defer => counted.n_defer += 1,
        Outcome::Refer => counted.n_refer += 1,
    }
}

/// The figures as JSON.
pub fn value(figures: &Figures) -> Value {
    let counted = |it: &CountedScreenings| {
        json!({
            "of": it.of, "n": it.n(), "go": it.n_go, "defer": it.n_defer, "refer": it.n_refer,
            "decided": it.n_decided, "against": it.n_against,
        })
    };
    let rule = |it: &RuleFigures| {
        let reasons: Vec<Value> = it
            .reasons
            .iter()
            .map(|(reason, n)| json!({ "reason": reason, "n": n }))
            .collect();
        json!({
            "rule": it.rule, "title": it.title, "fired": it.n_fired, "decided": it.n_decided,
            "set_aside": it.n_set_aside, "reasons": reasons,
        })
    };
    let question = |it: &QuestionFigures| {
        json!({
            "question": it.question, "sent": it.n_sent, "answered": it.n_answered,
            "median_days": it.median_days, "longest_days": it.longest_days,
        })
    };
    json!({
        "figures": 1,
        "editions": figures.editions.iter().map(counted).collect::<Vec<_>>(),
        "months": figures.months.iter().map(counted).collect::<Vec<_>>(),
        "rules": figures.rules.iter().map(rule).collect::<Vec<_>>(),
        "questions": figures.questions.iter().map(question).collect::<Vec<_>>(),
    })
}

/// The figures as text for people.
pub fn text(figures: &Figures) -> String {
    let mut lines = Vec::new();
    for (heading, list) in [
        ("By edition of the rules", &figures.editions),
        ("By month", &figures.months),
    ] {
        lines.push(heading.to_owned());
        for it in list {
            lines.push(format!(
                "  {}: {} referrals, {} go ({} in a hundred), {} defer, {} refer; {} decided, {} of them against the verdict",
                it.of,
                it.n(),
                it.n_go,
                (100 * it.n_go).checked_div(it.n()).unwrap_or(0),
                it.n_defer,
                it.n_refer,
                it.n_decided,
                it.n_against
            ));
        }
        if list.is_empty() {
            lines.push("  nothing was screened".into());
        }
        lines.push(String::new());
    }
    lines.push("By rule".into());
    for it in &figures.rules {
        let decided = if it.n_decided == 0 {
            String::new()
        } else {
            format!("; {}", it.in_words())
        };
        lines.push(format!(
            "  {}: fired about {}{decided}",
            it.rule, it.n_fired
        ));
    }
    if figures.rules.is_empty() {
        lines.push("  none fired".into());
    }
    lines.extend([String::new(), "Waited for".into()]);
    for it in &figures.questions {
        let days = match (it.median_days, it.longest_days) {
            (Some(median), Some(longest)) => {
                format!(", after {median} days (half of them), {longest} at most")
            }
            _ => String::new(),
        };
        lines.push(format!(
            "  {}: sent {}, answered {}{days}",
            it.question, it.n_sent, it.n_answered
        ));
    }
    if figures.questions.is_empty() {
        lines.push("  no question was sent".into());
    }
    lines.join("\n")
}
