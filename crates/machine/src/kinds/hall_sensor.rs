//! Hall sensor: reports the rotor's speed and place to the board or inverter.

use super::{
    Behaviour, COMMON, Dimension, Mend, Mode, Param, Params, PartKind, Rate, Role, Sensed, Situation, Takes,
    Terminal,
};

pub(super) static KIND: PartKind = PartKind {
    name: "hall sensor",
    about: "A small board with Hall chips, fed with 5 or 12 V, that reports the speed of the motor.",
    terminals: &[
        Terminal { name: "plus", must: true, role: Role::Signal },
        Terminal { name: "out", must: true, role: Role::Signal },
        Terminal { name: "minus", must: true, role: Role::Signal },
    ],
    params: &[Param {
        name: "watches",
        takes: Takes::Part,
        default: None,
        must: false,
        about: "the motor that it sits on",
    }],
    rate: Rate { percent: 1.2, source: COMMON },
    modes: &[Mode { name: "dead", says: "gives no signal", share: 1.0, source: COMMON, mend: Mend::Fit }],
    behaviour: &Chips,
    checks: &[],
    consequences: &[],
};

struct Chips;

impl Behaviour for Chips {
    fn reports(&self) -> Dimension {
        Dimension::Speed
    }

    /// Drum rpm as the board makes it out; no pulses are 0 rpm.
    fn sense(&self, _: &Params, mode: Option<&str>, situation: &Situation) -> Sensed {
        Sensed::Value(if mode == Some("dead") { 0.0 } else { situation.speed_rpm })
    }
}
