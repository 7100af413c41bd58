//! Fuse: a link that melts.

use super::{Behaviour, Branch, COMMON, Dimension, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Situation, Takes, Terminal};

pub(super) static KIND: PartKind = PartKind {
    name: "fuse",
    about: "A link in line with the supply or one load that melts on over-current.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Power },
        Terminal { name: "2", must: true, role: Role::Power },
    ],
    params: &[Param {
        name: "rated",
        takes: Takes::Quantity(Dimension::Current),
        default: None,
        must: false,
        about: "rated current, for ordering the same again",
    }],
    rate: Rate { percent: 0.2, source: COMMON },
    modes: &[Mode { name: "open", says: "has blown", share: 1.0, source: COMMON, mend: Mend::Fit }],
    behaviour: &Link,
    checks: &[HandCheck {
        id: "look",
        ask: "Is the link melted or the glass black?",
        minutes: 1.0,
        caution: "Unplug and prove it dead. Find what blew it before you fit another of the same rating.",
        yes_in: &["open"],
        at_part: true,
        power: Power::Dead,
        slip: 0.15,
    }],
    consequences: &[],
};

struct Link;

impl Behaviour for Link {
    fn only_conducts(&self) -> bool {
        true
    }

    fn electrics(&self, _: &Params, mode: Option<&str>, _: &Situation, out: &mut Vec<Branch>) {
        let path = if mode == Some("open") { Path::Open } else { Path::Closed };
        out.push(Branch { name: "link", from: "1", to: "2", ac: path, dc: path, u_rel: 0.0, ac_u_rel: 0.0 });
    }
}
