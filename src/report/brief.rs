//! One patient on one screen and one sheet of paper, as plain data: what text, Markdown and HTML draw, and the desk's pages.
//!
//! Holds what a nurse or a clinician acts on, in the words of the questions. Keys, places in files, sources, rules not
//! decided and what was looked at stay in the [`Screening`]; the full reports draw them. Nothing of it is escaped: whoever
//! draws it does that.

use chrono::Datelike;

use crate::outcome::{Outcome, Standing};
use crate::report::words;
use crate::report::words::{counted, day, first_and_later, grouped, may_go_ahead, stranger, who};
use crate::rule_set::catalogue::Who;
use crate::screening::result::{
    Alternative, Because, DateSpan, Finding, Lift, NoteShown, Prospect, Screening, ToAsk,
};

mod advice;
mod dose;

pub use crate::report::brief::advice::Advice;
pub use crate::report::brief::dose::{AgentBrief, DoseBrief};

/// Most deciding answers that stand under a reason before the rest is counted.
const MOST_ANSWERS: usize = 5;

/// The one-screen report of a patient.
#[derive(Debug, Clone, PartialEq)]
pub struct Brief<'a> {
    /// The patient's reference.
    pub reference: &'a str,
    /// The verdict.
    pub verdict: Standing,
    /// What it means, in a sentence; `None` where findings against surgery say it.
    pub meaning: Option<&'static str>,
    /// What the verdict could still become, and why: "could be refer, same-day, because of 21 rules not decided yet".
    pub could_be: Option<String>,
    /// Surgery, answers and screening: "surgery 3 Dec 2026, answers 24 Nov, screened 25 Nov 2026".
    pub days: String,
    /// What must be known before the rest is read. Whole sentences.
    pub notices: &'a [String],
    /// What the clinic changed of the rule set: how many changes, then each that loosens it. Empty without a local policy.
    pub local: Vec<String>,
    /// What is to be done next; `None` if nobody looked for other plans.
    pub next: Option<String>,
    /// The findings against surgery, worst first.
    pub against: Vec<Reason<'a>>,
    /// What to take care of if it goes ahead, numbered on from the findings against it; none where the patient goes elsewhere.
    pub precautions: Vec<Reason<'a>>,
    /// How many precautions are left out, since there will be no operation here.
    pub n_left_out: usize,
    /// The names that nobody recognised: "\"warfrin\": did you mean \"warfarin\"?".
    pub names: Vec<String>,
    /// What waits for nothing but such a name.
    pub for_names: Option<String>,
    /// The missing answers that are needed in any case, by who can give them.
    pub to_ask: Vec<AskedOf<'a>>,
    /// How many more are needed only if those answers call for it.
    pub n_later: usize,
    /// Each way to a better verdict, in a line: what would have to be so, and what it would come to.
    pub lifts: Vec<String>,
    /// Free text, as it was written.
    pub notes: Vec<NoteBrief<'a>>,
    /// The anaesthetic plan against its strictest limit; `None` where there is no plan, or nothing is done here as planned.
    pub dose: Option<DoseBrief>,
    /// Other plans with a better verdict; `None` if they were not asked for.
    pub plans: Option<Vec<Foreseen>>,
    /// Other days; `None` if they were not asked for.
    pub ahead: Option<Vec<DaysAhead>>,
    /// Whether there may be more ways and plans than stand here.
    pub cut_short: bool,
    /// Rule set with edition, digest and status, and how many concerns were looked at.
    pub made_with: String,
}

/// A finding in the words of people.
#[derive(Debug, Clone, PartialEq)]
pub struct Reason<'a> {
    /// From 1, through all findings that are shown.
    pub number: usize,
    /// Full id of the rule.
    pub rule: &'a str,
    /// What it asks for.
    pub standing: Standing,
    /// Its heading.
    pub title: &'a str,
    /// What is so.
    pub reason: &'a str,
    /// The answers that decided it, but for those under earlier findings; none for a precaution, whose reason says enough.
    pub because: Vec<Answered<'a>>,
    /// What of them is left out: "as above", "and 2 more answers"; `None` if nothing is.
    pub left_out: Option<String>,
    /// What to do. Empty if all of it is said under an earlier one.
    pub advice: Vec<Advice>,
    /// What would lift it.
    pub cleared_by: Option<&'a str>,
    /// Whether local policy has a say in it.
    pub local_policy: bool,
}

/// A question and what was answered, as understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answered<'a> {
    /// The wording of the question, or what was worked out.
    pub ask: &'a str,
    /// The answer, unit included; of a list each entry that decided.
    pub values: Vec<&'a str>,
}

impl Answered<'_> {
    /// Both in a line; a colon stands behind what is no question.
    pub fn in_words(&self) -> String {
        let colon = if self.ask.ends_with('?') { "" } else { ":" };
        format!("{}{colon} {}", self.ask, self.values.join(", "))
    }
}

/// What one person or place is asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AskedOf<'a> {
    /// Who.
    pub from: Who,
    /// The heading over it: "Ask the patient".
    pub heading: &'static str,
    /// The questions, worst first.
    pub asks: Vec<AskBrief<'a>>,
}

/// A missing answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AskBrief<'a> {
    /// The fact's id.
    pub fact: &'a str,
    /// The wording of the question.
    pub ask: &'a str,
    /// Why it is missing, unless nobody asked yet; and a referral that it could still lead to.
    pub remarks: Vec<String>,
}

/// Free text and where it belongs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoteBrief<'a> {
    /// The section; `None` for the whole questionnaire.
    pub section: Option<&'a str>,
    /// The words, several lines perhaps.
    pub text: &'a str,
}

/// What another plan, or other days, would come to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Foreseen {
    /// The verdict.
    pub standing: Standing,
    /// What would be otherwise: "with one method instead of another", "3 Dec 2026 to 9 Dec 2026 (3 procedure days)".
    pub what: String,
    /// What would stand against it, be taken care of, or still be open; empty if nothing is.
    pub with: String,
}

/// Days in a row with one verdict.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DaysAhead {
    /// What they would come to.
    pub foreseen: Foreseen,
    /// How many procedure days.
    pub n_days: usize,
}

impl<'a> Brief<'a> {
    /// What of a screening fits on one screen.
    ///
    /// # Missing data
    /// Missing answers and names that nobody recognised are always in it; what is left out for want of room is counted.
    pub fn of(screening: &'a Screening) -> Self {
        let goes_ahead = may_go_ahead(screening);
        let (care, against): (Vec<&Finding>, Vec<&Finding>) = screening
            .findings
            .iter()
            .partition(|it| it.outcome == Outcome::Go);
        let n_left_out = if goes_ahead { 0 } else { care.len() };
        let shown: Vec<&Finding> = against
            .iter()
            .chain(care.iter().filter(|_| goes_ahead))
            .copied()
            .collect();
        let mut reasons = reasons(&shown);
        let precautions = reasons.split_off(against.len());
        let (now, later) = first_and_later(&screening.to_ask);
        Self {
            reference: &screening.reference,
            verdict: screening.verdict(),
            meaning: against.is_empty().then(|| words::meaning(screening)),
            could_be: words::could_be(screening)
                .map(|(worse, why)| format!("could be {}, {why}", worse.words())),
            days: days(screening),
            notices: &screening.notices,
            local: screening
                .local_policy
                .as_ref()
                .map_or_else(Vec::new, words::local_lines),
            next: screening.next.as_ref().map(words::next_above),
            against: reasons,
            precautions,
            n_left_out,
            names: screening.unrecognised.iter().map(stranger).collect(),
            for_names: words::for_names(screening),
            to_ask: asked_of(now),
            n_later: later.len(),
            lifts: screening.lifts.iter().map(lift).collect(),
            notes: screening.notes.iter().map(note).collect(),
            dose: screening
                .anaesthetic
                .as_ref()
                .filter(|_| goes_ahead)
                .map(DoseBrief::of),
            plans: screening
                .alternatives
                .as_ref()
                .map(|it| it.iter().map(plan).collect()),
            ahead: screening
                .dates
                .as_ref()
                .map(|it| it.iter().map(days_ahead).collect()),
            cut_short: screening.cut_short,
            made_with: made_with(screening),
        }
    }
}

fn reasons<'a>(findings: &[&'a Finding]) -> Vec<Reason<'a>> {
    let advice = advice::said_once(findings.iter().map(|it| it.action.as_str()));
    let mut said: Vec<(&str, &str)> = Vec::new();
    (1..)
        .zip(findings)
        .zip(advice)
        .map(|((number, finding), advice)| {
            let (because, left_out) = match finding.outcome {
                Outcome::Go => (Vec::new(), None),
                Outcome::Defer | Outcome::Refer => new_answers(&finding.because, &mut said),
            };
            Reason {
                number,
                rule: &finding.rule,
                standing: finding.standing(),
                title: &finding.title,
                reason: &finding.reason,
                because,
                left_out,
                advice,
                cleared_by: finding.cleared_by.as_deref(),
                local_policy: finding.local_policy,
            }
        })
        .collect()
}

/// The deciding answers that were not said before, and what is left out of them. Of what was worked out the result alone is
/// told, not what it was worked out from.
fn new_answers<'a>(
    because: &'a [Because],
    said: &mut Vec<(&'a str, &'a str)>,
) -> (Vec<Answered<'a>>, Option<String>) {
    let deciding = because
        .iter()
        .filter(|it| !because.iter().any(|other| other.from.contains(&it.fact)))
        .map(|it| (it.ask.as_str(), it.value.as_str()));
    let (above, new): (Vec<_>, Vec<_>) = deciding.partition(|it| said.contains(it));
    said.extend(&new);
    let mut new: Vec<Answered<'_>> = grouped(new.iter(), |(ask, _)| *ask)
        .into_iter()
        .map(|(ask, answers)| Answered {
            ask,
            values: answers.iter().map(|(_, value)| *value).collect(),
        })
        .collect();
    let n_more = new.len().saturating_sub(MOST_ANSWERS);
    new.truncate(MOST_ANSWERS);
    let more = || counted(n_more, "more answer", "more answers");
    let left_out = match (above.is_empty(), n_more) {
        (true, 0) => None,
        (false, 0) => Some("as above".to_owned()),
        (true, _) => Some(format!("and {}", more())),
        (false, _) => Some(format!("as above, and {}", more())),
    };
    (new, left_out)
}

/// The year of the answers is said where it is not that of the screening.
fn days(screening: &Screening) -> String {
    let surgery = words::day_of_surgery(screening).replace(',', "");
    let answers = screening.completed_on.map_or_else(
        || "answers not dated".to_owned(),
        |on| {
            let same_year = on.year() == screening.as_of.year();
            format!(
                "answers {}",
                on.format(if same_year { "%-d %b" } else { "%-d %b %Y" })
            )
        },
    );
    format!("{surgery}, {answers}, screened {}", day(screening.as_of))
}

fn asked_of(asks: Vec<&ToAsk>) -> Vec<AskedOf<'_>> {
    let mut groups = grouped(asks.into_iter(), |it| it.from);
    groups.sort_by_key(|(from, _)| *from);
    groups
        .into_iter()
        .map(|(from, asks)| AskedOf {
            from,
            heading: who(from),
            asks: asks.into_iter().map(ask).collect(),
        })
        .collect()
}

fn ask(ask: &ToAsk) -> AskBrief<'_> {
    let refer = (ask.could_lead_to == Outcome::Refer).then(|| words::could_lead_to(ask));
    AskBrief {
        fact: &ask.fact,
        ask: &ask.ask,
        remarks: words::why_missing(ask)
            .map(str::to_owned)
            .into_iter()
            .chain(refer)
            .collect(),
    }
}

fn lift(lift: &Lift) -> String {
    let changes: Vec<String> = lift.changes.iter().map(words::change).collect();
    format!(
        "{}: then {}",
        changes.join(", and "),
        words::prospect_briefly(&lift.prospect)
    )
}

fn note(note: &NoteShown) -> NoteBrief<'_> {
    NoteBrief {
        section: (!note.section.is_empty()).then_some(note.section.as_str()),
        text: &note.text,
    }
}

fn plan(plan: &Alternative) -> Foreseen {
    foreseen(words::plan(&plan.changes), &plan.prospect)
}

fn days_ahead(span: &DateSpan) -> DaysAhead {
    DaysAhead {
        foreseen: foreseen(words::span(span), &span.prospect),
        n_days: span.n_days,
    }
}

fn foreseen(what: String, prospect: &Prospect) -> Foreseen {
    let standing = prospect.verdict();
    let all = words::prospect_briefly(prospect);
    // The verdict stands beside it.
    let with = all.strip_prefix(&standing.words()).unwrap_or(&all);
    Foreseen {
        standing,
        what,
        with: with.trim_start_matches([',', ';', ' ']).to_owned(),
    }
}

fn made_with(screening: &Screening) -> String {
    format!(
        "{}; {} looked at, nothing else",
        words::rule_set(screening),
        counted(screening.rule_set.concerns.len(), "concern", "concerns")
    )
}
