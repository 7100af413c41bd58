//! Changeover output: a relay of the board with a rest contact and a driven one, as for turning a motor over.

use super::{
    Behaviour, Branch, COMMON, Effect, Flows, Mend, Mode, Params, PartKind, Path, Rate, Role, Situation,
    Terminal,
};

pub(super) static KIND: PartKind = PartKind {
    name: "changeover output",
    about: "A changeover relay of the board: common meets rest, or driven while the board drives it.",
    terminals: &[
        Terminal { name: "common", must: true, role: Role::Power },
        Terminal { name: "rest", must: false, role: Role::Power },
        Terminal { name: "driven", must: false, role: Role::Power },
    ],
    params: &[],
    rate: Rate { percent: 0.5, source: COMMON },
    modes: &[
        Mode { name: "stuck at rest", says: "stays at rest", share: 0.75, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "stuck driven",
            says: "stays in its driven position",
            share: 0.25,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &Changeover,
    checks: &[],
    consequences: &[],
};

struct Changeover;

impl Behaviour for Changeover {
    fn electrics(&self, _: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let stuck = match mode {
            Some("stuck at rest") => Some(false),
            Some("stuck driven") => Some(true),
            _ => None,
        };
        let path = |made: bool| if made { Path::Closed } else { Path::Open };
        // Live it follows the board, dead it lies at rest, unless it is stuck.
        let (live, dead) = (stuck.unwrap_or(situation.driven), stuck.unwrap_or(false));
        let mut contact = |name, to, when: bool| {
            let (ac, dc) = (path(live == when), path(dead == when));
            out.push(Branch { name, from: "common", to, ac, dc, u_rel: 0.0, ac_u_rel: 0.0 });
        };
        contact("rest contact", "rest", false);
        contact("driven contact", "driven", true);
    }

    fn effect(&self, _: &Params, mode: Option<&str>, situation: &Situation, _: &Flows) -> Effect {
        let moves = situation.driven && mode.is_none();
        Effect { runs: moves, signs: if moves { vec!["clicks"] } else { vec![] }, ..Effect::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_makes_one_contact_at_a_time_stuck_or_not() {
        let closed = |mode, driven| {
            let mut out = vec![];
            let s = Situation { driven, ..Situation::at_rest() };
            KIND.behaviour.electrics(&Params::default(), mode, &s, &mut out);
            out.iter().filter(|b| b.ac == Path::Closed).map(|b| b.to).collect::<Vec<_>>()
        };
        assert_eq!(closed(None, false), ["rest"]);
        assert_eq!(closed(None, true), ["driven"]);
        assert_eq!(closed(Some("stuck at rest"), true), ["rest"]);
        assert_eq!(closed(Some("stuck driven"), false), ["driven"]);
    }
}
