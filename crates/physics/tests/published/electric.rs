//! Heaters, leaks, capacitors, the supply, locks and valves.

use physics::heater::{
    ApplianceKind, WireAlloy, element_resistance_band_ohm, leak_position, power_at_voltage_w,
    rated_input_band_w,
};
use physics::{capacitor, lock, ohm, supply};

use crate::Check;

pub(crate) fn compute(check: &Check) -> Option<f64> {
    heater(check).or_else(|| charge(check)).or_else(|| the_supply(check)).or_else(|| coils(check))
}

fn heater(check: &Check) -> Option<f64> {
    let input = |key| check.input(key);
    Some(match (check.prefix(), check.rest()) {
        ("heater.r_nominal", _) => {
            ohm::resistance_from_power_ohm(input("rated_voltage_v"), input("rated_power_w"))
        }
        ("heater.i_nominal", _) => {
            ohm::current_from_power_a(input("rated_power_w"), input("rated_voltage_v"), 1.0)
        }
        ("heater.power_at_supply", "half_voltage_ratio") => power_at_voltage_w(1.0, 240.0, 120.0),
        ("heater.power_at_supply", _) => {
            power_at_voltage_w(input("rated_power_w"), input("rated_voltage_v"), input("supply_v"))
        }
        ("heater.r_band_min", _) => {
            element_resistance_band_ohm(input("rated_power_w"), input("rated_voltage_v")).unwrap().lowest_ohm
        }
        ("heater.r_band_max", _) => {
            element_resistance_band_ohm(input("rated_power_w"), input("rated_voltage_v"))
                .unwrap()
                .highest_ohm
                .unwrap()
        }
        ("heater.leak_position", rest) => {
            let found = leak_position(26.0, 9.3, 18.1);
            match rest {
                "fraction_from_1" => found.fraction_from_1,
                "fault_ohm" => found.fault_ohm,
                _ => return None,
            }
        }
        ("nicr8020.factor", _) => WireAlloy::NickelChromium8020.hot_factor(input("temperature_c")).unwrap(),
        ("fecral_1cr13al4.factor", _) => {
            WireAlloy::IronChromiumAluminium134.hot_factor(input("temperature_c")).unwrap()
        }
        ("leak.resistance_for_30ma_at_230v" | "leak.resistance_for_15ma_at_230v", _) => {
            ohm::resistance_ohm(input("voltage_v"), input("current_a"))
        }
        ("leak.current_through_0_3mohm_at_230v" | "leak.current_through_1mohm_at_230v", _) => {
            1000.0 * ohm::current_a(input("voltage_v"), input("resistance_ohm"))
        }
        ("fridge.defrost_heater", _) => ohm::resistance_from_power_ohm(230.0, 200.0),
        ("dishwasher.flow_heater", _) => ohm::resistance_from_power_ohm(230.0, 2040.0),
        (prefix, rest) => return rated_input(prefix, rest, check),
    })
}

fn rated_input(prefix: &str, rest: &str, check: &Check) -> Option<f64> {
    let kind = match prefix.strip_prefix("rated_input.")? {
        appliance if appliance.starts_with("heating_") => ApplianceKind::Heating,
        appliance if appliance.starts_with("motor_") => ApplianceKind::MotorOperated,
        _ => return None,
    };
    let band = rated_input_band_w(kind, check.input("rated_power_w")).unwrap();
    match rest {
        "min" => band.lowest_w,
        "max" => Some(band.highest_w),
        _ => None,
    }
}

fn charge(check: &Check) -> Option<f64> {
    let input = |key| check.input(key);
    // The inverter bus of the reference: 330 µF, a 100 kΩ bleeder, charged to the peak of 230 V.
    let bus_time_s =
        |end_v| capacitor::discharge_time_s(capacitor::peak_voltage_v(230.0), end_v, 100e3, 330e-6);
    Some(match check.prefix() {
        "discharge.v_after_1s" => capacitor::discharge_voltage_v(
            capacitor::peak_voltage_v(input("rated_voltage_v")),
            input("resistance_ohm"),
            input("capacitance_f"),
            1.0,
        ),
        "discharge.max_rc_for_34v_in_1s" => {
            capacitor::longest_safe_time_constant_s(input("rated_voltage_v")).unwrap()
        }
        "discharge.limit_34v_after_1s" => capacitor::SAFE_PLUG_VOLTAGE_V,
        "discharge.bus_time_to_60v" => bus_time_s(60.0).unwrap(),
        "discharge.bus_time_to_34v" => bus_time_s(34.0).unwrap(),
        "discharge.bus_energy" => capacitor::stored_energy_j(330e-6, capacitor::peak_voltage_v(230.0)),
        "discharge.capacitor_energy" => capacitor::stored_energy_j(16e-6, capacitor::peak_voltage_v(230.0)),
        "discharge.safe_resistor" => capacitor::safe_discharge_time_s(1000.0, 330e-6),
        "discharge.safe_resistor_peak_power" => ohm::power_w(capacitor::peak_voltage_v(230.0), 1000.0),
        "filter.y_capacitor_current" => {
            let frequency_hz = if check.rest() == "22nf_120v_60hz" { 60.0 } else { 50.0 };
            1000.0 * capacitor::current_a(22e-9, frequency_hz, input("voltage_v"))
        }
        "filter.x_capacitor_current" => 1000.0 * capacitor::current_a(0.47e-6, 50.0, 230.0),
        "filter.x_capacitor_var" => capacitor::reactive_power_var(0.47e-6, 50.0, 230.0),
        "capacitor.reactance" => capacitor::reactance_ohm(input("capacitance_f"), input("frequency_hz")),
        "capacitor.current" => {
            capacitor::current_a(input("capacitance_f"), input("frequency_hz"), input("voltage_v"))
        }
        "capacitor.from_current" => {
            1e6 * capacitor::capacitance_from_current_f(
                input("current_a"),
                input("frequency_hz"),
                input("voltage_v"),
            )
        }
        _ => return None,
    })
}

fn the_supply(check: &Check) -> Option<f64> {
    let input = |key| check.input(key);
    let drop_v = || supply::voltage_drop_v(30.0, 2.5, 8.7);
    Some(match (check.prefix(), check.rest()) {
        ("supply.en50160", "low_10pct") => supply::en50160_usual_v(input("nominal_v")).lowest_v,
        ("supply.en50160", "high_10pct") => supply::en50160_usual_v(input("nominal_v")).highest_v,
        ("supply.en50160", "low_15pct") => supply::en50160_always_v(input("nominal_v")).lowest_v,
        ("source.resistance", "from_sag") => {
            supply::source_resistance_ohm(input("v_off"), 0.0, input("v_on"), input("di_a")).unwrap()
        }
        ("source.sag", rest) => {
            let loaded = supply::resistive_load(230.0, 0.4, 0.25, 26.45);
            match rest.strip_prefix("iec60725_2000w.")? {
                "load_voltage" => loaded.load_v,
                "current" => loaded.current_a,
                "sag" => loaded.sag_v,
                "apparent_rs" => {
                    supply::source_resistance_ohm(230.0, 0.0, loaded.load_v, loaded.current_a).unwrap()
                }
                _ => return None,
            }
        }
        ("source.reference_impedance", "r") => supply::REFERENCE_RESISTANCE_OHM,
        ("source.reference_impedance", "x") => supply::REFERENCE_REACTANCE_OHM,
        ("voltage_drop.30m_2_5mm2_8_7a", _) => drop_v(),
        ("voltage_drop.30m_2_5mm2_8_7a_pct", _) => 100.0 * drop_v() / 230.0,
        ("voltage_drop.limit_other_uses", _) => 100.0 * supply::HIGHEST_VOLTAGE_DROP,
        ("voltage_drop.limit_lighting", _) => 100.0 * supply::HIGHEST_VOLTAGE_DROP_LIGHTING,
        ("power.phase_error", "pf0_1_1deg") => 100.0 * supply::power_error_from_phase(0.1, 1.0).unwrap(),
        _ => return None,
    })
}

fn coils(check: &Check) -> Option<f64> {
    let input = |key| check.input(key);
    Some(match check.prefix() {
        "inlet_valve.va" => ohm::apparent_power_va(input("voltage_v"), input("current_a")),
        "inlet_valve.copper_loss" => ohm::copper_loss_w(input("current_a"), input("r_ohm")),
        "inlet_valve.reactance" => ohm::coil_reactance_ohm(230.0, 0.03, 3800.0).unwrap(),
        "drain_pump.power_factor" => {
            ohm::power_factor(input("power_w"), input("voltage_v"), input("current_a"))
        }
        "universal_motor.locked_rotor_current" => {
            ohm::coil_current_a(input("voltage_v"), input("r_ohm"), input("x_ohm"))
        }
        "door_lock.ptc_inrush_power" => ohm::power_w(input("voltage_v"), input("r_ohm")),
        "door_lock.ptc_inrush_current" => ohm::current_a(230.0, 1000.0),
        "door_lock.release_time" => {
            lock::release_time_s(input("tau_s"), input("t0_c"), input("ts_c"), input("ta_c")).unwrap()
        }
        "door_lock.bistable_pulse_energy" => lock::pulse_energy_j(input("v"), input("r_ohm"), input("t_s")),
        _ => return None,
    })
}
