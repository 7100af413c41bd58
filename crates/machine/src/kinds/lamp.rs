//! Lamp: a bulb or a signal lamp between two terminals.

use super::{Behaviour, Branch, COMMON, Dimension, Effect, Flows, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Situation, Takes, Terminal};

/// Share of the rated volts from which it is seen to light.
const VISIBLE: f64 = 0.5;

/// A cold filament has about a tenth of its hot resistance. Common practice, no source.
const COLD_OVER_HOT: f64 = 0.1;

pub(super) static KIND: PartKind = PartKind {
    name: "lamp",
    about: "A bulb or signal lamp.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Power },
        Terminal { name: "2", must: true, role: Role::Power },
    ],
    params: &[Param {
        name: "rated",
        takes: Takes::RatedAt(Dimension::Power, Dimension::Voltage),
        default: None,
        must: true,
        about: "watts at a stated voltage",
    }],
    rate: Rate { percent: 0.5, source: COMMON },
    modes: &[
        Mode { name: "open", says: "is burnt out", share: 0.85, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "loose",
            says: "is loose in its holder",
            share: 0.15,
            source: COMMON,
            mend: Mend::Remake,
        },
    ],
    behaviour: &Filament,
    checks: &[HandCheck {
        id: "seat",
        ask: "Is the lamp loose in its holder, or the holder's contact bent or burnt?",
        minutes: 2.0,
        caution: "Unplug. Let it cool; glass cuts.",
        yes_in: &["loose"],
        at_part: true,
        power: Power::Dead,
        slip: 0.05,
    }],
    consequences: &[],
};

struct Filament;

impl Behaviour for Filament {
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let volts = params.rated_at("rated").unwrap_or(situation.rated_v);
        let ac = if mode.is_none() { Path::load(params.nominal("rated"), volts, 1.0) } else { Path::Open };
        let dc = match ac {
            Path::Ohms { r, .. } => Path::resistor(r * COLD_OVER_HOT),
            other => other,
        };
        out.push(Branch { name: "filament", from: "1", to: "2", ac, dc, u_rel: params.u_rel("rated"), ac_u_rel: params.u_rel("rated") });
    }

    fn effect(&self, params: &Params, mode: Option<&str>, situation: &Situation, flows: &Flows) -> Effect {
        let rated = params.rated_at("rated").unwrap_or(situation.rated_v);
        let lit = mode.is_none() && flows.volts.first().is_some_and(|v| *v >= VISIBLE * rated);
        Effect { signs: if lit { vec!["lamp lights"] } else { vec![] }, ..Effect::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Value;
    use quantity::Toleranced;

    #[test]
    fn it_lights_on_its_own_volts_whatever_the_mains() {
        let mut p = Params::default();
        p.set("rated", Value::RatedAt(Toleranced::exact(5.0), 12.0));
        let s = Situation { driven: true, ..Situation::at_rest() };
        let flows = Flows { volts: vec![11.0], ..Flows::default() };
        assert_eq!(KIND.behaviour.effect(&p, None, &s, &flows).signs, ["lamp lights"]);
        assert!(KIND.behaviour.effect(&p, Some("open"), &s, &flows).signs.is_empty());
    }
}
