//! Recordings fast enough to show the mains cycle: power quantities after IEEE Std 1459-2010.
//!
//! A [`Waveform`] holds volts and amperes sample by sample, from a [WAV file](read_wav) or a [CSV](read_csv);
//! [`analyse`] finds its mains cycles and gives [`Power`] over all whole ones and for each, and [`Harmonic`]s.
//!
//! Read in this order: `file.rs` (files to samples), `cycles.rs` (where the cycles are), `power.rs` (the quantities).

mod cycles;
mod file;
mod power;

pub use file::{MOST_SAMPLES, Scales, is_waveform, read_csv, read_samples, read_wav};
pub use power::{Harmonic, Power};

use crate::read::ReadError;

/// Voltage and current, sampled evenly and at the same moments.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Waveform {
    /// Samples a second, each channel.
    pub rate_hz: f64,
    /// Voltage, V.
    pub voltage_v: Vec<f64>,
    /// Current, A; as long as `voltage_v`.
    pub current_a: Vec<f64>,
    /// Samples at the end of the recorder's range, in either channel: the peaks are cut off there, and all that is
    /// computed from them is too low.
    pub clipped: usize,
}

/// One mains cycle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cycle {
    /// Its beginning, the voltage rising through zero, s from the recording's first sample.
    pub start_s: f64,
    /// One over its length, Hz.
    pub frequency_hz: f64,
    /// Its power quantities.
    pub power: Power,
}

/// What a waveform shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Analysis {
    /// Mean mains frequency, Hz.
    pub frequency_hz: f64,
    /// Power quantities over all whole cycles.
    pub power: Power,
    /// Harmonics 1 to 40 over all whole cycles, as far as the sampling rate allows.
    pub harmonics: Vec<Harmonic>,
    /// Cycle by cycle.
    pub cycles: Vec<Cycle>,
}

/// Finds the mains cycles of a waveform and what flows in them.
///
/// # Errors
/// Where the voltage shows no two mains cycles between 40 and 70 Hz, or there are fewer than eight samples a cycle.
pub fn analyse(waveform: &Waveform) -> Result<Analysis, ReadError> {
    let starts = cycles::starts(&waveform.voltage_v);
    let (first, last, count) = match starts[..] {
        [first, .., last] => (first, last, starts.len() - 1),
        _ => return Err(no_mains("no mains cycles were found in the voltage channel")),
    };
    let length = (last - first) / count as f64;
    let frequency_hz = waveform.rate_hz / length;
    if !(40.0..=70.0).contains(&frequency_hz) {
        return Err(no_mains(format!(
            "the voltage channel swings at {frequency_hz:.1} Hz, which is no mains"
        )));
    }
    if length < 8.0 {
        return Err(ReadError::new(
            format!("{length:.1} samples a cycle are too few to compute power from"),
            None,
            "Record at 1000 samples a second or more, better 10000",
        ));
    }
    let over = |from: f64, to: f64, cycles: usize| power::Span {
        voltage: &waveform.voltage_v,
        current: &waveform.current_a,
        from,
        to,
        cycles: cycles as f64,
    };
    let cycles = starts
        .windows(2)
        .map(|w| Cycle {
            start_s: w[0] / waveform.rate_hz,
            frequency_hz: waveform.rate_hz / (w[1] - w[0]),
            power: over(w[0], w[1], 1).power(),
        })
        .collect();
    let whole = over(first, last, count);
    Ok(Analysis { frequency_hz, power: whole.power(), harmonics: whole.harmonics(), cycles })
}

fn no_mains(what: impl Into<String>) -> ReadError {
    ReadError::new(
        what,
        None,
        "Check that voltage and current are not swapped, that the scale is right and that the recording is at least \
         two cycles long",
    )
}
