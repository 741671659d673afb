//! The form filled by programs that know nothing of us: what they send is read, and is what they were told.

use std::collections::BTreeMap;

use preblock::inner::questionnaire::fhir::filled::filled;
use preblock::inner::questionnaire::fhir::form::form;
use preblock::{Outcome, Screener};
use serde_json::{Value, json};

use crate::fhir::round_trips::n_records;
use crate::fhir::{examples, read};
use crate::outside;
use crate::support::{embedded, embedded_once, embedded_screener};

/// The window for a renderer of forms that is not ours, by which people fill them in a browser.
const WINDOW: &str = "fhir-questionaire-renderer==0.1.13";

/// What each item of a response was answered by, by its link id: a code, a number with its unit, a text or a day.
fn answers(response: &Value) -> BTreeMap<String, Vec<String>> {
    fn collect(parent: &Value, all: &mut BTreeMap<String, Vec<String>>) {
        for item in parent["item"].as_array().into_iter().flatten() {
            let link = item["linkId"].as_str().unwrap_or_default();
            for answer in item["answer"].as_array().into_iter().flatten() {
                let value = answer.as_object().into_iter().flatten();
                let said = value
                    .filter(|(key, _)| key.starts_with("value"))
                    .map(|(_, value)| match value {
                        Value::Object(it) => {
                            format!(
                                "{:?} {:?}",
                                it.get("value").and_then(Value::as_f64),
                                it["code"]
                            )
                        }
                        Value::Number(it) => format!("{:?}", it.as_f64()),
                        other => other.to_string(),
                    });
                all.entry(link.to_owned()).or_default().extend(said);
                collect(answer, all);
            }
            collect(item, all);
        }
    }
    let mut all = BTreeMap::new();
    collect(response, &mut all);
    all
}

/// The codes of all that is wrong with what a filler sent, each once.
fn found(screener: &Screener<'_>, response: &Value) -> Vec<&'static str> {
    let read = screener.read("response.json", response.to_string().as_bytes());
    let found = read.err().map(|it| it.problems).unwrap_or_default();
    let mut codes: Vec<&str> = found.iter().map(|it| it.code.name()).collect();
    codes.sort_unstable();
    codes.dedup();
    codes
}

/// Reads what a filler sent, holds its answers to what comes back of them, and screens it.
fn screened(screener: &Screener<'_>, response: &Value) -> (Outcome, usize) {
    let rules = screener.rule_set();
    let referral = read(screener, "response.json", &response.to_string());
    let back = filled(rules, &referral.reference, &referral.answers).unwrap_or_default();
    let (mut sent, mut kept) = (answers(response), answers(&back));
    // A note is said again behind what is told of the response itself.
    sent.retain(|link, _| !link.ends_with("note"));
    kept.retain(|link, _| !link.ends_with("note"));
    assert_eq!(sent, kept);
    (screener.screening(&referral).verdict().outcome, sent.len())
}

fn said(arguments: &[&str], given: &Value) -> Vec<(String, Value)> {
    let said = outside::run("filler.py", arguments, given.to_string().as_bytes());
    String::from_utf8_lossy(&said)
        .lines()
        .map(|line| {
            let line: Value = serde_json::from_str(line).unwrap_or_default();
            let how = line["how"].as_str().unwrap_or_default().to_owned();
            (how, line["response"].clone())
        })
        .collect()
}

#[test]
fn a_filler_by_the_standard_alone_is_understood() {
    let (rules, _) = embedded_once();
    let screener = embedded_screener();
    let examples = examples(&screener);
    let clinic = std::fs::read("examples/clinic.yaml").unwrap_or_default();
    let here = embedded_screener().clinic("clinic.yaml", &clinic);
    let here = here.unwrap_or_else(|found| unreachable!("{found:?}"));
    let known: Vec<Value> = examples
        .iter()
        .map(|it| filled(rules, &it.reference, &it.answers).unwrap_or_default())
        .collect();
    let n_seeds = n_records() / 30;
    let seeds: Vec<usize> = (100..100 + n_seeds).collect();
    let given =
        json!({ "form": form(&embedded()).unwrap_or_default(), "known": known, "seeds": seeds });
    let said = said(&[], &given);
    assert_eq!(said.len(), 2 + n_seeds + examples.len());
    let (mut n_answers, mut n_go, mut n_refused) = (0, 0, 0);
    for (at, (how, response)) in said.iter().enumerate() {
        // A strength that belongs to another agent is within no bounds that a form can tell.
        if how == "random" && !found(&screener, response).is_empty() {
            assert_eq!(found(&screener, response), ["answers/implausible"]);
            n_refused += 1;
            continue;
        }
        let (verdict, n) = screened(&screener, response);
        n_answers += n;
        if how == "as before" {
            let before = &known[at - 2 - n_seeds];
            let [verdict, before] = [response, before].map(|it| {
                let referral = read(&here, "response.json", &it.to_string());
                here.screening(&referral).verdict().outcome
            });
            assert_eq!(verdict, before, "{response}");
            n_go += usize::from(verdict == Outcome::Go);
        } else {
            // Nobody whose answers are not known, or fell as they would, is fit for surgery.
            assert_ne!(verdict, Outcome::Go, "{how}: {response}");
        }
    }
    assert!(n_go > 0, "nobody of the examples is a go");
    assert!(n_refused * 2 < n_seeds, "{n_refused} of {n_seeds} refused");
    println!(
        "{} responses, {n_answers} answers, {n_go} go, {n_refused} refused",
        said.len()
    );
}

#[test]
fn a_filler_that_is_not_ours_is_understood() {
    let screener = embedded_screener();
    let wheel = outside::archive(WINDOW).display().to_string();
    let given = json!({ "form": form(&embedded()).unwrap_or_default() });
    let said = said(&[&wheel], &given);
    assert_eq!(said.len(), 2);
    for (how, response) in said {
        let (verdict, n_answers) = screened(&screener, &response);
        assert_ne!(verdict, Outcome::Go, "{how}");
        assert!(n_answers > 20, "{how}: {n_answers}");
        println!("{how} in a browser: {n_answers} answers, {verdict:?}");
    }
}
