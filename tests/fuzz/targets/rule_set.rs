//! Any bytes in the place of one file of the rule set: nothing panics, and a refusal says why.
#![no_main]

use libfuzzer_sys::fuzz_target;
use preblock::inner::rule_set::read::FILES;
use preblock::inner::rule_set::files::{Care, RuleFiles};
use preblock::inner::rule_set::read::rule_set;

fuzz_target!(|bytes: &[u8]| {
    let Some((which, bytes)) = bytes.split_first() else { return };
    let mut files = RuleFiles::embedded().with_care(Care::Full);
    let names: Vec<&str> = FILES.iter().copied().chain(["concerns/allergy.yaml"]).collect();
    let name = names[usize::from(*which) % names.len()];
    files.set(name, bytes);
    if let Err(wrong) = rule_set(&files) {
        assert!(!wrong.is_empty(), "a refusal says why");
    }
});
