//! Who may be answered at all: the right host, the right page, the right browser. What a person may do is in `routes`.

use axum::http::header::InvalidHeaderValue;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, Request, StatusCode, header};
use axum::response::Response;

/// Most bytes of a form.
pub(crate) const LARGEST_FORM: usize = 1 << 20;

/// Where the desk is reached, and the only place that it answers to.
#[derive(Debug, Clone)]
pub(crate) struct Origin {
    is_tls: bool,
    host: String,
    cookie: String,
}

impl Origin {
    /// On this computer, by plain HTTP.
    pub(crate) fn here(port: u16) -> Self {
        Self {
            is_tls: false,
            host: format!("127.0.0.1:{port}"),
            cookie: cookie_name(port),
        }
    }

    /// Behind a proxy that the clinic runs: `https://desk.example`, perhaps with a port.
    ///
    /// # Errors
    /// What the address must look like.
    pub(crate) fn behind(address: &str, port: u16) -> Result<Self, String> {
        let host = address
            .strip_prefix("https://")
            .map(|it| it.trim_end_matches('/').to_ascii_lowercase())
            .filter(|host| {
                let is_of_names = |it: char| it.is_ascii_alphanumeric() || "-.:".contains(it);
                !host.is_empty() && host.chars().all(is_of_names)
            })
            .ok_or("an address such as https://desk.example is needed, with no path")?;
        Ok(Self {
            is_tls: true,
            host,
            cookie: cookie_name(port),
        })
    }

    /// The address of a page.
    pub(crate) fn address(&self, path: &str) -> String {
        let scheme = if self.is_tls { "https" } else { "http" };
        format!("{scheme}://{}{path}", self.host)
    }

    /// Whether a browser comes here through the clinic's proxy, and so without the address that the terminal shows.
    pub(crate) fn is_behind_a_proxy(&self) -> bool {
        self.is_tls
    }

    /// The header that hands a browser its token.
    ///
    /// # Errors
    /// The token is none of ours.
    pub(crate) fn cookie(&self, token: &str) -> Result<HeaderValue, InvalidHeaderValue> {
        let secure = if self.is_tls { "; Secure" } else { "" };
        let cookie = format!(
            "{}={token}; HttpOnly; SameSite=Strict; Path=/{secure}",
            self.cookie
        );
        HeaderValue::from_str(&cookie)
    }

    /// The token that a browser shows; `None` if it shows none, or several.
    pub(crate) fn token<'a>(&self, headers: &'a HeaderMap) -> Option<&'a str> {
        let mut tokens = headers
            .get_all(header::COOKIE)
            .iter()
            .filter_map(|it| it.to_str().ok())
            .flat_map(|it| it.split(';'))
            .filter_map(|it| it.trim().split_once('='))
            .filter(|(name, _)| *name == self.cookie)
            .map(|(_, token)| token);
        tokens.next().filter(|_| tokens.next().is_none())
    }

    /// Why a request for a page is not answered, whatever it asks for.
    pub(crate) fn refuses<B>(&self, request: &Request<B>) -> Option<(StatusCode, &'static str)> {
        if !self.is_meant(request) {
            return Some(ELSEWHERE);
        }
        match *request.method() {
            Method::GET | Method::HEAD => None,
            Method::POST if self.is_from_own_page(request.headers()) => None,
            Method::POST => Some((
                StatusCode::FORBIDDEN,
                "Nothing was done: this did not come from a page of the desk.",
            )),
            _ => Some((
                StatusCode::METHOD_NOT_ALLOWED,
                "The desk knows GET and POST alone.",
            )),
        }
    }

    /// Why a call of a record system is not answered, whatever it asks for. No page may call, not even one of the desk: what a
    /// browser sends says so.
    pub(crate) fn refuses_call<B>(
        &self,
        request: &Request<B>,
    ) -> Option<(StatusCode, &'static str)> {
        if !self.is_meant(request) {
            return Some(ELSEWHERE);
        }
        let headers = request.headers();
        let is_of_a_browser = headers.contains_key(header::ORIGIN)
            || headers.contains_key(HeaderName::from_static("sec-fetch-site"));
        if is_of_a_browser {
            return Some((
                StatusCode::FORBIDDEN,
                "Record systems are answered here, and no pages.",
            ));
        }
        match *request.method() {
            Method::GET | Method::POST => None,
            _ => Some((
                StatusCode::METHOD_NOT_ALLOWED,
                "The service knows GET and POST alone.",
            )),
        }
    }

    /// Whether a request names this address: the defence against a foreign name that was made to lead here.
    fn is_meant<B>(&self, request: &Request<B>) -> bool {
        request.uri().authority().is_none()
            && only(request.headers(), &header::HOST)
                .is_some_and(|host| host.eq_ignore_ascii_case(&self.host))
    }

    /// Whether a form came from a page of the desk, by what a browser says and no page can change. One that says neither is no
    /// browser of the last years.
    fn is_from_own_page(&self, headers: &HeaderMap) -> bool {
        let site = HeaderName::from_static("sec-fetch-site");
        let is_ours = only(headers, &header::ORIGIN) == Some(&self.address(""));
        if !headers.contains_key(&site) {
            return is_ours;
        }
        // Under our own `Referrer-Policy: no-referrer` a browser sends `Origin: null`, even to the page's own origin.
        let is_untold = headers
            .get(header::ORIGIN)
            .is_none_or(|origin| origin == "null");
        only(headers, &site) == Some("same-origin") && (is_ours || is_untold)
    }
}

/// What whoever names another address is told.
const ELSEWHERE: (StatusCode, &str) = (
    StatusCode::MISDIRECTED_REQUEST,
    "This is not the address of the desk.",
);

/// The token of a record system, shown once as a bearer's (RFC 6750).
pub(crate) fn bearer(headers: &HeaderMap) -> Option<&str> {
    let (kind, token) = only(headers, &header::AUTHORIZATION)?.split_once(' ')?;
    kind.eq_ignore_ascii_case("bearer").then(|| token.trim())
}

/// Whether a body says of itself that it is JSON.
pub(crate) fn is_json(headers: &HeaderMap) -> bool {
    let kind = only(headers, &header::CONTENT_TYPE).and_then(|it| it.split(';').next());
    kind.is_some_and(|it| it.trim().eq_ignore_ascii_case("application/json"))
}

/// Cookies do not tell ports apart, so the name has to: two desks on one computer must not overwrite one another's.
fn cookie_name(port: u16) -> String {
    format!("desk-{port}")
}

/// The value of a header that stands there once.
fn only<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    let mut all = headers.get_all(name).iter();
    let first = all.next()?;
    all.next().is_none().then(|| first.to_str().ok())?
}

/// What stands on every answer, refusals too.
const HEADERS: [(HeaderName, &str); 9] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; \
         form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (header::REFERRER_POLICY, "no-referrer"),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("cross-origin-opener-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("permissions-policy"),
        "camera=(), geolocation=(), microphone=()",
    ),
    (header::CACHE_CONTROL, "no-store"),
    // One request a connection: a slow one holds nothing but its own (`connection`).
    (header::CONNECTION, "close"),
];

/// Puts on an answer what stands on every one.
pub(crate) fn with_headers(mut response: Response) -> Response {
    for (name, value) in HEADERS {
        response
            .headers_mut()
            .insert(name, HeaderValue::from_static(value));
    }
    response
}

/// 32 random bytes in hexadecimal: what nobody guesses.
///
/// # Errors
/// Why the system gives none.
pub(crate) fn token() -> Result<String, getrandom::Error> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes)?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}
