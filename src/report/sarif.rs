//! What `rules check` finds as SARIF 2.1.0 (OASIS, 2020), for editors and code review: one run, one result for each remark.
//!
//! Columns count characters, as everywhere here; SARIF counts UTF-16 units unless a run says otherwise, so it does. What an
//! allowance lets stand is a suppressed result with the reason as its justification.

use serde_json::{Value, json};

use crate::document::diagnostic::{Code, Diagnostic, Label, Severity};
use crate::document::source::Source;
use crate::report::json::escaped;
use crate::rule_set::files::sha256;
use crate::workbench::lint::Judged;

/// Where the schema of the form stands.
const SCHEMA: &str =
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json";
/// Characters of a fingerprint.
const FINGERPRINT: usize = 32;

/// The log of a rule set that was refused.
pub fn refused(found: &[Diagnostic]) -> String {
    log(found.iter().map(|it| result(it, "", None)).collect())
}

/// The log of a rule set that was checked.
pub fn checked(found: &[Judged<'_>]) -> String {
    let results = found.iter().map(|judged| {
        result(
            &judged.remark.diagnostic,
            &judged.remark.about,
            judged.allowance.map(|it| it.reason.as_str()),
        )
    });
    log(results.collect())
}

fn log(results: Vec<Value>) -> String {
    let rules: Vec<Value> = Code::ALL.iter().map(|it| rule(*it)).collect();
    let driver =
        json!({ "name": "preblock", "semanticVersion": env!("CARGO_PKG_VERSION"), "rules": rules });
    let run = json!({ "tool": { "driver": driver }, "columnKind": "unicodeCodePoints", "results": results });
    let log = json!({ "$schema": SCHEMA, "version": "2.1.0", "runs": [run] });
    escaped(&format!("{log:#}")) + "\n"
}

fn rule(code: Code) -> Value {
    json!({
        "id": code.name(),
        "shortDescription": { "text": code.what() },
        "fullDescription": { "text": code.why() },
        "help": { "text": code.mend() },
        "defaultConfiguration": { "level": level(code) },
    })
}

fn level(code: Code) -> &'static str {
    match code.severity() {
        Severity::Problem => "error",
        Severity::Notice => "warning",
    }
}

fn result(it: &Diagnostic, about: &str, allowed: Option<&str>) -> Value {
    let source = it.source.as_deref();
    let file = source.map_or("", Source::name);
    let print = sha256(
        [it.code.name(), file, about, &it.title]
            .join("\0")
            .as_bytes(),
    );
    let place = |label: &Label| Some(location(source?, label));
    let (first, others) = it
        .labels
        .split_first()
        .map_or((None, [].as_slice()), |(first, others)| {
            (Some(first), others)
        });
    let mut result = json!({
        "ruleId": it.code.name(),
        "ruleIndex": Code::ALL.iter().position(|code| *code == it.code),
        "level": level(it.code),
        "message": { "text": format!("{}. {}", it.title, it.help) },
        "locations": first.and_then(place).into_iter().collect::<Vec<_>>(),
        "relatedLocations": others.iter().filter_map(place).collect::<Vec<_>>(),
        "partialFingerprints": { "remark/v1": print.get(..FINGERPRINT) },
    });
    if let (Some(reason), Some(result)) = (allowed, result.as_object_mut()) {
        result.insert(
            "suppressions".into(),
            json!([{ "kind": "external", "status": "accepted", "justification": reason }]),
        );
    }
    result
}

fn location(source: &Source, label: &Label) -> Value {
    let (start, end) = (
        source.position(label.span.start),
        source.position(label.span.end),
    );
    json!({
        "physicalLocation": {
            "artifactLocation": { "uri": uri(source.name()) },
            "region": { "startLine": start.line, "startColumn": start.column, "endLine": end.line, "endColumn": end.column },
        },
        "message": { "text": label.text },
    })
}

/// A path as a URI: relative as it was given, or a file URI.
fn uri(path: &str) -> String {
    let path = path.replace('\\', "/");
    let mut text = if path.starts_with('/') {
        "file://".to_owned()
    } else {
        String::new()
    };
    for byte in path.bytes() {
        if byte.is_ascii_alphanumeric() || b"/-._~".contains(&byte) {
            text.push(char::from(byte));
        } else {
            text.push_str(&format!("%{byte:02X}"));
        }
    }
    text
}
