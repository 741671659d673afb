//! The whole space of answers as literals: the domain of each fact, cut where some rule can tell its values apart.
//!
//! Two values in one cell are alike to every test that is asked, so that one literal stands for all of them: the encoding
//! is finite and loses nothing. Where cells are of a derived fact, they stand for whatever its formula may give there; what
//! it can give beside the other answers is only bounded (`derived`), and settled for one model at a time
//! (`branch_and_bound`). Conditions that were not laid out for must not be asked: their cuts are missing.
//!
//! One encoding may serve several rule sets at once, when they are compared: a fact of one name is one fact.

use std::collections::BTreeMap;

use batsat::Lit;
use chrono::{Datelike as _, NaiveDate};

use crate::exact::cells::{Cut, cells, cuts_of};
use crate::exact::domain::{Domain, MOST_CELLS, Shape, TooLarge, any_of, lits, one_of, rising};
use crate::exact::lists;
use crate::exact::tseitin::Tseitin;
use crate::formulas::RoleKind;
use crate::formulas::formula::{CutAt, Follows};
use crate::formulas::given::Side;
use crate::quantity::span::Span;
use crate::quantity::when::YEARS;
use crate::rule_set::{
    Answer, Catalogue, Condition, FactKind, Input, Question, RuleSet, Table, Test,
};
use crate::truth::{FactSlot, Slot};

/// One rule set's view of the space.
#[derive(Debug)]
pub struct View {
    /// The domain of each slot, by name.
    names: Table<String, Slot>,
}

/// The space of answers to one or several rule sets.
#[derive(Debug)]
pub struct Encoding {
    /// Each fact, by id; a derived fact that the rule sets compute differently has one for each, `id@1`.
    pub domains: BTreeMap<String, Domain>,
    /// One view for each rule set.
    pub views: Vec<View>,
    /// For each offerable question: whether the clinic lists what it offers, and whether the choice is outside.
    pub offers: BTreeMap<String, (Lit, Lit)>,
    /// For each question that may not apply and that a clinic may answer for every patient: whether the clinic does.
    pub standing: BTreeMap<String, Lit>,
    /// The name of the day of surgery.
    pub procedure: Option<String>,
}

impl Encoding {
    /// Lays out the facts of these rule sets for surgery on a day. Conditions beside the rules' own (those of guarantees)
    /// cut, too.
    ///
    /// # Errors
    /// The first fact that has too many cells.
    pub(crate) fn new(
        solver: &mut Tseitin,
        rule_sets: &[&RuleSet],
        further: &[&Condition],
        on: NaiveDate,
    ) -> Result<Self, TooLarge> {
        mean_alike(rule_sets)?;
        let tests = Tests::of(rule_sets, further, on);
        let mut encoding = Self {
            domains: BTreeMap::new(),
            views: Vec::new(),
            offers: BTreeMap::new(),
            standing: BTreeMap::new(),
            procedure: None,
        };
        for (at, rule_set) in rule_sets.iter().enumerate() {
            let catalogue = &rule_set.catalogue;
            let mut names = Table::default();
            for (slot, fact) in catalogue.facts.entries() {
                let name = match fact.kind {
                    FactKind::Derived(_) => own_name(rule_sets, at, &fact.id),
                    _ => fact.id.clone(),
                };
                if !encoding.domains.contains_key(&name) {
                    let domain = domain(solver, rule_sets, further, at, slot, &tests)?;
                    encoding.domains.insert(name.clone(), domain);
                }
                names.push(name);
            }
            let offered = |id: &str| asking(rule_sets, id).all(|it| it.can_be_offered());
            for question in catalogue.questions.iter().filter(|it| offered(&it.id)) {
                encoding
                    .offers
                    .entry(question.id.clone())
                    .or_insert_with(|| (solver.free(), solver.free()));
            }
            for question in catalogue
                .questions
                .iter()
                .filter(|it| it.standing && it.ask_when.is_some())
            {
                encoding
                    .standing
                    .entry(question.id.clone())
                    .or_insert_with(|| solver.free());
            }
            encoding.procedure = encoding
                .procedure
                .or_else(|| catalogue.procedure_on.map(|it| catalogue.id(it).to_owned()));
            encoding.views.push(View { names });
        }
        Ok(encoding)
    }

    /// The name of a slot's domain, in the view of a rule set.
    pub(crate) fn name(&self, view: usize, slot: FactSlot) -> &str {
        self.views.get(view).map_or("", |it| &it.names[slot])
    }

    /// The domain of a slot, in the view of a rule set.
    pub(crate) fn domain(&self, view: usize, slot: FactSlot) -> Option<&Domain> {
        self.domains.get(self.name(view, slot))
    }

    /// Whether another space has the same facts, cut in as many parts.
    pub(crate) fn is_cut_like(&self, other: &Self) -> bool {
        let of = |encoding: &Self| {
            encoding
                .domains
                .iter()
                .map(|(name, it)| (name.clone(), it.shape.parts().len()))
                .collect::<Vec<_>>()
        };
        of(self) == of(other)
    }

    /// Ties another space to this one: everything known here is known there, and the same. INVARIANT: both are of the same
    /// rule set and cut for the same conditions, so that their parts are the same in number and order ([`Self::is_cut_like`]).
    pub(crate) fn is_known_better_in(&self, other: &Self, solver: &mut Tseitin) {
        let on = self.procedure_known(solver);
        let same = |solver: &mut Tseitin, given: Lit, ones: Vec<Lit>, others: Vec<Lit>| {
            for (one, other) in ones.into_iter().zip(others) {
                solver.require([!given, !one, other]);
                solver.require([!given, one, !other]);
            }
        };
        for (name, domain) in &self.domains {
            let Some(better) = other.domains.get(name) else {
                continue;
            };
            solver.implies(domain.known, better.known);
            match (&domain.shape, &better.shape) {
                (Shape::Date { older: a, days: d }, Shape::Date { older: b, days: e }) => {
                    let dated = solver.all([domain.known, on]);
                    same(solver, dated, lits(a), lits(b));
                    same(solver, domain.known, lits(d), lits(e));
                }
                (
                    Shape::Plan {
                        agents: a,
                        strengths: strong,
                        volumes: full,
                        solutions: s,
                    },
                    Shape::Plan {
                        agents: b,
                        strengths: stronger,
                        volumes: fuller,
                        solutions: t,
                    },
                ) => {
                    same(solver, domain.known, lits(a), lits(b));
                    for ((.., one), (.., other)) in s.iter().zip(t) {
                        same(solver, *strong, vec![*one], vec![*other]);
                    }
                    solver.implies(*strong, *stronger);
                    solver.implies(*full, *fuller);
                }
                (one, other) => same(solver, domain.known, one.parts(), other.parts()),
            }
        }
        for (id, standing) in &self.standing {
            if let Some(also) = other.standing.get(id) {
                solver.same(*standing, *also);
            }
        }
        for (id, (listed, outside)) in &self.offers {
            if let Some((also_listed, also_outside)) = other.offers.get(id) {
                solver.same(*listed, *also_listed);
                solver.same(*outside, *also_outside);
            }
        }
    }

    /// Where a computed number that is not whole comes out at just one value.
    pub(crate) fn exact_results(&self) -> impl Iterator<Item = Lit> + '_ {
        let derived = self
            .domains
            .iter()
            .filter(|(name, _)| name.starts_with("derived."));
        derived
            .flat_map(|(_, it)| match &it.shape {
                Shape::Number {
                    cells,
                    whole: false,
                } => cells.as_slice(),
                _ => &[],
            })
            .filter(|(cell, _)| cell.is_point())
            .map(|(_, it)| *it)
    }

    /// Whether the day of surgery is known.
    pub(crate) fn procedure_known(&self, solver: &Tseitin) -> Lit {
        self.procedure
            .as_ref()
            .and_then(|it| self.domains.get(it))
            .map_or(solver.never(), |it| it.known)
    }
}

/// The name of a derived fact: its id, unless an earlier rule set computes it otherwise.
fn own_name(rule_sets: &[&RuleSet], at: usize, id: &str) -> String {
    let Some(own) = rule_sets.get(at) else {
        return id.to_owned();
    };
    let same = rule_sets
        .iter()
        .take(at)
        .position(|it| defines_alike(it, own, id));
    match same {
        Some(0) => id.to_owned(),
        Some(first) => format!("{id}@{first}"),
        None if rule_sets
            .iter()
            .take(at)
            .any(|it| it.catalogue.slot(id).is_some()) =>
        {
            format!("{id}@{at}")
        }
        None => id.to_owned(),
    }
}

/// Whether two rule sets compute a derived fact from the same things in the same way.
fn defines_alike(one: &RuleSet, other: &RuleSet, id: &str) -> bool {
    let find = |rule_set: &'_ RuleSet| {
        rule_set
            .catalogue
            .slot(id)
            .and_then(|slot| rule_set.catalogue.derived_of(slot).cloned())
    };
    let (Some(a), Some(b)) = (find(one), find(other)) else {
        return false;
    };
    let alike = a.formula == b.formula
        && a.inputs.len() == b.inputs.len()
        && a.inputs.iter().zip(&b.inputs).all(|pair| match pair {
            (Input::Limit(_, a), Input::Limit(_, b)) => a.total_cmp(b).is_eq(),
            (Input::Fact(a), Input::Fact(b)) => {
                let (a, b) = (one.catalogue.id(*a), other.catalogue.id(*b));
                a == b
                    && (one
                        .catalogue
                        .slot(a)
                        .and_then(|it| one.catalogue.derived_of(it))
                        .is_none()
                        || defines_alike(one, other, a))
            }
            _ => false,
        });
    alike
        && a.given()
            .zip(b.given())
            .all(|((role, of_one), (_, of_other))| {
                registered_alike(one, other, role.kind, (of_one, of_other))
            })
}

/// Whether two rule sets say the same of what stands behind a role, beside the fact itself.
fn registered_alike(
    one: &RuleSet,
    other: &RuleSet,
    kind: RoleKind,
    inputs: (Input, Input),
) -> bool {
    let factors = |rule_set: &RuleSet| -> Vec<(String, Option<f64>, Option<f64>)> {
        let steroids = rule_set
            .medicines
            .medicines
            .iter()
            .filter(|medicine| medicine.as_prednisolone.is_some());
        steroids
            .map(|medicine| {
                (
                    medicine.name.clone(),
                    medicine.as_prednisolone,
                    medicine.adrenal_as_prednisolone,
                )
            })
            .collect()
    };
    let options = |rule_set: &RuleSet, input: Input| -> Vec<(String, Option<f64>, Option<Side>)> {
        let options = input
            .fact()
            .map_or(&[][..], |slot| rule_set.catalogue.options(slot));
        options
            .iter()
            .map(|option| (option.id.clone(), option.counts, option.side))
            .collect()
    };
    match kind {
        RoleKind::Plan { limits, .. } => !limits || one.agents == other.agents,
        RoleKind::Medicines { .. } => factors(one) == factors(other),
        RoleKind::Sites { .. }
        | RoleKind::List
        | RoleKind::ListLike(_)
        | RoleKind::Counted
        | RoleKind::CountedChoice => options(one, inputs.0) == options(other, inputs.1),
        RoleKind::Number(..)
        | RoleKind::Limit(_)
        | RoleKind::Date(_)
        | RoleKind::Sex
        | RoleKind::YesNo => true,
    }
}

/// Everything that rules test, by fact id, of all rule sets together.
#[derive(Default)]
struct Tests {
    cuts: BTreeMap<String, Vec<Cut>>,
    spans: BTreeMap<String, Vec<Span>>,
    most_taken: usize,
    /// Completed years of whoever was born in the first year that is read.
    oldest: f64,
}

impl Tests {
    fn of(rule_sets: &[&RuleSet], further: &[&Condition], on: NaiveDate) -> Self {
        let oldest = f64::from(on.year() - YEARS.start());
        let mut tests = Self {
            most_taken: 1,
            oldest,
            ..Self::default()
        };
        for rule_set in rule_sets {
            let catalogue = &rule_set.catalogue;
            for condition in rule_set.conditions().chain(further.iter().copied()) {
                condition.visit(&mut |it| tests.note(catalogue, it));
            }
            for derived in &catalogue.derived {
                tests.hidden_cuts(rule_set, derived);
            }
        }
        tests
    }

    fn note(&mut self, catalogue: &Catalogue, condition: &Condition) {
        match condition {
            Condition::Taking { at_least, .. } => {
                self.most_taken = self.most_taken.max(usize::from(*at_least))
            }
            Condition::Fact {
                fact,
                test: Test::OlderThan(limit) | Test::Within(limit),
            } => {
                self.spans
                    .entry(catalogue.id(*fact).to_owned())
                    .or_default()
                    .push(limit.span);
            }
            Condition::Fact { fact, test } => {
                self.cuts
                    .entry(catalogue.id(*fact).to_owned())
                    .or_default()
                    .extend(cuts_of(test));
            }
            _ => {}
        }
    }

    /// Cuts where a formula takes another course, so that within a cell it only rises or only falls.
    fn hidden_cuts(&mut self, rule_set: &RuleSet, derived: &crate::rule_set::Derived) {
        for cut in derived.formula.cuts {
            let Some(slot) = derived.fact(cut.role) else {
                continue;
            };
            let at: Vec<f64> = match cut.at {
                CutAt::Number(number) => vec![number],
                CutAt::Limit(role) => match derived.input(role) {
                    Some(Input::Limit(_, number)) => vec![number],
                    Some(Input::Fact(_)) | None => Vec::new(),
                },
                CutAt::RegisterAges => {
                    let rows = rule_set.agents.iter().flat_map(|agent| &agent.limits);
                    rows.flat_map(|row| [row.from_age, row.below_age])
                        .flatten()
                        .collect()
                }
            };
            let cuts = at.into_iter().map(|at| Cut {
                at,
                value_below: cut.value_below,
            });
            self.cuts
                .entry(rule_set.catalogue.id(slot).to_owned())
                .or_default()
                .extend(cuts);
        }
    }
}

/// The domain of one slot.
fn domain(
    solver: &mut Tseitin,
    rule_sets: &[&RuleSet],
    further: &[&Condition],
    at: usize,
    slot: FactSlot,
    tests: &Tests,
) -> Result<Domain, TooLarge> {
    let known = solver.free();
    let Some(rule_set) = rule_sets.get(at) else {
        return Ok(Domain {
            known,
            shape: Shape::Text,
        });
    };
    let catalogue = &rule_set.catalogue;
    let id = catalogue.id(slot);
    let cuts: Vec<Cut> = tests.cuts.get(id).into_iter().flatten().copied().collect();
    let cut = |solver: &mut Tseitin, ends: (f64, f64), whole: bool| -> Result<Shape, TooLarge> {
        let cells = cells(cuts.clone(), ends, whole);
        if cells.len() > MOST_CELLS {
            return Err(TooLarge {
                fact: id.to_owned(),
                of: format!("{} numbers", cells.len()),
            });
        }
        let lits = one_of(solver, known, cells.len());
        Ok(Shape::Number {
            cells: cells.into_iter().zip(lits).collect(),
            whole,
        })
    };
    let shape = match (catalogue.fact(slot).kind, catalogue.question_of(slot)) {
        (FactKind::TakenOn(_), _) => dates(solver, known, id, tests),
        (_, Some(question)) => match &question.answer {
            Answer::YesNo => {
                let is_yes = solver.free();
                Shape::Choice(vec![
                    ("no".to_owned(), solver.all([known, !is_yes])),
                    ("yes".to_owned(), solver.all([known, is_yes])),
                ])
            }
            Answer::OneOf(_) => {
                let ids = option_ids(rule_sets, id);
                let lits = one_of(solver, known, ids.len());
                Shape::Choice(ids.into_iter().zip(lits).collect())
            }
            Answer::SeveralOf(_) => {
                let ids = option_ids(rule_sets, id);
                let lits = any_of(solver, known, ids.len());
                Shape::Choices(ids.into_iter().zip(lits).collect())
            }
            Answer::Number { .. } => {
                let whole = asking(rule_sets, id)
                    .any(|it| matches!(it.answer, Answer::Number { whole: true }));
                cut(solver, plausible(rule_sets, id), whole)?
            }
            Answer::Quantity { .. } => cut(solver, plausible(rule_sets, id), false)?,
            Answer::Date => dates(solver, known, id, tests),
            Answer::Text => Shape::Text,
            Answer::Medicines => {
                lists::medicines(solver, known, rule_sets, further, tests.most_taken, id)?
            }
            Answer::Allergies => lists::allergies(solver, known, rule_sets, further, id)?,
            Answer::Anaesthetic => lists::plan(solver, known, rule_sets),
        },
        _ => match catalogue.derived_of(slot) {
            Some(derived) => {
                let (least, most) = derived.formula.ends;
                let most = if let Follows::Born(_) = derived.formula.follows {
                    tests.oldest
                } else {
                    most
                };
                cut(solver, (least, most), derived.formula.whole)?
            }
            None => Shape::Text,
        },
    };
    Ok(Domain { known, shape })
}

/// The questions of a name, of all rule sets that ask it.
fn asking<'a>(rule_sets: &[&'a RuleSet], id: &str) -> impl Iterator<Item = &'a Question> {
    let questions = rule_sets.iter().map(|it| it.catalogue.question(id));
    questions.flatten()
}

/// Each question of one name must ask for one kind of answer, in one unit, or nobody could be compared by it.
fn mean_alike(rule_sets: &[&RuleSet]) -> Result<(), TooLarge> {
    let unlike = |one: &Answer, other: &Answer| match (one, other) {
        (Answer::Quantity { unit: a, .. }, Answer::Quantity { unit: b, .. }) if a != b => {
            Some("another unit")
        }
        _ if std::mem::discriminant(one) != std::mem::discriminant(other) => {
            Some("another kind of answer")
        }
        _ => None,
    };
    for question in rule_sets.iter().flat_map(|it| &it.catalogue.questions) {
        if let Some(of) =
            asking(rule_sets, &question.id).find_map(|it| unlike(&question.answer, &it.answer))
        {
            return Err(TooLarge {
                fact: question.id.clone(),
                of: of.to_owned(),
            });
        }
    }
    Ok(())
}

/// The options of a fact that every rule set has that asks for it: what one of them refuses is not compared.
fn option_ids(rule_sets: &[&RuleSet], id: &str) -> Vec<String> {
    let ids = |question: &Question| {
        question
            .options()
            .iter()
            .map(|option| option.id.clone())
            .collect()
    };
    let mut each = asking(rule_sets, id).map(ids);
    let Some(first): Option<Vec<String>> = each.next() else {
        return Vec::new();
    };
    each.fold(first, |found, other| {
        found.into_iter().filter(|it| other.contains(it)).collect()
    })
}

/// What every rule set that asks for a number finds plausible.
fn plausible(rule_sets: &[&RuleSet], id: &str) -> (f64, f64) {
    let ranges = rule_sets
        .iter()
        .filter_map(|it| it.catalogue.question(id)?.plausible);
    ranges.fold((f64::NEG_INFINITY, f64::INFINITY), |(low, high), it| {
        (low.max(it.0), high.min(it.1))
    })
}

fn dates(solver: &mut Tseitin, known: Lit, id: &str, tests: &Tests) -> Shape {
    let mut spans: Vec<Span> = tests.spans.get(id).into_iter().flatten().copied().collect();
    spans.sort_by_key(|it| it.to_string());
    spans.dedup();
    let older: Vec<(Span, Lit)> = spans.into_iter().map(|it| (it, solver.free())).collect();
    for (short, than_short) in &older {
        for (_, than_long) in older
            .iter()
            .filter(|(long, _)| long != short && surely_within(*short, *long))
        {
            solver.implies(*than_long, *than_short);
        }
    }
    let cuts = tests.cuts.get(id).into_iter().flatten();
    let mut days: Vec<f64> = cuts
        .map(|it| if it.value_below { it.at + 1.0 } else { it.at })
        .collect();
    days.sort_by(f64::total_cmp);
    days.dedup();
    let lits = rising(solver, known, days.len());
    Shape::Date {
        older,
        days: days.into_iter().zip(lits).collect(),
    }
}

/// Whether a span is never longer than another, wherever in the calendar they lie. Three months may be 89 days or 92.
fn surely_within(short: Span, long: Span) -> bool {
    const MEAN_MONTH: f64 = 30.436_875;
    const MOST_OFF: f64 = 3.0;
    match (
        short.minutes(),
        long.minutes(),
        short.months(),
        long.months(),
    ) {
        (Some(short), Some(long), ..) => short <= long,
        (_, _, Some(short), Some(long)) => short <= long,
        (_, Some(_), Some(months), _) => {
            (f64::from(months) * MEAN_MONTH).ceil() + MOST_OFF <= long.fewest_days()
        }
        (Some(_), _, _, Some(months)) => {
            short.fewest_days() <= (f64::from(months) * MEAN_MONTH).floor() - MOST_OFF
        }
        _ => false,
    }
}
