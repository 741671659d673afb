//! Results in open standards: FHIR R4 and CDS Hooks 2.0.
//!
//! What goes out is read by libraries that are not ours (tests/outside/results.py), and each of its checkers must notice what damages
//! it (tests/outside/damages.py).
#![expect(clippy::expect_used, reason = "a slip in a test ought to stop it")]

use std::path::PathBuf;

use preblock::Screener;
use preblock::inner::report::outward::Outward;
use preblock::inner::report::{cards, fhir};
use serde_json::{Value, json};

use crate::outside;
use crate::support::{embedded_once, today};

/// Every file of a folder, by name.
fn files(folder: &str) -> Vec<PathBuf> {
    let found = std::fs::read_dir(folder).expect("a folder");
    let mut files: Vec<PathBuf> = found.filter_map(|it| Some(it.ok()?.path())).collect();
    files.sort();
    files
}

#[test]
fn readers_that_are_not_ours_take_all_that_goes_out() {
    let rules = &embedded_once().0;
    let outward = Outward::of(rules).expect("the rule set has an address");
    let clinic = std::fs::read("examples/clinic.yaml").expect("the clinic's file");
    let screener = Screener::new(rules, today())
        .clinic("clinic.yaml", &clinic)
        .expect("a clinic without a slip");
    let examples = files("examples/referrals");
    let broken = files("tests/rejects/answers");
    let (mut resources, mut answers) = (Vec::new(), Vec::new());
    for path in examples.iter().chain(&broken) {
        let name = path.display().to_string();
        let bytes = std::fs::read(path).unwrap_or_default();
        match screener.read(&name, &bytes) {
            Ok(referral) => {
                let screening = screener.screening(&referral);
                resources.push(fhir::bundle(&outward, &screening));
                answers.push(cards::object(&cards::cards(&outward, &screening)));
            }
            Err(refusal) => {
                resources.push(fhir::refused(&outward, &refusal));
                answers.push(cards::object(&[cards::refused(&outward, &refusal)]));
            }
        }
    }
    let given = json!({ "canonical": outward.canonical, "resources": resources, "cards": answers });
    let said = outside::run("results.py", &[], given.to_string().as_bytes());
    let said: Value = serde_json::from_slice(&said).expect("the checkers print JSON");
    assert_eq!(said["resources"], json!(examples.len() + broken.len()));
    assert!(said["issues"].as_u64() > Some(200), "{said:#}");
    assert_eq!(said["unnoticed"], json!([]), "{said:#}");
    assert_eq!(said["idle"], json!([]), "{said:#}");
}
