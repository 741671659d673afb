//! The interview in a terminal, line by line, and with lists to choose from.

#![expect(
    clippy::panic,
    reason = "what cannot be read or started fails the test that needs it"
)]

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use preblock::Screener;
use preblock::inner::cli::ask::dialogue::{Dialogue, End};
use preblock::inner::questionnaire::edit::started;

use proptest::prelude::*;

use crate::support::{SEED, codes, embedded_once, facts_or, said, today};

/// What is said to each line, and the questionnaire afterwards.
fn talk(text: &str, lines: &[&str]) -> (String, String, Option<End>) {
    let rules = &embedded_once().0;
    let screener = Screener::new(rules, today());
    let mut dialogue = Dialogue::new(&screener, "t.yaml", text.to_owned(), true)
        .unwrap_or_else(|it| panic!("{:?}", codes(&it.problems)));
    let mut heard = String::new();
    for line in lines {
        let prompt = dialogue.prompt();
        let taken = dialogue.take(line);
        for it in prompt
            .lines
            .iter()
            .chain([&format!("> {line}")])
            .chain(&taken.lines)
        {
            heard.push_str(it);
            heard.push('\n');
        }
    }
    (heard, dialogue.text().to_owned(), dialogue.end())
}

fn new() -> String {
    started(&embedded_once().0, "SM-301", today()).unwrap_or_else(|it| panic!("{:?}", codes(&it)))
}

#[test]
fn answers_are_understood_and_slips_are_told_at_once() {
    let (heard, text, end) = talk(
        &new(),
        &[
            "1960-02-30",
            "1960-02-03",
            "f",
            "81",
            "81 kg",
            "unknown",
            "2026-12-03",
            "1, right-great",
            "stop",
        ],
    );
    assert!(
        heard.contains("> 1960-02-30\n`1960-02-30` is not a date"),
        "{heard}"
    );
    assert!(heard.contains("> f\n  Female\n"), "{heard}");
    assert!(
        heard.contains("> 81\n`person.weight` needs a unit: write `81 kg`"),
        "{heard}"
    );
    assert!(heard.contains("> unknown\n  asked, not known\n"), "{heard}");
    assert!(
        heard.contains("> 1, right-great\n  Left great toe; Right great toe\n"),
        "{heard}"
    );
    assert_eq!(end, Some(End::Stopped));
    let expected = "\
answers:
  person:
    date_of_birth: 1960-02-03
    sex: female
    weight: 81 kg
    height: unknown
  plan:
    procedure_on: 2026-12-03
    toes: [left-great, right-great]
";
    assert!(text.ends_with(expected), "{text}");
}

#[test]
fn back_changes_an_answer_and_an_empty_line_keeps_it() {
    let lines = [
        "1960-02-03",
        "male",
        "back",
        "back",
        "",
        "back",
        "female",
        "back",
        "back",
        "1961-02-03",
    ];
    let (heard, text, _) = talk(&new(), &lines);
    assert!(
        heard.contains("Answered: 1960-02-03. An empty line keeps it.\n> \nKept."),
        "{heard}"
    );
    assert!(
        text.ends_with("    date_of_birth: 1961-02-03\n    sex: female\n"),
        "{text}"
    );
}

/// What is said to these lines, the first of which answers the question with these words in it; all before are left.
fn talk_of(words: &str, lines: &[&str]) -> (String, String) {
    let rules = &embedded_once().0;
    let screener = Screener::new(rules, today());
    let before = format!("{}  person: {{ date_of_birth: 1960-02-03 }}\n", new());
    let mut dialogue =
        Dialogue::new(&screener, "t.yaml", before, true).unwrap_or_else(|it| panic!("{it:?}"));
    let mut heard = String::new();
    let mut lines = lines.iter();
    for _ in 0..200 {
        if dialogue.end().is_some() {
            break;
        }
        let prompt = dialogue.prompt().lines.join("\n");
        let is_other = prompt.contains("at most") && !prompt.contains(words);
        if is_other {
            dialogue.take("later");
            continue;
        }
        let Some(line) = lines.next() else { break };
        let taken = dialogue.take(line);
        heard.push_str(&format!("> {line}\n{}\n", taken.lines.join("\n")));
    }
    (heard, dialogue.text().to_owned())
}

/// A medicine at a time, the nearest name offered.
#[test]
fn a_list_is_given_entry_by_entry() {
    let lines = [
        "warfrin",
        "yes",
        "prednisolone 5 mg daily",
        "aspirin",
        "back",
        "",
    ];
    let (heard, text) = talk_of("medicines", &lines);
    assert!(
        heard.contains("> warfrin\n  \"warfrin\", not recognised; the nearest is warfarin\n"),
        "{heard}"
    );
    assert!(heard.contains("> yes\n  warfarin\n"), "{heard}");
    assert!(
        heard.contains("> prednisolone 5 mg daily\n  prednisolone, 5 mg a day\n"),
        "{heard}"
    );
    assert!(
        heard.contains("> back\nThe last entry is taken back.\n"),
        "{heard}"
    );
    assert!(
        text.contains("current: [warfarin, prednisolone 5 mg daily]\n"),
        "{text}"
    );
    assert!(facts_or(&embedded_once().0, &text).is_ok());
}

#[test]
fn a_list_that_is_cut_short_is_not_saved() {
    let (heard, text) = talk_of("medicines", &["warfarin", "stop"]);
    assert!(
        heard.contains("Not saved, since the list may not be whole: warfarin."),
        "{heard}"
    );
    assert!(!text.contains("warfarin"), "{text}");
}

#[test]
fn allergies_and_plans_are_typed_in_one_line_each() {
    let (heard, text) = talk_of("allerg", &["latex, rash", "mystery", "no", ""]);
    assert!(
        text.contains("known: [{ to: latex, reaction: rash }, mystery]\n"),
        "{heard}\n{text}"
    );
    let (heard, text) = talk_of(
        "local anaesthetic is planned",
        &["lidocaine 2% 3 ml", "bupivacaine, 0.25 %", "water", ""],
    );
    assert!(
        heard.contains("> water\n`water` is not a local anaesthetic of the rule set: "),
        "{heard}"
    );
    let expected = "anaesthetic: [{ agent: lidocaine, strength: 2 %, volume: 3 ml }, { agent: bupivacaine, strength: 0.25 %, volume: unknown }]\n";
    assert!(text.contains(expected), "{heard}\n{text}");
}

/// A result is asked for with its day; without one it is not kept.
#[test]
fn a_result_is_asked_for_with_its_day() {
    let rules = &embedded_once().0;
    let screener = Screener::new(rules, today());
    let text = format!("{}  medicines: {{ current: [warfarin] }}\n", new());
    let mut dialogue =
        Dialogue::new(&screener, "t.yaml", text, true).unwrap_or_else(|it| panic!("{it:?}"));
    while !dialogue.prompt().lines.join("\n").contains("INR?") {
        assert!(dialogue.take("later").lines == ["Left for later."]);
    }
    assert!(
        dialogue
            .take("26")
            .lines
            .join("")
            .contains("26 is not plausible")
    );
    assert!(dialogue.take("2.6").lines.is_empty());
    assert!(dialogue.is_halfway());
    assert!(
        dialogue
            .take("")
            .lines
            .join("")
            .contains("counts only with its day")
    );
    assert!(
        dialogue
            .take("2027-01-01")
            .lines
            .join("")
            .contains("after the day of the screening")
    );
    assert_eq!(
        dialogue.take("2026-11-20").lines,
        ["  2.6, taken on 20 Nov 2026"]
    );
    assert!(
        dialogue
            .text()
            .contains("inr: { value: 2.6, taken_on: 2026-11-20 }\n")
    );
}

/// Lines that somebody may type anywhere, and what nobody should.
fn line() -> impl Strategy<Value = String> {
    prop_oneof![
        prop::sample::select(vec![
            "",
            "help",
            "back",
            "later",
            "unknown",
            "declined",
            "none",
            "yes",
            "no",
            "1",
            "2",
            "1, 3",
            "2026-12-03",
            "81 kg",
            "warfrin",
            "latex, rash",
            "lidocaine 2 % 3 mL",
            "999999999999999999999",
            "1e3",
            "- a: {",
            "\u{202e}",
            "\u{0}",
        ])
        .prop_map(str::to_owned),
        "\\PC{0,12}",
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, rng_seed: SEED, ..ProptestConfig::default() })]

    /// Whatever is typed, the questionnaire can be read, keeps what stood in it, and says what was kept.
    #[test]
    fn no_line_spoils_the_questionnaire(lines in prop::collection::vec(line(), 30)) {
        let rules = &embedded_once().0;
        let screener = Screener::new(rules, today());
        let text = format!("{}  # kept\n  person: {{ height: 170 cm }} # too\n", new());
        let mut dialogue = Dialogue::new(&screener, "t.yaml", text, true).unwrap_or_else(|it| panic!("{it:?}"));
        for line in &lines {
            let before = dialogue.text().to_owned();
            dialogue.prompt();
            let reply = dialogue.take(line);
            prop_assert!(reply.changed || dialogue.text() == before, "{line:?} changed it without a word");
            prop_assert!(screener.read("t.yaml", dialogue.text().as_bytes()).is_ok(), "{line:?}\n{}", dialogue.text());
            prop_assert!(dialogue.text().contains("  # kept\n") && dialogue.text().contains(" # too\n"));
        }
    }
}

/// Help says why, and typing nothing says how.
#[test]
fn help_says_why_and_how() {
    let (heard, _, _) = talk(&new(), &["help", "", "back", "later"]);
    assert!(
        heard.contains("> help\nType a day as year-month-day.\n"),
        "{heard}"
    );
    assert!(heard.contains("rules wait for it:\n  refer, "), "{heard}");
    assert!(
        heard.contains("> \nType a day as year-month-day, or a word: help, back,"),
        "{heard}"
    );
    assert!(
        heard.contains("> back\nThis is the first question of this run."),
        "{heard}"
    );
    assert!(heard.contains("> later\nLeft for later."), "{heard}");
}

/// A referral that is established ends it, if nobody wants to go on.
#[test]
fn it_offers_to_stop_once_the_verdict_is_settled() {
    let rules = &embedded_once().0;
    let screener = Screener::new(rules, today());
    let text = format!("{}  circulation: {{ symptoms: [rest-pain] }}\n", new());
    let begun = |everything| {
        Dialogue::new(&screener, "t.yaml", text.clone(), everything)
            .unwrap_or_else(|it| panic!("{it:?}"))
    };
    let mut dialogue = begun(false);
    let prompt = dialogue.prompt().lines.join("\n");
    assert!(
        prompt.contains("The verdict is settled: refer, same-day. "),
        "{prompt}"
    );
    assert!(
        prompt.contains(" further answers cannot change that."),
        "{prompt}"
    );
    assert_eq!(dialogue.take("maybe").lines, ["Please answer yes or no."]);
    dialogue.take("no");
    assert_eq!(dialogue.end(), Some(End::Stopped));
    let mut dialogue = begun(false);
    dialogue.take("yes");
    assert!(dialogue.end().is_none());
    assert!(
        begun(true)
            .prompt()
            .lines
            .join("\n")
            .contains("Settled: refer, same-day.")
    );
}

/// What was not known is gone through again in a later run.
#[test]
fn what_was_not_known_is_asked_again_if_somebody_wants_to() {
    let rules = &embedded_once().0;
    let path = top().join("examples/referrals/SM-101.yaml");
    let text = std::fs::read_to_string(path).unwrap_or_else(|it| panic!("{it}"));
    let clinic =
        std::fs::read(top().join("examples/clinic.yaml")).unwrap_or_else(|it| panic!("{it}"));
    let screener = Screener::new(rules, today()).clinic("clinic.yaml", &clinic);
    let screener = screener.unwrap_or_else(|it| panic!("{:?}", codes(&it)));
    let begun = |text: &str| {
        Dialogue::new(&screener, "t.yaml", text.to_owned(), false)
            .unwrap_or_else(|it| panic!("{it:?}"))
    };
    assert_eq!(begun(&text).end(), Some(End::Asked));
    let mut dialogue = begun(&text.replace("stroke_or_tia: no", "stroke_or_tia: unknown"));
    assert!(
        dialogue
            .prompt()
            .lines
            .contains(&"1 answer is not known from before.".to_owned())
    );
    dialogue.take("yes");
    dialogue.take("no");
    assert_eq!(dialogue.end(), Some(End::Asked));
    assert_eq!(dialogue.text(), text);
}

fn top() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// The program as these tests start it.
fn program() -> Command {
    let mut command = crate::support::program();
    command.env_remove("COLUMNS");
    command.env("LC_ALL", "C.UTF-8");
    command.env("NO_COLOR", "1");
    command.current_dir(top());
    command
}

/// `ask` with these lines typed.
fn piped(file: &Path, lines: &str) -> Output {
    let mut child = program()
        .args(["ask", "--as-of", "2026-11-25"])
        .arg(file)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|it| panic!("{it}"));
    if let Some(mut input) = child.stdin.take() {
        // Whoever stops early does not read the rest.
        let _ = input.write_all(lines.as_bytes());
    }
    child.wait_with_output().unwrap_or_else(|it| panic!("{it}"))
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().unwrap_or_else(|it| panic!("{it}"))
}

fn content(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|it| panic!("{}: {it}", path.display()))
}

#[test]
fn lines_make_a_questionnaire_and_end_with_the_report() {
    let folder = folder();
    let file = folder.path().join("SM-301.yaml");
    let output = piped(&file, "1960-02-03\nmale\nstop\n");
    let (out, err) = (said(&output.stdout), said(&output.stderr));
    assert_eq!(output.status.code(), Some(10), "{out}{err}");
    assert!(
        out.starts_with("A new questionnaire for SM-301.\n"),
        "{out}"
    );
    assert!(
        out.contains("  1  Female (female)\n  2  Male (male)\n"),
        "{out}"
    );
    assert!(out.contains("DEFER"), "{out}");
    assert!(err.contains("holds all answers"), "{err}");
    assert!(content(&file).ends_with("    date_of_birth: 1960-02-03\n    sex: male\n"));
    // It is taken up where it was left.
    let output = piped(&file, "81 kg\n");
    let (out, err) = (said(&output.stdout), said(&output.stderr));
    assert_eq!(output.status.code(), Some(130), "{out}{err}");
    assert!(out.contains("What is the body weight?"), "{out}");
    assert!(!out.contains("date of birth"), "{out}");
    assert!(
        err.contains("the input has ended") && err.contains("1 answer of this run"),
        "{err}"
    );
    assert!(content(&file).ends_with("    sex: male\n    weight: 81 kg\n"));
}

#[test]
fn what_cannot_be_taken_up_is_left_as_it_is() {
    let folder = folder();
    let wrong = folder.path().join("SM-302.yaml");
    let text = "questionnaire: 1\nreference: SM-302\nanswers: { person: { sex: mle } }\n";
    std::fs::write(&wrong, text).unwrap_or_else(|it| panic!("{it}"));
    let output = piped(&wrong, "1960-02-03\n");
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output.stderr).contains("nothing is asked before these are mended"));
    assert_eq!(content(&wrong), text);
    let json = folder.path().join("SM-303.json");
    let text = "{ \"questionnaire\": 1, \"reference\": \"SM-303\", \"answers\": {}, }\n";
    std::fs::write(&json, text).unwrap_or_else(|it| panic!("{it}"));
    let output = piped(&json, "1960-02-03\n");
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output.stderr).contains("nothing is asked before these are mended"));
    assert_eq!(content(&json), text);
    let name = piped(&folder.path().join("smith.yaml"), "");
    assert!(said(&name.stderr).contains("a reference needs a digit"));
    assert!(said(&name.stderr).contains("--reference"));
    assert_eq!(
        std::fs::read_dir(folder.path()).map(Iterator::count).ok(),
        Some(2)
    );
}

/// A file that ends in `.json` is asked for and kept in JSON, and taken up again.
#[test]
fn a_questionnaire_in_json_is_asked_for() {
    let folder = folder();
    let file = folder.path().join("SM-304.json");
    let output = piped(&file, "1960-02-03\nmale\n");
    let (out, err) = (said(&output.stdout), said(&output.stderr));
    assert!(err.contains("2 answers of this run"), "{out}{err}");
    let kept: serde_json::Value = serde_json::from_str(&content(&file)).unwrap_or_default();
    assert_eq!(kept["reference"], "SM-304");
    assert_eq!(
        kept["answers"]["person"],
        serde_json::json!({ "date_of_birth": "1960-02-03", "sex": "male" })
    );
    let output = piped(&file, "81 kg\n");
    assert!(!said(&output.stdout).contains("date of birth"));
    let kept: serde_json::Value = serde_json::from_str(&content(&file)).unwrap_or_default();
    assert_eq!(kept["answers"]["person"]["weight"], "81 kg");
}

#[cfg(unix)]
mod terminal {
    use std::os::unix::fs::PermissionsExt as _;
    use std::time::Duration;

    use expectrl::session::OsSession;
    use expectrl::{Eof, Expect as _};

    use super::{Path, content, folder, program};

    fn session(file: &Path, more: &[&str]) -> OsSession {
        let mut command = program();
        command
            .args(["ask", "--as-of", "2026-11-25"])
            .args(more)
            .arg(file);
        let mut session = OsSession::spawn(command).unwrap_or_else(|it| panic!("{it}"));
        session.set_expect_timeout(Some(Duration::from_secs(30)));
        session
    }

    fn see(session: &mut OsSession, text: &str) {
        session
            .expect(text)
            .unwrap_or_else(|it| panic!("{text}: {it}"));
    }

    fn send(session: &mut OsSession, keys: &str) {
        session.send(keys).unwrap_or_else(|it| panic!("{it}"));
    }

    /// Presses Ctrl-C as a person does: again, if it fell just between a question and the reading of its answer.
    fn interrupt(session: &mut OsSession) {
        session.set_expect_timeout(Some(Duration::from_secs(5)));
        let told = (0..6).any(|_| {
            send(session, "\x03");
            session.expect("holds all answers").is_ok()
        });
        assert!(told, "Ctrl-C is never heeded");
    }

    #[test]
    fn lists_are_chosen_from_and_slips_are_corrected() {
        let folder = folder();
        let file = folder.path().join("SM-304.yaml");
        let mut session = session(&file, &[]);
        see(&mut session, "date of birth?");
        send(&mut session, "1960-02-03\r");
        see(&mut session, "Which sex");
        see(&mut session, "Female");
        // The second of the list.
        send(&mut session, "\x1b[B\r");
        see(&mut session, "body weight?");
        send(&mut session, "81\r");
        see(&mut session, "needs a unit");
        // What was typed stands there to be corrected.
        see(&mut session, "81");
        send(&mut session, " kg\r");
        see(&mut session, "height?");
        // Ctrl-C: what was confirmed is there.
        send(&mut session, "17");
        interrupt(&mut session);
        session.expect(Eof).unwrap_or_else(|it| panic!("{it}"));
        assert!(
            content(&file)
                .ends_with("    date_of_birth: 1960-02-03\n    sex: male\n    weight: 81 kg\n")
        );
    }

    #[test]
    fn several_are_marked_and_nothing_marked_is_no_answer() {
        let folder = folder();
        let file = folder.path().join("SM-305.yaml");
        let text = "questionnaire: 1\nreference: SM-305\nanswers:\n  person:\n    date_of_birth: 1960-02-03\n    sex: male\n    weight: 81 kg\n    height: 1.8 m\n  plan:\n    procedure_on: 2026-12-03\n";
        std::fs::write(&file, text).unwrap_or_else(|it| panic!("{it}"));
        std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o600))
            .unwrap_or_else(|it| panic!("{it}"));
        let mut session = session(&file, &[]);
        see(&mut session, "Which toes");
        send(&mut session, "\r");
        see(&mut session, "or a word");
        see(&mut session, "stop here");
        send(&mut session, " ");
        see(&mut session, "[x] Left great toe");
        send(&mut session, "\x1b[B");
        see(&mut session, "> [ ] Left second toe");
        send(&mut session, " ");
        see(&mut session, "[x] Left second toe");
        send(&mut session, "\r");
        see(&mut session, "Left great toe; Left second toe");
        interrupt(&mut session);
        session.expect(Eof).unwrap_or_else(|it| panic!("{it}"));
        assert_eq!(
            content(&file),
            format!("{text}    toes: [left-great, left-second]\n")
        );
        let mode = std::fs::metadata(&file).map(|it| it.permissions().mode() & 0o777);
        assert_eq!(mode.ok(), Some(0o600));
    }

    #[test]
    fn ctrl_c_between_lines_loses_nothing() {
        let folder = folder();
        let file = folder.path().join("SM-306.yaml");
        let mut session = session(&file, &["--lines"]);
        see(&mut session, "date of birth?");
        send(&mut session, "1960-02-03\n");
        see(&mut session, "3 Feb 1960");
        send(&mut session, "\x03");
        see(&mut session, "stopped");
        session.expect(Eof).unwrap_or_else(|it| panic!("{it}"));
        assert!(content(&file).ends_with("    date_of_birth: 1960-02-03\n"));
    }

    /// A file that another program changed meanwhile is left as that wrote it, and one that cannot be written is told.
    #[test]
    fn nobody_elses_answers_are_overwritten() {
        let folder = folder();
        let file = folder.path().join("SM-307.yaml");
        let mut session = session(&file, &["--lines"]);
        see(&mut session, "date of birth?");
        let theirs = "questionnaire: 1\nreference: SM-307\nanswers: {}\n";
        std::fs::write(&file, theirs).unwrap_or_else(|it| panic!("{it}"));
        send(&mut session, "1960-02-03\n");
        see(&mut session, "was changed by somebody else");
        see(&mut session, "is not saved");
        session.expect(Eof).unwrap_or_else(|it| panic!("{it}"));
        assert_eq!(content(&file), theirs);
    }
}
