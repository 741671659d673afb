//! What every program is expected to do: standard input, the environment, completions, a manual, help when asked for nothing.

#![expect(
    clippy::panic,
    reason = "what cannot be read or started fails the test that needs it"
)]

use std::io::Write as _;
use std::process::{Output, Stdio};

use crate::support::{program, run, said, today};

fn with_input(arguments: &[&str], input: &[u8]) -> Output {
    let mut child = program()
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|it| panic!("{it}"));
    if let Some(mut stdin) = child.stdin.take() {
        let _ = stdin.write_all(input);
    }
    child.wait_with_output().unwrap_or_else(|it| panic!("{it}"))
}

const DAY: &str = "2026-11-25";
const EXAMPLE: &str = "examples/referrals/SM-103.yaml";
const CLINIC: &str = "examples/clinic.yaml";

#[test]
fn a_questionnaire_comes_by_standard_input() {
    let bytes = std::fs::read(EXAMPLE).unwrap_or_else(|it| panic!("{it}"));
    let screen = [
        "screen", "--as-of", DAY, "--clinic", CLINIC, "--format", "json",
    ];
    let by_name = run(&[&screen[..], &[EXAMPLE]].concat());
    let by_input = with_input(&[&screen[..], &["-"]].concat(), &bytes);
    assert_eq!(by_input.status.code(), Some(10));
    let renamed = said(&by_name.stdout).replace(EXAMPLE, "standard input");
    assert_eq!(said(&by_input.stdout), renamed);
    // Beside a file, and what is wrong in it is told of it.
    let both = with_input(
        &["screen", "--as-of", DAY, "-", EXAMPLE],
        b"questionnaire: 1\n",
    );
    assert_eq!(both.status.code(), Some(2));
    assert!(
        said(&both.stderr).contains("standard input:1:1"),
        "{}",
        said(&both.stderr)
    );
    assert!(said(&both.stdout).contains("SM-103"));
    let large = with_input(&["screen", "-"], &vec![b' '; (1 << 20) + 1]);
    assert!(
        said(&large.stderr).contains("`standard input` is larger than 1 MiB"),
        "{}",
        said(&large.stderr)
    );
    let empty = with_input(&["screen", "-"], b"");
    assert_eq!(empty.status.code(), Some(2));
}

/// The environment stands in for an argument, and an argument counts before it.
#[test]
fn clinic_rules_and_policy_come_from_the_environment() {
    let screen = |with: &[(&str, &str)], more: &[&str]| {
        let mut command = program();
        command.current_dir(env!("CARGO_MANIFEST_DIR"));
        command
            .args(["screen", "--as-of", DAY, "--format", "json", EXAMPLE])
            .args(more);
        command.envs(with.iter().copied());
        let output = command.output().unwrap_or_else(|it| panic!("{it}"));
        (said(&output.stdout), said(&output.stderr))
    };
    let plain = screen(&[], &[]);
    let clinic = screen(&[("PREBLOCK_CLINIC", CLINIC)], &[]);
    assert_eq!(clinic, screen(&[], &["--clinic", CLINIC]));
    assert_ne!(clinic, plain);
    let local = screen(&[("PREBLOCK_LOCAL", "examples/local-policy.yaml")], &[]);
    assert_eq!(
        local,
        screen(&[], &["--local", "examples/local-policy.yaml"])
    );
    assert_ne!(local, plain);
    assert_eq!(
        screen(&[("PREBLOCK_RULES", "rules")], &[]),
        screen(&[], &["--rules", "rules"])
    );
    let nowhere = [("PREBLOCK_RULES", "no/such/folder")];
    assert!(screen(&nowhere, &[]).1.contains("no/such/folder"));
    assert_eq!(
        screen(&nowhere, &["--rules", "rules"]),
        screen(&[], &["--rules", "rules"])
    );
}

#[test]
fn its_name_alone_asks_what_it_can_do() {
    let output = run(&[]);
    assert_eq!(output.status.code(), Some(0));
    assert!(said(&output.stdout).contains("Usage: preblock <COMMAND>"));
    assert!(output.stderr.is_empty());
}

#[test]
fn every_shell_gets_its_completions() {
    for (shell, sign) in [
        ("bash", "complete -F _preblock"),
        ("zsh", "#compdef preblock"),
        ("fish", "complete -c preblock"),
        ("powershell", "Register-ArgumentCompleter"),
        ("elvish", "set edit:completion"),
    ] {
        let output = run(&["completions", shell]);
        assert_eq!(output.status.code(), Some(0));
        let script = said(&output.stdout);
        assert!(
            script.contains(sign) && script.contains("alternatives"),
            "{shell}: {script}"
        );
    }
    // A shell that reads it finds nothing wrong.
    let script = run(&["completions", "bash"]).stdout;
    let read = std::process::Command::new("bash")
        .args(["-n", "/dev/stdin"])
        .stdin(Stdio::piped())
        .spawn();
    let mut read = read.unwrap_or_else(|it| panic!("{it}"));
    if let Some(mut stdin) = read.stdin.take() {
        stdin.write_all(&script).unwrap_or_else(|it| panic!("{it}"));
    }
    assert!(read.wait().is_ok_and(|it| it.success()));
}

#[test]
fn every_command_has_a_page() {
    let output = run(&["man"]);
    assert!(
        said(&output.stdout).contains(".TH preblock 1"),
        "{}",
        said(&output.stdout)
    );
    let folder = tempfile::tempdir().unwrap_or_else(|it| panic!("{it}"));
    let out = folder.path().join("man1");
    for _ in 0..2 {
        let output = run(&["man", "--out", &out.to_string_lossy()]);
        assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    }
    let page = |name: &str| std::fs::read_to_string(out.join(name)).unwrap_or_default();
    assert!(page("preblock-screen.1").contains("alternatives"));
    assert!(page("preblock-rules-prove.1").contains("guarantee"));
    assert!(
        page("preblock.1").contains("preblock\\-ask(1)"),
        "{}",
        page("preblock.1")
    );
    assert!(!out.join("preblock-help.1").exists());
}

/// Nothing of how far it is stands in what a program reads.
#[test]
fn progress_is_for_terminals_alone() {
    let output = run(&[
        "screen",
        "--as-of",
        DAY,
        "--clinic",
        CLINIC,
        "examples/referrals",
    ]);
    assert!(
        !said(&output.stderr).contains("Screening"),
        "{}",
        said(&output.stderr)
    );
}

/// The first form of a patient holds what is to be asked first, and nothing that the clinic answers for all.
#[test]
fn a_form_of_one_patient_holds_what_is_to_be_asked() {
    let output = run(&[
        "blank",
        "--reference",
        "SM-301",
        "--clinic",
        CLINIC,
        "--as-of",
        DAY,
    ]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    let form = said(&output.stdout);
    assert!(form.starts_with("# yaml-language-server: $schema=questionnaire.schema.json\n"));
    assert!(form.contains(&format!("reference: SM-301\ncompleted_on: {}\n", today())));
    // With every option in words.
    assert!(
        form.contains("    #   left-great: Left great toe\n"),
        "{form}"
    );
    let keys: Vec<&str> = form
        .lines()
        .filter_map(|it| it.strip_prefix("    ")?.strip_suffix(':'))
        .collect();
    assert!(
        keys.contains(&"smoker") && !keys.contains(&"latex_free") && !keys.contains(&"inr"),
        "{keys:?}"
    );
    assert!(keys.len() <= 55, "{}", keys.len());
    println!("{} questions, {} lines", keys.len(), form.lines().count());
    // It is a questionnaire that can be screened as it is.
    let screened = with_input(&["screen", "--as-of", DAY, "-"], form.as_bytes());
    assert_eq!(
        screened.status.code(),
        Some(10),
        "{}",
        said(&screened.stderr)
    );
    let without = said(&run(&["blank", "--reference", "SM-301", "--as-of", DAY]).stdout);
    assert!(without.contains("    latex_free:\n"));
    // The forms that were there before are as they were.
    assert!(said(&run(&["blank", "--clinic"]).stdout).contains("\nclinic: 1\n"));
    assert!(said(&run(&["blank"]).stdout).contains("    inr:\n"));
    for wrong in [
        &["blank", "--clinic", CLINIC][..],
        &["blank", "--reference", "Smith"],
        &["blank", "--as-of", DAY],
    ] {
        assert_eq!(run(wrong).status.code(), Some(2), "{wrong:?}");
    }
}

/// The example of the desk plays on rules and answers of its own: whoever named others, on the line or by the environment, is told so.
/// It ends here because its port is taken.
#[test]
fn the_example_says_which_files_it_does_not_use() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap_or_else(|it| panic!("{it}"));
    let port = taken.local_addr().map_or(0, |it| it.port()).to_string();
    let told = |more: &[&str]| {
        let mut desk = program();
        desk.args(["desk", "--example", "--port", &port]).args(more);
        let out = desk
            .env("PREBLOCK_LOCAL", "local.yaml")
            .output()
            .unwrap_or_else(|it| panic!("{it}"));
        assert_eq!(out.status.code(), Some(2), "{}", said(&out.stderr));
        said(&out.stderr)
    };
    let not_used = "the example has files of its own, and does not use: ";
    let named = told(&["--rules", "nowhere", "--clinic", "clinic.yaml"]);
    assert!(
        named.contains(&format!("{not_used}--rules, --local, --clinic\n")),
        "{named}"
    );
    let by_environment = told(&[]);
    assert!(
        by_environment.contains(&format!("{not_used}--local\n")),
        "{by_environment}"
    );
}
