//! The service of cards for the clinic's record system: CDS Hooks 2.0 (HL7 International, CDS Hooks, release 2.0, 2022), at the
//! desk's own address and behind its guard.
//!
//! A caller shows a token that was told once. What a call brings is screened and forgotten; what is kept, while the desk is open, is
//! which card was about which referral, so that what a record system tells of a card can be written down there. It is written down
//! as such: nobody decides by a card. Nothing is fetched from a record system, and what it offers for that is not read.
//!
//! INVARIANT: a call that was understood is answered with a card, since no card would mean that there is nothing to say. What could
//! not be screened is a card that says so; an error is for programs, and a clinician may never see it.

use std::collections::VecDeque;
use std::sync::Arc;

use axum::body::{Bytes, HttpBody as _, to_bytes};
use axum::extract::Request;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::response::{IntoResponse, Response};
use chrono::{DateTime, NaiveDate};
use serde_json::{Value, json};

use crate::desk::guard::{bearer, is_json, token};
use crate::desk::sessions::Moment;
use crate::desk::visit::Fields;
use crate::desk::{OpenDesk, Shared, locked};
use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::source::{Node, NodeKind, Source};
use crate::document::text::{Format, read_as};
use crate::questionnaire::fhir::form::address;
use crate::register::happening::{CardFeedback, CardOutcome, CardReason, Happening, RECORDS};
use crate::register::{New, RegisterError};
use crate::report::cards::Card;
use crate::report::outward::Outward;
use crate::report::{cards, fhir};
use crate::rule_set::files::sha256;
use crate::screening::result::Refusal;

/// Where the service is.
pub(super) const PATH: &str = "/cds-services";
/// Most bytes of a call: a response as large as a questionnaire may be, and what stands around it.
const LARGEST_CALL: usize = 2 << 20;
/// How many cards are remembered. The oldest makes room.
const MOST_GIVEN: usize = 10_000;
/// Most letters of a comment.
const LONGEST_COMMENT: usize = 2_000;
/// When a record system calls: somebody is about to book.
const HOOK: &str = "appointment-book";
/// The key under which a call brings the response to the form.
const BROUGHT: &str = "response";
/// What a response is called in diagnostics.
const NAME: &str = "response.json";

/// The service while it is open.
pub(super) struct CardService {
    outward: Outward<'static>,
    /// The digest of the token that a caller shows.
    token: String,
    given: VecDeque<GivenCard>,
}

/// A card that a record system was given.
struct GivenCard {
    card: Card,
    /// The patient's reference.
    reference: String,
}

/// A call of a record system.
pub struct Call {
    /// The service that it is for.
    service: Option<String>,
    body: Bytes,
}

/// What answers a call.
pub type CallHandler = fn(&mut OpenDesk, &Call) -> Response;

impl CardService {
    /// A service with a new token, and the token.
    ///
    /// # Errors
    /// As [`token`].
    pub(super) fn new(outward: Outward<'static>) -> Result<(Self, String), getrandom::Error> {
        let token = token()?;
        let service = Self {
            outward,
            token: sha256(token.as_bytes()),
            given: VecDeque::new(),
        };
        Ok((service, token))
    }

    /// Remembers a card, so that feedback on it can be tied to its referral. The same answers on the same day make the same card.
    fn remember(&mut self, card: &Card, reference: &str) {
        if self.given.iter().any(|it| it.card.uuid == card.uuid) {
            return;
        }
        if self.given.len() >= MOST_GIVEN {
            self.given.pop_front();
        }
        self.given.push_back(GivenCard {
            card: card.clone(),
            reference: reference.to_owned(),
        });
    }
}

/// Whether an address is one of the service.
pub(super) fn is_call(path: &str) -> bool {
    path == PATH || path.starts_with("/cds-services/")
}

/// Answers a call of whoever shows the token.
pub(super) async fn answer(
    shared: Shared,
    handler: CallHandler,
    path: &Fields,
    request: Request,
) -> Response {
    // Whoever may not call need not be listened to.
    let refused = locked(&shared).refuses_caller(request.headers());
    if let Some(refused) = refused {
        return refused;
    }
    if request.method() == Method::POST && !is_json(request.headers()) {
        let why = "A call is of the type application/json.";
        return refusal(StatusCode::UNSUPPORTED_MEDIA_TYPE, why);
    }
    let body = request.into_body();
    let is_too_large = body.size_hint().lower() > LARGEST_CALL as u64;
    let body = match to_bytes(body, LARGEST_CALL).await {
        Ok(body) if !is_too_large => body,
        _ => {
            let why = "The call is larger than two megabytes, or did not arrive whole.";
            return refusal(StatusCode::PAYLOAD_TOO_LARGE, why);
        }
    };
    let call = Call {
        service: path.get("service").map(str::to_owned),
        body,
    };
    handler(&mut locked(&shared), &call)
}

impl OpenDesk {
    /// What a caller gets who shows no token, or another one.
    fn refuses_caller(&self, headers: &HeaderMap) -> Option<Response> {
        let Some(service) = &self.service else {
            return Some(refusal(StatusCode::NOT_FOUND, "There is no such service."));
        };
        let shown = bearer(headers).map(|it| sha256(it.as_bytes()));
        if shown.as_ref() == Some(&service.token) {
            return None;
        }
        let why =
            "Show the token that stands in the terminal of the desk: `Authorization: Bearer ...`.";
        let mut response = refusal(StatusCode::UNAUTHORIZED, why);
        let headers = response.headers_mut();
        headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
        Some(response)
    }

    /// The service that a call is for.
    fn service_of(&self, call: &Call) -> Result<&CardService, Box<Response>> {
        let known = self.service.as_ref();
        known
            .filter(|it| call.service.as_deref() == Some(&it.outward.rule_set.id))
            .ok_or_else(|| Box::new(refusal(StatusCode::NOT_FOUND, "There is no such service.")))
    }

    fn now(&self) -> Moment {
        (self.desk.clock)()
    }

    /// The cards of what a call brought, and the reference of the patient if that is known. `booked` are the days of the
    /// appointments that it is about.
    fn cards(
        &self,
        outward: &Outward<'_>,
        read: Result<&[u8], Diagnostic>,
        booked: &[NaiveDate],
    ) -> (Vec<Card>, Option<String>) {
        let screener = self.desk.screener.clone().on(self.now().date_naive());
        let read = read
            .map_err(|problem| Refusal::of_file(NAME, vec![problem]))
            .and_then(|bytes| screener.read(NAME, bytes));
        match read {
            Ok(referral) => {
                let mut screening = screener.screening(&referral);
                screening.notices.extend((self.desk.exchanged)());
                let mut shown = cards::cards(outward, &screening);
                let planned = screening.procedure_on.as_deref();
                for day in booked {
                    if planned.is_none_or(|it| !it.starts_with(&day.to_string())) {
                        shown.push(cards::for_another_day(outward, &screening, *day));
                    }
                }
                (shown, Some(screening.reference))
            }
            Err(refusal) => (vec![cards::refused(outward, &refusal)], refusal.reference),
        }
    }
}

/// Says which service there is, when to call it and what to bring.
pub(super) fn discovery(open: &mut OpenDesk, _: &Call) -> Response {
    let Some(service) = &open.service else {
        return refusal(StatusCode::NOT_FOUND, "There is no such service.");
    };
    let Outward {
        rule_set,
        canonical,
    } = service.outward;
    let form = address(canonical);
    let brought = format!(
        "QuestionnaireResponse?patient={{{{context.patientId}}}}&questionnaire={form}&_sort=-authored&_count=1"
    );
    let needs = format!(
        "The answers are a response to the form {form}, version {}. Its subject has the clinic's reference of the referral as identifier.",
        rule_set.edition
    );
    json_of(
        StatusCode::OK,
        &json!({ "services": [{
            "hook": HOOK,
            "title": rule_set.title,
            "description": "Screens the patient's answers by the clinic's rules: go, defer or refer, and why. It supports a clinician's decision and never makes it.",
            "id": rule_set.id,
            "prefetch": { BROUGHT: brought },
            "usageRequirements": needs,
        }] }),
    )
}

/// Screens what a call brings, and answers with its cards.
pub(super) fn call(open: &mut OpenDesk, call: &Call) -> Response {
    let outward = match open.service_of(call) {
        Ok(service) => service.outward,
        Err(refused) => return *refused,
    };
    let (source, root) = match object(&outward, call) {
        Ok(read) => read,
        Err(refused) => return *refused,
    };
    if root.get("hook").and_then(Node::text) != Some(HOOK) {
        let why = format!("The service is called for the hook {HOOK}.");
        return refusal(StatusCode::BAD_REQUEST, &why);
    }
    let brought = root.get("prefetch").and_then(|it| it.get(BROUGHT));
    let Some(brought) = brought.filter(|it| kind_of(it) != Some("OperationOutcome")) else {
        let why = format!(
            "The call brings no answers: what stands under `{BROUGHT}` at {PATH} is needed under `prefetch`. Nothing was screened."
        );
        return refusal(StatusCode::PRECONDITION_FAILED, &why);
    };
    let patient = root.get("context").and_then(|it| it.get("patientId"));
    let response = response_in(brought)
        .and_then(|it| is_of(it, patient.and_then(Node::text)))
        .map(|it| source.slice(&it.span).as_bytes());
    let (cards, reference) = open.cards(&outward, response, &booked(&root));
    if let (Some(service), Some(reference)) = (&mut open.service, &reference) {
        cards.iter().for_each(|it| service.remember(it, reference));
    }
    json_of(StatusCode::OK, &cards::object(&cards))
}

/// Writes down what a record system tells of cards: all of it, or nothing where a part cannot be tied to a referral. What was told
/// before is not written down again.
pub(super) fn feedback(open: &mut OpenDesk, call: &Call) -> Response {
    let service = match open.service_of(call) {
        Ok(service) => service,
        Err(refused) => return *refused,
    };
    let root = match object(&service.outward, call) {
        Ok((_, root)) => root,
        Err(refused) => return *refused,
    };
    let told = root.list("feedback");
    if told.is_empty() {
        let why = "A list with something in it is needed under `feedback`.";
        return refusal(StatusCode::BAD_REQUEST, why);
    }
    let mut all = Vec::new();
    for (number, it) in (1..).zip(told) {
        match service.told(it, open.now()) {
            Ok(new) => all.push(new),
            Err(why) => {
                let why = format!("Feedback {number}: {why} Nothing was written down.");
                return refusal(StatusCode::UNPROCESSABLE_ENTITY, &why);
            }
        }
    }
    for reference in all.iter().filter_map(|it| it.referral.as_ref()) {
        match open.desk.register.referral(reference) {
            Ok(Some(state)) if !state.is_removed => {}
            Ok(_) => {
                let why = format!(
                    "The register keeps no referral {reference}, so there is nothing to tie it to. Nothing was written down."
                );
                return refusal(StatusCode::UNPROCESSABLE_ENTITY, &why);
            }
            Err(found) => return refusal(StatusCode::INTERNAL_SERVER_ERROR, &found.title),
        }
    }
    for new in all {
        match open.desk.register.append(new) {
            Ok(_) | Err(RegisterError::FormUsed(_)) => {}
            Err(error) => {
                let found = error.diagnostic();
                let why = format!("{}. {}", found.title, found.help);
                return refusal(StatusCode::INTERNAL_SERVER_ERROR, &why);
            }
        }
    }
    StatusCode::OK.into_response()
}

impl CardService {
    /// What is to be written down of what is told of one card.
    ///
    /// # Errors
    /// Why it cannot be, in a sentence.
    fn told(&self, told: &Node, at: Moment) -> Result<New, String> {
        let uuid = text(told, "card")?;
        let given = self.given.iter().find(|it| it.card.uuid == uuid).ok_or(
            "no card of this id was given since the desk was opened. Call the service again for this patient: the same answers on the same day make the same cards.",
        )?;
        // With `accepted` the standard demands the suggestions that were.
        let suggested = told.get("acceptedSuggestions");
        let none = suggested.is_none_or(|it| it.kind == NodeKind::List(Vec::new()));
        if text(told, "outcome")? != CardOutcome::Overridden.word() || !none {
            return Err("the cards suggest nothing that could be accepted, so `outcome` is `overridden`, without `acceptedSuggestions`.".into());
        }
        let done_at = text(told, "outcomeTimestamp")?;
        if DateTime::parse_from_rfc3339(done_at).is_err() {
            return Err("`outcomeTimestamp` is a moment such as 2026-12-01T09:30:00Z.".into());
        }
        let why = told.get("overrideReason");
        let comment = why.and_then(|it| it.get("userComment")?.text());
        if comment.is_some_and(|it| it.chars().count() > LONGEST_COMMENT) {
            return Err(format!(
                "the comment is longer than {LONGEST_COMMENT} letters."
            ));
        }
        let reason = why.and_then(|it| it.get("reason"));
        let said = CardFeedback {
            card: uuid.to_owned(),
            rule: given.card.rule.clone(),
            summary: given.card.summary.clone(),
            outcome: CardOutcome::Overridden,
            reason: reason.map(|it| self.reason(it)).transpose()?,
            comment: comment.map(str::to_owned),
            done_at: done_at.to_owned(),
        };
        // A record system that heard no answer tells it again.
        let form = sha256(format!("feedback {said:?}").as_bytes());
        Ok(New {
            at,
            person: RECORDS.to_owned(),
            form: Some(form),
            referral: Some(given.reference.clone()),
            happening: Happening::Feedback(Box::new(said)),
        })
    }

    /// The reason that was chosen: one of the rule set's list, or one of the record system's own, which the standard lets it add.
    fn reason(&self, told: &Node) -> Result<CardReason, String> {
        let code = text(told, "code")?;
        let of = |key: &str| told.get(key).and_then(Node::text).map(str::to_owned);
        let (system, display) = (of("system"), of("display"));
        let outward = &self.outward;
        if system.as_deref() != Some(&outward.system("reasons")) {
            return Ok(CardReason {
                system,
                code: code.to_owned(),
                display,
            });
        }
        let mut known = outward.rule_set.reasons.iter();
        let known = known
            .find(|it| it.id == code)
            .ok_or("the reason is none of the rule set's list.")?;
        Ok(CardReason {
            system,
            code: code.to_owned(),
            display: Some(known.text.clone()),
        })
    }
}

/// The object that a call is.
fn object(outward: &Outward<'_>, call: &Call) -> Result<(Arc<Source>, Arc<Node>), Box<Response>> {
    let read = read_as(Format::Json, "call.json", &call.body, LARGEST_CALL as u64);
    match (read.source, read.root) {
        (Some(source), Some(root)) if read.diagnostics.is_empty() => Ok((source, root)),
        _ => {
            let refusal = Refusal::of_file("call.json", read.diagnostics);
            let told = fhir::refused(outward, &refusal);
            Err(Box::new(json_of(StatusCode::BAD_REQUEST, &told)))
        }
    }
}

/// The text under a key, which must be there.
fn text<'a>(node: &'a Node, key: &str) -> Result<&'a str, String> {
    let text = node
        .get(key)
        .and_then(Node::text)
        .filter(|it| !it.is_empty());
    text.ok_or_else(|| format!("a text is needed under `{key}`."))
}

/// The kind of a resource.
fn kind_of(resource: &Node) -> Option<&str> {
    resource.get("resourceType").and_then(Node::text)
}

/// The one response that was brought: by itself, or as what a search found.
fn response_in(brought: &Node) -> Result<&Node, Diagnostic> {
    let none = || {
        Diagnostic::bare(Code::MissingKey, "the record has no response to the form")
            .help("Have the patient's questions answered, or screen the referral at the desk.")
    };
    if brought.kind == NodeKind::Null {
        return Err(none());
    }
    if kind_of(brought) != Some("Bundle") {
        return Ok(brought);
    }
    let entries = brought.list("entry").iter();
    let mut found = entries
        .filter_map(|it| it.get("resource"))
        .filter(|it| kind_of(it) == Some("QuestionnaireResponse"));
    let first = found.next().ok_or_else(none)?;
    if found.next().is_some() {
        let title = "two responses were brought, and nobody can tell which of them counts";
        let help = "The record system brings the last one alone.";
        return Err(Diagnostic::bare(Code::NotTogether, title).help(help));
    }
    Ok(first)
}

/// The response, if it is not said to be of somebody else than the patient whose record is open.
fn is_of<'a>(response: &'a Node, patient: Option<&str>) -> Result<&'a Node, Diagnostic> {
    let subject = response.get("subject").and_then(|it| it.get("reference"));
    let of = subject
        .and_then(Node::text)
        .and_then(|it| it.rsplit_once("Patient/"))
        .map(|(_, id)| id.split('/').next().unwrap_or(id));
    if of.is_some() && patient.is_some() && of != patient {
        let title = "the response is of another patient than the one whose record is open";
        let help = "The record system brings the response of the patient for whom it calls.";
        return Err(Diagnostic::bare(Code::NotToBeUsed, title).help(help));
    }
    Ok(response)
}

/// The days of the appointments that are to be booked, each once.
fn booked(root: &Node) -> Vec<NaiveDate> {
    let appointments = root.get("context").and_then(|it| it.get("appointments"));
    let entries = appointments.map_or(&[][..], |it| it.list("entry"));
    let mut days: Vec<NaiveDate> = entries
        .iter()
        .filter_map(|it| it.get("resource")?.get("start")?.text())
        .filter_map(|start| DateTime::parse_from_rfc3339(start).ok())
        .map(|start| start.date_naive())
        .collect();
    days.sort_unstable();
    days.dedup();
    days
}

/// The answer to a call that comes to nothing.
pub(super) fn refusal(status: StatusCode, why: &str) -> Response {
    let code = match status {
        StatusCode::UNAUTHORIZED => "login",
        StatusCode::FORBIDDEN => "forbidden",
        StatusCode::NOT_FOUND => "not-found",
        StatusCode::PRECONDITION_FAILED => "required",
        StatusCode::PAYLOAD_TOO_LARGE => "too-long",
        StatusCode::UNPROCESSABLE_ENTITY => "business-rule",
        StatusCode::INTERNAL_SERVER_ERROR => "exception",
        StatusCode::UNSUPPORTED_MEDIA_TYPE | StatusCode::METHOD_NOT_ALLOWED => "not-supported",
        _ => "invalid",
    };
    json_of(status, &fhir::came_to_nothing(code, why))
}

fn json_of(status: StatusCode, value: &Value) -> Response {
    let kind = HeaderValue::from_static("application/json");
    (status, [(header::CONTENT_TYPE, kind)], value.to_string()).into_response()
}
