//! The technician's sockets, and where the meter of each is heard; the format stands in `docs/meters.md`.
//!
//! Read in this order: the types here, `read.rs` (the file and its sockets), `kinds.rs` (what each kind of source has),
//! `quantities.rs` (where each quantity stands in what a meter sends), `values.rs` (single keys).

mod kinds;
mod quantities;
mod read;
mod secret;
#[cfg(test)]
mod tests;
mod values;

use crate::MeterError;
use crate::measured::Measured;
use machine::diagnostic::{Diagnostic, line_column};
use simulator::MeterModel;
use std::path::{Path, PathBuf};
use std::time::Duration;

pub use read::{LARGEST_FILE, diagnose};
pub use secret::Secret;

/// All sockets, in the order of the file. Their names differ.
#[derive(Clone, Debug, PartialEq)]
pub struct Config {
    /// The sockets.
    pub sockets: Vec<SocketConfig>,
}

/// A socket and its meter.
#[derive(Clone, Debug, PartialEq)]
pub struct SocketConfig {
    /// What the technician calls it: "bench left".
    pub name: String,
    /// How often the meter gives a reading by itself, or is asked for one. Recordings and simulations know their own pace.
    pub every: Duration,
    /// Where it is heard.
    pub source: Source,
}

/// Where a meter is heard.
#[derive(Clone, Debug, PartialEq)]
pub enum Source {
    /// Messages of an MQTT broker.
    Mqtt(Mqtt),
    /// Modbus registers, over TCP or as RTU on a serial line.
    Modbus(Modbus),
    /// An instrument that answers SCPI queries, over TCP or a serial line.
    Scpi(Scpi),
    /// Lines of text on a serial line.
    SerialLines(SerialLines),
    /// JSON fetched by plain HTTP.
    HttpJson(HttpJson),
    /// A recording that another program is writing.
    GrowingFile(GrowingFile),
    /// A recording, played.
    Replay(Replay),
    /// A made-up machine.
    Simulator(Simulator),
}

/// Where one quantity stands in what a meter sends, and what one there is in SI units.
#[derive(Clone, Debug, PartialEq)]
pub struct Taking<P> {
    /// The quantity.
    pub measured: Measured,
    /// Its place.
    pub place: P,
    /// The number there times this is W, V, A, 1, Hz or J.
    pub factor: f64,
}

/// A broker, and the topics of one meter. A retained message is no fresh reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Mqtt {
    /// Name or address of the broker.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// User and password, where the broker asks for them.
    pub login: Option<(String, Secret)>,
    /// One of them is the power; a reading is given whenever its topic speaks.
    pub values: Vec<Taking<TopicPlace>>,
    /// Where the meter's own time stands.
    pub time: Option<TopicPlace>,
    /// Where the broker says that the meter has gone.
    pub last_will: Option<LastWill>,
}

/// A place in the messages of a topic.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TopicPlace {
    /// The topic, without wildcards.
    pub topic: String,
    /// A JSON pointer (RFC 6901); None where the whole message is the number.
    pub pointer: Option<String>,
}

/// What the broker says in the meter's name once the meter has gone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LastWill {
    /// Where it says so.
    pub place: TopicPlace,
    /// The words; anything else says that the meter is there.
    pub gone: String,
}

/// A device and its registers.
#[derive(Clone, Debug, PartialEq)]
pub struct Modbus {
    /// TCP, or a serial line for RTU.
    pub wire: Wire,
    /// The device's address, also called slave or unit, 0 to 255.
    pub address: u8,
    /// Where the quantities stand.
    pub values: Vec<Taking<Register>>,
}

/// A value in one, two or four registers of 16 bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Register {
    /// The first, as counted on the wire: from 0.
    pub number: u16,
    /// Input registers (function 4); else holding registers (function 3).
    pub input: bool,
    /// What they hold.
    pub form: Form,
    /// The register with the low bits comes first.
    pub low_first: bool,
}

/// What registers hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// One register.
    U16,
    /// One register, two's complement.
    I16,
    /// Two registers.
    U32,
    /// Two registers, two's complement.
    I32,
    /// Two registers, IEC 60559 binary32.
    F32,
    /// Four registers.
    U64,
    /// Four registers, two's complement.
    I64,
    /// Four registers, IEC 60559 binary64.
    F64,
}

/// An instrument that answers queries with numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct Scpi {
    /// How it is reached.
    pub wire: Wire,
    /// Sent once after connecting; no answer is waited for.
    pub setup: Vec<String>,
    /// What to ask for each quantity. Equal queries are sent once.
    pub values: Vec<Taking<Query>>,
}

/// A query, and which of the numbers in its answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Query {
    /// As it is sent, without its end of line.
    pub text: String,
    /// Which of the values with commas or semicolons between them, from 0.
    pub field: usize,
}

/// A meter that writes lines of text by itself.
#[derive(Clone, Debug)]
pub struct SerialLines {
    /// The line.
    pub line: SerialLine,
    /// With groups named as the quantities; lines that do not match are no readings.
    pub pattern: regex_lite::Regex,
    /// The groups.
    pub values: Vec<Taking<String>>,
    /// The pattern has a group `time`.
    pub time: bool,
}

impl PartialEq for SerialLines {
    fn eq(&self, other: &SerialLines) -> bool {
        self.pattern.as_str() == other.pattern.as_str()
            && (&self.line, &self.values, self.time) == (&other.line, &other.values, other.time)
    }
}

/// A page of JSON, fetched again and again.
#[derive(Clone, Debug, PartialEq)]
pub struct HttpJson {
    /// Host, or host and port, as in the Host header.
    pub authority: String,
    /// Name or address.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Path and query.
    pub path: String,
    /// A header to send with it: name and value.
    pub header: Option<(String, Secret)>,
    /// JSON pointers (RFC 6901).
    pub values: Vec<Taking<String>>,
    /// Pointer to the meter's own time.
    pub time: Option<String>,
}

/// A recording that grows.
#[derive(Clone, Debug, PartialEq)]
pub struct GrowingFile {
    /// The file; it need not be there yet, and may be cut off or replaced by a new one.
    pub file: PathBuf,
    /// Whether 03/04/2024 is the 3rd of April; None where the file shows it.
    pub day_first: Option<bool>,
}

/// How a device is reached.
#[derive(Clone, Debug, PartialEq)]
pub enum Wire {
    /// A TCP connection.
    Tcp {
        /// Name or address.
        host: String,
        /// Port.
        port: u16,
    },
    /// A serial line.
    Serial(SerialLine),
}

/// A serial line with eight data bits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SerialLine {
    /// `/dev/ttyUSB0`, `COM3`.
    pub device: PathBuf,
    /// Bits a second.
    pub baud: u32,
    /// The parity bit.
    pub parity: Parity,
    /// Two stop bits, not one.
    pub two_stop_bits: bool,
}

/// Parity of a serial line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Parity {
    /// No parity bit.
    None,
    /// Even.
    Even,
    /// Odd.
    Odd,
}

/// A recording, played as if its meter were there.
#[derive(Clone, Debug, PartialEq)]
pub struct Replay {
    /// The recording: any file that `wattmend trace` reads.
    pub file: PathBuf,
    /// So many times as fast as it was recorded; over 0.
    pub speed: f64,
    /// From the start again at its end; else the meter is lost then.
    pub again: bool,
}

/// A made-up machine with faults on a made-up meter; the same seed gives the same readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Simulator {
    /// The machine file.
    pub machine: PathBuf,
    /// Faults as `element=open`; none for a healthy machine.
    pub faults: Vec<String>,
    /// The meter at its plug.
    pub meter: MeterModel,
    /// Which of all machines and moments it is.
    pub seed: u64,
    /// So many times as fast as a real machine; over 0.
    pub speed: f64,
}

impl Config {
    /// Reads a configuration.
    ///
    /// # Errors
    /// All that is wrong in it, in the order of the file.
    pub fn read(text: &str) -> Result<Config, Vec<MeterError>> {
        diagnose(text).map_err(|found| found.into_iter().map(|d| as_error(text, d)).collect())
    }

    /// The same with paths of files that are not absolute taken from this folder, as a rule that of the configuration.
    #[must_use]
    pub fn in_folder(mut self, folder: &Path) -> Config {
        for socket in &mut self.sockets {
            let path = match &mut socket.source {
                Source::Replay(replay) => &mut replay.file,
                Source::GrowingFile(growing) => &mut growing.file,
                Source::Simulator(made_up) => &mut made_up.machine,
                Source::Mqtt(_)
                | Source::Modbus(_)
                | Source::Scpi(_)
                | Source::SerialLines(_)
                | Source::HttpJson(_) => continue,
            };
            *path = folder.join(&path);
        }
        self
    }

    /// The socket of this name.
    pub fn socket(&self, name: &str) -> Option<&SocketConfig> {
        self.sockets.iter().find(|s| s.name == name)
    }
}

fn as_error(text: &str, d: Diagnostic) -> MeterError {
    MeterError {
        line: Some(line_column(text, d.span.start).0),
        message: d.message,
        remedy: d.remedies.join("; "),
    }
}
