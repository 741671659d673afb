//! The rules of a concern, from their file.

use std::collections::HashMap;

use chrono::NaiveDate;

use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::reading::{Reading, Tells};
use crate::document::source::Node;
use crate::outcome::{Outcome, Urgency};
use crate::rule_set::files::Parsed;
use crate::rule_set::read::condition;
use crate::rule_set::read::registers::{date, unique};
use crate::rule_set::read::symbols::Names;
use crate::rule_set::{Concern, Idx, Kind, MaySetAside, Retired, Rule, Table};

/// The ids that a rule may have.
pub(crate) struct Ids<'a> {
    /// Groups of rules.
    pub concerns: &'a Table<Concern>,
    /// Full ids that are never used again.
    pub retired: &'a [Retired],
}

/// Reads the rules of a concern, with every diagnostic of its file.
pub(crate) fn concern(
    parsed: &Parsed,
    names: &Names,
    (at, concern): (Idx<Concern>, &Concern),
    retired: &[Retired],
) -> (Vec<Rule>, Vec<Diagnostic>) {
    let mut reading = parsed.reading("concern");
    if let Some(node) = parsed.root.get("concern")
        && let Some(written) = node.written(reading.source)
        && written != concern.id
    {
        let title = format!(
            "this file is for the concern `{written}`, its name says `{}`",
            concern.id
        );
        reading
            .wrong(Code::UnknownConcern, node, title, "another concern")
            .help("make the line and the file's name agree");
    }
    let mut rules = Vec::new();
    let mut seen = HashMap::new();
    for node in parsed.root.list("rules") {
        unique(&mut reading, &mut seen, node, "rules");
        match rule(&mut reading, names, node, (at, concern), retired) {
            Some(rule) => rules.push(rule),
            None => reading.pass_over(node, "a whole rule"),
        }
    }
    (rules, reading.finish())
}

/// A rule from its mapping; `None` after a diagnostic.
pub(crate) fn rule(
    reading: &mut Reading<'_>,
    names: &Names,
    node: &Node,
    (at, concern): (Idx<Concern>, &Concern),
    retired: &[Retired],
) -> Option<Rule> {
    // Everything is read before anything is given up, so that all diagnostics come in one run.
    let id = reading
        .needed(node, "id")
        .map(|it| format!("{}/{it}", concern.id));
    if let (Some(id), Some(place)) = (&id, node.get("id"))
        && retired.iter().any(|it| it.rule == *id)
    {
        let title = format!("`{id}` is the id of a retired rule");
        reading
            .wrong(Code::RetiredId, place, title, "retired")
            .help("choose a new id: old reports name this one");
    }
    let title = reading.needed(node, "title");
    let kind = match reading.needed(node, "kind").as_deref() {
        Some("contraindication") => Some(Kind::Contraindication),
        Some("caution") => Some(Kind::Caution),
        _ => None,
    };
    let outcome = reading
        .needed(node, "outcome")
        .and_then(|it| Outcome::from_word(&it));
    let urgency = reading
        .owned(node, "urgency")
        .and_then(|it| Urgency::from_word(&it));
    let when = node
        .get("when")
        .and_then(|it| condition::read(names, reading, it));
    let reason = names.sentence(reading, node, "reason");
    let action = names.sentence(reading, node, "action");
    let refer_to = names.sentence(reading, node, "refer_to");
    let cleared_by = names.sentence(reading, node, "cleared_by");
    let tell_patient_before = names.sentence(reading, node, "tell_patient_before");
    let tell_patient_after = names.sentence(reading, node, "tell_patient_after");
    let set_aside = match reading.owned(node, "set_aside").as_deref() {
        Some("never") => MaySetAside::Never,
        Some("two") => MaySetAside::Two,
        _ => MaySetAside::One,
    };
    let citations = names.citations(reading, node);
    let in_force_from = date(reading, node, "in_force_from");
    let last_reviewed = date(reading, node, "last_reviewed");
    let review_by = date(reading, node, "review_by");
    if let (Some(last), Some(by), Some(place)) = (last_reviewed, review_by, node.get("review_by"))
        && by <= last
    {
        let title = "the review date does not lie after the last review";
        let help = "write the day by which the rule must be looked at again";
        reading
            .wrong(Code::BadRange, place, title, "too early")
            .help(help);
    } else {
        in_force_before_review(reading, node, in_force_from, review_by);
    }
    let title = title.filter(|_| plain_title(reading, node));
    Some(Rule {
        id: id?,
        concern: Some(at),
        title: title?,
        kind: kind?,
        outcome: outcome?,
        urgency,
        when: when?,
        reason: reason?,
        action: action?,
        refer_to,
        cleared_by,
        tell_patient_before,
        tell_patient_after,
        set_aside,
        citations,
        in_force_from: in_force_from?,
        last_reviewed: last_reviewed?,
        review_by: review_by?,
        local: false,
    })
}

/// A title shows no facts; reports one that means to.
fn plain_title(reading: &mut Reading<'_>, node: &Node) -> bool {
    let Some(place) = node
        .get("title")
        .filter(|title| title.text().is_some_and(|it| it.contains(['{', '}'])))
    else {
        return true;
    };
    let title = "a title shows neither facts nor limits";
    let help = "write the words out; `reason`, `action`, `refer_to` and `cleared_by` may show facts in braces";
    reading
        .wrong(Code::UnknownPlaceholder, place, title, "braces in a title")
        .help(help);
    false
}

/// What comes into force only when its review is due would never be in force and reviewed.
pub(crate) fn in_force_before_review(
    reading: &mut Reading<'_>,
    node: &Node,
    from: Option<NaiveDate>,
    by: Option<NaiveDate>,
) {
    if let (Some(from), Some(by), Some(place)) = (from, by, node.get("in_force_from"))
        && from >= by
    {
        let title = "the first day in force does not lie before the review date";
        let help = "write a day before `review_by`";
        reading
            .wrong(Code::BadRange, place, title, "too late")
            .help(help);
    }
}
