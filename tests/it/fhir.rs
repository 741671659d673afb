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
use std::path::{Path, PathBuf};

use crate::outside;
use crate::shipped::{Shipped, nails, skin};
use crate::support::{embedded, today};

mod damaged;
mod examples;
mod fillers;
mod round_trips;

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

fn read(screener: &Screener<'_>, name: &str, text: &str) -> Referral {
    match screener.read(name, text.as_bytes()) {
        Ok(referral) => referral,
        Err(refusal) => panic!("{name} is refused: {:#?}\n{text}", refusal.problems),
    }
}

/// The referrals of the invented clinic, read.
fn examples(screener: &Screener<'_>) -> Vec<Referral> {
    let files = std::fs::read_dir("examples/referrals")
        .into_iter()
        .flatten();
    let mut files: Vec<PathBuf> = files.filter_map(|it| Some(it.ok()?.path())).collect();
    files.sort();
    files
        .iter()
        .map(|path| {
            let text = std::fs::read_to_string(path).unwrap_or_default();
            read(screener, "first.yaml", &text)
        })
        .collect()
}

#[rstest]
fn an_example_comes_back_the_same(#[files("examples/referrals/*.yaml")] path: PathBuf) {
    comes_back_the_same(&embedded(), &path);
}

#[rstest]
fn an_example_of_another_rule_set_comes_back_the_same(
    #[files("examples/rule-sets/skin-clinic/referrals/*.yaml")] path: PathBuf,
) {
    comes_back_the_same(&skin().rules, &path);
}

fn comes_back_the_same(rules: &RuleSet, path: &Path) {
    let screener = Screener::new(rules, today());
    let text = std::fs::read_to_string(path).unwrap_or_default();
    let first = read(&screener, "first.yaml", &text);
    let response = filled(rules, &first.reference, &first.answers).unwrap_or_default();
    let second = read(&screener, "response.json", &format!("{response:#}"));
    assert_eq!(first.reference, second.reference);
    assert_eq!(understood(&first), understood(&second));
    let two = written_out(rules, &second.reference, &second.answers);
    let third = read(&screener, "third.yaml", &two);
    assert_eq!(understood(&first), understood(&third));
    assert_eq!(two, written_out(rules, &third.reference, &third.answers));
    let again = filled(rules, &third.reference, &third.answers).unwrap_or_default();
    assert_eq!(response, again);
}

#[rstest]
#[case::nails(nails())]
#[case::skin(skin())]
fn the_form_asks_every_question_once(#[case] shipped: &Shipped) {
    let rules = &shipped.rules;
    let form = form(rules).unwrap_or_default();
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

/// Whoever fills in the form ticks and writes: how a questionnaire's file is written is nothing to them.
#[rstest]
#[case::nails(nails())]
#[case::skin(skin())]
fn help_has_no_signs_of_a_file(#[case] shipped: &Shipped) {
    let form = form(&shipped.rules).unwrap_or_default().to_string();
    let mut n_helps = 0;
    for question in shipped.rules.catalogue.questions.iter() {
        let Some(help) = &question.help else { continue };
        assert!(form.contains(&json!(help).to_string()), "{}", question.id);
        assert!(!help.contains(['[', ']', '{', '}']), "{help}");
        n_helps += 1;
    }
    assert!(n_helps > 20);
}

#[test]
fn readers_that_are_not_ours_take_the_form_and_its_responses() {
    let rules = embedded();
    let screener = Screener::new(&rules, today());
    let examples = examples(&screener);
    let filled: Vec<Value> = examples
        .iter()
        .map(|referral| {
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
    assert_eq!(said["responses"], json!(examples.len()));
    assert!(said["asked"].as_u64() > Some(100), "{said}");
    assert!(said["gates"].as_u64() > Some(90), "{said}");
}

/// An empty note is taken from a file; a response that held one would not be.
#[test]
fn a_note_of_nothing_is_left_out() {
    let rules = embedded();
    let screener = Screener::new(&rules, today());
    let text = "questionnaire: 1\nreference: T-1\nnote: \" \"\nanswers: {}\n";
    let first = read(&screener, "first.yaml", text);
    let response = filled(&rules, &first.reference, &first.answers).unwrap_or_default();
    assert_eq!(response.get("item"), None);
    read(&screener, "response.json", &response.to_string());
}

#[test]
fn every_note_of_a_section_comes_back() {
    let rules = embedded();
    let screener = Screener::new(&rules, today());
    let text = "{\"questionnaire\": 1, \"reference\": \"SM-1\", \"answers\": {\"plan\": {\"note\": \"one\"}}}";
    let mut first = read(&screener, "first.json", text);
    let mut second_note = first.answers.notes.clone();
    second_note
        .iter_mut()
        .for_each(|it| it.text = "two".to_owned());
    first.answers.notes.append(&mut second_note);
    let response = filled(&rules, &first.reference, &first.answers).unwrap_or_default();
    let again = read(&screener, "response.json", &response.to_string());
    let notes: Vec<&str> = again
        .answers
        .notes
        .iter()
        .map(|it| it.text.as_str())
        .collect();
    assert_eq!(notes, ["one", "two"]);
}
