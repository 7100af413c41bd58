//! What was found in a recording and what was done about it.

use super::calendar::DateOrder;
use super::columns::Column;
use super::source::{Encoding, Packing};

/// How many entries of one kind are kept; the rest are only counted, so that memory stays flat.
pub const KEPT: usize = 1000;

/// Things found, with their number: the first [`KEPT`] in full.
#[derive(Debug, Clone, PartialEq)]
pub struct Found<T> {
    /// How many there were.
    pub count: u64,
    /// The first of them.
    pub first: Vec<T>,
}

impl<T> Default for Found<T> {
    fn default() -> Self {
        Self { count: 0, first: Vec::new() }
    }
}

impl<T> Found<T> {
    /// Adds one; `make` runs only where there is still room.
    pub(super) fn add(&mut self, make: impl FnOnce() -> T) {
        self.count += 1;
        if self.first.len() < KEPT {
            self.first.push(make());
        }
    }
}

/// Something about one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Remark {
    /// The line, counted from 1.
    pub line: u64,
    /// What was found there and what was done.
    pub why: String,
}

/// A stretch without readings, or (as [`Summary::stuck`]) with one reading that never moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Time of the last sample before, or the first of the stretch, s.
    pub start_s: f64,
    /// Time of the first sample after, or the last of the stretch, s.
    pub end_s: f64,
    /// The line on which it ends.
    pub line: u64,
}

/// How time is written in a recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TimeFormat {
    /// A number that counts from the recording's own start, times this many seconds.
    Count {
        /// Seconds per count.
        scale: f64,
    },
    /// A number that counts from 1970-01-01 00:00 UTC, times this many seconds.
    Epoch {
        /// Seconds per count.
        scale: f64,
    },
    /// A clock without a date; midnights are counted on.
    Clock,
    /// A date and a clock.
    Date(DateOrder),
}

/// How a file is written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dialect {
    /// How it is packed.
    pub packing: Packing,
    /// How its characters are stored.
    pub encoding: Encoding,
    /// What stands between cells.
    pub delimiter: char,
    /// What stands before decimals.
    pub decimal_mark: char,
    /// The line the column names are on, counted from 1; None where there are none.
    pub header_line: Option<u64>,
    /// How time is written.
    pub time: TimeFormat,
}

/// What was found in a recording and what was done about it. Complete once the reader has come to its end.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// How the file is written.
    pub dialect: Dialect,
    /// Its columns, read or not.
    pub columns: Vec<Column>,
    /// Lines read, headers and empty lines included.
    pub lines: u64,
    /// Samples given.
    pub samples: u64,
    /// See [`crate::Trace::start_unix_s`].
    pub start_unix_s: Option<f64>,
    /// The usual time between samples, s; 0 before it is known.
    pub step_s: f64,
    /// Lines left out, and why.
    pub skipped: Found<Remark>,
    /// Cells without a reading in a line that was used.
    pub missing: Found<Remark>,
    /// Stretches without readings: over five usual steps, and over 10 s or 20 usual steps, whichever is less.
    pub gaps: Found<Stretch>,
    /// Lines that repeat the time of the line before; kept as samples.
    pub duplicates: Found<u64>,
    /// Lines up to a minute older than the one before, left out; a later one of that time has been given already.
    pub backward: Found<Remark>,
    /// Where the recorder's clock was set, and what was done to keep time running on.
    pub clock_changes: Found<Remark>,
    /// The smallest step between successive readings seen at least three times, W: the meter's resolution.
    pub quantum_w: Option<f64>,
    /// Stretches over 10 min and 60 samples in which a load over 20 W reads the same to the last digit.
    pub stuck: Found<Stretch>,
    /// Lines on which power, voltage, current and power factor contradict each other.
    pub contradictions: Found<Remark>,
    /// What was computed or assumed, in plain words.
    pub notes: Vec<String>,
    /// What only the person who recorded it can answer.
    pub questions: Vec<String>,
}
