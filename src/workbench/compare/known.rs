//! Patients who are known, each judged by both rule sets: an example that nobody has to look for.
//!
//! Known patients are looked at first, given questionnaires before the worked cases of both rule
//! sets, each with every answer left out that can be: they cost milliseconds where the solver may
//! take a minute. Only a patient whom nobody knows is looked for, so that whoever is known is never
//! "not decided".

use chrono::NaiveDate;

use crate::exact::{Witness, irreducible, of_answers};
use crate::questionnaire::facts::Gathered;
use crate::rule_set::Conflict;
use crate::screening::evaluate::States;
use crate::workbench::compare::{Both, as_asked};

/// The patients whom both rule sets accept.
pub(crate) struct KnownPatients<'a> {
    both: &'a Both<'a>,
    patients: Vec<KnownPatient<'a>>,
}

/// One of them.
struct KnownPatient<'a> {
    answers: &'a Gathered,
    as_of: NaiveDate,
    judged: JudgedByBoth,
}

/// What both rule sets make of some answers.
struct JudgedByBoth {
    states: [States; 2],
    /// Whether no answer is at odds with another one.
    is_plain: bool,
}

impl<'a> KnownPatients<'a> {
    /// Judges patients by both. Their answers are as the new rule set has them.
    pub(crate) fn new(both: &'a Both<'a>, patients: &[(&'a Gathered, NaiveDate)]) -> Self {
        let judged = patients.iter().filter_map(|(answers, as_of)| {
            Some(KnownPatient {
                answers,
                as_of: *as_of,
                judged: judged(both, answers, *as_of)?,
            })
        });
        Self {
            both,
            patients: judged.collect(),
        }
    }

    /// The first who is judged so, as the questionnaires that both read, with every answer left out that can be.
    pub(crate) fn example(
        &self,
        plain: bool,
        wanted: &dyn Fn([&States; 2]) -> bool,
    ) -> Option<Vec<Witness>> {
        let fits = |judged: &JudgedByBoth| {
            let [old, new] = &judged.states;
            wanted([old, new]) && (judged.is_plain || !plain)
        };
        self.patients
            .iter()
            .filter(|it| fits(&it.judged))
            .find_map(|known| {
                let smallest = irreducible(known.answers, &|without| {
                    judged(self.both, without, known.as_of).is_some_and(|it| fits(&it))
                });
                let Both { old, new } = self.both;
                let seen = [
                    of_answers(
                        old,
                        &as_asked(old.rule_set(), new.rule_set(), &smallest),
                        known.as_of,
                    )?,
                    of_answers(new, &smallest, known.as_of)?,
                ];
                // As it is written, a questionnaire has no notes; should anything else be lost, it is no example.
                let [before, after] = &seen;
                wanted([&before.states, &after.states]).then(|| seen.into())
            })
    }
}

fn judged(both: &Both<'_>, answers: &Gathered, as_of: NaiveDate) -> Option<JudgedByBoth> {
    let facts = both.facts(answers, as_of).ok()?;
    Some(JudgedByBoth {
        states: both.states(&facts),
        is_plain: facts
            .iter()
            .all(|it| it.conflicts(Conflict::RuledOut).is_empty()),
    })
}
