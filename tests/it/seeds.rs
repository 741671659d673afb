//! Seeded defects: each mistake of an editor, made alone, is noticed by the tool that must notice it.
//!
//! `tests/seeds.yaml` says which tool is the first. Only that one is asked, so that all of them together stay quick.

#![expect(
    clippy::expect_used,
    reason = "a slip in the list ought to stop the test"
)]

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use preblock::inner::document::diagnostic::Diagnostic;
use preblock::inner::exact::{Decider, TooLarge};
use preblock::inner::questionnaire::policy::rule_set_with;
use preblock::inner::rule_set::files::{Care, RuleFiles, TextFile};
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::rule_set::{Rule, RuleSet};
use preblock::inner::screening::compile::Compiled;
use preblock::inner::screening::notices::notices;
use preblock::inner::workbench::allowances::allowances;
use preblock::inner::workbench::cases::read::{Case, cases};
use preblock::inner::workbench::cases::run;
use preblock::inner::workbench::compare::{Both, exact, is_less_cautious, tally};
use preblock::inner::workbench::lint;
use preblock::inner::workbench::lint::{LINTS, Subject};
use preblock::inner::workbench::prove::prove;
use preblock::inner::workbench::sources::HeldAgainst;
use preblock::inner::workbench::sources::whole;
use serde::Deserialize;

use crate::support::{embedded_once, text_of, today};

/// The file that stands for the clinic's local policy.
const LOCAL: &str = "local-policy.yaml";
const POLICY: &str = include_str!("../../examples/local-policy.yaml");

/// The tools, in the order in which an editor meets them.
const TOOLS: [&str; 6] = ["diagnostics", "lint", "test", "prove", "compare", "screen"];

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Seeds {
    seeds: Vec<Seed>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Seed {
    name: String,
    file: String,
    /// The entry that is changed.
    r#in: Option<String>,
    /// What is replaced; the whole entry, if `None`.
    find: Option<String>,
    replace: String,
    by: String,
    /// What the tool must say, where it has more than one thing to say.
    what: Option<String>,
}

impl Seed {
    /// A text with the change made. What is to be found stands just once.
    fn change(&self, text: &str) -> String {
        let (before, entry, after) = match &self.r#in {
            None => ("", text, ""),
            Some(id) => {
                let start = entry_start(text, id);
                let line = text[start..].lines().next().unwrap_or_default();
                let dash = &line[..=line.find('-').expect("an entry begins with a dash")];
                let rest = start + line.len();
                let end = text[rest..]
                    .find(&format!("\n{dash} "))
                    .map_or(text.len(), |it| rest + it + 1);
                (&text[..start], &text[start..end], &text[end..])
            }
        };
        let changed = match &self.find {
            None => self.replace.clone(),
            Some(find) => {
                assert_eq!(
                    entry.matches(find.as_str()).count(),
                    1,
                    "{}: `{find}` stands just once",
                    self.name
                );
                entry.replace(find.as_str(), &self.replace)
            }
        };
        assert_ne!(changed, entry, "{}: nothing is changed", self.name);
        format!("{before}{changed}{after}")
    }

    /// The files of the changed rule set.
    fn files(&self) -> RuleFiles {
        let mut files = RuleFiles::embedded().with_care(Care::Full);
        if self.file != LOCAL {
            let text = text_of(&files, &self.file);
            files.set(self.file.as_str(), self.change(&text));
        }
        files
    }

    /// The clinic's changed local policy, where that is what is changed.
    fn local(&self) -> Option<TextFile> {
        (self.file == LOCAL).then(|| TextFile::new(LOCAL, self.change(POLICY)))
    }
}

/// Where the line of an entry begins, by its id or, for an allowance, its check.
fn entry_start(text: &str, id: &str) -> usize {
    let is = |line: &str| {
        let line = line.trim_start();
        line.strip_prefix("- ")
            .is_some_and(|it| it == format!("id: {id}") || it == format!("lint: {id}"))
    };
    let mut at = 0;
    let mut found = Vec::new();
    for line in text.split_inclusive('\n') {
        if is(line.trim_end()) {
            found.push(at);
        }
        at += line.len();
    }
    assert_eq!(found.len(), 1, "there is one entry `{id}`");
    found[0]
}

/// What is the same for every seed.
struct Base {
    rule_set: &'static RuleSet,
    cases: Vec<Case>,
}

/// Whether the tool notices; or what it said instead.
fn noticed(seed: &Seed, base: &Base) -> Result<(), String> {
    let (files, local) = (seed.files(), seed.local());
    let what = seed.what.as_deref().unwrap_or_default();
    if seed.by == "diagnostics" {
        let found = match &local {
            Some(local) => rule_set_with(&RuleFiles::embedded(), Some(local)).err(),
            None => whole(&files).err(),
        };
        let names: Vec<&str> = found.iter().flatten().map(|it| it.code.name()).collect();
        return if names.contains(&what) {
            Ok(())
        } else {
            Err(format!("{names:?}"))
        };
    }
    let refused = |found: Vec<Diagnostic>| {
        Err(format!(
            "it is refused before: {}",
            found.iter().map(|it| format!("{it:?}")).collect::<String>()
        ))
    };
    let rules = match rule_set(&files) {
        Ok(rules) => rules,
        Err(found) => return refused(found),
    };
    if seed.by == "lint" {
        return linted(&files, local.as_ref(), rules, what, base);
    }
    let ids = |it: &RuleSet| {
        it.catalogue
            .questions
            .iter()
            .map(|it| it.id.clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(
        ids(&rules),
        ids(base.rule_set),
        "{}: the cases' answers are by the place of their question",
        seed.name
    );
    // Those of a rule that is another one now come first: they are likely to tell.
    let shape = |it: &Rule| format!("{:?} {:?} {:?}", it.when, it.outcome, it.urgency);
    let other = |it: &&Rule| rules.rule(&it.id).is_none_or(|new| shape(new) != shape(it));
    let others: Vec<&str> = base
        .rule_set
        .rules()
        .filter(other)
        .map(|it| it.id.as_str())
        .collect();
    let tells = |it: &&Case| {
        it.fires
            .iter()
            .chain(&it.undetermined)
            .any(|it| others.contains(&it.as_str()))
    };
    let (near, far): (Vec<&Case>, Vec<&Case>) = base.cases.iter().partition(tells);
    let all: Vec<&Case> = near.into_iter().chain(far).collect();
    match seed.by.as_str() {
        "test" => {
            let compiled = Compiled::new(&rules);
            let differs = |it: &&Case| !run(&rules, &compiled, it).differences.is_empty();
            if all.into_iter().any(|it| differs(&it)) {
                Ok(())
            } else {
                Err("every case comes out as before".into())
            }
        }
        "prove" => {
            let (id, word) = what
                .split_once(' ')
                .expect("a guarantee and what becomes of it");
            let proofs = prove(&rules, &base.cases, today(), |it| it.id == id);
            let words: Vec<&str> = proofs.iter().map(|(_, it)| it.word()).collect();
            if words == [word] {
                Ok(())
            } else {
                Err(format!("{words:?}"))
            }
        }
        "compare" if what == "exact" => {
            let found = exact(&Both::new(base.rule_set, &rules, today()), &[])
                .map_err(|it| format!("{it:?}"))?;
            let real = found.moves.iter().filter(|it| it.example.is_ok());
            if real.into_iter().any(|it| is_less_cautious(it.old, it.new)) {
                Ok(())
            } else {
                Err(format!("{:?}", found.moves))
            }
        }
        "compare" => {
            let less = |some: &[&Case]| {
                let patients = some
                    .iter()
                    .map(|it| (it.title.clone(), &it.answers, it.as_of));
                tally(&Both::new(base.rule_set, &rules, today()), patients)
                    .moves
                    .iter()
                    .any(|it| is_less_cautious(it.old, it.new))
            };
            if all.chunks(64).any(less) {
                Ok(())
            } else {
                Err("nobody gets a less cautious verdict".into())
            }
        }
        "screen" => {
            let said = notices(&rules, today(), None);
            if said.iter().any(|it| it.contains(what)) {
                Ok(())
            } else {
                Err(format!("{said:?}"))
            }
        }
        other => Err(format!("there is no tool `{other}`")),
    }
}

/// Whether a check says so, with no allowance for it.
fn linted(
    files: &RuleFiles,
    local: Option<&TextFile>,
    mut rules: RuleSet,
    what: &str,
    base: &Base,
) -> Result<(), String> {
    let (code, about) = what.split_once(' ').expect("a check and what it is about");
    let held = local
        .map(|it| HeldAgainst::read(files, it))
        .transpose()
        .map_err(|it| format!("{it:?}"))?
        .flatten();
    let allowances = allowances(files, &rules).map_err(|it| format!("{it:?}"))?;
    let over_everybody = [
        "lint/never-fires",
        "lint/always-fires",
        "lint/subsumed",
        "lint/band-gap",
        "lint/band-overlap",
        "lint/unasked",
    ];
    let mut runs = Vec::new();
    let mut space = Err(TooLarge {
        fact: String::new(),
        of: String::new(),
    });
    let concern = about.split_once('/').map_or("", |(concern, _)| concern);
    if over_everybody.contains(&code) {
        // The other concerns' rules are as they were.
        let left = |it: &&Rule| it.is_built_in() || it.id.split('/').next() == Some(concern);
        rules.judging = rules.judging.iter().filter(left).cloned().collect();
        let near = base
            .cases
            .iter()
            .filter(|it| it.source.name().contains(&format!("/{concern}-")));
        let compiled = Compiled::new(&rules);
        runs = near.map(|it| run(&rules, &compiled, it)).collect();
        space = Decider::new(&[&rules], &[], today());
    }
    let space = RefCell::new(space);
    let earlier = RefCell::new(Vec::new());
    let check = |code: &str| {
        LINTS
            .iter()
            .find(|it| it.code.name() == code)
            .map(|it| it.find)
            .ok_or("there is no such check")
    };
    let subject = Subject {
        space: &space,
        rule_set: &rules,
        files,
        cases: &base.cases,
        runs: &runs,
        gaps: &[],
        allowances: &allowances,
        local: held.as_ref(),
        as_of: today(),
        earlier: &earlier,
    };
    if code == "lint/allowance-unused" {
        // It looks at what the checks that are allowed something have said. That something was not decided is said by those
        // over everybody, which are not asked here.
        for of in allowances
            .iter()
            .map(|it| it.lint.name())
            .filter(|it| !over_everybody.contains(it) && *it != "lint/undecided")
        {
            let said = check(of)?(&subject);
            earlier.borrow_mut().extend(said);
        }
    }
    let remarks = check(code)?(&subject)
        .into_iter()
        .filter(|it| it.diagnostic.code.name() == code);
    let allowed = |about: &str| {
        allowances
            .iter()
            .any(|it| it.lint.name() == code && it.on == about)
    };
    let found: Vec<String> = remarks
        .map(|it| it.about)
        .filter(|it| !allowed(it))
        .collect();
    if found.iter().any(|it| it == about) {
        Ok(())
    } else {
        Err(format!("{found:?}"))
    }
}

#[test]
fn every_seeded_defect_is_noticed() {
    let Seeds { seeds } =
        serde_yaml::from_str(include_str!("../seeds.yaml")).expect("the list of seeds");
    let (rule_set, _) = embedded_once();
    let base = Base {
        rule_set,
        cases: cases(&RuleFiles::embedded(), rule_set).expect("the cases"),
    };
    let next = AtomicUsize::new(0);
    let work = || {
        let mut done = Vec::new();
        while let Some(seed) = seeds.get(next.fetch_add(1, Ordering::Relaxed)) {
            let begin = Instant::now();
            let found = noticed(seed, &base);
            done.push((seed, found, begin.elapsed()));
        }
        done
    };
    let done: Vec<_> = std::thread::scope(|scope| {
        let workers = [scope.spawn(work), scope.spawn(work)];
        workers
            .into_iter()
            .flat_map(|it| it.join().expect("no seed stops the test"))
            .collect()
    });
    let mut counts: BTreeMap<&str, usize> = TOOLS.iter().map(|it| (*it, 0)).collect();
    let mut missed = Vec::new();
    for (seed, found, took) in &done {
        println!("{took:?} {} {}", seed.by, seed.name);
        match found {
            Ok(()) => *counts.entry(&seed.by).or_default() += 1,
            Err(said) => missed.push(format!(
                "{}: {} does not notice ({}): {said}",
                seed.name,
                seed.by,
                seed.what.as_deref().unwrap_or("anything")
            )),
        }
    }
    assert_eq!(missed, Vec::<String>::new(), "noticed: {counts:?}");
    let total: usize = counts.values().sum();
    assert!(
        total >= 60
            && counts
                .iter()
                .all(|(tool, n)| *n >= if *tool == "screen" { 3 } else { 5 }),
        "{total} noticed: {counts:?}"
    );
}

/// Without a change no tool says anything, so that what it says of a seed is of the seed.
#[test]
fn without_a_seed_nothing_is_noticed() {
    let (rule_set, compiled) = embedded_once();
    let files = RuleFiles::embedded().with_care(Care::Full);
    let whole = whole(&files).expect("the rule set");
    let remarks = lint::check(&whole, today());
    let said: Vec<&str> = remarks
        .iter()
        .filter(|it| it.allowance.is_none())
        .map(|it| it.remark.diagnostic.code.name())
        .collect();
    assert!(
        said.iter().all(|it| *it == "lint/source-never-opened"),
        "{said:?}"
    );
    let about: Vec<&str> = remarks.iter().map(|it| it.remark.about.as_str()).collect();
    assert!(!about.contains(&"nlag-nail-surgery"), "{about:?}");
    assert!(
        whole
            .cases
            .iter()
            .all(|it| run(rule_set, compiled, it).differences.is_empty())
    );
    let local = TextFile::new(LOCAL, POLICY);
    assert!(rule_set_with(&files, Some(&local)).is_ok());
    let (few, _) = whole.cases.split_at(100);
    assert!(
        tally(
            &Both::new(rule_set, &whole.rule_set, today()),
            few.iter()
                .map(|it| (it.title.clone(), &it.answers, it.as_of))
        )
        .moves
        .is_empty()
    );
}
