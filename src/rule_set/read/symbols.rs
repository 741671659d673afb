//! Everything a condition, text or citation may name, and how names and numbers are looked up.

use std::collections::HashSet;
use std::ops::Range;

use crate::document::diagnostic::{Code, did_you_mean, listed};
use crate::document::reading::{Reading, Tells};
use crate::document::source::{Node, NodeKind};
use crate::quantity::units::which_measures;
use crate::quantity::{Measure, read_quantity};
use crate::rule_set::{
    Agent, AllergenRegister, Basis, Catalogue, Citation, Conflict, FactType, Idx, Limit,
    LimitValue, MedicineRegister, Piece, Publication, Table, Text, Threshold,
};

/// Kinds of entries that are named elsewhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum What {
    /// A limit.
    Limit,
    /// A question or derived fact.
    Fact,
    /// An entry of the bibliography.
    Source,
    /// A local anaesthetic.
    Agent,
}

/// What has been loaded so far and may be named.
#[derive(Default)]
pub(crate) struct Names {
    /// Questions and derived facts.
    pub catalogue: Catalogue,
    /// Limits.
    pub limits: Table<Limit>,
    /// Entries that are there and could not be read: they are reported once, not wherever they are named.
    pub broken: HashSet<(What, String)>,
    /// The bibliography.
    pub publications: Table<Publication>,
    /// Medicines.
    pub medicines: MedicineRegister,
    /// Allergens.
    pub allergens: AllergenRegister,
    /// Local anaesthetics.
    pub agents: Table<Agent>,
    /// Least and most millilitres of one line of an anaesthetic plan.
    pub volumes_ml: (f64, f64),
}

/// A number as written: value and unit.
pub(crate) struct Written {
    /// The number.
    pub value: f64,
    /// Its unit as written.
    pub unit: Option<String>,
}

/// Reads `4.0`, `58 mmol/mol`, or a text of one number and one unit.
pub(crate) fn written_number(node: &Node) -> Result<Written, String> {
    match &node.kind {
        NodeKind::Number(value) => Ok(Written {
            value: *value,
            unit: None,
        }),
        NodeKind::Text(text) => match read_quantity(text) {
            Ok(parts) => match parts.as_slice() {
                [part] => Ok(Written {
                    value: part.number,
                    unit: part.unit.clone(),
                }),
                _ => Err("write one number with one unit".into()),
            },
            Err(error) => Err(error.to_string()),
        },
        _ => Err(format!(
            "a number is needed, this is {}",
            node.kind_in_words()
        )),
    }
}

/// Brings a number to a unit; the error says what is needed.
///
/// A unit that no measure knows, such as `years`, may be left out.
pub(crate) fn to_unit(
    written: &Written,
    unit: Option<&str>,
    measure: Option<Measure>,
) -> Result<f64, String> {
    match (unit, &written.unit) {
        (None, None) => Ok(written.value),
        (None, Some(given)) => Err(format!(
            "a plain number is needed here, without the unit {given}"
        )),
        (Some(needed), None) if which_measures(needed).is_empty() => Ok(written.value),
        (Some(needed), None) => Err(format!("the unit is missing: {needed}")),
        (Some(needed), Some(given)) if needed == given => Ok(written.value),
        (Some(needed), Some(given)) => {
            let measures = measure.map_or_else(|| which_measures(needed), |it| vec![it]);
            measures
                .iter()
                .find_map(|it| it.convert(written.value, it.unit(given)?, it.unit(needed)?))
                .ok_or_else(|| format!("{given} cannot be turned into {needed}"))
        }
    }
}

impl Names {
    /// Notes an entry that could not be read.
    pub(crate) fn note_broken(&mut self, what: What, id: Option<String>) {
        self.broken.extend(id.map(|it| (what, it)));
    }

    /// Whether an entry is there and could not be read.
    pub(crate) fn is_broken(&self, what: What, id: &str) -> bool {
        !self.broken.is_empty() && self.broken.contains(&(what, id.to_owned()))
    }

    /// The same for a fact, or for the day of a dated answer.
    fn is_broken_fact(&self, id: &str) -> bool {
        let question = id
            .strip_suffix(".taken_on")
            .or_else(|| id.strip_suffix(".age"))
            .unwrap_or(id);
        self.is_broken(What::Fact, id) || self.is_broken(What::Fact, question)
    }

    /// Position of a limit.
    pub(crate) fn limit_index(&self, id: &str) -> Option<Idx<Limit>> {
        self.limits.position(|it| it.id == id)
    }

    /// `{ limit: name }` under a node, looked up; `None` after a diagnostic, or if it is not of that form.
    pub(crate) fn limit_of(&self, reading: &mut Reading<'_>, node: &Node) -> Option<Idx<Limit>> {
        let name = node.get("limit")?;
        let text = name.written(reading.source)?.to_owned();
        let found = self.limit_index(&text);
        if found.is_none() && self.is_broken(What::Limit, &text) {
            reading.excuse();
        } else if found.is_none() {
            let known = self.limits.iter().map(|it| it.id.as_str());
            reading.unknown(
                Code::UnknownLimit,
                &name.span,
                ("limit", &text, "no such limit"),
                known,
            );
        }
        found
    }

    /// A number to compare a fact of this type with.
    pub(crate) fn threshold(
        &self,
        reading: &mut Reading<'_>,
        node: &Node,
        fact_id: &str,
        fact_type: &FactType,
    ) -> Option<Threshold> {
        if *fact_type == FactType::Date {
            let text = node.shown(reading.source).to_owned();
            return match crate::quantity::when::read_when(&text) {
                Ok(when) => Some(Threshold {
                    value: day_number(when.date),
                    written: text,
                    limit: None,
                }),
                Err(error) => {
                    let title = format!("`{fact_id}` is compared with dates");
                    reading
                        .wrong(Code::WrongTest, node, title, "not a date")
                        .help(error.to_string())
                        .none()
                }
            };
        }
        let FactType::Number { unit, measure } = fact_type else {
            return None;
        };
        let (written, shown, limit) = if node.get("limit").is_some() {
            let at = self.limit_of(reading, node)?;
            let limit = &self.limits[at];
            let LimitValue::Number { value, unit } = &limit.value else {
                let title = format!("limit `{}` is a length of time", limit.id);
                return reading
                    .wrong(Code::WrongTest, node, title, "a number is needed")
                    .help("`older_than` and `within` compare with a length of time")
                    .none();
            };
            (
                Written {
                    value: *value,
                    unit: unit.clone(),
                },
                limit.written.clone(),
                Some(at),
            )
        } else {
            match written_number(node) {
                Ok(written) => {
                    let shown = node.shown(reading.source).to_owned();
                    (written, shown, None)
                }
                Err(why) => {
                    let title = "a number or `{ limit: name }` must stand here";
                    return reading
                        .wrong(Code::WrongTest, node, title, node.kind_in_words())
                        .help(why)
                        .none();
                }
            }
        };
        match to_unit(&written, unit.as_deref(), *measure) {
            Ok(value) => Some(Threshold {
                value,
                written: shown,
                limit,
            }),
            Err(why) => {
                let title = format!("`{fact_id}` is {}", fact_type.in_words());
                reading
                    .wrong(Code::WrongUnit, node, title, "does not fit")
                    .help(why)
                    .none()
            }
        }
    }

    /// The citations under a key of an entry.
    pub(crate) fn citations(&self, reading: &mut Reading<'_>, map: &Node) -> Vec<Citation> {
        let mut citations = Vec::new();
        for item in map.list("citations") {
            let at = reading.owned(item, "at");
            let basis = if let Some(name) = item.get("source") {
                let Some(text) = name.written(reading.source) else {
                    reading.pass_over(name, "the name of a source");
                    continue;
                };
                let text = text.to_owned();
                let Some(index) = self.publications.position(|it| it.id == text) else {
                    if self.is_broken(What::Source, &text) {
                        reading.excuse();
                        continue;
                    }
                    let known = self.publications.iter().map(|it| it.id.as_str());
                    reading.unknown(
                        Code::UnknownSource,
                        &name.span,
                        ("source", &text, "not in sources.yaml"),
                        known,
                    );
                    continue;
                };
                Basis::Published(index)
            } else if let Some(text) = reading.owned(item, "common_practice") {
                Basis::CommonPractice(text)
            } else if let Some(text) = reading.owned(item, "local_proposal") {
                Basis::LocalProposal(text)
            } else {
                reading.pass_over(item, "`source`, `common_practice` or `local_proposal`");
                continue;
            };
            citations.push(Citation { basis, at });
        }
        citations
    }

    /// A sentence under a key, its placeholders resolved.
    pub(crate) fn sentence(
        &self,
        reading: &mut Reading<'_>,
        map: &Node,
        key: &str,
    ) -> Option<Text> {
        let pieces = self.pieces(reading, map, key, &[], |_| None)?;
        Some(Text { pieces })
    }

    /// The pieces of a sentence under a key. `own` reads what this kind of text alone may show; `own_names` are its names.
    pub(crate) fn pieces<P: From<Piece>>(
        &self,
        reading: &mut Reading<'_>,
        map: &Node,
        key: &str,
        own_names: &[&str],
        own: impl Fn(&str) -> Option<P>,
    ) -> Option<Vec<P>> {
        let node = map.get(key)?;
        let text = reading.owned(map, key)?;
        let mut pieces: Vec<P> = Vec::new();
        let mut rest = text.as_str();
        while let Some(open) = rest.find('{') {
            let (words, after) = rest.split_at(open);
            if !words.is_empty() {
                pieces.push(Piece::Words(words.to_owned()).into());
            }
            let Some((name, behind)) = after.strip_prefix('{').and_then(|it| it.split_once('}'))
            else {
                self.bad_placeholder(reading, node, after, "the brace is never closed".into());
                return None;
            };
            if words.contains('}') {
                self.never_opened(reading, node);
            }
            match own(name).or_else(|| self.placeholder(name).map(P::from)) {
                Some(piece) => pieces.push(piece),
                None => {
                    let facts = self.catalogue.facts.iter().map(|it| it.id.clone());
                    let limits = self.limits.iter().map(|it| format!("limit.{}", it.id));
                    let known: Vec<String> = facts
                        .chain(limits)
                        .chain(["medicines".into(), "allergies".into()])
                        .chain(own_names.iter().map(|it| (*it).to_owned()))
                        .collect();
                    let help = did_you_mean(name, known.iter().map(String::as_str)).unwrap_or_else(|| {
                        let own: String = own_names.iter().map(|it| format!(", `{{{it}}}`")).collect();
                        format!("braces hold a fact (`{{bleeding.inr}}`), a limit (`{{limit.inr-ceiling}}`), `{{medicines}}` or `{{allergies}}`{own}")
                    });
                    self.bad_placeholder(reading, node, &format!("{{{name}}}"), help);
                }
            }
            rest = behind;
        }
        if rest.contains('}') {
            self.never_opened(reading, node);
        }
        if !rest.is_empty() {
            pieces.push(Piece::Words(rest.to_owned()).into());
        }
        Some(pieces)
    }

    fn placeholder(&self, name: &str) -> Option<Piece> {
        match name {
            "medicines" | "allergies" => {
                let (asked, piece) = match name {
                    "medicines" => (self.catalogue.medicines, Piece::Medicines),
                    _ => (self.catalogue.allergies, Piece::Allergies),
                };
                return asked.map(|_| piece).or_else(|| self.perhaps_broken());
            }
            "ruled_out" => return Some(Piece::Conflict(Conflict::RuledOut)),
            "not_offered" => return Some(Piece::Conflict(Conflict::NotOffered)),
            _ if self.is_broken_fact(name) => return Some(Piece::Words(String::new())),
            _ => {}
        }
        if let Some(limit) = name.strip_prefix("limit.") {
            let broken = || {
                self.is_broken(What::Limit, limit)
                    .then(|| Piece::Words(String::new()))
            };
            return self.limit_index(limit).map(Piece::Limit).or_else(broken);
        }
        // A fact of that whole name comes first: `derived.age` is no age of a fact `derived`.
        if let Some(slot) = self.catalogue.slot(name) {
            return Some(Piece::Fact(slot));
        }
        if let Some(dated) = name.strip_suffix(".age") {
            if let Some(slot) = self.catalogue.slot(&format!("{dated}.taken_on")) {
                return Some(Piece::Age(slot));
            }
            let slot = self.catalogue.slot(dated)?;
            let is_date = self.catalogue.fact(slot).fact_type == FactType::Date;
            return is_date.then_some(Piece::Age(slot));
        }
        None
    }

    /// Nothing, if the question that is missed may be one that could not be read.
    fn perhaps_broken(&self) -> Option<Piece> {
        (!self.broken.is_empty()).then(|| Piece::Words(String::new()))
    }

    fn never_opened(&self, reading: &mut Reading<'_>, node: &Node) {
        let help = "a brace is closed that was never opened";
        self.bad_placeholder(reading, node, "}", help.into());
    }

    fn bad_placeholder(
        &self,
        reading: &mut Reading<'_>,
        node: &Node,
        placeholder: &str,
        help: String,
    ) {
        // Point into the text where it stands as written; a folded text may not, then at the value.
        let within = reading.source.slice(&node.span).find(placeholder);
        let span: Range<usize> = match within {
            Some(at) => node.span.start + at..node.span.start + at + placeholder.len(),
            None => node.span.clone(),
        };
        let title = format!("`{placeholder}` is neither a fact nor a limit");
        let label = "nothing has this name";
        reading
            .wrong(Code::UnknownPlaceholder, &span, title, label)
            .help(help);
    }

    /// The slot of a fact named at a node; reports an unknown one.
    pub(crate) fn fact(
        &self,
        reading: &mut Reading<'_>,
        name: &Node,
    ) -> Option<crate::truth::FactSlot> {
        let Some(text) = name.written(reading.source) else {
            reading.pass_over(name, "the id of a fact");
            return None;
        };
        let text = text.to_owned();
        let found = self.catalogue.slot(&text);
        if found.is_none() && self.is_broken_fact(&text) {
            reading.excuse();
        } else if found.is_none() {
            let known = self.catalogue.facts.iter().map(|it| it.id.as_str());
            let help = did_you_mean(&text, known).unwrap_or_else(|| {
                let sections: Vec<&str> = self.catalogue.sections.iter().map(|it| it.id.as_str()).collect();
                match text.split_once('.') {
                    Some(("derived", _)) => "questions.yaml lists the derived facts; each must stand above those that use it".to_owned(),
                    Some((section, _)) if sections.contains(&section) => {
                        format!("questions.yaml lists the questions of section `{section}`")
                    }
                    _ => format!("a fact is `section.question` or `derived.name`; the sections are {}", listed(&sections)),
                }
            });
            let title = format!("there is no fact `{text}`");
            reading
                .wrong(Code::UnknownFact, name, title, "no question has this id")
                .help(help);
        }
        found
    }
}

/// A date as a number: days of the common era.
pub(crate) fn day_number(date: chrono::NaiveDate) -> f64 {
    f64::from(chrono::Datelike::num_days_from_ce(&date))
}
