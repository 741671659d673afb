//! What is worked out once, before any record is looked at: every test once, the conditions as steps over them, and which mark
//! says what of a record.

use std::collections::HashMap;

use chrono::NaiveDate;

use crate::quantity::when::When;
use crate::questionnaire::facts::applicability::{is_harmless, is_offered};
use crate::questionnaire::facts::{Gathered, Offered, Value, truth_of};
use crate::rule_set::{
    Condition, Conflict, Dependent, Derived, FactKind, Idx, Input, Question, Rule, RuleSet, Table,
    Test,
};
use crate::screening::screener::Screener;
use crate::truth::{FactSlot, Slot, Truth};

/// What is the same for all records.
#[derive(Debug)]
pub(super) struct Groundwork<'a> {
    pub(super) rule_set: &'a RuleSet,
    pub(super) as_of: NaiveDate,
    /// What the clinic answers for everybody.
    pub(super) standing: Gathered,
    /// Every test of a fact once.
    pub(super) tests: Table<FactTest<'a>, OneTest>,
    /// What each fact is to the records.
    pub(super) slots: Table<SlotUse, Slot>,
    /// What each question is to them.
    pub(super) questions: Table<QuestionUse, Question>,
    /// The marks that a record may have, and the facts that formulas give or are given, each in its column.
    pub(super) marks: Table<(), Mark>,
    pub(super) columns: Table<FactSlot, Column>,
    /// What is settled in turn.
    pub(super) turns: Vec<FastTurn>,
    /// The condition of each rule.
    pub(super) rules: Table<Vec<Step>, Rule>,
    /// The keys of the sections, in the order of the rule set.
    pub(super) sections: Table<SectionKeys>,
    /// The section of each key.
    pub(super) section_at: HashMap<Box<[u8]>, Idx<SectionKeys>>,
}

/// Something that may be so of a record: that a fact is known, that a test of it holds, that an answer has a trait.
#[derive(Debug)]
pub(super) enum Mark {}

/// A fact that formulas give or are given.
#[derive(Debug)]
pub(super) enum Column {}

/// A test of one fact, by its position.
#[derive(Debug)]
pub(super) enum OneTest {}

/// A test of one fact.
#[derive(Debug)]
pub(super) struct FactTest<'a> {
    pub(super) condition: &'a Condition,
    pub(super) slot: FactSlot,
    /// The question behind the fact, whose turn comes before that of any whose condition looks at it.
    pub(super) question: Option<Idx<Question>>,
    /// Whether it counts to the day of the procedure.
    pub(super) is_age: bool,
    /// The mark that it holds.
    pub(super) yes: Idx<Mark>,
    /// The mark that it is open although the fact is known.
    pub(super) open: Idx<Mark>,
}

impl FactTest<'_> {
    /// Whether a test of an age holds on the day of the procedure.
    pub(super) fn holds_on(&self, on: &When, taken: &When) -> bool {
        match self.condition {
            Condition::Fact {
                test: Test::OlderThan(limit),
                ..
            } => When::age_exceeds(taken, on, &limit.span),
            Condition::Fact {
                test: Test::Within(limit),
                ..
            } => !When::age_exceeds(taken, on, &limit.span),
            _ => false,
        }
    }
}

/// What a fact is to the records.
#[derive(Debug)]
pub(super) struct SlotUse {
    /// The mark that it is known.
    pub(super) known: Idx<Mark>,
    /// Its tests.
    pub(super) tests: Vec<Idx<OneTest>>,
    /// Those of them that ask for several entries of a list: of any other, a list is what one of its entries is.
    pub(super) several: Vec<Idx<OneTest>>,
    /// Its column, if a formula gives it or is given it.
    pub(super) column: Option<Idx<Column>>,
    /// Whether a day must not lie after that of the procedure.
    pub(super) is_of_the_past: bool,
}

/// What a question is to the records: the marks of what an answer to it may be, besides its tests.
#[derive(Debug)]
pub(super) struct QuestionUse {
    /// It is harmless where the question does not apply.
    pub(super) harmless: Idx<Mark>,
    /// It says what would be so anyhow.
    pub(super) as_otherwise: Idx<Mark>,
    /// It is the clinic's own.
    pub(super) standing: Idx<Mark>,
    /// It is beyond what is offered.
    pub(super) not_offered: Idx<Mark>,
    /// Nobody knows whether it is among what is offered.
    pub(super) offer_open: Idx<Mark>,
    /// It holds a name that nobody recognised.
    pub(super) unread: Idx<Mark>,
    /// What is offered, if somebody says so.
    pub(super) offered: Option<Offered>,
}

/// One thing that is settled in its turn.
#[derive(Debug)]
pub(super) enum FastTurn {
    /// Whether a question applies.
    Question(QuestionTurn),
    /// A derived fact.
    Derived(Idx<Derived>),
}

/// Whether a question applies, and what becomes of its answer where it does not.
#[derive(Debug)]
pub(super) struct QuestionTurn {
    pub(super) question: Idx<Question>,
    pub(super) asked: Vec<Step>,
    /// The marks that say something of the answer, which are taken away where it does not count.
    pub(super) own: Vec<Idx<Mark>>,
    /// The marks of the option that counts where the question certainly does not apply.
    pub(super) otherwise: Option<Vec<Idx<Mark>>>,
}

/// One step of a condition; each puts one result on the pile, in the place of those that it joins.
#[derive(Debug, Clone, Copy)]
pub(super) enum Step {
    /// A test of a fact.
    Test(Idx<OneTest>),
    /// Whether answers are at odds.
    Answers(Conflict),
    /// The last so many results, joined by and.
    All(usize),
    /// The last so many, joined by or.
    Any(usize),
    /// The last one, turned round.
    Not,
}

/// The keys of one section.
#[derive(Debug)]
pub(super) struct SectionKeys {
    /// Its name in quotes, with a colon.
    pub(super) written: Vec<u8>,
    /// The same of each of its questions.
    pub(super) questions: Vec<(Idx<Question>, Vec<u8>)>,
    /// The position of each question among these.
    pub(super) question_at: HashMap<Box<[u8]>, usize>,
}

impl<'a> Groundwork<'a> {
    /// For records that a screener screens.
    ///
    /// # Returns
    /// `None` for what no rule set of this kind holds, and this way of screening therefore does not take: a day of the
    /// procedure that is not asked of everybody, conditions of questions that look at whether answers are at odds, and formulas
    /// that are given what is otherwise so where a question does not apply.
    pub(super) fn new(screener: &Screener<'a>) -> Option<Self> {
        let rule_set = screener.rule_set();
        let catalogue = &rule_set.catalogue;
        if let Some(slot) = catalogue.procedure_on
            && catalogue.question_of(slot)?.ask_when.is_some()
        {
            return None;
        }
        let facts = screener.facts(screener.standing()).ok()?;
        let mut marks = Table::default();
        let (slots, columns) = slots(rule_set, &mut marks);
        let questions = catalogue.questions.iter().map(|question| QuestionUse {
            harmless: marks.push(()),
            as_otherwise: marks.push(()),
            standing: marks.push(()),
            not_offered: marks.push(()),
            offer_open: marks.push(()),
            unread: marks.push(()),
            offered: facts.offers().get(&question.slot).cloned(),
        });
        let mut groundwork = Self {
            rule_set,
            as_of: screener.as_of(),
            standing: screener.standing().clone(),
            tests: Table::default(),
            slots,
            questions: questions.collect(),
            marks,
            columns,
            turns: Vec::new(),
            rules: Table::default(),
            sections: Table::default(),
            section_at: HashMap::new(),
        };
        let questions = &catalogue.questions;
        for condition in questions.iter().filter_map(|it| it.ask_when.as_ref()) {
            groundwork.add_tests(condition);
            let mut looks_at_answers = false;
            condition.visit(&mut |part| looks_at_answers |= matches!(part, Condition::Answers(_)));
            if looks_at_answers {
                return None;
            }
        }
        let given_otherwise =
            |it: &Question| it.otherwise.is_some() && groundwork.slots[it.slot].column.is_some();
        if questions.iter().any(given_otherwise) {
            return None;
        }
        for rule in &rule_set.judging {
            groundwork.add_tests(&rule.when);
        }
        groundwork.turns = catalogue
            .turns
            .iter()
            .filter_map(|(turn, _)| groundwork.turn(*turn))
            .collect();
        groundwork.rules = rule_set
            .judging
            .iter()
            .map(|rule| groundwork.steps(&rule.when))
            .collect();
        groundwork.add_keys();
        Some(groundwork)
    }

    /// Takes in the tests of a condition that were not met before.
    fn add_tests(&mut self, condition: &'a Condition) {
        condition.visit(&mut |part| {
            let slot = match part {
                Condition::Fact { fact, .. }
                | Condition::Taking { fact, .. }
                | Condition::AllergicTo { fact, .. } => *fact,
                Condition::All(_)
                | Condition::Any(_)
                | Condition::Not(_)
                | Condition::Answers(_) => return,
            };
            if self.test_of(slot, part).is_some() {
                return;
            }
            let at = self.tests.push(FactTest {
                condition: part,
                slot,
                question: match self.rule_set.catalogue.fact(slot).kind {
                    FactKind::Question(at) | FactKind::TakenOn(at) => Some(at),
                    FactKind::Derived(_) => None,
                },
                is_age: matches!(
                    part,
                    Condition::Fact {
                        test: Test::OlderThan(_) | Test::Within(_),
                        ..
                    }
                ),
                yes: self.marks.push(()),
                open: self.marks.push(()),
            });
            self.slots[slot].tests.push(at);
            if let Condition::Taking { at_least, .. } = part
                && *at_least != 1
            {
                self.slots[slot].several.push(at);
            }
        });
    }

    fn test_of(&self, slot: FactSlot, condition: &Condition) -> Option<Idx<OneTest>> {
        let mut tests = self.slots[slot].tests.iter();
        tests
            .find(|at| self.tests[**at].condition == condition)
            .copied()
    }

    /// A condition as steps.
    fn steps(&self, condition: &Condition) -> Vec<Step> {
        let parts = |parts: &[Condition]| {
            parts
                .iter()
                .flat_map(|part| self.steps(part))
                .collect::<Vec<Step>>()
        };
        let (mut steps, last) = match condition {
            Condition::All(all) => (parts(all), Some(Step::All(all.len()))),
            Condition::Any(any) => (parts(any), Some(Step::Any(any.len()))),
            Condition::Not(part) => (self.steps(part), Some(Step::Not)),
            Condition::Answers(conflict) => (Vec::new(), Some(Step::Answers(*conflict))),
            Condition::Fact { fact, .. }
            | Condition::Taking { fact, .. }
            | Condition::AllergicTo { fact, .. } => {
                (Vec::new(), self.test_of(*fact, condition).map(Step::Test))
            }
        };
        steps.extend(last);
        steps
    }

    fn turn(&self, turn: Dependent) -> Option<FastTurn> {
        let at = match turn {
            Dependent::Derived(at) => return Some(FastTurn::Derived(at)),
            Dependent::Question(at) => at,
        };
        let (question, own) = (&self.rule_set.catalogue.questions[at], &self.questions[at]);
        let of_slot = |slot: FactSlot| {
            let tests = self.slots[slot].tests.iter().map(|it| &self.tests[*it]);
            let of_tests = tests.flat_map(|test| [test.yes, test.open]);
            of_tests.chain([self.slots[slot].known])
        };
        let slots = [Some(question.slot), question.date_slot]
            .into_iter()
            .flatten();
        Some(FastTurn::Question(QuestionTurn {
            question: at,
            asked: self.steps(question.ask_when.as_ref()?),
            own: slots
                .flat_map(of_slot)
                .chain([own.not_offered, own.offer_open, own.unread])
                .collect(),
            otherwise: question
                .otherwise
                .map(|it| self.marks_of(question.slot, &Value::Choice(it))),
        }))
    }

    /// Everything that a known fact is marked with, but for what counts to the day of the procedure.
    pub(super) fn marks_of(&self, slot: FactSlot, value: &Value) -> Vec<Idx<Mark>> {
        let mut marks = vec![self.slots[slot].known];
        let tests = self.slots[slot].tests.iter().map(|it| &self.tests[*it]);
        marks.extend(
            tests
                .filter(|it| !it.is_age)
                .filter_map(|test| test.mark(value)),
        );
        if let FactKind::Question(at) = self.rule_set.catalogue.fact(slot).kind {
            let (question, own) = (&self.rule_set.catalogue.questions[at], &self.questions[at]);
            if question.ask_when.is_some() && is_harmless(question, value) {
                marks.push(own.harmless);
            }
            if question
                .otherwise
                .is_some_and(|it| *value == Value::Choice(it))
            {
                marks.push(own.as_otherwise);
            }
            marks.extend(own.offered.as_ref().and_then(|offered| {
                match is_offered(value, offered) {
                    Some(true) => None,
                    Some(false) => Some(own.not_offered),
                    None => Some(own.offer_open),
                }
            }));
            let is_unread = match value {
                Value::Medicines(entries) => entries.iter().any(|it| it.medicine.is_none()),
                Value::Allergies(entries) => entries.iter().any(|it| it.substances.is_none()),
                _ => false,
            };
            if is_unread {
                marks.push(own.unread);
            }
        }
        marks
    }

    fn add_keys(&mut self) {
        let catalogue = &self.rule_set.catalogue;
        let written = |name: &str| format!("\"{name}\":").into_bytes();
        for (at, section) in catalogue.sections.entries() {
            let of_section = |question: &Question| question.section == at;
            let questions = catalogue
                .questions
                .entries()
                .filter(|(_, it)| of_section(it));
            let questions: Vec<(Idx<Question>, &str)> =
                questions.map(|(at, it)| (at, it.name())).collect();
            let keys = self.sections.push(SectionKeys {
                written: written(&section.id),
                question_at: questions
                    .iter()
                    .enumerate()
                    .map(|(at, (_, name))| (name.as_bytes().into(), at))
                    .collect(),
                questions: questions
                    .into_iter()
                    .map(|(at, name)| (at, written(name)))
                    .collect(),
            });
            self.section_at.insert(section.id.as_bytes().into(), keys);
        }
    }
}

impl FactTest<'_> {
    /// What a known value is marked with for this test, if it is not an age.
    pub(super) fn mark(&self, value: &Value) -> Option<Idx<Mark>> {
        self.mark_of(truth_of::of_value(self.condition, value))
    }

    /// What a list of entries, each with its own value, is marked with for this test.
    pub(super) fn mark_of_several<'v>(
        &self,
        values: impl Iterator<Item = &'v Value>,
    ) -> Option<Idx<Mark>> {
        let Condition::Taking {
            fact,
            medicines,
            at_least,
            ..
        } = self.condition
        else {
            return Some(self.open);
        };
        let entries = values.flat_map(|value| match value {
            Value::Medicines(entries) => entries.as_slice(),
            _ => &[],
        });
        self.mark_of(Some(truth_of::taking(entries, medicines, *at_least, *fact)))
    }

    fn mark_of(&self, truth: Option<Truth>) -> Option<Idx<Mark>> {
        match truth {
            Some(Truth::Yes) => Some(self.yes),
            Some(Truth::No) => None,
            Some(Truth::Unknown(_)) | None => Some(self.open),
        }
    }
}

/// What each fact is to the records, without its tests.
fn slots(
    rule_set: &RuleSet,
    marks: &mut Table<(), Mark>,
) -> (Table<SlotUse, Slot>, Table<FactSlot, Column>) {
    let catalogue = &rule_set.catalogue;
    let mut columns = Table::default();
    let inputs = || catalogue.derived.iter().flat_map(|it| &it.inputs);
    let slots = catalogue.facts.indices().map(|slot| {
        let is_given = inputs().any(|input| *input == Input::Fact(slot));
        let is_of_the_past = |question: &Question| {
            (question.past || question.dated) && question.date_slot.unwrap_or(question.slot) == slot
        };
        let question = catalogue.question_of(slot);
        SlotUse {
            known: marks.push(()),
            tests: Vec::new(),
            several: Vec::new(),
            column: (is_given || catalogue.derived_of(slot).is_some()).then(|| columns.push(slot)),
            is_of_the_past: Some(slot) != catalogue.procedure_on
                && question.is_some_and(is_of_the_past),
        }
    });
    let slots = slots.collect();
    (slots, columns)
}
