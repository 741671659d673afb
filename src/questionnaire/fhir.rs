//! Questions and answers in FHIR R4: the questions as a Questionnaire, answers as QuestionnaireResponses in both directions.
//!
//! A link id is the name of a fact, and all that is matched on; display texts are never read. A result that ages is a group of
//! its value and its day. FHIR has no "asked, and none" and no "asked, and not known": both are options, and beside a question
//! that has no options stands one that does (`.absent`). Codes are our own and stand under the rule set's canonical address;
//! units are UCUM; nothing licensed is carried. The shapes are those of the specification (HL7 International, FHIR Release 4,
//! 4.0.1, 2019: Questionnaire, QuestionnaireResponse; and Structured Data Capture 3.0.0, 2022, for units and gates).

use crate::rule_set::{Answer, Question, RuleSet};

pub mod filled;
pub mod form;
mod links;
pub mod response;

/// The system of units.
const UCUM: &str = "http://unitsofmeasure.org";
/// The standard's own system of codes for why an answer is not there.
const ABSENT: &str = "http://terminology.hl7.org/CodeSystem/data-absent-reason";
/// Asked, and not known.
const NOT_KNOWN: &str = "asked-unknown";
/// Asked, and not answered.
const DECLINED: &str = "asked-declined";
/// The option for asked, and none.
const NONE: &str = "none-of-these";
/// What these three are called on the form.
const NOT_KNOWN_IN_WORDS: &str = "Asked, and not known";
const DECLINED_IN_WORDS: &str = "Asked, and not answered";
const NONE_IN_WORDS: &str = "None of these";

/// The system of codes that stands under the rule set's address: `options/person.sex`, `medicines`.
pub(crate) fn system(canonical: &str, of: &str) -> String {
    format!("{canonical}/{of}")
}

/// The system of the codes that answer a question.
fn system_of(canonical: &str, question: &Question) -> String {
    match question.answer {
        Answer::Medicines => system(canonical, "medicines"),
        Answer::Allergies => system(canonical, "substances"),
        Answer::Anaesthetic => system(canonical, "agents"),
        _ => system(canonical, &format!("options/{}", question.id)),
    }
}

/// The codes that answer a question, each with what it means: its options, or the register's names.
fn codes<'a>(rule_set: &'a RuleSet, question: &'a Question) -> Vec<(&'a str, &'a str)> {
    match &question.answer {
        Answer::YesNo => vec![("yes", "Yes"), ("no", "No")],
        Answer::OneOf(options) | Answer::SeveralOf(options) => {
            let options = options.iter();
            options
                .map(|it| (it.id.as_str(), it.text.as_str()))
                .collect()
        }
        Answer::Medicines => {
            let medicines = rule_set.medicines.medicines.iter();
            medicines
                .map(|it| (it.name.as_str(), it.name.as_str()))
                .collect()
        }
        Answer::Allergies => {
            let substances = rule_set.allergens.substances.iter();
            substances
                .map(|it| (it.name.as_str(), it.name.as_str()))
                .collect()
        }
        Answer::Anaesthetic => {
            let agents = rule_set.agents.iter();
            agents.map(|it| (it.id.as_str(), it.id.as_str())).collect()
        }
        Answer::Number { .. } | Answer::Quantity { .. } | Answer::Date | Answer::Text => Vec::new(),
    }
}

/// Whether an answer is a code, so that not known, declined and none are codes beside it.
fn is_coded(question: &Question) -> bool {
    !matches!(
        question.answer,
        Answer::Number { .. } | Answer::Quantity { .. } | Answer::Date | Answer::Text
    )
}

/// The type of the value of a number.
fn value_of_number(whole: bool) -> &'static str {
    if whole {
        "valueInteger"
    } else {
        "valueDecimal"
    }
}

/// Whether the day that answers a question may have a time, which says nothing where it may lie decades back.
fn is_timed(question: &Question) -> bool {
    question.oldest.is_none()
}

/// The link id of the value: the fact's own, but for a result that ages, whose fact is a group.
fn value_id(question: &Question) -> String {
    if question.dated {
        format!("{}.value", question.id)
    } else {
        question.id.clone()
    }
}

/// The link id of the day of a result.
fn taken_on_id(question: &Question) -> String {
    format!("{}.taken_on", question.id)
}
