//! Drain pump: a small synchronous or shaded-pole motor with a wheel that pumps the water out.

use super::{
    Behaviour, Branch, COMMON, Dimension, Effect, Flows, HandCheck, Mend, Mode, Param, Params, PartKind,
    Path, Rate, Role, Situation, Takes, Terminal,
};

/// Where the pumps' share of jobs (7.5 %, drain and circulation together) comes from.
const RATE_SOURCE: &str = "from memory: Tecchio et al. 2019 (pumps 7.5 %), split between drain and circulation pump by \
                           common practice, no source";

/// Share of rated volts from which the motor starts. Common practice, no source.
const STARTS_AT: f64 = 0.7;

/// Watts of a blocked motor against healthy: the same to 1.6 times, so watts alone prove little. Common practice.
const JAMMED_WATTS: f64 = 1.3;

/// Watts with the wheel loose on its shaft: it moves little water. Common practice, no source.
const LOOSE_WATTS: f64 = 0.8;

/// Ohms and impedance of a coil with shorted turns against healthy. Common practice, no source.
const SHORTED: f64 = 0.3;

/// Flow left with the wheel loose, and with the wheel or bearing worn. Common practice, no source.
const LOOSE_FLOW: f64 = 0.1;
const WEAK_FLOW: f64 = 0.4;

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
    behaviour: &Pump,
    checks: &[
        HandCheck {
            id: "turn by hand",
            ask: "Filter out: does the wheel turn, with soft magnet notches and no hard stop?",
            minutes: 4.0,
            caution: "Unplug. Let hot water cool and catch it in a tray; feel for glass and pins before you push.",
            yes_in: &["", "coil open", "coil short", "impeller loose", "weak", "leaking"],
            slip: 0.07,
        },
        HandCheck {
            id: "wheel play",
            ask: "Does the wheel turn on its shaft without the magnet's notches, or wobble?",
            minutes: 1.0,
            caution: "Unplug; feel for glass and pins before you push.",
            yes_in: &["impeller loose"],
            slip: 0.15,
        },
        HandCheck {
            id: "puddle",
            ask: "With water in, is the pump or the floor under it wet?",
            minutes: 3.0,
            caution: "Unplug and do not stand in water.",
            yes_in: &["leaking"],
            slip: 0.1,
        },
    ],
    consequences: &[],
};

struct Pump;

impl Behaviour for Pump {
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let factor = match mode {
            Some("jammed") => JAMMED_WATTS,
            Some("impeller loose") => LOOSE_WATTS,
            Some("coil short") => 1.0 / SHORTED,
            _ => 1.0,
        };
        let short = if mode == Some("coil short") { SHORTED } else { 1.0 };
        let (ac, dc) = if mode == Some("coil open") {
            (Path::Open, Path::Open)
        } else {
            let watts = params.nominal("draws") * factor * situation.drag;
            let ac = Path::load(watts, situation.rated_v, params.nominal("power-factor"));
            (ac, Path::resistor(params.nominal("coil") * short))
        };
        let u_rel = params.u_rel("coil").max(params.u_rel("draws"));
        out.push(Branch { name: "coil", from: "1", to: "2", ac, dc, u_rel });
    }

    fn effect(&self, params: &Params, mode: Option<&str>, situation: &Situation, flows: &Flows) -> Effect {
        let volts = flows.volts.first().copied().unwrap_or(0.0);
        let sound = mode != Some("coil open") && situation.rated_v > 0.0;
        let energised = sound && volts >= STARTS_AT * situation.rated_v;
        let runs = energised && !matches!(mode, Some("jammed" | "coil short"));
        let share = match mode {
            Some("impeller loose") => LOOSE_FLOW,
            Some("weak") => WEAK_FLOW,
            _ => 1.0,
        };
        let wet = situation.level_l > 0.0;
        let moved = if runs && wet { params.nominal("flow") * share } else { 0.0 };
        let mut signs = Vec::new();
        if energised {
            signs.push("hums");
        }
        if moved > 0.0 && !matches!(mode, Some("impeller loose")) {
            signs.push("water drains");
        }
        if mode == Some("leaking") && wet {
            signs.push("leaks");
        }
        Effect { water_out_l_min: moved, runs, signs, ..Effect::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Value;
    use quantity::Toleranced;

    const STILL: Situation = Situation {
        rated_v: 230.0,
        hz: 50.0,
        driven: true,
        wanted_rpm: 0.0,
        moving: false,
        locked: false,
        level_l: 0.0,
        temperature_c: 20.0,
        speed_rpm: 0.0,
        demand_w: 0.0, drag: 1.0,
    };

    fn params() -> Params {
        let mut params = Params::default();
        for (name, value) in [("coil", 160.0), ("draws", 30.0), ("power-factor", 0.65), ("flow", 17.0)] {
            params.set(name, Value::Quantity(Toleranced::exact(value)));
        }
        params
    }

    fn does(mode: Option<&str>, volts: f64, level_l: f64) -> Effect {
        let flows = Flows { volts: vec![volts], ..Flows::default() };
        KIND.behaviour.effect(&params(), mode, &Situation { level_l, ..STILL }, &flows)
    }

    #[test]
    fn it_takes_its_watts_at_rated_supply() {
        let mut out = Vec::new();
        KIND.behaviour.electrics(&params(), None, &STILL, &mut out);
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
