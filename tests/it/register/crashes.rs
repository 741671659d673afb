//! A register whose writer is killed, whose disk is full or fails: what was confirmed is there, what was refused is not.
//!
//! The writer is this very test program, run once more under `strace`, which ends it or lets a call of the system fail at a
//! chosen place. That nothing depends on what the system had not yet put onto the disk is shown by the order of the calls.
//! `PREBLOCK_KILLS=all` tries every call and not only some.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use preblock::inner::outcome::Outcome;
use preblock::inner::register::happening::Happening;
use preblock::inner::register::people::PersonRole;
use preblock::inner::register::{Register, RegisterError};

use super::{answered, folder, found, kept, new, person, register, screened};
use crate::support::{OWN_ENVIRONMENT, program};

/// Where the writer finds its register, if it is one.
const PLACE: &str = "PREBLOCK_TEST_REGISTER";
/// Set to `all`, every call is tried and the writer writes more.
const KILLS: &str = "PREBLOCK_KILLS";

/// How many referrals the writer opens, each with its answers and their screening at once.
fn n_referrals() -> i64 {
    if std::env::var_os(KILLS).is_some() {
        40
    } else {
        6
    }
}

/// The writer. It notes each answer of the register in a file beside it before it goes on.
#[test]
fn the_writer_of_these_tests() {
    let own = folder();
    let given = std::env::var_os(PLACE).map(PathBuf::from);
    let path = given
        .clone()
        .unwrap_or_else(|| register(own.path()).path().to_owned());
    let file = std::fs::OpenOptions::new()
        .create(true)
        .append(true)
        .open(notes(&path));
    let mut notes = file.unwrap_or_else(|it| unreachable!("{it}"));
    let mut register = match Register::open(&path, "the writer") {
        Ok(register) => register,
        Err(why) => {
            let said = writeln!(notes, "unopened {}: {why} {}", why.code.name(), why.help);
            assert!(said.is_ok() && given.is_some(), "{why}");
            return;
        }
    };
    let before = register.head().map_or(0, |it| it.seq);
    for n in 1..=n_referrals() {
        let reference = format!("SM-{}", before + n);
        let goes = screened("one", Outcome::Go, None, false);
        let together = [
            Happening::Opened {
                from: "x".repeat(2_000),
            },
            answered("one"),
            Happening::Screened(Box::new(goes)),
        ];
        let together = together.map(|it| new(n, "NU", &reference, it));
        let said = match register.append_all(together.into()) {
            Ok(entry) => format!("confirmed {}\n", entry.seq),
            Err(RegisterError::WrittenDespite(entry, _)) => format!("confirmed {}\n", entry.seq),
            Err(RegisterError::NotWritten(_)) => format!("refused {reference}\n"),
            Err(RegisterError::Unknown(_)) => "unknown\n".into(),
            Err(it) => format!("{}\n", it.diagnostic()),
        };
        assert!(notes.write_all(said.as_bytes()).is_ok());
    }
    assert!(given.is_some() || last(&path) == before + 3 * n_referrals());
}

fn notes(path: &Path) -> PathBuf {
    path.with_extension("notes")
}

fn last(path: &Path) -> i64 {
    let head = Register::open_to_read(path).and_then(|it| it.head());
    head.unwrap_or_else(|it| unreachable!("{it}")).seq
}

/// One that makes a register.
#[test]
fn the_maker_of_these_tests() {
    let own = folder();
    let given = std::env::var_os(PLACE).map(PathBuf::from);
    let path = given.unwrap_or_else(|| own.path().join("desk.sqlite3"));
    let made = Register::create(&path, "the maker");
    assert_eq!(made.map(|_| last(&path)).ok(), Some(0));
}

/// Runs the writer under `strace` with these arguments.
fn traced(path: &Path, arguments: &[String]) -> Output {
    traced_test("the_writer_of_these_tests", path, arguments)
}

fn traced_test(test: &str, path: &Path, arguments: &[String]) -> Output {
    let own = std::env::current_exe().unwrap_or_else(|it| unreachable!("{it}"));
    Command::new("strace")
        .args(["-f", "-qq", "-y", "-o"])
        .arg(path.with_extension("trace"))
        .args(arguments)
        .arg(own)
        .arg("--exact")
        .arg(format!("register::crashes::{test}"))
        .env(PLACE, path)
        .output()
        .unwrap_or_else(|it| unreachable!("these tests need the program `strace`: {it}"))
}

/// How often a writer that nobody disturbs makes this call.
fn calls(call: &str) -> usize {
    let folder = folder();
    let path = fresh(folder.path());
    let done = traced(&path, &["-e".into(), format!("trace={call}")]);
    calls_of(done, &path, call)
}

fn calls_of(done: Output, path: &Path, call: &str) -> usize {
    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stdout)
    );
    let trace = std::fs::read_to_string(path.with_extension("trace")).unwrap_or_default();
    trace
        .lines()
        .filter(|it| it.contains(&format!("{call}(")))
        .count()
}

/// A register with two people, closed.
fn fresh(folder: &Path) -> PathBuf {
    register(folder).path().to_owned()
}

/// What was confirmed is there, what was refused is not, nothing is broken, no entry stands without those that were written with
/// it, and it can be written again.
fn nothing_is_lost(path: &Path, when: &str) -> usize {
    let said = std::fs::read_to_string(notes(path)).unwrap_or_default();
    let register = Register::open_to_read(path).unwrap_or_else(|it| unreachable!("{when}: {it}"));
    let entries = register
        .all_entries()
        .unwrap_or_else(|it| unreachable!("{when}: {it}"));
    let (mut n_confirmed, mut n_unknown) = (0, 0);
    for line in said.lines() {
        match line.split_once(' ') {
            Some(("confirmed", seq)) => {
                let seq: i64 = seq.parse().unwrap_or_default();
                assert!(
                    entries.iter().any(|it| it.seq == seq),
                    "{when}: entry {seq} was confirmed"
                );
                n_confirmed += 1;
            }
            Some(("refused", reference)) => {
                let is_there = |of: &Option<String>| of.as_deref() == Some(reference);
                assert!(
                    !entries.iter().any(|it| is_there(&it.referral)),
                    "{when}: {reference} was refused"
                );
            }
            Some(("unopened", why)) => {
                assert!(why.starts_with("register/not-written"), "{when}: {why}")
            }
            None if line == "unknown" => n_unknown += 1,
            _ => unreachable!("{when}: {line}"),
        }
    }
    let mut together: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for entry in &entries {
        if let Some(reference) = &entry.referral {
            together.entry(reference).or_default().push(&entry.kind);
        }
    }
    for (reference, kinds) in &together {
        assert_eq!(
            kinds[..],
            ["opened", "answered", "screened"],
            "{when}: {reference}"
        );
    }
    // One that was on its way may be there, and those of which nobody knows, and no more.
    let n_there = together.len();
    assert!(
        (n_confirmed..=n_confirmed + n_unknown + 1).contains(&n_there),
        "{when}: {n_there} of {n_confirmed}"
    );
    drop(register);
    assert_eq!(found(path, None), [], "{when}");
    let mut register =
        Register::open(path, "after it").unwrap_or_else(|it| unreachable!("{when}: {it}"));
    kept(
        &mut register,
        new(
            90,
            "NU",
            "SM-after",
            Happening::Opened {
                from: String::new(),
            },
        ),
    );
    kept(&mut register, new(91, "NU", "SM-after", answered("one")));
    n_confirmed
}

/// Which of so many calls are tried.
fn tried(n_calls: usize, every: usize) -> impl Iterator<Item = usize> {
    let every = if std::env::var_os(KILLS).is_some() {
        1
    } else {
        every
    };
    (1..=n_calls).step_by(every)
}

#[test]
fn a_writer_that_is_killed_loses_nothing_that_was_confirmed() {
    let (mut n_kills, mut n_confirmed) = (0, 0);
    for (call, every) in [
        ("pwrite64", 11),
        ("fsync", 3),
        ("write", 3),
        ("ftruncate", 1),
        ("unlink", 1),
    ] {
        for at in tried(calls(call), every) {
            let folder = folder();
            let path = fresh(folder.path());
            let inject = format!("inject={call}:signal=KILL:when={at}");
            let done = traced(
                &path,
                &[
                    "-e".into(),
                    format!("trace={call}"),
                    "-e".into(),
                    inject.clone(),
                ],
            );
            n_kills += usize::from(!done.status.success());
            n_confirmed += nothing_is_lost(&path, &inject);
        }
    }
    println!("{n_kills} kills, {n_confirmed} referrals confirmed before them");
    assert!(
        n_kills >= 25 && n_confirmed > n_kills,
        "{n_kills} kills, {n_confirmed} referrals"
    );
}

#[test]
fn a_full_disk_or_a_failing_one_is_told_as_it_is() {
    let (mut n_failures, mut n_confirmed) = (0, 0);
    for (call, error, every) in [
        ("pwrite64", "ENOSPC", 9),
        ("pwrite64", "EIO", 17),
        ("fsync", "EIO", 3),
    ] {
        for at in tried(calls(call), every) {
            for lasting in ["", "+"] {
                let folder = folder();
                let path = fresh(folder.path());
                let inject = format!("inject={call}:error={error}:when={at}{lasting}");
                let done = traced(
                    &path,
                    &[
                        "-e".into(),
                        format!("trace={call}"),
                        "-e".into(),
                        inject.clone(),
                    ],
                );
                assert!(
                    done.status.success(),
                    "{inject}: {}",
                    String::from_utf8_lossy(&done.stdout)
                );
                let said = std::fs::read_to_string(notes(&path)).unwrap_or_default();
                let is_whole = said.lines().count() as i64 == n_referrals();
                assert!(is_whole || said.starts_with("unopened"), "{inject}: {said}");
                n_failures += usize::from(said.contains("refused") || said.contains("unopened"));
                n_confirmed += nothing_is_lost(&path, &inject);
            }
        }
    }
    println!("{n_failures} of the runs had refusals, {n_confirmed} referrals were confirmed");
    assert!(
        n_failures >= 10 && n_confirmed > 20,
        "{n_failures} failures, {n_confirmed} referrals"
    );
}

/// Before anything is confirmed the log of the register is on the disk: power may fail at any moment.
#[test]
fn nothing_is_confirmed_before_the_disk_has_it() {
    let folder = folder();
    let path = fresh(folder.path());
    let done = traced(
        &path,
        &["-e".into(), "trace=pwrite64,fdatasync,fsync,write".into()],
    );
    assert!(done.status.success());
    let trace = std::fs::read_to_string(path.with_extension("trace")).unwrap_or_default();
    let (mut is_on_disk, mut wrote, mut n_confirmed) = (false, false, 0);
    for line in trace.lines() {
        if line.contains("pwrite64(") && line.contains("-wal>") {
            (wrote, is_on_disk) = (true, false);
        } else if line.contains("sync(") && line.contains("-wal>") {
            is_on_disk = true;
        } else if line.contains("write(") && line.contains(".notes>") {
            assert!(wrote && is_on_disk, "confirmed before: {line}");
            (wrote, n_confirmed) = (false, n_confirmed + 1);
        }
    }
    assert_eq!(n_confirmed, n_referrals());
}

/// A folder into which nothing can be written, which root alone could not show.
#[test]
fn a_read_only_folder_is_told() {
    let folder = folder();
    let path = fresh(folder.path());
    let writer = format!("{}-writer", path.display());
    let arguments = [
        "-P",
        &writer,
        "-e",
        "trace=openat",
        "-e",
        "inject=openat:error=EROFS",
    ];
    let done = traced(&path, &arguments.map(str::to_owned));
    let said = std::fs::read_to_string(notes(&path)).unwrap_or_default();
    assert!(done.status.success());
    assert!(
        said.starts_with("unopened register/not-written")
            && said.contains("cannot be written: Read-only file system"),
        "{said}"
    );
}

/// Whoever makes a register and is stopped leaves none, or a whole one.
#[test]
fn a_register_whose_making_is_killed_is_whole_or_not_there() {
    const MAKER: &str = "the_maker_of_these_tests";
    let (mut n_whole, mut n_none) = (0, 0);
    for (call, every) in [
        ("pwrite64", 5),
        ("fdatasync", 1),
        ("fsync", 1),
        ("linkat", 1),
        ("unlink", 1),
        ("close", 3),
    ] {
        let undisturbed = folder();
        let path = undisturbed.path().join("desk.sqlite3");
        let done = traced_test(MAKER, &path, &["-e".into(), format!("trace={call}")]);
        for at in tried(calls_of(done, &path, call), every) {
            let folder = folder();
            let path = folder.path().join("desk.sqlite3");
            let inject = format!("inject={call}:signal=KILL:when={at}");
            let arguments = ["-e".into(), format!("trace={call}"), "-e".into(), inject];
            let done = traced_test(MAKER, &path, &arguments);
            if done.status.success() {
                continue;
            }
            let again = if path.exists() {
                n_whole += 1;
                Register::open(&path, "after it")
            } else {
                n_none += 1;
                Register::create(&path, "after it")
            };
            let opened = again.unwrap_or_else(|it| unreachable!("{call} {at}: {it}"));
            drop(opened);
            assert_eq!(found(&path, None), [], "{call} {at}");
        }
    }
    println!("killed while making: {n_whole} whole, {n_none} not there");
    assert!(
        n_whole >= 5 && n_none >= 5,
        "{n_whole} whole, {n_none} not there"
    );
}

/// Runs `register` as where nothing beside the register can be opened or made, and returns its status and all it says.
fn on_read_only_media(path: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    let program = program();
    let mut strace = Command::new("strace");
    strace
        .args(["-f", "-qq", "-o"])
        .arg(path.with_extension("trace"));
    for ending in ["-wal", "-shm", "-journal", "-writer"] {
        strace.arg("-P").arg(format!("{}{ending}", path.display()));
    }
    strace
        .args(["-e", "trace=openat", "-e", "inject=openat:error=EROFS"])
        .arg(program.get_program())
        .arg("register")
        .args(arguments);
    for name in OWN_ENVIRONMENT {
        strace.env_remove(name);
    }
    let done = strace.output().unwrap_or_else(|it| unreachable!("{it}"));
    let said = [done.stdout, done.stderr].map(|it| String::from_utf8_lossy(&it).into_owned());
    let words = said.concat().replace('│', " ");
    let words: Vec<&str> = words.split_whitespace().collect();
    (done.status.code(), words.join(" "))
}

#[test]
fn a_register_on_read_only_media_is_read_as_it_lies() {
    let folder = folder();
    // What stands for something in an address is part of a name here.
    let path = folder.path().join("a 100% sure? desk#1.sqlite3");
    let mut register = Register::create(&path, "a test").unwrap_or_else(|it| unreachable!("{it}"));
    kept(&mut register, person(0, "NU", PersonRole::Nurse, "none"));
    let place = path.display().to_string();
    let head = register.head().map(|it| it.to_string()).unwrap_or_default();
    // Somebody has it open, or was stopped: what happened last stands in the log.
    let (status, said) = on_read_only_media(&path, &["head", &place]);
    assert_eq!(status, Some(2), "{said}");
    assert!(
        said.contains("has a log beside it") && said.contains("What happened last stands in"),
        "{said}"
    );
    assert!(!said.contains(&head), "{said}");
    drop(register);
    let as_it_lies = "it was read as it lies there";
    for (arguments, says) in [
        (vec!["head", &place], head.as_str()),
        (vec!["check", &place], "1 entries, head"),
        (vec!["figures", &place], "screened"),
        (vec!["export", &place], "\"person-set\""),
        (vec!["person", "list", &place], "NU nurse"),
    ] {
        let (status, said) = on_read_only_media(&path, &arguments);
        assert_eq!(status, Some(0), "{arguments:?}: {said}");
        assert!(
            said.contains(says) && said.contains(as_it_lies),
            "{arguments:?}: {said}"
        );
    }
    let copy = folder.path().join("copy.sqlite3").display().to_string();
    let (status, said) = on_read_only_media(&path, &["restore", &place, &copy]);
    assert!(status == Some(0) && said.contains(as_it_lies), "{said}");
    // It is told to nobody who can write there.
    let read = Register::open_to_read(&path).map(|it| it.is_as_it_lies());
    assert_eq!(read.ok(), Some(false));
    let (status, said) = on_read_only_media(&path, &["check", "--rebuild", &place]);
    assert!(
        status == Some(2) && said.contains("cannot be written: Read-only file system"),
        "{said}"
    );
}
