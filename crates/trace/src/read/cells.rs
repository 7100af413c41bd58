//! From a line to its cells, and from a cell to a reading.

use super::columns::{self, Role};
use super::number;

/// More columns than this are not looked at.
pub(super) const MOST_COLUMNS: usize = 256;

/// Splits a line at its delimiters, outside quotes, into the places of its cells, blanks and quotes taken off.
pub(super) fn split(line: &[u8], delimiter: u8, cells: &mut Vec<(usize, usize)>) {
    cells.clear();
    let mut start = 0;
    let mut quoted = false;
    for (at, &byte) in line.iter().enumerate() {
        if byte == delimiter && !quoted {
            cells.push(trim(line, start, at));
            start = at + 1;
            if cells.len() == MOST_COLUMNS {
                return;
            }
        } else if byte == b'"' {
            quoted = !quoted;
        }
    }
    cells.push(trim(line, start, line.len()));
}

fn trim(line: &[u8], mut from: usize, mut to: usize) -> (usize, usize) {
    let junk = |b: u8| matches!(b, b' ' | b'"' | b'\t' | 0xa0);
    while from < to && junk(line[from]) {
        from += 1;
    }
    while from < to && junk(line[to - 1]) {
        to -= 1;
    }
    (from, to)
}

/// What a cell says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Cell {
    Value(f64),
    /// Empty, or one of the words meters write for "nothing".
    Missing,
    Garbage,
}

/// Reads a cell as a number, in base units where it names its unit itself (`1,2 kW`), else times `scale`.
pub(super) fn reading(text: &[u8], point: u8, role: Role, scale: f64) -> Cell {
    if let Some(value) = number::whole(text, point) {
        return finite(value * scale);
    }
    if missing(text) {
        return Cell::Missing;
    }
    with_unit(text, point, role)
}

fn finite(value: f64) -> Cell {
    if value.abs() < 1e15 { Cell::Value(value) } else { Cell::Garbage }
}

fn missing(text: &[u8]) -> bool {
    const WORDS: [&[u8]; 14] = [
        b"",
        b"-",
        b"--",
        b"---",
        b"?",
        b"nan",
        b"null",
        b"none",
        b"na",
        b"n/a",
        b"#n/a",
        b"ol",
        b"inf",
        b"unavailable",
    ];
    text.len() <= 12 && WORDS.contains(&text.to_ascii_lowercase().as_slice())
}

fn with_unit(text: &[u8], point: u8, role: Role) -> Cell {
    let Some(end) = text.iter().rposition(u8::is_ascii_digit) else { return Cell::Garbage };
    let (digits, rest) = text.split_at(end + 1);
    let found = std::str::from_utf8(rest).ok().and_then(columns::unit);
    match (number::whole(digits, point), found) {
        (Some(value), Some((of, scale))) if of == role => finite(value * scale),
        (Some(value), None) if role == Role::PowerFactor && rest == b"%" => finite(value / 100.0),
        _ => Cell::Garbage,
    }
}

/// Whether a cell could be a number with or without a unit.
pub(super) fn numeric(text: &[u8]) -> bool {
    let Some(end) = text.iter().rposition(u8::is_ascii_digit) else { return false };
    let (digits, rest) = text.split_at(end + 1);
    let unit = rest.is_empty() || std::str::from_utf8(rest).ok().is_some_and(|r| columns::unit(r).is_some());
    let end_point = rest == b"." || rest == b",";
    (unit || end_point) && (number::whole(digits, b'.').is_some() || number::whole(digits, b',').is_some())
}
