//! Any bytes in the place of a local policy: nothing panics, and a refusal says why.
#![no_main]

use libfuzzer_sys::fuzz_target;
use preblock::inner::rule_set::files::{RuleFiles, TextFile};
use preblock::inner::questionnaire::policy::rule_set_with;

fuzz_target!(|bytes: &[u8]| {
    let local = TextFile::new("local.yaml", bytes);
    if let Err(wrong) = rule_set_with(&RuleFiles::embedded(), Some(&local)) {
        assert!(!wrong.is_empty(), "a refusal says why");
    }
});
