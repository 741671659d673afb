//! `rules check --format sarif`, held to the schema of SARIF 2.1.0, and to what the schema cannot say.

use std::path::Path;

use preblock::inner::document::diagnostic::Code;
use serde_json::Value;

fn top() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The rule set's folder, copied below `folder` with one text of one file replaced.
fn changed(folder: &Path, file: &str, find: &str, replace: &str) {
    for inner in ["", "concerns", "cases"] {
        let (from, to) = (
            top().join("rules").join(inner),
            folder.join("my rules").join(inner),
        );
        assert!(std::fs::create_dir_all(&to).is_ok());
        for entry in std::fs::read_dir(from)
            .into_iter()
            .flatten()
            .flatten()
            .filter(|it| it.path().is_file())
        {
            assert!(std::fs::copy(entry.path(), to.join(entry.file_name())).is_ok());
        }
    }
    let path = folder.join("my rules").join(file);
    let text = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(text.contains(find), "{file} does not have {find}");
    assert!(std::fs::write(path, text.replacen(find, replace, 1)).is_ok());
}

/// The log of a folder, and the exit status.
#[expect(
    clippy::expect_used,
    reason = "a program that cannot be started, or that writes no JSON, fails the test"
)]
fn log(within: &Path, rules: &str) -> (Value, Option<i32>) {
    let output = crate::support::program()
        .args([
            "rules",
            "check",
            "--format",
            "sarif",
            "--as-of",
            "2026-11-25",
            "--rules",
            rules,
        ])
        .current_dir(within)
        .output()
        .expect("the program starts");
    (
        serde_json::from_slice(&output.stdout).expect("JSON"),
        output.status.code(),
    )
}

#[expect(clippy::expect_used, reason = "a broken schema fails the test")]
fn validator() -> jsonschema::Validator {
    let text = std::fs::read_to_string(top().join("tests/fixtures/sarif/sarif-2.1.0-rtm.5.json"))
        .expect("the schema is there");
    // The pattern of `language`, which is not written here, closes a bracket that it never opened.
    let text = text.replace("[a-zA-Z]{2}]?$", "[a-zA-Z]{2}\\\\]?$");
    jsonschema::draft4::new(&serde_json::from_str(&text).expect("JSON")).expect("draft-04")
}

/// Everything that is wrong with a log.
fn wrong(log: &Value, within: &Path) -> Vec<String> {
    let mut wrong: Vec<String> = validator()
        .iter_errors(log)
        .map(|it| format!("{it} at {}", it.instance_path()))
        .collect();
    let run = &log["runs"][0];
    let rules = run["tool"]["driver"]["rules"]
        .as_array()
        .cloned()
        .unwrap_or_default();
    if run["columnKind"] != "unicodeCodePoints" {
        wrong.push("columns count characters".into());
    }
    for result in run["results"].as_array().into_iter().flatten() {
        let rule = result["ruleIndex"]
            .as_u64()
            .and_then(|at| rules.get(usize::try_from(at).ok()?));
        if rule.is_none_or(|it| {
            it["id"] != result["ruleId"] || it["defaultConfiguration"]["level"] != result["level"]
        }) {
            wrong.push(format!("another rule at the index: {result}"));
        }
        if !["error", "warning"].contains(&result["level"].as_str().unwrap_or_default()) {
            wrong.push(format!("another level: {result}"));
        }
        let places = result["locations"]
            .as_array()
            .into_iter()
            .chain(result["relatedLocations"].as_array())
            .flatten();
        for place in places {
            let place = &place["physicalLocation"];
            let uri = place["artifactLocation"]["uri"]
                .as_str()
                .unwrap_or_default();
            let path = uri
                .strip_prefix("file://")
                .unwrap_or(uri)
                .replace("%20", " ");
            let text = std::fs::read_to_string(within.join(path)).unwrap_or_default();
            let number = |key: &str| {
                place["region"][key]
                    .as_u64()
                    .and_then(|it| usize::try_from(it).ok())
                    .unwrap_or(0)
            };
            let line = number("startLine")
                .checked_sub(1)
                .and_then(|it| text.lines().nth(it))
                .map(|it| it.chars().count());
            let (start, end) = (number("startColumn"), number("endColumn"));
            if uri.contains(' ') || line.is_none_or(|it| start < 1 || end <= start || end > it + 1)
            {
                wrong.push(format!("nowhere: {place}"));
            }
        }
    }
    wrong
}

fn results<'a>(log: &'a Value, code: &str) -> Vec<&'a Value> {
    log["runs"][0]["results"]
        .as_array()
        .into_iter()
        .flatten()
        .filter(|it| it["ruleId"] == code)
        .collect()
}

#[test]
fn the_default_rule_set() {
    let (log, status) = log(top(), "rules");
    assert_eq!(wrong(&log, top()), Vec::<String>::new());
    assert_eq!(status, Some(0));
    let rules = log["runs"][0]["tool"]["driver"]["rules"]
        .as_array()
        .map(Vec::len);
    assert_eq!(rules, Some(Code::ALL.len()));
    let open = log["runs"][0]["results"]
        .as_array()
        .into_iter()
        .flatten()
        .filter(|it| it.get("suppressions").is_none());
    assert_eq!(
        open.count(),
        0,
        "whatever is said is allowed, with a reason"
    );
    let allowed = results(&log, "lint/derived-unused");
    assert_eq!(allowed.len(), 1);
    assert_eq!(allowed[0]["suppressions"][0]["kind"], "external");
    assert!(
        allowed[0]["suppressions"][0]["justification"]
            .as_str()
            .is_some_and(|it| it.len() > 10)
    );
}

/// In a folder whose name has a space, with letters beyond ASCII before the place.
#[test]
fn a_problem_is_placed_in_characters() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    let (old, new) = (
        "action: Arrange an INR shortly before surgery.",
        "action: Für Ängstliche - stop the tablets.",
    );
    changed(folder.path(), "concerns/bleeding.yaml", old, new);
    let (log, status) = log(folder.path(), "my rules");
    assert_eq!(wrong(&log, folder.path()), Vec::<String>::new());
    assert_eq!(status, Some(1));
    let found = results(&log, "lint/stops-medicine");
    assert_eq!(found.len(), 1);
    let place = &found[0]["locations"][0]["physicalLocation"];
    assert_eq!(
        place["artifactLocation"]["uri"],
        "my%20rules/concerns/bleeding.yaml"
    );
    let column = "    action: Für Ängstliche - stop".chars().count() - 3;
    assert_eq!(
        place["region"]["startColumn"].as_u64(),
        u64::try_from(column).ok()
    );
}

#[test]
fn a_rule_set_that_is_refused() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    changed(
        folder.path(),
        "concerns/bleeding.yaml",
        "{ limit: inr-ceiling }",
        "{ limit: inr-celling }",
    );
    let absolute = folder.path().join("my rules").display().to_string();
    for rules in ["my rules", absolute.as_str()] {
        let (log, status) = log(folder.path(), rules);
        assert_eq!(wrong(&log, folder.path()), Vec::<String>::new());
        assert_eq!(
            (status, results(&log, "rules/unknown-limit").len()),
            (Some(1), 1)
        );
    }
    let (log, status) = log(folder.path(), "nowhere");
    assert_eq!(wrong(&log, folder.path()), Vec::<String>::new());
    assert_eq!(
        (status, results(&log, "text/not-found").len()),
        (Some(1), 1),
        "a folder that is not there has no place"
    );
}

/// The same remark has the same fingerprint wherever it has moved to, and no other remark has it.
#[test]
fn a_fingerprint_stays() {
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    changed(
        folder.path(),
        "sources.yaml",
        "sources:\n",
        "# a line more\nsources:\n",
    );
    let prints = |log: &Value| -> Vec<String> {
        let results = log["runs"][0]["results"].as_array().into_iter().flatten();
        // That the content is not that of the edition within the program is so of the moved one alone.
        let results = results.filter(|it| it["ruleId"] != "lint/same-edition");
        results
            .map(|it| it["partialFingerprints"]["remark/v1"].to_string())
            .collect()
    };
    let (moved, _) = log(folder.path(), "my rules");
    changed(folder.path(), "sources.yaml", "sources:\n", "sources:\n");
    let (before, _) = log(folder.path(), "my rules");
    let (moved, before) = (prints(&moved), prints(&before));
    assert_eq!(moved, before);
    let distinct: std::collections::BTreeSet<&String> = before.iter().collect();
    assert!(before.len() > 3 && distinct.len() == before.len());
}

/// The check of the log itself notices what is wrong.
#[test]
fn a_spoilt_log_is_noticed() {
    let (whole, _) = log(top(), "rules");
    let spoil = |pointer: &str, value: Value| {
        let mut log = whole.clone();
        if let Some(it) = log.pointer_mut(pointer) {
            *it = value;
        }
        assert_ne!(log, whole, "{pointer} leads nowhere");
        assert!(!wrong(&log, top()).is_empty(), "{pointer}");
    };
    spoil("/version", "2.0.0".into());
    spoil("/runs/0/columnKind", "utf16CodeUnits".into());
    spoil("/runs/0/results/0/level", "fatal".into());
    spoil("/runs/0/results/0/ruleIndex", 9999.into());
    spoil("/runs/0/results/0/message", Value::Null);
    spoil(
        "/runs/0/results/0/locations/0/physicalLocation/artifactLocation/uri",
        "rules/none.yaml".into(),
    );
    spoil(
        "/runs/0/results/0/locations/0/physicalLocation/region/startLine",
        99_999.into(),
    );
    spoil(
        "/runs/0/results/0/locations/0/physicalLocation/region/endColumn",
        9999.into(),
    );
}
