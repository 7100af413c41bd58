//! Motors, tacho, drum, bearings.

use physics::{drum, motor};

use crate::Check;

pub(crate) fn compute(check: &Check) -> Option<f64> {
    motors(check).or_else(|| turning(check)).or_else(|| bearing(check))
}

fn motors(check: &Check) -> Option<f64> {
    let input = |key| check.input(key);
    let pole_pairs = || input("pole_pairs") as u32;
    Some(match check.prefix() {
        "motor.sync_speed" => motor::synchronous_speed_rpm(input("frequency_hz"), pole_pairs()),
        "motor.slip" => {
            let synchronous = motor::synchronous_speed_rpm(input("frequency_hz"), pole_pairs());
            100.0 * motor::slip(synchronous, input("speed_rpm"))
        }
        "motor.speed" => motor::speed_at_slip_rpm(motor::synchronous_speed_rpm(50.0, 1), 0.06),
        "pm_direct_drive.electrical_frequency" => {
            motor::electrical_frequency_hz(input("speed_rpm"), pole_pairs())
        }
        "tacho.frequency" => {
            motor::tacho_frequency_hz(input("drum_rpm"), input("belt_ratio"), input("cycles_per_motor_turn"))
        }
        "tacho.drum_rpm_from_hz" => motor::drum_speed_from_tacho_rpm(
            input("frequency_hz"),
            input("belt_ratio"),
            input("cycles_per_motor_turn"),
        ),
        "motor_speed.52rpm_ratio12" | "motor_speed.1200rpm_ratio12" => {
            motor::motor_speed_rpm(input("drum_rpm"), input("belt_ratio"))
        }
        "winding.copper_r_ratio" => motor::copper_resistance_ratio(input("t1_c"), input("t2_c")),
        "winding.temperature_from_r" => {
            motor::winding_temperature_celsius(input("r1_ohm"), input("t1_c"), input("r2_ohm"))
        }
        _ => return None,
    })
}

fn turning(check: &Check) -> Option<f64> {
    let input = |key| check.input(key);
    Some(match (check.prefix(), check.rest()) {
        ("drum.acceleration_g", _) => drum::acceleration_g(input("speed_rpm"), input("radius_m")),
        ("drum.critical_speed_1g", _) => drum::one_g_speed_rpm(input("radius_m")),
        ("drum.unbalance_force", _) => {
            drum::unbalance_force_n(input("mass_kg"), input("radius_m"), input("speed_rpm"))
        }
        ("drum.omega", _) => drum::angular_speed_rad_per_s(1200.0),
        ("drum.kinetic_energy", _) => drum::kinetic_energy_j(input("inertia_kg_m2"), input("speed_rpm")),
        // 0.5 kg m² from standstill to 1200 rpm in 90 s.
        ("drum.ramp", rest) => {
            let torque = drum::ramp_torque_nm(0.5, 1200.0, 90.0);
            match rest.split('.').next()? {
                "torque" => torque,
                "peak_power" => drum::shaft_power_w(torque, 1200.0),
                "mean_power" => drum::ramp_mean_power_w(0.5, 1200.0, 90.0),
                _ => return None,
            }
        }
        ("drum.run_down", _) => {
            drum::run_down_time_s(input("inertia_kg_m2"), input("t0_nm"), input("drag_at_1200_nm"), 1200.0)
                .unwrap()
        }
        ("drum.inertia", rest) => match rest.split('.').next()? {
            "thin_shell" => drum::inertia_kg_m2(input("mass_kg"), input("radius_m")),
            "load" => drum::inertia_kg_m2(input("mass_kg"), input("gyration_m")),
            "reflected_rotor" => drum::reflected_inertia_kg_m2(input("rotor_kg_m2"), input("belt_ratio")),
            _ => return None,
        },
        _ => return None,
    })
}

fn bearing(check: &Check) -> Option<f64> {
    let defects = drum::BEARING_6205.defects_per_turn();
    Some(match (check.prefix(), check.rest()) {
        ("bearing.6205", "bpfo_per_turn") => defects.outer,
        ("bearing.6205", "bpfi_per_turn") => defects.inner,
        ("bearing.6205", "ftf_per_turn") => defects.cage,
        ("bearing.6205", "ball_defect_per_turn") => defects.ball,
        ("bearing.6205", "bpfo_hz_1200rpm") => defects.outer * check.input("drum_rpm") / 60.0,
        _ => return None,
    })
}
