//! Any text as a quantity or a number: what is read is finite, and every unit that is known converts to a finite number or
//! to none.
#![no_main]

use libfuzzer_sys::fuzz_target;
use preblock::inner::quantity::{Measure, which_measures};
use preblock::inner::quantity::{read_number, read_quantity, tidy};

fuzz_target!(|text: &str| {
    if let Ok(number) = read_number(text) {
        assert!(number.is_finite());
        assert!(!tidy(number, None).is_empty() && !tidy(number, Some(2)).is_empty());
    }
    let Ok(parts) = read_quantity(text) else { return };
    assert!(!parts.is_empty() && parts.iter().all(|part| part.number.is_finite()));
    let spelling = |part: &preblock::inner::quantity::Parts| part.unit.clone().unwrap_or_default();
    for measure in parts.iter().flat_map(|part| which_measures(&spelling(part))) {
        adds_up(measure, &parts.iter().map(|part| (part.number, spelling(part))).collect::<Vec<_>>());
    }
});

fn adds_up(measure: Measure, parts: &[(f64, String)]) {
    let known: Option<Vec<(f64, &str)>> = parts.iter().map(|(number, unit)| Some((*number, measure.unit(unit)?))).collect();
    for to in known.iter().flat_map(|_| measure.units()) {
        let total = measure.total(known.as_deref().unwrap_or_default(), to);
        assert!(total.is_err() || total.is_ok_and(f64::is_finite));
    }
}
