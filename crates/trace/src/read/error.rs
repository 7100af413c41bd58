//! What stops a recording from being read, said so that a technician can act on it.

use std::fmt;

/// Why a recording could not be read (further): what, where, and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadError {
    /// What is the matter, in one clause.
    pub what: String,
    /// The line it was seen on, counted from 1; None where it is about the whole file.
    pub line: Option<u64>,
    /// What to do about it.
    pub remedy: String,
}

impl ReadError {
    pub(crate) fn new(what: impl Into<String>, line: Option<u64>, remedy: impl Into<String>) -> Self {
        Self { what: what.into(), line, remedy: remedy.into() }
    }
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(line) = self.line {
            write!(f, "line {line}: ")?;
        }
        write!(f, "{}. {}.", self.what, self.remedy)
    }
}

impl std::error::Error for ReadError {}
