//! Who may sign in, and as what.

use axum::http::StatusCode;
use maud::{Markup, html};

use crate::desk::page::{see, table};
use crate::desk::visit::{NoReply, Reply, Visit, capital};
use crate::register::happening::Happening;
use crate::register::people::{NO_INITIALS, PersonRole, are_initials, hashed};

/// The page.
pub(crate) fn show(visit: &mut Visit<'_>) -> Reply {
    let body = page(visit, None)?;
    Ok(visit.page("People", body))
}

fn page(visit: &Visit<'_>, wrong: Option<&str>) -> Result<Markup, NoReply> {
    let people = visit.register().people()?;
    let rows = html! {
        @for it in &people {
            tr { th scope="row" { (it.initials) } td { (it.role.word()) } td { @if it.is_on { "yes" } @else { "no" } } }
        }
    };
    Ok(html! {
        h1 { "People" }
        @if let Some(wrong) = wrong { div.errors role="alert" tabindex="-1" { p { strong { "Not saved." } " " (capital(wrong)) "." } } }
        (table("People", &["Initials", "Role", "May sign in"], &rows))
        section {
            h2 { "Add or change a person" }
            p { "Whoever is there already gets this role, and this passphrase if one is given. Nobody is ever taken out: entries name them." }
            form method="post" action="/people" {
                (visit.token_field())
                div.field { label for="initials" { "Initials" } input id="initials" name="initials" maxlength="12" autocomplete="off" required; }
                fieldset.field {
                    legend { "Role" }
                    div.choices {
                        @for role in PersonRole::ALL { label { input type="radio" name="role" value=(role.word()) required; " " (role.word()) } }
                    }
                }
                fieldset.field {
                    legend { "May sign in" }
                    div.choices {
                        label { input type="radio" name="on" value="yes" checked; " yes" }
                        label { input type="radio" name="on" value="no"; " no" }
                    }
                }
                div.field {
                    label for="passphrase" { "Passphrase" }
                    input id="passphrase" name="passphrase" type="password" autocomplete="new-password" aria-describedby="passphrase-hint";
                    p.hint id="passphrase-hint" { "At least twelve letters, typed by that person. Leave it empty to keep the one that is there." }
                }
                button { "Save" }
            }
        }
    })
}

/// Adds or changes a person.
pub(crate) fn set(visit: &mut Visit<'_>) -> Reply {
    let initials = visit.field("initials")?.trim().to_owned();
    let role = PersonRole::from_word(visit.field("role")?)
        .ok_or_else(|| NoReply::Form("That is no role.".into()))?;
    let is_on = visit.field("on")? == "yes";
    let passphrase = visit.field("passphrase")?.to_owned();
    let people = visit.register().people()?;
    let known = people.iter().find(|it| it.initials == initials);
    let others_govern = people.iter().any(|person| {
        person.role == PersonRole::Governance && person.is_on && person.initials != initials
    });
    let governs = is_on && role == PersonRole::Governance;
    let hash = match known {
        _ if !are_initials(&initials) => Err(NO_INITIALS.to_owned()),
        _ if !others_govern && !governs => {
            Err("nobody would be left who may change people".to_owned())
        }
        Some(person) if passphrase.is_empty() => Ok(person.hash.clone()),
        _ => hashed(&passphrase),
    };
    match hash {
        Err(why) => {
            let body = page(visit, Some(&why))?;
            Ok(visit.page_with(StatusCode::UNPROCESSABLE_ENTITY, "People", body))
        }
        Ok(hash) => {
            let happening = Happening::PersonSet {
                initials,
                role,
                hash,
                is_on,
            };
            visit.write(None, happening)?;
            Ok(see("/people"))
        }
    }
}
