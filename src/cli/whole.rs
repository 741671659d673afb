//! Writing files whole or not at all: first beside the place, then into it.

use std::fmt;
use std::io::Write as _;
use std::path::Path;

use super::Status;

/// Why a file was not written, in words; what was there is as it was.
#[derive(Debug)]
pub enum NotWritten {
    /// What is there is not to be replaced, or the place names no file.
    LeftAlone(String),
    /// It could not be, as on a full disk.
    Failed(String),
}

impl NotWritten {
    /// What the program ends with.
    pub fn status(&self) -> Status {
        match self {
            Self::LeftAlone(_) => Status::Refused,
            Self::Failed(_) => Status::NotWritten,
        }
    }
}

impl fmt::Display for NotWritten {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::LeftAlone(why) | Self::Failed(why) => f.write_str(why),
        }
    }
}

/// Writes a file. One that is there is replaced only if `replace` says so, and only if it is an ordinary file: a device or
/// a link is somebody's way to another place.
///
/// # Errors
/// Why it was not written.
pub fn write(path: &Path, text: &str, replace: bool) -> Result<(), NotWritten> {
    let shown = path.display();
    let left = |why: String| Err(NotWritten::LeftAlone(why));
    match path.symlink_metadata() {
        Ok(there) if !there.is_file() => {
            let what = if there.is_symlink() { "a link" } else { "no ordinary file" };
            return left(format!("`{shown}` is {what} and was left as it is; only an ordinary file is replaced"));
        }
        Ok(_) if !replace => return left(format!("`{shown}` is there already and was left as it is; `--force` replaces it")),
        _ => {}
    }
    let Some(name) = path.file_name() else { return left(format!("`{shown}` names no file")) };
    let beside = path.with_file_name(format!(".{}.{}.part", name.to_string_lossy(), std::process::id()));
    let put = |it: &Path| -> std::io::Result<()> {
        let mut file = std::fs::OpenOptions::new().write(true).create_new(true).open(it)?;
        file.write_all(text.as_bytes())?;
        file.sync_all()
    };
    let written = put(&beside).and_then(|()| std::fs::rename(&beside, path));
    written.map_err(|error| {
        let _ = std::fs::remove_file(&beside);
        NotWritten::Failed(format!("`{shown}` cannot be written: {error}"))
    })
}

/// Writes several files into a folder, which is made if it is not there. A folder that holds anything is left as it is.
///
/// # Errors
/// Why not all were written.
pub fn write_folder(folder: &Path, files: &[(String, String)]) -> Result<(), NotWritten> {
    let shown = folder.display();
    std::fs::create_dir_all(folder).map_err(|error| NotWritten::Failed(format!("the folder `{shown}` cannot be made: {error}")))?;
    let mut inside =
        std::fs::read_dir(folder).map_err(|error| NotWritten::Failed(format!("the folder `{shown}` cannot be read: {error}")))?;
    if inside.next().is_some() {
        return Err(NotWritten::LeftAlone(format!("the folder `{shown}` is not empty and was left as it is")));
    }
    files.iter().try_for_each(|(name, text)| write(&folder.join(name), text, false))
}
