//! Water: properties, heating, levels, flow; pumps and dryers.

use physics::water::flow::{
    flow_from_frequency_l_per_min, pulses, siphon_flow_l_per_min, siphon_velocity_m_per_s, time_to_move_s,
};
use physics::water::heating::{
    Vessel, heat_capacity_j_per_kelvin, heating_energy_j, heating_rate_kelvin_per_s, lossless_heating_time_s,
};
use physics::water::level::{
    AirBell, CONVENTIONAL_DENSITY_KG_PER_M3, cylinder_segment_l, hydrostatic_pressure_pa,
};
use physics::water::properties::{
    BOILING_POINT_CELSIUS, LATENT_HEAT_J_PER_KG, density_kg_per_m3, enthalpy_j_per_kg,
    heat_capacity_j_per_kg_kelvin,
};
use physics::{dryer, pump};

use crate::Check;

pub(crate) fn compute(check: &Check) -> Option<f64> {
    heat(check).or_else(|| level(check)).or_else(|| flow(check)).or_else(|| drying(check))
}

fn heat(check: &Check) -> Option<f64> {
    let input = |key| check.input(key);
    Some(match check.prefix() {
        "water.density" => density_kg_per_m3(input("temperature_c")).unwrap(),
        "water.cp" => heat_capacity_j_per_kg_kelvin(input("temperature_c")).unwrap(),
        "water.enthalpy" => enthalpy_j_per_kg(input("temperature_c")).unwrap(),
        "water.boiling_point" => BOILING_POINT_CELSIUS,
        "water.latent_heat" => LATENT_HEAT_J_PER_KG,
        "water.heating_rate" => {
            let capacity = heat_capacity_j_per_kelvin(input("volume_l"), input("temperature_c")).unwrap();
            60.0 * heating_rate_kelvin_per_s(input("power_w"), capacity)
        }
        "water.energy" => {
            let joules = heating_energy_j(input("volume_l"), input("t0_c"), input("t1_c")).unwrap();
            match check.rest() {
                "15l_15_to_60c" => joules / 1e3,
                "15l_15_to_60c_kwh" => joules / 3.6e6,
                _ => return None,
            }
        }
        "water.time" => lossless_heating_time_s(15.0, 15.0, 60.0, input("power_w")).unwrap(),
        "dishwasher.heating_time" => lossless_heating_time_s(3.5, 15.0, 55.0, 2000.0).unwrap(),
        // 10 l taken at 40 °C, 8 kJ/K of metal, 6 W/K to a room of 20 °C; 2000 W.
        "water.lossy_heating" => {
            let capacity = heat_capacity_j_per_kelvin(10.0, 40.0).unwrap() + 8000.0;
            let vessel =
                Vessel { capacity_j_per_kelvin: capacity, loss_w_per_kelvin: 6.0, ambient_celsius: 20.0 };
            match check.rest() {
                "c_total" => capacity,
                "time_15_to_60c" => vessel.heating_time_s(2000.0, 15.0, 60.0).unwrap(),
                _ => return None,
            }
        }
        _ => return None,
    })
}

fn level(check: &Check) -> Option<f64> {
    let input = |key| check.input(key);
    let cold = || density_kg_per_m3(20.0).unwrap();
    Some(match (check.prefix(), check.rest()) {
        ("level.pressure_of_100mm_h2o", _) => hydrostatic_pressure_pa(CONVENTIONAL_DENSITY_KG_PER_M3, 0.1),
        ("level.pressure_of_100mm_20c", _) => hydrostatic_pressure_pa(cold(), 0.1),
        ("level.air_bell", rest) => {
            let bell = AirBell { area_m2: 0.0012, air_volume_m3: 0.000_106 };
            match rest {
                "rise" => 1000.0 * bell.rise_m(0.1, cold()).unwrap(),
                "gauge_pressure" => bell.gauge_pressure_pa(0.1, cold()).unwrap(),
                _ => return None,
            }
        }
        ("level.cylinder_segment", _) => {
            cylinder_segment_l(input("radius_m"), input("length_m"), input("height_m")).unwrap()
        }
        _ => return None,
    })
}

fn flow(check: &Check) -> Option<f64> {
    let input = |key| check.input(key);
    let lifted_w = || pump::hydraulic_power_w(density_kg_per_m3(20.0).unwrap(), 18.0, 1.0);
    Some(match check.prefix() {
        "fill.time" | "drain.time" => time_to_move_s(input("volume_l"), input("flow_l_min")),
        "flow_meter.hz_to_l_min" => {
            flow_from_frequency_l_per_min(input("frequency_hz"), input("pulses_per_l"))
        }
        "flow_meter.pulses" => pulses(12.0, 450.0),
        "siphon.velocity" => siphon_velocity_m_per_s(input("head_m")),
        "siphon.flow" => {
            siphon_flow_l_per_min(input("coefficient"), input("diameter_mm") / 1000.0, input("head_m"))
        }
        "pump.hydraulic_power" => lifted_w(),
        "pump.efficiency" => 100.0 * pump::efficiency(lifted_w(), input("electrical_w")),
        _ => return None,
    })
}

fn drying(check: &Check) -> Option<f64> {
    let input = |key| check.input(key);
    Some(match check.prefix() {
        "dryer.air_temperature_rise" => {
            dryer::air_temperature_rise_kelvin(input("power_w"), input("flow_m3_h"))
        }
        // The reference rounds the latent heat to 2.26 MJ/kg here.
        "dryer.water_removed_per_hour" => dryer::water_removed_kg_per_h(2500.0, 0.75, 2.26e6),
        "dryer.energy_per_kg_water_min" => dryer::least_energy_kwh_per_kg(LATENT_HEAT_J_PER_KG),
        _ => return None,
    })
}
