//! The files of a record, made in memory.

use crate::end::Failure;
use crate::sheets::not_made;
use handover::{Document, JobRecord, Made, NotMade, Paper, PdfError};

/// The files, and what is to be said of them.
pub(super) struct Papers {
    /// Name and contents.
    pub(super) files: Vec<(&'static str, Vec<u8>)>,
    /// What could not be made, and why.
    pub(super) left_out: Vec<String>,
    /// What else must be known.
    pub(super) remarks: Vec<String>,
}

/// Makes all that the record has the data for.
pub(super) fn make(record: &JobRecord, paper: Paper, fonts: &[Vec<u8>]) -> Result<Papers, Failure> {
    let mut made = Papers { files: Vec::new(), left_out: missing(record), remarks: Vec::new() };
    for document in Document::ALL {
        // Said once among what is missing.
        if record.bill.is_none() && matches!(document, Document::Lines | Document::Invoice) {
            continue;
        }
        match document.make(record, paper, fonts, jiff::Timestamp::now()) {
            Ok(one) => {
                made.remarks.extend(remarks(&one));
                made.files.push((document.file_name(), one.bytes));
            }
            // The other files are none the worse for it.
            Err(NotMade::Pdf(e @ PdfError::NoTypesetter)) => {
                made.left_out.push(format!("{}: {e}", document.file_name()));
            }
            Err(NotMade::Pdf(e)) => return Err(not_made(&e)),
            Err(NotMade::Lacks(why)) => made.left_out.push(format!("{}: {why}", document.file_name())),
        }
    }
    made.remarks.dedup();
    Ok(made)
}

/// Sections that the record lacks, with the part of the visit file that would give them.
fn missing(record: &JobRecord) -> Vec<String> {
    let lacks = [
        (record.firm.party.name.is_empty(), "who did it: the visit file has no [firm]"),
        (record.customer.name.is_empty(), "the customer: the visit file has no [customer]"),
        (
            record.done.work.is_empty() && record.done.parts.is_empty(),
            "what was done: the visit file has no work and no [[part]]",
        ),
        (record.proof.is_none(), "the safety test: the visit file has no [safety]"),
        (record.bill.is_none(), "price and invoice: the visit file has no [price]"),
        (record.consent.is_none(), "consent: the visit file has no [consent]"),
        (record.warranty.is_empty(), "warranty: the visit file says nothing of it"),
    ];
    lacks.into_iter().filter(|l| l.0).map(|l| l.1.to_owned()).collect()
}

fn remarks(made: &Made) -> Vec<String> {
    let unshown = made.unshown.as_ref().map(|codes| {
        format!(
            "no font at hand can show {codes}: they stand by their code. --font FILE names a font that has them"
        )
    });
    let long = made
        .too_long
        .map(|pages| format!("the customer's version has {pages} pages: shorten its texts for one"));
    unshown.into_iter().chain(long).collect()
}
