//! Pumps: what lifting water takes.

use crate::STANDARD_GRAVITY_M_PER_S2;

/// Power in the water a pump lifts.
///
/// ```text
/// P_h = ρ·g_n·Q·H
/// ```
/// | symbol | argument           | meaning                  | unit  |
/// |--------|--------------------|--------------------------|-------|
/// | ρ      | `density_kg_per_m3`| density of the water     | kg/m³ |
/// | Q      | `flow_l_per_min`   | flow                     | l/min |
/// | H      | `head_m`           | height lifted, losses included | m |
///
/// Result in W. Source: hydraulic power of a pump.
pub fn hydraulic_power_w(density_kg_per_m3: f64, flow_l_per_min: f64, head_m: f64) -> f64 {
    density_kg_per_m3 * STANDARD_GRAVITY_M_PER_S2 * flow_l_per_min / 60_000.0 * head_m
}

/// Share of the electrical power that lifts water, `η = P_h/P_e`, as a plain number; about 0.1 for a drain pump.
pub fn efficiency(hydraulic_power_w: f64, electrical_power_w: f64) -> f64 {
    hydraulic_power_w / electrical_power_w
}
