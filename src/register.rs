//! The register: the one file that keeps a desk's referrals and all that happened to them.
//!
//! Entries are chained by their digests and never changed; what they say stands in bodies apart, so that an old patient's answers
//! can be removed while the chain stays whole. What pages show is worked out from the entries, by [`state`] alone.
//!
//! What the chain does not do: whoever holds the file and rewrites all of it is found only by a head that was written down
//! elsewhere. There is no clock here, and nothing is screened: the time of an entry and the screening come as arguments.

use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset, NaiveDate};
use rusqlite::{Connection, OptionalExtension, Row, Transaction, TransactionBehavior, params};

use crate::document::diagnostic::{Code, Diagnostic};
use crate::register::entry::{NOTHING_BEFORE, RegisterEntry, RegisterHead, written};
use crate::register::file::{OpenFile, WriterLock};
use crate::register::happening::{Happening, RECORDS, body, read_body};
use crate::register::people::{NO_INITIALS, Person, PersonRole, are_initials, is_passphrase};
use crate::register::pile::PileFilter;
use crate::register::state::{PileGroup, PileRow, ReferralState};
use crate::rule_set::digest::hex;
use crate::rule_set::files::sha256;

pub mod check;
pub mod copy;
pub mod decide;
pub mod entry;
pub mod export;
pub mod figures;
pub mod file;
pub mod happening;
pub mod lapse;
pub mod people;
pub mod pile;
pub mod state;

/// A register that is open.
#[derive(Debug)]
pub struct Register {
    path: PathBuf,
    file: OpenFile,
    /// Whether the file is open; not after the disk failed and went on failing.
    is_open: bool,
    /// Held as long as this may write; `None` if it only reads.
    lock: Option<WriterLock>,
}

/// What is to be written down.
#[derive(Debug, Clone, PartialEq)]
pub struct New {
    /// When, by the caller's clock.
    pub at: DateTime<FixedOffset>,
    /// Who did it: the initials of a person of the register.
    pub person: String,
    /// The id of the form it was sent by, unique: the same form is never written twice.
    pub form: Option<String>,
    /// The referral's reference; `None` for what happens to people.
    pub referral: Option<String>,
    /// What happened.
    pub happening: Happening,
}

/// Why something was not written down, or not as it should be.
#[derive(Debug)]
pub enum RegisterError {
    /// It does not fit what the register says. Nothing was written.
    Refused(Box<Diagnostic>),
    /// The form was used already: this is what it wrote then. Nothing was written again.
    FormUsed(Box<RegisterEntry>),
    /// The disk failed. The register was opened anew and does not hold it.
    NotWritten(Box<Diagnostic>),
    /// The disk failed. The register was opened anew, and holds it all the same; of several things, this is the last entry.
    WrittenDespite(Box<RegisterEntry>, Box<Diagnostic>),
    /// The disk failed, and the register cannot be opened anew: nobody knows whether it holds it.
    Unknown(Box<Diagnostic>),
}

/// Why several things were not written down together.
enum NotMade {
    /// One of them does not fit, or what it must fit cannot be read.
    Told(RegisterError),
    /// The disk failed.
    Disk(rusqlite::Error),
}

impl From<RegisterError> for NotMade {
    fn from(it: RegisterError) -> Self {
        Self::Told(it)
    }
}

impl From<rusqlite::Error> for NotMade {
    fn from(it: rusqlite::Error) -> Self {
        Self::Disk(it)
    }
}

/// What a register is read to come to, or what is wrong with it.
pub type Readable<T> = Result<T, Box<Diagnostic>>;

impl Register {
    /// Makes a register where there is none, and opens it for writing. `who` is told to whoever wants to write at the same time.
    ///
    /// # Errors
    /// The place is taken, cannot be written, or is on a network drive.
    pub fn create(path: &Path, who: &str) -> Readable<Self> {
        file::create(path)?;
        Self::open(path, who)
    }

    /// Opens a register for writing.
    ///
    /// # Errors
    /// It is not there, no register, of a newer version, changed by another program, in use by another writer, or on a network drive.
    pub fn open(path: &Path, who: &str) -> Readable<Self> {
        let lock = file::lock(path, who)?;
        Ok(Self {
            file: file::open(path, true)?,
            is_open: true,
            path: path.to_owned(),
            lock: Some(lock),
        })
    }

    /// Opens a register for reading; others may write meanwhile. One on media that cannot be written is read as it lies.
    ///
    /// # Errors
    /// As of [`Register::open`], but for other writers.
    pub fn open_to_read(path: &Path) -> Readable<Self> {
        Ok(Self {
            file: file::open(path, false)?,
            is_open: true,
            path: path.to_owned(),
            lock: None,
        })
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Whether it is read as it lies: it or its folder cannot be written, and it has no log that would say that somebody writes.
    pub fn is_as_it_lies(&self) -> bool {
        self.file.is_as_it_lies
    }

    /// The last entry's number and digest.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn head(&self) -> Readable<RegisterHead> {
        head(&self.file.connection).map_err(|it| self.unreadable(&it))
    }

    /// Writes one thing down, and returns its entry once the disk has it.
    ///
    /// # Errors
    /// Which it was: see [`RegisterError`]. After a failure of the disk nothing is tried again, lest something be signed twice.
    pub fn append(&mut self, new: New) -> Result<RegisterEntry, RegisterError> {
        self.append_all(vec![new])
    }

    /// Writes down, in their order, things that belong together: all of them or none, whatever happens in between. Returns the
    /// entry of the last once the disk has them all. Each must fit what the register says with those before it.
    ///
    /// # Errors
    /// As of [`Register::append`]; refused, too, where there is nothing to write down.
    pub fn append_all(&mut self, all: Vec<New>) -> Result<RegisterEntry, RegisterError> {
        if self.lock.is_none() {
            return Err(refused("the register was opened for reading"));
        }
        if !self.is_open {
            self.opened_anew().map_err(RegisterError::NotWritten)?;
        }
        let mut last = None;
        match (self.written_together(all, &mut last), last) {
            (Ok(()), Some(entry)) => Ok(entry),
            (Ok(()), None) => Err(refused("there is nothing to write down")),
            (Err(NotMade::Told(why)), _) => Err(why),
            (Err(NotMade::Disk(error)), last) => Err(self.after_a_failure(last, &error)),
        }
    }

    /// Writes several things down in one transaction. `last` is the entry that was made last, also where that failed.
    fn written_together(
        &self,
        all: Vec<New>,
        last: &mut Option<RegisterEntry>,
    ) -> Result<(), NotMade> {
        let change =
            Transaction::new_unchecked(&self.file.connection, TransactionBehavior::Immediate)?;
        for new in all {
            let (entry, text) = self.next(new)?;
            write(&change, last.insert(entry), &text)?;
        }
        Ok(change.commit()?)
    }

    /// The entry that something comes to, and its body.
    fn next(&self, new: New) -> Result<(RegisterEntry, String), RegisterError> {
        if let Some(form) = &new.form
            && let Some(entry) = self.of_form(form).map_err(RegisterError::NotWritten)?
        {
            return Err(RegisterError::FormUsed(Box::new(entry)));
        }
        self.fits(&new)?;
        let head = self.head().map_err(RegisterError::NotWritten)?;
        let before = self.last_time().map_err(RegisterError::NotWritten)?;
        let text = salt()
            .and_then(|salt| body(&new.happening, &salt).map_err(|it| it.to_string()))
            .map_err(|why| refused(format!("it cannot be written as JSON: {why}")))?;
        let mut entry = RegisterEntry {
            seq: head.seq.saturating_add(1),
            at: new.at,
            person: new.person,
            kind: new.happening.kind().to_owned(),
            referral: new.referral,
            form: new.form,
            body: sha256(text.as_bytes()),
            previous: head.digest,
            digest: String::new(),
            is_clock_back: before.is_some_and(|it| it > new.at),
            happening: Some(new.happening),
        };
        entry.digest = entry.computed();
        Ok((entry, text))
    }

    /// The entries of a referral, in their order.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn entries(&self, reference: &str) -> Readable<Vec<RegisterEntry>> {
        entries_of(&self.file.connection, reference).map_err(|it| self.unreadable(&it))
    }

    /// Every entry, in their order.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn all_entries(&self) -> Readable<Vec<RegisterEntry>> {
        all_entries(&self.file.connection).map_err(|it| self.unreadable(&it))
    }

    /// The text of a body; `None` if it was removed, or never was.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn body(&self, digest: &str) -> Readable<Option<String>> {
        self.file
            .connection
            .query_row("select text from body where digest = ?1", [digest], |row| {
                row.get(0)
            })
            .optional()
            .map_err(|it| self.unreadable(&it))
    }

    /// A referral as it stands; `None` if there is none of this reference.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn referral(&self, reference: &str) -> Readable<Option<ReferralState>> {
        Ok(ReferralState::of(&self.entries(reference)?))
    }

    /// Every referral by what has to happen next: groups in their order, within one the longest waiting first.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn pile(&self) -> Readable<Vec<PileRow>> {
        self.pile_rows(&PileFilter::default(), 0, usize::MAX)
    }

    /// How many referrals of the pile a filter lets through: each group that has one, in the order of the pile.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn pile_counts(&self, filter: &PileFilter) -> Readable<Vec<(PileGroup, usize)>> {
        pile::counts(&self.file.connection, filter).map_err(|it| self.unreadable(&it))
    }

    /// The referrals of the pile that a filter lets through, in the order of the pile: after so many at its beginning, at most
    /// so many.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn pile_rows(
        &self,
        filter: &PileFilter,
        after: usize,
        most: usize,
    ) -> Readable<Vec<PileRow>> {
        pile::rows(&self.file.connection, filter, after, most).map_err(|it| self.unreadable(&it))
    }

    /// The referrals for which this day is booked, or planned while none is, but for closed ones, in the order of the pile.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn pile_of_day(&self, day: NaiveDate) -> Readable<Vec<PileRow>> {
        pile::of_day(&self.file.connection, day).map_err(|it| self.unreadable(&it))
    }

    /// The references before and after one in the order of the pile; neither where there is none of this reference.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn pile_neighbours(&self, reference: &str) -> Readable<(Option<String>, Option<String>)> {
        pile::neighbours(&self.file.connection, reference).map_err(|it| self.unreadable(&it))
    }

    /// Every person, by initials.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn people(&self) -> Readable<Vec<Person>> {
        people(&self.file.connection).map_err(|it| self.unreadable(&it))
    }

    /// The person of these initials and this passphrase; `None` if there is none, or none who may sign in. Both take the same time.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn verify(&self, initials: &str, passphrase: &str) -> Readable<Option<Person>> {
        let person = self.person(initials)?.filter(|it| it.is_on);
        let is_theirs = is_passphrase(passphrase, person.as_ref().map(|it| it.hash.as_str()));
        Ok(person.filter(|_| is_theirs))
    }

    /// Removes what a referral's entries say, and writes down who did and why. The entries stay.
    ///
    /// # Errors
    /// As of [`Register::append`].
    pub fn remove(
        &mut self,
        at: DateTime<FixedOffset>,
        person: &str,
        reference: &str,
        why: &str,
    ) -> Result<RegisterEntry, RegisterError> {
        let entries = self.entries(reference).map_err(RegisterError::NotWritten)?;
        let entry = self.append(New {
            at,
            person: person.to_owned(),
            form: None,
            referral: Some(reference.to_owned()),
            happening: Happening::BodyRemoved {
                entries: entries.iter().map(|it| it.seq).collect(),
                why: why.to_owned(),
            },
        })?;
        // Until then the log beside the file still holds what was removed.
        self.file
            .connection
            .query_row("pragma wal_checkpoint(truncate)", [], |_| Ok(()))
            .map_err(|it| {
                RegisterError::WrittenDespite(Box::new(entry.clone()), self.unreadable(&it))
            })?;
        Ok(entry)
    }

    /// Works out anew, from the entries, all that pages show.
    ///
    /// # Errors
    /// The file cannot be read or written.
    pub fn rebuild(&mut self) -> Readable<()> {
        rebuild(&mut self.file.connection).map_err(|it| file::diagnostic(&self.path, &it))
    }

    fn person(&self, initials: &str) -> Readable<Option<Person>> {
        Ok(self
            .people()?
            .into_iter()
            .find(|it| it.initials == initials))
    }

    fn of_form(&self, form: &str) -> Readable<Option<RegisterEntry>> {
        let sql = format!("{ENTRIES} where entry.form = ?1");
        self.file
            .connection
            .query_row(&sql, [form], entry_of)
            .optional()
            .map_err(|it| self.unreadable(&it))
    }

    fn last_time(&self) -> Readable<Option<DateTime<FixedOffset>>> {
        self.file
            .connection
            .query_row(
                "select at from entry order by seq desc limit 1",
                [],
                |row| time(row, 0),
            )
            .optional()
            .map_err(|it| self.unreadable(&it))
    }

    fn unreadable(&self, error: &rusqlite::Error) -> Box<Diagnostic> {
        if self.is_open {
            return file::diagnostic(&self.path, error);
        }
        let title = format!("`{}` was closed after the disk failed", self.path.display());
        Box::new(Diagnostic::bare(Code::RegisterUnwritable, title))
    }

    /// Whether something fits what the register says.
    fn fits(&self, new: &New) -> Result<(), RegisterError> {
        let read = |it| RegisterError::NotWritten(it);
        if !are_initials(&new.person) {
            return Err(refused(NO_INITIALS));
        }
        if new.happening.is_of_a_referral() != new.referral.is_some() {
            return Err(refused(format!(
                "`{}` does not happen there",
                new.happening.kind()
            )));
        }
        let person = self
            .person(&new.person)
            .map_err(read)?
            .filter(|it| it.is_on);
        let is_by_records = new.person == RECORDS;
        if is_by_records != matches!(new.happening, Happening::Feedback(_)) {
            return Err(refused(format!(
                "feedback is written down by `{RECORDS}`, and nothing else is"
            )));
        }
        let anybody = is_by_records
            || matches!(new.happening, Happening::SignInRefused { .. })
            || self.people().map_err(read)?.is_empty();
        if person.is_none() && !anybody {
            return Err(refused(format!(
                "`{}` is no person of this register who may sign in",
                new.person
            )));
        }
        self.keeps(new, person.as_ref()).map_err(read)??;
        if let Happening::PersonSet { initials, .. } = &new.happening {
            if !are_initials(initials) {
                return Err(refused(NO_INITIALS));
            }
            if initials == RECORDS {
                return Err(refused(format!(
                    "`{RECORDS}` is what feedback is written down by"
                )));
            }
        }
        let Some(reference) = &new.referral else {
            return Ok(());
        };
        let state = self.referral(reference).map_err(read)?;
        let is_opening = matches!(new.happening, Happening::Opened { .. });
        let Some(state) = state else {
            return if is_opening {
                Ok(())
            } else {
                Err(refused(format!("there is no referral `{reference}`")))
            };
        };
        if is_opening {
            return Err(refused(format!(
                "there is a referral `{reference}` already"
            )));
        }
        if state.is_removed {
            return Err(refused(format!(
                "what `{reference}` said was removed; nothing more is written about it"
            )));
        }
        match &new.happening {
            Happening::Decided(decided) => {
                if person.is_none_or(|it| it.role != PersonRole::Clinician) {
                    return Err(refused("only a clinician decides"));
                }
                // INVARIANT: what is signed is what was read.
                if state.current().is_none_or(|it| it.seq != decided.screening) {
                    return Err(refused(
                        "the screening that was read is no longer the last one of this referral",
                    ));
                }
                let second = match &decided.second {
                    None => return Ok(()),
                    Some(second) => self.person(second).map_err(read)?,
                };
                let is_another = second.is_some_and(|it| {
                    it.is_on && it.role == PersonRole::Clinician && it.initials != new.person
                });
                if is_another {
                    Ok(())
                } else {
                    Err(refused("the second signature is of another clinician"))
                }
            }
            Happening::Screened(screened) => {
                let text = state.questionnaire.as_deref();
                if text.is_some_and(|it| sha256(it.as_bytes()) == screened.questionnaire) {
                    Ok(())
                } else {
                    Err(refused(
                        "the screening is not of the answers as they are now",
                    ))
                }
            }
            Happening::Booked { .. } if !state.may_be_booked() => Err(refused(
                "a day is booked for what a clinician decided go, on the answers as they are now",
            )),
            _ => Ok(()),
        }
    }

    /// Whether somebody may set people and remove bodies: governance; a clinician where nobody of governance may sign in, a
    /// nurse where no clinician may, either. Everybody may change their own passphrase.
    fn keeps(&self, new: &New, by: Option<&Person>) -> Readable<Result<(), RegisterError>> {
        let people = self.people()?;
        let is_own = match &new.happening {
            Happening::PersonSet {
                initials,
                role,
                is_on,
                ..
            } => by.is_some_and(|it| {
                it.initials == *initials && it.role == *role && it.is_on == *is_on
            }),
            Happening::BodyRemoved { .. } => false,
            _ => return Ok(Ok(())),
        };
        let keeper = [
            PersonRole::Governance,
            PersonRole::Clinician,
            PersonRole::Nurse,
        ]
        .into_iter()
        .find(|role| people.iter().any(|it| it.is_on && it.role == *role));
        let Some(keeper) = keeper.filter(|role| !is_own && by.is_none_or(|it| it.role != *role))
        else {
            return Ok(Ok(()));
        };
        Ok(Err(refused(format!(
            "here only somebody of the role {} does that",
            keeper.word()
        ))))
    }

    /// What became of entries after the disk failed; `last` is the one that was made last.
    ///
    /// INVARIANT: a commit that failed may be there all the same, and may show only when the log is next read from its
    /// beginning. So nothing is tried again; the file is opened anew, and its log written out and emptied: what is there then
    /// is on the disk, and what is not will not come back.
    fn after_a_failure(
        &mut self,
        last: Option<RegisterEntry>,
        error: &rusqlite::Error,
    ) -> RegisterError {
        let why = file::diagnostic(&self.path, error);
        match (self.opened_anew().and_then(|()| self.head()), last) {
            (Ok(head), Some(entry)) if head.digest == entry.digest => {
                RegisterError::WrittenDespite(Box::new(entry), why)
            }
            (Ok(_), _) => RegisterError::NotWritten(why),
            (Err(_), _) => RegisterError::Unknown(why),
        }
    }

    /// Lets go of the file and opens it anew, with all on the disk that it then holds.
    fn opened_anew(&mut self) -> Readable<()> {
        self.is_open = false;
        let nothing = Connection::open_in_memory().map_err(|it| self.unreadable(&it))?;
        drop(std::mem::replace(&mut self.file.connection, nothing));
        self.file = file::open(&self.path, true)?;
        let is_busy: bool = self
            .file
            .connection
            .query_row("pragma wal_checkpoint(truncate)", [], |row| row.get(0))
            .map_err(|it| file::diagnostic(&self.path, &it))?;
        if is_busy {
            let title = format!("`{}` is read by another program", self.path.display());
            return Err(Box::new(Diagnostic::bare(Code::RegisterInUse, title)));
        }
        self.is_open = true;
        Ok(())
    }
}

impl RegisterError {
    /// What to tell.
    pub fn diagnostic(&self) -> Diagnostic {
        match self {
            Self::Refused(it) | Self::NotWritten(it) => (**it).clone(),
            Self::FormUsed(entry) => Diagnostic::bare(
                Code::RegisterRefused,
                format!("this form was sent before and is entry {}", entry.seq),
            )
            .help("Nothing was written again; look at the referral as it stands."),
            Self::WrittenDespite(entry, it) => it.as_ref().clone().help(format!(
                "The disk reported a failure, but entry {} is there. Do not send it again; make a backup onto another disk.",
                entry.seq
            )),
            Self::Unknown(it) => it.as_ref().clone().help(
                "Nobody knows whether the last entry was kept. Stop the desk, look after the disk, and read the last entry before sending anything again.",
            ),
        }
    }
}

fn refused(why: impl Into<String>) -> RegisterError {
    RegisterError::Refused(Box::new(Diagnostic::bare(Code::RegisterRefused, why)))
}

fn salt() -> Result<String, String> {
    let mut bytes = [0_u8; 16];
    getrandom::fill(&mut bytes).map_err(|it| it.to_string())?;
    Ok(hex(&bytes))
}

/// Every column of an entry and its body, in the order of [`entry_of`].
const ENTRIES: &str = "select entry.seq, entry.at, entry.person, entry.kind, entry.referral, entry.form, entry.body, entry.previous, \
                       entry.digest, body.text, (select before.at from entry before where before.seq = entry.seq - 1) \
                       from entry left join body on body.digest = entry.body";

fn entry_of(row: &Row<'_>) -> rusqlite::Result<RegisterEntry> {
    let at = time(row, 1)?;
    let text: Option<String> = row.get(9)?;
    let before: Option<String> = row.get(10)?;
    let before = before.map(|_| time(row, 10)).transpose()?;
    Ok(RegisterEntry {
        happening: text
            .map(|it| read_body(&it).map_err(|error| unfit(9, error)))
            .transpose()?,
        is_clock_back: before.is_some_and(|it| it > at),
        ..bare_entry(row, at)?
    })
}

/// An entry of this time without its body and without a look at the one before.
fn bare_entry(row: &Row<'_>, at: DateTime<FixedOffset>) -> rusqlite::Result<RegisterEntry> {
    Ok(RegisterEntry {
        seq: row.get(0)?,
        at,
        person: row.get(2)?,
        kind: row.get(3)?,
        referral: row.get(4)?,
        form: row.get(5)?,
        body: row.get(6)?,
        previous: row.get(7)?,
        digest: row.get(8)?,
        happening: None,
        is_clock_back: false,
    })
}

fn time(row: &Row<'_>, column: usize) -> rusqlite::Result<DateTime<FixedOffset>> {
    let text: String = row.get(column)?;
    DateTime::parse_from_rfc3339(&text).map_err(|error| unfit(column, error))
}

/// A value that is not what its column holds.
fn unfit(column: usize, error: impl std::error::Error + Send + Sync + 'static) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(column, rusqlite::types::Type::Text, Box::new(error))
}

fn head(connection: &Connection) -> rusqlite::Result<RegisterHead> {
    let sql = "select seq, digest from entry order by seq desc limit 1";
    let last = connection.query_row(sql, [], |row| {
        Ok(RegisterHead {
            seq: row.get(0)?,
            digest: row.get(1)?,
        })
    });
    Ok(last.optional()?.unwrap_or_else(|| RegisterHead {
        seq: 0,
        digest: NOTHING_BEFORE.to_owned(),
    }))
}

fn entries_of(connection: &Connection, reference: &str) -> rusqlite::Result<Vec<RegisterEntry>> {
    let sql = format!("{ENTRIES} where entry.referral = ?1 order by entry.seq");
    connection
        .prepare_cached(&sql)?
        .query_map([reference], entry_of)?
        .collect()
}

fn all_entries(connection: &Connection) -> rusqlite::Result<Vec<RegisterEntry>> {
    let sql = format!("{ENTRIES} order by entry.seq");
    connection
        .prepare_cached(&sql)?
        .query_map([], entry_of)?
        .collect()
}

/// Writes an entry, its body and what follows from it for the pages.
fn write(change: &Transaction<'_>, entry: &RegisterEntry, text: &str) -> rusqlite::Result<()> {
    change.execute(
        "insert into body(digest, text) values (?1, ?2)",
        params![entry.body, text],
    )?;
    change.execute(
        "insert into entry(seq, at, person, kind, referral, form, body, previous, digest) values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
        params![
            entry.seq,
            written(&entry.at),
            entry.person,
            entry.kind,
            entry.referral,
            entry.form,
            entry.body,
            entry.previous,
            entry.digest
        ],
    )?;
    if let Some(Happening::BodyRemoved { entries, .. }) = &entry.happening {
        for seq in entries {
            change.execute(
                "delete from body where digest in (select body from entry where seq = ?1)",
                [seq],
            )?;
        }
    }
    follows(change, entry)
}

/// Brings what pages show up to date with an entry.
fn follows(connection: &Connection, entry: &RegisterEntry) -> rusqlite::Result<()> {
    if let Some(Happening::PersonSet {
        initials,
        role,
        hash,
        is_on,
    }) = &entry.happening
    {
        connection.execute(
            "insert or replace into person(initials, role, hash, is_on) values (?1, ?2, ?3, ?4)",
            params![initials, role.word(), hash, is_on],
        )?;
    }
    match &entry.referral {
        Some(reference) => pile::place(connection, reference),
        None => Ok(()),
    }
}

/// Every referral that has an entry.
fn references(connection: &Connection) -> rusqlite::Result<Vec<String>> {
    connection
        .prepare("select distinct referral from entry where referral is not null")?
        .query_map([], |row| row.get(0))?
        .collect()
}

fn people(connection: &Connection) -> rusqlite::Result<Vec<Person>> {
    let of = |row: &Row<'_>| -> rusqlite::Result<Person> {
        let role: String = row.get(1)?;
        Ok(Person {
            initials: row.get(0)?,
            role: pile::word(1, PersonRole::from_word(&role))?,
            hash: row.get(2)?,
            is_on: row.get(3)?,
        })
    };
    connection
        .prepare_cached("select initials, role, hash, is_on from person order by initials")?
        .query_map([], of)?
        .collect()
}

fn rebuild(connection: &mut Connection) -> rusqlite::Result<()> {
    let change = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    change.execute_batch("delete from pile; delete from person;")?;
    let people = all_entries(&change)?;
    for entry in people.iter().filter(|it| it.referral.is_none()) {
        follows(&change, entry)?;
    }
    for reference in references(&change)? {
        pile::place(&change, &reference)?;
    }
    change.commit()
}
