//! Level sensor: turns the pressure of the air column into a signal that the board reads as litres.

use super::{Behaviour, COMMON, Mend, Mode, Params, PartKind, Rate, Role, Sensed, Situation, Terminal};

/// What a drifted sensor reports against the truth. Common practice, no source.
const DRIFT_FACTOR: f64 = 1.4;

pub(super) static KIND: PartKind = PartKind {
    name: "level sensor",
    about: "Reports the water level as a voltage or frequency; the board reads litres from it.",
    terminals: &[
        Terminal { name: "plus", must: false, role: Role::Signal },
        Terminal { name: "out", must: true, role: Role::Signal },
        Terminal { name: "minus", must: true, role: Role::Signal },
    ],
    params: &[],
    rate: Rate { percent: 1.6, source: COMMON },
    modes: &[
        Mode { name: "dead", says: "gives no signal", share: 0.6, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "drift",
            says: "reports more water than there is",
            share: 0.4,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &Sensor,
    checks: &[],
    consequences: &[],
};

struct Sensor;

impl Behaviour for Sensor {
    fn sense(&self, _: &Params, mode: Option<&str>, situation: &Situation) -> Sensed {
        match mode {
            Some("dead") => Sensed::Nothing,
            Some("drift") => Sensed::Value(situation.level_l * DRIFT_FACTOR),
            _ => Sensed::Value(situation.level_l),
        }
    }
}
