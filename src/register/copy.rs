//! Copies of a register: made while the desk works, checked after they are written, never over a file that is there.

use std::fs::{self, File, OpenOptions};
use std::path::Path;

use rusqlite::Connection;

use crate::document::diagnostic::{Code, Diagnostic};
use crate::register::check::{RegisterCheck, check};
use crate::register::file;

/// Copies a register to a place where nothing is, and checks the copy. What a backup is made by, and what restores one.
///
/// The copy holds nothing that was removed. It appears under its name only once it is whole and on the disk.
///
/// # Errors
/// The register cannot be opened, the place is taken or cannot be written, or the copy is not what it should be.
pub fn copy(from: &Path, to: &Path) -> Result<RegisterCheck, Box<Diagnostic>> {
    let connection = file::open(from, false)?;
    if to.symlink_metadata().is_ok() {
        return Err(Box::new(Diagnostic::bare(
            Code::RegisterThere,
            format!("`{}` is there already", to.display()),
        )));
    }
    let beside = file::beside(to, &format!(".{}.part", std::process::id()));
    let copied = written(&connection, to, &beside);
    if copied.is_err() {
        let _ = fs::remove_file(&beside);
    }
    copied?;
    // Nothing is screened here: what was decided is no matter of the copy.
    check(to, None, &mut |_, _| None)
}

fn written(connection: &Connection, to: &Path, beside: &Path) -> Result<(), Box<Diagnostic>> {
    let unwritable = |error: &std::io::Error| {
        Box::new(Diagnostic::bare(
            Code::RegisterUnwritable,
            format!("`{}` cannot be written: {error}", to.display()),
        ))
    };
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let made = options.open(beside).map_err(|it| unwritable(&it))?;
    drop(made);
    let name = beside.to_str().ok_or_else(|| {
        Box::new(Diagnostic::bare(
            Code::RegisterUnwritable,
            format!("`{}` is no name in UTF-8", to.display()),
        ))
    })?;
    connection
        .execute("vacuum into ?1", [name])
        .map_err(|it| file::diagnostic(to, &it))?;
    let folder = to
        .parent()
        .filter(|it| !it.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    File::open(beside)
        .and_then(|it| it.sync_all())
        .and_then(|()| fs::rename(beside, to))
        // The name, too, must be on the disk.
        .and_then(|()| {
            if cfg!(unix) {
                File::open(folder)?.sync_all()
            } else {
                Ok(())
            }
        })
        .map_err(|it| unwritable(&it))
}
