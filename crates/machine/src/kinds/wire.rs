//! Wire: one conductor of the loom with its two joints.

use super::{Behaviour, Branch, CHASSIS, COMMON, HandCheck, Mend, Mode, Params, PartKind, Path, Power, Rate, Role, Situation, Terminal};

/// What a burnt tab or a nearly broken strand adds: 0.2–2 Ω is common practice, no source.
const BAD_JOINT_OHM: f64 = 1.5;

/// Resistance where bare copper rubs on the cabinet: enough to trip a 30 mA protection.
const CHAFED_OHM: f64 = 500.0;

pub(super) static KIND: PartKind = PartKind {
    name: "wire",
    about: "One conductor with its joints, where it can fail by itself.",
    terminals: &[
        Terminal { name: "a", must: true, role: Role::Power },
        Terminal { name: "b", must: true, role: Role::Power },
    ],
    params: &[],
    rate: Rate {
        percent: 0.1,
        source: "wiring and connectors 3 %, over some thirty wires a machine: guess, common practice, no \
            source",
    },
    modes: &[
        Mode {
            name: "open",
            says: "is broken or off its tab",
            share: 0.4,
            source: COMMON,
            mend: Mend::Remake,
        },
        Mode {
            name: "high resistance",
            says: "has a bad joint",
            share: 0.35,
            source: COMMON,
            mend: Mend::Remake,
        },
        Mode {
            name: "chafed to earth",
            says: "is chafed through to the cabinet",
            share: 0.15,
            source: COMMON,
            mend: Mend::Remake,
        },
        Mode {
            name: "intermittent",
            says: "makes contact now and then",
            share: 0.1,
            source: COMMON,
            mend: Mend::Remake,
        },
    ],
    behaviour: &Conductor,
    checks: &[
        HandCheck {
            id: "look",
            ask: "Is a tab brown or slack, or the insulation worn where it touches metal?",
            minutes: 3.0,
            caution: "Unplug. Sheet-metal edges cut.",
            yes_in: &["high resistance", "chafed to earth"],
            at_part: true,
            power: Power::Dead,
            slip: 0.15,
        },
        HandCheck {
            id: "wiggle",
            ask: "Does the meter's tone break up while the loom is moved?",
            minutes: 5.0,
            caution: "Only on the dead machine.",
            yes_in: &["intermittent"],
            at_part: true,
            power: Power::Dead,
            slip: 0.15,
        },
    ],
    consequences: &[],
};

struct Conductor;

impl Behaviour for Conductor {
    fn only_conducts(&self) -> bool {
        true
    }

    fn now_and_then(&self, mode: &str) -> Option<&'static str> {
        (mode == "intermittent").then_some("open")
    }

    fn electrics(&self, _: &Params, mode: Option<&str>, _: &Situation, out: &mut Vec<Branch>) {
        let path = match mode {
            Some("open") => Path::Open,
            Some("high resistance") => Path::resistor(BAD_JOINT_OHM),
            _ => Path::Closed,
        };
        out.push(Branch { name: "wire", from: "a", to: "b", ac: path, dc: path, u_rel: 0.0, ac_u_rel: 0.0 });
        if mode == Some("chafed to earth") {
            let chafed = Path::resistor(CHAFED_OHM);
            out.push(Branch { name: "chafed", from: "a", to: CHASSIS, ac: chafed, dc: chafed, u_rel: 1.0, ac_u_rel: 1.0 });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chafed_wire_still_conducts_but_reaches_the_cabinet() {
        let mut out = vec![];
        KIND.behaviour.electrics(&Params::default(), Some("chafed to earth"), &Situation::at_rest(), &mut out);
        assert_eq!(out[0].ac, Path::Closed);
        assert_eq!((out[1].to, out[1].dc), (CHASSIS, Path::resistor(500.0)));
    }
}
