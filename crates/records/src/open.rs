//! Opening the records. What is there is looked at read-only first: a file that is newer, damaged or no records of ours is
//! refused as it stands, with what to do, and not a byte of it is changed. Samples and contents of attachments carry sums of
//! their own and make up nearly all of the file; so that opening is quick they are not walked through here, but by
//! [`Records::check`].

use crate::error::RecordsError;
use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard};
use std::time::Duration;

/// Marks a file as ours ("WMND"), beside SQLite's own mark.
const APPLICATION: i64 = 0x574D_4E44;

/// The steps that lead from one version of the tables to the next, oldest first.
const MIGRATIONS: [Migration; 3] = [
    Migration { script: include_str!("schema_1.sql"), then: |_| Ok(()) },
    Migration { script: include_str!("schema_2.sql"), then: crate::migrate::log_into_a_chain },
    Migration { script: include_str!("schema_3.sql"), then: |_| Ok(()) },
];

/// One step: a script, then what SQL cannot say.
struct Migration {
    script: &'static str,
    then: fn(&Transaction<'_>) -> Result<(), RecordsError>,
}

/// Tables that are not walked through at opening: large, and summed row by row.
const LARGE: [&str; 3] = ["content", "chunk", "fresh"];

/// How long a write waits for another program, before it says so.
const PATIENCE: Duration = Duration::from_secs(5);

/// The records, open.
pub struct Records {
    connection: Mutex<Connection>,
    path: PathBuf,
}

impl Records {
    /// Opens the file, or starts it where there is none.
    ///
    /// # Errors
    /// A file that is newer than this program, damaged, or no records; a folder that cannot be written.
    pub fn open(path: &Path) -> Result<Records, RecordsError> {
        let is_there = std::fs::metadata(path).is_ok_and(|m| m.len() > 0);
        if is_there {
            look(path)?;
        }
        let mut connection = Connection::open(path).map_err(|e| not_opened(path, &e))?;
        connection.busy_timeout(PATIENCE)?;
        // A transaction that reads first and then writes would be refused where another program wrote in between.
        connection.set_transaction_behavior(TransactionBehavior::Immediate);
        // FULL: in WAL mode every commit is synced to the disk before it returns.
        connection.pragma_update(None, "journal_mode", "WAL")?;
        connection.pragma_update(None, "synchronous", "FULL")?;
        connection.pragma_update(None, "foreign_keys", true)?;
        // What is deleted is overwritten: it was deleted because somebody may not have it any more.
        connection.pragma_update(None, "secure_delete", true)?;
        migrate(&mut connection)?;
        // The tables lie in the file itself from now on: a copy without its companions is older, not empty. Another program
        // that reads may keep this from being done; then it is done next time.
        connection.query_row("PRAGMA wal_checkpoint(PASSIVE)", [], |_| Ok(()))?;
        Ok(Records { connection: Mutex::new(connection), path: path.to_owned() })
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The connection alone, for good.
    pub(crate) fn into_connection(self) -> Connection {
        self.connection.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    /// The connection; whoever held it before and panicked left no half-done work: transactions roll back when dropped.
    pub(crate) fn connection(&self) -> MutexGuard<'_, Connection> {
        self.connection.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}

/// Looks at a file without writing to it.
fn look(path: &Path) -> Result<(), RecordsError> {
    let shown = path.display();
    let damaged = |what: &str| {
        RecordsError::new(
            format!("the records {shown} are damaged ({what}); they were left as they are"),
            "copy the whole folder aside first, then put the last backup in the place of the file (made with \
             `wattmend records backup`), without the files that end in -wal and -shm",
        )
    };
    let connection = to_read(path).map_err(|e| not_opened(path, &e))?;
    let pragma = |name| connection.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    let application = pragma("application_id").map_err(|e| damaged(&e.to_string()))?;
    let tables =
        || connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get::<_, i64>(0));
    if application == 0 && tables().map_err(|e| damaged(&e.to_string()))? == 0 {
        // Begun and never finished: the program was killed while it made the file. Nothing is in it.
        return Ok(());
    }
    if application != APPLICATION {
        return Err(RecordsError::new(
            format!("{shown} is a database of another program; it was left as it is"),
            "name another folder with --data",
        ));
    }
    let version = pragma("user_version").map_err(|e| damaged(&e.to_string()))?;
    if version > MIGRATIONS.len() as i64 {
        return Err(RecordsError::new(
            format!(
                "the records {shown} were written by a newer Wattmend (their version {version}, this program knows {}); \
                 they were left as they are",
                MIGRATIONS.len()
            ),
            "use the newer program, or another folder with --data",
        ));
    }
    let found = first_damage(&connection).map_err(|e| damaged(&e.to_string()))?;
    found.map_or(Ok(()), |found| Err(damaged(&found)))
}

/// A connection that reads and never writes.
pub(crate) fn to_read(path: &Path) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(path, flags)?;
    connection.busy_timeout(PATIENCE)?;
    Ok(connection)
}

/// Walks through the pages of all tables but the large ones; gives the first thing that is wrong.
fn first_damage(connection: &Connection) -> rusqlite::Result<Option<String>> {
    let mut statement = connection
        .prepare("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")?;
    let tables: Vec<String> = statement.query_map([], |row| row.get(0))?.collect::<Result<_, _>>()?;
    for table in tables.iter().filter(|t| !LARGE.contains(&t.as_str())) {
        let found: String =
            connection.query_row("SELECT * FROM pragma_quick_check(?1)", [table], |row| row.get(0))?;
        if found != "ok" {
            return Ok(Some(found));
        }
    }
    Ok(None)
}

fn not_opened(path: &Path, error: &rusqlite::Error) -> RecordsError {
    RecordsError::new(
        format!("the records {} cannot be opened: {error}", path.display()),
        "check that the folder is there and that this user may write to it, or name another with --data",
    )
}

/// Brings the tables up to date, each step whole or not at all. Where they are, nothing is written.
fn migrate(connection: &mut Connection) -> Result<(), RecordsError> {
    let version = |c: &Connection| c.pragma_query_value(None, "user_version", |row| row.get::<_, i64>(0));
    if version(connection)? == MIGRATIONS.len() as i64 {
        return Ok(());
    }
    let transaction = connection.transaction()?;
    // Read again: another program may have done it meanwhile.
    let version = version(&transaction)?;
    for step in MIGRATIONS.iter().skip(usize::try_from(version).unwrap_or(0)) {
        transaction.execute_batch(step.script)?;
        (step.then)(&transaction)?;
    }
    transaction.pragma_update(None, "application_id", APPLICATION)?;
    transaction.pragma_update(None, "user_version", MIGRATIONS.len() as i64)?;
    transaction.commit()?;
    Ok(())
}
