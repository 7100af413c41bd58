//! The files that are made of a record: their names, what they are, and what stands in their way.

use crate::record::JobRecord;
use crate::{Form, Paper, PdfError, calendar, label_svg, lines_csv, pdf, ubl};
use jiff::Timestamp;
use std::fmt;

/// A file of a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Document {
    /// Everything, for the file.
    Record,
    /// One page for the customer.
    Customer,
    /// The lines of the invoice.
    Lines,
    /// The invoice as UBL.
    Invoice,
    /// The label for the machine.
    Label,
    /// The next visit.
    Calendar,
}

/// A file that was made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Made {
    /// Its content.
    pub bytes: Vec<u8>,
    /// Characters that no font at hand can show, as codes for a message; they stand by their code in it.
    pub unshown: Option<String>,
    /// The customer's version has as many pages, although one was wanted.
    pub too_long: Option<usize>,
}

/// Why there is no file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NotMade {
    /// The page could not be set.
    Pdf(PdfError),
    /// The record lacks something for it: what, and what to do.
    Lacks(String),
}

impl fmt::Display for NotMade {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NotMade::Pdf(e) => e.fmt(f),
            NotMade::Lacks(what) => f.write_str(what),
        }
    }
}

impl std::error::Error for NotMade {}

impl Document {
    /// All, in the order in which they are listed.
    pub const ALL: [Document; 6] = [
        Document::Record,
        Document::Customer,
        Document::Lines,
        Document::Invoice,
        Document::Label,
        Document::Calendar,
    ];

    /// Name of the file.
    pub fn file_name(self) -> &'static str {
        match self {
            Document::Record => "record.pdf",
            Document::Customer => "customer.pdf",
            Document::Lines => "invoice.csv",
            Document::Invoice => "invoice.xml",
            Document::Label => "label.svg",
            Document::Calendar => "follow-up.ics",
        }
    }

    /// The document of a file's name.
    pub fn named(name: &str) -> Option<Document> {
        Document::ALL.into_iter().find(|d| d.file_name() == name)
    }

    /// What it is, for who transmits it (IANA media types).
    pub fn media_type(self) -> &'static str {
        match self {
            Document::Record | Document::Customer => "application/pdf",
            Document::Lines => "text/csv; charset=utf-8",
            Document::Invoice => "application/xml",
            Document::Label => "image/svg+xml",
            Document::Calendar => "text/calendar; charset=utf-8",
        }
    }

    /// Makes it. `fonts` as for [`pdf()`]; `now` is when a calendar file is made.
    ///
    /// # Errors
    /// Where the record lacks what it needs, or the page cannot be set.
    pub fn make(
        self,
        record: &JobRecord,
        paper: Paper,
        fonts: &[Vec<u8>],
        now: Timestamp,
    ) -> Result<Made, NotMade> {
        let plain = |text: String| Made { bytes: text.into_bytes(), unshown: None, too_long: None };
        match self {
            Document::Record => set(record, Form::Full, paper, fonts),
            Document::Customer => set(record, Form::Customer, paper, fonts),
            Document::Lines => lines_csv(record).map(plain).map_err(|e| NotMade::Lacks(e.to_string())),
            Document::Invoice => ubl(record).map(plain).map_err(|e| NotMade::Lacks(e.to_string())),
            Document::Label => label_svg(record).map(plain).map_err(|e| NotMade::Lacks(e.to_string())),
            Document::Calendar => calendar(record, now).map(plain).map_err(|e| NotMade::Lacks(e.to_string())),
        }
    }
}

fn set(record: &JobRecord, form: Form, paper: Paper, fonts: &[Vec<u8>]) -> Result<Made, NotMade> {
    let pdf = pdf(record, form, paper, fonts).map_err(NotMade::Pdf)?;
    let too_long = (form == Form::Customer && pdf.pages > 1).then_some(pdf.pages);
    Ok(Made { unshown: pdf.unshown_words(), too_long, bytes: pdf.bytes })
}

#[cfg(test)]
mod tests {
    use super::{Document, NotMade};
    use crate::{JobRecord, Paper};

    #[test]
    fn a_document_is_known_by_its_file_and_an_empty_record_says_what_it_lacks() {
        for document in Document::ALL {
            assert_eq!(Document::named(document.file_name()), Some(document));
            if !matches!(document, Document::Record | Document::Customer) {
                let made = document.make(&JobRecord::default(), Paper::A4, &[], jiff::Timestamp::UNIX_EPOCH);
                assert!(matches!(made, Err(NotMade::Lacks(why)) if !why.is_empty()), "{document:?}");
            }
        }
        assert_eq!(Document::named("../record.pdf"), None);
    }
}
