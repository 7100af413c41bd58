//! Inverter output: rectifier, bus capacitor and three legs that feed a three-phase or permanent-magnet motor.

use super::three_phase_motor::{STRUGGLE_U_REL, STRUGGLE_W};
use super::{Behaviour, Branch, COMMON, Effect, Flows, HandCheck, Mend, Mode, Params, PartKind, Path, Power, Rate, Role, Situation, Terminal};

/// What it takes for itself while it works, watts. 3–8 W is common practice, no source.
const IDLE_W: f64 = 3.0;

/// Power factor of a rectifier with a capacitor behind it. 0.5–0.7 is common practice, no source.
const POWER_FACTOR: f64 = 0.6;

/// It starts at this share of the rated volts and above.
const START_VOLTS: f64 = 0.6;

/// A weak bus capacitor lets the bus sag from about this load on: it still tumbles, but trips in the spin, watts.
const WEAK_BUS_W: f64 = 150.0;

pub(super) static KIND: PartKind = PartKind {
    name: "inverter output",
    about: "The inverter, on the board or apart from it: mains at l and n, the motor at u, v and w.",
    terminals: &[
        Terminal { name: "l", must: true, role: Role::Power },
        Terminal { name: "n", must: true, role: Role::Power },
        Terminal { name: "u", must: true, role: Role::Power },
        Terminal { name: "v", must: true, role: Role::Power },
        Terminal { name: "w", must: true, role: Role::Power },
    ],
    params: &[],
    rate: Rate {
        percent: 3.1,
        source: "from memory: Tecchio et al. 2019, electronics 14.0 %; of it 22 % inverter is common \
            practice, no source",
    },
    modes: &[
        Mode { name: "dead", says: "does not work", share: 0.7, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "one leg lost",
            says: "has lost one of its three legs",
            share: 0.2,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode {
            name: "bus capacitor weak",
            says: "has a weak bus capacitor",
            share: 0.1,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &Inverter,
    checks: &[HandCheck {
        id: "look",
        ask: "Is there a burnt leg or track, or a bulging capacitor, on the inverter board?",
        minutes: 4.0,
        caution: "Unplug, wait as its label says (5 minutes if there is none), measure DC on the bus before \
            touching.",
        yes_in: &["dead", "one leg lost", "bus capacitor weak"],
        at_part: true,
        power: Power::Dead,
        slip: 0.3,
    }],
    consequences: &[],
};

struct Inverter;

impl Behaviour for Inverter {
    fn electrics(&self, _: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let demand_w = match mode {
            Some("dead") => 0.0,
            Some("bus capacitor weak") if situation.demand_w > WEAK_BUS_W => 0.0,
            Some("one leg lost") => situation.demand_w.min(STRUGGLE_W),
            _ => situation.demand_w,
        };
        let watts = demand_w.max(0.0) + IDLE_W;
        let demand_u_w = if situation.demand_w > 0.0 {
            situation.demand_u_w * demand_w.max(0.0) / situation.demand_w
        } else {
            0.0
        };
        let ac = if situation.driven {
            Path::load(watts, situation.rated_v, POWER_FACTOR)
        } else {
            Path::Open
        };
        // An ohmmeter charges the bus and then sees next to nothing.
        out.push(Branch { name: "supply", from: "l", to: "n", ac, dc: Path::Open, u_rel: 0.0, ac_u_rel: demand_u_w / watts });
    }

    fn effect(&self, _: &Params, mode: Option<&str>, situation: &Situation, flows: &Flows) -> Effect {
        let volts = flows.volts.first().copied().unwrap_or(0.0);
        if !situation.driven || volts < START_VOLTS * situation.rated_v {
            return Effect::default();
        }
        match mode {
            Some("dead") => Effect::default(),
            Some("bus capacitor weak") if situation.demand_w > WEAK_BUS_W => {
                Effect { signs: vec!["hums"], ..Effect::default() }
            }
            Some("one leg lost") => {
                Effect {
                    runs: true,
                    demand_w: STRUGGLE_W,
                    demand_u_w: STRUGGLE_W * STRUGGLE_U_REL,
                    signs: vec!["jerks"],
                    ..Effect::default()
                }
            }
            _ => Effect { runs: true, ..Effect::default() },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn driven(demand_w: f64) -> Situation {
        Situation { driven: true, wanted_rpm: 1200.0, moving: true, demand_w, ..Situation::at_rest() }
    }

    #[test]
    fn it_takes_what_the_motor_takes_and_its_own() {
        let mut out = vec![];
        KIND.behaviour.electrics(&Params::default(), None, &driven(387.0), &mut out);
        assert_eq!(out[0].ac, Path::load(390.0, 230.0, POWER_FACTOR));
    }

    #[test]
    fn a_weak_bus_capacitor_tumbles_but_does_not_spin() {
        let flows = Flows { volts: vec![230.0], ..Flows::default() };
        let runs = |w| {
            KIND.behaviour.effect(&Params::default(), Some("bus capacitor weak"), &driven(w), &flows).runs
        };
        assert!(runs(20.0));
        assert!(!runs(390.0));
    }
}
