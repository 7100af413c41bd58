//! Backup while others read and write, and the way back from one.

use crate::check::Checked;
use crate::error::RecordsError;
use crate::open::{Records, to_read};
use rusqlite::Connection;
use rusqlite::backup::{Backup, StepResult};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long a backup waits before it asks again for pages that another program holds, and how often.
const WAIT: Duration = Duration::from_millis(50);
const WAITS: usize = 200;
/// Records that were replaced and are kept beside the new ones, at most.
const MOST_REPLACED: u32 = 1000;

/// What SQLite may keep beside a file, by the end of its name.
const COMPANIONS: [&str; 3] = ["-wal", "-shm", "-journal"];

/// What came of going back to a backup.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Restored {
    /// What is in the records now.
    pub checked: Checked,
    /// Where the records that were there before are kept.
    pub replaced: Option<PathBuf>,
}

impl Records {
    /// A connection of its own that reads: a long look at one state of the records, while samples and entries go on.
    pub(crate) fn reader(&self) -> Result<Connection, RecordsError> {
        Ok(to_read(self.path())?)
    }

    /// Copies the records as they stand to a new file, also while others read and write.
    ///
    /// # Errors
    /// Where the file is there already, or the disk refuses; then no file is left.
    pub fn backup(&self, to: &Path) -> Result<(), RecordsError> {
        // Made here and nowhere else: an older backup is never written over.
        fs::OpenOptions::new().write(true).create_new(true).open(to).map_err(|e| {
            RecordsError::output(
                format!("the backup {} cannot be made: {e}", to.display()),
                "name a file that is not there yet, in a folder that you may write to",
            )
        })?;
        let copied = self.copy_to(to);
        if copied.is_err() {
            // Half a backup would be taken for one.
            let _ = fs::remove_file(to);
        }
        copied
    }

    fn copy_to(&self, to: &Path) -> Result<(), RecordsError> {
        let source = self.reader()?;
        let mut target = Connection::open(to)?;
        {
            let backup = Backup::new(&source, &mut target)?;
            // All pages in one step: a step ends the look at one state, and after a write of others it would begin anew.
            let mut waits = 0;
            while backup.step(-1)? != StepResult::Done {
                waits += 1;
                if waits > WAITS {
                    return Err(RecordsError::new(
                        "another program holds the records",
                        "end it, then make the backup again",
                    ));
                }
                std::thread::sleep(WAIT);
            }
        }
        // One file that needs no other beside it.
        target.pragma_update(None, "journal_mode", "DELETE")?;
        target.close().map_err(|(_, e)| e)?;
        fs::File::open(to).and_then(|file| file.sync_all()).map_err(|e| {
            RecordsError::output(format!("the backup is not safely on the disk: {e}"), "make another")
        })
    }

    /// Puts a backup in the place of the records `to`, after every page and entry of it was looked at. Records that are there
    /// and not empty are only replaced with `replace`, and are kept beside it under another name.
    ///
    /// # Errors
    /// Where the backup is damaged, newer or no backup; where records are there and `replace` was not said; where another
    /// program uses them; where the disk refuses. Then the records are as they were.
    pub fn restore(backup: &Path, to: &Path, replace: bool) -> Result<Restored, RecordsError> {
        if fs::metadata(beside(backup, "-wal")).is_ok_and(|m| m.len() > 0) {
            return Err(RecordsError::new(
                format!("{} is in use and no backup", backup.display()),
                "make a backup of it with `wattmend records backup FILE`, and take that",
            ));
        }
        let copy = beside(to, ".restoring");
        let checked = checked_copy(backup, &copy);
        let restored = checked.and_then(|checked| {
            let replaced = make_room(to, replace)?;
            put(&copy, to)?;
            Ok(Restored { checked, replaced })
        });
        if restored.is_err() {
            let _ = fs::remove_file(&copy);
            let _ = without_companions(&copy);
        }
        restored
    }
}

/// A copy of the backup that is sound and of this program's version.
fn checked_copy(backup: &Path, copy: &Path) -> Result<Checked, RecordsError> {
    let not_copied = |e: io::Error| {
        RecordsError::new(
            format!("the backup {} cannot be copied: {e}", backup.display()),
            "check its name, and that the folder of the records has room and may be written",
        )
    };
    // Left by a try that was interrupted, they would be taken for this copy's.
    without_companions(copy).map_err(not_copied)?;
    let length = fs::copy(backup, copy).map_err(not_copied)?;
    if length == 0 {
        return Err(RecordsError::new(format!("{} is empty", backup.display()), "take another backup"));
    }
    let of_backup = |e: RecordsError| RecordsError {
        message: e.message.replace(&copy.display().to_string(), &backup.display().to_string()),
        remedy: "take another backup; the records are as they were".to_owned(),
        ..e
    };
    let damaged = |what: &str| {
        of_backup(RecordsError::new(format!("the backup {} is damaged: {what}", copy.display()), ""))
    };
    let records = Records::open(copy).map_err(of_backup)?;
    let checked = records.check().map_err(|e| damaged(&e.message))?;
    if let [first, ..] = checked.wrong.as_slice() {
        return Err(damaged(first));
    }
    let connection = records.into_connection();
    // Who was logged in then, and logged out or lost the right since, is not let in again.
    connection.execute("DELETE FROM session", [])?;
    connection.pragma_update(None, "journal_mode", "DELETE")?;
    connection.close().map_err(|(_, e)| e)?;
    fs::File::open(copy).and_then(|file| file.sync_all()).map_err(not_copied)?;
    Ok(checked)
}

/// Removes what SQLite left beside a file.
fn without_companions(path: &Path) -> io::Result<()> {
    for companion in COMPANIONS {
        match fs::remove_file(beside(path, companion)) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(e),
            _ => {}
        }
    }
    Ok(())
}

/// Keeps what is there under another name; it also stays in its place until the new is put there.
fn make_room(to: &Path, replace: bool) -> Result<Option<PathBuf>, RecordsError> {
    let failed = |e: io::Error| {
        RecordsError::new(
            format!("the present records cannot be kept aside: {e}"),
            "make room, then try again",
        )
    };
    if fs::metadata(to).is_ok_and(|m| m.len() == 0) || !to.exists() {
        // Of a file that is gone they are good for nothing, and would be taken for the new one's.
        without_companions(to).map_err(failed)?;
        return Ok(None);
    }
    let is_empty = Records::open(to).and_then(|r| r.is_empty());
    if !replace && !is_empty.as_ref().is_ok_and(|empty| *empty) {
        return Err(RecordsError::new(
            format!("there are records in {} already", to.display()),
            "say --replace to put the backup in their place; they are kept beside it",
        ));
    }
    if is_empty.is_ok() {
        alone(to)?;
    }
    let kept = (1..=MOST_REPLACED)
        .map(|n| beside(to, &format!(".replaced-{n}")))
        .find(|p| !p.exists())
        .ok_or_else(|| failed(io::Error::other("too many are kept already")))?;
    // A second name for the same file, or a copy where the disk knows no such thing: at no moment are there no records.
    fs::hard_link(to, &kept).or_else(|_| fs::copy(to, &kept).map(drop)).map_err(failed)?;
    for companion in COMPANIONS {
        // Left in place, they would be taken for the new file's. They are there only where the old one is damaged.
        if beside(to, companion).exists() {
            fs::rename(beside(to, companion), beside(&kept, companion)).map_err(failed)?;
        }
    }
    Ok(Some(kept))
}

/// Not asked of damaged records: they are kept as they are. Sees that no other program has the records open, and brings everything into the one file.
fn alone(to: &Path) -> Result<(), RecordsError> {
    let connection = Connection::open(to)?;
    connection.busy_timeout(Duration::from_secs(1))?;
    let mode: rusqlite::Result<String> =
        connection.query_row("PRAGMA journal_mode = DELETE", [], |row| row.get(0));
    if mode.is_ok_and(|mode| mode == "delete") {
        return Ok(());
    }
    Err(RecordsError::new(
        "another program uses the records",
        "end it (`wattmend serve`), then try again; nothing was changed",
    ))
}

/// Puts the new file in its place, in one step.
fn put(copy: &Path, to: &Path) -> Result<(), RecordsError> {
    let put = fs::rename(copy, to).and_then(|()| match to.parent() {
        Some(folder) if cfg!(unix) && !folder.as_os_str().is_empty() => fs::File::open(folder)?.sync_all(),
        _ => Ok(()),
    });
    put.map_err(|e| RecordsError::new(format!("the backup cannot be put in its place: {e}"), "try again"))
}

/// The path with this after its name.
fn beside(path: &Path, after: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(after);
    PathBuf::from(name)
}
