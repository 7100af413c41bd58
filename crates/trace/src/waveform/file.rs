//! Waveforms out of files.

use std::io::Read;

use hound::{SampleFormat, WavReader, WavSpec};

use super::Waveform;
use crate::Sample;
use crate::read::{Options, ReadError, Reader};

/// The longest waveform read, in samples of each channel: near three minutes at 48 kHz, 128 MB in memory.
pub const MOST_SAMPLES: usize = 8_000_000;

/// What one unit of each channel stands for, and where the channels are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scales {
    /// Volts for 1; in a WAV file 1 is full scale.
    pub volts: f64,
    /// Amperes for 1; in a WAV file 1 is full scale. Negative turns a clamp around.
    pub amperes: f64,
    /// Whether a WAV file's first channel is the current and its second the voltage.
    pub swapped: bool,
}

impl Default for Scales {
    fn default() -> Self {
        Self { volts: 1.0, amperes: 1.0, swapped: false }
    }
}

/// Reads the first two channels of a WAV file, whole numbers or floats of any width.
///
/// # Errors
/// Where it is no WAV file, has one channel only, is damaged or longer than [`MOST_SAMPLES`].
pub fn read_wav(input: impl Read, scales: Scales) -> Result<Waveform, ReadError> {
    let reader = WavReader::new(input).map_err(|e| broken(&e))?;
    let spec = reader.spec();
    if spec.channels < 2 || spec.sample_rate == 0 || spec.bits_per_sample == 0 || spec.bits_per_sample > 32 {
        return Err(ReadError::new(
            format!(
                "{} channel(s) of {} bits hold no voltage and current",
                spec.channels, spec.bits_per_sample
            ),
            None,
            "Record voltage on one channel and current on the other of a stereo file",
        ));
    }
    let mut reader = reader;
    match spec.sample_format {
        SampleFormat::Float => gather(reader.samples::<f32>().map(|s| s.map(f64::from)), spec, scales),
        SampleFormat::Int => {
            let full = 2f64.powi(i32::from(spec.bits_per_sample) - 1);
            gather(reader.samples::<i32>().map(|s| s.map(|s| f64::from(s) / full)), spec, scales)
        }
    }
}

fn gather(
    samples: impl Iterator<Item = hound::Result<f64>>,
    spec: WavSpec,
    scales: Scales,
) -> Result<Waveform, ReadError> {
    let mut wave = Waveform { rate_hz: f64::from(spec.sample_rate), ..Waveform::default() };
    let end_of_range = 1.0 - 1.5 / 2f64.powi(i32::from(spec.bits_per_sample.clamp(2, 24)) - 1);
    let channels = usize::from(spec.channels);
    for (at, sample) in samples.enumerate() {
        let value = sample.map_err(|e| broken(&e))?;
        if !value.is_finite() {
            return Err(broken(&"a sample is no number"));
        }
        wave.clipped += usize::from(at % channels < 2 && value.abs() >= end_of_range);
        match (at % channels, scales.swapped) {
            (0, false) | (1, true) => wave.voltage_v.push(value * scales.volts),
            (0, true) | (1, false) => wave.current_a.push(value * scales.amperes),
            _ => {}
        }
        bounded(wave.voltage_v.len())?;
    }
    let length = wave.voltage_v.len().min(wave.current_a.len());
    wave.voltage_v.truncate(length);
    wave.current_a.truncate(length);
    Ok(wave)
}

/// Steps shorter than this show the mains cycle itself, in seconds: no meter gives an RMS value more often than once in
/// half a cycle.
const FASTEST_RMS_S: f64 = 0.002;

/// Whether a recording that begins like this is a waveform and no list of RMS values: voltage and current in every sample,
/// under 2 ms apart.
pub fn is_waveform(head: &[Sample]) -> bool {
    let [first, .., last] = head else { return false };
    let step_s = (last.time_s - first.time_s) / (head.len() - 1) as f64;
    let both = head.iter().all(|s| s.voltage_v.is_some() && s.current_a.is_some());
    both && step_s > 0.0 && step_s < FASTEST_RMS_S
}

/// Reads a CSV with columns of time, voltage and current, in any dialect that [`crate::read`] knows.
///
/// # Errors
/// As [`Reader::new`] and [`read_samples`].
pub fn read_csv(input: impl Read, options: &Options, scales: Scales) -> Result<Waveform, ReadError> {
    read_samples(&[], &mut Reader::new(input, options)?, scales)
}

/// Goes on reading a CSV of which the first samples have been taken already.
///
/// # Errors
/// Where the samples do not follow evenly, some are missing, or there are more than [`MOST_SAMPLES`].
pub fn read_samples(head: &[Sample], rest: &mut Reader<'_>, scales: Scales) -> Result<Waveform, ReadError> {
    let mut wave = Waveform::default();
    let (mut first, mut last) = (None, 0.0);
    for sample in head.iter().copied().map(Ok).chain(rest.by_ref()) {
        let sample = sample?;
        let (Some(volts), Some(amperes)) = (sample.voltage_v, sample.current_a) else {
            return Err(ReadError::new(
                "a sample lacks its voltage or current",
                None,
                "Export both channels, with names such as “voltage (V)” and “current (A)”, or name the columns",
            ));
        };
        first.get_or_insert(sample.time_s);
        last = sample.time_s;
        wave.voltage_v.push(volts * scales.volts);
        wave.current_a.push(amperes * scales.amperes);
        bounded(wave.voltage_v.len())?;
    }
    let summary = rest.summary();
    if summary.gaps.count + summary.backward.count + summary.duplicates.count + summary.clock_changes.count
        > 0
    {
        return Err(ReadError::new(
            "the samples do not follow each other evenly",
            summary.gaps.first.first().map(|g| g.line).or(summary.duplicates.first.first().copied()),
            "Export the waveform with all digits of the time, one line a sample",
        ));
    }
    let span = last - first.unwrap_or(last);
    wave.rate_hz = if span > 0.0 { (wave.voltage_v.len() - 1) as f64 / span } else { 0.0 };
    Ok(wave)
}

fn bounded(length: usize) -> Result<(), ReadError> {
    if length <= MOST_SAMPLES {
        return Ok(());
    }
    Err(ReadError::new(
        format!("over {MOST_SAMPLES} samples are too many for a waveform"),
        None,
        "Cut out the seconds that matter, or record fewer samples a second",
    ))
}

fn broken(error: &dyn std::fmt::Display) -> ReadError {
    ReadError::new(
        format!("this is no whole WAV file ({error})"),
        None,
        "Export it again, uncompressed (PCM)",
    )
}
