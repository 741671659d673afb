//! One questionnaire parsed and screened, the evaluation alone, and a cold start of the program.
//!
//! `cargo bench`, or `cargo bench -- NAME` for one.

use std::path::Path;
use std::process::Command;

use chrono::NaiveDate;
use divan::Bencher;
use divan::counter::ItemsCount;
use preblock::evaluate::compile::Prepared;
use preblock::evaluate::{Compiled, Subject, screen};
use preblock::facts::{self, Facts};
use preblock::load::{RuleFiles, questionnaire, rule_set};
use preblock::model::RuleSet;
use preblock::screening::SourceStamp;

const FILE: &str = "examples/referrals/SM-101.yaml";

fn main() {
    divan::main();
}

fn rules() -> RuleSet {
    match rule_set(&RuleFiles::embedded()) {
        Ok(rules) => rules,
        Err(found) => unreachable!("the embedded rule set loads: {found:?}"),
    }
}

fn as_of() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 11, 25).unwrap_or_default()
}

fn read_facts(rules: &RuleSet, bytes: &[u8]) -> Facts {
    let (read, _) = questionnaire::questionnaire(rules, FILE, bytes);
    let (facts, _) = facts::read(rules, &read.map(|it| it.answers).unwrap_or_default(), as_of());
    facts
}

fn bytes() -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join(FILE)).unwrap_or_default()
}

/// The embedded rule set: YAML to compiled rules.
#[divan::bench]
fn rule_set_loaded(bencher: Bencher) {
    bencher.bench(|| Compiled::new(&rules()));
}

/// One questionnaire: YAML text to the whole screening.
#[divan::bench]
fn questionnaire_parsed_and_screened(bencher: Bencher) {
    let (rules, bytes) = (rules(), bytes());
    let compiled = Compiled::new(&rules);
    let stamp = SourceStamp { path: FILE.into(), digest: String::new() };
    let subject = Subject { reference: "SM-101".into(), source: stamp, clinic: None };
    bencher.counter(ItemsCount::new(1_usize)).bench(|| screen(&rules, &compiled, &read_facts(&rules, &bytes), &subject));
}

/// Facts to the state of every rule.
#[divan::bench]
fn evaluation_alone(bencher: Bencher) {
    let rules = rules();
    let compiled = Compiled::new(&rules);
    let facts = read_facts(&rules, &bytes());
    bencher.counter(ItemsCount::new(rules.rules.len())).bench(|| compiled.run(divan::black_box(&facts)));
}

/// The same, with the facts already laid out.
#[divan::bench]
fn evaluation_of_prepared_facts(bencher: Bencher) {
    let rules = rules();
    let compiled = Compiled::new(&rules);
    let facts = read_facts(&rules, &bytes());
    let prepared = Prepared::new(rules.catalogue.facts.len(), &facts);
    bencher.counter(ItemsCount::new(rules.rules.len())).bench(|| compiled.run_prepared(divan::black_box(&prepared), &facts));
}

/// The program from start to end on one file.
#[divan::bench(sample_count = 40)]
fn cold_start(bencher: Bencher) {
    bencher.bench(|| {
        Command::new(env!("CARGO_BIN_EXE_preblock"))
            .args(["screen", FILE, "--as-of", "2026-11-25", "--format", "json"])
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .output()
            .is_ok()
    });
}
