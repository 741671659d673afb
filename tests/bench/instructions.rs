//! What five paths cost in instructions, held against what was recorded: a machine with much else to do changes nothing of it.
//!
//! `cargo test --locked --test instructions` fails where one costs 5 % more than `instructions.txt` says, and
//! `PREBLOCK_BLESS=1` records anew. `cargo test` alone leaves it out. It counts what the profile for tests builds (`opt-level = 1`),
//! which is there already; a release takes minutes. So the counts tell a path from itself as it was, not from another.
//!
//! Needs valgrind. The program starts itself under callgrind once a path; everything before the path's own function, such as
//! reading the rule set, is not counted.
#![expect(
    clippy::panic,
    reason = "what cannot be set up or counted fails the gate"
)]

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

use chrono::NaiveDate;
use preblock::inner::batch::lines::Lines;
use preblock::inner::batch::{BatchScreener, Detail};
use preblock::inner::screening::screener::Referral;
use preblock::{RuleFiles, RuleSet, Screener};
use serde_json::Value;

/// How much more than recorded a path may cost: a twentieth.
const MOST_MORE: f64 = 1.05;

/// Each path's name and function.
const PATHS: [(&str, fn(&Setting) -> usize); 5] = [
    ("rule_set_loaded", counted::rule_set_loaded),
    ("questionnaires_read", counted::questionnaires_read),
    ("rules_evaluated", counted::rules_evaluated),
    ("screenings_explained", counted::screenings_explained),
    ("batch_lines_answered", counted::batch_lines_answered),
];

/// What every path starts from.
struct Setting<'a> {
    screener: Screener<'a>,
    files: Vec<(String, Vec<u8>)>,
    referrals: Vec<Referral>,
    lines: String,
}

/// What is counted, each under the name of its path. INVARIANT: none of them is inlined, or callgrind would not find it.
mod counted {
    use super::*;

    #[inline(never)]
    pub(super) fn rule_set_loaded(_: &Setting) -> usize {
        rules().judging.len()
    }

    #[inline(never)]
    pub(super) fn questionnaires_read(it: &Setting) -> usize {
        let read = it
            .files
            .iter()
            .filter_map(|(name, bytes)| it.screener.read(name, bytes).ok());
        read.map(|it| it.reference.len()).sum()
    }

    #[inline(never)]
    pub(super) fn rules_evaluated(it: &Setting) -> usize {
        let states = |it: &Setting| -> usize {
            let all = it
                .referrals
                .iter()
                .map(|one| it.screener.states(&one.facts));
            all.map(|states| states.iter().count()).sum()
        };
        (0..20).map(|_| states(black_box(it))).sum()
    }

    #[inline(never)]
    pub(super) fn screenings_explained(it: &Setting) -> usize {
        let all = it.referrals.iter().map(|one| it.screener.screening(one));
        all.map(|screening| screening.findings.len()).sum()
    }

    #[inline(never)]
    pub(super) fn batch_lines_answered(it: &Setting) -> usize {
        let batch = BatchScreener::new(&it.screener, Detail::Verdict);
        let mut out = Vec::new();
        batch.block(Lines::new(1, it.lines.as_bytes()), &mut out);
        out.len()
    }
}

fn rules() -> RuleSet {
    RuleSet::read(&RuleFiles::embedded(), None)
        .unwrap_or_else(|found| panic!("the embedded rule set loads: {found:?}"))
}

fn project() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A block of lines, each the example that is JSON, of another patient.
fn lines() -> String {
    let example = include_str!("../../examples/referrals/SM-121.json");
    let one: Value = serde_json::from_str(example).unwrap_or_else(|error| panic!("{error}"));
    let line = |at: usize| one.to_string().replace("SM-121", &format!("SM-{at}")) + "\n";
    (0..256).map(line).collect()
}

/// Runs one path, in a process that callgrind watches.
fn run(name: &str) {
    let rules = rules();
    let as_of = NaiveDate::from_ymd_opt(2026, 11, 25).unwrap_or_default();
    let screener = Screener::new(&rules, as_of).without_search();
    let folder = project().join("examples/referrals");
    let mut files: Vec<(String, Vec<u8>)> = std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .map(|it| it.path())
        .filter(|it| it.extension().is_some_and(|it| it == "yaml"))
        .map(|it| {
            (
                it.display().to_string(),
                std::fs::read(it).unwrap_or_default(),
            )
        })
        .collect();
    files.sort();
    let read = files.iter().map(|(name, bytes)| screener.read(name, bytes));
    let referrals: Vec<Referral> = read.filter_map(Result::ok).collect();
    assert!(referrals.len() > 20, "the examples are read");
    let setting = Setting {
        screener,
        files,
        referrals,
        lines: lines(),
    };
    match PATHS.iter().find(|(it, _)| *it == name) {
        Some((_, path)) => {
            black_box(path(&setting));
        }
        None => panic!("there is no path `{name}`"),
    }
}

/// How many instructions a path takes.
fn instructions(name: &str) -> f64 {
    let out = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("callgrind.{name}"));
    let this = std::env::current_exe().unwrap_or_default();
    let output = Command::new("valgrind")
        .arg("--tool=callgrind")
        // No pattern: each further function that it fits, such as a closure within, would end the counting.
        .arg(format!("--toggle-collect=instructions::counted::{name}"))
        .arg(format!("--callgrind-out-file={}", out.display()))
        .args([&this, Path::new(name)])
        .output()
        .unwrap_or_else(|error| panic!("valgrind is needed: {error}"));
    let counted = std::fs::read_to_string(&out).unwrap_or_default();
    let total = counted.lines().find_map(|it| it.strip_prefix("totals: "));
    match total.and_then(|it| it.trim().parse().ok()) {
        Some(total) if output.status.success() => total,
        _ => panic!("{name}: {}", String::from_utf8_lossy(&output.stderr)),
    }
}

fn record() -> PathBuf {
    project().join("tests/bench/instructions.txt")
}

/// What was recorded: a name and a count on each line but those that begin with `#`.
fn recorded() -> BTreeMap<String, f64> {
    let text = std::fs::read_to_string(record()).unwrap_or_default();
    let lines = text.lines().filter(|it| !it.starts_with('#'));
    let read = lines.filter_map(|it| {
        let (name, count) = it.split_once(' ')?;
        Some((name.to_owned(), count.trim().replace(',', "").parse().ok()?))
    });
    read.collect()
}

fn main() -> ExitCode {
    if let Some(name) = std::env::args().nth(1) {
        run(&name);
        return ExitCode::SUCCESS;
    }
    let counts = PATHS.map(|(name, _)| (name, instructions(name)));
    if std::env::var_os("PREBLOCK_BLESS").is_some() {
        let mut text = String::from("# Instructions of each path; see instructions.rs.\n");
        for (name, count) in counts {
            let _ = writeln!(text, "{name} {count}");
        }
        return match std::fs::write(record(), text) {
            Ok(()) => ExitCode::SUCCESS,
            Err(error) => panic!("{}: {error}", record().display()),
        };
    }
    let recorded = recorded();
    let mut ended = ExitCode::SUCCESS;
    for (name, count) in counts {
        let was = recorded.get(name).copied().unwrap_or_default();
        println!(
            "{name}: {count} instructions, {:+.1} % of what is recorded",
            (count / was - 1.0) * 100.0
        );
        if count > was * MOST_MORE {
            ended = ExitCode::FAILURE;
        }
    }
    if ended == ExitCode::FAILURE {
        println!(
            "More than a twentieth above tests/bench/instructions.txt. Where that is as it should be, or another compiler is why, \
             record it with PREBLOCK_BLESS=1 and say so in the commit."
        );
    }
    ended
}
