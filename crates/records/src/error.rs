//! Why the records say no, for the person who keeps them.

use std::fmt;

/// What an error is about.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum About {
    /// The records themselves, or what was to go into them.
    #[default]
    Records,
    /// What was named is not there.
    Asked,
    /// What was to be written elsewhere: a backup, an export.
    Output,
}

/// What is wrong, and what to do about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordsError {
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub remedy: String,
    /// The disk or another program refused, not what was said: the same may be taken later.
    pub may_pass: bool,
    /// What it is about.
    pub about: About,
}

impl RecordsError {
    pub(crate) fn new(message: impl Into<String>, remedy: impl Into<String>) -> Self {
        RecordsError {
            message: message.into(),
            remedy: remedy.into(),
            may_pass: false,
            about: About::Records,
        }
    }

    /// What was named is not there.
    pub(crate) fn asked(message: impl Into<String>, remedy: impl Into<String>) -> Self {
        RecordsError { about: About::Asked, ..RecordsError::new(message, remedy) }
    }

    /// What was to be written elsewhere is not.
    pub(crate) fn output(message: impl Into<String>, remedy: impl Into<String>) -> Self {
        RecordsError { about: About::Output, ..RecordsError::new(message, remedy) }
    }
}

impl fmt::Display for RecordsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.message, self.remedy)
    }
}

impl std::error::Error for RecordsError {}

impl From<rusqlite::Error> for RecordsError {
    fn from(error: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode;
        let code = error.sqlite_error_code();
        let (message, remedy) = match code {
            Some(ErrorCode::DiskFull) => {
                ("the disk is full: nothing was saved".to_owned(), "make room, then send it again")
            }
            Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied | ErrorCode::CannotOpen) => (
                "the records cannot be written: nothing was saved".to_owned(),
                "let this user write to the folder of the records",
            ),
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => (
                "another program holds the records: nothing was saved".to_owned(),
                "end the other program, then send it again",
            ),
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => (
                format!("the records are damaged: {error}"),
                "stop here, copy the whole folder aside, and go back to the last backup",
            ),
            _ => (
                format!("the records refused: {error}"),
                "send it again; if it stays, look at `wattmend records check`",
            ),
        };
        RecordsError { may_pass: true, ..RecordsError::new(message, remedy) }
    }
}
