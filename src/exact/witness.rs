//! A witness: an assignment with numbers, as a questionnaire that is read and screened as any other.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use chrono::{Datelike as _, Days, NaiveDate};

use crate::document::flow::flow;
use crate::exact::assignment::{Assigned, Assignment, Dated};
use crate::exact::branch_and_bound;
use crate::exact::branch_and_bound::{Constraint, Instance, NumberOf, Solution, Variable};
use crate::exact::cells::Cell;
use crate::exact::domain::AllergyKind;
use crate::exact::encoding::Encoding;
use crate::formulas::RoleKind;
use crate::formulas::formula::{Amount, Follows, KnownWhen};
use crate::quantity::span::Span;
use crate::quantity::when::When;
use crate::questionnaire::facts::{Facts, Gathered, Given};
use crate::rule_set::{Answer, Derived, Idx, Input, Question, RuleSet};
use crate::screening::evaluate::States;
use crate::screening::screener::Screener;

/// One rule set with the patient it judges, and the view of the space by which it names facts.
#[derive(Debug)]
pub(crate) struct Candidate<'a> {
    /// The rule set.
    pub rule_set: &'a RuleSet,
    /// What screens by it.
    pub screener: &'a Screener<'a>,
    /// The space the patient is of.
    pub encoding: &'a Encoding,
    /// Which view of it.
    pub view: usize,
    /// The patient.
    pub assignment: Assignment,
}

/// A questionnaire, and what its rule set makes of it.
#[derive(Debug)]
pub struct Witness {
    /// The questionnaire, as a file.
    pub questionnaire: String,
    /// The clinic's file that goes with it, if what the clinic offers matters.
    pub clinic: Option<String>,
    /// How many questions it answers.
    pub n_answers: usize,
    /// Its facts.
    pub facts: Facts,
    /// The state of every rule.
    pub states: States,
    /// The day of the screening.
    pub as_of: NaiveDate,
}

/// Why no questionnaire came of a patient.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Failure {
    /// These facts, by name, cannot come out so together.
    Impossible(Vec<String>),
    /// Nothing was found, and that there is nothing was not shown: because of these facts, the one to name first. None:
    /// because of the answers as a whole.
    Unclear(Vec<String>),
}

/// Questionnaires of one patient, or of one before and after some answers, one for each subject.
///
/// # Errors
/// A [`Failure`] says which facts cannot be as wanted, or where the search gave up.
pub(crate) fn questionnaires(
    subjects: &[Candidate<'_>],
    as_of: NaiveDate,
) -> Result<Vec<Witness>, Failure> {
    let variables = variables(subjects);
    let values: Vec<f64> = variables.iter().map(branch_and_bound::some_value).collect();
    let mut cases = Vec::new();
    for subject in subjects {
        let seen = subject.seen(&variables, &values, as_of)?;
        cases.push(Instance {
            rule_set: subject.rule_set,
            facts: seen.facts,
        });
    }
    let wanted = wanted(subjects);
    let values = match branch_and_bound::search(&cases, &variables, &wanted) {
        Solution::Found(values) => values,
        Solution::Impossible => {
            return Err(Failure::Impossible(culprits(
                subjects, &cases, &variables, &wanted,
            )));
        }
        Solution::GaveUp(which) => {
            let which: Vec<&Constraint> = which.iter().filter_map(|it| wanted.get(*it)).collect();
            let named = which.iter().filter_map(|constraint| {
                subjects
                    .get(constraint.view)
                    .map(|of| of.encoding.name(of.view, constraint.slot).to_owned())
            });
            let mut names: Vec<String> = named.collect();
            names.extend(which.iter().flat_map(|it| hanging_on(subjects, it)));
            return Err(Failure::Unclear(names));
        }
    };
    subjects
        .iter()
        .map(|it| it.seen(&variables, &values, as_of))
        .collect()
}

/// The facts of the smallest part that is already impossible: of one derived fact alone, or of all.
fn culprits(
    subjects: &[Candidate<'_>],
    cases: &[Instance<'_>],
    variables: &[Variable],
    wanted: &[Constraint],
) -> Vec<String> {
    let alone = wanted
        .iter()
        .find(|it| branch_and_bound::search(cases, variables, &[**it]) == Solution::Impossible);
    let mut names: Vec<String> = match alone {
        Some(one) => hanging_on(subjects, one),
        None => wanted
            .iter()
            .flat_map(|it| hanging_on(subjects, it))
            .collect(),
    };
    names.sort();
    names.dedup();
    names
}

/// A fact wanted with everything that it is computed from, by name.
fn hanging_on(subjects: &[Candidate<'_>], wanted: &Constraint) -> Vec<String> {
    let Some(subject) = subjects.get(wanted.view) else {
        return Vec::new();
    };
    let derived = subject.rule_set.catalogue.derived_of(wanted.slot);
    derived
        .into_iter()
        .flat_map(|it| behind(subject.rule_set, it))
        .chain([wanted.slot])
        .map(|it| subject.encoding.name(subject.view, it).to_owned())
        .collect()
}

/// Everything a derived fact is computed from, derived facts between included.
fn behind(rule_set: &RuleSet, derived: &Derived) -> Vec<crate::truth::FactSlot> {
    let mut found = Vec::new();
    for input in &derived.inputs {
        if let Input::Fact(slot) = input {
            found.push(*slot);
            if let Some(inner) = rule_set.catalogue.derived_of(*slot) {
                found.extend(behind(rule_set, inner));
            }
        }
    }
    found
}

/// The derived facts that hang on numbers, and what each must come to.
fn wanted(subjects: &[Candidate<'_>]) -> Vec<Constraint> {
    let mut found = Vec::new();
    for (view, subject) in subjects.iter().enumerate() {
        for derived in &subject.rule_set.catalogue.derived {
            let cell = match subject.told(derived.slot) {
                Some(Assigned::Number(cell, _)) => Some(*cell),
                _ => None,
            };
            // Whether it is known follows from the answers, but where some numbers give none; and no rule may tell its values apart.
            let may_fail = matches!(derived.formula.known, KnownWhen::AtMost { .. });
            let any_will_do = cell.is_none_or(|it| !it.low.is_finite() && !it.high.is_finite());
            // Of two rule sets in one space, what has one name is computed alike, so that it need not be asked for twice.
            let is_asked = subjects.iter().take(view).any(|earlier| {
                let name = subject.encoding.name(subject.view, derived.slot);
                std::ptr::eq(earlier.encoding, subject.encoding)
                    && earlier
                        .rule_set
                        .catalogue
                        .derived
                        .iter()
                        .any(|of| earlier.encoding.name(earlier.view, of.slot) == name)
            });
            if derived.formula.follows.is_from_choices() || (any_will_do && !may_fail) || is_asked {
                continue;
            }
            found.push(Constraint {
                view,
                slot: derived.slot,
                cell,
            });
        }
    }
    found
}

fn variables(subjects: &[Candidate<'_>]) -> Vec<Variable> {
    let mut found: Vec<Variable> = Vec::new();
    // What several ask for must do for all of them.
    let mut add = |variable: Variable| match found.iter_mut().find(|it| it.what == variable.what) {
        Some(known) => known.cell = known.cell.both(&variable.cell),
        None => found.push(variable),
    };
    for subject in subjects {
        let catalogue = &subject.rule_set.catalogue;
        for question in &catalogue.questions {
            match subject.told(question.slot) {
                Some(Assigned::Number(cell, whole)) => add(Variable {
                    what: NumberOf::Answer(question.id.clone()),
                    cell: *cell,
                    whole: *whole,
                }),
                Some(Assigned::Plan {
                    agents,
                    strengths,
                    volumes,
                    solutions,
                }) => {
                    for agent in agents {
                        let Some(register) =
                            subject.rule_set.agents.iter().find(|it| it.id == *agent)
                        else {
                            continue;
                        };
                        let between = |(low, high)| Cell::closed(low, high);
                        if *strengths {
                            let own = solutions
                                .iter()
                                .find(|(id, _)| id == agent)
                                .map(|(_, cell)| *cell);
                            let cell = own.unwrap_or_else(|| between(register.strengths));
                            add(Variable {
                                what: NumberOf::Strength(question.id.clone(), agent.clone()),
                                cell,
                                whole: false,
                            });
                        }
                        if *volumes {
                            let what = NumberOf::Volume(question.id.clone(), agent.clone());
                            add(Variable {
                                what,
                                cell: between(subject.rule_set.volumes_ml),
                                whole: false,
                            });
                        }
                    }
                }
                _ => {}
            }
        }
        for derived in &catalogue.derived {
            let Some(told) = subject.told(derived.slot) else {
                continue;
            };
            if let (Follows::Born(born), Assigned::Number(cell, _)) =
                (derived.formula.follows, told)
                && let Some(born) = derived.fact(born)
            {
                add(Variable {
                    what: NumberOf::Age(catalogue.id(born).to_owned()),
                    cell: *cell,
                    whole: true,
                });
            }
            for (role, _) in derived.given().filter(|_| subject.has_steroid()) {
                if let RoleKind::Medicines { amount, .. } = role.kind {
                    add(match amount {
                        Amount::Daily => Variable {
                            what: NumberOf::SteroidDaily,
                            cell: subject.steroid_doses(),
                            whole: false,
                        },
                        Amount::Days => Variable {
                            what: NumberOf::SteroidDays,
                            cell: DAYS,
                            whole: true,
                        },
                    });
                }
            }
        }
    }
    found
}

/// Daily doses of a steroid that are thought of, in mg.
const MILLIGRAMS: Cell = Cell::closed(0.0, 10_000.0);

/// Least and most mg of a medicine in a day that are no slip.
fn plausible_daily(rule_set: &RuleSet, name: &str) -> Option<(f64, f64)> {
    let at = crate::exact::lists::recognised(&rule_set.medicines, name)?;
    rule_set.medicines.medicines[at].plausible_daily
}

/// Days of a course that are thought of; what a span can say.
const DAYS: Cell = Cell::closed(0.0, 9_999.0);

impl Candidate<'_> {
    fn told(&self, slot: crate::truth::FactSlot) -> Option<&Assigned> {
        self.assignment
            .known
            .get(self.encoding.name(self.view, slot))
    }

    /// Daily doses of the first steroid that are no slip.
    fn steroid_doses(&self) -> Cell {
        let first = self
            .assignment
            .known
            .values()
            .find_map(|assigned| match assigned {
                Assigned::Medicines { steroids, .. } => steroids.first(),
                _ => None,
            });
        let range = first.and_then(|it| plausible_daily(self.rule_set, it));
        range.map_or(MILLIGRAMS, |(low, high)| Cell::closed(low, high))
    }

    fn has_steroid(&self) -> bool {
        self.assignment
            .known
            .values()
            .any(|it| matches!(it, Assigned::Medicines { steroids, .. } if !steroids.is_empty()))
    }

    /// The questionnaire with these numbers, read back and screened.
    fn seen(
        &self,
        variables: &[Variable],
        values: &[f64],
        as_of: NaiveDate,
    ) -> Result<Witness, Failure> {
        let number = |what: &NumberOf| {
            variables
                .iter()
                .position(|it| it.what == *what)
                .and_then(|at| values.get(at))
                .copied()
        };
        let (mut answers, mut standing) = (Vec::new(), Vec::new());
        for question in &self.rule_set.catalogue.questions {
            if let Some(answer) = self.answer(question, &number, as_of)? {
                let by_clinic = self.assignment.standing.contains(&question.id);
                if by_clinic {
                    standing.push((question, answer))
                } else {
                    answers.push((question, answer))
                }
            }
        }
        let n_answers = answers.len() + standing.len();
        let text = questionnaire(self.rule_set, &answers);
        let clinic = self.clinic(&number, &standing);
        // A questionnaire that the reader refuses is none.
        let facts =
            read(self.screener, &text, clinic.as_deref()).ok_or(Failure::Unclear(Vec::new()))?;
        let states = self.screener.states(&facts);
        Ok(Witness {
            questionnaire: text,
            clinic,
            n_answers,
            facts,
            states,
            as_of,
        })
    }

    /// An answer as it is written; `None` where it is missing.
    fn answer(
        &self,
        question: &Question,
        number: &dyn Fn(&NumberOf) -> Option<f64>,
        as_of: NaiveDate,
    ) -> Result<Option<String>, Failure> {
        let value = match self.told(question.slot) {
            Some(told) => Some(self.value(question, told, number, as_of)?),
            None => None,
        };
        let Some(date_slot) = question.date_slot else {
            return Ok(value);
        };
        let date = match self.told(date_slot) {
            Some(Assigned::Date(dated)) => {
                Some(day(dated, as_of).ok_or_else(|| self.unclear(date_slot))?)
            }
            _ => None,
        };
        if value.is_none() && date.is_none() {
            return Ok(None);
        }
        let or_unknown = |it: Option<String>| it.unwrap_or_else(|| "unknown".into());
        Ok(Some(format!(
            "{{ value: {}, taken_on: {} }}",
            or_unknown(value),
            or_unknown(date)
        )))
    }

    fn unclear(&self, slot: crate::truth::FactSlot) -> Failure {
        Failure::Unclear(vec![self.encoding.name(self.view, slot).to_owned()])
    }

    fn value(
        &self,
        question: &Question,
        told: &Assigned,
        number: &dyn Fn(&NumberOf) -> Option<f64>,
        as_of: NaiveDate,
    ) -> Result<String, Failure> {
        let unit = match &question.answer {
            Answer::Quantity { unit, .. } => format!(" {unit}"),
            _ => String::new(),
        };
        Ok(match told {
            Assigned::Choice(option) => option.clone(),
            Assigned::Choices(options) => format!("[{}]", options.join(", ")),
            Assigned::Number(cell, _) => {
                let value = number(&NumberOf::Answer(question.id.clone()))
                    .unwrap_or_else(|| branch_and_bound::some_number(cell));
                format!("{value}{unit}")
            }
            Assigned::Date(dated) => {
                if Some(question.slot) == self.rule_set.catalogue.procedure_on {
                    return Ok(When::on(as_of).to_string());
                }
                match number(&NumberOf::Age(question.id.clone())) {
                    Some(age) => {
                        birthday(age, dated, as_of).ok_or_else(|| self.unclear(question.slot))?
                    }
                    None => day(dated, as_of).ok_or_else(|| self.unclear(question.slot))?,
                }
            }
            Assigned::Medicines {
                names,
                steroids,
                unrecognised,
            } => {
                let mut entries: Vec<String> = Vec::new();
                for name in names {
                    let mut entry = format!("{{ name: {}", quoted(name));
                    let first = steroids.first() == Some(name);
                    let amount = |what: NumberOf, least: f64| {
                        number(&what).map(|it| if first { it } else { least })
                    };
                    if steroids.contains(name) {
                        let least =
                            plausible_daily(self.rule_set, name).map_or(0.0, |(low, _)| low);
                        if let Some(daily) = amount(NumberOf::SteroidDaily, least) {
                            let _ = write!(entry, ", daily: {daily} mg");
                        }
                        if let Some(days) = amount(NumberOf::SteroidDays, 0.0) {
                            let _ = write!(entry, ", for: {days} days");
                        }
                    }
                    entries.push(entry + " }");
                }
                entries.extend(
                    (1..=*unrecognised)
                        .map(|it| format!("\"(no medicine of the register, {it})\"")),
                );
                format!("[{}]", entries.join(", "))
            }
            Assigned::Allergies(kinds) => {
                let entry = |allergy: &AllergyKind| {
                    let to = if allergy.to.is_empty() {
                        "\"(no substance of the register)\"".to_owned()
                    } else {
                        quoted(&allergy.to)
                    };
                    let reaction = allergy
                        .reaction
                        .as_ref()
                        .map_or(String::new(), |it| format!(", reaction: {it}"));
                    format!("{{ to: {to}{reaction} }}")
                };
                let entries: Vec<String> = kinds.iter().map(entry).collect();
                format!("[{}]", entries.join(", "))
            }
            Assigned::Plan { agents, .. } => {
                let line = |agent: &String| {
                    let show = |of: fn(String, String) -> NumberOf, unit: &str| {
                        let number = number(&of(question.id.clone(), agent.clone()));
                        number.map_or_else(|| "unknown".to_owned(), |it| format!("{it} {unit}"))
                    };
                    let strength = show(NumberOf::Strength, "%");
                    let volume = show(NumberOf::Volume, "mL");
                    format!("{{ agent: {agent}, strength: {strength}, volume: {volume} }}")
                };
                let lines: Vec<String> = agents.iter().map(line).collect();
                format!("[{}]", lines.join(", "))
            }
            Assigned::Text => "something".to_owned(),
        })
    }

    /// The clinic's file that says what is offered.
    fn clinic(
        &self,
        number: &dyn Fn(&NumberOf) -> Option<f64>,
        standing: &[(&Question, String)],
    ) -> Option<String> {
        if self.assignment.offers.is_empty() && standing.is_empty() {
            return None;
        }
        let mut text = clinic_head(self.rule_set);
        if !self.assignment.offers.is_empty() {
            text.push_str("offers:\n");
        }
        let mut section = "";
        for question in &self.rule_set.catalogue.questions {
            let Some(outside) = self.assignment.offers.get(&question.id) else {
                continue;
            };
            let told = self.told(question.slot);
            let chosen = |id: &str| match told {
                Some(Assigned::Choice(it)) => it == id,
                Some(Assigned::Choices(it)) => it.iter().any(|it| it == id),
                _ => false,
            };
            let ids: Vec<String> = match &question.answer {
                Answer::YesNo => vec!["yes".into(), "no".into()],
                Answer::OneOf(options) | Answer::SeveralOf(options) => {
                    options.iter().map(|it| it.id.clone()).collect()
                }
                _ => Vec::new(),
            };
            // One choice left out is enough to be outside; a clinic offers something.
            let left_out = ids.iter().find(|it| *outside && chosen(it)).cloned();
            let mut offered: Vec<String> = ids
                .into_iter()
                .filter(|it| Some(it) != left_out.as_ref())
                .collect();
            if question.answer == Answer::Anaesthetic {
                let planned = match told {
                    Some(Assigned::Plan { agents, .. }) => agents.as_slice(),
                    _ => &[],
                };
                let agents = self
                    .rule_set
                    .agents
                    .iter()
                    .filter(|it| planned.contains(&it.id) != *outside || planned.is_empty());
                offered = agents
                    .map(|agent| {
                        let strength =
                            number(&NumberOf::Strength(question.id.clone(), agent.id.clone()))
                                .unwrap_or(agent.strengths.0);
                        format!("{{ agent: {}, strength: {strength} % }}", agent.id)
                    })
                    .collect();
            }
            let of = &self.rule_set.catalogue.sections[question.section].id;
            if of != section {
                section = of;
                let _ = writeln!(text, "  {of}:");
            }
            let _ = writeln!(text, "    {}: [{}]", question.name(), offered.join(", "));
        }
        text.push_str(&by_section(self.rule_set, "answers", standing));
        Some(text)
    }
}

/// A questionnaire over a clinic's file, read as the program reads them; `None` if it refuses one.
fn read(screener: &Screener<'_>, text: &str, clinic: Option<&str>) -> Option<Facts> {
    let screener = match clinic {
        Some(clinic) => &screener
            .clone()
            .clinic("clinic.yaml", clinic.as_bytes())
            .ok()?,
        None => screener,
    };
    Some(screener.read("example.yaml", text.as_bytes()).ok()?.facts)
}

/// How a clinic's file begins. It names the rule set, so that another one refuses it.
fn clinic_head(rule_set: &RuleSet) -> String {
    format!("clinic: 1\nfor: {}\nname: Saltmarsh Clinic\n", rule_set.id)
}

/// Answers as a questionnaire.
fn questionnaire(rule_set: &RuleSet, answers: &[(&Question, String)]) -> String {
    let id = &rule_set.id;
    let answers = by_section(rule_set, "answers", answers);
    format!("questionnaire: 1\nfor: {id}\nreference: EXAMPLE-1\n{answers}")
}

/// Answers under their sections, as files write them.
fn by_section(rule_set: &RuleSet, key: &str, answers: &[(&Question, String)]) -> String {
    if answers.is_empty() {
        return format!("{key}: {{}}\n");
    }
    let mut text = format!("{key}:\n");
    for (at, section) in rule_set.catalogue.sections.entries() {
        let own = answers.iter().filter(|(it, _)| it.section == at);
        let lines: String = own
            .map(|(it, answer)| format!("    {}: {answer}\n", it.name()))
            .collect();
        if !lines.is_empty() {
            let _ = write!(text, "  {}:\n{lines}", section.id);
        }
    }
    text
}

/// Answers that were gathered from files, written as a questionnaire, and as a clinic's file where they come from one;
/// read back and screened. `None` if they are refused so.
pub fn of_answers(
    screener: &Screener<'_>,
    answers: &Gathered,
    as_of: NaiveDate,
) -> Option<Witness> {
    let rule_set = screener.rule_set();
    let written =
        |given: &BTreeMap<Idx<Question>, Given>, standing: bool| -> Vec<(&Question, String)> {
            let given = given.iter().filter(|(_, it)| it.standing == standing);
            given
                .map(|(at, it)| {
                    (
                        &rule_set.catalogue.questions[*at],
                        flow(&it.source, &it.node),
                    )
                })
                .collect()
        };
    let own = written(&answers.given, false);
    let of_clinic = written(&answers.given, true);
    let offered: Vec<(&Question, String)> = [true, false]
        .iter()
        .flat_map(|it| written(&answers.offers, *it))
        .collect();
    let questionnaire = questionnaire(rule_set, &own);
    let clinic = (!of_clinic.is_empty() || !offered.is_empty()).then(|| {
        let mut text = clinic_head(rule_set);
        if !offered.is_empty() {
            text += &by_section(rule_set, "offers", &offered);
        }
        text + &by_section(rule_set, "answers", &of_clinic)
    });
    let screener = screener.clone().on(as_of);
    let facts = read(&screener, &questionnaire, clinic.as_deref())?;
    let states = screener.states(&facts);
    Some(Witness {
        questionnaire,
        clinic,
        n_answers: own.len(),
        facts,
        states,
        as_of,
    })
}

/// Answers that are so, with every one left out that can be: one after the other, what the clinic offers first, then the
/// details, until without any of them they are not so.
pub(crate) fn irreducible(answers: &Gathered, is_so: &dyn Fn(&Gathered) -> bool) -> Gathered {
    let mut left = answers.clone();
    let n_left = |it: &Gathered| it.given.len() + it.offers.len();
    loop {
        let n_before = n_left(&left);
        let offered = left.offers.keys().rev().map(|it| (*it, true));
        let given = left.given.keys().rev().map(|it| (*it, false));
        let each: Vec<(Idx<Question>, bool)> = offered.chain(given).collect();
        for (question, is_offer) in each {
            let mut without = left.clone();
            if is_offer {
                without.offers.remove(&question);
            } else {
                without.given.remove(&question);
            }
            if is_so(&without) {
                left = without;
            }
        }
        if n_left(&left) == n_before {
            return left;
        }
    }
}

/// A day that is as told on the day of surgery.
fn day(dated: &Dated, as_of: NaiveDate) -> Option<String> {
    let back = |span: &Span| match span.months() {
        Some(months) => as_of.checked_sub_months(chrono::Months::new(months)),
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a span has at most four digits"
        )]
        None => as_of.checked_sub_days(Days::new(span.fewest_days().floor() as u64)),
    };
    #[expect(clippy::cast_possible_truncation, reason = "a day of the calendar")]
    let last_before = dated
        .before
        .and_then(|it| NaiveDate::from_num_days_from_ce_opt(it as i32 - 1));
    let starts = std::iter::once(Some(as_of))
        .chain(dated.older.iter().map(back))
        .chain([last_before])
        .flatten();
    let days = starts
        .flat_map(|start| (0..5).filter_map(move |days| start.checked_sub_days(Days::new(days))));
    first_fitting(days, dated, as_of)
}

fn first_fitting(
    days: impl Iterator<Item = NaiveDate>,
    dated: &Dated,
    as_of: NaiveDate,
) -> Option<String> {
    let mut fitting = days.map(When::on).filter(|it| fits(it, dated, as_of));
    fitting.next().map(|it| it.to_string())
}

/// Whether a day is as told.
fn fits(day: &When, dated: &Dated, as_of: NaiveDate) -> bool {
    let on = When::on(as_of);
    let number = f64::from(day.date.num_days_from_ce());
    dated.older.iter().all(|it| When::age_exceeds(day, &on, it))
        && !dated
            .not_older
            .iter()
            .any(|it| When::age_exceeds(day, &on, it))
        && dated.from.is_none_or(|it| number >= it)
        && dated.before.is_none_or(|it| number < it)
}

/// A day of birth that gives these completed years, and fits.
fn birthday(years: f64, dated: &Dated, as_of: NaiveDate) -> Option<String> {
    let latest = branch_and_bound::born(&When::on(as_of), years)?;
    let days = (0..=365).filter_map(|it| latest.date.checked_sub_days(Days::new(it)));
    first_fitting(days, dated, as_of)
}

fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('\\', "\\\\").replace('"', "\\\""))
}
