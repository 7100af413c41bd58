//! The ways of hearing a meter, one file each.

mod growing;
mod http;
mod lines;
mod modbus;
mod mqtt;
mod played;
mod polled;
mod replay;
mod scpi;
mod simulator;
mod text;
mod wire;

use crate::config::{SocketConfig, Source};
use crate::{MeterError, Reading};
use std::time::Duration;
use tokio::sync::mpsc;

/// What a session hands on.
#[derive(Debug)]
pub(crate) enum Heard {
    /// A message, and what was read from it.
    Message { raw: String, read: Result<Taken, MeterError> },
    /// A message that goes into the next reading.
    Part { raw: String },
    /// The meter is known to have gone, though the connection stands.
    Gone { raw: String, why: MeterError },
    /// The source itself found out how often its readings come.
    Pace(Duration),
}

/// What was read from a message.
#[derive(Debug)]
pub(crate) struct Taken {
    pub(crate) reading: Reading,
    /// What was left out of it, and why.
    pub(crate) left_out: Vec<String>,
}

/// To whom a session hands on. A full channel makes the session wait, and with it the meter.
pub(crate) type Ear = mpsc::Sender<Heard>;

/// Connects and hands on what is heard until it breaks off; gives the reason. Cancelled by dropping it.
pub(crate) async fn session(
    socket: &SocketConfig,
    presses: Option<&mut mpsc::Receiver<()>>,
    ear: &Ear,
) -> MeterError {
    match &socket.source {
        Source::Mqtt(mqtt) => mqtt::session(socket, mqtt, ear).await,
        Source::Modbus(modbus) => modbus::session(socket, modbus, ear).await,
        Source::Scpi(scpi) => scpi::session(socket, scpi, ear).await,
        Source::SerialLines(lines) => lines::session(lines, ear).await,
        Source::HttpJson(page) => http::session(socket, page, ear).await,
        Source::GrowingFile(file) => growing::session(socket, file, ear).await,
        Source::Replay(replay) => replay::session(replay, ear).await,
        Source::Simulator(made_up) => simulator::session(made_up, presses, ear).await,
    }
}

/// Hands on; false where nobody listens any more.
pub(crate) async fn hand_on(ear: &Ear, raw: String, read: Result<Taken, MeterError>) -> bool {
    ear.send(Heard::Message { raw, read }).await.is_ok()
}

/// Why a session ends whose listener has gone; nobody reads it.
pub(crate) fn unheard() -> MeterError {
    MeterError::new("nobody listens any more", "watch the socket again")
}
