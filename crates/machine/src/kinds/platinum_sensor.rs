//! Platinum sensor: a temperature sensor whose ohms rise evenly as it warms, for ovens.

use super::{
    Behaviour, Branch, COMMON, Dimension, Mend, Mode, Param, Params, PartKind, Path, Rate, Role, Situation,
    Takes, Terminal,
};

/// Ohms of a shorted sensor. Common practice, no source.
const SHORT_OHM: f64 = 1.0;

/// Ohms of a drifted sensor against healthy: about 10 K wrong at room temperature. Common practice, no source.
const DRIFT_FACTOR: f64 = 1.04;

pub(super) static KIND: PartKind = PartKind {
    name: "platinum sensor",
    about: "A temperature sensor of platinum after IEC 60751, class B.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Signal },
        Terminal { name: "2", must: true, role: Role::Signal },
    ],
    params: &[
        Param {
            name: "r0",
            takes: Takes::Quantity(Dimension::Resistance),
            default: Some("1k"),
            must: false,
            about: "resistance at 0 °C: 100, 500 or 1000 Ω",
        },
        Param { name: "in", takes: Takes::Words, default: None, must: false, about: "where it sits" },
    ],
    rate: Rate { percent: 1.5, source: COMMON },
    modes: &[
        Mode { name: "open", says: "is open circuit", share: 0.55, source: COMMON, mend: Mend::Fit },
        Mode { name: "short", says: "is shorted", share: 0.15, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "drift",
            says: "has drifted off its curve",
            share: 0.3,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &Film,
    checks: &[],
    consequences: &[],
};

struct Film;

/// Resistance ratio R/R₀ at t °C. Source: IEC 60751.
fn ratio(t: f64) -> f64 {
    let (a, b, c) = (3.9083e-3, -5.775e-7, -4.183e-12);
    let below = if t < 0.0 { c * (t - 100.0) * t.powi(3) } else { 0.0 };
    1.0 + a * t + b * t * t + below
}

/// Relative standard uncertainty at t °C: class B of IEC 60751, ±(0.3 + 0.005 |t|) K taken as even odds (÷ √3),
/// times the slope A/ratio.
fn u_class_b(t: f64) -> f64 {
    (0.3 + 0.005 * t.abs()) / 3.0_f64.sqrt() * 3.9083e-3 / ratio(t).max(0.1)
}

impl Behaviour for Film {
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let healthy = params.nominal("r0") * ratio(situation.temperature_c);
        let path = match mode {
            Some("open") => Path::Open,
            Some("short") => Path::resistor(SHORT_OHM),
            Some("drift") => Path::resistor(healthy * DRIFT_FACTOR),
            _ => Path::resistor(healthy),
        };
        let u_rel = u_class_b(situation.temperature_c).hypot(params.u_rel("r0"));
        out.push(Branch { name: "film", from: "1", to: "2", ac: path, dc: path, u_rel });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ratio_after_the_standard() {
        // Source: IEC 60751, Pt100.
        for (t, ohms) in [(-100.0, 60.26), (0.0, 100.0), (100.0, 138.51), (300.0, 212.05)] {
            assert!((100.0 * ratio(t) - ohms).abs() < 0.005, "{t} °C");
        }
    }
}
