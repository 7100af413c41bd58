//! What is wrong with a text, where, and how to write it instead.

use std::error::Error;
use std::fmt;
use std::ops::Range;

/// A text that is not a value of the wanted dimension, or that could be read in two ways.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotationError {
    /// The offending bytes in the text that was read; begins and ends on character boundaries.
    pub span: Range<usize>,
    /// What is wrong.
    pub message: String,
    /// What to write instead.
    pub remedy: String,
}

impl fmt::Display for NotationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.message, self.remedy)
    }
}

impl Error for NotationError {}

/// A stretch of the text being read that knows where it stands, so that errors can point at it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Piece<'a> {
    pub(crate) text: &'a str,
    pub(crate) start: usize,
}

impl<'a> Piece<'a> {
    /// The whole text, trimmed; refuses what is empty or too long.
    pub(crate) fn whole(text: &'a str, example: &str) -> Result<Self, NotationError> {
        if text.len() > crate::LONGEST_TEXT {
            return Err(NotationError {
                span: 0..text.len(),
                message: format!("this is {} bytes long, far longer than any value", text.len()),
                remedy: format!("write the value alone, e.g. {example}"),
            });
        }
        let piece = Self { text, start: 0 }.trim();
        if piece.text.is_empty() {
            return Err(NotationError {
                span: 0..text.len(),
                message: "a value is missing here".to_owned(),
                remedy: format!("write e.g. {example}"),
            });
        }
        Ok(piece)
    }

    /// The same stretch without white space at its ends.
    pub(crate) fn trim(self) -> Self {
        let tail = self.text.trim_start();
        Self { start: self.start + self.text.len() - tail.len(), text: tail.trim_end() }
    }

    /// Parts before and from `at`, a byte offset within the piece on a character boundary.
    pub(crate) fn split(self, at: usize) -> (Self, Self) {
        let (head, tail) = self.text.split_at(at);
        (Self { text: head, start: self.start }, Self { text: tail, start: self.start + at })
    }

    /// The piece after `prefix`, if it begins with it.
    pub(crate) fn after(self, prefix: &str) -> Option<Self> {
        let text = self.text.strip_prefix(prefix)?;
        Some(Self { text, start: self.start + prefix.len() })
    }

    /// An error that points at this piece.
    pub(crate) fn error(self, message: impl Into<String>, remedy: impl Into<String>) -> NotationError {
        NotationError {
            span: self.start..self.start + self.text.len(),
            message: message.into(),
            remedy: remedy.into(),
        }
    }
}
