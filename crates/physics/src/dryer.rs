//! Dryers: how warm the air gets, and how much water goes.

/// Density of air at about 20 °C and normal pressure, kg/m³ (rounded handbook value).
pub const AIR_DENSITY_KG_PER_M3: f64 = 1.2;
/// Isobaric heat capacity of air, J/(kg K) (rounded handbook value).
pub const AIR_HEAT_CAPACITY_J_PER_KG_KELVIN: f64 = 1006.0;

/// How much warmer air leaves a heater.
///
/// ```text
/// ΔT = P/(ρ·V'·c_p)
/// ```
/// | symbol | argument          | meaning                        | unit |
/// |--------|-------------------|--------------------------------|------|
/// | P      | `power_w`         | power of the heater            | W    |
/// | V'     | `flow_m3_per_h`   | air through it, measured cold  | m³/h |
///
/// ρ and c_p of air as [`AIR_DENSITY_KG_PER_M3`] and [`AIR_HEAT_CAPACITY_J_PER_KG_KELVIN`]. No flow gives an infinite
/// rise, which is why a cut-out sits there. Source: first law of thermodynamics.
pub fn air_temperature_rise_kelvin(power_w: f64, flow_m3_per_h: f64) -> f64 {
    power_w / (AIR_DENSITY_KG_PER_M3 * flow_m3_per_h / 3600.0 * AIR_HEAT_CAPACITY_J_PER_KG_KELVIN)
}

/// Water evaporated in an hour.
///
/// ```text
/// m = η·P·3600 s/h_fg
/// ```
/// | symbol | argument               | meaning                                   | unit |
/// |--------|------------------------|-------------------------------------------|------|
/// | P      | `power_w`              | electrical power                          | W    |
/// | η      | `efficiency`           | share of it that evaporates water         | 1    |
/// | h_fg   | `latent_heat_j_per_kg` | [`crate::water::properties::LATENT_HEAT_J_PER_KG`] at boiling; more when cooler | J/kg |
///
/// Result in kg/h. Source: heat of evaporation.
pub fn water_removed_kg_per_h(power_w: f64, efficiency: f64, latent_heat_j_per_kg: f64) -> f64 {
    efficiency * power_w * 3600.0 / latent_heat_j_per_kg
}

/// The least heat, in kWh, that evaporates a kilogram of water without heat recovery: `h_fg/3.6 MJ`.
pub fn least_energy_kwh_per_kg(latent_heat_j_per_kg: f64) -> f64 {
    latent_heat_j_per_kg / 3.6e6
}
