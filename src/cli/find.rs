//! The questionnaires that a command was given: files, and those inside folders. What is passed over is told.

use std::collections::BTreeSet;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use crate::cli::draw::counted;
use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::text;
use crate::questionnaire::frame;
use crate::questionnaire::mapping::Mapping;
use crate::questionnaire::sheet::{WholeSheet, is_sheet_name, needs_mapping};
use crate::rule_set::files;
use crate::screening::result::Refusal;
use crate::screening::screener::Screener;

/// How a questionnaire's name ends.
const ENDINGS: [&str; 3] = ["yaml", "yml", "json"];
/// Most bytes of a sheet that is held whole; `batch` holds none.
const LARGEST_SHEET: u64 = 64 << 20;
/// Most names told of what is passed over in one folder.
const MOST_NAMED: usize = 5;

/// What was found.
#[derive(Debug, Default)]
pub(crate) struct FoundFiles {
    /// Files as given, and those inside folders by name.
    pub paths: Vec<PathBuf>,
    /// What could not be looked into, and folders without any questionnaire.
    pub problems: Vec<Refusal>,
    /// What is no questionnaire by its name, or was reached before: sentences, a line each.
    pub passed_over: Vec<String>,
}

/// Whether a path stands for standard input. A file of that name is reached as `./-`.
pub(crate) fn is_standard_input(path: &Path) -> bool {
    path.as_os_str() == "-"
}

/// What a file that was given is called where it is told of.
pub(crate) fn name_of(path: &Path) -> String {
    if is_standard_input(path) {
        "standard input".to_owned()
    } else {
        path.display().to_string()
    }
}

/// Whether a file that was given is a sheet, by its name. What comes through standard input is one where a mapping file says
/// what its columns mean.
pub(crate) fn is_sheet(screener: &Screener<'_>, path: &Path) -> bool {
    is_sheet_name(path) || (screener.mapping().is_some() && is_standard_input(path))
}

/// What a sheet is read by.
///
/// # Errors
/// There is no mapping file.
pub(crate) fn mapping<'a>(
    screener: &'a Screener<'_>,
    path: &Path,
) -> Result<&'a Mapping, Vec<Diagnostic>> {
    let mapping = screener.mapping();
    mapping.ok_or_else(|| vec![needs_mapping(&name_of(path))])
}

/// The sheet of a file, or of standard input, held whole.
///
/// # Errors
/// Everything for which no row of it can be read.
pub(crate) fn sheet<'a>(
    screener: &'a Screener<'_>,
    path: &Path,
) -> Result<WholeSheet<'a>, Vec<Diagnostic>> {
    let name = name_of(path);
    let mapping = mapping(screener, path)?;
    let bytes = read_at_most(path, LARGEST_SHEET).map_err(|it| vec![*it])?;
    if u64::try_from(bytes.len()).unwrap_or(u64::MAX) > LARGEST_SHEET {
        let help = "`preblock batch` reads sheets of any size";
        return Err(vec![text::too_large(&name, LARGEST_SHEET).help(help)]);
    }
    WholeSheet::read(screener.rule_set(), mapping, &name, &bytes)
}

/// The bytes of one file that was given, or of standard input.
///
/// # Errors
/// A diagnostic if it cannot be read, or is larger than a questionnaire may be.
pub(crate) fn read(path: &Path) -> Result<Vec<u8>, Box<Diagnostic>> {
    read_at_most(path, frame::LARGEST)
}

/// The same of a file that may have so many bytes.
///
/// # Errors
/// As [`read`].
pub(crate) fn read_at_most(path: &Path, largest: u64) -> Result<Vec<u8>, Box<Diagnostic>> {
    if !is_standard_input(path) {
        return files::read_bounded(path, largest);
    }
    let mut bytes = Vec::new();
    let read = std::io::stdin().take(largest + 1).read_to_end(&mut bytes);
    match read {
        Err(error) => Err(Box::new(Diagnostic::bare(
            Code::Unreadable,
            format!("standard input cannot be read: {error}"),
        ))),
        // Whoever reads it says that it is too large.
        Ok(_) => Ok(bytes),
    }
}

/// Looks for questionnaires. Links to folders are followed; each folder is entered once, however many links lead to it.
pub(crate) fn find(given: &[PathBuf]) -> FoundFiles {
    let mut found = FoundFiles::default();
    let mut entered = BTreeSet::new();
    for path in given {
        if !path.is_dir() {
            found.paths.push(path.clone());
            continue;
        }
        let before = (found.paths.len(), found.passed_over.len());
        found.folder(path, &mut entered);
        if found.paths.len() == before.0 && found.problems.is_empty() {
            let title = format!("the folder `{}` holds no questionnaire", path.display());
            found.refuse(
                path,
                Diagnostic::bare(Code::EmptyFolder, title)
                    .help("questionnaires end in .yaml, .yml or .json"),
            );
        }
        if let Some(inside) = found.paths.get_mut(before.0..) {
            inside.sort();
        }
    }
    found
}

impl FoundFiles {
    fn refuse(&mut self, path: &Path, problem: Diagnostic) {
        let path = path.display().to_string();
        self.problems.push(Refusal::of_file(path, vec![problem]));
    }

    fn folder(&mut self, folder: &Path, entered: &mut BTreeSet<PathBuf>) {
        let unreadable = |error: std::io::Error| {
            Diagnostic::bare(
                Code::Unreadable,
                format!("the folder `{}` cannot be read: {error}", folder.display()),
            )
        };
        match folder.canonicalize() {
            Ok(itself) if entered.insert(itself.clone()) => {}
            Ok(_) => {
                self.passed_over.push(format!(
                    "`{}` leads to a folder that was looked through already",
                    folder.display()
                ));
                return;
            }
            Err(error) => return self.refuse(folder, unreadable(error)),
        }
        let entries = match std::fs::read_dir(folder) {
            Ok(entries) => entries,
            Err(error) => return self.refuse(folder, unreadable(error)),
        };
        let mut others = Vec::new();
        for entry in entries {
            let path = match entry {
                Ok(entry) => entry.path(),
                Err(error) => {
                    self.refuse(folder, unreadable(error));
                    continue;
                }
            };
            if path.is_dir() {
                self.folder(&path, entered);
            } else if path
                .extension()
                .and_then(|it| it.to_str())
                .is_some_and(|it| ENDINGS.contains(&it.to_lowercase().as_str()))
            {
                self.paths.push(path);
            } else {
                others.extend(path.file_name().map(|it| it.to_string_lossy().into_owned()));
            }
        }
        if !others.is_empty() {
            others.sort();
            self.passed_over.push(passed_over(folder, &others));
        }
    }
}

/// "`inbox`: 2 files passed over, since their names do not end in .yaml, .yml or .json: `a.yaml.txt`, `b.yml~`".
fn passed_over(folder: &Path, names: &[String]) -> String {
    let named: Vec<String> = names
        .iter()
        .take(MOST_NAMED)
        .map(|it| format!("`{it}`"))
        .collect();
    let more = match names.len().saturating_sub(MOST_NAMED) {
        0 => String::new(),
        n => format!(" and {n} more"),
    };
    let (files, their) = (
        counted(names.len(), "file"),
        if names.len() == 1 {
            "its name does"
        } else {
            "their names do"
        },
    );
    format!(
        "`{}`: {files} passed over, since {their} not end in .yaml, .yml or .json: {}{more}",
        folder.display(),
        named.join(", ")
    )
}
