//! Machines in steps of their service tests, with everything that is driven running: for the export and its comparison.

use machine::kind::Situation;
use machine::model::Machine;

/// The machines and steps that are compared with the simulator.
pub const COMPARED: [(&str, [&str; 3]); 2] = [
    ("aldermere-tern-81", ["wash-fill", "warm", "full-spin"]),
    ("polwarren-cockle-52", ["cold-in", "rod", "whirl"]),
];

/// What the inverter's motor is taken to draw, W.
const DEMAND_W: f64 = 120.0;

pub fn load(name: &str) -> Machine {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../machines");
    let text = std::fs::read_to_string(folder.join(name).with_extension("toml")).unwrap();
    machine::read::read(&text, None).machine.unwrap()
}

/// Every part's situation while the step drives its outputs: door locked, motors running, 5 l of water at 20 °C.
pub fn situations(machine: &Machine, step: &str) -> Vec<Situation> {
    let rest = Situation {
        rated_v: machine.plate.supply_v,
        hz: machine.plate.supply_hz,
        driven: false,
        wanted_rpm: 0.0,
        moving: true,
        locked: true,
        level_l: 5.0,
        temperature_c: 20.0,
        speed_rpm: 0.0,
        demand_w: 0.0,
        demand_u_w: 0.0,
        drag: 1.0,
    };
    let mut all = vec![rest; machine.parts.len()];
    for drive in &machine.step(step).unwrap().drives {
        let output = &machine.outputs[drive.output];
        for part in std::iter::once(output.part).chain(output.motor) {
            all[part].driven = true;
            all[part].wanted_rpm = drive.rpm;
        }
        if output.motor.is_some() {
            all[output.part].demand_w = DEMAND_W;
        }
    }
    all
}
