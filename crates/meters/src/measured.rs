//! The quantities of a reading: which there are, what a socket can show of each, and a reading put together from them.

use crate::source::Taken;
use crate::{MeterError, Reading};
use jiff::Timestamp;
use quantity::Dimension;

/// A quantity that a meter measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measured {
    /// Real power, W.
    Power,
    /// Voltage, V.
    Voltage,
    /// Current, A.
    Current,
    /// Power factor.
    PowerFactor,
    /// Frequency, Hz.
    Frequency,
    /// Energy counted, J.
    Energy,
}

impl Measured {
    /// All, as they stand in a file.
    pub(crate) const ALL: [Measured; 6] = [
        Measured::Power,
        Measured::Voltage,
        Measured::Current,
        Measured::PowerFactor,
        Measured::Frequency,
        Measured::Energy,
    ];

    /// Its key in the file.
    pub(crate) fn key(self) -> &'static str {
        match self {
            Measured::Power => "power",
            Measured::Voltage => "voltage",
            Measured::Current => "current",
            Measured::PowerFactor => "power-factor",
            Measured::Frequency => "frequency",
            Measured::Energy => "energy",
        }
    }

    /// What its units measure.
    pub(crate) fn dimension(self) -> Dimension {
        match self {
            Measured::Power => Dimension::Power,
            Measured::Voltage => Dimension::Voltage,
            Measured::Current => Dimension::Current,
            Measured::PowerFactor => Dimension::Ratio,
            Measured::Frequency => Dimension::Frequency,
            Measured::Energy => Dimension::Energy,
        }
    }

    /// What a domestic socket, single or three-phase, can show, with its unit. Wide: only what no meter at a plug can mean
    /// is outside (a wrong register, a wrong unit). Common practice, no source.
    fn shown(self) -> (f64, f64, &'static str) {
        match self {
            Measured::Power => (-50_000.0, 50_000.0, "W"),
            Measured::Voltage => (0.0, 1_000.0, "V"),
            Measured::Current => (-200.0, 200.0, "A"),
            // Meters round: 1.005 at a heater is a reading.
            Measured::PowerFactor => (-1.05, 1.05, ""),
            Measured::Frequency => (0.0, 500.0, "Hz"),
            // 16 A at 230 V for 80 years is less.
            Measured::Energy => (-1e13, 1e13, "J"),
        }
    }

    /// The value, or why no socket shows it.
    pub(crate) fn believed(self, value: f64) -> Result<f64, String> {
        let (least, most, unit) = self.shown();
        if !value.is_finite() {
            return Err(format!("the {} is no number ({value})", self.key()));
        }
        if !(least..=most).contains(&value) {
            return Err(format!(
                "a {} of {value:.4e} {unit} at a socket cannot be; is the place or the unit wrong?",
                self.key()
            ));
        }
        Ok(if self == Measured::PowerFactor { value.clamp(-1.0, 1.0) } else { value })
    }

    fn of(self, reading: &mut Reading) -> &mut Option<f64> {
        match self {
            Measured::Power => &mut reading.watts,
            Measured::Voltage => &mut reading.volts,
            Measured::Current => &mut reading.amps,
            Measured::PowerFactor => &mut reading.power_factor,
            Measured::Frequency => &mut reading.hertz,
            Measured::Energy => &mut reading.energy_j,
        }
    }
}

/// A reading as it is put together. Without its power there is none; other values that cannot be taken are left out.
pub(crate) struct Gathered {
    reading: Reading,
    left_out: Vec<String>,
    no_power: Option<String>,
}

impl Gathered {
    /// Arrived now.
    pub(crate) fn new() -> Gathered {
        Gathered { reading: Reading::empty(), left_out: Vec::new(), no_power: None }
    }

    /// What a sample of a recording, of the same units, says.
    pub(crate) fn of_sample(sample: &trace::Sample) -> Gathered {
        let mut gathered = Gathered::new();
        gathered.take(Measured::Power, 1.0, Ok(sample.power_w));
        for (measured, value) in [
            (Measured::Voltage, sample.voltage_v),
            (Measured::Current, sample.current_a),
            (Measured::PowerFactor, sample.power_factor),
        ] {
            if let Some(value) = value {
                gathered.take(measured, 1.0, Ok(value));
            }
        }
        gathered
    }

    /// Takes a number as the meter sent it, or why there is none.
    pub(crate) fn take(&mut self, measured: Measured, factor: f64, number: Result<f64, String>) {
        match number.and_then(|n| measured.believed(n * factor)) {
            Ok(value) => *measured.of(&mut self.reading) = Some(value),
            Err(why) if measured == Measured::Power => self.no_power = Some(why),
            Err(why) => self.left_out.push(why),
        }
    }

    /// Takes the meter's own time.
    pub(crate) fn stamp(&mut self, stamp: Result<Timestamp, String>) {
        match stamp {
            Ok(stamp) => self.reading.stamped = Some(stamp),
            Err(why) => self.left_out.push(why),
        }
    }

    /// The reading, or why none.
    pub(crate) fn end(self) -> Result<Taken, MeterError> {
        match (self.reading.watts, self.no_power) {
            (Some(_), _) => Ok(Taken { reading: self.reading, left_out: self.left_out }),
            (None, why) => Err(MeterError::new(
                why.unwrap_or_else(|| "the power is not in it".to_owned()),
                "compare the raw message with where the file says that the power stands",
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_that_no_socket_shows_are_refused_with_the_reason() {
        for (measured, value) in [
            (Measured::Power, f64::NAN),
            (Measured::Power, f64::INFINITY),
            (Measured::Power, 9.91e37),
            (Measured::Power, -60_000.0),
            (Measured::Voltage, -1.0),
            (Measured::Voltage, 2_300.0),
            (Measured::PowerFactor, 97.0),
            (Measured::Frequency, 50_000.0),
        ] {
            let why = measured.believed(value).unwrap_err();
            assert!(why.contains(measured.key()), "{why}");
        }
        assert_eq!(Measured::PowerFactor.believed(1.004), Ok(1.0));
        assert_eq!(Measured::Power.believed(-3.5), Ok(-3.5));
    }

    #[test]
    fn a_power_factor_that_is_no_number_leaves_the_power_standing() {
        let mut gathered = Gathered::new();
        gathered.take(Measured::Power, 1000.0, Ok(0.0021));
        gathered.take(Measured::PowerFactor, 1.0, Ok(f64::NAN));
        let taken = gathered.end().unwrap();
        assert_eq!((taken.reading.watts, taken.reading.power_factor), (Some(2.1), None));
        assert_eq!(taken.left_out.len(), 1);
    }

    #[test]
    fn without_power_there_is_no_reading() {
        let mut gathered = Gathered::new();
        gathered.take(Measured::Power, 1.0, Err("it says `on`".to_owned()));
        gathered.take(Measured::Voltage, 1.0, Ok(230.0));
        assert_eq!(gathered.end().unwrap_err().message, "it says `on`");
        assert!(Gathered::new().end().is_err());
    }
}
