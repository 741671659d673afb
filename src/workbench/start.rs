//! A rule set to begin from: the one in `examples/rule-sets/start`, under another name and of another day.

use chrono::{Days, NaiveDate};
use include_dir::{Dir, include_dir};

use crate::document::diagnostic::Diagnostic;
use crate::document::{flow, shape};
use crate::questionnaire::schema;
use crate::rule_set::RuleSet;
use crate::rule_set::files::RuleFiles;
use crate::rule_set::read::rule_set;

static START: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/examples/rule-sets/start");

/// What stands there for the id, the title, and the days that follow the day of the start.
const ID: &str = "minor-procedure";
const TITLE: &str = "Is this patient, with this plan, on this day, safe for this procedure here?";
const TODAY: &str = "2026-12-01";
const PROCEDURE: (&str, Days) = ("2026-12-10", Days::new(9));
const REVIEW: (&str, Days) = ("2027-11-30", Days::new(364));

/// Where the schemas go that the first line of each file names; hidden, so that they are no part of the rule set.
const SCHEMAS: &str = ".schemas/";

/// The files, by their paths in a folder yet to be made: `rules/`, a clinic's file, referrals, a README, and the schemas that
/// the files name. The rule set loads, as the caller need not check.
///
/// # Errors
/// What is wrong with the rule set under this id and title.
pub fn started(
    id: &str,
    title: Option<&str>,
    on: NaiveDate,
) -> Result<Vec<(String, String)>, Vec<Diagnostic>> {
    let day = |after: Days| on.checked_add_days(after).unwrap_or(on).to_string();
    let title = title.map_or_else(|| TITLE.to_owned(), flow::quoted);
    let mut files = Vec::new();
    texts(&START, &mut |path, text| {
        let mut text = text.replace(ID, id).replace(TITLE, &title);
        // Worked cases have a day of their own, to which their ages are counted.
        if !path.starts_with("rules/cases/") {
            text = text
                .replace(TODAY, &on.to_string())
                .replace(PROCEDURE.0, &day(PROCEDURE.1))
                .replace(REVIEW.0, &day(REVIEW.1));
        }
        files.push((path, text));
    });
    let mut rules = RuleFiles::new("rules");
    for (path, text) in &files {
        if let Some(path) = path.strip_prefix("rules/") {
            rules.set(path, text.as_bytes());
        }
    }
    let schemas = schemas(&rule_set(&rules)?, &files);
    files.extend(schemas);
    Ok(files)
}

fn texts(dir: &Dir<'_>, see: &mut impl FnMut(String, &str)) {
    for file in dir.files() {
        let path = file.path().to_string_lossy().replace('\\', "/");
        see(path, &String::from_utf8_lossy(file.contents()));
    }
    dir.dirs().for_each(|inner| texts(inner, see));
}

/// The schemas that files name in their first line. Those of questionnaires and clinics follow the questions.
fn schemas(rule_set: &RuleSet, files: &[(String, String)]) -> Vec<(String, String)> {
    let of_kind = |kind: &str| match kind {
        "questionnaire" => Some(format!("{:#}\n", schema::questionnaire(rule_set))),
        "clinic" => Some(format!("{:#}\n", schema::clinic(rule_set))),
        _ => shape::schema(kind).map(str::to_owned),
    };
    let named = |text: &str| {
        let (_, rest) = text.lines().next()?.split_once(SCHEMAS)?;
        Some(rest.strip_suffix(".schema.json")?.to_owned())
    };
    let kinds: std::collections::BTreeSet<String> =
        files.iter().filter_map(|(_, text)| named(text)).collect();
    kinds
        .into_iter()
        .filter_map(|kind| Some((format!("{SCHEMAS}{kind}.schema.json"), of_kind(&kind)?)))
        .collect()
}
