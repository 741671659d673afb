//! More lines than one machine has time for: the scripts of examples/batch, on a Spark cluster and file by file, come to what
//! one process comes to, or fail.
#![expect(
    clippy::expect_used,
    reason = "a process that cannot be started fails the test"
)]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use preblock::inner::rule_set::files::{RuleFiles, sha256};
use serde_json::{Value, json};

use crate::outside;
use crate::support::{OWN_ENVIRONMENT, program, said};

/// The command that answers lines, by this rule set and no other.
fn command(digest: &str) -> Vec<String> {
    let program = program().get_program().to_string_lossy().into_owned();
    let words = ["batch", "--as-of", "2026-11-25", "--rules-digest", digest];
    std::iter::once(program)
        .chain(words.map(str::to_owned))
        .collect()
}

fn example(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("examples/batch")
        .join(name)
}

/// Lines as they come: people who go and people who wait, names outside ASCII, answers that are misspelt, no JSON at all.
fn lines(n: usize) -> String {
    let whole: Value = serde_json::from_str(include_str!("../../examples/referrals/SM-121.json"))
        .expect("the example is JSON");
    let line = |at: usize| {
        let mut one = whole.clone();
        one["reference"] = json!(format!("SP-{at}"));
        match at % 7 {
            1 => one["answers"]["person"]["weight"] = json!("unknown"),
            2 => one["answers"]["diabetes"]["kind"] = json!("misspelt"),
            3 => one["answers"]["medicines"]["current"] = json!(["warfarin", "crème de rien"]),
            4 => return format!("{{ \"reference\": \"SP-{at}\", "),
            _ => {}
        }
        one.to_string()
    };
    (0..n).map(|at| line(at) + "\n").collect()
}

/// What one process answers.
fn by_one_process(command: &[String], file: &Path) -> Output {
    let (program, arguments) = command.split_first().expect("a command");
    let mut one = Command::new(program);
    OWN_ENVIRONMENT.iter().for_each(|name| {
        one.env_remove(name);
    });
    one.args(arguments)
        .arg(file)
        .output()
        .expect("the program starts")
}

/// A worker dies in the middle, and the answers are those of one process, line by line. A worker with another rule set, or a
/// command that passes over a line, fails the job, and nothing looks as if it were done.
#[test]
fn a_cluster_answers_as_one_process_does_or_fails() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("in.ndjson");
    std::fs::write(&file, lines(400)).expect("the lines are written");
    let command = command(&RuleFiles::embedded().digest());
    let one = by_one_process(&command, &file);
    assert!(one.status.success(), "{}", said(&one.stderr));

    let other = folder.path().join("other-rules");
    another_rule_set(&other);
    let script = example("spark_pipe.py").display().to_string();
    let (at, other) = (
        folder.path().display().to_string(),
        other.display().to_string(),
    );
    let mut arguments = vec![script.as_str(), &at, &other];
    arguments.extend(command.iter().map(String::as_str));
    let printed = outside::run_with(outside::python_with_spark(), "spark.py", &arguments, b"");
    let told: Value = serde_json::from_slice(&printed).expect("spark.py prints JSON");
    let log = |job: &str| told[job]["log"].as_str().unwrap_or_default().to_owned();

    let killed = &told["killed"];
    let expected = format!("400 lines answered, sha256 {}\n", sha256(&one.stdout));
    assert_eq!(
        (&killed["said"], &killed["status"], &killed["success"]),
        (&json!(expected), &json!(0), &json!(true)),
        "{}",
        log("killed")
    );
    let n_done = killed["done_before"].as_u64().unwrap_or_default();
    assert_eq!(killed["executors"], 1);
    assert!((1..8).contains(&n_done), "killed after {n_done} of 8 parts");

    for (job, why) in [
        ("other_rules", "Subprocess exited with status"),
        ("drops_a_line", "same number of elements"),
    ] {
        let (it, log) = (&told[job], log(job));
        assert_eq!(
            (&it["success"], &it["said"]),
            (&json!(false), &json!("")),
            "{job}: {log}"
        );
        assert!(it["status"] != 0 && log.contains(why), "{job}: {log}");
    }
}

/// The embedded rule set in a folder, with a comment more: its digest is another.
fn another_rule_set(folder: &Path) {
    for (path, file) in RuleFiles::embedded().iter() {
        let path = folder.join(path);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder is made");
        std::fs::write(path, [file.bytes(), b"# Another.\n"].concat()).expect("a file is written");
    }
}

fn part(from: &Path, to: &Path, command: &[String]) -> Output {
    let mut part = Command::new("sh");
    OWN_ENVIRONMENT.iter().for_each(|name| {
        part.env_remove(name);
    });
    part.arg(example("part.sh")).arg(from).arg(to).args(command);
    part.output().expect("sh starts")
}

/// File by file, the parts together are what one process answers, but for the numbers of lines; a part that failed, or that
/// has not one answer a line, is not there, and nothing lies beside it.
#[test]
fn parts_are_there_whole_or_not_at_all() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    let command = command(&RuleFiles::embedded().digest());
    let whole = lines(90);
    std::fs::write(at("whole"), &whole).expect("the lines are written");
    let one = by_one_process(&command, &at("whole"));
    let mut together = String::new();
    for (n, lines) in whole
        .split_inclusive('\n')
        .collect::<Vec<_>>()
        .chunks(40)
        .enumerate()
    {
        let (from, to) = (at(&format!("in-{n}")), at(&format!("out-{n}")));
        std::fs::write(&from, lines.concat()).expect("the lines are written");
        let done = part(&from, &to, &command);
        assert!(done.status.success(), "{}", said(&done.stderr));
        together += &std::fs::read_to_string(to).expect("the answers are there");
    }
    // A refused line says its number in each diagnostic, too.
    let unnumbered = |text: &str| -> Vec<String> {
        let begin = |it: &str| {
            it.split_once(',')
                .map_or("", |(begin, _)| &begin[1..])
                .to_owned()
        };
        text.lines().map(|it| it.replace(&begin(it), "")).collect()
    };
    assert_eq!(unnumbered(&together), unnumbered(&said(&one.stdout)));

    let words = |it: &[&str]| it.iter().map(|it| (*it).to_owned()).collect::<Vec<_>>();
    for fails in [
        words(&["sh", "-c", "cat; exit 3"]),
        words(&["head", "-n", "3"]),
        words(&["false"]),
    ] {
        let done = part(&at("whole"), &at("out"), &fails);
        assert!(!done.status.success(), "{fails:?}");
        assert!(!at("out").exists(), "{fails:?}");
    }
    let beside = std::fs::read_dir(folder.path())
        .into_iter()
        .flatten()
        .flatten();
    let left: Vec<String> = beside
        .map(|it| it.file_name().to_string_lossy().into_owned())
        .filter(|it| it.ends_with(".part"))
        .collect();
    assert!(left.is_empty(), "{left:?}");
}
