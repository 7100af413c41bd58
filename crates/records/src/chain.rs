//! The chain of a job's log: each entry carries the SHA-256 of the link before it and of its own content, so that a change of
//! an earlier entry shows in every later one.
//!
//! What a person said in words is not in the log but beside it (table `personal`), with the key of that entry, which may
//! repeat them; the log has the SHA-256 of a random salt and of both. Erasing takes all three away. The chain still holds, and
//! nothing can be guessed from what is left.
//!
//! What it cannot show: entries taken off the end by someone who may write to the file. [`Chain::head`] shows that too, where
//! it was written down elsewhere: it stands in what a customer is given (`export/handover.rs`).

use crate::error::RecordsError;
use crate::jobs::{JobId, job_is_there};
use crate::open::Records;
use rusqlite::{Connection, OptionalExtension, Row, params};
use sha2::{Digest, Sha256};

/// First bytes of what is hashed: no other text of ours gives the same sum by chance or by craft.
const ENTRY: &[u8] = b"wattmend entry 1\n";
const WORDS: &[u8] = b"wattmend words 1\n";

pub(crate) type Sum = [u8; 32];

/// What the chain of a job says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chain {
    /// Entries that were looked at.
    pub entries: u32,
    /// The last link, as hexadecimal digits; zeros where there is no entry. It stands for the whole log.
    pub head: String,
    /// The first entry that is not as it was written, or that lies after one that is gone; none where the chain holds.
    pub broken_at: Option<u32>,
}

impl Chain {
    /// Is every entry as it was written?
    pub fn holds(&self) -> bool {
        self.broken_at.is_none()
    }
}

/// An entry as it stands in the log.
pub(crate) struct Link {
    pub(crate) job: JobId,
    pub(crate) number: u32,
    pub(crate) at: String,
    /// JSON; for words, [`sealed`].
    pub(crate) says: String,
    pub(crate) supersedes: Option<u32>,
    /// None for words: theirs lies beside the log.
    pub(crate) key: Option<String>,
    pub(crate) by: Option<i64>,
}

impl Link {
    pub(crate) fn of_row(row: &Row<'_>) -> rusqlite::Result<Link> {
        Ok(Link {
            job: row.get(0)?,
            number: row.get(1)?,
            at: row.get(2)?,
            says: row.get(3)?,
            supersedes: row.get(4)?,
            key: row.get(5)?,
            by: row.get(6)?,
        })
    }

    /// The sum of the link before and of this entry: a JSON array, whose strings cannot run into each other.
    fn sum(&self, before: &Sum) -> Sum {
        let content = serde_json::json!([
            self.job,
            self.number,
            self.at,
            self.says,
            self.supersedes,
            self.key,
            self.by
        ]);
        let mut hash = Sha256::new();
        hash.update(ENTRY);
        hash.update(before);
        hash.update(content.to_string());
        hash.finalize().into()
    }
}

/// Adds an entry to the log; words go beside it.
pub(crate) fn add(connection: &Connection, mut link: Link, personal: bool) -> Result<(), RecordsError> {
    let beside = if personal {
        let (salt, key, words) =
            (salt()?, link.key.take().unwrap_or_default(), std::mem::take(&mut link.says));
        link.says = sealed(&salt, &key, &words);
        Some((salt, key, words))
    } else {
        None
    };
    let before = last(connection, link.job)?;
    insert(connection, &link, &link.sum(&before))?;
    if let Some((salt, key, words)) = beside {
        connection.execute(
            "INSERT INTO personal (job, number, salt, key, says) VALUES (?1, ?2, ?3, ?4, ?5)",
            params![link.job, link.number, salt, key, words],
        )?;
    }
    Ok(())
}

/// The entry that was made with this key already.
pub(crate) fn number_of(connection: &Connection, job: JobId, key: &str) -> Result<Option<u32>, RecordsError> {
    let sql = "SELECT number FROM evidence WHERE job = ?1 AND key = ?2
               UNION ALL SELECT number FROM personal WHERE job = ?1 AND key = ?2";
    Ok(connection.query_row(sql, params![job, key], |row| row.get(0)).optional()?)
}

/// Writes an entry with its sum.
fn insert(connection: &Connection, link: &Link, sum: &Sum) -> Result<(), RecordsError> {
    connection
        .prepare(
            "INSERT INTO evidence (job, number, at, says, supersedes, key, said_by, chain)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        )?
        .execute(params![
            link.job,
            link.number,
            link.at,
            link.says,
            link.supersedes,
            link.key,
            link.by,
            sum
        ])?;
    Ok(())
}

/// What the log has of words.
fn sealed(salt: &[u8], key: &str, words: &str) -> String {
    let mut hash = Sha256::new();
    hash.update(WORDS);
    hash.update(salt);
    hash.update(serde_json::json!([key, words]).to_string());
    format!("{{\"personal\":\"{}\"}}", hex(&hash.finalize()))
}

fn salt() -> Result<[u8; 16], RecordsError> {
    let mut salt = [0; 16];
    getrandom::fill(&mut salt).map_err(|e| {
        RecordsError::new(
            format!("this computer gives no random numbers: {e}"),
            "restart it, then send it again",
        )
    })?;
    Ok(salt)
}

fn last(connection: &Connection, job: JobId) -> Result<Sum, RecordsError> {
    let sum = connection
        .prepare("SELECT chain FROM evidence WHERE job = ?1 ORDER BY number DESC LIMIT 1")?
        .query_row([job], |row| row.get(0))
        .optional()?;
    Ok(sum.unwrap_or_default())
}

/// Goes along the chain of a job.
pub(crate) fn verify(connection: &Connection, job: JobId) -> Result<Chain, RecordsError> {
    let mut statement = connection.prepare(
        "SELECT e.job, e.number, e.at, e.says, e.supersedes, e.key, e.said_by, e.chain, p.salt, p.key, p.says,
           p.job IS NOT NULL
         FROM evidence e LEFT JOIN personal p ON p.job = e.job AND p.number = e.number
         WHERE e.job = ?1 ORDER BY e.number",
    )?;
    let mut rows = statement.query([job])?;
    let mut chain = Chain { entries: 0, head: String::new(), broken_at: None };
    let mut before = Sum::default();
    while let Some(row) = rows.next()? {
        let link = Link::of_row(row)?;
        let sum: Sum = row.get(7)?;
        let beside = (
            row.get::<_, Option<Vec<u8>>>(8)?,
            row.get::<_, Option<String>>(9)?,
            row.get::<_, Option<String>>(10)?,
        );
        let words_are_as_written = match beside {
            (Some(salt), Some(key), Some(words)) => link.says == sealed(&salt, &key, &words),
            // Erased, or never words: then nothing is beside the entry.
            _ => link.says.starts_with("{\"personal\":") == row.get::<_, bool>(11)?,
        };
        let as_written = link.number == chain.entries + 1 && words_are_as_written && sum == link.sum(&before);
        if !as_written && chain.broken_at.is_none() {
            chain.broken_at = Some(link.number);
        }
        chain.entries += 1;
        before = sum;
    }
    chain.head = hex(&before);
    Ok(chain)
}

/// Bytes as hexadecimal digits.
pub(crate) fn hex(bytes: &[u8]) -> String {
    let digits = bytes.iter().flat_map(|b| [b >> 4, b & 15]);
    digits.filter_map(|d| char::from_digit(u32::from(d), 16)).collect()
}

impl Records {
    /// Does the log of a job stand as it was written, entry by entry?
    ///
    /// # Errors
    /// Where there is no such job, or the disk refuses.
    pub fn verify(&self, job: JobId) -> Result<Chain, RecordsError> {
        let connection = self.connection();
        job_is_there(&connection, job)?;
        verify(&connection, job)
    }
}
