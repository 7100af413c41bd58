//! Ohm's and Joule's laws, and a coil at mains frequency.
//!
//! Laws for effective (RMS) values, so they serve DC and a resistive load on AC alike. Symbols: V voltage in V,
//! I current in A, R resistance in Ω, P power in W, S apparent power in VA, X reactance in Ω.
//!
//! Source of all: Ohm's and Joule's laws; apparent power and power factor as defined in IEEE Std 1459-2010, 3.1.

/// `I = V/R`. Zero ohms give an infinite current, which is what a dead short without a source resistance is.
pub fn current_a(voltage_v: f64, resistance_ohm: f64) -> f64 {
    voltage_v / resistance_ohm
}

/// `R = V/I`.
pub fn resistance_ohm(voltage_v: f64, current_a: f64) -> f64 {
    voltage_v / current_a
}

/// `R = V²/P`: the resistance that turns the power `P` into heat at the voltage `V`.
pub fn resistance_from_power_ohm(voltage_v: f64, power_w: f64) -> f64 {
    voltage_v * voltage_v / power_w
}

/// `P = V²/R`.
pub fn power_w(voltage_v: f64, resistance_ohm: f64) -> f64 {
    voltage_v * voltage_v / resistance_ohm
}

/// `P = I²·R`: the heat in a wire, a joint or the copper of a coil.
pub fn copper_loss_w(current_a: f64, resistance_ohm: f64) -> f64 {
    current_a * current_a * resistance_ohm
}

/// `I = P/(V·PF)`; a heating element has a power factor of 1.
pub fn current_from_power_a(power_w: f64, voltage_v: f64, power_factor: f64) -> f64 {
    power_w / (voltage_v * power_factor)
}

/// `V = P/(I·PF)`: the supply voltage behind a reading of watts and amps, where the meter shows no volts.
pub fn voltage_from_power_v(power_w: f64, current_a: f64, power_factor: f64) -> f64 {
    power_w / (current_a * power_factor)
}

/// `S = V·I`.
pub fn apparent_power_va(voltage_v: f64, current_a: f64) -> f64 {
    voltage_v * current_a
}

/// `PF = P/(V·I)`.
pub fn power_factor(power_w: f64, voltage_v: f64, current_a: f64) -> f64 {
    power_w / apparent_power_va(voltage_v, current_a)
}

/// Reactance of a coil on AC from its current and its ohms.
///
/// ```text
/// X = √((V/I)² − R²)
/// ```
/// `None` where the current is larger than the ohms alone allow (`V/I < R`): the readings do not belong together,
/// or turns are shorted; also for NaN.
pub fn coil_reactance_ohm(voltage_v: f64, current_a: f64, resistance_ohm: f64) -> Option<f64> {
    let square = (voltage_v / current_a).powi(2) - resistance_ohm * resistance_ohm;
    (square >= 0.0).then(|| square.sqrt())
}

/// Current of a coil or a motor that stands still.
///
/// ```text
/// I = V/√(R² + X²)
/// ```
pub fn coil_current_a(voltage_v: f64, resistance_ohm: f64, reactance_ohm: f64) -> f64 {
    voltage_v / resistance_ohm.hypot(reactance_ohm)
}

/// `E = P·t` in joules.
pub fn energy_j(power_w: f64, time_s: f64) -> f64 {
    power_w * time_s
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_coil_comes_back_and_a_contradiction_does_not() {
        let current = coil_current_a(230.0, 3800.0, 6659.0);
        let reactance = coil_reactance_ohm(230.0, current, 3800.0);
        assert!(reactance.is_some_and(|x| (x - 6659.0).abs() < 1e-9));
        assert_eq!(coil_reactance_ohm(230.0, 0.1, 3800.0), None, "more current than 3.8 kΩ let through");
        assert_eq!(coil_reactance_ohm(230.0, f64::NAN, 3800.0), None);
    }

    #[test]
    fn voltage_current_and_power_agree() {
        let (volts, watts) = (239.3, 2200.0);
        let amps = current_from_power_a(watts, volts, 0.98);
        assert!((voltage_from_power_v(watts, amps, 0.98) - volts).abs() < 1e-9);
        assert!((power_factor(watts, volts, amps) - 0.98).abs() < 1e-12);
    }
}
