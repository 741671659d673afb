//! Invented referrals, as many as one likes, to try batches with: made from a rule set alone, and the same for the same seed.
//!
//! Each is a worked case of the rule set, changed: some answers are missing, some are others that their questions take, lists
//! hold other names, some of them misspelt, and one line in a hundred is refused. What the clinic answers for everybody is
//! left out, so it belongs with a clinic's file. How often what is so is invented, too.

use std::collections::BTreeMap;
use std::io::Write as _;

use chrono::{Days, NaiveDate};
use serde_json::Value;

use crate::document::diagnostic::Diagnostic;
use crate::document::shape::to_json;
use crate::quantity::tidy;
use crate::rule_set::files::RuleFiles;
use crate::rule_set::{Answer, Idx, Question, RuleSet};
use crate::workbench::cases::read::{Case, cases};

/// Makes lines.
#[derive(Debug)]
pub struct Generator<'a> {
    rule_set: &'a RuleSet,
    /// The day for which all of it is made.
    pub as_of: NaiveDate,
    /// The answers of each worked case, in the order of the questions, each as JSON.
    cases: Vec<BTreeMap<Idx<Question>, String>>,
    medicines: Vec<&'a str>,
    substances: Vec<&'a str>,
}

impl<'a> Generator<'a> {
    /// Starts from the worked cases of this rule set that are screened on the same day as the first. `None` without any.
    ///
    /// # Errors
    /// Every diagnostic of the files of cases.
    pub fn new(files: &RuleFiles, rule_set: &'a RuleSet) -> Result<Option<Self>, Vec<Diagnostic>> {
        let found = cases(files, rule_set)?;
        let Some(as_of) = found.first().map(|case| case.as_of) else {
            return Ok(None);
        };
        let own = |case: &Case| {
            let given = case.answers.given.iter().filter(|(_, it)| !it.standing);
            given
                .map(|(at, it)| (*at, to_json(&it.node).to_string()))
                .collect()
        };
        let medicines = rule_set.medicines.medicines.iter();
        let substances = rule_set.allergens.substances.iter();
        Ok(Some(Self {
            rule_set,
            as_of,
            cases: found
                .iter()
                .filter(|case| case.as_of == as_of)
                .map(own)
                .collect(),
            medicines: medicines.map(|it| it.name.as_str()).collect(),
            substances: substances.map(|it| it.name.as_str()).collect(),
        }))
    }

    /// Appends one line, which follows from the seed and its number alone.
    pub fn line(&self, seed: u64, number: u64, out: &mut Vec<u8>) {
        let mut dice = Dice::new(seed, number);
        let start = out.len();
        let _ = write!(
            out,
            "{{\"questionnaire\":1,\"for\":\"{}\",\"reference\":\"G-{number}\",\"completed_on\":\"{}\",\"answers\":{{",
            self.rule_set.id, self.as_of
        );
        let slip = dice.one_in(100).then(|| dice.below(6));
        if slip == Some(0) {
            out.extend_from_slice(b"\"no-such-section\":{},");
        }
        self.answers(&mut dice, out);
        out.push(b'}');
        if dice.one_in(8) {
            let asked: Vec<&Question> = self.rule_set.catalogue.questions.iter().collect();
            if let Some(question) = dice.one_of(&asked) {
                let _ = write!(out, ",\"note\":{}", Value::from(question.ask.as_str()));
            }
        }
        match slip {
            Some(1) => out.extend_from_slice(b",\"reference\":\"G-0\""),
            Some(2) => out.truncate(start + (out.len() - start) / 2),
            Some(3) => out.push(b'\r'),
            Some(4) => out.extend_from_slice(b",\"note\":\"\xff\""),
            Some(5) => out.truncate(start),
            _ => {}
        }
        if !matches!(slip, Some(2 | 5)) {
            out.push(b'}');
        }
        out.push(b'\n');
    }

    fn answers(&self, dice: &mut Dice, out: &mut Vec<u8>) {
        let Some(case) = dice.one_of(&self.cases) else {
            return;
        };
        // Half of the referrals are filled in with care.
        let is_careless = dice.one_in(2);
        let mut section = None;
        for (at, answer) in case {
            let question = &self.rule_set.catalogue.questions[*at];
            let is_list = matches!(question.answer, Answer::Medicines | Answer::Allergies);
            let fate = if is_careless { dice.below(1000) } else { 1000 };
            if fate < 25 {
                continue;
            }
            if section == Some(question.section) {
                out.push(b',');
            } else {
                out.extend_from_slice(if section.is_none() { b"" } else { b"}," });
                let id = &self.rule_set.catalogue.sections[question.section].id;
                let _ = write!(out, "\"{id}\":{{");
                section = Some(question.section);
            }
            let _ = write!(out, "\"{}\":", question.name());
            match fate {
                25..35 => out.extend_from_slice(b"\"unknown\""),
                35..40 => out.extend_from_slice(b"\"declined\""),
                40..70 => self.another(question, answer, dice, out),
                _ if is_list && dice.one_in(2) => self.another(question, answer, dice, out),
                _ => self.nearby(question, answer, dice, out),
            }
        }
        if section.is_some() {
            out.push(b'}');
        }
    }

    /// The same answer, but for what differs from one person to the next: numbers by up to a tenth, days long past by up to
    /// three years.
    fn nearby(&self, question: &Question, answer: &str, dice: &mut Dice, out: &mut Vec<u8>) {
        let text = answer.trim_matches('"');
        let (number, unit) = text.split_once(' ').unwrap_or((text, ""));
        let is_amount = matches!(
            question.answer,
            Answer::Number { .. } | Answer::Quantity { .. }
        );
        if let (true, Ok(number)) = (is_amount, number.parse::<f64>()) {
            let share = 0.9 + dice.below(201) as f64 / 1000.0;
            let near = tidy((number * share).round(), None);
            let _ = match unit {
                "" => write!(out, "{near}"),
                unit => write!(out, "\"{near} {unit}\""),
            };
            return;
        }
        let near = text
            .parse::<NaiveDate>()
            .ok()
            .filter(|day| self.as_of.signed_duration_since(*day).num_days() > 1_000)
            .and_then(|day| day.checked_sub_days(Days::new(dice.below(1_000))));
        let _ = match near {
            Some(day) => write!(out, "\"{day}\""),
            None => out.write_all(answer.as_bytes()),
        };
    }

    /// Another answer of the kind that a question takes; the same where that is free text or a plan.
    fn another(&self, question: &Question, answer: &str, dice: &mut Dice, out: &mut Vec<u8>) {
        if question.dated {
            out.extend_from_slice(b"{\"value\":");
        }
        match &question.answer {
            Answer::YesNo => {
                out.extend_from_slice(if dice.one_in(2) {
                    b"\"yes\""
                } else {
                    b"\"no\""
                });
            }
            Answer::OneOf(options) => {
                if let Some(option) = dice.one_of(options) {
                    let _ = write!(out, "\"{}\"", option.id);
                }
            }
            Answer::SeveralOf(options) => {
                let first = dice.below(options.len() as u64) as usize;
                let chosen = options.iter().skip(first).take(dice.below(3) as usize);
                list(chosen.map(|it| it.id.clone()), out);
            }
            Answer::Number { .. } => {
                let _ = write!(out, "{}", amount(question, dice, 0));
            }
            Answer::Quantity { unit, .. } => {
                let _ = write!(out, "\"{} {unit}\"", amount(question, dice, 1));
            }
            Answer::Date => {
                let day = if question.past {
                    self.day(dice)
                } else {
                    let day = self.as_of.checked_add_days(Days::new(dice.below(21)));
                    day.unwrap_or(self.as_of)
                };
                let _ = write!(out, "\"{day}\"");
            }
            Answer::Medicines => self.names(&self.medicines, dice, out),
            Answer::Allergies => self.names(&self.substances, dice, out),
            Answer::Text | Answer::Anaesthetic => out.extend_from_slice(answer.as_bytes()),
        }
        if question.dated {
            let _ = write!(out, ",\"taken_on\":\"{}\"}}", self.day(dice));
        }
    }

    /// A day of the last three weeks.
    fn day(&self, dice: &mut Dice) -> NaiveDate {
        let day = self.as_of.checked_sub_days(Days::new(dice.below(21)));
        day.unwrap_or(self.as_of)
    }

    /// Up to six names, of which one in thirty is misspelt.
    fn names(&self, names: &[&str], dice: &mut Dice, out: &mut Vec<u8>) {
        let chosen = (0..dice.below(7)).filter_map(|_| {
            let name = dice.one_of(names)?;
            if !dice.one_in(30) {
                return Some((*name).to_owned());
            }
            let slip = dice.below(name.chars().count() as u64) as usize;
            let kept = name.chars().enumerate().filter(|(at, _)| *at != slip);
            Some(kept.map(|(_, letter)| letter).collect())
        });
        list(chosen, out);
    }
}

/// A list of texts as JSON.
fn list(texts: impl Iterator<Item = String>, out: &mut Vec<u8>) {
    let texts: Vec<String> = texts.collect();
    let _ = write!(out, "{}", Value::from(texts));
}

/// A plausible number in a question's own unit.
fn amount(question: &Question, dice: &mut Dice, decimals: usize) -> String {
    let (low, high) = question.plausible.unwrap_or((0.0, 100.0));
    let share = dice.below(1001) as f64 / 1000.0;
    tidy(low + share * (high - low), Some(decimals))
}

/// Numbers that look like chance and follow from where they began (splitmix64).
#[derive(Debug)]
struct Dice(u64);

impl Dice {
    fn new(seed: u64, number: u64) -> Self {
        let mut dice = Self(seed);
        dice.0 = dice.next() ^ number;
        dice
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A number below another one; 0 if there is none.
    fn below(&mut self, n: u64) -> u64 {
        self.next().checked_rem(n).unwrap_or(0)
    }

    fn one_in(&mut self, n: u64) -> bool {
        self.below(n) == 0
    }

    /// One of several; `None` of none.
    fn one_of<'t, T>(&mut self, of: &'t [T]) -> Option<&'t T> {
        of.get(usize::try_from(self.below(of.len() as u64)).ok()?)
    }
}
