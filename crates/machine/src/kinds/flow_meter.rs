//! Flow meter: a wheel in the inlet that gives pulses; the board counts litres from them.

use super::{Behaviour, COMMON, Dimension, HandCheck, Mend, Mode, Param, Params, PartKind, Power, Rate, Role, Sensed, Situation, Takes, Terminal};

pub(super) static KIND: PartKind = PartKind {
    name: "flow meter",
    about: "Counts the water let in: a wheel with a magnet and a reed or Hall sensor.",
    terminals: &[
        Terminal { name: "plus", must: false, role: Role::Signal },
        Terminal { name: "out", must: true, role: Role::Signal },
        Terminal { name: "minus", must: true, role: Role::Signal },
    ],
    params: &[Param {
        name: "pulses-per-litre",
        takes: Takes::Quantity(Dimension::PulsesPerLitre),
        default: Some("220 pulses/l"),
        must: false,
        about: "pulses per litre, for the person who counts them; the board's litres need it not",
    }],
    rate: Rate { percent: 1.0, source: COMMON },
    modes: &[Mode { name: "dead", says: "gives no pulses", share: 1.0, source: COMMON, mend: Mend::Fit }],
    behaviour: &Wheel,
    checks: &[HandCheck {
        id: "blow",
        ask: "Taken out, does its wheel spin freely when you blow through it?",
        minutes: 3.0,
        caution: "Unplug and close the tap first; water runs out of the hose.",
        yes_in: &[""],
        at_part: true,
        power: Power::Dead,
        slip: 0.3,
    }],
    consequences: &[],
};

struct Wheel;

impl Behaviour for Wheel {
    /// Litres counted. A dead meter is one that counts nothing: the board cannot tell it from a closed tap.
    fn sense(&self, _: &Params, mode: Option<&str>, situation: &Situation) -> Sensed {
        Sensed::Value(if mode == Some("dead") { 0.0 } else { situation.level_l })
    }
}
