//! One questionnaire parsed and screened, the evaluation alone, and a cold start of the program.
//!
//! `cargo bench`, or `cargo bench -- NAME` for one.

use std::path::Path;
use std::process::Command;

use chrono::NaiveDate;
use divan::Bencher;
use divan::counter::ItemsCount;
use preblock::inner::cli::draw::rendered;
use preblock::inner::questionnaire::facts;
use preblock::inner::questionnaire::facts::Facts;
use preblock::inner::rule_set::RuleSet;
use preblock::inner::rule_set::files::RuleFiles;
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::screening::compile::Compiled;
use preblock::inner::screening::compile::Prepared;
use preblock::inner::screening::screener::Screener;
use preblock::inner::screening::what_if::alternatives::alternatives;
use preblock::inner::screening::what_if::days::dates;
use preblock::inner::screening::what_if::remedies::lifts;
use preblock::inner::screening::what_if::search::{Links, Trials};
use preblock::inner::workbench::cases::read::cases;

const FILE: &str = "examples/referrals/SM-101.yaml";

fn main() {
    divan::main();
}

fn rules() -> RuleSet {
    match rule_set(&RuleFiles::embedded()) {
        Ok(rules) => rules,
        Err(found) => unreachable!("the embedded rule set loads: {found:?}"),
    }
}

fn as_of() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 11, 25).unwrap_or_default()
}

fn read_facts(rules: &RuleSet, bytes: &[u8]) -> Facts {
    match Screener::new(rules, as_of()).read(FILE, bytes) {
        Ok(referral) => referral.facts,
        Err(refusal) => unreachable!("the example is read: {refusal:?}"),
    }
}

fn bytes() -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join(FILE)).unwrap_or_default()
}

/// The embedded rule set: YAML to compiled rules.
#[divan::bench]
fn rule_set_loaded(bencher: Bencher) {
    bencher.bench(|| Compiled::new(&rules()));
}

/// One questionnaire: YAML text to the screening, but for what would lift its verdict.
#[divan::bench]
fn questionnaire_parsed_and_screened(bencher: Bencher) {
    let (rules, bytes) = (rules(), bytes());
    let screener = Screener::new(&rules, as_of()).without_search();
    bencher
        .counter(ItemsCount::new(1_usize))
        .bench(|| screener.screen(FILE, &bytes));
}

/// Facts to the state of every rule.
#[divan::bench]
fn evaluation_alone(bencher: Bencher) {
    let rules = rules();
    let compiled = Compiled::new(&rules);
    let facts = read_facts(&rules, &bytes());
    bencher
        .counter(ItemsCount::new(rules.rules().count()))
        .bench(|| compiled.run(divan::black_box(&facts)));
}

/// The same, with the facts already laid out.
#[divan::bench]
fn evaluation_of_prepared_facts(bencher: Bencher) {
    let rules = rules();
    let compiled = Compiled::new(&rules);
    let facts = read_facts(&rules, &bytes());
    let prepared = Prepared::new(rules.catalogue.facts.len(), &facts);
    bencher
        .counter(ItemsCount::new(rules.rules().count()))
        .bench(|| compiled.run_prepared(divan::black_box(&prepared), &facts));
}

/// Every example, over a clinic that offers all that its plans hold.
const EXAMPLES: std::ops::RangeInclusive<usize> = 101..=125;

const CLINIC: &str = "\
clinic: 1
name: Bench
offers:
  plan:
    ablation: [phenol, electrosurgery, none]
    anaesthetic:
      - { agent: lidocaine, strength: 1 % }
      - { agent: lidocaine, strength: 2 % }
      - { agent: mepivacaine, strength: 3 % }
      - { agent: prilocaine, strength: 4 % }
    adrenaline: [yes, no]
    tourniquet: [yes, no]
    antiseptic: [chlorhexidine, povidone-iodine, alcohol]
answers:
  plan: { ablation: phenol, adrenaline: no, tourniquet: yes, antiseptic: chlorhexidine }
  clinic: { latex_free: no, adrenaline_protocol: no, phentolamine: no, phenol_ventilation: yes, staff_pregnant: yes }
";

/// What one search takes.
struct Desk {
    rules: RuleSet,
    compiled: Compiled,
    links: Links,
    /// The example or worked case that takes longest, found by trying each.
    slowest: Facts,
}

impl Desk {
    fn trials<'a>(&'a self, facts: &'a Facts) -> Trials<'a> {
        Trials::new(&self.rules, &self.compiled, &self.links, facts)
    }
}

/// The desk with whoever takes longest on it; prints who that is, how long it took and how much was tried.
fn desk(what: &str, work: impl Fn(&Desk, &Facts) -> usize) -> Desk {
    let rules = rules();
    let (compiled, links) = (Compiled::new(&rules), Links::new(&rules));
    let screener = Screener::new(&rules, as_of()).clinic("clinic.yaml", CLINIC.as_bytes());
    let screener = screener.unwrap_or_else(|found| unreachable!("the clinic is read: {found:?}"));
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/referrals");
    let read = |at: usize| {
        let names = [format!("SM-{at}.yaml"), format!("SM-{at}.json")];
        let (name, bytes) = names
            .iter()
            .find_map(|it| Some((it, std::fs::read(folder.join(it)).ok()?)))?;
        Some((name.clone(), screener.read(name, &bytes).ok()?.facts))
    };
    let mut people: Vec<(String, Facts)> = EXAMPLES.filter_map(read).collect();
    for case in cases(&RuleFiles::embedded(), &rules).unwrap_or_default() {
        people.push((case.title, facts::read(&rules, &case.answers, case.as_of).0));
    }
    let (_, nobody) = people
        .first()
        .cloned()
        .unwrap_or_else(|| unreachable!("there are examples"));
    let mut desk = Desk {
        rules,
        compiled,
        links,
        slowest: nobody,
    };
    let timed = people.into_iter().map(|(name, facts)| {
        let time = || {
            let start = std::time::Instant::now();
            let n_tried = work(&desk, &facts);
            (start.elapsed(), n_tried)
        };
        (
            (0..3).map(|_| time()).min().unwrap_or_default(),
            name,
            facts,
        )
    });
    if let Some(((time, n_tried), name, facts)) = timed.max_by_key(|it| it.0) {
        println!("{what}: slowest is {name}, {time:?}, {n_tried} tried");
        desk.slowest = facts;
    }
    desk
}

/// Other plans, for whoever takes longest.
#[divan::bench]
fn alternatives_of_the_slowest(bencher: Bencher) {
    let work = |desk: &Desk, facts: &Facts| {
        let trials = desk.trials(facts);
        divan::black_box(alternatives(&trials));
        trials.n_tried()
    };
    let desk = desk("alternatives", work);
    bencher.bench(|| work(&desk, &desk.slowest));
}

/// What would lift the verdict, for whoever takes longest.
#[divan::bench]
fn lifts_of_the_slowest(bencher: Bencher) {
    let work = |desk: &Desk, facts: &Facts| {
        let trials = desk.trials(facts);
        divan::black_box(lifts(&trials));
        trials.n_tried()
    };
    let desk = desk("lifts", work);
    bencher.bench(|| work(&desk, &desk.slowest));
}

/// The verdict of each of 28 days, for whoever takes longest.
#[divan::bench]
fn dates_of_the_slowest(bencher: Bencher) {
    let work = |desk: &Desk, facts: &Facts| {
        divan::black_box(dates(&desk.rules, &desk.compiled, facts, None, 28)).len()
    };
    let desk = desk("dates", work);
    bencher.bench(|| work(&desk, &desk.slowest));
}

/// What every search starts from; made once for all patients.
#[divan::bench]
fn links_made(bencher: Bencher) {
    let rules = rules();
    bencher.bench(|| Links::new(divan::black_box(&rules)));
}

/// What a file of 40,000 of something takes to be read and told about.
fn reading(bencher: Bencher, answers: &str) {
    let rules = rules();
    let screener = Screener::new(&rules, as_of());
    let text = format!("questionnaire: 1\nreference: T-1\nanswers: {answers}\n");
    bencher.bench(|| {
        let found = screener
            .read("t.yaml", divan::black_box(text.as_bytes()))
            .err()
            .map(|it| it.problems)
            .unwrap_or_default();
        found
            .iter()
            .take(20)
            .map(|it| rendered(it, 80, false).len())
            .sum::<usize>()
    });
}

/// A medicine of 40,000 words, each of which could belong to a dose.
#[divan::bench(sample_count = 20)]
fn one_long_medicine_read(bencher: Bencher) {
    reading(
        bencher,
        &format!(
            "{{ medicines: {{ current: [\"{}\"] }} }}",
            "a ".repeat(40_000)
        ),
    );
}

/// A mapping of 40,000 keys.
#[divan::bench(sample_count = 20)]
fn many_keys_read(bencher: Bencher) {
    let keys: Vec<String> = (0..40_000).map(|it| format!("k{it}: 1")).collect();
    reading(bencher, &format!("{{ person: {{ {} }} }}", keys.join(", ")));
}

/// 40,000 anchors on one line.
#[divan::bench(sample_count = 20)]
fn many_anchors_read(bencher: Bencher) {
    let anchors: Vec<String> = (0..40_000).map(|it| format!("&a{it} x")).collect();
    reading(bencher, &format!("[{}]", anchors.join(", ")));
}

/// The program from start to end on one file.
#[divan::bench(sample_count = 40)]
fn cold_start(bencher: Bencher) {
    bencher.bench(|| {
        Command::new(env!("CARGO_BIN_EXE_preblock"))
            .args(["screen", FILE, "--as-of", "2026-11-25", "--format", "json"])
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .output()
            .is_ok()
    });
}
