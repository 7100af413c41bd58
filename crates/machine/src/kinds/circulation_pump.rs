//! Circulation pump: drives the spray arms of a dishwasher, or wash water through the load.

use super::pump::{Pump, RATE_SOURCE};
use super::{COMMON, Dimension, HandCheck, Mend, Mode, Param, PartKind, Power, Rate, Role, Takes, Terminal};

static PUMP: Pump = Pump {
    // With wheel or bearing worn. Common practice, no source.
    weak_flow: 0.25,
    out: false,
    // Below some 15 l/min of 50 the arms stand. Common practice, no source.
    seen_above: 0.3,
    sign: "sprays",
};

pub(super) static KIND: PartKind = PartKind {
    name: "circulation pump",
    about: "Moves water round: to the spray arms, or back over the load.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Power },
        Terminal { name: "2", must: true, role: Role::Power },
    ],
    params: &[
        Param {
            name: "coil",
            takes: Takes::Quantity(Dimension::Resistance),
            default: Some("45R ±25 %"),
            must: false,
            about: "ohms of the winding, cold",
        },
        Param {
            name: "draws",
            takes: Takes::Quantity(Dimension::Power),
            default: Some("60 W ±20 %"),
            must: false,
            about: "watts at rated supply, pumping",
        },
        Param {
            name: "power-factor",
            takes: Takes::Quantity(Dimension::Ratio),
            default: Some("0.7"),
            must: false,
            about: "power factor, pumping (lagging)",
        },
        Param {
            name: "flow",
            takes: Takes::Quantity(Dimension::Flow),
            default: Some("50 l/min ±20 %"),
            must: false,
            about: "water moved round",
        },
    ],
    rate: Rate { percent: 2.5, source: RATE_SOURCE },
    modes: &[
        Mode { name: "jammed", says: "is jammed", share: 0.3, source: COMMON, mend: Mend::Clean },
        Mode { name: "coil open", says: "has an open coil", share: 0.2, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "impeller loose",
            says: "has its wheel loose on the shaft",
            share: 0.1,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode { name: "weak", says: "moves too little water", share: 0.15, source: COMMON, mend: Mend::Fit },
        Mode { name: "leaking", says: "leaks", share: 0.2, source: COMMON, mend: Mend::Fit },
        Mode { name: "coil short", says: "has shorted turns", share: 0.05, source: COMMON, mend: Mend::Fit },
    ],
    behaviour: &PUMP,
    checks: &[
        HandCheck {
            id: "turn by hand",
            ask: "Does the wheel turn freely by hand?",
            minutes: 5.0,
            caution: "Unplug. Drain first, let it cool; feel for glass before you push.",
            yes_in: &["", "coil open", "coil short", "impeller loose", "weak", "leaking"],
            at_part: true,
            power: Power::Dead,
            slip: 0.07,
        },
        HandCheck {
            id: "puddle",
            ask: "With water in, is the pump's seal or the tray under it wet?",
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
    use crate::kind::{Effect, Flows, Situation};
    use crate::params::{Params, Value};
    use quantity::Toleranced;

    fn params() -> Params {
        let mut params = Params::default();
        for (name, value) in [("coil", 160.0), ("draws", 30.0), ("power-factor", 0.65), ("flow", 50.0)] {
            params.set(name, Value::Quantity(Toleranced::exact(value)));
        }
        params
    }

    fn does(mode: Option<&str>, volts: f64, level_l: f64) -> Effect {
        let flows = Flows { volts: vec![volts], ..Flows::default() };
        KIND.behaviour.effect(&params(), mode, &Situation { level_l, ..Situation::at_rest() }, &flows)
    }

    #[test]
    fn it_sprays_with_water_a_tight_wheel_and_current() {
        let sprays = |mode, volts, level| does(mode, volts, level).signs.contains(&"sprays");
        assert!(sprays(None, 230.0, 4.0));
        assert!(!sprays(None, 230.0, 0.0) && !sprays(None, 0.0, 4.0));
        assert!(!sprays(Some("weak"), 230.0, 4.0) && !sprays(Some("impeller loose"), 230.0, 4.0));
    }
}
