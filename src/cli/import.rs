//! `preblock import`: answers of other programs as questionnaires.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::Args;

use crate::cli::screen::day;
use crate::cli::{
    Done, ExitStatus, MappingFile, NotDone, RuleSource, atomic_write, draw, find, today,
};
use crate::document::diagnostic::Diagnostic;
use crate::questionnaire::edit::whole::written_out;
use crate::screening::screener::{Referral, Screener};

/// Arguments of `import`.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    /// Files of other programs: responses to the form that `preblock questionnaire export` prints, and with `--mapping` sheets
    /// and responses to other forms; `-` for standard input
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// The folder to write questionnaires into, each named by its reference; nothing that is there is replaced
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// The day on which the answers must hold, such as 2026-11-25 [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    #[command(flatten)]
    mapping: MappingFile,
    #[command(flatten)]
    rules: RuleSource,
}

/// Runs the command. Files and rows that are refused are told, the others written.
pub(crate) fn run(arguments: &Arguments) -> Done {
    let rule_set = draw::usable(&arguments.rules)?;
    let as_of = arguments.as_of.unwrap_or_else(today);
    let screener = Screener::new(&rule_set, as_of);
    let screener = arguments.mapping.laid_over(screener).map_err(|found| {
        NotDone::found(
            found,
            "the mapping file was refused, so nothing was imported",
        )
    })?;
    let mut import = Import {
        screener: &screener,
        out: &arguments.out,
        status: ExitStatus::Clean,
    };
    for path in &arguments.files {
        if find::is_sheet(&screener, path) {
            import.sheet(path);
        } else {
            import.file(path);
        }
    }
    Ok(import.status)
}

/// What is imported, into where, and how it went so far.
struct Import<'a> {
    screener: &'a Screener<'a>,
    out: &'a Path,
    status: ExitStatus,
}

impl Import<'_> {
    fn file(&mut self, path: &Path) {
        let name = find::name_of(path);
        let read = find::read(path).map_err(|it| vec![*it]);
        let read = read.and_then(|bytes| {
            let read = self.screener.read(&name, &bytes);
            read.map_err(|refusal| refusal.problems)
        });
        match read {
            Ok(referral) => self.write(&name, &referral),
            Err(found) => self.refuse(&name, &found),
        }
    }

    fn sheet(&mut self, path: &Path) {
        let sheet = match find::sheet(self.screener, path) {
            Ok(sheet) => sheet,
            Err(found) => return self.refuse(&find::name_of(path), &found),
        };
        for row in sheet.rows() {
            let name = sheet.heading().name_of(&row);
            match self.screener.read_row(sheet.heading(), &row) {
                Ok(referral) => self.write(&name, &referral),
                Err(refusal) => self.refuse(&name, &refusal.problems),
            }
        }
    }

    fn refuse(&mut self, name: &str, found: &[Diagnostic]) {
        draw::diagnostics(found);
        draw::note(&format!("`{name}` was not imported"));
        if self.status == ExitStatus::Clean {
            self.status = ExitStatus::Refused;
        }
    }

    fn write(&mut self, name: &str, referral: &Referral) {
        let reference = &referral.reference;
        let text = written_out(self.screener.rule_set(), reference, &referral.answers);
        // A reference may hold a slash, and a folder of that name is nobody's wish.
        let file = self
            .out
            .join(format!("{}.yaml", reference.replace('/', "_")));
        let written = std::fs::create_dir_all(self.out)
            .map_err(|why| format!("`{}` could not be made: {why}", self.out.display()))
            .and_then(|()| atomic_write::write(&file, &text, false));
        match written {
            Ok(()) => draw::out(&format!("{reference} from {name} into {}", file.display())),
            Err(why) => {
                draw::note(&why);
                self.status = ExitStatus::NotWritten;
            }
        }
    }
}
