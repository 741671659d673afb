//! Many lines: each step of a line by itself, whole lines, and the same bytes read into `serde_json::Value` beside them.
//!
//! `cargo bench --bench batch`. All of it on one core; a counter says bytes a second, or divide by [`N_LINES`].

use chrono::NaiveDate;
use divan::counter::{BytesCount, ItemsCount};
use divan::{Bencher, black_box};
use preblock::inner::batch::generate::Generator;
use preblock::inner::batch::lines::Lines;
use preblock::inner::batch::{BatchScreener, Detail};
use preblock::inner::questionnaire::facts;
use preblock::inner::screening::compile::Compiled;
use preblock::inner::screening::screener::Referral;
use preblock::{RuleFiles, RuleSet, Screener};

const CLINIC: &[u8] = include_bytes!("../../examples/clinic.yaml");
const N_LINES: u64 = 1_000;
const SEED: u64 = 12;

fn main() {
    divan::main();
}

/// What every benchmark starts from; made once, and never given back.
struct Setting {
    rules: &'static RuleSet,
    screener: &'static Screener<'static>,
    as_of: NaiveDate,
    lines: Vec<u8>,
    referrals: Vec<Referral>,
}

static SETTING: std::sync::LazyLock<Setting> = std::sync::LazyLock::new(|| {
    let files = RuleFiles::embedded();
    let read = RuleSet::read(&files, None);
    let rules: &'static RuleSet = Box::leak(Box::new(
        read.unwrap_or_else(|found| unreachable!("{found:?}")),
    ));
    let generator = Generator::new(&files, rules).ok().flatten();
    let generator = generator.unwrap_or_else(|| unreachable!("there are worked cases"));
    let mut lines = Vec::new();
    (1..=N_LINES).for_each(|number| generator.line(SEED, number, &mut lines));
    let as_of = generator.as_of;
    let screener = Screener::new(rules, as_of)
        .without_search()
        .clinic("clinic.yaml", CLINIC);
    let screener: &'static Screener<'static> = Box::leak(Box::new(
        screener.unwrap_or_else(|found| unreachable!("{found:?}")),
    ));
    let read = Lines::new(1, &lines).filter_map(|(_, line)| screener.read("line.json", line).ok());
    let referrals: Vec<Referral> = read.collect();
    Setting {
        rules,
        screener,
        as_of,
        lines,
        referrals,
    }
});

impl Setting {
    fn bytes(&self) -> BytesCount {
        BytesCount::new(self.lines.len())
    }
}

/// The measure of all: the same bytes into trees that know no questionnaire.
#[divan::bench]
fn a_serde_json_value(bencher: Bencher) {
    let it = &*SETTING;
    bencher.counter(it.bytes()).bench(|| {
        let read = Lines::new(1, black_box(&it.lines))
            .filter_map(|(_, line)| serde_json::from_slice::<serde_json::Value>(line).ok());
        read.map(|value| black_box(value).is_object())
            .filter(|it| *it)
            .count()
    });
}

/// Lines to answers that are understood and to what follows from them, by the tree.
#[divan::bench(sample_count = 10)]
fn b_read_by_the_tree(bencher: Bencher) {
    let it = &*SETTING;
    bencher.counter(it.bytes()).bench(|| {
        let read = Lines::new(1, black_box(&it.lines))
            .filter_map(|(_, line)| it.screener.read("line.json", line).ok());
        read.map(black_box).count()
    });
}

/// Answers that were gathered to facts, derived ones among them.
#[divan::bench(sample_count = 10)]
fn c_understood_and_derived(bencher: Bencher) {
    let it = &*SETTING;
    bencher
        .counter(ItemsCount::new(it.referrals.len()))
        .bench(|| {
            let all = black_box(&it.referrals).iter();
            all.map(|one| {
                black_box(facts::read(it.rules, &one.answers, it.as_of))
                    .1
                    .len()
            })
            .sum::<usize>()
        });
}

/// Facts to the state of every rule, one person at a time.
#[divan::bench]
fn d_evaluated(bencher: Bencher) {
    let it = &*SETTING;
    let compiled = Compiled::new(it.rules);
    bencher
        .counter(ItemsCount::new(it.referrals.len()))
        .bench(|| {
            let all = black_box(&it.referrals).iter();
            all.map(|one| black_box(compiled.run(&one.facts)).len())
                .sum::<usize>()
        });
}

/// Facts to a whole screening, each reason in words, but for what would lift the verdict.
#[divan::bench(sample_count = 10)]
fn e_explained(bencher: Bencher) {
    let it = &*SETTING;
    bencher
        .counter(ItemsCount::new(it.referrals.len()))
        .bench(|| {
            let all = black_box(&it.referrals).iter();
            all.map(|one| black_box(it.screener.screening(one)).findings.len())
                .sum::<usize>()
        });
}

/// Whole lines, as `preblock batch --answer ...` takes and gives them.
#[divan::bench(args = [Detail::Verdict, Detail::Findings, Detail::Full], sample_count = 10)]
fn f_whole_lines(bencher: Bencher, detail: Detail) {
    answered(bencher, BatchScreener::new(SETTING.screener, detail));
}

/// The same, every line by its tree, as `Detail::Full` goes in any case.
#[divan::bench(args = [Detail::Verdict, Detail::Findings], sample_count = 10)]
fn g_whole_lines_by_trees(bencher: Bencher, detail: Detail) {
    answered(
        bencher,
        BatchScreener::new(SETTING.screener, detail).by_trees(),
    );
}

fn answered(bencher: Bencher, batch: BatchScreener<'_>) {
    let it = &*SETTING;
    let mut out = Vec::new();
    bencher.counter(it.bytes()).bench_local(|| {
        out.clear();
        batch
            .block(Lines::new(1, black_box(&it.lines)), &mut out)
            .n_lines()
    });
}
