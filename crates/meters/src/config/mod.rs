//! The technician's sockets, and where the meter of each is heard; the format stands in `docs/meters.md`.

mod read;

use crate::MeterError;
use machine::diagnostic::line_column;
use simulator::MeterModel;
use std::path::{Path, PathBuf};
use std::time::Duration;

pub use read::{LARGEST_FILE, diagnose};

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
    /// How often the meter gives a reading by itself, or is asked for one.
    pub every: Duration,
    /// Where it is heard.
    pub source: Source,
}

/// Where a meter is heard.
#[derive(Clone, Debug, PartialEq)]
pub enum Source {
    /// A recording, played.
    Replay(Replay),
    /// A made-up machine.
    Simulator(Simulator),
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
        diagnose(text).map_err(|found| {
            let error = |d: machine::diagnostic::Diagnostic| MeterError {
                line: Some(line_column(text, d.span.start).0),
                field: text[d.span].lines().next().unwrap_or_default().trim().to_owned(),
                message: d.message,
                remedy: d.remedies.join("; "),
            };
            found.into_iter().map(error).collect()
        })
    }

    /// The same with paths that are not absolute taken from this folder, as a rule that of the configuration's file.
    #[must_use]
    pub fn in_folder(mut self, folder: &Path) -> Config {
        for socket in &mut self.sockets {
            let path = match &mut socket.source {
                Source::Replay(replay) => &mut replay.file,
                Source::Simulator(made_up) => &mut made_up.machine,
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
