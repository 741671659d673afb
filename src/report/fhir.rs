//! A screening as resources of FHIR R4 (HL7 International, FHIR Release 4, 4.0.1, 2019), in a Bundle of its own.
//!
//! The rule set is a Library, its status and all that was cited among it; the verdict and what is still to ask are a
//! GuidanceResponse; each finding is a DetectedIssue. No profile is followed and no code of somebody else's is used. Of the
//! patient nothing stands there but the reference, as an identifier. A file that was refused is an OperationOutcome.
//!
//! What people read is the whole page of the clinician, as the note of the GuidanceResponse.

use serde_json::{Value, json};

use crate::document::diagnostic::Diagnostic;
use crate::outcome::{Outcome, Urgency};
use crate::questionnaire::fhir::form::computable;
use crate::report::markdown::escape::inline;
use crate::report::outward::{Outward, PROGRAM, some, uuid, with};
use crate::report::page::one_line;
use crate::report::{markdown, words};
use crate::rule_set::Status;
use crate::screening::result::{Because, Finding, Refusal, Screening};

/// The Bundle of one patient.
///
/// # Missing data
/// Each question that is still to be asked is a requirement for data. With any that could still change the verdict the status is
/// `data-required`; with some that could only add to it, `data-requested`.
pub fn bundle(outward: &Outward<'_>, screening: &Screening) -> Value {
    let urn = |part: &str| format!("urn:uuid:{}", uuid(screening, part));
    let verdict = urn("verdict");
    let entry = |url: String, resource: Value| json!({ "fullUrl": url, "resource": resource });
    let mut entries = vec![
        entry(urn("rule set"), library(outward, screening)),
        entry(verdict.clone(), guidance(outward, screening)),
    ];
    for finding in &screening.findings {
        let resource = issue(outward, screening, finding, &verdict);
        entries.push(entry(urn(&format!("rule {}", finding.rule)), resource));
    }
    json!({ "resourceType": "Bundle", "type": "collection", "entry": entries })
}

/// The patient, known by a reference and never by a name.
fn patient(screening: &Screening) -> Value {
    json!({ "type": "Patient", "identifier": { "value": one_line(&screening.reference) } })
}

/// The rule set: which it is, how far it has come, and what the findings cite, each with the rule that cites it.
fn library(outward: &Outward<'_>, screening: &Screening) -> Value {
    let stamp = &screening.rule_set;
    let mut cited = Vec::new();
    for finding in &screening.findings {
        for it in &finding.citations {
            let artifact = json!({
                "type": "citation", "label": finding.rule, "citation": inline(&words::cited(it)),
            });
            cited.push(with(artifact, "url", outward.link(it).map(Value::from)));
        }
    }
    let made_with: Vec<String> = std::iter::once(words::rule_set(screening))
        .chain(words::local_policy(screening))
        .collect();
    let library = json!({
        "resourceType": "Library",
        "url": outward.canonical,
        "identifier": [{ "system": outward.system("digests"), "value": format!("sha256:{}", stamp.digest) }],
        "version": stamp.edition,
        "name": computable(&stamp.id),
        "title": one_line(&outward.rule_set.title),
        "status": match stamp.status {
            Status::Draft => "draft",
            Status::Approved => "active",
            Status::Withdrawn => "retired",
        },
        "type": { "coding": [{ "system": "http://terminology.hl7.org/CodeSystem/library-type", "code": "logic-library" }] },
        "description": inline(&made_with.join("; ")),
        "purpose": inline(&words::looked_at(screening)),
    });
    with(library, "relatedArtifact", some(cited))
}

/// The verdict, what it rests on, and what is still to ask.
fn guidance(outward: &Outward<'_>, screening: &Screening) -> Value {
    let verdict = screening.verdict();
    let reason = |of: &str, code: &str, text: &str| json!({ "coding": [outward.coding(of, code, code)], "text": text });
    let meaning = words::meaning(screening);
    let mut reasons = vec![reason("verdicts", verdict.outcome.word(), meaning)];
    if let Some(urgency) = verdict.urgency {
        reasons.push(reason("urgencies", urgency.word(), &verdict.words()));
    }
    if let Some(worse) = screening.span.could_be() {
        let text = format!("could be {}", worse.words());
        reasons.push(reason("could-be", worse.outcome.word(), &text));
    }
    let required = required(outward, screening);
    let is_settled = screening.span.best_case == screening.span.worst_case;
    let guidance = json!({
        "resourceType": "GuidanceResponse",
        "moduleCanonical": format!("{}|{}", outward.canonical, screening.rule_set.edition),
        "status": match (is_settled, required.is_empty()) {
            (false, _) => "data-required",
            (true, false) => "data-requested",
            (true, true) => "success",
        },
        "subject": patient(screening),
        "occurrenceDateTime": screening.as_of.to_string(),
        "performer": { "type": "Device", "display": PROGRAM },
        "reasonCode": reasons,
        "note": [{ "text": markdown::one(screening, true) }],
    });
    with(guidance, "dataRequirement", some(required))
}

/// Each list with a name that nobody recognised, then each question to ask; what only such a name calls for is left out, as on the
/// chase list. A question is told as the observation that would answer it: its code is the fact's id, as the link id of the form is.
fn required(outward: &Outward<'_>, screening: &Screening) -> Vec<Value> {
    let names = screening.unrecognised.iter();
    let asks = screening.to_ask.iter().filter(|it| !it.for_a_name);
    let all = names
        .map(|it| (&it.fact, &it.ask))
        .chain(asks.map(|it| (&it.fact, &it.ask)));
    let mut told: Vec<&String> = Vec::new();
    let mut required = Vec::new();
    for (fact, ask) in all {
        if !told.contains(&fact) {
            told.push(fact);
            let code = outward.coding("facts", fact, ask);
            required.push(json!({
                "type": "Observation", "codeFilter": [{ "path": "code", "code": [code] }],
            }));
        }
    }
    required
}

/// A finding. It is preliminary: a clinician decides. `guidance` is the address of the verdict.
fn issue(outward: &Outward<'_>, screening: &Screening, finding: &Finding, guidance: &str) -> Value {
    let mut evidence = vec![json!({ "detail": [{ "reference": guidance }] })];
    evidence.extend(finding.because.iter().map(|it| answer(outward, it)));
    let to = finding.refer_to.as_ref();
    let to = to.map_or_else(String::new, |it| format!(" Refer to: {it}."));
    let detail = format!("{} To do: {}{to}", finding.reason, finding.action);
    // The standard has this for what was done or is promised. So both code and words say that nobody did it yet.
    let mitigation = finding.cleared_by.as_ref().map(|it| {
        let text = format!("Not done yet; it would be lifted by: {it}");
        let code = outward.coding("mitigations", "not-done", "Not done yet");
        json!([{ "action": { "coding": [code], "text": one_line(&text) } }])
    });
    let link = finding.citations.iter().find_map(|it| outward.link(it));
    let issue = json!({
        "resourceType": "DetectedIssue",
        "status": "preliminary",
        "code": { "coding": [outward.coding("rules", &finding.rule, &finding.title)] },
        "severity": severity(finding),
        "patient": patient(screening),
        "identifiedDateTime": screening.as_of.to_string(),
        "author": { "type": "Device", "display": PROGRAM },
        "evidence": evidence,
        "detail": one_line(&detail),
    });
    with(
        with(issue, "reference", link.map(Value::from)),
        "mitigation",
        mitigation,
    )
}

/// By how fast somebody must act, whatever the verdict.
fn severity(finding: &Finding) -> &'static str {
    match (finding.urgency, finding.outcome) {
        (Some(Urgency::SameDay | Urgency::Urgent), _) => "high",
        (_, Outcome::Go) => "low",
        (_, Outcome::Defer | Outcome::Refer) => "moderate",
    }
}

/// An answer that decided a finding.
fn answer(outward: &Outward<'_>, because: &Because) -> Value {
    let code = outward.coding("facts", &because.fact, &because.ask);
    json!({ "code": [{ "coding": [code], "text": one_line(&because.value) }] })
}

/// A file that was not screened, and everything that is wrong with it.
pub fn refused(outward: &Outward<'_>, refusal: &Refusal) -> Value {
    let problems = refusal.problems.iter();
    let issues: Vec<Value> = problems.map(|it| problem(outward, it)).collect();
    json!({ "resourceType": "OperationOutcome", "issue": issues })
}

/// A request that came to nothing. `code` is one of the standard's kinds of issue.
pub fn came_to_nothing(code: &str, why: &str) -> Value {
    json!({
        "resourceType": "OperationOutcome",
        "issue": [{ "severity": "error", "code": code, "diagnostics": one_line(why) }],
    })
}

fn problem(outward: &Outward<'_>, found: &Diagnostic) -> Value {
    let place = found
        .place()
        .map_or_else(String::new, |it| format!("{it}: "));
    json!({
        "severity": "error",
        "code": "invalid",
        "details": {
            "coding": [{ "system": outward.system("diagnostics"), "code": found.code.name() }],
            "text": one_line(&found.title),
        },
        "diagnostics": one_line(&format!("{place}{}", found.help)),
    })
}
