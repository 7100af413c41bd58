//! From an export (`export/`) to records that equal those it was made of. All or nothing: every file is summed before the
//! first is read, and everything goes in by one transaction.

use crate::chain;
use crate::check::numbers;
use crate::error::RecordsError;
use crate::export::{Counted, FORMAT, MANIFEST, Manifest, columns, content_file, sum_of, tables};
use crate::handed_over;
use crate::open::Records;
use crate::samples;
use rusqlite::{Connection, Transaction, params};
use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

/// Largest manifest that is read, bytes.
const LARGEST_MANIFEST: u64 = 64 << 20;

impl Records {
    /// Imports an export into records that are empty.
    ///
    /// # Errors
    /// Where these records are not empty, the export is newer than this program, damaged, changed or no export, or the disk
    /// refuses; then the records are as they were.
    pub fn import(&self, from: &Path) -> Result<Counted, RecordsError> {
        let manifest = manifest(from)?;
        sums_agree(from, &manifest)?;
        if !self.is_empty()? {
            return Err(RecordsError::new(
                "there are records here already",
                "import into a new folder: name one with --data",
            ));
        }
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        let counted = read(&transaction, from, &manifest)?;
        as_it_was_written(&transaction)?;
        transaction.commit()?;
        Ok(counted)
    }
}

/// What every format of the manifest has.
#[derive(serde::Deserialize)]
struct Head {
    format: u32,
}

fn manifest(from: &Path) -> Result<Manifest, RecordsError> {
    let path = from.join(MANIFEST);
    let no_export = |what: String| {
        RecordsError::new(
            format!("{} is no export: {what}", from.display()),
            "name the folder that `wattmend records export` wrote, unpacked if it was packed",
        )
    };
    let mut text = String::new();
    File::open(&path)
        .and_then(|file| file.take(LARGEST_MANIFEST).read_to_string(&mut text))
        .map_err(|e| no_export(format!("{MANIFEST}: {e}")))?;
    // The format first: a newer one may differ in all else.
    let head: Head = serde_json::from_str(&text).map_err(|e| no_export(format!("{MANIFEST}: {e}")))?;
    if head.format > FORMAT {
        return Err(RecordsError::new(
            format!(
                "this export was written by a newer Wattmend (its format {}, this program knows {FORMAT})",
                head.format
            ),
            "import it with the newer program",
        ));
    }
    serde_json::from_str(&text).map_err(|e| no_export(format!("{MANIFEST}: {e}")))
}

/// Is every file there as it was written? All that are not are named.
fn sums_agree(from: &Path, manifest: &Manifest) -> Result<(), RecordsError> {
    let mut wrong = Vec::new();
    for listed in &manifest.files {
        // Our own names are of this kind; another could lead out of the folder.
        let ours = |c: char| c.is_ascii_alphanumeric() || ['.', '/'].contains(&c);
        if !listed.name.chars().all(ours) || listed.name.contains("..") || listed.name.starts_with('/') {
            wrong.push(format!("{:?} is no name of a file of an export", listed.name));
            continue;
        }
        match File::open(from.join(&listed.name)).and_then(sum_of) {
            Ok(sum) if sum == listed.sha256 => {}
            Ok(_) => wrong.push(format!("{} is not as it was written", listed.name)),
            Err(e) => wrong.push(format!("{}: {e}", listed.name)),
        }
    }
    for table in tables::of_format(manifest.format) {
        if manifest.files.iter().all(|l| l.name != table.file) {
            wrong.push(format!("{} is not listed", table.file));
        }
    }
    if wrong.is_empty() { Ok(()) } else { Err(damaged(&wrong.join("; "))) }
}

fn read(transaction: &Transaction<'_>, from: &Path, manifest: &Manifest) -> Result<Counted, RecordsError> {
    let mut counted = Counted::default();
    for listed in manifest.files.iter().filter(|l| l.name.starts_with("attachments/")) {
        content(transaction, from, &listed.name)?;
        counted.attachments += 1;
    }
    for table in tables::of_format(manifest.format) {
        let file = open(from, table.file)?;
        let rows = table
            .read(transaction, BufReader::new(file))
            .map_err(|what| damaged(&format!("{}: {what}", table.file)))?;
        match table.name {
            "job" => counted.jobs = rows,
            "evidence" => counted.entries = rows,
            _ => {}
        }
    }
    for socket in numbers(transaction, "SELECT id FROM socket ORDER BY id")? {
        let name = columns::file_of(socket);
        columns::read(open(from, &name)?, |samples| {
            counted.samples += samples.len();
            samples::add(transaction, socket, samples).map_err(|e| e.to_string())
        })
        .map_err(|what| damaged(&format!("{name}: {what}")))?;
    }
    Ok(counted)
}

/// Brings in the content of an attachment; its name must be its sum.
fn content(transaction: &Transaction<'_>, from: &Path, name: &str) -> Result<(), RecordsError> {
    let mut bytes = Vec::new();
    open(from, name)?
        .take(crate::attachments::LARGEST_ATTACHMENT as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| damaged(&format!("{name}: {e}")))?;
    let sum: chain::Sum = <sha2::Sha256 as sha2::Digest>::digest(&bytes).into();
    if content_file(&sum) != name {
        return Err(damaged(&format!("{name} has another content than its name says")));
    }
    transaction.execute("INSERT INTO content (sha256, bytes) VALUES (?1, ?2)", params![sum, bytes])?;
    Ok(())
}

/// Sums can be written anew by who changes a file; the chain of every log cannot, without the change showing.
fn as_it_was_written(transaction: &Connection) -> Result<(), RecordsError> {
    for job in numbers(transaction, "SELECT id FROM job ORDER BY id")? {
        if let Some(number) = chain::verify(transaction, job)?.broken_at {
            return Err(damaged(&format!("entry {number} of job {job} is not as it was written")));
        }
        let entries = crate::jobs::entries(transaction, job)?;
        if let Some(what) = handed_over::wrong(transaction, job, &entries)? {
            return Err(damaged(&format!("job {job}: {what}")));
        }
    }
    Ok(())
}

fn open(from: &Path, name: &str) -> Result<File, RecordsError> {
    File::open(from.join(name)).map_err(|e| damaged(&format!("{name}: {e}")))
}

fn damaged(what: &str) -> RecordsError {
    RecordsError::new(
        format!("the export is damaged or was changed: {what}"),
        "take another copy of it, or export again where it came from; nothing was imported",
    )
}
