//! What the program writes for other programs, read by readers that are not ours. They are Python packages, so these
//! tests need Python 3 with `venv`, and the package index once: the packages are then kept under `target/outside`.
#![expect(
    clippy::expect_used,
    reason = "a reader that cannot be started fails the test"
)]

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use preblock::inner::rule_set::files::RuleFiles;
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::workbench::cases::read::Case;
use preblock::inner::workbench::prove::prove;
use serde_json::Value;

use crate::shipped::{Shipped, nails, skin};
use crate::support::{said, text_of, today};

/// The source archive that holds the schema of JUnit files.
const SCHEMA_SOURCE: &str = "pytest==8.4.2";

/// Where the readers are kept.
fn home() -> PathBuf {
    let target = Path::new(env!("CARGO_TARGET_TMPDIR"))
        .parent()
        .expect("the folder of the build");
    target.join("outside")
}

/// The interpreter that has all packages of tests/outside/requirements.txt.
fn python() -> PathBuf {
    installed(&home(), "requirements.txt", Some(SCHEMA_SOURCE))
}

/// The interpreter that has the packages of spark.txt: half a gigabyte, so only the test of Spark waits for them.
pub fn python_with_spark() -> PathBuf {
    installed(&home().join("spark"), "spark.txt", None)
}

/// The interpreter in a folder, with the packages of a file of tests/outside and beside them one source archive, if any.
/// They are installed once; tests that run at the same time wait for one another.
fn installed(home: &Path, requirements: &str, archive: Option<&str>) -> PathBuf {
    std::fs::create_dir_all(home).expect("the folder of the readers");
    let lock = std::fs::File::create(home.join("lock")).expect("the lock of the readers");
    lock.lock().expect("the lock of the readers");
    let interpreter = home.join(if cfg!(windows) {
        "venv/Scripts/python.exe"
    } else {
        "venv/bin/python"
    });
    let stamp = home.join("installed");
    let requirements = scripts().join(requirements);
    let packages = std::fs::read_to_string(&requirements).expect("the packages");
    let wanted = archive.map_or(packages.clone(), |it| format!("{packages}{it}\n"));
    if std::fs::read_to_string(&stamp).ok().as_deref() != Some(&wanted) {
        let _ = std::fs::remove_dir_all(home.join("venv"));
        let system = if cfg!(windows) { "python" } else { "python3" };
        make(
            Command::new(system)
                .args(["-m", "venv"])
                .arg(home.join("venv")),
        );
        let pip = || {
            let mut pip = Command::new(&interpreter);
            pip.args(["-m", "pip", "--quiet", "--disable-pip-version-check"]);
            pip
        };
        make(pip().args(["install", "--requirement"]).arg(requirements));
        if let Some(archive) = archive {
            let as_source = ["--no-deps", "--no-binary", ":all:", archive, "--dest"];
            make(pip().arg("download").args(as_source).arg(home));
        }
        std::fs::write(&stamp, wanted).expect("the stamp of the readers");
    }
    interpreter
}

/// The archive of a package that is only looked into: what it needs itself is not installed.
pub fn archive(package: &str) -> PathBuf {
    let python = python();
    let home = home().join("archives").join(package);
    std::fs::create_dir_all(&home).expect("the folder of an archive");
    let lock = std::fs::File::create(home.join("lock")).expect("the lock of an archive");
    lock.lock().expect("the lock of an archive");
    let found = || {
        let files = std::fs::read_dir(&home).ok()?.filter_map(Result::ok);
        let mut paths = files.map(|it| it.path());
        paths.find(|it| it.extension().is_some_and(|it| it == "whl"))
    };
    if found().is_none() {
        let mut pip = Command::new(python);
        pip.args(["-m", "pip", "--quiet", "--disable-pip-version-check"]);
        pip.args(["download", "--no-deps", "--ignore-requires-python"]);
        make(pip.args([package, "--dest"]).arg(&home));
    }
    found().expect("the archive was fetched")
}

/// The folder of the scripts.
fn scripts() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside")
}

/// Runs one step of the installation.
fn make(command: &mut Command) {
    let output = command.output();
    let done = output.as_ref().is_ok_and(|it| it.status.success());
    let said = output.map_or_else(
        |error| error.to_string(),
        |it| String::from_utf8_lossy(&it.stderr).into_owned(),
    );
    assert!(
        done,
        "these tests need Python 3.10 or later with venv, and once the package index: {command:?}: {said}"
    );
}

/// Gives a script of tests/outside a text, and returns what it printed.
pub fn run(script: &str, arguments: &[&str], input: &[u8]) -> Vec<u8> {
    run_with(python(), script, arguments, input)
}

/// The same, with an interpreter that has other packages.
pub fn run_with(python: PathBuf, script: &str, arguments: &[&str], input: &[u8]) -> Vec<u8> {
    let mut child = Command::new(python)
        .arg(scripts().join(script))
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the reader starts");
    let mut stdin = child.stdin.take().expect("the reader listens");
    let input = input.to_vec();
    let writer = std::thread::spawn(move || stdin.write_all(&input));
    let output = child.wait_with_output().expect("the reader ends");
    let written = writer.join().is_ok_and(|it| it.is_ok());
    assert!(
        output.status.success() && written,
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    output.stdout
}

/// What a reader of readers.py found.
pub fn read(kind: &str, input: &[u8]) -> Value {
    let archive = home()
        .join(format!("{}.tar.gz", SCHEMA_SOURCE.replace("==", "-")))
        .display()
        .to_string();
    let arguments: &[&str] = if kind == "junit" {
        &[kind, &archive]
    } else {
        &[kind]
    };
    serde_json::from_slice(&run("readers.py", arguments, input)).expect("the reader prints JSON")
}

// --- Guarantees --------------------------------------------------------------------------------------------------

/// A copy of a rule set with one text replaced, and the guarantees that this breaks.
struct Break {
    name: String,
    of: &'static Shipped,
    files: RuleFiles,
    breaks: BTreeSet<String>,
}

/// Each rule set as it is, and each broken copy of tests/outside/breaks.yaml.
fn broken_copies() -> Vec<Break> {
    let written: serde_yaml::Value =
        serde_yaml::from_str(include_str!("../outside/breaks.yaml")).expect("breaks.yaml");
    let text = |it: &serde_yaml::Value| it.as_str().expect("a text").to_owned();
    let whole = [nails(), skin()].map(|of| Break {
        name: of.rules.id.clone(),
        of,
        files: of.files.clone(),
        breaks: BTreeSet::new(),
    });
    let copies = written["breaks"]
        .as_sequence()
        .expect("a list")
        .iter()
        .map(|it| {
            let (name, file, find, replace) = (
                text(&it["name"]),
                text(&it["file"]),
                text(&it["find"]),
                text(&it["replace"]),
            );
            let of = if it["of"].as_str() == Some("skin") {
                skin()
            } else {
                nails()
            };
            let mut files = of.files.clone();
            let old = text_of(&files, &file);
            assert_eq!(
                old.matches(&find).count(),
                1,
                "{name}: `find` must stand in {file} just once"
            );
            files.set(file, old.replace(&find, &replace));
            let breaks = it["breaks"]
                .as_sequence()
                .expect("a list")
                .iter()
                .map(text)
                .collect();
            Break {
                name,
                of,
                files,
                breaks,
            }
        });
    whole.into_iter().chain(copies).collect()
}

/// Writes the files of a rule set into a folder, all but the worked cases. Registers that it uses stay where they are.
fn write_rules(files: &RuleFiles, folder: &Path) {
    let rules = Path::new(env!("CARGO_MANIFEST_DIR")).join("rules");
    let rules = rules.display().to_string();
    for (path, file) in files.iter().filter(|(path, _)| !path.starts_with("cases/")) {
        let path = folder.join(path);
        std::fs::create_dir_all(path.parent().expect("a folder"))
            .expect("a folder that can be made");
        let text = said(file.bytes()).replace("../../../rules", &rules);
        std::fs::write(path, text).expect("a file that can be written");
    }
}

/// Which guarantees the program's own prover finds proved, and which broken. The worked cases only show sooner that a
/// guarantee is about somebody.
fn by_the_program(it: &Break, cases: &[Case]) -> BTreeMap<String, String> {
    let rules = rule_set(&it.files).unwrap_or_else(|found| unreachable!("{}: {found:?}", it.name));
    let proofs = prove(&rules, cases, today(), |_| true);
    proofs
        .into_iter()
        .map(|(at, proof)| (rules.guarantees[at].id.clone(), proof.word().to_owned()))
        .collect()
}

/// Both provers come to the same for every guarantee, of each rule set and of every broken copy, and a copy breaks
/// just what breaks.yaml says. They share nothing but the rule language: another language, another reader, another solver.
///
/// Each copy costs both some seconds. So the copies are parted over two threads, each with one outside process for all
/// of its copies.
#[test]
fn two_provers_agree_on_every_guarantee() {
    let copies = broken_copies();
    assert!(copies.len() > 25, "{} copies", copies.len());
    let (first, second) = copies.split_at(copies.len() / 2);
    let wrong: Vec<String> = std::thread::scope(|scope| {
        let parts = [first, second].map(|part| scope.spawn(move || disagreements(part)));
        parts
            .into_iter()
            .flat_map(|it| it.join().expect("both threads end"))
            .collect()
    });
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

fn disagreements(copies: &[Break]) -> Vec<String> {
    let folder = tempfile::tempdir().expect("a folder");
    let folders: Vec<PathBuf> = (0..copies.len())
        .map(|at| folder.path().join(at.to_string()))
        .collect();
    copies
        .iter()
        .zip(&folders)
        .for_each(|(it, folder)| write_rules(&it.files, folder));
    let outside = Command::new(python())
        .arg(scripts().join("guarantees.py"))
        .args(&folders)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the outside prover starts");
    let cases = [nails(), skin()].map(|it| (it.rules.id.as_str(), it.cases()));
    let cases = BTreeMap::from(cases);
    // It prints little, so that nothing is held up while the program's own prover is at work.
    let own: Vec<BTreeMap<String, String>> = copies
        .iter()
        .map(|it| by_the_program(it, &cases[it.of.rules.id.as_str()]))
        .collect();
    let broken = own.iter().any(|it| it.values().any(|it| it != "proved"));
    let output = outside.wait_with_output().expect("the outside prover ends");
    assert_eq!(
        output.status.code(),
        Some(i32::from(broken)),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let lines: Vec<BTreeMap<String, String>> = String::from_utf8_lossy(&output.stdout)
        .lines()
        .map(|it| serde_json::from_str(it).expect("an object a line"))
        .collect();
    assert_eq!(lines.len(), copies.len());
    let mut wrong = Vec::new();
    for ((copy, own), other) in copies.iter().zip(&own).zip(&lines) {
        let ids: BTreeSet<&String> = own.keys().chain(other.keys()).collect();
        for id in ids.into_iter().filter(|it| own.get(*it) != other.get(*it)) {
            wrong.push(format!(
                "{}: {id}: {:?} by the program, {:?} outside",
                copy.name,
                own.get(id),
                other.get(id)
            ));
        }
        let broken: BTreeSet<String> = own
            .iter()
            .filter(|(_, it)| *it != "proved")
            .map(|(id, _)| id.clone())
            .collect();
        if broken != copy.breaks {
            wrong.push(format!(
                "{}: breaks {broken:?}, not {:?}",
                copy.name, copy.breaks
            ));
        }
    }
    wrong
}
