//! The link ids that may stand in a response.

use std::collections::BTreeMap;

use crate::questionnaire::fhir::{taken_on_id, value_id};
use crate::rule_set::RuleSet;

/// What an item of a response is, by its link id.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Link {
    /// A group: a section, or a result with its day.
    Group,
    /// An answer, or its part.
    Answer,
    /// A note; of the section named before `.note`, or of the whole.
    Note,
    /// A text of the form.
    Display,
}

/// Every link id that may stand in a response, but for those that stand within an answer.
pub(super) fn links(rule_set: &RuleSet) -> BTreeMap<String, Link> {
    let mut links = BTreeMap::from([("note".to_owned(), Link::Note)]);
    for section in &rule_set.catalogue.sections {
        links.insert(section.id.clone(), Link::Group);
        links.insert(format!("{}.note", section.id), Link::Note);
    }
    for question in &rule_set.catalogue.questions {
        let value = value_id(question);
        let mut answers = vec![value.clone()];
        if question.dated {
            links.insert(question.id.clone(), Link::Group);
            answers.push(taken_on_id(question));
        }
        for id in answers {
            links.insert(format!("{id}.absent"), Link::Answer);
            links.insert(id, Link::Answer);
        }
        links.insert(format!("{value}.help"), Link::Display);
    }
    links
}
