//! Relay output: a contact of the board that it closes to drive a load.

use super::{Behaviour, Branch, COMMON, Consequence, Effect, Flows, HandCheck, Mend, Mode, Params, PartKind, Path, Power, Rate, Role, Situation, Terminal};

/// A burnt contact that still conducts: 0.2–2 Ω is common practice, no source.
const BURNT_OHM: f64 = 1.0;

pub(super) static KIND: PartKind = PartKind {
    name: "relay output",
    about: "A relay contact of the board: closed while the board drives it.",
    terminals: &[
        Terminal { name: "a", must: true, role: Role::Power },
        Terminal { name: "b", must: true, role: Role::Power },
    ],
    params: &[],
    rate: Rate {
        percent: 1.9,
        source: "from memory: Tecchio et al. 2019, electronics 14.0 %; of it 27 % relays, over two a \
            machine, is common practice, no source",
    },
    modes: &[
        Mode { name: "stuck open", says: "does not close", share: 0.15, source: COMMON, mend: Mend::Fit },
        Mode { name: "welded", says: "is welded shut", share: 0.04, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "high resistance",
            says: "has a burnt contact or joint",
            share: 0.08,
            source: COMMON,
            mend: Mend::Remake,
        },
    ],
    behaviour: &Contact,
    checks: &[HandCheck {
        id: "look",
        ask: "Is the joint, the tab or the board around it brown or cracked?",
        minutes: 4.0,
        caution: "Unplug and wait until the board has discharged.",
        yes_in: &["high resistance"],
        at_part: true,
        power: Power::Dead,
        slip: 0.1,
    }],
    consequences: &[Consequence {
        mode: "welded",
        kind: "thermal cut-out",
        brings: "open",
        probability: 0.3,
        source: COMMON,
    }],
};

struct Contact;

impl Behaviour for Contact {
    fn electrics(&self, _: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let made = match mode {
            Some("high resistance") => Path::resistor(BURNT_OHM),
            _ => Path::Closed,
        };
        let (ac, dc) = match mode {
            Some("welded") => (Path::Closed, Path::Closed),
            Some("stuck open") => (Path::Open, Path::Open),
            // On the dead machine no coil holds it.
            _ => (if situation.driven { made } else { Path::Open }, Path::Open),
        };
        out.push(Branch { name: "contact", from: "a", to: "b", ac, dc, u_rel: 0.0, ac_u_rel: 0.0 });
    }

    fn effect(&self, _: &Params, mode: Option<&str>, situation: &Situation, _: &Flows) -> Effect {
        let moves = situation.driven && !matches!(mode, Some("stuck open" | "welded"));
        Effect { runs: moves, signs: if moves { vec!["clicks"] } else { vec![] }, ..Effect::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_welded_contact_reads_closed_on_a_dead_machine() {
        let s = Situation { driven: true, ..Situation::at_rest() };
        let path = |mode| {
            let mut out = vec![];
            KIND.behaviour.electrics(&Params::default(), mode, &s, &mut out);
            (out[0].ac, out[0].dc)
        };
        assert_eq!(path(None), (Path::Closed, Path::Open));
        assert_eq!(path(Some("welded")), (Path::Closed, Path::Closed));
        assert_eq!(path(Some("stuck open")), (Path::Open, Path::Open));
    }
}
