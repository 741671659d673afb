//! Any bytes as a questionnaire, in YAML and in JSON.
#![no_main]

mod common;

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    for name in ["fuzz.yaml", "fuzz.json"] {
        common::holds(common::screener().screen(name, bytes));
    }
});
