//! What the program writes for other programs, read by readers that are not ours. They are Python packages, so these
//! tests need Python 3 with `venv`, and the package index once: the packages are then kept under `target/outside`.
#![expect(clippy::expect_used, reason = "a reader that cannot be started fails the test")]

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde_json::Value;

/// The source archive that holds the schema of JUnit files.
const SCHEMA_SOURCE: &str = "pytest==8.4.2";

/// Where the readers are kept.
fn home() -> PathBuf {
    let target = Path::new(env!("CARGO_TARGET_TMPDIR")).parent().expect("the folder of the build");
    target.join("outside")
}

/// The interpreter that has all packages of tests/outside/requirements.txt. They are installed once; tests that run at
/// the same time wait for one another.
fn python() -> PathBuf {
    let home = home();
    std::fs::create_dir_all(&home).expect("the folder of the readers");
    let lock = std::fs::File::create(home.join("lock")).expect("the lock of the readers");
    lock.lock().expect("the lock of the readers");
    let interpreter = home.join(if cfg!(windows) { "venv/Scripts/python.exe" } else { "venv/bin/python" });
    let stamp = home.join("installed");
    let wanted = format!("{}{SCHEMA_SOURCE}\n", include_str!("../outside/requirements.txt"));
    if std::fs::read_to_string(&stamp).ok().as_deref() != Some(&wanted) {
        let _ = std::fs::remove_dir_all(home.join("venv"));
        let system = if cfg!(windows) { "python" } else { "python3" };
        make(Command::new(system).args(["-m", "venv"]).arg(home.join("venv")));
        let requirements = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside/requirements.txt");
        let pip = || {
            let mut pip = Command::new(&interpreter);
            pip.args(["-m", "pip", "--quiet", "--disable-pip-version-check"]);
            pip
        };
        make(pip().args(["install", "--requirement"]).arg(requirements));
        make(pip().args(["download", "--no-deps", "--no-binary", ":all:", SCHEMA_SOURCE, "--dest"]).arg(&home));
        std::fs::write(&stamp, wanted).expect("the stamp of the readers");
    }
    interpreter
}

/// Runs one step of the installation.
fn make(command: &mut Command) {
    let output = command.output();
    let done = output.as_ref().is_ok_and(|it| it.status.success());
    let said = output.map_or_else(|error| error.to_string(), |it| String::from_utf8_lossy(&it.stderr).into_owned());
    assert!(done, "these tests need Python 3.10 or later with venv, and once the package index: {command:?}: {said}");
}

/// Gives a script of tests/outside a text, and returns what it printed.
pub fn run(script: &str, arguments: &[&str], input: &[u8]) -> Vec<u8> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside").join(script);
    let mut child = Command::new(python())
        .arg(script)
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
    assert!(output.status.success() && written, "{}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}

/// What a reader of readers.py found.
pub fn read(kind: &str, input: &[u8]) -> Value {
    let archive = home().join(format!("{}.tar.gz", SCHEMA_SOURCE.replace("==", "-"))).display().to_string();
    let arguments: &[&str] = if kind == "junit" { &[kind, &archive] } else { &[kind] };
    serde_json::from_slice(&run("readers.py", arguments, input)).expect("the reader prints JSON")
}
