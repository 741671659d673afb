//! The link ids that may stand in a response, and where.

use std::collections::BTreeMap;

use crate::questionnaire::fhir::{is_coded, taken_on_id, value_id};
use crate::rule_set::RuleSet;

/// What an item of a response is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum ItemKind {
    /// A group: a section, or a result with its day.
    Group,
    /// An answer, or its part.
    Answer,
    /// A note; of the section named before `.note`, or of the whole.
    Note,
}

/// An item that may stand in a response.
#[derive(Debug, Clone)]
pub(super) struct Link {
    pub(super) kind: ItemKind,
    /// The group that it stands in; `None` for the outermost.
    pub(super) within: Option<String>,
}

/// Every item that may stand in a response by its link id, but for those that stand within an answer.
pub(super) fn links(rule_set: &RuleSet) -> BTreeMap<String, Link> {
    let mut links = BTreeMap::new();
    let mut put = |id: String, kind: ItemKind, within: Option<&str>| {
        let within = within.map(str::to_owned);
        links.insert(id, Link { kind, within });
    };
    put("note".to_owned(), ItemKind::Note, None);
    let catalogue = &rule_set.catalogue;
    for section in &catalogue.sections {
        put(section.id.clone(), ItemKind::Group, None);
        let note = format!("{}.note", section.id);
        put(note, ItemKind::Note, Some(&section.id));
    }
    for question in &catalogue.questions {
        let section = catalogue.sections[question.section].id.as_str();
        let within = if question.dated {
            &question.id
        } else {
            section
        };
        let value = value_id(question);
        // A code says itself why there is no answer.
        if !is_coded(question) {
            put(format!("{value}.absent"), ItemKind::Answer, Some(within));
        }
        put(value, ItemKind::Answer, Some(within));
        if question.dated {
            put(question.id.clone(), ItemKind::Group, Some(section));
            let taken_on = taken_on_id(question);
            put(format!("{taken_on}.absent"), ItemKind::Answer, Some(within));
            put(taken_on, ItemKind::Answer, Some(within));
        }
    }
    links
}
