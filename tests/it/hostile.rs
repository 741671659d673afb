//! Files made to hold up the program, to fill the screen, or to steer it: long ones, wide ones, and escape sequences.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::{Duration, Instant};

use preblock::Screener;
use preblock::inner::cli::draw::rendered;
use preblock::inner::document::diagnostic::Diagnostic;
use preblock::inner::document::source::steers;
use preblock::inner::questionnaire::facts;
use rstest::rstest;
use tempfile::TempDir;

use crate::support::{embedded_once, embedded_screener, facts_over, files, said, text_of};

// --- Time ------------------------------------------------------------------------------------------------------

/// A questionnaire whose list of medicines holds one of so many words.
fn one_medicine(n: usize, word: &str) -> String {
    format!(
        "questionnaire: 1\nreference: T-1\nanswers:\n  medicines: {{ current: [\"{}\"] }}\n",
        format!("{word} ").repeat(n)
    )
}

/// So many keys in one mapping, all unknown and each unlike the others.
fn keys(n: usize) -> String {
    let keys: String = (0..n).map(|it| format!("    k{it}: 1\n")).collect();
    format!("questionnaire: 1\nreference: T-1\nanswers:\n  person:\n{keys}")
}

/// The same key again and again.
fn one_key(n: usize) -> String {
    format!(
        "questionnaire: 1\nreference: T-1\nanswers:\n  person:\n{}",
        "    sex: male\n".repeat(n)
    )
}

/// So many anchors on one line.
fn anchors(n: usize) -> String {
    let list: Vec<String> = (0..n).map(|it| format!("&a{it} x")).collect();
    format!(
        "questionnaire: 1\nreference: T-1\nanswers: [{}]\n",
        list.join(", ")
    )
}

/// So many options that are none, on one line.
fn options(n: usize) -> String {
    format!(
        "questionnaire: 1\nreference: T-1\nanswers:\n  circulation: {{ symptoms: [{}] }}\n",
        vec!["colld"; n].join(", ")
    )
}

/// Everything that is wrong with a text, as `screen` finds it.
fn found(screener: &Screener<'_>, text: &str) -> Vec<Diagnostic> {
    screener
        .read("t.yaml", text.as_bytes())
        .err()
        .map(|refusal| refusal.problems)
        .unwrap_or_default()
}

fn least_time(screener: &Screener<'_>, text: &str) -> Duration {
    let once = || {
        let start = Instant::now();
        let found = found(screener, text);
        let drawn: usize = found
            .iter()
            .take(20)
            .map(|it| rendered(it, 80, false).len())
            .sum();
        assert!(drawn < 200_000, "20 diagnostics fill {drawn} bytes");
        start.elapsed()
    };
    (0..3).map(|_| once()).min().unwrap_or_default()
}

// Found by attack: a medicine of 40,000 words took 21 s, 40,000 keys 23 s. What takes time by the square of the size takes
// sixteen times as long for four times as much.
#[rstest]
#[case::doses(|n| one_medicine(n, "a"))]
#[case::words(|n| one_medicine(n, "xylo"))]
#[case::names(|n| one_medicine(n, "warfarin"))]
#[case::keys(keys)]
#[case::one_key(one_key)]
#[case::anchors(anchors)]
#[case::options(options)]
fn reading_takes_time_by_the_size_of_the_file(#[case] text: fn(usize) -> String) {
    let screener = embedded_screener();
    let (small, large) = (
        least_time(&screener, &text(10_000)),
        least_time(&screener, &text(40_000)),
    );
    assert!(
        large < small * 10 + Duration::from_millis(100),
        "{small:?} for 10,000, {large:?} for 40,000"
    );
}

/// What was written is kept, however long: it is a name that nobody knows.
#[test]
fn a_long_medicine_is_one_name() {
    let (rules, _) = embedded_once();
    let facts = facts_over(rules, None, &one_medicine(40_000, "warfarin"));
    assert_eq!(facts::answers::strangers(&facts).len(), 1);
}

#[rstest]
#[case(500, 0)]
#[case(501, 1)]
fn a_mapping_has_so_many_keys_at_most(#[case] n: usize, #[case] too_many: usize) {
    let found = found(&embedded_screener(), &keys(n));
    assert_eq!(
        found
            .iter()
            .filter(|it| it.code.name() == "text/too-many-keys")
            .count(),
        too_many
    );
}

// --- Long lines ------------------------------------------------------------------------------------------------

/// The lines of the file in a drawn message: what stands behind their numbers, and the whole message.
fn shown(found: &Diagnostic) -> (Vec<String>, String) {
    let drawn = rendered(found, 80, false);
    let lines = drawn
        .lines()
        .filter_map(|it| it.split_once(" │ "))
        .map(|(_, line)| line.to_owned())
        .collect();
    (lines, drawn)
}

#[rstest]
#[case::at_the_start("", "x", &"-y".repeat(300))]
#[case::in_the_middle(&"é, ".repeat(300), "x", &", é".repeat(300))]
#[case::at_the_end(&"é, ".repeat(300), "x", "")]
#[case::just_before_the_cut(&"é, ".repeat(20), "x", &", é".repeat(300))]
fn a_long_line_is_cut_around_the_place(
    #[case] before: &str,
    #[case] word: &str,
    #[case] after: &str,
) {
    let text = format!(
        "questionnaire: 1\nreference: T-1\nanswers:\n  circulation: {{ symptoms: [{before}&a {word}{after}] }}\n"
    );
    let column = text
        .lines()
        .nth(3)
        .and_then(|it| it.split_once('&'))
        .map_or(0, |(it, _)| it.chars().count() + 1);
    let found = found(&embedded_screener(), &text);
    let Some(anchor) = found.iter().find(|it| it.code.name() == "text/alias") else {
        unreachable!("no anchor is told")
    };
    let (lines, drawn) = shown(anchor);
    let line = lines
        .iter()
        .find(|it| it.contains("&a"))
        .cloned()
        .unwrap_or_default();
    assert!(
        line.chars().count() <= 200 && line.contains("..."),
        "{drawn}"
    );
    assert!(
        drawn.contains(&format!("t.yaml:4:{column}]")),
        "column {column}:\n{drawn}"
    );
    // The mark stands under the place.
    let mark = drawn
        .lines()
        .find(|it| it.contains('┬'))
        .and_then(|it| it.split_once('┬'))
        .map_or(0, |(it, _)| it.chars().count());
    let place = drawn
        .lines()
        .find_map(|it| it.split_once("&a"))
        .map_or(0, |(it, _)| it.chars().count());
    assert!((place..=place + 2).contains(&mark), "{drawn}");
}

/// Both places of a key written twice are shown, though one of them lies far outside what is kept of the line.
#[test]
fn two_places_of_one_long_line() {
    let filler: String = (0..400).map(|it| format!("k{it}: 1, ")).collect();
    let text = format!(
        "questionnaire: 1\nreference: T-1\nanswers: {{ person: {{ sex: male, {filler} sex: female }} }}\n"
    );
    let found = found(&embedded_screener(), &text);
    let Some(twice) = found
        .iter()
        .find(|it| it.code.name() == "text/duplicate-key")
    else {
        unreachable!("it is not told")
    };
    let (lines, drawn) = shown(twice);
    assert!(lines.iter().all(|it| it.chars().count() <= 200), "{drawn}");
    assert!(
        drawn.contains("second time") && drawn.contains("first time"),
        "{drawn}"
    );
}

#[test]
fn titles_and_helps_have_an_end() {
    let long = "x".repeat(50_000);
    let key = "x".repeat(1_000);
    let text = format!(
        "questionnaire: 1\nreference: T-1\nanswers:\n  {key}: 1\n  bleeding:\n    {key}: 1\n    inr: {long}\n  person: {{ weight: 7{long} }}\n"
    );
    let found = found(&embedded_screener(), &text);
    assert!(found.len() >= 3, "{found:?}");
    for it in &found {
        let drawn = rendered(it, 80, false);
        assert!(drawn.len() < 4_000, "{} bytes: {}", drawn.len(), it.title);
    }
}

// --- Steering --------------------------------------------------------------------------------------------------

/// Clears the screen, hides letters, turns the direction of writing: raw, as a file name may hold it.
const RAW: &str = "a\u{1b}[2J\u{1b}[8mb\u{202e}c\u{9b}d";
/// The same in a text of YAML between double quotes.
const ESCAPED: &str = "a\\e[2J\\e[8mb\\u202ec\\x9bd";

/// A rule set all of whose texts try to steer, in a folder whose name does.
struct Trap {
    folder: TempDir,
}

impl Trap {
    fn new() -> Self {
        let trap = Self {
            folder: tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}")),
        };
        let rules = files(&[
            ("one", "defer", "{ fact: a.smokes, is: yes }"),
            ("two", "go", "{ fact: a.drinks, is: yes }"),
        ]);
        for path in rules.paths() {
            let text = text_of(&rules, path);
            let words = [
                "A rule set for tests",
                "nobody",
                "title: Test",
                "A book",
                "Somebody",
                "A ceiling",
                "Thins the blood",
            ];
            let words = words.iter().chain(&[
                "title: Plan",
                "Smokes?",
                "Which signs?",
                "text: Pain",
                "So it is.",
                "Do it.",
                "something",
            ]);
            let words = words.chain(&[
                "The rule one",
                "The rule two",
                "about: Ideal weight",
                "text: Severe",
            ]);
            let text = words.fold(text, |text, word| {
                let (key, value) = word
                    .split_once(": ")
                    .map_or(("", *word), |(key, value)| (key, value));
                let colon = if key.is_empty() { "" } else { ": " };
                text.replace(word, &format!("{key}{colon}\"{value} {ESCAPED}\""))
            });
            trap.write(&trap.rules().join(path), &text);
        }
        let answers = "  plan: { procedure_on: 2026-12-03, adrenaline: no, anaesthetic: [{ agent: lidocaine, strength: 2 %, volume: 3 mL }] }\n  \
                       a: { smokes: yes, drinks: yes, signs: [pain], taken: [\"ESC\"], words: \"ESC\", note: \"ESC\" }\n";
        let patient = format!(
            "questionnaire: 1\nreference: T-1\nanswers:\n{}",
            answers.replace("ESC", ESCAPED)
        );
        trap.write(&trap.patient(), &patient);
        let slips: String = (0..40)
            .map(|it| format!("    \"k{it} {ESCAPED}\": 1\n"))
            .collect();
        trap.write(
            &trap.slips(),
            &format!("questionnaire: 1\nreference: T-2\nanswers:\n  a:\n{slips}"),
        );
        trap
    }

    fn write(&self, path: &Path, text: &str) {
        let parent = path.parent().unwrap_or(self.folder.path());
        assert!(
            std::fs::create_dir_all(parent)
                .and_then(|()| std::fs::write(path, text))
                .is_ok(),
            "{}",
            path.display()
        );
    }

    fn rules(&self) -> PathBuf {
        self.folder.path().join(format!("rules {RAW}"))
    }

    fn patient(&self) -> PathBuf {
        self.folder
            .path()
            .join(format!("patients {RAW}"))
            .join(format!("one {RAW}.yaml"))
    }

    fn slips(&self) -> PathBuf {
        self.patient().with_file_name(format!("slips {RAW}.yaml"))
    }

    /// Runs the program as on a terminal with colours.
    fn run(&self, line: &str) -> Output {
        let path = |it: PathBuf| it.display().to_string();
        let (rules, patient, slips) =
            (path(self.rules()), path(self.patient()), path(self.slips()));
        let words = line.split(' ').map(|it| match it {
            "RULES" => rules.clone(),
            "PATIENT" => patient.clone(),
            "SLIPS" => slips.clone(),
            it => it.replace("RAW", RAW),
        });
        let mut command = crate::support::program();
        command
            .args(words)
            .current_dir(self.folder.path())
            .env("CLICOLOR_FORCE", "1")
            .env_remove("NO_COLOR")
            .env("LC_ALL", "C.UTF-8");
        command
            .output()
            .unwrap_or_else(|error| unreachable!("{line}: {error}"))
    }
}

/// The first character that steers, our own colours and line ends apart.
fn steering(text: &str) -> Option<char> {
    let plain = anstream_colours(text).replace("\r\n", "\n");
    plain.chars().find(|it| *it != '\n' && steers(*it))
}

/// The text without the sequences that choose a colour or a weight; hiding letters is neither.
fn anstream_colours(text: &str) -> String {
    let mut parts = text.split("\u{1b}[");
    let mut plain = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        match part.split_once('m') {
            Some((numbers, rest))
                if numbers != "8"
                    && numbers.bytes().all(|it| it.is_ascii_digit() || it == b';') =>
            {
                plain.push_str(rest)
            }
            _ => plain.push_str(&format!("\u{1b}[{part}")),
        }
    }
    plain
}

// Found by attack: names of files and folders, owners and questions reached the terminal raw.
#[test]
#[cfg(unix)]
fn nothing_that_is_printed_steers_the_terminal() {
    let trap = Trap::new();
    let lines = [
        "screen PATIENT --rules RULES --as-of 2026-11-25",
        "screen PATIENT SLIPS --rules RULES --as-of 2026-11-25 --alternatives --dates 3",
        "screen PATIENT --rules RULES --as-of 2026-11-25 --full",
        "screen PATIENT SLIPS --rules RULES --as-of 2026-11-25 --format list",
        "screen PATIENT SLIPS --rules RULES --as-of 2026-11-25 --format html",
        "screen PATIENT --rules RULES --as-of 2026-11-25 --format markdown",
        "screen PATIENT PATIENT --rules RULES --as-of 2026-11-25 --format markdown",
        "screen PATIENT --rules RULES --as-of 2026-11-25 --format chase",
        "screen PATIENT --rules RULES --as-of 2026-11-25 --format json",
        "screen PATIENT PATIENT --rules RULES --as-of 2026-11-25 --format ndjson",
        "screen PATIENT --rules PATIENT",
        "screen RAW --rules RULES",
        "screen PATIENT --rules RULES --clinic PATIENT",
        "screen PATIENT --rules RULES --local PATIENT",
        "screen PATIENT --RAW",
        "screen --as-of RAW PATIENT",
        "blank --rules RULES",
        "blank --rules RULES --clinic",
        "dose --rules RULES --weight RAW --age 40 --agent RAW",
        "rules check --rules RULES",
        "rules check --rules RULES --format sarif",
        "rules check --rules RULES --local SLIPS",
        "rules test --rules RULES --coverage",
        "rules test --rules RULES --format junit",
        "rules show --rules RULES",
        "rules show test/one --rules RULES",
        "rules show RAW --rules RULES",
        "rules book --rules RULES",
        "rules book --rules RULES --format html",
        "rules due --rules RULES --as-of 2028-01-01",
        "rules due --rules RULES --as-of 2026-11-25 --format calendar",
        "rules prove --rules RULES",
        "rules prove --rules RULES --format json",
        "rules compare embedded RULES --as-of 2026-11-25",
        "rules compare RULES RULES PATIENT SLIPS --as-of 2026-11-25",
        "rules compare RULES RULES PATIENT --as-of 2026-11-25 --format markdown",
        "rules compare embedded RULES PATIENT --as-of 2026-11-25 --format paper",
        "rules compare RULES embedded --as-of 2026-11-25 --format paper-markdown",
        "rules compare RULES RULES PATIENT --as-of 2026-11-25 --format json",
        "rules new test/three --rules RULES --fact a.smokes",
        "rules new RAW --rules RULES --fact RAW",
        "explain RAW",
        "schema questionnaire --rules RULES",
        "schema RAW",
    ];
    let mut silent = Vec::new();
    for line in lines {
        let output = trap.run(line);
        for (stream, bytes) in [("output", &output.stdout), ("error", &output.stderr)] {
            let text = said(bytes);
            assert_eq!(
                steering(&text),
                None,
                "standard {stream} of `{line}`:\n{text:?}"
            );
        }
        let (out, err) = (said(&output.stdout), said(&output.stderr));
        if out.is_empty() && err.is_empty() {
            silent.push(line);
        }
        let values: Vec<&str> = match () {
            () if line.contains("ndjson") => out.lines().collect(),
            () if line.contains("json") && !out.is_empty() => vec![&out],
            () => Vec::new(),
        };
        for value in values {
            assert!(
                serde_json::from_str::<serde_json::Value>(value).is_ok(),
                "`{line}` gives no JSON:\n{value}"
            );
        }
    }
    assert_eq!(silent, Vec::<&str>::new(), "nothing was said");
    // The rule set is used, and its words are there.
    let screened = said(
        &trap
            .run("screen PATIENT --rules RULES --as-of 2026-11-25 --full")
            .stdout,
    );
    assert!(
        screened.contains("So it is. a\u{fffd}[2J") && screened.contains("Test a\u{fffd}[2J"),
        "{screened}"
    );
    let due = said(
        &trap
            .run("rules due --rules RULES --as-of 2028-01-01")
            .stdout,
    );
    assert!(due.contains("nobody a\u{fffd}[2J"), "{due}");
}

/// What steers is not lost from JSON: it is written in letters.
#[test]
#[cfg(unix)]
fn json_keeps_what_it_disarms() {
    let trap = Trap::new();
    let output = trap.run("screen PATIENT --rules RULES --as-of 2026-11-25 --format json");
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap_or_default();
    assert!(
        value
            .to_string()
            .contains(RAW.trim_start_matches("a\u{1b}[2J\u{1b}[8m")),
        "{value}"
    );
}

/// A terminal that knows no more than ASCII is drawn for in ASCII.
#[rstest]
#[case(&[("LC_ALL", "C")], true)]
#[case(&[("LC_ALL", ""), ("LC_CTYPE", "POSIX"), ("LANG", "en_GB.UTF-8")], true)]
#[case(&[("LC_ALL", ""), ("LC_CTYPE", ""), ("LANG", "en_GB.UTF-8")], false)]
#[case(&[("LC_ALL", "C.utf8"), ("LANG", "C")], false)]
#[cfg(unix)]
fn boxes_are_drawn_as_the_locale_allows(#[case] variables: &[(&str, &str)], #[case] ascii: bool) {
    let mut command = crate::support::program();
    command
        .args(["screen", "examples/refused/SM-201.yaml"])
        .current_dir(env!("CARGO_MANIFEST_DIR"));
    let output = command
        .envs(variables.iter().copied())
        .output()
        .unwrap_or_else(|error| unreachable!("{error}"));
    let said = said(&output.stderr);
    assert!(said.contains("answers/needs-unit"), "{said}");
    assert_eq!(said.is_ascii(), ascii, "{said}");
}

// --- Replacing -------------------------------------------------------------------------------------------------

/// `--force` replaces an ordinary file: never a link, a folder or a way into another program.
#[test]
#[cfg(unix)]
fn force_replaces_ordinary_files_only() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    let at = |name: &str| folder.path().join(name);
    let trap = Trap::new();
    let book = |path: &Path| {
        trap.run(&format!(
            "rules book --rules RULES --force --out {}",
            path.display()
        ))
    };
    assert!(std::fs::write(at("file"), "before").is_ok());
    assert!(std::os::unix::fs::symlink(at("file"), at("link")).is_ok());
    assert!(std::os::unix::fs::symlink(at("nowhere"), at("dangling")).is_ok());
    assert!(
        Command::new("mkfifo")
            .arg(at("pipe"))
            .status()
            .is_ok_and(|it| it.success())
    );
    for name in ["link", "dangling", "pipe"] {
        let output = book(&at(name));
        assert_eq!(output.status.code(), Some(2), "{name}");
        assert!(
            said(&output.stderr).contains("only an ordinary file is replaced"),
            "{name}: {}",
            said(&output.stderr)
        );
    }
    assert_eq!(
        std::fs::read_to_string(at("file")).unwrap_or_default(),
        "before"
    );
    assert!(at("link").is_symlink() && at("dangling").is_symlink());
    assert_eq!(book(&at("file")).status.code(), Some(0));
    assert_ne!(
        std::fs::read_to_string(at("file")).unwrap_or_default(),
        "before"
    );
}
