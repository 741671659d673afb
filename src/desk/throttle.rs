//! Refusals slow down: whoever guesses a passphrase waits longer each time.

use std::collections::BTreeMap;

use chrono::TimeDelta;

use crate::desk::sessions::Moment;

/// How many refusals cost nothing: fingers slip.
const FREE: u32 = 2;
/// The longest wait, in seconds. Nobody can keep a person out for longer by guessing in their name.
const LONGEST: i64 = 60;

/// Refusals in a row by the initials that were given.
#[derive(Debug, Default)]
pub(crate) struct Throttle {
    refused: BTreeMap<String, (u32, Moment)>,
}

impl Throttle {
    /// For how many seconds these initials must still wait; 0 if they need not.
    pub(crate) fn wait(&self, initials: &str, now: Moment) -> i64 {
        let Some((n_refused, last)) = self.refused.get(initials) else {
            return 0;
        };
        let wait = match n_refused.checked_sub(FREE) {
            None | Some(0) => 0,
            Some(n) => 2_i64.saturating_pow(n.min(16)).min(LONGEST),
        };
        let left = *last + TimeDelta::seconds(wait) - now;
        // A clock that was put back must not keep anybody waiting for hours.
        left.num_seconds().clamp(0, wait)
    }

    /// Notes a refusal.
    pub(crate) fn refused(&mut self, initials: &str, now: Moment) {
        let (n, last) = self.refused.entry(initials.to_owned()).or_insert((0, now));
        *n = n.saturating_add(1);
        *last = now;
    }

    /// Notes that the right passphrase was given.
    pub(crate) fn accepted(&mut self, initials: &str) {
        self.refused.remove(initials);
    }
}
