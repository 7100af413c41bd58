//! Door locks: the PTC that warms a bimetal, and the coil that takes a pulse.
//!
//! Power and current at the first instant are [`crate::ohm::power_w`] and [`crate::ohm::current_a`] of the cold ohms.

/// Time for a bimetal to cool to the temperature at which the door is free.
///
/// ```text
/// t = τ·ln((T0 − T_a)/(T_s − T_a))
/// ```
/// | symbol | argument          | meaning                                  | unit |
/// |--------|-------------------|------------------------------------------|------|
/// | τ      | `time_constant_s` | thermal time constant of lock and PTC    | s    |
/// | T0     | `hot_celsius`     | temperature when the power goes          | °C   |
/// | T_s    | `release_celsius` | temperature at which the bolt is dropped | °C   |
/// | T_a    | `ambient_celsius` | temperature around the lock              | °C   |
///
/// 0 s if it is already cooler. `None` if it never cools so far (`T_s ≤ T_a`), and for values that are no numbers.
///
/// Source: Newton's law of cooling.
pub fn release_time_s(
    time_constant_s: f64,
    hot_celsius: f64,
    release_celsius: f64,
    ambient_celsius: f64,
) -> Option<f64> {
    let above_ambient = release_celsius - ambient_celsius;
    let ratio = (hot_celsius - ambient_celsius) / above_ambient;
    let time_s = time_constant_s * ratio.max(1.0).ln();
    (above_ambient > 0.0 && !ratio.is_nan() && time_s.is_finite()).then_some(time_s)
}

/// Energy of one pulse into the coil of a bistable lock, at most.
///
/// ```text
/// E = V²·t/R
/// ```
/// | symbol | argument         | meaning                                       | unit |
/// |--------|------------------|-----------------------------------------------|------|
/// | V      | `voltage_v`      | voltage all through the pulse; the peak bounds it | V |
/// | R      | `resistance_ohm` | coil                                          | Ω    |
/// | t      | `time_s`         | length of the pulse                           | s    |
///
/// Result in J. Source: Joule's law; the inductance is left out, which makes it an upper bound.
pub fn pulse_energy_j(voltage_v: f64, resistance_ohm: f64, time_s: f64) -> f64 {
    voltage_v * voltage_v * time_s / resistance_ohm
}

#[cfg(test)]
mod tests {
    use super::release_time_s;

    #[test]
    fn a_lock_that_is_cool_or_never_cools() {
        assert_eq!(release_time_s(90.0, 40.0, 55.0, 25.0), Some(0.0));
        assert_eq!(release_time_s(90.0, 110.0, 25.0, 25.0), None);
        assert_eq!(release_time_s(90.0, 110.0, 20.0, 25.0), None);
        assert_eq!(release_time_s(90.0, f64::NAN, 55.0, 25.0), None);
    }
}
