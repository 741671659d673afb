//! Responses that are damaged: what is told of each, and which readers that are not ours notice it.

use std::fmt::Write as _;
use std::time::{Duration, Instant};

use preblock::inner::questionnaire::fhir::form::form;
use rstest::rstest;
use serde_json::{Value, json};

use crate::outside;
use crate::support::{embedded, embedded_once, embedded_screener, run, said};

const UCUM: &str = "http://unitsofmeasure.org";
const ABSENT: &str = "http://terminology.hl7.org/CodeSystem/data-absent-reason";

/// The codes of all that is told of a response, or what is shown to a person of one that is read.
fn told(bytes: &[u8]) -> Result<Vec<String>, Vec<&'static str>> {
    let name = "response.json";
    match embedded_screener().read(name, bytes) {
        Ok(referral) => {
            let notes = referral.answers.notes.into_iter();
            Ok(notes.map(|it| it.text).collect())
        }
        Err(refusal) => Err(refusal.problems.iter().map(|it| it.code.name()).collect()),
    }
}

/// One response of tests/outside/damaged.yaml.
struct Damaged {
    name: String,
    text: String,
    says: Vec<String>,
    reads: Option<Vec<String>>,
    noticed: Vec<String>,
}

/// The undamaged response, and the damaged ones.
fn damaged() -> (String, Vec<Damaged>) {
    let (rules, _) = embedded_once();
    let own = rules.canonical.clone().unwrap_or_default();
    let whole = |text: &str| {
        text.replace("OWN", &own)
            .replace("EDITION", &rules.edition)
            .replace("UCUM", UCUM)
            .replace("ABSENT", ABSENT)
    };
    let written: serde_yaml::Value =
        serde_yaml::from_str(include_str!("../../outside/damaged.yaml")).unwrap_or_default();
    let text = |it: &serde_yaml::Value| it.as_str().unwrap_or_default().to_owned();
    let texts = |it: &serde_yaml::Value| {
        let list = it.as_sequence()?;
        Some(list.iter().map(text).collect::<Vec<String>>())
    };
    let base = text(&written["base"]);
    let all = written["damaged"].as_sequence().into_iter().flatten();
    let all = all
        .map(|it| {
            let (find, put) = (text(&it["find"]), text(&it["put"]));
            assert_eq!(base.matches(&find).count(), 1, "{}", text(&it["name"]));
            Damaged {
                name: text(&it["name"]),
                text: whole(&base.replace(&find, &put)),
                says: texts(&it["says"]).unwrap_or_default(),
                reads: texts(&it["reads"]),
                noticed: texts(&it["noticed"]).unwrap_or_default(),
            }
        })
        .collect();
    (whole(&base), all)
}

#[test]
fn each_damaged_response_is_told_and_none_is_read_as_another() {
    let (base, all) = damaged();
    let undamaged = told(base.as_bytes());
    assert_eq!(undamaged, Ok(vec!["Came by taxi.".to_owned()]));
    assert!(all.len() > 125, "{} damaged responses", all.len());
    let mut wrong = String::new();
    for it in &all {
        let fits = match (told(it.text.as_bytes()), &it.reads) {
            (Err(codes), None) => codes == it.says,
            (Ok(notes), Some(shown)) => shown
                .iter()
                .all(|it| notes.iter().any(|note| note.starts_with(it.as_str()))),
            _ => false,
        };
        if !fits {
            let _ = writeln!(wrong, "{}: {:?}", it.name, told(it.text.as_bytes()));
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut all, byte| {
        let _ = write!(all, "{byte:02x}");
        all
    })
}

/// What the readers that are not ours notice is written beside what we say: none of them notices all, so that what only we
/// notice is not taken for something that a checker before us would have stopped.
#[test]
fn readers_that_are_not_ours_notice_what_is_written() {
    let (base, all) = damaged();
    let texts = std::iter::once(&base).chain(all.iter().map(|it| &it.text));
    let texts: Vec<String> = texts.map(|it| hex(it.as_bytes())).collect();
    let given = json!({ "form": form(&embedded()).unwrap_or_default(), "damaged": texts });
    let said = outside::run("damaged.py", &[], given.to_string().as_bytes());
    let said = String::from_utf8_lossy(&said).into_owned();
    let mut said = said
        .lines()
        .map(|it| serde_json::from_str::<Value>(it).unwrap_or_default());
    assert_eq!(said.next(), Some(json!([])), "the undamaged response");
    let mut wrong = String::new();
    for it in &all {
        let noticed = said.next().unwrap_or_default();
        if noticed != json!(it.noticed) {
            let _ = writeln!(wrong, "{}: {noticed}", it.name);
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
    let by = |reader: &str| {
        let noticed = all
            .iter()
            .filter(|it| it.noticed.iter().any(|it| it == reader));
        noticed.count()
    };
    println!(
        "of {} damaged responses {} are refused; fhir.resources notices {}, fhirclient {}, the invariants {}, none of these {}",
        all.len(),
        all.iter().filter(|it| it.reads.is_none()).count(),
        by("models"),
        by("client"),
        by("paths"),
        all.iter().filter(|it| it.noticed.is_empty()).count(),
    );
}

// --- Texts that are made --------------------------------------------------------------------------------------------

/// The undamaged response, with so many items within one another before its items.
fn deep(n: usize, open: &str, close: &str) -> Vec<u8> {
    let within = format!("{}{}", open.repeat(n), close.repeat(n));
    let (base, _) = damaged();
    base.replace("\"item\": [\n  {", &format!("\"item\": [{within},\n  {{"))
        .into_bytes()
}

/// So many items that the form does not have, each unlike the others.
fn strangers(n: usize) -> Vec<u8> {
    let items: Vec<String> = (0..n)
        .map(|it| format!("{{\"linkId\": \"person.w{it}\"}}"))
        .collect();
    let (base, _) = damaged();
    base.replace(
        "\"item\": [\n  {",
        &format!("\"item\": [{},\n  {{", items.join(",")),
    )
    .into_bytes()
}

// Found with a stack of 8 MB in mind: a reader that calls itself for each level overflows it by 10^5 of them.
#[rstest]
#[case::items("{\"linkId\":\"person\",\"item\":[", "]}")]
#[case::answers("{\"linkId\":\"person.sex\",\"answer\":[", "]}")]
#[case::lists("[", "]")]
#[case::never_closed("{\"item\":[", "")]
fn deep_nesting_is_refused(#[case] open: &str, #[case] close: &str) {
    for name in ["response.json", "response.yaml"] {
        for n in [100, 20_000] {
            let start = Instant::now();
            let bytes = deep(n, open, close);
            let read = embedded_screener().read(name, &bytes);
            let found = read.err().map(|it| it.problems).unwrap_or_default();
            let codes: Vec<&str> = found.iter().map(|it| it.code.name()).collect();
            assert_eq!(codes, ["text/too-deep"], "{n} levels of {open} in {name}");
            assert!(start.elapsed() < Duration::from_secs(10));
        }
    }
}

#[test]
fn a_response_takes_time_by_its_size() {
    let least = |n: usize| {
        let bytes = strangers(n);
        let once = || {
            let start = Instant::now();
            let found = told(&bytes).err().unwrap_or_default();
            assert_eq!(found.len(), n);
            start.elapsed()
        };
        (0..2).map(|_| once()).min().unwrap_or_default()
    };
    let (small, large) = (least(2_000), least(8_000));
    assert!(
        large < small * 10 + Duration::from_millis(100),
        "{small:?} for 2,000, {large:?} for 8,000"
    );
}

#[rstest]
#[case::a_byte_order_mark(|text: &str| [b"\xef\xbb\xbf", text.as_bytes()].concat(), &[])]
#[case::latin_1(|text: &str| text.replace("taxi", "t\u{e9}").chars().map(|it| it as u8).collect(), &["text/not-utf8"])]
#[case::utf_16(|text: &str| text.encode_utf16().flat_map(u16::to_le_bytes).collect(), &["text/odd-character"; 20])]
#[case::half_a_letter(|text: &str| text.replace("taxi", "\u{20ac}").into_bytes().split_inclusive(|it| *it == 0x82).flat_map(|it| it.strip_suffix(&[0x82]).unwrap_or(it).to_vec()).collect(), &["text/not-utf8"])]
#[case::larger_than_may_be(|text: &str| text.replace("Came", &"Came ".repeat(1 << 18)).into_bytes(), &["text/too-large"])]
fn bytes_that_are_damaged_are_told(#[case] change: fn(&str) -> Vec<u8>, #[case] expected: &[&str]) {
    let (base, _) = damaged();
    let found = told(&change(&base)).err().unwrap_or_default();
    assert_eq!(found, expected);
}

/// 50 MB are refused before they are read; from standard input, by a byte more than may be.
#[test]
fn fifty_megabytes_are_refused_at_once() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    let path = folder.path().join("large.json");
    let (base, _) = damaged();
    let text = base.replace("Came by", &"Came by ".repeat(6_500_000));
    assert!(text.len() > 50_000_000);
    assert!(std::fs::write(&path, &text).is_ok());
    let path = path.display().to_string();
    let start = Instant::now();
    for arguments in [
        ["screen", &path].as_slice(),
        &["import", &path, "--out", "target/never"],
    ] {
        let output = run(arguments);
        assert_eq!(output.status.code(), Some(2));
        assert!(said(&output.stderr).contains("is larger than 1 MiB"));
    }
    assert!(start.elapsed() < Duration::from_secs(20));
}
