//! What a meter says, after it has been understood.

use crate::MeterError;
use jiff::Timestamp;
use std::time::Duration;

/// A meter that has not been heard for so long is lost; for one that reports more slowly, three of its periods.
pub const LOST_AFTER: Duration = Duration::from_secs(3);

/// How long a meter that reports so often may be silent before it counts as lost.
pub(crate) fn patience(every: Duration) -> Duration {
    LOST_AFTER.max(3 * every)
}

/// One reading as a meter gave it. SI units, root mean square; every value finite and one that a socket can show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// When it arrived, by the clock of this machine.
    pub arrived: Timestamp,
    /// When the meter says it was taken, by the meter's own clock, which nobody set to ours: good for the time between
    /// two readings of one meter, never to be mixed with `arrived`. A recording or a simulation played faster or slower
    /// than it ran has its own pace here.
    pub stamped: Option<Timestamp>,
    /// Real power, W; negative where the meter says so.
    pub watts: Option<f64>,
    /// Voltage, V.
    pub volts: Option<f64>,
    /// Current, A.
    pub amps: Option<f64>,
    /// Power factor, −1 … 1.
    pub power_factor: Option<f64>,
    /// Frequency of the supply, Hz.
    pub hertz: Option<f64>,
    /// The meter's own count of energy, J; it may start anywhere.
    pub energy_j: Option<f64>,
}

impl Reading {
    /// Arrived now, with nothing in it.
    pub(crate) fn empty() -> Reading {
        Reading {
            arrived: Timestamp::now(),
            stamped: None,
            watts: None,
            volts: None,
            amps: None,
            power_factor: None,
            hertz: None,
            energy_j: None,
        }
    }
}

/// What happened at a socket.
#[derive(Clone, Debug, PartialEq)]
pub enum News {
    /// The meter was heard. After [`News::Lost`] this also says that it is back.
    Reading(Reading),
    /// A message came from which no reading could be taken, or not all of it, or the connection broke for a moment so that
    /// readings may be missing: shown beside the readings. It is no reading: a meter of which only such messages come is
    /// lost. Said once until the reason changes.
    Refused {
        /// What was wrong with it, and what to do.
        why: String,
    },
    /// Nothing is known of the socket since [`LOST_AFTER`], or the connection broke: to be shown as lost, never as zero
    /// watts. Said once, and again when the reason changes.
    Lost {
        /// Why, and what to do.
        why: String,
    },
}

/// One message while a meter is tried.
#[derive(Clone, Debug, PartialEq)]
pub struct Tried {
    /// The message as it came, or a table of what was asked and answered; cut off after some kilobytes.
    pub raw: String,
    /// What was read from it, or why nothing.
    pub reading: Result<Reading, MeterError>,
    /// Values in it that were left out, each with the reason.
    pub left_out: Vec<String>,
}
