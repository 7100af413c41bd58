//! What must not be lost: customers, machines, jobs, and the append-only log of what was said, seen and measured, in one
//! SQLite file.
//!
//! Read in this order: `entry.rs` (one entry of the log, in the form of the evidence file), `log.rs` (a job's log, and the
//! evidence file written from it), `open.rs` (opening without ever making it worse), then `jobs.rs`, `keep.rs`.
//! Not here: what evidence means (`diagnosis`), pages (`server`).
//!
//! Always true: an entry is on the disk before [`Records::append`] returns; no entry is ever changed or deleted; everything
//! derived can be worked out again from [`Log::evidence_file`] and the text of the machine file.

mod chain;
mod entry;
mod error;
mod jobs;
mod keep;
mod log;
mod migrate;
mod open;
mod samples;
mod settings;
mod users;

pub use chain::Chain;
pub use entry::{Entry, NewEntry, Says};
pub use error::RecordsError;
pub use jobs::{Customer, Job, JobId, JobLine, JobMachine};
pub use keep::Checked;
pub use log::{EvidenceText, Log};
pub use open::Records;
pub use samples::{Gap, MOST_SAMPLES, Sample, Socket, SocketId, Trace, TraceId};
pub use settings::{Instrument, Settings};
pub use users::{Role, Session, User, UserId};
