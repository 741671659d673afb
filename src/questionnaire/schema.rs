//! The JSON Schema (draft-07) of a questionnaire, generated from the questions, for editors.
//!
//! Screening does not depend on it: the reader of answers checks more and says it better. A test
//! keeps the committed copy fresh, and another holds it to refuse nothing that the reader accepts.

use serde_json::{Map, Value, json};

use crate::rule_set::{Answer, Choice, Question, RuleSet};

/// The schema of a patient's questionnaire.
pub fn questionnaire(rule_set: &RuleSet) -> Value {
    frame(rule_set, false)
}

/// The schema of a clinic's file: what may be answered once for all patients.
pub fn clinic(rule_set: &RuleSet) -> Value {
    frame(rule_set, true)
}

fn frame(rule_set: &RuleSet, is_clinic: bool) -> Value {
    let mut sections = Map::new();
    let catalogue = &rule_set.catalogue;
    for (at, section) in catalogue
        .sections
        .entries()
        .filter(|(at, _)| !is_clinic || catalogue.has_standing(*at))
    {
        let mut questions = Map::new();
        for question in catalogue
            .questions
            .iter()
            .filter(|it| it.section == at && (it.standing || !is_clinic))
        {
            let name = question.name();
            questions.insert(name.to_owned(), one(rule_set, question));
        }
        questions.insert("note".into(), note());
        let section_schema = json!({ "type": ["object", "null"], "description": section.title, "additionalProperties": false, "properties": questions });
        sections.insert(section.id.clone(), section_schema);
    }
    let answers = json!({ "type": ["object", "null"], "additionalProperties": false, "properties": sections });
    let (title, required, properties) = if is_clinic {
        let properties = json!({
            "clinic": { "const": 1, "description": "Version of this form." },
            "for": of_this_rule_set(rule_set),
            "name": { "type": "string", "description": "The clinic's name." },
            "procedure_days": {
                "type": ["array", "null"], "minItems": 1,
                "items": { "enum": ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"] },
                "description": "The weekdays on which the clinic operates; any day, if left out.",
            },
            "nurse_may_book": {
                "enum": ["yes", "no", true, false, null],
                "description": "Whether a nurse may book without a clinician's decision what goes with no precaution, no note and no unrecognised name; no, if left out.",
            },
            "offers": offers(rule_set),
            "answers": answers,
            "note": note(),
        });
        (
            "A clinic's standing answers",
            json!(["clinic", "name", "answers"]),
            properties,
        )
    } else {
        let properties = json!({
            "questionnaire": { "const": 1, "description": "Version of this form." },
            "for": of_this_rule_set(rule_set),
            "reference": {
                "type": ["string", "number"],
                "pattern": "^[A-Za-z0-9./_-]*[0-9][A-Za-z0-9./_-]*$",
                "maxLength": 40,
                "description": "By which the clinic knows the patient: letters, digits, `-`, `/`, `.` and `_`, a digit among them. Never a name.",
            },
            "completed_on": { "type": ["string", "null"], "description": "The day the answers were given, as YYYY-MM-DD." },
            "answers": answers,
            "note": note(),
        });
        (
            "A questionnaire: one patient's answers",
            json!(["questionnaire", "reference", "answers"]),
            properties,
        )
    };
    json!({
        "$schema": "http://json-schema.org/draft-07/schema#",
        "title": title,
        "description": format!("Generated from the questions of rule set {} {}. Every answer may also be `unknown` or `declined`.", rule_set.id, rule_set.edition),
        "type": "object",
        "additionalProperties": false,
        "required": required,
        "properties": properties,
    })
}

/// The rule set that a file is for.
fn of_this_rule_set(rule_set: &RuleSet) -> Value {
    json!({ "enum": [rule_set.id, null], "description": "The rule set that the file is for." })
}

/// What a clinic offers of each choice of the plan: lists, by section.
fn offers(rule_set: &RuleSet) -> Value {
    let mut sections: Map<String, Value> = Map::new();
    for question in rule_set
        .catalogue
        .questions
        .iter()
        .filter(|it| it.can_be_offered())
    {
        let Some((section, name)) = question.id.split_once('.') else {
            continue;
        };
        let item = match &question.answer {
            Answer::Anaesthetic => json!({
                "type": "object", "additionalProperties": false, "required": ["agent", "strength"],
                "properties": { "agent": { "type": "string" }, "strength": { "type": "string" } },
            }),
            Answer::SeveralOf(options) => among(options),
            _ => bare(rule_set, question),
        };
        let list = json!({ "type": ["array", "null"], "minItems": 1, "items": item, "description": question.ask });
        let place = sections
            .entry(section)
            .or_insert_with(|| json!({ "type": ["object", "null"], "additionalProperties": false, "properties": {} }));
        if let Some(properties) = place.get_mut("properties").and_then(Value::as_object_mut) {
            properties.insert(name.to_owned(), list);
        }
    }
    json!({
        "type": ["object", "null"], "additionalProperties": false, "properties": sections,
        "description": "What the clinic offers of each choice of the plan. Other plans are looked for among these; a plan that needs anything else is flagged.",
    })
}

fn note() -> Value {
    json!({ "type": ["string", "null"], "description": "Anything that fits no question; the clinician reads it." })
}

/// The two words every question accepts.
fn missing() -> Value {
    json!({ "enum": ["unknown", "declined", null] })
}

fn one(rule_set: &RuleSet, question: &Question) -> Value {
    let bare = bare(rule_set, question);
    let described = match &question.help {
        Some(help) => format!("{} {help}", question.ask),
        None => question.ask.clone(),
    };
    let value = if question.dated {
        json!({
            "type": "object",
            "additionalProperties": false,
            "required": ["value", "taken_on"],
            "properties": {
                "value": { "anyOf": [bare, missing()] },
                "taken_on": { "anyOf": [date(), missing()], "description": "The day of the result." },
            },
        })
    } else {
        bare
    };
    json!({ "description": described, "anyOf": [value, missing()] })
}

fn date() -> Value {
    json!({ "type": "string", "pattern": "^\\d{4}-\\d{2}-\\d{2}([ T]\\d{2}:\\d{2})?$" })
}

/// One of these options.
fn among(options: &[Choice]) -> Value {
    let ids: Vec<&str> = options.iter().map(|it| it.id.as_str()).collect();
    json!({ "enum": ids })
}

fn bare(rule_set: &RuleSet, question: &Question) -> Value {
    match &question.answer {
        Answer::YesNo => json!({ "enum": ["yes", "no", true, false] }),
        Answer::OneOf(options) => among(options),
        Answer::SeveralOf(options) => json!({ "type": "array", "items": among(options) }),
        Answer::Number { .. } => json!({ "type": ["number", "string"] }),
        answer @ Answer::Quantity { .. } => {
            json!({ "type": "string", "description": format!("A number with its unit: {}.", answer.units().join(", ")) })
        }
        Answer::Date => date(),
        Answer::Text => json!({ "type": ["string", "number", "boolean"] }),
        Answer::Medicines => json!({
            "type": "array",
            "items": { "anyOf": [
                { "type": "string" },
                {
                    "type": "object", "additionalProperties": false, "required": ["name"],
                    "properties": { "name": { "type": "string" }, "daily": { "type": ["string", "null"] }, "for": { "type": ["string", "null"] } },
                },
            ] },
        }),
        Answer::Allergies => {
            let reactions: Vec<&str> = rule_set
                .allergens
                .reactions
                .iter()
                .map(|it| it.id.as_str())
                .collect();
            json!({
                "type": "array",
                "items": { "anyOf": [
                    { "type": "string" },
                    {
                        "type": "object", "additionalProperties": false, "required": ["to"],
                        "properties": { "to": { "type": "string" }, "reaction": { "anyOf": [{ "enum": reactions }, missing()] } },
                    },
                ] },
            })
        }
        Answer::Anaesthetic => json!({
            "type": "array",
            "items": {
                "type": "object", "additionalProperties": false, "required": ["agent", "strength", "volume"],
                "properties": { "agent": { "type": "string" }, "strength": { "type": ["string", "null"] }, "volume": { "type": ["string", "null"] } },
            },
        }),
    }
}
