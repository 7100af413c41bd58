//! The drum: turning, ramping up, running down, unbalance, and what its bearings sing.

use std::f64::consts::TAU;

use crate::STANDARD_GRAVITY_M_PER_S2;

/// Angular speed, `ω = 2π·n/60`, of `n` in rpm; rad/s.
pub fn angular_speed_rad_per_s(speed_rpm: f64) -> f64 {
    TAU * speed_rpm / 60.0
}

/// Centrifugal acceleration at a radius, as a multiple of standard gravity.
///
/// ```text
/// a/g_n = ω²·r/g_n
/// ```
/// `n` in rpm, `r` in m. Source: uniform circular motion; g_n = 9.80665 m/s².
pub fn acceleration_g(speed_rpm: f64, radius_m: f64) -> f64 {
    angular_speed_rad_per_s(speed_rpm).powi(2) * radius_m / STANDARD_GRAVITY_M_PER_S2
}

/// Speed of one g: above it the wash sticks to the drum wall, below it falls.
///
/// ```text
/// n = (60/2π)·√(g_n/r)
/// ```
/// `r` in m, result in rpm. Source: [`acceleration_g`] set to 1.
pub fn one_g_speed_rpm(radius_m: f64) -> f64 {
    60.0 / TAU * (STANDARD_GRAVITY_M_PER_S2 / radius_m).sqrt()
}

/// Force of an unbalance, `F = m·r·ω²`; `m` in kg, `r` in m, `n` in rpm, result in N.
pub fn unbalance_force_n(mass_kg: f64, radius_m: f64, speed_rpm: f64) -> f64 {
    mass_kg * radius_m * angular_speed_rad_per_s(speed_rpm).powi(2)
}

/// Moment of inertia of a mass at a radius of gyration, `J = m·k²`; kg·m².
///
/// For the drum wall `k` is its radius; for a load `k` is about 0.8 of it.
pub fn inertia_kg_m2(mass_kg: f64, radius_of_gyration_m: f64) -> f64 {
    mass_kg * radius_of_gyration_m * radius_of_gyration_m
}

/// Inertia of the motor's rotor as the drum feels it, `J = J_m·i²`; `i` motor turns for one turn of the drum.
pub fn reflected_inertia_kg_m2(rotor_kg_m2: f64, belt_ratio: f64) -> f64 {
    rotor_kg_m2 * belt_ratio * belt_ratio
}

/// Energy of a turning drum, `E = J·ω²/2`; `J` in kg·m², `n` in rpm, result in J.
pub fn kinetic_energy_j(inertia_kg_m2: f64, speed_rpm: f64) -> f64 {
    inertia_kg_m2 * angular_speed_rad_per_s(speed_rpm).powi(2) / 2.0
}

/// Torque that a shaft power makes at a speed, `T = P/ω`; W and rpm in, N·m out.
///
/// With the electrical power of the motor in place of the shaft power, it is an upper bound.
pub fn torque_nm(power_w: f64, speed_rpm: f64) -> f64 {
    power_w / angular_speed_rad_per_s(speed_rpm)
}

/// Power that a torque takes at a speed, `P = T·ω`; N·m and rpm in, W out.
pub fn shaft_power_w(torque_nm: f64, speed_rpm: f64) -> f64 {
    torque_nm * angular_speed_rad_per_s(speed_rpm)
}

/// Torque to take a drum from standstill to a speed in a linear ramp, losses not counted.
///
/// ```text
/// T = J·ω/t
/// ```
/// | symbol | argument        | meaning            | unit  |
/// |--------|-----------------|--------------------|-------|
/// | J      | `inertia_kg_m2` | all that turns     | kg·m² |
/// | ω      | `speed_rpm`     | speed at the end   | rpm   |
/// | t      | `time_s`        | length of the ramp | s     |
///
/// The power at the top is [`shaft_power_w`] of it, the mean over the ramp half of that. Source: Newton's second law.
pub fn ramp_torque_nm(inertia_kg_m2: f64, speed_rpm: f64, time_s: f64) -> f64 {
    inertia_kg_m2 * angular_speed_rad_per_s(speed_rpm) / time_s
}

/// Mean mechanical power of a linear ramp from standstill, `P = E/t`; symbols as [`ramp_torque_nm`].
pub fn ramp_mean_power_w(inertia_kg_m2: f64, speed_rpm: f64, time_s: f64) -> f64 {
    kinetic_energy_j(inertia_kg_m2, speed_rpm) / time_s
}

/// How fast a drum still gains speed with the power left over from friction and windage, rpm/s.
///
/// ```text
/// dn/dt = (60/2π)·η·P/(J·ω)
/// ```
/// | symbol | argument          | meaning                               | unit  |
/// |--------|-------------------|---------------------------------------|-------|
/// | P      | `excess_power_w`  | electrical power above the settled one| W     |
/// | η      | `efficiency`      | motor, inverter and belt together     | 1     |
/// | J      | `inertia_kg_m2`   | all that turns                        | kg·m² |
/// | ω      | `speed_rpm`       | speed at that moment                  | rpm   |
///
/// Source: P = J·ω·dω/dt.
pub fn acceleration_rpm_per_s(
    excess_power_w: f64,
    efficiency: f64,
    inertia_kg_m2: f64,
    speed_rpm: f64,
) -> f64 {
    efficiency * torque_nm(excess_power_w, speed_rpm) / inertia_kg_m2 * 60.0 / TAU
}

/// Time for a drum to run down to standstill by itself.
///
/// ```text
/// J·dω/dt = −(T0 + k·ω²)
/// t = J/√(T0·k)·atan(ω0·√(k/T0))
/// ```
/// | symbol | argument            | meaning                                           | unit  |
/// |--------|---------------------|---------------------------------------------------|-------|
/// | J      | `inertia_kg_m2`     | all that turns                                    | kg·m² |
/// | T0     | `friction_nm`       | bearings, seal and belt, at any speed             | N·m   |
/// | k·ω0²  | `windage_at_start_nm`| drag of air and water film at the starting speed | N·m   |
/// | ω0     | `speed_rpm`         | starting speed                                    | rpm   |
///
/// Without windage it is `J·ω0/T0`. `None` without friction, where it never stands, and for values that are no
/// numbers or below zero.
///
/// Source: integral of the equation of motion.
pub fn run_down_time_s(
    inertia_kg_m2: f64,
    friction_nm: f64,
    windage_at_start_nm: f64,
    speed_rpm: f64,
) -> Option<f64> {
    // With x = ω0·√(k/T0), the time is J·ω0/T0 · atan(x)/x, and atan(x)/x goes to 1 without windage.
    let x = (windage_at_start_nm / friction_nm).sqrt();
    let shortened = if x == 0.0 { 1.0 } else { x.atan() / x };
    let time_s = inertia_kg_m2 * angular_speed_rad_per_s(speed_rpm) / friction_nm * shortened;
    (friction_nm > 0.0 && time_s.is_finite() && time_s >= 0.0).then_some(time_s)
}

/// A ball bearing with a contact angle of zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BallBearing {
    /// n_b: number of balls.
    pub balls: u32,
    /// d: diameter of a ball, mm.
    pub ball_mm: f64,
    /// D: diameter of the circle through the balls' centres, mm.
    pub pitch_mm: f64,
}

/// The 6205: 9 balls of 0.3126 inch on a pitch circle of 1.537 inch.
///
/// Source: public bearing data set (its frequencies from memory, and agreeing).
pub const BEARING_6205: BallBearing = BallBearing { balls: 9, ball_mm: 7.94, pitch_mm: 39.04 };

/// How often a defect of a bearing is struck, for one turn of the inner ring; times rpm/60 for hertz.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DefectsPerTurn {
    /// Outer ring: `(n_b/2)·(1 − d/D)`.
    pub outer: f64,
    /// Inner ring: `(n_b/2)·(1 + d/D)`.
    pub inner: f64,
    /// Cage: `½·(1 − d/D)`.
    pub cage: f64,
    /// Ball, striking both rings: `(D/d)·(1 − (d/D)²)`.
    pub ball: f64,
}

impl BallBearing {
    /// Rates of the four classic defects, outer ring standing.
    ///
    /// Source: kinematics of rolling bearings, pure rolling, contact angle 0; formulas at [`DefectsPerTurn`].
    pub fn defects_per_turn(&self) -> DefectsPerTurn {
        let ratio = self.ball_mm / self.pitch_mm;
        let half_balls = f64::from(self.balls) / 2.0;
        DefectsPerTurn {
            outer: half_balls * (1.0 - ratio),
            inner: half_balls * (1.0 + ratio),
            cage: (1.0 - ratio) / 2.0,
            ball: (1.0 - ratio * ratio) / ratio,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn run_down_without_windage_or_friction() {
        let omega = angular_speed_rad_per_s(1200.0);
        assert!((run_down_time_s(0.3, 0.6, 0.0, 1200.0).unwrap() - 0.3 * omega / 0.6).abs() < 1e-9);
        assert!((run_down_time_s(0.3, 0.6, 1e-12, 1200.0).unwrap() - 0.3 * omega / 0.6).abs() < 1e-6);
        assert_eq!(run_down_time_s(0.3, 0.0, 1.0, 1200.0), None);
        assert_eq!(run_down_time_s(0.3, 0.6, -1.0, 1200.0), None);
        assert_eq!(run_down_time_s(0.3, -0.6, 0.0, -1200.0), None);
        assert_eq!(run_down_time_s(f64::NAN, 0.6, 1.0, 1200.0), None);
    }

    #[test]
    fn at_the_speed_of_one_g_it_is_one_g() {
        assert!((acceleration_g(one_g_speed_rpm(0.24), 0.24) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn every_ball_passes_a_ring() {
        let defects = BEARING_6205.defects_per_turn();
        assert!((defects.outer + defects.inner - 9.0).abs() < 1e-12);
        assert!((defects.outer - 9.0 * defects.cage).abs() < 1e-12);
    }
}
