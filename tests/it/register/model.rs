//! Random entries against a plain model of what a referral comes to, and many of them at once.

use std::collections::BTreeMap;
use std::time::Instant;

use preblock::inner::outcome::{Outcome, Urgency};
use preblock::inner::register::entry::{NOTHING_BEFORE, RegisterEntry, written};
use preblock::inner::register::happening::{Happening, RECORDS, Screened, body};
use preblock::inner::register::pile::PileFilter;
use preblock::inner::register::state::{PileGroup, PileRow, WhoseTurn};
use preblock::inner::register::{New, Register, RegisterError};
use preblock::inner::rule_set::catalogue::Who;
use preblock::inner::rule_set::files::sha256;
use proptest::prelude::*;

use super::{
    answered, day, decided, feedback, folder, found, minute, new, raw, register, screened,
};

/// What can be done to a referral; numbers choose among few, so that they meet.
#[derive(Debug, Clone)]
enum Deed {
    Open,
    Answer(u8),
    /// The answers, the verdict, whether something is to be asked, whether a nurse may book.
    Screen(u8, Outcome, Option<Urgency>, bool, bool),
    Send,
    /// Of the last screening, or of the one before.
    Decide(Outcome, bool),
    Book,
    PassOn,
    Close,
    Remove,
    /// What a record system tells of a card.
    Tell,
}

/// Up to three deeds are done together: all of them or none.
fn deeds() -> impl Strategy<Value = Vec<Vec<(u8, bool, Deed)>>> {
    let outcome = prop_oneof![
        Just(Outcome::Go),
        Just(Outcome::Defer),
        Just(Outcome::Refer)
    ];
    let urgency = prop_oneof![Just(Urgency::Routine), Just(Urgency::SameDay)];
    let screen = (
        0..3_u8,
        outcome.clone(),
        urgency,
        any::<bool>(),
        any::<bool>(),
    )
        .prop_map(|(text, outcome, urgency, asks, plain)| {
            let urgency = Some(urgency).filter(|_| outcome == Outcome::Refer);
            Deed::Screen(
                text,
                outcome,
                urgency,
                asks,
                plain && outcome == Outcome::Go,
            )
        });
    let deed = prop_oneof![
        2 => Just(Deed::Open),
        4 => (0..3_u8).prop_map(Deed::Answer),
        6 => screen,
        2 => Just(Deed::Send),
        5 => (outcome, prop::bool::weighted(0.9)).prop_map(|(outcome, last)| Deed::Decide(outcome, last)),
        3 => Just(Deed::Book),
        2 => Just(Deed::PassOn),
        1 => Just(Deed::Close),
        1 => Just(Deed::Remove),
        2 => Just(Deed::Tell),
    ];
    let together = prop_oneof![3 => 1..=1_usize, 1 => 2..=3_usize]
        .prop_flat_map(move |n| prop::collection::vec((0..2_u8, any::<bool>(), deed.clone()), n));
    prop::collection::vec(together, 1..35)
}

/// A screening of the model: all that tells one from another.
type Seen = (u8, Outcome, Option<Urgency>, bool, bool);

#[derive(Debug, Default, Clone)]
struct Model {
    is_open: bool,
    answers: Option<u8>,
    screenings: Vec<(i64, Seen)>,
    decision: Option<(Outcome, Seen)>,
    is_sent: bool,
    is_booked: bool,
    is_passed_on: bool,
    is_closed: bool,
    is_removed: bool,
}

impl Model {
    fn current(&self) -> Option<(i64, Seen)> {
        self.screenings
            .last()
            .copied()
            .filter(|(_, it)| Some(it.0) == self.answers)
    }

    /// The decision counts for what it was made on: the same answers, verdict and rules.
    fn decision(&self) -> Option<Outcome> {
        let (_, now) = self.current()?;
        let (outcome, on) = self.decision?;
        ((on.0, on.1, on.2) == (now.0, now.1, now.2)).then_some(outcome)
    }

    fn may_book(&self) -> bool {
        match self.decision() {
            Some(outcome) => outcome == Outcome::Go,
            None => {
                let was_held_back = self.decision.is_some_and(|(it, _)| it != Outcome::Go);
                self.current().is_some_and(|(_, it)| it.4) && !was_held_back
            }
        }
    }

    /// Whether the register has to take a deed.
    fn takes(&self, deed: &Deed, is_clinician: bool) -> bool {
        match deed {
            Deed::Open => !self.is_open,
            _ if !self.is_open || self.is_removed => false,
            Deed::Decide(_, last) => is_clinician && self.current().is_some() && *last,
            Deed::Screen(text, ..) => self.answers == Some(*text),
            Deed::Book => self.may_book(),
            Deed::Remove => is_clinician,
            _ => true,
        }
    }

    fn group(&self) -> PileGroup {
        let Some((_, (_, outcome, urgency, asks, _))) = self
            .current()
            .filter(|_| !self.is_closed && !self.is_removed)
        else {
            return if self.is_closed || self.is_removed {
                PileGroup::Closed
            } else {
                PileGroup::ToAsk
            };
        };
        match self.decision() {
            _ if urgency == Some(Urgency::SameDay) && !self.is_passed_on => PileGroup::SameDay,
            Some(Outcome::Refer) if self.is_passed_on => PileGroup::Closed,
            Some(Outcome::Refer) => PileGroup::ToPassOn,
            Some(Outcome::Defer) => PileGroup::ToAsk,
            _ if self.may_book() && self.is_booked => PileGroup::Booked,
            _ if self.may_book() => PileGroup::ToBook,
            None if outcome == Outcome::Defer && asks => PileGroup::ToAsk,
            _ => PileGroup::ToDecide,
        }
    }
}

fn happening(model: &Model, deed: &Deed) -> Happening {
    match deed {
        Deed::Open => Happening::Opened {
            from: String::new(),
        },
        Deed::Answer(text) => answered(&format!("answers {text}")),
        Deed::Screen(text, outcome, urgency, asks, nurse_may_book) => {
            let of = screened(&format!("answers {text}"), *outcome, *urgency, *asks);
            Happening::Screened(Box::new(Screened {
                nurse_may_book: *nurse_may_book,
                ..of
            }))
        }
        Deed::Send => Happening::QuestionSent {
            questions: vec!["bleeding.inr".into()],
            to: Who::Patient,
            how: "letter".into(),
        },
        Deed::Decide(outcome, last) => {
            let seq = model.screenings.last().map_or(0, |(seq, _)| *seq);
            decided(if *last { seq } else { seq - 1 }, *outcome)
        }
        Deed::Book => Happening::Booked {
            day: day("2026-12-04"),
        },
        Deed::PassOn => Happening::PassedOn {
            to: "the hospital".into(),
        },
        Deed::Close => Happening::Closed { why: "died".into() },
        Deed::Remove => Happening::BodyRemoved {
            entries: Vec::new(),
            why: "old".into(),
        },
        Deed::Tell => feedback(),
    }
}

fn done(model: &mut Model, deed: &Deed, seq: i64) {
    match deed {
        Deed::Open => model.is_open = true,
        Deed::Answer(text) => model.answers = Some(*text),
        Deed::Screen(text, outcome, urgency, asks, plain) => {
            let seen = (*text, *outcome, *urgency, *asks, *plain);
            let is_other = model
                .screenings
                .last()
                .is_none_or(|(_, it)| (it.1, it.2) != (seen.1, seen.2));
            model.is_passed_on &= !is_other;
            model.is_sent &= *asks;
            model.screenings.push((seq, seen));
        }
        Deed::Send => model.is_sent = true,
        Deed::Decide(outcome, _) => {
            model.decision = model.screenings.last().map(|(_, seen)| (*outcome, *seen));
        }
        Deed::Book => model.is_booked = true,
        Deed::PassOn => model.is_passed_on = true,
        Deed::Close => model.is_closed = true,
        Deed::Remove => model.is_removed = true,
        Deed::Tell => {}
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn any_entries_come_to_what_a_plain_model_says(deeds in deeds()) {
        let folder = folder();
        let mut register = register(folder.path());
        let mut models: BTreeMap<String, Model> = BTreeMap::new();
        let mut written: Vec<(i64, New)> = Vec::new();
        let mut seq = 2;
        for (at, together) in (1..).zip(&deeds) {
            // Each counts with those before it; where one does not fit, none is written.
            let (mut then, mut all, mut takes) = (models.clone(), Vec::new(), true);
            for (referral, is_clinician, deed) in together {
                let reference = format!("SM-{referral}");
                let model = then.entry(reference.clone()).or_default();
                let person = match deed {
                    Deed::Tell => RECORDS,
                    _ if *is_clinician => "CL",
                    _ => "NU",
                };
                let entry = new(at, person, &reference, happening(model, deed));
                takes &= model.takes(deed, *is_clinician);
                let next = seq + all.len() as i64 + 1;
                done(model, deed, next);
                all.push((next, entry));
            }
            let result = match (&together[..], &all[..]) {
                ([(_, _, Deed::Remove)], [(_, New { at, person, referral: Some(reference), .. })]) => {
                    register.remove(*at, person, reference, "old")
                }
                _ => register.append_all(all.iter().map(|(_, it)| it.clone()).collect()),
            };
            match result {
                Ok(it) => {
                    prop_assert!(takes, "taken: {together:?} after {models:?}");
                    (models, seq) = (then, it.seq);
                    written.extend(all);
                    prop_assert_eq!(written.last().map(|(seq, _)| *seq), Some(seq));
                }
                Err(RegisterError::Refused(_)) => prop_assert!(!takes, "refused: {together:?} after {models:?}"),
                Err(other) => prop_assert!(false, "{other:?}"),
            }
        }
        let entries = register.all_entries().unwrap_or_default();
        prop_assert_eq!(entries.len(), written.len() + 2);
        for (entry, (seq, new)) in entries.iter().skip(2).zip(&written) {
            prop_assert_eq!((entry.seq, &entry.person, &entry.referral, entry.at), (*seq, &new.person, &new.referral, new.at));
            let is_removed = new.referral.as_ref().is_some_and(|it| models[it].is_removed);
            if !is_removed {
                prop_assert_eq!(entry.happening.as_ref(), Some(&new.happening));
            }
        }
        let pile = register.pile().unwrap_or_default();
        let groups: BTreeMap<&str, PileGroup> = pile.iter().map(|it| (it.reference.as_str(), it.group)).collect();
        let expected: BTreeMap<&str, PileGroup> = models
            .iter()
            .filter(|(_, it)| it.is_open)
            .map(|(reference, it)| (reference.as_str(), it.group()))
            .collect();
        prop_assert_eq!(groups, expected);
        parts_of_the_pile(&register, &pile)?;
        prop_assert!(register.rebuild().is_ok());
        prop_assert_eq!(register.pile().unwrap_or_default(), pile);
        let path = register.path().to_owned();
        drop(register);
        let found = found(&path, None);
        prop_assert!(found.is_empty(), "{:?}", found);
    }
}

/// Whatever part of the pile is read: it is that part of the whole.
fn parts_of_the_pile(register: &Register, pile: &[PileRow]) -> Result<(), TestCaseError> {
    let groups = PileGroup::ALL.map(Some).into_iter().chain([None]);
    let turns = || WhoseTurn::ALL.map(Some).into_iter().chain([None]);
    let references = ["", "sm-0"];
    let filters = groups.flat_map(|group| {
        turns().flat_map(move |turn| {
            references.into_iter().flat_map(move |reference| {
                [None, Some(Who::Patient), Some(Who::Nurse)].map(|ask| PileFilter {
                    group,
                    turn,
                    ask,
                    reference: reference.to_owned(),
                })
            })
        })
    });
    for filter in filters {
        let is_meant = |row: &&PileRow| {
            filter.group.is_none_or(|it| row.group == it)
                && filter.turn.is_none_or(|it| row.turn == it)
                && filter.ask.is_none_or(|it| row.ask.contains(&it))
                && row
                    .reference
                    .to_lowercase()
                    .contains(&filter.reference.to_lowercase())
        };
        let meant: Vec<PileRow> = pile.iter().filter(is_meant).cloned().collect();
        for (after, most) in [(0, usize::MAX), (0, 1), (1, 1)] {
            let part: Vec<PileRow> = meant.iter().skip(after).take(most).cloned().collect();
            let read = register.pile_rows(&filter, after, most);
            prop_assert_eq!(read.ok(), Some(part), "{:?}, {} {}", filter, after, most);
        }
        let n_of = |group| (group, meant.iter().filter(|it| it.group == group).count());
        let counts = PileGroup::ALL.map(n_of);
        let counts = counts.into_iter().filter(|(_, n)| *n > 0).collect();
        prop_assert_eq!(
            register.pile_counts(&filter).ok(),
            Some(counts),
            "{:?}",
            filter
        );
    }
    let reference = |at: Option<usize>| Some(pile.get(at?)?.reference.clone());
    for (at, row) in pile.iter().enumerate() {
        let around = (reference(at.checked_sub(1)), reference(Some(at + 1)));
        let read = register.pile_neighbours(&row.reference);
        prop_assert_eq!(read.ok(), Some(around), "{}", row.reference);
    }
    prop_assert_eq!(register.pile_neighbours("nobody").ok(), Some((None, None)));
    Ok(())
}

/// So many referrals, each with answers and a screening, written straight into the file: a desk takes hours for as many.
pub fn many(folder: &std::path::Path, n_referrals: i64) -> Register {
    let register = register(folder);
    let path = register.path().to_owned();
    let mut last = register.all_entries().unwrap_or_default().pop();
    drop(register);
    let mut connection = raw(&path);
    let change = connection
        .transaction()
        .unwrap_or_else(|it| unreachable!("{it}"));
    for n in 0..n_referrals {
        let text = format!("answers {n}");
        let outcome = [Outcome::Go, Outcome::Defer, Outcome::Refer][(n % 3) as usize];
        let urgency = (outcome == Outcome::Refer).then_some(Urgency::Routine);
        let screened = screened(&text, outcome, urgency, n % 2 == 0);
        let opened = Happening::Opened {
            from: String::new(),
        };
        for happening in [
            opened,
            answered(&text),
            Happening::Screened(Box::new(screened)),
        ] {
            let text = body(&happening, &n.to_string()).unwrap_or_default();
            let mut entry = RegisterEntry {
                seq: last.as_ref().map_or(1, |it| it.seq + 1),
                at: minute(n),
                person: "NU".into(),
                kind: happening.kind().into(),
                referral: Some(format!("SM-{n:06}")),
                form: None,
                body: sha256(text.as_bytes()),
                previous: last.map_or(NOTHING_BEFORE.to_owned(), |it| it.digest),
                digest: String::new(),
                happening: None,
                is_clock_back: false,
            };
            entry.digest = entry.computed();
            let put = change
                .prepare_cached("insert into body values (?1, ?2)")
                .and_then(|mut it| it.execute((&entry.body, &text)))
                .and_then(|_| {
                    change
                        .prepare_cached(
                            "insert into entry values (?1, ?2, ?3, ?4, ?5, null, ?6, ?7, ?8)",
                        )?
                        .execute((
                            entry.seq,
                            written(&entry.at),
                            &entry.person,
                            &entry.kind,
                            &entry.referral,
                            &entry.body,
                            &entry.previous,
                            &entry.digest,
                        ))
                });
            assert_eq!(put.ok(), Some(1));
            last = Some(entry);
        }
    }
    assert!(change.commit().is_ok());
    drop(connection);
    Register::open(&path, "a test").unwrap_or_else(|it| unreachable!("{it}"))
}

/// How many very many are.
pub fn very_many() -> i64 {
    let wished = std::env::var("PREBLOCK_REFERRALS").ok();
    wished.and_then(|it| it.parse().ok()).unwrap_or(2_000)
}

/// What a page of the pile reads, its counts and the first rows of each group, takes no longer than SQLite takes to read all the
/// rows, and neither do the neighbours of a referral and a search. `PREBLOCK_REFERRALS` says of how many.
#[test]
fn a_page_of_a_large_pile_costs_the_rows_it_shows() {
    const SHOWN: usize = 40;
    let n_referrals = very_many();
    let folder = folder();
    let mut register = many(folder.path(), n_referrals);
    let start = Instant::now();
    assert!(register.rebuild().is_ok());
    let rebuilt = start.elapsed();
    let best = |n: i64, read: &dyn Fn() -> usize| {
        let took = (0..5).map(|_| {
            let start = Instant::now();
            assert_eq!(read() as i64, n);
            start.elapsed()
        });
        took.min().unwrap_or_default()
    };
    let filter = PileFilter::default();
    let page = best(n_referrals, &|| {
        let counts = register.pile_counts(&filter).unwrap_or_default();
        for (group, n) in &counts {
            let of = PileFilter {
                group: Some(*group),
                ..PileFilter::default()
            };
            let last = n.saturating_sub(SHOWN);
            for after in [0, last] {
                let rows = register.pile_rows(&of, after, SHOWN);
                assert_eq!(rows.map(|it| it.len()).ok(), Some(*n.min(&SHOWN)));
            }
        }
        counts.iter().map(|(_, n)| n).sum()
    });
    let search = best(1, &|| {
        let of = PileFilter {
            reference: format!("sm-{:06}", n_referrals - 1),
            ..PileFilter::default()
        };
        register.pile_rows(&of, 0, SHOWN).map_or(0, |it| it.len())
    });
    let neighbours = best(2, &|| {
        let around = register.pile_neighbours("SM-000999");
        let (before, after) = around.unwrap_or_default();
        usize::from(before.is_some()) + usize::from(after.is_some())
    });
    let connection = raw(register.path());
    let rows = best(n_referrals, &|| {
        let read = connection
            .prepare("select * from pile order by place, since, reference")
            .and_then(|mut it| {
                let row = |row: &rusqlite::Row<'_>| {
                    (0..10)
                        .map(|at| row.get::<_, rusqlite::types::Value>(at))
                        .collect::<Result<Vec<_>, _>>()
                };
                it.query_map([], row)?.collect::<Result<Vec<_>, _>>()
            });
        read.map_or(0, |it| it.len())
    });
    println!(
        "{n_referrals} referrals: rebuilt in {rebuilt:?}; a page {page:?}, a search {search:?}, neighbours {neighbours:?}; all rows {rows:?}"
    );
    for (what, took) in [
        ("a page", page),
        ("a search", search),
        ("neighbours", neighbours),
    ] {
        assert!(took < rows, "{what} takes {took:?}, all rows {rows:?}");
    }
}
