//! The check of everything, and what may be worked out anew.

use crate::attachments::{AttachmentId, content};
use crate::chain;
use crate::error::RecordsError;
use crate::handed_over;
use crate::jobs::entries;
use crate::open::Records;
use crate::samples;
use rusqlite::Connection;

/// What a check of the records found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Checked {
    /// Jobs.
    pub jobs: usize,
    /// Entries in all logs.
    pub entries: usize,
    /// Samples of all sockets.
    pub samples: usize,
    /// Attachments with content.
    pub attachments: usize,
    /// What is wrong; nothing where all is well.
    pub wrong: Vec<String>,
}

impl Records {
    /// Looks at every page of the file, reads every entry, goes along every chain, unpacks all samples and sums every
    /// attachment. Others may read and write meanwhile.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn check(&self) -> Result<Checked, RecordsError> {
        let connection = self.reader()?;
        // One state of the records, whatever others write.
        connection.execute_batch("BEGIN")?;
        let mut checked = Checked { wrong: pages(&connection)?, ..Checked::default() };
        for job in numbers(&connection, "SELECT id FROM job ORDER BY id")? {
            checked.jobs += 1;
            match entries(&connection, job) {
                Ok(all) => {
                    checked.entries += all.len();
                    if all.iter().zip(1..).any(|(e, n)| e.number != n) {
                        checked.wrong.push(format!("entries are missing from job {job}"));
                    }
                    if let Some(what) = handed_over::wrong(&connection, job, &all)? {
                        checked.wrong.push(format!("job {job}: {what}"));
                    }
                }
                Err(e) => checked.wrong.push(e.to_string()),
            }
            if let Some(number) = chain::verify(&connection, job)?.broken_at {
                checked.wrong.push(format!("entry {number} of job {job} is not as it was written"));
            }
        }
        samples::check(&connection, &mut checked)?;
        for id in numbers(&connection, "SELECT id FROM attachment WHERE erased IS NULL ORDER BY id")? {
            checked.attachments += 1;
            if let Err(e) = content(&connection, AttachmentId(id)) {
                checked.wrong.push(e.to_string());
            }
        }
        Ok(checked)
    }

    /// Throws away what was worked out of the logs; it is worked out again when it is asked for. Gives how much it was.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn forget_derived(&self) -> Result<usize, RecordsError> {
        Ok(self.connection().execute("DELETE FROM derived", [])?)
    }

    /// Is there nothing in it that anyone said, saw or measured?
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn is_empty(&self) -> Result<bool, RecordsError> {
        let sql = "SELECT NOT EXISTS (SELECT 1 FROM job UNION ALL SELECT 1 FROM customer UNION ALL SELECT 1 FROM machine
                   UNION ALL SELECT 1 FROM user UNION ALL SELECT 1 FROM socket UNION ALL SELECT 1 FROM setting
                   UNION ALL SELECT 1 FROM stock)";
        Ok(self.connection().query_row(sql, [], |row| row.get(0))?)
    }
}

/// What is wrong with the pages of the file and with what refers to what.
fn pages(connection: &Connection) -> Result<Vec<String>, RecordsError> {
    let mut statement = connection.prepare("PRAGMA integrity_check")?;
    let rows = statement.query_map([], |row| row.get::<_, String>(0))?;
    let mut wrong: Vec<String> = rows.filter(|row| row.as_deref() != Ok("ok")).collect::<Result<_, _>>()?;
    let mut statement = connection.prepare("PRAGMA foreign_key_check")?;
    let rows = statement.query_map([], |row| row.get::<_, String>(0))?;
    for table in rows {
        wrong.push(format!("a row of {} refers to what is not there", table?));
    }
    Ok(wrong)
}

pub(crate) fn numbers(connection: &Connection, sql: &str) -> Result<Vec<i64>, RecordsError> {
    let mut statement = connection.prepare(sql)?;
    let all = statement.query_map([], |row| row.get(0))?;
    Ok(all.collect::<Result<_, _>>()?)
}
