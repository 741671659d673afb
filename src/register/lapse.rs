//! What of a screening holds no longer: of the one that was signed, today; of the one that was booked on, on the day.

use crate::register::happening::{RuleTold, Screened};

/// What has come to be otherwise since a screening, in whole sentences, the files first. Empty while all of it holds.
/// `when` is the day of the later one, as a sentence ends: "today", "on the day".
pub fn lapsed(was: &Screened, is: &Screened, when: &str) -> Vec<String> {
    let files = [
        (
            was.questionnaire != is.questionnaire,
            "Answers were changed.",
        ),
        (was.clinic != is.clinic, "The clinic's file was changed."),
        (was.rule_set != is.rule_set, "The rule set was changed."),
        (
            was.local_policy != is.local_policy,
            "The local policy was changed.",
        ),
    ];
    let mut said: Vec<String> = files
        .iter()
        .filter(|(differs, _)| *differs)
        .map(|(_, words)| (*words).to_owned())
        .collect();
    if was.verdict() != is.verdict() {
        let (was, is) = (was.verdict(), is.verdict());
        said.push(format!(
            "The verdict was {}, and is {} {when}.",
            was.verdict_words(),
            is.verdict_words()
        ));
    }
    let mut added = |before: &[RuleTold], after: &[RuleTold], words: &str| {
        let new = after.iter().filter(|it| !before.contains(it));
        said.extend(new.map(|it| format!("{words}: {}.", it.title)));
    };
    added(&was.fires, &is.fires, "New since");
    added(&is.fires, &was.fires, "No longer so");
    added(&was.waits, &is.waits, "Open again");
    said
}
