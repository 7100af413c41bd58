//! Low-voltage output: a transistor of the board that switches a small load or pulses a coil.

use super::{Behaviour, Branch, COMMON, Mend, Mode, Params, PartKind, Path, Rate, Role, Situation, Terminal};

pub(super) static KIND: PartKind = PartKind {
    name: "low-voltage output",
    about: "A transistor output of the board, for lamps, pulse coils and small fans: conducts while driven.",
    terminals: &[
        Terminal { name: "a", must: true, role: Role::Signal },
        Terminal { name: "b", must: true, role: Role::Signal },
    ],
    params: &[],
    rate: Rate { percent: 0.2, source: COMMON },
    modes: &[Mode { name: "dead", says: "does not switch on", share: 1.0, source: COMMON, mend: Mend::Fit }],
    behaviour: &Transistor,
    checks: &[],
    consequences: &[],
};

struct Transistor;

impl Behaviour for Transistor {
    fn electrics(&self, _: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let ac = if situation.driven && mode.is_none() { Path::Closed } else { Path::Open };
        out.push(Branch { name: "switch", from: "a", to: "b", ac, dc: Path::Open, u_rel: 0.0, ac_u_rel: 0.0 });
    }
}
