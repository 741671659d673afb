//! limits.yaml, sources.yaml and the registers of names.

use std::collections::{HashMap, HashSet};
use std::ops::Range;

use chrono::NaiveDate;

use crate::document::diagnostic::{Code, Diagnostic, did_you_mean, listed};
use crate::document::reading::{Reading, Tells};
use crate::document::source::{Node, NodeKind};
use crate::quantity::Measure;
use crate::quantity::span::Span;
use crate::quantity::when::read_when;
use crate::rule_set::files::Parsed;
use crate::rule_set::read::symbols::{Names, What, to_unit, written_number};
use crate::rule_set::recognise;
use crate::rule_set::{
    AllergenRegister, Bits, Checked, Idx, Limit, LimitValue, Medicine, MedicineRegister,
    Publication, Reaction, Substance, Table, Term,
};

mod anaesthetics;

pub(crate) use crate::rule_set::read::registers::anaesthetics::agents;

/// Reads a calendar date under a key; reports one that does not exist.
pub(crate) fn date(reading: &mut Reading<'_>, map: &Node, key: &str) -> Option<NaiveDate> {
    let text = reading.needed(map, key)?;
    let node = map.get(key)?;
    match read_when(&text) {
        Ok(when) if when.time.is_none() => Some(when.date),
        Ok(_) => {
            let title = "a date without a time is needed";
            reading
                .wrong(Code::WrongForm, node, title, "a time stands here")
                .none()
        }
        Err(error) => {
            let title = format!("`{text}` is not a date");
            reading
                .wrong(Code::WrongForm, node, title, "not a date")
                .help(error.to_string())
                .none()
        }
    }
}

/// Reports an entry whose id stands twice.
pub(crate) fn unique(
    reading: &mut Reading<'_>,
    seen: &mut HashMap<String, Range<usize>>,
    entry: &Node,
    what: &str,
) {
    let Some(id) = entry.get("id") else { return };
    let Some(text) = id.written(reading.source).map(str::to_owned) else {
        return;
    };
    match seen.get(&text) {
        Some(first) => {
            let told = reading.wrong(
                Code::DuplicateId,
                id,
                format!("two {what} have the id `{text}`"),
                "second",
            );
            told.also(first, "first")
                .help("give one of them another id");
        }
        None => {
            seen.insert(text, id.span.clone());
        }
    }
}

/// sources.yaml; `is_used` if it is that of a rule set whose registers are used, which is read first.
pub(crate) fn publications(parsed: &Parsed, names: &mut Names, is_used: bool) -> Vec<Diagnostic> {
    let mut reading = parsed.reading("sources");
    let mut seen = HashMap::new();
    let n_of_others = names.publications.len();
    for node in parsed.root.list("sources") {
        let id = reading.needed(node, "id");
        let by = reading.needed(node, "by");
        let title = reading.needed(node, "title");
        let year = reading.owned(node, "year").and_then(|it| it.parse().ok());
        let checked = match reading.needed(node, "checked").as_deref() {
            Some("read") => Some(Checked::Read),
            Some("from-memory") => Some(Checked::FromMemory),
            _ => None,
        };
        let checked_on = node
            .get("checked_on")
            .and_then(|_| date(&mut reading, node, "checked_on"));
        unique(&mut reading, &mut seen, node, "sources");
        apart_from_used(
            &mut reading,
            node,
            names.publications.rows().get(..n_of_others),
        );
        let (link, note) = (reading.owned(node, "link"), reading.owned(node, "note"));
        match (id, by, title, checked) {
            (Some(id), Some(by), Some(title), Some(checked)) => {
                let superseded_by = None;
                names.publications.push(Publication {
                    id,
                    by,
                    title,
                    year,
                    link,
                    checked,
                    checked_on,
                    note,
                    superseded_by,
                    is_used,
                });
            }
            (id, ..) => {
                names.note_broken(What::Source, id);
                reading.pass_over(node, "a whole source");
            }
        }
    }
    for node in parsed.root.list("sources") {
        superseded(&mut reading, names, node);
    }
    reading.finish()
}

/// A source that stands in the used bibliography, too, would have two meanings.
fn apart_from_used(reading: &mut Reading<'_>, node: &Node, used: Option<&[Publication]>) {
    let (Some(place), Some(id)) = (node.get("id"), reading.owned(node, "id")) else {
        return;
    };
    if used.into_iter().flatten().any(|it| it.id == id) {
        let title = format!("`{id}` is a source of the rule set whose registers are used");
        reading
            .wrong(Code::DuplicateId, place, title, "there already")
            .help("take it out here, or give it another id");
    }
}

/// Notes which source replaced this one; any source of the file may.
fn superseded(reading: &mut Reading<'_>, names: &mut Names, node: &Node) {
    let (Some(place), Some(old), Some(new)) = (
        node.get("superseded_by"),
        reading.owned(node, "id"),
        reading.owned(node, "superseded_by"),
    ) else {
        return;
    };
    let at = names.publications.position(|it| it.id == new);
    let other = at.filter(|_| new != old);
    if other.is_none() && !names.is_broken(What::Source, &new) {
        let title = if at.is_some() {
            format!("`{old}` cannot replace itself")
        } else {
            format!("there is no source `{new}`")
        };
        let known = names
            .publications
            .iter()
            .map(|it| it.id.as_str())
            .filter(|it| *it != old);
        let label = "not another source of this file";
        reading
            .wrong(Code::UnknownSource, place, title, label)
            .help_if(did_you_mean(&new, known));
    }
    if let Some(it) = names.publications.iter_mut().find(|it| it.id == old) {
        it.superseded_by = other;
    }
}

/// limits.yaml.
pub(crate) fn limits(parsed: &Parsed, names: &mut Names) -> Vec<Diagnostic> {
    let mut reading = parsed.reading("limits");
    let mut seen = HashMap::new();
    for node in parsed.root.list("limits") {
        let id = reading.needed(node, "id");
        let about = reading.needed(node, "about");
        let citations = names.citations(&mut reading, node);
        let other_figures = reading.owned(node, "other_figures");
        unique(&mut reading, &mut seen, node, "limits");
        let Some(value_node) = node.get("value") else {
            continue;
        };
        let written = value_node.shown(reading.source).to_owned();
        let value = limit_value(&mut reading, value_node);
        match (id, about, value) {
            (Some(id), Some(about), Some(value)) => {
                names.limits.push(Limit {
                    id,
                    about,
                    written,
                    value,
                    other_figures,
                    citations,
                });
            }
            (id, ..) => {
                names.note_broken(What::Limit, id);
                reading.pass_over(node, "a whole limit");
            }
        }
    }
    reading.finish()
}

/// The value of a limit; `None` after a diagnostic.
pub(crate) fn limit_value(reading: &mut Reading<'_>, node: &Node) -> Option<LimitValue> {
    let written = node.shown(reading.source).to_owned();
    if let Some(span) = Span::read(&written) {
        return Some(LimitValue::Span(span));
    }
    match written_number(node) {
        Ok(number) => Some(LimitValue::Number {
            value: number.value,
            unit: number.unit,
        }),
        Err(why) => {
            let title = format!("`{written}` is not a number or length of time");
            reading
                .wrong(Code::WrongUnit, node, title, "cannot be read")
                .help(why)
                .none()
        }
    }
}

/// The classes of medicines, or the groups of allergens: their ids, and for each those it lies in, by position, however far up.
struct Declared {
    ids: Vec<String>,
    above: Vec<HashSet<usize>>,
    /// What is told where something lies in none of them.
    unknown: Code,
}

impl Declared {
    /// Those of a list; reports unknown and cyclic ones.
    fn read(reading: &mut Reading<'_>, entries: &[Node], what: &str, unknown: Code) -> Self {
        let mut seen = HashMap::new();
        for entry in entries {
            unique(reading, &mut seen, entry, what);
        }
        let ids = entries.iter().map(|it| text_of(reading, it, "id"));
        let mut declared = Self {
            ids: ids.collect(),
            above: Vec::new(),
            unknown,
        };
        let parents: Vec<Vec<usize>> = entries
            .iter()
            .map(|it| declared.lies_in(reading, it))
            .collect();
        for own in &parents {
            let mut above = HashSet::new();
            let mut open = own.clone();
            while let Some(next) = open.pop() {
                if above.insert(next) {
                    open.extend(parents.get(next).into_iter().flatten());
                }
            }
            declared.above.push(above);
        }
        declared.refuse_circles(reading, entries);
        declared
    }

    /// The terms that an entry names under `in:`, by position.
    fn lies_in(&self, reading: &mut Reading<'_>, entry: &Node) -> Vec<usize> {
        let mut found = Vec::new();
        for term in entry.list("in") {
            let Some(text) = term.written(reading.source).map(str::to_owned) else {
                reading.pass_over(term, "the id of a class");
                continue;
            };
            match self.ids.iter().position(|it| *it == text) {
                Some(at) => found.push(at),
                None => {
                    let known = self.ids.iter().map(String::as_str);
                    let what = ("class or group", text.as_str(), "not declared");
                    reading.unknown(self.unknown, term, what, known);
                }
            }
        }
        found
    }

    /// The same, with all that those lie in.
    fn above(&self, reading: &mut Reading<'_>, entry: &Node) -> HashSet<usize> {
        let own = self.lies_in(reading, entry);
        let further = own.iter().filter_map(|at| self.above.get(*at)).flatten();
        own.iter().chain(further).copied().collect()
    }

    fn refuse_circles(&self, reading: &mut Reading<'_>, entries: &[Node]) {
        let reaches = |from: usize, to: usize| {
            let above = self.above.get(from);
            above.is_some_and(|it| it.contains(&to))
        };
        let mut told = HashSet::new();
        for (at, (node, id)) in entries.iter().zip(&self.ids).enumerate() {
            // A circle is told once, at its first member.
            if told.contains(&at) || !reaches(at, at) {
                continue;
            }
            let members = self.ids.iter().enumerate();
            let circle = members.filter(|(it, _)| reaches(at, *it) && reaches(*it, at));
            told.extend(circle.clone().map(|(it, _)| it));
            let others = circle.filter(|(it, _)| *it != at);
            let mut others: Vec<&str> = others.map(|(_, id)| id.as_str()).collect();
            others.sort_unstable();
            let through = if others.is_empty() {
                String::new()
            } else {
                format!(" through {}", listed(&others).replace(" or ", " and "))
            };
            let title = format!("`{id}` contains itself{through}");
            let place = node.get("id").unwrap_or(node);
            reading
                .wrong(Code::CyclicClasses, place, title, "part of a circle")
                .help("take one of them out of the `in:` of another");
        }
    }

    /// The same as a register has them, still without members.
    fn terms<Of>(&self, reading: &mut Reading<'_>, entries: &[Node]) -> Vec<Term<Of>> {
        let ids = self.ids.iter().zip(entries);
        ids.map(|(id, node)| Term {
            id: id.clone(),
            about: text_of(reading, node, "about"),
            members: Bits::new(),
        })
        .collect()
    }
}

/// A text that the schema asks for; where it is missing that was told, and the rest is looked at all the same.
fn text_of(reading: &mut Reading<'_>, node: &Node, key: &str) -> String {
    reading.owned(node, key).unwrap_or_default()
}

/// The names of an entry, synonyms included, in the form in which they are compared; reports those already taken.
fn new_names(
    reading: &mut Reading<'_>,
    places: &mut HashMap<String, Range<usize>>,
    node: &Node,
) -> Vec<String> {
    let also = node.list("also");
    let mut forms = Vec::new();
    for place in node.get("name").into_iter().chain(also) {
        let Some(form) = place.written(reading.source).map(recognise::form) else {
            continue;
        };
        if let Some(first) = places.get(&form) {
            let title = format!("`{form}` is already a name of the register");
            let told = reading
                .wrong(Code::NameTwice, place, title, "second use")
                .also(first, "first use");
            told.help("delete the name from one of the two");
            continue;
        }
        places.insert(form.clone(), place.span.clone());
        forms.push(form);
    }
    forms
}

/// medicines.yaml.
pub(crate) fn medicines(parsed: &Parsed, names: &mut Names) -> Vec<Diagnostic> {
    let mut reading = parsed.reading("medicines");
    let class_nodes = parsed.root.list("classes");
    let terms = Declared::read(&mut reading, class_nodes, "classes", Code::UnknownMedicine);
    let classes = terms.terms(&mut reading, class_nodes);
    let mut words = |key| {
        let words = reading.list(&parsed.root, key);
        words.iter().map(|it| recognise::form(it)).collect()
    };
    let mut register = MedicineRegister {
        classes,
        dose_words: words("dose_words"),
        salt_words: words("salt_words"),
        ..MedicineRegister::default()
    };
    let mut places: HashMap<String, Range<usize>> = HashMap::new();
    for node in parsed.root.list("medicines") {
        let Some(name) = reading.needed(node, "name") else {
            continue;
        };
        let also = reading.list(node, "also");
        let forms = new_names(&mut reading, &mut places, node);
        let classes = terms.above(&mut reading, node);
        // A rule that names a class means all its medicines; a medicine of that name outside it would be missed.
        let mut class = terms.ids.iter().enumerate();
        let class = class.find(|(_, id)| forms.contains(id));
        if let Some((_, id)) = class.filter(|(at, _)| !classes.contains(at))
            && let Some(place) = node.get("name")
        {
            let title = format!("`{id}` is the name of a class that this medicine does not lie in");
            let help = "add the class to its `in:`, or give one of them another name";
            reading
                .wrong(Code::NameTwice, place, title, "rules would mean the class")
                .help(help);
        }
        let mut factor = |key| {
            let it = node.get(key)?;
            match it.kind {
                NodeKind::Number(factor) if factor > 0.0 => return Some(factor),
                _ => reading.pass_over(it, "a number above zero"),
            }
            None
        };
        let as_prednisolone = factor("as_prednisolone");
        let adrenal_as_prednisolone = factor("adrenal_as_prednisolone").or(as_prednisolone);
        let key = "plausible_daily";
        let plausible_daily = range(&mut reading, node, key, MILLIGRAMS, "daily doses");
        let name = recognise::form(&name);
        let at = register.medicines.push(Medicine {
            name,
            also,
            as_prednisolone,
            adrenal_as_prednisolone,
            plausible_daily,
        });
        register
            .names
            .extend(forms.into_iter().map(|form| (form, at)));
        for term in classes {
            if let Some(class) = register.classes.get_mut(term) {
                class.members.insert(at);
            }
        }
    }
    names.medicines = register;
    reading.finish()
}

/// The least and the most that stand under a key, in a unit; `what` they are is for the message.
fn range(
    reading: &mut Reading<'_>,
    map: &Node,
    key: &str,
    unit: UnitOf,
    what: &str,
) -> Option<(f64, f64)> {
    let place = map.get(key)?;
    let ends = place.items().iter();
    let ends: Vec<Option<f64>> = ends.map(|it| in_unit(reading, it, unit)).collect();
    let [Some(low), Some(high)] = ends[..] else {
        reading.pass_over(place, "the least and the most");
        return None;
    };
    if low > high {
        let title = format!("the range of {what} is upside down");
        reading
            .wrong(Code::BadRange, place, title, "the first one is higher")
            .help("write the lower one first");
    }
    Some((low, high))
}

/// allergens.yaml. Medicines must be loaded before: each is a substance, too.
pub(crate) fn allergens(parsed: &Parsed, names: &mut Names) -> Vec<Diagnostic> {
    let mut reading = parsed.reading("allergens");
    let group_nodes = parsed.root.list("groups");
    let terms = Declared::read(&mut reading, group_nodes, "groups", Code::UnknownSubstance);
    let mut register = AllergenRegister {
        groups: terms.terms(&mut reading, group_nodes),
        ..AllergenRegister::default()
    };
    let mut seen = HashMap::new();
    for node in parsed.root.list("reactions") {
        unique(&mut reading, &mut seen, node, "reactions");
        if let (Some(id), Some(text)) = (reading.needed(node, "id"), reading.needed(node, "text")) {
            register.reactions.push(Reaction { id, text });
        }
    }
    let mut places: HashMap<String, Range<usize>> = HashMap::new();
    let mut listed: Vec<(&Node, Vec<String>)> = Vec::new();
    for node in parsed.root.list("substances") {
        let Some(name) = reading.needed(node, "name") else {
            continue;
        };
        let at = substance(&mut register, recognise::form(&name));
        let forms = new_names(&mut reading, &mut places, node);
        register
            .names
            .extend(forms.iter().map(|it| (it.clone(), Bits::from_iter([at]))));
        listed.push((node, forms));
        for term in terms.above(&mut reading, node) {
            if let Some(group) = register.groups.get_mut(term) {
                group.members.insert(at);
            }
        }
    }
    let mut forms: Table<Vec<String>, Substance> =
        listed.iter().map(|(_, forms)| forms.clone()).collect();
    add_medicines(&names.medicines, &mut register, &mut forms);
    take_apart(&mut register, &forms);
    // Those that the file lists come first.
    for (own, (node, _)) in register.substances.indices().zip(&listed) {
        for cross in node.list("crosses_with") {
            let Some(form) = cross.written(reading.source).map(recognise::form) else {
                continue;
            };
            let group = register
                .groups
                .iter()
                .find(|it| it.id == form)
                .map(|it| it.members.clone());
            let Some(others) = group.or_else(|| register.names.get(&form).cloned()) else {
                let known = register.substances.iter().map(|it| it.name.as_str());
                reading.unknown(
                    Code::UnknownSubstance,
                    &cross.span,
                    ("substance or group", &form, "not in allergens.yaml"),
                    known,
                );
                continue;
            };
            for other in others.iter() {
                register.substances[own].crosses.insert(other);
                register.substances[other].crosses.insert(own);
            }
        }
    }
    for (node, group) in group_nodes.iter().zip(register.groups.clone()) {
        let declared = node.list("names");
        let own = [
            recognise::form(&group.id.replace('-', " ")),
            group.id.clone(),
        ];
        let spoken: Vec<(String, Range<usize>)> = declared
            .iter()
            .filter_map(|it| {
                Some((
                    recognise::form(it.written(reading.source)?),
                    it.span.clone(),
                ))
            })
            .chain(
                node.get("id")
                    .into_iter()
                    .flat_map(|it| own.iter().map(|form| (form.clone(), it.span.clone()))),
            )
            .collect();
        for (form, span) in spoken {
            if let Some(existing) = register.names.get(&form) {
                if places.contains_key(&form) && *existing != group.members && !own.contains(&form)
                {
                    let title = format!("`{form}` is already a name of the register");
                    reading.wrong(Code::NameTwice, &span, title, "second use");
                }
                continue;
            }
            places.insert(form.clone(), span);
            register.names.insert(form, group.members.clone());
        }
    }
    names.allergens = register;
    reading.finish()
}

/// Adds a substance; each crosses with itself.
fn substance(register: &mut AllergenRegister, name: String) -> Idx<Substance> {
    let at = register.substances.push(Substance {
        name,
        crosses: Bits::new(),
    });
    register.substances[at].crosses.insert(at);
    at
}

/// Makes every medicine a substance, under all its names that are not yet taken, and puts it into the groups that have
/// the name of one of its classes. `forms` are the names of each substance, and get those of the medicines.
fn add_medicines(
    medicines: &MedicineRegister,
    register: &mut AllergenRegister,
    forms: &mut Table<Vec<String>, Substance>,
) {
    let mut position: HashMap<Idx<Medicine>, Idx<Substance>> = HashMap::new();
    let mut sorted: Vec<(&String, Idx<Medicine>)> = medicines
        .names
        .iter()
        .map(|(name, at)| (name, *at))
        .collect();
    sorted.sort();
    // A medicine that allergens.yaml lists under any of its names is that substance.
    for &(name, medicine) in &sorted {
        if let Some(at) = register.names.get(name).and_then(|it| it.iter().next()) {
            position.insert(medicine, at);
        }
    }
    for (name, medicine) in sorted {
        let at = *position.entry(medicine).or_insert_with(|| {
            forms.push(Vec::new());
            substance(register, medicines.medicines[medicine].name.clone())
        });
        register
            .names
            .entry(name.clone())
            .or_insert_with(|| Bits::from_iter([at]));
        forms[at].push(name.clone());
    }
    for class in &medicines.classes {
        if let Some(group) = register.groups.iter_mut().find(|it| it.id == class.id) {
            class
                .members
                .iter()
                .filter_map(|it| position.get(&it))
                .for_each(|at| group.members.insert(*at));
        }
    }
}

/// Lets the names of each mixture mean its parts: an allergy to the mixture may be one to any of them. It may be one to
/// the mixture alone, too, where a part is not known, or where the register itself puts the mixture into a group.
fn take_apart(register: &mut AllergenRegister, forms: &Table<Vec<String>, Substance>) {
    let mut meant: Vec<(String, Bits<Substance>)> = Vec::new();
    for (own, forms) in forms.entries() {
        let Some(mut parts) = parts_of(forms, register) else {
            continue;
        };
        if !parts.complete || register.groups.iter().any(|it| it.members.contains(own)) {
            parts.found.insert(own);
        }
        meant.extend(forms.iter().map(|it| (it.clone(), parts.found.clone())));
    }
    register.names.extend(meant);
}

/// The known parts of a mixture.
struct MixtureParts {
    found: Bits<Substance>,
    /// Whether one of its names is made of known parts alone.
    complete: bool,
}

/// The substances that the names of a mixture name: "codeine and paracetamol". An allergy to the mixture may be one to
/// any of them. `None` if no name is made of parts that are known.
fn parts_of(forms: &[String], register: &AllergenRegister) -> Option<MixtureParts> {
    let mut parts = MixtureParts {
        found: Bits::new(),
        complete: false,
    };
    for form in forms {
        let pieces = form
            .replace(" and ", "/")
            .replace(" with ", "/")
            .replace(", ", "/");
        let known: Vec<Option<&Bits<Substance>>> = pieces
            .split('/')
            .map(|it| register.names.get(it.trim()))
            .collect();
        if known.len() > 1 {
            known.iter().flatten().for_each(|it| parts.found.extend(it));
            parts.complete |= known.iter().all(Option::is_some);
        }
    }
    (!parts.found.is_empty()).then_some(parts)
}

/// A unit, and of what.
type UnitOf = (&'static str, Measure);

const MILLIGRAMS: UnitOf = ("mg", Measure::Mass);
const MILLILITRES: UnitOf = ("mL", Measure::Volume);
const PER_CENT: UnitOf = ("%", Measure::Strength);

/// A quantity above zero in a unit; `None` after a diagnostic.
fn in_unit(reading: &mut Reading<'_>, node: &Node, (unit, measure): UnitOf) -> Option<f64> {
    let above_zero = |value: f64| {
        if value > 0.0 {
            Ok(value)
        } else {
            Err("it must be above zero".to_owned())
        }
    };
    match written_number(node)
        .and_then(|it| to_unit(&it, Some(unit), Some(measure)))
        .and_then(above_zero)
    {
        Ok(value) => Some(value),
        Err(why) => {
            let written = node.shown(reading.source).to_owned();
            let title = format!("`{written}` is not a quantity in {unit}");
            reading
                .wrong(Code::WrongUnit, node, title, "does not fit")
                .help(why)
                .none()
        }
    }
}
