//! Backup while the program runs, and the check of everything.

use crate::error::RecordsError;
use crate::jobs::entries;
use crate::open::Records;
use rusqlite::backup::Backup;
use std::path::Path;
use std::time::Duration;

/// What a check of the records found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked {
    /// Jobs.
    pub jobs: usize,
    /// Entries in all logs.
    pub entries: usize,
    /// What is wrong; nothing where all is well.
    pub wrong: Vec<String>,
}

impl Records {
    /// Copies the records as they stand to a new file, also while others read and write.
    ///
    /// # Errors
    /// Where the file is there already, or the disk refuses.
    pub fn backup(&self, to: &Path) -> Result<(), RecordsError> {
        // Made here and nowhere else: an older backup is never written over.
        std::fs::OpenOptions::new().write(true).create_new(true).open(to).map_err(|e| {
            RecordsError::new(
                format!("the backup {} cannot be made: {e}", to.display()),
                "name a file that is not there yet, in a folder that you may write to",
            )
        })?;
        let mut target = rusqlite::Connection::open(to)?;
        let source = self.connection();
        Backup::new(&source, &mut target)?.run_to_completion(1000, Duration::ZERO, None)?;
        drop(source);
        // One file that needs no other beside it.
        target.pragma_update(None, "journal_mode", "DELETE")?;
        target.close().map_err(|(_, e)| e)?;
        let synced = std::fs::File::open(to).and_then(|file| file.sync_all());
        synced.map_err(|e| {
            RecordsError::new(format!("the backup is not safely on the disk: {e}"), "make another")
        })
    }

    /// Looks at every page of the file and reads every entry.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn check(&self) -> Result<Checked, RecordsError> {
        let connection = self.connection();
        let mut wrong = Vec::new();
        {
            let mut statement = connection.prepare("PRAGMA integrity_check")?;
            for row in statement.query_map([], |row| row.get::<_, String>(0))? {
                let row = row?;
                if row != "ok" {
                    wrong.push(row);
                }
            }
        }
        let jobs: Vec<i64> = connection
            .prepare("SELECT id FROM job ORDER BY id")?
            .query_map([], |row| row.get(0))?
            .collect::<Result<_, _>>()?;
        let mut count = 0;
        for &job in &jobs {
            match entries(&connection, job) {
                Ok(all) => {
                    count += all.len();
                    if all.iter().zip(1..).any(|(e, n)| e.number != n) {
                        wrong.push(format!("entries are missing from job {job}"));
                    }
                }
                Err(e) => wrong.push(e.to_string()),
            }
        }
        Ok(Checked { jobs: jobs.len(), entries: count, wrong })
    }
}
