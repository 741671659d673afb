//! Several patients as a list, as plain data: a row each, the most pressing first, and the files that were refused behind them.

use std::cmp::Reverse;

use crate::outcome::{Outcome, Standing, Urgency};
use crate::report::words;
use crate::report::words::{counted, doubtful, each_once, first_and_later};
use crate::screening::result::{LocalStamp, Refusal, Screening};

/// What came of several files.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch<'a> {
    /// Those that were screened, by [`worst_first`].
    pub screenings: Vec<&'a Screening>,
    /// Those that were refused.
    pub refused: &'a [Refusal],
    /// How many were not reached, since the run was stopped.
    pub n_left: usize,
}

/// A list with what must be known of all of it.
#[derive(Debug, Clone, PartialEq)]
pub struct List<'a> {
    /// What must be known before anything else, each once. Whole sentences.
    pub notices: Vec<&'a str>,
    /// "5 screened: 2 refer (1 same-day, 1 routine), 1 defer, 2 go. 1 file was refused and NOT screened."
    pub counts: String,
    /// A row for each patient and each refused file.
    pub rows: Vec<Row>,
    /// What clinics changed of the rule set, each once.
    pub local: Vec<&'a LocalStamp>,
    /// The rule set and the local policy, each once.
    pub made_with: Vec<String>,
}

/// A patient, or a file that was refused, in a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// The patient's reference; of a file whose reference cannot be read, its name.
    pub reference: String,
    /// The day of surgery, such as 2026-12-03; `None` if not known.
    pub day: Option<String>,
    /// The verdict; `None` for a file that was refused.
    pub verdict: Option<Standing>,
    /// The first reason in a dozen words: "Spreading infection; 1 more".
    pub reason: String,
    /// What is to be done next, and what another plan or day would come to; `None` if nobody looked.
    pub next: Option<String>,
}

impl<'a> List<'a> {
    /// The list of several files.
    pub fn of(batch: &Batch<'a>) -> Self {
        let screenings = &batch.screenings;
        Self {
            notices: each_once(screenings, |it| {
                it.notices.iter().map(String::as_str).collect()
            }),
            counts: counts(batch),
            rows: screenings
                .iter()
                .map(|it| Row::of(it))
                .chain(batch.refused.iter().map(Row::refused))
                .collect(),
            local: each_once(screenings, |it| it.local_policy.iter().collect()),
            made_with: each_once(screenings, |it| {
                std::iter::once(words::rule_set(it))
                    .chain(words::local_policy(it))
                    .collect()
            }),
        }
    }
}

impl Row {
    /// A screening in a row.
    pub fn of(screening: &Screening) -> Self {
        let next = screening.next.as_ref().map(words::next_in_a_row);
        let next: Vec<String> = next.into_iter().chain(better(screening)).collect();
        Self {
            reference: screening.reference.clone(),
            day: screening
                .procedure_on
                .as_ref()
                .and_then(|it| it.split_whitespace().next())
                .map(str::to_owned),
            verdict: Some(screening.verdict()),
            reason: first_reason(screening),
            next: (!next.is_empty()).then(|| next.join("; ")),
        }
    }

    /// A file that was not screened: what is wrong with it first of all.
    fn refused(refusal: &Refusal) -> Self {
        let reason = match refusal.problems.split_first() {
            None => "refused".to_owned(),
            Some((first, [])) => first.title.clone(),
            Some((first, rest)) => format!("{}; {} more", first.title, rest.len()),
        };
        Self {
            reference: refusal
                .reference
                .clone()
                .unwrap_or_else(|| words::file_name(&refusal.path).to_owned()),
            day: None,
            verdict: None,
            reason,
            next: Some("mend the file and screen it".to_owned()),
        }
    }

    /// The day as it is shown.
    pub fn day_words(&self) -> &str {
        match self.verdict {
            Some(_) => self.day.as_deref().unwrap_or("not known"),
            None => "-",
        }
    }

    /// The verdict as it is shown.
    pub fn verdict_words(&self) -> String {
        self.verdict
            .map_or_else(|| "NOT SCREENED".to_owned(), Standing::verdict_words)
    }
}

/// The most pressing first; among equals by reference, then by file.
pub fn worst_first(screenings: &[Screening]) -> Vec<&Screening> {
    let mut sorted: Vec<&Screening> = screenings.iter().collect();
    sorted.sort_by_key(|it| {
        (
            Reverse(it.verdict()),
            it.reference.as_str(),
            it.source.path.as_str(),
        )
    });
    sorted
}

/// What stands against surgery first of all; else what is missing; else what to take care of. Then what could still become
/// of it.
fn first_reason(screening: &Screening) -> String {
    let against: Vec<&str> = screening.against().map(|it| it.title.as_str()).collect();
    let reason = match (against.split_first(), screening.unrecognised.as_slice()) {
        (Some((first, [])), _) => (*first).to_owned(),
        (Some((first, rest)), _) => format!("{first}; {} more", rest.len()),
        (None, [one]) => format!("name not recognised: {}", doubtful(one)),
        (None, [_, _, ..]) => format!("{} names not recognised", screening.unrecognised.len()),
        (None, []) => nothing_against(screening),
    };
    let could_be = screening
        .span
        .could_be()
        .map_or(String::new(), |it| format!("; could be {}", it.words()));
    format!("{reason}{could_be}")
}

/// What is missing, where no finding stands against surgery; else what to take care of.
pub(super) fn nothing_against(screening: &Screening) -> String {
    if screening.verdict() == Standing::GO {
        return match screening.findings.len() {
            0 => "nothing against it".to_owned(),
            n => counted(n, "precaution", "precautions"),
        };
    }
    let asks = first_and_later(&screening.to_ask).0;
    match asks
        .iter()
        .filter(|it| it.could_lead_to > Outcome::Go)
        .count()
    {
        0 => "not decided yet".to_owned(),
        n => format!("{} missing", counted(n, "answer", "answers")),
    }
}

/// What another plan or another day would come to, if that is better and was asked for.
fn better(screening: &Screening) -> Option<String> {
    let plans = screening.alternatives.iter().flatten();
    let plan = plans.map(|it| it.prospect.verdict()).min();
    let days = screening.dates.iter().flatten();
    let day = days.map(|it| it.prospect.verdict()).min();
    let ways: Vec<String> = [("with another plan", plan), ("on another day", day)]
        .into_iter()
        .filter_map(|(how, best)| Some((how, best.filter(|it| *it < screening.verdict())?)))
        .map(|(how, best)| format!("{} {how}", best.words()))
        .collect();
    (!ways.is_empty()).then(|| ways.join(", "))
}

/// "5 screened: 2 refer (1 same-day, 1 routine), 1 defer, 2 go. 1 file was refused and NOT screened."
fn counts(batch: &Batch<'_>) -> String {
    let screenings = &batch.screenings;
    let of = |wanted: Outcome| {
        screenings
            .iter()
            .filter(|it| it.verdict().outcome == wanted)
            .count()
    };
    let urgencies: Vec<String> = [Urgency::SameDay, Urgency::Urgent, Urgency::Routine]
        .into_iter()
        .map(|wanted| {
            let n = screenings
                .iter()
                .filter(|it| it.verdict().urgency == Some(wanted))
                .count();
            (n, wanted)
        })
        .filter(|(n, _)| *n > 0)
        .map(|(n, urgency)| format!("{n} {}", urgency.word()))
        .collect();
    let urgencies = if urgencies.is_empty() {
        String::new()
    } else {
        format!(" ({})", urgencies.join(", "))
    };
    let refused = match batch.refused.len() {
        0 => String::new(),
        n => format!(
            " {} and NOT screened.",
            counted(n, "file was refused", "files were refused")
        ),
    };
    let left = match batch.n_left {
        0 => String::new(),
        n => format!(" {}", not_reached(n)),
    };
    format!(
        "{} screened: {} refer{urgencies}, {} defer, {} go.{refused}{left}",
        screenings.len(),
        of(Outcome::Refer),
        of(Outcome::Defer),
        of(Outcome::Go)
    )
}

/// That a run ended before its last file.
pub fn not_reached(n_left: usize) -> String {
    format!(
        "Stopped before the end: {} NOT screened.",
        counted(n_left, "file", "files")
    )
}
