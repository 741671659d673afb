//! A register to be tried: the invented referrals of the examples at every stage, by invented people. Gone when the desk ends.

use std::path::PathBuf;

use chrono::{DateTime, FixedOffset, TimeDelta};
use include_dir::{Dir, include_dir};
use serde_json::Value;

use crate::desk::guard::token;
use crate::document::diagnostic::{Code, Diagnostic};
use crate::outcome::{Outcome, Urgency};
use crate::register::happening::{Decided, Happening, Screened};
use crate::register::people::{PersonRole, hashed};
use crate::register::{New, Register};
use crate::screening::screener::Screener;

static EXAMPLES: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/examples");

/// The day of the examples: their answers are of the days before it, their surgery of those after.
const TODAY: &str = "2026-11-25T08:00:00+00:00";

/// The people of the example: initials and role.
pub(crate) const PEOPLE: [(&str, PersonRole); 4] = [
    ("NA", PersonRole::Nurse),
    ("CB", PersonRole::Clinician),
    ("CD", PersonRole::Clinician),
    ("GE", PersonRole::Governance),
];

/// A register with its folder, which is removed when this goes.
pub(crate) struct ThrowAway {
    folder: PathBuf,
    /// With which everybody of the example signs in.
    pub(crate) passphrase: String,
}

impl Drop for ThrowAway {
    fn drop(&mut self) {
        // It is in the folder for such things: what cannot be removed now goes with the rest there.
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

/// The moment at which the example begins.
///
/// # Errors
/// None: it is written above.
pub(crate) fn today() -> Result<DateTime<FixedOffset>, Vec<Diagnostic>> {
    DateTime::parse_from_rfc3339(TODAY).map_err(|error| failed(error.to_string()))
}

/// The clinic's file.
///
/// # Errors
/// None: it is embedded.
pub(crate) fn clinic() -> Result<&'static [u8], Vec<Diagnostic>> {
    let file = EXAMPLES.get_file("clinic.yaml");
    file.map(|it| it.contents())
        .ok_or_else(|| failed("the example has no clinic"))
}

fn failed(why: impl Into<String>) -> Vec<Diagnostic> {
    vec![Diagnostic::bare(Code::RegisterUnwritable, why)]
}

/// Makes and fills the register.
///
/// # Errors
/// It cannot be made there.
pub(crate) fn register(
    screener: Screener<'static>,
) -> Result<(Register, Screener<'static>, ThrowAway), Vec<Diagnostic>> {
    let name = token().map_err(|it| failed(it.to_string()))?;
    let (name, rest) = name.split_at(12);
    let passphrase = rest.chars().take(16).collect::<String>();
    let folder = std::env::temp_dir().join(format!("preblock-desk-{name}"));
    std::fs::create_dir(&folder)
        .map_err(|error| failed(format!("`{}` cannot be made: {error}", folder.display())))?;
    let kept = ThrowAway { folder, passphrase };
    let at = today()?;
    let screener = screener
        .on(at.date_naive())
        .clinic("clinic.yaml", clinic()?)?;
    let register = Register::create(&kept.folder.join("desk.sqlite3"), "the example's desk")
        .map_err(|it| vec![*it])?;
    let mut filler = Filler {
        register,
        screener: &screener,
        at,
        n_go: 0,
        n_refer: 0,
        n_defer: 0,
    };
    filler.people(&kept.passphrase)?;
    let referrals = EXAMPLES
        .get_dir("referrals")
        .into_iter()
        .flat_map(Dir::files);
    for file in referrals {
        let name = file.path().display().to_string();
        filler.referral(&name, file.contents())?;
    }
    let register = filler.register;
    Ok((register, screener, kept))
}

struct Filler<'a> {
    register: Register,
    screener: &'a Screener<'static>,
    at: DateTime<FixedOffset>,
    n_go: usize,
    n_refer: usize,
    n_defer: usize,
}

impl Filler<'_> {
    fn write(
        &mut self,
        person: &str,
        referral: Option<&str>,
        happening: Happening,
    ) -> Result<i64, Vec<Diagnostic>> {
        self.write_all(person, referral, vec![happening])
    }

    /// Writes down what belongs together, and returns the number of the last entry.
    fn write_all(
        &mut self,
        person: &str,
        referral: Option<&str>,
        happenings: Vec<Happening>,
    ) -> Result<i64, Vec<Diagnostic>> {
        let new = |happening| New {
            at: self.at,
            person: person.to_owned(),
            form: None,
            referral: referral.map(str::to_owned),
            happening,
        };
        let all = happenings.into_iter().map(new).collect();
        let last = self.register.append_all(all);
        Ok(last.map_err(|it| vec![it.diagnostic()])?.seq)
    }

    /// Governance first: whoever is there makes the others.
    fn people(&mut self, passphrase: &str) -> Result<(), Vec<Diagnostic>> {
        for (initials, role) in PEOPLE.iter().rev() {
            let happening = Happening::PersonSet {
                initials: (*initials).to_owned(),
                role: *role,
                hash: hashed(passphrase).map_err(failed)?,
                is_on: true,
            };
            self.write("GE", None, happening)?;
        }
        Ok(())
    }

    /// A referral as far as its turn has come: of each verdict some are further than others.
    fn referral(&mut self, name: &str, bytes: &[u8]) -> Result<(), Vec<Diagnostic>> {
        let referral = self.screener.read(name, bytes).map_err(|it| it.problems)?;
        let reference = referral.reference.clone();
        let of = Some(reference.as_str());
        let screening = self.screener.screening(&referral);
        let questionnaire = String::from_utf8_lossy(bytes).into_owned();
        self.at += TimeDelta::minutes(3);
        let screened = Screened::of(&screening, Value::Null, self.screener.nurse_may_book());
        let day = screened
            .procedure_on
            .as_deref()
            .and_then(|it| it.get(..10)?.parse().ok());
        let (outcome, urgency) = (screened.outcome, screened.urgency);
        let (to_read, asks) = (screened.to_read.clone(), screened.to_ask.clone());
        let came_in = vec![
            Happening::Opened {
                from: "letter".into(),
            },
            Happening::Answered {
                questionnaire,
                changed: Vec::new(),
            },
            Happening::Screened(Box::new(screened)),
        ];
        let seq = self.write_all("NA", of, came_in)?;
        let decided = |outcome| {
            Happening::Decided(Decided {
                screening: seq,
                outcome,
                set_aside: Vec::new(),
                read: to_read.clone(),
                second: None,
                sentence: format!(
                    "I have read the screening of {reference} and decide {}.",
                    Outcome::word(outcome)
                ),
            })
        };
        match outcome {
            Outcome::Go => {
                self.n_go += 1;
                if self.n_go.is_multiple_of(2) {
                    self.write("CB", of, decided(Outcome::Go))?;
                    if let (Some(day), true) = (day, self.n_go.is_multiple_of(4)) {
                        self.write("NA", of, Happening::Booked { day })?;
                    }
                }
            }
            Outcome::Refer if urgency == Some(Urgency::SameDay) => {}
            Outcome::Refer => {
                self.n_refer += 1;
                if self.n_refer.is_multiple_of(2) {
                    self.write("CB", of, decided(Outcome::Refer))?;
                    if self.n_refer.is_multiple_of(4) {
                        let to = screening.findings.iter().find_map(|it| it.refer_to.clone());
                        let to = to.unwrap_or_else(|| "the referrer".into());
                        self.write("NA", of, Happening::PassedOn { to })?;
                    }
                }
            }
            Outcome::Defer => {
                self.n_defer += 1;
                if let (Some(first), true) = (asks.first(), self.n_defer.is_multiple_of(2)) {
                    let of_first = asks.iter().filter(|it| it.from == first.from);
                    let questions = of_first.map(|it| it.question.clone()).collect();
                    let (to, how) = (first.from, "telephone".to_owned());
                    self.write("NA", of, Happening::QuestionSent { questions, to, how })?;
                }
            }
        }
        Ok(())
    }
}
