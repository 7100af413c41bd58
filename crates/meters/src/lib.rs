//! Live sources of a plug-in power meter.
//!
//! A [`Config`] names the technician's sockets and where the meter of each is to be heard; [`watch`] gives [`News`] of one
//! socket until nobody listens any more, and connects again whenever the meter breaks off; [`try_it`] connects once and
//! shows the raw message beside what was read from it. Sources that are made up ([`Source::Simulator`]) or recorded
//! ([`Source::Replay`]) are watched in the same way.
//!
//! Read in this order: `reading.rs` (what comes out), `measured.rs` (what is believed), `config/` (what a file says), `watch.rs` (lost and found again),
//! then one file of `source/` for each way of hearing a meter. A source is a *session*: a future that connects, hands on
//! each message with what was read from it, and ends with the reason why it broke off. It knows nothing of loss and of
//! trying again.
//!
//! Always true: a meter that is not heard is [`News::Lost`], never a reading of zero; no message is dropped without a
//! word (who listens slowly makes the meter wait); a value that no socket can show is refused; sizes are bounded.
//! Not here: what a reading means (`trace::live`, `diagnosis`).

mod backoff;
mod config;
mod error;
mod measured;
mod reading;
mod source;
mod watch;

pub use config::{
    Config, Form, GrowingFile, HttpJson, LARGEST_FILE, LastWill, Modbus, Mqtt, Parity, Query, Register,
    Replay, Scpi, Secret, SerialLine, SerialLines, Simulator, SocketConfig, Source, Taking, TopicPlace, Wire,
    diagnose,
};
pub use error::MeterError;
pub use measured::Measured;
pub use reading::{LOST_AFTER, News, Reading, Tried};
pub use watch::{Presses, try_it, watch, watch_with_presses};
