//! A questionnaire that was read as a FHIR R4 QuestionnaireResponse.

use serde_json::{Map, Value, json};

use crate::document::diagnostic::Diagnostic;
use crate::document::source::{Node, NodeKind, Source};
use crate::quantity::when::{When, read_when};
use crate::quantity::{Measure, read_number, read_quantity};
use crate::questionnaire::facts::{Gathered, Given};
use crate::questionnaire::fhir::form::{address, canonical};
use crate::questionnaire::fhir::{
    ABSENT, DECLINED, NONE, NOT_KNOWN, UCUM, codes, is_coded, is_timed, system, system_of,
    taken_on_id, value_id, value_of_number,
};
use crate::rule_set::{Answer, Question, RuleSet};

/// The response that says what a questionnaire says; answers that the clinic's file gives are not in it.
///
/// Reading it again gives the same answers: a quantity in several units is written in the question's own, as the number that
/// it was understood as, and everything else as it stands; but for the time of a day for which the form asks none, such as that
/// of a birth.
///
/// # Missing data
/// A question not asked has no item. The questionnaire must have been read without a diagnostic; an answer that cannot be read
/// is left out.
///
/// # Errors
/// That the rule set has no canonical address.
pub fn filled(
    rule_set: &RuleSet,
    reference: &str,
    answers: &Gathered,
) -> Result<Value, Diagnostic> {
    let canonical = canonical(rule_set)?;
    let filled = Filled {
        rule_set,
        canonical,
    };
    let catalogue = &rule_set.catalogue;
    let noted = |section: &str| {
        // A note of nothing says nothing, and is no string of the standard.
        let says = |text: &str| !text.trim().is_empty();
        let notes = answers.notes.iter();
        let notes = notes.filter(|it| it.section == section && says(&it.text));
        let notes: Vec<Value> = notes.map(|it| json!({ "valueString": it.text })).collect();
        (!notes.is_empty()).then(|| noted(section, notes))
    };
    let mut items = Vec::new();
    for (at, section) in catalogue.sections.entries() {
        let questions = catalogue.questions.entries();
        let here = questions.filter(|(_, it)| it.section == at);
        let mut inner: Vec<Value> = here
            .filter_map(|(question, it)| Some((it, answers.given.get(&question)?)))
            .flat_map(|(question, given)| filled.question(question, given))
            .collect();
        inner.extend(noted(&section.id));
        if !inner.is_empty() {
            items.push(json!({ "linkId": section.id, "item": inner }));
        }
    }
    items.extend(noted(""));
    let mut response = Map::new();
    let mut put = |key: &str, value: Value| response.insert(key.to_owned(), value);
    put("resourceType", json!("QuestionnaireResponse"));
    put(
        "questionnaire",
        json!(format!("{}|{}", address(canonical), rule_set.edition)),
    );
    put("status", json!("completed"));
    put("subject", json!({ "identifier": { "value": reference } }));
    if let Some((day, _)) = &answers.completed_on {
        put("authored", json!(day.to_string()));
    }
    if !items.is_empty() {
        put("item", json!(items));
    }
    Ok(Value::Object(response))
}

fn noted(section: &str, notes: Vec<Value>) -> Value {
    let link = if section.is_empty() {
        "note".to_owned()
    } else {
        format!("{section}.note")
    };
    answered(&link, notes)
}

struct Filled<'a> {
    rule_set: &'a RuleSet,
    canonical: &'a str,
}

impl Filled<'_> {
    /// The items of an answer; none if nothing is written.
    fn question(&self, question: &Question, given: &Given) -> Vec<Value> {
        let (node, source) = (&given.node, &*given.source);
        let link = value_id(question);
        if !question.dated {
            return self
                .value(question, &link, node, source)
                .into_iter()
                .collect();
        }
        let mut items = Vec::new();
        if let NodeKind::Map(_) = &node.kind {
            let value = node.get("value").unwrap_or(node);
            items.extend(self.value(question, &link, value, source));
            let taken_on = node.get("taken_on").unwrap_or(node);
            items.extend(self.day(&taken_on_id(question), taken_on, source, true));
        } else {
            items.extend(self.value(question, &link, node, source));
        }
        if items.is_empty() {
            return items;
        }
        vec![json!({ "linkId": question.id, "item": items })]
    }

    fn value(
        &self,
        question: &Question,
        link: &str,
        node: &Node,
        source: &Source,
    ) -> Option<Value> {
        if node.kind == NodeKind::Null {
            return None;
        }
        if let Some(code) = absent(node) {
            return Some(if is_coded(question) {
                answered(link, vec![coding(ABSENT, code, None)])
            } else {
                answered(&format!("{link}.absent"), vec![coding(ABSENT, code, None)])
            });
        }
        if question.is_list() {
            let mut answers: Vec<Value> = node
                .items()
                .iter()
                .map(|it| self.entry(question, link, it, source))
                .collect();
            if answers.is_empty() {
                answers.push(coding(&system(self.canonical, "answers"), NONE, None));
            }
            return Some(answered(link, answers));
        }
        let written = node.shown(source);
        let answer = match &question.answer {
            Answer::Date => return self.day(link, node, source, is_timed(question)),
            Answer::Number { whole } => {
                let key = value_of_number(*whole);
                json!({ key: number(written, read_number(written).ok()?) })
            }
            Answer::Quantity { measure, unit, .. } => quantity(*measure, unit, written)?,
            Answer::Text => json!({ "valueString": written }),
            Answer::YesNo => {
                let yes = node.kind == NodeKind::Bool(true) || written == "yes";
                self.code(question, if yes { "yes" } else { "no" })
            }
            _ => self.code(question, written),
        };
        Some(answered(link, vec![answer]))
    }

    /// One of a question's own codes, with what it means.
    fn code(&self, question: &Question, code: &str) -> Value {
        let all = codes(self.rule_set, question);
        let display = all.iter().find(|(it, _)| *it == code);
        coding(
            &system_of(self.canonical, question),
            code,
            display.map(|(_, it)| *it),
        )
    }

    /// One entry of a list, with its details within.
    fn entry(&self, question: &Question, link: &str, node: &Node, source: &Source) -> Value {
        let name = match &node.kind {
            NodeKind::Map(_) => ["name", "to", "agent"].iter().find_map(|it| node.get(it)),
            _ => Some(node),
        };
        let name = name.map_or("", |it| it.shown(source));
        let is_code = codes(self.rule_set, question)
            .iter()
            .any(|(code, _)| *code == name);
        let mut answer = match &question.answer {
            // An agent may stand under another spelling, which its own code replaces.
            Answer::Anaesthetic => {
                let spelt = |it: &&crate::rule_set::Agent| {
                    it.id == name || it.also.iter().any(|also| also == name)
                };
                let agent = self.rule_set.agents.iter().find(spelt);
                self.code(question, agent.map_or(name, |it| &it.id))
            }
            Answer::Medicines | Answer::Allergies if !is_code => json!({ "valueString": name }),
            _ => self.code(question, name),
        };
        let mut within = Vec::new();
        for detail in ["daily", "for", "reaction", "strength", "volume"] {
            let Some(node) = node.get(detail).filter(|it| it.kind != NodeKind::Null) else {
                continue;
            };
            let written = node.shown(source);
            let measure = match detail {
                "strength" => Some((Measure::Strength, "%")),
                "volume" => Some((Measure::Volume, "mL")),
                _ => None,
            };
            let value = match (absent(node), measure) {
                // A plan has no item for why an amount is not there: it is not known either way.
                (Some(_), Some(_)) => continue,
                (Some(code), None) if detail == "reaction" => coding(ABSENT, code, None),
                (_, Some((measure, unit))) => match quantity(measure, unit, written) {
                    Some(quantity) => quantity,
                    None => continue,
                },
                _ if detail == "reaction" => {
                    let mut reactions = self.rule_set.allergens.reactions.iter();
                    let text = reactions
                        .find(|it| it.id == written)
                        .map(|it| it.text.as_str());
                    coding(&system(self.canonical, "reactions"), written, text)
                }
                _ => json!({ "valueString": written }),
            };
            within.push(answered(&format!("{link}.{detail}"), vec![value]));
        }
        if let Some(map) = answer.as_object_mut().filter(|_| !within.is_empty()) {
            map.insert("item".to_owned(), json!(within));
        }
        answer
    }

    /// A day, its time within it if the form asks for that.
    fn day(&self, link: &str, node: &Node, source: &Source, is_timed: bool) -> Option<Value> {
        if node.kind == NodeKind::Null {
            return None;
        }
        if let Some(code) = absent(node) {
            let link = format!("{link}.absent");
            return Some(answered(&link, vec![coding(ABSENT, code, None)]));
        }
        let When { date, time } = read_when(node.shown(source)).ok()?;
        let mut answer = json!({ "valueDate": date.to_string() });
        if let (Some(time), Some(map)) = (time.filter(|_| is_timed), answer.as_object_mut()) {
            let time = json!({ "valueTime": time.format("%H:%M:%S").to_string() });
            let within = vec![answered(&format!("{link}.time"), vec![time])];
            map.insert("item".to_owned(), json!(within));
        }
        Some(answered(link, vec![answer]))
    }
}

/// The code for why there is no answer, if that is what is written.
fn absent(node: &Node) -> Option<&'static str> {
    match node.text().map(str::trim) {
        Some(word) if word.eq_ignore_ascii_case("unknown") => Some(NOT_KNOWN),
        Some(word) if word.eq_ignore_ascii_case("declined") => Some(DECLINED),
        _ => None,
    }
}

fn answered(link: &str, answers: Vec<Value>) -> Value {
    json!({ "linkId": link, "answer": answers })
}

fn coding(system: &str, code: &str, display: Option<&str>) -> Value {
    let mut coding = json!({ "system": system, "code": code });
    if let (Some(display), Some(map)) = (display, coding.as_object_mut()) {
        map.insert("display".to_owned(), json!(display));
    }
    json!({ "valueCoding": coding })
}

/// A number as it is written, or as it was understood where the standard writes numbers otherwise.
fn number(written: &str, understood: f64) -> Value {
    serde_json::from_str(written.trim()).unwrap_or_else(|_| json!(understood))
}

/// A quantity in the unit in which it is written; one in several units in the question's own.
fn quantity(measure: Measure, own: &str, written: &str) -> Option<Value> {
    let parts = read_quantity(written).ok()?;
    let (value, unit) = match parts.as_slice() {
        [one] => {
            let unit = measure.unit(one.unit.as_deref()?)?;
            (number(&one.number_text, one.number), unit)
        }
        several => {
            let parts: Option<Vec<(f64, &str)>> = several
                .iter()
                .map(|it| Some((it.number, measure.unit(it.unit.as_deref()?)?)))
                .collect();
            let unit = measure.unit(own)?;
            (json!(measure.total(&parts?, unit).ok()?), unit)
        }
    };
    Some(json!({ "valueQuantity": {
        "value": value, "unit": unit, "system": UCUM, "code": measure.ucum(unit),
    } }))
}
