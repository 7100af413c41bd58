//! From the settings to the frame of a diagnosis: instruments at hand, and what a part costs in minutes of work.

use diagnosis::check::Instrument;
use diagnosis::setup::{Owned, Setup};
use quantity::{Dimension, Lengths, Temperatures, Units, Volumes};
use records::{ChosenUnits, Settings};

/// The instruments that can be owned: key, name, what they measure, usual limits of error (relative; beside that, in the
/// base unit). Common practice, no source.
pub(crate) const INSTRUMENTS: [Known; 5] = [
    Known {
        key: "power-meter",
        name: "power meter at the plug",
        instrument: Instrument::PowerMeter,
        relative: 0.01,
        absolute: 1.0,
        measures: Dimension::Power,
        at_first: true,
    },
    Known {
        key: "multimeter",
        name: "multimeter",
        instrument: Instrument::Multimeter,
        relative: 0.01,
        absolute: 0.3,
        measures: Dimension::Resistance,
        at_first: true,
    },
    Known {
        key: "insulation-tester",
        name: "insulation tester",
        instrument: Instrument::InsulationTester,
        relative: 0.05,
        absolute: 10e3,
        measures: Dimension::Resistance,
        at_first: false,
    },
    Known {
        key: "tachometer",
        name: "tachometer",
        instrument: Instrument::Tachometer,
        relative: 0.001,
        absolute: 1.0,
        measures: Dimension::Speed,
        at_first: false,
    },
    Known {
        key: "thermometer",
        name: "thermometer",
        instrument: Instrument::Thermometer,
        relative: 0.01,
        absolute: 1.0,
        measures: Dimension::TemperatureDifference,
        at_first: false,
    },
];

/// An instrument that can be owned.
pub(crate) struct Known {
    pub(crate) key: &'static str,
    pub(crate) name: &'static str,
    pub(crate) instrument: Instrument,
    pub(crate) relative: f64,
    pub(crate) absolute: f64,
    /// What its limits of error are.
    pub(crate) measures: Dimension,
    /// Taken as owned by who never said.
    pub(crate) at_first: bool,
}

impl Known {
    /// Is it owned, and with which limits of error?
    pub(crate) fn owned(&self, settings: &Settings) -> Option<(f64, f64)> {
        match &settings.instruments {
            None => self.at_first.then_some((self.relative, self.absolute)),
            Some(_) => self.kept(settings).map(|i| (i.relative, i.absolute)),
        }
    }

    /// What the settings hold of it.
    pub(crate) fn kept<'a>(&self, settings: &'a Settings) -> Option<&'a records::Instrument> {
        settings.instruments.iter().flatten().find(|i| i.name == self.key)
    }
}

/// What to know of an instrument before its reading is trusted: that its calibration has run out by the day given. Empty:
/// nothing. The reading still counts, for most that is measured here is far outside of what an instrument drifts.
pub(crate) fn run_out(settings: &Settings, instrument: Instrument, today: jiff::civil::Date) -> String {
    let known = INSTRUMENTS.iter().find(|k| k.instrument == instrument);
    let due = known.and_then(|k| Some((k, k.kept(settings)?.due.parse::<jiff::civil::Date>().ok()?)));
    match due {
        Some((known, due)) if due < today => {
            format!(
                "The calibration of your {} ran out on {due}: check it against a value you know.",
                known.name
            )
        }
        _ => String::new(),
    }
}

/// The units in which pages read and show; what no unit is called so leaves the base unit.
pub(crate) fn units(chosen: &ChosenUnits) -> Units {
    Units {
        temperature: match chosen.temperature.as_str() {
            "°F" => Temperatures::Fahrenheit,
            _ => Temperatures::Celsius,
        },
        volume: match chosen.volume.as_str() {
            "US gal" => Volumes::UsGallons,
            "imp gal" => Volumes::ImperialGallons,
            _ => Volumes::Litres,
        },
        length: match chosen.length.as_str() {
            "ft" => Lengths::Feet,
            _ => Lengths::Metres,
        },
    }
}

/// The frame.
pub(crate) fn setup(settings: &Settings) -> Setup {
    let mut setup = Setup::default();
    setup.instruments.retain(|o| o.instrument == Instrument::None);
    for known in &INSTRUMENTS {
        if let Some((relative, absolute)) = known.owned(settings) {
            setup.instruments.push(Owned { instrument: known.instrument, relative, absolute });
        }
    }
    if let (Some(rate), Some(part)) = (settings.rate_minor.filter(|r| *r > 0), settings.part_minor) {
        setup.costs.part = part.max(0) as f64 / (rate as f64 / 60.0);
    }
    setup
}

#[cfg(test)]
mod tests {
    use super::run_out;
    use diagnosis::check::Instrument;
    use records::Settings;

    #[test]
    fn a_calibration_runs_out_after_its_last_day() {
        let meter = |due: &str| Settings {
            instruments: Some(vec![records::Instrument {
                name: "multimeter".to_owned(),
                relative: 0.01,
                absolute: 0.3,
                due: due.to_owned(),
            }]),
            ..Settings::default()
        };
        let today = jiff::civil::date(2026, 11, 28);
        for due in ["", "2026-11-28", "2027-03-01"] {
            assert_eq!(run_out(&meter(due), Instrument::Multimeter, today), "", "{due}");
        }
        assert!(
            run_out(&meter("2026-11-27"), Instrument::Multimeter, today).contains("ran out on 2026-11-27")
        );
        assert_eq!(run_out(&meter("2026-11-27"), Instrument::Tachometer, today), "");
        assert_eq!(run_out(&Settings::default(), Instrument::Multimeter, today), "");
    }
}
