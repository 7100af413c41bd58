//! The invoice for a bookkeeper and for a program.

mod lines;
mod ubl;
mod xml;

pub use lines::lines_csv;
pub use ubl::ubl;

use std::fmt;

/// What stands in the way of an invoice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InvoiceError {
    /// What is wrong, or missing.
    pub message: String,
    /// What to do.
    pub remedy: String,
}

impl fmt::Display for InvoiceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.message, self.remedy)
    }
}

impl std::error::Error for InvoiceError {}

fn refused(message: impl Into<String>, remedy: &str) -> InvoiceError {
    InvoiceError { message: message.into(), remedy: remedy.to_owned() }
}
