//! The shipped machines.
#![allow(dead_code, reason = "not every test uses all of it")]

use machine::model::Machine;
use simulator::{MeterModel, Operator, Setting, SupplyModel};
use std::path::Path;

pub(crate) fn machines() -> Vec<Machine> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../machines");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    files.retain(|p| p.extension().is_some_and(|e| e == "toml"));
    files.sort();
    assert!(files.len() >= 5);
    files
        .iter()
        .map(|p| machine::read::read(&std::fs::read_to_string(p).unwrap(), None).machine.unwrap())
        .collect()
}

pub(crate) fn machine(model: &str) -> Machine {
    machines().into_iter().find(|m| m.plate.model == model).unwrap()
}

/// A meter without error.
pub(crate) fn exact_meter(every_s: f64) -> MeterModel {
    MeterModel { every_s, lag_s: 0.0, quantum_w: 0.0, gain_error: 0.0, offset_w: 0.0, ..MeterModel::fine() }
}

/// No error, no drift, no hurry.
pub(crate) fn exact(volts: f64) -> Setting {
    Setting {
        meter: exact_meter(0.1),
        supply: SupplyModel::stiff(volts),
        operator: Operator::careful(),
        ..Setting::kitchen(volts)
    }
}
