//! Fan: a small motor with a wheel, for process air or cooling.

use super::brushed_motor::earth_leak;
use super::{Behaviour, Branch, COMMON, Dimension, Effect, Flows, HandCheck, Medium, Mend, Mode, Param, Params, PartKind, Passage, Path, Power, Rate, Role, Situation, Takes, Terminal, work};

/// Power factor of a shaded-pole motor. Common practice, no source.
const POWER_FACTOR: f64 = 0.6;

/// A small fan that is held takes this many times its watts. Common practice, no source.
const STALL_WATTS: f64 = 1.5;

/// It blows from this share of the rated volts.
const START_VOLTS: f64 = 0.6;

/// Share of the watts of a shaded-pole motor lost in its copper, where no winding resistance is given: cold ohms
/// then follow from the watts. Common practice, no source.
const COPPER_SHARE: f64 = 0.5;

/// Share of the air that a loose wheel moves.
const LOOSE_AIR: f64 = 0.2;

pub(super) static KIND: PartKind = PartKind {
    name: "fan",
    about: "A fan for process air or cooling.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Power },
        Terminal { name: "2", must: true, role: Role::Power },
        Terminal { name: "earth", must: false, role: Role::Earth },
    ],
    params: &[
        Param {
            name: "rated",
            takes: Takes::RatedAt(Dimension::Power, Dimension::Voltage),
            default: None,
            must: true,
            about: "watts at a stated voltage",
        },
        Param {
            name: "winding",
            takes: Takes::Quantity(Dimension::Resistance),
            default: None,
            must: false,
            about: "cold resistance between 1 and 2; estimated from the watts where absent",
        },
        work::WITHIN,
    ],
    rate: Rate { percent: 1.5, source: COMMON },
    modes: &[
        Mode {
            name: "winding open",
            says: "has an open winding",
            share: 0.35,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode { name: "locked", says: "is stuck", share: 0.4, source: COMMON, mend: Mend::Clean },
        Mode {
            name: "wheel loose",
            says: "has a wheel loose on its shaft",
            share: 0.15,
            source: COMMON,
            mend: Mend::Remake,
        },
        Mode { name: "leak to earth", says: "leaks to earth", share: 0.1, source: COMMON, mend: Mend::Fit },
    ],
    behaviour: &Blower,
    checks: &[
        HandCheck {
            id: "turn by hand",
            ask: "Is the fan wheel stiff or stopped by fluff?",
            minutes: 2.0,
            caution: "Unplug. Blades cut.",
            yes_in: &["locked"],
            at_part: true,
            power: Power::Dead,
            slip: 0.03,
        },
        HandCheck {
            id: "wheel",
            ask: "Does the wheel turn on its shaft while the shaft is held?",
            minutes: 2.0,
            caution: "Unplug. Blades cut.",
            yes_in: &["wheel loose"],
            at_part: true,
            power: Power::Dead,
            slip: 0.05,
        },
    ],
    consequences: &[],
};

struct Blower;

impl Behaviour for Blower {
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let volts = params.rated_at("rated").unwrap_or(situation.rated_v);
        let watts = params.nominal("rated");
        let running = Path::load(watts, volts, POWER_FACTOR);
        let cold = match (params.nominal("winding"), running) {
            (ohms, _) if ohms > 0.0 => Path::resistor(ohms),
            (_, Path::Ohms { r, .. }) => Path::resistor(r * COPPER_SHARE),
            (_, other) => other,
        };
        let (ac, dc) = match mode {
            Some("winding open") => (Path::Open, Path::Open),
            Some("locked") => (Path::load(watts * STALL_WATTS, volts, POWER_FACTOR), cold),
            _ => (running, cold),
        };
        let ac_u_rel = work::u_rel(params, "rated");
        let u_rel = if params.nominal("winding") > 0.0 { params.u_rel("winding") } else { ac_u_rel };
        out.push(Branch { name: "winding", from: "1", to: "2", ac, dc, u_rel, ac_u_rel });
        if mode == Some("leak to earth") {
            out.push(earth_leak("1"));
        }
    }

    fn effect(&self, params: &Params, mode: Option<&str>, situation: &Situation, flows: &Flows) -> Effect {
        let rated = params.rated_at("rated").unwrap_or(situation.rated_v);
        let fed = flows.volts.first().is_some_and(|v| *v >= START_VOLTS * rated);
        match mode {
            _ if !fed => Effect::default(),
            Some("winding open") => Effect::default(),
            Some("locked") => Effect { signs: vec!["hums"], ..Effect::default() },
            Some("wheel loose") => Effect { runs: true, ..Effect::default() },
            _ => Effect { runs: true, signs: vec!["fan blows"], ..Effect::default() },
        }
    }

    fn spread(&self, params: &Params, param: &str) -> f64 {
        if param == "rated" { work::within(params) } else { 0.0 }
    }

    fn moves(&self) -> Option<Medium> {
        Some(Medium::Air)
    }

    fn passage(&self, _: &Params, mode: Option<&str>, medium: Medium) -> Passage {
        let factor = match (medium, mode) {
            (Medium::Air, Some("winding open" | "locked")) => 0.0,
            (Medium::Air, Some("wheel loose")) => LOOSE_AIR,
            _ => 1.0,
        };
        Passage { factor, load: 1.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Value;
    use quantity::Toleranced;

    #[test]
    fn it_blows_when_fed_and_hums_when_stuck() {
        let mut p = Params::default();
        p.set("rated", Value::RatedAt(Toleranced::exact(25.0), 230.0));
        let flows = Flows { volts: vec![225.0], ..Flows::default() };
        let signs = |mode| KIND.behaviour.effect(&p, mode, &Situation::at_rest(), &flows).signs;
        assert_eq!(signs(None), ["fan blows"]);
        assert_eq!(signs(Some("locked")), ["hums"]);
    }
}
