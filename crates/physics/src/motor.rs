//! Motors: speed, slip, tacho, and windings that warm.
//!
//! A rotor that stands still draws [`crate::ohm::coil_current_a`]; its capacitor follows [`crate::capacitor`].

/// Synchronous speed of an AC machine.
///
/// ```text
/// n_s = 60·f/p
/// ```
/// | symbol | argument       | meaning                           | unit |
/// |--------|----------------|-----------------------------------|------|
/// | f      | `frequency_hz` | frequency of the supply or inverter| Hz  |
/// | p      | `pole_pairs`   | pole pairs, half the poles        | 1    |
///
/// Result in rpm; zero pole pairs give an infinite speed. Source: definition, IEC 60050-411.
pub fn synchronous_speed_rpm(frequency_hz: f64, pole_pairs: u32) -> f64 {
    60.0 * frequency_hz / f64::from(pole_pairs)
}

/// Electrical frequency of a synchronous machine, `f = p·n/60`, the inverse of [`synchronous_speed_rpm`]; Hz.
pub fn electrical_frequency_hz(speed_rpm: f64, pole_pairs: u32) -> f64 {
    f64::from(pole_pairs) * speed_rpm / 60.0
}

/// Slip of an induction motor, `s = (n_s − n)/n_s`, as a plain number: 0 synchronous, 1 standing.
///
/// Source: definition, IEC 60050-411.
pub fn slip(synchronous_rpm: f64, speed_rpm: f64) -> f64 {
    (synchronous_rpm - speed_rpm) / synchronous_rpm
}

/// Speed of an induction motor, `n = n_s·(1 − s)`, the inverse of [`slip`]; rpm.
pub fn speed_at_slip_rpm(synchronous_rpm: f64, slip: f64) -> f64 {
    synchronous_rpm * (1.0 - slip)
}

/// Speed of the motor that drives a drum, `n_m = i·n`; rpm.
///
/// `i` is the belt ratio, motor turns for one turn of the drum: 8 to 13 for a belt, 1 for a direct drive.
pub fn motor_speed_rpm(drum_rpm: f64, belt_ratio: f64) -> f64 {
    belt_ratio * drum_rpm
}

/// Frequency of a tacho on the motor shaft.
///
/// ```text
/// f = N·i·n/60
/// ```
/// | symbol | argument                | meaning                              | unit |
/// |--------|-------------------------|--------------------------------------|------|
/// | N      | `cycles_per_motor_turn` | cycles of the tacho in one motor turn| 1    |
/// | i      | `belt_ratio`            | motor turns for one turn of the drum | 1    |
/// | n      | `drum_rpm`              | speed of the drum                    | rpm  |
///
/// Source: kinematics.
pub fn tacho_frequency_hz(drum_rpm: f64, belt_ratio: f64, cycles_per_motor_turn: f64) -> f64 {
    cycles_per_motor_turn * motor_speed_rpm(drum_rpm, belt_ratio) / 60.0
}

/// Speed of the drum from the tacho, `n = 60·f/(N·i)`, the inverse of [`tacho_frequency_hz`]; rpm.
pub fn drum_speed_from_tacho_rpm(frequency_hz: f64, belt_ratio: f64, cycles_per_motor_turn: f64) -> f64 {
    60.0 * frequency_hz / (cycles_per_motor_turn * belt_ratio)
}

/// Temperature, below zero, at which the resistance of copper would vanish on the straight line of IEC 60034-1; °C.
const COPPER_ZERO_CELSIUS: f64 = 234.5;

/// How many times its resistance a copper winding has at another temperature.
///
/// ```text
/// R2/R1 = (234.5 °C + t2)/(234.5 °C + t1)
/// ```
/// | symbol | argument     | meaning                       | unit |
/// |--------|--------------|-------------------------------|------|
/// | t1     | `t1_celsius` | temperature that R1 belongs to| °C   |
/// | t2     | `t2_celsius` | temperature asked for         | °C   |
///
/// Source: IEC 60034-1, temperature rise by the resistance method, copper.
pub fn copper_resistance_ratio(t1_celsius: f64, t2_celsius: f64) -> f64 {
    (COPPER_ZERO_CELSIUS + t2_celsius) / (COPPER_ZERO_CELSIUS + t1_celsius)
}

/// Temperature of a copper winding from its resistance cold and now, °C; the inverse of [`copper_resistance_ratio`].
///
/// ```text
/// t2 = R2/R1·(234.5 °C + t1) − 234.5 °C
/// ```
pub fn winding_temperature_celsius(r1_ohm: f64, t1_celsius: f64, r2_ohm: f64) -> f64 {
    r2_ohm / r1_ohm * (COPPER_ZERO_CELSIUS + t1_celsius) - COPPER_ZERO_CELSIUS
}
