//! The house in order: layers, the rule set's own promises, fresh schemas, no clinical figure in the program.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use preblock::inner::exact::Decider;
use preblock::inner::outcome::Outcome;
use preblock::inner::questionnaire::schema;
use preblock::inner::rule_set::files::{Care, RuleFiles};
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::rule_set::{Answer, Idx, Piece, Question, Text};
use preblock::inner::screening::compile::Compiled;
use preblock::inner::workbench::cases::read::{Case, waivers};
use preblock::inner::workbench::cases::{CaseRun, last_day, run};
use preblock::inner::workbench::coverage;
use preblock::inner::workbench::lint::{LINTS, Lint};
use rstest::rstest;
use serde_json::Value;

use crate::shipped::{Shipped, nails, skin};
use crate::support::{codes, embedded};

fn top() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// All files below a folder with this ending, by path.
fn files_below(folder: &str, ending: &str) -> Vec<(PathBuf, String)> {
    let mut open = vec![top().join(folder)];
    let mut found = Vec::new();
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(&folder).into_iter().flatten().flatten() {
            let path = entry.path();
            if path.is_dir() {
                open.push(path);
            } else if path.to_string_lossy().ends_with(ending) {
                found.push((
                    path.clone(),
                    std::fs::read_to_string(&path).unwrap_or_default(),
                ));
            }
        }
    }
    found.sort();
    found
}

fn sources() -> Vec<(String, String)> {
    let src = top().join("src");
    let found: Vec<(String, String)> = files_below("src", ".rs")
        .into_iter()
        .map(|(path, text)| {
            (
                path.strip_prefix(&src)
                    .unwrap_or(&path)
                    .to_string_lossy()
                    .replace('\\', "/"),
                text,
            )
        })
        .collect();
    assert!(found.len() > 40, "the sources were not found");
    found
}

/// The module a source file belongs to: `facts` for facts.rs and facts/*.rs.
fn module(path: &str) -> &str {
    path.split(['/', '.']).next().unwrap_or_default()
}

/// Lines of code, comments left out.
fn code(text: &str) -> impl Iterator<Item = &str> {
    text.lines()
        .map(str::trim)
        .filter(|it| !it.starts_with("//"))
}

/// From the foundation upwards. A module may use what stands before it, and itself.
const LAYERS: [&str; 16] = [
    "table",
    "truth",
    "outcome",
    "formulas",
    "quantity",
    "document",
    "rule_set",
    "questionnaire",
    "screening",
    "exact",
    "workbench",
    "report",
    "batch",
    "register",
    "desk",
    "cli",
];

/// Every path below `crate`, `super` or `self` that a source names, in whole from the top: in an expression or in any form of
/// `use`, groups taken apart.
fn named(path: &str, text: &str) -> BTreeSet<Vec<String>> {
    let own: Vec<&str> = path.trim_end_matches(".rs").split('/').collect();
    let code = code(text)
        .map(|line| line.split(" // ").next().unwrap_or_default())
        .collect::<Vec<_>>()
        .join(" ");
    let mut found = BTreeSet::new();
    for (at, _) in ["crate::", "super::", "self::"]
        .iter()
        .flat_map(|root| code.match_indices(root))
    {
        let before = code.get(..at).unwrap_or_default();
        if before.ends_with(|it: char| it.is_alphanumeric() || it == '_' || it == ':') {
            continue;
        }
        for path in taken_apart(code.get(at..).unwrap_or_default()) {
            let mut segments: Vec<String> = own.iter().map(|it| (*it).to_owned()).collect();
            let mut rest = path.split("::").map(str::trim).peekable();
            while let Some(root) = rest.next_if(|it| ["crate", "super", "self"].contains(it)) {
                match root {
                    "crate" => segments.clear(),
                    "super" => segments.truncate(segments.len().saturating_sub(1)),
                    _ => {}
                }
            }
            let mut rest = rest.filter(|it| !it.is_empty()).peekable();
            if rest.peek().is_some() {
                segments.extend(rest.map(str::to_owned));
                found.insert(segments);
            }
        }
    }
    found
}

/// The paths at the start of some code: one, or all of a group.
fn taken_apart(code: &str) -> Vec<String> {
    let end = code
        .find(|it: char| !(it.is_alphanumeric() || it == '_' || it == ':'))
        .unwrap_or(code.len());
    let (path, rest) = code.split_at(end);
    let Some(group) = rest.strip_prefix('{').filter(|_| path.ends_with("::")) else {
        return vec![path.to_owned()];
    };
    let mut found = Vec::new();
    let (mut depth, mut start) = (0_usize, 0);
    for (at, letter) in group.char_indices() {
        if (letter == ',' || letter == '}') && depth == 0 {
            let member = group.get(start..at).unwrap_or_default().trim();
            found.extend(
                taken_apart(member)
                    .into_iter()
                    .filter(|it| !it.is_empty())
                    .map(|it| format!("{path}{it}")),
            );
            start = at + 1;
        }
        match letter {
            '{' => depth += 1,
            '}' if depth == 0 => break,
            '}' => depth -= 1,
            _ => {}
        }
    }
    found
}

#[test]
fn paths_are_read_in_every_form_of_use() {
    let text = "use crate::{model::{Rule, RuleSet as R}, load};\npub use super::super::report as told;\n\
                use self::inner::{self, Deep};\n// use crate::cli;\nlet it = crate::facts::read(super::own());\nlet supers = 1;";
    let found: Vec<String> = named("a/b/c.rs", text)
        .into_iter()
        .map(|it| it.join("::"))
        .collect();
    let expected = [
        "a::b::c::inner::Deep",
        "a::b::c::inner::self",
        "a::b::own",
        "a::report",
        "facts::read",
        "load",
        "model::Rule",
        "model::RuleSet",
    ];
    assert_eq!(found, expected);
}

#[test]
fn imports_point_up_the_list_of_layers() {
    let mut wrong = Vec::new();
    let layer = |name: &str| LAYERS.iter().position(|it| *it == name);
    for (path, text) in sources() {
        let Some(own) = layer(module(&path)) else {
            continue;
        };
        for named in named(&path, &text) {
            // What lib.rs hands on is for others: within, everything is named where it stands.
            if named
                .first()
                .and_then(|it| layer(it))
                .is_none_or(|layer| layer > own)
            {
                wrong.push(format!("{path}: {}", named.join("::")));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Of two neighbours in one folder, each with what stands below it, only one may use the other, by whatever way round.
#[test]
fn no_neighbours_use_one_another() {
    let sources = sources();
    let mut uses: BTreeMap<(String, String), BTreeSet<String>> = BTreeMap::new();
    let is_module = |path: &[String]| {
        sources
            .iter()
            .any(|(file, _)| *file == format!("{}.rs", path.join("/")))
    };
    for (path, text) in &sources {
        let own: Vec<String> = path
            .trim_end_matches(".rs")
            .split('/')
            .map(str::to_owned)
            .collect();
        for named in named(path, text) {
            let shared = own.iter().zip(&named).take_while(|(a, b)| a == b).count();
            let (Some(from), Some(to)) = (own.get(shared), named.get(shared)) else {
                continue;
            };
            if is_module(named.get(..=shared).unwrap_or_default()) {
                let folder = own.get(..shared).unwrap_or_default().join("/");
                uses.entry((folder, from.clone()))
                    .or_default()
                    .insert(to.clone());
            }
        }
    }
    let mut circles = BTreeSet::new();
    for (folder, from) in uses.keys() {
        let mut reached: Vec<&String> = Vec::new();
        let mut open: Vec<&String> = vec![from];
        while let Some(at) = open.pop() {
            let next = uses
                .get(&(folder.clone(), at.clone()))
                .into_iter()
                .flatten()
                .filter(|it| !reached.contains(it));
            let next: Vec<&String> = next.collect();
            reached.extend(&next);
            open.extend(next);
        }
        if reached.contains(&from) {
            circles.insert(format!("{folder}/{from}"));
        }
    }
    assert!(uses.len() > 60, "{} modules use a neighbour", uses.len());
    assert!(circles.is_empty(), "{circles:?}");
}

/// An entry of a folder that cannot be read is told, like everything else that cannot be.
#[test]
fn no_entry_of_a_folder_is_dropped() {
    let reading: Vec<(String, String)> = sources()
        .into_iter()
        .filter(|(_, text)| text.contains("read_dir("))
        .collect();
    assert!(reading.len() >= 3, "{} files read folders", reading.len());
    for (path, text) in reading {
        for drop in [
            ".flatten()",
            ".ok()?",
            "Result::ok",
            "flat_map(std::fs::read_dir",
        ] {
            assert!(
                !code(&text).any(|line| line.contains(drop)),
                "{path} reads a folder and has {drop}"
            );
        }
    }
}

/// A name says one thing in the whole crate. The arguments of a command are those of its own module.
#[test]
fn no_two_types_share_a_name() {
    let mut places: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (path, text) in sources() {
        for line in text.lines() {
            let line = line
                .strip_prefix("pub ")
                .or_else(|| line.strip_prefix("pub(super) "))
                .unwrap_or(line);
            let line = line.strip_prefix("pub ").unwrap_or(line);
            let Some(rest) = ["struct ", "enum ", "trait ", "type "]
                .iter()
                .find_map(|it| line.strip_prefix(it))
            else {
                continue;
            };
            let name = rest
                .split(|it: char| !it.is_alphanumeric())
                .next()
                .unwrap_or_default();
            places
                .entry(name.to_owned())
                .or_default()
                .push(path.clone());
        }
    }
    assert!(places.len() > 250, "only {} types were found", places.len());
    let twice: Vec<_> = places
        .iter()
        .filter(|(name, of)| of.len() > 1 && *name != "Arguments")
        .collect();
    assert!(twice.is_empty(), "{twice:?}");
}

/// Where the code at the start of a text ends its expression: at a comma or semicolon, or at what closes around it.
fn end_of_expression(code: &str) -> usize {
    let mut depth = 0_usize;
    for (at, letter) in code.char_indices() {
        match letter {
            '(' | '[' | '{' => depth += 1,
            ')' | ']' | '}' | ',' | ';' if depth == 0 => return at,
            ')' | ']' | '}' => depth -= 1,
            _ => {}
        }
    }
    code.len()
}

/// Within `|it|` nobody can tell which `it` is meant by another one.
#[test]
fn no_it_stands_within_it() {
    let closures = ["|it|", "|&it|", "|&&it|"];
    let (mut n_closures, mut wrong) = (0, Vec::new());
    for (path, text) in sources() {
        let code = code(&text).collect::<Vec<_>>().join("\n");
        for (at, closure) in closures
            .iter()
            .flat_map(|closure| code.match_indices(closure))
        {
            let body = code.get(at + closure.len()..).unwrap_or_default();
            let body = body.get(..end_of_expression(body)).unwrap_or_default();
            n_closures += 1;
            if closures.iter().any(|it| body.contains(it)) {
                wrong.push(format!("{path}: {body}"));
            }
        }
    }
    assert!(
        n_closures > 500 && wrong.is_empty(),
        "{n_closures} closures; {}",
        wrong.join("\n\n")
    );
}

/// `lint/band-gap` is found in `band_gap.rs`, and nothing else stands beside it.
#[test]
fn the_file_of_a_lint_bears_its_code() {
    let files = sources()
        .into_iter()
        .filter_map(|(path, text)| Some((path.rsplit_once("/lint/")?.1.to_owned(), text)));
    let files: BTreeMap<String, String> = files.collect();
    let of = |lint: &Lint| {
        lint.code
            .name()
            .split_once('/')
            .map(|(_, name)| format!("{}.rs", name.replace('-', "_")))
    };
    assert_eq!(
        files.keys().cloned().collect::<BTreeSet<_>>(),
        LINTS.iter().filter_map(of).collect::<BTreeSet<_>>()
    );
    for (lint, text) in LINTS
        .iter()
        .filter_map(|lint| Some((lint, files.get(&of(lint)?)?)))
        .filter(|(it, _)| it.code.is_lint())
    {
        assert!(
            text.contains(&format!("Code::{:?}", lint.code)),
            "{}",
            lint.code.name()
        );
    }
}

/// A rule set's file and a local policy are parsed where their tree is kept, a questionnaire where its frame is taken off.
#[test]
fn texts_are_parsed_in_two_places() {
    let parse = |(path, text): (String, String)| {
        code(&text)
            .any(|line| line.contains("text::read("))
            .then_some(path)
    };
    let found: Vec<String> = sources().into_iter().filter_map(parse).collect();
    assert!(
        matches!(&found[..], [asked, kept] if kept.ends_with("files.rs") && asked.ends_with("frame.rs")),
        "{found:?}"
    );
}

/// Told as what is absent: each word may stand only in these modules.
#[test]
fn each_dependency_has_its_place() {
    let places: [(&str, &[&str]); 22] = [
        ("serde_yaml", &["document"]),
        ("jsonschema", &["document"]),
        ("granit_parser", &["document", "build"]),
        ("serde::", &["screening", "report", "register"]),
        ("pulldown_cmark", &["report"]),
        ("batsat", &["exact"]),
        ("rusqlite", &["register"]),
        ("argon2", &["register"]),
        ("getrandom", &["register", "desk"]),
        ("axum", &["desk"]),
        ("tokio", &["desk"]),
        // What the desk listens on; nothing connects to anything.
        ("TcpListener", &["desk"]),
        ("TcpStream::connect", &[]),
        ("println!", &["build"]),
        ("print!", &["build"]),
        ("io::stdout", &["cli"]),
        ("io::stderr", &["cli"]),
        ("anstream", &["cli"]),
        ("std::fs", &["rule_set", "register", "cli", "build"]),
        ("Local::now", &["cli"]),
        ("std::env::args", &["main", "build"]),
        ("env::var", &["cli", "build"]),
    ];
    let mut wrong = Vec::new();
    for (path, text) in sources() {
        for (word, modules) in places {
            if !modules.contains(&module(&path)) && code(&text).any(|line| line.contains(word)) {
                wrong.push(format!("{path} names {word}"));
            }
        }
        for word in [
            "unwrap_or(true)",
            "unwrap_or(false)",
            "process::exit",
            "HashSet<State",
            "impl Default for Fact",
        ] {
            if code(&text).any(|line| line.contains(word)) {
                wrong.push(format!("{path} has {word}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Where something that may be missing is empty instead, and why that is so there: the file, the words of the line, the reason.
const EMPTY_INSTEAD: [(&str, &str, &str); 8] = [
    (
        "lists.rs",
        "did_you_mean(",
        "where no key is near there is nothing to help with",
    ),
    (
        "compile.rs",
        "self.steps.get(from..end)",
        "the steps of a rule, by its own end",
    ),
    (
        "search.rs",
        "unused.min_by_key(",
        "no lever is wanted where nothing stands in the way",
    ),
    (
        "assignment.rs",
        "Assigned::Choice(",
        "one option of a known choice is always taken",
    ),
    (
        "local.rs",
        "needed(root, \"clinic\")",
        "told by the schema; the rest is read all the same",
    ),
    (
        "registers.rs",
        "reading.owned(node, key)",
        "told by the schema; the rest is read all the same",
    ),
    (
        "questions.rs",
        "needed(section, \"title\")",
        "told by the schema; the rest is read all the same",
    ),
    (
        "encoding.rs",
        "self.views.get(view)",
        "a view is one of those that the space was made for",
    ),
];

/// What was loaded is there, and a `Result` says why it is none: neither falls back to something empty. Positions have types
/// of their own (`table.rs`), so that nothing need be looked for in vain.
#[test]
fn nothing_falls_back_to_something_empty() {
    let mut left: Vec<(&str, &str, &str)> = EMPTY_INSTEAD.to_vec();
    let mut wrong = Vec::new();
    for (path, text) in sources() {
        for line in code(&text) {
            let looked_up = line.split(".get(").skip(1).any(|rest| {
                let by_key = rest.starts_with('"') || rest.starts_with("key)");
                let of_text = rest.split(')').next().is_some_and(|at| at.contains(".."));
                !by_key && !of_text && rest.contains(").map_or(\"\"")
            });
            if !looked_up && !line.contains("unwrap_or_default(") {
                continue;
            }
            match left
                .iter()
                .position(|(file, words, _)| path.ends_with(file) && line.contains(words))
            {
                Some(at) => drop(left.remove(at)),
                None => wrong.push(format!("{path}: {line}")),
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(
        left.is_empty(),
        "these are gone, take them out of the table: {left:?}"
    );
}

/// An answer that is not there has no value: nothing of what is known about a patient may come from a default.
#[test]
fn no_fact_has_a_default() {
    let mut n_types = 0;
    for (path, text) in sources()
        .into_iter()
        .filter(|(path, _)| ["questionnaire", "truth", "screening"].contains(&module(path)))
    {
        let lines: Vec<&str> = code(&text).collect();
        for (at, line) in lines.iter().enumerate() {
            let Some(name) = line
                .strip_prefix("pub struct ")
                .or_else(|| line.strip_prefix("pub enum "))
            else {
                continue;
            };
            n_types += 1;
            let derived = lines
                .iter()
                .take(at)
                .rev()
                .take_while(|it| it.starts_with("#["))
                .any(|it| it.contains("Default"));
            // Answers as gathered may be none at all.
            assert!(!derived || name.starts_with("Gathered "), "{path}: {name}");
        }
    }
    assert!(n_types >= 20, "only {n_types} types were found");
}

/// Every code has its page, and a name of its own.
#[test]
fn every_code_has_a_page() {
    use preblock::inner::document::diagnostic::Code;
    let names: BTreeSet<&str> = Code::ALL.iter().map(|it| it.name()).collect();
    assert_eq!(names.len(), Code::ALL.len());
    for code in Code::ALL {
        assert_eq!(Code::from_name(code.name()), Some(*code));
        for text in [code.what(), code.why(), code.mend()] {
            assert!(
                text.len() > 10 && text.ends_with('.'),
                "{}: {text}",
                code.name()
            );
        }
    }
}

#[test]
fn no_source_file_grows_out_of_hand() {
    for (path, text) in sources() {
        assert!(
            text.lines().count() <= 1_000,
            "{path} has {} lines",
            text.lines().count()
        );
        assert!(
            text.starts_with("//!"),
            "{path} does not say what it is for"
        );
    }
}

/// Names of medicines and clinical figures are data. Help texts and argument examples may show one.
#[test]
fn no_medicine_is_written_in_the_program() {
    let rules = embedded();
    let names: BTreeSet<&str> = rules
        .medicines
        .medicines
        .iter()
        .map(|it| it.name.as_str())
        .filter(|it| it.len() > 5)
        .collect();
    // A formula and a key may be named after what they count; which medicines they are for stands in the rule set.
    let named_after = [
        "as_prednisolone",
        "paracetamol_ceiling",
        "paracetamol-ceiling",
    ];
    let mut wrong = Vec::new();
    for (path, text) in sources()
        .into_iter()
        .filter(|(path, _)| !path.starts_with("cli/") && path != "cli.rs")
    {
        for line in code(&text).filter(|line| !line.contains("such as")) {
            let line = named_after
                .iter()
                .fold(line.to_owned(), |line, name| line.replace(name, ""));
            let words = line.split(|it: char| !it.is_ascii_lowercase());
            wrong.extend(
                words
                    .filter(|word| names.contains(word))
                    .map(|word| format!("{path}: {word}: {line}")),
            );
        }
    }
    let allowed = ["creatinine", "glucose", "adrenaline", "alcohol", "strong"];
    wrong.retain(|it| {
        !allowed
            .iter()
            .any(|word| it.contains(&format!(": {word}: ")))
    });
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

fn all_cases(shipped: &Shipped) -> (Vec<Case>, Vec<CaseRun>) {
    let cases = shipped.cases();
    let runs = cases
        .iter()
        .map(|case| run(&shipped.rules, &shipped.compiled, case))
        .collect();
    (cases, runs)
}

/// Every worked case comes out as expected, every rule is reached in its three states, every number from both sides.
#[rstest]
#[case::nails(nails(), 900, 150, 80)]
#[case::skin(skin(), 350, 60, 15)]
fn a_rule_set_keeps_its_cases(
    #[case] shipped: &Shipped,
    #[case] fewest: usize,
    #[case] fewest_rules: usize,
    #[case] fewest_from_outside: usize,
) {
    let rules = &shipped.rules;
    let (cases, runs) = all_cases(shipped);
    let wrong: Vec<String> = cases
        .iter()
        .zip(&runs)
        .filter(|(_, run)| !run.differences.is_empty())
        .map(|(case, run)| format!("{}: {:?}", case.title, run.differences))
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let waivers = waivers(&shipped.files, rules)
        .unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n")));
    let mut decider = last_day(&cases).and_then(|as_of| Decider::new(&[rules], &[], as_of).ok());
    let (gaps, unused) = coverage::gaps(
        &coverage::reached(rules, &runs, decider.as_mut(), |_| true),
        &waivers.gaps,
        |_| true,
    );
    assert!(gaps.is_empty() && unused.is_empty(), "{gaps:?} {unused:?}");
    assert!(
        cases.len() >= fewest && rules.rules().count() >= fewest_rules,
        "{} cases, {} rules",
        cases.len(),
        rules.rules().count()
    );
    assert!(
        cases.iter().filter(|it| it.from.is_some()).count() >= fewest_from_outside,
        "cases from outside sources have gone missing"
    );
}

/// The case runner itself notices: a wrong verdict, a rule too many, a rule too few, a rule in another state.
#[test]
fn the_case_runner_notices_what_is_wrong() {
    let rules = &nails().rules;
    let (cases, _) = all_cases(nails());
    let compiled = Compiled::new(rules);
    let fine = cases
        .into_iter()
        .find(|it| it.verdict == Outcome::Defer && it.fires.len() >= 2)
        .unwrap_or_else(|| unreachable!("there is one"));
    assert!(run(rules, &compiled, &fine).differences.is_empty());
    let mut verdict = fine.clone();
    verdict.verdict = Outcome::Go;
    assert_eq!(run(rules, &compiled, &verdict).differences.len(), 1);
    let mut fewer = fine.clone();
    fewer.fires.pop_first();
    assert_eq!(run(rules, &compiled, &fewer).differences.len(), 1);
    let mut more = fine.clone();
    more.fires.extend(
        rules
            .rules()
            .map(|it| it.id.clone())
            .find(|it| !fine.fires.contains(it) && !fine.undetermined.contains(it)),
    );
    assert_eq!(run(rules, &compiled, &more).differences.len(), 1);
    let mut other = fine.clone();
    let moved = other.fires.pop_first();
    other.undetermined.extend(moved);
    assert_eq!(run(rules, &compiled, &other).differences.len(), 1);
    let mut refused = fine;
    refused.as_of = chrono::NaiveDate::from_ymd_opt(2030, 1, 1).unwrap_or_default();
    assert!(
        !run(rules, &compiled, &refused).differences.is_empty(),
        "a refused questionnaire is a difference"
    );
}

#[test]
fn the_coverage_report_notices_what_no_case_reaches() {
    let rules = &nails().rules;
    let (cases, runs) = all_cases(nails());
    let rule = "bleeding/inr-above-ceiling";
    let without: Vec<CaseRun> = cases
        .iter()
        .zip(runs)
        .filter(|(case, _)| !case.fires.contains(rule))
        .map(|(_, run)| run)
        .collect();
    let (gaps, _) = coverage::gaps(
        &coverage::reached(rules, &without, None, |it| it.id == rule),
        &[],
        |_| true,
    );
    assert!(
        gaps.iter().any(|it| it.what == "no case in which it fires"),
        "{gaps:?}"
    );
}

#[test]
fn a_healthy_adult_is_settled_by_about_fifty_answers_and_goes() {
    let rules = &nails().rules;
    let (cases, runs) = all_cases(nails());
    // What the clinic's file answers once for everybody is not asked for each patient.
    let is_own = |at: Idx<Question>| !rules.catalogue.questions[at].standing;
    let asked = rules
        .catalogue
        .questions
        .entries()
        .filter(|(at, it)| it.ask_when.is_none() && is_own(*at))
        .count();
    assert!(
        (35..=55).contains(&asked),
        "{asked} questions are asked of every patient"
    );
    let settled = cases.iter().zip(&runs).any(|(case, run)| {
        case.person == "healthy-adult"
            && case.verdict == Outcome::Go
            && case.fires.is_empty()
            && case.undetermined.is_empty()
            && run.differences.is_empty()
            && case.answers.given.keys().filter(|at| is_own(**at)).count() <= 55
    });
    assert!(settled, "no case shows the healthy adult as he is");
}

fn words(text: &Text) -> String {
    text.pieces
        .iter()
        .map(|it| {
            if let Piece::Words(words) = it {
                words.as_str()
            } else {
                "…"
            }
        })
        .collect()
}

/// Nobody is told to stop a medicine: that is the prescriber's alone.
#[test]
fn no_rule_tells_anybody_to_stop_a_medicine() {
    let orders = [
        "stop taking",
        "stop the",
        "stops taking",
        " omit",
        "skip ",
        "withhold",
        "leave out",
        "hold the",
        "hold off",
        "come off",
        "cease",
        "do not take",
        "miss the",
        "miss a dose",
        "pause the",
        "halve",
        "discontinue",
    ];
    for rule in embedded().rules() {
        for text in rule.sentences().map(|it| it.text) {
            // A space in front, so that an order at the start counts and a word that only ends so does not.
            let said = format!(" {}", words(text).to_lowercase());
            for order in orders {
                assert!(!said.contains(order), "{}: {order}: {said}", rule.id);
            }
        }
    }
}

/// What became of each published fact: each rule that is named is there, each rule is named, each fact has one row.
#[test]
fn the_evidence_and_the_rules_name_one_another() {
    let rules = embedded();
    let text = std::fs::read_to_string(
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("rules/EVIDENCE.md"),
    )
    .unwrap_or_default();
    let is_rule = |word: &str| {
        word.split_once('/')
            .is_some_and(|(concern, _)| rules.concerns.iter().any(|it| it.id == concern))
    };
    let cells: Vec<Vec<&str>> = text
        .lines()
        .filter(|it| it.starts_with('|'))
        .map(|it| it.split('|').map(str::trim).collect())
        .collect();
    let named: Vec<&str> = cells
        .iter()
        .flatten()
        .flat_map(|it| it.split([',', ' ', ';', '`', '(', ')']))
        .filter(|it| is_rule(it))
        .collect();
    assert!(named.len() > 300, "{} rules are named", named.len());
    for id in &named {
        assert!(
            rules.rule(id).is_some(),
            "EVIDENCE.md names `{id}`, which is no rule"
        );
    }
    for rule in rules.rules() {
        assert!(
            named.contains(&rule.id.as_str()),
            "EVIDENCE.md does not name `{}`",
            rule.id
        );
    }
    // The check values repeat the id of the fact they belong to.
    let before_checks = text.split("## Check values").next().unwrap_or_default();
    let is_id = |it: &str| it.len() < 8 && it.ends_with(|last: char| last.is_ascii_digit());
    let rows = before_checks
        .lines()
        .filter_map(|it| it.strip_prefix('|')?.split('|').next().map(str::trim))
        .filter(|it| is_id(it));
    let mut ids: Vec<&str> = rows.collect();
    let n_rows = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert!(
        n_rows > 150 && ids.len() == n_rows,
        "{n_rows} rows, {} ids",
        ids.len()
    );
}

/// Only limits: a number in a condition would have to be changed in several places.
#[test]
fn every_number_a_rule_tests_is_a_limit() {
    use preblock::inner::rule_set::{Condition, Test};
    for rule in embedded().rules() {
        rule.when.visit(&mut |condition| {
            let Condition::Fact { test, .. } = condition else {
                return;
            };
            let named = match test {
                Test::Compare(_, it) => it.limit.is_some(),
                Test::Between(low, high) => low.limit.is_some() && high.limit.is_some(),
                Test::OlderThan(it) | Test::Within(it) => it.limit.is_some(),
                _ => true,
            };
            assert!(named, "{} tests a literal number", rule.id);
        });
    }
}

/// Nothing is declared for nothing.
#[rstest]
#[case::nails(nails())]
#[case::skin(skin())]
fn every_limit_source_and_question_is_used(#[case] shipped: &Shipped) {
    let (files, rules) = (&shipped.files, &shipped.rules);
    let mut text = String::new();
    let own = files.iter().filter(|(path, _)| !path.starts_with("cases/"));
    for (_, file) in own.chain(files.used()) {
        text.push_str(&String::from_utf8_lossy(file.bytes()));
    }
    for limit in &rules.limits {
        assert!(
            text.matches(&limit.id).count() >= 2,
            "limit {} is not used",
            limit.id
        );
    }
    for source in rules.publications.iter().filter(|it| !it.is_used) {
        assert!(
            text.matches(&source.id).count() >= 2,
            "source {} is not cited",
            source.id
        );
    }
    let shown_only = ["plan.tourniquet"];
    for question in rules
        .catalogue
        .questions
        .iter()
        .filter(|it| it.answer != Answer::Text && !shown_only.contains(&it.id.as_str()))
    {
        let special = matches!(question.answer, Answer::Medicines | Answer::Allergies);
        assert!(
            special || text.contains(&question.id),
            "question {} is not used",
            question.id
        );
    }
}

/// The committed schemas of questionnaires are those of the embedded rule set. PREBLOCK_BLESS=1 writes them anew.
#[test]
fn the_schemas_of_questionnaires_are_fresh() {
    let rules = rule_set(&RuleFiles::embedded().with_care(Care::Full))
        .unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n")));
    for (name, schema) in [
        ("questionnaire", schema::questionnaire(&rules)),
        ("clinic", schema::clinic(&rules)),
    ] {
        let path = top().join(format!("schemas/{name}.schema.json"));
        let fresh = format!("{schema:#}\n");
        if std::env::var_os("PREBLOCK_BLESS").is_some() {
            assert!(std::fs::write(&path, &fresh).is_ok());
        }
        let committed = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(
            committed == fresh,
            "schemas/{name}.schema.json is stale: PREBLOCK_BLESS=1 cargo test schemas writes it anew"
        );
    }
}

#[expect(clippy::expect_used, reason = "a broken schema fails the test")]
fn validator(name: &str) -> jsonschema::Validator {
    let text = std::fs::read_to_string(top().join(format!("schemas/{name}.schema.json")))
        .expect("the schema is there");
    jsonschema::draft7::options()
        .should_validate_formats(true)
        .build(&serde_json::from_str(&text).expect("JSON"))
        .expect("draft-07")
}

/// What the reader takes, an editor must not underline.
#[test]
fn the_examples_fit_the_schema_of_questionnaires() {
    let schema = validator("questionnaire");
    let mut n_files = 0;
    for (path, text) in files_below("examples/referrals", "") {
        let name = path.to_string_lossy().into_owned();
        let read = preblock::inner::document::text::read(&name, text.as_bytes(), 1 << 20);
        let value = read
            .root
            .map(|it| preblock::inner::document::shape::to_json(&it))
            .unwrap_or_default();
        let wrong: Vec<String> = schema
            .iter_errors(&value)
            .map(|it| format!("{} at {}", it, it.instance_path()))
            .collect();
        assert!(wrong.is_empty(), "{name}: {wrong:?}");
        n_files += 1;
    }
    assert_eq!(n_files, 25);
}

/// Every schema is draft-07, uses only known keywords, and closes its objects.
#[test]
fn schemas_are_well_made() {
    const KEYWORDS: &[&str] = &[
        "$schema",
        "$ref",
        "$comment",
        "title",
        "description",
        "type",
        "enum",
        "const",
        "properties",
        "patternProperties",
        "additionalProperties",
        "required",
        "items",
        "minItems",
        "maxItems",
        "uniqueItems",
        "minLength",
        "maxLength",
        "pattern",
        "minimum",
        "maximum",
        "exclusiveMinimum",
        "minProperties",
        "maxProperties",
        "definitions",
        "allOf",
        "anyOf",
        "if",
        "then",
        "else",
        "not",
        "dependencies",
        "propertyNames",
        "default",
        "examples",
        "format",
    ];
    fn walk(at: &Value, path: &str, wrong: &mut Vec<String>) {
        let Some(map) = at.as_object() else { return };
        for (key, value) in map {
            if !KEYWORDS.contains(&key.as_str()) {
                wrong.push(format!("{path}: unknown keyword {key}"));
            }
            match key.as_str() {
                "properties" | "definitions" | "patternProperties" => {
                    for (name, inner) in value.as_object().into_iter().flatten() {
                        walk(inner, &format!("{path}/{key}/{name}"), wrong);
                    }
                }
                "allOf" | "anyOf" => {
                    for (at, inner) in value.as_array().into_iter().flatten().enumerate() {
                        walk(inner, &format!("{path}/{key}/{at}"), wrong);
                    }
                }
                "items" | "if" | "then" | "else" | "not" | "additionalProperties" => {
                    walk(value, &format!("{path}/{key}"), wrong)
                }
                _ => {}
            }
        }
        if map.get("type").is_some_and(|it| *it == "object")
            && map.contains_key("properties")
            && map.get("additionalProperties") != Some(&Value::Bool(false))
        {
            wrong.push(format!("{path}: an open object"));
        }
    }
    let mut n_schemas = 0;
    for (path, text) in files_below("schemas", ".schema.json") {
        let schema: Value = serde_json::from_str(&text).unwrap_or_default();
        assert_eq!(
            schema["$schema"],
            "http://json-schema.org/draft-07/schema#",
            "{}",
            path.display()
        );
        assert!(
            jsonschema::draft7::meta::is_valid(&schema),
            "{} is no schema",
            path.display()
        );
        let mut wrong = Vec::new();
        walk(&schema, "", &mut wrong);
        assert!(wrong.is_empty(), "{}: {wrong:?}", path.display());
        n_schemas += 1;
    }
    assert_eq!(n_schemas, 23);
}

/// A rule of a local policy has the form of any rule: the two schemas describe it in the same words.
#[test]
fn a_rule_of_a_local_policy_is_described_like_any_other() {
    let definitions = |name: &str| -> Value {
        let text = std::fs::read_to_string(top().join(format!("schemas/{name}.schema.json")))
            .unwrap_or_default();
        serde_json::from_str::<Value>(&text).unwrap_or_default()["definitions"].clone()
    };
    let (rules, local) = (definitions("concern"), definitions("local"));
    let names: Vec<&String> = rules
        .as_object()
        .into_iter()
        .flat_map(|it| it.keys())
        .collect();
    assert!(names.len() > 15, "{names:?}");
    for name in names {
        assert_eq!(rules[name], local[name], "{name}");
    }
}

/// The top level is what it was agreed to be.
#[test]
fn nothing_else_stands_at_the_top() {
    let agreed = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "rules",
        "src",
        "tests",
        "schemas",
        "examples",
        "target",
    ];
    for entry in std::fs::read_dir(top()).into_iter().flatten().flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        assert!(
            name.starts_with('.') || agreed.contains(&name.as_str()),
            "{name} stands at the top"
        );
    }
    assert!(Path::new(&top().join("DEVELOPERS.md")).is_file());
}

/// The words of a line, names in code taken apart: `per_site` and `PerSite` are two each.
fn words_of(line: &str) -> Vec<String> {
    let mut apart = String::new();
    let mut small = false;
    for letter in line.chars() {
        if letter.is_uppercase() && small {
            apart.push(' ');
        }
        small = letter.is_lowercase();
        apart.extend(letter.to_lowercase());
    }
    apart
        .split(|it: char| !it.is_alphabetic())
        .map(str::to_owned)
        .collect()
}

/// What is operated on, and how, stands in the rule set: the program serves any minor procedure.
#[test]
fn the_program_knows_no_procedure() {
    const WORDS: [&str; 12] = [
        "toe",
        "toes",
        "nail",
        "nails",
        "phenol",
        "foot",
        "feet",
        "podiatry",
        "hallux",
        "ablation",
        "tourniquet",
        "digital",
    ];
    const PHRASES: [&str; 4] = ["per_digit", "digit_load", "digit-load", "one digit"];
    // Titles of sources, a unit of length, and old names that are told the new one.
    const EXCEPT: [(&str, &str); 9] = [
        ("pressure.rs", "Toe: Tehan and others"),
        ("pressure.rs", "Toe-Brachial Index"),
        ("anaesthetic.rs", "podiatry"),
        ("units.rs", "\"foot\", \"feet\""),
        ("renamed.rs", "\"volume-per-toe\""),
        ("renamed.rs", "(\"digit-load\","),
        ("renamed.rs", "(\"toes\","),
        ("renamed.rs", "(\"per_digit\","),
        ("dose.rs", "toes: Option<String>"),
    ];
    let mut used = BTreeSet::new();
    let mut wrong = Vec::new();
    let schemas = files_below("schemas", ".json");
    // These two are generated from the questions of the rule set.
    let generated = ["questionnaire.schema.json", "clinic.schema.json"];
    let schemas = schemas
        .into_iter()
        .filter(|(path, _)| !generated.iter().any(|it| path.ends_with(it)));
    for (path, text) in files_below("src", ".rs").into_iter().chain(schemas) {
        let path = path
            .strip_prefix(top())
            .unwrap_or(&path)
            .to_string_lossy()
            .replace('\\', "/");
        for line in text.lines() {
            let mut left = line.to_owned();
            for (at, (_, phrase)) in EXCEPT
                .iter()
                .enumerate()
                .filter(|(_, (file, _))| path.ends_with(file))
            {
                if left.contains(phrase) {
                    used.insert(at);
                    left = left.replace(phrase, "");
                }
            }
            if words_of(&left)
                .iter()
                .any(|word| WORDS.contains(&word.as_str()))
                || PHRASES.iter().any(|it| left.contains(it))
            {
                wrong.push(format!("{path}: {line}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert_eq!(
        used.len(),
        EXCEPT.len(),
        "an exception that excuses nothing: only {used:?} are needed"
    );
}

/// Who comes new reads each within some minutes.
#[test]
fn the_documents_are_short() {
    for (name, most) in [("README.md", 1_300), ("DEVELOPERS.md", 1_500)] {
        let n_words = std::fs::read_to_string(top().join(name))
            .unwrap_or_default()
            .split_whitespace()
            .count();
        assert!(
            (500..=most).contains(&n_words),
            "{name} has {n_words} words"
        );
    }
}
