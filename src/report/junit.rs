//! The worked cases as JUnit XML, for whatever collects test results: a suite for each file, a test case for each case.
//!
//! INVARIANT: no time and no host stand in it, so the same cases give the same bytes; whatever comes from a file is
//! escaped, and what XML cannot hold is replaced by a mark.

use crate::report::page::{harmless, one_line};
use crate::report::words::grouped;
use crate::rule_set::RuleSet;
use crate::workbench::cases::read::Case;
use crate::workbench::cases::{CaseRun, Difference};

/// The cases and what each came to, in the order of the cases.
pub fn suites(rule_set: &RuleSet, cases: &[Case], runs: &[CaseRun]) -> String {
    let both: Vec<(&Case, &CaseRun)> = cases.iter().zip(runs).collect();
    let counts = |of: &[&(&Case, &CaseRun)]| {
        let failures = of
            .iter()
            .filter(|(_, run)| !run.differences.is_empty())
            .count();
        format!(
            "tests=\"{}\" failures=\"{failures}\" errors=\"0\"",
            of.len()
        )
    };
    let all: Vec<&(&Case, &CaseRun)> = both.iter().collect();
    let name = format!("{} {}", rule_set.id, rule_set.edition);
    let mut text = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuites name=\"{}\" {}>\n",
        attribute(&name),
        counts(&all)
    );
    for (file, of_file) in grouped(both.iter(), |(case, _)| case.source.name()) {
        text.push_str(&format!(
            "  <testsuite name=\"{}\" {}>\n",
            attribute(file),
            counts(&of_file)
        ));
        for (case, run) in of_file {
            text.push_str(&test_case(case, run));
        }
        text.push_str("  </testsuite>\n");
    }
    text + "</testsuites>\n"
}

fn test_case(case: &Case, run: &CaseRun) -> String {
    let file = case.source.file_name();
    let class = file.strip_suffix(".yaml").unwrap_or(file);
    let head = format!(
        "    <testcase classname=\"{}\" name=\"{}\"",
        attribute(class),
        attribute(&case.title)
    );
    let Some(first) = run.differences.first() else {
        return format!("{head}/>\n");
    };
    let kind = match first {
        Difference::Refused(_) => "refused",
        Difference::Verdict { .. } => "verdict",
        Difference::Urgency { .. } => "urgency",
        Difference::Rule { .. } => "rule",
    };
    let lines: Vec<String> = run
        .differences
        .iter()
        .flat_map(Difference::in_words)
        .collect();
    let message = lines.first().map_or("", String::as_str);
    let told: Vec<String> = std::iter::once(&case.place())
        .chain(&lines)
        .map(|it| escaped(&one_line(it)))
        .collect();
    format!(
        "{head}>\n      <failure type=\"{kind}\" message=\"{}\">{}</failure>\n    </testcase>\n",
        attribute(message),
        told.join("\n")
    )
}

/// A text as the value of an attribute.
fn attribute(text: &str) -> String {
    escaped(&one_line(text))
}

/// A text whose letters are no markup. XML has no way to write most control characters, nor the last two of each plane.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&apos;"),
            _ if u32::from(letter) & 0xfffe == 0xfffe => safe.push('\u{fffd}'),
            _ => safe.push(harmless(letter)),
        }
    }
    safe
}
