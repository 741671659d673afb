//! What must hold for every text: no bytes make reading panic, every refusal can be drawn, and what is accepted means
//! the same to another reader.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

use preblock::inner::cli::draw::rendered;
use preblock::inner::document::diagnostic::Diagnostic;
use preblock::inner::document::source::{Node, NodeKind};
use preblock::inner::document::text;
use preblock::inner::questionnaire::policy::rule_set_with;
use preblock::inner::report::json;
use preblock::inner::rule_set::files::{RuleFiles, TextFile};
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::workbench::cases;
use proptest::prelude::*;
use rstest::rstest;

use crate::support::{SEED, embedded_once, embedded_screener, files, text_of};

/// Draws every diagnostic, which must work, and checks its places.
fn assert_can_be_told(found: &[Diagnostic]) {
    for it in found {
        assert!(
            !it.title.is_empty() && !it.title.contains('\n'),
            "{}: {}",
            it.code.name(),
            it.title
        );
        if let Some(source) = &it.source {
            for label in &it.labels {
                assert!(
                    source.text().get(label.span.clone()).is_some(),
                    "{}: no such place",
                    it.code.name()
                );
            }
        }
    }
    // Drawing is the slow part, and one that can be drawn is much like the next.
    for it in found.iter().take(3).chain(found.last()) {
        assert!(rendered(it, 80, false).contains(it.code.name()));
    }
}

/// Reads a questionnaire as `screen` does, and screens it if it is accepted. Whether it was.
fn screened(name: &str, bytes: &[u8]) -> bool {
    match embedded_screener().screen(name, bytes) {
        Ok(screening) => {
            assert!(json::one(&screening).contains("\"verdict\""));
            true
        }
        Err(found) => {
            assert!(!found.is_empty(), "refused without a word");
            assert_can_be_told(&found);
            false
        }
    }
}

fn as_yaml(node: &Node) -> serde_yaml::Value {
    use serde_yaml::Value;
    match &node.kind {
        NodeKind::Null => Value::Null,
        NodeKind::Bool(it) => Value::Bool(*it),
        NodeKind::Number(it) => Value::Number((*it).into()),
        NodeKind::Text(it) => Value::String(it.clone()),
        NodeKind::List(items) => Value::Sequence(items.iter().map(as_yaml).collect()),
        NodeKind::Map(entries) => Value::Mapping(
            entries
                .iter()
                .map(|it| (Value::String(it.key.clone()), as_yaml(&it.value)))
                .collect(),
        ),
    }
}

/// Whole numbers as the fractions they also are, so that readers can be compared by value.
fn plain(value: serde_yaml::Value) -> serde_yaml::Value {
    use serde_yaml::Value;
    match value {
        Value::Number(it) => it
            .as_f64()
            .map_or(Value::Null, |it| Value::Number((it + 0.0).into())),
        Value::Sequence(items) => Value::Sequence(items.into_iter().map(plain).collect()),
        Value::Mapping(entries) => Value::Mapping(
            entries
                .into_iter()
                .map(|(key, value)| (key, plain(value)))
                .collect(),
        ),
        other => other,
    }
}

/// Whether a text is accepted; then another reader must read the same, and each value must stand where it says.
fn accepted(name: &str, written: &str) -> bool {
    let read = text::read(name, written.as_bytes(), 1 << 20);
    assert_can_be_told(&read.diagnostics);
    let (Some(root), Some(source)) = (&read.root, &read.source) else {
        return false;
    };
    if !read.diagnostics.is_empty() {
        return false;
    }
    let other = if name.ends_with(".json") {
        serde_json::from_str::<serde_json::Value>(written)
            .ok()
            .and_then(|it| serde_yaml::to_value(it).ok())
    } else {
        serde_yaml::from_str::<serde_yaml::Value>(written).ok()
    };
    assert_eq!(Some(plain(as_yaml(root))), other.map(plain), "{written}");
    assert_places(source.text(), root);
    true
}

/// A plain value stands at its place as it is, and parts lie inside the whole.
fn assert_places(text: &str, node: &Node) {
    let slice = text.get(node.span.clone());
    assert!(slice.is_some(), "{:?} is no place of the text", node.span);
    if let (NodeKind::Number(number), Some(slice)) = (&node.kind, slice) {
        assert_eq!(
            slice.parse::<f64>().ok(),
            Some(*number),
            "at {:?} stands {slice}",
            node.span
        );
    }
    let inside: Vec<&Node> = node
        .items()
        .iter()
        .chain(node.entries().iter().map(|it| &it.value))
        .collect();
    for part in inside {
        assert!(
            part.span.is_empty()
                || (node.span.start <= part.span.start && part.span.end <= node.span.end)
        );
        assert_places(text, part);
    }
    for entry in node.entries() {
        let key = text.get(entry.key_span.clone()).unwrap_or_default();
        // A plain text may run over lines, which fold to spaces.
        let folded = key.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            key == entry.key || folded == entry.key || key.starts_with(['"', '\'', '?']),
            "at {:?} stands {key}, not {}",
            entry.key_span,
            entry.key
        );
    }
}

/// One slip of an editor: so many letters at a place replaced by a few others.
#[derive(Debug, Clone)]
struct Slip {
    place: usize,
    cut: usize,
    typed: String,
}

fn slips() -> impl Strategy<Value = Vec<Slip>> {
    let typed = prop_oneof![
        4 => "[\\[\\]{}:,#&*!|>'\"%@`\\-?~. \\n\\t0-9a-zé\u{200b}\u{2028}\u{1f9b6}]{0,6}",
        1 => Just(String::new()),
        2 => prop::sample::select(vec![
            "\n", "  ", "\n  ", ": ", "- ", "unknown", "null", "[]", "{}", "1e999", "-0", "0x10", "010", ".5", "1_000", "yes", "<<: *a", "&a ",
            "!!str ", "---\n", "...\n", "|\n", ">-\n", "2026-02-30", "\"", "'", "\\u0000", "\u{feff}", "\r\n", "\r", "\u{85}", "🦶", "1,5", "99999999999999999999",
        ]).prop_map(str::to_owned),
    ];
    let slip = (
        any::<usize>(),
        prop_oneof![3 => 0..4_usize, 1 => 0..200_usize],
        typed,
    )
        .prop_map(|(place, cut, typed)| Slip { place, cut, typed });
    prop::collection::vec(slip, 1..4)
}

fn with_slips(text: &str, slips: &[Slip]) -> String {
    let mut letters: Vec<char> = text.chars().collect();
    for slip in slips {
        let start = slip.place % (letters.len() + 1);
        let end = (start + slip.cut).min(letters.len());
        letters.splice(start..end, slip.typed.chars());
    }
    letters.into_iter().collect()
}

/// The questionnaires of the examples, by name.
fn examples() -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/referrals");
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut found: Vec<(String, String)> = entries
        .filter_map(|it| {
            Some((
                it.file_name().to_string_lossy().into_owned(),
                std::fs::read_to_string(it.path()).ok()?,
            ))
        })
        .collect();
    found.sort();
    assert!(
        found.len() >= 20 && found.iter().any(|(name, _)| name.ends_with(".json")),
        "the examples are gone"
    );
    found
}

static ACCEPTED: AtomicUsize = AtomicUsize::new(0);
static REFUSED: AtomicUsize = AtomicUsize::new(0);

fn count(accepted: bool) {
    if accepted { &ACCEPTED } else { &REFUSED }.fetch_add(1, Ordering::Relaxed);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1000, failure_persistence: None, rng_seed: SEED, ..ProptestConfig::default() })]

    #[test]
    fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..400), json in any::<bool>()) {
        screened(if json { "t.json" } else { "t.yaml" }, &bytes);
    }

    #[test]
    fn no_letters_make_it_panic(letters in "[\\[\\]{}:,#&*!|>'\"%@`\\-?~. \\n\\t0-9a-zé\u{2028}\u{1f9b6}]{0,60}", json in any::<bool>()) {
        let name = if json { "t.json" } else { "t.yaml" };
        screened(name, letters.as_bytes());
        accepted(name, &letters);
    }

    fn a_slip_in_a_questionnaire(slips in slips(), which in any::<prop::sample::Index>()) {
        let all = examples();
        let (name, text) = which.get(&all);
        let text = with_slips(text, &slips);
        count(screened(name, text.as_bytes()));
        accepted(name, &text);
    }
}

#[test]
fn no_slip_in_a_questionnaire_makes_it_panic() {
    a_slip_in_a_questionnaire();
    let (accepted, refused) = (
        ACCEPTED.load(Ordering::Relaxed),
        REFUSED.load(Ordering::Relaxed),
    );
    assert!(
        accepted > 20 && refused > 100,
        "{accepted} accepted, {refused} refused"
    );
}

/// Loads a rule set with slips in one of its files, and its cases if that is where they are. Whether it was accepted.
fn loaded_with(whole: &RuleFiles, path: &str, slips: &[Slip]) -> bool {
    let mut changed = whole.clone();
    changed.set(path, with_slips(&text_of(whole, path), slips));
    let found = if path.starts_with("cases/") {
        whole
            .paths()
            .filter(|it| ![path, "cases/people.yaml"].contains(it))
            .for_each(|it| assert!(changed.remove(it)));
        cases::read::cases(&changed, &embedded_once().0).err()
    } else {
        rule_set(&changed).err()
    };
    assert!(
        found.as_ref().is_none_or(|it| !it.is_empty()),
        "{path} is refused without a word"
    );
    assert_can_be_told(found.as_deref().unwrap_or_default());
    found.is_none()
}

static LOADED: AtomicUsize = AtomicUsize::new(0);

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, failure_persistence: None, rng_seed: SEED, ..ProptestConfig::default() })]

    fn a_slip_in_each_file_of_the_tiny_rule_set(each in prop::collection::vec(slips(), 8)) {
        let whole = files(&[("one", "defer", "{ all: [{ taking: thinner }, { fact: a.inr, older_than: { limit: fresh } }] }")]);
        for (path, slips) in whole.paths().zip(&each) {
            LOADED.fetch_add(usize::from(loaded_with(&whole, path, slips)), Ordering::Relaxed);
        }
    }
}

#[test]
fn no_slip_in_a_rule_set_makes_it_panic() {
    a_slip_in_each_file_of_the_tiny_rule_set();
    let n_loaded = LOADED.load(Ordering::Relaxed);
    assert!(
        (20..700).contains(&n_loaded),
        "{n_loaded} of 800 were accepted"
    );
}

/// A local policy of the tiny rule set, with a change of nearly every kind.
const LOCAL: &str = "\
local_policy: 1
clinic: Saltmarsh Foot Clinic
of: tiny
edition: \"1\"
changes:
  - { limit: ceiling, value: 3.5, reason: So, agreed_by: lead, agreed_on: 2026-11-20, review_by: 2027-05-31 }
  - { limit: fresh, value: 48 hours, reason: So, agreed_by: lead, agreed_on: 2026-11-20, review_by: 2027-05-31 }
  - { raise: test/one, outcome: refer, urgency: urgent, refer_to: a service, reason: So, agreed_by: lead, agreed_on: 2026-11-20, review_by: 2027-05-31 }
  - { retire: test/two, reason: So, agreed_by: lead, agreed_on: 2026-11-20, review_by: 2027-05-31 }
  - { medicine_name: house pill, means: aspirin, reason: So, agreed_by: lead, agreed_on: 2026-11-20, review_by: 2027-05-31 }
  - { allergen_name: gloves, means: latex, reason: So, agreed_by: lead, agreed_on: 2026-11-20, review_by: 2027-05-31 }
  - add_rule: test
    rule:
      id: three
      title: Three
      kind: contraindication
      outcome: defer
      when: { all: [{ taking: house pill }, { fact: a.count, above: { limit: ceiling } }] }
      reason: The count is {a.count}, above {limit.ceiling}.
      action: Rebook.
      cleared_by: another count
      citations: [{ local_proposal: ours }]
      in_force_from: 2026-12-01
      last_reviewed: 2026-11-20
      review_by: 2027-11-30
    reason: So
    agreed_by: lead
    agreed_on: 2026-11-20
    review_by: 2027-05-31
";

static PUT_OVER: AtomicUsize = AtomicUsize::new(0);

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, rng_seed: SEED, ..ProptestConfig::default() })]

    fn a_slip_in_a_local_policy(slips in slips()) {
        let whole = files(&[("one", "defer", "{ fact: a.inr, older_than: { limit: fresh } }"), ("two", "go", "{ taking: thinner }")]);
        let local = TextFile::new("local.yaml", with_slips(LOCAL, &slips));
        match rule_set_with(&whole, Some(&local)) {
            Ok(changed) => {
                let n_changes = changed.local.map_or(0, |it| it.changes.len());
                prop_assert!((1..=7).contains(&n_changes));
                PUT_OVER.fetch_add(1, Ordering::Relaxed);
            }
            Err(found) => {
                prop_assert!(!found.is_empty());
                assert_can_be_told(&found);
            }
        }
    }
}

#[test]
fn no_slip_in_a_local_policy_makes_it_panic() {
    a_slip_in_a_local_policy();
    let n_put_over = PUT_OVER.load(Ordering::Relaxed);
    assert!(
        (10..290).contains(&n_put_over),
        "{n_put_over} of 300 were accepted"
    );
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2, failure_persistence: None, rng_seed: SEED, max_shrink_iters: 64, ..ProptestConfig::default() })]

    /// The same for the rule set that is used, file by file, its cases among them.
    #[test]
    fn no_slip_in_the_embedded_rule_set_makes_it_panic(each in prop::collection::vec(slips(), RuleFiles::embedded().paths().count())) {
        let whole = RuleFiles::embedded();
        for (path, slips) in whole.paths().zip(&each) {
            loaded_with(&whole, path, slips);
        }
    }
}

/// Small documents of the YAML that people write, and of some that they should not.
fn document() -> impl Strategy<Value = String> {
    let scalar = prop::sample::select(vec![
        "a",
        "yes",
        "no",
        "true",
        "False",
        "null",
        "~",
        "",
        "1",
        "-1",
        "0",
        "00",
        "010",
        "1.50",
        ".5",
        "5.",
        "1e3",
        "1E-2",
        "+7",
        "0x1F",
        "0o17",
        "0b1",
        "1_000",
        ".inf",
        "-.INF",
        ".nan",
        "2026-12-03",
        "2026-12-03 09:30",
        "12:30:45",
        "1,5",
        "68 kg",
        "5 %",
        "'it''s'",
        "\"a\\tb\"",
        "\"é\"",
        "a b",
        "a#b",
        "'# c'",
        "a:b",
        "-a",
        "@a",
        "=",
        "<<",
        "? a",
        "!a",
        "&a a",
        "*a",
        "9007199254740993",
        "123456789012345678901234567890",
        "0.1",
        "1.7976931348623157e308",
    ]);
    let scalar = scalar.prop_map(str::to_owned);
    let flow = scalar.clone().prop_recursive(3, 12, 4, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..4)
                .prop_map(|it| format!("[{}]", it.join(", "))),
            prop::collection::vec(("[a-d]", inner), 0..4).prop_map(|it| {
                let entries: Vec<String> = it
                    .into_iter()
                    .map(|(key, value)| format!("{key}: {value}"))
                    .collect();
                format!("{{ {} }}", entries.join(", "))
            }),
        ]
    });
    let line = prop_oneof![
        3 => ("[a-d]", flow.clone()).prop_map(|(key, value)| format!("{key}: {value}\n")),
        1 => ("[a-d]", prop::collection::vec(flow.clone(), 1..4)).prop_map(|(key, items)| {
            let items: String = items.iter().map(|it| format!("  - {it}\n")).collect();
            format!("{key}:\n{items}")
        }),
        1 => ("[a-d]", prop::collection::vec(("[a-d]", flow), 1..3)).prop_map(|(key, entries)| {
            let entries: String = entries.iter().map(|(key, value)| format!("  {key}: {value}\n")).collect();
            format!("{key}:\n{entries}")
        }),
        1 => ("[a-d]", prop::sample::select(vec!["|", "|-", ">", ">+"]), "[a-c ]{1,8}").prop_map(|(key, style, words)| format!("{key}: {style}\n  x{words}\n  y\n")),
        1 => Just("# a comment\n".to_owned()),
    ];
    prop::collection::vec(line, 1..5).prop_map(|it| it.concat())
}

static YAML_ACCEPTED: AtomicUsize = AtomicUsize::new(0);

proptest! {
    #![proptest_config(ProptestConfig { cases: 6000, failure_persistence: None, rng_seed: SEED, ..ProptestConfig::default() })]

    fn any_document_that_is_accepted_means_the_same_elsewhere(text in document()) {
        if accepted("t.yaml", &text) {
            YAML_ACCEPTED.fetch_add(1, Ordering::Relaxed);
        }
    }

    /// A measurement as people write it is read to the last bit, in YAML and in JSON.
    #[test]
    fn a_plain_number_is_accepted_everywhere(whole in 0..100_000_u32, decimals in 0..1000_u32, places in 0..=3_usize) {
        let number = if places == 0 { whole.to_string() } else { format!("{whole}.{:0places$}", decimals % 10_u32.pow(u32::try_from(places).unwrap_or(0))) };
        prop_assert!(accepted("t.yaml", &format!("a: {number}\n")), "{}", number);
        prop_assert!(accepted("t.json", &format!("{{\"a\": {number}}}")), "{}", number);
    }
}

#[test]
fn what_is_accepted_means_the_same_to_another_reader() {
    any_document_that_is_accepted_means_the_same_elsewhere();
    let n_accepted = YAML_ACCEPTED.load(Ordering::Relaxed);
    assert!(
        n_accepted > 200,
        "only {n_accepted} of 6,000 were accepted, so little was compared"
    );
}

/// What programs read differently is refused, whatever it may have meant.
#[rstest]
#[case("a: 010\n", "text/ambiguous")]
#[case("a: 0x1F\n", "text/ambiguous")]
#[case("a: 9007199254740993\n", "text/ambiguous")]
#[case("a: .nan\n", "text/not-finite")]
#[case("a: -.inf\n", "text/not-finite")]
#[case("a: 1\na: 2\n", "text/duplicate-key")]
#[case("{a: 1, a: 2}\n", "text/duplicate-key")]
#[case("a: &x 1\nb: *x\n", "text/alias")]
#[case("a: !!str 1\n", "text/tag")]
#[case("1: a\n", "text/key-not-text")]
#[case("a: 1\n---\na: 2\n", "text/several-documents")]
#[case("a: \u{200b}1\n", "text/odd-character")]
#[case("", "text/empty")]
fn an_ambiguous_text_is_refused(#[case] written: &str, #[case] code: &str) {
    let read = text::read("t.yaml", written.as_bytes(), 1 << 20);
    let codes: Vec<&str> = read.diagnostics.iter().map(|it| it.code.name()).collect();
    assert!(codes.contains(&code), "{written:?}: {codes:?}");
}

/// `yes`, `no`, `on` and dates are texts here and there, so that a question decides what they mean.
#[rstest]
#[case("yes", "text")]
#[case("No", "text")]
#[case("on", "text")]
#[case("2026-12-03", "text")]
#[case("08", "text or refused")]
#[case("true", "boolean")]
#[case("1.50", "number")]
#[case("~", "nothing")]
fn plain_words(#[case] written: &str, #[case] expected: &str) {
    let read = text::read("t.yaml", format!("a: {written}\n").as_bytes(), 1 << 20);
    let kinds: BTreeMap<&str, bool> = [
        (
            "text",
            matches!(
                read.root
                    .as_ref()
                    .and_then(|it| it.get("a"))
                    .map(|it| &it.kind),
                Some(NodeKind::Text(_))
            ),
        ),
        (
            "boolean",
            matches!(
                read.root
                    .as_ref()
                    .and_then(|it| it.get("a"))
                    .map(|it| &it.kind),
                Some(NodeKind::Bool(_))
            ),
        ),
        (
            "number",
            matches!(
                read.root
                    .as_ref()
                    .and_then(|it| it.get("a"))
                    .map(|it| &it.kind),
                Some(NodeKind::Number(_))
            ),
        ),
        (
            "nothing",
            matches!(
                read.root
                    .as_ref()
                    .and_then(|it| it.get("a"))
                    .map(|it| &it.kind),
                Some(NodeKind::Null)
            ),
        ),
        ("text or refused", !read.diagnostics.is_empty()),
    ]
    .into();
    assert_eq!(kinds.get(expected), Some(&true), "{written}: {kinds:?}");
}
