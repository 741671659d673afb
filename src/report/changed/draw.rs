//! What changed between two screenings as text, as Markdown and as JSON: the first two draw one list of parts.

use serde::{Serialize, Serializer};
use serde_json::{Map, Value, json};

use crate::outcome::Outcome;
use crate::report::changed::{
    AnswerMove, ChangedScreening, FindingChange, FindingMove, OpenChange, ToldVerdict,
};
use crate::report::json::{escaped, tool};
use crate::report::markdown::escape::inline;
use crate::report::page::{Indent, Page, Paint, Style};
use crate::report::words::{counted, would_be};
use crate::report::{SAFETY, Standing};

/// Most rules that became open or settled that are told one by one.
const MOST_RULES: usize = 5;
/// Most titles that a line names before it only counts them.
const MOST_TITLES: usize = 3;

const LINE: Indent = Indent::at(0, 15);

/// A heading and what stands under it.
struct PageSection {
    heading: &'static str,
    lines: Vec<PageLine>,
}

/// A line with a label, and what stands under it.
struct PageLine {
    label: &'static str,
    text: String,
    more: Vec<String>,
}

impl PageLine {
    fn new(label: &'static str, text: impl Into<String>) -> Self {
        Self {
            label,
            text: text.into(),
            more: Vec::new(),
        }
    }
}

/// As text for a terminal or a printed page.
pub fn text(changed: &ChangedScreening, style: &Style) -> String {
    let mut page = Page::new(style);
    page.entry(
        &changed.after.standing().verdict_words(),
        Paint::Outcome(changed.after.verdict),
        Indent::at(0, 7),
        &head(changed),
    );
    for it in &changed.first {
        page.paragraph(0, it);
    }
    for section in sections(changed) {
        page.heading(section.heading);
        for line in section.lines {
            page.entry(line.label, Paint::Strong, LINE, &line.text);
            for more in &line.more {
                page.paragraph(LINE.text, more);
            }
        }
    }
    page.blank();
    page.paragraph(0, SAFETY);
    page.finish()
}

/// As Markdown, to keep or to paste.
pub fn markdown(changed: &ChangedScreening) -> String {
    let mut text = format!(
        "# {}: {}\n",
        inline(&changed.after.standing().verdict_words()),
        inline(&head(changed))
    );
    for it in &changed.first {
        text.push_str(&format!("\n{}\n", inline(it)));
    }
    for section in sections(changed) {
        text.push_str(&format!("\n## {}\n\n", section.heading));
        for line in section.lines {
            let label = if line.label.is_empty() {
                String::new()
            } else {
                format!("**{}**: ", line.label)
            };
            text.push_str(&format!("- {label}{}\n", inline(&line.text)));
            for more in &line.more {
                text.push_str(&format!("  - {}\n", inline(more)));
            }
        }
    }
    text.push_str(&format!("\n{}\n", inline(SAFETY)));
    text
}

/// As JSON for programs, as `schemas/changed.schema.json` describes it.
pub fn json(changed: &ChangedScreening) -> String {
    let mut keys = match serde_json::to_value(changed) {
        Ok(Value::Object(keys)) => keys,
        // Nothing in it can fail to become an object: no key but text, and no number.
        _ => Map::new(),
    };
    keys.shift_insert(0, "changed".into(), json!(1));
    keys.shift_insert(1, "tool".into(), tool());
    keys.insert("safety".into(), SAFETY.into());
    escaped(&format!("{:#}\n", Value::Object(keys)))
}

fn head(changed: &ChangedScreening) -> String {
    let was = changed.before.standing();
    let before = if was == changed.after.standing() {
        "as before".to_owned()
    } else {
        format!("{} before", was.verdict_words())
    };
    let nothing = if changed.nothing_moved {
        ". Nothing moved."
    } else {
        ""
    };
    format!("{}, {before}{nothing}", changed.reference)
}

fn sections(changed: &ChangedScreening) -> Vec<PageSection> {
    let all = [
        PageSection {
            heading: if changed.before.standing() == changed.after.standing() {
                "What decides the verdict"
            } else {
                "Why the verdict differs"
            },
            lines: verdicts(changed),
        },
        PageSection {
            heading: if changed.all_answers {
                "Answers"
            } else {
                "Answers, as far as both screenings show them"
            },
            lines: changed
                .answers
                .iter()
                .map(|it| PageLine::new(it.how.word(), &it.words))
                .collect(),
        },
        PageSection {
            heading: "Findings",
            lines: changed.findings.iter().map(finding).collect(),
        },
        PageSection {
            heading: "Rules that wait for answers",
            lines: open(changed),
        },
        PageSection {
            heading: "Notes",
            lines: notes(changed),
        },
    ];
    all.into_iter().filter(|it| !it.lines.is_empty()).collect()
}

/// Both verdicts with what decided each, where anything about them differs.
fn verdicts(changed: &ChangedScreening) -> Vec<PageLine> {
    if changed.before == changed.after {
        return Vec::new();
    }
    [("before", &changed.before), ("now", &changed.after)]
        .into_iter()
        .map(|(label, it)| PageLine::new(label, verdict(it)))
        .collect()
}

/// "DEFER, by INR too old; could be refer, urgent, by 3 rules not decided yet: ...".
fn verdict(told: &ToldVerdict) -> String {
    let by = match (told.decided_by.is_empty(), told.is_open) {
        (true, _) => ", nothing against it".to_owned(),
        (false, false) => format!(", by {}", titles(&told.decided_by)),
        (false, true) => format!(
            ", by {} not decided yet: {}",
            counted(told.decided_by.len(), "rule", "rules"),
            titles(&told.decided_by)
        ),
    };
    let could_be = told.could_be.as_ref().map_or_else(String::new, |worse| {
        format!(
            "; could be {worse}, by {} not decided yet: {}",
            counted(told.could_be_by.len(), "rule", "rules"),
            titles(&told.could_be_by)
        )
    });
    format!("{}{by}{could_be}", told.standing().verdict_words())
}

/// The first few, and how many more.
fn titles(all: &[String]) -> String {
    let shown: Vec<&str> = all.iter().take(MOST_TITLES).map(String::as_str).collect();
    match all.len() - shown.len() {
        0 => shown.join("; "),
        more => format!("{}; and {more} more", shown.join("; ")),
    }
}

fn finding(change: &FindingChange) -> PageLine {
    let standing = |it: Standing| match it.outcome {
        Outcome::Go => "precaution".to_owned(),
        _ => it.words(),
    };
    let (text, mut more) = match (&change.before, &change.after) {
        (Some(was), Some(is)) if was.standing() != is.standing() => (
            format!(
                "{} ({}, before: {}): {}",
                change.title,
                standing(is.standing()),
                standing(was.standing()),
                is.reason
            ),
            Vec::new(),
        ),
        (Some(was), Some(is)) => {
            let parts = [
                ("before", Some(&was.reason), Some(&is.reason)),
                ("what to do now", Some(&is.action), Some(&was.action)),
                ("it goes to", is.refer_to.as_ref(), was.refer_to.as_ref()),
                (
                    "cleared by",
                    is.cleared_by.as_ref(),
                    was.cleared_by.as_ref(),
                ),
            ];
            let told = parts
                .into_iter()
                .filter(|(_, shown, other)| shown != other)
                .map(|(what, shown, _)| format!("{what}: {}", shown.map_or("nothing", |it| it)));
            (
                format!(
                    "{} ({}): {}",
                    change.title,
                    standing(is.standing()),
                    is.reason
                ),
                told.collect(),
            )
        }
        (Some(it), None) | (None, Some(it)) => (
            format!(
                "{} ({}): {}",
                change.title,
                standing(it.standing()),
                it.reason
            ),
            Vec::new(),
        ),
        (None, None) => (change.title.clone(), Vec::new()),
    };
    match change.how {
        FindingMove::Came if change.is_open => more.push("it waited for answers before".into()),
        FindingMove::Went if change.is_open => {
            more.push("it is not settled: it waits for answers now".into())
        }
        _ => {}
    }
    more.push(format!("why: {}", change.why));
    PageLine {
        label: change.how.word(),
        text,
        more,
    }
}

fn open(changed: &ChangedScreening) -> Vec<PageLine> {
    let mut lines = Vec::new();
    for (is_open, label) in [(true, "wait now"), (false, "settled")] {
        let rules: Vec<&OpenChange> = changed
            .open
            .iter()
            .filter(|it| it.is_open == is_open)
            .collect();
        for it in rules.iter().take(MOST_RULES) {
            let standing = Standing::new(it.outcome_if_fires, it.urgency);
            let waits = if is_open { "waits for" } else { "waited for" };
            lines.push(PageLine::new(
                label,
                format!(
                    "{} ({}), {waits} {}",
                    it.title,
                    would_be(standing),
                    titles(&it.waits_for)
                ),
            ));
        }
        if rules.len() > MOST_RULES {
            lines.push(PageLine::new(
                label,
                format!("and {} more", rules.len() - MOST_RULES),
            ));
        }
    }
    lines
}

fn notes(changed: &ChangedScreening) -> Vec<PageLine> {
    let note = |it: &super::NoteChange| {
        let label = if it.is_new { "new" } else { "taken out" };
        let section = if it.section.is_empty() {
            String::new()
        } else {
            format!("{}: ", it.section)
        };
        PageLine::new(label, format!("{section}{}", it.text))
    };
    changed.notes.iter().map(note).collect()
}

impl Serialize for AnswerMove {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.word())
    }
}

impl Serialize for FindingMove {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.word())
    }
}
