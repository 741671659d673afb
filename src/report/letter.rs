//! A letter about one patient: made of a screening, or refused with the reason; drawn as text or as a page.
//!
//! INVARIANT: every word of a [`Letter`] has passed [`one_line`], so that nothing an answer holds can steer a terminal
//! or pretend to be a line of the letter. The page is drawn with maud, which escapes it.

use chrono::NaiveDate;

use crate::outcome::Outcome;
use crate::report::chase::{AskedGroup, groups};
use crate::report::page::one_line;
use crate::report::words::{cited, counted, day, grouped, rule_set as edition, short, surgery};
use crate::rule_set::RuleSet;
use crate::rule_set::catalogue::Who;
use crate::rule_set::letter::{
    Insert, LetterContent, LetterKind, LetterPart, LetterSentence, LetterText, OwnPlaceholder,
};
use crate::screening::explain;
use crate::screening::letter as filling;
use crate::screening::result::{Finding, Screening};
use crate::screening::screener::Referral;

mod html;
mod slip;
mod text;

pub use crate::report::letter::html::STYLE;

/// What a letter says besides the screening.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LetterDetails {
    /// The clinic that writes; "the clinic" if nobody says.
    pub clinic: Option<String>,
    /// The day the letter is made.
    pub made_on: NaiveDate,
    /// The last entry of the register at that moment: its number and digest in hexadecimal.
    pub head: Option<(u64, String)>,
    /// What a clinician decided, where that is not the verdict of the rules: the letter goes by it.
    pub decided: Option<Outcome>,
}

/// Why a letter cannot be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoLetter {
    /// The rule set has no text for it.
    NoText(LetterKind),
    /// The screening is of another questionnaire than the answers, or by another rule set.
    Apart,
    /// Nothing is to be asked of this person.
    NothingToAsk(Who),
    /// It is for patients who go, and this one does not.
    NotGo(LetterKind, Outcome),
    /// It is for patients who do not go, and this one does.
    Goes,
    /// No finding says to whom to refer.
    NoReferral,
}

impl NoLetter {
    /// In one sentence without a full stop.
    pub fn words(self) -> String {
        match self {
            Self::NoText(kind) => {
                let name = kind.word();
                format!(
                    "the rule set has no text for this letter; it stands in letters/{name}.yaml, and `preblock schema letters` says how"
                )
            }
            Self::Apart => {
                "the screening was not made of this questionnaire with this rule set; screen again"
                    .to_owned()
            }
            Self::NothingToAsk(who) => {
                let whom = match who {
                    Who::Patient => "the patient",
                    Who::Referrer => "the referrer",
                    Who::Nurse => "the nurse",
                    Who::Clinician => "the clinician",
                    Who::Record => "whoever holds the record",
                };
                format!("there is nothing to ask {whom}")
            }
            Self::NotGo(kind, outcome) => format!(
                "a letter `{}` is only for a patient who goes, and this one comes to {}",
                kind.word(),
                outcome.word()
            ),
            Self::Goes => "this patient goes, so there is nobody to refer to".to_owned(),
            Self::NoReferral => "no finding says to whom to refer".to_owned(),
        }
    }
}

/// A letter, ready to be drawn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Letter {
    /// What it is for.
    pub kind: LetterKind,
    /// Its heading.
    pub title: String,
    /// What goes to one reader each; at least one. Only a referral has several, one for each service.
    pub sheets: Vec<LetterSheet>,
    /// Under each sheet: whose it is, and what it was made of.
    pub footer: Vec<String>,
}

/// What goes to one reader.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LetterSheet {
    /// The service that it goes to, for a referral.
    pub to: Option<String>,
    /// What it says.
    pub blocks: Vec<LetterBlock>,
}

/// One block of a letter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LetterBlock {
    /// A heading.
    Heading(String),
    /// A paragraph.
    Paragraph(String),
    /// A list.
    List(Vec<ListEntry>),
    /// A question with room for its answer.
    Question(SlipQuestion),
}

/// An entry of a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListEntry {
    /// What it says.
    pub text: String,
    /// What stands under it, smaller.
    pub below: Vec<String>,
}

impl ListEntry {
    /// With nothing under it.
    fn bare(text: String) -> Self {
        Self {
            text,
            below: Vec::new(),
        }
    }
}

/// A question with room for its answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SlipQuestion {
    /// Its number in the letter, from 1.
    pub number: usize,
    /// The question.
    pub ask: String,
    /// What must be known to answer it.
    pub notes: Vec<String>,
    /// What stands before room to write; `None` where a box is to be ticked.
    pub room: Option<String>,
    /// The boxes.
    pub boxes: Vec<String>,
}

/// Makes a letter of a patient's answers and what the screening came to.
///
/// # Missing data
/// A fact that is not known reads "not known"; a letter of questions asks for it if it matters.
///
/// # Errors
/// Why it cannot be made.
pub fn letter(
    rule_set: &RuleSet,
    kind: LetterKind,
    referral: &Referral,
    screening: &Screening,
    details: &LetterDetails,
) -> Result<Letter, NoLetter> {
    if screening.source != referral.source || screening.rule_set.digest != rule_set.digest {
        return Err(NoLetter::Apart);
    }
    let text = rule_set.letter(kind).ok_or(NoLetter::NoText(kind))?;
    let outcome = details.decided.unwrap_or(screening.verdict().outcome);
    let writer = Writer {
        rule_set,
        referral,
        screening,
        details,
        outcome,
    };
    let against: Vec<&Finding> = screening.against().collect();
    let sheets = match kind {
        LetterKind::QuestionsPatient
        | LetterKind::QuestionsReferrer
        | LetterKind::QuestionsRecord => {
            vec![writer.sheet(text, None, &[])]
        }
        LetterKind::Preparation | LetterKind::Aftercare if outcome != Outcome::Go => {
            return Err(NoLetter::NotGo(kind, outcome));
        }
        LetterKind::Preparation | LetterKind::Aftercare => vec![writer.sheet(text, None, &[])],
        LetterKind::Onward if outcome == Outcome::Go => return Err(NoLetter::Goes),
        LetterKind::Onward => services(&against)
            .into_iter()
            .map(|(to, findings)| writer.sheet(text, Some(to), &findings))
            .collect(),
        LetterKind::Result => vec![writer.sheet(text, None, &against)],
    };
    if let Some(who) = kind.asks()
        && !groups(screening).iter().any(|it| it.from == who)
    {
        return Err(NoLetter::NothingToAsk(who));
    }
    if sheets.is_empty() {
        return Err(NoLetter::NoReferral);
    }
    Ok(Letter {
        kind,
        title: line(&text.title),
        sheets,
        footer: writer.footer(),
    })
}

/// The findings by whom they refer to, in their order.
fn services<'a>(findings: &[&'a Finding]) -> Vec<(&'a str, Vec<&'a Finding>)> {
    grouped(findings.iter().copied(), |it| it.refer_to.as_deref())
        .into_iter()
        .filter_map(|(to, findings)| Some((to?, findings)))
        .collect()
}

/// Writes the sheets of one letter.
struct Writer<'a> {
    rule_set: &'a RuleSet,
    referral: &'a Referral,
    screening: &'a Screening,
    details: &'a LetterDetails,
    outcome: Outcome,
}

impl Writer<'_> {
    /// A sheet about these findings.
    fn sheet(&self, text: &LetterText, to: Option<&str>, findings: &[&Finding]) -> LetterSheet {
        let mut blocks: Vec<LetterBlock> = Vec::new();
        for part in filling::parts(text, &self.referral.facts, self.outcome) {
            let said = |it: &LetterSentence| self.sentence(part, it, to, findings);
            match &part.what {
                LetterContent::Heading(it) => blocks.push(LetterBlock::Heading(said(it))),
                LetterContent::Text(it) => blocks.push(LetterBlock::Paragraph(said(it))),
                LetterContent::Item(it) => add_item(&mut blocks, said(it)),
                LetterContent::Insert {
                    insert,
                    heading,
                    lead,
                } => {
                    let inserted = self.inserted(text.kind, insert, findings);
                    if !inserted.is_empty() {
                        blocks.extend(heading.as_ref().map(|it| LetterBlock::Heading(said(it))));
                        blocks.extend(lead.as_ref().map(|it| LetterBlock::Paragraph(said(it))));
                        blocks.extend(inserted);
                    }
                }
            }
        }
        LetterSheet {
            to: to.map(line),
            blocks,
        }
    }

    fn sentence(
        &self,
        part: &LetterPart,
        sentence: &LetterSentence,
        to: Option<&str>,
        findings: &[&Finding],
    ) -> String {
        let own = |placeholder| match placeholder {
            OwnPlaceholder::Clinic => self.clinic().to_owned(),
            OwnPlaceholder::MadeOn => day(self.details.made_on),
            OwnPlaceholder::Reference => self.screening.reference.clone(),
            OwnPlaceholder::Surgery => {
                surgery(self.screening).unwrap_or_else(|| "a day that is not fixed yet".to_owned())
            }
            OwnPlaceholder::ReferTo => to.unwrap_or("not known").to_owned(),
            OwnPlaceholder::Urgency => findings
                .iter()
                .filter_map(|it| it.urgency)
                .max()
                .map_or("routine", |it| it.word())
                .to_owned(),
            OwnPlaceholder::Verdict => match self.details.decided {
                Some(decided) => decided.word().to_owned(),
                None => self.screening.verdict().words(),
            },
        };
        let facts = &self.referral.facts;
        line(&filling::sentence(
            self.rule_set,
            facts,
            part,
            sentence,
            own,
        ))
    }

    /// What an insert comes to; empty if there is nothing.
    fn inserted(
        &self,
        kind: LetterKind,
        insert: &Insert,
        findings: &[&Finding],
    ) -> Vec<LetterBlock> {
        let entries: Vec<ListEntry> = match insert {
            Insert::Questions(words) => {
                let groups = groups(self.screening);
                let group = groups.iter().find(|it| Some(it.from) == kind.asks());
                return group.map_or_else(Vec::new, |it| slip::questions(self.rule_set, it, words));
            }
            Insert::Reasons => findings
                .iter()
                .map(|finding| ListEntry {
                    text: line(&finding.reason),
                    below: finding
                        .citations
                        .iter()
                        .map(|it| line(&format!("Source: {}", cited(it))))
                        .collect(),
                })
                .collect(),
            Insert::Answers => self.answers(findings),
            Insert::Actions => findings
                .iter()
                .map(|finding| ListEntry {
                    text: line(&finding.action),
                    below: finding
                        .cleared_by
                        .iter()
                        .map(|it| line(&format!("Cleared by: {it}")))
                        .collect(),
                })
                .collect(),
            Insert::Missing => missing(&groups(self.screening)),
            Insert::Before | Insert::After => self.told(*insert == Insert::Before),
        };
        let mut once: Vec<ListEntry> = Vec::new();
        for entry in entries {
            if !once.contains(&entry) {
                once.push(entry);
            }
        }
        if once.is_empty() {
            Vec::new()
        } else {
            vec![LetterBlock::List(once)]
        }
    }

    /// The answers that decided some findings, each in the words of its question.
    fn answers(&self, findings: &[&Finding]) -> Vec<ListEntry> {
        let catalogue = &self.rule_set.catalogue;
        let because = findings.iter().flat_map(|it| &it.because);
        because
            .filter_map(|it| {
                let slot = catalogue.slot(&it.fact)?;
                let dated = catalogue
                    .question_of(slot)
                    .is_some_and(|question| question.date_slot == Some(slot));
                let what = catalogue.about(slot);
                let of = if dated { " (day of the result)" } else { "" };
                Some(ListEntry::bare(line(&format!("{what}{of} {}", it.value))))
            })
            .collect()
    }

    /// What the precautions ask of the patient.
    fn told(&self, before: bool) -> Vec<ListEntry> {
        let precautions = self.screening.precautions();
        let precautions = precautions.filter_map(|it| self.rule_set.rule(&it.rule));
        precautions
            .filter_map(|rule| {
                let text = if before {
                    &rule.tell_patient_before
                } else {
                    &rule.tell_patient_after
                };
                let facts = &self.referral.facts;
                let said = explain::sentence(self.rule_set, facts, rule, text.as_ref()?);
                Some(ListEntry::bare(line(&said)))
            })
            .collect()
    }

    fn clinic(&self) -> &str {
        self.details.clinic.as_deref().unwrap_or("the clinic")
    }

    fn footer(&self) -> Vec<String> {
        let details = self.details;
        let whose = format!(
            "{}, {}, made on {}",
            self.screening.reference,
            self.clinic(),
            day(details.made_on)
        );
        let of = format!(
            "Screened {}, {}",
            day(self.screening.as_of),
            edition(self.screening)
        );
        let entry = details
            .head
            .as_ref()
            .map(|(number, digest)| format!("Register entry {number}, sha256 {}", short(digest)));
        [Some(whose), Some(of), entry]
            .into_iter()
            .flatten()
            .map(|it| line(&it))
            .collect()
    }
}

/// Who is asked for what, for the referrer: what the referrer can answer in words, of the others only how many.
fn missing(groups: &[AskedGroup<'_>]) -> Vec<ListEntry> {
    let mut found = Vec::new();
    for group in groups {
        let n = group.names.len() + group.asks.len();
        let who = match group.from {
            Who::Patient => "the patient",
            Who::Referrer => {
                found.extend(group.asks.iter().map(|it| line(&it.ask)));
                continue;
            }
            Who::Nurse | Who::Clinician => "the clinic itself",
            Who::Record => "the record",
        };
        found.push(format!("{} from {who}", counted(n, "answer", "answers")));
    }
    found.into_iter().map(ListEntry::bare).collect()
}

/// Adds an entry to the list that is being written.
fn add_item(blocks: &mut Vec<LetterBlock>, text: String) {
    let entry = ListEntry::bare(text);
    match blocks.last_mut() {
        Some(LetterBlock::List(entries)) => entries.push(entry),
        _ => blocks.push(LetterBlock::List(vec![entry])),
    }
}

fn line(text: &str) -> String {
    one_line(text).into_owned()
}
