//! What the targets share: the embedded rule set, read once, and what must hold of every result.
#![allow(dead_code, reason = "no target uses all of it")]

use std::sync::OnceLock;

use preblock::inner::outcome::{OutcomeSpan, Standing};
use preblock::{Diagnostic, RuleFiles, RuleSet, Screener, Screening};

/// A patient who is screened where a target is about something else than questionnaires.
pub const PATIENT: &[u8] = include_bytes!("../../../examples/referrals/SM-110.yaml");

/// The day of every screening.
pub fn as_of() -> chrono::NaiveDate {
    chrono::NaiveDate::from_ymd_opt(2026, 11, 25).expect("a day")
}

/// The embedded rule set without its guarantees, which decide about nobody. A nightly compiler (1.97 of May 2026) that marks
/// what is covered takes a guarantee without conditions for one that cannot be read; other compilers do not.
pub fn files() -> RuleFiles {
    let mut files = RuleFiles::embedded();
    assert!(files.remove("guarantees.yaml"));
    files
}

pub fn screener() -> &'static Screener<'static> {
    static RULES: OnceLock<RuleSet> = OnceLock::new();
    static SCREENER: OnceLock<Screener<'static>> = OnceLock::new();
    SCREENER.get_or_init(|| {
        let rules = RULES.get_or_init(|| RuleSet::read(&files(), None).expect("the embedded rule set loads"));
        Screener::new(rules, as_of()).without_search()
    })
}

/// Either refused, with a reason, or screened: the verdict is what the findings and the undetermined rules come to.
pub fn holds(result: Result<Screening, Vec<Diagnostic>>) {
    let screening = match result {
        Ok(screening) => screening,
        Err(wrong) => return says_why(&wrong),
    };
    let fires = screening.findings.iter().map(|it| Standing { outcome: it.outcome, urgency: it.urgency });
    let open = screening.undetermined.iter().map(|it| Standing { outcome: it.outcome_if_fires, urgency: it.urgency });
    assert_eq!(screening.span, OutcomeSpan::of(fires, open));
}

/// A refusal says why, in words that can be printed.
pub fn says_why(wrong: &[Diagnostic]) {
    assert!(!wrong.is_empty(), "a refusal says why");
    for it in wrong {
        assert!(!preblock::inner::cli::draw::rendered(it, 80, false).is_empty());
    }
}
