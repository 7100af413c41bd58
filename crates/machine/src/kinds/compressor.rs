//! Compressor: the sealed motor and pump of a heat-pump dryer or a refrigerator.

use super::brushed_motor::{ACTIVE_A, current, earth_leak, size};
use super::{Behaviour, Branch, COMMON, Dimension, Effect, Flows, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Situation, Takes, Terminal, work};

/// Power factor of the sealed motor at work. Common practice, no source.
const POWER_FACTOR: f64 = 0.65;

/// Locked, the run winding takes five times its watts at a lower power factor, until the protector opens.
/// Common practice, no source.
const STALL_WATTS: f64 = 5.0;
const STALL_POWER_FACTOR: f64 = 0.5;

/// Least current through the start winding: a hot starter lets some 10 mA by, a run capacitor far more.
const START_A: f64 = 0.005;

/// Reactance of the start winding against its resistance.
const START_X_OVER_R: f64 = 2.0;

/// Watts left when it has little to pump against: worn valves, or the refrigerant gone. Common practice, no source.
const IDLE_PUMP: f64 = 0.6;

/// Flammable refrigerant, and no licence to open the circuit.
const SEALED: &str = "Unplug. Look for the flame sign on the plate: no flame, no sparks, ventilate. Do not \
    cut, vent or recharge without certification.";

pub(super) static KIND: PartKind = PartKind {
    name: "compressor",
    about: "A sealed compressor with run and start winding; its starter or capacitor between run and start \
        is a part of its own.",
    terminals: &[
        Terminal { name: "c", must: true, role: Role::Power },
        Terminal { name: "run", must: true, role: Role::Power },
        Terminal { name: "start", must: true, role: Role::Power },
        Terminal { name: "earth", must: true, role: Role::Earth },
    ],
    params: &[
        Param {
            name: "run-winding",
            takes: Takes::Quantity(Dimension::Resistance),
            default: None,
            must: true,
            about: "cold resistance from c to run",
        },
        Param {
            name: "start-winding",
            takes: Takes::Quantity(Dimension::Resistance),
            default: None,
            must: true,
            about: "cold resistance from c to start",
        },
        Param {
            name: "draws",
            takes: Takes::Quantity(Dimension::Power),
            default: None,
            must: true,
            about: "watts at work at rated voltage",
        },
        work::WITHIN,
    ],
    rate: Rate { percent: 4.0, source: COMMON },
    modes: &[
        Mode {
            name: "run winding open",
            says: "has an open run winding",
            share: 0.1,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode {
            name: "start winding open",
            says: "has an open start winding",
            share: 0.1,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode { name: "locked", says: "is seized", share: 0.25, source: COMMON, mend: Mend::Fit },
        Mode { name: "leak to earth", says: "leaks to earth", share: 0.15, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "does not pump",
            says: "runs without pumping (valves, or refrigerant lost)",
            share: 0.4,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &Sealed,
    checks: &[
        HandCheck {
            id: "feel",
            ask: "After ten minutes of running, does the pressure pipe stay cool?",
            minutes: 12.0,
            caution: "Live: its terminals carry mains while it runs. Hot pipe: touch it briefly, keep clear of terminals and fan.",
            yes_in: &["does not pump", "locked", "run winding open", "start winding open"],
            at_part: true,
            power: Power::Live,
            slip: 0.05,
        },
        HandCheck {
            id: "oil",
            ask: "Is there oil at a joint of the refrigerant pipes?",
            minutes: 4.0,
            caution: SEALED,
            yes_in: &["does not pump"],
            at_part: true,
            power: Power::Dead,
            slip: 0.35,
        },
    ],
    consequences: &[],
};

struct Sealed;

impl Behaviour for Sealed {
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let draws = params.nominal("draws");
        let (watts, power_factor) = match mode {
            Some("does not pump") if situation.moving => (draws * IDLE_PUMP, POWER_FACTOR),
            Some("locked") => (draws * STALL_WATTS, STALL_POWER_FACTOR),
            _ if situation.moving => (draws, POWER_FACTOR),
            _ => (draws * STALL_WATTS, STALL_POWER_FACTOR),
        };
        let start = params.nominal("start-winding");
        let sound = |open: &str, path: Path| if mode == Some(open) { Path::Open } else { path };
        out.push(Branch {
            name: "run winding",
            from: "c",
            to: "run",
            ac: sound("run winding open", Path::load(watts, situation.rated_v, power_factor)),
            dc: sound("run winding open", Path::resistor(params.nominal("run-winding"))),
            u_rel: params.u_rel("run-winding"),
            ac_u_rel: work::u_rel(params, "draws"),
        });
        out.push(Branch {
            name: "start winding",
            from: "c",
            to: "start",
            ac: sound("start winding open", Path::Ohms { r: start, x: start * START_X_OVER_R }),
            dc: sound("start winding open", Path::resistor(start)),
            u_rel: params.u_rel("start-winding"),
            ac_u_rel: params.u_rel("start-winding"),
        });
        if mode == Some("leak to earth") {
            out.push(earth_leak("c"));
        }
    }

    fn spread(&self, params: &Params, param: &str) -> f64 {
        if param == "draws" { work::within(params) } else { 0.0 }
    }

    fn effect(&self, _: &Params, mode: Option<&str>, _: &Situation, flows: &Flows) -> Effect {
        let (run, start) = (size(current(flows, 0)), size(current(flows, 1)));
        if run.max(start) < ACTIVE_A {
            return Effect::default();
        }
        if mode == Some("locked") || run < ACTIVE_A || start < START_A {
            return Effect { signs: vec!["hums"], ..Effect::default() };
        }
        let signs = if mode == Some("does not pump") { vec!["hums"] } else { vec!["hums", "gets warm"] };
        Effect { runs: true, signs, ..Effect::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_needs_current_in_both_windings() {
        let effect = |run, start| {
            let flows = Flows { amps: vec![(run, 0.0), (0.0, start)], ..Flows::default() };
            KIND.behaviour.effect(&Params::default(), None, &Situation::at_rest(), &flows)
        };
        assert!(effect(2.0, 0.01).runs);
        assert!(!effect(2.0, 0.0).runs);
        assert_eq!(effect(2.0, 0.0).signs, ["hums"]);
        assert_eq!(effect(0.0, 0.0), Effect::default());
    }
}
