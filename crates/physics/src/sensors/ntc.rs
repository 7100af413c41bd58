//! NTC thermistors: the Beta formula, one published curve, and a maker's printed table.

use std::error::Error;
use std::fmt;

use crate::ZERO_CELSIUS_KELVIN;
use crate::range::{OutOfRange, positive, within};

/// 25 °C in kelvin, the reference temperature of every NTC rating.
const T25_KELVIN: f64 = 298.15;

fn kelvin(t_celsius: f64) -> Result<f64, OutOfRange> {
    let t = within("temperature of an NTC", t_celsius, "°C", -ZERO_CELSIUS_KELVIN, f64::MAX)?;
    positive("absolute temperature of an NTC", t + ZERO_CELSIUS_KELVIN, "K")
}

/// Resistance of an NTC by the Beta formula.
///
/// ```text
/// R(T) = R25 · exp(B · (1/T − 1/298.15 K))
/// ```
/// | symbol | argument      | meaning                          | unit |
/// |--------|---------------|----------------------------------|------|
/// | R25    | `r25_ohm`     | resistance at 25 °C              | Ω    |
/// | B      | `beta_kelvin` | Beta, usually given as B25/85    | K    |
/// | T      | `t_celsius`   | temperature, as T − 273.15 K     | °C   |
///
/// Two points determine it, so it is exact at those and drifts elsewhere: a 3977 K sensor is 4.1 % (0.8 K) off at 0 °C
/// against [`ntc_3977_resistance_ohm`].
///
/// Source: Beta equation, as on every NTC data sheet; IEC 60539-1 defines B.
///
/// # Errors
/// [`OutOfRange`] at or below absolute zero, and for NaN.
pub fn ntc_beta_resistance_ohm(r25_ohm: f64, beta_kelvin: f64, t_celsius: f64) -> Result<f64, OutOfRange> {
    Ok(r25_ohm * (beta_kelvin * (1.0 / kelvin(t_celsius)? - 1.0 / T25_KELVIN)).exp())
}

/// Temperature of an NTC by the Beta formula, the inverse of [`ntc_beta_resistance_ohm`].
///
/// ```text
/// 1/T = 1/298.15 K + ln(R/R25)/B
/// ```
/// # Errors
/// [`OutOfRange`] if R, R25 or B is not a number above zero, or if no temperature gives that resistance.
pub fn ntc_beta_temperature_celsius(
    r25_ohm: f64,
    beta_kelvin: f64,
    resistance_ohm: f64,
) -> Result<f64, OutOfRange> {
    let r25 = positive("resistance of an NTC at 25 °C", r25_ohm, "Ω")?;
    let beta = positive("Beta of an NTC", beta_kelvin, "K")?;
    let r = positive("resistance of an NTC", resistance_ohm, "Ω")?;
    let per_kelvin =
        positive("inverse temperature of an NTC", 1.0 / T25_KELVIN + (r / r25).ln() / beta, "1/K")?;
    Ok(1.0 / per_kelvin - ZERO_CELSIUS_KELVIN)
}

/// Beta of an NTC from its resistance at two temperatures.
///
/// ```text
/// B = ln(R1/R2)/(1/T1 − 1/T2)
/// ```
/// B25/85 is this with T1 = 25 °C and T2 = 85 °C. Source: IEC 60539-1, definition of the B-value.
///
/// # Errors
/// [`OutOfRange`] for a resistance not above zero, a temperature not above absolute zero, or two equal temperatures.
pub fn ntc_beta_from_two_points_kelvin(
    r1_ohm: f64,
    t1_celsius: f64,
    r2_ohm: f64,
    t2_celsius: f64,
) -> Result<f64, OutOfRange> {
    let r1 = positive("resistance of an NTC", r1_ohm, "Ω")?;
    let r2 = positive("resistance of an NTC", r2_ohm, "Ω")?;
    let difference = 1.0 / kelvin(t1_celsius)? - 1.0 / kelvin(t2_celsius)?;
    positive("distance of the two temperatures", difference.abs(), "1/K")?;
    Ok((r1 / r2).ln() / difference)
}

/// Relative change of resistance with temperature at one temperature, 1/K (negative).
///
/// ```text
/// α = (dR/dT)/R = −B/T²
/// ```
/// Symbols as in [`ntc_beta_resistance_ohm`].
///
/// # Errors
/// [`OutOfRange`] at or below absolute zero, and for NaN.
pub fn ntc_beta_slope_per_kelvin(beta_kelvin: f64, t_celsius: f64) -> Result<f64, OutOfRange> {
    Ok(-beta_kelvin / kelvin(t_celsius)?.powi(2))
}

/// A, B (K), C (K²), D (K³) of the curve B25/85 = 3977 K.
const CURVE_3977: [f64; 4] = [-14.6337, 4_791.842, -115_334.0, -3.730_535e6];
/// A1, B1, C1, D1 (1/K) of its inverse.
const CURVE_3977_INVERSE: [f64; 4] = [3.354_016e-3, 2.569_850e-4, 2.620_131e-6, 6.383_091e-8];
/// What the component's data sheet covers, °C.
const CURVE_3977_CELSIUS: (f64, f64) = (-40.0, 125.0);

/// c0 + c1·x + c2·x² + c3·x³.
fn cubic(c: [f64; 4], x: f64) -> f64 {
    c[0] + x * (c[1] + x * (c[2] + x * c[3]))
}

fn ratio_3977(t_celsius: f64) -> f64 {
    cubic(CURVE_3977, 1.0 / (t_celsius + ZERO_CELSIUS_KELVIN)).exp()
}

/// Resistance of an NTC on the generic curve B25/85 = 3977 K, which serves R25 from 2.2 kΩ to 10 kΩ.
///
/// ```text
/// R(T) = R25 · exp(A + B/T + C/T² + D/T³)
/// A = −14.6337   B = 4791.842 K   C = −115 334 K²   D = −3.730535·10⁶ K³
/// ```
/// | symbol | argument    | meaning                       | unit |
/// |--------|-------------|-------------------------------|------|
/// | R25    | `r25_ohm`   | resistance at 25 °C           | Ω    |
/// | T      | `t_celsius` | temperature, as T − 273.15 K  | °C   |
///
/// Source: NTCLE100E3 component data sheet (document 29049), extended Steinhart–Hart coefficients; its printed table
/// from 0 °C to 100 °C is met within the one ohm to which the copy at hand is cut (`tests/tables.rs`).
///
/// # Errors
/// [`OutOfRange`] outside −40 °C … 125 °C, and for NaN.
pub fn ntc_3977_resistance_ohm(r25_ohm: f64, t_celsius: f64) -> Result<f64, OutOfRange> {
    let (lowest, highest) = CURVE_3977_CELSIUS;
    let t = within("temperature of an NTC of 3977 K", t_celsius, "°C", lowest, highest)?;
    Ok(r25_ohm * ratio_3977(t))
}

/// Temperature of an NTC on the generic curve B25/85 = 3977 K.
///
/// ```text
/// 1/T = A1 + B1·L + C1·L² + D1·L³      L = ln(R/R25)
/// A1 = 3.354016·10⁻³   B1 = 2.569850·10⁻⁴   C1 = 2.620131·10⁻⁶   D1 = 6.383091·10⁻⁸   (1/K)
/// ```
/// Symbols and source as [`ntc_3977_resistance_ohm`]. The sheet fits the two directions apart, so a round trip comes
/// back within 0.012 K, not exactly (`tests/properties.rs`).
///
/// # Errors
/// [`OutOfRange`] if R is not what the sensor has somewhere within −40 °C … 125 °C, or R25 is not above zero.
pub fn ntc_3977_temperature_celsius(r25_ohm: f64, resistance_ohm: f64) -> Result<f64, OutOfRange> {
    let r25 = positive("resistance of an NTC at 25 °C", r25_ohm, "Ω")?;
    let (coldest, hottest) = CURVE_3977_CELSIUS;
    let (lowest, highest) = (r25 * ratio_3977(hottest), r25 * ratio_3977(coldest));
    let r = within("resistance of an NTC of 3977 K", resistance_ohm, "Ω", lowest, highest)?;
    Ok(1.0 / cubic(CURVE_3977_INVERSE, (r / r25).ln()) - ZERO_CELSIUS_KELVIN)
}

/// Voltage at the middle of a divider: pull-up resistor to the reference, sensor to ground.
///
/// ```text
/// V = V_ref · R/(R + R_p)
/// ```
/// | symbol | argument     | meaning                               | unit |
/// |--------|--------------|---------------------------------------|------|
/// | V_ref  | `v_ref_v`    | voltage at the top of the pull-up     | V    |
/// | R      | `sensor_ohm` | sensor                                | Ω    |
/// | R_p    | `pull_up_ohm`| resistor on the board                 | Ω    |
///
/// Source: Kirchhoff's voltage law; nothing else may load the middle.
pub fn divider_voltage_v(v_ref_v: f64, sensor_ohm: f64, pull_up_ohm: f64) -> f64 {
    v_ref_v * sensor_ohm / (sensor_ohm + pull_up_ohm)
}

/// How much warmer than its surroundings a sensor is for being measured.
///
/// ```text
/// ΔT = P/δ
/// ```
/// | symbol | argument                  | meaning                                        | unit |
/// |--------|---------------------------|------------------------------------------------|------|
/// | P      | `power_w`                 | V²/R in the sensor                             | W    |
/// | δ      | `dissipation_w_per_kelvin`| dissipation factor: 0.007 for the NTCLE100E3 in still air, more in water | W/K |
///
/// Source: definition of the dissipation factor, IEC 60539-1.
pub fn self_heating_kelvin(power_w: f64, dissipation_w_per_kelvin: f64) -> f64 {
    power_w / dissipation_w_per_kelvin
}

/// A maker's printed table of an NTC: resistance against temperature.
///
/// Between two printed points the sensor follows the Beta formula through both, that is ln R is straight over 1/T.
/// Nothing is stated beyond the first and last point.
#[derive(Debug, Clone, PartialEq)]
pub struct NtcTable {
    /// (°C, Ω): temperatures rise, resistances fall; at least two.
    points: Vec<(f64, f64)>,
}

/// Why a list of points is no NTC table. Rows are counted from 1, as printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NtcTableFault {
    /// Fewer than two points.
    TooShort,
    /// This row has a temperature below absolute zero, a resistance not above zero, or no number.
    NotASensorValue {
        /// The row, from 1.
        row: usize,
    },
    /// The temperature of this row is not above that of the row before.
    TemperatureDoesNotRise {
        /// The row, from 1.
        row: usize,
    },
    /// The resistance of this row is not below that of the row before.
    ResistanceDoesNotFall {
        /// The row, from 1.
        row: usize,
    },
}

impl fmt::Display for NtcTableFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooShort => {
                f.write_str("an NTC table needs at least two rows of temperature and resistance")
            }
            Self::NotASensorValue { row } => {
                write!(f, "row {row}: needs a temperature above −273.15 °C and a resistance above 0 Ω")
            }
            Self::TemperatureDoesNotRise { row } => {
                write!(f, "row {row}: the temperature must be higher than in row {}", row - 1)
            }
            Self::ResistanceDoesNotFall { row } => {
                write!(
                    f,
                    "row {row}: an NTC falls as it warms; the resistance must be lower than in row {}",
                    row - 1
                )
            }
        }
    }
}

impl Error for NtcTableFault {}

impl NtcTable {
    /// A table from its printed rows, (°C, Ω), coldest first.
    ///
    /// # Errors
    /// The first [`NtcTableFault`] found, from the top.
    pub fn new(points: Vec<(f64, f64)>) -> Result<Self, NtcTableFault> {
        if points.len() < 2 {
            return Err(NtcTableFault::TooShort);
        }
        for (index, &(t, r)) in points.iter().enumerate() {
            if kelvin(t).is_err() || positive("", r, "").is_err() {
                return Err(NtcTableFault::NotASensorValue { row: index + 1 });
            }
        }
        for (index, pair) in points.windows(2).enumerate() {
            let row = index + 2;
            if pair[1].0 <= pair[0].0 {
                return Err(NtcTableFault::TemperatureDoesNotRise { row });
            }
            if pair[1].1 >= pair[0].1 {
                return Err(NtcTableFault::ResistanceDoesNotFall { row });
            }
        }
        Ok(Self { points })
    }

    /// The printed rows, (°C, Ω), coldest first.
    pub fn points(&self) -> &[(f64, f64)] {
        &self.points
    }

    /// Resistance at a temperature, by the Beta formula through the two neighbouring rows.
    ///
    /// # Errors
    /// [`OutOfRange`] outside the printed temperatures, and for NaN.
    pub fn resistance_ohm(&self, t_celsius: f64) -> Result<f64, OutOfRange> {
        let (coldest, hottest) = self.ends();
        let t = within("temperature of the NTC table", t_celsius, "°C", coldest.0, hottest.0)?;
        let ((t1, r1), (t2, r2)) = self.neighbours(|point| point.0 < t);
        let along = share(inverse(t1), inverse(t2), inverse(t));
        Ok(r1 * (r2 / r1).powf(along))
    }

    /// Temperature at a resistance, the exact inverse of [`Self::resistance_ohm`].
    ///
    /// # Errors
    /// [`OutOfRange`] outside the printed resistances, and for NaN.
    pub fn temperature_celsius(&self, resistance_ohm: f64) -> Result<f64, OutOfRange> {
        let (coldest, hottest) = self.ends();
        let r = within("resistance of the NTC table", resistance_ohm, "Ω", hottest.1, coldest.1)?;
        let ((t1, r1), (t2, r2)) = self.neighbours(|point| point.1 > r);
        let along = (r / r1).ln() / (r2 / r1).ln();
        let per_kelvin = inverse(t1) + along * (inverse(t2) - inverse(t1));
        Ok((1.0 / per_kelvin - ZERO_CELSIUS_KELVIN).clamp(t1, t2))
    }

    fn ends(&self) -> ((f64, f64), (f64, f64)) {
        // `new` took at least two points, so both indices exist.
        (self.points[0], self.points[self.points.len() - 1])
    }

    /// The row at or beyond the first one that is not `before`, and the row ahead of it.
    fn neighbours(&self, before: impl Fn(&(f64, f64)) -> bool) -> ((f64, f64), (f64, f64)) {
        let upper = self.points.partition_point(before).clamp(1, self.points.len() - 1);
        (self.points[upper - 1], self.points[upper])
    }
}

/// 1/T in 1/K; the table holds no temperature at or below absolute zero.
fn inverse(t_celsius: f64) -> f64 {
    1.0 / (t_celsius + ZERO_CELSIUS_KELVIN)
}

/// How far `x` is from `from` to `to`, 0 … 1.
fn share(from: f64, to: f64, x: f64) -> f64 {
    (x - from) / (to - from)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_meets_its_own_rows() {
        let table = NtcTable::new(vec![(0.0, 32_554.0), (25.0, 10_000.0), (100.0, 677.3)]).unwrap();
        for &(t, r) in table.points() {
            assert!((table.resistance_ohm(t).unwrap() - r).abs() < 1e-9 * r);
            assert!((table.temperature_celsius(r).unwrap() - t).abs() < 1e-9);
        }
        assert!(table.resistance_ohm(-0.1).is_err() && table.temperature_celsius(677.0).is_err());
    }

    #[test]
    fn a_table_of_two_rows_is_the_beta_formula() {
        let table = NtcTable::new(vec![
            (25.0, 10_000.0),
            (85.0, ntc_beta_resistance_ohm(10_000.0, 3977.0, 85.0).unwrap()),
        ])
        .unwrap();
        let beta = ntc_beta_resistance_ohm(10_000.0, 3977.0, 60.0).unwrap();
        assert!((table.resistance_ohm(60.0).unwrap() - beta).abs() < 1e-6);
    }

    #[test]
    fn bad_tables_name_their_row() {
        let fault = |rows: &[(f64, f64)]| NtcTable::new(rows.to_vec()).unwrap_err();
        assert_eq!(fault(&[(0.0, 1.0)]), NtcTableFault::TooShort);
        assert_eq!(fault(&[(0.0, 2.0), (1.0, f64::NAN)]), NtcTableFault::NotASensorValue { row: 2 });
        assert_eq!(fault(&[(0.0, 2.0), (0.0, 1.0)]), NtcTableFault::TemperatureDoesNotRise { row: 2 });
        assert_eq!(
            fault(&[(0.0, 3.0), (1.0, 2.0), (2.0, 2.0)]),
            NtcTableFault::ResistanceDoesNotFall { row: 3 }
        );
        assert_eq!(
            fault(&[(0.0, 3.0), (1.0, 4.0)]).to_string(),
            "row 2: an NTC falls as it warms; the resistance must be lower than in row 1"
        );
    }

    #[test]
    fn nonsense_is_refused() {
        assert!(ntc_beta_resistance_ohm(1e4, 3977.0, -273.15).is_err());
        assert!(ntc_beta_temperature_celsius(1e4, 3977.0, 0.0).is_err());
        assert!(ntc_beta_temperature_celsius(1e4, 10.0, 1.0).is_err(), "no temperature gives that");
        assert!(ntc_beta_from_two_points_kelvin(1.0, 25.0, 2.0, 25.0).is_err());
        assert!(ntc_3977_resistance_ohm(1e4, 125.1).is_err());
        assert!(ntc_3977_temperature_celsius(1e4, f64::INFINITY).is_err());
    }
}
