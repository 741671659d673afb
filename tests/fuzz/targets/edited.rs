//! Valid questionnaires, edited as people and programs spoil them: words exchanged for others that the rule set knows, lines
//! doubled, dropped, put elsewhere, moved to another depth. Most of what comes of it is still nearly a questionnaire.
//!
//! The input is a program: one byte for the file, then four bytes an edit.
#![no_main]

mod common;

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use preblock::RuleFiles;

const FILES: [(&str, &str); 5] = [
    ("SM-110.yaml", include_str!("../../../examples/referrals/SM-110.yaml")),
    ("SM-101.yaml", include_str!("../../../examples/referrals/SM-101.yaml")),
    ("SM-124.yaml", include_str!("../../../examples/referrals/SM-124.yaml")),
    ("SM-103.yaml", include_str!("../../../examples/referrals/SM-103.yaml")),
    ("SM-121.json", include_str!("../../../examples/referrals/SM-121.json")),
];

/// What nobody's rule set holds.
const ODD: [&str; 28] = [
    "unknown", "none", "yes", "no", "true", "null", "~", "[]", "{}", "[unknown]", "0", "-1", "1e9", "0x10", "1_000", ".inf", "4,5",
    "2026-02-30", "1900-01-01", "2026-11-25 09:00", "2200-12-31", "0 kg", "5 ft 7 in", "100 %", "&a", "*a", "\"", "#",
];

/// Words of the rule set: ids of questions and options, names of medicines and substances, units.
static WORDS: LazyLock<Vec<String>> = LazyLock::new(|| {
    let files = RuleFiles::embedded();
    let texts = ["questions.yaml", "medicines.yaml", "allergens.yaml", "anaesthetics.yaml"].map(|it| files.file(it).expect("a file of the rule set").bytes());
    let mut words: Vec<String> = texts
        .iter()
        .flat_map(|it| it.split(|byte| b" \n[]{},:".contains(byte)))
        .map(|it| String::from_utf8_lossy(it).into_owned())
        .filter(|it| !it.is_empty())
        .collect();
    words.sort();
    words.dedup();
    words.extend(ODD.map(str::to_owned));
    words
});

/// One edit of a text: what, in which line, and with what.
fn edited(lines: &mut Vec<String>, edit: &[u8]) {
    let [what, line, first, second] = *edit else { return };
    let at = usize::from(line) % lines.len();
    let other = usize::from(first) % lines.len();
    match what % 8 {
        0..=2 => {
            let word = &WORDS[(usize::from(first) << 8 | usize::from(second)) % WORDS.len()];
            let line = &lines[at];
            let places: Vec<&str> = line.split([' ', '[', ']', '{', '}', ',', '"']).filter(|it| !it.is_empty()).collect();
            // The last word is the value more often than not.
            if let Some(old) = places.get(usize::from(what / 8) % places.len().max(1)).or(places.last()) {
                lines[at] = line.replacen(*old, word, 1);
            }
        }
        3 => drop(lines.remove(at)),
        4 => lines.insert(other, lines[at].clone()),
        5 => lines.swap(at, other),
        6 => lines[at] = format!("{}{}", " ".repeat(usize::from(second % 12)), lines[at].trim_start()),
        _ => {
            let line = &mut lines[at];
            let place = usize::from(first) % (line.len() + 1);
            if line.is_char_boundary(place) {
                line.insert(place, char::from(second));
            }
        }
    }
    if lines.is_empty() {
        lines.push(String::new());
    }
}

fuzz_target!(|program: &[u8]| {
    let Some((file, edits)) = program.split_first() else { return };
    let (name, text) = FILES[usize::from(*file) % FILES.len()];
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    edits.chunks_exact(4).take(16).for_each(|it| edited(&mut lines, it));
    common::holds(common::screener().screen(name, lines.join("\n").as_bytes()));
});
