//! The interview: one section a page, asked only what still matters, each answer in the register before the next page.

use axum::http::StatusCode;
use axum::response::Response;
use maud::{Markup, html};

use crate::desk::page::{hidden, of_referral, see};
use crate::desk::pages::interview::field::{Answers, Field, Slip};
use crate::desk::pages::referral::problems;
use crate::desk::screened::{answered, file_name};
use crate::desk::visit::{NoReply, Reply, Visit, words};
use crate::questionnaire::edit;
use crate::register::happening::Happening;
use crate::register::state::ReferralState;
use crate::rule_set::{Idx, Question, RuleSet, Section};
use crate::screening::interview::Interview;
use crate::screening::result::Refusal;
use crate::screening::screener::{Referral, Screener};

mod field;

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

    /// The first section with something to ask, from this one on.
    fn next(&self, rule_set: &RuleSet, from: Option<Idx<Section>>) -> Option<Idx<Section>> {
        let sections = rule_set.catalogue.sections.indices();
        sections
            .filter(|at| from.is_none_or(|from| *at > from))
            .find(|at| self.n_open(*at) > 0)
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
        .next(rule_set, None)
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
    let rule_set = visit.rule_set();
    let fields: Vec<Field> = underway
        .questions(rule_set, section, is_whole)
        .into_iter()
        .map(|at| Field::stored(rule_set, at, given(&underway, at), visit.today()))
        .collect();
    Ok(page(
        visit,
        &underway,
        section,
        &fields,
        StatusCode::OK,
        None,
    ))
}

fn section(visit: &Visit<'_>) -> Result<Idx<Section>, NoReply> {
    let id = visit.path.get("section").ok_or(NoReply::NotFound)?;
    let sections = &visit.rule_set().catalogue.sections;
    sections.position(|it| it.id == id).ok_or(NoReply::NotFound)
}

fn given(underway: &Underway, at: Idx<Question>) -> Option<&crate::questionnaire::facts::Given> {
    underway.read.as_ref().ok()?.0.answers.given.get(&at)
}

fn page(
    visit: &Visit<'_>,
    underway: &Underway,
    section: Idx<Section>,
    fields: &[Field],
    status: StatusCode,
    told: Option<Markup>,
) -> Response {
    let rule_set = visit.rule_set();
    let reference = &underway.state.reference;
    let shown = &rule_set.catalogue.sections[section];
    let title = format!("{}, {reference}", shown.title);
    let wrong: Vec<&Field> = fields.iter().filter(|it| !it.slips.is_empty()).collect();
    let first_open = fields.iter().position(Field::is_blank);
    let body = html! {
        h1 { (shown.title) ", " a href=(of_referral(reference, "")) { (reference) } }
        (standing(underway))
        @if let Some(told) = told { (told) }
        @if !wrong.is_empty() {
            div.errors role="alert" tabindex="-1" {
                h2 { "Not yet understood" }
                p { "Everything else on this page is saved." }
                ul { @for it in &wrong { li { a href={ "#" (it.id()) } { (it.ask) } } } }
            }
        }
        form method="post" action=(of_referral(reference, &format!("/interview/{}", shown.id))) {
            (visit.token_field())
            (hidden("version", &underway.state.version.to_string()))
            @for (at, field) in fields.iter().enumerate() { (field.draw(first_open == Some(at) && wrong.is_empty())) }
            @if fields.is_empty() { p { "Nothing of this section matters for this patient." } }
            p.buttons {
                button name="then" value="next" { "Save and go on" }
                " " button.plain name="then" value="stop" { "Save and stop" }
            }
        }
        p { a href="?all=1" { "Show every question of this section" } }
        (sections(underway, rule_set, section))
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

fn sections(underway: &Underway, rule_set: &RuleSet, here: Idx<Section>) -> Markup {
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

/// Saves what was answered on a page. What was not understood stays on it as typed; all else is saved.
pub(crate) fn save(visit: &mut Visit<'_>) -> Reply {
    let underway = Underway::of(visit)?;
    let section = section(visit)?;
    let rule_set = visit.rule_set();
    let version = visit.field("version")?.to_owned();
    let sent = Answers::of(rule_set, section, &visit.form);
    if version != underway.state.version.to_string() {
        return Ok(stale(visit, &underway, section, &sent));
    }
    let screener = visit.screener();
    let reference = underway.state.reference.clone();
    let n_problems = |text: &str| {
        let read = screener.read(&file_name(&reference), text.as_bytes());
        read.err().map_or(0, |it| it.problems.len())
    };
    let mut text = underway.text.clone();
    let mut n_before = n_problems(&text);
    let mut slips: Vec<(Idx<Question>, Vec<Slip>)> = Vec::new();
    let mut changed = Vec::new();
    for answer in &sent.answers {
        let at = answer.question;
        let question = &rule_set.catalogue.questions[at];
        if answer.is_untouched() {
            continue;
        }
        let taken = answer
            .entered(question)
            .map_err(|slip| vec![slip])
            .and_then(|entered| {
                edit::understood(rule_set, at, &entered, visit.today()).map_err(Slip::all)?;
                let candidate =
                    edit::with_answer(rule_set, &text, at, &entered).map_err(Slip::all)?;
                // What it says beside other answers, such as a date before another one.
                match screener.read(&file_name(&reference), candidate.as_bytes()) {
                    Err(refusal) if refusal.problems.len() > n_before => {
                        Err(Slip::all(refusal.problems))
                    }
                    _ => Ok(candidate),
                }
            });
        match taken {
            Ok(candidate) => {
                text = candidate;
                n_before = n_problems(&text);
                changed.push(question.id.clone());
            }
            Err(found) => slips.push((at, found)),
        }
    }
    if !changed.is_empty() {
        let all = answered(&screener, &reference, text, changed);
        visit.write_all(&reference, None, all)?;
    }
    let underway = Underway::of(visit)?;
    if !slips.is_empty() {
        let fields: Vec<Field> = sent
            .answers
            .iter()
            .map(|answer| {
                let stored = Field::stored(
                    rule_set,
                    answer.question,
                    given(&underway, answer.question),
                    visit.today(),
                );
                match slips.iter().find(|(at, _)| *at == answer.question) {
                    Some((_, found)) => stored.with(answer, found.clone()),
                    None => stored,
                }
            })
            .collect();
        return Ok(page(
            visit,
            &underway,
            section,
            &fields,
            StatusCode::UNPROCESSABLE_ENTITY,
            None,
        ));
    }
    let shown: Vec<Idx<Question>> = sent.answers.iter().map(|it| it.question).collect();
    let opened = underway.read.as_ref().is_ok_and(|(_, interview)| {
        let mut open = interview.open();
        open.any(|it| it.section == section && !shown.contains(&it.question))
    });
    let then = match visit.form.get("then") {
        Some("stop") => None,
        _ if opened => Some(section),
        _ => underway.next(rule_set, Some(section)),
    };
    Ok(see(&match then {
        Some(at) => {
            let id = &rule_set.catalogue.sections[at].id;
            of_referral(&reference, &format!("/interview/{id}"))
        }
        None => of_referral(&reference, ""),
    }))
}

/// Somebody else saved meanwhile: what changed is told, what was typed stays, and nothing is saved until it is sent again.
fn stale(
    visit: &Visit<'_>,
    underway: &Underway,
    section: Idx<Section>,
    sent: &Answers,
) -> Response {
    let rule_set = visit.rule_set();
    let since: i64 = visit
        .form
        .get("version")
        .and_then(|it| it.parse().ok())
        .unwrap_or(0);
    let entries = visit.register().entries(&underway.state.reference);
    let meanwhile: Vec<(String, Vec<String>)> = entries
        .iter()
        .flatten()
        .filter(|it| it.seq > since)
        .filter_map(|it| match &it.happening {
            Some(Happening::Answered { changed, .. }) => Some((it.person.clone(), changed.clone())),
            _ => None,
        })
        .collect();
    let ask = |id: &str| {
        rule_set
            .catalogue
            .question(id)
            .map_or_else(|| id.to_owned(), |it| it.ask.clone())
    };
    let shown = |id: &str| {
        let at = rule_set.catalogue.questions.position(|it| it.id == id);
        at.and_then(|at| given(underway, at))
            .map_or("none".to_owned(), |it| {
                it.source.slice(&it.node.span).trim().to_owned()
            })
    };
    let told = html! {
        div.errors role="alert" tabindex="-1" {
            h2 { "Somebody saved this referral meanwhile" }
            p { "Nothing of this page is saved yet. What you typed stands below; what was saved stands here. Look, then save again." }
            ul {
                @for (person, changed) in &meanwhile {
                    @for id in changed { li { (person) ": " (ask(id)) " " strong { (shown(id)) } } }
                }
            }
        }
    };
    let fields: Vec<Field> = sent
        .answers
        .iter()
        .map(|answer| {
            let stored = Field::stored(
                rule_set,
                answer.question,
                given(underway, answer.question),
                visit.today(),
            );
            if answer.is_untouched() {
                stored
            } else {
                stored.with(answer, Vec::new())
            }
        })
        .collect();
    page(
        visit,
        underway,
        section,
        &fields,
        StatusCode::CONFLICT,
        Some(told),
    )
}
