//! Neighbouring bands of one number that overlap without one holding the other. Which rules are neighbours is told by their
//! form, whether a patient falls into both over the whole space.

use crate::document::diagnostic::Code;
use crate::exact::{Found, Witness};
use crate::outcome::State;
use crate::workbench::lint::band_gap::{akin, bands, number_of, overlap};
use crate::workbench::lint::{Remark, Subject};

/// A remark on each pair of bands that overlap without one holding the other.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let bands = bands(subject.rule_set);
    let mut found = Vec::new();
    for (n, band) in bands.iter().enumerate() {
        for other in bands
            .iter()
            .skip(n + 1)
            .filter(|it| akin(it, band) && overlap(it, band))
        {
            let Some(mut decider) = subject.decider() else {
                return found;
            };
            let [judged] = &decider.judgements;
            let lits = [band.at, other.at].map(|at| judged.rules[at].yes);
            let both = |seen: &[Witness]| {
                seen.iter().all(|witness| {
                    [band.at, other.at]
                        .iter()
                        .all(|at| witness.states[*at] == State::Fires)
                })
            };
            let id = subject.rule_set.catalogue.id(band.fact);
            match decider.find(&lits, &both) {
                Found::Example(seen) => {
                    let number = number_of(&seen, band);
                    let title = format!(
                        "`{}` and `{}` overlap: {id} {number} meets both",
                        band.rule.id, other.rule.id
                    );
                    let entry = subject.files.rule(&band.rule.id);
                    let remark = subject
                        .on_rule(Code::BandOverlap, other.rule, "when", title, "this band")
                        .also(entry, "when", "reaches into this one");
                    found.push(remark);
                }
                Found::Never => {}
                Found::Open(fact) => {
                    found.push(subject.undecided(other.rule, &fact, "its band overlaps another"))
                }
            }
        }
    }
    found
}
