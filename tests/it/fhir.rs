//! Questions and answers in FHIR R4: round trips, and what is refused.
//!
//! What goes out is read by libraries that are not ours, too (tests/outside/interchange.py).
#![expect(clippy::panic, reason = "a file of the test that is refused fails it")]

use preblock::Screener;
use preblock::inner::questionnaire::edit::whole::written_out;
use preblock::inner::questionnaire::facts::Fact;
use preblock::inner::questionnaire::facts::truth_of::truth;
use preblock::inner::questionnaire::fhir::filled::filled;
use preblock::inner::questionnaire::fhir::form::form;
use preblock::inner::rule_set::RuleSet;
use preblock::inner::screening::screener::Referral;
use preblock::inner::truth::Truth;
use rstest::rstest;
use serde_json::{Value, json};
use std::path::PathBuf;

use crate::outside;
use crate::support::{embedded, today};

/// What is understood of each fact, without its place in a file.
fn understood(referral: &Referral) -> Vec<String> {
    referral
        .facts
        .rows()
        .iter()
        .map(|fact| match fact.as_ref() {
            // A quantity in several units comes back in one.
            Fact::Known(known) => placeless(&format!("{:?}", known.value)),
            Fact::Missing(missing) => format!("{missing:?}"),
        })
        .collect()
}

/// The words of a value without the places that its entries have.
fn placeless(words: &str) -> String {
    let mut parts = words.split("place: Place");
    let first = parts.next().unwrap_or_default().to_owned();
    parts.fold(first, |mut all, part| {
        all.push_str(part.rsplit_once("span: ").map_or("", |(_, rest)| {
            rest.split_once('}').map_or("", |(_, rest)| rest)
        }));
        all
    })
}

fn read(rules: &RuleSet, name: &str, text: &str) -> Referral {
    match Screener::new(rules, today()).read(name, text.as_bytes()) {
        Ok(referral) => referral,
        Err(refusal) => panic!("{name} is refused: {:#?}\n{text}", refusal.problems),
    }
}

#[rstest]
fn an_example_comes_back_the_same(#[files("examples/referrals/*.yaml")] path: PathBuf) {
    let rules = embedded();
    let text = std::fs::read_to_string(&path).unwrap_or_default();
    let first = read(&rules, "first.yaml", &text);
    let response = filled(&rules, &first.reference, &first.answers).unwrap_or_default();
    let second = read(&rules, "response.json", &format!("{response:#}"));
    assert_eq!(first.reference, second.reference);
    assert_eq!(understood(&first), understood(&second));
    let two = written_out(&rules, &second.reference, &second.answers);
    let third = read(&rules, "third.yaml", &two);
    assert_eq!(understood(&first), understood(&third));
    assert_eq!(two, written_out(&rules, &third.reference, &third.answers));
    let again = filled(&rules, &third.reference, &third.answers).unwrap_or_default();
    assert_eq!(response, again);
}

/// The response of an example, changed.
fn changed(change: impl FnOnce(&mut Value)) -> Vec<String> {
    let rules = embedded();
    let text = std::fs::read_to_string("examples/referrals/SM-103.yaml").unwrap_or_default();
    let first = read(&rules, "first.yaml", &text);
    let mut response = filled(&rules, &first.reference, &first.answers).unwrap_or_default();
    change(&mut response);
    let name = "response.json";
    match Screener::new(&rules, today()).read(name, format!("{response:#}").as_bytes()) {
        Ok(referral) => {
            let notes = referral.answers.notes.iter();
            notes.map(|it| format!("note: {}", it.text)).collect()
        }
        Err(refusal) => {
            let problems = refusal.problems.iter();
            problems
                .map(|it| format!("{}: {}", it.code.name(), it.title))
                .collect()
        }
    }
}

/// The answers of an item of a response, by its link id.
fn item<'v>(value: &'v mut Value, link: &str) -> Option<&'v mut Value> {
    if value.get("linkId").and_then(Value::as_str) == Some(link) {
        return Some(value);
    }
    let items = value.get_mut("item")?.as_array_mut()?;
    items.iter_mut().find_map(|it| item(it, link))
}

fn answer_by(link: &'static str, answer: Value) -> impl FnOnce(&mut Value) {
    move |response| {
        if let Some(found) = item(response, link) {
            found["answer"] = answer;
        }
    }
}

#[rstest]
#[case::two_values(answer_by("plan.procedure_on", json!([{ "valueDate": "2026-12-03", "valueString": "3 December" }])), "shape/not-together: an answer has two values")]
#[case::another_type(answer_by("person.weight", json!([{ "valueString": "81 kg" }])), "answers/wrong-kind: the answer is a `valueString`, and the form asks for a `valueQuantity`")]
#[case::number_as_text(answer_by("bleeding.inr.value", json!([{ "valueDecimal": "4.0" }])), "shape/wrong-type: a `valueDecimal` is not a text")]
#[case::unit_by_display(answer_by("person.weight", json!([{ "valueQuantity": { "value": 81, "unit": "kg" } }])), "answers/wrong-unit: the quantity has no unit that is known here")]
#[case::no_comparator(answer_by("person.weight", json!([{ "valueQuantity": { "value": 81, "comparator": "~", "system": "http://unitsofmeasure.org", "code": "kg" } }])), "shape/not-an-option: the comparator is none of the standard's")]
#[case::a_bound(answer_by("person.weight", json!([{ "valueQuantity": { "value": 81, "comparator": ">", "system": "http://unitsofmeasure.org", "code": "kg" } }])), "note: What is the body weight? > 81 kg: a bound and no measured value, so it counts as not known.")]
#[case::a_year(answer_by("bleeding.inr.taken_on", json!([{ "valueDate": "2026-11" }])), "note: What was the latest INR")]
#[case::two_answers(answer_by("person.sex", json!([{ "valueCoding": { "system": "https://preblock.example/nail-surgery/options/person.sex", "code": "male" } }, { "valueCoding": { "system": "https://preblock.example/nail-surgery/options/person.sex", "code": "female" } }])), "shape/not-together: the question takes one answer")]
#[case::none_beside(answer_by("bleeding.history", json!([{ "valueCoding": { "system": "https://preblock.example/nail-surgery/answers", "code": "none-of-these" } }, { "valueCoding": { "system": "https://preblock.example/nail-surgery/options/bleeding.history", "code": "haemophilia" } }])), "shape/not-together: `bleeding.history` has this beside another answer")]
#[case::another_system(answer_by("person.sex", json!([{ "valueCoding": { "system": "http://hl7.org/fhir/administrative-gender", "code": "male" } }])), "answers/not-an-option: the form has no option `male` of that system here")]
#[case::no_option(answer_by("person.sex", json!([{ "valueCoding": { "system": "https://preblock.example/nail-surgery/options/person.sex", "code": "mal" } }])), "answers/not-an-option: `mal` is not an option of `person.sex`")]
#[case::another_form(|it: &mut Value| it["questionnaire"] = json!("https://preblock.example/nail-surgery/questionnaire"), "answers/another-rule-set: the response is to another form than this rule set's")]
#[case::in_error(|it: &mut Value| it["status"] = json!("entered-in-error"), "answers/not-to-be-used: the response is not one to be used")]
#[case::in_progress(|it: &mut Value| it["status"] = json!("in-progress"), "note: The response was still in progress")]
#[case::nobody(|it: &mut Value| it["subject"] = json!({ "display": "Somebody" }), "shape/missing-key: the response does not say whose it is")]
#[case::a_name(|it: &mut Value| it["subject"] = json!({ "identifier": { "value": "Somebody" } }), "shape/wrong-form: a reference needs a digit")]
#[case::rules_of_its_own(|it: &mut Value| it["implicitRules"] = json!("https://example.org/rules"), "answers/not-to-be-used: `implicitRules` may change what the answers mean")]
#[case::modified(|it: &mut Value| if let Some(found) = item(it, "person.sex") { found["modifierExtension"] = json!([{ "url": "https://example.org/not", "valueBoolean": true }]) }, "answers/not-to-be-used: `modifierExtension` may change what the answers mean")]
#[case::extended(|it: &mut Value| if let Some(found) = item(it, "person.sex") { found["extension"] = json!([{ "url": "https://example.org/more" }]) }, "note: An extension was not read: https://example.org/more.")]
#[case::a_bundle(|it: &mut Value| *it = json!({ "resourceType": "Bundle", "type": "collection", "entry": [{ "resource": it.take() }] }), "answers/another-kind: the resource is a `Bundle`, not a QuestionnaireResponse")]
#[case::an_unknown_item(|it: &mut Value| if let Some(found) = item(it, "person.sex") { found["linkId"] = json!("person.sexx") }, "answers/unknown-question: the form has no item `person.sexx` here")]
#[case::an_item_twice(|it: &mut Value| if let Some(found) = item(it, "person.height") { found["linkId"] = json!("person.weight") }, "text/duplicate-key: `person.weight` is answered twice")]
#[case::an_unknown_element(|it: &mut Value| it["items"] = json!([]), "shape/unknown-key: the element `items` is not known here")]
#[case::an_answer_without_its_list(answer_by("person.weight", json!({ "valueQuantity": { "value": 81, "system": "http://unitsofmeasure.org", "code": "kg" } })), "shape/wrong-type: `answer` is a mapping, and must be a list")]
#[case::items_without_their_list(|it: &mut Value| it["item"] = json!({ "linkId": "person" }), "shape/wrong-type: `item` is a mapping, and must be a list")]
#[case::a_time_with_more_behind_it(answer_by("plan.procedure_on", json!([{ "valueDate": "2026-12-03", "item": [{ "linkId": "plan.procedure_on.time", "answer": [{ "valueTime": "10:30 in the evening" }] }] }])), "answers/not-a-date: ")]
#[case::answered_and_absent(|it: &mut Value| if let Some(found) = item(it, "person") && let Some(items) = found["item"].as_array_mut() { items.push(json!({ "linkId": "person.weight.absent", "answer": [{ "valueCoding": { "system": "http://terminology.hl7.org/CodeSystem/data-absent-reason", "code": "asked-unknown" } }] })) }, "shape/not-together: `person.weight` is answered, and said to have no answer")]
fn a_damaged_response_is_told(#[case] change: impl FnOnce(&mut Value), #[case] expected: &str) {
    let found = changed(change);
    assert!(
        matches!(found.as_slice(), [one] if one.starts_with(expected)),
        "{found:#?}"
    );
}

#[test]
fn the_form_asks_every_question_once() {
    let rules = embedded();
    let form = form(&rules).unwrap_or_default();
    let mut links = Vec::new();
    fn collect(value: &Value, links: &mut Vec<String>) {
        for item in value["item"].as_array().into_iter().flatten() {
            links.push(item["linkId"].as_str().unwrap_or_default().to_owned());
            collect(item, links);
        }
    }
    collect(&form, &mut links);
    let n_links = links.len();
    for question in rules.catalogue.questions.iter() {
        assert!(links.contains(&question.id), "{}", question.id);
    }
    links.sort();
    links.dedup();
    assert_eq!(links.len(), n_links, "a link id stands twice");
}

#[test]
fn readers_that_are_not_ours_take_the_form_and_its_responses() {
    let rules = embedded();
    let mut files: Vec<PathBuf> = std::fs::read_dir("examples/referrals")
        .into_iter()
        .flatten()
        .filter_map(|it| Some(it.ok()?.path()))
        .collect();
    files.sort();
    let filled: Vec<Value> = files
        .iter()
        .map(|path| {
            let text = std::fs::read_to_string(path).unwrap_or_default();
            let referral = read(&rules, "first.yaml", &text);
            let questions = rules.catalogue.questions.iter();
            let applies: Vec<&str> = questions
                .filter(|it| {
                    let gate = it.ask_when.as_ref();
                    gate.is_some_and(|it| truth(it, &referral.facts) == Truth::Yes)
                })
                .map(|it| it.id.as_str())
                .collect();
            let response =
                filled(&rules, &referral.reference, &referral.answers).unwrap_or_default();
            json!({ "response": response, "applies": applies })
        })
        .collect();
    let given = json!({ "form": form(&rules).unwrap_or_default(), "filled": filled });
    let said = outside::run("interchange.py", &[], given.to_string().as_bytes());
    let said: Value = serde_json::from_slice(&said).unwrap_or_default();
    assert_eq!(said["responses"], json!(files.len()));
    assert!(said["asked"].as_u64() > Some(100), "{said}");
    assert!(said["gates"].as_u64() > Some(90), "{said}");
}

#[test]
fn every_note_of_a_section_comes_back() {
    let rules = embedded();
    let text = "{\"questionnaire\": 1, \"reference\": \"SM-1\", \"answers\": {\"plan\": {\"note\": \"one\"}}}";
    let mut first = read(&rules, "first.json", text);
    let mut second_note = first.answers.notes.clone();
    second_note
        .iter_mut()
        .for_each(|it| it.text = "two".to_owned());
    first.answers.notes.append(&mut second_note);
    let response = filled(&rules, &first.reference, &first.answers).unwrap_or_default();
    let again = read(&rules, "response.json", &response.to_string());
    let notes: Vec<&str> = again
        .answers
        .notes
        .iter()
        .map(|it| it.text.as_str())
        .collect();
    assert_eq!(notes, ["one", "two"]);
}
