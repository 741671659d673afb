//! One place that touches the API: a tiny rule set from a few lines, a patient from a few more.

#![expect(
    clippy::panic,
    reason = "a fixture that does not load fails the test that uses it"
)]

use std::process::{Command, Output};
use std::sync::OnceLock;

use chrono::NaiveDate;
use preblock::inner::document::diagnostic::Diagnostic;
use preblock::inner::outcome::State;
use preblock::inner::questionnaire::facts;
use preblock::inner::questionnaire::facts::{Facts, Gathered};
use preblock::inner::questionnaire::frame;
use preblock::inner::rule_set::files::RuleFiles;
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::rule_set::{Idx, Rule, RuleSet};
use preblock::inner::screening::compile::Compiled;
use preblock::inner::screening::result::{Screening, SourceStamp};
use preblock::inner::screening::screener::{Referral, Screener};
use proptest::test_runner::RngSeed;

/// The seed of every property: a run repeats the one before. `PROPTEST_RNG_SEED` does not change it; to look further,
/// change it here for a while, or use the fuzz targets.
pub const SEED: RngSeed = RngSeed::Fixed(20_261_125);

/// The program, to be started.
pub fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_preblock"));
    for name in OWN_ENVIRONMENT {
        command.env_remove(name);
    }
    command
}

/// What the program takes from the environment. Whoever runs the tests may have set it for their own work.
pub const OWN_ENVIRONMENT: [&str; 4] = [
    "PREBLOCK_CLINIC",
    "PREBLOCK_RULES",
    "PREBLOCK_LOCAL",
    "PREBLOCK_REGISTER",
];

/// Runs the program from the project's folder.
#[expect(
    clippy::expect_used,
    reason = "a program that cannot be started fails the test"
)]
pub fn run(arguments: &[&str]) -> Output {
    program()
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env_remove("COLUMNS")
        .env("LC_ALL", "C.UTF-8")
        .output()
        .expect("the program starts")
}

/// What it printed.
pub fn said(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// The day on which every screening of these tests is run.
pub fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 11, 25).unwrap_or_default()
}

const HEAD: &str = "\
rule_set: 1
id: tiny
title: A rule set for tests
edition: \"1\"
status: draft
in_force_from: 2026-12-01
review_by: 2027-11-30
owner: nobody
concerns: [{ id: test, title: Test }]
retired: [{ rule: test/long-gone, on: 2026-01-01, because: a test }]
";

const SOURCES: &str = "sources: [{ id: book, by: Somebody, title: A book, year: 2020, checked: read, checked_on: 2026-11-25 }]\n";

const LIMITS: &str = "\
limits:
  - { id: ceiling, about: A ceiling, value: 4.0, citations: [{ source: book }] }
  - { id: adult, about: Adult age, value: 18, citations: [{ source: book }] }
  - { id: heavy, about: Highest dosing weight, value: 70 kg, citations: [{ source: book }] }
  - { id: fresh, about: Age of a result, value: 72 hours, citations: [{ source: book }] }
";

const MEDICINES: &str = "\
classes:
  - { id: thinner, about: Thins the blood }
  - { id: old-thinner, about: An older kind, in: [thinner] }
  - { id: other, about: Anything else }
dose_words: [mg, daily, twice, a, day, units]
salt_words: [sodium]
medicines:
  - { name: warfarin, in: [old-thinner] }
  - { name: apixaban, in: [thinner] }
  - { name: aspirin, also: [acetylsalicylic acid], in: [thinner] }
  - { name: paracetamol, also: [acetaminophen], in: [other] }
";

const ALLERGENS: &str = "\
reactions: [{ id: anaphylaxis, text: Severe }, { id: rash, text: Rash }]
groups:
  - { id: anaesthetic, about: Any local anaesthetic, names: [local anaesthetic] }
  - { id: amide, about: Amide kind, in: [anaesthetic] }
substances:
  - { name: lidocaine, also: [lignocaine], in: [amide] }
  - { name: procaine, in: [anaesthetic] }
  - { name: latex, crosses_with: [banana] }
  - { name: banana }
";

const AGENTS: &str = "\
volumes: [0.01 mL, 100 mL]
agents:
  - id: lidocaine
    family: amide
    strengths: [0.5 %, 2 %]
    limits: [{ adrenaline: no, from_age: 1, per_kg: 3 mg/kg, at_most: 200 mg, citations: [{ source: book }] }]
  - id: mepivacaine
    family: amide
    strengths: [1 %, 3 %]
    limits: [{ adrenaline: no, from_age: 4, per_kg: 6 mg/kg, at_most: 400 mg, citations: [{ source: book }] }]
";

const QUESTIONS: &str = "\
sections:
  - id: plan
    title: Plan
    questions:
      - { id: procedure_on, ask: When?, answer: date, from: nurse }
      - id: toes
        ask: Which toes?
        answer: several-of
        options: [{ id: left-great, text: Left, side: left }, { id: right-great, text: Right, side: right }]
        from: nurse
      - { id: anaesthetic, ask: Which anaesthetic?, answer: anaesthetic, from: nurse }
      - { id: adrenaline, ask: Adrenaline?, decision: true, standing: true, answer: yes-no, from: nurse }
  - id: a
    title: Answers
    questions:
      - { id: born, ask: Born?, answer: date, past: true, from: patient }
      - { id: sex, ask: Sex?, answer: one-of, options: [{ id: female, text: Female }, { id: male, text: Male }], from: patient }
      - { id: weight, ask: Weight?, answer: quantity, measure: mass, unit: kg, units: [lb], plausible: [2, 350], from: nurse }
      - { id: height, ask: Height?, answer: quantity, measure: length, unit: cm, units: [m], plausible: [45, 230], from: nurse }
      - { id: smokes, ask: Smokes?, answer: yes-no, from: patient }
      - { id: drinks, ask: Drinks?, answer: yes-no, from: patient }
      - id: pulse
        ask: The pulse?
        answer: one-of
        options: [{ id: felt, text: Felt }, { id: doubtful, text: Doubtful }, { id: absent, text: Absent }]
        from: nurse
      - id: signs
        ask: Which signs?
        answer: several-of
        options: [{ id: pain, text: Pain }, { id: ulcer, text: Ulcer }, { id: cold, text: Cold }]
        from: patient
      - { id: count, ask: How many?, answer: number, plausible: [0, 100], from: patient }
      - { id: units, ask: How many units?, answer: number, plausible: [0, 100], from: patient }
      - { id: inr, ask: The INR?, answer: number, dated: true, plausible: [0.5, 20], from: record }
      - { id: seen_on, ask: Seen when?, answer: date, past: true, from: record }
      - { id: taken, ask: Which medicines?, answer: medicines, from: patient }
      - { id: allergies, ask: Which allergies?, answer: allergies, from: patient }
      - { id: detail, ask: The detail?, answer: yes-no, from: patient, ask_when: { fact: a.smokes, is: yes } }
      - { id: words, ask: In your words?, answer: text, from: patient }
derived:
  - { id: age, about: Age, formula: completed-years, unit: years, decimals: 0, with: { born: a.born, on: plan.procedure_on } }
  - { id: ideal, about: Ideal weight, formula: ideal-weight, unit: kg, decimals: 1, with: { height: a.height, sex: a.sex } }
  - id: dosing
    about: Dosing weight
    formula: dosing-weight
    unit: kg
    decimals: 1
    with: { weight: a.weight, ideal: derived.ideal, age: derived.age, adult_from: { limit: adult }, ceiling: { limit: heavy } }
  - id: load
    about: Load
    formula: anaesthetic-load
    decimals: 2
    with: { plan: plan.anaesthetic, adrenaline: plan.adrenaline, weight: derived.dosing, age: derived.age }
  - { id: n_signs, about: Number of signs, formula: count-of, decimals: 0, with: { list: a.signs } }
";

/// The files of the tiny rule set, with rules given as (id, outcome, condition).
pub fn files(rules: &[(&str, &str, &str)]) -> RuleFiles {
    let mut concern = String::from("concern: test\nrules:\n");
    for (id, outcome, when) in rules {
        let kind = if *outcome == "go" {
            "caution"
        } else {
            "contraindication"
        };
        let more = match *outcome {
            "refer" => "\n    urgency: routine\n    refer_to: a service",
            "defer" => "\n    cleared_by: something",
            _ => "",
        };
        concern.push_str(&format!(
            "  - id: {id}\n    title: The rule {id}\n    kind: {kind}\n    outcome: {outcome}{more}\n    when: {when}\n    \
             reason: So it is.\n    action: Do it.\n    citations: [{{ source: book }}]\n    \
             in_force_from: 2026-12-01\n    last_reviewed: 2026-11-25\n    review_by: 2027-11-30\n"
        ));
    }
    let texts = [
        ("ruleset.yaml", HEAD),
        ("sources.yaml", SOURCES),
        ("limits.yaml", LIMITS),
        ("medicines.yaml", MEDICINES),
        ("allergens.yaml", ALLERGENS),
        ("anaesthetics.yaml", AGENTS),
        ("questions.yaml", QUESTIONS),
        ("concerns/test.yaml", &concern),
    ];
    let mut files = RuleFiles::new("tiny");
    texts
        .iter()
        .for_each(|(path, text)| files.set(*path, *text));
    files
}

/// The text of a file of a rule set; empty without it.
pub fn text_of(files: &RuleFiles, path: &str) -> String {
    files
        .file(path)
        .map_or_else(String::new, |it| said(it.bytes()))
}

/// The tiny rule set with nothing but its own rules: what each comes to by itself. Whether a verdict is held besides, see
/// [`held`].
pub fn tiny(rules: &[(&str, &str, &str)]) -> RuleSet {
    alone(held(rules))
}

/// The tiny rule set as the program uses it, with its own rules behind these.
pub fn held(rules: &[(&str, &str, &str)]) -> RuleSet {
    rule_set(&files(rules)).unwrap_or_else(|found| {
        panic!("the tiny rule set is refused: {}", codes(&found).join(", "))
    })
}

/// The position of a rule, by its number from the top.
pub fn nth_rule(rules: &RuleSet, n: usize) -> Idx<Rule> {
    let mut all = rules.judging.indices();
    all.nth(n)
        .unwrap_or_else(|| panic!("there are so many rules"))
}

/// A rule set without the program's own rules.
pub fn alone(mut rules: RuleSet) -> RuleSet {
    rules.judging = rules.rules().cloned().collect();
    rules
}

/// The embedded rule set.
pub fn embedded() -> RuleSet {
    rule_set(&RuleFiles::embedded()).unwrap_or_else(|found| {
        panic!(
            "the embedded rule set is refused: {}",
            codes(&found).join(", ")
        )
    })
}

/// The embedded rule set, loaded and compiled once for all tests.
pub fn embedded_once() -> &'static (RuleSet, Compiled) {
    static RULES: OnceLock<(RuleSet, Compiled)> = OnceLock::new();
    RULES.get_or_init(|| {
        let rules = embedded();
        let compiled = Compiled::new(&rules);
        (rules, compiled)
    })
}

/// Codes with titles, for messages and assertions.
pub fn codes(found: &[Diagnostic]) -> Vec<String> {
    found
        .iter()
        .map(|it| format!("{} {it}", it.code.name()))
        .collect()
}

/// A questionnaire from the lines under `answers:`, as a file of this name.
pub fn written(answers: &str) -> String {
    let answers: String = answers.lines().map(|line| format!("  {line}\n")).collect();
    format!("questionnaire: 1\nreference: T-1\nanswers:\n{answers}")
}

/// The answers of a questionnaire's text, or what is wrong with it.
pub fn gathered(rules: &RuleSet, text: &str) -> Result<Gathered, Vec<Diagnostic>> {
    let (read, found) = frame::questionnaire(rules, "t.yaml", text.as_bytes());
    match read {
        Some(read) if found.is_empty() => Ok(read.answers),
        _ => Err(found),
    }
}

/// The facts of a questionnaire's text, or what is wrong with it.
pub fn facts_or(rules: &RuleSet, text: &str) -> Result<Facts, Vec<Diagnostic>> {
    let gathered = gathered(rules, text)?;
    let (facts, found) = facts::read(rules, &gathered, today());
    if found.is_empty() {
        Ok(facts)
    } else {
        Err(found)
    }
}

/// The embedded rule set as the program screens by it, compiled once for all tests.
pub fn embedded_screener() -> Screener<'static> {
    static SCREENER: OnceLock<Screener<'static>> = OnceLock::new();
    SCREENER
        .get_or_init(|| Screener::new(&embedded_once().0, today()).without_search())
        .clone()
}

/// A questionnaire's text read over a clinic's; neither is refused.
pub fn read_over(
    screener: Screener<'_>,
    clinic: Option<&str>,
    name: &str,
    text: &[u8],
) -> Referral {
    let over = match clinic {
        Some(clinic) => screener.clinic("clinic.yaml", clinic.as_bytes()),
        None => Ok(screener),
    };
    let read = over.and_then(|screener| {
        screener
            .read(name, text)
            .map_err(|refusal| refusal.problems)
    });
    read.unwrap_or_else(|found| panic!("{name} is refused: {}", codes(&found).join(", ")))
}

/// The facts of a questionnaire's text over a clinic's.
pub fn facts_over(rules: &RuleSet, clinic: Option<&str>, text: &str) -> Facts {
    read_over(
        Screener::new(rules, today()),
        clinic,
        "t.yaml",
        text.as_bytes(),
    )
    .facts
}

/// The facts of the lines under `answers:`.
pub fn facts(rules: &RuleSet, answers: &str) -> Facts {
    facts_or(rules, &written(answers))
        .unwrap_or_else(|found| panic!("the answers are refused: {}", codes(&found).join(", ")))
}

/// The state of the one rule with this condition, for these answers.
pub fn state(when: &str, answers: &str) -> State {
    let rules = tiny(&[("one", "defer", when)]);
    let states = Compiled::new(&rules).run(&facts(&rules, answers));
    states[nth_rule(&rules, 0)]
}

/// The screening of these answers, but for what would lift its verdict.
pub fn screening(rules: &RuleSet, facts: &Facts) -> Screening {
    Screener::new(rules, today())
        .without_search()
        .screening(&referral(facts))
}

/// Somebody with these answers.
pub fn referral(facts: &Facts) -> Referral {
    let source = SourceStamp {
        path: "t.yaml".into(),
        digest: "0".repeat(64),
    };
    Referral {
        reference: "T-1".into(),
        source,
        answers: Gathered::default(),
        facts: facts.clone(),
    }
}
