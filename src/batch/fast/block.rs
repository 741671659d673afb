//! A block of records settled together: which answers count, what follows from them, and what each rule comes to.
//!
//! This is `facts::applicability` and `screening::evaluate` for many records at once, in the same order: where these ask
//! whether something is so of a patient, this keeps the set of those of whom it is so. A derived fact is computed for each
//! record, by its own formula.

use std::sync::Arc;

use crate::batch::fast::groundwork::{
    Column, FastTurn, Groundwork, Mark, OneTest, QuestionTurn, Step,
};
use crate::batch::fast::lanes::{Kleene, Lanes, N_LANES};
use crate::batch::fast::meanings::{Meaning, Meanings};
use crate::batch::fast::record::OneRecord;
use crate::formulas::RoleKind;
use crate::formulas::given::{GivenInputs, GivenValue};
use crate::questionnaire::facts::derive;
use crate::questionnaire::facts::{Fact, Known, Value};
use crate::rule_set::{Conflict, Derived, Idx, Input, Question, Rule, Table};
use crate::truth::FactSlot;

/// How many results of a formula are kept.
const N_KEPT: usize = 1 << 10;

/// The records of one block.
#[derive(Debug)]
pub(super) struct Settled {
    /// Those that are in it.
    pub(super) taken: Lanes,
    /// What each is marked with.
    marks: Table<Lanes, Mark>,
    /// What formulas are given.
    columns: Columns,
    /// The entries of lists among these, one list after the other.
    entries: Vec<Idx<Meaning>>,
    /// What each test comes to.
    tests: Table<Kleene, OneTest>,
    /// Whether each question applies.
    applies: Table<Kleene, Question>,
    /// Whether answers are ruled out.
    ruled_out: Lanes,
    ruled_out_open: Lanes,
    /// Whose answer to each question is ruled out, and whose is not offered.
    at_odds: Table<[Lanes; 2], Question>,
    /// What each rule comes to.
    pub(super) rules: Table<Kleene, Rule>,
    kept: Table<KeptResults, Derived>,
    pile: Vec<Kleene>,
}

impl Settled {
    /// Nobody yet.
    pub(super) fn new(groundwork: &Groundwork<'_>) -> Self {
        let (questions, derived) = (
            &groundwork.questions,
            &groundwork.rule_set.catalogue.derived,
        );
        Self {
            taken: Lanes::NONE,
            marks: groundwork.marks.iter().map(|()| Lanes::NONE).collect(),
            columns: groundwork
                .columns
                .iter()
                .map(|_| [Held::Missing; N_LANES])
                .collect(),
            entries: Vec::new(),
            tests: groundwork.tests.iter().map(|_| Kleene::OPEN).collect(),
            applies: questions.iter().map(|_| Kleene::YES).collect(),
            ruled_out: Lanes::NONE,
            ruled_out_open: Lanes::NONE,
            at_odds: questions.iter().map(|_| [Lanes::NONE; 2]).collect(),
            rules: groundwork.rules.iter().map(|_| Kleene::OPEN).collect(),
            kept: derived
                .iter()
                .map(|it| KeptResults::new(groundwork, it))
                .collect(),
            pile: Vec::new(),
        }
    }

    /// Takes everybody out. With `forgets`, all meanings were forgotten.
    pub(super) fn clear(&mut self, forgets: bool) {
        self.taken = Lanes::NONE;
        self.marks.iter_mut().for_each(|it| *it = Lanes::NONE);
        self.columns
            .iter_mut()
            .for_each(|it| *it = [Held::Missing; N_LANES]);
        self.entries.clear();
        self.ruled_out = Lanes::NONE;
        self.ruled_out_open = Lanes::NONE;
        if forgets {
            self.kept.iter_mut().for_each(KeptResults::clear);
        }
    }

    /// Takes a record in.
    pub(super) fn take(
        &mut self,
        groundwork: &Groundwork<'_>,
        meanings: &Meanings,
        lane: usize,
        record: &OneRecord,
    ) {
        self.taken.insert(lane);
        for at in &record.meanings {
            let meaning = &meanings.all[*at];
            for mark in &meaning.marks {
                self.marks[*mark].insert(lane);
            }
            if let Some(column) = groundwork.slots[meaning.slot].column
                && meaning.fact.is_some()
            {
                put(&mut self.columns, column, lane, Held::Answer(*at));
            }
        }
        for mark in &record.marks {
            self.marks[*mark].insert(lane);
        }
        for (column, entries) in &record.lists {
            let from = self.entries.len();
            let entries = record.meanings.get(entries.clone()).unwrap_or(&[]);
            self.entries.extend_from_slice(entries);
            let n = entries.len();
            put(&mut self.columns, *column, lane, Held::Entries { from, n });
        }
    }

    /// Settles everything that hangs on answers, in turn, and runs all rules.
    pub(super) fn settle(&mut self, groundwork: &Groundwork<'_>, meanings: &Meanings) {
        for slot in groundwork.slots.indices() {
            self.test(groundwork, slot);
        }
        for turn in &groundwork.turns {
            match turn {
                FastTurn::Derived(at) => self.derive(groundwork, meanings, *at),
                FastTurn::Question(gate) => self.place(groundwork, gate),
            }
        }
        let answers = Answers {
            ruled_out: Kleene {
                yes: self.ruled_out,
                no: !(self.ruled_out | self.ruled_out_open),
            },
            not_offered: self.not_offered(groundwork),
            unread: self.unread(groundwork),
        };
        let Self {
            tests, rules, pile, ..
        } = self;
        for (steps, result) in groundwork.rules.iter().zip(rules.iter_mut()) {
            *result = run(steps, pile, &answers, |at| tests[at]);
        }
    }

    /// What the tests of a fact come to, as it is now.
    fn test(&mut self, groundwork: &Groundwork<'_>, slot: FactSlot) {
        let own = &groundwork.slots[slot];
        let known = self.marks[own.known];
        let procedure_on = groundwork.rule_set.catalogue.procedure_on;
        let dated = procedure_on.map_or(Lanes::NONE, |it| self.marks[groundwork.slots[it].known]);
        for at in &own.tests {
            let test = &groundwork.tests[*at];
            let yes = self.marks[test.yes];
            let no = known & !yes & !self.marks[test.open];
            self.tests[*at] = Kleene {
                yes,
                no: if test.is_age { no & dated } else { no },
            };
        }
    }

    /// Lets the answers to a question count, or not: `applicability::place`.
    fn place(&mut self, groundwork: &Groundwork<'_>, gate: &QuestionTurn) {
        let applies = self.applies(groundwork, &gate.asked);
        self.applies[gate.question] = applies;
        let question = &groundwork.rule_set.catalogue.questions[gate.question];
        let own = &groundwork.questions[gate.question];
        let slots = || {
            [Some(question.slot), question.date_slot]
                .into_iter()
                .flatten()
        };
        let known = self.marks[groundwork.slots[question.slot].known];
        let given = slots().fold(Lanes::NONE, |so_far, slot| {
            so_far | self.marks[groundwork.slots[slot].known]
        });
        let standing = self.marks[own.standing];
        let spare = !known | self.marks[own.harmless] | standing;
        let counts =
            gate.otherwise.as_ref().map_or(given, |_| self.taken) & !self.marks[own.as_otherwise];
        let (no, open) = (counts & applies.no, counts & applies.open());
        let [ruled_out, _] = &mut self.at_odds[gate.question];
        *ruled_out = no & !spare;
        self.ruled_out |= *ruled_out;
        self.ruled_out_open |= open & !spare;
        let (settled, waits) = (no & spare, open & spare & !standing);
        let aside = settled | waits;
        if aside == Lanes::NONE {
            return;
        }
        for mark in &gate.own {
            self.marks[*mark] = self.marks[*mark] & !aside;
        }
        for mark in gate.otherwise.iter().flatten() {
            self.marks[*mark] |= settled;
        }
        for slot in slots() {
            self.test(groundwork, slot);
            if let Some(column) = groundwork.slots[slot].column {
                aside.each(|lane| put(&mut self.columns, column, lane, Held::Missing));
            }
        }
    }

    /// Whether a question applies: a test of a missing answer that nobody asks for is no.
    fn applies(&mut self, groundwork: &Groundwork<'_>, asked: &[Step]) -> Kleene {
        let Self {
            tests,
            applies,
            marks,
            pile,
            ..
        } = self;
        run(asked, pile, &Answers::OPEN, |at| {
            let (result, test) = (tests[at], &groundwork.tests[at]);
            let nobody_asks = test.question.map_or(Lanes::NONE, |it| applies[it].no);
            let known = marks[groundwork.slots[test.slot].known];
            Kleene {
                no: result.no | (nobody_asks & !known),
                ..result
            }
        })
    }

    fn derive(&mut self, groundwork: &Groundwork<'_>, meanings: &Meanings, at: Idx<Derived>) {
        let derived = &groundwork.rule_set.catalogue.derived[at];
        let own = &groundwork.slots[derived.slot];
        let Self {
            marks,
            columns,
            entries,
            kept,
            ..
        } = self;
        // What comes of nothing at all is the same for everybody.
        let inputs = kept[at].inputs.iter();
        let known = inputs.fold(Lanes::NONE, |so_far, slot| {
            so_far | marks[groundwork.slots[*slot].known]
        });
        let lanes = match kept[at].of_nothing {
            Some(_) => self.taken,
            None => self.taken & known,
        };
        lanes.each(|lane| {
            let held = |slot: FactSlot| {
                let column = &columns[groundwork.slots[slot].column?];
                column.get(lane).copied()
            };
            let given = |slot, kind| {
                let entries = |from, n| entries.get(from..)?.get(..n);
                given(groundwork, meanings, entries, (slot, kind), held(slot)?)
            };
            let Some(number) = kept[at].result(held, || number(derived, given)) else {
                return;
            };
            marks[own.known].insert(lane);
            for test in &own.tests {
                if let Some(mark) = groundwork.tests[*test].mark(&Value::Number(number)) {
                    marks[mark].insert(lane);
                }
            }
            if let Some(column) = own.column {
                put(columns, column, lane, Held::Number(number.to_bits()));
            }
        });
        self.test(groundwork, derived.slot);
    }

    /// A fact of a record, as findings tell it; `None` if it is not known.
    pub(super) fn fact(
        &self,
        groundwork: &Groundwork<'_>,
        meanings: &Meanings,
        lane: usize,
        of: &[Idx<Meaning>],
        slot: FactSlot,
    ) -> Option<Arc<Fact>> {
        let own = &groundwork.slots[slot];
        if !self.marks[own.known].contains(lane) {
            return None;
        }
        let catalogue = &groundwork.rule_set.catalogue;
        if let Some(derived) = catalogue.derived_of(slot) {
            let Some(Held::Number(bits)) = self.columns[own.column?].get(lane) else {
                return None;
            };
            let number = f64::from_bits(*bits);
            return Some(Arc::new(Fact::Known(Known {
                value: Value::Number(number),
                shown: derive::shown(derived, number),
                place: None,
            })));
        }
        let given = of.iter().map(|at| &meanings.all[*at]);
        let given = given.filter(|it| it.slot == slot && it.fact.is_some());
        let (at, question) = catalogue
            .questions
            .entries()
            .find(|(_, it)| it.slot == slot || it.date_slot == Some(slot))?;
        let harmless = &groundwork.questions[at].harmless;
        let counts = given.clone().any(|it| !it.marks.contains(harmless));
        match question.otherwise {
            // What is so anyhow is told like what was answered.
            Some(option) if self.applies[at].no.contains(lane) && !counts => {
                Some(Arc::new(Fact::Known(Known {
                    value: Value::Choice(option),
                    shown: question.option_in_words(option).to_owned(),
                    place: None,
                })))
            }
            _ => meanings.fact(given),
        }
    }

    /// The facts of a record that are at odds with others.
    pub(super) fn at_odds(
        &self,
        groundwork: &Groundwork<'_>,
        lane: usize,
        conflict: Conflict,
    ) -> Vec<FactSlot> {
        let of = |[ruled_out, not_offered]: &[Lanes; 2]| match conflict {
            Conflict::RuledOut => ruled_out.contains(lane),
            Conflict::NotOffered => not_offered.contains(lane),
            Conflict::Unread => false,
        };
        let questions = &groundwork.rule_set.catalogue.questions;
        let found = questions.iter().zip(&self.at_odds);
        let found = found.filter(|(_, own)| of(own)).map(|(it, _)| it.slot);
        let mut slots: Vec<FactSlot> = found.collect();
        slots.sort();
        slots
    }

    /// Whether the plan holds what the clinic does not offer: `applicability::compare_with_offers`.
    fn not_offered(&mut self, groundwork: &Groundwork<'_>) -> Kleene {
        let (mut yes, mut open) = (Lanes::NONE, Lanes::NONE);
        for (at, own) in groundwork
            .questions
            .entries()
            .filter(|(_, it)| it.offered.is_some())
        {
            let question = &groundwork.rule_set.catalogue.questions[at];
            let (applies, known) = (
                self.applies[at],
                self.marks[groundwork.slots[question.slot].known],
            );
            let beyond = known & self.marks[own.not_offered];
            let waits = applies.open() & self.marks[own.standing];
            let [_, not_offered] = &mut self.at_odds[at];
            *not_offered = beyond & !waits;
            yes |= *not_offered;
            open |=
                (beyond & waits) | (known & self.marks[own.offer_open]) | (!known & !applies.no);
        }
        Kleene {
            yes,
            no: !(yes | open),
        }
    }

    /// Whether a list may hold a name that nobody recognised: `applicability::unread`.
    fn unread(&self, groundwork: &Groundwork<'_>) -> Kleene {
        let catalogue = &groundwork.rule_set.catalogue;
        let lists = [catalogue.medicines, catalogue.allergies];
        let mut open = Lanes::NONE;
        for (at, question) in catalogue
            .questions
            .entries()
            .filter(|(_, it)| lists.contains(&Some(it.slot)))
        {
            let known = self.marks[groundwork.slots[question.slot].known];
            open |= (known & self.marks[groundwork.questions[at].unread])
                | (!known & !self.applies[at].no);
        }
        Kleene {
            yes: Lanes::NONE,
            no: !open,
        }
    }
}

/// Whether answers are at odds with others.
struct Answers {
    ruled_out: Kleene,
    not_offered: Kleene,
    unread: Kleene,
}

impl Answers {
    const OPEN: Self = Self {
        ruled_out: Kleene::OPEN,
        not_offered: Kleene::OPEN,
        unread: Kleene::OPEN,
    };
}

/// What a condition comes to. `pile` is room for results, and empty.
fn run(
    steps: &[Step],
    pile: &mut Vec<Kleene>,
    answers: &Answers,
    test: impl Fn(Idx<OneTest>) -> Kleene,
) -> Kleene {
    for step in steps {
        let result = match *step {
            Step::Test(at) => test(at),
            Step::Answers(Conflict::RuledOut) => answers.ruled_out,
            Step::Answers(Conflict::NotOffered) => answers.not_offered,
            Step::Answers(Conflict::Unread) => answers.unread,
            Step::All(n) => joined(pile, n, Kleene::YES, Kleene::and),
            Step::Any(n) => joined(pile, n, Kleene::NO, Kleene::or),
            Step::Not => joined(pile, 1, Kleene::OPEN, |_, it| it.not()),
        };
        pile.push(result);
    }
    pile.pop().unwrap_or(Kleene::OPEN)
}

/// The last results, taken off the pile and joined.
fn joined(
    pile: &mut Vec<Kleene>,
    n: usize,
    none: Kleene,
    join: impl Fn(Kleene, Kleene) -> Kleene,
) -> Kleene {
    let keep = pile.len().saturating_sub(n);
    let last = pile.get(keep..).unwrap_or(&[]);
    let result = last.iter().fold(none, |so_far, it| join(so_far, *it));
    pile.truncate(keep);
    result
}

/// What formulas are given of each record.
type Columns = Table<[Held; N_LANES], Column>;

/// What is known of a fact.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Held {
    Missing,
    Answer(Idx<Meaning>),
    /// So many entries of a list, the first of them at this place among all.
    Entries {
        from: usize,
        n: usize,
    },
    /// The bits of a number.
    Number(u64),
}

fn put(columns: &mut Columns, column: Idx<Column>, lane: usize, held: Held) {
    if let Some(place) = columns[column].get_mut(lane) {
        *place = held;
    }
}

/// A fact as a role of a formula takes it.
fn given<'a, 'e>(
    groundwork: &Groundwork<'a>,
    meanings: &Meanings,
    entries: impl Fn(usize, usize) -> Option<&'e [Idx<Meaning>]>,
    (slot, kind): (FactSlot, RoleKind),
    held: Held,
) -> Option<GivenValue<'a>> {
    let as_given = |value: &Value| derive::as_given(groundwork.rule_set, kind, slot, value);
    match held {
        Held::Missing => None,
        Held::Number(bits) => as_given(&Value::Number(f64::from_bits(bits))),
        Held::Answer(at) => as_given(meanings.all[at].value()?),
        Held::Entries { from, n } => {
            let mut all = Vec::new();
            for at in entries(from, n)? {
                let GivenValue::Medicines(one) = as_given(meanings.all[*at].value()?)? else {
                    return None;
                };
                all.extend(one);
            }
            Some(GivenValue::Medicines(all))
        }
    }
}

/// The number that a formula gives, if it gives one.
fn number<'a>(
    derived: &Derived,
    given: impl Fn(FactSlot, RoleKind) -> Option<GivenValue<'a>>,
) -> Option<f64> {
    let inputs = derived.given().map(|(role, input)| {
        let value = match input {
            Input::Limit(_, number) => Some(GivenValue::Number(number)),
            Input::Fact(slot) => given(slot, role.kind),
        };
        (role.name, value)
    });
    let result = (derived.formula.compute)(&GivenInputs(inputs.collect()));
    result.ok().filter(|it| it.is_finite())
}

/// The last results of a formula, by what it was given.
#[derive(Debug)]
struct KeptResults {
    /// The facts that it is given.
    inputs: Vec<FactSlot>,
    /// Its result where none of them is known.
    of_nothing: Option<f64>,
    /// What it was given for each result, one after the other.
    given: Vec<u64>,
    /// The results; nothing where none is kept.
    results: Vec<Option<Option<f64>>>,
    now: Vec<u64>,
}

impl KeptResults {
    fn new(groundwork: &Groundwork<'_>, derived: &Derived) -> Self {
        let inputs = derived.inputs.iter().filter_map(|input| input.fact());
        let inputs: Vec<FactSlot> = inputs
            .filter(|slot| groundwork.slots[*slot].column.is_some())
            .collect();
        Self {
            of_nothing: number(derived, |_, _| None),
            given: vec![0; N_KEPT * inputs.len()],
            results: vec![None; N_KEPT],
            now: Vec::new(),
            inputs,
        }
    }

    fn clear(&mut self) {
        self.results.fill(None);
    }

    /// The result for what is held of each fact, computed if it is not kept.
    fn result(
        &mut self,
        held: impl Fn(FactSlot) -> Option<Held>,
        compute: impl FnOnce() -> Option<f64>,
    ) -> Option<f64> {
        self.now.clear();
        let mut hash = 0_u64;
        for slot in &self.inputs {
            // Of one fact there are answers or numbers, never both.
            let bits = match held(*slot).unwrap_or(Held::Missing) {
                Held::Missing => u64::MAX,
                Held::Answer(at) => at.index() as u64,
                Held::Number(bits) => bits,
                // Hardly any list comes twice.
                Held::Entries { .. } => return compute(),
            };
            hash = (hash ^ bits)
                .wrapping_mul(0x9e37_79b9_7f4a_7c15)
                .rotate_left(29);
            self.now.push(bits);
        }
        let (at, n_inputs) = ((hash >> 20) as usize % N_KEPT, self.inputs.len());
        let given = self.given.get_mut(at * n_inputs..(at + 1) * n_inputs);
        let (Some(given), Some(kept)) = (given, self.results.get_mut(at)) else {
            return compute();
        };
        match kept {
            Some(result) if *given == self.now => *result,
            _ => {
                given.copy_from_slice(&self.now);
                *kept.insert(compute())
            }
        }
    }
}
