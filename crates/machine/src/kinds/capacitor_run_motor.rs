//! Capacitor-run motor: an induction motor of two like windings, one of them fed through a capacitor.

use super::brushed_motor::{ACTIVE_A, current, earth_leak, size};
use super::{Behaviour, Branch, COMMON, Dimension, Effect, Flows, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Situation, Takes, Terminal, work};

/// Power factor of each winding at work. Two like windings at 45° and a matched capacitor give a true two-phase field.
const RUN_POWER_FACTOR: f64 = 0.707;

/// At a stall one winding alone takes this many times the watts of the whole motor at work.
/// A hum at 1.5–3 times is common practice, no source.
const STALL_WATTS: f64 = 2.0;

/// Power factor at a stall. 0.4–0.7 is common practice, no source.
const STALL_POWER_FACTOR: f64 = 0.5;

/// Least torque against a true two-phase field, at which it still keeps its load moving.
const RUN_TORQUE: f64 = 0.5;

/// Shorted turns: share of the winding's resistance left, and the factor on its watts.
const SHORTED_OHM: f64 = 0.7;
const SHORTED_WATTS: f64 = 1.5;

pub(super) static KIND: PartKind = PartKind {
    name: "capacitor-run motor",
    about: "An induction motor of two like windings with a capacitor between w1 and w2, fed at w1 (right) \
        or w2 (left).",
    terminals: &[
        Terminal { name: "c", must: true, role: Role::Power },
        Terminal { name: "w1", must: true, role: Role::Power },
        Terminal { name: "w2", must: true, role: Role::Power },
        Terminal { name: "earth", must: true, role: Role::Earth },
    ],
    params: &[
        Param {
            name: "winding",
            takes: Takes::Quantity(Dimension::Resistance),
            default: None,
            must: true,
            about: "cold resistance of each winding, c to w1 and c to w2",
        },
        Param {
            name: "draws",
            takes: Takes::Quantity(Dimension::Power),
            default: None,
            must: true,
            about: "watts at work at rated voltage",
        },
        Param {
            name: "speed",
            takes: Takes::Quantity(Dimension::Speed),
            default: None,
            must: true,
            about: "speed it gives to what it turns (drum rpm)",
        },
        work::WITHIN,
    ],
    rate: Rate { percent: 2.4, source: "guess to fill the rest, common practice, no source" },
    modes: &[
        Mode {
            name: "winding open",
            says: "has an open winding",
            share: 0.4,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode {
            name: "turns shorted",
            says: "has shorted turns",
            share: 0.2,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode { name: "leak to earth", says: "leaks to earth", share: 0.2, source: COMMON, mend: Mend::Fit },
        Mode { name: "locked", says: "is stiff or locked", share: 0.2, source: COMMON, mend: Mend::Fit },
    ],
    behaviour: &TwoPhase,
    checks: &[HandCheck {
        id: "turn by hand",
        ask: "With the belt off, is the motor stiff to turn by hand?",
        minutes: 4.0,
        caution: "Unplug, discharge its capacitor through a resistor, keep fingers clear of the pulley.",
        yes_in: &["locked"],
        at_part: true,
        power: Power::Dead,
        slip: 0.03,
    }],
    consequences: &[],
};

struct TwoPhase;

impl Behaviour for TwoPhase {
    fn can_stall(&self) -> bool {
        true
    }

    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let turning = situation.moving && mode != Some("locked");
        let draws = params.nominal("draws") * situation.drag;
        let (watts, power_factor) =
            if turning { (draws / 2.0, RUN_POWER_FACTOR) } else { (draws * STALL_WATTS, STALL_POWER_FACTOR) };
        let u_rel = params.u_rel("winding");
        // Both windings stray together, while branches count as independent: √2 in each is 1 in the sum.
        let ac_u_rel = work::u_rel(params, "draws") * 2f64.sqrt();
        let mut winding = |name, to, watts: f64, ohms: f64| {
            let ac = Path::load(watts, situation.rated_v, power_factor);
            out.push(Branch { name, from: "c", to, ac, dc: Path::resistor(ohms), u_rel, ac_u_rel });
        };
        let ohms = params.nominal("winding");
        match mode {
            Some("turns shorted") => winding("winding 1", "w1", watts * SHORTED_WATTS, ohms * SHORTED_OHM),
            _ => winding("winding 1", "w1", watts, ohms),
        }
        winding("winding 2", "w2", watts, ohms);
        match mode {
            Some("winding open") => {
                if let Some(first) = out.iter_mut().rev().nth(1) {
                    (first.ac, first.dc) = (Path::Open, Path::Open);
                }
            }
            Some("leak to earth") => out.push(earth_leak("c")),
            _ => {}
        }
    }

    fn spread(&self, params: &Params, param: &str) -> f64 {
        if param == "draws" { work::within(params) } else { 0.0 }
    }

    fn effect(&self, params: &Params, mode: Option<&str>, situation: &Situation, flows: &Flows) -> Effect {
        let (one, two) = (current(flows, 0), current(flows, 1));
        let strongest = size(one).max(size(two));
        if strongest < ACTIVE_A {
            return Effect::default();
        }
        // Two equal currents a quarter period apart give 1, one alone or two in step give 0; the sign is the way it
        // turns: right when the current of winding 2 leads.
        let torque = (one.0 * two.1 - one.1 * two.0) / (strongest * strongest);
        // A stall takes more current through the windings than the capacitor was chosen for, which halves the angle.
        let least = if situation.moving { RUN_TORQUE } else { RUN_TORQUE / 2.0 };
        if mode == Some("locked") || torque.abs() < least {
            return Effect { signs: vec!["hums"], ..Effect::default() };
        }
        let turns_rpm = Some(torque.signum() * params.nominal("speed"));
        Effect { turns_rpm, runs: true, ..Effect::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Value;
    use quantity::Toleranced;

    /// A motor of 300 W on 230 V with the given capacitor, fed at w1: currents of both windings.
    fn effect_with(farads: f64) -> Effect {
        let mut p = Params::default();
        p.set("winding", Value::Quantity(Toleranced::exact(18.0)));
        p.set("draws", Value::Quantity(Toleranced::exact(300.0)));
        p.set("speed", Value::Quantity(Toleranced::exact(52.0)));
        let s = Situation { driven: true, wanted_rpm: 52.0, moving: true, ..Situation::at_rest() };
        let mut out = vec![];
        KIND.behaviour.electrics(&p, None, &s, &mut out);
        let amps = |branch: &Branch, extra_x: f64| match branch.ac {
            Path::Ohms { r, x } => {
                let x = x + extra_x;
                let z2 = r * r + x * x;
                (230.0 * r / z2, -230.0 * x / z2)
            }
            _ => (0.0, 0.0),
        };
        let x_c = if farads > 0.0 { -1.0 / (std::f64::consts::TAU * 50.0 * farads) } else { -1e12 };
        let flows = Flows { amps: vec![amps(&out[0], 0.0), amps(&out[1], x_c)], ..Flows::default() };
        KIND.behaviour.effect(&p, None, &s, &flows)
    }

    #[test]
    fn a_matched_capacitor_turns_it_right() {
        assert_eq!(effect_with(9e-6).turns_rpm, Some(52.0));
    }

    #[test]
    fn half_or_none_of_the_capacitor_leaves_it_humming() {
        for farads in [0.0, 4.5e-6] {
            let effect = effect_with(farads);
            assert!(!effect.runs);
            assert_eq!(effect.signs, ["hums"]);
        }
    }
}
