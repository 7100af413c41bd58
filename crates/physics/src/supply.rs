//! The supply at the socket: what it may be, and how it gives way under load.

use crate::range::{OutOfRange, within};

/// A range of supply voltages.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SupplyBand {
    /// Lowest voltage, V.
    pub lowest_v: f64,
    /// Highest voltage, V.
    pub highest_v: f64,
}

/// The band in which 95 % of the 10-minute means of any week must lie: ±10 % of the nominal voltage.
///
/// Source: EN 50160 (seen second-hand). At the supply terminals; the installation may drop more, see
/// [`HIGHEST_VOLTAGE_DROP`].
pub fn en50160_usual_v(nominal_v: f64) -> SupplyBand {
    SupplyBand { lowest_v: nominal_v * 90.0 / 100.0, highest_v: nominal_v * 110.0 / 100.0 }
}

/// The band in which every 10-minute mean must lie: +10 %/−15 % of the nominal voltage.
///
/// Source: EN 50160 (seen second-hand).
pub fn en50160_always_v(nominal_v: f64) -> SupplyBand {
    SupplyBand { lowest_v: nominal_v * 85.0 / 100.0, highest_v: nominal_v * 110.0 / 100.0 }
}

/// Source resistance from the sag when a load is switched on.
///
/// ```text
/// R_s = (V_off − V_on)/(I_on − I_off)
/// ```
/// | symbol       | arguments         | meaning                          | unit |
/// |--------------|-------------------|----------------------------------|------|
/// | V_off, I_off | `off_v`, `off_a`  | just before the load switches on | V, A |
/// | V_on, I_on   | `on_v`, `on_a`    | just after                       | V, A |
///
/// `None` where the current does not rise, or is no number: there is no edge to reason from. A negative result means
/// that the supply itself moved between the two readings.
///
/// Source: definition, −dV/dI.
pub fn source_resistance_ohm(off_v: f64, off_a: f64, on_v: f64, on_a: f64) -> Option<f64> {
    let rise_a = on_a - off_a;
    (rise_a > 0.0).then(|| (off_v - on_v) / rise_a)
}

/// Reference impedance of a public supply, phase plus neutral, Ω: 0.4 + j0.25 at 230 V, 50 Hz.
///
/// Source: IEC TR 60725 (abstract).
pub const REFERENCE_RESISTANCE_OHM: f64 = 0.4;
/// Its reactance at 50 Hz, Ω; see [`REFERENCE_RESISTANCE_OHM`].
pub const REFERENCE_REACTANCE_OHM: f64 = 0.25;

/// What a resistive load does to the supply it is on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoadedSupply {
    /// Voltage at the load, V.
    pub load_v: f64,
    /// Current, A.
    pub current_a: f64,
    /// What the load took off the open voltage, V.
    pub sag_v: f64,
}

/// A resistive load behind the impedance of the supply.
///
/// ```text
/// I = V/|R + R_s + jX_s|      V_load = I·R      sag = V − V_load
/// ```
/// | symbol | argument         | meaning                          | unit |
/// |--------|------------------|----------------------------------|------|
/// | V      | `open_v`         | voltage without the load         | V    |
/// | R_s    | `source_ohm`     | resistance, line plus neutral    | Ω    |
/// | X_s    | `source_reactance_ohm` | reactance, line plus neutral | Ω  |
/// | R      | `load_ohm`       | the load                         | Ω    |
///
/// Source: complex Ohm's law.
pub fn resistive_load(
    open_v: f64,
    source_ohm: f64,
    source_reactance_ohm: f64,
    load_ohm: f64,
) -> LoadedSupply {
    let current_a = open_v / (load_ohm + source_ohm).hypot(source_reactance_ohm);
    let load_v = current_a * load_ohm;
    LoadedSupply { load_v, current_a, sag_v: open_v - load_v }
}

/// Resistivity of copper in service, for voltage drop, Ω·mm²/m. Source: IEC 60364-5-52 Annex G.
const COPPER_IN_SERVICE_OHM_MM2_PER_M: f64 = 0.0225;

/// Voltage drop in a single-phase copper cable, out and back, at unity power factor.
///
/// ```text
/// u = b·ρ1·L·I/S      b = 2   ρ1 = 0.0225 Ω·mm²/m
/// ```
/// | symbol | argument    | meaning                     | unit |
/// |--------|-------------|-----------------------------|------|
/// | L      | `length_m`  | length of the cable, one way| m    |
/// | S      | `area_mm2`  | cross-section of a conductor| mm²  |
/// | I      | `current_a` | current                     | A    |
///
/// Source: IEC 60364-5-52 Annex G (informative).
pub fn voltage_drop_v(length_m: f64, area_mm2: f64, current_a: f64) -> f64 {
    2.0 * COPPER_IN_SERVICE_OHM_MM2_PER_M * length_m * current_a / area_mm2
}

/// Highest voltage drop of an installation on a public network, uses other than lighting, as a share of the nominal
/// voltage. Source: IEC 60364-5-52 Table G.52.1 (informative).
pub const HIGHEST_VOLTAGE_DROP: f64 = 0.05;
/// The same for lighting circuits.
pub const HIGHEST_VOLTAGE_DROP_LIGHTING: f64 = 0.03;

/// Relative error of a power reading if the meter shifts the current against the voltage.
///
/// ```text
/// ΔP/P = cos(φ − δ)/cos φ − 1      φ = arccos PF
/// ```
/// | symbol | argument             | meaning                                         | unit |
/// |--------|----------------------|-------------------------------------------------|------|
/// | PF     | `power_factor`       | displacement power factor, lagging, above 0     | 1    |
/// | δ      | `phase_error_degrees`| phase error between the two channels            | °    |
///
/// A heating element (PF 1) hardly notices a degree; an idle filter or a jammed pump at PF 0.1 is read 17 % wrong.
///
/// Source: P = V·I·cos φ.
///
/// # Errors
/// [`OutOfRange`] for a power factor that is not above 0 and at most 1.
pub fn power_error_from_phase(power_factor: f64, phase_error_degrees: f64) -> Result<f64, OutOfRange> {
    let pf = within("power factor", power_factor, "", f64::MIN_POSITIVE, 1.0)?;
    Ok((pf.acos() - phase_error_degrees.to_radians()).cos() / pf - 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_edge_no_source_resistance() {
        assert_eq!(source_resistance_ohm(240.0, 0.1, 239.0, 0.1), None);
        assert_eq!(source_resistance_ohm(240.0, 0.1, 239.0, f64::NAN), None);
    }

    #[test]
    fn a_phase_error_hardly_touches_a_heater() {
        assert!(power_error_from_phase(1.0, 1.0).unwrap().abs() < 2e-4);
        assert!(power_error_from_phase(0.0, 1.0).is_err() && power_error_from_phase(1.1, 1.0).is_err());
    }
}
