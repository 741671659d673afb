//! Writing files whole or not at all: first beside the place, then into it.

use std::io::Write as _;
use std::path::Path;

/// Writes a file. One that is there is replaced only if `replace` says so, and only if it is an ordinary file: a device or
/// a link is somebody's way to another place.
///
/// # Errors
/// Why it was not written, in words; then what was there is as it was.
pub(crate) fn write(path: &Path, text: &str, replace: bool) -> Result<(), String> {
    let shown = path.display();
    match path.symlink_metadata() {
        Ok(there) if !there.is_file() => {
            let what = if there.is_symlink() {
                "a link"
            } else {
                "no ordinary file"
            };
            return Err(format!(
                "`{shown}` is {what} and was left as it is; only an ordinary file is replaced"
            ));
        }
        Ok(_) if !replace => {
            return Err(format!("`{shown}` is there already and was left as it is"));
        }
        _ => {}
    }
    let name = path
        .file_name()
        .ok_or_else(|| format!("`{shown}` names no file"))?;
    let beside = path.with_file_name(format!(
        ".{}.{}.part",
        name.to_string_lossy(),
        std::process::id()
    ));
    let put = |it: &Path| -> std::io::Result<()> {
        let mut file = std::fs::OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(it)?;
        // A file that only its owner may read stays so.
        if let Ok(there) = path.metadata() {
            file.set_permissions(there.permissions())?;
        }
        file.write_all(text.as_bytes())?;
        file.sync_all()
    };
    let written = put(&beside).and_then(|()| std::fs::rename(&beside, path));
    written.map_err(|error| {
        let _ = std::fs::remove_file(&beside);
        format!("`{shown}` cannot be written: {error}")
    })
}

/// Writes several files into a folder, which is made if it is not there. A folder that holds anything is left as it is.
///
/// # Errors
/// Why not all were written, in words.
pub(crate) fn write_folder(folder: &Path, files: &[(String, String)]) -> Result<(), String> {
    let shown = folder.display();
    std::fs::create_dir_all(folder)
        .map_err(|error| format!("the folder `{shown}` cannot be made: {error}"))?;
    let mut inside = std::fs::read_dir(folder)
        .map_err(|error| format!("the folder `{shown}` cannot be read: {error}"))?;
    if inside.next().is_some() {
        return Err(format!(
            "the folder `{shown}` is not empty and was left as it is"
        ));
    }
    files.iter().try_for_each(|(name, text)| {
        let path = folder.join(name);
        let inner = path.parent().unwrap_or(folder);
        std::fs::create_dir_all(inner)
            .map_err(|error| format!("the folder `{}` cannot be made: {error}", inner.display()))?;
        write(&path, text, false)
    })
}
