//! A list of local names, such as a pharmacy's, as changes of a local policy: each name beside the generic name that it stands for.
//!
//! A sheet with a slip in its form is refused whole: nobody could say which cells are names. Of one that can be read every name is
//! taken, or is known to mean that already, or is left out and told with its row. Nothing is guessed, and no name that means
//! something already is ever made to mean something else: each is tried as reading the policy will try it, in the same order.

use std::collections::BTreeMap;
use std::io::Cursor;

use serde_json::json;

use crate::document::diagnostic::{Code, Diagnostic, listed};
use crate::document::rows::{Rows, SheetCell, SheetRow};
use crate::rule_set::read::local::name::{medicine_now, substance_now};
use crate::rule_set::recognise::{Recognised, form, known_medicine, medicine};
use crate::rule_set::{Bits, Idx, Medicine, RuleSet};

/// Most names left out for which a near generic name is looked for: that takes a thousand times as long as all else.
const MOST_NEAR: usize = 200;

/// How a spreadsheet program knows that a cell is to be computed.
const FORMULA: [char; 4] = ['=', '+', '-', '@'];

/// Which columns hold what, and how cells stand in a row.
#[derive(Debug, Clone)]
pub struct NameColumns {
    /// The heading over the names.
    pub name: String,
    /// The heading over the generic names.
    pub generic: String,
    /// Between cells.
    pub separator: u8,
    /// Between the medicines of one product.
    pub together: String,
}

/// What came of a list.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct NameList {
    /// The names to add, each with the medicine that it means, in the order of the rows.
    pub taken: Vec<(String, String)>,
    /// How many rows say what is so already, in the register or in an earlier row.
    pub n_known: usize,
    /// What is left out, by row.
    pub left_out: Vec<NameLeftOut>,
}

/// A name that is left out.
#[derive(Debug, PartialEq, Eq)]
pub struct NameLeftOut {
    /// The row in which it stands, as a spreadsheet counts.
    pub row: usize,
    /// The name, as it was written.
    pub name: String,
    /// Why.
    pub why: String,
}

/// One row that says something.
struct NameRow {
    number: usize,
    name: String,
    generic: String,
}

/// Reads a list. `shown` is what its reader knows the file by.
///
/// # Errors
/// Every diagnostic of its form: a missing heading, a ragged row, a quote that never closes, bytes that are not UTF-8.
pub fn names(
    rule_set: &RuleSet,
    shown: &str,
    bytes: &[u8],
    columns: &NameColumns,
) -> Result<NameList, Vec<Diagnostic>> {
    let rows = rows(shown, bytes, columns)?;
    let mut list = NameList::default();
    let mut near = 0;
    let mut meant: Vec<(usize, String, Idx<Medicine>)> = Vec::new();
    for row in rows {
        match generic(rule_set, &row, columns, &mut near) {
            Ok(at) => meant.push((row.number, form(&row.name), at)),
            Err(why) => list.left_out.push(NameLeftOut {
                row: row.number,
                name: row.name,
                why,
            }),
        }
    }
    // A name that two rows give to two medicines is nobody's.
    let mut rows_of: BTreeMap<&str, Vec<(usize, Idx<Medicine>)>> = BTreeMap::new();
    for (row, name, at) in &meant {
        rows_of.entry(name).or_default().push((*row, *at));
    }
    let is_torn = |name: &str| {
        let rows = rows_of.get(name).map_or(&[][..], Vec::as_slice);
        rows.iter()
            .any(|(_, at)| rows.first().is_some_and(|(_, first)| first != at))
    };
    let mut medicines = rule_set.medicines.clone();
    let mut allergens = rule_set.allergens.clone();
    for (row, name, at) in &meant {
        let means = &rule_set.medicines.medicines[*at].name;
        let mut leave_out = |why: String| {
            list.left_out.push(NameLeftOut {
                row: *row,
                name: name.clone(),
                why,
            });
        };
        if is_torn(name) {
            leave_out(format!(
                "it means {means} here, and something else in another row"
            ));
            continue;
        }
        if known_medicine(&medicines, name).is_ok_and(|(known, _)| known == *at) {
            list.n_known += 1;
            continue;
        }
        let as_substance = allergens.names.get(means);
        let as_substance = as_substance.map_or_else(Bits::new, Clone::clone);
        let now = medicine_now(&medicines, name)
            .or_else(|| substance_now(&allergens, name, Some(&as_substance)));
        if let Some(now) = now {
            leave_out(format!("{now}, and may not be made to mean {means}"));
            continue;
        }
        medicines.names.insert(name.clone(), *at);
        allergens.names.insert(name.clone(), as_substance);
        list.taken.push((name.clone(), means.clone()));
    }
    list.left_out.sort_by_key(|it| it.row);
    Ok(list)
}

/// The medicine of a row by its generic name: as it stands, or with a strength or form behind it.
///
/// # Errors
/// In words, if there is none, several stand in the cell, or one of the cells is none of a name.
fn generic(
    rule_set: &RuleSet,
    row: &NameRow,
    columns: &NameColumns,
    near: &mut usize,
) -> Result<Idx<Medicine>, String> {
    let text = row.generic.as_str();
    if form(&row.name).is_empty() || text.is_empty() {
        return Err("a cell of the row is empty".into());
    }
    if row.name.starts_with(FORMULA) || text.starts_with(FORMULA) {
        return Err("a cell begins as a formula does, and no name does".into());
    }
    let register = &rule_set.medicines;
    if let Ok((at, _)) = known_medicine(register, text) {
        return Ok(at);
    }
    let parts: Vec<&str> = text.split(&columns.together).map(str::trim).collect();
    if parts.len() > 1 {
        return Err(format!(
            "it is a combination of {}, and a name means one medicine: write each by itself in questionnaires",
            listed(&parts).replace(" or ", " and ")
        ));
    }
    let generic = form(text);
    if register.classes.iter().any(|it| it.id == generic) {
        return Err(format!("`{generic}` is a class, not a medicine"));
    }
    *near += 1;
    let nearest = match medicine_if(*near <= MOST_NEAR, rule_set, text) {
        Some(nearest) => format!("; did you mean `{nearest}`?"),
        None => String::new(),
    };
    Err(format!("the register has no medicine `{generic}`{nearest}"))
}

/// The nearest medicine, if it is to be looked for.
fn medicine_if(is_wanted: bool, rule_set: &RuleSet, text: &str) -> Option<String> {
    match is_wanted.then(|| medicine(&rule_set.medicines, text))? {
        Recognised::Not { nearest } => nearest,
        Recognised::As(_) => None,
    }
}

/// The rows that say something.
fn rows(shown: &str, bytes: &[u8], columns: &NameColumns) -> Result<Vec<NameRow>, Vec<Diagnostic>> {
    let unreadable = |why: std::io::Error| {
        let title = format!("`{shown}` cannot be read: {why}");
        vec![Diagnostic::bare(Code::Unreadable, title)]
    };
    let mut from = Rows::new(Cursor::new(bytes), columns.separator);
    let mut text = Vec::new();
    let Some(at) = from.next_row(&mut text).map_err(unreadable)? else {
        let title = format!("`{shown}` says nothing");
        return Err(vec![
            Diagnostic::bare(Code::Empty, title)
                .help("The first row has the headings: name,generic"),
        ]);
    };
    let heading = SheetRow { at, bytes: &text };
    let (name, generic, n_columns) = headings(shown, heading, columns)?;
    let (mut rows, mut found) = (Vec::new(), Vec::new());
    loop {
        text.clear();
        let Some(at) = from.next_row(&mut text).map_err(unreadable)? else {
            break;
        };
        match (SheetRow { at, bytes: &text }).cells(shown, columns.separator) {
            Ok((source, cells)) if cells.len() != n_columns => {
                let title = format!(
                    "row {} has {} cells, and the sheet {n_columns} columns",
                    at.number,
                    cells.len()
                );
                let all = 0..source.text().len();
                let span = cells.get(n_columns).map_or(&all, |it| &it.span);
                let label = "not as many as columns";
                found.push(Diagnostic::at(Code::RaggedRow, &source, span, title, label));
            }
            Ok((_, cells)) => {
                let cell = |at: usize| cells.get(at).map(|it| it.text.clone());
                let both = cell(name).zip(cell(generic));
                rows.extend(both.map(|(name, generic)| NameRow {
                    number: at.number,
                    name,
                    generic,
                }));
            }
            Err(wrong) => found.extend(wrong),
        }
    }
    if found.is_empty() {
        Ok(rows)
    } else {
        Err(found)
    }
}

/// Where the two columns stand, and how many there are.
fn headings(
    shown: &str,
    row: SheetRow<'_>,
    columns: &NameColumns,
) -> Result<(usize, usize, usize), Vec<Diagnostic>> {
    let (source, cells) = row.cells(shown, columns.separator)?;
    let all = 0..source.text().len();
    let place = |heading: &str| {
        let is_it = |cell: &&SheetCell| form(&cell.text) == form(heading);
        let mut found = cells.iter().filter(is_it);
        match (found.next(), found.next()) {
            (Some(_), None) => Ok(cells.iter().position(|it| is_it(&it))),
            (Some(_), Some(second)) => {
                let title = format!("two columns are headed `{heading}`");
                let (code, label) = (Code::ColumnTwice, "a second time");
                Err(Diagnostic::at(code, &source, &second.span, title, label))
            }
            (None, _) => {
                let title = format!("no column is headed `{heading}`");
                let known: Vec<&str> = cells.iter().map(|it| it.text.as_str()).collect();
                let help = format!(
                    "There are {}. --name-column and --generic-column say which are meant, --separator what stands between cells.",
                    listed(&known).replace(" or ", " and ")
                );
                Err(
                    Diagnostic::at(Code::MissingKey, &source, &all, title, "the headings")
                        .help(help),
                )
            }
        }
    };
    match (place(&columns.name), place(&columns.generic)) {
        (Ok(Some(name)), Ok(Some(generic))) => Ok((name, generic, cells.len())),
        (name, generic) => Err([name.err(), generic.err()].into_iter().flatten().collect()),
    }
}

/// What stands behind each change of a list.
#[derive(Debug, Clone)]
pub struct NameTerms {
    /// Why.
    pub reason: String,
    /// The role that agreed.
    pub agreed_by: String,
    /// On which day.
    pub agreed_on: chrono::NaiveDate,
    /// The day by which it must be looked at again.
    pub review_by: chrono::NaiveDate,
}

/// The names as entries of `changes`.
pub fn changes(list: &NameList, terms: &NameTerms) -> String {
    let entry = |(name, means): &(String, String)| {
        // In quotes, as JSON has them, which YAML reads alike whatever stands in them.
        format!(
            "  - {{ medicine_name: {}, means: {}, reason: {}, agreed_by: {}, agreed_on: {}, review_by: {} }}\n",
            json!(name),
            json!(means),
            json!(terms.reason),
            json!(terms.agreed_by),
            terms.agreed_on,
            terms.review_by
        )
    };
    list.taken.iter().map(entry).collect()
}

/// A local policy of these changes alone.
pub fn policy(rule_set: &RuleSet, clinic: &str, changes: &str) -> String {
    format!(
        "# Local names of medicines. Each says what it stands for; `preblock names import` wrote them.\n\
         local_policy: 1\nclinic: {}\nof: {}\nedition: {}\nchanges:\n{changes}",
        json!(clinic),
        rule_set.id,
        json!(rule_set.edition)
    )
}
