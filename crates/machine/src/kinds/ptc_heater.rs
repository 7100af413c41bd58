//! PTC heater: ceramic stones that regulate themselves, as in dryers and fan heaters.

use super::{
    Behaviour, Branch, COMMON, Dimension, Effect, Flows, Mend, Mode, Param, Params, PartKind, Path, Rate,
    Role, Situation, Takes, Terminal,
};

/// Cold ohms against ohms at work: cold stones read 3 … 10 times lower. Common practice, no source.
const COLD_OVER_HOT: f64 = 0.2;

/// Relative uncertainty of a cold reading, from that spread. Common practice, no source.
const U_REL_COLD: f64 = 0.35;

/// Ohms at work of aged stones against healthy: about half the power. Common practice, no source.
const WEAK_FACTOR: f64 = 2.0;

/// Ohms from a cracked stone to the frame: 115 mA at 230 V, which trips a 30 mA device. Common practice, no source.
const LEAK_OHM: f64 = 2_000.0;

/// Heat below which the air does not feel warm, watts. Common practice, no source.
const FELT_W: f64 = 100.0;

pub(super) static KIND: PartKind = PartKind {
    name: "ptc heater",
    about: "Ceramic stones whose resistance rises as they heat, so that power settles by itself.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Power },
        Terminal { name: "2", must: true, role: Role::Power },
        Terminal { name: "earth", must: false, role: Role::Earth },
    ],
    params: &[Param {
        name: "rated",
        takes: Takes::RatedAt(Dimension::Power, Dimension::Voltage),
        default: None,
        must: true,
        about: "settled power at a stated voltage",
    }],
    rate: Rate { percent: 3.0, source: COMMON },
    modes: &[
        Mode { name: "open", says: "is open circuit", share: 0.5, source: COMMON, mend: Mend::Fit },
        Mode { name: "weak", says: "has aged and heats weakly", share: 0.3, source: COMMON, mend: Mend::Fit },
        Mode { name: "leak", says: "leaks to earth", share: 0.2, source: COMMON, mend: Mend::Fit },
    ],
    behaviour: &Stones,
    checks: &[],
    consequences: &[],
};

struct Stones;

impl Behaviour for Stones {
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let volts = params.rated_at("rated").unwrap_or(situation.rated_v);
        let watts = params.nominal("rated");
        if watts > 0.0 && mode != Some("open") {
            let factor = if mode == Some("weak") { WEAK_FACTOR } else { 1.0 };
            let hot = factor * volts * volts / watts;
            let (ac, dc) = (Path::resistor(hot), Path::resistor(hot * COLD_OVER_HOT));
            let u_rel = params.u_rel("rated").max(U_REL_COLD / 3.0);
            out.push(Branch { name: "stones", from: "1", to: "2", ac, dc, u_rel, ac_u_rel: u_rel });
        }
        if mode == Some("leak") {
            let leak = Path::resistor(LEAK_OHM);
            out.push(Branch { name: "leak", from: "1", to: "earth", ac: leak, dc: leak, u_rel: 0.5, ac_u_rel: 0.5 });
        }
    }

    fn heats_w(&self, params: &Params) -> f64 {
        params.nominal("rated")
    }

    fn spread(&self, _: &Params, param: &str) -> f64 {
        if param == "rated" { U_REL_COLD / 3f64.sqrt() } else { 0.0 }
    }

    fn effect(&self, _: &Params, _: Option<&str>, _: &Situation, flows: &Flows) -> Effect {
        let heat_w = flows.watts.iter().sum();
        let signs = if heat_w > FELT_W { vec!["gets warm"] } else { vec![] };
        Effect { heat_w, signs, ..Effect::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Value;
    use quantity::Toleranced;

    #[test]
    fn cold_ohms_are_well_below_those_at_work() {
        let mut params = Params::default();
        params.set("rated", Value::RatedAt(Toleranced::exact(1_000.0), 230.0));
        let mut out = Vec::new();
        KIND.behaviour.electrics(&params, None, &Situation::at_rest(), &mut out);
        assert_eq!(out[0].ac, Path::resistor(52.9));
        let Path::Ohms { r: cold, .. } = out[0].dc else { panic!("no stones") };
        assert!((3.0..10.0).contains(&(52.9 / cold)));
    }
}
