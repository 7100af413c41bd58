//! Triac output: a semiconductor switch of the board for valves, pumps and brushed motors.

use super::{Behaviour, Branch, COMMON, Mend, Mode, Params, PartKind, Path, Rate, Role, Situation, Terminal};

pub(super) static KIND: PartKind = PartKind {
    name: "triac output",
    about: "A triac of the board: conducts while the board drives it. Its volt or so of drop is left out.",
    terminals: &[
        Terminal { name: "a", must: true, role: Role::Power },
        Terminal { name: "b", must: true, role: Role::Power },
    ],
    params: &[],
    rate: Rate {
        percent: 0.5,
        source: "from memory: Tecchio et al. 2019, electronics 14.0 %; of it 11 % triacs, over three a \
            machine, is common practice, no source",
    },
    modes: &[
        Mode {
            name: "open",
            says: "or its driver does not switch on",
            share: 0.05,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode {
            name: "short",
            says: "is shorted and always on",
            share: 0.06,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &Triac,
    checks: &[],
    consequences: &[],
};

struct Triac;

impl Behaviour for Triac {
    fn electrics(&self, _: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let (ac, dc) = match mode {
            Some("short") => (Path::Closed, Path::Closed),
            None if situation.driven => (Path::Closed, Path::Open),
            _ => (Path::Open, Path::Open),
        };
        out.push(Branch { name: "triac", from: "a", to: "b", ac, dc, u_rel: 0.0, ac_u_rel: 0.0 });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shorted_triac_conducts_undriven_and_dead() {
        let paths = |mode, driven| {
            let mut out = vec![];
            let s = Situation { driven, ..Situation::at_rest() };
            KIND.behaviour.electrics(&Params::default(), mode, &s, &mut out);
            (out[0].ac, out[0].dc)
        };
        assert_eq!(paths(Some("short"), false), (Path::Closed, Path::Closed));
        assert_eq!(paths(Some("open"), true), (Path::Open, Path::Open));
        assert_eq!(paths(None, true), (Path::Closed, Path::Open));
    }
}
