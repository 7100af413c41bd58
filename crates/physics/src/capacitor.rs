//! Capacitors: on the mains, and with a charge left in them after the plug is out.

use std::f64::consts::{SQRT_2, TAU};

/// Reactance of a capacitor.
///
/// ```text
/// X = 1/(2π·f·C)
/// ```
/// | symbol | argument       | meaning         | unit |
/// |--------|----------------|-----------------|------|
/// | C      | `capacitance_f`| capacitance     | F    |
/// | f      | `frequency_hz` | mains frequency | Hz   |
///
/// Source: definition of reactance.
pub fn reactance_ohm(capacitance_f: f64, frequency_hz: f64) -> f64 {
    1.0 / (TAU * frequency_hz * capacitance_f)
}

/// Current of a capacitor on a sinusoidal voltage: reactive, it shows amps and no watts.
///
/// ```text
/// I = 2π·f·C·V
/// ```
/// Symbols as in [`reactance_ohm`], `V` the effective voltage in V. For a Y capacitor from line to earth this is its
/// share of the protective conductor current.
pub fn current_a(capacitance_f: f64, frequency_hz: f64, voltage_v: f64) -> f64 {
    TAU * frequency_hz * capacitance_f * voltage_v
}

/// Capacitance from the current a capacitor draws, the inverse of [`current_a`].
///
/// ```text
/// C = I/(2π·f·V)
/// ```
pub fn capacitance_from_current_f(current_a: f64, frequency_hz: f64, voltage_v: f64) -> f64 {
    current_a / (TAU * frequency_hz * voltage_v)
}

/// Reactive power of a capacitor.
///
/// ```text
/// Q = 2π·f·C·V²
/// ```
/// Symbols as in [`current_a`]; magnitude in var.
pub fn reactive_power_var(capacitance_f: f64, frequency_hz: f64, voltage_v: f64) -> f64 {
    current_a(capacitance_f, frequency_hz, voltage_v) * voltage_v
}

/// Peak of a sinusoidal voltage, `√2·V`: what a capacitor may hold when the plug comes out at the worst moment.
pub fn peak_voltage_v(effective_voltage_v: f64) -> f64 {
    SQRT_2 * effective_voltage_v
}

/// Voltage left on a capacitor that discharges through a resistor.
///
/// ```text
/// V(t) = V0 · exp(−t/(R·C))
/// ```
/// | symbol | argument         | meaning                    | unit |
/// |--------|------------------|----------------------------|------|
/// | V0     | `start_v`        | voltage at t = 0           | V    |
/// | R      | `resistance_ohm` | bleed or discharge resistor| Ω    |
/// | C      | `capacitance_f`  | capacitance                | F    |
/// | t      | `time_s`         | time since                 | s    |
///
/// Source: first-order RC discharge.
pub fn discharge_voltage_v(start_v: f64, resistance_ohm: f64, capacitance_f: f64, time_s: f64) -> f64 {
    start_v * (-time_s / (resistance_ohm * capacitance_f)).exp()
}

/// Time until the voltage has fallen to a given value, the inverse of [`discharge_voltage_v`].
///
/// ```text
/// t = R·C·ln(V0/V)
/// ```
/// 0 s if it starts below. Give both voltages as magnitudes: `None` if it never gets there (`V ≤ 0`, or a bleeder that
/// is open), and for an argument that is no number.
pub fn discharge_time_s(start_v: f64, end_v: f64, resistance_ohm: f64, capacitance_f: f64) -> Option<f64> {
    let time = resistance_ohm * capacitance_f * (start_v / end_v).ln();
    (end_v > 0.0 && time < f64::INFINITY).then(|| time.max(0.0))
}

/// Voltage between the pins of the plug that must be met [`SAFE_PLUG_TIME_S`] after unplugging, V.
///
/// Source: IEC 60335-1 clause 22.5 (seen quoted): supplied at rated voltage, unplugged at the voltage peak. Capacitors
/// of [`EXEMPT_CAPACITANCE_F`] or less are exempt.
pub const SAFE_PLUG_VOLTAGE_V: f64 = 34.0;
/// Time after which [`SAFE_PLUG_VOLTAGE_V`] must be met, s. Source as there.
pub const SAFE_PLUG_TIME_S: f64 = 1.0;
/// Rated capacitance up to which the rule does not apply, F. Source: IEC 60335-1 clause 22.5 (seen quoted).
pub const EXEMPT_CAPACITANCE_F: f64 = 0.1e-6;

/// Longest time constant R·C, in s, of a mains filter that meets the 34 V rule.
///
/// ```text
/// R·C ≤ 1 s/ln(√2·V_r/34 V)
/// ```
/// `None` for a rated voltage so low (24.04 V or less) that its peak never exceeds 34 V, and for NaN.
///
/// Source: [`SAFE_PLUG_VOLTAGE_V`] put into [`discharge_voltage_v`].
pub fn longest_safe_time_constant_s(rated_voltage_v: f64) -> Option<f64> {
    let ln_ratio = (peak_voltage_v(rated_voltage_v) / SAFE_PLUG_VOLTAGE_V).ln();
    (ln_ratio > 0.0).then(|| SAFE_PLUG_TIME_S / ln_ratio)
}

/// Energy in a charged capacitor.
///
/// ```text
/// E = C·V²/2
/// ```
/// in joules; `C` in F, `V` in V. Source: energy of a capacitor.
pub fn stored_energy_j(capacitance_f: f64, voltage_v: f64) -> f64 {
    capacitance_f * voltage_v * voltage_v / 2.0
}

/// How long to hold a discharge resistor on: five time constants, after which 0.7 % of the voltage is left.
///
/// ```text
/// t = 5·R·C
/// ```
/// Its power at first contact is `V²/R` ([`crate::ohm::power_w`]). Source: RC discharge, exp(−5) = 0.0067.
pub fn safe_discharge_time_s(resistance_ohm: f64, capacitance_f: f64) -> f64 {
    5.0 * resistance_ohm * capacitance_f
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_filter_at_the_limit_has_34_volts_left() {
        let rc = longest_safe_time_constant_s(230.0).unwrap();
        let left = discharge_voltage_v(peak_voltage_v(230.0), rc, 1.0, SAFE_PLUG_TIME_S);
        assert!((left - SAFE_PLUG_VOLTAGE_V).abs() < 1e-9);
        assert_eq!(longest_safe_time_constant_s(24.0), None);
        assert_eq!(longest_safe_time_constant_s(f64::NAN), None);
    }

    #[test]
    fn discharge_times_that_do_not_exist() {
        assert_eq!(discharge_time_s(325.0, 0.0, 1e5, 1e-6), None);
        assert_eq!(discharge_time_s(-325.0, -34.0, 1e5, 1e-6), None);
        assert_eq!(discharge_time_s(10.0, 34.0, 1e5, 1e-6), Some(0.0));
        assert_eq!(discharge_time_s(0.0, 34.0, 1e5, 1e-6), Some(0.0));
        assert_eq!(discharge_time_s(f64::NAN, 34.0, 1e5, 1e-6), None);
        assert_eq!(discharge_time_s(325.0, 34.0, f64::INFINITY, 1e-6), None, "a bleeder that is open");
    }
}
