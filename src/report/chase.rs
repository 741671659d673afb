//! The chase list: what is still missing, by whom to ask, alone and fit to paste into a message.
//!
//! Each part may go to somebody else, so each says whom it is about and by when. It holds the questions and nothing
//! else about the patient: no finding, no rule, no value but the entries of a list that are in doubt.

use std::cmp::Reverse;

use crate::report::page::{Indent, Page, Paint, Style};
use crate::report::words::{counted, surgery, why_missing};
use crate::rule_set::catalogue::Who;
use crate::screening::result::{Screening, ToAsk, Unrecognised};

/// Narrow enough for a message.
const WIDTH: usize = 64;

/// The questions for one person or place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AskedGroup<'a> {
    /// Who can supply the answers.
    pub from: Who,
    /// Names that nobody recognised: to be cleared up before anything else.
    pub names: Vec<&'a Unrecognised>,
    /// The questions: first those that are needed in any case, and among these the worst first.
    pub asks: Vec<&'a ToAsk>,
}

impl<'a> AskedGroup<'a> {
    /// The questions that are needed in any case, and those that other answers may make needless.
    pub fn now_and_later(&self) -> (&[&'a ToAsk], &[&'a ToAsk]) {
        self.asks
            .split_at(self.asks.iter().take_while(|it| !it.depends).count())
    }
}

/// The names not recognised and the missing answers by whom to ask: patient, referrer, nurse, record. What only such a
/// name calls for is left out: most of it proves needless once the name is known.
pub fn groups(screening: &Screening) -> Vec<AskedGroup<'_>> {
    let names = &screening.unrecognised;
    let asks: Vec<&ToAsk> = screening
        .to_ask
        .iter()
        .filter(|it| !it.for_a_name)
        .collect();
    let mut from: Vec<Who> = names
        .iter()
        .map(|it| it.from)
        .chain(asks.iter().map(|it| it.from))
        .collect();
    from.sort();
    from.dedup();
    let group = |from: Who| {
        let mut asks: Vec<&ToAsk> = asks.iter().copied().filter(|it| it.from == from).collect();
        asks.sort_by_key(|it| (it.depends, Reverse((it.could_lead_to, it.urgency))));
        AskedGroup {
            from,
            names: names.iter().filter(|it| it.from == from).collect(),
            asks,
        }
    };
    from.into_iter().map(group).collect()
}

/// The chase list of one patient.
///
/// # Missing data
/// Every missing answer that could change something is in it, each once.
pub fn one(screening: &Screening) -> String {
    let mut page = page();
    let groups = groups(screening);
    if groups.is_empty() {
        page.paragraph(0, &about(screening));
        page.paragraph(
            0,
            "Nothing to ask: no missing answer could change anything.",
        );
    }
    // With nothing to ask before them, the later ones are what to ask.
    let any_now = groups
        .iter()
        .any(|it| !it.names.is_empty() || !it.now_and_later().0.is_empty());
    for (at, group) in groups.iter().enumerate() {
        if at > 0 {
            page.blank();
            page.line(&"-".repeat(WIDTH));
            page.blank();
        }
        part(&mut page, screening, group, any_now);
    }
    page.finish()
}

/// The chase list of one of several patients: all but the first stand under a line.
pub fn in_a_row(screening: &Screening, first: bool) -> String {
    let mut page = page();
    if !first {
        page.blank();
        page.line(&"=".repeat(WIDTH));
        page.blank();
    }
    page.add(&one(screening));
    page.finish()
}

fn page() -> Page {
    Page::new(&Style {
        width: WIDTH,
        colour: false,
    })
}

/// What one person is asked, complete by itself.
fn part(page: &mut Page, screening: &Screening, group: &AskedGroup<'_>, any_now: bool) {
    page.paragraph(0, &about(screening));
    let n_names = group.names.len();
    page.paragraph(
        0,
        &format!(
            "{} ({})",
            whom(group.from),
            counted(n_names + group.asks.len(), "question", "questions")
        ),
    );
    let (now, later) = group.now_and_later();
    page.blank();
    for (at, it) in group.names.iter().enumerate() {
        name(page, at + 1, it);
    }
    for (at, ask) in now.iter().enumerate() {
        question(page, n_names + at + 1, ask);
    }
    if n_names + now.len() > 0 && !later.is_empty() {
        page.blank();
    }
    if any_now && !later.is_empty() {
        page.paragraph(0, "Only needed if other answers call for it:");
    }
    for (at, ask) in later.iter().enumerate() {
        question(page, n_names + now.len() + at + 1, ask);
    }
}

/// The patient's reference and the day by which the answers are needed.
fn about(screening: &Screening) -> String {
    match surgery(screening) {
        Some(day) => format!("{}, surgery planned for {day}", screening.reference),
        None => format!("{}, day of surgery not known yet", screening.reference),
    }
}

/// To whom a part goes.
fn whom(from: Who) -> &'static str {
    match from {
        Who::Patient => "For the patient",
        Who::Referrer => "For the referrer",
        Who::Nurse => "For the nurse to measure or settle",
        Who::Clinician => "For the operating clinician to examine or decide",
        Who::Record => "To look up in the record",
    }
}

/// A question or a name, beside its number.
const NUMBERED: Indent = Indent::at(0, 4);

fn name(page: &mut Page, number: usize, name: &Unrecognised) {
    let nearest = name
        .nearest
        .as_ref()
        .map_or(String::new(), |it| format!(" Is it {it}?"));
    page.entry(
        &format!("{number}."),
        Paint::Plain,
        NUMBERED,
        &format!("\"{}\": no such name is known here.{nearest} The packet or letter gives the generic name.", name.text),
    );
    page.paragraph(4, &format!("It stands among the answers to: {}", name.ask));
    page.paragraph(
        4,
        &format!("Entered in {}, in place of the other name.", name.fact),
    );
}

fn question(page: &mut Page, number: usize, ask: &ToAsk) {
    let (said, options) = ask.said();
    page.entry(&format!("{number}."), Paint::Plain, NUMBERED, said);
    if !options.is_empty() {
        // A list that forces a choice would get a wrong one, and "none" is no answer where one is needed.
        let (how, none) = if ask.several {
            ("All that are so", " / none of these")
        } else {
            ("One of", "")
        };
        page.paragraph(
            4,
            &format!("{how}: {}{none} / not known", options.join(" / ")),
        );
    }
    if let Some(why) = why_missing(ask) {
        page.paragraph(4, &format!("So far: {why}."));
    }
    page.paragraph(4, &format!("Entered as {}", ask.entry));
}
