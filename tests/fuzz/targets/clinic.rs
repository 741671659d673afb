//! Any bytes as a clinic's file. Where it is taken, a patient can be screened in that clinic.
#![no_main]

mod common;

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    match common::screener().clone().clinic("clinic.yaml", bytes) {
        Ok(screener) => common::holds(screener.screen("patient.yaml", common::PATIENT)),
        Err(wrong) => common::says_why(&wrong),
    }
});
