//! What is handed over at the end of a job: data in, bytes out.
//!
//! The caller fills a [`JobRecord`] ([`Found::of`], [`Proof::of`], [`Plate::of`], [`Bill::of_work`] fill its parts from
//! what the other crates worked out), and a [`Document`] makes a file of it. [`pdf()`] makes the full record or the
//! customer's page of it, [`ubl()`] and [`lines_csv()`] the invoice, [`trace_svg()`] the picture of the trace,
//! [`calendar()`] the file for a follow-up, [`label_svg()`] the label for the machine. [`sheets_pdf()`] sets drawings
//! and text on pages for teaching.
//!
//! Read in this order: `record.rs`, `proof.rs`, `bill.rs` (the data); `gathered/` (from a finding and a report to the data);
//! `visit_file/` (from a file to the data); `document.rs` (the files); `pdf/` (`world.rs` is the only place that knows typst, the
//! pages themselves stand in the `.typ` files); `invoice/`; `trace.rs`; `calendar.rs`; `label.rs`.
//! Not here: finding, pricing, testing (`diagnosis`, `worth`, `safety`), keeping it (`records`), reading and writing files
//! (`wattmend`).
//!
//! Always true: no clock, no files, no network, so the same data give the same bytes; text of the user is never markup; a
//! character that no font can show is said, never dropped; nothing says that a machine is safe unless every test that applies
//! has passed ([`Claim`]).

mod bill;
mod calendar;
mod document;
mod gathered;
mod invoice;
mod label;
mod pdf;
mod proof;
mod record;
mod trace;
pub mod visit_file;

pub use self::trace::{Span, trace_svg};
pub use bill::{Bill, BillLine, TaxAmount};
pub use calendar::{CalendarError, calendar};
pub use document::{Document, Made, NotMade};
pub use invoice::{InvoiceError, lines_csv, ubl};
pub use label::{LabelError, label_svg};
pub use pdf::{Form, Paper, Pdf, PdfError, Sheet, is_font, pdf, sheets_pdf, unshown};
pub use proof::{Claim, Proof, SafetyRow, Verdict};
pub use record::{
    Consent, Correction, Done, Firm, FollowUp, Found, JobRecord, Part, Party, Plate, Step, Suspect,
};
