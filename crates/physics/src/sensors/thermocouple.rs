//! Thermocouple type K, as in the oven and the technician's own thermometer.

use crate::range::{OutOfRange, within};

/// Coefficients c_i in mV/°C^i, from −270 °C to 0 °C.
#[expect(clippy::unreadable_literal, reason = "digits as printed in the source")]
const BELOW_ZERO: [f64; 11] = [
    0.0,
    0.394501280250e-1,
    0.236223735980e-4,
    -0.328589067840e-6,
    -0.499048287770e-8,
    -0.675090591730e-10,
    -0.574103274280e-12,
    -0.310888728940e-14,
    -0.104516093650e-16,
    -0.198892668780e-19,
    -0.163226974860e-22,
];

/// Coefficients c_i in mV/°C^i, from 0 °C to 1372 °C.
#[expect(clippy::unreadable_literal, reason = "digits as printed in the source")]
const ABOVE_ZERO: [f64; 10] = [
    -0.176004136860e-1,
    0.389212049750e-1,
    0.185587700320e-4,
    -0.994575928740e-7,
    0.318409457190e-9,
    -0.560728448890e-12,
    0.560750590590e-15,
    -0.320207200030e-18,
    0.971511471520e-22,
    -0.121047212750e-25,
];

/// Voltage of a type K thermocouple whose cold end is at 0 °C.
///
/// ```text
/// E = Σ c_i·t^i                                         −270 °C ≤ t < 0 °C
/// E = Σ c_i·t^i + a0·exp(a1·(t − 126.9686 °C)²)            0 °C ≤ t ≤ 1372 °C
/// a0 = 0.1185976 mV   a1 = −1.183432·10⁻⁴ 1/°C²
/// ```
/// | symbol | argument    | meaning                         | unit |
/// |--------|-------------|---------------------------------|------|
/// | t      | `t_celsius` | temperature of the hot end      | °C   |
/// | E      | result      | voltage against a 0 °C cold end | mV   |
///
/// With the cold end elsewhere, subtract the E of its temperature.
///
/// Source: ITS-90 reference function of type K, NIST Monograph 175 and IEC 60584-1; coefficients as in NIST's table
/// of ITS-90 thermocouples.
///
/// # Errors
/// [`OutOfRange`] outside −270 °C … 1372 °C, and for NaN.
pub fn type_k_voltage_mv(t_celsius: f64) -> Result<f64, OutOfRange> {
    let t = within("temperature of a type K thermocouple", t_celsius, "°C", -270.0, 1372.0)?;
    if t < 0.0 {
        return Ok(polynomial(&BELOW_ZERO, t));
    }
    Ok(polynomial(&ABOVE_ZERO, t) + 0.118_597_6 * (-1.183_432e-4 * (t - 126.968_6).powi(2)).exp())
}

/// Σ c_i·x^i.
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_two_ranges_meet_at_zero() {
        assert!(type_k_voltage_mv(0.0).unwrap().abs() < 1e-6);
        assert!(type_k_voltage_mv(-1e-9).unwrap().abs() < 1e-6);
        assert!(type_k_voltage_mv(-271.0).is_err() && type_k_voltage_mv(f64::NAN).is_err());
    }
}
