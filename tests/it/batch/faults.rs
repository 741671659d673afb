//! What a batch does when something breaks: the disk, the pipe, the input, the machine. It never says that all is well then,
//! never takes more memory for more input, and every line that was written is a whole one.

use std::fs::File;
use std::io::{BufRead as _, BufReader, Read, Write as _};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Output, Stdio};
use std::time::Duration;

use super::*;
use proptest::prelude::*;

use crate::support::{OWN_ENVIRONMENT, SEED, program, said};

/// Most memory that a batch may take, whatever comes in.
const MOST_KIB: u64 = 64 << 10;

fn batch(arguments: &[&str]) -> Command {
    let mut command = program();
    command
        .current_dir(top())
        .arg("batch")
        .args(["--as-of", "2026-11-25"])
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

/// What comes of some input.
fn fed(arguments: &[&str], input: &[u8]) -> Output {
    let mut child = batch(arguments).spawn().expect("the program starts");
    let mut stdin = child.stdin.take().expect("an input");
    let input = input.to_vec();
    // A program that breaks off closes its input.
    let writer = std::thread::spawn(move || stdin.write_all(&input).is_ok());
    let output = child.wait_with_output().expect("the program ends");
    let _ = writer.join();
    output
}

/// The answers that stand in an output, each checked: whole, in order, and of the schema.
fn whole(output: &[u8]) -> usize {
    let is_line = validator("batch-line");
    let mut n_lines = 0;
    for line in output.split_inclusive(|byte| *byte == b'\n') {
        let Some(line) = line.strip_suffix(b"\n") else {
            break;
        };
        let answer: Value = serde_json::from_slice(line).expect("an answer is JSON");
        n_lines += 1;
        assert_eq!(answer["line"], json!(n_lines));
        assert!(n_lines > 100 || is_line.is_valid(&answer), "{answer}");
    }
    n_lines
}

/// The most memory a process took so far.
#[cfg(target_os = "linux")]
fn peak_kib(child: &Child) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", child.id()))
        .expect("the process is there");
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let number = line.and_then(|it| it.split_whitespace().next());
    number
        .and_then(|it| it.parse().ok())
        .expect("its peak is known")
}

// --- How it ends ------------------------------------------------------------------------------------------------

#[test]
fn refusals_are_answers_and_no_input_needs_none() {
    let output = fed(&[], b"");
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    assert!(output.stdout.is_empty());
    let output = fed(
        &[],
        b"x\n\n\0\n\xff\n{}\r\n{\"questionnaire\":1,\"questionnaire\":1}\n",
    );
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    assert_eq!(whole(&output.stdout), 6);
    assert!(said(&output.stderr).contains("6 of 6 lines refused"));
}

#[test]
fn an_input_that_ends_within_a_line_is_answered_and_is_no_success() {
    let output = fed(&[], b"x\nx");
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(whole(&output.stdout), 2);
    assert!(said(&output.stderr).contains("ended without a line feed"));
}

#[test]
fn another_rule_set_than_the_one_that_is_meant_is_refused() {
    let digest = &embedded_once().0.digest;
    for right in [digest.clone(), format!("sha256:{}", &digest[..12])] {
        let output = fed(&["--rules-digest", &right], b"x\n");
        assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    }
    for (wrong, why) in [
        ("0123456789ab", "nobody was screened"),
        (&digest[..11], "12 to 64"),
        ("not a digest", "12 to 64"),
    ] {
        let output = fed(&["--rules-digest", wrong], b"x\n");
        assert_eq!(output.status.code(), Some(2));
        assert!(output.stdout.is_empty());
        assert!(
            said(&output.stderr).contains(why),
            "{}",
            said(&output.stderr)
        );
    }
}

#[test]
fn what_is_no_file_of_lines_is_refused() {
    for path in ["examples", "no/such/file"] {
        let output = batch(&[path]).output().expect("the program starts");
        assert_eq!(output.status.code(), Some(2));
        assert!(said(&output.stderr).contains("cannot be read"));
    }
}

// --- The output -------------------------------------------------------------------------------------------------

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_never_a_success() {
    let folder = tempfile::tempdir().expect("a folder");
    let (input, summary) = (folder.path().join("in"), folder.path().join("summary"));
    std::fs::write(&input, "x\n".repeat(2_000)).expect("the file can be written");
    let options = ["--summary", summary.to_str().expect("a name")];
    let input = input.to_str().expect("a name");
    let counted = || -> Value {
        let text = std::fs::read(&summary).expect("the summary is there");
        serde_json::from_slice(&text).expect("JSON")
    };
    // Full from the start.
    let full = File::options()
        .write(true)
        .open("/dev/full")
        .expect("the full device");
    let output = batch(&[&[input][..], &options].concat())
        .stdout(full)
        .output()
        .expect("the program starts");
    assert_eq!(output.status.code(), Some(74), "{}", said(&output.stderr));
    let told = said(&output.stderr);
    assert_eq!(
        told.matches("the result could not be written").count(),
        1,
        "{told}"
    );
    assert_eq!(counted()["complete"], json!(false));
    assert_eq!(counted()["lines"], json!(0));
    // Full in the middle of a line: no file may grow beyond 64 blocks of 512 or 1,024 bytes.
    let out = folder.path().join("out");
    let program = program();
    let mut shell = Command::new("sh");
    for name in OWN_ENVIRONMENT {
        shell.env_remove(name);
    }
    let output = shell
        .args([
            "-c",
            "trap '' XFSZ; ulimit -f 64; exec \"$0\" batch in > out",
        ])
        .arg(program.get_program())
        .current_dir(folder.path())
        .output()
        .expect("a shell starts");
    assert_eq!(output.status.code(), Some(74), "{}", said(&output.stderr));
    let written = std::fs::read(out).expect("the output is there");
    assert!(!written.ends_with(b"\n") && written.len() >= 64 * 512);
    let n_lines = whole(&written);
    assert!((50..2_000).contains(&n_lines), "{n_lines}");
}

#[test]
fn a_reader_that_goes_away_ends_it_without_a_word() {
    let mut child = batch(&[]).spawn().expect("the program starts");
    let mut stdin = child.stdin.take().expect("an input");
    let mut stdout = BufReader::new(child.stdout.take().expect("an output"));
    // More than pipes hold, and never an end.
    let writer =
        std::thread::spawn(move || while stdin.write_all(&b"x\n".repeat(1_000)).is_ok() {});
    let mut first = String::new();
    stdout.read_line(&mut first).expect("an answer");
    drop(stdout);
    let output = child.wait_with_output().expect("the program ends");
    writer.join().expect("its input was closed");
    assert_eq!(output.status.code(), Some(74));
    assert!(
        !said(&output.stderr).contains("written"),
        "{}",
        said(&output.stderr)
    );
}

#[test]
fn what_a_killed_batch_wrote_is_whole_lines() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("out");
    let out = File::create(&path).expect("the file can be made");
    let mut child = batch(&[]).stdout(out).spawn().expect("the program starts");
    let mut stdin = child.stdin.take().expect("an input");
    let writer =
        std::thread::spawn(move || while stdin.write_all(&b"x\n".repeat(1_000)).is_ok() {});
    while path.metadata().expect("the file is there").len() < 1 << 20 {
        std::thread::sleep(Duration::from_millis(10));
    }
    child.kill().expect("it is stopped");
    child.wait().expect("it ended");
    writer.join().expect("its input was closed");
    assert!(whole(&std::fs::read(&path).expect("the output is there")) > 1_000);
}

#[test]
fn an_answer_does_not_wait_for_the_next_line_and_a_stop_keeps_what_was_answered() {
    let mut child = batch(&[]).spawn().expect("the program starts");
    let mut stdin = child.stdin.take().expect("an input");
    let mut stdout = BufReader::new(child.stdout.take().expect("an output"));
    for number in 1..=3 {
        stdin.write_all(b"x\nx").expect("a line and a half");
        let mut answer = String::new();
        stdout.read_line(&mut answer).expect("an answer");
        assert!(answer.starts_with(&format!("{{\"line\":{number},")));
    }
    let asked = Command::new("kill")
        .args(["-TERM", &child.id().to_string()])
        .status()
        .expect("kill starts");
    assert!(asked.success());
    assert_eq!(child.wait().expect("it ends").code(), Some(130));
    let mut rest = String::new();
    stdout.read_to_string(&mut rest).expect("the rest");
    assert_eq!(rest, "");
}

// --- The input --------------------------------------------------------------------------------------------------

#[test]
fn a_file_that_changes_while_it_is_read_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("in");
    let change = |change: &dyn Fn(&Path)| {
        std::fs::write(&path, "x\n".repeat(200_000)).expect("the file can be written");
        let mut child = batch(&[path.to_str().expect("a name")])
            .spawn()
            .expect("the program starts");
        let mut stdout = BufReader::new(child.stdout.take().expect("an output"));
        let mut answers = String::new();
        stdout.read_line(&mut answers).expect("an answer");
        // Nobody reads on, so that most of the file is not read yet.
        change(&path);
        stdout.read_to_string(&mut answers).expect("the rest");
        let output = child.wait_with_output().expect("the program ends");
        assert_eq!(output.status.code(), Some(2), "{}", said(&output.stderr));
        assert!(
            said(&output.stderr).contains("changed while it was read"),
            "{}",
            said(&output.stderr)
        );
        whole(answers.as_bytes())
    };
    let cut = change(&|path| {
        let file = File::options().write(true).open(path).expect("the file");
        file.set_len(1_000).expect("it is cut");
    });
    assert!((500..200_000).contains(&cut), "{cut}");
    let gone = change(&|path| std::fs::remove_file(path).expect("it is removed"));
    assert_eq!(gone, 200_000);
    let longer = change(&|path| {
        let mut file = File::options().append(true).open(path).expect("the file");
        file.write_all(b"x\n").expect("it grows");
    });
    assert_eq!(longer, 200_001);
}

/// A hundred megabytes on one line, two hundred on many, then a hundred thousand lines: always in the same memory.
#[cfg(target_os = "linux")]
#[test]
fn no_input_takes_more_memory_than_another() {
    let mut child = batch(&["--threads", "4"])
        .spawn()
        .expect("the program starts");
    let mut stdin = child.stdin.take().expect("an input");
    let stdout = BufReader::new(child.stdout.take().expect("an output"));
    let n_lines = 1 + 2_000 + 100_000;
    let writer = std::thread::spawn(move || -> std::io::Result<ChildStdin> {
        let megabyte = vec![b'x'; 1_000_000];
        for _ in 0..100 {
            stdin.write_all(&megabyte)?;
        }
        stdin.write_all(b"\n")?;
        let long = [&megabyte[..100_000], b"\n"].concat();
        for _ in 0..2_000 {
            stdin.write_all(&long)?;
        }
        for _ in 0..100 {
            stdin.write_all(&b"x\n".repeat(1_000))?;
        }
        Ok(stdin)
    });
    let mut answers = Vec::new();
    for answer in stdout.lines().take(n_lines) {
        answers.extend_from_slice(answer.expect("an answer").as_bytes());
        answers.push(b'\n');
    }
    assert_eq!(whole(&answers), n_lines);
    assert!(
        said(&answers[..500]).contains("text/too-large"),
        "{}",
        said(&answers[..500])
    );
    let peak = peak_kib(&child);
    assert!(peak < MOST_KIB, "{peak} KiB");
    drop(writer.join().expect("a writer").expect("all was read"));
    assert_eq!(child.wait().expect("it ends").code(), Some(0));
}

/// Reads as given; then it ends, or fails.
struct Pieces {
    left: Vec<Vec<u8>>,
    fails: bool,
}

impl Read for Pieces {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        if self.left.is_empty() {
            return if self.fails {
                Err(std::io::Error::other("the disk is gone"))
            } else {
                Ok(0)
            };
        }
        let next = self.left.remove(0);
        buffer[..next.len()].copy_from_slice(&next);
        Ok(next.len())
    }
}

#[test]
fn what_was_read_before_a_disk_failed_is_answered_and_half_a_line_is_not() {
    let input = Pieces {
        left: vec![b"a\nb\nc".to_vec(), b"d\ne".to_vec()],
        fails: true,
    };
    let mut blocks = Blocks::new(input, 256);
    let mut lines = Vec::new();
    let end = loop {
        match blocks.next(Vec::new()) {
            Ok(block) => lines.extend(block.lines().map(|(at, line)| (at, line.to_vec()))),
            Err(end) => break end,
        }
    };
    let expected = [(1, "a"), (2, "b"), (3, "cd")].map(|(at, line)| (at, line.into()));
    assert_eq!(lines, expected);
    assert!(matches!(end, InputEnd::Unreadable(_)));
}

#[test]
#[should_panic(expected = "a scoped thread panicked")]
fn a_thread_that_breaks_is_not_waited_for() {
    let mut blocks = Blocks::new(Cursor::new(b"a\nb\nc\n".to_vec()), 1);
    run(
        move |buffer| blocks.next(buffer),
        2,
        &AtomicBool::new(false),
        |block| assert!(block.first != 2, "this one"),
        |_, ()| ControlFlow::Continue(()),
    );
}

proptest! {
    #![proptest_config(ProptestConfig { rng_seed: SEED, ..ProptestConfig::with_cases(300) })]

    /// However the bytes arrive and however many lines a block has, the lines are those between the line feeds.
    #[test]
    fn blocks_are_the_lines_that_were_read(
        pieces in prop::collection::vec(prop::collection::vec(prop_oneof![Just(b'\n'), any::<u8>()], 1..40), 0..20),
        most_lines in 1_usize..9,
    ) {
        let text = pieces.concat();
        let input = Pieces { left: pieces, fails: false };
        let mut blocks = Blocks::new(input, most_lines);
        let mut found: Vec<Vec<u8>> = Vec::new();
        let end = loop {
            match blocks.next(Vec::new()) {
                Ok(block) => {
                    prop_assert_eq!(block.first, found.len() as u64 + 1);
                    let lines: Vec<Vec<u8>> = block.lines().map(|(_, line)| line.to_vec()).collect();
                    prop_assert!((1..=most_lines).contains(&lines.len()));
                    found.extend(lines);
                }
                Err(end) => break end,
            }
        };
        let whole = text.is_empty() || text.ends_with(b"\n");
        let lines = text.strip_suffix(b"\n").unwrap_or(&text).split(|byte| *byte == b'\n');
        let expected: Vec<Vec<u8>> = lines.map(<[u8]>::to_vec).filter(|_| !text.is_empty()).collect();
        prop_assert_eq!(found, expected);
        prop_assert_eq!(matches!(end, InputEnd::Whole), whole);
        prop_assert_eq!(matches!(end, InputEnd::WithinLine), !whole);
    }
}

#[test]
fn of_a_line_that_is_too_long_there_is_one_byte_too_many() {
    let longest = 1 << 20;
    for n_bytes in [longest - 1, longest, longest + 1, longest + 2, 3 * longest] {
        let input = [b"a\n", &vec![b'x'; n_bytes][..], b"\nb\n"].concat();
        let mut blocks = Blocks::new(Cursor::new(input), 256);
        let mut found: Vec<usize> = Vec::new();
        while let Ok(block) = blocks.next(Vec::new()) {
            found.extend(block.lines().map(|(_, line)| line.len()));
        }
        assert_eq!(found, [1, n_bytes.min(longest + 1), 1]);
    }
}
