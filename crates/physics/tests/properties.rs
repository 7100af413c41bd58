//! Inverses come back, curves do not turn, and no argument panics.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use physics::heater::{ApplianceKind, WireAlloy, leak_position, power_at_voltage_w, rated_input_band_w};
use physics::sensors::ntc::{
    NtcTable, ntc_3977_resistance_ohm, ntc_3977_temperature_celsius, ntc_beta_from_two_points_kelvin,
    ntc_beta_resistance_ohm, ntc_beta_slope_per_kelvin, ntc_beta_temperature_celsius,
};
use physics::sensors::platinum::{PlatinumClass, platinum_resistance_ohm, platinum_temperature_celsius};
use physics::sensors::thermocouple::type_k_voltage_mv;
use physics::water::heating::{Vessel, heating_energy_j};
use physics::water::level::{AirBell, cylinder_height_m, cylinder_segment_l};
use physics::water::properties::{density_kg_per_m3, enthalpy_j_per_kg, heat_capacity_j_per_kg_kelvin};
use physics::{capacitor, drum, lock, motor, supply};
use proptest::num::f64::ANY;
use proptest::prelude::*;

fn near(left: f64, right: f64, tolerance: f64) -> bool {
    (left - right).abs() <= tolerance
}

/// A printed table with falling resistances.
fn ntc_table() -> impl Strategy<Value = NtcTable> {
    let step = (1.0_f64..30.0, 0.3_f64..0.99);
    (-40.0_f64..20.0, 1e3_f64..1e6, proptest::collection::vec(step, 1..12)).prop_map(|(t, r, steps)| {
        let rows = steps.into_iter().scan((t, r), |row, (warmer, share)| {
            *row = (row.0 + warmer, row.1 * share);
            Some(*row)
        });
        NtcTable::new(std::iter::once((t, r)).chain(rows).collect()).unwrap()
    })
}

proptest! {
    #[test]
    fn platinum_comes_back(r0 in 10.0_f64..2000.0, t in -200.0_f64..=850.0) {
        let ohm = platinum_resistance_ohm(r0, t).unwrap();
        prop_assert!(near(platinum_temperature_celsius(r0, ohm).unwrap(), t, 1e-9));
    }

    #[test]
    fn platinum_rises(t in -200.0_f64..849.0, step in 1e-3_f64..1.0) {
        prop_assert!(platinum_resistance_ohm(100.0, t + step).unwrap() > platinum_resistance_ohm(100.0, t).unwrap());
    }

    #[test]
    fn the_beta_formula_comes_back(r25 in 1e2_f64..1e6, beta in 2000.0_f64..5000.0, t in -50.0_f64..200.0) {
        let ohm = ntc_beta_resistance_ohm(r25, beta, t).unwrap();
        prop_assert!(near(ntc_beta_temperature_celsius(r25, beta, ohm).unwrap(), t, 1e-9));
        prop_assume!((t - 25.0).abs() > 1.0);
        prop_assert!(near(ntc_beta_from_two_points_kelvin(r25, 25.0, ohm, t).unwrap(), beta, 1e-6));
    }

    #[test]
    fn the_3977_curve_falls_and_comes_back(t in -40.0_f64..=125.0, step in 1e-3_f64..1.0) {
        let ohm = ntc_3977_resistance_ohm(10_000.0, t).unwrap();
        prop_assert!(near(ntc_3977_temperature_celsius(10_000.0, ohm).unwrap(), t, 0.012));
        if let Ok(warmer) = ntc_3977_resistance_ohm(10_000.0, t + step) {
            prop_assert!(warmer < ohm);
        }
    }

    #[test]
    fn a_printed_table_falls_and_comes_back(table in ntc_table(), place in 0.0_f64..=1.0, step in 1e-3_f64..1.0) {
        let (first, last) = (table.points()[0].0, table.points().last().unwrap().0);
        let t = (first + place * (last - first)).min(last);
        let ohm = table.resistance_ohm(t).unwrap();
        prop_assert!(near(table.temperature_celsius(ohm).unwrap_or(t), t, 1e-6));
        if let Ok(warmer) = table.resistance_ohm(t + step) {
            prop_assert!(warmer < ohm);
        }
    }

    #[test]
    fn power_at_another_voltage_comes_back(power in 1.0_f64..5000.0, at in 90.0_f64..260.0, to in 90.0_f64..260.0) {
        let there = power_at_voltage_w(power, at, to);
        prop_assert!(near(power_at_voltage_w(there, to, at), power, 1e-9 * power));
    }

    #[test]
    fn the_rating_lies_in_its_own_band_and_bands_rise(rated in 1.0_f64..10_000.0, more in 0.0_f64..100.0) {
        for kind in [ApplianceKind::Heating, ApplianceKind::Combined, ApplianceKind::MotorOperated] {
            let band = rated_input_band_w(kind, rated).unwrap();
            prop_assert!(band.highest_w > rated && band.lowest_w.is_none_or(|lowest| lowest < rated));
            let floor_w = 0.9 * rated + 0.9 * more;
            let higher = rated_input_band_w(kind, rated + more).unwrap();
            prop_assert!(higher.lowest_w.is_none_or(|lowest| near(lowest, floor_w, 1e-9 * floor_w)));
        }
    }

    #[test]
    fn a_leak_is_found(rod in 5.0_f64..100.0, x in 0.0_f64..=1.0, fault in 0.0_f64..1e4) {
        let found = leak_position(rod, x * rod + fault, (1.0 - x) * rod + fault);
        prop_assert!(near(found.fraction_from_1, x, 1e-9) && near(found.fault_ohm, fault, 1e-8));
    }

    #[test]
    fn a_discharge_comes_back(v0 in 35.0_f64..400.0, r in 1e3_f64..1e7, c in 1e-9_f64..1e-3, share in 0.01_f64..1.0) {
        let t = capacitor::discharge_time_s(v0, share * v0, r, c).unwrap();
        prop_assert!(near(capacitor::discharge_voltage_v(v0, r, c, t), share * v0, 1e-9 * v0));
    }

    #[test]
    fn a_source_resistance_comes_back(v in 90.0_f64..260.0, source in 0.01_f64..5.0, load in 5.0_f64..1000.0) {
        let loaded = supply::resistive_load(v, source, 0.0, load);
        let found = supply::source_resistance_ohm(v, 0.0, loaded.load_v, loaded.current_a).unwrap();
        prop_assert!(near(found, source, 1e-9 * load));
    }

    #[test]
    fn water_expands_above_its_maximum_and_takes_heat(t in 4.5_f64..99.0, step in 1e-2_f64..1.0) {
        prop_assert!(density_kg_per_m3(t + step).unwrap() < density_kg_per_m3(t).unwrap());
        prop_assert!(heating_energy_j(5.0, t, t + step).unwrap() > 0.0);
    }

    #[test]
    fn heating_comes_back(
        capacity in 1e3_f64..1e5, loss in 0.0_f64..20.0, power in 500.0_f64..3000.0, from in 5.0_f64..40.0, time in 1.0_f64..3000.0,
    ) {
        let vessel = Vessel { capacity_j_per_kelvin: capacity, loss_w_per_kelvin: loss, ambient_celsius: 20.0 };
        let to = vessel.temperature_after_celsius(power, from, time);
        // Close to the final temperature a whole range of times looks alike; only ask where it does not.
        prop_assume!(loss * time / capacity < 5.0);
        prop_assert!(near(vessel.heating_time_s(power, from, to).unwrap(), time, 1e-6 * time));
    }

    #[test]
    fn a_tub_comes_back_and_fills(r in 0.1_f64..0.5, length in 0.1_f64..0.6, share in 0.001_f64..0.999) {
        let h = 2.0 * r * share;
        let litres = cylinder_segment_l(r, length, h).unwrap();
        prop_assert!(near(cylinder_height_m(r, length, litres).unwrap(), h, 1e-9));
        prop_assert!(cylinder_segment_l(r, length, h * 0.99).unwrap() < litres);
    }

    #[test]
    fn the_air_bell_reads_a_little_low(area in 1e-4_f64..5e-3, depth in 0.01_f64..0.3, head in 0.001_f64..0.5) {
        let bell = AirBell { area_m2: area, air_volume_m3: area * depth };
        let rise = bell.rise_m(head, 998.2).unwrap();
        prop_assert!(rise > 0.0 && rise < depth.min(head));
        prop_assert!(bell.rise_m(head * 1.01, 998.2).unwrap() > rise);
    }

    #[test]
    fn speeds_come_back(rpm in 1.0_f64..20_000.0, ratio in 1.0_f64..15.0, cycles in 1.0_f64..20.0, pairs in 1_u32..30) {
        let tacho = motor::tacho_frequency_hz(rpm, ratio, cycles);
        prop_assert!(near(motor::drum_speed_from_tacho_rpm(tacho, ratio, cycles), rpm, 1e-9 * rpm));
        let frequency = motor::electrical_frequency_hz(rpm, pairs);
        prop_assert!(near(motor::synchronous_speed_rpm(frequency, pairs), rpm, 1e-9 * rpm));
    }

    #[test]
    fn a_winding_comes_back(r1 in 0.5_f64..500.0, t1 in 0.0_f64..50.0, t2 in 0.0_f64..200.0) {
        let r2 = r1 * motor::copper_resistance_ratio(t1, t2);
        prop_assert!(near(motor::winding_temperature_celsius(r1, t1, r2), t2, 1e-9));
    }

    #[test]
    fn more_friction_stops_a_drum_sooner(friction in 0.1_f64..2.0, windage in 0.0_f64..5.0, more in 0.01_f64..1.0) {
        let time = |friction, windage| drum::run_down_time_s(0.3, friction, windage, 1200.0).unwrap();
        prop_assert!(time(friction + more, windage) < time(friction, windage));
        prop_assert!(time(friction, windage + more) < time(friction, windage));
    }

    #[test]
    fn a_hotter_lock_waits_longer(hot in 60.0_f64..150.0, more in 0.1_f64..20.0) {
        let time = |hot| lock::release_time_s(90.0, hot, 55.0, 25.0).unwrap();
        prop_assert!(time(hot + more) > time(hot));
    }

    #[test]
    fn results_that_exist_are_numbers(a in ANY, b in ANY, c in ANY, d in ANY) {
        let curves = [
            platinum_resistance_ohm(100.0, a),
            platinum_temperature_celsius(100.0, a),
            PlatinumClass::B.tolerance_kelvin(a),
            ntc_3977_resistance_ohm(10_000.0, a),
            ntc_3977_temperature_celsius(10_000.0, a),
            ntc_beta_temperature_celsius(10_000.0, 3977.0, a),
            type_k_voltage_mv(a),
            WireAlloy::NickelChromium8020.hot_factor(a),
            WireAlloy::IronChromiumAluminium134.hot_factor(a),
            density_kg_per_m3(a),
            heat_capacity_j_per_kg_kelvin(a),
            enthalpy_j_per_kg(a),
            cylinder_segment_l(0.27, 0.33, a),
            cylinder_height_m(0.27, 0.33, a),
            supply::power_error_from_phase(a, 1.0),
        ];
        for result in curves.into_iter().flatten() {
            prop_assert!(result.is_finite());
        }
        let times = [
            capacitor::discharge_time_s(a, b, c, d),
            capacitor::longest_safe_time_constant_s(a),
            drum::run_down_time_s(a, b, c, d),
            lock::release_time_s(a, b, c, d),
            Vessel { capacity_j_per_kelvin: a, loss_w_per_kelvin: b, ambient_celsius: 20.0 }.heating_time_s(2000.0, c, d),
        ];
        for time in times.into_iter().flatten() {
            prop_assert!(!time.is_nan());
        }
    }

    #[test]
    fn no_argument_panics(a in ANY, b in ANY, c in ANY, d in ANY) {
        let _ = platinum_resistance_ohm(a, b);
        let _ = platinum_temperature_celsius(a, b);
        let _ = ntc_beta_resistance_ohm(a, b, c);
        let _ = ntc_beta_temperature_celsius(a, b, c);
        let _ = ntc_beta_from_two_points_kelvin(a, b, c, d);
        let _ = ntc_beta_slope_per_kelvin(a, b);
        let _ = ntc_3977_temperature_celsius(a, b);
        let _ = NtcTable::new(vec![(a, b), (c, d)]).map(|table| (table.resistance_ohm(a), table.temperature_celsius(b)));
        let _ = rated_input_band_w(ApplianceKind::Combined, a);
        let _ = leak_position(a, b, c);
        let _ = supply::source_resistance_ohm(a, b, c, d);
        let _ = supply::resistive_load(a, b, c, d);
        let _ = heating_energy_j(a, b, c);
        let _ = cylinder_segment_l(a, b, c);
        let _ = cylinder_height_m(a, b, c);
        let bell = AirBell { area_m2: a, air_volume_m3: b };
        let _ = (bell.rise_m(c, d), bell.gauge_pressure_pa(c, d));
        let vessel = Vessel { capacity_j_per_kelvin: a, loss_w_per_kelvin: b, ambient_celsius: 20.0 };
        let _ = vessel.temperature_after_celsius(c, d, a);
    }
}
