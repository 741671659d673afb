//! Where the texts of a rule set come from: embedded in the binary, or a folder.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use include_dir::{Dir, include_dir};
use sha2::{Digest, Sha256};

use crate::diagnostic::{Code, Diagnostic};

static RULES: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/rules");
static SCHEMAS: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/schemas");

/// The events of each embedded file but the cases, as the build script took them down.
static TAPES: &[(&str, &str)] = &include!(concat!(env!("OUT_DIR"), "/tapes.rs"));

/// The tape of an embedded file; `None` if there is none, or if these are not its bytes.
pub fn tape(path: &str, bytes: &[u8]) -> Option<&'static str> {
    let same = RULES.get_file(path).is_some_and(|it| it.contents() == bytes);
    TAPES.iter().find(|(name, _)| same && *name == path).map(|(_, tape)| *tape)
}

/// Most bytes one file of a rule set may have.
pub const LARGEST_RULE_FILE: u64 = 8 << 20;

/// The files of a rule set, by path within it.
#[derive(Debug, Clone, Default)]
pub struct RuleFiles {
    /// What the user knows the folder by.
    pub folder: String,
    /// Contents, by path with `/`.
    pub files: BTreeMap<String, Vec<u8>>,
    /// How much of the reading is repeated.
    pub care: Care,
}

/// How much of the reading of a rule set is repeated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Care {
    /// Two readers and the schemas judge every file.
    #[default]
    Full,
    /// All checks of names, on a tree that was read when the program was built; neither second reader
    /// nor schemas. Only for the embedded rule set: the tests read the very same bytes with full care,
    /// and a program that starts for one referral need not do so again.
    Embedded,
}

impl RuleFiles {
    /// The rule set embedded in the binary.
    pub fn embedded() -> Self {
        let mut files = BTreeMap::new();
        collect_embedded(&RULES, &mut files);
        Self { folder: "rules".into(), files, care: Care::Embedded }
    }

    /// The rule set of a folder: its YAML files, and those of `concerns/` and `cases/`. One whose ending is written in
    /// another way, such as `limits.YAML`, is taken, too: the rule set names none so, and it is refused.
    ///
    /// # Errors
    /// A diagnostic for everything that cannot be read; the caller shows them.
    pub fn folder(path: &Path) -> Result<Self, Vec<Diagnostic>> {
        let mut taken = Self { folder: path.display().to_string(), ..Self::default() };
        if !path.is_dir() {
            return Err(vec![
                Diagnostic::bare(Code::NotFound, format!("there is no folder `{}`", path.display()))
                    .help("--rules names a folder of the same shape as the embedded rule set"),
            ]);
        }
        let Listed { files, mut unreadable, .. } = Listed::of(path);
        for (name, place) in files {
            match read_bounded(&place, LARGEST_RULE_FILE) {
                Ok(bytes) => {
                    taken.files.insert(name, bytes);
                }
                Err(diagnostic) => unreadable.push(*diagnostic),
            }
        }
        if unreadable.is_empty() { Ok(taken) } else { Err(unreadable) }
    }

    /// The name a user knows a file by.
    pub fn name_of(&self, path: &str) -> String {
        format!("{}/{path}", self.folder.trim_end_matches('/'))
    }

    /// SHA-256, in hexadecimal, over every file but the cases and the allowances: its path and its lines, without line
    /// end marks, white space at line ends, or empty lines at its end.
    ///
    /// Of ruleset.yaml the status, the approval and the withdrawal do not count, nor do empty lines: approving a content
    /// must not change it, since the approval names this digest.
    pub fn digest(&self) -> String {
        let mut hash = Sha256::new();
        for (path, bytes) in self.files.iter().filter(|(path, _)| !path.starts_with("cases/") && *path != ALLOWANCES) {
            let text = String::from_utf8_lossy(bytes);
            hash.update(path.as_bytes());
            hash.update([0]);
            let lines = text.trim_start_matches('\u{feff}').trim_end().lines().map(str::trim_end);
            let lines: Vec<&str> = if path == HEAD { content_of_head(lines) } else { lines.collect() };
            for line in lines {
                hash.update(line.as_bytes());
                hash.update([b'\n']);
            }
            hash.update([0]);
        }
        hex(&hash.finalize())
    }
}

/// What lies in a folder of a rule set.
#[derive(Default)]
struct Listed {
    /// YAML files, by path within the folder with `/`.
    files: Vec<(String, PathBuf)>,
    /// Everything else but documents (`.md`) and hidden entries, which are nobody's rules.
    passed_over: Vec<String>,
    /// What cannot be looked into.
    unreadable: Vec<Diagnostic>,
}

impl Listed {
    fn of(path: &Path) -> Self {
        let mut listed = Self::default();
        for prefix in ["", "concerns/", "cases/"] {
            listed.add(&path.join(prefix), prefix);
        }
        listed.passed_over.sort();
        listed
    }

    fn add(&mut self, folder: &Path, prefix: &str) {
        let unreadable = |error: &std::io::Error| {
            Diagnostic::bare(Code::Unreadable, format!("the folder `{}` cannot be read: {error}", folder.display()))
        };
        let entries = match std::fs::read_dir(folder) {
            Ok(entries) => entries,
            // Which files are missing is told when they are looked for.
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return,
            Err(error) => return self.unreadable.push(unreadable(&error)),
        };
        for entry in entries {
            let entry = match entry {
                Ok(entry) => entry,
                Err(error) => {
                    self.unreadable.push(unreadable(&error));
                    continue;
                }
            };
            let (name, place) = (entry.file_name().to_string_lossy().into_owned(), entry.path());
            let ending = place.extension().map(|it| it.to_string_lossy().to_lowercase()).unwrap_or_default();
            let own_folder = prefix.is_empty() && ["concerns", "cases"].contains(&name.as_str());
            // What is no ordinary file, such as a link that leads nowhere, is told when it is read.
            if ["yaml", "yml"].contains(&ending.as_str()) {
                self.files.push((format!("{prefix}{name}"), place));
            } else if ending != "md" && !name.starts_with('.') && !(own_folder && place.is_dir()) {
                self.passed_over.push(format!("{prefix}{name}"));
            }
        }
    }
}

/// What lies in a folder of a rule set and is no part of it, sorted. Documents (`.md`) and hidden entries do not count.
pub fn passed_over(folder: &Path) -> Vec<String> {
    Listed::of(folder).passed_over
}

/// The file of remarks that are allowed to stand. Like the cases, it decides nothing.
pub const ALLOWANCES: &str = "allowances.yaml";

/// The file that says what a rule set is, and whether it is approved.
const HEAD: &str = "ruleset.yaml";

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
            about_approval = ["status:", "approval:", "withdrawn:"].iter().any(|key| line.starts_with(key));
        }
        if is_comment || !about_approval {
            content.push(line);
        }
    }
    content
}

/// SHA-256 of bytes, in hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::with_capacity(64), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

fn collect_embedded(dir: &Dir<'_>, files: &mut BTreeMap<String, Vec<u8>>) {
    for file in dir.files() {
        let path = file.path().to_string_lossy().replace('\\', "/");
        if path.ends_with(".yaml") {
            files.insert(path, file.contents().to_vec());
        }
    }
    for inner in dir.dirs() {
        collect_embedded(inner, files);
    }
}

/// The embedded rule set's own log of its editions, as Markdown.
pub fn embedded_change_log() -> &'static str {
    RULES.get_file("CHANGELOG.md").and_then(|it| it.contents_utf8()).unwrap_or_default()
}

/// The text of an embedded schema, by the name of its file kind.
pub fn schema(name: &str) -> Option<&'static str> {
    SCHEMAS.get_file(format!("{name}.schema.json"))?.contents_utf8()
}

/// The names of all embedded schemas, sorted.
pub fn schema_names() -> Vec<String> {
    let mut names: Vec<String> =
        SCHEMAS.files().filter_map(|file| file.path().to_str()?.strip_suffix(".schema.json").map(str::to_owned)).collect();
    names.sort();
    names
}

/// Reads an ordinary file of at most so many bytes.
///
/// # Errors
/// A diagnostic that names the file.
pub fn read_bounded(path: &Path, largest: u64) -> Result<Vec<u8>, Box<Diagnostic>> {
    use std::io::Read as _;
    let shown = path.display();
    let missing = |title: String, help: &str| Box::new(Diagnostic::bare(Code::NotFound, title).help(help));
    let about = match std::fs::metadata(path) {
        Ok(about) => about,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            return Err(missing(format!("there is no file `{shown}`"), "check the spelling of the path"));
        }
        Err(error) => {
            return Err(Box::new(Diagnostic::bare(Code::Unreadable, format!("`{shown}` cannot be read: {error}"))));
        }
    };
    if !about.is_file() {
        return Err(missing(format!("`{shown}` is not an ordinary file"), "name a file, or a folder of files"));
    }
    if about.len() > largest {
        return Err(Box::new(super::text::too_large(&shown.to_string(), largest)));
    }
    let mut bytes = Vec::new();
    let read = std::fs::File::open(path).and_then(|file| file.take(largest + 1).read_to_end(&mut bytes));
    match read {
        Ok(_) if u64::try_from(bytes.len()).unwrap_or(u64::MAX) > largest => {
            Err(Box::new(super::text::too_large(&shown.to_string(), largest)))
        }
        Ok(_) => Ok(bytes),
        Err(error) => Err(Box::new(Diagnostic::bare(Code::Unreadable, format!("`{shown}` cannot be read: {error}")))),
    }
}
