//! The digest by which a rule set is known. The build script computes that of the embedded one by this same file.
//!
//! What judges a rule set and decides nothing is not part of it: worked cases and allowances. Guarantees are. Approving does
//! not change it either: of ruleset.yaml the status, `approval:`, `withdrawn:` and empty lines do not count.

use sha2::{Digest as _, Sha256};

/// The file of remarks that are allowed to stand. Like the cases, it decides nothing.
pub(crate) const ALLOWANCES: &str = "allowances.yaml";

/// The file that says what a rule set is, and whether it is approved.
pub(crate) const HEAD: &str = "ruleset.yaml";

/// SHA-256, in hexadecimal, over every file but the cases and the allowances: its path and its lines, without line
/// end marks, white space at line ends, or empty lines at its end. The files are given with their paths, sorted by these.
///
/// Of ruleset.yaml the status, the approval and the withdrawal do not count, nor do empty lines: approving a content
/// must not change it, since the approval names this digest.
pub(crate) fn digest<'a>(files: impl Iterator<Item = (&'a str, &'a [u8])>) -> String {
    let mut hash = Sha256::new();
    for (path, bytes) in
        files.filter(|(path, _)| !path.starts_with("cases/") && *path != ALLOWANCES)
    {
        let text = String::from_utf8_lossy(bytes);
        hash.update(path.as_bytes());
        hash.update([0]);
        let lines = text
            .trim_start_matches('\u{feff}')
            .trim_end()
            .lines()
            .map(str::trim_end);
        let lines: Vec<&str> = if path == HEAD {
            content_of_head(lines)
        } else {
            lines.collect()
        };
        for line in lines {
            hash.update(line.as_bytes());
            hash.update([b'\n']);
        }
        hash.update([0]);
    }
    hex(&hash.finalize())
}

/// The lines of ruleset.yaml that are content: all but empty ones, and but the status, approval and withdrawal with what
/// stands indented under them. A comment that starts a line is content wherever it stands.
///
/// INVARIANT: a key that is written in any other way (in quotes, in braces) counts as content, so at worst an approval
/// does not match.
fn content_of_head<'a>(lines: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let mut about_approval = false;
    let mut content = Vec::new();
    for line in lines.filter(|it| !it.is_empty()) {
        let is_comment = line.starts_with('#');
        if !is_comment && !line.starts_with([' ', '\t']) {
            about_approval = ["status:", "approval:", "withdrawn:"]
                .iter()
                .any(|key| line.starts_with(key));
        }
        if is_comment || !about_approval {
            content.push(line);
        }
    }
    content
}

/// Bytes in hexadecimal.
pub(crate) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes
        .iter()
        .fold(String::with_capacity(64), |mut text, byte| {
            let _ = write!(text, "{byte:02x}");
            text
        })
}
