//! Cord: the plug and the flexible cord up to the machine's inlet terminals.

use super::{Behaviour, Branch, COMMON, HandCheck, Mend, Mode, Params, PartKind, Path, Power, Rate, Role, SUPPLY_EARTH, SUPPLY_LINE, SUPPLY_NEUTRAL, Situation, Terminal};

/// Added ohms of a burnt plug pin or a half-broken core. Trade: more than 1 Ω of source resistance is suspect.
/// Common practice, no source.
const BURNT_OHM: f64 = 1.5;

pub(super) static KIND: PartKind = PartKind {
    name: "cord",
    about: "Plug and cord, from the socket's contacts to the machine's inlet terminals.",
    terminals: &[
        Terminal { name: "l", must: true, role: Role::Power },
        Terminal { name: "n", must: true, role: Role::Power },
        Terminal { name: "e", must: false, role: Role::Earth },
    ],
    params: &[],
    rate: Rate { percent: 0.6, source: COMMON },
    modes: &[
        Mode {
            name: "line open",
            says: "has its line core open",
            share: 0.25,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode {
            name: "neutral open",
            says: "has its neutral core open",
            share: 0.2,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode {
            name: "earth open",
            says: "has its protective core open",
            share: 0.2,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode {
            name: "high resistance",
            says: "has a burnt pin or core",
            share: 0.35,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &Cord,
    checks: &[HandCheck {
        id: "look",
        ask: "Is the plug, its pins or the cord scorched, melted or cut?",
        minutes: 1.0,
        caution: "Switch off at the board before you pull a hot or damaged plug; do not use it again.",
        yes_in: &["high resistance"],
        at_part: false,
        power: Power::Dead,
        slip: 0.15,
    }],
    consequences: &[],
};

struct Cord;

impl Behaviour for Cord {
    fn only_conducts(&self) -> bool {
        true
    }

    fn electrics(&self, _: &Params, mode: Option<&str>, _: &Situation, out: &mut Vec<Branch>) {
        let cores = [
            ("line", SUPPLY_LINE, "l", "line open"),
            ("neutral", SUPPLY_NEUTRAL, "n", "neutral open"),
            ("earth", SUPPLY_EARTH, "e", "earth open"),
        ];
        for (name, from, to, broken) in cores {
            let path = match mode {
                Some(m) if m == broken => Path::Open,
                Some("high resistance") if name == "line" => Path::resistor(BURNT_OHM),
                _ => Path::Closed,
            };
            out.push(Branch { name, from, to, ac: path, dc: path, u_rel: 0.0, ac_u_rel: 0.0 });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_core_can_break_by_itself() {
        let path = |mode, core: usize| {
            let mut out = Vec::new();
            KIND.behaviour.electrics(&Params::default(), mode, &Situation::at_rest(), &mut out);
            out[core].ac
        };
        for (core, mode) in ["line open", "neutral open", "earth open"].into_iter().enumerate() {
            let cores = [0, 1, 2].map(|c| path(Some(mode), c));
            assert!(cores.iter().enumerate().all(|(c, p)| (*p == Path::Open) == (c == core)), "{mode}");
        }
        assert_eq!(path(Some("high resistance"), 0), Path::resistor(BURNT_OHM));
    }
}
