//! Every address of the desk, and who may go there. Nothing else is answered.

use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};

use crate::desk::cards;
use crate::desk::cards::CallHandler;
use crate::desk::pages::{
    booking, calls, day_before, decide, figures, files, interview, letters, people, pile, referral,
    sign_in,
};
use crate::desk::visit::{Reply, Visit};
use crate::register::people::PersonRole;
use crate::report::{html, letter};

/// Reads, or changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verb {
    /// Changes nothing.
    Get,
    /// May change something.
    Post,
}

/// One address.
pub struct Route {
    /// How it is asked for.
    pub verb: Verb,
    /// The address, with its parts in braces.
    pub path: &'static str,
    /// Who may go there, and what is there.
    pub page: PageOf,
}

/// What draws a page, or does what a form asks for.
pub type Handler = fn(&mut Visit<'_>) -> Reply;

/// Who may go to an address, and what is there.
pub enum PageOf {
    /// A file of the desk's own, for any browser.
    File(StaticFile),
    /// Where the address of the terminal leads.
    Entrance,
    /// For any browser that was let in.
    OfBrowser(Handler),
    /// For people of these roles.
    OfPeople(&'static [PersonRole], Handler),
    /// For record systems that show the token of the cards' service; not there where it is not open.
    OfRecords(CallHandler),
}

/// A file that holds nothing of anybody.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StaticFile {
    /// How pages look.
    Style,
    /// What a browser may add to them.
    Script,
    /// What a browser shows beside a title: it would ask for one anyway.
    Icon,
}

impl StaticFile {
    /// The file.
    pub fn response(self) -> Response {
        let (kind, body) = match self {
            Self::Style => (
                "text/css; charset=utf-8",
                [letter::STYLE, html::STYLE, include_str!("style.css")].concat(),
            ),
            Self::Script => (
                "text/javascript; charset=utf-8",
                include_str!("script.js").to_owned(),
            ),
            Self::Icon => (
                "image/svg+xml",
                r##"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 8 8"><path fill="#14506e" d="M1 1h6v1H1zM1 4h6v3H1z"/></svg>"##.to_owned(),
            ),
        };
        (
            [(header::CONTENT_TYPE, HeaderValue::from_static(kind))],
            body,
        )
            .into_response()
    }
}

/// Who works on referrals.
const TEAM: &[PersonRole] = &[PersonRole::Nurse, PersonRole::Clinician];
/// Who decides.
const CLINICIAN: &[PersonRole] = &[PersonRole::Clinician];
/// Who keeps people.
const GOVERNANCE: &[PersonRole] = &[PersonRole::Governance];

const fn get(path: &'static str, roles: &'static [PersonRole], page: Handler) -> Route {
    Route {
        verb: Verb::Get,
        path,
        page: PageOf::OfPeople(roles, page),
    }
}

const fn post(path: &'static str, roles: &'static [PersonRole], page: Handler) -> Route {
    Route {
        verb: Verb::Post,
        path,
        page: PageOf::OfPeople(roles, page),
    }
}

const fn open(verb: Verb, path: &'static str, page: PageOf) -> Route {
    Route { verb, path, page }
}

/// The one table. A test tries every role against every row.
pub static ROUTES: &[Route] = &[
    open(Verb::Get, "/style.css", PageOf::File(StaticFile::Style)),
    open(Verb::Get, "/script.js", PageOf::File(StaticFile::Script)),
    open(Verb::Get, "/icon.svg", PageOf::File(StaticFile::Icon)),
    open(Verb::Get, "/open", PageOf::Entrance),
    open(Verb::Get, "/sign-in", PageOf::OfBrowser(sign_in::show)),
    open(Verb::Post, "/sign-in", PageOf::OfBrowser(sign_in::sign_in)),
    post("/sign-out", &PersonRole::ALL, sign_in::sign_out),
    get("/", &PersonRole::ALL, pile::show),
    get("/calls", TEAM, calls::show),
    get("/day-before", TEAM, day_before::show),
    post("/referrals", TEAM, files::open),
    get("/referral/{reference}", TEAM, referral::show),
    get(
        "/referral/{reference}/questionnaire",
        TEAM,
        files::questionnaire,
    ),
    get("/referral/{reference}/interview", TEAM, interview::next),
    get(
        "/referral/{reference}/interview/{section}",
        TEAM,
        interview::show,
    ),
    post(
        "/referral/{reference}/interview/{section}",
        TEAM,
        interview::save,
    ),
    post("/referral/{reference}/asked", TEAM, calls::asked),
    get("/referral/{reference}/decide", CLINICIAN, decide::show),
    post("/referral/{reference}/decide", CLINICIAN, decide::choose),
    post("/referral/{reference}/sign", CLINICIAN, decide::sign),
    get("/referral/{reference}/letters", TEAM, letters::choose),
    get("/referral/{reference}/letters/{kind}", TEAM, letters::show),
    post("/referral/{reference}/letters/{kind}", TEAM, letters::make),
    get("/referral/{reference}/letter/{entry}", TEAM, letters::made),
    post("/referral/{reference}/letter/{entry}", TEAM, letters::sent),
    get("/referral/{reference}/book", TEAM, booking::show),
    post("/referral/{reference}/book", TEAM, booking::book),
    post("/referral/{reference}/screen", TEAM, referral::screen),
    post("/referral/{reference}/passed-on", TEAM, referral::pass_on),
    post("/referral/{reference}/close", TEAM, referral::close),
    get("/figures", &PersonRole::ALL, figures::show),
    get("/people", GOVERNANCE, people::show),
    post("/people", GOVERNANCE, people::set),
    get("/files", &PersonRole::ALL, files::show),
    post("/files", TEAM, files::take_in),
    get("/files/export", GOVERNANCE, files::export),
    open(
        Verb::Get,
        "/cds-services",
        PageOf::OfRecords(cards::discovery),
    ),
    open(
        Verb::Post,
        "/cds-services/{service}",
        PageOf::OfRecords(cards::call),
    ),
    open(
        Verb::Post,
        "/cds-services/{service}/feedback",
        PageOf::OfRecords(cards::feedback),
    ),
];
