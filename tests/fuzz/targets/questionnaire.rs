//! Any bytes as a questionnaire, in YAML and in JSON: nothing panics, and nothing refused is screened.
//! What is accepted must give a verdict that its own span of best and worst case bears out.
#![no_main]

use std::sync::OnceLock;

use libfuzzer_sys::fuzz_target;
use preblock::evaluate::{Compiled, Subject, screen};
use preblock::facts;
use preblock::load::{RuleFiles, questionnaire, rule_set};
use preblock::model::RuleSet;
use preblock::outcome::{Outcome, Span};
use preblock::screening::SourceStamp;

fn rules() -> &'static (RuleSet, Compiled) {
    static RULES: OnceLock<(RuleSet, Compiled)> = OnceLock::new();
    RULES.get_or_init(|| {
        let rules = rule_set(&RuleFiles::embedded()).expect("the embedded rule set loads");
        let compiled = Compiled::new(&rules);
        (rules, compiled)
    })
}

fuzz_target!(|bytes: &[u8]| {
    let (rules, compiled) = rules();
    let as_of = chrono::NaiveDate::from_ymd_opt(2026, 11, 25).expect("a day");
    for name in ["fuzz.yaml", "fuzz.json"] {
        let (read, wrong) = questionnaire::questionnaire(rules, name, bytes);
        let Some(read) = read else {
            assert!(!wrong.is_empty(), "a refusal says why");
            continue;
        };
        let (facts, more) = facts::read(rules, &read.answers, as_of);
        if !wrong.is_empty() || !more.is_empty() {
            continue;
        }
        let stamp = SourceStamp { path: name.into(), digest: String::new() };
        let subject = Subject { reference: read.reference, source: stamp, clinic: None };
        let screening = screen(rules, compiled, &facts, &subject);
        let span = Span { best_case: screening.best_case, worst_case: screening.worst_case };
        assert_eq!(screening.verdict, span.verdict());
        if screening.verdict == Outcome::Go {
            assert!(screening.undetermined.iter().all(|it| it.outcome_if_fires == Outcome::Go));
        }
    }
});
