//! The pile as its table holds it: worked out from the entries, and read by the page, so that a page costs the rows it shows.

use chrono::NaiveDate;
use rusqlite::{Connection, OptionalExtension, Row, params};

use crate::outcome::{Outcome, Standing, Urgency};
use crate::register::entry::written;
use crate::register::state::{PileGroup, PileRow, ReferralState, WhoseTurn};
use crate::register::{entries_of, time};
use crate::rule_set::catalogue::Who;

/// Which referrals of the pile are meant: those for which all of this is so.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PileFilter {
    /// Of this group; `None` for any.
    pub group: Option<PileGroup>,
    /// At this turn; `None` for anybody's.
    pub turn: Option<WhoseTurn>,
    /// With something to ask them; `None` whether there is anything to ask or not.
    pub ask: Option<Who>,
    /// With this in their reference, in capitals or not; empty for any.
    pub reference: String,
}

/// The columns of a row, in the order of [`row`].
const COLUMNS: &str =
    "reference, place, day, outcome, urgency, first_reason, turn, since, ask, asked";

/// What a filter comes to in SQL. Its columns are those of the index `pile_in_order`, so that what is not shown is not read.
const FILTER: &str = "place between ?1 and ?2 and (?3 is null or turn = ?3) \
                      and (?4 is null or instr(' ' || ask || ' ', ' ' || ?4 || ' ') > 0) \
                      and instr(lower(reference), lower(?5)) > 0";

impl PileFilter {
    /// The values of [`FILTER`].
    fn values(&self) -> (i64, i64, Option<i64>, Option<&str>, &str) {
        let group = self.group.and_then(|it| rank(&PileGroup::ALL, it));
        (
            group.unwrap_or(i64::MIN),
            group.unwrap_or(i64::MAX),
            self.turn.and_then(|it| rank(&WhoseTurn::ALL, it)),
            self.ask.map(Who::word),
            &self.reference,
        )
    }
}

/// How many referrals a filter lets through, by group.
pub(super) fn counts(
    connection: &Connection,
    filter: &PileFilter,
) -> rusqlite::Result<Vec<(PileGroup, usize)>> {
    let sql =
        format!("select place, count(*) from pile where {FILTER} group by place order by place");
    connection
        .prepare_cached(&sql)?
        .query_map(filter.values(), |row| {
            let n: isize = row.get(1)?;
            Ok((ranked(&PileGroup::ALL, 0, row.get(0)?)?, n.unsigned_abs()))
        })?
        .collect()
}

/// The referrals that a filter lets through, from one place to another.
pub(super) fn rows(
    connection: &Connection,
    filter: &PileFilter,
    after: usize,
    most: usize,
) -> rusqlite::Result<Vec<PileRow>> {
    let sql = format!(
        "select {COLUMNS} from pile where {FILTER} order by place, since, reference limit ?6 offset ?7"
    );
    let (lowest, highest, turn, ask, reference) = filter.values();
    let [most, after] = [most, after].map(|it| i64::try_from(it).unwrap_or(i64::MAX));
    connection
        .prepare_cached(&sql)?
        .query_map(
            params![lowest, highest, turn, ask, reference, most, after],
            row,
        )?
        .collect()
}

/// The referrals of a day that are not closed. A planned day may have a time of day behind it.
pub(super) fn of_day(connection: &Connection, day: NaiveDate) -> rusqlite::Result<Vec<PileRow>> {
    let sql = format!(
        "select {COLUMNS} from pile where substr(day, 1, 10) = ?1 and place <> ?2 order by place, since, reference"
    );
    let closed = rank(&PileGroup::ALL, PileGroup::Closed);
    connection
        .prepare_cached(&sql)?
        .query_map(params![day.to_string(), closed], row)?
        .collect()
}

/// The references before and after one.
pub(super) fn neighbours(
    connection: &Connection,
    reference: &str,
) -> rusqlite::Result<(Option<String>, Option<String>)> {
    let sql = "select place, since, reference from pile where reference = ?1";
    let here = connection
        .prepare_cached(sql)?
        .query_row([reference], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?))
        })
        .optional()?;
    let Some(here): Option<(i64, String, String)> = here else {
        return Ok((None, None));
    };
    // Compared with values and not with a query of them, which SQLite would look up by the group alone.
    let one = |than: &str, order: &str| {
        let sql = format!(
            "select reference from pile where (place, since, reference) {than} (?1, ?2, ?3) \
             order by place {order}, since {order}, reference {order} limit 1"
        );
        let mut query = connection.prepare_cached(&sql)?;
        query
            .query_row(params![here.0, here.1, here.2], |row| row.get(0))
            .optional()
    };
    Ok((one("<", "desc")?, one(">", "asc")?))
}

/// Puts a referral where it belongs in the pile.
pub(super) fn place(connection: &Connection, reference: &str) -> rusqlite::Result<()> {
    let Some(state) = ReferralState::of(&entries_of(connection, reference)?) else {
        return Ok(());
    };
    let row = &state.row;
    let ask: Vec<&str> = row.ask.iter().map(|it| it.word()).collect();
    let sql = format!(
        "insert or replace into pile({COLUMNS}) values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)"
    );
    connection.prepare_cached(&sql)?.execute(params![
        row.reference,
        rank(&PileGroup::ALL, row.group),
        row.day,
        row.verdict.map(|it| it.outcome.word()),
        row.verdict.and_then(|it| it.urgency).map(Urgency::word),
        row.first_reason,
        rank(&WhoseTurn::ALL, row.turn),
        written(&row.since),
        ask.join(" "),
        row.asked.as_ref().map(written),
    ])?;
    Ok(())
}

/// The place of one of an enum's variants among all.
fn rank<T: PartialEq>(all: &[T], one: T) -> Option<i64> {
    let mut ranked = (0..).zip(all);
    ranked.find(|(_, it)| **it == one).map(|(rank, _)| rank)
}

/// The variant of a rank.
fn ranked<T: Copy>(all: &[T], column: usize, rank: i64) -> rusqlite::Result<T> {
    let at = usize::try_from(rank).ok();
    word(column, at.and_then(|at| all.get(at).copied()))
}

fn row(row: &Row<'_>) -> rusqlite::Result<PileRow> {
    let outcome: Option<String> = row.get(3)?;
    let urgency: Option<String> = row.get(4)?;
    let outcome = outcome
        .as_deref()
        .map(|it| word(3, Outcome::from_word(it)))
        .transpose()?;
    let urgency = urgency
        .as_deref()
        .map(|it| word(4, Urgency::from_word(it)))
        .transpose()?;
    let ask: String = row.get(8)?;
    let asked: Option<String> = row.get(9)?;
    let (place, turn): (i64, i64) = (row.get(1)?, row.get(6)?);
    Ok(PileRow {
        reference: row.get(0)?,
        group: ranked(&PileGroup::ALL, 1, place)?,
        day: row.get(2)?,
        verdict: outcome.map(|outcome| Standing { outcome, urgency }),
        first_reason: row.get(5)?,
        turn: ranked(&WhoseTurn::ALL, 6, turn)?,
        since: time(row, 7)?,
        ask: ask
            .split_whitespace()
            .map(|it| word(8, Who::from_word(it)))
            .collect::<rusqlite::Result<_>>()?,
        asked: asked.map(|_| time(row, 9)).transpose()?,
    })
}

/// A word that its column may hold.
pub(super) fn word<T>(column: usize, read: Option<T>) -> rusqlite::Result<T> {
    read.ok_or(rusqlite::Error::IntegralValueOutOfRange(column, -1))
}
