//! Platinum resistance sensors: Pt100, Pt500, Pt1000.

use crate::range::{OutOfRange, positive, within};

/// Coefficient A of IEC 60751, 1/°C.
const A: f64 = 3.9083e-3;
/// Coefficient B of IEC 60751, 1/°C².
const B: f64 = -5.775e-7;
/// Coefficient C of IEC 60751, 1/°C⁴; below 0 °C only.
const C: f64 = -4.183e-12;

const LOWEST_CELSIUS: f64 = -200.0;
const HIGHEST_CELSIUS: f64 = 850.0;

/// Resistance of an industrial platinum sensor (Pt100, Pt500, Pt1000) at a given temperature.
///
/// ```text
/// R(t) = R0 · (1 + A·t + B·t²)                         0 °C ≤ t ≤ 850 °C
/// R(t) = R0 · (1 + A·t + B·t² + C·(t − 100 °C)·t³)  −200 °C ≤ t <   0 °C
/// ```
/// | symbol | argument    | meaning                     | unit |
/// |--------|-------------|-----------------------------|------|
/// | R0     | `r0_ohm`    | nominal resistance at 0 °C  | Ω    |
/// | t      | `t_celsius` | sensor temperature (ITS-90) | °C   |
///
/// Source: IEC 60751:2008 and :2022, interpolation equations and coefficients A, B, C.
/// Sensor alone: the resistance of the leads is the caller's to subtract.
///
/// # Errors
/// [`OutOfRange`] outside −200 °C … 850 °C, and for NaN: the standard states nothing there.
pub fn platinum_resistance_ohm(r0_ohm: f64, t_celsius: f64) -> Result<f64, OutOfRange> {
    let t = within("temperature of a platinum sensor", t_celsius, "°C", LOWEST_CELSIUS, HIGHEST_CELSIUS)?;
    Ok(r0_ohm * ratio(t))
}

/// Temperature of an industrial platinum sensor from its resistance.
///
/// ```text
/// t = (−A + √(A² − 4·B·(1 − R/R0)))/(2·B)              R ≥ R0
/// ```
/// Below 0 °C the equation of [`platinum_resistance_ohm`] has no closed inverse and is solved by Newton's method to
/// better than 1e-9 °C. Symbols, source and leads as there.
///
/// # Errors
/// [`OutOfRange`] if R is not what the sensor has somewhere within −200 °C … 850 °C (0.1852 R0 … 3.9048 R0), and if R0
/// is not above zero.
pub fn platinum_temperature_celsius(r0_ohm: f64, resistance_ohm: f64) -> Result<f64, OutOfRange> {
    let r0 = positive("resistance of a platinum sensor at 0 °C", r0_ohm, "Ω")?;
    let (lowest, highest) = (r0 * ratio(LOWEST_CELSIUS), r0 * ratio(HIGHEST_CELSIUS));
    let r = within("resistance of a platinum sensor", resistance_ohm, "Ω", lowest, highest)?;
    let from_zero_up = (-A + (A * A - 4.0 * B * (1.0 - r / r0)).sqrt()) / (2.0 * B);
    if r >= r0 {
        return Ok(from_zero_up.clamp(0.0, HIGHEST_CELSIUS));
    }
    // The quadratic is within 2.5 °C even at −200 °C, and the curve has no turning point: six steps are ample.
    let solved = (0..6).fold(from_zero_up, |t, _| t - (ratio(t) - r / r0) / ratio_slope_below_zero(t));
    Ok(solved.clamp(LOWEST_CELSIUS, 0.0))
}

/// R(t)/R0.
fn ratio(t: f64) -> f64 {
    let above_zero = 1.0 + A * t + B * t * t;
    if t < 0.0 { above_zero + C * (t - 100.0) * t.powi(3) } else { above_zero }
}

/// d(R/R0)/dt below 0 °C, 1/°C.
fn ratio_slope_below_zero(t: f64) -> f64 {
    A + 2.0 * B * t + C * (4.0 * t - 300.0) * t * t
}

/// Tolerance class of a platinum sensor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlatinumClass {
    /// Class AA, ±(0.1 + 0.0017·|t|) °C.
    AA,
    /// Class A, ±(0.15 + 0.002·|t|) °C.
    A,
    /// Class B, ±(0.3 + 0.005·|t|) °C.
    B,
    /// Class C, ±(0.6 + 0.01·|t|) °C.
    C,
}

impl PlatinumClass {
    /// Largest deviation allowed from the nominal curve, in kelvin either way.
    ///
    /// ```text
    /// Δt = a + b·|t|
    /// ```
    /// with a and b as printed at each class. The narrower ranges in which a wire-wound or film sensor may carry its
    /// class are not checked here.
    ///
    /// Source: IEC 60751, tolerance classes.
    ///
    /// # Errors
    /// [`OutOfRange`] outside −200 °C … 850 °C, and for NaN.
    pub fn tolerance_kelvin(self, t_celsius: f64) -> Result<f64, OutOfRange> {
        let t = within("temperature of a platinum sensor", t_celsius, "°C", LOWEST_CELSIUS, HIGHEST_CELSIUS)?;
        let (constant, per_kelvin) = match self {
            Self::AA => (0.1, 0.0017),
            Self::A => (0.15, 0.002),
            Self::B => (0.3, 0.005),
            Self::C => (0.6, 0.01),
        };
        Ok(constant + per_kelvin * t.abs())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_slope_is_the_derivative() {
        for t in [-199.0, -100.0, -1.0] {
            let difference = (ratio(t + 1e-4) - ratio(t - 1e-4)) / 2e-4;
            assert!((difference - ratio_slope_below_zero(t)).abs() < 1e-9, "{t} °C");
        }
    }

    #[test]
    fn ends_and_nonsense() {
        assert!(platinum_resistance_ohm(100.0, -200.1).is_err());
        assert!(platinum_resistance_ohm(100.0, f64::NAN).is_err());
        assert!(platinum_temperature_celsius(100.0, 391.0).is_err());
        assert!(platinum_temperature_celsius(0.0, 0.0).is_err());
        assert_eq!(platinum_temperature_celsius(100.0, 100.0), Ok(0.0));
    }
}
