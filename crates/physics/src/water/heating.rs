//! Warming a vessel of water, without and with losses.

use super::properties::{density_kg_per_m3, enthalpy_j_per_kg, heat_capacity_j_per_kg_kelvin};
use crate::range::OutOfRange;

/// Mass of a volume of water.
///
/// ```text
/// m = ρ(t)·V
/// ```
/// `V` in litres, `t` in °C, result in kg; ρ as [`density_kg_per_m3`].
///
/// # Errors
/// [`OutOfRange`] outside 0 °C … 100 °C, and for NaN.
pub fn mass_kg(volume_l: f64, t_celsius: f64) -> Result<f64, OutOfRange> {
    Ok(density_kg_per_m3(t_celsius)? * volume_l / 1000.0)
}

/// Heat capacity of a volume of water, J/K.
///
/// ```text
/// C = ρ(t)·V·c_p(t)
/// ```
/// `V` in litres, `t` in °C. Metal and laundry are the caller's to add.
///
/// # Errors
/// [`OutOfRange`] outside 0 °C … 100 °C, and for NaN.
pub fn heat_capacity_j_per_kelvin(volume_l: f64, t_celsius: f64) -> Result<f64, OutOfRange> {
    Ok(mass_kg(volume_l, t_celsius)? * heat_capacity_j_per_kg_kelvin(t_celsius)?)
}

/// Rate of warming without losses, K/s.
///
/// ```text
/// dT/dt = P/C
/// ```
/// | symbol | argument             | meaning                     | unit |
/// |--------|----------------------|-----------------------------|------|
/// | P      | `power_w`            | power that reaches the water| W    |
/// | C      | `capacity_j_per_kelvin` | heat capacity of all that warms | J/K |
///
/// Source: first law of thermodynamics.
pub fn heating_rate_kelvin_per_s(power_w: f64, capacity_j_per_kelvin: f64) -> f64 {
    power_w / capacity_j_per_kelvin
}

/// Heat to warm a volume of water at constant pressure, J.
///
/// ```text
/// E = m·(h(t1) − h(t0))      m = ρ(t0)·V
/// ```
/// | symbol | argument        | meaning                              | unit |
/// |--------|-----------------|--------------------------------------|------|
/// | V      | `volume_l`      | volume, measured at t0               | l    |
/// | t0, t1 | `from_celsius`, `to_celsius` | temperature before and after | °C |
///
/// Negative when the water cools. Without losses the time is `E/P`.
///
/// Source: enthalpy of water, [`enthalpy_j_per_kg`].
///
/// # Errors
/// [`OutOfRange`] for temperatures outside 0 °C … 100 °C, and for NaN.
pub fn heating_energy_j(volume_l: f64, from_celsius: f64, to_celsius: f64) -> Result<f64, OutOfRange> {
    Ok(mass_kg(volume_l, from_celsius)? * (enthalpy_j_per_kg(to_celsius)? - enthalpy_j_per_kg(from_celsius)?))
}

/// Time to warm a volume of water without losses, s.
///
/// ```text
/// t = E/P
/// ```
/// E as [`heating_energy_j`], P in W. Zero power gives an infinite time.
///
/// # Errors
/// As [`heating_energy_j`].
pub fn lossless_heating_time_s(
    volume_l: f64,
    from_celsius: f64,
    to_celsius: f64,
    power_w: f64,
) -> Result<f64, OutOfRange> {
    Ok(heating_energy_j(volume_l, from_celsius, to_celsius)? / power_w)
}

/// Temperature rise of a volume of water in a given time, without losses, K.
///
/// ```text
/// ΔT = P·t/(ρ·V·c_p)
/// ```
/// with ρ and c_p at the starting temperature; good to 1 % for rises up to 30 K.
///
/// # Errors
/// [`OutOfRange`] for a starting temperature outside 0 °C … 100 °C, and for NaN.
pub fn temperature_rise_kelvin(
    power_w: f64,
    time_s: f64,
    volume_l: f64,
    from_celsius: f64,
) -> Result<f64, OutOfRange> {
    let capacity = heat_capacity_j_per_kelvin(volume_l, from_celsius)?;
    Ok(heating_rate_kelvin_per_s(power_w, capacity) * time_s)
}

/// Everything that warms together, and how it loses heat to the room.
///
/// ```text
/// C·dT/dt = P − UA·(T − T_a)
/// T(t) = T_∞ − (T_∞ − T_0)·exp(−UA·t/C)      T_∞ = T_a + P/UA
/// ```
/// Source: lumped first-order model (Newton's law of cooling).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vessel {
    /// C: water, metal and laundry together, J/K.
    pub capacity_j_per_kelvin: f64,
    /// UA: loss to the room per kelvin of difference, W/K; 0 for a perfect vessel.
    pub loss_w_per_kelvin: f64,
    /// T_a: temperature of the room, °C.
    pub ambient_celsius: f64,
}

impl Vessel {
    /// Temperature after `time_s` seconds at `power_w`, starting from `from_celsius`; °C.
    ///
    /// ```text
    /// T(t) = T_0 + (P − UA·(T_0 − T_a))·(1 − exp(−UA·t/C))/UA
    /// ```
    /// the form that stays exact as UA goes to zero. Does not know that water boils.
    pub fn temperature_after_celsius(&self, power_w: f64, from_celsius: f64, time_s: f64) -> f64 {
        let net_w = power_w - self.loss_w_per_kelvin * (from_celsius - self.ambient_celsius);
        let decay = self.loss_w_per_kelvin * time_s / self.capacity_j_per_kelvin;
        let shortened_s = if decay == 0.0 { time_s } else { time_s * -(-decay).exp_m1() / decay };
        from_celsius + net_w * shortened_s / self.capacity_j_per_kelvin
    }

    /// Time to get from one temperature to another at `power_w`, s; the inverse of
    /// [`Self::temperature_after_celsius`].
    ///
    /// ```text
    /// t = −(C/UA)·ln((T_∞ − T)/(T_∞ − T_0))
    /// ```
    /// Zero if the two are equal. `None` if that power never gets there, because the losses balance it before, it
    /// moves the other way, or a value is no number.
    pub fn heating_time_s(&self, power_w: f64, from_celsius: f64, to_celsius: f64) -> Option<f64> {
        if from_celsius == to_celsius {
            return Some(0.0);
        }
        let net_w = power_w - self.loss_w_per_kelvin * (from_celsius - self.ambient_celsius);
        let lossless_s = self.capacity_j_per_kelvin * (to_celsius - from_celsius) / net_w;
        // Share of the way from the start to the final temperature; 1 or more is never reached.
        let share = self.loss_w_per_kelvin * (to_celsius - from_celsius) / net_w;
        let time_s = if share == 0.0 { lossless_s } else { lossless_s * -(-share).ln_1p() / share };
        (time_s.is_finite() && time_s > 0.0).then_some(time_s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const VESSEL: Vessel =
        Vessel { capacity_j_per_kelvin: 50_000.0, loss_w_per_kelvin: 6.0, ambient_celsius: 20.0 };

    #[test]
    fn what_the_losses_balance_is_never_reached() {
        assert_eq!(VESSEL.heating_time_s(300.0, 15.0, 70.0), None, "300 W hold 70 °C for ever, and no more");
        assert!(VESSEL.heating_time_s(300.0, 15.0, 69.9).is_some());
        assert_eq!(VESSEL.heating_time_s(2000.0, 60.0, 15.0), None, "heating does not cool");
        assert_eq!(VESSEL.heating_time_s(f64::NAN, 15.0, 60.0), None);
        assert!(VESSEL.heating_time_s(0.0, 60.0, 40.0).is_some(), "but no power does");
    }

    #[test]
    fn a_perfect_vessel_warms_evenly() {
        let perfect = Vessel { loss_w_per_kelvin: 0.0, ..VESSEL };
        assert!((perfect.temperature_after_celsius(2000.0, 15.0, 100.0) - 19.0).abs() < 1e-9);
        assert!((perfect.heating_time_s(2000.0, 15.0, 19.0).unwrap() - 100.0).abs() < 1e-9);
        let nearly = Vessel { loss_w_per_kelvin: 1e-12, ..VESSEL };
        assert!((nearly.temperature_after_celsius(2000.0, 15.0, 100.0) - 19.0).abs() < 1e-9);
    }
}
