//! The files of a record, made in memory.

use crate::end::Failure;
use crate::sheets::not_made;
use handover::{Form, JobRecord, Paper, Pdf, calendar, label_svg, lines_csv, pdf, ubl};

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
    let full = pdf(record, Form::Full, paper, fonts).map_err(|e| not_made(&e))?;
    let page = pdf(record, Form::Customer, paper, fonts).map_err(|e| not_made(&e))?;
    made.remarks.extend(remarks(&full, &page));
    made.files.push(("record.pdf", full.bytes));
    made.files.push(("customer.pdf", page.bytes));
    if record.bill.is_some() {
        match lines_csv(record) {
            Ok(lines) => made.files.push(("invoice.csv", lines.into_bytes())),
            Err(e) => made.left_out.push(format!("invoice.csv: {e}")),
        }
        match ubl(record) {
            Ok(xml) => made.files.push(("invoice.xml", xml.into_bytes())),
            Err(e) => made.left_out.push(format!("invoice.xml: {e}")),
        }
    }
    match label_svg(record) {
        Ok(svg) => made.files.push(("label.svg", svg.into_bytes())),
        Err(e) => made.left_out.push(format!("label.svg: {e}")),
    }
    match calendar(record, jiff::Timestamp::now()) {
        Ok(text) => made.files.push(("follow-up.ics", text.into_bytes())),
        Err(e) => made.left_out.push(format!("follow-up.ics: {e}")),
    }
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

fn remarks(full: &Pdf, page: &Pdf) -> Vec<String> {
    let mut remarks = Vec::new();
    if let Some(codes) = full.unshown_words() {
        remarks.push(format!(
            "no font at hand can show {codes}: they stand by their code. --font FILE names a font that has them"
        ));
    }
    if page.pages > 1 {
        remarks.push(format!("the customer's version has {} pages: shorten its texts for one", page.pages));
    }
    remarks
}
