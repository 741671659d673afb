//! What can be at all: every possible questionnaire at once, decided by a SAT solver.
//!
//! Each fact is cut where some rule can tell its values apart, and may be missing. Whatever the solver finds possible is
//! made into a questionnaire and screened; numbers that no formula can give are shut out, and the solver asked again. So
//! "never" is certain, an example is real, and what could be neither shown nor shut out is said to be open.

use batsat::Lit;
use chrono::NaiveDate;

use crate::model::{Condition, RuleSet};
use crate::screener::Screener;

mod applies;
pub mod arithmetic;
pub mod cells;
mod computed;
pub mod example;
pub mod lists;
pub mod logic;
pub mod patient;
pub mod space;
pub mod truths;

pub use example::{Seen, of_answers};
pub use logic::{Logic, Pair};
pub use space::{Space, TooLarge};
pub use truths::{Judgement, Reader, verdict};

use example::{Failure, Subject, questionnaires};

/// How often a patient whose numbers cannot be is shut out before the question is left open.
const MOST_ROUNDS: usize = 400;

/// How often a patient is passed over for whom no numbers were found, and not shown to be none.
const MOST_UNCLEAR: usize = 6;

/// One or several rule sets over one space of answers.
#[derive(Debug)]
pub struct Decider<'a> {
    /// The rule sets.
    pub rule_sets: Vec<&'a RuleSet>,
    /// The formulas.
    pub logic: Logic,
    /// The space of answers.
    pub space: Space,
    /// What each rule set makes of it.
    pub judgements: Vec<Judgement>,
    /// What screens an example by each rule set.
    screeners: Vec<Screener<'a>>,
    /// The day of screening and of surgery of every example.
    pub as_of: NaiveDate,
}

/// Whether something can be.
#[derive(Debug)]
pub enum Found {
    /// It cannot, whatever is answered.
    Never,
    /// It can: here is a questionnaire as each rule set sees it, one for each subject.
    Example(Vec<Seen>),
    /// Neither an example nor a proof was found, because of this fact.
    Open(String),
}

/// Who is looked for: a space and the view of a rule set in it.
#[derive(Debug, Clone, Copy)]
pub struct Who<'s> {
    /// The space; the decider's own, if `None`.
    pub space: Option<&'s Space>,
    /// Whose view, by position of the rule set.
    pub view: usize,
}

impl<'a> Decider<'a> {
    /// Lays out the space of these rule sets. Conditions beside the rules' own may be given, so that it is cut for
    /// them, too; they are of the first rule set.
    ///
    /// # Errors
    /// The fact that makes it too large to decide exactly.
    pub fn new(rule_sets: &[&'a RuleSet], further: &[&Condition], as_of: NaiveDate) -> Result<Self, TooLarge> {
        let mut logic = Logic::default();
        let space = Space::new(&mut logic, rule_sets, further, as_of)?;
        let mut judgements = Vec::new();
        for (view, rule_set) in rule_sets.iter().enumerate() {
            judgements.push(judge(&mut logic, &space, rule_set, view));
        }
        let screeners = rule_sets.iter().map(|it| Screener::new(it, as_of)).collect();
        Ok(Self { rule_sets: rule_sets.to_vec(), logic, space, judgements, screeners, as_of })
    }

    /// Where a condition is yes and where it is no, as a rule set reads it.
    pub fn pair(&mut self, view: usize, condition: &Condition) -> Option<Pair> {
        let rule_set = self.rule_sets.get(view)?;
        let judged = self.judgements.get(view)?;
        Some(Reader::again(&mut self.logic, &self.space, rule_set, view, judged).pair(condition))
    }

    /// Whether all of these hold for some patient; `confirm` is asked of the questionnaires, which settles it.
    pub fn find(&mut self, together: &[Lit], confirm: &dyn Fn(&[Seen]) -> bool) -> Found {
        let everybody: Vec<Who<'_>> = (0..self.rule_sets.len()).map(|view| Who { space: None, view }).collect();
        self.find_among(&everybody, together, confirm)
    }

    /// The same for these subjects, who may be of different spaces.
    pub fn find_among(&mut self, who: &[Who<'_>], together: &[Lit], confirm: &dyn Fn(&[Seen]) -> bool) -> Found {
        // A computed number just on a limit is hard to hit, and seldom needed: first without.
        let mut without = together.to_vec();
        for it in who {
            without.extend(it.space.unwrap_or(&self.space).exact_results().map(|it| !it));
        }
        match self.find_so(who, &without, confirm) {
            Found::Example(seen) => Found::Example(seen),
            // The whole search takes in what was left out, and settles both.
            _ => self.find_so(who, together, confirm),
        }
    }

    fn find_so(&mut self, who: &[Who<'_>], together: &[Lit], confirm: &dyn Fn(&[Seen]) -> bool) -> Found {
        let mut open: Option<String> = None;
        let mut n_unclear = 0;
        // Whom no numbers were found for is passed over in this search alone: another one must meet them again.
        let passing = self.logic.free();
        let together: Vec<Lit> = together.iter().copied().chain([passing]).collect();
        for _ in 0..MOST_ROUNDS {
            let mut spaces: Vec<&Space> = who.iter().map(|it| it.space.unwrap_or(&self.space)).collect();
            spaces.dedup_by(|a, b| std::ptr::eq(*a, *b));
            if patient::smallest(&mut self.logic, &spaces, &together).is_empty() {
                return open.map_or(Found::Never, Found::Open);
            }
            let subjects: Vec<Subject<'_>> = who
                .iter()
                .filter_map(|it| {
                    let space = it.space.unwrap_or(&self.space);
                    let (rule_set, screener) = (self.rule_sets.get(it.view)?, self.screeners.get(it.view)?);
                    Some(Subject { rule_set, screener, space, view: it.view, patient: patient::read(&self.logic, space) })
                })
                .collect();
            let mut shut: Vec<Lit> = Vec::new();
            let names = match questionnaires(&subjects, self.as_of) {
                Ok(seen) if confirm(&seen) => return Found::Example(seen),
                Ok(_) => {
                    // The questionnaire does not do what the formulas said it would: that must not pass for a proof.
                    open.get_or_insert_with(|| "derived facts".to_owned());
                    return open.map_or(Found::Never, Found::Open);
                }
                Err(Failure::Impossible(names)) => names,
                Err(Failure::Unclear(names)) => {
                    open.get_or_insert_with(|| names.first().map_or("answers that cannot stand together", String::as_str).to_owned());
                    n_unclear += 1;
                    if n_unclear >= MOST_UNCLEAR {
                        break;
                    }
                    shut.push(!passing);
                    // Whoever is alike in what was unclear would be unclear again.
                    if names.len() > 1 { names } else { self.space.domains.keys().cloned().collect() }
                }
            };
            let names: Vec<&str> = names.iter().map(String::as_str).collect();
            for space in spaces {
                shut.extend(patient::said(&self.logic, space, &names).into_iter().map(|it| !it));
            }
            self.logic.require(shut);
        }
        Found::Open(open.unwrap_or_else(|| "derived facts".to_owned()))
    }
}

/// What a rule set makes of every patient of a space, derived facts included.
pub fn judge(logic: &mut Logic, space: &Space, rule_set: &RuleSet, view: usize) -> Judgement {
    Reader::new(logic, space, rule_set, view).judge()
}
