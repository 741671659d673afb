//! Twenty conditions of the default rule set, evaluated for the same people by this program and by general-purpose engines: CEL,
//! an expression engine, JSONLogic. First every engine must come to the same answer for each; then each is timed.
//!
//! The peers know no missing answer, so only people of whom all the facts are known take part: the worked cases and the examples.
//! Facts are laid out and conditions compiled beforehand, for everybody.

mod engines;
mod translated;

use std::hint::black_box;
use std::time::Instant;

use preblock::inner::outcome::State;
use preblock::inner::questionnaire::facts::{self, Facts};
use preblock::inner::screening::compile::{Compiled, Prepared};
use preblock::inner::workbench::cases::read::cases;
use preblock::{RuleFiles, RuleSet};

use crate::engines::{Cel, Engine, Expressions, JsonLogic};
use crate::translated::{Person, person};

/// No fact of theirs stands behind a question that few are asked, so most worked cases know all of them.
const RULES: [&str; 20] = [
    "anaesthetic-cautions/liver-or-kidney-disease",
    "anaesthetic/adrenaline-poor-circulation",
    "anaesthetic/earlier-dose-above-limit",
    "anaesthetic/earlier-dose-within-limit",
    "anaesthetic/load-near-limit",
    "anaesthetic/small-adult",
    "bleeding/alcohol-high",
    "bleeding/bleeding-history-slight",
    "consent/child-consents-alone",
    "consent/young-person-without-valid-consent",
    "diabetes/infected-nail-in-diabetes",
    "diabetes/phenol-in-diabetes",
    "electrosurgery/device-and-no-current-planned",
    "general/numb-foot",
    "general/pressure-raised",
    "general/pressure-very-high",
    "infection/fever-without-infected-toe",
    "infection/systemic-signs",
    "phenol/many-toes",
    "phenol/slow-to-clear",
];

/// The best of so many rounds counts: whatever else the machine does only makes a round longer.
const ROUNDS: usize = 15;
const PASSES_A_ROUND: usize = 10;

fn main() {
    let mut rules = RuleSet::read(&RuleFiles::embedded(), None).expect("the embedded rule set loads");
    let cases = cases(&RuleFiles::embedded(), &rules).expect("the worked cases are read");
    rules.judging = rules.judging.iter().filter(|it| RULES.contains(&it.id.as_str())).cloned().collect();
    assert_eq!(rules.judging.len(), RULES.len(), "each of these is a rule");

    let read = cases.iter().map(|it| facts::read(&rules, &it.answers, it.as_of).0);
    let known: Vec<(Facts, Person)> = read.filter_map(|it| person(&rules, &it).map(|person| (it, person))).collect();
    let (facts, people): (Vec<Facts>, Vec<Person>) = known.into_iter().unzip();
    let compiled = Compiled::new(&rules);
    let ours: Vec<Vec<bool>> = facts.iter().map(|it| yes_or_no(&compiled, it)).collect();
    let n_yes = ours.iter().flatten().filter(|it| **it).count();
    println!("{} conditions, {} people; {n_yes} of {} answers are yes\n", RULES.len(), people.len(), people.len() * RULES.len());
    assert!(people.len() >= 20 && n_yes >= 20, "too few people, or nobody of interest");

    let conditions: Vec<_> = rules.judging.iter().map(|it| &it.when).collect();
    let engines: [Box<dyn Engine>; 3] = [
        Box::new(Cel::new(&rules, &conditions, &people)),
        Box::new(Expressions::new(&rules, &conditions, &people)),
        Box::new(JsonLogic::new(&rules, &conditions, &people)),
    ];
    let n_answers = (people.len() * RULES.len()) as f64;
    let prepared: Vec<Prepared> = facts.iter().map(|it| Prepared::new(rules.catalogue.facts.len(), it)).collect();
    let one = nanoseconds(n_answers, || {
        for (facts, prepared) in facts.iter().zip(&prepared) {
            black_box(compiled.run_prepared(black_box(prepared), facts));
        }
    });
    println!("{:<34} {:>10} {:>10}", "", "ns each", "times");
    let told = |name: &str, ns: f64| println!("{name:<34} {ns:>10.1} {:>10.1}", ns / one);
    told("preblock, one person at a time", one);
    for mut engine in engines {
        let theirs: Vec<Vec<bool>> = (0..people.len()).map(|at| engine.answers(at)).collect();
        assert_eq!(theirs, ours, "{} does not agree", engine.name());
        let ns = nanoseconds(n_answers, || {
            for at in 0..people.len() {
                black_box(engine.answers(black_box(at)));
            }
        });
        told(engine.name(), ns);
    }
}

fn yes_or_no(compiled: &Compiled, facts: &Facts) -> Vec<bool> {
    let states = compiled.run(facts);
    let told = states.iter().map(|it| match it {
        State::Fires => true,
        State::StaysQuiet => false,
        State::Undetermined => unreachable!("all facts are known"),
    });
    told.collect()
}

/// How long one answer takes, of so many.
fn nanoseconds(n_answers: f64, mut pass: impl FnMut()) -> f64 {
    let round = |pass: &mut dyn FnMut()| {
        let start = Instant::now();
        (0..PASSES_A_ROUND).for_each(|_| pass());
        start.elapsed().as_nanos() as f64
    };
    let best = (0..ROUNDS).map(|_| round(&mut pass)).fold(f64::INFINITY, f64::min);
    best / PASSES_A_ROUND as f64 / n_answers
}

