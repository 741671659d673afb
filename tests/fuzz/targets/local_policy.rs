//! Any bytes as a local policy. Where it is taken, a patient can be screened under it.
#![no_main]

mod common;

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use preblock::{RuleFiles, RuleSet, Screener, TextFile};

static FILES: LazyLock<RuleFiles> = LazyLock::new(common::files);

fuzz_target!(|bytes: &[u8]| {
    let local = TextFile::new("local.yaml", bytes);
    match RuleSet::read(&FILES, Some(&local)) {
        Ok(rules) => {
            let screener = Screener::new(&rules, common::as_of()).without_search();
            common::holds(screener.screen("patient.yaml", common::PATIENT));
        }
        Err(wrong) => common::says_why(&wrong),
    }
});
