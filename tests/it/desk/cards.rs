//! The service of cards, as the clinic's record system and others reach it: who is answered, what is screened, what is written down.
#![expect(clippy::expect_used, reason = "a slip in a test ought to stop it")]

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::process::Stdio;
use std::sync::atomic::Ordering;

use preblock::inner::questionnaire::fhir::filled::filled;
use preblock::inner::register::Register;
use preblock::inner::register::happening::Happening;
use preblock::inner::register::state::ReferralState;
use preblock::inner::screening::screener::Screener;
use rstest::rstest;
use serde_json::{Value, json};

use crate::desk::{Answer, TestDesk, entries, has_headers};
use crate::support::{embedded_once, program, run, said, today};

const SERVICE: &str = "/cds-services/nail-surgery";
const FEEDBACK: &str = "/cds-services/nail-surgery/feedback";

impl TestDesk {
    /// Calls as a record system does.
    fn calls(&self, method: &str, path: &str, body: &str) -> Answer {
        let bearer = format!("Bearer {}", self.token);
        let headers = [
            ("Host", self.host.as_str()),
            ("Authorization", &bearer),
            ("Content-Type", "application/json"),
        ];
        self.ask(method, path, &headers, body)
    }

    fn state(&self, reference: &str) -> ReferralState {
        let register = Register::open_to_read(&self.folder.path().join("desk.sqlite3"));
        let register = register.expect("a register");
        register
            .referral(reference)
            .expect("readable")
            .expect("a referral")
    }
}

/// The response of an example.
fn response(reference: &str) -> Value {
    let screener = Screener::new(&embedded_once().0, today());
    let path = format!("examples/referrals/{reference}.yaml");
    let text = std::fs::read(&path).expect("an example");
    let referral = screener.read(&path, &text).expect("an example is read");
    filled(&embedded_once().0, &referral.reference, &referral.answers).expect("a response")
}

/// The day of surgery that an example plans.
fn screened_day(reference: &str) -> String {
    let response = response(reference).to_string();
    let day = response.split_once("\"plan.procedure_on\"");
    let day = day.and_then(|(_, rest)| rest.split_once("\"valueDate\":\""));
    day.and_then(|(_, rest)| rest.get(..10))
        .expect("a day is planned")
        .to_owned()
}

fn hook(prefetch: Value) -> String {
    json!({
        "hook": "appointment-book",
        "hookInstance": "d1577c69-dfbe-44ad-ba6d-3e05e953b2ea",
        "fhirServer": "https://records.example/fhir",
        "fhirAuthorization": { "access_token": "never read" },
        "context": { "userId": "Practitioner/7", "patientId": "1288992" },
        "prefetch": prefetch,
    })
    .to_string()
}

fn value(answer: &Answer) -> Value {
    serde_json::from_str(&answer.body).unwrap_or_else(|it| unreachable!("{it}: {answer:?}"))
}

/// The cards of an answer.
fn cards(answer: &Answer) -> Vec<Value> {
    assert_eq!(answer.status, 200, "{answer:?}");
    let cards = value(answer)["cards"].as_array().cloned();
    cards.filter(|it| !it.is_empty()).expect("at least a card")
}

fn uuid(card: &Value) -> &str {
    card["uuid"].as_str().expect("a card has an id")
}

fn told(card: &str, more: Value) -> String {
    let mut one = json!({ "card": card, "outcome": "overridden", "outcomeTimestamp": "2026-11-25T09:00:00Z" });
    for (key, value) in more.as_object().into_iter().flatten() {
        one[key] = value.clone();
    }
    json!({ "feedback": [one] }).to_string()
}

#[test]
fn a_record_system_finds_the_service_and_gets_cards() {
    let desk = TestDesk::new();
    let found = desk.calls("GET", "/cds-services", "");
    has_headers(&found);
    assert!(
        found
            .headers
            .keys()
            .all(|it| !it.starts_with("access-control"))
    );
    let services = value(&found);
    let [service] = services["services"].as_array().expect("a list").as_slice() else {
        unreachable!("{services}")
    };
    assert_eq!(
        (service["id"].as_str(), service["hook"].as_str()),
        (Some("nail-surgery"), Some("appointment-book"))
    );
    let query = service["prefetch"]["response"].as_str().expect("a query");
    assert!(
        query.starts_with("QuestionnaireResponse?patient={{context.patientId}}&questionnaire="),
        "{query}"
    );
    let searched = json!({ "resourceType": "Bundle", "type": "searchset", "entry": [
        { "search": { "mode": "match" }, "resource": response("SM-122") },
        { "search": { "mode": "outcome" }, "resource": { "resourceType": "OperationOutcome" } },
    ] });
    for brought in [response("SM-122"), searched] {
        let answer = desk.calls("POST", SERVICE, &hook(json!({ "response": brought })));
        has_headers(&answer);
        let cards = cards(&answer);
        assert_eq!(cards.len(), 2, "{cards:#?}");
        assert_eq!(cards[0]["source"]["topic"]["code"], "defer");
        assert_eq!(cards[1]["source"]["topic"]["code"], "bleeding/inr-too-old");
        assert_eq!(
            cards,
            self::cards(&desk.calls("POST", SERVICE, &hook(json!({ "response": brought }))))
        );
    }
    let goes = desk.calls(
        "POST",
        SERVICE,
        &hook(json!({ "response": response("SM-101") })),
    );
    assert_eq!(cards(&goes)[0]["indicator"], "info");
}

/// The answers plan one day and somebody books another: the verdict holds for the planned one, and a card says so.
#[test]
fn an_appointment_on_another_day_is_told() {
    let desk = TestDesk::new();
    let booked = |start: &str| {
        let mut call: Value =
            serde_json::from_str(&hook(json!({ "response": response("SM-101") }))).expect("JSON");
        call["context"]["appointments"] = json!({ "resourceType": "Bundle", "entry": [
            { "resource": { "resourceType": "Appointment", "status": "proposed", "start": start } },
        ] });
        cards(&desk.calls("POST", SERVICE, &call.to_string()))
    };
    let planned = screened_day("SM-101");
    assert_eq!(booked(&format!("{planned}T09:00:00+01:00")).len(), 1);
    let other = booked("2027-01-15T09:00:00Z");
    let [verdict, told] = other.as_slice() else {
        unreachable!("{other:#?}")
    };
    assert_eq!(verdict["indicator"], "info");
    assert_eq!(told["indicator"], "warning");
    let summary = told["summary"].as_str().expect("a summary");
    assert!(
        summary.contains("15 Jan 2027") && summary.contains("planned for another day"),
        "{summary}"
    );
}

/// A rule set that was exchanged on the disk meanwhile is told on the card, as on every page.
#[test]
fn what_was_exchanged_is_told_on_the_card() {
    let desk = TestDesk::new();
    let called = hook(json!({ "response": response("SM-101") }));
    let detail = |cards: &[Value]| cards[0]["detail"].to_string();
    let before = cards(&desk.calls("POST", SERVICE, &called));
    assert!(!detail(&before).contains("The rule set was changed"));
    desk.exchanged.store(true, Ordering::Relaxed);
    let after = cards(&desk.calls("POST", SERVICE, &called));
    assert!(detail(&after).contains("The rule set was changed"));
}

#[rstest]
#[case::no_prefetch(json!({}))]
#[case::another_key(json!({ "patient": response("SM-101") }))]
#[case::an_error(json!({ "response": { "resourceType": "OperationOutcome" } }))]
fn without_answers_nothing_is_screened(#[case] prefetch: Value) {
    let desk = TestDesk::new();
    let answer = desk.calls("POST", SERVICE, &hook(prefetch));
    assert_eq!(answer.status, 412, "{answer:?}");
    assert_eq!(value(&answer)["resourceType"], "OperationOutcome");
}

/// What a response has that goes, changed.
fn changed(change: impl FnOnce(&mut Value)) -> Value {
    let mut response = response("SM-101");
    change(&mut response);
    response
}

#[rstest]
#[case::none(Value::Null, "no response")]
#[case::nothing_found(json!({ "resourceType": "Bundle", "type": "searchset" }), "no response")]
#[case::two(json!({ "resourceType": "Bundle", "entry": [{ "resource": response("SM-101") }, { "resource": response("SM-102") }] }), "two responses")]
#[case::of_somebody_else(changed(|it| it["subject"]["reference"] = json!("https://records.example/fhir/Patient/1288993/_history/1")), "another patient")]
#[case::another_version(changed(|it| it["questionnaire"] = json!("https://preblock.example/nail-surgery/questionnaire|1999")), "another form")]
#[case::another_kind(json!({ "resourceType": "Observation" }), "not a QuestionnaireResponse")]
#[case::without_a_reference(changed(|it| it["subject"] = json!({ "reference": "Patient/1288992" })), "whose it is")]
#[case::in_error(changed(|it| it["status"] = json!("entered-in-error")), "not one to be used")]
#[case::a_text(json!("SM-101"), "")]
#[case::deep(serde_json::from_str(&format!("{}1{}", "[".repeat(40), "]".repeat(40))).expect("JSON"), "")]
fn what_cannot_be_screened_is_a_card_and_never_a_go(#[case] brought: Value, #[case] why: &str) {
    let desk = TestDesk::new();
    let answer = desk.calls("POST", SERVICE, &hook(json!({ "response": brought })));
    let cards = cards(&answer);
    let [card] = cards.as_slice() else {
        unreachable!("{cards:#?}")
    };
    let summary = card["summary"].as_str().unwrap_or_default();
    assert!(summary.contains("NOT SCREENED, and not a go"), "{summary}");
    assert_eq!(card["indicator"], "warning");
    let detail = card["detail"].as_str().unwrap_or_default();
    assert!(detail.contains(why), "{detail}");
}

#[rstest]
#[case::no_json("{", "")]
#[case::two_json("{} {}", "")]
#[case::empty("", "")]
#[case::a_list("[]", "hook")]
#[case::a_key_twice(
    r#"{"hook":"appointment-book","prefetch":{"response":1,"response":2}}"#,
    "twice"
)]
#[case::another_hook(
    r#"{"hook":"patient-view","prefetch":{"response":null}}"#,
    "appointment-book"
)]
fn a_call_that_is_none_is_an_error(#[case] body: &str, #[case] why: &str) {
    let desk = TestDesk::new();
    let answer = desk.calls("POST", SERVICE, body);
    assert_eq!(answer.status, 400, "{answer:?}");
    assert_eq!(value(&answer)["resourceType"], "OperationOutcome");
    assert!(answer.body.contains(why), "{}", answer.body);
}

#[test]
fn only_whoever_shows_the_token_is_answered() {
    let desk = TestDesk::new();
    assert_eq!(desk.token.len(), 64);
    let bearer = format!("Bearer {}", desk.token);
    let other = format!("Bearer {}", "0".repeat(64));
    let body = hook(json!({ "response": response("SM-101") }));
    let host = desk.host.clone();
    let json = ("Content-Type", "application/json");
    let own = ("Host", host.as_str());
    let may = ("Authorization", bearer.as_str());
    let tried: [(u16, Vec<(&str, &str)>); 9] = [
        (200, vec![own, may, json]),
        (401, vec![own, json]),
        (401, vec![own, json, ("Authorization", &other)]),
        (401, vec![own, json, may, may]),
        (401, vec![own, json, ("Authorization", "Basic YTpi")]),
        (421, vec![("Host", "evil.example"), may, json]),
        (
            403,
            vec![own, may, json, ("Origin", "https://evil.example")],
        ),
        (403, vec![own, may, json, ("Sec-Fetch-Site", "same-origin")]),
        (415, vec![own, may, ("Content-Type", "text/plain")]),
    ];
    for (status, headers) in tried {
        let answer = desk.ask("POST", SERVICE, &headers, &body);
        assert_eq!(answer.status, status, "{headers:?}: {answer:?}");
        has_headers(&answer);
        assert_eq!(status == 200, answer.body.contains("cards"), "{answer:?}");
        assert_eq!(
            status == 401,
            answer.headers.contains_key("www-authenticate")
        );
    }
    assert_eq!(desk.ask("GET", "/cds-services", &[own], "").status, 401);
    let asked = format!("/cds-services?token={}", desk.token);
    assert_eq!(desk.ask("GET", &asked, &[own], "").status, 401);
    assert_eq!(desk.ask("OPTIONS", SERVICE, &[own, may], "").status, 405);
    assert_eq!(
        desk.calls("POST", "/cds-services/another", &body).status,
        404
    );
    assert_eq!(desk.calls("GET", SERVICE, "").status, 405);
    // A browser that was let in is no record system, and a record system is let in nowhere else.
    let mut browser = desk.person("NA");
    assert_eq!(browser.get("/cds-services").status, 401);
    assert_eq!(desk.ask("GET", "/", &[own, may], "").status, 403);
}

#[test]
fn a_body_too_large_is_refused_and_holds_nobody_up() {
    let desk = TestDesk::new();
    let head = format!(
        "POST {SERVICE} HTTP/1.1\r\nHost: {}\r\nAuthorization: Bearer {}\r\nContent-Type: application/json\r\n",
        desk.host, desk.token
    );
    let announced = format!("{head}Content-Length: 52428800\r\n\r\n");
    assert_eq!(desk.raw(announced.as_bytes()).status, 413);
    // Fifty megabytes in pieces, without a word of how many: it is cut off, whether or not this end hears why.
    let mut stream = TcpStream::connect(("127.0.0.1", desk.port)).expect("a connection");
    stream
        .write_all(format!("{head}Transfer-Encoding: chunked\r\n\r\n").as_bytes())
        .expect("a head is taken");
    let piece = format!("10000\r\n{}\r\n", " ".repeat(0x10000));
    let n_taken = (0..800)
        .take_while(|_| stream.write_all(piece.as_bytes()).is_ok())
        .count();
    let mut read = Vec::new();
    let _ = stream.read_to_end(&mut read);
    assert!(n_taken < 800, "all of it was taken");
    assert!(!String::from_utf8_lossy(&read).contains(" 200 "));
    let nearly = format!(
        "{}{}",
        hook(json!({ "response": null })),
        " ".repeat(1 << 20)
    );
    assert_eq!(cards(&desk.calls("POST", SERVICE, &nearly)).len(), 1);
}

#[test]
fn feedback_is_kept_as_such_and_decides_nothing() {
    let desk = TestDesk::new();
    let mut nurse = desk.person("NA");
    nurse.takes_in("SM-122.yaml");
    let page = nurse.get("/referral/SM-122");
    let before = desk.state("SM-122");
    let given = cards(&desk.calls(
        "POST",
        SERVICE,
        &hook(json!({ "response": response("SM-122") })),
    ));
    let own = "https://preblock.example/nail-surgery/reasons";
    let with_reason = told(
        uuid(&given[1]),
        json!({ "overrideReason": {
            "reason": { "system": own, "code": "cleared-up", "display": "anything" },
            "userComment": "=HYPERLINK(\"x\") <b>INR 2.1 today</b>",
        } }),
    );
    let all = [
        with_reason.clone(),
        // Told again, since no answer was heard.
        with_reason,
        told(uuid(&given[0]), json!({ "acceptedSuggestions": [] })),
        told(
            uuid(&given[1]),
            json!({ "overrideReason": { "reason": { "system": "https://records.example/why", "code": "9", "display": "Other" } } }),
        ),
    ];
    for it in &all {
        let answer = desk.calls("POST", FEEDBACK, it);
        assert_eq!(
            (answer.status, answer.body.as_str()),
            (200, ""),
            "{answer:?}"
        );
        has_headers(&answer);
    }
    let kept: Vec<Happening> = entries(&desk, "SM-122")
        .into_iter()
        .filter(|it| it.kind() == "feedback")
        .collect();
    assert_eq!(kept.len(), 3, "{kept:#?}");
    let Happening::Feedback(first) = &kept[0] else {
        unreachable!("{kept:?}")
    };
    assert_eq!(first.rule.as_deref(), Some("bleeding/inr-too-old"));
    let reason = first.reason.as_ref().expect("a reason");
    let words = reason.display.as_deref();
    assert!(
        words.is_some_and(|it| it.contains("cleared up since")),
        "{reason:?}"
    );
    let after = desk.state("SM-122");
    assert_eq!(before, after);
    assert!(!after.may_be_booked() && after.decision.is_none());
    // A form that was open meanwhile is not stale; what was told stands on the page, inert.
    let shown = nurse.get("/referral/SM-122");
    assert!(
        shown
            .body
            .contains("records: feedback of a card, overridden")
            && shown.body.contains("&lt;b&gt;INR 2.1 today&lt;/b&gt;"),
        "{}",
        shown.body
    );
    let closed = nurse.post(&page, "/referral/SM-122/close", &[("why", "moved away")]);
    assert_eq!(closed.status, 303, "{}", closed.body);
    let path = desk
        .folder
        .path()
        .join("desk.sqlite3")
        .display()
        .to_string();
    let checked = run(&["register", "check", &path]);
    assert!(checked.status.success(), "{checked:?}");
    let exported = run(&["register", "export", &path, "--format", "csv"]);
    let table = said(&exported.stdout);
    assert_eq!(table.matches("feedback").count(), 3, "{table}");
}

#[test]
fn feedback_that_cannot_be_tied_to_a_referral_is_refused_whole() {
    let desk = TestDesk::new();
    let mut nurse = desk.person("NA");
    nurse.takes_in("SM-122.yaml");
    let of = |reference: &str| {
        cards(&desk.calls(
            "POST",
            SERVICE,
            &hook(json!({ "response": response(reference) })),
        ))
    };
    let (known, strange) = (of("SM-122"), of("SM-103"));
    let own = "https://preblock.example/nail-surgery/reasons";
    let long = "x".repeat(2_001);
    let card = uuid(&known[1]);
    let good = json!({ "card": card, "outcome": "overridden", "outcomeTimestamp": "2026-11-25T09:00:00Z" });
    let mut bad = good.clone();
    bad["card"] = json!("00000000-0000-4000-8000-000000000000");
    let refused = [
        (
            422,
            told(uuid(&strange[0]), json!({})),
            "no referral SM-103",
        ),
        (
            422,
            told("00000000-0000-4000-8000-000000000000", json!({})),
            "no card of this id",
        ),
        (
            422,
            told(card, json!({ "outcome": "signed" })),
            "`outcome` is `overridden`",
        ),
        (
            422,
            told(card, json!({ "outcome": "accepted" })),
            "suggest nothing",
        ),
        (
            422,
            told(card, json!({ "acceptedSuggestions": { "id": "1" } })),
            "suggest nothing",
        ),
        (
            422,
            told(
                card,
                json!({ "outcome": "accepted", "acceptedSuggestions": [{ "id": "1" }] }),
            ),
            "suggest nothing",
        ),
        (
            422,
            told(card, json!({ "outcomeTimestamp": "yesterday" })),
            "a moment",
        ),
        (
            422,
            told(card, json!({ "card": null })),
            "a text is needed under `card`",
        ),
        (
            422,
            told(
                card,
                json!({ "overrideReason": { "reason": { "system": own, "code": "because" } } }),
            ),
            "none of the rule set's list",
        ),
        (
            422,
            told(
                card,
                json!({ "overrideReason": { "reason": { "system": own } } }),
            ),
            "under `code`",
        ),
        (
            422,
            told(card, json!({ "overrideReason": { "userComment": long } })),
            "longer than",
        ),
        (
            422,
            json!({ "feedback": [good, bad] }).to_string(),
            "Feedback 2: no card",
        ),
        (
            400,
            json!({ "feedback": [] }).to_string(),
            "under `feedback`",
        ),
        (400, json!({}).to_string(), "under `feedback`"),
        (400, "feedback".to_owned(), ""),
    ];
    for (status, body, why) in refused {
        let answer = desk.calls("POST", FEEDBACK, &body);
        assert_eq!(answer.status, status, "{body}: {answer:?}");
        assert_eq!(value(&answer)["resourceType"], "OperationOutcome");
        assert!(answer.body.contains(why), "{why}: {}", answer.body);
    }
    assert!(
        entries(&desk, "SM-122")
            .iter()
            .all(|it| it.kind() != "feedback")
    );
}

/// The program itself: without `--cards` there is no service; with it the token is told once.
#[test]
fn the_program_opens_the_service_only_where_it_is_asked_to() {
    for is_asked in [false, true] {
        let mut child = program()
            .args(["desk", "--example"])
            .args(is_asked.then_some("--cards"))
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let said = BufReader::new(child.stderr.take().expect("standard error"));
        let mut port = 0;
        let mut token = String::new();
        for line in said.lines().map_while(Result::ok) {
            if let Some((_, shown)) = line.split_once("Authorization: Bearer ") {
                token = shown.trim_end_matches('`').to_owned();
            }
            if let Some((_, rest)) = line.split_once("http://127.0.0.1:") {
                let digits = rest.split('/').next().unwrap_or_default();
                port = digits.parse().expect("a port");
            }
            if port > 0 && token.is_empty() != is_asked {
                break;
            }
        }
        let mut stream = TcpStream::connect(("127.0.0.1", port)).expect("a connection");
        let asked = format!(
            "GET /cds-services HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nAuthorization: Bearer {token}\r\n\r\n"
        );
        stream.write_all(asked.as_bytes()).expect("it listens");
        let mut read = Vec::new();
        let _ = stream.read_to_end(&mut read);
        let _ = child.kill();
        let _ = child.wait();
        let answer = Answer::of(&read);
        assert_eq!(
            answer.status,
            if is_asked { 200 } else { 404 },
            "{answer:?}"
        );
    }
}
