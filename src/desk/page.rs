//! The frame of every page: skip link, where one may go, who signed in, what must be known before the rest.

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use chrono::{DateTime, FixedOffset};
use maud::{DOCTYPE, Markup, html};

use crate::desk::guard::with_headers;
use crate::register::people::{Person, PersonRole};
use crate::report::SAFETY;
use crate::report::html::inert;
use crate::rule_set::RuleSet;

/// What a page says around its own part.
pub(crate) struct Around<'a> {
    /// Its heading.
    pub(crate) title: &'a str,
    /// Who signed in.
    pub(crate) person: Option<&'a Person>,
    /// What the form that signs out carries.
    pub(crate) form_token: &'a str,
    /// What must be known before the rest; whole sentences.
    pub(crate) notices: Vec<String>,
    /// The rule set that the desk screens by.
    pub(crate) rule_set: &'a RuleSet,
}

/// Where each role may go from everywhere.
const NAVIGATION: [(&str, &str, &[PersonRole]); 6] = [
    ("/", "Pile", &[PersonRole::Nurse, PersonRole::Clinician]),
    (
        "/calls",
        "Calls",
        &[PersonRole::Nurse, PersonRole::Clinician],
    ),
    (
        "/day-before",
        "Day before",
        &[PersonRole::Nurse, PersonRole::Clinician],
    ),
    ("/figures", "Figures", &PersonRole::ALL),
    ("/people", "People", &[PersonRole::Governance]),
    ("/files", "In and out", &PersonRole::ALL),
];

/// A whole page.
pub(crate) fn whole(frame: &Around<'_>, body: &Markup) -> Markup {
    let rule_set = frame.rule_set;
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (frame.title) " - desk" }
                link rel="icon" href="/icon.svg";
                link rel="stylesheet" href="/style.css";
                script src="/script.js" defer {}
            }
            body {
                a.skip href="#main" { "Skip to the page itself" }
                @if let Some(person) = frame.person {
                    header.top {
                        nav aria-label="Pages" {
                            ul {
                                @for (to, name, roles) in NAVIGATION {
                                    @if roles.contains(&person.role) { li { a href=(to) { (name) } } }
                                }
                            }
                        }
                        form method="post" action="/sign-out" {
                            (hidden("form", frame.form_token))
                            span { (person.initials) ", " (person.role.word()) " " }
                            button.plain { "Sign out" }
                        }
                    }
                }
                @for it in &frame.notices { p.told role="status" { strong { (it) } } }
                main id="main" tabindex="-1" {
                    (inert(body.clone()))
                }
                footer.bottom {
                    p { "Rule set " (rule_set.id) " " (rule_set.edition) " (" (rule_set.status.word()) "). " (SAFETY) }
                }
            }
        }
    }
}

/// A table that is moved sideways where it is wider than the page.
pub(crate) fn table(label: &str, headings: &[&str], rows: &Markup) -> Markup {
    html! {
        div.wide tabindex="0" role="region" aria-label=(label) {
            table {
                thead { tr { @for it in headings { th scope="col" { (it) } } } }
                tbody { (rows) }
            }
        }
    }
}

/// A field that is not shown.
pub(crate) fn hidden(name: &str, value: &str) -> Markup {
    html! { input type="hidden" name=(name) value=(value); }
}

/// Sends a browser on to another page.
pub(crate) fn see(to: &str) -> Response {
    // Everything that stands in an address here is ours or encoded.
    let to = HeaderValue::from_str(to).unwrap_or(HeaderValue::from_static("/"));
    (StatusCode::SEE_OTHER, [(header::LOCATION, to)]).into_response()
}

/// What stands in an address for a reference: the signs that a path or a query is made of are encoded.
pub(crate) fn encoded(text: &str) -> String {
    text.bytes().fold(String::new(), |mut encoded, byte| {
        if byte.is_ascii_alphanumeric() || b"-._".contains(&byte) {
            encoded.push(char::from(byte));
        } else {
            encoded.push_str(&format!("%{byte:02X}"));
        }
        encoded
    })
}

/// The address of a page of a referral: `""` for the referral itself, or `/decide` and so on.
pub(crate) fn of_referral(reference: &str, page: &str) -> String {
    format!("/referral/{}{page}", encoded(reference))
}

/// The answer to whoever gets no page of the desk, with nothing in it but why.
pub(crate) fn refusal(status: StatusCode, why: &str) -> Response {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head { meta charset="utf-8"; title { "Desk" } meta name="viewport" content="width=device-width, initial-scale=1"; }
            body { main { h1 { "Not here" } p { (why) } } }
        }
    };
    with_headers((status, Html(page.into_string())).into_response())
}

/// A moment as pages say it: "25 Nov 2026 08:54".
pub(crate) fn moment(at: DateTime<FixedOffset>) -> String {
    at.format("%-d %b %Y %H:%M").to_string()
}
