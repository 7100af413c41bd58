//! Pulse lock: a coil throws the bolt with a short pulse; a contact of its own tells the board.

use super::{Behaviour, Branch, COMMON, Dimension, Effect, Flows, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Situation, Takes, Terminal};

/// Where the doors' share of jobs (11.5 %) comes from; somewhat over half of it is the lock.
const RATE_SOURCE: &str = "from memory: Tecchio et al. 2019 (doors 11.5 %); the lock's part of it is common practice, \
                           no source";

/// Share of rated volts from which the coil throws the bolt. Common practice, no source.
const THROWS_AT: f64 = 0.7;

/// Share of a step's time in which the coil carries current: a 20 ms pulse in some ten seconds, so that it cannot be
/// seen in watts read once a second. Common practice, no source.
const DUTY: f64 = 0.002;

pub(super) static KIND: PartKind = PartKind {
    name: "pulse lock",
    about: "Bistable lock: pulses on the coil throw the bolt, the contact is made while it is home. Steps that need \
            the door locked list it among what they drive.",
    terminals: &[
        Terminal { name: "coil-1", must: true, role: Role::Power },
        Terminal { name: "coil-2", must: true, role: Role::Power },
        Terminal { name: "contact-1", must: true, role: Role::Power },
        Terminal { name: "contact-2", must: true, role: Role::Power },
    ],
    params: &[Param {
        name: "coil",
        takes: Takes::Quantity(Dimension::Resistance),
        default: Some("150R ±40 %"),
        must: false,
        about: "ohms of the coil",
    }],
    rate: Rate { percent: 6.1, source: RATE_SOURCE },
    modes: &[
        Mode { name: "coil open", says: "has an open coil", share: 0.28, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "contact open",
            says: "locks but makes no contact",
            share: 0.17,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode { name: "stuck locked", says: "does not unlock", share: 0.08, source: COMMON, mend: Mend::Fit },
    ],
    behaviour: &Lock,
    checks: &[HandCheck {
        id: "door",
        ask: "With the programme ended, drained and cool, does the door still not open?",
        minutes: 1.0,
        caution: "First make sure that there is no water above the sill and that the drum stands still.",
        yes_in: &["stuck locked"],
        at_part: false,
        power: Power::Dead,
        slip: 0.15,
    }],
    consequences: &[],
};

struct Lock;

impl Behaviour for Lock {
    fn has_bolt(&self) -> bool {
        true
    }

    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let (coil, u_rel) = (params.nominal("coil"), params.u_rel("coil"));
        let (ac, dc) = if mode == Some("coil open") {
            (Path::Open, Path::Open)
        } else {
            (Path::resistor(coil / DUTY), Path::resistor(coil))
        };
        out.push(Branch { name: "coil", from: "coil-1", to: "coil-2", ac, dc, u_rel, ac_u_rel: u_rel });
        let made = match mode {
            Some("coil open" | "contact open") => false,
            Some("stuck locked") => true,
            _ => situation.locked,
        };
        let path = if made { Path::Closed } else { Path::Open };
        out.push(Branch {
            name: "contact",
            from: "contact-1",
            to: "contact-2",
            ac: path,
            dc: path,
            u_rel: 0.0, ac_u_rel: 0.0,
        });
    }

    fn effect(&self, _: &Params, mode: Option<&str>, situation: &Situation, flows: &Flows) -> Effect {
        let volts = flows.volts.first().copied().unwrap_or(0.0);
        let pulsed = situation.rated_v > 0.0 && volts >= THROWS_AT * situation.rated_v;
        let moves = pulsed && !matches!(mode, Some("coil open" | "stuck locked"));
        let signs = if moves { vec!["clicks"] } else { vec![] };
        Effect { locks: moves || mode == Some("stuck locked"), signs, ..Effect::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Value;
    use quantity::Toleranced;

    #[test]
    fn pulses_are_too_short_for_a_watt_meter() {
        let mut params = Params::default();
        params.set("coil", Value::Quantity(Toleranced::exact(150.0)));
        let mut out = Vec::new();
        KIND.behaviour.electrics(&params, None, &Situation::at_rest(), &mut out);
        let Path::Ohms { r, .. } = out[0].ac else { panic!("no coil") };
        assert!(230.0 * 230.0 / r < 1.0);
        assert_eq!(out[0].dc, Path::resistor(150.0));
    }
}
