//! The interview: a section a page, and short ones together; asked only what still matters, each answer in the register before
//! the next page.

use axum::http::StatusCode;
use axum::response::Response;
use maud::{Markup, html};

use crate::desk::page::{hidden, of_referral, see};
use crate::desk::pages::interview::answer::{Sent, Slip};
use crate::desk::pages::interview::field::{Field, names};
use crate::desk::pages::interview::note::NoteField;
use crate::desk::pages::referral::problems;
use crate::desk::screened::{answered, file_name};
use crate::desk::visit::{NoReply, Reply, Visit, words};
use crate::document::diagnostic::Diagnostic;
use crate::questionnaire::edit;
use crate::register::happening::Happening;
use crate::register::state::ReferralState;
use crate::rule_set::{Idx, Question, RuleSet, Section};
use crate::screening::interview::Interview;
use crate::screening::result::Refusal;
use crate::screening::screener::{Referral, Screener};

mod answer;
mod field;
mod note;
mod typed;

/// Short sections share a page up to so many open questions: each page less is a load and a key less.
const QUESTIONS_A_PAGE: usize = 12;

/// A questionnaire in the middle of its interview.
struct Underway {
    state: ReferralState,
    /// Its text; a new one if no answer was given yet.
    text: String,
    /// What is known, and what to ask; or why it cannot be screened as it stands.
    read: Result<(Referral, Interview), Refusal>,
}

impl Underway {
    fn of(visit: &Visit<'_>) -> Result<Self, NoReply> {
        let state = visit.referral()?;
        if state.is_removed {
            return Err(NoReply::Form(
                "What this referral said was removed; nothing more is written about it.".into(),
            ));
        }
        let text = match &state.questionnaire {
            Some(text) => text.clone(),
            None => edit::started(visit.rule_set(), &state.reference, visit.today())
                .map_err(|found| NoReply::Form(words(&found)))?,
        };
        let screener = visit.screener();
        let read = read(&screener, &state.reference, &text);
        Ok(Self { state, text, read })
    }

    /// What of a section stands on its page: what to ask now, and what was answered for this patient alone.
    fn questions(
        &self,
        rule_set: &RuleSet,
        section: Idx<Section>,
        is_whole: bool,
    ) -> Vec<Idx<Question>> {
        let asked = |at: Idx<Question>| match &self.read {
            Ok((referral, interview)) => {
                interview.asks.iter().any(|it| it.question == at)
                    || referral
                        .answers
                        .given
                        .get(&at)
                        .is_some_and(|it| !it.standing)
            }
            Err(_) => true,
        };
        let all = rule_set.catalogue.questions.entries();
        all.filter(|(at, it)| it.section == section && (is_whole || asked(*at)))
            .map(|(at, _)| at)
            .collect()
    }

    /// The questions of each section that nobody was asked yet.
    fn n_open(&self, section: Idx<Section>) -> usize {
        self.read.as_ref().map_or(0, |(_, interview)| {
            interview.open().filter(|it| it.section == section).count()
        })
    }

    /// What stands on the page of a section: its own questions, and while there are few those of the sections with something to
    /// ask behind it.
    fn page(
        &self,
        rule_set: &RuleSet,
        section: Idx<Section>,
        is_whole: bool,
    ) -> Vec<Idx<Question>> {
        let mut all = self.questions(rule_set, section, is_whole);
        let mut n_open = self.n_open(section);
        if is_whole || n_open == 0 {
            return all;
        }
        let sections = rule_set.catalogue.sections.indices();
        for next in sections.filter(|at| *at > section && self.n_open(*at) > 0) {
            n_open += self.n_open(next);
            if n_open > QUESTIONS_A_PAGE {
                break;
            }
            all.extend(self.questions(rule_set, next, false));
        }
        all
    }

    /// The first section, from this one on, with something to ask that is not among these.
    fn next(&self, from: Option<Idx<Section>>, shown: &[Idx<Question>]) -> Option<Idx<Section>> {
        let open = self.read.iter().flat_map(|(_, interview)| interview.open());
        let mut left = open.filter(|it| !shown.contains(&it.question));
        left.find(|it| from.is_none_or(|from| it.section >= from))
            .map(|it| it.section)
    }

    fn referral(&self) -> Option<&Referral> {
        self.read.as_ref().ok().map(|(referral, _)| referral)
    }

    fn field<'a>(&self, visit: &Visit<'_>, at: Idx<Question>) -> Field<'a> {
        Field::stored(visit.rule_set(), at, self.referral(), visit.today())
    }
}

fn read(
    screener: &Screener<'_>,
    reference: &str,
    text: &str,
) -> Result<(Referral, Interview), Refusal> {
    let referral = screener.read(&file_name(reference), text.as_bytes())?;
    let interview = screener.interview(&referral);
    Ok((referral, interview))
}

/// Sends on to the first section with something to ask.
pub(crate) fn next(visit: &mut Visit<'_>) -> Reply {
    let underway = Underway::of(visit)?;
    let rule_set = visit.rule_set();
    let first = rule_set.catalogue.sections.indices().next();
    let section = underway
        .next(None, &[])
        .or(first)
        .ok_or(NoReply::NotFound)?;
    let id = &rule_set.catalogue.sections[section].id;
    Ok(see(&of_referral(
        &underway.state.reference,
        &format!("/interview/{id}"),
    )))
}

/// The page of a section.
pub(crate) fn show(visit: &mut Visit<'_>) -> Reply {
    let underway = Underway::of(visit)?;
    let section = section(visit)?;
    let is_whole = visit.query.get("all").is_some();
    let questions = underway.page(visit.rule_set(), section, is_whole);
    let fields = questions.into_iter().map(|at| underway.field(visit, at));
    let shown = PageOfSections {
        section,
        fields: fields.collect(),
        notes: Vec::new(),
        told: saved_before(visit, &underway),
    };
    Ok(page(visit, &underway, shown, StatusCode::OK))
}

fn section(visit: &Visit<'_>) -> Result<Idx<Section>, NoReply> {
    let id = visit.path.get("section").ok_or(NoReply::NotFound)?;
    let sections = &visit.rule_set().catalogue.sections;
    sections.position(|it| it.id == id).ok_or(NoReply::NotFound)
}

/// What a page shows of a referral.
struct PageOfSections<'a> {
    section: Idx<Section>,
    fields: Vec<Field<'a>>,
    /// The notes that are not as the register has them.
    notes: Vec<NoteField>,
    /// What to say before the rest.
    told: Markup,
}

fn page(
    visit: &Visit<'_>,
    underway: &Underway,
    shown: PageOfSections<'_>,
    status: StatusCode,
) -> Response {
    let PageOfSections {
        section,
        fields,
        notes,
        told,
    } = shown;
    let sections = &visit.rule_set().catalogue.sections;
    let reference = &underway.state.reference;
    let mut on_page = vec![section];
    on_page.extend(fields.iter().map(|it| it.question.section));
    on_page.dedup();
    let titles: Vec<&str> = on_page
        .iter()
        .map(|at| sections[*at].title.as_str())
        .collect();
    let title = format!("{}, {reference}", titles.join(", "));
    let wrong: Vec<&Field<'_>> = fields.iter().filter(|it| !it.slips.is_empty()).collect();
    let wrong_notes = notes.iter().filter(|it| !it.slips.is_empty());
    let wrong_notes: Vec<(String, String)> =
        wrong_notes.map(|it| (it.id(), it.title.clone())).collect();
    let first_open = fields
        .iter()
        .position(Field::is_blank)
        .filter(|_| wrong.is_empty());
    let n_rest = fields.iter().filter(|it| it.is_of_the_rest()).count();
    let notes = NoteField::of_page(visit.rule_set(), underway.referral(), &on_page, notes);
    let body = html! {
        h1 { (sections[section].title) ", " a href=(of_referral(reference, "")) { (reference) } }
        (standing(underway))
        (told)
        @if !wrong.is_empty() || !wrong_notes.is_empty() {
            div.errors role="alert" tabindex="-1" {
                h2 { "Not yet understood" }
                p { "Everything else on this page is saved." }
                ul {
                    @for it in &wrong { li { a href={ "#" (it.id()) } { (it.question.ask) } } }
                    @for (id, title) in &wrong_notes { li { a href={ "#" (id) } { (title) } } }
                }
            }
        }
        form.interview method="post" action=(of_referral(reference, &format!("/interview/{}", sections[section].id))) {
            (visit.token_field())
            (hidden("version", &underway.state.version.to_string()))
            p.hint.by-key {
                "By key: y, n or the figure beside a choice; 0 none of these, * all of these; ? not known; - no, or none of these, to the rest of the page; "
                "Enter to the next open question, and behind the last one saves."
            }
            @for (at, field) in fields.iter().enumerate() {
                @let before = at.checked_sub(1).and_then(|it| fields.get(it)).map_or(section, |it| it.question.section);
                @if before != field.question.section { h2 { (sections[field.question.section].title) } }
                (field.draw(first_open == Some(at)))
            }
            @if fields.is_empty() { p { "Nothing of this section matters for this patient." } }
            p.buttons {
                button name="then" value="next" { "Save and go on" }
                " " button.plain name="then" value="stop" { "Save and stop" }
                @if n_rest > 1 {
                    " " button.plain name="then" value="rest" { "No, or none of these, to the rest of this page" }
                }
            }
            (notes)
        }
        (names(visit.rule_set(), &fields))
        p { a href="?all=1" { "Show every question of this section" } }
        (all_sections(underway, visit.rule_set(), section))
    };
    visit.page_with(status, &title, body)
}

/// What it comes to so far, and whether asking may stop.
fn standing(underway: &Underway) -> Markup {
    match &underway.read {
        Err(refusal) => html! {
            div.errors role="alert" {
                p { strong { "These answers cannot be screened as they stand." } }
                (problems(&refusal.problems))
            }
        },
        Ok((_, interview)) => {
            let verdict = interview.span.verdict().verdict_words();
            html! {
                p.standing role="status" {
                    "So far " strong { (verdict) } ". "
                    @if interview.at_most == 0 { "Nothing is left to ask." }
                    @else if interview.is_settled() {
                        "At most " (interview.at_most) " further answers cannot change that: "
                        a href=(of_referral(&underway.state.reference, "")) { "you may stop here" } "."
                    } @else {
                        "At most " (interview.at_most) " answers to go, at best " (interview.fewest) "."
                    }
                }
            }
        }
    }
}

fn all_sections(underway: &Underway, rule_set: &RuleSet, here: Idx<Section>) -> Markup {
    let to = |id: &str| of_referral(&underway.state.reference, &format!("/interview/{id}"));
    html! {
        nav.sections aria-label="Sections" {
            h2 { "Sections" }
            ol {
                @for (at, it) in rule_set.catalogue.sections.entries() {
                    li {
                        a href=(to(&it.id)) aria-current=[(at == here).then_some("page")] { (it.title) }
                        @let n = underway.n_open(at);
                        @if n > 0 { " (" (n) " to ask)" }
                    }
                }
            }
        }
    }
}

/// A questionnaire's text while answers are put into it. One that makes it worse is left out.
struct Saving<'a> {
    screener: &'a Screener<'static>,
    reference: &'a str,
    text: String,
    n_problems: usize,
    changed: Vec<String>,
}

impl Saving<'_> {
    fn problems(&self, text: &str) -> Vec<Diagnostic> {
        let read = self
            .screener
            .read(&file_name(self.reference), text.as_bytes());
        read.err().map_or_else(Vec::new, |it| it.problems)
    }

    /// Takes a text with one answer or note otherwise, unless that brings in a diagnostic, such as of a date before another one.
    fn put(
        &mut self,
        id: &str,
        candidate: Result<String, Vec<Diagnostic>>,
    ) -> Result<(), Vec<Slip>> {
        let candidate = candidate.map_err(Slip::all)?;
        if candidate == self.text {
            return Ok(());
        }
        let problems = self.problems(&candidate);
        if problems.len() > self.n_problems {
            return Err(Slip::all(problems));
        }
        self.text = candidate;
        self.n_problems = problems.len();
        self.changed.push(id.to_owned());
        Ok(())
    }
}

/// Saves what was answered on a page. What was not understood stays on it as typed; all else is saved.
pub(crate) fn save(visit: &mut Visit<'_>) -> Reply {
    let underway = Underway::of(visit)?;
    let section = section(visit)?;
    let rule_set = visit.rule_set();
    let then = visit.form.trimmed("then").to_owned();
    let mut sent = Sent::all(rule_set, &visit.form);
    let notes = NoteField::sent(rule_set, &visit.form);
    if visit.field("version")? != underway.state.version.to_string() {
        return Ok(stale(visit, &underway, section, &sent, notes));
    }
    if then == "rest" {
        for it in &mut sent {
            it.no_if_blank(&rule_set.catalogue.questions[it.question]);
        }
    }
    let screener = visit.screener();
    let reference = underway.state.reference.clone();
    let mut saving = Saving {
        screener: &screener,
        reference: &reference,
        text: underway.text.clone(),
        n_problems: 0,
        changed: Vec::new(),
    };
    saving.n_problems = saving.problems(&saving.text).len();
    let mut slips: Vec<(&Sent, Vec<Slip>)> = Vec::new();
    for answer in sent.iter().filter(|it| !it.is_untouched()) {
        let at = answer.question;
        let question = &rule_set.catalogue.questions[at];
        let taken = answer
            .raw
            .entered(question, visit.today())
            .map_err(|slip| vec![slip])
            .and_then(|entered| {
                edit::understood(rule_set, at, &entered, visit.today()).map_err(Slip::all)?;
                let candidate = edit::with_answer(rule_set, &saving.text, at, &entered);
                saving.put(&question.id, candidate)
            });
        if let Err(found) = taken {
            slips.push((answer, found));
        }
    }
    let mut wrong_notes = Vec::new();
    for note in notes {
        let candidate = edit::with_note(rule_set, &saving.text, note.section, &note.text);
        if let Err(slips) = saving.put(&note.key(rule_set), candidate) {
            wrong_notes.push(NoteField { slips, ..note });
        }
    }
    let Saving { text, changed, .. } = saving;
    if !changed.is_empty() {
        let all = answered(&screener, &reference, text, changed);
        visit.write_all(&reference, None, all)?;
    }
    let before = underway.state.version;
    let underway = Underway::of(visit)?;
    let shown: Vec<Idx<Question>> = sent.iter().map(|it| it.question).collect();
    let is_understood = slips.is_empty() && wrong_notes.is_empty();
    if !is_understood || then == "keep" {
        let fields = sent.iter().map(|answer| {
            let field = underway.field(visit, answer.question);
            match slips.iter().find(|(of, _)| of.question == answer.question) {
                Some((_, found)) => field.with(answer, found.clone()),
                None => field,
            }
        });
        let status = if is_understood {
            StatusCode::OK
        } else {
            StatusCode::UNPROCESSABLE_ENTITY
        };
        let shown = PageOfSections {
            section,
            fields: fields.collect(),
            notes: wrong_notes,
            told: html! {},
        };
        return Ok(page(visit, &underway, shown, status));
    }
    let next = underway
        .next(Some(section), &shown)
        .filter(|_| then != "stop");
    Ok(see(&match next {
        Some(at) => {
            let id = &rule_set.catalogue.sections[at].id;
            of_referral(&reference, &format!("/interview/{id}?since={before}"))
        }
        None => of_referral(&reference, ""),
    }))
}

/// What was answered behind an entry of the register, and by whom.
fn answered_since(visit: &Visit<'_>, underway: &Underway, since: i64) -> Vec<(String, String)> {
    let entries = visit.register().entries(&underway.state.reference);
    let changed = entries
        .iter()
        .flatten()
        .filter(|it| it.seq > since)
        .flat_map(|it| {
            let changed = match &it.happening {
                Some(Happening::Answered { changed, .. }) => changed.as_slice(),
                _ => &[],
            };
            changed.iter().map(|id| (it.person.clone(), id.clone()))
        });
    changed.collect()
}

/// What the page before this one was understood as, where that is more than a choice.
fn saved_before(visit: &Visit<'_>, underway: &Underway) -> Markup {
    let since = visit.query.get("since").and_then(|it| it.parse().ok());
    let answered = since.map_or_else(Vec::new, |it| answered_since(visit, underway, it));
    let questions = &visit.rule_set().catalogue.questions;
    let fields = answered.iter().filter_map(|(_, id)| {
        let at = questions.position(|it| it.id == *id)?;
        let field = underway.field(visit, at);
        Some((field.question, field.understood?))
    });
    let fields: Vec<_> = fields.collect();
    html! {
        @if !fields.is_empty() {
            details.saved open {
                summary { "Saved, and understood as" }
                ul { @for (question, it) in &fields { li { (question.ask) " " strong { (it.words) } } } }
            }
        }
    }
}

/// Somebody else saved meanwhile: what changed is told, what was typed stays, and nothing is saved until it is sent again.
fn stale(
    visit: &Visit<'_>,
    underway: &Underway,
    section: Idx<Section>,
    sent: &[Sent],
    notes: Vec<NoteField>,
) -> Response {
    let rule_set = visit.rule_set();
    let since: i64 = visit
        .form
        .get("version")
        .and_then(|it| it.parse().ok())
        .unwrap_or(0);
    let meanwhile = answered_since(visit, underway, since);
    let ask = |id: &str| {
        rule_set
            .catalogue
            .question(id)
            .map_or_else(|| id.to_owned(), |it| it.ask.clone())
    };
    let shown = |id: &str| {
        let at = rule_set.catalogue.questions.position(|it| it.id == id);
        let given = at.and_then(|at| underway.referral()?.answers.given.get(&at));
        given.map_or("none".to_owned(), |it| {
            it.source.slice(&it.node.span).trim().to_owned()
        })
    };
    let told = html! {
        div.errors role="alert" tabindex="-1" {
            h2 { "Somebody saved this referral meanwhile" }
            p { "Nothing of this page is saved yet. What you typed stands below; what was saved stands here. Look, then save again." }
            ul { @for (person, id) in &meanwhile { li { (person) ": " (ask(id)) " " strong { (shown(id)) } } } }
        }
    };
    let fields = sent.iter().map(|answer| {
        let stored = underway.field(visit, answer.question);
        if answer.is_untouched() {
            stored
        } else {
            stored.with(answer, Vec::new())
        }
    });
    let shown = PageOfSections {
        section,
        fields: fields.collect(),
        notes,
        told,
    };
    page(visit, underway, shown, StatusCode::CONFLICT)
}
