//! Tacho: a coil beside a magnet on the motor shaft; its frequency tells the board the speed.

use super::{Behaviour, Branch, COMMON, Dimension, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Sensed, Situation, Takes, Terminal};

/// Share of the true speed that shows while the magnet slips on its shaft. Common practice, no source.
const SLIPPING: f64 = 0.3;

pub(super) static KIND: PartKind = PartKind {
    name: "tacho",
    about: "A coil and magnet that report the speed of the motor to the board.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Signal },
        Terminal { name: "2", must: true, role: Role::Signal },
    ],
    params: &[
        Param {
            name: "coil",
            takes: Takes::Quantity(Dimension::Resistance),
            default: None,
            must: true,
            about: "ohms of the coil: 15 … 1200 Ω from maker to maker",
        },
        Param {
            name: "watches",
            takes: Takes::Part,
            default: None,
            must: false,
            about: "the motor that it sits on",
        },
    ],
    rate: Rate { percent: 1.2, source: COMMON },
    modes: &[
        Mode { name: "open", says: "has an open coil", share: 0.5, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "magnet loose",
            says: "has its magnet loose",
            share: 0.5,
            source: COMMON,
            mend: Mend::Remake,
        },
    ],
    behaviour: &Coil,
    checks: &[HandCheck {
        id: "magnet",
        ask: "Is the magnet tight on the shaft and the coil's cover seated?",
        minutes: 3.0,
        caution: "Unplug; belt off, nothing turning.",
        yes_in: &["", "open"],
        at_part: true,
        power: Power::Dead,
        slip: 0.07,
    }],
    consequences: &[],
};

struct Coil;

impl Behaviour for Coil {
    fn electrics(&self, params: &Params, mode: Option<&str>, _: &Situation, out: &mut Vec<Branch>) {
        let path = if mode == Some("open") { Path::Open } else { Path::resistor(params.nominal("coil")) };
        out.push(Branch {
            name: "coil",
            from: "1",
            to: "2",
            ac: path,
            dc: path,
            u_rel: params.u_rel("coil"), ac_u_rel: params.u_rel("coil"),
        });
    }

    fn reports(&self) -> Dimension {
        Dimension::Speed
    }

    /// Drum rpm as the board makes it out; no pulses are 0 rpm, which is how a dead tacho lets a motor race.
    fn sense(&self, _: &Params, mode: Option<&str>, situation: &Situation) -> Sensed {
        Sensed::Value(match mode {
            Some("open") => 0.0,
            Some("magnet loose") => situation.speed_rpm * SLIPPING,
            _ => situation.speed_rpm,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_broken_coil_reads_as_standing_still() {
        let at = Situation { speed_rpm: 52.0, ..Situation::at_rest() };
        let sense = |mode| KIND.behaviour.sense(&Params::default(), mode, &at);
        assert_eq!((sense(None), sense(Some("open"))), (Sensed::Value(52.0), Sensed::Value(0.0)));
    }
}
