//! In and out: questionnaires taken in, one saved as a file, the register's export.

use axum::http::StatusCode;
use maud::{Markup, html};

use crate::desk::page::{hidden, of_referral, see};
use crate::desk::pages::referral::problems;
use crate::desk::screened::{answered, file_name};
use crate::desk::visit::{NoReply, Reply, Visit, saved};
use crate::document::diagnostic::Diagnostic;
use crate::document::source::NodeKind;
use crate::questionnaire::facts::Gathered;
use crate::questionnaire::frame;
use crate::register::export::ndjson;
use crate::register::happening::Happening;
use crate::register::people::PersonRole;
use crate::register::state::ReferralState;
use crate::rule_set::files::sha256;
use crate::rule_set::{Idx, Question, RuleSet};

/// The page.
pub(crate) fn show(visit: &mut Visit<'_>) -> Reply {
    let body = page(visit, &[], "", "")?;
    Ok(visit.page("In and out", body))
}

fn page(
    visit: &Visit<'_>,
    found: &[Diagnostic],
    name: &str,
    text: &str,
) -> Result<Markup, NoReply> {
    let role = visit.person()?.role;
    Ok(html! {
        h1 { "In and out" }
        @if role != PersonRole::Governance {
            section {
                h2 { "Take a questionnaire in" }
                p { "The text of a file that " code { "preblock" } " wrote, or that somebody edited by hand. Of a referral that has answers already it is shown first what would change." }
                @if !found.is_empty() {
                    div.errors role="alert" tabindex="-1" {
                        h3 { "Not taken in" }
                        (problems(found))
                    }
                }
                form method="post" action="/files" {
                    (visit.token_field())
                    div.field {
                        label for="name" { "Name of the file" }
                        input id="name" name="name" value=(name) maxlength="200" autocomplete="off";
                        p.hint { "One that ends with .json is read as JSON, any other as YAML." }
                    }
                    div.field {
                        label for="text" { "Its text" }
                        textarea id="text" name="text" rows="16" spellcheck="false" required { "\n" (text) }
                    }
                    button { "Take it in" }
                }
            }
        }
        @if role == PersonRole::Governance {
            section {
                h2 { "Export" }
                p { "Every entry of the register, one JSON object a line, with the answers of all patients that are kept." }
                p { a href="/files/export" { "Save the export" } }
            }
        }
        section {
            h2 { "Copies" }
            p { "The register is one file: " code { (visit.register().path().display()) } ". " code { "preblock register backup" } " makes a checked copy of it, also while the desk is open." }
            p { "Head: " code { (visit.register().head()?) } ". Written down elsewhere, it fixes everything before it." }
        }
    })
}

/// Opens a referral of which nothing is known but its reference.
pub(crate) fn open(visit: &mut Visit<'_>) -> Reply {
    let reference = visit.field("reference")?.trim().to_owned();
    if visit.register().referral(&reference)?.is_some() {
        return Ok(see(&of_referral(&reference, "")));
    }
    let text = crate::questionnaire::edit::started(visit.rule_set(), &reference, visit.today());
    match text {
        Ok(_) => {
            visit.write(
                Some(&reference),
                None,
                Happening::Opened {
                    from: String::new(),
                },
            )?;
            Ok(see(&of_referral(&reference, "/interview")))
        }
        Err(found) => {
            let body = html! {
                h1 { "Not opened" }
                div.errors role="alert" { (problems(&found)) }
                p { a href="/" { "Back to the pile" } }
            };
            Ok(visit.page_with(StatusCode::UNPROCESSABLE_ENTITY, "Not opened", body))
        }
    }
}

/// Takes a questionnaire in.
pub(crate) fn take_in(visit: &mut Visit<'_>) -> Reply {
    let name = visit.field("name")?.trim().to_owned();
    // A browser sends each end of a line as two characters.
    let text = visit.field("text")?.replace("\r\n", "\n");
    let named = if name.is_empty() {
        "questionnaire.yaml"
    } else {
        &name
    };
    let screener = visit.screener();
    // It is kept under its reference and read as YAML from then on, whatever it was called.
    let read = screener
        .read(named, text.as_bytes())
        .and_then(|it| screener.read(&file_name(&it.reference), text.as_bytes()));
    let reference = match read {
        Ok(referral) => referral.reference,
        Err(refusal) => {
            let body = page(visit, &refusal.problems, &name, &text)?;
            return Ok(visit.page_with(StatusCode::UNPROCESSABLE_ENTITY, "Not taken in", body));
        }
    };
    let state = visit.register().referral(&reference)?;
    let mut changed = Vec::new();
    if let Some((state, old)) = state
        .as_ref()
        .and_then(|it| Some((it, it.questionnaire.as_ref()?)))
    {
        if *old == text {
            return Ok(see(&of_referral(&reference, "")));
        }
        let found = changes(visit.rule_set(), old, &text);
        if visit.form.get("version") != Some(&state.version.to_string()) {
            let body = confirm(visit, state, &name, &text, &found);
            return Ok(visit.page("Replace answers", body));
        }
        // A page leaves out what steers how it is shown, so that it may carry another text than it was given.
        if visit.field("digest")? != sha256(text.as_bytes()) {
            return Err(NoReply::Form(
                "The text holds characters that nobody sees. Nothing was done: take them out, then take it in again.".into(),
            ));
        }
        changed = found.into_iter().filter_map(|it| it.question).collect();
    }
    let mut all = answered(&screener, &reference, text, changed);
    if state.is_none() {
        let from = "a file".to_owned();
        all.insert(0, Happening::Opened { from });
    }
    visit.write_all(&reference, None, all)?;
    Ok(see(&of_referral(&reference, "")))
}

/// An answer that is another one in another text of a questionnaire.
struct ChangedAnswer {
    /// The id of the question; `None` for the day of the answers and for notes.
    question: Option<String>,
    about: String,
    /// As written; empty where nothing is.
    before: String,
    after: String,
}

/// What of its answers differs between two texts of a questionnaire, in the order of the questions.
fn changes(rule_set: &RuleSet, before: &str, after: &str) -> Vec<ChangedAnswer> {
    let read = |text: &str| frame::questionnaire(rule_set, "questionnaire", text.as_bytes()).0;
    let [before, after] = [before, after].map(|text| read(text).map(|it| it.answers));
    let answer = |of: &Option<Gathered>, at: Idx<Question>| {
        let given = of.as_ref().and_then(|it| it.given.get(&at));
        let written = given.filter(|it| it.node.kind != NodeKind::Null);
        let written = written.map(|it| it.source.slice(&it.node.span));
        written.map_or_else(String::new, |it| {
            it.split_whitespace().collect::<Vec<&str>>().join(" ")
        })
    };
    let day = |of: &Option<Gathered>| {
        let on = of.as_ref().and_then(|it| it.completed_on.as_ref());
        on.map_or_else(String::new, |(day, _)| day.to_string())
    };
    let notes = |of: &Option<Gathered>| {
        let notes = of.iter().flat_map(|it| &it.notes);
        notes
            .map(|it| it.text.as_str())
            .collect::<Vec<&str>>()
            .join("; ")
    };
    let answers = rule_set
        .catalogue
        .questions
        .entries()
        .map(|(at, question)| ChangedAnswer {
            question: Some(question.id.clone()),
            about: question.ask.clone(),
            before: answer(&before, at),
            after: answer(&after, at),
        });
    let beside = [
        ("Day of the answers", day(&before), day(&after)),
        ("Notes", notes(&before), notes(&after)),
    ];
    let beside = beside.map(|(about, before, after)| ChangedAnswer {
        question: None,
        about: about.to_owned(),
        before,
        after,
    });
    let all = answers.chain(beside);
    all.filter(|it| it.before != it.after).collect()
}

/// What would be replaced, to be looked at before anything is written.
fn confirm(
    visit: &Visit<'_>,
    state: &ReferralState,
    name: &str,
    text: &str,
    found: &[ChangedAnswer],
) -> Markup {
    let shown = |it: &str| if it.is_empty() { "nothing" } else { it }.to_owned();
    html! {
        h1 { "Replace answers, " a href=(of_referral(&state.reference, "")) { (state.reference) } }
        @if visit.form.get("version").is_some() {
            p role="alert" { strong { "Something was written about this referral meanwhile." } " Nothing was replaced; look again." }
        }
        p { "This referral has answers already. Nothing is written yet." }
        @if found.is_empty() { p { "No answer differs; what stands around them does." } } @else {
            div.wide tabindex="0" role="region" aria-label="What changes" {
                table {
                    thead { tr { @for it in ["Question", "Now", "Then"] { th scope="col" { (it) } } } }
                    tbody {
                        @for it in found {
                            tr { th scope="row" { (it.about) } td data-label="Now" { (shown(&it.before)) } td data-label="Then" { (shown(&it.after)) } }
                        }
                    }
                }
            }
        }
        form method="post" action="/files" {
            (visit.token_field())
            (hidden("version", &state.version.to_string()))
            (hidden("digest", &sha256(text.as_bytes())))
            (hidden("name", name))
            (hidden("text", text))
            button { "Replace the answers" }
        }
        p { a href=(of_referral(&state.reference, "")) { "Leave them as they are" } }
    }
}

/// A referral's questionnaire as a file.
pub(crate) fn questionnaire(visit: &mut Visit<'_>) -> Reply {
    let state = visit.referral()?;
    let text = state.questionnaire.ok_or(NoReply::NotFound)?;
    saved(
        &file_name(&state.reference),
        "text/plain; charset=utf-8",
        text,
    )
}

/// Every entry, one JSON object a line.
pub(crate) fn export(visit: &mut Visit<'_>) -> Reply {
    let entries = visit.register().all_entries()?;
    saved("register.ndjson", "application/x-ndjson", ndjson(&entries))
}
