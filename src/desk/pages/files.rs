//! In and out: questionnaires taken in, one saved as a file, the register's export.

use axum::http::StatusCode;
use maud::{Markup, html};

use crate::desk::page::{of_referral, see};
use crate::desk::pages::referral::problems;
use crate::desk::screened::{answered, file_name};
use crate::desk::visit::{NoReply, Reply, Visit, saved};
use crate::document::diagnostic::Diagnostic;
use crate::register::export::ndjson;
use crate::register::happening::Happening;
use crate::register::people::PersonRole;

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
                p { "The text of a file that " code { "preblock" } " wrote, or that somebody edited by hand. A referral that is there already gets these answers instead of its own; nothing that was written before is lost." }
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
    match read {
        Ok(referral) => {
            let reference = referral.reference;
            let mut all = answered(&screener, &reference, text, Vec::new());
            if visit.register().referral(&reference)?.is_none() {
                let from = "a file".to_owned();
                all.insert(0, Happening::Opened { from });
            }
            visit.write_all(&reference, None, all)?;
            Ok(see(&of_referral(&reference, "")))
        }
        Err(refusal) => {
            let body = page(visit, &refusal.problems, &name, &text)?;
            Ok(visit.page_with(StatusCode::UNPROCESSABLE_ENTITY, "Not taken in", body))
        }
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
