//! Any text as a quantity, a number, a date or a length of time: nothing panics, and numbers are finite.
#![no_main]

use libfuzzer_sys::fuzz_target;
use preblock::inner::quantity::span::Span;
use preblock::inner::quantity::when::read_when;
use preblock::inner::quantity::{read_number, read_quantity};

fuzz_target!(|text: &str| {
    if let Ok(parts) = read_quantity(text) {
        assert!(!parts.is_empty() && parts.iter().all(|part| part.number.is_finite()));
    }
    if let Ok(number) = read_number(text) {
        assert!(number.is_finite());
    }
    let _ = (Span::read(text), read_when(text));
});
