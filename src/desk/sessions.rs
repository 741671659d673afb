//! Which browsers were let in, and who sits before each.
//!
//! A browser shows a token and the desk keeps its digest alone. Times are those of the wall clock: one that was put back, or far
//! forward, makes everybody sign in again.

use std::collections::BTreeMap;

use chrono::{DateTime, FixedOffset, TimeDelta};

use crate::desk::guard::token;
use crate::rule_set::files::sha256;

/// How long nobody may touch a page before whoever signed in must do so again.
const IDLE: TimeDelta = TimeDelta::minutes(30);
/// How long signing in lasts at most.
const LONGEST: TimeDelta = TimeDelta::hours(12);
/// Most browsers at once. The one that was untouched for longest makes room.
const MOST: usize = 200;

/// A moment as the clock on the wall shows it.
pub type Moment = DateTime<FixedOffset>;

/// One browser that was let in, as it stands at a request.
#[derive(Debug, Clone)]
pub(crate) struct Session {
    /// What each of its forms carries, so that no other page can send one in its name.
    pub(crate) form_token: String,
    /// The initials of whoever signed in and is still there.
    pub(crate) initials: Option<String>,
}

/// All browsers, by the digest of their tokens.
#[derive(Debug, Default)]
pub(crate) struct Sessions {
    browsers: BTreeMap<String, Browser>,
    /// The digest of the token in the address that nobody has used yet.
    entrance: Option<String>,
}

#[derive(Debug)]
struct Browser {
    form_token: String,
    touched: Moment,
    /// Who signed in, and when.
    person: Option<(String, Moment)>,
}

impl Sessions {
    /// Makes a new address by which one browser may come in, once. An older one that nobody used is void.
    ///
    /// # Errors
    /// As [`token`].
    pub(crate) fn entrance(&mut self) -> Result<String, getrandom::Error> {
        let token = token()?;
        self.entrance = Some(sha256(token.as_bytes()));
        Ok(token)
    }

    /// Whether this is the token of the address that nobody has used yet. It is used now.
    pub(crate) fn enters_by(&mut self, shown: &str) -> bool {
        let is_it = self.entrance.as_deref() == Some(sha256(shown.as_bytes()).as_str());
        if is_it {
            self.entrance = None;
        }
        is_it
    }

    /// Lets a browser in, with whoever signed in, and returns its token. The token it showed before is void: somebody else
    /// may have set it.
    ///
    /// # Errors
    /// As [`token`].
    pub(crate) fn begin(
        &mut self,
        shown: Option<&str>,
        initials: Option<String>,
        now: Moment,
    ) -> Result<String, getrandom::Error> {
        let token = token()?;
        if let Some(shown) = shown {
            self.browsers.remove(&sha256(shown.as_bytes()));
        }
        while self.browsers.len() >= MOST {
            let longest = self.browsers.iter().min_by_key(|(_, it)| it.touched);
            let Some(digest) = longest.map(|(digest, _)| digest.clone()) else {
                break;
            };
            self.browsers.remove(&digest);
        }
        let browser = Browser {
            form_token: sha256(format!("form {token}").as_bytes()),
            touched: now,
            person: initials.map(|initials| (initials, now)),
        };
        self.browsers.insert(sha256(token.as_bytes()), browser);
        Ok(token)
    }

    /// The session of a token, touched by this request; `None` if that browser was not let in.
    pub(crate) fn touch(&mut self, token: &str, now: Moment) -> Option<Session> {
        let browser = self.browsers.get_mut(&sha256(token.as_bytes()))?;
        let lasts = |since: Moment, at_most: TimeDelta| {
            (TimeDelta::zero()..=at_most).contains(&now.signed_duration_since(since))
        };
        let touched = browser.touched;
        browser
            .person
            .take_if(|(_, since)| !lasts(touched, IDLE) || !lasts(*since, LONGEST));
        browser.touched = now;
        Some(Session {
            form_token: browser.form_token.clone(),
            initials: browser
                .person
                .as_ref()
                .map(|(initials, _)| initials.clone()),
        })
    }

    /// Signs out whoever sits before a browser.
    pub(crate) fn leave(&mut self, token: &str) {
        if let Some(browser) = self.browsers.get_mut(&sha256(token.as_bytes())) {
            browser.person = None;
        }
    }
}
