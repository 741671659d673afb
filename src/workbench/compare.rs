//! Two rule sets beside one another: what changed, and for whom. Over worked cases and questionnaires, and over every
//! possible questionnaire that both accept.

use crate::exact::Lit;
use chrono::NaiveDate;

use crate::document::diagnostic::Diagnostic;
use crate::exact::{Decider, Found, Judgement, TooLarge, Witness};
use crate::outcome::State;
use crate::outcome::{Outcome, Standing, Urgency};
use crate::questionnaire::facts;
use crate::questionnaire::facts::{Facts, Gathered};
use crate::rule_set::{Idx, Question, Rule, RuleSet};
use crate::screening::evaluate::{States, firing, standing};
use crate::screening::screener::Screener;

pub mod changes;
mod known;
pub mod lines;
mod refused_by_one;

pub use crate::workbench::compare::changes::{
    ChangeKind, ChangedPart, RuleSetChange, ThingKind, changes,
};
use crate::workbench::compare::known::KnownPatients;

/// One patient whom the two rule sets judge otherwise.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Move {
    /// The case or the questionnaire.
    pub name: String,
    /// What the old rule set comes to.
    pub old: Standing,
    /// What the new one comes to.
    pub new: Standing,
    /// Rules that fire in the old one alone.
    pub lost: Vec<String>,
    /// Rules that fire in the new one alone.
    pub gained: Vec<String>,
}

/// Some patients under both rule sets.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Tally {
    /// How many both rule sets judged.
    pub n_judged: usize,
    /// How many one of them refused.
    pub refused: Vec<String>,
    /// Those whose verdict or findings differ, the less cautious first.
    pub moves: Vec<Move>,
}

/// One way in which some possible questionnaire is judged otherwise.
#[derive(Debug)]
pub struct Possible {
    /// What the old rule set comes to.
    pub old: Standing,
    /// What the new one comes to.
    pub new: Standing,
    /// A questionnaire as the old and as the new one read it, from which no answer can be left out.
    pub example: Result<Vec<Witness>, String>,
}

/// A rule that fires for other patients, or that only one of the two has.
#[derive(Debug)]
pub struct Shift {
    /// Its id.
    pub rule: String,
    /// Somebody for whom only the old one fires; an error names the fact that left it open.
    pub lost: Option<Result<Vec<Witness>, String>>,
    /// Somebody for whom only the new one fires.
    pub gained: Option<Result<Vec<Witness>, String>>,
}

/// What holds over every possible questionnaire that both accept.
#[derive(Debug, Default)]
pub struct Exact {
    /// Each pair of verdicts that can come out, the less cautious first.
    pub moves: Vec<Possible>,
    /// Rules that fire for others than before.
    pub shifts: Vec<Shift>,
    /// Answers that one of them refuses: about these nothing is said.
    pub refused_by_one: Vec<String>,
}

/// Whether a new verdict is less cautious than an old one.
pub fn is_less_cautious(old: Standing, new: Standing) -> bool {
    level(new) < level(old)
}

/// Two rule sets that are compared, each with what screens by it.
#[derive(Debug)]
pub struct Both<'a> {
    /// As it is.
    pub old: Screener<'a>,
    /// As it is proposed.
    pub new: Screener<'a>,
}

impl<'a> Both<'a> {
    /// Compiles both, for screenings as of this day.
    pub fn new(old: &'a RuleSet, new: &'a RuleSet, as_of: NaiveDate) -> Self {
        Self {
            old: Screener::new(old, as_of),
            new: Screener::new(new, as_of),
        }
    }

    /// What both make of a patient on some day. Answers are as the new rule set has them.
    ///
    /// # Errors
    /// What the new one refuses, or else what the old one does.
    fn facts(&self, answers: &Gathered, as_of: NaiveDate) -> Result<[Facts; 2], Vec<Diagnostic>> {
        let after = self.new.clone().on(as_of).facts(answers)?;
        let before = self.old.clone().on(as_of).facts(&as_asked(
            self.old.rule_set(),
            self.new.rule_set(),
            answers,
        ))?;
        Ok([before, after])
    }

    /// The states of all rules of the old one and of the new one.
    fn states(&self, [before, after]: &[Facts; 2]) -> [States; 2] {
        [self.old.states(before), self.new.states(after)]
    }
}

/// Runs patients under both rule sets. Answers are as the new rule set has them: each with its name.
pub fn tally<'a>(
    both: &Both<'_>,
    patients: impl Iterator<Item = (String, &'a Gathered, NaiveDate)>,
) -> Tally {
    let (old, new) = (both.old.rule_set(), both.new.rule_set());
    let mut tally = Tally::default();
    for (name, answers, as_of) in patients {
        let Ok(facts) = both.facts(answers, as_of) else {
            tally.refused.push(name);
            continue;
        };
        tally.n_judged += 1;
        let [states_before, states] = both.states(&facts);
        let (fired, fires) = (firing(old, &states_before), firing(new, &states));
        let only = |these: &[&str], others: &[&str]| {
            these
                .iter()
                .filter(|it| !others.contains(it))
                .map(|it| (*it).to_owned())
                .collect()
        };
        let one = Move {
            name,
            old: standing(old, &states_before),
            new: standing(new, &states),
            lost: only(&fired, &fires),
            gained: only(&fires, &fired),
        };
        if one.old != one.new || !one.lost.is_empty() || !one.gained.is_empty() {
            tally.moves.push(one);
        }
    }
    tally
        .moves
        .sort_by_key(|it| (rank(it.old, it.new), it.name.clone()));
    tally
}

/// Less cautious first, by how far; then the same verdict; then more cautious.
fn rank(old: Standing, new: Standing) -> (i32, i32) {
    (level(new) - level(old), level(new))
}

fn level(it: Standing) -> i32 {
    match (it.outcome, it.urgency) {
        (Outcome::Go, _) => 0,
        (Outcome::Defer, _) => 1,
        (Outcome::Refer, None | Some(Urgency::Routine)) => 2,
        (Outcome::Refer, Some(Urgency::Urgent)) => 3,
        (Outcome::Refer, Some(Urgency::SameDay)) => 4,
    }
}

/// Answers to the questions of one rule set, for another: by the questions' names. What the other does not ask is left out.
pub(crate) fn as_asked(other: &RuleSet, rule_set: &RuleSet, answers: &Gathered) -> Gathered {
    let place = |at: Idx<Question>| {
        let id = &rule_set.catalogue.questions[at].id;
        other.catalogue.questions.position(|it| it.id == *id)
    };
    let moved = |given: &std::collections::BTreeMap<Idx<Question>, facts::Given>| {
        given
            .iter()
            .filter_map(|(at, it)| Some((place(*at)?, it.clone())))
            .collect()
    };
    Gathered {
        given: moved(&answers.given),
        offers: moved(&answers.offers),
        notes: answers.notes.clone(),
        completed_on: answers.completed_on.clone(),
    }
}

/// Compares over every possible questionnaire that both accept. What one of them does not ask is left out for it.
///
/// Patients that are known are looked at first: answers as the new rule set has them, each with the day of the screening.
/// Whoever of them is judged otherwise is the example, with every answer left out that can be; only where there is none is
/// one looked for.
///
/// # Errors
/// The fact that makes the rule sets too large to be compared so.
pub fn exact(both: &Both<'_>, patients: &[(&Gathered, NaiveDate)]) -> Result<Exact, TooLarge> {
    let (old, new) = (both.old.rule_set(), both.new.rule_set());
    if old.digest == new.digest && old.local.is_none() && new.local.is_none() {
        return Ok(Exact::default());
    }
    let decider = Decider::new(&[old, new], &[], both.new.as_of())?;
    let [before, after] = &decider.judgements;
    let (before_is, after_is) = (classes(before), classes(after));
    let plain = [!before.ruled_out.yes, !after.ruled_out.yes];
    let never = decider.solver.never();
    // Each rule of either, with its place in both.
    let place = |rule_set: &RuleSet, id: &str| rule_set.judging.position(|it| it.id == id);
    let mut rules: Vec<(&str, [Option<Idx<Rule>>; 2])> = old
        .rule_entries()
        .map(|(at, it)| (it.id.as_str(), [Some(at), place(new, &it.id)]))
        .collect();
    let added = new
        .rule_entries()
        .filter(|(_, it)| place(old, &it.id).is_none());
    rules.extend(added.map(|(at, it)| (it.id.as_str(), [None, Some(at)])));
    let yes = |judgement: &Judgement, at: Option<Idx<Rule>>| {
        at.map_or(never, |at| judgement.rules[at].yes)
    };
    let sides: Vec<[Lit; 2]> = rules
        .iter()
        .map(|(_, [was, is])| [yes(before, *was), yes(after, *is)])
        .collect();
    let known = KnownPatients::new(both, patients);
    let mut search = ExampleSearch {
        decider,
        known,
        plain,
    };
    let mut moves = Vec::new();
    for (was, before_lits) in STANDINGS.iter().zip(&before_is) {
        for (is, after_lits) in STANDINGS.iter().zip(&after_is).filter(|(is, _)| *is != was) {
            let together: Vec<Lit> = before_lits.iter().chain(after_lits).copied().collect();
            let judged = |states: [&States; 2]| {
                same_class(standing(old, states[0]), *was)
                    && same_class(standing(new, states[1]), *is)
            };
            if let Some(example) = search.plainest(&together, &judged) {
                moves.push(Possible {
                    old: *was,
                    new: *is,
                    example,
                });
            }
        }
    }
    moves.sort_by_key(|it| rank(it.old, it.new));
    let mut shifts = Vec::new();
    for ((id, places), [was, is]) in rules.iter().zip(sides) {
        let fires = |states: &States, at: Option<Idx<Rule>>| {
            at.is_some_and(|at| states[at] == State::Fires)
        };
        let mut side = |together: [Lit; 2], wanted: [bool; 2]| {
            let judged = |states: [&States; 2]| {
                [fires(states[0], places[0]), fires(states[1], places[1])] == wanted
            };
            search.plainest(&together, &judged)
        };
        let lost = side([was, !is], [true, false]);
        let gained = side([!was, is], [false, true]);
        if lost.is_some() || gained.is_some() {
            shifts.push(Shift {
                rule: (*id).to_owned(),
                lost,
                gained,
            });
        }
    }
    Ok(Exact {
        moves,
        shifts,
        refused_by_one: refused_by_one::refused_by_one(old, new),
    })
}

/// Looks for examples.
struct ExampleSearch<'a> {
    decider: Decider<'a, 2>,
    known: KnownPatients<'a>,
    /// That no answer is contradictory.
    plain: [Lit; 2],
}

impl ExampleSearch<'_> {
    /// An example without contradictory answers if there is one, else any; `None` if there is none.
    fn plainest(
        &mut self,
        together: &[Lit],
        judged: &dyn Fn([&States; 2]) -> bool,
    ) -> Option<Result<Vec<Witness>, String>> {
        if !self.decider.solver.possible(together) {
            return None;
        }
        let confirm = |seen: &[Witness]| match seen {
            [old, new] => judged([&old.states, &new.states]),
            _ => false,
        };
        let without: Vec<Lit> = together.iter().chain(&self.plain).copied().collect();
        for (is_plain, lits) in [(true, without.as_slice()), (false, together)] {
            if let Some(seen) = self.known.example(is_plain, judged) {
                return Some(Ok(seen));
            }
            match self.decider.find(lits, &confirm) {
                Found::Example(seen) => return Some(Ok(seen)),
                // Rather somebody who contradicts themselves than nobody.
                Found::Open(fact) => return Some(self.known.example(false, judged).ok_or(fact)),
                Found::Never => {}
            }
        }
        None
    }
}

/// What a screening can come to, from the least cautious on.
const STANDINGS: [Standing; 5] = [
    Standing::GO,
    Standing::new(Outcome::Defer, None),
    Standing::new(Outcome::Refer, Some(Urgency::Routine)),
    Standing::new(Outcome::Refer, Some(Urgency::Urgent)),
    Standing::new(Outcome::Refer, Some(Urgency::SameDay)),
];

/// Where each of them comes out.
fn classes(judgement: &Judgement) -> [Vec<Lit>; 5] {
    let [routine, urgent, same_day] = judgement.refers;
    [
        vec![judgement.goes],
        vec![!judgement.goes, !routine],
        vec![routine, !urgent],
        vec![urgent, !same_day],
        vec![same_day],
    ]
}

fn same_class(one: Standing, other: Standing) -> bool {
    level(one) == level(other)
}
