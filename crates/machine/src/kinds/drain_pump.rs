//! Drain pump: a small synchronous or shaded-pole motor with a wheel that pumps the water out.

use super::pump::{Pump, RATE_SOURCE};
use super::{COMMON, Dimension, HandCheck, Mend, Mode, Param, PartKind, Power, Rate, Role, Takes, Terminal};

static PUMP: Pump = Pump {
    // With wheel or bearing worn. Common practice, no source.
    weak_flow: 0.4,
    out: true,
    // A wheel that is loose on its shaft still lets a trickle out, which nobody sees. Common practice, no source.
    seen_above: 0.1,
    sign: "water drains",
};

pub(super) static KIND: PartKind = PartKind {
    name: "drain pump",
    about: "Pumps the water out of tub or sump.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Power },
        Terminal { name: "2", must: true, role: Role::Power },
    ],
    params: &[
        Param {
            name: "coil",
            takes: Takes::Quantity(Dimension::Resistance),
            default: Some("160R ±25 %"),
            must: false,
            about: "ohms of the winding, cold",
        },
        Param {
            name: "draws",
            takes: Takes::Quantity(Dimension::Power),
            default: Some("30 W ±20 %"),
            must: false,
            about: "watts at rated supply, pumping",
        },
        Param {
            name: "power-factor",
            takes: Takes::Quantity(Dimension::Ratio),
            default: Some("0.65"),
            must: false,
            about: "power factor, pumping (lagging)",
        },
        Param {
            name: "flow",
            takes: Takes::Quantity(Dimension::Flow),
            default: Some("17 l/min ±20 %"),
            must: false,
            about: "water pumped out at 1 m head",
        },
    ],
    rate: Rate { percent: 5.0, source: RATE_SOURCE },
    modes: &[
        Mode { name: "jammed", says: "is jammed", share: 0.4, source: COMMON, mend: Mend::Clean },
        Mode { name: "coil open", says: "has an open coil", share: 0.2, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "impeller loose",
            says: "has its wheel loose on the shaft",
            share: 0.15,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode { name: "weak", says: "moves too little water", share: 0.12, source: COMMON, mend: Mend::Fit },
        Mode { name: "leaking", says: "leaks", share: 0.1, source: COMMON, mend: Mend::Fit },
        Mode { name: "coil short", says: "has shorted turns", share: 0.03, source: COMMON, mend: Mend::Fit },
    ],
    behaviour: &PUMP,
    checks: &[
        HandCheck {
            id: "turn by hand",
            ask: "Filter out: does the wheel turn, with soft magnet notches and no hard stop?",
            minutes: 4.0,
            caution: "Unplug. Let hot water cool and catch it in a tray; feel for glass and pins before you push.",
            yes_in: &["", "coil open", "coil short", "impeller loose", "weak", "leaking"],
            at_part: true,
            power: Power::Dead,
            slip: 0.07,
        },
        HandCheck {
            id: "wheel play",
            ask: "Does the wheel turn on its shaft without the magnet's notches, or wobble?",
            minutes: 1.0,
            caution: "Unplug; feel for glass and pins before you push.",
            yes_in: &["impeller loose"],
            at_part: true,
            power: Power::Dead,
            slip: 0.15,
        },
        HandCheck {
            id: "puddle",
            ask: "With water in, is the pump or the floor under it wet?",
            minutes: 3.0,
            caution: "Unplug and do not stand in water.",
            yes_in: &["leaking"],
            at_part: true,
            power: Power::Dead,
            slip: 0.1,
        },
    ],
    consequences: &[],
};

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::{Effect, Flows, Path, Situation};
    use crate::params::{Params, Value};
    use quantity::Toleranced;

    fn params() -> Params {
        let mut params = Params::default();
        for (name, value) in [("coil", 160.0), ("draws", 30.0), ("power-factor", 0.65), ("flow", 17.0)] {
            params.set(name, Value::Quantity(Toleranced::exact(value)));
        }
        params
    }

    fn does(mode: Option<&str>, volts: f64, level_l: f64) -> Effect {
        let flows = Flows { volts: vec![volts], ..Flows::default() };
        KIND.behaviour.effect(&params(), mode, &Situation { level_l, ..Situation::at_rest() }, &flows)
    }

    #[test]
    fn it_takes_its_watts_at_rated_supply() {
        let mut out = Vec::new();
        KIND.behaviour.electrics(&params(), None, &Situation::at_rest(), &mut out);
        let Path::Ohms { r, x } = out[0].ac else { panic!("no coil") };
        assert!((230.0 * 230.0 * r / (r * r + x * x) - 30.0).abs() < 1e-9);
    }

    #[test]
    fn a_jammed_one_hums_and_moves_nothing() {
        assert_eq!(does(None, 230.0, 8.0).water_out_l_min, 17.0);
        assert_eq!(does(None, 230.0, 0.0).water_out_l_min, 0.0);
        let jammed = does(Some("jammed"), 230.0, 8.0);
        assert_eq!((jammed.water_out_l_min, jammed.runs, jammed.signs), (0.0, false, vec!["hums"]));
        assert_eq!(does(Some("coil open"), 230.0, 8.0), Effect::default());
    }
}
