//! Recordings read: any meter's CSV in, samples out, and a summary of what was found.
//!
//! [`Reader`] gives one sample after the other and holds no more than its buffers, so that a year at one sample a
//! second takes no more memory than a minute; [`read`] collects them.
//!
//! Read in this order: `source.rs` (bytes to lines), `foreign.rs` (files that are no recording), `dialect.rs` (what the
//! first lines say about the rest, with `columns.rs` and `calendar.rs`), `rows.rs` (a line to a sample, with `cells.rs`
//! and `number.rs`), `timeline.rs` and `watch.rs` (what shows only from row to row), `summary.rs`.

mod calendar;
mod cells;
mod columns;
mod dialect;
mod error;
mod foreign;
mod number;
mod rows;
mod source;
mod summary;
mod timeline;
mod watch;

use std::io::{ErrorKind, Read};

pub use calendar::DateOrder;
pub use columns::{Column, Role};
pub use error::ReadError;
pub use source::{Encoding, Packing};
pub use summary::{Dialect, Found, KEPT, Remark, Stretch, Summary, TimeFormat};

use crate::{Sample, Trace};
use dialect::Plan;
use rows::Rows;
use source::{Line, Lines};

/// How much of a file is looked at to see how it is written.
const HEAD: usize = 128 * 1024;

/// How far ahead a file is searched for a date that tells day and month apart. Ten samples a second pass midnight
/// within half of this.
const FARTHEST_AHEAD: usize = 64 * 1024 * 1024;

/// What the reader is told about a recording; by default nothing, all is found out from the file.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Options {
    /// Whether 03/04/2024 is the 3rd of April; None finds out, or refuses with the question.
    pub day_first: Option<bool>,
    /// Columns and what they hold, by header or by number from 1. Overrides what headers say.
    pub columns: Vec<(String, Role)>,
}

/// Reads a recording sample by sample.
pub struct Reader<'a> {
    lines: Lines<'a>,
    rows: Rows,
    summary: Summary,
    done: bool,
}

impl<'a> Reader<'a> {
    /// Opens a recording: unpacks it, and finds out from its first lines how to read the rest.
    ///
    /// # Errors
    /// Where there is no table of readings, no time, no power to be had, or day and month cannot be told apart.
    pub fn new(input: impl Read + 'a, options: &Options) -> Result<Self, ReadError> {
        let source = source::open(input).map_err(|e| damaged(&e, None))?;
        if let Some(error) = foreign::known(&source.start) {
            return Err(error);
        }
        let (encoding, packing) = (source.encoding, source.packing);
        let mut lines = Lines::new(source.bytes);
        if lines.peek(3).map_err(|e| damaged(&e, None))?.starts_with(b"\xef\xbb\xbf") {
            lines.skip(3);
        }
        let (plan, time) = planned(&mut lines, options)?;
        let dialect = Dialect {
            packing,
            encoding,
            delimiter: char::from(plan.delimiter),
            decimal_mark: char::from(plan.point),
            header_line: plan.header_line.map(|line| line as u64),
            time,
        };
        let rows = Rows::new(&plan, time);
        let mut summary = Summary::new(dialect, plan.columns, plan.notes, plan.questions);
        skip_preamble(&mut lines, plan.preamble, &mut summary)?;
        Ok(Self { lines, rows, summary, done: false })
    }

    /// What was found so far; complete once the samples have come to their end.
    pub fn summary(&self) -> &Summary {
        &self.summary
    }

    /// The summary, for keeping.
    pub fn into_summary(self) -> Summary {
        self.summary
    }

    fn end(&mut self) -> Option<Result<Sample, ReadError>> {
        self.done = true;
        self.rows.sum_up(self.lines.number, &mut self.summary);
        (self.summary.samples == 0).then(|| Err(self.nothing_read()))
    }

    fn nothing_read(&self) -> ReadError {
        let first = self.summary.skipped.first.iter().find(|s| s.why != PREAMBLE);
        let why = first.map_or(String::new(), |s| format!(", for the first reason that {}", s.why));
        ReadError::new(
            format!("no line gave a reading{why}"),
            first.map(|s| s.line),
            "Check which columns hold time and power, and name them by header or number",
        )
    }
}

impl Iterator for Reader<'_> {
    type Item = Result<Sample, ReadError>;

    #[inline]
    fn next(&mut self) -> Option<Self::Item> {
        if let Some(sample) = self.rows.ready() {
            return Some(Ok(sample));
        }
        while !self.done {
            let number = self.lines.number + 1;
            match self.lines.next() {
                Ok(Some(Line::Text(text))) => {
                    self.summary.lines = number;
                    if let Some(sample) = self.rows.take(text, number, &mut self.summary) {
                        return Some(Ok(sample));
                    }
                }
                Ok(Some(Line::TooLong)) => {
                    self.summary.lines = number;
                    self.summary
                        .skipped
                        .add(|| Remark { line: number, why: "longer than any row of readings".into() });
                }
                Ok(None) => match self.rows.flush(&mut self.summary) {
                    Some(sample) => return Some(Ok(sample)),
                    None => return self.end(),
                },
                Err(e) => {
                    self.end();
                    return Some(Err(damaged(&e, Some(number))));
                }
            }
        }
        None
    }
}

const PREAMBLE: &str = "stands before the readings";

/// Reads a whole recording into memory.
///
/// # Errors
/// As [`Reader::new`], and where the file is damaged part way.
pub fn read(input: impl Read, options: &Options) -> Result<(Trace, Summary), ReadError> {
    let mut reader = Reader::new(input, options)?;
    let samples = reader.by_ref().collect::<Result<Vec<_>, _>>()?;
    let summary = reader.into_summary();
    Ok((Trace { samples, start_unix_s: summary.start_unix_s }, summary))
}

fn planned(lines: &mut Lines<'_>, options: &Options) -> Result<(Plan, TimeFormat), ReadError> {
    let mut ahead = HEAD;
    loop {
        let head = lines.peek(ahead).map_err(|e| damaged(&e, None))?;
        if ahead == HEAD {
            let plan = dialect::sniff(whole_lines(head, ahead), options)?;
            if let Some(time) = plan.time {
                return Ok((plan, time));
            }
        } else {
            let plan = dialect::sniff(head.get(..HEAD).unwrap_or(head), options)?;
            let dates = plan.column(Role::Date).or(plan.column(Role::Time)).map_or(0, |c| c.index);
            if let Some(order) = dialect::date_order(head, plan.delimiter, dates) {
                return Ok((plan, TimeFormat::Date(order)));
            }
        }
        if lines.ended() || ahead >= FARTHEST_AHEAD {
            return Err(ReadError::new(
                "day and month cannot be told apart: every date in the recording could be read both ways",
                None,
                "Which comes first, the day or the month? Say so and read it again",
            ));
        }
        ahead *= 8;
    }
}

/// The look-ahead without a line that it cuts short.
fn whole_lines(head: &[u8], asked: usize) -> &[u8] {
    match head.iter().rposition(|b| *b == b'\n') {
        Some(end) if head.len() >= asked => &head[..end],
        _ => head,
    }
}

fn skip_preamble(lines: &mut Lines<'_>, count: usize, summary: &mut Summary) -> Result<(), ReadError> {
    for _ in 0..count {
        let number = lines.number + 1;
        let line = lines.next().map_err(|e| damaged(&e, Some(number)))?;
        let blank = matches!(line, Some(Line::Text(text)) if text.trim_ascii().is_empty());
        if !blank && summary.dialect.header_line != Some(number) {
            summary.skipped.add(|| Remark { line: number, why: PREAMBLE.into() });
        }
    }
    summary.lines = count as u64;
    Ok(())
}

fn damaged(error: &std::io::Error, line: Option<u64>) -> ReadError {
    let what = match error.kind() {
        // What unpacking says about bytes that are not as they should be.
        ErrorKind::UnexpectedEof | ErrorKind::InvalidData | ErrorKind::InvalidInput | ErrorKind::Other => {
            "the packed file is damaged or was cut short".to_owned()
        }
        _ => format!("the file cannot be read on ({error})"),
    };
    let rest = if line.is_some() { "; what came before this line has been read" } else { "" };
    ReadError::new(what, line, format!("Copy it from the meter again{rest}"))
}

impl Summary {
    fn new(dialect: Dialect, columns: Vec<Column>, notes: Vec<String>, questions: Vec<String>) -> Self {
        Self {
            dialect,
            columns,
            lines: 0,
            samples: 0,
            start_unix_s: None,
            step_s: 0.0,
            skipped: Found::default(),
            missing: Found::default(),
            gaps: Found::default(),
            duplicates: Found::default(),
            backward: Found::default(),
            clock_changes: Found::default(),
            quantum_w: None,
            stuck: Found::default(),
            contradictions: Found::default(),
            notes,
            questions,
        }
    }
}
