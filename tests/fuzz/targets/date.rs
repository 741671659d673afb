//! Any text as dates and spans, a line each: what is read is printed as it would be read, and their arithmetic ends.
#![no_main]

use libfuzzer_sys::fuzz_target;
use preblock::inner::quantity::span::Span;
use preblock::inner::quantity::when::{When, day_after, read_when};

fuzz_target!(|text: &str| {
    let days: Vec<When> = text.lines().filter_map(|it| read_when(it).ok()).collect();
    let spans: Vec<Span> = text.lines().filter_map(Span::read).collect();
    for day in &days {
        assert_eq!(read_when(&day.to_string()).as_ref(), Ok(day));
        for other in &days {
            assert_eq!(day.days_between(other), -other.days_between(day));
            assert!(!(day.is_after(other) && other.is_after(day)));
            for span in &spans {
                // What came later is older than nothing.
                assert!(!When::age_exceeds(day, other, span) || day.days_between(other) >= 0);
            }
        }
        for span in &spans {
            assert!(day_after(day.date, span).is_none_or(|it| it >= day.date));
        }
    }
    for span in spans {
        assert_eq!(Span::read(&span.to_string()), Some(span));
    }
});
