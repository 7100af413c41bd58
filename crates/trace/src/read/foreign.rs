//! Files that are no table of readings, told by how they begin.

use super::error::ReadError;

/// First bytes, what such a file is, and what to do about it. From the formats' own specifications (from memory).
const KNOWN: &[(&[u8], &str, &str)] = &[
    (b"PK\x03\x04", "a spreadsheet (.xlsx, .ods) or another ZIP archive", SPREADSHEET),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet (.xls) or another office file", SPREADSHEET),
    (b"%PDF", "a PDF", EXPORT),
    (b"\x89PNG", "a picture", EXPORT),
    (b"\xff\xd8\xff", "a picture", EXPORT),
    (b"RIFF", "a sound file", "Read it by itself, with --full-scale where it holds volts and amperes"),
    (b"SQLite format 3", "a database", EXPORT),
    (b"PAR1", "a Parquet file", EXPORT),
    (b"BZh", "packed with bzip2", UNPACK),
    (b"\xfd7zXZ", "packed with xz", UNPACK),
    (b"7z\xbc\xaf", "a 7z archive", UNPACK),
    (b"Rar!", "a RAR archive", UNPACK),
    (b"{", "JSON", EXPORT),
    (b"<", "XML, HTML or a drawing", EXPORT),
];

const SPREADSHEET: &str = "Open it and save the sheet with the readings as CSV";
const EXPORT: &str = "Export the recording from the meter's program as CSV";
const UNPACK: &str = "Unpack it first; only gzip and Zstandard are unpacked here";

/// Share of bytes that stand in no text from which a file is none, one in so many.
const ODD_BYTES: usize = 20;

/// What a file is that begins like this and is no recording.
pub(super) fn known(start: &[u8]) -> Option<ReadError> {
    let (_, what, remedy) = KNOWN.iter().find(|(first, ..)| start.starts_with(first))?;
    Some(ReadError::new(format!("this is {what}, not a table of readings"), None, *remedy))
}

/// Why no table was found in the first bytes of a file.
pub(super) fn no_table(head: &[u8]) -> ReadError {
    if head.iter().all(u8::is_ascii_whitespace) {
        let what = if head.is_empty() { "it is empty" } else { "it holds blank lines only" };
        return ReadError::new(
            what,
            None,
            "Copy it from the meter again; the recording may not have been saved",
        );
    }
    let odd = head.iter().filter(|b| b.is_ascii_control() && !b.is_ascii_whitespace()).count();
    if odd * ODD_BYTES > head.len() {
        return ReadError::new("this is no text but a program's own format", None, EXPORT);
    }
    ReadError::new(
        "no table of readings found: no line has a time and a number, parted by comma, semicolon, tab or |",
        None,
        "Export the recording from the meter's program as CSV, with the time in one column",
    )
}
