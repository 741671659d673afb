//! The register of local anaesthetics: strengths, limits, and what else a limit hangs on.

use std::collections::HashMap;

use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::reading::{Reading, Tells};
use crate::document::source::{Node, NodeKind};
use crate::rule_set::files::Parsed;
use crate::rule_set::read::registers::{MILLIGRAMS, MILLILITRES, PER_CENT, in_unit, range, unique};
use crate::rule_set::read::symbols::{Names, What};
use crate::rule_set::{Agent, AgentLimit};

/// Most local anaesthetics: a set of them fits one machine word, with a bit to spare.
const MOST_AGENTS: usize = 60;

/// anaesthetics.yaml.
pub(crate) fn agents(parsed: &Parsed, names: &mut Names) -> Vec<Diagnostic> {
    let mut reading = parsed.reading("anaesthetics");
    let root = &parsed.root;
    let mut seen = HashMap::new();
    let list = root.get("agents");
    if let Some(list) = list.filter(|it| it.items().len() > MOST_AGENTS) {
        let title = format!("a rule set can have {MOST_AGENTS} local anaesthetics at most");
        reading.wrong(Code::BadRange, list, title, "too many");
    }
    let volumes = range(&mut reading, root, "volumes", MILLILITRES, "volumes");
    names.volumes_ml = volumes.unwrap_or(names.volumes_ml);
    for node in root.list("agents") {
        let Some(id) = reading.needed(node, "id") else {
            continue;
        };
        unique(&mut reading, &mut seen, node, "agents");
        let strengths = range(&mut reading, node, "strengths", PER_CENT, "strengths");
        let per_site = node
            .get("per_site")
            .map(|it| in_unit(&mut reading, it, MILLIGRAMS));
        let mut rows = Vec::new();
        for row in node.list("limits") {
            match limit_row(names, &mut reading, row) {
                Some(limit) => rows.push(limit),
                None => reading.pass_over(row, "a whole limit"),
            }
        }
        let family = reading.needed(node, "family");
        let also = reading.list(node, "also");
        match (strengths, per_site, family) {
            (Some(strengths), None | Some(Some(_)), Some(family)) => {
                names.agents.push(Agent {
                    id,
                    also,
                    family,
                    strengths,
                    per_site: per_site.flatten(),
                    limits: rows,
                });
            }
            _ => {
                names.note_broken(What::Agent, Some(id));
                reading.pass_over(node, "a whole agent");
            }
        }
    }
    reading.finish()
}

fn limit_row(names: &Names, reading: &mut Reading<'_>, row: &Node) -> Option<AgentLimit> {
    let adrenaline = row.get("adrenaline")?.yes_or_no()?;
    let age = |reading: &mut Reading<'_>, key: &str| match row.get(key) {
        None => Some(None),
        Some(it) => match it.kind {
            NodeKind::Number(number) => Some(Some(number)),
            _ => {
                reading.pass_over(it, "an age in years");
                None
            }
        },
    };
    let (from_age, below_age) = (age(reading, "from_age")?, age(reading, "below_age")?);
    if let (Some(from), Some(below), Some(place)) = (from_age, below_age, row.get("below_age"))
        && below <= from
    {
        let title = format!("nobody is {from} or older and younger than {below}");
        reading
            .wrong(Code::BadRange, place, title, "not above `from_age`")
            .help("write an age above `from_age`");
    }
    let per_kg_text = reading.needed(row, "per_kg")?;
    let per_kg_node = row.get("per_kg")?;
    let per_kg = match per_kg_text
        .strip_suffix("/kg")
        .map(|it| crate::quantity::read_quantity(it.trim()))
    {
        Some(Ok(parts)) => match parts.as_slice() {
            [part] if part.unit.as_deref() == Some("mg") && part.number > 0.0 => Some(part.number),
            _ => None,
        },
        _ => None,
    };
    if per_kg.is_none() {
        let title = format!("`{per_kg_text}` is not a dose for each kilogram");
        reading
            .wrong(Code::WrongUnit, per_kg_node, title, "such as `3 mg/kg`")
            .help("write a number of mg/kg above zero");
    }
    let at_most = match row.get("at_most") {
        None => None,
        Some(it) => Some(in_unit(reading, it, MILLIGRAMS)?),
    };
    let citations = names.citations(reading, row);
    Some(AgentLimit {
        adrenaline,
        from_age,
        below_age,
        per_kg: per_kg?,
        at_most,
        other_figures: reading.owned(row, "other_figures"),
        citations,
    })
}
