//! Checks that need several facts: dates against one another.

use crate::document::diagnostic::{Code, Diagnostic};
use crate::quantity::when::When;
use crate::questionnaire::facts::answers::date_in_words;
use crate::questionnaire::facts::{Facts, Gathered, Given, Known, Place, Value};
use crate::rule_set::RuleSet;
use crate::truth::FactSlot;

/// Checks dates against one another.
pub(crate) fn cross_check(
    rule_set: &RuleSet,
    gathered: &Gathered,
    facts: &Facts,
    diagnostics: &mut Vec<Diagnostic>,
) {
    let help = || {
        let as_of = date_in_words(&When::on(facts.as_of));
        format!("the screening is run as of {as_of}; correct the date, or use --as-of")
    };
    let answered = gathered.completed_on.as_ref();
    if let Some((day, Place { source, span })) = answered.filter(|(day, _)| *day > facts.as_of) {
        let title = format!(
            "the answers are dated {}, after the day of the screening",
            date_in_words(&When::on(*day))
        );
        let wrong = Diagnostic::at(Code::FutureDate, source, span, title, "in the future");
        diagnostics.push(wrong.help(help()));
    }
    let Some(procedure) = facts.procedure_on else {
        return;
    };
    let procedure_slot = rule_set.catalogue.procedure_on;
    let given = |slot: FactSlot| {
        let questions = &rule_set.catalogue.questions;
        gathered
            .given
            .get(&questions.position(|it| it.slot == slot)?)
    };
    if procedure.date < facts.as_of
        && let Some(Given { source, node, .. }) = procedure_slot.and_then(given)
    {
        let title = format!(
            "the surgery is planned for {}, which is past",
            date_in_words(&procedure)
        );
        let wrong = Diagnostic::at(Code::DatesDisagree, source, node, title, "in the past");
        diagnostics.push(wrong.help(help()));
    }
    for question in &rule_set.catalogue.questions {
        if Some(question.slot) == procedure_slot {
            continue;
        }
        let Some(Known {
            value: Value::Date(when),
            place: Some(place),
            ..
        }) = facts.known(question.date_slot.unwrap_or(question.slot))
        else {
            continue;
        };
        // A result is of the past, too, and with times it may be of the right day and yet too late.
        if (question.past || question.dated) && when.is_after(&procedure) {
            let Some(given) = given(question.slot) else {
                continue;
            };
            let title = format!(
                "{} lies after the surgery on {}",
                date_in_words(when),
                date_in_words(&procedure)
            );
            let label = "after the surgery";
            let wrong = Diagnostic::at(
                Code::DatesDisagree,
                &given.source,
                &place.span,
                title,
                label,
            );
            diagnostics.push(wrong.help("correct one of the two dates"));
        }
    }
}
