//! Pictures, sounds and recordings of a job. Their content lies in the database itself: one file to back up, one transaction
//! for entry and content, and erasing one leaves no byte of it in the file or beside it when the call returns. The price is the size of that file; so a content is
//! limited, and kept once however often it is attached.
//!
//! What a content is, its own bytes say, never its name. The name is kept as a word and is never part of a path.

use crate::chain::Sum;
use crate::erase::empty_companion;
use crate::error::RecordsError;
use crate::handed_over;
use crate::jobs::JobId;
use crate::open::Records;
use jiff::civil::Date;
use rusqlite::{Connection, OptionalExtension, Row, params};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// Largest content, bytes.
pub const LARGEST_ATTACHMENT: usize = 20 << 20;
/// Most attachments of a job.
const MOST: i64 = 500;
/// Longest name that is kept, characters.
const LONGEST_NAME: usize = 200;

/// Number of an attachment.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct AttachmentId(pub(crate) i64);

impl AttachmentId {
    /// The attachment with this number; whether there is one shows when it is used.
    pub fn of(number: i64) -> AttachmentId {
        AttachmentId(number)
    }

    /// Its number, for addresses and forms.
    pub fn number(self) -> i64 {
        self.0
    }
}

/// What an attachment is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum AttachmentKind {
    /// A photograph or drawing.
    Picture,
    /// A sound, with or without a moving picture.
    Sound,
    /// A recording of a power meter: text, also compressed.
    Recording,
}

impl AttachmentKind {
    /// As it is written.
    pub fn name(self) -> &'static str {
        match self {
            AttachmentKind::Picture => "picture",
            AttachmentKind::Sound => "sound",
            AttachmentKind::Recording => "recording",
        }
    }

    fn of(name: &str) -> AttachmentKind {
        match name {
            "picture" => AttachmentKind::Picture,
            "sound" => AttachmentKind::Sound,
            _ => AttachmentKind::Recording,
        }
    }
}

/// An attachment without its content.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Attachment {
    /// Its number.
    pub id: AttachmentId,
    /// What it is.
    pub kind: AttachmentKind,
    /// Media type (RFC 6838), by its content.
    pub media_type: String,
    /// The name that it came with; for people to read, never a path. Empty once erased.
    pub name: String,
    /// When it was attached, with zone (RFC 9557).
    pub at: String,
    /// Size of its content, bytes; 0 once erased.
    pub bytes: u64,
    /// On which day it was erased.
    pub erased: Option<String>,
}

/// What a content may be, by what its first bytes say.
const KNOWN: [(&str, AttachmentKind); 15] = [
    ("image/jpeg", AttachmentKind::Picture),
    ("image/png", AttachmentKind::Picture),
    ("image/webp", AttachmentKind::Picture),
    ("image/heif", AttachmentKind::Picture),
    ("image/avif", AttachmentKind::Picture),
    ("audio/x-wav", AttachmentKind::Sound),
    ("audio/mpeg", AttachmentKind::Sound),
    ("audio/m4a", AttachmentKind::Sound),
    ("audio/ogg", AttachmentKind::Sound),
    ("audio/opus", AttachmentKind::Sound),
    ("audio/x-flac", AttachmentKind::Sound),
    ("video/webm", AttachmentKind::Sound),
    ("video/mp4", AttachmentKind::Sound),
    ("application/gzip", AttachmentKind::Recording),
    ("application/zstd", AttachmentKind::Recording),
];

/// The kind and media type of a content.
fn kind_of(content: &[u8]) -> Option<(AttachmentKind, &'static str)> {
    if let Some(found) = infer::get(content) {
        let known = KNOWN.iter().find(|k| k.0 == found.mime_type());
        return known.map(|&(media_type, kind)| (kind, media_type));
    }
    // Meters write text, in UTF-8 or an older 8-bit set; what shows as a control character is no text.
    let is_text = |&b: &u8| b >= b' ' || [b'\t', b'\n', b'\r'].contains(&b);
    let begins = content.trim_ascii_start().first();
    let is_markup = begins == Some(&b'<');
    (content.iter().all(is_text) && !is_markup).then_some((AttachmentKind::Recording, "text/plain"))
}

impl Records {
    /// Attaches a content to a job. On return it is on the disk.
    ///
    /// # Errors
    /// Where there is no such job, the content is empty, too large or of no kind that is kept, or the disk refuses.
    pub fn attach(
        &self,
        job: JobId,
        name: &str,
        content: &[u8],
        at: &jiff::ZonedDateTime,
    ) -> Result<AttachmentId, RecordsError> {
        if content.is_empty() || content.len() > LARGEST_ATTACHMENT {
            return Err(RecordsError::new(
                format!("the attachment has {} bytes", content.len()),
                format!(
                    "attach one of 1 byte to {} MiB: send a smaller picture or a shorter sound",
                    LARGEST_ATTACHMENT >> 20
                ),
            ));
        }
        let (kind, media_type) = kind_of(content).ok_or_else(|| {
            RecordsError::new(
                "this is no picture, sound or recording that can be kept",
                "send a picture as JPEG, PNG, WebP, HEIF or AVIF, a sound as WAV, MP3, M4A, Ogg, FLAC, WebM or MP4, a recording \
                 as text, gzip or Zstandard",
            )
        })?;
        let name: String = name.chars().filter(|c| !c.is_control()).take(LONGEST_NAME).collect();
        let sum: Sum = Sha256::digest(content).into();
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        handed_over::is_open(&transaction, job)?;
        let count: i64 =
            transaction
                .query_row("SELECT count(*) FROM attachment WHERE job = ?1", [job], |row| row.get(0))?;
        if count >= MOST {
            return Err(RecordsError::new(
                format!("this job has {count} attachments, which is all that one may have"),
                "open a new job for this machine",
            ));
        }
        transaction.execute(
            "INSERT INTO content (sha256, bytes) VALUES (?1, ?2) ON CONFLICT (sha256) DO NOTHING",
            params![sum, content],
        )?;
        transaction.execute(
            "INSERT INTO attachment (job, kind, media_type, name, at, sha256) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            params![job, kind.name(), media_type, name, at.to_string(), sum],
        )?;
        let id = AttachmentId(transaction.last_insert_rowid());
        transaction.commit()?;
        Ok(id)
    }

    /// The attachments of a job, oldest first, also those that were erased.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn attachments_of(&self, job: JobId) -> Result<Vec<Attachment>, RecordsError> {
        let connection = self.connection();
        let mut statement = connection.prepare(
            "SELECT a.id, a.kind, a.media_type, a.name, a.at, coalesce(length(c.bytes), 0), a.erased
             FROM attachment a LEFT JOIN content c ON c.sha256 = a.sha256 WHERE a.job = ?1 ORDER BY a.id",
        )?;
        let all = statement.query_map([job], attachment)?;
        Ok(all.collect::<Result<_, _>>()?)
    }

    /// The content of an attachment; none where there is no such attachment or it was erased.
    ///
    /// # Errors
    /// Where the content is not what was attached, or the disk refuses.
    pub fn content(&self, id: AttachmentId) -> Result<Option<Vec<u8>>, RecordsError> {
        content(&self.connection(), id)
    }

    /// Erases an attachment, its name and its content, unless the same content is attached elsewhere too. That there was one
    /// stays known.
    ///
    /// # Errors
    /// Where there is no such attachment or it was erased already, or the disk refuses. Where another program reads the
    /// records, it is erased but old bytes may still lie beside the file; the error says so.
    pub fn erase_attachment(&self, id: AttachmentId, on: Date) -> Result<(), RecordsError> {
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        if erase_where(&transaction, "id = ?1", id.0, on)? == 0 {
            return Err(RecordsError::asked("there is no such attachment (any more)", "reload the page"));
        }
        transaction.commit()?;
        // What was deleted is overwritten in the file once the log of writes is brought into it.
        empty_companion(&connection)
    }
}

/// Erases attachments; gives how many.
pub(crate) fn erase_where(
    connection: &Connection,
    which: &str,
    number: i64,
    on: Date,
) -> Result<usize, RecordsError> {
    let sql = format!(
        "UPDATE attachment SET name = '', sha256 = NULL, erased = ?2 WHERE {which} AND erased IS NULL"
    );
    let erased = connection.execute(&sql, params![number, on.to_string()])?;
    connection.execute(
        "DELETE FROM content WHERE sha256 NOT IN (SELECT sha256 FROM attachment WHERE sha256 IS NOT NULL)",
        [],
    )?;
    Ok(erased)
}

pub(crate) fn content(connection: &Connection, id: AttachmentId) -> Result<Option<Vec<u8>>, RecordsError> {
    let sql =
        "SELECT c.sha256, c.bytes FROM attachment a JOIN content c ON c.sha256 = a.sha256 WHERE a.id = ?1";
    let found: Option<(Sum, Vec<u8>)> =
        connection.query_row(sql, [id.0], |row| Ok((row.get(0)?, row.get(1)?))).optional()?;
    match found {
        Some((sum, bytes)) if Sum::from(Sha256::digest(&bytes)) != sum => Err(RecordsError::new(
            format!("the content of attachment {} is damaged", id.0),
            "get it from a backup; all else can be read",
        )),
        found => Ok(found.map(|f| f.1)),
    }
}

fn attachment(row: &Row<'_>) -> rusqlite::Result<Attachment> {
    Ok(Attachment {
        id: AttachmentId(row.get(0)?),
        kind: AttachmentKind::of(&row.get::<_, String>(1)?),
        media_type: row.get(2)?,
        name: row.get(3)?,
        at: row.get(4)?,
        bytes: row.get::<_, i64>(5)?.unsigned_abs(),
        erased: row.get(6)?,
    })
}

#[cfg(test)]
mod tests {
    use super::{AttachmentKind, kind_of};

    #[test]
    fn a_content_is_what_its_bytes_say() {
        let kind = |bytes: &[u8]| kind_of(bytes).map(|k| k.0);
        assert_eq!(kind(b"\x89PNG\r\n\x1a\n...."), Some(AttachmentKind::Picture));
        assert_eq!(kind(b"\xff\xd8\xff\xe0...."), Some(AttachmentKind::Picture));
        assert_eq!(kind(b"RIFF\x24\x00\x00\x00WAVEfmt "), Some(AttachmentKind::Sound));
        let webm = [&b"\x1a\x45\xdf\xa3\x42\x82\x84webm"[..], &[0; 300]].concat();
        assert_eq!(kind(&webm), Some(AttachmentKind::Sound));
        assert_eq!(kind(b"time;watts\n12:00:01;31,2\n"), Some(AttachmentKind::Recording));
        assert_eq!(kind(b"time,W,\xb0C\n1,2,3\n"), Some(AttachmentKind::Recording));
        assert_eq!(kind(b"\x1f\x8b\x08\x00"), Some(AttachmentKind::Recording));
        for never in [
            &b"<!DOCTYPE html><script>"[..],
            b" \n<svg onload=x>",
            b"\x7fELF\x02\x01",
            b"MZ\x90\x00",
            b"a\0b",
        ] {
            assert_eq!(kind(never), None, "{never:?}");
        }
    }
}
