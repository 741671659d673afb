//! Any bytes in the place of a local policy: nothing panics, and a refusal says why.
#![no_main]

use libfuzzer_sys::fuzz_target;
use preblock::load::{LocalFile, RuleFiles, rule_set_with};

fuzz_target!(|bytes: &[u8]| {
    let local = LocalFile { name: "local.yaml".into(), bytes: bytes.to_vec() };
    if let Err(wrong) = rule_set_with(&RuleFiles::embedded(), Some(&local)) {
        assert!(!wrong.is_empty(), "a refusal says why");
    }
});
