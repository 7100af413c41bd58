//! Capacitor: the motor capacitor, or any two-pole one at mains frequency.

use super::{Behaviour, Branch, COMMON, Dimension, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Situation, Takes, Terminal};

/// Share of its capacitance that a weak one has left. Below 80 % it is replaced; motors give up near half
/// (common practice, no source).
const WEAK: f64 = 0.5;

pub(super) static KIND: PartKind = PartKind {
    name: "capacitor",
    about: "A motor capacitor between two terminals.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Power },
        Terminal { name: "2", must: true, role: Role::Power },
    ],
    params: &[Param {
        name: "farads",
        takes: Takes::Quantity(Dimension::Capacitance),
        default: None,
        must: true,
        about: "capacitance as marked",
    }],
    rate: Rate { percent: 0.5, source: "guess to fill the rest, common practice, no source" },
    modes: &[
        Mode { name: "open", says: "is open circuit", share: 0.4, source: COMMON, mend: Mend::Fit },
        Mode { name: "weak", says: "has lost capacitance", share: 0.5, source: COMMON, mend: Mend::Fit },
        Mode { name: "short", says: "is shorted", share: 0.1, source: COMMON, mend: Mend::Fit },
    ],
    behaviour: &Dielectric,
    checks: &[
        HandCheck {
            id: "look",
            ask: "Is it swollen, cracked or leaking?",
            minutes: 1.0,
            caution: "Unplug. It may hold a charge: discharge it through a resistor, not a blade.",
            yes_in: &["short"],
            at_part: true,
            power: Power::Dead,
            slip: 0.3,
        },
        HandCheck {
            id: "measure",
            ask: "Does it measure below 80 % of its marked microfarads?",
            minutes: 4.0,
            caution: "Unplug, discharge it through a resistor, take one lead off.",
            yes_in: &["open", "weak", "short"],
            at_part: true,
            power: Power::Dead,
            slip: 0.02,
        },
    ],
    consequences: &[],
};

struct Dielectric;

impl Behaviour for Dielectric {
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let share = if mode == Some("weak") { WEAK } else { 1.0 };
        let siemens = std::f64::consts::TAU * situation.hz * params.nominal("farads") * share;
        let (ac, dc) = match mode {
            Some("short") => (Path::Closed, Path::Closed),
            Some("open") => (Path::Open, Path::Open),
            _ if siemens > 0.0 => (Path::Ohms { r: 0.0, x: -1.0 / siemens }, Path::Open),
            _ => (Path::Open, Path::Open),
        };
        out.push(Branch { name: "capacitor", from: "1", to: "2", ac, dc, u_rel: params.u_rel("farads"), ac_u_rel: params.u_rel("farads") });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Value;
    use quantity::Toleranced;

    #[test]
    fn sixteen_microfarads_have_199_ohms_at_50_hz() {
        let mut p = Params::default();
        p.set("farads", Value::Quantity(Toleranced::exact(16e-6)));
        let s = Situation::at_rest();
        let mut out = vec![];
        KIND.behaviour.electrics(&p, None, &s, &mut out);
        // X = 1/(2πfC), exact arithmetic.
        assert!(matches!(out[0].ac, Path::Ohms { r: 0.0, x } if (x + 198.94).abs() < 0.01));
    }
}
