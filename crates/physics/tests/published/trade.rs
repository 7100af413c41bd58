//! What follows from a few trade values: common practice, no source.

use physics::heater::{WireAlloy, power_at_voltage_w};
use physics::sensors::ntc::ntc_3977_resistance_ohm;
use physics::water::heating::temperature_rise_kelvin;
use physics::{drum, ohm};
use serde::Deserialize;

use crate::Check;

/// Common practice, no source.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Given {
    total_power_w: f64,
    total_current_a: f64,
    tumble_power_w: f64,
    tumble_speed_rpm: f64,
    nominal_element_w: f64,
    spin_peak_power_w: f64,
    spin_settled_power_w: f64,
    spin_speed_rpm: f64,
}

pub(crate) fn compute(check: &Check, given: &Given) -> Option<f64> {
    let name = check.id.strip_prefix("common_practice.derived.")?;
    heating(name, check, given).or_else(|| turning(name, given))
}

fn heating(name: &str, check: &Check, given: &Given) -> Option<f64> {
    let input = |key| check.input(key);
    let heater_w = given.total_power_w - given.tumble_power_w;
    let supply_v = ohm::voltage_from_power_v(given.total_power_w, given.total_current_a, 1.0);
    let hot_ohm = ohm::resistance_from_power_ohm(supply_v, heater_w);
    let at_230v_w = power_at_voltage_w(heater_w, supply_v, 230.0);
    Some(match name {
        "heater_power" => heater_w,
        "supply_voltage" => supply_v,
        "supply_deviation_from_230" => 100.0 * (supply_v / 230.0 - 1.0),
        "heater_current" => ohm::current_from_power_a(heater_w, supply_v, 1.0),
        "element_hot_resistance" => hot_ohm,
        // The printed factors give 1.022 at a wire temperature of 357 °C.
        "element_cold_resistance_at_factor_1_022" => {
            WireAlloy::NickelChromium8020.cold_resistance_ohm(hot_ohm, 357.0).unwrap()
        }
        "element_power_at_230v" => at_230v_w,
        "element_deviation_at_230v" => 100.0 * (at_230v_w / given.nominal_element_w - 1.0),
        "expected_power_of_2000w_230v_element" => {
            power_at_voltage_w(given.nominal_element_w, 230.0, supply_v)
        }
        "energy_30s" => ohm::energy_j(heater_w, 30.0) / 1e3,
        "energy_60s" => ohm::energy_j(heater_w, 60.0) / 1e3,
        "ntc_10k_change_15_to_18_5c" => {
            let [before, after] = [15.0, 18.5].map(|t| ntc_3977_resistance_ohm(10_000.0, t).unwrap());
            100.0 * (after / before - 1.0)
        }
        _ if name.starts_with("temperature_rise.") => {
            temperature_rise_kelvin(input("power_w"), input("time_s"), input("volume_l"), 15.0).unwrap()
        }
        _ => return None,
    })
}

fn turning(name: &str, given: &Given) -> Option<f64> {
    let Given {
        spin_peak_power_w: peak_w, spin_settled_power_w: settled_w, spin_speed_rpm: spin_rpm, ..
    } = *given;
    let excess_w = peak_w - settled_w;
    Some(match name {
        "tumble_torque_upper_bound" => drum::torque_nm(given.tumble_power_w, given.tumble_speed_rpm),
        "spin_torque_upper_bound_settled" => drum::torque_nm(settled_w, spin_rpm),
        "spin_excess_torque_upper_bound" => drum::torque_nm(excess_w, spin_rpm),
        "end_of_ramp_rate_j0_3_eta0_75" => drum::acceleration_rpm_per_s(excess_w, 0.75, 0.3, spin_rpm),
        "settled_over_peak" => settled_w / peak_w,
        "drum_g_at_1200_r0_24" => drum::acceleration_g(spin_rpm, 0.24),
        _ => return None,
    })
}
