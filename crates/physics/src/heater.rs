//! Tubular heating elements: ratings, the band the standard allows, hot against cold, and where a rod leaks.
//!
//! The ohms, watts and amps themselves follow [`crate::ohm`].

use crate::ohm;
use crate::points::on_straight_lines;
use crate::range::{OutOfRange, positive};

/// Power of a resistive load at another voltage than the one its power is known for.
///
/// ```text
/// P = P_r · (V/V_r)²
/// ```
/// | symbol | argument      | meaning                                  | unit |
/// |--------|---------------|------------------------------------------|------|
/// | P_r    | `power_w`     | power at `V_r`, rated or measured        | W    |
/// | V_r    | `at_voltage_v`| voltage that `P_r` belongs to            | V    |
/// | V      | `to_voltage_v`| voltage asked for                        | V    |
///
/// Serves both ways: from the rating plate to the socket, and from a reading at the socket back to the plate.
/// The wire's own change with temperature is left out; see [`WireAlloy::hot_factor`].
///
/// Source: Joule's law.
pub fn power_at_voltage_w(power_w: f64, at_voltage_v: f64, to_voltage_v: f64) -> f64 {
    power_w * (to_voltage_v / at_voltage_v).powi(2)
}

/// What kind of appliance the rating plate is on, for the tolerance of its input.
///
/// A combined appliance whose motors take more than half of the input counts as [`MotorOperated`](Self::MotorOperated).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ApplianceKind {
    /// Heating elements only.
    Heating,
    /// Heating elements and motors.
    Combined,
    /// Motors only, or mostly.
    MotorOperated,
}

/// The input an appliance may take at rated voltage and normal operating temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InputBand {
    /// Lowest input in W; `None` where the standard sets no lower limit.
    pub lowest_w: Option<f64>,
    /// Highest input in W.
    pub highest_w: f64,
}

/// Band of the measured input allowed around the rated input.
///
/// | appliance            | rated input    | allowed deviation                                  |
/// |----------------------|----------------|----------------------------------------------------|
/// | all                  | ≤ 25 W         | +20 %                                              |
/// | heating and combined | 25 W … 200 W   | ±10 %                                              |
/// | heating and combined | > 200 W        | −10 %, and +5 % or +20 W, whichever is the greater |
/// | motor-operated       | 25 W … 300 W   | +20 %                                              |
/// | motor-operated       | > 300 W        | +15 % or +60 W, whichever is the greater           |
///
/// Source: IEC 60335-1 clause 10.1, Table 1, seen as the text of the identical national adoption GOST R IEC 335-1-94;
/// to be checked again against the edition in force.
///
/// # Errors
/// [`OutOfRange`] for a rated input that is not a number above 0 W.
pub fn rated_input_band_w(kind: ApplianceKind, rated_power_w: f64) -> Result<InputBand, OutOfRange> {
    let rated = positive("rated input", rated_power_w, "W")?;
    let band = match kind {
        _ if rated <= 25.0 => (None, 1.2 * rated),
        ApplianceKind::MotorOperated if rated <= 300.0 => (None, 1.2 * rated),
        ApplianceKind::MotorOperated => (None, (1.15 * rated).max(rated + 60.0)),
        _ if rated <= 200.0 => (Some(0.9 * rated), 1.1 * rated),
        _ => (Some(0.9 * rated), (1.05 * rated).max(rated + 20.0)),
    };
    Ok(InputBand { lowest_w: band.0, highest_w: band.1 })
}

/// The ohms, hot, that a healthy element may have.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ResistanceBand {
    /// Lowest resistance in Ω: it draws the highest input allowed.
    pub lowest_ohm: f64,
    /// Highest resistance in Ω; `None` for a rating of 25 W or less, where the standard sets none.
    pub highest_ohm: Option<f64>,
}

/// Resistance, at operating temperature, of a heating element within the tolerance of its rated input.
///
/// ```text
/// R_min = V_r²/P_max      R_max = V_r²/P_min
/// ```
/// with P_min, P_max from [`rated_input_band_w`] for a heating appliance.
///
/// # Errors
/// [`OutOfRange`] for a rated input that is not a number above 0 W.
pub fn element_resistance_band_ohm(
    rated_power_w: f64,
    rated_voltage_v: f64,
) -> Result<ResistanceBand, OutOfRange> {
    let band = rated_input_band_w(ApplianceKind::Heating, rated_power_w)?;
    Ok(ResistanceBand {
        lowest_ohm: ohm::resistance_from_power_ohm(rated_voltage_v, band.highest_w),
        highest_ohm: band.lowest_w.map(|lowest| ohm::resistance_from_power_ohm(rated_voltage_v, lowest)),
    })
}

/// What the wire inside the rod is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WireAlloy {
    /// Cr20Ni80, nickel chromium: the usual wire of tubular elements. Covered from 20 °C to 1000 °C.
    NickelChromium8020,
    /// 1Cr13Al4, iron chromium aluminium. Covered from 20 °C to 800 °C.
    IronChromiumAluminium134,
}

/// R(t)/R(20 °C) of Cr20Ni80 as printed by a maker of resistance alloys (public product table), to 0.001. A second
/// maker's sheet for an 80/20 alloy differs by up to 0.05 at 500 °C: the factor depends on the heat treatment.
const NICKEL_CHROMIUM_8020: [(f64, f64); 11] = [
    (20.0, 1.0),
    (100.0, 1.006),
    (200.0, 1.012),
    (300.0, 1.018),
    (400.0, 1.025),
    (500.0, 1.026),
    (600.0, 1.018),
    (700.0, 1.010),
    (800.0, 1.008),
    (900.0, 1.010),
    (1000.0, 1.014),
];

/// R(t)/R(20 °C) of 1Cr13Al4, from the same kind of table; 20 °C by definition, 700 °C not printed.
const IRON_CHROMIUM_ALUMINIUM_134: [(f64, f64); 8] = [
    (20.0, 1.0),
    (100.0, 1.005),
    (200.0, 1.014),
    (300.0, 1.028),
    (400.0, 1.044),
    (500.0, 1.064),
    (600.0, 1.090),
    (800.0, 1.132),
];

impl WireAlloy {
    fn table(self) -> &'static [(f64, f64)] {
        match self {
            Self::NickelChromium8020 => &NICKEL_CHROMIUM_8020,
            Self::IronChromiumAluminium134 => &IRON_CHROMIUM_ALUMINIUM_134,
        }
    }

    /// How many times its resistance at 20 °C the wire has at a given temperature of the wire.
    ///
    /// ```text
    /// C(t) = R(t)/R(20 °C)
    /// ```
    /// Straight lines between the printed points. The factor of Cr20Ni80 is not monotonic and stays below 1.03, which
    /// is why cold ohms foretell hot watts. The wire of an element in water runs at roughly 300–500 °C
    /// (common practice, no source).
    ///
    /// Source: resistance temperature correction factors printed by a maker of resistance alloys.
    ///
    /// # Errors
    /// [`OutOfRange`] below 20 °C, above the last printed point, and for NaN.
    pub fn hot_factor(self, wire_celsius: f64) -> Result<f64, OutOfRange> {
        let table = self.table();
        on_straight_lines(table, wire_celsius).ok_or(OutOfRange {
            what: "temperature of the heating wire",
            value: wire_celsius,
            unit: "°C",
            lowest: table[0].0,
            highest: table[table.len() - 1].0,
        })
    }

    /// `R(20 °C) = R(t)/C(t)`: what a multimeter shows on the cold rod.
    ///
    /// # Errors
    /// As [`Self::hot_factor`].
    pub fn cold_resistance_ohm(self, hot_resistance_ohm: f64, wire_celsius: f64) -> Result<f64, OutOfRange> {
        Ok(hot_resistance_ohm / self.hot_factor(wire_celsius)?)
    }

    /// `R(t) = R(20 °C)·C(t)`: what the rod has while it heats.
    ///
    /// # Errors
    /// As [`Self::hot_factor`].
    pub fn hot_resistance_ohm(self, cold_resistance_ohm: f64, wire_celsius: f64) -> Result<f64, OutOfRange> {
        Ok(cold_resistance_ohm * self.hot_factor(wire_celsius)?)
    }
}

/// Where along a rod it touches earth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeakPosition {
    /// Share of the rod between terminal 1 and the leak. Outside 0 … 1 the three readings contradict each other.
    pub fraction_from_1: f64,
    /// Resistance of the leak itself, Ω. Below zero by more than the meter's error, the readings contradict each other.
    pub fault_ohm: f64,
}

/// Place and resistance of a single hard leak from three ohm readings on the rod, both tabs off.
///
/// ```text
/// R_1E = x·R + R_f      R_2E = (1 − x)·R + R_f
/// x = (R_1E − R_2E + R)/(2R)      R_f = (R_1E + R_2E − R)/2
/// ```
/// | symbol | argument         | meaning                         | unit |
/// |--------|------------------|---------------------------------|------|
/// | R      | `rod_ohm`        | terminal 1 to terminal 2        | Ω    |
/// | R_1E   | `r1_earth_ohm`   | terminal 1 to the sheath        | Ω    |
/// | R_2E   | `r2_earth_ohm`   | terminal 2 to the sheath        | Ω    |
///
/// Holds for a rod wound evenly and a leak of ohms to kilohms that a multimeter reads steadily.
///
/// Source: fault location on a uniform resistance (bridge method of cable faults).
pub fn leak_position(rod_ohm: f64, r1_earth_ohm: f64, r2_earth_ohm: f64) -> LeakPosition {
    LeakPosition {
        fraction_from_1: (r1_earth_ohm - r2_earth_ohm + rod_ohm) / (2.0 * rod_ohm),
        fault_ohm: (r1_earth_ohm + r2_earth_ohm - rod_ohm) / 2.0,
    }
}

/// Current to earth through a leak while the rod is at work, line on terminal 1.
///
/// ```text
/// I = V·(1 − x)/(R_f + R·x·(1 − x))
/// ```
/// | symbol | argument          | meaning                                           | unit |
/// |--------|-------------------|---------------------------------------------------|------|
/// | V      | `voltage_v`       | line to neutral, neutral taken as earth           | V    |
/// | x      | `fraction_from_1` | share of the rod between terminal 1 and the leak  | 1    |
/// | R      | `rod_ohm`         | the whole rod                                     | Ω    |
/// | R_f    | `fault_ohm`       | the leak                                          | Ω    |
///
/// With line and neutral swapped, give `1 − x`. The return path through earth is taken as 0 Ω: an upper bound.
///
/// Source: Thévenin equivalent of the rod seen from the leak.
pub fn leak_current_a(voltage_v: f64, rod_ohm: f64, fraction_from_1: f64, fault_ohm: f64) -> f64 {
    let behind_leak_ohm = rod_ohm * fraction_from_1 * (1.0 - fraction_from_1);
    voltage_v * (1.0 - fraction_from_1) / (fault_ohm + behind_leak_ohm)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_leak_is_found_where_it_was_put() {
        let (rod, x, fault) = (26.0, 0.3, 0.7);
        let found = leak_position(rod, x * rod + fault, (1.0 - x) * rod + fault);
        assert!((found.fraction_from_1 - x).abs() < 1e-12 && (found.fault_ohm - fault).abs() < 1e-12);
    }

    #[test]
    fn a_small_leak_draws_its_share_of_the_voltage() {
        let current = leak_current_a(230.0, 26.0, 0.25, 1e6);
        assert!((current - 0.75 * 230.0 / 1e6).abs() < 1e-8);
    }

    #[test]
    fn both_sides_of_each_step_of_the_input_table() {
        let highest = |kind, rated| rated_input_band_w(kind, rated).unwrap().highest_w;
        assert!((highest(ApplianceKind::Combined, 25.1) - 27.61).abs() < 1e-9);
        assert!((highest(ApplianceKind::Heating, 200.1) - 220.1).abs() < 1e-9);
        assert!((highest(ApplianceKind::MotorOperated, 300.1) - 360.1).abs() < 1e-9);
        for nonsense in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(rated_input_band_w(ApplianceKind::Heating, nonsense).is_err());
        }
    }
}
