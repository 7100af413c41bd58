//! Liquid water at normal pressure.

use crate::range::{OutOfRange, within};

/// Normal atmospheric pressure, Pa. Source: 10th CGPM (1954), exact by definition.
pub const NORMAL_PRESSURE_PA: f64 = 101_325.0;

/// Boiling point at [`NORMAL_PRESSURE_PA`], °C. Source: IAPWS-95, see [`density_kg_per_m3`].
pub const BOILING_POINT_CELSIUS: f64 = 99.974;

/// Heat to boil a kilogram away at [`NORMAL_PRESSURE_PA`], J/kg. Source: IAPWS-95, see [`density_kg_per_m3`].
pub const LATENT_HEAT_J_PER_KG: f64 = 2_256_472.0;

/// ρ in kg/m³ in powers of t/100 °C, from `tests/reference/water_fit.json`.
#[expect(clippy::unreadable_literal, reason = "digits as in the file they are copied from")]
const DENSITY: [f64; 7] = [999.846042, 6.560453, -87.509618, 81.81617, -72.672865, 40.18355, -9.876491];

/// c_p in J/(kg K) in powers of t/100 °C, from the same file.
const HEAT_CAPACITY: [f64; 8] =
    [4219.3982, -341.1552, 1206.466, -2523.9056, 3593.9312, -3263.73, 1715.8173, -391.1709];

/// h at 0 °C in J/kg, from the same file.
const ENTHALPY_AT_ZERO: f64 = 60.99;

/// Density of liquid water at 101 325 Pa, kg/m³.
///
/// ```text
/// ρ(t) = Σ a_i·(t/100 °C)^i      i = 0 … 6
/// ```
/// | symbol | argument    | meaning              | unit |
/// |--------|-------------|----------------------|------|
/// | t      | `t_celsius` | temperature (ITS-90) | °C   |
///
/// Source: IAPWS R6-95 (IAPWS-95), computed with the package `iapws` 1.5.5 at each degree and fitted;
/// `tests/reference/water.py` does both. Largest difference from IAPWS-95 at those points: 0.003 kg/m³.
/// At 100 °C the liquid is saturated, just above the boiling point at this pressure.
///
/// # Errors
/// [`OutOfRange`] outside 0 °C … 100 °C, and for NaN.
pub fn density_kg_per_m3(t_celsius: f64) -> Result<f64, OutOfRange> {
    Ok(polynomial(DENSITY.iter().copied(), liquid(t_celsius)? / 100.0))
}

/// Isobaric heat capacity of liquid water at 101 325 Pa, J/(kg K).
///
/// ```text
/// c_p(t) = Σ b_i·(t/100 °C)^i      i = 0 … 7
/// ```
/// Symbols and source as [`density_kg_per_m3`]. Largest difference from IAPWS-95 at the fitted points: 0.05 J/(kg K).
///
/// # Errors
/// [`OutOfRange`] outside 0 °C … 100 °C, and for NaN.
pub fn heat_capacity_j_per_kg_kelvin(t_celsius: f64) -> Result<f64, OutOfRange> {
    Ok(polynomial(HEAT_CAPACITY.iter().copied(), liquid(t_celsius)? / 100.0))
}

/// Specific enthalpy of liquid water at 101 325 Pa, J/kg, zero for the liquid at the triple point.
///
/// ```text
/// h(t) = h(0 °C) + ∫ c_p dt      from 0 °C to t
/// ```
/// The exact integral of [`heat_capacity_j_per_kg_kelvin`], so that the two always agree. Largest difference from
/// IAPWS-95 at the fitted points: 0.08 J/kg.
///
/// # Errors
/// [`OutOfRange`] outside 0 °C … 100 °C, and for NaN.
pub fn enthalpy_j_per_kg(t_celsius: f64) -> Result<f64, OutOfRange> {
    let t = liquid(t_celsius)?;
    let mean_heat_capacity =
        polynomial(HEAT_CAPACITY.iter().zip(1_u8..=8).map(|(b, power)| b / f64::from(power)), t / 100.0);
    Ok(ENTHALPY_AT_ZERO + t * mean_heat_capacity)
}

fn liquid(t_celsius: f64) -> Result<f64, OutOfRange> {
    within("temperature of liquid water", t_celsius, "°C", 0.0, 100.0)
}

/// Σ c_i·x^i.
fn polynomial(coefficients: impl DoubleEndedIterator<Item = f64>, x: f64) -> f64 {
    coefficients.rev().fold(0.0, |sum, c| sum * x + c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn enthalpy_rises_by_the_heat_capacity() {
        for t in [0.5, 25.0, 60.0, 99.5] {
            let rise = enthalpy_j_per_kg(t + 0.5).unwrap() - enthalpy_j_per_kg(t - 0.5).unwrap();
            assert!((rise - heat_capacity_j_per_kg_kelvin(t).unwrap()).abs() < 0.2, "{t} °C");
        }
    }

    #[test]
    fn ice_steam_and_nan_are_refused() {
        for t in [-0.001, 100.001, f64::NAN] {
            assert!(density_kg_per_m3(t).is_err());
        }
    }
}
