//! Reads the embedded rule set's YAML once, when the program is built, so that it need not be scanned
//! at every start. What it writes is a tape: the parser's events, one record each. The program builds
//! its tree from the tape by the same code that serves the parser, and a test holds the two equal. The digest of these
//! files is computed here, too, by the same code that computes any other.
//!
//! Names, units and tests are still checked at every start; `rules check` and the tests read the
//! very same bytes with full care. A changed file is never taken from the tape. Without it a start
//! takes more than twice as long, since a program that screens one referral would spend most of its
//! time scanning YAML.

use std::collections::BTreeMap;
use std::error::Error;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use granit_parser::{Event, Parser, ScalarStyle};

#[path = "rule_set/digest.rs"]
mod digest;

fn main() -> Result<(), Box<dyn Error>> {
    for folder in ["rules", "schemas"] {
        println!("cargo:rerun-if-changed={folder}");
    }
    for source in ["src/build.rs", "src/rule_set/digest.rs"] {
        println!("cargo:rerun-if-changed={source}");
    }
    let top = PathBuf::from(std::env::var("CARGO_MANIFEST_DIR")?);
    let mut table = String::from("[\n");
    let mut files = BTreeMap::new();
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
            files.insert(name, std::fs::read(path)?);
        }
    }
    table.push_str("]\n");
    let out = PathBuf::from(std::env::var("OUT_DIR")?);
    std::fs::write(out.join("tapes.rs"), table)?;
    let files = files
        .iter()
        .map(|(path, bytes)| (path.as_str(), bytes.as_slice()));
    std::fs::write(out.join("digest"), digest::digest(files))?;
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
