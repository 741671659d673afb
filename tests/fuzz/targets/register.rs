//! The file of a register, changed: each line of the input is a place and what stands there instead, both in hexadecimal; any
//! other input is the whole file. Every change is found, or the file does not open, or nothing that can be read of it changed.
#![no_main]

use std::path::Path;
use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use preblock::inner::document::diagnostic::Code;
use preblock::inner::register::{New, Register};
use preblock::inner::register::check::check;
use preblock::inner::register::entry::RegisterEntry;
use preblock::inner::register::export::{csv, ndjson};
use preblock::inner::register::happening::Happening;
use preblock::inner::register::people::{Person, PersonRole};
use preblock::inner::register::state::PileRow;

/// A register of one referral that was opened and closed, with pages so small that few bytes hold nothing.
static WHOLE: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let path = std::env::temp_dir().join(format!("fuzz-{}.whole", std::process::id()));
    let mut register = Register::create(&path, "fuzz").expect("a register that can be made");
    let person = Happening::PersonSet { initials: "NU".into(), role: PersonRole::Nurse, hash: "none".into(), is_on: true };
    let opened = Happening::Opened { from: "post".into() };
    let closed = Happening::Closed { why: "moved away".into() };
    for (referral, happening) in [(None, person), (Some("T-1"), opened), (Some("T-1"), closed)] {
        let at = chrono::DateTime::from_timestamp(1_790_000_000, 0).expect("a time").fixed_offset();
        let new = New { at, person: "NU".into(), form: None, referral: referral.map(str::to_owned), happening };
        register.append(new).expect("what fits a register");
    }
    drop(register);
    let raw = rusqlite::Connection::open(&path).expect("a file of SQLite");
    raw.execute_batch("pragma journal_mode = delete; pragma page_size = 512; vacuum;").expect("smaller pages");
    let bytes = std::fs::read(&path).expect("a file that can be read");
    for ending in ["", "-writer"] {
        let _ = std::fs::remove_file(preblock::inner::register::file::beside(&path, ending));
    }
    bytes
});
static CONTENT: LazyLock<(Content, String)> = LazyLock::new(|| {
    let content = in_file(&WHOLE, content).expect("the register can be read");
    let head = content.0.last().expect("a register with entries").head();
    (content, format!("{}:{}", head.seq, head.digest))
});

type Content = (Vec<RegisterEntry>, Vec<PileRow>, Vec<Person>);

fn content(path: &Path) -> Option<Content> {
    let register = Register::open_to_read(path).ok()?;
    Some((register.all_entries().ok()?, register.pile().ok()?, register.people().ok()?))
}

fn in_file<T>(bytes: &[u8], look: impl FnOnce(&Path) -> T) -> T {
    let path = std::env::temp_dir().join(format!("fuzz-{}.register", std::process::id()));
    std::fs::write(&path, bytes).expect("a file that can be written");
    let seen = look(&path);
    let _ = std::fs::remove_file(path);
    seen
}

/// The whole register with the changes that the input asks for; `None` if it is none of changes.
fn changed(input: &[u8]) -> Option<Vec<u8>> {
    let mut bytes = WHOLE.to_vec();
    for line in std::str::from_utf8(input).ok()?.lines() {
        let (place, new) = line.split_once(' ')?;
        let place = usize::from_str_radix(place, 16).ok()? % bytes.len();
        let new = u128::from_str_radix(new, 16).ok()?.to_be_bytes();
        let length = new.iter().skip_while(|it| **it == 0).count().max(1).min(bytes.len() - place);
        bytes[place..place + length].copy_from_slice(&new[16 - length..]);
    }
    Some(bytes)
}

fuzz_target!(|input: &[u8]| {
    let bytes = changed(input);
    in_file(bytes.as_deref().unwrap_or(input), |path| {
        let (whole, head) = &*CONTENT;
        let checked = check(path, Some(head), &mut |was, _| Some(was.clone()));
        // The file itself may be read by others.
        let is_sound = checked.is_ok_and(|it| it.found.iter().all(|it| it.code == Code::RegisterOpenToOthers));
        let content = content(path);
        if let Some((entries, ..)) = &content {
            let _ = (ndjson(entries), csv(entries));
        }
        assert!(!is_sound || content.as_ref() == Some(whole), "a change was not seen");
    });
});
