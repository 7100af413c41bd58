//! One sample, and the list of them that a recording is.

/// What a meter saw at one moment. SI units, never NaN or infinite.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Sample {
    /// Seconds since the recording's origin; see [`Trace::start_unix_s`].
    pub time_s: f64,
    /// Real power, W. Negative where the recording says so (feeding back, or a clamp the wrong way round).
    pub power_w: f64,
    /// RMS voltage, V, where the meter logs it.
    pub voltage_v: Option<f64>,
    /// RMS current, A, where the meter logs it.
    pub current_a: Option<f64>,
    /// Power factor P/S, −1 to 1, where the meter logs it.
    pub power_factor: Option<f64>,
}

impl Sample {
    /// A sample of power alone.
    pub fn new(time_s: f64, power_w: f64) -> Self {
        Self { time_s, power_w, ..Self::default() }
    }
}

/// A recording held whole. Recordings too long for memory go sample by sample instead: [`crate::read::Reader`].
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Trace {
    /// The samples in the order of the recording, times never decreasing.
    pub samples: Vec<Sample>,
    /// Seconds from 1970-01-01 00:00 to `time_s` 0: UTC where the recording states a zone, else by the recorder's
    /// own clock. None where the recording counts from its own start.
    pub start_unix_s: Option<f64>,
}

impl Trace {
    /// A recording of power alone, from `(time_s, power_w)` pairs.
    pub fn from_powers(pairs: impl IntoIterator<Item = (f64, f64)>) -> Self {
        let samples = pairs.into_iter().map(|(time_s, power_w)| Sample::new(time_s, power_w)).collect();
        Self { samples, start_unix_s: None }
    }
}
