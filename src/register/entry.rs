//! An entry, its digest and the head: what chains everything that happened together.

use std::fmt;

use chrono::{DateTime, FixedOffset, SecondsFormat};
use sha2::{Digest, Sha256};

use crate::register::happening::Happening;
use crate::rule_set::digest::hex;

/// The digest before the first entry.
pub const NOTHING_BEFORE: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// One thing that happened: who, when, what. Never changed, never taken out.
#[derive(Debug, Clone, PartialEq)]
pub struct RegisterEntry {
    /// Its number, from 1, without a gap.
    pub seq: i64,
    /// When, by the clock of the computer that wrote it.
    pub at: DateTime<FixedOffset>,
    /// The initials of who did it.
    pub person: String,
    /// The word of its kind.
    pub kind: String,
    /// The reference of the referral; `None` for what happens to the register.
    pub referral: Option<String>,
    /// The id of the form it was sent by, if there was one.
    pub form: Option<String>,
    /// SHA-256 of its body, in hexadecimal.
    pub body: String,
    /// The digest of the entry before.
    pub previous: String,
    /// Its digest: it fixes this entry and all before it.
    pub digest: String,
    /// Its body; `None` if that was removed.
    pub happening: Option<Happening>,
    /// Whether the clock stood earlier than at the entry before: somebody put it back.
    pub is_clock_back: bool,
}

impl RegisterEntry {
    /// The digest that its parts come to.
    ///
    /// INVARIANT: each part is preceded by its length, so that no two entries can come to the same bytes.
    pub fn computed(&self) -> String {
        let mut hash = Sha256::new();
        let mut part = |text: Option<&str>| match text {
            None => hash.update([0]),
            Some(text) => {
                hash.update([1]);
                hash.update((text.len() as u64).to_be_bytes());
                hash.update(text.as_bytes());
            }
        };
        part(Some(&self.seq.to_string()));
        part(Some(&written(&self.at)));
        part(Some(&self.person));
        part(Some(&self.kind));
        part(self.referral.as_deref());
        part(self.form.as_deref());
        part(Some(&self.body));
        part(Some(&self.previous));
        hex(&hash.finalize())
    }

    /// The head of a register whose last entry this is.
    pub fn head(&self) -> RegisterHead {
        RegisterHead {
            seq: self.seq,
            digest: self.digest.clone(),
        }
    }
}

/// A time as it is written down: seconds, and the offset from UTC.
pub fn written(at: &DateTime<FixedOffset>) -> String {
    at.to_rfc3339_opts(SecondsFormat::Secs, false)
}

/// The last entry of a register. Written down elsewhere, it fixes everything before it.
///
/// Its `Display` is what letters and decisions carry: the number and 20 of the digits, `12:3f0a9-c2b11-de001-aa210`. Finding another
/// register for these 80 bits is out of reach of anybody.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RegisterHead {
    /// Its number; 0 where nothing has happened.
    pub seq: i64,
    /// Its digest, in hexadecimal.
    pub digest: String,
}

impl fmt::Display for RegisterHead {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:", self.seq)?;
        for (at, digit) in self.digest.chars().take(20).enumerate() {
            if at > 0 && at % 5 == 0 {
                f.write_str("-")?;
            }
            write!(f, "{digit}")?;
        }
        Ok(())
    }
}
