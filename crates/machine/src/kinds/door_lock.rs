//! Door lock: a PTC warms a bimetal, which drops the bolt and closes the contact that feeds the loads.

use super::{Behaviour, Branch, COMMON, Dimension, Effect, Flows, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Situation, Takes, Terminal};

/// Where the doors' share of jobs (11.5 %) comes from; somewhat over half of it is the lock.
const RATE_SOURCE: &str = "from memory: Tecchio et al. 2019 (doors 11.5 %); the lock's part of it is common practice, \
                           no source";

/// Share of rated volts from which the PTC gets warm enough to drop the bolt. Common practice, no source.
const WARMS_AT: f64 = 0.7;

pub(super) static KIND: PartKind = PartKind {
    name: "door lock",
    about: "Bolt moved by a warm PTC between in and n; while it is home, the contact joins in to out.",
    terminals: &[
        Terminal { name: "in", must: true, role: Role::Power },
        Terminal { name: "n", must: true, role: Role::Power },
        Terminal { name: "out", must: true, role: Role::Power },
    ],
    params: &[
        Param {
            name: "ptc",
            takes: Takes::Quantity(Dimension::Resistance),
            default: Some("1k ±30 %"),
            must: false,
            about: "ohms of the PTC, cold",
        },
        Param {
            name: "draws",
            takes: Takes::Quantity(Dimension::Power),
            default: Some("4 W ±40 %"),
            must: false,
            about: "watts once it is warm, at rated supply",
        },
    ],
    rate: Rate { percent: 6.1, source: RATE_SOURCE },
    modes: &[
        Mode { name: "never locks", says: "does not lock", share: 0.2, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "contact open",
            says: "locks but makes no contact",
            share: 0.17,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode { name: "stuck locked", says: "does not unlock", share: 0.08, source: COMMON, mend: Mend::Fit },
        Mode { name: "ptc open", says: "has an open PTC", share: 0.08, source: COMMON, mend: Mend::Fit },
    ],
    behaviour: &Lock,
    checks: &[
        HandCheck {
            id: "door",
            ask: "Five minutes after unplugging, does the door still not open?",
            minutes: 1.0,
            caution: "First make sure that there is no water above the sill and that the drum stands still.",
            yes_in: &["stuck locked"],
            at_part: false,
            power: Power::Dead,
            slip: 0.08,
        },
        HandCheck {
            id: "strike",
            ask: "Does the hook reach the lock, undamaged, when you close the door slowly?",
            minutes: 2.0,
            caution: "Unplug; keep fingers out of the latch.",
            yes_in: &["", "contact open", "stuck locked", "ptc open"],
            at_part: false,
            power: Power::Dead,
            slip: 0.3,
        },
    ],
    consequences: &[],
};

struct Lock;

impl Behaviour for Lock {
    fn has_bolt(&self) -> bool {
        true
    }

    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let watts = params.nominal("draws");
        let (ac, dc) = if mode == Some("ptc open") {
            (Path::Open, Path::Open)
        } else {
            (Path::load(watts, situation.rated_v, 1.0), Path::resistor(params.nominal("ptc")))
        };
        let (u_rel, ac_u_rel) = (params.u_rel("ptc"), params.u_rel("draws"));
        out.push(Branch { name: "ptc", from: "in", to: "n", ac, dc, u_rel, ac_u_rel });
        let made = match mode {
            Some("never locks" | "contact open" | "ptc open") => false,
            Some("stuck locked") => true,
            _ => situation.locked,
        };
        let path = if made { Path::Closed } else { Path::Open };
        out.push(Branch { name: "contact", from: "in", to: "out", ac: path, dc: path, u_rel: 0.0, ac_u_rel: 0.0 });
    }

    fn effect(&self, _: &Params, mode: Option<&str>, situation: &Situation, flows: &Flows) -> Effect {
        let volts = flows.volts.first().copied().unwrap_or(0.0);
        let powered = situation.rated_v > 0.0 && volts >= WARMS_AT * situation.rated_v;
        let moves = powered && !matches!(mode, Some("never locks" | "ptc open" | "stuck locked"));
        let signs = if moves { vec!["clicks"] } else { vec![] };
        Effect { locks: moves || mode == Some("stuck locked"), signs, ..Effect::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bolt_drops_while_the_ptc_is_fed() {
        let locks = |mode, volts| {
            let flows = Flows { volts: vec![volts, 0.0], ..Flows::default() };
            KIND.behaviour.effect(&Params::default(), mode, &Situation::at_rest(), &flows).locks
        };
        assert!(locks(None, 230.0) && !locks(None, 100.0));
        assert!(!locks(Some("never locks"), 230.0) && !locks(Some("ptc open"), 230.0));
        assert!(locks(Some("stuck locked"), 0.0));
    }
}
