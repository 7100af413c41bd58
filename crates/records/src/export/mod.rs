//! Everything that is kept, in open formats, so that no one is bound to this program; and the way back, `import.rs`.
//!
//! A folder: `manifest.json` (format, and every file with its SHA-256), a file of JSON Lines for each table (`tables.rs`),
//! `samples/N.parquet` for each socket (`columns.rs`), `attachments/SHA256`, and two tables for a spreadsheet
//! (`spreadsheet.rs`), which are written and never read back.
//!
//! Left out: what was worked out (it comes again by itself) and who is logged in.

pub(crate) mod columns;
pub(crate) mod handover;
mod spreadsheet;
pub(crate) mod tables;

use crate::chain::{Sum, hex};
use crate::check::numbers;
use crate::error::RecordsError;
use crate::open::Records;
use rusqlite::Connection;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fs;
use std::io::{self, BufWriter, Read, Write};
use std::path::Path;

/// Version of the form of exports. Raised when old programs could not read a new export.
pub(crate) const FORMAT: u32 = 2;
pub(crate) const MANIFEST: &str = "manifest.json";

/// What an export is and has.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) struct Manifest {
    pub(crate) format: u32,
    pub(crate) program: String,
    pub(crate) made: String,
    #[serde(default)]
    pub(crate) files: Vec<Listed>,
}

/// A file of an export.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) struct Listed {
    pub(crate) name: String,
    pub(crate) bytes: u64,
    pub(crate) sha256: String,
}

/// What was exported or imported.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counted {
    /// Jobs.
    pub jobs: usize,
    /// Entries of all logs.
    pub entries: usize,
    /// Samples.
    pub samples: usize,
    /// Contents of attachments.
    pub attachments: usize,
}

impl Records {
    /// Exports everything to a new folder, also while others read and write.
    ///
    /// # Errors
    /// Where the folder is there already, something is damaged, or the disk refuses; then no folder is left.
    pub fn export(&self, to: &Path, made: &jiff::ZonedDateTime) -> Result<Counted, RecordsError> {
        let connection = self.reader()?;
        connection.execute_batch("BEGIN")?;
        in_new_folder(to, |folder| write(&connection, folder, made))
    }
}

fn write(
    connection: &Connection,
    folder: &mut Folder<'_>,
    made: &jiff::ZonedDateTime,
) -> Result<Counted, RecordsError> {
    let mut counted = Counted::default();
    for table in &tables::TABLES {
        let rows = folder.file(table.file, |out| table.write(connection, out))?;
        match table.name {
            "job" => counted.jobs = rows,
            "evidence" => counted.entries = rows,
            _ => {}
        }
    }
    for socket in numbers(connection, "SELECT id FROM socket ORDER BY id")? {
        counted.samples +=
            folder.file(&columns::file_of(socket), |out| columns::write(connection, socket, out))?;
    }
    for id in numbers(connection, "SELECT rowid FROM content ORDER BY sha256")? {
        counted.attachments += 1;
        let sql = "SELECT sha256, bytes FROM content WHERE rowid = ?1";
        let (sum, bytes): (Sum, Vec<u8>) =
            connection.query_row(sql, [id], |row| Ok((row.get(0)?, row.get(1)?)))?;
        if Sum::from(Sha256::digest(&bytes)) != sum {
            // It would be written, and no import would take it.
            return Err(RecordsError::new(
                "the content of an attachment is damaged",
                "`wattmend records check` names it: erase that attachment, or go back to a backup where it is whole",
            ));
        }
        folder.file(&content_file(&sum), |out| out.write_all(&bytes).map_err(|e| not_written(&e)))?;
    }
    folder.file("jobs.csv", |out| spreadsheet::jobs(connection, out))?;
    folder.file("readings.csv", |out| spreadsheet::readings(connection, out))?;
    let manifest = Manifest {
        format: FORMAT,
        program: format!("wattmend {}", env!("CARGO_PKG_VERSION")),
        made: made.to_string(),
        files: std::mem::take(&mut folder.listed),
    };
    let text = serde_json::to_string_pretty(&manifest).map_err(|e| not_written(&io::Error::other(e)))?;
    folder.file(MANIFEST, |out| writeln!(out, "{text}").map_err(|e| not_written(&e)))?;
    Ok(counted)
}

/// The file of a content.
pub(crate) fn content_file(sum: &Sum) -> String {
    format!("attachments/{}", hex(sum))
}

/// A folder that is being written.
pub(crate) struct Folder<'a> {
    path: &'a Path,
    listed: Vec<Listed>,
}

impl Folder<'_> {
    /// Writes a file of this name; on return it is on the disk.
    pub(crate) fn file<T>(
        &mut self,
        name: &str,
        write: impl FnOnce(&mut (dyn Write + Send)) -> Result<T, RecordsError>,
    ) -> Result<T, RecordsError> {
        let path = self.path.join(name);
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder).map_err(|e| not_written(&e))?;
        }
        let file = fs::File::create_new(&path).map_err(|e| not_written(&e))?;
        let mut out = Summed { to: BufWriter::new(file), hash: Sha256::new(), bytes: 0 };
        let done = write(&mut out)?;
        let file = out.to.into_inner().map_err(|e| not_written(e.error()))?;
        file.sync_all().map_err(|e| not_written(&e))?;
        let sha256 = hex(&out.hash.finalize());
        self.listed.push(Listed { name: name.to_owned(), bytes: out.bytes, sha256 });
        Ok(done)
    }
}

/// Writes a new folder; it has its name only once it is whole.
pub(crate) fn in_new_folder<T>(
    to: &Path,
    write: impl FnOnce(&mut Folder<'_>) -> Result<T, RecordsError>,
) -> Result<T, RecordsError> {
    if to.exists() {
        return Err(RecordsError::output(
            format!("{} is there already", to.display()),
            "name a folder that is not there yet",
        ));
    }
    let mut unfinished = to.as_os_str().to_owned();
    unfinished.push(".unfinished");
    let unfinished = Path::new(&unfinished);
    fs::create_dir(unfinished).map_err(|e| {
        RecordsError::output(
            format!("the folder {} cannot be made: {e}", unfinished.display()),
            "name one in a folder that you may write to; delete what an earlier try left",
        )
    })?;
    let written = write(&mut Folder { path: unfinished, listed: Vec::new() })
        .and_then(|done| fs::rename(unfinished, to).map(|()| done).map_err(|e| not_written(&e)));
    if written.is_err() {
        // Half an export would be taken for one. It was made here a moment ago.
        let _ = fs::remove_dir_all(unfinished);
    }
    written
}

pub(crate) fn not_written(error: &io::Error) -> RecordsError {
    RecordsError::output(format!("it cannot be written: {error}"), "make room, then try again")
}

/// Sums what goes by.
struct Summed<W> {
    to: W,
    hash: Sha256,
    bytes: u64,
}

impl<W: Write> Write for Summed<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.to.write(bytes)?;
        self.hash.update(&bytes[..written]);
        self.bytes += written as u64;
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.to.flush()
    }
}

/// The sum of what can be read.
pub(crate) fn sum_of(mut from: impl Read) -> io::Result<String> {
    let mut hash = Sha256::new();
    let mut part = vec![0; 1 << 16];
    loop {
        match from.read(&mut part)? {
            0 => return Ok(hex(&hash.finalize())),
            read => hash.update(&part[..read]),
        }
    }
}
