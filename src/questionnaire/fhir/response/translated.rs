//! A response to the form of another program, in the words of ours: its link ids and codes by a mapping file.
//!
//! INVARIANT: nothing is read here. What is translated goes to the reader of our own form with the places that it has in the
//! response, and what cannot be translated goes there as it stands, so that it is told there.

use std::ops::Range;
use std::sync::Arc;

use crate::document::diagnostic::{Code, Diagnostic, did_you_mean};
use crate::document::reading::Tells;
use crate::document::source::{MapEntry, Node, NodeKind, Source};
use crate::questionnaire::facts::{Note, Place};
use crate::questionnaire::fhir::form::address;
use crate::questionnaire::fhir::response::ITEM;
use crate::questionnaire::fhir::{
    ABSENT, DECLINED, NONE, NOT_KNOWN, UCUM, is_coded, system, system_of, taken_on_id, value_id,
    value_of_number,
};
use crate::questionnaire::mapping::{CodeMeaning, ColumnPart, MappedColumn, Mapping};
use crate::rule_set::{Answer, Question, RuleSet};

/// The response as one to our own form, what is left out of its answers, and what of it the mapping file does not say.
pub(super) fn translated(
    rule_set: &RuleSet,
    canonical: &str,
    mapping: &Mapping,
    source: &Arc<Source>,
    root: &Node,
) -> (Node, Vec<Note>, Vec<Diagnostic>) {
    let mut translator = Translator {
        rule_set,
        canonical,
        mapping,
        source,
        found: Vec::new(),
        kept: Vec::new(),
        beside: Vec::new(),
        notes: Vec::new(),
        diagnostics: Vec::new(),
    };
    let items = root.entry("item").filter(|it| !it.value.items().is_empty());
    translator.collect(root.list("item"));
    let mut entries: Vec<MapEntry> = Vec::new();
    for entry in root.entries() {
        match entry.key.as_str() {
            "questionnaire" => {
                let own = format!("{}|{}", address(canonical), rule_set.edition);
                entries.push(put("questionnaire", Node::of_text(&entry.value, &own)));
            }
            "item" if items.is_some() => {}
            _ => entries.push(entry.clone()),
        }
    }
    if let Some(items) = items {
        let own = translator.items();
        let own: Vec<Node> = own.into_iter().chain(translator.kept).collect();
        if !own.is_empty() {
            entries.push(put("item", Node::new(&items.value, NodeKind::List(own))));
        }
    }
    entries.extend(translator.beside);
    let translated = Node::new(root, NodeKind::Map(entries));
    (translated, translator.notes, translator.diagnostics)
}

struct Translator<'a> {
    rule_set: &'a RuleSet,
    canonical: &'a str,
    mapping: &'a Mapping,
    source: &'a Arc<Source>,
    /// The items that answer something, in their order.
    found: Vec<FoundItem<'a>>,
    /// Items that stay as they are, for they cannot be understood.
    kept: Vec<Node>,
    /// What groups say beside their items.
    beside: Vec<MapEntry>,
    /// What is left out of answers.
    notes: Vec<Note>,
    diagnostics: Vec<Diagnostic>,
}

/// An item with answers.
struct FoundItem<'a> {
    column: &'a MappedColumn,
    link: Range<usize>,
    /// Its elements but the link id, the answers and further items.
    beside: Vec<MapEntry>,
    answers: Vec<Node>,
}

/// A translated answer.
enum Said {
    /// An answer.
    Answer(Node),
    /// That there is none of a list.
    Nothing(Node),
    /// Why there is none.
    Absent(Node),
}

impl Tells for Translator<'_> {
    fn telling(&mut self) -> (&Arc<Source>, &mut Vec<Diagnostic>) {
        (self.source, &mut self.diagnostics)
    }
}

impl<'a> Translator<'a> {
    /// Finds the items that answer something, however they are grouped.
    fn collect(&mut self, items: &'a [Node]) {
        for item in items {
            let parts = ["answer", "item"].map(|key| item.get(key));
            let link = item.get("linkId").and_then(|it| Some((it, it.text()?)));
            let is_sound = parts.iter().flatten().all(|it| !it.items().is_empty());
            let Some((link, id)) = link.filter(|_| is_sound) else {
                self.kept.push(item.clone());
                continue;
            };
            let own = ["linkId", "answer", "item"];
            let beside = item.entries().iter();
            let beside = beside.filter(|it| !own.contains(&it.key.as_str())).cloned();
            let answers = item.list("answer");
            let column = self.mapping.columns.iter().find(|it| it.from == id);
            if answers.is_empty() {
                let says_nothing = |it: &MapEntry| ITEM.passed_over.contains(&it.key.as_str());
                self.beside.extend(beside.filter(|it| !says_nothing(it)));
            } else if let Some(column) = column {
                self.found.push(FoundItem {
                    column,
                    link: link.span.clone(),
                    beside: beside.collect(),
                    answers: answers.iter().map(|it| without(it, "item")).collect(),
                });
            } else if !self.mapping.ignored.contains(id) {
                let known = self.mapping.columns.iter().map(|it| it.from.as_str());
                let help =
                    did_you_mean(id, known).unwrap_or_else(|| Code::NotMapped.mend().to_owned());
                let title = format!("the mapping file does not say what the item `{id}` answers");
                self.wrong(Code::NotMapped, link, title, "not mapped")
                    .help(help);
            }
            self.collect(item.list("item"));
            for answer in answers {
                self.collect(answer.list("item"));
            }
        }
    }

    /// What was found as items of our form, where they stand in it.
    fn items(&mut self) -> Vec<Node> {
        let rule_set = self.rule_set;
        let found = std::mem::take(&mut self.found);
        let of = |part: &ColumnPart| -> Vec<&FoundItem<'a>> {
            found.iter().filter(|it| it.column.part == *part).collect()
        };
        let mut all = self.item("note", None, &of(&ColumnPart::Note(String::new())));
        for (section_at, section) in rule_set.catalogue.sections.entries() {
            let note = of(&ColumnPart::Note(section.id.clone()));
            let mut here = self.item(&format!("{}.note", section.id), None, &note);
            let questions = rule_set.catalogue.questions.entries();
            for (at, question) in questions.filter(|(_, it)| it.section == section_at) {
                let answers = of(&ColumnPart::Answer(at));
                self.asked_in_part(&ColumnPart::Answer(at), question, &answers);
                let mut own = self.item(&value_id(question), Some(question), &answers);
                if question.dated {
                    let days = of(&ColumnPart::TakenOn(at));
                    own.extend(self.item(&taken_on_id(question), Some(question), &days));
                    own = group(&question.id, own);
                }
                here.append(&mut own);
            }
            all.append(&mut group(&section.id, here));
        }
        all
    }

    /// Tells a list of which a part was not asked: it would say that there is nothing else.
    fn asked_in_part(&mut self, part: &ColumnPart, question: &Question, found: &[&FoundItem<'a>]) {
        let Some(first) = found.first() else {
            return;
        };
        let is_there = |column: &MappedColumn| found.iter().any(|it| it.column.from == column.from);
        let mut columns = self.mapping.columns.iter();
        let missing = columns.find(|it| it.part == *part && !it.further && !is_there(it));
        if let Some(missing) = missing {
            let title = format!(
                "`{}` is not answered, and other items of `{}` are",
                missing.from, question.id
            );
            let help = "an item that is not there was not asked, and never means no: answer all items of a list, or none of them";
            self.wrong(Code::NotTogether, &first.link, title, "a part of a list")
                .help(help);
        }
    }

    /// The items of our form that hold what was found for one, and why there is no answer. What answers one list, or one note, is
    /// one item; but a second item of the same link id stays a second one, and is refused as such.
    fn item(
        &mut self,
        id: &str,
        question: Option<&Question>,
        found: &[&FoundItem<'a>],
    ) -> Vec<Node> {
        let is_joined = question.is_none_or(|it| id == it.id && it.is_list());
        let n_begin = found.iter().filter(|it| !it.column.further).count();
        let mut seen: Vec<&str> = Vec::new();
        let (mut joined, mut nothing, mut beside) = (Vec::new(), Vec::new(), Vec::new());
        let mut all = Vec::new();
        for one in found {
            let mut own = Vec::new();
            for answer in &one.answers {
                match self.answer(one.column, question, answer) {
                    // That this column adds nothing says nothing of the others.
                    Some(Said::Nothing(node)) if one.column.further || n_begin > 1 => {
                        nothing.push(node);
                    }
                    Some(Said::Answer(node) | Said::Nothing(node)) => own.push(node),
                    Some(Said::Absent(node)) => {
                        let id = format!("{id}.absent");
                        all.push(item(&id, &one.link, one.beside.clone(), vec![node]));
                    }
                    None => {}
                }
            }
            if is_joined && !seen.contains(&one.column.from.as_str()) {
                joined.append(&mut own);
                beside.extend(one.beside.iter().cloned());
                seen.push(&one.column.from);
            } else if !own.is_empty() {
                all.push(item(id, &one.link, one.beside.clone(), own));
            }
        }
        if joined.is_empty() {
            joined.extend(nothing.into_iter().take(1));
        }
        if let Some(first) = found.first().filter(|_| !joined.is_empty()) {
            all.insert(0, item(id, &first.link, beside, joined));
        }
        all
    }

    /// Tells a moment of which only the day is read: its hour is that of the sender's zone, and may not be ours.
    fn left_out(&mut self, question: &Question, moment: &str, span: &Range<usize>) {
        let place = Place {
            source: Arc::clone(self.source),
            span: span.clone(),
        };
        self.notes.push(Note {
            section: self.rule_set.catalogue.sections[question.section]
                .id
                .clone(),
            text: format!("{} {moment}: the day alone is read.", question.ask),
            place,
        });
    }

    /// One answer as our form has it; `None` after a diagnostic.
    fn answer(
        &mut self,
        column: &MappedColumn,
        question: Option<&Question>,
        answer: &Node,
    ) -> Option<Said> {
        let values = answer
            .entries()
            .iter()
            .filter(|it| it.key.starts_with("value"));
        let [value] = values.collect::<Vec<_>>()[..] else {
            return Some(Said::Answer(answer.clone()));
        };
        let coding = Some(&value.value).filter(|_| value.key == "valueCoding");
        let place = coding.and_then(|it| it.get("code")).unwrap_or(&value.value);
        let word = place.written(self.source);
        let system_at = coding.and_then(|it| it.get("system"));
        let of = system_at.and_then(Node::text);
        let as_value = |key: &str, node: Node| replaced(answer, put(key, node));
        let code = |of: &str, code: &str| {
            let mut entries = vec![
                put("system", Node::of_text(place, of)),
                put("code", Node::of_text(place, code)),
            ];
            let own = ["system", "code", "display"];
            let rest = value.value.entries().iter();
            entries.extend(rest.filter(|it| !own.contains(&it.key.as_str())).cloned());
            as_value("valueCoding", Node::new(place, NodeKind::Map(entries)))
        };
        let is_day = matches!(column.part, ColumnPart::TakenOn(_));
        let absent = |word: &str| {
            let reason = if word == "declined" {
                DECLINED
            } else {
                NOT_KNOWN
            };
            let node = code(ABSENT, reason);
            if is_day || question.is_some_and(|it| !is_coded(it)) {
                Said::Absent(node)
            } else {
                Said::Answer(node)
            }
        };
        // The same code of another system may mean another thing.
        let is_meant =
            coding.is_none() || system_at.map(Node::text) == column.system.as_deref().map(Some);
        match word
            .filter(|_| is_meant)
            .and_then(|it| column.codes.get(it))
        {
            Some(CodeMeaning::Absent(word)) => return Some(absent(word)),
            Some(CodeMeaning::Nothing) => {
                return Some(Said::Nothing(code(
                    &system(self.canonical, "answers"),
                    NONE,
                )));
            }
            Some(CodeMeaning::Named(name)) => {
                let question = question?;
                return Some(Said::Answer(match question.answer {
                    Answer::Medicines | Answer::Allergies => {
                        as_value("valueString", Node::of_text(place, name))
                    }
                    _ => code(&system_of(self.canonical, question), name),
                }));
            }
            None => {}
        }
        match (of, word) {
            (Some(ABSENT), Some(NOT_KNOWN)) => return Some(absent("unknown")),
            (Some(ABSENT), Some(DECLINED)) => return Some(absent("declined")),
            _ => {}
        }
        if !is_meant && question.is_some() {
            let title = match of {
                Some(of) => format!("the code of `{}` is of the system `{of}`", column.from),
                None => format!("the code of `{}` is of no system", column.from),
            };
            let help = match &column.system {
                Some(system) => format!("the mapping file says what codes of `{system}` mean"),
                None => "say in the mapping file of which system the codes are: `system: ...`"
                    .to_owned(),
            };
            let at = system_at.unwrap_or(place);
            return self
                .wrong(Code::AnswerOption, at, title, "another system")
                .help(help)
                .none();
        }
        let asked = question.filter(|_| !is_day);
        let made = match (asked.map(|it| &it.answer), value.key.as_str()) {
            (None | Some(Answer::Date), "valueDateTime") if question.is_some() => {
                let moment = value.value.text().unwrap_or("");
                let day = match moment.split_once('T') {
                    Some((day, _)) if chrono::DateTime::parse_from_rfc3339(moment).is_ok() => {
                        self.left_out(question?, moment, &value.value.span);
                        day
                    }
                    None if value.value.text().is_some() => moment,
                    // What is no moment of the standard is told as it stands.
                    _ => return Some(Said::Answer(answer.clone())),
                };
                as_value("valueDate", Node::of_text(&value.value, day))
            }
            // `"true"` in quotes, or nothing, is neither yes nor no.
            (Some(Answer::YesNo), "valueBoolean")
                if matches!(value.value.kind, NodeKind::Bool(_)) =>
            {
                let is_yes = value.value.kind == NodeKind::Bool(true);
                code(
                    &system_of(self.canonical, asked?),
                    if is_yes { "yes" } else { "no" },
                )
            }
            (Some(Answer::YesNo | Answer::OneOf(_) | Answer::SeveralOf(_)), _)
            | (Some(Answer::Medicines | Answer::Allergies), "valueCoding") => {
                let written = word.unwrap_or("nothing").to_owned();
                let known = column.codes.keys().map(String::as_str);
                let help = did_you_mean(&written, known).unwrap_or_else(|| {
                    "add it to the `codes` of the item in the mapping file".to_owned()
                });
                let title = format!("the mapping file does not say what `{written}` means here");
                return self
                    .wrong(Code::AnswerOption, place, title, "not an option")
                    .help(help)
                    .none();
            }
            (Some(Answer::Number { whole }), "valueDecimal" | "valueInteger") => {
                as_value(value_of_number(*whole), value.value.clone())
            }
            (Some(Answer::Quantity { measure, .. }), "valueDecimal" | "valueInteger") => {
                let Some(unit) = column.unit else {
                    let title = format!("`{}` needs a unit", column.from);
                    let help =
                        "say in the mapping file in which unit the sender writes it: `unit: ...`";
                    let label = "a number without a unit";
                    return self
                        .wrong(Code::NeedsUnit, &value.value, title, label)
                        .help(help)
                        .none();
                };
                let span = &value.value.span;
                let entries = vec![
                    put("value", value.value.clone()),
                    put("system", Node::of_text(span, UCUM)),
                    put("code", Node::of_text(span, measure.ucum(unit))),
                ];
                as_value("valueQuantity", Node::new(span, NodeKind::Map(entries)))
            }
            _ => answer.clone(),
        };
        Some(Said::Answer(made))
    }
}

/// An item of our form.
fn item(id: &str, link: &Range<usize>, beside: Vec<MapEntry>, answers: Vec<Node>) -> Node {
    let mut entries = vec![put("linkId", Node::of_text(link, id))];
    entries.extend(beside);
    entries.push(put("answer", Node::new(link, NodeKind::List(answers))));
    Node::new(link, NodeKind::Map(entries))
}

/// A group of our form, if anything stands in it.
fn group(id: &str, items: Vec<Node>) -> Vec<Node> {
    let Some(span) = items.first().map(|it| it.span.clone()) else {
        return Vec::new();
    };
    let entries = vec![
        put("linkId", Node::of_text(&span, id)),
        put("item", Node::new(&span, NodeKind::List(items))),
    ];
    vec![Node::new(&span, NodeKind::Map(entries))]
}

/// An answer with another value.
fn replaced(answer: &Node, value: MapEntry) -> Node {
    let rest = answer.entries().iter();
    let rest = rest.filter(|it| !it.key.starts_with("value")).cloned();
    Node::new(answer, NodeKind::Map(rest.chain([value]).collect()))
}

/// A mapping without a key.
fn without(map: &Node, key: &str) -> Node {
    if map.get(key).is_none() {
        return map.clone();
    }
    let entries = map.entries().iter().filter(|it| it.key != key);
    Node::new(map, NodeKind::Map(entries.cloned().collect()))
}

fn put(key: &str, value: Node) -> MapEntry {
    let span = value.span.clone();
    MapEntry::new(key, &span, value)
}
