//! NTC: a temperature sensor whose ohms fall as it warms.

use crate::params::interpolate;
use super::{Behaviour, Branch, COMMON, Dimension, Mend, Mode, Param, Params, PartKind, Path, Rate, Role, Situation, Takes, Terminal};

/// Ohms of a shorted sensor; a board calls anything under 50 Ω a short. Common practice, no source.
const SHORT_OHM: f64 = 10.0;

/// Ohms of a drifted sensor against healthy: about 9 K wrong at 25 °C, 13 K at 60 °C, amid the 5 … 20 K met in practice.
const DRIFT_FACTOR: f64 = 1.5;

/// 25 °C in kelvin, where `r25` holds.
const T25_K: f64 = 298.15;

pub(super) static KIND: PartKind = PartKind {
    name: "ntc",
    about: "A temperature sensor whose resistance falls as it warms.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Signal },
        Terminal { name: "2", must: true, role: Role::Signal },
    ],
    params: &[
        Param {
            name: "r25",
            takes: Takes::Quantity(Dimension::Resistance),
            default: None,
            must: true,
            about: "resistance at 25 °C",
        },
        Param {
            name: "beta",
            takes: Takes::Quantity(Dimension::TemperatureDifference),
            default: Some("3977 K ±1 %"),
            must: false,
            about: "B of the Beta formula, between 25 and 85 °C",
        },
        Param {
            name: "table",
            takes: Takes::Table(Dimension::Temperature, Dimension::Resistance),
            default: None,
            must: false,
            about: "the maker's table; where given it takes the place of beta",
        },
        Param { name: "in", takes: Takes::Words, default: None, must: false, about: "where it sits" },
    ],
    rate: Rate { percent: 1.3, source: COMMON },
    modes: &[
        Mode { name: "open", says: "is open circuit", share: 0.45, source: COMMON, mend: Mend::Fit },
        Mode { name: "short", says: "is shorted", share: 0.15, source: COMMON, mend: Mend::Fit },
        Mode { name: "drift", says: "has drifted off its curve", share: 0.4, source: COMMON, mend: Mend::Fit },
    ],
    behaviour: &Bead,
    checks: &[],
    consequences: &[],
};

struct Bead;

/// Healthy ohms at a temperature: from the table (straight in ln R between its rows), else R₂₅ exp(B (1/T − 1/T₂₅)).
fn ohms(params: &Params, celsius_now: f64) -> f64 {
    let table: Vec<_> =
        params.table("table").iter().filter(|row| row.1 > 0.0).map(|&(t, r)| (t, r.ln())).collect();
    if table.is_empty() {
        let kelvin = (celsius_now + 273.15).max(1.0);
        params.nominal("r25") * (params.nominal("beta") * (1.0 / kelvin - 1.0 / T25_K)).exp()
    } else {
        interpolate(&table, celsius_now).exp()
    }
}

/// Relative uncertainty at a temperature: that of R₂₅, and that of B times its lever B |1/T − 1/T₂₅|.
fn u_rel(params: &Params, celsius_now: f64) -> f64 {
    let lever = params.nominal("beta") * (1.0 / (celsius_now + 273.15).max(1.0) - 1.0 / T25_K);
    params.u_rel("r25").hypot(params.u_rel("beta") * lever)
}

impl Behaviour for Bead {
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let healthy = ohms(params, situation.temperature_c);
        let path = match mode {
            Some("open") => Path::Open,
            Some("short") => Path::resistor(SHORT_OHM),
            Some("drift") => Path::resistor(healthy * DRIFT_FACTOR),
            _ => Path::resistor(healthy),
        };
        let u_rel = u_rel(params, situation.temperature_c);
        out.push(Branch { name: "bead", from: "1", to: "2", ac: path, dc: path, u_rel });
    }
}
