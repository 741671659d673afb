//! Reads the embedded rule set's YAML once, when the program is built, so that it need not be scanned
//! at every start. What it writes is a tape: the parser's events, one record each. The program builds
//! its tree from the tape by the same code that serves the parser, and a test holds the two equal.
//!
//! Names, units and tests are still checked at every start; `rules check` and the tests read the
//! very same bytes with full care. A changed file is never taken from the tape. Without it a start
//! takes more than twice as long, since a program that screens one referral would spend most of its
//! time scanning YAML.

use std::error::Error;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use granit_parser::{Event, Parser, ScalarStyle};

fn main() -> Result<(), Box<dyn Error>> {
    for folder in ["rules", "schemas"] {
        println!("cargo:rerun-if-changed={folder}");
    }
    println!("cargo:rerun-if-changed=src/build.rs");
    let top = PathBuf::from(std::env::var("CARGO_MANIFEST_DIR")?);
    let mut table = String::from("[\n");
    for folder in ["rules", "rules/concerns", "rules/letters"] {
        let mut paths = Vec::new();
        for entry in std::fs::read_dir(top.join(folder))? {
            paths.push(entry?.path());
        }
        paths.sort();
        for path in paths
            .iter()
            .filter(|path| path.extension().is_some_and(|it| it == "yaml"))
        {
            let name = path
                .strip_prefix(top.join("rules"))?
                .to_string_lossy()
                .replace('\\', "/");
            writeln!(table, "({name:?}, {:?}),", tape(path)?)?;
        }
    }
    table.push_str("]\n");
    std::fs::write(
        Path::new(&std::env::var("OUT_DIR")?).join("tapes.rs"),
        table,
    )?;
    Ok(())
}

/// One record an event: a letter, and for a scalar its length in bytes, a colon, and its text.
fn tape(path: &Path) -> Result<String, Box<dyn Error>> {
    let text = std::fs::read_to_string(path)?;
    let mut tape = String::new();
    for event in
        Parser::new_from_str_with_options(&text, granit_parser::options! { emit_comments: false })
    {
        let (event, span) = event.map_err(|error| format!("{}: {error}", path.display()))?;
        match event {
            Event::Scalar(_, ScalarStyle::Plain, ..)
                if span.byte_range().is_none_or(|it| it.is_empty()) =>
            {
                tape.push_str("p0:")
            }
            Event::Scalar(text, ScalarStyle::Plain, ..) => write!(tape, "p{}:{text}", text.len())?,
            Event::Scalar(text, ..) => write!(tape, "q{}:{text}", text.len())?,
            Event::SequenceStart(..) => tape.push('['),
            Event::SequenceEnd => tape.push(']'),
            Event::MappingStart(..) => tape.push('{'),
            Event::MappingEnd => tape.push('}'),
            Event::Alias(_) => {
                return Err(format!("{}: aliases are not used here", path.display()).into());
            }
            _ => {}
        }
    }
    Ok(tape)
}
