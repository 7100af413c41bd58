//! Jobs with their customer and machine, and the log's one door: [`Records::append`].

use crate::chain::{self, Link};
use crate::entry::{Entry, NewEntry, Says};
use crate::error::RecordsError;
use crate::handed_over;
use crate::log::Log;
use crate::open::Records;
use crate::stock;
use crate::users::UserId;
use rusqlite::{Connection, OptionalExtension, Row, params};

/// Number of a job.
pub type JobId = i64;

/// Longest that one entry may be, bytes.
const LONGEST_ENTRY: usize = 10_000;
/// Most entries of one job.
const MOST_ENTRIES: u32 = 5_000;

/// A customer.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Customer {
    /// Name.
    pub name: String,
    /// Telephone.
    pub phone: String,
    /// Address.
    pub address: String,
}

/// The machine of a job, with the text of its machine file as it was when it was matched.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct JobMachine {
    /// Maker, from the rating plate.
    pub maker: String,
    /// Model.
    pub model: String,
    /// Variant of the machine file; empty for its first.
    pub variant: String,
    /// Serial number.
    pub serial: String,
    /// Name of the machine file; empty where there is none yet.
    pub file_name: String,
    /// Its text.
    pub file_text: String,
}

/// A job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Job {
    /// Its number.
    pub id: JobId,
    /// When it was opened, with zone (RFC 9557).
    pub opened: String,
    /// When it was handed over; none while it is open.
    pub closed: Option<String>,
    /// The customer, once known.
    pub customer: Option<Customer>,
    /// The machine, once known.
    pub machine: Option<JobMachine>,
    /// Its log.
    pub log: Log,
}

/// A job in a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JobLine {
    /// Its number.
    pub id: JobId,
    /// When it was opened.
    pub opened: String,
    /// When it was handed over; none while it is open.
    pub closed: Option<String>,
    /// The customer's name and address; empty where not known.
    pub customer: String,
    /// Maker and model; empty where not known.
    pub machine: String,
    /// Has it a machine file?
    pub has_file: bool,
    /// What the customer says.
    pub words: String,
    /// Entries in its log that answer something or read something.
    pub readings: u32,
    /// What was worked out of the log as it stands, if it was.
    pub derived: Option<String>,
}

impl Records {
    /// Opens a job; customer and machine may follow later.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn new_job(
        &self,
        opened: &jiff::ZonedDateTime,
        customer: Option<&Customer>,
        machine: Option<&JobMachine>,
    ) -> Result<JobId, RecordsError> {
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        let customer = customer.map(|c| insert_customer(&transaction, c)).transpose()?;
        let machine = machine.map(|m| insert_machine(&transaction, m)).transpose()?;
        transaction.execute(
            "INSERT INTO job (opened, customer, machine) VALUES (?1, ?2, ?3)",
            params![opened.to_string(), customer, machine],
        )?;
        let id = transaction.last_insert_rowid();
        transaction.commit()?;
        Ok(id)
    }

    /// Says whose job it is.
    ///
    /// # Errors
    /// Where there is no such job, or the disk refuses.
    pub fn set_customer(&self, job: JobId, customer: &Customer) -> Result<(), RecordsError> {
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        handed_over::is_open(&transaction, job)?;
        let known: Option<i64> = transaction
            .query_row("SELECT customer FROM job WHERE id = ?1", [job], |row| row.get(0))
            .optional()?
            .ok_or_else(|| no_job(job))?;
        if let Some(id) = known {
            transaction.execute(
                "UPDATE customer SET name = ?2, phone = ?3, address = ?4 WHERE id = ?1",
                params![id, customer.name, customer.phone, customer.address],
            )?;
        } else {
            let id = insert_customer(&transaction, customer)?;
            transaction.execute("UPDATE job SET customer = ?2 WHERE id = ?1", params![job, id])?;
        }
        transaction.commit()?;
        Ok(())
    }

    /// Says which machine it is. The one before stays on file.
    ///
    /// # Errors
    /// Where there is no such job, or the disk refuses.
    pub fn set_machine(&self, job: JobId, machine: &JobMachine) -> Result<(), RecordsError> {
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        handed_over::is_open(&transaction, job)?;
        let id = insert_machine(&transaction, machine)?;
        if transaction.execute("UPDATE job SET machine = ?2 WHERE id = ?1", params![job, id])? == 0 {
            return Err(no_job(job));
        }
        transaction.execute("DELETE FROM derived WHERE job = ?1", [job])?;
        transaction.commit()?;
        Ok(())
    }

    /// Adds an entry to a job's log and gives its number. On return it is on the disk. Sent twice with the same key, it is
    /// kept once, and its number is given again.
    ///
    /// # Errors
    /// Where there is no such job, the entry that it supersedes is not there or was superseded, or the disk refuses.
    pub fn append(&self, job: JobId, entry: &NewEntry) -> Result<u32, RecordsError> {
        self.append_by(job, entry, None)
    }

    /// As [`Records::append`], with who says it.
    ///
    /// # Errors
    /// As [`Records::append`], and where there is no such user.
    pub fn append_by(&self, job: JobId, entry: &NewEntry, by: Option<UserId>) -> Result<u32, RecordsError> {
        if matches!(entry.says, Says::HandedOver { .. }) {
            return Err(RecordsError::new(
                "a job is handed over with its record, and not by an entry alone",
                "hand it over on its page Hand over, or by `POST /api/jobs/N/hand-over`",
            ));
        }
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        let number = match add(&transaction, job, entry, by, None)? {
            Said::Before(number) => return Ok(number),
            Said::Now(number) => number,
        };
        transaction.commit()?;
        Ok(number)
    }

    /// A job with everything in it; none where there is no such job.
    ///
    /// # Errors
    /// Where the disk refuses, or an entry cannot be read.
    pub fn job(&self, id: JobId) -> Result<Option<Job>, RecordsError> {
        let connection = self.connection();
        let found = connection
            .query_row("SELECT opened, closed, customer, machine FROM job WHERE id = ?1", [id], |row| {
                let times = (row.get::<_, String>(0)?, row.get::<_, Option<String>>(1)?);
                Ok((times, row.get::<_, Option<i64>>(2)?, row.get::<_, Option<i64>>(3)?))
            })
            .optional()?;
        let Some(((opened, closed), customer, machine)) = found else { return Ok(None) };
        let customer = customer.map(|id| self::customer(&connection, id)).transpose()?;
        let machine = machine
            .map(|m| {
                let sql =
                    "SELECT maker, model, variant, serial, file_name, file_text FROM machine WHERE id = ?1";
                connection.query_row(sql, [m], |row| {
                    Ok(JobMachine {
                        maker: row.get(0)?,
                        model: row.get(1)?,
                        variant: row.get(2)?,
                        serial: row.get(3)?,
                        file_name: row.get(4)?,
                        file_text: row.get(5)?,
                    })
                })
            })
            .transpose()?;
        let log = Log::of(entries(&connection, id)?);
        Ok(Some(Job { id, opened, closed, customer, machine, log }))
    }

    /// Open jobs, newest first; with words to look for, those in which all of them stand.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn jobs(&self, search: &str) -> Result<Vec<JobLine>, RecordsError> {
        self.lines(false, search)
    }

    /// Jobs that were handed over, newest first; else as [`Records::jobs`].
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn jobs_handed_over(&self, search: &str) -> Result<Vec<JobLine>, RecordsError> {
        self.lines(true, search)
    }

    fn lines(&self, closed: bool, search: &str) -> Result<Vec<JobLine>, RecordsError> {
        let connection = self.connection();
        let mut statement = connection.prepare(include_str!("job_lines.sql"))?;
        let lines = statement.query_map([closed], line)?.collect::<Result<Vec<_>, _>>()?;
        let wanted: Vec<String> = search.split_whitespace().map(str::to_lowercase).collect();
        let has = |job: &JobLine| {
            let all = format!("{} {} {} {}", job.id, job.customer, job.machine, job.words).to_lowercase();
            wanted.iter().all(|word| all.contains(word))
        };
        Ok(lines.into_iter().filter(has).collect())
    }

    /// Keeps one line of what was worked out of the log up to `number`, for lists. It can be worked out again any time.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn keep_derived(&self, job: JobId, number: u32, says: &str) -> Result<(), RecordsError> {
        self.connection().execute(
            "INSERT INTO derived (job, number, says) VALUES (?1, ?2, ?3)
             ON CONFLICT (job) DO UPDATE SET number = excluded.number, says = excluded.says",
            params![job, number, says],
        )?;
        Ok(())
    }
}

/// What came of an entry: its number, and whether it was there before.
pub(crate) enum Said {
    /// It was sent with this key before.
    Before(u32),
    /// It was added.
    Now(u32),
}

/// Adds an entry, with all that follows from it. `after`: the last entry that its sayer knew; none: any.
pub(crate) fn add(
    transaction: &Connection,
    job: JobId,
    entry: &NewEntry,
    by: Option<UserId>,
    after: Option<u32>,
) -> Result<Said, RecordsError> {
    let says = serde_json::to_string(&entry.says)
        .map_err(|e| RecordsError::new(format!("the entry cannot be written: {e}"), "send it again"))?;
    if says.len() > LONGEST_ENTRY || entry.key.len() > 100 {
        return Err(RecordsError::new(
            format!("the entry has {} bytes", says.len()),
            format!("an entry may have {LONGEST_ENTRY}: shorten it"),
        ));
    }
    if let Some(number) = chain::number_of(transaction, job, &entry.key)? {
        return Ok(Said::Before(number));
    }
    let (last, closed): (u32, bool) = transaction
        .query_row(
            "SELECT (SELECT coalesce(max(number), 0) FROM evidence WHERE job = ?1), closed IS NOT NULL
             FROM job WHERE id = ?1",
            [job],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
        .optional()?
        .ok_or_else(|| no_job(job))?;
    let corrects = matches!(entry.says, Says::Correction { .. });
    match (closed, corrects) {
        (true, false) => return Err(handed_over::closed_already()),
        (false, true) => {
            return Err(RecordsError::new(
                "this job is not handed over yet, so there is nothing to correct",
                "put the entry itself right, or take it back",
            ));
        }
        (true, true) if entry.supersedes.is_some() => {
            return Err(RecordsError::new(
                "a correction is not taken back",
                "write another one that says what is right",
            ));
        }
        _ => {}
    }
    if after.is_some_and(|after| after != last) {
        return Err(RecordsError::new(
            "something was said in this job since you looked",
            "look at the record again, then hand it over",
        ));
    }
    if last >= MOST_ENTRIES {
        return Err(RecordsError::new(
            format!("this job has {last} entries, which is all that one may have"),
            "open a new job for this machine",
        ));
    }
    if let Some(old) = entry.supersedes {
        may_be_superseded(transaction, job, old, last)?;
    }
    if matches!(entry.says, Says::Erased { .. }) {
        return Err(RecordsError::new(
            "nobody can say that words were erased",
            "erase them: `wattmend records erase`",
        ));
    }
    if entry.supersedes.is_none() && entry.says == (Says::Nothing {}) {
        return Err(RecordsError::new("the entry says nothing", "say what was seen or read"));
    }
    let link = Link {
        job,
        number: last + 1,
        at: entry.at.to_string(),
        says,
        supersedes: entry.supersedes,
        key: Some(entry.key.clone()),
        by: by.map(|by| by.0),
    };
    chain::add(transaction, link, entry.says.is_personal())?;
    stock::follow(transaction, job, last + 1, entry)?;
    Ok(Said::Now(last + 1))
}

fn line(row: &Row<'_>) -> rusqlite::Result<JobLine> {
    Ok(JobLine {
        id: row.get(0)?,
        opened: row.get(1)?,
        customer: row.get(2)?,
        machine: row.get(3)?,
        has_file: row.get(4)?,
        words: row.get(5)?,
        readings: row.get(6)?,
        derived: row.get(7)?,
        closed: row.get(8)?,
    })
}

/// The log of a job; what a person said in words, where it was not erased, comes from beside it.
pub(crate) fn entries(connection: &Connection, job: JobId) -> Result<Vec<Entry>, RecordsError> {
    let mut statement = connection.prepare(
        "SELECT e.number, e.at, coalesce(p.says, e.says), e.supersedes, p.erased
         FROM evidence e LEFT JOIN personal p ON p.job = e.job AND p.number = e.number
         WHERE e.job = ?1 ORDER BY e.number",
    )?;
    let mut rows = statement.query([job])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let (number, at, supersedes) = (row.get(0)?, row.get(1)?, row.get(3)?);
        let says = match row.get::<_, Option<String>>(4)? {
            Some(erased) => Says::Erased { erased },
            None => serde_json::from_str(row.get_ref(2)?.as_str().unwrap_or_default()).map_err(|_| {
                RecordsError::new(
                    format!("entry {number} of job {job} cannot be read by this program"),
                    "use the newer program that wrote it; nothing was changed",
                )
            })?,
        };
        all.push(Entry { number, at, says, supersedes });
    }
    Ok(all)
}

pub(crate) fn customer(connection: &Connection, id: i64) -> Result<Customer, RecordsError> {
    let sql = "SELECT name, phone, address FROM customer WHERE id = ?1";
    Ok(connection.query_row(sql, [id], |row| {
        Ok(Customer { name: row.get(0)?, phone: row.get(1)?, address: row.get(2)? })
    })?)
}

fn insert_customer(connection: &Connection, customer: &Customer) -> Result<i64, RecordsError> {
    connection.execute(
        "INSERT INTO customer (name, phone, address) VALUES (?1, ?2, ?3)",
        params![customer.name, customer.phone, customer.address],
    )?;
    Ok(connection.last_insert_rowid())
}

fn insert_machine(connection: &Connection, m: &JobMachine) -> Result<i64, RecordsError> {
    connection.execute(
        "INSERT INTO machine (maker, model, variant, serial, file_name, file_text) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        params![m.maker, m.model, m.variant, m.serial, m.file_name, m.file_text],
    )?;
    Ok(connection.last_insert_rowid())
}

fn may_be_superseded(connection: &Connection, job: JobId, old: u32, last: u32) -> Result<(), RecordsError> {
    if old == 0 || old > last {
        return Err(RecordsError::new(
            format!("there is no entry {old} to put right"),
            format!("the entries of this job are 1 to {last}"),
        ));
    }
    let by: Option<u32> = connection
        .query_row(
            "SELECT number FROM evidence WHERE job = ?1 AND supersedes = ?2",
            params![job, old],
            |row| row.get(0),
        )
        .optional()?;
    match by {
        None => Ok(()),
        Some(by) => Err(RecordsError::new(
            format!("entry {old} was put right by entry {by} already"),
            format!("put entry {by} right"),
        )),
    }
}

/// Refuses where there is no such job.
pub(crate) fn job_is_there(connection: &Connection, job: JobId) -> Result<(), RecordsError> {
    if connection.prepare("SELECT 1 FROM job WHERE id = ?1")?.exists([job])? {
        Ok(())
    } else {
        Err(no_job(job))
    }
}

pub(crate) fn no_job(job: JobId) -> RecordsError {
    RecordsError::asked(format!("there is no job {job}"), "choose one from Today")
}
