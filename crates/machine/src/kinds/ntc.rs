//! NTC: a temperature sensor whose ohms fall as it warms.

use super::{
    Behaviour, Branch, COMMON, Dimension, Mend, Mode, Param, Params, PartKind, Path, Rate, Role, Situation,
    Takes, Terminal,
};
use physics::sensors::ntc::{NtcTable, ntc_beta_resistance_ohm};

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
        Mode {
            name: "drift",
            says: "has drifted off its curve",
            share: 0.4,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &Bead,
    checks: &[],
    consequences: &[],
};

struct Bead;

/// Healthy ohms at a temperature: from the table, at whose ends the end values hold; by Beta where there is none.
fn ohms(params: &Params, celsius: f64) -> f64 {
    let Ok(table) = NtcTable::new(params.table("table").to_vec()) else {
        return ntc_beta_resistance_ohm(params.nominal("r25"), params.nominal("beta"), celsius)
            .unwrap_or(f64::INFINITY);
    };
    let ends = (table.points().first(), table.points().last());
    let (Some(coldest), Some(hottest)) = ends else { return f64::INFINITY };
    table.resistance_ohm(celsius).unwrap_or(if celsius < coldest.0 { coldest.1 } else { hottest.1 })
}

/// Relative uncertainty at a temperature: that of R₂₅, and that of B times its lever B |1/T − 1/T₂₅|.
fn u_rel(params: &Params, celsius: f64) -> f64 {
    let lever = params.nominal("beta") * (1.0 / (celsius + 273.15).max(1.0) - 1.0 / T25_K);
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
        out.push(Branch { name: "bead", from: "1", to: "2", ac: path, dc: path, u_rel, ac_u_rel: u_rel });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Value;
    use quantity::Toleranced;

    fn params() -> Params {
        let mut params = Params::default();
        params.set("r25", Value::Quantity(Toleranced::exact(10_000.0)));
        params.set("beta", Value::Quantity(Toleranced::symmetric_relative(3_977.0, 0.01)));
        params
    }

    #[test]
    fn beta_law_values() {
        // Computed from the Beta formula with R25 = 10 kΩ, B = 3977 K.
        for (t, expected) in [(0.0, 33_900.0), (25.0, 10_000.0), (50.0, 3_563.0), (90.0, 919.0)] {
            assert!((ohms(&params(), t) / expected - 1.0).abs() < 1e-3, "{t} °C");
        }
    }

    #[test]
    fn a_table_takes_the_place_of_beta() {
        let mut given = params();
        // Source: data sheet of NTCLE100E3, 10 kΩ: 40 °C 5330 Ω, 60 °C 2490 Ω, and 50 °C 3605 Ω between them.
        given.set("table", Value::Table(vec![(40.0, 5_330.0), (60.0, 2_490.0)]));
        assert!((ohms(&given, 40.0) - 5_330.0).abs() < 1e-6);
        assert!((ohms(&given, 20.0) - 5_330.0).abs() < 1e-6, "beyond its ends the end values hold");
        assert!((ohms(&given, 50.0) / 3_605.0 - 1.0).abs() < 0.002);
    }

    #[test]
    fn uncertainty_of_b_counts_away_from_25_celsius_only() {
        assert!(u_rel(&params(), 25.0) < 1e-9 && u_rel(&params(), 60.0) > 0.005);
    }
}
