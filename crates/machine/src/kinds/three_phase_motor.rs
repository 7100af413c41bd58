//! Three-phase motor: an induction motor fed by an inverter.

use super::brushed_motor::earth_leak;
use super::{Behaviour, Branch, COMMON, Consequence, Dimension, Effect, Flows, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, SUPPLY_LINE, Situation, Takes, Terminal, work};
use crate::params::interpolate;

/// An inverter motor that cannot turn draws bursts of 20–150 W until the inverter gives up, watts at the mains side.
/// Common practice, no source.
pub(super) const STRUGGLE_W: f64 = 60.0;

/// Relative standard uncertainty of those bursts: 20–150 W, by ratio. Common practice, no source.
pub(super) const STRUGGLE_U_REL: f64 = 0.5;

/// Factor on the watts with shorted turns: "+30 % or more" (common practice, no source).
pub(super) const SHORTED_WATTS: f64 = 1.3;

/// Share of a delta side that is left with shorted turns: makes the pairs differ by more than 5 %.
const SHORTED_SIDE: f64 = 0.7;

pub(super) static KIND: PartKind = PartKind {
    name: "three-phase motor",
    about: "An induction motor of three like windings on an inverter.",
    terminals: TERMINALS,
    params: PARAMS,
    rate: Rate { percent: 1.5, source: "guess to fill the rest, common practice, no source" },
    modes: &[
        Mode { name: "phase open", says: "has an open phase", share: 0.35, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "turns shorted",
            says: "has shorted turns",
            share: 0.25,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode { name: "leak to earth", says: "leaks to earth", share: 0.25, source: COMMON, mend: Mend::Fit },
        Mode { name: "locked", says: "is stiff or locked", share: 0.15, source: COMMON, mend: Mend::Fit },
    ],
    behaviour: &OnInverter,
    checks: &[TURN_BY_HAND],
    consequences: &[LOCKED_TAKES_INVERTER],
};

/// Terminals of a motor on an inverter.
pub(super) const TERMINALS: &[Terminal] = &[
    Terminal { name: "u", must: true, role: Role::Power },
    Terminal { name: "v", must: true, role: Role::Power },
    Terminal { name: "w", must: true, role: Role::Power },
    Terminal { name: "earth", must: true, role: Role::Earth },
];

/// Parameters of a motor on an inverter.
pub(super) const PARAMS: &[Param] = &[
    Param {
        name: "winding",
        takes: Takes::Quantity(Dimension::Resistance),
        default: None,
        must: true,
        about: "cold resistance between any two of u, v, w",
    },
    Param {
        name: "draws",
        takes: Takes::Table(Dimension::Speed, Dimension::Power),
        default: None,
        must: true,
        about: "drum speed against watts at the mains side of the inverter, its own idle watts left out",
    },
    work::WITHIN,
];

/// Is it the motor or what it turns that is stiff?
pub(super) const TURN_BY_HAND: HandCheck = HandCheck {
    id: "turn by hand",
    ask: "With the belt off, is the motor stiff to turn by hand?",
    minutes: 4.0,
    caution: "Unplug and wait until the inverter has discharged. Do not touch the motor leads while it \
        turns.",
    yes_in: &["locked"],
    at_part: true,
    power: Power::Dead,
    slip: 0.03,
};

/// A motor that cannot turn overloads the inverter at every attempt.
pub(super) const LOCKED_TAKES_INVERTER: Consequence =
    Consequence { mode: "locked", kind: "inverter output", brings: "dead", probability: 0.1, source: COMMON };

/// A motor whose three windings are reached only through an inverter.
pub(super) struct OnInverter;

impl Behaviour for OnInverter {
    fn can_stall(&self) -> bool {
        true
    }

    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let (pair, u_rel) = (params.nominal("winding"), params.u_rel("winding"));
        // The inverter stands between it and the mains, so at mains frequency there is no path; its watts come back
        // as the inverter's demand.
        let mut side = |name, from, to, ohms: f64| {
            out.push(Branch { name, from, to, ac: Path::Open, dc: Path::resistor(ohms), u_rel, ac_u_rel: u_rel });
        };
        if mode == Some("phase open") {
            side("v-w", "v", "w", pair);
            return;
        }
        // Three sides of 1.5 R give R between any two: 1.5 R beside 3 R.
        let first = if mode == Some("turns shorted") { SHORTED_SIDE } else { 1.0 };
        side("u-v", "u", "v", 1.5 * pair * first);
        side("v-w", "v", "w", 1.5 * pair);
        side("w-u", "w", "u", 1.5 * pair);
        if mode == Some("leak to earth") {
            let leak = earth_leak("u");
            out.push(Branch { ac: Path::Open, ..leak });
            if situation.driven && situation.moving {
                // While the inverter works, its bus and with it the winding stand at mains potential.
                out.push(Branch {
                    name: "leak through the inverter",
                    from: SUPPLY_LINE,
                    dc: Path::Open,
                    ..leak
                });
            }
        }
    }

    fn effect(&self, params: &Params, mode: Option<&str>, situation: &Situation, flows: &Flows) -> Effect {
        let wanted = situation.wanted_rpm;
        if flows.phases == 0 || !situation.driven || wanted == 0.0 {
            return Effect::default();
        }
        let struggle = |sign| Effect {
            turns_rpm: Some(0.0),
            demand_w: STRUGGLE_W,
            demand_u_w: STRUGGLE_W * STRUGGLE_U_REL,
            signs: vec![sign],
            ..Effect::default()
        };
        if mode == Some("locked") {
            return struggle("hums");
        }
        if flows.phases < 3 || matches!(mode, Some("phase open" | "magnets loose")) {
            return struggle("jerks");
        }
        let factor = if mode == Some("turns shorted") { SHORTED_WATTS } else { 1.0 };
        let demand_w = interpolate(params.table("draws"), wanted.abs()) * factor;
        let demand_u_w = demand_w * work::u_rel(params, "draws");
        Effect { turns_rpm: Some(wanted), runs: true, demand_w, demand_u_w, ..Effect::default() }
    }

    fn spread(&self, params: &Params, param: &str) -> f64 {
        if param == "draws" { work::within(params) } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Value;
    use quantity::Toleranced;

    fn motor() -> Params {
        let mut p = Params::default();
        p.set("winding", Value::Quantity(Toleranced::exact(6.0)));
        p.set("draws", Value::Table(vec![(50.0, 20.0), (1200.0, 390.0)]));
        p
    }

    fn tumbling_left() -> Situation {
        Situation { driven: true, wanted_rpm: -50.0, moving: true, ..Situation::at_rest() }
    }

    #[test]
    fn any_two_terminals_read_the_winding() {
        let mut out = vec![];
        KIND.behaviour.electrics(&motor(), None, &tumbling_left(), &mut out);
        let ohms: Vec<f64> =
            out.iter().map(|b| if let Path::Ohms { r, .. } = b.dc { r } else { 0.0 }).collect();
        let pair = ohms[0] * (ohms[1] + ohms[2]) / (ohms[0] + ohms[1] + ohms[2]);
        assert!((pair - 6.0).abs() < 1e-12);
    }

    #[test]
    fn three_phases_turn_it_two_make_it_jerk() {
        let effect = |phases| {
            let flows = Flows { phases, ..Flows::default() };
            KIND.behaviour.effect(&motor(), None, &tumbling_left(), &flows)
        };
        assert_eq!(effect(3).turns_rpm, Some(-50.0));
        assert!((effect(3).demand_w - 20.0).abs() < 1e-12);
        assert_eq!(effect(2).signs, ["jerks"]);
        assert!(!effect(2).runs);
        assert_eq!(effect(0), Effect::default());
    }
}
