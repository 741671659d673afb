//! The reviews that are due as an iCalendar file (RFC 5545): one all-day event for each day and owner.
//!
//! Written here and not by a library, since it must be the same for the same input: no clock and no chance is asked for
//! the stamps and ids of events and alarms, and no line may be longer than 75 bytes.

use crate::report::due::{Agenda, Review};
use crate::report::page::{harmless, one_line};
use crate::report::words::short;
use crate::rule_set::files::sha256;

/// Most bytes of a line, its end not counted.
const LONGEST_LINE: usize = 75;

/// How long before the day the calendar reminds.
const REMINDER: &str = "-P4W";

/// The calendar.
///
/// # Missing data
/// What has no date is not in it. An overdue review stands on its own day, in the past.
pub fn calendar(agenda: &Agenda<'_>) -> String {
    let mut lines: Vec<String> = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        concat!(
            "PRODID:-//preblock//rule reviews ",
            env!("CARGO_PKG_VERSION"),
            "//EN"
        ),
        "CALSCALE:GREGORIAN",
        "METHOD:PUBLISH",
    ]
    .map(str::to_owned)
    .to_vec();
    agenda
        .reviews()
        .iter()
        .for_each(|it| lines.extend(event(agenda, it)));
    lines.push("END:VCALENDAR".into());
    lines.iter().map(|it| folded(it)).collect()
}

fn event(agenda: &Agenda<'_>, review: &Review<'_>) -> Vec<String> {
    let rules = agenda.rule_set;
    // The day of the run: the same run gives the same file, and a later one replaces the event of the same id.
    let stamp = agenda.as_of.format("%Y%m%dT000000Z");
    let uid = format!(
        "{}.{}.{}@preblock",
        rules.id,
        review.by,
        short(&sha256(review.owner.as_bytes()))
    );
    let summary = format!("Review {} {}: {}", rules.id, rules.edition, review.what());
    let head = format!(
        "For: {}\nRule set {} {}, {}",
        review.owner,
        rules.id,
        rules.edition,
        rules.status.word()
    );
    let whole = review
        .whole
        .then(|| "The rule set as a whole is to be reviewed, too.".to_owned());
    let told: Vec<String> = std::iter::once(head)
        .chain(whole)
        .chain(review.groups())
        .collect();
    vec![
        "BEGIN:VEVENT".into(),
        format!("UID:{}", escaped(&uid)),
        format!("DTSTAMP:{stamp}"),
        format!("DTSTART;VALUE=DATE:{}", review.by.format("%Y%m%d")),
        format!("SUMMARY:{}", escaped(&summary)),
        format!("DESCRIPTION:{}", escaped(&told.join("\n"))),
        "CATEGORIES:RULE-REVIEW".into(),
        "TRANSP:TRANSPARENT".into(),
        "BEGIN:VALARM".into(),
        "ACTION:DISPLAY".into(),
        format!("TRIGGER:{REMINDER}"),
        format!("DESCRIPTION:{}", escaped(&summary)),
        "END:VALARM".into(),
        "END:VEVENT".into(),
    ]
}

/// A text as a value: line by line disarmed, then its line ends, commas, semicolons and backslashes escaped.
fn escaped(text: &str) -> String {
    let lines = text.lines().map(|it| {
        let line: String = one_line(it).chars().map(harmless).collect();
        line.replace('\\', "\\\\")
            .replace(';', "\\;")
            .replace(',', "\\,")
    });
    lines.collect::<Vec<_>>().join("\\n")
}

/// A line with its end; a long one goes on in further lines that begin with a space.
fn folded(line: &str) -> String {
    let mut out = String::with_capacity(line.len() + line.len() / 24 + 2);
    let mut used = 0;
    for letter in line.chars() {
        if used + letter.len_utf8() > LONGEST_LINE {
            out.push_str("\r\n ");
            used = 1;
        }
        out.push(letter);
        used += letter.len_utf8();
    }
    out + "\r\n"
}
