//! Signing in and out. Whoever was signed out over a form that was sent finds it again after signing in.

use axum::http::{StatusCode, header};
use axum::response::Response;
use maud::{Markup, html};

use crate::desk::page::{hidden, see};
use crate::desk::visit::{Reply, Visit};

/// What the fields of a form that waits are called in between, so that they are not taken for those of signing in.
const KEPT: &str = "kept.";

/// The page that asks who it is.
pub(crate) fn show(visit: &mut Visit<'_>) -> Reply {
    if visit.signed_in().is_some() {
        return Ok(see("/"));
    }
    Ok(visit.page("Sign in", form(visit, None, "", &html! {})))
}

/// The page for whoever asked for something before signing in.
pub(crate) fn asked_for(visit: &Visit<'_>) -> Response {
    let kept = html! {
        @if let Some(to) = visit.sent_to() {
            (hidden("then", to))
            @for (name, value) in visit.form.iter().filter(|(name, _)| may_be_sent_back(name)) {
                (hidden(&format!("{KEPT}{name}"), value))
            }
        }
    };
    let said = "You were signed out. What you sent is kept until you sign in again.";
    let said = visit.sent_to().map(|_| said);
    visit.page_with(
        StatusCode::FORBIDDEN,
        "Sign in",
        form(visit, said, "", &kept),
    )
}

/// Whether a field may stand in a page again: neither the token of a session that is over nor a passphrase may.
fn may_be_sent_back(name: &str) -> bool {
    name != "form" && !name.ends_with("passphrase")
}

fn form(visit: &Visit<'_>, said: Option<&str>, initials: &str, kept: &Markup) -> Markup {
    html! {
        h1 { "Sign in" }
        @if let Some(said) = said { p role="alert" { strong { (said) } } }
        form method="post" action="/sign-in" {
            (visit.token_field())
            (kept)
            div.field {
                label for="initials" { "Initials" }
                input id="initials" name="initials" value=(initials) autocomplete="username" maxlength="12" required autofocus;
            }
            div.field {
                label for="passphrase" { "Passphrase" }
                input id="passphrase" name="passphrase" type="password" autocomplete="current-password" required;
            }
            button { "Sign in" }
        }
    }
}

/// Signs in.
pub(crate) fn sign_in(visit: &mut Visit<'_>) -> Reply {
    let initials = visit.field("initials")?.trim().to_owned();
    let passphrase = visit.field("passphrase")?.to_owned();
    let kept: Vec<(String, String)> = visit
        .form
        .iter()
        .filter_map(|(name, value)| Some((name.strip_prefix(KEPT)?.to_owned(), value.to_owned())))
        .collect();
    let then = visit.form.get("then").map(str::to_owned);
    match visit.verify(&initials, &passphrase)? {
        Ok(person) => {
            let cookie = visit.sign_in(person)?;
            let is_ours = |to: &String| to.starts_with('/') && !to.starts_with("//");
            let mut response = match then.filter(is_ours) {
                None => see("/"),
                Some(then) => visit.page("Signed in again", kept_form(visit, &then, &kept)),
            };
            response.headers_mut().insert(header::SET_COOKIE, cookie);
            Ok(response)
        }
        Err(why) => {
            let again = html! {
                @if let Some(then) = &then { (hidden("then", then)) }
                @for (name, value) in &kept { (hidden(&format!("{KEPT}{name}"), value)) }
            };
            let body = form(visit, Some(&why), &initials, &again);
            Ok(visit.page_with(StatusCode::FORBIDDEN, "Sign in", body))
        }
    }
}

/// What was sent before signing in, to be sent now.
fn kept_form(visit: &Visit<'_>, then: &str, kept: &[(String, String)]) -> Markup {
    html! {
        h1 { "Signed in again" }
        p { "What you sent before was kept. Nothing of it is in the register yet." }
        form method="post" action=(then) {
            (visit.token_field())
            @for (name, value) in kept { (hidden(name, value)) }
            button autofocus { "Send it now" }
        }
        p { a href="/" { "Leave it, and go to the pile" } }
    }
}

/// Signs out.
pub(crate) fn sign_out(visit: &mut Visit<'_>) -> Reply {
    visit.sign_out();
    Ok(see("/sign-in"))
}
