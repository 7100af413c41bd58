//! A job that was handed over is closed: the record that its customer was given is kept as it was, the log's last entry of the
//! visit has its SHA-256, and nothing is said any more but corrections.

use crate::chain::hex;
use crate::entry::{Entry, NewEntry, Says};
use crate::error::RecordsError;
use crate::jobs::{JobId, Said, no_job};
use crate::open::Records;
use crate::users::UserId;
use rusqlite::{Connection, OptionalExtension, params};
use sha2::{Digest, Sha256};

/// Longest record, bytes: one with the picture of a long trace, and to spare.
const LONGEST_RECORD: usize = 4 << 20;

/// The record of a job that was handed over.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum HandedOver {
    /// As JSON, as it was handed over.
    Record(String),
    /// It was erased on this day.
    Erased(String),
}

/// A job is handed over.
#[derive(Clone, Copy, Debug)]
pub struct Closing<'a> {
    /// By whom.
    pub who: &'a str,
    /// The record, as JSON.
    pub record: &'a str,
    /// Number of the last entry that the record knows.
    pub after: u32,
    /// When.
    pub at: &'a jiff::ZonedDateTime,
    /// Names the entry for good.
    pub key: &'a str,
}

impl Records {
    /// Hands a job over: its record is kept, an entry with its SHA-256 is added, and the job is closed. Gives the number of the new
    /// entry; sent twice with the same key, it is done once.
    ///
    /// # Errors
    /// Where there is no such job, it was handed over already, something was said since, or the disk refuses.
    pub fn close(&self, job: JobId, closing: &Closing<'_>, by: Option<UserId>) -> Result<u32, RecordsError> {
        let Closing { who, record, after, at, key } = *closing;
        if record.len() > LONGEST_RECORD {
            return Err(RecordsError::new("the record is longer than any real one", "shorten its texts"));
        }
        let says = Says::HandedOver { handed_over: who.to_owned(), record: sum(record) };
        let entry = NewEntry { says, supersedes: None, at: at.clone(), key: key.to_owned() };
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        let number = match crate::jobs::add(&transaction, job, &entry, by, Some(after))? {
            Said::Before(number) => return Ok(number),
            Said::Now(number) => number,
        };
        transaction.execute("INSERT INTO handed_over (job, record) VALUES (?1, ?2)", params![job, record])?;
        transaction.execute("UPDATE job SET closed = ?2 WHERE id = ?1", params![job, at.to_string()])?;
        transaction.commit()?;
        Ok(number)
    }

    /// The record of a job as it was handed over; none where it was not.
    ///
    /// # Errors
    /// Where it is not as it was written, or the disk refuses.
    pub fn handed_over(&self, job: JobId) -> Result<Option<HandedOver>, RecordsError> {
        let connection = self.connection();
        let found = of(&connection, job)?;
        if let Some(HandedOver::Record(record)) = &found {
            let entries = crate::jobs::entries(&connection, job)?;
            is_of_log(record, &entries).map_err(|what| {
                RecordsError::new(format!("job {job}: {what}"), "go back to a backup where it is")
            })?;
        }
        Ok(found)
    }
}

fn of(connection: &Connection, job: JobId) -> Result<Option<HandedOver>, RecordsError> {
    let sql = "SELECT record, coalesce(erased, '') FROM handed_over WHERE job = ?1";
    let found = connection.query_row(sql, [job], |row| {
        Ok(match row.get::<_, Option<String>>(0)? {
            Some(record) => HandedOver::Record(record),
            None => HandedOver::Erased(row.get(1)?),
        })
    });
    Ok(found.optional()?)
}

fn sum(record: &str) -> String {
    hex(&Sha256::digest(record))
}

/// Is it the record that the log says was handed over?
fn is_of_log(record: &str, entries: &[Entry]) -> Result<(), String> {
    let said = entries.iter().find_map(|e| match &e.says {
        Says::HandedOver { record, .. } => Some(record.as_str()),
        _ => None,
    });
    if said == Some(sum(record).as_str()) {
        Ok(())
    } else {
        Err("the record that was handed over is not as it was written".to_owned())
    }
}

/// What is wrong with the closing of a job: its record, or whether it is closed as its log says.
pub(crate) fn wrong(
    connection: &Connection,
    job: JobId,
    entries: &[Entry],
) -> Result<Option<String>, RecordsError> {
    let kept = of(connection, job)?;
    let said = entries.iter().any(|e| matches!(e.says, Says::HandedOver { .. }));
    let sql = "SELECT closed IS NOT NULL FROM job WHERE id = ?1";
    let closed: bool =
        connection.query_row(sql, [job], |row| row.get(0)).optional()?.ok_or_else(|| no_job(job))?;
    if said != closed || said != kept.is_some() {
        return Ok(Some("its log and its state do not agree on whether it was handed over".to_owned()));
    }
    Ok(match kept {
        Some(HandedOver::Record(record)) => is_of_log(&record, entries).err(),
        _ => None,
    })
}

/// Takes the record away; its sum stays in the log.
pub(crate) fn erase(connection: &Connection, job: JobId, on: &str) -> Result<(), RecordsError> {
    let sql = "UPDATE handed_over SET record = NULL, erased = ?2 WHERE job = ?1 AND erased IS NULL";
    connection.execute(sql, params![job, on])?;
    Ok(())
}

/// Refuses what would change a job that was handed over.
pub(crate) fn is_open(connection: &Connection, job: JobId) -> Result<(), RecordsError> {
    let sql = "SELECT closed IS NOT NULL FROM job WHERE id = ?1";
    let closed: bool =
        connection.query_row(sql, [job], |row| row.get(0)).optional()?.ok_or_else(|| no_job(job))?;
    if closed { Err(closed_already()) } else { Ok(()) }
}

pub(crate) fn closed_already() -> RecordsError {
    RecordsError::new(
        "this job was handed over: nothing in it is changed any more",
        "write a correction, at the end of its page Hand over; or open a new job for this machine",
    )
}
