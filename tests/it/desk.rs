//! The desk over plain TCP, as friends and others reach it: who is answered, who may do what, what is kept.

use std::collections::BTreeMap;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Stdio};
use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use chrono::{DateTime, FixedOffset, NaiveDate, TimeDelta};
use preblock::inner::desk::routes::{PageOf, ROUTES, Verb};
use preblock::inner::desk::{Desk, OfferedCards, serve};
use preblock::inner::register::happening::{Happening, Screened};
use preblock::inner::register::people::{PersonRole, hashed};
use preblock::inner::register::pile::PileFilter;
use preblock::inner::register::{New, Register};
use preblock::inner::report::outward::Outward;
use preblock::inner::rule_set::RuleSet;
use preblock::inner::screening::screener::Screener;

use crate::register::model::{many, very_many};
use crate::support::{embedded, embedded_once, program, run, said, today};

mod cards;
mod interview;

const PASSPHRASE: &str = "four words of nobody";
const PEOPLE: [(&str, PersonRole); 5] = [
    ("GE", PersonRole::Governance),
    ("NA", PersonRole::Nurse),
    ("NB", PersonRole::Nurse),
    ("CB", PersonRole::Clinician),
    ("CD", PersonRole::Clinician),
];

fn morning() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2026-11-25T08:00:00+00:00").unwrap_or_default()
}

const CLINIC: &str = include_str!("../../examples/clinic.yaml");

/// A desk on a register of its own, with a clock that the test sets.
struct TestDesk {
    port: u16,
    addresses: Mutex<Receiver<String>>,
    minutes: Arc<AtomicI64>,
    exchanged: Arc<AtomicBool>,
    stop: Arc<AtomicBool>,
    folder: tempfile::TempDir,
    host: String,
    /// What a record system has to show.
    token: String,
    thread: Option<std::thread::JoinHandle<()>>,
    /// The program, where it is not a thread.
    child: Option<Child>,
}

impl Drop for TestDesk {
    fn drop(&mut self) {
        if let Some(child) = &mut self.child {
            let _ = child.kill();
            let _ = child.wait();
            return;
        }
        self.stop.store(true, Ordering::Relaxed);
        let ended = self.thread.take().map(std::thread::JoinHandle::join);
        assert!(
            std::thread::panicking() || ended.is_some_and(|it| it.is_ok()),
            "the desk panicked"
        );
    }
}

fn write(register: &mut Register, person: &str, referral: Option<&str>, happening: Happening) {
    let new = New {
        at: morning(),
        person: person.to_owned(),
        form: None,
        referral: referral.map(str::to_owned),
        happening,
    };
    let written = register.append(new);
    assert!(written.is_ok(), "{written:?}");
}

/// The hash takes a while: one for all tests.
fn hash() -> &'static str {
    static HASH: std::sync::OnceLock<String> = std::sync::OnceLock::new();
    HASH.get_or_init(|| hashed(PASSPHRASE).unwrap_or_default())
}

fn people(register: &mut Register) {
    for (initials, role) in PEOPLE {
        let happening = Happening::PersonSet {
            initials: initials.to_owned(),
            role,
            hash: hash().to_owned(),
            is_on: true,
        };
        write(register, "GE", None, happening);
    }
}

fn screener_of<'a>(rule_set: &'a RuleSet, clinic: &str) -> Screener<'a> {
    let screener = Screener::new(rule_set, today()).clinic("clinic.yaml", clinic.as_bytes());
    screener.unwrap_or_else(|it| unreachable!("{it:?}"))
}

impl TestDesk {
    fn new() -> Self {
        Self::opened(None, CLINIC)
    }

    #[expect(
        clippy::expect_used,
        reason = "a desk that does not open fails the test"
    )]
    fn opened(behind: Option<&'static str>, clinic: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("desk.sqlite3");
        let mut register = Register::create(&path, "a test").expect("a register");
        people(&mut register);
        Self::over(
            folder,
            register,
            behind,
            screener_of(&embedded_once().0, clinic),
        )
    }

    /// A desk over a register, which is in this folder.
    #[expect(
        clippy::expect_used,
        reason = "a desk that does not open fails the test"
    )]
    fn over(
        folder: tempfile::TempDir,
        register: Register,
        behind: Option<&'static str>,
        screener: Screener<'static>,
    ) -> Self {
        let (minutes, exchanged, stop) = (
            Arc::new(AtomicI64::new(0)),
            Arc::new(AtomicBool::new(false)),
            Arc::new(AtomicBool::new(false)),
        );
        let (clock, is_exchanged, asked) = (
            Arc::clone(&minutes),
            Arc::clone(&exchanged),
            Arc::clone(&stop),
        );
        let (tell, addresses) = channel();
        let (tell_token, token) = channel();
        let outward = Outward::of(screener.rule_set()).ok();
        let cards = outward.map(|outward| OfferedCards {
            outward,
            told: Box::new(move |_, token| {
                let _ = tell_token.send(token.to_owned());
            }),
        });
        let desk = Desk {
            register,
            screener,
            exchanged: Box::new(move || {
                let is_exchanged = is_exchanged.load(Ordering::Relaxed);
                is_exchanged.then(|| "The rule set was changed.".to_owned())
            }),
            clock: Box::new(move || morning() + TimeDelta::minutes(clock.load(Ordering::Relaxed))),
            notice: String::new(),
            cards,
        };
        let thread = std::thread::spawn(move || {
            let told = move |address: u16, first: &str| {
                let _ = tell.send(format!("{address} {first}"));
            };
            serve(desk, 0, behind, told, &asked).expect("the desk is served");
        });
        let first = addresses
            .recv_timeout(Duration::from_secs(30))
            .expect("an address");
        let (port, address) = first.split_once(' ').expect("a port");
        let (port, address): (u16, String) = (port.parse().expect("a port"), address.to_owned());
        let (again, kept) = channel();
        again.send(address).expect("kept");
        std::thread::spawn(move || {
            while let Ok(next) = addresses.recv() {
                let _ = again.send(
                    next.split_once(' ')
                        .map_or_else(String::new, |it| it.1.to_owned()),
                );
            }
        });
        Self {
            port,
            addresses: Mutex::new(kept),
            minutes,
            exchanged,
            stop,
            folder,
            host: behind.map_or_else(
                || format!("127.0.0.1:{port}"),
                |it| it.replace("https://", ""),
            ),
            token: token
                .recv_timeout(Duration::from_secs(30))
                .unwrap_or_default(),
            thread: Some(thread),
            child: None,
        }
    }

    /// The program itself, over a register with the people of these tests and by the rules of a folder; its clock is the
    /// computer's.
    #[expect(
        clippy::expect_used,
        reason = "a desk that does not open fails the test"
    )]
    fn started(folder: tempfile::TempDir, rules: &Path) -> Self {
        let path = folder.path().join("desk.sqlite3");
        let mut register = Register::create(&path, "a test").expect("a register");
        people(&mut register);
        drop(register);
        let mut child = program()
            .args(["desk", "--register"])
            .arg(&path)
            .arg("--rules")
            .arg(rules)
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let said = BufReader::new(child.stderr.take().expect("standard error"));
        let (tell, addresses) = channel();
        std::thread::spawn(move || {
            for line in said.lines().map_while(Result::ok) {
                if let Some((_, address)) = line.split_once("http://127.0.0.1:") {
                    let _ = tell.send(address.to_owned());
                }
            }
        });
        let first = addresses
            .recv_timeout(Duration::from_secs(120))
            .expect("an address");
        let port = first.split('/').next().and_then(|it| it.parse().ok());
        let port: u16 = port.expect("a port");
        let (again, kept) = channel();
        again.send(format!("127.0.0.1:{first}")).expect("kept");
        std::thread::spawn(move || {
            while let Ok(next) = addresses.recv() {
                let _ = again.send(format!("127.0.0.1:{next}"));
            }
        });
        Self {
            port,
            addresses: Mutex::new(kept),
            minutes: Arc::default(),
            exchanged: Arc::default(),
            stop: Arc::default(),
            folder,
            host: format!("127.0.0.1:{port}"),
            token: String::new(),
            thread: None,
            child: Some(child),
        }
    }

    /// The path of the address that the terminal shows.
    fn entrance(&self) -> String {
        let shown = self
            .addresses
            .lock()
            .ok()
            .and_then(|it| it.recv_timeout(Duration::from_secs(10)).ok());
        let shown = shown.unwrap_or_default();
        shown
            .split_once(&self.host)
            .map_or_else(String::new, |(_, path)| path.to_owned())
    }

    /// Sends bytes as they are, and reads the answer to its end.
    fn raw(&self, bytes: &[u8]) -> Answer {
        let mut stream =
            TcpStream::connect(("127.0.0.1", self.port)).unwrap_or_else(|it| unreachable!("{it}"));
        let _ = stream.set_read_timeout(Some(Duration::from_secs(90)));
        let _ = stream.write_all(bytes);
        let mut read = Vec::new();
        let _ = stream.read_to_end(&mut read);
        Answer::of(&read)
    }

    fn ask(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
        let mut text = format!("{method} {path} HTTP/1.1\r\n");
        for (name, value) in headers {
            text.push_str(&format!("{name}: {value}\r\n"));
        }
        if method == "POST" {
            text.push_str(&format!("Content-Length: {}\r\n", body.len()));
        }
        self.raw(format!("{text}\r\n{body}").as_bytes())
    }

    fn later(&self, minutes: i64) {
        self.minutes.fetch_add(minutes, Ordering::Relaxed);
    }

    /// A browser that was let in.
    fn browser(&self) -> Browser<'_> {
        let mut browser = Browser {
            desk: self,
            cookie: String::new(),
        };
        let answer = browser.get(&self.entrance());
        assert_eq!(answer.status, 303, "{}", answer.body);
        browser
    }

    /// A browser before which this person sits.
    fn person(&self, initials: &str) -> Browser<'_> {
        let mut browser = self.browser();
        let answer = browser.sign_in(initials, PASSPHRASE);
        assert_eq!(answer.status, 303, "{}", answer.body);
        browser
    }
}

#[derive(Debug, Clone)]
struct Answer {
    status: u16,
    headers: BTreeMap<String, String>,
    body: String,
}

impl Answer {
    fn of(read: &[u8]) -> Self {
        let text = String::from_utf8_lossy(read);
        let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
        let mut lines = head.lines();
        let status = lines
            .next()
            .and_then(|it| it.split(' ').nth(1)?.parse().ok());
        let headers = lines.filter_map(|it| it.split_once(": "));
        Self {
            status: status.unwrap_or(0),
            headers: headers
                .map(|(name, value)| (name.to_lowercase(), value.to_owned()))
                .collect(),
            body: body.to_owned(),
        }
    }

    fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", String::as_str)
    }

    /// The value of the first field of this name.
    fn field(&self, name: &str) -> String {
        let field = self.body.split_once(&format!("name=\"{name}\" value=\""));
        let value = field
            .and_then(|(_, rest)| rest.split_once('"'))
            .map(|it| it.0);
        unescaped(value.unwrap_or_default())
    }

    /// Every field that is not shown, in its order; those of the form of signing out go before.
    fn hidden(&self) -> Vec<(String, String)> {
        let main = self.body.split_once("<main").map_or("", |it| it.1);
        let fields = main.split("<input type=\"hidden\" name=\"").skip(1);
        let read = |field: &str| {
            let (name, rest) = field.split_once("\" value=\"")?;
            Some((unescaped(name), unescaped(rest.split_once('"')?.0)))
        };
        fields.filter_map(read).collect()
    }
}

fn unescaped(text: &str) -> String {
    text.replace("&#10;", "\n")
        .replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&amp;", "&")
}

fn encoded(text: &str) -> String {
    text.bytes().map(|byte| format!("%{byte:02X}")).collect()
}

struct Browser<'a> {
    desk: &'a TestDesk,
    cookie: String,
}

impl Browser<'_> {
    fn keep(&mut self, answer: Answer) -> Answer {
        if let Some((cookie, _)) = answer.header("set-cookie").split_once(';') {
            self.cookie = cookie.to_owned();
        }
        answer
    }

    fn get(&mut self, path: &str) -> Answer {
        let host = self.desk.host.clone();
        let answer = self.desk.ask(
            "GET",
            path,
            &[("Host", &host), ("Cookie", &self.cookie.clone())],
            "",
        );
        self.keep(answer)
    }

    /// Sends a form as a page of the desk does, with the token of `from`.
    fn post(&mut self, from: &Answer, path: &str, fields: &[(&str, &str)]) -> Answer {
        let token = from.field("form");
        let all = [("form", token.as_str())];
        let all = all
            .iter()
            .chain(fields)
            .map(|(name, value)| format!("{}={}", encoded(name), encoded(value)));
        let body = all.collect::<Vec<String>>().join("&");
        let host = self.desk.host.clone();
        let headers = [
            ("Host", host.as_str()),
            ("Cookie", &self.cookie.clone()),
            ("Sec-Fetch-Site", "same-origin"),
            ("Origin", "null"),
            ("Content-Type", "application/x-www-form-urlencoded"),
        ];
        let answer = self.desk.ask("POST", path, &headers, &body);
        self.keep(answer)
    }

    fn sign_in(&mut self, initials: &str, passphrase: &str) -> Answer {
        let page = self.get("/sign-in");
        self.post(
            &page,
            "/sign-in",
            &[("initials", initials), ("passphrase", passphrase)],
        )
    }

    /// Takes a file of the examples in.
    fn takes_in(&mut self, name: &str) {
        let text = std::fs::read_to_string(
            Path::new(env!("CARGO_MANIFEST_DIR"))
                .join("examples/referrals")
                .join(name),
        );
        let page = self.get("/files");
        let answer = self.post(
            &page,
            "/files",
            &[("name", name), ("text", &text.unwrap_or_default())],
        );
        assert_eq!(answer.status, 303, "{}", answer.body);
    }
}

/// Every answer says what no page of another host may do with it, and no connection stays for a second request.
fn has_headers(answer: &Answer) {
    let policy = answer.header("content-security-policy");
    assert!(
        policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'none'"),
        "{answer:?}"
    );
    assert!(!policy.contains("unsafe"), "{policy}");
    for (name, value) in [
        ("cache-control", "no-store"),
        ("referrer-policy", "no-referrer"),
        ("x-content-type-options", "nosniff"),
        ("connection", "close"),
    ] {
        assert_eq!(answer.header(name), value, "{name}");
    }
}

#[test]
fn only_its_own_host_is_answered() {
    let desk = TestDesk::new();
    let own = desk.host.clone();
    let answer = desk.ask("GET", "/style.css", &[("Host", &own)], "");
    assert_eq!(answer.status, 200);
    has_headers(&answer);
    let port = desk.port;
    let (local, dotted) = (format!("localhost:{port}"), format!("127.0.0.1.:{port}"));
    for host in ["desk.example", "127.0.0.1", &local, &dotted, ""] {
        let answer = desk.ask("GET", "/style.css", &[("Host", host)], "");
        assert!(
            [400, 421].contains(&answer.status),
            "{host}: {}",
            answer.status
        );
    }
    for request in [
        "GET /style.css HTTP/1.1\r\n\r\n".to_owned(),
        format!("GET /style.css HTTP/1.1\r\nHost: {own}\r\nHost: desk.example\r\n\r\n"),
        format!("GET http://desk.example/style.css HTTP/1.1\r\nHost: {own}\r\n\r\n"),
    ] {
        let answer = desk.raw(request.as_bytes());
        assert!(
            [400, 421].contains(&answer.status),
            "{request}: {}",
            answer.status
        );
    }
}

#[test]
fn an_address_lets_one_browser_in_once() {
    let desk = TestDesk::new();
    let entrance = desk.entrance();
    let stranger = desk.ask("GET", "/", &[("Host", &desk.host)], "");
    assert_eq!(stranger.status, 403);
    has_headers(&stranger);
    let mut browser = Browser {
        desk: &desk,
        cookie: String::new(),
    };
    let first = browser.get(&entrance);
    assert_eq!((first.status, first.header("location")), (303, "/"));
    let cookie = first.header("set-cookie");
    assert!(
        cookie.starts_with(&format!("desk-{}=", desk.port)),
        "{cookie}"
    );
    for part in ["HttpOnly", "SameSite=Strict", "Path=/"] {
        assert!(cookie.contains(part), "{cookie}");
    }
    let mut second = Browser {
        desk: &desk,
        cookie: String::new(),
    };
    assert_eq!(second.get(&entrance).status, 403, "used twice");
    assert_eq!(second.get("/open?token=").status, 403);
    let next = desk.entrance();
    assert_ne!(next, entrance);
    assert_eq!(second.get(&next).status, 303, "the next one is told");
    assert_eq!(
        browser.get("/sign-in").status,
        200,
        "the first browser is still in"
    );
}

/// Every role is tried against every address, and so is nobody.
#[test]
fn each_role_goes_where_the_table_says() {
    let desk = TestDesk::new();
    let mut nurse = desk.person("NA");
    nurse.takes_in("SM-103.yaml");
    let address = |path: &str| {
        path.replace("{reference}", "SM-103")
            .replace("{section}", "bleeding")
            .replace("{kind}", "result")
            .replace("{entry}", "1")
    };
    let mut n_tried = 0;
    for (initials, role) in PEOPLE {
        let mut browser = desk.person(initials);
        let own = browser.get("/figures");
        for route in ROUTES {
            let PageOf::OfPeople(roles, _) = route.page else {
                continue;
            };
            let path = address(route.path);
            let answer = match route.verb {
                Verb::Get => browser.get(&path),
                // Signing out would end the round.
                Verb::Post if route.path == "/sign-out" => continue,
                Verb::Post => browser.post(&own, &path, &[]),
            };
            let is_refused = answer.status == 403;
            assert_eq!(
                is_refused,
                !roles.contains(&role),
                "{initials} {} {path}: {}",
                route.path,
                answer.status
            );
            assert!(answer.status < 500, "{path}: {}", answer.body);
            has_headers(&answer);
            n_tried += 1;
        }
    }
    let mut nobody = desk.browser();
    let page = nobody.get("/sign-in");
    for route in ROUTES {
        let PageOf::OfPeople(..) = route.page else {
            continue;
        };
        let path = address(route.path);
        match route.verb {
            Verb::Get => {
                let answer = nobody.get(&path);
                assert_eq!(
                    (answer.status, answer.header("location")),
                    (303, "/sign-in"),
                    "{path}"
                );
            }
            Verb::Post => assert_eq!(nobody.post(&page, &path, &[]).status, 403, "{path}"),
        }
        n_tried += 1;
    }
    assert!(n_tried > 100, "{n_tried} tries");
}

#[test]
fn a_form_must_come_from_a_page_of_this_session() {
    let desk = TestDesk::new();
    let mut browser = desk.person("NA");
    let page = browser.get("/");
    let token = page.field("form");
    assert_eq!(token.len(), 64);
    let other = desk.person("NB").get("/").field("form");
    let (host, cookie, origin) = (
        desk.host.clone(),
        browser.cookie.clone(),
        format!("http://{}", desk.host),
    );
    let kind = ("Content-Type", "application/x-www-form-urlencoded");
    // Headers, form, the status that it is answered with.
    type Try<'a> = (&'a [(&'a str, &'a str)], &'a str, u16);
    let tries: [Try<'_>; 10] = [
        (
            &[("Sec-Fetch-Site", "cross-site"), ("Origin", &origin), kind],
            &token,
            403,
        ),
        (&[("Sec-Fetch-Site", "same-site"), kind], &token, 403),
        (&[("Sec-Fetch-Site", "none"), kind], &token, 403),
        (
            &[
                ("Sec-Fetch-Site", "same-origin"),
                ("Origin", "http://desk.example"),
                kind,
            ],
            &token,
            403,
        ),
        (&[("Origin", "null"), kind], &token, 403),
        (&[kind], &token, 403),
        (&[("Sec-Fetch-Site", "same-origin"), kind], "", 403),
        (&[("Sec-Fetch-Site", "same-origin"), kind], &other, 403),
        (
            &[
                ("Sec-Fetch-Site", "same-origin"),
                ("Content-Type", "text/plain"),
            ],
            &token,
            415,
        ),
        (
            &[
                ("Sec-Fetch-Site", "same-origin"),
                ("Content-Type", "multipart/form-data; boundary=x"),
            ],
            &token,
            415,
        ),
    ];
    for (headers, token, expected) in tries {
        let mut all = vec![("Host", host.as_str()), ("Cookie", cookie.as_str())];
        all.extend(headers);
        let body = format!("form={token}&reference=SM-900");
        let answer = desk.ask("POST", "/referrals", &all, &body);
        assert_eq!(answer.status, expected, "{headers:?}");
        has_headers(&answer);
    }
    let pile = browser.get("/");
    assert!(!pile.body.contains("SM-900"), "nothing was opened");
    let all = [
        ("Host", host.as_str()),
        ("Cookie", &cookie),
        ("Origin", &origin),
        kind,
    ];
    let answer = desk.ask(
        "POST",
        "/referrals",
        &all,
        &format!("form={token}&reference=SM-900"),
    );
    assert_eq!(answer.status, 303, "an older browser says its origin alone");
    assert!(browser.get("/").body.contains("SM-900"));
    for method in ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT"] {
        let answer = desk.ask(method, "/", &[("Host", &host), ("Cookie", &cookie)], "");
        assert!(
            [400, 404, 405, 421].contains(&answer.status),
            "{method}: {}",
            answer.status
        );
    }
}

#[test]
fn half_an_hour_without_a_touch_signs_out_and_loses_nothing_typed() {
    let desk = TestDesk::new();
    let mut browser = desk.person("NA");
    let page = browser.get("/");
    desk.later(29);
    assert_eq!(browser.get("/").status, 200);
    desk.later(31);
    let answer = browser.get("/");
    assert_eq!(
        (answer.status, answer.header("location")),
        (303, "/sign-in")
    );
    let answer = browser.post(&page, "/referrals", &[("reference", "SM-900")]);
    assert_eq!(answer.status, 403);
    assert_eq!(
        (answer.field("then"), answer.field("kept.reference")),
        ("/referrals".into(), "SM-900".into())
    );
    let fields = [
        ("initials", "NA"),
        ("passphrase", PASSPHRASE),
        ("then", "/referrals"),
        ("kept.reference", "SM-900"),
    ];
    let cookie = browser.cookie.clone();
    let again = browser.post(&answer, "/sign-in", &fields);
    assert_eq!(again.status, 200);
    assert_ne!(browser.cookie, cookie, "whoever signs in gets a new token");
    assert_eq!(again.field("reference"), "SM-900");
    let sent = browser.post(
        &again,
        "/referrals",
        &[("reference", &again.field("reference"))],
    );
    assert_eq!(sent.header("location"), "/referral/SM-900/interview");
    let mut old = Browser {
        desk: &desk,
        cookie,
    };
    assert_eq!(
        old.get("/").status,
        403,
        "the token from before signing in is void"
    );
}

#[test]
fn a_session_lasts_twelve_hours_and_no_clock_makes_it_longer() {
    let desk = TestDesk::new();
    let mut browser = desk.person("NA");
    for _ in 0..28 {
        desk.later(25);
        assert_eq!(browser.get("/calls").status, 200);
    }
    desk.later(25);
    assert_eq!(browser.get("/calls").status, 303, "after twelve hours");
    let mut browser = desk.person("NB");
    desk.later(-60);
    assert_eq!(browser.get("/calls").status, 303, "the clock was put back");
}

#[test]
fn refusals_slow_down_for_one_person_and_are_written_down() {
    let desk = TestDesk::new();
    let mut browser = desk.browser();
    for _ in 0..3 {
        let answer = browser.sign_in("NA", "something else entirely");
        assert_eq!(answer.status, 403);
        assert!(
            answer.body.contains("do not belong together"),
            "{}",
            answer.body
        );
        assert!(
            !answer.body.contains("something else"),
            "a passphrase is never sent back"
        );
    }
    let answer = browser.sign_in("NA", PASSPHRASE);
    assert_eq!(answer.status, 403);
    assert!(answer.body.contains("Wait 2 seconds"), "{}", answer.body);
    assert_eq!(
        browser.sign_in("NB", PASSPHRASE).status,
        303,
        "nobody else waits"
    );
    let mut other = desk.browser();
    desk.later(1);
    assert_eq!(other.sign_in("NA", PASSPHRASE).status, 303);
    for name in ["ZZ", "nobody", "<script>", "'; drop table entry; --"] {
        assert_eq!(
            desk.browser().sign_in(name, PASSPHRASE).status,
            403,
            "{name}"
        );
    }
    let path = desk.folder.path().join("desk.sqlite3");
    let entries = Register::open_to_read(&path).and_then(|it| it.all_entries());
    let refused = entries
        .iter()
        .flatten()
        .filter(|it| it.kind == "sign-in-refused");
    let of: Vec<&str> = refused.map(|it| it.person.as_str()).collect();
    assert_eq!(
        of,
        ["NA", "NA", "NA"],
        "those who are nobody fill no register"
    );
}

#[test]
fn paths_lead_nowhere_else() {
    let desk = TestDesk::new();
    let mut browser = desk.person("NA");
    for path in [
        "/../../etc/passwd",
        "/style.css/../../Cargo.toml",
        "/%2e%2e/%2e%2e/etc/passwd",
        "/referral/..%2f..%2fetc%2fpasswd",
        "/referral/%00",
        "/referral/%ff%fe",
        "/referral/SM-103%0d%0aSet-Cookie:%20a=b",
        "/referral/' or 1=1 --",
        "//desk.example/",
        "/referral//interview",
        "/referral/SM-103/interview/<script>",
        "/referral/SM-103/letter/-1",
        "/referral/SM-103/letter/99999999999999999999",
    ] {
        let answer = browser.get(path);
        assert!(
            [400, 404].contains(&answer.status),
            "{path}: {}",
            answer.status
        );
        assert!(
            !answer.headers.contains_key("set-cookie") && !answer.body.contains("root:"),
            "{path}"
        );
        assert!(!answer.body.contains("<script>"), "{path}");
    }
}

/// Whoever sends too much or too slowly loses the connection, and nobody else waits for that.
#[test]
fn oversized_and_slow_requests_hold_nobody_up() {
    let desk = TestDesk::new();
    let mut browser = desk.person("NA");
    let page = browser.get("/files");
    let large = "x".repeat(1 << 20);
    let answer = browser.post(&page, "/files", &[("name", "a.yaml"), ("text", &large)]);
    assert_eq!(answer.status, 413);
    let unread = format!(
        "POST /files HTTP/1.1\r\nHost: {}\r\nSec-Fetch-Site: same-origin\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 999999999\r\n\r\n",
        desk.host
    );
    assert_eq!(
        desk.raw(unread.as_bytes()).status,
        403,
        "who was not let in is not listened to"
    );
    let many = format!(
        "GET / HTTP/1.1\r\nHost: {}\r\n{}\r\n",
        desk.host,
        "A: b\r\n".repeat(500)
    );
    assert_eq!(desk.raw(many.as_bytes()).status, 431);
    let endless = format!(
        "GET /{} HTTP/1.1\r\nHost: {}\r\n\r\n",
        "a".repeat(100_000),
        desk.host
    );
    assert!([0, 400, 404, 414].contains(&desk.raw(endless.as_bytes()).status));
    let open = |text: &str| {
        let mut stream =
            TcpStream::connect(("127.0.0.1", desk.port)).unwrap_or_else(|it| unreachable!("{it}"));
        let _ = stream.write_all(text.as_bytes());
        let _ = stream.set_read_timeout(Some(Duration::from_secs(60)));
        stream
    };
    let slow = [
        open("GET / HTTP/1.1\r\nHo"),
        open(&format!(
            "POST /sign-in HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\nSec-Fetch-Site: same-origin\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 900\r\n\r\nform=",
            desk.host, browser.cookie
        )),
    ];
    let begun = Instant::now();
    assert_eq!(browser.get("/").status, 200);
    assert!(begun.elapsed() < Duration::from_secs(5), "others go on");
    for mut stream in slow {
        let mut read = Vec::new();
        let _ = stream.read_to_end(&mut read);
        assert!(
            begun.elapsed() < Duration::from_secs(40),
            "a slow request is cut off"
        );
        assert!(!String::from_utf8_lossy(&read).contains("200 OK"));
    }
    let idle: Vec<TcpStream> = (0..200).map(|_| open("")).collect();
    let is_answered = (0..50).any(|_| browser.get("/style.css").status == 200);
    assert!(!is_answered, "there is room for so many and no more");
    drop(idle);
    let is_answered = (0..100).any(|_| {
        std::thread::sleep(Duration::from_millis(50));
        browser.get("/style.css").status == 200
    });
    assert!(is_answered, "once they are gone there is room");
}

#[test]
fn behind_a_proxy_its_address_alone_is_answered() {
    let desk = TestDesk::opened(Some("https://desk.example"), CLINIC);
    let local = format!("127.0.0.1:{}", desk.port);
    assert_eq!(
        desk.ask("GET", "/sign-in", &[("Host", &local)], "").status,
        421
    );
    let mut browser = Browser {
        desk: &desk,
        cookie: String::new(),
    };
    let answer = browser.get("/");
    assert_eq!(
        (answer.status, answer.header("location")),
        (303, "/sign-in")
    );
    assert!(
        answer.header("set-cookie").ends_with("; Secure"),
        "{answer:?}"
    );
    assert_eq!(browser.sign_in("NA", PASSPHRASE).status, 303);
    assert_eq!(browser.get("/").status, 200);
    let page = browser.get("/");
    let (cookie, token) = (browser.cookie.clone(), page.field("form"));
    let headers = |origin| {
        [
            ("Host", "desk.example"),
            ("Cookie", cookie.as_str()),
            ("Origin", origin),
            ("Content-Type", "application/x-www-form-urlencoded"),
        ]
    };
    let body = format!("form={token}&reference=SM-900");
    assert_eq!(
        desk.ask("POST", "/referrals", &headers("http://desk.example"), &body)
            .status,
        403
    );
    assert_eq!(
        desk.ask(
            "POST",
            "/referrals",
            &headers("https://desk.example"),
            &body
        )
        .status,
        303
    );
}

/// An answer at a time: what is understood is kept, what is not stays as typed, and asking goes on where it must.
#[test]
fn an_interview_keeps_what_is_understood_and_shows_the_rest() {
    let desk = TestDesk::new();
    let mut browser = desk.person("NA");
    let page = browser.get("/");
    let answer = browser.post(&page, "/referrals", &[("reference", "Jane Doe")]);
    assert_eq!(answer.status, 422, "a name is no reference");
    assert!(!answer.body.contains("Jane"), "and is not repeated");
    browser.post(&page, "/referrals", &[("reference", "SM-900")]);
    let answer = browser.get("/referral/SM-900/interview");
    assert_eq!(
        answer.header("location"),
        "/referral/SM-900/interview/person"
    );
    let page = browser.get("/referral/SM-900/interview/person");
    let was = page.field("was.person.weight");
    let blank = [
        ("was.person.date_of_birth", was.as_str()),
        ("was.person.sex", &was),
        ("was.person.weight", &was),
        ("was.person.height", &was),
    ];
    let version = page.field("version");
    let typed = [
        ("version", version.as_str()),
        ("t.person.date_of_birth", "1980-02-03"),
        ("a.person.sex", "female"),
        ("t.person.weight", "81"),
        ("t.person.height", "172 cm"),
    ];
    let answer = browser.post(
        &page,
        "/referral/SM-900/interview/person",
        &[&blank[..], &typed].concat(),
    );
    assert_eq!(answer.status, 422);
    assert!(
        answer.body.contains("needs a unit") && answer.body.contains("value=\"81\""),
        "{}",
        answer.body
    );
    let kept = browser.get("/referral/SM-900/questionnaire").body;
    assert!(
        kept.contains("date_of_birth: 1980-02-03")
            && kept.contains("sex: female")
            && !kept.contains("weight"),
        "{kept}"
    );
    let (was, version) = (answer.field("was.person.weight"), answer.field("version"));
    let mended = [
        ("version", version.as_str()),
        ("was.person.weight", &was),
        ("t.person.weight", "81 kg"),
    ];
    let answer = browser.post(&answer, "/referral/SM-900/interview/person", &mended);
    let next = answer.header("location").to_owned();
    assert_eq!(answer.status, 303);
    assert!(
        next.starts_with("/referral/SM-900/interview/plan?since="),
        "{next}"
    );
    let page = browser.get(&next);
    assert!(
        page.body
            .contains("What is the body weight? <strong>81 kg</strong>"),
        "what was saved is told on the next page: {}",
        page.body
    );
    let page = browser.get("/referral/SM-900/interview/person");
    assert!(
        page.body.contains("Understood as <strong>81 kg</strong>"),
        "{}",
        page.body
    );
    assert!(
        browser.get("/").body.contains("DEFER"),
        "the pile knows its verdict"
    );
}

/// Two nurses on one page: the second to save sees what changed, loses nothing, and takes nothing back.
#[test]
fn two_people_on_one_referral_lose_nothing() {
    let desk = TestDesk::new();
    let (mut first, mut second) = (desk.person("NA"), desk.person("NB"));
    first.takes_in("SM-103.yaml");
    let path = "/referral/SM-103/interview/person";
    let (page_a, page_b) = (first.get(path), second.get(path));
    let of = |page: &Answer, name: &str, typed: &str| -> Vec<(String, String)> {
        let mut fields = vec![("version".to_owned(), page.field("version"))];
        for name in ["weight", "height"] {
            let was = page.field(&format!("was.person.{name}"));
            let stands = was.lines().last().map_or_else(String::new, str::to_owned);
            fields.extend([
                (format!("was.person.{name}"), was),
                (format!("t.person.{name}"), stands),
            ]);
        }
        let at = fields
            .iter()
            .position(|(key, _)| *key == format!("t.person.{name}"));
        fields[at.unwrap_or_default()].1 = typed.to_owned();
        fields
    };
    let send = |browser: &mut Browser<'_>, page: &Answer, fields: &[(String, String)]| {
        let fields: Vec<(&str, &str)> = fields
            .iter()
            .map(|(key, value)| (key.as_str(), value.as_str()))
            .collect();
        browser.post(page, path, &fields)
    };
    assert_eq!(
        send(&mut first, &page_a, &of(&page_a, "weight", "90 kg")).status,
        303
    );
    let stale = send(&mut second, &page_b, &of(&page_b, "height", "180 cm"));
    assert_eq!(stale.status, 409);
    assert!(
        stale.body.contains("NA:")
            && stale.body.contains("90 kg")
            && stale.body.contains("value=\"180 cm\""),
        "{}",
        stale.body
    );
    let again = of(&stale, "height", "180 cm");
    assert_eq!(send(&mut second, &stale, &again).status, 303);
    let kept = first.get("/referral/SM-103/questionnaire").body;
    assert!(
        kept.contains("weight: 90 kg") && kept.contains("height: 180 cm"),
        "{kept}"
    );
    assert!(
        kept.contains("# Warfarin, and an INR"),
        "a comment of the file stays"
    );
}

/// Each row of a sheet is taken in, or told why not; and nothing that the register has is replaced.
#[test]
fn a_sheet_is_taken_in_by_a_mapping() {
    let example = |name: &str| {
        std::fs::read_to_string(format!("examples/interchange/{name}")).unwrap_or_default()
    };
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    let register = Register::create(&folder.path().join("desk.sqlite3"), "a test");
    let mut register = register.unwrap_or_else(|error| unreachable!("{error:?}"));
    people(&mut register);
    let screener = screener_of(&embedded_once().0, CLINIC)
        .mapped("mapping.yaml", example("mapping.yaml").as_bytes());
    let screener = screener.unwrap_or_else(|it| unreachable!("{it:?}"));
    let desk = TestDesk::over(folder, register, None, screener);
    let mut nurse = desk.person("NA");
    let page = nurse.get("/files");
    assert!(page.body.contains("is a sheet"), "{}", page.body);
    let sheet = example("referrals.csv").replace("71.5 kg", "71.5 cm");
    let fields = [("name", "referrals.csv"), ("text", sheet.as_str())];
    let taken = nurse.post(&page, "/files", &fields);
    assert!(taken.body.contains("Taken in: 2 of 3"), "{}", taken.body);
    assert!(
        taken.body.contains("referrals.csv, row 4: not taken in"),
        "{}",
        taken.body
    );
    assert!(entries(&desk, "SM-213").is_empty());
    let kept = nurse.get("/referral/SM-212/questionnaire").body;
    assert!(
        kept.contains("    inr: { value: 4.0, taken_on: 2026-11-24 }\n"),
        "{kept}"
    );
    assert!(
        !kept.contains("  clinic:\n"),
        "the clinic's answers are not the patient's: {kept}"
    );
    let n_before = entries(&desk, "SM-212").len();
    let changed = sheet.replace(",4.0,", ",3.0,");
    let fields = [("name", "referrals.csv"), ("text", changed.as_str())];
    let again = nurse.post(&taken, "/files", &fields);
    assert!(again.body.contains("nothing to change"), "{}", again.body);
    assert!(again.body.contains("was left as it is"), "{}", again.body);
    assert_eq!(entries(&desk, "SM-212").len(), n_before);
    let broken = changed.replace("Weight", "Wieght");
    let fields = [("name", "referrals.csv"), ("text", broken.as_str())];
    let refused = nurse.post(&again, "/files", &fields);
    assert_eq!(refused.status, 422);
    assert!(
        refused.body.contains("mapping/not-mapped"),
        "{}",
        refused.body
    );
}

/// A questionnaire saved, edited by hand and taken in again: what changes is shown, and nothing is written before it is confirmed.
#[test]
fn a_file_that_replaces_answers_is_confirmed_first() {
    let desk = TestDesk::new();
    let mut nurse = desk.person("NA");
    nurse.takes_in("SM-103.yaml");
    let saved = nurse.get("/referral/SM-103/questionnaire").body;
    let page = nurse.get("/files");
    let takes_in = |nurse: &mut Browser<'_>, page: &Answer, text: &str| {
        let fields = [("name", "SM-103.yaml"), ("text", text)];
        nurse.post(page, "/files", &fields)
    };
    let edited = saved.replace("weight: ", "weight: 1") + "# By hand.\n";
    assert_ne!(edited.lines().count(), saved.lines().count());
    let n_before = entries(&desk, "SM-103").len();
    let again = takes_in(&mut nurse, &page, &saved);
    assert_eq!(
        again.header("location"),
        "/referral/SM-103",
        "the same text changes nothing"
    );
    let shown = takes_in(&mut nurse, &page, &edited);
    assert!(
        shown.status == 200
            && shown
                .body
                .contains("<th scope=\"row\">What is the body weight?</th>"),
        "{}",
        shown.body
    );
    assert_eq!(
        shown.body.matches("data-label=\"Then\"").count(),
        1,
        "{}",
        shown.body
    );
    assert_eq!(
        entries(&desk, "SM-103").len(),
        n_before,
        "nothing is written yet"
    );
    let sends = |nurse: &mut Browser<'_>, page: &Answer| {
        let fields = page.hidden();
        let fields: Vec<(&str, &str)> = fields
            .iter()
            .filter(|(name, _)| name != "form")
            .map(|(key, value)| (key.as_str(), value.as_str()))
            .collect();
        nurse.post(page, "/files", &fields)
    };
    // Another nurse writes meanwhile.
    let mut other = desk.person("NB");
    let page = other.get("/calls");
    other.post(&page, "/referral/SM-103/screen", &[]);
    let stale = sends(&mut nurse, &shown);
    assert!(stale.body.contains("meanwhile"), "{}", stale.body);
    let done = sends(&mut nurse, &stale);
    assert_eq!(done.header("location"), "/referral/SM-103", "{}", done.body);
    assert_eq!(
        nurse.get("/referral/SM-103/questionnaire").body,
        edited,
        "whole, to the last sign"
    );
    let last = entries(&desk, "SM-103");
    let changed = last.iter().rev().find_map(|it| match it {
        Happening::Answered { changed, .. } => Some(changed.clone()),
        _ => None,
    });
    assert_eq!(changed, Some(vec!["person.weight".to_owned()]));
    // With slips it is refused, each at its place, and nothing is lost.
    let broken =
        edited.replace("weight: 1", "weight: heavy # ") + "note: [a list]\nunknown_key: 1\n";
    let page = nurse.get("/files");
    let refused = takes_in(&mut nurse, &page, &broken);
    assert_eq!(refused.status, 422);
    let line = |text: &str| {
        broken
            .lines()
            .position(|it| it.contains(text))
            .map(|it| it + 1)
    };
    for text in ["weight: heavy", "unknown_key"] {
        let place = format!("(SM-103.yaml:{}:", line(text).unwrap_or_default());
        assert!(
            refused.body.contains(&place),
            "{text}, {place}: {}",
            refused.body
        );
    }
    assert!(
        refused.body.contains("# By hand."),
        "what was sent stands there"
    );
    assert_eq!(nurse.get("/referral/SM-103/questionnaire").body, edited);
}

/// The list of the day before: who is booked for the clinic's next day, and what of it will not hold by then.
#[test]
fn the_day_before_says_what_will_have_lapsed() {
    let desk = TestDesk::new();
    let (mut nurse, mut clinician) = (desk.person("NA"), desk.person("CB"));
    let books = |nurse: &mut Browser<'_>, reference: &str| {
        let path = format!("/referral/{reference}/book");
        let page = nurse.get(&path);
        let version = page.field("version");
        let answer = nurse.post(
            &page,
            &path,
            &[("version", &version), ("day", "2026-12-03")],
        );
        assert_eq!(answer.status, 303, "{}", answer.body);
    };
    for reference in ["SM-101", "SM-108"] {
        nurse.takes_in(&format!("{reference}.yaml"));
        assert_eq!(decides(&mut clinician, reference, "go").status, 303);
        books(&mut nurse, reference);
    }
    nurse.takes_in("SM-109.yaml");
    assert!(
        nurse
            .get("/day-before")
            .body
            .contains("Nobody is booked or planned for this day."),
        "the clinic operates on the 26th"
    );
    // Wednesday: tomorrow the clinic operates.
    desk.later(7 * 24 * 60);
    let mut nurse = desk.person("NA");
    let page = nurse.get("/day-before");
    assert!(page.body.contains("Thursday, 3 Dec 2026"), "{}", page.body);
    assert_eq!(page.body.matches(">nothing<").count(), 2, "{}", page.body);
    assert!(
        page.body.contains("Planned and not booked (1)"),
        "{}",
        page.body
    );
    // An answer that changes afterwards.
    let form = nurse.get("/referral/SM-108/interview/person");
    let fields = [
        ("version", form.field("version")),
        ("was.person.weight", form.field("was.person.weight")),
        ("t.person.weight", "77 kg".into()),
    ];
    let fields = fields.each_ref().map(|(key, value)| (*key, value.as_str()));
    let answer = nurse.post(&form, "/referral/SM-108/interview/person", &fields);
    assert_eq!(answer.status, 303, "{}", answer.body);
    let page = nurse.get("/day-before");
    assert_eq!(page.body.matches(">nothing<").count(), 1, "{}", page.body);
    assert!(page.body.contains("Answers were changed."), "{}", page.body);
    let shown = nurse.get("/referral/SM-108").body;
    assert!(shown.contains("By that day it does not hold"), "{shown}");
    assert!(nurse.get("/").body.contains("What lapses before the day"));
    desk.later(3 * 24 * 60);
    let mut nurse = desk.person("NA");
    assert!(nurse.get("/").body.contains("The day has passed."));
    assert_eq!(nurse.get("/day-before?day=soon").status, 422);
}

/// Rules and clinic's file may be others when a day is booked than when it was screened: what they say on that day counts, and
/// what they will say by the day of surgery is told.
#[test]
fn booking_is_by_the_rules_and_the_clinic_of_today() {
    let folder = tempfile::tempdir().unwrap_or_else(|it| unreachable!("{it}"));
    let path = folder.path().join("desk.sqlite3");
    let mut register = Register::create(&path, "a test").unwrap_or_else(|it| unreachable!("{it}"));
    people(&mut register);
    // Screened while the clinic's file let a nurse book, and booked by another edition of it.
    let text = include_str!("../../examples/referrals/SM-101.yaml");
    let lets = format!("{CLINIC}nurse_may_book: yes\n");
    let screening = screener_of(&embedded_once().0, &lets).screen("SM-101.yaml", text.as_bytes());
    let screening = screening.unwrap_or_else(|it| unreachable!("{it:?}"));
    let screened = Screened::of(&screening, serde_json::Value::Null, true);
    assert!(screened.nurse_may_book);
    for happening in [
        Happening::Opened {
            from: String::new(),
        },
        Happening::Answered {
            questionnaire: text.to_owned(),
            changed: Vec::new(),
        },
        Happening::Screened(Box::new(screened)),
    ] {
        write(&mut register, "NA", Some("SM-101"), happening);
    }
    let mut rules = embedded();
    rules.review_by = NaiveDate::from_ymd_opt(2026, 12, 1).unwrap_or_default();
    let rules: &'static RuleSet = Box::leak(Box::new(rules));
    let desk = TestDesk::over(folder, register, None, screener_of(rules, CLINIC));
    let (mut nurse, mut clinician) = (desk.person("NA"), desk.person("CB"));
    let books = |nurse: &mut Browser<'_>| {
        let page = nurse.get("/referral/SM-101/book");
        let version = page.field("version");
        let fields = [("version", version.as_str()), ("day", "2026-12-03")];
        nurse.post(&page, "/referral/SM-101/book", &fields)
    };
    let answer = books(&mut nurse);
    assert!(answer.body.contains("Not booked yet"), "{}", answer.body);
    let page = nurse.get("/referral/SM-101/book");
    assert!(page.body.contains("Not to be booked yet"), "{}", page.body);
    assert_eq!(decides(&mut clinician, "SM-101", "go").status, 303);
    assert_eq!(books(&mut nurse).status, 303);
    let late = "was to be reviewed by 1 Dec 2026";
    for path in ["/", "/day-before?day=2026-12-03", "/referral/SM-101"] {
        assert!(nurse.get(path).body.contains(late), "{path}");
    }
}

/// What is hostile in a file is shown as it was written, and does nothing.
#[test]
fn what_is_typed_is_never_markup() {
    let desk = TestDesk::new();
    let mut browser = desk.person("NA");
    let text = "questionnaire: 1\nreference: SM-666\nanswers:\n  medicines:\n    current: ['<img src=x onerror=alert(1)>', '\"><script>alert(2)</script>']\n  lesion:\n    note: '</textarea><script>alert(3)</script>'\nnote: '{{7*7}} <b>bold</b>'\n";
    let page = browser.get("/files");
    let answer = browser.post(
        &page,
        "/files",
        &[("name", "<svg onload=alert(4)>.yaml"), ("text", text)],
    );
    assert_eq!(answer.status, 303, "{}", answer.body);
    let broken = browser.post(
        &page,
        "/files",
        &[
            ("name", "<svg onload=alert(4)>.yaml"),
            ("text", "</textarea><script>alert(5)</script>"),
        ],
    );
    assert_eq!(broken.status, 422);
    let mut pages = vec![broken];
    for path in [
        "",
        "/interview/medicines",
        "/interview/lesion",
        "/book",
        "/letters",
    ] {
        pages.push(browser.get(&format!("/referral/SM-666{path}")));
    }
    pages.push(browser.get("/"));
    pages.push(browser.get("/calls"));
    for page in pages {
        let lower = page.body.to_lowercase();
        for sign in [
            "<img",
            "<script>",
            "<svg onload",
            "<b>bold",
            "</textarea><script",
        ] {
            assert!(!lower.contains(sign), "{sign} in {}", page.body);
        }
        assert!(
            page.header("content-type").starts_with("text/html"),
            "{page:?}"
        );
    }
    let saved = browser.get("/referral/SM-666/questionnaire");
    assert!(saved.header("content-type").starts_with("text/plain"));
    assert!(
        saved
            .header("content-disposition")
            .starts_with("attachment; filename=\"SM-666.yaml\"")
    );
    assert_eq!(saved.body, text);
}

#[test]
fn what_was_exchanged_is_told_on_every_page_and_stops_booking() {
    let desk = TestDesk::new();
    let mut browser = desk.person("NA");
    browser.takes_in("SM-101.yaml");
    desk.exchanged.store(true, Ordering::Relaxed);
    for path in [
        "/",
        "/calls",
        "/files",
        "/figures",
        "/referral/SM-101",
        "/referral/SM-101/interview/person",
        "/referral/SM-101/letters",
    ] {
        assert!(
            browser.get(path).body.contains("The rule set was changed."),
            "{path}"
        );
    }
    let page = browser.get("/referral/SM-101/book");
    let version = page.field("version");
    let answer = browser.post(
        &page,
        "/referral/SM-101/book",
        &[("version", &version), ("day", "2026-12-03")],
    );
    assert_eq!(answer.status, 409);
}

/// Chooses on a page of deciding; the answer is the sentence to be signed, or what is lacking.
fn chooses(
    browser: &mut Browser<'_>,
    page: &Answer,
    reference: &str,
    chosen: &[(&str, &str)],
) -> Answer {
    let (version, seen) = (page.field("version"), page.field("seen"));
    let carried = [("version", version.as_str()), ("seen", &seen)];
    let path = format!("/referral/{reference}/decide");
    browser.post(page, &path, &[&carried[..], chosen].concat())
}

/// Signs the sentence of a page, as it stands there, by these passphrases.
fn signs(
    browser: &mut Browser<'_>,
    page: &Answer,
    reference: &str,
    passphrases: &[(&str, &str)],
) -> Answer {
    let carried: Vec<(String, String)> = page
        .hidden()
        .into_iter()
        .filter(|(name, _)| name != "form")
        .collect();
    let carried = carried
        .iter()
        .map(|(key, value)| (key.as_str(), value.as_str()));
    let fields: Vec<(&str, &str)> = carried.chain(passphrases.iter().copied()).collect();
    browser.post(page, &format!("/referral/{reference}/sign"), &fields)
}

/// Decides without setting anything aside, and signs.
fn decides(browser: &mut Browser<'_>, reference: &str, outcome: &str) -> Answer {
    let page = browser.get(&format!("/referral/{reference}/decide"));
    let sentence = chooses(browser, &page, reference, &[("outcome", outcome)]);
    assert_eq!(sentence.status, 200, "{}", sentence.body);
    signs(browser, &sentence, reference, &[("passphrase", PASSPHRASE)])
}

fn entries(desk: &TestDesk, reference: &str) -> Vec<Happening> {
    let register = Register::open_to_read(&desk.folder.path().join("desk.sqlite3"));
    let entries = register
        .and_then(|it| it.entries(reference))
        .unwrap_or_default();
    entries.into_iter().filter_map(|it| it.happening).collect()
}

#[test]
fn what_is_signed_is_what_was_read() {
    let desk = TestDesk::new();
    let (mut nurse, mut clinician) = (desk.person("NA"), desk.person("CB"));
    nurse.takes_in("SM-101.yaml");
    let page = clinician.get("/referral/SM-101/decide");
    assert!(
        !page.body.contains("type=\"password\""),
        "nothing is signed yet"
    );
    let go = [("outcome", "go")];
    let mut another = page.clone();
    another.body = another.body.replace(&page.field("seen"), "0000");
    let answer = chooses(&mut clinician, &another, "SM-101", &go);
    assert_eq!(answer.status, 422, "another screening was seen");
    let sentence = chooses(&mut clinician, &page, "SM-101", &go);
    let shown = sentence.field("sentence");
    assert!(
        shown.starts_with("I, CB, have read the screening of SM-101 of 25 Nov 2026")
            && shown.ends_with("; and decide go.")
            && sentence
                .body
                .contains(&format!("<blockquote class=\"quoted\">{shown}<")),
        "{}",
        sentence.body
    );
    let wrong = [("passphrase", "another passphrase")];
    let answer = signs(&mut clinician, &sentence, "SM-101", &wrong);
    assert_eq!(answer.status, 422);
    assert!(
        answer.body.contains("do not belong together")
            && !answer.body.contains("another passphrase")
            && answer.field("sentence") == shown
    );
    let right = [("passphrase", PASSPHRASE)];
    let mut other = sentence.clone();
    other.body = other.body.replace("and decide go.", "and decide refer.");
    let answer = signs(&mut clinician, &other, "SM-101", &right);
    assert!(
        answer.status == 422 && answer.body.contains("not the one that was shown"),
        "{}",
        answer.body
    );
    desk.later(24 * 60);
    let mut clinician = desk.person("CB");
    let fresh = clinician.get("/referral/SM-101/decide");
    assert_ne!(
        fresh.field("seen"),
        page.field("seen"),
        "another day is another screening"
    );
    let mut stale = sentence.clone();
    stale.body = stale
        .body
        .replace(&sentence.field("form"), &fresh.field("form"));
    let answer = signs(&mut clinician, &stale, "SM-101", &right);
    assert!(
        answer.status == 422 && answer.body.contains("not what was read"),
        "{}",
        answer.body
    );
    let sentence = chooses(&mut clinician, &fresh, "SM-101", &go);
    let answer = signs(&mut clinician, &sentence, "SM-101", &right);
    assert_eq!(answer.status, 303, "{}", answer.body);
    let again = signs(&mut clinician, &sentence, "SM-101", &right);
    assert_eq!(again.status, 422, "a form is signed once");
    let signed: Vec<_> = entries(&desk, "SM-101")
        .into_iter()
        .filter(|it| matches!(it, Happening::Decided(_)))
        .collect();
    assert!(
        matches!(&signed[..], [Happening::Decided(it)] if it.sentence == sentence.field("sentence")),
        "{signed:?}"
    );
    let mut nurse = desk.person("NA");
    let page = nurse.get("/referral/SM-101/book");
    let answer = nurse.post(
        &page,
        "/referral/SM-101/book",
        &[("version", &page.field("version")), ("day", "2026-12-03")],
    );
    assert_eq!(
        answer.header("location"),
        "/referral/SM-101",
        "{}",
        answer.body
    );
    assert!(nurse.get("/").body.contains("Booked (1)"));
}

#[test]
fn a_later_answer_asks_for_a_new_decision() {
    let desk = TestDesk::new();
    let (mut nurse, mut clinician) = (desk.person("NA"), desk.person("CB"));
    nurse.takes_in("SM-101.yaml");
    let answer = decides(&mut clinician, "SM-101", "go");
    assert_eq!(answer.status, 303, "{}", answer.body);
    let page = nurse.get("/referral/SM-101/interview/person");
    let fields = [
        ("version", page.field("version")),
        ("was.person.weight", page.field("was.person.weight")),
        ("t.person.weight", "62 kg".into()),
    ];
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(key, value)| (*key, value.as_str()))
        .collect();
    assert_eq!(
        nurse
            .post(&page, "/referral/SM-101/interview/person", &fields)
            .status,
        303
    );
    let shown = nurse.get("/referral/SM-101").body;
    assert!(
        shown.contains("a new one is needed") && shown.contains("Answers were changed."),
        "{shown}"
    );
    let page = nurse.get("/referral/SM-101/book");
    assert!(page.body.contains("Not to be booked yet"), "{}", page.body);
    let answer = nurse.post(
        &page,
        "/referral/SM-101/book",
        &[("version", &page.field("version")), ("day", "2026-12-03")],
    );
    assert!(
        answer.body.contains("Not booked yet") || answer.status == 422,
        "{}",
        answer.body
    );
    assert!(!nurse.get("/").body.contains("Booked ("));
}

/// A go with nothing to heed and nothing to read is the nurse's to book where the clinic's file says so; nothing else is.
#[test]
fn a_nurse_books_alone_what_the_clinics_file_lets_her() {
    let says = |what: &str| format!("{CLINIC}nurse_may_book: {what}\n");
    for (clinic, reference, is_booked) in [
        (says("yes"), "SM-101", true),
        // A precaution; a verdict of defer.
        (says("yes"), "SM-102", false),
        (says("yes"), "SM-103", false),
        (says("no"), "SM-101", false),
        (says(""), "SM-101", false),
        (CLINIC.to_owned(), "SM-101", false),
    ] {
        let desk = TestDesk::opened(None, &clinic);
        let mut nurse = desk.person("NA");
        nurse.takes_in(&format!("{reference}.yaml"));
        let path = format!("/referral/{reference}/book");
        let page = nurse.get(&path);
        let fields = [
            ("version", page.field("version")),
            ("day", "2026-12-03".into()),
        ];
        let fields = fields.each_ref().map(|(key, value)| (*key, value.as_str()));
        nurse.post(&page, &path, &fields);
        let booked = entries(&desk, reference)
            .iter()
            .any(|it| matches!(it, Happening::Booked { .. }));
        assert_eq!(booked, is_booked, "{reference} in {clinic}");
    }
    let wrong = clinic_refused("nurse_may_book: sometimes");
    assert!(wrong.contains("`nurse_may_book` is yes or no"), "{wrong}");
}

/// What a clinic's file with this line is refused for.
fn clinic_refused(line: &str) -> String {
    let screener = Screener::new(&embedded_once().0, today());
    let read = screener.clinic("clinic.yaml", format!("{CLINIC}{line}\n").as_bytes());
    let titles = read
        .err()
        .unwrap_or_default()
        .into_iter()
        .map(|it| it.title);
    titles.collect::<Vec<String>>().join("\n")
}

/// Whoever was held back by a clinician is not booked without one, whatever was answered since.
#[test]
fn a_nurse_never_books_past_a_clinicians_decision() {
    let desk = TestDesk::opened(None, &format!("{CLINIC}nurse_may_book: yes\n"));
    let (mut nurse, mut clinician) = (desk.person("NA"), desk.person("CB"));
    nurse.takes_in("SM-101.yaml");
    let answer = decides(&mut clinician, "SM-101", "defer");
    assert_eq!(answer.status, 303, "{}", answer.body);
    let text = nurse.get("/referral/SM-101/questionnaire").body + "# Read again.\n";
    let page = nurse.get("/files");
    nurse.post(&page, "/files", &[("name", "SM-101.yaml"), ("text", &text)]);
    let page = nurse.get("/referral/SM-101/book");
    assert!(page.body.contains("Not to be booked yet"), "{}", page.body);
}

/// Whoever was signed out over a signature finds the sentence again; a passphrase never stands in a page.
#[test]
fn signing_late_loses_the_choice_never_and_keeps_no_passphrase() {
    let desk = TestDesk::new();
    let (mut nurse, mut clinician) = (desk.person("NA"), desk.person("CB"));
    nurse.takes_in("SM-101.yaml");
    let page = clinician.get("/referral/SM-101/decide");
    let sentence = chooses(&mut clinician, &page, "SM-101", &[("outcome", "go")]);
    desk.later(31);
    let right = [("passphrase", PASSPHRASE)];
    let out = signs(&mut clinician, &sentence, "SM-101", &right);
    assert!(
        out.status == 403 && !out.body.contains(PASSPHRASE),
        "{}",
        out.body
    );
    let mut fields = out.hidden();
    fields.retain(|(name, _)| name != "form");
    let typed = [("initials", "CB"), ("passphrase", PASSPHRASE)];
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(key, value)| (key.as_str(), value.as_str()))
        .chain(typed)
        .collect();
    let again = clinician.post(&out, "/sign-in", &fields);
    assert!(
        again.status == 200 && !again.body.contains(PASSPHRASE),
        "{}",
        again.body
    );
    let kept = signs(&mut clinician, &again, "SM-101", &[]);
    assert!(
        kept.status == 422 && kept.body.contains("the passphrase is missing"),
        "{}",
        kept.body
    );
    let answer = signs(&mut clinician, &kept, "SM-101", &right);
    assert_eq!(answer.status, 303, "{}", answer.body);
}

/// The fields for the reason and the sentence of each rule that a page lets somebody set aside.
fn to_set_aside(page: &Answer) -> Vec<(String, String)> {
    let rules = page.body.split("name=\"reason.").skip(1);
    let rules = rules.filter_map(|it| Some(it.split_once('"')?.0));
    rules
        .map(|it| (format!("reason.{it}"), format!("why.{it}")))
        .collect()
}

/// A rule that two must set aside takes two clinicians, each by their own passphrase; one that nobody may stands whoever signs.
#[test]
fn some_rules_take_two_clinicians_and_some_nobody_sets_aside() {
    let desk = TestDesk::new();
    let (mut nurse, mut clinician) = (desk.person("NA"), desk.person("CB"));
    nurse.takes_in("SM-118.yaml");
    let page = clinician.get("/referral/SM-118/decide");
    assert!(
        page.body.contains("Two clinicians must sign."),
        "{}",
        page.body
    );
    let rules = to_set_aside(&page);
    let n_to_read = page.body.matches("name=\"read\"").count().to_string();
    assert_eq!(n_to_read, "1");
    let mut fields = vec![("outcome", "go"), ("read", "1")];
    for (reason, why) in &rules {
        fields.extend([
            (reason.as_str(), "cleared-up"),
            (why, "Seen today; it is a bruise."),
        ]);
    }
    for (second, why) in [
        (None, "by two clinicians only"),
        (Some("CB"), "by two clinicians only"),
        (Some("NA"), "Only a clinician decides"),
        (Some("ZZ"), "nobody of this register"),
    ] {
        let with: Vec<_> = fields
            .iter()
            .copied()
            .chain(second.map(|it| ("second", it)))
            .collect();
        let answer = chooses(&mut clinician, &page, "SM-118", &with);
        assert!(
            answer.status == 422 && answer.body.contains(why),
            "{second:?}: {}",
            answer.body
        );
    }
    fields.push(("second", "CD"));
    let sentence = chooses(&mut clinician, &page, "SM-118", &fields);
    assert!(
        sentence
            .field("sentence")
            .starts_with("I, CB, and I, CD, have read"),
        "{}",
        sentence.body
    );
    for passphrases in [
        vec![("passphrase", PASSPHRASE)],
        vec![
            ("passphrase", PASSPHRASE),
            ("second-passphrase", "that of somebody else"),
        ],
        vec![
            ("passphrase", "that of somebody else"),
            ("second-passphrase", PASSPHRASE),
        ],
    ] {
        let answer = signs(&mut clinician, &sentence, "SM-118", &passphrases);
        assert_eq!(answer.status, 422, "{passphrases:?}: {}", answer.body);
    }
    let both = [
        ("passphrase", PASSPHRASE),
        ("second-passphrase", PASSPHRASE),
    ];
    let answer = signs(&mut clinician, &sentence, "SM-118", &both);
    assert_eq!(answer.status, 303, "{}", answer.body);
    assert!(
        nurse
            .get("/referral/SM-118")
            .body
            .contains("decided by CB and CD")
    );
    // No consent: whoever signs, and whatever is said.
    let text = include_str!("../../examples/referrals/SM-101.yaml");
    let text = text
        .replace("SM-101", "SM-901")
        .replace("needs: []", "needs: [unsure]");
    let page = nurse.get("/files");
    nurse.post(&page, "/files", &[("name", "SM-901.yaml"), ("text", &text)]);
    let rule = "consent/unwilling-or-pressed";
    let page = clinician.get("/referral/SM-901/decide");
    assert!(
        page.body.contains("Nobody may set this aside")
            && !page.body.contains(&format!("reason.{rule}")),
        "{}",
        page.body
    );
    let (reason, why) = (format!("reason.{rule}"), format!("why.{rule}"));
    let fields = [
        ("outcome", "go"),
        (&reason, "cleared-up"),
        (&why, "It is all right."),
        ("second", "CD"),
    ];
    let answer = chooses(&mut clinician, &page, "SM-901", &fields);
    assert!(
        answer.status == 422 && answer.body.contains("set aside by nobody"),
        "{}",
        answer.body
    );
}

#[test]
fn each_rule_against_a_decision_is_set_aside_by_itself() {
    let desk = TestDesk::new();
    let (mut nurse, mut clinician) = (desk.person("NA"), desk.person("CB"));
    nurse.takes_in("SM-110.yaml");
    let page = clinician.get("/referral/SM-110/decide");
    let mut fields = vec![("outcome", "go")];
    let answer = chooses(&mut clinician, &page, "SM-110", &fields);
    assert_eq!(answer.status, 422);
    assert!(answer.body.contains("stands against it"), "{}", answer.body);
    let rules = to_set_aside(&page);
    assert!(!rules.is_empty(), "{}", page.body);
    fields.extend(
        rules
            .iter()
            .map(|(reason, _)| (reason.as_str(), "agreed-with-specialist")),
    );
    let answer = chooses(&mut clinician, &page, "SM-110", &fields);
    assert!(
        answer.status == 422 && answer.body.contains("without a sentence"),
        "{}",
        answer.body
    );
    let why = "The diabetes team agrees in its letter of Monday.";
    fields.extend(rules.iter().map(|(_, it)| (it.as_str(), why)));
    let sentence = chooses(&mut clinician, &page, "SM-110", &fields);
    assert!(
        sentence.field("sentence").contains(why),
        "{}",
        sentence.body
    );
    let answer = signs(
        &mut clinician,
        &sentence,
        "SM-110",
        &[("passphrase", PASSPHRASE)],
    );
    assert_eq!(answer.status, 303, "{}", answer.body);
    let shown = nurse.get("/referral/SM-110").body;
    assert!(
        shown.contains("The diabetes team agrees") && shown.contains("DEFER"),
        "both stand side by side: {shown}"
    );
    let figures = desk.person("GE").get("/figures").body;
    assert!(figures.contains("1 of 1 decisions"), "{figures}");
}

/// The rules on the disk are exchanged while the program runs: every page says so, and nothing is decided. A second desk on the
/// same register is refused, and told who has it.
#[test]
fn rules_exchanged_on_the_disk_are_told_and_stop_deciding() {
    let folder = tempfile::tempdir().unwrap_or_else(|it| unreachable!("{it}"));
    let rules = folder.path().join("rules");
    let copied = std::process::Command::new("cp")
        .args(["-r", concat!(env!("CARGO_MANIFEST_DIR"), "/rules")])
        .arg(&rules)
        .status();
    assert!(copied.is_ok_and(|it| it.success()));
    let desk = TestDesk::started(folder, &rules);
    let path = desk
        .folder
        .path()
        .join("desk.sqlite3")
        .display()
        .to_string();
    let second = run(&["desk", "--register", &path]);
    let told = said(&second.stderr);
    assert!(
        second.status.code() == Some(2) && told.contains("is in use by the desk (process "),
        "{told}"
    );
    let mut clinician = desk.person("CB");
    let pile = clinician.get("/");
    clinician.post(&pile, "/referrals", &[("reference", "SM-900")]);
    let notice = "The rule set on the disk was changed";
    assert!(!clinician.get("/").body.contains(notice));
    let limits = rules.join("limits.yaml");
    let text = std::fs::read_to_string(&limits).unwrap_or_default();
    assert!(std::fs::write(&limits, text + "# Later.\n").is_ok());
    for path in [
        "/",
        "/calls",
        "/day-before",
        "/files",
        "/figures",
        "/referral/SM-900",
    ] {
        assert!(clinician.get(path).body.contains(notice), "{path}");
    }
    for step in ["decide", "sign"] {
        let path = format!("/referral/SM-900/{step}");
        let answer = clinician.post(&pile, &path, &[("outcome", "go")]);
        assert!(
            answer.status == 409 && answer.body.contains(notice),
            "{step}: {}",
            answer.body
        );
    }
}

/// A clock that was put back: what is written then stands behind what was written before, and is marked.
#[test]
fn a_clock_put_back_is_told_on_the_referral() {
    let desk = TestDesk::new();
    let mut nurse = desk.person("NA");
    nurse.takes_in("SM-101.yaml");
    let told = "the clock stood earlier than at the entry before";
    assert!(!nurse.get("/referral/SM-101").body.contains(told));
    desk.later(-60);
    let mut nurse = desk.person("NB");
    let page = nurse.get("/referral/SM-101");
    nurse.post(&page, "/referral/SM-101/close", &[("why", "Moved away.")]);
    let shown = nurse.get("/referral/SM-101").body;
    assert_eq!(shown.matches(told).count(), 1, "{shown}");
    let entries = shown.split_once("What happened").map_or("", |it| it.1);
    let (before, after) = (
        entries.find("25 Nov 2026 08:00"),
        entries.find("25 Nov 2026 07:00"),
    );
    assert!(
        before.is_some() && before < after,
        "by their numbers: {shown}"
    );
}

/// A reference is kept as it is or refused; whatever it is made of, it leads to its own page and to no other.
#[test]
fn a_hostile_reference_leads_nowhere_else() {
    let desk = TestDesk::new();
    let mut nurse = desk.person("NA");
    let page = nurse.get("/");
    let long = "1".repeat(41);
    for refused in [
        "<script>1</script>",
        "SM-1\r\nSet-Cookie: a=1",
        "SM-1 or 1=1",
        "'; drop table entry; --1",
        "%2e%2e1",
        "SM-1?find=2",
        "\u{202e}1",
        "1980-02-03",
        "..",
        "",
        &long,
    ] {
        let answer = nurse.post(&page, "/referrals", &[("reference", refused)]);
        assert_eq!(answer.status, 422, "{refused:?}: {}", answer.body);
    }
    for kept in ["../../1", "..1", ".1", "A/9/../1", "a_1", "sm-1"] {
        let answer = nurse.post(&page, "/referrals", &[("reference", kept)]);
        assert_eq!(answer.status, 303, "{kept}: {}", answer.body);
        let address = answer.header("location").replace("/interview", "");
        let shown = nurse.get(&address);
        assert!(
            shown.status == 200 && shown.body.contains(&format!("<h1>{kept}</h1>")),
            "{kept} at {address}: {}",
            shown.body
        );
    }
    let pile = nurse.get("/").body;
    assert!(pile.contains("To ask (6)"), "{pile}");
}

/// A pile of very many: a page shows what is looked at, in the time that SQLite takes to read as much; all of it can be reached, and
/// each by its reference. `PREBLOCK_REFERRALS` says how many.
#[test]
fn a_large_pile_is_shown_by_the_page() {
    let n_referrals = very_many();
    let folder = tempfile::tempdir().unwrap_or_else(|it| unreachable!("{it}"));
    let mut register = many(folder.path(), n_referrals);
    assert!(register.rebuild().is_ok());
    let nurse = Happening::PersonSet {
        initials: "NA".to_owned(),
        role: PersonRole::Nurse,
        hash: hash().to_owned(),
        is_on: true,
    };
    write(&mut register, "CL", None, nurse);
    let best = |work: &mut dyn FnMut()| {
        let took = (0..5).map(|_| {
            let begun = Instant::now();
            work();
            begun.elapsed()
        });
        took.min().unwrap_or_default()
    };
    let read = best(&mut || {
        let counts = register
            .pile_counts(&PileFilter::default())
            .unwrap_or_default();
        assert!(!counts.is_empty());
        for (group, _) in counts {
            let of = PileFilter {
                group: Some(group),
                ..PileFilter::default()
            };
            assert!(
                register
                    .pile_rows(&of, 0, 40)
                    .is_ok_and(|it| !it.is_empty())
            );
        }
    });
    let screener = screener_of(&embedded_once().0, CLINIC);
    let desk = TestDesk::over(folder, register, None, screener);
    let mut nurse = desk.person("NA");
    let mut page = nurse.get("/");
    let shown = best(&mut || page = nurse.get("/"));
    eprintln!(
        "a pile of {n_referrals}: SQLite reads what a page shows in {read:?}, the page comes in {shown:?}"
    );
    // Room for what a page costs whatever it shows: a connection, the guard, markup in a build without optimisation.
    assert!(
        shown < 10 * read + Duration::from_millis(500),
        "{shown:?} for a page, {read:?} to read it"
    );
    assert!(page.body.len() < 300_000, "{} bytes", page.body.len());
    let more = page.body.split("href=\"/?").skip(1);
    let more: Vec<String> = more
        .filter_map(|it| Some(format!("/?{}", unescaped(it.split_once('"')?.0))))
        .collect();
    assert!(!more.is_empty(), "{}", page.body);
    // The last page of the first group.
    let last = more.first().cloned().unwrap_or_default();
    let last = last.replace("after=40", "after=999999999");
    let end = nurse.get(&last);
    assert!(
        end.status == 200 && end.body.contains("Before these") && !end.body.contains(" more</a>"),
        "{last}: {}",
        end.body
    );
    let reference = format!("SM-{:06}", n_referrals - 1);
    let found = nurse.get(&format!("/?find={reference}"));
    assert_eq!(found.header("location"), format!("/referral/{reference}"));
    let begun = Instant::now();
    assert_eq!(nurse.get("/calls").status, 200);
    assert_eq!(nurse.get(&format!("/referral/{reference}")).status, 200);
    assert!(
        begun.elapsed() < Duration::from_secs(20),
        "{:?}",
        begun.elapsed()
    );
}

/// What the driver of a real browser counted in one part of a script of `tests/outside`.
fn in_a_browser(script: &str, part: &str) -> serde_json::Value {
    let arguments = [
        env!("CARGO_BIN_EXE_preblock"),
        env!("CARGO_MANIFEST_DIR"),
        part,
    ];
    let printed = crate::outside::run(script, &arguments, b"");
    serde_json::from_slice(&printed).unwrap_or_default()
}

/// A review with one finding set aside, hostile words on every page, axe at two widths, and paper.
#[test]
fn every_page_is_accessible_inert_and_prints() {
    let counted = in_a_browser("desk.py", "example");
    assert!(
        counted["axe"].as_u64().is_some_and(|n| n >= 30),
        "{counted}"
    );
    let printed = counted["printed"].as_object().cloned().unwrap_or_default();
    assert!(
        printed.len() == 3 && printed.values().all(|n| *n == 1),
        "{counted}"
    );
}
