//! The desk: pages in a browser over one register, for this computer alone.
//!
//! Each page is drawn by the server and works without scripts. A request passes [`guard`], then [`sessions`], then the table
//! of [`routes`], which says who may go where; only then does a page see it. GET changes nothing. Whatever is confirmed is in
//! the register before the answer leaves. Nothing here connects to anything, and nothing of a patient but the reference stands
//! in an address or is printed.
//!
//! One thread serves one request after another: a clinic has a handful of people, and a register one writer.

use std::future::IntoFuture as _;
use std::io;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use axum::Router;
use axum::extract::{DefaultBodyLimit, FromRequest, Path, Query, Request, State};
use axum::http::{StatusCode, header};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodFilter, on};
use axum::{Form, RequestExt};
use maud::html;

use crate::desk::cards::CardService;
use crate::desk::connection::Loopback;
use crate::desk::guard::{LARGEST_FORM, Origin};
use crate::desk::page::see;
use crate::desk::pages::sign_in;
use crate::desk::routes::{PageOf, ROUTES, Route, Verb};
use crate::desk::sessions::{Moment, Sessions};
use crate::desk::throttle::Throttle;
use crate::desk::visit::{Fields, NoReply, Reply, Visit};
use crate::register::Register;
use crate::report::outward::Outward;
use crate::screening::screener::Screener;

pub mod cards;
pub(crate) mod connection;
pub(crate) mod guard;
mod page;
mod pages;
pub mod routes;
mod screened;
pub(crate) mod sessions;
mod throttle;
pub mod visit;

/// The clock on the wall, as whoever starts the desk reads it.
pub type Clock = Box<dyn Fn() -> Moment + Send>;

/// What a desk is opened with.
pub struct Desk {
    /// The register, open for writing.
    pub register: Register,
    /// Rule set and clinic, as of any day: each request asks the clock for its own.
    pub screener: Screener<'static>,
    /// Says in a sentence what stands in the files of the rule set, the clinic and the local policy if that is no longer
    /// what was loaded.
    pub exchanged: Box<dyn Fn() -> Option<String> + Send>,
    /// The clock.
    pub clock: Clock,
    /// What every page says of the register, such as that it is a throw-away one; may be empty.
    pub notice: String,
    /// The service of cards, if it is to be open.
    pub cards: Option<OfferedCards>,
}

/// The service of cards.
pub struct OfferedCards {
    /// The rule set as record systems know it.
    pub outward: Outward<'static>,
    /// Is told, once, where the service is and the token that a record system has to show.
    pub told: Box<TokenTold>,
}

/// Is told an address and a token.
pub type TokenTold = dyn Fn(&str, &str) + Send;

/// What the desk holds while it is open.
pub struct OpenDesk {
    desk: Desk,
    /// The port of this computer.
    port: u16,
    origin: Origin,
    sessions: Sessions,
    throttle: Throttle,
    /// Is told each address by which a browser may come in.
    told: Box<AddressTold>,
    /// The service of cards, where it is open.
    service: Option<CardService>,
}

/// Is told the port of this computer and an address.
type AddressTold = dyn Fn(u16, &str) + Send;

type Shared = Arc<Mutex<OpenDesk>>;

/// Serves until `stop` turns true. `told` gets the port of this computer and the first address, and a new one as soon as one
/// was used.
///
/// # Errors
/// The port is taken, or `behind` is no address.
pub fn serve(
    desk: Desk,
    port: u16,
    behind: Option<&str>,
    told: impl Fn(u16, &str) + Send + 'static,
    stop: &AtomicBool,
) -> io::Result<()> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_io()
        .enable_time()
        .build()?;
    runtime.block_on(async {
        let listener = Loopback::bind(port).await?;
        let port = axum::serve::Listener::local_addr(&listener)?.port();
        let origin = match behind {
            None => Origin::here(port),
            Some(address) => Origin::behind(address, port).map_err(io::Error::other)?,
        };
        let mut open = OpenDesk {
            desk,
            port,
            origin,
            sessions: Sessions::default(),
            throttle: Throttle::default(),
            told: Box::new(told),
            service: None,
        };
        open.tell_entrance()
            .and_then(|()| open.open_service())
            .map_err(|it| io::Error::other(it.to_string()))?;
        let serving = axum::serve(listener, router(Arc::new(Mutex::new(open)))).into_future();
        tokio::select! {
            ended = serving => ended,
            () = asked_for(stop) => Ok(()),
        }
    })
}

/// Waits until somebody asks the program to stop.
async fn asked_for(stop: &AtomicBool) {
    while !stop.load(Ordering::Relaxed) {
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
}

/// All addresses of the desk, each behind the guard.
fn router(shared: Shared) -> Router {
    let mut router = Router::new();
    for route in ROUTES {
        let filter = match route.verb {
            Verb::Get => MethodFilter::GET,
            Verb::Post => MethodFilter::POST,
        };
        let state = Arc::clone(&shared);
        let answer = move |request: Request| answer(state, route, request);
        router = router.route(route.path, on(filter, answer));
    }
    router
        .fallback(|| async { page::refusal(StatusCode::NOT_FOUND, "There is no such page.") })
        .layer(DefaultBodyLimit::max(LARGEST_FORM))
        .layer(from_fn_with_state(shared, guarded))
}

/// What every request passes, whatever it asks for.
async fn guarded(State(shared): State<Shared>, request: Request, next: Next) -> Response {
    let refused = {
        let open = locked(&shared);
        if open.service.is_some() && cards::is_call(request.uri().path()) {
            let refused = open.origin.refuses_call(&request);
            refused.map(|(status, why)| cards::refusal(status, why))
        } else {
            let refused = open.origin.refuses(&request);
            refused.map(|(status, why)| page::refusal(status, why))
        }
    };
    guard::with_headers(match refused {
        Some(refused) => refused,
        None => next.run(request).await,
    })
}

/// Takes a request apart and hands it to its page.
async fn answer(shared: Shared, route: &'static Route, mut request: Request) -> Response {
    let path = match request.extract_parts::<Path<Vec<(String, String)>>>().await {
        Ok(Path(path)) => Fields::new(path),
        Err(refused) => return refused.into_response(),
    };
    if let PageOf::OfRecords(handler) = route.page {
        return cards::answer(shared, handler, &path, request).await;
    }
    let sent_to = (route.verb == Verb::Post).then(|| request.uri().path().to_owned());
    let query = match Query::<Vec<(String, String)>>::try_from_uri(request.uri()) {
        Ok(Query(query)) => Fields::new(query),
        Err(refused) => return refused.into_response(),
    };
    let token = {
        let open = locked(&shared);
        open.origin.token(request.headers()).map(str::to_owned)
    };
    let form = match route.verb {
        Verb::Get => Fields::default(),
        // Whoever may not send it need not be listened to.
        Verb::Post if !locked(&shared).is_known(token.as_deref()) => {
            return locked(&shared).without_session(route);
        }
        Verb::Post => match Form::<Vec<(String, String)>>::from_request(request, &()).await {
            Ok(Form(form)) => Fields::new(form),
            Err(refused) => return page::refusal(refused.status(), "The form could not be read."),
        },
    };
    let asked = TakenApart {
        path,
        query,
        form,
        token,
        sent_to,
    };
    let mut open = locked(&shared);
    open.answer(route, asked)
}

/// INVARIANT: never held while anything is awaited. A page that panicked half way left nothing half written: the register takes
/// one entry whole or not at all.
fn locked(shared: &Shared) -> MutexGuard<'_, OpenDesk> {
    shared.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A request that was taken apart.
struct TakenApart {
    path: Fields,
    query: Fields,
    form: Fields,
    token: Option<String>,
    /// The address that a form was sent to.
    sent_to: Option<String>,
}

impl OpenDesk {
    /// Tells the terminal an address by which one more browser may come in. Behind a proxy there is none: whoever the proxy lets
    /// through may sign in.
    fn tell_entrance(&mut self) -> Result<(), getrandom::Error> {
        if self.origin.is_behind_a_proxy() {
            (self.told)(self.port, &self.origin.address("/"));
            return Ok(());
        }
        let token = self.sessions.entrance()?;
        (self.told)(
            self.port,
            &self.origin.address(&format!("/open?token={token}")),
        );
        Ok(())
    }

    /// Opens the service of cards, if it is wanted, and tells its token once.
    fn open_service(&mut self) -> Result<(), getrandom::Error> {
        if let Some(offered) = &self.desk.cards {
            let (service, token) = CardService::new(offered.outward)?;
            (offered.told)(&self.origin.address(cards::PATH), &token);
            self.service = Some(service);
        }
        Ok(())
    }

    fn is_known(&mut self, token: Option<&str>) -> bool {
        let now = (self.desk.clock)();
        token.is_some_and(|token| self.sessions.touch(token, now).is_some())
    }

    /// What a browser gets that was not let in.
    fn without_session(&mut self, route: &Route) -> Response {
        if !self.origin.is_behind_a_proxy() || route.verb == Verb::Post {
            return page::refusal(
                StatusCode::FORBIDDEN,
                "Open the desk by the address that stands in its terminal. Each address lets one browser in.",
            );
        }
        self.let_in("/sign-in", None)
            .unwrap_or_else(|failure| page::refusal(failure.status(), &failure.words()))
    }

    /// Sends a browser on with a token of its own.
    fn let_in(&mut self, to: &str, shown: Option<&str>) -> Result<Response, NoReply> {
        let now = (self.desk.clock)();
        let token = self.sessions.begin(shown, None, now)?;
        let mut response = see(to);
        let cookie = self.origin.cookie(&token)?;
        response.headers_mut().insert(header::SET_COOKIE, cookie);
        Ok(response)
    }

    /// Lets a browser in by the address that stands in the terminal, and makes the next one.
    fn enter(&mut self, asked: &TakenApart) -> Result<Response, NoReply> {
        let shown = asked.query.get("token").ok_or(NoReply::NotFound)?;
        if !self.sessions.enters_by(shown) {
            return Ok(page::refusal(
                StatusCode::FORBIDDEN,
                "This address was used before, or is another one. The terminal of the desk shows the next.",
            ));
        }
        let response = self.let_in("/", asked.token.as_deref())?;
        self.tell_entrance()?;
        Ok(response)
    }

    /// Answers a request for one of the [`ROUTES`].
    fn answer(&mut self, route: &'static Route, asked: TakenApart) -> Response {
        let now = (self.desk.clock)();
        let session = asked
            .token
            .as_deref()
            .and_then(|token| self.sessions.touch(token, now));
        let Some(session) = session else {
            return match route.page {
                PageOf::File(file) => file.response(),
                PageOf::Entrance => self
                    .enter(&asked)
                    .unwrap_or_else(|failure| page::refusal(failure.status(), &failure.words())),
                _ => self.without_session(route),
            };
        };
        if route.verb == Verb::Post && asked.form.get("form") != Some(&session.form_token) {
            return page::refusal(
                StatusCode::FORBIDDEN,
                "Nothing was done: the form is not one of this session. Go back, load the page again and repeat it.",
            );
        }
        let mut visit = Visit::new(self, session, asked, now);
        gone_to(&mut visit, route).unwrap_or_else(|failure| came_to_nothing(&visit, &failure))
    }
}

/// The page, for whoever may go there.
fn gone_to(visit: &mut Visit<'_>, route: &'static Route) -> Reply {
    let person = visit.look_up()?;
    match route.page {
        PageOf::File(file) => Ok(file.response()),
        PageOf::Entrance => Ok(see("/")),
        PageOf::OfRecords(_) => Err(NoReply::NotFound),
        PageOf::OfBrowser(page) => page(visit),
        PageOf::OfPeople(roles, page) => match person {
            None => Err(NoReply::SignedOut),
            Some(role) if !roles.contains(&role) => Err(NoReply::NotTheirs),
            Some(_) => page(visit),
        },
    }
}

/// The answer to a request that comes to nothing.
fn came_to_nothing(visit: &Visit<'_>, failure: &NoReply) -> Response {
    match failure {
        NoReply::SignedOut if visit.sent_to().is_none() => see("/sign-in"),
        NoReply::SignedOut => sign_in::asked_for(visit),
        _ => {
            let title = match failure.status() {
                StatusCode::NOT_FOUND => "Not found",
                StatusCode::FORBIDDEN => "Not for you",
                _ => "Not done",
            };
            let told = html! {
                h1 { (title) }
                p role="alert" { (failure.words()) }
                p { a href="/" { "To the pile" } }
            };
            visit.page_with(failure.status(), title, told)
        }
    }
}
