//! Platinum sensor: a temperature sensor whose ohms rise evenly as it warms, for ovens.

use super::{
    Behaviour, Branch, COMMON, Dimension, Mend, Mode, Param, Params, PartKind, Path, Rate, Role, Situation,
    Takes, Terminal,
};
use physics::sensors::platinum::{PlatinumClass, platinum_resistance_ohm};

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

/// Where IEC 60751 states values, °C; beyond, the end value holds.
const STATED_CELSIUS: (f64, f64) = (-200.0, 850.0);

/// Slope of the ratio R/R₀ at 0 °C, 1/K. Source: A of IEC 60751.
const SLOPE: f64 = 3.9083e-3;

/// Ohms at t °C of a sensor with `r0` ohms at 0 °C, and their relative standard uncertainty: the limits of class B taken
/// as even odds (÷ √3), times the slope.
fn ohms(r0: f64, t: f64) -> (f64, f64) {
    let t = t.clamp(STATED_CELSIUS.0, STATED_CELSIUS.1);
    let ohms = platinum_resistance_ohm(r0, t).unwrap_or(0.0);
    let kelvin = PlatinumClass::B.tolerance_kelvin(t).unwrap_or(0.0);
    let u_rel = if ohms > 0.0 { kelvin / 3.0_f64.sqrt() * SLOPE * r0 / ohms } else { 0.0 };
    (ohms, u_rel)
}

impl Behaviour for Film {
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let (healthy, u_class) = ohms(params.nominal("r0"), situation.temperature_c);
        let path = match mode {
            Some("open") => Path::Open,
            Some("short") => Path::resistor(SHORT_OHM),
            Some("drift") => Path::resistor(healthy * DRIFT_FACTOR),
            _ => Path::resistor(healthy),
        };
        let u_rel = u_class.hypot(params.u_rel("r0"));
        out.push(Branch { name: "film", from: "1", to: "2", ac: path, dc: path, u_rel, ac_u_rel: u_rel });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn class_b_in_ohms() {
        // Source: IEC 60751, Pt1000 at 100 °C: 1385.05 Ω, class B ±0.8 K; 0.8 K × 3.9 Ω/K ÷ √3 = 1.8 Ω.
        let (healthy, u_rel) = ohms(1_000.0, 100.0);
        assert!((healthy - 1_385.05).abs() < 0.02 && (healthy * u_rel - 1.8).abs() < 0.05);
    }

    #[test]
    fn beyond_the_standard_the_end_value_holds() {
        assert_eq!(ohms(1_000.0, 2_000.0), ohms(1_000.0, 850.0));
        assert!(ohms(1_000.0, f64::NAN).0.is_finite());
    }
}
