//! What must not be lost: customers, machines, jobs, and the append-only log of what was said, seen and measured, in one
//! SQLite file.
//!
//! Read in this order: `entry.rs` (one entry of the log, in the form of the evidence file), `log.rs` (a job's log, and the
//! evidence file written from it), `visit.rs` (what entries of the visit hold), `open.rs` (opening without ever making it worse), `jobs.rs`, `chain.rs` (why a change of
//! the log shows), `samples/` (what the meters saw), `attachments.rs`, `users.rs`; then what is done with all of it:
//! `check.rs`, `backup.rs`, `export/`, `import.rs`, `erase.rs`.
//! Not here: what evidence means (`diagnosis`), pages (`server`).
//!
//! Always true: an entry or sample is on the disk before the call that keeps it returns; no entry is ever changed or
//! deleted; what a person said in words can be erased, and nothing else of an entry; everything derived can be worked out
//! again from [`Log::evidence_file`] and the text of the machine file.

mod attachments;
mod backup;
mod chain;
mod check;
mod entry;
mod erase;
mod error;
mod export;
mod handed_over;
mod import;
mod jobs;
mod log;
mod migrate;
mod open;
mod samples;
mod settings;
mod stock;
mod users;
mod visit;

pub use attachments::{Attachment, AttachmentId, AttachmentKind, LARGEST_ATTACHMENT};
pub use backup::Restored;
pub use chain::Chain;
pub use check::Checked;
pub use entry::{Entry, NewEntry, Says};
pub use erase::{CustomerId, CustomerLine, Erased, Whose};
pub use error::{About, RecordsError};
pub use export::Counted;
pub use handed_over::{Closing, HandedOver};
pub use jobs::{Customer, Job, JobId, JobLine, JobMachine};
pub use log::{EvidenceText, Log};
pub use open::Records;
pub use samples::{Gap, MOST_SAMPLES, Sample, Socket, SocketId, Trace, TraceId};
pub use settings::{Charges, ChosenUnits, FirmFacts, Instrument, LanguageFile, Settings};
pub use stock::{StockPart, Taken};
pub use users::{Role, Session, User, UserId};
pub use visit::{HandOverFacts, NoSignature, ProvingFacts, Signature, TesterFacts};
