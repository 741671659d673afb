//! Copies of a register: made while the desk works, checked after they are written, never over a file that is there.

use std::path::Path;

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
    let file = file::open(from, false)?;
    file::whole(to, |beside| {
        let name = beside.to_str().ok_or_else(|| {
            let title = format!("`{}` is no name in UTF-8", to.display());
            Box::new(Diagnostic::bare(Code::RegisterUnwritable, title))
        })?;
        let copied = file.connection.execute("vacuum into ?1", [name]);
        copied.map(|_| ()).map_err(|it| file::diagnostic(to, &it))
    })?;
    // Nothing is screened here: what was decided is no matter of the copy.
    let found = check(to, None, &mut |_, _| None)?;
    Ok(RegisterCheck {
        is_as_it_lies: file.is_as_it_lies,
        ..found
    })
}
