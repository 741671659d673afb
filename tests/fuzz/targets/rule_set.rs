//! Any bytes in the place of one file of the rule set; the first byte says which. Where it is taken, a patient can be screened.
#![no_main]

mod common;

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use preblock::inner::rule_set::files::Care;
use preblock::{RuleFiles, RuleSet, Screener};

/// Copies share what was read: an input costs the reading of its own file only.
static FILES: LazyLock<RuleFiles> = LazyLock::new(|| common::files().with_care(Care::Full));

fuzz_target!(|bytes: &[u8]| {
    let Some((which, bytes)) = bytes.split_first() else { return };
    let names: Vec<&str> = FILES.paths().filter(|it| !it.starts_with("cases/")).collect();
    let mut files = FILES.clone();
    files.set(names[usize::from(*which) % names.len()], bytes);
    match RuleSet::read(&files, None) {
        Ok(rules) => {
            let screener = Screener::new(&rules, common::as_of()).without_search();
            common::holds(screener.screen("patient.yaml", common::PATIENT));
        }
        Err(wrong) => common::says_why(&wrong),
    }
});
