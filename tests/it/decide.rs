//! The space of answers: it holds every patient there is, and every example it gives is one.

use preblock::evaluate::State;
use preblock::governance::cases;
use preblock::governance::decide::{Decider, Found};

use crate::support::{embedded_once, today};

#[test]
fn the_space_holds_every_worked_case() {
    let (rule_set, compiled) = embedded_once();
    let mut decider = Decider::new(&[rule_set], &[], today()).unwrap();
    let mut n_tried = 0;
    let begin = std::time::Instant::now();
    for case in &preblock::load::cases::cases(&preblock::load::RuleFiles::embedded(), rule_set).unwrap() {
        let run = cases::run(rule_set, compiled, case);
        let together: Vec<_> = decider.judgements[0]
            .rules
            .clone()
            .into_iter()
            .zip(&run.states)
            .flat_map(|(pair, state)| match state {
                State::Fires => vec![pair.yes],
                State::StaysQuiet => vec![pair.no],
                State::Undetermined => vec![!pair.yes, !pair.no],
            })
            .collect();
        if !decider.logic.possible(&together) {
            // Which rule's state is not possible beside the others?
            let mut core = together.clone();
            let mut at = 0;
            while at < core.len() {
                let mut less = core.clone();
                less.remove(at);
                if decider.logic.possible(&less) { at += 1 } else { core = less }
            }
            for (pair, rule) in decider.judgements[0].rules.iter().zip(&rule_set.rules) {
                for lit in [pair.yes, !pair.yes, pair.no, !pair.no] {
                    if core.contains(&lit) {
                        eprintln!("{} {} {}", rule.id, lit == pair.yes || lit == !pair.yes, lit == pair.yes || lit == pair.no);
                    }
                }
            }
            panic!("{}: this patient is not in the space", case.title);
        }
        n_tried += 1;
    }
    assert!(n_tried > 2000, "{n_tried}");
}

#[test]
fn every_rule_can_fire() {
    let (rule_set, compiled) = embedded_once();
    let mut decider = Decider::new(&[rule_set], &[], today()).unwrap();
    let begin = std::time::Instant::now();
    for (at, rule) in rule_set.rules.iter().enumerate().filter(|it| std::env::var("R").map_or(true, |of| it.1.id.starts_with(&of))) {
        let fires = decider.judgements[0].rules[at].yes;
        let found = decider.find(&[fires], &|seen| {
            let ok = seen.iter().all(|it| it.states[at] == State::Fires);
            if !ok {
                eprintln!("{} {:?}\n{}", rule.id, seen[0].states[at], seen[0].questionnaire);
                for d in &rule_set.catalogue.derived {
                    eprintln!("{} {:?}", d.id, seen[0].facts.number(d.slot));
                }
            }
            ok
        });
        match found {
            Found::Example(seen) => {
                if seen[0].n_answers > 8 {
                    eprintln!("{} {}", rule.id, seen[0].n_answers);
                }
            }
            other => eprintln!("{}: {other:?}", rule.id),
        }
    }
    eprintln!("{:?}", begin.elapsed());
}
