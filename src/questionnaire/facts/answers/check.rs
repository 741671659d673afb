//! Checks that need several facts: dates against one another.

use crate::document::diagnostic::{Code, Diagnostic};
use crate::quantity::when::When;
use crate::questionnaire::facts::answers::date_in_words;
use crate::questionnaire::facts::{Facts, Gathered, Known, Value};
use crate::rule_set::RuleSet;
use crate::truth::FactSlot;

/// Checks dates against one another.
pub(crate) fn cross_check(
    rule_set: &RuleSet,
    gathered: &Gathered,
    facts: &Facts,
    diagnostics: &mut Vec<Diagnostic>,
) {
    if let Some((day, place)) = gathered
        .completed_on
        .as_ref()
        .filter(|(day, _)| *day > facts.as_of)
    {
        let title = format!(
            "the answers are dated {}, after the day of the screening",
            date_in_words(&When::on(*day))
        );
        let help = format!(
            "the screening is run as of {}; correct the date, or use --as-of",
            date_in_words(&When::on(facts.as_of))
        );
        diagnostics.push(
            Diagnostic::at(
                Code::FutureDate,
                &place.source,
                &place.span,
                title,
                "in the future",
            )
            .help(help),
        );
    }
    dates(rule_set, gathered, facts, diagnostics);
}

fn dates(
    rule_set: &RuleSet,
    gathered: &Gathered,
    facts: &Facts,
    diagnostics: &mut Vec<Diagnostic>,
) {
    let Some(procedure) = facts.procedure_on else {
        return;
    };
    let procedure_slot = rule_set.catalogue.procedure_on;
    let given = |slot: FactSlot| {
        let question = rule_set
            .catalogue
            .questions
            .position(|it| it.slot == slot)?;
        gathered.given.get(&question)
    };
    if procedure.date < facts.as_of
        && let Some(given) = procedure_slot.and_then(given)
    {
        let title = format!(
            "the surgery is planned for {}, which is past",
            date_in_words(&procedure)
        );
        let help = format!(
            "the screening is run as of {}; correct the date, or use --as-of",
            date_in_words(&When::on(facts.as_of))
        );
        diagnostics.push(
            Diagnostic::at(
                Code::DatesDisagree,
                &given.source,
                &given.node.span,
                title,
                "in the past",
            )
            .help(help),
        );
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
            diagnostics.push(
                Diagnostic::at(
                    Code::DatesDisagree,
                    &given.source,
                    &place.span,
                    title,
                    "after the surgery",
                )
                .help("correct one of the two dates"),
            );
        }
    }
}
