//! The register: what it keeps, refuses and finds; that nothing confirmed is lost and nothing changed goes unseen.

use std::path::Path;

use chrono::{DateTime, FixedOffset, NaiveDate};
use preblock::inner::outcome::{Outcome, Urgency};
use preblock::inner::register::happening::{Decided, Happening, QuestionTold, RuleTold, Screened};
use preblock::inner::register::people::{PersonRole, hashed};
use preblock::inner::register::state::{PileGroup, WhoseTurn};
use preblock::inner::register::{New, Register, RegisterError};
use preblock::inner::rule_set::catalogue::Who;
use preblock::inner::rule_set::files::sha256;

/// A passphrase that takes long to hash is hashed once.
const PASSPHRASE: &str = "four words put together";

fn minute(n: i64) -> DateTime<FixedOffset> {
    let start = DateTime::parse_from_rfc3339("2026-11-30T08:00:00+00:00");
    start.unwrap_or_else(|_| unreachable!("it is a time")) + chrono::TimeDelta::minutes(n)
}

fn day(text: &str) -> NaiveDate {
    text.parse()
        .unwrap_or_else(|_| unreachable!("{text} is a day"))
}

/// What happened to a referral in a minute, by one of the two people of every test.
fn new(n: i64, person: &str, referral: &str, happening: Happening) -> New {
    New {
        at: minute(n),
        person: person.into(),
        form: None,
        referral: Some(referral.into()),
        happening,
    }
}

fn person(n: i64, initials: &str, role: PersonRole, hash: &str) -> New {
    New {
        at: minute(n),
        person: initials.into(),
        form: None,
        referral: None,
        happening: Happening::PersonSet {
            initials: initials.into(),
            role,
            hash: hash.into(),
            is_on: true,
        },
    }
}

fn register(folder: &Path) -> Register {
    let made = Register::create(&folder.join("desk.sqlite3"), "a test");
    let mut register = made.unwrap_or_else(|it| unreachable!("{it}"));
    for (initials, role) in [("NU", PersonRole::Nurse), ("CL", PersonRole::Clinician)] {
        let added = Happening::PersonSet {
            initials: initials.into(),
            role,
            hash: "none".into(),
            is_on: true,
        };
        let new = New {
            person: "NU".into(),
            happening: added,
            ..person(0, initials, role, "none")
        };
        kept(&mut register, new);
    }
    register
}

fn kept(register: &mut Register, new: New) -> i64 {
    register
        .append(new)
        .unwrap_or_else(|it| unreachable!("{}: {}", it.diagnostic(), it.diagnostic().help))
        .seq
}

fn answered(text: &str) -> Happening {
    Happening::Answered {
        questionnaire: text.into(),
        changed: vec!["bleeding.inr".into()],
    }
}

/// A screening of these answers that comes to this, waiting for one answer of the patient if it is to be asked.
fn screened(text: &str, outcome: Outcome, urgency: Option<Urgency>, asks: bool) -> Screened {
    let rule = RuleTold {
        rule: "concern/rule".into(),
        title: "A reason".into(),
        outcome,
        urgency,
    };
    let ask = QuestionTold {
        question: "bleeding.inr".into(),
        from: Who::Patient,
    };
    Screened {
        questionnaire: sha256(text.as_bytes()),
        clinic: None,
        rule_set: sha256(b"rules"),
        edition: "1".into(),
        local_policy: None,
        program: "0".into(),
        day: day("2026-11-30"),
        procedure_on: Some("2026-12-04".into()),
        outcome,
        urgency,
        fires: vec![rule],
        waits: Vec::new(),
        to_ask: asks.then_some(ask).into_iter().collect(),
        to_read: Vec::new(),
        nurse_may_book: false,
        screening: serde_json::json!({ "screening": 1, "share": 0.1, "findings": [] }),
    }
}

fn decided(screening: i64, outcome: Outcome) -> Happening {
    Happening::Decided(Decided {
        screening,
        outcome,
        set_aside: Vec::new(),
        read: Vec::new(),
        second: None,
        sentence: "I have read this screening and decide so.".into(),
    })
}

fn row(register: &Register, reference: &str) -> (PileGroup, WhoseTurn, DateTime<FixedOffset>) {
    let pile = register.pile().unwrap_or_else(|it| unreachable!("{it}"));
    let row = pile.into_iter().find(|it| it.reference == reference);
    let row = row.unwrap_or_else(|| unreachable!("{reference} is in no pile"));
    (row.group, row.turn, row.since)
}

#[test]
fn a_referral_goes_its_way_through_the_pile() {
    let folder = tempfile::tempdir().unwrap_or_else(|it| unreachable!("{it}"));
    let mut register = register(folder.path());
    let mut now = 1;
    let mut take = |register: &mut Register, person: &str, happening: Happening| {
        now += 1;
        kept(register, new(now, person, "SM-1", happening))
    };
    take(
        &mut register,
        "NU",
        Happening::Opened {
            from: "post".into(),
        },
    );
    assert_eq!(
        row(&register, "SM-1"),
        (PileGroup::ToAsk, WhoseTurn::Nurse, minute(2))
    );
    take(&mut register, "NU", answered("one"));
    let asks = screened("one", Outcome::Defer, None, true);
    take(&mut register, "NU", Happening::Screened(Box::new(asks)));
    assert_eq!(
        row(&register, "SM-1"),
        (PileGroup::ToAsk, WhoseTurn::Nurse, minute(2))
    );
    let sent = Happening::QuestionSent {
        questions: vec!["bleeding.inr".into()],
        to: Who::Patient,
        how: "letter".into(),
    };
    take(&mut register, "NU", sent.clone());
    take(&mut register, "NU", sent);
    assert_eq!(
        row(&register, "SM-1"),
        (PileGroup::ToAsk, WhoseTurn::Asked, minute(5))
    );
    let state = register
        .referral("SM-1")
        .unwrap_or_else(|it| unreachable!("{it}"));
    let sent = state.map(|it| it.sent).unwrap_or_default();
    assert_eq!((sent[0].since, sent[0].reminded), (minute(5), minute(6)));
    take(&mut register, "NU", answered("two"));
    assert_eq!(
        row(&register, "SM-1").0,
        PileGroup::ToAsk,
        "its answers are not screened"
    );
    let goes = screened("two", Outcome::Go, None, false);
    let read = take(
        &mut register,
        "NU",
        Happening::Screened(Box::new(goes.clone())),
    );
    assert_eq!(
        row(&register, "SM-1"),
        (PileGroup::ToDecide, WhoseTurn::Clinician, minute(8))
    );
    take(&mut register, "CL", decided(read, Outcome::Go));
    assert_eq!(
        row(&register, "SM-1"),
        (PileGroup::ToBook, WhoseTurn::Nurse, minute(9))
    );
    take(
        &mut register,
        "NU",
        Happening::Booked {
            day: day("2026-12-04"),
        },
    );
    assert_eq!(
        row(&register, "SM-1"),
        (PileGroup::Booked, WhoseTurn::Nobody, minute(10))
    );
    // Another day alone leaves the decision standing; another answer does not.
    let tomorrow = Screened {
        day: day("2026-12-01"),
        ..goes
    };
    take(&mut register, "NU", Happening::Screened(Box::new(tomorrow)));
    assert_eq!(
        row(&register, "SM-1"),
        (PileGroup::Booked, WhoseTurn::Nobody, minute(10))
    );
    take(&mut register, "NU", answered("three"));
    let refers = screened("three", Outcome::Refer, Some(Urgency::SameDay), false);
    take(&mut register, "NU", Happening::Screened(Box::new(refers)));
    assert_eq!(row(&register, "SM-1").0, PileGroup::SameDay);
    take(
        &mut register,
        "NU",
        Happening::PassedOn {
            to: "the hospital".into(),
        },
    );
    assert_eq!(row(&register, "SM-1").0, PileGroup::ToDecide);
    let read = register
        .referral("SM-1")
        .ok()
        .flatten()
        .and_then(|it| Some(it.screening?.seq));
    take(
        &mut register,
        "CL",
        decided(read.unwrap_or_default(), Outcome::Refer),
    );
    assert_eq!(row(&register, "SM-1").0, PileGroup::Closed);
    let before = register.pile();
    assert!(register.rebuild().is_ok());
    assert_eq!(register.pile(), before);
}

#[test]
fn what_does_not_fit_is_not_written() {
    let folder = tempfile::tempdir().unwrap_or_else(|it| unreachable!("{it}"));
    let mut register = register(folder.path());
    let opened = || Happening::Opened {
        from: String::new(),
    };
    kept(&mut register, new(1, "NU", "SM-1", opened()));
    kept(&mut register, new(2, "NU", "SM-1", answered("one")));
    let goes = screened("one", Outcome::Go, None, false);
    let read = kept(
        &mut register,
        new(3, "NU", "SM-1", Happening::Screened(Box::new(goes))),
    );
    let head = register.head();
    let wrong = [
        new(4, "NU", "SM-1", opened()),
        new(4, "NU", "SM-2", answered("one")),
        new(4, "XX", "SM-1", answered("one")),
        new(4, "NU", "SM-1", decided(read, Outcome::Go)),
        new(4, "CL", "SM-1", decided(read - 1, Outcome::Go)),
        new(
            4,
            "NU",
            "SM-1",
            Happening::Booked {
                day: day("2026-12-04"),
            },
        ),
        New {
            referral: None,
            ..new(4, "NU", "SM-1", opened())
        },
    ];
    for new in wrong {
        let kind = new.happening.kind();
        assert!(
            matches!(register.append(new), Err(RegisterError::Refused(_))),
            "{kind}"
        );
    }
    assert_eq!(register.head(), head);
    // The same form is written once.
    let form = New {
        form: Some("f-1".into()),
        ..new(5, "CL", "SM-1", decided(read, Outcome::Go))
    };
    let seq = kept(&mut register, form.clone());
    assert!(matches!(register.append(form), Err(RegisterError::FormUsed(it)) if it.seq == seq));
}

#[test]
fn a_person_is_known_by_initials_and_passphrase() {
    let folder = tempfile::tempdir().unwrap_or_else(|it| unreachable!("{it}"));
    let mut register = register(folder.path());
    let hash = hashed(PASSPHRASE).unwrap_or_else(|it| unreachable!("{it}"));
    kept(
        &mut register,
        New {
            person: "NU".into(),
            ..person(1, "AB", PersonRole::Governance, &hash)
        },
    );
    let known = |register: &Register, initials: &str, passphrase: &str| {
        register
            .verify(initials, passphrase)
            .map(|it| it.map(|it| it.role))
    };
    assert_eq!(
        known(&register, "AB", PASSPHRASE),
        Ok(Some(PersonRole::Governance))
    );
    assert_eq!(known(&register, "AB", "four words put apart"), Ok(None));
    assert_eq!(known(&register, "XX", PASSPHRASE), Ok(None));
    assert!(hashed("too short").is_err());
}
