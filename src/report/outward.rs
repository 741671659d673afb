//! What leaves in an open standard, whichever it is: the rule set's address, the ids of what is sent, where sources are found.
//!
//! Codes are our own and stand under the rule set's canonical address. An id is worked out from what fixes a screening and from
//! what it names, so that the same screening is sent under the same ids, and what somebody says of one of them later can be tied
//! to it.

use serde_json::{Value, json};

use crate::document::diagnostic::Diagnostic;
use crate::questionnaire::fhir::form::canonical;
use crate::questionnaire::fhir::system;
use crate::report::page::one_line;
use crate::rule_set::files::sha256;
use crate::rule_set::{Rule, RuleSet};
use crate::screening::result::{Cited, Screening};

/// The program and its version.
pub(super) const PROGRAM: &str = concat!(env!("CARGO_PKG_NAME"), " ", env!("CARGO_PKG_VERSION"));

/// A rule set that other programs know by an address.
#[derive(Debug, Clone, Copy)]
pub struct Outward<'a> {
    /// The rule set.
    pub rule_set: &'a RuleSet,
    /// Its canonical address.
    pub canonical: &'a str,
}

impl<'a> Outward<'a> {
    /// Of a rule set.
    ///
    /// # Errors
    /// That it has no canonical address, without which none of its codes could be told from somebody else's.
    pub fn of(rule_set: &'a RuleSet) -> Result<Self, Diagnostic> {
        let canonical = canonical(rule_set)?;
        Ok(Self {
            rule_set,
            canonical,
        })
    }

    /// A code of one of our own systems, with what it means.
    pub(super) fn coding(&self, of: &str, code: &str, display: &str) -> Value {
        json!({ "system": self.system(of), "code": one_line(code), "display": one_line(display) })
    }

    /// One of our own systems of codes: `rules`, `verdicts`.
    pub(crate) fn system(&self, of: &str) -> String {
        system(self.canonical, of)
    }

    /// A rule of a full id; the program's own, too.
    pub(super) fn rule(&self, id: &str) -> Option<&'a Rule> {
        self.rule_set.judging.iter().find(|it| it.id == id)
    }

    /// The publisher's own page of what is cited; `None` if there is no publication, or its page is not known.
    pub(super) fn link(&self, cited: &Cited) -> Option<&'a str> {
        let Cited::Published { source, .. } = cited else {
            return None;
        };
        let mut publications = self.rule_set.publications.iter();
        publications.find(|it| it.id == *source)?.link.as_deref()
    }
}

/// The id of a part of a screening: a UUID of version 8, made of its name by SHA-256 (RFC 9562, section 5.8 and appendix B.2).
pub(super) fn uuid(screening: &Screening, part: &str) -> String {
    let digest = |it: Option<&str>| it.unwrap_or("none").to_owned();
    let local = screening.local_policy.as_ref();
    let name = [
        PROGRAM.to_owned(),
        screening.rule_set.digest.clone(),
        digest(local.map(|it| it.source.digest.as_str())),
        digest(screening.clinic.as_ref().map(|it| it.digest.as_str())),
        screening.source.digest.clone(),
        screening.as_of.to_string(),
        part.to_owned(),
    ];
    uuid_of(&name.join(" "))
}

/// The UUID of a name.
pub(super) fn uuid_of(name: &str) -> String {
    let digest = sha256(name.as_bytes());
    let digits = digest.chars().take(32).filter_map(|it| it.to_digit(16));
    let bits = digits.fold(0, |bits: u128, digit| bits << 4 | u128::from(digit));
    let version = bits & !(0xf << 76) | 0x8 << 76;
    let bits = version & !(0x3 << 62) | 0x2 << 62;
    let group = |shift: u32| bits >> shift & 0xffff;
    let (first, last) = (bits >> 96, bits & 0xffff_ffff_ffff);
    format!(
        "{first:08x}-{:04x}-{:04x}-{:04x}-{last:012x}",
        group(80),
        group(64),
        group(48)
    )
}

/// What there is of a list: both standards know no empty one.
pub(super) fn some(list: Vec<Value>) -> Option<Value> {
    (!list.is_empty()).then_some(Value::Array(list))
}

/// An object with one more key, if there is anything behind it.
pub(super) fn with(mut object: Value, key: &str, value: Option<Value>) -> Value {
    if let (Some(value), Some(keys)) = (value, object.as_object_mut()) {
        keys.insert(key.to_owned(), value);
    }
    object
}
