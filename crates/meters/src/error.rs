//! What is the matter with a meter or its entry in the file, said so that a technician can act on it.

use std::fmt;

/// What is wrong, where, and what to do about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MeterError {
    /// Line of the configuration, counted from 1; None where it is about the meter itself.
    pub line: Option<usize>,
    /// What is wrong.
    pub message: String,
    /// What to do about it.
    pub remedy: String,
}

impl MeterError {
    /// About the meter itself or what it sent.
    pub(crate) fn new(message: impl Into<String>, remedy: impl Into<String>) -> MeterError {
        MeterError { line: None, message: message.into(), remedy: remedy.into() }
    }
}

impl fmt::Display for MeterError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(line) = self.line {
            write!(f, "line {line}: ")?;
        }
        write!(f, "{} ({})", self.message, self.remedy)
    }
}

impl std::error::Error for MeterError {}
