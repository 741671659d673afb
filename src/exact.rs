//! What can be at all: every possible questionnaire at once, decided by a SAT solver.
//!
//! Each fact has a finite [`domain`]: it is cut where some rule can tell its values apart, and may be missing. [`encoding`]
//! lays these out as literals, [`conditions`] reads rules as dual-rail formulas over them, [`tseitin`] turns formulas into
//! clauses. The encoding is an over-approximation: it leaves no possible patient out, but takes in some whose computed
//! numbers cannot be. So a question that the solver refutes is refuted for everybody. What it finds possible is refined,
//! lazily: [`assignment`] reads a minimal model, [`branch_and_bound`] looks for numbers that make it real, and [`witness`]
//! writes the questionnaire and screens it as any other; where there are no such numbers, a blocking clause shuts the facts
//! that clash out, and the solver is asked again.
//!
//! Therefore "never" is certain, since every clause that was added is true of every patient; an example is certain, since
//! it was screened; and what could be neither shown nor shut out within the bounds on effort is said to be open.
//!
//! `Domain`s cut every fact at the numbers that some rule or guarantee tests, dates at the spans,
//! medicines and allergies into kinds that no rule tells apart; each fact may be missing, and one
//! space may serve two rule sets that are compared. INVARIANT: a space holds too much rather than
//! too little, so that "never" is sound; a test puts the exact states of all rules in every worked
//! case into it. A fact with more than 2,000 cells is too large to decide; then only the worked
//! cases speak. Examples are irreducible, not smallest by count: no answer can be left out, but
//! another order might give a shorter one.

use chrono::NaiveDate;

use crate::rule_set::{Condition, RuleSet};
use crate::screening::screener::Screener;

mod applicability;
pub(crate) mod assignment;
pub(crate) mod branch_and_bound;
pub(crate) mod cells;
pub(crate) mod conditions;
mod derived;
pub mod domain;
pub(crate) mod encoding;
pub mod lists;
pub(crate) mod tseitin;
pub(crate) mod witness;

pub(crate) use crate::exact::conditions::{Judgement, Reader, verdict};
pub use crate::exact::domain::TooLarge;
pub(crate) use crate::exact::encoding::Encoding;
pub use crate::exact::tseitin::{DualRail, Tseitin};
pub(crate) use crate::exact::witness::irreducible;
pub use crate::exact::witness::{Witness, of_answers};
pub(crate) use batsat::Lit;

use crate::exact::witness::{Candidate, Failure, questionnaires};

/// How often a patient whose numbers cannot be is shut out before the question is left open.
const MOST_ROUNDS: usize = 400;

/// How often a patient is passed over for whom no numbers were found, and not shown to be none.
const MOST_UNCLEAR: usize = 6;

/// One rule set, or so many, over one space of answers.
#[derive(Debug)]
pub struct Decider<'a, const N: usize = 1> {
    /// The rule sets.
    pub rule_sets: [&'a RuleSet; N],
    /// The formulas.
    pub solver: Tseitin,
    /// The space of answers.
    pub encoding: Encoding,
    /// What each rule set makes of it.
    pub judgements: [Judgement; N],
    /// What screens an example by each rule set.
    screeners: [Screener<'a>; N],
    /// The day of screening and of surgery of every example.
    pub as_of: NaiveDate,
}

/// Whether something can be.
#[derive(Debug)]
pub enum Found {
    /// It cannot, whatever is answered.
    Never,
    /// It can: here is a questionnaire as each rule set sees it, one for each subject.
    Example(Vec<Witness>),
    /// Neither an example nor a proof was found, because of this fact.
    Open(String),
}

/// Who is looked for: a space and the view of a rule set in it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Viewpoint<'s> {
    /// The space; the decider's own, if `None`.
    pub encoding: Option<&'s Encoding>,
    /// Whose view, by position of the rule set.
    pub view: usize,
}

impl<'a, const N: usize> Decider<'a, N> {
    /// Lays out the space of these rule sets. Conditions beside the rules' own may be given, so that it is cut for
    /// them, too; they are of the first rule set.
    ///
    /// # Errors
    /// The fact that makes it too large to decide exactly.
    pub fn new(
        rule_sets: &[&'a RuleSet; N],
        further: &[&Condition],
        as_of: NaiveDate,
    ) -> Result<Self, TooLarge> {
        let mut solver = Tseitin::default();
        let encoding = Encoding::new(&mut solver, rule_sets, further, as_of)?;
        let mut view = 0;
        let judgements = rule_sets.map(|rule_set| {
            let judged = judge(&mut solver, &encoding, rule_set, view);
            view += 1;
            judged
        });
        Ok(Self {
            rule_sets: *rule_sets,
            solver,
            encoding,
            judgements,
            screeners: rule_sets.map(|it| Screener::new(it, as_of)),
            as_of,
        })
    }

    /// Whether all of these hold for some patient; `confirm` is asked of the questionnaires, which settles it.
    pub fn find(&mut self, together: &[Lit], confirm: &dyn Fn(&[Witness]) -> bool) -> Found {
        let everybody: Vec<Viewpoint<'_>> = (0..self.rule_sets.len())
            .map(|view| Viewpoint {
                encoding: None,
                view,
            })
            .collect();
        self.find_among(&everybody, together, confirm)
    }

    /// The same for these subjects, who may be of different spaces.
    pub(crate) fn find_among(
        &mut self,
        who: &[Viewpoint<'_>],
        together: &[Lit],
        confirm: &dyn Fn(&[Witness]) -> bool,
    ) -> Found {
        // A computed number just on a limit is hard to hit, and seldom needed: first without.
        let mut without = together.to_vec();
        for it in who {
            without.extend(
                it.encoding
                    .unwrap_or(&self.encoding)
                    .exact_results()
                    .map(|it| !it),
            );
        }
        match self.find_so(who, &without, confirm) {
            Found::Example(seen) => Found::Example(seen),
            // The whole search takes in what was left out, and settles both.
            _ => self.find_so(who, together, confirm),
        }
    }

    /// Refines models by counterexample until one is real or none is left.
    ///
    /// Each round either ends the search or adds a clause that its model violates, so that no model comes twice. A clause on
    /// facts whose numbers are shown to clash holds for every patient and stays; a clause on facts that merely could not be
    /// settled is bound to `passing`, a literal assumed in this search alone, and makes the answer "open" instead of "never".
    /// A witness whose screening contradicts the formulas would be an error of the encoding: that, too, is "open".
    fn find_so(
        &mut self,
        who: &[Viewpoint<'_>],
        together: &[Lit],
        confirm: &dyn Fn(&[Witness]) -> bool,
    ) -> Found {
        let mut open: Option<String> = None;
        let mut n_unclear = 0;
        // Whom no numbers were found for is passed over in this search alone: another one must meet them again.
        let passing = self.solver.free();
        let together: Vec<Lit> = together.iter().copied().chain([passing]).collect();
        for _ in 0..MOST_ROUNDS {
            let mut encodings: Vec<&Encoding> = who
                .iter()
                .map(|it| it.encoding.unwrap_or(&self.encoding))
                .collect();
            encodings.dedup_by(|a, b| std::ptr::eq(*a, *b));
            if assignment::minimal_model(&mut self.solver, &encodings, &together).is_empty() {
                return open.map_or(Found::Never, Found::Open);
            }
            let subjects: Vec<Candidate<'_>> = who
                .iter()
                .filter_map(|viewpoint| {
                    let encoding = viewpoint.encoding.unwrap_or(&self.encoding);
                    let (rule_set, screener) = (
                        self.rule_sets.get(viewpoint.view)?,
                        self.screeners.get(viewpoint.view)?,
                    );
                    Some(Candidate {
                        rule_set,
                        screener,
                        encoding,
                        view: viewpoint.view,
                        assignment: assignment::read(&self.solver, encoding),
                    })
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
                    open.get_or_insert_with(|| {
                        names
                            .first()
                            .map_or("answers that cannot stand together", String::as_str)
                            .to_owned()
                    });
                    n_unclear += 1;
                    if n_unclear >= MOST_UNCLEAR {
                        break;
                    }
                    shut.push(!passing);
                    // Whoever is alike in what was unclear would be unclear again.
                    if names.len() > 1 {
                        names
                    } else {
                        self.encoding.domains.keys().cloned().collect()
                    }
                }
            };
            let names: Vec<&str> = names.iter().map(String::as_str).collect();
            for encoding in encodings {
                shut.extend(assignment::blocking_clause(&self.solver, encoding, &names));
            }
            self.solver.require(shut);
        }
        Found::Open(open.unwrap_or_else(|| "derived facts".to_owned()))
    }
}

impl Decider<'_> {
    /// Where a condition is yes and where it is no, dual-rail.
    pub(crate) fn pair(&mut self, condition: &Condition) -> DualRail {
        self.reader().pair(condition)
    }

    /// What reads conditions as the rule set does.
    pub(crate) fn reader(&mut self) -> Reader<'_> {
        let ([rule_set], [judged]) = (self.rule_sets, &self.judgements);
        Reader {
            solver: &mut self.solver,
            encoding: &self.encoding,
            rule_set,
            view: 0,
            counted: judged.counted.clone(),
        }
    }

    /// The same patient once more answers came, in a space of their own: all that is known here is known there. `None`, if
    /// that space is not cut like this one.
    ///
    /// # Errors
    /// The fact that makes it too large.
    pub(crate) fn answered_further(
        &mut self,
        further: &[&Condition],
    ) -> Result<Option<(Encoding, Judgement)>, TooLarge> {
        let [rule_set] = self.rule_sets;
        let after = Encoding::new(&mut self.solver, &[rule_set], further, self.as_of)?;
        if !self.encoding.is_cut_like(&after) {
            return Ok(None);
        }
        let judged = judge(&mut self.solver, &after, rule_set, 0);
        self.encoding.is_known_better_in(&after, &mut self.solver);
        Ok(Some((after, judged)))
    }
}

/// What a rule set makes of every patient of a space, derived facts included.
fn judge(solver: &mut Tseitin, encoding: &Encoding, rule_set: &RuleSet, view: usize) -> Judgement {
    let mut reader = Reader::new(solver, encoding, rule_set, view);
    applicability::settle(&mut reader);
    reader.judge()
}
