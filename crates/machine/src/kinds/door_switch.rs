//! Door switch: a plain contact that the door presses.

use super::{Behaviour, Branch, COMMON, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Situation, Takes, Terminal};

pub(super) static KIND: PartKind = PartKind {
    name: "door switch",
    about: "A contact that the door presses; the door does not stay locked by it. Machines are tested with the door shut.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Power },
        Terminal { name: "2", must: true, role: Role::Power },
    ],
    params: &[Param {
        name: "made",
        takes: Takes::Choice(&["shut", "open"]),
        default: Some("shut"),
        must: false,
        about: "the door's position in which the contact is made",
    }],
    rate: Rate {
        percent: 2.0,
        source: "from memory: Tecchio et al. 2019 (doors 11.5 %); the switch's part of it is common practice, no source",
    },
    modes: &[
        Mode { name: "never made", says: "makes no contact", share: 0.4, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "not pressed",
            says: "is not reached by the door",
            share: 0.4,
            source: COMMON,
            mend: Mend::Remake,
        },
        Mode {
            name: "stuck made",
            says: "makes contact whatever the door does",
            share: 0.2,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &Contact,
    checks: &[
        HandCheck {
            id: "reach",
            ask: "Does the door's tab reach the switch and press it home when you close the door slowly?",
            minutes: 2.0,
            caution: "Unplug; keep fingers out of the hinge and the latch.",
            yes_in: &["", "never made", "stuck made"],
            at_part: false,
            power: Power::Dead,
            slip: 0.1,
        },
        HandCheck {
            id: "press",
            ask: "With a meter on its contact, does the reading stay the same whether you press it or let it go?",
            minutes: 3.0,
            caution: "Unplug and take one lead off before you measure.",
            yes_in: &["never made", "stuck made"],
            at_part: true,
            power: Power::Dead,
            slip: 0.03,
        },
    ],
    consequences: &[],
};

struct Contact;

impl Behaviour for Contact {
    fn electrics(&self, params: &Params, mode: Option<&str>, _: &Situation, out: &mut Vec<Branch>) {
        let when_shut = params.text("made") != "open";
        let made = match mode {
            Some("never made") => false,
            Some("stuck made") => true,
            // Not reached, it rests as with the door open.
            Some("not pressed") => !when_shut,
            _ => when_shut,
        };
        let path = if made { Path::Closed } else { Path::Open };
        out.push(Branch { name: "contact", from: "1", to: "2", ac: path, dc: path, u_rel: 0.0, ac_u_rel: 0.0 });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Value;

    #[test]
    fn the_shut_door_makes_one_kind_and_breaks_the_other() {
        let made = |when: &str, mode| {
            let mut params = Params::default();
            params.set("made", Value::Text(when.to_owned()));
            let mut out = vec![];
            KIND.behaviour.electrics(&params, mode, &Situation::at_rest(), &mut out);
            out[0].ac == Path::Closed
        };
        assert!(made("shut", None) && !made("open", None));
        assert!(!made("shut", Some("not pressed")) && made("open", Some("not pressed")));
        assert!(!made("shut", Some("never made")) && made("open", Some("stuck made")));
    }
}
