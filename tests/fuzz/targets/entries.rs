//! Any lines as the bodies of entries: those that can be read are written as they are read, and every history that they make
//! comes to a state, to figures and to an export.
#![no_main]

use libfuzzer_sys::fuzz_target;
use preblock::inner::register::entry::{NOTHING_BEFORE, RegisterEntry};
use preblock::inner::register::export::{csv, in_short, ndjson};
use preblock::inner::register::figures::{figures, text};
use preblock::inner::register::happening::{body, read_body};
use preblock::inner::register::state::ReferralState;

fuzz_target!(|lines: &str| {
    let mut entries: Vec<RegisterEntry> = Vec::new();
    for happening in lines.lines().filter_map(|it| read_body(it).ok()) {
        let written = body(&happening, "salt").expect("what was read can be written");
        assert_eq!(read_body(&written).ok().as_ref(), Some(&happening));
        let _ = in_short(&happening);
        let n_before = entries.len() as i64;
        let mut entry = RegisterEntry {
            seq: n_before + 1,
            at: chrono::DateTime::from_timestamp(1_790_000_000 + n_before * 7_000, 0).expect("a time").fixed_offset(),
            person: "NU".into(),
            kind: happening.kind().into(),
            referral: happening.is_of_a_referral().then(|| "T-1".into()),
            form: None,
            body: preblock::inner::rule_set::files::sha256(written.as_bytes()),
            previous: entries.last().map_or(NOTHING_BEFORE.into(), |it| it.digest.clone()),
            digest: String::new(),
            happening: Some(happening),
            is_clock_back: false,
        };
        entry.digest = entry.computed();
        entries.push(entry);
    }
    if let Some(state) = ReferralState::of(&entries) {
        let _ = (state.is_current(), state.current(), state.standing_decision());
    }
    let _ = (text(&figures(&entries)), csv(&entries));
    assert_eq!(ndjson(&entries).lines().count(), entries.len());
});
