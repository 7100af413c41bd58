//! The parts that the van carries. How many there are is the sum of all changes: what was counted, and what entries of the logs
//! took. A part that is fitted by its order code takes one; taking that entry back gives it back.

use crate::entry::{NewEntry, Says};
use crate::error::RecordsError;
use crate::jobs::JobId;
use crate::open::Records;
use rusqlite::{Connection, OptionalExtension, params};

/// Longest code, description or price, characters.
const LONGEST: usize = 200;

/// Most pieces of one part, and the least that may be wanted.
const MOST_PIECES: i64 = 9_999;

/// A part that the van carries.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StockPart {
    /// Order code: names the part, in capitals or not.
    pub code: String,
    /// What it is.
    pub what: String,
    /// How many there are; below zero where more were fitted than were counted.
    pub count: i64,
    /// What one costs the technician, a decimal number as it was typed; empty: not known.
    pub price: String,
    /// How many there should be at least.
    pub least: i64,
}

/// How many of a part an entry of a log took, and how many there are now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Taken {
    /// The entry.
    pub number: u32,
    /// The part as it stands now.
    pub part: StockPart,
}

impl StockPart {
    /// Are there fewer than there should be?
    pub fn is_short(&self) -> bool {
        self.count < self.least || self.count < 0
    }
}

impl Records {
    /// The parts that the van carries, by code.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn stock(&self) -> Result<Vec<StockPart>, RecordsError> {
        let connection = self.connection();
        let mut statement = connection.prepare(&format!("SELECT {PART} FROM stock s ORDER BY s.code"))?;
        let all = statement.query_map([], part)?;
        Ok(all.collect::<Result<_, _>>()?)
    }

    /// Adds a part, or says anew what is known of the one with this code; its count becomes what was counted.
    ///
    /// # Errors
    /// Where code or numbers cannot be, or the disk refuses.
    pub fn keep_part(&self, kept: &StockPart, at: &jiff::ZonedDateTime) -> Result<(), RecordsError> {
        let code = kept.code.trim();
        if code.is_empty() {
            return Err(RecordsError::new("the order code is missing", "write it as it stands on the part"));
        }
        if [code, &kept.what, &kept.price].iter().any(|t| t.chars().count() > LONGEST) {
            let message = format!("this is longer than {LONGEST} characters");
            return Err(RecordsError::new(message, "shorten it"));
        }
        let counts = -MOST_PIECES..=MOST_PIECES;
        if !counts.contains(&kept.count) || !(0..=MOST_PIECES).contains(&kept.least) {
            return Err(RecordsError::new(
                "no van carries so many",
                format!("give whole numbers up to {MOST_PIECES}"),
            ));
        }
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        transaction.execute(
            "INSERT INTO stock (code, what, price, least) VALUES (?1, ?2, ?3, ?4)
             ON CONFLICT (code) DO UPDATE SET what = excluded.what, price = excluded.price, least = excluded.least",
            params![code, kept.what.trim(), kept.price.trim(), kept.least],
        )?;
        if let Some((id, count)) = of_code(&transaction, code)?
            && count != kept.count
        {
            change(&transaction, id, kept.count - count, &at.to_string(), None)?;
        }
        transaction.commit()?;
        Ok(())
    }

    /// The van carries this part no more; what was fitted of it stays in the logs.
    ///
    /// # Errors
    /// Where there is no such part, or the disk refuses.
    pub fn remove_part(&self, code: &str) -> Result<(), RecordsError> {
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        let (id, _) = of_code(&transaction, code)?.ok_or_else(|| {
            RecordsError::asked(format!("the van carries no `{}`", code.trim()), "reload the page")
        })?;
        transaction.execute("DELETE FROM stock_change WHERE part = ?1", [id])?;
        transaction.execute("DELETE FROM stock WHERE id = ?1", [id])?;
        transaction.commit()?;
        Ok(())
    }

    /// What the standing entries of a job's log took from the van, by entry.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn taken(&self, job: JobId) -> Result<Vec<Taken>, RecordsError> {
        let connection = self.connection();
        let mut statement = connection.prepare(&format!(
            "SELECT {PART}, t.number FROM stock_change t JOIN stock s ON s.id = t.part
             WHERE t.job = ?1 AND t.change < 0
               AND NOT EXISTS (SELECT 1 FROM evidence e WHERE e.job = t.job AND e.supersedes = t.number)
             ORDER BY t.number"
        ))?;
        let all = statement.query_map([job], |row| Ok(Taken { number: row.get(5)?, part: part(row)? }))?;
        Ok(all.collect::<Result<_, _>>()?)
    }
}

/// The columns of a part, with its count.
const PART: &str = "s.code, s.what, (SELECT coalesce(sum(c.change), 0) FROM stock_change c WHERE c.part = s.id), \
                    s.price, s.least";

fn part(row: &rusqlite::Row<'_>) -> rusqlite::Result<StockPart> {
    Ok(StockPart {
        code: row.get(0)?,
        what: row.get(1)?,
        count: row.get(2)?,
        price: row.get(3)?,
        least: row.get(4)?,
    })
}

/// The row of a code, with its count.
fn of_code(connection: &Connection, code: &str) -> Result<Option<(i64, i64)>, RecordsError> {
    let sql = "SELECT s.id, (SELECT coalesce(sum(c.change), 0) FROM stock_change c WHERE c.part = s.id)
               FROM stock s WHERE s.code = ?1";
    let found = connection.query_row(sql, [code.trim()], |row| Ok((row.get(0)?, row.get(1)?)));
    Ok(found.optional()?)
}

fn change(
    connection: &Connection,
    part: i64,
    by: i64,
    at: &str,
    entry: Option<(JobId, u32)>,
) -> Result<(), RecordsError> {
    connection.execute(
        "INSERT INTO stock_change (part, change, at, job, number) VALUES (?1, ?2, ?3, ?4, ?5)",
        params![part, by, at, entry.map(|e| e.0), entry.map(|e| e.1)],
    )?;
    Ok(())
}

/// What a new entry of a log does to the stock: it gives back what the entry that it supersedes took, and takes the part that it
/// says was fitted.
pub(crate) fn follow(
    connection: &Connection,
    job: JobId,
    number: u32,
    entry: &NewEntry,
) -> Result<(), RecordsError> {
    let at = entry.at.to_string();
    if let Some(old) = entry.supersedes {
        let sql = "SELECT part, change FROM stock_change WHERE job = ?1 AND number = ?2 AND change < 0";
        let taken: Option<(i64, i64)> =
            connection.query_row(sql, params![job, old], |row| Ok((row.get(0)?, row.get(1)?))).optional()?;
        if let Some((part, by)) = taken {
            change(connection, part, -by, &at, Some((job, number)))?;
        }
    }
    if let Says::Fitted { cleared: false, order, .. } = &entry.says
        && let Some((part, _)) = of_code(connection, order)?
    {
        change(connection, part, -1, &at, Some((job, number)))?;
    }
    Ok(())
}
