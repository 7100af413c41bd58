//! NTC, platinum and thermocouple.

use physics::ohm;
use physics::sensors::ntc::{
    divider_voltage_v, ntc_3977_resistance_ohm, ntc_3977_temperature_celsius,
    ntc_beta_from_two_points_kelvin, ntc_beta_resistance_ohm, ntc_beta_slope_per_kelvin, self_heating_kelvin,
};
use physics::sensors::platinum::{PlatinumClass, platinum_resistance_ohm, platinum_temperature_celsius};
use physics::sensors::thermocouple::type_k_voltage_mv;

use crate::Check;

pub(crate) fn compute(check: &Check) -> Option<f64> {
    ntc(check).or_else(|| platinum(check))
}

fn ntc(check: &Check) -> Option<f64> {
    let input = |key| check.input(key);
    Some(match check.prefix() {
        "ntc.10k_3977" if check.rest().starts_with("t.") => {
            ntc_3977_temperature_celsius(10_000.0, input("resistance_ohm")).unwrap()
        }
        "ntc.10k_3977" | "ntc.5k_3977" => {
            ntc_3977_resistance_ohm(input("r25_ohm"), input("temperature_c")).unwrap()
        }
        "ntc.alpha_25c_3977" => {
            100.0 * ntc_beta_slope_per_kelvin(input("beta_k"), input("temperature_c")).unwrap()
        }
        "ntc.beta_from_two_points" => {
            let [r25, r85] = [25.0, 85.0].map(|t| ntc_3977_resistance_ohm(10_000.0, t).unwrap());
            ntc_beta_from_two_points_kelvin(r25, 25.0, r85, 85.0).unwrap()
        }
        prefix if prefix.starts_with("ntc.beta_") => {
            ntc_beta_resistance_ohm(input("r25_ohm"), input("beta_k"), input("temperature_c")).unwrap()
        }
        "ntc.divider" => {
            let sensor_ohm = ntc_3977_resistance_ohm(10_000.0, input("temperature_c")).unwrap();
            divider_voltage_v(input("vref_v"), sensor_ohm, input("pullup_ohm"))
        }
        "ntc.selfheating" => {
            let half_v = divider_voltage_v(input("vref_v"), 10_000.0, 10_000.0);
            self_heating_kelvin(ohm::power_w(half_v, 10_000.0), input("dissipation_w_per_k"))
        }
        _ => return None,
    })
}

fn platinum(check: &Check) -> Option<f64> {
    let input = |key| check.input(key);
    let tolerance = |class: PlatinumClass| class.tolerance_kelvin(input("temperature_c")).unwrap();
    Some(match check.prefix() {
        "pt100.r" => platinum_resistance_ohm(100.0, input("temperature_c")).unwrap(),
        "pt500.r" => platinum_resistance_ohm(500.0, input("temperature_c")).unwrap(),
        "pt1000.r" | "oven.pt1000_21_1c" => platinum_resistance_ohm(1000.0, input("temperature_c")).unwrap(),
        "pt1000.t" => platinum_temperature_celsius(1000.0, input("resistance_ohm")).unwrap(),
        "pt.class_aa" => tolerance(PlatinumClass::AA),
        "pt.class_a" => tolerance(PlatinumClass::A),
        "pt.class_b" => tolerance(PlatinumClass::B),
        "pt.class_c" => tolerance(PlatinumClass::C),
        "type_k.emf" => type_k_voltage_mv(input("temperature_c")).unwrap(),
        _ => return None,
    })
}
