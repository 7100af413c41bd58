//! What the meters saw. Samples belong to a socket first, always and without anyone asking; a stretch of them belongs to a
//! job once it is attached ([`Records::attach_trace`]), before, during or after. So nothing is lost when someone forgot to
//! start.
//!
//! Each call of [`Records::keep_samples`] is one row of `fresh`, whatever the number of sockets: few pages for the disk to
//! write each time. After [`FRESH_ROWS`] calls the rows are folded into packed chunks of [`FULL`] samples of one socket.
//! A row of `fresh` that is damaged is passed over and left as it is, so that it stops nothing; [`Records::check`] names it.

mod form;
mod traces;

pub use traces::{Gap, Trace, TraceId};

use crate::check::Checked;
use crate::error::RecordsError;
use crate::open::Records;
use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, Transaction, params};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Calls after which what came is folded into chunks.
const FRESH_ROWS: i64 = 300;
/// Samples of a full chunk: a bit over two hours at one a second.
const FULL: usize = 8_192;
/// Most samples of one call, all sockets together.
const MOST_AT_ONCE: usize = 100_000;
/// Most samples that [`Records::samples`] gives at once: eleven days at one a second.
pub const MOST_SAMPLES: usize = 1_000_000;
/// Longest name of a socket, characters.
const LONGEST_NAME: usize = 100;

/// A socket with a meter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct SocketId(i64);

impl SocketId {
    /// The socket with this number; whether there is one shows when it is used.
    pub fn of(number: i64) -> SocketId {
        SocketId(number)
    }

    /// Its number, for addresses and forms.
    pub fn number(self) -> i64 {
        self.0
    }
}

/// A socket with its name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Socket {
    /// What others name it by.
    pub id: SocketId,
    /// As the technician calls it: `bench 1`.
    pub name: String,
}

/// What a meter showed at one moment. Values are kept to the last bit; a value that is not finite is kept as none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// When; kept to the microsecond.
    pub at: Timestamp,
    /// Active power, W.
    pub watts: Option<f64>,
    /// RMS volts, V.
    pub volts: Option<f64>,
    /// RMS current, A.
    pub amps: Option<f64>,
}

impl Sample {
    /// As it is kept.
    fn kept(&self) -> Sample {
        let finite = |value: Option<f64>| value.filter(|v| v.is_finite());
        Sample {
            // Cannot fail: the same time, cut to the microsecond.
            at: Timestamp::from_microsecond(self.at.as_microsecond()).unwrap_or(self.at),
            watts: finite(self.watts),
            volts: finite(self.volts),
            amps: finite(self.amps),
        }
    }
}

impl Records {
    /// The socket with this name, made where there is none.
    ///
    /// # Errors
    /// Where the name is empty or too long, or the disk refuses.
    pub fn socket(&self, name: &str) -> Result<SocketId, RecordsError> {
        let name = name.trim();
        if name.is_empty() || name.chars().count() > LONGEST_NAME {
            return Err(RecordsError::new(
                "a socket needs a name",
                format!("give one of 1 to {LONGEST_NAME} characters"),
            ));
        }
        let connection = self.connection();
        connection.execute("INSERT INTO socket (name) VALUES (?1) ON CONFLICT (name) DO NOTHING", [name])?;
        Ok(SocketId(connection.query_row("SELECT id FROM socket WHERE name = ?1", [name], |row| row.get(0))?))
    }

    /// All sockets, by name.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn sockets(&self) -> Result<Vec<Socket>, RecordsError> {
        sockets(&self.connection())
    }

    /// Keeps samples of all sockets in one transaction. On return all of them are on the disk; on refusal none is. Meant to
    /// be called once or twice a second with all that came since. Times may step back (a clock that was set): samples are given back in order of time.
    ///
    /// # Errors
    /// Where there is no such socket, too many samples come at once, or the disk refuses.
    pub fn keep_samples(&self, all: &[(SocketId, Vec<Sample>)]) -> Result<(), RecordsError> {
        let kept: Vec<(i64, Vec<Sample>)> = all
            .iter()
            .map(|(socket, samples)| (socket.0, samples.iter().map(Sample::kept).collect()))
            .collect();
        let count: usize = kept.iter().map(|k| k.1.len()).sum();
        if count == 0 {
            return Ok(());
        }
        if count > MOST_AT_ONCE {
            return Err(RecordsError::new(
                format!("{count} samples came at once"),
                format!("keep at most {MOST_AT_ONCE} in one call"),
            ));
        }
        let borrowed: Vec<(i64, &[Sample])> = kept.iter().map(|k| (k.0, k.1.as_slice())).collect();
        let bytes = form::as_they_came(&borrowed);
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        for (socket, _) in all {
            is_there(&transaction, *socket)?;
        }
        transaction.prepare_cached("INSERT INTO fresh (samples) VALUES (?1)")?.execute([bytes])?;
        let rows: i64 =
            transaction.prepare_cached("SELECT count(*) FROM fresh")?.query_row([], |row| row.get(0))?;
        if rows >= FRESH_ROWS {
            fold(&transaction)?;
        }
        transaction.commit()?;
        Ok(())
    }

    /// The samples of a socket from `from` on and before `to`, in order of time; at most [`MOST_SAMPLES`]. Damaged ones of the
    /// last minutes are not among them.
    ///
    /// # Errors
    /// Where there is no such socket or there are more samples in that time, a packed stretch of them is damaged, or the disk
    /// refuses.
    pub fn samples(
        &self,
        socket: SocketId,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<Sample>, RecordsError> {
        let (chunks, fresh) = {
            let connection = self.connection();
            is_there(&connection, socket)?;
            let (from, to) = (from.as_microsecond(), to.as_microsecond());
            let inside: i64 = connection.query_row(
                "SELECT coalesce(sum(count), 0) FROM chunk WHERE socket = ?1 AND first >= ?2 AND last < ?3",
                params![socket.0, from, to],
                |row| row.get(0),
            )?;
            if inside > MOST_SAMPLES as i64 {
                return Err(too_many(inside));
            }
            (chunks_between(&connection, socket.0, from, to)?, fresh(&connection)?)
        };
        // Unpacked with the connection free: whoever keeps samples does not wait for it.
        let mut all = Vec::new();
        for chunk in chunks {
            all.extend(chunk.samples()?.into_iter().filter(|s| from <= s.at && s.at < to));
        }
        all.extend(fresh.of(socket.0).into_iter().filter(|s| from <= s.at && s.at < to));
        if all.len() > MOST_SAMPLES {
            return Err(too_many(all.len() as i64));
        }
        // Stable: what came first at one time stays first.
        all.sort_by_key(|s| s.at);
        Ok(all)
    }

    /// The sample of a socket that came last, damaged ones of the last minutes left out; none where none ever came.
    ///
    /// # Errors
    /// Where there is no such socket, the packed stretch that it lies in is damaged, or the disk refuses.
    pub fn newest(&self, socket: SocketId) -> Result<Option<Sample>, RecordsError> {
        let connection = self.connection();
        is_there(&connection, socket)?;
        let mut statement = connection.prepare_cached("SELECT samples FROM fresh ORDER BY id DESC")?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let came = form::read_as_they_came(&row.get::<_, Vec<u8>>(0)?).unwrap_or_default();
            if let Some(last) = came.get(&socket.0).and_then(|s| s.last()) {
                return Ok(Some(*last));
            }
        }
        let last = connection
            .query_row(
                &format!("{CHUNK} WHERE socket = ?1 ORDER BY last DESC LIMIT 1"),
                [socket.0],
                Chunk::of_row,
            )
            .optional()?;
        Ok(last.map(|chunk| chunk.samples()).transpose()?.and_then(|s| s.last().copied()))
    }
}

fn sockets(connection: &Connection) -> Result<Vec<Socket>, RecordsError> {
    let mut statement = connection.prepare("SELECT id, name FROM socket ORDER BY name, id")?;
    let all = statement.query_map([], |row| Ok(Socket { id: SocketId(row.get(0)?), name: row.get(1)? }))?;
    Ok(all.collect::<Result<_, _>>()?)
}

/// Refuses where there is no such socket.
fn is_there(connection: &Connection, socket: SocketId) -> Result<(), RecordsError> {
    let there = connection.prepare_cached("SELECT 1 FROM socket WHERE id = ?1")?.exists([socket.0])?;
    if there { Ok(()) } else { Err(no_socket(socket)) }
}

fn no_socket(socket: SocketId) -> RecordsError {
    RecordsError::new(format!("there is no socket {}", socket.0), "choose one of the list of sockets")
}

fn too_many(count: i64) -> RecordsError {
    RecordsError::new(
        format!("{count} samples lie in this time"),
        format!("ask for a shorter time: at most {MOST_SAMPLES} are given at once"),
    )
}

/// A chunk as it lies in the file.
struct Chunk {
    id: i64,
    socket: i64,
    count: usize,
    crc: u32,
    packed: Vec<u8>,
}

const CHUNK: &str = "SELECT id, socket, count, crc, packed FROM chunk";
/// Those of a socket that reach into a time.
const BETWEEN: &str = "SELECT id, socket, count, crc, packed FROM chunk
    WHERE socket = ?1 AND first < ?3 AND last >= ?2 ORDER BY first, id";

impl Chunk {
    fn of_row(row: &rusqlite::Row<'_>) -> rusqlite::Result<Chunk> {
        Ok(Chunk {
            id: row.get(0)?,
            socket: row.get(1)?,
            count: row.get::<_, u32>(2)? as usize,
            crc: row.get(3)?,
            packed: row.get(4)?,
        })
    }

    fn samples(&self) -> Result<Vec<Sample>, RecordsError> {
        form::read_packed(&self.packed, self.count, self.crc).map_err(|why| {
            RecordsError::new(
                format!("samples of socket {} (chunk {}) are damaged: {why}", self.socket, self.id),
                "get them from a backup; all else can be read",
            )
        })
    }
}

fn chunks_between(
    connection: &Connection,
    socket: i64,
    from: i64,
    to: i64,
) -> Result<Vec<Chunk>, RecordsError> {
    let mut statement = connection.prepare(BETWEEN)?;
    let all = statement.query_map(params![socket, from, to], Chunk::of_row)?;
    Ok(all.collect::<Result<_, _>>()?)
}

/// What came since it was folded last.
#[derive(Default)]
struct Fresh {
    by_socket: BTreeMap<i64, Vec<Sample>>,
    /// The rows that it was read from.
    rows: Vec<i64>,
    /// The rows that cannot be read, and why.
    damaged: Vec<(i64, form::Damage)>,
}

impl Fresh {
    fn of(mut self, socket: i64) -> Vec<Sample> {
        self.by_socket.remove(&socket).unwrap_or_default()
    }
}

fn fresh(connection: &Connection) -> Result<Fresh, RecordsError> {
    let mut statement = connection.prepare_cached("SELECT id, samples FROM fresh ORDER BY id")?;
    let mut rows = statement.query([])?;
    let mut fresh = Fresh::default();
    while let Some(row) = rows.next()? {
        let id = row.get(0)?;
        match form::read_as_they_came(&row.get::<_, Vec<u8>>(1)?) {
            Ok(came) => {
                fresh.rows.push(id);
                for (socket, samples) in came {
                    fresh.by_socket.entry(socket).or_default().extend(samples);
                }
            }
            Err(why) => fresh.damaged.push((id, why)),
        }
    }
    Ok(fresh)
}

/// Folds what came into chunks. Rows that cannot be read stay: whoever knows more may still get something out of them.
fn fold(transaction: &Transaction<'_>) -> Result<(), RecordsError> {
    let fresh = fresh(transaction)?;
    for (socket, came) in fresh.by_socket {
        add(transaction, socket, came)?;
    }
    let mut delete = transaction.prepare_cached("DELETE FROM fresh WHERE id = ?1")?;
    for id in fresh.rows {
        delete.execute([id])?;
    }
    Ok(())
}

/// Adds samples to a socket's chunks: its newest, where that is not full, takes them first.
pub(crate) fn add(transaction: &Transaction<'_>, socket: i64, came: Vec<Sample>) -> Result<(), RecordsError> {
    let newest = transaction
        .prepare_cached(&format!("{CHUNK} WHERE socket = ?1 ORDER BY first DESC, id DESC LIMIT 1"))?
        .query_row([socket], Chunk::of_row)
        .optional()?
        .filter(|chunk| chunk.count < FULL);
    let mut all = Vec::new();
    // A damaged chunk is left as it is: it spoils itself and not what comes after it.
    if let Some((chunk, Ok(samples))) = newest.map(|chunk| {
        let samples = chunk.samples();
        (chunk, samples)
    }) {
        transaction.execute("DELETE FROM chunk WHERE id = ?1", [chunk.id])?;
        all = samples;
    }
    all.extend(came);
    all.sort_by_key(|s| s.at);
    for samples in all.chunks(FULL) {
        insert_chunk(transaction, socket, samples)?;
    }
    Ok(())
}

/// `samples`: not empty, in order of time.
fn insert_chunk(transaction: &Transaction<'_>, socket: i64, samples: &[Sample]) -> Result<(), RecordsError> {
    let (Some(first), Some(last)) = (samples.first(), samples.last()) else { return Ok(()) };
    let packed = form::packed(samples)
        .map_err(|why| RecordsError::new(format!("samples cannot be kept: {why}"), "report this as a bug"))?;
    transaction
        .prepare_cached(
            "INSERT INTO chunk (socket, first, last, count, crc, packed) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )?
        .execute(params![
            socket,
            first.at.as_microsecond(),
            last.at.as_microsecond(),
            samples.len() as i64,
            crc32fast::hash(&packed),
            packed
        ])?;
    Ok(())
}

/// Unpacks everything.
pub(crate) fn check(connection: &Connection, checked: &mut Checked) -> Result<(), RecordsError> {
    let mut statement = connection.prepare(&format!("{CHUNK} ORDER BY id"))?;
    for chunk in statement.query_map([], Chunk::of_row)? {
        match chunk?.samples() {
            Ok(samples) => checked.samples += samples.len(),
            Err(e) => checked.wrong.push(e.to_string()),
        }
    }
    let came = fresh(connection)?;
    checked.samples += came.by_socket.values().map(Vec::len).sum::<usize>();
    for (id, why) in came.damaged {
        checked.wrong.push(format!("samples of the last minutes (row {id}) are damaged: {why}"));
    }
    Ok(())
}

/// Gives the samples of a socket from `from` on and before `to`, however many, thousands at a time, each time in order.
pub(crate) fn each(
    connection: &Connection,
    socket: i64,
    from: Timestamp,
    to: Timestamp,
    mut take: impl FnMut(&[Sample]) -> Result<(), RecordsError>,
) -> Result<(), RecordsError> {
    let mut give = |mut some: Vec<Sample>| {
        some.retain(|s| from <= s.at && s.at < to);
        if some.is_empty() { Ok(()) } else { take(&some) }
    };
    let mut statement = connection.prepare(BETWEEN)?;
    let range = params![socket, from.as_microsecond(), to.as_microsecond()];
    for chunk in statement.query_map(range, Chunk::of_row)? {
        give(chunk?.samples()?)?;
    }
    let mut came = fresh(connection)?.of(socket);
    came.sort_by_key(|s| s.at);
    give(came)
}
