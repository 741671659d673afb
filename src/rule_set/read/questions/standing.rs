//! Which questions a clinic's file may never answer once for all patients.

use crate::document::diagnostic::Code;
use crate::document::reading::{Reading, Tells};
use crate::document::source::Node;
use crate::formulas::RoleKind;
use crate::rule_set::catalogue::Who;
use crate::rule_set::{Answer, Catalogue, Derived, Question, Table};
use crate::truth::FactSlot;

/// Refuses `standing: true` where a clinic's file would answer for a patient: one patient's sites, day or medicines would
/// be everybody's.
pub(crate) fn refuse_of_patients(
    reading: &mut Reading<'_>,
    catalogue: &Catalogue,
    asked: &Table<&Node, Question>,
) {
    let of_sites: Vec<FactSlot> = catalogue.derived.iter().flat_map(given_sites).collect();
    for (question, node) in catalogue
        .questions
        .iter()
        .zip(asked)
        .filter(|(it, _)| it.standing)
    {
        let beside_patients = catalogue
            .questions
            .iter()
            .any(|it| it.section == question.section && of_one_patient(it).is_some());
        let why = match of_one_patient(question) {
            Some(why) => why,
            None if of_sites.contains(&question.slot) => "the sites are one patient's",
            None if beside_patients && !question.decision => {
                "beside questions about the patient, only a choice of the plan (`decision: true`) can hold for every patient"
            }
            None => continue,
        };
        let Some(place) = node.get("standing") else {
            continue;
        };
        let title = format!("a clinic's file can never answer `{}`", question.id);
        let help = format!("delete the line: {why}");
        reading
            .wrong(Code::NeverStanding, place, title, "not for every patient")
            .help(help);
    }
}

/// Why a question can only be one patient's, if its kind or who answers it says so.
fn of_one_patient(question: &Question) -> Option<&'static str> {
    match question.answer {
        Answer::Date => Some("a day is one patient's"),
        Answer::Medicines | Answer::Allergies => Some("it is about one patient"),
        Answer::Anaesthetic => {
            Some("how much is given is one patient's; what the clinic has stands under `offers`")
        }
        _ if question.dated => Some("a result is one patient's"),
        _ if question.from != Who::Nurse => {
            Some("only what the clinic itself answers (`from: nurse`) can hold for every patient")
        }
        _ => None,
    }
}

/// The facts that a formula takes for the sites of the procedure.
fn given_sites(derived: &Derived) -> impl Iterator<Item = FactSlot> {
    derived
        .given()
        .filter(|(role, _)| matches!(role.kind, RoleKind::Sites { .. }))
        .filter_map(|(_, input)| input.fact())
}
