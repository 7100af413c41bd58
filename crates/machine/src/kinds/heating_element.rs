//! Heating element: one or two rods in a sheath, insulated from it by magnesia.

use super::*;

/// Share of `chassis` leakage resistance in a rod that trips a 30 mA protection at once, ohms.
const LEAK_OHM: f64 = 2_000.0;

/// Resistance of a rod at work against cold. Source: wire maker's table for Cr20Ni80, 1.02 ± 0.01 in water.
const HOT_OVER_COLD: f64 = 1.02;

pub(super) static KIND: PartKind = PartKind {
    name: "heating element",
    about: "A rod (or two) that heats water or air; earthed sheath.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Power },
        Terminal { name: "2", must: true, role: Role::Power },
        Terminal { name: "earth", must: true, role: Role::Earth },
    ],
    params: &[Param {
        name: "rated",
        takes: Takes::RatedAt(Dimension::Power, Dimension::Voltage),
        default: None,
        must: true,
        about: "power at a stated voltage, hot, with its tolerance (+5 % / -10 % unless given)",
    }],
    rate: Rate { percent: 5.5, source: "common practice, no source" },
    modes: &[
        Mode { name: "open", says: "is open circuit", share: 0.55, source: COMMON, mend: Mend::Fit },
        Mode { name: "leak", says: "leaks to earth", share: 0.35, source: COMMON, mend: Mend::Fit },
        Mode { name: "weak", says: "has too much resistance", share: 0.02, source: COMMON, mend: Mend::Fit },
    ],
    behaviour: &Rod,
    checks: &[],
    consequences: &[],
};

struct Rod;

impl Behaviour for Rod {
    fn electrics(&self, params: &Params, mode: Option<&str>, _: &Situation, out: &mut Vec<Branch>) {
        let (watts, volts) = (params.nominal("rated"), params.rated_at("rated").unwrap_or(230.0));
        let hot = if watts > 0.0 { volts * volts / watts } else { f64::INFINITY };
        let factor = if mode == Some("weak") { 1.35 } else { 1.0 };
        let (ac, dc) = match mode {
            Some("open") => (Path::Open, Path::Open),
            _ => (Path::resistor(hot * factor), Path::resistor(hot * factor / HOT_OVER_COLD)),
        };
        let u_rel = params.u_rel("rated");
        out.push(Branch { name: "rod", from: "1", to: "2", ac, dc, u_rel });
        if mode == Some("leak") {
            let leak = Path::resistor(LEAK_OHM);
            out.push(Branch { name: "leak", from: "1", to: "earth", ac: leak, dc: leak, u_rel: 1.0 });
        }
    }

    fn effect(&self, _: &Params, _: Option<&str>, _: &Situation, flows: &Flows) -> Effect {
        let heat_w = flows.watts.first().copied().unwrap_or(0.0);
        let signs = if heat_w > 100.0 { vec!["gets warm"] } else { vec![] };
        Effect { heat_w, signs, ..Effect::default() }
    }
}
