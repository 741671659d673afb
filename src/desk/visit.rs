//! One request of one person: what was asked, of which desk, and how it is answered.

use axum::http::header::InvalidHeaderValue;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use chrono::NaiveDate;
use maud::Markup;

use crate::desk::page::{self, Around};
use crate::desk::sessions::{Moment, Session};
use crate::desk::{OpenDesk, TakenApart};
use crate::document::diagnostic::Diagnostic;
use crate::register::RegisterError;
use crate::register::entry::RegisterEntry;
use crate::register::happening::Happening;
use crate::register::people::{Person, PersonRole};
use crate::register::state::ReferralState;
use crate::register::{New, Register};
use crate::rule_set::RuleSet;
use crate::screening::screener::Screener;

/// The fields of a form, or the parts of an address, in their order.
#[derive(Debug, Clone, Default)]
pub struct Fields(Vec<(String, String)>);

impl Fields {
    /// As they were sent.
    pub fn new(fields: Vec<(String, String)>) -> Self {
        Self(fields)
    }

    /// A field that stands there once; `None` if it is missing or stands there several times.
    pub fn get(&self, name: &str) -> Option<&str> {
        let mut all = self.all(name);
        all.next().filter(|_| all.next().is_none())
    }

    /// A field without spaces around it. One that was not sent is a blank one: so a browser sends a box that nobody ticked.
    pub(crate) fn trimmed(&self, name: &str) -> &str {
        self.get(name).unwrap_or("").trim()
    }

    /// Every value of a field.
    pub fn all<'a, 'n>(&'a self, name: &'n str) -> impl Iterator<Item = &'a str> + use<'a, 'n> {
        self.0
            .iter()
            .filter(move |(key, _)| key == name)
            .map(|(_, value)| value.as_str())
    }

    /// All of them.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0
            .iter()
            .map(|(key, value)| (key.as_str(), value.as_str()))
    }
}

/// Why a request comes to nothing.
#[derive(Debug)]
pub enum NoReply {
    /// There is no such page, or no such referral.
    NotFound,
    /// Nobody signed in.
    SignedOut,
    /// The person may not see this page.
    NotTheirs,
    /// A field of the form is missing, or is none that the page offers.
    Form(String),
    /// What was loaded is not what the files hold now, so that nothing is decided on it.
    Exchanged(String),
    /// The register refused, or failed.
    Register(Box<Diagnostic>),
    /// The system gives no random bytes.
    Random(getrandom::Error),
}

impl From<Box<Diagnostic>> for NoReply {
    fn from(it: Box<Diagnostic>) -> Self {
        Self::Register(it)
    }
}

impl From<RegisterError> for NoReply {
    fn from(it: RegisterError) -> Self {
        Self::Register(Box::new(it.diagnostic()))
    }
}

impl From<InvalidHeaderValue> for NoReply {
    fn from(_: InvalidHeaderValue) -> Self {
        Self::NotFound
    }
}

impl From<getrandom::Error> for NoReply {
    fn from(it: getrandom::Error) -> Self {
        Self::Random(it)
    }
}

impl NoReply {
    /// The status of its answer.
    pub fn status(&self) -> StatusCode {
        match self {
            Self::NotFound => StatusCode::NOT_FOUND,
            Self::SignedOut | Self::NotTheirs => StatusCode::FORBIDDEN,
            Self::Form(_) => StatusCode::UNPROCESSABLE_ENTITY,
            Self::Exchanged(_) | Self::Register(_) => StatusCode::CONFLICT,
            Self::Random(_) => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }

    /// What to tell, in whole sentences.
    pub fn words(&self) -> String {
        match self {
            Self::NotFound => "There is no such page, or no such referral.".into(),
            Self::SignedOut => "Sign in first.".into(),
            Self::NotTheirs => "This page is for another role than yours.".into(),
            Self::Form(why) | Self::Exchanged(why) => why.clone(),
            Self::Register(it) => format!("{}. {}", capital(&it.title), it.help),
            Self::Random(_) => "The system gives no random bytes. Nothing was done.".into(),
        }
    }
}

/// A sentence begins with a capital.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_else(|| text.to_owned())
}

/// Diagnostics in whole sentences.
pub fn words(found: &[Diagnostic]) -> String {
    let each = found
        .iter()
        .map(|it| format!("{}. {}", capital(&it.title), capital(&it.help)));
    each.collect::<Vec<String>>().join(" ")
}

/// What a page comes to.
pub type Reply = Result<Response, NoReply>;

/// One request of a browser that was let in.
pub struct Visit<'a> {
    open: &'a mut OpenDesk,
    session: Session,
    token: Option<String>,
    person: Option<Person>,
    now: Moment,
    sent_to: Option<String>,
    /// The named parts of the address.
    pub path: Fields,
    /// What stands behind the question mark.
    pub query: Fields,
    /// The form that was sent.
    pub form: Fields,
}

impl<'a> Visit<'a> {
    /// A request of this session.
    pub(super) fn new(
        open: &'a mut OpenDesk,
        session: Session,
        asked: TakenApart,
        now: Moment,
    ) -> Self {
        Self {
            open,
            session,
            token: asked.token,
            person: None,
            now,
            sent_to: asked.sent_to,
            path: asked.path,
            query: asked.query,
            form: asked.form,
        }
    }

    /// Looks up who signed in, and returns what they may do; `None` if nobody did. A role that was taken away is gone at once.
    ///
    /// # Errors
    /// The register cannot be read.
    pub(super) fn look_up(&mut self) -> Result<Option<PersonRole>, NoReply> {
        if let Some(initials) = &self.session.initials {
            let people = self.register().people()?;
            self.person = people
                .into_iter()
                .find(|it| it.initials == *initials && it.is_on);
        }
        Ok(self.person.as_ref().map(|it| it.role))
    }

    /// A page with this heading.
    pub fn page(&self, title: &str, body: Markup) -> Response {
        self.page_with(StatusCode::OK, title, body)
    }

    /// A page with this status and heading.
    pub fn page_with(&self, status: StatusCode, title: &str, body: Markup) -> Response {
        let desk = &self.open.desk;
        let notices = [desk.notice.clone()]
            .into_iter()
            .chain((desk.exchanged)())
            .filter(|it| !it.is_empty())
            .collect();
        let frame = Around {
            title,
            person: self.person.as_ref(),
            form_token: &self.session.form_token,
            notices,
            rule_set: desk.screener.rule_set(),
        };
        let page = page::whole(&frame, &body);
        (status, Html(page.into_string())).into_response()
    }

    /// A hidden field that each form must carry.
    pub fn token_field(&self) -> Markup {
        page::hidden("form", &self.session.form_token)
    }

    /// Who asks.
    ///
    /// # Errors
    /// Nobody signed in.
    pub fn person(&self) -> Result<&Person, NoReply> {
        self.person.as_ref().ok_or(NoReply::SignedOut)
    }

    /// Who asks, if somebody signed in.
    pub fn signed_in(&self) -> Option<&Person> {
        self.person.as_ref()
    }

    /// Now.
    pub fn now(&self) -> Moment {
        self.now
    }

    /// Today.
    pub fn today(&self) -> NaiveDate {
        self.now.date_naive()
    }

    /// The register.
    pub fn register(&self) -> &Register {
        &self.open.desk.register
    }

    /// The rule set.
    pub fn rule_set(&self) -> &'static RuleSet {
        self.open.desk.screener.rule_set()
    }

    /// The clinic's name, if it has a file.
    pub fn clinic(&self) -> Option<&str> {
        self.open.desk.screener.clinic_name()
    }

    /// The screener of today.
    pub fn screener(&self) -> Screener<'static> {
        self.open.desk.screener.clone().on(self.today())
    }

    /// A field of the form.
    ///
    /// # Errors
    /// It is missing, or stands there several times.
    pub fn field(&self, name: &str) -> Result<&str, NoReply> {
        self.form
            .get(name)
            .ok_or_else(|| NoReply::Form(format!("The form has no `{name}`, or several.")))
    }

    /// A field of the form that somebody must fill in, without spaces around it.
    ///
    /// # Errors
    /// It is missing or empty.
    pub fn text(&self, name: &str) -> Result<String, NoReply> {
        let text = self.field(name)?.trim();
        if text.is_empty() {
            return Err(NoReply::Form(format!("`{name}` must be filled in.")));
        }
        Ok(text.to_owned())
    }

    /// Refuses a form that was made when the referral stood otherwise.
    ///
    /// # Errors
    /// Something was written about it since.
    pub fn must_be_of(&self, state: &ReferralState) -> Result<(), NoReply> {
        if self.field("version")? == state.version.to_string() {
            return Ok(());
        }
        Err(NoReply::Form(format!(
            "Something was written about {} since this page was made. Nothing was done: look at the referral as it stands, then decide again.",
            state.reference
        )))
    }

    /// The referral of the address.
    ///
    /// # Errors
    /// There is none.
    pub fn referral(&self) -> Result<ReferralState, NoReply> {
        let reference = self.path.get("reference").ok_or(NoReply::NotFound)?;
        self.register()
            .referral(reference)?
            .ok_or(NoReply::NotFound)
    }

    /// Refuses where the files of the rules are no longer what was loaded.
    ///
    /// # Errors
    /// They are not.
    pub fn must_be_current(&self) -> Result<(), NoReply> {
        (self.open.desk.exchanged)().map_or(Ok(()), |why| Err(NoReply::Exchanged(why)))
    }

    /// Writes down what happened, by whoever asks.
    ///
    /// # Errors
    /// Nobody signed in; the register refused or failed.
    pub fn write(
        &mut self,
        referral: Option<&str>,
        happening: Happening,
    ) -> Result<RegisterEntry, NoReply> {
        let new = self.new_entry(referral, happening)?;
        Ok(self.open.desk.register.append(new)?)
    }

    /// Writes down several things that happened to a referral at once, all or none. `form` stands in the last of their entries.
    ///
    /// # Errors
    /// As of [`Visit::write`].
    pub fn write_all(
        &mut self,
        referral: &str,
        form: Option<String>,
        happenings: Vec<Happening>,
    ) -> Result<(), NoReply> {
        let mut all: Vec<New> = happenings
            .into_iter()
            .map(|it| self.new_entry(Some(referral), it))
            .collect::<Result<_, _>>()?;
        if let Some(last) = all.last_mut() {
            last.form = form;
        }
        self.open.desk.register.append_all(all)?;
        Ok(())
    }

    fn new_entry(&self, referral: Option<&str>, happening: Happening) -> Result<New, NoReply> {
        Ok(New {
            at: self.now,
            person: self.person()?.initials.clone(),
            form: None,
            referral: referral.map(str::to_owned),
            happening,
        })
    }

    /// Looks whether this is the passphrase of that person; refusals slow down and are written down.
    ///
    /// # Returns
    /// The person, or why not in words.
    ///
    /// # Errors
    /// The register cannot be read or written.
    pub fn verify(
        &mut self,
        initials: &str,
        passphrase: &str,
    ) -> Result<Result<Person, String>, NoReply> {
        let is_somebody = self
            .register()
            .people()?
            .iter()
            .any(|it| it.initials == initials);
        // All who are nobody wait together, so that nobody's list of names grows.
        let key = if is_somebody { initials } else { "" };
        let wait = self.open.throttle.wait(key, self.now);
        if wait > 0 {
            return Ok(Err(format!(
                "Wait {wait} seconds, then try again: there were too many refusals in a row."
            )));
        }
        if let Some(person) = self.register().verify(initials, passphrase)? {
            self.open.throttle.accepted(key);
            return Ok(Ok(person));
        }
        self.open.throttle.refused(key, self.now);
        if is_somebody {
            let new = New {
                at: self.now,
                person: initials.to_owned(),
                form: None,
                referral: None,
                happening: Happening::SignInRefused {
                    why: "the passphrase is another one".into(),
                },
            };
            self.open.desk.register.append(new)?;
        }
        Ok(Err(
            "These initials and this passphrase do not belong together.".into(),
        ))
    }

    /// Signs a person in, and returns the cookie that hands the browser its new token.
    ///
    /// # Errors
    /// The system gives no random bytes.
    pub fn sign_in(&mut self, person: Person) -> Result<HeaderValue, NoReply> {
        let shown = self.token.take();
        let token =
            self.open
                .sessions
                .begin(shown.as_deref(), Some(person.initials.clone()), self.now)?;
        if let Some(session) = self.open.sessions.touch(&token, self.now) {
            self.session = session;
        }
        self.person = Some(person);
        Ok(self.open.origin.cookie(&token)?)
    }

    /// Where a form was sent that nobody was signed in for; `None` if no form was.
    pub fn sent_to(&self) -> Option<&str> {
        self.sent_to.as_deref()
    }

    /// Signs out whoever is there.
    pub fn sign_out(&mut self) {
        if let Some(token) = &self.token {
            self.open.sessions.leave(token);
        }
    }
}

/// A file that is handed on as it is, to be saved and not shown.
pub fn saved(name: &str, kind: &'static str, body: String) -> Reply {
    // What a name is made of is told to the browser in ASCII alone.
    let safe: String = name
        .chars()
        .map(|it| {
            if it.is_ascii_alphanumeric() || "-._".contains(it) {
                it
            } else {
                '-'
            }
        })
        .collect();
    let saved_as = HeaderValue::from_str(&format!("attachment; filename=\"{safe}\""))
        .map_err(|_| NoReply::NotFound)?;
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static(kind)),
        (header::CONTENT_DISPOSITION, saved_as),
    ];
    Ok((headers, body).into_response())
}
