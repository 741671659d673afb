//! Where the texts of a rule set come from: embedded in the binary, or a folder.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

use include_dir::{Dir, include_dir};
use sha2::{Digest as _, Sha256};

use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::reading::Reading;
use crate::document::shape;
use crate::document::source::{Node, Source};
use crate::document::text;
use crate::document::text::Read;
use crate::rule_set::digest::{HEAD, digest, hex};

static RULES: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/rules");

/// The events of each embedded file but the cases, as the build script took them down.
static TAPES: &[(&str, &str)] = &include!(concat!(env!("OUT_DIR"), "/tapes.rs"));

/// The digest of the embedded files, as the build script computed it.
static EMBEDDED_DIGEST: &str = include_str!(concat!(env!("OUT_DIR"), "/digest"));

/// The tape of an embedded file; `None` if there is none, or if these are not its bytes.
pub fn tape(path: &str, bytes: &[u8]) -> Option<&'static str> {
    let same = RULES
        .get_file(path)
        .is_some_and(|it| it.contents() == bytes);
    TAPES
        .iter()
        .find(|(name, _)| same && *name == path)
        .map(|(_, tape)| *tape)
}

/// Most bytes one file of a rule set may have.
pub(crate) const LARGEST_RULE_FILE: u64 = 8 << 20;

/// The registers that may be those of another rule set, as the schema of ruleset.yaml lists them, too.
const SHARED: [&str; 4] = ["medicines", "allergens", "anaesthetics", "sources"];

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

/// One text of a rule set that could be parsed.
#[derive(Debug, Clone)]
pub(crate) struct Parsed {
    /// The text.
    pub source: Arc<Source>,
    /// Its tree.
    pub root: Arc<Node>,
    /// Whether the schema has still to judge it.
    pub care: Care,
}

impl Parsed {
    /// Begins to read it, with what the schema of this name finds.
    pub(crate) fn reading(&self, schema: &str) -> Reading<'_> {
        let shape = match self.care {
            Care::Full => shape::check(schema, &self.source, &self.root),
            Care::Embedded => Vec::new(),
        };
        Reading::new(&self.source, shape)
    }
}

/// A file as it was found, and what came of reading it: that is done once, when somebody first asks.
#[derive(Debug)]
pub struct TextFile {
    name: String,
    bytes: Vec<u8>,
    read: OnceLock<Read>,
}

impl TextFile {
    /// A file that nobody has read yet, under the name the user knows it by.
    pub fn new(name: impl Into<String>, bytes: impl Into<Vec<u8>>) -> Self {
        Self {
            name: name.into(),
            bytes: bytes.into(),
            read: OnceLock::new(),
        }
    }

    /// What the user knows the file by.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Its content.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// What came of reading it.
    pub fn read(&self) -> &Read {
        self.read
            .get_or_init(|| text::read(&self.name, &self.bytes, LARGEST_RULE_FILE))
    }

    /// Its tree, with what is wrong with the text; `None` if it has no readable structure.
    pub(crate) fn parsed(&self, diagnostics: &mut Vec<Diagnostic>) -> Option<Parsed> {
        let Read {
            source,
            root,
            diagnostics: found,
        } = self.read();
        diagnostics.extend_from_slice(found);
        Some(Parsed {
            source: source.clone()?,
            root: root.clone()?,
            care: Care::Full,
        })
    }
}

/// The files of a rule set, by path within it. Copies share what was read: no text is ever parsed a second time.
#[derive(Debug, Clone)]
pub struct RuleFiles {
    folder: String,
    files: BTreeMap<String, Arc<TextFile>>,
    /// The registers of another rule set that this one uses, by their paths in it.
    used: BTreeMap<String, Arc<TextFile>>,
    care: Care,
    /// Whether they are the very files that are embedded.
    is_embedded: bool,
}

impl RuleFiles {
    /// No files yet, of a folder of this name.
    pub fn new(folder: impl Into<String>) -> Self {
        Self {
            folder: folder.into(),
            files: BTreeMap::new(),
            used: BTreeMap::new(),
            care: Care::Full,
            is_embedded: false,
        }
    }

    /// The rule set embedded in the binary.
    pub fn embedded() -> Self {
        let mut taken = Self {
            care: Care::Embedded,
            ..Self::new("rules")
        };
        taken.take_embedded(&RULES);
        taken.is_embedded = true;
        taken
    }

    fn take_embedded(&mut self, dir: &Dir<'_>) {
        for file in dir.files() {
            let path = file.path().to_string_lossy().replace('\\', "/");
            if path.ends_with(".yaml") {
                self.set(path, file.contents());
            }
        }
        dir.dirs().for_each(|inner| self.take_embedded(inner));
    }

    /// The rule set of a folder: its YAML files, and those of `concerns/`, `letters/` and `cases/`. One whose ending is written in
    /// another way, such as `limits.YAML`, is taken, too: the rule set names none so, and it is refused. Registers that it uses of
    /// another rule set are read from where `uses:` in ruleset.yaml says.
    ///
    /// # Errors
    /// A diagnostic for everything that cannot be read; the caller shows them.
    pub fn folder(path: &Path) -> Result<Self, Vec<Diagnostic>> {
        let mut taken = Self::new(path.display().to_string());
        if !path.is_dir() {
            return Err(vec![
                Diagnostic::bare(
                    Code::NotFound,
                    format!("there is no folder `{}`", path.display()),
                )
                .help("--rules names a folder of the same shape as the embedded rule set"),
            ]);
        }
        let Listed {
            files,
            mut unreadable,
            ..
        } = Listed::of(path);
        for (name, place) in files {
            match read_bounded(&place, LARGEST_RULE_FILE) {
                Ok(bytes) => taken.set(name, bytes),
                Err(diagnostic) => unreadable.push(*diagnostic),
            }
        }
        taken.use_registers(path, &mut unreadable);
        if unreadable.is_empty() {
            Ok(taken)
        } else {
            Err(unreadable)
        }
    }

    /// Reads the registers that `uses:` names, from a folder beside this one. Whether it is well formed, and whether they are
    /// the ones that it means, is told when the rule set is read.
    fn use_registers(&mut self, own: &Path, unreadable: &mut Vec<Diagnostic>) {
        let head = self.files.get(HEAD).and_then(|it| it.read().root.clone());
        let Some(uses) = head.as_ref().and_then(|it| it.get("uses")) else {
            return;
        };
        let Some(folder) = uses.get("folder").and_then(Node::text) else {
            return;
        };
        let used = Self::new(own.join(folder).display().to_string());
        let named = uses.list("files").iter().filter_map(Node::text);
        for register in named.filter(|it| SHARED.contains(it)) {
            let path = format!("{register}.yaml");
            let name = used.name_of(&path);
            match read_bounded(Path::new(&name), LARGEST_RULE_FILE) {
                Ok(bytes) => {
                    let file = TextFile::new(name, bytes);
                    self.used.insert(path, Arc::new(file));
                }
                Err(diagnostic) => unreadable.push(
                    diagnostic.help(format!("{} names it under `uses:`", self.name_of(HEAD))),
                ),
            }
        }
    }

    /// The same files, read with so much care.
    #[must_use]
    pub fn with_care(self, care: Care) -> Self {
        Self { care, ..self }
    }

    /// How much of the reading is repeated.
    pub fn care(&self) -> Care {
        self.care
    }

    /// Whether they are the very files that are embedded.
    pub(crate) fn is_embedded(&self) -> bool {
        self.is_embedded
    }

    /// Whether the program's own tests have judged these very files already, with full care, as they were built into it.
    pub(crate) fn is_judged(&self) -> bool {
        self.is_embedded && self.care == Care::Embedded
    }

    /// What the user knows the folder by.
    pub(crate) fn name(&self) -> &str {
        &self.folder
    }

    /// The name a user knows a file by.
    pub(crate) fn name_of(&self, path: &str) -> String {
        format!("{}/{path}", self.folder.trim_end_matches('/'))
    }

    /// Puts a file in place of what stood under its path, if anything did.
    pub fn set(&mut self, path: impl Into<String>, bytes: impl Into<Vec<u8>>) {
        let path = path.into();
        let file = TextFile::new(self.name_of(&path), bytes);
        self.is_embedded = false;
        self.files.insert(path, Arc::new(file));
    }

    /// Takes a file out; whether it was there.
    pub fn remove(&mut self, path: &str) -> bool {
        self.is_embedded = false;
        self.files.remove(path).is_some()
    }

    /// The file under a path; the one that is used of another rule set, if there is none of its own.
    pub fn file(&self, path: &str) -> Option<&TextFile> {
        self.own(path)
            .or_else(|| self.used.get(path).map(Arc::as_ref))
    }

    /// The registers used of another rule set, with their paths in it, sorted by these.
    pub fn used(&self) -> impl Iterator<Item = (&str, &TextFile)> {
        self.used
            .iter()
            .map(|(path, file)| (path.as_str(), file.as_ref()))
    }

    /// The file of its own under a path.
    pub(crate) fn own(&self, path: &str) -> Option<&TextFile> {
        self.files.get(path).map(Arc::as_ref)
    }

    /// The digest of the registers that are used, as `uses:` must name it.
    pub(crate) fn digest_of_used(&self) -> String {
        let used = self.used().map(|(path, file)| (path, file.bytes()));
        format!("sha256:{}", digest(used))
    }

    /// The paths of all files of its own, sorted.
    pub fn paths(&self) -> impl Iterator<Item = &str> {
        self.files.keys().map(String::as_str)
    }

    /// All files of its own with their paths, sorted by these.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &TextFile)> {
        self.files
            .iter()
            .map(|(path, file)| (path.as_str(), file.as_ref()))
    }

    /// The digest by which these files are known as a rule set, in hexadecimal: [`digest`](crate::rule_set::digest::digest).
    pub fn digest(&self) -> String {
        if self.is_embedded {
            return EMBEDDED_DIGEST.to_owned();
        }
        let all = self.iter().chain(self.used());
        digest(all.map(|(path, file)| (path, file.bytes())))
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
        for prefix in ["", "concerns/", "letters/", "cases/"] {
            listed.add(&path.join(prefix), prefix);
        }
        listed.passed_over.sort();
        listed
    }

    fn add(&mut self, folder: &Path, prefix: &str) {
        let unreadable = |error: &std::io::Error| {
            Diagnostic::bare(
                Code::Unreadable,
                format!("the folder `{}` cannot be read: {error}", folder.display()),
            )
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
            let (name, place) = (
                entry.file_name().to_string_lossy().into_owned(),
                entry.path(),
            );
            let ending = place
                .extension()
                .map_or_else(String::new, |it| it.to_string_lossy().to_lowercase());
            let own_folder =
                prefix.is_empty() && ["concerns", "letters", "cases"].contains(&name.as_str());
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
pub(crate) fn passed_over(folder: &Path) -> Vec<String> {
    Listed::of(folder).passed_over
}

/// SHA-256 of bytes, in hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

/// The embedded rule set's own log of its editions, as Markdown.
pub(crate) fn embedded_change_log() -> &'static str {
    RULES
        .get_file("CHANGELOG.md")
        .and_then(|it| it.contents_utf8())
        .unwrap_or("")
}

/// Reads an ordinary file of at most so many bytes.
///
/// # Errors
/// A diagnostic that names the file.
pub(crate) fn read_bounded(path: &Path, largest: u64) -> Result<Vec<u8>, Box<Diagnostic>> {
    use std::io::Read as _;
    let shown = path.display();
    let missing =
        |title: String, help: &str| Box::new(Diagnostic::bare(Code::NotFound, title).help(help));
    let about = match std::fs::metadata(path) {
        Ok(about) => about,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            return Err(missing(
                format!("there is no file `{shown}`"),
                "check the spelling of the path",
            ));
        }
        Err(error) => {
            return Err(Box::new(Diagnostic::bare(
                Code::Unreadable,
                format!("`{shown}` cannot be read: {error}"),
            )));
        }
    };
    if !about.is_file() {
        return Err(missing(
            format!("`{shown}` is not an ordinary file"),
            "name a file, or a folder of files",
        ));
    }
    if about.len() > largest {
        return Err(Box::new(text::too_large(&shown.to_string(), largest)));
    }
    let mut bytes = Vec::new();
    let read =
        std::fs::File::open(path).and_then(|file| file.take(largest + 1).read_to_end(&mut bytes));
    match read {
        Ok(_) if u64::try_from(bytes.len()).unwrap_or(u64::MAX) > largest => {
            Err(Box::new(text::too_large(&shown.to_string(), largest)))
        }
        Ok(_) => Ok(bytes),
        Err(error) => Err(Box::new(Diagnostic::bare(
            Code::Unreadable,
            format!("`{shown}` cannot be read: {error}"),
        ))),
    }
}
