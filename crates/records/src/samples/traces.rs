//! Which stretch of a socket's samples belongs to which job; when a meter was not heard; and what may be let go.

use super::{Chunk, SocketId, chunks_between, fold, insert_chunk, is_there};
use crate::error::RecordsError;
use crate::handed_over;
use crate::jobs::JobId;
use crate::open::Records;
use jiff::Timestamp;
use rusqlite::{Row, params};
use serde::{Deserialize, Serialize};

/// Longest reason of a gap that is kept, characters.
const LONGEST_WHY: usize = 500;

/// Number of a trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct TraceId(pub(crate) i64);

impl TraceId {
    /// Its number, for addresses and forms.
    pub fn number(self) -> i64 {
        self.0
    }
}

/// A stretch of a socket's samples that belongs to a job.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Trace {
    /// Its number.
    pub id: TraceId,
    /// The job.
    pub job: JobId,
    /// The socket.
    pub socket: SocketId,
    /// From when on.
    pub from: Timestamp,
    /// Before when; none while it goes on.
    pub to: Option<Timestamp>,
}

/// A time from which a meter was not heard, until its next sample.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gap {
    /// From when on.
    pub from: Timestamp,
    /// Why, in words.
    pub why: String,
}

impl Records {
    /// Notes that a socket's meter is not heard from `from` on, and why. Its next sample ends the gap.
    ///
    /// # Errors
    /// Where there is no such socket, or the disk refuses.
    pub fn keep_gap(&self, socket: SocketId, from: Timestamp, why: &str) -> Result<(), RecordsError> {
        let why: String = why.trim().chars().take(LONGEST_WHY).collect();
        let connection = self.connection();
        is_there(&connection, socket)?;
        connection.execute(
            "INSERT INTO gap (socket, since, why) VALUES (?1, ?2, ?3)",
            params![socket.0, from.as_microsecond(), why],
        )?;
        Ok(())
    }

    /// The gaps of a socket that began from `from` on and before `to`, in order of time.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn gaps(&self, socket: SocketId, from: Timestamp, to: Timestamp) -> Result<Vec<Gap>, RecordsError> {
        let connection = self.connection();
        let mut statement = connection.prepare(
            "SELECT since, why FROM gap WHERE socket = ?1 AND since >= ?2 AND since < ?3 ORDER BY since, rowid",
        )?;
        let all = statement
            .query_map(params![socket.0, from.as_microsecond(), to.as_microsecond()], |row| {
                Ok(Gap { from: time(row, 0)?, why: row.get(1)? })
            })?;
        Ok(all.collect::<Result<_, _>>()?)
    }

    /// Attaches a stretch of a socket's samples to a job, whether they came already or are still to come; without `to` it
    /// goes on until [`Records::end_trace`].
    ///
    /// # Errors
    /// Where there is no such job or socket, it ends before it begins, or the disk refuses.
    pub fn attach_trace(
        &self,
        job: JobId,
        socket: SocketId,
        from: Timestamp,
        to: Option<Timestamp>,
    ) -> Result<TraceId, RecordsError> {
        ends_after(from, to)?;
        let connection = self.connection();
        is_there(&connection, socket)?;
        handed_over::is_open(&connection, job)?;
        connection.execute(
            "INSERT INTO trace (job, socket, since, until) VALUES (?1, ?2, ?3, ?4)",
            params![job, socket.0, from.as_microsecond(), to.map(Timestamp::as_microsecond)],
        )?;
        Ok(TraceId(connection.last_insert_rowid()))
    }

    /// Says where a trace ends; one that ended already ends there instead.
    ///
    /// # Errors
    /// Where there is no such trace, it would end before it begins, or the disk refuses.
    pub fn end_trace(&self, trace: TraceId, to: Timestamp) -> Result<(), RecordsError> {
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        let mut all = traces(&transaction, "WHERE id = ?1", trace.0)?;
        let found = all.pop().ok_or_else(|| no_trace(trace))?;
        ends_after(found.from, Some(to))?;
        transaction
            .execute("UPDATE trace SET until = ?2 WHERE id = ?1", params![trace.0, to.as_microsecond()])?;
        transaction.commit()?;
        Ok(())
    }

    /// A trace that ended goes on again, until [`Records::end_trace`].
    ///
    /// # Errors
    /// Where there is no such trace, or the disk refuses.
    pub fn reopen_trace(&self, trace: TraceId) -> Result<(), RecordsError> {
        if self.connection().execute("UPDATE trace SET until = NULL WHERE id = ?1", [trace.0])? == 0 {
            return Err(no_trace(trace));
        }
        Ok(())
    }

    /// Takes a trace from its job, where it was attached by mistake. The samples stay with their socket.
    ///
    /// # Errors
    /// Where there is no such trace, or the disk refuses.
    pub fn detach_trace(&self, trace: TraceId) -> Result<(), RecordsError> {
        if self.connection().execute("DELETE FROM trace WHERE id = ?1", [trace.0])? == 0 {
            return Err(no_trace(trace));
        }
        Ok(())
    }

    /// The traces of a job, in order of time. Their samples: [`Records::samples`].
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn traces_of(&self, job: JobId) -> Result<Vec<Trace>, RecordsError> {
        traces(&self.connection(), "WHERE job = ?1", job)
    }

    /// The traces of a socket that go on, each with the job that the socket is in use for, in order of time.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn open_traces(&self, socket: SocketId) -> Result<Vec<Trace>, RecordsError> {
        traces(&self.connection(), "WHERE socket = ?1 AND until IS NULL", socket.0)
    }

    /// Lets go of the samples and gaps before `before` that are attached to no job, for good. Gives the number of samples.
    ///
    /// # Errors
    /// Where samples that must be told apart are damaged, or the disk refuses; then nothing is gone.
    pub fn drop_unattached(&self, before: Timestamp) -> Result<usize, RecordsError> {
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        fold(&transaction)?;
        let sockets: Vec<i64> = transaction
            .prepare("SELECT id FROM socket")?
            .query_map([], |row| row.get(0))?
            .collect::<Result<_, _>>()?;
        let mut dropped = 0;
        for socket in sockets {
            let attached = traces(&transaction, "WHERE socket = ?1", socket)?;
            let stays = |at: Timestamp| {
                at >= before || attached.iter().any(|t| t.from <= at && t.to.is_none_or(|to| at < to))
            };
            for chunk in chunks_between(&transaction, socket, i64::MIN, before.as_microsecond())? {
                dropped += thin(&transaction, &chunk, stays)?;
            }
            let gaps: Vec<(i64, Timestamp)> = transaction
                .prepare("SELECT rowid, since FROM gap WHERE socket = ?1")?
                .query_map([socket], |row| Ok((row.get(0)?, time(row, 1)?)))?
                .collect::<Result<_, _>>()?;
            for (id, _) in gaps.into_iter().filter(|g| !stays(g.1)) {
                transaction.execute("DELETE FROM gap WHERE rowid = ?1", [id])?;
            }
        }
        transaction.commit()?;
        Ok(dropped)
    }
}

/// Leaves of a chunk what stays; gives the number of samples that went.
fn thin(
    transaction: &rusqlite::Transaction<'_>,
    chunk: &Chunk,
    stays: impl Fn(Timestamp) -> bool,
) -> Result<usize, RecordsError> {
    let samples = chunk.samples()?;
    let kept: Vec<_> = samples.iter().filter(|s| stays(s.at)).copied().collect();
    let gone = samples.len() - kept.len();
    if gone > 0 {
        transaction.execute("DELETE FROM chunk WHERE id = ?1", [chunk.id])?;
        insert_chunk(transaction, chunk.socket, &kept)?;
    }
    Ok(gone)
}

fn traces(connection: &rusqlite::Connection, which: &str, number: i64) -> Result<Vec<Trace>, RecordsError> {
    let sql = format!("SELECT id, job, socket, since, until FROM trace {which} ORDER BY since, id");
    let mut statement = connection.prepare(&sql)?;
    let all = statement.query_map([number], |row| {
        let to = row.get::<_, Option<i64>>(4)?.map(|_| time(row, 4)).transpose()?;
        Ok(Trace {
            id: TraceId(row.get(0)?),
            job: row.get(1)?,
            socket: SocketId(row.get(2)?),
            from: time(row, 3)?,
            to,
        })
    })?;
    Ok(all.collect::<Result<_, _>>()?)
}

/// A time of a row.
fn time(row: &Row<'_>, column: usize) -> rusqlite::Result<Timestamp> {
    Timestamp::from_microsecond(row.get(column)?).map_err(|e| {
        rusqlite::Error::FromSqlConversionFailure(column, rusqlite::types::Type::Integer, Box::new(e))
    })
}

fn ends_after(from: Timestamp, to: Option<Timestamp>) -> Result<(), RecordsError> {
    if to.is_some_and(|to| to < from) {
        return Err(RecordsError::new(
            "the trace would end before it begins",
            "give its end after its begin",
        ));
    }
    Ok(())
}

fn no_trace(trace: TraceId) -> RecordsError {
    RecordsError::new(format!("there is no trace {}", trace.0), "reload the page")
}
