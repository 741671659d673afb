//! The register: what it keeps, refuses and finds; that nothing confirmed is lost and nothing changed goes unseen.

use std::path::{Path, PathBuf};
use std::process::{Output, Stdio};
use std::time::Instant;

use chrono::{DateTime, FixedOffset, NaiveDate};
use preblock::Screener;
use preblock::inner::document::diagnostic::{Code, Diagnostic};
use preblock::inner::outcome::{Outcome, Urgency};
use preblock::inner::register::check::check;
use preblock::inner::register::copy::copy;
use preblock::inner::register::decide::{Lacking, may_decide};
use preblock::inner::register::export;
use preblock::inner::register::figures::figures;
use preblock::inner::register::file::{network_drive, on_network};
use preblock::inner::register::happening::{
    CardFeedback, CardOutcome, CardReason, Decided, Happening, QuestionTold, RECORDS, RuleSetAside,
    RuleTold, Screened,
};
use preblock::inner::register::lapse::lapsed;
use preblock::inner::register::people::{Person, PersonRole, hashed};
use preblock::inner::register::state::{PileGroup, WhoseTurn};
use preblock::inner::register::{New, Register, RegisterError};
use preblock::inner::report::json;
use preblock::inner::rule_set::catalogue::Who;
use preblock::inner::rule_set::files::sha256;
use rusqlite::Connection;

use crate::support::{embedded, embedded_once, embedded_screener, read_over, said};

// One byte changed.
mod bytes;
// A writer that is killed, a disk that fails.
mod crashes;
// Random entries against a plain model, and very many.
pub mod model;

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
        first_reason: "A reason".into(),
        fires: vec![rule],
        waits: Vec::new(),
        to_ask: asks.then_some(ask).into_iter().collect(),
        to_read: Vec::new(),
        nurse_may_book: false,
        screening: serde_json::json!({ "screening": 1, "share": 0.1, "findings": [] }),
    }
}

/// What a record system tells of a card.
fn feedback() -> Happening {
    Happening::Feedback(Box::new(CardFeedback {
        card: "d9fbb4cd-de58-80c7-9f07-9b2802d5d254".into(),
        rule: Some("bleeding/inr-too-old".into()),
        summary: "SM-1: INR too old (defer)".into(),
        outcome: CardOutcome::Overridden,
        reason: Some(CardReason {
            system: None,
            code: "other".into(),
            display: None,
        }),
        comment: Some("measured today".into()),
        done_at: "2026-11-30T09:00:00Z".into(),
    }))
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
    let folder = folder();
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
    let folder = folder();
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
        // Feedback is a record system's; nobody else's hand is that, and nobody has its name.
        new(4, "CL", "SM-1", feedback()),
        new(4, RECORDS, "SM-2", feedback()),
        new(4, RECORDS, "SM-1", answered("two")),
        new(4, RECORDS, "SM-1", decided(read, Outcome::Go)),
        person(4, RECORDS, PersonRole::Clinician, "none"),
        New {
            person: "CL".into(),
            ..person(4, RECORDS, PersonRole::Clinician, "none")
        },
    ];
    for new in wrong {
        let kind = new.happening.kind();
        let error = register.append(new).err();
        let code = error.as_ref().map(|it| it.diagnostic().code);
        assert!(matches!(error, Some(RegisterError::Refused(_))), "{kind}");
        assert_eq!(code, Some(Code::RegisterRefused), "{kind}");
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

/// What belongs together is written together: each must fit with those before it, or none of them is written.
#[test]
fn several_entries_are_written_together_or_not_at_all() {
    let folder = folder();
    let mut register = register(folder.path());
    let opened = new(
        1,
        "NU",
        "SM-1",
        Happening::Opened {
            from: String::new(),
        },
    );
    let of = |text: &str| {
        let goes = screened(text, Outcome::Go, None, false);
        new(1, "NU", "SM-1", Happening::Screened(Box::new(goes)))
    };
    let answers = new(1, "NU", "SM-1", answered("one"));
    let before = (register.head(), register.pile());
    for (all, why) in [
        (
            vec![opened.clone(), answers.clone(), of("two")],
            "the screening is not of the answers as they are now",
        ),
        (
            vec![answers.clone(), opened.clone()],
            "there is no referral `SM-1`",
        ),
        (
            vec![opened.clone(), opened.clone()],
            "there is a referral `SM-1` already",
        ),
        (Vec::new(), "there is nothing to write down"),
    ] {
        let error = register.append_all(all).err();
        let said = error.map(|it| it.diagnostic().title);
        assert_eq!(said.as_deref(), Some(why));
        assert_eq!((register.head(), register.pile()), before, "{why}");
    }
    // The screening is entry 5 if it is written, and so it is signed.
    let signed = New {
        form: Some("f-1".into()),
        ..new(1, "CL", "SM-1", decided(6, Outcome::Go))
    };
    let whole = vec![opened, answers, of("one"), signed.clone()];
    let error = register.append_all(whole.clone()).err();
    assert!(
        matches!(error, Some(RegisterError::Refused(_))),
        "{error:?}"
    );
    assert_eq!((register.head(), register.pile()), before);
    let signed = New {
        happening: decided(5, Outcome::Go),
        ..signed
    };
    let whole: Vec<New> = whole.into_iter().take(3).chain([signed]).collect();
    let last = register.append_all(whole).map(|it| it.seq).ok();
    assert_eq!(last, Some(6));
    assert_eq!(row(&register, "SM-1").0, PileGroup::ToBook);
    // A form that was used keeps all that came with it from being written again.
    let again = vec![
        of("one"),
        New {
            form: Some("f-1".into()),
            ..new(2, "CL", "SM-1", decided(7, Outcome::Go))
        },
    ];
    let error = register.append_all(again).err();
    assert!(matches!(error, Some(RegisterError::FormUsed(it)) if it.seq == 6));
    assert_eq!(register.head().map(|it| it.seq).ok(), Some(6));
    assert_eq!(found(register.path(), None), []);
}

#[test]
fn a_person_is_known_by_initials_and_passphrase() {
    let folder = folder();
    let mut register = register(folder.path());
    let hash = hashed(PASSPHRASE).unwrap_or_else(|it| unreachable!("{it}"));
    kept(
        &mut register,
        New {
            person: "CL".into(),
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
    // Nobody learns from the time it takes whether there is such a person.
    let took = |initials: &str| {
        let start = Instant::now();
        assert_eq!(known(&register, initials, "four words put apart"), Ok(None));
        start.elapsed()
    };
    let (there, not_there) = (took("AB"), took("XX"));
    assert!(not_there * 3 > there, "{there:?} and {not_there:?}");
}

/// The code of what a call was refused with.
fn refused<T>(result: Result<T, Box<Diagnostic>>) -> Option<Code> {
    result.err().map(|it| it.code)
}

/// What a check finds, nothing screened again.
fn found(path: &Path, head: Option<&str>) -> Vec<Code> {
    let checked = check(path, head, &mut |_, _| None);
    let found = checked.unwrap_or_else(|it| unreachable!("{it}")).found;
    found.into_iter().map(|it| it.code).collect()
}

/// The register as any program with SQLite may open it.
fn raw(path: &Path) -> Connection {
    Connection::open(path).unwrap_or_else(|it| unreachable!("{it}"))
}

fn batch(path: &Path, sql: &str) {
    raw(path)
        .execute_batch(sql)
        .unwrap_or_else(|it| unreachable!("{sql}: {it}"));
}

/// A register in which one referral was opened, answered, screened and decided, and then closed.
fn small(folder: &Path) -> PathBuf {
    let mut register = register(folder);
    let opened = Happening::Opened {
        from: "post".into(),
    };
    kept(&mut register, new(1, "NU", "SM-1", opened));
    kept(
        &mut register,
        new(2, "NU", "SM-1", answered("a questionnaire")),
    );
    let goes = screened("a questionnaire", Outcome::Go, None, false);
    let read = kept(
        &mut register,
        new(3, "NU", "SM-1", Happening::Screened(Box::new(goes))),
    );
    kept(
        &mut register,
        new(4, "CL", "SM-1", decided(read, Outcome::Go)),
    );
    let path = register.path().to_owned();
    let same = check(&path, None, &mut |was, _| Some(was.clone()));
    let same = same.unwrap_or_else(|it| unreachable!("{it}"));
    assert!(same.found.is_empty(), "{:?}", same.found);
    assert_eq!(
        (same.n_entries, same.n_screened_again, same.n_not_at_hand),
        (6, 1, 0)
    );
    path
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().unwrap_or_else(|it| unreachable!("{it}"))
}

#[test]
fn there_is_one_writer_and_the_second_is_told_who() {
    let folder = folder();
    let first = register(folder.path());
    let path = first.path().to_owned();
    let second = Register::open(&path, "another").err();
    let second = second.unwrap_or_else(|| unreachable!("two write"));
    assert_eq!(second.code, Code::RegisterInUse);
    assert!(second.title.contains("a test (process"), "{second}");
    let reads = Register::open_to_read(&path);
    assert_eq!(reads.map(|it| it.head()), Ok(first.head()));
    let mut reads = Register::open_to_read(&path).unwrap_or_else(|it| unreachable!("{it}"));
    let opened = Happening::Opened {
        from: String::new(),
    };
    assert!(matches!(
        reads.append(new(1, "NU", "SM-1", opened)),
        Err(RegisterError::Refused(_))
    ));
    drop(first);
    assert!(Register::open(&path, "another").is_ok());
}

#[test]
fn what_is_no_register_is_not_opened() {
    let folder = folder();
    let at = |name: &str| folder.path().join(name);
    let open = |path: &Path| refused(Register::open(path, "a test"));
    assert_eq!(open(&at("none")), Some(Code::NotFound));
    assert_eq!(
        refused(Register::create(&at("no/folder"), "a test")),
        Some(Code::RegisterUnwritable)
    );
    let text = at("text");
    assert!(std::fs::write(&text, "questionnaire: 1\n".repeat(200)).is_ok());
    assert_eq!(open(&text), Some(Code::NoRegister));
    assert_eq!(
        refused(Register::create(&text, "a test")),
        Some(Code::RegisterThere)
    );
    let other = at("other");
    batch(&other, "create table entry(seq integer)");
    assert_eq!(open(&other), Some(Code::NoRegister));
    let path = small(folder.path());
    let before = std::fs::read(&path).unwrap_or_default();
    for version in [1, 3] {
        batch(&path, &format!("pragma user_version = {version}"));
        assert_eq!(open(&path), Some(Code::RegisterVersion));
        assert_eq!(
            refused(check(&path, None, &mut |_, _| None)),
            Some(Code::RegisterVersion)
        );
        assert!(std::fs::write(&path, &before).is_ok());
    }
    batch(&path, "drop trigger entry_update");
    assert_eq!(open(&path), Some(Code::RegisterLayout));
    assert_eq!(found(&path, None), [Code::RegisterLayout]);
    assert!(std::fs::write(&path, &before).is_ok());
    batch(&path, "create table more(a)");
    assert_eq!(open(&path), Some(Code::RegisterLayout));
    let cut = at("cut");
    assert!(std::fs::write(&cut, before.get(..before.len() / 2).unwrap_or_default()).is_ok());
    assert_eq!(
        open(&cut).or_else(|| found(&cut, None).first().copied()),
        Some(Code::RegisterDamaged)
    );
}

#[cfg(unix)]
#[test]
fn only_its_owner_may_open_a_register() {
    use std::os::unix::fs::PermissionsExt as _;
    let folder = folder();
    let path = small(folder.path());
    let mode = |path: &Path| {
        path.metadata()
            .map(|it| it.permissions().mode() & 0o777)
            .ok()
    };
    assert_eq!(mode(&path), Some(0o600));
    let copied = folder.path().join("copy");
    assert!(copy(&path, &copied).is_ok());
    assert_eq!(mode(&copied), Some(0o600));
    assert!(std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o644)).is_ok());
    assert_eq!(found(&path, None), [Code::RegisterOpenToOthers]);
}

#[test]
fn a_network_drive_is_known_by_its_kind() {
    let mounts = "/dev/sda1 / ext4 rw 0 0\nserver:/data /mnt/the\\040data nfs4 rw 0 0\n/dev/sdb1 /mnt/the\\040data/here xfs rw 0 0\n";
    let kind = |folder: &str| network_drive(mounts, Path::new(folder));
    assert_eq!(kind("/home/desk"), None);
    assert_eq!(kind("/mnt/the data/desk"), Some("nfs4"));
    assert_eq!(kind("/mnt/the data/here"), None);
    assert_eq!(kind("/mnt/the database"), None);
    let told = on_network(Path::new("/mnt/the data/desk"), "nfs4");
    assert_eq!(
        (told.code, told.title.as_str()),
        (
            Code::RegisterOnNetwork,
            "`/mnt/the data/desk` is on a network drive (nfs4)"
        )
    );
}

/// Whoever goes round the triggers is found, each way of it.
#[test]
fn no_entry_is_changed_unseen() {
    let folder = folder();
    let path = small(folder.path());
    for sql in [
        "update entry set person = 'XX' where seq = 3",
        "delete from entry where seq = 6",
        "insert or replace into entry select 3, at, 'XX', kind, referral, form, body, previous, digest from entry where seq = 3",
        "insert into entry select 9, at, person, kind, referral, form, 'b', 'p', 'd' from entry where seq = 6",
        "update body set text = '{}'",
        "delete from body",
    ] {
        assert!(raw(&path).execute_batch(sql).is_err(), "{sql}");
    }
    let before = std::fs::read(&path).unwrap_or_default();
    let layout: Vec<String> = raw(&path)
        .prepare("select sql from sqlite_schema where type = 'trigger'")
        .and_then(|mut it| it.query_map([], |row| row.get(0))?.collect())
        .unwrap_or_else(|it| unreachable!("{it}"));
    let forced = |sql: &str| {
        assert!(std::fs::write(&path, &before).is_ok());
        let dropped = "drop trigger entry_update; drop trigger entry_delete; drop trigger entry_insert; drop trigger body_update; \
                       drop trigger body_delete;";
        batch(&path, &format!("{dropped} {sql}; {};", layout.join(";")));
        assert!(
            Register::open(&path, "a test").is_ok(),
            "the layout is whole again"
        );
    };
    let head = |path: &Path| {
        Register::open_to_read(path)
            .and_then(|it| it.head())
            .map(|it| it.to_string())
    };
    let noted = head(&path).unwrap_or_else(|it| unreachable!("{it}"));
    assert_eq!(found(&path, Some(&noted)), []);
    for (sql, code) in [
        (
            "update entry set person = 'XX' where seq = 3",
            Code::RegisterEntryChanged,
        ),
        (
            "update entry set at = '2026-11-30T08:01:00Z' where seq = 3",
            Code::RegisterEntryChanged,
        ),
        (
            "update entry set seq = 9 where seq = 6",
            Code::RegisterEntryChanged,
        ),
        (
            "delete from entry where seq = 4",
            Code::RegisterEntryChanged,
        ),
        (
            "insert into entry select 7, at, person, kind, referral, form, 'b', 'p', 'd' from entry where seq = 6",
            Code::RegisterEntryChanged,
        ),
        (
            "update body set text = replace(text, 'questionnaire', 'questionnaira')",
            Code::RegisterBody,
        ),
        (
            "delete from body where text like '%screening%'",
            Code::RegisterBody,
        ),
        ("insert into body values ('d', '{}')", Code::RegisterBody),
        ("update pile set place = 0", Code::RegisterTables),
        ("delete from pile", Code::RegisterTables),
        ("update person set role = 'clinician'", Code::RegisterTables),
    ] {
        forced(sql);
        assert!(
            found(&path, None).contains(&code),
            "{sql}: {:?}",
            found(&path, None)
        );
    }
    // A tail that is cut off leaves a chain that is whole: only a head that was noted elsewhere tells.
    forced(
        "delete from body where digest = (select body from entry where seq = 6); delete from entry where seq = 6",
    );
    let mut register = Register::open(&path, "a test").unwrap_or_else(|it| unreachable!("{it}"));
    assert!(register.rebuild().is_ok());
    drop(register);
    assert_eq!(found(&path, None), []);
    assert_eq!(found(&path, Some(&noted)), [Code::RegisterHead]);
    let digits = noted.split_once(':').map_or("", |(_, digits)| digits);
    assert_eq!(found(&path, Some(digits)), [Code::RegisterHead]);
    assert_eq!(
        refused(check(&path, Some("6:xyz"), &mut |_, _| None)),
        Some(Code::RegisterHead)
    );
}

/// A body of the right digest that is no screening of these answers, and a screening that does not come to the same again.
#[test]
fn what_was_decided_is_screened_again() {
    let folder = folder();
    let path = small(folder.path());
    let mut other = |was: &Screened, text: &str| {
        assert_eq!(text, "a questionnaire");
        Some(Screened {
            outcome: Outcome::Defer,
            ..was.clone()
        })
    };
    let checked = check(&path, None, &mut other);
    let checked = checked.unwrap_or_else(|it| unreachable!("{it}"));
    assert_eq!(
        checked.found.iter().map(|it| it.code).collect::<Vec<_>>(),
        [Code::RegisterScreening]
    );
    // Where a file lay and what else was wished for does not count; what it says does.
    let json = |share: f64, path: &str| {
        let findings = serde_json::json!([{ "rule": "a/b", "path": path, "share": share }]);
        serde_json::json!({ "findings": findings, "dates": path })
    };
    let with = |was: &Screened, screening: serde_json::Value| Screened {
        screening,
        ..was.clone()
    };
    let mut register = Register::open(&path, "a test").unwrap_or_else(|it| unreachable!("{it}"));
    let goes = with(
        &screened("a questionnaire", Outcome::Go, None, false),
        json(0.5, "here"),
    );
    let read = kept(
        &mut register,
        new(5, "NU", "SM-1", Happening::Screened(Box::new(goes))),
    );
    kept(
        &mut register,
        new(6, "CL", "SM-1", decided(read, Outcome::Go)),
    );
    drop(register);
    let n_same = |share: f64| {
        let checked = check(&path, None, &mut |was, _| {
            Some(with(was, json(share, "there")))
        });
        checked.map(|it| (it.n_screened_again, it.found.len()))
    };
    assert_eq!((n_same(0.5), n_same(0.25)), (Ok((1, 1)), Ok((0, 2))));
}

#[test]
fn what_was_removed_is_gone_and_the_chain_stays_whole() {
    let folder = folder();
    let path = small(folder.path());
    let holds = |path: &Path| {
        let bytes = std::fs::read(path).unwrap_or_default();
        bytes.windows(15).any(|it| it == b"a questionnaire")
    };
    assert!(holds(&path));
    let mut register = Register::open(&path, "a test").unwrap_or_else(|it| unreachable!("{it}"));
    let by_nurse = register.remove(minute(9), "NU", "SM-1", "eight years have passed");
    assert!(
        matches!(by_nurse, Err(RegisterError::Refused(_))),
        "a nurse removes nothing while there is a clinician"
    );
    let removed = register.remove(minute(9), "CL", "SM-1", "eight years have passed");
    assert_eq!(removed.map(|it| it.seq).ok(), Some(7));
    let state = register.referral("SM-1").ok().flatten();
    let state = state.unwrap_or_else(|| unreachable!("its entries are there"));
    assert!(state.is_removed && state.questionnaire.is_none() && state.decision.is_none());
    assert_eq!(row(&register, "SM-1").0, PileGroup::Closed);
    assert!(matches!(
        register.append(new(10, "NU", "SM-1", answered("again"))),
        Err(RegisterError::Refused(_))
    ));
    drop(register);
    assert!(!holds(&path) && !holds(&path.with_extension("sqlite3-wal")));
    let checked = check(&path, None, &mut |_, _| None);
    let checked = checked.unwrap_or_else(|it| unreachable!("{it}"));
    assert_eq!(
        (checked.n_entries, checked.n_removed, checked.found.len()),
        (7, 4, 0)
    );
}

#[test]
fn a_clock_that_was_put_back_is_recorded_and_told() {
    let folder = folder();
    let mut register = register(folder.path());
    let opened = || Happening::Opened {
        from: String::new(),
    };
    let entries = [
        register.append(new(60, "NU", "SM-1", opened())),
        register.append(new(0, "NU", "SM-2", opened())),
        register.append(new(1, "NU", "SM-3", opened())),
    ];
    let back: Vec<bool> = entries
        .iter()
        .flatten()
        .map(|it| it.is_clock_back)
        .collect();
    assert_eq!(back, [false, true, false]);
    let kept = register.entries("SM-2").unwrap_or_default();
    assert!(matches!(&kept[..], [it] if it.is_clock_back && it.at == minute(0)));
    assert_eq!(found(register.path(), None), [Code::RegisterClock]);
}

#[test]
fn a_copy_is_checked_and_never_written_over_anything() {
    let folder = folder();
    let path = small(folder.path());
    let writing = Register::open(&path, "a desk").unwrap_or_else(|it| unreachable!("{it}"));
    let to = folder.path().join("backup");
    let copied = copy(&path, &to).unwrap_or_else(|it| unreachable!("{it}"));
    assert_eq!((copied.n_entries, copied.found.len()), (6, 0));
    assert_eq!(copied.head, writing.head().ok());
    let bytes = std::fs::read(&to).unwrap_or_default();
    assert_eq!(refused(copy(&path, &to)), Some(Code::RegisterThere));
    assert!(std::fs::read(&to).unwrap_or_default() == bytes);
    let restored = folder.path().join("restored");
    assert!(copy(&to, &restored).is_ok());
    let mut restored =
        Register::open(&restored, "a desk").unwrap_or_else(|it| unreachable!("{it}"));
    assert_eq!(
        kept(
            &mut restored,
            new(
                9,
                "NU",
                "SM-2",
                Happening::Opened {
                    from: String::new()
                }
            )
        ),
        7
    );
    let inside: Vec<String> = std::fs::read_dir(folder.path())
        .into_iter()
        .flatten()
        .map(|it| {
            it.map(|it| it.file_name().to_string_lossy().into_owned())
                .unwrap_or_default()
        })
        .filter(|it| it.contains(".part"))
        .collect();
    assert!(inside.is_empty(), "{inside:?}");
}

#[test]
fn an_export_holds_no_passphrase_and_no_formula() {
    let folder = folder();
    let mut register = register(folder.path());
    kept(
        &mut register,
        new(
            1,
            "NU",
            "SM-1",
            Happening::Opened {
                from: "=HYPERLINK(\"x\")".into(),
            },
        ),
    );
    let entries = register.all_entries().unwrap_or_default();
    let lines = export::ndjson(&entries);
    let values: Vec<serde_json::Value> = lines.lines().flat_map(serde_json::from_str).collect();
    assert_eq!(values.len(), 3);
    assert!(!lines.contains("hash") && lines.contains("HYPERLINK"));
    assert_eq!(values[2]["digest"], entries[2].digest);
    let table = export::csv(&entries);
    assert!(table.contains("\"'=HYPERLINK(\"\"x\"\")\""), "{table}");
    assert_eq!(table.lines().count(), 4);
}

#[test]
fn figures_say_what_was_set_aside_and_waited_for() {
    let folder = folder();
    let mut register = register(folder.path());
    let decide = |register: &mut Register, at: i64, n: i64, set_aside: bool| {
        let (reference, text) = (format!("SM-{n}"), format!("answers {n}"));
        let opened = Happening::Opened {
            from: String::new(),
        };
        kept(register, new(at, "NU", &reference, opened));
        kept(register, new(at, "NU", &reference, answered(&text)));
        let asks = screened(&text, Outcome::Defer, None, true);
        kept(
            register,
            new(at, "NU", &reference, Happening::Screened(Box::new(asks))),
        );
        let sent = Happening::QuestionSent {
            questions: vec!["bleeding.inr".into()],
            to: Who::Patient,
            how: "letter".into(),
        };
        kept(register, new(at, "NU", &reference, sent));
        let at = at + n * 24 * 60;
        let defers = screened(&text, Outcome::Defer, None, false);
        let read = kept(
            register,
            new(at, "NU", &reference, Happening::Screened(Box::new(defers))),
        );
        let aside = RuleSetAside {
            rule: "concern/rule".into(),
            reason: "does-not-fit".into(),
            sentence: "It does not.".into(),
        };
        let decision = Decided {
            screening: read,
            outcome: if set_aside {
                Outcome::Go
            } else {
                Outcome::Defer
            },
            set_aside: set_aside.then_some(aside).into_iter().collect(),
            read: Vec::new(),
            second: None,
            sentence: "So decided.".into(),
        };
        kept(
            register,
            new(at, "CL", &reference, Happening::Decided(decision)),
        );
    };
    for n in 1..=9 {
        decide(&mut register, n, n, n <= 6);
    }
    let nine = figures(&register.all_entries().unwrap_or_default());
    assert!(
        !nine.rules[0].is_mostly_set_aside(),
        "nine decisions are too few"
    );
    decide(&mut register, 10, 10, false);
    let ten = figures(&register.all_entries().unwrap_or_default());
    let rule = &ten.rules[0];
    assert_eq!(
        (rule.n_fired, rule.n_decided, rule.n_set_aside),
        (10, 10, 6)
    );
    assert_eq!(rule.reasons, [("does-not-fit".to_owned(), 6)]);
    assert!(rule.is_mostly_set_aside());
    let edition = &ten.editions[0];
    assert_eq!(
        (
            edition.n(),
            edition.n_defer,
            edition.n_decided,
            edition.n_against
        ),
        (10, 10, 10, 6)
    );
    let question = &ten.questions[0];
    assert_eq!((question.n_sent, question.n_answered), (10, 10));
    assert_eq!(
        (question.median_days, question.longest_days),
        (Some(6), Some(10))
    );
    // Of ten waits of one to ten days the sixth is the middle one.
    let said = preblock::inner::register::figures::text(&ten);
    assert!(
        said.contains(
            "concern/rule: fired about 10; set aside in 6 of 10 decisions (does-not-fit 6)"
        ),
        "{said}"
    );
}

/// A decision for this outcome that sets these rules aside.
fn decision(outcome: Outcome, set_aside: &[&str]) -> Decided {
    let aside = |rule: &&str| RuleSetAside {
        rule: (*rule).into(),
        reason: "does-not-fit".into(),
        sentence: "It does not, since ...".into(),
    };
    Decided {
        screening: 1,
        outcome,
        set_aside: set_aside.iter().map(aside).collect(),
        read: vec!["a note".into()],
        second: None,
        sentence: "I have read this screening and decide so.".into(),
    }
}

/// Design: a decision less cautious than the verdict needs each finding that stands against it set aside, and each rule that is
/// not decided; some rules nobody may set aside, some two clinicians may.
#[test]
fn a_decision_lacks_what_the_rules_ask_for() {
    let rules = embedded();
    let told = |rule: &str| {
        let rule = rules
            .rule(rule)
            .unwrap_or_else(|| unreachable!("{rule} is a rule"));
        RuleTold {
            rule: rule.id.clone(),
            title: rule.title.clone(),
            outcome: rule.outcome,
            urgency: rule.urgency,
        }
    };
    let (one, two, never) = (
        "bleeding/inr-too-old",
        "circulation/rest-pain",
        "site/identity-doubtful",
    );
    let precaution = "bleeding/inr-near-ceiling";
    let with = |fires: &[&str], waits: &[&str]| Screened {
        rule_set: rules.digest.clone(),
        fires: fires.iter().map(|it| told(it)).collect(),
        waits: waits.iter().map(|it| told(it)).collect(),
        to_read: vec!["a note".into()],
        ..screened(
            "one",
            if fires.contains(&two) {
                Outcome::Refer
            } else {
                Outcome::Defer
            },
            None,
            false,
        )
    };
    let person = |initials: &str, role: PersonRole, is_on: bool| Person {
        initials: initials.into(),
        role,
        is_on,
        hash: String::new(),
    };
    let first = person("CL", PersonRole::Clinician, true);
    let second = person("DR", PersonRole::Clinician, true);
    let may = |screened: &Screened, decided: &Decided, signs: &[&Person]| {
        let signs: Vec<Person> = signs.iter().map(|it| (*it).clone()).collect();
        may_decide(&rules, screened, decided, &signs)
            .err()
            .unwrap_or_default()
    };
    let screened = with(&[one, precaution], &[]);
    assert_eq!(
        may(&screened, &decision(Outcome::Defer, &[]), &[&first]),
        []
    );
    assert_eq!(
        may(&screened, &decision(Outcome::Refer, &[]), &[&first]),
        []
    );
    assert_eq!(
        may(&screened, &decision(Outcome::Go, &[]), &[&first]),
        [Lacking::SetAside(told(one))]
    );
    assert_eq!(
        may(&screened, &decision(Outcome::Go, &[one]), &[&first]),
        []
    );
    assert_eq!(
        may(
            &screened,
            &decision(Outcome::Go, &[one, precaution]),
            &[&first]
        ),
        [Lacking::Needless(precaution.into())]
    );
    assert_eq!(
        may(&screened, &decision(Outcome::Go, &[one, one]), &[&first]),
        [Lacking::Twice(one.into())]
    );
    assert_eq!(
        may(&screened, &decision(Outcome::Defer, &[one]), &[&first]),
        [Lacking::Needless(one.into())]
    );
    // A rule that is not decided stands against it, too.
    let waits = with(&[], &[one]);
    assert_eq!(
        may(&waits, &decision(Outcome::Go, &[]), &[&first]),
        [Lacking::SetAside(told(one))]
    );
    // What nobody may set aside, and what two may.
    assert_eq!(
        may(
            &with(&[never], &[]),
            &decision(Outcome::Go, &[never]),
            &[&first, &second]
        ),
        [Lacking::Never(never.into())]
    );
    let refers = with(&[two, one], &[]);
    assert_eq!(
        may(&refers, &decision(Outcome::Defer, &[two]), &[&first]),
        [Lacking::Two(two.into())]
    );
    assert_eq!(
        may(
            &refers,
            &decision(Outcome::Defer, &[two]),
            &[&first, &first]
        ),
        [Lacking::Two(two.into())]
    );
    assert_eq!(
        may(
            &refers,
            &decision(Outcome::Defer, &[two]),
            &[&first, &second]
        ),
        []
    );
    // Who signs, and what.
    let nurse = person("NU", PersonRole::Nurse, true);
    let off = person("CL", PersonRole::Clinician, false);
    for signs in [&[][..], &[&nurse], &[&off], &[&first, &nurse]] {
        assert_eq!(
            may(&screened, &decision(Outcome::Defer, &[]), signs),
            [Lacking::Clinician]
        );
    }
    let lacks = |change: &dyn Fn(&mut Decided)| {
        let mut decided = decision(Outcome::Go, &[one]);
        change(&mut decided);
        may(&screened, &decided, &[&first])
    };
    assert_eq!(
        lacks(&|it| it.read.clear()),
        [Lacking::Read("a note".into())]
    );
    assert_eq!(lacks(&|it| it.sentence = " ".into()), [Lacking::Sentence]);
    assert_eq!(
        lacks(&|it| it.set_aside[0].reason = "because".into()),
        [Lacking::Reason(one.into())]
    );
    assert_eq!(
        lacks(&|it| it.set_aside[0].sentence.clear()),
        [Lacking::Why(one.into())]
    );
    let other = Screened {
        rule_set: sha256(b"another edition"),
        ..screened.clone()
    };
    assert_eq!(
        may(&other, &decision(Outcome::Defer, &[]), &[&first]),
        [Lacking::RuleSet]
    );
    for lacking in may(&other, &decision(Outcome::Go, &[never]), &[&nurse]) {
        let said = lacking.to_string();
        assert!(said.len() > 15 && !said.ends_with('.'), "{said}");
    }
}

/// Runs the program with a line on its standard input.
fn typed(arguments: &[&str], line: &str) -> Output {
    use std::io::Write as _;
    let mut program = crate::support::program()
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env("LC_ALL", "C.UTF-8")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|it| unreachable!("{it}"));
    if let Some(mut input) = program.stdin.take() {
        assert!(input.write_all(line.as_bytes()).is_ok());
    }
    program
        .wait_with_output()
        .unwrap_or_else(|it| unreachable!("{it}"))
}

/// A register's days on the command line, and what the rule set's editors learn from it.
#[test]
fn a_register_is_kept_from_the_command_line() {
    let folder = folder();
    let path = folder.path().join("desk.sqlite3");
    let desk = path.display().to_string();
    let lines = |line: &str| format!("{line}\n").repeat(2);
    let ends = |done: &Output, status: i32| {
        let said = format!("{}{}", said(&done.stdout), said(&done.stderr));
        assert_eq!(done.status.code(), Some(status), "{said}");
        said
    };
    let call = |arguments: &[&str], line: &str, status: i32| ends(&typed(arguments, line), status);
    call(&["register", "head", &desk], "", 2);
    call(&["register", "new", &desk], "", 0);
    call(&["register", "new", &desk], "", 2);
    let add = |initials: &'static str, role: &'static str| {
        [
            "register",
            "person",
            "add",
            &*desk.clone().leak(),
            initials,
            "--role",
            role,
        ]
    };
    assert!(call(&add("GO", "governance"), "short", 2).contains("at least 12 letters"));
    call(&add("GO", "governance"), PASSPHRASE, 0);
    assert!(call(&add("CL", "clinician"), PASSPHRASE, 2).contains("--by"));
    let by: Vec<&str> = add("CL", "clinician")
        .into_iter()
        .chain(["--by", "GO"])
        .collect();
    assert!(call(&by, &lines("not the passphrase"), 2).contains("not the passphrase of `GO`"));
    call(&by, &lines(PASSPHRASE), 0);
    let people = call(&["register", "person", "list", &desk], "", 0);
    assert!(
        people.contains("CL  clinician") && people.contains("GO  governance"),
        "{people}"
    );
    // Ten decisions, six against a rule.
    let rules = embedded();
    let id = "bleeding/inr-too-old";
    let rule = rules
        .rule(id)
        .unwrap_or_else(|| unreachable!("{id} is a rule"));
    let mut register = Register::open(&path, "a test").unwrap_or_else(|it| unreachable!("{it}"));
    for n in 1..=10 {
        let (reference, text) = (format!("SM-{n}"), format!("answers {n}"));
        let opened = Happening::Opened {
            from: String::new(),
        };
        let fires = RuleTold {
            rule: rule.id.clone(),
            title: rule.title.clone(),
            outcome: rule.outcome,
            urgency: None,
        };
        let defers = Screened {
            fires: vec![fires],
            ..screened(&text, Outcome::Defer, None, false)
        };
        kept(&mut register, new(n, "CL", &reference, opened));
        kept(&mut register, new(n, "CL", &reference, answered(&text)));
        let read = kept(
            &mut register,
            new(n, "CL", &reference, Happening::Screened(Box::new(defers))),
        );
        let (outcome, aside) = if n <= 6 {
            (Outcome::Go, &[id][..])
        } else {
            (Outcome::Defer, &[][..])
        };
        let decided = Decided {
            screening: read,
            ..decision(outcome, aside)
        };
        kept(
            &mut register,
            new(n, "CL", &reference, Happening::Decided(decided)),
        );
    }
    drop(register);
    let figures = call(&["register", "figures", &desk], "", 0);
    let aside = "set aside in 6 of 10 decisions (does-not-fit 6)";
    assert!(
        figures.contains(&format!("{id}: fired about 10; {aside}")),
        "{figures}"
    );
    let json = call(&["register", "figures", &desk, "--format", "json"], "", 0);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap_or_default();
    assert_eq!(json["rules"][0]["set_aside"], 6);
    let due = call(
        &["rules", "due", "--as-of", "2026-12-01", "--register", &desk],
        "",
        0,
    );
    assert!(
        due.contains("1 rule, mostly set aside, to be looked at:")
            && due.contains("1 rule mostly set aside."),
        "{due}"
    );
    assert!(
        due.split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
            .contains(&format!("{id}: {aside}")),
        "{due}"
    );
    let book = call(&["rules", "book", "--register", &desk], "", 0);
    assert!(
        book.contains("At the desk: fired about 10 referrals, set aside in 6 of 10 decisions"),
        "the book has no figures"
    );
    assert!(book.contains("**May be set aside** by nobody."));
    // What was decided on invented screenings is not of this rule set.
    let head = call(&["register", "head", &desk], "", 0);
    let checked = call(&["register", "check", &desk, "--head", head.trim()], "", 0);
    assert!(
        checked.contains(
            "0 decided screenings came to the same again; 10 could not be screened again here"
        ),
        "{checked}"
    );
    call(
        &[
            "register",
            "check",
            &desk,
            "--head",
            "99:00000-00000-00000-00000",
        ],
        "",
        1,
    );
    let backup = folder.path().join("backup").display().to_string();
    assert!(call(&["register", "backup", &desk, &backup], "", 0).contains(head.trim()));
    call(&["register", "restore", &backup, &desk], "", 2);
    let remove = [
        "register",
        "remove",
        &desk,
        "SM-1",
        "--because",
        "eight years have passed",
        "--by",
        "GO",
    ];
    call(&remove, PASSPHRASE, 0);
    let table = call(&["register", "export", &desk, "--format", "csv"], "", 0);
    assert!(
        table.contains("\"SM-1\",\"removed\"") && !table.contains("argon2"),
        "{table}"
    );
    call(
        &[
            "register", "person", "set", &desk, "CL", "--off", "--by", "GO",
        ],
        PASSPHRASE,
        0,
    );
    let people = call(&["register", "person", "list", &desk], "", 0);
    assert!(
        people.contains("CL  clinician, may not sign in"),
        "{people}"
    );
    batch(&path, "delete from pile");
    call(&["register", "check", &desk], "", 1);
    call(&["register", "check", &desk, "--rebuild"], "", 0);
}

/// In a name that nobody read rules wait for what it may be; the pile says the name, and none of those rules as if found.
#[test]
fn the_pile_never_says_that_a_rule_fires_which_only_waits() {
    let text = std::fs::read_to_string("examples/referrals/SM-106.yaml").unwrap_or_default();
    let read = read_over(
        embedded_screener(),
        std::fs::read_to_string("examples/clinic.yaml")
            .ok()
            .as_deref(),
        "desk.yaml",
        text.as_bytes(),
    );
    let screening = embedded_screener().screening(&read);
    let of = Screened::of(&screening, json::value(&screening), false);
    assert!(of.fires.is_empty() && !of.waits.is_empty());
    let folder = folder();
    let mut register = register(folder.path());
    let opened = Happening::Opened {
        from: String::new(),
    };
    kept(&mut register, new(1, "NU", "SM-106", opened));
    kept(&mut register, new(2, "NU", "SM-106", answered(&text)));
    let screened = Happening::Screened(Box::new(of));
    kept(&mut register, new(3, "NU", "SM-106", screened));
    let pile = register.pile().unwrap_or_default();
    let reasons: Vec<&str> = pile.iter().map(|it| it.first_reason.as_str()).collect();
    let [reason] = reasons[..] else {
        unreachable!("one referral: {reasons:?}")
    };
    assert!(
        reason.starts_with("name not recognised: \"warfrin\""),
        "{reason}"
    );
}

/// What the desk kept as a screening of real answers comes to the same when it is checked, by the same rules and clinic.
#[test]
fn a_decided_example_is_screened_again_by_the_same_rules() {
    let folder = folder();
    let mut register = register(folder.path());
    let path = register.path().display().to_string();
    let clinic = std::fs::read("examples/clinic.yaml").unwrap_or_default();
    let (rules, _) = embedded_once();
    let screener = Screener::new(rules, day("2026-11-30")).clinic("clinic.yaml", &clinic);
    let screener = screener.unwrap_or_else(|it| unreachable!("{it:?}"));
    let text = std::fs::read_to_string("examples/referrals/SM-103.yaml").unwrap_or_default();
    let screening = screener.screen("desk", text.as_bytes());
    let screening = screening.unwrap_or_else(|it| unreachable!("{it:?}"));
    let of = Screened::of(&screening, json::value(&screening), true);
    kept(
        &mut register,
        new(
            1,
            "NU",
            "SM-103",
            Happening::Opened {
                from: String::new(),
            },
        ),
    );
    kept(&mut register, new(2, "NU", "SM-103", answered(&text)));
    let read = kept(
        &mut register,
        new(3, "NU", "SM-103", Happening::Screened(Box::new(of))),
    );
    kept(
        &mut register,
        new(4, "CL", "SM-103", decided(read, Outcome::Refer)),
    );
    drop(register);
    let checked = typed(
        &[
            "register",
            "check",
            &path,
            "--clinic",
            "examples/clinic.yaml",
        ],
        "",
    );
    let text = said(&checked.stdout) + &said(&checked.stderr);
    assert!(
        checked.status.success()
            && text.contains("1 decided screenings came to the same again; 0 could not"),
        "{text}"
    );
    let elsewhere = said(&typed(&["register", "check", &path], "").stdout);
    assert!(
        elsewhere.contains("0 decided screenings came to the same again; 1 could not"),
        "{elsewhere}"
    );
}

/// What lapses is told of files, verdict and rules, each once; nothing while all holds.
#[test]
fn what_lapsed_since_a_screening_is_told() {
    let was = screened("a", Outcome::Go, None, false);
    assert_eq!(lapsed(&was, &was, "today"), [""; 0]);
    let another_day = Screened {
        day: day("2026-12-20"),
        program: "later".into(),
        ..was.clone()
    };
    assert_eq!(lapsed(&was, &another_day, "today"), [""; 0]);
    let rule = |id: &str| RuleTold {
        rule: id.into(),
        title: format!("The rule {id}"),
        outcome: Outcome::Defer,
        urgency: None,
    };
    let is = Screened {
        questionnaire: "another".into(),
        clinic: Some("another".into()),
        rule_set: "another".into(),
        local_policy: Some("another".into()),
        outcome: Outcome::Defer,
        fires: vec![rule("x")],
        waits: vec![rule("y")],
        ..was.clone()
    };
    assert_eq!(
        lapsed(&was, &is, "on the day"),
        [
            "Answers were changed.",
            "The clinic's file was changed.",
            "The rule set was changed.",
            "The local policy was changed.",
            "The verdict was GO, and is DEFER on the day.",
            "New since: The rule x.",
            "No longer so: A reason.",
            "Open again: The rule y.",
        ]
    );
}
