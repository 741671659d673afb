//! Results in open standards: FHIR R4 and CDS Hooks 2.0.
//!
//! What goes out is read by libraries that are not ours (tests/outside/results.py), and each of its checkers must notice what damages
//! it (tests/outside/damages.py).
#![expect(clippy::expect_used, reason = "a slip in a test ought to stop it")]

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use preblock::Screener;
use preblock::inner::outcome::{Outcome, Urgency};
use preblock::inner::report::outward::Outward;
use preblock::inner::report::{cards, fhir};
use preblock::inner::screening::result::{NoteShown, Refusal, Screening};
use rstest::rstest;
use serde_json::{Value, json};

use crate::outside;
use crate::papers::copy_folder;
use crate::report::{hostile, stranger};
use crate::shipped::skin;
use crate::support::{embedded_once, run, said, today};

/// Every file of a folder, by name.
fn files(folder: &str) -> Vec<PathBuf> {
    let found = std::fs::read_dir(folder).expect("a folder");
    let mut files: Vec<PathBuf> = found.filter_map(|it| Some(it.ok()?.path())).collect();
    files.sort();
    files
}

fn outward() -> Outward<'static> {
    Outward::of(&embedded_once().0).expect("the rule set has an address")
}

fn screener() -> Screener<'static> {
    let clinic = std::fs::read("examples/clinic.yaml").expect("the clinic's file");
    Screener::new(&embedded_once().0, today())
        .clinic("clinic.yaml", &clinic)
        .expect("a clinic without a slip")
}

fn read(path: &Path) -> Result<Screening, Refusal> {
    let screener = screener();
    let bytes = std::fs::read(path).expect("a file");
    let referral = screener.read(&path.display().to_string(), &bytes)?;
    Ok(screener.screening(&referral))
}

fn example(reference: &str) -> Screening {
    let path = format!("examples/referrals/{reference}.yaml");
    read(Path::new(&path)).expect("an example is screened")
}

/// Everything that Markdown, HTML and readers of either take for their own.
const MARKUP: &str = "</div><script>alert(1)</script> <img src=x onerror=alert(1)> [go](javascript:alert(1)) ![go](https://elsewhere.example/x.png) \
    `code` **GO** ~~not~~ | a | b |\n# GO\n\n- go\n1. go\n> go\n```\ngo\n```\n<!-- -->&lt;b&gt;&amp; https://elsewhere.example <https://elsewhere.example> \
    \\ $x$ [^1] :smile: @somebody";

/// A screening with a text wherever a file may bring one.
fn saying(text: &str) -> Screening {
    let mut it = example("SM-103");
    for finding in &mut it.findings {
        finding.title = text.to_owned();
        finding.reason = text.to_owned();
        finding.action = text.to_owned();
        finding.cleared_by = Some(text.to_owned());
        finding.refer_to = Some(text.to_owned());
        for because in &mut finding.because {
            because.ask = text.to_owned();
            because.value = text.to_owned();
            because.path = Some(text.to_owned());
        }
    }
    it.notices.push(text.to_owned());
    it.procedure_on = Some(text.to_owned());
    it.rule_set.concerns.push(text.to_owned());
    it.notes.push(NoteShown {
        section: text.to_owned(),
        text: text.to_owned(),
        path: text.to_owned(),
        line: 1,
    });
    it.unrecognised.push(stranger(text, Some(text), text, 1));
    it
}

#[test]
fn readers_that_are_not_ours_take_all_that_goes_out() {
    let outward = outward();
    let (mut resources, mut answers) = (Vec::new(), Vec::new());
    let mut send = |it: Result<&Screening, &Refusal>| match it {
        Ok(screening) => {
            resources.push(fhir::bundle(&outward, screening));
            answers.push(cards::object(&cards::cards(&outward, screening)));
        }
        Err(refusal) => {
            resources.push(fhir::refused(&outward, refusal));
            answers.push(cards::object(&[cards::refused(&outward, refusal)]));
        }
    };
    let paths = [files("examples/referrals"), files("tests/rejects/answers")].concat();
    for path in &paths {
        send(read(path).as_ref());
    }
    let long = "a".repeat(10_000);
    let strange = [
        hostile(),
        saying(MARKUP),
        saying(&long),
        saying(&"nine letters ".repeat(800)),
        saying("\u{a0}\u{2009}x\u{feff}"),
        saying(&"\u{1f9b6}".repeat(200)),
    ];
    strange.iter().for_each(|it| send(Ok(it)));
    for it in &strange {
        let other = cards::for_another_day(&outward, it, today());
        answers.push(cards::object(&[other]));
    }
    for code in [
        "login",
        "forbidden",
        "not-found",
        "required",
        "too-long",
        "business-rule",
        "exception",
        "not-supported",
        "invalid",
    ] {
        resources.push(fhir::came_to_nothing(code, MARKUP));
    }
    // Another rule set, whose codes stand under another address.
    let skin = Outward::of(&skin().rules).expect("the rule set has an address");
    let screener = self::skin().screener_of_the_clinic();
    for path in self::skin().paths() {
        let bytes = std::fs::read(&path).expect("a referral");
        let name = path.display().to_string();
        let screening = screener.screen(&name, &bytes).expect("it is screened");
        resources.push(fhir::bundle(&skin, &screening));
        answers.push(cards::object(&cards::cards(&skin, &screening)));
    }
    let n_resources = resources.len();
    let given = json!({ "canonical": [outward.canonical, skin.canonical], "resources": resources, "cards": answers });
    let said = outside::run("results.py", &[], given.to_string().as_bytes());
    let said: Value = serde_json::from_slice(&said).expect("the checkers print JSON");
    assert_eq!(said["resources"], json!(n_resources));
    assert!(
        n_resources > 200 && said["issues"].as_u64() > Some(300),
        "{said:#}"
    );
    assert!(said["cards"].as_u64() > Some(230), "{said:#}");
    assert_eq!(said["unnoticed"], json!([]), "{said:#}");
    assert_eq!(said["idle"], json!([]), "{said:#}");
}

/// The resources of a Bundle of this kind.
fn of<'a>(bundle: &'a Value, kind: &str) -> Vec<&'a Value> {
    let entries = bundle["entry"].as_array().expect("entries");
    let all = entries.iter().map(|it| &it["resource"]);
    all.filter(|it| it["resourceType"] == kind).collect()
}

#[rstest]
fn a_bundle_says_what_the_screening_holds(#[files("examples/referrals/*.yaml")] path: PathBuf) {
    let screening = read(&path).expect("an example is screened");
    let bundle = fhir::bundle(&outward(), &screening);
    let [guidance] = of(&bundle, "GuidanceResponse")[..] else {
        unreachable!("{bundle:#}")
    };
    let verdict = screening.verdict();
    let codes: Vec<&str> = guidance["reasonCode"]
        .as_array()
        .expect("reasons")
        .iter()
        .filter_map(|it| it["coding"][0]["code"].as_str())
        .collect();
    let expected: Vec<&str> = std::iter::once(verdict.outcome.word())
        .chain(verdict.urgency.map(Urgency::word))
        .chain(screening.span.could_be().map(|it| it.outcome.word()))
        .collect();
    assert_eq!(codes, expected);
    assert_eq!(guidance["occurrenceDateTime"], "2026-11-25");
    let [library] = of(&bundle, "Library")[..] else {
        unreachable!("{bundle:#}")
    };
    assert_eq!(library["status"], "draft");
    let digest = format!("sha256:{}", screening.rule_set.digest);
    assert_eq!(library["identifier"][0]["value"], json!(digest));
    let page = guidance["note"][0]["text"].as_str().expect("a note");
    assert!(
        page.contains("This rule set is a draft") && page.contains("nothing else was"),
        "{page}"
    );
    let required: BTreeSet<&str> = guidance["dataRequirement"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|it| it["codeFilter"][0]["code"][0]["code"].as_str())
        .collect();
    let asks = screening.to_ask.iter().filter(|it| !it.for_a_name);
    let open: BTreeSet<&str> = asks
        .map(|it| it.fact.as_str())
        .chain(screening.unrecognised.iter().map(|it| it.fact.as_str()))
        .collect();
    assert_eq!(required, open);
    let could_change = screening.span.best_case != screening.span.worst_case;
    let status = match (could_change, open.is_empty()) {
        (true, _) => "data-required",
        (false, false) => "data-requested",
        (false, true) => "success",
    };
    assert_eq!(guidance["status"], status);
    assert!(
        !could_change || !open.is_empty(),
        "what is required is told"
    );
    let issues = of(&bundle, "DetectedIssue");
    assert_eq!(issues.len(), screening.findings.len());
    for (issue, finding) in issues.iter().zip(&screening.findings) {
        assert_eq!(issue["code"]["coding"][0]["code"], json!(finding.rule));
        let severity = match (finding.outcome, finding.urgency) {
            (Outcome::Go, _) => "low",
            (_, Some(Urgency::Urgent | Urgency::SameDay)) => "high",
            _ => "moderate",
        };
        assert_eq!(issue["severity"], severity, "{}", finding.rule);
        let action = &issue["mitigation"][0]["action"];
        assert_eq!(action.is_null(), finding.cleared_by.is_none());
        let text = action["text"].as_str();
        assert!(
            text.is_none_or(|it| it.starts_with("Not done yet")),
            "{action}"
        );
        assert_eq!(
            issue["evidence"].as_array().map(Vec::len),
            Some(finding.because.len() + 1)
        );
    }
}

#[rstest]
fn the_first_card_has_the_verdict_and_each_other_a_finding(
    #[files("examples/referrals/*.yaml")] path: PathBuf,
) {
    let screening = read(&path).expect("an example is screened");
    let cards = cards::cards(&outward(), &screening);
    let against: Vec<&str> = screening
        .findings
        .iter()
        .filter(|it| it.outcome != Outcome::Go)
        .map(|it| it.rule.as_str())
        .collect();
    let (first, rest) = cards.split_first().expect("a card");
    let rules: Vec<&str> = rest.iter().filter_map(|it| it.rule.as_deref()).collect();
    assert_eq!((first.rule.as_deref(), rules), (None, against));
    let verdict = screening.verdict();
    assert_eq!(
        first.shown["source"]["topic"]["code"],
        verdict.outcome.word()
    );
    assert!(
        first.summary.starts_with("DRAFT RULES. SM-"),
        "{}",
        first.summary
    );
    let is_go = verdict.outcome == Outcome::Go;
    assert_eq!(first.summary.contains("looked at, nothing else"), is_go);
    assert_eq!(first.shown["indicator"] == "info", is_go);
    let is_pressing = matches!(verdict.urgency, Some(Urgency::Urgent | Urgency::SameDay));
    assert_eq!(first.shown["indicator"] == "critical", is_pressing);
    for card in &cards {
        assert!(card.shown.get("suggestions").is_none());
        let detail = card.shown["detail"].as_str().expect("a detail");
        assert!(detail.contains("never makes it"), "{detail}");
        assert!(
            card.rule.is_none() || detail.contains("whoever puts this card aside has not done so")
        );
    }
}

/// A rule that nobody may set aside offers no reasons for it, on its own card nor on that of the verdict.
#[test]
fn what_nobody_may_set_aside_offers_no_reasons() {
    let outward = outward();
    let none = cards::cards(&outward, &example("SM-116"));
    assert!(
        none.iter()
            .all(|it| it.shown.get("overrideReasons").is_none())
    );
    let some = cards::cards(&outward, &example("SM-122"));
    for card in &some {
        let reasons = card.shown["overrideReasons"].as_array().expect("reasons");
        assert_eq!(reasons.len(), outward.rule_set.reasons.len());
    }
    let goes = cards::cards(&outward, &example("SM-101"));
    assert!(
        goes.iter()
            .all(|it| it.shown.get("overrideReasons").is_none())
    );
}

/// The same screening is sent under the same ids, whatever its file is called; another day, other answers or another rule set have
/// other ids.
#[test]
fn ids_are_those_of_the_screening() {
    let outward = outward();
    let ids = |it: &Screening| -> Vec<String> {
        let cards = cards::cards(&outward, it);
        cards.into_iter().map(|card| card.uuid).collect()
    };
    let it = example("SM-103");
    let all = ids(&it);
    assert_eq!(all.iter().collect::<BTreeSet<_>>().len(), all.len());
    let mut other = it.clone();
    other.source.path = "elsewhere.yaml".into();
    assert_eq!(ids(&other), all);
    let changes: [fn(&mut Screening); 4] = [
        |it| it.as_of = it.as_of.succ_opt().unwrap_or_default(),
        |it| it.source.digest = "0".repeat(64),
        |it| it.rule_set.digest = "0".repeat(64),
        |it| it.clinic = None,
    ];
    for change in changes {
        let mut other = it.clone();
        change(&mut other);
        assert!(ids(&other).iter().all(|it| !all.contains(it)));
    }
}

#[test]
fn a_summary_too_long_is_cut_at_a_word_and_says_so() {
    let long = "twelve letters ".repeat(30);
    for card in cards::cards(&outward(), &saying(&long)).iter().skip(1) {
        assert!(
            card.summary.ends_with("letters ... (more below)")
                || card.summary.ends_with("twelve ... (more below)"),
            "{}",
            card.summary
        );
        assert!((110..140).contains(&card.summary.len()), "{}", card.summary);
        let detail = card.shown["detail"].as_str().expect("a detail");
        assert!(detail.contains(long.trim()));
    }
}

#[test]
fn several_files_are_one_on_each_line_and_none_is_missing() {
    for format in ["fhir", "cards"] {
        let output = run(&[
            "screen",
            "examples/referrals",
            "tests/rejects/answers/a-name.yaml",
            "--as-of",
            "2026-11-25",
            "--format",
            format,
        ]);
        assert_eq!(output.status.code(), Some(2), "a refused file is one");
        let text = said(&output.stdout);
        let lines: Vec<Value> = text
            .lines()
            .map(|it| serde_json::from_str(it).expect("an object a line"))
            .collect();
        assert_eq!(lines.len(), files("examples/referrals").len() + 1);
        let refused = lines.iter().filter(|it| {
            it["resourceType"] == "OperationOutcome"
                || it["cards"][0]["summary"]
                    .as_str()
                    .is_some_and(|it| it.contains("NOT SCREENED"))
        });
        assert_eq!(refused.count(), 1);
    }
    let one = run(&[
        "screen",
        "examples/referrals/SM-101.yaml",
        "--as-of",
        "2026-11-25",
        "--format",
        "fhir",
    ]);
    assert!(said(&one.stdout).starts_with("{\n  \"resourceType\": \"Bundle\""));
}

#[test]
fn a_rule_set_without_an_address_is_told_before_anybody_is_screened() {
    let folder = tempfile::tempdir().expect("a folder");
    let rules = folder.path().join("rules");
    copy_folder(Path::new("rules"), &rules);
    let head = rules.join("ruleset.yaml");
    let text = std::fs::read_to_string(&head).expect("the head");
    let text: Vec<&str> = text
        .lines()
        .filter(|it| !it.starts_with("canonical:"))
        .collect();
    std::fs::write(&head, text.join("\n")).expect("written");
    let rules = rules.display().to_string();
    for format in ["fhir", "cards"] {
        let output = run(&[
            "screen",
            "examples/referrals/SM-101.yaml",
            "--rules",
            &rules,
            "--format",
            format,
        ]);
        assert_eq!(output.status.code(), Some(2));
        assert!(output.stdout.is_empty());
        assert!(said(&output.stderr).contains("has no canonical address"));
    }
    let register = folder.path().join("desk.sqlite3");
    let path = register.display().to_string();
    let output = run(&["desk", "--register", &path, "--rules", &rules, "--cards"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output.stderr).contains("has no canonical address"));
    assert!(!register.exists(), "nothing was made");
}

/// What comes of the responses of the examples, in each format. PREBLOCK_BLESS=1 cargo test readme writes it anew.
#[test]
fn interchange_results_are_what_the_readme_says() {
    let mut stale = Vec::new();
    for response in files("examples/interchange/responses") {
        let file = response.display().to_string();
        let name = response.file_stem().expect("a file").display().to_string();
        for (kind, format) in [("bundle", "fhir"), ("cards", "cards")] {
            let path = PathBuf::from(format!("examples/interchange/results/{name}.{kind}.json"));
            let output = run(&[
                "screen",
                &file,
                "--clinic",
                "examples/clinic.yaml",
                "--as-of",
                "2026-11-25",
                "--format",
                format,
            ]);
            let fresh = said(&output.stdout);
            assert!(!fresh.is_empty(), "{}", said(&output.stderr));
            if std::fs::read_to_string(&path).ok().as_ref() != Some(&fresh) {
                if std::env::var_os("PREBLOCK_BLESS").is_some() {
                    std::fs::write(&path, fresh).expect("written");
                }
                stale.push(path);
            }
        }
    }
    assert!(
        stale.is_empty(),
        "old: PREBLOCK_BLESS=1 cargo test readme writes them anew: {stale:?}"
    );
}
