//! Any bytes as a questionnaire, in YAML and in JSON: nothing panics, and nothing refused is screened.
//! What is accepted must give the verdict that its findings and its undetermined rules come to.
#![no_main]

use std::sync::OnceLock;

use libfuzzer_sys::fuzz_target;
use preblock::inner::outcome::{OutcomeSpan, Standing};
use preblock::{RuleFiles, RuleSet, Screener};

fn screener() -> &'static Screener<'static> {
    static RULES: OnceLock<RuleSet> = OnceLock::new();
    static SCREENER: OnceLock<Screener<'static>> = OnceLock::new();
    let as_of = chrono::NaiveDate::from_ymd_opt(2026, 11, 25).expect("a day");
    let rules = RULES.get_or_init(|| RuleSet::read(&RuleFiles::embedded(), None).expect("the embedded rule set loads"));
    SCREENER.get_or_init(|| Screener::new(rules, as_of).without_search())
}

fuzz_target!(|bytes: &[u8]| {
    for name in ["fuzz.yaml", "fuzz.json"] {
        let screening = match screener().screen(name, bytes) {
            Ok(screening) => screening,
            Err(wrong) => {
                assert!(!wrong.is_empty(), "a refusal says why");
                continue;
            }
        };
        let fires = screening.findings.iter().map(|it| Standing { outcome: it.outcome, urgency: it.urgency });
        let open = screening.undetermined.iter().map(|it| Standing { outcome: it.outcome_if_fires, urgency: it.urgency });
        assert_eq!(screening.span, OutcomeSpan::of(fires, open));
    }
});
