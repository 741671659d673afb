//! Files, and rows of sheets, of one run that have the same reference: two patients under one, or two versions of one patient.
//!
//! They are looked for before the first file is screened, by reading each as far as its reference,
//! since the first of two is printed before the second is read.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::cli::find::is_standard_input;
use crate::questionnaire::frame;
use crate::questionnaire::frame::reference_of;
use crate::rule_set::files::read_bounded;

/// The files of each reference that more than one has.
#[derive(Debug, Default)]
pub(crate) struct Twins {
    /// By reference, whatever the case of its letters: as written in the first file, and all files.
    files: BTreeMap<String, (String, Vec<PathBuf>)>,
}

impl Twins {
    /// Looks at the references alone. A file without a readable one is nobody's twin. Rows come by their references and what
    /// each is called; a sheet that has one twice refuses both of them itself.
    pub(crate) fn among(paths: &[PathBuf], rows: &[(String, String)]) -> Self {
        let mut files: BTreeMap<String, (String, Vec<PathBuf>)> = BTreeMap::new();
        let mut put = |reference: &str, path: PathBuf| {
            files
                .entry(reference.to_lowercase())
                .or_insert((reference.to_owned(), Vec::new()))
                .1
                .push(path);
        };
        if paths.len() + rows.len() > 1 {
            // Standard input can be read only once, and then it is screened.
            for path in paths.iter().filter(|it| !is_standard_input(it)) {
                let bytes = read_bounded(path, frame::LARGEST).ok();
                if let Some(reference) = bytes.and_then(|it| reference_of(&it)) {
                    put(&reference, path.clone());
                }
            }
            rows.iter()
                .for_each(|(reference, row)| put(reference, row.into()));
        }
        files.retain(|_, (_, paths)| paths.len() > 1);
        Self { files }
    }

    /// What must be known of a file that has twins.
    pub(crate) fn notice(&self, path: &Path) -> Option<String> {
        let (_, paths) = self
            .files
            .values()
            .find(|(_, paths)| paths.iter().any(|it| it == path))?;
        let others: Vec<String> = paths
            .iter()
            .filter(|it| *it != path)
            .map(|it| it.display().to_string())
            .collect();
        let files = if others.len() == 1 {
            "Another file has"
        } else {
            "Other files have"
        };
        Some(format!(
            "{files} the same reference: {}. Find out which of them counts, and whether all are of one patient.",
            others.join(", ")
        ))
    }

    /// One line for each such reference, for those who see no notice.
    pub(crate) fn told(&self) -> Vec<String> {
        let names = |paths: &[PathBuf]| {
            paths
                .iter()
                .map(|it| format!("`{}`", it.display()))
                .collect::<Vec<String>>()
                .join(", ")
        };
        self.files
            .values()
            .map(|(reference, paths)| {
                format!(
                    "{} files have the reference {reference}: {}",
                    paths.len(),
                    names(paths)
                )
            })
            .collect()
    }
}
