//! The lines as CSV, for a spreadsheet or a bookkeeping program.

use super::{InvoiceError, refused};
use crate::bill::per_cent;
use crate::record::JobRecord;

/// The lines of the bill: a heading, then a row a line; amounts without tax, with a decimal point. A cell that a spreadsheet
/// would take for a formula begins with an apostrophe.
///
/// # Errors
/// Where the record has no bill, or its currency is none.
pub fn lines_csv(record: &JobRecord) -> Result<String, InvoiceError> {
    let bill = record.bill.as_ref().ok_or_else(|| refused("there is no price", "price the repair first"))?;
    let money = bill.money().map_err(|e| InvoiceError { message: e.message, remedy: e.remedy })?;
    let wrong = |e: csv::Error| refused(format!("the lines cannot be written: {e}"), "report this");
    let mut out = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    out.write_record([
        "invoice",
        "date",
        "line",
        "what",
        "quantity",
        "price",
        "net",
        "tax_percent",
        "currency",
    ])
    .map_err(wrong)?;
    let date = record.date.map_or(String::new(), |d| d.to_string());
    for (at, line) in bill.lines.iter().enumerate() {
        out.write_record([
            plain(&bill.number),
            date.clone(),
            (at + 1).to_string(),
            plain(&line.what),
            line.quantity.to_string(),
            money.number(line.one),
            money.number(line.net),
            per_cent(line.rate),
            money.code().to_owned(),
        ])
        .map_err(wrong)?;
    }
    let bytes =
        out.into_inner().map_err(|e| refused(format!("the lines cannot be written: {e}"), "report this"))?;
    String::from_utf8(bytes).map_err(|e| refused(format!("the lines are no text: {e}"), "report this"))
}

/// A text that no spreadsheet runs.
fn plain(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
}
