//! Other plans, other days and what would lift a verdict: each is written out as a changed questionnaire, from the
//! words of the report, and screened by itself.

use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use chrono::{Datelike, Days, NaiveDate, Weekday};
use preblock::inner::outcome::State;
use preblock::inner::outcome::{Outcome, Standing};
use preblock::inner::questionnaire::facts;
use preblock::inner::questionnaire::facts::{Fact, Facts, Gathered};
use preblock::inner::questionnaire::frame;
use preblock::inner::rule_set::files::RuleFiles;
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::rule_set::{Answer, Changeable, Choice, Conflict, Idx, Question, RuleSet};
use preblock::inner::screening::compile::Compiled;
use preblock::inner::screening::evaluate::States;
use preblock::inner::screening::result::{Alternative, Change, DateSpan, Lift, Screening};
use preblock::inner::screening::screener::Screener;
use preblock::inner::screening::what_if::alternatives::alternatives;
use preblock::inner::screening::what_if::days::dates;
use preblock::inner::screening::what_if::remedies::lifts;
use preblock::inner::screening::what_if::search::{Links, Trials};
use preblock::inner::truth::FactSlot;
use proptest::prelude::*;
use proptest::test_runner::TestRunner;
use rstest::rstest;

use crate::properties::{
    Dice, OUTCOMES, Tree, choices, nearly_healthy, plain_text as text, plain_tree as tree,
    some_patient, span_of, without_contradictions, yaml,
};
use crate::shipped::nails;
use crate::support::{
    SEED, alone, codes, embedded, files, gathered, read_over, referral, text_of, today, written,
};

/// A rule set with all that screening by it takes.
pub struct Desk {
    pub rules: &'static RuleSet,
    pub screener: Screener<'static>,
    compiled: Compiled,
    links: Links,
}

impl Desk {
    fn new(rules: RuleSet) -> Self {
        let rules: &'static RuleSet = Box::leak(Box::new(rules));
        Self {
            screener: Screener::new(rules, today()),
            compiled: Compiled::new(rules),
            links: Links::new(rules),
            rules,
        }
    }

    /// The embedded rule set.
    pub fn embedded() -> &'static Self {
        static DESK: OnceLock<Desk> = OnceLock::new();
        DESK.get_or_init(|| Self::new(embedded()))
    }

    /// The tiny rule set with these rules, some of its choices the clinic's and most of its answers changeable.
    fn tiny(rules: &[(&str, &str, &str)], more_questions: &str) -> Self {
        let mut files = files(rules);
        files.set(
            "questions.yaml",
            marked(&text_of(&files, "questions.yaml"), more_questions),
        );
        Self::new(alone(rule_set(&files).unwrap_or_else(|found| {
            unreachable!("{}", codes(&found).join("\n"))
        })))
    }

    fn question(&self, id: &str) -> &Question {
        self.rules
            .catalogue
            .questions
            .iter()
            .find(|it| it.id == id)
            .unwrap_or_else(|| unreachable!("no question {id}"))
    }

    pub fn facts(&self, answers: &Gathered, as_of: NaiveDate) -> Facts {
        let (facts, found) = facts::read(self.rules, answers, as_of);
        assert!(found.is_empty(), "{}", codes(&found).join("\n"));
        facts
    }

    /// These answers with others, in YAML, in place of some.
    pub fn with(&self, answers: &Gathered, changes: &[(String, String)]) -> Gathered {
        let mut sections: BTreeMap<&str, Vec<String>> = BTreeMap::new();
        for (id, answer) in changes {
            let (section, name) = id.split_once('.').unwrap_or_else(|| unreachable!("{id}"));
            sections
                .entry(section)
                .or_default()
                .push(format!("  {name}: {answer}\n"));
        }
        let lines: String = sections
            .iter()
            .map(|(section, lines)| format!("{section}:\n{}", lines.concat()))
            .collect();
        let new = gathered(self.rules, &written(&lines))
            .unwrap_or_else(|found| unreachable!("{lines}{}", codes(&found).join("\n")));
        let mut now = frame::over(answers, &new);
        now.completed_on.clone_from(&answers.completed_on);
        now
    }

    /// The same, understood; details that only these changes rule out are left out, as nobody would answer them then.
    pub fn changed(
        &self,
        answers: &Gathered,
        changes: &[(String, String)],
        as_of: NaiveDate,
    ) -> Facts {
        let before: BTreeSet<_> = self
            .facts(answers, today())
            .conflicts(Conflict::RuledOut)
            .iter()
            .map(|it| it.answer.slot)
            .collect();
        let mut now = self.with(answers, changes);
        loop {
            let facts = self.facts(&now, as_of);
            let newly: BTreeSet<_> = facts
                .conflicts(Conflict::RuledOut)
                .iter()
                .map(|it| it.answer.slot)
                .filter(|it| !before.contains(it))
                .collect();
            if newly.is_empty() {
                return facts;
            }
            now.given
                .retain(|at, _| !newly.contains(&self.rules.catalogue.questions[*at].slot));
        }
    }

    /// Verdict and urgency; the better, the smaller.
    fn standing(&self, facts: &Facts) -> Standing {
        standing(self.rules, &self.compiled.run(facts))
    }

    pub fn screen(&self, facts: &Facts) -> Screening {
        self.screener
            .clone()
            .without_search()
            .screening(&referral(facts))
    }

    pub fn trials<'a>(&'a self, facts: &'a Facts) -> Trials<'a> {
        Trials::new(self.rules, &self.compiled, &self.links, facts)
    }

    fn alternatives(&self, facts: &Facts) -> Vec<Alternative> {
        alternatives(&self.trials(facts)).0
    }

    fn lifts(&self, facts: &Facts) -> Vec<Lift> {
        lifts(&self.trials(facts)).0
    }

    fn dates(&self, facts: &Facts, weekdays: Option<&[Weekday]>, n_days: usize) -> Vec<DateSpan> {
        dates(self.rules, &self.compiled, facts, weekdays, n_days)
    }

    /// An example over this clinic's file.
    pub fn example(&self, name: &str, clinic: &str) -> Gathered {
        let bytes = std::fs::read(format!(
            "{}/examples/referrals/{name}",
            env!("CARGO_MANIFEST_DIR")
        ))
        .unwrap_or_default();
        read_over(self.screener.clone(), Some(clinic), name, &bytes).answers
    }
}

/// Worked out by another way than the program's: the most pressing of the rules that fire, if one refers.
fn standing(rules: &RuleSet, states: &States) -> Standing {
    let outcome = span_of(rules, states).verdict().outcome;
    let firing = rules
        .rules()
        .zip(states)
        .filter(|(rule, it)| **it == State::Fires && rule.outcome == outcome);
    Standing {
        outcome,
        urgency: firing.filter_map(|(rule, _)| rule.urgency).max(),
    }
}

/// Worked out from what is told, and not from what the screening says it comes to.
fn standing_of(screening: &Screening) -> Standing {
    let outcome = screening.verdict().outcome;
    Standing {
        outcome,
        urgency: screening
            .findings
            .iter()
            .filter(|it| it.outcome == outcome)
            .filter_map(|it| it.urgency)
            .max(),
    }
}

/// The questions of the tiny rule set with their marks; `plan` takes more questions.
fn marked(text: &str, more_in_plan: &str) -> String {
    let mut made = String::new();
    for line in text.lines() {
        let mark = |name: &str, mark: &str| {
            let inline = line.contains(&format!("{{ id: {name},"));
            inline.then(|| {
                format!(
                    "{}, {mark} }}\n",
                    line.trim_end().trim_end_matches('}').trim_end()
                )
            })
        };
        let yes_no = ["smokes", "drinks"]
            .iter()
            .find_map(|it| mark(it, "changeable: [no, yes]"));
        let changeable = yes_no.or_else(|| {
            ["count", "inr", "weight"]
                .iter()
                .find_map(|it| mark(it, "changeable: true"))
        });
        let marked = changeable.or_else(|| mark("anaesthetic", "decision: true"));
        match line.trim() {
            "- id: a" => made.push_str(more_in_plan),
            "- id: pulse" => {
                made.push_str(&format!(
                    "{line}\n        changeable: [felt, doubtful, absent]\n"
                ));
                continue;
            }
            "- id: signs" => {
                made.push_str(&format!("{line}\n        changeable: true\n"));
                continue;
            }
            _ => {}
        }
        made.push_str(&marked.unwrap_or_else(|| format!("{line}\n")));
    }
    made
}

pub fn clinic_of_the_examples() -> String {
    std::fs::read_to_string(format!(
        "{}/examples/clinic.yaml",
        env!("CARGO_MANIFEST_DIR")
    ))
    .unwrap_or_default()
}

/// A clinic that says what it has.
pub const OFFERS: &str = "\
clinic: 1
name: Test
offers:
  plan:
    ablation: [phenol, none]
    anaesthetic:
      - { agent: lidocaine, strength: 1 % }
      - { agent: lidocaine, strength: 2 % }
      - { agent: mepivacaine, strength: 3 % }
    adrenaline: [no]
    tourniquet: [yes, no]
    antiseptic: [chlorhexidine, povidone-iodine]
answers:
  plan: { ablation: phenol, adrenaline: no, tourniquet: yes, antiseptic: chlorhexidine }
  clinic: { latex_free: no, adrenaline_protocol: no, phentolamine: no, phenol_ventilation: yes, staff_pregnant: yes }
";

pub fn example_names() -> Vec<String> {
    let folder = format!("{}/examples/referrals", env!("CARGO_MANIFEST_DIR"));
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let names: BTreeSet<String> = entries
        .map(|it| it.file_name().to_string_lossy().into_owned())
        .collect();
    assert!(names.len() >= 25, "{names:?}");
    names.into_iter().collect()
}

/// The id of the option with this text, as it stands in the middle of a sentence.
fn option<'a>(options: &'a [Choice], text: &str) -> &'a str {
    let same = |it: &&Choice| it.text.to_lowercase() == text.to_lowercase();
    options
        .iter()
        .find(same)
        .map_or_else(|| unreachable!("no option reads {text}"), |it| &it.id)
}

/// The answer in YAML that a plan's words ask for.
fn plan_answer(question: &Question, then: &str) -> String {
    match &question.answer {
        Answer::YesNo => then.to_owned(),
        Answer::OneOf(options) => option(options, then).to_owned(),
        Answer::SeveralOf(_) if then == "none" => "[]".to_owned(),
        Answer::SeveralOf(options) => format!(
            "[{}]",
            then.split("; ")
                .map(|it| option(options, it))
                .collect::<Vec<_>>()
                .join(", ")
        ),
        Answer::Anaesthetic => {
            let one = |text: &str| match text.split_whitespace().collect::<Vec<_>>().as_slice() {
                [agent, strength, "%", volume, "mL"] => {
                    let known = |number: &str, unit: &str| {
                        if number == "?" {
                            "unknown".into()
                        } else {
                            format!("{number} {unit}")
                        }
                    };
                    format!(
                        "{{ agent: {agent}, strength: {}, volume: {} }}",
                        known(strength, "%"),
                        known(volume, "mL")
                    )
                }
                _ => unreachable!("no solution: {text}"),
            };
            format!(
                "[{}]",
                then.split(" + ").map(one).collect::<Vec<_>>().join(", ")
            )
        }
        other => unreachable!("{other:?} is no choice of a plan here"),
    }
}

pub fn plan_answers(desk: &Desk, changes: &[Change]) -> Vec<(String, String)> {
    changes
        .iter()
        .map(|it| {
            (
                it.fact.clone(),
                plan_answer(desk.question(&it.fact), &it.then),
            )
        })
        .collect()
}

/// Every part of a list but the whole and nothing.
fn parts<T: Clone>(whole: &[T]) -> Vec<Vec<T>> {
    let picked = |bits: u32| {
        whole
            .iter()
            .enumerate()
            .filter(|(at, _)| bits >> at & 1 == 1)
            .map(|(_, it)| it.clone())
            .collect()
    };
    (1..(1_u32 << whole.len()) - 1).map(picked).collect()
}

/// Holds every listed plan to what its own screening says. Returns how many there were.
fn hold_alternatives(desk: &Desk, answers: &Gathered, whose: &str) -> usize {
    let facts = desk.facts(answers, today());
    let now = desk.standing(&facts);
    let listed = desk.alternatives(&facts);
    let mut seen: Vec<(Vec<(String, String)>, Standing)> = Vec::new();
    for plan in &listed {
        let changes = plan_answers(desk, &plan.changes);
        let then = desk.changed(answers, &changes, today());
        let found = desk.screen(&then);
        let of = |it: &Change| format!("{whose}: {} from {} to {}", it.fact, it.now, it.then);
        let what = plan.changes.iter().map(of).collect::<Vec<_>>().join(", ");
        let promised = plan.prospect.verdict();
        assert_eq!(standing_of(&found), promised, "{what}");
        assert_eq!(found.span, plan.prospect.span, "{what}");
        let fires: Vec<&str> = found.findings.iter().map(|it| it.rule.as_str()).collect();
        assert_eq!(
            plan.prospect
                .fires
                .iter()
                .map(|it| it.rule.as_str())
                .collect::<Vec<_>>(),
            fires,
            "{what}"
        );
        let against = found
            .undetermined
            .iter()
            .filter(|it| it.outcome_if_fires > Outcome::Go);
        let waits: BTreeSet<&str> = against
            .flat_map(|it| &it.waits_for)
            .map(String::as_str)
            .collect();
        assert_eq!(
            plan.prospect
                .waits_for
                .iter()
                .map(String::as_str)
                .collect::<BTreeSet<_>>(),
            waits,
            "{what}"
        );
        assert_eq!(plan.anaesthetic, found.anaesthetic, "{what}");
        assert!(promised < now, "{what} is no better than {now:?}");
        for (fact, answer) in &changes {
            let same = desk.changed(answers, &[(fact.clone(), answer.clone())], today());
            let slot = desk.question(fact).slot;
            let value = |facts: &Facts| facts.known(slot).map(|it| it.value.clone());
            assert_ne!(
                value(&same),
                value(&facts),
                "{what} changes nothing of {fact}"
            );
        }
        for part in parts(&changes) {
            let by_itself = desk.standing(&desk.changed(answers, &part, today()));
            assert!(by_itself > promised, "{what}: {part:?} alone does as well");
        }
        for (smaller, its) in &seen {
            assert!(
                !(*its <= promised && smaller.iter().all(|it| changes.contains(it))),
                "{what} holds {smaller:?}, which does as well"
            );
            assert!(smaller.len() <= changes.len(), "{what} comes too late");
        }
        seen.push((changes, promised));
    }
    listed.len()
}

#[test]
fn a_plan_of_the_examples_comes_to_what_it_promises() {
    let desk = Desk::embedded();
    let mut n_plans = 0;
    for clinic in [clinic_of_the_examples().as_str(), OFFERS] {
        for name in example_names() {
            n_plans += hold_alternatives(desk, &desk.example(&name, clinic), &name);
        }
    }
    assert!(n_plans >= 6, "{n_plans}");
}

/// Random patients over a clinic that says what it offers, or does not.
fn random_patients(
    desk: &Desk,
    seed: u64,
    n_patients: usize,
    mut hold: impl FnMut(&Gathered, &str),
) {
    let mut dice = Dice(seed);
    let clinics: Vec<Gathered> = [clinic_of_the_examples().as_str(), OFFERS]
        .iter()
        .filter_map(|it| frame::clinic(desk.rules, "clinic.yaml", it.as_bytes()).0)
        .map(|it| it.answers)
        .collect();
    let mut n_done = 0;
    while n_done < n_patients {
        let Some((random, _)) = some_patient(desk.rules, &mut dice) else {
            continue;
        };
        let patient = match n_done % 6 {
            0 => Some(random),
            1 => nearly_healthy(desk.rules, nails().healthy(), &random, &mut dice).map(|it| it.0),
            // Nothing but the plan, or what speaks against one, is out of the ordinary.
            _ => {
                let mut healthy =
                    desk.example("SM-101.yaml", "clinic: 1\nname: Test\nanswers: {}\n");
                let planned = |at: &Idx<Question>| {
                    let id = &desk.rules.catalogue.questions[*at].id;
                    ["plan.", "clinic.", "allergies.known"]
                        .iter()
                        .any(|it| id.starts_with(it))
                        && id != "plan.procedure_on"
                };
                healthy.given.extend(
                    random
                        .given
                        .into_iter()
                        .filter(|(at, _)| planned(at) && dice.roll(3) > 0),
                );
                Some(healthy)
            }
        };
        let (Some(own), Some(clinic)) = (patient, clinics.get(n_done % clinics.len())) else {
            continue;
        };
        let mut answers = frame::over(clinic, &own);
        answers.offers.clone_from(&clinic.offers);
        let Some((answers, _)) = without_contradictions(desk.rules, answers) else {
            continue;
        };
        hold(&answers, &format!("patient {n_done}"));
        n_done += 1;
    }
}

#[test]
fn a_plan_of_a_random_patient_comes_to_what_it_promises() {
    let desk = Desk::embedded();
    let mut n_plans = 0;
    random_patients(desk, 11, 300, |answers, whose| {
        n_plans += hold_alternatives(desk, answers, whose)
    });
    // With twenty concerns, few random patients have nothing but their plan against them.
    assert!(n_plans > 12, "{n_plans}");
}

/// Every choice of up to two options that the clinic has is tried by itself: none that is better is left out.
fn hold_exact(desk: &Desk, answers: &Gathered, whose: &str) -> usize {
    let facts = desk.facts(answers, today());
    let now = desk.standing(&facts);
    let listed: Vec<(Vec<(String, String)>, Standing)> = desk
        .alternatives(&facts)
        .iter()
        .map(|it| (plan_answers(desk, &it.changes), it.prospect.verdict()))
        .collect();
    let mut single: Vec<(String, String)> = Vec::new();
    for question in desk
        .rules
        .catalogue
        .questions
        .iter()
        .filter(|it| it.decision)
    {
        let options: Vec<&str> = match &question.answer {
            Answer::YesNo => vec!["no", "yes"],
            Answer::OneOf(options) => options.iter().map(|it| it.id.as_str()).collect(),
            _ => Vec::new(),
        };
        let offered = facts.offers().get(&question.slot);
        let says = !facts.offers().is_empty();
        let has = |at: usize| match offered {
            Some(preblock::inner::rule_set::Offered::Options(bits)) => bits >> at & 1 == 1,
            _ => !says,
        };
        let choices = options
            .iter()
            .enumerate()
            .filter(|(at, _)| has(*at))
            .map(|(_, it)| (question.id.clone(), (*it).to_owned()));
        single.extend(choices);
    }
    let mut tried: Vec<Vec<(String, String)>> = single.iter().map(|it| vec![it.clone()]).collect();
    for (at, one) in single.iter().enumerate() {
        tried.extend(
            single
                .iter()
                .skip(at + 1)
                .filter(|it| it.0 != one.0)
                .map(|it| vec![one.clone(), it.clone()]),
        );
    }
    let mut n_better = 0;
    for plan in &tried {
        let then = desk.standing(&desk.changed(answers, plan, today()));
        if then < now {
            n_better += 1;
            let is_covered = listed
                .iter()
                .any(|(smaller, its)| *its <= then && smaller.iter().all(|it| plan.contains(it)));
            assert!(
                is_covered,
                "{whose}: {plan:?} gives {then:?} and is not listed"
            );
        }
    }
    n_better
}

#[test]
fn no_better_plan_of_two_choices_is_left_out() {
    let desk = Desk::embedded();
    let mut n_better = 0;
    for clinic in [clinic_of_the_examples().as_str(), OFFERS] {
        for name in example_names() {
            n_better += hold_exact(desk, &desk.example(&name, clinic), &name);
        }
    }
    random_patients(desk, 12, 60, |answers, whose| {
        n_better += hold_exact(desk, answers, whose)
    });
    // With twenty concerns, few random patients have nothing but their plan against them.
    assert!(n_better > 10, "{n_better}");
}

/// The answers with the surgery on this day, at the time that was planned.
fn on_day(desk: &Desk, answers: &Gathered, day: NaiveDate) -> Facts {
    let time = desk
        .facts(answers, today())
        .procedure_on()
        .and_then(|it| it.time);
    let written = time.map_or_else(
        || day.to_string(),
        |it| format!("{day} {}", it.format("%H:%M")),
    );
    desk.changed(answers, &[("plan.procedure_on".into(), written)], today())
}

/// Holds every day to the screening of that day. Returns how many spans there were.
fn hold_dates(
    desk: &Desk,
    answers: &Gathered,
    weekdays: Option<&[Weekday]>,
    n_days: usize,
    whose: &str,
) -> usize {
    let spans = desk.dates(&desk.facts(answers, today()), weekdays, n_days);
    let days: Vec<NaiveDate> = today()
        .iter_days()
        .filter(|it| weekdays.is_none_or(|days| days.contains(&it.weekday())))
        .take(n_days)
        .collect();
    assert_eq!(
        spans.iter().map(|it| it.n_days).sum::<usize>(),
        n_days,
        "{whose}"
    );
    let mut rest = days.as_slice();
    let mut before: Option<(States, &DateSpan)> = None;
    for span in &spans {
        let (own, later) = rest.split_at(span.n_days);
        rest = later;
        assert_eq!(
            (own.first(), own.last()),
            (Some(&span.from), Some(&span.to)),
            "{whose}"
        );
        let promised = span.prospect.verdict();
        for day in own {
            let facts = on_day(desk, answers, *day);
            let states = desk.compiled.run(&facts);
            assert_eq!(standing(desk.rules, &states), promised, "{whose} on {day}");
            if let Some((states_before, last)) = before.take_if(|_| *day == span.from) {
                assert_ne!(
                    last.prospect.verdict(),
                    promised,
                    "{whose}: two spans are one at {day}"
                );
                let turned = desk.rules.rules().zip(states_before.iter().zip(&states));
                let turned: Vec<(&str, State, State)> = turned
                    .filter(|(rule, (one, other))| rule.outcome > Outcome::Go && one != other)
                    .map(|(rule, (one, other))| (rule.id.as_str(), *one, *other))
                    .collect();
                let words = |it: State| match it {
                    State::Fires => "fires",
                    State::StaysQuiet => "stays quiet",
                    State::Undetermined => "undetermined",
                };
                let told: Vec<(&str, &str, &str)> = last
                    .ended_by
                    .iter()
                    .map(|it| (it.rule.as_str(), it.before.word(), it.after.word()))
                    .collect();
                assert_eq!(
                    told,
                    turned
                        .iter()
                        .map(|(id, one, other)| (*id, words(*one), words(*other)))
                        .collect::<Vec<_>>(),
                    "{whose}"
                );
                assert!(
                    !told.is_empty(),
                    "{whose}: nothing ended the span before {day}"
                );
            }
            if *day == span.from {
                let found = desk.screen(&facts);
                assert_eq!(found.span, span.prospect.span, "{whose}");
                let fires: Vec<&str> = found.findings.iter().map(|it| it.rule.as_str()).collect();
                assert_eq!(
                    span.prospect
                        .fires
                        .iter()
                        .map(|it| it.rule.as_str())
                        .collect::<Vec<_>>(),
                    fires,
                    "{whose}"
                );
            }
            if *day == span.to {
                before = Some((states, span));
            }
        }
    }
    assert!(rest.is_empty());
    assert!(
        spans.last().is_none_or(|it| it.ended_by.is_empty()),
        "the last span has no end"
    );
    spans.len()
}

#[test]
fn each_day_of_the_examples_comes_to_what_a_screening_for_it_says() {
    let desk = Desk::embedded();
    for name in example_names() {
        let answers = desk.example(&name, &clinic_of_the_examples());
        hold_dates(desk, &answers, None, 28, &name);
        hold_dates(
            desk,
            &answers,
            Some(&[Weekday::Tue, Weekday::Thu]),
            5,
            &name,
        );
        assert_eq!(hold_dates(desk, &answers, None, 1, &name), 1);
    }
    // No example has a verdict that changes within four weeks.
    let changed = |name: &str, changes: &[(&str, &str)]| {
        let changes: Vec<(String, String)> = changes
            .iter()
            .map(|(id, answer)| ((*id).to_owned(), (*answer).to_owned()))
            .collect();
        desk.with(&desk.example(name, &clinic_of_the_examples()), &changes)
    };
    let fresh = changed(
        "SM-122.yaml",
        &[("bleeding.inr", "{ value: 2.6, taken_on: 2026-11-25 08:00 }")],
    );
    let starts: Vec<NaiveDate> = desk
        .dates(&desk.facts(&fresh, today()), None, 28)
        .iter()
        .map(|it| it.from)
        .collect();
    assert_eq!(
        starts.len(),
        2,
        "an INR is fresh for a while, and then no longer: {starts:?}"
    );
    hold_dates(desk, &fresh, None, 28, "fresh INR");
    let grows_up = changed(
        "SM-101.yaml",
        &[
            ("person.date_of_birth", "2014-12-05"),
            (
                "plan.anaesthetic",
                "[{ agent: bupivacaine, strength: 0.25 %, volume: 2 mL }]",
            ),
            ("anaesthesia.weight_measured", "yes"),
            ("lesion.conservative_tried", "yes"),
            ("general.pressure_taken", "yes"),
        ],
    );
    let spans = desk.dates(&desk.facts(&grows_up, today()), None, 28);
    assert_eq!(
        spans
            .iter()
            .map(|it| it.from.to_string())
            .collect::<Vec<_>>(),
        ["2026-11-25", "2026-12-05"],
        "{spans:?}"
    );
    hold_dates(desk, &grows_up, None, 28, "a twelfth birthday");
}

/// A year of days, a verdict that ends and one that begins within it.
#[test]
fn a_year_of_days() {
    let desk = Desk::embedded();
    for name in ["SM-103.yaml", "SM-110.yaml"] {
        hold_dates(
            desk,
            &desk.example(name, &clinic_of_the_examples()),
            None,
            366,
            name,
        );
    }
    let spans = desk.dates(
        &desk.facts(
            &desk.example("SM-101.yaml", &clinic_of_the_examples()),
            today(),
        ),
        Some(&[Weekday::Wed]),
        366,
    );
    assert_eq!(
        spans.first().map(|it| it.from),
        Some(today()),
        "the day of the screening is a Wednesday"
    );
    assert_eq!(
        spans.last().map(|it| it.to),
        today().checked_add_days(Days::new(7 * 365))
    );
}

#[test]
fn each_day_of_random_patients_comes_to_what_a_screening_for_it_says() {
    let desk = Desk::embedded();
    let mut n_spans = 0;
    random_patients(desk, 13, 60, |answers, whose| {
        n_spans += hold_dates(desk, answers, Some(&[Weekday::Mon, Weekday::Wed]), 9, whose);
    });
    assert!(n_spans >= 60, "{n_spans}");
}

// ---- lifts ------------------------------------------------------------------------------------

/// The ways to do as a lift says, as answers in YAML, and answers just outside what it says.
struct Ways {
    within: Vec<String>,
    outside: Vec<String>,
    /// The same values on the day before the first that it says.
    too_old: Vec<String>,
}

fn day_of_words(text: &str) -> NaiveDate {
    let day = text
        .split_whitespace()
        .take(3)
        .collect::<Vec<_>>()
        .join(" ");
    NaiveDate::parse_from_str(&day, "%d %b %Y").unwrap_or_else(|_| unreachable!("no day: {text}"))
}

/// Values within and just outside "below 4.0", "at least 100 mmHg and at most 120 mmHg".
fn values(question: &Question, range: &str) -> (Vec<String>, Vec<String>) {
    const STEP: f64 = 0.001;
    let (lowest, highest) = question.plausible.unwrap_or((0.0, 1000.0));
    let own_unit = if let Answer::Quantity { unit, .. } = &question.answer {
        format!(" {unit}")
    } else {
        String::new()
    };
    let (mut low, mut high, mut outside) = (lowest, highest, Vec::new());
    for part in range.split(" and ").filter(|it| *it != "measured") {
        let (words, number) = ["below ", "above ", "at least ", "at most "]
            .iter()
            .find_map(|words| Some((*words, part.strip_prefix(*words)?)))
            .unwrap_or_else(|| unreachable!("{range}"));
        let (number, unit) = number.split_once(' ').unwrap_or((number, ""));
        assert_eq!(
            unit,
            own_unit.trim(),
            "the test would have to convert {range}"
        );
        let number: f64 = number.parse().unwrap_or_else(|_| unreachable!("{range}"));
        match words {
            "below " => {
                (high, outside) = (
                    number - STEP,
                    [outside, vec![number, number + STEP]].concat(),
                )
            }
            "at most " => (high, outside) = (number, [outside, vec![number + STEP]].concat()),
            "above " => {
                (low, outside) = (
                    number + STEP,
                    [outside, vec![number, number - STEP]].concat(),
                )
            }
            _ => (low, outside) = (number, [outside, vec![number - STEP]].concat()),
        }
    }
    assert!(low <= high, "{range} holds nothing");
    let write = |it: f64| format!("{}{own_unit}", (it * 1000.0).round() / 1000.0);
    let inside = [high, low, f64::midpoint(low, high)];
    outside.retain(|it| (lowest..=highest).contains(it));
    (
        inside.into_iter().map(write).collect(),
        outside.into_iter().map(write).collect(),
    )
}

fn ways(desk: &Desk, facts: &Facts, change: &Change) -> Ways {
    let question = desk.question(&change.fact);
    let known = facts.known(question.slot).map(|it| &it.value);
    let within = |it: String| Ways {
        within: vec![it],
        outside: Vec::new(),
        too_old: Vec::new(),
    };
    match &question.answer {
        Answer::YesNo => within(change.then.clone()),
        Answer::OneOf(options) => within(option(options, &change.then).to_owned()),
        Answer::SeveralOf(options) => {
            let mut chosen: BTreeSet<&str> = match known {
                Some(facts::Value::Choices(bits)) => options
                    .iter()
                    .enumerate()
                    .filter(|(at, _)| bits >> at & 1 == 1)
                    .map(|(_, it)| it.id.as_str())
                    .collect(),
                _ => BTreeSet::new(),
            };
            match (
                change.then.strip_prefix("also: "),
                change.then.strip_prefix("no longer: "),
            ) {
                (Some(text), _) => assert!(
                    chosen.insert(option(options, text)),
                    "it is chosen: {change:?}"
                ),
                (_, Some(text)) => assert!(
                    chosen.remove(option(options, text)),
                    "it is not chosen: {change:?}"
                ),
                _ => assert_eq!(change.then, "none"),
            }
            let in_order = options
                .iter()
                .map(|it| it.id.as_str())
                .filter(|it| chosen.contains(it));
            within(format!("[{}]", in_order.collect::<Vec<_>>().join(", ")))
        }
        Answer::Number { .. } | Answer::Quantity { .. } => {
            let (range, taken) = change
                .then
                .split_once(", taken on ")
                .map_or((change.then.as_str(), None), |(it, on)| (it, Some(on)));
            let (inside, outside) = values(question, range);
            let dated = |value: &String, on: &str| format!("{{ value: {value}, taken_on: {on} }}");
            let (Some(taken), Some(on)) = (taken, facts.procedure_on()) else {
                // Without a day of surgery nothing is said of the day, and it stays as it was.
                let day = |it: &String| match question.date_slot.map(|slot| facts.known(slot)) {
                    None => it.clone(),
                    Some(Some(known)) => match &known.value {
                        facts::Value::Date(when) => dated(it, &when.to_string()),
                        other => unreachable!("{other:?}"),
                    },
                    Some(None) => dated(it, "unknown"),
                };
                return Ways {
                    within: inside.iter().map(day).collect(),
                    outside: outside.iter().map(day).collect(),
                    too_old: Vec::new(),
                };
            };
            let last = on.to_string();
            let Some(first) = taken.strip_prefix("or after ").map(day_of_words) else {
                assert_eq!(day_of_words(taken), on.date, "{change:?}");
                return Ways {
                    within: inside.iter().map(|it| dated(it, &last)).collect(),
                    outside: outside.iter().map(|it| dated(it, &last)).collect(),
                    too_old: Vec::new(),
                };
            };
            let days: BTreeSet<String> = [first, first.midpoint(on.date)]
                .iter()
                .map(ToString::to_string)
                .chain([last.clone()])
                .collect();
            let mut found = Ways {
                within: days
                    .iter()
                    .flat_map(|day| inside.iter().map(|it| dated(it, day)).collect::<Vec<_>>())
                    .collect(),
                outside: outside.iter().map(|it| dated(it, &last)).collect(),
                too_old: Vec::new(),
            };
            let a_year_before = on.date.checked_sub_days(Days::new(366));
            if let Some(before) = first.pred_opt().filter(|_| Some(first) != a_year_before) {
                found.too_old = inside
                    .iter()
                    .map(|it| dated(it, &before.to_string()))
                    .collect();
            }
            found
        }
        other => unreachable!("{other:?} is not changeable here"),
    }
}

trait Midpoint {
    fn midpoint(self, other: Self) -> Self;
}

impl Midpoint for NaiveDate {
    fn midpoint(self, other: Self) -> Self {
        let days = u64::try_from((other - self).num_days() / 2).unwrap_or(0);
        self.checked_add_days(Days::new(days)).unwrap_or(self)
    }
}

/// What was held to be so of some lifts, by number.
#[derive(Debug, Default)]
struct Held {
    lifts: usize,
    ranges: usize,
    dated: usize,
    options: usize,
    n_changes: [usize; 4],
}

/// Holds every lift to a screening as of the day of surgery with what it asks for.
fn hold_lifts(desk: &Desk, answers: &Gathered, whose: &str, held: &mut Held) {
    let facts = desk.facts(answers, today());
    let now = desk.standing(&facts);
    let as_of = facts.procedure_on().map_or(today(), |it| it.date);
    for lift in desk.lifts(&facts) {
        let promised = lift.prospect.verdict();
        let words: Vec<String> = lift
            .changes
            .iter()
            .map(|it| format!("{} from {} to {}", it.fact, it.now, it.then))
            .collect();
        let what = format!("{whose}: {}", words.join(", "));
        assert!(promised < now, "{what} is no better than {now:?}");
        assert!(!lift.changes.is_empty());
        // Several options of one list are several changes to one answer.
        let mut each: Vec<(String, Ways)> = Vec::new();
        let mut so_far = facts.clone();
        for change in &lift.changes {
            let ways = ways(desk, &so_far, change);
            let is_list = matches!(desk.question(&change.fact).answer, Answer::SeveralOf(_));
            if is_list {
                held.options += 1;
                let text: Vec<(String, String)> = ways
                    .within
                    .iter()
                    .map(|it| (change.fact.clone(), it.clone()))
                    .collect();
                so_far = desk.changed(answers, &text, as_of);
                each.retain(|(fact, _)| *fact != change.fact);
            }
            each.push((change.fact.clone(), ways));
        }
        held.lifts += 1;
        held.n_changes[lift.changes.len()] += 1;
        held.ranges += each.iter().filter(|(_, it)| it.within.len() > 1).count();
        held.dated += lift
            .changes
            .iter()
            .filter(|it| it.then.contains("taken on"))
            .count();
        let first = |(fact, ways): &(String, Ways)| {
            (
                fact.clone(),
                ways.within.first().cloned().unwrap_or_default(),
            )
        };
        let mut combined: Vec<Vec<(String, String)>> = vec![Vec::new()];
        for (fact, ways) in &each {
            let longer = combined.iter().flat_map(|it| {
                ways.within
                    .iter()
                    .map(|way| [it.clone(), vec![(fact.clone(), way.clone())]].concat())
            });
            combined = longer.collect();
            let too_many = combined.len().div_ceil(60);
            combined = combined.into_iter().step_by(too_many).collect();
        }
        let mut as_promised = false;
        for changes in &combined {
            let then = desk.standing(&desk.changed(answers, changes, as_of));
            assert!(then <= promised, "{what}: {changes:?} gives {then:?}");
            as_promised |= then == promised;
        }
        assert!(as_promised, "{what}: every value does better than it says");
        for (at, (fact, ways)) in each.iter().enumerate() {
            let with = |value: &String| {
                let changes: Vec<(String, String)> = each
                    .iter()
                    .enumerate()
                    .map(|(other, it)| {
                        if other == at {
                            (fact.clone(), value.clone())
                        } else {
                            first(it)
                        }
                    })
                    .collect();
                desk.standing(&desk.changed(answers, &changes, as_of))
            };
            for outside in &ways.outside {
                let then = with(outside);
                assert!(then > promised, "{what}: {outside} gives {then:?}, too");
            }
            // An older result may be enough for some values of the range, but not for all of them.
            let enough = ways
                .too_old
                .iter()
                .filter(|it| with(it) <= promised)
                .count();
            assert!(
                ways.too_old.is_empty() || enough < ways.too_old.len(),
                "{what}: {:?} give as much, too",
                ways.too_old
            );
        }
        let whole: Vec<(String, String)> = each.iter().map(first).collect();
        for part in parts(&whole) {
            let then = desk.standing(&desk.changed(answers, &part, as_of));
            assert!(then > promised, "{what}: {part:?} alone gives {then:?}");
        }
    }
}

#[test]
fn a_lift_of_the_examples_comes_to_what_it_promises() {
    let desk = Desk::embedded();
    let mut held = Held::default();
    for name in example_names() {
        hold_lifts(
            desk,
            &desk.example(&name, &clinic_of_the_examples()),
            &name,
            &mut held,
        );
    }
    assert!(held.lifts >= 3 && held.dated >= 3, "{held:?}");
}

#[test]
fn a_lift_of_a_random_patient_comes_to_what_it_promises() {
    let desk = Desk::embedded();
    let mut held = Held::default();
    random_patients(desk, 14, 30, |answers, whose| {
        hold_lifts(desk, answers, whose, &mut held)
    });
    // Random answers have too much against them: a patient with a single thing that may change is likelier to be lifted.
    let mut dice = Dice(15);
    let changeable: Vec<&str> = desk
        .rules
        .catalogue
        .questions
        .iter()
        .filter(|it| it.changeable != Changeable::No)
        .map(|it| it.id.as_str())
        .collect();
    for at in 0..300 {
        let name = example_names().get(at % 25).cloned().unwrap_or_default();
        let Some((random, _)) = some_patient(desk.rules, &mut dice) else {
            continue;
        };
        let mut answers = desk.example(&name, &clinic_of_the_examples());
        let id = |at: &Idx<Question>| desk.rules.catalogue.questions[*at].id.as_str();
        answers.given.extend(
            random
                .given
                .into_iter()
                .filter(|(at, _)| changeable.contains(&id(at)) && dice.roll(2) == 0),
        );
        let Some((answers, _)) = without_contradictions(desk.rules, answers) else {
            continue;
        };
        hold_lifts(
            desk,
            &answers,
            &format!("{name} with other answers, {at}"),
            &mut held,
        );
    }
    assert!(
        held.lifts >= 25 && held.dated >= 20 && held.n_changes[2] > 0,
        "{held:?}"
    );
}

fn desk_of(trees: &[Tree]) -> Desk {
    let written: Vec<(String, String)> = trees
        .iter()
        .enumerate()
        .map(|(at, it)| (format!("rule-{at}"), yaml(it, false)))
        .collect();
    let rules: Vec<(&str, &str, &str)> = written
        .iter()
        .zip(OUTCOMES.iter().cycle())
        .map(|((id, when), outcome)| (id.as_str(), *outcome, when.as_str()))
        .collect();
    Desk::tiny(&rules, "")
}

/// The changeable answers with options of the tiny rule set, and every way to choose.
fn single_changes(desk: &Desk, facts: &Facts) -> Vec<(String, String)> {
    let mut found = Vec::new();
    for question in desk
        .rules
        .catalogue
        .questions
        .iter()
        .filter(|it| it.changeable != Changeable::No)
    {
        let options: Vec<String> = match &question.answer {
            Answer::YesNo => vec!["no".into(), "yes".into()],
            Answer::OneOf(options) => options.iter().map(|it| it.id.clone()).collect(),
            // One option more or less than now; none, where it is not known.
            Answer::SeveralOf(options) => match facts.known(question.slot).map(|it| &it.value) {
                Some(facts::Value::Choices(bits)) => (0..options.len())
                    .map(|flipped| {
                        let bits = bits ^ (1 << flipped);
                        let chosen = options
                            .iter()
                            .enumerate()
                            .filter(|(at, _)| bits >> at & 1 == 1)
                            .map(|(_, it)| it.id.as_str());
                        format!("[{}]", chosen.collect::<Vec<_>>().join(", "))
                    })
                    .collect(),
                _ => vec!["[]".into()],
            },
            _ => Vec::new(),
        };
        found.extend(options.into_iter().map(|it| (question.id.clone(), it)));
    }
    found
}

/// Questions of every kind, changeable, under rules of every kind: what is promised holds, no part of it will do, and
/// no better change of one or two options is left out.
#[test]
fn lifts_and_plans_of_any_rule_set_keep_their_promises() {
    let config = ProptestConfig {
        cases: 140,
        failure_persistence: None,
        rng_seed: SEED,
        ..ProptestConfig::default()
    };
    let (held, n_plans, n_better) = (RefCell::new(Held::default()), Cell::new(0), Cell::new(0));
    let strategy = (
        prop::collection::vec(tree(), 1..5),
        prop::collection::vec(choices(), 4),
    );
    let ran = TestRunner::new(config).run(&strategy, |(trees, all)| {
        let desk = desk_of(&trees);
        for choices in &all {
            let whose = text(choices);
            let answers = gathered(desk.rules, &whose)
                .map_err(|found| TestCaseError::fail(codes(&found).join("\n")))?;
            n_plans.set(n_plans.get() + hold_alternatives(&desk, &answers, &whose));
            hold_lifts(&desk, &answers, &whose, &mut held.borrow_mut());
            n_better.set(n_better.get() + hold_lifts_exact(&desk, &answers, &whose));
        }
        Ok(())
    });
    assert!(ran.is_ok(), "{ran:#?}");
    let held = held.into_inner();
    assert!(
        held.lifts > 50
            && held.ranges > 10
            && held.dated > 5
            && held.options > 5
            && held.n_changes[2] > 5,
        "{held:?}"
    );
    assert!(
        n_plans.get() > 3 && n_better.get() > 100,
        "{n_plans:?} plans, {n_better:?} better changes"
    );
}

/// Every change of one or two answers with options that gives a better verdict is told, or holds one that is.
fn hold_lifts_exact(desk: &Desk, answers: &Gathered, whose: &str) -> usize {
    let facts = desk.facts(answers, today());
    let now = desk.standing(&facts);
    let as_of = facts.procedure_on().map_or(today(), |it| it.date);
    let lifts = desk.lifts(&facts);
    // With as many as are ever told, some may be left out.
    if lifts.len() >= 8 {
        return 0;
    }
    let single = single_changes(desk, &facts);
    let pairs = single.iter().enumerate().flat_map(|(at, one)| {
        single
            .iter()
            .skip(at + 1)
            .filter(|it| it.0 != one.0)
            .map(|it| vec![one.clone(), it.clone()])
    });
    let mut n_better = 0;
    for changes in single.iter().map(|it| vec![it.clone()]).chain(pairs) {
        let then = desk.standing(&desk.changed(answers, &changes, as_of));
        let covers = |lift: &Lift| {
            let is_one_of_them = |it: &Change| {
                ways(desk, &facts, it)
                    .within
                    .iter()
                    .any(|way| changes.contains(&(it.fact.clone(), way.clone())))
            };
            lift.changes.iter().all(is_one_of_them) && lift.prospect.verdict() <= then
        };
        if then < now {
            n_better += 1;
            assert!(
                lifts.iter().any(covers),
                "{changes:?} gives {then:?} and is not told: {lifts:#?}\n{whose}"
            );
        }
    }
    n_better
}

/// A number that other facts are worked out from may turn a rule anywhere, so no range of it is promised.
#[test]
fn a_number_that_others_are_worked_out_from_is_not_told_as_a_range() {
    let rules = [
        ("too-light", "defer", "{ fact: a.weight, below: 50 kg }"),
        (
            "too-heavy",
            "defer",
            "{ not: { fact: derived.dosing, below: 60 kg } }",
        ),
    ];
    let desk = Desk::tiny(&rules, "");
    let answers = "plan: { procedure_on: 2026-12-03 }\na: { born: 1950-01-01, sex: male, height: 1.8 m, weight: 49.9 kg }";
    let answers = gathered(desk.rules, &written(answers)).unwrap_or_default();
    assert_eq!(
        desk.standing(&desk.facts(&answers, today())).outcome,
        Outcome::Defer
    );
    hold_lifts(&desk, &answers, "a light patient", &mut Held::default());
}

/// A result of each kind: what is promised, and how the words say it.
#[rstest]
#[case::below(
    "{ fact: a.inr, at_least: { limit: ceiling } }",
    "inr: { value: 4.5, taken_on: 2026-11-24 }",
    "below 4.0, taken on or after 2 Dec 2025"
)]
#[case::fresh(
    "{ any: [{ fact: a.inr, at_least: { limit: ceiling } }, { fact: a.inr, older_than: { limit: fresh } }] }",
    "inr: { value: 4.0, taken_on: 2026-11-24 }",
    "below 4.0, taken on or after 30 Nov 2026"
)]
#[case::between("{ not: { fact: a.units, between: [3, 5] } }", "units: 2", "")]
#[case::whole_range(
    "{ not: { fact: a.count, between: [3, 5] } }",
    "count: 2",
    "at least 3 and at most 5"
)]
#[case::above(
    "{ fact: a.count, at_most: { limit: ceiling } }",
    "count: 2",
    "above 4.0"
)]
#[case::yes_no("{ fact: a.smokes, is: yes }", "smokes: yes", "no")]
#[case::one_of("{ fact: a.pulse, is_not: doubtful }", "pulse: absent", "doubtful")]
#[case::one_more(
    "{ not: { fact: a.signs, includes: ulcer } }",
    "signs: [pain]",
    "also: ulcer"
)]
#[case::one_less(
    "{ fact: a.signs, includes: ulcer }",
    "signs: [pain, ulcer]",
    "no longer: ulcer"
)]
#[case::none("{ fact: a.signs, includes: ulcer }", "signs: unknown", "none")]
fn each_kind_of_answer_is_lifted(#[case] when: &str, #[case] answer: &str, #[case] expected: &str) {
    let desk = Desk::tiny(&[("one", "defer", when)], "");
    let lines = format!("plan: {{ procedure_on: 2026-12-03 }}\na: {{ {answer} }}");
    let answers = gathered(desk.rules, &written(&lines)).unwrap_or_default();
    let told: Vec<String> = desk
        .lifts(&desk.facts(&answers, today()))
        .iter()
        .flat_map(|it| &it.changes)
        .map(|it| it.then.clone())
        .collect();
    // `units` is not marked changeable, so nothing is told of it.
    let expected: Vec<&str> = [expected].into_iter().filter(|it| !it.is_empty()).collect();
    assert_eq!(told, expected);
    let mut held = Held::default();
    hold_lifts(&desk, &answers, answer, &mut held);
    assert_eq!(held.lifts, expected.len());
}

// ---- fewer answers ----------------------------------------------------------------------------

/// With an answer less, no plan comes to more than with it, and no day turns to go.
#[test]
fn an_answer_less_only_widens_plans_and_days() {
    let desk = Desk::embedded();
    let (mut n_plans, mut n_days) = (0, 0);
    let days: Vec<NaiveDate> = [0, 3, 12, 27]
        .iter()
        .filter_map(|it| today().checked_add_days(Days::new(*it)))
        .collect();
    let mut hold = |answers: &Gathered, whose: &str| {
        let facts = desk.facts(answers, today());
        let spans = desk.dates(&facts, None, 28);
        let of_day = |spans: &[DateSpan], day: NaiveDate| {
            spans
                .iter()
                .find(|it| (it.from..=it.to).contains(&day))
                .map(|it| it.prospect.clone())
        };
        let plans: Vec<(
            Vec<(String, String)>,
            preblock::inner::screening::result::Prospect,
        )> = desk
            .alternatives(&facts)
            .iter()
            .map(|it| (plan_answers(desk, &it.changes), it.prospect.clone()))
            .collect();
        for at in answers.given.keys() {
            let mut fewer = answers.clone();
            fewer.given.remove(at);
            let less = &desk.rules.catalogue.questions[*at].id;
            for (plan, with_it) in &plans {
                let found = desk.compiled.run(&desk.changed(&fewer, plan, today()));
                let span = span_of(desk.rules, &found);
                assert!(
                    span.best_case <= with_it.span.best_case
                        && span.worst_case >= with_it.span.worst_case,
                    "{whose}, {plan:?}, without {less}: {span:?}"
                );
                n_plans += 1;
            }
            let fewer_facts = desk.facts(&fewer, today());
            for plan in desk.alternatives(&fewer_facts) {
                // What is listed with less must be no better than the same plan with all answers.
                let changes = plan_answers(desk, &plan.changes);
                let whole = span_of(
                    desk.rules,
                    &desk.compiled.run(&desk.changed(answers, &changes, today())),
                );
                assert!(
                    plan.prospect.span.worst_case >= whole.worst_case,
                    "{whose}, {changes:?}, without {less}"
                );
                assert!(
                    plan.prospect.span.best_case <= whole.best_case,
                    "{whose}, {changes:?}, without {less}"
                );
            }
            let fewer_spans = desk.dates(&fewer_facts, None, 28);
            for day in &days {
                let (Some(one), Some(other)) = (of_day(&spans, *day), of_day(&fewer_spans, *day))
                else {
                    unreachable!("{whose}: no span on {day}");
                };
                let went = one.verdict() == Standing::GO;
                assert!(
                    went || other.verdict() != Standing::GO,
                    "{whose}, {day}, without {less}: go"
                );
                n_days += 1;
            }
        }
    };
    for name in [
        "SM-103.yaml",
        "SM-107.yaml",
        "SM-115.yaml",
        "SM-116.yaml",
        "SM-117.yaml",
    ] {
        hold(&desk.example(name, &clinic_of_the_examples()), name);
        hold(&desk.example(name, OFFERS), name);
    }
    random_patients(desk, 16, 12, |answers, whose| hold(answers, whose));
    assert!(
        n_plans > 300 && n_days > 2000,
        "{n_plans} plans, {n_days} days"
    );
}

// ---- contradictions and offers ----------------------------------------------------------------

/// A patient's own detail that another answer rules out is told, with the lines of both.
#[test]
fn a_detail_that_another_answer_rules_out_names_both_places() {
    let desk = Desk::embedded();
    let folder = format!("{}/examples/referrals", env!("CARGO_MANIFEST_DIR"));
    let healthy = std::fs::read_to_string(format!("{folder}/SM-101.yaml")).unwrap_or_default();
    let odd = healthy.replace(
        "  diabetes:\n    kind: none\n",
        "  diabetes:\n    kind: none\n    foot_checked_on: 2026-10-01\n",
    );
    assert_ne!(odd, healthy);
    let line = |of: &str| odd.lines().position(|it| it.trim() == of).map(|it| it + 1);
    let (clinic, _) = frame::clinic(
        desk.rules,
        "clinic.yaml",
        clinic_of_the_examples().as_bytes(),
    );
    let answers = frame::over(
        &clinic.map(|it| it.answers).unwrap_or_default(),
        &gathered(desk.rules, &odd)
            .unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n"))),
    );
    let found = desk.screen(&desk.facts(&answers, today()));
    let finding = found
        .findings
        .iter()
        .find(|it| it.rule == "contradictions/detail-ruled-out");
    let finding = finding.unwrap_or_else(|| unreachable!("the contradiction is not told"));
    assert_eq!(found.verdict().outcome, Outcome::Defer);
    let places: BTreeMap<&str, Option<usize>> = finding
        .because
        .iter()
        .map(|it| (it.fact.as_str(), it.line))
        .collect();
    assert_eq!(places.get("diabetes.kind"), Some(&line("kind: none")));
    assert_eq!(
        places.get("diabetes.foot_checked_on"),
        Some(&line("foot_checked_on: 2026-10-01"))
    );
    assert_eq!(places.len(), 2, "{places:?}");
    assert!(places.values().all(Option::is_some), "{places:?}");
}

/// The clinic's standing answer to a detail of a method that is not chosen is no contradiction; it comes back with the
/// method. Without it, the other plan would wait for it and be no better.
#[test]
fn a_standing_detail_is_set_aside_and_comes_back_with_its_method() {
    let extra = "  - id: stock\n    title: Stock\n    questions:\n      - { id: extra, ask: Is it in date?, answer: yes-no, standing: true, \
                 from: nurse, ask_when: { fact: plan.adrenaline, is: yes } }\n";
    let desk = Desk::tiny(
        &[
            ("without", "defer", "{ fact: plan.adrenaline, is: no }"),
            (
                "out-of-date",
                "defer",
                "{ all: [{ fact: plan.adrenaline, is: yes }, { fact: stock.extra, is_not: yes }] }",
            ),
            ("at-odds", "defer", "{ answers: ruled-out }"),
        ],
        extra,
    );
    let standing = |answers: &str| {
        let text = format!("clinic: 1\nname: Test\nanswers: {answers}\n");
        let (clinic, found) = frame::clinic(desk.rules, "clinic.yaml", text.as_bytes());
        assert!(found.is_empty(), "{}", codes(&found).join("\n"));
        let own = gathered(
            desk.rules,
            &written("a: { smokes: no, taken: [], allergies: [] }"),
        )
        .unwrap_or_default();
        frame::over(&clinic.map(|it| it.answers).unwrap_or_default(), &own)
    };
    let answers = standing("{ plan: { adrenaline: no }, stock: { extra: yes } }");
    let facts = desk.facts(&answers, today());
    assert_eq!(facts.set_aside().len(), 1);
    assert!(
        facts.conflicts(Conflict::RuledOut).is_empty()
            && facts.known(desk.question("stock.extra").slot).is_none()
    );
    let fires: Vec<String> = desk
        .screen(&facts)
        .findings
        .iter()
        .map(|it| it.rule.clone())
        .collect();
    assert_eq!(fires, ["test/without"]);
    let plans = desk.alternatives(&facts);
    let told: Vec<(&str, &str, Outcome)> = plans
        .iter()
        .flat_map(|it| {
            it.changes.iter().map(|change| {
                (
                    change.fact.as_str(),
                    change.then.as_str(),
                    it.prospect.verdict().outcome,
                )
            })
        })
        .collect();
    assert_eq!(told, [("plan.adrenaline", "yes", Outcome::Go)]);
    hold_alternatives(&desk, &answers, "a standing detail");
    for plan in [
        "{ plan: { adrenaline: no } }",
        "{ plan: { adrenaline: no }, stock: { extra: no } }",
    ] {
        assert!(
            desk.alternatives(&desk.facts(&standing(plan), today()))
                .is_empty(),
            "{plan}"
        );
    }
    // The patient's own answer to it is another matter.
    let own = gathered(desk.rules, &written("stock: { extra: yes }")).unwrap_or_default();
    let conflicting = desk.facts(
        &frame::over(&standing("{ plan: { adrenaline: no } }"), &own),
        today(),
    );
    assert!(
        desk.screen(&conflicting)
            .findings
            .iter()
            .any(|it| it.rule == "test/at-odds")
    );
}

#[test]
fn a_plan_beyond_what_the_clinic_offers_is_told() {
    let desk = Desk::embedded();
    let fires = |changes: &[(&str, &str)]| {
        let changes: Vec<(String, String)> = changes
            .iter()
            .map(|(id, answer)| ((*id).to_owned(), (*answer).to_owned()))
            .collect();
        let found = desk.screen(&desk.facts(
            &desk.with(&desk.example("SM-101.yaml", OFFERS), &changes),
            today(),
        ));
        let finding = found
            .findings
            .iter()
            .find(|it| it.rule == "contradictions/plan-not-offered")
            .cloned();
        let open = found
            .undetermined
            .iter()
            .any(|it| it.rule == "contradictions/plan-not-offered");
        (
            finding.map(|it| {
                it.because
                    .iter()
                    .map(|it| it.fact.clone())
                    .collect::<Vec<_>>()
            }),
            open,
        )
    };
    assert_eq!(fires(&[]), (None, false));
    assert_eq!(
        fires(&[("plan.ablation", "electrosurgery")]),
        (Some(vec!["plan.ablation".to_owned()]), false)
    );
    assert_eq!(
        fires(&[("plan.adrenaline", "yes")]).0,
        Some(vec!["plan.adrenaline".to_owned()])
    );
    let solution = |text: &str| fires(&[("plan.anaesthetic", text)]);
    assert_eq!(
        solution("[{ agent: mepivacaine, strength: 3 %, volume: 2 mL }]"),
        (None, false)
    );
    assert_eq!(
        solution("[{ agent: mepivacaine, strength: 2 %, volume: 2 mL }]").0,
        Some(vec!["plan.anaesthetic".to_owned()])
    );
    assert_eq!(
        solution("[{ agent: prilocaine, strength: unknown, volume: 2 mL }]").0,
        Some(vec!["plan.anaesthetic".to_owned()])
    );
    // A strength that is not known may be one that the clinic has.
    assert_eq!(
        solution("[{ agent: lidocaine, strength: unknown, volume: 2 mL }]"),
        (None, true)
    );
    assert_eq!(fires(&[("plan.ablation", "unknown")]), (None, true));
}

/// Everything wrong with a clinic's file: code, line and column.
fn wrong_with_clinic(text: &str) -> Vec<(String, usize, usize)> {
    let rules = Desk::embedded().rules;
    let (read, mut found) = frame::clinic(rules, "clinic.yaml", text.as_bytes());
    found.extend(
        read.map(|it| facts::read(rules, &it.answers, today()).1)
            .unwrap_or_default(),
    );
    let place = |it: &preblock::inner::document::diagnostic::Diagnostic| {
        assert!(
            !it.help.trim().is_empty() && !it.title.ends_with('.'),
            "{it}"
        );
        let position = it
            .source
            .as_ref()
            .map(|source| source.position(it.offset()));
        (
            it.code.name().to_owned(),
            position.as_ref().map_or(0, |it| it.line),
            position.map_or(0, |it| it.column),
        )
    };
    found.iter().map(place).collect()
}

#[rstest]
#[case::unknown_question("plan: { ablatoin: [phenol] }", "answers/unknown-question", 11)]
#[case::no_decision("plan: { toes: [left-great] }", "answers/unknown-question", 11)]
#[case::of_another_section("bleeding: { history: [bruising] }", "answers/unknown-question", 15)]
#[case::an_amount("plan: { phenol_strength: [89 %] }", "answers/unknown-question", 11)]
#[case::unknown_option("plan: { ablation: [phenol, laser] }", "answers/not-an-option", 30)]
#[case::unknown_in_a_list("plan: { ablation: [unknown] }", "answers/not-an-option", 22)]
#[case::empty_list("plan: { ablation: [] }", "answers/wrong-kind", 21)]
#[case::no_list("plan: { ablation: phenol }", "answers/wrong-kind", 21)]
#[case::neither_yes_nor_no("plan: { adrenaline: [maybe] }", "answers/wrong-kind", 24)]
#[case::no_strength(
    "plan: { anaesthetic: [{ agent: lidocaine }] }",
    "shape/missing-key",
    25
)]
#[case::strength_not_known(
    "plan: { anaesthetic: [{ agent: lidocaine, strength: unknown }] }",
    "answers/wrong-kind",
    55
)]
#[case::strength_without_unit(
    "plan: { anaesthetic: [{ agent: lidocaine, strength: 2 }] }",
    "answers/needs-unit",
    55
)]
#[case::with_a_volume(
    "plan: { anaesthetic: [{ agent: lidocaine, strength: 2 %, volume: 3 mL }] }",
    "shape/unknown-key",
    60
)]
#[case::unknown_agent(
    "plan: { anaesthetic: [{ agent: lidocain, strength: 2 % }] }",
    "answers/unknown-agent",
    34
)]
#[case::no_agent("plan: { anaesthetic: [{ strength: 2 % }] }", "shape/missing-key", 25)]
#[case::no_choice("plan: {}", "shape/wrong-type", 9)]
#[case::no_section("[phenol]", "shape/wrong-type", 3)]
fn an_offer_with_a_slip_is_refused_at_its_place(
    #[case] offers: &str,
    #[case] code: &str,
    #[case] column: usize,
) {
    let offers = format!("  {offers}");
    assert_eq!(
        wrong_with_clinic(&format!(
            "clinic: 1\nname: Test\noffers:\n{offers}\nanswers: {{}}\n"
        )),
        [(code.to_owned(), 4, column)]
    );
}

#[test]
fn a_clinic_says_on_which_days_it_operates() {
    let rules = Desk::embedded().rules;
    let text =
        |days: &str| format!("clinic: 1\nname: Test\nprocedure_days: {days}\nanswers: {{}}\n");
    let (read, found) = frame::clinic(rules, "clinic.yaml", text("[tuesday, thursday]").as_bytes());
    assert!(found.is_empty());
    assert_eq!(
        read.and_then(|it| it.weekdays),
        Some(vec![Weekday::Tue, Weekday::Thu])
    );
    assert_eq!(
        wrong_with_clinic(&text("[tuesday, thirsday]")),
        [("shape/wrong-form".to_owned(), 3, 27)]
    );
    assert_eq!(
        wrong_with_clinic(&text("[]")),
        [("shape/wrong-type".to_owned(), 3, 17)]
    );
    assert_eq!(
        wrong_with_clinic(&text("tuesday")),
        [("shape/wrong-type".to_owned(), 3, 17)]
    );
}

/// Every answer, and its day, as it was given.
fn as_given(rules: &RuleSet, facts: &Facts) -> Vec<(FactSlot, Fact)> {
    let of = |at: Idx<Question>, question: &Question| {
        let aside = facts.set_aside().iter().find(|it| it.question == at);
        let answer =
            Some(aside.map_or_else(|| facts.get(question.slot).clone(), |it| it.fact.clone()));
        let day = aside
            .and_then(|it| it.date.clone())
            .or_else(|| Some(facts.get(question.date_slot?).clone()));
        [
            answer.map(|it| (question.slot, it)),
            question.date_slot.zip(day),
        ]
    };
    rules
        .catalogue
        .questions
        .entries()
        .flat_map(|(at, it)| of(at, it))
        .flatten()
        .collect()
}

/// Whether everything that follows from two patients' answers is the same.
fn are_the_same(one: &Facts, other: &Facts) -> bool {
    let aside = |facts: &Facts| {
        let mut found = facts.set_aside().to_vec();
        found.sort_by_key(|it| it.question);
        found
    };
    (one.rows(), one.procedure_on(), aside(one))
        == (other.rows(), other.procedure_on(), aside(other))
        && [Conflict::RuledOut, Conflict::NotOffered, Conflict::Unread]
            .into_iter()
            .all(|it| {
                (one.conflicts(it), one.conflicts_open(it))
                    == (other.conflicts(it), other.conflicts_open(it))
            })
}

/// What hangs on none of the changed answers is left as it was, and not looked at anew: that comes to the same.
#[test]
fn a_change_comes_to_the_same_as_every_answer_put_anew() {
    let desk = Desk::embedded();
    let clinic = frame::clinic(desk.rules, "clinic.yaml", OFFERS.as_bytes())
        .0
        .map(|it| it.answers)
        .unwrap_or_default();
    let mut dice = Dice(13);
    let (mut n_changed, mut n_conflicts, mut n_open) = (0, 0, 0);
    let mut other: Option<Vec<(FactSlot, Fact)>> = None;
    while n_changed < 1500 {
        let Some((own, _)) = some_patient(desk.rules, &mut dice) else {
            continue;
        };
        let facts = facts::read(desk.rules, &frame::over(&clinic, &own), today()).0;
        let kept = desk.compiled.kept(&facts);
        let given = as_given(desk.rules, &facts);
        let Some(others) = other.replace(given.clone()) else {
            continue;
        };
        n_conflicts += usize::from(!facts.conflicts(Conflict::RuledOut).is_empty());
        n_open += usize::from(!facts.conflicts_open(Conflict::RuledOut).is_empty());
        for _ in 0..10 {
            let changes: Vec<(FactSlot, Fact)> = (0..=dice.roll(3))
                .map(|_| others[dice.roll(others.len())].clone())
                .collect();
            let beside = facts.with(desk.rules, &changes);
            let anew = facts.with(desk.rules, &[given.clone(), changes.clone()].concat());
            assert!(are_the_same(&beside, &anew), "{changes:?}");
            assert_eq!(
                desk.compiled.run_beside(&kept, &beside),
                desk.compiled.run(&anew),
                "{changes:?}"
            );
            n_changed += 1;
        }
    }
    assert!(
        n_conflicts > 20 && n_open > 20,
        "{n_conflicts} conflicts, {n_open} open"
    );
}

/// How often a search may work one patient out anew. Each time takes some hundredths of a millisecond.
const MOST_TRIED: usize = 200;

/// Whoever it is, a search ends after few trials, and before it is cut short.
#[test]
fn nobody_waits_for_a_plan() {
    let desk = Desk::embedded();
    let hold = |facts: &Facts, whose: &str| {
        let trials = desk.trials(facts);
        let (_, complete) = alternatives(&trials);
        assert!(complete, "{whose}: plans cut short");
        lifts(&trials);
        assert!(
            trials.n_tried() <= MOST_TRIED,
            "{whose}: {} tried",
            trials.n_tried()
        );
    };
    for name in example_names() {
        let answers = desk.example(&name, OFFERS);
        hold(&desk.facts(&answers, today()), &name);
        // An answer that another one rules out, and a plan that the clinic does not offer.
        for (fact, answer) in [("plan.current", "monopolar"), ("plan.antiseptic", "other")] {
            let odd = desk.with(&answers, &[(fact.to_owned(), answer.to_owned())]);
            hold(
                &desk.facts(&odd, today()),
                &format!("{name} with {fact} {answer}"),
            );
        }
    }
    for case in preblock::inner::workbench::cases::read::cases(&RuleFiles::embedded(), desk.rules)
        .unwrap_or_default()
    {
        hold(&desk.facts(&case.answers, case.as_of), &case.title);
    }
}
