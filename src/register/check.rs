//! Whether a register is what was written into it.
//!
//! Finds an entry that was changed, added, left out or put elsewhere, a body that is not its digest, tables or triggers of another
//! make, pages that do not follow from the entries, and a tail that was cut off if a head was noted elsewhere. It reads on after
//! each thing that is wrong.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use chrono::DateTime;
use rusqlite::{Connection, Row};
use serde_json::Value;

use crate::document::diagnostic::{Code, Diagnostic};
use crate::register::entry::{NOTHING_BEFORE, RegisterEntry, RegisterHead, written};
use crate::register::file;
use crate::register::happening::{Happening, Screened, read_body};
use crate::register::people::Person;
use crate::register::pile::{self, PileFilter};
use crate::register::state::{PileRow, ReferralState};
use crate::register::{ENTRIES, bare_entry, entries_of, people, references};
use crate::rule_set::files::sha256;

/// Fewest digits of a head that fix anything.
const FEWEST_DIGITS: usize = 12;
/// Parts of a screening's JSON that the same answers, rules and day give again, whatever else was wished for.
const COMPARED: [&str; 7] = [
    "findings",
    "undetermined",
    "to_ask",
    "anaesthetic",
    "notes",
    "unrecognised",
    "set_aside",
];

/// What a register was found to be.
#[derive(Debug, Default)]
pub struct RegisterCheck {
    /// How many entries it has.
    pub n_entries: usize,
    /// How many of their bodies were removed, each by an entry that says why.
    pub n_removed: usize,
    /// The last entry that could be read.
    pub head: Option<RegisterHead>,
    /// How many decided screenings came to the same again.
    pub n_screened_again: usize,
    /// How many could not be screened again, since their rules, clinic's file or answers are not at hand.
    pub n_not_at_hand: usize,
    /// Whether it, or what was copied from, was read as it lies: it or its folder cannot be written, and it has no log.
    pub is_as_it_lies: bool,
    /// What is wrong, and what should be known.
    pub found: Vec<Diagnostic>,
}

/// Screens a questionnaire's text again as a screening says; `None` if what it needs is not at hand.
pub type ScreenAgain<'a> = &'a mut dyn FnMut(&Screened, &str) -> Option<Screened>;

/// Looks at everything in a register.
///
/// `head` is one that was noted elsewhere: `12:3f0a9-c2b11-...`, or digits alone.
///
/// # Errors
/// It cannot be opened at all, or `head` is none.
pub fn check(
    path: &Path,
    head: Option<&str>,
    again: ScreenAgain<'_>,
) -> Result<RegisterCheck, Box<Diagnostic>> {
    let head = head.map(NotedHead::read).transpose()?;
    let (file, fault) = file::open_to_check(path)?;
    let mut checking = Checking {
        shown: path.display().to_string(),
        connection: &file.connection,
        result: RegisterCheck {
            is_as_it_lies: file.is_as_it_lies,
            ..RegisterCheck::default()
        },
        bodies: BTreeMap::new(),
        removed: BTreeSet::new(),
        people: BTreeMap::new(),
        head,
    };
    checking.result.found.extend(fault);
    checking.result.found.extend(file::open_to_others(path));
    let read = checking.everything(again);
    if let Err(error) = read {
        checking.wrong(
            Code::RegisterDamaged,
            format!("it cannot be read to the end: {error}"),
        );
    }
    Ok(checking.result)
}

/// A head that somebody noted.
struct NotedHead {
    seq: Option<i64>,
    digits: String,
    is_met: bool,
}

impl NotedHead {
    fn read(text: &str) -> Result<Self, Box<Diagnostic>> {
        let (seq, digits) = match text.split_once(':') {
            Some((seq, digits)) => (Some(seq), digits),
            None => (None, text),
        };
        let digits: String = digits
            .chars()
            .filter(|it| !matches!(it, '-' | ' '))
            .map(|it| it.to_ascii_lowercase())
            .collect();
        let seq = seq.map(|it| it.trim().parse::<i64>());
        let is_hex = digits.bytes().all(|it| it.is_ascii_hexdigit());
        match seq.transpose() {
            Ok(seq) if is_hex && digits.len() >= FEWEST_DIGITS => Ok(Self {
                seq,
                digits,
                is_met: false,
            }),
            _ => Err(Box::new(
                Diagnostic::bare(Code::RegisterHead, "what was given as head is none").help(format!(
                    "Type it as the letter has it, such as 12:3f0a9-c2b11-de001-aa210; at least {FEWEST_DIGITS} digits."
                )),
            )),
        }
    }
}

struct Checking<'a> {
    shown: String,
    connection: &'a Connection,
    result: RegisterCheck,
    /// The digests of bodies that entries name, and by which.
    bodies: BTreeMap<String, i64>,
    /// The entries whose bodies were removed.
    removed: BTreeSet<i64>,
    people: BTreeMap<String, Person>,
    head: Option<NotedHead>,
}

impl Checking<'_> {
    fn wrong(&mut self, code: Code, what: String) {
        self.result
            .found
            .push(Diagnostic::bare(code, format!("`{}`: {what}", self.shown)));
    }

    fn everything(&mut self, again: ScreenAgain<'_>) -> rusqlite::Result<()> {
        self.pages()?;
        self.chain()?;
        self.noted_head();
        self.loose_bodies()?;
        self.referrals(again)?;
        self.shown_people()
    }

    /// The file itself, as SQLite sees it.
    fn pages(&mut self) -> rusqlite::Result<()> {
        let said: Vec<String> = self
            .connection
            .prepare("pragma integrity_check(10)")?
            .query_map([], |row| row.get(0))?
            .collect::<rusqlite::Result<_>>()?;
        for it in said.into_iter().filter(|it| it != "ok") {
            self.wrong(Code::RegisterDamaged, it.replace('\n', " "));
        }
        Ok(())
    }

    fn chain(&mut self) -> rusqlite::Result<()> {
        let connection = self.connection;
        let mut rows = connection.prepare(&format!("{ENTRIES} order by entry.seq"))?;
        let mut rows = rows.query([])?;
        let mut before: Option<RegisterEntry> = None;
        while let Some(row) = rows.next()? {
            self.result.n_entries += 1;
            match self.entry(row, before.as_ref()) {
                Ok(entry) => before = Some(entry),
                Err(error) => {
                    let seq: i64 = row.get(0)?;
                    self.wrong(
                        Code::RegisterEntryChanged,
                        format!("entry {seq} is none: {error}"),
                    );
                }
            }
        }
        self.result.head = before.map(|it| it.head());
        Ok(())
    }

    /// One entry, against the one before.
    fn entry(
        &mut self,
        row: &Row<'_>,
        before: Option<&RegisterEntry>,
    ) -> Result<RegisterEntry, Box<dyn std::error::Error>> {
        let at: String = row.get(1)?;
        let text: Option<String> = row.get(9)?;
        let mut entry = bare_entry(row, DateTime::parse_from_rfc3339(&at)?)?;
        let seq = entry.seq;
        let follows = before.map_or(1, |it| it.seq.saturating_add(1));
        if seq != follows {
            self.wrong(
                Code::RegisterEntryChanged,
                format!("entry {seq} stands where entry {follows} should"),
            );
        }
        if entry.previous != before.map_or(NOTHING_BEFORE, |it| it.digest.as_str()) {
            self.wrong(
                Code::RegisterEntryChanged,
                format!("entry {seq} does not follow from the one before it"),
            );
        }
        if entry.digest != entry.computed() || at != written(&entry.at) {
            self.wrong(
                Code::RegisterEntryChanged,
                format!("entry {seq} was changed: its digest is another"),
            );
        }
        if before.is_some_and(|it| it.at > entry.at) {
            self.wrong(
                Code::RegisterClock,
                format!("the clock was put back before entry {seq}"),
            );
        }
        if let Some(noted) = &mut self.head
            && noted.seq.is_none_or(|it| it == seq)
            && entry.digest.starts_with(&noted.digits)
        {
            noted.is_met = true;
        }
        self.bodies.insert(entry.body.clone(), seq);
        if let Some(text) = text {
            self.body(&mut entry, &text);
        }
        Ok(entry)
    }

    fn body(&mut self, entry: &mut RegisterEntry, text: &str) {
        let seq = entry.seq;
        if sha256(text.as_bytes()) != entry.body {
            self.wrong(
                Code::RegisterBody,
                format!("the body of entry {seq} was changed: its digest is another"),
            );
            return;
        }
        match read_body(text) {
            Ok(happening) if happening.kind() == entry.kind => {
                match &happening {
                    Happening::BodyRemoved { entries, .. } => self.removed.extend(entries),
                    Happening::PersonSet {
                        initials,
                        role,
                        hash,
                        is_on,
                    } => {
                        let person = Person {
                            initials: initials.clone(),
                            role: *role,
                            is_on: *is_on,
                            hash: hash.clone(),
                        };
                        self.people.insert(initials.clone(), person);
                    }
                    _ => {}
                }
                entry.happening = Some(happening);
            }
            Ok(other) => {
                let what = format!("the body of entry {seq} is of the kind `{}`", other.kind());
                self.wrong(Code::RegisterBody, what);
            }
            Err(error) => self.wrong(
                Code::RegisterBody,
                format!("the body of entry {seq} is none: {error}"),
            ),
        }
    }

    fn noted_head(&mut self) {
        let Some(noted) = self.head.take().filter(|it| !it.is_met) else {
            return;
        };
        let last = self.result.head.as_ref().map_or(0, |it| it.seq);
        let what = match noted.seq {
            Some(seq) if seq > last => {
                format!(
                    "entry {seq} was there once; now it ends with entry {last}: its end was cut off"
                )
            }
            Some(seq) => {
                format!("entry {seq} is not the one whose digest was noted: it was written anew")
            }
            None => {
                "no entry has the digest that was noted: it was cut off, or written anew".into()
            }
        };
        self.wrong(Code::RegisterHead, what);
    }

    /// Bodies without an entry, and entries without a body that no entry says was removed.
    fn loose_bodies(&mut self) -> rusqlite::Result<()> {
        let kept: BTreeSet<String> = self
            .connection
            .prepare("select digest from body")?
            .query_map([], |row| row.get(0))?
            .collect::<rusqlite::Result<_>>()?;
        let bodies = std::mem::take(&mut self.bodies);
        for (digest, seq) in &bodies {
            match (kept.contains(digest), self.removed.contains(seq)) {
                (true, false) => {}
                (false, true) => self.result.n_removed += 1,
                (false, false) => self.wrong(
                    Code::RegisterBody,
                    format!("the body of entry {seq} is gone, and no entry says that it was removed"),
                ),
                (true, true) => self.wrong(
                    Code::RegisterBody,
                    format!("the body of entry {seq} is there, although an entry says that it was removed"),
                ),
            }
        }
        for digest in kept.iter().filter(|it| !bodies.contains_key(*it)) {
            self.wrong(
                Code::RegisterBody,
                format!("a body belongs to no entry: {digest}"),
            );
        }
        Ok(())
    }

    /// The pile against the entries, and every decided screening anew.
    fn referrals(&mut self, again: ScreenAgain<'_>) -> rusqlite::Result<()> {
        let mut kept: BTreeMap<String, PileRow> =
            pile::rows(self.connection, &PileFilter::default(), 0, usize::MAX)?
                .into_iter()
                .map(|it| (it.reference.clone(), it))
                .collect();
        for reference in references(self.connection)? {
            let Ok(entries) = entries_of(self.connection, &reference) else {
                // Told of the entry or the body already.
                continue;
            };
            let row = ReferralState::of(&entries).map(|it| it.row);
            if row != kept.remove(&reference) {
                self.wrong(
                    Code::RegisterTables,
                    format!("what pages show of `{reference}` does not follow from its entries"),
                );
            }
            self.decided(&entries, again);
        }
        if !kept.is_empty() {
            self.wrong(
                Code::RegisterTables,
                "pages show a referral that has no entry".into(),
            );
        }
        Ok(())
    }

    fn decided(&mut self, entries: &[RegisterEntry], again: ScreenAgain<'_>) {
        for entry in entries {
            let Some(Happening::Decided(decided)) = &entry.happening else {
                continue;
            };
            let before = entries.iter().take_while(|it| it.seq <= decided.screening);
            let (mut text, mut screened) = (None, None);
            for it in before {
                match &it.happening {
                    Some(Happening::Answered { questionnaire, .. }) => text = Some(questionnaire),
                    Some(Happening::Screened(of)) if it.seq == decided.screening => {
                        screened = Some(of)
                    }
                    _ => {}
                }
            }
            let text = text.filter(|text| {
                screened.is_some_and(|it| it.questionnaire == sha256(text.as_bytes()))
            });
            let (Some(text), Some(screened)) = (text, screened) else {
                let what = format!(
                    "what entry {} decided is no screening of these answers",
                    entry.seq
                );
                self.wrong(Code::RegisterScreening, what);
                continue;
            };
            match again(screened, text) {
                None => self.result.n_not_at_hand += 1,
                Some(it) if is_same(screened, &it) => self.result.n_screened_again += 1,
                Some(it) => {
                    let what = format!(
                        "entry {} was {}; screened again it is {}, or for other reasons",
                        decided.screening,
                        screened.verdict().words(),
                        it.verdict().words()
                    );
                    self.wrong(Code::RegisterScreening, what);
                }
            }
        }
    }

    fn shown_people(&mut self) -> rusqlite::Result<()> {
        let shown = people(self.connection)?;
        if !shown.iter().eq(self.people.values()) {
            self.wrong(
                Code::RegisterTables,
                "the people who may sign in do not follow from the entries".into(),
            );
        }
        Ok(())
    }
}

/// Whether a screening is the same again: its verdict, its rules, and what it says of them if the same version of the program says it.
fn is_same(was: &Screened, is: &Screened) -> bool {
    let says = |it: &Screened, key: &str| it.screening.get(key).cloned().map(without_paths);
    let is_said =
        was.program != is.program || COMPARED.iter().all(|key| says(was, key) == says(is, key));
    was.comes_to_the_same_as(is) && is_said
}

/// Where a file lay does not count.
fn without_paths(value: Value) -> Value {
    match value {
        Value::Object(keys) => keys
            .into_iter()
            .filter(|(key, _)| key != "path")
            .map(|(key, value)| (key, without_paths(value)))
            .collect(),
        Value::Array(items) => items.into_iter().map(without_paths).collect(),
        other => other,
    }
}
