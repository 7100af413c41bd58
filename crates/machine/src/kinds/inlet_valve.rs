//! Inlet valve: a solenoid that lets water in, with a flow limiter behind it.

use super::{Behaviour, Branch, COMMON, Dimension, Effect, Flows, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Situation, Takes, Terminal};
use physics::ohm::coil_reactance_ohm;

/// Share of rated volts from which the solenoid lifts. Common practice, no source.
const LIFTS_AT: f64 = 0.7;

/// Flow of a valve with lime or a clogged sieve against healthy. Common practice, no source.
const WEAK_FACTOR: f64 = 0.35;

pub(super) static KIND: PartKind = PartKind {
    name: "inlet valve",
    about: "A solenoid valve with flow limiter; its current is held by inductance, not by its ohms.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Power },
        Terminal { name: "2", must: true, role: Role::Power },
    ],
    params: &[
        Param {
            name: "coil",
            takes: Takes::Quantity(Dimension::Resistance),
            default: Some("3k8 ±15 %"),
            must: false,
            about: "ohms of the coil, cold",
        },
        Param {
            name: "draws",
            takes: Takes::Quantity(Dimension::ApparentPower),
            default: Some("6.9 VA ±20 %"),
            must: false,
            about: "apparent power at rated supply",
        },
        Param {
            name: "flow",
            takes: Takes::Quantity(Dimension::Flow),
            default: Some("8 l/min ±15 %"),
            must: false,
            about: "water it lets in from 0.1 to 1 MPa",
        },
    ],
    rate: Rate { percent: 5.0, source: COMMON },
    modes: &[
        Mode { name: "coil open", says: "has an open coil", share: 0.25, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "closed mechanically",
            says: "does not lift, or its sieve is blocked",
            share: 0.3,
            source: COMMON,
            mend: Mend::Clean,
        },
        Mode { name: "stuck open", says: "does not close", share: 0.2, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "weak flow",
            says: "lets too little water in",
            share: 0.15,
            source: COMMON,
            mend: Mend::Clean,
        },
        Mode { name: "leaking", says: "drips from its body", share: 0.1, source: COMMON, mend: Mend::Fit },
    ],
    behaviour: &Valve,
    checks: &[
        HandCheck {
            id: "sieve",
            ask: "Hose off: is the sieve blocked, or thick with lime?",
            minutes: 4.0,
            caution: "Unplug, close the tap, let the pressure off; have a bucket ready.",
            yes_in: &["closed mechanically", "weak flow"],
            at_part: true,
            power: Power::Dead,
            slip: 0.3,
        },
        HandCheck {
            id: "unplugged",
            ask: "With the plug out and the tap open, does water still run in?",
            minutes: 2.0,
            caution: "Be ready to close the tap.",
            yes_in: &["stuck open"],
            at_part: false,
            power: Power::Dead,
            slip: 0.03,
        },
    ],
    consequences: &[],
};

struct Valve;

impl Behaviour for Valve {
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let (r, va) = (params.nominal("coil"), params.nominal("draws"));
        let u_rel = params.u_rel("coil");
        let ac_u_rel = u_rel.max(params.u_rel("draws"));
        let (ac, dc) = if mode == Some("coil open") || va <= 0.0 {
            (Path::Open, Path::Open)
        } else {
            let amps = va / situation.rated_v;
            // More amperes than the ohms alone allow: the file's figures do not go together, the ohms are believed.
            let x = coil_reactance_ohm(situation.rated_v, amps, r).unwrap_or(0.0);
            (Path::Ohms { r, x }, Path::resistor(r))
        };
        out.push(Branch { name: "coil", from: "1", to: "2", ac, dc, u_rel, ac_u_rel });
    }

    fn effect(&self, params: &Params, mode: Option<&str>, situation: &Situation, flows: &Flows) -> Effect {
        let volts = flows.volts.first().copied().unwrap_or(0.0);
        let energised =
            mode != Some("coil open") && situation.rated_v > 0.0 && volts >= LIFTS_AT * situation.rated_v;
        let full = params.nominal("flow");
        let water_in_l_min = match mode {
            Some("stuck open") => full,
            Some("closed mechanically") => 0.0,
            _ if !energised => 0.0,
            Some("weak flow") => full * WEAK_FACTOR,
            _ => full,
        };
        let mut signs = Vec::new();
        if energised {
            signs.push("hums");
        }
        if water_in_l_min > 0.0 {
            signs.push("water enters");
        }
        if mode == Some("leaking") {
            signs.push("leaks");
        }
        Effect { water_in_l_min, signs, ..Effect::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Value;
    use quantity::Toleranced;

    fn params() -> Params {
        let mut params = Params::default();
        for (name, value) in [("coil", 3_800.0), ("draws", 6.9), ("flow", 8.0)] {
            params.set(name, Value::Quantity(Toleranced::exact(value)));
        }
        params
    }

    fn lets_in(mode: Option<&str>, volts: f64) -> f64 {
        let flows = Flows { volts: vec![volts], ..Flows::default() };
        KIND.behaviour.effect(&params(), mode, &Situation::at_rest(), &flows).water_in_l_min
    }

    #[test]
    fn inductance_holds_the_current() {
        let mut out = Vec::new();
        KIND.behaviour.electrics(&params(), None, &Situation::at_rest(), &mut out);
        let Path::Ohms { r, x } = out[0].ac else { panic!("no coil") };
        // Common practice, no source: 30 mA, 3.42 W in the copper, X = 6.66 kΩ.
        let amps = 230.0 / r.hypot(x);
        assert!(
            (amps - 0.030).abs() < 1e-6
                && (amps * amps * r - 3.42).abs() < 0.01
                && (x - 6_660.0).abs() < 10.0
        );
    }

    #[test]
    fn it_opens_with_enough_volts_only() {
        assert_eq!(lets_in(None, 230.0), 8.0);
        assert_eq!(lets_in(None, 150.0), 0.0);
        assert_eq!(lets_in(Some("closed mechanically"), 230.0), 0.0);
        assert_eq!(lets_in(Some("stuck open"), 0.0), 8.0);
    }
}
