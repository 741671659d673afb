//! A register of which one byte was changed.

use std::path::Path;

use preblock::inner::document::diagnostic::Code;
use preblock::inner::register::Register;
use preblock::inner::register::check::check;
use preblock::inner::register::entry::RegisterEntry;
use preblock::inner::register::people::Person;
use preblock::inner::register::state::PileRow;

use super::{batch, folder, small};

/// All that can be read of a register.
type Content = (Vec<RegisterEntry>, Vec<PileRow>, Vec<Person>);

fn content(path: &Path) -> Option<Content> {
    let register = Register::open_to_read(path).ok()?;
    Some((
        register.all_entries().ok()?,
        register.pile().ok()?,
        register.people().ok()?,
    ))
}

/// What became of the bytes that were changed.
#[derive(Debug, Default)]
struct Counts {
    not_opened: usize,
    found: usize,
    /// Bytes that hold nothing: room that is not used, counters of SQLite.
    harmless: usize,
}

/// Changes every byte of a part of a register, one at a time: `check` finds it, or the file does not open, or nothing that can be
/// read of it has changed. `PREBLOCK_BYTES=all` tries every byte and not only some.
#[test]
fn no_byte_is_changed_unseen() {
    let folder = folder();
    let path = small(folder.path());
    // Small pages, so that few bytes hold nothing.
    batch(
        &path,
        "pragma journal_mode = delete; pragma page_size = 512; vacuum; pragma journal_mode = wal;",
    );
    let bytes = std::fs::read(&path).unwrap_or_default();
    let whole = content(&path);
    assert!(
        whole.is_some() && bytes.len() > 10_000,
        "{} bytes",
        bytes.len()
    );
    // Not a divisor of the size of a page: every place of a page has its turn.
    let every = if std::env::var_os("PREBLOCK_BYTES").is_some() {
        1
    } else {
        23
    };
    let places: Vec<usize> = (0..bytes.len()).step_by(every).collect();
    let counts: Vec<Counts> = std::thread::scope(|scope| {
        let halves: Vec<_> = places
            .chunks(places.len().div_ceil(2))
            .enumerate()
            .map(|(half, places)| {
                let (bytes, whole) = (&bytes, &whole);
                let path = folder.path().join(format!("changed-{half}"));
                scope.spawn(move || half_of(&path, places, bytes, whole.as_ref()))
            })
            .collect();
        halves
            .into_iter()
            .flat_map(std::thread::ScopedJoinHandle::join)
            .collect()
    });
    let sum = |of: fn(&Counts) -> usize| counts.iter().map(of).sum::<usize>();
    let (not_opened, found, harmless) = (
        sum(|it| it.not_opened),
        sum(|it| it.found),
        sum(|it| it.harmless),
    );
    println!(
        "{} bytes changed: {not_opened} do not open, {found} found, {harmless} hold nothing",
        places.len()
    );
    assert_eq!(not_opened + found + harmless, places.len());
    assert!(
        not_opened + found > places.len() / 2,
        "{not_opened} do not open, {found} found, {harmless} hold nothing"
    );
}

fn half_of(path: &Path, places: &[usize], bytes: &[u8], whole: Option<&Content>) -> Counts {
    let mut counts = Counts::default();
    for place in places {
        let mut changed = bytes.to_vec();
        changed[*place] ^= 0x01;
        assert!(std::fs::write(path, &changed).is_ok());
        match check(path, None, &mut |was, _| Some(was.clone())) {
            Err(_) => counts.not_opened += 1,
            // The copy itself may be read by others.
            Ok(it)
                if it
                    .found
                    .iter()
                    .any(|it| it.code != Code::RegisterOpenToOthers) =>
            {
                counts.found += 1;
            }
            Ok(_) => {
                assert_eq!(
                    content(path).as_ref(),
                    whole,
                    "byte {place} was changed unseen"
                );
                counts.harmless += 1;
            }
        }
    }
    counts
}
